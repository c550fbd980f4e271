"""Models of sizes over time, fitted once and again in every draw of whole residents."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from kit.healing.resampling import resident_draws
from kit.trajectories.changes import LOG
from kit.trajectories.courses import RANDOM_FROM, Courses, design, split_at_start
from kit.trajectories.engine import Fit, among, fit_nested
from kit.trajectories.sums import CannotFit, Rows, counted, crosses, nested, with_walk

# How near the peak of each draw is found, in standard errors of its covariances. Of 3,561 residents no range is then
# wider or narrower than with a thirtieth of that by more than 2 in 1,000; 400 draws alone leave 35.
ENOUGH = 0.03
FIRST = 8  # draws, in whose middle the search of the others begins
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
    rows = laid_out(seen, columns, scale, walk)
    with threadpool_limits(1):  # the products are small: several threads would only wait for each other
        return rows, fit_nested(rows)


def modelled(seen: Courses, scale: str, draws: int, seed: int, walk: float = 0.0) -> Model:
    """The model of courses split at the start, fitted, and fitted again in each draw of whole residents."""
    split = split_at_start(seen)
    rows, fit = fitted(split, design(split), scale, walk)
    return Model(scale, rows, fit, drawn(rows, fit, resident_draws(rows.residents, draws, seed)))


def drawn(rows: Rows, fit: Fit, counts: np.ndarray) -> np.ndarray:
    """The coefficients of each draw (draws x columns) of `counts` (residents x draws); missing where it cannot tell."""
    cross = crosses(rows, counts)

    def again(draw: int, like: Fit) -> Fit | None:
        try:
            found = fit_nested(rows, counts=counts[:, draw], like=like, close=ENOUGH, cross=cross[draw])
        except CannotFit:
            return None
        return found if found.converged else None

    draws = range(counts.shape[1])
    with threadpool_limits(1):  # the products are small, and threads of ours would only wait for each other as well
        first = [again(draw, fit) for draw in draws[:FIRST]]
        known = [draw for draw, found in enumerate(first) if found]
        owns = [counted(rows, counts[:, draw], cross[draw]) for draw in known]
        near = among(rows, [first[draw] for draw in known], owns) if known else fit
        fits = first + [again(draw, near) for draw in draws[FIRST:]]
    none = np.full(rows.columns, np.nan)
    told = np.array([found.beta if found else none for found in fits]).reshape(len(draws), rows.columns)
    return _known(rows, told, counts)


def _known(rows: Rows, drawn: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Coefficients of draws; missing where nobody was drawn who tells a column."""
    squares = counts.T @ rows.own_cross[:, :: rows.table.shape[1] + 1][:, : rows.columns]
    return np.where(squares > 0, drawn, np.nan)


def walk_of(seen: Courses, columns: pd.DataFrame) -> float:
    """The variance of a weekly random walk, in units of the residual's, under which the sizes are likeliest.

    Sought over nought and powers of two, from a thousandth to 64.
    """
    told = {walk: fit.deviance for walk, _, fit in walked(laid_out(seen, columns))}
    return min(told, key=told.get)


def walked(still: Rows) -> Iterator[tuple[float, Rows, Fit]]:
    """Every weekly walk tried beneath rows made without one: its variance, the rows with it, and their fit.

    The search of each begins where that of the walk before ended. Raises CannotFit where they cannot tell it.
    """
    fit = None
    for walk in WALKS:
        rows = with_walk(still, walk)
        with threadpool_limits(1):
            fit = fit_nested(rows, like=fit)
        yield walk, rows, fit
