"""The tutorial's own house rules, and the messy workbook that it begins with."""

import ast
import copy
import html
import io
import re
import zipfile
from pathlib import Path

import nbformat
import pandas as pd
import pytest

from benchmarks.mapping import ASK
from kit.intake.drafting import draft
from kit.pages.display import MARK
from kit.synthetic.messy import HOUSE, PEOPLE, WORKBOOK, sheets, workbook
from tests.refresh_notebooks import TAG, is_checked
from tests.test_notebooks import ABSOLUTE, METADATA

ROOT = Path(__file__).parent.parent
TUTORIAL = ROOT / "notebooks" / "tutorial" / "from-sheet-to-page.ipynb"
MESSY = ROOT / "data" / "synthetic" / "messy"
LONGEST, STEPS = 8, 10  # lines of a code cell
STEP = re.compile(r"^## (\d+)\. \S", re.MULTILINE)
# What a beginner needs besides the kit: files, a folder that goes away, a sheet's words, the command itself.
ROOMS = {"kit", "pandas", "pathlib", "shutil", "tempfile", "subprocess", "sys"}
FORBIDDEN = {"print", "display", "warnings", "filterwarnings"}
PSEUDONYM = re.compile(r"\b(?!CFR )[A-Z]{1,3}[-_ ]?\d{2,}\b")
CLOCK = re.compile(r"\b\d{1,2}:\d\d\b|\b\d+\.\d+ s\b")
CAUTIONS = ("privacy officer", "never advises", "local policy", "licensed practice")


def problems(node):
    """What is untidy about the tutorial, a sentence each."""
    return [
        *_of_the_steps(node),
        *(f"cell {number} {told}" for number, cell in enumerate(node.cells, start=1) for told in _of_a_cell(cell)),
    ]


def _of_the_steps(node):
    words = "\n".join(cell.source for cell in node.cells if cell.cell_type == "markdown")
    if node.metadata != METADATA:
        yield "metadata hold more, or less, than the kernel's name"
    if [int(number) for number in STEP.findall(words)] != list(range(1, STEPS + 1)):
        yield "the steps are not numbered 1 to 10"
    yield from (f"does not say: {caution}" for caution in CAUTIONS if caution not in node.cells[0].source)
    if not re.fullmatch(r"folder\.cleanup\(\)\nshow\(.*\)", _code(node)[-1].source):
        yield "the last box does not remove the folder"


def _code(node):
    return [cell for cell in node.cells if cell.cell_type == "code"]


def _of_a_cell(cell):
    if set(cell.metadata) - {"tags"}:
        yield "has metadata beside its tags"
    if ABSOLUTE.search(cell.source):
        yield "names an absolute path"
    if cell.cell_type == "code":
        yield from _of_the_code(cell.source)
        yield from _of_the_outputs(cell)


def _of_the_code(source):
    if len(source.split("\n")) > LONGEST:
        yield f"is longer than {LONGEST} lines"
    for part in ast.walk(ast.parse(source)):
        if isinstance(part, ast.FunctionDef | ast.ClassDef | ast.Lambda):
            yield "defines something"
        if isinstance(part, ast.Import | ast.ImportFrom):
            rooms = [part.module] if isinstance(part, ast.ImportFrom) else [alias.name for alias in part.names]
            yield from (f"imports {room}" for room in rooms if room.partition(".")[0] not in ROOMS)
        if isinstance(part, ast.Expr) and ast.unparse(part.value) != "folder.cleanup()" and not _shows(part):
            yield "has an expression that is not show()"
        name = getattr(part, "id", getattr(part, "attr", ""))
        if name in FORBIDDEN:
            yield f"uses {name}"


def _shows(part):
    return isinstance(part, ast.Expr) and isinstance(part.value, ast.Call) and ast.unparse(part.value.func) == "show"


