"""Tests between the two arms as the answer weighs them: would chance alone set them so far apart?

Every test is of a mean or a rate with the answer's weights, rows of a resident taken together, and fires nothing by
itself: `kit.bias.warnings` holds all of them together. Alone, a test at 5% sees a difference of two standard errors
every other time, and one of 2.8 four times in five; together they see less.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from kit.bias.balance import imbalance
from kit.bias.beside import NO_PAIR, towards
from kit.bias.design import UNDER_BASIS
from kit.bias.evidence import CARE, NOT_KNOWN, PRACTICE, TEST, Check, Evidence, Warned, not_computed
from kit.bias.pair import LEAST_PEOPLE, TESTS, apart, chance_of, freedom, hardly_seen, pair, unrelated
from kit.bias.steps import rounds, steps
from kit.plan import WEEK
from kit.words import count

# So far apart that it could matter, beside chance; common practice, no source.
LEAVING_ABOVE, DYING_ABOVE = 2.0, 1.0  # of 100 wound weeks
ROUNDS_ABOVE, ROLE_ABOVE, MISSING_ABOVE = 0.25, 0.25, 0.15  # rounds a week; shares
DRIFT_ABOVE = 8.0  # weeks
STEP_ABOVE = 10.0  # percent a week
Push = Callable[[float], str]


def nobody_knows(gain: float) -> str:
    """A difference that may push either way."""
    return NOT_KNOWN


def against(gain: float) -> str:
    """A difference that pushes against the side on which there is more of it."""
    return towards(-gain)


def departures(evidence: Evidence) -> Warned:
    """How much more often those started left than those beside, of 100 weeks followed."""
    return _ended(evidence, "left", LEAVING_ABOVE, "left the building", nobody_knows)


def deaths(evidence: Evidence) -> Warned:
    """How much more often those started died: who dies no longer closes."""
    return _ended(evidence, "died", DYING_ABOVE, "died", against)


def _ended(evidence: Evidence, outcome: str, threshold: float, says: str, push: Push) -> Warned:
    rows = pair(evidence)
    if evidence.study.departures.empty:
        return not_computed("no departure is recorded")
    hit = (rows["outcome"].astype(object) == outcome) & (rows["end_day"].astype(float) == rows["until"])
    said = f"Of 100 weeks followed, wounds that started {says} in {{:.1f}}, those beside in {{:.1f}}."
    return _told(rows, 100.0 * hit.to_numpy(), threshold, said, push, "{:.1f} of 100 weeks", rows["weeks_seen"])


def intervals(evidence: Evidence) -> Warned:
    """How much more often those started are measured: who is looked at more often is seen closed sooner."""
    rows = pair(evidence)
    seen = rounds(rows, evidence.study.measurements)
    said = "As long as they were measured, wounds that started were so {:.2f} times a week, those beside {:.2f} times."
    often = seen["rounds"].to_numpy()
    return _told(rows, often, ROUNDS_ABOVE, said, towards, "{:.2f} rounds a week", seen["weeks"])


def assessor(evidence: Evidence) -> Warned:
    """How much more of the rounds of those started were a practitioner's."""
    rows = pair(evidence)
    seen = rounds(rows, evidence.study.measurements)
    if not seen["known"].sum():
        return not_computed("who measures is not recorded")
    said = "A practitioner measured {:.0%} of the rounds of wounds that started, and {:.0%} of those beside."
    by = seen["practitioner"].to_numpy()
    return _told(rows, by, ROLE_ABOVE, said, nobody_knows, "{:.0%}", seen["known"])


def missing_covariates(evidence: Evidence) -> Warned:
    """How much more of what the plan levels is missing on one side."""
    rows = pair(evidence)
    names = [name for name in evidence.study.plan.comparison.covariates if name in rows and rows[name].notna().any()]
    if not names:
        return not_computed("nothing that the plan levels is charted")
    gaps = rows[names].isna().mean(axis=1).to_numpy(dtype=float)
    said = "Of what the plan levels {:.0%} was not charted of wounds that started, and {:.0%} of those beside."
    return _told(rows, gaps, MISSING_ABOVE, said, nobody_knows, "{:.0%}")


