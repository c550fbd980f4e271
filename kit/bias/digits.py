"""Last digits of sizes: whether they were read to the tenth of a centimetre, or to the half."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.evidence import Evidence, Warned, not_computed
from kit.bias.sides import crossed, sizes_in_view

READ_FROM = 1.0  # cm; below it no whole centimetre could be read, so that digits cannot be alike
ROUGH_ABOVE = 175.0  # "very rough" in the United Nations' scale for ages, from memory
USUAL = 0.24  # of last digits of a clean invented group 0.22 are 0 or 5: more wounds are small than large
READINGS = 50  # fewer show nothing; common practice, no source


def heaped(evidence: Evidence) -> Warned:
    """Lengths and widths that end in a whole or half centimetre: number is a Whipple-type index (100 none, 500 all).

    Readings of 1 cm and more count, of open wounds. Coarse sizes blur what charts say of a wound's course; they add no
    closing to a side, so that which way they push is not known. Source: Whipple 1919, Vital Statistics, from memory.
    """
    rows = sizes_in_view(evidence)
    sides = rows.loc[rows["state"].astype(object) == "open", ["length", "width"]].to_numpy(dtype=float).ravel()
    counts = last_digits(sides)
    number = int(counts.sum())
    if number < READINGS:
        return not_computed(f"fewer than {READINGS} lengths and widths are recorded")
    index, threshold = whipple(counts), 500 * crossed(ROUGH_ABOVE / 500, USUAL, number)
    ends = int(counts[0] + counts[5])
    says = f"Of {number} lengths and widths {ends} end in a whole or half centimetre ({100 * ends / number:.0f}%; "
    return Warned(index, threshold, index > threshold, says=f"{says}20% would were they read to the tenth).")


def last_digits(centimetres: np.ndarray | pd.Series) -> np.ndarray:
    """How often each of 0 to 9 is the tenth of a centimetre, among lengths of 1 cm and more; missing ones are left out.

    A second decimal is rounded away: 2.54 cm (an inch) ends in 5.
    """
    known = np.asarray(centimetres, dtype=float)
    known = known[known >= READ_FROM]  # what is missing is not
    return np.bincount(np.round(known * 10).astype(np.int64) % 10, minlength=10)


def whipple(counts: np.ndarray) -> float:
    """Of last digits counted from 0 to 9: the share of 0 and 5, times 500: 100 where all are as frequent, 500 at most.

    Source: Whipple 1919, Vital Statistics, for ages; from memory.
    """
    return 500 * float(counts[0] + counts[5]) / float(counts.sum())
