"""Who started in a week, and who could have: each measured week of a wound not yet treated is a small trial.

A sequence of nested trials: Hernan et al. 2016, J Clin Epidemiol 79:70, on time zero; Keogh et al. 2023, Stat Med
42:2191, on sequential trials. A trial begins with a measurement and is judged at the end of its week: wounds that
started in it, and wounds that could have and did not, are both still open, and both clocks start there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.healing.covariates import charted, held
from kit.healing.weeks import wound_weeks
from kit.plan import Plan
from kit.wounds.episodes import LATE, OPEN

RUNNING, UNSEEN = "already treated when first measured", "not measured again after the start"
# Why a week of an untreated wound is no trial; the first reason that holds is told.
REASONS = (
    "in the first days of usual care",
    "not measured in that week",
    "closed or gone before the week was over",
    "the record ends within the week",
    "out of the building at the end of the week",
    "a contraindication stood on the chart",
    "comfort was the goal",
    "at a stage the plan does not start",
    "before the program began in that facility",
)
TOO_EARLY, TOO_LATE = "before the months that are compared", "too late for a whole horizon before the cut-off"
ALONE = "in a facility where none of them started, or all did"
ELIGIBLE = "could have been started"


@dataclass(frozen=True, eq=False)
class Weeks:
    """`weeks`: every week of the cohort's wounds, with what was charted, who started, who could have and why not.

    Columns: those of `wound_weeks` and `charted`, resident, facility, before (no session before the week begins),
    starts (the regimen begun in it, else ""), lost (left or lost from sight in it), reason ("" where it is a trial),
    end_day, outcome and start_day of the wound. `running`: wounds treated before they were first measured; `unseen`:
    wounds that were lost from sight before they started.
    """

    weeks: pd.DataFrame
    running: int
    unseen: int


def weeks_of(
    episodes: pd.DataFrame,
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    stages: pd.DataFrame,
    spans: pd.DataFrame,
    departures: pd.DataFrame,
    plan: Plan,
) -> Weeks:
    """The weeks of the cohort, each judged at its end by what was known then.

    A week is a trial when its wound was measured as it began, had no session before, was open and in the building at
    its end, past the run-in, with no contraindication and no comfort goal in it, at a stage that the plan starts, in a
    facility whose program had begun. Nothing after the week's end is asked.
    """
    known = known_weeks(episodes, residents, wounds, measurements, stages, spans, plan)
    return judged(known, episodes, spans, departures, plan)


def known_weeks(
    episodes: pd.DataFrame,
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    stages: pd.DataFrame,
    spans: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """Every week of the cohort's wounds with what was charted as it began, before it is judged."""
    seen = episodes[episodes["in_cohort"] & ~episodes["running"]]
    weeks = wound_weeks(seen, measurements, plan).merge(seen[_OF_THE_WOUND], on="wound")
    return charted(weeks, residents, wounds, measurements, stages, spans)


def judged(
    weeks: pd.DataFrame, episodes: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame, plan: Plan
) -> Weeks:
    """The weeks of `known_weeks`, each judged at its end."""
    cohort = episodes[episodes["in_cohort"]]
    seen = cohort[~cohort["running"]]
    start, end = weeks["start_day"].fillna(LATE).astype("int64"), weeks["end_day"].astype("int64")
    here = (start >= weeks["begins"]) & (start <= weeks["ends"])
    lost = (weeks["outcome"] == "left") | weeks["vanished"]
    weeks = weeks.assign(
        before=start >= weeks["begins"],
        starts=weeks["regimen"].astype(object).where(here, ""),
        lost=lost & (end <= weeks["ends"]),
        reason=_reasons(weeks, end, spans, departures, episodes, plan),
    )
    unseen = (seen["start_day"] > seen["end_day"]).fillna(False)
    return Weeks(weeks, int(cohort["running"].sum()), int(unseen.sum()))


_OF_THE_WOUND = [
    "wound", "resident", "facility", "kind", "entry_day", "end_day", "outcome", "vanished", "regimen", "start_day"
]  # fmt: skip


