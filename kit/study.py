"""The screened study: one frozen record of tables, episodes, plan, faults and fingerprints."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import pandas as pd

from kit.faults import SET_ASIDE, ExportError, found, together
from kit.intake.cleaning import clean
from kit.intake.mapping import read_map
from kit.intake.readers import RawTable, read_export
from kit.intake.screening import screen
from kit.kept import known_as, of_facility
from kit.plan import Plan, read_plan
from kit.wounds.episodes import episodes
from kit.wounds.staging import stage_course

PLAN_NAME = "study-plan.toml"
MAP_NAME = "columns.toml"


@dataclass(frozen=True, eq=False)
class Study:
    """Everything a question may be asked of. Tables have the vocabulary's columns and `source_row`.

    `measurements` has `size` and `size_from` besides; `episodes` is one row a wound, `stages` one row a staged
    measurement; `faults` and `account` tell what became of every row of the export, `houses` (table, source_row, file,
    row, facility) where it stood and whose it was, as far as its person can be found; `sources` names the files.
    Where no session has a status (`status_recorded` is False) all of them count as given.
    """

    plan: Plan
    residents: pd.DataFrame
    wounds: pd.DataFrame
    measurements: pd.DataFrame
    sessions: pd.DataFrame
    procedures: pd.DataFrame
    spans: pd.DataFrame
    departures: pd.DataFrame
    episodes: pd.DataFrame
    stages: pd.DataFrame
    faults: pd.DataFrame
    account: pd.DataFrame
    houses: pd.DataFrame
    sources: pd.DataFrame
    status_recorded: bool

    @property
    def facilities(self) -> tuple[str, ...]:
        """The facilities named in the export, in alphabetical order."""
        return tuple(sorted(self.residents["facility"].dropna().unique()))

    @property
    def fingerprint(self) -> str:
        """Twelve hexadecimal digits that change with any file of the export."""
        joined = "".join(sorted(set(self.sources["table"] + self.sources["sha256"])))
        return hashlib.sha256(joined.encode()).hexdigest()[:12]

    @property
    def absent(self) -> tuple[str, ...]:
        """The tables that the export does not hold."""
        return tuple(name for name in self.account["table"] if name not in set(self.sources["table"]))

    def at(self, facility: str) -> Study:
        """The same study of one facility's residents. Rows whose person cannot be found belong to no facility.

        Raises ExportError where no resident belongs to it. Asked twice, it is the same study.
        """
        return _at(self, facility)


@lru_cache(maxsize=64)
def _at(study: Study, facility: str) -> Study:
    if facility not in study.facilities:
        raise ExportError(
            f"no resident belongs to that facility; the export names {', '.join(study.facilities) or 'none at all'}"
        )
    people = study.residents[study.residents["facility"] == facility]
    wounds = study.wounds[study.wounds["resident"].isin(people["resident"])]
    part = replace(
        study,
        residents=people.reset_index(drop=True),
        wounds=wounds.reset_index(drop=True),
        episodes=_of_wounds(study.episodes, wounds),
        stages=_of_wounds(study.stages, wounds),
        **_rows_of(study, facility),
        **{name: _of_wounds(getattr(study, name), wounds) for name in ("measurements", "sessions", "procedures")},
        **{name: _of_people(getattr(study, name), people, wounds) for name in ("spans", "departures")},
    )
    of_facility(study, part, facility)
    return part


def _of_wounds(frame: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    return frame[frame["wound"].isin(wounds["wound"])].reset_index(drop=True)


def _of_people(frame: pd.DataFrame, people: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    theirs = frame["resident"].isin(people["resident"]) | frame["wound"].isin(wounds["wound"])
    return frame[theirs].reset_index(drop=True)


def _rows_of(study: Study, facility: str) -> dict[str, pd.DataFrame]:
    """Faults, account and rows of one facility."""
    houses = study.houses[study.houses["facility"] == facility]
    faults = study.faults.merge(houses[["table", "source_row"]], on=["table", "source_row"])
    aside = faults[faults["fate"] == SET_ASIDE].groupby("table")["source_row"].nunique()
    account = study.account[["table"]].assign(
        rows_in=study.account["table"].map(houses.groupby("table").size()).fillna(0).astype("int64"),
        set_aside=study.account["table"].map(aside).fillna(0).astype("int64"),
    )
    account = account.assign(kept=account["rows_in"] - account["set_aside"])[list(study.account)]
    return {"faults": faults, "account": account, "houses": houses.reset_index(drop=True)}


def read_study(export: str | Path, plan: str | Path = "", columns: str | Path = "") -> Study:
    """The study of an export: a folder or workbook, its plan, and a column map where it does not use our names.

    Without `plan`, `study-plan.toml` in the export's folder is the plan; without `columns`, `columns.toml` there is the
    map, if there is one. Reading the same files twice in one process costs once.

    Raises ExportError (also MapError) and PlanError, each in one line that never quotes a value of the export.
    """
    export = Path(export)
    plan, map_file = plan_of(export, plan), map_of(export, columns)
    files = (
        sorted(file for file in folder_of(export).glob("*") if file.is_file()) if os.path.isdir(export) else [export]
    )
    stamps = tuple((str(file), file.stat().st_mtime_ns, file.stat().st_size) for file in files if os.path.exists(file))
    rules = tuple(file.read_bytes() if file and os.path.isfile(file) else b"" for file in (plan, map_file))
    return _read_once(export, plan, map_file, stamps, rules)


def study_then(export: str | Path, begins: int, ends: int, plan: str | Path = "", columns: str | Path = "") -> Study:
    """The study of the same files by the same plan for an earlier quarter: no row after its last day is read.

    `begins` and `ends` are its first and last day, as day numbers. Raises what `read_study` raises.
    """
    export = Path(export)
    map_file = map_of(export, columns)
    raw = read_export(export, read_map(map_file) if map_file is not None else None)
    return study_of(raw, read_plan(plan_of(export, plan)).of_quarter(begins, ends))


def folder_of(export: Path) -> Path:
    """Where an export's plan and map lie: in its folder, or beside its workbook."""
    return export if os.path.isdir(export) else export.parent


