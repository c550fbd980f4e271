"""The numbers of a report, once, as plain values: the page, the tables and findings.json all read them here."""

from __future__ import annotations

import math
from dataclasses import asdict

import pandas as pd

from kit import __version__
from kit.compared import reach_in_quarter
from kit.context.after_start import MODALITIES
from kit.context.beside_published import beside_published
from kit.context.costs import costs
from kit.context.program import program_of
from kit.context.published_trials import reviews, trials
from kit.context.resources import TREATED, resources
from kit.context.trend import quarter_numbers, quarters, trend
from kit.context.worth import worth_of
from kit.delivered import delivered, safety_of, worklist_of
from kit.faults import counted
from kit.healing.description import Description, describe
from kit.pages.folders import period_of
from kit.pages.issued_quarters import NOTHING, Issued
from kit.pages.restated import Restated, first_record
from kit.quarter import activity, by_regimen, reasons
from kit.region import region_of
from kit.statements.beside_published import where_it_stands
from kit.statements.care import safety, to_look_at
from kit.statements.comparing import came_to, comparisons, in_facility, look, reach, why_level
from kit.statements.costs import costs_said, took
from kit.statements.decisions import Reached, decisions, each_below
from kit.statements.delivery import missed_most
from kit.statements.misleading import asked, warned_of
from kit.statements.numbers import Quarter, numbers
from kit.statements.region import in_line
from kit.statements.sent import in_brief, tied_rows
from kit.statements.sizes import early_responses
from kit.statements.trend import other_rules, trends
from kit.study import Study
from kit.warned import Earlier, answers_of, warned
from kit.words import FEW_NAMES


def findings(
    study: Study,
    scope: str,
    group: Study | None = None,
    earlier: Earlier = (),
    issued: Issued = NOTHING,
    restated: Restated | None = None,
) -> tuple[dict, Description]:
    """Everything a page says, as values that JSON can hold, and the description its figure is drawn from.

    `group` is the study of all facilities, where the page is of one of them; `earlier` tells of earlier quarters,
    `issued` holds the numbers of those that were issued, `restated` the last of them counted anew.
    """
    description = describe(study.episodes, study.plan)
    episodes = study.episodes
    told = {
        "program": study.plan.program.name,
        "scope": scope,
        "facilities": list(study.facilities),
        "basis": study.plan.program.basis,
        "cutoff": study.plan.cutoff,
        "rules": study.plan.rules,
        "quarter_begins": study.plan.quarter_begins,
        "last_record": last_record(study),
        "cohort_begins": study.plan.cohort_begins,
        "horizon_weeks": study.plan.following.horizon_weeks,
        "fingerprints": {"export": study.fingerprint, "plan": study.plan.fingerprint, "kit": __version__},
        "absent": list(study.absent),
        "account": _records(study.account),
        "faults": _records(counted(study.faults)),
        "sent": in_brief(study),
        "numbers": _numbers(study),
        "activity": asdict(activity(study)),
        "reach": asdict(reach_in_quarter(study)),
        "tied": dict(zip(("sessions", "rows"), tied_rows(study), strict=True)),
        "sessions": _records(by_regimen(study)),
        "reasons": _records(reasons(study)),
        "delivery": _delivery(study),
        "cohort": {
            "wounds": int(episodes["in_cohort"].sum()),
            "residents": int(episodes.loc[episodes["in_cohort"], "resident"].nunique()),
            "running": int((episodes["in_cohort"] & episodes["running"]).sum()),
            "unconfirmed": int(
                (episodes["in_cohort"] & (episodes["outcome"] == "closed") & ~episodes["confirmed"]).sum()
            ),
            "vanished": int((episodes["in_cohort"] & episodes["vanished"]).sum()),
            "left_out": _left_out(study),
        },
        "comparison": _comparison(study),
        "warnings": _warnings(study, earlier),
        "decisions": _decisions(study),
        "trend": _trend(study, issued),
        "restated": _restated(restated),
        "costs": _costs(study),
        "published": _published(study),
        "side_by_side": in_line(region_of(study)) if len(study.facilities) > 1 else [],
        "group": _in_group(group, scope) if group is not None else None,
        "healing": _records(description.groups),
        "resampling": {"draws": description.draws, "seed": description.seed},
    }
    return told, description


def _delivery(study: Study) -> dict:
    """What was delivered of the protocol in the quarter, and what became of the sessions that were due."""
    done = delivered(study)
    return {
        "missed": missed_most(done, study.plan),
        "due": _records(done.fates),
        "agreement": _records(done.shortfalls),
        "since": _records(done.stretches),
        "below": each_below(done.fates, study.plan) if len(study.facilities) > FEW_NAMES else [],
        "safety": safety(safety_of(study), study.plan, FEW_NAMES),
        "to_look_at": to_look_at(worklist_of(study), study.plan),
    }


