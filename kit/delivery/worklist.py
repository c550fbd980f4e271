"""The weekly list: what about open wounds a person should look at, as facts and day counts, no advice."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.open_wounds import UNDER_TREATMENT
from kit.delivery.signs import NO, sign_within, signs
from kit.healing.covariates import held
from kit.plan import WEEK, Plan
from kit.quarter import within
from kit.wounds.regimens import given

# Most pressing first; the order is common practice, no source.
THINGS = (
    "contraindicated", "no_sign", "larger", "no_session", "evaluation_due", "unmeasured", "not_smaller", "lost",
    "not_measured",
)  # fmt: skip
# Where only comfort is sought nobody waits for healing, but what may harm and what was ordered still count.
ASKED_IN_COMFORT = ("contraindicated", "no_session", "unmeasured", "not_measured", "lost")
# Days; common practice, no source, but the 30 (US NCD 270.1: signs of healing within any 30 days of treatment).
# A round or a session a week is not late on its day: more than seven days are.
SIGN_DAYS, NO_SESSION_DAYS, UNMEASURED_DAYS, NOT_SMALLER_DAYS = 30, 8, (14, 8), (28, 14)
TENTH = 10  # percent
PAUSES = ("hold", "out_of_building")
FIRST = 10
COLUMNS = [
    "place", "wound", "resident", "facility", "thing", "days", "since_day", "sessions", "missed", "reasons",
    "size_change",
]  # fmt: skip


def evaluations(procedures: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """The days on which a wound was evaluated: wound, day. An evaluation, or a measurement by a practitioner."""
    own = procedures.loc[procedures["procedure"] == "evaluation", ["wound", "day"]]
    seen = measurements.loc[measurements["assessor_role"] == "practitioner", ["wound", "day"]]
    return pd.concat([own, seen]).drop_duplicates().sort_values(["wound", "day"], ignore_index=True)


def worklist(
    known: pd.DataFrame,
    measurements: pd.DataFrame,
    sessions: pd.DataFrame,
    procedures: pd.DataFrame,
    spans: pd.DataFrame,
    departures: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """What to look at, a row a wound and thing, most pressing first. For review by the treating clinician.

    `known` as `open_wounds` returns it; those whose person is away are left out, and where only comfort is sought
    nothing is said of healing or evaluation. Columns out: place (from 1), wound, resident, facility, thing, days and
    since_day (of the thing), sessions (given against a contraindication), missed and reasons (since, where none was
    given), size_change (percent). Where the export shares no calendar the quarter is the whole export.

    | thing | holds where | days since (since_day) |
    | --- | --- | --- |
    | contraindicated | sessions of the quarter were given while a contraindication was recorded | the last (first) |
    | no_sign | treated for 30 days, the last 30 without a measurable sign, see `kit.delivery.signs` | the start |
    | no_session | a modality is ordered, nothing holds it up, and for over 7 days none was given | it could have been |
    | evaluation_due | under treatment and not evaluated for more than the plan's `evaluation_days` | it was evaluated |
    | unmeasured, not_measured | for 14 days or more, or never; for 8 to 13 days | it was measured |
    | larger, not_smaller | by a tenth over 28 days, else over 14, to the last size; days between the two | the first |
    | lost | vanished; then nothing is said of its size, signs or measuring | it was last seen |

    Where a wound was never evaluated, or never measured, since_day is missing and the days are those since its first
    session, or since the order. Evaluations are only asked after where the export holds any.
    """
    asked = known[~known["away"]].reset_index(drop=True)
    found = {
        "contraindicated": _contraindicated(asked, sessions, spans, plan),
        "no_sign": _no_sign(asked, measurements, sessions),
        "no_session": _no_session(asked, sessions, spans, departures),
        "evaluation_due": _evaluation_due(asked, evaluations(procedures, measurements), plan),
        **_not_measured(asked[~_just_back(asked, departures)]),
        **_not_smaller(asked, measurements),
        "lost": _since(asked[asked["vanished"]], "seen_day"),
    }
    told = pd.concat([rows.assign(thing=name) for name, rows in found.items()], ignore_index=True)
    told = told.reindex(columns=[*COLUMNS, "comfort"])
    told = told[~told["comfort"].astype(bool) | told["thing"].isin(ASKED_IN_COMFORT)]
    return _in_order(told)


def _in_order(told: pd.DataFrame) -> pd.DataFrame:
    """By thing; then the longest first, but of sessions against a contraindication the latest."""
    recent = told["thing"] == "contraindicated"
    days = told["days"].astype(float)
    order = told["thing"].map(THINGS.index).rename("order")
    told = told.assign(order=order, most=days.where(recent, -days)).sort_values(["order", "most", "wound"])
    whole = ["days", "since_day", "sessions", "missed"]
    told = told.assign(place=np.arange(1, len(told) + 1), reasons=told["reasons"].astype(object).fillna(""))
    told = told.astype({**dict.fromkeys(whole, "Int64"), "place": "int64", "size_change": float})
    return told[COLUMNS].reset_index(drop=True)


def first_ten(told: pd.DataFrame) -> pd.DataFrame:
    """The first ten wounds of the list: each at its most pressing thing, and what else there is about it.

    Columns out: those of `worklist`, place counted anew, and also (the other things of the wound, in their order; blank
    where there are none).
    """
    rest = told[told.duplicated("wound")].groupby("wound")["thing"].agg(", ".join)
    first = told.drop_duplicates("wound").head(FIRST).reset_index(drop=True)
    return first.assign(place=np.arange(1, len(first) + 1), also=first["wound"].map(rest).astype(object).fillna(""))


def _since(rows: pd.DataFrame, since: str) -> pd.DataFrame:
    return rows.assign(days=rows["known_to"] - rows[since], since_day=rows[since])


def _contraindicated(known: pd.DataFrame, sessions: pd.DataFrame, spans: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    taken = within(given(sessions), plan)[["wound", "day"]].merge(known[["wound", "resident"]], on="wound")
    taken = taken[held(taken.assign(begins=taken["day"]), spans, ("contraindication",), taken["day"])]
    days = taken.groupby("wound")["day"].agg(sessions="size", since_day="min", last="max").astype("Int64")
    rows = known.merge(days, left_on="wound", right_index=True)
    return rows.assign(days=rows["known_to"] - rows["last"])


def _no_sign(known: pd.DataFrame, measurements: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Of the course under way: one that paused for more than two weeks began anew after it."""
    known = known.assign(start_day=known["wound"].map(_course_starts(sessions)).astype("Int64"))
    treated = known["known_to"] - known["start_day"] >= SIGN_DAYS
    rows = known[known["under_treatment"] & treated.fillna(False)].reset_index(drop=True)
    asked = rows[["wound"]].assign(from_day=rows["known_to"] - SIGN_DAYS, to_day=rows["known_to"])
    told = signs(asked, measurements)
    rows = _since(rows, "start_day").assign(size_change=told["size_change"])
    return rows[(sign_within(asked, measurements) == NO) & ~rows["vanished"]]


