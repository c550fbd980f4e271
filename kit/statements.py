"""What may be said: sentences built from results at run time. Each says how far it goes; none claims why."""

from __future__ import annotations

import math

import pandas as pd

from kit import __version__
from kit.faults import MARKED, REPAIRED, SET_ASIDE
from kit.healing.answers import Answers, named
from kit.healing.comparison import NONE
from kit.healing.description import ANY, BEFORE, Description
from kit.healing.trials import ELIGIBLE
from kit.intake.linking import HALF, LINKED
from kit.plan import BASES, Plan
from kit.quarter import Activity
from kit.study import Study
from kit.words import count, day, more_or_fewer, of_hundred, per_hundred, percent, sentence, when

NOT_COMPARED = (
    "Described, not compared: the groups were not chosen by chance and their clocks start at different moments, so no "
    "difference between them may be read off."
)
UNCHARTED = (
    "Charts hold less than clinicians see. If the wounds that were started looked worse than their charts, the "
    "comparison is too low for the modality; if they looked better, it is too high. No check on the chart can tell."
)
# How far a comparison may go, by how many wounds started (design and thresholds: common practice, no source).
LEVELS = (
    ("cannot say", "something that the comparison needs is missing"),
    ("describes", "fewer than 25 wounds started, or the range reaches from fewer to more"),
    ("consistent with", "25 to 39 wounds started, and the whole range says more, or fewer"),
    ("supports", "40 or more wounds started, and the whole range says more, or fewer"),
)
CONSISTENT_FROM, SUPPORTS_FROM = 25, 40
INTERNAL = (
    "Internal: small counts, in which the facility's own people can be recognised. It stays in the facility and with "
    "the program's consultant."
)


def received(study: Study) -> str:
    """What the facility sent, and how much of it could be used; first the sessions that could be tied to a wound."""
    rows_in, aside = int(study.account["rows_in"].sum()), int(study.account["set_aside"].sum())
    said = f"{tied(study)} Rows read: {rows_in:,} in {study.sources['table'].nunique()} tables; "
    return f"{said}{percent(rows_in - aside, rows_in)} were kept. {_with_a_fault(study)}"


def tied(study: Study) -> str:
    """How many of the sessions could be tied to a wound, and what became of those that could not."""
    account = study.account.set_index("table").loc["sessions"]
    faults = study.faults[study.faults["table"] == "sessions"].groupby("fault")["source_row"].nunique()
    several = int(faults.get("astray", 0))
    none = sum(int(faults.get(name, 0)) for name in ("unmatched", "orphan"))
    linked = study.sessions.loc[study.sessions["tied"].isin([LINKED, HALF]), "source_row"].nunique()
    rows = int(account["rows_in"])
    if not rows:
        return "The export holds no sessions."
    said = f"Sessions tied to a wound: {percent(rows - several - none, rows)}"
    if not linked + several + none:
        return f"{said}; each names its own."
    said += f", {linked} of them by person and site"
    return f"{said}; {several} may be of several wounds, {none} of none that the export holds."


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


def level_of(row: dict, measure: str) -> str:
    """How far a comparison may go: its limits and the number of starts decide, and never which way it points."""
    if not row["is_told"]:
        return "cannot say"
    starts = _starts(row)
    if not _one_sided(row, measure) or starts < CONSISTENT_FROM:
        return "describes"
    return "supports" if starts >= SUPPORTS_FROM else "consistent with"


def _starts(row: dict) -> int:
    """How many wounds started; of two regimens the fewer."""
    return row["starters"] if row["beside"] == NONE else min(row["starters"], row["others"])


def _one_sided(row: dict, measure: str) -> bool:
    """Whether the whole range, as it is printed, says more, or fewer."""
    return 100 * row[f"{measure}_low"] > 0.5 or 100 * row[f"{measure}_high"] < -0.5


def comparisons(answers: Answers, plan: Plan) -> pd.DataFrame:
    """Every comparison in a sentence, whichever way it points, and how far it goes. Columns out: sentence, level."""
    rows = answers.told.to_dict("records")
    said = [(_compared(row, answers, plan), level_of(row, answers.measure)) for row in rows]
    return pd.DataFrame(said, columns=["sentence", "level"])


def _compared(row: dict, answers: Answers, plan: Plan) -> str:
    if not row["is_told"]:
        asked = f"{sentence(row['treated'])} beside {row['beside']}"
        return f"{asked} is not compared. What is missing: {missing(answers.needs, row)}."
    treated, beside = (of_hundred(row[f"{answers.measure}_{arm}"]) for arm in ("treated", "beside"))
    came = came_to(answers, plan)
    difference = more_or_fewer(*(row[f"{answers.measure}_{part}"] for part in ("difference", "low", "high")))
    if row["beside"] != NONE:
        said = f"Of 100 wounds that could have had either, {treated} {came} after {row['treated']} and {beside} after "
        said += f"{row['beside']}: {difference}"
    else:
        said = f"Of 100 wounds like the {row['starters']} that started {row['treated']}, {treated} {came}; of 100 like "
        said += f"them without any modality {beside} would be expected to: {difference}"
    rests = f"{row['starters']} wounds on {row['starters_residents']} residents beside {row['others']} wounds on "
    rests += count(row["others_residents"], "resident")
    return f"{said}. It rests on {rests}.{_goes(row, answers.measure)}"


