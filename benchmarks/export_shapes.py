"""Strange exports, and the truth of where every column of ours stands in them: a drafted map is measured by it.

A shape takes the tidy clean export and writes the files that a facility would send. Its truth is also what writes them:
headers, units, ways of writing a day and words are told once, as a table of renamings. Everything in it is invented.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER
from kit.vocabulary import REASONS_MISSED, SITES, TABLES, UNITS

CLEAN = Path(__file__).parent.parent / "data" / "synthetic" / "clean"
EXCEL_SERIAL = "Excel serial"
EXCEL_BEGINS, DAY_ZERO = date(1899, 12, 30), date(2024, 1, 1)  # day numbers count from DAY_ZERO, which no file tells
WAYS = ("column", "in_one_cell", "sheet_name", "across", "joined")
BY_HEADER = ("column", "joined")

Tables = dict[str, pd.DataFrame]
Words = dict[str, str]
Write = Callable[[Path, Tables], Path]
Decoys = dict[str, dict[str, tuple[str, ...]]]  # file or sheet: header: what stands below it, over and over
Given = str | tuple[str, str] | tuple[str, Words]  # a header; with a unit; with words


@dataclass(frozen=True)
class Truth:
    """Where one of our columns stands. `unit` is None where it is the vocabulary's.

    `format` is None where a real date stands in the cell, and where the name of a sheet fits none. `values` holds their
    words and what they mean; a word not in it is ours. One header may serve two of our columns, and then each has the
    words that tell it something. `under` is the header above the header, in the shape that has two rows of them.
    """

    file_or_sheet: str
    header: str
    how: str = "column"
    unit: str | None = None
    format: str | None = None
    values: Words = field(default_factory=dict)
    under: str = ""


Places = dict[tuple[str, str], Truth]


@dataclass(frozen=True)
class Shape:
    """One way to send an export.

    `lossless` columns survive cell for cell, `unknowable` ones no drafter can read without being told, `decoys` are
    headers that must not be mapped. `rows` tells, where only some rows of a file are a table's, in which column stands
    which word; where several tables share a file without it, each of its rows repeats the wider ones.
    """

    name: str
    says: str
    write: Write
    truth: Places
    lossless: frozenset[tuple[str, str]]
    unknowable: frozenset[tuple[str, str]] = frozenset()
    decoys: frozenset[str] = frozenset()
    rows: dict[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Style:
    """How cells are typed, whatever they hold. `clock` stands behind every day; `typed`: numbers are number cells."""

    decimal: str = "."
    blank: str = ""
    padded: bool = True
    clock: str = ""
    typed: bool = False


def tidy(residents: int | None = 60, folder: Path = CLEAN) -> Tables:
    """The tables of the tidy export as text: the first so many residents with all their rows; None: everybody."""
    tables = {name: pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False) for name in TABLES}
    return tables if residents is None else _of_people(tables, tables["residents"]["resident"][:residents])


def _of_people(tables: Tables, people: pd.Series) -> Tables:
    wounds = tables["wounds"].loc[tables["wounds"]["resident"].isin(people), "wound"]
    kept = {}
    for name, frame in tables.items():
        theirs = pd.Series(False, index=frame.index)
        for column, known in (("resident", people), ("wound", wounds)):
            theirs |= frame[column].isin(known) if column in frame else False
        kept[name] = frame[theirs].reset_index(drop=True)
    return kept


# --- from a table of renamings to truth, and from truth to cells ---


def _places(days: str | None, tables: dict[str, tuple[str, dict[str, Given]]]) -> Places:
    """Truth from {our table: (file or sheet, {our column: header, or header with unit or words})}."""
    return {
        (table, column): _place(table, column, where, given, days)
        for table, (where, columns) in tables.items()
        for column, given in columns.items()
    }


def _place(table: str, column: str, where: str, given: Given, days: str | None) -> Truth:
    header, more = (given, None) if isinstance(given, str) else given
    return Truth(
        where,
        header,
        unit=more if isinstance(more, str) else None,
        format=days if TABLES[table].column(column).kind == "day" else None,
        values=dict(more) if isinstance(more, dict) else {},
    )


def _by_header(table: str, truth: Places) -> dict[tuple[str, str], dict[str, Truth]]:
    """The columns of a table that have headers, by the header above and their own."""
    found: dict[tuple[str, str], dict[str, Truth]] = {}
    for (name, column), place in truth.items():
        if name == table and place.how in BY_HEADER:
            found.setdefault((place.under, place.header), {})[column] = place
    return found


def _theirs(table: str, frame: pd.DataFrame, truth: Places, style: Style) -> pd.DataFrame:
    """A table of ours under their headers, in their words, units and ways of writing a day."""
    headers, columns = [], []
    for (_, header), places in _by_header(table, truth).items():
        joined = any(place.how == "joined" for place in places.values())
        headers += header.split(" + ") if joined else [header]
        columns += _parted(frame[next(iter(places))]) if joined else [_written(table, frame, places, style)]
    sent = pd.concat([pd.Series(column, index=frame.index, dtype=object) for column in columns], axis=1)
    repeated = [header in headers[:n] and not _grouped(table, truth) for n, header in enumerate(headers)]
    return sent.set_axis(headers, axis=1).loc[:, [not again for again in repeated]]


def _parted(joined: pd.Series) -> list[list[str]]:
    return [list(part) for part in zip(*joined.str.split(" + ", regex=False), strict=True)]


def _grouped(table: str, truth: Places) -> bool:
    return any(under for under, _ in _by_header(table, truth))


def _written(table: str, frame: pd.DataFrame, places: dict[str, Truth], style: Style) -> list:
    column, place = next(iter(places.items()))
    ours = TABLES[table].column(column) if column in TABLES[table].names else None  # None: known to the shape alone
    if any(each.values for each in places.values()):
        return [word or style.blank for word in _words(frame, places)]
    write = {"day": _day, "number": _number}.get(ours.kind if ours else "", lambda cell, *_: cell)
    return [write(cell, place, style, ours) if cell else style.blank for cell in frame[column]]


def _words(frame: pd.DataFrame, places: dict[str, Truth]) -> list[str]:
    """Their words. Where several mean the same, they take turns down the column."""
    rows = list(zip(*(frame[column] for column in places), strict=True))
    said = {row: _said(row, list(places.values())) for row in set(rows)}
    return [said[row][n % len(said[row])] for n, row in enumerate(rows)]


def _said(row: tuple[str, ...], places: list[Truth]) -> list[str]:
    """The words that mean all of this in every column which the header serves; ours where there are none."""
    words = dict.fromkeys(word for place in places for word in place.values)
    meant = zip(row, places, strict=True)
    facts = [(cell, place.values) for cell, place in meant]
    return [word for word in words if all(values.get(word, "") == cell for cell, values in facts)] or [row[0]]


def _day(cell: str, place: Truth, style: Style, _: object) -> object:
    day = date.fromisoformat(cell)
    if place.format is None:
        return day
    begins = {EXCEL_SERIAL: EXCEL_BEGINS, DAY_NUMBER: DAY_ZERO}.get(place.format)
    if begins:
        return str((day - begins).days)
    text = day.strftime(DAY_FORMATS[place.format])
    return (text if style.padded else re.sub(r"\b0(?=\d)", "", text)) + style.clock


def _number(cell: str, place: Truth, style: Style, ours: object) -> object:
    if place.unit:
        number = float(cell) / UNITS[ours.unit][place.unit.lower()]
        cell = f"{round(number, 2 if place.unit == 'in' else 6):.8g}"  # a ruler in inches shows hundredths at best
    return float(cell) if style.typed else cell.replace(".", style.decimal)


def _among(sent: pd.DataFrame, decoys: dict[str, tuple[str, ...]], people: Iterable[int] = ()) -> pd.DataFrame:
    """Decoys between the columns that mean something, every other one; `people`: whose row it is, by number."""
    sent, people = sent.copy(), list(people)
    for n, (header, words) in enumerate(decoys.items()):
        cells = [words[row % len(words)] for row in (people if header in PERSONAL else range(len(sent)))]
        sent.insert(min(2 * n + 1, sent.shape[1]), header, cells)
    return sent


def _files(tables: Tables, truth: Places, style: Style, decoys: Decoys) -> Iterator[tuple[str, pd.DataFrame]]:
    """Every table that has a file or sheet of its own."""
    for table in dict.fromkeys(table for table, _ in truth):
        where = next(place.file_or_sheet for (name, _), place in truth.items() if name == table)
        sent = _theirs(table, tables[table], truth, style)
        yield where, _among(sent, decoys.get(where, {}), _people(tables, table))


def _people(tables: Tables, table: str) -> list[int]:
    """Whose row it is, by number."""
    frame, known = tables[table], tables["residents"]["resident"]
    people = frame["resident"] if "resident" in frame else _looked_up(frame["wound"], tables["wounds"], "resident")
    return [int(number) for number in pd.Index(known).get_indexer(pd.Index(people))]


# --- ways to lay files ---


def _folder(
    truth: Places,
    style: Style,
    decoys: Decoys,
    separator: str = ",",
    encoding: str = "utf-8",
    prepare: Callable[[Tables], Tables] = dict,
) -> Write:
    """A folder with a file a table."""

    def write(folder: Path, tables: Tables) -> Path:
        for file, sent in _files(prepare(tables), truth, style, decoys):
            _save(sent, folder / file, sep=separator, encoding=encoding)
        return folder

    return write


def _save(sent: pd.DataFrame, file: Path, **options: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    sent.to_csv(file, index=False, **options)


def _book(file: Path, sheets: Iterable[tuple[str, Callable[[Worksheet], None]]]) -> Path:
    """A workbook whose sheets are filled one by one."""
    book = Workbook()
    book.remove(book.active)
    for name, fill in sheets:
        fill(book.create_sheet(name))
    file.parent.mkdir(parents=True, exist_ok=True)
    book.save(file)
    return file


def _lines(sent: pd.DataFrame) -> list[list]:
    return [[None if cell == "" else cell for cell in row] for row in sent.itertuples(index=False, name=None)]


def _fill(sheet: Worksheet, rows: Iterable[list]) -> None:
    for row in rows:
        sheet.append(row)


def _titled(truth: Places, style: Style) -> Write:
    """Merged titles, blank rows, the header again after half the rows, and blanks behind and below."""

    def fill(sheet: Worksheet, sent: pd.DataFrame) -> None:
        headers, lines = list(sent.columns), _lines(sent)
        half = len(lines) // 2
        head = [["Tamarack Hollow Care Group"], [f"{sheet.title} - printed 7/1/2026"], [], headers]
        again = [[], ["", "continued"], headers]
        _fill(sheet, [*head, *lines[:half], *again, *_with_gaps(lines[half:]), [], [" ", " "], [" ", None, " "]])
        for row in (1, 2):
            sheet.merge_cells(start_row=row, end_row=row, start_column=1, end_column=len(headers))
        sheet.cell(5, len(headers) + 2, " ")

    def write(folder: Path, tables: Tables) -> Path:
        sent = _files(tables, truth, style, {})
        return _book(
            folder / "Skin report.xlsx",
            ((name, lambda sheet, rows=rows: fill(sheet, rows)) for name, rows in sent),
        )

    return write


def _with_gaps(lines: list[list], every: int = 20) -> list[list]:
    return [row for n, line in enumerate(lines) for row in ([[], line] if n % every == 0 else [line])]


def _two_headers(truth: Places, style: Style) -> Write:
    """A row of merged group headers above the headers, which do not stand alone."""

    def fill(sheet: Worksheet, groups: list[str], sent: pd.DataFrame) -> None:
        firsts = [group if group not in groups[:n][-1:] else None for n, group in enumerate(groups)]
        _fill(sheet, [firsts, list(sent.columns), *_lines(sent)])
        starts = [n for n, group in enumerate(firsts, start=1) if group]
        for start, after in zip(starts, [*starts[1:], len(groups) + 1], strict=True):
            sheet.merge_cells(start_row=1, end_row=1, start_column=start, end_column=after - 1)

    def write(folder: Path, tables: Tables) -> Path:
        groups = [
            [under for under, _ in _by_header(table, truth)] for table in dict.fromkeys(name for name, _ in truth)
        ]
        sheets = zip(groups, _files(tables, truth, style, {}), strict=True)
        return _book(
            folder / "Wound rounds.xlsx",
            ((name, lambda sheet, above=above, rows=rows: fill(sheet, above, rows)) for above, (name, rows) in sheets),
        )

    return write


def _weekly(truth: Places, style: Style) -> Write:
    """A sheet a week, named by its first day without the year, a row a wound; then therapy log and roster."""

    def round_of(week: date, rows: pd.DataFrame, tables: Tables) -> Callable[[Worksheet], None]:
        sent = _theirs("measurements", rows, truth, style)
        sent.insert(1, "Spot", _looked_up(rows["wound"], tables["wounds"], "site"))
        sent.insert(2, truth["measurements", "length"].header, _size_cells(rows, truth["measurements", "state"]))
        sent = _among(sent, {"Comments": COMMENTS})
        title = f"Weekly wound round, week of {week.month}/{week.day}/{week.year}"
        return lambda sheet: _fill(sheet, [[title], [], list(sent.columns), *_lines(sent)])

    def write(folder: Path, tables: Tables) -> Path:
        weeks = tables["measurements"]["day"].map(_wednesday)
        by_day = tables["measurements"].sort_values(["day", "wound"], kind="stable")
        sheets = [
            (f"Wk of {week.month}-{week.day}", round_of(week, rows, tables)) for week, rows in by_day.groupby(weeks)
        ]
        roster = _theirs("wounds", tables["wounds"], truth, style).merge(
            _theirs("residents", tables["residents"], truth, style)
        )
        for name, sent in (
            ("Therapy log", _theirs("sessions", tables["sessions"], truth, style)),
            ("Roster", roster),
        ):
            sheets.append((name, lambda sheet, sent=sent: _fill(sheet, [list(sent.columns), *_lines(sent)])))
        return _book(folder / "Wound rounds by week.xlsx", sheets)

    return write


def _wednesday(day: str) -> date:
    """The first day of the facility's week; no month and day of it comes twice in the export's 18 months."""
    given = date.fromisoformat(day)
    return given - timedelta(days=(given.weekday() - 2) % 7)


def _size_cells(rows: pd.DataFrame, state: Truth) -> list[str]:
    """Length, width and depth in one cell; a word where the wound is closed."""
    closed = [word for word, meaning in state.values.items() if meaning == "closed"]
    sizes = zip(rows["state"], rows["length"], rows["width"], rows["depth"], strict=True)
    return [
        closed[n % len(closed)] if told == "closed" else SIZE_CELLS[n % len(SIZE_CELLS)].format(*size)
        for n, (told, *size) in enumerate(sizes)
    ]


def _looked_up(wounds: pd.Series, listed: pd.DataFrame, column: str) -> list[str]:
    return list(wounds.map(listed.set_index("wound")[column]))


def _flat(truth: Places, style: Style, kinds: dict[str, tuple[str, str]]) -> Write:
    """One file: each measurement and session a row, with its wound's and person's columns again."""

    def write(folder: Path, tables: Tables) -> Path:
        parts = []
        for table, (header, word) in kinds.items():
            sent = _theirs(table, tables[table], truth, style)
            parts.append(sent.assign(**{header: word, "order": tables[table]["day"]}))
        about = _theirs("wounds", tables["wounds"], truth, style).merge(
            _theirs("residents", tables["residents"], truth, style)
        )
        rows = about.merge(pd.concat(parts)).fillna("")
        rows = rows.sort_values([truth["wounds", "wound"].header, "order"], kind="stable").drop(columns="order")
        _save(rows, folder / truth["wounds", "wound"].file_or_sheet)
        return folder

    return write


def _wide(truth: Places, style: Style) -> Write:
    """One file: a wound a row, a measurement day a column."""

    def write(folder: Path, tables: Tables) -> Path:
        measured, wounds = tables["measurements"], tables["wounds"]
        cells = measured.assign(size=_size_cells(measured, truth["measurements", "state"]))
        days = cells.pivot(index="wound", columns="day", values="size").reindex(wounds["wound"]).fillna("")
        days = days.rename(columns=lambda day: _day(day, truth["measurements", "day"], style, None))
        sent = _theirs("wounds", wounds, truth, style)
        _save(pd.concat([sent, days.reset_index(drop=True)], axis=1), folder / truth["wounds", "wound"].file_or_sheet)
        return folder

    return write


def _without_wound(tables: Tables) -> Tables:
    """Sessions as a therapist logs them: who and where, and not which wound."""
    wounds, sessions = tables["wounds"], tables["sessions"]
    where = {column: _looked_up(sessions["wound"], wounds, column) for column in ("resident", "site", "side")}
    return tables | {"sessions": sessions.assign(wound="", **where)}


def _numbered(tables: Tables) -> Tables:
    """Wounds called by their person and a number that begins anew with each person."""
    wounds = tables["wounds"]
    numbers = (wounds.groupby("resident").cumcount() + 1).astype(str)
    names = dict(zip(wounds["wound"], wounds["resident"] + " + " + numbers, strict=True))
    return {
        name: frame.assign(wound=frame["wound"].map(names).fillna("")) if "wound" in frame else frame
        for name, frame in tables.items()
    }


# --- words ---


def _capital(words: Iterable[str]) -> Words:
    return {word.replace("_", " ").capitalize(): word for word in words}


def _coded(words: Iterable[str], first: int = 1) -> Words:
    return {str(code): word for code, word in enumerate(words, start=first)}


def _allowed(table: str, column: str) -> tuple[str, ...]:
    return TABLES[table].column(column).allowed


Y_N, ONE_ZERO = {"Y": "yes", "N": "no"}, {"1": "yes", "0": "no"}
F_M = {"F": "female", "M": "male"}
L_R_M = {"L": "left", "R": "right", "M": "middle"}
SIZE_CELLS = ("{} x {} x {}", "{}x{}x{}", "{} X {} X {}", "{} x {} x {} cm")
HEALED = {"healed": "closed", "Healed": "closed", "closed": "closed", "HEALED": "closed", "resolved": "closed"}
COMMENTS = ("tol well", "", "dsg intact", "family updated", "")

ETIOLOGY = {
    "Pressure": "pressure_injury", "Pressure Injury": "pressure_injury", "Venous Stasis": "venous",
    "Arterial": "arterial", "DFU": "diabetic_foot", "Surgical": "surgical", "Other": "other",
}  # fmt: skip
TREATMENT = {"E-stim mono": "stimulation", "E-stim bipolar": "stimulation", "US": "ultrasound"}
SET_UP = {"E-stim mono": "monopolar", "E-stim bipolar": "bipolar"}
DONE = {"Y": "given", "Partial": "shortened", "N": "missed"}
NOT_DONE = {
    "Refused": "refused", "Ill": "unwell", "LOA": "out_of_building", "Hold per MD": "on_hold",
    "No therapist": "staff", "Device down": "equipment", "No supplies": "supplies", "Auth ended": "payer",
    "Isolation": "isolation",
}  # fmt: skip
DRAINAGE = {"None": "none", "Scant": "light", "Light": "light", "Mod": "moderate", "Heavy": "heavy"}
WOUND_BED = {
    "Resurfaced": "closed", "Epith": "epithelial", "Gran": "granulation", "Beefy red": "granulation",
    "Slough": "slough", "Eschar": "necrotic",
}  # fmt: skip
STAGED = {"1": "1", "2": "2", "3": "3", "4": "4", "UTS": "unstageable", "DTI": "deep_tissue"}
STAGE_WORDS = {
    "St 1": "1", "stage I": "1", "St 2": "2", "Stage II": "2", "healing st 2": "2", "St 3": "3", "III": "3",
    "healing stage 3": "3", "St 4": "4", "healing st 4": "4", "UTS": "unstageable", "unstageable": "unstageable",
    "DTI evolving": "deep_tissue", "sDTI": "deep_tissue", "mucosal": "mucosal",
}  # fmt: skip
GONE = {"D/C": "left", "Hosp": "hospital", "Expired": "died", "Surg closure": "surgical_closure"}
WHAT_HELD = {
    "Payer": "payer", "Hospice": "comfort_goal", "LOA": "out_of_building", "Wound order": "ordered_regimen",
    "Tx hold": "hold", "Infection": "infection", "ABT": "antibiotic", "Mattress": "support_surface",
    "Float heels": "offloading", "Wraps": "compression", "NPWT": "negative_pressure", "C/I": "contraindication",
    "Precaution": "precaution",
}  # fmt: skip
WHICH = {
    "MCR A": "medicare_a", "MCR B": "medicare_b", "MCO": "managed_care", "MCD": "medicaid", "PVT": "private",
    "Oth": "other", "E-stim mono": "monopolar", "E-stim bipolar": "bipolar", "US": "ultrasound", "Dsg": "dressing",
    "Y": "yes",
}  # fmt: skip

# As in a therapy log: a place, and the side before or behind it.
LOGGED_SIDES = {"left": ("L {}", "Lt. {}", "{} L"), "right": ("R {}", "R. {}", "rt {}"), "middle": ("{}",)}
LOGGED_SITES = {"troch": "trochanter", "ischial tub": "ischium", "abd": "abdomen", "gr toe": "toe", "lower leg": "leg"}
LOGGED = {
    style.format(word): (site, side)
    for site in SITES
    for word in [*(short for short, meant in LOGGED_SITES.items() if meant == site), site][:1]
    for side, styles in LOGGED_SIDES.items()
    for style in styles
}

SITE_CODES = {
    "SACR": "sacrum", "COCX": "coccyx", "ISCH": "ischium", "TROC": "trochanter", "BUTT": "buttock", "HIP": "hip",
    "BACK": "back", "HEEL": "heel", "ANKL": "ankle", "FOOT": "foot", "TOE": "toe", "LEG": "leg", "ELBW": "elbow",
    "SHLD": "shoulder", "HEAD": "head", "ABDM": "abdomen", "OTH": "other",
}  # fmt: skip
REASON_CODES = {
    "REF": "refused", "ILL": "unwell", "OOB": "out_of_building", "HLD": "on_hold", "STF": "staff",
    "EQP": "equipment", "SUP": "supplies", "PAY": "payer", "ISO": "isolation",
}  # fmt: skip

JA_NEIN = {"ja": "yes", "nein": "no"}
DE_KIND = {
    "Dekubitus": "pressure_injury", "Ulcus cruris venosum": "venous", "Ulcus cruris arteriosum": "arterial",
    "Diabetischer Fuß": "diabetic_foot", "OP-Wunde": "surgical", "Sonstige": "other",
}  # fmt: skip
DE_SITE = {
    "Kreuzbein": "sacrum", "Steißbein": "coccyx", "Sitzbein": "ischium", "Trochanter": "trochanter",
    "Gesäß": "buttock", "Hüfte": "hip", "Rücken": "back", "Ferse": "heel", "Knöchel": "ankle", "Fuß": "foot",
    "Zehe": "toe", "Unterschenkel": "leg", "Ellenbogen": "elbow", "Schulter": "shoulder", "Kopf": "head",
    "Bauch": "abdomen", "Sonstige": "other",
}  # fmt: skip
DE_STAGE = {
    "Kategorie 1": "1", "Kategorie 2": "2", "Kategorie 3": "3", "Kategorie 4": "4",
    "nicht klassifizierbar": "unstageable", "tiefe Gewebeschädigung": "deep_tissue", "Schleimhaut": "mucosal",
}  # fmt: skip
DE_TISSUE = {
    "geschlossen": "closed", "Epithel": "epithelial", "Granulation": "granulation", "Fibrinbelag": "slough",
    "Nekrose": "necrotic",
}  # fmt: skip
DE_EXUDATE = {"kein": "none", "wenig": "light", "mäßig": "moderate", "stark": "heavy"}
DE_REASON = {
    "abgelehnt": "refused", "unwohl": "unwell", "außer Haus": "out_of_building", "pausiert": "on_hold",
    "Personal fehlte": "staff", "Gerät defekt": "equipment", "Material fehlte": "supplies",
    "Kostenträger": "payer", "Isolierung": "isolation",
}  # fmt: skip

ES_KIND = {
    "Lesión por presión": "pressure_injury", "Úlcera venosa": "venous", "Úlcera arterial": "arterial",
    "Pie diabético": "diabetic_foot", "Quirúrgica": "surgical", "Otra": "other",
}  # fmt: skip
ES_SITE = {
    "sacro": "sacrum", "cóccix": "coccyx", "isquion": "ischium", "trocánter": "trochanter", "glúteo": "buttock",
    "cadera": "hip", "espalda": "back", "talón": "heel", "tobillo": "ankle", "pie": "foot", "dedo del pie": "toe",
    "pierna": "leg", "codo": "elbow", "hombro": "shoulder", "cabeza": "head", "abdomen": "abdomen", "otra": "other",
}  # fmt: skip
ES_STAGE = {
    "Estadio 1": "1", "Estadio 2": "2", "Estadio 3": "3", "Estadio 4": "4", "No clasificable": "unstageable",
    "Tejido profundo": "deep_tissue", "Mucosa": "mucosal",
}  # fmt: skip
ES_TISSUE = {
    "cerrada": "closed", "epitelial": "epithelial", "granulación": "granulation", "esfacelo": "slough",
    "necrótico": "necrotic",
}  # fmt: skip
ES_EXUDATE = {"ninguno": "none", "escaso": "light", "moderado": "moderate", "abundante": "heavy"}
ES_REASON = {
    "rechazo": "refused", "indispuesto": "unwell", "fuera del centro": "out_of_building", "en pausa": "on_hold",
    "falta de personal": "staff", "equipo averiado": "equipment", "falta de material": "supplies",
    "sin cobertura": "payer", "aislamiento": "isolation",
}  # fmt: skip

OUI_NON = {"oui": "yes", "non": "no"}
FR_KIND = {
    "Escarre": "pressure_injury", "Ulcère veineux": "venous", "Ulcère artériel": "arterial",
    "Pied diabétique": "diabetic_foot", "Chirurgicale": "surgical", "Autre": "other",
}  # fmt: skip
FR_SITE = {
    "sacrum": "sacrum", "coccyx": "coccyx", "ischion": "ischium", "trochanter": "trochanter", "fesse": "buttock",
    "hanche": "hip", "dos": "back", "talon": "heel", "cheville": "ankle", "pied": "foot", "orteil": "toe",
    "jambe": "leg", "coude": "elbow", "épaule": "shoulder", "tête": "head", "abdomen": "abdomen", "autre": "other",
}  # fmt: skip
FR_STAGE = {
    "Stade 1": "1", "Stade 2": "2", "Stade 3": "3", "Stade 4": "4", "Inclassable": "unstageable",
    "Lésion profonde": "deep_tissue", "Muqueuse": "mucosal",
}  # fmt: skip
FR_TISSUE = {
    "fermée": "closed", "épithélial": "epithelial", "bourgeonnement": "granulation", "fibrine": "slough",
    "nécrose": "necrotic",
}  # fmt: skip
FR_EXUDATE = {"aucun": "none", "faible": "light", "modéré": "moderate", "abondant": "heavy"}

# --- what must not be mapped; nobody is called so, was born then or lives there ---

BIRTHS = tuple(f"{1 + 5 * n % 12}/{1 + 7 * n % 28}/{1931 + 3 * n % 22}" for n in range(61))
IDENTIFIERS = {
    "Last Name": ("Ambervale", "Quillonby", "Thornquist-Ree", "Oldmarrow", "Peverstone", "Wexcombe", "Larkhollow"),
    "First Name": ("Odalind", "Bertrice", "Hadwin", "Maurelle", "Tobiah", "Ysolde"),
    "MRN": tuple(str(4001237 + 37 * n) for n in range(400)),
    "DOB": BIRTHS,
    "Room": ("101A", "101B", "114A", "207", "209B"),
    "Attending": ("Dr. Fennimoor", "Dr. Castellane"),
}
FREE_TEXT = {
    "Notes": ("2.1 cm last wk per dtr, no odor", "refused turn x2", "", "MD aware, cont. tx", "see care plan 3/4"),
    "Pain comment": ("denies", "3/10 with dsg change", "", "premedicated"),
    "SSN last 4": ("0000", "0011", "0022", "0033"),
    "Next of kin phone": ("555-0100", "555-0101", "555-0102"),
}
PERSONAL = {*IDENTIFIERS, "SSN last 4", "Next of kin phone", "Date of birth", "Length of stay"}  # the same for a person
MISLEADING = {
    "Date of birth": BIRTHS,
    "Length of stay": ("34", "102", "7", "451", "88"),
    "Width of room": ("3.4", "4.1", "3.9"),
    "Depth of sleep": ("2.0", "1.5", "0.5", "1.0"),
    "Stage of change": ("2", "3", "1", "4", "2"),
    "State": ("OH", "PA", "OH"),
    "Area": ("East wing", "West wing"),
}
MISLEADING_WOUNDS = {
    "Site": ("Main campus", "Annex"),
    "Side of building": ("left", "right", "left", "middle"),
    "Type of bed": ("low", "standard", "bariatric"),
}
MISLEADING_PEOPLE = {
    "Age of mattress": ("2", "5", "1", "7"),
    "Mobility of furniture": ("fixed", "wheels"),
    "Date of last haircut": ("5/3/2026", "5/17/2026", "6/2/2026"),
}
MISLEADING_MOVES = {"Reason for visit": ("family", "clergy", "volunteer"), "Return call": ("Y", "N")}

# --- the shapes ---


def _shape(
    name: str,
    says: str,
    truth: Places,
    write: Write,
    lost: Iterable[tuple[str, str]] = (),
    decoys: Decoys | None = None,
    unknowable: Iterable[tuple[str, str]] = (),
    rows: dict[str, tuple[str, str]] | None = None,
) -> Shape:
    headers = frozenset(header for columns in (decoys or {}).values() for header in columns)
    return Shape(name, says, write, truth, frozenset(truth) - set(lost), frozenset(unknowable), headers, rows or {})


def _trade_words() -> Shape:
    truth = _places("MM/DD/YYYY", {
        "residents": ("Resident Census.csv", {
            "resident": "Resident ID", "facility": "Facility", "age": "Age", "sex": ("Gender", F_M),
            "diabetes": ("DM", Y_N), "perfusion": ("Circulation", {"WNL": "adequate", "Impaired": "reduced"}),
            "mobility": ("Ambulation", {"Ambulatory": "walks", "W/C": "chair", "Bedfast": "bed"}),
            "risk_total": "Pressure Risk Score", "weight_loss": ("Unplanned Wt Loss", Y_N),
            "continence": ("Continence", {"Cont": "continent", "Inc bladder": "urine", "Inc bowel": "stool",
                                          "Inc B&B": "both"}),
        }),
        "wounds": ("Wound List.csv", {
            "wound": "Wound ID", "resident": "Resident ID", "kind": ("Etiology", ETIOLOGY),
            "site": ("Location", _capital(SITES)), "side": ("Laterality", {"L": "left", "R": "right", "Mid": "middle"}),
            "onset": "Date Identified", "present_on_admission": ("POA", Y_N),
        }),
        "measurements": ("Wound Assessments.csv", {
            "wound": "Wound ID", "day": "Date Assessed",
            "state": ("Wound Status", {"Active": "open", "Healed": "closed", "Resolved": "closed"}),
            "length": "L (cm)", "width": "W (cm)", "depth": "D (cm)", "undermining": "UM (cm)",
            "tunnelling": "Tunnel (cm)", "stage": ("Stage", STAGED), "tissue": ("Wound Bed", WOUND_BED),
            "necrosis_share": "% Nonviable", "exudate": ("Drainage Amt", DRAINAGE), "assessor": "Assessed By",
            "assessor_role": ("Discipline", {"RN/LPN": "nurse", "WCN": "wound_nurse", "PT": "therapist",
                                             "NP/MD": "practitioner"}),
            "entered": "Date Charted",
        }),
        "sessions": ("Modality Log.csv", {
            "wound": "Wound ID", "day": "Tx Date", "modality": ("Tx", TREATMENT), "setup": ("Tx", SET_UP),
            "polarity": ("Polarity", {"Neg": "negative", "Pos": "positive", "Alt": "alternating"}),
            "pulse_rate": "PPS", "minutes": "Min On", "staff_minutes": "Staff Min",
            "sensation": ("Response", {"No response": "none", "Tingling": "sensory", "Twitch": "motor"}),
            "volts": "Volts", "charge_rate": "uC/sec", "frequency": "US MHz", "duty": "US Duty %",
            "intensity": "US W/cm2", "radiating_area": "ERA (cm2)", "status": ("Completed", DONE),
            "reason": ("Reason Not Done", NOT_DONE),
            "reaction": ("Adverse Rxn", {"None": "none", "Skin irritation": "skin_irritation", "Pain": "pain",
                                         "Burn": "burn", "Bleeding": "bleeding", "Other": "other"}),
            "therapist": "Therapist",
        }),
        "procedures": ("Wound Care Log.csv", {
            "wound": "Wound ID", "day": "Date of Service",
            "procedure": ("Service", {"Dsg change": "dressing", "Debride": "debridement", "Eval": "evaluation"}),
            "relief": ("TENS Pre-Tx", Y_N), "relief_minutes": "TENS Min", "pain_before": "Pain Pre",
            "pain_during": "Pain During", "pain_after": "Pain Post",
        }),
        "spans": ("Coverage and Orders.csv", {
            "resident": "Resident ID", "wound": "Wound ID", "span": ("Item", WHAT_HELD), "value": ("Detail", WHICH),
            "per_week": "Freq/Wk", "from_day": "Start", "to_day": "Stop",
        }),
        "departures": ("Discharges.csv", {
            "resident": "Resident ID", "wound": "Wound ID", "day": "D/C Date", "reason": ("Disposition", GONE),
            "returned": "Readmit Date",
        }),
    })  # fmt: skip
    says = "A folder of CSV files with headers in the trade's words and days as M/D/YYYY; nothing that is sent is lost."
    return _shape("trade_words", says, truth, _folder(truth, Style(padded=False), {}))


def _titled_workbook() -> Shape:
    truth = _places(None, {
        "wounds": ("Wound list", {
            "wound": "Wound", "resident": "Resident", "kind": ("Type", ETIOLOGY),
            "site": ("Body site", _capital(SITES)),
            "side": ("Side", {"Lt": "left", "Rt": "right", "Midline": "middle"}),
            "onset": "Onset date", "present_on_admission": ("Present on adm?", {"Yes": "yes", "No": "no"}),
        }),
        "measurements": ("Measurements", {
            "wound": "Wound", "day": "Measured on", "state": ("Open/closed", {"Open": "open", "Closed": "closed"}),
            "length": "Length cm", "width": "Width cm", "depth": "Depth cm", "stage": ("Stage", STAGED),
            "exudate": ("Exudate", DRAINAGE),
        }),
        "sessions": ("Modalities", {
            "wound": "Wound", "day": "Session date", "modality": ("Modality", {"EStim": "stimulation",
                                                                                "Ultrasound": "ultrasound"}),
            "setup": ("Electrodes", {"Mono": "monopolar", "Bi": "bipolar"}), "minutes": "Minutes on", "volts": "Peak V",
            "status": ("Done?", DONE), "therapist": "PT code",
        }),
        "departures": ("Out of facility", {
            "resident": "Resident", "day": "Left on", "reason": ("Why", GONE), "returned": "Back on",
        }),
    })  # fmt: skip
    says = (
        "A workbook with a sheet a table and real date cells, under merged titles, with blank rows, trailing blanks "
        "and the header again halfway; nothing that is sent is lost."
    )
    return _shape("titled_workbook", says, truth, _titled(truth, Style(typed=True)))


def _sheet_a_week() -> Shape:
    week, size = "Wk of *", "Size (LxWxD)"
    truth = _places("MM/DD/YYYY", {
        "measurements": (week, {
            "wound": "Wound", "day": "", "state": (size, HEALED), "length": size, "width": size, "depth": size,
            "stage": ("Stg", STAGED), "exudate": ("Drng", DRAINAGE),
        }),
        "sessions": ("Therapy log", {
            "wound": "Wound", "day": "Date", "modality": ("Tx", TREATMENT), "setup": ("Tx", SET_UP),
            "minutes": "Mins", "status": ("Done", DONE), "therapist": "PT",
        }),
        "wounds": ("Roster", {
            "wound": "Wound", "resident": "Res", "kind": ("Type", ETIOLOGY), "site": ("Where", _capital(SITES)),
            "side": ("L/R", L_R_M), "onset": "Found on", "present_on_admission": ("Came with it", Y_N),
        }),
        "residents": ("Roster", {"resident": "Res", "facility": "Bldg", "age": "Age", "diabetes": ("DM", Y_N)}),
    })  # fmt: skip
    for column in ("length", "width", "depth", "state"):
        truth["measurements", column] = replace(truth["measurements", column], how="in_one_cell")
    truth["measurements", "day"] = replace(truth["measurements", "day"], how="sheet_name", format=None)
    says = (
        "A workbook with a sheet a week, the size or 'healed' in one cell, then a therapy log, and a roster of wounds "
        "and people in one; of a measurement's day only the first day of its week is left, its year only in a title."
    )
    lost, decoys = [("measurements", "day")], {week: {"Comments": COMMENTS}}
    return _shape("sheet_a_week", says, truth, _weekly(truth, Style(padded=False)), lost, decoys)


def _one_flat_file() -> Shape:
    file = "Wound detail report.csv"
    truth = _places("MM/DD/YYYY", {
        "residents": (file, {
            "resident": "Resident No", "facility": "Facility Name", "age": "Age at Admit", "sex": ("Sex", F_M),
            "diabetes": ("Diabetic", {"Yes": "yes", "No": "no"}),
        }),
        "wounds": (file, {
            "wound": "Wound No", "resident": "Resident No", "kind": ("Wound Type", ETIOLOGY),
            "site": ("Anatomical Site", _capital(SITES)), "side": ("Body Side", _capital(L_R_M.values())),
            "onset": "Wound Onset", "present_on_admission": ("Present on Admission", {"Yes": "yes", "No": "no"}),
        }),
        "measurements": (file, {
            "wound": "Wound No", "day": "Event Date", "state": ("Wound State", {"Open": "open", "Healed": "closed"}),
            "length": "Wound Length", "width": "Wound Width", "depth": "Wound Depth", "stage": ("PI Stage", STAGED),
            "tissue": ("Tissue Type", WOUND_BED), "assessor": "Clinician",
        }),
        "sessions": (file, {
            "wound": "Wound No", "day": "Event Date", "modality": ("Modality", {"E-Stim": "stimulation",
                                                                                "Ultrasound": "ultrasound"}),
            "setup": ("Electrode Setup", _capital(_allowed("sessions", "setup"))), "minutes": "Device Minutes",
            "volts": "Voltage", "status": ("Visit Outcome", {"Completed": "given", "Cut short": "shortened",
                                                             "Missed": "missed"}),
            "reason": ("Outcome Reason", NOT_DONE), "therapist": "Treating Therapist",
        }),
    })  # fmt: skip
    rows = {"measurements": ("Record type", "Assessment"), "sessions": ("Record type", "Treatment")}
    says = (
        "One flat CSV file, a row a measurement or a session as its record type says, the wound's and the person's "
        "columns on every row, days with a clock at midnight; nothing that is sent is lost."
    )
    return _shape("one_flat_file", says, truth, _flat(truth, Style(clock=" 00:00"), rows), rows=rows)


def _day_a_column() -> Shape:
    file = "Wound tracker.csv"
    truth = _places("MM/DD/YYYY", {
        "wounds": (file, {
            "wound": "Wound", "resident": "Resident", "kind": ("Wound type", ETIOLOGY),
            "site": ("Location", _capital(SITES)), "side": ("Side", L_R_M), "onset": "First seen",
        }),
        "measurements": (file, {
            "wound": "Wound", "day": "", "state": ("", HEALED), "length": "", "width": "", "depth": "",
        }),
    })  # fmt: skip
    for column in ("length", "width", "depth", "state"):
        truth["measurements", column] = replace(truth["measurements", column], how="in_one_cell")
    truth["measurements", "day"] = replace(truth["measurements", "day"], how="across")
    says = (
        "One wide CSV file, a row a wound and a column a day of measurement whose header is the date, the size or "
        "'healed' in one cell; nothing that is sent is lost."
    )
    return _shape("day_a_column", says, truth, _wide(truth, Style()))


def _german() -> Shape:
    truth = _places("DD.MM.YYYY", {
        "residents": ("Bewohner.csv", {
            "resident": "Bewohner", "facility": "Einrichtung", "age": "Alter (Jahre)",
            "sex": ("Geschlecht", {"weiblich": "female", "männlich": "male"}), "diabetes": ("Diabetes", JA_NEIN),
            "mobility": ("Mobilität", {"gehfähig": "walks", "Rollstuhl": "chair", "bettlägerig": "bed"}),
            "risk_total": "Dekubitusrisiko (Punkte)", "weight_loss": ("Gewichtsverlust", JA_NEIN),
        }),
        "wounds": ("Wunden.csv", {
            "wound": "Wunde", "resident": "Bewohner", "kind": ("Wundart", DE_KIND), "site": ("Körperstelle", DE_SITE),
            "side": ("Körperseite", {"links": "left", "rechts": "right", "Mitte": "middle"}),
            "onset": "Entstanden am", "present_on_admission": ("Bei Aufnahme vorhanden", JA_NEIN),
        }),
        "measurements": ("Wundvermessung.csv", {
            "wound": "Wunde", "day": "Gemessen am", "state": ("Zustand", {"offen": "open", "verheilt": "closed"}),
            "length": "Länge (cm)", "width": "Breite (cm)", "depth": "Tiefe (cm)", "undermining": "Unterminierung (cm)",
            "stage": ("Kategorie", DE_STAGE), "tissue": ("Wundgrund", DE_TISSUE),
            "necrosis_share": ("Belag (Anteil)", "share"), "exudate": ("Exsudat", DE_EXUDATE),
            "assessor": "Erfasst von", "entered": "Eingegeben am",
        }),
        "sessions": ("Behandlungen.csv", {
            "wound": "Wunde", "day": "Behandelt am",
            "modality": ("Verfahren", {"Elektrostimulation": "stimulation", "Ultraschall": "ultrasound"}),
            "setup": ("Elektroden", {"einpolig": "monopolar", "zweipolig": "bipolar"}), "minutes": "Dauer (min)",
            "volts": "Spannung (V)", "frequency": "Frequenz (MHz)", "intensity": "Intensität (W/cm²)",
            "status": ("Durchgeführt", {"ja": "given", "verkürzt": "shortened", "nein": "missed"}),
            "reason": ("Ausfallgrund", DE_REASON), "therapist": "Therapeut",
        }),
        "departures": ("Abgänge.csv", {
            "resident": "Bewohner", "day": "Abgang am", "returned": "Rückkehr am",
            "reason": ("Grund", {"ausgezogen": "left", "Krankenhaus": "hospital", "verstorben": "died",
                                 "operativ verschlossen": "surgical_closure"}),
        }),
    })  # fmt: skip
    says = (
        "A folder of files with German headers and words, semicolons, decimal commas, DD.MM.YYYY and Latin-1; nothing "
        "that is sent is lost."
    )
    write = _folder(truth, Style(decimal=","), {}, separator=";", encoding="latin-1")
    return _shape("german_semicolons", says, truth, write)


def _spanish() -> Shape:
    truth = _places("DD/MM/YYYY", {
        "wounds": ("Heridas.csv", {
            "wound": "Herida", "resident": "Residente", "kind": ("Tipo de herida", ES_KIND),
            "site": ("Localización", ES_SITE),
            "side": ("Lado", {"izquierdo": "left", "derecho": "right", "central": "middle"}),
            "onset": "Fecha de inicio", "present_on_admission": ("Presente al ingreso", {"Sí": "yes", "No": "no"}),
        }),
        "measurements": ("Mediciones.csv", {
            "wound": "Herida", "day": "Fecha de medición",
            "state": ("Estado", {"abierta": "open", "cerrada": "closed"}), "length": "Largo (cm)",
            "width": "Ancho (cm)", "depth": "Profundidad (cm)", "stage": ("Estadio", ES_STAGE),
            "tissue": ("Tejido", ES_TISSUE), "necrosis_share": "Tejido no viable (%)",
            "exudate": ("Exudado", ES_EXUDATE), "assessor": "Evaluador",
        }),
        "sessions": ("Sesiones.csv", {
            "wound": "Herida", "day": "Fecha de sesión",
            "modality": ("Modalidad", {"Estimulación eléctrica": "stimulation", "Ultrasonido": "ultrasound"}),
            "setup": "Electrodos", "polarity": ("Polaridad", {"negativa": "negative", "positiva": "positive"}),
            "minutes": "Minutos", "volts": "Voltaje",
            "status": ("Realizada", {"Sí": "given", "Parcial": "shortened", "No": "missed"}),
            "reason": ("Motivo", ES_REASON), "therapist": "Terapeuta",
        }),
        "departures": ("Salidas.csv", {
            "resident": "Residente", "day": "Fecha de salida", "returned": "Fecha de regreso",
            "reason": ("Destino", {"domicilio": "left", "hospital": "hospital", "fallecimiento": "died",
                                   "cierre quirúrgico": "surgical_closure"}),
        }),
    })  # fmt: skip
    says = (
        "A folder of CSV files with Spanish headers and words, DD/MM/YYYY and UTF-8 with a byte order mark; nothing "
        "that is sent is lost."
    )
    return _shape("spanish_with_mark", says, truth, _folder(truth, Style(), {}, encoding="utf-8-sig"))


def _french() -> Shape:
    truth = _places("DD/MM/YYYY", {
        "residents": ("Résidents.txt", {
            "resident": "Résident", "facility": "Établissement", "age": "Âge",
            "sex": ("Sexe", {"femme": "female", "homme": "male"}), "diabetes": ("Diabète", OUI_NON),
            "mobility": ("Mobilité", {"marche": "walks", "fauteuil": "chair", "lit": "bed"}),
        }),
        "wounds": ("Plaies.txt", {
            "wound": "Plaie", "resident": "Résident", "kind": ("Type de plaie", FR_KIND),
            "site": ("Localisation", FR_SITE),
            "side": ("Côté", {"gauche": "left", "droite": "right", "milieu": "middle"}),
            "onset": "Date d'apparition", "present_on_admission": ("Présente à l'admission", OUI_NON),
        }),
        "measurements": ("Mesures.txt", {
            "wound": "Plaie", "day": "Date de mesure", "state": ("État", {"ouverte": "open", "fermée": "closed"}),
            "length": "Longueur (cm)", "width": "Largeur (cm)", "depth": "Profondeur (cm)",
            "stage": ("Stade", FR_STAGE), "tissue": ("Tissu", FR_TISSUE),
            "exudate": ("Exsudat", FR_EXUDATE), "assessor": "Évaluateur",
            "entered": "Date de saisie",
        }),
        "sessions": ("Séances.txt", {
            "wound": "Plaie", "day": "Date de séance",
            "modality": ("Technique", {"Électrostimulation": "stimulation", "Ultrasons": "ultrasound"}),
            "setup": ("Montage", {"monopolaire": "monopolar", "bipolaire": "bipolar"}), "minutes": "Durée (min)",
            "volts": "Tension (V)",
            "status": ("Réalisée", {"oui": "given", "écourtée": "shortened", "non": "missed"}),
            "therapist": "Thérapeute",
        }),
    })  # fmt: skip
    says = (
        "A folder of files with French headers and words, tabs, decimal commas, DD/MM/YYYY and UTF-16; nothing that is "
        "sent is lost."
    )
    write = _folder(truth, Style(decimal=","), {}, separator="\t", encoding="utf-16")
    return _shape("french_tabs", says, truth, write)


def _inches() -> Shape:
    truth = _places("MM/DD/YY", {
        "wounds": ("wounds_list.csv", {
            "wound": "Wound Code", "resident": "Resident Code", "kind": ("Cause", ETIOLOGY),
            "site": ("Body Location", _capital(SITES)), "side": ("Right/Left", L_R_M), "onset": "Start Date",
        }),
        "measurements": ("wound_measurements.csv", {
            "wound": "Wound Code", "day": "Visit Date", "state": ("Healed?", {"N": "open", "Y": "closed"}),
            "length": ("Length (in)", "in"), "width": ("Width (in)", "in"), "depth": ("Depth (in)", "in"),
            "stage": ("Stage", STAGED), "exudate": ("Exudate Amount", DRAINAGE), "assessor": "Nurse Code",
        }),
        "sessions": ("treatments.csv", {
            "wound": "Wound Code", "day": "Treatment Date",
            "modality": ("Treatment Type", {"Electrical stimulation": "stimulation", "Ultrasound": "ultrasound"}),
            "minutes": "Time On (min)", "staff_minutes": "Time With Patient (min)",
            "status": ("Treatment Given", DONE),
        }),
    })  # fmt: skip
    sizes = [("measurements", column) for column in ("length", "width", "depth")]
    says = (
        "A folder of CSV files with sizes in inches and days as MM/DD/YY; length, width and depth are rounded to the "
        "hundredth of an inch and so lose what is below it."
    )
    return _shape("inches", says, truth, _folder(truth, Style(), {}), lost=sizes)


def _codes() -> Shape:
    coded: dict[str, dict[str, tuple[str, Words]]] = {
        "residents": {
            "sex": ("sex", _coded(("male", "female"))), "diabetes": ("dm", _coded(("yes", "no"))),
            "mobility": ("mob", _coded(_allowed("residents", "mobility"))),
        },
        "wounds": {
            "kind": ("wtype", _coded(_allowed("wounds", "kind"))), "site": ("wloc", _coded(SITES)),
            "side": ("lat", _coded(("right", "left", "middle"))),
            "present_on_admission": ("poa", _coded(("yes", "no"))),
        },
        "measurements": {
            "state": ("status", _coded(("open", "closed"))),
            "stage": ("stg", _coded(_allowed("measurements", "stage"))),
            "tissue": ("tiss", _coded(_allowed("measurements", "tissue"))),
            "exudate": ("exud", _coded(_allowed("measurements", "exudate"), first=0)),
        },
        "sessions": {
            "modality": ("txtype", _coded(("stimulation", "ultrasound"))),
            "setup": ("elec", _coded(("monopolar", "bipolar"))),
            "status": ("txstat", _coded(("given", "shortened", "missed"))),
            "reason": ("txrsn", _coded(REASONS_MISSED)),
        },
        "departures": {"reason": ("outc", _coded(_allowed("departures", "reason")))},
    }  # fmt: skip
    plain: dict[str, tuple[str, dict[str, Given]]] = {
        "residents": ("person.csv", {"resident": "subj", "facility": "fac", "age": "age"}),
        "wounds": ("lesion.csv", {"wound": "lesion", "resident": "subj", "onset": "onset_day"}),
        "measurements": ("visit.csv", {
            "wound": "lesion", "day": "visit_day", "length": "len_cm", "width": "wid_cm", "depth": "dep_cm",
        }),
        "sessions": ("tx.csv", {"wound": "lesion", "day": "tx_day", "minutes": "dur_min", "therapist": "prov"}),
        "departures": ("exit.csv", {"resident": "subj", "day": "exit_day", "returned": "return_day"}),
    }  # fmt: skip
    tables = {table: (file, columns | coded[table]) for table, (file, columns) in plain.items()}
    truth = _places(DAY_NUMBER, tables)
    says = (
        "A folder of CSV files with day numbers counted from a day that is not told and words as codes that are "
        "explained nowhere; nothing that is sent is lost."
    )
    unknowable = [(table, column) for table, columns in coded.items() for column in columns]
    return _shape("codes_unexplained", says, truth, _folder(truth, Style(), {}), unknowable=unknowable)


def _millimetres() -> Shape:
    truth = _places("YYYY-MM-DD", {
        "wounds": ("Wound register.csv", {
            "wound": "Wound reference", "resident": "Person reference", "kind": ("Wound category", ETIOLOGY),
            "site": ("Anatomical location", _capital(SITES)), "side": ("Side of body", _capital(L_R_M.values())),
            "onset": "First observed",
            "present_on_admission": ("Acquired before admission", {"Yes": "yes", "No": "no"}),
        }),
        "measurements": ("Wound measurements.csv", {
            "wound": "Wound reference", "day": "Observed",
            "state": ("Closure", {"Not closed": "open", "Closed": "closed"}),
            "length": ("Length (mm)", "mm"), "width": ("Width (mm)", "mm"), "depth": ("Depth (mm)", "mm"),
            "undermining": ("Undermining (mm)", "mm"), "tissue": ("Predominant tissue", WOUND_BED),
            "entered": "Recorded",
        }),
        "procedures": ("Wound care.csv", {
            "wound": "Wound reference", "day": "Performed", "procedure": ("Procedure performed", {
                "Dressing change": "dressing", "Sharp debridement": "debridement", "Wound evaluation": "evaluation"}),
            "pain_before": "Pain score before", "pain_during": "Pain score during", "pain_after": "Pain score after",
        }),
    })  # fmt: skip
    says = (
        "A folder of CSV files with sizes in millimetres as the headers say and ISO days; nothing that is sent is lost."
    )
    return _shape("millimetres", says, truth, _folder(truth, Style(), {}))


def _capitals() -> Shape:
    truth = _places(EXCEL_SERIAL, {
        "residents": ("RESIDENT.csv", {
            "resident": "RES_ID", "facility": "FAC_CD", "age": "AGE_YRS", "sex": ("SEX_CD", F_M),
            "diabetes": ("DM_IND", Y_N), "risk_total": "RISK_TOT",
            "mobility": ("MOB_CD", {"AMB": "walks", "WC": "chair", "BED": "bed"}),
        }),
        "wounds": ("WOUND.csv", {
            "wound": "WND_ID", "resident": "RES_ID", "site": ("SITE_CD", SITE_CODES), "side": ("LAT_CD", L_R_M),
            "kind": ("ETIOL_CD", {"PI": "pressure_injury", "VEN": "venous", "ART": "arterial", "DFU": "diabetic_foot",
                                  "SURG": "surgical", "OTH": "other"}),
            "onset": "ONSET_DT", "present_on_admission": ("POA_IND", Y_N),
        }),
        "measurements": ("ASSESSMENT.csv", {
            "wound": "WND_ID", "day": "ASMT_DT", "state": ("WND_STAT", {"OPN": "open", "CLSD": "closed"}),
            "length": "LEN_CM", "width": "WID_CM", "depth": "DEP_CM", "undermining": "UNDRM_CM",
            "tunnelling": "TUNL_CM", "stage": ("STG_CD", {"1": "1", "2": "2", "3": "3", "4": "4", "UN": "unstageable",
                                                          "DTI": "deep_tissue", "MUC": "mucosal"}),
            "tissue": ("TISS_TYP", {"CLSD": "closed", "EPI": "epithelial", "GRAN": "granulation", "SLGH": "slough",
                                    "NECR": "necrotic"}),
            "necrosis_share": "NECR_PCT", "assessor": "ASSR_ID", "entered": "ENTRY_DT",
            "exudate": ("EXUD_AMT", {"NONE": "none", "LT": "light", "MOD": "moderate", "HVY": "heavy"}),
        }),
        "sessions": ("TREATMENT.csv", {
            "wound": "WND_ID", "day": "TX_DT", "modality": ("TX_TYPE", {"ESTIM": "stimulation", "US": "ultrasound"}),
            "setup": ("ELEC_CFG", {"MONO": "monopolar", "BIP": "bipolar"}),
            "polarity": ("POLAR", {"NEG": "negative", "POS": "positive", "ALT": "alternating"}), "pulse_rate": "PPS",
            "minutes": "MIN_ON", "staff_minutes": "STAFF_MIN", "volts": "PK_VOLT", "frequency": ("US_FREQ_KHZ", "khz"),
            "status": ("TX_STAT", {"GVN": "given", "SHRT": "shortened", "MISS": "missed"}),
            "reason": ("RSN_CD", REASON_CODES), "therapist": "THER_ID",
        }),
        "departures": ("DISCHARGE.csv", {
            "resident": "RES_ID", "day": "DC_DT", "returned": "RET_DT",
            "reason": ("DC_DISP", {"HOME": "left", "HOSP": "hospital", "EXP": "died", "SURG": "surgical_closure"}),
        }),
    })  # fmt: skip
    says = (
        "A folder of CSV files with abbreviated headers in capitals, Excel's serial numbers for days and NULL for "
        "blanks; nothing that is sent is lost."
    )
    return _shape("capitals_and_serials", says, truth, _folder(truth, Style(blank="NULL"), {}))


def _therapy_log() -> Shape:
    site = {word: meant for word, (meant, _) in LOGGED.items()}
    truth = _places("MM/DD/YYYY", {
        "residents": ("Residents.csv", {"resident": "Resident code", "facility": "Home", "age": "Age"}),
        "wounds": ("Wounds.csv", {
            "wound": "Wound code", "resident": "Resident code", "kind": ("Wound type", ETIOLOGY),
            "site": ("Wound location", _capital(SITES)), "side": ("Wound side", L_R_M), "onset": "Onset",
        }),
        "measurements": ("Wound rounds.csv", {
            "wound": "Wound code", "day": "Round date", "state": ("Status", {"Open": "open", "Healed": "closed"}),
            "length": "Length", "width": "Width", "depth": "Depth", "stage": ("Stage", STAGED),
        }),
        "sessions": ("Therapy log.csv", {
            "resident": "Pt", "site": ("Area treated", site), "day": "DOS", "modality": ("Tx desc", TREATMENT),
            "setup": ("Tx desc", SET_UP), "minutes": "Tx min", "status": ("Seen", DONE),
            "reason": ("If not, why", NOT_DONE), "therapist": "Tx by",
        }),
    })  # fmt: skip
    # The side stands in the same words; no column of ours holds it for a session.
    side = Truth("Therapy log.csv", "Area treated", values={word: side for word, (_, side) in LOGGED.items()})
    says = (
        "A folder of CSV files whose therapy log names resident, site and side as a therapist writes them and no "
        "wound; which wound was treated is lost, and of sessions the side has no column of ours."
    )
    write = _folder({**truth, ("sessions", "side"): side}, Style(), {}, prepare=_without_wound)
    lost = [("sessions", "resident"), ("sessions", "site")]
    return _shape("sessions_without_wound", says, truth, write, lost=lost)


def _identifiers() -> Shape:
    truth = _places("MM/DD/YYYY", {
        "residents": ("Residents.csv", {
            "resident": "Study code", "facility": "Community", "sex": ("Sex", F_M), "diabetes": ("Diabetes Y/N", Y_N),
            "weight_loss": ("Wt loss (1=yes)", ONE_ZERO), "age": "Age",
        }),
        "wounds": ("Wounds.csv", {
            "wound": "Wound code", "resident": "Study code", "kind": ("Wound type", ETIOLOGY),
            "site": ("Site", _capital(SITES)), "side": ("Side", L_R_M), "onset": "Onset date",
            "present_on_admission": ("POA (1/0)", ONE_ZERO),
        }),
        "measurements": ("Assessments.csv", {
            "wound": "Wound code", "day": "Assessment date", "stage": ("Staging", STAGE_WORDS),
            "state": ("Healed (1/0)", {"1": "closed", "0": "open"}), "length": "Length (cm)", "width": "Width (cm)",
            "depth": "Depth (cm)", "exudate": ("Drainage", DRAINAGE),
        }),
        "procedures": ("Procedures.csv", {
            "wound": "Wound code", "day": "Procedure date", "relief": ("Pain stim before", Y_N),
            "procedure": ("Procedure", _capital(_allowed("procedures", "procedure"))), "pain_before": "Pain before",
            "pain_after": "Pain after",
        }),
    })  # fmt: skip
    decoys = {
        "Residents.csv": IDENTIFIERS | {key: FREE_TEXT[key] for key in ("SSN last 4", "Next of kin phone")},
        "Wounds.csv": {key: IDENTIFIERS[key] for key in ("Last Name", "MRN")},
        "Assessments.csv": {"MRN": IDENTIFIERS["MRN"], "Notes": FREE_TEXT["Notes"]},
        "Procedures.csv": {"Pain comment": FREE_TEXT["Pain comment"]},
    }
    says = (
        "A folder of CSV files with flags as Y, N, 1 and 0, stages in words, N/A for blanks, and names, record "
        "numbers, births and notes that must stay out; nothing that is sent is lost."
    )
    write = _folder(truth, Style(blank="N/A", padded=False), decoys)
    return _shape("flags_and_identifiers", says, truth, write, decoys=decoys)


def _misleading() -> Shape:
    truth = _places("MM/DD/YYYY", {
        "residents": ("Roster.csv", {
            "resident": "Person", "age": "Age of person", "sex": ("Sex", F_M),
            "mobility": ("How person moves", {"On foot": "walks", "Wheelchair": "chair", "In bed": "bed"}),
        }),
        "wounds": ("Wounds.csv", {
            "wound": "Wound", "resident": "Person", "kind": ("Type of wound", ETIOLOGY),
            "site": ("Place on body", _capital(SITES)), "side": ("Side of body", _capital(L_R_M.values())),
            "onset": "Date found",
        }),
        "measurements": ("Rounds.csv", {
            "wound": "Wound", "day": "Date", "entered": "Date entered",
            "state": ("Wound is", {"open": "open", "closed over": "closed"}), "length": "Length of wound",
            "width": "Width of wound", "depth": "Depth of wound", "stage": ("Stage of wound", STAGED),
        }),
        "departures": ("Moves.csv", {
            "resident": "Person", "day": "Date", "returned": "Date back",
            "reason": ("Reason for move", {"Home": "left", "Hospital": "hospital", "Passed": "died",
                                           "Closed in OR": "surgical_closure"}),
        }),
    })  # fmt: skip
    decoys = {
        "Roster.csv": MISLEADING_PEOPLE | {"Date of birth": BIRTHS},
        "Wounds.csv": MISLEADING_WOUNDS | {"Date of birth": BIRTHS},
        "Rounds.csv": MISLEADING,
        "Moves.csv": MISLEADING_MOVES | {"Date of birth": BIRTHS},
    }
    says = (
        "A folder of CSV files whose headers mislead: Date means one thing in one file and another in the next, and "
        "lengths, widths, depths, stages and states of other things stand beside the wound's; nothing that is sent is "
        "lost."
    )
    return _shape("misleading_headers", says, truth, _folder(truth, Style(), decoys), decoys=decoys)


def _wound_numbers() -> Shape:
    name = "Resident + Wound #"
    truth = _places("DD-MON-YY", {
        "wounds": ("Wounds.csv", {
            "wound": name, "resident": "Resident", "kind": ("Wound type", ETIOLOGY), "site": ("Site", _capital(SITES)),
            "side": ("Side", L_R_M), "onset": "Onset",
        }),
        "measurements": ("Measurements.csv", {
            "wound": name, "day": "Date", "state": ("Status", {"O": "open", "H": "closed"}), "length": "L",
            "width": "W", "depth": "D", "stage": ("Stg", STAGED),
        }),
        "sessions": ("Sessions.csv", {
            "wound": name, "day": "Date", "modality": ("Modality", {"ES": "stimulation", "US": "ultrasound"}),
            "setup": ("Set-up", {"Mono": "monopolar", "Bi": "bipolar"}), "minutes": "Min",
            "status": ("Done", DONE), "therapist": "PT",
        }),
        "departures": ("Departures.csv", {"resident": "Resident", "day": "Date", "reason": ("Reason", GONE),
                                          "returned": "Return"}),
    })  # fmt: skip
    lost = [key for key, place in truth.items() if key[1] == "wound"]
    truth |= {key: replace(truth[key], how="joined") for key in lost}
    says = (
        "A folder of CSV files in which a wound has only a number that begins anew with each resident, days as "
        "DD-MON-YY; our wound pseudonyms are lost, those joined from both columns name the same wounds."
    )
    write = _folder(truth, Style(), {}, prepare=_numbered)
    return _shape("numbered_within_resident", says, truth, write, lost=lost)


def _group_headers() -> Shape:
    truth = _places("MM-DD-YYYY", {
        "wounds": ("Wounds", {
            "wound": "Wound/ID", "kind": ("Wound/Type", ETIOLOGY), "site": ("Wound/Site", _capital(SITES)),
            "side": ("Wound/Side", L_R_M), "resident": "Resident/ID",
            "present_on_admission": ("Admission/Present", Y_N), "onset": "Admission/Found",
        }),
        "measurements": ("Rounds", {
            "wound": "Wound/ID", "day": "Assessment/Date",
            "state": ("Assessment/Status", {"Open": "open", "Healed": "closed"}), "stage": ("Assessment/Stage", STAGED),
            "length": "Size (cm)/L", "width": "Size (cm)/W", "depth": "Size (cm)/D", "assessor": "Entry/By",
            "entered": "Entry/Date",
        }),
    })  # fmt: skip
    truth = {key: _split_header(place) for key, place in truth.items()}
    says = (
        "A workbook with a row of merged group headers above the headers, so that ID and Date each stand twice in a "
        "sheet; nothing that is sent is lost."
    )
    return _shape("two_rows_of_headers", says, truth, _two_headers(truth, Style(typed=True)))


def _split_header(place: Truth) -> Truth:
    under, header = place.header.split("/")
    return replace(place, under=under, header=header)


def _nearly_ours() -> Shape:
    kept = {name: pd.read_csv(CLEAN / f"{name}.csv", nrows=0).columns for name in TABLES}
    tables = {
        table.name: (f"{table.name.capitalize()}.csv", {
            column.name: (header, _capital(column.allowed)) if column.kind == "choice" else header
            for column in table.columns
            if column.name in kept[table.name]
            for header in [column.name.replace("_", " ").title()]
        })
        for table in TABLES.values()
    }  # fmt: skip
    says = (
        "A folder of CSV files with every column of the tidy export, in capitals and with blanks where ours have none, "
        "days as DD-MON-YYYY; nothing is lost."
    )
    truth = _places("DD-MON-YYYY", tables)
    return _shape("nearly_ours", says, truth, _folder(truth, Style(), {}))


SHAPES: tuple[Shape, ...] = (
    _trade_words(),
    _titled_workbook(),
    _sheet_a_week(),
    _one_flat_file(),
    _day_a_column(),
    _german(),
    _spanish(),
    _french(),
    _inches(),
    _codes(),
    _millimetres(),
    _capitals(),
    _therapy_log(),
    _identifiers(),
    _misleading(),
    _wound_numbers(),
    _group_headers(),
    _nearly_ours(),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="where a folder for each shape is made")
    parser.add_argument("--residents", type=int, default=60, help="the first so many, with all their rows")
    given = parser.parse_args()
    for shape in SHAPES:
        print(f"{shape.write(given.folder / shape.name, tidy(given.residents))}: {shape.says}")


if __name__ == "__main__":
    main()
