"""What a reader could work out: an exact search through all whole numbers that agree with what sheets print.

A sheet prints rounded shares of rounded counts. Together, or beside an older sheet of the same quarter, they can still
leave so little room that a small group, or a small change, is known for certain. The search asks of every quantity for
the least and the largest value that any reader who knows the kit's rules could think possible (integer programming).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from scipy.optimize import LinearConstraint, milp

from kit.faults import ExportError

TEN = 10  # counts are printed to the nearest ten
# Of the sessions planned some were given, some missed, and of the rest nobody knows: what is left over is a group too.
LEFT_OVER = {"planned": ("given", "missed")}
INFEASIBLE = 2  # as scipy.optimize.milp reports it
Terms = dict[str, int]  # a sum of counts, each so many times


def about(count: int) -> int:
    """A count to the nearest ten, five going up."""
    return TEN * ((count + TEN // 2) // TEN)


def whole_percent(some: int, of: int) -> int:
    """A share to the nearest whole percent, a half going up."""
    return (200 * some + of) // (2 * of)


class Knowledge:
    """What a reader knows of counts, each none or more: sums of them that lie between two ends."""

    def __init__(self) -> None:
        self.counts: list[str] = []
        self.sums: list[tuple[Terms, float, float]] = []

    def between(self, terms: Terms, low: float = -np.inf, high: float = np.inf) -> None:
        """A sum lies between two ends, both included."""
        self.counts += [count for count in terms if count not in self.counts]
        self.sums.append((terms, low, high))

    def least(self, terms: Terms) -> int:
        """The least whole value that a sum can have.

        Raises ExportError where no numbers at all agree with what is printed: somebody has changed a sheet.
        """
        sums, lows, highs = zip(*self.sums, strict=True)
        limits = LinearConstraint(np.array([self._row(one) for one in sums]), np.array(lows), np.array(highs))
        found = milp(self._row(terms), integrality=np.ones(len(self.counts)), constraints=limits)
        if found.status == INFEASIBLE:
            raise ExportError(
                "the numbers of a sheet contradict each other, so it is not as it was written; see which issued "
                "revision was changed, and lay it back"
            )
        if not found.success:
            raise RuntimeError("the search through what a sheet could give away did not come to an end")
        return round(found.fun)

    def largest(self, terms: Terms) -> int:
        """The largest whole value that a sum can have; raises as `least` does."""
        return -self.least({count: -times for count, times in terms.items()})

    def is_small(self, terms: Terms, fewest: int) -> bool:
        """Whether a sum is known to lie between 1 and `fewest` less one, whatever its sign."""
        least = self.least(terms)
        if least >= 1:
            return least < fewest and self.largest(terms) < fewest
        return -fewest < least < 0 and self.largest(terms) < 0

    def _row(self, terms: Terms) -> list[float]:
        return [float(terms.get(count, 0)) for count in self.counts]


def known_small(now: pd.DataFrame, before: pd.DataFrame, fewest: int) -> list[str]:
    """The counts of a sheet that are known to be small, or to have changed by little since an older sheet.

    `now` and `before` (which may be empty) are rows as they are printed: some, all_of, per_hundred (empty where the
    share is not the counts' own), about_all. Small is anything that can only lie between 1 and `fewest` less one,
    whatever its sign. Each is told by the name of the count that is in danger; a change, by that of the count changed.
    """
    told = Knowledge()
    for sheet, rows in (("now", now), ("before", before)):
        _learn(told, sheet, rows, fewest)
    return list(dict.fromkeys(name for name, terms in _quantities(now, before) if told.is_small(terms, fewest)))


def _learn(told: Knowledge, sheet: str, rows: pd.DataFrame, fewest: int) -> None:
    """What the rows of one sheet say, and the rules by which a row is printed at all."""
    for row in rows.to_dict("records"):
        some, every = _named(sheet, row["some"]), _named(sheet, row["all_of"])
        told.between({every: 1}, row["about_all"] - TEN // 2, row["about_all"] + TEN // 2 - 1)
        told.between({some: 1}, fewest)
        told.between({every: 1, some: -1}, fewest)
        if not pd.isna(row["per_hundred"]):
            # percent p is printed where 2np <= 200 some + n <= 2n(p + 1) - 1, n being all of them
            percent = int(row["per_hundred"])
            told.between({some: 200, every: 1 - 2 * percent}, 0)
            told.between({some: 200, every: -1 - 2 * percent}, high=-1)
    for whole, parts in _left_over(rows):
        told.between({_named(sheet, whole): 1} | {_named(sheet, part): -1 for part in parts}, 0)


def _quantities(now: pd.DataFrame, before: pd.DataFrame) -> Iterator[tuple[str, Terms]]:
    """Every group that might be small: what is left over (by the rules the others are not), and how each changed."""
    groups, older = _groups(now), _groups(before)
    for name, terms in groups.items():
        if name.endswith("left over"):
            yield name, _of("now", terms)
    for name, terms in groups.items():
        if name in older:
            yield name, _of("now", terms) | {count: -times for count, times in _of("before", terms).items()}


def _groups(rows: pd.DataFrame) -> dict[str, Terms]:
    """What is counted, its rest, all of it, and what is left over, by name, as sums of counts."""
    told: dict[str, Terms] = {}
    for row in rows.to_dict("records"):
        some, every = row["some"], row["all_of"]
        told |= {some: {some: 1}, f"{every} without {some}": {every: 1, some: -1}, every: {every: 1}}
    return told | {f"{whole} left over": {whole: 1} | dict.fromkeys(parts, -1) for whole, parts in _left_over(rows)}


def _of(sheet: str, terms: Terms) -> Terms:
    return {_named(sheet, count): times for count, times in terms.items()}


def touches(some: str, all_of: str) -> set[str]:
    """The groups that a number of so many out of so many says something of."""
    counts = {some, all_of}
    left = {f"{whole} left over" for whole, parts in LEFT_OVER.items() if counts & {whole, *parts}}
    return {some, all_of, f"{all_of} without {some}"} | left


def _left_over(rows: pd.DataFrame) -> Iterator[tuple[str, tuple[str, ...]]]:
    counts = set(rows["some"]) | set(rows["all_of"])
    return ((whole, parts) for whole, parts in LEFT_OVER.items() if counts.issuperset((whole, *parts)))


def _named(sheet: str, count: str) -> str:
    return f"{count} {sheet}"
