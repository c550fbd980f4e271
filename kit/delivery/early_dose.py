"""Minutes in the first two weeks and later healing: described, with how much of a difference confounding could make.

Minutes add up while a wound stays open, so the total dose is never the exposure: slow wounds would have the most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.delivery.early_wounds import LANDMARK, sized, sorted_out
from kit.healing.curves import incidence
from kit.healing.description import DRAWN_FROM, IN_VIEW
from kit.healing.e_values import e_value, e_value_of_limit
from kit.healing.resampling import DRAWS, SEED, correlation, difference_limits, mover, resident_draws, share_limits
from kit.plan import Plan
from kit.vocabulary import OUTCOMES
from kit.wounds.episodes import OPEN

LESS, MORE = "fewer minutes", "more minutes"
HALVES = (LESS, MORE)
CLOSED = OUTCOMES.index("closed")
AS_SEEN, SIZES_ALONE, LIKE_SIZES = "as recorded", "made by sizes alone", "at like sizes"


@dataclass(frozen=True)
class EarlyDose:
    """`wounds`: a row a wound used. `halves`, `differences`, `facilities`: what came out. `account`: nobody is lost.

    `horizon` in days from the first session; `median` minutes, at or below which lies the lower half; `between_share`:
    share of the variance of minutes that lies between facility means, `by_chance`: what chance alone would put there.
    """

    wounds: pd.DataFrame
    halves: pd.DataFrame
    differences: pd.DataFrame
    facilities: pd.DataFrame
    account: pd.DataFrame
    horizon: int
    median: float
    between_share: float
    by_chance: float


def early_dose(
    episodes: pd.DataFrame,
    sessions: pd.DataFrame,
    measurements: pd.DataFrame,
    plan: Plan,
    draws: int = DRAWS,
    seed: int = SEED,
) -> EarlyDose:
    """Wounds that began stimulation, in two halves by device minutes of days 0 to 13, and what closed by the horizon.

    Used are wounds of the cohort still open and in view after day 14 (Anderson, Cain & Gelber 1983, J Clin Oncol 1:710,
    from memory), both halves alike; where the export shares no calendar a wound is in view to its `end_day`. Staff
    minutes and minutes of other modalities are no dose. A wound with a session in those days whose minutes or status is
    not known is left out.

    | frame | columns |
    | --- | --- |
    | wounds | wound, resident, facility, early_minutes, half, landmark_size (cm2, at most `fresh_days` before day 14) |
    | halves | half, wounds, residents, minutes_from, minutes_to; medians: early_minutes, landmark_size; \
closed_share, low, high |
    | differences | way; amount, low, high (points of 100, that of more less that of fewer minutes); risk_ratio, \
