"""What an export holds before anybody has said what it means: its sheets, their headers, and the cells below them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase
from functools import cached_property
from pathlib import Path

import pandas as pd
from openpyxl.utils import get_column_letter

from kit.faults import ExportError
from kit.intake.days import SERIALS
from kit.intake.files import Sheet, readable, workbook_sheet
from kit.intake.finding import FILES, WORKBOOKS
from kit.intake.headers import claims
from kit.intake.layouts import LEAP, day_in, repeats_header
from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER, SERIAL, YEARLESS
from kit.intake.naming import file_said, looks_like, starred
from kit.intake.workbooks import Workbook, open_workbook

DAYS_ACROSS = 3  # so many headers that hold days make a wide sheet


@dataclass(frozen=True, eq=False)
class Scanned:
    """A sheet, or several alike: what a map calls them, their own names, headers, and all cells as text.

    `file` or `sheet` is the name that a map gives, with * for several alike. `cells` has a column for each place in
    `headers`, without empty rows and without headers that are repeated further down.
    """

    label: str
    file: str | None
    sheet: str | None
    names: tuple[str, ...]
    headers: tuple[str, ...]
    cells: pd.DataFrame

    @cached_property
    def decimal(self) -> str:
        """Whether numbers are written with a point or with a comma."""
        words = pd.Series(pd.unique(self.cells.to_numpy().ravel()), dtype=object)
        points, commas = (words.str.contains(rf"^\D*\d+{mark}\d+(?!{mark}|\d)").sum() for mark in (r"\.", ","))
        return "comma" if commas > points else "point"

    def letters(self, places: list[int]) -> str:
        """The columns at these places, as a spreadsheet calls them."""
        return ", ".join(get_column_letter(place + 1) for place in places)


def scan(export: Path) -> tuple[list[Scanned], list[str]]:
    """The sheets of an export, those alike as one, and a sentence for each that could not be used.

    Raises ExportError where the export is not there, is no workbook or text file, or holds nothing that can be read.
    """
    if not export.exists():
        raise ExportError(f"{file_said(export)}: there is no such export; give a folder of text files or a workbook")
    found, told = [], []
    for sheet, file, name in _sheets(export, told):
        scanned = _tried(told, _scanned, sheet, file, name)
        if scanned is not None and len(scanned.cells):
            found.append(scanned)
        elif scanned is not None:
            told.append(f"{sheet.label}: there are no rows below its headers")
    if not found:
        raise ExportError(told[0] if told else f"{file_said(export)}: it holds no text file and no workbook")
    return _named_safely(_alike(found), export, told), told


def _named_safely(found: list[Scanned], export: Path, told: list[str]) -> list[Scanned]:
    """Sheets as a map may call them: a name that holds what looks like an identifier has * in its place.

    Where that would fit another sheet as well, the sheet cannot be named and is left alone.
    """
    safe = []
    files = [file.name for file in export.iterdir() if file.is_file()] if export.is_dir() else []
    names = [*files, *(name for sheet in found if sheet.sheet for name in sheet.names)]
    for sheet in found:
        what = looks_like(sheet.file or sheet.sheet)
        pattern = starred(sheet.file or sheet.sheet) if what else ""
        if not what or (sheet.file and export.is_file()):
            safe.append(replace(sheet, file=None) if what else sheet)
        elif sum(fnmatchcase(name, pattern) for name in names) != len(sheet.names):
            told.append(f"{sheet.label}: its name holds what looks like {what}; give it another name and draft again")
        else:
            safe.append(replace(sheet, **{"file" if sheet.file else "sheet": pattern}))
    if not safe:
        raise ExportError(told[-1])
    return safe


def known_headers(cells: list[str]) -> int:
    """How many different cells of a row could be headers of ours."""
    return sum(bool(cell and claims(cell)) for cell in set(cells))


def _sheets(export: Path, told: list[str]) -> Iterator[tuple[Sheet, str | None, str | None]]:
    """Each sheet with the file or sheet name by which a map would call it."""
    if export.is_file() and export.suffix.lower() in WORKBOOKS:
        with readable(file_said(export)), open_workbook(export) as book:
            yield from _of_workbook(book, told)
        return
    files = [export] if export.is_file() else sorted(file for file in export.iterdir() if file.is_file())
    for file in files:
        ending = file.suffix.lower()
        if ending in WORKBOOKS and not file.name.startswith("~$"):
            told.append(f"{file_said(file)}: is a workbook; name it as the export, without its folder")
        elif ending in FILES:
            sheet = _tried(told, FILES[ending], file, known_headers)
            if sheet is not None:
                yield sheet, file.name, None


def _of_workbook(book: Workbook, told: list[str]) -> Iterator[tuple[Sheet, str | None, str | None]]:
    for name in book.names:
        if book.cells(name).is_hidden:
            told.append(f"{book.label(name)}: is hidden and was left alone; show it if it belongs to the export")
            continue
        sheet = _tried(told, workbook_sheet, book, name, known_headers)
        if sheet is not None:
            yield sheet, None, name


def _tried(told: list[str], read: Callable, *given: object) -> object:
    try:
        return read(*given)
    except ExportError as cannot:
        told.append(str(cannot))
        return None


def _scanned(sheet: Sheet, file: str | None, name: str | None) -> Scanned:
    """All cells that stand below a header. A column that cannot be read, for a formula never computed, is left out."""
    places = [place for place, header in enumerate(sheet.headers) if header]
    try:
        columns = dict(zip(places, sheet.read(places), strict=True))
    except ExportError:
        alone = {place: _tried([], sheet.read, [place]) for place in places}
        columns = {place: column[0] for place, column in alone.items() if column is not None}
    cells = pd.DataFrame({place: column.to_numpy() for place, column in columns.items()}, dtype=object)
    headers = [sheet.headers[place] for place in cells]
    cells = cells[~repeats_header(cells, headers) & (cells != "").any(axis=1)]
    return Scanned(sheet.label, file, name, (sheet.name,), tuple(sheet.headers), cells.reset_index(drop=True))


def _alike(found: list[Scanned]) -> list[Scanned]:
    """Sheets with the same headers, whose names differ only in a day or a number, are one."""
    groups: dict[tuple, list[Scanned]] = {}
    for sheet in found:
        groups.setdefault((sheet.headers, _pattern(sheet.file or ""), _pattern(sheet.sheet or "")), []).append(sheet)
    return [_together(key, group) if len(group) > 1 else group[0] for key, group in groups.items()]


def _together(key: tuple, group: list[Scanned]) -> Scanned:
    headers, file, sheet = key
    names = tuple(one.names[0] for one in group)
    cells = pd.concat([one.cells for one in group], ignore_index=True)
    label = group[0].label.replace(group[0].sheet or group[0].file, sheet or file)
    return Scanned(label, file or None, sheet or None, names, headers, cells)


def _pattern(name: str) -> str:
    """`Wk of 3-12` and `Wk of 3-19` are both `Wk of *`."""
    starred = re.sub(r"\d+(?:[-./_ ]+\d+)*", "*", name)
    return name if re.search(r"[\[\]?]", name) else starred


def day_headers(headers: tuple[str, ...]) -> list[int]:
    """The places of headers that hold a day, where there are enough of them to be the columns of a wide sheet."""
    places = [place for place, header in enumerate(headers) if not claims(header) and formats_of([header])]
    return places if len(places) >= DAYS_ACROSS else []


def formats_of(texts: list[str]) -> list[str]:
    """The ways of writing a day, with a year or without, in which every one of these texts holds one."""
    return [written for written in (*DAY_FORMATS, *YEARLESS) if all(_holds(text, written) for text in texts)]


def _holds(text: str, written: str) -> bool:
    """A bare number is a day only where it says so, or where only a spreadsheet would count so far."""
    numbers = re.findall(r"\d+", text)
    if written == DAY_NUMBER:
        return len(numbers) == 1 and _day_word(re.sub(r"\d+", " ", text))
    if written == SERIAL:
        return len(numbers) == 1 and SERIALS[0] <= int(numbers[0]) <= SERIALS[1]
    return bool(numbers) and day_in(text, written, LEAP) is not None


def _day_word(text: str) -> bool:
    """Whether a text is a word for day, as a header would say it."""
    return any(claim.column == "day" for claim in claims(text.strip()))
