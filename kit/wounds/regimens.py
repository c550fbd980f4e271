"""Which regimen a wound had: decided by its first session alone, so that no rule looks ahead."""

from __future__ import annotations

import pandas as pd

from kit.plan import Plan, Regimen

SEVERAL = "several at once"
OTHER = "outside the plan"


def given(sessions: pd.DataFrame) -> pd.DataFrame:
    """Sessions in which something was applied: given or shortened. One whose status is not known does not count."""
    return sessions[sessions["status"].isin(["given", "shortened"])]


def starts(sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The first session of every wound that had one.

    Columns in: wound, day, status and whatever the plan's rules ask about. Columns out: wound, start_day, regimen: the
    first rule of the plan that every session of the first day meets; "several at once" where only some of them meet
    any one rule, "outside the plan" where none meets any.
    """
    taken = given(sessions)
    first = taken.groupby("wound")["day"].transform("min")
    opening = taken[taken["day"] == first]
    days = opening.groupby("wound")["day"].first()
    names = pd.Series(OTHER, index=days.index, dtype=object)
    for regimen in reversed(plan.regimens):
        met = meets(opening, regimen).groupby(opening["wound"])
        names = names.mask(met.any() & (names == OTHER), SEVERAL).mask(met.all(), regimen.name)
    return pd.DataFrame({"wound": days.index, "start_day": days.to_numpy(), "regimen": names.to_numpy()})


def meets(sessions: pd.DataFrame, regimen: Regimen) -> pd.Series:
    """Which sessions meet the rule of a regimen; a column the rule does not name is free."""
    asked = {"modality": regimen.modality, "setup": regimen.setup, "polarity": regimen.polarity}
    met = pd.Series(True, index=sessions.index)
    for column, wanted in asked.items():
        if wanted is not None:
            met &= sessions[column] == wanted
    return met
