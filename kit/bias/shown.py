"""Numbers that are always shown and never fire: what it would take to move the answer, and how far other choices do."""

from __future__ import annotations

from math import nan, sqrt

import pandas as pd

from kit.bias.evidence import NOTE, PRACTICE, SHOWN, Check, Evidence, Warned, not_computed
from kit.healing.answers import BESIDE, TREATED
from kit.healing.comparison import ANY, NONE
from kit.sensitivity import before_start as control
from kit.sensitivity.bounds import ANSWER, LEAST, MOST, bounds, e_values_of, not_made
from kit.sensitivity.leave_one_out import FACILITY, RESIDENT, ranges, without_each
from kit.sensitivity.specifications import specifications
from kit.words import count, whole_wounds


def e_value(evidence: Evidence) -> Warned:
    """How strong something unseen would have to be, for the ratio of shares closed."""
    row = e_values_of(evidence.answers).iloc[0]
    if row["not_computed"]:
        return not_computed(row["not_computed"])
    limit = row["e_value_limit"]
    range_too = f"to move the limit of its range there, by {limit:.1f}" if limit > 1 else "its range holds none already"
    return Warned(
        number=float(row["e_value"]),
        says=f"To make the ratio of shares closed ({row['risk_ratio']:.2f}) by itself, something that no chart holds "
        f"would have to go with starting and with closing by a ratio of {row['e_value']:.1f} each; {range_too}.",
    )


def departure_bounds(evidence: Evidence) -> Warned:
    """Between which numbers the answer lies, whatever became of wounds that left open or were lost from sight."""
    table = bounds(evidence.answers, evidence.study.measurements).set_index("case")
    first = table.loc[ANSWER]
    if first["not_computed"]:
        return not_computed(first["not_computed"])
    low, high, told = table.loc[LEAST, "amount"], table.loc[MOST, "amount"], evidence.answers.told.iloc[0]
    return Warned(
        number=float(high - low),
        says=f"Of {count(int(told['starters']), 'wound')} that started {first['starters_lost']}, and of "
        f"{told['others']} beside {first['others_lost']}, left open or were lost from sight: whatever became of them, "
        f"the difference lies between {_of(low)} and {_of(high)} of 100, the play of chance apart.",
    )


def specification_range(evidence: Evidence) -> Warned:
    """How far the answer moves under other rules of the plan, at the same horizon."""
    if why := not_made(evidence.answers):
        return not_computed(why)
    table = specifications(evidence.study, evidence.answers, evidence.others)
    own = table[table["horizon_weeks"] == evidence.answers.horizon_weeks]
    told = own[own["not_computed"] == ""]
    low, high, plan = told["amount"].min(), told["amount"].max(), told.loc[told["is_plan"], "amount"].iloc[0]
    refused = len(own) - len(told)
    few = f"; {refused} more leave too few to compare" if refused else ""
    return Warned(
        number=float(high - low),
        says=f"Under the plan's rules the difference is {_of(plan)} of 100; under {len(told) - 1} other sets of "
        f"rules it lies between {_of(low)} and {_of(high)}{few}.",
    )


def effective_numbers(evidence: Evidence) -> Warned:
    """How many residents those beside are worth once they are weighted to be like those that started."""
    told = evidence.answers.told.iloc[0]
    worth, people = float(told["effective_residents"]), count(int(told["starters_residents"]), "resident")
    return Warned(
        number=worth,
        says=f"{count(int(told['starters']), 'wound')} that started, on {people}, stand beside {told['others']} on "
        f"{told['others_residents']}, who as weighted are worth {worth:.0f}.",
    )


def without_one_resident(evidence: Evidence) -> Warned:
    """How far the answer moves without any one resident."""
    return _without(evidence, RESIDENT)


def without_one_facility(evidence: Evidence) -> Warned:
    """How far the answer moves without any one facility."""
    return _without(evidence, FACILITY)


def _without(evidence: Evidence, kind: str) -> Warned:
    row = ranges(evidence.answers, without_each(evidence.answers)).set_index("without").loc[kind]
    if row["not_computed"]:
        return not_computed(row["not_computed"])
    low, high, whole = _of(row["lowest"]), _of(row["highest"]), _of(row["amount"])
    far = max(abs(row["lowest"] - row["amount"]), abs(row["highest"] - row["amount"]))
    without = f"Without any one of {count(int(row['times']), 'resident')} the difference lies between {low} and {high}"
    if kind == FACILITY:
        without = f"Without {row['lowest_without']} the difference is {low}, without {row['highest_without']} {high}"
    return Warned(number=float(far), says=f"{without}; with all of them it is {whole} of 100.")


