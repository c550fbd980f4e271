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
    episodes: pd.DataFrame,
    wounds: pd.DataFrame,
    residents: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Every order of a modality, a row a wound: wound, resident, facility, ordered, per_week, from_day, to_day.

    An order that names the person alone is of that person's wounds which have a session in the log, given or missed,
    while it held; where none has, of the person's only wound. It ends with its last day, the wound's end or the
    cut-off, whichever is first; where none of them is known, with the last session logged.
    """
    rows = _of_modalities(spans)
    named = rows[rows["wound"].notna()].drop(columns="resident").merge(wounds[["wound", "resident"]], on="wound")
    of_persons = _of_persons(rows[rows["wound"].isna()], sessions, wounds).drop(columns="order")
    told = pd.concat([named, of_persons], ignore_index=True)
    ends = told[["wound"]].assign(
        end=told["to_day"].astype("Float64"), closed=_ends(told, episodes), cutoff=plan.cutoff
    )
    last = told["wound"].map(sessions.groupby("wound")["day"].max()).astype("Float64")
    to_day = ends[["end", "closed", "cutoff"]].astype("Float64").min(axis=1).fillna(last)
    home = told["resident"].map(residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
    told = told.assign(facility=home, ordered=told["ordered"].astype(object), to_day=to_day.astype("Int64"))
    told = told[told["to_day"] >= told["from_day"]].astype({"to_day": "int64"})
    return told[COLUMNS].sort_values(["wound", "from_day", "ordered"], ignore_index=True)


COLUMNS = ["wound", "resident", "facility", "ordered", "per_week", "from_day", "to_day"]


def _of_persons(rows: pd.DataFrame, sessions: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    pairs = rows.drop(columns="wound").reset_index(names="order").merge(wounds[["wound", "resident"]], on="resident")
    logged = pairs.merge(sessions[["wound", "day"]], on="wound")
    within = (logged["day"] >= logged["from_day"]) & ~(logged["day"] > logged["to_day"]).fillna(False)
    had = pairs.merge(logged.loc[within, ["order", "wound"]].drop_duplicates(), on=["order", "wound"])
    alone = pairs[~pairs["order"].isin(had["order"]) & ~pairs.duplicated("order", keep=False)]
    return pd.concat([had, alone])


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


def _ends(told: pd.DataFrame, episodes: pd.DataFrame) -> pd.Series:
    """The last day on which a wound that ended was to be treated: the one before it closed, or its person died or left.

    A long stay in hospital ends follow-up, not the order: who comes back may be treated on.
    """
    over = episodes[~episodes["outcome"].isin([OPEN, "hospital"])].set_index("wound")["end_day"] - 1
    return told["wound"].map(over).astype("Float64")


def ordered_weeks(
    ordered: pd.DataFrame, sessions: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame
) -> pd.DataFrame:
    """The whole weeks of each order, counted from its first day; a week that is not whole asks for no round number.

    Columns out, beside those of `orders`: day (last of the week), asked (sessions, as ordered), given, shortened,
    missed, not_known (logged in the week under any modality; where several orders held and some are of what was logged,
    it is of those alone), unlogged (asked and neither given nor missed in the log), reason (most frequent of those
    missed; where none was missed, on_hold or out_of_building if the wound or its person was on a day of the week; else
    blank). Orders without a frequency are left out.
    """
    weeks = _whole(ordered[ordered["per_week"].notna()].reset_index(drop=True), departures)
    logged = _logged(weeks, sessions)
    counts = _counted(logged).reindex(range(len(weeks)), fill_value=0).astype("int64")
    missed = logged[logged["status"] == "missed"]
    reason = (
        missed["reason"].astype(object).groupby(missed["week"]).agg(lambda told: _mode(told)).reindex(weeks["week"])
    )
    reason = reason.to_numpy(dtype=object)
    weeks = weeks.assign(asked=weeks["per_week"].astype(float), **counts)
    weeks = weeks.assign(
        reason=np.where(pd.isna(reason) | (reason == ""), _elsewhere(weeks, spans, departures), reason)
    )
    logged_all = weeks[["given", "shortened", "missed", "not_known"]].sum(axis=1)
    weeks = weeks.assign(unlogged=(weeks["asked"] - logged_all).clip(lower=0))
    return weeks[[*COLUMNS, "day", "asked", "given", "shortened", "missed", "not_known", "unlogged", "reason"]]


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


def _elsewhere(weeks: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame) -> np.ndarray:
    """The reason that a span, or a stay in hospital, gives for a week in which nothing is logged as missed."""
    on_hold = held(weeks, spans, ("hold",), weeks["day"])
    out = held(weeks, spans, ("out_of_building",), weeks["day"])
    # A surgical closure is of one wound; its person stays, and so do their other wounds.
    gone = departures.loc[departures["reason"] != "surgical_closure", ["resident", "day", "returned"]]
    stays = weeks[["week", "resident", "begins", "day"]].merge(gone.rename(columns={"day": "left"}), on="resident")
    away = (stays["left"] <= stays["day"]) & ~(stays["returned"] < stays["begins"]).fillna(False)
    out |= weeks["week"].isin(stays.loc[away, "week"]).to_numpy()
    return np.select([out, on_hold], ["out_of_building", "on_hold"], "").astype(object)


def _counted(logged: pd.DataFrame) -> pd.DataFrame:
    status = logged["status"].astype(object).fillna("not_known")
    table = pd.crosstab(logged["week"], status)
    return table.reindex(columns=["given", "shortened", "missed", "not_known"], fill_value=0)


def _mode(reasons: pd.Series) -> str:
    known = reasons.dropna()
    return known.value_counts().sort_index().sort_values(ascending=False, kind="stable").index[0] if len(known) else ""


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

    Sessions on whose day no order of a modality is recorded are unknown and not recorded, but only where the export
    holds orders at all. Where several orders held, any of them may be met; a stimulation session without a set-up can
    meet none.
    """
    rows = told[["source_row", "wound", "resident", "facility", "day", "modality"]]
    if ordered.empty:
        return rows.head(0).assign(element="as_ordered", state=UNKNOWN, recorded=False, decision="")
    what = told["setup"].astype(object).where(told["modality"] == "stimulation", told["modality"].astype(object))
    pairs = rows.assign(what=what).merge(ordered[["wound", "ordered", "from_day", "to_day"]], on="wound")
    pairs = pairs[pairs["day"].between(pairs["from_day"], pairs["to_day"])]
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
