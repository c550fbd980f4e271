"""Rows that do not tell a nested mixed model are refused, and what is missing is said."""

import numpy as np
import pytest

from kit.trajectories.engine import fit_nested
from kit.trajectories.sums import CannotFit
from tests.nested_rows import CHANCE, LINES, ONES, RESIDENTS, WEEK, WOUNDS, small

# --- refused, and what is missing ---


def with_one(values: np.ndarray, value: float) -> np.ndarray:
    changed = values.copy()
    changed[3] = value
    return changed


FEW = "measurements cannot tell"
REFUSED = {
    "no rows": ({"rows": 0}, f"rows: 0 {FEW} 2 columns"),
    "as many rows as columns": ({"rows": 2}, f"rows: 2 {FEW} 2 columns"),
    "no column": ({"x": ONES[:, :0]}, f"rows: 24 {FEW} 0 columns"),
    "one wound": ({"rows": 4}, "wounds: one alone does not tell how wounds differ"),
    "one measurement a wound": (
        {"wound": np.arange(24), "resident": None},
        "wounds: too few have more than 1 measurements to tell how a course strays",
    ),
    "two measurements a wound, and slopes": (
        {"wound": np.repeat(np.arange(12), 2), "resident": None},
        "wounds: too few have more than 2 measurements to tell how a course strays",
    ),
    "two measurements a wound, one wound a third": (
        {"wound": np.repeat(["a", "b", "c"], [3, 2, 2]), "rows": 7, "resident": None},
        "wounds: too few have more than 2 measurements",
    ),
    "a missing response": ({"y": with_one(CHANCE, np.nan)}, "rows: a value is missing or infinite; leave the row out"),
    "an infinite response": ({"y": with_one(CHANCE, np.inf)}, "rows: a value is missing or infinite"),
    "a missing column": ({"x": np.where(LINES == 2, np.nan, LINES)}, "rows: a value is missing or infinite"),
    "an infinite column": ({"x": np.where(LINES == 2, -np.inf, LINES)}, "rows: a value is missing or infinite"),
    "a missing week": ({"week": with_one(WEEK, np.nan)}, "rows: a value is missing or infinite"),
    "a wound in two residents": (
        {"wound": np.tile(np.repeat(["a", "b"], 4), 3)},
        "nested: a wound lies in two groups of the level above; name it apart in each",
    ),
    "a resident in two facilities": (
        {
            "wound": np.repeat(np.arange(8), 3),
            "resident": np.tile(np.repeat(["r", "s"], 6), 2),
            "facility": np.repeat(["x", "y"], 12),
        },
        "nested: a resident lies in two groups of the level above",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refused_with_what_is_missing(case):
    changed, message = REFUSED[case]
    with pytest.raises(CannotFit, match=message):
        small(**changed)


@pytest.mark.parametrize(
    "labels",
    [
        {"wound": np.repeat(["1", "1", "2"], 8), "resident": RESIDENTS},
        {"wound": WOUNDS, "resident": np.repeat(["r", "r", "s"], 8), "facility": np.repeat(["x", "y", "y"], 8)},
    ],
    ids=["wound 1 of two residents", "resident r of two facilities"],
)
def test_one_name_in_two_groups_that_stand_side_by_side_is_refused(labels):
    with pytest.raises(CannotFit, match="lies in two groups of the level above"):
        small(**labels)


EXACTLY = {
    "a line": 1 + 2 * WEEK,
    "the same everywhere": np.full(24, 5.0),
    "nought": np.zeros(24),
    "a steep line far from nought": 1e6 + 1e3 * WEEK,
}


@pytest.mark.parametrize("case", EXACTLY)
def test_a_response_that_the_columns_say_exactly_is_refused(case):
    with pytest.raises(CannotFit, match="rows: (the columns say the response|sizes of a wound never stray)"):
        fit_nested(small(y=EXACTLY[case]))


OF_WOUNDS = {
    "the same in every row of a wound": (np.repeat([1.0, 2, 4, 1, 2, 4], 4), None),
    "a line in every wound": (np.repeat([1.0, 2, 4, 1, 2, 4], 4) + WEEK * np.repeat([1.0, 0, 3, 2, 5, 1], 4), WEEK),
}


@pytest.mark.parametrize("case", OF_WOUNDS)
def test_a_response_that_wounds_say_exactly_is_refused(case):
    y, week = OF_WOUNDS[case]
    with pytest.raises(CannotFit, match="rows: sizes of a wound never stray from a line"):
        small(y=y, week=week, resident=None)


@pytest.mark.parametrize("times", [1.0, 3.0, 10.0])
def test_wounds_up_to_thirty_times_as_far_apart_as_their_rows_keep_their_mean_and_spread(times):
    # Six wounds of four rows: the mean of means, and their variance less a fourth of what is within.
    within = CHANCE.reshape(6, 4) - CHANCE.reshape(6, 4).mean(axis=1, keepdims=True)
    of_wounds = times * np.array([1.0, 2, 4, 1, 2, 7])
    fit = fit_nested(small(y=np.repeat(of_wounds, 4) + within.ravel(), x=ONES, week=None, resident=None))
    variance = (within**2).sum() / 18
    assert fit.beta == pytest.approx([times * 17 / 6], rel=1e-6)
    assert fit.residual_sd**2 == pytest.approx(variance, rel=1e-4)
    assert fit.wound_covariance[0, 0] == pytest.approx(of_wounds.var(ddof=1) - variance / 4, rel=1e-4)


def test_a_response_far_from_nought_is_not_taken_for_one_said_exactly():
    fit, far = fit_nested(small()), fit_nested(small(y=1e8 + CHANCE))
    # A double near 1e8 is right to 1.5e-8.
    assert far.errors == pytest.approx(fit.errors, rel=1e-5)
    assert far.beta - [1e8, 0] == pytest.approx(fit.beta, abs=1e-5)


def test_one_row_more_than_columns_is_too_few():
    wound, week = np.repeat(["a", "b"], 4), np.tile([0.0, 1, 2, 3], 2)
    x = np.column_stack([np.ones(8), CHANCE[:16].reshape(8, 2), np.eye(8)[:, :4]])
    assert small(8, y=CHANCE, x=x, week=week, wound=wound, resident=None).columns == 7
    with pytest.raises(CannotFit, match="rows: too few measurements are left beyond the columns"):
        fit_nested(small(8, y=CHANCE, x=x, week=week, wound=wound, resident=None))
