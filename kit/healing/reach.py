"""How many wounds could have been started in the quarter, and how many of them were."""

from __future__ import annotations

from dataclasses import dataclass

from kit.healing.trials import Weeks
from kit.plan import Plan


@dataclass(frozen=True)
class Reach:
    """Wounds, on how many residents, that could have been started in a week of the quarter, and those that were."""

    wounds: int
    residents: int
    started: int


def reach_of(weeks: Weeks, plan: Plan) -> Reach:
    """Counted over the weeks that end in the quarter; over all where the export shares no calendar.

    Which weeks those are in which a wound could have been started is told in `kit.healing.trials`. A wound counts once,
    however many such weeks it had. A week that ends on the quarter's last day is not yet over for a wound still open,
    and belongs to the next quarter.
    """
    rows = weeks.weeks
    could = rows[rows["before"] & (rows["reason"] == "")]
    if plan.cutoff is not None:
        could = could[could["ends"].between(plan.quarter_begins - 1, plan.cutoff - 1)]
    begun = could[could["starts"] != ""]
    return Reach(could["wound"].nunique(), could["resident"].nunique(), begun["wound"].nunique())
