"""How time and memory grow with an export, stage by stage, and beside what an analyst would pick instead.

    .venv/bin/python benchmarks/scale.py [--draws N] [--looped N] [--rivals PYTHON] [--no-chain] [--report]

Exports of 130 residents, 5,000 and 100,000 wounds are invented (benchmarks/scale_export.py) and read by a process of
their own for each stage, so that each has its own peak of memory. Reading and cleaning stands beside polars and R's
data.table, curves beside lifelines and R's survfit, mixed models beside lme4 and statsmodels, nested trials in which
every draw is fitted anew beside pySEQTarget: same data, one thread, answers compared too; the group's answers and the
whole report alone have as many threads as the kit gives them. Slow ones run a few draws and are scaled up.
Each ratio is the median of runs in pairs, one after the other, so that other work on the machine slows both alike; of
reading and of pySEQTarget it is of processor time. polars and pySEQTarget are no part of the kit:
`--rivals` names a Python that has them (pip install polars pySEQTarget). What is not installed is left out and told.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "POLARS_MAX_THREADS")
os.environ |= dict.fromkeys(THREADS, "1")

import mixed_models  # noqa: E402
import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
import resampling  # noqa: E402
from invented_facility import Scenario, plan_of, simulate  # noqa: E402
from lifelines import KaplanMeierFitter  # noqa: E402
from scale_export import write_export  # noqa: E402

from kit.healing.comparison import any_modality, draw_all  # noqa: E402
from kit.healing.curves import incidence  # noqa: E402
from kit.healing.emulation import Layout, lay_out  # noqa: E402
from kit.healing.resampling import resident_draws  # noqa: E402
from kit.healing.trials import weeks_of  # noqa: E402
from kit.study import read_study  # noqa: E402

STAGES, RIVALS = (Path(__file__).resolve().parent / name for name in ("scale_stages.py", "rivals"))
SIZES = {"130 residents": 0, "5,000 wounds": 5_000, "100,000 wounds": 100_000}
REGION, CHAIN = "5,000 wounds", "100,000 wounds"
GROWING = ("reading", "group")  # stages over which growth is told
PAIRS, RESAMPLES, FOLLOWED = 3, 500, 12
NEITHER = float("nan")


def run_stage(stage: str, folder: Path, draws: int) -> dict:
    """What a stage told, from a process of its own; nothing where it did not end.

    Reading, which stands beside others, has one thread; the others have what the kit gives itself.
    """
    free = {name: value for name, value in os.environ.items() if name not in THREADS}
    return told_by([sys.executable, STAGES, stage, folder, draws], os.environ if stage == "reading" else free)


def told_by(command: list, surroundings: dict[str, str] | None = None) -> dict:
    """What another process tells in its last line; nothing where it lacks a library, or did not end."""
    ran = subprocess.run([str(one) for one in command], capture_output=True, text=True, env=surroundings)
    return json.loads(ran.stdout.splitlines()[-1]) if ran.returncode == 0 and ran.stdout else {}


# --- beside others ---


def beside_reading(folder: Path, name: str, command: list) -> float:
    """Reading and cleaning: the kit's time over that of another, both on one thread, of the processor."""
    ratios = []
    for _ in range(PAIRS):
        own, other = run_stage("reading", folder, 0), told_by([*command, folder])
        if not (own and other):
            return NEITHER
        seconds = sum(cpu for _, cpu in own["steps"].values())
        ratios.append(seconds / other["seconds"])
    same = {name: own[name] == other[name] for name in ("wounds", "measurements")}
    apart = abs(own["area"] - other["area"]) / other["area"]
    told = ", ".join(f"{name} {'the same' if alike else 'differ'}" for name, alike in same.items())
    print(f"| {name}: reading and cleaning | {seconds:.2f} | {other['seconds']:.2f} | {told}; area apart {apart:.0e} |")
    return float(np.median(ratios))


