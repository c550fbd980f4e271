"""What may be said of the quarter: what was given, how long healing took, and what was compared."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from kit.healing.answers import Answers
from kit.healing.comparison import CLOSED
from kit.healing.description import ANY, BEFORE, Description
from kit.plan import Plan
from kit.quarter import Activity
from kit.statements.comparing import comparisons
from kit.statements.sizes import early_responses, standings
from kit.words import count, of_hundred, per_hundred, percent, when

NOT_COMPARED = (
    "Described, not compared: the groups were not chosen by chance and their clocks start at different moments, so no "
    "difference between them may be read off."
)


def this_quarter(
    done: Activity,
    description: Description,
    answers: Answers,
    standing: pd.DataFrame,
    plan: Plan,
    delivered: Sequence[str] = (),
) -> pd.DataFrame:
    """What can be said this quarter, sentence by sentence. Columns out: sentence, level (as in LEVELS).

    `standing` is of `kit.trajectories.standing`; `delivered` holds sentences on delivery, which describe; the early
    response is that of any modality.
    """
    opening = f"{when(done.ends).capitalize()} {count(done.wounds_open, 'wound')} stood open and "
    opening += f"{count(done.wounds_treated, 'wound')} had at least one session."
    closed = f"Seen to close {when(done.ends)}, treated or not: {count(done.closed, 'wound')}."
    sentences = [opening, *_delivered(done), *delivered, closed]
    if done.weeks_in_view:
        fresh = percent(done.weeks_measured, done.weeks_in_view)
        sentences.append(f"A fresh size was known in {fresh} of wound weeks.")
    said = [(sentence, "describes") for sentence in sentences]
    levels = description.groups["reached"].map({True: "describes", False: "cannot say"})
    said += [(NOT_COMPARED, "cannot say"), *zip(healing_took(description, plan), levels, strict=True)]
    said.append((standings(standing, plan), "describes" if standing["own"].notna().any() else "cannot say"))
    told = pd.DataFrame(said, columns=["sentence", "level"])
    compared = [comparisons(answers, plan)]
    if answers.measure == CLOSED and answers.told["is_told"].iloc[0]:  # else the early response is what was compared
        compared.append(early_responses(answers, plan).head(1))
    return pd.concat([*compared, told], ignore_index=True)


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
