"""Nothing that comes in is unpickled or evaluated, nothing reaches the network, and no template is made of input."""

import ast
import json
from pathlib import Path

import pyarrow as pa
import pytest

ROOT = Path(__file__).parents[1]
# Calls by their last names, or by the name before it as well where the last alone says too little.
CALLS = {
    "eval", "exec", "compile", "__import__", "import_module", "read_pickle", "to_pickle", "query", "from_string",
    "mktemp", "pickle.load", "pickle.loads", "joblib.load", "shelve.open", "marshal.loads", "yaml.load", "os.system",
    "os.popen", "literal_eval", "fromstring", "parseString",
}  # fmt: skip
HARMLESS = {"re.compile"}  # a pattern, and no program
MODULES = {
    "pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal", "yaml", "urllib", "requests", "httpx", "http",
    "socket", "ftplib", "smtplib", "aiohttp", "lxml", "xml.etree", "xml.dom", "xml.sax", "code", "ctypes",
}  # fmt: skip


def complaints(source):
    """What a piece of source does that nothing of the kit may do, a few words each."""
    return [told for node in ast.walk(ast.parse(source)) for told in [*_imports(node), *_calls(node)]]


def _imports(node):
    names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
    names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
    for name in names:
        if any(f"{name}.".startswith(f"{module}.") for module in MODULES):
            yield f"imports {name}"


def _calls(node):
    if not isinstance(node, ast.Call):
        return
    name = ast.unparse(node.func)
    last_two = ".".join(name.split(".")[-2:])
    if (name.split(".")[-1] in CALLS or last_two in CALLS) and last_two not in HARMLESS:
        yield f"calls {last_two}"
    given = {word.arg: word.value for word in node.keywords}
    for word, allowed in (("shell", False), ("allow_pickle", False), ("autoescape", True), ("data_only", True)):
        if word in given and not (isinstance(given[word], ast.Constant) and given[word].value is allowed):
            yield f"gives {word}={ast.unparse(given[word])}"
    for maker, needed in (("Environment", "autoescape"), ("load_workbook", "data_only")):
        if name.split(".")[-1] == maker and needed not in given:
            yield f"{maker} without {needed}"


def sources():
    """Every module of the kit, start.py, and every notebook's cells of code, by name."""
    for file in [ROOT / "start.py", *sorted((ROOT / "kit").rglob("*.py"))]:
        yield file.relative_to(ROOT).as_posix(), file.read_text(encoding="utf-8")
    for file in sorted((ROOT / "notebooks").glob("*.ipynb")):
        cells = json.loads(file.read_text(encoding="utf-8"))["cells"]
        yield file.name, "\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "code")


def test_nothing_of_the_kit_does_what_nothing_may():
    found = {name: told for name, source in sources() if (told := complaints(source))}
    assert found == {}


def test_modules_and_notebooks_are_all_looked_at():
    names = {name for name, _ in sources()}
    assert {"start.py", "kit/study.py", "kit/intake/workbooks.py"} <= names
    assert sum(name.endswith(".ipynb") for name in names) >= 11


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("import pickle", "imports pickle"),
        ("from urllib.request import urlopen", "imports urllib.request"),
        ("import xml.etree.ElementTree as tree", "imports xml.etree.ElementTree"),
        ("eval(cell)", "calls eval"),
        ("frame.eval('a + b')", "calls frame.eval"),
        ("frame.query(asked)", "calls frame.query"),
        ("pd.read_pickle(file)", "calls pd.read_pickle"),
        ("importlib.import_module(name)", "calls importlib.import_module"),
        ("os.system(words)", "calls os.system"),
        ("subprocess.run(words, shell=True)", "gives shell=True"),
        ("np.load(file, allow_pickle=given)", "gives allow_pickle=given"),
        ("Environment(loader=loader)", "Environment without autoescape"),
        ("Environment(loader=loader, autoescape=False)", "gives autoescape=False"),
        ("openpyxl.load_workbook(file)", "load_workbook without data_only"),
        ("templates.from_string(cell)", "calls templates.from_string"),
        ("compile(source, 'x', 'exec')", "calls compile"),
    ],
)
def test_the_look_finds_each_of_them(source, told):
    assert told in complaints(source)


def test_what_is_harmless_passes():
    assert (
        complaints("import re\nre.compile('x')\nopenpyxl.load_workbook(file, data_only=True)\nframe.merge(other)") == []
    )


def test_a_column_type_that_would_have_to_be_unpickled_is_unknown_to_the_reader_of_parquet():
    """Older Parquet readers rebuilt a type by unpickling what a file carries; this one registers no such type."""
    with pytest.raises(KeyError):
        pa.unregister_extension_type("arrow.py_extension_type")
