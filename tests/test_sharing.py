"""Which numbers the sheet tells: enough behind each, both sides or neither, and nothing that can be worked out."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.faults import ExportError
from kit.plan import Plan
from kit.sharing.counted import COLUMNS, counted, first_reason
from kit.sharing.telling import SIDES, told, worked_out
from tests.drawn import drawn
from tests.sheets import THINGS, changes, counts, is_small, pairs

PLAN = Plan.model_validate(
    {
        "program": {"name": "Invented", "basis": "safe_harbor"},
        "regimens": [{"name": "ultrasound", "modality": "ultrasound"}],
    }
)


def shared(rows, issued=(), **other):
    sheet = told(counts(rows, **other), PLAN, issued)
    return set(sheet.loc[sheet["is_shared"], "shared"])


# --- counting ---

SESSIONS = """
wound day modality   status    reason    reaction
W1    112 ultrasound given     .         none
W1    114 ultrasound shortened unwell    pain
W1    116 ultrasound missed    refused   .
W2    112 ultrasound given     .         .
W2    113 ultrasound missed    staff     .
W2    115 ultrasound missed    refused   .
W2    117 ultrasound .         .         .
"""


@pytest.fixture(scope="module")
def study():
    return drawn(
        "wound day length width state\nW1 110 4 3 open\nW1 118 4 3 open\nW2 110 4 3 open\nW2 117 2 2 open\n"
        "W2 124 . . closed\nW3 110 4 3 open\n",
        wounds="wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R2 venous\n",
        sessions=SESSIONS,
    )


@pytest.fixture(scope="module")
def rows(study):
    return counted(study).set_index("shared")


# Of the seven sessions three were given (one cut short), three missed and one is not known.
@pytest.mark.parametrize(
    ("name", "some", "of", "people_in", "people_out"),
    [
        ("given", 3, 7, 2, 2),
        ("reason", 2, 3, 2, 1),  # refused twice, once each; staff once
        ("reacted", 1, 2, 1, 1),  # pain; none; the third says nothing
    ],
)
def test_sessions_are_counted_with_the_people_behind_them(rows, name, some, of, people_in, people_out):
    assert rows.loc[name, ["in_some", "in_all", "people_in", "people_out"]].tolist() == [
        some,
        of,
        people_in,
        people_out,
    ]


def test_the_first_reason_is_the_most_frequent(study):
    assert first_reason(study) == "refused"


def test_columns_are_those_of_the_glossary(study):
    assert tuple(counted(study)) == COLUMNS


def test_a_number_never_exceeds_what_it_is_of(lifelike):
    for part in (lifelike, *(lifelike.at(facility) for facility in lifelike.facilities)):
        rows = counted(part)
        assert (rows["in_some"] <= rows["in_all"]).all()
        assert len(rows) + 3 <= 20  # the difference and the two ends of its range besides


def test_counts_of_one_name_are_the_same_wherever_they_stand(lifelike):
    """The search takes them to be one number: 'started' is of those who could be, and the whole of one side."""
    rows = counted(lifelike).set_index("shared")
    assert rows.loc["started", "in_some"] == rows.loc["came after", "in_all"]
    assert rows.loc["given", "in_all"] == rows.loc["full", "in_all"]


# --- the rule ---


@pytest.mark.parametrize(
    ("some", "of", "is_told"), [(11, 22, True), (10, 22, False), (12, 22, False), (11, 21, False), (0, 90, False)]
)
def test_a_number_needs_eleven_behind_it_and_behind_its_rest(some, of, is_told):
    assert shared({"given": (some, of)}) == ({"given"} if is_told else set())


@pytest.mark.parametrize(("people", "is_told"), [(11, True), (10, False)])
def test_a_number_needs_eleven_people_behind_it_however_many_sessions(people, is_told):
    assert shared({"given": (300, 600)}, people=people) == ({"given"} if is_told else set())


@pytest.mark.parametrize("column", ["people_in", "people_out"])
def test_people_are_needed_behind_the_number_and_behind_its_rest(column):
    rows = counts({"given": (300, 600)}).assign(**{column: 10})
    assert not told(rows, PLAN)["is_shared"].any()


def test_a_plan_may_ask_for_more_and_never_for_less():
    asked = Plan.model_validate(PLAN.model_dump() | {"sharing": {"fewest": 20}})
    assert not told(counts({"given": (19, 60)}), asked)["is_shared"].any()
    with pytest.raises(ValueError, match="greater than or equal to 11"):
        Plan.model_validate(PLAN.model_dump() | {"sharing": {"fewest": 10}})


def test_of_the_comparison_both_sides_are_told_or_neither():
    share = dict.fromkeys(SIDES, 0.4)
    assert shared({"came after": (20, 50), "came without": (60, 150)}, weighed=share) == set(SIDES)
    assert shared({"came after": (10, 50), "came without": (60, 150)}, weighed=share) == set()


def test_a_share_of_the_comparison_is_printed_as_it_was_weighed():
    sheet = told(counts({"came after": (20, 50), "came without": (60, 150)}, weighed={"came after": 0.345,
                 "came without": 0.2549}), PLAN)  # fmt: skip
    assert sheet["per_hundred"].tolist() == [35, 25]
    assert sheet["weighed"].all()


def test_what_is_held_back_leaves_no_number():
    sheet = told(counts({"given": (10, 90), "treated": (40, 90)}), PLAN)
    assert sheet["is_shared"].tolist() == [False, True]
    assert np.isnan(sheet.loc[0, ["per_hundred", "about_all"]].astype(float)).all()
    assert sheet.loc[1, ["per_hundred", "about_all"]].tolist() == [44, 90]


# --- beside what was issued before ---


def test_a_small_change_since_the_issued_sheet_is_held_back():
    """12 of 100 and 15 of 100: three more people are 12% and 15%, and the change can only be one to five."""
    before = told(counts({"given": (12, 100), "treated": (50, 100)}), PLAN)
    assert shared({"given": (15, 100), "treated": (50, 100)}, [before]) == {"treated"}
    assert shared({"given": (15, 100), "treated": (50, 100)}) == {"given", "treated"}


def test_every_issued_sheet_is_asked_and_not_the_last_alone():
    first, second = (told(counts({"given": (some, 100)}), PLAN) for some in (12, 60))
    assert shared({"given": (15, 100)}, [second]) == {"given"}
    assert shared({"given": (15, 100)}, [first, second]) == set()


def test_the_same_quarter_again_is_told_whole():
    rows = {"given": (40, 100), "full": (30, 100), "treated": (12, 90)}
    assert shared(rows, [told(counts(rows), PLAN)]) == set(rows)


def test_the_search_finds_what_the_rule_would_hide():
    before = told(counts({"given": (12, 100)}), PLAN)
    open_sheet = told(counts({"given": (15, 100)}), PLAN)
    assert worked_out(open_sheet, [before], 11) == ["given"]
    assert worked_out(told(counts({"given": (15, 100)}), PLAN, [before]), [before], 11) == []


def corrected(first, more_of, more):
    """The same quarter after a correction: so many more rows, and so many more of them counted."""
    return {name: (min(max(some + more, 0), of + more_of), of + more_of) for name, (some, of) in first.items()}


@settings(max_examples=80, derandomize=True, deadline=None)
@given(
    st.integers(22, 150), st.lists(st.floats(0, 1), min_size=4, max_size=4), st.integers(-12, 12), st.integers(-9, 9)
)
def test_trying_every_number_finds_nothing_on_a_sheet_beside_the_one_before(of, shares, more_of, more):
    first = {name: (round(share * of), of) for name, share in zip(list(THINGS)[:4], shares, strict=True)}
    before = told(counts(first), PLAN)
    now = told(counts(corrected(first, more_of, more)), PLAN, [before])
    assert worked_out(now, [before], 11) == []
    both = before.merge(now, on=["shared", "some", "all_of"], suffixes=("_before", "_now"))
    for row in both[both["is_shared_before"] & both["is_shared_now"]].to_dict("records"):
        possible = [pairs(int(row[f"per_hundred_{sheet}"]), int(row[f"about_all_{sheet}"]), 11)
                    for sheet in ("before", "now")]  # fmt: skip
        assert not any(is_small(*ends, 11) for ends in changes(*possible).values())


def test_an_issued_sheet_that_was_changed_stops_the_run():
    changed = told(counts({"given": (40, 100), "full": (30, 100)}), PLAN)
    changed.loc[1, "about_all"] = 500
    with pytest.raises(ExportError, match="contradict each other"):
        told(counts({"given": (40, 100)}), PLAN, [changed])
