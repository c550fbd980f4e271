"""The vocabulary and the faults hang together, and the README's data dictionary is the vocabulary's."""

import re
from pathlib import Path

import pytest

from kit.faults import FAULTS, MARKED, REPAIRED, SET_ASIDE
from kit.intake.mapping import read_map
from kit.plan import plan_keys
from kit.vocabulary import SITES, STAGES, TABLES, UNITS, UNKNOWN, YES_NO, dictionary

README = Path(__file__).parent.parent / "README.md"
KINDS = {"pseudonym", "day", "number", "choice", "stage", "flag", "site", "size"}
COLUMNS = [(table, column) for table in TABLES.values() for column in table.columns]
NAMES = [f"{table.name}.{column.name}" for table, column in COLUMNS]
every_table = pytest.mark.parametrize("table", TABLES.values(), ids=TABLES)
every_column = pytest.mark.parametrize(("table", "column"), COLUMNS, ids=NAMES)


@every_table
def test_a_table_names_each_column_once(table):
    assert len(set(table.names)) == len(table.names)


@every_table
def test_the_columns_that_name_a_row_are_columns_of_the_table(table):
    assert set(table.key) <= set(table.names)


@every_table
def test_some_column_of_the_key_must_be_filled(table):
    assert any(table.column(name).required for name in table.key)


def test_wounds_and_measurements_alone_must_be_there():
    assert {name for name, table in TABLES.items() if table.required} == {"wounds", "measurements"}


@every_column
def test_a_column_has_a_plain_name_a_known_kind_and_a_sentence(table, column):
    assert re.fullmatch(r"[a-z]+(_[a-z]+)*", column.name)
    assert column.kind in KINDS
    assert re.fullmatch(r"[A-Z].*[^.]\.", column.says)


@every_column
def test_a_closed_list_holds_plain_words_once_each_and_unknown_is_none_of_them(table, column):
    listed = {"choice": column.allowed, "stage": STAGES, "flag": YES_NO, "site": SITES}.get(column.kind, ())
    assert column.allowed == listed
    assert (len(listed) >= 2) == (column.kind in ("choice", "stage", "flag", "site"))
    assert len(set(listed)) == len(listed)
    assert UNKNOWN not in listed
    assert all(re.fullmatch(r"[a-z0-9]+(_[a-z0-9]+)*", word) for word in listed)


@every_column
def test_a_number_has_a_known_unit_and_limits_and_nothing_else_has(table, column):
    if column.kind == "number":
        assert column.unit in UNITS
        assert float("-inf") < column.low < column.high < float("inf")
    else:
        assert column.unit == {"day": "day", "size": "cm"}.get(column.kind, "")
        assert (column.low, column.high) == (float("-inf"), float("inf"))


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_converts_to_itself_by_one(unit):
    folded = {name.lower(): factor for name, factor in UNITS[unit].items()}
    assert folded[unit.lower()] == 1
    assert all(factor > 0 for factor in folded.values())


@pytest.mark.parametrize(
    ("unit", "given", "factor"),
    [
        ("cm", "in", 2.54),
        ("cm2", "in2", 2.54 * 2.54),
        ("cm2", "mm2", 0.1 * 0.1),
        ("min", "s", 1 / 60),
        ("years", "months", 1 / 12),
        ("%", "share", 100),
        ("per week", "per day", 7),
    ],
)
def test_units_that_people_use_convert_rightly(unit, given, factor):
    assert UNITS[unit][given] == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize("unit", UNITS)
def test_every_unit_is_that_of_some_column(unit):
    assert unit in {column.unit for _, column in COLUMNS}


def test_the_dictionary_of_the_readme_is_that_of_the_vocabulary():
    _, marked = README.read_text(encoding="utf-8").split("<!-- dictionary -->")
    printed, _ = marked.split("<!-- /dictionary -->")
    assert printed.strip() == dictionary().strip()


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_has_a_one_word_name_one_of_three_fates_and_a_sentence(name):
    fault = FAULTS[name]
    assert fault.name == name
    assert re.fullmatch(r"[a-z]+(_[a-z]+)?", name)
    assert fault.fate in (SET_ASIDE, REPAIRED, MARKED)
    assert re.fullmatch(r"[A-Z].*[^.]\.", fault.says)


def test_the_keys_of_the_readme_are_those_of_the_plan():
    _, marked = README.read_text(encoding="utf-8").split("<!-- plan -->")
    printed, _ = marked.split("<!-- /plan -->")
    assert printed.strip() == plan_keys().strip()


def test_the_column_map_of_the_readme_can_be_read(tmp_path):
    [block] = re.findall(r"```toml\n(.*?)```", README.read_text(encoding="utf-8"), flags=re.DOTALL)
    (tmp_path / "map.toml").write_text(block, encoding="utf-8")
    assert set(read_map(tmp_path / "map.toml")) == {"wounds", "measurements", "sessions"}
