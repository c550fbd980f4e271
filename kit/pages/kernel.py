"""Running notebooks one after another in a single kernel that leaves no trace on disk."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import papermill
from jupyter_client.manager import KernelManager
from nbclient.exceptions import DeadKernelError
from nbformat import NotebookNode
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import Engine, papermill_engines
from papermill.exceptions import PapermillExecutionError

from kit.pages.display import MARK

STRAYS = {"stream": "prints or warns", "execute_result": "ends with a bare value"}
Run = Callable[[Path, dict[str, str]], NotebookNode]


class NotebookError(Exception):
    """A notebook cannot be run or may not be kept: names notebook, cell and kind of error, never what was shown."""


class OneKernel(Engine):
    """A papermill engine for a kernel that is already there; it closes its own line to the kernel afterwards."""

    @classmethod
    def execute_managed_notebook(cls, nb_man, kernel_name: str, km: KernelManager, **others: object) -> None:
        """Run the notebook's cells; what papermill offers besides, such as a log of outputs, is not taken."""
        client = PapermillNotebookClient(nb_man, km=km, kernel_name=kernel_name)
        try:
            client.execute()
        finally:
            if client.kc is not None:
                client.kc.stop_channels()


papermill_engines.register("one kernel", OneKernel)


@contextmanager
def one_kernel() -> Iterator[Run]:
    """A function that runs a notebook with parameters and hands back the executed copy, which is never written.

    Ten notebooks in ten kernels spend most of their time on imports; here they share one, wiped between notebooks. The
    kernel keeps no history, reads no profile of the person, and talks over a socket file where the system has them.
    """
    with tempfile.TemporaryDirectory(prefix="kernel-") as home:
        manager = _manager(home)
        env = {**os.environ, "IPYTHONDIR": home, "MPLBACKEND": "agg"}
        manager.start_kernel(env=env, cwd=home, extra_arguments=["--HistoryManager.enabled=False"])
        client = manager.blocking_client()
        client.start_channels()
        try:
            client.wait_for_ready(timeout=120)
            yield lambda notebook, parameters: _run(manager, client, notebook, parameters)
        finally:
            client.stop_channels()
            manager.shutdown_kernel(now=True)


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
    client.execute_interactive("%reset -f", silent=True, store_history=False, timeout=60)
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
    except PapermillExecutionError as failed:
        # the injected cell of parameters stands before every cell that can fail, so the index is the reader's number
        raise NotebookError(f"{notebook.name}: cell {failed.cell_index} stopped with {failed.ename}") from None
    except DeadKernelError:
        raise NotebookError(
            f"{notebook.name}: Python itself stopped; most often the computer ran out of memory"
        ) from None
    refuse_strays(notebook, node)
    return node


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
