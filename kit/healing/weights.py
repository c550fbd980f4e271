"""Weights: the chance of starting, of staying untreated and of staying in view, each refitted in every draw.

Pooled logistic regression over wound weeks stands for the hazard of starting or leaving (D'Agostino et al. 1990, Stat
Med 9:1501). All draws of residents are fitted together: a draw is a column of counts, and nothing is looped over.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

RIDGE = 0.1  # on standardized columns: keeps a draw in which a column tells all from running away, and no more
LEAVING_RIDGE = 1.0  # few leave, and the two arms share what they can
ROUNDS, CLOSE = 25, 1e-6  # the error left is about the square of the last step
FURTHEST = 4.0  # the longest step of one round, in log odds of a standardized column
KNOTS = (0.1, 0.5, 0.9)


def logistic(
    design: np.ndarray,
    outcome: np.ndarray,
    counts: np.ndarray | None = None,
    ridge: float | np.ndarray = 0.0,
    begin: np.ndarray | None = None,
) -> np.ndarray:
    """Coefficients of logistic regressions of one outcome, one set of counts each.

    `design` rows x columns, the first an intercept that no ridge holds; `outcome` 0 or 1; `counts` rows x sets, how
    often each row counts (once where left out); `ridge` times half the squared coefficients is taken off the log
    likelihood, one ridge for all columns or one each; `begin` are columns to start from. Out: columns x sets.

    Newton's method; a set without any row of one outcome has no answer and comes back as it began.
    """
    counts = np.ones((len(outcome), 1)) if counts is None else counts
    columns, sets = design.shape[1], counts.shape[1]
    holding = np.broadcast_to(np.asarray(ridge, dtype=float), columns).copy()
    holding[0] = 0.0
    pairs = np.triu_indices(columns)
    products = design[:, pairs[0]] * design[:, pairs[1]]
    found = np.zeros((columns, sets)) if begin is None else np.broadcast_to(begin, (columns, sets)).copy()
    both = (counts * outcome[:, None]).sum(axis=0) * (counts * (1 - outcome)[:, None]).sum(axis=0) > 0
    active = np.flatnonzero(both)
    for _ in range(ROUNDS):
        if not len(active):
            break
        step = _step(design, products, pairs, outcome, counts[:, active], holding, found[:, active])
        longest = np.abs(step).max(axis=0)
        found[:, active] += step * np.minimum(1.0, FURTHEST / np.maximum(longest, FURTHEST))
        active = active[longest > CLOSE]
    return found


def _step(design, products, pairs, outcome, counts, holding, found) -> np.ndarray:
    """One step of Newton's method for every set: columns x sets."""
    chance = expit(design @ found)
    expected = counts * chance
    gradient = design[outcome > 0].T @ counts[outcome > 0] - design.T @ expected - holding[:, None] * found
    chance *= expected
    expected -= chance  # from here on what each row adds to the curvature
    spread = products.T @ expected
    curvature = np.zeros((found.shape[1], len(holding), len(holding)))
    curvature[:, pairs[0], pairs[1]] = spread.T
    curvature[:, pairs[1], pairs[0]] = spread.T
    curvature += np.diag(holding + 1e-9)
    return np.linalg.solve(curvature, gradient.T[..., None])[..., 0].T


def expit(log_odds: np.ndarray) -> np.ndarray:
    """The chance that belongs to log odds."""
    chance = np.clip(log_odds, -30, 30)
    np.negative(chance, out=chance)
    np.exp(chance, out=chance)
    chance += 1
    return np.divide(1, chance, out=chance)


def start_design(weeks: pd.DataFrame, names: tuple[str, ...], like: pd.DataFrame) -> np.ndarray:
    """The columns of the start model: intercept, one for each facility where there are several, and the covariates.

    Covariates are standardized by the rows of `like`; what is missing there counts as average, and what does not vary
    there is left out.
    """
    columns = [np.ones(len(weeks))]
    houses = sorted(like["facility"].unique())
    columns += [(weeks["facility"] == house).to_numpy(dtype=float) for house in houses] if len(houses) > 1 else []
    for name in names:
        middle, spread = like[name].mean(), like[name].std()
        if spread > 1e-9:
            columns.append(((weeks[name] - middle) / spread).fillna(0.0).to_numpy(dtype=float))
    return np.column_stack(columns)


def leaving_design(weeks: pd.DataFrame) -> np.ndarray:
    """The columns of the leaving model: intercept, whether started, size as a spline, and its slope by arm."""
    if weeks.empty:
        return np.empty((0, 5))
    size = weeks["log_size"].fillna(weeks["log_size"].mean()).fillna(0.0).to_numpy(dtype=float)
    size = (size - size.mean()) / max(size.std(), 1e-9)
    started = (~weeks["before"] | (weeks["starts"] != "")).to_numpy(dtype=float)
    return np.column_stack([np.ones(len(weeks)), started, size, _bend(size), started * size])


def _bend(size: np.ndarray) -> np.ndarray:
    """The second column of a restricted cubic spline with three knots.

    Harrell 2015, Regression Modeling Strategies, section 2.4.5.
    """
    low, middle, high = np.quantile(size, KNOTS)
    if not low < middle < high:
        return np.zeros(len(size))
    cubes = [np.maximum(size - knot, 0) ** 3 for knot in (low, middle, high)]
    bend = cubes[0] - cubes[1] * (high - low) / (high - middle) + cubes[2] * (middle - low) / (high - middle)
    return bend / (high - low) ** 2
