"""What a nested mixed model needs of its rows: sums over each wound, made once, from which every fit is had."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array

from kit.trajectories.walk import whitened


class CannotFit(ValueError):
    """The rows cannot tell what the model asks; the message says what is missing."""


ALIKE = 1e-9  # of a column's squares; what is left of it beside the columns before says no more than rounding
EXACT = 1e-12  # of the squares of the response less its ordinary least squares: below it lies rounding


@dataclass(frozen=True, eq=False)
class Rows:
    """Sums over the rows of each wound; wounds stand in the order of facility, resident and wound.

    `names` are the columns that are estimated, `dropped` those that others already say. `uu`, `uw`, `ww` (a value a
    wound) are the sums of squares and products of its two random columns u (intercept) and w (week, in units of
    `week_unit`); `by_u` and `by_w` (columns x wounds) their products with every column; columns are those estimated,
    then the response less its `ordinary` least squares, then u. `wound_from` and `resident_from` say where each
    resident's wounds, and each facility's residents, begin. `table` holds the rows themselves, `row_from` where each
    wound's begin.
    """

    names: tuple[str, ...]
    dropped: tuple[str, ...]
    wounds: np.ndarray
    residents: np.ndarray
    facilities: np.ndarray
    wound_from: np.ndarray
    resident_from: np.ndarray
    row_from: np.ndarray
    table: np.ndarray
    uu: np.ndarray
    uw: np.ndarray
    ww: np.ndarray
    by_u: np.ndarray
    by_w: np.ndarray
    ordinary: np.ndarray
    response: float  # the sum of its squares
    week_unit: float
    free: tuple[bool, ...]  # which parts of the covariance are estimated: see likelihood.PARTS
    whitening: np.ndarray  # a resident's share of the log determinant that the weekly walk takes
    week: np.ndarray  # of each row

    @property
    def columns(self) -> int:
        """How many columns are estimated."""
        return len(self.names)

    @cached_property
    def owner(self) -> np.ndarray:
        """The number of the resident of each wound."""
        return np.repeat(np.arange(len(self.residents)), np.diff(np.append(self.wound_from, len(self.wounds))))

    @cached_property
    def home(self) -> np.ndarray:
        """The number of the facility of each resident."""
        return np.repeat(np.arange(len(self.facilities)), np.diff(np.append(self.resident_from, len(self.residents))))

    @cached_property
    def sizes(self) -> np.ndarray:
        """How many rows each resident has."""
        counts = np.diff(np.append(self.row_from, len(self.table)))
        return np.add.reduceat(counts, self.wound_from)

    @cached_property
    def cross(self) -> np.ndarray:
        """Products of all columns with each other, over all rows."""
        return self.table.T @ self.table

    @cached_property
    def own_cross(self) -> np.ndarray:
        """The same of each resident: residents x products. For resampling, where each resident counts differently."""
        width = self.table.shape[1]
        told = np.empty((len(self.residents), width, width))
        for rows, products in zip(np.split(self.table, self.row_from[self.wound_from[1:]]), told, strict=True):
            np.matmul(rows.T, rows, out=products)
        return told.reshape(len(told), -1)


def nested(
    y: np.ndarray,
    x: np.ndarray,
    week: np.ndarray | None,
    wound: np.ndarray,
    resident: np.ndarray | None = None,
    facility: np.ndarray | None = None,
    names: Sequence[str] = (),
    walk: float = 0.0,
) -> Rows:
    """The sums of rows that are nested in wounds, these in residents, and these in facilities.

    `y` the response; `x` rows x columns; `week` of each row, in which each wound has a slope of its own, or None for
    wounds that differ in their intercept alone; `wound`, `resident` and `facility` label each row; without one of the
    latter two it has no intercept of its own. `walk` is the variance that a weekly random walk adds in a week, in units
    of the residual variance. A level that coincides with the one below (every resident has one wound), or that has one
    member, is left out: nothing could tell it.

    Raises CannotFit where the rows cannot tell how wounds differ, or a wound lies in two residents or facilities.
    """
    y, x = np.asarray(y, float), np.asarray(x, float)
    wandering = np.zeros(len(y)) if week is None else np.asarray(week, float)
    _refuse(y, x, wandering)
    labels = [np.asarray(label) if label is not None else None for label in (facility, resident, wound)]
    codes = [np.zeros(len(y), int) if label is None else np.unique(label, return_inverse=True)[1] for label in labels]
    codes[1] = codes[2] if resident is None else codes[1]
    order = np.lexsort((wandering, *codes[::-1]))
    begins = [_begins(np.column_stack([code[order] for code in codes[: place + 1]])) for place in range(3)]
    _refuse_split(begins, labels)
    kept, names = independent(x), tuple(names) or tuple(f"x{number}" for number in range(x.shape[1]))
    ordinary = _ordinary(x[:, kept], y)
    unit = float(np.sqrt(np.mean(wandering**2))) or 1.0
    table = np.column_stack([x[:, kept], y - x[:, kept] @ ordinary, np.ones(len(y)), wandering / unit])[order]
    slopes = _refuse_untold(table[:, -1], begins[2])
    _refuse_exact(table, begins[2])
    rows = Rows(
        names=tuple(name for name, stays in zip(names, kept, strict=True) if stays),
        dropped=tuple(name for name, stays in zip(names, kept, strict=True) if not stays),
        facilities=(codes[0] if facility is None else labels[0])[order][begins[0]],
        residents=(labels[2] if resident is None else labels[1])[order][begins[1]],
        wounds=labels[2][order][begins[2]],
        wound_from=np.searchsorted(begins[2], begins[1]),
        resident_from=np.searchsorted(begins[1], begins[0]),
        row_from=begins[2],
        ordinary=ordinary,
        response=float(y @ y),
        week_unit=unit,
        free=(True, slopes, slopes, *_told_apart([len(each) for each in begins])),
        whitening=np.zeros(len(begins[1])),
        week=wandering[order],
        **_summed(table, begins[2]),
    )
    return with_walk(rows, walk)


def with_walk(rows: Rows, walk: float) -> Rows:
    """Rows made without a walk, with one beneath them that adds this variance in a week."""
    if not walk:
        return rows
    table = np.column_stack([rows.table, rows.week / rows.week_unit])
    table, taken = whitened(table, rows.week, rows.row_from, walk)
    return replace(rows, whitening=np.add.reduceat(taken, rows.wound_from), **_summed(table, rows.row_from))


def _summed(table: np.ndarray, begins: np.ndarray) -> dict[str, np.ndarray]:
    """The products of each wound's two random columns, which stand last, with all columns."""
    first, second = table[:, -2:].T
    kept = np.ascontiguousarray(table[:, :-1])
    by_u, by_w = (np.add.reduceat(kept * each[:, None], begins, axis=0).T for each in (first, second))
    return {
        "table": kept,
        "uu": by_u[-1],
        "uw": by_w[-1],
        "ww": np.add.reduceat(second**2, begins),
        "by_u": np.ascontiguousarray(by_u),
        "by_w": np.ascontiguousarray(by_w),
    }


