"""What a reader could work out: rounding, the exact search beside a slow one, and what it finds when it is there."""

import random

import pytest

from kit.faults import ExportError
from kit.sharing.searching import Knowledge, about, known_small, touches, whole_percent
from tests.sheets import changes, is_small, pairs, printed

NOTHING = printed({})
GIVEN, FULL, MISSED = ("given", "planned"), ("full", "planned"), ("because of staff", "missed")


@pytest.mark.parametrize(("count", "printed_as"), [(14, 10), (15, 20), (24, 20), (25, 30), (541, 540), (100, 100)])
def test_a_count_is_printed_to_the_nearest_ten_five_going_up(count, printed_as):
    assert about(count) == printed_as


# 12.5, 0.5 and 99.5 go up; 12.4 does not.
@pytest.mark.parametrize(
    ("some", "of", "percent"), [(1, 8, 13), (31, 250, 12), (1, 200, 1), (199, 200, 100), (497, 541, 92)]
)
def test_a_share_is_printed_in_whole_percent_a_half_going_up(some, of, percent):
    assert whole_percent(some, of) == percent


# --- the search ---


def test_a_sum_has_its_least_and_largest_whole_value():
    """a + b is 10 or 11, a at least 4, b at least 3: a - b reaches from 4 - 7 to 8 - 3."""
    told = Knowledge()
    told.between({"a": 1, "b": 1}, 10, 11)
    told.between({"a": 1}, 4)
    told.between({"b": 1}, 3)
    assert (told.least({"a": 1, "b": -1}), told.largest({"a": 1, "b": -1})) == (-3, 5)
    assert (told.least({"a": 1}), told.largest({"a": 1})) == (4, 8)


def test_whole_numbers_alone_are_possible():
    """2a between 5 and 7 leaves a = 3 alone, though 2.5 would do."""
    told = Knowledge()
    told.between({"a": 2}, 5, 7)
    assert (told.least({"a": 1}), told.largest({"a": 1})) == (3, 3)


def test_what_contradicts_itself_is_possible_for_no_numbers():
    told = Knowledge()
    told.between({"a": 1}, 5, 7)
    told.between({"a": 1}, 8)
    with pytest.raises(ExportError, match="contradict each other"):
        told.least({"a": 1})


def two_sheets(number):
    """Two random sheets of one number, as they are printed, and all that each can mean."""
    drawn = random.Random(number)
    while True:
        of = drawn.randint(30, 160)
        some = drawn.randint(11, of - 11) if of >= 22 else 11
        more = drawn.randint(-3, 15)
        now = some + drawn.randint(0, max(more, 0)), of + more
        if 11 <= now[0] <= now[1] - 11:
            told = [(whole_percent(*pair), about(pair[1])) for pair in ((some, of), now)]
            return told, [pairs(percent, around, 11) for percent, around in told]


@pytest.mark.parametrize("number", range(40))
def test_two_sheets_tell_exactly_what_trying_every_number_tells(number):
    told, possible = two_sheets(number)
    before, now = (printed({GIVEN: sheet}) for sheet in told)
    reach = changes(*possible)
    names = {"some": "given", "rest": "planned without given", "all": "planned"}
    expected = {names[way] for way, ends in reach.items() if is_small(*ends, 11)}
    assert set(known_small(now, before, 11)) == expected


def test_among_those_forty_some_tell_a_small_change_and_some_do_not():
    small = [any(is_small(*ends, 11) for ends in changes(*two_sheets(number)[1]).values()) for number in range(40)]
    assert 0 < sum(small) < 40


def test_a_sheet_of_large_groups_gives_nothing_away():
    assert known_small(printed({GIVEN: (92, 540), FULL: (76, 540)}), NOTHING, 11) == []


def test_what_is_left_over_between_two_numbers_is_found():
    """Planned 95 to 104, of them 50% given; 40 to 44 missed: of 3 to 12 nobody knows, fewer than 20 for certain."""
    sheet = printed({GIVEN: (50, 100), MISSED: (50, 40)})
    assert known_small(sheet, NOTHING, 20) == ["planned left over"]
    assert known_small(printed({GIVEN: (50, 100)}), NOTHING, 20) == []


def test_a_small_change_between_two_sheets_is_found():
    """12% of 95 to 104 are 11 to 13, 15% are 14 to 16: one to five more, for certain."""
    before, now = printed({GIVEN: (12, 100)}), printed({GIVEN: (15, 100)})
    assert known_small(now, before, 11) == ["given"]
    assert known_small(before, now, 11) == ["given"]  # fewer is a change as well


def test_the_same_sheet_again_tells_no_change():
    sheet = printed({GIVEN: (12, 100), FULL: (60, 100)})
    assert known_small(sheet, sheet, 11) == []


def test_numbers_of_one_whole_are_searched_together():
    """Alone 37% leaves all of 95 to 104 open; with 53% besides no more is left."""
    alone, both = Knowledge(), Knowledge()
    for told, rows in ((alone, ((37, "a"),)), (both, ((37, "a"), (53, "b")))):
        for percent, name in rows:
            told.between({"all": 1}, 95, 104)
            told.between({name: 200, "all": 1 - 2 * percent}, 0)
            told.between({name: 200, "all": -1 - 2 * percent}, high=-1)
    assert alone.least({"all": 1}) <= both.least({"all": 1})
    assert alone.largest({"all": 1}) >= both.largest({"all": 1})


@pytest.mark.parametrize(
    ("low", "high", "small"),
    [(1, 10, True), (0, 10, False), (1, 11, False), (11, 12, False), (-10, -1, True), (-11, -1, False), (-1, 0, False),
     (-1, 1, False)],
)  # fmt: skip
def test_small_is_one_to_ten_whatever_its_sign(low, high, small):
    told = Knowledge()
    told.between({"a": 1, "b": -1}, low, high)
    told.between({"a": 1}, 0, 50)
    assert told.is_small({"a": 1, "b": -1}, 11) is small


def test_a_number_touches_its_groups_and_what_is_left_over_of_them():
    assert touches("because of staff", "missed") >= {"missed", "because of staff", "planned left over"}
    assert "planned left over" not in touches("treated wounds", "open wounds")
