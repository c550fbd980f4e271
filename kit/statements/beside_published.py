"""Where the program stands beside published studies, and what keeps the two apart; facilities at like wounds."""

from __future__ import annotations

import pandas as pd

from kit.context.after_start import ALL_PRESSURE
from kit.context.beside_published import CLOSED, DAYS, MINUTES, REDUCTION, REVIEWED
from kit.context.case_mix import CLOSED as CLOSINGS
from kit.words import count, of_hundred, of_hundred_range, percents, sentence

DESCRIBED = (
    "These are wounds as they were started, by choice and not by lot, and nobody untreated stands beside them: where "
    "the program stands beside published studies is no measure of what a modality does."
)
NO_OTHER_KIND = (
    "Studies of diabetic feet and of venous ulcers never stand beside pressure injuries; the 53% at four weeks that is "
    "often quoted (Sheehan 2003) is of diabetic feet."
)
NOT_SHARED = (
    "Standardized shares say what the group's share would be if all of it had gone as the facility's own wounds did "
    "beside what was expected of them. Each is held against the group alone; two facilities' are not to be set against "
    "each other, for each is made with its own wounds. What is not charted is not levelled."
)


def where_it_stands(beside: pd.DataFrame, modality: str) -> list[str]:
    """The sentence for the meeting, what makes it not comparable, the dose, and a percent a week; takes the frame.

    The sentence is of pressure injuries, and of the measure and week at which most studies stand beside.
    """
    own = beside[(beside["modality"] == modality) & (beside["stage_group"] == ALL_PRESSURE)]
    row = headline(own)
    return [for_the_meeting(row), *_apart(row), *_dose(own), *_a_week(own), DESCRIBED]


def headline(own: pd.DataFrame) -> dict:
    """The row of closing or size that most studies stand beside and of which the program has a number, if any has."""
    asked = own[own["measure"].isin([CLOSED, REDUCTION])]
    told = asked.assign(has=asked["number"].notna(), closing=asked["measure"] == CLOSED)
    told = told.sort_values(["has", "treated_studies", "closing", "horizon_weeks"], ascending=False, kind="stable")
    return told.drop(columns=["has", "closing"]).iloc[0].to_dict()


def for_the_meeting(row: dict) -> str:
    """One sentence: the program's number with its range and counts, and what studies have at the same week."""
    week, rests = row["horizon_weeks"], f"{_wounds(row)} on {count(int(row['residents']), 'resident')}"
    if pd.isna(row["number"]):
        why = row["not_computed"]
        return f"Of pressure injuries that started {row['modality']} nothing is told at week {week} ({rests}): {why}."
    amounts, started = (
        (row["number"], row["low"], row["high"]),
        f"pressure injuries that started {row['modality']} here",
    )
    if row["measure"] == CLOSED:
        here = f"Of 100 {started} {_ranged(*amounts)} were closed by week {week}"
    else:
        here = f"{sentence(started)} were {_percent(*amounts)} smaller on average by week {week}"
    apart = f"; not alike, or not known to be: {row['not_alike']}" if row["treated_studies"] else ""
    return f"{here} ({rests}); {_studies(row)}{apart}."


def _wounds(row: dict) -> str:
    return count(int(row["wounds"]), "wound")


def _ranged(number: float, low: float, high: float) -> str:
    return f"{percents(number)} (range {percents(low)} to {percents(high)})" if low == low else percents(number)


def _percent(number: float, low: float, high: float) -> str:
    return f"{percents(number)}%" + (f" (range {percents(low)} to {percents(high)}%)" if low == low else "")


