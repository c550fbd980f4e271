"""Proportional hazards, with time from one day to another, and in which direction a naive comparison errs.

Cox 1972, J R Stat Soc B 34:187; ties by Efron 1977, J Am Stat Assoc 72:557; rows as left-open intervals by Andersen &
Gill 1982, Ann Stat 10:1100; errors by cluster by Lin & Wei 1989, J Am Stat Assoc 84:1074.

A row at risk from `start` to `stop` is in the sets of its stratum from `first` to before `last`, the sets being sorted
by stratum and time. Sums over sets are then running sums, and nothing of the size rows x rows or rows x sets arises.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROUNDS = 30  # Newton doubles the right digits each round: five do, and thirty are no answer
HALVINGS = 30
SETTLED = 1e-9  # of one over a covariate's spread; a round that moves less leaves nothing that a float could hold
FLAT = 1e-9  # information below this part of one an event is rounding
EQUAL = 1e-9  # log ratios closer than this are one fit done twice


@dataclass(frozen=True)
class Cox:
    """A fit. Arrays hold a number a covariate: log ratios, their model-based errors, their errors by cluster.

    `robust` is NaN where no clusters were given; `loglik` holds the log partial likelihood at zero and at the fit.
    """

    coefficients: np.ndarray
    errors: np.ndarray
    robust: np.ndarray
    loglik: tuple[float, float]


def cox(
    start: np.ndarray,
    stop: np.ndarray,
    event: np.ndarray,
    covariates: np.ndarray,
    cluster: np.ndarray | None = None,
    weights: np.ndarray | None = None,
    strata: np.ndarray | None = None,
) -> Cox:
    """Log hazard ratios of the covariates (Cox 1972), with Efron's ties.

    A row is at risk after `start` and up to and with `stop`, in one unit of time, compared exactly; `event` says
    whether it ended in the event. `covariates` is rows x covariates, or one column. `cluster` names whose rows belong
    together, `weights` counts each row as often as it says (rows of weight 0 are left out), `strata` names the groups
    with a hazard of their own. Errors by cluster are Lin & Wei's 1989, not corrected for the number of clusters, as in
    R's coxph.

    Raises ValueError where a row ends before it starts, a value is missing, a weight is negative, nothing happens, a
    covariate does not vary, or a log ratio has no finite estimate.
    """
    rows = _rows(start, stop, event, covariates, cluster, weights, strata)
    sets, spread = _risk_sets(rows), rows.x.std(axis=0)
    x = (rows.x - rows.x.mean(axis=0)) / spread  # one scale for all, so that one measure of flatness serves all
    null, fitted, beta = _climb(sets, x)
    inverse = np.linalg.inv(fitted.information)
    robust = np.full(len(beta), np.nan) if cluster is None else _errors_by(rows.cluster, sets, x, beta, inverse)
    return Cox(beta / spread, np.sqrt(np.diag(inverse)) / spread, robust / spread, (null.loglik, fitted.loglik))


def leans(naive: float, aligned: float, good: bool) -> str:
    """How a naive log ratio makes a treatment look beside an aligned one of the same treatment.

    `naive` compares those ever treated with those never; `aligned` counts as treated only what came after the start.
    `good` says whether the event is wished for (a closing) or not (a death). Returns "too favourable", "too
    unfavourable" or "the same".

    Raises ValueError where either is not a number.
    """
    gap = naive - aligned
    if gap != gap:
        raise ValueError("A log ratio is not a number, so nothing can be said of its direction.")
    if abs(gap) < EQUAL:
        return "the same"
    return "too favourable" if (gap > 0) == good else "too unfavourable"


# --- what comes in ---


@dataclass(frozen=True)
class _Rows:
    """The rows of positive weight, as arrays of numbers; strata and clusters counted from 0."""

    start: np.ndarray
    stop: np.ndarray
    event: np.ndarray
    x: np.ndarray
    cluster: np.ndarray
    weights: np.ndarray
    strata: np.ndarray


def _rows(start, stop, event, covariates, cluster, weights, strata) -> _Rows:
    start, stop = np.asarray(start, dtype=float), np.asarray(stop, dtype=float)
    event, x = np.asarray(event, dtype=float), np.asarray(covariates, dtype=float).reshape(len(stop), -1)
    weights = np.ones(len(stop)) if weights is None else np.asarray(weights, dtype=float)
    _refuse_impossible(start, stop, event, x, weights)
    columns = (start, stop, event > 0, x, _numbered(cluster, len(stop)), weights, _numbered(strata, len(stop)))
    rows = _Rows(*(column[weights > 0] for column in columns))
    _refuse_uninformative(rows)
    return rows


def _numbered(names: np.ndarray | None, count: int) -> np.ndarray:
    return np.zeros(count, dtype=int) if names is None else np.unique(np.asarray(names), return_inverse=True)[1]


def _refuse_impossible(start, stop, event, x, weights) -> None:
    if not all(np.isfinite(numbers).all() for numbers in (start, stop, event, x, weights)):
        raise ValueError("A time, an event, a covariate or a weight is missing.")
    if (stop <= start).any():
        raise ValueError(f"Rows must stop after they start; {int((stop <= start).sum())} do not.")
    if (weights < 0).any():
        raise ValueError("A weight is negative.")


def _refuse_uninformative(rows: _Rows) -> None:
    if not rows.event.any():
        raise ValueError("No row ends in the event.")
    still = np.flatnonzero(np.ptp(rows.x, axis=0) == 0)
    if len(still):
        raise ValueError(f"Covariate {still[0] + 1} is the same in every row.")


# --- who is at risk when ---


@dataclass(frozen=True)
class _RiskSets:
    """One set for each time in a stratum at which something happens.

    Rows are at risk in the sets from `first` to before `last`. `events` are the rows that end in the event and `own`
    their sets. Of a set's n tied events, Efron's step k leaves out k/n of each: `late` is that part, a step an event.
    """

    first: np.ndarray
    last: np.ndarray
    events: np.ndarray
    own: np.ndarray
    tied: np.ndarray
    late: np.ndarray
    weights: np.ndarray
    mean_weight: np.ndarray

    def at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of a value over the rows at risk, by set: what has come in less what has gone out."""
        count = len(self.tied) + 1
        come, gone = np.bincount(self.first, values, count), np.bincount(self.last, values, count)
        return np.cumsum(come - gone)[:-1]

    def in_each(self, values: np.ndarray) -> np.ndarray:
        """Sums of a value over the tied events, or over their steps, by set."""
        return np.bincount(self.own, values, len(self.tied))

    def left_at(self, values: np.ndarray) -> np.ndarray:
        """Sums of a value over the rows at risk, less what Efron's step leaves out, by step."""
        return self.at_risk(values)[self.own] - self.late * self.in_each(values[self.events])[self.own]

    def met(self, values: np.ndarray) -> np.ndarray:
        """Sums of a step's value over all the steps that a row was at risk in; an event meets its own only in part."""
        line = np.concatenate([[0.0], np.cumsum(self.in_each(values))])
        met = line[self.last] - line[self.first]
        met[self.events] -= self.in_each(values * self.late)[self.own]
        return met


