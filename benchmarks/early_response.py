"""Do the early response and the slope change find what was planted, where starts and the course of sizes differ?

    .venv/bin/python benchmarks/early_response.py [--replicates N] [--rows WORD]

Every row invents a facility again and again (benchmarks/invented_facility.py), compares it as the kit does, refusals
included, and holds its answers against what would have become of the same wounds without any modality. Log area or the
radius falls steadily, with or without a weekly random walk of log area; starts are at random, or follow size and slope
as charted, a measured stall (the invention says which one), or what no chart holds. The last are printed and not
passed. "false": how often the range excludes no difference where there is none.

First table: the share that is closed or at least 40% smaller four weeks after the start, in points of 100 wounds, and
the difference of the median percent reductions, in percent of area. Second table, judged by nobody: what a broken line
for each wound says that a start adds to its weekly slope, of log cm2 in hundredths and of the root of the area in
tenths of a millimetre, beside the mean of what it added to each; "told": how often both agree so far that the kit would
tell the change.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import product

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the replicates already keep both cores busy

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from calibration import BLANK, INERT, LEAST, LOWEST, MOST_FALSE, NOBODY_HAS, SPANS, STAGES  # noqa: E402
from invented_facility import Invented, Scenario, plan_of, simulate  # noqa: E402

from kit.healing.answers import Answers, answer  # noqa: E402
from kit.healing.comparison import ANY, NONE  # noqa: E402
from kit.healing.resampling import Z, resident_draws, widened  # noqa: E402
from kit.healing.trials import weeks_of  # noqa: E402
from kit.plan import Plan  # noqa: E402
from kit.trajectories.changes import bends, drawn_means  # noqa: E402
from kit.trajectories.courses import Courses, courses  # noqa: E402
from kit.trajectories.models import MODEL_FROM  # noqa: E402
from kit.trajectories.slopes import before_and_after  # noqa: E402

DRAWS = 200  # of residents in each replicate: only their spread is used
SEED = 20261126
HIGHEST = 0.97
LAWS = {"exponential": "log area falls", "radius": "radius falls"}
WALKS = {0.0: "steadily", 0.12: "with a walk"}
# Stalls are rare where nothing walks: of 130 residents fewer than 40 wounds could start after one.
STARTS = {
    "at random": {"starts": "random"},
    "after a stall": {"starts": "stall", "residents": 260},
    "by what is not charted": {"hidden": 0.7},
    "by what is charted": {},
}
# What is told, by what it is multiplied for the table: shares to points, log cm2 to hundredths, cm to tenths of a mm.
EARLY = {"early": 100, "reduction": 1}
SLOPE = {"log": 100, "root": 100}
NUMBERS = ("estimate", "error", "low", "high", "truth")
BESIDE = "bias | spread | error | range holds it | false |"


@dataclass(frozen=True)
class Row:
    """One row of the tables: what is invented, and whether it has to pass."""

    name: str
    scenario: Scenario
    passes: bool = True


def _row(starts: str, law: str, walk: float = 0.12) -> Row:
    scenario = Scenario(starters=40, law=law, walk=walk, **STARTS[starts])
    return Row(f"{LAWS[law]} {WALKS[walk]}, starts {starts}", scenario, "hidden" not in STARTS[starts])


def _inert(row: Row) -> Row:
    return Row(f"inert: {row.name}", replace(row.scenario, effects=INERT))


ROWS = (
    *(_row(*row) for row in product(list(STARTS)[:3], LAWS, WALKS)),
    *(_row("by what is charted", law) for law in LAWS),
    *(_inert(_row(*row)) for row in product(list(STARTS)[:2], LAWS)),
)


def replicate(row: Row, number: int) -> dict[str, float]:
    """One facility: each answer with its limits beside the truth for the same starts, "early_low" and so on."""
    made = simulate(row.scenario, np.random.default_rng([SEED, ROWS.index(row), number]))
    tables = {name: getattr(made, name) for name in ("residents", "wounds", "measurements", "departures")}
    for name, columns in BLANK.items():
        tables[name] = tables[name].reindex(columns=[*tables[name], *columns])
    frames = (tables["residents"], tables["wounds"], tables["measurements"], STAGES, SPANS, tables["departures"])
    plan = plan_of(replace(row.scenario, effects=NOBODY_HAS))
    judged = weeks_of(made.episodes, *frames, plan)
    told = early_response(answer(judged, tables["measurements"], plan, DRAWS, number), made)
    return told | slope_change(made, judged.weeks, plan_of(row.scenario), number)


def early_response(answers: Answers, made: Invented) -> dict[str, float]:
    """Both early answers of the comparison and their truth; nothing where it is refused."""
    told = answers.told[(answers.told["treated"] == ANY) & (answers.told["beside"] == NONE)].iloc[0]
    if not told["is_told"]:
        return {}
    layout = answers.layout
    starts = made.truth[made.truth["wound"].isin(layout.weeks["wound"].to_numpy()[layout.starters.week])]
    truths = {
        "early": starts["early_with"].mean() - starts["early_without"].mean(),
        "reduction": starts["reduction_with"].median() - starts["reduction_without"].median(),
    }
    found = {}
    for name, truth in truths.items():
        numbers = (*(told[f"{name}_{part}"] for part in ("difference", "error", "low", "high")), truth)
        found |= _named(name, EARLY[name], numbers)
    return found


def slope_change(made: Invented, weeks: pd.DataFrame, plan: Plan, number: int) -> dict[str, float]:
    """What the broken lines of wounds say a start adds to the weekly slope, on both scales, and its mean truth.

    The truth is that of the wounds with a line; "agrees": whether the kit would tell it. Nothing where few have one.
    """
    seen = courses(made.episodes, weeks, made.measurements, plan)
    found, told = {}, {}
    for scale, unit in SLOPE.items():
        told[scale] = bends(seen, scale)
        people = np.unique(told[scale]["resident"])
        if len(people) < MODEL_FROM:
            return {}
        starts = made.truth[made.truth["wound"].isin(told[scale]["wound"])]
        drawn = drawn_means(told[scale], people, resident_draws(people, DRAWS, number))[:, 1]
        estimate, error = told[scale]["bend"].mean(), float(np.nanstd(drawn))
        off = widened(Z, len(people)) * error
        numbers = (estimate, error, estimate - off, estimate + off, starts[f"{scale}_slope_change"].mean())
        found |= _named(scale, unit, numbers)
    return found | {"agrees": agreed(seen, number)}


def agreed(seen: Courses, number: int) -> float:
    """Whether the kit would tell the change: 1 or 0."""
    change = before_and_after(seen, DRAWS, number)
    return float(len(change) > 0 and change["agrees"].iloc[0])


def _named(name: str, unit: float, numbers: tuple[float, ...]) -> dict[str, float]:
    return {f"{name}_{part}": unit * float(value) for part, value in zip(NUMBERS, numbers, strict=True)}


def summary(row: Row, told: pd.DataFrame, measure: str) -> dict[str, float]:
    """One measure of a line. Coverage is held against the mean truth."""
    kept = told[[f"{measure}_{part}" for part in NUMBERS]].set_axis(NUMBERS, axis=1).dropna(subset="estimate")
    truth, off = kept["truth"].mean(), kept["estimate"] - kept["truth"]
    inert = row.scenario.effects == INERT
    return {
        "truth": truth,
        "bias": off.mean(),
        "mc": off.std() / np.sqrt(len(kept)),
        "spread": kept["estimate"].std(),
        "error": kept["error"].mean(),
        "held": ((kept["low"] <= truth) & (truth <= kept["high"])).mean(),
        "false": ((kept["low"] > 0) | (kept["high"] < 0)).mean() if inert else np.nan,
        "told": len(kept),
    }


def line(name: str, found: dict[str, dict], asked: int) -> str:
    """A line of either table: its two measures beside each other."""
    refused = 100 * (1 - next(iter(found.values()))["told"] / asked)
    return f"| {name} | {refused:.0f}% | {' | '.join(map(_cells, found.values()))} |"


def _cells(found: dict[str, float]) -> str:
    error = 100 * np.sqrt(found["held"] * (1 - found["held"]) / max(found["told"], 1))
    wrong = "–" if np.isnan(found["false"]) else f"{100 * found['false']:.1f}%"
    return (
        f"{found['truth']:.1f} | {found['bias']:+.2f} ({found['mc']:.2f}) | {found['spread']:.1f} | "
        f"{found['error']:.1f} | {100 * found['held']:.1f}% ({error:.1f}) | {wrong}"
    )


def missed(found: dict[str, float]) -> bool:
    """Whether a measure of a row is off, holds the truth too rarely or too often, or sees what is not there."""
    biased = abs(found["bias"]) > max(LEAST[0], LEAST[1] * found["error"])
    return biased or not LOWEST <= found["held"] <= HIGHEST or found["false"] > MOST_FALSE


def head(*names: str) -> str:
    table, *truths = names
    return f"| {table} | refused | {' '.join(f'{name} | {BESIDE}' for name in truths)}\n| --- |" + 13 * " ---: |"


def last_line(judged: dict[str, dict[str, dict]]) -> str:
    """The worst of each early measure over the rows that have to pass."""
    parts = []
    for measure in EARLY:
        rows = [found[measure] for found in judged.values()]
        parts.append(f"{measure}_worst_coverage={min(row['held'] for row in rows):.3f}")
        parts.append(f"{measure}_worst_bias={max(abs(row['bias']) for row in rows):.2f}")
        parts.append(f"{measure}_false={max((row['false'] for row in rows if row['false'] >= 0), default=np.nan):.3f}")
    return " ".join(parts)


def tables(replicates: int, wanted: str = "") -> dict[str, dict[str, dict]]:
    """Print both tables; the early response of the rows that have to pass: row, measure, what was found."""
    print(head("invented", "share: truth", "median: truth"))
    judged, slopes = {}, []
    columns = [f"{name}_{part}" for name in (*EARLY, *SLOPE) for part in NUMBERS] + ["agrees"]
    with ProcessPoolExecutor() as pool:
        for row in (row for row in ROWS if wanted in row.name):
            many = pool.map(replicate, [row] * replicates, range(replicates), chunksize=5)
            told = pd.DataFrame(list(many), columns=columns)
            found = {measure: summary(row, told, measure) for measure in (*EARLY, *SLOPE)}
            early, slope = ({name: found[name] for name in table} for table in (EARLY, SLOPE))
            print(line(row.name, early, replicates), flush=True)
            slopes.append(f"{line(row.name, slope, replicates)} {100 * told['agrees'].mean():.0f}% |")
            judged |= {row.name: early} if row.passes else {}
    heads = head("the slope change after starting", "log area: truth", "root: truth").split("\n")
    print("", f"{heads[0]} told |", f"{heads[1]} ---: |", *slopes, sep="\n")
    off = [f"{name} ({measure})" for name, found in judged.items() for measure in EARLY if missed(found[measure])]
    print(f"\nNot reached: {'; '.join(off) or 'nothing'}")
    return judged


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=200, help="invented facilities a row")
    parser.add_argument("--rows", default="", help="only rows whose name holds this")
    asked = parser.parse_args()
    print(f"early response: {last_line(tables(asked.replicates, asked.rows))} replicates={asked.replicates}")


if __name__ == "__main__":
    main()