def beside_curves(wounds: pd.DataFrame, draws: int, looped: int) -> float:
    """The share closed of all wounds, residents drawn again: lifelines' time over the kit's."""
    days = (wounds["end_day"] - wounds["entry_day"]).to_numpy(dtype=np.int64)
    outcome = np.where(wounds["outcome"] == "closed", "closed", "open")
    drawn = resident_draws(wounds["resident"].to_numpy(dtype=str), draws)
    few, ratios = drawn[:, :looped], []
    for _ in range(PAIRS):
        seconds, found = mixed_models.timed(lambda: incidence(days, outcome, ("closed",), drawn), 3)
        other, told = mixed_models.timed(lambda: [shut(days, outcome, counts) for counts in few.T], 1)
        other *= draws / looped
        ratios.append(other / seconds)
    apart = np.abs(found.at(resampling.HORIZON)[0, :looped] - told).max()
    print(f"| lifelines: {draws} curves | {seconds:.2f} | {other:.1f} | shares apart at most {apart:.0e} |")
    by_r = resampling.r_curves(days, outcome == "closed", few) * draws / looped
    print(f"| R, survfit: {draws} curves | {seconds:.2f} | {said(by_r, '.1f')} | |")
    return float(np.median(ratios))


def shut(days: np.ndarray, outcome: np.ndarray, counts: np.ndarray) -> float:
    kept = counts > 0
    fitter = KaplanMeierFitter().fit(days[kept], outcome[kept] == "closed", weights=counts[kept])
    return 1 - fitter.predict(resampling.HORIZON)


def beside_mixed(wounds: int) -> None:
    """Nested mixed models of ten sizes a wound beside lme4 and statsmodels."""
    data = mixed_models.invented(wounds)
    seconds, fit = mixed_models.ours(data, PAIRS)
    by_r, slow = mixed_models.by_lme4(data, 1), mixed_models.by_statsmodels(data)
    apart = "–" if by_r is None else f"coefficients apart at most {np.abs(fit.beta - by_r[2]).max():.0e}"
    print(f"| R, lme4: a mixed model | {seconds:.2f} | {said(by_r[0] if by_r else NEITHER, '.1f')} | {apart} |")
    print(f"| statsmodels, MixedLM: the same less a correlation | {seconds:.2f} | {slow:.1f} | |")


def group_of(residents: int) -> Layout:
    """A group in which nobody dies or leaves, so that both answer the same question."""
    scenario = Scenario(
        residents=residents, starters=60 * residents / 130, missed=0.1, leaving=0.0, dying=0.0, hospital=0.0
    )
    made = simulate(scenario, np.random.default_rng(residents))
    tables = {name: getattr(made, name).reindex(columns=[*getattr(made, name), *columns])
              for name, columns in resampling.BLANK.items()}  # fmt: skip
    frames = (tables["residents"], tables["wounds"], tables["measurements"], resampling.STAGES, resampling.SPANS)
    plan = plan_of(scenario)
    found = weeks_of(made.episodes, *frames, made.departures, plan).weeks
    return lay_out(found, tables["measurements"], plan, FOLLOWED * 7)


def in_points(difference: float, error: float) -> str:
    return f"{100 * difference:.1f} points (standard error {100 * error:.1f})"


def as_rows(layout: Layout) -> pd.DataFrame:
    """Weeks as pySEQTarget takes them: what starts or closes in a week is told by its row."""
    own = layout.weeks
    last = own["wound"] != own["wound"].shift(-1)
    told = pd.DataFrame({
        "id": pd.factorize(own["wound"])[0], "time": own.groupby("wound").cumcount(),
        "eligible": (own["before"] & (own["reason"] == "")).astype(int),
        "treated": (~own["before"] | (own["starts"] != "")).astype(int),
        "closed": (last & (own["outcome"] == "closed")).astype(int), "week": own["week"],
    })  # fmt: skip
    for name in ("log_size", "slope", "stalled"):
        filled = own.groupby("wound")[name].ffill().astype(float)
        told[name] = filled.fillna(filled.mean())
    return told


