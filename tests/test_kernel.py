"""The one kernel: what a notebook may show, what a failure tells, and that nothing stays behind."""

import os
import shutil
import tempfile
from pathlib import Path

import psutil
import pytest
from nbformat import v4, write

from kit.pages import kernel
from kit.pages.display import MARK
from kit.pages.kernel import NotebookError, one_kernel, refuse_undeclared
from kit.pages.report import Request, report

SECRET = "pr-kelp-17,pw-moss-17,2026-05-02,4.4"  # as a row of a table stands in an exception's message
MINIMAL = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}


def a_notebook(folder, *sources, name="01-question.ipynb"):
    """A notebook of a question, a parameters cell and the given code cells, the first of which is cell 3."""
    cells = [
        v4.new_markdown_cell("# Who is it?"),
        v4.new_code_cell('facility = "all"  # text: one facility', metadata={"tags": ["parameters"]}),
        *(v4.new_code_cell(source) for source in sources),
    ]
    folder.mkdir(parents=True, exist_ok=True)
    write(v4.new_notebook(cells=cells, metadata=MINIMAL), folder / name)
    return folder / name


@pytest.fixture(scope="module")
def run():
    with one_kernel() as running:
        yield running


@pytest.fixture
def temporary(monkeypatch):
    """A folder of its own for temporary files; short, because the name of a socket file may not be long."""
    folder = Path(tempfile.mkdtemp())
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    yield folder
    shutil.rmtree(folder)


def holding(folder, text):
    """The files below a folder that hold a text."""
    return [path for path in folder.rglob("*") if path.is_file() and text.encode() in path.read_bytes()]


def shown(node):
    """What each cell shows, cells that show nothing left out."""
    return [output.data["text/html"] for cell in node.cells for output in cell.get("outputs", [])]


# --- what is shown ---


def test_parameters_arrive_and_what_is_shown_comes_back_marked(run, tmp_path):
    notebook = a_notebook(tmp_path, "from kit.pages.display import show\nshow(facility)")
    node = run(notebook, {"facility": "Tarnwick"})
    assert shown(node) == ['<p class="kit-says">Tarnwick</p>']
    assert node.cells[-1].outputs[0].metadata["text/html"] == MARK


REFUSED = {
    f"print({SECRET!r})": "prints or warns",
    f"import sys\nprint({SECRET!r}, file=sys.stderr)": "prints or warns",
    f"import warnings\nwarnings.warn({SECRET!r})": "prints or warns",
    f"{SECRET!r}": "ends with a bare value",
    f"import pandas as pd\npd.DataFrame({{'row': [{SECRET!r}]}})": "ends with a bare value",
    f"from IPython.display import display\ndisplay({SECRET!r})": "displays something itself",
    f"from IPython.display import HTML, display\ndisplay(HTML({SECRET!r}))": "displays something itself",
    "from IPython.display import display\nfrom kit.pages.display import MARK\n"
    f"both = {{'text/html': 'fine', 'text/plain': {SECRET!r}}}\n"
    "display(both, raw=True, metadata={'text/html': MARK})": "displays something itself",
}


@pytest.mark.parametrize("source", REFUSED, ids=range(len(REFUSED)))
def test_anything_not_shown_through_show_is_refused_by_notebook_cell_and_kind(run, tmp_path, capfd, source):
    with pytest.raises(NotebookError) as refusal:
        run(a_notebook(tmp_path, "fine = 1", source), {"facility": "all"})
    assert str(refusal.value) == f"01-question.ipynb: cell 4 {REFUSED[source]}; only show() may show anything"
    assert "".join(capfd.readouterr()) == ""


FAILURES = {
    f"raise ValueError({SECRET!r})": "ValueError",
    f"raise KeyError({SECRET!r})": "KeyError",
    f"import sys\nsys.exit({SECRET!r})": "SystemExit",
    "1 +": "SyntaxError",
    f"from kit.faults import ExportError\nraise ExportError({SECRET!r})": "ExportError",
}


