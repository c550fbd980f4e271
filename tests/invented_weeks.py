"""Weeks of small invented facilities and of drawn studies, as `kit.healing.trials` judges them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from unittest.mock import patch

import numpy as np
import pandas as pd

from benchmarks import invented_facility
from benchmarks.invented_facility import Scenario, plan_of, simulate
from kit.healing.trials import Weeks, weeks_of
from kit.plan import Plan
from kit.study import Study

# What the invention leaves out of its tables: nothing of it is charted.
CHARTED = ["age", "risk_total", "continence", "diabetes", "perfusion", "mobility", "weight_loss"]
NO_STAGES = pd.DataFrame({"wound": [], "day": [], "stage_of_record": []}).astype({"wound": object, "day": "int64"})
NO_SPANS = pd.DataFrame({name: [] for name in ("resident", "wound", "span", "value", "from_day", "to_day")}).astype(
    {"resident": object, "wound": object, "span": object, "from_day": "Int64", "to_day": "Int64"}
)


@dataclass(frozen=True, eq=False)
class Facility:
    """What a comparison reads."""

    judged: Weeks
    measurements: pd.DataFrame
    episodes: pd.DataFrame
    plan: Plan

    @property
    def weeks(self) -> pd.DataFrame:
        return self.judged.weeks

    def with_weeks(self, weeks: pd.DataFrame) -> Facility:
        return replace(self, judged=replace(self.judged, weeks=weeks))


@cache
def invented(scenario: Scenario, seed: int = 1) -> Facility:
    """The weeks of one invented facility; how many start is met roughly, by a small pilot."""
    with patch.multiple(invented_facility, PILOTS=1, PILOT=1000):
        invented_facility._level.cache_clear()
        made = simulate(scenario, np.random.default_rng(seed))
        invented_facility._level.cache_clear()
    plan = plan_of(scenario)
    residents = made.residents.reindex(columns=[*made.residents, *CHARTED])
    wounds = made.wounds.reindex(columns=[*made.wounds, "present_on_admission"])
    measurements = made.measurements.reindex(columns=[*made.measurements, "necrosis_share"])
    judged = weeks_of(made.episodes, residents, wounds, measurements, NO_STAGES, NO_SPANS, made.departures, plan)
    return Facility(judged, measurements, made.episodes, plan)


def of_study(study: Study) -> Facility:
    """The weeks of a study drawn as text."""
    judged = weeks_of(
        study.episodes, study.residents, study.wounds, study.measurements, study.stages, study.spans,
        study.departures, study.plan,
    )  # fmt: skip
    return Facility(judged, study.measurements, study.episodes, study.plan)
