"""The quarter's counts, worked by hand: the quarter is day 110 to day 200, both included."""

import pytest

from kit.quarter import activity, by_regimen, reasons, weeks_by_regimen, wounds_by_regimen
from kit.wounds.course import course
from tests.drawn import PLAN, TWO_HOUSES, drawn

SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")

# W1 closes before the quarter, W2 on its first day, W3 on its last, W4 stays open; W1 and W2 are one person's.
FOUR_WOUNDS = {
    "wounds": """
        wound resident kind
        W1    R1       venous
        W2    R1       venous
        W3    R2       venous
        W4    R3       venous
        """,
    "measurements": """
        wound day length width state
        W1     80 4      3     open
        W1    109 .      .     closed
        W2     96 4      3     open
        W2    103 3      3     open
        W2    110 .      .     closed
        W3    179 4      3     open
        W3    186 3      3     open
        W3    200 .      .     closed
        W4    172 4      3     open
        W4    193 4      2     open
        """,
    # By day: one before the quarter, two on its first day, then of every status and reaction, and one on its last.
    "sessions": """
        wound day modality    setup     status    reason    reaction
        W2    109 stimulation monopolar given     .         pain
        W2    110 stimulation monopolar given     .         none
        W4    173 ultrasound  .         given     .         skin_irritation
        W4    174 ultrasound  .         missed    refused   .
        W4    176 ultrasound  .         missed    staff     .
        W4    177 ultrasound  .         missed    refused   pain
        W4    179 ultrasound  .         shortened unwell    none
        W4    180 ultrasound  .         shortened refused   .
        W4    181 stimulation .         missed    .         .
        W4    182 ultrasound  .         .         .         .
        W3    200 stimulation monopolar given     .         none
        """,
}


@pytest.fixture(scope="module")
def four():
    return drawn(**FOUR_WOUNDS)


def table(frame):
    return frame.to_dict("records")


# --- activity ---


def test_the_quarter_is_that_of_the_plan(four):
    done = activity(four)
    assert (done.begins, done.ends) == (110, 200)


def test_a_wound_is_open_in_the_quarter_when_it_ends_in_it_or_later(four):
    done = activity(four)
    assert done.wounds_open == 3  # W2, W3, W4; W1 had closed on day 109
    assert done.residents_open == 3  # R1 for W2, R2, R3


def test_sessions_are_counted_by_status_and_one_without_is_not_known(four):
    done = activity(four)
    assert done.planned == 10  # all but that of day 109
    assert done.given == 3  # days 110, 173, 200
    assert done.shortened == 2  # days 179, 180
    assert done.missed == 4  # days 174, 176, 177, 181
    assert done.not_known == 1  # day 182
    assert done.planned == done.given + done.shortened + done.missed + done.not_known


def test_both_ends_of_the_quarter_belong_to_it(four):
    assert activity(four).wounds_treated == 3  # W2 on its first day alone, W3 on its last alone, W4
    assert activity(four).residents_treated == 3
    assert activity(four).closed == 2  # W2 on day 110, W3 on day 200


def test_a_wound_whose_sessions_were_all_missed_was_not_treated():
    sessions = "wound day modality status\nW4 174 ultrasound missed\nW3 181 ultrasound shortened\n"
    done = activity(drawn(**FOUR_WOUNDS | {"sessions": sessions}))
    assert (done.planned, done.wounds_treated, done.residents_treated) == (2, 1, 1)


def test_two_wounds_of_one_person_are_one_resident():
    sessions = "wound day modality\nW1 120 ultrasound\nW2 120 ultrasound\n"
    done = activity(drawn(**FOUR_WOUNDS | {"sessions": sessions}))
    assert (done.wounds_treated, done.residents_treated) == (2, 1)


def test_a_reaction_counts_when_something_was_applied_and_something_was_felt(four):
    # day 173 skin_irritation; not day 109 (before), day 177 (missed), "none" or nothing recorded
    assert activity(four).reactions == 1


def test_measurements_of_the_quarter_are_counted(four):
    assert activity(four).measurements == 6  # W2 on 110; W3 on 179, 186, 200; W4 on 172, 193


def test_a_week_counts_in_the_quarter_it_ends_in_and_is_fresh_when_measured_in_its_seven_days(four):
    # W1 closed on day 109, before the quarter: its last week ends in it, on 115, and does not count.
    # W2 from 96: weeks end on 103 and 110; the second ends in the quarter and is measured on 110: fresh.
    # W3 from 179: weeks end on 186, 193, 200; measured on 186 and 200, not from 187 to 193: two of three fresh.
    # W4 from 172, open at the cut-off: weeks end on 179, 186, 193, 200; measured on 193 alone: one of four fresh.
    done = activity(four)
    assert done.weeks_in_view == 1 + 3 + 4
    assert done.weeks_measured == 1 + 2 + 1


def test_a_size_is_fresh_to_the_day():
    def fresh(day):
        rows = f"wound day length width state\nW1 130 4 3 open\nW1 {day} 4 3 open\nW1 144 4 3 open\n"
        return activity(drawn(rows)).weeks_measured

    # Weeks end on 137 and 144, the last measured on its last day. Day 131 is the first of the seven up to 137.
    assert fresh(131) == 2
    assert fresh(130 + 8) == 1  # day 138 is in the second week already


