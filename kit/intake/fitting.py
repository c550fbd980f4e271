"""Whether what stands below a header can be what the header says: the second witness of a drafted map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.intake.cells import NOT_KNOWN
from kit.intake.days import ISO, SERIALS, day_numbers
from kit.intake.headers import short_for
from kit.intake.lexicon import plain, site_words
from kit.intake.mapping import ASK, DAY_FORMATS, DAY_NUMBER, SERIAL
from kit.intake.places import read_sites
from kit.intake.pseudonyms import resembles
from kit.intake.size_words import read_sizes
from kit.intake.stages import read_stages
from kit.intake.treatments import read_treatment
from kit.intake.values import LONG, meaning, numbers_in, pointed, spoken
from kit.vocabulary import UNITS, Column

# Shares of the filled cells that must be read before a header is believed; common practice, no source.
ENOUGH = {
    "pseudonym": 1.0,
    "number": 0.8,
    "day": 0.9,
    "choice": 0.5,
    "flag": 0.8,
    "stage": 0.5,
    "size": 0.6,
    "site": 0.5,
}
EMPTY = "it is empty in this export"
KNOWN = 0.98  # share of cells read from which on nothing is said
EXPLAIN = "its words are not known; list each under values"
CODES = 15  # so many different words at most are a list of codes; more are free text


@dataclass(frozen=True)
class Fit:
    """How the cells below a header fit a column: the share that is read, and what the map has to say with it.

    `doubt` is a sentence for the person who reads the map, empty where there is none; `formats` are all the ways of
    writing a day that fit.
    """

    share: float
    fits: bool
    unit: str | None = None
    format: str | None = None
    doubt: str = ""
    formats: tuple[str | None, ...] = ()
    guessed: bool = False  # the unit is that of the numbers, for the header says none


def fit(table: str, column: Column, cells: pd.Series, unit: str | None, decimal: str, header: str = "") -> Fit:
    """How the cells below a header fit one column of ours. `cells`: text; `unit`: what the header says, if it does."""
    told = cells[~cells.str.lower().isin(NOT_KNOWN)]
    if told.empty:
        own = next(iter(UNITS.get(column.unit, ())), None)
        return Fit(0.0, not column.required, None if unit == own else unit, doubt=EMPTY)
    words = told.value_counts()
    if column.kind == "day":
        return _fit_days(words)
    if column.kind == "number":
        return _fit_numbers(column, words, unit, decimal)
    if column.kind == "pseudonym":
        return _fit_pseudonyms(column, words)
    return _fit_words(table, column, words, unit, decimal, header)


def _share(words: pd.Series, read: np.ndarray | pd.Series) -> float:
    """The share of cells, not of different words, that are read."""
    return float(words.to_numpy()[np.asarray(read, dtype=bool)].sum() / words.sum())


def _fit_days(words: pd.Series) -> Fit:
    """The one way in which days are written; where several fit well enough the map asks."""
    texts = pd.Series(words.index, dtype=object)
    read = {written: _share(words, day_numbers(texts, written).notna()) for written in DAY_FORMATS}
    numbers = _share(words, pd.to_numeric(texts, errors="coerce").between(*SERIALS))
    dates = {written: share for written, share in read.items() if written not in (DAY_NUMBER, SERIAL)}
    best = max(dates.values())
    if best >= ENOUGH["day"]:
        fitting = [written for written, share in dates.items() if share >= ENOUGH["day"]]  # one slip decides nothing
        if len(fitting) == 1:
            return Fit(best, True, format=None if fitting[0] == ISO else fitting[0])
        doubt = f"days fit {' and '.join(fitting)}; write which one it is"
        return Fit(best, True, format=ASK, doubt=doubt, formats=tuple(fitting))
    if numbers >= ENOUGH["day"]:
        return Fit(numbers, True, format=SERIAL)
    share = read[DAY_NUMBER]
    return Fit(max(share, best), share >= ENOUGH["day"], format=DAY_NUMBER)


def _fit_numbers(column: Column, words: pd.Series, unit: str | None, decimal: str) -> Fit:
    """Numbers in the unit that the header says; where it says none, in the first that makes them possible."""
    texts = pd.Series(words.index, dtype=object)
    own = next(iter(UNITS[column.unit]))
    numbers = numbers_in(texts, column, own, decimal).to_numpy(dtype=float)
    if column.name == "age":
        numbers = np.where(texts.str.contains(r"89|9\d", regex=True) & np.isnan(numbers), 90, numbers)
    known = UNITS[column.unit]
    if unit == "%" and _are_shares(numbers):  # a spreadsheet shows 0.5 as 50%
        return Fit(1.0, True, "share", doubt="the header says %, and no cell is above 1; read as shares")
    for tried in [unit] if unit else known:
        scaled = numbers * known[tried]
        share = _share(words, (scaled >= column.low) & (scaled <= column.high))
        if share >= ENOUGH["number"] and (unit or _likely(column, tried, scaled, words)):
            doubt = _doubt(column, unit, tried)
            return Fit(share, True, None if tried == own else tried, doubt=doubt, guessed=unit is None)
    return Fit(share, False)


def _are_shares(numbers: np.ndarray) -> bool:
    """Numbers none of which is above 1, and some between nought and 1."""
    told = numbers[~np.isnan(numbers)]
    return len(told) > 0 and told.max() <= 1 and bool(((told > 0) & (told < 1)).any())


def _likely(column: Column, unit: str, scaled: np.ndarray, words: pd.Series) -> bool:
    """A unit that nobody wrote down is believed only where its numbers are of the usual size."""
    typical = float(np.median(np.repeat(scaled, words)[np.repeat(~np.isnan(scaled), words)]))
    if column.name in ("length", "width", "depth"):
        return typical <= LONG
    if column.unit == "%" and unit == "%":
        return not _are_shares(scaled)
    return True


def _doubt(column: Column, unit: str | None, tried: str) -> str:
    if unit is None and column.unit in ("cm", "cm2", "%", "MHz"):
        return f"no unit in the header; read as {tried}"
    return ""


def _fit_pseudonyms(column: Column, words: pd.Series) -> Fit:
    texts = pd.Series(words.index, dtype=object)
    what = resembles(column.name, texts)
    if what:
        return Fit(0.0, False, doubt=f"it holds what looks like {what}; put a pseudonym that means nothing there")
    several = len(words) > 1 or column.name == "facility" or words.sum() == 1
    return Fit(1.0, several)


def _fit_words(table: str, column: Column, words: pd.Series, unit: str | None, decimal: str, header: str) -> Fit:
    """Words that are known; words that shorten known ones, or a few numbers, are believed and have to be explained."""
    texts = pd.Series(words.index, dtype=object)
    share = _share(words, _read(table, column, texts, unit, decimal, header))
    if share >= ENOUGH[column.kind]:
        doubt = "" if share > KNOWN else "some of its words are not known; list them under values"
        return Fit(share, True, unit, doubt=doubt)
    listed = column.kind in ("choice", "flag", "site") and len(words) <= CODES
    if listed and (_share(words, _shortened(table, column, texts)) >= ENOUGH[column.kind] or texts.str.isdigit().all()):
        return Fit(share, True, doubt=EXPLAIN)
    return Fit(share, False)


def _read(table: str, column: Column, texts: pd.Series, unit: str | None, decimal: str, header: str) -> pd.Series:
    if column.kind == "size":
        return read_sizes(pointed(texts, decimal), unit or column.unit)["state"].notna()
    if column.kind == "stage":
        return read_stages(texts).notna()
    if column.kind == "site":
        return texts.map(lambda text: bool(read_sites(text)))
    if column.name == "modality":
        return texts.map(lambda text: bool(read_treatment(text)))
    listed = {value: value for value in column.allowed} if column.kind == "choice" else {}
    known = spoken(table, column, header)
    return texts.str.lower().map(lambda word: meaning(word, listed, known) is not None)


def _shortened(table: str, column: Column, texts: pd.Series) -> pd.Series:
    """Which words are known, or each of whose parts shortens a part of a word that is."""
    known = site_words() if column.kind == "site" else spoken(table, column)
    phrases = [phrase.replace("_", " ").split() for phrase in {*known, *column.allowed}]

    def short(text: str) -> bool:
        parts = plain(text).split()
        return any(len(parts) == len(full) and all(map(short_for, parts, full)) for full in phrases)

    return texts.map(short)
