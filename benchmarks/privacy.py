"""Identifiers planted in an export by mistake: does any reach a study, a cache, a log, an error, a notebook or a page?

    .venv/bin/python benchmarks/privacy.py [--quick]

The eighteen kinds of 45 CFR 164.514(b)(2)(i) stand in realistic disguises at every place of an export where they could:
headers, cells, pseudonyms, names of sheets and files, and what a file carries besides. Each export is read, checked and
drafted by the kit and by its command line; whatever comes out is searched for the text, its digits and its surname, in
letters of any case and inside zip, base64 and UTF-16. Without --quick two exports that carry all of them at once are
reported on, notebooks and all, and every file is searched.

What cannot be told from an honest code (data/published/identifiers.csv) is listed and not counted. Honest exports and
honest pseudonyms must not be stopped. The exit is 1 where one reached or one was stopped. Everything is invented.
"""

from __future__ import annotations

import argparse
import base64
import contextlib
import hashlib
import html
import io
import json
import logging
import os
import pickle
import random
import re
import struct
import subprocess
import sys
import tempfile
import traceback
import uuid
import warnings
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.drawing.image import Image
from openpyxl.packaging.custom import StringProperty
from openpyxl.utils import get_column_letter
from openpyxl.workbook.defined_name import DefinedName

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
from benchmarks.export_shapes import SHAPES, tidy  # noqa: E402
from kit.__main__ import main as command  # noqa: E402
from kit.checking import check  # noqa: E402
from kit.intake.drafting import draft  # noqa: E402
from kit.intake.naming import looks_like  # noqa: E402
from kit.intake.pseudonyms import resembles  # noqa: E402
from kit.study import PLAN_NAME, read_study  # noqa: E402
from kit.vocabulary import TABLES  # noqa: E402

SYNTHETIC, PUBLISHED = ROOT / "data" / "synthetic", ROOT / "data" / "published"
PSEUDONYMS = ("resident", "wound", "assessor", "therapist", "facility")
NAMES = ("header of a mapped column", "name of a sheet", "name of a file", "name of the export", "name in the map")
FOLDED = 7  # letters from which on a word of a plant tells it by itself
DIGITS = 5  # digits in a row, or joined, that tell it
RESIDENTS, ROWS = 8, 18  # of each table of the small export
PROCESSES, BATCHES = 2, 17  # four kinds a batch, for there are four tables to be called after them


# --- what is planted ---


@dataclass(frozen=True)
class Kind:
    """One identifier in one disguise. `untold`: the places where nobody could tell it from an honest text."""

    letter: str
    text: str
    untold: frozenset[str] = frozenset()

    @property
    def tells(self) -> tuple[str, ...]:
        """The text and those of its parts that would tell it: long words, and digits, as they stand and joined."""
        words = [word for word in re.findall(r"[^\W\d_]+", self.text) if len(word) >= FOLDED and word not in DULL]
        rows = re.findall(r"\d+", self.text)
        joined = "".join(rows)
        digits = [run for run in (*rows, joined if len(joined) > DIGITS + 1 else "") if len(run) >= DIGITS]
        return tuple(dict.fromkeys([self.text, *words, *digits]))


DULL = {"example", "facebook", "fingerprint", "template", "Medicaid", "johanna", "Johanna", "JOHANNA", "passport"}


def _kinds(letter: str, *texts: str, untold: Iterable[str] = ()) -> list[Kind]:
    return [Kind(letter, text, frozenset(untold)) for text in texts]


