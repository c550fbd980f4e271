"""A check of a map and an export without a report: what is read, what stops it, and what to fix next."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from kit.faults import FAULTS, ExportError
from kit.intake.mapping import read_map
from kit.intake.readers import RawTable, tables_of
from kit.intake.screening import stops
from kit.plan import Plan, PlanError, read_plan
from kit.statements import tied
from kit.study import Study, map_of, plan_of, read_study
from kit.vocabulary import TABLES
from kit.words import count, percent

WORTH_A_LOOK = 0.01  # share of a table's rows from which on a fault is told here; common practice, no source
MOST = 8  # so many at most, the most frequent first


@dataclass(frozen=True)
class Check:
    """What was read, what stops the report, and what is worth mending; each a sentence that quotes no cell."""

    read: list[str] = field(default_factory=list)
    stops: list[str] = field(default_factory=list)
    mends: list[str] = field(default_factory=list)

    @property
    def next(self) -> str:
        """The one thing to do next."""
        if self.stops:
            return f"Fix next: {self.stops[0]}"
        if self.mends:
            return f"Nothing stops the report. Worth mending first: {self.mends[0]}"
        return "Nothing stops the report."


def check(export: str | Path, plan: str | Path = "", columns: str | Path = "") -> Check:
    """Every table is read and screened by itself, so that one round tells all that stands in the way."""
    export = Path(export)
    found, stopped = Check(), []
    rules, tables = _plan(export, plan, stopped), _tables(export, columns, stopped)
    for raw in tables.values():
        found.read.append(f"{raw.table}: {len(raw.rows):,} rows of {raw.file}; {_columns(raw)}")
        stopped += stops(raw, rules) if rules else []
    found.stops.extend(stopped)
    if not stopped:
        try:
            study = read_study(export, plan, columns)
        except (ExportError, PlanError) as stop:
            found.stops.append(str(stop))
        else:
            found.read.extend(_account(study))
            found.mends.extend(_mends(study))
    return found


def _plan(export: Path, plan: str | Path, stopped: list[str]) -> Plan | None:
    try:
        return read_plan(plan_of(export, plan))
    except PlanError as stop:
        stopped.append(str(stop))
        return None


def _tables(export: Path, columns: str | Path, stopped: list[str]) -> dict[str, RawTable]:
    map_file = map_of(export, columns)
    try:
        tables, failed = tables_of(export, read_map(map_file) if map_file else None)
    except ExportError as stop:
        stopped.insert(0, str(stop))
        return {}
    stopped[:0] = map(str, failed.values())
    return tables


def _columns(raw: RawTable) -> str:
    """Which columns of the table are read, and which of the dictionary's are not there."""
    lacking = [name for name in TABLES[raw.table].names if name not in raw.places]
    return f"{len(raw.places)} columns" + (f"; not there: {', '.join(lacking)}" if lacking else "")


def _account(study: Study) -> list[str]:
    rows = study.account[study.account["rows_in"] > 0]
    told = [f"{row.table}: {percent(row.kept, row.rows_in)} of the rows are used" for row in rows.itertuples()]
    return [tied(study), *told]


def _mends(study: Study) -> list[str]:
    """Faults that touch more than one row in a hundred, the most frequent first."""
    faults = study.faults.groupby(["table", "column", "fault", "fate"], as_index=False)["source_row"].nunique()
    rows = study.account.set_index("table")["rows_in"]
    faults = faults.assign(share=faults["source_row"] / faults["table"].map(rows))
    many = faults[faults["share"] >= WORTH_A_LOOK].sort_values("share", ascending=False, kind="stable")
    return [_told(row) for row in many.head(MOST).itertuples()]


def _told(row: pd.Series) -> str:
    where = f"{row.table}.{row.column}" if row.column else row.table
    says = FAULTS[row.fault].says
    return f"{where}: {count(row.source_row, 'row')} ({row.fault}, {row.fate}). {says}"
