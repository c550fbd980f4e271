"""Who started in a week and who could have: each rule of the trials, judged at the end of the week.

W1 is measured every seventh day from day 10 to day 52 and closed on day 59. W0, of another person, is treated from day
11 on, so that the program has begun. Two weeks of usual care come first, so the trials of W1 begin on the DAYS below.
"""

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.healing import trials as judged
from kit.healing.emulation import NOBODY_LEFT, lay_out
from kit.healing.trials import (
    ELIGIBLE,
    RUNNING,
    TOO_EARLY,
    TOO_LATE,
    UNSEEN,
    trials,
    weeks_of,
    window,
)
from kit.plan import PlanError
from kit.study import read_study
from kit.wounds.episodes import episodes
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR, plan_of

RUN_IN, UNMEASURED = "in the first days of usual care", "not measured in that week"
GONE, RECORD = "closed or gone before the week was over", "the record ends within the week"
AWAY, CONTRA = "out of the building at the end of the week", "a contraindication stood on the chart"
COMFORT, STAGE = "comfort was the goal", "at a stage the plan does not start"
PROGRAM = "before the program began in that facility"
WRITTEN = [RUN_IN, UNMEASURED, GONE, RECORD, AWAY, CONTRA, COMFORT, STAGE, PROGRAM]
DAYS = [24, 31, 38, 45, 52]
PEOPLE = "wound resident kind\nW0 R0 pressure_injury\nW1 R1 pressure_injury\n"
OPENED = "wound day modality setup status\nW0 11 stimulation monopolar given\n"
HEAD = "wound day length width state\n"
OPENER = "W0 10 4 3 open\nW0 17 . . closed\n"
LIFELIKE = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"


def outside(weeks, plan, horizon):
    """Told of all facilities."""
    return judged.outside(weeks, plan, horizon, set(weeks.weeks["facility"]))


def eligibility(weeks, plan, horizon):
    """Told of all facilities."""
    return judged.eligibility(weeks, plan, horizon, set(weeks["facility"]))


def rounds(wound, days):
    return "".join(f"{wound} {day} 4 3 open\n" for day in days)


def closed(wound, day):
    return f"{wound} {day} . . closed\n"


CHART = HEAD + OPENER + rounds("W1", range(10, 53, 7)) + closed("W1", 59)


def weeks_in(study):
    return weeks_of(
        study.episodes, study.residents, study.wounds, study.measurements, study.stages, study.spans, study.departures,
        study.plan,
    )  # fmt: skip


def drawn_weeks(chart=CHART, wounds=PEOPLE, sessions="", more="", **tables):
    """The weeks of a drawn study in which W0 opens the program on day 11; `more` is added to the plan."""
    plan = tables.pop("plan", PLAN) + more
    study = drawn(chart, wounds=wounds, plan=plan, sessions=OPENED + sessions, **tables)
    return weeks_in(study), study.plan


def trial_days(*args, **tables):
    """The days on which the trials of W1 begin."""
    weeks, plan = drawn_weeks(*args, **tables)
    formed = trials(weeks.weeks, plan, 28)
    return formed.loc[formed["wound"] == "W1", "begins"].tolist()


def reasons(*args, **tables):
    """Why each week of W1 is no trial, by the day on which it begins."""
    weeks = drawn_weeks(*args, **tables)[0].weeks
    return weeks[weeks["wound"] == "W1"].set_index("begins")["reason"].to_dict()


def test_every_measured_week_of_an_untreated_wound_is_a_trial_after_the_run_in():
    assert trial_days() == DAYS
    assert reasons() == {10: RUN_IN, 17: RUN_IN, **dict.fromkeys(DAYS, ""), 59: UNMEASURED}


@pytest.mark.parametrize(
    ("days", "expected"), [(0, [10, 17, *DAYS]), (7, [17, *DAYS]), (14, DAYS), (15, DAYS[1:]), (90, [])]
)
def test_a_week_that_begins_within_the_days_of_usual_care_is_no_trial(days, expected):
    """Day 24 is the fifteenth day: fourteen lie before it."""
    assert trial_days(more=f"[comparison]\nrun_in_days = {days}\n") == expected


