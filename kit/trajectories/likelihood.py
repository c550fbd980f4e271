"""The restricted likelihood of nested rows at given covariances, and which way it climbs.

Notation, all in units of the residual variance: the two effects of a wound have the covariance L L' with
L = [[a, 0], [b, c]]; a resident's intercept has the standard deviation r, a facility's f. Residuals, coefficients and
residual variance are profiled out (Bates, Machler, Bolker & Walker 2015, J Stat Softw 67(1), sections 3.4 and 3.5);
the inverses are had level by level (Woodbury): a wound by a 2 x 2 matrix in closed form, a resident and a facility by a
number each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve

from kit.trajectories.sums import CannotFit, Rows

PARTS = ("wound_intercept", "wound_both", "wound_week", "resident", "facility")
LEAST = 1e-10  # of a column's squares in the whole sample: keeps a draw in which it is nought from falling over


@dataclass(frozen=True, eq=False)
class Levels:
    """Everything at one set of covariances (`theta`, in the order of PARTS).

    `cross` (columns x columns): products of all columns through the inverse covariance. `log_det`: of the
    covariance; `rows` and `columns`: how many count, a column that a draw holds nobody of not among them.
    `wound_u`, `wound_w`: products of a wound's random columns with all columns, through the covariance of the wound
    alone; `uu`, `uw`, `ww` with each other. `at_resident`, `at_facility`: sums of `wound_u` over the level, through all
    levels below; `shrunk_resident`, `shrunk_facility`: 1 / (1 + variance x sum of squares).
    """

    theta: np.ndarray
    counts: np.ndarray | None
    cross: np.ndarray
    log_det: float
    rows: float
    columns: int
    wound_u: np.ndarray
    wound_w: np.ndarray
    uu: np.ndarray
    uw: np.ndarray
    ww: np.ndarray
    at_resident: np.ndarray
    at_facility: np.ndarray
    shrunk_resident: np.ndarray
    shrunk_facility: np.ndarray


def levels(rows: Rows, theta: np.ndarray, counts: np.ndarray | None = None) -> Levels:
    """The products of all columns through the inverse covariance, level by level.

    `counts`: how often each resident counts (once where left out); a resident who counts twice is two people.
    """
    a, b, c, resident, facility = theta
    uu, uw, ww = rows.uu, rows.uw, rows.ww
    k11, k12, k22 = 1 + a * a * uu + 2 * a * b * uw + b * b * ww, c * (a * uw + b * ww), 1 + c * c * ww
    # The same as k11 k22 - k12^2, without the cancelling that large covariances bring.
    det = k11 + c * c * ww + (a * c) ** 2 * np.maximum(uu * ww - uw * uw, 0.0)
    first, second = a * rows.by_u + b * rows.by_w, c * rows.by_w
    # What the wound's two effects take away: L K^-1 L' Z'[all columns].
    one, two = (k22 * first - k12 * second) / det, (k11 * second - k12 * first) / det
    effect_u, effect_w = a * one, b * one + c * two
    wound_u, wound_w = rows.by_u - uu * effect_u - uw * effect_w, rows.by_w - uw * effect_u - ww * effect_w
    weigh = None if counts is None else counts[rows.owner]
    taken = _squares(rows.by_u, effect_u, weigh) + _squares(rows.by_w, effect_w, weigh)
    at_resident = np.add.reduceat(wound_u, rows.wound_from, axis=1)
    shrunk = 1 / (1 + resident**2 * at_resident[-1])
    taken += resident**2 * _squares(at_resident, shrunk * at_resident, counts)
    up = shrunk * at_resident if counts is None else counts * shrunk * at_resident
    at_facility = np.add.reduceat(up, rows.resident_from, axis=1)
    shrunk_facility = 1 / (1 + facility**2 * at_facility[-1])
    taken += facility**2 * _squares(at_facility, shrunk_facility * at_facility, None)
    cross = rows.cross if counts is None else (counts @ rows.own_cross).reshape(rows.cross.shape)
    own_det = np.add.reduceat(np.log(det), rows.wound_from) - np.log(shrunk) + rows.whitening
    return Levels(
        theta=theta,
        counts=counts,
        cross=cross - taken,
        log_det=float((own_det if counts is None else counts * own_det).sum() - np.log(shrunk_facility).sum()),
        rows=float(len(rows.table) if counts is None else counts @ rows.sizes),
        columns=int((np.diag(cross)[: rows.columns] > 0).sum()),
        wound_u=wound_u,
        wound_w=wound_w,
        uu=wound_u[-1],
        uw=wound_w[-1],
        ww=ww - (k11 * c * c * ww * ww + k22 * (a * uw + b * ww) ** 2 - 2 * k12 * c * ww * (a * uw + b * ww)) / det,
        at_resident=at_resident,
        at_facility=at_facility,
        shrunk_resident=shrunk,
        shrunk_facility=shrunk_facility,
    )


def _squares(left: np.ndarray, right: np.ndarray, weigh: np.ndarray | None) -> np.ndarray:
    return left @ (right if weigh is None else weigh * right).T


@dataclass(frozen=True, eq=False)
class Solved:
    """At one set of covariances: coefficients, the lower Cholesky factor of their precision, and squares left over."""

    beta: np.ndarray
    factor: np.ndarray
    left_over: float

    @property
    def inverse(self) -> np.ndarray:
        """The covariance of the coefficients, in units of the residual variance."""
        return cho_solve((self.factor, True), np.eye(len(self.beta)))


def solved(rows: Rows, at: Levels) -> Solved:
    """The coefficients at given covariances. Raises CannotFit where a column has nothing left to tell it."""
    p = rows.columns
    least = 0.0 if at.counts is None else LEAST
    precision = at.cross[:p, :p] + np.diag(least * np.diag(rows.cross)[:p])
    try:
        factor = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        raise CannotFit("columns: nothing is left of one of them at these covariances") from None
    beta = cho_solve((factor, True), at.cross[:p, p])
    return Solved(beta, factor, float(max(at.cross[p, p] - beta @ at.cross[:p, p], 1e-300)))


def deviance(rows: Rows, at: Levels, found: Solved, reml: bool) -> float:
    """The REML criterion, or minus twice the log likelihood, with the residual variance profiled out."""
    number = at.rows - at.columns * reml
    told = at.log_det + number * (1 + np.log(2 * np.pi * found.left_over / number))
    return told + (2 * np.log(np.diag(found.factor)).sum() if reml else 0.0)


@dataclass(frozen=True, eq=False)
class Through:
    """Products of random columns with all columns through the whole inverse covariance, all levels in it.

    `u` and `w` of each wound, `resident` and `facility` of each of these; `own_resident` and `own_facility` with
    themselves; `shared` is what of a wound's own is taken away by the levels above it.
    """

    u: np.ndarray
    w: np.ndarray
    shared: np.ndarray
    resident: np.ndarray
    own_resident: np.ndarray
    facility: np.ndarray
    own_facility: np.ndarray


def through(rows: Rows, at: Levels) -> Through:
    """Down again, from facilities to wounds: what each level takes from those within it."""
    resident, facility = at.theta[3], at.theta[4]
    of_facility = at.shrunk_facility * at.at_facility
    above = facility**2 * of_facility[:, rows.home]
    shared_above = (facility**2 * at.shrunk_facility)[rows.home]
    shrunk, sums = at.shrunk_resident, at.at_resident
    of_resident = shrunk * (sums - sums[-1] * above)
    take = (resident**2 * of_resident + above)[:, rows.owner]
    return Through(
        u=at.wound_u - at.uu * take,
        w=at.wound_w - at.uw * take,
        shared=(resident**2 * shrunk + shrunk**2 * shared_above)[rows.owner],
        resident=of_resident,
        own_resident=shrunk * sums[-1] - (shrunk * sums[-1]) ** 2 * shared_above,
        facility=of_facility,
        own_facility=of_facility[-1],
    )


def gradient(rows: Rows, at: Levels, found: Solved, reml: bool, per_square: float) -> np.ndarray:
    """How the deviance changes with each part of `theta`.

    `per_square` is one over the residual variance: (rows less columns) over the squares left over where it is profiled
    out, or any given one.
    """
    p = rows.columns
    inner = np.zeros((p + 2, p + 2))
    inner[:p, :p] = found.inverse if reml else 0.0
    inner += per_square * np.outer(error_of(found), error_of(found))
    a, b, c, resident, facility = at.theta
    down = through(rows, at)
    of_wounds = None if at.counts is None else at.counts[rows.owner]
    uu = _left(at.uu - down.shared * at.uu**2, down.u, down.u, inner, of_wounds)
    uw = _left(at.uw - down.shared * at.uu * at.uw, down.u, down.w, inner, of_wounds)
    ww = _left(at.ww - down.shared * at.uw**2, down.w, down.w, inner, of_wounds)
    of_residents = _left(down.own_resident, down.resident, down.resident, inner, at.counts)
    of_facilities = _left(down.own_facility, down.facility, down.facility, inner, None)
    wounds = (uu * a + uw * b, uw * a + ww * b, ww * c)
    return 2 * np.array([*wounds, resident * of_residents, facility * of_facilities])


def error_of(found: Solved) -> np.ndarray:
    """What makes residuals of the columns: the response less the fitted."""
    return np.append(-found.beta, [1.0, 0.0])


def _left(own: np.ndarray, left: np.ndarray, right: np.ndarray, inner: np.ndarray, weigh: np.ndarray | None) -> float:
    """A trace: products of random columns through the inverse covariance, less what coefficients and residuals take."""
    total = own.sum() if weigh is None else weigh @ own
    return float(total - np.sum(_squares(left, right, weigh) * inner))
