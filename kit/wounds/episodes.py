"""One record a wound: when it came into view, what it came to, and when it was first treated."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import Plan
from kit.vocabulary import OUTCOMES
from kit.wounds.regimens import starts

OPEN = "open"
UNTREATED = "no modality"
LATE = 10**9  # later than any day; stands for "never" in comparisons only


def episodes(
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    sessions: pd.DataFrame,
    departures: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """One row a wound that was ever measured, in the order of `wound`.

    Columns out, days as whole numbers:

    | column | meaning |
    | --- | --- |
    | wound, resident, facility, kind, site | as in the export; facility is "not named" where none is |
    | entry_day, entry_size, entry_stage | first day measured open, its cm2 and charted stage |
    | last_open_day | last day measured open before the end: closing lies in (last_open_day, end_day] |
    | end_day, outcome | what the wound came to: closed, died, hospital, left, surgical_closure, or open |
    | confirmed | a closing that was watched for `confirm_days` without reopening |
    | reopened, vanished | marks: closed then open again; last open and never seen again |
    | regimen, start_day | by the first session before the end; "no modality" where there was none |
    | running | treated before it was first measured: its start was not seen |
    | in_cohort, left_out | whether the report's comparison of times may use it, and why not |

    A closing is the first measurement recorded closed and not recorded open again within `confirm_days`. Death,
    leaving, surgical closure, and hospital without return within `bed_hold_days` end the follow-up at departure; a
    shorter stay, or one that is not over at the cut-off and may yet be short, does not. Within a day measurement comes
    before departure, and departure before session. A wound still open ends at its last open measurement.
    """
    seen = _entries(wounds, measurements)
    seen = seen.merge(_closings(measurements, seen, plan), on="wound", how="left")
    seen = seen.merge(_endings(seen, departures, plan), on="wound", how="left")
    seen = _ended(seen, measurements)
    seen = _started(seen, sessions, plan)
    seen = seen.merge(residents[["resident", "facility", "last_day"]], on="resident", how="left")
    watched = _watched_until(seen, measurements, plan)
    seen = seen.assign(facility=seen["facility"].fillna("not named"))
    seen = _marked(seen, watched, departures, plan)
    return _in_cohort(seen, plan)[COLUMNS].sort_values("wound", ignore_index=True)


COLUMNS = [
    "wound", "resident", "facility", "kind", "site", "entry_day", "entry_size", "entry_stage", "last_open_day",
    "end_day", "outcome", "confirmed", "reopened", "vanished", "regimen", "start_day", "running", "in_cohort",
    "left_out",
]  # fmt: skip


def _entries(wounds: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """Every measured wound with its first open measurement (none where it was only ever seen closed)."""
    measured = wounds[wounds["wound"].isin(measurements["wound"])][["wound", "resident", "kind", "site"]]
    opened = measurements[measurements["state"] == "open"].sort_values(["wound", "day"])
    first = opened.drop_duplicates("wound")[["wound", "day", "size", "stage"]]
    first = first.rename(columns={"day": "entry_day", "size": "entry_size", "stage": "entry_stage"})
    return measured.merge(first, on="wound", how="left").astype({"entry_day": "Int64"})


def _closings(measurements: pd.DataFrame, seen: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The day of closing of each wound that closed, and whether an earlier closing did not hold."""
    rows = measurements[["wound", "day", "state"]].merge(seen[["wound", "entry_day"]], on="wound")
    rows = rows[rows["day"] >= rows["entry_day"]].sort_values(["wound", "day"])
    next_open = rows["day"].where(rows["state"] == "open").groupby(rows["wound"]).bfill()
    shut = rows[rows["state"] == "closed"].assign(next_open=next_open)
    holds = ~(shut["next_open"] - shut["day"] <= plan.following.confirm_days)
    closed = shut[holds].drop_duplicates("wound")[["wound", "day"]].rename(columns={"day": "closed_day"})
    again = shut.groupby("wound")["next_open"].count().gt(0).rename("reopened").reset_index()
    return again.merge(closed, on="wound", how="left").astype({"closed_day": "Int64"})


