"""Resampling whole residents: the wounds of one person are not independent, so they are drawn together."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.stats import t

DRAWS = 1000
Z = 1.959963984540054  # the normal distribution holds 95% within so many standard errors
SEED = 20250101


def resident_draws(residents: np.ndarray, draws: int = DRAWS, seed: int = SEED) -> np.ndarray:
    """How often each wound counts in each draw: wounds x draws, every wound of a resident alike.

    `residents` names the resident of each wound. Each draw takes as many residents as there are, with replacement
    (Davison & Hinkley 1997, Bootstrap Methods, section 3.8). The names' order is what the draw depends on, never the
    order of rows.
    """
    people, row = np.unique(residents, return_inverse=True)
    return _counts(len(people), draws, seed).take(row, axis=0).astype(float)


@lru_cache(maxsize=4)
def _counts(people: int, draws: int, seed: int) -> np.ndarray:
    """How often each of so many is drawn: people x draws. The same questions are asked of the same people often."""
    counts = np.random.default_rng(seed).multinomial(people, np.full(people, 1 / people), size=draws)
    return np.ascontiguousarray(counts.T, dtype=np.uint16)


def share_limits(share: np.ndarray, draws: np.ndarray, residents: int, z: float = Z) -> tuple[np.ndarray, np.ndarray]:
    """The limits of shares (95% unless `z` says otherwise), from how much they vary over draws (along the last axis).

    Wilson's limits (1927, J Am Stat Assoc 22:209) at the effective number of residents: the number at which a plain
    share would vary as much. Where no draw differs from another (all closed, or none) it is the number of residents, so
    that nothing is ever certain; limits between which the draws lie would then collapse onto the share.
    """
    variance = np.nanvar(draws, axis=-1)
    spread = share * (1 - share)
    number = np.divide(spread, variance, out=np.full(np.shape(share), float(residents)), where=variance > 1e-12)
    number = np.maximum(number, 1.0)
    middle = (share + z**2 / (2 * number)) / (1 + z**2 / number)
    half = z * np.sqrt(spread / number + z**2 / (4 * number**2)) / (1 + z**2 / number)
    return np.clip(middle - half, 0, share), np.clip(middle + half, share, 1)


def difference_limits(
    shares: tuple[float, float], draws: tuple[np.ndarray, np.ndarray], residents: tuple[int, int], z: float = Z
) -> tuple[float, float]:
    """The limits of a difference of two shares that may go together, the first less the second.

    Each arm's limits as in `share_limits`, combined with the correlation of the draws (Newcombe 1998, Stat Med 17:873,
    method 10, and 17:2635 for pairs; Zou & Donner 2008, Stat Med 27:1693). Draws in which an arm is empty are left out.
    """
    known = np.isfinite(draws[0]) & np.isfinite(draws[1])
    first, second = draws[0][known], draws[1][known]
    low1, high1 = share_limits(np.array(shares[0]), first, residents[0], z)
    low0, high0 = share_limits(np.array(shares[1]), second, residents[1], z)
    together = correlation(first, second)
    return mover(shares, (low1, high1), (low0, high0), together)


def mover(
    estimates: tuple[float, float], first: tuple[float, float], second: tuple[float, float], together: float
) -> tuple[float, float]:
    """The limits of a difference of two numbers from the limits of each, `first` and `second`, and their correlation.

    The first less the second (Zou & Donner 2008, Stat Med 27:1693). Where a limit is infinite, so is what rests on it.
    """
    difference = estimates[0] - estimates[1]
    down = _apart(estimates[0] - first[0], second[1] - estimates[1], together)
    up = _apart(first[1] - estimates[0], estimates[1] - second[0], together)
    return float(difference - down), float(difference + up)


def _apart(one: float, other: float, together: float) -> float:
    """How far a limit of the difference stands off, where those of both numbers stand off so far."""
    if np.isinf(one) or np.isinf(other):
        return np.inf
    return np.sqrt(max(one**2 - 2 * together * one * other + other**2, 0))


def correlation(first: np.ndarray, second: np.ndarray) -> float:
    """How draws of two numbers go together; 0 where one of them never varies."""
    spread = first.std() * second.std()
    return float(np.mean((first - first.mean()) * (second - second.mean())) / spread) if spread > 1e-12 else 0.0


def simultaneous(differences: np.ndarray) -> float:
    """By how many standard errors the largest of several differences strays in 95% of draws (comparisons x draws).

    It stands for the normal distribution's 1.96 where several comparisons are read side by side (max-t: Westfall &
    Young 1993, Resampling-Based Multiple Testing); never below it.
    """
    if len(differences) < 2:
        return Z
    known = differences[:, np.isfinite(differences).all(axis=0)]
    if not known.size:
        return Z
    spread = known.std(axis=1, keepdims=True)
    strayed = np.abs(known - known.mean(axis=1, keepdims=True)) / np.where(spread > 1e-12, spread, np.inf)
    return max(Z, float(np.quantile(strayed.max(axis=0), 0.95)))


def widened(width: float, people: int) -> float:
    """The same number of standard errors where the spread itself is had from few people (Student 1908, Biometrika 6:1).

    `people`: the residents that the smaller arm rests on.
    """
    return width * float(t.ppf(0.975, max(people - 1, 1))) / Z


def day_limits(draws: np.ndarray, level: float = 0.95) -> tuple[float, float]:
    """The days between which `level` of the draws lie; infinite where that many draws never get there."""
    tail = (1 - level) / 2
    low, high = np.quantile(np.where(np.isnan(draws), np.inf, draws), [tail, 1 - tail], method="inverted_cdf")
    return float(low), float(high)
