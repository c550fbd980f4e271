"""Resampling whole residents: the wounds of one person are not independent, so they are drawn together."""

from __future__ import annotations

import numpy as np

DRAWS = 1000
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


def percentile_limits(draws: np.ndarray, level: float = 0.95) -> tuple[np.ndarray, np.ndarray]:
    """The limits between which `level` of the draws lie, along the last axis."""
    tail = (1 - level) / 2
    low, high = np.nanquantile(draws, [tail, 1 - tail], axis=-1)
    return low, high
