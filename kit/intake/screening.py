"""The only way in: text becomes typed columns from closed lists, or it does not come in at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.faults import FAULTS, SET_ASIDE, ExportError, found, together
from kit.intake.cells import cells_of
from kit.intake.days import read_days
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
    try:
        for name, table in TABLES.items():
            if name in raw:
                tables[name], lines = _screen_table(raw[name], table, plan)
                faults += lines
            else:
                tables[name] = _settled({}, pd.Series([], dtype="int64"), table, np.array([], dtype=np.int64))
    finally:
        forget()
    return Screened(tables, together(faults))


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


def _screen_table(raw: RawTable, table: Table, plan: Plan) -> tuple[pd.DataFrame, list[pd.DataFrame]]:
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
    return _settled(columns, source_row, table, np.flatnonzero(~aside)), faults


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


def _read(raw: RawTable, column: Column, plan: Plan) -> tuple[pd.Series, np.ndarray, dict[str, np.ndarray]]:
    """The typed words of a column, the place in them of each row's, and for each fault which rows show it."""
    cells = cells_of(raw, column)
    typed, marks = read_days(cells, plan) if column.kind == "day" else READ.get(column.name, READ[column.kind])(cells)
    if column.required:
        own = typed[column.name] if isinstance(typed, pd.DataFrame) else typed
        marks = _costing_the_row(own, marks)
    rows = {fault: words.to_numpy(dtype=bool)[cells.spread] for fault, words in marks.items() if words.any()}
    return typed, cells.spread, rows


def _costing_the_row(typed: pd.Series, marks: dict[str, pd.Series]) -> dict[str, pd.Series]:
    """What only earns a mark elsewhere costs the row where the row means nothing without it."""
    unreadable = pd.Series(False, index=typed.index)
    for words in marks.values():
        unreadable |= words
    return {"unreadable": unreadable, "blank": typed.isna() & ~unreadable}


def _settled(columns: dict[str, _Column], source_row: pd.Series, table: Table, kept: np.ndarray) -> pd.DataFrame:
    """All columns of the table in these rows, in its order and with their types."""
    nothing = _Column(pd.Series([np.nan], dtype=object), np.zeros(len(source_row), dtype=np.int64))
    typed = {"source_row": source_row.astype("int64").to_numpy()[kept]}
    for column in table.columns:
        told, kind = columns.get(column.name, nothing), _type(column)
        # A day that must be there may be missing among the words, and only rows that are kept have one.
        words = told.words if column.kind == "day" else told.words.astype(kind)
        typed[column.name] = words.array.take(told.spread[kept]).astype(kind, copy=False)
    return pd.DataFrame(typed)


def _type(column: Column) -> object:
    """Days that must be there are plain whole numbers, so that arithmetic on them stays exact."""
    if column.kind == "size":
        return object
    if column.kind in ("choice", "stage", "site"):
        return pd.CategoricalDtype(column.allowed)
    if column.kind == "day":
        return "int64" if column.required else "Int64"
    return {"pseudonym": object, "number": "float64", "flag": "boolean"}[column.kind]
