"""What treatment took, wound by wound: sessions, staff minutes, single-use sets, dressings, its part of devices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.delivered import delivered
from kit.delivery.burden import treated_weeks
from kit.delivery.context import NOT_NAMED
from kit.healing.answers import Answers
from kit.plan import WEEK, Plan
from kit.study import Study
from kit.wounds.episodes import OPEN
from kit.wounds.regimens import starts

COMPARED, BEGUN, TREATED = "compared", "started in the quarter", "treated in the quarter"
SETS = ("monopolar", "bipolar", "ultrasound")
MONTH = 365.25 / 12
# Sums of the sessions of a week; what was filled and what could not be had is counted beside.
SUMS = (
    "sessions", "staff_minutes", "staff_filled", "staff_unsaid", "monopolar_sets", "bipolar_sets", "ultrasound_sets",
    "sets_filled", "sets_unsaid", "unpriced",
)  # fmt: skip
OF_DRESSINGS = ("dressings_beyond", "dressings_filled", "dressings_unsaid")
KEYS = ("wound", "resident", "facility", "regimen", "spent_from", "spent_to", "gone_early")
ORDERED, RECORDED = "ordered", "recorded"


@dataclass(frozen=True, eq=False)
class Resources:
    """What the wounds of a `group` took in treatment, from `spent_from` to `spent_to` of each.

    `wounds`: a row a wound; `weeks`: a row a wound and week from `spent_from` in which it had a session. Columns of
    both: sessions, staff_minutes, monopolar_sets, bipolar_sets, ultrasound_sets, dressings_beyond, device_months (its
    part of the devices, by treated weeks); what was filled with the mean of what is recorded (staff_filled and
    sets_filled sessions, dressings_filled weeks), what could not be had at all (staff_unsaid, sets_unsaid,
    dressings_unsaid), and `unpriced` sessions of another modality, whose supplies have no price. `wounds` also has
    regimen, weeks_seen, treated_weeks, and gone_early: it left, or its record ended, before the weeks were over.
    `changes_a_week`: dressing changes a week of these wounds; `changes_from` where from: ordered, recorded, or blank
    where neither is. `horizon_weeks`: weeks after the start, at most.
    """

    group: str
    wounds: pd.DataFrame
    weeks: pd.DataFrame
    changes_a_week: float
    changes_from: str
    horizon_weeks: int

    def under(self, regimen: str) -> Resources:
        """The same of the wounds that started one regimen."""
        own = self.wounds[self.wounds["regimen"] == regimen].reset_index(drop=True)
        return replace(self, wounds=own, weeks=self.weeks[self.weeks["wound"].isin(own["wound"])])


def resources(study: Study, answers: Answers, group: str = COMPARED) -> Resources:
    """What treatment took of the wounds compared, or of those that were started, or treated, in the quarter.

    Wounds that are compared and wounds started are followed from their first session for `answers.horizon_weeks`
    (those compared from the end of the week of the start, where both clocks of the comparison begin) or to their end,
    whichever is first; of wounds treated in the quarter, everything of the quarter counts. Where the export shares no
    calendar the quarter is the whole export, and no part of a device can be told (missing): months of different
    persons cannot be laid beside each other.

    Missing is never zero. Staff minutes that are not recorded are taken as the mean of the recorded sessions of that
    set-up, or of the modality where the set-up is not recorded, and counted; so are sets of a session without set-up,
    and dressings of a week without an order. A session for several wounds is shared between them. In the first and
    last week of a wound the order of dressing changes counts by its days.
    """
    told, plan = delivered(study).told, study.plan
    clocks = _clocks(study, told, answers, group)
    spent = _spent(told, plan).merge(clocks[["wound", "spent_from", "spent_to"]], on="wound")
    spent = spent[spent["day"].between(spent["spent_from"], spent["spent_to"])]
    judged = _dressings(treated_weeks(spent, study.spans, plan), clocks)
    weeks = _by_week(spent, judged).assign(device_months=_device_months(told, clocks, plan))
    wounds = _by_wound(clocks, weeks)
    return Resources(group, wounds, weeks, *_changes(study, judged, clocks), answers.horizon_weeks)


def _clocks(study: Study, told: pd.DataFrame, answers: Answers, group: str) -> pd.DataFrame:
    """The wounds of a group, and from when to when each is looked at."""
    sessions = told.groupby("wound").agg(
        spent_from=("day", "min"), last=("day", "max"), resident=("resident", "first"), facility=("facility", "first")
    )
    begun = starts(study.sessions, study.plan).set_index("wound")["regimen"]
    seen = study.episodes.set_index("wound")[["end_day", "outcome"]]
    rows = sessions.join(begun).join(seen).reset_index()
    limit = _limits(rows, study.plan, answers, group)
    rows = rows.assign(limit=limit)[limit.notna()]
    if group != COMPARED:
        rows = _of_quarter(rows, study.plan, group)
    # A wound lost from sight may have been treated on: what it took is known to its last session.
    still = rows["outcome"].isna() | rows["outcome"].isin([OPEN, "left"])
    end = rows["end_day"].astype(float).fillna(-np.inf)
    end = end.mask(still | (group == TREATED), np.maximum(end, rows["last"]))
    rows = rows.assign(spent_to=np.minimum(end, rows["limit"]), gone_early=(still & (end < rows["limit"])).astype(bool))
    return rows[list(KEYS)].astype({"spent_from": "int64", "spent_to": "int64"}).reset_index(drop=True)


def _limits(rows: pd.DataFrame, plan: Plan, answers: Answers, group: str) -> pd.Series:
    """The last day that counts of each wound; missing of wounds that are not of the group."""
    horizon = answers.horizon_weeks * WEEK
    if group == COMPARED:
        layout = answers.layout
        clock = layout.weeks.iloc[layout.starters.week].set_index("wound")["ends"]
        return rows["wound"].map(clock).astype(float) + horizon
    last = np.inf if plan.cutoff is None else float(plan.cutoff)
    own = pd.Series(np.inf, index=rows.index) if group == TREATED else rows["spent_from"] + horizon - 1.0
    return own.clip(upper=last)


def _of_quarter(rows: pd.DataFrame, plan: Plan, group: str) -> pd.DataFrame:
    """Those that started in the quarter, or had a session in it."""
    if plan.cutoff is None:
        return rows
    if group == BEGUN:
        return rows[rows["spent_from"].between(plan.quarter_begins, plan.cutoff)]
    here = rows[(rows["last"] >= plan.quarter_begins) & (rows["spent_from"] <= plan.cutoff)]
    return here.assign(spent_from=here["spent_from"].clip(lower=plan.quarter_begins))


def _spent(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Each session with what it took: minutes of staff and sets, filled where its own record is silent."""
    modality = told["modality"].astype(object)
    setup = told["setup"].astype(object).where(modality == "stimulation", modality)
    own = told["staff_minutes"].astype(float) / told.groupby("source_row")["wound"].transform("size")
    staff = _filled(_filled(own, setup), modality)
    kept = {name: (setup == name) * float(getattr(plan.protocol, f"{name}_sets")) for name in SETS}
    silent = setup.isna() & (modality == "stimulation")
    sets = {f"{name}_sets": _filled(kept[name].mask(silent), modality) for name in SETS}
    unsaid = pd.DataFrame(sets).isna().any(axis=1)
    return told.assign(
        sessions=1,
        staff_minutes=staff.fillna(0.0),
        staff_filled=(own.isna() & staff.notna()).astype("int64"),
        staff_unsaid=staff.isna().astype("int64"),
        **{name: values.fillna(0.0) for name, values in sets.items()},
        sets_filled=(silent & ~unsaid).astype("int64"),
        sets_unsaid=unsaid.astype("int64"),
        unpriced=(modality == "other").astype("int64"),
    )


