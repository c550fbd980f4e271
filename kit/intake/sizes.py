"""The size and state of every measurement, and what contradicts them. A slip must never heal a wound."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.intake.contradictions import changed, tied
from kit.measures import ellipse_area, rectangle_area

AREA = {"rectangle": rectangle_area, "ellipse": ellipse_area}
# How a size is held against those beside it; all common practice, no source.
SIDES = ("length", "width")
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
    return changed(measurements, length=length.mask(where, width), width=width.mask(where, length))


def sized(measurements: pd.DataFrame, rule: str) -> pd.DataFrame:
    """Measurements with `size` (cm2), `size_from` and, where only the size tells it, their `state`.

    The size is had by the plan's rule from length and width, else it is the area recorded; a closed wound has 0. A
    length beside a width of 0 is no size. Recorded closed beside anything above zero counts as open. `state` stays
    empty where the row tells nothing of it.
    """
    ruled = AREA[rule](measurements["length"], measurements["width"])
    size = ruled.where(ruled > 0).fillna(measurements["area"]).fillna(ruled)
    is_open, is_closed = _states(measurements)
    words = measurements["state"].dtype.categories
    state = np.select([is_open, is_closed], words.get_indexer(["open", "closed"]), -1)
    is_open &= (size > 0).to_numpy()
    return changed(
        measurements,
        size=np.where(is_closed, 0.0, size.where(is_open)),
        size_from=_ways(measurements["area_method"], (ruled > 0).to_numpy(), rule, is_open),
        state=pd.Categorical.from_codes(state, dtype=measurements["state"].dtype),
    )


def _ways(method: pd.Series, ruled: np.ndarray, rule: str, told: np.ndarray) -> np.ndarray:
    """How each size was found: by the rule, else as its area was, else by tracing; nothing where none is told."""
    listed = [*method.cat.categories, "tracing", rule, None]
    traced = np.where(method.isna(), len(listed) - 3, method.cat.codes)
    places = np.where(told, np.where(ruled, len(listed) - 2, traced), len(listed) - 1)
    return np.array(listed, dtype=object)[places]


def contrary(measurements: pd.DataFrame) -> pd.Series:
    """Recorded closed, yet with a length, width or area above zero."""
    return (measurements["state"] == "closed") & (_extent(measurements) > 0)


def _states(measurements: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Which are open and which closed: as recorded; where it is not, by what was measured.

    Open if anything was above zero, whatever is recorded; closed if all was zero or new skin.
    """
    state, extent = measurements["state"], _extent(measurements)
    deep = _largest(measurements, "depth", "undermining", "tunnelling") > 0
    told_closed = ((extent == 0) & ~deep) | (measurements["tissue"] == "closed").to_numpy()
    untold, large = state.isna().to_numpy(), extent > 0
    is_open = large | (state == "open").to_numpy() | (untold & deep & ~told_closed)
    is_closed = ~large & ((state == "closed").to_numpy() | (untold & told_closed))
    return is_open, is_closed


def _extent(measurements: pd.DataFrame) -> np.ndarray:
    """The largest of what was measured; missing where neither a length, a width nor an area was."""
    return _largest(measurements, "length", "width", "area")


def _largest(measurements: pd.DataFrame, *columns: str) -> np.ndarray:
    return np.fmax.reduce([measurements[column].to_numpy(dtype=float) for column in columns])


def found_another_way(measurements: pd.DataFrame) -> pd.Series:
    """Sizes found another way than most of the same wound's; a false 21.5% reduction lies between two ways."""
    ways, names = pd.factorize(measurements["size_from"], sort=True)
    wounds, each = pd.factorize(measurements["wound"])
    told = ways >= 0
    counts = np.zeros((len(each), max(len(names), 1)), dtype=np.int64)
    np.add.at(counts, (wounds[told], ways[told]), 1)
    usual = counts.argmax(axis=1)  # the first by name of those that stand as often
    return pd.Series(told & (ways != usual[wounds]), index=measurements.index)


def rank(measurements: pd.DataFrame) -> pd.Series:
    """What of two measurements of one day is believed: the larger, open without a size before closed."""
    size = measurements["size"].fillna(0.0)
    return pd.Series(np.where(measurements["state"] == "closed", -1.0, size), index=measurements.index)


def wrongly_staged(measurements: pd.DataFrame, wounds: pd.DataFrame) -> pd.Series:
    """Only pressure injuries are staged (Edsberg et al. 2016, J Wound Ostomy Continence Nurs 43:585)."""
    others = wounds.loc[wounds["kind"].notna() & (wounds["kind"] != "pressure_injury"), "wound"]
    return measurements["stage"].notna() & measurements["wound"].isin(others)


