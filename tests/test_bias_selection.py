"""Warnings about who stands on which side: each seen firing and seen silent on a few wounds counted by hand."""

from dataclasses import replace
from functools import cache
from math import log

import pandas as pd
import pytest

from kit.bias.beside import towards
from kit.bias.evidence import DETRACTS, FLATTERS, NOT_KNOWN
from kit.bias.selection import (
    CHECKS,
    all_or_none,
    co_treatment,
    comfort,
    measured_more,
    outside,
    reach,
    started_later,
)
from kit.healing.answers import withheld
from tests.drawn import PLAN
from tests.test_bias_design import SAFE_HARBOR, assert_said_well, evidence_of, few, group

CLOSE = 1e-9  # quotients of small whole numbers
WEIGHED = 0.02  # the start model's weights leave a trace of the other weeks
START = 26  # in the week from day 24 to day 30, the first after the run-in


def spans(rows):
    return "resident wound span from_day to_day\n" + "\n".join(rows)


# --- starts outside, and later ---


@pytest.mark.parametrize(("early", "fires"), [(0, False), (1, False), (2, True), (5, True)])
def test_more_than_a_fifth_of_starts_kept_out_by_the_chart_fires(early, fires):
    """Day 12 is in the first two weeks of usual care."""
    found = outside(evidence_of(few({n: 12 if n <= early else START for n in range(1, 6)}, wounds=8)))
    assert (found.number, found.fires, found.direction) == (early / 5, fires, NOT_KNOWN)


def test_starts_kept_out_are_told_by_reason():
    says = outside(evidence_of(few({1: 12, 2: 13, 3: START}))).says
    assert says == "Of 3 starts 2 cannot be compared for what the chart holds (67%; 2 in the first days of usual care)."


def test_a_start_too_late_for_a_horizon_is_no_start_kept_out():
    """A week that ends on day 198 leaves no four weeks before day 200."""
    found = outside(evidence_of(few({1: START, 2: 193})))
    assert (found.number, found.fires) == (0, False)


def test_wounds_already_treated_are_told_elsewhere():
    assert outside(evidence_of(few({1: 5}))).not_computed == "no start was seen"


@pytest.mark.parametrize(
    ("later", "number", "fires", "direction"), [((), 0, False, NOT_KNOWN), ((2,), 1 / 5, False, DETRACTS),
                                               ((2, 3), 2 / 5, False, DETRACTS), ((2, 3, 4), 3 / 5, True, DETRACTS)]
)  # fmt: skip
def test_more_than_half_of_those_beside_starting_later_fires(later, number, fires, direction):
    """W1 starts in the first week, so that W2 to W6 stand beside; those who start on day 40 are the larger wounds."""
    study = few({1: START} | dict.fromkeys(later, 40), sizes=dict.fromkeys(later, "8 6"))
    found = started_later(evidence_of(study))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number, abs=CLOSE), fires, direction)


def test_where_the_smaller_ones_start_later_those_beside_look_worse_without_them():
    study = few({1: START, 2: 40, 3: 40, 4: 40}, sizes=dict.fromkeys((2, 3, 4), "2 1"))
    assert started_later(evidence_of(study)).direction == FLATTERS


def test_a_start_beyond_the_horizon_is_not_later():
    """Rows beside end with day 30 at the earliest and go on every week until the start on day 150."""
    evidence = evidence_of(few({1: START, 2: 150}))
    cut = evidence.answers.layout.weeks
    early = cut.index[(cut["wound"] == "W2") & (cut["ends"] < 150 - evidence.answers.layout.horizon)]
    others = evidence.answers.layout.others
    rows = replace(others, week=early.to_numpy())
    layout = replace(evidence.answers.layout, others=rows)
    assert started_later(replace(evidence, answers=replace(evidence.answers, layout=layout))).number == 0
    assert started_later(evidence).number == 1 / 5


def test_of_six_that_could_have_been_started_two_were():
    found = reach(evidence_of(few({1: START, 2: START})))
    assert (found.number, found.fires) == (1 / 3, False)
    assert found.says == "Of 6 wounds that could have been started 2 were (33%)."


# --- all or none ---


def in_two(key, second, began, **more):
    """Ten wounds of which six start, and `second` others, set apart by `key` (a facility or a stage)."""
    words = {"homes": ("A", "B"), "stages": ("3", "2")}[key]
    names = {n: words[n > 10] for n in range(1, 11 + second)}
    starts = dict.fromkeys([*range(1, 7), *range(11, 11 + began)], START)
    return evidence_of(few(starts, wounds=10 + second, **{key: names}, **more))


