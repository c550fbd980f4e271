"""What is counted or looked at once for a whole file or export says what row by row would."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kit.faults import ExportError
from kit.intake import naming, patterns, pseudonyms, texts
from kit.intake.files import _stripped, text_sheet
from kit.intake.layouts import repeats_header
from kit.intake.readers import read_export
from kit.intake.screening import screen
from kit.plan import read_plan
from kit.study import PLAN_NAME

SYNTHETIC = Path(__file__).resolve().parents[1] / "data" / "synthetic"


ANY = [
    "wound,day,size\nW1,2026-01-01,3",
    "wound,day,size\r\nW1,2026-01-01,3\r\n",
    "wound,day,size\rW1,2026-01-01,3\r",
    "wound,day,size\nW1\n\n  \n,,3\n",  # rows that end early, an empty one, one of blanks
    'wound,day,size\nW1,"1,2",3\nW2,"say ""x""",\n',
    'wound,day,size\nW1,"two\nlines",3\nW2,a"b,"c"d\n',
    'wound,day,size\nW1,"two\nlines"\n\nW2,a"b,"c"d',
    "wound,day,size\nW1,1,3,\nW2,2,4,\n",  # every row ends in the same empty cell
    "wound,day,size\n",
]


def hits(cells: list[str]) -> int:
    return len({"wound", "day", "size"} & set(cells))