def came_to(answers: Answers, plan: Plan) -> str:
    """What wounds are counted for: `had closed by week 12`, or the early response."""
    if answers.measure == "closed":
        return f"had closed by week {answers.horizon_weeks}"
    asked = plan.comparison
    return f"had closed or were at least {asked.early_percent}% smaller by week {asked.early_weeks}"


def _goes(row: dict, measure: str) -> str:
    """What follows from a comparison at its level, and nothing more."""
    level, sooner = level_of(row, measure), row[f"{measure}_difference"] > 0
    if level == "describes":
        few = f" Fewer than {CONSISTENT_FROM} wounds started: it is described, and no more."
        return (
            few
            if _one_sided(row, measure)
            else " The range reaches from fewer to more, so these records do not say which."
        )
    ways = {"consistent with": "This is consistent with", "supports": "These records support"}
    after = row["treated"] if row["beside"] == NONE else f"{row['treated']} than after {row['beside']}"
    healing = "healing" if measure == "closed" else "closing or shrinking"
    return f" {ways[level]} {'sooner' if sooner else 'later'} {healing} after {after}."


def missing(needs: pd.DataFrame, row: dict) -> str:
    """What a comparison lacks, in words: `wounds that started, 11 of the 15 needed`."""
    own = needs[(needs["treated"] == row["treated"]) & (needs["beside"] == row["beside"]) & ~needs["met"]]
    lacks = [
        f"{named(needs)[need.need]}, {math.floor(need.found)} of the {need.needed:.0f} needed"
        for need in own.itertuples()
    ]
    return "; ".join(lacks)


def reach(answers: Answers) -> str:
    """How many wounds could have been started, and how many were, where and when it is compared."""
    could = answers.could[answers.could["reason"] == ELIGIBLE]
    began = int(answers.outside.loc[answers.outside["reason"] == ELIGIBLE, "starters"].sum())
    said = f"In the months that are compared, {count(int(could['wounds'].sum()), 'wound')} on "
    said += f"{count(int(could['residents'].sum()), 'resident')} could have been started, and {began} were."
    outside = int(answers.outside["starters"].sum()) - began
    return f"{said} {count(outside, 'further start')} cannot be compared." if outside else said


def in_facility(answers: Answers, facility: str, plan: Plan) -> str:
    """One facility's difference beside the group's, drawn towards it; a sentence."""
    row = answers.told.iloc[0].to_dict()
    if not row["is_told"]:
        return f"All facilities together: {_compared(row, answers, plan)}"
    group = more_or_fewer(*(row[f"{answers.measure}_{part}"] for part in ("difference", "low", "high")))
    said = f"All facilities together, after starting any modality: {group} of 100 wounds {came_to(answers, plan)}."
    own = answers.homes[answers.homes["facility"] == facility]
    if own.empty and facility in set(answers.layout.weeks["facility"]):
        return f"{said} They are all of {facility}: no other facility can be compared."
    if own.empty:
        return f"{said} In {facility} none started, or all did, so nothing of its own can be said."
    home = own.iloc[0]
    drawn = more_or_fewer(home["leaning"], home["low"], home["high"])
    starts = count(int(home["starters"]), "start")
    return (
        f"{said} In {facility}, with {starts} of its own and leaning on the group for the rest: {drawn}. Facilities "
        f"are taken to differ by {plan.comparison.facility_spread:.0f} of 100 (one standard deviation, from the plan)."
    )


def look(plan: Plan) -> str:
    """Which look at the question this is: on the way, the one that decides, or one of which the plan says nothing."""
    if plan.comparison.decides is None:
        return (
            "The plan does not say which quarter decides; looking every quarter, chance alone will show a difference."
        )
    if plan.decides < plan.cutoff:
        return f"The plan decided with the quarter that ended on {day(plan.decides, plan)}; this is a later look."
    if plan.decides > plan.cutoff:
        return f"A look on the way: the plan decides with the quarter that ends on {day(plan.decides, plan)}."
    return f"The plan decides with the quarter that ends on {day(plan.decides, plan)}."


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


def this_quarter(done: Activity, description: Description, answers: Answers, plan: Plan) -> pd.DataFrame:
    """What can be said this quarter, sentence by sentence. Columns out: sentence, level (as in LEVELS)."""
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
    told = pd.DataFrame(said, columns=["sentence", "level"])
    return pd.concat([comparisons(answers, plan), told], ignore_index=True)


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
