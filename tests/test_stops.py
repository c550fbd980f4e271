"""Courses of treatment that stopped before their wound closed, drawn by hand and in the invented group."""

import json
from pathlib import Path

import pandas as pd
import pytest

from kit.delivery.context import in_context
from kit.delivery.stops import course_ends, stop_reasons, stopped_shares
from kit.study import read_study
from tests.drawn import PLAN, drawn

EXACT = 1e-9

LIFELIKE = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").split("[windows]")[0] + PLAN[PLAN.index("[[regimens]]") :]
HEAD = "wound day modality status reason\n"
SPANS = "resident wound span value from_day to_day\n"


def course(*open_days, closed=None, wound="W1"):
    rows = "".join(f"{wound} {day} 4 3 open\n" for day in open_days)
    return rows + (f"{wound} {closed} . . closed\n" if closed else "")


def ends_of_study(study):
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return course_ends(told, study.sessions, study.spans, study.episodes)


def ends_of(sessions, measured, **tables):
    study = drawn("wound day length width state\n" + measured, sessions=HEAD + sessions, **tables)
    return ends_of_study(study)


def given(*days, wound="W1"):
    return "".join(f"{wound} {day} ultrasound given .\n" for day in days)


def missed(*days, reason="payer", wound="W1"):
    return "".join(f"{wound} {day} ultrasound missed {reason}\n" for day in days)


LONG = course(*range(10, 201, 14), 200)  # measured open every two weeks to the cut-off, day 200


@pytest.mark.parametrize(
    ("last", "came"),
    [(185, "stopped"), (186, "still running")],  # 200 - 185 = 15 days without; 14 are not yet a stop
)
def test_more_than_fourteen_days_without_a_session_is_a_stop(last, came):
    row = ends_of(given(100, last), LONG).iloc[0]
    assert (row["course_end"], row["last_session"], row["days_without"]) == (came, last, 200 - last)


def test_a_course_that_went_on_until_the_wound_closed_did_not_stop():
    measured = course(*range(10, 95, 14), closed=100)
    assert ends_of(given(40, 90), measured)["course_end"].tolist() == ["to closing"]
    assert ends_of(given(40, 80), measured)["course_end"].tolist() == ["stopped"]


def test_sessions_after_the_closing_do_not_carry_the_course_on():
    measured = course(*range(10, 95, 14), closed=100) + course(130, 144)
    row = ends_of(given(40, 80, 135), measured).iloc[0]
    assert (row["course_end"], row["last_session"], row["days_without"]) == ("stopped", 80, 20)


def test_who_left_or_was_lost_from_sight_under_treatment_did_not_stop():
    left = ends_of(given(40, 90), course(*range(10, 95, 14)), departures="resident day reason\nR1 100 left\n").iloc[0]
    assert (left["outcome"], left["course_end"]) == ("left", "to another end")
    unseen = ends_of(given(40, 90, 150), course(*range(10, 95, 14))).iloc[0]
    assert (unseen["outcome"], unseen["course_end"], unseen["days_without"]) == ("open", "to another end", 0)


def test_what_was_never_measured_or_treated_only_on_the_day_it_closed_is_counted_and_not_judged():
    wounds = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"
    ends = ends_of(given(24) + given(24, wound="W2"), course(10, closed=24), wounds=wounds).set_index("wound")
    assert ends["course_end"].to_dict() == {"W1": "not judged", "W2": "not judged"}
    row = stopped_shares(ends.reset_index()).iloc[0]
    assert (row["starters"], row["not_judged"]) == (0, 2)
    assert pd.isna(row["stopped_share"]) and not row["lasted"]


def test_the_reason_is_that_of_the_sessions_missed_after_the_last():
    sessions = missed(50, 52, 54, reason="refused") + given(100) + missed(102, 104) + missed(105, reason="unwell")
    row = ends_of(sessions, LONG).iloc[0]
    assert (row["missed_after"], row["missed_reason"], row["stop_reason"]) == (3, "payer", "payer")


def test_what_kept_a_course_waiting_is_not_what_ended_it():
    # Nine sessions missed for isolation, then four for the payer, all more than two weeks after the first of them.
    sessions = given(100) + missed(*range(102, 120, 2), reason="isolation") + missed(134, 136, 138, 140)
    assert ends_of(sessions, LONG)["stop_reason"].tolist() == ["payer"]


def test_of_two_reasons_as_frequent_the_first_in_the_alphabet_is_told():
    sessions = given(100) + missed(102, reason="unwell") + missed(104, reason="refused")
    assert ends_of(sessions, LONG)["stop_reason"].tolist() == ["refused"]


