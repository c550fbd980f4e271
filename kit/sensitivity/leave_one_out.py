"""The answer without each resident and without each facility: whether it rests on a few."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pandas as pd

from kit.healing.answers import Answers
from kit.healing.comparison import Question, any_modality, facilities, weigh_all
from kit.healing.emulation import Layout
from kit.sensitivity.bounds import not_made

RESIDENT, FACILITY = KINDS = "a resident", "a facility"
NOTHING_LEFT = {RESIDENT: "nobody can be left out", FACILITY: "only one facility is compared"}
RANGES = ("without", "times", "lowest", "highest", "lowest_without", "highest_without", "amount", "not_computed")


@lru_cache(maxsize=4)
def without_each(answers: Answers) -> pd.DataFrame:
    """Any modality beside none without each resident of the comparison, and without each facility where it has several.

    All weights are fitted anew each time; horizon and covariates stay those of the answer. A number is missing where
    nobody is left on one side.

    Columns out: without ("a resident" or "a facility"), which (the facility's name; of a resident nothing that tells
    who it is), amount (points of 100 wounds). No row where the answer has no number.
    """
    if not_made(answers):
        return pd.DataFrame({"without": [], "which": [], "amount": []}).astype({"without": object, "which": object})
    layout, asked = answers.layout, any_modality(answers.layout)
    rows = np.concatenate([layout.starters.week, layout.others.week])
    people = np.unique(layout.owner[rows])
    homes = facilities(layout)
    amounts = _weighed(layout, asked, _counts(layout, people, homes), answers.measure)
    return pd.DataFrame(
        {
            "without": [RESIDENT] * len(people) + [FACILITY] * len(homes),
            "which": [RESIDENT] * len(people) + list(homes),
            "amount": amounts,
        }
    )


def ranges(answers: Answers, table: pd.DataFrame) -> pd.DataFrame:
    """The lowest and the highest number of `without_each`, by kind: a row each, also where there is none.

    Columns out: without, times (numbers that there are), lowest, highest (points of 100), lowest_without,
    highest_without (the facility that it is without), amount (the answer's), not_computed.
    """
    told = answers.told.iloc[0]
    whole = np.nan if (why := not_made(answers)) else 100 * float(told[f"{answers.measure}_difference"])
    rows = [_range(kind, table[(table["without"] == kind) & table["amount"].notna()], whole) for kind in KINDS]
    return pd.DataFrame([row | {"not_computed": why or row["not_computed"]} for row in rows], columns=list(RANGES))


def _range(kind: str, own: pd.DataFrame, whole: float) -> dict:
    row = {"without": kind, "times": len(own), "amount": whole, "lowest_without": "", "highest_without": ""}
    if own.empty:
        return row | {"lowest": np.nan, "highest": np.nan, "not_computed": NOTHING_LEFT[kind]}
    low, high = own.loc[own["amount"].idxmin()], own.loc[own["amount"].idxmax()]
    return row | {
        "lowest": low["amount"],
        "highest": high["amount"],
        "lowest_without": low["which"],
        "highest_without": high["which"],
        "not_computed": "",
    }


def _counts(layout: Layout, people: np.ndarray, homes: tuple[str, ...]) -> np.ndarray:
    """How often each resident counts (people x sets): once, but in each set one person, or one facility, never."""
    home = pd.Series(layout.weeks["facility"].to_numpy(dtype=object)).groupby(layout.owner).first().to_numpy()
    without = [np.arange(len(layout.people))[:, None] == people]
    without += [(home == name)[:, None] for name in homes]
    return 1.0 - np.hstack(without)


def _weighed(layout: Layout, asked: Question, counts: np.ndarray, measure: str) -> np.ndarray:
    """The difference in points for each set of counts (people x sets)."""
    found = weigh_all(layout, [asked], counts, brief=True)[asked.key]
    empty = [np.bincount(layout.owner[weeks], minlength=len(counts)) @ counts == 0 for weeks in asked.weeks]
    first, second = found.numbers[measure]
    return np.where(empty[0] | empty[1], np.nan, 100 * (first - second))