ONE = "pseudonym of a "
FACILITY, WOUND = ONE + "facility", ONE + "wound"
CODES = tuple(ONE + name for name in PSEUDONYMS)
JOINED = "joined pseudonym"
KINDS: tuple[Kind, ...] = (
    *_kinds("A", "Whiteoak, Johanna", "Johanna Whiteoak", "WHITEOAK JOHANNA M", "Mrs. Whiteoak", "J. Whiteoak",
            untold=[FACILITY]),
    *_kinds("A", "Whiteoak", untold=[FACILITY, WOUND, JOINED, *NAMES]),
    *_kinds("A", "JW1941", untold=[FACILITY, WOUND, JOINED, *NAMES]),
    *_kinds("B", "4127 Quarrendon Street", "Harrowmere, OH 45299", "45299-8837", "41.40338, -82.17403", "ZIP 03604"),
    *_kinds("B", "Quarrendon County", untold=[FACILITY, WOUND, JOINED, *NAMES]),
    *_kinds("B", "45299", untold=[*CODES, JOINED, *NAMES]),
    *_kinds("C", "03/12/1941", "DOB 12 Mar 1941", "JW 1941-03-12", "born 1931", "97 y/o"),
    *_kinds("C", "adm. 3/14/2026", untold=NAMES),
    *_kinds("D", "(614) 555-0173", "614.555.0173", "555-0173", "+1 614 555 0173 x22"),
    *_kinds("E", "Fax: 614-555-0199", "fax 6145550199"),
    *_kinds("F", "j.whiteoak@quarrendon.example", "j.whiteoak (at) quarrendon.example"),
    *_kinds("G", "219-09-9999", "219 09 9999", "SSN ends 9999"),
    *_kinds("H", "MRN 4471038", "MR# 00447103", "M00447103"),
    *_kinds("H", "44-71-03"),
    *_kinds("I", "1EG4-TE5-MK73", "1EG4TE5MK73", "XQK882913746", "Medicaid 10293847"),
    *_kinds("J", "Acct 88-20417", "4111 1111 1111 1111", "DE89 3704 0044 0532 0130 00"),
    *_kinds("K", "RN-283746", "AB1234563", "Lic. PT 9921", "1245319599"),
    *_kinds("L", "1HGCM82633A004352", "plate KQR 4827"),
    *_kinds("L", "KQR-4827", untold=[FACILITY, JOINED, *NAMES]),
    *_kinds("M", "00:1B:44:11:3A:B7", "PJN847261H", "(01)00844588003288(17)141120", "S/N BX-77310-K",
            "490154203237518"),
    *_kinds("N", "https://quarrendon.example/p/447", "facebook.com/johanna.whiteoak"),
    *_kinds("O", "192.168.14.27", "2001:db8:85a3::8a2e:370:7334"),
    *_kinds("P", "fingerprint template 44A91"),
    *_kinds("P", "Rk1SACAyMAAAAPgAAAFlAYgA", untold=[*CODES, JOINED, *NAMES]),
    *_kinds("Q", "IMG_4471.jpg", "heel Whiteoak.png"),
    *_kinds("R", "@jwhiteoak", "case no 2026-CV-00418", "badge 40417", "passport X1234567"),
)  # fmt: skip


# --- where it is planted ---


@dataclass
class Parcel:
    """An export before it is written: tables, what its files are called and what they carry besides."""

    tables: dict[str, pd.DataFrame]
    called: str = "export"
    names: dict[str, str] = field(default_factory=dict)  # of the sheets and files
    headers: dict[tuple[str, str], str] = field(default_factory=dict)  # of mapped columns
    joined: bool = False
    above: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    besides: list[Callable[[Workbook], None]] = field(default_factory=list)
    files: dict[str, str] = field(default_factory=dict)
    metadata: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)  # comments in map and plan
    words: list[str] = field(default_factory=list)  # of the map
    absent: set[str] = field(default_factory=set)  # tables of the map that are not sent

    def workbook(self, folder: Path) -> Path:
        book = Workbook()
        book.remove(book.active)
        for table, frame in self.tables.items():
            sheet = book.create_sheet(self.names.get(table, table))
            for line in self.above[table]:
                sheet.append([line])
            sheet.append(self._headers(table))
            for row in frame.itertuples(index=False):
                sheet.append([cell or None for cell in row])
        for put in self.besides:
            put(book)
        book.save(folder / f"{self.called}.xlsx")
        self._beside(folder, "sheet", "")
        return folder / f"{self.called}.xlsx"

    def folder(self, folder: Path) -> Path:
        folder = folder / self.called
        folder.mkdir()
        for table, frame in self.tables.items():
            name = self.names.get(table, table)
            if table in self.absent:
                continue
            if self.metadata and table == "residents":
                self._parquet(folder / f"{name}.parquet", frame)
                continue
            lines = [pd.DataFrame([[line]]) for line in self.above[table]]
            text = "".join(line.to_csv(index=False, header=False) for line in lines)
            text += frame.set_axis(self._headers(table), axis=1).to_csv(index=False)
            (folder / f"{name}.csv").write_text(text, encoding="utf-8")
        for name, text in self.files.items():
            (folder / name).write_text(text, encoding="utf-8")
        self._beside(folder, "file", ".csv")
        return folder

    def _parquet(self, file: Path, frame: pd.DataFrame) -> None:
        table = pa.Table.from_pandas(frame.set_axis(self._headers("residents"), axis=1), preserve_index=False)
        told = {f"remark {n}": text for n, text in enumerate(self.metadata)}
        schema = pa.schema([item.with_metadata(told) for item in table.schema], metadata={**told, "owner": "x"})
        pq.write_table(table.cast(schema), file)

    def _headers(self, table: str) -> list[str]:
        return [self.headers.get((table, column), column) for column in self.tables[table]]

    def _beside(self, folder: Path, key: str, ending: str) -> None:
        """The plan, and a map that names every column."""
        remarks = "".join(f"# {text}\n" for text in self.remarks)
        plan = (SYNTHETIC / "clean" / PLAN_NAME).read_text(encoding="utf-8")
        (folder / PLAN_NAME).write_text(remarks + plan, encoding="utf-8")
        lines = [remarks]
        for table, frame in self.tables.items():
            end = ".parquet" if ending and self.metadata and table == "residents" else ending
            lines += [f"[{table}]", f"{key} = {json.dumps(self.names.get(table, table) + end)}", f"[{table}.columns]"]
            for column in [name for name in TABLES[table].names if name in frame]:
                lines.append(f"{column} = {self._place(table, column)}")
            lines += ['wound = { join = ["person", "number"] }'] if self.joined and "person" in frame else []
        (folder / "columns.toml").write_text("\n".join(lines), encoding="utf-8")

    def _place(self, table: str, column: str) -> str:
        header = json.dumps(self.headers.get((table, column), column), ensure_ascii=False)
        if column == "tissue" and self.words:
            values = ", ".join(f'{json.dumps(word)} = "unknown"' for word in self.words)
            return f"{{ column = {header}, values = {{ {values} }} }}"
        return header


