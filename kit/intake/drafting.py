"""A column map drafted from an export: what could be placed, what is in doubt, what a person has to say."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from kit.intake.mapping import ASK, TableMap
from kit.intake.placing import TELLING, Reading, read_as, with_words_to_explain
from kit.intake.scanning import Scanned, day_headers, scan
from kit.vocabulary import TABLES

EVENTS = ("measurements", "sessions", "procedures", "spans", "departures")
DECIDES = {"sessions": "modality", "procedures": "procedure", "spans": "span", "departures": "reason"}
FOLLOWS = "taken as the other days of this sheet are written"
NO_NUMBER = "no column numbers the wounds; two wounds of one person at one site are taken for one"
BY_PERSON = ("sessions", "spans")  # they may name the person alone
PARTLY = 2  # columns that must be placed before a sheet that lacks needed ones is drafted at all
NUMBERED_ANEW = 0.2  # share of wound numbers that several people bear where each person's wounds are counted from 1


@dataclass(frozen=True)
class Doubt:
    """What a person has to look at: our table and column, and a sentence that quotes no cell."""

    table: str
    column: str
    says: str


@dataclass(frozen=True)
class Draft:
    """A drafted map, which may still ask, and what goes with it.

    `missing`: needed columns that were not found; `unplaced`: for each sheet the letters of the columns that the map
    does not read; `told`: sheets that were left alone, and why.
    """

    mapping: dict[str, TableMap]
    doubts: list[Doubt] = field(default_factory=list)
    missing: list[Doubt] = field(default_factory=list)
    unplaced: dict[str, str] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)


def draft(export: str | Path) -> Draft:
    """A column map for a strange export, from its headers, the units in them, and the cells below.

    No cell of the export stands in it. Of columns that are not placed only the letter is told: a header may be a name.

    Raises ExportError where nothing in the export can be read.
    """
    sheets, told = scan(Path(export).absolute())
    known = _pseudonyms([_readings(sheet, {}) for sheet in sheets])
    readings = _wounds_named([_readings(sheet, known) for sheet in sheets])
    chosen = _chosen(readings)
    everywhere = set().union(*(_clear_days(reading) for reading in chosen.values()))
    chosen = {name: _written_alike(reading, everywhere) for name, reading in chosen.items()}
    mapping = {name: _table_map(chosen[name]) for name in TABLES if name in chosen}
    doubts = [Doubt(name, column, says) for name, reading in chosen.items() for column, says in _doubts(reading)]
    told += _lists_without_number(readings, chosen)
    return Draft(mapping, doubts, _missing(chosen), _unplaced(sheets, chosen), told)


def _readings(sheet: Scanned, known: dict[str, frozenset[str]]) -> dict[str, Reading]:
    return {name: read_as(sheet, table, known) for name, table in TABLES.items()}


def _pseudonyms(readings: list[dict[str, Reading]]) -> dict[str, frozenset[str]]:
    """The pseudonyms of wounds and people in the sheet that is most of all a list of wounds."""
    lists = [sheet["wounds"] for sheet in readings if sheet["wounds"].is_one]
    if not lists:
        return {}
    most = max(lists, key=lambda reading: reading.worth)
    return {name: frozenset(most.sheet.cells[most.placed[name].place]) - {""} for name in ("wound", "resident")}


def _wounds_named(readings: list[dict[str, Reading]]) -> list[dict[str, Reading]]:
    """Wounds named by person and site where nothing else names them, or by person and number where numbers repeat."""
    anew = _numbers_repeat(readings)
    nameless = not any("wound" in sheet["wounds"].placed for sheet in readings)
    return [{name: _joined(sheet, name, anew, nameless) for name in sheet} for sheet in readings]


def _numbers_repeat(readings: list[dict[str, Reading]]) -> bool:
    """Whether the same wound number is borne by wounds of several people."""
    for sheet in (sheet["wounds"] for sheet in readings):
        if {"wound", "resident"} <= set(sheet.placed):
            pairs = sheet.sheet.cells[[sheet.placed["wound"].place, sheet.placed["resident"].place]]
            pairs = pairs[(pairs != "").all(axis=1)].drop_duplicates()
            borne = pairs.iloc[:, 0].value_counts()
            if len(borne) and (borne > 1).mean() > NUMBERED_ANEW:
                return True
    return False


def _joined(sheet: dict[str, Reading], name: str, anew: bool, nameless: bool) -> Reading:
    reading, person = sheet[name], sheet["wounds"].placed
    parts = ("resident", "wound") if anew else ("resident", "site", "side") if nameless else ()
    if not parts or "wound" not in reading.table.names or not person.keys() >= set(parts[:2]):
        return reading
    if nameless and name in BY_PERSON:
        return reading
    places = tuple(person[part].place for part in parts if part in person)
    placed = {column: one for column, one in reading.placed.items() if column != "wound"}
    doubt = [("wound", NO_NUMBER)] if nameless and name == "wounds" else []
    return replace(reading, placed=placed, joined=places, doubts=[*reading.doubts, *doubt])


def _chosen(readings: list[dict[str, Reading]]) -> dict[str, Reading]:
    """For each table the sheet for which most speaks. One header decides for one table only."""
    good = [{name: reading for name, reading in sheet.items() if reading.is_one} for sheet in readings]
    for sheet in good:
        _one_decides(sheet)
    chosen = {}
    for name, table in TABLES.items():
        candidates = [sheet[name] for sheet in good if name in sheet]
        if not candidates and table.required:
            candidates = [sheet[name] for sheet in readings if len(sheet[name].columns) >= PARTLY]
        if candidates:
            chosen[name] = max(candidates, key=lambda reading: reading.worth)
    chosen |= _in_their_own_words(readings, chosen)
    if "sessions" in chosen and "wounds" in chosen and chosen["sessions"].sheet is chosen["wounds"].sheet:
        chosen["sessions"] = _told_once(chosen["sessions"])
    return chosen


def _in_their_own_words(readings: list[dict[str, Reading]], chosen: dict[str, Reading]) -> dict[str, Reading]:
    """Tables not found yet, from sheets not read yet: all but their deciding words is understood."""
    read, found = [reading.sheet for reading in chosen.values()], {}
    for name, column in DECIDES.items():
        left = [sheet[name] for sheet in readings if not any(sheet[name].sheet is other for other in read)]
        spoken = [with_words_to_explain(reading, column) for reading in left if reading.missing == [column]]
        ones = [reading for reading in spoken if reading.is_one]
        if name not in chosen and ones:
            found[name] = max(ones, key=lambda reading: reading.worth)
            read.append(found[name].sheet)
    return found


def _told_once(reading: Reading) -> Reading:
    """Where every session names its wound, its site need not be read from the wound's own columns again."""
    if "wound" not in reading.placed:
        return reading
    cells = reading.sheet.cells
    rows = cells[cells[reading.placed["modality"].place] != ""]
    if (rows[reading.placed["wound"].place] == "").any():
        return reading
    return replace(reading, placed={name: one for name, one in reading.placed.items() if name not in ("site", "side")})


