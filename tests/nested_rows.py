"""Small invented rows in wounds, residents and facilities; models of them; and what makes two fits one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from kit.trajectories.engine import Fit
from kit.trajectories.likelihood import deviance, levels, solved
from kit.trajectories.sums import Rows, nested
from tests.slow_mixed_model import Table, dense_deviance, spreads_at

SAME = 1e-8  # relative: the same sums in another order, through an inverse of 80 rows
SLOPE = 2e-6  # of the largest slope: central differences over 1e-5 keep six digits
STEP = 1e-5
# Two searches that begin elsewhere stop within 1e-5 standard errors of the same peak: test_mixed_models_reference.
OF_SPREADS, OF_ERRORS, OF_DEVIANCE = 1e-4, 2e-5, 1e-6


def invented(seed: int = 54, facilities: int = 4, slopes: bool = True) -> Table:
    """Up to three wounds a resident, three residents a facility, up to six measurements a wound, at half weeks.

    Columns: one, week, a column that wounds have, and one that residents have. No row stands beside its own.
    """
    chance = np.random.default_rng(seed)
    rows = [
        (f"f{facility}", f"f{facility}r{resident}", f"f{facility}r{resident}w{wound}", week)
        for facility in range(facilities)
        for resident in range(3)
        for wound in range(chance.integers(1, 4))
        for week in np.sort(chance.choice(24, chance.integers(1, 7), replace=False)) / 2
    ]
    facility, resident, wound, week = (np.array(column) for column in zip(*rows, strict=True))
    deep, old = (chance.normal(size=len(names))[place] for names, place in (numbered(wound), numbered(resident)))
    x = np.column_stack([np.ones(len(rows)), week, deep, old])
    spread = {"wound": 0.7, "resident": 0.6, "facility": 0.5, "slope": 0.15 * slopes}
    y = x @ [2.0, -0.2, 0.5, 0.3] + chance.normal(scale=0.4, size=len(rows))
    for name, labels in (("wound", wound), ("resident", resident), ("facility", facility), ("slope", wound)):
        names, place = numbered(labels)
        y = y + spread[name] * chance.normal(size=len(names))[place] * (week if name == "slope" else 1)
    return Table(y, x, week, wound, resident, facility).at(chance.permutation(len(rows)))


def numbered(labels: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.unique(labels, return_inverse=True)


def only(table: Table, *levels: str, week: bool = True) -> Table:
    """The same rows in a model that knows only these levels above the wound, and may not know slopes."""
    missing = {level: None for level in ("resident", "facility") if level not in levels}
    return replace(table, **missing, **({} if week else {"week": None}))


def copied(table: Table, counts: dict[str, int]) -> Table:
    """Every resident so many times, each time under a name of their own; a facility stays one."""
    rows, suffix = [], []
    for resident, count in counts.items():
        for turn in range(count):
            own = np.flatnonzero(table.resident == resident)
            rows.extend(own)
            suffix.extend([f"-{turn}"] * len(own))
    picked = table.at(np.array(rows))
    return replace(
        picked,
        wound=np.char.add(picked.wound, suffix),
        resident=np.char.add(picked.resident, suffix),
    )


# --- models of them ---


@dataclass(frozen=True)
class Model:
    """Which levels a model knows above the wound, whether wounds have slopes, and the walk beneath them."""

    above: tuple[str, ...]
    slopes: bool
    walk: float = 0.0

    def __str__(self) -> str:
        return "-".join(["wound", *self.above, "slopes" * self.slopes, f"walk{self.walk}" * bool(self.walk)])

    @property
    def free(self) -> list[bool]:
        return [True, self.slopes, self.slopes, "resident" in self.above, "facility" in self.above]


ABOVE = [(), ("resident",), ("facility",), ("resident", "facility")]
MODELS = [Model(above, slopes, walk) for above in ABOVE for slopes, walk in ((False, 0), (True, 0), (True, 0.3))]
THETAS = {
    "middle": [1.1, 0.3, 0.6, 0.7, 0.4],
    "contrary slopes": [0.8, -1.2, 0.2, 0.3, 1.5],
    "parts at nought": [0.0, 0.0, 0.9, 0.0, 0.5],
    "large": [20.0, -5.0, 8.0, 12.0, 6.0],
}


@cache
def table_of(model: Model) -> Table:
    return only(invented(), *model.above, week=model.slopes)


def rows_of(table: Table, walk: float = 0.0) -> Rows:
    return nested(table.y, table.x, table.week, table.wound, table.resident, table.facility, walk=walk)


def theta_of(model: Model, where: str) -> np.ndarray:
    return np.where(model.free, THETAS[where], 0.0)


def fast_deviance(rows: Rows, theta: np.ndarray, reml: bool, counts: np.ndarray | None = None) -> float:
    at = levels(rows, theta, counts)
    return deviance(rows, at, solved(rows, at), reml)


def differences(table: Table, rows: Rows, theta: np.ndarray, reml: bool, walk: float, variance=None) -> np.ndarray:
    """Central differences of the slow deviance by each part."""
    ends = [[theta + sign * STEP * part for sign in (1, -1)] for part in np.eye(5)]
    told = [
        [dense_deviance(table, spreads_at(end, rows.week_unit, walk), reml, variance) for end in two] for two in ends
    ]
    return np.array([above - below for above, below in told]) / (2 * STEP)


def fits_are_one(fit: Fit, other: Fit, slack: float = 1.0) -> None:
    """The same fit, found from rows that stand elsewhere; `slack` times the usual tolerances where it is hard."""
    of_errors, of_spreads = slack * OF_ERRORS, slack * OF_SPREADS
    assert fit.converged and other.converged
    assert fit.deviance == pytest.approx(other.deviance, abs=slack * OF_DEVIANCE)
    assert (fit.beta - other.beta) / other.errors == pytest.approx(np.zeros(len(fit.beta)), abs=of_errors)
    assert fit.errors == pytest.approx(other.errors, rel=of_errors)
    largest = np.abs(other.wound_covariance).max()
    assert fit.wound_covariance == pytest.approx(other.wound_covariance, abs=of_spreads * largest)
    spreads = [[each.residual_sd, each.resident_sd, each.facility_sd] for each in (fit, other)]
    assert spreads[0] == pytest.approx(spreads[1], rel=of_spreads, abs=of_spreads)


# --- six wounds of four rows on three residents, whose response is chance alone ---

CHANCE = np.random.default_rng(7).normal(size=24)
ONES = np.ones((24, 1))
WEEK = np.tile([0.0, 1, 2, 3], 6)
WOUNDS = np.repeat(["a", "b", "c", "d", "e", "f"], 4)
RESIDENTS = np.repeat(["r", "s", "t"], 8)
LINES = np.column_stack([ONES, WEEK])


def small(rows: int = 24, **changed) -> Rows:
    """Six wounds of four rows on three residents, at weeks 0 to 3; the first few rows, with what a case changes."""
    given = {"y": CHANCE, "x": LINES, "week": WEEK, "wound": WOUNDS, "resident": RESIDENTS} | changed
    return nested(**{name: value if value is None else value[:rows] for name, value in given.items()})
