"""What rows cannot tell of a nested mixed model is left out: levels, slopes, and columns that others already say."""

from dataclasses import replace

import numpy as np
import pytest

from kit.trajectories.engine import fit_nested
from kit.trajectories.sums import independent, nested
from tests.nested_rows import CHANCE, LINES, ONES, RESIDENTS, WEEK, WOUNDS, fits_are_one, invented, only, rows_of, small

# --- levels that cannot be told are left out ---


def test_one_resident_has_no_spread():
    rows = small(8)
    assert rows.free == (True, True, True, False, False)
    fits_are_one(fit_nested(rows), fit_nested(small(8, resident=None)))


def test_residents_of_one_wound_each_are_not_told_from_wounds():
    rows = small(resident=np.char.add("of ", WOUNDS))
    assert rows.free == (True, True, True, False, False)
    assert list(rows.residents) == [f"of {wound}" for wound in rows.wounds]
    fit = fit_nested(rows)
    assert fit.resident_sd == 0
    fits_are_one(fit, fit_nested(small(resident=None)))


def test_one_facility_has_no_spread():
    rows = small(facility=np.full(24, "x"))
    assert rows.free == (True, True, True, True, False)
    fit = fit_nested(rows)
    assert fit.facility_sd == 0
    fits_are_one(fit, fit_nested(small()))


def test_facilities_of_one_resident_each_are_not_told_from_residents():
    rows = small(facility=np.char.add("home of ", RESIDENTS))
    assert rows.free == (True, True, True, True, False)
    fits_are_one(fit_nested(rows), fit_nested(small()))


def test_two_facilities_have_a_spread():
    table = invented(seed=1, facilities=2)
    apart = replace(table, y=table.y + 10 * (table.facility == "f1"))
    rows = rows_of(apart)
    assert rows.free[4] and list(rows.facilities) == ["f0", "f1"]
    fit = fit_nested(rows)
    # Ten apart: half the squared difference is about 50.
    assert fit.converged and 5 < fit.facility_sd < 10


def test_facilities_hold_wounds_where_nobody_knows_residents():
    table = only(invented(), "facility")
    rows = rows_of(table)
    assert rows.free == (True, True, True, False, True)
    assert list(rows.residents) == list(rows.wounds)


@pytest.mark.parametrize("week", [0.0, 5.0])
def test_wounds_measured_in_one_week_alone_have_no_slopes(week):
    rows = small(x=ONES, week=np.full(24, week))
    assert rows.free == (True, False, False, True, False)
    fit = fit_nested(rows)
    assert fit.wound_covariance.shape == (1, 1)
    fits_are_one(fit, fit_nested(small(x=ONES, week=None)))


def test_wounds_measured_each_in_a_week_of_its_own_have_no_slopes():
    rows = small(x=ONES, week=np.repeat(np.arange(6.0), 4))
    assert rows.free[1:3] == (False, False)


def test_without_weeks_wounds_have_intercepts_alone():
    rows = small(week=None)
    assert rows.free == (True, False, False, True, False)
    assert fit_nested(rows).wound_covariance.shape == (1, 1)


def test_a_wound_measured_once_takes_part():
    table = invented()
    once = np.isin(table.wound, [wound for wound in table.wound if np.sum(table.wound == wound) == 1])
    assert once.any()
    with_them, without = rows_of(table), rows_of(table.at(~once))
    assert len(with_them.wounds) > len(without.wounds)
    assert len(fit_nested(with_them).beta) == 4


# --- columns that others say ---

DROPPED = {
    "a column of nought": np.zeros(24),
    "the same column twice": WEEK,
    "a column in other units": 7 * WEEK,
    "a sum of two": 1 + WEEK,
    "nearly the same column": WEEK + 1e-7 * CHANCE,
}


@pytest.mark.parametrize("case", DROPPED)
def test_what_columns_already_say_is_dropped_by_name(case):
    wider = np.column_stack([LINES, DROPPED[case]])
    numbered, named = small(x=wider), nested(CHANCE, wider, WEEK, WOUNDS, RESIDENTS, names=("mean", "week", "said"))
    assert (numbered.names, numbered.dropped) == (("x0", "x1"), ("x2",))
    assert (named.names, named.dropped) == (("mean", "week"), ("said",))
    fit = fit_nested(named)
    assert fit.dropped == ("said",)
    fits_are_one(fit, fit_nested(small()))


def test_the_first_of_two_that_say_the_same_stays():
    assert list(independent(np.column_stack([np.zeros(24), WEEK, 2 * WEEK, ONES, CHANCE, WEEK - 3, CHANCE + 1]))) == [
        False, True, False, True, True, False, False,
    ]  # fmt: skip


def test_columns_of_very_different_size_are_all_kept():
    assert independent(np.column_stack([ONES, 1e-8 * WEEK, 1e8 * CHANCE])).all()


def test_a_column_far_from_nought_that_varies_is_kept():
    # Years beside ones: of its squares a millionth is left, a thousand times what is taken for rounding.
    assert independent(np.column_stack([ONES, 2020 + WEEK])).all()