def _reasons(
    weeks: pd.DataFrame,
    end: pd.Series,
    spans: pd.DataFrame,
    departures: pd.DataFrame,
    episodes: pd.DataFrame,
    plan: Plan,
) -> np.ndarray:
    begun = weeks["facility"].map(episodes.groupby("facility")["start_day"].min()).astype("Int64").fillna(LATE)
    staged = (weeks["kind"] == "pressure_injury") & weeks["stage_of_record"].notna()
    over = end <= weeks["ends"]
    holds = (
        weeks["begins"] - weeks["entry_day"] < plan.comparison.run_in_days,
        ~weeks["measured"],
        over & (weeks["outcome"] != OPEN),
        over,
        _away(weeks, spans, departures),
        held(weeks, spans, ("contraindication",), weeks["ends"]),
        held(weeks, spans, ("comfort_goal",), weeks["ends"]),
        staged & ~weeks["stage_of_record"].isin(plan.comparison.stages),
        (begun > weeks["ends"]) & (plan.cutoff is not None),  # days of different persons do not compare without one
    )
    return np.select([np.asarray(rule, dtype=bool) for rule in holds], REASONS, "")


def _away(weeks: pd.DataFrame, spans: pd.DataFrame, departures: pd.DataFrame) -> np.ndarray:
    """Out of the building on the last day of the week: in hospital and not yet back, or on leave.

    A stay from before a wound was first measured is over, whether or not its end was written down.
    """
    stays = departures.loc[departures["reason"] == "hospital", ["resident", "day", "returned"]]
    ends = weeks[["resident", "entry_day", "ends"]].assign(row=np.arange(len(weeks)))
    pairs = ends.merge(stays, on="resident")
    away = pairs["day"].between(pairs["entry_day"], pairs["ends"]) & ~(pairs["returned"] <= pairs["ends"]).fillna(False)
    out = held(weeks.assign(begins=weeks["ends"]), spans, ("out_of_building",), weeks["ends"])
    out[pairs.loc[away.astype(bool), "row"]] = True
    return out


def window(plan: Plan, horizon: int) -> tuple[int, int] | None:
    """First and last day on which a trial may end so that a whole horizon (days) lies before the cut-off.

    None where the export shares no calendar: then every trial counts, for as long as it was followed.
    """
    if plan.cutoff is None:
        return None
    last = plan.cutoff - horizon
    return last - round(plan.comparison.answer_months * 365.25 / 12) + 1, last


def trials(weeks: pd.DataFrame, plan: Plan, horizon: int) -> pd.DataFrame:
    """The weeks that are trials, and end in the months that are compared, for a horizon in days."""
    formed = weeks["before"] & (weeks["reason"] == "")
    limits = window(plan, horizon)
    return weeks[formed if limits is None else formed & weeks["ends"].between(*limits)]


def outside(weeks: Weeks, plan: Plan, horizon: int, homes: set[str]) -> pd.DataFrame:
    """Every wound that started, by whether its start is compared and, if not, why. `homes`: facilities compared.

    Columns out: reason ("could have been started" for those compared), starters (wounds), residents.
    """
    rows = weeks.weeks[weeks.weeks["starts"] != ""]
    table = rows.groupby(_why(rows, plan, horizon, homes)).agg(
        starters=("wound", "nunique"), residents=("resident", "nunique")
    )
    table = _in_order(table)
    unseen = {reason: count for reason, count in ((RUNNING, weeks.running), (UNSEEN, weeks.unseen)) if count}
    more = pd.DataFrame({"reason": list(unseen), "starters": list(unseen.values()), "residents": pd.NA})
    return pd.concat([table, more], ignore_index=True) if unseen else table


def eligibility(weeks: pd.DataFrame, plan: Plan, horizon: int, homes: set[str]) -> pd.DataFrame:
    """The untreated weeks by whether they are trials and, if not, why: reason, weeks, wounds, residents."""
    untreated = weeks[weeks["before"]]
    table = untreated.groupby(_why(untreated, plan, horizon, homes))
    counted = table.agg(weeks=("wound", "size"), wounds=("wound", "nunique"), residents=("resident", "nunique"))
    return _in_order(counted)


def _why(rows: pd.DataFrame, plan: Plan, horizon: int, homes: set[str]) -> pd.Series:
    """Why each week is not compared, or that it is."""
    reason = rows["reason"].where(rows["reason"] != "", ELIGIBLE)
    limits = window(plan, horizon)
    if limits is not None:
        early, late = rows["ends"] < limits[0], rows["ends"] > limits[1]
        reason = reason.mask((reason == ELIGIBLE) & early, TOO_EARLY).mask((reason == ELIGIBLE) & late, TOO_LATE)
    return reason.mask((reason == ELIGIBLE) & ~rows["facility"].isin(homes), ALONE)


def _in_order(table: pd.DataFrame) -> pd.DataFrame:
    """The reasons in the order in which they are asked."""
    order = [ELIGIBLE, *REASONS, TOO_EARLY, TOO_LATE, ALONE]
    return table.reindex([name for name in order if name in table.index]).rename_axis("reason").reset_index()
