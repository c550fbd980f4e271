"""Weights: the chance of starting, of staying untreated and of staying in view, each refitted in every draw.

Pooled logistic regression over wound weeks stands for the hazard of starting or leaving (D'Agostino et al. 1990, Stat
Med 9:1501). All draws of residents are fitted together: a draw is a column of counts, and nothing is looped over.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.designs import Curvature, Design, marked, plain

RIDGE = 0.1  # on standardized columns: keeps a draw in which a column tells all from running away, and no more
LEAVING_RIDGE = 1.0  # few leave, and the two arms share what they can
ROUNDS, CLOSE = 25, 1e-4  # the error left is about the square of the last step
NEAR = 1e-3  # close enough for one of many draws, which differ by hundredths and more
FURTHEST = 4.0  # the longest step of one round, in log odds of a standardized column
KNOTS = (0.1, 0.5, 0.9)
REMEMBERED = 300  # fits

_remembered: dict[bytes, np.ndarray] = {}


def fitted(
    design: Design,
    outcome: np.ndarray,
    counts: np.ndarray | None = None,
    ridge: float = 0.0,
    begin: np.ndarray | None = None,
    owner: np.ndarray | None = None,
) -> np.ndarray:
    """The same as `logistic` for draws, for reading only: other questions ask for the same model in the same draws."""
    mark = marked(design.mark, design.homes, outcome, counts, ridge, begin, owner)
    found = _remembered.get(mark)
    if found is None:
        found = logistic(design, outcome, counts, ridge, begin, owner, CLOSE if begin is None else NEAR)
        found.flags.writeable = False
        for oldest in [*_remembered][: len(_remembered) + 1 - REMEMBERED]:
            _remembered.pop(oldest, None)
        _remembered[mark] = found
    return found


def logistic(
    design: Design | np.ndarray,
    outcome: np.ndarray,
    counts: np.ndarray | None = None,
    ridge: float | np.ndarray = 0.0,
    begin: np.ndarray | None = None,
    owner: np.ndarray | None = None,
    close: float = CLOSE,
) -> np.ndarray:
    """Coefficients of logistic regressions of one outcome, one set of counts each.

    `design` rows x columns, the first an intercept that no ridge holds; `outcome` 0 or 1; `counts` rows x sets, how
    often each row counts (once where left out); `ridge` times half the squared coefficients is taken off the log
    likelihood, one ridge for all columns or one each; `begin` are columns to start from. With `owner` the counts are of
    residents (residents x sets), and it numbers that of each row. It ends with a step shorter than `close`. Out:
    columns x sets.

    Newton's method; a set without any row of one outcome has no answer and comes back as it began.
    """
    design = design if isinstance(design, Design) else plain(design)
    counts = np.ones((len(outcome), 1)) if counts is None else counts
    begin = np.zeros((design.width, 1)) if begin is None else np.reshape(begin, (design.width, -1))
    holding = np.broadcast_to(np.asarray(ridge, dtype=float), design.width).copy()
    holding[0] = 0.0
    owner = np.arange(len(outcome)) if owner is None else owner
    happened, did_not = (np.bincount(owner, one, len(counts)) @ counts for one in (outcome, 1 - outcome))
    active = np.flatnonzero(happened * did_not > 0)
    owner, counts = owner[design.order], np.ascontiguousarray(counts)  # rows are taken from it many times
    seen = _seen(design, outcome[design.order], counts, owner)
    found = np.broadcast_to(begin, (design.width, counts.shape[1])).copy()
    for number in range(ROUNDS):
        if not len(active):
            break
        at_one_place = number == 0 and begin.shape[1] == 1
        move, at = (_first_step, begin) if at_one_place else (_step, found[:, active])
        step = move(design, seen[:, active], counts.take(active, axis=1), owner, holding, at)
        longest = np.abs(step).max(axis=0)
        found[:, active] += step * np.minimum(1.0, FURTHEST / np.maximum(longest, FURTHEST))
        active = active[longest > close]
    return found


def _seen(design: Design, outcome: np.ndarray, counts: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """The sums of columns over rows with the outcome, for every set: coefficients x sets.

    Here and below rows stand in the design's order.
    """
    seen = np.zeros((design.width, counts.shape[1]))
    for home, rows in design.blocks:
        first = _first_of_each(owner[rows])
        own = np.add.reduceat(design.sorted[rows].T * outcome[rows], first, axis=1)
        design.add(seen, home, own @ counts.take(owner[rows][first], axis=0))
    return seen


def _step(design: Design, seen, counts, owner, holding, at) -> np.ndarray:
    """One step of Newton's method from `at` for every set: coefficients x sets."""
    expected, curvature = np.zeros(seen.shape), Curvature(design, counts.shape[1])
    for home, rows in design.blocks:
        chance = expit(design.at(home, rows, at))
        count = counts.take(owner[rows], axis=0)
        count *= chance
        design.add(expected, home, design.sorted[rows].T @ count)
        count *= np.subtract(1, chance, out=chance)
        curvature.add(home, design.products[:, rows] @ count)
    return curvature.solve(seen - expected - holding[:, None] * at, holding)


def _first_step(design: Design, seen, counts, owner, holding, at) -> np.ndarray:
    """The same where all sets stand at one place: there rows are added up by resident before they are counted."""
    expected, curvature = np.zeros(seen.shape), Curvature(design, counts.shape[1])
    for home, rows in design.blocks:
        first = _first_of_each(owner[rows])
        count = counts.take(owner[rows][first], axis=0)
        chance = expit(design.at(home, rows, at))[:, 0]
        own = np.add.reduceat(design.sorted[rows].T * chance, first, axis=1)
        design.add(expected, home, own @ count)
        chance *= 1 - chance
        curvature.add(home, np.add.reduceat(design.products[:, rows] * chance, first, axis=1) @ count)
    return curvature.solve(seen - expected - holding[:, None] * at, holding)


def _first_of_each(owner: np.ndarray) -> np.ndarray:
    """Where one resident's rows end and those of another begin."""
    return np.flatnonzero(np.diff(owner, prepend=owner[0] - 1))


def expit(log_odds: np.ndarray) -> np.ndarray:
    """The chance that belongs to log odds."""
    chance = np.clip(log_odds, -30, 30)
    np.negative(chance, out=chance)
    np.exp(chance, out=chance)
    chance += 1
    return np.divide(1, chance, out=chance)


def start_design(weeks: pd.DataFrame, names: tuple[str, ...], like: pd.DataFrame) -> np.ndarray:
    """The columns of the start model written out: see `start_columns`."""
    return start_columns(weeks, names, like).written_out()


def start_columns(weeks: pd.DataFrame, names: tuple[str, ...], like: pd.DataFrame) -> Design:
    """The columns of the start model: intercept, one for each facility where there are several, and the covariates.

    Covariates are standardized by the rows of `like`; what is missing there counts as average, and what does not vary
    there is left out.
    """
    columns = [np.ones(len(weeks))]
    for name in names:
        middle, spread = like[name].mean(), like[name].std()
        if spread > 1e-9:
            columns.append(((weeks[name] - middle) / spread).fillna(0.0).to_numpy(dtype=float))
    houses = sorted(like["facility"].unique())
    several = len(houses) > 1
    home = pd.Index(houses).get_indexer(weeks["facility"]) if several else np.zeros(len(weeks), dtype=np.int64)
    return Design(np.column_stack(columns), home, len(houses) if several else 0)


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