def _filled(values: pd.Series, of: pd.Series) -> pd.Series:
    """Values, and where there is none the mean of those that are recorded of the same kind."""
    return values.fillna(values.groupby(of).transform("mean"))


def _dressings(judged: pd.DataFrame, clocks: pd.DataFrame) -> pd.DataFrame:
    """The treated weeks with dressings taken down beyond the order, which counts for the days that are looked at."""
    weeks = judged.merge(clocks[["wound", "spent_from", "spent_to"]], on="wound")
    begins = np.maximum(weeks["week_ends"] - WEEK + 1, weeks["spent_from"])
    part = (np.minimum(weeks["week_ends"], weeks["spent_to"]) - begins + 1) / WEEK
    own = (weeks["disturbed"] - weeks["ordered_changes"] * part).clip(lower=0).astype(float)
    beyond = _filled(own, weeks["setup"].where(weeks["modality"] == "stimulation", weeks["modality"]))
    return weeks.assign(
        week=(weeks["week_ends"] - weeks["spent_from"]) // WEEK,
        dressings_beyond=beyond.fillna(0.0),
        dressings_filled=(own.isna() & beyond.notna()).astype("int64"),
        dressings_unsaid=beyond.isna().astype("int64"),
    )


def _by_week(spent: pd.DataFrame, judged: pd.DataFrame) -> pd.DataFrame:
    """What each treated week of a wound took; weeks are counted from the wound's first day that is looked at."""
    first = spent["day"] - spent["since_start"]  # weeks of a wound begin with its first session
    ends = first + spent["since_start"] // WEEK * WEEK + WEEK - 1
    sums = spent.assign(week_ends=ends).groupby(["wound", "week_ends"])[list(SUMS)].sum().reset_index()
    return sums.merge(judged[["wound", "week_ends", "week", *OF_DRESSINGS]], on=["wound", "week_ends"])


