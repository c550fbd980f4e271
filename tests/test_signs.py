"""Measurable signs of healing between two days: what counts, what is within the error of a ruler, what is not known."""

import pandas as pd
import pytest

from kit.delivery.signs import NO, NOT_KNOWN, STALE_DAYS, YES, sign_within, signs
from tests.drawn import drawn

EXACT = 1e-9  # percent changes are one division: nothing but rounding may differ
HEAD = "wound day length width depth exudate tissue necrosis_share state\n"
SIGNS = ["less_area", "less_volume", "less_exudate", "less_necrosis", "sign"]


def told(rows, from_day=10, to_day=40, head=HEAD):
    """The one row of signs of W1 between two days."""
    seen = drawn(head + rows).measurements
    asked = pd.DataFrame({"wound": ["W1"], "from_day": [from_day], "to_day": [to_day]})
    return signs(asked, seen).iloc[0]


@pytest.mark.parametrize(
    ("width", "answer", "change"),
    [
        ("3.6", YES, -10.0),  # 3.6 / 4 = 0.9: a tenth is enough
        ("3.7", NO, -7.5),  # 3.7 / 4 = 0.925
        ("4.4", NO, 10.0),
    ],
)
def test_an_area_is_less_from_a_tenth_on(width, answer, change):
    row = told(f"W1 10 5 4 . . . . open\nW1 40 5 {width} . . . . open\n")
    assert (row["less_area"], row["sign"]) == (answer, answer)
    assert row["size_change"] == pytest.approx(change, abs=EXACT)
    assert (row["from_size_day"], row["to_size_day"]) == (10, 40)


@pytest.mark.parametrize(
    ("depth", "answer"),
    [
        ("0.8", YES),  # 1.0 - 0.8 = 0.2 cm and a fifth less volume
        ("0.9", NO),  # a millimetre is how a probe is read
    ],
)
def test_a_volume_is_less_where_the_depth_falls_by_two_millimetres(depth, answer):
    row = told(f"W1 10 5 4 1.0 . . . open\nW1 40 5 4 {depth} . . . open\n")
    assert (row["less_area"], row["less_volume"], row["sign"]) == (NO, answer, answer)


@pytest.mark.parametrize(("after", "answer"), [("light", YES), ("moderate", NO), ("heavy", NO), (".", NOT_KNOWN)])
def test_exudate_is_less_a_level_lower(after, answer):
    row = told(f"W1 10 5 4 . moderate . . open\nW1 40 5 4 . {after} . . open\n")
    assert row["less_exudate"] == answer
    assert row["sign"] == (YES if answer == YES else NO)


@pytest.mark.parametrize(("after", "answer"), [("40", YES), ("41", NO), ("60", NO)])
def test_necrosis_is_less_from_ten_points_on(after, answer):
    row = told(f"W1 10 5 4 . . . 50 open\nW1 40 5 4 . . . {after} open\n")
    assert (row["less_necrosis"], row["sign"]) == (answer, answer)


@pytest.mark.parametrize(
    ("before", "after", "answer"),
    [
        ("necrotic", "granulation", YES),
        ("slough", "epithelial", YES),
        ("necrotic", "slough", NO),
        ("granulation", "slough", NO),
        ("slough", ".", NOT_KNOWN),
    ],
)
def test_without_a_share_necrosis_is_less_where_slough_is_gone_from_the_bed(before, after, answer):
    row = told(f"W1 10 5 4 . . {before} . open\nW1 40 5 4 . . {after} . open\n")
    assert row["less_necrosis"] == answer


def test_a_share_that_stays_outweighs_words_for_the_bed():
    row = told("W1 10 5 4 . . slough 5 open\nW1 40 5 4 . . granulation 5 open\n")
    assert row["less_necrosis"] == NO


def test_a_wound_that_closed_shows_a_sign():
    row = told("W1 10 5 4 0.1 light slough 20 open\nW1 40 . . . . . . closed\n")
    assert list(row[SIGNS]) == [YES] * 5
    assert row["size_change"] == pytest.approx(-100, abs=EXACT)


