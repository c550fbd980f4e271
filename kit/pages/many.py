"""Many reports in one run: one for each facility of an export and one for the group, side by side."""

from __future__ import annotations

import os
import threading
import time
import traceback
import warnings
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from joblib import Parallel, cpu_count, delayed, parallel_config
from joblib.externals.loky import get_reusable_executor

from kit import __version__
from kit.alive import sweep_temporary
from kit.delivery.shortfalls import ALL
from kit.faults import ExportError
from kit.intake.naming import file_said
from kit.pages.folders import sweep_drafts
from kit.pages.kernel import NotebookError, Run, one_kernel
from kit.pages.report import Kernel, Request, Say, report
from kit.plan import PlanError
from kit.study import read_study

PATIENCE = 10  # seconds until a scheduler has to answer
KIT = Path(__file__).resolve().parents[1]
EXTRA = '.venv/bin/python -m pip install -c constraints.txt -e ".[cluster]"'
NO_ANSWER = (
    "no scheduler with workers answers at that address; start them with: dask scheduler, and on each computer: "
    "dask worker ADDRESS --nthreads 1"
)
UNLIKE = (
    "not every worker sees the export and the notebooks by the same names, with this version of the kit; let all share "
    "these folders, and install the same kit on each"
)
ENDED = "its process was ended from outside, most often because memory ran out; run again with --at-once 1"
# Figures, temporary folders and masks belong to a whole process: where a worker has several threads they take turns.
_TURN = threading.Lock()


@dataclass(frozen=True)
class Made:
    """What became of one report: its folder, or why there is none. `facility` is blank for the group."""

    facility: str
    folder: str = ""
    why: str = ""
    seconds: float = 0.0

    @property
    def name(self) -> str:
        return self.facility or ALL


def many(request: Request, cluster: str = "", at_once: int = 0, say: Say = lambda sentence: None) -> list[Made]:
    """A report for the group and for each facility; one that cannot be made does not keep the others from being made.

    On this computer they are made in processes of their own, at most `at_once` of them at a time (as many as there are
    cores where it is 0); each process reads the study, and compares the whole group, once. `cluster` is the address of
    a running Dask scheduler, whose workers then make them: they have to see the export and the reports by the same
    names, and to have this version of the kit. `say` is told what became of each as it ends. The numbers are those of
    reports made one by one.

    Raises ExportError or PlanError where the export cannot be read, names fewer than two facilities, or no scheduler
    answers.
    """
    request = _from_anywhere(request)
    say("Reading and cleaning the export")
    facilities = read_study(request.export, request.plan, request.columns).facilities
    if len(facilities) < 2:
        raise ExportError("the export names fewer than two facilities; leave out --each")
    asked = [replace(request, facility=facility) for facility in ("", *facilities)]  # the group, which takes longest
    try:
        with _on_cluster(cluster, request) if cluster else _on_this(at_once, len(asked)) as places:
            say(f"{len(asked)} reports, {places} at a time: the group and {', '.join(facilities)}")
            return _all_of(asked, one_kernel if cluster else kept_kernel, say)
    finally:
        sweep_drafts(Path(request.reports))  # those of processes that were ended; a living one keeps its own
        sweep_temporary()


def _from_anywhere(request: Request) -> Request:
    """The same request by names that hold wherever a process begins."""
    plan, columns = (os.path.abspath(path) if str(path) else "" for path in (request.plan, request.columns))
    export, reports, books = (
        Path(os.path.abspath(path)) for path in (request.export, request.reports, request.notebooks)
    )
    return replace(request, export=export, reports=reports, plan=plan, columns=columns, facility="", notebooks=books)


def _all_of(asked: list[Request], kernel: Kernel, say: Say) -> list[Made]:
    made: dict[str, Made] = {}
    try:
        for one in Parallel(return_as="generator_unordered", batch_size=1)(
            delayed(make)(each, kernel) for each in asked
        ):
            made[one.facility] = one
            say(_told(one, len(made), len(asked)))
    except Exception as stopped:  # the pool itself broke: what was made stays, the rest is told as not made
        if isinstance(stopped, ExportError):
            raise
        for each in asked:
            if each.facility not in made:
                made[each.facility] = Made(each.facility, why=_broken(stopped))
                say(_told(made[each.facility], len(made), len(asked)))
    return [made[each.facility] for each in asked]


