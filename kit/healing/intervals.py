"""The share closed when a closing is only known to lie between two rounds: after the last open, up to the first closed.

Turnbull 1976, J R Stat Soc B 38:290. lifelines finds the same shares; on 1,500 wounds seen every week or three it takes
over a minute, too long for a range made of many draws, and hence only checks this one in the tests.
"""

from __future__ import annotations

import numpy as np

ROUNDS = 100_000
LONGEST = 1e6  # leap, in rounds: only to keep the numbers finite
SETTLED = 1e-10  # the most log likelihood still to be won, for each unit of weight; shares are then good to 1e-6


def share_closed_between(
    last_open: np.ndarray, first_closed: np.ndarray, horizon: float, weights: np.ndarray | None = None
) -> float:
    """The share closed by the end of the horizon, by Turnbull's estimate (1976).

    A row closed after `last_open` and not after `first_closed`, both in one unit of time; np.inf stands for a wound not
    closed, followed to `last_open`. `weights` counts each row as often as it says; rows of weight 0 are left out.

    The data say how much closes within certain intervals and nothing about when within them. What closes in such an
    interval counts from its end, when it has closed for certain: a horizon inside one counts none of it, so that the
    share is the smallest that fits. (R's survfit draws it in the middle of the interval.)

    Raises ValueError where a row ends before it starts, a time is missing, a weight is negative or all are 0, or the
    estimate does not settle.
    """
    after, upto = np.asarray(last_open, dtype=float), np.asarray(first_closed, dtype=float)
    weights = np.ones(len(after)) if weights is None else np.asarray(weights, dtype=float)
    _refuse_impossible(after, upto, weights)
    counted = weights > 0
    ends, masses = _turnbull(after[counted], upto[counted], weights[counted])
    return float(masses[ends <= horizon].sum())


def _refuse_impossible(after: np.ndarray, upto: np.ndarray, weights: np.ndarray) -> None:
    if not np.isfinite(after).all() or np.isnan(upto).any():
        raise ValueError("A last open or first closed time is missing.")
    if (upto <= after).any():
        raise ValueError(f"A wound must be open before it is closed; {int((upto <= after).sum())} rows are not.")
    if not np.isfinite(weights).all() or (weights < 0).any() or not weights.any():
        raise ValueError("Weights must be numbers, none below 0 and not all 0.")


def _turnbull(after: np.ndarray, upto: np.ndarray, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Ends of the intervals that can hold mass, and the mass of each."""
    kinds, row = np.unique(np.column_stack([after, upto]), axis=0, return_inverse=True)
    starts, ends = _places(kinds[:, 0], kinds[:, 1])
    first, last = np.searchsorted(starts, kinds[:, 0]), np.searchsorted(ends, kinds[:, 1], side="right")
    return ends, _climb(first, last, np.bincount(row.ravel(), weights) / weights.sum(), len(ends))


def _places(after: np.ndarray, upto: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Only where a start is followed at once by an end can mass lie; at one time (a, t] ends before (t, b] starts."""
    times, is_start = np.concatenate([after, upto]), np.repeat([1, 0], len(after))
    order = np.lexsort((is_start, times))
    times, is_start = times[order], is_start[order]
    here = np.flatnonzero(np.diff(is_start) == -1)
    return times[here], times[here + 1]


def _climb(first: np.ndarray, last: np.ndarray, shares: np.ndarray, count: int) -> np.ndarray:
    """The masses of greatest likelihood: rounds of self-consistency (Turnbull 1976), each two followed by a leap.

    Stops when no shift of mass could win more than SETTLED (Gentleman & Geyer 1994, Biometrika 81:618).
    """
    masses = np.full(count, 1 / count)
    pull, loglik = _pull(masses, first, last, shares)
    for _ in range(ROUNDS):
        if pull.max() - 1 < SETTLED:
            return masses
        once = masses * pull
        twice = once * _pull(once, first, last, shares)[0]
        masses, before = _leap(masses, once, twice), loglik
        pull, loglik = _pull(masses, first, last, shares)
        if not loglik >= before:
            masses = twice
            pull, loglik = _pull(masses, first, last, shares)
    raise ValueError("The share closed between rounds does not settle.")


def _pull(masses, first, last, shares) -> tuple[np.ndarray, float]:
    """By how much the rows would have each mass multiplied, and the log likelihood."""
    line = np.concatenate([[0.0], np.cumsum(masses)])
    held = line[last] - line[first]
    drawn = shares / held
    come, gone = np.bincount(first, drawn, len(line)), np.bincount(last, drawn, len(line))
    return np.cumsum(come - gone)[:-1], float(shares @ np.log(held))


def _leap(masses: np.ndarray, once: np.ndarray, twice: np.ndarray) -> np.ndarray:
    """As far along the two rounds as their slowing down tells (Varadhan & Roland 2008, Scand J Stat 35:335)."""
    move = once - masses
    bend = twice - once - move
    length = np.clip(np.linalg.norm(move) / max(np.linalg.norm(bend), 1e-300), 1, LONGEST)
    far = masses + 2 * length * move + length**2 * bend
    far = np.maximum(far, twice / 1000)  # no mass below nothing, and none lost for good
    return far / far.sum()
