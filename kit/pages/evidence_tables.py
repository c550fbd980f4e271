"""The tables of published studies as a reader sees them: whom, what was given, what is doubtful, and where from."""

from __future__ import annotations

import pandas as pd

from kit.context.evidence import AS_COUNTED, UNDOUBTED, Body, as_ratios
from kit.context.pooling import (
    DERSIMONIAN,
    FIXED,
    HARTUNG,
    KNAPP_WIDE,
    MANTEL_HAENSZEL,
    PREDICTION,
    PREDICTION_KNAPP,
    REML,
)
from kit.context.published_trials import CLOSING
from kit.statements.evidence import ranged
from kit.words import percents, sentence, spoken

WAYS = {
    FIXED: "One and the same in all studies (fixed)",
    DERSIMONIAN: "Differing (DerSimonian-Laird)",
    REML: "Differing (REML)",
    HARTUNG: "Differing, and studies are few (Hartung-Knapp)",
    KNAPP_WIDE: "The same, no narrower than REML",
    PREDICTION: "Where the next study may lie (Higgins)",
    PREDICTION_KNAPP: "Where the next study may lie (as Hartung-Knapp)",
    MANTEL_HAENSZEL: "By counts (Mantel-Haenszel)",
}
HOW_SEEN = {
    "verified": "seen in a public page",
    "secondary": "seen in a page that quotes it",
    "partly": "seen in part",
    "memory": "from memory",
    "not found": "not found",
}
_DASH = "–"


def studies_table(listed: pd.DataFrame) -> pd.DataFrame:
    """Every listed study, a row an arm and reading: whom, dose, closed, smaller, doubt and source; takes `trials`."""
    return pd.DataFrame([_study(row) for row in listed.to_dict("records")])


def _study(row: dict) -> dict[str, str]:
    whom, given = _whom(row), _dose(row)
    counted = f"; counts {row['counted']}" if row["counted"] else ""
    return {
        "Study": row["trial"],
        "Arm": _arm(row),
        "Whom, and what was given": f"{whom}{counted}" + (f"; {given}" if given else ""),
        "Closed": _closed(row),
        "Smaller, percent": _smaller(row),
        "Doubt, and source": " ".join(part for part in (row["doubt"], f"{sentence(source(row))}.") if part),
    }


def source(row: dict) -> str:
    """Where a study was published, and how it was seen; works for a review too."""
    where = ", ".join(part for part in (row["journal"], _whole(row["year"])) if part) or "journal not seen"
    doi = f", doi {row['doi']}" if row["doi"] else ""
    return f"{where}{doi}; {HOW_SEEN[row['seen']]}"


def _arm(row: dict) -> str:
    return row["arm"] + (f" ({row['reading']})" if row["reading"] else "")


def _whom(row: dict) -> str:
    stage = f"stage {row['stages']}" if row["stages"] else "stage not seen" if "pressure" in row["kind"] else ""
    several = "several kinds" if row["kind"] == "several" else spoken(row["kind"])
    return ", ".join(part for part in (several, stage, row["setting"]) if part)


def _dose(row: dict) -> str:
    doses = (("minutes", " min a day"), ("per_week", " days a week"), ("for_weeks", " weeks"))
    told = [row["agent"], *(f"{_figure(row[column])}{unit}" for column, unit in doses if row[column] == row[column])]
    return ", ".join(part for part in told if part)


def _closed(row: dict) -> str:
    if pd.isna(row["closed"]):
        return _DASH
    return f"{row['closed']} of {row['closed_of']}{_after(row['closed_weeks'])}"


def _smaller(row: dict) -> str:
    if pd.isna(row["reduction"]):
        return _DASH
    of = "" if pd.isna(row["reduction_of"]) else f" ({row['reduction_of']})"
    return f"{percents(row['reduction'])}{of}{_after(row['reduction_weeks'])}"


def _after(weeks: float) -> str:
    return "" if pd.isna(weeks) else f", week {_figure(weeks)}"


def _figure(number: float) -> str:
    """A number as short as it may be: whole where it is whole, else one decimal."""
    return f"{number:.0f}" if number == round(number) else f"{number:.1f}"


