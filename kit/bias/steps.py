"""How often each row of the pair was measured, and how its size moved, just before and just after its clock starts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.plan import WEEK

LONGEST = 2 * WEEK + 1  # days between two sizes that still tell of a week
FURTHEST = np.log(3)  # a size that more than trebles in a week is a slip of the pen or of the unit; counted as treble
LATER = 3  # steps after the first, whose mean it is held against


def rounds(rows: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """The rounds of each row of `kit.bias.pair.pair` after the one from which it is compared, while it is followed.

    Columns out, in the order of `rows`: rounds (days on which the wound was measured, or seen closed), weeks (from the
    round it is compared from to the last of these, so that no wound seems measured more often because it closed
    sooner), known (of the rounds those whose assessor's role is known), practitioner (of these those by one).
    """
    seen = measurements.drop_duplicates(["wound", "day"])[["wound", "day", "assessor_role"]]
    told = rows[["wound", "begins", "until"]].assign(row=np.arange(len(rows))).merge(seen, on="wound")
    told = told[(told["day"] > told["begins"]) & (told["day"] <= told["until"])]
    role = told["assessor_role"].astype(object)
    own = role.where(role.notna(), "") == "practitioner"
    told = told.assign(rounds=1.0, known=role.notna(), practitioner=own, weeks=(told["day"] - told["begins"]) / WEEK)
    by = told.groupby("row")
    counts = by[["rounds", "known", "practitioner"]].sum().assign(weeks=by["weeks"].max())
    return counts.reindex(np.arange(len(rows)), fill_value=0).astype(float).reset_index(drop=True)


def steps(rows: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """How size moved just before, in the first step after, and in those after that: percent a week, below nought less.

    Columns out, in the order of `rows`: before (the step that ends with the size from which the row is compared), first
    (the next one) and later (the mean of up to three after it), within the time followed. A step is missing where its
    sizes lie further apart than about two weeks, or were not found in the same way.
    """
    sized = sized_open(measurements).sort_values(["wound", "day"], kind="stable").drop_duplicates(["wound", "day"])
    by = sized.groupby("wound")
    days = sized["day"] - by["day"].shift()
    alike = sized["size_from"].astype(object) == by["size_from"].shift().astype(object)
    step = ((np.log(sized["size"]) - np.log(by["size"].shift())) / days * WEEK).clip(-FURTHEST, FURTHEST)
    told = sized[["wound", "day"]].assign(step=100 * np.expm1(step.where((days <= LONGEST) & alike).astype(float)))
    later = pd.DataFrame({place: _nth(rows, told, place) for place in range(2, 2 + LATER)}, dtype=float)
    found = {"before": _nth(rows, told, 0), "first": _nth(rows, told, 1), "later": later.mean(axis=1)}
    return pd.DataFrame(found)


def _nth(rows: pd.DataFrame, told: pd.DataFrame, place: int) -> np.ndarray:
    """The step that ends with the size of the row's week (place 0), or with one of those after it."""
    asked = rows[["wound", "begins", "until"]].assign(row=np.arange(len(rows))).merge(told, on="wound")
    asked = asked[asked["day"] >= asked["begins"]].sort_values(["row", "day"], kind="stable")
    asked = asked.assign(place=asked.groupby("row").cumcount())
    here = asked[(asked["place"] == place) & ((place == 0) | (asked["day"] <= asked["until"]))]
    return here.set_index("row")["step"].reindex(np.arange(len(rows))).to_numpy()
