"""Did wounds close sooner than they would have? Starters beside those who could have started and did not."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, groupby

import numpy as np
import pandas as pd

from kit.healing.designs import Design
from kit.healing.emulation import (
    NOBODY_LEFT,
    OR_LATER,
    WAYS,
    WHILE_HERE,
    Arm,
    Came,
    Chances,
    Layout,
    Rows,
    came,
    chances,
    columns_for,
    lay_out,
    likeness,
    odds,
    part,
    passed,
    passing,
    worth,
)
from kit.healing.parts import AT_ONCE, Part, Question, cut
from kit.healing.reductions import at, shares_reached
from kit.healing.resampling import DRAWS, SEED, resident_draws
from kit.healing.trials import trials
from kit.healing.weights import expit
from kit.plan import WEEK, Plan
from kit.side_by_side import side_by_side
from kit.wounds.episodes import OPEN

ANY, NONE = "any modality", "no modality"
CLOSED, EARLY = "closed", "early"
FOLLOWED = 5  # residents of each arm whose course the record does not cut off; common practice, no source
ROOM = 3_000_000  # numbers held at a time: draws are taken in lots, so that memory does not grow with their number
PASSES = 12  # rows that pass through a week, about


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
    """The two arms with their weights, for each set of counts (weeks x sets)."""
    return arms_of(asked, counts, *alike(layout, asked, counts, None, begun))


def alike(
    layout: Layout, asked: Question, counts: np.ndarray, owner: np.ndarray | None, begun: dict
) -> tuple[Design, np.ndarray]:
    """How much like those who started both sides of a question are; `counts` and `owner` as in `emulation.chances`."""
    return likeness(layout, asked.weeks, counts, owner, asked.names, begun, asked.key)


def arms_of(asked: Question, counts: np.ndarray, design: Design, found: np.ndarray) -> tuple[Arm, Arm]:
    """The two arms: starters as they are and others by their odds of starting, or both by their overlap.

    Overlap weights of two regimens' starters are the chance of having started the other one (Li, Morgan & Zaslavsky
    2018, J Am Stat Assoc 113:390).
    """
    first, second = asked.rows
    many = len(first.week)
    if asked.second is None:
        like = odds(design.take(slice(many, None)), found)
        return Arm(first, counts[first.week], False), Arm(second, counts[second.week] * like, True)
    chance = expit(design.times(found))
    one, other = counts[first.week] * (1 - chance[:many]), counts[second.week] * chance[many:]
    return Arm(first, one, False), Arm(second, other, False)


OTHERWISE = {"here": WHILE_HERE, "later": OR_LATER}  # measures for which rows are followed in another way


def told_of(asked: Question, both: tuple[Came, Came], houses: np.ndarray, plan: Plan) -> Weighed:
    """Everything that is read off what the two arms of a question came to, in the ways in which they were followed."""
    whole = [arm.ways[NOBODY_LEFT].shares() for arm in both]
    day = asked.rows[0].early.day
    smaller = np.stack([shares_reached(day, arm.steps, share) for arm, share in zip(both, whole, strict=True)])
    numbers = {
        "closed": [arm.closed[-1] for arm in whole],
        "spent": [arm.spent for arm in whole],
        "early": smaller[:, at(plan.comparison.early_percent)],
    }
    for name, way in OTHERWISE.items():
        if way in both[0].ways:
            numbers[name] = [arm.ways[way].shares().closed[-1] for arm in both]
    return Weighed(
        {name: np.stack(pair) for name, pair in numbers.items()},
        np.stack([arm.states for arm in whole]),
        np.stack([arm.closed[::WEEK] for arm in whole]),
        smaller,
        houses,
    )


def _compared_in(asked: Question, both: tuple[Came, Came], what: str, plan: Plan) -> np.ndarray:
    """The number compared in one facility alone, its starters beside its own others: arms x sets."""
    told = []
    for arm in both:
        whole = arm.ways[NOBODY_LEFT].shares()
        early = shares_reached(asked.rows[0].early.day, arm.steps, whole)[at(plan.comparison.early_percent)]
        told.append(np.where(arm.weight > 0, whole.closed[-1] if what == CLOSED else early, np.nan))
    return np.stack(told)


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
    *longer, shortest = plan.comparison.horizons
    for horizon in longer:
        layout = laid_out(weeks, measurements, plan, horizon)
        asked = any_modality(layout)
        if followed(layout, asked) >= FOLLOWED:
            if worth_of_others(layout, asked) >= plan.comparison.effective_residents:
                return layout
    return laid_out(weeks, measurements, plan, shortest)


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


def draw_all(
    layout: Layout,
    asked: list[Question],
    draws: int = DRAWS,
    seed: int = SEED,
    brief: bool = False,
    begun: dict | None = None,
) -> dict[str, Weighed]:
    """Each question weighed for the whole sample (set 0) and for draws of whole residents, the same for all.

    In every draw all weights are fitted anew. `brief` and `begun` as in `weigh_all`.
    """
    people = np.ones((len(layout.people), 1))
    return weigh_all(layout, asked, np.hstack([people, resident_draws(layout.people, draws, seed)]), brief, begun)


def weigh_all(
    layout: Layout, asked: list[Question], counts: np.ndarray, brief: bool = False, begun: dict | None = None
) -> dict[str, Weighed]:
    """Each question weighed for each set of counts of residents (people x sets).

    A `brief` answer is as if nobody left, for the whole group: neither OTHERWISE nor facility by facility.
    `begun` holds what was worked out of the whole sample already.

    Sets are taken in lots, side by side, and the wounds of a lot part by part, so that memory does not grow with their
    number.
    """
    names = columns_for(len(layout.starters.week), layout.plan, layout.weeks)
    begun = {} if begun is None else begun

    def models(own: np.ndarray) -> tuple[Chances, list[np.ndarray]]:
        found = chances(layout, own, layout.owner, names, begun)
        return found, [alike(layout, question, own, layout.owner, begun)[1] for question in asked]

    def lot(own: np.ndarray) -> list[Weighed]:
        return _weigh(layout, asked, parts, own, *models(own), ways, brief)

    if not begun.keys() >= {"staying", *(question.key for question in asked)}:
        models(np.ones((len(counts), 1)))  # the whole sample first: `begun` holds what all lots begin from
    ways = (NOBODY_LEFT,) if brief else WAYS
    parts = cut(layout, asked, begun, ways)
    many = _lot(layout)
    lots = side_by_side(lot, np.split(counts, range(many, counts.shape[1], many), axis=1))
    return {question.key: _joined([one[place] for one in lots]) for place, question in enumerate(asked)}


def _lot(layout: Layout) -> int:
    """How many sets are taken at a time."""
    return max(1, ROOM // (PASSES * min(len(layout.others.ways[OR_LATER].row), AT_ONCE)))


def _weigh(
    layout: Layout, asked: list[Question], parts: list[Part], counts: np.ndarray, found: Chances, models: list,
    ways: tuple[str, ...], brief: bool,
) -> list[Weighed]:  # fmt: skip
    """Every question weighed for one lot: the parts of a facility add up to it, and facilities to the group."""
    what, homes = measure(layout), () if brief else facilities(layout)
    total: list = [None] * len(asked)
    houses: list[list[np.ndarray]] = [[] for _ in asked]
    for home, own in groupby(parts, lambda one: one.home):
        there = [_added(both) for both in zip(*(_came(one, counts, found, models, ways) for one in own), strict=True)]
        for place, question in enumerate(asked):
            total[place] = _added([one for one in (total[place], there[place]) if one is not None])
            if question.treated == ANY and home in homes:
                houses[place].append(_compared_in(question, there[place], what, layout.plan))
    nothing = np.empty((2, 0, counts.shape[1]))
    return [
        told_of(question, total[place], np.stack(houses[place], axis=1) if houses[place] else nothing, layout.plan)
        for place, question in enumerate(asked)
    ]


def _came(
    one: Part, counts: np.ndarray, found: Chances, models: list, ways: tuple[str, ...]
) -> list[tuple[Came, Came]]:
    """What both arms of every question came to in one part."""
    own = counts[one.people][one.layout.owner]
    through = passed(one.layout, one.staying, found)
    both = [
        arms_of(asked, own, design, model) for asked, design, model in zip(one.asked, one.designs, models, strict=True)
    ]
    return [(came(first, through, ways), came(second, through, ways)) for first, second in both]


def _added(parts: list[tuple[Came, Came]]) -> tuple[Came, Came]:
    """Both arms of a question, of several parts together."""
    first, second = parts[0]
    for one, other in parts[1:]:
        first, second = first + one, second + other
    return first, second


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
