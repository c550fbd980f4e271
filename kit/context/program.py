"""The program's own numbers, made once for everything that stands beside published studies."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, partial

import pandas as pd

from kit.context.after_start import MODALITIES, PRESSURE, after_start
from kit.delivered import delivered
from kit.delivery.dose import doses, treated_days
from kit.healing.resampling import DRAWS, SEED
from kit.kept import kept
from kit.plan import WEEK
from kit.study import Study

RULED = ("rectangle", "ellipse")
QUARTERS = {"low": 0.25, "high": 0.75}


@dataclass(frozen=True, eq=False)
class Program:
    """What a program's numbers are made of.

    `started` is the frame of `kit.context.after_start`. `dose`: a row a modality, of pressure injuries that started:
    wounds, treated_weeks, minutes_a_week (median) and days_a_week (mean) of treated weeks, each with its quartiles
    (minutes_low, minutes_high, days_low, days_high). `people`: a row a modality: residents, known (ages), age (median),
    age_low, age_high (quartiles), ruler (share of all sizes had from length and width).
    """

    started: pd.DataFrame
    dose: pd.DataFrame
    people: pd.DataFrame


@lru_cache(maxsize=8)
def program_of(study: Study, draws: int = DRAWS, seed: int = SEED) -> Program:
    """The program's numbers: of wounds of the cohort that started, over the whole export and not only the quarter."""
    make = partial(_program, study, draws, seed)
    return kept(study, f"program-{draws}-{seed}", make, lambda made: vars(made).copy(), lambda parts: Program(**parts))


def _program(study: Study, draws: int, seed: int) -> Program:
    started = after_start(study.episodes, study.measurements, study.sessions, study.plan, draws=draws, seed=seed)
    own = study.episodes[study.episodes["in_cohort"] & ~study.episodes["running"] & study.episodes["start_day"].notna()]
    days = treated_days(delivered(study).told, study.plan)
    days = days[days["wound"].isin(own.loc[own["kind"] == PRESSURE, "wound"])].astype({"modality": object})
    return Program(started, _dose(days, study), _people(days, study))


def _dose(days: pd.DataFrame, study: Study) -> pd.DataFrame:
    told = doses(days.assign(facility="", setup=""), study.plan).set_index("modality")
    told = told[["wounds", "treated_weeks", "minutes_a_week", "days_a_week"]].astype(float)
    week = (days["day"] - days.groupby(["wound", "modality"])["day"].transform("min")) // WEEK
    by = days.assign(week=week).groupby(["modality", "wound", "week"])["day_minutes"]
    weeks = pd.DataFrame({"days": by.size(), "minutes": by.sum().where(by.count() == by.size())}).astype(float)
    quarters = {
        f"{name}_{end}": weeks[name].groupby("modality").quantile(part)
        for name in ("minutes", "days")
        for end, part in QUARTERS.items()
    }
    whole = told.join(pd.DataFrame(quarters, index=told.index)).reindex(list(MODALITIES)).rename_axis("modality")
    return whole.fillna({"wounds": 0, "treated_weeks": 0}).reset_index()


def _people(days: pd.DataFrame, study: Study) -> pd.DataFrame:
    age = study.residents.set_index("resident")["age"].astype(float)
    ways = study.measurements["size_from"].dropna()
    ruler = float(ways.isin(RULED).mean()) if len(ways) else 0.0
    return pd.DataFrame([_person_row(days[days["modality"] == name], name, age, ruler) for name in MODALITIES])


def _person_row(days: pd.DataFrame, modality: str, age: pd.Series, ruler: float) -> dict[str, object]:
    people = days["resident"].drop_duplicates()
    ages = people.map(age).astype(float).dropna()
    return {
        "modality": modality,
        "residents": len(people),
        "known": len(ages),
        "age": ages.median(),
        **{f"age_{end}": ages.quantile(part) for end, part in QUARTERS.items()},
        "ruler": ruler,
    }
