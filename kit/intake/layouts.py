"""From a sheet as it is laid out to rows of one of our tables: titles above, days across, several tables in one."""

from __future__ import annotations

import re
import unicodedata
from datetime import date, datetime
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd

from kit.faults import ExportError
from kit.intake.files import Sheet
from kit.intake.lexicon import plain, words_for
from kit.intake.mapping import DAY_FORMATS, YEARLESS, Across, Only, Place, TableMap, full_format
from kit.intake.places import read_sites
from kit.vocabulary import Table

HALF_A_YEAR, QUARTER = 183, 92  # days
LIKE_A_DAY = re.compile(r"\d{1,4}[/.-]\d{1,2}([/.-]\d{2,4})?\.?").fullmatch
NAMING = 2  # of joined columns so many must be filled; a third, as the side of a site, may be blank
LEAP = 2000  # a year that has every day


def rows_of(
    sheet: Sheet,
    table: Table,
    mapped: TableMap | None,
    places: dict[str, Place],
    own: frozenset[str] | None,
    day: str | None = None,
) -> pd.DataFrame:
    """The rows of a table in a sheet: text under our column names, with file and row.

    Empty rows and headers that are repeated further down are no rows. Where other tables are read from the same sheet,
    `own` names the headers that only this one reads: a row is one of its rows where one of them is filled, and what
    stands there again word for word stands once. `day` is what the name of the sheet says.

    Raises ExportError where a column is needed, or named in the map, and not there, or stands there twice.
    """
    across = mapped.across if mapped else None
    only = mapped.only if mapped else None
    _refuse_columns(sheet, table, places, across, only)
    wanted = list(dict.fromkeys(header for place in places.values() for header in place.headers))
    days = _days_across(sheet, across) if across else {}
    read = list(dict.fromkeys([*wanted, *([only.column] if only else []), *days]))
    cells = dict(zip(read, sheet.read([sheet.headers.index(header) for header in read]), strict=True))
    frame = pd.DataFrame(cells, copy=False)
    frame.index = range(sheet.row + 1, sheet.row + 1 + len(frame))
    frame = only_where(~repeats_header(frame, read), frame)
    if only:
        frame = frame[frame[only.column].str.casefold().isin([word.casefold() for word in only.words])]
    if own is not None and own:
        frame = only_where(_filled(frame[[header for header in read if header in own]]), frame)
    rows = pd.DataFrame(
        {name: _cells(frame, place, day) for name, place in places.items()}, index=frame.index, copy=False
    )
    if across:
        rows = _melted(rows, frame, days, across.holds)
    told = [name for name, place in places.items() if place.headers] + ([across.holds] if across else [])
    rows = only_where(_filled(rows[told]), rows)
    rows = rows.copy(deep=False)
    rows["file"], rows["row"] = sheet.label, rows.index
    rows.index = pd.RangeIndex(len(rows))
    filled = list(dict.fromkeys([*places, *_across(across)]))
    return rows if own is None else rows.drop_duplicates(filled, ignore_index=True)


def _across(across: Across | None) -> tuple[str, ...]:
    """Our columns that a wide sheet fills from its headers."""
    return ("day", across.holds) if across else ()


def _refuse_columns(
    sheet: Sheet, table: Table, places: dict[str, Place], across: Across | None, only: Only | None
) -> None:
    given = {*places, *_across(across)}
    for column in table.columns:
        if column.required and column.name not in given:
            raise ExportError(f"{sheet.label}: column {column.name} is needed and not there; add it or map it")
    for name, place in places.items():
        for header in place.headers:
            _refuse_header(sheet, header, name)
    if only:
        _refuse_header(sheet, only.column, "only")


def _refuse_header(sheet: Sheet, header: str, name: str) -> None:
    """Stops where a header is not there, or twice; `name` is what the map wants it for."""
    if header not in sheet.headers:
        raise ExportError(
            f"{sheet.label}: the map names a column for {name} that is not there; its header is expected in "
            f"row {sheet.row}, of {len([header for header in sheet.headers if header])} columns, exactly as "
            "written in the map (capitals count)"
        )
    if sheet.headers.count(header) > 1:
        raise ExportError(f"{sheet.label}: the column for {name} stands there twice; keep one")


def repeats_header(frame: pd.DataFrame, headers: list[str]) -> pd.Series:
    """Rows in which every filled cell is its own header."""
    rows = np.arange(len(frame))
    for place, header in enumerate(headers):
        if not len(rows):  # as there mostly is none after the first columns
            break
        cells = frame.iloc[:, place] if len(rows) == len(frame) else frame.iloc[rows, place]
        rows = rows[cells.isin(["", header]).to_numpy()]
    found = np.zeros(len(frame), dtype=bool)
    found[rows] = _filled(frame.iloc[rows])
    return pd.Series(found, index=frame.index)


def _filled(cells: pd.DataFrame) -> np.ndarray:
    """Rows in which a cell is filled."""
    found = np.zeros(len(cells), dtype=bool)
    for place in range(cells.shape[1]):
        if found.all():  # as it mostly is after the first column
            break
        found |= (cells.iloc[:, place] != "").to_numpy()
    return found


def only_where(kept: pd.Series | np.ndarray, frame: pd.DataFrame) -> pd.DataFrame:
    """The rows that are kept; the frame itself, and no copy of it, where all are."""
    return frame if kept.all() else frame[kept]


