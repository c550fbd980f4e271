"""Reading numbers and words: a number in the vocabulary's unit, a word of its closed list, or nothing."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from kit.faults import ExportError
from kit.intake.cells import Cells, Typed
from kit.intake.headers import answers, unit_of
from kit.intake.lexicon import DOUBTED, plain, words_for
from kit.intake.stages import read_stages
from kit.vocabulary import UNITS, Column

OLDEST = 90  # 45 CFR 164.514(b)(2)(i)(C): ages over 89 are pooled into 90 and older
POOLED = r"90\s*(?:\+|(?:and|or|&) (?:older|over|above|more))|(?:>|over)\s*89|(?:>=|≥)\s*90"
UNREAD_SHARE, UNREAD_CELLS = 0.02, 3  # of a telling column: up to this share, or fewer cells, are slips of typing
LONG = 15  # cm; half of all wounds are never longer, but half of all wounds are longer than 15 mm


def read_numbers(cells: Cells) -> Typed:
    """Numbers in the vocabulary's unit; what is below zero or cannot be measured is emptied.

    A number must stand alone or before a unit of its kind (45 min), and with a point: 3,5 and 1,234 and <0.1 say
    different things to different people. A unit in the cell goes before that of the map.
    """
    column, known = cells.column, ~cells.not_known.to_numpy(dtype=bool)
    told = numbers_in(cells.words.where(known), column, cells.place.unit, cells.raw.decimal)
    _refuse_decimal_commas(cells, told)
    _refuse_forgotten_unit(cells, told)
    _refuse_shares(cells, told)
    told = told.round(9)  # 25.4 mm and 2.54 cm are the same size to the last digit we keep
    if column.name == "age":
        told = _pooled(told, cells.folded)
    numbers = told.to_numpy(dtype=float)
    negative = numbers < min(0, column.low)
    impossible = ~negative & ((numbers < column.low) | (numbers > column.high))
    marks = {"garbled": known & np.isnan(numbers), "negative": negative, "impossible": impossible}
    return pd.Series(np.where(negative | impossible, np.nan, numbers), index=told.index), marks


def numbers_in(words: pd.Series, column: Column, unit: str | None, decimal: str) -> pd.Series:
    """The numbers that texts hold, in the vocabulary's unit; empty for what is none."""
    factors = UNITS[column.unit]
    usual = factors[(unit or column.unit).lower()]
    alone = pd.to_numeric(pointed(words, decimal), errors="coerce").to_numpy(dtype=float)
    if (~np.isnan(alone) | words.isna().to_numpy()).all():  # no unit stands beside any of them
        return pd.Series(np.where(np.isfinite(alone), alone, np.nan) * usual, index=words.index)
    parts = words.str.extract(r"^([-+]?[\d.,]*\d)\s*(\D.*)$")
    own = parts[1].map(lambda told: factors.get(unit_of(told, column.unit)) if isinstance(told, str) else None)
    own = own.astype("float64")
    numbers = pd.to_numeric(pointed(words.mask(own.notna(), parts[0]), decimal), errors="coerce")
    return numbers.where(np.isfinite(numbers)) * own.fillna(usual)


def pointed(words: pd.Series, decimal: str) -> pd.Series:
    """Numbers written with a decimal comma as with a point; points that part thousands are taken out."""
    if decimal == "point":
        return words
    thousands = words.str.fullmatch(r"[-+]?\d{1,3}(\.\d{3})+(,\d+)?").eq(True)
    return words.mask(thousands, words.str.replace(".", "", regex=False)).str.replace(",", ".", regex=False)


def _refuse_decimal_commas(cells: Cells, numbers: pd.Series) -> None:
    """Stops where more than half of what is told are numbers with a comma: the map has to say what it means."""
    if not any("," in word for word in cells.words):
        return
    commas = numbers.isna() & cells.words.str.fullmatch(r"[-+]?\d*,\d{1,2}").astype(bool)
    if cells.rows(commas) > max(UNREAD_CELLS - 1, cells.rows(~cells.not_known) / 2):
        raise ExportError(
            f'{cells.first(commas)}: numbers with a comma; where it is a decimal comma write decimal = "comma" in the '
            "map, above the table's columns"
        )


def _refuse_forgotten_unit(cells: Cells, numbers: pd.Series) -> None:
    """Stops where more than half of the lengths are beyond belief in centimetres; what is above zero was open."""
    if cells.column.name == "length" and cells.place.unit is None:
        lengths = numbers.to_numpy(dtype=float)[cells.spread]
        if (lengths > LONG).sum() > (lengths > 0).sum() / 2:
            raise ExportError(
                f"{cells.where}: half of the lengths are above {LONG} cm; name their unit in the map "
                '(unit = "mm"; unit = "cm" says they are right)'
            )


def _refuse_shares(cells: Cells, numbers: pd.Series) -> None:
    """Stops where a column of percent holds shares: a spreadsheet shows 0.5 as 50%."""
    if cells.column.unit == "%" and cells.place.unit is None and numbers.max() <= 1:
        if cells.rows((numbers > 0) & (numbers < 1)) >= UNREAD_CELLS:
            raise ExportError(
                f"{cells.where}: no number is above 1, as if they were shares; name their unit in the map "
                '(unit = "share"; unit = "%" says they are right)'
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
    known = spoken(cells.raw.table, cells.column, cells.place.column)
    if cells.column.name == "sex" and cells.folded.eq("h").any():
        known = {word: value for word, value in known.items() if word != "m"}  # hombre and mujer
    typed, marks = _from_list(cells, [meaning(word, listed, known) for word in cells.folded])
    if cells.column.telling:
        refuse_unread(cells, marks["unknown"], f"in the list ({', '.join(cells.column.allowed)}) or the map")
    return typed, marks


def spoken(table: str, column: Column, header: str = "") -> dict[str, str]:
    """The words of the trade for a column. A reason means one thing of a session and another of a departure.

    Below a header that asks (Done?), yes and no are words as well, in all their spellings.
    """
    kind = "flag" if column.kind == "flag" else column.name
    known = words_for("reason_left" if (table, kind) == ("departures", "reason") else kind)
    said = answers(table, column.name, header)
    return known | {word: said[flag] for word, flag in words_for("yes_no").items()} if said else known


def meaning(word: str, listed: dict[str, str], spoken: dict[str, str]) -> str | None:
    """What a word means: by the map and the closed list, then as the trade speaks; nothing where it is doubted."""
    joined = re.sub(r"[\s-]+", "_", word)
    told = listed.get(word) or listed.get(joined)
    return told or (None if DOUBTED.search(word) else spoken.get(plain(word)))


def refuse_unread(cells: Cells, unread: pd.Series, known: str) -> None:
    """Stops where too many cells hold a word that is not known."""
    count, filled = cells.rows(unread), cells.rows(~cells.not_known)
    if count >= UNREAD_CELLS and count > UNREAD_SHARE * filled:
        raise ExportError(
            f"{cells.first(unread)}: {count} of {filled} cells hold a word that is not {known}; "
            'list each under values, "unknown" among the meanings'
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
    known = spoken(cells.raw.table, cells.column)
    meant = cells.folded.map(lambda word: meaning(word, cells.meant, known))
    flags = meant.map({"yes": True, "no": False}).astype("boolean")
    return flags, {"unknown": meant.isna() & ~cells.not_known}
