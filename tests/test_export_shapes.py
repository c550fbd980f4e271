"""The strange exports and their truth belong together: undone by the truth, the files hold the tidy cells again."""

import re
import warnings
from datetime import date, datetime, timedelta
from fnmatch import fnmatch

import openpyxl
import pandas as pd
import pytest

from benchmarks.export_shapes import BY_HEADER, DAY_ZERO, EXCEL_SERIAL, SHAPES, WAYS, tidy
from kit.intake.cells import NOT_KNOWN
from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER
from kit.vocabulary import TABLES, UNITS

SHAPE = {shape.name: shape for shape in SHAPES}
CSV = {  # shape: encoding, separator, decimal mark; the others are plain
    "german_semicolons": ("latin-1", ";", ","),
    "spanish_with_mark": ("utf-8-sig", ",", "."),
    "french_tabs": ("utf-16", "\t", ","),
}
SIZE = re.compile(r"([\d.]+) ?[xX] ?([\d.]+) ?[xX] ?([\d.]+)(?: cm)?")
HUNDREDTH_INCH = 0.0127  # half of it, in cm
each_shape = pytest.mark.parametrize("shape", SHAPES, ids=list(SHAPE))


@pytest.fixture(scope="module")
def tables():
    return tidy()


@pytest.fixture(scope="module")
def sent(tables, tmp_path_factory):
    """The rows of every file or sheet of every shape, as lists of text."""
    return {shape.name: grids(shape, shape.write(tmp_path_factory.mktemp(shape.name), tables)) for shape in SHAPES}


def grids(shape, export):
    if export.is_file():
        book = openpyxl.load_workbook(export)
        return {sheet.title: [[text(cell) for cell in row] for row in sheet.values] for sheet in book}
    return {file.name: csv_rows(shape, file) for file in export.iterdir()}


def csv_rows(shape, file):
    encoding, separator, _ = CSV.get(shape.name, ("utf-8", ",", "."))
    return pd.read_csv(
        file, header=None, dtype=str, keep_default_na=False, encoding=encoding, sep=separator
    ).values.tolist()


def text(cell):
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    return "" if cell is None else str(cell).strip()


def headers(place):
    return place.header.split(" + ") if place.how == "joined" else [place.header]


def body(grid, needed):
    """The row that holds all these headers, the row above it filled to the right, and what stands below both."""
    top = next(n for n, row in enumerate(grid) if needed <= set(row))
    above = pd.Series(grid[top - 1] if top else [""] * len(grid[0])).replace("", None).ffill().fillna("").tolist()
    rows = [row for row in grid[top + 1 :] if sum(map(bool, row)) > 1 and row != grid[top]]
    return above, grid[top], rows


def part(sent, shape, table):
    """Every place of a table that a header names, each with its cells: {our column: (place, cells)}."""
    places = {column: place for (name, column), place in shape.truth.items() if name == table and place.header}
    where = next(iter(places.values())).file_or_sheet
    above, head, rows = body(
        sent[shape.name][where], {header for place in places.values() for header in headers(place)}
    )
    if table in shape.rows:
        header, word = shape.rows[table]
        rows = [row for row in rows if row[head.index(header)] == word]
    return {column: (place, cells_of(rows, above, head, place)) for column, place in places.items()}


def cells_of(rows, above, head, place):
    """The cells below a header; those of a joined place put together."""
    at = [
        next(n for n, name in enumerate(head) if name == header and (not place.under or above[n] == place.under))
        for header in headers(place)
    ]
    return [" + ".join(row[n] for n in at) for row in rows]


def undone(cell, place, column, decimal):
    """What a cell of theirs says in our words and units; a number as a number."""
    if cell in place.values:
        return place.values[cell]
    if cell.lower() in NOT_KNOWN:
        return ""
    if column.kind == "day":
        return read_day(cell, place.format)
    if column.kind == "number":
        assert decimal == "." or "." not in cell
        number = float(cell.replace(decimal, "."))
        return round(number * UNITS[column.unit][(place.unit or column.unit).lower()], 9)
    return cell


def read_day(cell, written):
    begins = {EXCEL_SERIAL: date(1899, 12, 30), DAY_NUMBER: DAY_ZERO}.get(written)
    if begins:
        return (begins + timedelta(days=int(cell))).isoformat()
    return datetime.strptime(cell.split(" ")[0], DAY_FORMATS[written or "YYYY-MM-DD"]).date().isoformat()


