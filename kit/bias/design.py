"""How the comparison is made: what it cannot see, how often it was looked at, and what the wrong way would claim."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.evidence import (
    CARE,
    DETRACTS,
    FACT,
    FLATTERS,
    NOT_KNOWN,
    NOTE,
    PRACTICE,
    SHOWN,
    Check,
    Evidence,
    Warned,
    not_computed,
)  # fmt: skip
from kit.healing.comparison import CLOSED, any_modality, draw_all
from kit.healing.cox import leans
from kit.healing.emulation import Layout
from kit.healing.other_answers import ANSWER, WRONG
from kit.healing.other_designs import closed_shares, since_entry
from kit.healing.resampling import SEED, Z, resident_draws
from kit.plan import Plan
from kit.words import count, day, share
from kit.wounds.episodes import OPEN

UNDER_BASIS = "not computable under this basis"
RUNNING_ABOVE = 0.1  # of the wounds that started; common practice, no source
WORTH_BELOW = 0.1  # of those beside; clean invented facilities lie between 0.11 and 0.47 with 40 starters
POINTS_APART = 5  # of 100 wounds; common practice, no source
DRAWS = 100  # enough for the spread of a difference that decides a note
SEVERAL_FROM = 10  # residents with more than one wound, for how alike theirs are; common practice, no source


def running(evidence: Evidence) -> Warned:
    """Wounds already treated when first measured, of all that started: number is their share (0 to 1)."""
    seen = evidence.study.episodes
    started = int((seen["in_cohort"] & seen["start_day"].notna()).sum())
    if not started:
        return not_computed("no wound started")
    ran = evidence.weeks.running
    says = f"Of {count(started, 'wound')} that started {ran} ({share(ran, started)}) were already treated when first "
    return Warned(ran / started, RUNNING_ABOVE, ran / started > RUNNING_ABOVE, says=f"{says}measured.")


def one_facility(evidence: Evidence) -> Warned:
    """Only one facility is compared: number is how many are, threshold how many tell a modality from a house."""
    homes = evidence.answers.layout.weeks["facility"].nunique()
    if not homes:
        return not_computed("no facility is compared")
    return Warned(float(homes), 2.0, homes < 2, says=f"Facilities that are compared: {homes}.")


def no_calendar(evidence: Evidence) -> Warned:
    """The export shares no calendar: number is 1 where it does not, else 0."""
    without = evidence.study.plan.cutoff is None
    says = "The days of one person cannot be told beside those of another." if without else "Days share one calendar."
    return Warned(float(without), 0.0, without, says=says)


def looks(evidence: Evidence) -> Warned:
    """How often the question was looked at: number counts quarters, this one too; threshold those the plan foresees.

    A plan foresees every look up to the quarter that decides, and none where it names none.
    """
    plan = evidence.study.plan
    if plan.cutoff is None:
        return not_computed(UNDER_BASIS)
    ends = {int(end) for end in evidence.earlier["quarter_ends"].dropna()} | {plan.cutoff}
    so_far = [end for end in ends if end <= plan.cutoff]
    foreseen = 0 if plan.decides is None else sum(end <= plan.decides for end in so_far)
    says = f"This is look {len(so_far)} at the question; {_decided(plan)}."
    return Warned(float(len(so_far)), float(foreseen), len(so_far) > foreseen, says=says)


def _decided(plan: Plan) -> str:
    if plan.decides is None:
        return "the plan names no quarter that decides"
    tense = (
        "decided with the quarter that ended" if plan.decides < plan.cutoff else "decides with the quarter that ends"
    )
    return f"the plan {tense} on {day(plan.decides, plan)}"


def plan_edited(evidence: Evidence) -> Warned:
    """The plan's rules are others than in the last earlier quarter's report: number is 1 where they are, else 0.

    The windows move every quarter by themselves and are no rules (`Plan.rules`, which is what `earlier.plan` holds).
    """
    plan = evidence.study.plan
    if plan.cutoff is None:
        return not_computed(UNDER_BASIS)
    before = evidence.earlier[evidence.earlier["plan"].notna() & (evidence.earlier["quarter_ends"] < plan.cutoff)]
    if before.empty:
        return not_computed("there is no report of an earlier quarter")
    last = before.sort_values("quarter_ends", kind="stable").iloc[-1]
    edited = last["plan"] != plan.rules
    says = f"The plan's rules are {'no longer ' if edited else ''}those of the report on the quarter that ended on "
    return Warned(float(edited), 0.0, edited, says=f"{says}{day(int(last['quarter_ends']), plan)}.")


def immortal(evidence: Evidence) -> Warned:
    """What ever treated against never treated would have claimed, less the answer: number in points of 100 wounds.

    Whoever closes early never starts, so that the weeks before a start are sure to hold no closing (Suissa 2008, Am J
    Epidemiol 167:492, from memory). The threshold is 5 points, or 1.96 standard errors of the difference of the two,
    had from the same draws of residents, if that is more. The direction is read off the two, never taken for granted.
    """
    ways = evidence.others.set_index("way")
    wrong, answer = ways.loc[WRONG], ways.loc[ANSWER]
    if why := answer["not_computed"] or wrong["not_computed"]:
        return not_computed(why)
    naive, aligned = float(wrong["amount"]), float(answer["amount"])
    threshold = max(POINTS_APART, 100 * Z * _error_apart(evidence.answers.layout, evidence.study.episodes))
    says = f"The answer says {_points(aligned)} of 100 wounds closed; ever treated against never treated would say "
    gap, way = naive - aligned, pushes(naive, aligned)
    return Warned(gap, threshold, abs(gap) > threshold, way, f"{says}{_points(naive)}.")


def _points(amount: float) -> str:
    return f"{abs(round(amount))} {'fewer' if round(amount) < 0 else 'more'}"


def _error_apart(layout: Layout, episodes: pd.DataFrame) -> float:
    """The standard error of the wrong way less the answer, as a share, over draws of the same residents."""
    asked, drawn = any_modality(layout), resident_draws(layout.people, DRAWS, SEED)
    first, second = draw_all(layout, [asked], DRAWS, SEED, brief=True)[asked.key].numbers[CLOSED][:, 1:]
    wounds = since_entry(episodes, layout.weeks["wound"].unique())
    ever = wounds[wounds["start"] < wounds["last"]]
    ever = ever.assign(days=ever["last"] - ever["start"].astype(np.int64))
    never = wounds[np.isinf(wounds["start"])]
    one, none = (closed_shares(group, layout, drawn) for group in (ever, never.assign(days=never["last"])))
    return float(np.nanstd(one - none - first + second))


def pushes(naive: float, aligned: float, good: bool = True) -> str:
    """Which way a naive number would push, read off it and the aligned one; `good` where the event is wished for."""
    told = {"too favourable": FLATTERS, "too unfavourable": DETRACTS, "the same": NOT_KNOWN}
    return told[leans(naive, aligned, good)]


def low_worth(evidence: Evidence) -> Warned:
    """How many residents those beside are worth once weighted, of how many they are: number is that share (0 to 1).

    Kish 1965, Survey Sampling, section 11.7, from memory; `kit.healing.emulation.worth` tells how it is had.
    """
    told = evidence.answers.told.iloc[0]
    people, worth = int(told["others_residents"]), float(told["effective_residents"])
    if not people:
        return not_computed("nobody stands beside")
    says = f"The {count(people, 'resident')} beside are worth {worth:.0f} once they are weighted to be like those who "
    return Warned(
        worth / people, WORTH_BELOW, worth / people < WORTH_BELOW, says=f"{says}started ({share(worth, people)})."
    )


def clustered(evidence: Evidence) -> Warned:
    """How many times more wounds are needed because some are of one person: number is the design effect."""
    layout = evidence.answers.layout
    own = layout.weeks.iloc[np.concatenate([layout.starters.week, layout.others.week])].drop_duplicates("wound")
    own = own[own["outcome"] != OPEN]
    wounds = own.groupby("resident").size()
    if (wounds > 1).sum() < SEVERAL_FROM:
        return not_computed(f"{count(int((wounds > 1).sum()), 'resident')} with several wounds, ten are needed")
    alike = likeness((own["outcome"] == "closed").to_numpy(dtype=float), own["resident"].to_numpy())
    effect = design_effect(wounds.mean(), alike, wounds.std(ddof=0) / wounds.mean())
    says = (
        f"{count(len(own), 'wound')} that are over, {wounds.mean():.1f} a resident and {alike:.2f} alike (of 1), say "
    )
    return Warned(effect, says=f"{says}as much as {len(own) / effect:.0f} of as many residents.")


def design_effect(mean: float, icc: float, cv: float = 0.0) -> float:
    """By how much a variance grows where `mean` wounds a resident are `icc` alike: 1 + ((cv^2 + 1) mean - 1) icc.

    `cv`: standard deviation of wounds a resident over their mean. Eldridge, Ashby & Kerry 2006, Int J Epidemiol
    35:1292, from memory.
    """
    return 1 + ((cv**2 + 1) * mean - 1) * icc


def likeness(values: np.ndarray, owner: np.ndarray) -> float:
    """The intraclass correlation of values of one owner, by analysis of variance, kept within 0 and 1.

    Donner 1986, Int Stat Rev 54:67, from memory. 0 where all values are the same.
    """
    by = pd.Series(values).groupby(owner).agg(["size", "mean", "var"])
    people, rows, middle = len(by), len(values), values.mean()
    between = (by["size"] * (by["mean"] - middle) ** 2).sum() / (people - 1)
    within = ((by["size"] - 1) * by["var"].fillna(0)).sum() / (rows - people)
    total = between + ((rows - (by["size"] ** 2).sum() / rows) / (people - 1) - 1) * within
    return float(np.clip((between - within) / total, 0, 1)) if total > 0 else 0.0


CHECKS: dict[str, Check] = {
    "running": Check(
        running, FACT, "Were wounds already treated when first measured?", NOTE, PRACTICE,
        "Let the export reach further back, so that measurements begin before the first session.",
    ),
    "one_facility": Check(
        one_facility, FACT, "Does the answer rest on one facility?", NOTE, PRACTICE,
        "Compare further facilities before it is taken to hold elsewhere.",
    ),
    "no_calendar": Check(
        no_calendar, FACT, "Do all days stand on one calendar?", NOTE, PRACTICE,
        "Ask the privacy officer whether an export with dates can be had under another basis.",
    ),
    "looks": Check(
        looks, FACT, "Is it settled which quarter decides?", NOTE, PRACTICE,
        "Write into the plan which coming quarter decides, and take all others as looks on the way.",
    ),
    "plan_edited": Check(
        plan_edited, FACT, "Was the plan changed since the last quarter?", CARE, PRACTICE,
        "Write down what was changed and why, and make the last quarter's report again under the new plan.",
    ),
    "immortal": Check(
        immortal, FACT, "What would ever treated against never treated have claimed?", NOTE,
        "Suissa 2008, Am J Epidemiol 167:492 (from memory); 5 points: " + PRACTICE,
        "Do not set those ever treated beside those never treated; use the answer.",
    ),
    "low_worth": Check(
        low_worth, FACT, "Were those beside like those who started?", NOTE,
        "Kish 1965, Survey Sampling (from memory); a tenth: " + PRACTICE,
        "Look at the table of what charts held of both groups: few of those beside resemble the starts.",
    ),
    "clustered": Check(
        clustered, SHOWN, "How much do several wounds of one person take away?", NOTE,
        "Eldridge, Ashby & Kerry 2006, Int J Epidemiol 35:1292 (from memory)",
        "Nothing: ranges are had from whole residents drawn again, which holds it already.",
    ),
}  # fmt: skip
