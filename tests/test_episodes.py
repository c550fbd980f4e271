"""One record a wound: the closing rule, what competes with it, absences, and the order within a day."""

import pytest

from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

WEEKLY = """
wound day length width state
W1    10  4      3     open
W1    17  3      3     open
W1    24  .      .     closed
W1    31  .      .     closed
"""
OPEN = """
wound day length width state
W1    10  4      3     open
W1    17  3      3     open
W1    190 3      2     open
"""


def only(study):
    assert len(study.episodes) == 1
    return study.episodes.iloc[0]


def test_a_wound_closes_on_the_first_day_it_is_recorded_closed():
    wound = only(drawn(WEEKLY))
    assert (wound.entry_day, wound.last_open_day, wound.end_day, wound.outcome) == (10, 17, 24, "closed")
    assert wound.entry_size == 12
    assert wound.confirmed and not wound.reopened


def test_a_closing_followed_by_open_within_fourteen_days_does_not_count():
    wound = only(drawn(WEEKLY + "W1 38 1 1 open\nW1 45 . . closed\n"))
    assert (wound.end_day, wound.outcome, wound.reopened) == (45, "closed", True)
    assert wound.last_open_day == 38


def test_a_closing_followed_by_open_after_fourteen_days_stands_and_is_marked():
    wound = only(drawn(WEEKLY + "W1 46 1 1 open\n"))
    assert (wound.end_day, wound.outcome, wound.reopened) == (24, "closed", True)


def test_a_closing_in_the_last_fourteen_days_counts_and_is_not_confirmed():
    wound = only(drawn(OPEN + "W1 195 . . closed\n"))
    assert (wound.outcome, wound.confirmed) == ("closed", False)


@pytest.mark.parametrize(("died", "confirmed"), [(38, False), (39, True)])
def test_a_closing_followed_by_death_within_fourteen_days_counts_and_is_not_confirmed(died, confirmed):
    departures = f"resident day reason\nR1 {died} died\n"
    wound = only(drawn(WEEKLY, departures=departures))
    assert (wound.outcome, wound.end_day, wound.confirmed) == ("closed", 24, confirmed)


def test_death_before_closing_ends_the_wound_open():
    wound = only(drawn(OPEN, departures="resident day reason\nR1 195 died\n"))
    assert (wound.outcome, wound.end_day, wound.last_open_day) == ("died", 195, 190)


def test_on_the_day_of_death_the_measurement_came_first():
    wound = only(drawn(WEEKLY, departures="resident day reason\nR1 24 died\n"))
    assert (wound.outcome, wound.end_day) == ("closed", 24)


@pytest.mark.parametrize(
    ("returned", "outcome", "end_day"), [("60", "closed", 80), ("61", "hospital", 30), (".", "hospital", 30)]
)
def test_hospital_competes_only_without_return_within_the_bed_hold_and_is_dated_at_departure(
    returned, outcome, end_day
):
    """Left on day 30: back on day 60 is the thirtieth day; day 61 is too late."""
    table = "wound day length width state\nW1 10 4 3 open\nW1 25 4 3 open\nW1 73 4 2 open\nW1 80 . . closed\n"
    wound = only(drawn(table, departures=f"resident day reason returned\nR1 30 hospital {returned}\n"))
    assert (wound.outcome, wound.end_day) == (outcome, end_day)


def test_a_hospital_stay_not_over_at_the_cutoff_is_not_yet_an_end():
    """It is followed to the day it went away: nothing is known of it after."""
    wound = only(drawn(OPEN, departures="resident day reason\nR1 192 hospital\n"))
    assert (wound.outcome, wound.end_day, wound.vanished) == ("open", 192, False)


def test_a_death_within_the_bed_hold_decides_what_became_of_a_hospital_stay():
    departures = "resident day reason\nR1 192 hospital\nR1 195 died\n"
    wound = only(drawn(OPEN, departures=departures))
    assert (wound.outcome, wound.end_day) == ("died", 195)


def test_of_two_departures_on_one_day_death_is_told():
    wound = only(drawn(OPEN, departures="resident day reason\nR1 195 hospital\nR1 195 died\nR1 195 left\n"))
    assert (wound.outcome, wound.end_day) == ("died", 195)


def test_a_death_ends_every_wound_of_the_person_whichever_wound_its_row_names():
    wounds = "wound resident kind\nW1 R1 pressure_injury\nW2 R1 pressure_injury\n"
    table = OPEN + "W2 10 2 2 open\nW2 190 2 2 open\n"
    study = drawn(table, wounds=wounds, departures="resident wound day reason\nR1 W2 195 died\n")
    assert study.episodes["outcome"].tolist() == ["died", "died"]