def expected(frame, column):
    numbers = column.kind == "number"
    return [float(cell) if numbers and cell else cell for cell in frame[column.name]]


def read_back(sent, shape, table):
    """The columns of a table that stand below headers, undone."""
    decimal = CSV.get(shape.name, ("", "", "."))[2]
    found = {}
    for name, (place, cells) in part(sent, shape, table).items():
        column = TABLES[table].column(name)
        if place.how == "column":
            # where two of our columns share a header, a word that is not this one's tells it nothing
            shared = {word for (_, other), p in shape.truth.items() if p.header == place.header for word in p.values}
            cells = ["" if cell in shared - set(place.values) and place.values else cell for cell in cells]
            found[name] = [undone(cell, place, column, decimal) for cell in cells]
    return pd.DataFrame(found, dtype=object)


def repeated(shape, table):
    """Whether this table's rows stand in a file of longer rows."""
    files = {name: place.file_or_sheet for (name, _), place in shape.truth.items()}
    return sum(file == files[table] for file in files.values()) > 1 and table not in shape.rows


def tables_of(shape):
    return list(dict.fromkeys(table for table, _ in shape.truth))


STRAIGHT = [
    (shape, table)
    for shape in SHAPES
    for table in tables_of(shape)
    if all(place.how in BY_HEADER for (name, _), place in shape.truth.items() if name == table)
]


@each_shape
def test_a_shape_is_written_without_a_warning(shape, tables, tmp_path):
    before = {name: frame.copy() for name, frame in tables.items()}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        export = shape.write(tmp_path / "export", tables)
    assert export.exists() and (export.is_dir() or export.suffix == ".xlsx")
    assert all(frame.equals(tables[name]) for name, frame in before.items())


@each_shape
def test_the_headers_of_the_truth_and_of_the_decoys_stand_in_the_files(shape, sent):
    files = sent[shape.name]
    for place in shape.truth.values():
        fitting = [grid for name, grid in files.items() if fnmatch(name, place.file_or_sheet)]
        assert fitting
        for grid in fitting:
            assert not place.header or any(set(headers(place)) <= set(row) for row in grid)
    assert shape.decoys <= {cell for grid in files.values() for row in grid for cell in row}


@each_shape
def test_the_truth_speaks_of_our_columns_in_words_units_and_formats_that_are_known(shape):
    for (table, name), place in shape.truth.items():
        column = TABLES[table].column(name)
        assert place.how in WAYS
        assert place.unit is None or place.unit in UNITS[column.unit]
        assert place.format is None or (column.kind == "day" and place.format in [*DAY_FORMATS, EXCEL_SERIAL])
        assert set(place.values.values()) <= set(column.allowed)
    assert shape.lossless | shape.unknowable <= set(shape.truth)
    assert not shape.decoys & {header for place in shape.truth.values() for header in headers(place)}
    for table in tables_of(shape):
        needed = {(table, column.name) for column in TABLES[table].columns if column.required}
        assert needed <= set(shape.truth)


@pytest.mark.parametrize(("shape", "table"), STRAIGHT, ids=[f"{shape.name}-{table}" for shape, table in STRAIGHT])
def test_undone_by_the_truth_the_tidy_cells_are_there_row_for_row(shape, table, sent, tables):
    back = read_back(sent, shape, table)
    kept = [name for name in back if (table, name) in shape.lossless]
    tidy_rows = list(zip(*(expected(tables[table], TABLES[table].column(name)) for name in kept), strict=True))
    rows = list(back[kept].itertuples(index=False, name=None))
    assert kept and tidy_rows
    if repeated(shape, table) or table in shape.rows:
        rows, tidy_rows = sorted(set(rows), key=str), sorted(set(tidy_rows), key=str)
        assert len(tidy_rows) == len(tables[table])
    assert rows == tidy_rows


@pytest.mark.parametrize("column", ["length", "width", "depth"])
def test_inches_lose_no_more_than_their_hundredths(column, sent, tables):
    back = pd.to_numeric(read_back(sent, SHAPE["inches"], "measurements")[column])
    lost = back - pd.to_numeric(tables["measurements"][column])
    assert back.notna().sum() > 500 and lost.abs().max() < HUNDREDTH_INCH + 1e-9