ratio_low, ratio_high, e_value, e_value_limit; wounds, residents (of the smaller half), is_told, not_computed |
    | facilities | facility, wounds, residents, early_minutes (median), more_minutes (wounds in that half) |
    | account | reason, wounds, residents: first those used, then why others that started anything are not |

    Shares are Aalen-Johansen's from day 14 on; death and departure compete. Of the differences, `made by sizes alone`
    is what there would be if wounds of each third of size at day 14 closed alike in both halves (Kitagawa 1955, J Am
    Stat Assoc 50:1168); `at like sizes` gives both halves the sizes of all. The E-value tells how strongly something
    else, such as illness that shortens sessions, must go with minutes and with closing to make the difference alone.
    Told from ten residents in each half.
    """
    account, wounds = sorted_out(episodes, sessions, plan)
    wounds = sized(wounds, measurements, plan)
    median = float(wounds["early_minutes"].median())
    wounds = wounds.assign(half=np.where(wounds["early_minutes"] <= median, LESS, MORE))
    ahead, counts = plan.horizon - LANDMARK, _counts(wounds["resident"], draws, seed)
    return EarlyDose(
        wounds[["wound", "resident", "facility", "early_minutes", "half", "landmark_size"]],
        _halves(wounds, counts, ahead),
        _differences(wounds, counts, ahead),
        _facilities(wounds),
        account,
        plan.horizon,
        median,
        *_between_facilities(wounds),
    )


def _counts(residents: pd.Series, draws: int, seed: int) -> np.ndarray:
    """How often each wound counts: once in the first column, as drawn in the others."""
    if residents.empty:
        return np.ones((0, 1 + draws))
    return np.column_stack([np.ones(len(residents)), resident_draws(residents.to_numpy(dtype=str), draws, seed)])


def _closed(wounds: pd.DataFrame, counts: np.ndarray, ahead: int) -> np.ndarray:
    """The share closed by the horizon in each set of counts; missing where a set holds none of these wounds."""
    curve = incidence(wounds["days"].to_numpy(), wounds["outcome"].to_numpy(), OUTCOMES, counts)
    return np.where(counts.sum(axis=0) > 0, curve.at(ahead)[CLOSED], np.nan)


def _why_not(wounds: pd.DataFrame, half: str, ahead: int) -> str:
    """Why the share of a half is not told; blank where it is."""
    own = wounds[wounds["half"] == half]
    if ahead <= 0:
        return "the horizon is not beyond day 14"
    if own["resident"].nunique() < DRAWN_FROM:
        return f"residents with {half}: {own['resident'].nunique()}, needed: {DRAWN_FROM}"
    in_view = own.loc[own["days"] >= ahead, "resident"].nunique()
    lost = ((own["outcome"] == OPEN) & (own["days"] < ahead)).any()
    return f"too few with {half} are in view at the horizon" if lost and in_view < IN_VIEW else ""


def _halves(wounds: pd.DataFrame, counts: np.ndarray, ahead: int) -> pd.DataFrame:
    rows = []
    for half in HALVES:
        own = (wounds["half"] == half).to_numpy()
        share, limits = np.nan, (np.nan, np.nan)
        if not _why_not(wounds, half, ahead):
            closed = _closed(wounds[own], counts[own], ahead)
            share, limits = closed[0], share_limits(closed[0], closed[1:], wounds.loc[own, "resident"].nunique())
        rows.append(
            _half(half, wounds[own]) | dict(zip(("closed_share", "low", "high"), (share, *limits), strict=True))
        )
    return pd.DataFrame(rows).astype({"closed_share": float, "low": float, "high": float})


def _half(half: str, wounds: pd.DataFrame) -> dict:
    return {
        "half": half,
        "wounds": len(wounds),
        "residents": wounds["resident"].nunique(),
        "minutes_from": wounds["early_minutes"].min(),
        "minutes_to": wounds["early_minutes"].max(),
        "early_minutes": wounds["early_minutes"].median(),
        "landmark_size": wounds["landmark_size"].median(),
    }


def _differences(wounds: pd.DataFrame, counts: np.ndarray, ahead: int) -> pd.DataFrame:
    sized = wounds["third"].notna().to_numpy()
    made = (
        (AS_SEEN, wounds, counts, _as_seen),
        (SIZES_ALONE, wounds[sized], counts[sized], _sizes_alone),
        (LIKE_SIZES, wounds[sized], counts[sized], _like_sizes),
    )
    return pd.DataFrame([_difference(way, rows, sets, ahead, shares) for way, rows, sets, shares in made])


def _difference(way: str, wounds: pd.DataFrame, counts: np.ndarray, ahead: int, shares: Callable) -> dict:
    people = [wounds.loc[wounds["half"] == half, "resident"].nunique() for half in (MORE, LESS)]
    row = {"way": way, **dict.fromkeys(NUMBERS, np.nan), "wounds": len(wounds), "residents": min(people)}
    why = next(filter(None, (_why_not(wounds, half, ahead) for half in HALVES)), "")
    if why:
        return row | {"is_told": False, "not_computed": why}
    both = np.stack([shares(wounds, counts, half, ahead) for half in (MORE, LESS)])
    if np.isnan(both[:, 0]).any():
        return row | {"is_told": False, "not_computed": "a third of the sizes is missing in one half"}
    low, high = difference_limits(tuple(both[:, 0]), (both[0, 1:], both[1, 1:]), tuple(people))
    points = {"amount": 100 * (both[0, 0] - both[1, 0]), "low": 100 * low, "high": 100 * high}
    ratios = _ratio(both, people) if way != SIZES_ALONE else {}
    return row | points | ratios | {"is_told": True, "not_computed": ""}


NUMBERS = ("amount", "low", "high", "risk_ratio", "ratio_low", "ratio_high", "e_value", "e_value_limit")


def _as_seen(wounds: pd.DataFrame, counts: np.ndarray, half: str, ahead: int) -> np.ndarray:
    own = (wounds["half"] == half).to_numpy()
    return _closed(wounds[own], counts[own], ahead)


def _sizes_alone(wounds: pd.DataFrame, counts: np.ndarray, half: str, ahead: int) -> np.ndarray:
    """The share that a half would close if wounds of each third closed as all of that third do."""
    own, third = (wounds["half"] == half).to_numpy(), wounds["third"].to_numpy()
    total, expected = counts[own].sum(axis=0), np.zeros(counts.shape[1])
    for one in np.unique(third):
        part = _part(counts[own & (third == one)].sum(axis=0), total)
        expected += np.nan_to_num(part * _closed(wounds[third == one], counts[third == one], ahead))
    return np.where(total > 0, expected, np.nan)


def _like_sizes(wounds: pd.DataFrame, counts: np.ndarray, half: str, ahead: int) -> np.ndarray:
    """The share that a half closes when its wounds are weighted to the sizes of all; missing where it lacks a third."""
    own, third = (wounds["half"] == half).to_numpy(), wounds["third"].to_numpy()
    weights = np.zeros(counts.shape)
    for one in np.unique(third):
        here = third == one
        weights[own & here] = _part(counts[here].sum(axis=0), counts[own & here].sum(axis=0)) * counts[own & here]
    # Where a third of all wounds is not in this half, its weights do not add up to all wounds.
    whole = np.isclose(weights.sum(axis=0), counts.sum(axis=0))
    return np.where(whole, _closed(wounds[own], np.nan_to_num(weights[own]), ahead), np.nan)


def _part(some: np.ndarray, whole: np.ndarray) -> np.ndarray:
    return np.divide(some, whole, out=np.zeros(len(some)), where=whole > 0)


def _ratio(both: np.ndarray, people: list[int]) -> dict[str, float]:
    """The first share over the second, its limits (on the logarithm) and what confounding it would take."""
    if (both[:, 0] <= 0).any():
        return {}
    limits = [share_limits(share[0], share[1:], number) for share, number in zip(both, people, strict=True)]
    known = both[:, 1:][:, np.isfinite(both[:, 1:]).all(axis=0)]
    together = correlation(known[0], known[1])
    logs = mover(tuple(np.log(both[:, 0])), tuple(np.log(limits[0])), tuple(np.log(limits[1])), together)
    ratio, (low, high) = float(both[0, 0] / both[1, 0]), np.exp(logs)
    told = {"risk_ratio": ratio, "ratio_low": float(low), "ratio_high": float(high)}
    return told | {"e_value": e_value(ratio), "e_value_limit": e_value_of_limit(float(low), float(high))}


def _facilities(wounds: pd.DataFrame) -> pd.DataFrame:
    rows = wounds.assign(more=wounds["half"] == MORE).groupby("facility", sort=True)
    return rows.agg(
        wounds=("wound", "size"),
        residents=("resident", "nunique"),
        early_minutes=("early_minutes", "median"),
        more_minutes=("more", "sum"),
    ).reset_index()


def _between_facilities(wounds: pd.DataFrame) -> tuple[float, float]:
    """The share of the variance of minutes between facility means, and what chance alone puts there: (k-1)/(n-1)."""
    minutes, houses = wounds["early_minutes"], wounds["facility"].nunique()
    whole = ((minutes - minutes.mean()) ** 2).sum()
    if houses < 2 or whole <= 0:
        return np.nan, np.nan
    between = ((minutes.groupby(wounds["facility"]).transform("mean") - minutes.mean()) ** 2).sum()
    return float(between / whole), (houses - 1) / (len(wounds) - 1)