def _one_decides(sheet: dict[str, Reading]) -> None:
    """A header that says what was done, held or ended says so in one table; another table loses the sheet."""
    for name in list(DECIDES):
        rivals = [other for other in sheet if other != name and name in sheet and _better(sheet, other, name)]
        if rivals:
            del sheet[name]


def _better(sheet: dict[str, Reading], other: str, name: str) -> bool:
    placed = sheet[name].placed[DECIDES[name]]
    theirs = [one for one in sheet[other].placed.values() if one.place == placed.place]
    if not theirs or other not in EVENTS:
        return False
    rank = (theirs[0].worth, theirs[0].fit.share, sheet[other].worth)
    return rank > (placed.worth, placed.fit.share, sheet[name].worth)


def _clear_days(reading: Reading) -> set[str | None]:
    """The formats in which the days of a sheet are written beyond doubt."""
    days = [one.fit for name, one in reading.placed.items() if reading.table.column(name).kind == "day"]
    return {fitted.format for fitted in days if fitted.share and fitted.format != ASK}


def _written_alike(reading: Reading, everywhere: set[str | None]) -> Reading:
    """Days of one sheet are written by one hand: those that could be two ways follow the columns that are clear.

    An empty column of days follows those of the whole export, for next time it may be filled.
    """
    here, placed = _clear_days(reading), dict(reading.placed)
    for name, one in reading.placed.items():
        if reading.table.column(name).kind == "day":
            clear = here if one.fit.share else here or everywhere
            if len(clear) == 1 and (not one.fit.share or clear <= set(one.fit.formats)):
                doubt = f"days fit {' and '.join(one.fit.formats)}; {FOLLOWS}" if one.fit.share else one.fit.doubt
                placed[name] = replace(one, fit=replace(one.fit, format=next(iter(clear)), doubt=doubt))
    return replace(reading, placed=placed)


def _table_map(reading: Reading) -> TableMap:
    names = [column.name for column in reading.table.columns if column.name in reading.columns]
    across = {"day", reading.across.holds} if reading.across else set()
    return TableMap(
        file=reading.sheet.file,
        sheet=reading.sheet.sheet,
        decimal=reading.sheet.decimal,
        across=reading.across,
        columns={name: reading.place_of(name) for name in names if name not in across},
    )


def _doubts(reading: Reading) -> list[tuple[str, str]]:
    placed = [(name, one.fit.doubt) for name, one in reading.placed.items() if one.fit.doubt]
    return [*placed, *(doubt for doubt in reading.doubts if doubt[0] not in reading.placed)]


def _missing(chosen: dict[str, Reading]) -> list[Doubt]:
    lost = [name for name, table in TABLES.items() if table.required and name not in chosen]
    needed = [Doubt(name, "", "no sheet was found that holds it") for name in lost]
    return needed + [
        Doubt(name, column, f"is needed, and no column of {reading.sheet.label} was found to hold it")
        for name, reading in chosen.items()
        for column in reading.missing
    ]


def _lists_without_number(readings: list[dict[str, Reading]], chosen: dict[str, Reading]) -> list[str]:
    """Sheets that nothing is read from, though they tell of people's wounds."""
    read = [reading.sheet for reading in chosen.values()]
    lists = [sheet["wounds"] for sheet in readings if not any(sheet["wounds"].sheet is other for other in read)]
    return [
        f"{found.sheet.label}: looks like a list of wounds, and none of its columns numbers them; name one in the map"
        for found in lists
        if found.missing == ["wound"] and found.columns & set(TELLING["wounds"])
    ]


def _unplaced(sheets: list[Scanned], chosen: dict[str, Reading]) -> dict[str, str]:
    """The letters of filled columns that no table reads."""
    left = {}
    for sheet in sheets:
        readers = [reading for reading in chosen.values() if reading.sheet is sheet]
        read = {one.place for reading in readers for one in reading.placed.values()}
        read |= {place for reading in readers for place in reading.joined}
        read |= set(day_headers(sheet.headers)) if any(reading.across for reading in readers) else set()
        places = [place for place in sheet.cells if place not in read and (sheet.cells[place] != "").any()]
        if places:
            left[sheet.label] = sheet.letters(places)
    return left
