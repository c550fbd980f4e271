"""The same question answered in other ways: rows beside the main answer, never in its place."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.answers import Answers, people_of
from kit.healing.comparison import EARLY
from kit.healing.cox import leans
from kit.healing.other_arms import Other, Redrawn, Sample, closed_by, in_points, redrawn, sampled
from kit.healing.other_designs import (
    between_rounds,
    by_regression,
    ever_and_never,
    open_at_landmark,
    since_entry,
    within_person,
)
from kit.healing.resampling import SEED, resident_draws
from kit.healing.trials import Weeks
from kit.plan import Plan
from kit.words import count

DRAWS = 400  # enough for limits of rows that decide nothing
POINTS, RATIO = "points of 100 wounds", "hazard ratio"
NOT_MADE = "the comparison is not made"
ONLY_CLOSING = "it can only be told of closing, and the answer is about getting smaller"
NO_NUMBER = "the answer itself has no number"
ANSWER, HERE, LATER, AGAIN, ALIKE, LEVELLED, REGRESSION, LANDMARK, BETWEEN, WITHIN, WRONG = WAYS = (
    "as in the answer",
    "leaving counted as not closed",
    "started now against started later or never",
    "closed at two rounds",
    "wounds that nobody resembled left out",
    "adjusted twice",
    "time-dependent regression",
    "those open at week 4, by whether they had started",
    "closing anywhere between last open and first closed",
    "within the same person",
    "ever treated against never treated (the wrong way)",
)
SAYS = {
    ANSWER: "Those who started stand beside those like them who could have been started and were not, as if nobody had "
    "left the building.",
    HERE: "A wound that leaves the building counts as not closed, which lowers both shares: it errs towards no "
    "difference, and against the side from which more leave.",
    LATER: "Those beside are followed on when they start later, so that some of what a modality does counts for both "
    "sides: it errs towards no difference, the more so the more start later.",
    AGAIN: "A closing counts only where a round two weeks later or more says closed again; charts often stop at "
    "closing, so it loses closings on both sides, errs towards no difference, and favours the side whose closed wounds "
    "are looked at for longer.",
    ALIKE: "Wounds that started though none beside was like them, and wounds beside that were like none that started, "
    "are left out: it errs neither way for those who are left, and says nothing of the others.",
    LEVELLED: "What the charts held is levelled a second time, by a straight line through those beside: it makes good "
    "what the weights leave uneven, and errs either way only where weights and line are both wrong.",
    REGRESSION: "The rate of closing after the first session over the rate before any, levelled for size at the first "
    "measurement alone: where wounds that do badly are the ones that start, it errs too low.",
    LANDMARK: "Wounds closed or gone in the first four weeks are left out, nothing is levelled, and whoever starts "
    "later counts as not started: where wounds that do badly are the ones that start, it errs too low.",
    BETWEEN: "A closing lies somewhere after the last round that saw the wound open and counts once it is certain: "
    "both shares are the smallest that fit, so that it errs against the side that was measured less often.",
    WITHIN: "Two wounds of one person, one started and one not, stand beside each other, so that nothing of the person "
    "differs: where the harder wound is the one that starts, it errs too low.",
    WRONG: "Shown so that the difference is seen, and not to be used: a wound that closes early never starts, so that "
    "the two sides are sorted by what came later",
}  # fmt: skip


def other_answers(
    answers: Answers,
    weeks: Weeks,
    episodes: pd.DataFrame,
    measurements: pd.DataFrame,
    plan: Plan,
    draws: int = DRAWS,
    seed: int = SEED,
) -> pd.DataFrame:
    """Any modality beside none, answered in eleven ways: one row each, always all of them, in the order of WAYS.

    Columns out: way, unit ("points of 100 wounds": 100 times a difference of shares at the answer's horizon; or "hazard
    ratio"), amount, low, high (95%; the first three rows with the answer's draws, the others with `draws` of the same
    residents), rests_on (counts in words), not_computed (why there is no number, else ""), says (how the way differs
    and to which side it errs).

    Where the answer is not told no row has a number; where it is about the early response only those that make sense
    for it have one. The regression takes all facilities, the other rows those that are compared.
    """
    told = answers.told.iloc[0]
    if not told["is_told"]:
        found = dict.fromkeys(WAYS, Other(not_computed=NOT_MADE))
    elif not np.isfinite(told[f"{answers.measure}_difference"]):
        found = dict.fromkeys(WAYS, Other(not_computed=NO_NUMBER))
    else:
        found = _found(answers, weeks, episodes, measurements, plan, draws, seed)
    return pd.DataFrame([_row(way, found) for way in WAYS])


def _row(way: str, found: dict[str, Other]) -> dict:
    other = found[way]
    return {
        "way": way,
        "unit": RATIO if way == REGRESSION else POINTS,
        "amount": other.value,
        "low": other.low,
        "high": other.high,
        "rests_on": other.rests_on,
        "not_computed": other.not_computed,
        "says": SAYS[way] if way != WRONG else SAYS[way] + _leaning(other, found[ANSWER]),
    }


def _leaning(wrong: Other, answer: Other) -> str:
    """To which side the wrong way errs: read off the two numbers, never taken for granted."""
    if wrong.not_computed or answer.not_computed:
        return "."
    lean = leans(wrong.value, answer.value, good=True)
    return f"; beside the answer it is here {lean}{' to starting' if lean != 'the same' else ''}."


def _found(
    answers: Answers,
    weeks: Weeks,
    episodes: pd.DataFrame,
    measurements: pd.DataFrame,
    plan: Plan,
    draws: int,
    seed: int,
) -> dict[str, Other]:
    layout = answers.layout
    drawn = np.hstack([np.ones((len(layout.people), 1)), resident_draws(layout.people, draws, seed)])
    sample, worth = sampled(layout, measurements, plan), people_of(answers.told.iloc[0])
    again = redrawn(sample, drawn)
    found = dict.fromkeys(WAYS, Other(not_computed=ONLY_CLOSING))
    found |= {ANSWER: _as_told(answers, answers.measure), ALIKE: _alike(sample, again, worth)}
    if answers.measure == EARLY:
        return found
    own = since_entry(episodes, layout.weeks["wound"].unique())
    return found | {
        HERE: _as_told(answers, "here"),
        LATER: _as_told(answers, "later", f", of which {answers.told['started_later'].iloc[0]} started later"),
        AGAIN: _again(sample, again, worth),
        LEVELLED: _levelled(sample, again, worth),
        REGRESSION: by_regression(since_entry(episodes, weeks.weeks["wound"].unique())),
        LANDMARK: open_at_landmark(own, layout, drawn),
        BETWEEN: between_rounds(sample, episodes),
        WITHIN: within_person(layout, drawn),
        WRONG: ever_and_never(own, layout, drawn),
    }


def _as_told(answers: Answers, name: str, more: str = "") -> Other:
    told = answers.told.iloc[0]
    value, low, high = (100 * float(told[f"{name}_{part}"]) for part in ("difference", "low", "high"))
    return Other(value, low, high, f"{_wounds(told['starters'])} and {told['others']} beside{more}")


def _wounds(number: int) -> str:
    return f"{count(int(number), 'wound')} that started"


def _alike(sample: Sample, again: Redrawn, people: tuple[int, int]) -> Other:
    first, second = sample.alike
    wound = sample.layout.weeks["wound"].to_numpy()
    beside = [np.unique(wound[rows]) for rows in (sample.both[1].rows.week[second], sample.both[1].rows.week)]
    rests_on = f"{first.sum()} of {_wounds(len(first))} and {len(beside[0])} of {len(beside[1])} beside"
    return in_points(again.alike, people, rests_on)


def _again(sample: Sample, again: Redrawn, people: tuple[int, int]) -> Other:
    """Not where fewer closings than the plan asks for were seen again: charts stopped at closing, and that is all."""
    wound, layouts = sample.layout.weeks["wound"].to_numpy(), (sample.layout, sample.again)
    once, twice = (
        len(np.unique(np.concatenate([wound[rows.week[closed_by(rows)]] for rows in (layout.starters, layout.others)])))
        for layout in layouts
    )
    rests_on, needed = f"{twice} of {count(once, 'closing')}, seen closed again", sample.layout.plan.comparison.closings
    if twice < needed:
        return Other(rests_on=rests_on, not_computed=f"{count(twice, 'closing')} seen twice, {needed} are needed")
    return in_points(again.again, people, rests_on)


def _levelled(sample: Sample, again: Redrawn, people: tuple[int, int]) -> Other:
    starters, others = (arm.rows for arm in sample.both)
    beside = len(np.unique(sample.layout.weeks["wound"].to_numpy()[others.week[others.whole]]))
    rests_on = f"{_wounds(len(starters.week))} and {beside} beside, followed to the horizon or to their end"
    return in_points(again.levelled, people, rests_on)
