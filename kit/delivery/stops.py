"""Courses of treatment that stopped before their wound closed, since when, and why."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.wounds.episodes import LATE, OPEN

PAUSE = 14  # days without a session after which a course has stopped; common practice, no source
# "While it lasted" is said only where fewer than one starter in five stopped; the project's own rule.
LASTED = 0.2
ORDERED = ("monopolar", "bipolar", "ultrasound")
ANY, NOT_RECORDED, ORDER_ENDED = "any modality", "not recorded", "order ended"
STOPPED, TO_CLOSING, TO_ANOTHER, RUNNING, NOT_JUDGED = (
    "stopped", "to closing", "to another end", "still running", "not judged",
)  # fmt: skip


def course_ends(
    told: pd.DataFrame, sessions: pd.DataFrame, spans: pd.DataFrame, episodes: pd.DataFrame
) -> pd.DataFrame:
    """What became of the treatment of every wound that was ever treated, a row a wound, over the whole export.

    Columns in: told (every session given or shortened, as `kit.delivery.context.in_context` returns them), and the
    tables of the study. Columns out: wound, resident, facility, regimen, start_day, last_session (day of the last given
    before the wound's end), end_day, outcome, days_without (from the last session to the end of follow-up),
    missed_after (sessions missed between the two), missed_reason (their most frequent reason, in the last two weeks in
    which any was missed for a recorded one; blank where none was), course_end, stop_reason (blank unless stopped).

    | course_end | meaning |
    | --- | --- |
    | stopped | followed for more than 14 days after its last session without another, open until then |
    | to closing | treated until it closed, or stopped no more than 14 days before |
    | to another end | the same until its person died, left or went to hospital for good, surgery, or lost from sight |
    | still running | open, and its last session is no more than 14 days back |
    | not judged | never measured, or not treated before its end |

    `stop_reason` is `missed_reason`; where that is blank, "order ended" if every order of a modality that had begun was
    over within those 14 days; else "not recorded". Only the last two weeks are asked, because what kept a course
    waiting (an outbreak) need not be what ended it. Where the export shares no calendar, a wound's days end with
    `end_day` as everywhere.
    """
    rows = told.drop_duplicates("wound")[["wound", "resident", "facility"]].merge(
        episodes[["wound", "regimen", "start_day", "end_day", "outcome", "vanished"]], on="wound", how="left"
    )
    rows = rows.assign(last_session=_last_given(rows, told), outcome=rows["outcome"].astype(object))
    rows = rows.assign(days_without=(rows["end_day"] - rows["last_session"]).clip(lower=0).astype("Int64"))
    rows = rows.assign(course_end=_course_end(rows))
    rows = rows.assign(regimen=rows["regimen"].where(rows["course_end"] != NOT_JUDGED, ""), **_missed(rows, sessions))
    otherwise = pd.Series(np.where(_order_over(rows, spans), ORDER_ENDED, NOT_RECORDED), index=rows.index, dtype=object)
    reason = rows["missed_reason"].where(rows["missed_reason"] != "", otherwise)
    rows = rows.assign(stop_reason=reason.where(rows["course_end"] == STOPPED, ""))
    return rows[COLUMNS].sort_values("wound", ignore_index=True)


COLUMNS = [
    "wound", "resident", "facility", "regimen", "start_day", "last_session", "end_day", "outcome", "days_without",
    "missed_after", "missed_reason", "course_end", "stop_reason",
]  # fmt: skip


def _last_given(rows: pd.DataFrame, told: pd.DataFrame) -> pd.Series:
    """Of a wound still open every session counts: one lost from sight may be treated on."""
    days = told[["wound", "day"]].merge(rows[["wound", "end_day", "outcome"]], on="wound")
    counts = (days["outcome"] == OPEN) | (days["day"] < days["end_day"]).fillna(False).astype(bool)
    return rows["wound"].map(days[counts].groupby("wound")["day"].max()).astype("Int64")


def _course_end(rows: pd.DataFrame) -> np.ndarray:
    started = rows["start_day"].notna()
    paused = (rows["days_without"] > PAUSE).fillna(False).astype(bool)
    still_open = (rows["outcome"] == OPEN) & ~rows["vanished"].eq(True)
    told = [~started, paused, still_open, rows["outcome"] == "closed"]
    return np.select(told, [NOT_JUDGED, STOPPED, RUNNING, TO_CLOSING], TO_ANOTHER).astype(object)


def _missed(rows: pd.DataFrame, sessions: pd.DataFrame) -> dict[str, pd.Series]:
    missed = sessions.loc[sessions["status"] == "missed", ["wound", "day", "reason"]]
    missed = missed.merge(rows[["wound", "last_session", "end_day"]], on="wound")
    after = (missed["day"] > missed["last_session"]) & (missed["day"] <= missed["end_day"])
    missed = missed[after.fillna(False).astype(bool)]
    many = rows["wound"].map(missed.groupby("wound").size()).fillna(0).astype("int64")
    return {"missed_after": many, "missed_reason": rows["wound"].map(_last_reason(missed)).astype(object).fillna("")}


def _last_reason(missed: pd.DataFrame) -> pd.Series:
    """By wound; of two reasons as frequent, the one that stands first in the alphabet."""
    said = missed[missed["reason"].notna()]
    said = said[said["day"] > said.groupby("wound")["day"].transform("max") - PAUSE]
    counts = said.assign(reason=said["reason"].astype(str)).groupby(["wound", "reason"]).size().reset_index(name="n")
    most = counts.sort_values(["wound", "n", "reason"], ascending=[True, False, True]).drop_duplicates("wound")
    return most.set_index("wound")["reason"]


def _order_over(rows: pd.DataFrame, spans: pd.DataFrame) -> pd.Series:
    """Whether the wound or its person had an order of a modality by the last session, and none beyond the pause."""
    asked = spans[(spans["span"] == "ordered_regimen") & spans["value"].isin(ORDERED)]
    asked = asked[["resident", "wound", "from_day", "to_day"]].assign(over=asked["to_day"].fillna(LATE))
    own = asked[asked["wound"].notna()][["wound", "from_day", "over"]]
    whole = asked[asked["wound"].isna() & asked["resident"].notna()][["resident", "from_day", "over"]]
    keys = rows[["wound", "resident", "last_session"]]
    pairs = [keys.merge(own, on="wound"), keys.merge(whole, on="resident")]
    pairs = pd.concat([part for part in pairs if len(part)] or pairs[:1])
    last = rows["wound"].map(pairs.groupby("wound")["over"].max()).astype("Int64")
    begun = rows["wound"].map(pairs.groupby("wound")["from_day"].min()).astype("Int64")
    over = (begun <= rows["last_session"]) & (last <= rows["last_session"] + PAUSE)
    return over.fillna(False).astype(bool)


def stopped_shares(ends: pd.DataFrame) -> pd.DataFrame:
    """How many of those who started stopped before their wound closed, by regimen; any modality first.

    Columns in: those of `course_ends`. Columns out: regimen, starters, residents, stopped, to_closing, to_another_end,
    still_running (which may yet stop), stopped_share (of starters), lasted (fewer than one in five stopped: "while it
    lasted" may be said), not_judged (wounds treated and not among the starters; in the first row alone).
    """
    started, unknown = ends[ends["course_end"] != NOT_JUDGED], int((ends["course_end"] == NOT_JUDGED).sum())
    groups = [(ANY, started, unknown), *((name, rows, 0) for name, rows in started.groupby("regimen", sort=True))]
    return pd.DataFrame([_shares(*group) for group in groups], columns=SHARES)


SHARES = [
    "regimen", "starters", "residents", "stopped", "to_closing", "to_another_end", "still_running", "stopped_share",
    "lasted", "not_judged",
]  # fmt: skip


def _shares(regimen: str, rows: pd.DataFrame, not_judged: int) -> dict[str, object]:
    came = {end.replace(" ", "_"): int((rows["course_end"] == end).sum()) for end in
            (STOPPED, TO_CLOSING, TO_ANOTHER, RUNNING)}  # fmt: skip
    share = came[STOPPED] / len(rows) if len(rows) else np.nan
    own = {"regimen": regimen, "starters": len(rows), "residents": rows["resident"].nunique()}
    return {**own, **came, "stopped_share": share, "lasted": share < LASTED, "not_judged": not_judged}


def stop_reasons(ends: pd.DataFrame) -> pd.DataFrame:
    """Why courses stopped: regimen (any modality first), stop_reason, wounds, residents; most frequent first."""
    stopped = ends[ends["course_end"] == STOPPED]
    both = pd.concat([stopped.assign(regimen=ANY, order=0), stopped.assign(order=1)])
    table = both.groupby(["order", "regimen", "stop_reason"], as_index=False).agg(
        wounds=("wound", "nunique"), residents=("resident", "nunique")
    )
    by = ["order", "regimen", "wounds", "stop_reason"]
    table = table.sort_values(by, ascending=[True, True, False, True], ignore_index=True)
    return table[["regimen", "stop_reason", "wounds", "residents"]]
