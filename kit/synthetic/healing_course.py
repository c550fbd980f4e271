"""The true course of each wound, with and without a start, on the same path of chance.

The radius falls by the wound's own speed, faster or slower from week to week, wobbles, and now and then is set back.
A start multiplies the speed and touches nothing else, so a wound has exactly two closing days, one with the start
and one without, and the first is never the later.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.synthetic.world import TRUE_DAYS, stream

CLOSED_BELOW = 0.15  # cm of radius: what is left is a scab
SETBACK_SHARE = 0.015  # of wound-weeks
WOBBLE = 0.03  # cm a week


@dataclass(frozen=True)
class Course:
    """Everything chance decides about a wound's healing, a row a wound.

    `healing` and `setbacks` are cm a day; `jumps` is cm in the wound's own weeks, counted from its entry.
    """

    entry: np.ndarray
    radius: np.ndarray
    healing: np.ndarray
    setbacks: np.ndarray
    jumps: np.ndarray


def course(seed: int, sores: pd.DataFrame) -> Course:
    """Draws the whole path of every wound."""
    rng, n = stream(seed, "course"), len(sores)
    entry = sores["entry"].to_numpy()
    since = np.arange(TRUE_DAYS)[None, :] - entry[:, None]
    week, weeks = np.maximum(since // 7, 0), TRUE_DAYS // 7 + 1
    pace = rng.gamma(3, 1 / 3, (n, weeks)) * sores["speed"].to_numpy()[:, None]
    jumps = np.where(rng.random((n, weeks)) < SETBACK_SHARE, rng.uniform(0.10, 0.30, (n, weeks)), 0.0)
    backward = jumps + rng.normal(0, WOBBLE, (n, weeks))
    daily = (since > 0) / 7
    return Course(
        entry,
        sores["radius"].to_numpy(),
        np.take_along_axis(pace, week, axis=1) * daily,
        np.take_along_axis(backward, week, axis=1) * daily,
        jumps,
    )


def radius_by_day(truth: Course, start: np.ndarray | None = None, effect: np.ndarray | None = None) -> np.ndarray:
    """Radius in cm on every day (wounds x days); `start` is NaN for wounds that never start."""
    healing = truth.healing
    if start is not None:
        started = np.arange(TRUE_DAYS)[None, :] > np.nan_to_num(start, nan=np.inf)[:, None]
        healing = np.where(started, healing * effect[:, None], healing)
    return truth.radius[:, None] + np.cumsum(truth.setbacks - healing, axis=1)


def closing_day(radius: np.ndarray) -> np.ndarray:
    """First day on which the wound is truly closed; NaN where that is not within the invented time."""
    closed = radius <= CLOSED_BELOW
    return np.where(closed.any(axis=1), closed.argmax(axis=1), np.nan)
