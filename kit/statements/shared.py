"""What the sheet that may be handed on says: its numbers in words, what it holds back, and how far it goes."""

from __future__ import annotations

import pandas as pd

from kit.healing.answers import Answers
from kit.plan import Plan
from kit.quarter import Activity
from kit.sharing.telling import SIDES
from kit.statements.comparing import LEVELS, came_to, goes, level_of
from kit.words import more_or_fewer, when

HANDED_ON = (
    "For handing on once it says ISSUED: whole percentages, counts to the nearest ten, made so that no small group can "
    "be worked out. Whether that is de-identified under 45 CFR 164.514 is for the privacy officer to say."
)
HELD_BACK = "held back"
# Below so many residents treated, people who work there know whom a number is of (common practice, no source).
RECOGNISED_BELOW = 20


def in_words(rows: pd.DataFrame, reason: str, answers: Answers, plan: Plan) -> pd.DataFrame:
    """The sheet's numbers as they are read. Columns out: says (what is counted), per_hundred ("held back" where it is
    not told), about_all (`130 wounds`).

    `rows` are of `kit.sharing.telling.told`; `reason` is the most frequent reason of missed sessions, which is named
    only where its number is told.
    """
    told = [_row(row, reason, answers, plan) for row in rows.to_dict("records")]
    return pd.DataFrame(told, columns=["says", "per_hundred", "about_all"])


def _row(row: dict, reason: str, answers: Answers, plan: Plan) -> tuple[str, str, str]:
    says = _says(row["shared"], when(plan.cutoff), came_to(answers, plan))
    if not row["is_shared"]:
        return says, HELD_BACK, "–"
    if row["shared"] == "reason":
        says = f"{says}: {reason.replace('_', ' ')}"
    return says, _percent(int(row["per_hundred"])), f"{row['about_all']:.0f} {row['things']}"


def _says(shared: str, quarter: str, came: str) -> str:
    return {
        "treated": f"Wounds open {quarter} that had a session",
        "closed": f"Wounds open {quarter} that closed, treated or not",
        "given": "Sessions planned that were given, whole or shortened",
        "full": "Sessions planned that reached the protocol's minutes",
        "reason": "Missed sessions with the most frequent reason",
        "reacted": "Sessions of which the log tells of reactions, and there was one",
        "measured": "Weeks of open wounds with a size measured in time",
        "started": "Wounds that could have been started, and were (the months that are compared)",
        "came after": f"Wounds that started: {came}",
        "came without": f"Wounds like them without any modality, expected: {came}",
    }[shared]


def _percent(whole: int) -> str:
    """Nothing that is told is none or all: a rounded 0 or 100 says so."""
    return {0: "under 1", 100: "over 99"}.get(whole, f"{whole}")


def difference(rows: pd.DataFrame, answers: Answers, plan: Plan) -> tuple[str, str]:
    """The comparison in whole points and how far it goes, or why it is not on the sheet; no count is in either."""
    row = answers.told.iloc[0].to_dict()
    if not row["is_told"]:
        why = "a warning about the records stops it" if row["withheld_for"] else "too few can be compared"
        return f"Whether wounds closed sooner after a modality is not told: {why}.", LEVELS[0][0]
    if not rows.loc[rows["shared"].isin(SIDES), "is_shared"].any():
        return f"Whether wounds closed sooner after a modality is {HELD_BACK}.", LEVELS[0][0]
    points = more_or_fewer(*(row[f"{answers.measure}_{end}"] for end in ("difference", "low", "high")))
    said = f"After a modality, beside what would be expected without: {points} of 100 {came_to(answers, plan)}."
    return said + goes(row, answers.measure), level_of(row, answers.measure)


def held_back(rows: pd.DataFrame, plan: Plan) -> str:
    """How many numbers are held back, and by what rule; never which part of the rule it was."""
    held = int((~rows["is_shared"]).sum())
    least = plan.sharing.fewest
    return (
        f"Held back: {held} of {len(rows)} numbers. A number is told where at least {least} wounds or sessions and "
        f"{least} residents stand behind it and behind its rest, and where neither this sheet nor one issued before "
        "lets a smaller group, or a smaller change, be worked out."
    )


def recognised(done: Activity) -> str:
    """For a program with few people treated: its own staff can tell who is meant; else blank."""
    if done.residents_treated >= RECOGNISED_BELOW:
        return ""
    return (
        f"Fewer than {RECOGNISED_BELOW} residents were treated: people who work there can recognise them in any "
        "number, however it is rounded. Whoever hands this on should not add what else is known of them."
    )