@pytest.mark.parametrize("key", ["homes", "stages"])
@pytest.mark.parametrize(("second", "began", "fires"), [(5, 0, False), (6, 0, True), (12, 0, True), (12, 1, False)])
def test_none_started_where_chance_would_hardly_leave_none_fires(key, second, began, fires):
    """Elsewhere 6 of 10 start and two places are looked at: 0.4^n is below 0.01 / 2 from 5.78 residents on."""
    found = all_or_none(in_two(key, second, began))
    assert found.fires == fires
    assert found.number == (0 if began else second)
    if not began:
        assert found.threshold == pytest.approx(log(0.005) / log(0.4), abs=CLOSE)


@pytest.mark.parametrize(("second", "fires"), [(10, False), (11, True)])
def test_all_started_where_chance_would_hardly_let_all_fires(second, fires):
    """0.6^n is below 0.005 from 10.37 residents on; all start in the one week in which they could."""
    found = all_or_none(in_two("stages", second, second))
    assert (found.number, found.fires) == (second, fires)
    assert found.says == f"Stage 2: all of {second} residents started a modality."


@pytest.mark.parametrize(
    ("closing", "direction"), [(range(11, 19), DETRACTS), (range(7, 11), FLATTERS), ((), NOT_KNOWN)]
)
def test_a_stage_that_stands_beside_alone_pushes_by_what_it_came_to(closing, direction):
    """Eight of stage 2 stand beside: where they close those beside do well; where the others close they do badly."""
    assert all_or_none(in_two("stages", 8, 0, closes=dict.fromkeys(closing, 52))).direction == direction


def test_a_facility_without_a_start_is_not_compared_and_pushes_nowhere_known():
    found = all_or_none(in_two("homes", 8, 0))
    assert (found.fires, found.direction) == (True, NOT_KNOWN)
    assert found.says == "Facility B: none of 8 residents started a modality."


@pytest.mark.parametrize("starts", [{1: START}, {}], ids=["one facility", "no start"])
def test_with_nothing_to_set_apart_all_or_none_is_not_told(starts):
    assert all_or_none(evidence_of(few(starts))).not_computed


# --- what came with a start ---

STARTERS, OTHERS = range(1, 11), range(11, 31)
BOTH = dict.fromkeys(STARTERS, START)


def beginning(span, wounds, day=START):
    """The span begins on one day for some wounds of thirty, of which ten start."""
    return evidence_of(few(BOTH, wounds=30, spans=spans(f". W{n} {span} {day} ." for n in wounds)))


@pytest.mark.parametrize(
    ("wounds", "number", "fires", "direction"),
    [(STARTERS, 1, True, FLATTERS), (OTHERS, 1, True, DETRACTS), (range(1, 31), 0, False, None),
     ((1, 2, 3, *range(11, 17)), 0, False, None)],
    ids=["starts alone", "beside alone", "everybody", "three tenths of both"],
)  # fmt: skip
def test_another_treatment_begun_on_one_side_alone_fires(wounds, number, fires, direction):
    """Rows beside of later weeks, in which nothing began, weigh next to nothing: everybody started in one week."""
    found = co_treatment(beginning("negative_pressure", wounds))
    assert found.number == pytest.approx(number, abs=WEIGHED)
    assert found.fires == fires
    assert direction in (None, found.direction)


def test_what_began_with_a_start_is_told_in_shares():
    says = co_treatment(beginning("support_surface", STARTERS)).says
    assert says == "Within a week of 10 starts: support surface begun for 100%, beside 0% of those like them."


@pytest.mark.parametrize(
    ("day", "fires"), [(START - 8, False), (START - 7, True), (START + 7, True), (START + 8, False)]
)
def test_within_a_week_is_seven_days_before_or_after(day, fires):
    assert co_treatment(beginning("compression", STARTERS, day)).fires == fires


@pytest.mark.parametrize(
    ("day", "fires"), [(START - 8, False), (START - 7, True), (START + 7, True), (START + 8, False)]
)
def test_beside_a_week_is_asked_from_where_starts_come_in_theirs(day, fires):
    """Starts come two days after the measurement on day 24, so that day 26 is asked of those beside."""
    assert co_treatment(beginning("compression", OTHERS, day)).fires == fires


def test_an_antibiotic_with_the_start_pushes_nobody_knows_which_way():
    found = co_treatment(beginning("antibiotic", STARTERS))
    assert (found.fires, found.direction) == (True, NOT_KNOWN)


def test_what_began_for_a_person_counts_for_the_persons_wounds():
    lines = [f"R{n} . offloading {START} ." for n in STARTERS]
    assert co_treatment(evidence_of(few(BOTH, wounds=30, spans=spans(lines)))).number == pytest.approx(1, abs=WEIGHED)


def test_a_debridement_with_the_start_counts_and_a_dressing_does_not():
    done = "\n".join(f"W{n} {START} " + "{what}" for n in STARTERS)
    debrided, dressed = (
        evidence_of(few(BOTH, wounds=30, procedures="wound day procedure\n" + done.format(what=what)))
        for what in ("debridement", "dressing")
    )
    assert co_treatment(debrided).fires
    assert co_treatment(dressed).not_computed == "no other treatment is recorded"


