"""Gain beside money for draws of residents: quadrants, the region that holds 95%, and when a ratio means something.

Fenwick, O'Brien & Briggs 2004, Health Econ 13:405, on quadrants and the curve over what a closing is worth; Stinnett &
Mullahy 1998, Med Decis Making 18:S68, on net benefit; both from memory.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import f

# What a point of the plane says, by whether it costs more and closes more.
MORE_MORE, MORE_FEWER = "more close at more cost", "fewer close at more cost"
LESS_MORE, LESS_FEWER = "more close at less cost", "fewer close at less cost"
QUADRANTS = (LESS_MORE, MORE_MORE, LESS_FEWER, MORE_FEWER)
LEVEL = 0.95


def quadrants(closed: np.ndarray, money: np.ndarray) -> np.ndarray:
    """The quadrant of each point: share of wounds closed more (below 0: fewer), and money spent more a wound.

    A point on a line belongs to the side that is worse for the modality: not more closed, not less spent.
    """
    return np.select(
        [(money < 0) & (closed > 0), (money >= 0) & (closed > 0), (money < 0) & (closed <= 0)],
        [LESS_MORE, MORE_MORE, LESS_FEWER],
        MORE_FEWER,
    )


def reach(people: int) -> float:
    """How many standard errors from the middle the region that holds 95% of both numbers together stands off.

    Hotelling's, for a spread had from so many people (1931, Ann Math Stat 2:360, from memory): 2.45 of very many.
    """
    people = max(people, 4)  # of fewer nothing is compared; a region without end would help nobody
    return float(np.sqrt(2 * (people - 1) / (people - 2) * f.ppf(LEVEL, 2, people - 2)))


def region(middle: tuple[float, float], draws: np.ndarray, people: int, points: int = 181) -> pd.DataFrame:
    """The edge of the region that holds 95% of both numbers: an ellipse about the whole sample's point.

    `draws`: two rows, extra share closed and extra money a wound. Columns out: extra_closed, extra_money.
    """
    angle = np.linspace(0, 2 * np.pi, points)
    edge = reach(people) * _root(np.cov(draws)) @ np.stack([np.cos(angle), np.sin(angle)])
    return pd.DataFrame({"extra_closed": middle[0] + edge[0], "extra_money": middle[1] + edge[1]})


def _root(spread: np.ndarray) -> np.ndarray:
    """A root of a covariance, also of one without breadth."""
    values, vectors = np.linalg.eigh(spread)
    return vectors * np.sqrt(np.maximum(values, 0))


def within(closed: tuple[float, float], money: tuple[float, float]) -> str:
    """The quadrant in which a whole region between these limits lies; blank where it lies in several."""
    corners = quadrants(np.array([closed[0], closed[0], closed[1], closed[1]]), np.array([*money, *money]))
    touches = closed[0] <= 0 <= closed[1] or money[0] <= 0 <= money[1]
    return "" if touches or len(set(corners)) > 1 else str(corners[0])


def fieller(above: float, below: float, spread: np.ndarray, width: float) -> tuple[float, float]:
    """The limits of a ratio `above / below` of two numbers that go together.

    `spread`: their covariance, of `above` first; `width`: standard errors at which limits stand. All ratios r for which
    above - r * below is no more than that many standard errors from nought. Missing where these have no end: where
    `below` itself is no further from nought than that. Source: Fieller 1954, J R Stat Soc B 16:175, from memory.
    """
    a = below**2 - width**2 * spread[1, 1]
    b = above * below - width**2 * spread[0, 1]
    c = above**2 - width**2 * spread[0, 0]
    if a <= 0:
        return np.nan, np.nan
    half = np.sqrt(max(b**2 - a * c, 0))
    return float((b - half) / a), float((b + half) / a)


def curve(closed: np.ndarray, money: np.ndarray, worths: np.ndarray) -> pd.DataFrame:
    """The share of draws in which gain at a worth of one more closing outweighs the money: closing_worth, pays_share.

    It describes draws of residents; it is not the chance that treatment pays.
    """
    benefit = worths[:, None] * closed - money
    return pd.DataFrame({"closing_worth": worths, "pays_share": (benefit > 0).mean(axis=1)})
