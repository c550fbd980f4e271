"""One record a wound: when it came into view, what it came to, and when it was first treated."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import Plan
from kit.vocabulary import KINDS, OUTCOMES
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
    | confirmed | no reopening and no departure within `confirm_days` of the closing, and watched for as long |
    | reopened, vanished | marks: closed then open again; last open and then not seen for `vanished_days` |
    | regimen, start_day | by the first session before the end; "no modality" where there was none |
    | running | treated before it was first measured: its start was not seen |
    | in_cohort, left_out | whether the report's times to closing may use it, and why not |

    A closing is the first measurement recorded closed and not recorded open again within `confirm_days`. Death,
    leaving, surgical closure, and hospital without return within `bed_hold_days` end the follow-up at departure; a
    shorter stay does not, nor one in which the person dies, nor one that is not over when the export ends and may yet
    be short. Within a day measurement comes before departure, and departure before session.

    A wound still open is followed to the day up to which the export watches it: the cut-off, the person's `last_day`,
    or the beginning of a hospital stay that is not over. One that was not seen for longer than `vanished_days` before
    that day, or before its person died or left, ends where it was last seen open: what became of it is not known.
    """
    seen = _entries(wounds, measurements)
    seen = seen.merge(residents[["resident", "facility", "last_day"]], on="resident", how="left")
    seen = seen.assign(watched=_watched_until(seen, measurements, plan))
    seen = seen.merge(_closings(measurements, seen, plan), on="wound", how="left")
    seen = seen.merge(_endings(seen, departures, plan), on="wound", how="left")
    seen = _ended(seen, measurements, plan)
    seen = _started(seen, sessions, plan)
    seen = seen.assign(
        facility=seen["facility"].fillna("not named"),
        confirmed=_confirmed(seen, departures, plan),
        reopened=seen["reopened"].astype("boolean").fillna(False).astype(bool),
    )
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
    """The first departure of each wound from its entry on that ends its follow-up, and a stay that is not over.

    Columns out: wound, gone_day, gone, away_day. Of two departures on one day death is the one that is told.
    """
    pairs = seen[["wound", "resident", "entry_day", "watched", "last_day"]].merge(
        departures.rename(columns={"wound": "one_wound"}), on="resident"
    )
    pairs = pairs[(pairs["reason"] != "surgical_closure") | (pairs["one_wound"] == pairs["wound"])]
    pairs = pairs[pairs["day"] >= pairs["entry_day"]].assign(first=pairs["reason"] != "died")
    pairs = pairs.sort_values(["wound", "day", "first", "reason"])
    back, waiting = _stays(pairs, plan)
    gone = pairs[~back & ~waiting].drop_duplicates("wound").set_index("wound")
    away = pairs[waiting].drop_duplicates("wound").set_index("wound")
    out = pd.DataFrame({"gone_day": gone["day"], "gone": gone["reason"].astype(object), "away_day": away["day"]})
    return (
        out.astype({"gone_day": "Int64", "away_day": "Int64"})
        .rename_axis("wound")
        .reset_index()
        .astype({"wound": object})
    )


def _stays(pairs: pd.DataFrame, plan: Plan) -> tuple[pd.Series, pd.Series]:
    """Hospital stays that were short, and those that are not over when the export ends and may yet be.

    What decides is known by the end of the bed hold: a return or a death in it. No later return is used.
    """
    hold, stay = plan.following.bed_hold_days, pairs["reason"] == "hospital"
    died = pairs["resident"].map(pairs[pairs["reason"] == "died"].groupby("resident")["day"].min())
    over = pd.concat([pairs["returned"].astype("Float64"), died.astype("Float64")], axis=1).min(axis=1)
    back = stay & (over - pairs["day"] <= hold).fillna(False).astype(bool)
    # Without a calendar or a last day nobody knows when the export ends, so nothing can be waited for.
    ends = pairs["watched"] if plan.cutoff is not None else pairs["last_day"]
    waiting = stay & ~back & (ends - pairs["day"] <= hold).fillna(False).astype(bool)
    return back, waiting


