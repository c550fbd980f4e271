"""The size and state of every measurement, and what contradicts them. A slip must never heal a wound."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.measures import ellipse_area, rectangle_area

AREA = {"rectangle": rectangle_area, "ellipse": ellipse_area}
# How a size is held against those beside it; all common practice, no source.
REACH = 35  # days; a size farther away says little about this one
ALIKE = 1.5  # two sizes at most so many times one another agree
NEAR, NEAR_INCH = 1.15, 1.08  # how close a slip must come to its factor
PINPOINT = 0.25  # cm; so small a wound may be what is left for a week
TEN, INCH = 10.0, 2.54
FAR = 3.0  # times its neighbours, as the root of the area


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


def slips_of_unit(measurements: pd.DataFrame) -> pd.DataFrame:
    """By what length and width must be divided to fit the wound's own course; 1 where nothing is unmistakable.

    A size slips where the nearest ones before and after agree with one another and it would lie between or close to
    them if divided by 10 or 1/10 (a lost decimal point, millimetres as centimetres), in both sides or in one while the
    other fits as it stands; or by 2.54 or 1/2.54 (inches) in both, for a real wound may change so far in one. The first
    and the last of a wound are never judged, nor one of two of one day, and no pinpoint is made larger.

    Columns in: wound, day, state, length, width. Columns out: length, width.
    """
    sides = measurements[["length", "width"]]
    able = (sides > 0).all(axis=1) & (measurements["state"].astype(object) != "closed")
    # A neighbour may have its sides exchanged; what is judged may not, or a slip of its width would hide behind it.
    ordered = measurements.assign(length=sides.max(axis=1), width=sides.min(axis=1))
    beside = _beside(ordered[able], ["length", "width"]).reindex(measurements.index)
    alone = ~measurements.duplicated(["wound", "day"], keep=False)
    tens = pd.DataFrame({side: _tens(sides[side], *_range(beside, side)) for side in sides})
    inches = _inches(sides, beside)
    factors = pd.DataFrame({side: _stated(tens, side).where(inches.isna(), inches) for side in sides})
    pinpoint = (factors < 1).any(axis=1) & (sides.max(axis=1) < PINPOINT)
    return factors.where(alone & ~pinpoint, 1.0)


def _beside(rows: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """The nearest values of the same wound: `<column>_before` and `<column>_after`, missing where beyond reach."""
    rows = rows.sort_values(["wound", "day"], kind="stable")
    of_wound, out = rows.groupby("wound"), {}
    for name, step in (("before", 1), ("after", -1)):
        near = (of_wound["day"].shift(step) - rows["day"]).abs().between(1, REACH)
        out |= {f"{column}_{name}": of_wound[column].shift(step).where(near) for column in columns}
    return pd.DataFrame(out)


def _range(beside: pd.DataFrame, column: str) -> tuple[pd.Series, pd.Series]:
    """The smaller and the larger of two neighbours that agree; missing where they do not."""
    both = beside[[f"{column}_before", f"{column}_after"]]
    low, high = both.min(axis=1, skipna=False), both.max(axis=1, skipna=False)
    agree = high <= ALIKE * low
    return low.where(agree), high.where(agree)


def _tens(value: pd.Series, low: pd.Series, high: pd.Series) -> pd.Series:
    """10, 1/10 or 1, whichever makes the value fit; missing where none does."""
    fits = [(value / factor).between(low / NEAR, high * NEAR) for factor in (1.0, TEN, 1 / TEN)]
    return pd.Series(np.select(fits, [1.0, TEN, 1 / TEN], np.nan), index=value.index)


def _stated(tens: pd.DataFrame, side: str) -> pd.Series:
    """The factor of a side where both sides have one, and not two that go opposite ways."""
    sound = tens.notna().all(axis=1) & (tens.prod(axis=1) != 1.0)
    return tens[side].where(sound, 1.0)


def _inches(sides: pd.DataFrame, beside: pd.DataFrame) -> pd.Series:
    """2.54 or 1/2.54 where length and width are both so far from the middle of their neighbours; else missing."""
    out = pd.Series(np.nan, index=sides.index)
    for factor in (INCH, 1 / INCH):
        both = pd.Series(True, index=sides.index)
        for side in sides:
            low, high = _range(beside, side)
            both &= (sides[side] / np.sqrt(low * high) / factor).between(1 / NEAR_INCH, NEAR_INCH)
        out = out.mask(both, factor)
    return out


def divided(measurements: pd.DataFrame, factors: pd.DataFrame) -> pd.DataFrame:
    """The measurements with length and width divided, to a tenth of a millimetre."""
    sides = {side: measurements[side].mask(factors[side] != 1, measurements[side] / factors[side]) for side in factors}
    return measurements.assign(**{side: cm.where(factors[side] == 1, cm.round(2)) for side, cm in sides.items()})


def outlying(measurements: pd.DataFrame) -> pd.Series:
    """More than three times as wide across as both neighbours, or less than a third, while these agree."""
    is_open = measurements["size"] > 0
    edges = measurements[is_open].assign(edge=np.sqrt(measurements["size"]))
    low, high = _range(_beside(edges, ["edge"]), "edge")
    out = (edges["edge"] > FAR * high) | (edges["edge"] < low / FAR)
    return out.reindex(measurements.index, fill_value=False)
