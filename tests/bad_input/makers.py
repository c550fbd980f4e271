"""What a case cannot write as text: each maker turns the tables of a folder into the export that a case is about.

A maker is given the folder with its CSV tables and returns what the command is told to read.
"""

from __future__ import annotations

import csv
import shutil
import zipfile
from contextlib import suppress
from datetime import date
from pathlib import Path

import openpyxl

NAME = "export.xlsx"
WIDEST = 16_384  # columns of a sheet
MEASUREMENTS = "xl/worksheets/sheet2.xml"  # sheets stand in the order of their names, departures first


def workbook(folder, read=None):
    """A sheet for every CSV table, called after it; days and numbers are real ones."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for file in sorted(folder.glob("*.csv")):
        sheet = book.create_sheet(file.stem)
        for row in csv.reader(file.read_text(encoding="utf-8").lstrip("\n").splitlines()):
            sheet.append([(read or _typed)(cell) for cell in row])
        file.unlink()
    book.save(folder / NAME)
    return folder / NAME


def text_workbook(folder):
    """A workbook in which days and numbers are text, as some programs write it."""
    return workbook(folder, read=lambda cell: cell or None)


def hidden_sheet_and_rows(folder):
    """Somebody hid the wounds, and filtered the measurements."""
    book, save = _opened(workbook(folder))
    book["wounds"].sheet_state = "hidden"
    for row in range(3, 8):
        book["measurements"].row_dimensions[row].hidden = True
    return save()


def merged_cells(folder):
    """The wound stands once, in a cell that covers all of its measurements."""
    book, save = _opened(workbook(folder))
    sheet = book["measurements"]
    names = [cell.value for cell in sheet["A"]]
    for name in dict.fromkeys(names[1:]):
        first = names.index(name) + 1
        sheet.merge_cells(start_row=first, end_row=first + names.count(name) - 1, start_column=1, end_column=1)
    return save()


def wide_workbook(folder):
    """The measurements have as many columns as a sheet can have."""
    book, save = _opened(workbook(folder))
    sheet = book["measurements"]
    for column in range(sheet.max_column + 1, WIDEST + 1):
        sheet.cell(1, column, f"c{column}")
    return save()


def wide_csv(folder):
    """The measurements have 65,000 columns."""
    file = folder / "measurements.csv"
    head, *rows = file.read_text(encoding="utf-8").splitlines()
    more = [f"c{number}" for number in range(65_000)]
    file.write_text("\n".join([",".join([head, *more]), *(row + "," * len(more) for row in rows)]), encoding="utf-8")
    return folder


def uncomputed_formula(folder):
    """A length is a formula that no program has computed yet."""
    book, save = _opened(workbook(folder))
    book["measurements"]["D3"] = "=1+2"
    return save()


def unpacks_without_end(folder):
    """The workbook says that one of its parts has two gigabytes."""
    export = workbook(folder)
    with zipfile.ZipFile(export, "a") as parts:
        parts.writestr("xl/media/picture.bin", b"small")
        parts.getinfo("xl/media/picture.bin").file_size = 2 << 30
    return export


def document_type(folder):
    """The sheet of measurements declares a document type, by which it could read other files."""
    asks = b'<!DOCTYPE worksheet [<!ENTITY other SYSTEM "study-plan.toml">]>'
    return _with_part(workbook(folder), MEASUREMENTS, lambda sheet: asks + sheet)


def zip_of_something_else(folder):
    with zipfile.ZipFile(folder / NAME, "w") as parts:
        for file in sorted(folder.glob("*.csv")):
            parts.write(file, file.name)
    return folder / NAME


def truncated_workbook(folder):
    """The workbook was cut off while it was copied."""
    export = workbook(folder)
    export.write_bytes(export.read_bytes()[:-1000])
    return export


def locked_workbook(folder):
    """How a workbook begins that is locked with a password."""
    (folder / NAME).write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(4096))
    return folder / NAME


def no_plan_beside_a_workbook(folder):
    (folder / "study-plan.toml").unlink()
    return workbook(folder)


def _typed(cell):
    for read in (date.fromisoformat, int, float):
        with suppress(ValueError):
            return read(cell)
    return cell or None


def _opened(export):
    book = openpyxl.load_workbook(export)

    def save():
        book.save(export)
        return export

    return book, save


def _with_part(export, name, change):
    whole = shutil.copy(export, export.with_suffix(".whole"))
    with zipfile.ZipFile(whole) as parts, zipfile.ZipFile(export, "w", zipfile.ZIP_DEFLATED) as changed:
        for part in parts.namelist():
            changed.writestr(part, change(parts.read(part)) if part == name else parts.read(part))
    Path(whole).unlink()
    return export
