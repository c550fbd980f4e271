"""Readers: whatever a CSV, Parquet or Excel file does to a table, its text and its row numbers come out right."""

import csv
import math
import re
import warnings
import zipfile
from datetime import date, datetime, time

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.faults import ExportError
from kit.intake.layouts import days_in
from kit.intake.mapping import Across, Place, TableMap
from kit.intake.readers import read_export
from tests.exports import MEASUREMENTS, WOUNDS, csv_text, map_of, write
from tests.test_mapping import SHARED

SIZES = "wound,day,length\nW1,10,4\nW1,17,3\n"


def told(export, columns=None):
    """What is said of an export that cannot be read; always one line."""
    with pytest.raises(ExportError) as stopped:
        read_export(export, columns)
    assert "\n" not in str(stopped.value)
    return str(stopped.value)


@pytest.fixture
def measured(tmp_path):
    """Reads an export whose measurements.csv has this content; columns of the rows and their numbers."""

    def measured(content, **how):
        write(tmp_path)
        raw = content if isinstance(content, bytes) else content.encode(how.get("encoding", "utf-8"))
        (tmp_path / "measurements.csv").write_bytes(raw)
        return read_export(tmp_path)["measurements"].rows

    return measured


def table(rows):
    """Columns and rows of one file or sheet, where the number of a row is its row there."""
    assert list(rows["row"]) == list(rows["source_row"]) and rows["file"].nunique() <= 1
    return {name: list(cells) for name, cells in rows.items() if name not in ("row", "file")}


# --- CSV ---


def test_cells_come_out_as_text_with_the_row_a_spreadsheet_would_show(measured):
    assert table(measured(SIZES)) == {
        "wound": ["W1", "W1"], "day": ["10", "17"], "length": ["4", "3"], "source_row": [2, 3],
    }  # fmt: skip


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + SIZES.encode(),
        SIZES.replace("\n", "\r\n").encode(),
        SIZES.replace("\n", "\r").encode(),
        SIZES.rstrip("\n").encode(),
        SIZES.replace("wound,day", " wound , day ").encode(),
        SIZES.replace("wound,day,length", "WOUND,Day,Length").encode(),
        SIZES.replace("W1,10", ' W1 ,"10"').encode(),
        SIZES.replace("\n", ",,\n").encode(),
        (SIZES + ",,\n\n").encode(),
        SIZES.replace(",", ";").encode(),
        SIZES.replace(",", "\t").encode(),
        SIZES.replace(",", "|").encode(),
        SIZES.replace("length", '"length, in cm";length').replace("4", "4,4;4").replace("3", "3,3;3")
        .replace("wound,day,", "wound;day;").replace("W1,10,", "W1;10;").replace("W1,17,", "W1;17;").encode(),
        SIZES.encode("utf-16"),
        SIZES.encode("utf-16-le"),
        SIZES.encode("utf-16-be"),
        SIZES.encode("utf-32"),
        SIZES.replace("length\n", "length,Größe\n").encode("latin-1"),
        SIZES.replace("length\n", "length,Größe\n").encode("cp1252"),
    ],
    ids=["byte order mark", "CRLF", "CR", "no last line end", "blanks in the header", "capitals in the header",
         "blanks and quotation marks", "empty cells after every row", "empty rows at the end", "semicolons", "tabs",
         "bars", "semicolons around commas", "UTF-16", "UTF-16 without mark", "the other UTF-16 without mark", "UTF-32",
         "Latin-1", "older spreadsheet"],
)  # fmt: skip
def test_the_same_table_in_another_dress_reads_the_same(measured, content):
    assert table(measured(content)) == table(measured(SIZES))


def test_a_short_row_ends_in_empty_cells(measured):
    assert list(measured("wound,day,length\nW1,10\nW1,17,3\n")["length"]) == ["", "3"]


def test_line_breaks_and_commas_inside_quotation_marks_stay_in_their_cell_and_row(measured):
    rows = measured('wound,day,note,length\nW1,10,"first\nsecond, third",4\nW1,17,,3\n')
    assert list(rows["length"]) == ["4", "3"]
    assert list(rows["source_row"]) == [2, 3]


def test_an_empty_row_between_others_is_no_row_but_keeps_its_number(measured):
    rows = measured("wound,day,length\nW1,10,4\n\n,,\nW1,17,3\n")
    assert list(rows["source_row"]) == [2, 5]


