"""Facilities in which all that could be started were, or none: nobody there stands beside anybody."""

from __future__ import annotations

import pandas as pd

from kit.healing.trials import trials
from kit.plan import Plan

ALL_STARTED, NONE_STARTED = "all that could be started were", "none was started"
NONE_COULD = "none could have been started in the months that are compared"


def one_sided(weeks: pd.DataFrame, facilities: tuple[str, ...], plan: Plan, horizon: int) -> pd.DataFrame:
    """The facilities that are set aside from the comparison, in alphabetical order, and why: facility, why.

    `weeks`: of `kit.healing.trials.Weeks`; `horizon`: in days, the one that is compared.
    """
    formed = trials(weeks, plan, horizon)
    began = (formed["starts"] != "").groupby(formed["facility"]).mean()
    started = set(weeks.loc[weeks["starts"] != "", "facility"])
    reasons = {home: _why(began.get(home), home in started) for home in sorted(facilities)}
    rows = [(home, why) for home, why in reasons.items() if why]
    return pd.DataFrame(rows, columns=["facility", "why"])


def _why(began: float | None, started: bool) -> str:
    if began is None:
        return NONE_COULD if started else NONE_STARTED
    return ALL_STARTED if began == 1 else NONE_STARTED if began == 0 else ""
