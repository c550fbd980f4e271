"""The invented facilities that comparisons are measured against: their charts and their truth belong together."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks import invented_facility
from benchmarks.invented_facility import CUTOFF, Scenario, in_window, level_of, plan_of, simulate
from kit.plan import WEEK
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
# A mean of some hundred starts against the share of rounds: four standard errors.
CHANCE = 0.2
CLOSE = 1e-9  # the same arithmetic in another order


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


def charted_at_starts(made):
    """Each start beside the size charted at the round that decided it, 1 to 3 days before."""
    sizes = made.measurements[made.measurements["state"] == "open"].sort_values("day")
    starts = made.truth.sort_values("start_day").astype({"start_day": "int64"})
    return pd.merge_asof(starts, sizes, left_on="start_day", right_on="day", by="wound", tolerance=3)


def charted_at(starts, sizes, weeks):
    """The size charted so many weeks after the deciding round (before it, where negative); missing where none was."""
    then = starts[["wound"]].assign(day=starts["day"] + weeks * WEEK)
    return then.merge(sizes[["wound", "day", "size"]], how="left", on=["wound", "day"])["size"].to_numpy()


def test_without_a_walk_log_size_falls_along_a_line_but_for_the_slip_of_the_ruler(small_pilot):
    sizes = invented(Scenario(walk=0.0, starters=5, effects={"monopolar stimulation": 1.0})).measurements
    sizes = sizes[sizes["state"] == "open"]
    apart = [
        np.polyval(np.polyfit(own["day"], np.log(own["size"]), 1), own["day"]) - np.log(own["size"])
        for _, own in sizes.groupby("wound")
        if len(own) >= 5
    ]
    # Of each wound two degrees of freedom went into its line; the slip is 0.12.
    spread = np.sqrt(sum((one**2).sum() for one in apart) / sum(len(one) - 2 for one in apart))
    assert spread == pytest.approx(0.12, rel=0.1)


def test_a_start_after_a_stall_follows_sizes_that_did_not_fall_by_a_tenth_in_four_weeks(small_pilot):
    made = invented(Scenario(residents=400, starters=60, starts="stall"))
    starts = charted_at_starts(made)
    before = charted_at(starts, made.measurements, -4)
    assert len(starts) > 30 and (starts["size"] > 0.9 * before).all()
    assert (starts["size"] < before).any()  # a fall of less than a tenth is a stall too


def test_where_rounds_are_missed_a_stall_looks_back_to_the_last_one_before(small_pilot):
    made = invented(Scenario(residents=400, starters=60, starts="stall", missed=0.5))
    starts = charted_at_starts(made)
    then = starts[["wound", "size", "day"]].assign(day=starts["day"] - 4 * WEEK).sort_values("day")
    before = pd.merge_asof(then, made.measurements.sort_values("day"), on="day", by="wound", suffixes=("", "_before"))
    assert len(before) > 30 and (before["size"] > 0.9 * before["size_before"]).all()


def test_random_starts_follow_no_size(small_pilot):
    made = invented(Scenario(residents=3000, starters=300, starts="random"))
    rounds = made.measurements.merge(made.episodes[["wound", "entry_day", "start_day"]], on="wound")
    untreated = rounds["day"] < rounds["start_day"].fillna(CUTOFF + 1)
    could = rounds[untreated & (rounds["state"] == "open") & (rounds["day"] - rounds["entry_day"] >= 2 * WEEK)]
    starts = charted_at_starts(made)
    spread = np.log(could["size"]).std()
    apart = (np.log(starts["size"]).mean() - np.log(could["size"]).mean()) / spread
    assert len(starts) > 300 and abs(apart) < CHANCE
    by_chart = charted_at_starts(invented(Scenario(residents=3000, starters=300)))
    assert (np.log(by_chart["size"]).mean() - np.log(could["size"]).mean()) / spread > CHANCE


def test_a_way_to_start_that_is_not_known_is_refused():
    with pytest.raises(ValueError, match="charted, random, stall"):
        Scenario(starts="stalled")


def test_the_reduction_with_the_modality_is_the_one_charted_four_weeks_after_the_deciding_round(small_pilot):
    made = invented(replace(ROUGH, missed=0.0, starts="random"))
    starts = charted_at_starts(made)
    then = charted_at(starts, made.measurements, 4)
    seen = np.isfinite(then)  # closed counts as a size of nought, and so as 100
    expected = 100 * (1 - then / starts["size"])
    np.testing.assert_allclose(starts["reduction_with"][seen], expected[seen], rtol=CLOSE, atol=CLOSE)
    assert seen.sum() > 30 and (then == 0).any()


def test_early_is_a_reduction_of_at_least_forty_percent_and_none_for_the_dead(small_pilot):
    truth = invented(ROUGH).truth
    for world in ("with", "without"):
        np.testing.assert_array_equal(truth[f"early_{world}"], truth[f"reduction_{world}"] >= 40)
    lost = truth["reduction_with"] == -np.inf
    assert lost.any() and (truth["gone_day"] <= truth["start_day"] + 5 * WEEK)[lost].all()
    assert (truth["reduction_with"] >= truth["reduction_without"])[~lost].all()


def slopes_and_changes(made, scale, column):
    """The charted slope before the start of wounds of twelve rounds, and the true change."""
    sizes = made.measurements.merge(made.truth, on="wound")
    before = sizes[(sizes["day"] <= sizes["start_day"]) & (sizes["size"] > 0)]
    many = before[before.groupby("wound")["day"].transform("size") >= 12]
    slope = {w: np.polyfit(own["day"] / WEEK, scale(own["size"]), 1)[0] for w, own in many.groupby("wound")}
    told = made.truth.set_index("wound")[column].dropna()
    return pd.DataFrame({"before": pd.Series(slope), "added": told}).dropna()


def test_of_log_area_the_true_slope_change_is_the_added_speed(small_pilot):
    # Twice as fast: what is added to the slope is the slope itself, in the world where nobody is treated.
    made = invented(Scenario(residents=300, starters=80, walk=0.0, effects={"monopolar stimulation": 2.0}))
    both = slopes_and_changes(made, np.log, "log_slope_change")
    # A slope over 12 rounds errs by 0.12 / sqrt(143) = 0.010; wounds that grow are not slowed: none is added.
    assert len(both) > 10 and (both["added"] <= 0).all()
    assert (both["added"] - both["before"].clip(upper=0)).abs().max() < 0.04


def test_of_the_radius_the_root_of_the_area_changes_slope_by_the_added_speed(small_pilot):
    made = invented(
        Scenario(residents=300, starters=80, walk=0.0, law="radius", effects={"monopolar stimulation": 2.0})
    )
    both = slopes_and_changes(made, np.sqrt, "root_slope_change")
    # The root of 9 cm2 is 3 cm and slips by 6%: 0.18 / sqrt(143) = 0.015 a week.
    assert len(both) > 10 and (both["added"] <= 0).all()
    assert (both["added"] - both["before"].clip(upper=0)).abs().median() < 0.015


def test_a_modality_without_effect_changes_no_slope_and_no_reduction(small_pilot):
    truth = invented(replace(ROUGH, effects={"monopolar stimulation": 1.0})).truth
    assert truth["log_slope_change"].notna().any() and (truth["log_slope_change"].dropna() == 0).all()
    assert (truth["root_slope_change"].dropna() == 0).all()
    alive = np.isfinite(truth["reduction_with"]) & np.isfinite(truth["reduction_without"])
    assert (truth["reduction_with"] == truth["reduction_without"])[alive].all()