def _whole(number: int) -> str:
    return "" if pd.isna(number) else f"{number}"


def pooled_table(body: Body) -> pd.DataFrame:
    """One body of evidence pooled in every way, and how much of the spread is between studies."""
    head = "Times as many closed (range)" if body.measure == CLOSING else "Points more smaller (range)"
    rows = as_ratios(body.pooled, body.measure).to_dict("records")
    return pd.DataFrame([
        {
            "Assumed": WAYS[row["way"]],
            "Studies": f"{row['studies']}",
            head: f"not computed: {row['not_computed']}" if row["not_computed"] else ranged(row, body.measure),
            "Spread between studies": _DASH if pd.isna(row["i2"]) else f"{percents(row['i2'])}%",
        }
        for row in rows
    ])  # fmt: skip


def readings_table(body: Body) -> pd.DataFrame:
    """The same pool under other readings of conflicting sources, and without doubtful studies."""
    rows = as_ratios(body.readings, body.measure)
    names = {AS_COUNTED: "As counted", UNDOUBTED: "Without doubtful studies"}
    return pd.DataFrame([
        {
            "Reading": names.get(reading, reading),
            "Studies": own["trials"].iloc[0] or "none",
            "One and the same (fixed)": _of_way(own, FIXED, body.measure),
            "Differing, and few (Hartung-Knapp)": _of_way(own, KNAPP_WIDE, body.measure),
        }
        for reading, own in rows.groupby("reading", sort=False)
    ])  # fmt: skip


def without_table(body: Body) -> pd.DataFrame:
    """The same pool without each study in turn, and without each research group that has several of them."""
    rows = as_ratios(body.without, body.measure)
    return pd.DataFrame([
        {
            "Without": f"{name}, {what}" if what != "study" else name,
            "Studies left": f"{own['studies'].iloc[0]}",
            "One and the same (fixed)": _of_way(own, FIXED, body.measure),
            "Differing, and few (Hartung-Knapp)": _of_way(own, KNAPP_WIDE, body.measure),
        }
        for (what, name), own in rows.groupby(["without", "left_out"], sort=False)
    ])  # fmt: skip


def _of_way(rows: pd.DataFrame, way: str, measure: str) -> str:
    row = rows[rows["way"] == way].to_dict("records")[0]
    return f"not computed: {row['not_computed']}" if row["not_computed"] else ranged(row, measure)


def reviews_table(reviews: pd.DataFrame) -> pd.DataFrame:
    """What reviews found, each number with its unit, the wounds it is of, what misleads in it, and its source."""
    return pd.DataFrame([
        {
            "Review": row["review"],
            "Of": _of(row),
            "Measure": sentence(row["measure"]),
            "Number (range)": _number(row),
            "Studies": _whole(row["studies"]) or "not seen",
            "Note": row["says"] or _DASH,
            "Source": source(row),
        }
        for row in reviews.to_dict("records")
    ])  # fmt: skip


def _of(row: dict) -> str:
    several = "several kinds of wound" if row["kind"] == "several" else spoken(row["kind"])
    return ", ".join(part for part in (row["modality"], several) if part)


def _number(row: dict) -> str:
    """As printed, with its unit: `22 (18 to 26) percent a week`; only what was seen."""
    estimate, low, high = ("" if pd.isna(row[part]) else f"{row[part]:g}" for part in ("estimate", "low", "high"))
    bounds = f"({low} to {high})" if low and high else ""
    told = " ".join(part for part in (estimate, bounds) if part).replace("-", "−")
    return f"{told} {row['unit']}".strip() if told else _DASH


def doubts_table(body: Body) -> pd.DataFrame:
    """What is doubtful in the studies pooled, and what the others lack."""
    doubtful = [{"Study": row.trial, "Pooled": "yes", "Doubt": row.doubt} for row in body.doubts.itertuples()]
    others = [
        {"Study": row.trial, "Pooled": "no", "Doubt": sentence(row.lacks)} for row in body.not_pooled.itertuples()
    ]
    return pd.DataFrame([*doubtful, *others], columns=["Study", "Pooled", "Doubt"])
