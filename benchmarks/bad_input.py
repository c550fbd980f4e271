"""How broken exports are met, and how long each takes: the corpus of tests/broken_exports.py, one after another.

    .venv/bin/python benchmarks/bad_input.py

What stops must do so at the check, in one line, within `SOON`; of what can be read every row is kept or set aside.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from kit.checking import check
from kit.study import read_study
from tests.broken_exports import CORPUS, COUNTED, FINE, STOPS, lay, valid

SOON = 0.3  # seconds
SHOWN = 8


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        check(valid(Path(folder) / "export"))  # libraries are loaded once
        whole = read_study(Path(folder) / "export").account["rows_in"].tolist()
    met, slow, odd = Counter(), [], []
    for name, broken in CORPUS.items():
        came, seconds = tried(name, whole)
        met[came] += 1
        slow.append((seconds if came == STOPS else 0.0, name))
        odd += [f"{name}: {came}, expected {broken.comes}"] if came != broken.comes else []
    print(f"| the slowest of {met[STOPS]} that stop | seconds |\n| --- | ---: |")
    for seconds, name in sorted(slow, reverse=True)[:SHOWN]:
        print(f"| {name} | {seconds:.2f} |")
    print(*odd, sep="\n", end="\n" if odd else "")
    slowest = max(slow)[0]
    print(
        f"bad_input: cases={len(CORPUS)} stops={met[STOPS]} counted={met[COUNTED]} fine={met[FINE]} "
        f"traceback={met['traceback']} lost={met['lost']} slowest_stop_s={slowest:.2f}"
    )
    return 1 if odd or slowest > SOON else 0


def tried(name: str, whole: list[int]) -> tuple[str, float]:
    """What became of one broken export, and in how many seconds the check was through.

    `whole`: how many rows each table of the valid export has. What is fine has them all, for a row that a reader passes
    over comes to no account.
    """
    with tempfile.TemporaryDirectory() as folder:
        export = lay(name, Path(folder) / "export")
        began = time.perf_counter()
        try:
            found = check(export)
            seconds = time.perf_counter() - began
            if found.stops:
                return STOPS, seconds
            study = read_study(export)
        except Exception:  # whatever it is, it should have been a line
            return "traceback", time.perf_counter() - began
        told = study.account
        if (told["kept"] + told["set_aside"] != told["rows_in"]).any():
            return "lost", seconds
        if CORPUS[name].comes == FINE and told["rows_in"].tolist() != whole:
            return "lost", seconds
        return COUNTED if len(study.faults) else FINE, seconds


if __name__ == "__main__":
    sys.exit(main())
