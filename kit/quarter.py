"""The quarter that is described: what was planned, given and missed, what reacted, what closed."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.plan import Plan
from kit.study import Study
from kit.wounds.course import course
from kit.wounds.episodes import UNTREATED
from kit.wounds.regimens import given, meets


@dataclass(frozen=True)
class Activity:
    """Counts of one window. Where the export shares no calendar the window is the whole export."""

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
    reactions: int
    closed: int
    measurements: int
    weeks_in_view: int
    weeks_measured: int


def activity(study: Study) -> Activity:
    """What happened in the quarter, counted from the rows of the study."""
    sessions = within(study.sessions, study.plan)
    treated = given(sessions)
    status = sessions["status"].astype(object).fillna("given").value_counts()
    open_then = _open_in_quarter(study.episodes, study.plan)
    weeks = _weeks_in_quarter(study)
    owner = study.wounds.set_index("wound")["resident"]
    return Activity(
        begins=study.plan.quarter_begins,
        ends=study.plan.cutoff,
        wounds_open=len(open_then),
        residents_open=open_then["resident"].nunique(),
        wounds_treated=treated["wound"].nunique(),
        residents_treated=treated["wound"].map(owner).nunique(),
        planned=len(sessions),
        given=int(status.get("given", 0)),
        shortened=int(status.get("shortened", 0)),
        missed=int(status.get("missed", 0)),
        reactions=int((treated["reaction"].notna() & (treated["reaction"] != "none")).sum()),
        closed=len(_closed_in_quarter(study.episodes, study.plan)),
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
    """Sessions of the quarter by regimen: regimen, wounds, planned, given, shortened, missed."""
    sessions = within(study.sessions, study.plan)
    rows = []
    for regimen in study.plan.regimens:
        theirs = sessions[meets(sessions, regimen)]
        status = theirs["status"].astype(object).fillna("given").value_counts()
        counts = {name: int(status.get(name, 0)) for name in ("given", "shortened", "missed")}
        wounds = given(theirs)["wound"].nunique()
        rows.append({"regimen": regimen.name, "wounds": wounds, "planned": len(theirs), **counts})
    return pd.DataFrame(rows)


def reasons(study: Study) -> pd.DataFrame:
    """Why sessions of the quarter were missed or shortened: reason, missed, shortened; most frequent first."""
    sessions = within(study.sessions, study.plan)
    short = sessions[sessions["status"].isin(["missed", "shortened"])]
    reason = short["reason"].astype(object).fillna("unknown")
    table = pd.crosstab(reason, short["status"].astype(object)).reindex(columns=["missed", "shortened"], fill_value=0)
    table = table.rename_axis(index="reason", columns=None).reset_index()
    return table.sort_values(["missed", "shortened", "reason"], ascending=[False, False, True], ignore_index=True)


def wounds_by_regimen(episodes: pd.DataFrame) -> pd.DataFrame:
    """Wounds of the cohort by what they started: regimen, a column a facility, all, residents."""
    cohort = episodes[episodes["in_cohort"]]
    order = [UNTREATED, *sorted(set(cohort["regimen"]) - {UNTREATED}), "all"]
    table = pd.crosstab(cohort["regimen"], cohort["facility"], margins=True, margins_name="all")
    people = cohort.groupby("regimen")["resident"].nunique()
    table = table.assign(residents=people.reindex(table.index).fillna(cohort["resident"].nunique()).astype("int64"))
    table = table.reindex([name for name in order if name in table.index])
    return table.rename_axis(index="regimen", columns=None).reset_index()


def weeks_by_regimen(weeks: pd.DataFrame) -> pd.DataFrame:
    """Weeks in view by what the wound was under: regimen, weeks, fresh (measured in time), sessions, device minutes."""
    grouped = weeks.groupby("regimen", as_index=False)
    return grouped.agg(
        weeks=("week", "size"), fresh=("fresh", "sum"), sessions=("sessions", "sum"), minutes=("minutes", "sum")
    )


def _open_in_quarter(episodes: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    seen = episodes[episodes["entry_day"].notna()]
    return seen if plan.cutoff is None else seen[seen["end_day"] >= plan.quarter_begins]


def _closed_in_quarter(episodes: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    return within(episodes[episodes["outcome"] == "closed"], plan, "end_day")


def _weeks_in_quarter(study: Study) -> pd.DataFrame:
    weeks = course(study.episodes, study.measurements, study.sessions, study.plan)
    return within(weeks, study.plan, "week_ends")