def _risk_sets(rows: _Rows) -> _RiskSets:
    times, rank = np.unique(np.concatenate([rows.start, rows.stop]), return_inverse=True)
    starts, stops = (rows.strata * len(times) + half for half in np.split(rank, 2))
    events = np.flatnonzero(rows.event)
    sets, own, tied = np.unique(stops[events], return_inverse=True, return_counts=True)
    first, last = (np.searchsorted(sets, places, side="right") for places in (starts, stops))
    mean_weight = np.bincount(own, rows.weights[events]) / tied
    return _RiskSets(first, last, events, own, tied, _part_left_out(own, tied), rows.weights, mean_weight[own])


def _part_left_out(own: np.ndarray, tied: np.ndarray) -> np.ndarray:
    """0, 1/n, 2/n, ... for the n events of each set."""
    order = np.argsort(own, kind="stable")
    before = np.cumsum(tied) - tied
    place = np.empty(len(own))
    place[order] = np.arange(len(own)) - before[own[order]]
    return place / tied[own]


# --- the fit ---


@dataclass(frozen=True)
class _Slope:
    """The log likelihood at some coefficients, with its first and (negative) second derivative."""

    loglik: float
    score: np.ndarray
    information: np.ndarray


@dataclass(frozen=True)
class _Steps:
    """Each step's sum of risks, hazard and mean covariates (a row a step), and each row's risk."""

    risk: np.ndarray
    total: np.ndarray
    hazard: np.ndarray
    means: np.ndarray


