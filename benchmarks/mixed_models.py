"""How long nested mixed models take beside lme4 and statsmodels, and whether the early response finds what was planted.

    .venv/bin/python benchmarks/mixed_models.py [--replicates N] [--slow-up-to N]

Invented wounds by ten weekly sizes, nested in residents: log size on week, depth, their product and three buildings; an
intercept and a weekly slope for each wound, an intercept for each resident, by restricted likelihood. lme4 fits the
same model where R is installed, with its own settings; statsmodels has no correlated effects within residents, so it
fits the same without the correlation, by the one of its methods that gets there. Times are of one thread, of the sums
and the fit together, medians of several; reading data is not counted. "Apart" is the largest distance of a coefficient
from lme4's, in its standard errors. The chain is a facility of 130 residents: 1,000 draws of whole residents, every one
fitted anew.

Then the tables of benchmarks/early_response.py, of N invented facilities a row (0: none).
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import tempfile
import time
import warnings
from pathlib import Path

for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import early_response  # noqa: E402
import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from statsmodels.regression.mixed_linear_model import MixedLM  # noqa: E402

from kit.healing.resampling import resident_draws  # noqa: E402
from kit.trajectories.engine import Fit, fit_nested  # noqa: E402
from kit.trajectories.models import drawn  # noqa: E402
from kit.trajectories.sums import Rows, nested  # noqa: E402

SIZES = (200, 1_000, 5_000, 25_000, 100_000)
BESIDE = (200, 5_000, 100_000)  # wounds at which lme4 is asked
VISITS, DRAWS, FACILITY = 10, 1000, 190  # 130 residents have about 190 wounds
RUNS = {200: 9, 1_000: 9, 5_000: 7, 25_000: 5, 100_000: 3}
COLUMNS = ("level", "week", "deep", "week_deep", "second", "third", "fourth")
R_FIT = """
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1]); runs <- as.integer(commandArgs(TRUE)[2])
formula <- y ~ week + deep + week_deep + second + third + fourth + (week | wound) + (1 | resident)
t <- sapply(seq_len(runs), function(i) system.time(m <<- suppressMessages(lmer(formula, d)))[["elapsed"]])
cat(format(c(median(t), REMLcrit(m), fixef(m)), digits = 15))
"""


def invented(wounds: int) -> pd.DataFrame:
    """Courses of so many wounds: slopes differ by depth and by chance, wounds of one person are alike."""
    rng = np.random.default_rng(wounds)
    many = rng.choice([1, 2, 3], wounds, p=(0.63, 0.29, 0.08))
    resident = np.repeat(np.arange(wounds), many)[:wounds]
    row, week = np.repeat(np.arange(wounds), VISITS), np.tile(np.arange(VISITS, dtype=float), wounds)
    deep, home = rng.random(wounds) < 0.4, rng.integers(0, 4, wounds)[resident]
    own, slope, person = (
        rng.normal(0, 0.7, wounds),
        rng.normal(-0.15, 0.1, wounds),
        rng.normal(0, 0.4, wounds)[resident],
    )
    start, slope = 1 + 0.5 * deep + 0.1 * home + own + person, slope + 0.05 * deep - 0.02 * own
    y = start[row] + slope[row] * week + rng.normal(0, 0.2, len(row))
    return pd.DataFrame(
        {"y": y, "level": 1.0, "week": week, "deep": deep[row].astype(float), "week_deep": week * deep[row],
         **{name: (home[row] == place).astype(float) for place, name in enumerate(COLUMNS[4:], start=1)},
         "wound": row, "resident": resident[row]}
    )  # fmt: skip


def timed(work, runs: int) -> tuple[float, object]:
    """The median time of a piece of work in seconds, and what it gives."""
    times = []
    for _ in range(runs):
        began = time.perf_counter()
        given = work()
        times.append(time.perf_counter() - began)
    return float(np.median(times)), given


def ours(data: pd.DataFrame, runs: int) -> tuple[float, Fit]:
    y, x, week, wound, resident = (data[name].to_numpy() for name in ("y", list(COLUMNS), "week", "wound", "resident"))
    return timed(lambda: fit_nested(nested(y, x, week, wound, resident, names=COLUMNS)), runs)


def by_lme4(data: pd.DataFrame, runs: int) -> tuple[float, float, np.ndarray] | None:
    """Time, criterion and coefficients; None where R or lme4 is not installed."""
    if not shutil.which("Rscript"):
        return None
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "data.csv"
        data.drop(columns="level").to_csv(file, index=False)
        ran = subprocess.run(["Rscript", "-e", R_FIT, str(file), str(runs)], capture_output=True, text=True)
    if ran.returncode:
        return None
    seconds, criterion, *beta = map(float, ran.stdout.split())
    return seconds, criterion, np.array(beta)


def by_statsmodels(data: pd.DataFrame) -> float:
    parts = {"wound": "0 + C(wound)", "slope": "0 + C(wound):week"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of a boundary at every fit
        formula = "y ~ week + deep + week_deep + second + third + fourth"
        model = MixedLM.from_formula(formula, data, groups="resident", re_formula="1", vc_formula=parts)
        return timed(lambda: model.fit(method="lbfgs"), 1)[0]


def chained() -> float:
    """Seconds for a facility's draws, every one fitted anew."""
    data = invented(FACILITY)
    rows = nested(data["y"], data[list(COLUMNS)], data["week"], data["wound"], data["resident"], names=COLUMNS)
    return timed(lambda: _redrawn(rows), 3)[0]


