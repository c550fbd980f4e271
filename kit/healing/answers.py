"""The answers: which comparisons the data carry, each with its limits, and what is missing where they do not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from itertools import product

import numpy as np
import pandas as pd

from kit.healing.comparison import (
    ANY,
    BALANCE,
    CLOSED,
    FOLLOWED,
    NONE,
    Question,
    Weighed,
    balance,
    choose_horizon,
    draw_all,
    followed,
    measure,
    measured,
    questions,
    worth_of_others,
)
from kit.healing.contrasts import CAUSES
from kit.healing.emulation import Layout, Rows
from kit.healing.homes import homes_of
from kit.healing.reductions import by_percent, compared_medians
from kit.healing.resampling import DRAWS, SEED, Z, difference_limits, share_limits, simultaneous, widened
from kit.healing.trials import Weeks, eligibility, outside
from kit.plan import WEEK, Plan

MEASURES = ("closed", "spent", "early", "here", "later")
SMALLER = ("treated", "beside", "arm", "percent", "share", "low", "high")
TREATED, BESIDE = ARMS = "treated", "beside"
# What a comparison needs, in the order in which it is asked.
NEEDS = {
    "starters": "wounds that started",
    "starters_residents": "residents with a wound that started",
    "eligible_residents": "residents with a wound that could have been started",
    "effective_residents": "residents that those beside are worth",
    "closings": "wounds that closed, in both groups together",
    "followed_residents": "residents in each group whom the record follows to the horizon",
}
# Of the early response, which counts closed or smaller, and has to be measured.
EARLY_NEEDS = NEEDS | {
    "closings": "wounds that closed or shrank so far, in both groups together",
    "measured_residents": "residents in each group with a size, or closed, at the early response",
}


def named(needs: pd.DataFrame) -> dict[str, str]:
    """What each need of `needs` is called: the early response is measured, and counts more than closing."""
    return EARLY_NEEDS if (needs["need"] == "measured_residents").any() else NEEDS


@dataclass(frozen=True, eq=False)
class Answers:
    """What was compared and what it came to.

    `told`: a row a comparison, whether or not the data carry it (`is_told`); `needs`: what each needs and what was
    found; `states`: where 100 wounds of each arm stand at the horizon; `course`: the share closed by week, with ranges;
    `smaller`: the share closed or at least so many percent smaller at the early response, with ranges as wide as those
    of the comparison; `drawn`: the shares of both arms in every measure, of the whole sample (draw 0) and of each draw
    of residents; `balance`: what the chart held of starters and others, before and after weighting; `homes`: each
    facility's difference beside the group's; `outside`, `could`: starts that are not compared and why, untreated weeks
    that were no chance to start and why. `measure` is "closed", or "early" where the longest horizon that the data
    carry is that of the early response. `layout` is what the rows of sensitivity work on. Where a warning stops the
    comparison, `withheld` has taken its numbers out and `withheld_for` of `told` says why; else it is blank.
    """

    told: pd.DataFrame
    needs: pd.DataFrame
    states: pd.DataFrame
    course: pd.DataFrame
    balance: pd.DataFrame
    homes: pd.DataFrame
    outside: pd.DataFrame
    could: pd.DataFrame
    horizon_weeks: int
    measure: str
    draws: int
    seed: int
    layout: Layout
    smaller: pd.DataFrame
    drawn: pd.DataFrame


def withheld(answers: Answers, why: str) -> Answers:
    """The answers without any number that compares what wounds came to, because of what the warnings found.

    Without a reason they are the same. Counts of starts, what is missing, and what charts held of both arms remain.
    """
    if not why:
        return answers
    numbers = [name for name in answers.told if name.rpartition("_")[0] and name.rpartition("_")[2] in NUMBERS]
    told = answers.told.assign(is_told=False, withheld_for=why, **dict.fromkeys(numbers, np.nan))
    empty = {name: getattr(answers, name).head(0) for name in ("states", "course", "homes", "smaller", "drawn")}
    return replace(answers, told=told, **empty)


NUMBERS = ("treated", "beside", "difference", "low", "high", "error")


def answer(weeks: Weeks, measurements: pd.DataFrame, plan: Plan, draws: int = DRAWS, seed: int = SEED) -> Answers:
    """Every comparison of the plan: any modality, each regimen, and regimen against regimen.

    The horizon is fixed by weights and times at risk; then each comparison is asked for what it needs; only what has it
    is estimated. All differences are shares of the treated less shares beside, with 95% limits from whole residents
    drawn again; regimens, and pairs of regimens, have limits that hold side by side.
    """
    layout = choose_horizon(weeks.weeks, measurements, plan)
    asked = questions(layout, plan)
    begun: dict = {}
    needs = pd.concat([_needs(layout, question, plan, begun) for question in asked], ignore_index=True)
    carried = [question for question in asked if _of(needs, question)["met"].all()]
    found = draw_all(layout, carried, draws, seed, begun=begun) if carried else {}
    width = _widths(carried, found, measure(layout))
    rows = [_row(layout, question, needs, found.get(question.key), width.get(question.key, Z)) for question in asked]
    by_key = {question.key: row for question, row in zip(asked, rows, strict=True)}
    homes = set(layout.weeks["facility"])
    return Answers(
        told=pd.DataFrame(rows),
        needs=needs,
        states=_tables(carried, found, _states, ["treated", "beside", "arm", "state", "share"]),
        course=_tables(
            carried,
            found,
            partial(_course, by_key),
            ["treated", "beside", "arm", "week", "share", "low", "high"],
        ),
        balance=_tables(carried, found, partial(balance, layout), ["treated", "beside", *BALANCE]),
        homes=homes_of(layout, found.get(asked[0].key), plan),
        outside=outside(weeks, plan, layout.horizon, homes),
        could=eligibility(weeks.weeks, plan, layout.horizon, homes),
        horizon_weeks=layout.horizon // WEEK,
        measure=measure(layout),
        draws=draws,
        seed=seed,
        layout=layout,
        smaller=_tables(carried, found, partial(_smaller, by_key), list(SMALLER)),
        drawn=_tables(carried, found, _drawn, ["treated", "beside", "draw", *map("_".join, product(MEASURES, ARMS))]),
    )


def in_brief(
    layout: Layout, asked: list[Question], draws: int = DRAWS, seed: int = SEED
) -> list[tuple[pd.Series, pd.DataFrame]]:
    """Each question alone and in brief: its row of `told`, in which OTHERWISE is missing, and its needs."""
    begun: dict = {}
    needs = [_needs(layout, question, layout.plan, begun) for question in asked]
    carried = [question for question, own in zip(asked, needs, strict=True) if own["met"].all()]
    found = draw_all(layout, carried, draws, seed, brief=True, begun=begun) if carried else {}
    return [
        (pd.Series(_row(layout, question, own, found.get(question.key), Z)), own)
        for question, own in zip(asked, needs, strict=True)
    ]


def _of(needs: pd.DataFrame, question: Question) -> pd.DataFrame:
    return needs[(needs["treated"] == question.treated) & (needs["beside"] == question.beside)]


def _needs(layout: Layout, question: Question, plan: Plan, begun: dict) -> pd.DataFrame:
    """What a comparison needs beside what was found: treated, beside, need, needed, found, met."""
    first, second = question.rows
    resident = layout.weeks["resident"].to_numpy()
    smaller = [len(first.week)] + ([len(second.week)] if question.second is not None else [])
    people = [len(np.unique(resident[rows.week])) for rows in (first, second)]
    found = {
        "starters": min(smaller),
        "starters_residents": min(people) if question.second is not None else people[0],
        "eligible_residents": len(np.unique(resident[np.concatenate([layout.starters.week, layout.others.week])])),
        "effective_residents": worth_of_others(layout, question, begun),
        "closings": _closings(layout, question),
        "followed_residents": followed(layout, question),
        "measured_residents": measured(layout, question),
    }
    names = list(NEEDS if measure(layout) == CLOSED else EARLY_NEEDS)
    needed = {name: getattr(plan.comparison, name, FOLLOWED) for name in names}
    if question.second is not None:  # overlap weights leave of each arm what both have in common
        needed["effective_residents"] = plan.comparison.starters_residents
    return pd.DataFrame(
        {
            "treated": question.treated,
            "beside": question.beside,
            "need": names,
            "needed": [float(needed[name]) for name in names],
            "found": [float(found[name]) for name in names],
            "met": [found[name] >= needed[name] for name in names],
        }
    )


def _closings(layout: Layout, question: Question) -> int:
    """Wounds that closed within the horizon, in both arms together; wounds with an early response where that counts."""
    came = [layout.weeks.iloc[rows.week][reached_by_the_horizon(layout, rows)]["wound"] for rows in question.rows]
    return pd.concat(came).nunique()


def reached_by_the_horizon(layout: Layout, rows: Rows) -> np.ndarray:
    """Which rows of an arm closed within the horizon, or had an early response where that is what is compared."""
    own = layout.weeks.iloc[rows.week]
    untreated = own["start_day"].isna() | (own["starts"] != "").to_numpy()
    days = (own["end_day"] - own["ends"]).to_numpy(dtype=float)
    closed = (own["outcome"] == "closed") & untreated & (days <= layout.horizon)
    small = (rows.early.known & rows.early.small) if measure(layout) != CLOSED else np.zeros(len(own), dtype=bool)
    return closed.to_numpy(dtype=bool) | small


def _widths(carried: list[Question], found: dict[str, Weighed], what: str) -> dict[str, float]:
    """By how many standard errors the limits of each comparison stand off: more where several are read together."""
    families = (
        [question.key for question in carried if question.second is None and question.treated != ANY],
        [question.key for question in carried if question.second is not None],
    )
    told = {}
    for family in families:
        drawn = [found[key].numbers[what][0, 1:] - found[key].numbers[what][1, 1:] for key in family]
        told |= dict.fromkeys(family, simultaneous(np.array(drawn)) if drawn else Z)
    return told


def _row(layout: Layout, question: Question, needs: pd.DataFrame, found: Weighed | None, width: float) -> dict:
    first, second = question.rows
    own, other = layout.weeks.iloc[first.week], layout.weeks.iloc[second.week]
    later = (other["start_day"] - other["ends"]).to_numpy(dtype=float) <= layout.horizon
    row = {
        "treated": question.treated,
        "beside": question.beside,
        "is_told": found is not None,
        "withheld_for": "",
        "starters": len(own),
        "starters_residents": own["resident"].nunique(),
        "others": other["wound"].nunique(),
        "others_residents": other["resident"].nunique(),
        "effective_residents": float(_of(needs, question).set_index("need").loc["effective_residents", "found"]),
        "started_later": other.loc[later, "wound"].nunique() if question.beside == NONE else 0,
        "covariates": ", ".join(question.names),
        "early_residents": measured(layout, question),
    }
    people = people_of(row)
    row["limits_at"] = widened(width, min(people))
    for name in MEASURES:
        row |= _difference(name, found, people, row["limits_at"])
    return row | compared_medians(None if found is None else found.smaller, people, row["limits_at"])


def people_of(row: dict | pd.Series) -> tuple[int, int]:
    """The residents that both sides of a row of `told` are worth, for limits where no draw differs from another."""
    return int(row["starters_residents"]), max(int(row["effective_residents"]), 1)


def _difference(name: str, found: Weighed | None, people: tuple[int, int], width: float) -> dict[str, float]:
    """One measure of a comparison: its two shares, their difference, its limits and standard error."""
    columns = [f"{name}_{part}" for part in ("treated", "beside", "difference", "low", "high", "error")]
    if found is None or name not in found.numbers or not np.isfinite(found.numbers[name][:, 0]).all():
        return dict.fromkeys(columns, np.nan)
    first, second = found.numbers[name]
    low, high = difference_limits((first[0], second[0]), (first[1:], second[1:]), people, width)
    error = float(np.nanstd(first[1:] - second[1:]))
    told = (float(first[0]), float(second[0]), float(first[0] - second[0]), low, high, error)
    return dict(zip(columns, told, strict=True))


def _tables(carried: list[Question], found: dict[str, Weighed], table, columns: list[str]) -> pd.DataFrame:
    frames = [
        table(question, found[question.key]).assign(treated=question.treated, beside=question.beside)
        for question in carried
    ]
    return pd.concat(frames, ignore_index=True)[columns] if frames else pd.DataFrame(columns=columns)


def _states(question: Question, found: Weighed) -> pd.DataFrame:
    """Where 100 wounds of each arm stand at the horizon, had nobody left the building."""
    names = [name for name in CAUSES if name != "left"]
    rows = []
    for arm, states in zip((TREATED, BESIDE), found.states, strict=True):
        told = {name: states[CAUSES.index(name), 0] for name in names}
        rows += [{"arm": arm, "state": name, "share": share} for name, share in told.items()]
        rows.append({"arm": arm, "state": "open", "share": 1 - sum(told.values())})
    return pd.DataFrame(rows)


def _course(rows: dict[str, dict], question: Question, found: Weighed) -> pd.DataFrame:
    """The share closed at the end of each week, by arm, with each arm's own limits."""
    frames = []
    for arm, closed, worth in zip((TREATED, BESIDE), found.course, people_of(rows[question.key]), strict=True):
        low, high = share_limits(closed[:, 0], closed[:, 1:], worth)
        high[0] = 0.0  # where the clock starts everybody is open, without a doubt
        frames.append(
            pd.DataFrame({"arm": arm, "week": np.arange(len(closed)), "share": closed[:, 0], "low": low, "high": high})
        )
    return pd.concat(frames)


def _smaller(rows: dict[str, dict], question: Question, found: Weighed) -> pd.DataFrame:
    """The share at least so many percent smaller or closed at the early response, by arm."""
    row = rows[question.key]
    sides = zip((TREATED, BESIDE), found.smaller, people_of(row), strict=True)
    return pd.concat([by_percent(shares, worth, row["limits_at"]).assign(arm=arm) for arm, shares, worth in sides])


def _drawn(_: Question, found: Weighed) -> pd.DataFrame:
    """The shares of both arms in every measure: a row for the whole sample, and one for each draw."""
    told = {f"{name}_{arm}": found.numbers[name][side] for name in MEASURES for side, arm in enumerate(ARMS)}
    return pd.DataFrame(told).rename_axis("draw").reset_index()


def drawn_shares(answers: Answers, name: str, treated: str = ANY, beside: str = NONE) -> np.ndarray:
    """The shares of both arms of a comparison that is told, in one measure: 2 x sets, the whole sample first."""
    own = answers.drawn[(answers.drawn["treated"] == treated) & (answers.drawn["beside"] == beside)]
    return own[[f"{name}_{arm}" for arm in ARMS]].to_numpy().T
