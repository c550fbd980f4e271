"""What a study's sessions came to beside the protocol, made once: everything that shows it reads the same numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import pandas as pd

from kit.delivery.agreement import agreement
from kit.delivery.burden import burden, treated_weeks
from kit.delivery.calendar import calendar
from kit.delivery.comfort import Comfort, pain
from kit.delivery.context import NOT_NAMED, in_context
from kit.delivery.dose import doses, treated_days
from kit.delivery.early_dose import EarlyDose, early_dose
from kit.delivery.open_wounds import TOO_SHORT, day_marks, open_wounds
from kit.delivery.orders import as_ordered, ordered_weeks, orders, orders_left_out, sessions_a_week
from kit.delivery.published import CONTRAINDICATION, PRECAUTION, contraindications
from kit.delivery.safety import cut_short, inside, inside_by_condition, inside_by_facility, reactions
from kit.delivery.settings import inconsistencies, polarity_by_state, schedules, turning
from kit.delivery.shortfalls import fate_of_each, fates, shortfalls
from kit.delivery.stops import course_ends, stop_reasons, stopped_shares
from kit.delivery.stretches import stretches
from kit.delivery.worklist import worklist
from kit.quarter import within
from kit.study import Study


@dataclass(frozen=True, eq=False)
class Delivered:
    """`told`: every session in context; `judged`: each beside the protocol and its order; `weeks`: of the orders;
    `left_out`: orders of which nothing can be told due; `absent`: elements that no session of the export says, which
    are judged nowhere; `ordered`: whether there is an order to judge by.

    `doses`, `shortfalls`, `fates`, `settings` and `calendar` are of the quarter, `stretches`, `by_state` and
    `schedules` of the whole export: since when is seldom told by a quarter. Frames as `kit.delivery` returns them.
    """

    told: pd.DataFrame
    judged: pd.DataFrame
    absent: tuple[str, ...]
    ordered: bool
    weeks: pd.DataFrame
    left_out: pd.DataFrame
    doses: pd.DataFrame
    shortfalls: pd.DataFrame
    stretches: pd.DataFrame
    fates: pd.DataFrame
    settings: pd.DataFrame
    by_state: pd.DataFrame
    schedules: pd.DataFrame
    calendar: pd.DataFrame


@lru_cache(maxsize=8)
def delivered(study: Study) -> Delivered:
    """What was delivered. A study is frozen, so asking twice costs once."""
    plan = study.plan
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, plan)
    ordered = _orders(study)
    weeks = ordered_weeks(ordered, study.sessions, study.spans, study.departures)
    parts = [agreement(told, plan), sessions_a_week(weeks), as_ordered(told, ordered)]
    judged = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    said = judged.groupby("element")["recorded"].any()
    absent = tuple(name for name in said.index if not said[name])
    seen = judged[~judged["element"].isin(absent)].reset_index(drop=True)
    now, planned = within(told, plan), within(study.sessions, plan)
    return Delivered(
        told=told,
        judged=seen,
        absent=absent,
        ordered=len(ordered) > 0,
        weeks=weeks,
        left_out=orders_left_out(study.spans, ordered, study.sessions, study.wounds),
        doses=doses(treated_days(now, plan), plan),
        shortfalls=shortfalls(within(seen, plan)),
        stretches=stretches(seen),
        fates=fates(planned, _home(planned, study), judged, within(weeks, plan)),
        settings=inconsistencies(now, plan),
        by_state=polarity_by_state(told),
        schedules=schedules(turning(told, plan), plan),
        calendar=calendar(study.sessions, judged, study.episodes, _home(study.sessions, study), plan),
    )


@lru_cache(maxsize=8)
def fates_ever(study: Study) -> pd.DataFrame:
    """What became of every session due, over the whole export; columns as of `kit.delivery.shortfalls.fates`."""
    done = delivered(study)
    return fates(study.sessions, _home(study.sessions, study), done.judged, done.weeks)


@dataclass(frozen=True, eq=False)
class Safety:
    """`reactions` and `cut_short` are of the quarter; `inside_now` counts its sessions in a recorded contraindication
    or precaution by facility, `inside_ever` those of the whole export and `conditions` what they were recorded for;
    `stops` and `stop_reasons` tell what became of courses; `charted` counts the spans there are. Frames as
    `kit.delivery` returns them.
    """

    reactions: pd.DataFrame
    cut_short: pd.DataFrame
    inside_now: pd.DataFrame
    inside_ever: pd.DataFrame
    conditions: pd.DataFrame
    stops: pd.DataFrame
    stop_reasons: pd.DataFrame
    charted: dict[str, int]


@lru_cache(maxsize=8)
def safety_of(study: Study) -> Safety:
    """Reactions, early stops, and sessions inside a recorded contraindication or precaution."""
    told, listed = delivered(study).told, contraindications()
    now = within(told, study.plan)
    ends = course_ends(told, study.sessions, study.spans, study.episodes)
    found = inside(told, study.spans, listed)
    return Safety(
        reactions=reactions(now),
        cut_short=cut_short(now),
        inside_now=inside_by_facility(within(found, study.plan), now, study.spans),
        inside_ever=inside_by_facility(found, told, study.spans),
        conditions=inside_by_condition(found),
        stops=stopped_shares(ends),
        stop_reasons=stop_reasons(ends),
        charted={kind: int((study.spans["span"] == kind).sum()) for kind in (CONTRAINDICATION, PRECAUTION)},
    )


@dataclass(frozen=True, eq=False)
class Worklist:
    """`known`: every open wound; `things`: what to look at, most pressing first; `marks`: its days of the quarter.

    Frames as `kit.delivery.open_wounds` and `kit.delivery.worklist` return them; they name wounds.
    """

    known: pd.DataFrame
    things: pd.DataFrame
    marks: pd.DataFrame


@lru_cache(maxsize=8)
def worklist_of(study: Study) -> Worklist:
    """What to look at about open wounds on the last day known."""
    plan, spans, departures = study.plan, study.spans, study.departures
    tables = (study.residents, study.wounds, study.measurements, study.sessions, spans, departures)
    known = open_wounds(*tables, study.episodes, plan)
    asked = (study.measurements, study.sessions, study.procedures, spans, departures)
    return Worklist(known, worklist(known, *asked, plan), day_marks(known, _with_fates(study), spans, departures, plan))


@lru_cache(maxsize=8)
def burden_of(study: Study) -> pd.DataFrame:
    """Dressings taken down, staff minutes and single-use sets for each treated week that ends in the quarter."""
    weeks = treated_weeks(delivered(study).told, study.spans, study.plan)
    return burden(within(weeks, study.plan, "week_ends"))


@lru_cache(maxsize=8)
def comfort_of(study: Study) -> Comfort:
    """Pain at procedures with and without stimulation before them, over the whole export."""
    return pain(study.procedures, study.wounds, study.plan)


@lru_cache(maxsize=8)
def early_dose_of(study: Study) -> EarlyDose:
    """Device minutes of the first two weeks, and what closed later."""
    return early_dose(study.episodes, study.sessions, study.measurements, study.plan)


def _with_fates(study: Study) -> pd.DataFrame:
    """The sessions, of which those given and too short for the protocol say so in place of their status."""
    fate = fate_of_each(study.sessions, delivered(study).judged)["fate"]
    status = study.sessions["status"].astype(object)
    return study.sessions.assign(status=status.mask((fate == "short").to_numpy(), TOO_SHORT))


def _orders(study: Study) -> pd.DataFrame:
    """The orders; none of an export without sessions, which tells nothing of what became of them."""
    asked = (study.sessions, study.measurements, study.episodes, study.wounds, study.residents, study.plan)
    ordered = orders(study.spans, *asked)
    return ordered if len(study.sessions) else ordered.head(0)


def _home(sessions: pd.DataFrame, study: Study) -> pd.Series:
    owner = sessions["wound"].map(study.wounds.set_index("wound")["resident"])
    return owner.map(study.residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
