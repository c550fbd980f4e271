"""The smallest difference that could have been seen, from spread alone, and when one of so many points can be."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from benchmarks.planted_bias import evidence_of, invented_study
from kit.context.could_have_seen import (
    NO_CALENDAR,
    TOO_FEW,
    TOO_LONG,
    could_have_seen,
    design_effect,
    later_cutoff,
    pace_of,
    reach_of,
    schoenfeld,
    starters_for,
    when_seen,
)
from kit.healing.answers import Answers, withheld
from kit.plan import Plan, date_of, day_of

EXACT = 1e-9  # the same arithmetic
PRINTED = 5e-4  # as many digits as are printed


@pytest.fixture(scope="module")
def answers() -> Answers:
    scenario = Scenario(residents=200, starters=60)
    return evidence_of(invented_study(scenario, np.random.default_rng(8)), 100, 1).answers


@pytest.fixture(scope="module")
def small() -> Answers:
    scenario = Scenario(residents=60, starters=5)
    return evidence_of(invented_study(scenario, np.random.default_rng(8)), 20, 1).answers


def test_the_smallest_difference_is_so_many_of_its_own_errors(answers):
    told = answers.told.iloc[0]
    row = could_have_seen(answers).iloc[0]
    assert told["is_told"] and row["measure"] == "closed"
    assert row["error"] == pytest.approx(100 * told["closed_error"], rel=EXACT)
    assert row["smallest"] == pytest.approx(row["error"] * reach_of(row["residents"] - 1), rel=EXACT)


def test_what_was_observed_is_never_plugged_in(answers):
    shifted = answers.told.assign(
        **{f"closed_{name}": answers.told[f"closed_{name}"] + 0.3 for name in ("treated", "difference", "low", "high")}
    )
    other = replace(answers, told=shifted)
    pd.testing.assert_frame_equal(could_have_seen(other), could_have_seen(answers))
    pd.testing.assert_frame_equal(when_seen(other), when_seen(answers))


def test_a_comparison_that_is_withheld_leaves_its_spread_and_no_difference(answers):
    stopped = withheld(answers, "a warning stops it")
    told, before = could_have_seen(stopped), could_have_seen(answers)
    assert np.isnan(stopped.told["closed_difference"].iloc[0])
    assert told["smallest"].to_numpy() == pytest.approx(before["smallest"].to_numpy(), rel=EXACT)


def test_below_ten_starts_nothing_is_told(small):
    told = could_have_seen(small)
    assert len(small.layout.starters.week) < 10
    assert set(told["not_computed"]) == {TOO_FEW} and told["smallest"].isna().all()
    assert set(when_seen(small)["not_computed"]) == {TOO_FEW}


def test_many_residents_need_two_point_eight_errors_and_few_more():
    # standard normal quantiles 1.959964 and 0.841621; Student's with 9 degrees 2.262157 and 0.883404 (tables)
    assert reach_of(1e7) == pytest.approx(2.801585, abs=1e-5)
    assert reach_of(9) == pytest.approx(2.262157 + 0.883404, abs=1e-5)


def test_starts_needed_grow_with_the_square_of_what_is_to_be_seen():
    row = {"starters": 50, "residents": 1_000_000, "error": 6.0}
    # 50 (2.801585 x 6 / 10)^2 = 141.3, and four times as many for half the points
    assert starters_for(10, row) == 142
    assert starters_for(5, row) == pytest.approx(4 * 141.28, abs=1)


def test_so_many_starts_would_see_so_much(answers):
    row = could_have_seen(answers).iloc[0].to_dict()
    assert starters_for(row["smallest"], row) == row["starters"]


def test_the_pace_is_a_count_with_its_exact_range(answers):
    pace = pace_of(answers)
    plan = answers.layout.plan  # a window of 91 days, 670 to 760
    assert pace["quarters"] == pytest.approx(plan.comparison.answer_months * 365.25 / 12 / 91, rel=EXACT)
    assert pace["a_quarter"] == pytest.approx(pace["starts"] / pace["quarters"], rel=EXACT)
    assert pace["low"] < pace["a_quarter"] < pace["high"]


def test_the_range_of_ten_starts_is_the_published_one(answers):
    # exact limits of a count of 10: 4.795 to 18.390 (Garwood 1936, as tabled)
    ten = replace(answers.layout.starters, week=answers.layout.starters.week[:10])
    pace = pace_of(replace(answers, layout=replace(answers.layout, starters=ten)))
    assert (pace["low"] * pace["quarters"], pace["high"] * pace["quarters"]) == pytest.approx(
        (4.795, 18.390), abs=PRINTED
    )


def test_what_can_be_seen_already_needs_no_further_quarter(answers):
    told = when_seen(answers, (60,)).iloc[0]
    assert told["quarters"] == 0 and told["cutoff"] == answers.layout.plan.cutoff


def test_a_difference_for_which_no_plan_looks_back_far_enough_has_no_quarter(answers):
    told = when_seen(answers, (1,)).iloc[0]
    assert told["not_computed"] == TOO_LONG and pd.isna(told["cutoff"])


def test_more_points_are_seen_no_later(answers):
    told = when_seen(answers, (5, 10, 15, 20)).set_index("points")
    closed = told[told["measure"] == "closed"]["starters_needed"]
    assert closed.is_monotonic_decreasing and closed.nunique() == 4


def test_without_a_calendar_there_is_no_date(answers):
    plan = Plan.model_validate({
        "program": {"name": "A", "basis": "safe_harbor"}, "regimens": [{"name": "x", "modality": "stimulation"}]
    })  # fmt: skip
    told = when_seen(replace(answers, layout=replace(answers.layout, plan=plan)))
    assert set(told["not_computed"]) == {NO_CALENDAR}
    assert (told["starters_needed"] > 0).all() and told["cutoff"].isna().all()


def plan_of(begins, cutoff) -> Plan:
    return Plan.model_validate({
        "program": {"name": "A", "basis": "operations"}, "windows": {"quarter_begins": begins, "cutoff": cutoff},
        "regimens": [{"name": "x", "modality": "stimulation"}],
    })  # fmt: skip


@pytest.mark.parametrize(
    ("begins", "cutoff", "quarters", "ends"),
    [
        (date(2026, 4, 1), date(2026, 6, 30), 1, date(2026, 9, 30)),
        (date(2026, 4, 1), date(2026, 6, 30), 2, date(2026, 12, 31)),
        (date(2026, 4, 1), date(2026, 6, 30), 0, date(2026, 6, 30)),
        (date(2027, 9, 1), date(2027, 11, 30), 1, date(2028, 2, 29)),  # a leap year
        (date(2026, 4, 1), date(2026, 6, 29), 1, date(2026, 9, 27)),  # 90 days, not to a month's end
    ],
)
def test_calendar_quarters_stay_calendar_quarters(begins, cutoff, quarters, ends):
    assert date_of(later_cutoff(plan_of(begins, cutoff), quarters)) == ends


def test_day_numbers_move_by_their_length():
    assert later_cutoff(plan_of(110, 200), 2) == 200 + 2 * 91


def test_a_calendar_date_is_the_day_number_it_is():
    assert later_cutoff(plan_of(date(2026, 4, 1), date(2026, 6, 30)), 1) == day_of(date(2026, 9, 30))


def test_schoenfeld_by_hand():
    # (1.959964 + 0.841621)^2 / (0.5 x 0.5 x 0.405465^2) = 7.848880 / 0.041100 = 190.97; Schoenfeld 1981
    assert schoenfeld(1.5, 0.5) == pytest.approx(190.97, abs=0.01)
    assert schoenfeld(2.0, 0.5) == pytest.approx(65.35, abs=0.01)  # 7.848880 / (0.25 x 0.693147^2)
    assert schoenfeld(1.5, 0.2) == pytest.approx(190.97 * 0.25 / 0.16, abs=0.01)


def test_the_ratio_s_direction_does_not_matter():
    assert schoenfeld(1 / 1.5, 0.3) == pytest.approx(schoenfeld(1.5, 0.3), rel=EXACT)


@pytest.mark.parametrize(
    ("wounds", "together", "uneven", "effect"), [(1.5, 0.3, 0, 1.15), (3, 0.2, 0, 1.4), (3, 0.2, 0.6, 1.616)]
)
def test_design_effects_are_those_of_the_table(wounds, together, uneven, effect):
    # 1 + ((cv^2 + 1) m - 1) ICC, computed; three of 100 wounds then count as 214.29 of 300
    assert design_effect(wounds, together, uneven) == pytest.approx(effect, abs=1e-12)
    assert 300 / design_effect(3, 0.2) == pytest.approx(214.29, abs=0.005)
