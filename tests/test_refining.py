"""Elements of the protocol: told apart by the start alone, asked by the same comparison, drawn towards none."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from benchmarks.planted_bias import invented_study
from kit.compared import weeks
from kit.context.refining import DRAWS, NOT_RECORDED, OF_THE_FACILITY, refined, split_by
from kit.healing.answers import answer
from kit.healing.resampling import SEED
from kit.plan import ELEMENTS
from kit.statements.refining import TOGETHER, elements_said
from kit.study import Study
from tests.drawn import drawn

EXACT = 1e-9  # the same arithmetic
TWO = {"monopolar stimulation": 2.0, "bipolar stimulation": 1.0}


@pytest.fixture(scope="module")
def study() -> Study:
    """Large enough for two regimens beside each other."""
    scenario = Scenario(residents=320, starters=150, effects=TWO)
    return invented_study(scenario, np.random.default_rng(11))


def asking(study: Study, *questions: str) -> Study:
    plan = study.plan
    return replace(study, plan=plan.model_copy(update={"refining": plan.refining.model_copy(
        update={"questions": questions})}))  # fmt: skip


@pytest.fixture(scope="module")
def told(study) -> pd.DataFrame:
    return refined(study).set_index("element")


def test_every_element_stands_in_one_row(told):
    assert list(told.index) == list(ELEMENTS)


def test_two_set_ups_are_compared_as_the_two_regimens_are(study, told):
    own = answer(weeks(study), study.measurements, study.plan, DRAWS, SEED)
    pair = own.told[own.told["beside"] == "bipolar stimulation"].iloc[0]
    row = told.loc["setup"]
    assert pair["is_told"] and (row["one"], row["other"]) == ("bipolar set-up", "monopolar set-up")
    # told the other way round: bipolar less monopolar
    assert row["difference"] == pytest.approx(-100 * pair["closed_difference"], abs=1e-6)
    assert (row["one_starters"], row["other_starters"]) == (pair["others"], pair["starters"])


def test_numbers_are_drawn_towards_none_by_the_plan_s_spread(study, told):
    row = told.loc["setup"]
    error = max(row["error"], (row["high"] - row["low"]) / (2 * 1.959963984540054))
    trust = 25 / (25 + error**2)
    assert row["shrunk"] == pytest.approx(trust * row["difference"], rel=EXACT)
    assert (row["shrunk_high"] - row["shrunk_low"]) / 2 == pytest.approx(1.959964 * np.sqrt(trust) * error, rel=1e-6)
    assert abs(row["shrunk"]) < abs(row["difference"])


def test_a_wider_spread_draws_less(study, told):
    plan = study.plan.model_copy(update={"refining": study.plan.refining.model_copy(update={"spread": 20})})
    row = refined(replace(study, plan=plan)).set_index("element").loc["setup"]
    assert abs(told.loc["setup", "shrunk"]) < abs(row["shrunk"]) < abs(row["difference"])


def test_what_is_not_recorded_at_the_start_says_so(told):
    assert told.loc["frequency", "not_computed"] == NOT_RECORDED
    assert np.isnan(told.loc["frequency", "difference"])


def with_minutes(study: Study) -> Study:
    """The first session of every other wound is of ten minutes, of the others thirty; later ones forty."""
    sessions = study.sessions.sort_values(["wound", "day"])
    first = ~sessions.duplicated("wound")
    number = pd.factorize(sessions["wound"])[0]
    minutes = np.where(first, np.where(number % 2 == 0, 10.0, 30.0), 40.0)
    return replace(study, sessions=sessions.assign(minutes=minutes).sort_index())


def test_minutes_are_those_of_the_first_session_alone(study):
    split = split_by("first_minutes", with_minutes(study))
    assert {split.one, split.other} == {"20 minutes or more at first", "under 20 minutes at first"}
    names = np.sort(study.sessions["wound"].unique())
    short = split.labels.index[split.labels == "under 20 minutes at first"]
    assert set(short) == set(names[::2])


def test_an_element_that_goes_with_the_facility_wholly_is_the_facility_s(study):
    homes = study.episodes["facility"].astype(object).where(study.episodes["wound"] < "W00200", "Other house")
    protocol = study.plan.protocol.model_copy(update={"turning_facilities": ("Other house",)})
    moved = replace(
        study, episodes=study.episodes.assign(facility=homes),
        plan=study.plan.model_copy(update={"protocol": protocol}),
    )  # fmt: skip
    row = refined(moved).set_index("element").loc["turning"]
    assert homes.nunique() > 1
    assert row["not_computed"] == OF_THE_FACILITY and np.isnan(row["difference"])


def test_limits_of_elements_asked_beforehand_are_wider_the_more_are_asked(study, told):
    both = refined(asking(with_minutes(study), "setup", "first_minutes")).set_index("element")
    alone = refined(asking(with_minutes(study), "setup")).set_index("element")
    assert alone.loc["setup", "asked_beforehand"] and not alone.loc["first_minutes", "asked_beforehand"]
    assert both.loc["first_minutes", "not_computed"] == ""
    wide, narrow = (frame.loc["setup", "high"] - frame.loc["setup", "low"] for frame in (both, alone))
    # Bonferroni: 2.241403 standard errors for two in place of 1.959964
    assert wide / narrow == pytest.approx(2.241403 / 1.959964, rel=1e-5)


def test_exploratory_numbers_are_told_only_as_drawn_towards_none(study):
    said = " ".join(elements_said(refined(study), study.plan))
    row = refined(study).set_index("element").loc["setup"]
    assert "asks about no element beforehand" in said
    assert "drawn towards none, as if two ways differed by 5 points" in said
    assert f"{abs(round(row['difference']))} fewer (range" not in said or round(row["difference"]) == round(
        row["shrunk"]
    )


def test_those_asked_beforehand_are_told_with_their_own_range(study):
    said = elements_said(refined(asking(study, "setup")), study.plan)
    assert said[0].startswith("Asked beforehand, set-up: ") and "drawn towards" not in said[0]


def test_where_a_warning_stops_the_comparison_nothing_is_asked(study):
    # six sessions in ten are of no wound that is known: the comparison may not be told
    rows = study.sessions["source_row"]
    lost = rows[np.random.default_rng(1).random(len(rows)) < 0.6]
    faults = pd.DataFrame({"table": "sessions", "column": None, "fault": "unmatched", "fate": "set aside",
                           "source_row": lost.to_numpy()})  # fmt: skip
    stopped = refined(replace(study, faults=faults))
    assert stopped["difference"].isna().all() and stopped["shrunk"].isna().all()
    assert (stopped["not_computed"] != "").all() and NOT_RECORDED not in set(stopped["not_computed"])


WOUNDS = "wound resident kind\n" + "".join(f"W{n} R{n} venous\n" for n in range(1, 7))
MEASURED = "wound day length width state\n" + "".join(
    f"W{n} 10 4 3 open\nW{n} 17 4 3 open\nW{n} 24 4 3 open\n" for n in range(1, 7)
)
GIVEN = """
wound day modality    setup     minutes status frequency
W1    26  stimulation monopolar 20      given  .
W2    26  stimulation monopolar 20      given  .
W3    26  stimulation monopolar 20      given  .
W4    26  stimulation bipolar   10      given  .
W5    26  ultrasound  .         5       given  3
W6    26  stimulation monopolar 20      given  .
W6    26  stimulation bipolar   20      given  .
"""
ORDERS = """
resident wound span            value      per_week from_day to_day
.        W1    ordered_regimen monopolar  5        20       90
.        W2    ordered_regimen monopolar  3        20       90
.        W3    ordered_regimen monopolar  5        30       90
.        W4    ordered_regimen bipolar    5        20       90
.        W5    ordered_regimen ultrasound 2        20       90
.        W2    ordered_regimen ultrasound 7        20       90
R1       .     ordered_regimen dressing   7        10       90
R2       .     ordered_regimen dressing   7        10       90
"""


@pytest.fixture(scope="module")
def six() -> Study:
    return drawn(MEASURED, WOUNDS, sessions=GIVEN, spans=ORDERS)


def test_the_order_of_the_start_is_of_stimulation_and_held_on_that_day(six):
    split = split_by("per_week", six)
    # W3's order came after its start, W5's and W2's seven are of ultrasound, and dressings are no modality
    assert split.labels.to_dict() == {
        "W1": "5 or more a week ordered", "W2": "fewer than 5 a week ordered", "W4": "5 or more a week ordered",
    }  # fmt: skip


def test_a_first_day_that_says_both_ways_shows_neither(six):
    split = split_by("setup", six)
    assert set(split.labels.index) == {"W1", "W2", "W3", "W4"}


def test_minutes_are_cut_at_their_median_where_the_plan_s_would_leave_too_few(six):
    split = split_by("first_minutes", six)
    # the plan's 20 leaves one wound below; the median is 20 too
    assert {split.one, split.other} == {"20 minutes or more at first", "under 20 minutes at first"}
    longer = six.sessions.assign(minutes=six.sessions["minutes"] + 30)
    split = split_by("first_minutes", replace(six, sessions=longer))
    assert {split.one, split.other} == {"50 minutes or more at first", "under 50 minutes at first"}


def test_polarity_does_not_turn_where_both_electrodes_are_at_the_wound(six):
    homes = six.episodes.assign(
        facility=["Turning" if wound in ("W1", "W4") else "Other" for wound in six.episodes["wound"]]
    )
    protocol = six.plan.protocol.model_copy(update={"turning_facilities": ("Turning",)})
    turning = replace(six, episodes=homes, plan=six.plan.model_copy(update={"protocol": protocol}))
    labels = split_by("turning", turning).labels
    assert "W4" not in labels.index and labels["W1"] == "polarity that turns"


def test_one_way_alone_is_no_question(six):
    assert split_by("frequency", six) is None
    assert split_by("polarity", six) is None


def test_an_export_without_sessions_or_orders_asks_nothing():
    bare = drawn(MEASURED, WOUNDS)
    told = refined(bare)
    assert list(told["element"]) == list(ELEMENTS)
    assert set(told["not_computed"]) == {NOT_RECORDED}


def test_ranges_of_several_asked_beforehand_are_said_to_hold_together(study):
    several = elements_said(refined(asking(with_minutes(study), "setup", "first_minutes")), study.plan)
    assert TOGETHER in several and TOGETHER not in elements_said(refined(asking(study, "setup")), study.plan)
