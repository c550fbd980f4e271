"""Which headers of one sheet hold which columns of one table: by their words, and by what stands below them."""

from __future__ import annotations

import os
import re
from collections import defaultdict
from dataclasses import dataclass, field, replace

import pandas as pd

from kit.intake.fitting import CODES, ENOUGH, EXPLAIN, Fit, fit
from kit.intake.headers import OWN, all_known, claims
from kit.intake.lexicon import header_words, plain
from kit.intake.mapping import ASK, YEARLESS, Across, Place
from kit.intake.naming import looks_like
from kit.intake.scanning import Scanned, day_headers, formats_of
from kit.vocabulary import Table

# What makes a sheet one of this table; any of them is enough.
TELLING = {
    "residents": (
        "facility",
        "age",
        "sex",
        "diabetes",
        "perfusion",
        "mobility",
        "risk_total",
        "continence",
        "last_day",
    ),
    "wounds": ("kind", "site", "onset", "present_on_admission"),
    "measurements": ("state", "dimensions", "length", "width", "area", "stage"),
    "sessions": ("modality",),
    "procedures": ("procedure",),
    "spans": ("span",),
    "departures": ("reason",),
}
LENGTHS = ("length", "width", "depth", "undermining", "tunnelling")
YEAR = "days stand there without a year; write year = that of the first (it goes on at New Year)"
SPEAKING = 5  # headers that only this table has, where its telling words are codes
NAMED_SO = 5  # what a sheet's own name is worth; a header is worth 1 to 6
MET = 0.3  # share of pseudonyms that must stand in the list of wounds; common practice, no source
ONCE = 0.9  # share of filled cells that differ, in a sheet that is a list of wounds or of people


@dataclass(frozen=True)
class Placed:
    """A column of ours at a place among a sheet's headers: how well its words and its cells say so."""

    place: int
    worth: int
    fit: Fit


@dataclass(frozen=True, eq=False)
class Reading:
    """One sheet read as one table. `doubts`: our column and a sentence; `joined`: places that make one pseudonym."""

    table: Table
    sheet: Scanned
    placed: dict[str, Placed]
    doubts: list[tuple[str, str]] = field(default_factory=list)
    across: Across | None = None
    day_in_name: str | None = None  # the format of the day in the sheet's name
    joined: tuple[int, ...] = ()

    @property
    def columns(self) -> set[str]:
        """The columns of ours that it fills."""
        names = set(self.placed)
        names |= {"day", self.across.holds} if self.across else set()
        names |= {"day"} if self.day_in_name else set()
        return names | ({"wound"} if self.joined else set())

    @property
    def missing(self) -> list[str]:
        """Needed columns that it does not fill."""
        return [column.name for column in self.table.columns if column.required and column.name not in self.columns]

    @property
    def is_one(self) -> bool:
        """Whether the sheet holds rows of this table: nothing needed is missing, and something tells that it is one.

        Where the telling words are not known, other columns that only this table has must speak for it.
        """
        telling = self.columns & set(TELLING[self.table.name])
        if self.missing or not telling:
            return False
        unread = [name for name in telling if name in self.placed and self.placed[name].fit.share < ENOUGH["choice"]]
        if len(unread) < len(telling):
            return True
        return len([one for one in self.placed.values() if one.worth >= OWN[-1]]) >= SPEAKING

    @property
    def worth(self) -> int:
        """How much speaks for it: its headers, the sheet's name, and a key that stands once."""
        headers = sum(placed.worth for placed in self.placed.values())
        named = tuple(plain(re.sub(r"[_\d]+", " ", self.sheet.names[0])).split())
        by_name = NAMED_SO if named in header_words(self.table.name, "") else 0
        return headers + by_name + (NAMED_SO if self._key_stands_once() else 0)

    def _key_stands_once(self) -> bool:
        key = self.placed.get({"wounds": "wound", "residents": "resident"}.get(self.table.name, ""))
        if key is None:
            return False
        told = self.sheet.cells[key.place]
        told = told[told != ""]
        return len(told) > 0 and told.nunique() / len(told) >= ONCE

    def place_of(self, name: str) -> Place:
        """The place of a column as a map says it."""
        if name == "wound" and self.joined:
            return Place(join=tuple(self.sheet.headers[place] for place in self.joined))
        if name == "day" and self.day_in_name:
            return Place(sheet_name=True, format=self.day_in_name)
        placed = self.placed[name]
        return Place(column=self.sheet.headers[placed.place], unit=placed.fit.unit, format=placed.fit.format)


def read_as(sheet: Scanned, table: Table, known: dict[str, frozenset[str]]) -> Reading:
    """A sheet read as a table: each header whose words claim a column and whose cells fit it, if no other does as well.

    `known` holds the pseudonyms of wounds and people where they are known already; others are neither.

    Where two headers claim a column equally, or one header two columns, none is placed and a doubt is told: a wrong
    placement is worse than none.
    """
    found, doubts = _candidates(sheet, table, known)
    by_column = defaultdict(list)
    for name, placed in found:
        by_column[name].append(placed)
    best = {}
    for name, candidates in by_column.items():
        chosen = _best(candidates)
        if chosen is None:
            letters = sheet.letters([candidate.place for candidate in candidates])
            doubts.append((name, f"columns {letters} of {sheet.label} could both be it; name the right one"))
        else:
            best[name] = chosen
    placed = _measured_alike(_one_each(best, sheet, doubts))
    reading = Reading(table, sheet, placed, doubts)
    return _with_days(reading) if table.name == "measurements" and "day" not in placed else reading


