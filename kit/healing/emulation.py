"""The trials of one horizon laid out once, and weighed for any number of draws of residents together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from kit.healing.contrasts import CAUSES, Followed, Shares, Sums, follow, shares, sums, take
from kit.healing.covariates import ALWAYS
from kit.healing.designs import Design, plain
from kit.healing.reductions import Early, at, early_response, shares_smaller
from kit.healing.trials import trials
from kit.healing.weights import LEAVING_RIDGE, RIDGE, expit, fitted, leaving_design, start_columns
from kit.plan import WEEK, Plan
from kit.wounds.episodes import LATE

PER_COVARIATE = 5  # starters for each column of the start model; common practice, no source
SUREST = 0.999  # no chance of starting or leaving in a week is taken to be higher
LEFT, NOWHERE = CAUSES.index("left"), -1
# As if nobody left the building; while they were here, leaving counted as not closed; whether or not others start
# later.
WAYS = NOBODY_LEFT, WHILE_HERE, OR_LATER = "nobody left", "while here", "or later"


@dataclass(frozen=True, eq=False)
class Rows:
    """Trial rows of one arm: the week of each, how it is followed in each of the WAYS, and its early response."""

    week: np.ndarray
    whole: np.ndarray  # followed to the horizon or to its end, whatever that was
    ways: dict[str, Followed]
    early: Early


@dataclass(frozen=True, eq=False)
class Layout:
    """What does not change from draw to draw. `starters` and `others` are the arms; rows are numbered in `weeks`.

    `people` names the residents, `owner` numbers that of each week; `first` is the first week of the wound of each.
    """

    weeks: pd.DataFrame
    plan: Plan
    horizon: int
    people: np.ndarray
    owner: np.ndarray
    first: np.ndarray
    starters: Rows
    others: Rows
    staying: np.ndarray  # weeks in which a start was possible
    elsewhere: np.ndarray  # other weeks before a start
    leaving: np.ndarray  # the columns of the leaving model

    @property
    def started(self) -> np.ndarray:
        """What each row of `starters` started."""
        return self.weeks["starts"].to_numpy()[self.starters.week]

    @cached_property
    def later(self) -> list[np.ndarray]:
        """The second weeks of all wounds, then their third ones, and so on."""
        place = np.arange(len(self.first)) - self.first
        order = np.argsort(place, kind="stable")
        return np.split(order, np.searchsorted(place[order], np.arange(1, place.max(initial=0) + 1)))[1:]


def lay_out(weeks: pd.DataFrame, measurements: pd.DataFrame, plan: Plan, horizon: int) -> Layout:
    """The trials of a horizon (days) as arrays; `weeks` as in `kit.healing.trials.Weeks`."""
    weeks = weeks.reset_index(drop=True)
    people, owner = np.unique(weeks["resident"].to_numpy(dtype=str), return_inverse=True)
    new = (weeks["wound"] != weeks["wound"].shift()).to_numpy()
    formed = trials(weeks, plan, horizon)
    began = (formed["starts"] != "").to_numpy()
    possible = (weeks["before"] & (weeks["reason"] == "")).to_numpy()
    return Layout(
        weeks=weeks,
        plan=plan,
        horizon=horizon,
        people=people,
        owner=owner,
        first=np.maximum.accumulate(np.where(new, np.arange(len(weeks)), 0)),
        starters=_rows(weeks, formed.index[began].to_numpy(), measurements, plan, horizon),
        others=_rows(weeks, formed.index[~began].to_numpy(), measurements, plan, horizon),
        staying=np.flatnonzero(possible),
        elsewhere=np.flatnonzero(weeks["before"].to_numpy() & ~possible),
        leaving=leaving_design(weeks),
    )


def _rows(weeks: pd.DataFrame, row: np.ndarray, measurements: pd.DataFrame, plan: Plan, horizon: int) -> Rows:
    """Rows followed in three ways: as if nobody left, while here, and whether or not others start later."""
    own = weeks.loc[row]
    wound = pd.factorize(weeks["wound"])[0]
    clock, end = own["ends"].to_numpy(), own["end_day"].to_numpy(dtype=np.int64)
    begins_later = (own["start_day"] > own["ends"]).fillna(False).to_numpy()
    stop = np.where(begins_later, own["start_day"].fillna(LATE).to_numpy(dtype=np.int64), LATE)
    until = np.minimum(end, stop)
    cause = own["outcome"].astype(object).map({name: number for number, name in enumerate(CAUSES)}).fillna(NOWHERE)
    cause = cause.to_numpy(dtype=np.int64)
    stopped = np.where(stop <= end, NOWHERE, cause)
    ways = {
        NOBODY_LEFT: (until, np.where(stopped == LEFT, NOWHERE, stopped)),
        WHILE_HERE: (until, stopped),
        OR_LATER: (end, np.where(cause == LEFT, NOWHERE, cause)),
    }
    begins = weeks["begins"].to_numpy()
    followed = {
        name: follow(wound[row], clock, days, why, wound, begins, horizon) for name, (days, why) in ways.items()
    }
    whole = (until >= clock + horizon) | (ways[NOBODY_LEFT][1] != NOWHERE)
    return Rows(row, whole, followed, early_response(weeks, row, clock, until, measurements, plan))


@dataclass(frozen=True, eq=False)
class Passing:
    """One over the chance of having come as far as a week begins, and the chance of having come to its end.

    Weeks x sets, of not starting (`untreated`) and of not leaving (`in_view`).
    """

    untreated: np.ndarray
    in_view: np.ndarray
    untreated_by: np.ndarray
    in_view_by: np.ndarray

    @cached_property
    def both(self) -> np.ndarray:
        """One over the chance of neither having started nor left before a week begins."""
        return self.untreated * self.in_view


@dataclass(frozen=True, eq=False)
class Chances:
    """What the models of starting and of leaving came to, for each set.

    `staying`: coefficients where a start was possible; `elsewhere`: the chance of a start in other weeks before one;
    `leaving`: coefficients, None where nobody left.
    """

    staying: np.ndarray
    elsewhere: np.ndarray
    leaving: np.ndarray | None


def chances(
    layout: Layout, counts: np.ndarray, owner: np.ndarray | None, names: tuple[str, ...], begun: dict
) -> Chances:
    """The models of starting and leaving for each set of counts: of weeks, or of residents, where `owner` numbers them.

    `begun` keeps what does not change from lot to lot: designs, and the whole sample's coefficients.
    """
    owner = np.arange(len(layout.weeks)) if owner is None else owner
    began = (layout.weeks["starts"].to_numpy() != "").astype(float)
    rows = layout.staying
    design = _design("staying", layout, rows, names, begun)
    staying = _fitted("staying", design, began[rows], counts, RIDGE, begun, owner[rows])
    rows = layout.elsewhere
    happened, total = (np.bincount(owner[rows], one, len(counts)) @ counts for one in (began[rows], None))
    elsewhere = np.divide(happened, total, out=np.zeros(len(total)), where=total > 0)
    lost = layout.weeks["lost"].to_numpy(dtype=float)
    if not lost.any():
        return Chances(staying, elsewhere, None)
    design = begun.setdefault(("leaving", "design"), plain(layout.leaving))
    return Chances(staying, elsewhere, _fitted("leaving", design, lost, counts, LEAVING_RIDGE, begun, owner))


def passing(layout: Layout, counts: np.ndarray, names: tuple[str, ...], begun: dict) -> Passing:
    """The weights of time for each set of counts (weeks x sets)."""
    found = chances(layout, counts, None, names, begun)
    return passed(layout, begun["staying", "design"], found)


def passed(layout: Layout, design: Design, found: Chances) -> Passing:
    """The weights of time that belong to chances; `design` is that of the start model for `layout.staying`."""
    stays = np.ones((2, len(layout.weeks), len(found.elsewhere)))
    stays[0, layout.staying] -= np.minimum(expit(design.times(found.staying)), SUREST)
    stays[0, layout.elsewhere] -= np.minimum(found.elsewhere, SUREST)
    if found.leaving is not None:
        stays[1] -= np.minimum(expit(layout.leaving @ found.leaving), SUREST)
    begin = np.ones_like(stays)
    for week in layout.later:
        begin[:, week] = begin.take(week - 1, axis=1) * stays.take(week - 1, axis=1)
    stays *= begin
    return Passing(*np.divide(1, begin, out=begin), *stays)


def _design(name: str, layout: Layout, rows: np.ndarray, names: tuple[str, ...], begun: dict) -> Design:
    """The columns of the start model for some weeks, standardized by these."""
    if (name, "design") not in begun:
        own = layout.weeks.iloc[rows]
        begun[name, "design"] = start_columns(own, names, own)
    return begun[name, "design"]


def _fitted(
    name: str, design: Design, outcome: np.ndarray, counts: np.ndarray, ridge: float, begun: dict,
    owner: np.ndarray | None = None,
) -> np.ndarray:  # fmt: skip
    """Coefficients for each set, sought from those of the whole sample."""
    if name not in begun:
        begun[name] = fitted(design, outcome, ridge=ridge)
    return fitted(design, outcome, counts, ridge, begun[name], owner)


def columns_for(starters: int, plan: Plan, weeks: pd.DataFrame) -> tuple[str, ...]:
    """The covariates that so many starters can carry: always five, then in the plan's order, one for every five.

    A covariate that the export does not hold, or that is the same throughout, takes no place.
    """
    held = [name for name in plan.comparison.covariates if weeks[name].nunique() > 1]
    return (*ALWAYS, *held[: max(starters // PER_COVARIATE - len(ALWAYS), 0)])


@dataclass(frozen=True, eq=False)
class Arm:
    """Rows with their weights (rows x sets) at the end of their trial; `untreated` ones leave the arm by starting."""

    rows: Rows
    base: np.ndarray
    untreated: bool


def weighed(arm: Arm, through: Passing, way: str) -> tuple[np.ndarray, np.ndarray | None]:
    """Weights at the clock, and what they are multiplied with in each week (None: nothing), for a way of following."""
    stays, views, week = arm.untreated and way != OR_LATER, way != WHILE_HERE, arm.rows.week
    base = arm.base * through.untreated_by.take(week, axis=0) if stays else arm.base
    base = base * through.in_view_by.take(week, axis=0) if views else base
    growing = {
        (True, True): through.both, (True, False): through.untreated, (False, True): through.in_view,
    }.get((stays, views))  # fmt: skip
    return base, growing


def arm_shares(arm: Arm, through: Passing, way: str = NOBODY_LEFT) -> Shares:
    """The shares of one arm by day."""
    return shares(arm.rows.ways[way], *weighed(arm, through, way))


def early_weight(arm: Arm, through: Passing) -> np.ndarray:
    """What rows with a known size at the early response weigh there."""
    early = arm.rows.early
    base, growing = weighed(arm, through, NOBODY_LEFT)
    return base[early.known] * growing[early.week[early.known]]


def early_share(arm: Arm, through: Passing, whole: Shares) -> np.ndarray:
    """The share closed or smaller by the plan's percentage at the early response, one a set."""
    return shares_smaller(arm.rows.early, early_weight(arm, through), whole)[at(arm.rows.early.percent)]