# --- measured as the week begins ---


def test_a_week_whose_size_would_be_carried_forward_is_no_trial():
    """Not measured on day 38; the week from there has the size of day 31."""
    chart = CHART.replace("W1 38 4 3 open\n", "")
    assert trial_days(chart) == [24, 31, 45, 52]
    assert reasons(chart)[38] == UNMEASURED


def test_a_week_that_begins_open_but_without_a_size_is_no_trial():
    chart = CHART.replace("W1 38 4 3 open", "W1 38 . . open")
    assert trial_days(chart) == [24, 31, 45, 52]
    assert reasons(chart)[38] == UNMEASURED


def test_a_start_in_an_unmeasured_week_is_not_compared():
    weeks, plan = drawn_weeks(CHART.replace("W1 38 4 3 open\n", ""), sessions="W1 40 ultrasound . given\n")
    assert trials(weeks.weeks, plan, 28)["starts"].isin(["ultrasound"]).sum() == 0
    assert outside(weeks, plan, 28).set_index("reason")["starters"].to_dict() == {RUN_IN: 1, UNMEASURED: 1}


# --- judged at the end of the week, both arms alike ---


@pytest.mark.parametrize(("day", "expected"), [(55, DAYS[:-1]), (56, DAYS[:-1]), (57, DAYS), (59, DAYS)])
def test_a_wound_that_closes_in_a_week_before_any_session_forms_no_trial_in_it(day, expected):
    """A round less than five days after that of day 52 begins no week of its own; a later one ends the week before."""
    chart = CHART.replace(closed("W1", 59), closed("W1", day))
    assert trial_days(chart) == expected
    assert reasons(chart)[52] == ("" if day >= 57 else GONE)


def test_a_wound_that_starts_and_closes_in_one_week_forms_no_trial_in_it():
    """Started on day 54, closed on day 56; what closed untreated that day forms none either."""
    chart, session = CHART.replace(closed("W1", 59), closed("W1", 56)), "W1 54 ultrasound . given\n"
    assert trial_days(chart, sessions=session) == trial_days(chart) == DAYS[:-1]
    weeks, plan = drawn_weeks(chart, sessions=session)
    assert outside(weeks, plan, 28).set_index("reason")["starters"].to_dict() == {RUN_IN: 1, GONE: 1}


def test_both_clocks_start_at_the_end_of_the_week():
    """W1 starts on day 39, W2 does not; both weeks from day 38 end on day 44, and both wounds close 15 days later."""
    wounds = PEOPLE + "W2 R2 pressure_injury\n"
    chart = CHART + CHART.replace(HEAD + OPENER, "").replace("W1", "W2")
    study = drawn(chart, wounds=wounds, sessions=OPENED + "W1 39 ultrasound . given\n")
    weeks = weeks_in(study).weeks
    formed = trials(weeks, study.plan, 28)
    week = formed[formed["begins"] == 38].set_index("wound")
    assert week["starts"].to_dict() == {"W1": "ultrasound", "W2": ""}
    assert week["ends"].to_dict() == {"W1": 44, "W2": 44}
    layout = lay_out(weeks, study.measurements, study.plan, 28)
    for arm, wound in ((layout.starters, "W1"), (layout.others, "W2")):
        own = weeks.loc[arm.week].reset_index()
        row = own.index[(own["wound"] == wound) & (own["begins"] == 38)][0]
        shut = arm.ways[NOBODY_LEFT].ends[0].tocoo()
        piece = arm.ways[NOBODY_LEFT].row[shut.col] == row
        assert shut.row[piece].tolist() == [15]  # 59 - 44


@pytest.mark.parametrize(("day", "reason"), [(43, GONE), (44, GONE), (45, "")])
def test_whoever_dies_on_the_last_day_of_a_week_forms_no_trial_in_it(day, reason):
    chart = HEAD + OPENER + rounds("W1", range(10, 39, 7))
    gone = f"resident day reason\nR1 {day} died\n"
    assert reasons(chart, departures=gone)[38] == reason
    assert trial_days(chart, departures=gone) == ([24, 31] if reason else [24, 31, 38])


