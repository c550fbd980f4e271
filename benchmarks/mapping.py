"""How many columns of strange exports a drafted map places right without a hand, and how many it places wrong.

The exports (export_shapes.py) were written from the data contract alone, before the drafter. A column is placed right
where file or sheet, header, unit and way of writing the day are all as in the truth; where the map asks, it is not
placed. Columns placed that the truth does not know are wrong, and so are those of which the kit reads a word as another
than was meant.

headers_unseen.csv holds the headers of eight more invented facilities, with six cells each, as unlike any other
as could be thought of (single letters, a questionnaire, pictures); no word of the kit was taken from it.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from fnmatch import fnmatchcase
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from benchmarks.export_shapes import SHAPES, Shape, Truth, tidy
from kit.intake.drafting import Draft, draft
from kit.intake.mapping import ASK, Place, TableMap
from kit.intake.placing import read_as
from kit.intake.scanning import Scanned
from kit.intake.values import meaning, spoken
from kit.vocabulary import TABLES, Column

ISO = "YYYY-MM-DD"
# Not in the truth and yet no mistake: who was treated, beside the wound that was; what a size in one cell brings along.
BESIDE = {"side": {"site"}, "setup": {"modality"}, "polarity": {"modality"}}
HARMLESS = {("sessions", "resident"), ("measurements", "dimensions"), ("departures", "wound")}


def judged(shape: Shape, drafted: Draft) -> dict[str, list[tuple[str, str]]]:
    """The columns of a shape by what the draft made of them: right, wrong, asked, left."""
    found: dict[str, list[tuple[str, str]]] = {"right": [], "wrong": [], "asked": [], "left": []}
    for (table, column), truth in shape.truth.items():
        mapped = drafted.mapping.get(table)
        found[_verdict(table, column, truth, mapped)].append((table, column))
    for table, mapped in drafted.mapping.items():
        given = {*mapped.columns} - {column for name, column in shape.truth if name == table}
        found["wrong"] += [(table, column) for column in given if (table, column) not in HARMLESS]
    return found


def _verdict(table: str, column: str, truth: Truth, mapped: TableMap | None) -> str:
    if mapped is None:
        return "left"
    if truth.how == "across":
        return _asked_or(mapped.across is not None and mapped.across.format, truth.format) if mapped.across else "left"
    place = mapped.columns.get(column)
    if place is None:  # a cell that tells several things is placed once, and the kit reads all of them
        held = {name for name, other in mapped.columns.items() if other.column == truth.header}
        told = truth.how == "in_one_cell" and (held or mapped.across) or held & BESIDE.get(column, set())
        return "right" if told else "left"
    if not _same_sheet(mapped, truth) or not _same_header(place, truth) or not _same_unit(table, column, place, truth):
        return "wrong"
    if place.sheet_name:  # a day without a year: the map asks for it
        return "asked" if place.year is None else "right"
    if TABLES[table].column(column).kind == "day":
        return _asked_or(place.format, truth.format)
    return "wrong" if _misread(table, TABLES[table].column(column), truth) else "right"


def _misread(table: str, column: Column, truth: Truth) -> list[str]:
    """Words that the kit takes for another than was meant; one that it does not know is no such word."""
    if column.kind not in ("choice", "flag"):
        return []
    listed = {value: value for value in column.allowed} if column.kind == "choice" else {}
    known = spoken(table, column, truth.header)
    read = {word: meaning(word.lower(), listed, known) for word in truth.values}
    return [word for word, value in read.items() if value not in (None, truth.values[word])]


def unseen() -> tuple[int, int, int]:
    """How many of the unseen headers there are, are placed right, and placed wrong."""
    rows = pd.read_csv(Path(__file__).parent / "headers_unseen.csv", dtype=str, keep_default_na=False)
    right = wrong = 0
    for (_, table), group in rows.groupby(["facility", "table"], sort=False):
        cells = pd.DataFrame({place: sample.split("|") for place, sample in enumerate(group["sample"])}, dtype=object)
        sheet = Scanned(table, f"{table}.csv", None, (table,), tuple(group["header"]), cells)
        placed = {one.place: name for name, one in read_as(sheet, TABLES[table], {}).placed.items()}
        for place, column in enumerate(group["column"]):
            right += placed.get(place) == column
            wrong += placed.get(place, column) != column
    return len(rows), right, wrong


def _asked_or(given: str | None, truth: str | None) -> str:
    if given == ASK:
        return "asked"
    return "right" if (given or ISO) == (truth or ISO) else "wrong"


def _same_sheet(mapped: TableMap, truth: Truth) -> bool:
    name = mapped.sheet or mapped.file or ""
    return name == truth.file_or_sheet or fnmatchcase(truth.file_or_sheet, name)


def _same_header(place: Place, truth: Truth) -> bool:
    if truth.how == "sheet_name":
        return place.sheet_name
    header = f"{truth.under} {truth.header}".strip()
    return set(header.split(" + ")) == set(place.join) if truth.how == "joined" else place.column == header


def _same_unit(table: str, column: str, place: Place, truth: Truth) -> bool:
    own = TABLES[table].column(column).unit
    return (place.unit or own).lower() == (truth.unit or own).lower()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--residents", type=int, default=60, help="the first so many, with all their rows")
    parser.add_argument("--names", action="store_true", help="name the columns that were not placed right")
    given = parser.parse_args()
    tables = tidy(given.residents)
    print(f"{'shape':<24}{'columns':>8}{'placed':>8}{'asked':>7}{'left':>6}{'wrong':>7}  share")
    counts = []
    for shape in SHAPES:
        with tempfile.TemporaryDirectory() as folder:
            drafted = draft(shape.write(Path(folder) / shape.name, tables))
        found = judged(shape, drafted)
        columns = len(shape.truth)
        counts.append((columns, len(found["right"]), len(found["wrong"])))
        row = "".join(f"{len(found[kind]):>{width}}" for kind, width in (("asked", 7), ("left", 6), ("wrong", 7)))
        print(f"{shape.name:<24}{columns:>8}{counts[-1][1]:>8}{row}  {counts[-1][1] / columns:.2f}")
        if given.names:
            for kind in ("asked", "left", "wrong"):
                for table, column in found[kind]:
                    print(f"    {kind} {table}.{column}")
    headers, right, wrong = unseen()
    print(f"headers as unlike ours as could be: {headers}, placed {right / headers:.2f}, wrong {wrong / headers:.2f}")
    columns, right, wrong = (sum(count) for count in zip(*counts, strict=True))
    print(f"mapping: shapes={len(counts)} placed={right / columns:.2f} wrong={wrong / (right + wrong):.2f}")


if __name__ == "__main__":
    main()
