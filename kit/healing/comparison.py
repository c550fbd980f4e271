"""Did wounds close sooner than they would have? Starters beside those who could have started and did not."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from kit.healing.emulation import (
    NOBODY_LEFT,
    OR_LATER,
    WHILE_HERE,
    Arm,
    Layout,
    Passing,
    Rows,
    arm_shares,
    columns_for,
    early_share,
    early_shares,
    lay_out,
    none_odds,
    overlap,
    part,
    passing,
    worth,
)
from kit.healing.reductions import GRID, at
from kit.healing.resampling import DRAWS, SEED, resident_draws
from kit.healing.trials import trials
from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN

ANY, NONE = "any modality", "no modality"
CLOSED, EARLY = "closed", "early"
FOLLOWED = 5  # residents of each arm whose course the record does not cut off; common practice, no source
ROOM = 3_000_000  # numbers held at a time: draws are taken in lots, so that memory does not grow with their number


@dataclass(frozen=True, eq=False)
class Question:
    """One comparison asked: what was started, beside what, and the trial rows of both."""

    treated: str
    beside: str
    first: np.ndarray  # of the starters
    second: np.ndarray | None  # of the starters, where regimen stands beside regimen
    rows: tuple[Rows, Rows]
    names: tuple[str, ...]

    @property
    def key(self) -> str:
        return f"{self.treated} / {self.beside}"


@dataclass(frozen=True, eq=False)
class Weighed:
    """Shares of the two arms of a question for sets of counts: each of `numbers` is arms x sets."""

    numbers: dict[str, np.ndarray]
    states: np.ndarray  # arms x causes x sets
    course: np.ndarray  # arms x weeks x sets
    smaller: np.ndarray  # arms x percents of GRID x sets
    houses: np.ndarray  # arms x facilities x sets: the number compared, where any modality stands beside none


def any_modality(layout: Layout) -> Question:
    """Any modality beside none."""
    everybody = np.ones(len(layout.starters.week), dtype=bool)
    names = columns_for(len(everybody), layout.plan, layout.weeks)
    return Question(ANY, NONE, everybody, None, (layout.starters, layout.others), names)


def questions(layout: Layout, plan: Plan) -> list[Question]:
    """Any modality, each regimen of the plan, and each pair of regimens, in this order."""
    masks = {regimen.name: layout.started == regimen.name for regimen in plan.regimens}
    rows = {name: part(layout.starters, mask) for name, mask in masks.items()}
    names = {name: columns_for(int(mask.sum()), plan, layout.weeks) for name, mask in masks.items()}
    alone = [Question(name, NONE, masks[name], None, (rows[name], layout.others), names[name]) for name in masks]
    pairs = [
        Question(a, b, masks[a], masks[b], (rows[a], rows[b]), min(names[a], names[b], key=len))
        for a, b in combinations(masks, 2)
    ]
    return [any_modality(layout), *alone, *pairs]


def arms(layout: Layout, asked: Question, counts: np.ndarray, begun: dict) -> tuple[Arm, Arm]:
    """The two arms with their weights: starters as they are and others like them, or both by their overlap."""
    first, second = asked.rows
    if asked.second is None:
        like = none_odds(layout, counts, asked.first, asked.names, begun, asked.key)
        return Arm(first, counts[first.week], False), Arm(second, counts[second.week] * like, True)
    one, other = overlap(layout, counts, asked.first, asked.second, asked.names, begun, asked.key)
    return Arm(first, counts[first.week] * one, False), Arm(second, counts[second.week] * other, False)


def weigh(layout: Layout, asked: Question, counts: np.ndarray, through: Passing, begun: dict) -> Weighed:
    """Everything that is read off the two arms of a question, for each set of counts (weeks x sets)."""
    both = arms(layout, asked, counts, begun)
    whole = [arm_shares(arm, through, NOBODY_LEFT) for arm in both]
    smaller = np.stack([early_shares(arm, through, share) for arm, share in zip(both, whole, strict=True)])
    numbers = {
        "closed": [arm.closed[-1] for arm in whole],
        "spent": [arm.spent for arm in whole],
        "early": smaller[:, at(layout.plan.comparison.early_percent)],
        "here": [arm_shares(arm, through, WHILE_HERE).closed[-1] for arm in both],
        "later": [arm_shares(arm, through, OR_LATER).closed[-1] for arm in both],
    }
    return Weighed(
        {name: np.stack(pair) for name, pair in numbers.items()},
        np.stack([arm.states for arm in whole]),
        np.stack([arm.closed[::WEEK] for arm in whole]),
        smaller,
        np.stack([_houses(layout, asked, arm, through, begun) for arm in both]),
    )


def _houses(layout: Layout, asked: Question, arm: Arm, through: Passing, begun: dict) -> np.ndarray:
    """The number compared in each facility alone, its starters beside its own others: facilities x sets."""
    homes = facilities(layout) if asked.treated == ANY else ()
    told = []
    for home in homes:
        key = (home, arm.untreated)
        if key not in begun:
            mask = layout.weeks["facility"].to_numpy()[arm.rows.week] == home
            begun[key] = mask, part(arm.rows, mask)
        mask, rows = begun[key]
        own = Arm(rows, arm.base[mask], arm.untreated)
        whole = arm_shares(own, through, NOBODY_LEFT)
        share = whole.closed[-1] if measure(layout) == CLOSED else early_share(own, through, whole)
        told.append(np.where(own.base.sum(axis=0) > 0, share, np.nan))
    return np.stack(told) if told else np.empty((0, arm.base.shape[1]))


def facilities(layout: Layout) -> tuple[str, ...]:
    """The facilities that are compared, where there are several."""
    homes = sorted(layout.weeks["facility"].unique())
    return tuple(homes) if len(homes) > 1 else ()


def measure(layout: Layout) -> str:
    """What is compared: closing, or the early response where the horizon is no longer than that."""
    return EARLY if layout.horizon <= layout.plan.comparison.early_weeks * WEEK else CLOSED


def choose_horizon(weeks: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> Layout:
    """The trials of the longest of the plan's horizons that the data carry; of the shortest where they carry none.

    Carried is a horizon to which both arms are followed and over which the others are worth enough residents. Decided
    by weights and by how long wounds were followed untreated; what they came to is not asked.
    """
    for horizon in plan.comparison.horizons:
        layout = laid_out(weeks, measurements, plan, horizon)
        asked = any_modality(layout)
        if followed(layout, asked) >= FOLLOWED:
            if worth_of_others(layout, asked) >= plan.comparison.effective_residents:
                break
    return layout


def laid_out(weeks: pd.DataFrame, measurements: pd.DataFrame, plan: Plan, horizon_weeks: int) -> Layout:
    """The trials of one horizon, of the facilities in which some started and some did not."""
    horizon = horizon_weeks * WEEK
    return lay_out(_with_both(weeks, plan, horizon), measurements, plan, horizon)


def followed(layout: Layout, asked: Question) -> int:
    """How many residents of the smaller arm have a course that the end of the record does not cut off.

    None where it cuts off some and nobody at all is followed to the horizon: a share would be that of an earlier day.
    """
    return min(_followed(layout, rows) for rows in asked.rows)


def _followed(layout: Layout, rows: Rows) -> int:
    own = layout.weeks.iloc[rows.week]
    days, stops = ((own[day] - own["ends"]).astype(float).to_numpy() for day in ("end_day", "start_day"))
    stops = np.where(stops > 0, stops, np.inf)
    cut = ((own["outcome"] == OPEN) & ~own["vanished"]).to_numpy() & (days < layout.horizon) & (days < stops)
    if cut.any() and not (np.minimum(days, stops) >= layout.horizon).any():
        return 0
    return own.loc[~cut, "resident"].nunique()


def measured(layout: Layout, asked: Question) -> int:
    """How many residents of the smaller arm have a known size, or a closed wound, at the early response."""
    return min(_measured(layout, rows) for rows in asked.rows)


def _measured(layout: Layout, rows: Rows) -> int:
    own = layout.weeks.iloc[rows.week]
    closed = (own["outcome"] == "closed") & (own["end_day"] - own["ends"] <= rows.early.day)
    return own.loc[closed.to_numpy(dtype=bool) | rows.early.known, "resident"].nunique()


def _with_both(weeks: pd.DataFrame, plan: Plan, horizon: int) -> pd.DataFrame:
    """The weeks of facilities in which some started and some did not; elsewhere nobody stands beside anybody."""
    formed = trials(weeks, plan, horizon)
    began = (formed["starts"] != "").groupby(formed["facility"]).mean()
    return weeks[weeks["facility"].isin(began[(began > 0) & (began < 1)].index)]


def worth_of_others(layout: Layout, asked: Question, begun: dict | None = None) -> float:
    """How many residents the arm beside is worth at the horizon, in the whole sample; of a pair the smaller arm."""
    if not asked.first.any() or not len(asked.rows[1].week):
        return 0.0
    counts, begun = np.ones((len(layout.weeks), 1)), {} if begun is None else begun
    if "through" not in begun:
        names = columns_for(len(layout.starters.week), layout.plan, layout.weeks)
        begun["through"] = passing(layout, counts, names, begun)
    both = arms(layout, asked, counts, begun)
    return min(worth(layout, arm, begun["through"]) for arm in (both if asked.second is not None else both[1:]))


def draw_all(layout: Layout, asked: list[Question], draws: int = DRAWS, seed: int = SEED) -> dict[str, Weighed]:
    """Each question weighed for the whole sample (set 0) and for draws of whole residents, the same for all.

    In every draw all weights are fitted anew. The products are small: several threads would only wait for each other.
    """
    with threadpool_limits(1):
        return _drawn(layout, asked, draws, seed)


def _drawn(layout: Layout, asked: list[Question], draws: int, seed: int) -> dict[str, Weighed]:
    begun: dict = {}
    people = np.ones((len(layout.people), 1))
    drawn = np.hstack([people, resident_draws(layout.people, draws, seed)])
    lot = max(1, ROOM // max(len(layout.weeks), len(layout.others.ways[OR_LATER].row), len(GRID)))
    told: dict[str, list[Weighed]] = {question.key: [] for question in asked}
    names = columns_for(len(layout.starters.week), layout.plan, layout.weeks)
    for begin in range(0, draws + 1, lot):
        counts = drawn[:, begin : begin + lot][layout.owner]
        through = passing(layout, counts, names, begun)
        for question in asked:
            told[question.key].append(weigh(layout, question, counts, through, begun))
    return {key: _joined(lots) for key, lots in told.items()}


def _joined(lots: list[Weighed]) -> Weighed:
    return Weighed(
        {name: np.concatenate([lot.numbers[name] for lot in lots], axis=-1) for name in lots[0].numbers},
        np.concatenate([lot.states for lot in lots], axis=-1),
        np.concatenate([lot.course for lot in lots], axis=-1),
        np.concatenate([lot.smaller for lot in lots], axis=-1),
        np.concatenate([lot.houses for lot in lots], axis=-1),
    )


BALANCE = ("covariate", "starters_mean", "others_mean", "weighted_mean", "apart", "apart_weighted")


def balance(layout: Layout, asked: Question, _: Weighed) -> pd.DataFrame:
    """What the chart held of the two arms, as it is and as weighted: a row a covariate of the start model.

    `apart` and `apart_weighted` are differences of means over the root of the mean variance of both arms as they are
    (Austin 2009, Stat Med 28:3083).
    """
    counts = np.ones((len(layout.weeks), 1))
    first, second = arms(layout, asked, counts, {})
    rows = []
    for name in asked.names:
        values = layout.weeks[name].astype(float)
        one, none = (values.fillna(values.mean()).to_numpy()[arm.rows.week] for arm in (first, second))
        means = [np.average(one, weights=first.base[:, 0]), none.mean(), np.average(none, weights=second.base[:, 0])]
        spread = np.sqrt((one.var(ddof=1) + none.var(ddof=1)) / 2)
        apart = [(means[0] - mean) / spread if spread > 0 else 0.0 for mean in means[1:]]
        rows.append(dict(zip(BALANCE, (name, *means, *apart), strict=True)))
    return pd.DataFrame(rows, columns=list(BALANCE))