def test_a_sheet_a_week_holds_every_measurement_in_the_week_of_its_day(sent, tables):
    shape, rows = SHAPE["sheet_a_week"], []
    for name, grid in sent["sheet_a_week"].items():
        if fnmatch(name, "Wk of *"):
            month, day, year = map(int, re.search(r"week of (\d+)/(\d+)/(\d+)", grid[0][0]).groups())
            assert name == f"Wk of {month}-{day}"
            _, head, lines = body(grid, {"Wound", "Size (LxWxD)", "Stg", "Drng"})
            at = [head.index(header) for header in ("Wound", "Size (LxWxD)", "Stg", "Drng")]
            rows += [(date(year, month, day), *(line[n] for n in at)) for line in lines]
    assert len(rows) == len(tables["measurements"])
    truth = {column: place for (table, column), place in shape.truth.items() if table == "measurements"}
    in_order = sorted(rows, key=lambda row: row[:2][::-1])
    for (week, wound, size, stage, exudate), tidy_row in zip(in_order, measured(tables), strict=True):
        assert wound == tidy_row.wound and 0 <= (date.fromisoformat(tidy_row.day) - week).days < 7
        assert read_size(size, truth["state"].values) == size_of(tidy_row)
        assert truth["stage"].values.get(stage, stage) == tidy_row.stage
        assert truth["exudate"].values[exudate] == tidy_row.exudate


def test_a_day_a_column_holds_every_measurement(sent, tables):
    (head, *lines), shape = sent["day_a_column"]["Wound tracker.csv"], SHAPE["day_a_column"]
    days = [n for n, header in enumerate(head) if re.fullmatch(r"\d\d/\d\d/\d{4}", header)]
    written, words = shape.truth["measurements", "day"].format, shape.truth["measurements", "state"].values
    found = [
        (line[0], read_day(head[n], written), read_size(line[n], words)) for line in lines for n in days if line[n]
    ]
    assert sorted(found) == [(row.wound, row.day, size_of(row)) for row in measured(tables)]


def measured(tables):
    return tables["measurements"].sort_values(["wound", "day"]).itertuples()


def size_of(row):
    return (row.state, row.length, row.width, row.depth)


def read_size(cell, words):
    return (words[cell], "", "", "") if cell in words else ("open", *SIZE.fullmatch(cell).groups())


def test_joined_columns_name_the_wounds_one_to_one(sent, tables):
    shape = SHAPE["numbered_within_resident"]
    for table in ("wounds", "measurements", "sessions"):
        _, joined = part(sent, shape, table)["wound"]
        pairs = set(zip(joined, tables[table]["wound"], strict=True))
        assert len(pairs) == len({name for name, _ in pairs}) == len({name for _, name in pairs})


def test_a_log_without_wounds_names_the_person_and_the_place(sent, tables):
    shape, wounds = SHAPE["sessions_without_wound"], tables["wounds"].set_index("wound")
    back = read_back(sent, shape, "sessions")
    for column in ("resident", "site"):
        assert back[column].tolist() == tables["sessions"]["wound"].map(wounds[column]).tolist()


def test_two_rows_of_headers_repeat_what_only_the_upper_row_tells_apart():
    truth = SHAPE["two_rows_of_headers"].truth
    day, entered = truth["measurements", "day"], truth["measurements", "entered"]
    assert day.header == entered.header and day.under != entered.under


def test_encodings_are_those_that_the_shapes_speak_of(tables, tmp_path):
    def opening(shape, file):
        return (SHAPE[shape].write(tmp_path / shape, tables) / file).read_bytes()

    assert opening("spanish_with_mark", "Heridas.csv").startswith(b"\xef\xbb\xbf")
    assert opening("french_tabs", "Plaies.txt")[:2] in (b"\xff\xfe", b"\xfe\xff")
    with pytest.raises(UnicodeDecodeError):
        opening("german_semicolons", "Wunden.csv").decode("utf-8")


def test_only_the_first_residents_are_taken_with_all_their_rows():
    few, everybody = tidy(5), tidy(None)
    assert few["residents"].equals(everybody["residents"][:5])
    wounds = few["wounds"]
    assert wounds["resident"].isin(few["residents"]["resident"]).all()
    of_them = everybody["measurements"]["wound"].isin(wounds["wound"])
    assert len(few["measurements"]) == of_them.sum() > 0
    assert few["spans"].query("wound != ''")["wound"].isin(wounds["wound"]).all()


def test_there_are_shapes_of_every_way_with_names_of_their_own():
    assert len(SHAPES) == len(SHAPE) >= 14
    assert {place.how for shape in SHAPES for place in shape.truth.values()} == set(WAYS)
    assert all(shape.says.endswith(".") and shape.says.count(". ") == 0 for shape in SHAPES)