@pytest.mark.parametrize(
    "title",
    [
        "Wound rounds\n",
        "Wound rounds,,\n\n",
        '"Wound rounds,\nsecond quarter",,\n',
        'Wounds of 5" and more,,\n',
        "sep=,\n",
        "the wound,of the day,\n" * 20,
    ],
    ids=["one cell", "and an empty row", "a line break in it", "a quotation mark in it", "a note for one program",
         "twenty rows of titles"],
)  # fmt: skip
def test_the_header_may_stand_below_titles_and_rows_keep_their_number(measured, title):
    above = len(list(csv.reader(title.splitlines(keepends=True))))
    rows = table(measured(title + SIZES))
    assert rows == table(measured(SIZES)) | {"source_row": [above + 2, above + 3]}


def test_a_header_that_stands_again_further_down_is_no_row(measured):
    assert list(measured(SIZES + SIZES)["source_row"]) == [2, 3, 5, 6]


def test_cells_that_look_like_missing_numbers_stay_text(measured):
    assert list(measured("wound,day,length\nNA,10,null\nnan,11,N/A\n")["length"]) == ["null", "N/A"]


def test_only_columns_with_our_names_are_read(measured):
    rows = measured("wound,nurse note,day,,length\nW1,wrote a lot,10,x,4\n")
    assert list(rows) == ["wound", "day", "length", "source_row", "file", "row"]
    assert "wrote a lot" not in rows.to_string()


def test_a_thousand_columns_cost_no_more_than_those_that_are_read(measured):
    filler = ",".join(f"c{n}" for n in range(1000))
    rows = measured(f"wound,{filler},day\nW1,{filler},10\nW1,{filler},17\n")
    assert list(rows["day"]) == ["10", "17"]


def test_a_header_that_is_longer_than_any_cell_is_no_open_quotation_mark(measured):
    filler = ",".join(f"c{n}" for n in range(65_000))
    assert list(measured(f"wound,day,{filler}\nW1,10{',' * 65_000}\n")["day"]) == ["10"]


def test_a_note_as_long_as_a_book_is_passed_over(measured):
    assert list(measured(f"wound,note,day\nW1,{'long ' * 100_000},10\n")["day"]) == ["10"]


def test_every_row_may_end_in_the_same_empty_cells_that_the_header_lacks(measured):
    assert list(measured("wound,day,length\nW1,10,4,,\nW1,17,3,,\n")["length"]) == ["4", "3"]


@pytest.mark.parametrize(
    ("content", "row"),
    [
        ("wound,day,length\nW1,10,4\nW1,17,3,5\n", 3),
        ("wound,day,length\nW1,10,4\n\nW1,17,3,5,\n", 4),
        ("wound,day,length\nW1,10,4,\nW1,17,3\n", 2),  # one row alone may have been moved by a stray comma
        ("wound,day,length\nW1,10,3,5\nW1,17,4,5\n", 2),
    ],
)
def test_a_row_with_more_cells_than_the_header_is_named(measured, content, row):
    with pytest.raises(ExportError, match=f"^measurements.csv row {row}: has more cells than the header; look for"):
        measured(content)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "measurements.csv: it is empty; one of its first rows must hold the headers"),
        ("\n\n\n", "measurements.csv: it is empty; one of its first rows must hold the headers"),
        (b"\xef\xbb\xbf", "measurements.csv: it is empty; one of its first rows must hold the headers"),
        ("wound,day,length\n", "measurements.csv: there are no rows"),
        ("\n\nwound,day\n", "measurements.csv: there are no rows"),
        ("wound,day,length\n,,\n", "measurements.csv: there are no rows"),
        ("W1,10,4\nW1,17,3\n", "measurements.csv: column wound is needed and not there; add it or map it"),
        ("wound,length\nW1,4\n", "measurements.csv: column day is needed and not there; add it or map it"),
        ("wound,day,day\nW1,10,11\n", "measurements.csv: the column for day stands there twice; keep one"),
        ('wound,day\nW1,10\nW1,"17\nW1,24\n', "measurements.csv row 3: a quotation mark is opened and never closed"),
        ('a title\nwound,day\nW1,"17\nW1,24\n', "measurements.csv row 3: a quotation mark is opened and never closed"),
        (b"wound,day\nW1,10\nW1,1\x007\n", "measurements.csv line 3: holds a byte that no text has; the file is"),
        (b"PK\x03\x04" + bytes(range(200)), "measurements.csv line 1: holds a byte that no text has; the file is"),
        ("wound,day\nW1,10\n".encode("utf-16") + b"\n", "measurements.csv: the file cannot be read; export it again"),
    ],
)
def test_a_file_that_cannot_be_read_says_why_and_what_to_do(measured, content, said):
    with pytest.raises(ExportError) as stopped:
        measured(content)
    assert str(stopped.value).startswith(said)
    assert "\n" not in str(stopped.value)


