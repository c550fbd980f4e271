"""The numbers of each quarter in a row, and whether they changed by more than chance: run charts.

Rules: Anhøj and Olesen 2014, PLoS ONE 9(11):e113825, and Anhøj 2015, PLoS ONE 10(3):e0121349. A run is of points in a
row on one side of the median; points on it neither break a run nor count. The rules take quarters for independent, so
every number here is of its own quarter alone: what looks back over a year shares three quarters with the one before,
and the rules would then find a change in most series that have none (59 of 100 series of 20 quarters).
Outcomes of wounds that started are not among them: who starts differs from quarter to quarter, and with it what they
come to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

import numpy as np
import pandas as pd
from scipy.stats import binom

from kit.compared import reach_in_quarter
from kit.delivered import delivered
from kit.plan import Plan
from kit.quarter import activity
from kit.study import Study

DELIVERED, REACH, IN_TIME = "delivered", "reach", "measured in time"
CLOSED, REACTIONS = "seen to close", "reactions"
DRAWN = (DELIVERED, REACH, IN_TIME)  # never what wounds came to
FEWEST = 10  # points off the median from which limits are published (table of the R package qicharts2 by J. Anhøj)
FEW_CROSSINGS = 0.05  # the share of random series with fewer crossings, at most
NUMBERS = ("measure", "numerator", "denominator")
POINTS = ("quarter", "quarter_begins", "quarter_ends", "revision", *NUMBERS)


def quarter_numbers(study: Study) -> pd.DataFrame:
    """The numbers of the study's own quarter, as `of_quarter` returns them."""
    reached = asdict(reach_in_quarter(study))
    return of_quarter(delivered(study).fates, asdict(activity(study)), reached)


def of_quarter(due: pd.DataFrame, done: Mapping[str, float], reached: Mapping[str, int] | None) -> pd.DataFrame:
    """Five numbers of a quarter, a row each. Columns out: measure, numerator, denominator.

    `due` are the fates of `kit.delivered`, `done` the activity of `kit.quarter`, `reached` the wounds that could
    have been started and those started (`kit.healing.reach`); None where a report did not count them, and both numbers
    are then missing.
    """
    reached = reached or {"started": np.nan, "wounds": np.nan}
    rows = [
        (DELIVERED, due.loc[due["fate"] == "full", "sessions"].sum(), due["sessions"].sum()),
        (REACH, reached["started"], reached["wounds"]),
        (IN_TIME, done["weeks_measured"], done["weeks_in_view"]),
        (CLOSED, done["closed"], done["wounds_open"]),
        (REACTIONS, done["reactions"], done["asked"]),
    ]
    return pd.DataFrame(rows, columns=NUMBERS).astype({"numerator": float, "denominator": float})


def quarters(issued: pd.DataFrame, now: pd.DataFrame, name: str, plan: Plan) -> pd.DataFrame:
    """One point a quarter and measure: quarters issued before this one, and this one, which is not issued.

    `issued` has the columns `POINTS`, `now` those of `of_quarter`, `name` is what this quarter is called. Quarters that
    share days with a later one are left out, and so are numbers that are shares of nothing. Columns out: quarter,
    quarter_begins, quarter_ends, revision (blank for this one), measure, numerator, denominator, share, is_issued.
    """
    if plan.cutoff is None:
        return _shares(issued.head(0).assign(is_issued=False))
    own = now.assign(quarter=name, quarter_begins=plan.quarter_begins, quarter_ends=plan.cutoff, revision="")
    before = issued[issued["quarter_ends"].isin(_apart(issued, plan.quarter_begins))]
    parts = [part for part in (before.assign(is_issued=True), own.assign(is_issued=False)) if len(part)]
    return _shares(pd.concat(parts, ignore_index=True))


def _apart(issued: pd.DataFrame, begins: int) -> list[int]:
    """The last days of quarters of which none shares a day with a later one, the latest first."""
    ends = []
    every = issued[["quarter_begins", "quarter_ends"]].drop_duplicates().sort_values("quarter_ends", ascending=False)
    for first, last in every.itertuples(index=False):
        if last < begins:
            ends.append(last)
            begins = first
    return ends


def _shares(rows: pd.DataFrame) -> pd.DataFrame:
    told = rows[rows["measure"].isin(DRAWN) & (rows["denominator"] > 0)]
    told = told.assign(share=told["numerator"] / told["denominator"])[[*POINTS, "share", "is_issued"]]
    return told.sort_values("quarter_ends", kind="stable", ignore_index=True)


def trend(points: pd.DataFrame) -> pd.DataFrame:
    """Whether each measure changed by more than chance, a row a measure that has a point. Takes `quarters`.

    Columns out: measure, points, off_median (points not on it), median, longest_run, longest_allowed, crossings,
    fewest_crossings, signal (a longer run than allowed, or fewer crossings). Of fewer than 10 points off the median
    nothing is judged, and both limits and the signal are missing.
    """
    rows = [_judged(name, own["share"].to_numpy()) for name in DRAWN if len(own := points[points["measure"] == name])]
    kinds = {name: "Int64" for name in COUNTS} | {"signal": "boolean"}
    return pd.DataFrame(rows, columns=VERDICT).astype(kinds)


COUNTS = ("points", "off_median", "longest_run", "longest_allowed", "crossings", "fewest_crossings")
VERDICT = ("measure", "points", "off_median", "median", *COUNTS[2:], "signal")


def _judged(name: str, shares: np.ndarray) -> tuple:
    middle = np.median(shares)
    longest, crossings = runs(shares - middle)
    useful = int((shares != middle).sum())
    if useful < FEWEST:
        return name, len(shares), useful, middle, longest, pd.NA, crossings, pd.NA, pd.NA
    allowed, fewest = longest_allowed(useful), fewest_crossings(useful)
    signal = longest > allowed or crossings < fewest
    return name, len(shares), useful, middle, longest, allowed, crossings, fewest, signal


def runs(apart: np.ndarray) -> tuple[int, int]:
    """The longest run on one side of zero, and how often zero is crossed; zeros count as not there."""
    side = np.sign(apart[apart != 0])
    if not len(side):
        return 0, 0
    last = np.append(np.flatnonzero(np.diff(side)), len(side) - 1)
    return int(np.diff(last, prepend=-1).max()), len(last) - 1


def longest_allowed(useful: int) -> int:
    """The longest run that chance lets expect of so many points off the median."""
    return round(np.log2(useful) + 3)


def fewest_crossings(useful: int) -> int:
    """The fewest crossings of the median that chance lets expect of so many points off it."""
    return int(binom.ppf(FEW_CROSSINGS, useful - 1, 0.5))
