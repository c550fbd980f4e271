"""The comparison of a study, made once: everything that shows it reads the same numbers."""

from __future__ import annotations

from dataclasses import fields
from functools import lru_cache, partial

import pandas as pd

from kit.healing.answers import Answers, answer
from kit.healing.comparison import laid_out
from kit.healing.other_answers import other_answers
from kit.healing.reach import Reach, reach_of
from kit.healing.trials import Weeks, weeks_of
from kit.kept import Parts, kept
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

    def together(parts: Parts) -> Answers:
        layout = laid_out(weeks(study).weeks, study.measurements, study.plan, parts["horizon_weeks"])
        return Answers(layout=layout, **parts)

    return kept(study, "compared", lambda: answer(weeks(study), study.measurements, study.plan), _apart, together)


def _apart(answers: Answers) -> Parts:
    """The answers without the layout, in which wounds and residents stand and which is laid out in no time."""
    return {field.name: getattr(answers, field.name) for field in fields(Answers) if field.name != "layout"}


@lru_cache(maxsize=8)
def other_ways(study: Study) -> pd.DataFrame:
    """The same question answered in other ways."""
    asked = (compared(study), weeks(study), study.episodes, study.measurements, study.plan)
    make = partial(other_answers, *asked)
    return kept(study, "other_ways", make, lambda table: {"table": table}, lambda parts: parts["table"])
