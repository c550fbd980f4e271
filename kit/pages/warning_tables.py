"""The tables of warnings and decisions as a reader sees them: questions in words, the most serious first."""

from __future__ import annotations

import pandas as pd

from kit.bias.evidence import SHOWN
from kit.bias.warnings import MOST_SERIOUS_FIRST
from kit.words import sentence

TO_BE_WRITTEN = "_" * 14


def warnings_table(told: pd.DataFrame) -> pd.DataFrame:
    """Every question asked of the numbers: what was found, and how far that goes; those that fire come first."""
    rows = told[told["kind"] != SHOWN]
    silent = rows["not_computed"] != ""
    order = rows["seriousness"].map(MOST_SERIOUS_FIRST.index).mask(~rows["fires"], 3).mask(silent, 4)
    rows = rows.assign(order=order).sort_values("order", kind="stable")
    return pd.DataFrame([_warning(row) for row in rows.to_dict("records")])


def _warning(row: dict) -> dict[str, str]:
    state = sentence(row["seriousness"]) if row["fires"] else "Quiet"
    found = f"{row['says']} {row['unseen']}".strip()
    return {
        "What was asked": row["question"],
        "Found": f"Not answered: {row['not_computed']}." if row["not_computed"] else found,
        "How far it goes": "–" if row["not_computed"] else state,
        "It would push": row["direction"] if row["fires"] else "–",
    }


def thresholds_table(told: pd.DataFrame) -> pd.DataFrame:
    """Every number beside its threshold, where that comes from, and what helps."""
    rows = told[told["kind"] != SHOWN]
    return pd.DataFrame(
        {
            "What was asked": rows["question"],
            "Kind": rows["kind"],
            "Number": rows["number"].astype(float),
            "Threshold": rows["threshold"].astype(float),
            "Chance (all tests together)": rows["p_holm"].astype(float),
            "Threshold from": rows["source"],
            "What helps": rows["to_do"],
        }
    )


def shown_table(*told: pd.DataFrame) -> pd.DataFrame:
    """Numbers that are always shown and never fire: how far the answer moves under other choices."""
    rows = pd.concat([frame[frame["kind"] == SHOWN] for frame in told])
    found = [row.says if not row.not_computed else f"Not computed: {row.not_computed}." for row in rows.itertuples()]
    return pd.DataFrame({"What was asked": rows["question"], "Found": found})


def decisions_table(decided: pd.DataFrame) -> pd.DataFrame:
    """What is proposed to discuss, with owner and date left blank to be written in."""
    return pd.DataFrame(
        {
            "Proposed": decided["proposes"].map(sentence),
            "Because": decided["because"],
            "Who": decided["owner"].replace("", TO_BE_WRITTEN),
            "By when": decided["date"].replace("", TO_BE_WRITTEN),
        }
    )