def _device_months(told: pd.DataFrame, clocks: pd.DataFrame, plan: Plan) -> float:
    """Device months for each treated week: all months in which these wounds were treated over all weeks treated then.

    A facility keeps its devices from its first session on, whether or not anybody is treated.
    """
    if plan.cutoff is None or clocks.empty:
        return np.nan
    first, last = clocks["spent_from"].min(), clocks["spent_to"].max()
    named = told[told["facility"] != NOT_NAMED]
    began = (named if len(named) else told).groupby("facility")["day"].min()
    months = ((last - np.maximum(began, first) + 1) / MONTH).clip(lower=0).sum()
    weeks = told.assign(week=told["since_start"] // WEEK)[told["day"].between(first, last)]
    return float(plan.costs.devices * months / len(weeks.drop_duplicates(["wound", "week"])))


def _by_wound(clocks: pd.DataFrame, weeks: pd.DataFrame) -> pd.DataFrame:
    by = weeks.groupby("wound")
    names = [*SUMS, *OF_DRESSINGS]
    sums = by[names].sum().assign(treated_weeks=by.size(), device_months=by["device_months"].sum(min_count=1))
    seen = (clocks["spent_to"] - clocks["spent_from"] + 1) / WEEK
    return clocks.assign(weeks_seen=seen).merge(sums, on="wound")


def _changes(study: Study, judged: pd.DataFrame, clocks: pd.DataFrame) -> tuple[float, str]:
    """Dressing changes a week of these wounds: as ordered, else as recorded on those that have any recorded."""
    if judged["ordered_changes"].notna().any():
        return float(judged["ordered_changes"].mean()), ORDERED
    done = study.procedures[study.procedures["procedure"] == "dressing"].merge(clocks, on="wound")
    done = done[done["day"].between(done["spent_from"], done["spent_to"])]
    if done.empty:
        return np.nan, ""
    seen = clocks[clocks["wound"].isin(done["wound"])]
    return float(len(done) / ((seen["spent_to"] - seen["spent_from"] + 1).sum() / WEEK)), RECORDED