def test_a_session_on_the_day_of_departure_starts_nothing():
    chart = HEAD + OPENER + rounds("W1", range(10, 39, 7))
    weeks, _ = drawn_weeks(chart, sessions="W1 44 ultrasound . given\n", departures="resident day reason\nR1 44 died\n")
    assert set(weeks.weeks.loc[weeks.weeks["wound"] == "W1", "starts"]) == {""}


@pytest.mark.parametrize(("first", "last"), [(13, 195), (12, 194)])
def test_the_week_in_which_the_record_ends_is_no_trial(first, last):
    """The cut-off is day 200: in the middle of the week from day 195 on, on the last day of that from day 194 on."""
    told = reasons(HEAD + OPENER + rounds("W1", range(first, 201, 7)))
    assert (max(told), told[last - 7], told[last]) == (last, "", RECORD)


@pytest.mark.parametrize(("reason", "lost"), [("left", [False, False, False, False, True]), ("died", [False] * 5)])
def test_leaving_is_lost_from_view_in_its_week_and_dying_is_not(reason, lost):
    chart = HEAD + OPENER + rounds("W1", range(10, 39, 7))
    weeks = drawn_weeks(chart, departures=f"resident day reason\nR1 40 {reason}\n")[0].weeks
    assert weeks.loc[weeks["wound"] == "W1", "lost"].tolist() == lost


def test_a_wound_not_seen_again_is_lost_from_view_where_it_was_last_seen():
    weeks = drawn_weeks(HEAD + OPENER + rounds("W1", [10, 17, 24]))[0].weeks
    own = weeks[weeks["wound"] == "W1"]
    assert own[["begins", "ends", "lost"]].values.tolist() == [[10, 16, False], [17, 23, False], [24, 24, True]]


# --- treated before ---


@pytest.mark.parametrize(
    ("day", "expected"), [(24, [24]), (30, [24]), (31, [24, 31]), (37, [24, 31]), (38, [24, 31, 38]), (59, DAYS)]
)
def test_a_wound_treated_before_forms_no_trial(day, expected):
    """A start belongs to the week that holds its day; a session on the day of closing starts nothing."""
    assert trial_days(sessions=f"W1 {day} ultrasound . given\n") == expected


@pytest.mark.parametrize("day", [31, 34, 37])
def test_a_start_stands_in_the_week_of_its_day_and_in_no_other(day):
    weeks, _ = drawn_weeks(sessions=f"W1 {day} ultrasound . given\n")
    own = weeks.weeks[weeks.weeks["wound"] == "W1"].set_index("begins")
    assert own["starts"][own["starts"] != ""].to_dict() == {31: "ultrasound"}
    assert own["before"].to_dict() == {
        10: True,
        17: True,
        24: True,
        31: True,
        38: False,
        45: False,
        52: False,
        59: False,
    }


def test_a_wound_treated_before_it_was_first_measured_is_counted_apart_and_has_no_weeks():
    weeks, plan = drawn_weeks(sessions="W1 9 ultrasound . given\n")
    assert (weeks.running, set(weeks.weeks["wound"])) == (1, {"W0"})
    table = outside(weeks, plan, 28)
    assert table[["reason", "starters"]].values.tolist() == [[RUN_IN, 1], [RUNNING, 1]]


def test_a_start_after_a_wound_was_lost_from_sight_is_counted_apart_and_starts_nothing():
    """Last measured on day 17, treated on day 90, and never measured again: the record ended on day 17."""
    chart = HEAD + OPENER + rounds("W1", [10, 17])
    weeks, plan = drawn_weeks(chart, sessions="W1 90 ultrasound . given\n")
    own = weeks.weeks[weeks.weeks["wound"] == "W1"]
    assert (weeks.unseen, own["ends"].max(), set(own["starts"])) == (1, 17, {""})
    table = outside(weeks, plan, 28)
    assert table[["reason", "starters"]].values.tolist() == [[RUN_IN, 1], [UNSEEN, 1]]


