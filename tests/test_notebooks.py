"""The house rules of the notebooks: each opens with a question, is short, plain, and shows only through show()."""

import ast
import copy
import re
from pathlib import Path

import nbformat
import pytest

from kit.pages.display import MARK

NOTEBOOKS = Path(__file__).parent.parent / "notebooks"
FILES = sorted(NOTEBOOKS.glob("*.ipynb"))
CHECKED = "# NBVAL_CHECK_OUTPUT"
FEWEST, MOST, LONGEST = 8, 12, 8  # cells of a notebook, lines of a code cell
METADATA = {
    "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
    "language_info": {"name": "python"},
}
FILE = re.compile(r"\d\d-[a-z0-9]+(-[a-z0-9]+)*\.ipynb")
PARAMETER = re.compile(r"""[a-z_]+ = ("[^"]*"|-?\d+(\.\d+)?|True|False)  # (text|number|yes or no): \S.*""")
ABSOLUTE = re.compile(r"""(?<![\w.])(/(home|Users|root|tmp|var|mnt|work|opt)\b|[A-Za-z]:\\|~/|file:)""")
PROVENANCE = "show(provenance(study))"
FORBIDDEN_CODE = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef, ast.Lambda)


def problems(name, node):
    """What is untidy about a notebook, a sentence each."""
    return [
        *_of_the_file(name, node),
        *_of_the_opening(node),
        *_of_the_parameters(node),
        *(problem for number, cell in enumerate(node.cells, start=1) for problem in _of_a_cell(number, cell)),
    ]


def _of_the_file(name, node):
    if not FILE.fullmatch(name):
        yield f"{name} is not called like 01-who-was-treated.ipynb"
    if not FEWEST <= len(node.cells) <= MOST:
        yield f"{len(node.cells)} cells, not {FEWEST} to {MOST}"
    if node.cells[-1].source != PROVENANCE:
        yield "the last cell is not the provenance line"
    if node.metadata != METADATA:
        yield "metadata hold more, or less, than the kernel's name"


def _of_the_opening(node):
    title, *rest = node.cells[0].source.split("\n")
    if node.cells[0].cell_type != "markdown" or not (title.startswith("# ") and title.endswith("?")):
        yield "does not open with its question as title"
    if not "".join(rest).strip():
        yield "does not say under its question why it matters"


def _of_the_parameters(node):
    code = [cell for cell in node.cells if cell.cell_type == "code"]
    tagged = [cell for cell in code if "parameters" in cell.metadata.get("tags", [])]
    if len(tagged) != 1 or tagged[0] is not code[0]:
        yield "not exactly one parameters cell, before all other code"
    for cell in tagged:
        yield from (f"parameter not told as: name = default  # type: meaning: {line}"
                    for line in cell.source.split("\n") if not PARAMETER.fullmatch(line))  # fmt: skip


def _of_a_cell(number, cell):
    said = [] if cell.cell_type != "code" else [*_of_the_code(cell.source), *_of_the_outputs(cell)]
    if set(cell.metadata) - {"tags"}:
        said.append("has metadata beside its tags")
    if ABSOLUTE.search(cell.source):
        said.append("names an absolute path")
    return [f"cell {number} {problem}" for problem in said]


def _of_the_code(source):
    if len(source.split("\n")) > LONGEST:
        yield f"is longer than {LONGEST} lines"
    try:
        parts = list(ast.walk(ast.parse(source)))
    except SyntaxError:
        parts = []
        yield "is not plain Python"
    for part in parts:
        if isinstance(part, FORBIDDEN_CODE):
            yield "defines something"
        if isinstance(part, ast.Import | ast.ImportFrom):
            yield from (f"imports {room}" for room in _rooms(part) if room != "kit")
        if isinstance(part, ast.Expr) and not _calls(part.value, "show"):
            yield "has an expression that is not show()"
        if isinstance(part, ast.Name | ast.Attribute) and _name(part) in (
            "print",
            "display",
            "warnings",
            "filterwarnings",
        ):
            yield f"uses {_name(part)}"


def _rooms(imported):
    if isinstance(imported, ast.Import):
        return [alias.name.partition(".")[0] for alias in imported.names]
    return ["from beside itself" if imported.level else imported.module.partition(".")[0]]


def _calls(value, name):
    return isinstance(value, ast.Call) and isinstance(value.func, ast.Name) and value.func.id == name


def _name(part):
    return part.id if isinstance(part, ast.Name) else part.attr


