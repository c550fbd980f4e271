"""An empty workbook to fill in by hand, for a facility whose records cannot be exported at all."""

from __future__ import annotations

import math
from pathlib import Path

import openpyxl
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from kit.faults import ExportError
from kit.vocabulary import TABLES, Column, Table

FIRST, LAST = 3, 5002  # rows that are filled in; below the last one cells are read all the same, but not checked
OPENING, LISTS = "read me first", "lists"
HELP_LINE = 15.0  # points; the height of one line of text
HELP_FONT, NAME_FONT = {"size": 9}, {"size": 11, "bold": True}
FILL = PatternFill("solid", fgColor="E8EEF2")
# Numbers and days apart, everything is text: otherwise a spreadsheet makes a date of 1-2 and drops the noughts of 0012.
FORMATS = {"day": "yyyy-mm-dd", "number": "General"}
EITHER = {
    "dimensions": "Fill in either this or length, width and depth, never both.",
    "length": "Either this or dimensions.",
    "width": "Either this or dimensions.",
    "depth": "Either this or dimensions.",
}
UNITS = {
    "day": "Year-month-day (2026-03-31).",
    "points": "In points.",
    "per week": "Times a week.",
    "years": "In years.",
}


def write_template(file: Path) -> Path:
    """The empty workbook: a sheet a table, help in row 1, our column names in row 2, rows from row 3 on.

    Closed lists are drop-downs. What is not in a list, or outside the limits, is warned of and may stay: the kit reads
    other words too. Raises ExportError where a file of that name is there already, or the name is not that of a
    workbook.
    """
    file = Path(file)
    if file.suffix.lower() != ".xlsx":
        raise ExportError(f"{file.name}: the template is a workbook; give it a name that ends in .xlsx")
    if file.exists():
        raise ExportError(f"{file.name}: there is such a file already; move it away or choose another name")
    book = openpyxl.Workbook()
    _write_opening(book.active)
    sheets = {name: book.create_sheet(name) for name in TABLES}
    lists = _write_lists(book)
    for name, table in TABLES.items():
        _write_table(sheets[name], table, lists)
    file.parent.mkdir(parents=True, exist_ok=True)
    book.save(file)
    return file


def help_of(column: Column) -> str:
    """What row 1 says of a column."""
    needed = "NEEDED. " if column.required else ""
    unit = UNITS.get(column.unit, f"In {column.unit}." if column.unit else "")
    parts = [needed + column.says, unit, EITHER.get(column.name, "")]
    return " ".join(part for part in parts if part)


def opening() -> list[str]:
    """The lines of the first sheet; the first is its title."""
    tables = [f"{name}: a row is {table.row} ({_need(table)})." for name, table in TABLES.items()]
    return [
        "Wounds and their treatment, to be filled in by hand",
        "Each sheet is a table. Row 1 explains the columns, row 2 names them; type from row 3 on and change neither.",
        *tables,
        "A sheet that may be absent can stay empty. Deleting it says more: that these things are not recorded.",
        "A column that says NEEDED must be filled in every row. Leave blank what is not recorded; never guess.",
        "Write pseudonyms that mean nothing (R001, W001). Never write names, initials, dates of birth, record or room "
        "numbers. Keep the list that says who is who elsewhere.",
        "The same person or wound has the same pseudonym on every sheet.",
        "Sizes are in centimetres, areas in square centimetres, durations in minutes, shares in per cent (0 to 100).",
        "Size: fill in either dimensions (3.2 x 1.5 x 0.4) or length, width and depth, never both.",
        "Pick from the lists where there are some. Other words are warned of and may stay; the report says which of "
        "them it could not read.",
        "Where dates may not be held, count days from each person's first record; first change the format of the day "
        "columns from date to number.",
        "Save the workbook, put a study plan (study-plan.toml) beside it, and name the workbook as the export.",
    ]


def _need(table: Table) -> str:
    return "needed" if table.required else "may be absent"


def _write_opening(sheet: Worksheet) -> None:
    sheet.title = OPENING
    sheet.sheet_view.showGridLines = False
    width = 100
    sheet.column_dimensions["A"].width = width
    for row, line in enumerate(opening(), start=1):
        cell = sheet.cell(row, 1, line)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        cell.font = Font(size=14 if row == 1 else 11, bold=row == 1)
        sheet.row_dimensions[row].height = HELP_LINE * math.ceil(len(line) / (width - 5)) + (9 if row == 1 else 3)


def _write_lists(book: Workbook) -> dict[tuple[str, ...], str]:
    """The closed lists on a hidden sheet, a column each; where each of them stands.

    A list that is written into the rule itself may have no more than 255 letters.
    """
    sheet = book.create_sheet(LISTS)
    sheet.sheet_state = "hidden"
    told = {column.allowed: column.name for table in TABLES.values() for column in table.columns if column.allowed}
    places = {}
    for number, (words, name) in enumerate(told.items(), start=1):
        letter = get_column_letter(number)
        for row, word in enumerate((name, *words), start=1):
            sheet.cell(row, number, word).number_format = "@"
        sheet.column_dimensions[letter].width = 20
        places[words] = f"{LISTS}!${letter}$2:${letter}${len(words) + 1}"
    return places


def _write_table(sheet: Worksheet, table: Table, lists: dict[tuple[str, ...], str]) -> None:
    lines = 1
    for number, column in enumerate(table.columns, start=1):
        letter, said = get_column_letter(number), help_of(column)
        width = max(16, len(column.name) + 3, min(28, len(said) / 4))
        lines = max(lines, math.ceil(len(said) * 1.15 / width) + 1)
        sheet.column_dimensions[letter].width = width
        sheet.column_dimensions[letter].number_format = FORMATS.get(column.kind, "@")
        _write_head(sheet, number, column, said)
        rule = _rule(column, lists)
        if rule is not None:
            rule.add(f"{letter}{FIRST}:{letter}{LAST}")
            sheet.add_data_validation(rule)
    sheet.row_dimensions[1].height = HELP_LINE * lines * HELP_FONT["size"] / 10
    sheet.row_dimensions[2].height = HELP_LINE * 1.3
    sheet.freeze_panes = f"A{FIRST}"


def _write_head(sheet: Worksheet, number: int, column: Column, said: str) -> None:
    helped, named = sheet.cell(1, number, said), sheet.cell(2, number, column.name)
    helped.font = Font(**HELP_FONT, bold=column.required)
    helped.alignment = Alignment(wrap_text=True, vertical="top")
    named.font = Font(**NAME_FONT)
    named.fill = FILL
    for cell in (helped, named):
        cell.number_format = "@"


def _rule(column: Column, lists: dict[tuple[str, ...], str]) -> DataValidation | None:
    """What a spreadsheet warns of while a column is filled in; nothing is blocked."""
    if column.allowed:
        kind, said = {"type": "list", "formula1": lists[column.allowed]}, "This word is not in the list."
    elif column.kind == "day":
        limits = {"formula1": "DATE(1990,1,1)", "formula2": "DATE(2100,12,31)"}
        kind, said = {"type": "date", "operator": "between", **limits}, "Write a day as year-month-day."
    elif column.kind == "number":
        limits = {"formula1": f"{column.low:g}", "formula2": f"{column.high:g}"}
        said = f"Write a number from {column.low:g} to {column.high:g}."
        kind = {"type": "decimal", "operator": "between", **limits}
    else:
        return None
    rule = DataValidation(allow_blank=True, showErrorMessage=True, errorStyle="warning", **kind)
    rule.errorTitle, rule.error = column.name, said
    return rule