@dataclass(frozen=True, eq=False)
class Came:
    """What the rows of an arm came to, for each set: parts of an arm add up to the whole.

    `ways`: the sums by day; `steps`: the weight on each step of `Early.steps`; `weight`: that of all at their clocks.
    """

    ways: dict[str, Sums]
    steps: np.ndarray
    weight: np.ndarray

    def __add__(self, other: Came) -> Came:
        ways = {name: own + other.ways[name] for name, own in self.ways.items()}
        return Came(ways, self.steps + other.steps, self.weight + other.weight)


def came(arm: Arm, through: Passing, ways: tuple[str, ...] = WAYS) -> Came:
    """What an arm came to, followed in some of the WAYS."""
    told = {way: sums(arm.rows.ways[way], *weighed(arm, through, way)) for way in ways}
    return Came(told, arm.rows.early.steps @ early_weight(arm, through), arm.base.sum(axis=0))


def likeness(
    layout: Layout, sides: tuple[np.ndarray, np.ndarray], counts: np.ndarray, owner: np.ndarray | None,
    names: tuple[str, ...], begun: dict, key: str,
) -> tuple[Design, np.ndarray]:  # fmt: skip
    """How much like the first of two sides (weeks) the rows of both are: the design of both, and coefficients.

    `counts` as in `chances`.
    """
    rows = np.concatenate(sides)
    design = _design(key, layout, rows, names, begun)
    began = np.repeat([1.0, 0.0], [len(side) for side in sides])
    owner = rows if owner is None else owner[rows]
    return design, _fitted(key, design, began, counts, RIDGE, begun, owner)