@pytest.mark.parametrize(
    ("spans", "reason"),
    [
        ("R1 W1 ordered_regimen ultrasound 90 114\n", "order ended"),  # within the 14 days after day 100
        ("R1 W1 ordered_regimen ultrasound 90 115\n", "not recorded"),  # a session had been due for longer
        ("R1 W1 ordered_regimen ultrasound 90 .\n", "not recorded"),
        ("R1 . ordered_regimen ultrasound 90 100\n", "order ended"),  # of the person
        ("R1 W1 ordered_regimen dressing 90 100\n", "not recorded"),  # of the dressing
        ("R1 W1 ordered_regimen ultrasound 90 95\nR1 W1 ordered_regimen ultrasound 120 .\n", "not recorded"),
        ("R2 . ordered_regimen ultrasound 90 100\n", "not recorded"),  # of somebody else
    ],
)
def test_a_course_whose_order_was_over(spans, reason):
    wounds = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"
    measured = LONG + course(10, wound="W2")
    assert ends_of(given(90, 100), measured, wounds=wounds, spans=SPANS + spans)["stop_reason"].tolist() == [reason]


def test_a_reason_that_is_recorded_goes_before_an_order_that_ended():
    spans = SPANS + "R1 W1 ordered_regimen ultrasound 90 100\n"
    assert ends_of(given(100) + missed(102), LONG, spans=spans)["stop_reason"].tolist() == ["payer"]
    assert ends_of(given(100) + missed(102, reason="."), LONG, spans=spans)["stop_reason"].tolist() == ["order ended"]


def test_a_course_still_running_has_no_reason_to_have_stopped():
    row = ends_of(given(180, 190) + missed(192), LONG).iloc[0]
    assert (row["course_end"], row["missed_reason"], row["stop_reason"]) == ("still running", "payer", "")


FIVE = {
    "wounds": "wound resident kind\n" + "".join(f"W{n} R{n} venous\n" for n in range(1, 6)),
    "measured": "".join(course(*range(10, 201, 14), 200, wound=f"W{n}") for n in range(1, 6)),
}


def test_shares_and_reasons_of_those_who_started():
    sessions = given(100) + missed(102) + "".join(given(195, wound=f"W{n}") for n in range(2, 6))
    ends = ends_of(sessions, FIVE["measured"], wounds=FIVE["wounds"])
    table = stopped_shares(ends)
    # One starter in five is not fewer than one in five.
    assert table["regimen"].tolist() == ["any modality", "ultrasound"]
    assert table[["starters", "residents", "stopped", "still_running"]].to_numpy().tolist() == [[5, 5, 1, 4]] * 2
    assert table["stopped_share"].tolist() == pytest.approx([1 / 5] * 2, abs=EXACT) and not table["lasted"].any()
    assert stop_reasons(ends).to_numpy().tolist() == [["any modality", "payer", 1, 1], ["ultrasound", "payer", 1, 1]]


def test_while_it_lasted_may_be_said_where_hardly_anybody_stopped():
    sessions = "".join(given(100, 195, wound=f"W{n}") for n in range(1, 6))
    ends = ends_of(sessions, FIVE["measured"], wounds=FIVE["wounds"])
    assert stopped_shares(ends)["lasted"].all()
    assert stop_reasons(ends).empty


def test_no_session_at_all_gives_no_course():
    ends = ends_of(missed(100), LONG)
    assert ends.empty and "stop_reason" in ends
    assert stopped_shares(ends)["starters"].tolist() == [0]
    assert stop_reasons(ends).empty


def test_an_export_without_a_calendar_ends_with_each_wounds_last_day():
    measured = course(10, 24, 38)
    row = ends_of(given(12, 20), measured, plan=SAFE_HARBOR).iloc[0]
    # Days are counted from the person's first record, day 10: the last session is on 20 - 10; 38 - 20 = 18 without one.
    assert (row["course_end"], row["last_session"], row["days_without"]) == ("stopped", 10, 18)


@pytest.fixture(scope="module")
def lifelike():
    return ends_of_study(read_study(LIFELIKE))


def test_the_people_whose_payer_stopped_are_found_and_no_others(lifelike):
    stories = json.loads((LIFELIKE / "truth.json").read_text(encoding="utf-8"))["stories"]
    planted = next(told for told in stories if told["story"] == "payer_ends")
    found = lifelike[lifelike["missed_reason"] == "payer"].set_index("wound")
    assert sorted(found["resident"]) == planted["residents"]
    assert sorted(found.index) == planted["wounds"]
    # W0265 closed within two weeks of its last session: the payer had stopped, the course reached the closing.
    assert found["course_end"].to_dict() == {
        "W0265": "to closing", "W0408": "stopped", "W0745": "stopped", "W0754": "stopped", "W0863": "stopped",
    }  # fmt: skip


def test_every_treated_wound_of_the_invented_group_came_to_something(lifelike):
    row = stopped_shares(lifelike).iloc[0]
    parts = row[["stopped", "to_closing", "to_another_end", "still_running"]].sum()
    assert parts == row["starters"] and row["starters"] + row["not_judged"] == len(lifelike)
    reasons = stop_reasons(lifelike).query("regimen == 'any modality'")
    assert reasons["wounds"].sum() == row["stopped"]
    assert not row["lasted"]  # 16 of 67 stopped, a share of 0.24
