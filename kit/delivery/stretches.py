"""Since when: the days in which an element was off, told only where chance would hardly have made them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.agreement import OFF, WITHIN
from kit.delivery.orders import WEEKLY
from kit.delivery.shortfalls import UNRECORDED, counted
from kit.plan import WEEK

# Common practice, no source, all four.
FEWEST = 5  # sessions off that a stretch must hold, or sessions within that must follow it before it is over
MOST = 2 / 3  # of the stretch's own sessions
OFTEN = 0.2  # of all sessions, where no stretch holds most of those that are off
UNLIKELY = 100
LASTING, OVER, THROUGHOUT, SCATTERED = "lasting", "over", "throughout", "now and then"


def stretches(judged: pd.DataFrame) -> pd.DataFrame:
    """Since when: of each facility and element the days in which most sessions were off, or not recorded.

    The stretch is the one in which those that are off outnumber those within by most: the maximal-scoring run, a point
    for each one off and one less for each within (Bentley 1984, Commun ACM 27:865). It is lasting where fewer than five
    sessions within follow it, else over. Chance alone makes short runs, so a stretch counts only with five sessions
    off, two thirds of its own, and either half of all that are off or a score that chance hardly gives; else it is
    throughout (a fifth or more of all are off) or now and then, from the first to the last of them. Thresholds are
    common practice, no source. An ordered week counts from its first day; `day` is its last.

    Columns out: facility, element, state (below, above, against, or unrecorded), from_day, to_day, asked and off
    (sessions in the stretch, and those of them that are off), asked_all and off_all (in all), course (lasting, over,
    throughout, now and then), matters (what those off are a matter of, with how many each). In the order of the number
    off; without anything off there is no row.
    """
    told = []
    for (facility, element), rows in judged.groupby(["facility", "element"], sort=True):
        recorded = rows["recorded"].astype(bool)
        within = recorded & (rows["state"] == WITHIN)
        for state in (*OFF, UNRECORDED):
            off = ~recorded if state == UNRECORDED else recorded & (rows["state"] == state)
            if off.any():
                course = _stretch(rows["day"], off, recorded if state == UNRECORDED else within)
                inside = off & rows["day"].between(course["from_day"], course["to_day"])
                why = counted(rows.loc[inside & (rows["decision"] != ""), "decision"])
                place = {"facility": facility, "element": element, "state": state}
                told.append({**place, **_from(element, course), "matters": why})
    order = ["off_all", "facility", "element", "state"]
    return pd.DataFrame(told, columns=COLUMNS).sort_values(
        order, ascending=[False, True, True, True], ignore_index=True
    )


STRETCH = ["from_day", "to_day", "asked", "off", "asked_all", "off_all", "course"]
COLUMNS = ["facility", "element", "state", *STRETCH, "matters"]


def _from(element: str, course: dict[str, object]) -> dict[str, object]:
    """The same stretch, where it is one of weeks from the first day of the first of them."""
    return course | {"from_day": course["from_day"] - (WEEK - 1)} if element == WEEKLY else course


def _stretch(day: pd.Series, off: pd.Series, within: pd.Series) -> dict[str, object]:
    score = (off.astype(int) - within.astype(int)).groupby(day).sum()
    first, last = _heaviest(score.to_numpy())
    begins, ends = int(score.index[first]), int(score.index[last])
    off_all, asked_all = int(off.sum()), int((off | within).sum())
    inside = day.between(begins, ends)
    asked, here = int((inside & (off | within)).sum()), int((off & inside).sum())
    apart = 2 * here >= off_all or _hardly_chance(here, asked, off_all, asked_all)
    if here >= FEWEST and here >= MOST * asked and apart:
        course = LASTING if (within & (day > ends)).sum() < FEWEST else OVER
        return _course(begins, ends, asked, here, asked_all, off_all, course)
    begins, ends = int(day[off].min()), int(day[off].max())
    course = THROUGHOUT if off_all >= FEWEST and off_all >= OFTEN * asked_all else SCATTERED
    return _course(begins, ends, asked_all, off_all, asked_all, off_all, course)


def _hardly_chance(here: int, asked: int, off_all: int, asked_all: int) -> bool:
    """Whether a run scores more than chance gives where sessions are off as often as they are outside it.

    The largest score of such a run grows as the logarithm of their number (Karlin & Altschul 1990, Proc Natl Acad Sci
    87:2264, from memory); it must be a hundred times less likely than that.
    """
    outside = (off_all - here + 0.5) / (asked_all - asked + 1)
    if outside >= 0.5:
        return False
    return (2 * here - asked) * np.log((1 - outside) / outside) - np.log(asked_all) >= np.log(UNLIKELY)


def _course(*values: object) -> dict[str, object]:
    return dict(zip(STRETCH, values, strict=True))


def _heaviest(score: np.ndarray) -> tuple[int, int]:
    """First and last place of the run with the largest sum: of several the first to end, and the shortest of those.

    The shortest begins and ends with a day on which something was off; days that say nothing do not lengthen it.
    """
    sums = np.concatenate([[0], np.cumsum(score)])
    lowest = np.minimum.accumulate(sums[:-1])
    last = int(np.argmax(sums[1:] - lowest))
    return last - int(np.argmin(sums[last::-1])), last