def slips_of_unit(measurements: pd.DataFrame) -> pd.DataFrame:
    """By what length and width must be divided to fit the wound's own course; 1 where nothing is unmistakable.

    A size slips where the nearest ones before and after agree with one another and it would lie between or close to
    them if divided by 10 or 1/10 (a lost decimal point, millimetres as centimetres), in both sides or in one while the
    other fits as it stands; or by 2.54 or 1/2.54 (inches) in both, for a real wound may change so far in one. The first
    and the last of a wound are never judged, nor one of two of one day, and no pinpoint is made larger.

    Columns in: wound, day, state, length, width. Columns out: length, width.
    """
    length, width = (measurements[side].to_numpy(dtype=float) for side in SIDES)
    larger, smaller = np.fmax(length, width), np.fmin(length, width)
    able = (length > 0) & (width > 0) & (measurements["state"] != "closed").to_numpy()
    # A neighbour may have its sides exchanged; what is judged may not, or a slip of its width would hide behind it.
    before, after = _beside(measurements, able)
    ranges = [_range(side, before, after) for side in (larger, smaller)]
    tens = [_tens(side, *beside) for side, beside in zip((length, width), ranges, strict=True)]
    inches = _inches((length, width), ranges)
    sound = ~np.isnan(tens[0] * tens[1]) & (tens[0] * tens[1] != 1.0)  # both sides have one, and not opposite ones
    factors = np.where(np.isnan(inches), np.where(sound, tens, 1.0), inches)
    alone = ~tied(measurements, ["wound", "day"])
    pinpoint = (factors < 1).any(axis=0) & (larger < PINPOINT)
    told = np.where(alone & ~pinpoint, factors, 1.0)
    return pd.DataFrame(dict(zip(SIDES, told, strict=True)), index=measurements.index)


def _beside(rows: pd.DataFrame, able: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of every row that is able the places of the nearest such rows of its wound, before and after it; else -1.

    There is none where the nearest is of the same day, or beyond reach.
    """
    places = np.flatnonzero(able)
    wounds, days = pd.factorize(rows["wound"].to_numpy())[0][places], rows["day"].to_numpy(dtype=np.int64)[places]
    rises = (wounds[1:] > wounds[:-1]) | ((wounds[1:] == wounds[:-1]) & (days[1:] >= days[:-1]))
    order = np.arange(len(places)) if rises.all() else np.lexsort((days, wounds))
    near = (np.diff(wounds[order]) == 0) & (np.diff(days[order]) >= 1) & (np.diff(days[order]) <= REACH)
    ordered = places[order]
    before, after = np.full((2, len(rows)), -1)
    before[ordered[1:][near]] = ordered[:-1][near]
    after[ordered[:-1][near]] = ordered[1:][near]
    return before, after


def _range(values: np.ndarray, before: np.ndarray, after: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The smaller and the larger of two neighbours' values that agree; missing where they do not."""
    both = [np.where(place >= 0, values[place], np.nan) for place in (before, after)] if len(values) else [values] * 2
    low, high = np.minimum(*both), np.maximum(*both)
    agree = high <= ALIKE * low
    return np.where(agree, low, np.nan), np.where(agree, high, np.nan)


def _tens(value: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """10, 1/10 or 1, whichever makes the value fit; missing where none does."""
    factors = (1.0, TEN, 1 / TEN)
    fits = [(value / factor >= low / NEAR) & (value / factor <= high * NEAR) for factor in factors]
    return np.select(fits, factors, np.nan)


def _inches(sides: tuple[np.ndarray, ...], ranges: list[tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """2.54 or 1/2.54 where length and width are both so far from the middle of their neighbours; else missing."""
    off = [side / np.sqrt(low * high) for side, (low, high) in zip(sides, ranges, strict=True)]
    out = np.full(len(off[0]), np.nan)
    for factor in (INCH, 1 / INCH):
        both = [(1 / NEAR_INCH <= times / factor) & (times / factor <= NEAR_INCH) for times in off]
        out[both[0] & both[1]] = factor
    return out


def divided(measurements: pd.DataFrame, factors: pd.DataFrame) -> pd.DataFrame:
    """The measurements with length and width divided, to a tenth of a millimetre."""
    sides = {side: measurements[side].mask(factors[side] != 1, measurements[side] / factors[side]) for side in factors}
    return changed(measurements, **{side: cm.where(factors[side] == 1, cm.round(2)) for side, cm in sides.items()})


def outlying(measurements: pd.DataFrame) -> pd.Series:
    """More than three times as wide across as both neighbours, or less than a third, while these agree."""
    size = measurements["size"].to_numpy(dtype=float)
    edge = np.sqrt(np.where(size > 0, size, np.nan))
    low, high = _range(edge, *_beside(measurements, size > 0))
    return pd.Series((edge > FAR * high) | (edge < low / FAR), index=measurements.index)
