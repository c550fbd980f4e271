"""Tiny exports for the tests of intake: tables as CSV text in the test, written to a folder and read step by step.

Day 200 is the cut-off of PLAN; CALENDAR says the same of dates, with 30 June 2026 as the cut-off.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from textwrap import dedent

import pandas as pd

from kit.intake.cleaning import Cleaned, clean
from kit.intake.mapping import ColumnMap, read_map
from kit.intake.readers import RawTable, read_export
from kit.intake.screening import Screened, screen
from kit.plan import Plan, read_plan

REGIMENS = """
[[regimens]]
name = "stimulation"
modality = "stimulation"
[[regimens]]
name = "ultrasound"
modality = "ultrasound"
"""
OPENING = """
[program]
name = "Invented"
basis = "operations"
[windows]
quarter_begins = 110
cutoff = 200
"""
PLAN = OPENING + REGIMENS
CALENDAR = PLAN.replace("110", "2026-04-01").replace("200", "2026-06-30")
SAFE_HARBOR = f"""
[program]
name = "Invented"
basis = "safe_harbor"
{REGIMENS}"""

RESIDENTS = """
    resident,facility,age,sex
    R1,Alder,81,female
    R2,Birch,77,male
"""
WOUNDS = """
    wound,resident,kind,site
    W1,R1,pressure_injury,sacrum
    W2,R2,venous,leg
"""
MEASUREMENTS = """
    wound,day,state,length,width
    W1,10,open,4,3
    W1,17,open,3,2
    W1,24,closed,,
    W2,30,open,5,2
    W2,37,open,4,2
"""


def write(folder: Path, plan: str = PLAN, **tables: str) -> Path:
    """An export of these tables; wounds and measurements are there even where the test does not draw them."""
    drawn = {"residents": RESIDENTS, "wounds": WOUNDS, "measurements": MEASUREMENTS, **tables}
    for name, text in drawn.items():
        if text is not None:
            (folder / f"{name}.csv").write_text(csv_text(text), encoding="utf-8")
    (folder / "study-plan.toml").write_text(plan, encoding="utf-8")
    return folder


def csv_text(drawn: str) -> str:
    """A table drawn in a test as it stands in a file: no indent, no empty first line."""
    return dedent(drawn).lstrip("\n")


def plan_of(text: str) -> Plan:
    with TemporaryDirectory() as folder:
        return read_plan(_text_file(folder, text))


def map_of(text: str) -> ColumnMap:
    with TemporaryDirectory() as folder:
        return read_map(_text_file(folder, text))


def _text_file(folder: str, text: str) -> Path:
    file = Path(folder) / "given.toml"
    file.write_text(dedent(text), encoding="utf-8")
    return file


def read(columns: str = "", **tables: str) -> dict[str, RawTable]:
    with TemporaryDirectory() as folder:
        return read_export(write(Path(folder), **tables), map_of(columns) if columns else None)


def screened(plan: str = PLAN, columns: str = "", **tables: str) -> Screened:
    return screen(read(columns, **tables), plan_of(plan))


def cleaned(plan: str = PLAN, columns: str = "", **tables: str) -> Cleaned:
    return clean(screened(plan, columns, **tables), plan_of(plan))


def lines(faults: pd.DataFrame) -> list[tuple[str, int, str]]:
    """The faults as (table, row, fault), in that order."""
    return list(faults[["table", "source_row", "fault"]].itertuples(index=False, name=None))


def raw_table(name: str, places: dict, rows: pd.DataFrame) -> RawTable:
    """A table as the readers hand it on, from one file and numbered from row 2."""
    file, numbers = f"{name}.csv", range(2, len(rows) + 2)
    sources = pd.DataFrame({"file": [file], "sha256": [""], "rows_in": [len(rows)]})
    return RawTable(name, places, rows.assign(source_row=numbers, file=file, row=numbers), sources)
