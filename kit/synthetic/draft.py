"""An export on the desk: cells can be changed and rows slipped in, and where each slip ends up is remembered."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

import numpy as np
import pandas as pd

PLANTED = ["table", "source_row", "column", "fault"]


class Draft:
    """The tables as text, and the faults planted so far.

    A wound that carries one fault is given no other, so that each stands alone and can be told apart. Rows keep
    their labels; `finish` turns labels into the row numbers of the file, whose header is row 1.
    """

    def __init__(self, tables: dict[str, pd.DataFrame], spared_wounds: Iterable[str], spared_people: Iterable[str]):
        self.tables = {name: frame.copy() for name, frame in tables.items()}
        self._place = {name: pd.Series(np.arange(len(f), dtype=float), f.index) for name, f in tables.items()}
        self._spoilt, self._spared = set(spared_wounds), set(spared_people)
        self._touched: set[tuple[str, int]] = set()
        self._planted: list[tuple[str, int, str, str]] = []

    def take(self, table: str, where: pd.Series, n: int, rng: np.random.Generator, or_fewer: bool = False) -> list[int]:
        """Labels of `n` rows for which `where` holds, none of them touched; of measurements one a wound.

        Raises ValueError where there are not so many, unless fewer will do.
        """
        frame = self.tables[table]
        able = where & ~frame.index.isin([label for name, label in self._touched if name == table])
        for column, barred in (("wound", self._spoilt), ("resident", self._spared)):
            if column in frame:
                able &= ~frame[column].isin(barred)
        labels = rng.permutation(frame.index[able])
        if table == "measurements":
            labels = labels[~frame.loc[labels, "wound"].duplicated()]
        chosen = [int(label) for label in labels[:n]]
        if len(chosen) < n and not or_fewer:
            raise ValueError(f"{table}: only {len(chosen)} of {n} rows could be spoilt; lower the number")
        self._touched |= {(table, label) for label in chosen}
        if table == "measurements":
            self._spoilt |= set(frame.loc[chosen, "wound"])
        return chosen

    def change(self, table: str, label: int, fault: str, column: str, **cells: str) -> None:
        """Writes `cells` into a row; the fault is looked for in `column` ("" where it is the whole row's)."""
        for name, value in cells.items():
            self.tables[table].loc[label, name] = value
        self.mark(table, label, fault, column)

    def slip_in(self, table: str, label: int, fault: str, **cells: str) -> int:
        """Puts a copy of a row, with `cells` changed, right below it; it is a fault if one is named. Its label."""
        frame, place = self.tables[table], self._place[table]
        new = int(frame.index.max()) + 1
        copy = frame.loc[[label]].assign(**cells)
        copy.index = [new]
        self.tables[table] = pd.concat([frame, copy])
        self._place[table] = pd.concat([place, pd.Series([place[label] + 0.5], [new])])
        self._touched.add((table, new))
        if fault:
            self.mark(table, new, fault, "")
        return new

    def mark(self, table: str, label: int, fault: str, column: str) -> None:
        self._planted.append((table, label, column, fault))

    def finish(self) -> tuple[dict[str, pd.DataFrame], dict[str, pd.Series], pd.DataFrame]:
        """The tables, for each the row number of every label, and the faults planted (columns PLANTED)."""
        order = {name: self._place[name].sort_values(kind="stable").index for name in self.tables}
        numbers = {name: pd.Series(np.arange(len(labels)) + 2, labels) for name, labels in order.items()}
        told = [(table, int(numbers[table][label]), column, fault) for table, label, column, fault in self._planted]
        tables = {name: frame.loc[order[name]].reset_index(drop=True) for name, frame in self.tables.items()}
        return tables, numbers, pd.DataFrame(sorted(told), columns=PLANTED)


def plus(day: str, days: int) -> str:
    """A date so many days later."""
    return (date.fromisoformat(day) + timedelta(days=int(days))).isoformat()


def middle(draft: Draft) -> pd.Series:
    """Open measurements with at least one before and two after, all open."""
    frame = draft.tables["measurements"]
    state = frame.groupby("wound")["state"]
    return (
        (frame["state"] == "open")
        & (state.shift(1) == "open")
        & (state.shift(-1) == "open")
        & (state.shift(-2) == "open")
    )


def last(draft: Draft, table: str = "measurements") -> pd.Series:
    """The last row of each wound."""
    return ~draft.tables[table].duplicated("wound", keep="last")


def later_sessions(draft: Draft) -> pd.Series:
    """Sessions given, neither the first nor the last of their wound."""
    frame = draft.tables["sessions"]
    inner = frame.duplicated("wound") & frame.duplicated("wound", keep="last")
    return inner & (frame["status"] == "given") & (frame["wound"] != "") & (frame["minutes"] != "")


def size(frame: pd.DataFrame, column: str) -> pd.Series:
    """A column of sizes as numbers."""
    return pd.to_numeric(frame[column], errors="coerce")


def debrided(draft: Draft) -> pd.Series:
    """Procedures at which pain was asked for."""
    return draft.tables["procedures"]["pain_before"] != ""


def short_trips(draft: Draft) -> pd.Series:
    """Hospital trips that ended within three weeks."""
    frame = draft.tables["departures"]
    days = pd.to_datetime(frame["returned"]) - pd.to_datetime(frame["day"])
    return days < pd.Timedelta(days=20)
