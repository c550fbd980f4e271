"""Cleaning: every fault of the screened tables is repaired, set aside or marked, and counted by its row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.faults import SET_ASIDE, found, together
from kit.intake import contradictions as says
from kit.intake import courses, sizes
from kit.intake.contradictions import DATED, Tables
from kit.intake.linking import HALF, NONE, SEVERAL, link
from kit.intake.screening import Screened
from kit.plan import Plan


@dataclass(frozen=True)
class Cleaned:
    """Clean tables, all faults, and the account: table, rows_in, kept, set_aside."""

    tables: Tables
    faults: pd.DataFrame
    account: pd.DataFrame


class _Bench:
    """Tables on their way. Each row that is taken out or marked leaves a line."""

    def __init__(self, screened: Screened) -> None:
        self.tables = {name: says.in_order(frame, name) for name, frame in screened.numbered.items()}
        self.lines = [screened.faults]

    def mark(self, name: str, where: pd.Series, fault: str, column: str = "") -> None:
        if where.any():
            self.lines.append(found(name, self.tables[name].loc[where, "source_row"], fault, column))

    def set_aside(self, name: str, where: pd.Series, fault: str) -> None:
        if where.any():
            self.mark(name, where, fault)
            self.tables[name] = self.tables[name][~where]

    def change(self, name: str, **columns: pd.Series) -> None:
        self.tables[name] = says.changed(self.tables[name], **columns)


def clean(screened: Screened, plan: Plan) -> Cleaned:
    """Tables without contradictions, each in the order of its key, and an account in which no row is missing.

    `measurements` gains `size` (cm2: by the plan's rule from length and width, else the recorded area) and
    `size_from` (rectangle, ellipse, tracing), `sessions` `tied` (see `kit.intake.linking.link`). Where the export
    shares no calendar, days are recounted from each person's first record. A row that is set aside is told by that
    alone: its marks would speak of a row that is gone.
    """
    bench = _Bench(screened)
    _once_and_owned(bench)
    _closed_by_surgery(bench)
    _possible_in_time(bench, plan)
    _measured(bench, plan)
    _linked(bench)
    _on_course(bench, plan)
    _back_from_hospital(bench, plan)
    tables = says.from_first_record(bench.tables) if plan.cutoff is None else bench.tables
    tables = screened.names.told({name: says.anew(frame) for name, frame in tables.items()})
    faults = _told_once(together(bench.lines))
    return Cleaned(tables, faults, _account(tables, faults))


def _once_and_owned(bench: _Bench) -> None:
    """Each thing stands once and belongs to somebody. An absent residents table can own nobody."""
    for name, frame in bench.tables.items():
        again = says.repeated(frame, name)
        if name == "sessions":  # two sites that were not understood may be two; such rows only look the same
            again &= ~_unread_sites(bench)
        bench.set_aside(name, again, "duplicate")
    tables = bench.tables
    bench.set_aside("spans", tables["spans"][["wound", "resident"]].isna().all(axis=1), "blank")
    bench.set_aside("wounds", says.ownerless(tables["wounds"], _people(tables)), "orphan")
    for name in ("residents", "wounds"):
        bench.set_aside(name, says.clashing(tables[name], name), "clash")
    people = _people(tables)  # without a residents table, fewer now
    for name in DATED:
        bench.set_aside(name, says.ownerless(tables[name], people, tables["wounds"]["wound"]), "orphan")


def _people(tables: Tables) -> pd.Series:
    return tables["residents" if len(tables["residents"]) else "wounds"]["resident"]


def _closed_by_surgery(bench: _Bench) -> None:
    """A surgical closure is of one wound: the one named, or the only one that the person has."""
    name, departures = "departures", bench.tables["departures"]
    nameless = (departures["reason"] == "surgical_closure") & departures["wound"].isna()
    only = says.only_wound_of(departures["resident"], bench.tables["wounds"])
    bench.change(name, wound=departures["wound"].mask(nameless, only))
    bench.set_aside(name, nameless & only.isna(), "astray")
    bench.tables[name] = says.in_order(bench.tables[name], name)
    bench.set_aside(name, says.repeated(bench.tables[name], name), "duplicate")


def _possible_in_time(bench: _Bench, plan: Plan) -> None:
    """Nothing was known before it happened, ended before it began, or was done to the dead."""
    tables = bench.tables
    if plan.cutoff is not None:
        for name, day in DATED.items():
            bench.set_aside(name, tables[name][day] > plan.cutoff, "future")
        for name, day in (("spans", "to_day"), ("departures", "returned"), ("residents", "last_day")):
            # An end that lies after the cut-off was not known then; it is no fault, for a plan may look back.
            bench.change(name, **{day: tables[name][day].mask(tables[name][day] > plan.cutoff)})
    bench.set_aside("spans", says.backwards(tables["spans"], "from_day", "to_day"), "backwards")
    bench.set_aside("departures", says.backwards(tables["departures"], "day", "returned"), "backwards")
    departures = tables["departures"]
    for name, day in DATED.items():
        people = says.person_of(tables[name], tables["wounds"])
        bench.set_aside(name, says.after_death(tables[name], day, people, departures), "after_death")


def _measured(bench: _Bench, plan: Plan) -> None:
    """Every measurement has one size and one state."""
    name, tables = "measurements", bench.tables
    _in_one_unit(bench)
    where = sizes.swapped(tables[name])
    bench.mark(name, where, "swapped", "width")
    tables[name] = sizes.exchanged(tables[name], where)
    bench.mark(name, sizes.contrary(tables[name]), "contrary", "state")
    tables[name] = sizes.sized(tables[name], plan.sizes.area)
    bench.set_aside(name, tables[name]["state"].isna(), "blank")
    bench.set_aside(name, says.clashing(tables[name], name, sizes.rank(tables[name])), "clash")
    bench.mark(name, tables[name]["size"].isna(), "unsized")
    bench.mark(name, sizes.found_another_way(tables[name]), "mixed", "area")
    where = sizes.wrongly_staged(tables[name], tables["wounds"])
    bench.mark(name, where, "staged", "stage")
    bench.change(name, stage=tables[name]["stage"].mask(where))


def _in_one_unit(bench: _Bench) -> None:
    """A slip of unit is undone before anything is made of the sizes: before sides are exchanged, or a clash decided."""
    name = "measurements"
    factors = sizes.slips_of_unit(bench.tables[name])
    slipped = factors != 1
    both = slipped.all(axis=1)
    bench.mark(name, both, "jump")
    for side in factors:
        bench.mark(name, slipped[side] & ~both, "jump", side)
    bench.tables[name] = sizes.divided(bench.tables[name], factors)


def _unread_sites(bench: _Bench) -> pd.Series:
    """Sessions that tell a site which was not understood."""
    faults, rows = bench.lines[0], bench.tables["sessions"]["source_row"]
    told = (faults["table"] == "sessions") & (faults["column"] == "site") & (faults["fault"] == "unknown")
    return rows.isin(faults.loc[told, "source_row"])


def _linked(bench: _Bench) -> None:
    """Sessions that name person and site are tied to the one wound that fits, once it is known when each was open."""
    name, tables = "sessions", bench.tables
    sessions, how = link(tables[name], tables["wounds"], tables["measurements"], _unread_sites(bench))
    tables[name] = says.in_order(says.changed(sessions, tied=how), name)
    bench.set_aside(name, tables[name]["tied"] == SEVERAL, "astray")
    bench.set_aside(name, tables[name]["tied"] == NONE, "unmatched")
    bench.mark(name, tables[name]["tied"] == HALF, "half", "site")
    # Two sites of one row may fit the same wound, and a row that names its wound may tell of the same session.
    again = says.repeated(tables[name], name) | says.repeated_beside(tables[name])
    if again.any():
        rows = tables[name]["source_row"]
        bench.mark(name, again & ~rows.isin(rows[~again]) & ~rows.duplicated(), "duplicate")
        tables[name] = tables[name][~again]


def _on_course(bench: _Bench, plan: Plan) -> None:
    """What a row shows only beside others is marked, and nothing is changed by it."""
    tables = bench.tables
    wounds, measurements, departures = tables["wounds"], tables["measurements"], tables["departures"]
    bench.mark("measurements", sizes.outlying(measurements), "outlying")
    bench.mark("measurements", courses.copied(measurements), "copied")
    bench.mark("measurements", courses.late(measurements), "late", "entered")
    bench.mark("measurements", courses.open_after_surgery(measurements, departures), "closed_before")
    treated = courses.treated_when_closed(tables["sessions"], measurements, departures)
    bench.mark("sessions", treated, "closed_before")
    bench.mark("wounds", courses.merged(wounds, measurements, departures), "merged")
    bench.mark("wounds", courses.split(wounds, measurements), "split")
    if plan.cutoff is not None:  # without a calendar nobody knows who came after whom
        bench.mark("wounds", courses.renamed(tables), "renamed", "resident")


def _back_from_hospital(bench: _Bench, plan: Plan) -> None:
    """Whoever is measured or treated again is back, though nobody wrote the return down."""
    seen = says.seen_again(bench.tables, plan.following.bed_hold_days)
    bench.mark("departures", seen.notna(), "unsaid", "returned")
    bench.change("departures", returned=bench.tables["departures"]["returned"].fillna(seen))


def _told_once(faults: pd.DataFrame) -> pd.DataFrame:
    """The faults without the marks of rows that were set aside."""
    aside = faults.loc[faults["fate"] == SET_ASIDE, ["table", "source_row"]]
    gone = faults.set_index(["table", "source_row"]).index.isin(pd.MultiIndex.from_frame(aside))
    return faults[(faults["fate"] == SET_ASIDE) | ~gone].reset_index(drop=True)


def _account(tables: Tables, faults: pd.DataFrame) -> pd.DataFrame:
    aside = faults[faults["fate"] == SET_ASIDE].groupby("table")["source_row"].nunique()
    # A row may tell of two wounds.
    kept = [np.count_nonzero(np.bincount(frame["source_row"])) for frame in tables.values()]
    account = pd.DataFrame({"table": list(tables), "kept": kept})
    account["set_aside"] = account["table"].map(aside).fillna(0).astype("int64")
    account["rows_in"] = account["kept"] + account["set_aside"]
    return account[["table", "rows_in", "kept", "set_aside"]]