def small(residents: int = RESIDENTS, rows: int = ROWS) -> Parcel:
    """The first people of the clean invented export, with two days of each wound."""
    tables = {}
    for name, columns in KEPT.items():
        frame = _tidy(residents)[name][list(columns)]
        few = frame if "day" not in frame else frame.groupby("wound").head(2)
        tables[name] = few.head(rows).reset_index(drop=True)
    people = {"assessor": "measurements", "therapist": "sessions"}
    for column, name in people.items():  # enough of them to see how they are called
        tables[name][column] = [f"S{10 + row % 6}" for row in range(len(tables[name]))]
    return Parcel(tables)


def whole() -> Parcel:
    """The clean invented export."""
    return Parcel({name: frame.reset_index(drop=True).astype(object) for name, frame in tidy(None).items()})


@cache
def _tidy(residents: int) -> dict[str, pd.DataFrame]:
    return {name: frame.astype(object) for name, frame in tidy(residents).items()}


KEPT = {
    "residents": ("resident", "facility", "age", "diabetes", "perfusion"),
    "wounds": ("wound", "resident", "kind", "site"),
    "measurements": ("wound", "day", "state", "length", "width", "depth", "stage", "tissue", "assessor"),
    "sessions": ("wound", "day", "modality", "minutes", "status", "therapist"),
}
Put = Callable[[Parcel, str, int], None]
LISTS = ("measurements", "residents", "wounds", "sessions")


def _cell(table: str, column: str, rows: int = 1) -> Put:
    def put(parcel: Parcel, text: str, turn: int) -> None:
        frame = parcel.tables[table]
        if column not in frame:
            frame[column] = ""
        for row in range(rows):
            frame.loc[(turn + row) % len(frame), column] = text

    return put


def _code(column: str) -> Put:
    """In the place of one person, wound or house, in every table."""

    def put(parcel: Parcel, text: str, turn: int) -> None:
        home = next(frame for frame in parcel.tables.values() if column in frame)
        codes = pd.unique(home[column])
        code = codes[turn % len(codes)]
        for name, frame in parcel.tables.items():
            if column in frame:
                parcel.tables[name] = frame.assign(**{column: frame[column].where(frame[column] != code, text)})

    return put


def _joined(parcel: Parcel, text: str, turn: int) -> None:
    """Wounds are called by person and number, which stand in columns that nothing else reads."""
    wounds = parcel.tables["wounds"]
    person = dict(zip(wounds["wound"], wounds["resident"], strict=True))
    first = wounds["resident"].iloc[0]
    for name in ("wounds", "measurements", "sessions"):
        frame = parcel.tables[name]
        own = frame["wound"].map(person)
        frame.insert(0, "person", own.where(own != first, text))
        frame.insert(1, "number", frame["wound"].str[-2:])
        parcel.tables[name] = frame.drop(columns="wound")
    parcel.joined = True


def _unmapped_header(parcel: Parcel, text: str, turn: int) -> None:
    parcel.tables["wounds"] = parcel.tables["wounds"].assign(**{text: "x"})


def _unmapped_cells(parcel: Parcel, text: str, turn: int) -> None:
    frame = parcel.tables["measurements"]
    parcel.tables["measurements"] = frame.assign(**{f"Notes {turn}": text})


def _mapped_header(parcel: Parcel, text: str, turn: int) -> None:
    """The header holds it alone, or beside its own word; a fault below makes every message speak of it."""
    parcel.headers |= {("wounds", "wound"): text, ("measurements", "length"): f"Length {text}"}
    parcel.tables["wounds"].loc[0, "wound"] = "MRN 1"
    parcel.tables["measurements"]["length"] = "44"


def _above(parcel: Parcel, text: str, turn: int) -> None:
    lines = parcel.above["measurements"]  # headers are looked for in the first thirty rows
    lines[20:] = [", ".join([*lines[20:], f"Printed for {text}"])]


def _besides(put: Callable[[Workbook, str, int], None]) -> Put:
    return lambda parcel, text, turn: parcel.besides.append(lambda book: put(book, text, turn))


def _properties(book: Workbook, text: str, turn: int) -> None:
    told = book.properties
    for name in ("creator", "title", "keywords", "description", "subject", "lastModifiedBy", "category"):
        setattr(told, name, f"{getattr(told, name) or ''} {text}")
    book.custom_doc_props.append(StringProperty(name=f"Author {turn}", value=text))


def _comment(book: Workbook, text: str, turn: int) -> None:
    book.worksheets[2].cell(turn + 3, 1).comment = Comment(text, text)


