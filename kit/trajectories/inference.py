"""What a fitted model says beyond its coefficients: effects of single wounds, and degrees of freedom."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kit.trajectories.engine import SINGULAR, Fit
from kit.trajectories.likelihood import Levels, error_of, gradient, levels, solved, through
from kit.trajectories.sums import Rows

STEP = 1e-4  # of a part of the covariances, between which slopes are taken


@dataclass(frozen=True, eq=False)
class Predicted:
    """Predicted effects, in the order of the rows' wounds, residents and facilities; slopes are per week.

    `wound` wounds x (intercept, slope); `wound_variance` wounds x 2 x 2, of the effect given the rows and the
    estimates; `slope_error` the standard error of a wound's slope, the coefficients being estimated too.
    """

    wound: np.ndarray
    wound_variance: np.ndarray
    slope_error: np.ndarray
    resident: np.ndarray
    facility: np.ndarray


def predicted(rows: Rows, fit: Fit) -> Predicted:
    """The best linear unbiased predictions of the random effects (Henderson 1975, Biometrics 31:423).

    They are shrunk: the fewer rows a wound has, the nearer it lies to what is expected of wounds like it.
    """
    at = levels(rows, fit.theta)
    found, down = solved(rows, at), through(at)
    error, variance = error_of(found), fit.residual_sd**2
    a, b, c, resident, facility = fit.theta
    factor = np.array([[a, 0.0], [b, c]])
    spread = factor @ factor.T
    to_week = np.array([1.0, 1 / rows.week_unit])
    effects = (error @ down.wound).T @ spread
    own = np.array([[at.uu - down.shared * at.uu**2, at.uw - down.shared * at.uu * at.uw],
                    [at.uw - down.shared * at.uu * at.uw, at.ww - down.shared * at.uw**2]])  # fmt: skip
    given = variance * (spread - np.einsum("ij,jkw,kl->wil", spread, own, spread))
    # Of the slope: what the coefficients' own error adds (Henderson 1975, as above).
    leans = (spread[1, 0] * down.wound[0] + spread[1, 1] * down.wound[1])[: rows.columns]
    added = variance * np.sum(leans * (found.inverse @ leans), axis=0)
    return Predicted(
        wound=effects * to_week,
        wound_variance=given * np.outer(to_week, to_week),
        slope_error=np.sqrt(np.maximum(given[:, 1, 1] + added, 0.0)) / rows.week_unit,
        resident=resident**2 * (error @ down.resident),
        facility=facility**2 * (error @ down.facility),
    )


def with_size(fit: Fit, whole: bool = False) -> float:
    """By how much slopes of wounds rise for one more of their level, as their covariance has it.

    Of a wound's own level, or of the `whole` of it, the person's and the building's part in it. Larger wounds lose a
    smaller share of their size a week wherever the radius falls steadily.
    """
    spread = fit.wound_covariance
    level = spread[0, 0] + (fit.resident_sd**2 + fit.facility_sd**2) * whole
    return float(spread[0, 1] / level) if len(spread) > 1 and level > 0 else 0.0


def satterthwaite(rows: Rows, fit: Fit, contrasts: np.ndarray | None = None) -> np.ndarray:
    """Degrees of freedom of each coefficient, or of each row of `contrasts` (contrasts x columns).

    Twice the squared variance of the contrast over the variance of that variance (Satterthwaite 1946, Biometrics
    Bulletin 2:110; Fai & Cornelius 1996, J Stat Comput Simul 54:363). Parts of the covariance that came out as nought
    are taken to be nought. For whoever wants a test of a coefficient; the kit's own ranges are from draws of residents.
    """
    asked = np.eye(rows.columns) if contrasts is None else np.atleast_2d(contrasts)
    parts = np.flatnonzero(_moving(rows, fit))
    bends = np.array([_slopes(rows, fit, each) - _slopes(rows, fit, -each) for each in _steps(parts)]) / (2 * STEP)
    spread = np.linalg.pinv((bends + bends.T) / 4, hermitian=True)  # twice the inverse curvature of the deviance
    turned = np.array([_variances(rows, fit, each, asked) - _variances(rows, fit, -each, asked)
                       for each in _steps(parts)]) / (2 * STEP)  # fmt: skip
    variances = _variances(rows, fit, np.zeros(6), asked)
    with np.errstate(divide="ignore"):
        return 2 * variances**2 / np.einsum("kc,kl,lc->c", turned, spread, turned)


def _moving(rows: Rows, fit: Fit) -> np.ndarray:
    """Which parts of `theta` are not nought; the second is no spread, and may be."""
    return (fit.theta > SINGULAR) | (np.array(rows.free) & (np.arange(5) == 1))


def _steps(parts: np.ndarray) -> np.ndarray:
    """A small step of each part of `theta`, and of the residual standard deviation (the last)."""
    return STEP * np.eye(6)[[*parts, 5]]


def _moved(rows: Rows, fit: Fit, step: np.ndarray) -> tuple[Levels, float]:
    return levels(rows, fit.theta + step[:5]), fit.residual_sd * (1 + step[5])


def _slopes(rows: Rows, fit: Fit, step: np.ndarray) -> np.ndarray:
    """The gradient of the deviance by each part that moves, the residual standard deviation not profiled out."""
    at, residual = _moved(rows, fit, step)
    found = solved(rows, at)
    by_theta = gradient(rows, at, found, fit.reml, 1 / residual**2)
    number = at.rows - at.columns * fit.reml
    by_residual = fit.residual_sd * 2 * (number / residual - found.left_over / residual**3)
    return np.append(by_theta[_moving(rows, fit)], by_residual)


def _variances(rows: Rows, fit: Fit, step: np.ndarray, asked: np.ndarray) -> np.ndarray:
    at, residual = _moved(rows, fit, step)
    return residual**2 * np.einsum("cp,pq,cq->c", asked, solved(rows, at).inverse, asked)