def _cells(frame: pd.DataFrame, place: Place, day: str | None) -> pd.Series:
    if place.sheet_name:
        return pd.Series(day, index=frame.index)
    if not place.join:
        return frame[place.column]
    parts = [frame[header].map(_alike) for header in place.join]
    joined = pd.Series(
        ["/".join(filter(None, row)) for row in zip(*parts, strict=True)], index=frame.index, dtype=object
    )
    return joined.where((frame[list(place.join[:NAMING])] != "").all(axis=1), "")


@cache
def _alike(text: str) -> str:
    """The same person, site or side in other words (L, Left), in capitals or with other blanks is the same."""
    sites = read_sites(text)
    if len(sites) == 1:
        return "/".join(filter(None, (sites[0].site, sites[0].side)))
    side = words_for("side").get(plain(text))
    return side or re.sub(r"\s+", "-", unicodedata.normalize("NFKC", text).casefold().strip(" ."))


def days_in(texts: list[str], format: str, year: int | None = None) -> list[str | None]:
    """The days that stand in names of sheets or in headers, as YYYY-MM-DD, or day numbers as they stand; None for none.

    Days without a year begin in `year` and go on through the next ones; where they run backwards they go back. None may
    be more than a quarter of a year away from the one before it: then names or years would be guessed.
    """
    full = full_format(format)
    if full not in YEARLESS:
        return [day_in(text, full, year) for text in texts]
    days = [day_in(text, full, LEAP) for text in texts]
    known = {place: date.fromisoformat(day) for place, day in enumerate(days) if day}
    way, last = 1 if _run_forward(list(known.values())) else -1, None
    for place, here in known.items():
        turns = last is not None and way * (last - here).days > HALF_A_YEAR
        year, last = year + way * turns, here
        days[place] = day_in(texts[place], full, year)
    return days


def refuse_jumps(days: list[str | None], format: str, labels: list[str]) -> None:
    """Stops where days without a year jump: they are out of order, or of a year that cannot be told."""
    known = [(date.fromisoformat(day), label) for day, label in zip(days, labels, strict=True) if day]
    for (before, _), (day, label) in pairwise(known if full_format(format) in YEARLESS else []):
        if abs((day - before).days) > QUARTER:
            raise ExportError(
                f"{label}: days without a year jump by more than three months from one to the next, so that the year "
                "cannot be told; put them in order, or write the year with each"
            )


def _run_forward(days: list[date]) -> bool:
    """Whether days of one year, each taken to be the nearest to the one before it, go on rather than back."""
    steps = [(other - one).days for one, other in pairwise(days)]
    return sum((step + HALF_A_YEAR) % (2 * HALF_A_YEAR) - HALF_A_YEAR for step in steps) >= 0


def day_in(text: str, format: str, year: int | None) -> str | None:
    """The day that stands in a name or a header, written in this format; `year` is that of days without one."""
    pattern = DAY_FORMATS.get(format) or YEARLESS.get(format, "")
    if not pattern:  # day numbers and serials
        found = re.findall(r"\d+", text)
        return found[0] if len(found) == 1 else None
    yearless = format in YEARLESS
    joint = "" if format.endswith(".") else format[1]
    for piece in (text, *re.findall(r"\d[\d/.\-]*", text)):
        try:
            return datetime.strptime(f"{piece}{joint}{year}" if yearless else piece, pattern).date().isoformat()
        except ValueError:
            continue
    return None


def _days_across(sheet: Sheet, across: Across) -> dict[str, str]:
    """The headers that hold a day, and that day."""
    before, behind = (re.escape(part.strip()) for part in across.headers.split("*"))
    pattern = re.compile(rf"{before}\s*(.*\d.*?)\s*{behind}", re.IGNORECASE)
    found = {header: match[1] for header in sheet.headers if (match := pattern.fullmatch(header))}
    days = days_in(list(found.values()), across.format, across.year)
    told = {header: day for header, day in zip(found, days, strict=True) if day}
    if not told:
        raise ExportError(f"{sheet.label}: no header holds a day in the way the map says under across")
    missed = [header for header, text in found.items() if header not in told and (before or behind or LIKE_A_DAY(text))]
    if missed:
        raise ExportError(
            f"{sheet.label}: column {sheet.headers.index(missed[0]) + 1} stands among the days and its header holds "
            "none in the way the map says; write it as the others are written"
        )
    refuse_jumps(list(told.values()), across.format, [sheet.label] * len(told))
    for header in told:
        _refuse_twice(sheet, header)
    return told


def _refuse_twice(sheet: Sheet, header: str) -> None:
    """Of two columns under one day, either could be meant."""
    places = [number for number, other in enumerate(sheet.headers, start=1) if other == header]
    if len(places) > 1:
        told = " and ".join(map(str, places))
        raise ExportError(f"{sheet.label}: columns {told} stand under the same day; give each its own, or keep one")


def _melted(rows: pd.DataFrame, frame: pd.DataFrame, days: dict[str, str], holds: str) -> pd.DataFrame:
    """A row for every filled cell below a header that holds a day."""
    parts = [rows.assign(day=day, **{holds: frame[header]})[(frame[header] != "").to_numpy()]
             for header, day in days.items()]  # fmt: skip
    return pd.concat(parts).sort_index(kind="stable")
