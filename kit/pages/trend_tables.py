"""The table of an issued quarter counted anew, as a reader sees it."""

from __future__ import annotations

import pandas as pd

from kit.context.trend import CLOSED, DELIVERED, IN_TIME, REACH, REACTIONS
from kit.words import rate, share

HEADS = {
    DELIVERED: "Delivered, of sessions due",
    REACH: "Started, of wounds that could be",
    IN_TIME: "Measured in time, of weeks",
    CLOSED: "Seen to close, of open",
    REACTIONS: "Reactions per 100 sessions",
}


def restated_table(lines: pd.DataFrame, quarter: str) -> pd.DataFrame:
    """A row a number, as issued and from today's export; takes the lines of `kit.context.restated.beside`."""
    rows = [
        {
            quarter: HEADS[row["measure"]],
            "As issued": _said(row["measure"], row["numerator"], row["denominator"]),
            "Today's export": "unchanged"
            if row["is_unchanged"]
            else _said(row["measure"], row["today_numerator"], row["today_denominator"]),
        }
        for row in lines.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=[quarter, "As issued", "Today's export"])


def _said(measure: str, some: float, of: float) -> str:
    if not of:
        return "none"
    beside = f"{round(some)} of {round(of)}"
    if measure == CLOSED:
        return beside
    return f"{rate(some, of) if measure == REACTIONS else share(some, of)} ({beside})"
