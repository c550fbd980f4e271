"""A check of a map and an export without a report: what is read, what stops it, and what to fix next."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from kit.faults import FAULTS, ExportError
from kit.intake.contradictions import DATED
from kit.intake.mapping import read_map
from kit.intake.readers import RawTable, tables_of
from kit.intake.screening import screen, stops
from kit.plan import BASES, Plan, PlanError, read_plan
from kit.statements.sent import tied
from kit.study import Study, map_of, plan_of, study_of
from kit.vocabulary import TABLES
from kit.words import count, day, percent
from kit.wounds.regimens import meets

# Rules of thumb, all common practice, no source.
WORTH_A_LOOK = 0.01  # share of a table's rows from which on a fault is told
MOST, PLACES = 8, 3  # faults, the most frequent first, and rows named of each
BEYOND = 0.2  # share of rows after the cut-off from which on a year is doubted
QUIET = 31  # days between the last record and the cut-off from which on the cut-off is doubted
PAGE_NEEDS = {"sessions": ("status", "reason", "setup", "polarity", "minutes", "reaction", "staff_minutes")}
FEW = 6  # columns that are not there are named up to this many


NO_FINDING = (
    "basis stated in the plan: {}; of codes only the shape was looked at: record numbers of five digits, surnames with "
    "a number and names of facilities are not noticed, and this is no finding that the export is de-identified"
)


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
    export, stopped = Path(export), []
    rules, tables = _plan(export, plan, stopped), _tables(export, columns, stopped)
    stopped += [stop for raw in tables.values() for stop in stops(raw, rules)] if rules else []
    found = Check([_read(raw) for raw in tables.values()], stopped)
    if stopped:
        return found
    try:
        study = study_of(tables, rules)
    except ExportError as stop:
        return Check(found.read, [str(stop)])
    days = _days(tables, rules)
    return Check(
        [*found.read, *_ranges(days, rules), *_account(study), NO_FINDING.format(BASES[rules.program.basis])],
        [],
        [*_in_time(days, rules), *_regimens(study), *_houses(study), *_mends(study)],
    )


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


def _read(raw: RawTable) -> str:
    """Where a table was read from, and which columns of the dictionary are not there."""
    several = len(raw.sources)
    where = raw.file if several == 1 else f"{several} files or sheets, the first {raw.file}"
    lacking = [name for name in TABLES[raw.table].names if name not in raw.places]
    told = ", ".join(lacking) if len(lacking) <= FEW else f"{len(lacking)} of the dictionary's"
    missed = [name for name in PAGE_NEEDS.get(raw.table, ()) if name in lacking]
    told += f" (the page would tell more with {', '.join(missed)})" if missed and len(lacking) > FEW else ""
    return f"{raw.table}: {count(len(raw.rows), 'row')} of {where}; {len(raw.places)} columns" + (
        f"; not there: {told}" if lacking else ""
    )


def _days(tables: dict[str, RawTable], plan: Plan) -> dict[str, pd.Series]:
    """The days of every table that has any, before the plan's windows take some away."""
    typed = screen(tables, plan).tables
    return {name: typed[name][column].dropna() for name, column in DATED.items() if len(typed[name])}


def _ranges(days: dict[str, pd.Series], plan: Plan) -> list[str]:
    return [
        f"{name}: from {day(told.min(), plan)} to {day(told.max(), plan)}" for name, told in days.items() if len(told)
    ]


def _in_time(days: dict[str, pd.Series], plan: Plan) -> list[str]:
    """What says that a year, a format or the plan's cut-off is wrong: much lies after it, or nothing near it."""
    if plan.cutoff is None:
        return []
    late = {name: (int((told > plan.cutoff).sum()), len(told)) for name, told in days.items()}
    told = [
        f"{name}: {percent(part, whole)} of the rows lie after the plan's cut-off and are not used; is the cut-off "
        "right, and the year and format of the days in the map?"
        for name, (part, whole) in late.items()
        if whole and part / whole >= BEYOND
    ]
    last = max((int(told.max()) for told in days.values() if len(told)), default=plan.cutoff)
    if plan.cutoff - last >= QUIET:
        told.append(
            f"the plan's cut-off lies {plan.cutoff - last} days after the last record: open wounds would count as open "
            "all that time; name the quarter that the export covers"
        )
    return told


def _regimens(study: Study) -> list[str]:
    """Regimens of the plan that no session meets, most often because a column or word of theirs is not read."""
    given = study.sessions[study.sessions["status"].isin(["given", "shortened"])]
    unmet = [regimen.name for regimen in study.plan.regimens if not meets(given, regimen).any()]
    if not unmet or given.empty:
        return []
    return [
        f"regimens: no session of the export is of {', '.join(unmet)}; is the column for modality, set-up or polarity "
        "in the map, with the meaning of its words? Else take the regimen out of the plan"
    ]


def _houses(study: Study) -> list[str]:
    """Facilities that the plan's protocol names and an export of several does not hold: a slip of the pen."""
    named = study.plan.protocol.turning_facilities if len(study.facilities) > 1 else ()
    unknown = [name for name in named if name not in study.facilities]
    return [f"protocol.turning_facilities: no resident of the export is of {', '.join(unknown)}"] if unknown else []


def _account(study: Study) -> list[str]:
    rows = study.account[study.account["rows_in"] > 0]
    told = [f"{row.table}: {percent(row.kept, row.rows_in)} of the rows are used" for row in rows.itertuples()]
    return [tied(study), *told]


def _mends(study: Study) -> list[str]:
    """Faults that touch one row in a hundred or more, the most frequent first, each with its first rows."""
    rows = study.account.set_index("table")["rows_in"]
    faults = study.faults.drop_duplicates(["table", "column", "fault", "source_row"])
    groups = [
        (group, len(lines) / rows[group[0]], lines) for group, lines in faults.groupby(["table", "column", "fault"])
    ]
    many = sorted((one for one in groups if one[1] >= WORTH_A_LOOK), key=lambda one: -one[1])
    return [_told(*kind, lines, study.houses) for kind, _, lines in many[:MOST]]


def _told(table: str, column: str, fault: str, lines: pd.DataFrame, houses: pd.DataFrame) -> str:
    where = f"{table}.{column}" if column else table
    first = lines.head(PLACES).merge(houses, on=["table", "source_row"])
    places = [f"{row.file} row {row.row}" for row in first.itertuples()]
    kind = f"{count(len(lines), 'row')} ({fault.replace('_', ' ')}, {FAULTS[fault].fate})"
    more = " and others" if len(lines) > PLACES else ""
    return f"{where}: {kind}. {FAULTS[fault].says} See {'; '.join(places)}{more}."
