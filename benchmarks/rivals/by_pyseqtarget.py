"""Nested trials by pySEQTarget: weighted for those who start later, every model fitted anew in each resample.

python benchmarks/rivals/by_pyseqtarget.py WEEKS.csv FOLLOWED_WEEKS RESAMPLES
"""

import json
import sys
import time
import warnings

import polars as pl
from pySEQTarget import SEQopts, SEQuential

COVARIATES = ["log_size", "slope", "stalled", "week"]


def main() -> None:
    warnings.simplefilter("ignore")
    rows, followed, resamples = pl.read_csv(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    began = time.process_time()
    options = SEQopts(
        bootstrap_nboot=resamples, bootstrap_sample=1.0, followup_max=followed, km_curves=True, weighted=True,
        weight_preexpansion=False, ncores=1, parallel=False, seed=1, verbose=False, trial_include=False,
    )  # fmt: skip
    asked = SEQuential(
        rows, id_col="id", time_col="time", eligible_col="eligible", treatment_col="treated", outcome_col="closed",
        time_varying_cols=COVARIATES, fixed_cols=[], method="censoring", parameters=options,
    )  # fmt: skip
    asked.expand()
    if resamples:
        asked.bootstrap()
    asked.fit()
    asked.survival()
    seconds = time.process_time() - began
    told = asked.risk_estimates["risk_difference"].filter(pl.col("A_x") == 1).to_dicts()[0]
    print(json.dumps({"seconds": seconds, "difference": told["Risk Difference"], "error": told.get("RD SE")}))


if __name__ == "__main__":
    main()
