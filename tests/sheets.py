"""Invented counts of a quarter, sheets drawn by hand, and a slow search that a person can follow."""

from __future__ import annotations

from itertools import product

import pandas as pd

from kit.sharing.counted import COLUMNS
from kit.sharing.searching import about, whole_percent

THINGS = {
    "treated": ("wounds", "treated wounds", "open wounds"),
    "closed": ("wounds", "closed wounds", "open wounds"),
    "given": ("sessions", "given", "planned"),
    "full": ("sessions", "full", "planned"),
    "reason": ("sessions", "missed for the most frequent reason", "missed"),
    "came after": ("wounds", "started, came to it", "started"),
    "came without": ("wounds", "others, came to it", "others"),
}


def counts(rows, people=99, weighed=None):
    """Counts as `kit.sharing.counted` returns them: `rows` holds name: (how many, of how many)."""
    told = [(name, *THINGS[name], some, of, people, people, (weighed or {}).get(name))
            for name, (some, of) in rows.items()]  # fmt: skip
    return pd.DataFrame(told, columns=COLUMNS).astype({"weighed": float})


def printed(rows):
    """A sheet as the search reads it: `rows` holds (what is counted, of what): (percent, about how many)."""
    told = [(some, of, float(percent), float(all_of)) for (some, of), (percent, all_of) in rows.items()]
    return pd.DataFrame(told, columns=["some", "all_of", "per_hundred", "about_all"])


def pairs(percent, around, fewest):
    """Every (some, all) that is printed so, and that may be printed at all."""
    wholes = range(around - 5, around + 5)
    return [(some, of) for of in wholes for some in range(fewest, of - fewest + 1)
            if whole_percent(some, of) == percent and about(of) == around]  # fmt: skip


def changes(before, now):
    """The least and the largest change of what is counted, of its rest and of all, over every pair of pairs."""
    both = list(product(before, now))
    ways = {
        "some": [new[0] - old[0] for old, new in both],
        "rest": [(new[1] - new[0]) - (old[1] - old[0]) for old, new in both],
        "all": [new[1] - old[1] for old, new in both],
    }
    return {name: (min(told), max(told)) for name, told in ways.items()}


def is_small(low, high, fewest):
    """Whether a value between these ends is known to be a few, whichever way it points."""
    return all(0 < abs(value) < fewest for value in range(low, high + 1))