CELL = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufeff"), max_size=6)
ROWS = st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=8)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    titles=st.lists(st.lists(CELL, max_size=3), max_size=4),
    rows=ROWS,
    separator=st.sampled_from(",;\t|"),
    ends=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-32"]),
)
def test_whatever_stands_in_the_cells_is_read_as_it_was_written(tmp_path, titles, rows, separator, ends, encoding):
    """Against the csv module alone: titles, quotation marks, line breaks and separators inside of cells."""
    write(tmp_path)
    file, header = tmp_path / "measurements.csv", ["wound", "day", "length"]
    broken = any(set("\r\n") & set(cell) for row in [*titles, *rows] for cell in row)
    quoting = csv.QUOTE_ALL if broken else csv.QUOTE_MINIMAL  # the csv module quotes no line break but its own
    with file.open("w", newline="", encoding=encoding) as out:
        writer = csv.writer(out, delimiter=separator, lineterminator=ends, quoting=quoting)
        writer.writerows([*titles, header, *rows, ["W", "1", ""]])
    with file.open(newline="", encoding=encoding) as lines:
        whole = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=separator)]
    expected = [[*row, n] for n, row in enumerate(whole, start=1) if n > len(titles) + 1 and any(row) and row != header]
    assert read_export(tmp_path)["measurements"].rows[[*header, "row"]].values.tolist() == expected


# --- which file holds which table ---


def test_tables_that_may_be_absent_may_be_absent(tmp_path):
    assert list(read_export(write(tmp_path, residents=None))) == ["wounds", "measurements"]


def test_a_table_that_may_be_absent_may_have_no_rows(tmp_path):
    assert read_export(write(tmp_path, sessions="wound,day,modality\n"))["sessions"].rows.empty


def test_a_needed_table_that_is_not_there_is_named(tmp_path):
    said = told(write(tmp_path, wounds=None))
    assert said == f"{tmp_path.name}: wounds is needed and not there; expected a file called wounds.csv"


def test_a_table_twice_is_refused(tmp_path):
    write(tmp_path)
    pd.DataFrame({"wound": ["W1"], "resident": ["R1"]}).to_parquet(tmp_path / "wounds.parquet")
    assert "wounds stands there twice, as wounds.csv and as wounds.parquet; keep one" in told(tmp_path)


def test_an_export_that_is_not_there_is_told(tmp_path):
    assert told(tmp_path / "none") == "none: there is no such export; give a folder of CSV files or a workbook"


def test_a_single_csv_file_is_no_export_unless_a_map_says_what_it_holds(tmp_path):
    alone = write(tmp_path) / "wounds.csv"
    assert told(alone).startswith(
        "wounds.csv: not a workbook (.xlsx); put single CSV files into a folder and name that"
    )
    assert told(alone).endswith("or give a column map that says which tables this one file holds")
    alone.write_text("Person,ID,Seen\nR1,W1,10\nR1,W1,17\n")
    mapped = map_of(MAP.replace('file = "Wunden.txt"\nsheet = "Wunden"', "").replace('"Day"', '"Seen"'))
    raw = read_export(alone, mapped)
    assert [len(raw[name].rows) for name in ("wounds", "measurements")] == [1, 2]


@pytest.mark.parametrize("ending", ["xls", "XLS", "xlsb", "ods"])
def test_a_workbook_of_another_kind_says_how_to_save_it(tmp_path, ending):
    file = write(tmp_path) / f"export.{ending}"
    file.write_text("<html><table><tr><td>wound</td></tr></table></html>")
    cure = f"export.{ending}: a workbook of another kind; open it in a spreadsheet program and save it as .xlsx"
    assert told(file) == cure
    assert told(tmp_path, map_of(MAP.replace("Wunden.txt", file.name))) == cure


WEEKS = """
[wounds.columns]
wound = "wound"
resident = "resident"
[measurements]
file = "week-*.csv"
[measurements.columns]
wound = "wound"
day = "day"
length = "length"
"""


def test_one_table_in_several_files_keeps_the_file_and_row_of_every_row(tmp_path):
    write(tmp_path, measurements=None)
    (tmp_path / "week-2.csv").write_text("Week 2\nlength,wound,day\n3,W1,17\n")  # in an order of its own
    (tmp_path / "week-1.csv").write_text("wound;day;length\nW1;10;4\nW2;11;5\n")
    raw = read_export(tmp_path, map_of(WEEKS))["measurements"]
    assert {name: list(cells) for name, cells in raw.rows.items()} == {
        "wound": ["W1", "W2", "W1"], "day": ["10", "11", "17"], "length": ["4", "5", "3"], "source_row": [2, 3, 4],
        "file": ["week-1.csv", "week-1.csv", "week-2.csv"], "row": [2, 3, 3],
    }  # fmt: skip
    assert raw.where(2) == "week-2.csv row 3"
    assert raw.sources[["file", "rows_in"]].values.tolist() == [["week-1.csv", 2], ["week-2.csv", 1]]