@dataclass(frozen=True, eq=False)
class Counted:
    """What of `Rows` a likelihood is had from, each resident counting so often; who does not count is left out.

    `sums` (residents x wounds) adds up what wounds of a resident have; np.add.reduceat takes five times as long.
    `times`: how often each resident counts, None where all count once; `root`: the root of that for each wound;
    `cross` of all columns as they count, `number` of rows as they count. All else as in `Rows`.
    """

    uu: np.ndarray
    uw: np.ndarray
    ww: np.ndarray
    by_u: np.ndarray
    by_w: np.ndarray
    wound_from: np.ndarray
    resident_from: np.ndarray
    owner: np.ndarray
    home: np.ndarray
    sums: csr_array
    whitening: np.ndarray
    times: np.ndarray | None
    root: np.ndarray | None
    cross: np.ndarray
    number: float


def crosses(rows: Rows, counts: np.ndarray) -> np.ndarray:
    """The products of all columns in each draw (residents x draws): one product of matrices for all of them."""
    return (counts.T @ rows.own_cross).reshape(-1, *rows.cross.shape)


def counted(rows: Rows, counts: np.ndarray | None = None, cross: np.ndarray | None = None) -> Counted:
    """The sums of rows with `counts` of each resident; a resident who counts twice is two people.

    `cross`: the products of all columns as they count, where they are known from `crosses`.
    """
    if counts is None:
        names = ("uu", "uw", "ww", "by_u", "by_w", "wound_from", "resident_from", "owner", "home", "whitening", "cross")
        own = {name: getattr(rows, name) for name in names}
        sums = _adding(rows.wound_from, len(rows.wounds))
        return Counted(**own, sums=sums, times=None, root=None, number=float(len(rows.table)))
    people = np.flatnonzero(counts)
    wounds = np.flatnonzero(counts[rows.owner])
    wound_from, owner = _numbered(rows.owner[wounds])
    resident_from, home = _numbered(rows.home[people])
    return Counted(
        uu=rows.uu[wounds],
        uw=rows.uw[wounds],
        ww=rows.ww[wounds],
        by_u=rows.by_u.take(wounds, axis=1),
        by_w=rows.by_w.take(wounds, axis=1),
        wound_from=wound_from,
        resident_from=resident_from,
        owner=owner,
        home=home,
        sums=_adding(wound_from, len(wounds)),
        whitening=rows.whitening[people],
        times=counts[people],
        root=np.sqrt(counts[people])[owner],
        cross=crosses(rows, counts)[0] if cross is None else cross,
        number=float(counts @ rows.sizes),
    )


def _adding(begins: np.ndarray, members: int) -> csr_array:
    """Groups x members: one where a member belongs to the group."""
    return csr_array((np.ones(members), np.arange(members), np.append(begins, members)), (len(begins), members))


