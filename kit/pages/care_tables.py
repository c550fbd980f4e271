"""The tables of comfort, safety and burden as a reader sees them: counts, rates with ranges, nobody named."""

from __future__ import annotations

import pandas as pd

from kit.delivered import Safety
from kit.delivery.comfort import BEFORE, BETWEEN, DURING, OWN, OWN_AND_TIME, RISE, Comfort
from kit.delivery.early_dose import EarlyDose
from kit.delivery.safety import ALL, ANY
from kit.pages.delivery_tables import filled
from kit.words import label, more_or_fewer, of_hundred_range, sentence


def _modality(row: dict) -> str:
    return "All sessions" if row["modality"] == ALL else sentence(f"{row['setup']} {row['modality']}".strip())


def reactions_table(reactions: pd.DataFrame) -> pd.DataFrame:
    """Reactions per 100 sessions with exact ranges: all kinds by set-up, and each kind that was seen at all."""
    seen = (reactions["reaction"] == ANY) | ((reactions["modality"] == ALL) & (reactions["reactions"] > 0))
    rows = [
        {
            "Modality": _modality(row),
            "Reaction": label(row["reaction"]),
            "Seen in": f"{row['reactions']} of {row['answered']}",
            "Per 100 sessions (range)": _rate(row),
            "Residents": row["residents"],
            "No entry": row["unanswered"],
        }
        for row in reactions[seen].to_dict("records")
    ]
    return pd.DataFrame(rows)


FEWEST = 10  # sessions that a rate needs; common practice, no source


def _rate(row: dict) -> str:
    if row["answered"] < FEWEST:
        return "too few sessions"
    return "–" if pd.isna(row["per_100"]) else f"{row['per_100']:.1f} ({row['low']:.1f} to {row['high']:.1f})"


def inside_table(conditions: pd.DataFrame) -> pd.DataFrame:
    """Sessions given while a contraindication or precaution was recorded, and what the list says of its condition."""
    rows = [
        {
            "Facility": row["facility"],
            "Recorded": label(row["span"]),
            "For": label(row["condition"]),
            "Modality": label(row["modality"]),
            "The list says": row["listed"],
            "Sessions inside": row["inside"],
            "Wounds": row["wounds"],
            "Residents": row["residents"],
        }
        for row in conditions.to_dict("records")
    ]
    return pd.DataFrame(rows)


def stops_table(stops: pd.DataFrame) -> pd.DataFrame:
    """What became of courses of treatment, by regimen."""
    rows = [
        {
            "Started": label(row["regimen"]),
            "Wounds (residents)": f"{row['starters']} ({row['residents']})",
            "Stopped before closing": row["stopped"],
            "Treated to closing": row["to_closing"],
            "To death or departure": row["to_another_end"],
            "Still treated": row["still_running"],
        }
        for row in stops.to_dict("records")
    ]
    return pd.DataFrame(rows)


def pain_table(comfort: Comfort) -> pd.DataFrame:
    """Pain during procedures by what was given before, each kind of procedure for itself; means of what was scored."""
    rows = [
        {
            "Procedure": label(row["procedure"]),
            "Stimulation before": label(row["relief_group"]),
            "Procedures": row["procedures"],
            "Residents": row["residents"],
            "Without a score": row["not_scored"],
            "Pain before": _mean(row["before_mean"]),
            "During": _mean(row["during_mean"]),
            "After": _mean(row["after_mean"]),
            "Scored 0 or 10": row["at_floor"] + row["at_ceiling"],
        }
        for row in comfort.counts.to_dict("records")
        if row["scored"]
    ]
    return pd.DataFrame(rows)


def _mean(points: float) -> str:
    return "–" if pd.isna(points) else f"{points:.1f}"


def effects_table(comfort: Comfort) -> pd.DataFrame:
    """Points of pain more (above zero) or less than without, by way of asking; pain during first.

    Pain before, and the rise, are told of people as their own control alone.
    """
    told = comfort.effects[comfort.effects["is_told"].astype(bool)]
    told = told[(told["pain"] == DURING) | (told["way"] == OWN)]
    told = told.sort_values("pain", key=lambda name: name != DURING, kind="stable")
    rows = [
        {
            "Pain": PAINS[row["pain"]],
            "Asked": WAYS[row["way"]],
            "Stimulation before": label(row["relief_group"]),
            "Points (range)": f"{_signed(row['amount'])} ({_signed(row['low'])} to {_signed(row['high'])})",
            "Residents": row["residents"],
        }
        for row in told.to_dict("records")
    ]
    return pd.DataFrame(rows)


