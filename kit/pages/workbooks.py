"""The workbooks and lists of a report: what its page says, every fault by its row, and open wounds by name."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from kit.faults import FAULTS, SET_ASIDE
from kit.pages.size_tables import wounds_list
from kit.plan import Plan
from kit.statements.about import INTERNAL, window
from kit.statements.quarter import NOT_COMPARED
from kit.study import Study
from kit.words import label


def write_tables(internal: Path, found: dict, study: Study) -> None:
    """tables.xlsx and findings.json; faults.csv, each fault by file and row, and set_aside.csv for what is not used."""
    sheets = {
        "about": about(found, study.plan),
        "comparison": pd.DataFrame(found["comparison"]["told"]),
        "needs": pd.DataFrame(found["comparison"]["needs"]),
        "starts": pd.DataFrame(found["comparison"]["outside"]),
        "facilities": pd.DataFrame(found["comparison"]["homes"]),
        "healing": pd.DataFrame(found["healing"]),
        "sessions": pd.DataFrame(found["sessions"]),
        "reasons": pd.DataFrame(found["reasons"], columns=["reason", "missed", "shortened"]),
        "account": study.account,
        "faults": pd.DataFrame(found["faults"], columns=["table", "fault", "fate", "rows", "says"]),
    }
    with pd.ExcelWriter(internal / "tables.xlsx", engine="openpyxl") as workbook:
        for name, frame in sheets.items():
            harmless(frame.round(4).rename(columns=label)).to_excel(workbook, sheet_name=name, index=False)
            _laid_out(workbook.sheets[name], frame)
    faults = study.faults.merge(study.houses[["table", "source_row", "file", "row"]], on=["table", "source_row"])
    faults = faults.assign(says=faults["fault"].map(lambda name: FAULTS[name].says))
    aside = faults.loc[faults["fate"] == SET_ASIDE, ["file", "row", "fault"]]
    aside.to_csv(internal / "set_aside.csv", index=False, lineterminator="\n")
    faults = faults[["file", "row", "column", "fault", "fate", "says"]]
    faults.to_csv(internal / "faults.csv", index=False, lineterminator="\n")
    told = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False)
    (internal / "findings.json").write_text(told + "\n", encoding="utf-8")


def write_wounds(internal: Path, standing: pd.DataFrame, plan: Plan) -> None:
    """The open wounds by name, for those who treat them: the only file of a report that names any."""
    about_it = {
        "What": "Where each open wound stands beside the course expected of wounds like it, slowest first",
        "For": f"Those who treat these wounds, for review. {INTERNAL}",
        "Not": "Advice for a person: local policy and licensed practice decide",
    }
    sheets = {"about": pd.DataFrame(about_it.items(), columns=["what", "is"]), "wounds": wounds_list(standing, plan)}
    with pd.ExcelWriter(internal / "wounds.xlsx", engine="openpyxl") as workbook:
        for name, frame in sheets.items():
            harmless(frame).rename(columns=label).to_excel(workbook, sheet_name=name, index=False)
            _laid_out(workbook.sheets[name], frame)


def about(found: dict, plan: Plan) -> pd.DataFrame:
    """What the tables are of, and how they may be used: the first sheet of the workbook."""
    lines = {
        "Report": f"{found['scope']}, {found['program']}",
        "Quarter": window(plan),
        "Status": "DRAFT",
        "For": INTERNAL,
        "Not compared": NOT_COMPARED,
        "Fingerprints": ", ".join(f"{name} {value}" for name, value in found["fingerprints"].items()),
    }
    return pd.DataFrame({"what": list(lines), "is": list(lines.values())})


def _laid_out(sheet: Worksheet, frame: pd.DataFrame) -> None:
    """Columns as wide as their words, up to a limit, and a header that stays in sight."""
    sheet.freeze_panes = "A2"
    for number, (name, column) in enumerate(frame.items(), start=1):
        widest = max([len(label(str(name))), *column.astype(str).str.len()])
        sheet.column_dimensions[get_column_letter(number)].width = min(widest + 2, 60)


def harmless(frame: pd.DataFrame) -> pd.DataFrame:
    """The same table with text that a spreadsheet would run as a formula held down by an apostrophe."""
    return frame.map(lambda cell: f"'{cell}" if isinstance(cell, str) and cell[:1] in "=+-@\t\r" and cell else cell)
