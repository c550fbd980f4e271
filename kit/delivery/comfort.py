"""Pain at procedures with and without stimulation for pain relief before them: people as their own control."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t

from kit.plan import WEEK, Plan

NONE, LONG, SHORT, UNTIMED, NOT_SAID = "none", "long enough", "too short", "minutes not recorded", "not said"
EASED = (LONG, SHORT, UNTIMED)
GROUPS = (NONE, *EASED, NOT_SAID)
DURING, BEFORE, RISE = "during", "before", "rise"
PAINS = {DURING: "pain_during", BEFORE: "pain_before", RISE: "rise"}
OWN, OWN_AND_TIME, BETWEEN = "own control", "own control, time levelled", "between people, not their own control"
WAYS = (OWN, OWN_AND_TIME, BETWEEN)
TELL_FROM = 10  # residents with both kinds of procedure; common practice, no source
FLOOR, CEILING = 0, 10
NOTHING = 1e-9  # an error below it is a rounding error


@dataclass(frozen=True)
class Comfort:
    """`counts`: a row a kind of procedure and group. `people`: a row a person who tells. `effects`: a row an answer."""

    counts: pd.DataFrame
    people: pd.DataFrame
    effects: pd.DataFrame


def pain(procedures: pd.DataFrame, wounds: pd.DataFrame, plan: Plan) -> Comfort:
    """How much less pain (points, 0 to 10) procedures gave when stimulation for pain relief came before them.

    Columns in: those of procedures, wound and resident of wounds. The whole export is read, not the quarter alone.

    | relief_group | procedures |
    | --- | --- |
    | none | recorded as without it |
    | long enough, too short | with at least, or fewer than, the plan's `relief_minutes` |
    | minutes not recorded | with it, for how long is not written down |
    | not said | nothing recorded, or none and minutes besides: counted, not compared |

    Minutes above zero say that there was relief where nothing else does. A missing score is no zero: it is counted.

    Columns of `counts`: procedure, relief_group, procedures, residents, scored (pain during is known), not_scored,
    before_mean, during_mean, after_mean (of the scored), at_floor, at_ceiling (scored 0 and 10, which hide part of an
    effect). Columns of `people` (pain during): resident, procedure, relief_group, eased, uneased (scored procedures
    with and without), eased_mean, uneased_mean, own_difference.

    Columns of `effects`: pain (during, before, or rise from before to during), way, relief_group (each less none),
    amount, low, high (95%), error, procedures, residents (those who tell: with both in one kind of procedure; between
    people those of the smaller side), is_told, not_computed. Told from ten such residents on.

    Own control: linear regression with a level for each resident and kind of procedure, errors by resident, t limits at
    the residents who tell less one; with two procedures a resident it is the paired t test. The levels, which lie
    within residents, do not count in the correction for small numbers (Cameron & Miller 2015, J Hum Resour 50:317).
    Pain falls as wounds heal and relief comes with the program, so a second row levels for time by a straight line.
    A difference in pain before is none of the effect if it was asked before the stimulation: relief was then given on
    better or worse days, and the rise is the safer answer; if it was asked after, it is part of it.
    """
    rows = _grouped(procedures, wounds, plan)
    told = [row for name in PAINS for way in WAYS for row in _answers(rows, name, way)]
    return Comfort(_counts(rows), _people(rows), pd.DataFrame(told, columns=EFFECTS))


EFFECTS = [
    "pain", "way", "relief_group", "amount", "low", "high", "error", "procedures", "residents", "is_told",
    "not_computed",
]  # fmt: skip


def _grouped(procedures: pd.DataFrame, wounds: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    return procedures.assign(
        resident=procedures["wound"].map(wounds.set_index("wound")["resident"]).astype(object),
        procedure=procedures["procedure"].astype(object),
        relief_group=relief_groups(procedures, plan),
        rise=procedures["pain_during"] - procedures["pain_before"],
    ).reset_index(drop=True)


def relief_groups(procedures: pd.DataFrame, plan: Plan) -> pd.Series:
    """The group of each procedure by relief and relief_minutes: one of `GROUPS`, as in `pain`."""
    relief, minutes = procedures["relief"].astype("boolean"), procedures["relief_minutes"].astype(float)
    said_yes, said_no = relief.fillna(False).astype(bool), (~relief).fillna(False).astype(bool)
    eased = said_yes | (relief.isna() & (minutes > 0))
    group = pd.Series(NOT_SAID, index=procedures.index, dtype=object)
    group = group.mask(said_no & ~(minutes > 0), NONE).mask(eased & minutes.isna(), UNTIMED)
    enough = minutes >= plan.protocol.relief_minutes
    return group.mask(eased & enough, LONG).mask(eased & minutes.notna() & ~enough, SHORT)


def _counts(rows: pd.DataFrame) -> pd.DataFrame:
    keys = rows.assign(relief_group=pd.Categorical(rows["relief_group"], GROUPS))
    grouped = keys.groupby(["procedure", "relief_group"], observed=True, sort=True)
    told = [dict(zip(COUNTS, (*names, *_count(group)), strict=True)) for names, group in grouped]
    return pd.DataFrame(told, columns=COUNTS)


COUNTS = [
    "procedure", "relief_group", "procedures", "residents", "scored", "not_scored", "before_mean", "during_mean",
    "after_mean", "at_floor", "at_ceiling",
]  # fmt: skip


def _count(group: pd.DataFrame) -> tuple:
    during = group["pain_during"]
    scored = group[during.notna()]
    means = [scored[name].mean() for name in ("pain_before", "pain_during", "pain_after")]
    ends = int((during == FLOOR).sum()), int((during == CEILING).sum())
    return len(group), group["resident"].nunique(), len(scored), len(group) - len(scored), *means, *ends


PEOPLE = [
    "resident", "procedure", "relief_group", "eased", "uneased", "eased_mean", "uneased_mean", "own_difference",
]  # fmt: skip


def _people(rows: pd.DataFrame) -> pd.DataFrame:
    """Who has scored procedures of one kind both with relief (of one length) and without."""
    by = _compared(rows, "pain_during").groupby(["resident", "procedure", "relief_group"])["pain_during"]
    told = pd.DataFrame({"eased": by.size(), "eased_mean": by.mean()}).reset_index()
    without = told[told["relief_group"] == NONE].drop(columns="relief_group")
    without = without.rename(columns={"eased": "uneased", "eased_mean": "uneased_mean"})
    both = told[told["relief_group"] != NONE].merge(without, on=["resident", "procedure"])
    return both.assign(own_difference=both["eased_mean"] - both["uneased_mean"])[PEOPLE]


def _compared(rows: pd.DataFrame, column: str) -> pd.DataFrame:
    return rows[rows[column].notna() & rows["resident"].notna() & (rows["relief_group"] != NOT_SAID)]


def _answers(rows: pd.DataFrame, name: str, way: str) -> list[dict]:
    """What each length of relief takes off or adds, in one way."""
    known = _compared(rows, PAINS[name])
    y, x, people = _between(known, PAINS[name]) if way == BETWEEN else _within(known, PAINS[name], way)
    fit = clustered(y, x, people)
    telling = [_telling(known, group, way) for group in EASED]
    return [
        {"pain": name, "way": way, "relief_group": group, **_answer(fit, place, *telling[place])}
        for place, group in enumerate(EASED)
    ]


def _within(known: pd.DataFrame, column: str, way: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Outcome and groups, each less its mean in the resident and kind of procedure.

    Where all procedures of a resident are of one group nothing is said of it; such rows would only lower the error.
    """
    keys = ["resident", "procedure"]
    rows = known[known.groupby(keys)["relief_group"].transform("nunique") > 1]
    x = _dummies(rows)
    x = x.assign(week=rows["day"].astype(float) / WEEK) if way == OWN_AND_TIME else x
    both = x.assign(outcome=rows[column].astype(float))
    level = both.groupby([rows[key] for key in keys]).transform("mean") if len(rows) else both
    both = both - level
    return both.pop("outcome").to_numpy(), both.to_numpy(), rows["resident"].to_numpy()


