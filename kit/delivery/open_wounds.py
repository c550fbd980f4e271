"""The open wounds on the last day known: when each was last seen and treated, what is ordered, who is away."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.context import NOT_NAMED
from kit.delivery.orders import orders
from kit.healing.covariates import held
from kit.plan import WEEK, Plan
from kit.wounds.regimens import given

UNDER_TREATMENT = 14  # days for which a wound is under treatment after a session; common practice, no source
SHOWN_WEEKS = 13  # of the days of wounds, where there is no quarter
GIVEN, BRIEF, SHORTENED, MISSED, NOT_KNOWN = "G", "B", "S", "M", "?"
OUT, HOLD, UNLOGGED, NOTHING = "O", "H", ":", "."
TOO_SHORT = "too short"  # in place of a status: given, and below the protocol's minutes
MARKS = {"given": GIVEN, TOO_SHORT: BRIEF, "shortened": SHORTENED, "missed": MISSED}


def open_wounds(
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    sessions: pd.DataFrame,
    spans: pd.DataFrame,
    departures: pd.DataFrame,
    episodes: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Every wound that is open on the last day known, or is treated without ever having been measured.

    Columns out: wound, resident, facility ("not named" where none is), known_to (the cut-off, or the person's last
    day; where the export shares no calendar the person's last day or last record), seen_day and size_day (last
    measured, with any size or with one), start_day and last_given (first and last session given), ordered_from (of an
    order of a modality that is open; else missing), under_treatment (a session in the last 14 days), away (in hospital
    and not back, within the bed hold), comfort (only comfort is sought), vanished (unseen for longer than the plan's
    `vanished_days`, and no session since). In the order of wound.

    Open means that the last measurement says so: a wound that was closed and opened again is here, and one that stays
    open beyond a hospital stay. Wounds whose person died, left or is in hospital beyond the bed hold are not.
    """
    home = wounds["resident"].map(residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
    rows = wounds[["wound", "resident"]].assign(facility=home)
    rows = rows.assign(**_days_of(rows, measurements, sessions))
    rows = rows.assign(known_to=_known_to(rows, residents, plan))
    rows = rows[rows["known_to"].notna()].reset_index(drop=True)
    asked = (episodes, wounds, residents, plan)
    rows = rows.assign(ordered_from=_ordered_from(rows, spans, sessions, measurements, *asked))
    since = rows["known_to"] - rows["last_given"]
    rows = rows.assign(under_treatment=(since <= UNDER_TREATMENT).fillna(False).astype(bool))
    gone, away = _elsewhere(rows, departures, plan)
    unmeasured = rows["seen_day"].isna() & (rows["under_treatment"] | rows["ordered_from"].notna())
    still = ~gone & (_last_open(rows, measurements, departures) | unmeasured)
    today = rows.assign(begins=rows["known_to"])
    unseen = (rows["known_to"] - rows["seen_day"] > plan.following.vanished_days).fillna(False)
    treated_since = (rows["last_given"] >= rows["seen_day"]).fillna(False)
    rows = rows.assign(
        away=away, comfort=held(today, spans, ("comfort_goal",), today["known_to"]), vanished=unseen & ~treated_since
    )
    return rows.loc[still, KNOWN].astype({"vanished": bool}).sort_values("wound", ignore_index=True)


KNOWN = [
    "wound", "resident", "facility", "known_to", "seen_day", "size_day", "start_day", "last_given", "ordered_from",
    "under_treatment", "away", "comfort", "vanished",
]  # fmt: skip


def _days_of(rows: pd.DataFrame, measurements: pd.DataFrame, sessions: pd.DataFrame) -> dict[str, pd.Series]:
    sized = measurements[measurements["size"].notna()]
    seen, taken = measurements.groupby("wound")["day"], given(sessions).groupby("wound")["day"]
    days = {
        "seen_day": seen.max(),
        "size_day": sized.groupby("wound")["day"].max(),
        "start_day": taken.min(),
        "last_given": taken.max(),
    }
    return {name: rows["wound"].map(day).astype("Int64") for name, day in days.items()}


def _last_record(rows: pd.DataFrame) -> pd.Series:
    """The last day on which a person was seen: any wound of theirs measured or treated."""
    seen = rows[["seen_day", "last_given"]].astype("Float64").max(axis=1)
    return seen.groupby(rows["resident"]).transform("max").astype("Int64")


def _known_to(rows: pd.DataFrame, residents: pd.DataFrame, plan: Plan) -> pd.Series:
    last = rows["resident"].map(residents.set_index("resident")["last_day"]).astype("Int64")
    last = last if plan.cutoff is None else last.fillna(plan.cutoff)
    shown = _last_record(rows)
    return pd.concat([last, shown], axis=1).astype("Float64").max(axis=1).astype("Int64")


def _ordered_from(
    rows: pd.DataFrame,
    spans: pd.DataFrame,
    sessions: pd.DataFrame,
    measurements: pd.DataFrame,
    episodes: pd.DataFrame,
    wounds: pd.DataFrame,
    residents: pd.DataFrame,
    plan: Plan,
) -> pd.Series:
    """First day of the order of a modality that is still open; the earliest where there are several."""
    last = rows.groupby("resident")["known_to"].first()
    named = spans["resident"].notna()
    owner = spans["resident"].where(named, spans["wound"].map(wounds.set_index("wound")["resident"]))
    lasting = spans.assign(to_day=spans["to_day"].fillna(owner.map(last).astype("Int64")))
    told = orders(lasting, sessions, measurements, episodes, wounds, residents, plan)
    told = told.merge(rows[["wound", "known_to"]], on="wound")
    now = told[told["to_day"] >= told["known_to"]]
    return rows["wound"].map(now.groupby("wound")["from_day"].min()).astype("Int64")


def _elsewhere(rows: pd.DataFrame, departures: pd.DataFrame, plan: Plan) -> tuple[pd.Series, pd.Series]:
    """Whose person is gone, and whose is in hospital and may yet be back; who is seen later is back."""
    left = departures[departures["reason"] != "surgical_closure"][["resident", "day", "reason", "returned"]]
    pairs = rows[["wound", "resident", "known_to"]].assign(seen=_last_record(rows)).merge(left, on="resident")
    back = ((pairs["returned"] <= pairs["known_to"]) | (pairs["seen"] > pairs["day"])).fillna(False)
    out = pairs[(pairs["day"] <= pairs["known_to"]) & (~back | (pairs["reason"] == "died"))]
    waits = (out["reason"] == "hospital") & (out["known_to"] - out["day"] <= plan.following.bed_hold_days)
    gone = rows["wound"].isin(out.loc[~waits, "wound"])
    return gone, rows["wound"].isin(out.loc[waits, "wound"]) & ~gone


def _last_open(rows: pd.DataFrame, measurements: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    last = measurements.sort_values(["wound", "day"]).drop_duplicates("wound", keep="last").set_index("wound")
    shut = departures[departures["reason"] == "surgical_closure"].groupby("wound")["day"].max()
    sewn = (rows["wound"].map(shut).astype("Int64") >= rows["seen_day"]).fillna(False)
    return (rows["wound"].map(last["state"].astype(object)) == "open") & ~sewn


def day_marks(
    known: pd.DataFrame,
    sessions: pd.DataFrame,
    spans: pd.DataFrame,
    departures: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Each day of the quarter of each open wound that had a session in it, given or missed, or has an order open.

    Columns in: those of `open_wounds`. Columns out: wound, facility, day, at (days since the quarter began; where the
    export shares no calendar, since 13 weeks before the last day known), mark: G given, B given and too short for the
    protocol, S shortened, M missed, ? a session of which nobody wrote what became of it, O out of the building or in
    hospital, H on hold, : ordered and nothing recorded (an order a week names no days, so not every one was due), .
    nothing. The first that holds is told. A session whose status is "too short" was given and did not reach it.
    """
    length = WEEK * SHOWN_WEEKS if plan.cutoff is None else plan.cutoff - plan.quarter_begins + 1
    begins = known["known_to"] - length + 1 if plan.cutoff is None else pd.Series(plan.quarter_begins, known.index)
    rows = known.assign(first=begins.astype("int64")).loc[known.index.repeat(length)].reset_index(drop=True)
    rows = rows.assign(at=rows.groupby("wound").cumcount())
    rows = rows.assign(day=rows["first"] + rows["at"])
    rows = rows[(rows["day"] <= rows["known_to"]).to_numpy(dtype=bool)].reset_index(drop=True)
    session = _session_mark(rows, sessions)
    mark = session.where(session != "", _other_mark(rows, spans, departures))
    told = rows.assign(mark=mark)
    busy = told.loc[(session != "") | told["ordered_from"].notna(), "wound"]
    return told.loc[told["wound"].isin(busy), ["wound", "facility", "day", "at", "mark"]].reset_index(drop=True)


def _session_mark(rows: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """Of several sessions on one day the one that was given is told."""
    logged = sessions[["wound", "day"]].assign(mark=sessions["status"].astype(object).map(MARKS).fillna(NOT_KNOWN))
    logged = logged.assign(order=logged["mark"].map([GIVEN, BRIEF, SHORTENED, MISSED, NOT_KNOWN].index))
    first = logged.sort_values("order", kind="stable").drop_duplicates(["wound", "day"])
    return rows[["wound", "day"]].merge(first, on=["wound", "day"], how="left")["mark"].fillna("").astype(object)


def _other_mark(rows: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame) -> np.ndarray:
    asked = rows.assign(begins=rows["day"])
    stays = departures[departures["reason"] == "hospital"].rename(columns={"day": "from_day", "returned": "to_day"})
    stays = stays.assign(span="hospital", wound=None)[["resident", "wound", "span", "from_day", "to_day"]]
    out = held(asked, spans, ("out_of_building",), rows["day"]) | held(asked, stays, ("hospital",), rows["day"])
    on_hold = held(asked, spans, ("hold",), rows["day"])
    ordered = (rows["day"] >= rows["ordered_from"]).fillna(False).to_numpy(dtype=bool)
    return np.select([out, on_hold, ordered], [OUT, HOLD, UNLOGGED], NOTHING).astype(object)
