"""What may be said of elements of the protocol: those asked beforehand with their range, all others as exploratory."""

from __future__ import annotations

import pandas as pd

from kit.healing.comparison import CLOSED
from kit.plan import Plan
from kit.words import more_or_fewer

ELEMENTS_SAID = {
    "setup": "set-up", "polarity": "polarity at the wound", "turning": "turning the polarity",
    "per_week": "sessions ordered a week", "first_minutes": "minutes of the first session", "frequency": "frequency",
}  # fmt: skip
FLATTERED = (
    "Of several differences the largest is the most flattered by chance: none is a reason to change the protocol, each "
    "may be a question to name in the next plan's [refining]."
)
TOGETHER = "The ranges of what was asked beforehand are wider, so that all of them hold side by side (Bonferroni)."
AT_THE_START = (
    "Wounds are told apart by what their first session and the order of that day show; later would look ahead."
)


def elements_said(told: pd.DataFrame, plan: Plan) -> list[str]:
    """Questions asked beforehand, then what is exploratory, then what cannot be asked; takes `kit.context.refining`."""
    rows = told.to_dict("records")
    asked = [row for row in rows if row["asked_beforehand"]]
    said = [_asked(row) for row in asked] or [
        "The plan asks about no element beforehand, so all of this is exploratory."
    ]
    several = sum(not row["not_computed"] for row in asked) > 1
    said += [TOGETHER] if several else []
    explored = [_explored(row, plan) for row in rows if not row["asked_beforehand"] and not row["not_computed"]]
    return [*said, *explored, *_cannot(rows), AT_THE_START, FLATTERED]


def _asked(row: dict) -> str:
    name = ELEMENTS_SAID[row["element"]]
    if row["not_computed"]:
        return f"Asked beforehand, {name}: not compared, {row['not_computed']}."
    return f"Asked beforehand, {name}: {_numbers(row, '')}."


def _explored(row: dict, plan: Plan) -> str:
    drawn = f"drawn towards none, as if two ways differed by {plan.refining.spread:g} points"
    return f"Exploratory, {ELEMENTS_SAID[row['element']]}: {_numbers(row, 'shrunk')} ({drawn})."


def _numbers(row: dict, kind: str) -> str:
    names = ("shrunk", "shrunk_low", "shrunk_high") if kind else ("difference", "low", "high")
    amounts = more_or_fewer(*(row[name] / 100 for name in names))
    what = "closed" if row["measure"] == CLOSED else "closed or were clearly smaller"
    return (
        f"{amounts} of 100 {what} by week {row['horizon_weeks']:.0f} after {row['one']} ({row['one_starters']} starts) "
        f"than after {row['other']} ({row['other_starters']})"
    )


def _cannot(rows: list[dict]) -> list[str]:
    told = [
        f"{ELEMENTS_SAID[row['element']]} ({row['not_computed']})"
        for row in rows
        if row["not_computed"] and not row["asked_beforehand"]
    ]
    return [f"Not compared: {'; '.join(told)}."] if told else []
