"""Workbooks read safely: only cells, nothing that unpacks without end, no formula whose value was never computed."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, time
from fnmatch import fnmatchcase
from itertools import pairwise
from pathlib import Path
from typing import IO
from xml.parsers.expat import ExpatError, ParserCreate

import openpyxl
from openpyxl.utils import column_index_from_string

from kit.faults import ExportError
from kit.intake.naming import file_said, ordinal, said

UNPACKED = 1 << 30  # bytes; a workbook of a million measurements unpacks to less
LARGE, DENSE = 1 << 24, 100  # bytes, and how many times its size; a sheet unpacks to ten or twenty times
PARTS = 10_000  # files within the file; a workbook has a few for every sheet
PACKED = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}  # as spreadsheet programs pack
LAST_ROW = 1 << 20  # of a sheet
LIST, LISTED = "xl/workbook.xml", re.compile(rb"<(?:\w+:)?sheet\s")
LOCKED = bytes.fromhex("d0cf11e0a1b11ae1")  # how files begin that are locked by a password, and workbooks before 2007
# Some programs write a prefix before the name of every element.
MERGED = re.compile(rb'<(?:\w+:)?mergeCell ref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')
ROW = re.compile(rb'<(?:\w+:)?row\s[^>]*?\br="(\d+)"')
CELL = re.compile(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Z]+)(\d+)"')
HIDDEN = re.compile(rb'<(?:\w+:)?row [^>]*hidden="(?:1|true)"')
# A cell with a formula and no value: no program has computed it since it was written. A formula whose value is an
# empty text has a value: its cell is of the type str.
UNCOMPUTED = re.compile(
    rb'<(?:\w+:)?c r="([A-Z]+)(\d+)"(?![^>]*\bt="str")[^>]*>\s*<(?:\w+:)?f(?:\s[^>]*)?(?:/>|>[^<]*</(?:\w+:)?f>)\s*'
    rb"(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)


@dataclass(frozen=True, eq=False)
class Cells:
    """A sheet as text, row by row. `uncomputed`: (row, column) of formulas without a value, both from 0."""

    name: str
    rows: list[list[str]]
    uncomputed: frozenset[tuple[int, int]] = frozenset()
    hidden_rows: int = 0
    is_hidden: bool = False


@dataclass(eq=False)
class Workbook:
    """An open workbook: its sheets by name, each read once."""

    file: str
    book: openpyxl.Workbook
    archive: zipfile.ZipFile
    read: dict[str, Cells] = field(default_factory=dict)

    @property
    def names(self) -> list[str]:
        return [name for name in self.book.sheetnames if hasattr(self.book[name], "iter_rows")]

    def label(self, name: str) -> str:
        """What a message calls a sheet: its name, or its number where the name holds what looks like an identifier."""
        told = said(name, "")
        return f"{self.file}, sheet {told}" if told else f"{self.file}, {ordinal(self.names.index(name) + 1)} sheet"

    def called(self, pattern: str) -> list[str]:
        """The sheet of that name, or the sheets of names like `Wk of *` that are not hidden."""
        if pattern in self.names:
            return [pattern]
        shown = [name for name in self.names if self.book[name].sheet_state == "visible"]
        return [name for name in shown if fnmatchcase(name, pattern)]

    def own(self, name: str) -> list[str]:
        """The sheet of that name, in capitals or not."""
        return [sheet for sheet in self.names if sheet.casefold() == name.casefold()]

    def cells(self, name: str) -> Cells:
        if name not in self.read:
            self.read[name] = self._cells(name)
        return self.read[name]

    def _cells(self, name: str) -> Cells:
        sheet = self.book[name]
        source = self.archive.read(sheet._worksheet_path)
        _refuse_disorder(self.label(name), source)
        sheet.reset_dimensions()  # what a workbook says of its own size is not always true
        rows = [[cell_text(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
        while rows and not any(rows[-1]):  # a look given to whole columns makes a million of them
            rows.pop()
        _spread_merged(rows, source)
        bare = frozenset(
            (int(row) - 1, column_index_from_string(column.decode()) - 1) for column, row in UNCOMPUTED.findall(source)
        )
        return Cells(name, rows, bare, len(HIDDEN.findall(source)), sheet.sheet_state != "visible")


@contextmanager
def open_workbook(file: Path) -> Iterator[Workbook]:
    """A workbook, closed at the end of the block.

    Raises ExportError where it is locked or of an older kind, unpacks to more than a gigabyte or to many times its
    size, holds a document type, by which a file can ask for others, or lists a sheet that is not there or there twice.
    """
    _refuse_locked(file)
    with warnings.catch_warnings():
        # openpyxl warns of colours and drop-down lists that it drops; none of them is data
        warnings.filterwarnings("ignore", module="openpyxl")
        with zipfile.ZipFile(file) as archive:
            _refuse_dangerous(file_said(file), archive)
            with closing(openpyxl.load_workbook(file, read_only=True, data_only=True)) as book:
                _refuse_sheets(file_said(file), book.sheetnames, archive)
                yield Workbook(file_said(file), book, archive)


def _refuse_locked(file: Path) -> None:
    with file.open("rb") as stream:
        if stream.read(len(LOCKED)) == LOCKED:
            raise ExportError(
                f"{file_said(file)}: it is locked with a password or of an older kind; save it as .xlsx without a "
                "password"
            )


def _refuse_dangerous(file: str, archive: zipfile.ZipFile) -> None:
    parts = archive.infolist()
    unpacked, packed = (sum(getattr(part, size) for part in parts) for size in ("file_size", "compress_size"))
    if unpacked > UNPACKED:
        raise ExportError(f"{file}: unpacks to more than a gigabyte; export fewer columns or a shorter period")
    ways = {part.compress_type for part in parts}
    if unpacked > max(LARGE, DENSE * packed) or len(parts) > PARTS or not ways <= PACKED:
        raise ExportError(f"{file}: is packed as no spreadsheet program does it; open it and save it anew")
    for part in parts:
        with archive.open(part) as stream:
            if _has_document_type(stream):
                raise ExportError(f"{file}: asks for other files while it is read; open it and save it anew")


def _refuse_sheets(file: str, names: list[str], archive: zipfile.ZipFile) -> None:
    """A sheet that is listed and not there, or whose name another has, would be passed over."""
    if len({name.casefold() for name in names}) < len(names):
        raise ExportError(f"{file}: two sheets carry the same name; rename one")
    if LIST in archive.namelist() and len(LISTED.findall(archive.read(LIST))) > len(names):
        raise ExportError(f"{file}: a sheet that it lists is not there; open it and save it anew")


def _refuse_disorder(label: str, source: bytes) -> None:
    """What does not stand in order, or twice, would be passed over; a row beyond the last would be waited for."""
    rows = [int(number) for number in ROW.findall(source)]
    cells = ((int(row), len(column), column) for column, row in CELL.findall(source))
    if not _ascending(rows) or not _ascending(cells) or (rows and rows[-1] > LAST_ROW):
        raise ExportError(f"{label}: its rows or cells do not stand in order; open the workbook and save it anew")


def _ascending(places: Iterable) -> bool:
    return all(one < other for one, other in pairwise(places))


def _has_document_type(stream: IO[bytes]) -> bool:
    """Whether XML declares one, however it is encoded; it can only do so before its first element."""
    met: list[bool] = []
    parser = ParserCreate()
    parser.StartDoctypeDeclHandler = lambda *_: met.append(True)
    parser.StartElementHandler = lambda *_: met.append(False)
    try:
        while not met and (piece := stream.read(4096)):
            parser.Parse(piece)
    except ExpatError:  # a picture; whatever needs it to be XML fails by itself
        pass
    return bool(met) and met[0]


def _spread_merged(rows: list[list[str]], source: bytes) -> None:
    """What stands in merged cells holds for each of the rows they cover; across columns it stays in the first."""
    for first, top, _, bottom in MERGED.findall(source):
        column = column_index_from_string(first.decode()) - 1
        covered = rows[int(top) - 1 : int(bottom)]
        for row in covered[1:]:
            if column < len(covered[0]):
                row.extend([""] * (column + 1 - len(row)))
                row[column] = covered[0][column]


def cell_text(cell: object) -> str:
    """A cell as it would stand in a CSV file: a date without its time, a whole number without a point."""
    if isinstance(cell, datetime | date):
        return cell.isoformat()[:10]
    if isinstance(cell, time):
        return cell.isoformat()
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    text = "" if cell is None else str(cell).strip()
    # 1.125 in a cell of numbers is no thousand, whatever the words of the sheet mean by a point.
    return f"{text}0" if isinstance(cell, float) and re.fullmatch(r"-?\d{1,3}\.\d{3}", text) else text