def _redrawn(rows: Rows) -> np.ndarray:
    return drawn(rows, fit_nested(rows), resident_draws(rows.residents, DRAWS))


def line(wounds: int, seconds: float, fit: Fit, lme4, statsmodels: float | None) -> str:
    cells = [f"{wounds:,}", f"{seconds:.3f}", "–", "–", "–", "–"]
    if lme4:
        apart = np.abs((fit.beta - lme4[2]) / fit.errors).max()
        cells[2:4], cells[5] = (
            [f"{lme4[0]:.2f} ({lme4[0] / seconds:.0f}x)", f"{fit.deviance - lme4[1]:+.4f}"],
            f"{apart:.0e}",
        )
    if statsmodels:
        cells[4] = f"{statsmodels:.1f} ({statsmodels / seconds:.0f}x)"
    return f"| {' | '.join(cells)} |"


def speeds(slow_up_to: int) -> dict[str, float]:
    """The table of times; its ratios at the largest size at which each was asked."""
    print(
        "| wounds | kit, s | lme4, s | criterion less lme4's | statsmodels, s | apart |", "| ---: " * 6 + "|", sep="\n"
    )
    took, ratios = [], {"vs_lme4": np.nan, "vs_statsmodels": np.nan}
    for wounds in SIZES:
        data = invented(wounds)
        seconds, fit = ours(data, RUNS[wounds])
        lme4 = by_lme4(data, 1 if wounds > 5_000 else 3) if wounds in BESIDE else None
        statsmodels = by_statsmodels(data) if wounds in BESIDE and wounds <= slow_up_to else None
        print(line(wounds, seconds, fit, lme4, statsmodels), flush=True)
        took.append(seconds)
        if lme4:
            ratios["vs_lme4"] = lme4[0] / seconds
        if statsmodels:
            ratios["vs_statsmodels"] = statsmodels / seconds
    # Over all five sizes, as asked; overhead at the small ones makes it lie lower than at the large ones alone.
    return ratios | {"slope": float(np.polyfit(np.log(SIZES), np.log(took), 1)[0])}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=200, help="invented facilities a row of the early response")
    parser.add_argument("--slow-up-to", type=int, default=5_000, help="wounds up to which statsmodels is asked")
    asked = parser.parse_args()
    found = speeds(asked.slow_up_to)
    chain = chained()
    print(f"\nA facility's {DRAWS:,} draws, every one fitted anew: {chain:.1f} s\n", flush=True)
    coverage = np.nan
    if asked.replicates:
        judged = early_response.tables(asked.replicates)
        coverage = min(row["early"]["held"] for row in judged.values())
    print(
        f"mixed_models: vs_lme4={found['vs_lme4']:.0f} vs_statsmodels={found['vs_statsmodels']:.0f} "
        f"chain_s={chain:.1f} slope={found['slope']:.2f} coverage={coverage:.3f}"
    )


if __name__ == "__main__":
    main()