def _of_the_outputs(cell):
    if not is_checked(cell):
        yield "is not checked"
    if cell.execution_count != 1:
        yield "has another execution count than the one that refreshing stores"
    if any(_shows(part) for part in ast.walk(ast.parse(cell.source))) != bool(cell.outputs):
        yield "shows something and has no stored output, or the other way round"
    for output in cell.outputs:
        shown = output.output_type == "display_data" and output.metadata.get("text/html") == MARK
        if not shown or set(output.data) != {"text/html"}:
            yield "has an output that show() did not emit"
            continue
        yield from _of_what_is_shown(output.data["text/html"])


def _of_what_is_shown(shown):
    text = html.unescape(re.sub(r"<[^>]+>", " ", shown))
    if ABSOLUTE.search(text) or "sheet-to-page-" in text:
        yield "shows a path that differs from desk to desk"
    if PSEUDONYM.search(text):
        yield "shows what may be a pseudonym"
    if CLOCK.search(text):
        yield "shows a time that differs from run to run"


@pytest.fixture(scope="module")
def node():
    return nbformat.read(TUTORIAL, as_version=4)


def test_the_tutorial_keeps_its_house_rules(node):
    nbformat.validate(node)
    assert problems(node) == []


def test_the_tutorial_is_no_notebook_of_a_report():
    assert [file.name for file in TUTORIAL.parent.glob("*.ipynb")] == [TUTORIAL.name]
    assert TUTORIAL not in set((ROOT / "notebooks").glob("*.ipynb")) and not TUTORIAL.name[0].isdigit()


def test_the_workbook_lies_where_the_tutorial_looks_for_it(node):
    [sent] = re.findall(r'^sent = "([^"]*)"', _code(node)[0].source, re.MULTILINE)
    assert (TUTORIAL.parent / sent).resolve() == MESSY / WORKBOOK
    assert (MESSY / WORKBOOK).is_file() and (MESSY / "study-plan.toml").is_file()
    assert (ROOT / "desk" / "tutorial" / sent).resolve() == MESSY / WORKBOOK  # where a copy of it is worked on


def test_rows_in_are_rows_kept_and_rows_set_aside(node):
    shown = [output.data["text/html"] for cell in _code(node) for output in cell.outputs]
    [numbers] = [re.findall(r"[\d,]+", text) for text in shown if "rows in =" in text]
    rows, kept, aside = (int(number.replace(",", "")) for number in numbers)
    assert rows == kept + aside and aside > 0


# --- the checker ---


def two_steps_swapped(node):
    for cell in node.cells:
        cell.source = cell.source.replace("## 3. ", "## 4. ")


def a_caution_less(node):
    node.cells[0].source = node.cells[0].source.replace("privacy officer", "colleague")


def folder_left(node):
    _code(node)[-1].source = "show(made.name)"


def long_box(node):
    _code(node)[0].source += "\na = 1" * LONGEST


def printed(node):
    _code(node)[0].source = "print(5)"


def stranger(node):
    _code(node)[0].source = "import IPython"


def function(node):
    _code(node)[0].source = "def half(n):\n    return n / 2"


def unchecked(node):
    _code(node)[2].metadata = {"tags": []}


def uncounted(node):
    _code(node)[2].execution_count = None


def nothing_stored(node):
    _code(node)[2].outputs = []


def shows(text):
    def spoil(node):
        _code(node)[2].outputs[0].data["text/html"] = text

    return spoil


def spoken(node):
    _code(node)[2].outputs = [nbformat.from_dict({"output_type": "stream", "name": "stdout", "text": "5"})]


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (two_steps_swapped, ["the steps are not numbered 1 to 10"]),
        (a_caution_less, ["does not say: privacy officer"]),
        (folder_left, ["the last box does not remove the folder"]),
        (long_box, ["cell 2 is longer than 8 lines"]),
        (printed, ["cell 2 has an expression that is not show()", "cell 2 uses print"]),
        (stranger, ["cell 2 imports IPython"]),
        (function, ["cell 2 defines something"]),
        (unchecked, ["cell 5 is not checked"]),
        (uncounted, ["cell 5 has another execution count than the one that refreshing stores"]),
        (nothing_stored, ["cell 5 shows something and has no stored output, or the other way round"]),
        (spoken, ["cell 5 has an output that show() did not emit"]),
        (shows("<p>/tmp/x/page.html</p>"), ["cell 5 shows a path that differs from desk to desk"]),
        (shows("<p>in sheet-to-page-a8x</p>"), ["cell 5 shows a path that differs from desk to desk"]),
        (shows("<td>W0793</td>"), ["cell 5 shows what may be a pseudonym"]),
        (shows("<td>R0220</td>"), ["cell 5 shows what may be a pseudonym"]),
        (shows("<p>12.5 s  Notebook</p>"), ["cell 5 shows a time that differs from run to run"]),
        (shows("<p>made at 09:15</p>"), ["cell 5 shows a time that differs from run to run"]),
    ],
)
def test_each_broken_rule_of_the_tutorial_is_told_and_nothing_else_is(node, spoil, told):
    spoilt = copy.deepcopy(node)
    spoil(spoilt)
    assert problems(spoilt) == told


