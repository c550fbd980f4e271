"""The answer's two arms in other ways: closings seen twice, wounds in common alone, charts levelled twice.

The answer's weights are fitted anew in every draw of residents.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.healing.comparison import CLOSED, ROOM, Question, alike, arms, arms_of, measure, questions
from kit.healing.contrasts import CAUSES
from kit.healing.emulation import (
    NOBODY_LEFT,
    Arm,
    Layout,
    Passing,
    Rows,
    arm_shares,
    chances,
    early_share,
    lay_out,
    part,
    passed,
    passing,
    weighed,
)
from kit.healing.resampling import difference_limits
from kit.healing.weights import start_design
from kit.plan import Plan

# Days between two rounds that both say closed: US FDA 2006, Guidance for Industry, Chronic Cutaneous Ulcer and Burn
# Wounds (June), from memory.
TWO_ROUNDS = 14
RIDGE = 1e-8  # of the mean square of a column: an intercept beside every facility's own has no one answer
EMPTY = "nobody is left on one side"


@dataclass(frozen=True)
class Other:
    """One number with its limits, what it rests on in words, and why it was not computed ("" where it was)."""

    value: float = np.nan
    low: float = np.nan
    high: float = np.nan
    rests_on: str = ""
    not_computed: str = ""


@dataclass(frozen=True, eq=False)
class Sample:
    """The answer's two arms in the whole sample, as they are and with what each of the other ways changes.

    `again`: the layout in which closings seen once count as open. `designs`: the start model's columns of starters and
    of others. `alike`: starters and others within the chances that both have. `begun`: the coefficients of the whole
    sample, from which every draw is fitted.
    """

    layout: Layout
    asked: Question
    again: Layout
    designs: tuple[np.ndarray, np.ndarray]
    alike: tuple[np.ndarray, np.ndarray]
    through: Passing
    both: tuple[Arm, Arm]
    begun: dict


def sampled(layout: Layout, measurements: pd.DataFrame, plan: Plan) -> Sample:
    """The whole sample weighed once, and laid out for the other ways."""
    asked, begun, counts = questions(layout, plan)[0], {}, np.ones((len(layout.weeks), 1))
    through = passing(layout, counts, asked.names, begun)
    both = arms(layout, asked, counts, begun)
    once = ~layout.weeks["wound"].isin(closed_again(layout.weeks, measurements)) & (layout.weeks["outcome"] == "closed")
    # Their weights stand as they were when they closed: from then on nothing could start or take them away.
    opened = layout.weeks.assign(
        end_day=layout.weeks["end_day"].where(~once, layout.weeks["end_day"] + layout.horizon),
        outcome=layout.weeks["outcome"].astype(object).where(~once, "open"),
    )
    again = lay_out(opened, measurements, plan, layout.horizon)
    designs = _designs(layout, asked)
    return Sample(layout, asked, again, designs, in_common(designs, begun[asked.key][:, 0]), through, both, begun)


def closed_again(wounds: pd.DataFrame, measurements: pd.DataFrame) -> set[str]:
    """The wounds that a second round, two weeks or more after the closing, saw closed with no open one between.

    Two weeks, not just a later round: a second look the day after is the same closing seen twice, and two weeks are
    what the kit gives a closing to be undone. Columns in: wound, end_day, outcome; measurements wound, day, state.
    """
    shut = wounds[wounds["outcome"] == "closed"].drop_duplicates("wound")[["wound", "end_day"]]
    later = measurements[["wound", "day", "state"]].merge(shut, on="wound")
    later = later[later["day"] > later["end_day"]]
    opens = later[later["state"] == "open"].groupby("wound")["day"].min()
    second = later[(later["state"] == "closed") & (later["day"] - later["end_day"] >= TWO_ROUNDS)]
    second = second.groupby("wound")["day"].min()
    return set(second.index[~(opens.reindex(second.index) < second).fillna(False).to_numpy(dtype=bool)])


def in_common(designs: tuple[np.ndarray, np.ndarray], found: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Which starters and which others have a chance to be a starter that is met on both sides.

    The range from the larger of the two least to the smaller of the two greatest chances, in the whole sample
    (Dehejia & Wahba 1999, J Am Stat Assoc 94:1053, from memory); draws keep it.
    """
    one, other = (design @ found for design in designs)
    low, high = max(one.min(), other.min()), min(one.max(), other.max())
    return (one >= low) & (one <= high), (other >= low) & (other <= high)


def _designs(layout: Layout, asked: Question) -> tuple[np.ndarray, np.ndarray]:
    """The start model's columns of starters and of others, standardized together as in the answer."""
    first, second = asked.rows
    own = layout.weeks.iloc[np.concatenate([first.week, second.week])]
    design = start_design(own, asked.names, own)
    return design[: len(first.week)], design[len(first.week) :]