def some(rows: Rows, residents: int) -> Rows:
    """The rows of the residents at as many places, evenly spread: enough to begin a large fit from."""
    picked = np.unique(np.linspace(0, len(rows.residents) - 1, residents).astype(int))
    wounds = np.flatnonzero(np.isin(rows.owner, picked))
    begins = np.append(rows.row_from, len(rows.table))
    counts = np.diff(begins)[wounds]
    first = np.cumsum(counts) - counts
    row = np.arange(counts.sum()) + np.repeat(begins[wounds] - first, counts)
    home = rows.home[picked]
    return replace(
        rows,
        wounds=rows.wounds[wounds],
        residents=rows.residents[picked],
        facilities=rows.facilities[np.unique(home)],
        wound_from=_begins(rows.owner[wounds]),
        resident_from=_begins(home),
        row_from=first,
        table=rows.table[row],
        uu=rows.uu[wounds],
        uw=rows.uw[wounds],
        ww=rows.ww[wounds],
        by_u=np.ascontiguousarray(rows.by_u[:, wounds]),
        by_w=np.ascontiguousarray(rows.by_w[:, wounds]),
        whitening=rows.whitening[picked],
        week=rows.week[row],
    )


def _refuse(y: np.ndarray, x: np.ndarray, week: np.ndarray) -> None:
    if x.shape[0] <= x.shape[1] or not x.shape[1]:
        raise CannotFit(f"rows: {x.shape[0]} measurements cannot tell {x.shape[1]} columns")
    if not (np.isfinite(y).all() and np.isfinite(x).all() and np.isfinite(week).all()):
        raise CannotFit("rows: a value is missing or infinite; leave the row out")


def _begins(codes: np.ndarray) -> np.ndarray:
    """Where a group begins: its own code changes, or that of a level above it."""
    codes = codes.reshape(len(codes), -1)
    return np.flatnonzero((np.diff(codes, axis=0, prepend=codes[:1] - 1) != 0).any(axis=1))


def _numbered(codes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Where each group of sorted codes begins, and the number of each one's group."""
    new = np.diff(codes, prepend=codes[:1] - 1) != 0
    return np.flatnonzero(new), np.cumsum(new) - 1


def _refuse_split(begins: list[np.ndarray], labels: list) -> None:
    for place, name in ((1, "resident"), (2, "wound")):
        if labels[place] is not None and len(begins[place]) != len(np.unique(labels[place])):
            raise CannotFit(f"nested: a {name} lies in two groups of the level above; name it apart in each")


def _refuse_untold(week: np.ndarray, begins: np.ndarray) -> bool:
    """Whether some wound was measured in several weeks, so that it has a slope; refused where none tells its error."""
    counts = np.diff(np.append(begins, len(week)))
    slopes = bool((np.maximum.reduceat(week, begins) > np.minimum.reduceat(week, begins)).any())
    if len(counts) < 2:
        raise CannotFit("wounds: one alone does not tell how wounds differ")
    if np.maximum(counts - 1 - slopes, 0).sum() < 2:
        raise CannotFit(f"wounds: too few have more than {1 + slopes} measurements to tell how a course strays")
    return slopes


def _refuse_exact(table: np.ndarray, begins: np.ndarray) -> None:
    """Refused where every wound lies on a line of its own: sizes written again tell no error to measure slopes by."""
    y, u, w = table[:, -3:].T
    uu, uw, ww, uy, wy, yy = (np.add.reduceat(left * right, begins)
                              for left, right in ((u, u), (u, w), (w, w), (u, y), (w, y), (y, y)))  # fmt: skip
    spread, along = ww - uw**2 / uu, wy - uw * uy / uu
    line = np.divide(along**2, spread, out=np.zeros(len(uu)), where=spread > ALIKE * ww)
    if np.maximum(yy - uy**2 / uu - line, 0).sum() < EXACT * yy.sum():
        raise CannotFit("rows: sizes of a wound never stray from a line, so nothing tells how sure a slope is")


def _told_apart(members: list[int]) -> tuple[bool, bool]:
    """Whether residents, and facilities, are several and fewer than what lies within them."""
    facilities, residents, wounds = members
    return 1 < residents < wounds, 1 < facilities < residents


def _ordinary(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Ordinary least squares: taken off beforehand, so that a response far from nought loses no digits."""
    scale = np.sqrt(np.sum(x**2, axis=0))
    return np.linalg.solve(x.T @ x / np.outer(scale, scale), x.T @ y / scale) / scale


def independent(x: np.ndarray) -> np.ndarray:
    """Which columns say something that the columns before them do not (Cholesky, in the order of columns)."""
    squares = x.T @ x
    scale = np.sqrt(np.maximum(np.diag(squares), 1e-300))
    left = squares / np.outer(scale, scale)
    kept = np.zeros(len(left), dtype=bool)
    for column in range(len(left)):
        if np.diag(squares)[column] <= 0 or left[column, column] < ALIKE:
            continue
        kept[column] = True
        left = left - np.outer(left[:, column], left[column]) / left[column, column]
    return kept
