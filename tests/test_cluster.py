"""The same reports on a cluster: a scheduler and two workers that the test starts and ends."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kit.faults import ExportError
from kit.pages import many as module
from kit.pages.many import NO_ANSWER, many, sight
from tests.test_many import HOMES, found, one_by_one, three  # noqa: F401 the fixture

distributed = pytest.importorskip("distributed", reason="distributed is not installed: pip install .[cluster]")
ROOT = Path(__file__).parent.parent
PATIENCE = 120  # seconds until scheduler and workers are there


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """The address of a scheduler with two workers, each a process of its own."""
    home = tmp_path_factory.mktemp("cluster")
    told, started = home / "scheduler.json", []
    settings = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}

    def start(*command):
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        started.append(subprocess.Popen([sys.executable, "-m", *command], cwd=home, env=settings, **quiet))

    start(
        "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-show",
        "--scheduler-file", str(told),
    )  # fmt: skip
    for _ in range(2):
        start(
            "distributed.cli.dask_worker", "--scheduler-file", str(told), "--nthreads", "1", "--no-dashboard",
            "--no-nanny", "--host", "127.0.0.1", "--local-directory", str(home),
        )  # fmt: skip
    try:
        yield address_in(told)
    finally:
        for process in started[::-1]:
            process.kill()
            process.wait()


def address_in(told):
    ends = time.monotonic() + PATIENCE
    while time.monotonic() < ends:
        try:
            with distributed.Client(scheduler_file=str(told), timeout=5, set_as_default=False) as client:
                client.wait_for_workers(2, timeout=PATIENCE)
                return client.scheduler.address
        except (OSError, ValueError):
            time.sleep(0.2)
    pytest.fail("scheduler and workers did not start")


def test_reports_made_on_a_cluster_have_the_findings_of_reports_made_one_by_one(cluster, three, tmp_path, monkeypatch):  # noqa: F811
    said = []
    monkeypatch.setattr(module, "report", lambda *given, **others: pytest.fail("made here and not by a worker"))
    made = many(three, cluster=cluster, say=said.append)
    assert [one.why for one in made] == [""] * 4
    together, apart = found(three.reports), one_by_one(three, tmp_path / "apart")
    assert set(together) == {"All-facilities", *HOMES} and together == apart
    assert said[1] == "4 reports, 2 at a time: the group and Alder, Birch, Cedar"


def test_a_worker_that_does_not_see_the_export_is_told(cluster, three, monkeypatch):  # noqa: F811
    monkeypatch.setattr(module, "__version__", "another")
    with pytest.raises(ExportError, match="not every worker sees the export"):
        many(three, cluster=cluster)
    assert sight(three)[0] == "another"


def test_workers_that_have_no_kit_are_told_of_in_the_same_line(three):  # noqa: F811
    class Workers:
        def run(self, *given):
            raise ModuleNotFoundError("No module named 'kit'")

    with pytest.raises(ExportError) as stopped:
        module._sights(Workers(), three)
    assert str(stopped.value) == module.UNLIKE


def test_where_no_scheduler_answers_that_is_said(three, monkeypatch):  # noqa: F811
    monkeypatch.setattr(module, "PATIENCE", 1)
    with pytest.raises(ExportError) as stopped:
        many(three, cluster="tcp://127.0.0.1:9")
    assert str(stopped.value) == NO_ANSWER


def test_without_dask_it_is_said_how_to_install_it(three, monkeypatch):  # noqa: F811
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ExportError, match="--cluster needs Dask; install it with: .*cluster"):
        many(three, cluster="tcp://127.0.0.1:9")
