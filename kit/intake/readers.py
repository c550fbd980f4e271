"""Reading an export: a folder of CSV or Parquet files, or one workbook with a sheet a table.

What comes out is text, only of columns that are mapped, with the row of the original file beside it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit.faults import ExportError
from kit.intake.files import Sheet, csv_sheet, open_workbook, parquet_sheet
from kit.intake.mapping import ColumnMap, Place, TableMap, own_names
from kit.vocabulary import TABLES, Table

WORKBOOKS = (".xlsx", ".xlsm")
FILES = {".csv": csv_sheet, ".parquet": parquet_sheet}
Find = Callable[[Table, TableMap | None], tuple[Path, Sheet] | None]


@dataclass(frozen=True)
class RawTable:
    """A table as it stands in the export. `rows` holds text under our column names, and source_row.

    A row in which every mapped column is empty is no row: nothing of it would be read.
    """

    table: str
    file: str
    sha256: str
    places: dict[str, Place]
    rows: pd.DataFrame


def read_export(export: str | Path, mapping: ColumnMap | None = None) -> dict[str, RawTable]:
    """Every mapped table of an export, as text.

    Without a map the export must carry our own names, in capitals or not: `wounds.csv` (or .parquet) and so on in a
    folder, or a sheet called `wounds` in a workbook. Tables that may be absent may be absent; wounds and measurements
    must be there.

    Raises ExportError, in one line, for a missing export, table or column, a table without rows, a header that
    stands twice, or a file that cannot be read.
    """
    export = Path(export).absolute()  # so that "." has a name to be told by
    if not export.exists():
        raise ExportError(f"{export.name}: there is no such export; give a folder of CSV files or a workbook")
    if export.is_file() and export.suffix.lower() not in WORKBOOKS:
        raise ExportError(f"{export.name}: not a workbook (.xlsx); put single CSV files into a folder and name that")
    with _in_workbook(export) if export.is_file() else _in_folder(export) as find:
        mapped = {name: None for name in TABLES} if mapping is None else mapping
        tables = [_read_table(find, TABLES[name], mapped[name]) for name in TABLES if name in mapped]
    return {raw.table: raw for raw in tables if raw is not None}


@contextmanager
def _in_workbook(workbook: Path) -> Iterator[Find]:
    def find(table: Table, mapped: TableMap | None) -> tuple[Path, Sheet] | None:
        name = mapped.sheet if mapped and mapped.sheet else table.name
        sheet = sheet_called(name)
        if sheet is None and (table.required or mapped):
            raise _not_there(
                workbook, table, f"a sheet called {name}", bool(mapped and mapped.file and not mapped.sheet)
            )
        return None if sheet is None else (workbook, sheet)

    with open_workbook(workbook) as sheet_called:
        yield find


@contextmanager
def _in_folder(folder: Path) -> Iterator[Find]:
    def find(table: Table, mapped: TableMap | None) -> tuple[Path, Sheet] | None:
        named = mapped.file if mapped else None
        files = [file for name in _names(table, named) if (file := folder / name).is_file()]
        if len(files) > 1:
            raise ExportError(f"{folder.name}: {table.name} stands there twice, as CSV and as Parquet; keep one")
        if not files and (table.required or mapped):
            _refuse_folder_around_workbook(folder)
            expected = f"a file called {_names(table, named)[0]}"
            raise _not_there(folder, table, expected, bool(mapped and mapped.sheet and not named))
        return (files[0], _file_sheet(files[0])) if files else None

    yield find


def _names(table: Table, named: str | None) -> list[str]:
    return [named] if named else [table.name + ending for ending in FILES]


def _not_there(export: Path, table: Table, expected: str, misnamed: bool) -> ExportError:
    """`misnamed` where the map gives a file for a workbook or a sheet for a folder."""
    why = "needed" if table.required else "mapped"
    cure = "; in a workbook write sheet = ..., in a folder file = ..." if misnamed else ""
    return ExportError(f"{export.name}: {table.name} is {why} and not there; expected {expected}{cure}")


def _refuse_folder_around_workbook(folder: Path) -> None:
    endings = [file.suffix.lower() for file in folder.iterdir() if not file.name.startswith("~$")]
    if not set(endings) & set(FILES) and sum(ending in WORKBOOKS for ending in endings) == 1:
        raise ExportError(f"{folder.name}: this folder holds a workbook; name the workbook itself as the export")


def _file_sheet(file: Path) -> Sheet:
    if file.suffix.lower() in WORKBOOKS:
        raise ExportError(f"{file.name}: a workbook must hold all tables; name it as the export, not its folder")
    return FILES.get(file.suffix.lower(), csv_sheet)(file)


def _read_table(find: Find, table: Table, mapped: TableMap | None) -> RawTable | None:
    found = find(table, mapped)
    if found is None:
        return None
    file, sheet = found
    places = dict(mapped.columns) if mapped else own_names(table, sheet.headers)
    _refuse_columns(sheet, table, places)
    rows = _filled_rows(sheet, places)
    if table.required and rows.empty:
        raise ExportError(f"{sheet.label}: there are no rows; export the period again")
    return RawTable(table.name, sheet.label, hashlib.sha256(file.read_bytes()).hexdigest(), places, rows)


def _refuse_columns(sheet: Sheet, table: Table, places: dict[str, Place]) -> None:
    for column in table.columns:
        if column.required and column.name not in places:
            raise ExportError(f"{sheet.label}: column {column.name} is needed and not there; add it or map it")
    for name, place in places.items():
        if place.column not in sheet.headers:
            raise ExportError(
                f"{sheet.label}: the map names a column for {name} that is not there; its header is expected in row 1, "
                f"of {len([header for header in sheet.headers if header])} columns, exactly as written in the map "
                "(capitals count)"
            )
        if sheet.headers.count(place.column) > 1:
            raise ExportError(f"{sheet.label}: the column for {name} stands there twice; keep one")


def _filled_rows(sheet: Sheet, places: dict[str, Place]) -> pd.DataFrame:
    headers = list(dict.fromkeys(place.column for place in places.values()))
    cells = dict(zip(headers, sheet.read([sheet.headers.index(header) for header in headers]), strict=True))
    rows = pd.DataFrame({name: cells[place.column] for name, place in places.items()})
    rows = rows.assign(source_row=range(2, len(rows) + 2))
    return rows[(rows[list(places)] != "").any(axis=1)].reset_index(drop=True)