@dataclass(frozen=True, eq=False)
class Redrawn:
    """Shares of both sides, 2 x sets, of which set 0 is the whole sample; empty where only closing can be told."""

    again: np.ndarray
    alike: np.ndarray
    levelled: np.ndarray


def redrawn(sample: Sample, drawn: np.ndarray) -> Redrawn:
    """Closed at two rounds, wounds in common, and levelled twice, for counts of residents (people x sets)."""
    layout = sample.layout
    lot = max(1, ROOM // len(layout.weeks))
    lots = [_lot(sample, drawn[:, begin : begin + lot]) for begin in range(0, drawn.shape[1], lot)]
    return Redrawn(*(np.concatenate(numbers, axis=1) for numbers in zip(*lots, strict=True)))


def _lot(sample: Sample, people: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    layout, again, asked, begun = sample.layout, sample.again, sample.asked, sample.begun
    counts, found = people[layout.owner], chances(layout, people, layout.owner, asked.names, begun)
    through = passed(layout, begun["staying", "design"], found)
    first, second = both = arms_of(asked, counts, *alike(layout, asked, people, layout.owner, begun))
    masks = sample.alike
    kept = [Arm(part(arm.rows, mask), arm.base[mask], arm.untreated) for arm, mask in zip(both, masks, strict=True)]
    common = np.stack([_reached(layout, arm, through) for arm in kept])
    if measure(layout) != CLOSED:
        return np.empty((2, 0)), common, np.empty((2, 0))
    twice = [Arm(again.starters, first.base, False), Arm(again.others, second.base, True)]
    levelled = [arm_shares(first, through).closed[-1], expected(sample, second, through, counts)]
    return np.stack([arm_shares(arm, through).closed[-1] for arm in twice]), common, np.stack(levelled)


def _reached(layout: Layout, arm: Arm, through: Passing) -> np.ndarray:
    """The share that is compared, one a set; NaN where the arm is empty."""
    whole = arm_shares(arm, through)
    told = whole.closed[-1] if measure(layout) == CLOSED else early_share(arm, through, whole)
    return np.where(arm.base.sum(axis=0) > 0, told, np.nan)


def expected(sample: Sample, others: Arm, through: Passing, counts: np.ndarray) -> np.ndarray:
    """The share of starters expected to close untreated, one a set, from a straight line through the others.

    Weighted least squares of closed by the horizon on the start model's columns, among the others who were followed
    untreated to the horizon or to their end, with the answer's weights there; then the mean over the starters. Right
    where either the weights or the line are (Robins, Sued, Lei-Gomez & Rotnitzky 2007, Stat Sci 22:544, from memory).
    """
    first, second = sample.designs
    seen = others.rows.whole
    slopes = least_squares(second[seen], closed_by(others.rows)[seen], last_weights(others, through)[seen])
    own = counts[sample.layout.starters.week]
    total = own.sum(axis=0)
    told = (first @ slopes * own).sum(axis=0)
    return np.clip(np.divide(told, total, out=np.full(len(total), np.nan), where=total > 0), 0, 1)


def least_squares(design: np.ndarray, outcome: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Coefficients (columns x sets) of weighted least squares, a set of weights (rows x sets) each."""
    columns = design.shape[1]
    one, other = np.triu_indices(columns)
    products = (design.T[one] * design.T[other]) @ weights
    crossed = np.empty((weights.shape[1], columns, columns))
    crossed[:, one, other] = crossed[:, other, one] = products.T
    hold = RIDGE * np.trace(crossed, axis1=1, axis2=2) / columns + 1e-12
    right = (design * outcome[:, None]).T @ weights
    return np.linalg.solve(crossed + hold[:, None, None] * np.eye(columns), right.T[..., None])[..., 0].T


def last_weights(arm: Arm, through: Passing) -> np.ndarray:
    """What each row weighs in the last week in which it was followed: rows x sets."""
    base, growing = weighed(arm, through, NOBODY_LEFT)
    followed, last = arm.rows.ways[NOBODY_LEFT], arm.rows.week.copy()
    last[followed.row] = followed.week  # pieces stand in the order of days: the last one stays
    return base * growing[last]


def closed_by(rows: Rows) -> np.ndarray:
    """Which rows closed by the horizon, before any later start."""
    followed, closed = rows.ways[NOBODY_LEFT], np.zeros(len(rows.week), dtype=bool)
    closed[followed.row[followed.ends[CAUSES.index("closed")].indices]] = True
    return closed


def in_points(shares: np.ndarray, people: tuple[int, int], rests_on: str) -> Other:
    """A difference of two shares (2 x sets) in points of 100, with the answer's kind of limits."""
    if not np.isfinite(shares[:, 0]).all():
        return Other(rests_on=rests_on, not_computed=EMPTY)
    first, second = shares
    low, high = difference_limits((first[0], second[0]), (first[1:], second[1:]), people)
    return Other(100 * float(first[0] - second[0]), 100 * low, 100 * high, rests_on)
