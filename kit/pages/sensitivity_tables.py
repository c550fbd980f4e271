"""The tables of what could move the answer: other rules, departures, single people and facilities, and the unseen."""

from __future__ import annotations

import math

import pandas as pd

from kit.sensitivity.leave_one_out import FACILITY
from kit.words import label, more_or_fewer, sentence, whole_wounds


def specifications_table(specifications: pd.DataFrame) -> pd.DataFrame:
    """The plan's own rules, and each with one choice changed: the difference with its range, or why there is none.

    Takes the frame of `kit.sensitivity.specifications`; rows with two changes are in the figure alone.
    """
    own = specifications[specifications["changes"] < 2]
    rows = [
        {
            "Rules": sentence(row.edit),
            "Wounds that started": "–" if pd.isna(row.starters) else f"{row.starters}",
            "Difference (range)": _range(row.amount, row.low, row.high, row.not_computed),
        }
        for row in own.itertuples()
    ]
    return pd.DataFrame(rows)


def bounds_table(bounds: pd.DataFrame) -> pd.DataFrame:
    """The difference under each case of what became of wounds that left open or were lost from sight."""
    rows = [
        {
            "If": sentence(row.case),
            "Difference, of 100": _one(row.amount, row.not_computed),
            "What it says": row.says,
        }
        for row in bounds.itertuples()
    ]
    return pd.DataFrame(rows)


def without_table(ranges: pd.DataFrame) -> pd.DataFrame:
    """Between which numbers the difference lies without any one resident, and without any one facility."""
    return pd.DataFrame([_without_row(row) for row in ranges.itertuples()])


def _without_row(row) -> dict[str, str]:
    named = row.without == FACILITY and not row.not_computed
    ends = [
        _one(amount, row.not_computed) + (f" (without {name})" if named else "")
        for amount, name in ((row.lowest, row.lowest_without), (row.highest, row.highest_without))
    ]
    return {
        "Without": sentence(row.without),
        "Left out in turn": f"{row.times}" if row.times else "–",
        "Lowest difference, of 100": ends[0],
        "Highest": ends[1] if not row.not_computed else "–",
        "With all of them": _one(row.amount, "" if math.isfinite(row.amount) else "–"),
    }


def before_table(before: pd.DataFrame) -> pd.DataFrame:
    """How fast both sides were becoming smaller before the start: percent a week, as weighted, and the difference."""
    row = before.iloc[0]
    told = {"Residents": f"{row['residents']} and {row['others_residents']}"}
    if row["not_computed"]:
        told |= {"Difference": f"not computed: {row['not_computed']}"}
    else:
        told |= {
            "Those that started, % smaller a week": _signed(row["starters_rate"]),
            "Those beside, as weighted": _signed(row["others_rate"]),
            "Difference": f"{_signed(row['amount'])} (range {_signed(row['low'])} to {_signed(row['high'])})",
            "Before weighting": _signed(row["unweighted"]),
        }
    return pd.DataFrame([told | {"What it says": row["says"]}])


def e_values_table(e_values: pd.DataFrame) -> pd.DataFrame:
    """For each comparison beside none: the ratio of shares closed, its E-value, and that of the limit nearer 1."""
    return pd.DataFrame([_e_value_row(row) for row in e_values.itertuples()])


def _e_value_row(row) -> dict[str, str]:
    told = {"Started": label(row.treated), "Beside": row.beside}
    if row.not_computed:
        return told | {
            "Ratio of shares closed (range)": f"not computed: {row.not_computed}",
            "E-value for the ratio of shares": "–",
            "Of the limit nearer 1": "–",
        }
    return told | {
        "Ratio of shares closed (range)": f"{row.risk_ratio:.2f} ({row.ratio_low:.2f} to {_large(row.ratio_high)})",
        "E-value for the ratio of shares": _large(row.e_value),
        "Of the limit nearer 1": _large(row.e_value_limit),
    }


def _large(ratio: float) -> str:
    return f"{ratio:.2f}" if math.isfinite(ratio) else "without end"


def _range(amount: float, low: float, high: float, why: str) -> str:
    return f"not computed: {why}" if why else more_or_fewer(amount / 100, low / 100, high / 100)


def _one(points: float, why: str) -> str:
    """Points of 100 as whole wounds, or why there are none."""
    if why:
        return why if why == "–" else f"not computed: {why}"
    return whole_wounds(points / 100)


def _signed(points: float) -> str:
    return f"{points:.1f}".replace("-", "−")
