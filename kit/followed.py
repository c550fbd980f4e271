"""The sizes of a study followed over time, made once: everything that shows them reads the same numbers."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import lru_cache

import pandas as pd

from kit.compared import weeks
from kit.kept import Parts, kept
from kit.study import Study
from kit.trajectories.changes import LOG
from kit.trajectories.courses import Courses, courses, without_starts
from kit.trajectories.delayed import forecasts
from kit.trajectories.models import modelled
from kit.trajectories.slopes import Slopes, slopes
from kit.trajectories.standing import standing
from kit.trajectories.summaries import summaries, summary_table


@lru_cache(maxsize=8)
def courses_of(study: Study) -> Courses:
    """The sizes of the study's wounds as rows of a model."""
    return courses(study.episodes, weeks(study).weeks, study.measurements, study.plan)


@lru_cache(maxsize=8)
def slopes_of(study: Study) -> Slopes | None:
    """How fast sizes change, and the slope before and after a start; None where there are too few sizes."""

    def together(parts: Parts) -> Slopes | None:
        return _slopes_again(courses_of(study), parts) if "log" in parts else None

    return kept(study, "slopes", lambda: slopes(courses_of(study), study.episodes), _slopes_apart, together)


def _slopes_apart(found: Slopes | None) -> Parts:
    """The slopes without the courses, which are of wounds; of the main model, what its draws came to."""
    if found is None:
        return {}
    apart = {field.name: getattr(found, field.name) for field in fields(Slopes) if field.name != "courses"}
    return apart | {"log": pd.DataFrame(found.log.drawn, columns=[f"c{at}" for at in range(found.log.drawn.shape[1])])}


def _slopes_again(seen: Courses, parts: Parts) -> Slopes:
    once = modelled(seen, LOG, 0, parts["seed"])
    return Slopes(**parts | {"courses": seen, "log": replace(once, drawn=parts["log"].to_numpy())})


@lru_cache(maxsize=8)
def standing_of(study: Study) -> pd.DataFrame:
    """Where each open wound stands beside the course expected of wounds like it, whatever it was treated with."""
    seen = courses(without_starts(study.episodes), weeks(study).weeks, study.measurements, study.plan)
    return standing(seen, study.episodes, study.measurements, study.plan)


def standing_in(whole: Study, facility: str) -> pd.DataFrame:
    """The open wounds of one facility beside wounds like them in all of them; of all where none is named."""
    told = standing_of(whole)
    return told[told["facility"] == facility].reset_index(drop=True) if facility else told


def first_weeks_of(study: Study) -> pd.DataFrame:
    """What wounds' first weeks come to by hand: quartiles of percent reduction and of the advance of the edge."""
    return summary_table(summaries(study.episodes, study.measurements, study.plan))


def forecasts_of(study: Study) -> pd.DataFrame:
    """How often the closing week predicted from a wound's first sizes was right on later weeks of the same data."""
    return forecasts(study.episodes, study.measurements, study.plan)
