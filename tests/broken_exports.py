"""Broken exports, made by mutation of a small valid one: each is named by its fault and says what must come of it.

`stops`: one line says what to do, nothing is read; `counted`: every row is kept or set aside, and the fault is told;
`fine`: strange, and no fault. MARK stands where a person's name might: nothing that is said may hold it.
"""

from __future__ import annotations

import gzip
import io
import os
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from tests.exports import CALENDAR, PLAN, csv_text, write

MARK = "Zephyrine"
STOPS, COUNTED, FINE = "stops", "counted", "fine"
SESSIONS = """
    wound,day,modality,status,minutes,reason
    W1,12,ultrasound,given,10,
    W1,14,ultrasound,missed,,refused
    W2,32,stimulation,given,45,
"""
DEPARTURES = """
    resident,day,reason
    R2,60,left
"""


@dataclass(frozen=True)
class Broken:
    """One broken export: `make` is given a folder with the valid one and returns what the command is told to read."""

    fault: str
    comes: str
    make: Callable[[Path], Path | None]
    holds_mark: bool = False


def valid(folder: Path) -> Path:
    """The export that all others are made of: two wounds, five sizes, three sessions, one departure."""
    folder.mkdir(parents=True, exist_ok=True)
    return write(folder, sessions=SESSIONS, departures=DEPARTURES)


def read(folder: Path, table: str) -> str:
    return (folder / f"{table}.csv").read_text(encoding="utf-8")


# --- one cell ---

CELLS: dict[tuple[str, str], dict[str, list[tuple[str, str]]]] = {
    # table, a row of it with @ for the cell: what comes: (what is wrong, the cell)
    ("measurements", "W1,17,open,@,2"): {
        COUNTED: [
            ("a length beyond every number", "1e400"), ("a length that is not a number", "nan2"),
            ("a length of infinity", "inf"), ("a length below nothing", "-4"), ("a length with two points", "1.2.3"),
            ("a length in words", MARK), ("a length of four hundred nines", "9" * 400),
            ("a length with a unit of area", "4 cm2"), ("a length in another number system", "0x10"),
            ("a length that is a formula", "=1+1"), ("a length of a kilometre", "100000"),
            ("a length with a typographic minus", "−4"), ("a length as a range", "3-4"),
            ("a length below a limit", "<4"),
            ("a length of minus nothing", "-0"), ("a length not measured", "N/A"),
            ("a length in full-width digits", "４"), ("a length hardly above nothing", "1e-9"),
        ],
        FINE: [
            ("a length with a unit", "40 mm"), ("a length with blanks around it", "  4  "),
            ("a length with a plus", "+4"), ("a length with a hard blank", "4\u00a0cm"),
            ("a length in scientific notation", "4e0"), ("a length in quotation marks", '"4"'),
        ],
    },
    ("measurements", "W1,@,open,3,2"): {
        COUNTED: [
            ("a day in words", MARK), ("a day of a billion", "1000000000"),
            ("a day of twenty nines", "9" * 20), ("half a day", "12.5"), ("a day left blank", ""),
            ("a day after the cut-off", "201"), ("a day said to be unknown", "unknown"),
            ("a date among day numbers", "2026-02-30"), ("a day of infinity", "inf"),
            ("the smallest day of 64 bits", str(-(2**63))), ("a day of five thousand digits", "1" * 5000),
        ],
        FINE: [
            ("a day before the count began", "-1"), ("the first day there is", "0"), ("a day with blanks", " 17 "),
            ("a day with a nought before", "017"),
        ],
    },
    ("measurements", "W1,17,@,3,2"): {
        COUNTED: [
            ("a state that is no word of the list", MARK), ("a state that is doubted", "closed?"),
            ("a state that runs on", "open " * 4000),
            ("two states in one", "open/closed"),
        ],
        FINE: [
            ("a state written from right to left", "\u202eopen"), ("a state in capitals", "OPEN"),
            ("a state left blank", ""), ("a state with blanks", " open "),
        ],
    },
    ("measurements", "@,17,open,3,2"): {
        STOPS: [
            ("a wound called like a person", f"Dr {MARK} Anders"), ("a wound called like a record number", "MRN 4711"),
            ("a wound called in a sentence", f"the one that {MARK} showed us last week"),
            ("a wound called by ten thousand letters", "W" * 10_000),
        ],
        COUNTED: [
            ("a wound that is not listed", "W9"), ("a wound left blank", ""), ("a wound that is a dash", "-"),
            ("a wound with a letter that is not seen", "W1\u200b"), ("a wound in small letters", "w1"),
            ("a wound that is a formula", "=W1"),
        ],
        FINE: [("a wound with blanks around it", "  W1 "), ("a wound in quotation marks", '"W1"')],
    },
    ("wounds", "W2,R2,@,leg"): {
        COUNTED: [("a kind of wound in words of its own", MARK)], FINE: [("a kind of wound left blank", "")],
    },
    ("wounds", "W2,@,venous,leg"): {
        STOPS: [
            ("a resident called by name", f"{MARK}, Maria"), ("a resident called by initials and birth", "MZ 1941"),
        ],
        COUNTED: [("a resident that is not listed", "R9"), ("a resident left blank", "")],
    },
    ("residents", "R2,Birch,@,male"): {
        COUNTED: [("an age in words", MARK), ("an age nobody has", "300"), ("an age below nothing", "-3")],
        FINE: [("an age that is pooled", "90+"), ("an age not told", "")],
    },
    ("residents", "R2,@,77,male"): {
        STOPS: [("a facility called like a telephone number", "(555) 010-4477")],
        FINE: [("a facility left blank", ""), ("a facility called like a script", "<script>alert(1)</script>")],
    },
    ("sessions", "W2,32,@,given,45,"): {COUNTED: [("a modality that is no word of the list", MARK)]},
    ("sessions", "W2,32,stimulation,@,45,"): {COUNTED: [("a status that is no word of the list", MARK)]},
    ("sessions", "W2,32,stimulation,given,@,"): {
        COUNTED: [("minutes of a week", "10080"), ("minutes in words", MARK)], FINE: [("minutes as hours", "0.75 h")],
    },
    ("departures", "R2,60,@"): {COUNTED: [("a reason to leave that is no word of the list", MARK)]},
}  # fmt: skip


