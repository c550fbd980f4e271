"""What treatment gained beside what it cost, from the same draws of residents, where the difference may be told."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kit.context.costs import VARIABLE, known_weeks, mean_cost, money_by_week
from kit.context.gain import Drawn, Worth, settle
from kit.context.resources import Resources, resources
from kit.healing.answers import Answers, drawn_shares, people_of
from kit.healing.comparison import CLOSED
from kit.healing.resampling import resident_draws
from kit.plan import Plan
from kit.study import Study
from kit.warned import answers_of

# Of all sessions, so many may lack minutes, a set-up or a price before money is set beside gain; common practice.
UNSAID_MOST = 0.05
NOT_MADE = "the comparison is not told"
ONLY_EARLY = "the horizon that these records carry is that of the early response, and a worth is set on a closing"
UNPRICED = "more than one session in twenty lacks staff minutes, a set-up or a price, so too much money is missing"
NOBODY = "in some week it is known of nobody what treatment took"
NO_SAVINGS = "dressing changes saved once a wound is closed, since neither orders nor procedures say how many a week"
NO_FIXED = "devices, since months of different persons cannot be laid beside each other under this basis"
NO_DRESSINGS = "dressings taken down beyond those ordered, since no order says how many"


@lru_cache(maxsize=8)
def worth_of(study: Study) -> Worth:
    """Gain beside money of a study, as far as its answers may be told; made once."""
    answers = answers_of(study)
    return worth(answers, resources(study, answers), study.plan)


def worth(answers: Answers, taken: Resources, plan: Plan) -> Worth:
    """Gain beside money for a started wound, by the horizon, from the draws of the comparison itself.

    Both arms are as the comparison has them, had nobody left, and so is the money. Net benefit is what the extra
    closings are worth at the plan's `willingness_to_pay`, less the extra money (Stinnett & Mullahy 1998, Med Decis
    Making 18:S68). Dressing changes saved are the weeks closed sooner times changes a week. Prices and changes a week
    are taken as known; the ranges are of residents alone.
    """
    why = _why(answers, taken)
    drawn = _drawn(answers, taken, plan, told=not why)
    if not why and not all(np.isfinite(values[0]) for values in drawn.spent.values()):
        why, drawn = NOBODY, Drawn(drawn.spent, drawn.starters_residents)
    return settle(drawn, taken, plan, why, _left_out(taken))


def _why(answers: Answers, taken: Resources) -> str:
    row = answers.told.iloc[0]
    if not row["is_told"] or row["withheld_for"]:
        return row["withheld_for"] or NOT_MADE
    if answers.measure != CLOSED:
        return ONLY_EARLY
    return UNPRICED if _unsaid(taken) > UNSAID_MOST else ""


def _unsaid(taken: Resources) -> float:
    wounds = taken.wounds
    sessions = max(int(wounds["sessions"].sum()), 1)
    return float(wounds[["staff_unsaid", "sets_unsaid", "unpriced"]].sum().max() / sessions)


def _drawn(answers: Answers, taken: Resources, plan: Plan, told: bool) -> Drawn:
    people = taken.wounds["resident"].nunique()
    spent = _spent(answers, taken, plan)
    if not told:
        return Drawn(spent, people)
    row, horizon = answers.told.iloc[0], answers.horizon_weeks
    closed, sooner = (first - second for first, second in (drawn_shares(answers, name) for name in ("closed", "spent")))
    return Drawn(
        spent,
        people,
        closed=closed,
        weeks=horizon * sooner,
        closed_range=(row["closed_low"], row["closed_high"]),
        weeks_range=(horizon * row["spent_low"], horizon * row["spent_high"]),
        people=min(people_of(row)),
    )


def _spent(answers: Answers, taken: Resources, plan: Plan) -> dict[str, np.ndarray]:
    """Money for a started wound by kind, for the whole sample and each of the comparison's own draws of residents."""
    layout, amounts = answers.layout, money_by_week(taken, plan)
    if taken.wounds.empty:
        return {name: np.full(1, np.nan) for name in amounts}
    drawn = resident_draws(layout.people, answers.draws, answers.seed)
    counts = np.hstack([np.ones((len(layout.people), 1)), drawn])
    counts = counts[np.searchsorted(layout.people, taken.wounds["resident"].to_numpy(dtype=str))]
    known = known_weeks(taken, amounts[VARIABLE].shape[1])
    return {name: mean_cost(money, known, counts) for name, money in amounts.items()}


def _left_out(taken: Resources) -> tuple[str, ...]:
    wounds = taken.wounds
    if wounds.empty:
        return ()
    found = {
        NO_FIXED: not np.isfinite(wounds["device_months"]).any(),
        NO_DRESSINGS: bool(wounds["dressings_unsaid"].sum()),
        NO_SAVINGS: not taken.changes_from,
    }
    return tuple(words for words, holds in found.items() if holds)
