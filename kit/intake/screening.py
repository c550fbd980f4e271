"""The only way in: text becomes typed columns from closed lists, or it does not come in at all."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from kit.faults import FAULTS, SET_ASIDE, ExportError, found, together
from kit.intake.cells import Cells, Typed, cells_of
from kit.intake.days import read_days
from kit.intake.numbering import NUMBERED, Names
from kit.intake.pseudonyms import forget, read_pseudonyms
from kit.intake.readers import RawTable
from kit.intake.values import read_choices, read_flags, read_numbers, read_stage_words
from kit.intake.written import read_site_words, read_size_words, read_treatment_words
from kit.plan import Plan
from kit.vocabulary import TABLES, Column, Table

# By the name of the column where it has a reader of its own, else by its kind.
READ = {
    "pseudonym": read_pseudonyms,
    "number": read_numbers,
    "choice": read_choices,
    "stage": read_stage_words,
    "flag": read_flags,
    "site": read_site_words,
    "size": read_size_words,
    "modality": read_treatment_words,
}
OF_ONE_CELL = ("number", "choice", "stage", "flag")  # kinds of which a column without a text tells nothing to any other


@dataclass(frozen=True)
class Screened:
    """Typed tables and the faults met on the way. Rows in = rows of `tables` + rows set aside in `faults`.

    `numbered`: the tables with the numbers of wounds and residents in the place of their `names`.
    """

    numbered: dict[str, pd.DataFrame]
    names: Names
    faults: pd.DataFrame

    @cached_property
    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables with the names of wounds and residents."""
        return self.names.told(self.numbered)


def screen(raw: dict[str, RawTable], plan: Plan) -> Screened:
    """Typed tables from the text of an export.

    Pseudonyms stay text; days become whole day numbers; numbers are converted to the vocabulary's unit; words become
    one of the closed list or unknown (empty), and the word itself is forgotten; ages above 89 become 90. A column
    that the export lacks comes out empty, so that every table always has all its columns.

    Raises ExportError where a pseudonym looks like an identifier, where days are written in more than one way, or
    where days do not fit the plan's basis.
    """
    typed, faults = {}, []
    try:
        for name, table in TABLES.items():
            typed[name] = _Typed({}, np.array([], dtype=np.int64), np.array([], dtype=bool))
            if name in raw:
                typed[name], lines = _screen_table(raw[name], table, plan)
                faults += lines
    finally:
        forget()
    names = Names.among({
        (name, column): table.columns[column].words
        for name, table in typed.items() for column in NUMBERED if column in table.columns
    })  # fmt: skip
    numbered = {name: _settled(typed[name], table, names) for name, table in TABLES.items()}
    return Screened(numbered, names, together(faults))


def stops(raw: RawTable, plan: Plan) -> list[str]:
    """Every sentence by which a column of a table would stop the run; empty where none does."""
    told = []
    for column in TABLES[raw.table].columns:
        if column.name in raw.places:
            try:
                _read(raw, column, plan)
            except ExportError as stop:
                told.append(str(stop))
    return told


def _screen_table(raw: RawTable, table: Table, plan: Plan) -> tuple[_Typed, list[pd.DataFrame]]:
    source_row = raw.rows["source_row"]
    columns, faults, aside = {}, [], np.zeros(len(source_row), dtype=bool)
    beside: dict[str, _Column] = {}
    for column in table.columns:
        if column.name not in raw.places:
            continue
        typed, spread, marks = _read(raw, column, plan)
        if isinstance(typed, pd.DataFrame):  # one cell told several of our columns
            beside |= {name: _Column(typed[name], spread) for name in typed if name != column.name}
            typed = typed.get(column.name)
        if typed is not None:
            columns[column.name] = _Column(typed, spread)
        for fault, where in marks.items():
            faults.append(found(table.name, source_row[where & ~aside], fault, column.name))
            aside |= where if column.required or FAULTS[fault].fate == SET_ASIDE else False
    seen_open = beside.pop("seen_open", None)
    if seen_open is not None and seen_open.words.any() and "state" in columns:  # the size says that it was seen open
        state = columns["state"].rows()
        against = seen_open.rows().to_numpy(dtype=bool) & (state == "closed").to_numpy(dtype=bool)
        columns["state"] = _Column.of(state.mask(against, "open"))
        faults.append(found(table.name, source_row[against & ~aside], "contrary", "state"))
    for name, told in beside.items():
        columns[name] = columns[name].else_from(told) if name in columns else told
    return _Typed(columns, source_row.to_numpy(dtype=np.int64), aside), faults


