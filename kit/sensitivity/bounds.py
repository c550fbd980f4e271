"""How far the answer could move with what nobody saw: wounds that left open, and something unseen beside the start.

Manski 1990, Am Econ Rev 80:319, from memory, on bounds without an assumption; VanderWeele & Ding 2017, Ann Intern Med
167:268, on the E-value.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.answers import Answers, drawn_shares, people_of
from kit.healing.comparison import CLOSED, NONE, any_modality, arms
from kit.healing.e_values import e_value, e_value_of_limit
from kit.healing.emulation import WHILE_HERE, Arm, Layout, Rows, arm_shares, lay_out, passing
from kit.healing.other_answers import NO_NUMBER, NOT_MADE, ONLY_CLOSING
from kit.healing.resampling import correlation, mover, share_limits
from kit.wounds.episodes import OPEN

DRAWS = 400  # of residents: enough for limits that decide nothing
ANSWER, ALL_CLOSED, ALL_OPEN, MOST, LEAST = CASES = (
    "as in the answer",
    "everyone who left open had closed",
    "everyone who left open had stayed open",
    "of those that started everyone had closed, of those beside nobody",
    "of those that started nobody had closed, of those beside everyone",
)
# Which end each case takes of the two arms.
ENDS = {ALL_CLOSED: (1, 1), ALL_OPEN: (0, 0), MOST: (1, 0), LEAST: (0, 1)}
SAYS = {
    ANSWER: "Those who left open, or were lost from sight, are taken to be like those alike who stayed.",
    ALL_CLOSED: "Both sides gain every closing that anybody could have missed.",
    ALL_OPEN: "Both sides lose them: no closing outside the building is granted.",
    MOST: "As far as departures could move the answer towards starting.",
    LEAST: "As far as they could move it the other way.",
}
RATIOS = ("treated", "beside", "risk_ratio", "ratio_low", "ratio_high", "e_value", "e_value_limit", "not_computed")


def bounds(answers: Answers, measurements: pd.DataFrame) -> pd.DataFrame:
    """Any modality beside none if the wounds that left, or were lost from sight, had closed by the horizon or had not.

    Lost is a wound last seen open before the horizon, of those beside also before any start. Nothing is assumed of it
    but what a case says: no weight stands for it. Between the last two cases lies whatever became of it; the play of
    chance comes on top. A closing that is granted falls on the day after the wound was last seen.

    Columns out: case, amount (points of 100 wounds), starters_lost, others_lost (wounds), not_computed, says. Always
    all cases in the order of CASES; of the early response none has a number.
    """
    why = not_told(answers)
    amounts = dict.fromkeys(CASES, np.nan) if why else _amounts(answers, measurements)
    lost = [lost_wounds(answers.layout, rows) for rows in (answers.layout.starters, answers.layout.others)]
    counted = {"starters_lost": lost[0], "others_lost": lost[1], "not_computed": why}
    return pd.DataFrame([{"case": case, "amount": amounts[case], **counted, "says": SAYS[case]} for case in CASES])


def not_made(answers: Answers) -> str:
    """Why the answer has no number that others could stand beside; blank where it has."""
    told = answers.told.iloc[0]
    return no_number(told, answers.measure) if told["is_told"] else NOT_MADE


def no_number(told: pd.Series, measure: str) -> str:
    """Why a row of `told` that is told has no difference in a measure all the same; blank where it has."""
    return "" if np.isfinite(told[f"{measure}_difference"]) else NO_NUMBER


def not_told(answers: Answers) -> str:
    """Why the shares closed of both sides cannot be told; blank where they can."""
    return not_made(answers) or ("" if answers.measure == CLOSED else ONLY_CLOSING)


def lost_wounds(layout: Layout, rows: Rows) -> int:
    """How many wounds of an arm left, or were lost from sight, before the horizon and before any start on the way."""
    own = layout.weeks.iloc[rows.week]
    days = (own["end_day"] - own["ends"]).to_numpy(dtype=float)
    later = ((own["start_day"] > own["ends"]) & (own["start_day"] <= own["end_day"])).fillna(False).to_numpy(dtype=bool)
    return own.loc[_lost(own) & (days < layout.horizon) & ~later, "wound"].nunique()


def _lost(weeks: pd.DataFrame) -> np.ndarray:
    gone = (weeks["outcome"] == "left") | ((weeks["outcome"] == OPEN) & weeks["vanished"])
    return gone.to_numpy(dtype=bool)


def _amounts(answers: Answers, measurements: pd.DataFrame) -> dict[str, float]:
    layout, told = answers.layout, answers.told.iloc[0]
    asked, begun, counts = any_modality(layout), {}, np.ones((len(layout.weeks), 1))
    through = passing(layout, counts, asked.names, begun)
    bases = [arm.base for arm in arms(layout, asked, counts, begun)]
    ends = []
    for closed in (False, True):
        other = ended(layout, closed, measurements)
        sides = Arm(other.starters, bases[0], False), Arm(other.others, bases[1], True)
        ends.append([float(arm_shares(arm, through, WHILE_HERE).closed[-1, 0]) for arm in sides])
    cases = {case: 100 * (ends[first][0] - ends[second][1]) for case, (first, second) in ENDS.items()}
    return {ANSWER: 100 * float(told["closed_difference"]), **cases}


def ended(layout: Layout, closed: bool, measurements: pd.DataFrame) -> Layout:
    """The layout in which every wound that was lost closed the day after it was last seen, or stayed open for good."""
    lost, weeks = _lost(layout.weeks), layout.weeks
    # Weights of not having started stand as they were when it was last seen: nothing is known of it from there.
    day = weeks["end_day"] + (1 if closed else layout.horizon)
    outcome = weeks["outcome"].astype(object).mask(lost, "closed" if closed else OPEN)
    changed = weeks.assign(end_day=weeks["end_day"].mask(lost, day), outcome=outcome)
    return lay_out(changed, measurements, layout.plan, layout.horizon)


def e_values_of(answers: Answers, draws: int = DRAWS) -> pd.DataFrame:
    """How strongly something unseen must go with starting and with closing alike to make each difference by itself.

    For the ratio of shares closed by the horizon, of every comparison beside no modality that the data carry: a row
    each. Limits of the ratio come from those of the logarithms of both shares (Zou & Donner 2008, Stat Med 27:1693),
    with the first `draws` of the answer's; they may differ a little from those of the difference as to which of them
    hold "none". The E-value is a ratio too: 1 is nothing at all.

    Columns out: treated, beside, risk_ratio, ratio_low, ratio_high, e_value, e_value_limit (of the limit nearer 1; 1
    where the range holds 1), not_computed. One row without a number where any modality is not told.
    """
    why = not_told(answers)
    told = answers.told[(answers.told["beside"] == NONE) & answers.told["is_told"]]
    if why or told.empty:
        first = answers.told.iloc[0]
        return pd.DataFrame([_no_ratio(first, why)], columns=list(RATIOS))
    shares = [drawn_shares(answers, CLOSED, *row) for row in told[["treated", "beside"]].itertuples(index=False)]
    rows = [_ratio(row, own[:, : draws + 1]) for own, (_, row) in zip(shares, told.iterrows(), strict=True)]
    return pd.DataFrame(rows, columns=list(RATIOS))


def _no_ratio(row: pd.Series, why: str) -> dict:
    return {"treated": row["treated"], "beside": row["beside"], "not_computed": why}


def _ratio(row: pd.Series, shares: np.ndarray) -> dict:
    """The ratio of two shares (2 x sets, the whole sample first), its limits and E-values."""
    if not (np.isfinite(shares[:, 0]).all() and (shares[:, 0] > 0).all()):
        return _no_ratio(row, "nobody closed on one side")
    known = np.isfinite(shares).all(axis=0)
    drawn, width = shares[:, known][:, 1:], row["limits_at"]
    sides = zip(shares, drawn, people_of(row), strict=True)
    limits = [share_limits(whole[0], some, people, width) for whole, some, people in sides]
    with np.errstate(divide="ignore"):  # a share that may be none at all has no limit on the logarithm
        logs = [tuple(np.log(limit)) for limit in limits]
    low, high = np.exp(mover(tuple(np.log(shares[:, 0])), logs[0], logs[1], correlation(*drawn)))
    ratio = float(shares[0, 0] / shares[1, 0])
    told = {"risk_ratio": ratio, "ratio_low": float(low), "ratio_high": float(high)}
    limit = e_value_of_limit(float(low), float(high))
    return _no_ratio(row, "") | told | {"e_value": e_value(ratio), "e_value_limit": limit}
