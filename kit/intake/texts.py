"""Text files of any spreadsheet: their encoding, what parts their cells, their headers, and the cells below."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate, chain, islice, pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
from pyarrow import csv as arrow

from kit.faults import ExportError
from kit.intake.naming import file_said

# A byte order mark decides. Without one a file is UTF-8 if it can be, else what older spreadsheets write.
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
SEPARATORS = (",", ";", "\t", "|")
HEAD = 30  # rows in which the headers are looked for
WIDEST = 100_000  # columns; a sheet can have a sixth of them
SIGNS = 1 << 24  # of one cell; a line that is read with the wrong separator is one cell, however long it is
csv.field_size_limit(SIGNS)
BLOCK, LARGEST = 1 << 22, (1 << 31) - 1  # bytes that are parsed at once
Hits = Callable[[list[str]], int]


@dataclass(frozen=True)
class Layout:
    """How a text file is written. `lines`: how many lines stand above the header; `row`: the header's row, from 1."""

    encoding: str
    separator: str
    lines: int
    row: int
    headers: list[str]


def layout_of(file: Path, content: bytes, hits: Hits) -> Layout:
    """Encoding, separator and header row; `hits` counts how many of the cells of a row are headers that are sought.

    The header is the first row in which most of them stand, read with the separator that shows most of them; where none
    is found anywhere, the first row that is not empty.
    """
    encoding = encoding_of(file, content)
    best: tuple[tuple[int, int], Layout] | None = None
    for separator in SEPARATORS:
        rows, lines = _head(file, encoding, separator)
        place, headers = header_row(rows, hits)
        worth = (hits(headers), len(headers))
        if best is None or worth > best[0]:
            best = worth, Layout(encoding, separator, lines[place] if lines else 0, place + 1, headers)
    if len(best[1].headers) > WIDEST:
        raise ExportError(f"{file_said(file)}: has more than {WIDEST:,} columns; export only those that the kit reads")
    return best[1]


def header_row(rows: list[list[str]], hits: Hits) -> tuple[int, list[str]]:
    """The place of the first row with the most hits, and its headers; of the first that is not empty where none hits.

    Where a row hits more often together with the one above it (Wound over ID, Size over L) its headers are both.
    """
    plain = [[cell.strip() for cell in row] for row in rows]
    both = [[], *(_joined(above, row) for above, row in pairwise(plain))]
    counts = [(hits(row), hits(pair), -place) for place, (row, pair) in enumerate(zip(plain, both, strict=False))]
    best = max(counts, key=lambda count: (max(count[:2]), count[2]), default=(0, 0, 0))
    if max(best[:2]) > 0:
        return -best[2], both[-best[2]] if best[1] > best[0] else plain[-best[2]]
    place = next((place for place, row in enumerate(plain) if any(row)), 0)
    return place, plain[place] if plain else []


def _joined(above: list[str], row: list[str]) -> list[str]:
    """Headers under headers; one above holds for all columns up to the next one, and so there is a gap above."""
    if not any(cell and not group for group, cell in zip(above, row, strict=False)):
        return []
    groups = accumulate([*above, *[""] * (len(row) - len(above))], lambda last, cell: cell or last)
    return [f"{group} {cell}".strip() for group, cell in zip(groups, row, strict=False)]


def encoding_of(file: Path, content: bytes) -> str:
    """The name of the encoding in which a file can be read to its end.

    Raises ExportError where it holds a byte that no text has.
    """
    begin = content[:4096]
    marked = next((name for mark, name in MARKS if begin.startswith(mark)), None) or _wide(begin)
    _refuse_noughts(file, content.decode(marked) if marked else content)
    return marked or next(name for name in ("utf-8", "cp1252", "latin-1") if _reads(content, name))


def _wide(begin: bytes) -> str | None:
    """UTF-16 without its mark: every other byte of plain letters is nought, and none of those between."""
    even, odd = begin[0::2], begin[1::2]
    if 0 not in even and odd.count(0) > len(odd) / 4:
        return "utf-16-le"
    return "utf-16-be" if 0 not in odd and even.count(0) > len(even) / 4 else None


