"""Which element is not delivered, where and why, and what became of the sessions due: sums of sessions judged."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.agreement import ABOVE, AGAINST, BELOW, OFF, UNKNOWN, WITHIN
from kit.delivery.decisions import AWAY, DECISIONS, RECORD, TRAIN, of_reason

UNRECORDED = "unrecorded"


def shortfalls(judged: pd.DataFrame) -> pd.DataFrame:
    """Each facility and element, most often missed first. Columns in: those of `kit.delivery.agreement.agreement`.

    Columns out: facility, element, asked (sessions, or weeks of an order), within, below, above, against, unknown
    (recorded, but what it is held against is not), unrecorded, missing_share (off or unrecorded, of all asked),
    decision (the most frequent of what is off or unrecorded; blank where nothing is).
    """
    keys = ["facility", "element"]
    rows = judged.assign(state=judged["state"].astype(object).mask(~judged["recorded"].astype(bool), UNRECORDED))
    table = rows.groupby([*keys, "state"]).size().unstack("state", fill_value=0).reindex(columns=STATES, fill_value=0)
    table = table.assign(asked=table.sum(axis=1), decision=_most(rows[rows["decision"] != ""], keys))
    table = table.assign(decision=table["decision"].fillna(""))
    missing = table[[*OFF, UNRECORDED]].sum(axis=1) / table["asked"]
    table = table.assign(missing_share=missing.astype(float)).rename_axis(columns=None).reset_index()
    table = table[[*keys, "asked", *STATES, "missing_share", "decision"]]
    return table.sort_values(["missing_share", *keys], ascending=[False, True, True], ignore_index=True)


STATES = (WITHIN, BELOW, ABOVE, AGAINST, UNKNOWN, UNRECORDED)


def _most(rows: pd.DataFrame, keys: list[str]) -> pd.Series:
    counts = rows.groupby([*keys, "decision"]).size().reset_index(name="n")
    counts = counts.assign(order=counts["decision"].map(DECISIONS.index)).sort_values(
        ["n", "order"], ascending=[False, True]
    )
    return counts.drop_duplicates(keys).set_index(keys)["decision"]


def fate_of_each(sessions: pd.DataFrame, judged: pd.DataFrame) -> pd.DataFrame:
    """What became of each session: fate and decision as in `fates`, in the rows of `sessions`."""
    minutes = judged.loc[
        judged["element"].isin(["minutes", "zone_minutes"]), ["source_row", "wound", "state", "recorded"]
    ]
    # One row of the log may be a session of two wounds.
    known = sessions[["source_row", "wound"]].merge(minutes, on=["source_row", "wound"], how="left")
    state, recorded = known["state"].to_numpy(dtype=object), known["recorded"].eq(True).to_numpy()
    status, reason = sessions["status"].astype(object), of_reason(sessions["reason"])
    fate = np.select(
        [status == "missed", status == "shortened", status.isna(), ~recorded & pd.notna(state), state == BELOW,
         np.isin(state, [WITHIN, ABOVE])],
        ["missed", "shortened", "not known", "no minutes", "short", "full"], "not judged",
    )  # fmt: skip
    cut, unsaid = np.isin(fate, ["missed", "shortened"]), np.isin(fate, ["not known", "no minutes"])
    decision = np.select([cut, unsaid, fate == "short"], [reason, RECORD, TRAIN], "")
    return pd.DataFrame({"fate": fate, "decision": decision}, index=sessions.index, dtype=object)


def fates(sessions: pd.DataFrame, facility: pd.Series, judged: pd.DataFrame, weeks: pd.DataFrame) -> pd.DataFrame:
    """What became of every session that was due: the protocol's minutes reached, or why not.

    `facility` names the house of each session; `judged` holds the minutes and zone_minutes of those given; `weeks` the
    ordered weeks, for what was ordered and never logged. Columns out: facility, fate (full, short, shortened, missed,
    not known, unlogged), decision (blank for full), sessions, share (of the facility's due). A session of a modality
    that the protocol asks no minutes of, or whose wound was not measured, is "not judged".
    """
    each = fate_of_each(sessions, judged)
    rows = each.assign(facility=facility.to_numpy(), sessions=1.0)
    decided = np.where(of_reason(weeks["reason"]) == AWAY, AWAY, RECORD)
    never = weeks[["facility"]].assign(fate="unlogged", decision=decided, sessions=weeks["unlogged"].astype(float))
    told = pd.concat([rows, never[never["sessions"] > 0]], ignore_index=True)
    table = told.groupby(["facility", "fate", "decision"], as_index=False)["sessions"].sum()
    due = table.groupby("facility")["sessions"].transform("sum")
    table = table.assign(share=table["sessions"] / due, order=table["fate"].map(FATES.index))
    table = table.sort_values(["facility", "order", "sessions"], ascending=[True, True, False], ignore_index=True)
    return table.drop(columns="order")


FATES = ("full", "short", "shortened", "missed", "no minutes", "not known", "unlogged", "not judged")
