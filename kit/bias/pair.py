"""The two arms of the comparison row by row, with their weights, and how far a mean or a rate stands apart in them."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import t

from kit.bias.evidence import Evidence
from kit.healing.comparison import any_modality, arms
from kit.wounds.episodes import LATE

SEEN = 0.8  # the chance with which a difference is called likely to be seen
LEAST_PEOPLE = 5  # residents of each arm in whom a thing is known; common practice, no source
TESTS = 9  # between the arms, that stand together


@lru_cache(maxsize=4)
def pair(evidence: Evidence) -> pd.DataFrame:
    """A row for each start and for each week beside it, as the answer weighs them when its clock starts.

    Columns out: those of the weeks, week_row (of `answers.layout.weeks`), started, weight, until (the day up to which
    the row is followed within the horizon: its end, or the day on which it starts later), weeks_seen (from time zero to
    it). Weeks beside of no weight are left out; without a start on one side there is no row. What the answer adds for
    who starts later or leaves is not in the weights: here leaving is itself asked about.
    """
    layout = evidence.answers.layout
    if not len(layout.starters.week) or not len(layout.others.week):
        return _rows(evidence, np.empty(0, dtype=int), np.empty(0), np.empty(0, dtype=bool))
    both = arms(layout, any_modality(layout), np.ones((len(layout.weeks), 1)), {})
    row = np.concatenate([arm.rows.week for arm in both])
    weight = np.concatenate([arm.base[:, 0] for arm in both])
    started = np.arange(len(row)) < len(both[0].rows.week)
    kept = weight > 0
    return _rows(evidence, row[kept], weight[kept], started[kept])


def _rows(evidence: Evidence, row: np.ndarray, weight: np.ndarray, started: np.ndarray) -> pd.DataFrame:
    layout = evidence.answers.layout
    own = layout.weeks.iloc[row].reset_index(drop=True).assign(week_row=row, started=started, weight=weight)
    ends, start = own["ends"].astype(float), own["start_day"].astype(float)
    later = start.where(start > ends, LATE)
    until = np.minimum(np.minimum(own["end_day"].astype(float), later), ends + layout.horizon)
    return own.assign(until=until, weeks_seen=(until - ends) / 7)


def apart(
    values: np.ndarray,
    weight: np.ndarray,
    started: np.ndarray,
    resident: np.ndarray,
    over: np.ndarray | None = None,
) -> tuple[float, float]:
    """How far the weighted means of two arms stand apart (started less beside), and the standard error of that.

    With `over` it is sums of values over sums of `over`: a rate. Weights are taken as they are; rows of one resident
    are taken together (Liang & Zeger 1986, Biometrika 73:13), times residents over one less. Missing where an arm has
    no row or no weight.
    """
    over = np.ones(len(values)) if over is None else over
    drift, means = np.zeros(len(values)), []
    for side, sign in ((started, 1), (~started, -1)):
        whole = float((weight * over)[side].sum())
        if not whole:
            return math.nan, math.nan
        means.append(float((weight * values)[side].sum()) / whole)
        drift[side] = sign * (weight * (values - means[-1] * over))[side] / whole
    people = pd.Series(drift).groupby(resident).sum().to_numpy()
    times = len(people) / max(len(people) - 1, 1)
    return means[0] - means[1], math.sqrt(times * float((people**2).sum()))


def unrelated(values: np.ndarray, weight: np.ndarray, started: np.ndarray, over: np.ndarray | None = None) -> float:
    """The standard error of the same difference if no two rows were related and both arms varied alike.

    Both are taken to vary like the one that varies more about the middle of both means. Where nobody of one arm left,
    or everybody of one was measured by a practitioner, that arm seems not to vary at all, and its own error is too
    small. Missing where an arm has no row or no weight.
    """
    over = np.ones(len(values)) if over is None else over
    sides = [(weight[side], values[side], over[side]) for side in (started, ~started)]
    wholes = [float((w * o).sum()) for w, _, o in sides]
    if not all(wholes):
        return math.nan
    middle = sum(float((w * v).sum()) / whole for (w, v, _), whole in zip(sides, wholes, strict=True)) / 2
    spread = max(
        float((w * (v - middle * o) ** 2).sum()) / whole for (w, v, o), whole in zip(sides, wholes, strict=True)
    )
    drift = sum(float((w**2 * o).sum()) / whole**2 for (w, _, o), whole in zip(sides, wholes, strict=True))
    return math.sqrt(spread * drift)


def freedom(started: np.ndarray, resident: np.ndarray) -> int:
    """Degrees of freedom of such a difference: residents of the smaller arm, less one."""
    return min(len(set(resident[side])) for side in (started, ~started)) - 1


def chance_of(difference: float, error: float, free: int) -> float:
    """How often chance alone sets the arms so far apart, either way (Student's t); missing without an error."""
    if math.isnan(difference) or not error or free < 1:
        return math.nan
    return float(2 * t.sf(abs(difference) / error, free))


def hardly_seen(error: float, free: int, tests: int, threshold: float = 0.0) -> float:
    """The difference that fires four times in five where so many tests stand together (the first of Holm's steps).

    It has to come out beyond `threshold` too. A test that stands alone would see 2.8 standard errors so often.
    """
    often = float(t.ppf(SEEN, free))
    return max(error * (float(t.isf(0.05 / tests / 2, free)) + often), threshold + error * often)
