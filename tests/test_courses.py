"""Faults that a row shows only beside others, each on the smallest course that shows it, and on one that does not."""

import pytest

from kit.faults import FAULTS, REPAIRED
from tests.exports import PLAN, SAFE_HARBOR, cleaned

WOUNDS = "wound,resident,kind,site,side,onset\nW1,R1,pressure_injury,heel,left,\n"
PEOPLE = "resident,facility,age,sex\nR1,Alder,81,female\nR2,Alder,81,female\n"
HEAD = "wound,day,state,length,width,depth"


def found(*rows, head=HEAD, wounds=WOUNDS, residents=PEOPLE, **tables):
    """What is found where these are the measurements: (table, row, column, fault)."""
    out = cleaned(measurements="\n".join([head, *rows]), wounds=wounds, residents=residents, **tables)
    return list(out.faults[["table", "source_row", "column", "fault"]].itertuples(index=False, name=None))


def course(*sizes, wound="W1", first=10, every=7):
    """Rows of a wound measured once a week: each size is `length,width` or `length,width,depth`."""
    return [f"{wound},{first + every * week},open,{size}" for week, size in enumerate(sizes)]


def sized(*sizes):
    """Length and width that a course comes out with, and its faults as (row, column, fault)."""
    rows = [f"{row}," if row.count(",") == 4 else row for row in course(*sizes)]
    out = cleaned(measurements="\n".join([HEAD, *rows]), wounds=WOUNDS, residents=PEOPLE)
    sides = out.tables["measurements"][["length", "width"]].to_numpy().tolist()
    return sides, list(out.faults[["source_row", "column", "fault"]].itertuples(index=False, name=None))


# --- jump: a slip of unit that is undone ---


@pytest.mark.parametrize(
    ("slipped", "column", "mended"),
    [
        ("29,19", "", [2.9, 1.9]),  # millimetres, or a lost decimal point
        ("29,1.9", "length", [2.9, 1.9]),
        ("2.9,19", "width", [2.9, 1.9]),  # and not a width above its length
        ("0.29,0.19", "", [2.9, 1.9]),
        ("7.4,4.8", "", [2.91, 1.89]),  # centimetres in a column of inches: 2.9 x 2.54, 1.9 x 2.54
        ("1.15,0.75", "", [2.92, 1.91]),  # inches in a column of centimetres: 2.92 / 2.54, 1.91 / 2.54
    ],
)
def test_jump_a_slip_of_unit_against_the_wounds_own_course_is_divided(slipped, column, mended):
    sides, faults = sized("3,2", slipped, "2.8,1.8")
    assert sides == [[3, 2], mended, [2.8, 1.8]]
    assert faults == [(3, column, "jump")]
    assert FAULTS["jump"].fate == REPAIRED


@pytest.mark.parametrize(
    "sizes",
    [
        ("30,20", "3,2", "2.8,1.8"),  # the first is not judged
        ("3,2", "2.8,1.8", "27,17"),  # nor is the last
        ("3,2", "20,13", "2.8,1.8"),  # 7 times is no slip of unit
        ("3,2", "7.4,1.9", "2.8,1.8"),  # by 2.54 in one side alone a real wound may change
        ("6,4", "30,20", "2.8,1.8"),  # neighbours that do not agree say nothing
        ("3,2", "29,0.19", "2.8,1.8"),  # ten times one way and ten times the other
        ("3,2", "30,20", "30,20", "2.8,1.8"),  # two in a row have each other for a neighbour
    ],
)
def test_jump_what_is_not_unmistakable_stays_as_it_was_written(sizes):
    sides, faults = sized(*sizes)
    assert sides == [[float(side) for side in size.split(",")] for size in sizes]
    assert "jump" not in [fault for _, _, fault in faults]


def test_jump_needs_neighbours_within_thirty_five_days():
    sizes = ("3,2,", "29,19,", "2.8,1.8,")
    assert found(*course(*sizes, every=35)) == [("measurements", 3, "", "jump")]
    assert found(*course(*sizes, every=36)) == []


