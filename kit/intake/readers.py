"""Reading an export: a folder of text or Parquet files, a single file, or a workbook.

What comes out is text, only of columns that are mapped, with the place of every row in the original beside it.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd
from openpyxl.utils import get_column_letter

from kit.faults import ExportError
from kit.intake.files import Sheet
from kit.intake.finding import Find, opened, refuse_no_export
from kit.intake.layouts import days_in, refuse_jumps, rows_of
from kit.intake.mapping import ColumnMap, Place, TableMap, own_names
from kit.intake.naming import said
from kit.intake.texts import Hits
from kit.vocabulary import TABLES, Table

NAMED = "name of the sheet"


@dataclass(frozen=True)
class RawTable:
    """A table as it stands in the export. `rows` holds text under our column names (categories of it where a text file
    was read), source_row, file and row.

    `file` and `row` say where a row stands in the original; source_row numbers it, and is its row there where the table
    comes from one file or sheet. A row in which every mapped column is empty is no row: nothing of it would be read.
    `letters`: where each of our columns stands in the first of them.
    `sources`: what a message calls each file or sheet, its SHA-256 and how many rows came from it.
    """

    table: str
    places: dict[str, Place]
    rows: pd.DataFrame
    sources: pd.DataFrame
    decimal: str = "point"
    letters: dict[str, str] = field(default_factory=dict)

    def called(self, name: str) -> str:
        """What a message calls the column that holds one of ours: its header, or the letter of its place."""
        place = f"column {self.letters[name]}" if name in self.letters else f"the column of {name}"
        return said(f"column {self.places[name].says}", place)

    def where(self, number: int) -> str:
        """File and row of a row of `rows`, for a message."""
        return f"{self.rows['file'].iloc[number]} row {self.rows['row'].iloc[number]}"

    @property
    def file(self) -> str:
        """What a message calls where the table lies: its file or sheet, the first of several."""
        return self.sources["file"].iloc[0]


def read_export(export: str | Path, mapping: ColumnMap | None = None) -> dict[str, RawTable]:
    """Every mapped table of an export, as text.

    Without a map the export must carry our own names, in capitals or not: `wounds.csv` (or .parquet) and so on in a
    folder, or a sheet called `wounds` in a workbook. Tables that may be absent may be absent; wounds and measurements
    must be there.

    Raises ExportError, in one line, for a missing export, table or column, a table without rows, a header that
    stands twice, or a file that cannot be read.
    """
    tables, stopped = tables_of(export, mapping)
    if stopped:
        raise next(iter(stopped.values()))
    return tables


def tables_of(
    export: str | Path, mapping: ColumnMap | None = None
) -> tuple[dict[str, RawTable], dict[str, ExportError]]:
    """The tables that can be read, and what stops each of the others. Raises where the export itself is none."""
    export = Path(export).absolute()  # so that "." has a name to be told by
    refuse_no_export(export, mapping is not None)
    tables: dict[str, RawTable] = {}
    stopped: dict[str, ExportError] = {}
    mapped = {name: None for name in TABLES} if mapping is None else mapping
    with opened(export) as find:
        for name in (name for name in TABLES if name in mapped):
            try:
                raw = _read_table(find, TABLES[name], mapped[name], _shared(mapped))
            except ExportError as stop:
                stopped[name] = stop
                continue
            if raw is not None:
                tables[name] = raw
    return tables, stopped


def _shared(mapped: ColumnMap) -> dict[str, frozenset[str]]:
    """For each table whose sheet others read too: the headers that only it reads there."""
    told = {}
    for name, table in mapped.items():
        others = [other for key, other in mapped.items() if key != name and table and _same_sheet(table, other)]
        if others:
            theirs = {header for other in others for place in other.columns.values() for header in place.headers}
            own = {header for place in table.columns.values() for header in place.headers}
            told[name] = frozenset(own - theirs)
    return told


def _same_sheet(one: TableMap, other: TableMap) -> bool:
    return (one.file, one.sheet) == (other.file, other.sheet)


def _hits(table: Table, mapped: TableMap | None) -> Hits:
    """What counts how many of a row's cells are headers that are sought for a table."""
    if mapped is None:
        names = frozenset(table.names)
        return lambda cells: len({cell.lower() for cell in cells} & names)
    wanted = {header for place in mapped.columns.values() for header in place.headers}
    return lambda cells: len(wanted.intersection(cells))


def _read_table(
    find: Find, table: Table, mapped: TableMap | None, shared: dict[str, frozenset[str]]
) -> RawTable | None:
    found = find(table, mapped, _hits(table, mapped))
    if not found:
        return None
    parts, sources = [], []
    days = _days_of(found, mapped)
    for (file, sheet), day in zip(found, days, strict=True):
        places = dict(mapped.columns) if mapped else _own(table, sheet)
        part = rows_of(sheet, table, mapped, places, shared.get(table.name), day)
        parts.append(part)
        sources.append((sheet.label, _sha256(file), len(part)))
    rows = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]
    if table.required and rows.empty:
        why = "there are no rows; export the period again"
        if mapped and mapped.only:
            why = "no row holds a word that the map gives under only; check its column and words"
        raise ExportError(f"{found[0][1].label}: {why}")
    if mapped and mapped.across:
        places = {
            "day": Place(column="header"),
            mapped.across.holds: Place(column="below it", unit=mapped.across.unit),
        } | places
    letters = _letters(found[0][1], places)
    places = {name: Place(column=NAMED) if place.sheet_name else place for name, place in places.items()}
    running = len(found) > 1 or bool(mapped and mapped.across)
    numbers = pd.RangeIndex(2, len(rows) + 2) if running else rows["row"]
    return RawTable(
        table=table.name,
        places=places,
        rows=pd.DataFrame(
            {name: rows[name] for name in places} | {"source_row": numbers, "file": rows["file"], "row": rows["row"]},
            index=rows.index,
            copy=False,
        ),
        sources=pd.DataFrame(sources, columns=["file", "sha256", "rows_in"]),
        decimal=mapped.decimal if mapped else "point",
        letters=letters,
    )


def _sha256(file: Path) -> str:
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()


def _letters(sheet: Sheet, places: dict[str, Place]) -> dict[str, str]:
    """The letters of the columns of a sheet, the first where there are several, as a spreadsheet calls them."""
    return {
        name: " + ".join(get_column_letter(sheet.headers.index(header) + 1) for header in place.headers)
        for name, place in places.items()
        if place.headers and set(place.headers) <= set(sheet.headers)
    }


def _own(table: Table, sheet: Sheet) -> dict[str, Place]:
    """The places of our columns where the export carries our names; two that differ in capitals could both be meant."""
    folded = [header.lower() for header in sheet.headers]
    for name in table.names:
        if folded.count(name) > 1:
            raise ExportError(f"{sheet.label}: the column for {name} stands there twice; keep one")
    return own_names(table, sheet.headers)


def _days_of(found: list[tuple[Path, Sheet]], mapped: TableMap | None) -> list[str | None]:
    """The day that the name of each sheet holds, where the map says that it does."""
    named = [place for place in (mapped.columns.values() if mapped else ()) if place.sheet_name]
    if not named:
        return [None] * len(found)
    days = days_in([sheet.name for _, sheet in found], named[0].format, named[0].year)
    for (_, sheet), day in zip(found, days, strict=True):
        if day is None:
            raise ExportError(f"{sheet.label}: no day stands in this name in the way the map says")
    refuse_jumps(days, named[0].format, [sheet.label for _, sheet in found])
    return days