def _between(known: pd.DataFrame, column: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    x = _dummies(known).assign(level=1.0).to_numpy()
    return known[column].to_numpy(dtype=float), x, known["resident"].to_numpy()


def _dummies(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame({group: (rows["relief_group"] == group).astype(float) for group in EASED}, index=rows.index)


@dataclass(frozen=True)
class Fit:
    """Coefficients and their errors; missing where the rows do not tell a coefficient from the others."""

    coefficients: np.ndarray
    errors: np.ndarray


def clustered(y: np.ndarray, x: np.ndarray, people: np.ndarray) -> Fit:
    """Least squares with errors that hold whatever goes on within a person (CR1).

    Liang & Zeger 1986, Biometrika 73:13, times G/(G-1) (N-1)/(N-K) for G people, N rows and K columns of `x`.
    """
    names, row = np.unique(people.astype(str), return_inverse=True)
    turned = np.linalg.pinv(x.T @ x, rcond=1e-10, hermitian=True)
    coefficients = turned @ x.T @ y
    scores = np.zeros((len(names), x.shape[1]))
    np.add.at(scores, row, x * (y - x @ coefficients)[:, None])
    rank, clear = np.linalg.matrix_rank(x) if len(x) else 0, np.abs(np.diag(turned @ x.T @ x) - 1) < NOTHING
    if len(names) < 2 or len(y) <= rank:
        return Fit(np.where(clear, coefficients, np.nan), np.full(x.shape[1], np.nan))
    small = len(names) / (len(names) - 1) * (len(y) - 1) / (len(y) - rank)
    spread = np.diag(turned @ (scores.T @ scores) @ turned) * small
    return Fit(np.where(clear, coefficients, np.nan), np.where(clear, np.sqrt(np.maximum(spread, 0)), np.nan))


def _telling(known: pd.DataFrame, group: str, way: str) -> tuple[int, int]:
    """Procedures and residents that tell of a group beside none."""
    rows = known[known["relief_group"].isin([group, NONE])]
    if way == BETWEEN:
        sides = rows.groupby("relief_group")["resident"].nunique().reindex([group, NONE], fill_value=0)
        return len(rows), int(sides.min())
    rows = rows[rows.groupby(["resident", "procedure"])["relief_group"].transform("nunique") > 1]
    return len(rows), rows["resident"].nunique()


def _answer(fit: Fit, place: int, procedures: int, residents: int) -> dict:
    amount, error = fit.coefficients[place], fit.errors[place]
    why = _why_not(amount, error, residents)
    half = t.ppf(0.975, max(residents - 1, 1)) * error
    numbers = {"amount": amount, "low": amount - half, "high": amount + half, "error": error}
    numbers = dict.fromkeys(numbers, np.nan) if why else {name: float(value) for name, value in numbers.items()}
    return numbers | {"procedures": procedures, "residents": residents, "is_told": not why, "not_computed": why}


def _why_not(amount: float, error: float, residents: int) -> str:
    if residents < TELL_FROM:
        return f"residents who tell: {residents}, needed: {TELL_FROM}"
    if np.isnan(amount) or np.isnan(error):
        return "the groups cannot be told apart from one another or from time"
    return "all residents differ by the same, which gives no range" if error < NOTHING else ""