def test_jump_leaves_depth_alone_and_decides_before_a_clash_is_looked_for():
    assert found(*course("3,2,0.4", "3,2,4", "3,2,0.4")) == []
    # Of two sizes of one day the larger stays, and neither is judged by the course.
    rows = [*course("3,2,", "29,19,", "2.8,1.8,"), "W1,17,open,2.9,1.9,"]
    assert found(*rows) == [("measurements", 3, "", "outlying"), ("measurements", 5, "", "clash")]


# --- outlying: far off, and by no known slip ---


@pytest.mark.parametrize("off", ["20,13", "0.5,0.4", "30,2.5"])
def test_outlying_a_size_far_off_both_its_neighbours(off):
    sides, faults = sized("3,2", off, "2.8,1.8")
    assert sides[1] == [float(side) for side in off.split(",")]
    assert faults == [(3, "", "outlying")]


@pytest.mark.parametrize("sizes", [("3,2", "8,5.5", "2.8,1.8"), ("3,2", "12,8", "13,8"), ("12,8", "3,2", "0.5,0.5")])
def test_outlying_is_not_a_size_within_three_times_nor_a_course_that_goes_on(sizes):
    assert sized(*sizes)[1] == []  # sqrt(8 x 5.5) is 2.7 times sqrt(3 x 2)


# --- copied ---


def test_copied_the_same_size_for_the_third_time_and_on():
    rows = course("3.2,2,0.3", "3.2,2,0.3", "3.2,2,0.3", "3.2,2,0.3", "3.1,2,0.3")
    assert found(*rows) == [("measurements", 4, "", "copied"), ("measurements", 5, "", "copied")]


def test_copied_asks_for_the_depth_too_where_it_is_recorded():
    assert found(*course("3.2,2,", "3.2,2,", "3.2,2,")) == [("measurements", 4, "", "copied")]
    assert found(*course("3.2,2,0.3", "3.2,2,0.3", "3.2,2,0.2")) == []
    assert found(*course("3.2,2,0.3", "3.2,2,", "3.2,2,0.3")) == []


def test_copied_is_not_what_a_small_wound_or_a_coarse_ruler_shows():
    assert found(*course("1.1,0.9,", "1.1,0.9,", "1.1,0.9,")) == []  # 0.99 cm2
    assert found(*course(*["3,2.5,"] * 4)) == []
    assert found(*course(*["3,2.5,"] * 5)) == [("measurements", 6, "", "copied")]


# --- late ---


def test_late_a_measurement_typed_in_more_than_two_weeks_after_its_day():
    head = "wound,day,state,length,width,entered"
    rows = ["W1,10,open,3,2,24", "W1,17,open,3,2,32", "W1,24,open,3,1,", "W1,31,open,2,1,31"]
    assert found(*rows, head=head) == [("measurements", 3, "entered", "late")]


# --- closed before ---

SURGERY = "resident,wound,day,reason\nR1,W1,20,surgical_closure\n"
SESSIONS = "wound,day,modality,status\n"


def test_closed_before_an_open_measurement_after_a_surgeon_closed_the_wound():
    rows = ["W1,10,open,3,2,", "W1,20,open,3,2,", "W1,21,open,2,2,"]
    assert found(*rows, departures=SURGERY) == [("measurements", 4, "", "closed_before")]


def test_closed_before_is_not_said_of_a_wound_that_was_measured_closed_and_reopened():
    rows = ["W1,10,open,3,2,", "W1,24,closed,,,", "W1,60,open,2,2,"]
    assert found(*rows, departures=SURGERY) == []


