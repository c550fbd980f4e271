"""Where each open wound stands beside the course expected of wounds like it: slow, as expected, or fast."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.healing.weeks import sized_open
from kit.plan import WEEK, Plan
from kit.trajectories.courses import Courses, design_as_charted
from kit.trajectories.engine import Fit, with_slope_spread
from kit.trajectories.inference import predicted, with_size
from kit.trajectories.models import laid_out, walked
from kit.trajectories.sums import CannotFit, Rows, with_walk
from kit.wounds.episodes import OPEN

SLOW, EXPECTED, FAST = "slow", "as expected", "fast"
UNCLEAR, NOT_TOLD = "not clear yet", "not told"
MOST_WRONG = 1 / 3  # a likelier mistake is not told as a standing; common practice, no source
APART = 0.05  # a week, of log size: about five percent a week; common practice, no source
# Of slopes among wounds of one size, log size a week: paces differ by three percent a week at least, however few wounds
# tell it; common practice, no source.
SPREADS = (0.03, 0.06, 0.12, 0.24, 0.48)
NO_WEIGHT = 1e-4
# Residents from which standings are told: with 20 they were wrong in 35% of wounds where 21% was stated, with 40 in 25%
# where 23% was (invented courses of six weeks, 30 to 60 exports each).
STANDS_FROM = 40
FRESH_SIZES = 2  # sizes within twice the plan's fresh days that a wound must have
TOO_FEW = "too few courses to say what is expected"
TOLD = ("stands", "own", "own_low", "own_high", "expected", "wrong", "why")
COLUMNS = ("wound", "resident", "facility", "size", "size_day", "weeks_seen", *TOLD)


def standing(seen: Courses, episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Every open wound of the courses with its own pace, the pace expected of wounds like it, and how it stands.

    Columns out: wound, resident, facility, size (cm2, last measured), size_day, weeks_seen, stands (slow, as expected,
    fast, not clear yet, or not told), own, own_low, own_high (percent smaller a week: its lasting pace, shrunk,
    95%), expected (of wounds of its stage, size and covariates), wrong (the chance that it stands elsewhere), why (why
    it is not told, else "").

    A wound's own pace is drawn towards the expected one, the more the fewer its sizes. It is slow when it shrinks at
    least five percent a week less than expected, fast when at least five more; it is told to be what is likeliest of
    the three, unless that would be wrong more than one time in three. Regimens play no part: slow wounds are the ones
    that start. Sizes may wander from week to week, and neither how much they do nor how much slopes differ is taken for
    known, or the chances would be too sure. Two sizes within twice the plan's fresh days before its last day are
    needed.
    """
    last = seen.sizes.drop_duplicates("wound", keep="last").set_index("wound")
    first = seen.sizes.drop_duplicates("wound").set_index("wound")
    still = episodes[(episodes["outcome"] == OPEN) & ~episodes["vanished"] & episodes["wound"].isin(last.index)]
    still = still.sort_values("wound").set_index("wound")
    last, first = last.loc[still.index], first.loc[still.index]
    fresh = _fresh(measurements, still, plan) >= FRESH_SIZES
    told = _told(seen, last)
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


def _told(seen: Courses, last: pd.DataFrame) -> pd.DataFrame:
    """How each wound stands, or that there are too few courses to say."""
    try:
        if len(last) and seen.sizes["resident"].nunique() >= STANDS_FROM:
            return _paces(seen, last)
    except CannotFit:
        pass
    return pd.DataFrame(np.nan, last.index, list(TOLD)).assign(why=TOO_FEW)


def _paces(seen: Courses, last: pd.DataFrame) -> pd.DataFrame:
    """Own and expected pace of each wound of `last`, and the chances of the three ways to stand."""
    fits = _weighed_fits(seen, design_as_charted(seen))
    share = np.array([weight for weight, _, _ in fits])[:, None]
    told = [(*_apart(rows, fit, last), expected_slope(seen, fit, last)) for _, rows, fit in fits]
    apart, error, of_size, usual = (np.array([each[place] for each in told]) for place in range(4))
    expected = usual + of_size
    slower, faster = norm.sf(APART, apart, error), norm.cdf(-APART, apart, error)
    chances = np.column_stack([(share * each).sum(axis=0) for each in (slower, 1 - slower - faster, faster)])
    own, middle = (share * (expected + apart)).sum(axis=0), (share * expected).sum(axis=0)
    spread = np.sqrt((share * (error**2 + (expected + apart - own) ** 2)).sum(axis=0))
    off, wrong = norm.isf(0.025) * spread, 1 - chances.max(axis=1)
    likeliest = np.array([SLOW, EXPECTED, FAST], dtype=object)[chances.argmax(axis=1)]
    return pd.DataFrame(
        {
            "stands": np.where(wrong <= MOST_WRONG, likeliest, UNCLEAR),
            "own": 100 * (1 - np.exp(own)),
            "own_low": 100 * (1 - np.exp(own + off)),
            "own_high": 100 * (1 - np.exp(own - off)),
            "expected": 100 * (1 - np.exp(middle)),
            "wrong": wrong,
            "why": "",
        },
        index=last.index,
    )


def _weighed_fits(seen: Courses, columns: pd.DataFrame) -> list[tuple[float, Rows, Fit]]:
    """Fits under every weekly walk and spread of slopes tried, each with its share of the likelihood.

    Few wounds do not tell how much slopes differ, or sizes wander; taking the likeliest for known makes every chance
    too sure (Carlin & Gelfand 1990, J Am Stat Assoc 85:105). Shares of no weight are left out.
    """
    still, tried = laid_out(seen, columns), []
    for walk, rows, fit in walked(still):
        tried += [(walk, with_slope_spread(rows, fit, spread)) for spread in SPREADS]
    least = min(fit.deviance for _, fit in tried)
    weights = np.array([np.exp(-(fit.deviance - least) / 2) for _, fit in tried])
    weights /= weights.sum()
    kept = [(share, *each) for share, each in zip(weights, tried, strict=True) if share > NO_WEIGHT]
    likely = {walk: with_walk(still, walk) for walk in {walk for _, walk, _ in kept}}  # never all of them at a time
    return [(share, likely[walk], fit) for share, walk, fit in kept]


def _apart(rows: Rows, fit: Fit, last: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """How far the slope of each wound lies from that of wounds of its size, shrunk; its error; and what size does."""
    place = pd.Series(np.arange(len(rows.wounds)), index=rows.wounds).loc[last.index].to_numpy()
    effects, by_size = predicted(rows, fit), with_size(fit)
    level, slope = effects.wound[place].T
    lean = np.array([-by_size, 1.0])
    given = effects.wound_variance[place]
    added = effects.slope_error[place] ** 2 - given[:, 1, 1]  # of the coefficients
    spread = np.einsum("i,wij,j->w", lean, given, lean) + np.maximum(added, 0.0)
    return slope - by_size * level, np.sqrt(np.maximum(spread, 1e-18)), by_size * level


def expected_slope(seen: Courses, fit: Fit, last: pd.DataFrame) -> np.ndarray:
    """The weekly change of log size expected of usual wounds of the stage and covariates of each of `last`."""
    told = dict(zip(fit.names, fit.beta, strict=True))
    slope = np.full(len(last), told["week"])
    for group in last["stage_group"].unique():
        slope += np.where(last["stage_group"] == group, told.get(f"{group}, a week", 0.0), 0.0)
    for name in seen.covariates:
        slope += last[name].to_numpy() * told.get(f"{name}, a week", 0.0)
    return slope
