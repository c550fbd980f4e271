"""Whose closings and early responses differ from the group's by more than chance: funnel limits, and shares drawn in.

Spiegelhalter 2005, Stat Med 24:1185. No order but the alphabet's: which of many facilities comes first is mostly chance
(Goldstein & Spiegelhalter 1996, J R Stat Soc A 159:385).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import norm
from scipy.stats import t as student

# What Spiegelhalter's funnels show: inside the first lie 95 of 100 facilities that chance alone sets apart, inside the
# second 998 of 1,000. The second decides.
WIDTHS = {"95": float(norm.isf(0.025)), "998": float(norm.isf(0.001))}
DECIDES = "998"
MANY = 10  # facilities from which their spread can be estimated; common practice, no source
TAIL = 0.1  # of the distances, at either end, drawn in to where the others begin (Spiegelhalter 2005)
CHANCE = 0.05  # a spread that chance gives more seldom than this is taken as real
SIMULATED, SEED = 10_000, 20050415  # groups set apart by chance alone, and where their numbers begin
SPREADS = np.linspace(0, 0.5, 101)  # between which the spread of facilities may lie, on the scale of angles
MORE, FEWER = "more", "fewer"
COLUMNS = [
    "measure", "horizon_weeks", "facility", "wounds", "residents", "standardized", "group_share", "worth_wounds",
    "strays", *(f"{end}_{name}" for name in WIDTHS for end in ("low", "high")), "differs", "drawn_share", "drawn_low",
    "drawn_high",
]  # fmt: skip
OF_GROUP = ["measure", "horizon_weeks", "group_share", "homes", "dispersion", "by_chance", "between"]


@dataclass(frozen=True, eq=False)
class Funnel:
    """`homes`: a row a measure and facility; `groups`: a row a measure.

    Of `homes`: worth_wounds (single wounds whose share would vary as much, for those of a resident go together), strays
    (standard errors from the group's share), low_95, high_95, low_998, high_998 (the limits at that number of wounds),
    differs ("more" or "fewer" beyond the second, else blank), drawn_share, drawn_low and drawn_high (drawn towards the
    group, 95%). Of `groups`: homes (how many are told), dispersion (1 where chance alone sets them apart), by_chance
    (how often it gives as much), between (standard deviation of facilities, points of 100, by which the limits are
    wider; 0 where chance suffices, missing below ten facilities).
    """

    homes: pd.DataFrame
    groups: pd.DataFrame


def funnel(mixed: pd.DataFrame, facility_spread: float) -> Funnel:
    """Each facility's share at the group's mix of wounds, beside the limits within which chance would hold it.

    `mixed`: the frame of `kit.context.case_mix`; of it only facilities that are told. `facility_spread`: points of 100
    by which facilities are taken to differ where there are fewer than ten (the plan's).

    Shares are compared as angles, whose spread by chance is the same for few and many (Anscombe 1948, Biometrika
    35:246), so that no limit lies below none or beyond all. Where facilities spread by more than chance (their
    winsorized sum of squares, as Spiegelhalter has it; chance gives as much in fewer than 5 of 100 simulated groups)
    the limits are wider by the variance between them (DerSimonian & Laird 1986, Control Clin Trials 7:177).
    """
    told = mixed[(mixed["not_computed"] == "") & mixed["standardized"].notna()]
    parts = [
        _of_measure(own.sort_values("facility", ignore_index=True), facility_spread)
        for _, own in told.groupby(["measure", "horizon_weeks"], sort=False)
    ]
    homes, groups = ([part[side] for part in parts] for side in (0, 1))
    told = pd.concat(homes, ignore_index=True) if homes else pd.DataFrame(columns=COLUMNS)
    return Funnel(told[COLUMNS], pd.DataFrame(groups, columns=OF_GROUP))


def _of_measure(own: pd.DataFrame, facility_spread: float) -> tuple[pd.DataFrame, dict[str, object]]:
    share, middle = own["standardized"].to_numpy(dtype=float), float(own["group_share"].iloc[0])
    counted = (own[name].to_numpy(dtype=float) for name in ("error", "residents", "wounds"))
    worth = worth_wounds(share, *counted)
    apart, errors = angle(share, worth) - np.arcsin(np.sqrt(middle)), angle_error(worth)
    steep = steepness(middle)
    phi, by_chance = dispersion(apart / errors) if len(own) >= MANY else (np.nan, np.nan)
    between = between_facilities(phi, errors) if by_chance < CHANCE else 0.0
    spreads = SPREADS if len(own) >= MANY else np.array([facility_spread / 100 / steep])
    drawn, error = drawn_in(apart, errors, spreads)
    wide = student.isf(0.025, np.maximum(own["residents"].to_numpy(dtype=float) - 1, 1)) * error
    ends = {end: _share(middle, drawn + side * wide)
            for end, side in (("share", 0), ("low", -1), ("high", 1))}  # fmt: skip
    limits = {name: limits_at(worth, middle, between, width) for name, width in WIDTHS.items()}
    strays = apart / np.sqrt(errors**2 + between**2)
    table = own.assign(
        worth_wounds=worth,
        strays=strays,
        **{f"{end}_{name}": pair[side] for name, pair in limits.items() for side, end in enumerate(("low", "high"))},
        differs=np.select([strays > WIDTHS[DECIDES], strays < -WIDTHS[DECIDES]], [MORE, FEWER], ""),
        **{f"drawn_{end}": value for end, value in ends.items()},
    )
    first = own.iloc[0]
    told = (first["measure"], first["horizon_weeks"], middle, len(own), phi, by_chance)
    return table, dict(zip(OF_GROUP, (*told, 100 * between * steep if len(own) >= MANY else np.nan), strict=True))


def steepness(middle: float) -> float:
    """By how much a share grows for one of its angle, near the group's share."""
    return float(2 * np.sqrt(middle * (1 - middle)))


def worth_wounds(share: np.ndarray, error: np.ndarray, residents: np.ndarray, wounds: np.ndarray) -> np.ndarray:
    """How many single wounds would let a plain share vary as much; the residents where no draw differs from another.

    Draws of n residents vary less than n residents do, by 1 in n (Davison & Hinkley 1997, Bootstrap Methods, section
    2.3). Never more than the wounds there are: draws of few residents may seem surer than single wounds by chance.
    """
    spread, variance = share * (1 - share), error**2 * residents / np.maximum(residents - 1, 1)
    worth = np.divide(spread, variance, out=residents.copy(), where=(variance > 1e-12) & (spread > 1e-12))
    return np.clip(worth, 1.0, wounds)


def angle(share: np.ndarray, worth: np.ndarray) -> np.ndarray:
    """A share of so many wounds as an angle (Anscombe 1948)."""
    return np.arcsin(np.sqrt((share * worth + 3 / 8) / (worth + 3 / 4)))


def angle_error(worth: np.ndarray) -> np.ndarray:
    """Its standard error, whatever the share."""
    return 1 / (2 * np.sqrt(worth + 1 / 2))


def limits_at(worth: np.ndarray, middle: float, between: float, width: float) -> tuple[np.ndarray, np.ndarray]:
    """Between which shares of so many wounds lie, `width` standard errors around the group's share.

    `between`: the standard deviation of facilities, on the scale of angles.
    """
    off = width * np.sqrt(angle_error(worth) ** 2 + between**2)
    low, high = (
        (np.sin(np.clip(np.arcsin(np.sqrt(middle)) + side * off, 0, np.pi / 2)) ** 2 * (worth + 3 / 4) - 3 / 8) / worth
        for side in (-1, 1)
    )
    return np.clip(low, 0, 1), np.clip(high, 0, 1)


def dispersion(strays: np.ndarray) -> tuple[float, float]:
    """By how much facilities spread beside chance (1: as much), and how often chance alone gives at least that.

    The mean square of distances of which the tenth at either end is drawn in to where the others begin, so that a few
    that truly differ do not hide themselves by widening the limits. Drawing in makes it smaller than 1 by chance alone
    (about two thirds); it is divided by what it comes to in simulated groups of the same size.
    """
    own, by_chance = _drawn_square(strays), _by_chance(len(strays))
    return float(own / by_chance.mean()), float(np.mean(by_chance >= own))


@lru_cache(maxsize=64)
def _by_chance(number: int) -> np.ndarray:
    return _drawn_square(np.random.default_rng(SEED).normal(size=(SIMULATED, number)))


def _drawn_square(strays: np.ndarray) -> np.ndarray:
    low, high = np.quantile(strays, [TAIL, 1 - TAIL], axis=-1, keepdims=True)
    return np.mean(np.clip(strays, low, high) ** 2, axis=-1)


def between_facilities(phi: float, errors: np.ndarray) -> float:
    """The standard deviation between facilities that goes with a dispersion: DerSimonian and Laird's, never below 0."""
    number, weights = len(errors), 1 / errors**2
    more = number * phi - (number - 1)
    return float(np.sqrt(max(more, 0) / (weights.sum() - (weights**2).sum() / weights.sum())))


def drawn_in(apart: np.ndarray, errors: np.ndarray, spreads: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each distance from the group drawn towards none, and its standard error: the more its own error, the nearer.

    `spreads`: the standard deviations that facilities may have. Each counts by how well it explains the distances (a
    flat prior: Gelman 2006, Bayesian Anal 1:515; Gelman et al. 2013, Bayesian Data Analysis, section 5.4), so that not
    knowing the spread widens the range.
    """
    total = errors[:, None] ** 2 + spreads**2
    fit = -0.5 * (np.log(total) + apart[:, None] ** 2 / total).sum(axis=0)
    weight = np.exp(fit - fit.max())
    weight = weight / weight.sum()
    trust = spreads**2 / total
    each = trust * apart[:, None]
    drawn = each @ weight
    variance = (trust * errors[:, None] ** 2 + each**2) @ weight - drawn**2
    return drawn, np.sqrt(np.maximum(variance, 0))


def _share(middle: float, apart: np.ndarray) -> np.ndarray:
    return np.sin(np.clip(np.arcsin(np.sqrt(middle)) + apart, 0, np.pi / 2)) ** 2