def drift(evidence: Evidence) -> Warned:
    """How many weeks earlier in the calendar those started stand: care may have changed meanwhile."""
    if evidence.study.plan.cutoff is None:
        return not_computed(UNDER_BASIS)
    rows = pair(evidence)
    weeks = (evidence.study.plan.cutoff - rows["ends"].astype(float).to_numpy()) / WEEK
    said = "Wounds that started stand on average {:.0f} weeks before the cut-off, those beside {:.0f}."
    return _told(rows, weeks, DRIFT_ABOVE, said, nobody_knows, "{:.0f} weeks")


def bad_stretch(evidence: Evidence) -> Warned:
    """How much more those started had grown in the step before: what goes badly for a while often turns by itself."""
    rows = pair(evidence)
    moved = steps(rows, evidence.study.measurements)["before"].to_numpy()
    said = "In the step before, wounds that started changed by {:+.1f}% a week, those beside by {:+.1f}%."
    return _told(rows, moved, STEP_ABOVE, said, towards, "{:.0f} percent points a week")


def first_week_jump(evidence: Evidence) -> Warned:
    """How much more those started shrank in the first step than in those after it, which healing alone hardly does."""
    rows = pair(evidence)
    told = steps(rows, evidence.study.measurements)
    jump = (told["first"] - told["later"]).to_numpy()
    said = "The first step of wounds that started lay {:+.1f} percent points a week from those after it, that of those "
    said += "beside {:+.1f}."
    return _told(rows, jump, STEP_ABOVE, said, against, "{:.0f} percent points a week")


def _told(
    rows: pd.DataFrame,
    values: np.ndarray,
    threshold: float,
    said: str,
    push: Push,
    amount: str,
    over: pd.Series | None = None,
) -> Warned:
    """The warning of one mean or rate; `said` takes both arms', `push` says which way a difference pushes."""
    whole = np.ones(len(rows)) if over is None else over.to_numpy(dtype=float)
    known = ~np.isnan(values) & (whole > 0)
    weight, started, people = (rows[name].to_numpy()[known] for name in ("weight", "started", "resident"))
    free = freedom(started, people)
    if free + 1 < LEAST_PEOPLE:
        few = f"it is known of fewer than {count(LEAST_PEOPLE, 'resident')} on a side"
        return not_computed(few if known.any() else NO_PAIR)
    values, whole = values[known], whole[known]
    gap, error = apart(values, weight, started, people, whole)
    error = max(error, unrelated(values, weight, started, whole))
    means = (float((weight * values)[side].sum() / (weight * whole)[side].sum()) for side in (started, ~started))
    unseen = amount.format(hardly_seen(error, free, TESTS, threshold))
    unseen = f"A difference below {unseen} would hardly have been seen."
    return Warned(gap, threshold, False, push(gap), said.format(*means), "", chance_of(gap, error, free), unseen)


CHECKS: dict[str, Check] = {
    "departures": Check(
        departures, TEST, "Did more leave on one side?", CARE, PRACTICE,
        "Ask where people go and whether their wounds closed, on both sides alike.",
    ),
    "deaths": Check(
        deaths, TEST, "Did more die on one side?", CARE, PRACTICE,
        "Read the shares that died beside those that closed.",
    ),
    "intervals": Check(
        intervals, TEST, "Was one side measured more often?", CARE, PRACTICE,
        "Measure every open wound every week, whether or not it is treated.",
    ),
    "assessor": Check(
        assessor, TEST, "Did others measure one side?", CARE, PRACTICE,
        "Have the same people measure treated and untreated wounds.",
    ),
    "imbalance": Check(
        imbalance, TEST, "Do the two sides still differ in what was charted?", CARE,
        "Austin 2009, Stat Med 28:3083; 0.25 common practice",
        "Read the row that is adjusted twice beside the answer.",
    ),
    "missing_covariates": Check(
        missing_covariates, TEST, "Is more missing from the charts of one side?", CARE, PRACTICE,
        "Chart what the plan levels for every wound, before anybody thinks of a start.",
    ),
    "drift": Check(
        drift, TEST, "Do the two sides come from other times?", CARE, PRACTICE,
        "Name what else changed in the building over these months.",
    ),
    "bad_stretch": Check(
        bad_stretch, TEST, "Did wounds start after a bad stretch?", CARE, PRACTICE,
        "Measure twice before a start is decided.",
    ),
    "first_week_jump": Check(
        first_week_jump, TEST, "Did sizes jump in the first week?", CARE, PRACTICE,
        "See who measured before and after the start, and how.",
    ),
}  # fmt: skip
