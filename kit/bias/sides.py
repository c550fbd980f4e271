"""What is counted on both sides: of wounds once started, and of wounds not or not yet started."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import binom, norm

from kit.bias.beside import towards
from kit.bias.evidence import NOT_KNOWN, Evidence
from kit.healing.resampling import Z
from kit.healing.trials import window

CHANCE = 0.01  # how often chance alone may cross a threshold
Column = pd.Series | np.ndarray
NONE_IN_VIEW = "no wound was in view in the months that are compared"


@dataclass(frozen=True)
class Sides:
    """A share on each side, missing where nothing stands there; `numbers` of what, `error` of the difference."""

    started: float
    beside: float
    numbers: tuple[int, int]
    error: float

    @property
    def apart(self) -> float:
        """The share of those started less that of the others; missing where one is."""
        return self.started - self.beside

    def push(self, closings: int) -> str:
        """Which way the headline is pushed where each case adds `closings` (1 or -1) to its side.

        Not known where chance alone would put the two sides so far apart once in twenty times.
        """
        return towards(closings * self.apart) if abs(self.apart) > Z * self.error else NOT_KNOWN

    def larger(self, least: float, usual: float) -> tuple[float, float]:
        """The share of the side that goes furthest beyond its threshold, and that threshold; see `crossed`."""
        pairs = zip((self.started, self.beside), self.numbers, strict=True)
        held = [(share, crossed(least, usual, number, 2)) for share, number in pairs if number]
        return max(held, key=lambda pair: pair[0] / pair[1])

    def chance(self) -> float:
        """How far apart chance alone would put the two sides once in a hundred times."""
        return float(norm.isf(CHANCE / 2)) * self.error

    def says(self, whose: str = "of those started") -> str:
        """Both shares in words."""
        told = ((self.started, whose), (self.beside, "of the others"))
        return ", ".join(f"{100 * part:.0f}% {of}" for part, of in told if not np.isnan(part))


def crossed(least: float, usual: float, number: int, looked_at: int = 1) -> float:
    """The share that is held against: `least`, or what a clean record crosses by chance once in 100, if that is more.

    `usual`: the share of a clean record; `number`: of how many; `looked_at`: how many shares are looked at together.
    """
    return max(least, float(binom.isf(CHANCE / looked_at, number, usual)) / number)


def by_side(hit: Column, started: Column, resident: Column, weight: Column | None = None) -> Sides:
    """The share of `hit` on each side, rows of one person taken together for how far chance could put them apart.

    All in the same order of rows; `weight` counts a row more or less than once.
    """
    rows = pd.DataFrame(
        {
            "hit": np.asarray(hit, dtype=float),
            "started": np.asarray(started, dtype=bool),
            "resident": np.asarray(resident, dtype=object),
            "weight": 1.0 if weight is None else np.asarray(weight, dtype=float),
        }
    )
    middle = float(np.average(rows["hit"], weights=rows["weight"])) if len(rows) else np.nan
    first, second = (_side(rows[rows["started"] == side], middle) for side in (True, False))
    return Sides(first[0], second[0], (first[1], second[1]), float(np.sqrt(first[2] + second[2])))


def _side(rows: pd.DataFrame, middle: float) -> tuple[float, int, float]:
    """Share, number and variance; no side is taken to vary less than as many unrelated rows around the middle."""
    if rows.empty:
        return np.nan, 0, np.nan
    whole = rows["weight"].sum()
    share = float((rows["hit"] * rows["weight"]).sum() / whole)
    drift = ((rows["hit"] - share) * rows["weight"]).groupby(rows["resident"]).sum()
    unrelated = middle * (1 - middle) * float((rows["weight"] ** 2).sum())
    return share, len(rows), max(float((drift**2).sum()), unrelated) / whole**2


def months_begin(evidence: Evidence) -> float:
    """The first day of the months that are compared; before any day where the export shares no calendar."""
    limits = window(evidence.study.plan, evidence.answers.layout.horizon)
    return -np.inf if limits is None else float(limits[0])


def in_view(evidence: Evidence) -> pd.DataFrame:
    """Wounds of the cohort seen open and not ended before the months that are compared: episodes, and `started`."""
    seen = evidence.study.episodes
    seen = seen[seen["in_cohort"] & seen["entry_day"].notna()]
    seen = seen[(seen["end_day"] >= months_begin(evidence)).fillna(False).astype(bool)]
    return seen.assign(started=seen["start_day"].notna()).reset_index(drop=True)


def sizes_in_view(evidence: Evidence) -> pd.DataFrame:
    """Measurements of those wounds within the months, in the order of wound and day; `started`: after a start."""
    seen, taken = in_view(evidence), evidence.study.measurements
    taken = taken[taken["day"] >= months_begin(evidence)]
    rows = taken.merge(seen[["wound", "resident", "start_day"]], on="wound").sort_values(["wound", "day"])
    began = (rows["day"] > rows["start_day"]).fillna(False).astype(bool)
    return rows.assign(started=began).reset_index(drop=True)
