"""How strongly something unseen would have to go with both sides of a comparison to make it by itself: the E-value.

VanderWeele & Ding 2017, Ann Intern Med 167:268. It says how much confounding would be needed, never whether there is
any.
"""

from __future__ import annotations

import math


def e_value(risk_ratio: float) -> float:
    """The risk ratio that something unseen needs with exposure and with outcome alike to make this one by itself.

    RR + sqrt(RR (RR - 1)); a ratio below 1 is turned over first. 1 where nothing is to be explained, infinite for a
    ratio of 0 or infinity, missing (NaN) for a missing one. Raises ValueError below 0.
    """
    if risk_ratio < 0:
        raise ValueError("risk_ratio: a ratio of shares is never below 0")
    if math.isnan(risk_ratio):
        return math.nan
    if risk_ratio in (0, math.inf):
        return math.inf
    ratio = max(risk_ratio, 1 / risk_ratio)
    return ratio + math.sqrt(ratio * (ratio - 1))


def e_value_of_limit(low: float, high: float) -> float:
    """The E-value of the limit nearer 1: what it takes to move the range (95%) of a risk ratio onto 1.

    1 where the range holds 1 already; missing where a limit is missing. Raises ValueError where `low` is above `high`.
    """
    if math.isnan(low) or math.isnan(high):
        return math.nan
    if low > high:
        raise ValueError("low: the lower limit of a range is not above the upper one")
    return 1.0 if low <= 1 <= high else e_value(low if low > 1 else high)


def risk_ratio_of_odds_ratio(odds_ratio: float) -> float:
    """The risk ratio that an odds ratio is near to where the outcome is common (above 15%): its square root."""
    return math.sqrt(odds_ratio)


def risk_ratio_of_hazard_ratio(hazard_ratio: float) -> float:
    """The risk ratio that a hazard ratio is near to where the outcome is common (above 15%).

    (1 - 0.5 ^ sqrt(HR)) / (1 - 0.5 ^ sqrt(1 / HR)). Raises ValueError unless the ratio is above 0.
    """
    if hazard_ratio <= 0:
        raise ValueError("hazard_ratio: a ratio of rates is above 0")
    root = math.sqrt(hazard_ratio)
    return (1 - 0.5**root) / (1 - 0.5 ** (1 / root))


def risk_ratio_of_difference(standardized: float) -> float:
    """The risk ratio that a difference of means in standard deviations is near to: exp(0.91 d)."""
    return math.exp(0.91 * standardized)
