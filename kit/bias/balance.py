"""What the weights leave uneven: standardized differences of what was charted, beyond chance and beyond importance."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from kit.bias.beside import NO_PAIR, towards
from kit.bias.evidence import NOT_KNOWN, Evidence, Warned, not_computed
from kit.bias.pair import LEAST_PEOPLE, TESTS, chance_of, hardly_seen
from kit.healing.comparison import alike, any_modality, arms_of
from kit.healing.emulation import Arm, Layout
from kit.healing.other_answers import ANSWER, LEVELLED
from kit.healing.resampling import SEED, resident_draws

FAR = 0.25  # standard deviations; common practice (Rubin 2001, Stuart 2010, from memory)
MOVES = 2.0  # points of 100 by which levelling twice moves the answer; common practice, no source
DRAWS = 200  # of whole residents: only the spread is used


def standardized(first: tuple, second: tuple) -> float | np.ndarray:
    """The difference of two means (mean, standard deviation) over the root of their mean variance.

    Means may be arrays, one each for several weights. Of two shares the standard deviation is the root of the share
    times what is left of it. Missing where neither varies. Source: Austin 2009, Stat Med 28:3083.
    """
    unit = math.sqrt((first[1] ** 2 + second[1] ** 2) / 2)
    return (first[0] - second[0]) / (unit or math.nan)


def uneven(layout: Layout, draws: int = DRAWS, seed: int = SEED) -> pd.DataFrame:
    """What the weights leave apart of any modality beside none: a row a covariate of the start model that varies.

    Columns out: covariate, apart (standardized by how both arms vary before any weight, so that a weight which narrows
    an arm hides nothing), error (how much that varies over draws of whole residents, with weights fitted anew).

    Weights that are made to level a covariate leave less of it than chance leaves of any other: an error that takes
    them as given is some twenty times too large.
    """
    asked = any_modality(layout)
    drawn = np.hstack([np.ones((len(layout.people), 1)), resident_draws(layout.people, draws, seed)])
    both = arms_of(asked, drawn[layout.owner], *alike(layout, asked, drawn, layout.owner, {}))
    found = {name: standardized(*(_side(layout, arm, name) for arm in both)) for name in asked.names}
    told = [(name, float(far[0]), float(np.nanstd(far[1:]))) for name, far in found.items() if not np.isnan(far[0])]
    return pd.DataFrame(told, columns=["covariate", "apart", "error"])


def _side(layout: Layout, arm: Arm, name: str) -> tuple[np.ndarray, float]:
    """The weighted mean of a covariate in one arm, for each set of weights, and how it varies as it is."""
    values = layout.weeks[name].astype(float)
    own = values.fillna(values.mean()).to_numpy()[arm.rows.week]
    whole = arm.base.sum(axis=0)
    return np.divide(own @ arm.base, whole, out=np.full(len(whole), np.nan), where=whole > 0), own.std(ddof=1)


def imbalance(evidence: Evidence) -> Warned:
    """The largest standardized difference that the weights leave: number, in standard deviations.

    Its chance is that of this covariate times the number of those looked at (Bonferroni), since it is the largest of
    them. Where levelling once more by a line moves the answer by less than two points, the difference does not matter,
    and its chance is told as 1; where that cannot be asked, the difference stands alone.
    """
    layout = evidence.answers.layout
    sides = [len(np.unique(layout.owner[rows.week])) for rows in (layout.starters, layout.others)]
    if min(sides) < LEAST_PEOPLE:
        return not_computed("too few residents stand on a side to tell" if min(sides) else NO_PAIR)
    found = uneven(layout)
    if found.empty:
        return not_computed("nothing that was charted varies")
    most = found.loc[found["apart"].abs().idxmax()]
    return _told(most, len(found), min(sides) - 1, _moved(evidence.others))


def _told(most: pd.Series, looked_at: int, free: int, moved: float) -> Warned:
    chance = chance_of(most["apart"], most["error"], free)
    far, asked = abs(most["apart"]), not math.isnan(moved)
    says = f"As weighted, the two sides differ most in {_spoken(most['covariate'])}, by {far:.2f} standard deviations"
    says += f"; adjusted twice the answer moves by {abs(moved):.0f} of 100." if asked else "."
    unseen = hardly_seen(most["error"], free, TESTS * looked_at, FAR)
    return Warned(
        number=float(most["apart"]),
        threshold=FAR,
        direction=towards(-moved) if asked else NOT_KNOWN,
        says=says,
        p=1.0 if asked and abs(moved) < MOVES else min(1.0, looked_at * chance),
        unseen=f"A difference below {unseen:.2f} standard deviations would hardly have been seen, nor any in what no "
        "chart holds.",
    )


def _moved(others: pd.DataFrame) -> float:
    """By how many points the answer moves when what the charts held is levelled once more; missing where it is not."""
    amount = others.set_index("way")["amount"].astype(float)
    return float(amount.get(LEVELLED, np.nan) - amount.get(ANSWER, np.nan))


SPOKEN = {
    "log_size": "size", "log_size_3": "size over three measurements", "slope": "change of size",
    "stalled": "having stalled", "week": "weeks since first measured",
}  # fmt: skip


def _spoken(covariate: str) -> str:
    return SPOKEN.get(covariate, str(covariate).replace("_", " "))
