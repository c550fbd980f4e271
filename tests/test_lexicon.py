"""The words of the trade: each means one thing, and none that is short or borrowed may decide what is counted."""

import csv
from collections import defaultdict
from importlib.resources import files

import pytest

from kit.intake.lexicon import plain, site_words, words_for
from kit.vocabulary import SITES, TABLES

ROWS = list(csv.DictReader(files("kit.intake").joinpath("words.csv").read_text(encoding="utf-8").splitlines()))
COLUMNS = {column.name: column for table in TABLES.values() for column in table.columns}
ALLOWED = {
    "flag": ("yes", "no"),
    "yes_no": ("yes", "no"),
    "reason": TABLES["sessions"].column("reason").allowed,
    "reason_left": TABLES["departures"].column("reason").allowed,
}
TELLING = {column.name for table in TABLES.values() for column in table.columns if column.telling} - {"reason"}


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['column']}-{row['value']}" for row in ROWS])
def test_a_row_is_of_a_column_of_ours_and_a_value_that_it_may_hold(row):
    allowed = ALLOWED.get(row["column"]) or COLUMNS[row["column"]].allowed
    assert row["value"] in allowed


def test_no_word_of_a_column_means_two_things():
    meant = defaultdict(set)
    for row in ROWS:
        for word in row["words"].split("|"):
            meant[row["column"], plain(word)].add(row["value"])
    assert {key: values for key, values in meant.items() if len(values) > 1} == {}


@pytest.mark.parametrize("column", [*sorted(TELLING), "reason_left"])
def test_no_single_letter_decides_what_is_counted(column):
    assert [word for word in words_for(column) if len(word) == 1] == []


@pytest.mark.parametrize(
    ("column", "word"),
    [
        ("tissue", "intact skin"),  # as at stage 1 and in deep tissue injury, which are open
        ("reason_left", "transferred"),  # home or to a hospital
        ("reason_left", "DC"),  # discharged, or décédé
        ("reason", "personal"), ("reason", "coverage"), ("reason", "leave"),
        ("kind", "Ulcus cruris"),  # venous, arterial or both
    ],
)  # fmt: skip
def test_a_word_that_means_something_else_elsewhere_is_not_known(column, word):
    assert plain(word) not in words_for(column)


def test_every_site_has_words_and_every_word_one_site():
    assert set(site_words().values()) == set(SITES)