def test_where_nothing_started_nothing_came_with_it():
    study = few({}, spans=spans([f". W1 compression {START} ."]))
    assert co_treatment(evidence_of(study)).not_computed == "nobody is left on one side"


@pytest.mark.parametrize(("wounds", "number", "fires"), [(STARTERS, 1, True), ((), 0, False), (range(1, 31), 0, False)])
def test_wounds_measured_twice_a_week_before_they_start_fire(wounds, number, fires):
    """Days 10 and 17 lie before day 24, once a week; with days 13 and 20 it is twice."""
    more = [(n, day) for n in wounds for day in (13, 20)]
    found = measured_more(evidence_of(few(BOTH, wounds=30, more=more)))
    assert found.number == pytest.approx(number, abs=5 * WEIGHED)
    assert (found.fires, found.direction) == (fires, NOT_KNOWN)


@pytest.mark.parametrize(("days", "fires"), [((13, 20, 27), False), ((34, 41, 48), True)])
def test_rounds_more_than_four_weeks_before_do_not_count(days, fires):
    """A start on day 61 is of the week from day 59 on: four weeks before begin on day 31."""
    more = [(n, day) for n in STARTERS for day in days]
    assert measured_more(evidence_of(few(dict.fromkeys(STARTERS, 61), wounds=30, more=more))).fires == fires


def test_rounds_after_the_start_are_not_those_before():
    more = [(n, day) for n in STARTERS for day in (27, 34, 41)]
    assert not measured_more(evidence_of(few(BOTH, wounds=30, more=more))).fires


# --- bars ---


def barred(wounds, **more):
    return evidence_of(few(dict.fromkeys(range(1, 7), START), wounds=24,
                           spans=spans(f"R{n} . comfort_goal 100 ." for n in wounds), **more))  # fmt: skip


@pytest.mark.parametrize(
    ("wounds", "number", "threshold", "fires"),
    [(range(1, 7), 1, 4 / 6, True), (range(3, 7), 1, 3 / 4, True), (range(4, 7), 1, 1, False),
     (range(7, 13), 0, 4 / 6, False), (range(1, 25), 1 / 4, 11 / 24, False)],
    ids=["six started", "four started", "three started", "six beside", "everybody"],
)  # fmt: skip
def test_comfort_goals_of_those_started_alone_fire_beyond_chance(wounds, number, threshold, fires):
    """A quarter of the weeks is theirs. Of six, five or more by chance: 6 x 0.25^5 x 0.75 + 0.25^6 = 0.0046, four or
    more: 0.038, so that the threshold is 4/6. Of four, four: 0.0039, three or more: 0.051. Of three, three: 0.0156.
    """
    found = comfort(barred(wounds))
    assert (found.number, found.fires) == (number, fires)
    assert found.threshold == pytest.approx(threshold, abs=CLOSE)


def test_bars_push_by_whether_wounds_with_one_close_less_often():
    less, more = barred(range(1, 7), closes={20: 150}), barred(range(1, 7), closes={1: 150})
    assert (comfort(less).direction, comfort(more).direction) == (FLATTERS, DETRACTS)


def test_a_bar_recorded_after_the_wound_closed_is_none_of_its_own():
    assert comfort(barred(range(1, 7), closes=dict.fromkeys(range(1, 7), 94))).not_computed


# --- the catalogue ---


def test_no_gain_and_no_known_gain_push_nowhere_known():
    assert [towards(gain) for gain in (0.1, -0.1, 0.0, float("nan"))] == [FLATTERS, DETRACTS, NOT_KNOWN, NOT_KNOWN]


@cache
def plain():
    return evidence_of(few({1: START}))


@pytest.mark.parametrize("evidence", [plain, group], ids=["not told", "told"])
def test_every_warning_says_something_or_why_it_does_not(evidence):
    assert_said_well(CHECKS, evidence())


@pytest.mark.parametrize("starts", [{}, {1: START}, {1: 5}], ids=["none", "all", "running"])
@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR], ids=["calendar", "no calendar"])
def test_every_warning_can_be_asked_of_a_single_wound(starts, plan):
    assert_said_well(CHECKS, evidence_of(few(starts, wounds=1, plan=plan)))


def test_a_comparison_that_is_withheld_changes_no_warning():
    kept = replace(group(), answers=withheld(group().answers, "A reason."))
    for name, check in CHECKS.items():
        pd.testing.assert_series_equal(*(pd.Series(vars(check.find(one))) for one in (group(), kept)), obj=name)


def test_the_invented_group_sets_off_none():
    assert [name for name, check in CHECKS.items() if check.find(group()).fires] == []
