"""Does the comparison find what was planted? Bias, coverage and refusals on invented facilities whose truth is known.

    .venv/bin/python benchmarks/calibration.py [--replicates N] [--rows WORD]

Every row invents a facility again and again (benchmarks/invented_facility.py), compares it as the kit does, horizon and
refusals included, and holds the answer against what would have become of the same wounds without any modality. Shares
are told in points of 100 wounds. "false": how often the range excludes no difference where there is none. "naive": how
far from the truth ever treated against never treated would be. Ranges of regimens among three hold side by side, so
each alone holds more often and has no upper bound to keep. The row that follows what no chart holds is printed and not
passed.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import groupby

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the replicates already keep both cores busy

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from invented_facility import Invented, Scenario, plan_of, simulate  # noqa: E402

from kit.healing.answers import Answers, answer  # noqa: E402
from kit.healing.comparison import ANY, NONE  # noqa: E402
from kit.healing.curves import incidence  # noqa: E402
from kit.healing.trials import weeks_of  # noqa: E402
from kit.plan import WEEK  # noqa: E402
from kit.vocabulary import OUTCOMES  # noqa: E402

DRAWS = 200  # of residents in each replicate: only their spread is used
SEED = 20261125
LEAST = 0.5, 0.15  # bias that is let pass: points, and standard errors
LOWEST, HIGHEST, MOST_FALSE = 0.93, 0.975, 0.05
INERT = (("monopolar stimulation", 1.0),)
THREE = (("monopolar stimulation", 1.6), ("bipolar stimulation", 1.25), ("ultrasound", 1.0))
BLANK = {
    "residents": ["age", "diabetes", "perfusion", "mobility", "weight_loss", "risk_total", "continence"],
    "wounds": ["present_on_admission"],
    "measurements": ["necrosis_share"],
}
STAGES = pd.DataFrame({"wound": pd.Series(dtype=object), "day": pd.Series(dtype="int64"),
                       "stage_of_record": pd.Series(dtype=object)})  # fmt: skip
SPANS = pd.DataFrame({name: pd.Series(dtype=object) for name in ("resident", "wound", "span", "value")}).assign(
    from_day=pd.Series(dtype="Int64"), to_day=pd.Series(dtype="Int64")
)


@dataclass(frozen=True)
class Row:
    """One row of the table: what is invented, which comparison is read, and whether it has to pass."""

    name: str
    scenario: Scenario
    treated: str = ANY
    passes: bool = True


ROWS = (
    Row("15 starters of 130 residents", Scenario(starters=15)),
    Row("25 starters", Scenario(starters=25)),
    Row("40 starters", Scenario(starters=40)),
    Row("80 starters", Scenario(starters=80)),
    Row("four facilities, 65 starters", Scenario(residents=400, facilities=4, starters=65)),
    Row("20% of rounds missed", Scenario(starters=40, missed=0.2)),
    Row("50% of rounds missed", Scenario(starters=40, missed=0.5)),
    Row("low uptake: 40 of 400 residents", Scenario(residents=400, starters=40)),
    Row("high uptake: 50 of 90 residents", Scenario(residents=90, starters=50)),
    Row("radius falls steadily", Scenario(starters=40, law="radius")),
    Row("steep departures, 2% a week", Scenario(starters=40, leaving=0.02, leaving_slope=0.8)),
    Row("inert, 25 starters", Scenario(starters=25, effects=INERT)),
    Row("inert, 40 starters", Scenario(starters=40, effects=INERT)),
    Row("inert among three, 25 of 75", Scenario(residents=260, starters=75, effects=THREE), "ultrasound"),
    Row("strong among three, 25 of 75", Scenario(residents=260, starters=75, effects=THREE), "monopolar stimulation"),
    Row("starts follow what is not charted", Scenario(starters=40, hidden=0.7), passes=False),
    Row("starts follow a measured stall", Scenario(residents=260, starters=40, starts="stall")),
)
HEAD = (
    "| invented | refused | 12/8/4 weeks, % | truth | bias | spread | error | range holds it | width | false | naive |"
)
NOBODY_HAS = (("ultrasound", 1.0),)  # a plan of this alone asks for any modality alone: nobody started it
COLUMNS = ["told", "horizon", "estimate", "error", "low", "high", "truth", "naive"]


def replicate(rows: tuple[Row, ...], number: int) -> list[tuple]:
    """One facility, the rows of one scenario: the answer beside the truth for the same starts; see COLUMNS."""
    scenario = rows[0].scenario
    made = simulate(scenario, np.random.default_rng([SEED, ROWS.index(rows[0]), number]))
    plan = plan_of(scenario if rows[0].treated != ANY else replace(scenario, effects=NOBODY_HAS))
    tables = {name: getattr(made, name) for name in ("residents", "wounds", "measurements", "departures")}
    for name, columns in BLANK.items():
        tables[name] = tables[name].reindex(columns=[*tables[name], *columns])
    frames = (tables["residents"], tables["wounds"], tables["measurements"], STAGES, SPANS, tables["departures"])
    answers = answer(weeks_of(made.episodes, *frames, plan), tables["measurements"], plan, DRAWS, number)
    return [_told(answers, row.treated, made) for row in rows]


def _told(answers: Answers, treated: str, made: Invented) -> tuple:
    told = answers.told[(answers.told["treated"] == treated) & (answers.told["beside"] == NONE)].iloc[0]
    if not told["is_told"]:
        return (False, *[np.nan] * (len(COLUMNS) - 1))
    layout, days = answers.layout, answers.horizon_weeks * WEEK
    began = layout.started == treated if treated != ANY else np.ones(len(layout.started), dtype=bool)
    wounds = layout.weeks["wound"].to_numpy()[layout.starters.week[began]]
    truth = truth_of(made.truth[made.truth["wound"].isin(wounds)], answers.measure, days)
    numbers = (100 * told[f"{answers.measure}_{part}"] for part in ("difference", "error", "low", "high"))
    return (True, answers.horizon_weeks, *numbers, truth, naive(made.episodes, days))


def truth_of(starts: pd.DataFrame, measure: str, horizon: int) -> float:
    """The difference that the modality made to these starts, had nobody left, in points."""
    if measure == "early":
        return 100 * float(starts["early_with"].mean() - starts["early_without"].mean())
    by = starts["start_day"] + horizon
    treated = (starts["closes_with"] <= by) & (starts["closes_with"] <= starts["gone_day"])
    without = (starts["closes_without"] <= by) & (starts["closes_without"] <= starts["gone_without"])
    return 100 * float(treated.mean() - without.mean())


def naive(episodes: pd.DataFrame, horizon: int) -> float:
    """Ever treated from the first session less never treated from entry, in points: the wrong way."""
    started = episodes["start_day"].notna()
    zero = episodes["start_day"].fillna(episodes["entry_day"])
    days = (episodes["end_day"] - zero).astype("int64").to_numpy()
    outcome = episodes["outcome"].astype(object).to_numpy()
    share = [incidence(days[who], outcome[who], OUTCOMES).at(horizon)[0, 0] for who in (started, ~started)]
    return 100 * float(share[0] - share[1])


def summary(row: Row, told: pd.DataFrame) -> dict:
    """A line of the table. Bias and coverage are held against the mean truth at each horizon."""
    kept = told[told["told"].astype(bool)].astype({"horizon": int})
    truth = kept.groupby("horizon")["truth"].transform("mean")
    off = kept["estimate"] - kept["truth"]
    held = (kept["low"] <= truth) & (truth <= kept["high"])
    inert = all(speed == 1.0 for name, speed in row.scenario.effects if row.treated in (ANY, name))
    by = kept["horizon"].value_counts(normalize=True)
    return {
        "row": row.name,
        "told": len(kept) / len(told),
        "weeks": " / ".join(f"{100 * by.get(weeks, 0):.0f}" for weeks in (12, 8, 4)),
        "truth": kept["truth"].mean(),
        "bias": off.mean(),
        "mc": off.std() / np.sqrt(len(kept)),
        "spread": (kept["estimate"] - truth).std(),
        "error": kept["error"].mean(),
        "held": held.mean(),
        "width": (kept["high"] - kept["low"]).mean(),
        "false": ((kept["low"] > 0) | (kept["high"] < 0)).mean() if inert else np.nan,
        "naive": (kept["naive"] - kept["truth"]).mean(),
        "among": row.treated != ANY,
        "passes": row.passes,
    }


def line(found: dict) -> str:
    error = 100 * np.sqrt(found["held"] * (1 - found["held"]) / max(found["kept"], 1))
    wrong = "–" if np.isnan(found["false"]) else f"{100 * found['false']:.1f}%"
    return (
        f"| {found['row']} | {100 * (1 - found['told']):.0f}% | {found['weeks']} | {found['truth']:.1f} | "
        f"{found['bias']:+.2f} ({found['mc']:.2f}) | {found['spread']:.1f} | {found['error']:.1f} | "
        f"{100 * found['held']:.1f}% ({error:.1f}) | {found['width']:.0f} | {wrong} | {found['naive']:+.1f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=200, help="invented facilities a row")
    parser.add_argument("--rows", default="", help="only rows whose name holds this")
    asked = parser.parse_args()
    print(HEAD, "| --- |" + 10 * " ---: |", sep="\n")
    found = []
    with ProcessPoolExecutor() as pool:
        wanted = [row for row in ROWS if asked.rows in row.name]
        for _, rows in groupby(wanted, key=lambda row: row.scenario):
            rows = tuple(rows)
            many = list(pool.map(replicate, [rows] * asked.replicates, range(asked.replicates), chunksize=10))
            for place, row in enumerate(rows):
                told = pd.DataFrame([one[place] for one in many], columns=COLUMNS)
                found.append({**summary(row, told), "kept": int(told["told"].sum())})
                print(line(found[-1]), flush=True)
    judged = [row for row in found if row["passes"]]
    off = {row["row"]: abs(row["bias"]) for row in judged}
    missed = [row["row"] for row in judged if off[row["row"]] > max(LEAST[0], LEAST[1] * row["error"])]
    missed += [row["row"] for row in judged if not LOWEST <= row["held"] <= (1 if row["among"] else HIGHEST)]
    missed += [row["row"] for row in judged if row["false"] > MOST_FALSE]
    print(f"\nNot reached: {'; '.join(dict.fromkeys(missed)) or 'nothing'}")
    print(
        f"calibration: worst_coverage={min(row['held'] for row in judged):.3f} worst_bias={max(off.values()):.2f} "
        f"false_nonzero={np.nanmax([row['false'] for row in judged]):.3f} "
        f"naive_bias={min((row['naive'] for row in judged), key=lambda x: -abs(x)):.1f} replicates={asked.replicates}"
    )


if __name__ == "__main__":
    main()
