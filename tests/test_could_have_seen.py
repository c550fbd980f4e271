"""The smallest difference that could have been seen, from spread alone, and when one of so many points can be."""

import re
from dataclasses import replace
from datetime import date
from math import ceil

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from benchmarks.planted_bias import evidence_of, invented_study
from kit.bias.design import design_effect
from kit.context.could_have_seen import (
    NO_CALENDAR,
    NO_SIZE,
    NO_SPREAD,
    TOO_FEW,
    TOO_LONG,
    could_have_seen,
    later_cutoff,
    pace_of,
    quarter_months,
    reach_of,
    schoenfeld,
    seen_by_decision,
    starters_for,
    when_seen,
)
from kit.healing.answers import Answers, withheld
from kit.healing.emulation import lay_out
from kit.healing.trials import window
from kit.plan import Plan, date_of, day_of
from kit.statements.next_quarter import deciding, second_opinion, when
from kit.words import FORBIDDEN

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


def test_a_side_on_which_none_closed_does_not_make_everything_visible(answers):
    none = answers.told.assign(closed_treated=0.0)
    row = could_have_seen(replace(answers, told=none)).iloc[0]
    assert row["not_computed"] == NO_SPREAD and np.isnan(row["smallest"])
    # the same where nothing is told and the spread is drawn: no wound that started closes, those beside do
    started = answers.layout.weeks["wound"].isin(answers.layout.weeks["wound"].iloc[answers.layout.starters.week])
    weeks = answers.layout.weeks.assign(outcome=answers.layout.weeks["outcome"].astype(object).mask(started, "open"))
    measurements = pd.DataFrame({"wound": [], "day": [], "state": [], "size": []}).astype(
        {"wound": object, "day": "int64", "state": object, "size": float}
    )
    layout = lay_out(weeks, measurements, answers.layout.plan, answers.layout.horizon)
    stopped = replace(withheld(answers, "a warning stops it"), layout=layout)
    told = could_have_seen(stopped).set_index("measure")["not_computed"]
    assert told["closed"] == NO_SPREAD and told["early"] == NO_SIZE


def test_months_before_the_first_record_have_not_been_slow(answers):
    plan, starts = answers.layout.plan, len(answers.layout.starters.week)
    first, last = window(plan, answers.layout.horizon)
    half = (first + last + 1) // 2
    weeks = answers.layout.weeks.assign(begins=answers.layout.weeks["begins"].clip(lower=half))
    pace = pace_of(replace(answers, layout=replace(answers.layout, weeks=weeks)))
    assert pace["quarters"] * quarter_months(plan) == pytest.approx(plan.comparison.answer_months / 2, abs=0.02)
    assert pace["a_quarter"] == pytest.approx(starts / pace["quarters"], rel=EXACT)


def test_a_plan_of_single_months_moves_by_months():
    plan = plan_of(date(2026, 1, 1), date(2026, 1, 31))
    assert quarter_months(plan) == 1
    assert date_of(later_cutoff(plan, 1)) == date(2026, 2, 28)


def test_a_plan_that_looks_back_further_already_is_not_told_to_look_further_still(answers):
    told = when_seen(answers, (10,)).iloc[0]
    longer = answers.layout.plan.comparison.model_copy(update={"answer_months": int(told["answer_months"])})
    plan = answers.layout.plan.model_copy(update={"comparison": longer})
    # the records begin where they did: only the window's length changed
    first, _ = window(answers.layout.plan, answers.layout.horizon)
    weeks = answers.layout.weeks.assign(begins=answers.layout.weeks["begins"].clip(lower=first))
    again = when_seen(replace(answers, layout=replace(answers.layout, plan=plan, weeks=weeks)), (10,)).iloc[0]
    assert told["quarters"] > 0
    assert (again["answer_months"], again["cutoff"]) == (told["answer_months"], told["cutoff"])


def test_the_quarter_that_decides_sees_no_more_than_its_window_holds(answers):
    told, plan = could_have_seen(answers), answers.layout.plan
    decided = _deciding(answers, plan.cutoff + 182)
    # the window of twelve months is filled: as many starts then as now
    assert list(decided["starters"]) == list(told["starters"])
    assert decided["smallest"].to_numpy() == pytest.approx(told["smallest"].to_numpy(), rel=EXACT)
    longer = _deciding(answers, plan.cutoff + 365, answer_months=24)
    assert (longer["starters"].to_numpy() > told["starters"].to_numpy()).all()
    assert (longer["smallest"].to_numpy() < told["smallest"].to_numpy()).all()
    assert len(deciding(decided, plan.model_copy(update={"comparison": plan.comparison.model_copy(
        update={"decides": plan.cutoff + 182})}))) == len(told)  # fmt: skip


def test_no_quarter_decides_or_it_is_over(answers):
    assert seen_by_decision(answers).empty
    assert _deciding(answers, answers.layout.plan.cutoff).empty


def _deciding(answers, decides, answer_months=12):
    rules = answers.layout.plan.comparison.model_copy(update={"decides": decides, "answer_months": answer_months})
    plan = answers.layout.plan.model_copy(update={"comparison": rules})
    weeks, first = answers.layout.weeks, window(answers.layout.plan, answers.layout.horizon)[0]
    weeks = weeks.assign(begins=weeks["begins"].clip(lower=first))
    return seen_by_decision(replace(answers, layout=replace(answers.layout, plan=plan, weeks=weeks)))


def test_what_is_said_of_a_difference_no_number_of_starts_shows(answers):
    told = when_seen(answers, (10,)).assign(starters_needed=np.inf, not_computed=TOO_LONG)
    said = when(told, pace_of(answers), answers.layout.plan)
    assert "need over 100,000 starts" in said[1] and "inf" not in " ".join(said)


def test_no_closings_are_reckoned_where_the_early_response_is_compared(answers):
    assert "closings in both groups" in second_opinion(answers)
    assert second_opinion(replace(answers, measure="early")) == ""


def test_what_the_deciding_quarter_sees_is_rounded_up_and_claims_nothing(answers):
    rules = answers.layout.plan.comparison.model_copy(update={"decides": answers.layout.plan.cutoff + 182})
    told = _deciding(answers, answers.layout.plan.cutoff + 182)
    said = deciding(told, answers.layout.plan.model_copy(update={"comparison": rules}))
    assert f"{ceil(told['smallest'].iloc[0])} of 100 wounds closed by week" in said[0]
    assert not [word for word in FORBIDDEN if re.search(rf"\b{word}\b", " ".join(said).lower())]
