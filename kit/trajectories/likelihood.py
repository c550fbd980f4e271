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
from scipy.linalg.lapack import dpotrs

from kit.trajectories.sums import CannotFit, Counted, Rows, counted

PARTS = ("wound_intercept", "wound_both", "wound_week", "resident", "facility")
LEAST = 1e-10  # of a column's squares in the whole sample: keeps a draw in which it is nought from falling over


@dataclass(frozen=True, eq=False)
class Levels:
    """Everything at one set of covariances (`theta`, in the order of PARTS).

    `of`: the sums it is had from. `cross` (columns x columns): products of all columns through the inverse covariance.
    `log_det`: of the covariance; `rows` and `columns`: how many count, a column that a draw holds nobody of not among
    them. `wound` (2 x columns x wounds): products of a wound's random columns, u and w, with all columns, through the
    covariance of the wound alone; `uu`, `uw`, `ww` with each other. `at_resident`, `at_facility`: sums of those of u
    over the level, through all levels below; `shrunk_resident`, `shrunk_facility`: 1 / (1 + variance x sum of squares).
    """

    theta: np.ndarray
    of: Counted
    cross: np.ndarray
    log_det: float
    rows: float
    columns: int
    wound: np.ndarray
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
    return levels_of(counted(rows, counts), theta, rows.columns)


def levels_of(own: Counted, theta: np.ndarray, columns: int) -> Levels:
    """The same of rows that are counted already; `columns` of them are estimated."""
    a, b, c, resident, facility = theta
    uu, uw, ww, times = own.uu, own.uw, own.ww, own.times
    k11, k12, k22 = 1 + a * a * uu + 2 * a * b * uw + b * b * ww, c * (a * uw + b * ww), 1 + c * c * ww
    # The same as k11 k22 - k12^2, without the cancelling that large covariances bring.
    det = k11 + c * c * ww + (a * c) ** 2 * np.maximum(uu * ww - uw * uw, 0.0)
    wound = np.empty((2, *own.by_u.shape))
    both, second = a * b, b * b + c * c
    _mixed(own, (1 + both * uw + second * ww) / det, -(both * uu + second * uw) / det, wound[0])
    _mixed(own, -(a * a * uw + both * ww) / det, (1 + a * a * uu + both * uw) / det, wound[1])
    at_resident = np.ascontiguousarray((own.sums @ wound[0].T).T)
    shrunk = 1 / (1 + resident**2 * at_resident[-1])
    often = shrunk if times is None else times * shrunk
    at_facility = np.add.reduceat(often * at_resident, own.resident_from, axis=1)
    shrunk_facility = 1 / (1 + facility**2 * at_facility[-1])
    taken = _taken_by_wounds(own, theta, k11, k12, det)
    taken += _squares(resident * np.sqrt(often) * at_resident)
    taken += _squares(facility * np.sqrt(shrunk_facility) * at_facility)
    own_det = np.add.reduceat(np.log(det), own.wound_from) - np.log(shrunk) + own.whitening
    return Levels(
        theta=theta,
        of=own,
        cross=own.cross - taken,
        log_det=float((own_det if times is None else times * own_det).sum() - np.log(shrunk_facility).sum()),
        rows=own.number,
        columns=int((np.diag(own.cross)[:columns] > 0).sum()),
        wound=wound,
        uu=wound[0, -1],
        uw=wound[1, -1],
        ww=ww - (k11 * c * c * ww * ww + k22 * (a * uw + b * ww) ** 2 - 2 * k12 * c * ww * (a * uw + b * ww)) / det,
        at_resident=at_resident,
        at_facility=at_facility,
        shrunk_resident=shrunk,
        shrunk_facility=shrunk_facility,
    )


def _mixed(own: Counted, of_u: np.ndarray, of_w: np.ndarray, out: np.ndarray) -> None:
    """So much of both of a wound's random columns, in their products with all columns."""
    np.multiply(own.by_u, of_u, out=out)
    out += of_w * own.by_w


def _taken_by_wounds(own: Counted, theta: np.ndarray, k11: np.ndarray, k12: np.ndarray, det: np.ndarray) -> np.ndarray:
    """What wounds' two effects take away: the squares of K^-1/2 L' Z'[all columns], K being I + L' Z'Z L."""
    a, b, c = theta[:3]
    root = 1.0 if own.root is None else own.root
    # K = C C', C lower: its inverse takes first a by_u + b by_w, then c by_w less its share of the first.
    one, other, lean = root / np.sqrt(k11), root * np.sqrt(k11 / det), k12 / k11
    columns, wounds = own.by_u.shape
    apart = np.empty((columns, 2 * wounds))
    _mixed(own, a * one, b * one, apart[:, :wounds])
    _mixed(own, -a * lean * other, (c - b * lean) * other, apart[:, wounds:])
    return _squares(apart)