def _of_the_outputs(cell):
    checked = cell.source.startswith(CHECKED)
    if cell.execution_count is not None and not checked:
        yield "has an execution count"
    if cell.execution_count is None and checked and cell.outputs:
        yield "has outputs and no execution count, which nbval refuses"
    if cell.outputs and not checked:
        yield "has outputs, and is not checked"
    for output in cell.outputs:
        shown = output.output_type == "display_data" and output.metadata.get("text/html") == MARK
        if not shown or set(output.data) != {"text/html"}:
            yield "has an output that show() did not emit"


# --- our notebooks ---


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_a_notebook_keeps_the_house_rules(file):
    node = nbformat.read(file, as_version=4)
    nbformat.validate(node)
    assert problems(file.name, node) == []


def test_the_notebooks_are_numbered_one_after_another():
    assert [file.name[:2] for file in FILES] == [f"{number:02d}" for number in range(1, len(FILES) + 1)]
    assert len(FILES) >= 4


def test_all_notebooks_take_the_parameters_that_a_report_gives_them():
    for file in FILES:
        node = nbformat.read(file, as_version=4)
        lines = next(cell for cell in node.cells if cell.cell_type == "code").source.split("\n")
        names = [line.partition(" = ")[0] for line in lines]
        assert names[:4] == ["export", "plan", "columns", "facility"], file.name


def test_the_default_export_lies_where_the_notebooks_look_for_it():
    for file in FILES:
        node = nbformat.read(file, as_version=4)
        [export] = re.findall(r'^export = "([^"]*)"', node.cells[1].source, re.MULTILINE)
        assert (NOTEBOOKS / export / "study-plan.toml").is_file(), file.name
        assert (NOTEBOOKS / export / "wounds.csv").is_file(), file.name


# --- the checker ---

SHOWN = {"output_type": "display_data", "data": {"text/html": "<p>5</p>"}, "metadata": {"text/html": MARK}}


def a_tidy_notebook():
    code = [
        "from kit.pages.display import show\nfrom kit.statements.about import provenance\n"
        "from kit.statements.sent import received\nimport kit.study",
        "study = kit.study.read_study(export)",
        "show(received(study))",
        "for sentence in [received(study)]:\n    show(sentence)",
        f"{CHECKED}\nshow(received(study))",
    ]
    parameters = 'export = "../data"  # text: folder of the export\nweeks = 12  # number: how long wounds are followed'
    return nbformat.v4.new_notebook(
        metadata=copy.deepcopy(METADATA),
        cells=[
            nbformat.v4.new_markdown_cell("# What did the facility send?\n\nIt matters because all else rests on it."),
            nbformat.v4.new_code_cell(parameters, metadata={"tags": ["parameters"]}),
            *(nbformat.v4.new_code_cell(source) for source in code),
            nbformat.v4.new_code_cell(PROVENANCE),
        ],
    )


def checked(node, output):
    """The notebook's checked cell as it stands after a run."""
    node.cells[6].outputs, node.cells[6].execution_count = [nbformat.from_dict(output)], 5


def test_a_tidy_notebook_has_no_problems():
    node = a_tidy_notebook()
    checked(node, SHOWN)
    assert problems("01-what-was-sent.ipynb", node) == []


@pytest.mark.parametrize("name", ["sent.ipynb", "1-sent.ipynb", "01 sent.ipynb", "01-Sent.ipynb", "01-.ipynb"])
def test_a_notebook_without_number_and_question_in_its_name_fails(name):
    assert problems(name, a_tidy_notebook()) == [f"{name} is not called like 01-who-was-treated.ipynb"]


BAD_CODE = {
    "print('5 wounds')": ["has an expression that is not show()", "uses print"],
    "display(study)": ["has an expression that is not show()", "uses display"],
    "import IPython\nIPython.display.display(study)": [
        "imports IPython", "has an expression that is not show()", "uses display", "uses display",
    ],
    "study": ["has an expression that is not show()"],
    "if study:\n    study.wounds": ["has an expression that is not show()"],
    "%matplotlib inline": ["is not plain Python"],
    "!ls": ["is not plain Python"],
    "study.show()": ["has an expression that is not show()"],
    "'a sentence'": ["has an expression that is not show()"],
    "def half(n):\n    return n / 2": ["defines something"],
    "half = lambda n: n / 2": ["defines something"],
    "class Half:\n    pass": ["defines something"],
    "import pandas as pd": ["imports pandas"],
    "from kitchen import show": ["imports kitchen"],
    "from . import show": ["imports from beside itself"],
    "import warnings\nwarnings.simplefilter('ignore')": [
        "imports warnings", "has an expression that is not show()", "uses warnings",
    ],
    "\n".join(f"a{line} = {line}" for line in range(9)): ["is longer than 8 lines"],
    "export = '/home/someone/export'": ["names an absolute path"],
    "export = 'C:\\\\exports'": ["names an absolute path"],
    "export = '~/export'": ["names an absolute path"],
}  # fmt: skip


