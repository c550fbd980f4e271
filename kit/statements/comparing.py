"""What may be said of a comparison: how far it goes is decided by its range and its starts, never by its direction."""

from __future__ import annotations

import math

import pandas as pd

from kit.healing.answers import Answers, named
from kit.healing.comparison import FOLLOWED, NONE
from kit.healing.trials import ELIGIBLE
from kit.plan import Plan
from kit.words import FEW_NAMES, count, day, more_or_fewer, of_hundred, sentence

UNCHARTED = (
    "Charts hold less than clinicians see. If the wounds that were started looked worse than their charts, the "
    "comparison is too low for the modality; if they looked better, it is too high. No check on the chart can tell."
)
# How far a comparison may go, by how many wounds started (design and thresholds: common practice, no source).
LEVELS = (
    ("cannot say", "something that the comparison needs is missing, or a warning stops it"),
    ("describes", "fewer than 25 wounds started, or the range reaches from fewer to more"),
    ("consistent with", "25 to 39 wounds started, and the whole range says more, or fewer"),
    ("supports", "40 or more wounds started, and the whole range says more, or fewer"),
)
CONSISTENT_FROM, SUPPORTS_FROM = 25, 40


def comparisons(answers: Answers, plan: Plan) -> pd.DataFrame:
    """Every comparison in a sentence, whichever way it points, and how far it goes. Columns out: sentence, level."""
    rows = answers.told.to_dict("records")
    said = [(compared(row, answers, plan, answers.measure), level_of(row, answers.measure)) for row in rows]
    return pd.DataFrame(said, columns=["sentence", "level"])


def level_of(row: dict, measure: str) -> str:
    """How far a comparison may go: its limits and the number of starts decide, and never which way it points."""
    if not row["is_told"] or math.isnan(row[f"{measure}_difference"]):
        return "cannot say"
    starts = _starts(row)
    if not _one_sided(row, measure) or starts < CONSISTENT_FROM:
        return "describes"
    return "supports" if starts >= SUPPORTS_FROM else "consistent with"


def why_level(row: dict, measure: str) -> str:
    """Why a comparison goes as far as it does: what applies of `LEVELS`."""
    level = level_of(row, measure)
    if level != "describes":
        return dict(LEVELS)[level]
    few = [f"fewer than {CONSISTENT_FROM} wounds started"] * (_starts(row) < CONSISTENT_FROM)
    return " and ".join(few + ["the range reaches from fewer to more"] * (not _one_sided(row, measure)))


def _starts(row: dict) -> int:
    """How many wounds started; of two regimens the fewer."""
    return row["starters"] if row["beside"] == NONE else min(row["starters"], row["others"])


def _one_sided(row: dict, measure: str) -> bool:
    """Whether the whole range, as it is printed, says more, or fewer."""
    return 100 * row[f"{measure}_low"] > 0.5 or 100 * row[f"{measure}_high"] < -0.5


def compared(row: dict, answers: Answers, plan: Plan, measure: str) -> str:
    """One comparison in a sentence, by closing or by the early response; or what it lacks."""
    if not row["is_told"]:
        asked = f"{sentence(row['treated'])} beside {row['beside']} is not compared"
        return (
            f"{asked}: {row['withheld_for']}"
            if row["withheld_for"]
            else f"{asked}. What is missing: {lacks(answers.needs, row)}."
        )
    if math.isnan(row[f"{measure}_difference"]):
        return untold_early(row, plan, NOBODY)
    treated, beside = (of_hundred(row[f"{measure}_{arm}"]) for arm in ("treated", "beside"))
    came = came_to(answers, plan, measure)
    difference = more_or_fewer(*(row[f"{measure}_{part}"] for part in ("difference", "low", "high")))
    if row["beside"] != NONE:
        said = f"Of 100 wounds that could have had either, {treated} {came} after {row['treated']} and {beside} after "
        said += f"{row['beside']}: {difference}"
    else:
        said = f"Of 100 wounds like the {row['starters']} that started {row['treated']}, {treated} {came}; of 100 like "
        said += f"them without any modality {beside} would be expected to: {difference}"
    rests = f"{row['starters']} wounds on {row['starters_residents']} residents beside {row['others']} wounds on "
    rests += count(row["others_residents"], "resident")
    return f"{said}. It rests on {rests}.{goes(row, measure)}"


def early_measured(row: dict) -> bool:
    """Whether enough residents of both sides had a size, or a closed wound, at the early response."""
    return bool(row["is_told"] and row["early_residents"] >= FOLLOWED)


def untold_early(row: dict, plan: Plan, why: str) -> str:
    """That the early response of a comparison is not told, and why."""
    asked = f"{sentence(row['treated'])} beside {row['beside']}"
    return f"{asked}: the early response is not told; {why} at week {plan.comparison.early_weeks}."


NOBODY = "of those still open on a side nobody had a size"


def came_to(answers: Answers, plan: Plan, measure: str = "") -> str:
    """What wounds are counted for: `had closed by week 12`, or the early response; what is compared, if not said."""
    if (measure or answers.measure) == "closed":
        return f"had closed by week {answers.horizon_weeks}"
    return f"had {early(plan).replace('or at', 'or were at')}"


def early(plan: Plan) -> str:
    """The early response: `closed or at least 40% smaller by week 4`."""
    return f"closed or at least {plan.comparison.early_percent}% smaller by week {plan.comparison.early_weeks}"


def goes(row: dict, measure: str) -> str:
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
    """Why a comparison is not made: the warning that stops it, or what it lacks."""
    return row["withheld_for"] or lacks(needs, row)


def lacks(needs: pd.DataFrame, row: dict) -> str:
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


def each_facility(answers: Answers, facilities: tuple[str, ...], plan: Plan) -> list[str]:
    """A sentence for each facility, beside the group's; of many that are told one, for their table follows."""
    if len(facilities) <= FEW_NAMES or not answers.told["is_told"].iloc[0]:
        return [in_facility(answers, name, plan) for name in facilities]
    return [
        f"{_of_group(answers, plan)} Below, each facility leans on that the more the fewer starts it has; those in "
        f"which none started, or all did, are left out. {_spread_taken(plan)}"
    ]


def _of_group(answers: Answers, plan: Plan) -> str:
    row = answers.told.iloc[0]
    group = more_or_fewer(*(row[f"{answers.measure}_{part}"] for part in ("difference", "low", "high")))
    return f"All facilities together, after starting any modality: {group} of 100 wounds {came_to(answers, plan)}."


def _spread_taken(plan: Plan) -> str:
    spread = plan.comparison.facility_spread
    return f"Facilities are taken to differ by {spread:.0f} of 100 (one standard deviation, from the plan)."


def in_facility(answers: Answers, facility: str, plan: Plan) -> str:
    """One facility's difference beside the group's, drawn towards it; a sentence."""
    row = answers.told.iloc[0].to_dict()
    if not row["is_told"]:
        return f"All facilities together: {compared(row, answers, plan, answers.measure)}"
    said = _of_group(answers, plan)
    own = answers.homes[answers.homes["facility"] == facility]
    if own.empty and facility in set(answers.layout.weeks["facility"]):
        return f"{said} They are all of {facility}: no other facility can be compared."
    if own.empty:
        return f"{said} In {facility} none started, or all did, so nothing of its own can be said."
    home = own.iloc[0]
    drawn = more_or_fewer(home["leaning"], home["low"], home["high"])
    starts = count(int(home["starters"]), "start")
    return (
        f"{said} In {facility}, with {starts} of its own and leaning on the group for the rest: {drawn}. "
        f"{_spread_taken(plan)}"
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
