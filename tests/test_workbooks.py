"""The list of open wounds as a workbook: what it is for comes first, nothing in it runs, and no person is in it."""

import zipfile
from datetime import date

import openpyxl
import pandas as pd
import pytest

from kit.delivered import worklist_of
from kit.followed import standing_of as standing_in_study
from kit.pages.size_tables import wounds_list
from kit.pages.workbooks import STATUS, about, write_wounds
from kit.plan import day_of
from kit.statements.about import INTERNAL
from kit.statements.quarter import NOT_COMPARED
from kit.trajectories.standing import NOT_TOLD, SLOW
from tests.drawn import drawn
from tests.test_size_statements import EVERY_KIND, UNFRESH, open_wound, standing_of
from tests.test_size_tables import DATED, NUMBERED
from tests.test_words import forbidden_in

WIDEST = 60  # characters: a longer cell is cut on screen and not in the file
NASTY = {"wound": "=1+1", "facility": "@home", "resident": "pr-kelp-01"}


def nothing_listed():
    """The list of an export without a single open wound."""
    return worklist_of(drawn("wound day length width state\nW1 120 . . closed\n"))


def written(folder, standing, plan=NUMBERED, listed=None):
    write_wounds(folder, nothing_listed() if listed is None else listed, standing, plan)
    return openpyxl.load_workbook(folder / "wounds.xlsx")


def rows_of(sheet):
    head, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(head, row, strict=True)) for row in rows]


def everything_in(folder):
    """All the text of the file, as a spreadsheet unpacks it."""
    with zipfile.ZipFile(folder / "wounds.xlsx") as parts:
        return "\n".join(parts.read(name).decode("utf-8", errors="replace") for name in parts.namelist())


def test_the_first_sheet_says_what_the_list_is_and_for_whom(tmp_path):
    book = written(tmp_path, EVERY_KIND)
    assert book.sheetnames == ["about", "first ten", "all things", "wounds", "calendar"]
    told = {row["What"]: row["Is"] for row in rows_of(book["about"])}
    assert list(told)[:3] == ["What", "For", "Not"]
    assert INTERNAL in told["For"]
    assert told["Not"] == (
        "Advice for a person. For review by the treating clinician; local policy and licensed practice decide."
    )


def test_a_later_sheet_is_the_list_of_wounds_in_its_order(tmp_path):
    given = EVERY_KIND.assign(size_day=day_of(date(2026, 6, 9)))
    rows, told = rows_of(written(tmp_path, given, DATED)["wounds"]), wounds_list(given, DATED)
    assert list(rows[0]) == list(told.columns)
    assert [row["Wound"] for row in rows] == ["W6", "W1", "W5", "W3", "W4", "W2"]  # own paces -2, 1, 4, 8, 15, none
    assert rows[0] == {
        "Wound": "W6", "Facility": "Quellmoor", "Stands": SLOW, "Chance that this is wrong": "20%",
        "Own pace, % smaller a week": -2, "From": -5, "To": 1, "Expected pace": 7, "Size, cm2": 4,
        "Last measured": "2026-06-09", "Weeks in view": 6, "Why it is not told": None,
    }  # fmt: skip  # -2 - 3 and -2 + 3


def test_what_is_not_told_is_blank_with_its_reason_and_is_no_nought(tmp_path):
    [row] = rows_of(written(tmp_path, standing_of(open_wound(1, NOT_TOLD, why=UNFRESH)))["wounds"])
    assert (row["Stands"], row["Why it is not told"]) == (NOT_TOLD, UNFRESH)
    blank = ["Own pace, % smaller a week", "From", "To", "Expected pace"]
    assert [row[name] for name in blank] == [None] * 4
    assert row["Chance that this is wrong"] == "–"


def test_days_are_dates_a_person_can_read_where_there_is_a_calendar(tmp_path):
    given = standing_of(open_wound(1, size_day=day_of(date(2026, 6, 9))))
    [row] = rows_of(written(tmp_path, given, DATED)["wounds"])
    assert row["Last measured"] == "2026-06-09"


