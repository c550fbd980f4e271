"""The share closed between rounds against R, lifelines and hand-worked rows.

Numbers in tests/reference/cox.csv were made by tests/reference/cox.R, which meets the published values.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines.fitters.npmle import npmle

from kit.healing.curves import incidence
from kit.healing.intervals import share_closed_between

REFERENCE = Path(__file__).parent / "reference"
NUMBERS = pd.read_csv(REFERENCE / "cox.csv", dtype={"model": str, "term": str}).query("case == 'bcdeter'")
SHARES = NUMBERS[NUMBERS["quantity"] == "share_free"]
AS_R = 1e-6  # both climb until 1e-10 of log likelihood a row, or less, is left to be won
AS_LIFELINES = 1e-5  # it stops once a round wins less than 1e-10 in all, which may be early
SAME = 1e-5  # one set of wounds told in two ways: each climbs to within 1e-10 of the top
NEVER = np.inf
A_LITTLE = 1e-4  # lifelines' intervals hold both their ends, ours not their start


def arm(number: str) -> tuple[np.ndarray, np.ndarray]:
    rows = pd.read_csv(REFERENCE / "bcdeter.csv").query(f"arm == {number}")
    return rows["after"].to_numpy(dtype=float), rows["upto"].fillna(NEVER).to_numpy(dtype=float)


def of_lifelines(last_open, first_closed, horizon, weights=None) -> float:
    masses, places = npmle(last_open + A_LITTLE, first_closed, tol=1e-10, weights=weights)
    return sum(mass for mass, place in zip(masses, places, strict=True) if place.right <= horizon)


@pytest.mark.parametrize("known", SHARES.itertuples(), ids=lambda known: f"arm_{known.model}_month_{known.term}")
def test_breast_retraction_shares_are_those_of_r(known):
    found = share_closed_between(*arm(known.model), float(known.term))
    assert found == pytest.approx(1 - known.value, abs=AS_R)


@pytest.mark.parametrize("known", SHARES.itertuples(), ids=lambda known: f"arm_{known.model}_month_{known.term}")
def test_breast_retraction_shares_are_those_of_lifelines(known):
    found = share_closed_between(*arm(known.model), float(known.term))
    assert found == pytest.approx(of_lifelines(*arm(known.model), float(known.term)), abs=AS_LIFELINES)


@pytest.mark.parametrize(
    ("month", "free"), [(5, 0.9537), (7, 0.9203), (8, 0.8316), (12, 0.7609), (25, 0.6682), (34, 0.5864), (40, 0.4656)]
)
def test_breast_retraction_shares_are_those_published(month, free):
    """Beadle et al. 1984, Cancer 54:2911, radiotherapy alone; tests/reference/cox.R meets the same numbers."""
    assert 1 - share_closed_between(*arm("1"), month) == pytest.approx(free, abs=5e-5)


def test_weights_are_those_of_lifelines():
    last_open, first_closed = arm("1")
    weights = 0.5 + np.arange(len(last_open)) % 4
    found = share_closed_between(last_open, first_closed, 25, weights)
    assert found == pytest.approx(of_lifelines(last_open, first_closed, 25, weights), abs=AS_LIFELINES)
    assert abs(found - share_closed_between(last_open, first_closed, 25)) > 0.01


def test_three_wounds_by_hand():
    """(0, 7], (0, 14] and (7, 14]: with p closed by day 7 the likelihood p x 1 x (1 - p) is greatest at 1/2."""
    last_open, first_closed = np.array([0, 0, 7]), np.array([7, 14, 14])
    assert share_closed_between(last_open, first_closed, 7) == pytest.approx(1 / 2, abs=AS_R)
    # the first wound twice: p^2 (1 - p) is greatest at 2/3
    assert share_closed_between(last_open, first_closed, 7, np.array([2, 1, 1])) == pytest.approx(2 / 3, abs=AS_R)


def test_a_wound_last_open_on_the_day_another_is_first_closed_closes_after_it():
    """(0, 7] and (7, 14] share no day, so half has closed by day 7; were both ends held, all could close on day 7."""
    assert share_closed_between(np.array([0, 7]), np.array([7, 14]), 7) == pytest.approx(1 / 2, abs=AS_R)


@pytest.mark.parametrize(("horizon", "share"), [(6, 0), (7, 1), (9, 1)])
def test_a_mass_counts_from_the_end_of_its_interval(horizon, share):
    """(0, 9] and (3, 7]: both close within (3, 7]."""
    assert share_closed_between(np.array([0, 3]), np.array([9, 7]), horizon) == pytest.approx(share, abs=AS_R)


def test_wounds_that_never_close_leave_the_share_at_nothing():
    assert share_closed_between(np.array([5, 9]), np.array([NEVER, NEVER]), 1000) == 0


outcomes = st.tuples(st.integers(1, 20), st.booleans())


@settings(deadline=None, derandomize=True)
@given(st.lists(outcomes, min_size=1, max_size=40), st.integers(0, 21))
def test_wounds_seen_every_day_give_the_curve_without_intervals(rows, horizon):
    """Closed between the day before and the day: the share closed is then that of Kaplan & Meier."""
    days, closed = (np.array(column) for column in zip(*rows, strict=True))
    found = share_closed_between(np.where(closed, days - 1, days), np.where(closed, days, NEVER), horizon)
    curve = incidence(days, np.where(closed, "closed", "open"), ("closed",))
    assert found == pytest.approx(curve.at(horizon)[0, 0], abs=SAME)


rounds = st.tuples(st.integers(0, 15), st.sampled_from([1, 3, 7, NEVER]), st.integers(0, 3))


def drawn(rows) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    last_open, gap, weights = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    return last_open, last_open + gap, weights


@settings(deadline=None, derandomize=True)
@given(st.lists(rounds, min_size=2, max_size=30).filter(lambda rows: any(row[2] for row in rows)), st.integers(0, 25))
def test_a_weight_counts_as_so_many_wounds(rows, horizon):
    last_open, first_closed, weights = drawn(rows)
    times = weights.astype(int)
    repeated = share_closed_between(np.repeat(last_open, times), np.repeat(first_closed, times), horizon)
    assert share_closed_between(last_open, first_closed, horizon, weights) == pytest.approx(repeated, abs=SAME)
    assert share_closed_between(last_open, first_closed, horizon, weights / 3) == pytest.approx(repeated, abs=SAME)


@settings(deadline=None, derandomize=True)
@given(st.lists(rounds, min_size=2, max_size=30), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(rows, shuffler):
    shuffled = list(rows)
    shuffler.shuffle(shuffled)
    one, other = (share_closed_between(*drawn(order)[:2], 10) for order in (rows, shuffled))
    assert other == pytest.approx(one, abs=SAME)


@pytest.mark.parametrize(
    ("last_open", "first_closed", "weights", "words"),
    [
        ([0, 7], [7, 7], None, "open before it is closed; 1 rows"),
        ([0, np.nan], [7, 7], None, "is missing"),
        ([0, 0], [7, np.nan], None, "is missing"),
        ([0, NEVER], [7, NEVER], None, "is missing"),
        ([0, 0], [7, 7], [1, -1], "none below 0"),
        ([0, 0], [7, 7], [0, 0], "not all 0"),
        ([0, 0], [7, 7], [1, np.nan], "must be numbers"),
        ([], [], None, "not all 0"),
    ],
)
def test_rows_that_have_no_answer_are_refused_in_one_line(last_open, first_closed, weights, words):
    with pytest.raises(ValueError, match=words) as refusal:
        share_closed_between(last_open, first_closed, 7, weights)
    assert "\n" not in str(refusal.value)
