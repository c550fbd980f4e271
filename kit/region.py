"""A study's facilities side by side, made once: everything that shows them reads the same numbers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import pandas as pd
from threadpoolctl import threadpool_limits

from kit.compared import weeks
from kit.context.case_mix import case_mix
from kit.context.funnel import Funnel, funnel
from kit.context.one_sided import one_sided
from kit.delivered import fates_ever
from kit.delivery.shortfalls import given
from kit.kept import kept
from kit.plan import WEEK
from kit.study import Study
from kit.warned import answers_of


@dataclass(frozen=True, eq=False)
class Region:
    """`mixed`: the frame of `kit.context.case_mix`; `funnel`: its limits and shares drawn in; `one_sided`: facilities
    set aside from the comparison, and why; `given`: of each facility sessions_due, sessions_full (those that reached
    the protocol's minutes) and full_share, over the whole export; `withheld_for`: the warning that stops comparisons,
    else blank: what was given then stands beside nothing.
    """

    facilities: tuple[str, ...]
    mixed: pd.DataFrame
    funnel: Funnel
    one_sided: pd.DataFrame
    given: pd.DataFrame
    withheld_for: str


@lru_cache(maxsize=8)
def region_of(study: Study) -> Region:
    """The facilities of a study side by side. A study is frozen, so asking twice costs once."""
    answers = answers_of(study)
    mixed = mixed_of(study)
    asked = (weeks(study).weeks, study.facilities, study.plan, answers.horizon_weeks * WEEK)
    return Region(
        facilities=study.facilities,
        mixed=mixed,
        funnel=funnel(mixed, study.plan.comparison.facility_spread),
        one_sided=one_sided(*asked) if len(study.facilities) > 1 else one_sided(*asked).head(0),
        given=given(fates_ever(study)),
        withheld_for=answers.told["withheld_for"].iloc[0],
    )


@lru_cache(maxsize=8)
def mixed_of(study: Study) -> pd.DataFrame:
    """Each facility's wounds beside what the group would have had with them: the frame of `kit.context.case_mix`."""

    def make() -> pd.DataFrame:
        with threadpool_limits(1):  # the products are small: several threads would only wait for each other
            return case_mix(study.episodes, study.measurements, study.wounds, study.plan)

    return kept(study, "mixed", make, lambda table: {"table": table}, lambda parts: parts["table"])
