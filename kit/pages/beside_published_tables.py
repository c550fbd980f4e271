"""The tables of where the program stands: beside published studies, since the start, and at like wounds."""

from __future__ import annotations

import pandas as pd

from kit.context.after_start import ALL_PRESSURE
from kit.context.beside_published import A_WEEK, AGE, CLOSED, DAYS, MINUTES, REDUCTION, REVIEWED, STAGES
from kit.context.case_mix import CLOSED as CLOSINGS
from kit.words import of_hundred, of_hundred_range, percents, percents_range, sentence, spoken

_DASH = "–"
HEADS = {
    CLOSED: "Closed, of 100", REDUCTION: "Smaller, mean percent", A_WEEK: "Percent of the first size a week",
    MINUTES: "Device minutes a treated week", DAYS: "Days a treated week", STAGES: "Stages",
    AGE: "Age, half below", REVIEWED: "Percent a week, as a review pooled it",
}  # fmt: skip


def beside_table(beside: pd.DataFrame, modality: str, group: str = ALL_PRESSURE, why: bool = True) -> pd.DataFrame:
    """The program beside published studies, a row a measure; takes the frame of `kit.context.beside_published`.

    In brackets ranges, and for doses and age the middle half. `why`: with what is not alike.
    """
    own = beside[(beside["modality"] == modality) & (beside["stage_group"] == group)]
    rows = [_row(row) for row in own.to_dict("records")]
    told = pd.DataFrame(rows, columns=["Measure", "Here", "On", "Studies, treated", "Studies, control", "Not alike"])
    return told if why else told.drop(columns="Not alike")


def _row(row: dict) -> dict[str, str]:
    week = "" if pd.isna(row["horizon_weeks"]) else f", week {row['horizon_weeks']}"
    return {
        "Measure": f"{HEADS[row['measure']]}{week}",
        "Here": _here(row),
        "On": _DASH if pd.isna(row["wounds"]) else f"{row['wounds']} wounds",
        "Studies, treated": _theirs(row, "treated"),
        "Studies, control": _theirs(row, "control"),
        "Not alike": row["not_alike"] or _DASH,
    }


def _here(row: dict) -> str:
    if row["not_computed"]:
        return f"not told: {row['not_computed']}"
    if row["program_words"]:
        return row["program_words"]
    numbers = row["number"], row["low"], row["high"]
    if row["measure"] in (A_WEEK, DAYS):
        return _tenths(*numbers)
    return percents_range(*numbers) if row["low"] == row["low"] else percents(row["number"])


def _tenths(number: float, low: float, high: float) -> str:
    """To one decimal with the range: a percent a week of 7.3 is no 7."""
    told = f"{number:.1f} ({low:.1f} to {high:.1f})" if low == low else f"{number:.1f}"
    return told.replace("-", "−")


def _theirs(row: dict, arm: str) -> str:
    """The lowest and highest of the arms, with how many studies and how many they counted; or that there is none."""
    if row["published_words"]:
        return row["published_words"] if arm == "treated" else _DASH
    number = row[f"{arm}_studies"]
    if pd.isna(number) or not number:
        return "none" if arm == "treated" else _DASH
    studies = "1 study" if number == 1 else f"{number} studies"
    counted = "" if pd.isna(row[f"{arm}_counted"]) else f", {row[f'{arm}_counted']} counted"
    low, high = (_figure(row[f"{arm}_{end}"], row["measure"]) for end in ("low", "high"))
    return f"{low if low == high else f'{low} to {high}'} ({studies}{counted})"


def _figure(number: float, measure: str) -> str:
    return f"{number:.1f}".replace("-", "−") if measure == A_WEEK else percents(number)


def started_table(started: pd.DataFrame, modality: str) -> pd.DataFrame:
    """What became of wounds that started, by group and week; takes the frame of `kit.context.after_start`."""
    own = started[(started["modality"] == modality) & (started["wounds"] + started["too_recent"] > 0)]
    return pd.DataFrame([_started(row) for row in own.to_dict("records")])


def _started(row: dict) -> dict[str, object]:
    told, sized = not row["not_computed"], not row["sizes_not_computed"]
    why = row["not_computed"] or row["sizes_not_computed"]
    return {
        "Wounds": sentence(spoken(row["stage_group"])),
        "Week": row["horizon_weeks"],
        "Counted": f"{row['wounds']} on {row['residents']}",
        "Closed": row["closed"],
        "Died, gone or lost": row["died"] + row["hospital"] + row["left"] + row["surgical_closure"] + row["lost"],
        "In view (sized)": f"{row['in_view']} ({row['sized']})",
        "Closed, of 100": _closed(row) if told else _DASH,
        "Smaller, mean percent": _reduction(row, "mean_reduction") if sized else _DASH,
        "The same, deaths as not smaller": percents(row["mean_reduction_with_deaths"]) if sized else _DASH,
        "Half smaller by": percents(row["median_reduction"]) if sized else _DASH,
        "Why not told": why or _DASH,
    }


def _closed(row: dict) -> str:
    return of_hundred_range(row["closed_share"], row["closed_low"], row["closed_high"])


def _reduction(row: dict, name: str) -> str:
    low = row[f"{name}_low"]
    return percents_range(row[name], low, row[f"{name}_high"]) if low == low else percents(row[name])


def case_mix_table(mixed: pd.DataFrame) -> pd.DataFrame:
    """Each facility as it is and at the group's mix of wounds; takes the frame of `kit.context.case_mix`."""
    return pd.DataFrame([_mixed(row) for row in mixed.to_dict("records")])


def _mixed(row: dict) -> dict[str, str]:
    came_to = "Closed" if row["measure"] == CLOSINGS else "Closed or clearly smaller"
    why = row["not_computed"]
    return {
        "Facility": row["facility"],
        "Of 100": f"{came_to}, week {row['horizon_weeks']}",
        "Counted": f"{row['wounds']} on {row['residents']}",
        "Observed": _DASH if why else f"{row['observed']:.0f}",
        "Expected": _DASH if why else f"{row['expected']:.0f}",
        "As it is": _DASH if why else of_hundred(row["raw_share"]),
        "At the group's mix (range)": f"not told: {why}" if why else _standard(row),
        "The group": _DASH if why else of_hundred(row["group_share"]),
    }


def _standard(row: dict) -> str:
    return of_hundred_range(row["standardized"], row["low"], row["high"])
