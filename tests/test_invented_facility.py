"""The invented facilities that comparisons are measured against: their charts and their truth belong together."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks import invented_facility
from benchmarks.invented_facility import CUTOFF, Scenario, in_window, level_of, plan_of, simulate
from kit.wounds.episodes import episodes

ROUGH = Scenario(
    residents=200,
    facilities=3,
    starters=60,
    effects={"monopolar stimulation": 1.6, "bipolar stimulation": 1.25, "ultrasound": 1.0},
    missed=0.5,
    leaving=0.02,
    leaving_slope=0.8,
    hospital=0.02,
    hidden=0.5,
)


@pytest.fixture
def small_pilot(monkeypatch):
    """For what does not ask how many start."""
    monkeypatch.setattr(invented_facility, "PILOTS", 1)
    monkeypatch.setattr(invented_facility, "PILOT", 1000)
    invented_facility._level.cache_clear()
    yield
    invented_facility._level.cache_clear()


def invented(scenario, seed=1):
    return simulate(scenario, np.random.default_rng(seed))


@pytest.mark.parametrize("scenario", [Scenario(), ROUGH, replace(ROUGH, law="radius")])
def test_the_records_are_those_that_the_kit_makes_of_the_tables(scenario, small_pilot):
    made = invented(scenario)
    tables = made.residents, made.wounds, made.measurements, made.sessions, made.departures
    pd.testing.assert_frame_equal(episodes(*tables, plan_of(scenario)), made.episodes)


def test_every_rule_that_ends_a_record_is_met(small_pilot):
    made = invented(ROUGH).episodes
    assert set(made["outcome"]) == {"closed", "died", "hospital", "left", "open"}
    assert made["vanished"].any() and made["facility"].nunique() == 3
    assert set(made["regimen"]) == {"no modality", *dict(ROUGH.effects)}


def test_the_charts_hold_the_world_in_which_modalities_are_given(small_pilot):
    made = invented(ROUGH)
    seen = made.episodes.merge(made.truth, on="wound", suffixes=("", "_true"))
    closed = seen[seen["outcome"] == "closed"]
    assert len(closed) > 5 and (closed["end_day"] == closed["closes_with"]).all()
    gone = seen[seen["outcome"].isin(["died", "hospital"])]
    assert len(gone) > 2 and (gone["end_day"] == gone["gone_day"]).all()
    assert (seen["start_day"] == seen["start_day_true"]).all() and (seen["regimen"] == seen["regimen_true"]).all()
    assert (seen["start_day"] - seen["entry_day"]).min() >= 15
    assert max(made.measurements["day"].max(), made.sessions["day"].max(), made.departures["day"].max()) <= CUTOFF


def test_a_modality_hastens_closing_by_its_effect_and_changes_nothing_else(small_pilot):
    truth = invented(ROUGH).truth
    assert (truth["closes_with"] <= truth["closes_without"]).all()
    helped = (truth["closes_with"] < truth["closes_without"]).groupby(truth["regimen"]).mean()
    assert helped["ultrasound"] == 0 and helped["monopolar stimulation"] > 0.3


def test_without_effect_the_same_wounds_start(small_pilot):
    idle = replace(Scenario(), effects={"monopolar stimulation": 1.0})
    assert level_of(idle) == level_of(Scenario())
    both = invented(idle).truth.merge(invented(Scenario()).truth, on="wound", how="outer")
    # A person's other wounds may keep somebody in care for longer, and so in reach of a departure.
    assert (both["start_day_x"] == both["start_day_y"]).mean() > 0.9


def test_as_many_start_as_were_wished(monkeypatch):
    monkeypatch.setattr(invented_facility, "PILOTS", 2)
    invented_facility._level.cache_clear()
    generator = np.random.default_rng(7)
    started = [in_window(simulate(Scenario(), generator).truth["start_day"]).sum() for _ in range(60)]
    invented_facility._level.cache_clear()
    assert np.mean(started) == pytest.approx(25, abs=2)  # three standard errors


def test_more_starters_than_wounds_cannot_be_had(small_pilot):
    with pytest.raises(ValueError, match="wish for fewer"):
        level_of(Scenario(residents=10, starters=50))
