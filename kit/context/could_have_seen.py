"""The smallest difference that these records could have shown, and when one of so many points can be seen."""

from __future__ import annotations

import calendar
from datetime import date
from math import ceil, inf, log

import numpy as np
import pandas as pd
from scipy.stats import chi2, norm, t

from kit.healing.answers import Answers, people_of
from kit.healing.comparison import CLOSED, EARLY, any_modality, draw_all
from kit.healing.emulation import Layout
from kit.healing.trials import window
from kit.plan import Plan, date_of, day_of

POWER, ALPHA = 0.8, 0.05  # seen four times in five, both ways at one chance in twenty
MANY = float(norm.ppf(1 - ALPHA / 2) + norm.ppf(POWER))  # standard errors, where there are many residents
DRAWN_FROM = 10  # starters from which a spread is drawn at all; common practice, no source
POINTS = (5, 10, 15)  # of 100 wounds
MONTH = 365.25 / 12  # days
LONGEST = 60  # months that a plan may look back
MOST_STARTS = 100_000
MOST_QUARTERS = 80  # twenty years: beyond that a date says nothing
TOO_FEW = f"fewer than {DRAWN_FROM} wounds started"
NOBODY = "nobody stands beside"
NO_SIZE = "on a side no size is known at the early response"
NO_SPREAD = "on a side all or none did, so that these records do not say how far chance goes"


def could_have_seen(answers: Answers) -> pd.DataFrame:
    """The smallest difference that would have been seen four times in five, by its own spread over draws of residents.

    The difference itself is never looked at: where the comparison is not told, its spread alone is drawn.
    Columns out: measure (closed, early), horizon_weeks, starters, residents (of the smaller side), error (standard
    error, points of 100), smallest (points of 100), not_computed (why not; else blank).
    """
    layout, row = answers.layout, answers.told.iloc[0]
    weeks = {CLOSED: answers.horizon_weeks, EARLY: layout.plan.comparison.early_weeks}
    asked = (CLOSED, EARLY) if answers.measure == CLOSED else (EARLY,)
    errors, why = _errors(answers), _why(layout)
    people = min(people_of(row))
    rows = []
    for measure in asked:
        error = 100 * errors.get(measure, np.nan)
        missing = why or ("" if error > 0 else NO_SPREAD if error == 0 else NO_SIZE)
        smallest = error * reach_of(people - 1) if not missing else np.nan
        rows.append((measure, weeks[measure], int(row["starters"]), people, error, smallest, missing))
    columns = ["measure", "horizon_weeks", "starters", "residents", "error", "smallest", "not_computed"]
    return pd.DataFrame(rows, columns=columns)


def _why(layout: Layout) -> str:
    if len(layout.starters.week) < DRAWN_FROM:
        return TOO_FEW
    return "" if len(layout.others.week) else NOBODY


def _errors(answers: Answers) -> dict[str, float]:
    """The standard errors of both measures, as told, or drawn where nothing is told; 0 where a side never varies."""
    row, layout = answers.told.iloc[0], answers.layout
    if row["is_told"]:
        sides = {name: (row[f"{name}_treated"], row[f"{name}_beside"]) for name in (CLOSED, EARLY)}
        return {
            name: 0.0 if any(share in (0, 1) for share in pair) else float(row[f"{name}_error"])
            for name, pair in sides.items()
        }
    if _why(layout):
        return {}
    asked = any_modality(layout)
    numbers = draw_all(layout, [asked], answers.draws, answers.seed, brief=True)[asked.key].numbers
    return {name: _spread(numbers[name][:, 1:]) for name in (CLOSED, EARLY)}


def _spread(drawn: np.ndarray) -> float:
    """The standard error of a difference from draws of both sides (2 x sets); 0 where a side never varies."""
    known = drawn[:, np.isfinite(drawn).all(axis=0)]
    if not known.size:
        return np.nan
    return 0.0 if (known.std(axis=1) < 1e-12).any() else float((known[0] - known[1]).std())


