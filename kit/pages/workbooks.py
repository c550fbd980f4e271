"""The workbooks and lists of a report: what its page says, every fault by its row, and open wounds by name."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from kit.delivered import Worklist, burden_of, comfort_of, delivered, safety_of
from kit.faults import FAULTS, SET_ASIDE
from kit.pages.care_tables import care_sheets
from kit.pages.delivery_tables import delivery_sheets
from kit.pages.size_tables import wounds_list
from kit.pages.worklist import worklist_sheets
from kit.plan import Plan
from kit.statements.about import INTERNAL, window
from kit.statements.quarter import NOT_COMPARED
from kit.study import Study
from kit.words import label

STATUS = "as page.html and ledger.csv say"  # a workbook is not written again when its report is issued
WIDEST = 60  # characters across


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
        **delivery_sheets(delivered(study), study.plan),
        **care_sheets(safety_of(study), burden_of(study), comfort_of(study)),
        "costs": pd.DataFrame(found["costs"]["lines"]),
        "account": study.account,
        "faults": pd.DataFrame(found["faults"], columns=["table", "fault", "fate", "rows", "says"]),
    }
    with pd.ExcelWriter(internal / "tables.xlsx", engine="openpyxl") as workbook:
        for name, frame in sheets.items():
            harmless(frame.round(4).rename(columns=label)).to_excel(workbook, sheet_name=name, index=False)
            laid_out(workbook.sheets[name], frame)
    told = json.dumps(found, indent=1, ensure_ascii=False, allow_nan=False)
    (internal / "findings.json").write_text(told + "\n", encoding="utf-8")
    faults = study.faults.merge(study.houses[["table", "source_row", "file", "row"]], on=["table", "source_row"])
    faults = faults.assign(says=faults["fault"].map(lambda name: FAULTS[name].says))
    aside = faults.loc[faults["fate"] == SET_ASIDE, ["file", "row", "fault"]]
    aside.to_csv(internal / "set_aside.csv", index=False, lineterminator="\n")
    faults = faults[["file", "row", "column", "fault", "fate", "says"]]
    faults.to_csv(internal / "faults.csv", index=False, lineterminator="\n")


def write_wounds(internal: Path, listed: Worklist, standing: pd.DataFrame, plan: Plan) -> None:
    """The open wounds by name, what to look at first, for those who treat them: the only file that names any."""
    sheets = worklist_sheets(listed.known, listed.things, listed.marks, wounds_list(standing, plan), plan)
    with pd.ExcelWriter(internal / "wounds.xlsx", engine="openpyxl") as workbook:
        for name, frame in sheets.items():
            harmless(frame).rename(columns=label).to_excel(workbook, sheet_name=name, index=False)
            laid_out(workbook.sheets[name], frame)


def about(found: dict, plan: Plan) -> pd.DataFrame:
    """What the tables are of, and how they may be used: the first sheet of the workbook."""
    lines = {
        "Report": f"{found['scope']}, {found['program']}",
        "Quarter": window(plan),
        "Status": STATUS,
        "For": INTERNAL,
        "Not compared": NOT_COMPARED,
        "Fingerprints": ", ".join(f"{name} {value}" for name, value in found["fingerprints"].items()),
    }
    return pd.DataFrame({"what": list(lines), "is": list(lines.values())})


def laid_out(sheet: Worksheet, frame: pd.DataFrame) -> None:
    """Columns as wide as their words, up to a limit beyond which they wrap; a header in sight; a page across."""
    sheet.freeze_panes = "A2"
    sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    for number, (name, column) in enumerate(frame.items(), start=1):
        letter = get_column_letter(number)
        widest = max([len(label(str(name))), *column.astype(str).str.len()])
        sheet.column_dimensions[letter].width = min(widest + 2, WIDEST)
        if widest + 2 > WIDEST:
            for cell in sheet[letter]:
                cell.alignment = Alignment(wrap_text=True, vertical="top")


def harmless(frame: pd.DataFrame) -> pd.DataFrame:
    """The same table with text that a spreadsheet would run as a formula held down by an apostrophe."""
    return frame.map(lambda cell: f"'{cell}" if isinstance(cell, str) and cell[:1] in "=+-@\t\r" and cell else cell)
