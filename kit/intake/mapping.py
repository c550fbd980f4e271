"""The column map: which of the facility's columns holds which of ours, in what unit, format and words."""

from __future__ import annotations

import difflib
import re
from pathlib import Path, PureWindowsPath
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from kit.faults import ExportError
from kit.intake.naming import file_said, said
from kit.plan import explain, read_toml
from kit.vocabulary import TABLES, UNITS, Column, Table

DAY_NUMBER, SERIAL, ASK = "day number", "Excel serial", "?"
DAY_FORMATS = {
    "YYYY-MM-DD": "%Y-%m-%d",
    "YYYY/MM/DD": "%Y/%m/%d",
    "YYYYMMDD": "%Y%m%d",
    "MM/DD/YYYY": "%m/%d/%Y",
    "DD/MM/YYYY": "%d/%m/%Y",
    "MM-DD-YYYY": "%m-%d-%Y",
    "DD-MM-YYYY": "%d-%m-%Y",
    "DD.MM.YYYY": "%d.%m.%Y",
    "MM/DD/YY": "%m/%d/%y",
    "DD/MM/YY": "%d/%m/%y",
    "DD-MON-YYYY": "%d-%b-%Y",
    "DD-MON-YY": "%d-%b-%y",
    "D MON YYYY": "%d %b %Y",
    "MON D, YYYY": "%b %d, %Y",
    SERIAL: "",
    DAY_NUMBER: "",
}
# Days without a year, as they stand in names of sheets and in headers; the map gives the year of the first.
YEARLESS = {"M/D": "%m/%d/%Y", "M-D": "%m-%d-%Y", "D/M": "%d/%m/%Y", "D.M.": "%d.%m.%Y"}


LONGEST_NAME = 200  # letters of a file's name; systems take about 255 bytes
STATES = ("open", "closed", "unseen")  # what a word in place of a size may mean


class MapError(ExportError):
    """The column map cannot be followed; the message names table, column and cure."""


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True, str_strip_whitespace=True)


class Place(_Part):
    """Where one of our columns stands in the export: their header, their unit, date format and words.

    Instead of one `column`, `join` names several whose cells make one pseudonym together; `sheet_name` says that the
    day stands in the name of the sheet. `year` is that of the first sheet or header whose day has none.
    """

    column: str = ""
    join: tuple[str, ...] = ()
    sheet_name: bool = False
    unit: str | None = None
    format: str | None = None
    year: int | None = Field(default=None, ge=1990, le=2100)
    values: dict[str, str] = Field(default_factory=dict)

    @property
    def headers(self) -> tuple[str, ...]:
        """The headers of the export that it reads."""
        return self.join or ((self.column,) if self.column else ())

    @property
    def says(self) -> str:
        """What a message calls it."""
        return self.column or " + ".join(self.join) or "name of the sheet"

    @model_validator(mode="after")
    def _one_place(self) -> Place:
        if [bool(self.column), bool(self.join), self.sheet_name].count(True) != 1:
            raise ValueError("name one column, or several under join, or sheet_name = true")
        return self

    @model_validator(mode="before")
    @classmethod
    def _header_alone(cls, given: object) -> object:
        return {"column": given} if isinstance(given, str) else given

    @field_validator("format")
    @classmethod
    def _format_in_full(cls, given: str | None) -> str | None:
        """m/d/yyyy is MM/DD/YYYY; what is no format that is known stays as it stands."""
        return full_format(given)


def full_format(given: str | None) -> str | None:
    """A format as it stands in the list, however its letters are doubled; what is none stays as it stands."""
    upper = (given or "").upper()
    full = re.sub(r"\b[MD]\b", lambda letter: 2 * letter[0], upper)
    known = (*DAY_FORMATS, *YEARLESS)
    return next((name for name in known if name.upper() in (full, upper)), given)


class Only(_Part):
    """Which rows of a sheet are meant: those whose cell in `column` is one of `words`."""

    column: str = Field(min_length=1)
    words: tuple[str, ...] = Field(min_length=1)


class Across(_Part):
    """Days that stand in the headers of a wide sheet, a column each: `headers` with * where the day stands."""

    headers: str = Field(default="*", pattern=r"^[^*]*\*[^*]*$")
    format: str
    year: int | None = Field(default=None, ge=1990, le=2100)
    unit: str | None = None
    holds: str = "dimensions"


class TableMap(_Part):
    """One table of the export: the file or sheet that holds it (with * for several alike), and its columns."""

    file: str | None = None
    sheet: str | None = None
    decimal: Literal["point", "comma"] = "point"
    only: Only | None = None
    across: Across | None = None
    columns: dict[str, Place]


class _Tables(_Part):
    residents: TableMap | None = None
    wounds: TableMap
    measurements: TableMap
    sessions: TableMap | None = None
    procedures: TableMap | None = None
    spans: TableMap | None = None
    departures: TableMap | None = None


ColumnMap = dict[str, TableMap]