def test_a_column_that_one_of_several_files_lacks_is_told_with_that_file(tmp_path):
    write(tmp_path, measurements=None)
    (tmp_path / "week-1.csv").write_text("wound,day,length\nW1,10,4\n")
    (tmp_path / "week-2.csv").write_text("wound,day,Length\nW1,17,3\n")
    assert told(tmp_path, map_of(WEEKS)).startswith("week-2.csv: the map names a column for length that is not there")


MAP = """
[wounds]
file = "Wunden.txt"
sheet = "Wunden"
[wounds.columns]
wound = "ID"
resident = "Person"
[measurements.columns]
wound = "ID"
day = "Day"
"""


def test_a_map_names_files_and_headers(tmp_path):
    write(tmp_path, wounds=None, measurements="ID,Day,wound\nW1,10,x\n")
    (tmp_path / "Wunden.txt").write_text("Person,ID\nR1,W1\n")
    raw = read_export(tmp_path, map_of(MAP))
    assert table(raw["wounds"].rows) == {"wound": ["W1"], "resident": ["R1"], "source_row": [2]}
    assert list(raw["measurements"].rows["wound"]) == ["W1"]


def test_a_file_that_the_map_names_and_nobody_sent_is_told_by_that_name(tmp_path):
    assert told(write(tmp_path), map_of(MAP)).endswith(
        "wounds is needed and not there; expected a file called Wunden.txt"
    )


def test_a_column_that_the_map_names_and_the_file_lacks_is_told_by_our_name(tmp_path):
    write(tmp_path)
    (tmp_path / "Wunden.txt").write_text("Person,Id\nR1,W1\n")
    assert told(tmp_path, map_of(MAP)) == (
        "Wunden.txt: the map names a column for wound that is not there; its header is expected in row 1, of 2 "
        "columns, exactly as written in the map (capitals count)"
    )


def test_a_workbook_as_the_file_of_one_table_is_refused(tmp_path):
    write(tmp_path)
    (tmp_path / "book.xlsx").write_bytes(b"x")
    assert "a workbook must hold all tables" in told(tmp_path, map_of(MAP.replace("Wunden.txt", "book.xlsx")))


OPTIONAL = MAP + '[sessions.columns]\nday = "Day"\nmodality = "What"\n'
TURNED = "; in a workbook write sheet = ..., in a folder file = ..."


def test_a_mapped_table_that_may_be_absent_is_mapped_and_not_there(tmp_path):
    write(tmp_path, wounds=None, measurements="ID,Day\nW1,10\n")
    (tmp_path / "Wunden.txt").write_text("Person,ID\nR1,W1\n")
    assert told(tmp_path, map_of(OPTIONAL)) == (
        f"{tmp_path.name}: sessions is mapped and not there; expected a file called sessions.csv"
    )


def test_a_sheet_for_a_folder_says_what_a_folder_takes(tmp_path):
    said = told(write(tmp_path, wounds=None), map_of(MAP.replace('file = "Wunden.txt"\n', "")))
    assert said.endswith(f"wounds is needed and not there; expected a file called wounds.csv{TURNED}")


def test_a_folder_around_a_workbook_asks_for_the_workbook(tmp_path):
    for name in ("export.xlsx", "~$export.xlsx", "study-plan.toml"):
        (tmp_path / name).write_bytes(b"x")
    assert told(tmp_path) == (f"{tmp_path.name}: this folder holds a workbook; name the workbook itself as the export")


def test_a_header_that_serves_two_of_our_columns_is_read_for_both(tmp_path):
    write(tmp_path, wounds=None)
    wounds = pd.DataFrame({"wound": ["W1"], "resident": ["R1"], "Type": ["heel sore"]})
    for ending, put in (("csv", lambda file: wounds.to_csv(file, index=False)), ("parquet", wounds.to_parquet)):
        (tmp_path / "wounds.csv").unlink(missing_ok=True)
        put(tmp_path / f"wounds.{ending}")
        rows = read_export(tmp_path, map_of(SHARED))["wounds"].rows
        assert rows[["kind", "site"]].iloc[0].tolist() == ["heel sore"] * 2


# --- days in names ---