def plan_of(export: Path, plan: str | Path = "") -> Path:
    """The file of the study plan: the one named, else the one that lies with the export."""
    return Path(plan) if str(plan) else folder_of(Path(export)) / PLAN_NAME


def map_of(export: Path, columns: str | Path = "") -> Path | None:
    """The file of the column map: the one named, else the one that lies with the export; None where there is none."""
    beside = folder_of(Path(export)) / MAP_NAME
    if str(columns):
        return Path(columns)
    return beside if os.path.isfile(beside) else None


@lru_cache(maxsize=2)
def _read_once(export: Path, plan_file: Path, map_file: Path | None, stamps: tuple, rules: tuple) -> Study:
    raw = read_export(export, read_map(map_file) if map_file is not None else None)
    study = study_of(raw, read_plan(plan_file))
    known_as(study, _content(study.sources, rules))
    return study


def _content(sources: pd.DataFrame, rules: tuple[bytes, ...]) -> str:
    """What the files of an export, its plan and its map hold, as one digest."""
    told = hashlib.sha256(sources[["table", "file", "sha256"]].to_csv().encode())
    for content in rules:
        told.update(hashlib.sha256(content).digest())
    return told.hexdigest()


def study_of(raw: dict[str, RawTable], plan: Plan) -> Study:
    """The study of tables that were read as text."""
    cleaned = clean(screen(raw, plan), plan)
    tables, status_recorded = _with_status(cleaned.tables)
    _assert_nothing_lost(raw, cleaned.account)
    seen = episodes(*(tables[name] for name in ("residents", "wounds", "measurements", "sessions", "departures")), plan)
    stages = stage_course(tables["measurements"], tables["wounds"])
    marks = _course_faults(tables["measurements"], seen, stages)
    return Study(
        plan=plan,
        **tables,
        episodes=seen,
        stages=stages,
        faults=together([cleaned.faults, *marks]),
        account=cleaned.account,
        houses=pd.concat([_houses(table, tables) for table in raw.values()], ignore_index=True),
        status_recorded=status_recorded,
        sources=pd.concat([table.sources.assign(table=table.table) for table in raw.values()], ignore_index=True),
    )


def _houses(raw: RawTable, tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Of every row read: table, source_row, file, row, and the facility of the resident it names or of its wound's."""
    rows, nobody = raw.rows, pd.Series(None, index=raw.rows.index, dtype=object)
    home = tables["residents"].set_index("resident")["facility"]
    owner = tables["wounds"].set_index("wound")["resident"]
    person = rows["resident"].astype(object).where(rows["resident"] != "", None) if "resident" in rows else nobody
    person = person.where(person.notna(), rows["wound"].map(owner).astype(object)) if "wound" in rows else person
    return rows[["source_row", "file", "row"]].assign(table=raw.table, facility=person.map(home))


def _with_status(tables: dict[str, pd.DataFrame]) -> tuple[dict[str, pd.DataFrame], bool]:
    """An export that never says what became of a session lists those that were given."""
    sessions = tables["sessions"]
    if sessions["status"].notna().any() or sessions.empty:
        return tables, True
    return {**tables, "sessions": sessions.assign(status=sessions["status"].fillna("given"))}, False


def _assert_nothing_lost(raw: dict[str, RawTable], account: pd.DataFrame) -> None:
    read = account["table"].map({name: len(table.rows) for name, table in raw.items()}).fillna(0)
    if (read != account["rows_in"]).any():
        lost = account.loc[read != account["rows_in"], "table"].iloc[0]
        raise AssertionError(f"{lost}: rows kept and rows set aside do not add up to the rows read")


def _course_faults(measurements: pd.DataFrame, seen: pd.DataFrame, stages: pd.DataFrame) -> list[pd.DataFrame]:
    """Faults that only a wound's course shows, told at its last measurement."""
    last = measurements.sort_values(["wound", "day"]).drop_duplicates("wound", keep="last")
    backstaged = stages.loc[stages["stage_change"] == "backstaged", "source_row"]
    told = [found("measurements", backstaged, "backstaged", "stage")]
    for mark in ("reopened", "vanished"):
        rows = last.loc[last["wound"].isin(seen.loc[seen[mark], "wound"]), "source_row"]
        told.append(found("measurements", rows, mark))
    return told
