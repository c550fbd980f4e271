"""A negative control: the same comparison of what happened before the start, which nothing given later can change.

Lipsitch, Tchetgen Tchetgen & Cohen 2010, Epidemiology 21:383, from memory.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.answers import Answers
from kit.healing.comparison import ANY, NONE, ROOM, alike, any_modality, arms_of
from kit.healing.description import DRAWN_FROM
from kit.healing.emulation import Layout
from kit.healing.other_answers import NOT_MADE
from kit.healing.resampling import Z, resident_draws, widened
from kit.healing.weeks import sized_open
from kit.plan import WEEK
from kit.words import count

DRAWS = 400
LONGEST, SHORTEST = 28, 14  # days before the start over which size is followed, at most and at least
SAYS = (
    "Over the weeks up to the start a modality can have changed nothing, so a difference is one of who starts. As the "
    "weights level size and its course so far, a difference near none is what they were made for: it shows that they "
    "did their work on what the charts hold, and says nothing of what the charts do not hold."
)
COLUMNS = (
    "amount", "low", "high", "unweighted", "starters_rate", "others_rate", "residents", "others_residents",
    "not_computed", "says",
)  # fmt: skip


def before_start(answers: Answers, measurements: pd.DataFrame, draws: int = DRAWS) -> pd.DataFrame:
    """By how much faster wounds became smaller before the start than those beside, weighted as in the answer: one row.

    Size is followed from the earliest measurement of the four weeks up to the one that began the week judged, over two
    weeks at least; its logarithm's change a week is averaged by arm and told as percent smaller a week. Wounds without
    such a measurement are left out, on both sides.

    Columns out: amount (percent points a week; positive where those that started were becoming smaller faster), low,
    high (95%, `draws` of residents), unweighted (the same before weighting), starters_rate, others_rate (percent
    smaller a week, as weighted), residents, others_residents (with such sizes), not_computed, says.
    """
    layout = answers.layout
    pace = [slopes_before(layout, rows.week, measurements) for rows in (layout.starters, layout.others)]
    people = [_people(layout, rows.week, own) for rows, own in zip((layout.starters, layout.others), pace, strict=True)]
    row = {"residents": people[0], "others_residents": people[1], "says": SAYS}
    why = _why_not(answers, min(people))
    if why:
        return pd.DataFrame([row | {"not_computed": why}], columns=list(COLUMNS))
    rates = np.stack(_rates(answers, pace, draws))
    amounts = rates[0] - rates[1]
    off = widened(Z, min(people)) * float(np.nanstd(amounts[1:]))
    plain = [_percent(np.nanmean(own)) for own in pace]
    row |= {"amount": amounts[0], "low": amounts[0] - off, "high": amounts[0] + off, "unweighted": plain[0] - plain[1]}
    row |= {"starters_rate": rates[0, 0], "others_rate": rates[1, 0], "not_computed": ""}
    return pd.DataFrame([row], columns=list(COLUMNS))


def _why_not(answers: Answers, people: int) -> str:
    """Why it is not told. What a warning stopped has weights all the same; what the data do not carry has none."""
    own = answers.needs[(answers.needs["treated"] == ANY) & (answers.needs["beside"] == NONE)]
    if not own["met"].all():
        return NOT_MADE
    few = f"{count(people, 'resident')} on one side with sizes two weeks apart, ten are needed"
    return few if people < DRAWN_FROM else ""


def slopes_before(layout: Layout, row: np.ndarray, measurements: pd.DataFrame) -> np.ndarray:
    """The change of log size a week up to the day on which each of these weeks began; missing where it is not known."""
    weeks = layout.weeks.iloc[row]
    asked = pd.DataFrame({"wound": weeks["wound"].to_numpy(), "then": weeks["begins"].to_numpy() - LONGEST})
    asked = asked.assign(row=np.arange(len(row))).sort_values("then")
    sized = sized_open(measurements)[["wound", "day", "size"]].sort_values("day")
    found = pd.merge_asof(asked, sized, left_on="then", right_on="day", by="wound", direction="forward")
    found = found.sort_values("row")
    days = (weeks["begins"].to_numpy() - found["day"].to_numpy(dtype=float)).astype(float)
    change = weeks["log_size"].to_numpy(dtype=float) - np.log(found["size"].to_numpy(dtype=float))
    long = days >= SHORTEST
    return np.divide(change * WEEK, days, out=np.full(len(days), np.nan), where=long)


def _people(layout: Layout, row: np.ndarray, pace: np.ndarray) -> int:
    return len(np.unique(layout.owner[row[np.isfinite(pace)]]))


def _rates(answers: Answers, pace: list[np.ndarray], draws: int) -> list[np.ndarray]:
    """Percent smaller a week by arm, one a set: the whole sample first, then residents drawn again."""
    layout, asked, begun = answers.layout, any_modality(answers.layout), {}
    drawn = np.hstack([np.ones((len(layout.people), 1)), resident_draws(layout.people, draws, answers.seed)])
    lot, told = max(1, ROOM // len(layout.weeks)), ([], [])
    for begin in range(0, drawn.shape[1], lot):
        people = drawn[:, begin : begin + lot]
        both = arms_of(asked, people[layout.owner], *alike(layout, asked, people, layout.owner, begun))
        for arm, own, rates in zip(both, pace, told, strict=True):
            known = np.isfinite(own)
            total = arm.base[known].sum(axis=0)
            mean = np.divide(own[known] @ arm.base[known], total, out=np.full(len(total), np.nan), where=total > 0)
            rates.append(_percent(mean))
    return [np.concatenate(rates) for rates in told]


def _percent(slope: np.ndarray | float) -> np.ndarray | float:
    """Percent smaller a week."""
    return 100 * (1 - np.exp(slope))
