"""A report that is stopped in the middle, by a person, the system or a full disk; benchmarks/faults.py tries more."""

import errno
import os
import signal
import stat
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import nbformat
import psutil
import pytest

from kit.__main__ import main
from kit.alive import HOME, LOCK, own_temporary, sweep_temporary, take, temporary_files_in
from kit.endings import Ended, heeding, no_core_dumps, status_of, undisturbed
from kit.pages import report as module
from kit.pages.folders import sweep_drafts
from kit.pages.kernel import one_kernel
from kit.pages.ledger import read_ledger
from kit.pages.report import Request, report
from tests import exports
from tests.test_kernel import a_notebook, shown

ROOT = Path(__file__).parent.parent
PATIENCE = 20  # seconds; a slow computer, not a measure of ours
posix = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")

DRAFTS = """
from kit.pages.folders import revision
from pathlib import Path
import sys
with revision(Path(sys.argv[1]), "Tarnwick", "2026-Q2") as (draft, final):
    (draft / "wounds.csv").write_text("pw-moss-17")
    print(draft, flush=True)
    input()
"""
LAYS_ASIDE = """
from kit.alive import own_temporary
with own_temporary() as home:
    (home / "sheet").mkdir()
    (home / "sheet" / "rows").write_text("pw-moss-17")
    print(home, flush=True)
    input()
"""
KERNEL = """
from kit.pages.kernel import one_kernel
with one_kernel():
    print("ready", flush=True)
    input()
"""
ASKED = """
import os, signal, sys
from kit import __main__ as command
command._done = lambda asked: os.kill(os.getpid(), signal.{name})
sys.exit(command.main(["dictionary"]))
"""
PASSES_ON = """
import sys
sys.path.insert(0, {root!r})
import start
child = ("import signal, sys; signal.signal(signal.SIGTERM, lambda *_: sys.exit(143)); "
         "print('up', flush=True); signal.pause()")
sys.exit(start.run([sys.executable, "-c", child]))
"""


@pytest.fixture
def process():
    """Starts a Python with some code, waits for its first line; it is killed at the end at the latest."""
    started = []

    def start(code, *given, **surroundings):
        env = {**os.environ, "PYTHONPATH": str(ROOT), **surroundings}
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
        command = [sys.executable, "-c", code, *map(str, given)]
        started.append(subprocess.Popen(command, env=env, cwd=ROOT, **pipes))
        return started[-1], started[-1].stdout.readline().strip()

    yield start
    for one in started:
        one.kill()
        one.communicate()


@pytest.fixture
def small(tmp_path):
    """A request on two invented residents, with one tiny notebook."""
    export = tmp_path / "export"
    export.mkdir()
    seen = "wound,day,state,length,width\nW1,110,open,4,3\nW1,110,open,4,3\nW2,130,open,5,2\n"
    exports.write(export, measurements=seen)
    notebook = a_notebook(tmp_path / "books", "from kit.pages.display import show\nshow('fine')")
    declared = nbformat.read(notebook, 4)
    declared.cells[1].source = 'export = ""\nplan = ""\ncolumns = ""\nfacility = ""'
    nbformat.write(declared, notebook)
    return Request(export, tmp_path / "reports", notebooks=tmp_path / "books")


def becomes(so):
    """Whether something becomes true before patience ends."""
    ends = time.monotonic() + PATIENCE
    while not so() and time.monotonic() < ends:
        time.sleep(0.05)
    return so()


# --- drafts ---