@pytest.mark.parametrize(
    ("names", "days"),
    [
        ("Wk of 12-21|Wk of 12-28|Wk of 1-4|Wk of 1-11", "2026-12-21|2026-12-28|2027-01-04|2027-01-11"),
        ("1-11|1-4|12-28|12-21", "2026-01-11|2026-01-04|2025-12-28|2025-12-21"),
        ("4-20|4-6|5-11|5-4", "2026-04-20|2026-04-06|2026-05-11|2026-05-04"),
        ("12-28|notes|2-8", "2026-12-28||2027-02-08"),
        ("2-29|3-7", "|2026-03-07"),
    ],
    ids=["oldest first", "newest first", "out of order", "a name without a day", "a day that the year does not have"],
)
def test_days_without_a_year_go_on_through_the_years_from_the_first(names, days):
    assert [day or "" for day in days_in(names.split("|"), "M-D", 2026)] == days.split("|")


@pytest.mark.parametrize("written", ["4/6|M/D", "4-6|M-D", "6/4|D/M", "6.4.|D.M.", "04-06|M-D", "Wk of 4-6 (late)|M-D"])
def test_every_way_of_writing_days_without_a_year_is_read(written):
    name, format = written.split("|")
    assert days_in([name], format, 2026) == ["2026-04-06"]


# --- Parquet ---


def test_parquet_columns_of_every_type_read_like_text(tmp_path):
    write(tmp_path, wounds=None, measurements=None)
    wounds = {
        "wound": pa.array([1, 2]),
        "resident": pa.array(["R1", "R2"]).dictionary_encode(),
        "onset": pa.array([date(2026, 1, 5), None]),
        "present_on_admission": pa.array([True, None]),
        "note": pa.array([["a list"], []]),
    }
    pq.write_table(pa.table(wounds), tmp_path / "wounds.parquet")
    measurements = {
        "wound": pa.array([1.0, None]),  # whole numbers beside nothing are floats in many tools
        "day": pa.array([datetime(2026, 1, 5, 14, 30)] * 2, pa.timestamp("ns")),
        "length": pa.array([3.2, math.nan], pa.float32()),
    }
    pq.write_table(pa.table(measurements), tmp_path / "measurements.parquet")
    raw = read_export(tmp_path)
    assert table(raw["wounds"].rows) == {
        "wound": ["1", "2"], "resident": ["R1", "R2"], "onset": ["2026-01-05", ""],
        "present_on_admission": ["true", ""], "source_row": [2, 3],
    }  # fmt: skip
    assert list(raw["measurements"].rows["wound"]) == ["1", ""]
    assert list(raw["measurements"].rows["length"]) == ["3.2", "nan"]
    assert list(raw["measurements"].rows["day"].str[:16]) == ["2026-01-05 14:30"] * 2


def test_a_parquet_index_is_a_column_like_any_other(tmp_path):
    write(tmp_path, wounds=None)
    pd.DataFrame({"wound": ["W1"], "resident": ["R1"]}).set_index("wound").to_parquet(tmp_path / "wounds.parquet")
    assert list(read_export(tmp_path)["wounds"].rows["wound"]) == ["W1"]


def test_a_parquet_file_that_is_none_is_told(tmp_path):
    write(tmp_path, wounds=None)
    (tmp_path / "wounds.parquet").write_bytes(b"not parquet")
    assert told(tmp_path).startswith("wounds.parquet: the file cannot be read; export it again")


# --- workbooks ---


@pytest.fixture
def workbook(tmp_path):
    """Writes a workbook: for each sheet its rows, the header first."""

    def workbook(**sheets):
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in sheets.items():
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
        book.save(tmp_path / "export.xlsx")
        return tmp_path / "export.xlsx"

    return workbook


WOUND_ROWS = [["wound", "resident"], ["W1", "R1"]]


def test_the_cells_of_a_workbook_read_like_text(workbook):
    rows = [
        ["wound", "note", "day", "length", "width", "tissue"],
        [101, "x", datetime(2026, 1, 5, 14, 30), 3.0, 2.25, True],
        [102.0, "y", date(2026, 1, 6), "4", time(3, 30), 1],
    ]
    export = read_export(workbook(wounds=WOUND_ROWS, measurements=rows))
    assert table(export["measurements"].rows) == {
        "wound": ["101", "102"], "day": ["2026-01-05", "2026-01-06"], "length": ["3", "4"],
        "width": ["2.25", "03:30:00"], "tissue": ["True", "1"], "source_row": [2, 3],
    }  # fmt: skip
    assert export["measurements"].file == "export.xlsx, sheet measurements"


