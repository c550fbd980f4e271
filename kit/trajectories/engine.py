"""Nested linear mixed models: intercept and weekly slope for each wound, an intercept for each resident and facility.

Restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58:545) or maximum likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from kit.trajectories.likelihood import Levels, Solved, deviance, gradient, levels, levels_of, solved
from kit.trajectories.sums import CannotFit, Counted, Rows, counted, some

BEGIN = np.array([1.0, 0.0, 0.6, 0.7, 0.4])
SINGULAR = 1e-4  # a part below this is nought; lme4 draws the line there too
CLOSE, SAMPLE_CLOSE = 1e-5, 1e-2  # how near a peak is found, in standard errors of the covariances
ROUNDING = 2e-7  # of the gradient a wound: below it rounding hides whether a step climbs
EXACT = 1e-20  # of the squares of the response: what is left over is rounding
SAMPLE = 1000  # residents from which a large fit begins
STEP, FLAT = 1e-4, 1e-3  # of covariances, between which the curvature is taken; of the sharpest, which is none


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted model. Slopes are per week; variances and standard deviations are those of the response.

    `deviance` is the REML criterion, or minus twice the log likelihood; `theta` the relative covariances it was found
    at (in the order of likelihood.PARTS); `singular` says that some part of them came out as nought, or intercept and
    slope of wounds as one; `converged` that nothing climbs any more.
    """

    names: tuple[str, ...]
    beta: np.ndarray
    covariance: np.ndarray
    residual_sd: float
    wound_covariance: np.ndarray
    resident_sd: float
    facility_sd: float
    deviance: float
    reml: bool
    theta: np.ndarray
    singular: bool
    converged: bool
    dropped: tuple[str, ...]
    bent: np.ndarray  # the inverse curvature of the deviance a wound, from which a fit like it begins

    @property
    def errors(self) -> np.ndarray:
        """The standard errors of the coefficients."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def log_likelihood(self) -> float:
        """Minus half the deviance; restricted where the fit is."""
        return -self.deviance / 2


def fit_nested(
    rows: Rows,
    reml: bool = True,
    counts: np.ndarray | None = None,
    like: Fit | None = None,
    close: float = CLOSE,
    cross: np.ndarray | None = None,
) -> Fit:
    """The model at the peak of its likelihood.

    `counts`: how often each resident counts, for drawing whole residents; `like`: a fit near which the peak is sought;
    `close`: how near it has to be found, in standard errors of the covariances; `cross`: the products of all columns
    as residents count, where they are known. Raises CannotFit where fewer than two rows are left beyond the columns, or
    the columns say the response without error.
    """
    if len(rows.table) - rows.columns < 2:
        raise CannotFit("rows: too few measurements are left beyond the columns to tell how they vary")
    if rows.cross[rows.columns, rows.columns] <= EXACT * rows.response:
        raise CannotFit("rows: the columns say the response without error; nothing is left to tell how wounds differ")
    counts = None if counts is None else np.asarray(counts, dtype=float)
    if like is None and len(rows.residents) > 2 * SAMPLE:
        like = _of_a_sample(rows, reml)
    free = np.flatnonzero(rows.free)
    begin = np.where(rows.free, BEGIN if like is None else _away_from_nought(like.theta), 0.0)
    bent = np.eye(len(free)) if like is None else like.bent
    share, own = 1 / len(rows.wounds), counted(rows, counts, cross)
    level = max(close * np.sqrt(share), ROUNDING)
    last: list[tuple[Levels, Solved]] = []

    def judged(part: np.ndarray) -> tuple[float, np.ndarray]:
        last[:] = [_at(rows, own, _whole(part, free))]
        at, found = last[0]
        return share * deviance(rows, at, found, reml), share * _climbs(rows, at, found, reml)[free]

    # The deviance is the same whatever the signs of the parts, so that no bound is needed: nought lies within.
    peak = minimize(
        judged, begin[free], jac=True, method="BFGS",
        options={"gtol": level, "hess_inv0": bent, "maxiter": 200},
    )  # fmt: skip
    theta = _settled(rows, _signed(_whole(peak.x, free)), own, reml)
    at, found = last[0] if np.array_equal(theta, last[0][0].theta) else _at(rows, own, theta)
    reached = bool(np.abs(peak.jac).max() < 1e3 * level)
    return _told(rows, at, found, reml, reached, (peak.hess_inv + peak.hess_inv.T) / 2)


def among(rows: Rows, fits: Sequence[Fit], owns: Sequence[Counted]) -> Fit:
    """The middle of fits of the same rows, each as they counted in it (`owns`): near the peaks of others like them.

    Its curvature is the mean of theirs there; where they do not bend upwards on all sides, that of the first fit.
    """
    theta, free = np.mean([fit.theta for fit in fits], axis=0), np.flatnonzero(rows.free)

    def slopes(at: np.ndarray) -> np.ndarray:
        every = [_climbs(rows, *_at(rows, own, at), fits[0].reml)[free] for own in owns]
        return np.mean(every, axis=0) / len(rows.wounds)

    here = slopes(theta)
    curvature = np.array([slopes(theta + step) - here for step in STEP * np.eye(len(theta))[free]]) / STEP
    least, most = np.linalg.eigvalsh(curvature + curvature.T)[[0, -1]]
    if least < FLAT * most:
        return replace(fits[0], theta=theta)
    bent = np.linalg.inv((curvature + curvature.T) / 2)
    return replace(fits[0], theta=theta, bent=(bent + bent.T) / 2)


def with_slope_spread(rows: Rows, fit: Fit, spread: float) -> Fit:
    """The same model with about a given standard deviation of slopes among wounds of one level, all else as fitted.

    The deviance says what it costs.
    """
    theta = np.where(np.arange(5) == 2, spread * rows.week_unit / fit.residual_sd, fit.theta)
    at = levels(rows, theta)
    return _told(rows, at, solved(rows, at), fit.reml, fit.converged, fit.bent)


def _at(rows: Rows, own: Counted, theta: np.ndarray) -> tuple[Levels, Solved]:
    at = levels_of(own, theta, rows.columns)
    return at, solved(rows, at)


def _climbs(rows: Rows, at: Levels, found: Solved, reml: bool) -> np.ndarray:
    """The gradient with the residual variance profiled out."""
    return gradient(rows, at, found, reml, (at.rows - at.columns * reml) / found.left_over)


def _of_a_sample(rows: Rows, reml: bool) -> Fit | None:
    """A fit of some residents, from which a large one begins; None where they cannot tell every column."""
    try:
        return fit_nested(some(rows, SAMPLE), reml, close=SAMPLE_CLOSE)
    except CannotFit:
        return None


def _whole(part: np.ndarray, free: np.ndarray) -> np.ndarray:
    theta = np.zeros(5)
    theta[free] = part
    return theta


def _away_from_nought(theta: np.ndarray) -> np.ndarray:
    """Nought is a level place of every spread: whoever begins there stays. The second part is no spread."""
    return np.where(np.arange(5) == 1, theta, np.maximum(theta, BEGIN / 20))


def _signed(theta: np.ndarray) -> np.ndarray:
    """The same covariances with no standard deviation below nought."""
    a, b, c, resident, facility = theta
    return np.array([abs(a), b if a >= 0 else -b, abs(c), abs(resident), abs(facility)])


def _settled(rows: Rows, theta: np.ndarray, own: Counted, reml: bool) -> np.ndarray:
    """Small parts are nought where that is no worse: a search only creeps up to nought."""
    for part in (0, 2, 3, 4):
        if 0 < theta[part] < 100 * SINGULAR:
            without = np.where(np.arange(5) == part, 0.0, theta)
            one, other = (deviance(rows, *_at(rows, own, each), reml) for each in (theta, without))
            gained = other - one
            theta = without if gained < 1e-6 else theta
    return theta


def _told(rows: Rows, at: Levels, found: Solved, reml: bool, converged: bool, bent: np.ndarray) -> Fit:
    variance = found.left_over / (at.rows - at.columns * reml)
    a, b, c, resident, facility = at.theta
    factor = np.array([[a, 0.0], [b / rows.week_unit, c / rows.week_unit]])
    free = np.array(rows.free)
    return Fit(
        names=rows.names,
        beta=rows.ordinary + found.beta,
        covariance=variance * found.inverse,
        residual_sd=float(np.sqrt(variance)),
        wound_covariance=(variance * (factor @ factor.T))[: 1 + free[1], : 1 + free[1]],
        resident_sd=float(np.sqrt(variance) * resident),
        facility_sd=float(np.sqrt(variance) * facility),
        deviance=deviance(rows, at, found, reml),
        reml=reml,
        theta=at.theta,
        singular=bool((at.theta < SINGULAR)[[0, 2, 3, 4]][free[[0, 2, 3, 4]]].any()),
        converged=converged,
        dropped=rows.dropped,
        bent=bent,
    )
