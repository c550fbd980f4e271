"""What was ordered is the denominator: the weeks of each order, what was due in them, and what became of it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.agreement import ABOVE, AGAINST, BELOW, UNKNOWN, WITHIN
from kit.delivery.context import NOT_NAMED
from kit.delivery.decisions import RECORD, TRAIN, of_reason
from kit.healing.covariates import held
from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN

ORDERED = ("monopolar", "bipolar", "ultrasound")
WEEKLY = "sessions_a_week"


def orders(
    spans: pd.DataFrame,
    sessions: pd.DataFrame,
    measurements: pd.DataFrame,
    episodes: pd.DataFrame,
    wounds: pd.DataFrame,
    residents: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Every order of a modality, a row a wound: wound, resident, facility, ordered, per_week, from_day, to_day, until.

    An order that names the person alone is of that person's wounds which have a session in the log, given or missed,
    while it held (of several such wounds in the weeks of the order from the first to the last of them); where none has,
    of the person's only wound. It ends with its last day, the day before the wound ends, the person's last day, the
    cut-off, or `vanished_days` after the last record of the wound, whichever is first, and with the last session logged
    where none of these is known; `until` is the same but for the day on which the wound ended, which may still have
    been treated. Of orders of one modality that overlap the wound's own goes before the person's, and the later before
    the earlier. An order begun after the wound's end is of one that opened again, and ends with its last session; where
    it has no session there is none.
    """
    rows = _of_modalities(spans)
    named = rows[rows["wound"].notna()].drop(columns="resident").merge(wounds[["wound", "resident"]], on="wound")
    of_persons = _of_persons(rows[rows["wound"].isna()], sessions, wounds).drop(columns="order")
    told = pd.concat([named.assign(own=True), of_persons.assign(own=False)], ignore_index=True)
    ends = _ends(told, sessions, measurements, episodes, residents, plan)
    home = told["resident"].map(residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
    told = told.assign(facility=home, ordered=told["ordered"].astype(object), **ends)
    known = told[(told["to_day"] >= told["from_day"]).fillna(False)]
    told = _beside_own(_superseded(known.astype({"from_day": "int64", "to_day": "int64", "until": "int64"})))
    return told[COLUMNS].sort_values(["wound", "from_day", "ordered"], ignore_index=True)


COLUMNS = ["wound", "resident", "facility", "ordered", "per_week", "from_day", "to_day", "until"]


def _of_persons(rows: pd.DataFrame, sessions: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    """The wounds of each order that names a person; of several, in the weeks in which each has a session."""
    pairs = rows.drop(columns="wound").reset_index(names="order").merge(wounds[["wound", "resident"]], on="resident")
    logged = pairs.merge(sessions[["wound", "day"]], on="wound")
    within = (logged["day"] >= logged["from_day"]) & ~(logged["day"] > logged["to_day"]).fillna(False)
    spells = logged[within].groupby(["order", "wound"])["day"].agg(first="min", last="max").reset_index()
    had = pairs.merge(spells, on=["order", "wound"])
    several = had.duplicated("order", keep=False)
    from_day, to_day = had["from_day"].astype("Int64"), had["to_day"].astype("Int64")
    begins = from_day + (had["first"] - from_day) // WEEK * WEEK
    ends = from_day + (had["last"] - from_day) // WEEK * WEEK + WEEK - 1
    ends = ends.mask((ends > to_day).fillna(False), to_day)
    had = had.assign(from_day=from_day.mask(several, begins), to_day=to_day.mask(several, ends))
    alone = pairs[~pairs["order"].isin(had["order"]) & ~pairs.duplicated("order", keep=False)]
    alone = alone.astype({"from_day": "Int64", "to_day": "Int64"})
    return pd.concat([had.drop(columns=["first", "last"]), alone])


def _of_modalities(spans: pd.DataFrame) -> pd.DataFrame:
    rows = spans[(spans["span"] == "ordered_regimen") & spans["value"].isin(ORDERED)]
    return rows.rename(columns={"value": "ordered"})[["resident", "wound", "ordered", "per_week", "from_day", "to_day"]]


UNTIED = "of a person with several wounds, none of which has a session while it held"
WITHOUT_FREQUENCY = "without a frequency"


def orders_left_out(
    spans: pd.DataFrame, ordered: pd.DataFrame, sessions: pd.DataFrame, wounds: pd.DataFrame
) -> pd.DataFrame:
    """Orders of a modality of which nothing can be told due: reason, rows (orders); every reason, with 0 too."""
    rows = _of_modalities(spans)
    rows = rows[rows["wound"].isna()].reset_index(drop=True)
    tied = _of_persons(rows, sessions, wounds)["order"].nunique()
    counts = {UNTIED: len(rows) - tied, WITHOUT_FREQUENCY: int(ordered["per_week"].isna().sum())}
    return pd.DataFrame({"reason": list(counts), "rows": list(counts.values())})


def _ends(
    told: pd.DataFrame,
    sessions: pd.DataFrame,
    measurements: pd.DataFrame,
    episodes: pd.DataFrame,
    residents: pd.DataFrame,
    plan: Plan,
) -> dict[str, pd.Series]:
    """The last day on which each order asks for sessions (to_day), and the last that may still have had one (until)."""
    last = told["wound"].map(sessions.groupby("wound")["day"].max()).astype("Int64")
    seen = pd.concat([sessions[["wound", "day"]], measurements[["wound", "day"]]]).groupby("wound")["day"].max()
    over = _over(told, episodes, last)
    ends = pd.DataFrame({
        "written": told["to_day"].astype("Int64"),
        "watched": told["resident"].map(residents.set_index("resident")["last_day"]).astype("Int64"),
        "lost": told["wound"].map(seen).astype("Int64") + plan.following.vanished_days,
        "cutoff": pd.array([plan.cutoff if plan.cutoff is not None else pd.NA] * len(told), dtype="Int64"),
    }, index=told.index)  # fmt: skip
    if plan.cutoff is None:
        # Nobody knows how long such a wound was watched after its last record.
        ends = ends.drop(columns="lost")
    asked, until = (ends.assign(over=over - before).min(axis=1).astype("Int64").fillna(last) for before in (1, 0))
    return {"to_day": asked, "until": until}


def _over(told: pd.DataFrame, episodes: pd.DataFrame, last: pd.Series) -> pd.Series:
    """The day on which each wound ended; of one that ended before the order began, the day after its last session.

    A long stay in hospital ends follow-up, not the order: who comes back may be treated on.
    """
    ended = episodes[~episodes["outcome"].isin([OPEN, "hospital"])].set_index("wound")["end_day"]
    day = told["wound"].map(ended).astype("Int64")
    again = (day < told["from_day"]) & (last >= told["from_day"])
    return day.mask(again.fillna(False), last + 1)


def _superseded(told: pd.DataFrame) -> pd.DataFrame:
    """Of orders of one modality of a wound, or of one of a person, each ends the day before the next begins."""
    order = told.assign(modality=_modality(told["ordered"])).sort_values(["wound", "from_day"], kind="stable")
    next_from = order.groupby(["wound", "modality", "own"])["from_day"].shift(-1).fillna(np.inf)
    to_day, until = (np.minimum(order[name], next_from - 1).astype("int64") for name in ("to_day", "until"))
    order = order.assign(to_day=to_day, until=until)
    return order[order["to_day"] >= order["from_day"]].reset_index(drop=True)


def _beside_own(told: pd.DataFrame) -> pd.DataFrame:
    """A person's order begins after one of the wound itself that held on its first day, and ends before the next."""
    keys = ["wound", "modality"]
    own = told.loc[told["own"], [*keys, "from_day", "to_day"]].rename(columns={"from_day": "opens", "to_day": "shuts"})
    pairs = told.loc[~told["own"], [*keys, "from_day"]].reset_index(names="order").merge(own, on=keys)
    held = pairs[pairs["from_day"].between(pairs["opens"], pairs["shuts"])]
    begins = (held.groupby("order")["shuts"].max() + 1).reindex(told.index).fillna(told["from_day"]).astype("int64")
    later = pairs[pairs["opens"] > pairs["order"].map(begins)]
    limit = (later.groupby("order")["opens"].min() - 1).reindex(told.index).fillna(np.inf)
    to_day, until = (np.minimum(told[name], limit).astype("int64") for name in ("to_day", "until"))
    told = told.assign(from_day=begins, to_day=to_day, until=until)
    return told[told["to_day"] >= told["from_day"]]


def ordered_weeks(
    ordered: pd.DataFrame, sessions: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame
) -> pd.DataFrame:
    """The whole weeks of each order, counted from its first day; a week that is not whole asks for no round number.

    Columns out, beside those of `orders`: day (last of the week), asked (sessions, as ordered), given, shortened,
    missed, not_known (logged in the week under any modality; where several orders held and some are of what was logged,
    it is of those alone), unlogged (asked and neither given nor missed in the log), away_days (out of the building, in
    hospital or on hold), reason (most frequent of those missed; where none was missed, on_hold or out_of_building if as
    many days were; else blank). An order of more than seven a week is read as every day where the log of the wound
    holds no day twice. Orders without a frequency are left out.
    """
    weeks = _whole(ordered[ordered["per_week"].notna()].reset_index(drop=True), departures)
    logged = _logged(weeks, sessions)
    counts = _counted(logged).reindex(range(len(weeks)), fill_value=0).astype("int64")
    missed = logged[logged["status"] == "missed"]
    reason = _most_frequent(missed).reindex(weeks["week"])
    away = _away_days(weeks, spans, departures)
    weeks = weeks.assign(asked=_asked(weeks, logged), away_days=away["out"] + away["hold"], **counts)
    logged_all = weeks[["given", "shortened", "missed", "not_known"]].sum(axis=1)
    weeks = weeks.assign(unlogged=(weeks["asked"] - logged_all).clip(lower=0))
    # Days away say why a session is not in the log only where they are as many as the sessions that lack.
    lacking = (weeks["unlogged"] > 0) & (weeks["away_days"] >= weeks["unlogged"])
    elsewhere = np.where(away["out"] >= away["hold"], "out_of_building", "on_hold")
    said = reason.fillna("").to_numpy(dtype=object)
    weeks = weeks.assign(reason=np.where((said == "") & lacking, elsewhere, said).astype(object))
    return weeks[[*COLUMNS, "day", *WEEKS]]


WEEKS = ("asked", "given", "shortened", "missed", "not_known", "unlogged", "away_days", "reason")


def _asked(weeks: pd.DataFrame, logged: pd.DataFrame) -> pd.Series:
    """Sessions asked a week. A log with one row a day cannot show an order of more than seven: every day is asked."""
    twice = logged.duplicated(["week", "wound", "day"], keep=False)
    of_two_rows = weeks["wound"].isin(logged.loc[twice, "wound"])
    asked = weeks["per_week"].astype(float)
    return asked.where(of_two_rows, asked.clip(upper=WEEK))


def _whole(known: pd.DataFrame, departures: pd.DataFrame) -> pd.DataFrame:
    """Whole weeks of each order. A wound lost from sight has no end that tells when its person died or left."""
    whole = ((known["to_day"] - known["from_day"] + 1) // WEEK).to_numpy()
    weeks = known.loc[known.index.repeat(whole)].reset_index(names="order")
    begins = weeks["from_day"] + WEEK * weeks.groupby("order").cumcount()
    weeks = weeks.assign(begins=begins, day=begins + WEEK - 1)
    away = departures["reason"].isin(["died", "left"]) & departures["returned"].isna()
    gone = weeks["resident"].map(departures[away].groupby("resident")["day"].min()).astype("Int64")
    weeks = weeks[~(gone <= weeks["day"]).fillna(False)].reset_index(drop=True)
    return weeks.assign(week=np.arange(len(weeks)))


def _logged(weeks: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """The sessions logged in each week; of orders that held together, in those that they fit, if they fit any."""
    rows = sessions[["wound", "day", "modality", "setup", "status", "reason"]].reset_index(names="session")
    logged = weeks[["week", "wound", "begins", "ordered"]].merge(rows, on="wound")
    logged = logged[(logged["day"] - logged["begins"]).between(0, WEEK - 1)]
    same = logged["modality"].astype(object) == _modality(logged["ordered"])
    fits = same & (logged["setup"].isna() | (logged["setup"].astype(object) == logged["ordered"]))
    return logged[fits | ~fits.groupby(logged["session"]).transform("any")]


def _away_days(weeks: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame) -> dict[str, np.ndarray]:
    """Days of each week on which the person was out of the building or in hospital, and on which a hold stood."""
    days = weeks.loc[weeks.index.repeat(WEEK), ["week", "resident", "wound", "begins"]].reset_index(drop=True)
    days = days.assign(begins=days["begins"] + days.groupby("week").cumcount())
    # A surgical closure is of one wound; its person stays, and so do their other wounds.
    gone = departures[departures["reason"] != "surgical_closure"].rename(columns={"day": "from_day"})
    stays = gone.assign(span="hospital", wound=None, to_day=gone["returned"] - 1)
    out = held(days, spans, ("out_of_building",), days["begins"]) | held(days, stays, ("hospital",), days["begins"])
    holds = held(days, spans, ("hold",), days["begins"]) & ~out
    by = days.assign(out=out, hold=holds).groupby("week")[["out", "hold"]].sum().reindex(weeks["week"])
    return {"out": by["out"].to_numpy(), "hold": by["hold"].to_numpy()}


def _counted(logged: pd.DataFrame) -> pd.DataFrame:
    status = logged["status"].astype(object).fillna("not_known")
    table = pd.crosstab(logged["week"], status)
    return table.reindex(columns=["given", "shortened", "missed", "not_known"], fill_value=0)


def _most_frequent(missed: pd.DataFrame) -> pd.Series:
    """The most frequent reason of each week that has any; of several the first in alphabetical order."""
    counts = missed.astype({"reason": object}).groupby(["week", "reason"]).size().rename("rows").reset_index()
    counts = counts.sort_values(["week", "rows", "reason"], ascending=[True, False, True], kind="stable")
    return counts.drop_duplicates("week").set_index("week")["reason"]


def sessions_a_week(weeks: pd.DataFrame) -> pd.DataFrame:
    """Each whole ordered week beside what was ordered, in the columns of `kit.delivery.agreement.agreement`.

    within: as many sessions given or shortened as ordered. A week below it is decided by the most frequent reason of
    its missed sessions; where fewer were logged than ordered and none of them missed, nobody recorded why.
    """
    treated = weeks["given"] + weeks["shortened"]
    state = np.select([treated < weeks["asked"], treated > weeks["asked"]], [BELOW, ABOVE], WITHIN).astype(object)
    short = state == BELOW
    unsaid = short & (weeks["not_known"] > 0)
    state = np.where(unsaid, UNKNOWN, state)
    reason = of_reason(weeks["reason"].replace("", None))
    decision = np.select([short, state == ABOVE], [reason, TRAIN], "")
    return weeks[["wound", "resident", "facility", "day"]].assign(
        source_row=pd.NA, modality=_modality(weeks["ordered"]), element=WEEKLY, state=state,
        recorded=~unsaid, decision=np.where(unsaid, RECORD, decision),
    )  # fmt: skip


def as_ordered(told: pd.DataFrame, ordered: pd.DataFrame) -> pd.DataFrame:
    """Each session beside the order that held on its day, in the columns of `kit.delivery.agreement.agreement`.

    Sessions on whose day no order of a modality is recorded are unknown and not recorded, but only in a facility of
    which the export holds orders at all. Where several orders held, any of them may be met; a stimulation session
    without a set-up can meet none.
    """
    rows = told[["source_row", "wound", "resident", "facility", "day", "modality", "setup"]]
    rows = rows[rows["facility"].isin(ordered["facility"])]
    told, rows = rows, rows.drop(columns="setup")
    if rows.empty:
        return rows.head(0).assign(element="as_ordered", state=UNKNOWN, recorded=False, decision="")
    what = told["setup"].astype(object).where(told["modality"] == "stimulation", told["modality"].astype(object))
    pairs = rows.assign(what=what).merge(ordered[["wound", "ordered", "from_day", "until"]], on="wound")
    pairs = pairs[pairs["day"].between(pairs["from_day"], pairs["until"])]
    # One row of the log may be a session of two wounds.
    met = (pairs["what"] == pairs["ordered"]).groupby([pairs["source_row"], pairs["wound"]]).any().rename("met")
    under = rows[["source_row", "wound"]].merge(met, on=["source_row", "wound"], how="left")["met"].set_axis(rows.index)
    state = pd.Series(UNKNOWN, index=rows.index, dtype=object)
    state = state.mask(under.eq(True), WITHIN).mask(under.eq(False), AGAINST).mask(what.isna(), UNKNOWN)
    recorded = under.notna() & what.notna()
    decision = np.select([state == AGAINST, ~recorded], [TRAIN, RECORD], "")
    return rows.assign(element="as_ordered", state=state, recorded=recorded, decision=decision)


def _modality(ordered: pd.Series) -> pd.Series:
    return ordered.map({"monopolar": "stimulation", "bipolar": "stimulation", "ultrasound": "ultrasound"})