def written(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    file = tmp_path / "sizes.csv"
    file.write_bytes(text.encode(encoding))
    return file


def row_by_row(text: str) -> list[list[str]]:
    """What the csv module reads, every row as wide as the header."""
    header, *rows = csv.reader(io.StringIO(text, newline=""))
    return [[cell.strip() for cell in [*row, "", "", ""][: len(header)]] for row in rows]


def at_once(file: Path) -> list[list[str]]:
    sheet = text_sheet(file, hits)
    return [list(row) for row in zip(*sheet.read([0, 1, 2]), strict=True)]


@pytest.mark.parametrize("text", ANY)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_a_text_read_at_once_says_what_row_by_row_does(tmp_path, text, encoding):
    assert at_once(written(tmp_path, text, encoding)) == row_by_row(text)


PIECES = st.lists(
    st.lists(st.text(st.sampled_from('ab "\r\n'), max_size=3), min_size=1, max_size=3).map(",".join), max_size=4
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(PIECES)
def test_whatever_stands_between_marks_and_line_ends_is_read_as_row_by_row_or_refused(tmp_path, lines):
    text = "\n".join(["wound,day,size", *lines])
    closed = list(csv.reader([*io.StringIO(text, newline=""), "\0,\0"]))[-1] == ["\0", "\0"]
    wide = any(len(row) > 3 for row in csv.reader(io.StringIO(text, newline="")))
    file = written(tmp_path, text)
    if closed and not wide:
        assert at_once(file) == row_by_row(text)
    elif not closed:
        with pytest.raises(ExportError, match="never closed|more cells"):
            text_sheet(file, hits)


@pytest.mark.parametrize("text", ["wound,day,size\nW1,1,3,\nW2,2,4\n", "wound,day,size\nW1,1,3,x\nW2,2,4,\n"])
def test_a_row_of_its_own_length_stops_the_run(tmp_path, text):
    with pytest.raises(ExportError, match="row 2: has more cells"):
        text_sheet(written(tmp_path, text), hits)


@pytest.mark.parametrize(("rows", "row"), [('W1,1,3\nW2,"2,4\nW3,3,5\n', 3), ('"', 2), ('W1,"1\n2",3\n"W2,2,4', 3)])
def test_a_mark_that_is_never_closed_is_told_by_the_row_in_which_it_is_opened(tmp_path, rows, row):
    with pytest.raises(ExportError, match=f"row {row}: a quotation mark is opened and never closed"):
        text_sheet(written(tmp_path, f"wound,day,size\n{rows}"), hits)


def test_a_row_longer_than_what_is_parsed_at_once_is_read(tmp_path, monkeypatch):
    monkeypatch.setattr(texts, "BLOCK", 64)
    text = f"wound,day,size\nW1,1,{'x' * 500}\nW2,2,4\n"
    assert at_once(written(tmp_path, text)) == row_by_row(text)


def test_a_row_that_is_too_long_still_stops_the_run(tmp_path):
    file = tmp_path / "wounds.csv"
    file.write_text("wound,resident\nW1,R1\nW2,R2,x\n", encoding="utf-8")
    with pytest.raises(ExportError, match="row 3: has more cells"):
        text_sheet(file, lambda cells: len({"wound", "resident"} & set(cells)))


def test_cells_lose_their_blanks_and_nothing_is_an_empty_cell():
    cells = pa.chunked_array([pa.array([" a ", "a", None]), pa.array(["", "b\t"])])
    assert _stripped(cells).tolist() == ["a", "a", "", "", "b"]
    assert _stripped(cells).cat.categories.tolist() == ["a", "", "b"]
    assert _stripped(pa.chunked_array([], pa.string())).empty


def test_a_repeated_header_is_found_and_half_of_one_too():
    frame = pd.DataFrame([["W1", "3"], ["wound", "size"], ["wound", ""], ["", ""], ["wound", "3"], ["W1", "size"]])
    assert repeats_header(frame, ["wound", "size"]).tolist() == [False, True, True, False, False, False]


def test_a_pseudonym_is_looked_at_once_and_forgotten_when_the_export_is_read(monkeypatch):
    folder, looked = SYNTHETIC / "clean", []
    pseudonyms.forget()
    may_hold = patterns.Texts.may_hold

    def counting(texts: patterns.Texts, pattern: str):
        if pattern == "|".join(kind for _, kind in pseudonyms._kinds("wound")):
            looked.extend(texts)
        return may_hold(texts, pattern)

    monkeypatch.setattr(patterns.Texts, "may_hold", counting)
    raw = read_export(folder)
    screen(raw, read_plan(folder / PLAN_NAME))
    assert set(raw["wounds"].rows["wound"]) <= set(looked)
    assert len(looked) == len(set(looked))  # and not once more for every table in which it stands
    assert pseudonyms._LOOKED_AT == {}


def test_what_has_no_two_letters_in_a_row_holds_no_name_and_what_has_is_asked():
    assert naming.people_in("R0123") == [] and re.search(naming.HINTS, "R0123") is None
    assert naming.people_in("Smith, J") and naming.people_in("A. Smith") and naming.people_in("JohnSmith")


EVERY_PATTERN = [*(pattern for _, pattern, _ in pseudonyms.RESEMBLES), *(pattern for _, pattern in naming.HOLDS)]
EVERY_PATTERN += [pseudonyms.INITIALS, pseudonyms.RUNNING, pseudonyms.PLATE, pseudonyms.STRANGER, naming.HINTS]
LIKE_PEOPLE = [
    "John Smith", "Smith, J", "js1940", "MRN 12345", "123-45-6789", "1EG4-TE5-MK73", "1HGBH41JXMN109186", "R000123",
    "12/31/1940", "3 Mar 1940", "19400312", "john@example.org", "www.example.org", "(555) 555-1234", "+44 20 7946 0958",
    "10.0.0.12", "00:1a:2b:3c:4d:5e", "12 Oak Street", "P.O. Box 12", "97 yo", "44-71-03", "IMG 0042", "room 12",
    "Nurse B", "Whiteoak", "KQR-4827", "1.2e+05", "thumb fingerprint 1", "\ufb01 Müller, K", "R1\n1940-01-01", "\ud800",
]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.text(st.sampled_from("aBjs19023-/. ,:@()#x'ſKé\n"), max_size=14), st.sampled_from(LIKE_PEOPLE))
def test_many_texts_at_once_hold_what_each_alone_holds(drawn, like):
    asked = patterns.Texts.of([drawn, like, drawn + like, like + drawn, like.upper(), "R0101x001", ""])
    for pattern in EVERY_PATTERN:
        alone = [re.search(f"(?is){pattern}", text) is not None for text in asked]
        assert asked.holding(pattern).tolist() == alone
        assert asked.may_hold(pattern)[alone].all()
        assert asked.like(pattern).tolist() == [re.fullmatch(f"(?is){pattern}", text) is not None for text in asked]


@pytest.mark.parametrize("column", pseudonyms.EVERY)
def test_a_text_that_looks_like_any_kind_is_always_looked_at_alone_and_a_code_is_not(column):
    kinds = pseudonyms._kinds(column)
    asked = patterns.Texts.of([text for text in LIKE_PEOPLE if pseudonyms._first_kind(text, kinds) < len(kinds)])
    assert len(asked) > 18
    assert (pseudonyms._alone(column, asked) < len(kinds)).all()
    codes = patterns.Texts.of(["R0101x001", "W17", "House 3"])
    assert not codes.may_hold("|".join(pattern for _, pattern in kinds)).any()
    pseudonyms.forget()


def test_what_looks_around_is_taken_out_of_a_pattern_and_nothing_else():
    assert patterns.loosened(r"(?<![\w)])a(?!b(c)[)]\))[(?=]\(?(x)\1") == r"(?s)a[(?=]\(?(x).*"


def test_the_first_kind_that_is_met_is_told():
    texts = pd.Series(["R0001", "R0002", "john@example.org", "R0003"])
    assert pseudonyms.resembles("resident", texts) == "an e-mail address or a web address"
    assert pseudonyms.resembles("resident", texts.drop(2)) == ""
    pseudonyms.forget()


def test_positions_of_rows_survive():
    frame = pd.DataFrame({"a": ["a", "x"]}, index=[5, 9])
    assert repeats_header(frame, ["a"]).to_dict() == {5: True, 9: False}
    assert np.array_equal(repeats_header(frame, ["a"]).index, frame.index)


def test_a_text_in_a_memory_is_asked_each_question_once():
    memory, asked = patterns.Memory(), []

    def long(texts: patterns.Texts) -> np.ndarray:
        asked.append(list(texts))
        return np.array([len(text) > 2 for text in texts])

    first, second = (patterns.Texts.of(words, memory) for words in (["R1", "R12"], ["R12", "R123", "R1"]))
    assert first.asked("long", long).tolist() == [0, 1]
    assert second.asked("long", long).tolist() == [1, 1, 0]
    assert second[np.array([False, True, True])].asked("long", long).tolist() == [1, 0]
    assert asked == [["R1", "R12"], ["R123"]]
    assert second.holding("2").tolist() == [True, True, False] and second.holding("3").tolist() == [False, True, False]