def beside_nested(residents: int, looped: int, python: str) -> float:
    """Started now beside not started: pySEQTarget's time over the kit's, for as many resamples."""
    layout = group_of(residents)
    asked, command = any_modality(layout), [python, RIVALS / "by_pyseqtarget.py"]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "weeks.csv"
        as_rows(layout).to_csv(file, index=False)
        began = time.process_time()
        found = draw_all(layout, [asked], RESAMPLES)[asked.key]
        seconds = time.process_time() - began
        once, some = (told_by([*command, file, FOLLOWED, count]) for count in (0, looped))
    own = found.numbers["closed"]
    told = f"{in_points(own[0, 0] - own[1, 0], np.std(own[0, 1:] - own[1, 1:]))} and "
    if not (once and some):
        print(f"| pySEQTarget: {RESAMPLES} resamples | {seconds:.1f} | – | {told}– |")
        return NEITHER
    other = (some["seconds"] - once["seconds"]) / looped * RESAMPLES
    told += in_points(some["difference"], some["error"])
    print(f"| pySEQTarget: {RESAMPLES} resamples | {seconds:.1f} | {other:.0f} | {told} |")
    return other / seconds


# --- the tables ---


def said(number: float, form: str) -> str:
    return "–" if math.isnan(number) else format(number, form)


def tabled(found: dict[str, dict[str, dict]]) -> None:
    print("| size | stage | seconds | of the processor | peak MB |\n| --- | --- | ---: | ---: | ---: |")
    for size, stages in found.items():
        for stage in stages.values():
            for step, (clock, cpu) in stage.get("steps", {}).items():
                print(f"| {size} | {step} | {clock:.1f} | {cpu:.1f} | {stage['mb']:.0f} |")


def spent(stage: dict, place: int) -> float:
    """Seconds of a stage: of the clock (0) or of the processor (1)."""
    return sum(step[place] for step in stage["steps"].values()) if stage else NEITHER


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--looped", type=int, default=5, help="draws that slow ones run before they are scaled up")
    parser.add_argument("--rivals", default=sys.executable, help="a Python that has polars and pySEQTarget")
    parser.add_argument("--no-chain", action="store_true", help="leave the 100,000 wounds out")
    parser.add_argument("--report", action="store_true", help="run the whole report of 5,000 wounds too")
    parser.add_argument("--exports", type=Path, help="where the invented exports are kept for another run")
    asked = parser.parse_args()
    if asked.exports:
        return compare(asked, asked.exports)
    with tempfile.TemporaryDirectory() as folder:
        return compare(asked, Path(folder))


def compare(asked: argparse.Namespace, exports: Path) -> None:
    sizes = {name: wounds for name, wounds in SIZES.items() if not (asked.no_chain and name == CHAIN)}
    found: dict[str, dict[str, dict]] = {}
    for name, wounds in sizes.items():
        folder = exports / str(wounds)
        if not (folder / "departures.csv").exists():
            write_export(folder, wounds)
        stages = ["reading", "group", *(["report"] if asked.report and name == REGION else [])]
        found[name] = {stage: run_stage(stage, folder, asked.draws) for stage in stages}
    tabled(found)
    region = exports / str(SIZES[REGION])
    print("\n| beside | kit, s | other, s | answers |\n| --- | ---: | ---: | --- |")
    polars = beside_reading(region, "polars", [asked.rivals, RIVALS / "by_polars.py"])
    if shutil.which("Rscript"):
        beside_reading(region, "R, data.table", ["Rscript", RIVALS / "by_datatable.R"])
    lifelines = beside_curves(read_study(region).episodes, asked.draws, 10 * asked.looped)
    beside_mixed(SIZES[REGION])
    nested = beside_nested(3450, asked.looped, asked.rivals)
    whole = found[REGION].get("report") or found[REGION]["group"]
    chain = found.get(CHAIN, {})
    both = [found[name] for name in (REGION, CHAIN) if all(found.get(name, {}).get(stage) for stage in GROWING)]
    grown = [sum(spent(one[stage], 1) for stage in GROWING) for one in both]
    counts = [one["reading"]["wounds"] for one in both]
    slope = math.log(grown[1] / grown[0]) / math.log(counts[1] / counts[0]) if len(grown) == 2 else NEITHER
    group = chain.get("group", {})
    print(
        f"\nscale: region_s={said(spent(whole, 0), '.0f')} chain_s={said(spent(group, 0), '.0f')} "
        f"chain_gb={said(group.get('mb', NEITHER) / 1024, '.1f')} vs_polars={said(polars, '.1f')} "
        f"vs_pyseqtarget={said(nested, '.0f')} vs_lifelines={said(lifelines, '.0f')} slope={said(slope, '.2f')}"
    )


if __name__ == "__main__":
    main()
