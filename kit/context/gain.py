"""What is read off draws of gain and money: ranges, net benefit, the plane, and what it would take to pay."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.context.costs import FIXED, LACKING, VARIABLE
from kit.context.plane import LESS_FEWER as SAVES_FEWER
from kit.context.plane import MORE_MORE as COSTS_MORE
from kit.context.plane import QUADRANTS, curve, fieller, quadrants, reach, region, within
from kit.context.resources import ORDERED, Resources
from kit.healing.resampling import Z, correlation, mover, widened
from kit.plan import Plan

PARTS = ("closed", "weeks", VARIABLE, "dressings", FIXED, "treatment", "saved", "money", "net_benefit")
MISSING = (np.nan,) * 4


@dataclass(frozen=True, eq=False)
class Drawn:
    """Numbers for a started wound, each with the whole sample's first and then a draw of residents each.

    `spent`: money by kind (variable, dressings, fixed), as `kit.context.costs` parts it; `closed` and `weeks`: extra
    share closed by the horizon, and weeks closed sooner; `closed_range` and `weeks_range`: their limits as the
    comparison tells them; `people`: residents of the smaller arm. Without a comparison only `spent` is there.
    """

    spent: dict[str, np.ndarray]
    starters_residents: int
    closed: np.ndarray | None = None
    weeks: np.ndarray | None = None
    closed_range: tuple[float, float] = (np.nan, np.nan)
    weeks_range: tuple[float, float] = (np.nan, np.nan)
    people: int = 0


@dataclass(frozen=True, eq=False)
class Worth:
    """What a started wound gained and cost, beside having started none.

    `why`: why gain and money are not set beside each other; blank where they are. `at_least`: something that was spent
    has no amount, so that money is more than told. `left_out`: what the money does not hold. `parts`: part (closed:
    extra share closed; weeks: closed sooner; variable, dressings, fixed and their sum, treatment; saved on dressings;
    money: treatment less saved; net_benefit), amount, low, high, error; without a comparison the treatment alone.
    `draws`: extra_closed, extra_money, a row a draw; `region`: the edge of what holds 95% of both; `quadrants`:
    quadrant, of_draws (share), whole_region (it lies there and nowhere else); `pays_share`: share of draws with a net
    benefit above nought; `curve`: the same over what a closing is worth. `ratio`: money for each extra closing with its
    limits, missing unless the whole region lies where that means something. `break_even`: pays_by ("closings", of 100
    started; "weeks" of dressing changes saved, where they are ordered), amount, low, high, most (that there can be): it
    needs no effect.
    """

    why: str
    at_least: bool
    left_out: tuple[str, ...]
    parts: pd.DataFrame
    draws: pd.DataFrame
    region: pd.DataFrame
    quadrants: pd.DataFrame
    pays_share: float
    curve: pd.DataFrame
    ratio: tuple[float, float, float]
    break_even: pd.DataFrame


def settle(drawn: Drawn, taken: Resources, plan: Plan, why: str = "", left_out: tuple[str, ...] = ()) -> Worth:
    """Everything that is read off the draws; `why` where they hold no gain. Columns and units as `Worth` has them."""
    people = drawn.starters_residents
    treatment = sum(drawn.spent.values())
    rows = {name: _by_spread(values, people) for name, values in {**drawn.spent, "treatment": treatment}.items()}
    if not np.isfinite(taken.wounds["device_months"]).any():
        rows[FIXED] = MISSING
    if taken.wounds["dressings_unsaid"].sum() and not taken.wounds["dressings_beyond"].sum():
        rows["dressings"] = MISSING
    even = _break_even(rows["treatment"], taken, plan)
    if why:
        return _untold(why, taken, left_out, rows, even)
    money = _gained(drawn, treatment, rows, taken, plan)
    return replace(_told(drawn, money, rows, even, plan), at_least=_lacks(taken), left_out=left_out)


def _gained(drawn: Drawn, treatment: np.ndarray, rows: dict, taken: Resources, plan: Plan) -> np.ndarray:
    """The extra money of each draw; adds what was gained, saved and is left of it to `rows`."""
    week = taken.changes_a_week * plan.costs.dressing if taken.changes_from else 0.0
    each, saved = plan.costs.willingness_to_pay, drawn.weeks * week
    money = treatment - saved
    rows["closed"], rows["weeks"] = _of(drawn.closed, drawn.closed_range), _of(drawn.weeks, drawn.weeks_range)
    rows["saved"] = _of(saved, tuple(week * end for end in drawn.weeks_range))
    rows["money"] = _less(treatment, rows["treatment"], saved, rows["saved"])
    gain = _of(each * drawn.closed, tuple(each * end for end in drawn.closed_range))
    rows["net_benefit"] = _less(each * drawn.closed, gain, money, rows["money"])
    rows["saved"] = rows["saved"] if taken.changes_from else MISSING
    return money


def _by_spread(values: np.ndarray, people: int) -> tuple[float, float, float, float]:
    """Amount, low, high and standard error of money, which is skewed and never below nought: limits of its logarithm.

    As many errors to either side as so few residents ask for. With limits of the amount itself the range holds the mean
    in 91 to 93 of 100 tries at 15 residents; with these in 93 to 95.
    """
    amount, error = float(values[0]), _error(values)
    if not amount > 0:
        return amount, amount, amount, error
    away = np.exp(widened(Z, people) * error * np.sqrt(people / max(people - 1, 1)) / amount)
    return amount, float(amount / away), float(amount * away), error


def _error(values: np.ndarray) -> float:
    known = values[1:][np.isfinite(values[1:])]
    return float(known.std()) if len(known) else np.nan


def _of(values: np.ndarray, limits: tuple[float, float]) -> tuple[float, float, float, float]:
    return float(values[0]), float(limits[0]), float(limits[1]), _error(values)


def _less(first: np.ndarray, one: tuple, second: np.ndarray, other: tuple) -> tuple[float, float, float, float]:
    """A difference of two numbers from the limits of each and how their draws go together.

    Limits between which draws lie are too narrow in small groups (see `kit.healing.resampling`); these keep those
    that the comparison itself has (MOVER: Zou & Donner 2008, Stat Med 27:1693).
    """
    known = np.isfinite(first) & np.isfinite(second)
    together = correlation(first[known][1:], second[known][1:])
    low, high = mover((first[0], second[0]), one[1:3], other[1:3], together)
    return float(first[0] - second[0]), low, high, _error((first - second)[known])


def _told(drawn: Drawn, money: np.ndarray, rows: dict, even: pd.DataFrame, plan: Plan) -> Worth:
    both = np.stack([drawn.closed, money])
    draws = both[:, 1:][:, np.isfinite(both[:, 1:]).all(axis=0)]
    where, each = _quadrant(rows, draws, drawn.people), plan.costs.willingness_to_pay
    return Worth(
        why="",
        at_least=False,
        left_out=(),
        parts=_parts(rows),
        draws=pd.DataFrame({"extra_closed": draws[0], "extra_money": draws[1]}),
        region=region((both[0, 0], both[1, 0]), draws, drawn.people),
        quadrants=_places(draws, where),
        pays_share=float((each * draws[0] - draws[1] > 0).mean()),
        curve=curve(draws[0], draws[1], _worths(both[:, 0], each)),
        ratio=_ratio(where, rows, draws, widened(Z, drawn.people)),
        break_even=even,
    )


def _worths(middle: np.ndarray, each: float) -> np.ndarray:
    """Worths of a closing from nought to well beyond the plan's, and beyond what pays, if that is not far away."""
    pays = 2 * middle[1] / middle[0] if middle[0] > 0 else 0.0
    return np.linspace(0, max(3 * each, min(pays, 20 * each or pays), 1.0), 61)