# --- the workbook ---


@pytest.fixture(scope="module")
def sent():
    return {sheet.name: sheet for sheet in sheets()}


def test_no_clock_leaves_a_trace_in_the_workbook():
    parts = zipfile.ZipFile(io.BytesIO(workbook())).infolist()
    assert {part.date_time for part in parts} == {(2026, 7, 6, 9, 0, 0)}
    assert {part.compress_type for part in parts} == {zipfile.ZIP_STORED}
    core = zipfile.ZipFile(io.BytesIO(workbook())).read("docProps/core.xml")
    assert re.findall(rb">([\d:TZ-]{20})<", core) == [b"2026-07-06T09:00:00Z"] * 2


def test_the_workbook_holds_every_slip_that_the_tutorial_speaks_of(sent):
    rounds, log = sent["Rounds"].rows, sent["Tx log"].rows
    sizes = rounds["Size LxWxD (cm)"]
    assert sizes.str.fullmatch(r"[\d.]+ x [\d.]+ x UTD").any() and (sizes == "n/m").sum() >= 10
    lengths = pd.to_numeric(sizes.str.extract(r"^([\d.]+) x")[0])
    assert (lengths > 60).sum() == 1
    assert log.duplicated().sum() == 1
    assert set(rounds["Status"]) == {"Open", "Healed", "Bridged"}
    assert sent["Wound list"].rows["Loc."].str.startswith("Bed sore ").sum() == 4
    assert rounds["Date seen"].str.fullmatch(r"[1-9]\d?/[1-9]\d?/20\d\d").all()
    assert all(sheet.above[0].startswith(HOUSE) for sheet in sent.values())
    assert [name for name, sheet in sent.items() if sheet.below] == ["Rounds", "Tx log"]


def test_the_workbook_tells_of_one_house(sent):
    assert len(sent["Census"].rows) == PEOPLE and set(sent["Census"].rows["Building"]) == {HOUSE}
    people, wounds = set(sent["Census"].rows["Res #"]), set(sent["Wound list"].rows["Wound ref"])
    assert all(set(sheet.rows["Res #"]) <= people for sheet in sent.values() if "Res #" in sheet.rows)
    assert set(sent["Rounds"].rows["Wound ref"]) <= wounds


def test_the_draft_finds_every_sheet_and_asks_about_each_odd_word():
    drafted = draft(MESSY / WORKBOOK)
    assert {name: mapped.sheet for name, mapped in drafted.mapping.items()} == {
        "residents": "Census", "wounds": "Wound list", "measurements": "Rounds", "sessions": "Tx log",
        "departures": "Out of house",
    }  # fmt: skip
    asked = {(doubt.table, doubt.column) for doubt in drafted.doubts}
    assert asked == {
        ("wounds", "site"), ("measurements", "state"), ("measurements", "dimensions"), ("sessions", "modality"),
    }  # fmt: skip
    assert not any(place.format == ASK for mapped in drafted.mapping.values() for place in mapped.columns.values())


def test_the_tag_by_which_nbval_checks_a_box_is_known():
    assert TAG == "nbval-check-output"
    cell = nbformat.v4.new_code_cell("show(5)")
    assert not is_checked(cell)
    cell.metadata["tags"] = [TAG]
    assert is_checked(cell)