def _refuse_noughts(file: Path, content: str | bytes) -> None:
    """A cell would end at the nought, and what stands behind it would be lost."""
    nought, ends = ("\0", r"\r\n|\r|\n") if isinstance(content, str) else (b"\0", rb"\n")
    if nought in content:
        number = len(re.findall(ends, content[: content.index(nought)])) + 1
        raise ExportError(
            f"{file_said(file)} line {number}: holds a byte that no text has; the file is damaged or of "
            "another kind; export it again as CSV"
        )


def _reads(content: bytes, encoding: str) -> bool:
    try:
        return content.isascii() or bool(content.decode(encoding))
    except UnicodeDecodeError:
        return False


def _head(file: Path, encoding: str, separator: str) -> tuple[list[list[str]], list[int]]:
    """The first rows, and before how many lines each of them begins."""
    rows, lines, before = [], [], 0
    with file.open(newline="", encoding=encoding) as stream:
        reader = csv.reader(stream, delimiter=separator)
        for row in islice(reader, HEAD):
            rows.append(row[: WIDEST + 1])
            lines.append(before)
            before = reader.line_num
    return rows, lines


def cells_below(file: Path, content: bytes, layout: Layout) -> pa.Table:
    """All cells below the header as they stand, a column for each header; one record is one row.

    What a row lacks at its end is empty, or missing. Raises ExportError where a row has more cells than the header, or
    a quotation mark is never closed.
    """
    if layout.encoding != "utf-8":
        content = content.decode(layout.encoding).encode()
    try:
        return _parsed(content, layout, BLOCK)
    except pa.ArrowInvalid:  # not every row is as wide as the header
        content = _evened(file, layout)
        return _parsed(content, Layout("utf-8", ",", 0, 1, layout.headers), min(len(content) + 1, LARGEST))


def _parsed(content: bytes, layout: Layout, block: int) -> pa.Table:
    """The cells of a text in which every row is as wide as the header; raises ArrowInvalid of any other.

    Where there are quotation marks a last row is added: if it does not come back, one was never closed and took it in.
    """
    names = [str(place) for place in range(len(layout.headers))]
    quoted = b'"' in content
    if quoted:
        end = b"\n" * (not content.endswith((b"\n", b"\r"))) + b"\0" + layout.separator.encode() * (len(names) - 1)
        content += end
    table = arrow.read_csv(
        pa.BufferReader(content),
        arrow.ReadOptions(
            use_threads=False, block_size=block, skip_rows=layout.lines, skip_rows_after_names=1, column_names=names
        ),
        arrow.ParseOptions(delimiter=layout.separator, newlines_in_values=quoted, ignore_empty_lines=False),
        arrow.ConvertOptions(column_types=dict.fromkeys(names, pa.string()), strings_can_be_null=False),
    )
    if quoted and (not len(table) or table.column(0)[-1].as_py() != "\0"):
        raise pa.ArrowInvalid("a quotation mark is never closed")
    return table.slice(0, len(table) - quoted)


def _evened(file: Path, layout: Layout) -> bytes:
    """The header and all rows below it, every one as wide, as plain text.

    A stray separator moves all later cells: a long row passes only where every row ends in the same empty cells.
    """
    width = len(layout.headers)
    with file.open(newline="", encoding=layout.encoding) as lines:
        read = csv.reader(chain(lines, [f"\0{layout.separator}\0"]), delimiter=layout.separator)
        rows = list(islice(read, layout.row, None))
    closed = bool(rows) and rows.pop() == ["\0", "\0"]
    widths = np.array([len(row) for row in rows], dtype=int)
    even = len(np.unique(widths[widths > 0])) == 1
    long = (widths > width) & ~np.array([even and not any(row[width:]) for row in rows], dtype=bool)
    if long.any():
        raise ExportError(
            f"{file_said(file)} row {long.argmax() + layout.row + 1}: has more cells than the header; look for a stray "
            "separator, or put the cell that holds it in quotation marks"
        )
    if not closed:
        raise ExportError(
            f"{file_said(file)} row {len(rows) + layout.row + 1}: a quotation mark is opened and never closed; close "
            "it or take it out"
        )
    out = io.StringIO(newline="")
    csv.writer(out).writerows([layout.headers, *([*row, *[""] * width][:width] for row in rows)])
    return out.getvalue().encode()
