"""One stage of the kit on one export, in a process of its own: what each of its steps takes, and its peak of memory.

    .venv/bin/python benchmarks/scale_stages.py reading|group|report FOLDER DRAWS

benchmarks/scale.py runs these side by side with others. Threads are those that the surroundings allow.
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path

from kit.compared import weeks
from kit.healing.answers import answer
from kit.healing.description import describe
from kit.intake.cleaning import clean
from kit.intake.readers import read_export
from kit.intake.screening import screen
from kit.pages.report import Request, report
from kit.plan import read_plan
from kit.study import PLAN_NAME, read_study

try:
    import resource
except ModuleNotFoundError:  # Windows has none: memory is not told there
    resource = None

TO_MB = 1 / 1024**2 if sys.platform == "darwin" else 1 / 1024  # ru_maxrss counts bytes there, kilobytes elsewhere


class Laps:
    """Seconds of each step, of the clock and of the processor."""

    def __init__(self) -> None:
        self.told: dict[str, tuple[float, float]] = {}
        self.clock = time.perf_counter(), time.process_time()

    def lap(self, name: str) -> None:
        now = time.perf_counter(), time.process_time()
        self.told[name] = now[0] - self.clock[0], now[1] - self.clock[1]
        self.clock = now


def reading(folder: Path, draws: int) -> dict:
    """What reading and cleaning takes, step by step, and what came of it."""
    laps, plan = Laps(), read_plan(folder / PLAN_NAME)
    raw = read_export(folder)
    laps.lap("reading")
    screened = screen(raw, plan)
    laps.lap("screening")
    tables = clean(screened, plan).tables
    laps.lap("cleaning")
    sized = tables["measurements"]
    return {
        "steps": laps.told, "wounds": len(tables["wounds"]), "measurements": len(sized),
        "sessions": len(tables["sessions"]), "area": float(sized["size"].sum()),
    }  # fmt: skip


def group(folder: Path, draws: int) -> dict:
    """What the description and the comparison of a group take, once its study is read."""
    study, laps = read_study(folder), Laps()
    describe(study.episodes, study.plan)
    laps.lap("description")
    made = weeks(study)
    laps.lap("weeks")
    answers = answer(made, study.measurements, study.plan, draws)
    laps.lap("comparisons")
    told = answers.told.iloc[0]
    return {"steps": laps.told, "difference": float(told["closed_difference"]), "facilities": len(study.facilities)}


def whole_report(folder: Path, draws: int) -> dict:
    """What the whole report takes, notebooks and all."""
    laps = Laps()
    with tempfile.TemporaryDirectory() as reports:
        report(Request(folder, Path(reports)), say=lambda told: None)
    laps.lap("report")
    return {"steps": laps.told}


STAGES = {"reading": reading, "group": group, "report": whole_report}


if __name__ == "__main__":
    stage, export, draws = sys.argv[1:]
    told = STAGES[stage](Path(export), int(draws))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * TO_MB if resource else float("nan")
    print(json.dumps(told | {"mb": peak}))