def test_a_treated_wound_leaves_another_of_the_same_person_untreated():
    wounds = PEOPLE + "W2 R1 pressure_injury\n"
    chart = CHART + rounds("W2", [10, 17]) + closed("W2", 25)
    assert trial_days(chart, wounds=wounds, sessions="W2 18 ultrasound . given\n") == DAYS


# --- in the building ---


@pytest.mark.parametrize(
    ("left", "returned", "expected"),
    [
        (39, 43, DAYS),  # back before the last day of the week
        (39, 44, DAYS),  # back on it
        (39, 45, [24, 31, 45, 52]),
        (44, 45, [24, 31, 45, 52]),  # gone on it
        (44, 44, DAYS),  # gone and back on it
        (45, 46, DAYS),
        (37, 52, [24, 52]),  # gone on days 37, 44 and 51
    ],
)
def test_a_short_stay_in_hospital_over_the_last_day_of_a_week_forms_no_trial_and_later_weeks_do(
    left, returned, expected
):
    """Within the bed hold. The week from day 38 ends on day 44."""
    assert trial_days(departures=f"resident day reason returned\nR1 {left} hospital {returned}\n") == expected


def test_a_stay_in_hospital_over_the_last_day_of_a_week_is_the_reason_told():
    told = reasons(departures="resident day reason returned\nR1 39 hospital 45\n")
    assert (told[31], told[38], told[45]) == ("", AWAY, "")


def test_a_stay_from_before_a_wound_was_first_measured_keeps_it_out_of_nothing():
    """Day 5, its return never written down; the wound was seen from day 10 on."""
    assert trial_days(departures="resident day reason returned\nR1 5 hospital .\n") == DAYS


def test_the_absence_of_one_person_keeps_no_other_out():
    assert trial_days(departures="resident day reason returned\nR0 14 hospital 45\n") == DAYS


def test_a_surgical_closure_of_another_wound_is_no_absence():
    chart = CHART + rounds("W2", [10, 17, 24])
    departures = "resident wound day reason\nR1 W2 26 surgical_closure\n"
    assert trial_days(chart, wounds=PEOPLE + "W2 R1 pressure_injury\n", departures=departures) == DAYS


@pytest.mark.parametrize(
    ("span", "expected"),
    [
        ("40 43", DAYS),
        ("44 44", [24, 31, 45, 52]),
        ("40 .", [24, 31]),
        ("45 50", DAYS),
        ("5 24", DAYS),
        ("5 30", [31, 38, 45, 52]),
    ],
)
def test_a_leave_over_the_last_day_of_a_week_forms_no_trial_and_later_weeks_do(span, expected):
    assert trial_days(spans=f"resident span from_day to_day\nR1 out_of_building {span}\n") == expected


def test_a_start_in_a_week_whose_end_was_spent_elsewhere_is_not_compared():
    """Both arms alike: treated on day 39, on leave on day 44."""
    spans = "resident span from_day to_day\nR1 out_of_building 44 44\n"
    assert trial_days(spans=spans, sessions="W1 39 ultrasound . given\n") == [24, 31]


# --- contraindications and comfort ---


@pytest.mark.parametrize("kind", ["contraindication", "comfort_goal"])
@pytest.mark.parametrize("owner", ["R1 .", ". W1", "R1 W1"])
@pytest.mark.parametrize(
    ("days", "expected"),
    [
        ("12 23", DAYS),  # ended before
        ("12 24", DAYS[1:]),  # still held on the day the week begins
        ("39 40", [24, 31, 45, 52]),  # within one week
        ("44 45", [24, 31, 52]),  # the last day of one and the first of the next
        ("36 .", [24]),  # open-ended
        ("59 .", DAYS),  # later
    ],
)
def test_a_week_with_a_contraindication_or_a_comfort_goal_in_it_is_no_trial(kind, owner, days, expected):
    assert trial_days(spans=f"resident wound span from_day to_day\n{owner} {kind} {days}\n") == expected


