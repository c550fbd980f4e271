"""Running notebooks one after another in a single kernel that leaves no trace on disk."""

from __future__ import annotations

import asyncio
import os
import queue
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import papermill
from jupyter_client.manager import KernelManager
from jupyter_core.utils import ensure_event_loop
from nbclient.exceptions import CellTimeoutError, DeadKernelError
from nbformat import NotebookNode
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import Engine, papermill_engines
from papermill.exceptions import PapermillExecutionError

from kit.alive import own_temporary
from kit.endings import undisturbed
from kit.kept import OF_RUN
from kit.pages.display import MARK

STRAYS = {"stream": "prints or warns", "execute_result": "ends with a bare value"}
CELL_HOURS = 2  # the longest cell takes minutes; what takes longer than this will never end
SHORT_OF = {"MemoryError": "ran out of memory; close other programs and run again"}
UNHEARD = {  # no history; and what a crash prints may quote rows
    "extra_arguments": ["--HistoryManager.enabled=False"],
    "stdout": subprocess.DEVNULL,
    "stderr": subprocess.DEVNULL,
}
SILENT = "the Python of the notebooks does not answer; most often memory or disk is short: make room and run again"
Run = Callable[[Path, dict[str, str]], NotebookNode]


class NotebookError(Exception):
    """A notebook cannot be run or may not be kept: names notebook, cell and kind of error, never what was shown."""


class Late(Exception):
    """A cell that runs longer than any should; `index` is its place in the notebook as it was run."""

    def __init__(self, index: int) -> None:
        self.index = index


class OneKernel(Engine):
    """A papermill engine for a kernel that is already there; it closes its own line to the kernel afterwards."""

    @classmethod
    def execute_managed_notebook(cls, nb_man, kernel_name: str, km: KernelManager, **others: object) -> None:
        """Run the notebook's cells; what papermill offers besides, such as a log of outputs, is not taken."""
        client = PapermillNotebookClient(nb_man, km=km, kernel_name=kernel_name, timeout=round(CELL_HOURS * 3600))
        try:
            client.execute()
        except CellTimeoutError:
            begun = [cell.metadata.papermill.status != nb_man.PENDING for cell in nb_man.nb.cells]
            raise Late(sum(begun) - 1) from None
        finally:
            if client.kc is not None:
                client.kc.stop_channels()


papermill_engines.register("one kernel", OneKernel)


@contextmanager
def one_kernel() -> Iterator[Run]:
    """A function that runs a notebook with parameters and hands back the executed copy, which is never written.

    Ten notebooks in ten kernels spend most of their time on imports; here they share one, wiped between notebooks. The
    kernel keeps no history, reads no profile of the person, lays its temporary files in a folder that goes with it, and
    talks over a socket file where the system has them. It ends when this process does, however that ends. Raises
    NotebookError where it cannot be started.
    """
    with own_temporary() as home:
        manager = _manager(str(home))
        client = None
        try:
            manager.start_kernel(env=_surroundings(str(home)), cwd=str(home), **UNHEARD)
            client = manager.blocking_client()
            client.start_channels()
            _wait_for(client)
            yield lambda notebook, parameters: _run(manager, client, notebook, parameters)
        finally:
            with undisturbed():
                _drop_what_was_waited_for()
                if client is not None:
                    client.stop_channels()
                manager.shutdown_kernel(now=True)


def _drop_what_was_waited_for() -> None:
    """After an interrupt nbclient still waits for its cell, and would tell of the kernel's end with a traceback."""
    loop = ensure_event_loop()
    waiting = asyncio.all_tasks(loop)
    for task in waiting:
        task.cancel()
    if waiting:
        loop.run_until_complete(asyncio.wait(waiting, timeout=5))
    for task in waiting:
        if task.done() and not task.cancelled():
            task.exception()  # taken note of, so that nobody prints it


def _surroundings(home: str) -> dict[str, str]:
    temporary = dict.fromkeys(("TMPDIR", "TEMP", "TMP"), home)
    threads = dict.fromkeys(("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")  # another process works beside it
    return {**os.environ, **temporary, **threads, "IPYTHONDIR": home, "MPLBACKEND": "agg"}


def _wait_for(client) -> None:
    try:
        client.wait_for_ready(timeout=120)
    except RuntimeError:
        raise NotebookError(SILENT) from None


def _manager(home: str) -> KernelManager:
    where = {"connection_file": os.path.join(home, "kernel.json")}
    if sys.platform == "win32":
        where |= {"transport_encryption": "auto"}
    else:
        where |= {"transport": "ipc", "ip": os.path.join(home, "k")}
    # nbclient notices that a kernel has died only while it waits for it without blocking
    return KernelManager(kernel_name="python3", client_class="jupyter_client.asynchronous.AsyncKernelClient", **where)


def _run(manager: KernelManager, client, notebook: Path, parameters: dict[str, str]) -> NotebookNode:
    refuse_undeclared(notebook, parameters)
    _wipe(client, notebook)
    try:
        node = papermill.execute_notebook(
            notebook,
            None,
            parameters=parameters,
            kernel_name="python3",
            engine_name="one kernel",
            progress_bar=False,
            km=manager,
        )
    # the injected cell of parameters stands before every cell that can fail, so the index is the reader's number
    except PapermillExecutionError as failed:
        stopped = SHORT_OF.get(failed.ename, f"stopped with {failed.ename}")
        raise NotebookError(f"{notebook.name}: cell {failed.cell_index} {stopped}") from None
    except Late as late:
        told = f"cell {late.index} ran for more than {CELL_HOURS:g} hours and was ended; report this line"
        raise NotebookError(f"{notebook.name}: {told}") from None
    except DeadKernelError:
        raise NotebookError(
            f"{notebook.name}: Python itself stopped; most often the computer ran out of memory"
        ) from None
    refuse_strays(notebook, node)
    return node


def _wipe(client, notebook: Path) -> None:
    try:
        client.execute_interactive(_blank(), silent=True, store_history=False, timeout=60)
    except (TimeoutError, queue.Empty, RuntimeError):
        raise NotebookError(f"{notebook.name}: {SILENT}") from None


def _blank() -> str:
    """What empties the kernel. A kernel may outlive the run it began in: it is told where answers of this one are."""
    return f"%reset -f\n__import__('os').environ[{OF_RUN!r}] = {os.environ.get(OF_RUN, '')!r}"


def refuse_undeclared(notebook: Path, parameters: dict[str, str]) -> None:
    """Raise NotebookError for a parameter that the notebook does not declare; a misspelt one must not pass unseen."""
    declared = papermill.inspect_notebook(notebook)
    for name in parameters:
        if name not in declared:
            raise NotebookError(f"{notebook.name}: no parameter is called {name}; it has {', '.join(declared)}")


def refuse_strays(notebook: Path, node: NotebookNode) -> None:
    """Raise NotebookError for any output that `show` did not emit: a print, a bare value, a warning."""
    own = [cell for cell in node.cells if "injected-parameters" not in cell.metadata.get("tags", [])]
    for number, cell in enumerate(own, start=1):
        for output in cell.get("outputs", []):
            shown = output.output_type == "display_data" and output.metadata.get("text/html") == MARK
            if not shown or set(output.data) != {"text/html"}:
                does = STRAYS.get(output.output_type, "displays something itself")
                raise NotebookError(f"{notebook.name}: cell {number} {does}; only show() may show anything")
