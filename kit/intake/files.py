"""One file or sheet of an export: its headers first, then only the columns that were asked for, as text."""

from __future__ import annotations

import csv
import re
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from kit.faults import ExportError
from kit.intake.naming import file_said
from kit.intake.texts import HEAD, Hits, Layout, header_row, layout_of
from kit.intake.workbooks import Workbook

# What csv, zip, XML and Parquet readers raise of a file that is damaged or none of theirs; a syntax error is of XML.
BROKEN = (
    OSError, EOFError, ValueError, LookupError, TypeError, AttributeError, RuntimeError, SyntaxError, OverflowError,
    pa.ArrowException, zipfile.BadZipFile, zlib.error,
)  # fmt: skip
Read = Callable[[list[int]], list[pd.Series]]


@dataclass(frozen=True)
class Sheet:
    """A table where it lies: what a message calls it, its own name, the row of its headers, and how to read columns."""

    label: str
    name: str
    row: int
    headers: list[str]
    read: Read


def text_sheet(file: Path, hits: Hits) -> Sheet:
    """A text file; one record is one row, also where a cell holds line breaks.

    Raises ExportError where it is empty, or a row has more cells than the header.
    """
    with readable(file_said(file)):
        layout = layout_of(file, hits)
        if not any(layout.headers):
            raise _empty(file_said(file))
        _refuse_long_rows(file, layout)
    return Sheet(file_said(file), file.stem, layout.row, layout.headers, partial(_text_columns, file, layout))


def _empty(label: str) -> ExportError:
    return ExportError(f"{label}: it is empty; one of its first rows must hold the headers")


def _refuse_long_rows(file: Path, layout: Layout) -> None:
    """A stray separator moves all later cells: a long row passes only where every row ends in the same empty cells."""
    width = len(layout.headers)
    with file.open(newline="", encoding=layout.encoding) as lines:
        rows = csv.reader(lines, delimiter=layout.separator)
        for _ in range(layout.row):
            next(rows)
        widths, spilt = _widths(rows, width)
    even = len(np.unique(widths[widths > 0])) == 1
    long = (widths > width) & ~(even & (spilt == 0))
    if long.any():
        raise ExportError(
            f"{file_said(file)} row {long.argmax() + layout.row + 1}: has more cells than the header; look for a stray "
            "separator, or put the cell that holds it in quotation marks"
        )


def _widths(rows: Iterable[list[str]], width: int) -> tuple[np.ndarray, np.ndarray]:
    """How many cells each row has, and whether any beyond the header's is filled."""
    found = np.array([(len(row), any(row[width:])) for row in rows], dtype=int).reshape(-1, 2)
    return found[:, 0], found[:, 1]


def _text_columns(file: Path, layout: Layout, positions: list[int]) -> list[pd.Series]:
    with readable(file_said(file), layout.row - 1), file.open(newline="", encoding=layout.encoding) as lines:
        # pandas and csv differ over quotation marks in lines that are skipped, so none is left to be skipped
        for _ in range(layout.lines):
            next(lines)
        # low_memory=False: a piece of a long file that holds blank lines alone is taken for one without columns
        # header=None keeps a header that stands twice from being renamed behind our back
        frame = pd.read_csv(
            lines, dtype=str, keep_default_na=False, sep=layout.separator, skip_blank_lines=False, header=None,
            names=range(len(layout.headers)), usecols=sorted(set(positions)), index_col=False, low_memory=False,
        )  # fmt: skip
    return [_stripped(frame[position].iloc[1:]) for position in positions]


def _stripped(cells: pd.Series) -> pd.Series:
    """Cells without the blanks around them; each distinct text is stripped once."""
    codes, words = pd.factorize(cells.fillna(""))
    return pd.Series(np.array([str(word).strip() for word in words], dtype=object)[codes], dtype=object)


def parquet_sheet(file: Path, hits: Hits) -> Sheet:
    """A Parquet file. Row numbers count as if a header stood in row 1, as they would in the same table as CSV."""
    with readable(file_said(file)):
        headers = [name.strip() for name in pq.read_schema(file).names]
    return Sheet(file_said(file), file.stem, 1, headers, partial(_parquet_columns, file))


def _parquet_columns(file: Path, positions: list[int]) -> list[pd.Series]:
    with readable(file_said(file)):
        names = pq.read_schema(file).names
        table = pq.read_table(file, columns=[names[position] for position in positions])
        texts = [table.column(names[position]).cast(pa.large_string()) for position in positions]
    return [_stripped(text.to_pandas().astype(object)) for text in texts]


def workbook_sheet(book: Workbook, name: str, hits: Hits) -> Sheet:
    """A sheet of a workbook. Raises ExportError where it is empty or a formula that is read was never computed."""
    label = book.label(name)
    with readable(book.file):
        cells = book.cells(name)
    place, headers = header_row(cells.rows[:HEAD], hits)
    if not any(headers):
        raise _empty(label)

    def columns(positions: list[int]) -> list[pd.Series]:
        for row, position in sorted(cells.uncomputed):
            if row > place and position in positions:
                raise ExportError(
                    f"{label} row {row + 1}: a formula there has no value yet; open the workbook in a spreadsheet "
                    "program, save it, and export again"
                )
        below = cells.rows[place + 1 :]
        return [
            pd.Series([row[position] if position < len(row) else "" for row in below], dtype=object)
            for position in positions
        ]

    return Sheet(label, name, place + 1, headers, columns)


@contextmanager
def readable(file: str, above: int = 0) -> Iterator[None]:
    """Whatever the libraries say of a broken file becomes one line that quotes nothing of it.

    `above`: how many rows stand above what is read, where a row is counted from there.
    """
    try:
        yield
    except (csv.Error, pd.errors.ParserError) as broken:
        begins = re.search(r"starting at row (\d+)", str(broken))
        row = f" row {int(begins[1]) + 1 + above}" if begins else ""
        raise ExportError(
            f"{file}{row}: a quotation mark is opened and never closed; close it or take it out"
        ) from None
    except BROKEN:
        raise ExportError(f"{file}: the file cannot be read; export it again, or open it and save it anew") from None
