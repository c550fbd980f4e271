"""Reading numbers and words: a number in the vocabulary's unit, a word of its closed list, or nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.faults import ExportError
from kit.intake.cells import Cells, Typed
from kit.intake.stages import read_stages
from kit.vocabulary import UNITS

OLDEST = 90  # 45 CFR 164.514(b)(2)(i)(C): ages over 89 are pooled into 90 and older
POOLED = r"90\s*(?:\+|(?:and|or|&) (?:older|over|above|more))|(?:>|over)\s*89|(?:>=|≥)\s*90"
YES = ("yes", "y", "true", "t", "1", "x")
NO = ("no", "n", "false", "f", "0")
UNREAD_SHARE, UNREAD_CELLS = 0.02, 3  # of a telling column: up to this share, or fewer cells, are slips of typing
LONG = 15  # cm; half of all wounds are never longer, but half of all wounds are longer than 15 mm


def read_numbers(cells: Cells) -> Typed:
    """Numbers in the vocabulary's unit; what is below zero or cannot be measured is emptied.

    A number must stand alone, with a point: 3,5 and 1,234 and <0.1 say different things to different people.
    """
    column = cells.column
    numbers = pd.to_numeric(cells.words.mask(cells.not_known), errors="coerce").replace([np.inf, -np.inf], np.nan)
    numbers = numbers * UNITS[column.unit][(cells.place.unit or column.unit).lower()]
    _refuse_forgotten_unit(cells, numbers)
    numbers = numbers.astype("float64").round(9)  # 25.4 mm and 2.54 cm are the same size to the last digit we keep
    if column.name == "age":
        numbers = _pooled(numbers, cells.folded)
    garbled = numbers.isna() & ~cells.not_known
    negative = numbers < min(0, column.low)
    impossible = ~negative & ((numbers < column.low) | (numbers > column.high))
    marks = {"garbled": garbled, "negative": negative, "impossible": impossible}
    return numbers.mask(negative | impossible), marks


def _refuse_forgotten_unit(cells: Cells, numbers: pd.Series) -> None:
    """Stops where more than half of the lengths are beyond belief in centimetres; what is above zero was open."""
    if cells.column.name == "length" and cells.place.unit is None:
        lengths = numbers.to_numpy(dtype=float)[cells.spread]
        if (lengths > LONG).sum() > (lengths > 0).sum() / 2:
            raise ExportError(
                f"{cells.where}: half of the lengths are above {LONG} cm; name their unit in the map "
                '(unit = "mm"; unit = "cm" says they are right)'
            )


def _pooled(ages: pd.Series, words: pd.Series) -> pd.Series:
    """Ages up to 89 as they are, older ones as 90, whatever their unit and however the pool is written."""
    pooled = words.str.fullmatch(POOLED).astype(bool)
    return ages.mask(pooled | ages.between(OLDEST, 120), OLDEST)


def read_choices(cells: Cells) -> Typed:
    """Words of the column's closed list, by its own name or by the map's; any other word is unknown and forgotten.

    Raises ExportError where too many cells of a telling column hold such a word.
    """
    listed = {value.lower(): value for value in cells.column.allowed} | cells.meant
    joined = cells.folded.str.replace(r"[\s-]+", "_", regex=True)
    meanings = cells.folded.map(listed).where(cells.folded.isin(listed), joined.map(listed))
    typed, marks = _from_list(cells, meanings.to_list())
    if cells.column.telling:
        _refuse_unread(cells, marks["unknown"])
    return typed, marks


def _refuse_unread(cells: Cells, unread: pd.Series) -> None:
    count, filled = cells.rows(unread), cells.rows(~cells.not_known)
    if count >= UNREAD_CELLS and count > UNREAD_SHARE * filled:
        raise ExportError(
            f"{cells.first(unread)}: {count} of {filled} cells hold a word that is not in the list "
            f'({", ".join(cells.column.allowed)}) or the map; list each under values, "unknown" among the meanings'
        )


def read_stage_words(cells: Cells) -> Typed:
    """Stages as charts write them, after the grammar of stages; the map's own words come first."""
    read = read_stages(cells.words)
    return _from_list(cells, [cells.meant.get(word, stage) for word, stage in zip(cells.folded, read, strict=True)])


def _from_list(cells: Cells, meanings: list) -> Typed:
    meant = pd.Series(meanings, dtype=object)
    return meant.astype(pd.CategoricalDtype(cells.column.allowed)), {"unknown": meant.isna() & ~cells.not_known}


def read_flags(cells: Cells) -> Typed:
    """True, false or unknown, from the usual spellings and the map's own words."""
    told = dict.fromkeys(YES, "yes") | dict.fromkeys(NO, "no") | cells.meant
    meant = cells.folded.map(told)
    flags = meant.map({"yes": True, "no": False}).astype("boolean")
    return flags, {"unknown": meant.isna() & ~cells.not_known}
