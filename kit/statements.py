"""What may be said: sentences built from results at run time. None compares, none claims why."""

from __future__ import annotations

import pandas as pd

from kit import __version__
from kit.faults import MARKED, REPAIRED, SET_ASIDE
from kit.healing.description import ANY, BEFORE, Description
from kit.plan import BASES, Plan
from kit.quarter import Activity
from kit.study import Study
from kit.words import count, day, of_hundred, per_hundred, percent

NOT_COMPARED = (
    "Not yet compared: the groups were not chosen by chance and their clocks start at different moments, so no "
    "difference between them may be read off."
)


def received(study: Study) -> str:
    """What the facility sent, and how much of it could be used."""
    account, faults = study.account, study.faults.drop_duplicates(["table", "source_row", "fate"])
    rows_in, aside = int(account["rows_in"].sum()), int(account["set_aside"].sum())
    said = f"The whole export holds {rows_in:,} rows in {len(study.sources)} tables; "
    said += f"{percent(rows_in - aside, rows_in)} were kept."
    if faults.empty:
        return f"{said} No fault was found."
    kinds = [f"{(faults['fate'] == fate).sum()} {fate}" for fate in (SET_ASIDE, REPAIRED, MARKED)]
    return f"{said} Rows with a fault: {', '.join(kinds)}."


def cared_for(episodes: pd.DataFrame, done: Activity) -> str:
    """Which wounds had which care, and how much of what was planned was given."""
    cohort = episodes[episodes["in_cohort"]]
    started = cohort[cohort["start_day"].notna()]
    said = f"Of {count(len(cohort), 'wound')} in the cohort, {len(started)} started a modality"
    said += f" ({_by_regimen(started)})." if len(started) else "."
    if not done.planned:
        return f"{said} No session was planned {_when(done)}."
    return f"{said} {_delivered(done)[0]}"


def _by_regimen(started: pd.DataFrame) -> str:
    numbers = started["regimen"].value_counts().sort_index().sort_values(ascending=False, kind="stable")
    return ", ".join(f"{number} {name}" for name, number in numbers.items())


def healing_took(description: Description, plan: Plan) -> list[str]:
    """How long healing took, a sentence a group; groups too small say so."""
    return [_took(group, plan) for group in description.groups.to_dict("records")]


def _took(group: dict, plan: Plan) -> str:
    who = {BEFORE: BEFORE, ANY: "after starting any modality"}.get(group["group"], f"after starting {group['group']}")
    if not group["wounds"]:
        return f"Nobody was seen {who}."
    rests = f"{count(group['wounds'], 'wound')} on {count(group['residents'], 'resident')}"
    if not group["drawn"]:
        return f"Too few were seen {who} to describe: {rests}."
    closed = of_hundred(group["closed_share"])
    low, high = of_hundred(group["closed_low"]), of_hundred(group["closed_high"])
    return (
        f"Of 100 wounds {who}, {closed} closed within {plan.following.horizon_weeks} weeks of the {group['clock']} "
        f"(range {low} to {high}; {rests})."
    )


def this_quarter(done: Activity, description: Description, plan: Plan) -> pd.DataFrame:
    """What can be said this quarter, sentence by sentence. Columns out: sentence, level (describes, cannot say)."""
    when = _when(done)
    opening = f"{when.capitalize()} {count(done.wounds_open, 'wound')} stood open and "
    opening += f"{count(done.wounds_treated, 'wound')} had at least one session."
    sentences = [opening, *_delivered(done), f"Seen to close {when}, treated or not: {count(done.closed, 'wound')}."]
    if done.weeks_in_view:
        fresh = percent(done.weeks_measured, done.weeks_in_view)
        sentences.append(f"A fresh size was known in {fresh} of wound weeks.")
    said = [(sentence, "describes") for sentence in sentences]
    levels = description.groups["drawn"].map({True: "describes", False: "cannot say"})
    said += zip(healing_took(description, plan), levels, strict=True)
    return pd.DataFrame([*said, (NOT_COMPARED, "cannot say")], columns=["sentence", "level"])


def _delivered(done: Activity) -> list[str]:
    """How much of what was planned was given, and then the reactions; what was not recorded is said to be so."""
    taken = done.given + done.shortened
    if not done.planned:
        return [f"No session was planned {_when(done)}."]
    if not done.status_recorded:
        said = [f"The export holds {count(done.planned, 'session')} {_when(done)} and does not say which were missed."]
    else:
        said = [
            f"Of sessions planned {_when(done)} {percent(taken, done.planned)} were given, {done.shortened} shortened."
        ]
    if done.reactions is None:
        return [*said, "Reactions were not recorded."]
    return [*said, f"Reactions recorded: {per_hundred(done.reactions, taken)}."] if taken else said


def _when(done: Activity) -> str:
    return "in the quarter" if done.ends is not None else "in the whole export"


def provenance(study: Study) -> str:
    """Where the numbers come from, in one line: fingerprints, basis, windows."""
    plan = study.plan
    window = f"quarter {day(plan.quarter_begins, plan)} to {day(plan.cutoff, plan)}" if plan.cutoff is not None else (
        "no shared calendar, the whole export"
    )  # fmt: skip
    return (
        f"Export {study.fingerprint}, plan {plan.fingerprint}, kit {__version__}; {window}; made under "
        f"{BASES[plan.program.basis]}; facilities: {', '.join(study.facilities) or 'not named'}."
    )
