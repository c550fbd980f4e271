"""How much smaller wounds are at the early response: the share at least so many percent smaller, and the median."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.sparse import csr_matrix

from kit.healing.contrasts import Shares
from kit.healing.resampling import correlation, mover, share_limits
from kit.healing.weeks import sized_open
from kit.plan import WEEK, Plan

# Whole percents smaller, finer than rounds measure. A wound that has more than doubled reaches none of them: how far it
# grew beyond moves no median that is worth telling.
GRID = np.arange(-100, 101)
ROUNDED = 1e-9  # sizes and shares that are exactly at the line count as having reached it, however they were added up
HALF = 0.5 - ROUNDED
MEDIAN = tuple(f"reduction_{part}" for part in ("treated", "beside", "difference", "low", "high", "error"))


@dataclass(frozen=True, eq=False)
class Early:
    """Rows at the early response (`day`): the week of each, whether a fresh size is known, and what is left of it.

    `left` is the size then over that of the trial; small is what is at least `percent` smaller.
    """

    day: int
    week: np.ndarray
    known: np.ndarray
    left: np.ndarray
    percent: int

    @property
    def small(self) -> np.ndarray:
        """At least the plan's percentage smaller, where a size is known."""
        return self.left <= 1 - self.percent / 100 + ROUNDED

    @cached_property
    def steps(self) -> csr_matrix:
        """Rows with a known size by how many percents of GRID they reach, none first: steps x known rows."""
        left = self.left[self.known]
        reached = len(GRID) - np.searchsorted((1 - GRID / 100 + ROUNDED)[::-1], left)
        return csr_matrix((np.ones(len(left)), (reached, np.arange(len(left)))), shape=(len(GRID) + 1, len(left)))

    def take(self, mask: np.ndarray) -> Early:
        """Some rows alone."""
        return Early(self.day, self.week[mask], self.known[mask], self.left[mask], self.percent)


def early_response(
    weeks: pd.DataFrame, row: np.ndarray, clock: np.ndarray, until: np.ndarray, measurements: pd.DataFrame, plan: Plan
) -> Early:
    """The size at the early response: the last measured, where it is still fresh, beside that of the trial.

    `row` numbers the trials in `weeks`; `clock` and `until` are the days between which each is followed.
    """
    day = plan.comparison.early_weeks * WEEK
    then = clock + day
    wound = weeks["wound"].to_numpy()[row]
    asked = pd.DataFrame({"wound": wound, "then": then, "row": np.arange(len(row))}).sort_values("then")
    sized = sized_open(measurements)[["wound", "day", "size"]].sort_values("day")
    found = pd.merge_asof(asked, sized, left_on="then", right_on="day", by="wound").sort_values("row")
    seen = found["day"].to_numpy(dtype=float)
    fresh = (then - seen < plan.sizes.fresh_days) & (seen > clock) & (until > then)
    left = found["size"].to_numpy(dtype=float) / np.exp(weeks["log_size"].to_numpy()[row])
    return Early(day, _week_of(weeks, row, then), fresh, left, plan.comparison.early_percent)


def _week_of(weeks: pd.DataFrame, row: np.ndarray, then: np.ndarray) -> np.ndarray:
    """The week of each row's wound in which a day lies, or its last one before."""
    codes, begins = pd.factorize(weeks["wound"])[0], weeks["begins"].to_numpy()
    first = int(min(begins.min(initial=0), then.min(initial=0)))  # days may lie before the day of number nought
    begins, due = begins - first, then - first
    span = int(max(begins.max(initial=0), due.max(initial=0))) + 2
    return np.searchsorted(codes * span + begins, codes[row] * span + due, side="right") - 1


def shares_smaller(early: Early, weight: np.ndarray, whole: Shares) -> np.ndarray:
    """The share closed or at least so many percent smaller at the early response: GRID x sets.

    `weight` (known rows x sets) is that of the rows whose size is known then, `whole` the arm's shares by day. Of those
    still open and in view, the ones whose size was not measured in time are taken to be like the others. Who died, went
    to hospital for good or was closed by surgery stays in the hundred and is not smaller. Missing in a set in which no
    size is known.
    """
    return shares_reached(early.day, early.steps @ weight, whole)


