"""Each facility's difference beside the group's, leaning on it the more the smaller it is."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.comparison import Weighed, facilities, measure
from kit.healing.emulation import Layout, Rows
from kit.healing.resampling import Z, difference_limits
from kit.plan import Plan

OWN_FROM = 5  # starters from which a facility's own difference is shown; common practice, no source


def homes_of(layout: Layout, found: Weighed | None, plan: Plan) -> pd.DataFrame:
    """Each facility's difference, drawn towards the group's: facility, starters, own, own_error, leaning, low, high.

    Facilities are taken to differ by the plan's `facility_spread` (a standard deviation, in points): with a handful of
    facilities their spread cannot be estimated. The smaller a facility, the more it leans on the group (Gelman et al.
    2013, Bayesian Data Analysis, section 5.4).
    """
    columns = ["facility", "starters", "own", "own_error", "leaning", "low", "high"]
    if found is None:
        return pd.DataFrame(columns=columns)
    begun = layout.weeks["facility"].iloc[layout.starters.week].value_counts()
    people = [_people(layout, rows) for rows in (layout.starters, layout.others)]
    group = found.numbers[measure(layout)]
    middle, spread = group[0, 0] - group[1, 0], plan.comparison.facility_spread / 100
    group_error = np.nanstd(group[0, 1:] - group[1, 1:])
    rows = []
    for number, home in enumerate(facilities(layout)):
        starters = int(begun.get(home, 0))
        first, second = found.houses[:, number]
        difference = first[0] - second[0]
        alone = starters >= OWN_FROM and np.isfinite(difference)
        error = _own_error(tuple(max(int(own.get(home, 0)), 1) for own in people), first, second) if alone else np.nan
        trust = spread**2 / (spread**2 + error**2) if alone else 0.0
        drawn = trust * difference + (1 - trust) * middle if alone else middle
        off = Z * np.sqrt((1 - trust) * spread**2 + (1 - trust) ** 2 * group_error**2)
        rows.append(
            {"facility": home, "starters": starters, "own": difference if alone else np.nan,
             "own_error": error if alone else np.nan, "leaning": drawn, "low": drawn - off, "high": drawn + off}
        )  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def _people(layout: Layout, rows: Rows) -> pd.Series:
    """How many residents an arm has in each facility."""
    return layout.weeks[["facility", "resident"]].iloc[rows.week].groupby("facility")["resident"].nunique()


def _own_error(people: tuple[int, int], first: np.ndarray, second: np.ndarray) -> float:
    """The standard error of a facility's own difference, from its limits: where none or all of few closed, draws of
    the same few do not differ."""
    low, high = difference_limits((first[0], second[0]), (first[1:], second[1:]), people)
    return (high - low) / (2 * Z)
