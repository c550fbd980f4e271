"""The comparison of a study, made once: everything that shows it reads the same numbers."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd

from kit.healing.answers import Answers, answer
from kit.healing.other_answers import other_answers
from kit.healing.reach import Reach, reach_of
from kit.healing.trials import Weeks, weeks_of
from kit.study import Study


@lru_cache(maxsize=8)
def weeks(study: Study) -> Weeks:
    """The weeks of the study's wounds, each judged at its end."""
    frames = (study.residents, study.wounds, study.measurements, study.stages, study.spans, study.departures)
    return weeks_of(study.episodes, *frames, study.plan)


@lru_cache(maxsize=8)
def reach_in_quarter(study: Study) -> Reach:
    """How many wounds could have been started in the quarter, and were."""
    return reach_of(weeks(study), study.plan)


@lru_cache(maxsize=8)
def compared(study: Study) -> Answers:
    """The answers of a study. A study is frozen, so asking twice costs once."""
    return answer(weeks(study), study.measurements, study.plan)


@lru_cache(maxsize=8)
def other_ways(study: Study) -> pd.DataFrame:
    """The same question answered in other ways."""
    return other_answers(compared(study), weeks(study), study.episodes, study.measurements, study.plan)
