"""What the facility sent, and how much of it could be used."""

from __future__ import annotations

import pandas as pd

from kit.faults import MARKED, REPAIRED, SET_ASIDE
from kit.intake.linking import HALF, LINKED
from kit.study import Study
from kit.words import percent


def received(study: Study) -> str:
    """What the facility sent, and how much of it could be used; first the sessions that could be tied to a wound."""
    rows_in, aside = int(study.account["rows_in"].sum()), int(study.account["set_aside"].sum())
    said = f"{tied(study)} Rows read: {rows_in:,} in {study.sources['table'].nunique()} tables; "
    return f"{said}{percent(rows_in - aside, rows_in)} were kept. {_with_a_fault(study)}"


def tied(study: Study) -> str:
    """How many of the sessions could be tied to a wound, and what became of those that could not."""
    several, none, rows = _untied(study)
    linked = study.sessions.loc[study.sessions["tied"].isin([LINKED, HALF]), "source_row"].nunique()
    if not rows:
        return "The export holds no sessions."
    said = f"Sessions tied to a wound: {percent(rows - several - none, rows)}"
    if not linked + several + none:
        return f"{said}; each names its own."
    said += f", {linked} of them by person and site"
    return f"{said}; {several} may be of several wounds, {none} of none that the export holds."


def tied_rows(study: Study) -> tuple[int, int]:
    """How many rows of sessions could be tied to a wound, and how many there are."""
    several, none, rows = _untied(study)
    return rows - several - none, rows


def _untied(study: Study) -> tuple[int, int, int]:
    """Rows of sessions that may be of several wounds, that are of none that the export holds, and all of both sorts.

    Rows that are set aside for another fault, such as a line of totals or one that stands there twice, are no session.
    """
    faults = study.faults[study.faults["table"] == "sessions"]
    rows = {fault: set(own["source_row"]) for fault, own in faults.groupby("fault")}
    several, none = rows.get("astray", set()), rows.get("unmatched", set()) | rows.get("orphan", set())
    others = set(faults.loc[faults["fate"] == SET_ASIDE, "source_row"]) - several - none
    every = int(study.account.set_index("table").loc["sessions", "rows_in"])
    return len(several), len(none - several), every - len(others)


def in_brief(study: Study) -> list[str]:
    """What became of the rows, for the page: a sentence for what was set aside, repaired and kept with a mark."""
    faults = study.faults.drop_duplicates(["table", "source_row", "fault", "fate"])
    told = {fate: faults.loc[faults["fate"] == fate, "fault"].value_counts() for fate in (SET_ASIDE, REPAIRED, MARKED)}
    return [_of_fate(fate, counts) for fate, counts in told.items() if len(counts)] or ["No fault was found."]


def _of_fate(fate: str, counts: pd.Series) -> str:
    ordered = sorted(counts.items(), key=lambda fault: (-fault[1], fault[0]))
    named = ", ".join(f"{fault.replace('_', ' ')} {number}" for fault, number in ordered)
    return f"{fate[:1].upper()}{fate[1:]}: {named}."


def rows_used(study: Study) -> str:
    """The same in brief, for the command line."""
    return f"{study.account['rows_in'].sum():,} rows read. {_with_a_fault(study)}"


def _with_a_fault(study: Study) -> str:
    faults = study.faults.drop_duplicates(["table", "source_row", "fate"])
    if faults.empty:
        return "No fault was found."
    kinds = [f"{(faults['fate'] == fate).sum()} {fate}" for fate in (SET_ASIDE, REPAIRED, MARKED)]
    return f"Rows with a fault: {', '.join(kinds)}; each is named in faults.csv."