@pytest.mark.parametrize(
    ("day", "status", "told"),
    [
        (38, "given", []),
        (39, "given", [2]),
        (39, "shortened", [2]),
        (39, "missed", []),
        (39, "", [2]),
        (99, "given", []),
    ],
)
def test_closed_before_a_session_more_than_two_weeks_after_the_closing(day, status, told):
    # Closed on day 24 and again on day 31; open again from day 90 on.
    rows = ["W1,10,open,3,2,", "W1,24,closed,,,", "W1,31,closed,,,", "W1,90,open,2,2,"]
    faults = found(*rows, sessions=f"{SESSIONS}W1,{day},ultrasound,{status}\n")
    assert faults == [("sessions", row, "", "closed_before") for row in told]


def test_closed_before_a_session_long_after_surgery():
    sessions = SESSIONS + "W1,34,ultrasound,given\nW1,35,ultrasound,given\n"
    assert found("W1,10,open,3,2,", departures=SURGERY, sessions=sessions) == [("sessions", 3, "", "closed_before")]


# --- merged and split ---

BOTH = WOUNDS + "W2,R1,pressure_injury,heel,left,\n"
ALONE = course("4,3,", "4,3,", "5,3,", "5,2.9,")  # 12, 12, 15 and 14.5 cm2


def test_merged_a_wound_ends_open_and_the_one_beside_it_grows_by_as_much():
    rows = [*ALONE, *course("2,1.5,", "2,1.5,", wound="W2")]  # 3 cm2 on day 17, and W1 grows by 3 to day 24
    assert found(*rows, wounds=BOTH) == [("wounds", 3, "", "merged")]


@pytest.mark.parametrize(
    ("second", "changes"),
    [
        (course("2,1.5,", wound="W2"), {}),  # it ends a round before the other grows
        (course("2.5,2,", "2.5,2,", wound="W2"), {}),  # 5 cm2 are more than the other grows by
        (course("2,1.5,", "2,1.5,", "2,1.4,", wound="W2"), {}),  # it is still there
        ([*course("2,1.5,", wound="W2"), "W2,17,closed,,,"], {}),
        (
            course("2,1.5,", "2,1.5,", wound="W2"),
            {"wounds": BOTH.replace("W2,R1,pressure_injury,heel,left", "W2,R1,,heel,right")},
        ),
        (course("2,1.5,", "2,1.5,", wound="W2"), {"wounds": BOTH.replace("W2,R1", "W2,R2")}),
        (course("2,1.5,", "2,1.5,", wound="W2"), {"departures": "resident,day,reason,returned\nR1,18,hospital,22\n"}),
        (
            course("2,1.5,", "2,1.5,", wound="W2"),
            {"departures": "resident,wound,day,reason\nR1,W2,40,surgical_closure\n"},
        ),
    ],
)
def test_merged_is_not_said_where_anything_else_explains_it(second, changes):
    assert found(*ALONE, *second, **{"wounds": BOTH, **changes}) == []


def test_merged_waits_for_one_more_round_of_the_other():
    assert found(*ALONE[:3], *course("2,1.5,", "2,1.5,", wound="W2"), wounds=BOTH) == []


def test_split_a_wound_begins_and_the_one_beside_it_shrinks_by_as_much():
    rows = [*course("5,3,", "4,3,", "4,2.9,"), *course("2,1.5,", "2,1.4,", wound="W2", first=17)]
    assert found(*rows, wounds=BOTH) == [("wounds", 3, "", "split")]
    old = BOTH.replace("W2,R1,pressure_injury,heel,left,", "W2,R1,pressure_injury,heel,left,9")
    assert found(*rows, wounds=old) == []  # it was there on day 9, before W1 was last measured whole


@pytest.mark.parametrize("second", ["1.2,1,", "3,2,", "1,0.9,"])
def test_split_is_not_said_of_a_wound_much_smaller_or_larger_than_what_the_other_lost(second):
    rows = [*course("5,3,", "4,3,", "4,2.9,"), *course(second, wound="W2", first=17)]
    assert found(*rows, wounds=BOTH) == []


# --- renamed ---

