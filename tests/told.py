"""Comparisons made by hand, as `kit.healing.answers` returns them, to test what is said and drawn of them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd

from kit.healing.answers import MEASURES, NEEDS, SMALLER, Answers
from kit.healing.comparison import ANY, NONE
from kit.healing.reductions import MEDIAN
from kit.healing.trials import ELIGIBLE, TOO_LATE

PARTS = ("treated", "beside", "difference", "low", "high", "error")
NEEDED = dict(zip(NEEDS, (15.0, 12.0, 40.0, 15.0, 10.0, 5.0), strict=True))
STATES = ("closed", "surgical_closure", "died", "hospital", "open")
HOMES = ("facility", "starters", "own", "own_error", "leaning", "low", "high")


def row_of(treated=ANY, beside=NONE, told=True, starters=30, **shares):
    """A row of `told`: in every measure 45 of 100 beside 33, 12 more (2 to 22), unless a measure's part is given.

    The median reduction is 42 beside 31, 11 more (3 to 19).
    """
    numbers = {"treated": 0.45, "beside": 0.33, "difference": 0.12, "low": 0.02, "high": 0.22, "error": 0.05}
    made = {
        "treated": treated, "beside": beside, "is_told": told, "withheld_for": "", "starters": starters,
        "starters_residents": starters - 4, "others": 120, "others_residents": 83, "effective_residents": 31.7,
        "started_later": 9, "covariates": "log_size, slope", "limits_at": 2.05,
        "early_residents": 20,
    }  # fmt: skip
    made |= {f"{name}_{part}": numbers[part] if told else np.nan for name in MEASURES for part in PARTS}
    made |= dict(zip(MEDIAN, (42.0, 31.0, 11.0, 3.0, 19.0, 4.0) if told else (np.nan,) * 6, strict=True))
    return made | shares


def between(low, high, **more):
    """A row whose closed shares differ by the middle of these limits."""
    middle = (low + high) / 2
    return row_of(
        closed_low=low, closed_high=high, closed_difference=middle, closed_treated=0.5 + middle / 2,
        closed_beside=0.5 - middle / 2, **more,
    )  # fmt: skip


def needs_of(rows, **found):
    """Everything needed is there, for each row; what is given by name was found in the rows that are not told."""
    enough = {name: needed + 5.25 for name, needed in NEEDED.items()}
    lines = [
        (one["treated"], one["beside"], name, NEEDED[name], (enough | (found if not one["is_told"] else {}))[name])
        for one in rows
        for name in NEEDS
    ]
    frame = pd.DataFrame(lines, columns=["treated", "beside", "need", "needed", "found"])
    return frame.assign(met=frame["found"] >= frame["needed"])


def states_of(row, treated=(0.45, 0.02, 0.05, 0.08, 0.40), beside=(0.33, 0.0, 0.07, 0.10, 0.50)):
    """Where 100 wounds of each arm stand."""
    lines = [
        (row["treated"], row["beside"], arm, state, share)
        for arm, shares in (("treated", treated), ("beside", beside))
        for state, share in zip(STATES, shares, strict=True)
    ]
    return pd.DataFrame(lines, columns=["treated", "beside", "arm", "state", "share"])


def course_of(row, weeks=12):
    """Closed by week: up to 45 of 100 beside 33, in a straight line, ranges 8 to either side."""
    lines = [
        (row["treated"], row["beside"], arm, week, last * week / weeks)
        for arm, last in (("treated", 0.45), ("beside", 0.33))
        for week in range(weeks + 1)
    ]
    frame = pd.DataFrame(lines, columns=["treated", "beside", "arm", "week", "share"])
    return frame.assign(low=(frame["share"] - 0.08).clip(0), high=frame["share"] + 0.08)


def outside_of(starters=30, late=0):
    lines = [(ELIGIBLE, starters, starters - 4)] + [(TOO_LATE, late, late)] * bool(late)
    return pd.DataFrame(lines, columns=["reason", "starters", "residents"])


def answers_of(*rows, measure="closed", horizon=12, homes=(), compared=(), late=0, wounds=150, **found):
    """Answers of these rows. `homes`: rows of that frame; `compared`: the facilities in the comparison."""
    rows = rows or (row_of(),)
    first, tell = rows[0], bool(rows[0]["is_told"])
    could = pd.DataFrame([(ELIGIBLE, 900, wounds, 100)], columns=["reason", "weeks", "wounds", "residents"])
    return Answers(
        told=pd.DataFrame(rows),
        needs=needs_of(rows, **found),
        states=states_of(first) if tell else states_of(first).iloc[:0],
        course=course_of(first) if tell else course_of(first).iloc[:0],
        balance=pd.DataFrame(),
        homes=pd.DataFrame(list(homes), columns=list(HOMES)),
        outside=outside_of(first["starters"], late),
        could=could,
        horizon_weeks=horizon,
        measure=measure,
        draws=1000,
        seed=1,
        layout=SimpleNamespace(weeks=pd.DataFrame({"facility": list(compared)}, dtype=object)),
        smaller=pd.DataFrame(columns=list(SMALLER)),
        drawn=pd.DataFrame(columns=["treated", "beside", "draw"]),
    )
