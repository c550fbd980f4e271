"""The five numbers at the head of a page, each as people say it, with the counts that it rests on."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.context.costs import ANY, TOTAL
from kit.context.resources import Resources
from kit.healing.answers import Answers
from kit.healing.reach import Reach
from kit.plan import Plan
from kit.quarter import Activity
from kit.statements.comparing import early, lacks, level_of
from kit.statements.delivery import MATTERS
from kit.statements.money import money
from kit.words import count, more_or_fewer, of_hundred, rate, sentence, share, when

NOT_SENT, NONE = "not in the export", "none"


@dataclass(frozen=True, eq=False)
class Quarter:
    """What the five numbers are read from: who could be started, fates of the sessions due, what was done, answers that
    may be told, and what treatment of the quarter took and cost (`kit.context.costs.costs`)."""

    reach: Reach
    fates: pd.DataFrame
    done: Activity
    answers: Answers
    taken: Resources
    spent: pd.DataFrame
    sent: bool  # whether the export holds sessions at all


def numbers(found: Quarter, plan: Plan) -> pd.DataFrame:
    """Reach, delivered, closed, harm and effort. Columns out: about, name, value, rests (on what, in words)."""
    rows = [("reach", *_reach(found, plan)), ("delivered", *_delivered(found, plan)), ("closed", *_closed(found, plan)),
            ("harm", *_harm(found, plan)), ("effort", *_effort(found, plan))]  # fmt: skip
    return pd.DataFrame(rows, columns=["about", "name", "value", "rests"])


def _reach(found: Quarter, plan: Plan) -> tuple[str, str, str]:
    could, done = found.reach, found.done
    rests = f"{could.started} of {count(could.wounds, 'wound')} on {count(could.residents, 'resident')}"
    treated = f"{done.wounds_treated} treated {when(plan.cutoff)}, of {count(done.wounds_open, 'wound')} open"
    asked = f"the plan asks for {plan.triggers.reach_below:g}%"
    return "Started, of those that could be", share(could.started, could.wounds), f"{rests}; {asked}; {treated}"


def _delivered(found: Quarter, plan: Plan) -> tuple[str, str, str]:
    name, fates, done = "Delivered, of sessions due", found.fates, found.done
    due, full = round(fates["sessions"].sum()), round(fates.loc[fates["fate"] == "full", "sessions"].sum())
    if not due:
        return name, _no_session(found), f"no session {when(plan.cutoff)}"
    rests = f"{full} of {due} at the protocol's minutes; the plan asks for {plan.triggers.delivered_below:g}%"
    lacking = fates[fates["decision"] != ""].groupby("decision")["sessions"].sum().sort_values(ascending=False)
    if len(lacking):
        rests += (
            f"; of the other {due - full} most, {round(lacking.iloc[0])}, are a matter of {MATTERS[lacking.index[0]]}"
        )
    if not done.status_recorded:
        rests += "; the export does not say which were missed"
    return name, share(full, due), rests


def _closed(found: Quarter, plan: Plan) -> tuple[str, str, str]:
    answers = found.answers
    row, measure = answers.told.iloc[0].to_dict(), answers.measure
    asked = f"Closed by week {answers.horizon_weeks}" if measure == "closed" else sentence(early(plan))
    if not row["is_told"]:
        name = "Closed, beside expected without"
        why = "a warning stops it" if row["withheld_for"] else f"too few: {lacks(answers.needs, row).partition(';')[0]}"
        return name, "not compared", why
    treated, beside = (of_hundred(row[f"{measure}_{arm}"]) for arm in ("treated", "beside"))
    difference = more_or_fewer(*(row[f"{measure}_{part}"] for part in ("difference", "low", "high")))
    rests = f"{difference}; {count(row['starters'], 'wound')} on {count(row['starters_residents'], 'resident')}"
    undecided = (
        "" if level_of(row, measure) in ("consistent with", "supports") else "; not to be quoted without the range"
    )
    return f"{asked}, of 100, beside expected without", f"{treated} beside {beside}", f"{rests}{undecided}"


def _harm(found: Quarter, plan: Plan) -> tuple[str, str, str]:
    done = found.done
    name, taken = "Reactions per 100 sessions", done.given + done.shortened
    if not taken:
        return name, _no_session(found), f"no session {when(plan.cutoff)}"
    if not done.asked:
        return name, "not recorded", f"of {count(taken, 'session')} none says anything of any"
    silent = f"; {taken - done.asked} say nothing of any" if done.asked < taken else ""
    limit = f"the plan's limit is {plan.triggers.harm_above:g}"
    said = f"{done.reactions} in {count(done.asked, 'session')}; {limit}{silent}"
    return name, rate(done.reactions, done.asked), said


def _effort(found: Quarter, plan: Plan) -> tuple[str, str, str]:
    name, wounds = "Staff minutes a treated week", found.taken.wounds
    weeks = int(wounds["treated_weeks"].sum()) if len(wounds) else 0
    if not weeks:
        return name, _no_session(found), f"no session {when(plan.cutoff)}"
    lines = found.spent[found.spent["regimen"] == ANY].set_index("item")
    staff, total = lines.loc["staff"], lines.loc[TOTAL]
    minutes = "not recorded" if pd.isna(staff["units"]) else f"{staff['units'] / weeks:.0f}"
    sessions = f"{wounds['sessions'].sum() / weeks:.1f} sessions a week of a wound"
    least = "at least " if total["unsaid"] else ""
    known = not pd.isna(total["a_treated_week"]) and not total["is_invented"]
    worth = f", {least}{money(total['a_treated_week'], plan)}" if known else ""
    return name, minutes, f"{sessions}{worth}; {count(weeks, 'week')} of {count(len(wounds), 'wound')}"


def _no_session(found: Quarter) -> str:
    return NONE if found.sent else NOT_SENT
