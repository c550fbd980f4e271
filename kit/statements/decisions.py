"""What the page proposes to discuss, by triggers that the plan wrote down before the numbers were seen."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.delivery.decisions import RECORD, TRAIN
from kit.delivery.shortfalls import given
from kit.healing.answers import Answers
from kit.healing.reach import Reach
from kit.plan import Plan
from kit.quarter import Activity
from kit.statements.comparing import level_of
from kit.statements.delivery import MATTERS
from kit.words import count, share, when

COLUMNS = ["trigger", "because", "proposes", "owner", "date"]
DECIDED_BY = (
    "Proposed for discussion by the plan's own triggers, not advice: the program's people decide, and write who does "
    "what by when."
)


@dataclass(frozen=True, eq=False)
class Reached:
    """What the triggers read: who could be started, fates of the sessions due (`kit.delivery.shortfalls.fates`), what
    was done in the quarter, and answers that may be told."""

    reach: Reach
    fates: pd.DataFrame
    done: Activity
    answers: Answers


def decisions(found: Reached, plan: Plan) -> pd.DataFrame:
    """Every trigger of the plan that is reached, in the order of `[triggers]`.

    Columns out: trigger, because (the number in words), proposes, owner and date (blank). Where none is, one row says
    so and proposes to keep.
    """
    rows = [row for trigger in TRIGGERS for row in trigger(found, plan)]
    nothing = ("none", "No trigger of the plan is reached.", "keep")
    told = pd.DataFrame(rows or [nothing], columns=COLUMNS[:3])
    return told.assign(owner="", date="")[COLUMNS]


def going_on(decided: pd.DataFrame, look: str) -> str:
    """Whether anything is proposed on going on with the program; `look` says which look at the question this is."""
    if set(decided["trigger"]) & {"too few", "supports", "leans worse"}:
        return look
    return f"Whether to go on is not proposed: these records do not say whether more closed, or fewer. {look}"


def _delivered(found: Reached, plan: Plan) -> list[tuple]:
    """What keeps sessions from being delivered decides what is proposed: training is trained, the rest is changed."""
    rows = found.fates
    due, full = rows["sessions"].sum(), rows.loc[rows["fate"] == "full", "sessions"].sum()
    if not due or 100 * full / due >= plan.triggers.delivered_below:
        return []
    lacking = rows[rows["decision"] != ""].groupby("decision")["sessions"].sum().sort_values(ascending=False)
    first = lacking.index[0] if len(lacking) else ""
    proposes = {TRAIN: "train", RECORD: "measure better"}.get(first, "change")
    shown = share(full, due)
    if shown == f"{plan.triggers.delivered_below:g}%":  # it rounds to what is asked, and is below it
        shown = f"{100 * full / due:.1f}%"
    said = f"{shown} of the {round(due)} sessions due {when(plan.cutoff)} reached the protocol's minutes; the "
    said += f"plan asks for {plan.triggers.delivered_below:.0f}%"
    why = f" What lacks is first a matter of {MATTERS[first]}." if first else ""
    ask = " Ask why before anybody is trained." if first == TRAIN else ""
    return [("delivered below", " ".join([f"{said}.", *below_asked(rows, plan)]) + f"{why}{ask}", proposes)]


def below_asked(rows: pd.DataFrame, plan: Plan) -> list[str]:
    """Which facilities delivered less than the plan asks for, in alphabetical order: a sentence; none of one facility.

    `rows`: a frame of `kit.delivery.shortfalls.fates`.
    """
    homes = given(rows)
    short = homes[100 * homes["full_share"] < plan.triggers.delivered_below]
    below = [f"{home.facility} {share(home.sessions_full, home.sessions_due)}" for home in short.itertuples()]
    if len(homes) < 2 or not below:
        return []
    rest = "; the others reach it" if len(below) < len(homes) else ""
    return [f"Below it: {', '.join(below)}{rest}."]


def each_below(rows: pd.DataFrame, plan: Plan) -> list[str]:
    """The same for a page on which nothing else says what the plan asks for."""
    asked = f"Of the sessions due the plan asks for {plan.triggers.delivered_below:g}% at the protocol's minutes."
    return [f"{asked} {below}" for below in below_asked(rows, plan)]


def _reach(found: Reached, plan: Plan) -> list[tuple]:
    could = found.reach
    if not could.wounds or 100 * could.started / could.wounds >= plan.triggers.reach_below:
        return []
    said = f"{could.started} of {count(could.wounds, 'wound')} that could have been started {when(plan.cutoff)} were "
    said += f"({share(could.started, could.wounds)}); "
    return [("reach below", f"{said}the plan asks for {plan.triggers.reach_below:.0f}%.", "change")]


def _harm(found: Reached, plan: Plan) -> list[tuple]:
    done = found.done
    if not done.asked or 100 * done.reactions / done.asked <= plan.triggers.harm_above:
        return []
    said = f"{done.reactions} reactions in {count(done.asked, 'session')} {when(plan.cutoff)}; "
    return [("harm above", f"{said}the plan's limit is {plan.triggers.harm_above:g} per 100.", "pause for review")]


def _compared(found: Reached, plan: Plan) -> list[tuple]:
    """Leaning worse and leaning better are asked in the same words, by the same rule."""
    row = found.answers.told.iloc[0].to_dict()
    if not row["is_told"]:
        return [("too few", row["withheld_for"] or "Too few can be compared.", plan.triggers.too_few)]
    if level_of(row, found.answers.measure) not in ("consistent with", "supports"):
        return []
    more = row[f"{found.answers.measure}_difference"] > 0
    word, proposes = ("more", plan.triggers.supports) if more else ("fewer", plan.triggers.leans_worse)
    name = "supports" if more else "leans worse"
    return [(name, f"The whole range of the comparison says {word} of 100 closed after starting.", proposes)]


def _trust(found: Reached, plan: Plan) -> list[tuple]:
    done = found.done
    if not done.weeks_in_view or 100 * done.weeks_measured / done.weeks_in_view >= plan.triggers.trust_below:
        return []
    said = (
        f"{share(done.weeks_measured, done.weeks_in_view)} of wound weeks {when(plan.cutoff)} were measured in time; "
    )
    return [("trust line below", f"{said}the plan asks for {plan.triggers.trust_below:.0f}%.", "measure better")]


TRIGGERS = (_delivered, _reach, _harm, _trust, _compared)