def _endings(seen: pd.DataFrame, departures: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The first departure of each wound from its entry on that ends its follow-up."""
    ends = departures[_ends_follow_up(departures, plan)].rename(columns={"day": "gone_day", "reason": "gone"})
    ends = ends.rename(columns={"wound": "one_wound"})[["resident", "one_wound", "gone_day", "gone"]]
    pairs = seen[["wound", "resident", "entry_day"]].merge(ends, on="resident")
    pairs = pairs[pairs["one_wound"].isna() | (pairs["one_wound"] == pairs["wound"])]
    pairs = pairs[pairs["gone_day"] >= pairs["entry_day"]].sort_values(["wound", "gone_day", "gone"])
    return pairs.drop_duplicates("wound")[["wound", "gone_day", "gone"]].astype({"gone_day": "Int64", "gone": object})


def _ends_follow_up(departures: pd.DataFrame, plan: Plan) -> pd.Series:
    """Dated at departure and known by the end of the bed hold, so that no later return is used."""
    hold = plan.following.bed_hold_days
    back = (departures["returned"] - departures["day"]).astype("Float64").fillna(LATE) <= hold
    stay = departures["reason"].isin(["hospital", "left"])
    waiting = pd.Series(False, index=departures.index)
    if plan.cutoff is not None:
        waiting = (departures["reason"] == "hospital") & (plan.cutoff - departures["day"] <= hold)
    return ~(stay & back) & ~waiting


def _ended(seen: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    closed, gone = seen["closed_day"].fillna(LATE), seen["gone_day"].fillna(LATE)
    first = np.minimum(closed, gone)
    opened = measurements[measurements["state"] == "open"][["wound", "day"]].merge(
        pd.DataFrame({"wound": seen["wound"], "first": first}), on="wound"
    )
    last = opened[opened["day"] <= opened["first"]].groupby("wound")["day"].max()
    last_open = seen["wound"].map(last).astype("Int64")
    outcome = seen["gone"].mask(closed <= gone, "closed").mask(first == LATE, OPEN)
    return seen.assign(
        last_open_day=last_open,
        end_day=first.mask(first == LATE, last_open).astype("Int64"),
        outcome=outcome.astype(pd.CategoricalDtype([*OUTCOMES, OPEN])),
    )


def _started(seen: pd.DataFrame, sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The start counts only before the end: what closed or left that day did so untreated."""
    seen = seen.merge(starts(sessions, plan), on="wound", how="left").astype({"start_day": "Int64"})
    counts = (seen["start_day"] < seen["end_day"]) | (
        (seen["outcome"] == OPEN) & (seen["start_day"] <= seen["end_day"])
    )
    counts = counts.fillna(False)
    return seen.assign(
        start_day=seen["start_day"].where(counts),
        regimen=seen["regimen"].where(counts, UNTREATED),
        running=(counts & (seen["start_day"] < seen["entry_day"])).fillna(False).astype(bool),
    )


def _watched_until(seen: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.Series:
    """The day up to which the export would show a record of the wound, had there been one."""
    if plan.cutoff is not None:
        return seen["last_day"].fillna(plan.cutoff)
    owner = measurements["wound"].map(seen.set_index("wound")["resident"])
    return seen["last_day"].fillna(seen["resident"].map(measurements["day"].groupby(owner).max()))


def _marked(seen: pd.DataFrame, watched: pd.Series, departures: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    since = watched - seen["end_day"]
    confirm = plan.following.confirm_days
    left_soon = (seen["gone_day"] - seen["end_day"]).fillna(LATE) <= confirm
    closed = seen["outcome"] == "closed"
    vanished = (seen["outcome"] == OPEN) & (since > plan.following.vanished_days)
    return seen.assign(
        confirmed=(closed & (since >= confirm) & ~left_soon).fillna(False).astype(bool),
        reopened=seen["reopened"].astype("boolean").fillna(False).astype(bool),
        vanished=vanished.fillna(False).astype(bool),
    )


def _in_cohort(seen: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Why a wound is left out of the cohort; the first reason that holds is told."""
    early = pd.Series(False, index=seen.index)
    if plan.cohort_begins is not None:
        early = (seen["entry_day"] < plan.cohort_begins).fillna(False)
    reasons = (
        ("never seen open", seen["entry_day"].isna()),
        ("entered before the cohort window", early),
        ("of a kind the plan leaves out", seen["kind"].notna() & ~seen["kind"].isin(plan.cohort.kinds)),
        ("of a stage the plan leaves out", seen["entry_stage"].notna() & ~seen["entry_stage"].isin(plan.cohort.stages)),
    )
    left_out = pd.Series("", index=seen.index, dtype=object)
    for reason, holds in reversed(reasons):
        left_out = left_out.mask(holds.astype(bool), reason)
    return seen.assign(in_cohort=left_out == "", left_out=left_out)