def _warnings(study: Study, earlier: Earlier) -> dict:
    """What could mislead: every question asked of the numbers, and what is said of those that found something."""
    told = warned(study, earlier)
    return {"asked": asked(told), "said": warned_of(told), "every": _records(told)}


def _decisions(study: Study) -> list[dict]:
    """What the plan's triggers propose to discuss."""
    found = Reached(reach_in_quarter(study), delivered(study).fates, activity(study), answers_of(study))
    return _records(decisions(found, study.plan))


def _numbers(study: Study) -> list[dict]:
    """The five numbers at the head of the page."""
    taken = resources(study, answers_of(study), TREATED)
    quarter = Quarter(
        reach=reach_in_quarter(study),
        fates=delivered(study).fates,
        done=activity(study),
        answers=answers_of(study),
        taken=taken,
        spent=costs(taken, study.plan),
        sent="sessions" not in study.absent,
    )
    return _records(numbers(quarter, study.plan))


def _trend(study: Study, issued: Issued) -> dict:
    """The quarters in a row, and what later reports need of this one."""
    points = quarters(issued.numbers, quarter_numbers(study), period_of(study.plan), study.plan)
    verdicts = trend(points)
    return {
        "first_record": first_record(study),
        "points": _records(points) if len(issued.numbers) else [],
        "verdicts": _records(verdicts) if len(issued.numbers) else [],
        "said": [*trends(points, verdicts), *other_rules(issued.by_other_rules(study.plan)), *issued.unread],
    }


def _restated(told: Restated | None) -> dict | None:
    """The last issued quarter counted anew."""
    if told is None:
        return None
    return {"quarter": told.quarter, "revision": told.revision, "lines": _records(told.lines), "said": told.said}


def _costs(study: Study) -> dict:
    """What a started wound cost, what was gained for it where that may be told, and what would pay for it."""
    answers, plan, worth = answers_of(study), study.plan, worth_of(study)
    taken = resources(study, answers)
    table = costs(taken, plan)
    return {
        "said": _records(costs_said(table, taken, worth, answers, plan)),
        "took": took(table, taken, plan),
        "lines": _records(table),
        "gain": _records(worth.parts),
        "quadrants": _records(worth.quadrants),
        "break_even": _records(worth.break_even),
        "not_beside_gain": worth.why,
    }


def _published(study: Study) -> list[str]:
    """Where the program stands beside published studies, a sentence a modality that was started."""
    program = program_of(study)
    beside = beside_published(program, trials(), reviews())
    begun = set(program.started.loc[program.started["wounds"] > 0, "modality"])
    return [where_it_stands(beside, modality)[0] for modality in MODALITIES if modality in begun]


def _comparison(study: Study) -> dict:
    """What was compared, and what may be said of it."""
    answers, plan = answers_of(study), study.plan
    said = comparisons(answers, plan)
    return {
        "horizon_weeks": answers.horizon_weeks,
        "measure": answers.measure,
        "came_to": came_to(answers, plan),
        "reach": reach(answers),
        "look": look(plan),
        "why_level": why_level(answers.told.iloc[0].to_dict(), answers.measure),
        "early": _records(early_responses(answers, plan)),
        "told": _records(answers.told.assign(sentence=said["sentence"], level=said["level"])),
        "needs": _records(answers.needs),
        "states": _records(answers.states),
        "homes": _records(answers.homes),
        "outside": _records(answers.outside),
        "could": _records(answers.could),
        "balance": _records(answers.balance),
        "draws": answers.draws,
        "seed": answers.seed,
    }


def _in_group(group: Study, facility: str) -> dict:
    """What all facilities together say, and this one leaning on them."""
    answers = answers_of(group)
    homes = answers.homes[answers.homes["facility"] == facility]
    return {
        "said": in_facility(answers, facility, group.plan),
        "told": _records(answers.told.head(1))[0],
        "home": _records(homes)[0] if len(homes) else None,
        "horizon_weeks": answers.horizon_weeks,
        "measure": answers.measure,
    }


def last_record(study: Study) -> int:
    """The last day on which the export shows a measurement or a session."""
    days = pd.concat([study.measurements["day"], study.sessions["day"]])
    return int(days.max())


def _left_out(study: Study) -> dict[str, int]:
    counts = study.episodes.loc[~study.episodes["in_cohort"], "left_out"].value_counts().sort_index().to_dict()
    never = len(study.wounds) - len(study.episodes)
    return counts | ({"never measured": never} if never else {})


def _records(frame: pd.DataFrame) -> list[dict]:
    """Rows as plain values; what cannot be had, or is never reached, is null: JSON knows no NaN and no infinity."""
    rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return [{key: _plain(value) for key, value in row.items()} for row in rows]


def _plain(value: object) -> object:
    value = value.item() if hasattr(value, "item") else value
    if not isinstance(value, float):
        return value
    return float(f"{value:.8g}") if math.isfinite(value) else None