@pytest.mark.parametrize("source", BAD_CODE)
def test_code_that_breaks_a_rule_fails(source):
    node = a_tidy_notebook()
    node.cells[3].source = source
    expected = [f"cell 4 {problem}" for problem in BAD_CODE[source]]
    assert sorted(problems("01-sent.ipynb", node)) == sorted(expected)


@pytest.mark.parametrize(
    "line",
    [
        "export = '../data'  # text: folder",
        'export = "../data"',
        "weeks = 12  # how long",
        "weeks: int = 12  # number: n",
        "",
    ],
)
def test_a_parameter_without_default_type_and_meaning_fails(line):
    node = a_tidy_notebook()
    node.cells[1].source = line
    assert problems("01-sent.ipynb", node) == [f"parameter not told as: name = default  # type: meaning: {line}"]


def no_question(node):
    node.cells[0].source = node.cells[0].source.replace("?", "")


def no_title(node):
    node.cells[0].source = node.cells[0].source.removeprefix("# ")


def no_reason(node):
    node.cells[0].source = "# What did the facility send?"


def no_parameters(node):
    node.cells[1].metadata = {}


def parameters_twice(node):
    node.cells[2].metadata = {"tags": ["parameters"]}
    node.cells[2].source = 'more = "x"  # text: more'


def parameters_late(node):
    node.cells[1], node.cells[2] = node.cells[2], node.cells[1]


def provenance_missing(node):
    node.cells[-1].source = "show(received(study))"


def too_few_cells(node):
    del node.cells[3]


def too_many_cells(node):
    node.cells[3:3] = [nbformat.v4.new_markdown_cell("More.") for _ in range(5)]


def version_of_python(node):
    node.metadata["language_info"]["version"] = "3.11.7"


def papermill(node):
    node.metadata["papermill"] = {"input_path": "somewhere"}


def timed(node):
    node.cells[3].metadata["execution"] = {"iopub.execute_input": "2026-07-01T09:00:00"}


def counted(node):
    node.cells[3].execution_count = 3


def shown_unchecked(node):
    node.cells[4].outputs = [nbformat.from_dict(SHOWN)]


def printed_and_checked(node):
    checked(node, {"output_type": "stream", "name": "stdout", "text": "5 wounds"})


def shown_with_plain_text(node):
    checked(node, SHOWN | {"data": {"text/html": "<p>5</p>", "text/plain": "5"}})


def checked_uncounted(node):
    checked(node, SHOWN)
    node.cells[6].execution_count = None


def path_in_markdown(node):
    node.cells[0].source += "\n\nSee /home/someone/export."


@pytest.mark.parametrize(
    ("spoil", "problem"),
    [
        (no_question, "does not open with its question as title"),
        (no_title, "does not open with its question as title"),
        (no_reason, "does not say under its question why it matters"),
        (no_parameters, "not exactly one parameters cell, before all other code"),
        (parameters_twice, "not exactly one parameters cell, before all other code"),
        (parameters_late, "not exactly one parameters cell, before all other code"),
        (provenance_missing, "the last cell is not the provenance line"),
        (too_few_cells, "7 cells, not 8 to 12"),
        (too_many_cells, "13 cells, not 8 to 12"),
        (version_of_python, "metadata hold more, or less, than the kernel's name"),
        (papermill, "metadata hold more, or less, than the kernel's name"),
        (timed, "cell 4 has metadata beside its tags"),
        (counted, "cell 4 has an execution count"),
        (shown_unchecked, "cell 5 has outputs, and is not checked"),
        (printed_and_checked, "cell 7 has an output that show() did not emit"),
        (shown_with_plain_text, "cell 7 has an output that show() did not emit"),
        (checked_uncounted, "cell 7 has outputs and no execution count, which nbval refuses"),
        (path_in_markdown, "cell 1 names an absolute path"),
    ],
)
def test_each_broken_rule_is_told_and_nothing_else_is(spoil, problem):
    node = a_tidy_notebook()
    spoil(node)
    assert problems("01-sent.ipynb", node) == [problem]
