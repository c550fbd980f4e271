"""The delayed exponential: a wound keeps its size for a while, then loses the same share of it every week.

Cukjati et al. 2000, Med Biol Eng Comput 38:339, chose it among the curves of few parameters, and in 2001, 39:263, asked
after how many weekly areas it forecasts the closing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from kit.plan import WEEK, Plan
from kit.trajectories.summaries import comparable

LEAST_AREAS = 5  # in so many weeks; Cukjati et al. 2001
USED = (5, 6, 7)  # areas of 4, 5 and 6 weeks, the three that Cukjati et al. 2001 held against each other
SHARE_LEFT, SIZE_LEFT = 0.05, 1.0  # of the first size, and cm2: below both a wound counts as closed
NEAR = 2.0  # weeks; a forecast so close to the closing counts as near. Common practice, no source
HALF_WEEK = 3  # days a round may come early or late and still belong to its week
STILL = 1e-9  # a week; a slower fall is what rounding leaves of none


def fit_delayed(
    wound: Sequence | pd.Series,
    day: Sequence | pd.Series,
    size: Sequence | pd.Series,
    share_left: float = SHARE_LEFT,
    size_left: float = SIZE_LEFT,
) -> pd.DataFrame:
    """The delayed exponential of each wound: A0 up to the delay, then A0 exp(-rate (t - delay)).

    Three columns in, a row an open measurement: wound, day (whole number), size (cm2, above 0), in any order.
    Columns out, a row a wound in the order of wound: wound, areas (count), first_size (fitted A0, cm2), delay (weeks
    since the first day), rate (a week), closes (weeks from the first day to the predicted closing).

    All but the count is missing where there are not five areas in five weeks, each area counted to the whole week it
    lies next to. A wound that does not shrink has rate 0, no delay, and closes never (infinite). Least squares on the
    logarithm, which is our choice: errors of a ruler are proportional to the size. The delay is a whole number of days
    and ends before the last two areas, so that no single one sets the rate.

    The curve never reaches 0. A wound counts as closed when the fitted size falls below 5% of the fitted first size and
    below 1 cm2: so Cukjati et al., from memory and with low certainty. Both are parameters, because the week of closing
    hangs on them and the shape of the curve does not.
    Raises ValueError where a size is missing or not above 0, or a threshold is not above 0.
    Source: Cukjati D et al., Medical & Biological Engineering & Computing 2000;38:339-347 and 2001;39:263-271.
    """
    areas = _areas(wound, day, size)
    if not (share_left > 0 and size_left > 0):
        raise ValueError("threshold: share_left and size_left must be above 0, for the curve never reaches 0")
    counted = areas.groupby("wound").agg(areas=("day", "size"), spread=("week", "nunique"))
    enough = areas[areas["wound"].map(counted["spread"]).ge(LEAST_AREAS)]
    fitted = _fitted(enough)
    left = np.minimum(share_left * fitted["first_size"], size_left)
    fall = np.maximum(np.log(fitted["first_size"] / left), 0.0)
    # Where the rate is 0 nothing falls: the division is by a missing number, and the closing never.
    weeks = fitted["delay"] + fall / fitted["rate"].where(fitted["rate"] > 0)
    fitted = fitted.assign(closes=weeks.mask(fitted["rate"] == 0, np.inf))
    out = counted[["areas"]].join(fitted).astype({"areas": "int64"}).reset_index()
    return out[["wound", "areas", "first_size", "delay", "rate", "closes"]]


def forecasts(
    episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan, weeks: tuple[int, ...] = (4, 8)
) -> pd.DataFrame:
    """What the first five, six and seven weekly areas of the cohort's wounds foretold, beside what came of them.

    Columns in: as for `kit.trajectories.summaries.summaries`.
    Columns out, a row for each number of areas and each horizon: areas (used), weeks_ahead (horizon, after the last
    area used), wounds (still open with so many weekly areas), predicted_closed, closed_as_predicted, predicted_open,
    open_as_predicted, not_followed (not seen to the horizon; neither right nor wrong, and not among the predicted).
    Then of those seen to close at any time, the same at each horizon: closed_later (wounds), weeks_off (median of
    predicted less recorded week, infinite where half were never to close) and within_two_weeks (wounds). Nothing is
    weighted.

    Where the horizon lies beyond the cut-off a wound is not followed even if it has closed: its like that stay open
    could not be seen to. Where the export shares no calendar that cannot be told, and closings are too many.
    `closed_later` are the faster ones of those that will close.
    """
    cohort = episodes[episodes["in_cohort"]]
    areas = _weekly(cohort, measurements)
    rows = []
    for used in USED:
        told = _foretold(areas, used)
        rows += [_held_against(told, used, ahead, plan) for ahead in weeks]
    return pd.DataFrame(rows, columns=COLUMNS).astype(TYPES)


COUNTS = (
    "areas", "weeks_ahead", "wounds", "predicted_closed", "closed_as_predicted", "predicted_open",
    "open_as_predicted", "not_followed", "closed_later", "within_two_weeks",
)  # fmt: skip
TYPES = {**dict.fromkeys(COUNTS, "int64"), "weeks_off": "float64"}
COLUMNS = [*COUNTS[:-1], "weeks_off", "within_two_weeks"]


def _areas(wound: Sequence | pd.Series, day: Sequence | pd.Series, size: Sequence | pd.Series) -> pd.DataFrame:
    """The areas in the order of wound and day, with whole weeks and exact ones since the first, and log size."""
    areas = pd.DataFrame(
        {"wound": np.asarray(wound, dtype=object), "day": np.asarray(day, dtype=np.int64),
         "size": np.asarray(size, dtype=float)}
    ).sort_values(["wound", "day", "size"], ignore_index=True)  # fmt: skip
    if not (areas["size"] > 0).all():
        raise ValueError("size: a size is missing or not above 0; leave closed and unsized measurements out")
    since = areas["day"] - areas.groupby("wound")["day"].transform("min")
    return areas.assign(since=since, week=_nearest_week(since), log=np.log(areas["size"]))


def _nearest_week(since: pd.Series) -> pd.Series:
    return (since + HALF_WEEK) // WEEK


def _fitted(areas: pd.DataFrame) -> pd.DataFrame:
    """first_size, delay and rate of each wound: the best of all delays, each solved in closed form."""
    code, names = pd.factorize(areas["wound"])
    since, log = areas["since"].to_numpy(), areas["log"].to_numpy()
    mean = _mean(code, log)
    latest = areas.groupby("wound", sort=False)["since"].nth(-2).to_numpy() - 1
    best = {name: np.zeros(len(names)) for name in ("gain", "rate", "delay", "later")}
    for wait in range(int(latest.max(initial=-1)) + 1):
        found = _at_delay(code, since, log - mean[code], wait)
        better = (latest >= wait) & (found["gain"] > best["gain"])
        best = {name: np.where(better, found[name], best[name]) for name in best}
    falls = best["rate"] > STILL
    rate = np.where(falls, best["rate"], 0.0)
    delay = np.where(falls, best["delay"], np.nan)
    first = np.exp(mean + rate * best["later"])
    return pd.DataFrame({"first_size": first, "delay": delay, "rate": rate}, index=pd.Index(names, name="wound"))


def _at_delay(code: np.ndarray, since: np.ndarray, centred: np.ndarray, wait: int) -> dict[str, np.ndarray]:
    """The best rate at one delay (days), the mean of the weeks beyond it, and by how much the sum of squares falls."""
    beyond = np.maximum(since - wait, 0) / WEEK
    later = _mean(code, beyond)
    apart = beyond - later[code]
    square, cross = np.bincount(code, apart**2), np.bincount(code, apart * centred)
    rate = np.maximum(-np.divide(cross, square, out=np.zeros_like(cross), where=square > 0), 0.0)
    return {"gain": rate**2 * square, "rate": rate, "delay": np.full(len(rate), wait / WEEK), "later": later}


def _mean(code: np.ndarray, values: np.ndarray) -> np.ndarray:
    return np.bincount(code, values) / np.maximum(np.bincount(code), 1)


def _weekly(cohort: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """The first size of each week of each wound, counted from its first size; `turn` numbers them from 0."""
    sizes = comparable(cohort, measurements)
    week = _nearest_week(sizes["day"] - sizes.groupby("wound")["day"].transform("min"))
    sizes = sizes.assign(week=week).drop_duplicates(["wound", "week"])
    return sizes.assign(turn=sizes.groupby("wound").cumcount())


def _foretold(areas: pd.DataFrame, used: int) -> pd.DataFrame:
    """The wounds with so many weekly areas: last (day of the last one used), predicted (day), end_day, closed."""
    first = areas[(areas["turn"] < used) & (areas.groupby("wound")["day"].transform("size") >= used)]
    fitted = fit_delayed(first["wound"], first["day"], first["size"]).set_index("wound")
    days = first.groupby("wound")["day"].agg(["min", "max"])
    ends = first.drop_duplicates("wound").set_index("wound")
    return pd.DataFrame(
        {
            "last": days["max"],
            "predicted": days["min"] + WEEK * fitted["closes"],
            "end_day": ends["end_day"],
            "closed": ends["outcome"] == "closed",
        }
    )


def _held_against(told: pd.DataFrame, used: int, ahead: int, plan: Plan) -> dict[str, float]:
    """One row of the forecasts. A wound that leaves on the day of the horizon was open on it."""
    due = told["last"] + WEEK * ahead
    closed = told["closed"] & (told["end_day"] <= due)
    known = closed | (told["end_day"] >= due)
    if plan.cutoff is not None:
        known &= due <= plan.cutoff
    foretold = told["predicted"] <= due
    return {
        "areas": used,
        "weeks_ahead": ahead,
        "wounds": len(told),
        "predicted_closed": (known & foretold).sum(),
        "closed_as_predicted": (known & foretold & closed).sum(),
        "predicted_open": (known & ~foretold).sum(),
        "open_as_predicted": (known & ~foretold & ~closed).sum(),
        "not_followed": (~known).sum(),
        **_of_those_closed(told[told["closed"]]),
    }


def _of_those_closed(told: pd.DataFrame) -> dict[str, float]:
    off = ((told["predicted"] - told["end_day"]) / WEEK).to_numpy(dtype=float)
    return {
        "closed_later": len(off),
        "weeks_off": np.median(off) if len(off) else np.nan,
        "within_two_weeks": int((np.abs(off) <= NEAR).sum()),
    }