def reach_of(free: float | np.ndarray) -> float | np.ndarray:
    """How many standard errors a difference must be to be seen four times in five, with so many degrees of freedom.

    2.80 where they are many (MANY); from few residents more (Student's t).
    """
    free = np.maximum(free, 1)
    return t.ppf(1 - ALPHA / 2, free) + t.ppf(POWER, free)


def starters_for(points: float, row: dict) -> float:
    """How many starters would show so many points of 100: the spread falls with the root of their number."""
    numbers = np.arange(DRAWN_FROM, MOST_STARTS)
    reach = reach_of(row["residents"] * numbers / row["starters"] - 1)
    enough = reach * row["error"] * np.sqrt(row["starters"] / numbers) <= points
    return float(numbers[enough.argmax()]) if enough.any() else inf


def pace_of(answers: Answers) -> dict[str, float]:
    """Starts a quarter that could be compared, over the months compared: starts, quarters, a_quarter, low, high.

    `quarters`: how many of the plan's windows those months are, less what lies before the first record. Limits are the
    exact ones of a count (Garwood 1936, Biometrika 28:437). Missing without a shared calendar.
    """
    plan, starts = answers.layout.plan, len(answers.layout.starters.week)
    if plan.cutoff is None:
        return {"starts": starts, **dict.fromkeys(("quarters", "a_quarter", "low", "high"), np.nan)}
    quarters = months_in_view(answers) / quarter_months(plan)
    low = chi2.ppf(ALPHA / 2, 2 * starts) / 2 if starts else 0.0
    high = chi2.ppf(1 - ALPHA / 2, 2 * starts + 2) / 2
    rates = {"a_quarter": starts / quarters, "low": low / quarters, "high": high / quarters}
    return {"starts": starts, "quarters": quarters} | {name: float(rate) for name, rate in rates.items()}


def months_in_view(answers: Answers) -> float:
    """The months of starts that are compared, less those before the first record; never fewer than one quarter.

    A program that has run for half a year has not been slow in the half year before.
    """
    plan, weeks = answers.layout.plan, answers.layout.weeks
    first, last = window(plan, answers.layout.horizon)
    begun = max(first, int(weeks["begins"].min())) if len(weeks) else first
    months = plan.comparison.answer_months * (last - begun + 1) / (last - first + 1)
    return float(min(max(months, quarter_months(plan)), plan.comparison.answer_months))


def quarter_months(plan: Plan) -> float:
    """How many months the plan's window is long: three of a calendar quarter."""
    if _whole_months(plan):
        first, last = date_of(plan.quarter_begins), date_of(plan.cutoff)
        return 12 * (last.year - first.year) + last.month - first.month + 1
    return (plan.cutoff - plan.quarter_begins + 1) / MONTH


def _whole_months(plan: Plan) -> bool:
    return plan.calendar and date_of(plan.quarter_begins).day == 1 and date_of(plan.cutoff + 1).day == 1


def when_seen(answers: Answers, points: tuple[int, ...] = POINTS) -> pd.DataFrame:
    """When a difference of so many points of 100 could be seen at this pace of starts, whatever was observed so far.

    Columns out: measure, points, starters_needed, quarters (after this one; 0: now), quarters_low and quarters_high (at
    the upper and lower limit of the pace), cutoff (day of the last quarter needed), answer_months (that the plan would
    have to look back then for all of these starts to count), not_computed. Starts beyond sixty months back cannot
    count together: the quarter is then not told.
    """
    plan, pace = answers.layout.plan, pace_of(answers)
    rows = [
        {"measure": row["measure"], "points": amount, **_when(row, amount, pace, plan)}
        for row in could_have_seen(answers).to_dict("records")
        for amount in points
    ]
    return pd.DataFrame(rows).astype({"cutoff": "Int64", "answer_months": "Int64"})