def _course_starts(sessions: pd.DataFrame) -> pd.Series:
    """By wound the first day of the course under way: the first session after its last pause of more than two weeks."""
    days = given(sessions)[["wound", "day"]].drop_duplicates().sort_values(["wound", "day"])
    begins = ~(days["day"] - days.groupby("wound")["day"].shift() <= UNDER_TREATMENT)
    return days[begins].groupby("wound")["day"].max()


def _no_session(
    known: pd.DataFrame, sessions: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame
) -> pd.DataFrame:
    """Counted from the day since which one could have been given: the last one, the order, the end of a pause."""
    today = known.assign(begins=known["known_to"])
    if sessions.empty:  # an export without sessions says of no order that it was not carried out
        return _since(known.head(0), "last_given")
    free = known["ordered_from"].notna() & ~held(today, spans, PAUSES, known["known_to"])
    could = pd.concat([known["last_given"], known["ordered_from"], _paused_to(known, spans, departures)], axis=1)
    rows = known.assign(could=could.astype("Float64").max(axis=1).astype("Int64"))
    rows = _since(rows[free], "could")
    rows = rows[(rows["days"] >= NO_SESSION_DAYS).fillna(False)]
    return rows.merge(_missed_since(rows, sessions), left_on="wound", right_index=True, how="left")