def _cell(table: str, row: str, cell: str) -> Callable[[Path], None]:
    """The row that fits the pattern best is replaced by it, with the cell in place of @."""

    def make(folder: Path) -> None:
        before, after = row.split("@")
        lines = read(folder, table).splitlines()
        fitting = [place for place, line in enumerate(lines) if line.startswith(before) and line.endswith(after)]
        lines[fitting[-1]] = before + cell + after
        (folder / f"{table}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    return make


def _cells() -> list[Broken]:
    return [
        Broken(fault, comes, _cell(table, row, cell), MARK in cell)
        for (table, row), outcomes in CELLS.items()
        for comes, cases in outcomes.items()
        for fault, cell in cases
    ]


# --- the text of one file ---


def _text(change: Callable[[str], str | bytes], table: str = "measurements") -> Callable[[Path], None]:
    def make(folder: Path) -> None:
        told = change(read(folder, table))
        (folder / f"{table}.csv").write_bytes(told if isinstance(told, bytes) else told.encode())

    return make


def _lines(change: Callable[[list[str]], list[str]]) -> Callable[[str], str]:
    return lambda text: "\n".join(change(text.splitlines())) + "\n"


TEXTS: dict[str, list[tuple[str, Callable[[str], str | bytes]]]] = {
    STOPS: [
        ("a file without a letter", lambda text: ""),
        ("a file of one line end", lambda text: "\n"),
        ("a file of a byte order mark", lambda text: b"\xef\xbb\xbf"),
        ("headers and no row", lambda text: text.splitlines()[0] + "\n"),
        ("rows and no header", lambda text: "\n".join(text.splitlines()[1:])),
        ("a nought byte in the last row", lambda text: text.encode() + b"W2,44,open,\0,2\n"),
        ("a nought byte in a header", lambda text: text.replace("state", "sta\0te").encode()),
        ("an open quotation mark", lambda text: text.replace("W1,17", '"W1,17')),
        ("one row with a cell too many", lambda text: text.replace("W1,17,open,3,2", "W1,17,open,3,5,2")),
        ("a decimal comma that parts a cell", lambda text: text.replace("W1,17,open,3,2", "W1,17,open,3,5,2,5")),
        ("a nought byte behind a mark of order",
         lambda text: b"\xef\xbb\xbf" + text.replace("W1,17", "W1,1\0007").encode()),
        ("a nought byte in UTF-16", lambda text: text.replace("W1,17", "W1,1\0007").encode("utf-16")),
        ("a header twice in other capitals", lambda text: text.replace("width", "LENGTH")),
        ("a million empty columns", _lines(lambda rows: [rows[0] + "," * 1_000_000, *rows[1:]])),
        ("a header twice", lambda text: text.replace("length", "width")),
        ("no header for the day", lambda text: text.replace("day", "when it was")),
        ("no header for the wound", lambda text: text.replace("wound,", f"{MARK},")),
        ("every header in another language", lambda text: text.replace(text.splitlines()[0], "a,b,c,d,e")),
        ("a picture", lambda text: b"\x89PNG\r\n\x1a\n" + bytes(200)),
        ("a packed file", lambda text: gzip.compress(text.encode())),
        ("a page of the web", lambda text: f"<!doctype html><html><body><p>{MARK}</p></body></html>"),
        ("a file of another program", lambda text: '{"wound": ["W1", "W2"], "day": [1, 2]}'),
        ("bytes without a meaning", lambda text: bytes(range(256)) * 8),
        ("letters of a mainframe", lambda text: text.encode("cp037")),
        ("UTF-16 that breaks off within a letter", lambda text: text.encode("utf-16")[:-1]),
        ("UTF-32 that breaks off within a letter", lambda text: text.encode("utf-32")[:-2]),
        ("cells parted by blanks", lambda text: text.replace(",", " ")),
        ("cells parted by a sign nobody uses", lambda text: text.replace(",", "^")),
        ("a cell of twenty million letters", lambda text: text.replace("W2,37,open", f"W2,37,{'o' * 20_000_000}")),
        ("days written in two ways", lambda text: text.replace(",10,", ",2026-05-10,").replace(",24,", ",5/24/2026,")),
        ("days all in words", _lines(lambda rows: [rows[0], *(f"W1,{MARK},open,4,3" for _ in rows)])),
        ("states all in words of their own", _lines(lambda rows: [rows[0], *(f"W1,{n},{MARK},4,3" for n in range(9))])),
        ("lengths all in millimetres", _lines(lambda rows: [rows[0], *(f"W1,{n},open,{40 + n},30" for n in range(9))])),
        ("numbers all with a comma", _lines(lambda rows: [rows[0], *(f'W1,{n},open,"4,5",3' for n in range(9))])),
    ],
    COUNTED: [
        ("a row cut in the middle", lambda text: text[: text.rindex("open")]),
        ("a row with too few cells", lambda text: text.replace("W2,37,open,4,2", "W2,37")),
        ("a row twice", lambda text: text + "W2,37,open,4,2\n"),
        ("two sizes on one day", lambda text: text + "W2,37,open,9,9\n"),
        ("open again after closing", lambda text: text + "W1,31,open,2,2\n"),
        ("cells moved one to the left", lambda text: text.replace("W2,37,open,4,2", "37,open,4,2,")),
        ("a header repeated below with a blank", lambda text: text + "wound ,days,state,length,width\n"),
        ("a mark of order in the middle", lambda text: text.replace("W2,37", "\ufeffW2,37")),
        ("a total below the rows", lambda text: text + "Total,,,16,11\n"),
    ],
    FINE: [
        ("a size that jumps", lambda text: text.replace("W2,37,open,4,2", "W2,37,open,40,20")),
        ("line ends of an old computer", lambda text: text.replace("\n", "\r").encode()),
        ("line ends of two kinds", lambda text: text.replace("\n", "\r\n", 3).encode()),
        ("no line end at the end", lambda text: text.rstrip("\n")),
        ("empty rows between the rows", lambda text: text.replace("\n", "\n\n")),
        ("three hundred thousand empty rows", lambda text: text + "\n" * 300_000),
        ("a thousand rows of empty cells", lambda text: text + ",,,,\n" * 1000),
        ("an empty cell at the end of every row", lambda text: text.replace("\n", ",\n")),
        ("a header with blanks around it", lambda text: text.replace("length", "  length ")),
        ("a header in capitals", lambda text: text.replace("length", "LENGTH")),
        ("ten thousand columns that nobody asked for", _lines(
            lambda rows: [rows[0] + "".join(f",x{n}" for n in range(10_000)), *(row + "," * 10_000 for row in rows[1:])]
        )),
        ("a header of ten thousand letters", _lines(
            lambda rows: [f"{rows[0]},{'x' * 10_000}", *(f"{row},{MARK}" for row in rows[1:])])),
        ("a column of notes about persons", _lines(
            lambda rows: [f"{rows[0]},notes", *(f"{row},seen by {MARK}" for row in rows[1:])])),
        ("columns in another order", _lines(lambda rows: [",".join(row.split(",")[::-1]) for row in rows])),
        ("rows in another order", _lines(lambda rows: [rows[0], *rows[:0:-1]])),
        ("cells parted by semicolons", lambda text: text.replace(",", ";")),
        ("cells parted by tabs", lambda text: text.replace(",", "\t")),
        ("UTF-16 with its mark", lambda text: text.encode("utf-16")),
        ("UTF-32 with its mark", lambda text: text.encode("utf-32")),
        ("every cell in quotation marks", _lines(
            lambda rows: [",".join(f'"{cell}"' for cell in row.split(",")) for row in rows])),
        ("a title above the headers", lambda text: f"Skin rounds of {MARK}\n\n{text}"),
    ],
}  # fmt: skip


def _texts() -> list[Broken]:
    marked = f"{MARK}"
    return [
        Broken(fault, comes, _text(change), marked in str(change("wound,day,state,length,width\nW1,10,open,4,3\n")))
        for comes, cases in TEXTS.items()
        for fault, change in cases
    ]


# --- workbooks ---


def workbook(folder: Path) -> Path:
    """The valid export as a workbook, with real numbers."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for file in sorted(folder.glob("*.csv")):
        sheet = book.create_sheet(file.stem)
        for row in file.read_text(encoding="utf-8").splitlines():
            sheet.append([float(cell) if cell.isdigit() else cell or None for cell in row.split(",")])
        file.unlink()
    book.save(folder / "export.xlsx")
    return folder / "export.xlsx"


def _edited(edit: Callable[[openpyxl.Workbook], None]) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        file = workbook(folder)
        book = openpyxl.load_workbook(file)
        edit(book)
        book.save(file)
        return file

    return make


def _packed(edit: Callable[[str, bytes], bytes | None], more: dict[str, bytes] | None = None) -> Callable[[Path], Path]:
    """A workbook whose parts were changed from outside: nothing for a part that is gone."""

    def make(folder: Path) -> Path:
        file = workbook(folder)
        with zipfile.ZipFile(file) as archive:
            parts = {name: archive.read(name) for name in archive.namelist()}
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, content in {**parts, **(more or {})}.items():
                if (told := edit(name, content)) is not None:
                    archive.writestr(name, told)
        return file

    return make


def _bytes(change: Callable[[bytes], bytes]) -> Callable[[Path], Path]:
    def make(folder: Path) -> Path:
        file = workbook(folder)
        file.write_bytes(change(file.read_bytes()))
        return file

    return make


def _without(part: str) -> Callable[[str, bytes], bytes | None]:
    return lambda name, content: None if part in name else content


def _with_size(told: bytes) -> Callable[[str, bytes], bytes]:
    return lambda name, content: re.sub(rb'<dimension ref="[^"]*"', b'<dimension ref="' + told + b'"', content)


def _put(sheet: str, cell: str, value: object) -> Callable[[openpyxl.Workbook], None]:
    def edit(book: openpyxl.Workbook) -> None:
        book[sheet][cell] = value

    return edit


def _many_sheets(book: openpyxl.Workbook) -> None:
    for number in range(300):
        book.create_sheet(f"{MARK} {number}")


def _far_cell(book: openpyxl.Workbook) -> None:
    book["measurements"]["XFD1048576"] = " "


def _list_says(old: bytes, new: bytes) -> Callable[[str, bytes], bytes]:
    """Other bytes in the list of sheets."""
    return lambda name, told: told.replace(old, new) if name == "xl/workbook.xml" else told


def _in_sheet(old: bytes, new: bytes) -> Callable[[Path], Path]:
    """Other bytes in the sheet of measurements."""
    return _packed(lambda name, told: told.replace(old, new, 1) if name == SHEET else told)


def _bomb(folder: Path) -> Path:
    """Two hundred megabytes of blanks before a sheet, in a fifth of one."""
    return _packed(lambda name, told: b"<?xml version='1.0'?>" + b" " * 200_000_000 + told if name == SHEET else told)(
        folder
    )


def _repacked(folder: Path) -> Path:
    file = workbook(folder)
    with zipfile.ZipFile(file) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_LZMA) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    told = file.read_bytes()
    at = told.index(SHEET.encode()) + len(SHEET) + 20
    file.write_bytes(told[:at] + bytes(255 - byte for byte in told[at : at + 40]) + told[at + 40 :])
    return file


SHEET = "xl/worksheets/sheet2.xml"  # the measurements; sheets stand in the order of their names
DOCTYPE = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
WORKBOOKS: dict[str, list[tuple[str, Callable[[Path], Path]]]] = {
    STOPS: [
        ("a workbook that breaks off", _bytes(lambda told: told[: len(told) // 2])),
        ("a workbook of nothing", _bytes(lambda told: b"")),
        ("a workbook behind a password", _bytes(lambda told: bytes.fromhex("d0cf11e0a1b11ae1") + told)),
        ("a workbook that is a text", _bytes(lambda told: b"wound,day\nW1,10\n")),
        ("a workbook with bytes turned round", _bytes(lambda told: told[:200] + told[200:400][::-1] + told[400:])),
        ("a workbook without its list of sheets", _packed(_without("xl/workbook.xml"))),
        ("a workbook without its contents", _packed(_without("[Content_Types]"))),
        ("a workbook without its sheets", _packed(_without("xl/worksheets/"))),
        ("a workbook that names other files", _packed(
            lambda name, told: DOCTYPE + told.split(b"?>")[-1] if name.endswith("sheet2.xml") else told)),
        ("a workbook that unpacks without end", _packed(_without("\0"), {"xl/media/a.bin": bytes((1 << 30) + 1)})),
        ("a workbook whose sheet is no XML", _packed(
            lambda name, told: b"<worksheet><sheetData><row" if name.endswith("sheet2.xml") else told)),
        ("a workbook of empty sheets", _edited(lambda book: [sheet.delete_rows(1, 99) for sheet in book])),
        ("a workbook without the measurements", _edited(lambda book: book.remove(book["measurements"]))),
        ("a workbook that lacks a sheet it lists", _packed(_without("xl/worksheets/sheet4.xml"))),
        ("two sheets of one name", _packed(
            _list_says(b'name="sessions"', b'name="wounds"'))),
        ("a row number twice", _in_sheet(b'<row r="4"', b'<row r="3"')),
        ("rows out of order", _in_sheet(b'<row r="3"', b'<row r="30"')),
        ("cells out of order", _in_sheet(b'r="C3"', b'r="G3"')),
        ("two values for one cell", _in_sheet(b'r="E3"', b'r="D3"')),
        ("a row beyond the last a sheet can have", _in_sheet(b"</sheetData>", b'<row r="3000000"/></sheetData>')),
        ("a workbook of two hundred megabytes of blanks", _bomb),
        ("a workbook of ten thousand parts", _packed(
            lambda name, told: told, {f"xl/media/{number}": b"" for number in range(10_001)})),
        ("a workbook packed in another way and spoilt", _repacked),
        ("a formula that nobody computed", _edited(_put("measurements", "D3", "=2+2"))),
        ("a resident's name in a workbook", _edited(_put("wounds", "B2", f"{MARK}, Maria"))),
    ],
    COUNTED: [
        ("a cell that holds an error", _edited(_put("measurements", "D3", "#REF!"))),
        ("a cell that is true", _edited(_put("measurements", "D3", True))),
        ("a length that became a date", _edited(_put("measurements", "D3", pd.Timestamp("2026-03-04")))),
        ("a text where a day should be", _edited(_put("measurements", "B3", MARK))),
    ],
    FINE: [
        ("a workbook that lies about its size", _packed(_with_size(b"A1:A1"))),
        ("three hundred sheets of others", _edited(_many_sheets)),
        ("a cell in the furthest corner", _edited(_far_cell)),
        ("properties that name a person", _edited(lambda book: setattr(book.properties, "creator", MARK))),
        ("a look given to the last row of a sheet", _in_sheet(
            b"</sheetData>", b'<row r="1048576" s="1" customFormat="1"/></sheetData>')),
        ("sheets called in capitals", _packed(
            _list_says(b'name="sessions"', b'name="Sessions"'))),
        ("a number that is text", _edited(_put("measurements", "D3", "3"))),
    ],
}  # fmt: skip


def _workbooks() -> list[Broken]:
    return [Broken(fault, comes, make) for comes, cases in WORKBOOKS.items() for fault, make in cases]


# --- Parquet ---


def _parquet(change: Callable[[pa.Table], pa.Table] | None = None, after: Callable[[bytes], bytes] | None = None):
    def make(folder: Path) -> None:
        file = folder / "measurements.csv"
        frame = pd.read_csv(file, dtype=str, keep_default_na=False)
        table, out = pa.Table.from_pandas(frame, preserve_index=False), io.BytesIO()
        pq.write_table(change(table) if change else table, out)
        file.unlink()
        told = out.getvalue()
        file.with_suffix(".parquet").write_bytes(after(told) if after else told)

    return make


def _column(name: str, values: Callable[[int], pa.Array]) -> Callable[[pa.Table], pa.Table]:
    return lambda table: table.set_column(table.column_names.index(name), name, values(len(table)))


PARQUET: dict[str, list[tuple[str, Callable[[Path], None]]]] = {
    STOPS: [
        ("Parquet that breaks off", _parquet(after=lambda told: told[:-40])),
        ("Parquet of nothing", _parquet(after=lambda told: b"")),
        ("Parquet with its middle turned round", _parquet(after=lambda told: told[:20] + told[20:][::-1])),
        ("Parquet with a list in every cell", _parquet(_column("length", lambda n: pa.array([[1.0, 2.0]] * n)))),
        ("Parquet with a table in every cell", _parquet(_column("length", lambda n: pa.array([{"a": 1}] * n)))),
        ("Parquet of bytes that are no text", _parquet(_column("state", lambda n: pa.array([b"\xff\xfe\xff"] * n)))),
        ("Parquet without a row", _parquet(lambda table: table.slice(0, 0))),
    ],
    COUNTED: [
        ("Parquet with lengths that are not known", _parquet(_column("length", lambda n: pa.array(["?"] * n)))),
    ],
    FINE: [
        ("Parquet", _parquet()),
        ("Parquet with real numbers", _parquet(_column("length", lambda n: pa.array([4.0, 3.0, None, 5.0, 4.0])))),
        ("Parquet with words from a list", _parquet(
            lambda table: table.set_column(2, "state", table.column("state").dictionary_encode()))),
    ],
}  # fmt: skip


def _parquets() -> list[Broken]:
    return [Broken(fault, comes, make) for comes, cases in PARQUET.items() for fault, make in cases]


# --- folders, plans and maps ---


def _folder_in_place(folder: Path) -> None:
    (folder / "measurements.csv").unlink()
    (folder / "measurements.csv").mkdir()


def _loop(folder: Path) -> None:
    (folder / "measurements.csv").unlink()
    (folder / "measurements.csv").symlink_to(folder / "measurements.csv")


def _in_place_of_sessions(to: str) -> Callable[[Path], None]:
    """A folder, or a link, where a table may be absent: it is there, and cannot be read."""

    def make(folder: Path) -> None:
        file = folder / "sessions.csv"
        file.unlink()
        file.symlink_to(to) if to else file.mkdir()

    return make


def _called(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / "sessions.csv").rename(folder / name) and None


def _plan_is_a_pipe(folder: Path) -> None:
    (folder / "study-plan.toml").unlink()
    os.mkfifo(folder / "study-plan.toml")


DATES = (
    "today", "now", "NOW", "1677-09-22", "2262-04-11", "0001-01-01", "9999-12-31", "2026-02-30", "2025-02-29",
)  # fmt: skip


def _dated(cell: str) -> Callable[[Path], None]:
    """The export in dates, with one of them written otherwise."""

    def make(folder: Path) -> None:
        (folder / "study-plan.toml").write_text(CALENDAR, encoding="utf-8")
        for table, place in (("measurements", 1), ("sessions", 1), ("departures", 1)):
            head, *rows = [row.split(",") for row in read(folder, table).splitlines()]
            for row in rows:
                row[place] = f"{date(2026, 3, 1) + timedelta(days=int(row[place]))}"
            if table == "measurements":
                rows[1][place] = cell
            text = "\n".join(",".join(row) for row in [head, *rows]) + "\n"
            (folder / f"{table}.csv").write_text(text, encoding="utf-8")

    return make


def _in_one_cell(folder: Path) -> None:
    """Sizes in one cell, in millimetres, and a map that says so in capitals."""
    rows = [row.split(",") for row in read(folder, "measurements").splitlines()[1:]]
    cells = [",".join([*row[:3], f"{row[3]}0 x {row[4]}0" if row[3] else ""]) for row in rows]
    text = "\n".join(["wound,day,state,dimensions", *cells]) + "\n"
    (folder / "measurements.csv").write_text(text, encoding="utf-8")
    tables = {file.stem: file.read_text(encoding="utf-8").splitlines()[0].split(",") for file in folder.glob("*.csv")}
    lines = [
        f"[{table}.columns]\n" + "".join(f'{header} = "{header}"\n' for header in headers)
        for table, headers in tables.items()
    ]
    told = "".join(lines).replace('"dimensions"', '{ column = "dimensions", unit = "MM" }')
    (folder / "columns.toml").write_text(told, encoding="utf-8")


def _twice(folder: Path) -> None:
    pd.read_csv(folder / "measurements.csv", dtype=str).to_parquet(folder / "measurements.parquet")


def _device(folder: Path) -> None:
    (folder / "measurements.csv").unlink()
    os.mkfifo(folder / "measurements.csv")


def _outside(folder: Path) -> None:
    """Another export beside this one, which no map may reach."""
    (folder.parent / "other.csv").write_text(f"wound,day\n{MARK},1\n", encoding="utf-8")


def _plan(text: str) -> Callable[[Path], None]:
    return lambda folder: (folder / "study-plan.toml").write_text(text, encoding="utf-8") and None


def _map(text: str) -> Callable[[Path], None]:
    def make(folder: Path) -> None:
        _outside(folder)
        (folder / "columns.toml").write_text(text, encoding="utf-8")

    return make


WOUNDS_MAP = '[wounds.columns]\nwound = "wound"\nresident = "resident"\nkind = "kind"\n'
KEYS = 'wound = "wound"\nday = "day"\nlength = "length"\nwidth = "width"\nstate = "state"\n'


def _mapped(named: str) -> str:
    """A map that takes the measurements from another place; the words of a name stand as TOML writes them."""
    return f"{WOUNDS_MAP}[measurements]\nfile = {named}\n[measurements.columns]\n{KEYS}"


FOLDERS: dict[str, list[tuple[str, Callable[[Path], Path | None]]]] = {
    STOPS: [
        ("a folder where a table should be", _folder_in_place),
        ("a table that leads to itself", _loop),
        ("a table twice, in two kinds", _twice),
        ("a folder where a table may be absent", _in_place_of_sessions("")),
        ("a link that leads nowhere where a table may be absent", _in_place_of_sessions("nowhere.csv")),
        ("an export whose name is longer than a name can be", lambda folder: folder / ("x" * 5000)),
        ("a table that is not there", lambda folder: (folder / "wounds.csv").unlink()),
        ("an export that is not there", lambda folder: folder / "nowhere"),
        ("a folder of nothing", lambda folder: [file.unlink() for file in folder.glob("*.csv")] and None),
        ("a plan that is not there", lambda folder: (folder / "study-plan.toml").unlink()),
        ("a plan of nothing", _plan("")),
        ("a plan that is no TOML", _plan(f"program = {MARK}")),
        ("a plan that is a table of words", _plan('program = "Invented"\n' + PLAN.split("[windows]")[1])),
        ("a plan with a key twice", _plan(PLAN.replace("cutoff = 200", "cutoff = 200\ncutoff = 201"))),
        ("a plan with a regimen twice", _plan(PLAN + '[[regimens]]\nname = "ultrasound"\nmodality = "ultrasound"\n')),
        ("a plan with a misspelt key", _plan(PLAN.replace("cutoff", "cuttoff"))),
        ("a plan with a day that does not exist", _plan(PLAN.replace("200", "2026-02-30"))),
        ("a plan with a number in words", _plan(PLAN.replace("200", f'"{MARK}"'))),
        ("a plan with a number of a hundred digits", _plan(PLAN + f"[comparison]\nstarters = {'9' * 100}\nnot = 1\n")),
        ("a plan with a cut-off beyond all years", _plan(
            PLAN.replace("200", "9999-12-31").replace("110", "2026-04-01"))),
        ("a plan with a cut-off of thirty digits", _plan(PLAN.replace("200", "9" * 30))),
        ("a plan with a cut-off of five thousand digits", _plan(PLAN.replace("200", "9" * 5000))),
        ("a plan with a cost without end", _plan(PLAN + "[costs]\nstaff_minute = inf\n")),
        ("a plan nested a thousand deep", _plan(PLAN + "[sizes]\narea = " + "[" * 1000 + "]" * 1000 + "\n")),
        ("a plan of five million letters", _plan(PLAN + f'[sizes]\narea = "{"x" * 5_000_000}"\n')),
        ("a plan that ends before it begins", _plan(PLAN.replace("110", "300"))),
        ("a plan in another encoding", lambda folder: (folder / "study-plan.toml").write_bytes(
            PLAN.replace("Invented", "Grün").encode("latin-1")) and None),
        ("a plan with a nought byte", _plan(PLAN.replace("Invented", "In\0vented"))),
        ("a map that is no TOML", _map("[measurements")),
        ("a map that is a word", _map('measurements = "there"')),
        ("a map of a table that nobody knows", _map('[moods.columns]\nday = "day"\n')),
        ("a map nested a thousand deep", _map("x = " + "[" * 1000 + "]" * 1000 + "\n")),
        ("a map that climbs out", _map(_mapped('"../other.csv"'))),
        ("a map that climbs out by a wildcard", _map(_mapped('"../*.csv"'))),
        ("a map that climbs out from within", _map(_mapped('"x/../../other.csv"'))),
        ("a map that climbs out as Windows does", _map(_mapped("'..\\other.csv'"))),
        ("a map that names a place of its own", _map(_mapped('"/etc/passwd"'))),
        ("a map that names a drive", _map(_mapped("'C:\\Windows\\win.ini'"))),
        ("a map that looks everywhere", _map(_mapped('"**/*.csv"'))),
        ("a map that looks everywhere below", _map(_mapped('"**"'))),
        ("a map that looks everywhere by a name", _map(_mapped('"o**.csv"'))),
        ("a map that climbs to the folder above", _map(_mapped('".."'))),
        ("a map that names a file longer than a name can be", _map(_mapped(f'"{"m" * 5000}"'))),
        ("a map that names nothing", _map(_mapped('""'))),
        ("a map that names a folder", _map(_mapped('"."'))),
        ("a map that names a number", _map(_mapped("7"))),
        ("a map with a nought byte in a name", _map(_mapped('"other\\u0000.csv"'))),
        ("a map of a column that is not there", _map(
            f"{WOUNDS_MAP}[measurements.columns]\n" + KEYS.replace('"day"', '"when"'))),
        ("a map with a format that nobody knows", _map(
            f"{WOUNDS_MAP}[measurements.columns]\n" + KEYS.replace('"day"', '{ column = "day", format = "YYYY" }'))),
    ],
    COUNTED: [
        (f"a date that is {cell}", _dated(cell)) for cell in DATES
    ],
    FINE: [
        ("dates", _dated("2026-03-18")),
        ("sizes in one cell with a unit in capitals", _in_one_cell),
        ("a file called in capitals", _called("Sessions.CSV")),
        ("files that nobody asked for", lambda folder: (folder / f"{MARK}.docx").write_bytes(b"\0\1") and None),
        ("a file with a line end in its name", lambda folder: (folder / "notes\nof.csv").write_text(MARK) and None),
        ("a folder within the folder", lambda folder: (folder / "old").mkdir()),
    ],
}  # fmt: skip
if hasattr(os, "mkfifo"):
    FOLDERS[STOPS] += [("a table that is a pipe", _device), ("a plan that is a pipe", _plan_is_a_pipe)]


def _folders() -> list[Broken]:
    return [Broken(fault, comes, make) for comes, cases in FOLDERS.items() for fault, make in cases]


CORPUS = {one.fault: one for one in [*_cells(), *_texts(), *_workbooks(), *_parquets(), *_folders()]}


def lay(fault: str, folder: Path) -> Path:
    """The broken export of that name in a folder; what the command is told to read."""
    return CORPUS[fault].make(valid(folder)) or folder


__all__ = ["CORPUS", "COUNTED", "FINE", "MARK", "STOPS", "Broken", "csv_text", "lay", "valid"]
