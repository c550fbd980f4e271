"""Models of sizes over time, fitted once and again in every draw of whole residents."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from kit.healing.resampling import resident_draws
from kit.trajectories.changes import LOG
from kit.trajectories.courses import RANDOM_FROM, Courses, design, split_at_start
from kit.trajectories.engine import Fit, fit_nested
from kit.trajectories.sums import CannotFit, Rows, nested

ENOUGH = 0.05  # how near the peak of each draw is found, in standard errors of its covariances
MODEL_FROM = 10  # residents, and measurements beyond each wound's first; common practice, no source
WALKS = (0.0, *(2.0**power for power in range(-10, 7)))


@dataclass(frozen=True, eq=False)
class Model:
    """A fitted model with its rows, and the coefficients of draws of whole residents (draws x columns)."""

    scale: str
    rows: Rows
    fit: Fit
    drawn: np.ndarray


def laid_out(seen: Courses, columns: pd.DataFrame, scale: str = LOG, walk: float = 0.0) -> Rows:
    """The rows of a model of sizes with `columns`: the response is the logarithm or the root of the size in cm2."""
    sizes = seen.sizes
    response = np.log(sizes["size"]) if scale == LOG else np.sqrt(sizes["size"])
    many = sizes["facility"].nunique() >= RANDOM_FROM
    return nested(
        response,
        columns,
        sizes["week"],
        sizes["wound"],
        sizes["resident"],
        sizes["facility"] if many else None,
        tuple(columns),
        walk,
    )


def enough(seen: Courses) -> bool:
    """Whether there are courses enough for a model: so many residents, and measurements beyond each wound's first."""
    return min(seen.sizes["resident"].nunique(), int(seen.sizes["wound"].duplicated().sum())) >= MODEL_FROM


def fitted(seen: Courses, columns: pd.DataFrame, scale: str = LOG, walk: float = 0.0) -> tuple[Rows, Fit]:
    """The rows of a model and its fit. Raises CannotFit where they cannot tell it."""
    with threadpool_limits(1):  # the products are small: several threads would only wait for each other
        rows = laid_out(seen, columns, scale, walk)
        return rows, fit_nested(rows)


def modelled(seen: Courses, scale: str, draws: int, seed: int, walk: float = 0.0) -> Model:
    """The model of courses split at the start, fitted, and fitted again in each draw of whole residents."""
    split = split_at_start(seen)
    rows, fit = fitted(split, design(split), scale, walk)
    counts = resident_draws(rows.residents, draws, seed)
    with threadpool_limits(1):
        drawn = [_redrawn(rows, fit, count) for count in counts.T]
    return Model(scale, rows, fit, _known(rows, np.reshape(drawn, (draws, rows.columns)), counts))


def _redrawn(rows: Rows, fit: Fit, count: np.ndarray) -> np.ndarray:
    """The coefficients of a draw; missing where it cannot tell them."""
    try:
        again = fit_nested(rows, counts=count, like=fit, close=ENOUGH)
    except CannotFit:
        return np.full(rows.columns, np.nan)
    return again.beta if again.converged else np.full(rows.columns, np.nan)


def _known(rows: Rows, drawn: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Coefficients of draws; missing where nobody was drawn who tells a column."""
    squares = counts.T @ rows.own_cross[:, :: rows.table.shape[1] + 1][:, : rows.columns]
    return np.where(squares > 0, drawn, np.nan)


def walk_of(seen: Courses, columns: pd.DataFrame) -> float:
    """The variance of a weekly random walk, in units of the residual's, under which the sizes are likeliest.

    Sought over nought and powers of two, from a thousandth to 64.
    """
    told = {walk: fitted(seen, columns, walk=walk)[1].deviance for walk in WALKS}
    return min(told, key=told.get)
