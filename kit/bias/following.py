"""What became of wounds and of their records: lost from sight, closed for a while, stopped, left out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.evidence import (
    BLURS,
    CARE,
    FACT,
    NOT_KNOWN,
    PRACTICE,
    STOPS,
    Check,
    Evidence,
    Warned,
    not_computed,
)  # fmt: skip
from kit.bias.rows import set_aside, unlinked
from kit.bias.sides import NONE_IN_VIEW, by_side, crossed, in_view
from kit.delivery.stops import STOPPED, course_ends
from kit.healing.weeks import sized_open
from kit.words import count, share, spoken

VANISHED_ABOVE, VANISHED_USUALLY = 0.1, 0.02  # common practice, no source; none in a clean invented group
REOPENED_ABOVE, REOPENED_USUALLY = 0.1, 0.02  # common practice, no source; none in a clean invented group
UNCONFIRMED_ABOVE, UNCONFIRMED_USUALLY = 0.2, 0.08  # common practice, no source; 0.06 in a clean invented group
STOPPED_ABOVE, STOPPED_USUALLY = 0.15, 0.04  # common practice, no source
# Reasons of the person, or of who pays; a lack of staff or things is told with what was delivered.
OF_PERSON_OR_PAYER = ("refused", "unwell", "on_hold", "payer")


# --- what became of wounds ---


def vanished(evidence: Evidence) -> Warned:
    """Wounds lost from sight, of all in view: number is the share (0 to 1) of the side with more of them.

    Last seen open and then not again, without a closing or a departure. The direction is read off how they stood: those
    that had shrunk by half or more are closings unseen, those that had grown are wounds that would have stayed open.
    """
    seen = in_view(evidence)
    if seen.empty:
        return not_computed(NONE_IN_VIEW)
    lost = seen["vanished"].astype(bool)
    sides = by_side(lost, seen["started"], seen["resident"])
    number, threshold = sides.larger(VANISHED_ABOVE, VANISHED_USUALLY)
    course = _course(seen, evidence.study.measurements)
    unseen = np.where(course <= np.log(0.5), 1.0, np.where(course > 0, -1.0, 0.0)) * lost
    direction = by_side(pd.Series(unseen), seen["started"], seen["resident"]).push(-1)
    says = f"Of {count(len(seen), 'wound')} {int(lost.sum())} were lost from sight ({sides.says()})."
    return Warned(number, threshold, number > threshold, direction, says)


def _course(seen: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    """The log of the last size over the first, of each wound; 0 where it was measured once, missing where never."""
    sized = sized_open(measurements).sort_values(["wound", "day"])
    sizes = np.log(sized["size"].astype(float)).groupby(sized["wound"]).agg(["first", "last"])
    return seen["wound"].map(sizes["last"] - sizes["first"]).to_numpy(dtype=float)


def reopened(evidence: Evidence) -> Warned:
    """Wounds closed and then open again, of all that were seen closed: number is their share (0 to 1).

    Open again within `confirm_days` undoes a closing; later it does not, so that a side with more of the latter looks
    better than what lasted.
    """
    seen = in_view(evidence)
    closed = seen[(seen["outcome"] == "closed") | seen["reopened"].astype(bool)]
    if closed.empty:
        return not_computed("no wound was seen to close" if len(seen) else NONE_IN_VIEW)
    again, whole = closed["reopened"].astype(bool), len(closed)
    counted = again & (closed["outcome"] == "closed")
    direction = by_side(counted, closed["started"], closed["resident"]).push(1)
    number, threshold = int(again.sum()), crossed(REOPENED_ABOVE, REOPENED_USUALLY, whole)
    says = f"Of {count(whole, 'wound')} seen closed {number} were open again later ({share(number, whole)})."
    return Warned(number / whole, threshold, number / whole > threshold, direction, says)


def unconfirmed(evidence: Evidence) -> Warned:
    """Closings that nobody could see hold, for the record ends or the person left: number is the larger side's share.

    A closing is confirmed where the wound's person stayed in view for `confirm_days` after it. Some of them would not
    have held, so that the side with more of them looks better.
    """
    seen = in_view(evidence)
    closed = seen[seen["outcome"] == "closed"]
    if closed.empty:
        return not_computed("no wound was seen to close" if len(seen) else NONE_IN_VIEW)
    open_question = ~closed["confirmed"].astype(bool)
    sides = by_side(open_question, closed["started"], closed["resident"])
    number, threshold = sides.larger(UNCONFIRMED_ABOVE, UNCONFIRMED_USUALLY)
    days = evidence.study.plan.following.confirm_days
    says = f"Of {count(len(closed), 'closing')} {int(open_question.sum())} were not in view for {days} days after "
    return Warned(number, threshold, number > threshold, sides.push(1), f"{says}({sides.says()}).")


# --- what became of the treatment ---


def stopped_early(evidence: Evidence) -> Warned:
    """Wounds whose treatment stopped before they closed, for the person or who pays, of all started: a share (0 to 1).

    They stay on the side of those that started, whatever came after, so that less was had than was started.
    """
    study, seen = evidence.study, in_view(evidence)
    began = seen[seen["started"]]
    if began.empty:
        return not_computed("no wound started")
    if study.sessions["reason"].isna().all():
        return not_computed("no reason of a missed or shortened session is recorded")
    given = study.sessions[study.sessions["status"].astype(object).isin(["given", "shortened"])]
    told = given[["wound", "day"]].merge(began[["wound", "resident", "facility"]], on="wound")
    ends = course_ends(told, study.sessions, study.spans, study.episodes)
    why = ends.loc[ends["course_end"] == STOPPED, "stop_reason"]
    why = why[why.isin(OF_PERSON_OR_PAYER)].value_counts()
    number, whole = int(why.sum()), len(began)
    threshold = crossed(STOPPED_ABOVE, STOPPED_USUALLY, whole)
    reasons = "".join(f"; {times} {spoken(reason)}" for reason, times in why.items())
    says = f"Of {count(whole, 'wound')} that started {number} stopped before they closed, for the person or who pays "
    direction = BLURS if number else NOT_KNOWN
    return Warned(
        number / whole, threshold, number / whole > threshold, direction, f"{says}({share(number, whole)}{reasons})."
    )


CHECKS: dict[str, Check] = {
    "vanished": Check(
        vanished, FACT, "Were wounds lost from sight?", CARE, PRACTICE,
        "Chart a closing or a departure for every wound, also when the person goes home or moves.",
    ),
    "reopened": Check(
        reopened, FACT, "Did closed wounds open again?", CARE, PRACTICE,
        "Look at a closed wound once more two weeks later, and chart closed only where new skin is all over it.",
    ),
    "unconfirmed": Check(
        unconfirmed, FACT, "Could closings be seen to hold?", CARE, PRACTICE,
        "Look at a closed wound once more two weeks later, also of people who are about to go home.",
    ),
    "stopped_early": Check(
        stopped_early, FACT, "Did treatment stop before wounds closed, for the person or who pays?", CARE, PRACTICE,
        "Chart why a course ends, and read the answer as one about starting, whatever came after.",
    ),
    "unlinked": Check(
        unlinked, FACT, "Can sessions be told to belong to a wound?", STOPS, PRACTICE,
        "Have every session name its wound, or its person and the site as the wound's chart names it.",
    ),
    "set_aside": Check(
        set_aside, FACT, "Were many rows set aside?", CARE, PRACTICE,
        "Read in set_aside.csv which rows and why, and have the export made once more.",
    ),
}  # fmt: skip
