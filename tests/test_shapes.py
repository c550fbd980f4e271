"""Every strange export, read by its map, goes through to the same study as its tidy original, cell for cell."""

import re
from collections import Counter
from datetime import date

import pytest

from benchmarks.export_shapes import DAY_ZERO, SHAPES, tidy
from benchmarks.mapping import judged
from kit.intake.drafted import as_toml
from kit.intake.drafting import draft
from kit.intake.mapping import DAY_NUMBER, Across, Only, Place, TableMap
from kit.intake.readers import read_export
from kit.intake.scanning import scan
from kit.plan import EPOCH, Plan
from kit.study import study_of
from kit.vocabulary import TABLES

RESIDENTS = 25
FOOTERS = {"titled_workbook": 1}  # rows below a sheet's last that say who printed it
ROUNDED = 0.05  # cm, beyond which a size that was lost to hundredths of an inch would be another size
SHAPE = {shape.name: shape for shape in SHAPES}
WINDOWS = {"quarter_begins": date(2026, 4, 1), "cutoff": date(2026, 6, 30)}
REGIMENS = [{"name": "Stimulation", "modality": "stimulation"}, {"name": "Ultrasound", "modality": "ultrasound"}]


def plan(days=None):
    """Without a calendar the same windows, counted from the day that is nought in the export."""
    program = {"name": "Shapes", "basis": "limited_data_set"}
    windows = WINDOWS if days is None else {name: (moment - days).days for name, moment in WINDOWS.items()}
    return Plan.model_validate({"program": program, "windows": windows, "regimens": REGIMENS})


@pytest.fixture(scope="module")
def tables():
    return tidy(RESIDENTS)


@pytest.fixture(scope="module")
def original(tables, tmp_path_factory):
    folder = tmp_path_factory.mktemp("tidy")
    for name, frame in tables.items():
        frame.to_csv(folder / f"{name}.csv", index=False)
    return study_of(read_export(folder), plan())


def told(shape, drafted):
    """The map that a person would write who knows where everything stands."""
    places = {}
    for (table, column), truth in shape.truth.items():
        places.setdefault(table, {})[column] = truth
    return {table: table_map(shape, table, theirs, drafted) for table, theirs in places.items()}


def table_map(shape, table, places, drafted):
    columns = {}
    for name, truth in places.items():
        column = {"length": "dimensions", "width": "dimensions", "depth": "dimensions", "state": "dimensions"}.get(name)
        name = column if truth.how == "in_one_cell" and column else name
        if truth.header or truth.how == "sheet_name":
            columns[name] = place_of(truth)
    across = next((truth for truth in places.values() if truth.how == "across"), None)
    where = next(truth.file_or_sheet for truth in places.values())
    only = shape.rows.get(table)
    return TableMap(
        **({"file": where} if "." in where else {"sheet": where}),
        decimal=drafted.mapping[table].decimal if table in drafted.mapping else "point",
        only=Only(column=only[0], words=(only[1],)) if only else None,
        across=Across(format=across.format) if across else None,
        columns=columns,
    )


def place_of(truth):
    if truth.how == "sheet_name":
        return Place(sheet_name=True, format="M-D", year=2025)
    if truth.how == "joined":
        return Place(join=truth.header.split(" + "))
    header = f"{truth.under} {truth.header}".strip()
    return Place(column=header, unit=truth.unit and truth.unit.lower(), format=truth.format, values=truth.values)


@pytest.fixture(scope="module")
def sent(tables, tmp_path_factory):
    """The file or folder of each shape, and the map that is drafted from it."""
    exports = {name: shape.write(tmp_path_factory.mktemp(name), tables) for name, shape in SHAPE.items()}
    return {name: (export, draft(export)) for name, export in exports.items()}