def _told(one: Made, done: int, asked: int) -> str:
    what = f"not made: {one.why}" if one.why else f"{one.folder}, {one.seconds:.0f} s"
    return f"{one.name}: {what} ({done} of {asked})"


def make(request: Request, kernel: Kernel = one_kernel) -> Made:
    """One report, made wherever this runs; what stops it comes back as a line, and never a value of the export."""
    began = time.monotonic()
    with _TURN, warnings.catch_warnings(record=True):  # what a library warns of may quote what stands in an export
        try:
            folder = str(report(request, kernel=kernel))
        except Exception as stopped:
            return Made(request.facility, why=_why(stopped), seconds=time.monotonic() - began)
    return Made(request.facility, folder, seconds=time.monotonic() - began)


def _why(stopped: Exception) -> str:
    if isinstance(stopped, ExportError | PlanError | NotebookError):
        return str(stopped)
    if isinstance(stopped, MemoryError):
        return "memory ran out; run again with --at-once 1"
    if isinstance(stopped, OSError):
        name = f"{file_said(Path(stopped.filename))}: " if stopped.filename else ""
        return f"{name}{stopped.strerror or type(stopped).__name__}"
    lines = [frame for frame in traceback.extract_tb(stopped.__traceback__) if Path(frame.filename).is_relative_to(KIT)]
    where = f", {Path(lines[-1].filename).name} line {lines[-1].lineno}" if lines else ""
    return f"a fault of the kit itself ({type(stopped).__name__}{where}); please report this line"


def _broken(stopped: Exception) -> str:
    """Why a whole pool ended: loky's TerminatedWorkerError and Dask's KilledWorker are ended processes."""
    ended = type(stopped).__name__ in ("TerminatedWorkerError", "BrokenProcessPool", "KilledWorker")
    return ENDED if ended else f"the processes side by side stopped ({type(stopped).__name__}); please report this line"


# --- where they are made ---


_kept: dict[str, object] = {}


@contextmanager
def kept_kernel() -> Iterator[Run]:
    """The kernel of this process, kept for its next report; after a failure the next one begins its own.

    What all reports need of the whole group is then worked out once in it. It ends with its process.
    """
    if not _kept:
        stack = ExitStack()
        _kept.update(stack=stack, run=stack.enter_context(one_kernel()))
    try:
        yield _kept["run"]
    except BaseException:
        stack = _kept.pop("stack")
        _kept.clear()
        stack.close()
        raise


@contextmanager
def _on_this(at_once: int, asked: int) -> Iterator[int]:
    """Processes on this computer; how many at a time."""
    places = min(at_once or cpu_count(), asked)
    try:
        with parallel_config(backend="loky", n_jobs=places):
            yield places
    finally:
        get_reusable_executor().shutdown(wait=True, kill_workers=True)  # and with them their kernels


@contextmanager
def _on_cluster(address: str, request: Request) -> Iterator[int]:
    """The workers of a running Dask scheduler; how many there are."""
    client = _client(address)
    try:
        seen = _sights(client, request)
        if not seen:
            raise ExportError(NO_ANSWER)
        if set(seen) != {sight(request)}:
            raise ExportError(UNLIKE)
        with parallel_config(backend="dask", client=client):
            yield len(seen)
    finally:
        client.close()


def _sights(client, request: Request) -> list[tuple]:
    """What each worker has of what it needs."""
    try:
        return list(client.run(sight, request).values())
    except Exception:  # a worker without the kit cannot even be asked; of which kind that is depends on what it lacks
        raise ExportError(UNLIKE) from None


def _client(address: str):
    try:
        from distributed import Client  # an extra: only who has a cluster needs it
    except ImportError:
        raise ExportError(f"--cluster needs Dask; install it with: {EXTRA}") from None
    try:
        return Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, ValueError):
        raise ExportError(NO_ANSWER) from None


def sight(request: Request) -> tuple[str, bool, bool]:
    """What a worker has of what it needs: the kit's version, and whether it sees export and notebooks."""
    return __version__, os.path.exists(request.export), os.path.isdir(request.notebooks)
