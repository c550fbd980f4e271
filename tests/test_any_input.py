"""Whatever stands in cells, headers, files, workbooks, maps and plans: one line, or a study that misses no row."""

import csv
import io
import tempfile
import tomllib
from contextlib import contextmanager
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.faults import ExportError
from kit.intake.drafting import draft
from kit.intake.mapping import read_map
from kit.pages.folders import folder_name
from kit.plan import PlanError, read_plan
from kit.study import read_study
from tests.broken_exports import valid, workbook
from tests.exports import PLAN

SECRET = "Zephyrine Q"  # in front of a drawn text: what is refused must not be quoted
few = settings(max_examples=25, derandomize=True, deadline=None)
TABLES = {"wounds": 4, "measurements": 5, "sessions": 6, "departures": 3, "residents": 4}
places = st.sampled_from(list(TABLES)).flatmap(
    lambda table: st.tuples(st.just(table), st.integers(1, 2 if table != "departures" else 1),
                            st.integers(0, TABLES[table] - 1)))  # fmt: skip
texts = st.text(st.characters(codec="utf-8"), max_size=40)
numbers = st.one_of(st.integers(), st.floats()).map(str)
cells = st.one_of(texts, numbers, st.dates().map(str), texts.map(lambda text: SECRET + text))


encodings = st.sampled_from(["utf-8", "utf-16", "utf-32", "cp1252", "latin-1", "cp037", "utf-7"])


@contextmanager
def an_export():
    with tempfile.TemporaryDirectory() as folder:
        yield valid(Path(folder) / "export")


def told(export, **asked):
    """The line that stops the run, or nothing where the study's account adds up."""
    try:
        account = read_study(export, **asked).account
    except (ExportError, PlanError) as stop:
        line = str(stop)
        assert line and "\n" not in line and SECRET not in line
        return line
    assert (account["kept"] + account["set_aside"]).tolist() == account["rows_in"].tolist()
    return ""


def rows_of(export, table):
    with (export / f"{table}.csv").open(newline="", encoding="utf-8") as lines:
        return list(csv.reader(lines))


def written(rows):
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()


@few
@given(places, cells)
def test_any_cell(place, cell):
    table, row, column = place
    with an_export() as export:
        rows = rows_of(export, table)
        rows[row][column] = cell
        (export / f"{table}.csv").write_bytes(written(rows).encode("utf-8", "surrogatepass"))
        told(export)


@few
@given(st.lists(cells, min_size=1, max_size=8), st.sampled_from(list(TABLES)))
def test_any_headers(headers, table):
    with an_export() as export:
        rows = rows_of(export, table)
        (export / f"{table}.csv").write_bytes(written([headers, *rows[1:]]).encode("utf-8", "surrogatepass"))
        try:
            read_study(export)
        except ExportError as stop:
            assert "\n" not in str(stop)


@few
@given(st.sampled_from(list(TABLES)), encodings, st.integers(0, 400))
def test_any_encoding_cut_anywhere(table, encoding, cut):
    with an_export() as export:
        file = export / f"{table}.csv"
        file.write_bytes(file.read_text(encoding="utf-8").encode(encoding, "replace")[:cut])
        told(export)


@few
@given(st.sampled_from(list(TABLES)), st.binary(max_size=300))
def test_any_bytes(table, content):
    with an_export() as export:
        (export / f"{table}.csv").write_bytes(content)
        told(export)


excel = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**9), 10**9), st.floats(allow_nan=False, allow_infinity=False),
    st.dates(), st.times(), st.text(st.characters(min_codepoint=32, codec="utf-8"), max_size=30),
)  # fmt: skip


@few
@given(places, excel)
def test_any_cell_of_a_workbook(place, cell):
    table, row, column = place
    with an_export() as export:
        file = workbook(export)
        book = openpyxl.load_workbook(file)
        book[table].cell(row + 1, column + 1).value = cell
        book.save(file)
        told(file)


@few
@given(st.integers(0, 8000), st.binary(min_size=1, max_size=40))
def test_any_bytes_within_a_workbook(place, content):
    with an_export() as export:
        file = workbook(export)
        whole = file.read_bytes()
        file.write_bytes(whole[:place] + content + whole[place + len(content) :])
        told(file)


@few
@given(st.sampled_from(list(TABLES)), st.binary(max_size=200))
def test_a_draft_of_any_bytes(table, content):
    with an_export() as export:
        (export / f"{table}.csv").write_bytes(content)
        try:
            draft(export)
        except ExportError as stop:
            assert "\n" not in str(stop)


# --- maps and plans ---

words = st.text(st.characters(codec="ascii", categories=["L", "N"]), min_size=1, max_size=8)
keys = st.sampled_from(
    ["measurements", "wounds", "columns", "wound", "day", "file", "sheet", "program", "windows", "sizes", "comparison",
     "regimens", "name", "basis", "cutoff", "horizons", "across", "only", "decimal"]
)  # fmt: skip
leaves = st.one_of(words, st.integers(-(2**70), 2**70), st.booleans(), st.floats(), st.dates())
trees = st.recursive(
    leaves, lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(keys, inner, max_size=4))
)


def toml(tree):
    """A value as TOML writes it in one line."""
    if isinstance(tree, dict):
        return "{" + ", ".join(f"{key} = {toml(value)}" for key, value in tree.items()) + "}"
    if isinstance(tree, list):
        return "[" + ", ".join(map(toml, tree)) + "]"
    if isinstance(tree, bool):
        return str(tree).lower()
    return f'"{tree}"' if isinstance(tree, str) else str(tree)


def document(tree):
    return "".join(f"{key} = {toml(value)}\n" for key, value in tree.items())


@few
@given(st.dictionaries(keys, trees, max_size=5), st.sampled_from([read_map, read_plan]))
def test_any_map_or_plan(tree, reader):
    tomllib.loads(document(tree))  # what is drawn is TOML
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "given.toml"
        file.write_text(document(tree), encoding="utf-8")
        try:
            reader(file)
        except (ExportError, PlanError) as stop:
            assert str(stop).startswith("given.toml: ") and "\n" not in str(stop)


@few
@given(st.binary(max_size=200), st.sampled_from([read_map, read_plan]))
def test_any_bytes_for_a_map_or_a_plan(content, reader):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "given.toml"
        file.write_bytes(content)
        try:
            reader(file)
        except (ExportError, PlanError) as stop:
            assert "\n" not in str(stop)


@few
@given(st.sampled_from(PLAN.split()), st.text(st.characters(codec="utf-8"), max_size=12))
def test_any_word_of_a_plan_put_otherwise(word, other):
    with an_export() as export:
        (export / "study-plan.toml").write_text(PLAN.replace(word, other), encoding="utf-8")
        told(export)


# --- names ---


@settings(max_examples=300, derandomize=True, deadline=None)
@given(st.text(min_size=1, max_size=60))
def test_any_name_of_a_facility_is_one_plain_folder(name):
    made = folder_name(name)
    assert made == Path(made).name and made.isascii() and made.strip(".- ") and len(made) <= 47
    assert all(letter.isalnum() or letter == "-" for letter in made)


@pytest.mark.parametrize("name", ["..", ".", "/", "\\", "C:", "../x", "x/../../y", "nul", "CON", "a\0b", " ", "a:b"])
def test_no_name_of_a_facility_leads_elsewhere(name, tmp_path):
    assert (tmp_path / folder_name(name)).resolve().parent == tmp_path.resolve()