@pytest.fixture(scope="module", params=list(SHAPE))
def arrived(request, sent):
    """A shape, and the study of what was sent in it."""
    shape = SHAPE[request.param]
    export, drafted = sent[shape.name]
    numbered = any(truth.format == DAY_NUMBER for truth in shape.truth.values())
    raw = read_export(export, told(shape, drafted))
    return shape, study_of(raw, plan(DAY_ZERO if numbered else None)), (DAY_ZERO - EPOCH).days if numbered else 0


def rows_of(study, table, columns, later=0):
    """The rows of a table, without order; days counted from the calendar's own nought."""
    frame = getattr(study, table)[list(columns)].astype(object)
    for column in columns:
        if TABLES[table].column(column).kind == "day":
            frame[column] = frame[column] + later
        if TABLES[table].column(column).kind == "number":
            frame[column] = frame[column].astype(float).round(6)
    frame = frame.astype(object)
    return Counter(map(tuple, frame.where(frame.notna(), None).to_numpy().tolist()))


def test_what_was_not_lost_in_the_shape_arrives_cell_for_cell(arrived, original):
    shape, study, later = arrived
    for table in TABLES:
        columns = sorted(column for name, column in shape.lossless if name == table)
        if columns:
            came, sent = rows_of(study, table, columns, later), rows_of(original, table, columns)
            assert not came - sent, table
            aside = study.account.set_index("table").loc[table, "set_aside"] - FOOTERS.get(shape.name, 0)
            assert (sent - came).total() == aside, table


def test_no_row_is_lost(arrived, original):
    shape, study, _ = arrived
    rows = original.account.set_index("table")["rows_in"]
    for name, table in study.account.set_index("table").iterrows():
        if any(name == sent for sent, _ in shape.truth):
            assert table["rows_in"] == rows[name] + FOOTERS.get(shape.name, 0), name


@pytest.mark.parametrize("name", ["inches"])
def test_what_was_rounded_arrives_as_near_as_it_was_sent(name, sent, original):
    export, drafted = sent[name]
    study = study_of(read_export(export, told(SHAPE[name], drafted)), plan())
    both = study.measurements.merge(original.measurements, on=["wound", "day"])
    assert len(both) == len(original.measurements)
    for side in ("length", "width"):
        assert (both[f"{side}_x"] - both[f"{side}_y"]).abs().max() < ROUNDED


# --- the drafted map ---


@pytest.mark.parametrize("name", list(SHAPE))
def test_no_column_is_placed_wrong(name, sent):
    found = judged(SHAPE[name], sent[name][1])
    assert found["wrong"] == []
    assert len(found["right"]) >= 0.8 * len(SHAPE[name].truth)


@pytest.mark.parametrize("name", list(SHAPE))
def test_no_cell_of_the_export_stands_in_a_drafted_map(name, sent):
    """Headers and names of sheets do; a cell that is one of our own words would say nothing of anybody."""
    export, drafted = sent[name]
    sheets, _ = scan(export)
    ours = {word for table in TABLES.values() for column in table.columns for word in column.allowed} | set(TABLES)
    headers = {header for sheet in sheets for header in sheet.headers} | {sheet.file or sheet.sheet for sheet in sheets}
    cells = {cell for sheet in sheets for cell in sheet.cells.to_numpy().ravel()} - headers - ours - {""}
    text = as_toml(drafted)
    assert [cell for cell in cells if f'"{cell}"' in text] == []
    assert [cell for cell in cells if re.fullmatch(r"[A-Z][0-9]{2,}", cell) and cell in text] == []


def test_a_drafted_map_brings_a_flat_file_to_the_same_study_without_a_hand(sent, original):
    export, drafted = sent["one_flat_file"]
    study = study_of(read_export(export, drafted.mapping), plan())
    columns = ["day", "length", "state", "width", "wound"]
    assert rows_of(study, "measurements", columns) == rows_of(original, "measurements", columns)
    columns = ["day", "minutes", "modality", "setup", "status", "wound"]
    assert rows_of(study, "sessions", columns) == rows_of(original, "sessions", columns)
