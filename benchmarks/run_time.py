"""How long the quarter's report on the invented group takes, stage by stage, and how much memory it needs.

    .venv/bin/python benchmarks/run_time.py

The install is not counted. Memory is the largest seen of this process plus the largest of the notebooks' kernel.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
EXPORT = ROOT / "data" / "synthetic" / "lifelike"
TO_MB = 1 / 1024**2 if sys.platform == "darwin" else 1 / 1024  # ru_maxrss counts bytes there, kilobytes elsewhere


def main() -> None:
    began = time.perf_counter()
    marks: list[tuple[str, float]] = [("Importing the kit", began)]
    from kit.pages.report import Request, report

    with tempfile.TemporaryDirectory() as reports:
        report(Request(EXPORT, Path(reports)), say=lambda told: begin(marks, told))
    ended = time.perf_counter()
    print("| in which process | stage | begins after, s | takes, s |\n| --- | --- | ---: | ---: |")
    for beside in (False, True):
        own = [mark for mark in marks if mark[0].startswith("Notebook") == beside]
        for (stage, start), (_, end) in zip(own, [*own[1:], ("", ended)], strict=True):
            print(f"| {'notebooks' if beside else 'page'} | {stage} | {start - began:.1f} | {end - start:.1f} |")
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    peak = sum(resource.getrusage(one).ru_maxrss for one in who) * TO_MB
    print(f"run_time: report_s={ended - began:.1f} peak_mb={peak:.0f}")


def begin(marks: list[tuple[str, float]], told: str) -> None:
    """A stage begins with every message but the one that counts rows; the notebooks run while the page is made."""
    if not told[0].isdigit():
        marks.append((told, time.perf_counter()))


if __name__ == "__main__":
    main()