NO_CALENDAR = "not computable under this basis"
TOO_LONG = f"not within the {LONGEST} months that a plan can look back, at this pace"


def _when(row: dict, points: float, pace: dict[str, float], plan: Plan) -> dict[str, object]:
    told = dict.fromkeys(("starters_needed", "quarters", "quarters_low", "quarters_high"), np.nan)
    told |= {"cutoff": pd.NA, "answer_months": pd.NA, "not_computed": row["not_computed"]}
    if row["not_computed"]:
        return told
    needed = starters_for(points, row)
    told["starters_needed"] = needed
    if not np.isfinite(pace["a_quarter"]):
        return told | {"not_computed": NO_CALENDAR}
    more = max(needed - pace["starts"], 0)
    waits = [_quarters(more, pace[name]) for name in ("a_quarter", "high", "low")]
    told |= dict(zip(("quarters", "quarters_low", "quarters_high"), waits, strict=True))
    # A window that only moves on loses as many old starts as it gains: its beginning must stay where it is.
    months = max(plan.comparison.answer_months, (pace["quarters"] + waits[0]) * quarter_months(plan))
    if months > LONGEST:
        return told | {"not_computed": TOO_LONG}
    return told | {"cutoff": later_cutoff(plan, int(waits[0])), "answer_months": ceil(months - 1e-9)}


def seen_by_decision(answers: Answers) -> pd.DataFrame:
    """The smallest difference that the quarter that decides could see at this pace, under the plan as it stands.

    A plan that looks back a fixed time holds no more starts later than now, once it is filled. Columns out: measure,
    horizon_weeks, starters (by then), smallest (points of 100). No row where no quarter decides, it is over, or nothing
    can be told.
    """
    plan, pace = answers.layout.plan, pace_of(answers)
    rows = []
    if plan.decides is not None and plan.decides > plan.cutoff and pace["starts"]:
        view = pace["quarters"] * quarter_months(plan) + (plan.decides - plan.cutoff) / MONTH
        times = min(plan.comparison.answer_months, view) / (pace["quarters"] * quarter_months(plan))
        told = could_have_seen(answers)
        rows = [_by_then(row, times) for row in told[told["not_computed"] == ""].to_dict("records")]
    return pd.DataFrame(rows, columns=["measure", "horizon_weeks", "starters", "smallest"])


def _by_then(row: dict, times: float) -> dict[str, object]:
    smallest = row["error"] / np.sqrt(times) * reach_of(row["residents"] * times - 1)
    return row | {"starters": round(row["starters"] * times), "smallest": smallest}


def _quarters(more: float, pace: float) -> float:
    """How many further quarters bring so many starts; infinite beyond twenty years."""
    if not more:
        return 0.0
    waits = ceil(more / pace) if pace > 0 and np.isfinite(more) else inf
    return float(waits) if waits <= MOST_QUARTERS else inf


def later_cutoff(plan: Plan, quarters: int) -> int | None:
    """The cut-off so many quarters on: whole months stay whole months, else so many times this quarter's length.

    A day number; None where the plan has no windows.
    """
    if plan.cutoff is None:
        return None
    last = date_of(plan.cutoff)
    if not _whole_months(plan):
        return plan.cutoff + quarters * (plan.cutoff - plan.quarter_begins + 1)
    month = last.year * 12 + last.month - 1 + quarter_months(plan) * quarters
    year, month = month // 12, month % 12 + 1
    return day_of(date(year, month, calendar.monthrange(year, month)[1]))


def schoenfeld(ratio: float, treated_share: float) -> float:
    """Closings, in both groups together, at which a ratio of hazards is seen four times in five.

    (z + z)^2 / (p (1 - p) log(ratio)^2), p the share of wounds that are treated. Source: Schoenfeld 1981, Biometrika
    68:316, from memory.
    """
    return float(MANY**2 / (treated_share * (1 - treated_share) * log(ratio) ** 2))
