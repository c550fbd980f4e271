"""The template: an empty workbook that shows what it asks for, and reads like an export once it is filled in."""

from datetime import date, datetime
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.cell_range import MultiCellRange

from kit.faults import ExportError
from kit.intake.readers import read_export
from kit.intake.screening import screen
from kit.intake.template import FIRST, LAST, LISTS, OPENING, help_of, opening, write_template
from kit.plan import read_plan
from kit.study import read_study
from kit.vocabulary import TABLES

CLEAN = Path(__file__).parent.parent / "data" / "synthetic" / "clean"
SHORT = 250  # rows of a table; enough for every kind of cell
COLUMNS = [(name, column) for name, table in TABLES.items() for column in table.columns]
each_column = pytest.mark.parametrize(("table", "column"), COLUMNS, ids=[f"{name}.{c.name}" for name, c in COLUMNS])


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    return write_template(tmp_path_factory.mktemp("template") / "wounds.xlsx")


@pytest.fixture(scope="module")
def book(template):
    return openpyxl.load_workbook(template)


def place_of(table, column):
    return get_column_letter(TABLES[table].names.index(column.name) + 1)


def rules_of(book, table, letter):
    """The rules that a spreadsheet holds every cell of this column to."""
    rules = [rule for rule in book[table].data_validations.dataValidation if f"{letter}{FIRST}" in rule.sqref]
    assert all(rule.sqref == MultiCellRange(f"{letter}{FIRST}:{letter}{LAST}") for rule in rules)
    return rules


def words_at(book, place):
    sheet, cells = place.split("!")
    return tuple(cell.value for (cell,) in book[sheet][cells.replace("$", "")])


# --- what stands in it ---


def test_a_sheet_for_every_table_between_the_first_lines_and_the_lists(book):
    assert book.sheetnames == [OPENING, *TABLES, LISTS]
    assert book[LISTS].sheet_state == "hidden"
    assert all(book[name].sheet_state == "visible" for name in (OPENING, *TABLES))


def test_the_first_lines_say_what_every_table_is_and_which_are_needed(book):
    said = [cell.value for (cell,) in book[OPENING].iter_rows()]
    assert said == opening()
    assert [line for line in said if line.endswith("(needed).")] == [
        "wounds: a row is a wound (needed).",
        "measurements: a row is a measured wound on a day (needed).",
    ]
    for words in ("pseudonyms", "Never write names, initials, dates of birth", "Leave blank", "study-plan.toml"):
        assert words in " ".join(said)


@each_column
def test_every_column_has_a_line_of_help_above_its_name(book, table, column):
    letter = place_of(table, column)
    helped, named = (book[table][f"{letter}{row}"] for row in (1, 2))
    assert (helped.value, named.value) == (help_of(column), column.name)
    assert column.says in helped.value and "\n" not in helped.value
    assert named.font.bold and helped.alignment.wrap_text
    assert helped.font.bold == column.required == helped.value.startswith("NEEDED. ")


@each_column
def test_the_help_fits_into_the_first_row(book, table, column):
    """Five letters in six of the width, a line every 13.5 points."""
    sheet, letter = book[table], place_of(table, column)
    width = sheet.column_dimensions[letter].width
    assert len(column.name) < width <= 40
    assert len(help_of(column)) / (width * 5 / 6) <= sheet.row_dimensions[1].height / 13.5
    assert sheet.freeze_panes == f"A{FIRST}"


@each_column
def test_every_closed_list_is_a_drop_down(book, table, column):
    rules = rules_of(book, table, place_of(table, column))
    lists = [words_at(book, rule.formula1) for rule in rules if rule.type == "list"]
    assert lists == ([column.allowed] if column.allowed else [])


@each_column
def test_days_and_numbers_are_checked_and_nothing_is_blocked(book, table, column):
    rules = rules_of(book, table, place_of(table, column))
    kinds = {"day": ["date"], "number": ["decimal"]}.get(column.kind, ["list"] if column.allowed else [])
    assert [rule.type for rule in rules] == kinds
    assert all(rule.errorStyle == "warning" and rule.showErrorMessage and rule.allow_blank for rule in rules)
    if column.kind == "number":
        assert (float(rules[0].formula1), float(rules[0].formula2)) == (column.low, column.high)


@each_column
def test_cells_are_text_unless_they_are_days_or_numbers(book, table, column):
    expected = {"day": "yyyy-mm-dd", "number": "General"}.get(column.kind, "@")
    assert book[table].column_dimensions[place_of(table, column)].number_format == expected


def test_a_size_stands_in_one_cell_or_in_three():
    measurements = TABLES["measurements"]
    assert "either this or length, width and depth" in help_of(measurements.column("dimensions"))
    for name in ("length", "width", "depth"):
        assert "Either this or dimensions" in help_of(measurements.column(name))


def test_units_stand_in_the_help():
    assert help_of(TABLES["measurements"].column("length")) == "Greatest length. In cm. Either this or dimensions."
    assert help_of(TABLES["wounds"].column("onset")).endswith("Year-month-day (2026-03-31).")


# --- refusals ---


def test_a_file_that_is_there_is_never_overwritten(tmp_path):
    (tmp_path / "mine.xlsx").write_bytes(b"work of a week")
    with pytest.raises(ExportError, match=r"^mine.xlsx: there is such a file already; move it away or choose another"):
        write_template(tmp_path / "mine.xlsx")
    assert (tmp_path / "mine.xlsx").read_bytes() == b"work of a week"