@pytest.mark.parametrize("owner", ["R0 .", ". W2", "R1 W2"])
@pytest.mark.parametrize("kind", ["contraindication", "comfort_goal", "out_of_building"])
def test_a_span_of_another_person_or_another_wound_keeps_no_wound_out(owner, kind):
    wounds = PEOPLE + "W2 R1 pressure_injury\n"
    chart = CHART + rounds("W2", [10]) + closed("W2", 15)
    spans = f"resident wound span from_day to_day\n{owner} {kind} 12 .\n"
    assert trial_days(chart, wounds=wounds, spans=spans) == DAYS


@pytest.mark.parametrize("kind", ["hold", "precaution", "infection", "ordered_regimen", "payer"])
def test_no_other_span_keeps_a_wound_out(kind):
    assert trial_days(spans=f"resident span from_day to_day\nR1 {kind} 12 .\n") == DAYS


def test_the_reason_told_of_a_span_is_its_own():
    spans = "resident span from_day to_day\nR1 contraindication 26 40\nR1 comfort_goal 40 47\n"
    told = reasons(spans=spans)
    assert [told[day] for day in DAYS] == [CONTRA, CONTRA, CONTRA, COMFORT, ""]


# --- stage ---

STAGED = """
wound day length width state  stage
W0    10  4      3     open   .
W0    17  .      .     closed .
W1    10  4      3     open   1
W1    17  4      3     open   1
W1    24  4      3     open   1
W1    31  4      3     open   2
W1    38  4      3     open   3
W1    45  4      3     open   .
W1    52  4      3     open   2
W1    59  .      .     closed .
"""


def test_a_stage_that_the_plan_does_not_start_forms_no_trial():
    """Left out of the plan: not stage 1. The stage of record stays 3 when day 52 is charted as 2."""
    assert trial_days(STAGED) == [31, 38, 45, 52]
    assert trial_days(STAGED, more='[comparison]\nstages = ["1"]\n') == [24]
    assert trial_days(STAGED, more='[comparison]\nstages = ["3"]\n') == [38, 45, 52]
    assert reasons(STAGED)[24] == STAGE


def test_a_stage_charted_in_mid_week_decides_from_the_next_week_on():
    """Stage 2 on day 33 instead of day 31: the week from day 31 began at stage 1."""
    chart = STAGED.replace("W1    31  4      3     open   2", "W1    31  4      3     open   1\nW1 33 4 3 open 2")
    assert trial_days(chart) == [38, 45, 52]


def test_a_wound_that_is_no_pressure_injury_has_no_stage_rule():
    wounds = PEOPLE.replace("W1 R1 pressure_injury", "W1 R1 venous")
    assert trial_days(STAGED, wounds=wounds, more='[comparison]\nstages = ["4"]\n') == DAYS


def test_a_pressure_injury_whose_stage_was_never_charted_is_not_kept_out_by_its_stage():
    assert trial_days(CHART, more='[comparison]\nstages = ["4"]\n') == DAYS


# --- the program of a facility ---

HOUSES = "resident facility\nR0 Quellmoor\nR1 Tarnwick\nR2 Tarnwick\n"
NEIGHBOUR = PEOPLE + "W2 R2 pressure_injury\n"
BESIDE = CHART + rounds("W2", range(10, 53, 7)) + closed("W2", 59)


@pytest.mark.parametrize(
    ("day", "expected"), [("24", DAYS), ("37", DAYS[1:]), ("38", DAYS[2:]), ("44", DAYS[2:]), ("45", DAYS[3:])]
)
def test_before_the_first_session_of_its_facility_no_wound_could_have_been_started(day, expected):
    """Quellmoor treats from day 11 on, Tarnwick from `day` on; the week that holds the day counts."""
    sessions = f"W2 {day} ultrasound . given\n"
    assert trial_days(BESIDE, wounds=NEIGHBOUR, residents=HOUSES, sessions=sessions) == expected


def test_in_a_facility_without_any_session_no_wound_could_have_been_started():
    told = reasons(BESIDE, wounds=NEIGHBOUR, residents=HOUSES)
    assert [told[day] for day in DAYS] == [PROGRAM] * 5


