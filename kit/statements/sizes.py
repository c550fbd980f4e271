"""What may be said of sizes: the early response, how fast wounds shrink, and where each of them stands."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.answers import Answers
from kit.healing.comparison import EARLY, FOLLOWED
from kit.plan import Plan
from kit.statements.comparing import compared, early_measured, level_of, untold_early
from kit.trajectories.slopes import ALL, ANY, BEFORE, Slopes
from kit.trajectories.standing import EXPECTED, FAST, NOT_TOLD, SLOW, UNCLEAR
from kit.trajectories.standing import TOO_FEW as NO_COURSES
from kit.words import count, percent, percents, points, sentence

OTHER_WOUNDS = (
    "These paces describe. Wounds that are started are others than those that are not, and what is fast closes and is "
    "measured no more, so no difference between two paces may be read off."
)
TOO_FEW = "Too few wounds were measured often enough to say how fast they shrink."
BEFORE_AND_AFTER = (
    "Before and after is no comparison: wounds are started when they stall, and what stalls often moves again by "
    "itself. It is told only where the logarithm of the size and its root say the same, which they seldom do."
)
STILL_OPEN = "Wounds that are still open are mostly the slow ones: those that were fast have closed."


def early_responses(answers: Answers, plan: Plan) -> pd.DataFrame:
    """The early response of every comparison in a sentence, and how far it goes. Columns out: sentence, level."""
    said = [_early(row, answers, plan) for row in answers.told.to_dict("records")]
    return pd.DataFrame(said, columns=["sentence", "level"])


def _early(row: dict, answers: Answers, plan: Plan) -> tuple[str, str]:
    if row["is_told"] and not early_measured(row):
        few = f"fewer than {FOLLOWED} residents on a side had a size, or a closed wound,"
        return untold_early(row, plan, few), "cannot say"
    said, level = compared(row, answers, plan, EARLY), level_of(row, EARLY)
    return (said if level == "cannot say" else f"{said} {_half(row)}"), level


def _half(row: dict) -> str:
    """The median percent reduction of both sides."""
    sides = [row[f"reduction_{side}"] for side in ("treated", "beside")]
    if not all(pd.notna(side) for side in sides):
        return "The median reduction cannot be told: half of a side were gone, or had more than doubled in size."
    first, second = (f"{percents(side)}%" for side in sides)
    difference = points(*(row[f"reduction_{part}"] for part in ("difference", "low", "high")))
    return f"The median reduction by then was {first}, beside {second}: {difference}; closed counts as 100%."


def paces(slopes: Slopes | None) -> list[str]:
    """How fast wounds shrink before any modality and under each regimen, a sentence each."""
    if slopes is None:
        return [TOO_FEW]
    told = slopes.pace[slopes.pace["stage_group"] == ALL]
    return [_pace(row) for row in told.to_dict("records")] or [TOO_FEW]


def _pace(row: dict) -> str:
    under = row["regimen"] if row["regimen"] == BEFORE else f"after starting {row['regimen']}"
    low, high = (percents(row[name]) for name in ("low", "high"))
    rests = f"{count(row['wounds'], 'wound')} on {count(row['residents'], 'resident')}"
    return f"{sentence(under)}, open wounds {_became(row['amount'])} a week (range {low} to {high}% smaller; {rests})."


def slope_change(slopes: Slopes | None) -> str:
    """The slope before and after any start in the same wounds, where both ways of reckoning size agree; a sentence."""
    told = [] if slopes is None else slopes.change[slopes.change["regimen"] == ANY].to_dict("records")
    if not told:
        return "Too few wounds were measured after a start to say whether their pace changed."
    row = told[0]
    if not row["agrees"]:
        return (
            "Whether the pace of the same wounds changed after the start is not told: reckoned by the logarithm of the "
            "size and by its root, the change is not the same, so the way of reckoning would make it."
        )
    change = points(row["amount"], row["low"], row["high"], "faster", "slower")
    before, after = (_became(row[name]) for name in ("before", "after"))
    return f"The same {count(row['wounds'], 'wound')} {before} a week before the start and {after} after it: {change}."


def _became(pace: float) -> str:
    return f"became {percents(pace)}% smaller" if round(pace) >= 0 else f"grew by {percents(-pace)}%"


def left_out(slopes: Slopes | None) -> list[str]:
    """What the models of sizes do not hold, and where they came to an edge; a sentence each, none where nothing is."""
    if slopes is None:
        return []
    told = slopes.courses.left_out
    said = [f"Not in the models: {count(int(row.measurements), 'size')}, {row.reason}."
            for row in told.itertuples() if row.measurements]  # fmt: skip
    if slopes.log.fit.singular:
        said.append("Some of the differences between wounds, or between people, came out as none: too few tell them.")
    lost = int(np.isnan(slopes.log.drawn).all(axis=1).sum()) + (not slopes.log.fit.converged)
    if lost:
        said.append(
            f"The model could not be fitted in {lost} of {slopes.draws + 1} tries; its ranges are of the others."
        )
    return said


def standings(standing: pd.DataFrame, plan: Plan) -> str:
    """How many open wounds are slow, as expected and fast beside wounds like them; a sentence."""
    if standing.empty:
        return "No open wound of the cohort has a size."
    counts = standing["stands"].value_counts()
    parts = [f"{counts[name]} {said}" for name, said in _STANDS.items() if counts.get(name)]
    shared = plan.cutoff is not None  # else every person's days end with the person's last record
    opened = count(len(standing), "open wound" if shared else "wound") + ("" if shared else " open when last seen")
    told = f"Of {opened} with a size, beside the course expected of wounds like them in the whole export: "
    told += f"{', '.join(parts)}."
    if (standing["why"] == NO_COURSES).any():
        return f"{told} Too few people's wounds were measured often enough to say what is expected of them."
    untold = int(counts.get(NOT_TOLD, 0))
    days = 2 * plan.sizes.fresh_days
    fresh = f" Two sizes in the last {days} days are needed: {untold} had none or one." if untold else ""
    return f"{told}{fresh} {STILL_OPEN}"


_STANDS = {SLOW: "slow", EXPECTED: "as expected", FAST: "fast", UNCLEAR: "not clear yet", NOT_TOLD: "not told"}


def foretold(forecasts: pd.DataFrame) -> str:
    """How often closing was foretold rightly from a wound's first five sizes; a sentence."""
    row = forecasts.to_dict("records")[0]
    if not row["predicted_closed"] + row["predicted_open"]:
        return "No wound was measured in five weeks and followed for long enough to try a forecast."
    used, ahead, shut, stay = (row[name] for name in ("areas", "weeks_ahead", "predicted_closed", "predicted_open"))
    said = f"From the first {used} weekly sizes of a wound, of {shut} foretold to close within {ahead} weeks "
    said += f"{row['closed_as_predicted']} did, and of {stay} foretold to stay open {row['open_as_predicted']} did."
    if not row["closed_later"]:
        return said
    right = percent(int(row["within_two_weeks"]), int(row["closed_later"]))
    return f"{said} Of those that closed later the week was foretold to within two in {right}."
