"""Nested mixed models as slowly as they can be said: the covariance of all rows, entry by entry, and its inverse.

Nothing here is fast, or shared with kit.trajectories.

1. Two rows of one wound go together by the covariance of its intercept and slope, and by the random walk they share:
   the weeks from the wound's first row to the earlier of the two. Of one resident, or facility, by its variance; a row
   with itself by the residual variance too.
2. Coefficients are generalized least squares (Aitken 1936, Proc R Soc Edinb 55:42).
3. The restricted deviance is that of contrasts free of the coefficients, but for a constant (Harville 1974, Biometrika
   61:383), as lme4 prints it.
4. Effects are predicted, and their errors had, from the same inverse (Henderson 1975, Biometrics 31:423).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log, pi

import numpy as np


@dataclass(frozen=True, eq=False)
class Table:
    """Rows; `week`, `resident` and `facility` are None where the model does not know them."""

    y: np.ndarray
    x: np.ndarray
    week: np.ndarray | None
    wound: np.ndarray
    resident: np.ndarray | None = None
    facility: np.ndarray | None = None

    def at(self, rows: np.ndarray) -> Table:
        """Some of the rows, in the order asked for."""
        picked = (self.y, self.x, self.week, self.wound, self.resident, self.facility)
        return Table(*(None if column is None else column[rows] for column in picked))


@dataclass(frozen=True)
class Spreads:
    """Variances and covariances in units of the residual variance, slopes per week."""

    intercept: float
    both: float = 0.0
    slope: float = 0.0
    resident: float = 0.0
    facility: float = 0.0
    walk: float = 0.0


def spreads_at(theta: np.ndarray, week_unit: float, walk: float = 0.0) -> Spreads:
    """What kit's relative parts stand for: [[a, 0], [b, c]] times itself, and the squares of the others."""
    a, b, c, resident, facility = theta
    return Spreads(a * a, a * b / week_unit, (b * b + c * c) / week_unit**2, resident**2, facility**2, walk)


# --- the covariance ------------------------------------------------------------------------------------------------


PIECES = ("intercept", "both", "slope", "resident", "facility", "walk")


def covariance(table: Table, spreads: Spreads) -> np.ndarray:
    told = np.eye(len(table.y))
    for name, piece in zip(PIECES, pieces(table), strict=True):
        told = told + getattr(spreads, name) * piece
    return told


@lru_cache(maxsize=100)
def pieces(table: Table) -> np.ndarray:
    """What each variance adds to the covariance of every two rows: pieces x rows x rows."""
    size = len(table.y)
    told = np.zeros((len(PIECES), size, size))
    for i in range(size):
        for j in range(size):
            told[:, i, j] = shared(table, i, j)
    return told


def shared(table: Table, i: int, j: int) -> list[float]:
    """What two rows share, in the order of PIECES."""
    told = [0.0] * len(PIECES)
    if table.wound[i] == table.wound[j]:
        first, second = week_of(table, i), week_of(table, j)
        told[:3] = [1.0, first + second, first * second]
        told[5] = min(first, second) - begins(table, i)
    told[3] = float(table.resident is not None and table.resident[i] == table.resident[j])
    told[4] = float(table.facility is not None and table.facility[i] == table.facility[j])
    return told


def week_of(table: Table, row: int) -> float:
    return 0.0 if table.week is None else float(table.week[row])


def begins(table: Table, row: int) -> float:
    """The first week of the row's wound."""
    return min(week_of(table, other) for other in range(len(table.y)) if table.wound[other] == table.wound[row])


# --- what is had from it -------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Dense:
    """Generalized least squares: everything in units of the residual variance, which is profiled out."""

    inverse: np.ndarray  # of the covariance of the rows
    log_det: float
    beta: np.ndarray
    errors: np.ndarray  # the covariance of the coefficients
    residuals: np.ndarray
    left_over: float


def dense(table: Table, spreads: Spreads) -> Dense:
    told = covariance(table, spreads)
    inverse = np.linalg.inv(told)
    errors = np.linalg.inv(table.x.T @ inverse @ table.x)
    beta = errors @ (table.x.T @ inverse @ table.y)
    residuals = table.y - table.x @ beta
    left_over = float(residuals @ inverse @ residuals)
    return Dense(inverse, np.linalg.slogdet(told)[1], beta, errors, residuals, left_over)


def dense_deviance(table: Table, spreads: Spreads, reml: bool, variance: float | None = None) -> float:
    """The deviance at a residual variance, or at the best one."""
    found = dense(table, spreads)
    number = len(table.y) - table.x.shape[1] * reml
    variance = found.left_over / number if variance is None else variance
    told = number * log(2 * pi * variance) + found.log_det + found.left_over / variance
    return told - np.linalg.slogdet(found.errors)[1] if reml else told


def without_columns(table: Table, found: Dense) -> np.ndarray:
    """The inverse covariance, less what the coefficients take: what is left of rows once they are estimated."""
    taken = found.inverse @ table.x
    return found.inverse - taken @ found.errors @ taken.T


def effects_of(table: Table, spreads: Spreads, kind: str, name: object) -> np.ndarray:
    """Covariances of an effect with every row: of a wound its intercept and slope, of the others their intercept."""
    rows = range(len(table.y))
    if kind != "wound":
        inside = [float(getattr(table, kind)[row] == name) for row in rows]
        return np.array([inside]) * getattr(spreads, kind)
    inside = [float(table.wound[row] == name) for row in rows]
    weeks = [week_of(table, row) for row in rows]
    own = np.array([[spreads.intercept, spreads.both], [spreads.both, spreads.slope]])
    return own @ np.array([inside, [one * week for one, week in zip(inside, weeks, strict=True)]])