def test_a_return_after_the_cutoff_was_not_known_then():
    departures = "resident day reason returned\nR1 165 hospital 205\n"
    table = "wound day length width state\nW1 10 4 3 open\nW1 160 4 3 open\n"
    wound = only(drawn(table, departures=departures))
    assert (wound.outcome, wound.end_day) == ("hospital", 165)


def test_surgical_closure_of_one_wound_leaves_the_other_open():
    wounds = "wound resident kind\nW1 R1 pressure_injury\nW2 R1 pressure_injury\n"
    table = OPEN + "W2 10 2 2 open\nW2 190 2 2 open\n"
    study = drawn(table, wounds=wounds, departures="resident wound day reason\nR1 W2 50 surgical_closure\n")
    assert study.episodes.set_index("wound")["outcome"].tolist() == ["open", "surgical_closure"]


def test_a_departure_before_the_wound_came_into_view_does_not_end_it():
    wound = only(drawn(OPEN, departures="resident day reason\nR1 5 left\n"))
    assert (wound.outcome, wound.end_day) == ("open", 200)


def test_an_open_wound_is_followed_to_the_cutoff():
    """Ending it at its last measurement would make follow-up depend on the outcome and closing look too frequent."""
    wound = only(drawn(OPEN))
    assert (wound.outcome, wound.end_day, wound.last_open_day, wound.vanished) == ("open", 200, 190, False)


def test_without_a_calendar_a_death_after_the_last_measurement_is_not_lost():
    """Days count from the first record: measured on 0 and 10, dead on 15."""
    table = "wound day length width state\nW1 10 4 3 open\nW1 20 4 3 open\n"
    wound = only(drawn(table, plan=SAFE_HARBOR, departures="resident day reason\nR1 25 died\n"))
    assert (wound.outcome, wound.end_day, wound.last_open_day) == ("died", 15, 10)


def test_without_a_calendar_an_open_wound_is_followed_to_its_persons_last_measurement():
    wounds = "wound resident kind\nW1 R1 venous\nW2 R1 venous\n"
    table = "wound day length width state\nW1 10 4 3 open\nW1 20 4 3 open\nW2 10 4 3 open\nW2 30 4 3 open\n"
    assert drawn(table, wounds=wounds, plan=SAFE_HARBOR).episodes["end_day"].tolist() == [20, 20]


@pytest.mark.parametrize("last_day", [5, 15])
def test_an_export_reaches_at_least_to_the_last_measurement_it_shows(last_day):
    residents = f"resident last_day\nR1 {last_day}\n"
    wound = only(drawn("wound day length width state\nW1 10 4 3 open\nW1 20 4 3 open\n", residents=residents))
    assert (wound.outcome, wound.end_day, wound.vanished) == ("open", 20, False)


def test_an_open_wound_is_followed_to_the_last_day_the_export_covers_its_person():
    wound = only(drawn(OPEN, residents="resident last_day\nR1 195\n"))
    assert (wound.outcome, wound.end_day) == ("open", 195)


def test_a_wound_last_seen_open_long_before_the_cutoff_has_vanished():
    study = drawn("wound day length width state\nW1 10 4 3 open\nW1 171 4 3 open\n")
    wound = only(study)
    assert wound.vanished  # 200 - 171 = 29 days, one more than the plan allows
    assert (wound.outcome, wound.end_day) == ("open", 171)
    assert study.faults["fault"].tolist() == ["vanished"]


@pytest.mark.parametrize(("died", "outcome", "end_day"), [(199, "died", 199), (200, "open", 171)])
def test_a_death_long_after_the_wound_was_last_seen_says_nothing_of_it(died, outcome, end_day):
    """Counting the unseen days would turn wounds that closed unrecorded into wounds that died open."""
    table = "wound day length width state\nW1 10 4 3 open\nW1 171 4 3 open\n"
    wound = only(drawn(table, departures=f"resident day reason\nR1 {died} died\n"))
    assert (wound.outcome, wound.end_day) == (outcome, end_day)


def test_a_wound_whose_person_is_in_hospital_at_the_cutoff_has_not_vanished():
    table = "wound day length width state\nW1 10 4 3 open\nW1 170 4 3 open\n"
    wound = only(drawn(table, departures="resident day reason\nR1 171 hospital\n"))
    assert (wound.outcome, wound.end_day, wound.vanished) == ("open", 171, False)


def test_a_closing_followed_by_any_stay_in_hospital_within_fourteen_days_is_not_confirmed():
    departures = "resident day reason returned\nR1 30 hospital 40\n"
    wound = only(drawn(WEEKLY, departures=departures))
    assert (wound.outcome, wound.end_day, wound.confirmed) == ("closed", 24, False)