def _ended(seen: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The end of each wound, the last day it was measured open before it, and whether it had vanished by then."""
    closed, gone = seen["closed_day"].fillna(LATE), seen["gone_day"].fillna(LATE)
    first = np.minimum(closed, gone)
    # What is recorded was seen, whatever day the export is said to reach: only a wound without an end is watched.
    end = first.mask(first == LATE, seen[["watched", "away_day"]].min(axis=1))
    opened = measurements[measurements["state"] == "open"][["wound", "day"]].merge(
        pd.DataFrame({"wound": seen["wound"], "end": end}), on="wound"
    )
    last_open = seen["wound"].map(opened[opened["day"] <= opened["end"]].groupby("wound")["day"].max()).astype("Int64")
    told = seen["gone"].mask(closed <= gone, "closed").mask(first == LATE, OPEN)
    known = told.isin(["closed", "surgical_closure"])  # of the wound itself; leaving tells nothing of it
    vanished = ~known & (end - last_open > plan.following.vanished_days).fillna(False)
    return seen.assign(
        last_open_day=last_open,
        vanished=vanished.astype(bool),
        end_day=end.mask(vanished | last_open.isna(), last_open).astype("Int64"),
        outcome=told.mask(vanished | last_open.isna(), OPEN).astype(pd.CategoricalDtype([*OUTCOMES, OPEN])),
    )


def _started(seen: pd.DataFrame, sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The start counts only before the end: what closed or left that day did so untreated.

    A wound lost from sight may start after it was last seen; nothing is known of it from there.
    """
    seen = seen.merge(starts(sessions, plan), on="wound", how="left").astype({"start_day": "Int64"})
    before = (seen["start_day"] < seen["end_day"]) | (seen["start_day"].notna() & (seen["outcome"] == OPEN))
    counts = before.fillna(False).astype(bool)
    return seen.assign(
        start_day=seen["start_day"].where(counts),
        regimen=seen["regimen"].where(counts, UNTREATED),
        running=(counts & (seen["start_day"] < seen["entry_day"])).fillna(False).astype(bool),
    )


def _watched_until(seen: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.Series:
    """The day up to which the export would show a record, had there been one: at least the last that it shows."""
    owner = measurements["wound"].map(seen.set_index("wound")["resident"])
    shown = seen["resident"].map(measurements["day"].groupby(owner).max()).astype("Int64")
    known = seen["last_day"] if plan.cutoff is None else seen["last_day"].fillna(plan.cutoff)
    return np.maximum(known.fillna(shown), shown)


def _confirmed(seen: pd.DataFrame, departures: pd.DataFrame, plan: Plan) -> pd.Series:
    """Closings that were watched long enough, with nobody gone meanwhile who could have shown a reopening."""
    confirm = plan.following.confirm_days
    absences = seen[["wound", "resident", "end_day"]].merge(departures[["resident", "day"]], on="resident")
    meanwhile = absences[(absences["day"] - absences["end_day"]).between(0, confirm).fillna(False).astype(bool)]
    closed = (seen["outcome"] == "closed") & (seen["watched"] - seen["end_day"] >= confirm).fillna(False)
    return (closed & ~seen["wound"].isin(meanwhile["wound"])).astype(bool)


def _in_cohort(seen: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Why a wound is left out of the cohort; the first reason that holds is told."""
    early = pd.Series(False, index=seen.index)
    if plan.cohort_begins is not None:
        early = (seen["entry_day"] < plan.cohort_begins).fillna(False)
    staged = (seen["kind"] == "pressure_injury") & seen["entry_stage"].notna()
    reasons = (
        ("never seen open", seen["entry_day"].isna()),
        ("entered before the cohort window", early),
        ("of a kind the plan leaves out", seen["kind"].notna() & ~seen["kind"].isin(plan.cohort.kinds)),
        ("of unknown kind, where the plan asks for some", seen["kind"].isna() & (set(plan.cohort.kinds) != set(KINDS))),
        ("of a stage the plan leaves out", staged & ~seen["entry_stage"].isin(plan.cohort.stages)),
    )
    left_out = pd.Series("", index=seen.index, dtype=object)
    for reason, holds in reversed(reasons):
        left_out = left_out.mask(holds.astype(bool), reason)
    return seen.assign(in_cohort=left_out == "", left_out=left_out)
