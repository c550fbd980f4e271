"""What a whole group's wounds would have come to, given what was charted at entry: one logistic model."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weights import expit, logistic

CASE_MIX = ("size", "stage", "age of the wound", "kind", "necrosis")
# Odds for a standard deviation of a column are taken to lie near none, with this standard deviation of their logarithm:
# it keeps few closings from running away (Gelman et al. 2008, Ann Appl Stat 2:1360, give 2.5 as scale).
SPREAD = 2.5
KIND_FROM = 10  # wounds that a kind or stage needs for a column of its own; common practice, no source


def design(
    own: pd.DataFrame, measurements: pd.DataFrame, wounds: pd.DataFrame, covariates: tuple[str, ...] = CASE_MIX
) -> tuple[np.ndarray, tuple[str, ...]]:
    """An intercept and what was charted at entry, standardized; and the names of what varied.

    A column that is not charted counts as the mean, with a column of its own for not being charted.
    """
    told = _charted(own, measurements, wounds)
    columns, names = [np.ones(len(own))], []
    for name in covariates:
        kept = [column for column in told[name] if np.nanstd(column) > 1e-9]
        columns += [(column - column.mean()) / column.std() for column in kept]
        names += [name] if kept else []
    return np.column_stack(columns), tuple(names)


def _charted(own: pd.DataFrame, measurements: pd.DataFrame, wounds: pd.DataFrame) -> dict[str, list[np.ndarray]]:
    entry = measurements.rename(columns={"day": "entry_day"}).drop_duplicates(["wound", "entry_day"])
    entry = own[["wound", "entry_day"]].merge(
        entry[["wound", "entry_day", "necrosis_share"]].astype({"entry_day": "Int64"}), on=["wound", "entry_day"],
        how="left",
    )  # fmt: skip
    onset = own["wound"].map(wounds.set_index("wound")["onset"])
    age = (own["entry_day"].astype(float) - onset.astype("Float64").astype("float64")).clip(lower=0)
    size = own["entry_size"].astype(float)
    return {
        "size": _filled(np.log(size.where(size > 0))),
        "stage": _kinds(own["entry_stage"]),
        "age of the wound": _filled(np.log1p(age)),
        "kind": _kinds(own["kind"]),
        "necrosis": _filled(entry["necrosis_share"].astype(float)),
    }


def _filled(values: pd.Series) -> list[np.ndarray]:
    missing = values.isna().to_numpy(dtype=float)
    if missing.all():
        return []
    return [values.fillna(values.mean()).to_numpy(dtype=float), missing]


def _kinds(values: pd.Series) -> list[np.ndarray]:
    """A column for each word that enough wounds carry; the others are what all of them are nought for."""
    counts = values.astype(object).value_counts()
    return [(values == name).to_numpy(dtype=float) for name in sorted(counts.index[counts >= KIND_FROM])]


def fitted(columns: np.ndarray, observed: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Each row's expected chance, for each set of counts (rows x sets, the whole sample first), from a logistic model.

    Parts observed may lie beyond 0 and 1. As the intercept is not held, the expected add up to the observed, each
    counted so often. A set without any that came to it, or without any that did not, takes the model of the first.
    """
    holding = np.full(columns.shape[1], 1 / SPREAD**2)
    whole = logistic(columns, observed, counts[:, :1], holding)
    return expit(columns @ logistic(columns, observed, counts, holding, whole))