def _steps(sets: _RiskSets, x: np.ndarray, beta: np.ndarray) -> _Steps:
    risk = sets.weights * np.exp(x @ beta)
    total = sets.left_at(risk)
    means = np.column_stack([sets.left_at(risk * column) for column in x.T]) / total[:, None]
    return _Steps(risk, total, sets.mean_weight / total, means)


def _slope(sets: _RiskSets, x: np.ndarray, beta: np.ndarray) -> _Slope:
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # a step too far, which is halved
        steps = _steps(sets, x, beta)
        expected = steps.risk * sets.met(steps.hazard)
        found = x[sets.events].T @ sets.weights[sets.events]
        loglik = found @ beta - sets.mean_weight @ np.log(steps.total)
        information = x.T @ (x * expected[:, None]) - steps.means.T @ (steps.means * sets.mean_weight[:, None])
    return _Slope(float(loglik), found - x.T @ expected, information)


def _climb(sets: _RiskSets, x: np.ndarray) -> tuple[_Slope, _Slope, np.ndarray]:
    """The slopes at zero and at the top, and the coefficients there: Newton's steps, halved where they overshoot."""
    beta = np.zeros(x.shape[1])
    null = here = _slope(sets, x, beta)
    if _is_flat(sets, null):
        raise ValueError("A covariate does not vary among those at risk together, or follows from the others.")
    for _ in range(ROUNDS):
        step = np.linalg.solve(here.information, here.score)
        if np.abs(step).max() < SETTLED:
            return null, here, beta
        beta, here = _uphill(sets, x, beta, step, here)
        if _is_flat(sets, here):
            break
    raise ValueError("A log ratio has no finite estimate: a covariate tells the events apart from all others.")


def _is_flat(sets: _RiskSets, slope: _Slope) -> bool:
    """Whether the data say nothing in some direction; covariates of spread one tell about one for each event."""
    return np.linalg.eigvalsh(slope.information).min() < FLAT * sets.mean_weight.sum()


def _uphill(sets, x, beta, step, here) -> tuple[np.ndarray, _Slope]:
    """As far along the step as the likelihood does not fall, up to rounding."""
    least = here.loglik - 1e-12 * abs(here.loglik)
    for _ in range(HALVINGS):
        there = _slope(sets, x, beta + step)
        if there.loglik >= least:
            return beta + step, there
        step = step / 2
    return beta, here


def _errors_by(cluster, sets, x, beta, inverse) -> np.ndarray:
    """Lin & Wei 1989: the spread of the clusters' influences (dfbeta) on the coefficients."""
    residuals = _score_residuals(sets, x, beta) * sets.weights[:, None]
    by_cluster = np.column_stack([np.bincount(cluster, column) for column in residuals.T])
    return np.sqrt(((by_cluster @ inverse) ** 2).sum(axis=0))


def _score_residuals(sets: _RiskSets, x: np.ndarray, beta: np.ndarray) -> np.ndarray:
    """Each row's part of the score, a column a covariate, before weighting."""
    steps = _steps(sets, x, beta)
    drawn = np.column_stack([sets.met(steps.hazard * column) for column in steps.means.T])
    residuals = -(steps.risk / sets.weights)[:, None] * (x * sets.met(steps.hazard)[:, None] - drawn)
    mean = np.column_stack([sets.in_each(column) / sets.tied for column in steps.means.T])
    residuals[sets.events] += x[sets.events] - mean[sets.own]
    return residuals