PAINS = {DURING: "During", BEFORE: "Before", RISE: "During less before"}
WAYS = {
    OWN: "Same resident", OWN_AND_TIME: "Same resident, allowing for time", BETWEEN: "Between residents",
}  # fmt: skip


def _signed(points: float) -> str:
    return "0.0" if round(abs(points), 1) == 0 else f"{points:+.1f}".replace("-", "−")


def early_table(found: EarlyDose) -> pd.DataFrame:
    """The two halves by device minutes of the first two weeks."""
    rows = [
        {
            "Half": sentence(row["half"]),
            "Wounds (residents)": f"{row['wounds']} ({row['residents']})",
            "Minutes": f"{row['minutes_from']:.0f} to {row['minutes_to']:.0f}" if row["wounds"] else "–",
            "Size at two weeks, cm2 (half)": _mean(row["landmark_size"]),
            f"Of 100, closed by week {found.horizon // 7}": of_hundred_range(
                row["closed_share"], row["low"], row["high"]
            ),
        }
        for row in found.halves.to_dict("records")
    ]
    return pd.DataFrame(rows)


def differences_table(found: EarlyDose) -> pd.DataFrame:
    """The difference between the halves as recorded, as sizes alone would make it, and at like sizes."""
    rows = [
        {
            "Difference": sentence(row["way"]),
            "Of 100 closed": more_or_fewer(row["amount"] / 100, row["low"] / 100, row["high"] / 100),
            "E-value": _mean(row["e_value"]),
            "E-value of the limit": _mean(row["e_value_limit"]),
        }
        for row in found.differences[found.differences["is_told"].astype(bool)].to_dict("records")
    ]
    return pd.DataFrame(rows)


def burden_table(burden: pd.DataFrame) -> pd.DataFrame:
    """What treatment asks of dressings, staff and supplies, for each week of a treated wound."""
    rows = [
        {
            "Modality": _modality(row),
            "Wound weeks": row["weeks"],
            "Dressing taken down, days": _mean(row["disturbed_a_week"]),
            "Changes ordered": _mean(row["changes_a_week"]),
            "Beyond those": _mean(row["beyond_a_week"]),
            "Staff minutes": _mean(row["staff_a_week"]),
            "Device minutes": _mean(row["device_a_week"]),
            "Single-use sets": _mean(row["sets_a_week"]),
        }
        for row in burden.to_dict("records")
    ]
    return pd.DataFrame(rows)


def early_tables(found: EarlyDose) -> dict[str, pd.DataFrame]:
    """The tables of early dose by caption; none where nothing is told."""
    if not found.differences["is_told"].any():
        return {}
    return {
        "Two halves by device minutes of the first two weeks": early_table(found),
        "The difference, and what could make it": differences_table(found),
    }


def comfort_tables(comfort: Comfort) -> dict[str, pd.DataFrame]:
    """The tables of comfort by caption; those with nothing to tell are left out."""
    return filled({
        "Points of pain beside procedures without stimulation before": effects_table(comfort),
        "Pain at procedures, by what was given before": pain_table(comfort),
    })  # fmt: skip


def safety_tables(found: Safety, burden: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The tables of safety and burden by caption; those with nothing to tell are left out."""
    return filled({
        "Reactions in the quarter": reactions_table(found.reactions),
        "Sessions inside a recorded contraindication or precaution, whenever": inside_table(found.conditions),
        "What became of courses of treatment": stops_table(found.stops),
        "A week of a treated wound, of those that end in the quarter, means": burden_table(burden),
    })  # fmt: skip


def care_sheets(found: Safety, burden: pd.DataFrame, comfort: Comfort) -> dict[str, pd.DataFrame]:
    """Safety, burden and comfort in full, for tables.xlsx; nobody named."""
    return {
        "reactions": found.reactions,
        "inside": found.inside_ever.drop(columns=["from_day", "to_day"]),
        "stops": found.stops,
        "burden": burden,
        "pain": comfort.effects,
    }
