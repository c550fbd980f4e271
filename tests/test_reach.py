"""Who could have been started in the quarter, and who was, counted by hand on a few wounds."""

import pytest

from kit.compared import reach_in_quarter
from kit.healing.reach import Reach
from tests.drawn import PLAN, drawn

WEEKLY = "wound day length width state\n" + "".join(
    f"W{wound} {day} 4 3 open\n" for wound in (1, 2, 3) for day in range(100, 200, 7)
)
PEOPLE = "resident facility\nR1 Quellmoor\nR2 Quellmoor\nR3 Quellmoor\n"
WOUNDS = "wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\n"
AFTER = "wound day modality status\nW1 150 ultrasound given\nW1 157 ultrasound given\n"


def reach(sessions=AFTER, **changed):
    """The quarter begins on day 110 and ends on day 200; two weeks of usual care come first."""
    tables = {"residents": PEOPLE, "wounds": WOUNDS, "measurements": WEEKLY, "sessions": sessions} | changed
    return reach_in_quarter(drawn(**tables))


def test_a_wound_counts_once_however_many_weeks_it_could_have_been_started_in():
    # the program of the facility begins with W1's first session on day 150, and all three are open then
    assert reach() == Reach(wounds=3, residents=3, started=1)


def test_a_wound_that_starts_within_its_first_days_of_care_could_not_have():
    early = "wound day modality status\nW1 112 ultrasound given\n"  # day 12 of 14
    assert reach(early) == Reach(wounds=2, residents=2, started=0)


def test_a_wound_with_a_contraindication_could_not_have_been_started():
    assert reach(spans="resident wound span from_day to_day\n. W2 contraindication 100 200\n").wounds == 2


@pytest.mark.parametrize(("begins", "expected"), [(110, 3), (190, 2)])
def test_only_weeks_that_end_in_the_quarter_count(begins, expected):
    """From day 190 on W1, which started on day 150, could no longer be."""
    plan = PLAN.replace("quarter_begins = 110", f"quarter_begins = {begins}")
    assert reach(plan=plan).wounds == expected


def test_without_a_calendar_every_week_counts():
    plan = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
    assert reach(plan=plan) == Reach(wounds=3, residents=3, started=1)
