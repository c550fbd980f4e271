"""What the next quarter could show: what was too small to see, until when, what to start by lot, what to mend."""

from __future__ import annotations

import math

import pandas as pd

from kit.context.could_have_seen import CLOSED, MOST_STARTS, schoenfeld
from kit.context.staggered import SEED, TOGETHER
from kit.healing.answers import Answers
from kit.healing.comparison import ANY, NONE
from kit.plan import Plan
from kit.words import count, day

NOT_OBSERVED = (
    "What was observed so far is not in this reckoning: a difference that came out by chance would make the next one "
    "look easier to see than it is."
)
BY_LOT = (
    "A staggered start lets everybody begin in the end; who begins first is drawn by lot, and written down before. It "
    "needs the facility's own review of what may be delayed; nobody waits for what a clinician has ordered for them."
)
OF_ALL = (
    "These are differences among all wounds that could be started, in units that have begun and units that wait: where "
    "one wound in three is started, what starting does shows there to a third."
)
MOST = 3  # of the unknowns that are told in sentences; the table has all
RATIO = 1.5  # of hazards, for a second opinion


def seen(could: pd.DataFrame) -> list[str]:
    """The smallest difference that would have been seen, by measure, or why that cannot be told."""
    return [_seen(row) for row in could.to_dict("records")]


def _what(row: dict) -> str:
    what = "closed" if row["measure"] == CLOSED else "closed or clearly smaller"
    return f"{what} by week {row['horizon_weeks']}" if "horizon_weeks" in row else what


def _seen(row: dict) -> str:
    if row["not_computed"]:
        return f"What could have been seen of wounds {_what(row)} cannot be told: {row['not_computed']}."
    said = (
        f"A difference of {math.ceil(row['smallest'])} of 100 wounds {_what(row)} would have been seen four times in "
    )
    said += "five; smaller ones are missed more often than that. "
    rests = f"{count(row['starters'], 'start')}, and {count(row['residents'], 'resident')} on the smaller side"
    return f"{said}It rests on {rests}."


def when(told: pd.DataFrame, pace: dict[str, float], plan: Plan, points: int = 10) -> list[str]:
    """By which quarter so many points could be seen at this pace; takes `when_seen` and `pace_of`."""
    rows = told[told["points"] == points].to_dict("records")
    return [_pace(pace), *[_when(row, plan) for row in rows if not row["not_computed"] or row["starters_needed"] > 0]]


def _pace(pace: dict[str, float]) -> str:
    if not math.isfinite(pace["a_quarter"]):
        return "How many start in a quarter is not computable under this basis."
    starts = count(round(pace["a_quarter"]), "start")
    return f"So far {starts} a quarter could be compared (range {pace['low']:.0f} to {pace['high']:.0f})."


def _when(row: dict, plan: Plan) -> str:
    starts = f"about {row['starters_needed']:.0f}" if math.isfinite(row["starters_needed"]) else f"over {MOST_STARTS:,}"
    needed = f"{row['points']} of 100 wounds {_what(row)} need {starts} starts"
    if row["not_computed"]:
        return f"To see {needed}; the quarter is {row['not_computed']}."
    if not row["quarters"]:
        return f"To see {needed}: these records have as many already."
    ends = [f"{end:.0f}" if math.isfinite(end) else "never" for end in (row["quarters_low"], row["quarters_high"])]
    span = f"{count(int(row['quarters']), 'quarter')} from now (range {ends[0]} to {ends[1]})"
    said = f"To see {needed}: the quarter that ends on {day(row['cutoff'], plan)}, {span}, "
    return f"{said}if the plan then looks back {row['answer_months']} months."


def deciding(told: pd.DataFrame, plan: Plan) -> list[str]:
    """What the quarter that decides could see, under the plan as it stands; takes `seen_by_decision`."""
    return [
        f"The plan decides with the quarter that ends on {day(plan.decides, plan)}. At this pace "
        f"{math.ceil(row['smallest'])} of 100 wounds {_what(row)} could be seen then, from about {row['starters']} "
        "starts; a smaller difference would most likely be missed, and missing it would not say that there is none."
        for row in told.to_dict("records")
    ]


def second_opinion(answers: Answers) -> str:
    """How many closings a ratio of 1.5 needs, by Schoenfeld's formula, beside those there are.

    Blank where nothing is compared, or closing is not what is compared.
    """
    row, needs = answers.told.iloc[0], answers.needs
    own = needs[(needs["treated"] == ANY) & (needs["beside"] == NONE) & (needs["need"] == "closings")]
    whole = row["starters"] + row["others"]
    if not row["starters"] or not row["others"] or answers.measure != CLOSED:
        return ""
    needed = math.ceil(schoenfeld(RATIO, row["starters"] / whole))
    said = f"A second opinion by another reckoning (Schoenfeld 1981): closing {RATIO:g} times as fast needs {needed} "
    return f"{said}closings in both groups together to be seen; these records have {own['found'].iloc[0]:.0f}."


def staggered_said(told: pd.DataFrame, could: pd.DataFrame | None = None) -> list[str]:
    """What a staggered start could show, by how far apart units start; takes `kit.context.staggered.staggered`.

    `could`, of `could_have_seen`, sets what these records could see beside it.
    """
    can = told[told["not_computed"] == ""].to_dict("records")
    if not can:
        return [f"A staggered start cannot be reckoned: {told['not_computed'].iloc[0]}."]
    few = " So few units differ by chance more than this reckoning says." if can[0]["units"] < 6 else ""
    steps = [
        f"{row['step_weeks']} weeks apart {math.ceil(row['smallest'])} of 100 after {row['lasts_weeks']} weeks"
        for row in can
    ]
    units, turns = can[0]["units"], can[0]["steps"]
    way = "one after another" if turns == units else f"in {turns} turns, several at a time"
    said = f"Were {units} units started {way}, this could be seen: {'; '.join(steps)}"
    return [
        f"{said} (wounds of one unit taken to go together by {TOGETHER:g}; common practice, no source).{few}",
        *_beside_now(could),
        OF_ALL,
        BY_LOT,
    ]


def _beside_now(could: pd.DataFrame | None) -> list[str]:
    """What these records can see beside what a staggered start can; nothing where closing was not reckoned."""
    if could is None:
        return []
    own = could[(could["measure"] == CLOSED) & (could["not_computed"] == "")]
    if own.empty:
        return []
    return [
        f"As they are, these records could have seen {math.ceil(own['smallest'].iloc[0])} of 100. A staggered start "
        "that sees no more than they do still tells more: who begins first is nobody's choice."
    ]


def lot() -> str:
    """How the order was drawn."""
    return f"The order was drawn by lot with the number {SEED}; the same number and units draw it again."


def limited(told: pd.DataFrame) -> list[str]:
    """The unknowns that took most away, and what would mend each; takes `kit.context.limits.limits`."""
    rows = told.head(MOST).to_dict("records")
    if not rows:
        return ["Nothing that is asked here limited this quarter."]
    return [f"{row['says']} {row['helps']}" for row in rows]