def shares_reached(day: int, steps: np.ndarray, whole: Shares) -> np.ndarray:
    """The same from the weight on each of the steps of `Early.steps` (steps x sets), at the day of the response."""
    reached = np.cumsum(steps[::-1], axis=0)[::-1]  # all of them first, then percent by percent
    total = reached[0]
    part = np.divide(reached[1:], total, out=np.full(reached[1:].shape, np.nan), where=total > 0)
    still = whole.still[day]
    return whole.closed[day] + np.where(still > 1e-12, still * part, 0.0)


def at(percent: int) -> int:
    """The place of a whole percentage in GRID."""
    return int(percent - GRID[0])


def medians(shares: np.ndarray) -> np.ndarray:
    """The largest percent of GRID that at least half reach, one a set; closed counts as 100.

    `shares` GRID x sets, or arms x GRID x sets. Missing where fewer than half reach even the lowest.
    """
    reached = (shares >= HALF).sum(axis=-2)
    return np.where(reached > 0, GRID[reached - 1], np.nan)


def limits_by_percent(shares: np.ndarray, residents: int, width: float) -> tuple[np.ndarray, np.ndarray]:
    """The limits of an arm's shares at every percent of GRID (`shares`: GRID x sets, the whole sample first)."""
    known = np.isfinite(shares).all(axis=0)
    if not (known[0] and known[1:].any()):
        return np.full(len(GRID), np.nan), np.full(len(GRID), np.nan)
    return share_limits(shares[:, 0], shares[:, 1:][:, known[1:]], residents, width)


def median_limits(low: np.ndarray, high: np.ndarray) -> tuple[float, float]:
    """The percents at which the limits of the shares cross one half: those of the median.

    Woodruff 1952, J Am Stat Assoc 47:635, turned round. The lower one is minus infinity where the lower limit lies
    below one half all along. Limits of neighbouring percents may cross one half more than once; the outermost counts.
    """
    sure = int(np.logical_and.accumulate(low >= HALF).sum())
    maybe = np.flatnonzero(high >= HALF)
    return float(GRID[sure - 1]) if sure else -np.inf, float(GRID[maybe[-1]]) if len(maybe) else -np.inf


def compared_medians(shares: np.ndarray | None, people: tuple[int, int], width: float) -> dict[str, float]:
    """The median percent reduction of both arms, their difference, its limits and standard error, in percent points.

    `shares` arms x GRID x sets, or None where nothing is compared; `people` the residents that each arm is worth. The
    limits of the arms are combined with the correlation of the drawn medians (Zou & Donner 2008, Stat Med 27:1693);
    draws in which a median is missing are left out. Where one arm has none, the other is told and no difference.
    """
    told = dict.fromkeys(MEDIAN, np.nan)
    if shares is None:
        return told
    drawn = medians(shares)
    first, second = (float(arm[0]) for arm in drawn)
    known = np.isfinite(drawn).all(axis=0)
    if not (known[0] and known[1:].any()):
        return told | dict(zip(MEDIAN[:2], (first, second), strict=True))
    one, other = drawn[:, 1:][:, known[1:]]
    own = [median_limits(*limits_by_percent(arm, worth, width)) for arm, worth in zip(shares, people, strict=True)]
    low, high = mover((first, second), own[0], own[1], correlation(one, other))
    parts = (first, second, first - second, low, high, float(np.std(one - other)))
    return dict(zip(MEDIAN, parts, strict=True))


def by_percent(shares: np.ndarray, residents: int, width: float) -> pd.DataFrame:
    """The share of an arm at least so many percent smaller or closed: percent, share, low, high (limits of `width`).

    Below 0 stands what is at most so many percent larger.
    """
    low, high = limits_by_percent(shares, residents, width)
    return pd.DataFrame({"percent": GRID, "share": shares[:, 0], "low": low, "high": high})
