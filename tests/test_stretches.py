"""Since when: stretches with their days, told where chance would hardly have made them."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.delivery.agreement import OFF
from kit.delivery.stretches import COLUMNS, _heaviest, stretches
from tests.test_shortfalls import JUDGEMENTS, course, judged_of, rows


def the_stretch(states: str) -> tuple:
    (row,) = stretches(course(states)).itertuples()
    return row.course, row.from_day, row.to_day, row.off, row.asked, row.off_all, row.asked_all


RUN = st.lists(st.integers(-3, 3), min_size=1, max_size=25).map(np.array)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(RUN)
def test_the_heaviest_run_is_the_heaviest_of_all_runs(score):
    """Against every run there is; of several the first to end, and of those the shortest."""
    sums = {
        (first, last): int(score[first : last + 1].sum())
        for first in range(len(score))
        for last in range(first, len(score))
    }
    best = max(sums.values())
    alike = [run for run, total in sums.items() if total == best]
    assert _heaviest(score) == min(alike, key=lambda run: (run[1], -run[0]))


def test_a_stretch_that_lasts_is_told_from_its_first_day_to_its_last():
    """Thirty days within, then twenty below: days 31 to 50."""
    assert the_stretch("w" * 30 + "b" * 20) == ("lasting", 31, 50, 20, 20, 20, 50)


def test_a_stretch_with_good_days_between_is_one():
    """Day 31 to 41: nine of eleven sessions."""
    assert the_stretch("w" * 30 + "bbbbwbbwbbb" + "w" * 20) == ("over", 31, 41, 9, 11, 9, 61)


@pytest.mark.parametrize(("after", "course"), [(0, "lasting"), (4, "lasting"), (5, "over")])
def test_a_stretch_is_over_when_five_sessions_within_have_followed_it(after, course):
    assert the_stretch("w" * 10 + "b" * 6 + "w" * after)[0] == course


def test_four_sessions_off_are_no_stretch():
    """4 of 44 is less than a fifth: now and then, from the first to the last of them."""
    assert the_stretch("w" * 20 + "bbbb" + "w" * 20) == ("now and then", 21, 24, 4, 44, 4, 44)


def test_five_sessions_off_in_a_row_are_a_stretch():
    assert the_stretch("w" * 20 + "bbbbb" + "w" * 20)[:3] == ("over", 21, 25)


def test_a_short_stretch_beside_much_that_is_off_apart_is_none():
    """Five in a row and 15 apart of 78. Outside 15.5 of 74: 5 log(58.5/15.5) - log 78 is 2.3, short of log 100."""
    assert 5 * np.log(58.5 / 15.5) - np.log(78) == pytest.approx(2.28, abs=0.01)
    assert the_stretch("wwwb" * 15 + "wwww" + "bbbbb" + "w" * 9)[0] == "throughout"


def test_a_long_stretch_is_one_though_more_is_off_outside_it():
    """Thirteen in a row, the last of 13 apart among them: 13 of 25. Were it 12 of 25, 12 log(9) - log 152 is enough."""
    assert the_stretch("wwwwwwwwwb" * 13 + "b" * 12 + "w" * 10)[:3] == ("over", 130, 142)


def test_what_is_off_every_other_day_is_throughout():
    assert the_stretch("bw" * 15) == ("throughout", 1, 29, 15, 30, 15, 30)


@pytest.mark.parametrize(("within", "course"), [(19, "throughout"), (20, "throughout"), (21, "now and then")])
def test_a_fifth_of_all_sessions_is_throughout(within, course):
    """Five of 24 and of 25 are a fifth, five of 26 are not. They stand apart, so that no run holds three of five."""
    gap = within // 4
    apart = ("b" + "w" * gap) * 4 + "b" + "w" * (within - 4 * gap)
    assert the_stretch(apart)[0] == course


def test_four_of_four_are_too_few_to_say_throughout():
    assert the_stretch("bbbb")[0] == "now and then"


def test_a_stretch_begins_and_ends_with_a_day_on_which_something_was_off():
    """Days on which it cannot be said, or on which it was off in another way, lengthen it on neither side."""
    found = stretches(course("uuuaaa" + "bbbbbb" + "uuuaaa")).set_index("state")
    assert found.loc["below", ["from_day", "to_day"]].tolist() == [7, 12]


def test_each_way_of_being_off_has_its_stretch():
    """Six below, then six against; unrecorded is held against all that is recorded."""
    found = stretches(course("w" * 10 + "bbbbbb" + "xxxxxx" + "------")).set_index("state")
    assert found[["from_day", "to_day"]].to_numpy().tolist() == [[17, 22], [11, 16], [23, 28]]
    assert found["asked_all"].tolist() == [16, 16, 28]  # 10 within beside 6 and 6; all 28 sessions
    assert found.index.tolist() == ["against", "below", "unrecorded"]


def test_several_sessions_of_a_day_are_weighed_together():
    """Two of day 11 off and one within: the day counts for one."""
    days = [(day, "within") for day in range(1, 11)] + [(11, "below"), (11, "below"), (11, "within")]
    days += [(day, "below") for day in range(12, 15)]
    (row,) = stretches(rows(*days)).itertuples()
    assert (row.course, row.from_day, row.to_day, row.off, row.asked) == ("lasting", 11, 14, 5, 6)


def test_each_facility_and_element_is_told_apart_and_the_largest_first():
    parts = [("Quellmoor", "minutes", 5), ("Tarnwick", "minutes", 9), ("Tarnwick", "duty", 7)]
    judged = pd.concat([course("b" * n).assign(facility=house, element=name) for house, name, n in parts])
    found = stretches(judged)
    assert list(found[["facility", "element", "off_all"]].itertuples(index=False, name=None)) == [
        ("Tarnwick", "minutes", 9),
        ("Tarnwick", "duty", 7),
        ("Quellmoor", "minutes", 5),
    ]


@pytest.mark.parametrize("states", ["", "www", "wuw"])
def test_without_anything_off_there_is_no_row(states):
    found = stretches(course(states))
    assert found.empty and list(found) == COLUMNS


@settings(deadline=None, derandomize=True, max_examples=50)
@given(JUDGEMENTS)
def test_a_stretch_holds_no_more_than_there_is_and_what_is_off_has_one(told):
    judged, found = judged_of(told), stretches(judged_of(told))
    assert (found["off"] <= found["off_all"]).all() and (found["asked"] <= found["asked_all"]).all()
    assert (found["off"] <= found["asked"]).all() and (found["from_day"] <= found["to_day"]).all()
    off = judged["state"].isin(OFF) | ~judged["recorded"]
    assert found["off_all"].sum() == off.sum()


def test_a_stretch_of_ordered_weeks_begins_with_the_first_day_of_its_first_week():
    """A week is judged on its last day: weeks that end on days 7, 14, ... 42, of which those from the third are off."""
    weeks = rows(*((7 * n, "within" if n < 3 else "below") for n in range(1, 9)), element="sessions_a_week")
    (row,) = stretches(weeks).itertuples()
    assert (row.course, row.from_day, row.to_day) == ("lasting", 15, 56)