def _squares(columns: np.ndarray) -> np.ndarray:
    return columns @ columns.T


@dataclass(frozen=True, eq=False)
class Solved:
    """At one set of covariances: coefficients, the lower Cholesky factor of their precision, and squares left over."""

    beta: np.ndarray
    factor: np.ndarray
    left_over: float

    @property
    def inverse(self) -> np.ndarray:
        """The covariance of the coefficients, in units of the residual variance."""
        return dpotrs(self.factor, np.eye(len(self.beta)), lower=True)[0]


def solved(rows: Rows, at: Levels) -> Solved:
    """The coefficients at given covariances. Raises CannotFit where a column has nothing left to tell it."""
    p = rows.columns
    least = 0.0 if at.of.times is None else LEAST
    precision = at.cross[:p, :p] + np.diag(least * np.diag(rows.cross)[:p])
    try:
        factor = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        raise CannotFit("columns: nothing is left of one of them at these covariances") from None
    beta = dpotrs(factor, at.cross[:p, p], lower=True)[0]
    return Solved(beta, factor, float(max(at.cross[p, p] - beta @ at.cross[:p, p], 1e-300)))


def deviance(rows: Rows, at: Levels, found: Solved, reml: bool) -> float:
    """The REML criterion, or minus twice the log likelihood, with the residual variance profiled out."""
    number = at.rows - at.columns * reml
    told = at.log_det + number * (1 + np.log(2 * np.pi * found.left_over / number))
    return told + (2 * np.log(np.diag(found.factor)).sum() if reml else 0.0)


@dataclass(frozen=True, eq=False)
class Through:
    """Products of random columns with all columns through the whole inverse covariance, all levels in it.

    `wound` (2 x columns x wounds) of u and w of each wound, `resident` and `facility` of each of these; `own_resident`
    and `own_facility` with themselves; `shared` is what of a wound's own is taken away by the levels above it.
    """

    wound: np.ndarray
    shared: np.ndarray
    resident: np.ndarray
    own_resident: np.ndarray
    facility: np.ndarray
    own_facility: np.ndarray


def through(at: Levels) -> Through:
    """Down again, from facilities to wounds: what each level takes from those within it."""
    own, resident, facility = at.of, at.theta[3], at.theta[4]
    of_facility = at.shrunk_facility * at.at_facility
    above = facility**2 * of_facility.take(own.home, axis=1)
    shared_above = (facility**2 * at.shrunk_facility)[own.home]
    shrunk, sums = at.shrunk_resident, at.at_resident
    of_resident = shrunk * (sums - sums[-1] * above)
    take = (resident**2 * of_resident + above).take(own.owner, axis=1)
    wound = np.empty_like(at.wound)
    for own_sums, share, out in zip(at.wound, (at.uu, at.uw), wound, strict=True):
        np.subtract(own_sums, np.multiply(share, take, out=out), out=out)
    return Through(
        wound=wound,
        shared=(resident**2 * shrunk + shrunk**2 * shared_above)[own.owner],
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
    p, own = rows.columns, at.of
    inner = np.zeros((p + 2, p + 2))
    inner[:p, :p] = found.inverse if reml else 0.0
    inner += per_square * np.outer(error_of(found), error_of(found))
    a, b, c, resident, facility = at.theta
    down = through(at)
    of_wounds = None if own.times is None else own.times[own.owner]
    wound = down.wound if own.root is None else np.multiply(own.root, down.wound, out=down.wound)
    squares = _squares(wound.reshape(2 * (p + 2), -1)).reshape(2, p + 2, 2, p + 2)
    uu = _left(at.uu - down.shared * at.uu**2, squares[0, :, 0], inner, of_wounds)
    uw = _left(at.uw - down.shared * at.uu * at.uw, squares[0, :, 1], inner, of_wounds)
    ww = _left(at.ww - down.shared * at.uw**2, squares[1, :, 1], inner, of_wounds)
    people = down.resident if own.times is None else np.sqrt(own.times) * down.resident
    of_residents = _left(down.own_resident, _squares(people), inner, own.times)
    of_facilities = _left(down.own_facility, _squares(down.facility), inner, None)
    wounds = (uu * a + uw * b, uw * a + ww * b, ww * c)
    return 2 * np.array([*wounds, resident * of_residents, facility * of_facilities])


def error_of(found: Solved) -> np.ndarray:
    """What makes residuals of the columns: the response less the fitted."""
    return np.append(-found.beta, [1.0, 0.0])


def _left(own: np.ndarray, squares: np.ndarray, inner: np.ndarray, weigh: np.ndarray | None) -> float:
    """A trace: products of random columns through the inverse covariance, less what coefficients and residuals take."""
    total = own.sum() if weigh is None else weigh @ own
    return float(total - np.sum(squares * inner))
