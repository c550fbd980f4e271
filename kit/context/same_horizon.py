"""Which published arms may stand beside a program's number: of the same modality, kind, measure, week and stages."""

from __future__ import annotations

import re

import pandas as pd

from kit.context.after_start import STAGES_OF
from kit.context.not_comparable import A_WEEK, CLOSED
from kit.context.published_trials import BOTH, TREATED

NEAR = 0.5  # weeks: a study counts at a week where its own is the same when rounded
OTHER_SOURCE = "other source"


def horizon_of(measure: str) -> str:
    """The column of published studies that tells when a measure was taken."""
    return "closed_weeks" if measure == CLOSED else "reduction_weeks"


def arms(listed: pd.DataFrame, modality: str, kind: str, arm: str, measure: str) -> pd.DataFrame:
    """Published arms of one modality and kind of wound that have the measure, treated or control.

    Columns out: those of `kit.context.published_trials.trials`, value (percent; percent a week over the weeks), number
    (people or wounds counted) and weeks. A control that stands beside both modalities counts for each; what another
    source reads otherwise is left out, another day of the same study stays in.
    """
    wanted = [modality] if arm == TREATED else [modality, BOTH]
    own = listed[listed["arm"].str.startswith(arm) & listed["modality"].isin(wanted) & (listed["kind"] == kind)]
    own = own[own["reading"] != OTHER_SOURCE]
    weeks = own[horizon_of(measure)].astype("float64")
    if measure == CLOSED:
        value = 100 * own["closed"].astype("float64") / own["closed_of"].astype("float64")
    else:
        value = own["reduction"].astype("float64")
        value = value / weeks if measure == A_WEEK else value
    number = own["closed_of" if measure == CLOSED else "reduction_of"]
    told = own.assign(value=value, number=number.astype("float64"), weeks=weeks)
    return told[value.notna() & weeks.notna()]


def at_week(found: pd.DataFrame, week: int) -> pd.DataFrame:
    """The arms whose own week is this one, to the nearest; no neighbour is taken where there is none."""
    return found[(found["weeks"] - week).abs() <= NEAR]


def of_stages(found: pd.DataFrame, group: str) -> pd.DataFrame:
    """The arms known to hold wounds of the group's stages alone; any arm where the group is of all stages, or other."""
    if group not in STAGES_OF:
        return found
    wanted = set(STAGES_OF[group])
    holds = [bool(held := stages_in(words)) and held <= wanted for words in found["stages"]]
    return found[pd.Series(holds, index=found.index, dtype=bool)]


def stages_in(words: str) -> set[str]:
    """The stages that a study names: `1 to 3` is 1, 2 and 3; none where they are not told, or not all of them."""
    span = re.fullmatch(r"([1-4])(?: to ([1-4]))?", words)
    return {str(stage) for stage in range(int(span[1]), int(span[2] or span[1]) + 1)} if span else set()
