"""Which regimen a wound had: decided by its first session alone, so that no rule looks ahead."""

from __future__ import annotations

import pandas as pd

from kit.plan import Plan, Regimen

SEVERAL = "several at once"
OTHER = "outside the plan"


def given(sessions: pd.DataFrame) -> pd.DataFrame:
    """Sessions in which something was applied; one without a status counts as given."""
    return sessions[sessions["status"] != "missed"]


def starts(sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The first session of every wound that had one.

    Columns in: wound, day, status and whatever the plan's rules ask about. Columns out: wound, start_day, regimen: the
    first rule of the plan that every session of the first day meets; "several at once" where they meet different
    ones, "outside the plan" where they meet none.
    """
    taken = given(sessions)
    first = taken.groupby("wound")["day"].transform("min")
    opening = taken[taken["day"] == first]
    names = pd.Series(OTHER, index=opening.index, dtype=object)
    for regimen in reversed(plan.regimens):
        names = names.mask(meets(opening, regimen), regimen.name)
    opening = opening.assign(regimen=names)
    grouped = opening.groupby("wound", as_index=False)
    out = grouped.agg(start_day=("day", "first"), regimen=("regimen", "first"), ways=("regimen", "nunique"))
    return out.assign(regimen=out["regimen"].mask(out["ways"] > 1, SEVERAL)).drop(columns="ways")


def meets(sessions: pd.DataFrame, regimen: Regimen) -> pd.Series:
    """Which sessions meet the rule of a regimen; a column the rule does not name is free."""
    asked = {"modality": regimen.modality, "setup": regimen.setup, "polarity": regimen.polarity}
    met = pd.Series(True, index=sessions.index)
    for column, wanted in asked.items():
        if wanted is not None:
            met &= sessions[column] == wanted
    return met