def test_without_sessions_and_closings_all_is_nought():
    done = activity(drawn("wound day length width state\nW1 120 4 3 open\n"))
    assert (done.planned, done.given, done.reactions, done.closed, done.wounds_treated) == (0, 0, 0, 0, 0)
    assert (done.wounds_open, done.measurements) == (1, 1)


def test_without_a_calendar_the_whole_export_is_counted():
    done = activity(drawn(**FOUR_WOUNDS | {"plan": SAFE_HARBOR}))
    assert (done.begins, done.ends) == (None, None)
    assert (done.planned, done.measurements, done.wounds_open, done.closed) == (11, 10, 4, 3)


# --- sessions by regimen ---


def test_sessions_by_regimen_add_up_to_all_sessions(four):
    columns = ("regimen", "wounds", "planned", "given", "shortened", "missed", "not_known")
    assert table(by_regimen(four)) == [
        dict(zip(columns, row, strict=True))
        for row in [
            ("monopolar", 2, 2, 2, 0, 0, 0),
            ("bipolar", 0, 0, 0, 0, 0, 0),
            ("ultrasound", 1, 7, 1, 2, 3, 1),
            ("outside the plan", 0, 1, 0, 0, 1, 0),  # day 181: stimulation whose set-up nobody wrote down
        ]
    ]
    assert by_regimen(four)["planned"].sum() == activity(four).planned


def test_where_every_session_meets_a_rule_no_row_stands_outside_the_plan():
    assert by_regimen(drawn(**TWO_HOUSES))["regimen"].tolist() == ["monopolar", "bipolar", "ultrasound"]


def test_a_session_that_meets_two_rules_counts_under_the_first_alone():
    wide = PLAN + '[[regimens]]\nname = "any stimulation"\nmodality = "stimulation"\n'
    told = by_regimen(drawn(**FOUR_WOUNDS | {"plan": wide})).set_index("regimen")["planned"]
    assert told.to_dict() == {"monopolar": 2, "bipolar": 0, "ultrasound": 7, "any stimulation": 1}


# --- reasons ---


def test_reasons_stand_in_the_order_of_missed_sessions(four):
    assert table(reasons(four)) == [
        {"reason": "refused", "missed": 2, "shortened": 1},
        {"reason": "not recorded", "missed": 1, "shortened": 0},
        {"reason": "staff", "missed": 1, "shortened": 0},
        {"reason": "unwell", "missed": 0, "shortened": 1},
    ]


def test_reasons_add_up_to_what_was_missed_and_shortened(four):
    done, told = activity(four), reasons(four)
    assert (told["missed"].sum(), told["shortened"].sum()) == (done.missed, done.shortened)


def test_where_nothing_was_missed_there_is_no_reason():
    told = reasons(drawn(**TWO_HOUSES))
    assert told.empty
    assert list(told.columns) == ["reason", "missed", "shortened"]


# --- wounds by regimen ---


def test_wounds_by_regimen_are_counted_by_facility_and_in_all():
    # W1 at Quellmoor and W2 at Tarnwick had ultrasound; W3 had nothing, and its facility is not named.
    told = wounds_by_regimen(drawn(**TWO_HOUSES).episodes).set_index("regimen")
    assert told.loc["ultrasound"].to_dict() == {"Quellmoor": 1, "Tarnwick": 1, "not named": 0, "all": 2, "residents": 2}
    assert told.loc["all"].to_dict() == {"Quellmoor": 1, "Tarnwick": 1, "not named": 1, "all": 3, "residents": 3}


def test_a_person_with_wounds_under_two_regimens_is_one_resident_in_all():
    told = wounds_by_regimen(drawn(**FOUR_WOUNDS).episodes).set_index("regimen")
    # W1 no modality and W2 monopolar are both R1's; W3 closed on the day of its session and so untreated; W4 ultrasound
    assert told["all"].to_dict() == {"monopolar": 1, "no modality": 2, "ultrasound": 1, "all": 4}
    assert told["residents"].to_dict() == {"monopolar": 1, "no modality": 2, "ultrasound": 1, "all": 3}


def test_a_cohort_without_wounds_is_an_empty_table():
    plan = PLAN + '[cohort]\nkinds = ["surgical"]\n'
    told = wounds_by_regimen(drawn(**FOUR_WOUNDS | {"plan": plan}).episodes)
    assert told.drop(columns="regimen").to_numpy().sum() == 0


# --- weeks by regimen ---


def test_weeks_stand_under_what_the_wound_was_under_at_their_end(four):
    weeks = course(four.episodes, four.measurements, four.sessions, four.plan)
    told = weeks_by_regimen(weeks).drop(columns="minutes").set_index("regimen")
    # W1 five weeks, W2 the first of two, W3 all three; W3 had its session on the day it closed, which starts nothing
    assert told.loc["no modality"].to_dict() == {"weeks": 5 + 1 + 3, "fresh": 1 + 1 + 2, "sessions": 1}
    assert told.loc["monopolar"].to_dict() == {"weeks": 1, "fresh": 1, "sessions": 2}  # W2, days 104 to 110
    assert told.loc["ultrasound"].to_dict() == {"weeks": 4, "fresh": 1, "sessions": 3}  # W4; given or shortened alone
