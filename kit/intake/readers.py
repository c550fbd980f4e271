"""Reading an export: a folder of CSV or Parquet files, or one workbook with a sheet a table.

What comes out is text, only of columns that are mapped, with the row of the original file beside it.
"""

from __future__ import annotations

import hashlib
import zipfile
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import pandas as pd

from kit.faults import ExportError
from kit.intake.mapping import ColumnMap, Place, own_names
from kit.vocabulary import TABLES, Table

WORKBOOKS = (".xlsx", ".xlsm")
FILES = (".csv", ".parquet")


@dataclass(frozen=True)
class RawTable:
    """A table as it stands in the export. `rows` holds text under our column names, and source_row."""

    table: str
    file: str
    sha256: str
    places: dict[str, Place]
    rows: pd.DataFrame


def read_export(export: str | Path, mapping: ColumnMap | None = None) -> dict[str, RawTable]:
    """Every mapped table of an export, as text.

    Without a map the export must carry our own names: `wounds.csv` (or .parquet) and so on in a folder, or a sheet
    called `wounds` in a workbook. Tables that may be absent may be absent; wounds and measurements must be there.

    Raises ExportError, in one line, for a missing export, table or column, a table without rows, a header that
    stands twice, or a file that cannot be read.
    """
    export = Path(export)
    if not export.exists():
        raise ExportError(f"{export.name}: there is no such export; give a folder of CSV files or a workbook")
    if export.is_file() and export.suffix.lower() not in WORKBOOKS:
        raise ExportError(f"{export.name}: not a workbook (.xlsx); put single CSV files into a folder and name that")
    tables = [_read_table(export, TABLES[name], mapping) for name in TABLES]
    return {raw.table: raw for raw in tables if raw is not None}


def _read_table(export: Path, table: Table, mapping: ColumnMap | None) -> RawTable | None:
    mapped = mapping.get(table.name) if mapping is not None else None
    if mapping is not None and mapped is None:
        return None
    if export.is_file():
        label, frame = _from_workbook(export, (mapped and mapped.sheet) or table.name)
        source = export
    else:
        source = _file_of(export, table, mapped.file if mapped else None)
        label, frame = (source.name, _from_file(source)) if source else ("", None)
    if frame is None:
        if table.required or mapped is not None:
            raise ExportError(
                f"{export.name}: {table.name} is needed and not there; expected {_expected(export, table)}"
            )
        return None
    places = dict(mapped.columns) if mapped else own_names(table, list(frame.columns))
    rows = _named(label, table, frame, places)
    return RawTable(table.name, label, _sha256(source), places, rows)


def _expected(export: Path, table: Table) -> str:
    return f"a sheet called {table.name}" if export.is_file() else f"a file called {table.name}.csv"


def _file_of(export: Path, table: Table, named: str | None) -> Path | None:
    names = [named] if named else [table.name + ending for ending in FILES]
    found = [export / name for name in names if (export / name).is_file()]
    if len(found) > 1:
        raise ExportError(f"{export.name}: {table.name} stands there twice, as CSV and as Parquet; keep one")
    if found and found[0].resolve().parent != export.resolve():
        raise ExportError(f"{export.name}: {table.name}: its file must lie in the export's own folder")
    return found[0] if found else None


def _from_file(file: Path) -> pd.DataFrame:
    try:
        if file.suffix.lower() == ".parquet":
            return pd.read_parquet(file)
        # header=None keeps a header that stands twice from being renamed behind our back
        frame = pd.read_csv(
            file, dtype=str, keep_default_na=False, header=None, encoding="utf-8-sig", skip_blank_lines=False
        )
    except pd.errors.EmptyDataError:
        raise ExportError(f"{file.name}: the file is empty") from None
    except UnicodeDecodeError:
        raise ExportError(f"{file.name}: not UTF-8; save it as 'CSV UTF-8' and try again") from None
    except pd.errors.ParserError:
        raise ExportError(f"{file.name}: a row has more cells than the header; look for stray commas") from None
    except (OSError, ValueError):
        raise ExportError(f"{file.name}: the file cannot be read; export it again") from None
    return _under_header(frame)


def _from_workbook(workbook: Path, sheet: str) -> tuple[str, pd.DataFrame | None]:
    try:
        with pd.ExcelFile(workbook, engine="openpyxl") as book:
            if sheet not in book.sheet_names:
                return "", None
            frame = book.parse(sheet, header=None, dtype=object, keep_default_na=False, na_values=[""])
    except (OSError, ValueError, KeyError, zipfile.BadZipFile):
        raise ExportError(f"{workbook.name}: not a workbook that can be read; save it as .xlsx again") from None
    return f"{workbook.name}, sheet {sheet}", _under_header(frame)


def _under_header(frame: pd.DataFrame) -> pd.DataFrame:
    if frame.empty:
        return frame
    body = frame.iloc[1:].copy()
    body.columns = [str(header).strip() for header in frame.iloc[0]]
    return body


def _named(label: str, table: Table, frame: pd.DataFrame, places: dict[str, Place]) -> pd.DataFrame:
    headers = list(frame.columns)
    for column in table.columns:
        if column.required and column.name not in places:
            raise ExportError(f"{label}: column {column.name} is needed and not there; add it or map it")
    for name, place in places.items():
        if headers.count(place.column) == 0:
            raise ExportError(f"{label}: the map names a column for {name} that is not there; check its spelling")
        if headers.count(place.column) > 1:
            raise ExportError(f"{label}: the column for {name} stands there twice; keep one")
    rows = pd.DataFrame({name: _text(frame[place.column]) for name, place in places.items()})
    rows = rows.assign(source_row=range(2, len(rows) + 2))
    filled = (rows.drop(columns="source_row") != "").any(axis=1)
    if table.required and not filled.any():
        raise ExportError(f"{label}: there are no rows; export the period again")
    return rows[filled].reset_index(drop=True)


def _text(cells: pd.Series) -> pd.Series:
    if pd.api.types.is_datetime64_any_dtype(cells.dtype):
        cells = cells.dt.strftime("%Y-%m-%d")
    words = {cell: _one_text(cell) for cell in cells.drop_duplicates()}
    return cells.map(words).fillna("").astype(object).reset_index(drop=True)


def _one_text(cell: object) -> str:
    if isinstance(cell, datetime | date):
        return cell.strftime("%Y-%m-%d")
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if pd.isna(cell) else str(cell).strip()


def _sha256(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
