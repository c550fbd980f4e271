"""A staggered start by unit: everybody gets it in the end, in an order drawn by lot, and the wait is the comparison."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.context.could_have_seen import MANY
from kit.healing.answers import Answers
from kit.healing.trials import ELIGIBLE
from kit.plan import WEEK, Plan

SEED = 20260101  # of the lot; printed beside the order
STEP_WEEKS = 13  # a quarter
MOST_STEPS = 8  # of more units several start together, so that the last waits two years; common practice, no source
TOGETHER = 0.05  # intraclass correlation of wounds of one unit; common practice, no source
SHARE = 0.4  # closed by the horizon without it, where nothing is known; common practice, no source
WEEKS_A_MONTH = 365.25 / 12 / WEEK


def schedule(units: tuple[str, ...], first_day: int | None, step_weeks: int = STEP_WEEKS, seed: int = SEED):
    """The order in which units start, by lot: unit, step (from 1), starts_on (day; missing without a calendar).

    In the step before the first nobody has started; of more than MOST_STEPS units several start in one. The same seed
    and units give the same order.
    """
    order = np.random.default_rng(seed).permutation(sorted(units))
    steps = _crosses(len(order))
    days = [pd.NA] * len(order) if first_day is None else first_day + WEEK * step_weeks * steps
    return pd.DataFrame({"unit": order, "step": steps, "starts_on": pd.array(days, dtype="Int64")})


def design(units: int, steps: int = MOST_STEPS) -> np.ndarray:
    """Who has started when: units x periods of 0 and 1; one more period than steps, and nobody in the first."""
    return (np.arange(min(units, steps) + 1)[None, :] >= _crosses(units, steps)[:, None]).astype(float)


def _crosses(units: int, steps: int = MOST_STEPS) -> np.ndarray:
    """The step in which each unit starts, from 1: as many units in each as can be."""
    return 1 + np.arange(units) * min(units, steps) // max(units, 1)


def variance(started: np.ndarray, wounds: float, share: float, together: float = TOGETHER) -> float:
    """The variance of the difference of shares in such a design, in which every unit has so many wounds a period.

    `started` as `design` returns it; `share` the share closed, `together` the intraclass correlation of a unit's
    wounds. Closed form of Hussey & Hughes 2007, Contemp Clin Trials 28:182 (from memory; the tests hold it against
    generalized least squares): other wounds each period, a time of its own for each, units that differ at random.
    """
    units, periods = started.shape
    spread = share * (1 - share)
    within, between = (1 - together) * spread / wounds, together * spread
    u, w, v = started.sum(), (started.sum(axis=0) ** 2).sum(), (started.sum(axis=1) ** 2).sum()
    above = units * within * (within + periods * between)
    below = (units * u - w) * within + (u**2 + units * periods * u - periods * w - units * v) * between
    return float(above / below)


def detectable(started: np.ndarray, wounds: float, share: float, together: float = TOGETHER) -> float:
    """The smallest difference (points of 100) seen four times in five by such a design.

    Normal quantiles: with a handful of units it is too small, and the statements say so.
    """
    return float(100 * MANY * np.sqrt(variance(started, wounds, share, together)))


def staggered(answers: Answers, plan: Plan, units: int = 0, step_weeks: int = STEP_WEEKS) -> pd.DataFrame:
    """What a staggered start could show: a row for one, two and four quarters a step, units as given or as facilities.

    Columns out: units, step_weeks, steps, wounds (that could be started, a unit and step), lasts_weeks, smallest
    (points of 100), not_computed. `units`: so many wings or halls; else the facilities compared.
    """
    homes = answers.layout.weeks["facility"].nunique()
    number = units or homes
    wounds, share = _wounds_a_week(answers, plan), _share(answers)
    rows = [_row(number, times * step_weeks, wounds, share) for times in (1, 2, 4)]
    return pd.DataFrame(rows)


ONE_UNIT = "one unit alone cannot start before another: name wings or halls"
NO_WOUND = "no wound could have been started, or there is no calendar to count them by"


def _row(units: int, step_weeks: int, wounds: float, share: float) -> dict[str, object]:
    each, steps = wounds * step_weeks / units if units else np.nan, min(units, MOST_STEPS)
    why = ONE_UNIT if units < 2 else "" if each > 0 else NO_WOUND
    smallest = np.nan if why else detectable(design(units), each, share)
    return {
        "units": units, "step_weeks": step_weeks, "steps": steps, "wounds": each,
        "lasts_weeks": (steps + 1) * step_weeks, "smallest": smallest, "not_computed": why,
    }  # fmt: skip


def _wounds_a_week(answers: Answers, plan: Plan) -> float:
    """Wounds that could be started, a week, over the months that were compared; missing without a calendar."""
    could = answers.could.set_index("reason")["wounds"].get(ELIGIBLE, 0)
    return float(could / (plan.comparison.answer_months * WEEKS_A_MONTH)) if plan.cutoff is not None else np.nan


def _share(answers: Answers) -> float:
    """The share closed without it: of all wounds that could have been started, whichever side they stood on."""
    closed, rows = 0, np.concatenate([answers.layout.starters.week, answers.layout.others.week])
    own = answers.layout.weeks.iloc[rows].drop_duplicates("wound")
    if len(own):
        closed = ((own["outcome"] == "closed") & (own["end_day"] - own["ends"] <= answers.layout.horizon)).mean()
    return float(np.clip(closed, 0.1, 0.9)) if len(own) else SHARE
