"""Which element is not delivered, where and why, and what became of the sessions due: sums of sessions judged."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.agreement import ABOVE, AGAINST, BELOW, OFF, UNKNOWN, WITHIN
from kit.delivery.decisions import AWAY, DECISIONS, RECORD, of_reason

ALL, UNRECORDED = "All facilities", "unrecorded"


def shortfalls(judged: pd.DataFrame) -> pd.DataFrame:
    """Each facility and element, most often missed first. Columns in: those of `kit.delivery.agreement.agreement`.

    Columns out: facility, element, asked (sessions, or weeks of an order), within, below, above, against, unknown
    (recorded, but what it is held against is not), unrecorded, missing_share (off or unrecorded, of all asked),
    decision (of the most frequent way of being off or unrecorded: what more than half of it is a matter of; else
    blank), matters (all that it is a matter of, with how many each, most frequent first: `staff 3, person 2`).
    """
    keys = ["facility", "element"]
    rows = judged.assign(state=judged["state"].astype(object).mask(~judged["recorded"].astype(bool), UNRECORDED))
    table = rows.groupby([*keys, "state"]).size().unstack("state", fill_value=0).reindex(columns=STATES, fill_value=0)
    decided = _of_the_most_frequent(rows, keys).groupby(keys)["decision"]
    told = pd.DataFrame({"decision": decided.agg(most), "matters": decided.agg(counted)}, dtype=object)
    table = table.assign(asked=table.sum(axis=1)).join(told.reindex(table.index).fillna(""))
    missing = table[[*OFF, UNRECORDED]].sum(axis=1) / table["asked"]
    table = table.assign(missing_share=missing.astype(float)).rename_axis(columns=None).reset_index()
    table = table[[*keys, "asked", *STATES, "missing_share", "decision", "matters"]]
    return table.sort_values(["missing_share", *keys], ascending=[False, True, True], ignore_index=True)


STATES = (WITHIN, BELOW, ABOVE, AGAINST, UNKNOWN, UNRECORDED)


def _of_the_most_frequent(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """The sessions that are off, or not recorded, in the way that is most frequent in their facility and element."""
    off = rows[(rows["decision"] != "") & rows["state"].isin([*OFF, UNRECORDED])]
    many = off.groupby([*keys, "state"])["decision"].transform("size")
    most_many = many.groupby([off[key] for key in keys]).transform("max")
    first = off[many == most_many].groupby(keys)["state"].transform(lambda told: min(told, key=WAYS.index))
    return off[many == most_many][off.loc[many == most_many, "state"] == first]


WAYS = (*OFF, UNRECORDED)


def _counts(decisions: pd.Series) -> pd.Series:
    """How many each, most frequent first; of two as frequent the one that stands first in `DECISIONS`."""
    counts = decisions.value_counts().reindex(DECISIONS).dropna().astype("int64")
    return counts.sort_values(ascending=False, kind="stable")


def most(decisions: pd.Series) -> str:
    """The decision of more than half of what is off or unrecorded; blank where there is none."""
    counts = _counts(decisions)
    return str(counts.index[0]) if len(counts) and 2 * counts.iloc[0] > counts.sum() else ""


def counted(decisions: pd.Series) -> str:
    """All decisions with how many each: `staff 3, person 2`."""
    return ", ".join(f"{name} {number}" for name, number in _counts(decisions).items())


def fate_of_each(sessions: pd.DataFrame, judged: pd.DataFrame) -> pd.DataFrame:
    """What became of each session: fate and decision as in `fates`, in the rows of `sessions`."""
    named = ["source_row", "wound", "state", "recorded", "decision"]
    minutes = judged.loc[judged["element"].isin(["minutes", "zone_minutes"]), named]
    # One row of the log may be a session of two wounds.
    known = sessions[["source_row", "wound"]].merge(minutes, on=["source_row", "wound"], how="left")
    state, asked = known["state"].to_numpy(dtype=object), known["state"].notna().to_numpy()
    silent = asked & ~known["recorded"].eq(True).to_numpy()
    status, reason = sessions["status"].astype(object), of_reason(sessions["reason"])
    no_head = (sessions["modality"] == "ultrasound") & sessions["radiating_area"].isna()
    fate = np.select(
        [status == "missed", np.isin(state, [WITHIN, ABOVE]), status == "shortened", status.isna(), silent,
         state == BELOW, ~asked, no_head],
        ["missed", "full", "shortened", "not known", "no minutes", "short", "other", "no head"], "not judged",
    )  # fmt: skip
    cut, unsaid = np.isin(fate, ["missed", "shortened"]), np.isin(fate, ["not known", "no minutes", "no head"])
    decision = np.select([cut, unsaid, fate == "short"], [reason, RECORD, known["decision"]], "")
    return pd.DataFrame({"fate": fate, "decision": decision}, index=sessions.index, dtype=object)


def fates(sessions: pd.DataFrame, facility: pd.Series, judged: pd.DataFrame, weeks: pd.DataFrame) -> pd.DataFrame:
    """What became of every session that was due: the protocol's minutes reached, or why not.

    `facility` names the house of each session; `judged` holds the minutes and zone_minutes of those given; `weeks` the
    ordered weeks, for what was ordered and never logged. Columns out: facility, fate (see `FATES`), decision (blank for
    full), sessions, share (of the facility's due). One cut short that reached the minutes is full; "other" is of a
    modality that the protocol asks no minutes of, "not judged" of a wound that was not measured in time. What was
    ordered and not logged is a matter of absence for as many sessions as there were days away or on hold in the week.
    """
    each = fate_of_each(sessions, judged)
    rows = each.assign(facility=facility.to_numpy(), sessions=1.0)
    unlogged = weeks["unlogged"].astype(float)
    excused = np.minimum(unlogged, weeks["away_days"].astype(float))
    never = pd.concat([
        weeks[["facility"]].assign(fate="unlogged", decision=AWAY, sessions=excused),
        weeks[["facility"]].assign(fate="unlogged", decision=RECORD, sessions=unlogged - excused),
    ])  # fmt: skip
    told = pd.concat([rows, never[never["sessions"] > 0]], ignore_index=True)
    table = told.groupby(["facility", "fate", "decision"], as_index=False)["sessions"].sum()
    due = table.groupby("facility")["sessions"].transform("sum")
    table = table.assign(share=table["sessions"] / due, order=table["fate"].map(FATES.index))
    table = table.sort_values(["facility", "order", "sessions"], ascending=[True, True, False], ignore_index=True)
    return table.drop(columns="order")


def together(told: pd.DataFrame) -> pd.DataFrame:
    """The frame of `fates` with all facilities as one, called ALL; shares of all that was due."""
    table = told.groupby(["fate", "decision"], as_index=False, sort=False)["sessions"].sum()
    return table.assign(facility=ALL, share=table["sessions"] / table["sessions"].sum())[list(told.columns)]


def given(told: pd.DataFrame) -> pd.DataFrame:
    """Of each facility the sessions that were due, those that reached the protocol's minutes, and their share.

    `told`: a frame of `fates`.
    """
    due = told.groupby("facility")["sessions"].sum()
    full = told[told["fate"] == "full"].groupby("facility")["sessions"].sum().reindex(due.index).fillna(0.0)
    table = pd.DataFrame({"sessions_due": due, "sessions_full": full, "full_share": full / due})
    return table.rename_axis("facility").reset_index()


FATES = (
    "full", "short", "shortened", "missed", "no minutes", "no head", "not known", "unlogged", "not judged", "other",
)  # fmt: skip