def test_a_program_that_ran_before_a_wound_was_measured_had_begun():
    """W2 was treated on day 9, before its first measurement: its own start was not seen, that of the program was."""
    sessions = "W2 9 ultrasound . given\n"
    assert trial_days(BESIDE, wounds=NEIGHBOUR, residents=HOUSES, sessions=sessions) == DAYS


def test_without_a_calendar_days_of_different_persons_say_nothing_of_when_a_program_began():
    """Counted from each person's first record, W2 starts on its day 37 and W1 is not kept out by that."""
    sessions = "W2 45 ultrasound . given\n"
    told, _ = drawn_weeks(BESIDE, wounds=NEIGHBOUR, residents=HOUSES, sessions=sessions, plan=SAFE_HARBOR)
    assert PROGRAM not in set(told.weeks["reason"]) and (told.weeks["reason"] == "").any()


def test_a_facility_that_is_not_compared_is_told_as_such():
    weeks, plan = drawn_weeks(sessions="W1 40 ultrasound . given\n")
    table = judged.outside(weeks, plan, 28, set())
    assert table.set_index("reason")["starters"].to_dict() == {RUN_IN: 1, judged.ALONE: 1}
    assert judged.ALONE in set(judged.eligibility(weeks.weeks, plan, 28, set())["reason"])


def test_the_first_start_of_a_facility_is_itself_a_trial():
    sessions = "W1 40 ultrasound . given\n"
    assert trial_days(BESIDE, wounds=NEIGHBOUR, residents=HOUSES, sessions=sessions) == [38]


# --- regimens ---


def test_a_regimen_is_what_the_first_session_says_and_later_sessions_change_nothing():
    first = "W1 40 stimulation bipolar given\n"
    later = "".join(f"W1 {day} stimulation monopolar given\n" for day in range(41, 56)) + "W1 41 ultrasound . given\n"
    alone, _ = drawn_weeks(sessions=first)
    pd.testing.assert_frame_equal(drawn_weeks(sessions=first + later)[0].weeks, alone.weeks)
    assert set(alone.weeks.loc[alone.weeks["wound"] == "W1", "starts"]) == {"", "bipolar"}


def test_a_regimen_known_only_later_is_refused():
    """A rule that asks for three sessions would count from the third back to the first."""
    with pytest.raises(PlanError, match=r"regimens 1\.sessions: there is no such key"):
        plan_of(PLAN.replace('setup = "monopolar"', 'setup = "monopolar"\nsessions = 3'))


def test_several_at_once_counts_as_any_modality_and_as_no_regimen():
    weeks, plan = drawn_weeks(sessions="W1 40 stimulation bipolar given\nW1 40 ultrasound . given\n")
    formed = trials(weeks.weeks, plan, 28)
    started = formed.loc[formed["starts"] != "", ["wound", "begins", "starts"]]
    assert started.values.tolist() == [["W1", 38, "several at once"]]
    assert "several at once" not in {regimen.name for regimen in plan.regimens}
    assert outside(weeks, plan, 28).set_index("reason")["starters"].to_dict() == {ELIGIBLE: 1, RUN_IN: 1}


def test_a_missed_session_starts_nothing_and_keeps_the_wound_untreated():
    assert trial_days(sessions="W1 40 ultrasound . missed\n") == DAYS


# --- the months that are compared ---

LATER = PLAN.replace("110", "910").replace("200", "1000")


@pytest.mark.parametrize(
    ("horizon", "months", "expected"),
    [
        (84, 12, (552, 916)),  # 1000 - 84; 365 days with both ends, for twelve months are 365.25 days
        (28, 12, (608, 972)),
        (84, 6, (734, 916)),  # 183 days, for six months are 182.6
    ],
)
def test_the_months_that_are_compared_end_one_horizon_before_the_cutoff(horizon, months, expected):
    plan = plan_of(LATER + f"[comparison]\nanswer_months = {months}\n")
    assert window(plan, horizon) == expected


# Day 11 lies before W0 was first measured: the program runs from there, and W0 itself has no weeks.
RUNNING_ALREADY = HEAD + rounds("W0", [401]) + closed("W0", 410)