def test_empty_rows_of_a_sheet_keep_the_numbers_of_the_others(workbook):
    rows = [["wound", "day"], ["W1", 10], [None, None], ["W1", 17], [None, " "]]
    assert list(read_export(workbook(wounds=WOUND_ROWS, measurements=rows))["measurements"].rows["source_row"]) == [
        2,
        4,
    ]


def test_what_a_workbook_says_wrongly_of_itself_is_neither_believed_nor_shown(workbook):
    """Some tools write a size of one cell for every sheet, and no styles, of which openpyxl warns."""
    book = workbook(wounds=WOUND_ROWS, measurements=[["wound", "day"], ["W1", 10], ["W1", 17]])
    with zipfile.ZipFile(book) as parts:
        content = {name: parts.read(name) for name in parts.namelist()}
    content["xl/worksheets/sheet2.xml"] = content["xl/worksheets/sheet2.xml"].replace(b'ref="A1:B3"', b'ref="A1"')
    content["xl/styles.xml"] = b'<styleSheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>'
    with zipfile.ZipFile(book, "w") as parts:
        for name, part in content.items():
            parts.writestr(name, part)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert list(read_export(book)["measurements"].rows["day"]) == ["10", "17"]


SHEET = "xl/worksheets/sheet2.xml"  # the measurements


def parts_of(book):
    with zipfile.ZipFile(book) as parts:
        return {name: parts.read(name) for name in parts.namelist()}


def pack(book, parts):
    with zipfile.ZipFile(book, "w") as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
    return book


def changed(book, old, new):
    """The workbook with something else in the sheet of measurements; what is replaced must stand there."""
    parts = parts_of(book)
    assert old in parts[SHEET]
    return pack(book, parts | {SHEET: parts[SHEET].replace(old, new)})


@pytest.fixture
def sized(workbook):
    return workbook(wounds=WOUND_ROWS, measurements=[["wound", "day", "length"], ["W1", 10, 4], ["W1", 17, 3]])


FOUR = b'<c r="C2" t="n"><v>4</v></c>'


@pytest.mark.parametrize(
    "cell",
    [
        b'<c r="C2"><f>2+2</f></c>',
        b'<c r="C2"><f>2+2</f><v></v></c>',
        b'<c r="C2"><f>2+2</f><v/></c>',
        b'<c r="C2" s="1"><f t="shared" si="0"/><v /></c>',
    ],
)
def test_a_formula_that_was_never_computed_is_named(sized, cell):
    said = "export.xlsx, sheet measurements row 2: a formula there has no value yet; open the workbook in a spreadsheet"
    assert told(changed(sized, FOUR, cell)).startswith(said)


def test_an_uncomputed_formula_in_a_column_that_is_not_read_does_not_matter(sized):
    export = changed(sized, FOUR, FOUR + b'<c r="D2"><f>C2*2</f></c>')
    assert list(read_export(export)["measurements"].rows["length"]) == ["4", "3"]


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (b'<c r="C2"><f>2+2</f><v>4</v></c>', "4"),
        (b'<c r="C2" t="str"><f>IF(A2="","",B2)</f><v></v></c>', ""),
        (b'<c r="C2" t="str"><f>"he"&amp;"aled"</f><v>healed</v></c>', "healed"),
    ],
    ids=["number", "empty text", "text"],
)
def test_the_value_of_a_formula_is_read(sized, cell, text):
    assert list(read_export(changed(sized, FOUR, cell))["measurements"].rows["length"]) == [text, "3"]


def prefixed(sheet):
    """The sheet as programs write it that put a prefix before every element."""
    declared = sheet.replace(b"<worksheet xmlns=", b"<worksheet xmlns:x=")
    return re.sub(rb"<(/?)(?=[a-zA-Z])", rb"<\1x:", declared)


def test_elements_with_a_prefix_are_the_same_elements(sized):
    book = openpyxl.load_workbook(sized)
    book["measurements"].merge_cells("A2:A3")
    book.save(sized)
    export = changed(sized, b'<c r="C2" t="n"><v>4</v></c>', b'<c r="C2"><f>2+2</f></c>')
    parts = parts_of(export)
    pack(export, parts | {SHEET: prefixed(parts[SHEET])})
    assert "row 2: a formula there has no value yet" in told(export)
    pack(export, parts | {SHEET: prefixed(parts[SHEET]).replace(b"<x:f>2+2</x:f>", b"<x:v>4</x:v>")})
    assert list(read_export(export)["measurements"].rows["wound"]) == ["W1", "W1"]


ASKS = '<!DOCTYPE x [<!ENTITY e SYSTEM "else.txt">]>'