def _studies(row: dict) -> str:
    """What studies have at that week; where none is, that, and no neighbour."""
    number = int(row["treated_studies"])
    if not number:
        return f"{row['not_comparable']}, so nothing published stands beside it"
    what = "had closed" if row["measure"] == CLOSED else "were gone on average"
    unit = "of 100" if row["measure"] == CLOSED else "percent of the area"
    told = (
        f"in {'one published study' if number == 1 else f'{number} published studies'} {_span(row, 'treated')} {unit} "
    )
    told += f"{what} by then under {row['modality']}"
    beside = f" and {_span(row, 'control')} in the controls" if row["control_studies"] else ""
    return f"{told}{beside} ({int(row['treated_counted'])} and {int(row['control_counted'])} counted)"


def _span(row: dict, arm: str) -> str:
    low, high = percents(row[f"{arm}_low"]), percents(row[f"{arm}_high"])
    return low if low == high else f"{low} to {high}"


def _apart(row: dict) -> list[str]:
    """What makes the two not comparable, a sentence each; none where one of the two is not told."""
    if pd.isna(row["number"]) or not row["treated_studies"]:
        return []
    return ["They are not comparable as they stand:"] + [
        f"{sentence(part)}." for part in row["not_comparable"].split("; ")
    ]


def _dose(own: pd.DataFrame) -> list[str]:
    """What was given in a treated week beside what studies prescribed."""
    told = []
    for measure, noun in ((MINUTES, "device minutes"), (DAYS, "days")):
        row = own[own["measure"] == measure].iloc[0].to_dict()
        if pd.isna(row["number"]) or not row["treated_studies"]:
            continue
        mine = f"{row['number']:.0f}" if measure == MINUTES else f"{row['number']:.1f}"
        low, high = f"{row['treated_low']:g}", f"{row['treated_high']:g}"
        theirs = low if low == high else f"{low} to {high}"
        studies = f"{row['treated_studies']} published {'study' if row['treated_studies'] == 1 else 'studies'}"
        told.append(f"A treated week here had {mine} {noun}; {studies} prescribed {theirs}.")
    return told


def _a_week(own: pd.DataFrame) -> list[str]:
    """That a pooled percent a week is something else than the program's, a sentence a review."""
    rows = own[(own["measure"] == REVIEWED) & (own["program_words"] != "")].to_dict("records")
    return [_pooled(row) for row in rows]


def _pooled(row: dict) -> str:
    told = f"A review's percent a week is something else ({row['published_words']}): {row['not_comparable']}; "
    return f"{told}here it is {row['program_words']}, percent of the first size."


def at_like_wounds(mixed: pd.DataFrame) -> list[str]:
    """Each facility's closings and early responses at the group's mix of wounds, a sentence each; and what is not told.

    Takes the frame of `kit.context.case_mix`.
    """
    told = mixed[mixed["not_computed"] == ""]
    said = [_standardized(row) for row in told.to_dict("records")]
    return [*said, *_untold(mixed), *([NOT_SHARED] if said else [])]


def _standardized(row: dict) -> str:
    week, number = row["horizon_weeks"], f"{row['observed']:.0f}"
    if row["measure"] == CLOSINGS:
        came_to = f"{number} were closed by week {week}, had nobody left"
    else:
        came_to = f"{number} were closed or clearly smaller at week {week}"
    said = (
        f"{row['facility']}: of {count(int(row['wounds']), 'wound')} {came_to}, where {row['expected']:.0f} would be "
    )
    said += "expected of such wounds in the group; at the group's mix of wounds that is "
    standardized = of_hundred_range(row["standardized"], row["low"], row["high"]).replace("(", "(range ")
    return f"{said}{standardized} of 100, beside {of_hundred(row['group_share'])} in the group."


def _untold(mixed: pd.DataFrame) -> list[str]:
    """Why facilities are not told, with how many residents each; one sentence where the reason is the same for all."""
    rest = mixed[mixed["not_computed"] != ""]
    said = []
    for why, rows in rest.groupby("not_computed", sort=False):
        names = rows.drop_duplicates("facility")
        homes = ", ".join(f"{row.facility} ({count(int(row.residents), 'resident')})" for row in names.itertuples())
        said.append(f"Not standardized ({why}): {homes}.")
    return said
