"""The quarter that is described: what was planned, given and missed, what reacted, what closed."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.plan import Plan
from kit.study import Study
from kit.wounds.course import course
from kit.wounds.episodes import UNTREATED
from kit.wounds.regimens import OTHER, given, meets


@dataclass(frozen=True)
class Activity:
    """Counts of one window. Where the export shares no calendar the window is the whole export.

    `not_known` sessions have a status that was not recorded or not understood; they count as planned and as nothing
    else. `asked` sessions say something of reactions, if only that there was none. Without `status_recorded` no session
    has a status and every one counts as given. `unconfirmed` are closings not known to have held.
    """

    begins: int | None
    ends: int | None
    wounds_open: int
    residents_open: int
    wounds_treated: int
    residents_treated: int
    planned: int
    given: int
    shortened: int
    missed: int
    not_known: int
    status_recorded: bool
    asked: int
    reactions: int
    closed: int
    unconfirmed: int
    measurements: int
    weeks_in_view: int
    weeks_measured: int


def activity(study: Study) -> Activity:
    """What happened in the quarter, counted from the rows of the study."""
    sessions = within(study.sessions, study.plan)
    treated, delivered = given(sessions), _delivered(sessions)
    open_then, closed = open_in_quarter(study.episodes, study.plan), closed_in_quarter(study.episodes, study.plan)
    weeks = weeks_in_quarter(study)
    owner = study.wounds.set_index("wound")["resident"]
    return Activity(
        begins=study.plan.quarter_begins,
        ends=study.plan.cutoff,
        wounds_open=len(open_then),
        residents_open=open_then["resident"].nunique(),
        wounds_treated=delivered["wounds"],
        residents_treated=treated["wound"].map(owner).nunique(),
        planned=delivered["planned"],
        given=delivered["given"],
        shortened=delivered["shortened"],
        missed=delivered["missed"],
        not_known=delivered["not_known"],
        status_recorded=study.status_recorded,
        asked=int(treated["reaction"].notna().sum()),
        reactions=int((treated["reaction"].notna() & (treated["reaction"] != "none")).sum()),
        closed=len(closed),
        unconfirmed=int((~closed["confirmed"]).sum()),
        measurements=len(within(study.measurements, study.plan)),
        weeks_in_view=len(weeks),
        weeks_measured=int(weeks["fresh"].sum()),
    )


def within(frame: pd.DataFrame, plan: Plan, day: str = "day") -> pd.DataFrame:
    """The rows of a dated table that lie in the quarter, both ends included."""
    if plan.cutoff is None:
        return frame
    return frame[frame[day].between(plan.quarter_begins, plan.cutoff)]


def by_regimen(study: Study) -> pd.DataFrame:
    """Sessions of the quarter by regimen: regimen, wounds, planned, given, shortened, missed, not_known.

    A session belongs to the first rule of the plan that it meets. Those that meet none, such as missed ones whose
    set-up was not written down, stand in a last row of their own, so that the rows add up to all sessions.
    """
    sessions = within(study.sessions, study.plan)
    belongs = pd.Series(OTHER, index=sessions.index, dtype=object)
    for regimen in reversed(study.plan.regimens):
        belongs = belongs.mask(meets(sessions, regimen), regimen.name)
    names = [regimen.name for regimen in study.plan.regimens]
    names += [OTHER] if (belongs == OTHER).any() else []
    return pd.DataFrame([{"regimen": name, **_delivered(sessions[belongs == name])} for name in names])


def _delivered(sessions: pd.DataFrame) -> dict[str, int]:
    status = sessions["status"].astype(object).fillna("not_known").value_counts()
    counts = {name: int(status.get(name, 0)) for name in ("given", "shortened", "missed", "not_known")}
    return {"wounds": given(sessions)["wound"].nunique(), "planned": len(sessions), **counts}


def reasons(study: Study) -> pd.DataFrame:
    """Why sessions of the quarter were missed or shortened: reason, missed, shortened; most frequent first."""
    sessions = within(study.sessions, study.plan)
    short = sessions[sessions["status"].isin(["missed", "shortened"])]
    reason = short["reason"].astype(object).fillna("not recorded")
    table = pd.crosstab(reason, short["status"].astype(object)).reindex(columns=["missed", "shortened"], fill_value=0)
    table = table.rename_axis(index="reason", columns=None).reset_index()
    return table.sort_values(["missed", "shortened", "reason"], ascending=[False, False, True], ignore_index=True)


def wounds_by_regimen(episodes: pd.DataFrame) -> pd.DataFrame:
    """Wounds of the cohort by what they started: regimen, a column a facility, all, residents; the last row is all."""
    cohort = episodes[episodes["in_cohort"]]
    # A facility may be called what a column of this table is called.
    house = cohort["facility"].where(
        ~cohort["facility"].isin(["regimen", "all", "residents"]), cohort["facility"] + " "
    )
    order = [UNTREATED, *sorted(set(cohort["regimen"]) - {UNTREATED})]
    table = pd.crosstab(cohort["regimen"], house).reindex(order, fill_value=0).rename_axis(columns=None)
    people = cohort.groupby("regimen")["resident"].nunique().reindex(order, fill_value=0)
    table = table.assign(all=table.sum(axis=1), residents=people).astype("int64")
    table.loc["all"] = [*table.drop(columns="residents").sum(), cohort["resident"].nunique()]
    return table.rename_axis("regimen").reset_index()


def weeks_by_regimen(weeks: pd.DataFrame) -> pd.DataFrame:
    """Weeks in view by what the wound was under: regimen, weeks, fresh (measured in time), sessions, device minutes."""
    grouped = weeks.groupby("regimen", as_index=False)
    table = grouped.agg(
        weeks=("week", "size"), fresh=("fresh", "sum"), sessions=("sessions", "sum"), minutes=("minutes", "sum")
    )
    # No minutes beside sessions means that nobody wrote them down.
    table = table.assign(minutes=table["minutes"].mask((table["minutes"] == 0) & (table["sessions"] > 0)))
    return table.sort_values("regimen", key=lambda names: names != UNTREATED, kind="stable", ignore_index=True)


def open_in_quarter(episodes: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The wounds that stood open in the quarter."""
    seen = episodes[episodes["entry_day"].notna()]
    return seen if plan.cutoff is None else seen[seen["end_day"] >= plan.quarter_begins]


def closed_in_quarter(episodes: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The wounds that closed in the quarter."""
    return within(episodes[episodes["outcome"] == "closed"], plan, "end_day")


def weeks_in_quarter(study: Study) -> pd.DataFrame:
    """The weeks that end in the quarter, of wounds that were still in view when it began."""
    open_then = open_in_quarter(study.episodes, study.plan)
    weeks = course(open_then, study.measurements, study.sessions, study.plan)
    return within(weeks, study.plan, "week_ends")