def test_a_draft_of_a_living_run_stays_and_that_of_a_killed_one_is_swept(tmp_path, process):
    living, draft = process(DRAFTS, tmp_path)
    sweep_drafts(tmp_path)
    assert (Path(draft) / "wounds.csv").exists()
    living.kill()
    living.wait()
    assert (Path(draft) / "wounds.csv").exists()  # nobody could tidy up
    sweep_drafts(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_draft_from_before_there_were_locks_is_swept(tmp_path):
    home = tmp_path / "Tarnwick" / "2026-Q2"
    (home / ".draft-x7y").mkdir(parents=True)
    (home / ".draft-x7y" / "wounds.csv").write_text("pw-moss-17")
    (home / "r1").mkdir()
    sweep_drafts(tmp_path)
    assert [path.name for path in home.iterdir()] == ["r1"]


def test_a_run_beside_a_living_one_takes_the_next_number(tmp_path, process):
    _, first = process(DRAFTS, tmp_path)
    _, second = process(DRAFTS, tmp_path)
    assert [Path(first).name, Path(second).name] == [".draft-r1", ".draft-r2"]


# --- temporary files ---


def test_temporary_files_of_a_killed_run_are_swept_and_those_of_a_living_one_stay(tmp_path, process, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    living, home = process(LAYS_ASIDE, TMPDIR=str(tmp_path), TEMP=str(tmp_path), TMP=str(tmp_path))
    sweep_temporary()
    assert (Path(home) / "sheet" / "rows").exists()
    living.kill()
    living.wait()
    sweep_temporary()
    assert list(tmp_path.iterdir()) == []


def test_a_folder_of_somebody_else_is_never_swept(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    (tmp_path / f"{HOME}notes").mkdir()
    (tmp_path / f"{HOME}notes" / "mine.txt").write_text("mine")
    (tmp_path / f"{HOME}empty").mkdir()  # a run that was killed before it could lock it
    sweep_temporary()
    assert [path.name for path in tmp_path.rglob("*")] == [f"{HOME}notes", "mine.txt"]


def test_a_temporary_folder_of_which_something_cannot_be_removed_is_tried_again(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with monkeypatch.context() as patch:
        patch.setattr("shutil.rmtree", lambda folder, ignore_errors: None)
        with own_temporary() as home:
            (home / "sheet").mkdir()
    assert (home / "sheet").exists()
    sweep_temporary()
    assert list(tmp_path.iterdir()) == []


@posix
def test_a_temporary_folder_can_be_read_by_its_owner_alone_and_goes(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with own_temporary() as home:
        assert stat.S_IMODE(home.stat().st_mode) == 0o700
        assert take(home / LOCK) is None  # it is held
    assert list(tmp_path.iterdir()) == []


def test_files_with_rows_come_last_and_what_libraries_lay_aside_lies_in_the_draft(small, monkeypatch):
    from kit.pages import report as making

    true, seen = making.write_wounds, []

    def write(internal, *given):
        seen.append((Path(tempfile.gettempdir()).parent, {path.name for path in internal.iterdir()}))
        true(internal, *given)

    monkeypatch.setattr(making, "write_wounds", write)
    folder = report(small)
    [(draft, before)] = seen
    assert draft == folder.parent / ".draft-r1"
    assert {path.name for path in (folder / "internal").iterdir()} - before == {"wounds.xlsx"}
    written = [(folder / "internal" / name).stat().st_mtime_ns for name in ORDER]
    assert written == sorted(written)
    assert {path.name for path in folder.parent.iterdir()} == {"r1", "ledger.csv"}


ORDER = ("01-question.html", "page.html", "run.json", "tables.xlsx", "set_aside.csv", "faults.csv", "wounds.xlsx")


def test_temporary_files_go_back_to_their_place_afterwards(tmp_path):
    before = tempfile.gettempdir()
    with pytest.raises(ValueError), temporary_files_in(tmp_path):
        assert Path(tempfile.mkstemp()[1]).parent.parent == tmp_path
        raise ValueError
    assert tempfile.gettempdir() == before and list(tmp_path.iterdir()) == []


# --- the kernel ---


@posix
def test_the_kernel_ends_when_its_run_is_killed(tmp_path, process):
    run, _ = process(KERNEL)
    [kernel] = psutil.Process(run.pid).children()
    assert kernel.is_running()
    run.kill()
    assert becomes(lambda: not kernel.is_running() or kernel.status() == psutil.STATUS_ZOMBIE)
    sweep_temporary()


@posix
def test_neither_run_nor_kernel_writes_a_core_dump(tmp_path):
    no_core_dumps()
    asks = "import resource\nfrom kit.pages.display import show\nshow(str(resource.getrlimit(resource.RLIMIT_CORE)[0]))"
    with one_kernel() as run:
        assert shown(run(a_notebook(tmp_path, asks), {})) == ['<p class="kit-says">0</p>']


# --- asked to stop ---


@posix
@pytest.mark.parametrize(("name", "status"), [("SIGINT", 130), ("SIGTERM", 143), ("SIGHUP", 129)])
def test_a_run_that_is_asked_to_stop_says_so_in_one_line(process, name, status):
    asked, _ = process(ASKED.format(name=name))
    said = asked.communicate()[1]
    assert (asked.returncode, said) == (status, "Stopped: interrupted; nothing unfinished was kept\n")


def test_the_notebooks_run_while_the_page_is_made(small, monkeypatch):
    own = module.findings

    def once_a_notebook_is_there(*given):
        assert becomes(lambda: list(small.reports.rglob("01-question.html")))
        return own(*given)

    monkeypatch.setattr(module, "findings", once_a_notebook_is_there)
    assert (report(small) / "internal" / "01-question.html").exists()


def test_what_stops_the_page_stops_the_notebooks_and_leaves_nothing(small, tmp_path, monkeypatch):
    slow = nbformat.read(small.notebooks / "01-question.ipynb", 4)
    slow.cells[-1].source = "import pathlib, time\npathlib.Path(export, '..', 'begun').touch()\ntime.sleep(600)"
    nbformat.write(slow, small.notebooks / "01-question.ipynb")

    def stopped(*given):
        assert becomes((tmp_path / "begun").exists)
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "findings", stopped)
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        report(small)
    assert time.monotonic() - began < 10 * PATIENCE  # the cell alone would take three times as long
    assert not list(small.reports.rglob("*.html"))


@posix
def test_start_passes_a_polite_end_on_and_waits(process):
    outer, said = process(PASSES_ON.format(root=str(ROOT)))
    assert said == "up"
    outer.terminate()
    assert outer.wait(PATIENCE) == 143


def test_who_asks_while_something_is_tidied_up_is_heard_afterwards():
    done = []
    with pytest.raises(KeyboardInterrupt):
        with undisturbed():
            signal.raise_signal(signal.SIGINT)
            done.append("tidied up")
        done.append("went on")
    assert done == ["tidied up"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_an_end_that_python_cannot_pass_on_is_asked_for_again(capfd):
    class Loses:
        def __del__(self):
            raise Ended(signal.SIGINT)

    with pytest.raises(KeyboardInterrupt), heeding():
        Loses()
        becomes(lambda: False)
    assert "".join(capfd.readouterr()) == ""


def test_a_thread_that_fails_while_a_run_ends_prints_nothing(capfd):
    def fail():
        raise ValueError("pw-moss-17")

    before = threading.excepthook
    with heeding():
        thread = threading.Thread(target=fail)
        thread.start()
        thread.join()
    assert "".join(capfd.readouterr()) == ""
    assert threading.excepthook is before


def test_the_status_tells_what_ended_a_run():
    assert (status_of(KeyboardInterrupt()), status_of(Ended(15))) == (130, 143)


# --- the system refuses ---

REFUSED = {
    errno.ENOSPC: "make room where reports and temporary files lie, and run again",
    errno.EROFS: "see who may write there and whether another program has it open",
    errno.ENOTDIR: "a file is in the way of a folder; move it, or name another place",
}


@pytest.mark.parametrize("kind", REFUSED)
def test_what_the_system_refuses_is_told_in_one_line_with_its_cure(kind, capsys, monkeypatch):
    told = refused(OSError(kind, os.strerror(kind), "/secret/page.html"), capsys, monkeypatch)
    assert told == (1, f"Stopped: page.html: {os.strerror(kind)}; {REFUSED[kind]}\n")


def test_a_full_disk_that_names_no_file_is_told_all_the_same(capsys, monkeypatch):
    told = refused(OSError(errno.ENOSPC, "No space left"), capsys, monkeypatch)
    assert told == (1, f"Stopped: No space left; {REFUSED[errno.ENOSPC]}\n")


def test_too_little_memory_is_told_in_one_line(capsys, monkeypatch):
    told = refused(MemoryError(), capsys, monkeypatch)
    assert told == (1, "Stopped: memory ran out; close other programs and run again\n")


def refused(fault, capsys, monkeypatch):
    """Status and message of a report that meets a fault."""

    def meets(request, say):
        raise fault

    monkeypatch.setattr("kit.pages.report.report", meets)
    return main(["report"]), capsys.readouterr().err


def test_reports_that_are_a_file_stop_the_run_before_anything_is_read(tmp_path, capsys):
    (tmp_path / "reports").write_text("mine")
    status = main(["report", str(tmp_path / "no-export"), "--reports", str(tmp_path / "reports")])
    said = "Stopped: reports: a file of that name is in the way; name another folder with --reports\n"
    assert (status, capsys.readouterr().err) == (1, said)


def test_a_full_disk_in_the_middle_of_the_list_of_wounds_leaves_nothing(small, monkeypatch, tmp_path):
    before = sorted(tmp_path.rglob("*"))

    def full(sheet):
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr("openpyxl.worksheet._writer.WorksheetWriter.cleanup", full)
    with pytest.raises(OSError, match="No space left"):
        report(small)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_revision_whose_run_was_stopped_before_its_line_gets_it_from_the_next(small, monkeypatch):
    with monkeypatch.context() as patch, pytest.raises(KeyboardInterrupt):
        patch.setattr("kit.pages.report._enter_in_ledger", lambda final: signal.raise_signal(signal.SIGINT))
        report(small)
    second = report(small)
    assert [line["revision"] for line in read_ledger(second.parent)] == ["r1", "r2"]
    assert [line["changed"] for line in read_ledger(second.parent)] == ["first revision", "nothing changed"]