@dataclass(frozen=True)
class _Column:
    """A typed column: the value of every distinct word, and the place in them of each row's."""

    words: pd.Series
    spread: np.ndarray

    @classmethod
    def of(cls, rows: pd.Series) -> _Column:
        return cls(rows, np.arange(len(rows)))

    def rows(self) -> pd.Series:
        return self.words.take(self.spread).reset_index(drop=True)

    def else_from(self, other: _Column) -> _Column:
        """This column, and the other one where it is empty: what has a cell of its own is told there."""
        if not other.words.notna().any():
            return self
        own = self.rows()
        return _Column.of(own.astype(object).where(own.notna(), other.rows()))


@dataclass(frozen=True)
class _Typed:
    """The typed columns of a table, which row of the export each of its rows is, and which of them are set aside."""

    columns: dict[str, _Column]
    source_row: np.ndarray
    aside: np.ndarray


def _read(raw: RawTable, column: Column, plan: Plan) -> tuple[pd.Series, np.ndarray, dict[str, np.ndarray]]:
    """The typed words of a column, the place in them of each row's, and for each fault which rows show it."""
    cells = cells_of(raw, column)
    typed, marks = _typed(cells, plan)
    if column.required:
        own = typed[column.name] if isinstance(typed, pd.DataFrame) else typed
        marks = _costing_the_row(own, marks)
    rows = {fault: np.asarray(words, dtype=bool)[cells.spread] for fault, words in marks.items() if words.any()}
    return typed, cells.spread, rows


def _typed(cells: Cells, plan: Plan) -> Typed:
    column = cells.column
    if column.kind == "day":
        return read_days(cells, plan)
    if column.kind in OF_ONE_CELL and cells.blank:
        return pd.Series([None] * len(cells.words), dtype=_type(column)), {}
    return READ.get(column.name, READ[column.kind])(cells)


def _costing_the_row(typed: pd.Series, marks: dict[str, pd.Series | np.ndarray]) -> dict[str, pd.Series]:
    """What only earns a mark elsewhere costs the row where the row means nothing without it."""
    unreadable = pd.Series(False, index=typed.index)
    for words in marks.values():
        unreadable |= words
    return {"unreadable": unreadable, "blank": typed.isna() & ~unreadable}


def _settled(typed: _Typed, table: Table, names: Names) -> pd.DataFrame:
    """All columns of the table in the rows that are kept, in its order and with their types."""
    nothing = _Column(pd.Series([np.nan], dtype=object), np.zeros(len(typed.source_row), dtype=np.int64))
    kept = np.flatnonzero(~typed.aside) if typed.aside.any() else slice(None)
    out = {"source_row": typed.source_row[kept]}
    for column in table.columns:
        told, kind = typed.columns.get(column.name, nothing), _type(column)
        words = told.words
        if column.name in NUMBERED:
            words = names.numbers(column.name, words)
        elif column.kind != "day":  # that must be there may be missing among the words, and not in rows that are kept
            words = words.astype(kind)
        out[column.name] = words.array.take(told.spread[kept]).astype(kind, copy=False)
    return pd.DataFrame(out, copy=False)


def _type(column: Column) -> object:
    """Days that must be there are plain whole numbers, so that arithmetic on them stays exact."""
    if column.kind == "size":
        return object
    if column.name in NUMBERED:
        return "float64"  # a whole number, or missing
    if column.kind in ("choice", "stage", "site"):
        return pd.CategoricalDtype(column.allowed)
    if column.kind == "day":
        return "int64" if column.required else "Int64"
    return {"pseudonym": object, "number": "float64", "flag": "boolean"}[column.kind]
