"""How amounts of money are said: whole from ten on, in the plan's currency, with a true minus."""

from __future__ import annotations

import math

from kit.plan import Plan


def money(amount: float, plan: Plan) -> str:
    """An amount in the plan's currency: whole from ten on, else to the cent; a dash where there is none."""
    if not math.isfinite(amount):
        return "–"
    size = abs(float(amount))
    number = f"{size:,.0f}" if round(size, 2) >= 10 or round(size, 2).is_integer() else f"{size:.2f}"
    return f"{'−' if amount < 0 and number != '0' else ''}{plan.costs.currency}{number}"


def money_range(amount: float, low: float, high: float, plan: Plan) -> str:
    """An amount with its range: `$310 (range $270 to $350)`."""
    if not math.isfinite(amount) or not math.isfinite(low):
        return money(amount, plan)
    return f"{money(amount, plan)} (range {money(low, plan)} to {money(high, plan)})"