@pytest.mark.parametrize("source", FAILURES, ids=FAILURES.values())
def test_a_failure_is_told_by_notebook_cell_and_kind_alone(run, tmp_path, capfd, source):
    with pytest.raises(NotebookError) as failure:
        run(a_notebook(tmp_path, "fine = 1", source), {"facility": "all"})
    assert str(failure.value) == f"01-question.ipynb: cell 4 stopped with {FAILURES[source]}"
    assert "".join(capfd.readouterr()) == ""


def test_a_cell_that_runs_out_of_memory_is_told_with_a_cure(run, tmp_path):
    with pytest.raises(NotebookError, match="01-question.ipynb: cell 4 ran out of memory; close other programs"):
        run(a_notebook(tmp_path, "fine = 1", "raise MemoryError"), {"facility": "all"})


def test_a_cell_that_hangs_is_ended_after_hours_and_told_by_its_number(tmp_path, temporary, monkeypatch, capfd):
    monkeypatch.setattr("kit.pages.kernel.CELL_HOURS", 1 / 3600)
    told = "01-question.ipynb: cell 4 ran for more than 0.000277778 hours and was ended"
    with pytest.raises(NotebookError, match=told), one_kernel() as running:
        running(a_notebook(tmp_path, "fine = 1", f"import time\ntime.sleep(60)  # {SECRET}"), {"facility": "all"})
    assert "".join(capfd.readouterr()) == ""
    assert list(temporary.iterdir()) == []


def test_a_kernel_that_cannot_be_started_is_told_in_one_line(temporary, monkeypatch, capfd):
    surroundings = kernel._surroundings
    monkeypatch.setattr(kernel, "_surroundings", lambda home: {**surroundings(home), "PYTHONHOME": "/nowhere"})
    with pytest.raises(NotebookError, match="the Python of the notebooks does not answer"), one_kernel():
        pass
    assert "".join(capfd.readouterr()) == ""
    assert list(temporary.iterdir()) == []


def test_what_a_crash_of_the_kernel_prints_is_not_passed_on(tmp_path, capfd):
    crash = f"import os\nos.write(2, {SECRET.encode()!r})\nos._exit(1)"
    with pytest.raises(NotebookError, match="Python itself stopped"), one_kernel() as running:
        running(a_notebook(tmp_path, crash), {"facility": "all"})
    assert "".join(capfd.readouterr()) == ""


def test_temporary_files_of_a_notebook_lie_where_they_go_with_the_kernel(tmp_path, temporary):
    asks = "import tempfile\nfrom kit.pages.display import show\nshow(tempfile.gettempdir())"
    with one_kernel() as running:
        [home] = temporary.iterdir()
        assert shown(running(a_notebook(tmp_path, asks), {"facility": "all"})) == [f'<p class="kit-says">{home}</p>']


# --- parameters ---


def test_a_parameter_that_is_not_declared_is_refused_by_its_name(tmp_path):
    with pytest.raises(NotebookError) as refusal:
        refuse_undeclared(a_notebook(tmp_path), {"facility": "all", "fasility": "Tarnwick"})
    assert str(refusal.value) == "01-question.ipynb: no parameter is called fasility; it has facility"


def test_with_an_undeclared_parameter_nothing_is_run(run, tmp_path):
    ran = tmp_path / "ran"
    with pytest.raises(NotebookError, match="no parameter is called fasility"):
        run(a_notebook(tmp_path, f"open({str(ran)!r}, 'w').close()"), {"fasility": "Tarnwick"})
    assert not ran.exists()


# --- nothing stays behind ---


def test_names_of_one_notebook_are_gone_in_the_next(run, tmp_path):
    run(a_notebook(tmp_path, "left_over = 1\nimport math"), {"facility": "all"})
    asks = 'from kit.pages.display import show\nshow(str([n for n in ("left_over", "math", "show") if n in globals()]))'
    assert shown(run(a_notebook(tmp_path, asks), {"facility": "all"})) == ['<p class="kit-says">[&#x27;show&#x27;]</p>']


