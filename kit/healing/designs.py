"""The columns of a model in which every facility has its own: kept as the number of the facility, never written out.

A column a facility would make the rows of a group of many facilities as wide as the group is long. What a round of
Newton's method needs of them is a sum over the rows of each facility, and the system of equations has no entry where
two facilities meet, so it is solved for the other columns first (Schur's complement).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from hashlib import sha256

import numpy as np

TOGETHER = 4096  # rows of one facility that are worked on at a time, so that they stay in the processor's memory
LEAST = 1e-9  # added to every curvature, so that a column of nothing has a step: none


@dataclass(frozen=True, eq=False)
class Design:
    """Rows of a model. `columns`: rows x columns, the first an intercept; `home`: the facility of each row, a number.

    Coefficients stand in this order: intercept, facilities (`homes` of them, none where there is one), the others.
    """

    columns: np.ndarray
    home: np.ndarray
    homes: int

    @property
    def width(self) -> int:
        """How many coefficients there are."""
        return self.columns.shape[1] + self.homes

    def common(self, coefficients: np.ndarray) -> np.ndarray:
        """The coefficients that are of no facility."""
        return np.concatenate([coefficients[:1], coefficients[1 + self.homes :]])

    def times(self, coefficients: np.ndarray) -> np.ndarray:
        """The sum of columns times coefficients for each row and each set of coefficients."""
        told = self.columns @ self.common(coefficients)
        if self.homes:
            told += coefficients[1 : 1 + self.homes][self.home]
        return told

    def at(self, home: int, rows: slice, coefficients: np.ndarray) -> np.ndarray:
        """The same for one of `blocks`."""
        told = self.sorted[rows] @ self.common(coefficients)
        if self.homes:
            told += coefficients[1 + home]
        return told

    def add(self, total: np.ndarray, home: int, found: np.ndarray) -> None:
        """Adds to `total` (`width` x sets) what one of `blocks` came to, column by column (columns x sets)."""
        total[0] += found[0]
        total[1 + self.homes :] += found[1:]
        if self.homes:
            total[1 + home] += found[0]

    def take(self, rows: slice | np.ndarray) -> Design:
        """Some rows alone."""
        return Design(self.columns[rows], self.home[rows], self.homes)

    def written_out(self) -> np.ndarray:
        """Every column: rows x `width`."""
        homes = self.home[:, None] == np.arange(self.homes)
        return np.column_stack([self.columns[:, :1], homes, self.columns[:, 1:]])

    @cached_property
    def order(self) -> np.ndarray:
        """The rows in the order of their facilities."""
        return np.argsort(self.home, kind="stable")

    @cached_property
    def sorted(self) -> np.ndarray:
        """`columns` in this order."""
        return self.columns[self.order]

    @cached_property
    def mark(self) -> bytes:
        """What tells these rows from any others."""
        return marked(self.columns, self.home)

    @cached_property
    def pairs(self) -> tuple[np.ndarray, np.ndarray]:
        """Every two columns, each pair once."""
        return np.triu_indices(self.columns.shape[1])

    @cached_property
    def products(self) -> np.ndarray:
        """Products of every two columns: pairs x rows in this order."""
        columns = np.ascontiguousarray(self.sorted.T)
        return columns[self.pairs[0]] * columns[self.pairs[1]]

    @cached_property
    def blocks(self) -> list[tuple[int, slice]]:
        """Facility and rows, in the order of facilities, of the pieces in which sums are taken."""
        home = self.home[self.order]
        edges = [0, *(np.flatnonzero(np.diff(home)) + 1), len(home)]
        return [
            (int(home[begin]), slice(at, min(at + TOGETHER, end)))
            for begin, end in zip(edges, edges[1:], strict=False)
            for at in range(begin, end, TOGETHER)
        ]


def plain(columns: np.ndarray) -> Design:
    """Rows of a model without columns of facilities."""
    return Design(columns, np.zeros(len(columns), dtype=np.int64), 0)


def marked(*given: np.ndarray | bytes | float | None) -> bytes:
    """What tells arrays, and the like, from any others."""
    told = sha256()
    for one in given:
        array = np.ascontiguousarray(np.nan if one is None else one)
        told.update(f"{array.shape} {array.dtype} ".encode())
        told.update(array)
    return told.digest()


class Curvature:
    """Second derivatives, added up block by block: sums of weight times column times column, for each set."""

    def __init__(self, design: Design, sets: int) -> None:
        self.design, columns = design, design.columns.shape[1]
        self.pairs = design.pairs
        self.total = np.zeros((len(self.pairs[0]), sets))
        # What a facility shares with the intercept is what it shares with itself.
        self.homes = np.zeros((design.homes, columns, sets))

    def add(self, home: int, found: np.ndarray) -> None:
        """Adds what one of the design's blocks came to: `pairs` x sets."""
        self.total += found
        if self.design.homes:
            self.homes[home] += found[: self.homes.shape[1]]

    def solve(self, right: np.ndarray, ridge: np.ndarray) -> np.ndarray:
        """What these second derivatives, and a ridge, take to `right` (`width` x sets)."""
        design, many = self.design, self.design.homes
        homes, aside = self.homes, right[1 : 1 + many]
        own = homes[:, 0] + ridge[1 : 1 + many, None] + LEAST
        leaning = homes / own[:, None]
        common = np.empty((right.shape[1], homes.shape[1], homes.shape[1]))
        common[:, self.pairs[0], self.pairs[1]] = self.total.T
        common[:, self.pairs[1], self.pairs[0]] = self.total.T
        common += np.diag(design.common(ridge) + LEAST)
        common -= leaning.transpose(2, 1, 0) @ homes.transpose(2, 0, 1)
        told = design.common(right) - np.einsum("hks,hs->ks", leaning, aside)
        told = np.linalg.solve(common, told.T[..., None])[..., 0].T
        aside = aside / own - np.einsum("hks,ks->hs", leaning, told)
        return np.concatenate([told[:1], aside, told[1:]])
