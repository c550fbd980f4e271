"""A weekly random walk taken out row by row, against the Cholesky of its covariance written out and small cases."""

from math import log, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.trajectories.engine import fit_nested
from kit.trajectories.sums import nested
from kit.trajectories.walk import whitened
from tests.nested_rows import fits_are_one, invented, rows_of
from tests.slow_mixed_model import Spreads, Table, covariance

SAME = 1e-9  # relative: the same sums in another order; the covariance of forty rows is inverted
LONG = 1e-8  # relative: eighty rows of one wound

# Weeks since the row before, of a few wounds; two rows of one week are allowed.
some_wounds = st.lists(st.lists(st.floats(0, 6, width=32), max_size=8), min_size=1, max_size=4)
a_walk = st.floats(0.001, 50)


def rows(gaps: list[list[float]], columns: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """A table of chance, the week, where wounds begin, and the wound of each row; wounds begin at weeks 0, 5, 10..."""
    week = np.concatenate([np.cumsum([5.0 * wound, *each]) for wound, each in enumerate(gaps)])
    counts = [1 + len(each) for each in gaps]
    table = np.random.default_rng(1).normal(size=(len(week), columns))
    return table, week, np.cumsum([0, *counts[:-1]]), np.repeat(np.arange(len(gaps)), counts)


def walked(week: np.ndarray, wound: np.ndarray, walk: float) -> np.ndarray:
    """The covariance of errors on a walk, entry by entry."""
    zeros = np.zeros(len(week))
    return covariance(Table(zeros, zeros[:, None], week, wound), Spreads(intercept=0.0, walk=walk))


@settings(deadline=None, derandomize=True, max_examples=40)
@given(some_wounds, a_walk)
def test_products_and_log_determinant_are_those_of_the_covariance_written_out(gaps, walk):
    table, week, begins, wound = rows(gaps)
    out, taken = whitened(table, week, begins, walk)
    told = walked(week, wound, walk)
    expected = np.linalg.solve(told, table)
    assert out.T @ out == pytest.approx(table.T @ expected, rel=SAME, abs=SAME * np.abs(table.T @ expected).max())
    assert taken.sum() == pytest.approx(np.linalg.slogdet(told)[1], rel=SAME, abs=SAME)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(some_wounds, a_walk)
def test_errors_come_out_independent_and_of_one_size(gaps, walk):
    """The filter as a matrix, from the rows of an identity: through it the covariance becomes the identity."""
    _, week, begins, wound = rows(gaps)
    whitener, _ = whitened(np.eye(len(week)), week, begins, walk)
    assert whitener @ walked(week, wound, walk) @ whitener.T == pytest.approx(np.eye(len(week)), abs=SAME)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(some_wounds, a_walk)
def test_each_row_is_what_cholesky_makes_of_it(gaps, walk):
    table, week, begins, wound = rows(gaps)
    lower = np.linalg.cholesky(walked(week, wound, walk))
    assert whitened(table, week, begins, walk)[0] == pytest.approx(np.linalg.solve(lower, table), rel=SAME, abs=SAME)


@settings(deadline=None, derandomize=True, max_examples=40)
@given(some_wounds, a_walk)
def test_a_wound_adds_to_the_log_determinant_what_it_does_alone(gaps, walk):
    table, week, begins, wound = rows(gaps)
    alone = [np.linalg.slogdet(walked(week[own], wound[own], walk))[1] for own in wound == np.unique(wound)[:, None]]
    assert whitened(table, week, begins, walk)[1] == pytest.approx(alone, rel=SAME, abs=SAME)


def test_no_walk_leaves_rows_as_they_are_and_adds_nothing():
    table, week, begins, _ = rows([[1, 2, 3], [2]])
    out, taken = whitened(table, week, begins, 0.0)
    assert np.array_equal(out, table) and np.array_equal(taken, [0, 0])


def test_the_table_that_was_given_stays_as_it_was():
    table, week, begins, _ = rows([[1, 2, 3], [2]])
    before = table.copy()
    out, _ = whitened(table, week, begins, 0.5)
    assert np.array_equal(table, before) and not np.array_equal(out, before)


def test_the_first_row_of_a_wound_holds_no_walk():
    table, week, begins, _ = rows([[1, 2, 3], [], [2]])
    out, taken = whitened(table, week, begins, 0.5)
    assert np.array_equal(out[begins], table[begins])
    assert taken[1] == 0  # measured once: no walk is known of it


def test_two_rows_by_hand():
    # Three weeks apart at 0.5 a week: the second has the variance 1 + 1.5. Nothing is known of the walk at the first.
    out, taken = whitened(np.array([[1.0], [2.0]]), np.array([4.0, 7.0]), np.array([0]), 0.5)
    assert out == pytest.approx(np.array([[1], [2 / sqrt(2.5)]]), rel=1e-14)
    assert taken == pytest.approx([log(2.5)], rel=1e-14)


def test_three_rows_by_hand():
    # Weeks 0, 1, 2 at 1 a week: variances 1, 2, 3; the last two share 1. Given the second (2), the third is expected at
    # 2 x 1/2 = 1 with the variance 3 - 1/2: (3 - 1) / sqrt(5/2). Determinant 2 x 5/2 = 2 x 3 - 1.
    out, taken = whitened(np.array([[1.0], [2.0], [3.0]]), np.arange(3.0), np.array([0]), 1.0)
    assert out[:, 0] == pytest.approx([1, 2 / sqrt(2), 2 / sqrt(2.5)], rel=1e-14)
    assert taken == pytest.approx([log(5)], rel=1e-14)


def test_rows_of_one_week_differ_by_their_own_error_alone():
    # Weeks 0, 2, 2 at 1 a week: variances 3, the last two share 2. Given the second (3), the third is expected at
    # 3 x 2/3 = 2 with the variance 3 - 4/3 = 5/3; the determinant is 9 - 4 = 5.
    out, taken = whitened(np.array([[0.0], [3.0], [4.0]]), np.array([0.0, 2.0, 2.0]), np.array([0]), 1.0)
    assert out[:, 0] == pytest.approx([0, 3 / sqrt(3), (4 - 2) / sqrt(5 / 3)], rel=1e-14)
    assert taken == pytest.approx([log(5)], rel=1e-14)


def test_a_long_course_keeps_its_digits():
    table, week, begins, wound = rows([[0.5] * 79])
    out, taken = whitened(table, week, begins, 2.0)
    told = walked(week, wound, 2.0)
    assert out.T @ out == pytest.approx(table.T @ np.linalg.solve(told, table), rel=LONG)
    assert taken.sum() == pytest.approx(np.linalg.slogdet(told)[1], rel=LONG)


def test_a_walk_in_days_is_a_seventh_of_one_in_weeks():
    table, week, begins, _ = rows([[1, 2, 3], [2]])
    out, taken = whitened(table, week, begins, 0.7)
    in_days, taken_in_days = whitened(table, 7 * week, begins, 0.1)
    assert in_days == pytest.approx(out, rel=1e-12) and taken_in_days == pytest.approx(taken, rel=1e-12)


# --- in the sums ---


def test_sums_with_no_walk_are_those_that_never_heard_of_one():
    table = invented()
    plain, none = rows_of(table), nested(table.y, table.x, table.week, table.wound, table.resident, table.facility)
    for name in ("table", "uu", "uw", "ww", "by_u", "by_w", "whitening"):
        assert np.array_equal(getattr(plain, name), getattr(none, name)), name
    assert not plain.whitening.any()


def test_a_walk_needs_weeks_and_is_left_out_without_them():
    table = invented()
    rows_without = nested(table.y, table.x, None, table.wound, walk=0.5)
    assert not rows_without.whitening.any()
    fits_are_one(fit_nested(rows_without), fit_nested(nested(table.y, table.x, None, table.wound)))


def test_rows_are_walked_in_the_order_of_weeks_however_they_are_given():
    table = invented()
    backwards = table.at(np.argsort(-table.week))
    found, again = rows_of(table, 0.3), rows_of(backwards, 0.3)
    assert again.whitening == pytest.approx(found.whitening, rel=1e-12)
    assert again.table == pytest.approx(found.table, rel=SAME, abs=SAME)