def test_a_failed_notebook_does_not_spoil_the_next(run, tmp_path):
    with pytest.raises(NotebookError):
        run(a_notebook(tmp_path, "left_over = 1", "raise ValueError"), {"facility": "all"})
    asks = 'from kit.pages.display import show\nshow(str("left_over" in globals()))'
    assert shown(run(a_notebook(tmp_path, asks), {"facility": "all"})) == ['<p class="kit-says">False</p>']


def test_no_notebook_is_written_and_the_one_that_was_run_stays_as_it_was(run, tmp_path):
    notebook = a_notebook(tmp_path, "from kit.pages.display import show\nshow('fine')")
    before = notebook.read_bytes()
    run(notebook, {"facility": "all"})
    assert list(tmp_path.rglob("*")) == [notebook]
    assert notebook.read_bytes() == before


def test_the_process_and_its_files_are_gone_afterwards(tmp_path, temporary):
    notebook = a_notebook(tmp_path, "import os\nfrom kit.pages.display import show\nshow(str(os.getpid()))")
    with one_kernel() as running:
        [told] = shown(running(notebook, {"facility": "all"}))
        number = int(told.removeprefix('<p class="kit-says">').removesuffix("</p>"))
        assert psutil.pid_exists(number) and number != os.getpid()
        assert list(temporary.iterdir()) != []
    assert not psutil.pid_exists(number)
    assert list(temporary.iterdir()) == []


def test_a_kernel_that_dies_is_told_and_not_waited_for(tmp_path):
    with pytest.raises(NotebookError, match="01-question.ipynb: Python itself stopped"), one_kernel() as running:
        running(a_notebook(tmp_path, "import os\nos._exit(1)"), {"facility": "all"})


# --- a report that fails ---


@pytest.fixture
def failing(tmp_path, invented):
    """A request whose second notebook fails with a resident's row in its message; the first shows one of its own."""
    take = 'export = ""  # text: it\nplan = ""  # text: it\ncolumns = ""  # text: it\nfacility = ""  # text: it'
    for name, source in {"01-fine.ipynb": "1", "02-fails.ipynb": f"raise ValueError({SECRET!r})"}.items():
        cells = [
            v4.new_markdown_cell("# Does it fail?"),
            v4.new_code_cell(take, metadata={"tags": ["parameters"]}),
            v4.new_code_cell(f"from kit.pages.display import show\nshow({SECRET!r})"),
            v4.new_code_cell(f"value = {source}" if source == "1" else source),
        ]
        (tmp_path / "notebooks").mkdir(exist_ok=True)
        write(v4.new_notebook(cells=cells, metadata=MINIMAL), tmp_path / "notebooks" / name)
    return Request(invented.export, tmp_path / "reports", notebooks=tmp_path / "notebooks")


def test_a_report_that_fails_leaves_no_row_of_a_person_anywhere(tmp_path, temporary, failing, capfd):
    with pytest.raises(NotebookError) as failure:
        report(failing)
    assert str(failure.value) == "02-fails.ipynb: cell 4 stopped with ValueError"
    assert "".join(capfd.readouterr()) == ""
    assert not (tmp_path / "reports").exists()
    assert list(temporary.iterdir()) == []
    assert set(holding(tmp_path, SECRET)) == set((tmp_path / "notebooks").iterdir())  # where the test itself put it


def test_a_report_that_fails_leaves_earlier_ones_and_the_ledger_alone(tmp_path, failing):
    home = tmp_path / "reports" / "All-facilities" / "2026-Q2"
    (home / "r1").mkdir(parents=True)
    (home / "ledger.csv").write_text("revision\nr1\n")
    with pytest.raises(NotebookError):
        report(failing)
    assert sorted(path.name for path in (tmp_path / "reports").rglob("*")) == [
        "2026-Q2", "All-facilities", "ledger.csv", "r1"
    ]  # fmt: skip
    assert (home / "ledger.csv").read_text() == "revision\nr1\n"
