"""One file or sheet of an export: its headers first, then only the columns that were asked for, as text."""

from __future__ import annotations

import csv
import re
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path
from xml.etree.ElementTree import ParseError

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from kit.faults import ExportError

Read = Callable[[list[int]], list[pd.Series]]


@dataclass(frozen=True)
class Sheet:
    """A table where it lies: what a message calls it, its headers, and how to read columns by their position."""

    label: str
    headers: list[str]
    read: Read


def csv_sheet(file: Path) -> Sheet:
    """A CSV file in UTF-8, its cells separated by commas; one record is one row, also where a cell holds line breaks.

    Raises ExportError where it is empty, has another encoding or separator, or a row has more cells than the header.
    """
    with _readable(file.name):
        headers = _checked_headers(file)
    return Sheet(file.name, headers, partial(_csv_columns, file, len(headers)))


def _checked_headers(file: Path) -> list[str]:
    with file.open(newline="", encoding="utf-8-sig") as lines:
        rows = csv.reader(lines)
        headers = [header.strip() for header in next(rows, [])]
        if not any(headers):
            raise _empty(file.name)
        if len(headers) == 1 and re.search("[;\t|]", headers[0]):
            raise ExportError(f"{file.name}: its cells are not separated by commas; save it as 'CSV UTF-8' with commas")
        _refuse_long_rows(file.name, len(headers), rows)
    return headers


def _empty(label: str) -> ExportError:
    return ExportError(f"{label}: it is empty, or its first row is; the first row must hold the headers")


def _refuse_long_rows(file: str, width: int, rows: Iterable[list[str]]) -> None:
    """A stray comma moves all later cells: a long row passes only where every row ends in the same empty cells."""
    widths, spilt = np.array([(len(row), any(row[width:])) for row in rows], dtype=int).reshape(-1, 2).T
    even = len(np.unique(widths[widths > 0])) == 1
    long = (widths > width) & ~(even & (spilt == 0))
    if long.any():
        raise ExportError(
            f"{file} row {long.argmax() + 2}: has more cells than the header; look for a stray comma, or put the cell "
            "that holds it in quotation marks"
        )


def _csv_columns(file: Path, width: int, positions: list[int]) -> list[pd.Series]:
    with _readable(file.name):
        # header=None keeps a header that stands twice from being renamed behind our back
        frame = pd.read_csv(
            file, dtype=str, keep_default_na=False, encoding="utf-8-sig", skip_blank_lines=False,
            header=None, names=range(width), usecols=positions, index_col=False,
        )  # fmt: skip
    return [_stripped(frame[position].iloc[1:]) for position in positions]


def _stripped(cells: pd.Series) -> pd.Series:
    """Cells without the blanks around them; each distinct text is stripped once."""
    codes, words = pd.factorize(cells.fillna(""))
    return pd.Series(np.array([str(word).strip() for word in words], dtype=object)[codes], dtype=object)


def parquet_sheet(file: Path) -> Sheet:
    """A Parquet file. Row numbers count as if a header stood in row 1, as they would in the same table as CSV."""
    with _readable(file.name):
        headers = [name.strip() for name in pq.read_schema(file).names]
    return Sheet(file.name, headers, partial(_parquet_columns, file))


def _parquet_columns(file: Path, positions: list[int]) -> list[pd.Series]:
    with _readable(file.name):
        names = pq.read_schema(file).names
        table = pq.read_table(file, columns=[names[position] for position in positions])
        texts = [table.column(names[position]).cast(pa.large_string()) for position in positions]
    return [_stripped(text.to_pandas().astype(object)) for text in texts]


@contextmanager
def open_workbook(workbook: Path) -> Iterator[Callable[[str], Sheet | None]]:
    """A workbook as a function that finds a sheet by its name, or None; closed at the end of the block."""
    with warnings.catch_warnings():
        # openpyxl warns of colours and drop-down lists that it drops; none of them is data
        warnings.filterwarnings("ignore", module="openpyxl")
        with _readable(workbook.name):
            book = openpyxl.load_workbook(workbook, read_only=True, data_only=True)
        with closing(book):
            yield lambda name: _workbook_sheet(workbook.name, book, name)


def _workbook_sheet(file: str, book: openpyxl.Workbook, name: str) -> Sheet | None:
    if name not in book.sheetnames:
        return None
    label = f"{file}, sheet {name}"
    with _readable(file):
        book[name].reset_dimensions()  # what a workbook says of its own size is not always true
        header, *rows = [*book[name].iter_rows(values_only=True)] or [()]
    headers = [_cell_text(cell) for cell in header]
    if not any(headers):
        raise _empty(label)
    return Sheet(label, headers, lambda positions: [_workbook_column(rows, position) for position in positions])


def _workbook_column(rows: list[tuple], position: int) -> pd.Series:
    return pd.Series([_cell_text(row[position]) if position < len(row) else "" for row in rows], dtype=object)


def _cell_text(cell: object) -> str:
    """A cell as it would stand in a CSV file: a date without its time, a whole number without a point."""
    if isinstance(cell, date):
        return cell.isoformat()[:10]
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell).strip()


@contextmanager
def _readable(file: str) -> Iterator[None]:
    """Whatever the libraries say of a broken file becomes one line that quotes nothing of it."""
    try:
        yield
    except UnicodeDecodeError:
        raise ExportError(f"{file}: not UTF-8; save it as 'CSV UTF-8' and try again") from None
    except (csv.Error, pd.errors.ParserError) as broken:
        begins = re.search(r"starting at row (\d+)", str(broken))
        row = f" row {int(begins[1]) + 1}" if begins else ""
        raise ExportError(
            f"{file}{row}: a quotation mark is opened and never closed; close it or take it out"
        ) from None
    except (OSError, ValueError, KeyError, TypeError, pa.ArrowException, ParseError, zipfile.BadZipFile):
        raise ExportError(f"{file}: the file cannot be read; export it again, or open it and save it anew") from None
