"""Resampling whole residents: the wounds of one person are not independent, so they are drawn together."""

from __future__ import annotations

import numpy as np

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
    generator = np.random.default_rng(seed)
    counts = generator.multinomial(len(people), np.full(len(people), 1 / len(people)), size=draws)
    return counts.T[row].astype(float)


def share_limits(share: np.ndarray, draws: np.ndarray, residents: int) -> tuple[np.ndarray, np.ndarray]:
    """The 95% limits of shares, from how much they vary over draws of whole residents (along the last axis).

    Wilson's limits (1927, J Am Stat Assoc 22:209) at the effective number of residents: the number at which a plain
    share would vary as much. Where no draw differs from another (all closed, or none) it is the number of residents, so
    that nothing is ever certain; limits between which the draws lie would then collapse onto the share.
    """
    variance = np.nanvar(draws, axis=-1)
    spread = share * (1 - share)
    number = np.divide(spread, variance, out=np.full(np.shape(share), float(residents)), where=variance > 1e-12)
    number = np.maximum(number, 1.0)
    middle = (share + Z**2 / (2 * number)) / (1 + Z**2 / number)
    half = Z * np.sqrt(spread / number + Z**2 / (4 * number**2)) / (1 + Z**2 / number)
    return np.clip(middle - half, 0, 1), np.clip(middle + half, 0, 1)


def day_limits(draws: np.ndarray, level: float = 0.95) -> tuple[float, float]:
    """The days between which `level` of the draws lie; infinite where that many draws never get there."""
    tail = (1 - level) / 2
    low, high = np.quantile(np.where(np.isnan(draws), np.inf, draws), [tail, 1 - tail], method="inverted_cdf")
    return float(low), float(high)