def _places(draws: np.ndarray, where: str) -> pd.DataFrame:
    shares = pd.Series(quadrants(*draws)).value_counts(normalize=True)
    rows = [(name, float(shares.get(name, 0.0)), name == where) for name in QUADRANTS]
    return pd.DataFrame(rows, columns=["quadrant", "of_draws", "whole_region"])


def _quadrant(rows: dict, draws: np.ndarray, people: int) -> str:
    """The quadrant that holds the whole region, and the ranges told beside it; blank where there is none."""
    away = reach(people) * draws.std(axis=1, ddof=1)
    ends = [
        (min(rows[name][0] - far, rows[name][1]), max(rows[name][0] + far, rows[name][2]))
        for name, far in zip(("closed", "money"), away, strict=True)
    ]
    return within(*ends)


def _ratio(where: str, rows: dict, draws: np.ndarray, width: float) -> tuple[float, float, float]:
    """Money for each extra closing (or saved for each one fewer), where the whole region says both more or both less.

    Where it costs less and more close, or more and fewer, a ratio orders nothing: both signs give the same number.
    """
    if where not in (COSTS_MORE, SAVES_FEWER):
        return (np.nan,) * 3
    money, closed = rows["money"][0], rows["closed"][0]
    return money / closed, *fieller(money, closed, np.cov(draws[::-1]), width)


def _lacks(taken: Resources) -> bool:
    wounds = taken.wounds
    return bool(wounds[list(LACKING)].sum().sum() or wounds["device_months"].isna().any())


def _break_even(treatment: tuple, taken: Resources, plan: Plan) -> pd.DataFrame:
    """How many more of 100 must close, or how many weeks sooner a wound must, to pay for treatment alone.

    Changes that were recorded may be too few, and then too many weeks would be asked for: only orders tell weeks.
    """
    week = taken.changes_a_week * plan.costs.dressing if taken.changes_from == ORDERED else np.nan
    ways = (("closings", plan.costs.willingness_to_pay / 100, 100.0), ("weeks", week, float(taken.horizon_weeks)))
    rows = [
        (way, *(np.array(treatment[:3]) / price if price > 0 else (np.nan,) * 3), most) for way, price, most in ways
    ]
    return pd.DataFrame(rows, columns=["pays_by", "amount", "low", "high", "most"])


def _parts(rows: dict) -> pd.DataFrame:
    told = [(name, *rows[name]) for name in PARTS if name in rows]
    return pd.DataFrame(told, columns=["part", "amount", "low", "high", "error"])


def _untold(why: str, taken: Resources, left_out: tuple[str, ...], rows: dict, even: pd.DataFrame) -> Worth:
    points = pd.DataFrame({"extra_closed": [], "extra_money": []}, dtype=float)
    places = _places(np.empty((2, 0)), "").head(0)
    line = pd.DataFrame({"closing_worth": [], "pays_share": []}, dtype=float)
    return Worth(why, _lacks(taken), left_out, _parts(rows), points, points, places, np.nan, line, (np.nan,) * 3, even)