def test_names_that_a_spreadsheet_would_run_are_held_down(tmp_path):
    book = written(tmp_path, standing_of(open_wound(1, **NASTY), open_wound(2, wound="-2", facility="+A1")))
    cells = [cell for sheet in book for row in sheet for cell in row]
    assert "f" not in {cell.data_type for cell in cells}
    told = {row["Wound"]: row["Facility"] for row in rows_of(book["wounds"])}
    assert told == {"'-2": "'+A1", "'=1+1": "'@home"}
    assert "<f>" not in everything_in(tmp_path)


def test_paces_below_none_stay_numbers(tmp_path):
    """A minus sign before a number is no formula: only text is held down."""
    kinds = {cell.data_type for cell in written(tmp_path, EVERY_KIND)["wounds"]["E"][1:-1]}
    assert kinds == {"n"}


def test_no_resident_is_named_anywhere_in_the_file(tmp_path):
    written(tmp_path, standing_of(open_wound(1, **NASTY), open_wound(2, NOT_TOLD, why=UNFRESH, resident="pr-kelp-02")))
    assert "pr-kelp" not in everything_in(tmp_path) and "W2" in everything_in(tmp_path)


def test_the_list_of_a_study_names_its_open_wounds_and_nobody(tmp_path, study, invented):
    standing = standing_in_study(study)
    listed = worklist_of(study)
    written(tmp_path, standing, study.plan, listed)
    text = everything_in(tmp_path)
    assert {name for name in invented.secrets if name in text} == set(standing["wound"]) | set(listed.marks["wound"])
    assert len(standing) == 8 and len(listed.known) == 8


def test_headers_stay_in_sight_and_columns_are_as_wide_as_their_words_up_to_a_limit(tmp_path):
    book = written(tmp_path, standing_of(open_wound(1, facility="Q" * 40)))
    assert {sheet.freeze_panes for sheet in book} == {"A2"}
    wide = {letter: column.width for letter, column in book["wounds"].column_dimensions.items()}
    assert wide["B"] == 42  # 40 letters and two blanks
    assert wide["E"] == len("Own pace, % smaller a week") + 2
    assert book["about"].column_dimensions["B"].width == WIDEST


@pytest.mark.parametrize("plan", [DATED, NUMBERED])
def test_without_an_open_wound_the_list_has_its_headers_alone(tmp_path, plan):
    book = written(tmp_path, standing_of(), plan)
    assert book["wounds"].max_row == 1 and book["wounds"]["A1"].value == "Wound"
    assert book["first ten"].max_row == book["all things"].max_row == 1


def test_long_sentences_wrap_and_sheets_print_across(tmp_path, study):
    book = written(tmp_path, standing_in_study(study), study.plan, worklist_of(study))
    assert {sheet.page_setup.orientation for sheet in book} == {"landscape"}
    assert all(sheet.sheet_properties.pageSetUpPr.fitToPage for sheet in book)
    assert all(cell.alignment.wrap_text for cell in book["about"]["B"])
    assert not any(cell.alignment.wrap_text for cell in book["about"]["A"])


def test_no_cell_holds_a_forbidden_word(tmp_path):
    book = written(tmp_path, EVERY_KIND)
    said = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
    assert "slow" in said and forbidden_in(said) == []


def test_nothing_given_is_changed(tmp_path):
    kept = EVERY_KIND.copy()
    written(tmp_path, EVERY_KIND)
    pd.testing.assert_frame_equal(EVERY_KIND, kept)


def test_what_the_tables_are_of_is_told_with_every_fingerprint():
    found = {"scope": "Quellmoor", "program": "Invented", "fingerprints": {"export": "e1", "plan": "p2", "kit": "k3"}}
    told = about(found, NUMBERED).set_index("what")["is"].to_dict()
    assert told == {
        "Report": "Quellmoor, Invented", "Quarter": "quarter day 110 to day 200", "Status": STATUS, "For": INTERNAL,
        "Not compared": NOT_COMPARED, "Fingerprints": "export e1, plan p2, kit k3",
    }  # fmt: skip