@pytest.mark.parametrize(
    ("begins", "first", "last"),
    [
        (546, 552, 916),  # ends on the first day that counts; 52 weeks later on the last
        (545, 558, 915),  # its first week ends on day 551
        (547, 553, 910),  # the week after its last ends on day 917
    ],
)
def test_a_trial_counts_where_its_week_ends_from_the_first_to_the_last_of_these_days(begins, first, last):
    weeks, plan = drawn_weeks(RUNNING_ALREADY + rounds("W1", range(begins - 70, 1000, 7)), plan=LATER)
    ends = trials(weeks.weeks, plan, 84)["ends"]
    assert (ends.min(), ends.max()) == (first, last)
    assert ends.diff().dropna().eq(7).all()


def test_starts_and_weeks_outside_these_months_are_told_as_too_early_or_too_late():
    """W2 starts in the week from day 545 to day 551, W3 in that from day 911 to day 917: each ends a day outside.

    | wound | usual care | too early | compared | too late | its last |
    | --- | --- | --- | --- | --- | --- |
    | W1 | 476, 483 | 490 to 539: 8 | 546 to 910: 53 | 917 to 987: 11 | 994 |
    | W2 | 510, 517 | 524 to 545: 4 | | | |
    | W3 | 820, 827 | | 834 to 904: 11 | 911: 1 | |
    """
    wounds = PEOPLE + "W2 R2 venous\nW3 R3 venous\n"
    days = {"W1": range(476, 1000, 7), "W2": range(510, 600, 7), "W3": range(820, 1000, 7)}
    chart = RUNNING_ALREADY + "".join(rounds(wound, days[wound]) for wound in days)
    sessions = "W2 546 ultrasound . given\nW3 912 ultrasound . given\n"
    weeks, plan = drawn_weeks(chart, wounds=wounds, plan=LATER, sessions=sessions)
    starters = outside(weeks, plan, 84).set_index("reason")["starters"]
    assert starters.to_dict() == {TOO_EARLY: 1, TOO_LATE: 1, RUNNING: 1}
    assert eligibility(weeks.weeks, plan, 84).set_index("reason")["weeks"].to_dict() == {
        ELIGIBLE: 64, RUN_IN: 6, RECORD: 1, TOO_EARLY: 12, TOO_LATE: 12,
    }  # fmt: skip


def test_without_a_calendar_every_trial_counts():
    """Days count from the first record of each person: W1 was measured from day 0 on."""
    assert window(plan_of(SAFE_HARBOR), 84) is None
    weeks, plan = drawn_weeks(plan=SAFE_HARBOR)
    formed = trials(weeks.weeks, plan, 10_000)
    assert formed["begins"].tolist() == [day - 10 for day in DAYS]
    assert eligibility(weeks.weeks, plan, 10_000).set_index("reason")["weeks"].to_dict() == {
        ELIGIBLE: 5, RUN_IN: 3, UNMEASURED: 1,
    }  # fmt: skip


# --- every starter and every untreated week, once ---


def test_the_first_reason_that_holds_is_told_in_the_written_order():
    """In the first weeks, unmeasured, contraindicated and for comfort at once."""
    chart = CHART.replace("W1 17 4 3 open\n", "").replace("W1 31 4 3 open\n", "")
    spans = (
        "resident span from_day to_day\nR1 contraindication 12 40\nR1 comfort_goal 12 47\nR1 out_of_building 44 44\n"
    )
    told = reasons(chart, spans=spans)
    assert told == {10: RUN_IN, 17: RUN_IN, 24: CONTRA, 31: UNMEASURED, 38: AWAY, 45: COMFORT, 52: "", 59: UNMEASURED}


def test_a_wound_left_out_of_the_cohort_forms_nothing():
    """Weeks, starters and running wounds alike."""
    wounds = PEOPLE.replace("W1 R1 pressure_injury", "W1 R1 venous") + "W2 R2 venous\n"
    kinds = '[cohort]\nkinds = ["pressure_injury"]\n'
    chart, sessions = CHART + rounds("W2", [10, 17]), "W1 40 ultrasound . given\nW2 8 ultrasound . given\n"
    weeks, plan = drawn_weeks(chart, wounds=wounds, more=kinds, sessions=sessions)
    assert (weeks.running, set(weeks.weeks["wound"])) == (0, {"W0"})
    assert outside(weeks, plan, 28)["starters"].tolist() == [1]


