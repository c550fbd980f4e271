"""Dressings, evaluations and debridements, and the pain asked for at debridement."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.world import CUTOFF, stream, weekday

RELIEF_TAKES = 15  # minutes of stimulation before; shorter relieves half as much
RELIEF = 1.6  # points of pain during debridement
EVALUATED_EVERY = 28


def procedures(
    seed: int, sores: pd.DataFrame, measured: pd.DataFrame, last: np.ndarray, inside: np.ndarray
) -> pd.DataFrame:
    """Weekly dressings and monthly evaluations of treated wounds, and debridement of dead tissue in any wound."""
    parts = [
        _dressings(seed, sores, measured, last),
        _evaluations(sores, measured, last, inside),
        _debridements(seed, sores, measured, last, inside),
    ]
    return pd.concat(parts, ignore_index=True)


def _dressings(seed: int, sores: pd.DataFrame, measured: pd.DataFrame, last: np.ndarray) -> pd.DataFrame:
    """One row a week stands for the week: the dressing of the day of the round, and the pain asked for at it."""
    start = sores["start"].to_numpy()[measured["row"]]
    here = (measured["state"] == "open") & (measured["day"] >= start - 14) & (measured["day"] <= last[measured["row"]])
    frame = measured.loc[here, ["row", "wound", "day"]].assign(procedure="dressing")
    return frame.assign(**_pain(seed, frame, sores, last, "dressing"))


def _evaluations(sores: pd.DataFrame, measured: pd.DataFrame, last: np.ndarray, inside: np.ndarray) -> pd.DataFrame:
    rows = []
    for row in np.flatnonzero(sores["start"].notna()):
        days = np.arange(sores["entry"][row] + 2, last[row] + 1, EVALUATED_EVERY).astype(int)
        days = days - np.maximum(weekday(days) - 4, 0)
        rows += [(row, day) for day in days if inside[sores["person"][row], day]]
    out = pd.DataFrame(rows, columns=["row", "day"])
    return out.assign(wound=sores["wound"].to_numpy()[out["row"]], procedure="evaluation")


def _debridements(
    seed: int, sores: pd.DataFrame, measured: pd.DataFrame, last: np.ndarray, inside: np.ndarray
) -> pd.DataFrame:
    """The day after a round that found dead tissue, two times in five; pain asked before, during and after."""
    rng = stream(seed, "debridements")
    luck = rng.random((len(sores), CUTOFF + 3))
    day = measured["day"] + 1
    luck_then = luck[measured["row"], day]
    dead = (measured["state"] == "open") & (measured["necrosis_share"] >= 20)
    there = (day <= CUTOFF) & inside[sores["person"].to_numpy()[measured["row"]], np.minimum(day, CUTOFF)]
    frame = measured.loc[dead & there & (luck_then < 0.4), ["row", "wound"]].assign(day=day, procedure="debridement")
    return frame.assign(**_pain(seed, frame, sores, last, "debridement"))


HURTS = {"debridement": 3.0, "dressing": 1.5}  # points more during it than before
STREAM = {"debridement": "pain", "dressing": "pain at dressings"}


def _pain(
    seed: int, frame: pd.DataFrame, sores: pd.DataFrame, last: np.ndarray, procedure: str
) -> dict[str, np.ndarray]:
    """Stimulation before a procedure takes a planted 1.6 points off the pain during it."""
    rng = stream(seed, STREAM[procedure])
    row, day, shape = frame["row"].to_numpy(), frame["day"].to_numpy(), (len(sores), CUTOFF + 3)
    coin, noise = rng.random((3, *shape))[:, row, day], rng.normal(0, 0.8, (3, *shape))[:, row, day]
    own = rng.normal(2.5, 1.3, sores["person"].max() + 1)[sores["person"].to_numpy()[row]]
    under_way = (day >= sores["start"].to_numpy()[row]) & (day <= last[row])
    relief = under_way & (sores["regimen"] != "ultrasound").to_numpy()[row] & (coin[0] < 0.6)
    minutes = np.where(coin[1] < 0.75, 15 + 5 * (coin[1] < 0.35), 10)
    eased = RELIEF * relief * np.where(minutes >= RELIEF_TAKES, 1.0, 0.5)
    before, during, after = own + noise[0], own + HURTS[procedure] + noise[1] - eased, own + 0.8 + noise[2] - eased / 4
    silent = coin[2] < 0.08
    return {
        "relief": np.where(relief, "yes", "no"),
        "relief_minutes": np.where(relief, minutes, np.nan),
        "pain_before": np.where(silent, np.nan, _points(before)),
        "pain_during": np.where(silent, np.nan, _points(during)),
        "pain_after": np.where(silent, np.nan, _points(after)),
    }


def _points(pain: np.ndarray) -> np.ndarray:
    return np.clip(np.round(pain), 0, 10)
