"""The shares of weighted arms: rows followed from their clock on, with weights that change from week to week."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix

CAUSES = ("closed", "died", "hospital", "surgical_closure", "left")


@dataclass(frozen=True, eq=False)
class Followed:
    """Rows cut into pieces, one for each wound week they pass through, up to the horizon (days).

    `row` and `week` of each piece. `days` holds what adds pieces up by day, one below the other, each from day 0 to the
    one after the horizon: `enters` adds a piece on its first day and takes it away after its last; `ends`, one a
    cause, hold the pieces in which rows ended so.
    """

    row: np.ndarray
    week: np.ndarray
    days: csr_matrix
    horizon: int

    @property
    def enters(self) -> csr_matrix:
        """Days x pieces."""
        return self._days_of(0)

    @property
    def ends(self) -> tuple[csr_matrix, ...]:
        """Days x pieces, one a cause."""
        return tuple(self._days_of(1 + number) for number in range(len(CAUSES)))

    def _days_of(self, place: int) -> csr_matrix:
        return self.days[place * (self.horizon + 2) : (place + 1) * (self.horizon + 2)]


def follow(
    wound: np.ndarray,
    clock: np.ndarray,
    until: np.ndarray,
    cause: np.ndarray,
    weeks_wound: np.ndarray,
    weeks_begin: np.ndarray,
    horizon: int,
) -> Followed:
    """Rows followed from the day after `clock` to `until`, at most for `horizon` days.

    `wound` numbers the wound of each row; `cause` is the place in CAUSES of how it ended on `until`, or -1 where it was
    only seen so far; `weeks_wound` and `weeks_begin` are wound and first day of every wound week, in that order.
    """
    first_day = int(min(clock.min(initial=0), weeks_begin.min(initial=0)))
    # Days may lie before the day of number nought.
    clock, until, weeks_begin = clock - first_day, until - first_day, weeks_begin - first_day
    span = int(max(until.max(initial=0), weeks_begin.max(initial=0))) + 2
    key = weeks_wound.astype(np.int64) * span + weeks_begin
    last_day = np.minimum(until, clock + horizon)
    first = np.searchsorted(key, wound * span + clock + 1, side="right") - 1
    last = np.searchsorted(key, wound * span + last_day, side="right") - 1
    pieces = np.where(last_day > clock, last - first + 1, 0)
    row = np.repeat(np.arange(len(wound)), pieces)
    week = first[row] + np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    next_begins = np.append(weeks_begin[1:], span)
    begins = np.maximum(weeks_begin[week], clock[row] + 1) - clock[row]
    ends = np.minimum(np.where(week == last[row], last_day[row], next_begins[week] - 1), last_day[row]) - clock[row]
    final = (week == last[row]) & (until[row] <= clock[row] + horizon)
    return Followed(row, week, _by_day(begins, ends, np.where(final, cause[row], -1), horizon), horizon)


def take(rows: Followed, mask: np.ndarray) -> Followed:
    """The pieces of some rows alone, the rows numbered anew."""
    pieces = np.flatnonzero(mask[rows.row])
    number = np.cumsum(mask) - 1
    return Followed(number[rows.row[pieces]], rows.week[pieces], rows.days[:, pieces], rows.horizon)


def _by_day(begins: np.ndarray, ends: np.ndarray, cause: np.ndarray, horizon: int) -> csr_matrix:
    """What adds pieces up by the days they begin and end, and by the day and cause of rows that end in them."""
    piece, days = np.arange(len(begins)), horizon + 2
    final = np.flatnonzero(cause >= 0)
    value = np.concatenate([np.ones(len(piece)), -np.ones(len(piece)), np.ones(len(final))])
    day = np.concatenate([begins, ends + 1, days * (1 + cause[final]) + ends[final]])
    column = np.concatenate([piece, piece, final])
    return csr_matrix((value, (day, column)), shape=(days * (1 + len(CAUSES)), len(piece)))


@dataclass(frozen=True, eq=False)
class Shares:
    """Shares by day from 0 to the horizon, one a set: `closed` and `still` (open) days x sets; at its end `states`,
    causes x sets in the order of CAUSES."""

    closed: np.ndarray
    still: np.ndarray
    states: np.ndarray

    @property
    def spent(self) -> np.ndarray:
        """The part of the time up to the horizon that was spent closed, one a set: the area under the share closed."""
        return self.closed[:-1].mean(axis=0)


def shares(rows: Followed, base: np.ndarray, passing: np.ndarray | None = None) -> Shares:
    """The Aalen-Johansen shares of weighted rows: a row weighs `base` (rows x sets) times `passing` of its week.

    `passing` (wound weeks x sets) is one over the chance of having come so far; without it weights stay.

    Aalen & Johansen 1978, Scand J Stat 5:141; Robins & Finkelstein 2000, Biometrics 56:779, on weighting those who
    remain for those who were lost.
    """
    return sums(rows, base, passing).shares()


def sums(rows: Followed, base: np.ndarray, passing: np.ndarray | None = None) -> Sums:
    """What weighted rows come to by day: of rows that are taken a part at a time, the parts add up to the whole."""
    weight = base.take(rows.row, axis=0)
    if passing is not None:
        weight *= passing.take(rows.week, axis=0)
    return Sums((rows.days @ weight).reshape(1 + len(CAUSES), rows.horizon + 2, -1))


@dataclass(frozen=True, eq=False)
class Sums:
    """Weights by day: those who enter less those who were followed no further, then ends by cause: x days x sets."""

    days: np.ndarray

    def __add__(self, other: Sums) -> Sums:
        return Sums(self.days + other.days)

    def shares(self) -> Shares:
        """The shares of all that was added up."""
        hazards = self.days[1:, :-1].copy()
        at_risk = np.cumsum(self.days[0], axis=0)[:-1]
        np.divide(hazards, at_risk, out=hazards, where=at_risk > 1e-9)
        still = np.cumprod(1 - np.minimum(hazards.sum(axis=0), 1), axis=0)
        before = np.vstack([np.ones((1, still.shape[1])), still[:-1]])
        grown = np.cumsum(hazards * before, axis=1)
        return Shares(grown[0], still, grown[:, -1])
