"""What a warning is read from, and what it finds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import nan

import pandas as pd

from kit.healing.answers import Answers
from kit.healing.trials import Weeks
from kit.study import Study

# Facts are counted; tests stand beside what chance makes; numbers that are shown never fire.
FACT, TEST, SHOWN = KINDS = "fact", "test", "shown"
NOTE, CARE, STOPS = SERIOUSNESS = "note", "read with care", "stops the comparison"
# Which way the headline would be pushed.
FLATTERS, DETRACTS = "starting looks better than it was", "starting looks worse than it was"
BLURS, NOT_KNOWN = "towards no difference", "not known"
DIRECTIONS = (FLATTERS, DETRACTS, BLURS, NOT_KNOWN)
PRACTICE = "common practice, no source"


@dataclass(frozen=True, eq=False)
class Evidence:
    """A study and what came of it: `weeks` as judged, `answers` as compared, `others` as answered in other ways.

    `earlier` tells of earlier quarters' reports, a row each, the oldest first: quarter_ends (day), plan (fingerprint of
    its rules).
    """

    study: Study
    weeks: Weeks
    answers: Answers
    others: pd.DataFrame
    earlier: pd.DataFrame


@dataclass(frozen=True)
class Warned:
    """What one warning found: its number beside the threshold, in words, and which way it would push the headline.

    `fires` is decided by the warning itself (of tests by `kit.bias.warnings`, across all of them); `p` and `unseen`
    are of tests: the chance of a number so far off where nothing is, and what the test could not have seen.
    """

    number: float = nan
    threshold: float = nan
    fires: bool = False
    direction: str = NOT_KNOWN
    says: str = ""
    not_computed: str = ""
    p: float = nan
    unseen: str = ""


@dataclass(frozen=True)
class Check:
    """A warning as it stands in the catalogue: what it asks, how serious it is, and what to do where it fires."""

    find: Callable[[Evidence], Warned]
    kind: str
    question: str
    seriousness: str
    source: str
    to_do: str


def not_computed(why: str) -> Warned:
    """A warning that cannot be computed says why; it does not fire."""
    return Warned(not_computed=why)
