"""What may be said of quarters in a row, and of an issued quarter counted anew: that something changed, never why."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from kit.context.trend import CLOSED, DELIVERED, FEWEST, IN_TIME, REACH, REACTIONS
from kit.plan import Plan
from kit.words import count, day, sentence

DRAWN_FROM = 3  # issued quarters
NAMES = {
    DELIVERED: "sessions due that reached the protocol's minutes",
    REACH: "wounds that could have been started and were",
    IN_TIME: "wound weeks measured in time",
    CLOSED: "wounds seen to close",
    REACTIONS: "reactions recorded",
}
NOT_DRAWN = (
    "Each number is of its quarter alone. What became of wounds that started is not drawn: which wounds start differs "
    "from quarter to quarter, so what they came to cannot be compared between quarters."
)
NOT_WHY = (
    "Such lines tell whether something changed, not why. Chance alone gives the sign in fewer than one line of twenty, "
    "each time that it is looked at."
)
RULES = "Rules of run charts: Anhøj and Olesen 2014, PLoS ONE 9(11):e113825."


def trends(points: pd.DataFrame, verdicts: pd.DataFrame) -> list[str]:
    """What the quarters in a row say; nothing where none was issued before. Takes `quarters` and `trend`."""
    issued = points.loc[points["is_issued"], "quarter"].nunique()
    if not issued:
        return []
    if issued < DRAWN_FROM:
        return [
            f"{_were(issued)} issued before this one. From {DRAWN_FROM} on they are drawn here, and from {FEWEST} "
            "quarters on, this one counted, it is told whether they changed by more than chance."
        ]
    rows = [
        row | {"signal": None if pd.isna(row["signal"]) else bool(row["signal"])} for row in verdicts.to_dict("records")
    ]
    said = [_changed(row) for row in rows if row["signal"] is True]
    return [*said, *_steady(rows), *_too_few(rows), *_cautions(rows), NOT_DRAWN]


def other_rules(quarters: Sequence[str]) -> list[str]:
    """That some of the quarters were counted by other rules of the plan; nothing where none was."""
    if not quarters:
        return []
    which = f"{count(len(quarters), 'quarter')} went by other rules of the plan, the last of them {quarters[-1]}"
    return [f"{which}; what moved may come of that."]


def _were(issued: int) -> str:
    return f"{count(issued, 'quarter')} {'was' if issued == 1 else 'were'}"


def _changed(row: dict) -> str:
    """What makes it a change: too long on one side, or too seldom across."""
    why = []
    if row["longest_run"] > row["longest_allowed"]:
        why.append(
            f"{row['longest_run']} quarters in a row lie on one side of the middle line, where chance hardly puts more "
            f"than {row['longest_allowed']}"
        )
    if row["crossings"] < row["fewest_crossings"]:
        why.append(
            f"the line crosses the middle {_times(row['crossings'])}, where chance hardly does so fewer than "
            f"{_times(row['fewest_crossings'])}"
        )
    said = f"{sentence(NAMES[row['measure']])}: changed by more than chance over {row['points']} quarters"
    return f"{said}; {'; '.join(why)}."


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _steady(rows: list[dict]) -> list[str]:
    quiet = [NAMES[row["measure"]] for row in rows if row["signal"] is False]
    if not quiet:
        return []
    return [f"{sentence(_listed(quiet))}: no change beyond chance is seen, which is not to say that there was none."]


def _too_few(rows: list[dict]) -> list[str]:
    short = [row for row in rows if row["signal"] is None]
    if not short:
        return []
    alike = len(short) == len(rows) and len({row["points"] for row in rows}) == 1
    if alike and all(row["points"] < FEWEST for row in rows):
        return [
            f"{rows[0]['points']} quarters are there, this one counted; from {FEWEST} on it is told whether they "
            "changed by more than chance. Until then nothing is read from ups and downs."
        ]
    counted = [f"{NAMES[row['measure']]} ({row['off_median']} of {row['points']})" for row in short]
    return [
        f"Not yet told for {_listed(counted)}: {FEWEST} quarters that lie off the middle line are needed; in brackets "
        "stands how many there are, of all."
    ]


def _cautions(rows: list[dict]) -> list[str]:
    return [NOT_WHY, RULES] if any(row["signal"] is not None for row in rows) else []


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def anew(lines: pd.DataFrame, quarter: str, revision: str, others: Sequence[str]) -> list[str]:
    """What became of the numbers of an issued quarter. Takes `beside`; `others` names what else changed since then."""
    which = f"{quarter} (issued as {revision}) counted anew from today's export"
    rules = f"Since it was issued {_listed(others)} changed, and a difference may come of that." if others else ""
    if lines["is_unchanged"].all():
        return [f"{which}: all {len(lines)} numbers are unchanged.", *([rules] if rules else [])]
    moved = len(lines) - int(lines["is_unchanged"].sum())
    said = f"{which}: {moved} of {len(lines)} numbers changed; rows may have been added, corrected or taken out."
    return [said, *([rules] if rules else [])]


def begins_later(first: int, plan: Plan) -> str:
    """That today's export begins later than the one that was issued from, though before the quarter."""
    return (
        f"Today's export begins later than that one did (its first record is of {day(first, plan)}), and a difference "
        "may come of that."
    )


def not_anew(quarter: str, revision: str, first: int | None, plan: Plan) -> str:
    """Why an issued quarter cannot be counted anew; `first` is the day of the first record, None where none is left."""
    which = f"{quarter} (issued as {revision}) cannot be counted anew"
    if first is None:
        return f"{which}: today's export holds nothing of it."
    return f"{which}: today's export no longer reaches back so far (its first record is of {day(first, plan)})."


def unread(quarter: str, revision: str) -> str:
    """That an issued quarter is left out because its files are not those that were issued."""
    return (
        f"{quarter} is left out: the files of its issued report {revision} are not as they were issued, or cannot be "
        "read; put that folder back from a copy."
    )
