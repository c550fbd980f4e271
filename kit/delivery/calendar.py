"""The days of treated wounds: a row a wound and day, what became of the session, and when the wound was not there."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.shortfalls import fate_of_each
from kit.plan import Plan
from kit.quarter import within

DAYS = 91  # shown of each wound where the export shares no calendar
CLOSED = "closed"
# Of several sessions on one day the one that says most of what went wrong is shown.
ORDER = ("missed", "shortened", "short", "no minutes", "no head", "not known", "not judged", "other", "full")


def calendar(
    sessions: pd.DataFrame, judged: pd.DataFrame, episodes: pd.DataFrame, facility: pd.Series, plan: Plan
) -> pd.DataFrame:
    """What became of each session of the quarter by wound and day.

    Columns in: sessions with `facility`, the house of each; judged as in `kit.delivery.agreement`. Columns out: wound,
    facility, day, at (days since the quarter began; where there is no calendar days since the wound's first session, of
    which 91 are shown), fate (as in `kit.delivery.shortfalls.fates`, or closed). In the order of facility, wound, day.
    """
    rows = sessions.assign(facility=facility.to_numpy(), fate=fate_of_each(sessions, judged)["fate"])
    rows = rows.assign(order=rows["fate"].map(ORDER.index)).sort_values(["wound", "day", "order"])
    rows = rows.drop_duplicates(["wound", "day"])[["wound", "facility", "day", "fate"]]
    ends = episodes[episodes["outcome"] == CLOSED][["wound", "end_day"]].rename(columns={"end_day": "day"})
    homes = rows.drop_duplicates("wound")[["wound", "facility"]]
    told = pd.concat([rows, ends.merge(homes, on="wound").assign(fate=CLOSED)]).astype({"day": "int64"})
    told = within(told, plan)
    begins = told.groupby("wound")["day"].transform("min") if plan.cutoff is None else plan.quarter_begins
    told = told.assign(at=told["day"] - begins)
    treated = told.loc[told["fate"] != CLOSED, "wound"]
    told = told[(told["at"] < length(plan)) & told["wound"].isin(treated)]
    return told.sort_values(["facility", "wound", "day"], ignore_index=True)


def length(plan: Plan) -> int:
    """Days of the quarter, or the 91 that are shown where there is none."""
    return DAYS if plan.cutoff is None else plan.cutoff - plan.quarter_begins + 1


def most_missed(told: pd.DataFrame, most: int) -> pd.DataFrame:
    """The calendar of so many wounds at most, those with most sessions not in full; in the same order."""
    off = (~told["fate"].isin(["full", CLOSED])).groupby(told["wound"]).sum()
    kept = off.iloc[np.lexsort((off.index, -off.to_numpy()))[:most]].index
    return told[told["wound"].isin(kept)].reset_index(drop=True)
