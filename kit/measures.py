"""Size arithmetic: areas, how much smaller, how fast the edge moves in, and two published scores.

Every function takes numbers, arrays or pandas Series and hands back the same kind. Lengths are in cm, areas
in cm2. A size that is missing stays missing (NaN); nothing here decides whether a size may be believed.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
import pandas as pd

Numbers = float | np.ndarray | pd.Series
Words = str | None | np.ndarray | pd.Series

# PUSH 3.0: the greatest area (cm2, one decimal) of sub-scores 2 to 9; anything larger scores 10.
PUSH_UPPER = tuple(map(Decimal, ("0.6", "1.0", "2.0", "3.0", "4.0", "8.0", "12.0", "24.0")))
PUSH_EXUDATE = {"none": 0, "light": 1, "moderate": 2, "heavy": 3}
PUSH_TISSUE = {"closed": 0, "epithelial": 1, "granulation": 2, "slough": 3, "necrotic": 4}


def rectangle_area(length: Numbers, width: Numbers) -> Numbers:
    """Length x width, in cm2: what charts call the area. It overstates an ellipse by 4/pi, or 27%."""
    return length * width


def ellipse_area(length: Numbers, width: Numbers) -> Numbers:
    """Area in cm2 of the ellipse whose axes are length and width: pi/4 of the rectangle."""
    return np.pi / 4 * length * width


def rectangle_perimeter(length: Numbers, width: Numbers) -> Numbers:
    """Twice length plus width, in cm."""
    return 2 * (length + width)


def ellipse_perimeter(length: Numbers, width: Numbers) -> Numbers:
    """Perimeter in cm of the ellipse whose axes are length and width; 0 for a closed wound.

    Source: Ramanujan S, Quarterly Journal of Pure and Applied Mathematics 1914;45:350-372, the second of his
    two approximations: exact for a circle, 0.04% short for a line. Citation from memory.
    """
    total = length + width
    # Adding 1 where both axes are 0 keeps a closed wound from dividing 0 by 0; its perimeter stays 0.
    flatness = ((length - width) / (total + (total == 0))) ** 2
    return np.pi / 2 * total * (1 + 3 * flatness / (10 + (4 - 3 * flatness) ** 0.5))


def percent_reduction(first: Numbers, later: Numbers) -> Numbers:
    """How many percent of the first area are gone; 100 when the wound has closed, negative when it grew.

    Missing where the first area is 0, for a closed wound has nothing to lose. A shape factor common to both
    areas cancels. Areas found in two ways do not compare: 12 cm2 as a rectangle are 9.42 cm2 as an ellipse,
    a false 21.5%.
    """
    return 100 * (1 - later / _above_zero(first))


def linear_healing(area1: Numbers, perimeter1: Numbers, area2: Numbers, perimeter2: Numbers) -> Numbers:
    """How far in cm the edge moved inwards, on average, between two measurements; negative when it grew.

    Area lost over the mean perimeter: 2 (A1 - A2) / (P1 + P2). Divide by weeks for a rate. A closed wound has
    area and perimeter 0. Missing where both perimeters are 0.
    Source: Gilman TH, Wounds 1990;2:95-101.
    """
    return 2 * (area1 - area2) / _above_zero(perimeter1 + perimeter2)


def smallest_detectable_change(sem: Numbers) -> Numbers:
    """The smallest change beyond measurement error at 95%: 1.96 x sqrt(2) x standard error of measurement.

    Same unit as `sem`. Source: Landa DL et al., International Wound Journal 2016;13(5):619-624.
    """
    return 1.96 * 2**0.5 * sem


def push_size_score(length: Numbers, width: Numbers) -> Numbers:
    """Size sub-score of PUSH 3.0, 0 to 10, from length x width (the rectangle, never the ellipse).

    The published bins leave gaps between one decimal and the next. Our rule, not the form's: below 0.3 cm2 is
    tested on the product as it is, everything above on the product rounded half up to one decimal.
    Raises ValueError where a length or width is below zero.
    Source: PUSH 3.0, 1998, copyright of its owner, the National Pressure Injury Advisory Panel (only its
    numbers are used here); Thomas DR et al., Advances in Wound Care 1997;10(5):96-101.
    """
    return _each(_size_score, length, width)


def push_score(length: Numbers, width: Numbers, exudate: Words, tissue: Words) -> Numbers:
    """PUSH 3.0 total, 0 (closed) to 17, lower is better; missing where one of its three parts is missing.

    `exudate` is none, light, moderate or heavy; `tissue`, the worst seen, is closed, epithelial, granulation,
    slough or necrotic; "unknown" counts as missing. Sources as for push_size_score.
    Raises ValueError where a word is not listed, or where `push_conflict` holds: closed must be 0, 0 and 0.
    """
    size, wet, bed = _push_parts(length, width, exudate, tissue)
    conflicts = int(np.sum(_half_closed(size, wet, bed)))
    if conflicts:
        raise ValueError(
            f"closed: {conflicts} row(s) are closed by area or tissue and open by another part; expected "
            "area 0, exudate none and tissue closed together; find them with push_conflict, set them aside"
        )
    return size + wet + bed


def push_conflict(length: Numbers, width: Numbers, exudate: Words, tissue: Words) -> bool | np.ndarray | pd.Series:
    """True where area or tissue says closed while another part says open; what is missing says nothing."""
    return _half_closed(*_push_parts(length, width, exudate, tissue))


def _push_parts(length: Numbers, width: Numbers, exudate: Words, tissue: Words) -> tuple[Numbers, Numbers, Numbers]:
    wet = _each(lambda word: _rank(word, PUSH_EXUDATE, "exudate"), exudate)
    bed = _each(lambda word: _rank(word, PUSH_TISSUE, "tissue"), tissue)
    return push_size_score(length, width), wet, bed


def _half_closed(size: Numbers, wet: Numbers, bed: Numbers) -> bool | np.ndarray | pd.Series:
    return ((size == 0) | (bed == 0)) & ((size > 0) | (wet > 0) | (bed > 0))


def _size_score(length: float, width: float) -> float:
    if pd.isna(length) or pd.isna(width):
        return np.nan
    if length < 0 or width < 0:
        raise ValueError("negative: a length or width is below zero; set the row aside")
    # Six decimals take off what a change of unit left behind (3 mm may come as 0.30000000000000004 cm). The
    # product is then exact: 4.05 x 1 rounds up to 4.1, where binary round(4.05, 1) gives 4.0.
    area = Decimal(f"{length:.6f}") * Decimal(f"{width:.6f}")
    if area < Decimal("0.3"):
        return float(area > 0)
    tenths = area.quantize(Decimal("0.1"), ROUND_HALF_UP)
    return 2.0 + sum(tenths > upper for upper in PUSH_UPPER)


def _rank(word: str | None, ranks: dict[str, int], name: str) -> float:
    if pd.isna(word) or word == "unknown":
        return np.nan
    if word not in ranks:
        raise ValueError(f"unlisted: {name} must be one of {', '.join(ranks)}, unknown or missing")
    return ranks[word]


def _above_zero(whole: Numbers) -> Numbers:
    """The same numbers, missing where they are not above zero, so that nothing is divided by nothing."""
    return whole * np.where(np.asarray(whole, dtype=float) > 0, 1.0, np.nan)


def _each(score: Callable[..., float], *columns: Numbers | Words) -> Numbers:
    """A rule for one row, applied to all. Series must share an index: pairing by position goes unnoticed."""
    series = [column for column in columns if isinstance(column, pd.Series)]
    if any(not column.index.equals(series[0].index) for column in series):
        raise ValueError("index: the Series do not share one index; take them from one frame")
    scores = np.vectorize(score, otypes=[float])(*columns)
    if series:
        return pd.Series(scores, index=series[0].index)
    return scores if scores.ndim else float(scores)