def _defined_name(book: Workbook, text: str, turn: int) -> None:
    sheet = book.worksheets[0].title.replace("'", "''")
    book.defined_names[f"list_{turn}"] = DefinedName(f"list_{turn}", comment=text, attr_text=f"'{sheet}'!$A$1:$A$3")


def _hidden_sheet(book: Workbook, text: str, turn: int) -> None:
    sheet = book.create_sheet(f"more {turn}")
    sheet.sheet_state = "hidden"
    sheet.append(["wound", "resident", text])
    sheet.append([text, text, text])


def _hidden_column(book: Workbook, text: str, turn: int) -> None:
    sheet = book.worksheets[1]
    place = sheet.max_column + 1
    for row in range(1, 5):
        sheet.cell(row, place, text)
    sheet.column_dimensions[get_column_letter(place)].hidden = True


def _header_footer(book: Workbook, text: str, turn: int) -> None:
    for sheet in book.worksheets[:2]:
        sheet.oddHeader.left.text = f"{sheet.oddHeader.left.text or ''} {text}"
        sheet.oddFooter.center.text = f"{sheet.oddFooter.center.text or ''} {text}"


def _hyperlink(book: Workbook, text: str, turn: int) -> None:
    cell = book.worksheets[3].cell(turn + 2, 1)
    cell.hyperlink = f"https://link.example/{text.replace(' ', '%20')}"
    cell.hyperlink.tooltip = text


def _picture(book: Workbook, text: str, turn: int) -> None:
    picture = Image(io.BytesIO(_png(text)))
    book.worksheets[0].add_image(picture, "T2")


