"""One file or sheet of an export: its headers first, then only the columns that were asked for, as text."""

from __future__ import annotations

import csv
import zipfile
import zlib
from collections.abc import Callable, Iterator
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
from kit.intake.texts import HEAD, Hits, cells_below, header_row, layout_of
from kit.intake.workbooks import Workbook

# What csv, zip, XML and Parquet readers raise of a file that is damaged or none of theirs; a syntax error is of XML.
BROKEN = (
    OSError, EOFError, ValueError, LookupError, TypeError, AttributeError, RuntimeError, SyntaxError, OverflowError,
    pa.ArrowException, zipfile.BadZipFile, zlib.error,
)  # fmt: skip
Read = Callable[[list[int]], list[pd.Series]]


@dataclass(frozen=True)
class Sheet:
    """A table where it lies: what a message calls it, its own name, the row of its headers, and how to read columns.

    A column that is read is text, kept as it stands or, of long files, each distinct text once (a categorical).
    """

    label: str
    name: str
    row: int
    headers: list[str]
    read: Read


def text_sheet(file: Path, hits: Hits) -> Sheet:
    """A text file; one record is one row, also where a cell holds line breaks.

    Raises ExportError where it is empty, a row has more cells than the header, or a quotation mark is never closed.
    """
    with readable(file_said(file)):
        content = file.read_bytes()
        layout = layout_of(file, content, hits)
        if not any(layout.headers):
            raise _empty(file_said(file))
        cells = cells_below(file, content, layout)

    def columns(positions: list[int]) -> list[pd.Series]:
        return [_stripped(cells.column(position)) for position in positions]

    return Sheet(file_said(file), file.stem, layout.row, layout.headers, columns)


def _empty(label: str) -> ExportError:
    return ExportError(f"{label}: it is empty; one of its first rows must hold the headers")


def _stripped(cells: pa.ChunkedArray) -> pd.Series:
    """Cells without the blanks around them, missing ones empty; each distinct text is kept, and stripped, once."""
    told = cells.dictionary_encode(null_encoding="encode").combine_chunks()
    words = [(word or "").strip() for word in told.dictionary.to_pylist()]
    places, words = pd.factorize(np.array(words, dtype=object))
    codes = places.astype(np.min_scalar_type(-len(words) - 1))[told.indices.to_numpy()]  # as short as they can be
    return pd.Series(pd.Categorical.from_codes(codes, pd.Index(words, dtype=object), validate=False))


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
    return [_stripped(text) for text in texts]


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
def readable(file: str) -> Iterator[None]:
    """Whatever the libraries say of a broken file becomes one line that quotes nothing of it."""
    try:
        yield
    except csv.Error:  # a cell without an end
        raise ExportError(f"{file}: a quotation mark is opened and never closed; close it or take it out") from None
    except BROKEN:
        raise ExportError(f"{file}: the file cannot be read; export it again, or open it and save it anew") from None