def read_map(path: str | Path) -> ColumnMap:
    """The column map in a TOML file: a table for each of ours, with `file` or `sheet` and `columns`.

    Raises MapError for a missing file, broken TOML, a name the vocabulary does not hold (with the nearest that it
    does), a unit or date format that is not known, a word mapped to a value that is not in the closed list, and a
    column of theirs that is named twice without words for each.
    """
    path = Path(path)
    given = read_toml(path, "column map", "check its path", MapError)
    try:
        tables = _Tables.model_validate(given)
    except ValidationError as errors:
        raise MapError(f"{file_said(path)}: {explain(errors, _Tables)}") from None
    mapping = {name: table for name, table in tables if table is not None}
    for name, table in mapping.items():
        _check_table(file_said(path), TABLES[name], table)
    return mapping


def own_names(table: Table, headers: list[str]) -> dict[str, Place]:
    """The places of our columns in a table that already carries our names, in capitals or not."""
    plain = {header.lower(): header for header in reversed(headers)}
    return {name: Place(column=name if name in headers else plain[name]) for name in table.names if name in plain}


def meanings(column: Column) -> tuple[str, ...]:
    """What a word of theirs may mean in a column: one of its list, or in place of a size what was seen."""
    return STATES if column.kind == "size" else column.allowed


def _is_bare(name: str) -> bool:
    """Whether a name leads nowhere on any system: no folder, no drive, no step up, nothing that no name holds."""
    if not name or not name.isprintable() or name == ".." or "**" in name or len(name) > LONGEST_NAME:
        return False
    return Path(name).name == PureWindowsPath(name).name == name


def _check_table(file: str, table: Table, mapped: TableMap) -> None:
    where = f"{file}: {table.name}"
    if mapped.file is not None and not _is_bare(mapped.file):
        raise MapError(f"{where}: file must be the bare name of a file that lies in the export's own folder")
    for name, place in mapped.columns.items():
        if name not in table.names:
            raise MapError(f"{where}.{said(name, 'a key')}: there is no such column{_nearest(name, table.names)}")
        _check_place(f"{where}.{name}", table.column(name), place)
    across = _check_across(where, table, mapped)
    given = {*mapped.columns, *across}
    missing = [column.name for column in table.columns if column.required and column.name not in given]
    if missing:
        raise MapError(f"{where}: {missing[0]} is needed and not mapped; name the column that holds it")
    _refuse_twice(where, table, mapped)


def _check_across(where: str, table: Table, mapped: TableMap) -> tuple[str, ...]:
    """The columns that a wide sheet fills from its headers."""
    if mapped.across is None:
        return ()
    days = {**DAY_FORMATS, **YEARLESS}
    _check_format(f"{where}: across", full_format(mapped.across.format), mapped.across.year, days)
    if "day" not in table.names or mapped.across.holds not in table.names:
        raise MapError(f"{where}: a wide sheet fills day and one column of this table; write holds = that column")
    _check_unit(f"{where}: across", mapped.across.unit, table.column(mapped.across.holds))
    return ("day", mapped.across.holds)


def _check_format(where: str, given: str, year: int | None, known: dict) -> None:
    if given == ASK:
        raise MapError(f"{where}: more than one format fits; write which one it is, for example M/D/YYYY or D/M/YYYY")
    _check_listed(f"{where}: format", given, known)
    if given in YEARLESS and year is None:
        raise MapError(f"{where}: days without a year; write year = that of the first")


def _refuse_twice(where: str, table: Table, mapped: TableMap) -> None:
    """One header may serve several columns of words, where each says what the words mean to it."""
    headers = dict.fromkeys(place.column for place in mapped.columns.values() if place.column)
    for header in headers:
        names = [name for name, place in mapped.columns.items() if place.column == header]
        words = all(table.column(name).kind in ("choice", "site") for name in names)
        if len(names) > 1 and not (words and all(mapped.columns[name].values for name in names)):
            cure = "keep one of them" + (", or give each its own values" if words else "")
            raise MapError(f"{where}: {' and '.join(names)} name the same column; {cure}")


def _check_place(where: str, column: Column, place: Place) -> None:
    _check_unit(where, place.unit, column)
    if place.join and column.kind != "pseudonym":
        raise MapError(f"{where}: only a pseudonym can be joined from several columns")
    if place.sheet_name and column.kind != "day":
        raise MapError(f"{where}: only a day can stand in the name of a sheet")
    if place.format is not None:
        days = {**DAY_FORMATS, **(YEARLESS if place.sheet_name else {})}
        _check_format(where, place.format, place.year, days if column.kind == "day" else {})
    elif place.sheet_name:
        raise MapError(f"{where}: write the format in which the day stands in the name")
    for meant in place.values.values():
        _check_listed(f"{where}: values", meant, (*meanings(column), "unknown"))


def _check_unit(where: str, given: str | None, column: Column) -> None:
    if given is not None:
        _check_listed(f"{where}: unit", given.lower(), UNITS.get(column.unit, {}))


def _check_listed(where: str, given: str, known: dict | tuple) -> None:
    if given in known:
        return
    if not known:
        raise MapError(f"{where}: this column takes none; take it out")
    raise MapError(f"{where}: not one that is known; known are {', '.join(known)}")


def _nearest(name: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(name, known, n=1)
    return f"; did you mean {close[0]}?" if close else f"; known are {', '.join(known)}"