def odds(design: Design, found: np.ndarray) -> np.ndarray:
    """The odds of being one of the first side: rows x sets."""
    return np.exp(np.clip(design.times(found), -30, 30))


def part(rows: Rows, mask: np.ndarray) -> Rows:
    """The rows of a mask alone."""
    if mask.all():
        return rows
    ways = {name: take(way, mask) for name, way in rows.ways.items()}
    return Rows(rows.week[mask], rows.whole[mask], ways, rows.early.take(mask))


def worth(layout: Layout, arm: Arm, through: Passing) -> float:
    """How many residents an arm is worth at the horizon, as the start model expects it.

    Each row weighs what it does at its clock; whether it will still be untreated at the horizon is not looked up but
    expected: 1 / (chance of staying so long) is what its square will be multiplied with. Weights that were realised say
    too much: where hardly anybody like the starters stays untreated, the heaviest weights are those of rows that were
    lost, and the ones that remain look even.
    """
    owner = layout.owner[arm.rows.week]
    at_clock = arm.base[:, 0]
    stays = staying_chance(layout, arm, through)
    total = np.bincount(owner, at_clock)
    spread = np.bincount(owner, at_clock / np.maximum(stays, 1e-6))
    return float(total.sum() ** 2 / np.sum(total * spread)) if total.any() else 0.0


def staying_chance(layout: Layout, arm: Arm, through: Passing) -> np.ndarray:
    """The chance of each row to stay untreated from its clock to the horizon or to its end; one for starters.

    Of a wound that started on the way, the weeks it did not live untreated are taken to be like those it did.
    """
    if not arm.untreated:
        return np.ones(len(arm.rows.week))
    rows, week = arm.rows.ways[NOBODY_LEFT], arm.rows.week
    last = week.copy()
    last[rows.row] = rows.week  # pieces stand in the order of days: the last one stays
    log_by = np.log(through.untreated_by[:, 0])
    lived = log_by[last] - log_by[week]
    ends = layout.weeks["ends"].to_numpy()
    left = np.where(arm.rows.whole, 0, layout.horizon - (ends[last] - ends[week])) / WEEK
    return np.exp(lived + np.maximum(left, 0) * lived / np.maximum((ends[last] - ends[week]) / WEEK, 1))
