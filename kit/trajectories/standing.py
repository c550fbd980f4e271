"""Where each open wound stands beside the course expected of wounds like it: slow, as expected, or fast."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.healing.weeks import sized_open
from kit.plan import WEEK, Plan
from kit.trajectories.courses import Courses, design_as_charted
from kit.trajectories.engine import Fit
from kit.trajectories.inference import predicted
from kit.trajectories.models import enough, fitted, walk_of
from kit.trajectories.sums import Rows
from kit.wounds.episodes import OPEN

SLOW, EXPECTED, FAST = "slow", "as expected", "fast"
UNCLEAR, NOT_TOLD = "not clear yet", "not told"
MOST_WRONG = 1 / 3  # a likelier mistake is not told as a standing; common practice, no source
APART = 0.05  # a week, of log size: about five percent a week; common practice, no source
FRESH_SIZES = 2  # sizes within twice the plan's fresh days that a wound must have
TOO_FEW = "too few courses to say what is expected"
TOLD = ("stands", "own", "own_low", "own_high", "expected", "wrong", "why")
COLUMNS = ("wound", "resident", "facility", "size", "size_day", "weeks_seen", *TOLD)


def standing(seen: Courses, episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Every open wound of the courses with its own pace, the pace expected of wounds like it, and how it stands.

    Columns out: wound, resident, facility, size (cm2, last measured), size_day, weeks_seen, stands (slow, as expected,
    fast, not clear yet, or not told), own, own_low, own_high (percent smaller a week over its course so far, shrunk,
    95%), expected (of wounds of its stage and covariates), wrong (the chance that it stands elsewhere), why (why it is
    not told, else "").

    A wound's own pace is drawn towards the expected one, the more the fewer its sizes. It is slow when it shrinks at
    least five percent a week less than expected, fast when at least five more; it is told to be what is likeliest of
    the three, unless that would be wrong more than one time in three. Regimens play no part: slow wounds are the ones
    that start. The model lets sizes wander from week to week, or the chances would be too sure. Two sizes within twice
    the plan's fresh days before its last day are needed.
    """
    last = seen.sizes.drop_duplicates("wound", keep="last").set_index("wound")
    first = seen.sizes.drop_duplicates("wound").set_index("wound")
    still = episodes[(episodes["outcome"] == OPEN) & ~episodes["vanished"] & episodes["wound"].isin(last.index)]
    still = still.sort_values("wound").set_index("wound")
    last, first = last.loc[still.index], first.loc[still.index]
    fresh = _fresh(measurements, still, plan) >= FRESH_SIZES
    told = _paces(seen, last) if enough(seen) else pd.DataFrame(np.nan, last.index, list(TOLD)).assign(why=TOO_FEW)
    told = told.where(fresh, np.nan, axis=0).assign(
        why=told["why"].where(fresh, f"fewer than two sizes in the last {2 * plan.sizes.fresh_days} days"),
        stands=told["stands"].astype(object).where(fresh & (told["why"] == ""), NOT_TOLD),
    )
    known = last[["resident", "facility", "size"]].assign(size_day=last["day"].astype("int64"))
    known = known.assign(weeks_seen=(last["day"] - first["day"]).astype(float) / WEEK)
    return pd.concat([known, told], axis=1).rename_axis("wound").reset_index()[list(COLUMNS)]


def _fresh(measurements: pd.DataFrame, still: pd.DataFrame, plan: Plan) -> pd.Series:
    """How many sizes each wound has in the last days before it was last in view."""
    sized = sized_open(measurements)
    before = sized["wound"].map(still["end_day"]) - sized["day"]
    recent = before.between(0, 2 * plan.sizes.fresh_days - 1).fillna(False).astype(bool)
    return sized[recent].groupby("wound")["day"].nunique().reindex(still.index).fillna(0)


def _paces(seen: Courses, last: pd.DataFrame) -> pd.DataFrame:
    """Own and expected pace of each wound of `last`, and the chances of the three ways to stand."""
    columns = design_as_charted(seen)
    rows, fit = fitted(seen, columns, walk=walk_of(seen, columns))
    apart, error = _apart(rows, fit, last)
    expected = expected_slope(seen, fit, last)
    slower, faster = norm.sf(APART, apart, error), norm.cdf(-APART, apart, error)
    chances = np.column_stack([slower, 1 - slower - faster, faster])
    off, wrong = norm.isf(0.025) * error, 1 - chances.max(axis=1)
    likeliest = np.array([SLOW, EXPECTED, FAST], dtype=object)[chances.argmax(axis=1)]
    return pd.DataFrame(
        {
            "stands": np.where(wrong <= MOST_WRONG, likeliest, UNCLEAR),
            "own": 100 * (1 - np.exp(expected + apart)),
            "own_low": 100 * (1 - np.exp(expected + apart + off)),
            "own_high": 100 * (1 - np.exp(expected + apart - off)),
            "expected": 100 * (1 - np.exp(expected)),
            "wrong": wrong,
            "why": "",
        },
        index=last.index,
    )


def _apart(rows: Rows, fit: Fit, last: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """By how much the slope of each wound differs from the expected one, shrunk, and its standard error."""
    place = pd.Series(np.arange(len(rows.wounds)), index=rows.wounds).loc[last.index].to_numpy()
    effects = predicted(rows, fit)
    return effects.wound[place, 1], np.maximum(effects.slope_error[place], 1e-9)


def expected_slope(seen: Courses, fit: Fit, last: pd.DataFrame) -> np.ndarray:
    """The weekly change of log size expected of wounds of the stage and covariates of each of `last`."""
    told = dict(zip(fit.names, fit.beta, strict=True))
    slope = np.full(len(last), told["week"])
    for group in last["stage_group"].unique():
        slope += np.where(last["stage_group"] == group, told.get(f"{group}, a week", 0.0), 0.0)
    for name in seen.covariates:
        slope += last[name].to_numpy() * told.get(f"{name}, a week", 0.0)
    return slope
