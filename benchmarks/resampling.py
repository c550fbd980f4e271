"""How long a thousand draws take in which every weight is fitted anew, beside a loop over ready-made libraries.

    .venv/bin/python benchmarks/resampling.py [--draws N] [--looped N]

One invented group at three sizes: 130 residents, 5,000 wounds, 100,000 wounds. The kit weighs any modality beside
none, in all its measures. The loop does the same for closing alone: for each draw a start model and a leaving model by
statsmodels' GLM, weights week by week, and each arm's curve by lifelines' KaplanMeierFitter on start-stop rows.
"Curve" is the curve of all wounds from entry alone, drawn anew for each draw of residents: by the kit's weight matrix,
by a loop over KaplanMeierFitter, and where R is installed by a loop over survfit. Loops run a few draws and are scaled
up to all; everything has one thread.
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

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
import statsmodels.api as sm  # noqa: E402
from calibration import BLANK, SPANS, STAGES  # noqa: E402
from invented_facility import Scenario, plan_of, simulate  # noqa: E402
from lifelines import KaplanMeierFitter  # noqa: E402

from kit.healing.comparison import any_modality, draw_all  # noqa: E402
from kit.healing.covariates import ALWAYS  # noqa: E402
from kit.healing.curves import incidence  # noqa: E402
from kit.healing.emulation import NOBODY_LEFT, Layout, lay_out  # noqa: E402
from kit.healing.resampling import resident_draws  # noqa: E402
from kit.healing.trials import weeks_of  # noqa: E402
from kit.healing.weights import start_design  # noqa: E402
from kit.vocabulary import OUTCOMES  # noqa: E402

SIZES = {"130 residents": 130, "5,000 wounds": 3450, "100,000 wounds": 69000}
CHAIN_DRAWS = 10  # at the largest size, scaled up
HORIZON = 84
R_LOOP = """
library(survival)
d <- read.csv(commandArgs(TRUE)[1]); w <- as.matrix(read.csv(commandArgs(TRUE)[2]))
t <- system.time(for (b in seq_len(ncol(w))) {
  d$w <- w[, b]
  summary(survfit(Surv(days, closed) ~ 1, data = d[d$w > 0, ], weights = w), times = 84, extend = TRUE)
})
cat(t[["elapsed"]] / ncol(w))
"""


def laid_out(residents: int) -> Layout:
    """A group in which four of ten wounds a year that could be started are."""
    scenario = Scenario(residents=residents, facilities=4, starters=40 * residents / 130, missed=0.1)
    made = simulate(scenario, np.random.default_rng(residents))
    tables = {name: getattr(made, name).reindex(columns=[*getattr(made, name), *columns])
              for name, columns in BLANK.items()}  # fmt: skip
    frames = (tables["residents"], tables["wounds"], tables["measurements"], STAGES, SPANS, made.departures)
    plan = plan_of(scenario)
    return lay_out(weeks_of(made.episodes, *frames, plan).weeks, tables["measurements"], plan, HORIZON)


def timed(work, *given) -> float:
    began = time.perf_counter()
    work(*given)
    return time.perf_counter() - began


class Loop:
    """The same by ready-made libraries, a draw at a time: rows are laid out once, as an analyst would."""

    def __init__(self, layout: Layout) -> None:
        self.layout, weeks = layout, layout.weeks
        own = weeks.iloc[layout.staying]
        self.start = start_design(own, ALWAYS, own), (own["starts"] != "").to_numpy(float)
        rows = np.concatenate([layout.starters.week, layout.others.week])
        trials = weeks.iloc[rows]
        began = np.repeat([1.0, 0.0], [len(layout.starters.week), len(layout.others.week)])
        self.odds = start_design(trials, ALWAYS, trials), began
        self.trial = rows
        self.lost = weeks["lost"].to_numpy(float)
        self.frame = pd.concat([self._pieces(layout.starters, 1), self._pieces(layout.others, 0)], ignore_index=True)
        last = layout.starters.week.size
        self.row = np.concatenate([self.row_of[1], self.row_of[0] + last])

    def _pieces(self, rows, arm: int) -> pd.DataFrame:
        way = rows.ways[NOBODY_LEFT]
        begins = np.maximum(self.layout.weeks["begins"].to_numpy()[way.week],
                            self.layout.weeks["ends"].to_numpy()[rows.week[way.row]] + 1)  # fmt: skip
        enter = begins - 1 - self.layout.weeks["ends"].to_numpy()[rows.week[way.row]]
        leave = (way.enters < 0).argmax(axis=0).A1 - 1
        closed = np.asarray(way.ends[0].sum(axis=0)).ravel() > 0
        self.row_of = getattr(self, "row_of", {}) | {arm: way.row}
        return pd.DataFrame({"enter": enter, "leave": leave, "closed": closed, "arm": arm, "week": way.week})

    def draw(self, counts: np.ndarray) -> None:
        """One draw: models, weights, both curves."""
        self.curves(self.weights(counts))

    def weights(self, counts: np.ndarray) -> np.ndarray:
        layout = self.layout
        start, leave = np.zeros(len(layout.weeks)), np.zeros(len(layout.weeks))
        start[layout.staying] = self._chance(*self.start, counts[layout.staying])
        leave[:] = self._chance(layout.leaving, self.lost, counts)
        odds = np.minimum(self._chance(*self.odds, counts[self.trial]), 0.999)
        base = np.where(self.odds[1] == 1, 1.0, odds / (1 - odds)) * counts[self.trial]
        stay, view = (_so_far(np.log1p(-np.minimum(p, 0.999)), layout.first) for p in (start, leave))
        week, arm = self.frame["week"].to_numpy(), self.frame["arm"].to_numpy()
        at = self.trial[self.row]
        grown = np.exp(view[at] - view[week] + np.where(arm == 1, 0, stay[at] - stay[week]))
        return base[self.row] * grown

    def curves(self, weight: np.ndarray) -> None:
        for arm in (0, 1):
            own = (self.frame["arm"] == arm).to_numpy() & (weight > 0)
            rows = self.frame[own]
            fitter = KaplanMeierFitter()
            fitter.fit(rows["leave"], rows["closed"], entry=rows["enter"], weights=weight[own])
            fitter.predict(HORIZON)

    def _chance(self, design: np.ndarray, outcome: np.ndarray, counts: np.ndarray) -> np.ndarray:
        return sm.GLM(outcome, design, sm.families.Binomial(), freq_weights=counts).fit().predict(design)


def _so_far(terms: np.ndarray, first: np.ndarray) -> np.ndarray:
    before = np.cumsum(terms) - terms
    return before - before[first]


def lifelines_curves(days: np.ndarray, closed: np.ndarray, drawn: np.ndarray) -> None:
    """One Kaplan-Meier curve a draw."""
    for counts in drawn.T:
        kept = counts > 0
        KaplanMeierFitter().fit(days[kept], closed[kept], weights=counts[kept]).predict(HORIZON)


def r_curves(days: np.ndarray, closed: np.ndarray, drawn: np.ndarray) -> float:
    """Seconds of R's survfit for the same draws; NaN where R is not installed."""
    if shutil.which("Rscript") is None:
        return np.nan
    with tempfile.TemporaryDirectory() as folder:
        script, rows, given = (Path(folder) / name for name in ("loop.R", "rows.csv", "weights.csv"))
        script.write_text(R_LOOP, encoding="utf-8")
        pd.DataFrame({"days": days, "closed": closed.astype(int)}).to_csv(rows, index=False)
        pd.DataFrame(drawn).to_csv(given, index=False)
        told = subprocess.run(["Rscript", script, rows, given], capture_output=True, text=True, check=True)
    return float(told.stdout) * drawn.shape[1]