TWO = WOUNDS + "W2,R2,pressure_injury,heel,left,\n"
OLD = course("4,3,", "4,2.9,")  # last seen on day 17
NEW = course("4,2.8,", "4,2.7,", wound="W2", first=24)
TOLD = "resident,day,reason\nR2,190,left\n"  # that somebody left says that departures are told at all


def test_renamed_a_person_is_lost_and_another_begins_with_the_same_wound():
    assert found(*OLD, *NEW, wounds=TWO, departures=TOLD) == [("wounds", 3, "resident", "renamed")]


@pytest.mark.parametrize(("first", "told"), [(17, 0), (18, 1), (62, 1), (63, 0)])
def test_renamed_begins_after_the_last_record_and_within_forty_five_days(first, told):
    assert len(found(*OLD, *course("4,2.8,", "4,2.7,", wound="W2", first=first), wounds=TWO, departures=TOLD)) == told


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("R2,Alder,81,female", "R2,Birch,81,female"),
        ("R2,Alder,81,female", "R2,Alder,81,male"),
        ("R2,Alder,81,female", "R2,Alder,83,female"),
    ],
)
def test_renamed_is_not_said_of_people_who_differ(old, new):
    assert found(*OLD, *NEW, wounds=TWO, residents=PEOPLE.replace(old, new), departures=TOLD) == []


def test_renamed_takes_what_is_not_known_for_no_difference():
    people = PEOPLE.replace("R2,Alder,81,female", "R2,Alder,82,")
    assert len(found(*OLD, *NEW, wounds=TWO, residents=people, departures=TOLD)) == 1


@pytest.mark.parametrize(
    "wounds", [TWO.replace("W2,R2,pressure_injury", "W2,R2,venous"), TWO.replace("heel,left,\nW2", "heel,right,\nW2")]
)
def test_renamed_is_not_said_where_the_wound_is_another(wounds):
    assert found(*OLD, *NEW, wounds=wounds, departures=TOLD) == []


@pytest.mark.parametrize(
    "tables",
    [
        {"departures": "resident,day,reason\nR1,18,left\n"},
        {"departures": "resident,day,reason\nR1,30,died\n"},
        {"spans": "resident,span,from_day,to_day\nR1,hold,12,30\n"},  # a record of the one after the other began
    ],
)
def test_renamed_is_not_said_of_somebody_who_left_or_is_still_there(tables):
    assert found(*OLD, *NEW, wounds=TWO, **({"departures": TOLD} | tables)) == []


def test_renamed_is_not_said_where_the_wound_closed_or_another_size_begins():
    assert found(*OLD, "W1,20,closed,,,", *NEW, wounds=TWO, departures=TOLD) == []
    assert found(*OLD, *course("2.5,2,", wound="W2", first=24), wounds=TWO, departures=TOLD) == []  # 11.6 and 5 cm2


def test_renamed_asks_for_all_wounds_and_for_one_person_alone():
    more = TWO + "W3,R1,venous,leg,left,\n"
    assert found(*OLD, "W3,17,open,3,3,", *NEW, wounds=more, departures=TOLD) == []
    third = PEOPLE + "R3,Alder,81,female\n"
    more = TWO + "W3,R3,pressure_injury,heel,left,\n"
    assert (
        found(*OLD, *NEW, *course("4,2.8,", wound="W3", first=25), wounds=more, residents=third, departures=TOLD) == []
    )


def test_renamed_is_not_asked_where_days_are_not_of_one_calendar():
    assert len(found(*OLD, *NEW, wounds=TWO, departures=TOLD, plan=PLAN)) == 1
    assert found(*OLD, *NEW, wounds=TWO, departures=TOLD, plan=SAFE_HARBOR) == []


def test_renamed_is_not_asked_where_departures_are_not_told():
    assert found(*OLD, *NEW, wounds=TWO) == []


def test_every_course_fault_has_a_test_of_its_name():
    names = {"jump", "outlying", "copied", "late", "closed_before", "merged", "split", "renamed"}
    assert names <= set(FAULTS)
    assert all(any(test.startswith(f"test_{name}_") for test in globals()) for name in names)
