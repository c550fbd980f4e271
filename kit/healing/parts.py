"""A comparison cut into parts of whole wounds, so that what is worked on at a time fits a processor's memory."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_matrix

from kit.healing.contrasts import Followed
from kit.healing.designs import Design
from kit.healing.emulation import WAYS, Layout, Rows
from kit.healing.reductions import Early

KNOWN = ["wound", "facility", "begins", "starts"]  # of the weeks of a part; all else is in its arrays
AT_ONCE = 4096  # weeks of a part, or one facility's where it has fewer


@dataclass(frozen=True, eq=False)
class Question:
    """One comparison asked: what was started, beside what, and the trial rows of both."""

    treated: str
    beside: str
    first: np.ndarray  # of the starters
    second: np.ndarray | None  # of the starters, where regimen stands beside regimen
    rows: tuple[Rows, Rows]
    names: tuple[str, ...]

    @property
    def weeks(self) -> tuple[np.ndarray, np.ndarray]:
        """The weeks of the rows of both."""
        return self.rows[0].week, self.rows[1].week

    @property
    def key(self) -> str:
        return f"{self.treated} / {self.beside}"


@dataclass(frozen=True, eq=False)
class Part:
    """Some wounds of one facility: weeks and rows are numbered anew, `people` are numbers of the whole's residents.

    `staying` and `designs` are the rows of the start model and of each question's, standardized as in the whole.
    """

    home: str
    people: np.ndarray
    layout: Layout
    staying: Design
    asked: list[Question]
    designs: list[Design]


def cut(layout: Layout, asked: list[Question], begun: dict, ways: tuple[str, ...] = WAYS) -> list[Part]:
    """The parts of a comparison, facility by facility, to be followed in some of the WAYS.

    `begun` holds the designs of the whole.
    """
    place = _places(layout)
    many = int(place.max(initial=-1)) + 1
    members = _members(place, many)
    number = np.empty(len(place), dtype=np.int64)
    for weeks in members:
        number[weeks] = np.arange(len(weeks))
    done: dict[int, list[Rows]] = {}

    def split(rows: Rows) -> list[Rows]:
        """The same rows stand on a side of several questions: they are cut once."""
        if id(rows) not in done:
            done[id(rows)] = _split(rows, place, number, many, ways)
        return done[id(rows)]

    starters, others = split(layout.starters), split(layout.others)
    masks = [
        tuple(None if mask is None else _spread(mask, layout.starters, place, many) for mask in (one.first, one.second))
        for one in asked
    ]
    sides = [tuple(split(rows) for rows in one.rows) for one in asked]
    staying, elsewhere = (_members(place[rows], many) for rows in (layout.staying, layout.elsewhere))
    model = begun["staying", "design"]
    designs = [
        [begun[one.key, "design"].take(rows) for rows in _members(place[np.concatenate(one.weeks)], many)]
        for one in asked
    ]
    told, known = [], layout.weeks[KNOWN]
    for own, weeks in enumerate(members):
        people, owner = np.unique(layout.owner[weeks], return_inverse=True)
        piece = replace(
            layout,
            weeks=known.iloc[weeks].reset_index(drop=True),
            people=layout.people[people],
            owner=owner,
            first=number[layout.first[weeks]],
            starters=starters[own],
            others=others[own],
            staying=number[layout.staying[staying[own]]],
            elsewhere=number[layout.elsewhere[elsewhere[own]]],
            leaving=layout.leaving[weeks],
        )
        questions = [
            replace(one, first=mask[0][own], second=mask[1] and mask[1][own], rows=(both[0][own], both[1][own]))
            for one, mask, both in zip(asked, masks, sides, strict=True)
        ]
        told.append(
            Part(
                piece.weeks["facility"].iloc[0], people, piece, model.take(staying[own]), questions,
                [design[own] for design in designs],
            )
        )  # fmt: skip
    return told


def _places(layout: Layout) -> np.ndarray:
    """The part of each week: facilities in alphabetical order, cut between wounds."""
    homes, home = np.unique(layout.weeks["facility"].to_numpy(dtype=str), return_inverse=True)
    place, last = np.empty(len(home), dtype=np.int64), 0
    for number in range(len(homes)):
        weeks = np.flatnonzero(home == number)
        first = layout.first[weeks]
        begins = np.searchsorted(first, first)  # where the wound of each week begins, among these weeks
        pieces = begins // AT_ONCE
        place[weeks] = last + pieces
        last += int(pieces[-1]) + 1
    return np.unique(place, return_inverse=True)[1]


def _members(place: np.ndarray, many: int) -> list[np.ndarray]:
    """The rows of each part, in their order."""
    order = np.argsort(place, kind="stable")
    return np.split(order, np.searchsorted(place[order], np.arange(1, many)))


def _spread(mask: np.ndarray, rows: Rows, place: np.ndarray, many: int) -> list[np.ndarray]:
    return [mask[own] for own in _members(place[rows.week], many)]


def _split(rows: Rows, place: np.ndarray, number: np.ndarray, many: int, named: tuple[str, ...]) -> list[Rows]:
    """The rows of each part, with rows and weeks numbered anew."""
    members = _members(place[rows.week], many)
    anew = np.empty(len(rows.week), dtype=np.int64)
    for own in members:
        anew[own] = np.arange(len(own))
    ways = {name: _split_followed(rows.ways[name], place, number, anew, many) for name in named}
    early = rows.early
    return [
        Rows(
            number[rows.week[own]],
            rows.whole[own],
            {name: way[at] for name, way in ways.items()},
            Early(early.day, number[early.week[own]], early.known[own], early.left[own], early.percent),
        )
        for at, own in enumerate(members)
    ]


def _split_followed(
    way: Followed, place: np.ndarray, number: np.ndarray, anew: np.ndarray, many: int
) -> list[Followed]:
    members = _members(place[way.week], many)
    column = np.empty(len(way.week), dtype=np.int64)
    for own in members:
        column[own] = np.arange(len(own))
    days = _columns_of(way.days, place[way.week], column, [len(own) for own in members])
    return [
        Followed(anew[way.row[own]], number[way.week[own]], days[at], way.horizon) for at, own in enumerate(members)
    ]


def _columns_of(matrix: csr_matrix, place: np.ndarray, column: np.ndarray, sizes: list[int]) -> list[csr_matrix]:
    """A matrix cut into the columns of each part: laid one below the other, so that each is a piece of the rows."""
    days, told = matrix.shape[0], matrix.tocoo()
    below = csr_matrix(
        (told.data, (place[told.col] * days + told.row, column[told.col])), shape=(len(sizes) * days, max(sizes))
    )
    edges = below.indptr[::days]
    return [
        csr_matrix(
            (below.data[begin:end], below.indices[begin:end], below.indptr[at * days : (at + 1) * days + 1] - begin),
            shape=(days, size),
        )
        for at, (size, begin, end) in enumerate(zip(sizes, edges, edges[1:], strict=False))
    ]
