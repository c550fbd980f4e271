"""What may be said: sentences built from results at run time. None compares, none claims why."""

from __future__ import annotations

import pandas as pd

from kit import __version__
from kit.faults import MARKED, REPAIRED, SET_ASIDE
from kit.healing.description import ANY, BEFORE, Description
from kit.plan import BASES, Plan
from kit.quarter import Activity
from kit.study import Study
from kit.words import count, day, of_hundred, per_hundred, percent, when

NOT_COMPARED = (
    "Not yet compared: the groups were not chosen by chance and their clocks start at different moments, so no "
    "difference between them may be read off."
)
INTERNAL = (
    "Internal: small counts, in which the facility's own people can be recognised. It stays in the facility and with "
    "the program's consultant."
)


def received(study: Study) -> str:
    """What the facility sent, and how much of it could be used."""
    rows_in, aside = int(study.account["rows_in"].sum()), int(study.account["set_aside"].sum())
    said = f"Rows read: {rows_in:,} in {len(study.sources)} tables; {percent(rows_in - aside, rows_in)} were kept. "
    return said + _with_a_fault(study)


def rows_used(study: Study) -> str:
    """The same in brief, for the command line."""
    return f"{study.account['rows_in'].sum():,} rows read. {_with_a_fault(study)}"


def _with_a_fault(study: Study) -> str:
    faults = study.faults.drop_duplicates(["table", "source_row", "fate"])
    if faults.empty:
        return "No fault was found."
    kinds = [f"{(faults['fate'] == fate).sum()} {fate}" for fate in (SET_ASIDE, REPAIRED, MARKED)]
    return f"Rows with a fault: {', '.join(kinds)}; each is named in faults.csv."


def cared_for(episodes: pd.DataFrame, done: Activity) -> str:
    """Which wounds had which care, and how much of what was planned was given."""
    cohort = episodes[episodes["in_cohort"]]
    started = cohort[cohort["start_day"].notna()]
    said = f"Of {count(len(cohort), 'wound')} in the cohort, {len(started)} started a modality"
    said += f" ({_by_regimen(started)})." if len(started) else "."
    if not done.planned:
        return f"{said} No session was planned {when(done.ends)}."
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
    if not group["reached"]:
        return f"Too few were in view for {plan.following.horizon_weeks} weeks {who} to say how many closed: {rests}."
    closed = of_hundred(group["closed_share"])
    low, high = of_hundred(group["closed_low"]), of_hundred(group["closed_high"])
    return (
        f"Of 100 wounds {who}, {closed} closed within {plan.following.horizon_weeks} weeks of the {group['clock']} "
        f"(range {low} to {high}; {rests})."
    )


def this_quarter(done: Activity, description: Description, plan: Plan) -> pd.DataFrame:
    """What can be said this quarter, sentence by sentence. Columns out: sentence, level (describes, cannot say)."""
    opening = f"{when(done.ends).capitalize()} {count(done.wounds_open, 'wound')} stood open and "
    opening += f"{count(done.wounds_treated, 'wound')} had at least one session."
    closed = f"Seen to close {when(done.ends)}, treated or not: {count(done.closed, 'wound')}."
    sentences = [opening, *_delivered(done), closed]
    if done.weeks_in_view:
        fresh = percent(done.weeks_measured, done.weeks_in_view)
        sentences.append(f"A fresh size was known in {fresh} of wound weeks.")
    said = [(sentence, "describes") for sentence in sentences]
    levels = description.groups["reached"].map({True: "describes", False: "cannot say"})
    said += [(NOT_COMPARED, "cannot say"), *zip(healing_took(description, plan), levels, strict=True)]
    return pd.DataFrame(said, columns=["sentence", "level"])


def _delivered(done: Activity) -> list[str]:
    """How much of what was planned was given, and then the reactions; what was not recorded is said to be so."""
    taken = done.given + done.shortened
    if not done.planned:
        return [f"No session was planned {when(done.ends)}."]
    if not done.status_recorded:
        sessions = count(done.planned, "session")
        said = f"The export holds {sessions} {when(done.ends)} and does not say which were missed."
    else:
        said = f"Of sessions planned {when(done.ends)} {percent(taken, done.planned)} were given, "
        said += f"{done.shortened} shortened"
        said += f"; of {done.not_known} it is not known." if done.not_known else "."
    return [said, *_reactions(done, taken)]


def _reactions(done: Activity, taken: int) -> list[str]:
    if not taken:
        return []
    if not done.asked:
        return ["Reactions were not recorded."]
    silent = f"; {taken - done.asked} sessions say nothing of any" if taken > done.asked else ""
    return [f"Reactions recorded: {per_hundred(done.reactions, done.asked)}{silent}."]


def window(plan: Plan) -> str:
    """The window in which things were done, in words."""
    if plan.cutoff is None:
        return "no shared calendar, the whole export"
    return f"quarter {day(plan.quarter_begins, plan)} to {day(plan.cutoff, plan)}"


def provenance(study: Study) -> str:
    """Where the numbers come from, in one line: fingerprints, basis, windows."""
    plan = study.plan
    return (
        f"Export {study.fingerprint}, plan {plan.fingerprint}, kit {__version__}; {window(plan)}; basis stated in "
        f"the plan: {BASES[plan.program.basis]}; facilities: {', '.join(study.facilities) or 'not named'}."
    )