def test_where_every_wound_was_already_treated_nothing_is_a_trial():
    study = drawn(HEAD + rounds("W1", [10, 17, 24]), sessions="wound day modality status\nW1 9 ultrasound given\n")
    weeks = weeks_in(study)
    assert weeks.weeks.empty and eligibility(weeks.weeks, study.plan, 28).empty
    assert outside(weeks, study.plan, 28)[["reason", "starters"]].values.tolist() == [[RUNNING, 1]]


ORDER = [ELIGIBLE, *WRITTEN, TOO_EARLY, TOO_LATE, RUNNING]


def in_order(reason):
    return [ORDER.index(name) for name in reason] == sorted({ORDER.index(name) for name in reason})


@settings(deadline=None, max_examples=20)
@given(st.integers(14, 364), st.integers(0, 60), st.sampled_from([3, 6, 12]), st.integers(0, 400))
def test_every_starter_and_every_untreated_week_is_counted_once(horizon, run_in, months, earlier):
    """Four invented facilities, under plans that differ in run-in and months, seen at an earlier cut-off."""
    study = read_study(LIFELIKE)
    comparison = study.plan.comparison.model_copy(update={"run_in_days": run_in, "answer_months": months})
    windows = study.plan.windows.model_copy(update={"cutoff": study.plan.cutoff - earlier, "quarter_begins": 0})
    plan = study.plan.model_copy(update={"comparison": comparison, "windows": windows})
    weeks = weeks_of(
        study.episodes, study.residents, study.wounds, study.measurements, study.stages, study.spans, study.departures,
        plan,
    )  # fmt: skip
    cohort = study.episodes[study.episodes["in_cohort"]]
    starters, untreated = outside(weeks, plan, horizon), eligibility(weeks.weeks, plan, horizon)
    formed = trials(weeks.weeks, plan, horizon).groupby("starts").size()
    assert starters["starters"].sum() == cohort["start_day"].notna().sum()
    assert untreated["weeks"].sum() == weeks.weeks["before"].sum()
    assert in_order(starters["reason"]) and in_order(untreated["reason"])
    assert told(untreated, "weeks") == formed.sum()
    assert told(starters, "starters") == formed.drop("", errors="ignore").sum()


def told(table, column):
    return table.loc[table["reason"] == ELIGIBLE, column].sum()


# --- nothing after the end of the week is asked ---


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 2 * 365))
def test_deleting_all_that_came_after_the_end_of_a_week_changes_no_reason_and_no_start(back):
    """Four invented facilities; weeks over before a day, of wounds whose record went on, in each view."""
    study = read_study(LIFELIKE)
    day = study.plan.cutoff - back
    measurements, sessions, spans, gone = (
        frame[frame[column] <= day].copy()
        for frame, column in (
            (study.measurements, "day"), (study.sessions, "day"), (study.spans, "from_day"), (study.departures, "day"),
        )
    )  # fmt: skip
    spans["to_day"] = spans["to_day"].mask(spans["to_day"] > day)
    gone["returned"] = gone["returned"].mask(gone["returned"] > day)
    people = study.residents.assign(last_day=study.residents["last_day"].fillna(day).clip(upper=day))
    seen = episodes(people, study.wounds, measurements, sessions, gone, study.plan)
    stages = study.stages[study.stages["day"] <= day]
    then = weeks_of(seen, people, study.wounds, measurements, stages, spans, gone, study.plan).weeks
    then = then[then["ends"] < then["end_day"].clip(upper=day)]
    key, asked = ["wound", "begins", "ends"], ["before", "starts", "reason"]
    both = then[[*key, *asked]].merge(weeks_in(study).weeks[[*key, *asked]], on=key, suffixes=("_then", ""))
    assert len(both) >= 0.9 * len(then)
    for name in asked:
        assert both[name].tolist() == both[f"{name}_then"].tolist()