def test_a_session_whose_status_is_not_known_starts_nothing():
    sessions = SESSION + "W1 20 stimulation monopolar .\nW1 22 stimulation bipolar given\n"
    wound = only(drawn(OPEN, sessions=sessions))
    assert (wound.regimen, wound.start_day) == ("bipolar", 22)


def test_in_an_export_without_any_status_every_session_was_given():
    wound = only(drawn(OPEN, sessions="wound day modality\nW1 20 ultrasound\n"))
    assert (wound.regimen, wound.start_day) == ("ultrasound", 20)


def test_a_wound_only_ever_seen_closed_is_left_out_and_told_why():
    wound = only(drawn("wound day length width state\nW1 10 . . closed\nW1 17 . . closed\n"))
    assert (wound.in_cohort, wound.left_out, wound.outcome) == (False, "never seen open", "open")


def test_a_wound_first_seen_closed_enters_when_it_is_first_seen_open():
    wound = only(drawn("wound day length width state\nW1 10 . . closed\nW1 17 2 2 open\nW1 190 2 2 open\n"))
    assert (wound.entry_day, wound.outcome, wound.reopened) == (17, "open", False)


def test_the_plan_can_leave_kinds_out():
    plan = PLAN + '[cohort]\nkinds = ["venous"]\n'
    wound = only(drawn(OPEN, plan=plan))
    assert wound.left_out == "of a kind the plan leaves out"


def test_a_wound_of_unknown_kind_is_left_out_where_the_plan_asks_for_some():
    plan = PLAN + '[cohort]\nkinds = ["venous"]\n'
    wound = only(drawn(OPEN, wounds="wound resident kind\nW1 R1 .\n", plan=plan))
    assert wound.left_out == "of unknown kind, where the plan asks for some"


def test_a_wound_that_entered_before_the_cohort_window_is_left_out():
    plan = PLAN.replace("cutoff = 200", "cutoff = 200\ncohort_months = 6")  # 183 days: from day 17 on
    assert only(drawn(OPEN, plan=plan)).left_out == "entered before the cohort window"


SESSION = "wound day modality setup status\n"


@pytest.mark.parametrize(("day", "regimen"), [(23, "monopolar"), (24, "no modality"), (25, "no modality")])
def test_what_closed_before_or_on_the_day_of_its_first_session_was_never_treated(day, regimen):
    wound = only(drawn(WEEKLY, sessions=SESSION + f"W1 {day} stimulation monopolar given\n"))
    assert wound.regimen == regimen


def test_a_session_on_the_day_of_departure_comes_after_it():
    wound = only(
        drawn(
            OPEN,
            sessions=SESSION + "W1 195 stimulation monopolar given\n",
            departures="resident day reason\nR1 195 died\n",
        )
    )
    assert wound.regimen == "no modality"


def test_a_missed_session_starts_nothing():
    sessions = SESSION + "W1 20 stimulation monopolar missed\nW1 22 stimulation bipolar given\n"
    wound = only(drawn(OPEN, sessions=sessions))
    assert (wound.regimen, wound.start_day) == ("bipolar", 22)


def test_the_first_session_decides_whatever_comes_later():
    sessions = (
        SESSION
        + "W1 20 stimulation bipolar given\n"
        + "".join(f"W1 {day} stimulation monopolar given\n" for day in range(21, 60))
    )
    assert only(drawn(OPEN, sessions=sessions)).regimen == "bipolar"


def test_two_regimens_on_the_first_day_are_several_at_once():
    sessions = SESSION + "W1 20 stimulation bipolar given\nW1 20 ultrasound . given\n"
    assert only(drawn(OPEN, sessions=sessions)).regimen == "several at once"


def test_the_first_rule_that_all_sessions_of_the_first_day_meet_decides():
    plan = PLAN + '[[regimens]]\nname = "any stimulation"\nmodality = "stimulation"\n'
    sessions = SESSION + "W1 20 stimulation bipolar given\nW1 20 stimulation monopolar given\n"
    assert only(drawn(OPEN, sessions=sessions, plan=plan)).regimen == "any stimulation"


def test_a_first_session_that_no_rule_knows_is_outside_the_plan():
    assert only(drawn(OPEN, sessions=SESSION + "W1 20 stimulation . given\n")).regimen == "outside the plan"


def test_a_wound_treated_before_it_was_first_measured_is_running():
    wound = only(drawn(OPEN, sessions=SESSION + "W1 9 stimulation bipolar given\n"))
    assert wound.running and wound.start_day == 9


def test_a_wound_treated_on_the_day_it_was_first_measured_is_not_running():
    assert not only(drawn(OPEN, sessions=SESSION + "W1 10 stimulation bipolar given\n")).running


def test_without_a_residents_table_the_facility_is_not_named():
    assert only(drawn(OPEN)).facility == "not named"
