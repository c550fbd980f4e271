"""Four questions asked of the published studies: stimulation and ultrasound, size and closing of pressure injuries."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from kit.context.pooling import (
    COLUMNS,
    left_out,
    log_risk_ratios,
    mantel_haenszel,
    mean_differences,
    of_groups,
    pooled,
    small_studies,
)  # fmt: skip
from kit.context.published_trials import BOTH, CLOSING, CONTROL, SIZE, STIMULATION, ULTRASOUND, reviews, trials
from kit.delivery.published import PUBLISHED

PRESSURE = "pressure_injury"
AS_COUNTED, UNDOUBTED = "as counted", "without doubtful rows"
# A doubt that begins so is of these numbers alone; any other is of the whole row.
DOUBT_OF = {CLOSING: "Closings:", SIZE: "Size:"}
POPULATION = (
    "trial", "arm", "year", "kind", "stages", "setting", "agent", "minutes", "per_week", "for_weeks", "counted",
    "number", "weeks",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Body:
    """What published studies say of one modality and one measure (closing or size), in pressure injuries alone.

    `arms` are the rows pooled, `effects` a study each (logarithms of ratios, or points of percent), `pooled` a way
    each; `readings` pools the same under other readings and without doubtful rows (columns reading, trials, and those
    of `pooled`). `small`, `without` and `groups` are of `kit.context.pooling`. `doubts` holds trial and doubt,
    `populations` whom an arm counted and what it was given, `not_pooled` the studies that lack what pooling needs
    (trial, lacks).
    """

    modality: str
    measure: str
    arms: pd.DataFrame
    effects: pd.DataFrame
    pooled: pd.DataFrame
    readings: pd.DataFrame
    small: pd.DataFrame
    without: pd.DataFrame
    groups: pd.DataFrame
    doubts: pd.DataFrame
    populations: pd.DataFrame
    not_pooled: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Published:
    """All that was published, as listed, and the four bodies of evidence made of it."""

    trials: pd.DataFrame
    reviews: pd.DataFrame
    stimulation_size: Body
    stimulation_closing: Body
    ultrasound_closing: Body
    ultrasound_size: Body

    @property
    def bodies(self) -> tuple[Body, ...]:
        return self.stimulation_size, self.stimulation_closing, self.ultrasound_closing, self.ultrasound_size


def evidence(folder: Path = PUBLISHED) -> Published:
    """The published studies read from `folder` and pooled; wounds of other kinds than pressure injuries are never.

    Raises ExportError as `kit.context.published_trials.trials` does.
    """
    listed, reviewed = trials(folder / "trials.csv"), reviews(folder / "reviews.csv")
    asked = [(STIMULATION, SIZE), (STIMULATION, CLOSING), (ULTRASOUND, CLOSING), (ULTRASOUND, SIZE)]
    return Published(listed, reviewed, *(body_of(listed, modality, measure) for modality, measure in asked))


def body_of(listed: pd.DataFrame, modality: str, measure: str, kind: str = PRESSURE) -> Body:
    """The studies of one modality, measure and kind of wound, pooled; takes the frame of `trials`."""
    own = listed[listed["modality"].isin([modality, BOTH]) & (listed["kind"] == kind)]
    may = own[own["pools"].str.contains(measure)]
    arms = may[may["reading"] == ""].reset_index(drop=True)
    effects, ways = _pooled(arms, measure)
    groups = listed.drop_duplicates("trial").set_index("trial")["group"]
    return Body(
        modality=modality,
        measure=measure,
        arms=arms,
        effects=effects,
        pooled=ways,
        readings=_readings(may, measure),
        small=small_studies(effects),
        without=left_out(effects, groups),
        groups=of_groups(effects, groups),
        doubts=_doubts(may, measure),
        populations=_populations(arms, measure),
        not_pooled=_not_pooled(own, arms, measure),
    )


def as_ratios(frame: pd.DataFrame, measure: str) -> pd.DataFrame:
    """The same rows with estimate, low and high as a reader wants them: ratios of closing for their logarithms."""
    columns = ["estimate", "low", "high"]
    return frame.assign(**np.exp(frame[columns].astype(float))) if measure == CLOSING else frame


def _pooled(arms: pd.DataFrame, measure: str) -> tuple[pd.DataFrame, pd.DataFrame]:
    if measure == SIZE:
        effects = mean_differences(arms)
        return effects, pooled(effects)
    effects = log_risk_ratios(arms)
    return effects, pd.concat([pooled(effects), mantel_haenszel(arms)], ignore_index=True)


def _readings(may: pd.DataFrame, measure: str) -> pd.DataFrame:
    """The pool as counted, without doubtful rows, and with each other reading in the place of the one that counts."""
    first = may[may["reading"] == ""]
    doubtful = first.loc[_is_doubted(first, measure), "trial"]
    cases = {AS_COUNTED: first, UNDOUBTED: first[~first["trial"].isin(doubtful)]}
    for (trial, reading), rows in may[may["reading"] != ""].groupby(["trial", "reading"], sort=False):
        stays = ~((first["trial"] == trial) & first["arm"].isin(rows["arm"]))
        cases[f"{trial}: {reading}"] = pd.concat([first[stays], rows]).sort_index()
    parts = [
        _pooled(arms, measure)[1].assign(reading=reading, trials=", ".join(arms["trial"].unique()))
        for reading, arms in cases.items()
    ]
    return pd.concat(parts, ignore_index=True)[["reading", "trials", *COLUMNS]]


def _is_doubted(rows: pd.DataFrame, measure: str) -> pd.Series:
    """Whether there is a doubt of this measure: one of the other alone does not count."""
    others = tuple(head for name, head in DOUBT_OF.items() if name != measure)
    return (rows["doubt"] != "") & ~rows["doubt"].str.startswith(others)


def _doubts(may: pd.DataFrame, measure: str) -> pd.DataFrame:
    return may.loc[_is_doubted(may, measure), ["trial", "doubt"]].drop_duplicates(ignore_index=True)


def _populations(arms: pd.DataFrame, measure: str) -> pd.DataFrame:
    """Whom each arm counted, how many of them, after how many weeks, and what it was given."""
    number, weeks = ("closed_of", "closed_weeks") if measure == CLOSING else ("reduction_of", "reduction_weeks")
    return arms.assign(number=arms[number], weeks=arms[weeks])[list(POPULATION)]


def _not_pooled(own: pd.DataFrame, arms: pd.DataFrame, measure: str) -> pd.DataFrame:
    rest = own[~own["trial"].isin(arms["trial"]) & (own["reading"] == "")]
    lacking = [(trial, _lacks(rows, measure)) for trial, rows in rest.groupby("trial", sort=False)]
    return pd.DataFrame(lacking, columns=["trial", "lacks"])


def _lacks(rows: pd.DataFrame, measure: str) -> str:
    """Why a study is not in the pool: the first of what it lacks."""
    counted = rows["closed" if measure == CLOSING else "reduction"].notna()
    if not counted.all():
        return "no count of closings was seen" if measure == CLOSING else "a mean reduction was not seen"
    if not rows["arm"].str.startswith(CONTROL).any():
        return "there is no control"
    return "no spread was seen" if measure == SIZE else "not fit to be pooled"