def test_a_name_that_is_not_of_a_workbook_is_refused(tmp_path):
    with pytest.raises(ExportError, match=r"^mine.csv: the template is a workbook; give it a name that ends in .xlsx$"):
        write_template(tmp_path / "mine.csv")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_made(tmp_path):
    assert write_template(tmp_path / "new" / "wounds.xlsx").is_file()


# --- filled in ---


def frames(*, only=TABLES):
    """The first rows of the clean invented export; residents and wounds whole, so that everything has its owner."""
    whole = {name: pd.read_csv(CLEAN / f"{name}.csv", dtype=str, keep_default_na=False) for name in only}
    return {name: frame if name in ("residents", "wounds") else frame[:SHORT] for name, frame in whole.items()}


def typed(cell, column):
    """What a person types: real days and numbers, words as they are, nothing where nothing is known."""
    if cell == "":
        return None
    return date.fromisoformat(cell) if column.kind == "day" else float(cell) if column.kind == "number" else cell


def fill(template, file, tables):
    book = openpyxl.load_workbook(template)
    for name, frame in tables.items():
        for row, cells in enumerate(frame.to_dict("records"), start=FIRST):
            for number, column in enumerate(TABLES[name].columns, start=1):
                book[name].cell(row, number, typed(cells.get(column.name, ""), column))
    book.save(file)
    return file


@pytest.fixture(scope="module")
def filled(template, tmp_path_factory):
    """The same rows as a folder of CSV files and typed into the template, with the plan beside both."""
    folder = tmp_path_factory.mktemp("filled")
    (folder / "csv").mkdir()
    for name, frame in frames().items():
        frame.to_csv(folder / "csv" / f"{name}.csv", index=False)
    for place in (folder, folder / "csv"):
        (place / "study-plan.toml").write_bytes((CLEAN / "study-plan.toml").read_bytes())
    return folder / "csv", fill(template, folder / "wounds.xlsx", frames())


def test_what_is_typed_in_reads_like_the_same_rows_as_csv(filled):
    plain, typed_in = (read_export(export) for export in filled)
    assert list(typed_in) == list(plain) == list(TABLES)
    for name, raw in plain.items():
        rows = typed_in[name].rows
        assert list(rows["row"]) == list(raw.rows["row"] + 1)
        for column in raw.places:
            numbers = TABLES[name].column(column).kind == "number"
            cells = [each[column].astype(object) for each in (rows, raw.rows)]
            cells = map(pd.to_numeric, cells) if numbers else cells
            pd.testing.assert_series_equal(*cells)


def test_screened_it_is_the_same_tables_with_the_same_faults(filled):
    plan = read_plan(CLEAN / "study-plan.toml")
    plain, typed_in = (screen(read_export(export), plan) for export in filled)
    for name in TABLES:
        tables = [each.tables[name].drop(columns="source_row") for each in (typed_in, plain)]
        pd.testing.assert_frame_equal(*tables)
    assert typed_in.faults["fault"].tolist() == plain.faults["fault"].tolist()
    assert typed_in.faults["source_row"].tolist() == (plain.faults["source_row"] + 1).tolist()


def test_the_study_is_the_same(filled):
    plain, typed_in = (read_study(export) for export in filled)
    pd.testing.assert_frame_equal(typed_in.account, plain.account)
    pd.testing.assert_frame_equal(
        typed_in.episodes.drop(columns="source_row", errors="ignore"),
        plain.episodes.drop(columns="source_row", errors="ignore"),
    )


def test_tables_that_are_left_empty_do_not_stop_the_run(template, tmp_path):
    needed = frames(only=("wounds", "measurements"))
    export = fill(template, tmp_path / "wounds.xlsx", needed)
    (tmp_path / "study-plan.toml").write_bytes((CLEAN / "study-plan.toml").read_bytes())
    rows = {name: len(raw.rows) for name, raw in read_export(export).items()}
    assert rows == {name: len(needed.get(name, ())) for name in TABLES}
    assert len(read_study(export).episodes) > 0


def test_a_template_that_nobody_filled_in_says_that_there_are_no_rows(template):
    with pytest.raises(ExportError, match="^wounds.xlsx, sheet wounds: there are no rows; export the period again$"):
        read_export(template)


def test_sizes_may_stand_in_one_cell(template, tmp_path):
    book = openpyxl.load_workbook(template)
    place = {name: TABLES["measurements"].names.index(name) + 1 for name in ("wound", "day", "dimensions")}
    book["wounds"]["A3"], book["wounds"]["B3"] = "W001", "R001"
    for row, size in enumerate(["3.2 x 1.5 x 0.4", "healed"], start=FIRST):
        cells = {"wound": "W001", "day": datetime(2026, 4, row), "dimensions": size}
        for name, cell in cells.items():
            book["measurements"].cell(row, place[name], cell)
    book.save(tmp_path / "wounds.xlsx")
    tables = screen(read_export(tmp_path / "wounds.xlsx"), read_plan(CLEAN / "study-plan.toml")).tables
    assert tables["measurements"][["length", "width", "depth"]].iloc[0].tolist() == [3.2, 1.5, 0.4]
    assert tables["measurements"]["state"].tolist() == ["open", "closed"]
