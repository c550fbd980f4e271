"""From the simulator's numbers to the cells of a file: every cell is text, and a blank one is empty."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import date_of
from kit.synthetic.world import FIRST
from kit.vocabulary import TABLES, Column


def as_text(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """The columns of the vocabulary in its order, as they stand in the file; labels of rows are kept."""
    empty = pd.Series("", index=frame.index)
    return pd.DataFrame(
        {
            column.name: _cells(column, frame[column.name]) if column.name in frame else empty
            for column in TABLES[name].columns
        }
    )


def written(day: float) -> str:
    """A day of the export as a calendar date, YYYY-MM-DD."""
    return date_of(FIRST + int(day)).isoformat()


def _cells(column: Column, values: pd.Series) -> pd.Series:
    if column.kind == "day":
        return _mapped(values, written)
    if column.kind == "number":
        # Sizes keep one decimal, as a ruler is read: 2.0 and not 2.
        return _mapped(values.astype(float), "{:.1f}".format if column.unit == "cm" else _number)
    return values.astype(object).where(values.notna(), "").astype(str)


def _number(value: float) -> str:
    return np.format_float_positional(round(value, 2), trim="-")


def _mapped(values: pd.Series, write) -> pd.Series:
    known = {value: write(value) for value in values.dropna().unique()}
    return values.map(known).astype(object).where(values.notna(), "")
