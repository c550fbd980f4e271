"""How wounds were measured: how often, how finely, by which way, and by whom."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.debridement import debrided
from kit.bias.digits import heaped
from kit.bias.evidence import CARE, FACT, NOT_KNOWN, NOTE, PRACTICE, Check, Evidence, Warned, not_computed
from kit.bias.judged import late_closing, treater_judges
from kit.bias.sides import NONE_IN_VIEW, Sides, by_side, crossed, in_view, months_begin, sizes_in_view
from kit.healing.comparison import EARLY
from kit.words import count, share

UNMEASURED_ABOVE, UNMEASURED_USUALLY = 0.3, 0.2  # of days; common practice, no source; 0.15 in a clean invented group
UNMEASURED_APART = 0.15  # between the sides; common practice, no source
COPIED_ABOVE, COPIED_USUALLY = 0.1, 0.06  # common practice, no source; 0.05 in a clean invented group
LARGE_ENOUGH = 1.0  # cm2; a smaller wound may well look the same on a ruler
PAIRS = 30  # fewer show nothing; common practice, no source
BACK_ABOVE, SWITCHED_ABOVE, RARELY = 0.05, 0.05, 0.005  # common practice, no source; none in a clean invented group


# --- how often ---


def unmeasured(evidence: Evidence) -> Warned:
    """Days of open wounds without a fresh size in the months that are compared: number is a share (0 to 1).

    It is the share of the side with more of them, weeks after a start apart from all others; or how far the two are
    apart, where that goes further beyond its own threshold (0.15, or what chance would cross once in 100). What is
    measured less is seen to close later, so that the side with more of it looks worse.
    """
    weeks = evidence.weeks.weeks
    weeks = weeks[weeks["ends"] >= months_begin(evidence)]
    if weeks.empty:
        return not_computed(NONE_IN_VIEW)
    days = weeks["ends"] - weeks["begins"] + 1
    sides = by_side(~weeks["measured"].astype(bool), ~weeks["before"].astype(bool), weeks["resident"], days)
    number, threshold = _more_or_apart(sides)
    says = f"Of {days.sum()} days of open wounds, no fresh size was there on {sides.says('of those after a start')}."
    return Warned(number, threshold, number > threshold, sides.push(-1), says)


def _more_or_apart(sides: Sides) -> tuple[float, float]:
    """The larger share beside its threshold, or the difference beside its own."""
    more = sides.larger(UNMEASURED_ABOVE, UNMEASURED_USUALLY)
    if np.isnan(sides.apart):
        return more
    apart = (abs(sides.apart), max(UNMEASURED_APART, sides.chance()))
    return max(more, apart, key=lambda pair: pair[0] / pair[1])


# --- what was written ---


def copied(evidence: Evidence) -> Warned:
    """Length and width both as at the measurement before, of pairs that could differ: number is their share (0 to 1).

    Pairs of open wounds above 1 cm2 count whose earlier size is not in half centimetres on both sides: a coarse ruler
    shows nothing of slow healing, and has a warning of its own (`heaped`). A wound whose size is carried forward is
    seen to close later, so that the side with more of it looks worse.
    """
    rows = sizes_in_view(evidence)
    rows = rows[(rows["state"].astype(object) == "open") & (rows[["length", "width"]] > 0).all(axis=1)]
    before = rows.groupby("wound")[["length", "width", "day"]].shift(1)
    earlier = before[["length", "width"]].astype(float)
    fine = ~_in_halves(earlier) & (earlier["length"] * earlier["width"] > LARGE_ENOUGH)
    pairs = rows[fine & (rows["day"] > before["day"])]
    if len(pairs) < PAIRS:
        return not_computed(f"fewer than {PAIRS} sizes could be held against the one before")
    same = (pairs[["length", "width"]].astype(float) == earlier.loc[pairs.index]).all(axis=1)
    again, whole = int(same.sum()), len(pairs)
    threshold = crossed(COPIED_ABOVE, COPIED_USUALLY, whole)
    direction = by_side(same, pairs["started"], pairs["resident"]).push(-1)
    says = f"Of {count(whole, 'size')} {again} repeat the one before ({share(again, whole)})."
    return Warned(again / whole, threshold, again / whole > threshold, direction, says)


def _in_halves(sides: pd.DataFrame) -> pd.Series:
    return ((2 * sides).round(6) % 1 == 0).all(axis=1)


def back_staged(evidence: Evidence) -> Warned:
    """Pressure injuries charted at a lower stage than before, of those staged twice or more: number is their share.

    The deepest stage stands whatever is charted later, so that it moves no number; it tells how stages are charted.
    """
    seen, stages = in_view(evidence), evidence.study.stages
    rows = stages[stages["wound"].isin(seen["wound"]) & (stages["day"] >= months_begin(evidence))]
    times = rows.groupby("wound").size()
    staged = times.index[times > 1]
    if not len(staged):
        return not_computed("no pressure injury was staged twice")
    lower = rows.loc[rows["stage_change"].astype(object) == "backstaged", "wound"]
    number, whole = len(set(lower) & set(staged)), len(staged)
    threshold = crossed(BACK_ABOVE, RARELY, whole)
    says = f"Of {whole} pressure injuries staged twice or more {number} were charted at a lower stage than before "
    return Warned(number / whole, threshold, number / whole > threshold, says=f"{says}({share(number, whole)}).")


def switched(evidence: Evidence) -> Warned:
    """Wounds whose size was had in more than one way, of those measured twice or more: number is their share.

    12 cm2 as a rectangle are 9.4 as an ellipse: a false 21.5% smaller. It adds no closing to a side. Where the answer
    is about getting smaller, the direction is read off on which side more went over to a way that makes sizes smaller.
    """
    rows = sizes_in_view(evidence)
    rows = rows[rows["size_from"].notna()]
    ways = rows.groupby("wound").agg(
        first=("size_from", "first"), last=("size_from", "last"), ways=("size_from", "nunique"), times=("day", "size"),
        resident=("resident", "first"), started=("started", "any"),
    )  # fmt: skip
    ways = ways[ways["times"] > 1]
    if ways.empty:
        return not_computed("no wound was measured twice")
    number, whole = int((ways["ways"] > 1).sum()), len(ways)
    threshold = crossed(SWITCHED_ABOVE, RARELY, whole)
    says = f"Of {count(whole, 'wound')} measured twice or more {number} had their size found in more than one way "
    fires = number / whole > threshold
    direction = _of_ways(ways) if evidence.answers.measure == EARLY else NOT_KNOWN
    return Warned(number / whole, threshold, fires, direction, f"{says}({share(number, whole)}).")


def _of_ways(ways: pd.DataFrame) -> str:
    """A rectangle is the largest way to have a size: leaving it makes a wound seem to shrink, and coming to it grow."""
    gone = (ways["first"] == "rectangle").astype(float) - (ways["last"] == "rectangle").astype(float)
    return by_side(gone, ways["started"], ways["resident"]).push(1)


CHECKS: dict[str, Check] = {
    "unmeasured": Check(
        unmeasured, FACT, "Were wounds left unmeasured?", CARE, PRACTICE,
        "Measure every open wound every week, those that were not started too, and tell who takes over a missed round.",
    ),
    "copied": Check(
        copied, FACT, "Were sizes copied forward?", CARE, PRACTICE,
        "Ask for a ruler at every round, and for the size to be written before the last one is looked up.",
    ),
    "heaped": Check(
        heaped, FACT, "Were sizes read to the half centimetre?", NOTE,
        "Whipple 1919, Vital Statistics; scale of the United Nations for ages; both from memory",
        "Have sizes read to the tenth of a centimetre, with the same ruler everywhere.",
    ),
    "back_staged": Check(
        back_staged, FACT, "Were pressure injuries charted at a lower stage than before?", NOTE,
        "Edsberg et al. 2016, J Wound Ostomy Continence Nurs 43:585 (none goes back); threshold: common practice",
        "Have those who stage keep the deepest stage, and chart healing by size and tissue.",
    ),
    "switched": Check(
        switched, FACT, "Did the way of measuring change within a wound?", CARE, PRACTICE,
        "Keep one way of finding the size for as long as a wound is followed, and say which in the export.",
    ),
    "debrided": Check(
        debrided, FACT, "Was the first size taken just after a debridement on one side?", CARE, PRACTICE,
        "Measure before a debridement, or chart both sizes, on the day from which a wound is compared.",
    ),
    "treater_judges": Check(
        treater_judges, FACT, "Did those who treat a wound call it closed?", CARE, PRACTICE,
        "Have somebody who does not treat the wound look at it when it is thought to have closed.",
    ),
    "late_closing": Check(
        late_closing, FACT, "Were closings seen late?", CARE, PRACTICE,
        "Look at small wounds every week until they are closed, and chart the day on which they first were.",
    ),
}  # fmt: skip
