"""How long a consultant at the desk waits: five notebooks, each in a kernel of its own, changed and run again.

    .venv/bin/python benchmarks/desk.py [export]

"First" is a new kernel, imports counted, with nothing kept; "again" every cell once more; "other facility" a changed
parameters cell; "there and back" the first parameters and then that facility once more, both runs together; "restarted"
a new kernel, which finds on the disk what took long. What the person keeps is left alone on Linux, where a program may
say where such files go. The last line is of the slowest notebook in each column.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import nbformat
from jupyter_client.manager import start_new_kernel

from kit.kept import AT_THE_DESK
from kit.study import read_study

ROOT = Path(__file__).resolve().parents[1]
EXPORT = ROOT / "data" / "synthetic" / "lifelike"
NOTEBOOKS = ("04", "05", "06", "07", "08")
KEPT = tempfile.TemporaryDirectory()
STAGES = ("first", "of it imports", "again", "other facility", "there and back", "restarted")
HOURS = 1


def main(export: Path) -> None:
    facility = last_facility(export)
    print(f"| notebook | {' | '.join(STAGES)} |\n| --- |{' ---: |' * len(STAGES)}")
    rows = []
    for number in NOTEBOOKS:
        book = next((ROOT / "notebooks").glob(f"{number}-*.ipynb"))
        rows.append(timed(book, export, facility))
        print(f"| {number} | {' | '.join(f'{seconds:.1f}' for seconds in rows[-1])} |", flush=True)
    first, _, again, other, _, restarted = (max(column) for column in zip(*rows, strict=True))
    print(f"desk: first_s={first:.1f} again_s={again:.1f} other_facility_s={other:.1f} from_disk_s={restarted:.1f}")


def timed(book: Path, export: Path, facility: str) -> tuple[float, ...]:
    """Seconds of every stage for one notebook."""
    begun()
    whole, one = cells_of(book, export, ""), cells_of(book, export, facility)
    with kernel() as run:
        imports = seconds(run, ["import kit.study, kit.warned, kit.followed, kit.pages.findings"])
        first = imports + seconds(run, whole)
        again, other = seconds(run, whole), seconds(run, one)
        back = seconds(run, whole) + seconds(run, one)
    with kernel() as run:
        restarted = seconds(run, whole)
    return first, imports, again, other, back, restarted


def begun() -> None:
    """A desk at which nothing is kept yet, away from the person's own."""
    os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="desk-", dir=KEPT.name)
    os.environ[AT_THE_DESK] = "1"


def cells_of(book: Path, export: Path, facility: str) -> list[str]:
    """The notebook's code, with these parameters typed into its first cell."""
    code = [cell.source for cell in nbformat.read(book, 4).cells if cell.cell_type == "code"]
    given = re.sub(r"^export = .*$", lambda _: f"export = {str(export)!r}", code[0], flags=re.MULTILINE)
    given = re.sub(r"^facility = .*$", lambda _: f"facility = {facility!r}", given, flags=re.MULTILINE)
    return [given, *code[1:]]


def seconds(run: Callable[[str], None], cells: list[str]) -> float:
    """How long the cells take, one after another."""
    began = time.perf_counter()
    for cell in cells:
        run(cell)
    return time.perf_counter() - began


@contextmanager
def kernel() -> Iterator[Callable[[str], None]]:
    """A new kernel, as the desk starts one for a notebook; what its cells show is not kept."""
    manager, client = start_new_kernel(cwd=str(ROOT / "notebooks"))

    def run(cell: str) -> None:
        answer = client.execute_interactive(cell, timeout=HOURS * 3600, output_hook=lambda shown: None)
        if answer["content"]["status"] != "ok":
            raise SystemExit(f"A cell stopped with {answer['content']['ename']}: {answer['content']['evalue']}")

    try:
        yield run
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def last_facility(export: Path) -> str:
    return read_study(export).facilities[-1]


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else EXPORT)