def _png(text: str) -> bytes:
    """A picture of one point that tells the text, as cameras do."""

    def part(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    size = part(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    told = part(b"tEXt", b"Comment\0" + text.encode("latin-1", "replace"))
    return b"\x89PNG\r\n\x1a\n" + size + told + part(b"IDAT", zlib.compress(b"\0\0")) + part(b"IEND", b"")


def _sheet_name(text: str) -> str:
    """The text as a sheet can be called; empty where it cannot."""
    dated = re.sub(r"(?<=\d)/(?=\d)", "-", text)
    return dated if re.fullmatch(r"[^:\\/?*\[\]]{1,25}", dated) else ""


def _file_name(text: str) -> str:
    """The text as a file can be called on every system; empty where it cannot."""
    dated = re.sub(r"(?<=\d)/(?=\d)", "-", text)
    return dated if re.fullmatch(r'[^:\\/?*<>"|]{1,60}', dated) else ""


def _named_sheet(parcel: Parcel, text: str, turn: int) -> None:
    parcel.names[LISTS[turn % len(LISTS)]] = f"{'Sizes ' * (turn % 2)}{_sheet_name(text)}"


def _named_file(parcel: Parcel, text: str, turn: int) -> None:
    parcel.names[LISTS[turn % len(LISTS)]] = f"{'sizes ' * (turn % 2)}{_file_name(text)}"
    parcel.files[f"roster {_file_name(text)}.csv"] = f"Name,Wound\n{text},W1\n"


def _named_export(parcel: Parcel, text: str, turn: int) -> None:
    parcel.called = f"wounds {_file_name(text)}"


def _named_in_map(parcel: Parcel, text: str, turn: int) -> None:
    """The map asks for a file that is not there; another word for a key is tried in tests."""
    parcel.names["sessions"] = f"sessions {_file_name(text)}"
    parcel.absent.add("sessions")


def _metadata(parcel: Parcel, text: str, turn: int) -> None:
    parcel.metadata.append(text)


def _remark(parcel: Parcel, text: str, turn: int) -> None:
    parcel.remarks.append(text)
    parcel.words.append(text)


def _stray_file(parcel: Parcel, text: str, turn: int) -> None:
    parcel.files[f"stray {turn}.csv"] = f"wound,resident,kind\n{text},{text},{text}\n"
    parcel.files[f"stray {turn}.txt"] = text


@dataclass(frozen=True)
class Place:
    """Where a plant is put. Places of one `group` are tried in one export, then each alone."""

    name: str
    put: Put
    group: str = "workbook"
    steps: tuple[str, ...] = ("study", "check", "draft")

    @property
    def form(self) -> str:
        return "workbook" if self.group in ("workbook", "export") else "folder"


PLACES: tuple[Place, ...] = (
    Place("header of an unmapped column", _unmapped_header),
    Place("cells of an unmapped column", _unmapped_cells),
    Place("title above the headers", _above),
    Place("cell of a choice", _cell("measurements", "tissue")),
    Place("cell of a stage", _cell("measurements", "stage")),
    Place("cell of a site", _cell("wounds", "site")),
    Place("cell of a flag", _cell("residents", "diabetes")),
    Place("cell of a number", _cell("measurements", "depth")),
    Place("cell of an age", _cell("residents", "age")),
    Place("cell of a size", _cell("measurements", "dimensions"), "size", ("study",)),
    Place("properties of the workbook", _besides(_properties)),
    Place("comment on a cell", _besides(_comment)),
    Place("defined name", _besides(_defined_name)),
    Place("hidden sheet", _besides(_hidden_sheet)),
    Place("hidden column", _besides(_hidden_column)),
    Place("header and footer", _besides(_header_footer)),
    Place("link", _besides(_hyperlink)),
    Place("picture", _besides(_picture)),
    Place("name of a sheet", _named_sheet),
    Place("name of the export", _named_export, "export"),
    Place("Parquet metadata", _metadata, "folder"),
    Place("comment and words of map and plan", _remark, "folder"),
    Place("file that is not mapped", _stray_file, "folder"),
    Place("name of a file", _named_file, "folder"),
    Place("cell of a choice of a folder", _cell("residents", "perfusion"), "folder"),
    Place("cell of a number of a folder", _cell("sessions", "minutes"), "folder"),
    Place("header of a mapped column", _mapped_header, "headers", ("check", "draft")),
    Place("name in the map", _named_in_map, "map", ("study", "check")),
    Place("cells of a choice that tells", _cell("measurements", "state", rows=4), "words", ("check",)),
    Place("cells of a size, many", _cell("measurements", "dimensions", rows=4), "words", ("check",)),
    Place("cell of a day that is needed", _cell("measurements", "day"), "days", ("study", "check")),
    Place("cell of another day", _cell("measurements", "entered"), "days", ("study", "check")),
    *(Place(ONE + name, _code(name), ONE + name, ("study",)) for name in PSEUDONYMS),
    Place(JOINED, _joined, JOINED, ("study",)),
)  # fmt: skip
CALLED = {
    "name of a sheet": _sheet_name,
    "name of a file": _file_name,
    "name of the export": _file_name,
    "name in the map": _file_name,
}


def fits(kind: Kind, place: Place) -> bool:
    """Whether the place can hold the text, and whether anybody could tell it there."""
    return place.name not in kind.untold and CALLED.get(place.name, str)(kind.text) != ""


# --- what comes out ---


@dataclass
class Out:
    """All that came out of the kit: where, and what."""

    told: list[tuple[str, str | bytes]] = field(default_factory=list)

    def add(self, where: str, what: str | bytes) -> None:
        self.told.append((where, what))


def steps(export: Path, room: Path, wanted: Iterable[str]) -> Out:
    """The study, the check and the draft of an export, as calls and by the command line, and what they leave behind."""
    out, before = Out(), set(export.parent.rglob("*"))
    acts = {
        "study": lambda: _tried(out, "study", lambda: _keep_study(out, read_study(export))),
        "check": lambda: _commanded(out, ["check", str(export)]),
        "draft": lambda: _commanded(out, ["draft", str(export), "--columns", str(room / "drafted.toml")]),
    }
    scratch = room / "scratch"
    scratch.mkdir()
    with _listening(out), _temporary(scratch):
        for name in wanted:
            acts[name]()
    left = {*set(export.parent.rglob("*")) - before, *scratch.rglob("*"), room / "drafted.toml"}
    for file in (file for file in left if file.is_file()):
        out.add(f"file {file.suffix}", file.name)
        out.add(f"file {file.suffix}", file.read_bytes())
    return out


def _keep_study(out: Out, study: object) -> None:
    for name, frame in vars(study).items():
        if isinstance(frame, pd.DataFrame):
            out.add(f"study.{name}", "\n".join(map(str, frame.columns)))
            for column in frame:
                seen = (
                    frame[column].cat.categories
                    if isinstance(frame[column].dtype, pd.CategoricalDtype)
                    else frame[column]
                )
                out.add(f"study.{name}.{column}", "\n".join(map(str, pd.unique(pd.Series(seen)))))
    out.add("study", repr(study))
    out.add("study, pickled", pickle.dumps(study))


def _tried(out: Out, where: str, act: Callable[[], object]) -> None:
    try:
        act()
    except Exception as stopped:
        out.add(f"error of {where}", "".join(traceback.format_exception(stopped)))
        out.add(f"error of {where}", repr(stopped))


def _commanded(out: Out, argv: list[str]) -> None:
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
        _tried(out, argv[0], lambda: command(argv))
    out.add(f"kit {argv[0]}", said.getvalue())


@contextlib.contextmanager
def _listening(out: Out) -> Iterator[None]:
    """Log records and warnings are kept."""

    class Keeper(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            out.add("log", f"{record.getMessage()} {record.args!r}")

    keeper, root = Keeper(), logging.getLogger()
    level = root.level
    root.addHandler(keeper)
    root.setLevel(logging.DEBUG)
    try:
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            yield
        for one in warned:
            out.add("warning", str(one.message))
    finally:
        root.removeHandler(keeper)
        root.setLevel(level)


@contextlib.contextmanager
def _temporary(folder: Path) -> Iterator[None]:
    """What is written to the place for temporary files goes into this folder."""
    usual, tempfile.tempdir = tempfile.tempdir, str(folder)
    try:
        yield
    finally:
        tempfile.tempdir = usual


# --- the search ---


def reached(tells: Iterable[str], out: Out) -> list[str]:
    """Where any of these texts is found in what came out."""
    tells = tuple(tells)
    found = []
    for where, what in out.told:
        texts = [what] if isinstance(what, str) else readings(what)
        if any(holds(text, tell) for text in texts for tell in tells) or (
            isinstance(what, bytes) and any(_coded(tell, what) for tell in tells)
        ):
            found.append(where)
    return list(dict.fromkeys(found))


def holds(text: str, tell: str) -> bool:
    """Whether a text holds another in letters of any case; digits must stand alone, and be no fraction of a number."""
    if tell.isdigit():
        return re.search(rf"(?<![\d.]){tell}(?!\d)", text) is not None
    return tell.casefold() in text.casefold()


def readings(data: bytes) -> list[str]:
    """What bytes may say: as text, without the marks of HTML, and what lies in a zip file or a coded picture."""
    if zipfile.is_zipfile(io.BytesIO(data)):
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return [text for name in archive.namelist() for text in (name, *readings(archive.read(name)))]
    text = data.decode("utf-8", "replace")
    coded = re.findall(r"base64,([A-Za-z0-9+/=\s]{40,})", text)
    bare = html.unescape(re.sub(r"base64,[A-Za-z0-9+/=\s]{40,}", "", text))
    return [text if "base64," not in text else bare, bare, *(base64.b64decode(one).decode("latin-1") for one in coded)]


def _coded(tell: str, data: bytes) -> bool:
    """Whether bytes hold a text in UTF-16, or in base64 wherever it may begin."""
    if len(tell) <= DIGITS + 1:
        return False
    plain = tell.encode()
    sought = [tell.encode("utf-16-le"), tell.encode("utf-16-be"), base64.b64encode(plain)[: len(plain) * 4 // 3 - 1]]
    for shift in (1, 2):
        sought.append(base64.b64encode(b"\0" * shift + plain)[4 : (shift + len(plain)) * 4 // 3 - 1])
    return any(one in data for one in sought if len(one) > DIGITS + 1)


# --- the attack ---


Hit = tuple[str, str, list[str]]  # kind, place, where it was found


def attack(kinds: list[Kind]) -> tuple[list[tuple[str, str]], list[Hit]]:
    """Kinds at every place: (letter, place) of each case, and those that reached.

    Places that stop no run carry all the kinds at once; where one reached, each is tried alone.
    """
    cases = [(kind, place) for kind in kinds for place in PLACES if fits(kind, place)]
    groups: dict[tuple, list[tuple[Kind, Place]]] = defaultdict(list)
    for kind, place in cases:
        group = "folder" if place.group == "days" and kind.letter != "C" else place.group
        groups[(group,) if group in ("workbook", "folder") else (group, kind)].append((kind, place))
    hits = [hit for pairs in groups.values() for hit in _attributed(pairs, once(pairs))]
    codes = [(kind, replace(place, steps=("check", "draft"))) for kind, place in cases if place.name in CODES]
    hits += [(text, "pseudonyms, drafted", where) for text, where in once(codes).items()]
    return [(kind.letter, place.name) for kind, place in cases], hits


def _attributed(pairs: list[tuple[Kind, Place]], met: dict[str, list[str]]) -> Iterator[Hit]:
    """Which place a kind reached from, that reached where many stood together."""
    for text, where in met.items():
        own = [(kind, place) for kind, place in pairs if kind.text == text]
        alone = [(text, place.name, found[text]) for kind, place in own if (found := once([(kind, place)]))]
        yield from alone or [(text, f"{own[0][1].group}: together", where)]


def once(pairs: list[tuple[Kind, Place]]) -> dict[str, list[str]]:
    """Where kinds reached that stand at these places of one small export; the text of each, and where."""
    if not pairs:
        return {}
    turns = {kind: turn for turn, kind in enumerate(dict.fromkeys(kind for kind, _ in pairs))}
    with tempfile.TemporaryDirectory(prefix="plant") as room:
        inside = Path(room) / "in"
        inside.mkdir()
        parcel = small(rows=5 if pairs[0][1].group == "export" else ROWS)
        for kind, place in pairs:
            place.put(parcel, kind.text, turns[kind])
        export = getattr(parcel, pairs[0][1].form)(inside)
        out = steps(export, Path(room), dict.fromkeys(step for _, place in pairs for step in place.steps))
    met = {kind.text: reached(told_by(kind, [place for other, place in pairs if other == kind]), out) for kind in turns}
    return {text: where for text, where in met.items() if where}


def told_by(kind: Kind, places: Iterable[Place]) -> tuple[str, ...]:
    """What would tell a kind; where it is planted in a name, also as it stands there."""
    return tuple(
        dict.fromkeys([*kind.tells, *(CALLED[place.name](kind.text) for place in places if place.name in CALLED)])
    )


def report_on(form: str, room: Path) -> tuple[int, list[tuple[str, str, list[str]]]]:
    """A report, with its notebooks, on one export that carries every kind at every quiet place; all files searched."""
    parcel = whole()
    told: dict[str, tuple[str, ...]] = {}
    for turn, kind in enumerate(KINDS):
        for place in PLACES:
            alone = place.put in (_named_export, _named_file, _named_sheet)
            if place.group == form and fits(kind, place) and not (alone and turn):
                place.put(parcel, kind.text, turn)
                told[kind.text] = kind.tells
    inside, home, reports = room / "in", room / "home", room / "reports"
    for folder in (inside, home, home / "tmp"):
        folder.mkdir()
    export = getattr(parcel, form)(inside)
    out = Out()
    places = {"HOME": home, "TMPDIR": home / "tmp", "TEMP": home / "tmp", "TMP": home / "tmp", "XDG_CACHE_HOME": home}
    surroundings = os.environ | {name: str(path) for name, path in places.items()} | {"PYTHONPATH": str(ROOT)}
    for asked in (
        ["report", str(export), "--reports", str(reports)],
        ["documentation", str(export), str(home / "check.xlsx"), "--facility", "Tarnwick"],
    ):
        done = subprocess.run(
            [sys.executable, "-m", "kit", *asked], capture_output=True, env=surroundings, cwd=ROOT, check=False
        )
        out.add(f"kit {asked[0]}", done.stdout + done.stderr)
        if done.returncode:
            return 0, [("everything", f"report on a {form}", [f"no {asked[0]}: {done.stderr.decode()[-300:]}"])]
    files = [file for folder in (reports, home) for file in folder.rglob("*") if file.is_file()]
    for file in files:
        out.add(f"{file.name}", file.read_bytes())
    prepared = Out([(where, "\n".join(readings(what))) for where, what in out.told])
    hits = []
    for text, tells in told.items():
        long = [tell for tell in tells if len(tell) > FOLDED]
        coded = [where for where, what in out.told if any(_coded(tell, what) for tell in long)]
        met = reached(tells, prepared) + coded
        hits += [(text, f"report on a {form}", list(dict.fromkeys(met)))] if met else []
    return len(files), hits


# --- what is honest must pass ---

STYLES = (
    "R-014", "0007", "F2-113", "Resident 12", "resident_12", "W014-2", "T1", "PT-03", "101", "12345", "R000123",
    "S01-0023", "S01-2026-0012", "001-0023", "2026-001", "2026-0012", "F2/113", "R.014", "AB0007", "ABC-014",
    "RES-0014", "Case 12", "subject-014", "P014A", "F1.2.14", "F2-1-14", "pr-kelp-014", "ID-014", "RN 14", "staff 14",
    "#14", "No. 14", "R14W1",
)  # fmt: skip
HOUSES = (
    ("North house", "South house"), ("Unit 3", "Unit 4"), ("Quellmoor", "Tarnwick"), ("Alder Park", "St. Mary's"),
    ("The house by the old mill pond",), ("F1", "F2"), ("Group 4",), ("House 12",), ("Maple Street",), ("Kelly House",),
    ("12",), ("AW", "BX"), ("Dr Alder House",), ("Facility A",),
)  # fmt: skip
FILE_NAMES = (
    "Wk of 3-12", "2026-03-12", "week-12.csv", "3/12/2026", "wounds_20260312.csv", "export_20260312143000.csv", "3.12.",
    "Q1 2026", "Length (cm)", "Site, Side", "L. Heel", "Unit 3", "North house", "Alder Park", "Pain (0-10)", "46090",
    "90 and older", "March 12, 2026", "12-Mar-26", "Wk of 12-31-25", "Wounds v2.1", "Size L x W x D", "St. Mary East",
    "Miss Reason", "Age (90 = 90 years and older)", "residents (2)", "data 2026-03-01 to 2026-03-31",
)  # fmt: skip


def styled(style: str, count: int) -> list[str]:
    """So many pseudonyms of a style, its last run of digits counted up."""
    begin, digits, end = re.fullmatch(r"(.*?)(\d+)(\D*|W1)", style).groups() if style != "R14W1" else ("R", "14", "W1")
    return [f"{begin}{number:0{len(digits)}d}{end}" for number in range(1, count + 1)]


def drawn_codes() -> Iterator[tuple[str, list[str]]]:
    """Codes that programs make: hashes in several lengths and alphabets, UUIDs, random letters before digits."""
    dice = random.Random(20261126)
    for count in (5, 40, 2000):
        hashes = [hashlib.sha256(str(number).encode()) for number in range(count)]
        for long in (6, 8, 10, 11, 12, 16, 17, 32, 64):
            yield f"hexadecimal {long}", [one.hexdigest()[:long] for one in hashes]
            yield f"base32 {long}", [base64.b32encode(one.digest()).decode()[:long] for one in hashes]
        yield "UUID", [str(uuid.UUID(int=dice.getrandbits(128), version=4)) for _ in range(count)]
        letters = [dice.choices("ABCDEFGHJKMNPQRSTUVWXYZ", k=3) for _ in range(count)]
        yield "letters and digits", [f"{''.join(three)}-{dice.randrange(10000):04d}" for three in letters]


def false_stops() -> list[str]:
    """Every honest thing that was stopped."""
    found = [f"{name} as {column}: {what}" for name, codes in _honest() for column in PSEUDONYMS
             if (what := resembles(column, pd.Series(list(dict.fromkeys(codes)), dtype=object)))]  # fmt: skip
    found += [
        f"{houses[0]} as facility: {what}"
        for houses in HOUSES
        if (what := resembles("facility", pd.Series(houses, dtype=object)))
    ]
    found += [f"{name} as a name: {what}" for name in FILE_NAMES if (what := looks_like(name))]
    found += [f"{name}: {stop}" for name in ("clean", "lifelike", "broken") for stop in check(SYNTHETIC / name).stops]
    with tempfile.TemporaryDirectory() as room:
        found += [stop for style in STYLES[:8] for stop in _styled_stops(style, Path(room))]
        found += [stop for shape in SHAPES for stop in _shape_stops(shape, Path(room))]
    return found


def _honest() -> Iterator[tuple[str, list[str]]]:
    for style in STYLES:
        for count in (3, 30, 900):
            yield f"{style} ({count})", styled(style, count)
    yield from drawn_codes()


def _styled_stops(style: str, room: Path) -> list[str]:
    """A whole small export in which everybody, and everything, is called in one style."""
    parcel = small()
    for column in PSEUDONYMS:
        codes = pd.unique(pd.concat([frame[column] for frame in parcel.tables.values() if column in frame]))
        names = dict(zip(codes, styled(style, len(codes)), strict=True))
        for name, frame in parcel.tables.items():
            if column in frame:
                parcel.tables[name] = frame.assign(**{column: frame[column].map(names)})
    folder = room / re.sub(r"\W", "-", style)
    folder.mkdir()
    return [f"{style}: {stop}" for stop in check(parcel.folder(folder)).stops]


def _shape_stops(shape: object, room: Path) -> list[str]:
    """A strange export whose pseudonyms, headers or sheets the draft would not have for what they look like."""
    drafted = draft(shape.write(room / shape.name, tidy(12)))
    told = [*(doubt.says for doubt in (*drafted.doubts, *drafted.missing)), *drafted.told]
    sent = {truth.header for truth in shape.truth.values()} | {truth.file_or_sheet for truth in shape.truth.values()}
    return [f"{shape.name}: {line}" for line in told if "looks like" in line and "list of wounds" not in line] + [
        f"{shape.name}: a name that is sent" for name in sent if looks_like(name)
    ]


# --- the table ---


def table_of(cases: dict[tuple[str, str], list[int]]) -> str:
    """Place by letter: cases tried, and of how many something reached."""
    letters = sorted({letter for letter, _ in cases})
    lines = [f"| place | {' | '.join(letters)} |", f"| --- |{' ---: |' * len(letters)}"]
    for place in dict.fromkeys(place for _, place in cases):
        counts = [cases.get((letter, place), [0, 0]) for letter in letters]
        lines.append(
            f"| {place} | " + " | ".join(f"{n}" if not bad else f"{n} ({bad} REACHED)" for n, bad in counts) + " |"
        )
    return "\n".join(lines)


def main() -> int:
    """The table, every case that reached, what cannot be told, and the line that counts them."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--quick", action="store_true", help="leave the reports out")
    asked.add_argument("--only", default="", help="kinds of these letters alone")
    given = asked.parse_args()
    kinds = [kind for kind in KINDS if kind.letter in (given.only or kind.letter)]
    cases: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    hits = []
    batches = [list(kinds[turn::BATCHES]) for turn in range(BATCHES) if kinds[turn::BATCHES]]
    with ProcessPoolExecutor(PROCESSES) as pool:
        honest = pool.submit(false_stops)
        for tried, met in pool.map(attack, batches):
            for case in tried:
                cases[case][0] += 1
            for text, place, _ in met:
                cases[next(kind.letter for kind in KINDS if kind.text == text), place][1] += 1
            hits += met
    print(f"Identifiers planted, by letter of 45 CFR 164.514(b)(2)(i) ({sum(n for n, _ in cases.values())} cases)\n")
    print(table_of(cases))
    for form in () if given.quick else ("workbook", "folder"):
        with tempfile.TemporaryDirectory() as room:
            files, met = report_on(form, Path(room))
        print(f"\nreport on a {form} that carries all of them: {files} files searched, {len(met)} kinds reached")
        hits += met
    for text, place, where in hits:
        print(f"REACHED: {text} | {place} | {', '.join(where)}")
    print("\nCannot be told from an honest text, and not counted:")
    for kind in (kind for kind in kinds if kind.untold):
        print(f"  {kind.text}: {', '.join(sorted(kind.untold))}")
    stopped = honest.result()
    print(*(f"STOPPED: {one}" for one in stopped), sep="\n")
    count = len({text for text, _, _ in hits})
    print(f"privacy: kinds={len(kinds)} reached={count} false_stops={len(stopped)}")
    return 1 if count or stopped else 0


if __name__ == "__main__":
    sys.exit(main())