@pytest.mark.parametrize(
    "part",
    [
        f"{ASKS}<x/>".encode(),
        f"<!--{'long ' * 2000}-->{ASKS}<x/>".encode(),
        f'<?xml version="1.0" encoding="UTF-16"?>{ASKS}<x/>'.encode("utf-16"),
    ],
    ids=["at the beginning", "behind a long remark", "in another encoding"],
)
def test_a_document_type_is_refused_wherever_it_stands(sized, part):
    for name in (SHEET, "xl/anything.bin"):
        assert "asks for other files while it is read" in told(pack(sized, parts_of(sized) | {name: part}))


@pytest.mark.parametrize("lost", [1, 100, 1500])
def test_a_workbook_of_which_the_end_is_missing_is_told(sized, lost):
    sized.write_bytes(sized.read_bytes()[:-lost])
    assert told(sized).startswith("export.xlsx: the file cannot be read; export it again, or open it and save it anew")


def test_whatever_byte_is_damaged_the_file_is_read_right_or_told(sized, tmp_path):
    whole = sized.read_bytes()
    expected = table(read_export(sized)["measurements"].rows)
    said = set()
    for place in range(0, len(whole), 97):
        damaged = whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1 :]
        sized.write_bytes(damaged)
        try:
            assert table(read_export(sized)["measurements"].rows) == expected
        except ExportError as stopped:
            said.add(str(stopped).partition(":")[2])
    assert " the file cannot be read; export it again, or open it and save it anew" in said
    assert not any("\n" in words for words in said)


def test_a_fault_of_ours_is_not_said_of_the_workbook(sized, monkeypatch):
    def broken(*_):
        raise KeyError("ours")

    monkeypatch.setattr("kit.intake.readers.rows_of", broken)
    with pytest.raises(KeyError, match="ours"):
        read_export(sized)


def test_what_stands_in_merged_cells_holds_for_every_row_they_cover(workbook):
    rows = [["Rounds", None, None], ["wound", "day", "length"], ["W1", 10, 4], [None, 17, 3], ["W2", 11, 5]]
    book = openpyxl.load_workbook(workbook(wounds=WOUND_ROWS, measurements=rows))
    book["measurements"].merge_cells("A1:C1")
    book["measurements"].merge_cells("A3:A4")
    book.save(book_file := workbook(wounds=WOUND_ROWS))
    assert table(read_export(book_file)["measurements"].rows) == {
        "wound": ["W1", "W1", "W2"], "day": ["10", "17", "11"], "length": ["4", "3", "5"], "source_row": [3, 4, 5],
    }  # fmt: skip


def test_a_file_for_a_workbook_says_what_a_workbook_takes(workbook):
    export = workbook(measurements=[["ID", "Day"], ["W1", 10]])
    said = told(export, map_of(MAP.replace('sheet = "Wunden"\n', "")))
    assert said == f"export.xlsx: wounds is needed and not there; expected a sheet called wounds{TURNED}"


def test_a_sheet_named_in_the_map_is_read(workbook):
    export = workbook(Wunden=[["ID", "Person"], ["W1", "R1"]], measurements=[["ID", "Day"], ["W1", 10]])
    assert list(read_export(export, map_of(MAP))["wounds"].rows["resident"]) == ["R1"]


@pytest.mark.parametrize(
    ("sheets", "said"),
    [
        ({"wounds": WOUND_ROWS}, "export.xlsx: measurements is needed and not there; expected a sheet called"),
        ({"wounds": WOUND_ROWS, "measurements": []}, "export.xlsx, sheet measurements: it is empty"),
        ({"wounds": WOUND_ROWS, "measurements": [["wound", "day"]]}, "export.xlsx, sheet measurements: there are no"),
        ({"wounds": [["wound"], ["W1"]]}, "export.xlsx, sheet wounds: column resident is needed and not there"),
    ],
)
def test_a_sheet_that_lacks_something_is_named(workbook, sheets, said):
    assert told(workbook(**sheets)).startswith(said)


def test_a_file_that_is_no_workbook_is_told(tmp_path):
    (tmp_path / "export.xlsx").write_text("wound,day")
    assert told(tmp_path / "export.xlsx").startswith("export.xlsx: the file cannot be read; export it again")


def test_a_workbook_that_is_locked_says_so(tmp_path):
    (tmp_path / "export.xlsx").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(512))
    cure = "save it as .xlsx without a password"
    assert told(tmp_path / "export.xlsx") == f"export.xlsx: it is locked with a password or of an older kind; {cure}"


