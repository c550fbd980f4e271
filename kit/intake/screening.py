"""The only way in: text becomes typed columns from closed lists, or it does not come in at all."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.faults import ExportError, found, together
from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER, Place
from kit.intake.readers import RawTable
from kit.intake.stages import read_stages
from kit.plan import EPOCH, Plan
from kit.vocabulary import TABLES, UNITS, UNKNOWN, Column, Table

OLDEST = 90  # 45 CFR 164.514(b)(2)(i)(C): ages over 89 are pooled into 90 and older
ISO = "YYYY-MM-DD"
YES = {"yes", "y", "true", "t", "1", "x"}
NO = {"no", "n", "false", "f", "0"}
NOT_KNOWN = {"", UNKNOWN, "unk", "n/a", "na", "not known", "not recorded", "-"}

# What a pseudonym must not look like: (what it resembles, pattern, columns it is asked of).
EVERY = ("resident", "wound", "facility", "assessor", "therapist")
PEOPLE = ("resident", "assessor", "therapist")
RESEMBLES = (
    ("a record, account or social security number", r"(?:mrn|ssn|acct|chart)\W*\d+|\d{3}-\d{2}-\d{4}|\d{6,}", EVERY),
    ("an e-mail address or a web address", r"\S+@\S+|(?:https?:|www\.)\S*", EVERY),
    ("a telephone number", r"\(?\d{3}\)?[-. ]\d{3}[-. ]\d{4}", EVERY),
    ("a date", r"\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}", EVERY),
    ("a name", r"[^\W\d_]{2,}(?:,\s*|\s+)[^\W\d_].*", PEOPLE),
    ("a room or bed", r"(?:room|rm|bed)\W*\d+\w?|\d{1,3}-?[a-d]", ("resident",)),
    ("initials and a date of birth", r"[a-z]{2,3}\W?\d{1,2}\W?\d{1,2}\W?(?:19|20)\d{2}", PEOPLE),
    ("initials and a year", r"([a-z]{2,3})\W?(?:18|19|20)\d{2}", PEOPLE),
)  # fmt: skip


@dataclass(frozen=True)
class Screened:
    """Typed tables and the faults met on the way. Rows in = rows of `tables` + rows set aside in `faults`."""

    tables: dict[str, pd.DataFrame]
    faults: pd.DataFrame


def screen(raw: dict[str, RawTable], plan: Plan) -> Screened:
    """Typed tables from the text of an export.

    Pseudonyms stay text; days become whole day numbers; numbers are converted to the vocabulary's unit; words become
    one of the closed list or unknown (empty), and the word itself is forgotten; ages above 89 become 90. A column
    that the export lacks comes out empty, so that every table always has all its columns.

    Raises ExportError where a pseudonym looks like an identifier, where days are written in more than one way, or
    where days do not fit the plan's basis.
    """
    tables, faults = {}, []
    for name, table in TABLES.items():
        if name in raw:
            tables[name], lines = _screen_table(raw[name], table, plan)
            faults.append(lines)
        else:
            tables[name] = _empty(table)
    return Screened(tables, together(faults))


def _screen_table(raw: RawTable, table: Table, plan: Plan) -> tuple[pd.DataFrame, pd.DataFrame]:
    rows, faults = raw.rows, []
    out = pd.DataFrame({"source_row": rows["source_row"].astype("int64")})
    bad = pd.Series(False, index=rows.index)
    for column in table.columns:
        if column.name not in raw.places:
            out[column.name] = _missing(column, len(rows))
            continue
        cells = rows[column.name]
        out[column.name], marks = _READ[column.kind](raw.file, cells, column, raw.places[column.name], rows, plan)
        for fault, where in marks.items():
            where = where & ~bad
            if column.required:
                fault, bad = _needed(fault), bad | where
            faults.append(found(table.name, rows.loc[where, "source_row"], fault, column.name))
        if column.required:
            blank = out[column.name].isna() & ~bad
            faults.append(found(table.name, rows.loc[blank, "source_row"], "blank", column.name))
            bad = bad | blank
    kept = out[~bad].reset_index(drop=True)
    return _settle(kept, table), _once(together(faults), rows.loc[bad, "source_row"])


def _needed(fault: str) -> str:
    """A value that only earns a mark elsewhere costs the row where the row means nothing without it."""
    return "unreadable" if fault == "garbled" else "blank"


def _once(faults: pd.DataFrame, aside: pd.Series) -> pd.DataFrame:
    """A row that is set aside is told by that alone; its marks would speak of a row that is not there."""
    return faults[(faults["fate"] == "set aside") | ~faults["source_row"].isin(aside)].reset_index(drop=True)


def _settle(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Days that must be there are plain whole numbers, so that arithmetic on them stays exact."""
    needed = {c.name: "int64" for c in table.columns if c.kind == "day" and c.required}
    return frame.astype(needed)