def measured(residents: int, draws: int, looped: int) -> dict[str, float]:
    """Seconds of the kit for all draws, and of the loops scaled up to as many."""
    layout = laid_out(residents)
    told = {
        "wounds": layout.weeks["wound"].nunique(),
        "pieces": len(layout.others.ways[NOBODY_LEFT].row),
        "ours": timed(draw_all, layout, [any_modality(layout)], draws),
    }
    if not looped:
        return told
    loop = Loop(layout)
    counts = resident_draws(layout.people, looped)[layout.owner].T
    told["loop"] = timed(lambda: [loop.draw(one) for one in counts]) / looped * draws
    wounds = layout.weeks.drop_duplicates("wound")
    days = (wounds["end_day"] - wounds["entry_day"]).to_numpy(dtype=np.int64)
    outcome = wounds["outcome"].astype(object).to_numpy()
    drawn = resident_draws(wounds["resident"].to_numpy(dtype=str), draws)
    few, scale = drawn[:, : 10 * looped], draws / (10 * looped)
    return told | {
        "curve": np.median([timed(incidence, days, outcome, OUTCOMES, drawn) for _ in range(5)]),
        "lifelines_curve": timed(lifelines_curves, days, outcome == "closed", few) * scale,
        "r_curve": r_curves(days, outcome == "closed", few) * scale,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--looped", type=int, default=3, help="draws that the loops run before they are scaled up")
    asked = parser.parse_args()
    warnings.simplefilter("ignore")  # of the libraries in the loop
    print("| size | rows by week | comparison: kit, s | loop, s | times | curve: kit, s | lifelines, s | R, s |")
    print("| --- |" + 7 * " ---: |")
    told = {}
    for name, residents in SIZES.items():
        chain = residents > 10_000
        found = measured(residents, CHAIN_DRAWS if chain else asked.draws, 0 if chain else asked.looped)
        if chain:
            found["ours"] *= asked.draws / CHAIN_DRAWS
        told[name] = found
        cells = [f"{found.get(key, np.nan):.1f}" for key in ("ours", "loop")]
        times = f"{found['loop'] / found['ours']:.0f}" if "loop" in found else "–"
        rest = [f"{found.get(key, np.nan):.2f}" for key in ("curve", "lifelines_curve", "r_curve")]
        print(
            f"| {name} | {found['pieces']:,} | {' | '.join([*cells, times, *rest])} |".replace("nan", "–"), flush=True
        )
    region = told["5,000 wounds"]
    print(
        f"resampling: vs_lifelines={region['lifelines_curve'] / region['curve']:.0f} "
        f"vs_r={region['r_curve'] / region['curve']:.0f} region_s={region['ours']:.1f} "
        f"chain_s={told['100,000 wounds']['ours']:.0f}"
    )


if __name__ == "__main__":
    main()