def with_words_to_explain(reading: Reading, name: str) -> Reading:
    """The reading with one column more: its header alone says what it is, and its few words have to be explained.

    Nothing is placed where several headers say so, or the one that does is placed already.
    """
    cells, taken = reading.sheet.cells, {one.place for one in reading.placed.values()}
    found = [
        Placed(place, claim.worth, Fit(0.0, True, doubt=EXPLAIN))
        for place, header in enumerate(reading.sheet.headers)
        for claim in claims(header)
        if (claim.table, claim.column) == (reading.table.name, name) and place in cells and not looks_like(header)
    ]
    if len(found) != 1 or found[0].place in taken or cells[found[0].place].nunique() > CODES:
        return reading
    return replace(reading, placed={**reading.placed, name: found[0]})


def _candidates(sheet: Scanned, table: Table, known: dict) -> tuple[list[tuple[str, Placed]], list[tuple[str, str]]]:
    found, doubts = [], []
    for place, header in enumerate(sheet.headers):
        if place not in sheet.cells or sheet.headers.count(header) > 1:  # what stands twice cannot be named in a map
            continue
        for claim in claims(header):
            if claim.table != table.name:
                continue
            column = table.column(claim.column)
            if what := looks_like(header):
                letter = f"column {sheet.letters([place])} of {sheet.label}"
                doubts.append((claim.column, f"{letter}: its header holds what looks like {what}; give it another"))
                continue
            if not _meets(column.name, sheet.cells[place], known):
                continue
            fitted = fit(table.name, column, sheet.cells[place], claim.unit, sheet.decimal, header)
            if fitted.fits:
                found.append((claim.column, Placed(place, claim.worth, fitted)))
            elif fitted.doubt:
                doubts.append((claim.column, f"column {sheet.letters([place])} of {sheet.label}: {fitted.doubt}"))
    return found, doubts


def _meets(name: str, cells: pd.Series, known: dict[str, frozenset[str]]) -> bool:
    """Pseudonyms of wounds and people must be those of the list of wounds: PT may be a patient or a therapist."""
    told = cells[cells != ""]
    return name not in known or told.empty or told.isin(known[name]).mean() >= MET


def _best(candidates: list[Placed]) -> Placed | None:
    """The one with the most telling header; of several such, the only one that is filled."""
    most = max(candidate.worth for candidate in candidates)
    leading = [candidate for candidate in candidates if candidate.worth == most]
    filled = [candidate for candidate in leading if candidate.fit.share > 0]
    if len(leading) == 1:
        return leading[0]
    return filled[0] if len(filled) == 1 else None


def _one_each(best: dict[str, Placed], sheet: Scanned, doubts: list[tuple[str, str]]) -> dict[str, Placed]:
    """One header for one column: the better claim, then the better fit."""
    kept = {}
    for name, placed in best.items():
        rivals = [other for other in best if other != name and best[other].place == placed.place]
        ranks = [(best[other].worth, best[other].fit.share) for other in rivals]
        mine = (placed.worth, placed.fit.share)
        if all(mine > rank for rank in ranks):
            kept[name] = placed
        elif not any(rank > mine for rank in ranks):
            doubts.append(
                (name, f"column {sheet.letters([placed.place])} of {sheet.label} could be {rivals[0]} as well")
            )
    return kept


def _measured_alike(placed: dict[str, Placed]) -> dict[str, Placed]:
    """Lengths without a unit are in one unit: that which makes the greatest of them possible."""
    if "length" not in placed or not placed["length"].fit.guessed:
        return placed
    unit, doubt = placed["length"].fit.unit, placed["length"].fit.doubt
    guessed = {name: one for name, one in placed.items() if name in LENGTHS and one.fit.guessed}
    return placed | {name: replace(one, fit=replace(one.fit, unit=unit, doubt=doubt)) for name, one in guessed.items()}


def _with_days(reading: Reading) -> Reading:
    """Days that stand in the headers of a wide sheet, or in the names of sheets."""
    sheet = reading.sheet
    places = day_headers(sheet.headers)
    if places:
        headers = [sheet.headers[place] for place in places]
        formats = formats_of(headers)
        size = reading.table.column("dimensions")
        below = sheet.cells[places].stack()
        unit = _unit_beside(headers[0])
        fits = fit(reading.table.name, size, below[below != ""], unit, sheet.decimal)
        if formats and fits.fits:
            written = formats[0] if len(formats) == 1 else ASK
            across = Across(headers=_starred(headers), format=written, unit=None if unit == size.unit else unit)
            return _asked(replace(reading, across=across), formats)
    formats = formats_of(list(sheet.names)) if len(sheet.names) > 1 else []
    if formats:
        return _asked(replace(reading, day_in_name=formats[0] if len(formats) == 1 else ASK), formats)
    return reading


def _asked(reading: Reading, formats: list[str]) -> Reading:
    if len(formats) > 1:
        reading.doubts.append(("day", f"days fit {' and '.join(formats)}; write which one it is"))
    if all(written in YEARLESS for written in formats):
        reading.doubts.append(("day", YEAR))
    return reading


def _unit_beside(header: str) -> str | None:
    return next((claim.unit for claim in claims(re.sub(r"\d[\d/.\-]*", " ", header)) if claim.unit), None)


def _starred(headers: list[str]) -> str:
    """What is the same in all headers, with * where their days stand; * alone where it is no word that we know."""
    before = re.match(r"\D*", os.path.commonprefix(headers))[0].rstrip()
    behind = re.match(r"\D*", os.path.commonprefix([header[::-1] for header in headers]))[0][::-1].strip()
    behind = behind if behind and not behind.startswith(".") else ""
    return f"{before}*{behind}" if all_known(f"{before} {behind}") else "*"
