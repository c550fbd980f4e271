"""The published studies, a row an arm, and what reviews made of them: read as typed, refused where they cannot be."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pandas as pd

from kit.delivery.published import PUBLISHED, lines_of
from kit.faults import ExportError
from kit.vocabulary import KINDS

TREATED, CONTROL = ARMS = "treated", "control"
STIMULATION, ULTRASOUND, BOTH = "stimulation", "ultrasound", "both"
CLOSING, SIZE = POOLS = "closing", "size"
SD, FROM_RANGE, ERROR = SPREADS = "sd", "sd from interval", "se printed as sd"
SEEN = ("verified", "secondary", "partly", "memory", "not found")
SEVERAL = "several"
_TEXTS = ("trial", "arm", "reading", "journal", "doi", "group", "agent", "stages", "setting", "doubt", "source")
_WHOLE = ("year", "people", "wounds", "closed", "closed_of", "reduction_of", "studies")
_BELOW_ZERO = ("reduction", "percent_a_week", "estimate", "low", "high")  # a wound can grow
_WORDS = {
    "modality": ("", STIMULATION, ULTRASOUND, BOTH),
    "kind": (*KINDS, SEVERAL),
    "spread_is": ("", *SPREADS),
    "counted": ("", "people", "wounds"),
    "pools": ("", *POOLS, " ".join(POOLS)),
    "seen": SEEN,
}
TRIALS = (
    "trial", "arm", "reading", "year", "journal", "doi", "group", "modality", "agent", "kind", "stages", "setting",
    "people", "wounds", "minutes", "per_week", "for_weeks", "closed", "closed_of", "closed_weeks", "reduction",
    "reduction_spread", "spread_is", "reduction_of", "reduction_weeks", "percent_a_week", "counted", "pools", "doubt",
    "source", "seen",
)  # fmt: skip
REVIEWS = (
    "review", "year", "journal", "doi", "modality", "kind", "measure", "estimate", "low", "high", "unit", "studies",
    "people", "wounds", "says", "seen",
)  # fmt: skip
_ALL_TEXTS = {*_TEXTS, *_WORDS, "review", "measure", "unit", "says"}


def trials(path: Path = PUBLISHED / "trials.csv") -> pd.DataFrame:
    """Published studies of stimulation and ultrasound: a row a study and arm, and one more for each other reading.

    Columns out: those of `TRIALS`, explained with their units in data/published/README.md. Numbers that were not seen
    are missing, words that were not seen are blank. `reading` is blank in the row that counts; a source that says
    otherwise, or another day, stands in a row of its own. `pools` names the poolings that a row has the numbers for.

    Raises ExportError, in one line, where the file is missing or cannot be what it should: the row and column that is
    not, never what stands there.
    """
    rows = _rows(path, TRIALS)
    _refuse(path.name, rows)
    for number, row in enumerate(rows, start=2):
        _refuse_unfounded(f"{path.name}: row {number}", row)
    _refuse_unmatched(path.name, rows)
    return _typed(rows, TRIALS)


def reviews(path: Path = PUBLISHED / "reviews.csv") -> pd.DataFrame:
    """What reviews found, a row a review and result; `says` holds what would mislead in it.

    Columns out: those of `REVIEWS`, explained in data/published/README.md. A single study stands here too where its
    result has no column in trials.csv (`studies` is 1).
    Raises ExportError as `trials` does.
    """
    rows = _rows(path, REVIEWS)
    _refuse(path.name, rows)
    for number, row in enumerate(rows, start=2):
        _refuse_blank(f"{path.name}: row {number}", row, ("review", "measure"))
    return _typed(rows, REVIEWS)


def _rows(path: Path, columns: tuple[str, ...]) -> list[dict[str, str]]:
    cells = [[cell.strip() for cell in row] for row in csv.reader(lines_of(path)) if row]
    if len(cells) < 2 or tuple(cells[0]) != columns:
        raise ExportError(f"{path.name}: the columns are not those of its README, or no row follows")
    uneven = [number for number, row in enumerate(cells[1:], start=2) if len(row) != len(columns)]
    if uneven:
        raise ExportError(f"{path.name}: row {uneven[0]}: expected {len(columns)} cells; quote cells that hold a comma")
    return [dict(zip(columns, row, strict=True)) for row in cells[1:]]


def _refuse(name: str, rows: list[dict[str, str]]) -> None:
    for number, row in enumerate(rows, start=2):
        for column, cell in row.items():
            if column in _WORDS and cell not in _WORDS[column]:
                allowed = ", ".join(word for word in _WORDS[column] if word)
                raise ExportError(f"{name}: row {number}, {column}: write one of {allowed}")
            if cell and column not in _ALL_TEXTS and not _number(column, cell):
                raise ExportError(f"{name}: row {number}, {column}: write {_kind(column)}, or nothing")


def _number(column: str, cell: str) -> bool:
    try:
        value = float(cell)
    except ValueError:
        return False
    if not math.isfinite(value) or (value < 0 and column not in _BELOW_ZERO):
        return False
    return value.is_integer() or column not in _WHOLE


def _kind(column: str) -> str:
    return "a whole number" if column in _WHOLE else "a number"


def _refuse_blank(where: str, row: dict[str, str], needed: tuple[str, ...], why: str = "") -> None:
    empty = [column for column in needed if not row[column]]
    if empty:
        raise ExportError(f"{where}, {empty[0]}: must not be empty{why}")


def _refuse_unfounded(where: str, row: dict[str, str]) -> None:
    """A row needs its names and source, counts that can be, and the numbers for the poolings that it names."""
    _refuse_blank(where, row, ("trial", "arm", "group", "source", "modality"))
    if row["arm"].partition(",")[0] not in ARMS:
        raise ExportError(f"{where}, arm: begin with {TREATED} or {CONTROL}; a comma and more words may follow")
    if row["closed"] and float(row["closed"]) > float(row["closed_of"] or 0):
        raise ExportError(f"{where}, closed: more closed than were counted (closed_of)")
    if CLOSING in row["pools"]:
        _refuse_blank(where, row, ("closed", "closed_of"), f" where pools says {CLOSING}")
    if SIZE in row["pools"]:
        needed = ("reduction", "reduction_spread", "spread_is", "reduction_of")
        _refuse_blank(where, row, needed, f" where pools says {SIZE}")
        if not float(row["reduction_spread"]) or float(row["reduction_of"]) < 2:
            raise ExportError(f"{where}, pools: {SIZE} needs a spread above 0 and two or more counted (reduction_of)")


def _refuse_unmatched(name: str, rows: list[dict[str, str]]) -> None:
    named = [(row["trial"], row["arm"], row["reading"]) for row in rows]
    treated = {trial for trial, arm, _ in named if arm.startswith(TREATED)}
    for number, (trial, arm, reading) in enumerate(named, start=2):
        if named.index((trial, arm, reading)) != number - 2:
            raise ExportError(f"{name}: row {number}: the same trial, arm and reading stand in an earlier row")
        if trial not in treated:
            raise ExportError(f"{name}: row {number}: a control without its treated arm; add the arm or correct trial")
        if reading and (trial, arm, "") not in named:
            raise ExportError(f"{name}: row {number}: another reading of an arm that has no row with a blank reading")
    for number, row in enumerate(rows, start=2):
        for pool in row["pools"].split():
            if not row["reading"] and _pooled_arms(rows, row["trial"], pool) != [CONTROL, TREATED]:
                told = f"{pool} needs one treated arm and one control of a trial, no more"
                raise ExportError(f"{name}: row {number}, pools: {told}")


def _pooled_arms(rows: list[dict[str, str]], trial: str, pool: str) -> list[str]:
    own = (row for row in rows if row["trial"] == trial and not row["reading"] and pool in row["pools"])
    return sorted(row["arm"].partition(",")[0] for row in own)


def _typed(rows: list[dict[str, str]], columns: tuple[str, ...]) -> pd.DataFrame:
    table = pd.DataFrame(rows, columns=list(columns), dtype=object)
    for column in columns:
        if column not in _ALL_TEXTS:
            numbers = pd.to_numeric(table[column].replace("", None)).astype("float64")
            table[column] = numbers.astype("Int64") if column in _WHOLE else numbers
    return table
