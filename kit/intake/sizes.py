"""The size and state of every measurement, and what contradicts them. A slip must never heal a wound."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.measures import ellipse_area, rectangle_area

AREA = {"rectangle": rectangle_area, "ellipse": ellipse_area}


def swapped(measurements: pd.DataFrame) -> pd.Series:
    """Where width stands above length."""
    return measurements["width"] > measurements["length"]


def exchanged(measurements: pd.DataFrame, where: pd.Series) -> pd.DataFrame:
    """The measurements with length and width exchanged in these rows."""
    length, width = measurements["length"], measurements["width"]
    return measurements.assign(length=length.mask(where, width), width=width.mask(where, length))


def sized(measurements: pd.DataFrame, rule: str) -> pd.DataFrame:
    """Measurements with `size` (cm2), `size_from` and, where only the size tells it, their `state`.

    The size is had by the plan's rule from length and width, else it is the area recorded; a closed wound has 0. A
    length beside a width of 0 is no size. Recorded closed beside anything above zero counts as open. `state` stays
    empty where the row tells nothing of it.
    """
    ruled = AREA[rule](measurements["length"], measurements["width"])
    size = ruled.where(ruled > 0).fillna(measurements["area"]).fillna(ruled)
    method = measurements["area_method"].astype(object).fillna("tracing")
    state = _state(measurements)
    is_open = (state == "open") & (size > 0)
    return measurements.assign(
        size=size.where(is_open).mask(state == "closed", 0.0),
        size_from=method.mask(ruled > 0, rule).where(is_open, None),
        state=state.astype(measurements["state"].dtype),
    )


def contrary(measurements: pd.DataFrame) -> pd.Series:
    """Recorded closed, yet with a length, width or area above zero."""
    return (measurements["state"] == "closed") & _extent(measurements).gt(0)


def _state(measurements: pd.DataFrame) -> pd.Series:
    """The state recorded; where none is, open if anything was above zero, closed if all was zero or new skin."""
    state, extent = measurements["state"].astype(object), _extent(measurements)
    deep = measurements[["depth", "undermining", "tunnelling"]].max(axis=1).gt(0)
    told_closed = ((extent == 0) & ~deep) | (measurements["tissue"] == "closed")
    guessed = pd.Series(np.select([told_closed, deep], ["closed", "open"], None), index=state.index, dtype=object)
    return state.fillna(guessed).mask(extent.gt(0), "open")


def _extent(measurements: pd.DataFrame) -> pd.Series:
    """The largest of what was measured; missing where neither a length, a width nor an area was."""
    return measurements[["length", "width", "area"]].max(axis=1)


def found_another_way(measurements: pd.DataFrame) -> pd.Series:
    """Sizes found another way than most of the same wound's; a false 21.5% reduction lies between two ways."""
    ways = measurements.groupby(["wound", "size_from"], as_index=False).size()
    usual = ways.sort_values(["size", "size_from"], ascending=[False, True]).drop_duplicates("wound")
    own = measurements["wound"].map(usual.set_index("wound")["size_from"])
    return measurements["size_from"].notna() & (measurements["size_from"] != own)


def rank(measurements: pd.DataFrame) -> pd.Series:
    """What of two measurements of one day is believed: the larger, open without a size before closed."""
    size = measurements["size"].fillna(0.0)
    return pd.Series(np.where(measurements["state"] == "closed", -1.0, size), index=measurements.index)


def wrongly_staged(measurements: pd.DataFrame, wounds: pd.DataFrame) -> pd.Series:
    """Only pressure injuries are staged (Edsberg et al. 2016, J Wound Ostomy Continence Nurs 43:585)."""
    kind = measurements["wound"].map(wounds.set_index("wound")["kind"].astype(object))
    return measurements["stage"].notna() & kind.notna() & (kind != "pressure_injury")
