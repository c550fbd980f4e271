"""Text files of any spreadsheet: their encoding, what parts their cells, and the row that holds the headers."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Callable
from dataclasses import dataclass
from itertools import accumulate, islice, pairwise
from pathlib import Path

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
Hits = Callable[[list[str]], int]


@dataclass(frozen=True)
class Layout:
    """How a text file is written. `lines`: how many lines stand above the header; `row`: the header's row, from 1."""

    encoding: str
    separator: str
    lines: int
    row: int
    headers: list[str]


def layout_of(file: Path, hits: Hits) -> Layout:
    """Encoding, separator and header row; `hits` counts how many of the cells of a row are headers that are sought.

    The header is the first row in which most of them stand, read with the separator that shows most of them; where none
    is found anywhere, the first row that is not empty.
    """
    encoding = encoding_of(file)
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


def encoding_of(file: Path) -> str:
    """The name of the encoding in which a file can be read to its end.

    Raises ExportError where it holds a byte that no text has.
    """
    with file.open("rb") as stream:
        begin = stream.read(4096)
    marked = next((name for mark, name in MARKS if begin.startswith(mark)), None) or _wide(begin)
    _refuse_noughts(file, marked)
    return marked or next(name for name in ("utf-8", "cp1252", "latin-1") if _reads(file, name))


def _wide(begin: bytes) -> str | None:
    """UTF-16 without its mark: every other byte of plain letters is nought, and none of those between."""
    even, odd = begin[0::2], begin[1::2]
    if 0 not in even and odd.count(0) > len(odd) / 4:
        return "utf-16-le"
    return "utf-16-be" if 0 not in odd and even.count(0) > len(even) / 4 else None


def _refuse_noughts(file: Path, marked: str | None) -> None:
    """A cell would end at the nought, and what stands behind it would be lost."""
    nought = b"\0" if marked is None else "\0"
    with file.open("rb") if marked is None else file.open(encoding=marked) as stream:
        for number, line in enumerate(stream, start=1):
            if nought in line:
                raise ExportError(
                    f"{file_said(file)} line {number}: holds a byte that no text has; the file is damaged or of "
                    "another kind; export it again as CSV"
                )


def _reads(file: Path, encoding: str) -> bool:
    decoder = codecs.getincrementaldecoder(encoding)()
    with file.open("rb") as stream:
        try:
            while piece := stream.read(1 << 20):
                decoder.decode(piece)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return False
    return True


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
