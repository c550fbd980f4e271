"""Cleaning: every fault of the screened tables is repaired, set aside or marked, and counted by its row."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.faults import SET_ASIDE, found, together
from kit.intake.screening import Screened
from kit.measures import ellipse_area, rectangle_area
from kit.plan import Plan
from kit.vocabulary import TABLES

Tables = dict[str, pd.DataFrame]
Mask = pd.Series
DATED = {"measurements": "day", "sessions": "day", "procedures": "day", "departures": "day", "spans": "from_day"}


@dataclass(frozen=True)
class Cleaned:
    """Clean tables, all faults, and the account: table, rows_in, kept, set_aside."""

    tables: Tables
    faults: pd.DataFrame
    account: pd.DataFrame


def clean(screened: Screened, plan: Plan) -> Cleaned:
    """Tables without contradictions, each in the order of its key, and an account in which no row is missing.

    `measurements` gains `size` (cm2: by the plan's rule from length and width, else the recorded area) and
    `size_from` (rectangle, ellipse, tracing). Where the export shares no calendar, days are recounted from each
    person's first record.
    """
    tables = {name: _ordered(frame, name) for name, frame in screened.tables.items()}
    faults = [screened.faults]
    for step in _STEPS:
        tables, lines = step(tables, plan)
        faults += lines
    if not plan.calendar and plan.cutoff is None:
        tables = _from_first_record(tables)
    tables = {name: frame.reset_index(drop=True) for name, frame in tables.items()}
    told = together(faults)
    return Cleaned(tables, told, _account(tables, told))


def _account(tables: Tables, faults: pd.DataFrame) -> pd.DataFrame:
    aside = faults[faults["fate"] == SET_ASIDE].groupby("table")["source_row"].nunique()
    account = pd.DataFrame({"table": list(tables), "kept": [len(frame) for frame in tables.values()]})
    account["set_aside"] = account["table"].map(aside).fillna(0).astype("int64")
    account["rows_in"] = account["kept"] + account["set_aside"]
    return account[["table", "rows_in", "kept", "set_aside"]]


def _ordered(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Rows in the order of the key, ties by content: the order in the file must not matter."""
    key = list(TABLES[name].key)
    rest = [column for column in TABLES[name].names if column not in key]
    return frame.sort_values([*key, *rest, "source_row"], kind="stable", key=_sortable, ignore_index=True)


def _sortable(column: pd.Series) -> pd.Series:
    if isinstance(column.dtype, pd.CategoricalDtype) or column.dtype == object:
        return column.astype(object).where(column.notna(), "").astype(str)
    return column


def _aside(tables: Tables, name: str, where: Mask, fault: str) -> tuple[Tables, pd.DataFrame]:
    frame = tables[name]
    where = where.fillna(False).astype(bool)
    return {**tables, name: frame[~where]}, found(name, frame.loc[where, "source_row"], fault)


def _each(check: Callable[[str, Tables, Plan], Mask | None], fault: str, names: tuple[str, ...] = tuple(TABLES)):
    """A step that asks `check` of each table and sets aside the rows for which it holds."""

    def step(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
        lines = []
        for name in names:
            where = check(name, tables, plan)
            if where is not None:
                tables, line = _aside(tables, name, where, fault)
                lines.append(line)
        return tables, lines

    return step


def _repeated(name: str, tables: Tables, plan: Plan) -> Mask:
    frame = tables[name]
    return frame.duplicated(list(TABLES[name].names), keep="first")


def _clashing(name: str, tables: Tables, plan: Plan) -> Mask:
    """All rows of one key but one: of two measurements the larger stays, so that a slip never heals a wound."""
    frame = tables[name]
    if name == "measurements":
        size = frame["length"].fillna(0) * frame["width"].fillna(0) + frame["area"].fillna(0)
        frame = frame.assign(_size=size.where(frame["state"] != "closed", -1)).sort_values(
            ["wound", "day", "_size"], ascending=[True, True, False], kind="stable"
        )
    return frame.duplicated(list(TABLES[name].key), keep="first").reindex(tables[name].index)


def _ownerless(name: str, tables: Tables, plan: Plan) -> Mask | None:
    """Rows whose person or wound is not in the export. An absent residents table can own nobody."""
    frame, bad = tables[name], pd.Series(False, index=tables[name].index)
    if "wound" in frame and name != "wounds":
        bad |= frame["wound"].notna() & ~frame["wound"].isin(tables["wounds"]["wound"])
    if "resident" in frame and name != "residents":
        people = tables["residents"] if len(tables["residents"]) else tables["wounds"]
        bad |= frame["resident"].notna() & ~frame["resident"].isin(people["resident"])
    return bad


def _untied(name: str, tables: Tables, plan: Plan) -> Mask:
    frame = tables[name]
    if name == "spans":
        return frame["wound"].isna() & frame["resident"].isna()
    return frame["wound"].isna()


def _later_than_cutoff(name: str, tables: Tables, plan: Plan) -> Mask | None:
    return None if plan.cutoff is None else tables[name][DATED[name]] > plan.cutoff


def _ends_before_it_begins(name: str, tables: Tables, plan: Plan) -> Mask:
    frame = tables[name]
    begins, ends = ("from_day", "to_day") if name == "spans" else ("day", "returned")
    return (frame[ends] < frame[begins]).fillna(False)


def _after_death(name: str, tables: Tables, plan: Plan) -> Mask:
    """On the day of death itself records stand: within a day measurement comes before departure."""
    gone = tables["departures"]
    died = gone[gone["reason"] == "died"].groupby("resident")["day"].min()
    owner = tables["wounds"].set_index("wound")["resident"]
    death = tables[name]["wound"].map(owner).map(died)
    return tables[name]["day"] > death


def _known_at_cutoff(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
    """An end or a return after the cut-off was not known at the cut-off."""
    if plan.cutoff is None:
        return tables, []
    spans, gone = tables["spans"], tables["departures"]
    spans = spans.assign(to_day=spans["to_day"].mask(spans["to_day"] > plan.cutoff))
    gone = gone.assign(returned=gone["returned"].mask(gone["returned"] > plan.cutoff))
    return {**tables, "spans": spans, "departures": gone}, []


def _swap(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
    frame = tables["measurements"]
    where = frame["width"] > frame["length"]
    longest, widest = frame[["length", "width"]].max(axis=1), frame[["length", "width"]].min(axis=1)
    repaired = frame.assign(length=frame["length"].mask(where, longest), width=frame["width"].mask(where, widest))
    line = found("measurements", frame.loc[where, "source_row"], "swapped", "width")
    return {**tables, "measurements": repaired}, [line]


def _size(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
    """The size of every measurement, and its state where only the size tells it."""
    frame = tables["measurements"]
    ruled = {"rectangle": rectangle_area, "ellipse": ellipse_area}[plan.sizes.area](frame["length"], frame["width"])
    size = ruled.fillna(frame["area"])
    method = frame["area_method"].astype(object).where(frame["area_method"].notna(), "tracing")
    source = method.where(ruled.isna(), plan.sizes.area).where(size.notna(), None)
    state = frame["state"].astype(object)
    told_closed = (size == 0) | (frame["tissue"] == "closed")
    state = state.mask(state.isna() & told_closed, "closed").mask(state.isna() & (size > 0), "open")
    contrary = (state == "closed") & (size > 0)
    state = state.mask(contrary, "open")
    empty = (state == "open") & ~(size > 0)
    sized = frame.assign(
        size=size.mask(empty).mask(state == "closed", 0.0),
        size_from=source.where(size > 0, None).astype(object),
        state=state.astype(frame["state"].dtype),
    )
    rows = frame["source_row"]
    lines = [found("measurements", rows[contrary], "contrary", "state"), found("measurements", rows[empty], "unsized")]
    tables, line = _aside({**tables, "measurements": sized}, "measurements", state.isna(), "blank")
    return tables, [*lines, line]


def _mixed(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
    """Rows found another way than most of the wound's; a false 21.5% reduction lies between the two ways."""
    frame = tables["measurements"]
    counts = frame.groupby(["wound", "size_from"], as_index=False).size()
    usual = counts.sort_values(["size", "size_from"], ascending=[False, True]).drop_duplicates("wound")
    own = frame["wound"].map(usual.set_index("wound")["size_from"])
    where = frame["size_from"].notna() & (frame["size_from"] != own)
    return tables, [found("measurements", frame.loc[where, "source_row"], "mixed", "area")]


def _staged(tables: Tables, plan: Plan) -> tuple[Tables, list[pd.DataFrame]]:
    """Only pressure injuries are staged (Edsberg et al. 2016, J Wound Ostomy Continence Nurs 43:585)."""
    frame = tables["measurements"]
    kind = frame["wound"].map(tables["wounds"].set_index("wound")["kind"].astype(object))
    where = frame["stage"].notna() & kind.notna() & (kind != "pressure_injury")
    cleaned = frame.assign(stage=frame["stage"].where(~where))
    return {**tables, "measurements": cleaned}, [
        found("measurements", frame.loc[where, "source_row"], "staged", "stage")
    ]


def _from_first_record(tables: Tables) -> Tables:
    """Days counted from each person's first record, whatever the export counted from."""
    owner = tables["wounds"].set_index("wound")["resident"]
    people = {name: _person(frame, owner) for name, frame in tables.items()}
    firsts = [
        frame[DATED[name]].groupby(people[name]).min() for name, frame in tables.items() if name in DATED and len(frame)
    ]
    first = pd.concat(firsts).groupby(level=0).min() if firsts else pd.Series(dtype="int64")
    return {name: _shifted(frame, name, people[name].map(first)) for name, frame in tables.items()}


def _person(frame: pd.DataFrame, owner: pd.Series) -> pd.Series:
    person = frame["resident"] if "resident" in frame else pd.Series(None, index=frame.index, dtype=object)
    return person.fillna(frame["wound"].map(owner)) if "wound" in frame else person


def _shifted(frame: pd.DataFrame, name: str, first: pd.Series) -> pd.DataFrame:
    days = [column.name for column in TABLES[name].columns if column.kind == "day"]
    moved = {day: (frame[day] - first.fillna(0).astype("int64")).astype(frame[day].dtype) for day in days}
    return frame.assign(**moved)


_STEPS = (
    _each(_repeated, "duplicate"),
    _each(_untied, "astray", ("sessions",)),
    _each(_untied, "blank", ("spans",)),
    _each(_ownerless, "orphan", ("wounds",)),
    _each(_ownerless, "orphan", tuple(name for name in TABLES if name != "wounds")),
    _each(_later_than_cutoff, "future", tuple(DATED)),
    _known_at_cutoff,
    _each(_ends_before_it_begins, "backwards", ("spans", "departures")),
    _each(_after_death, "after_death", ("measurements", "sessions", "procedures")),
    _each(_clashing, "clash", ("residents", "wounds", "measurements")),
    _swap,
    _size,
    _mixed,
    _staged,
)
