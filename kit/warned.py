"""The warnings of a study, made once, and the answers that may be told after them."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import pandas as pd

from kit.bias.evidence import Evidence
from kit.bias.warnings import always_shown, stopped_by, warnings
from kit.compared import compared, other_ways, weeks
from kit.healing.answers import Answers, withheld
from kit.healing.other_answers import other_answers
from kit.kept import kept
from kit.study import Study

Earlier = tuple[tuple[int, str], ...]


def evidence_of(study: Study, earlier: Earlier = ()) -> Evidence:
    """What the warnings are read from. `earlier`: last day and rules of each earlier quarter's report, oldest first."""
    return _evidence(study, earlier)


@lru_cache(maxsize=8)
def _evidence(study: Study, earlier: Earlier) -> Evidence:
    looks = pd.DataFrame(list(earlier), columns=["quarter_ends", "plan"])
    return Evidence(study, weeks(study), compared(study), other_ways(study), looks)


def warned(study: Study, earlier: Earlier = ()) -> pd.DataFrame:
    """The warnings of a study, as `kit.bias.warnings` returns them. Asking twice costs once."""
    return _warned(study, earlier)


@lru_cache(maxsize=8)
def _warned(study: Study, earlier: Earlier) -> pd.DataFrame:
    def make() -> pd.DataFrame:
        return warnings(evidence_of(study, earlier))

    if earlier:  # what earlier reports were made of is no part of the study
        return make()
    return kept(study, "warnings", make, lambda table: {"table": table}, lambda parts: parts["table"])


@lru_cache(maxsize=8)
def shown_of(study: Study) -> pd.DataFrame:
    """The numbers that are always shown, of the answers that may be told; the same columns."""
    return always_shown(replace(evidence_of(study), answers=answers_of(study)))


@lru_cache(maxsize=8)
def answers_of(study: Study) -> Answers:
    """The answers that may be told: without any number that compares, where a warning stops the comparison."""
    return withheld(compared(study), stopped_by(warned(study)))


@lru_cache(maxsize=8)
def ways_of(study: Study) -> pd.DataFrame:
    """The same question answered in other ways, where it may be answered at all."""
    answers = answers_of(study)
    if not answers.told["withheld_for"].iloc[0]:
        return other_ways(study)
    return other_answers(answers, weeks(study), study.episodes, study.measurements, study.plan)