def test_folder_workbook_and_parquet_of_the_same_tables_read_the_same(tmp_path, workbook):
    frames = {}
    for name, text in {"wounds": WOUNDS, "measurements": MEASUREMENTS}.items():
        lines = [line.split(",") for line in csv_text(text).splitlines()]
        frames[name] = pd.DataFrame(lines[1:], columns=lines[0])
        folder = tmp_path / "parquet"
        folder.mkdir(exist_ok=True)
        frames[name].to_parquet(folder / f"{name}.parquet")
    book = workbook(**{name: [list(frame), *frame.values.tolist()] for name, frame in frames.items()})
    (tmp_path / "csv").mkdir()
    ways = [read_export(source) for source in (write(tmp_path / "csv", residents=None), folder, book)]
    for name in frames:
        first, *others = (table(way[name].rows) for way in ways)
        assert others == [first, first]


def test_a_wound_named_by_person_and_site_is_the_same_in_other_words_and_may_have_no_side(tmp_path):
    (tmp_path / "rounds.csv").write_text(
        "Person,Site,Side,Date\nP1,L heel,,2026-01-05\np1 ,heel (L),,2026-01-12\nP1,Heel,Left,2026-01-19\n"
        "P1,heel,L,2026-01-26\nP1,sacrum,,2026-01-05\n,sacrum,,2026-01-05\n",
        encoding="utf-8",
    )
    join = {"wound": Place(join=("Person", "Site", "Side")), "day": Place(column="Date")}
    wounds = {"wound": join["wound"], "resident": Place(column="Person")}
    mapped = {
        "wounds": TableMap(file="rounds.csv", columns=wounds),
        "measurements": TableMap(file="rounds.csv", columns=join),
    }
    named = read_export(tmp_path, mapped)["measurements"].rows["wound"].tolist()
    assert named == ["p1/heel/left"] * 4 + ["p1/sacrum", ""]


def rounds_named(folder, *names):
    for name in names:
        (folder / f"{name}.csv").write_text("Wound,Size\nW1,3 x 2\n", encoding="utf-8")
    day = Place(sheet_name=True, format="M-D", year=2025)
    columns = {"wound": Place(column="Wound"), "day": day, "dimensions": Place(column="Size")}
    wounds = TableMap(file="w.csv", columns={"wound": Place(column="Wound"), "resident": Place(column="Person")})
    (folder / "w.csv").write_text("Wound,Person\nW1,P1\n", encoding="utf-8")
    return read_export(folder, {"wounds": wounds, "measurements": TableMap(file="Wk of *.csv", columns=columns)})


def test_files_are_in_the_order_of_the_numbers_in_their_names(tmp_path):
    raw = rounds_named(tmp_path, *(f"Wk of {month}-5" for month in range(1, 13)))["measurements"]
    assert raw.rows["day"].tolist() == [f"2025-{month:02}-05" for month in range(1, 13)]


def test_days_without_a_year_that_jump_stop_the_run(tmp_path):
    with pytest.raises(ExportError, match="jump by more than three months"):
        rounds_named(tmp_path, "Wk of 1-5", "Wk of 8-3")


def test_a_header_among_the_days_that_holds_none_stops_the_run(tmp_path):
    (tmp_path / "t.csv").write_text(
        "Wound,Person,Wk of 4/13/2026,Wk of 4/20/26\nW1,P1,3 x 2,healed\n", encoding="utf-8"
    )
    columns = {"wound": Place(column="Wound")}
    across = Across(headers="Wk of *", format="MM/DD/YYYY")
    mapped = {
        "wounds": TableMap(file="t.csv", columns=columns | {"resident": Place(column="Person")}),
        "measurements": TableMap(file="t.csv", columns=columns, across=across),
    }
    with pytest.raises(ExportError, match="column 4 stands among the days"):
        read_export(tmp_path, mapped)


def test_a_pattern_reads_no_hidden_sheet_and_a_number_is_no_thousand(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "wounds"
    book.active.append(["wound", "resident"])
    book.active.append(["W1", "R1"])
    for name, hidden in (("Wk 1", False), ("Wk 2", True)):
        sheet = book.create_sheet(name)
        sheet.append(["wound", "day", "area"])
        sheet.append(["W1", "10", 1.125])
        sheet.sheet_state = "hidden" if hidden else "visible"
    book.save(tmp_path / "b.xlsx")
    columns = {name: Place(column=name) for name in ("wound", "day", "area")}
    wounds = TableMap(sheet="wounds", columns={name: Place(column=name) for name in ("wound", "resident")})
    mapped = {"wounds": wounds, "measurements": TableMap(sheet="Wk *", decimal="comma", columns=columns)}
    rows = read_export(tmp_path / "b.xlsx", mapped)["measurements"].rows
    assert rows["area"].map(float).tolist() == [1.125]
    assert rows["area"].tolist() == ["1.1250"]  # three digits behind a point could be a thousand