def _paused_to(known: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    """The last day of the last hold, absence or hospital stay that is over."""
    paused = spans.loc[spans["span"].isin(PAUSES), ["resident", "wound", "to_day"]]
    stays = departures[["resident", "returned"]].rename(columns={"returned": "to_day"})
    of_wound = known[["wound"]].merge(paused[["wound", "to_day"]].dropna(), on="wound")
    of_person = pd.concat([paused.loc[paused["wound"].isna(), ["resident", "to_day"]], stays]).dropna()
    ends = pd.concat([of_wound, known[["wound", "resident"]].merge(of_person, on="resident")])
    return known["wound"].map(ends.groupby("wound")["to_day"].max()).astype("Int64")


def _missed_since(rows: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """How many sessions were logged since as not given, or without a status, and why, most frequent first."""
    logged = sessions[["wound", "day", "status", "reason"]].merge(rows[["wound", "since_day"]], on="wound")
    logged = logged[(logged["day"] >= logged["since_day"]) & ~logged["status"].isin(["given", "shortened"])]
    why = logged["reason"].astype(object).where(logged["reason"].notna(), "no reason recorded")
    why = why.where(logged["status"].notna(), "status not known")
    counts = why.groupby(logged["wound"]).value_counts().rename("n").reset_index(name="n")
    counts = counts.sort_values(["n", counts.columns[1]], ascending=[False, True])
    said = counts.assign(said=counts.iloc[:, 1] + " " + counts["n"].astype(str))
    return pd.DataFrame(
        {"missed": logged.groupby("wound").size(), "reasons": said.groupby("wound")["said"].agg(", ".join)}
    )


def _evaluation_due(known: pd.DataFrame, evaluated: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    rows = known[known["under_treatment"]] if len(evaluated) else known.head(0)
    rows = rows.assign(since_day=rows["wound"].map(evaluated.groupby("wound")["day"].max()).astype("Int64"))
    rows = rows.assign(days=rows["known_to"] - rows["since_day"].fillna(rows["start_day"]))
    return rows[(rows["days"] > plan.protocol.evaluation_days).fillna(False)]


def _just_back(known: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    """Whose person came back in the last week: nobody could measure in the meantime."""
    back = known["resident"].map(departures.groupby("resident")["returned"].max()).astype("Int64")
    return (known["known_to"] - back <= WEEK).fillna(False).astype(bool)


def _not_measured(known: pd.DataFrame) -> dict[str, pd.DataFrame]:
    rows = known.assign(since_day=known["seen_day"])
    first = rows["seen_day"].fillna(rows["start_day"]).fillna(rows["ordered_from"])
    rows = rows.assign(days=rows["known_to"] - first)
    long, short = UNMEASURED_DAYS
    rows = rows[((rows["days"] >= short) | rows["seen_day"].isna()).fillna(False) & ~rows["vanished"]]
    graver = ((rows["days"] >= long) | rows["seen_day"].isna()).fillna(False).astype(bool)
    return {"unmeasured": rows[graver], "not_measured": rows[~graver]}


def _not_smaller(known: pd.DataFrame, measurements: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Over the longer time, if it holds over both; a size a fortnight old is told as not measured instead."""
    fresh = known["known_to"] - known["size_day"] < min(NOT_SMALLER_DAYS)
    rows = known[fresh.fillna(False) & ~known["vanished"]].reset_index(drop=True)
    found = []
    for length in NOT_SMALLER_DAYS:
        asked = rows[["wound"]].assign(from_day=rows["size_day"] - length, to_day=rows["size_day"])
        told = signs(asked, measurements)
        days = (told["to_size_day"] - told["from_size_day"]).astype("Int64")
        same = rows.assign(days=days, since_day=told["from_size_day"], size_change=told["size_change"])
        found.append(same[told["less_area"] == NO])
    rows = pd.concat(found).drop_duplicates("wound")
    grew = (rows["size_change"] >= TENTH).fillna(False).astype(bool)
    return {"larger": rows[grew], "not_smaller": rows[~grew]}
