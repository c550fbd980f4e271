"""The tables of the next quarter: what could be seen and when, the staggered start, what limited this one, elements."""

from __future__ import annotations

import math

import pandas as pd

from kit.context.could_have_seen import CLOSED
from kit.plan import Plan
from kit.statements.refining import ELEMENTS_SAID
from kit.words import day, more_or_fewer, sentence

_DASH = "–"
MEASURES = {CLOSED: "Closed"}


def could_table(could: pd.DataFrame) -> pd.DataFrame:
    """The smallest difference that would have been seen; takes `kit.context.could_have_seen.could_have_seen`."""
    rows = [
        {"Measure": _measure(row), "By week": row["horizon_weeks"], "Starts": row["starters"],
         "Residents, smaller side": row["residents"], "Standard error, of 100": _tenths(row["error"]),
         "Seen four times in five, of 100": _tenths(row["smallest"]), "Why not": row["not_computed"] or _DASH}
        for row in could.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def when_table(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """By when so many points could be seen; takes `when_seen`."""
    rows = [
        {"Measure": _measure(row), "Difference, of 100": row["points"], "Starts needed": _whole(row["starters_needed"]),
         "Quarters from now (range)": _span(row), "Quarter that ends on": _day(row["cutoff"], plan),
         "Months to look back": _whole(row["answer_months"]), "Why not": row["not_computed"] or _DASH}
        for row in told.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def staggered_table(told: pd.DataFrame) -> pd.DataFrame:
    """What a staggered start could show; takes `kit.context.staggered.staggered`."""
    rows = [
        {"Units": row["units"], "Weeks between starts": row["step_weeks"],
         "Wounds a unit and step": _whole(row["wounds"]), "Weeks in all": row["lasts_weeks"],
         "Seen four times in five, of 100": _tenths(row["smallest"]),
         "Why not": row["not_computed"] or _DASH}
        for row in told.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def schedule_table(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The order of units drawn by lot; takes `kit.context.staggered.schedule`."""
    return pd.DataFrame({
        "Unit": told["unit"], "Turn": told["step"], "Starts on": [_day(number, plan) for number in told["starts_on"]],
    })  # fmt: skip


def limits_table(told: pd.DataFrame) -> pd.DataFrame:
    """What limited this quarter, most first; takes `kit.context.limits.limits`."""
    lost = [f"{100 * share:.0f}%" if share == share else "warning" for share in told["lost"]]
    return pd.DataFrame({"Unknown": told["says"], "Took away": lost, "What helps": told["helps"]})


def elements_table(told: pd.DataFrame) -> pd.DataFrame:
    """Elements of the protocol; those asked beforehand with their own range, all with the one drawn towards none."""
    return pd.DataFrame([_element(row) for row in told.to_dict("records")])


def _element(row: dict) -> dict[str, str]:
    own = row["asked_beforehand"] and not row["not_computed"]
    return {
        "Element": sentence(ELEMENTS_SAID[row["element"]]),
        "Asked": "beforehand" if row["asked_beforehand"] else "exploratory",
        "One (starts)": f"{row['one']} ({row['one_starters']})" if row["one"] else _DASH,
        "Other (starts)": f"{row['other']} ({row['other_starters']})" if row["other"] else _DASH,
        "One less other, of 100": _difference(row, ("difference", "low", "high")) if own else _DASH,
        "Drawn towards none": _difference(row, ("shrunk", "shrunk_low", "shrunk_high")),
        "Why not": row["not_computed"] or _DASH,
    }


def _difference(row: dict, names: tuple[str, ...]) -> str:
    return more_or_fewer(*(row[name] / 100 for name in names))


def _measure(row: dict) -> str:
    return MEASURES.get(row["measure"], "Closed or clearly smaller")


def _tenths(number: float) -> str:
    return f"{number:.1f}" if math.isfinite(number) else _DASH


def _whole(number: float) -> str:
    return _DASH if pd.isna(number) or not math.isfinite(number) else f"{number:.0f}"


def _span(row: dict) -> str:
    if pd.isna(row["quarters"]) or not math.isfinite(row["quarters"]):
        return _DASH
    ends = [f"{row[name]:.0f}" if math.isfinite(row[name]) else "never" for name in ("quarters_low", "quarters_high")]
    return f"{row['quarters']:.0f} ({ends[0]} to {ends[1]})"


def _day(number: int, plan: Plan) -> str:
    return _DASH if pd.isna(number) else day(int(number), plan)
