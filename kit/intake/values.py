"""Reading numbers and words: a number in the vocabulary's unit, a word of its closed list, or nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.intake.cells import Cells, Typed
from kit.intake.stages import read_stages
from kit.vocabulary import UNITS

OLDEST = 90  # 45 CFR 164.514(b)(2)(i)(C): ages over 89 are pooled into 90 and older
POOLED = r"90\s*(?:\+|(?:and|or|&) (?:older|over|above|more))|(?:>|over)\s*89|(?:>=|≥)\s*90"
YES = ("yes", "y", "true", "t", "1", "x")
NO = ("no", "n", "false", "f", "0")


def read_numbers(cells: Cells) -> Typed:
    """Numbers in the vocabulary's unit; what is below zero or cannot be measured is emptied.

    A number must stand alone, with a point: 3,5 and 1,234 and <0.1 say different things to different people.
    """
    column = cells.column
    numbers = pd.to_numeric(cells.words.mask(cells.not_known), errors="coerce").replace([np.inf, -np.inf], np.nan)
    numbers = numbers * UNITS[column.unit][(cells.place.unit or column.unit).lower()]
    numbers = numbers.astype("float64").round(9)  # 25.4 mm and 2.54 cm are the same size to the last digit we keep
    if column.name == "age":
        numbers = _pooled(numbers, cells.folded)
    garbled = numbers.isna() & ~cells.not_known
    negative = numbers < min(0, column.low)
    impossible = ~negative & ((numbers < column.low) | (numbers > column.high))
    marks = {"garbled": garbled, "negative": negative, "impossible": impossible}
    return numbers.mask(negative | impossible), marks


def _pooled(ages: pd.Series, words: pd.Series) -> pd.Series:
    """Ages up to 89 as they are, older ones as 90, whatever their unit and however the pool is written."""
    pooled = words.str.fullmatch(POOLED).astype(bool)
    return ages.mask(pooled | ages.between(OLDEST, 120), OLDEST)


def read_choices(cells: Cells) -> Typed:
    """Words of the column's closed list, by its own name or by the map's; any other word is unknown and forgotten."""
    listed = {value.lower(): value for value in cells.column.allowed} | cells.meant
    joined = cells.folded.str.replace(r"[\s-]+", "_", regex=True)
    return _from_list(cells, cells.folded.map(listed).where(cells.folded.isin(listed), joined.map(listed)).to_list())


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
