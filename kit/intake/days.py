"""Reading days: every day becomes a whole number, or the run stops because days are written in more than one way."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.faults import ExportError
from kit.intake.cells import Cells, Typed
from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER, SERIAL
from kit.plan import EPOCH, FARTHEST, Plan

ISO = "YYYY-MM-DD"
SERIALS = 20_000, 80_000  # days that a spreadsheet counts from 30 December 1899: 1954 to 2119
SERIAL_ZERO = 36_526  # 1 January 2000 among them
CLOCK = pd.Timestamp(1800, 1, 1), pd.Timestamp(2200, 1, 1)  # what lies outside is a slip
FEW = 2  # different days of either sort from which on a pattern is seen


def read_days(cells: Cells, plan: Plan) -> Typed:
    """Whole days: since 1 January 2000 where the plan has a calendar, else the export's own day numbers.

    Raises ExportError where days do not fit the plan's basis, where they are written in more than one way, and where
    none of a needed column can be read.
    """
    written = cells.place.format or (ISO if plan.calendar else DAY_NUMBER)
    _fits_basis(cells.where, written, plan)
    if cells.blank:
        return pd.Series(pd.NA, index=cells.words.index, dtype="Int64"), {}
    days = day_numbers(cells.words, written)
    if plan.calendar and written != ISO:
        real = day_numbers(cells.words, ISO)
        _refuse_half_converted(cells, days, real, written)
        days = days.fillna(real)  # a real date cell of a workbook always reads so
    unread = days.isna() & ~cells.not_known
    if unread.any():
        _refuse_another_way(cells, days, unread, written, plan)
    return days, {"garbled": unread}


def _refuse_half_converted(cells: Cells, days: pd.Series, real: pd.Series, written: str) -> None:
    """Stops where a spreadsheet took the day for the month wherever it could: text beyond 12, dates up to 12."""
    if not written.startswith("DD") or "MM" not in written or real.isna().all() or days.isna().all():
        return
    month_days = pd.to_datetime(cells.words.where(real.notna()), errors="coerce", format="mixed").dt.day.dropna()
    texts = pd.to_numeric(cells.words[days.notna()].str.extract(r"^(\d+)")[0], errors="coerce")
    if len(month_days) >= FEW and len(texts) >= FEW and (month_days <= 12).all() and (texts > 12).all():
        raise ExportError(
            f"{cells.where}: dates up to the 12th are real dates and all later ones are text, as if a spreadsheet had "
            "taken days for months; export the column as text, or as real dates throughout"
        )


def _fits_basis(where: str, written: str, plan: Plan) -> None:
    if plan.calendar and written == DAY_NUMBER:
        raise ExportError(
            f"{where}: holds day numbers, but the plan's windows are dates; give quarter_begins and cutoff as day "
            "numbers, or export dates"
        )
    if not plan.calendar and written != DAY_NUMBER:
        raise ExportError(f"{where}: holds dates, but the plan has no calendar; {_CURE[plan.cutoff is None]}")


_CURE = {
    True: (
        "under safe harbor every part of a date but the year must go (45 CFR 164.514(b)(2)): export days counted from "
        "each person's first record, or state the basis under which the dates are held"
    ),
    False: "give quarter_begins and cutoff as dates, or export day numbers",
}


def _refuse_another_way(cells: Cells, days: pd.Series, unread: pd.Series, written: str, plan: Plan) -> None:
    """Stops where what cannot be read is a day after all, or where nothing can be read of a column that is needed."""
    others = [other for other in DAY_FORMATS if other not in (written, DAY_NUMBER, SERIAL)]
    dates = _fitting(cells.words[unread], others)
    if len(dates) and not plan.calendar:
        _fits_basis(cells.first(cells.words.isin(dates)), ISO, plan)
    if len(dates):
        raise ExportError(
            f"{cells.first(cells.words.isin(dates))}: expected a day written {written}, found one written another way; "
            "write all days of the column one way, or name the right format in the map"
        )
    if days.notna().any():
        return
    if plan.calendar and len(_fitting(cells.words[unread], [SERIAL])):
        raise ExportError(
            f'{cells.where}: no dates, but numbers as a spreadsheet counts days; write format = "{SERIAL}" in the map, '
            "or export dates"
        )
    if len(_fitting(cells.words[unread], [DAY_NUMBER])):
        _fits_basis(cells.where, DAY_NUMBER, plan)
    if cells.column.required:
        raise ExportError(f"{cells.where}: no day can be read; expected {written}, or name the right format in the map")


def _fitting(words: pd.Series, formats: list[str]) -> pd.Series:
    """The words that are days in one of these formats."""
    fits = pd.Series(False, index=words.index)
    for written in formats:
        fits |= day_numbers(words, written).notna()
    return words[fits]


def day_numbers(words: pd.Series, written: str) -> pd.Series:
    """The days that texts written in one format hold, as whole numbers; empty for what is none."""
    if written == DAY_NUMBER:
        numbers = pd.to_numeric(words, errors="coerce")
        return numbers.where((numbers % 1 == 0) & (numbers.between(-FARTHEST, FARTHEST, "neither"))).astype("Int64")
    if written == SERIAL:
        numbers = pd.to_numeric(words, errors="coerce")
        return np.floor(numbers.where(numbers.between(*SERIALS))).astype("Int64") - SERIAL_ZERO
    dates = words.str.replace(r"[T ]\d{1,2}:\d{2}.*$", "", regex=True)
    if written == "YYYYMMDD":
        dates = dates.where(dates.str.len() == 8)  # 2026111 could be either of two days
    dates = dates.where(dates.str.contains(r"\d"))  # pandas would take "today" for the day of the run
    stamps = pd.to_datetime(dates, format=DAY_FORMATS[written], errors="coerce")
    real = stamps.between(*CLOCK).to_numpy()
    days = (stamps.to_numpy().astype("datetime64[D]") - np.datetime64(EPOCH)).astype(np.int64)
    return pd.Series(pd.arrays.IntegerArray(np.where(real, days, 1), ~real), index=words.index)
