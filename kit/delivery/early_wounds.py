"""The wounds whose minutes in the first two weeks can be read: open and in view after day 14, all of them known."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.plan import Plan
from kit.wounds.episodes import OPEN
from kit.wounds.regimens import given

LANDMARK = 14  # days from the first session in which minutes are counted
USED = "in the two halves"
# Three groups of size take away about four fifths of what size does (Cochran 1968, Biometrics 24:295).
THIRDS = 3


def sorted_out(episodes: pd.DataFrame, sessions: pd.DataFrame, plan: Plan) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Who is left out and why, the first reason that holds; and the wounds used, followed from day 14 on.

    Columns out: reason, wounds, residents; and those of episodes with early_minutes and days (from day 14 to the end).
    """
    started = episodes[episodes["start_day"].notna()].reset_index(drop=True)
    days = (started["end_day"] - started["start_day"]).astype(float) - LANDMARK
    minutes, known = _early_minutes(started, sessions)
    over, outcome = ~(days > 0), started["outcome"].astype(object)
    reasons = (
        ("outside the cohort", ~started["in_cohort"]),
        ("treated before it was first measured", started["running"]),
        ("began with another modality, or several", ~_began_with_stimulation(started, sessions)),
        ("closed within 14 days", over & (outcome == "closed")),
        ("not followed for 14 days", over & (outcome == OPEN)),
        ("died or departed within 14 days", over),
        ("a session without minutes or status", ~known),
    )
    reason = pd.Series(USED, index=started.index, dtype=object)
    for name, holds in reversed(reasons):
        reason = reason.mask(holds.astype(bool), name)
    by = started.groupby(reason.to_numpy())["resident"]
    account = pd.DataFrame({"wounds": by.size(), "residents": by.nunique()})
    account = account.reindex([USED, *(name for name, _ in reasons)], fill_value=0).rename_axis("reason")
    wounds = started.assign(early_minutes=minutes, days=days, outcome=outcome)[reason == USED]
    return account.reset_index(), wounds.astype({"days": "int64"}).reset_index(drop=True)


def _early_minutes(started: pd.DataFrame, sessions: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """Minutes of stimulation of each wound in days 0 to 13, and whether every session then tells status and minutes."""
    rows = sessions[sessions["modality"] == "stimulation"].merge(started[["wound", "start_day"]], on="wound")
    rows = rows[(rows["day"] - rows["start_day"]).between(0, LANDMARK - 1).astype(bool)]
    taken = given(rows)
    lacking = pd.concat([rows[rows["status"].isna()], taken[taken["minutes"].isna()]])
    minutes = started["wound"].map(taken.groupby("wound")["minutes"].sum()).astype(float).fillna(0)
    return minutes, ~started["wound"].isin(lacking["wound"])


def _began_with_stimulation(started: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    rows = given(sessions).merge(started[["wound", "start_day"]], on="wound")
    opening = rows[(rows["day"] == rows["start_day"]).astype(bool)]
    others = opening.loc[opening["modality"] != "stimulation", "wound"]
    return started["wound"].isin(opening["wound"]) & ~started["wound"].isin(others)


def sized(wounds: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The wounds with the last size that was fresh on day 14 (landmark_size) and the third of all sizes it lies in."""
    sizes = sized_open(measurements)[["wound", "day", "size"]].sort_values("day", kind="stable")
    asked = wounds.assign(landmark=wounds["start_day"].astype("int64") + LANDMARK).sort_values(
        "landmark", kind="stable"
    )
    told = pd.merge_asof(
        asked, sizes, left_on="landmark", right_on="day", by="wound", tolerance=plan.sizes.fresh_days
    ).sort_values("wound", ignore_index=True)
    third = np.ceil(THIRDS * told["size"].rank() / told["size"].count() - 1e-9)
    return told.rename(columns={"size": "landmark_size"}).assign(third=third)