def _empty(table: Table) -> pd.DataFrame:
    columns = {column.name: _missing(column, 0) for column in table.columns}
    return _settle(pd.DataFrame({"source_row": pd.Series([], dtype="int64"), **columns}), table)


def _missing(column: Column, rows: int) -> pd.Series:
    return pd.Series([None] * rows, dtype=_dtype(column))


def _dtype(column: Column) -> object:
    if column.kind in ("choice", "stage"):
        return pd.CategoricalDtype(column.allowed)
    return {"pseudonym": object, "day": "Int64", "number": "float64", "flag": "boolean"}[column.kind]


# Each reader returns the typed column and, for each fault, the rows that show it.
Read = tuple[pd.Series, dict[str, pd.Series]]


def _pseudonyms(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    filled = cells[cells != ""]
    for what, pattern, asked in RESEMBLES:
        if column.name in asked:
            like = filled[_looks_like(filled, pattern)]
            if len(like):
                raise ExportError(
                    f"{file} row {rows.loc[like.index[0], 'source_row']}, column {place.column}: looks like {what}; "
                    f"replace every {column.name} with a pseudonym that means nothing, and export again"
                )
    return cells.where(cells != "", None).astype(object), {}


def _looks_like(filled: pd.Series, pattern: str) -> pd.Series:
    matches = filled.str.fullmatch(pattern, case=False).astype(bool)
    if re.compile(pattern).groups and matches.any():
        # Letters that every value shares are a running code such as AB1901, AB1902, not somebody's initials.
        letters = filled.str.extract(r"^([^\W\d_]*)", expand=False)
        if letters.nunique() == 1 and len(filled) > 1:
            return pd.Series(False, index=filled.index)
    return matches


def _days(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    written = place.format or (ISO if plan.calendar else DAY_NUMBER)
    _fits_basis(file, place, written, plan)
    words = pd.Series(cells.unique())
    days = _day_numbers(words, written)
    if plan.calendar:
        days = days.fillna(_day_numbers(words, ISO))  # a real date cell of a workbook always reads so
    unread = words[days.isna() & ~words.str.lower().isin(NOT_KNOWN)]
    _refuse_mixed(file, cells, unread, place, written, rows, plan)
    known = dict(zip(words, days, strict=True))
    return cells.map(known).astype("Int64"), {"garbled": cells.isin(unread)}


def _fits_basis(file: str, place: Place, written: str, plan: Plan) -> None:
    if plan.calendar and written == DAY_NUMBER:
        raise ExportError(
            f"{file}, column {place.column}: holds day numbers, but the plan's windows are dates; "
            "give quarter_begins and cutoff as day numbers"
        )
    if not plan.calendar and written != DAY_NUMBER:
        raise ExportError(
            f"{file}, column {place.column}: holds dates, but the plan ({plan.program.basis}) has no calendar; "
            "under safe harbor every date but the year must go (45 CFR 164.514(b)(2)): export days counted from each "
            "person's first record, or state the basis under which the dates are held"
        )


def _day_numbers(words: pd.Series, written: str) -> pd.Series:
    if written == DAY_NUMBER:
        numbers = pd.to_numeric(words, errors="coerce")
        return numbers.where((numbers % 1 == 0) & (numbers.abs() < 100_000)).astype("Int64")
    dates = words.str.replace(r"[T ]\d{1,2}:\d{2}.*$", "", regex=True)
    whole = dates.where(dates.str.fullmatch(_shape(written)).astype(bool))
    stamps = pd.to_datetime(whole, format=DAY_FORMATS[written], errors="coerce")
    return ((stamps - pd.Timestamp(EPOCH)) / pd.Timedelta(days=1)).astype("Int64")


def _shape(written: str) -> str:
    """strptime takes 3/4/25 for %m/%d/%Y; the shape of the format keeps the year's digits honest."""
    parts = {"YYYY": r"\d{4}", "MON": r"[A-Za-z]{3}", "MM": r"\d{1,2}", "DD": r"\d{1,2}", "YY": r"\d{2}"}
    pattern = re.sub("YYYY|MON|MM|DD|YY|[.]", lambda part: parts.get(part[0], r"\."), written)
    return pattern.replace("{1,2}", "{2}") if written == "YYYYMMDD" else pattern


def _refuse_mixed(
    file: str, cells: pd.Series, unread: pd.Series, place: Place, written: str, rows: pd.DataFrame, plan: Plan
) -> None:
    for other in DAY_FORMATS:
        if other in (written, DAY_NUMBER) or unread.empty:
            continue
        fits = unread[_day_numbers(unread, other).notna()]
        if len(fits):
            row = rows.loc[cells.isin(fits), "source_row"].iloc[0]
            raise ExportError(
                f"{file} row {row}, column {place.column}: expected a day written {written}, found one written another "
                "way; write all days of the column one way, or name the right format in the map"
            )


def _numbers(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    text = cells.str.lower()
    if column.name == "age":
        text = text.str.replace(r"^(?:90\s*\+|>\s*89|90 and older)$", str(OLDEST), regex=True)
    filled = ~text.isin(NOT_KNOWN)
    numbers = pd.to_numeric(text.where(filled), errors="coerce").replace([np.inf, -np.inf], np.nan)
    garbled = filled & numbers.isna()
    numbers = numbers * UNITS[column.unit][(place.unit or column.unit).lower()] if column.unit in UNITS else numbers
    numbers = numbers.round(9)  # 25.4 mm and 2.54 cm are the same size to the last digit we keep
    negative = numbers < min(0, column.low)
    impossible = ~negative & ((numbers < column.low) | (numbers > column.high))
    numbers = numbers.mask(negative | impossible).astype("float64")
    if column.name == "age":
        numbers = numbers.clip(upper=OLDEST)
    return numbers, {"garbled": garbled, "negative": negative, "impossible": impossible}


def _choices(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    listed = {value.lower(): value for value in column.allowed}
    listed |= {word.strip().lower(): meant for word, meant in place.values.items()}
    folded = cells.str.lower()
    plain = folded.str.replace(r"[\s-]+", "_", regex=True)
    meant = folded.map(listed).fillna(plain.map(listed))
    unlisted = meant.isna() & ~folded.isin(NOT_KNOWN)
    return meant.astype(pd.CategoricalDtype(column.allowed)), {"unknown": unlisted}


def _stages(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    own = {word.strip().lower(): meant for word, meant in place.values.items()}
    meant = cells.str.lower().map(own).fillna(read_stages(cells))
    unlisted = meant.isna() & ~cells.str.lower().isin(NOT_KNOWN)
    return meant.astype(pd.CategoricalDtype(column.allowed)), {"unknown": unlisted}


def _flags(file: str, cells: pd.Series, column: Column, place: Place, rows: pd.DataFrame, plan: Plan) -> Read:
    own = {word.strip().lower(): meant == "yes" for word, meant in place.values.items() if meant != UNKNOWN}
    told = dict.fromkeys(YES, True) | dict.fromkeys(NO, False) | own
    unlisted = ~cells.str.lower().isin([*told, *NOT_KNOWN, *(w.lower() for w in place.values)])
    return cells.str.lower().map(told).astype("boolean"), {"unknown": unlisted}


_READ = {
    "pseudonym": _pseudonyms,
    "day": _days,
    "number": _numbers,
    "choice": _choices,
    "stage": _stages,
    "flag": _flags,
}