@pytest.mark.parametrize(
    ("first", "last", "answer"),
    [
        (10 - STALE_DAYS, 40, YES),
        (10 - STALE_DAYS - 1, 40, NOT_KNOWN),  # too long before the first day
        (11, 40, NOT_KNOWN),  # after the first day: nothing tells what it was then
        (10, 40 - STALE_DAYS, YES),
        (10, 40 - STALE_DAYS - 1, NOT_KNOWN),
        (10, 41, NOT_KNOWN),  # nothing later than the last day is read
    ],
)
def test_a_measurement_counts_for_a_fortnight_and_never_from_the_future(first, last, answer):
    row = told(f"W1 {first + 20} 5 4 . . . . open\nW1 {last + 20} 5 3 . . . . open\n", 30, 60)
    assert (row["less_area"], row["sign"]) == (answer, answer)


def test_one_measurement_is_not_held_against_itself():
    row = told("W1 10 5 4 . heavy . 50 open\n", 10, 20)  # within a fortnight of both days
    assert list(row[SIGNS]) == [NOT_KNOWN] * 5


def test_sizes_found_in_different_ways_are_not_compared():
    head = "wound day length width area area_method\n"
    row = told("W1 10 5 4 . .\nW1 40 . . 12 tracing\n", head=head)
    assert (row["less_area"], row["sign"]) == (NOT_KNOWN, NOT_KNOWN)
    assert pd.isna(row["size_change"])


def test_a_sign_without_a_size_is_a_sign_and_no_sign_without_a_size_is_not_known():
    head = "wound day exudate state\n"
    assert told("W1 10 heavy open\nW1 40 light open\n", head=head)["sign"] == YES
    assert told("W1 10 heavy open\nW1 40 heavy open\n", head=head)["sign"] == NOT_KNOWN


def test_each_thing_is_taken_from_the_last_row_that_records_it():
    """The round of day 40 wrote no exudate, that of day 35 did."""
    row = told("W1 10 5 4 . heavy . . open\nW1 35 5 4 . light . . open\nW1 40 5 4 . . . . open\n")
    assert (row["less_area"], row["less_exudate"]) == (NO, YES)


def test_rows_keep_their_order_and_nothing_given_is_changed():
    seen = drawn(
        HEAD + "W1 10 5 4 . . . . open\nW1 40 5 3 . . . . open\nW2 10 5 4 . . . . open\nW2 40 5 4 . . . . open\n",
        wounds="wound resident kind\nW1 R1 venous\nW2 R1 venous\n",
    ).measurements
    asked = pd.DataFrame(
        {"wound": ["W2", "W1", "W9"], "from_day": [10, 10, 10], "to_day": [40, 40, 40]}, index=[7, 3, 5]
    )
    kept, before = asked.copy(), seen.copy()
    assert list(signs(asked, seen)["sign"]) == [NO, YES, NOT_KNOWN]
    pd.testing.assert_frame_equal(asked, kept)
    pd.testing.assert_frame_equal(seen, before)


def test_nothing_asked_and_nothing_measured_give_no_rows_and_no_answers():
    seen = drawn("wound day length width\nW1 10 5 4\n").measurements
    none = pd.DataFrame({"wound": ["W1"], "from_day": [10], "to_day": [40]})
    assert len(signs(none.head(0), seen)) == 0
    assert list(signs(none, seen.head(0))["sign"]) == [NOT_KNOWN]


@pytest.mark.parametrize(
    ("middle", "answer"),
    [("3.6", YES), ("4", NO), (".", NO)],  # a tenth less for a while is a sign; no size then says nothing
)
def test_a_sign_that_came_and_went_between_the_days_was_there(middle, answer):
    seen = drawn(f"{HEAD}W1 10 5 4 . . . . open\nW1 25 5 {middle} . . . . open\nW1 40 5 4 . . . . open\n").measurements
    asked = pd.DataFrame({"wound": ["W1", "W2"], "from_day": [10, 10], "to_day": [40, 40]})
    assert signs(asked, seen)["sign"].tolist() == [NO, NOT_KNOWN]
    assert sign_within(asked, seen).tolist() == [answer, NOT_KNOWN]