def before_start(evidence: Evidence) -> Warned:
    """The same comparison of what happened before the start."""
    row = control.before_start(evidence.answers, evidence.study.measurements).iloc[0]
    if row["not_computed"]:
        return not_computed(row["not_computed"])
    return Warned(
        number=float(row["amount"]),
        says=f"Before the start, wounds that then started became smaller by {_rate(row['starters_rate'])} a week and "
        f"those beside, as weighted, by {_rate(row['others_rate'])}: {_apart(row['amount'])} percent points (range "
        f"{_apart(row['low'])} to {_apart(row['high'])}; before weighting {_apart(row['unweighted'])}). Near none it "
        "shows that the weights levelled charted sizes, and nothing of what no chart holds.",
    )


def over_time(evidence: Evidence) -> Warned:
    """Where both sides stood half way to the horizon, and at it: whether they part early, late or all along."""
    answers = evidence.answers
    if why := not_made(answers):
        return not_computed(why)
    course = answers.course[(answers.course["treated"] == ANY) & (answers.course["beside"] == NONE)]
    whole, half = answers.horizon_weeks, answers.horizon_weeks // 2
    first, second = ({week: _closed(course, arm, week) for week in (half, whole)} for arm in (TREATED, BESIDE))
    return Warned(
        number=first[half] - second[half],
        says=f"Of 100 wounds that started {first[half]:.0f} had closed by week {half} and {first[whole]:.0f} by week "
        f"{whole}; of those beside {second[half]:.0f} and {second[whole]:.0f}.",
    )


def design_effect(evidence: Evidence) -> Warned:
    """The variance of the difference over that of as many unrelated wounds, compared as they are.

    Weights and wounds of one person raise it; levelling what tells who closes lowers it, at times below 1.
    """
    answers = evidence.answers
    if why := not_made(answers):
        return not_computed(why)
    told, name = answers.told.iloc[0], answers.measure
    shares = (told[f"{name}_treated"], told["starters"]), (told[f"{name}_beside"], told["others"])
    plain = sum(share * (1 - share) / number for share, number in shares)
    if plain <= 0:
        return not_computed("all or none closed on both sides")
    effect = float(told[f"{name}_error"] ** 2 / plain)
    return Warned(
        number=effect,
        says=f"With weights, and with wounds that belong to one person, the standard error is {sqrt(effect):.1f} times "
        f"that of as many unrelated wounds compared as they are: a design effect of {effect:.1f}.",
    )


def _closed(course: pd.DataFrame, arm: str, week: int) -> float:
    own = course.loc[(course["arm"] == arm) & (course["week"] == week), "share"]
    return 100 * float(own.iloc[0]) if len(own) else nan


def _rate(percent: float) -> str:
    return f"{percent:.1f}%".replace("-", "−")


def _apart(points: float) -> str:
    return f"{points:+.1f}".replace("-", "−")


def _of(points: float) -> str:
    return whole_wounds(points / 100)


_E_VALUES = "VanderWeele & Ding 2017, Ann Intern Med 167:268"
CHECKS: dict[str, Check] = {
    "e_value": Check(
        e_value, SHOWN, "How strong would something unseen have to be?", NOTE, _E_VALUES,
        "Ask who decides about starts what they go by that no chart holds, and have it charted.",
    ),
    "departure_bounds": Check(
        departure_bounds, SHOWN, "How far could wounds that left open move the answer?", NOTE,
        "Manski 1990, Am Econ Rev 80:319, from memory",
        "Ask the places people go to whether the wounds closed, and write it down.",
    ),
    "specification_range": Check(
        specification_range, SHOWN, "How far do other rules move the answer?", NOTE,
        "Simonsohn, Simmons & Nelson 2020, Nat Hum Behav 4:1208, from memory",
        "Keep the plan's rules from quarter to quarter; choose them before the numbers are seen.",
    ),
    "effective_numbers": Check(
        effective_numbers, SHOWN, "How many people does the answer rest on?", NOTE,
        "Kish 1965, Survey Sampling, section 11.7, from memory",
        "Measure every wound every week, those that were not started too: each adds to those beside.",
    ),
    "without_one_resident": Check(
        without_one_resident, SHOWN, "Does the answer rest on one person?", NOTE, PRACTICE,
        "Where it moves far, read the charts of the wounds that started once more for slips.",
    ),
    "without_one_facility": Check(
        without_one_facility, SHOWN, "Does the answer rest on one facility?", NOTE, PRACTICE,
        "Where it moves far, ask whether that facility measures and records as the others do.",
    ),
    "before_start": Check(
        before_start, SHOWN, "Did the two sides differ before anything was started?", NOTE,
        "Lipsitch, Tchetgen Tchetgen & Cohen 2010, Epidemiology 21:383, from memory",
        "Measure every week from the day a wound is found, so that its course before a start is known.",
    ),
    "over_time": Check(
        over_time, SHOWN, "When do the two sides part?", NOTE, PRACTICE,
        "Read the figure by week beside the number at the horizon.",
    ),
    "design_effect": Check(
        design_effect, SHOWN, "How much do weights and wounds of one person widen its range?", NOTE,
        "Kish 1965, Survey Sampling, section 8.2, from memory",
        "Count people, not wounds, when asking whether there are enough.",
    ),
}  # fmt: skip
