"""The weeks of each wound: what was known of it at the end of every week, and what was done in it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN, UNTREATED
from kit.wounds.regimens import given


def course(episodes: pd.DataFrame, measurements: pd.DataFrame, sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """One row for each week of each wound, from the week that begins at entry to the week in which it ends.

    A wound still open has its whole weeks only: of a week that is not over nobody knows how it ends.

    Week w covers the days from entry + 7 w + 1 to entry + 7 w + 7; the day of entry belongs to week 0.

    Columns out: wound, week, week_ends (day), state at the end of the week (open, or the outcome), size (cm2, the last
    measured), size_day, fresh (measured within the plan's `fresh_days` up to the end of the week), regimen (by the last
    day of the week; "no modality" before any), sessions and minutes (device) of the week. A size is what was last
    measured, never a guess; whether it is fresh says whether it may be used.
    """
    known = episodes[episodes["entry_day"].notna()]
    weeks = _weeks(known)
    weeks = _last_size(weeks, measurements, plan)
    return _treated(weeks, sessions)[
        ["wound", "week", "week_ends", "state", "size", "size_day", "fresh", "regimen", "sessions", "minutes"]
    ]


def _weeks(known: pd.DataFrame) -> pd.DataFrame:
    days = (known["end_day"] - known["entry_day"]).astype("int64")
    whole, begun = days // WEEK, np.maximum(1, -(-days // WEEK))
    counts = np.where(known["outcome"] == OPEN, whole, begun)
    rows = known.loc[known.index.repeat(counts)].reset_index(drop=True)
    week = rows.groupby("wound").cumcount()
    ends = rows["entry_day"].astype("int64") + WEEK * (week + 1)
    over = (rows["end_day"].astype("int64") <= ends) & (rows["outcome"] != OPEN)
    started = (rows["start_day"] <= ends).fillna(False).astype(bool)
    return rows.assign(
        week=week,
        week_ends=ends,
        state=rows["outcome"].astype(object).where(over, OPEN),
        regimen=rows["regimen"].where(started, UNTREATED),
    )


def _last_size(weeks: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    entry = measurements["wound"].map(weeks.drop_duplicates("wound").set_index("wound")["entry_day"])
    own = measurements["size"].notna() & (measurements["day"] >= entry).fillna(False)
    sized = measurements[own][["wound", "day", "size"]]
    sized = sized.rename(columns={"day": "size_day"}).sort_values("size_day", kind="stable")
    joined = pd.merge_asof(
        weeks.sort_values("week_ends", kind="stable"), sized, left_on="week_ends", right_on="size_day", by="wound"
    )
    fresh = joined["week_ends"] - joined["size_day"] < plan.sizes.fresh_days
    return joined.assign(fresh=fresh.fillna(False), size_day=joined["size_day"].astype("Int64"))


def _treated(weeks: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    taken = given(sessions)[["wound", "day", "minutes"]].merge(
        weeks[["wound", "entry_day"]].drop_duplicates(), on="wound"
    )
    days = taken["day"] - taken["entry_day"].astype("int64")
    taken = taken.assign(week=np.maximum(0, -(-days // WEEK) - 1))[days >= 0]
    sums = taken.groupby(["wound", "week"], as_index=False).agg(sessions=("day", "size"), minutes=("minutes", "sum"))
    joined = weeks.merge(sums, on=["wound", "week"], how="left").sort_values(["wound", "week"], ignore_index=True)
    return joined.fillna({"sessions": 0, "minutes": 0.0}).astype({"sessions": "int64"})
