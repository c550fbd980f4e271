"""What is left when a report is stopped: killed at named points, disk full, read-only, two at once, and so on?

    .venv/bin/python benchmarks/faults.py [--only WORD]

Every try has a folder of reports of its own in which r1 has been issued (a real report with an issued.json of hashes).
A report on two invented residents, with two tiny notebooks, is stopped there in one way; then an ordinary one is run.
Survived means: the exit status is the expected one and the message one line; r1 is the same to the byte; every folder
r<number> is whole and has one line in the ledger; and after the ordinary run nothing else lies among the reports or
temporary files and no kernel is running. Where the process could tidy up itself this is asked before the ordinary run
too. A leak is a file outside a finished revision, or a message, that holds a pseudonym of the export.

A process is killed by SIGKILL from inside at the point named. As root nothing is read-only: those tries raise the
system's error at the call that would meet it. The last line is passed when every try survived without a leak. It runs
where processes can fork (Linux, macOS).
"""

from __future__ import annotations

import argparse
import atexit
import contextlib
import csv
import errno
import functools
import gc
import hashlib
import io
import json
import multiprocessing
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WORK = Path(tempfile.mkdtemp(prefix="kf-"))
HOME = WORK / "home"
PERIOD = Path("All-facilities") / "days-110-200"
LONGEST = 60  # seconds of one run
for name in ("IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "JUPYTER_DATA_DIR", "JUPYTER_CONFIG_DIR", "MPLCONFIGDIR"):
    os.environ.pop(name, None)
HOME.mkdir()
os.environ.update(HOME=str(HOME), TMPDIR=str(WORK), MPLBACKEND="agg")
sys.path.insert(0, str(ROOT))

import nbformat  # noqa: E402
import openpyxl.worksheet._writer  # noqa: E402
import pandas as pd  # noqa: E402
import psutil  # noqa: E402
from jupyter_client.manager import KernelManager  # noqa: E402

from kit import __main__ as command  # noqa: E402
from kit.pages import alive, folders, kernel, ledger, report  # noqa: E402
from kit.pages.display import MARK  # noqa: E402

SHEETS = openpyxl.worksheet._writer.WorksheetWriter
SECRETS = (b"pr-kelp-01", b"pr-kelp-02", b"pw-moss-01", b"pw-moss-02")
PLAN = """
[program]
name = "Invented"
basis = "operations"
[windows]
quarter_begins = 110
cutoff = 200
[[regimens]]
name = "ultrasound"
modality = "ultrasound"
"""
TABLES = {
    "residents": "resident,facility\npr-kelp-01,Alder\npr-kelp-02,Birch\n",
    "wounds": "wound,resident,kind\npw-moss-01,pr-kelp-01,venous\npw-moss-02,pr-kelp-02,venous\n",
    "measurements": "wound,day,state,length,width\npw-moss-01,110,open,4,3\npw-moss-02,120,open,5,2\n"
    "pw-moss-02,120,open,5,2\n",
    "sessions": "wound,day,modality,status\npw-moss-01,115,ultrasound,given\n",
}
DECLARED = 'export = ""\nplan = ""\ncolumns = ""\nfacility = ""'
# As a library does that lays rows aside: what the kernel does with them must not outlive it.
READS = """import tempfile
with open(f"{export}/measurements.csv") as file:
    rows = file.read()
with tempfile.NamedTemporaryFile("w", delete=False) as aside:
    aside.write(rows)"""
SHOWS = f"display({{'text/html': 'fine'}}, raw=True, metadata={{'text/html': {MARK!r}}})"
HANGS = "import time\ntime.sleep(1000)"


# --- one run of the report in a process of its own ---


@dataclass
class Place:
    """The folders of one try."""

    at: Path

    @property
    def reports(self) -> Path:
        return self.at / "reports"

    @property
    def quarter(self) -> Path:
        return self.reports / PERIOD

    @property
    def temporary(self) -> Path:
        return self.at / "t"


@dataclass
class Ran:
    """How a run ended: exit status (negative: the signal that killed it) and what it said on the error line."""

    status: int
    said: str
    out: str


@dataclass
class Try:
    """One way to stop a report; `stop` is called in its process before the report begins."""

    name: str
    status: int
    stop: Callable[[Place], None] = lambda place: None
    says: str = ""
    cells: tuple[str, ...] = (READS, SHOWS)
    drive: Callable[[Try, Place], Ran] | None = None
    prepare: Callable[[Place], None] = lambda place: None
    cure: Callable[[Place], None] = lambda place: None
    more: int = 0  # revisions that the try leaves, finished
    faults: list[str] = field(default_factory=list)


def start(place: Place, stop: Callable[[Place], None], books: Path) -> tuple[int, Path]:
    """Fork a process that makes the report; its number, and where its words go."""
    words = Path(tempfile.mkdtemp(prefix="said-", dir=WORK / "said"))
    sys.stdout.flush()
    process = os.fork()
    if process:
        return process, words
    status = 70
    try:
        os.setsid()
        for number, name in ((1, "out"), (2, "err")):
            os.dup2(os.open(words / name, os.O_CREAT | os.O_WRONLY), number)
        sys.stdout, sys.stderr = open(1, "w", closefd=False), open(2, "w", closefd=False)
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.environ["TMPDIR"], tempfile.tempdir = str(place.temporary), str(place.temporary)
        os.chdir(place.at)
        resource.setrlimit(resource.RLIMIT_CORE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        report.Request = functools.partial(report.Request, notebooks=books)
        stop(place)
        status = command.main(["report", str(WORK / "export"), "--reports", str(place.reports)])
        atexit._run_exitfuncs()
        gc.collect()
    except BaseException as fault:
        print(f"outside the kit: {fault!r}", file=sys.stderr)
    finally:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(Exception):
                stream.flush()
        os._exit(status)


def end(process: int, words: Path) -> Ran:
    """Wait for a run, no longer than `LONGEST`."""
    ends = time.monotonic() + LONGEST
    while (done := os.waitpid(process, os.WNOHANG)) == (0, 0):
        if time.monotonic() > ends:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)
            return Ran(99, "did not end", "")
        time.sleep(0.02)
    said, out = ((words / name).read_text(errors="replace").strip() for name in ("err", "out"))
    return Ran(os.waitstatus_to_exitcode(done[1]), said, out)


def run(place: Place, stop: Callable[[Place], None] = lambda place: None, books: Path | None = None) -> Ran:
    return end(*start(place, stop, books or WORK / "books"))


def notebooks(folder: Path, *cells: str) -> Path:
    """Two notebooks: the cells given, and one that only shows something."""
    folder.mkdir()
    for name, sources in (("01-first", cells), ("02-second", (SHOWS,))):
        made = [nbformat.v4.new_markdown_cell("# Who?")]
        made.append(nbformat.v4.new_code_cell(DECLARED, metadata={"tags": ["parameters"]}))
        made += [nbformat.v4.new_code_cell(source) for source in sources]
        spec = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
        nbformat.write(nbformat.v4.new_notebook(cells=made, metadata=spec), folder / f"{name}.ipynb")
    return folder


# --- ways to stop it ---


def kill(*_: object) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def leave(*_: object) -> None:
    os._exit(9)


def send(number: int, times: int = 1) -> Callable[..., None]:
    def sends(*_: object) -> None:
        for _turn in range(times):
            os.kill(os.getpid(), number)

    return sends


def refuse(kind: int) -> Callable[..., None]:
    def refuses(*_: object) -> None:
        raise OSError(kind, os.strerror(kind), "some file")

    return refuses


def no_memory(*_: object) -> None:
    raise MemoryError


def before(owner: object, name: str, does: Callable[..., None], turn: int = 1) -> Callable[[Place], None]:
    """Something is done just before the given turn of a function."""
    return lambda place: _wrap(owner, name, does, turn, first=True)


def after(owner: object, name: str, does: Callable[..., None], turn: int = 1) -> Callable[[Place], None]:
    """Something is done just after the given turn of a function."""
    return lambda place: _wrap(owner, name, does, turn, first=False)


def _wrap(owner: object, name: str, does: Callable[..., None], turn: int, first: bool) -> None:
    true, turns = getattr(owner, name), [0]

    def wrapped(*given, **named):
        turns[0] += 1
        if first and turns[0] == turn:
            does(*given)
        result = true(*given, **named)
        if not first and turns[0] == turn:
            does(*given)
        return result

    setattr(owner, name, wrapped)


def in_sheet(writer: str, does: Callable[..., None], turn: int = 1) -> Callable[[Place], None]:
    """In the middle of a workbook: the rows of a sheet are in a temporary file, and not yet in the book.

    The second sheet of wounds.xlsx is its first with names of wounds.
    """
    return before(report, writer, lambda *_: before(SHEETS, "cleanup", does, turn)(None))


def half_a_line(does: Callable[..., None]) -> Callable[[Place], None]:
    def stop(place: Place) -> None:
        def half(out: io.FileIO, text: bytes) -> None:
            out.write(text[: len(text) // 2])
            does()

        ledger._write = half

    return stop


def in_a_cell(number: int) -> tuple[str, ...]:
    """The first notebook signals the run it belongs to, and goes on for long."""
    return READS, f"import os\nos.kill(os.getppid(), {number})", HANGS


def small_files(place: Place) -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (12_000, resource.RLIM_INFINITY))


def impatient(place: Place) -> None:
    alive.PATIENCE = 0.2


def short_cells(place: Place) -> None:
    kernel.CELL_HOURS = 1 / 3600


def no_python(place: Place) -> None:
    true = kernel._surroundings
    kernel._surroundings = lambda home: {**true(home), "PYTHONHOME": "/nowhere"}


# --- tries that need more than one process ---


def at_once(count: int) -> Callable[[Try, Place], Ran]:
    def drive(this: Try, place: Place) -> Ran:
        ran = [end(*one) for one in [start(place, this.stop, WORK / "books") for _ in range(count)]]
        pages = {one.out.splitlines()[-1] for one in ran if one.out}
        if len(pages) != count:
            this.faults.append(f"{len(pages)} pages of {count}")
        return max(ran, key=lambda one: one.status)

    return drive


def beside_one_that_is_killed(this: Try, place: Place) -> Ran:
    """One run waits in its draft while another is killed in its own and a third sweeps: the first must not notice."""
    waits = before(report, "_write_page", lambda *_: time.sleep(6))
    slow = start(place, waits, WORK / "books")
    _until(lambda: list(place.quarter.glob(".draft-r2/internal/01-first.html")))
    killed, third = run(place, before(report, "_write_page", kill)), run(place)
    if (killed.status, third.status) != (-signal.SIGKILL, 0):
        this.faults.append(f"killed {killed.status}, third {third.status}: {third.said}")
    return end(*slow)


def _until(so: Callable[[], object]) -> None:
    ends = time.monotonic() + 30
    while not so() and time.monotonic() < ends:
        time.sleep(0.02)


def killed_while_sweeping(this: Try, place: Place) -> Ran:
    """A run is killed with a full draft; the next is killed half-way through removing it."""
    run(place, before(folders, "_settle", kill))
    true = shutil.rmtree

    def half(folder: Path, **named: object) -> None:
        true(Path(folder) / "internal" / "figures")
        kill()

    return run(place, lambda place: setattr(shutil, "rmtree", half))


def by_command(number: int, through: tuple[str, ...]) -> Callable[[Try, Place], Ran]:
    """The true command line in a fresh Python, signalled in a cell that hangs."""

    def drive(this: Try, place: Place) -> Ran:
        books = notebooks(place.at / "books", READS, HANGS)
        code = (
            "import sys, functools; from pathlib import Path; import kit.pages.report as r; import kit.__main__ as m; "
            "r.Request = functools.partial(r.Request, notebooks=Path(sys.argv[1])); sys.exit(m.main(sys.argv[2:]))"
        )
        asked = [str(books), "report", str(WORK / "export"), "--reports", str(place.reports)]
        env = {**os.environ, "TMPDIR": str(place.temporary), "PYTHONPATH": str(ROOT)}
        given = [sys.executable, *through, sys.executable, "-c", code, *asked]
        if not through:
            given = given[1:]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
        child = subprocess.Popen(given, env=env, cwd=place.at, start_new_session=True, **pipes)
        _until(lambda: any(file.stat().st_size for file in place.temporary.glob("*/tmp*")))
        time.sleep(0.3)
        (os.killpg if number == signal.SIGINT else os.kill)(child.pid, number)
        out, said = child.communicate(timeout=LONGEST)
        return Ran(child.returncode, said.strip(), out)

    return drive


# start.py as it runs its jobs, without the installing
STARTED = ("-c", f"import sys; sys.path.insert(0, {str(ROOT)!r}); import start\n"
           "try: sys.exit(start.run(sys.argv[1:]))\nexcept KeyboardInterrupt: sys.exit(130)")  # fmt: skip


def tiny_disk(place: Place) -> None:
    place.reports.rename(place.at / "kept")
    place.reports.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=700k", "none", str(place.reports)], check=True)
    shutil.copytree(place.at / "kept", place.reports, dirs_exist_ok=True)
    left = os.statvfs(place.reports)
    (place.reports / "filler").write_bytes(b"0" * max(left.f_bavail * left.f_frsize - 60_000, 0))


def bigger_disk(place: Place) -> None:
    shutil.rmtree(place.at / "kept")
    shutil.copytree(place.reports, place.at / "kept")
    subprocess.run(["umount", str(place.reports)], check=True)
    place.reports.rmdir()
    (place.at / "kept" / "filler").unlink()
    (place.at / "kept").rename(place.reports)


def can_mount() -> bool:
    probe = WORK / "probe"
    probe.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=100k", "none", str(probe)], capture_output=True)
    return done.returncode == 0 and subprocess.run(["umount", str(probe)]).returncode == 0


def file_in_the_way(of: str) -> tuple[Callable[[Place], None], Callable[[Place], None]]:
    def prepare(place: Place) -> None:
        (place.at / of).rename(place.at / "kept")
        (place.at / of).write_text("a file")

    def cure(place: Place) -> None:
        (place.at / of).unlink()
        (place.at / "kept").rename(place.at / of)

    return prepare, cure


def cut_ledger(place: Place) -> None:
    file = place.quarter / "ledger.csv"
    file.write_bytes(file.read_bytes()[:-20])


def open_ledger(place: Place) -> None:
    """Somebody else keeps it to himself until the cure."""
    HELD[place.at] = alive.take(place.quarter / ledger.BUSY)


def close_ledger(place: Place) -> None:
    alive.let_go(place.quarter / ledger.BUSY, HELD.pop(place.at))


STATE: dict[str, object] = {}  # of one of the two processes that try
HELD: dict[Path, int] = {}


# --- the tries ---


def tries() -> list[Try]:
    end_of, page, books = (lambda name: before(report, name, kill)), "_write_page", "01-first.ipynb: cell"
    points = {
        "reading": end_of("read_study"),
        "comparing": end_of("findings"),
        "before the draft folder": before(folders, "_reserve", kill),
        "number taken, no folder yet": before(folders, "_made", kill),
        "after the draft folder": after(folders, "_reserve", kill),
        "kernel's folder made": after(alive, "_new_home", kill),
        "kernel starting": before(kernel, "_wait_for", kill),
        "before the first notebook": before(kernel, "_run", kill),
        "before the second notebook": before(kernel, "_run", kill, 2),
        "kernel ending": before(KernelManager, "shutdown_kernel", kill),
        "before the page": end_of(page),
        "figures": after(report, "_keep_figures", kill),
        "after the page": after(report, page, kill),
        "costs": after(report, "_write_costs", kill),
        "run.json": end_of("_run_of"),
        "before tables.xlsx": end_of("write_tables"),
        "in the middle of tables.xlsx": in_sheet("write_tables", kill, 5),
        "set_aside.csv": after(pd.DataFrame, "to_csv", kill),
        "faults.csv": after(pd.DataFrame, "to_csv", kill, 2),
        "in the middle of wounds.xlsx": in_sheet("write_wounds", kill, 2),
        "after wounds.xlsx": after(report, "write_wounds", kill),
        "before the rename": before(folders, "_take_place", kill),
    }
    renamed = {
        "just after the rename": after(folders, "_take_place", kill),
        "between rename and ledger": end_of("_enter_in_ledger"),
        "in the middle of the ledger line": half_a_line(kill),
        "after the ledger line": after(ledger, "_append", kill),
    }
    made = [Try(f"killed: {name}", -signal.SIGKILL, stop) for name, stop in points.items()]
    made += [Try(f"killed: {name}", -signal.SIGKILL, stop, more=1) for name, stop in renamed.items()]
    made += [
        Try("killed: inside a cell", -signal.SIGKILL, cells=in_a_cell(signal.SIGKILL)),
        Try("killed: while sweeping", -signal.SIGKILL, drive=killed_while_sweeping),
        Try("os._exit: after the page", 9, after(report, page, leave)),
        Try("os._exit: in the middle of wounds.xlsx", 9, in_sheet("write_wounds", leave, 2)),
        Try("SIGTERM: inside a cell", 143, cells=in_a_cell(signal.SIGTERM), says="interrupted"),
        Try("SIGTERM: in the middle of wounds.xlsx", 143, in_sheet("write_wounds", send(signal.SIGTERM), 2), "interr"),
        Try("SIGHUP: the window is closed", 129, before(report, page, send(signal.SIGHUP)), "interrupted"),
        Try("Ctrl-C: comparing", 130, before(report, "findings", send(signal.SIGINT)), "interrupted"),
        Try("Ctrl-C: kernel starting", 130, before(kernel, "_wait_for", send(signal.SIGINT)), "interrupted"),
        Try("Ctrl-C: a cell that hangs", 130, cells=in_a_cell(signal.SIGINT), says="interrupted"),
        Try("Ctrl-C twice: tables", 130, in_sheet("write_tables", send(signal.SIGINT, 2)), "interrupted"),
        Try("Ctrl-C: while tidying up", 130, lambda place: [
            in_sheet("write_tables", no_memory)(place), before(folders, "_drop_empty", send(signal.SIGINT))(place)
        ], "interrupted"),
        Try("Ctrl-C: command line, hanging cell", 130, drive=by_command(signal.SIGINT, ()), says="interrupted"),
        Try("SIGTERM: start.py, hanging cell", 143, drive=by_command(signal.SIGTERM, STARTED), says="interrupted"),
        Try("disk full: draft folder (ENOSPC)", 1, before(folders, "_made", refuse(errno.ENOSPC)), "No space left"),
        Try("disk full: kernel's folder (ENOSPC)", 1, before(alive, "_new_home", refuse(errno.ENOSPC)), "No space"),
        Try("disk full: page (ENOSPC)", 1, before(report, page, refuse(errno.ENOSPC)), "No space left"),
        Try("disk full: wounds.xlsx (ENOSPC)", 1, in_sheet("write_wounds", refuse(errno.ENOSPC), 2), "No space left"),
        Try("disk full: onto the disk (ENOSPC)", 1, before(folders, "_flush", refuse(errno.ENOSPC)), "No space left"),
        Try("disk full: ledger, half a line", 1, half_a_line(refuse(errno.ENOSPC)), "r2 is whole", more=1),
        Try("files limited to 12 kB (RLIMIT_FSIZE)", 1, small_files, "File too large; make room"),
        Try("read-only: reports (EROFS)", 1, before(folders, "_made", refuse(errno.EROFS)), "Read-only"),
        Try("read-only: rename (EACCES)", 1, before(os, "replace", refuse(errno.EACCES)), "Permission denied"),
        Try("read-only: ledger (EACCES)", 1, before(ledger, "_append", refuse(errno.EACCES)), "r2 is whole", more=1),
        Try("a file in the place of reports", 1, says="reports: a file of that name",
            **dict(zip(("prepare", "cure"), file_in_the_way("reports"), strict=True))),
        Try("a file in the place of the quarter", 1, says="File exists; a file is in the way",
            **dict(zip(("prepare", "cure"), file_in_the_way(f"reports/{PERIOD}"), strict=True))),
        Try("two at once", 0, drive=at_once(2), more=2),
        Try("three at once", 0, drive=at_once(3), more=3),
        Try("one killed and one swept beside a living one", 0, drive=beside_one_that_is_killed, more=2),
        Try("a notebook raises", 1, cells=(READS, "raise ValueError(rows)"), says=f"{books} 4 stopped with ValueError"),
        Try("a notebook prints", 1, cells=(READS, "print(rows)"), says=f"{books} 4 prints"),
        Try("the kernel dies (os._exit)", 1, cells=(READS, "import os\nos._exit(1)"), says="Python itself stopped"),
        Try("the kernel is killed", 1, cells=(READS, "import os\nos.kill(os.getpid(), 9)"), says="Python itself stop"),
        Try("the kernel crashes (SIGSEGV)", 1, cells=(READS, "import os\nos.kill(os.getpid(), 11)"), says="Python its"),
        Try("the kernel cannot start", 1, no_python, "does not answer"),
        Try("the kernel runs out of memory (RLIMIT_AS)", 1, says=f"{books} 4 ran out of memory", cells=(
            READS, "import resource\nresource.setrlimit(resource.RLIMIT_AS, (2**30, -1))\nmuch = bytearray(2**31)")),
        Try("memory: reading", 1, before(report, "read_study", no_memory), "memory ran out"),
        Try("memory: in the middle of wounds.xlsx", 1, in_sheet("write_wounds", no_memory, 2), "memory ran out"),
        Try("a cell beyond its time", 1, short_cells, f"{books} 4 ran for more than", (READS, HANGS)),
        Try("the ledger ends in half a line", 0, prepare=cut_ledger, more=1),
        Try("the ledger is kept by another", 1, impatient, "r2 is whole", prepare=open_ledger, cure=close_ledger,
            more=1),
    ]  # fmt: skip
    if can_mount():
        says = "No space left on device; make room"
        made.append(Try("disk full: a small disk", 1, says=says, prepare=tiny_disk, cure=bigger_disk))
    return made


# --- what is looked at ---


def prints(folder: Path) -> dict[str, str]:
    """Every file of a folder by the digest of what it holds."""
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def holds_secret(path: Path) -> bool:
    """Whether a file holds a pseudonym, workbooks opened."""
    held = path.read_bytes()
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as book:
            held += b"".join(book.read(name) for name in book.namelist())
    return any(secret in held for secret in SECRETS)


def finished(path: Path, place: Place) -> bool:
    """Whether a file lies in a revision that is done."""
    parts = path.relative_to(place.at).parts
    return parts[:3] == ("reports", *PERIOD.parts) and parts[3][0] == "r" and parts[3][1:].isdigit()


def leaks(place: Place, *said: Ran) -> list[str]:
    """Where a pseudonym is that ought not to be."""
    files = [
        path for top in (place.at, HOME) for path in top.rglob("*") if path.is_file() and "books" not in path.parts
    ]
    found = [path.name for path in files if not (top_is(path, place) and finished(path, place)) and holds_secret(path)]
    told = [b"a message" for ran in said if any(secret in (ran.said + ran.out).encode() for secret in SECRETS)]
    return found + [word.decode() for word in told]


def top_is(path: Path, place: Place) -> bool:
    return path.is_relative_to(place.at)


def strays(place: Place) -> list[str]:
    """What lies among reports and temporary files that is neither a finished revision nor a ledger."""
    known = {place.reports, place.quarter.parent, place.quarter, place.quarter / "ledger.csv", place.temporary}
    known |= {place.at / "books", place.at / "kept"}
    lying = [path for path in place.at.rglob("*") if "books" not in path.parts and "kept" not in path.parts]
    return [str(path.relative_to(place.at)) for path in lying if path not in known and not finished(path, place)]


def kernels(place: Place) -> list[int]:
    """Processes that were started with a file of this try."""
    running = []
    for process in psutil.process_iter(["cmdline", "status"]):
        words = " ".join(process.info["cmdline"] or [])
        if f"{place.temporary}/" in words and process.info["status"] != psutil.STATUS_ZOMBIE:
            running.append(process.pid)
    return running


def not_whole(place: Place, whole: set[str]) -> list[str]:
    """Revisions in which a file is missing, and those without exactly one line of a draft in the ledger."""
    numbers = sorted(path.name for path in place.quarter.glob("r*"))
    faults = [f"{name} lacks files" for name in numbers if whole - set(prints(place.quarter / name))]
    text = (place.quarter / "ledger.csv").read_text()
    told = sorted(line["revision"] for line in csv.DictReader(io.StringIO(text)) if line["changed"])
    if told != numbers or not text.endswith("\n") or text.count("revision,made") != 1:
        faults.append(f"ledger {told} for {numbers}")
    return faults


def judge(this: Try, place: Place, issued: dict[str, str]) -> tuple[Ran, list[str], list[str]]:
    """Stop a report as the try says, then run another; how it ended, what did not survive, what leaked."""
    this.prepare(place)
    books = notebooks(place.at / "books", *this.cells) if this.cells != Try.cells else WORK / "books"
    held = strays(place)
    ran = this.drive(this, place) if this.drive else run(place, this.stop, books)
    faults = this.faults
    if ran.status != this.status:
        faults.append(f"status {ran.status} and not {this.status}")
    told = ran.said.splitlines()
    if this.says and (len(told) != 1 or this.says not in told[0] or not told[0].startswith("Stopped: ")):
        faults.append(f"said {len(told)} lines")
    if this.status >= 0 and this.status != 9 and (left := sorted(set(strays(place)) - set(held))):
        faults.append(f"left behind {left[:3]}")
    this.cure(place)
    following = run(place)
    if following.status:
        faults.append(f"the next run ended with {following.status}: {following.said}")
    faults += [f"left after the next run {name}" for name in strays(place)]
    faults += [f"kernel {number} is running" for number in kernels(place)]
    faults += not_whole(place, set(issued) - {"issued.json"})
    numbers = len(list(place.quarter.glob("r*")))
    if numbers != 2 + this.more:
        faults.append(f"{numbers} revisions and not {2 + this.more}")
    if prints(place.quarter / "r1") != issued:
        faults.append("r1 has changed")
    return ran, faults, leaks(place, ran, following)


def _begin(chosen: list[Try], issued: dict[str, str]) -> None:
    STATE["chosen"], STATE["issued"] = chosen, issued


def _judge(number: int) -> tuple[Ran, list[str], list[str]]:
    place = new_place(str(number), Place(WORK / "first"))
    return judge(STATE["chosen"][number], place, STATE["issued"])


def lay_out() -> dict[str, str]:
    """The export, the notebooks, and reports with r1 issued, from which every try begins; digests of r1."""
    (WORK / "said").mkdir()
    (WORK / "export").mkdir()
    for name, text in TABLES.items():
        (WORK / "export" / f"{name}.csv").write_text(text)
    (WORK / "export" / "study-plan.toml").write_text(PLAN)
    notebooks(WORK / "books", *Try.cells)
    _warm_up()
    first = new_place("first", None)
    ran = run(first)
    if ran.status:
        sys.exit(f"the first report failed: {ran.said}")
    issued = first.quarter / "r1"
    (issued / "issued.json").write_text(json.dumps({"status": "issued", "files": prints(issued)}, indent=1))
    return prints(issued)


def _warm_up() -> None:
    """What every report loads and lays by is there before the processes fork, but for the kernel's own."""
    true, report._run_notebooks = report._run_notebooks, lambda request, internal, say: []
    report.report(report.Request(WORK / "export", WORK / "warm" / "reports"))
    report._run_notebooks = true
    cells = [nbformat.v4.new_markdown_cell("# Who?"), nbformat.v4.new_code_cell("1")]
    report._body(nbformat.v4.new_notebook(cells=cells), {"facility": ""})


def new_place(name: str, like: Place | None) -> Place:
    place = Place(WORK / name)
    place.temporary.mkdir(parents=True)
    if like is not None:
        shutil.copytree(like.reports, place.reports)
    return place


def plants_found(issued: Place) -> int:
    """How many of four plants are found: a row in a draft, in a workbook, in a message, and an unknown file."""
    place = new_place("plants", issued)
    (place.quarter / ".draft-r2").mkdir()
    (place.quarter / ".draft-r2" / "rows.csv").write_bytes(SECRETS[0])
    shutil.copy(place.quarter / "r1" / "internal" / "wounds.xlsx", place.temporary / "openpyxl.abc")
    found = leaks(place, Ran(1, SECRETS[1].decode(), ""))
    return sum(name in found for name in ("rows.csv", "openpyxl.abc", "a message")) + (
        "t/openpyxl.abc" in strays(place)
    )


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--only", default="", help="only tries whose name holds this word")
    only, began = asked.parse_args().only, time.monotonic()
    issued = lay_out()
    first = Place(WORK / "first")
    found = plants_found(first)
    print(f"plants: {found} of 4 found by the search\n", flush=True)
    chosen = [one for one in tries() if only in one.name]
    survived = leaked = 0
    print(f"{'try':<47} {'exit':>4}  {'survived':<8}  message", flush=True)
    with multiprocessing.get_context("fork").Pool(2, _begin, (chosen, issued)) as pool:
        for this, result in zip(chosen, pool.imap(_judge, range(len(chosen))), strict=True):
            ran, faults, leaking = result
            survived, leaked = survived + (not faults and not leaking), leaked + len(leaking)
            said = ran.said.splitlines()[-1] if ran.said else "(none)"
            print(f"{this.name:<47} {ran.status:>4}  {'no' if faults or leaking else 'yes':<8}  {said}", flush=True)
            for fault in [*faults, *(f"LEAK {name}" for name in leaking)]:
                print(f"    {fault}", flush=True)
    print(f"\n{time.monotonic() - began:.0f} s; as root: {os.geteuid() == 0}")
    print(f"faults: tried={len(chosen)} survived={survived} leaks={leaked}")
    return 0 if survived == len(chosen) and not leaked and found == 4 else 1


if __name__ == "__main__":
    status = 1
    try:
        status = main()
    finally:
        shutil.rmtree(WORK, ignore_errors=True)
    sys.exit(status)
