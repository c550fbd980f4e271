"""What is computed by hand for one wound: percent reduction, and how fast its edge moved in (Gilman)."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.measures import ellipse_perimeter, linear_healing, percent_reduction, rectangle_perimeter
from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN

PERIMETER = {"rectangle": rectangle_perimeter, "ellipse": ellipse_perimeter}
# 4 weeks from diabetic feet (Sheehan et al. 2003, Diabetes Care 26:1879); 2 is common practice. No week is validated
# for pressure injuries that we know of.
AFTER = (2, 4)
MEASURES = tuple(f"{name}_{weeks}" for name in ("reduction", "gilman") for weeks in AFTER)


def summaries(episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """One row a wound of the cohort: how much smaller it was two and four weeks after entry, and how fast that went.

    Columns in: episodes as `kit.wounds.episodes` returns them; measurements wound, day, state, length, width, size and
    size_from.
    Columns out: wound, resident, reduction_2 and reduction_4 (percent of the entry size), gilman_2 and gilman_4 (cm a
    week), in the order of wound. The regimen is not among them: it is decided by sessions that may come later than the
    size, and groups formed by it would be sorted by their future.

    The size is the last one measured after entry and up to that day, found in the same way as the entry size and still
    fresh (the plan's `fresh_days`); a closing that did not hold is no size. Closed by then is 100 percent, and area and
    perimeter 0 on the day of closing. Missing where there is no such size, or none at entry, where the wound ended
    otherwise by then, and where that day lies beyond the cut-off, closed or not: closings alone would be known there.
    Where the export shares no calendar that cannot be told, and numbers lean towards closing. `gilman` divides by the
    weeks between the two measurements; its perimeters need length and width, so a traced size has none.
    Source: Gilman TH, Wounds 1990;2:95-101.
    """
    cohort = episodes[episodes["in_cohort"]].sort_values("wound", ignore_index=True)
    sizes = comparable(cohort, measurements)
    sizes = sizes.assign(perimeter=_perimeter(sizes, plan))
    at_entry = sizes[sizes["day"] == sizes["entry_day"]].set_index("wound").reindex(cohort["wound"])
    out = {"wound": cohort["wound"], "resident": cohort["resident"]}
    for weeks in AFTER:
        then = _then(cohort, sizes, weeks, plan)
        out[f"reduction_{weeks}"] = _reduction(at_entry, then)
        out[f"gilman_{weeks}"] = _gilman(at_entry, then)
    return pd.DataFrame(out)[["wound", "resident", *MEASURES]]


def summary_table(summaries: pd.DataFrame) -> pd.DataFrame:
    """Median and quartiles of each measure over the wounds in which it is known.

    Columns in: those of `summaries`. Columns out: measure, known and missing (wounds), quartile_1, median, quartile_3
    (linear between two wounds, R's type 7; missing where nothing is known). Wounds that left are among the missing, so
    this describes those that could be read and is no comparison.
    """
    values = summaries[list(MEASURES)]
    quartiles = values.quantile([0.25, 0.5, 0.75])
    return pd.DataFrame(
        {
            "measure": MEASURES,
            "known": values.notna().sum().to_numpy(dtype=np.int64),
            "missing": values.isna().sum().to_numpy(dtype=np.int64),
            "quartile_1": quartiles.loc[0.25].to_numpy(dtype=float),
            "median": quartiles.loc[0.5].to_numpy(dtype=float),
            "quartile_3": quartiles.loc[0.75].to_numpy(dtype=float),
        }
    )


def comparable(cohort: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """Open sizes from entry to end, found in the same way as the first of their wound; in the order of wound and day.

    Columns out: wound, day, size, length, width, size_from, entry_day, end_day, outcome. A size found in another way
    is left out, for 12 cm2 as a rectangle are 9.42 cm2 as an ellipse.
    """
    sized = sized_open(measurements)[["wound", "day", "size", "length", "width", "size_from"]]
    own = sized.merge(cohort[["wound", "entry_day", "end_day", "outcome"]], on="wound")
    own = own.astype({"day": "int64", "entry_day": "int64", "end_day": "int64"})
    own = own[own["day"].between(own["entry_day"], own["end_day"])].sort_values(["wound", "day"], ignore_index=True)
    return own[own["size_from"] == own.groupby("wound")["size_from"].transform("first")].reset_index(drop=True)


def _perimeter(sizes: pd.DataFrame, plan: Plan) -> pd.Series:
    """Perimeter in cm by the plan's rule; missing where length or width is, or was no length."""
    sides = (sizes["length"] > 0) & (sizes["width"] > 0)
    return PERIMETER[plan.sizes.area](sizes["length"], sizes["width"]).where(sides)


def _then(cohort: pd.DataFrame, sizes: pd.DataFrame, weeks: int, plan: Plan) -> pd.DataFrame:
    """What each wound was so many weeks after entry: closed, weeks (since entry), size and perimeter; index wound."""
    asked = pd.DataFrame({"wound": cohort["wound"], "due": cohort["entry_day"].astype("int64") + WEEK * weeks})
    last = pd.merge_asof(
        asked.sort_values("due", kind="stable"), sizes.sort_values("day"), left_on="due", right_on="day", by="wound"
    )
    last = last.set_index("wound").reindex(cohort["wound"])
    state = cohort.set_index("wound")
    end = state["end_day"].astype("int64")
    over = end <= last["due"]
    closed = over & (state["outcome"] == "closed")
    readable = closed | ~over | (state["outcome"] == OPEN)
    if plan.cutoff is not None:
        readable &= last["due"] <= plan.cutoff
    fresh = (last["due"] - last["day"] < plan.sizes.fresh_days) & (last["day"] > last["entry_day"])
    since = last["day"].mask(closed, end) - state["entry_day"].astype("int64")
    now = last.assign(weeks=since / WEEK)[["weeks", "size", "perimeter"]]
    now[["size", "perimeter"]] = now[["size", "perimeter"]].mask(closed, 0.0)
    return now.where(readable & (closed | fresh)).assign(closed=closed & readable)


def _reduction(at_entry: pd.DataFrame, then: pd.DataFrame) -> np.ndarray:
    """A closed wound has lost all of its size; of one never sized at entry closings alone would be known."""
    closed = then["closed"] & at_entry["size"].notna()
    return percent_reduction(at_entry["size"], then["size"]).mask(closed, 100.0).to_numpy(dtype=float)


def _gilman(at_entry: pd.DataFrame, then: pd.DataFrame) -> np.ndarray:
    moved = linear_healing(at_entry["size"], at_entry["perimeter"], then["size"], then["perimeter"])
    return (moved / then["weeks"]).to_numpy(dtype=float)
