"""Who is started, and on what: decided week by week from what the chart holds, and chance.

Nothing that the chart does not hold moves a start: no hidden speed, no future closing. That is what makes the
planted effect recoverable; a facility's own chart gives no such promise.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.rounds import Chart, Visits
from kit.synthetic.sores import FULL_THICKNESS
from kit.synthetic.world import (
    BROKEN_DEVICE,
    CUTOFF,
    FACILITIES,
    OUTBREAK,
    PLACE,
    REGIMENS,
    Episode,
    stream,
    weekday,
)

USUAL_CARE = 14  # days before the first start
AT_ONE_TIME = 2  # wounds of one person that a therapist takes on
PAYER_PULL = {"medicare_b": 0.3, "managed_care": 0.3, "private": -0.3}


def starts(
    seed: int,
    plan: Visits,
    seen: Chart,
    sores: pd.DataFrame,
    stage: np.ndarray,
    inside: np.ndarray,
    bars: pd.DataFrame,
) -> pd.DataFrame:
    """One row a wound: start (day, NaN for never) and regimen ("" for none).

    `bars` has a row a person: barred, comfort (day, NaN for never), first, switch and second payer.
    """
    rng = stream(seed, "starts")
    coin, regimen = rng.random(plan.day.shape), _regimens(rng, sores)
    session_day = plan.day + rng.integers(1, 4, plan.day.shape)
    session_day += np.select([weekday(session_day) == 5, weekday(session_day) == 6], [2, 1], 0)
    chosen = coin < _chance(plan, seen, sores, stage, bars)
    chosen &= _possible(plan, seen, sores, stage, bars, inside, session_day)
    visit = chosen.argmax(axis=1)
    start = np.where(chosen.any(axis=1), session_day[np.arange(len(sores)), visit], np.nan)
    start = _at_most(start, sores["person"].to_numpy())
    return pd.DataFrame({"start": start, "regimen": np.where(np.isnan(start), "", regimen)})


def slope_so_far(plan: Visits, seen: Chart) -> np.ndarray:
    """Change of log area a week since the first measurement, as charted; above zero is growth."""
    area = np.log(seen.length * seen.width)
    weeks = np.maximum(plan.day - plan.day[:, :1], 1) / 7
    return (area - area[:, :1]) / weeks


def _chance(plan: Visits, seen: Chart, sores: pd.DataFrame, stage: np.ndarray, bars: pd.DataFrame) -> np.ndarray:
    """Larger, stalled and deep wounds are likelier to be started; the first weeks are likelier than later ones."""
    level = np.array([facility.start_level for facility in FACILITIES])[sores["place"].to_numpy()]
    logit = (
        level[:, None]
        + 0.40 * np.log(seen.length * seen.width / 4)
        + 5.0 * np.clip(slope_so_far(plan, seen), -0.4, 0.2)
        + 0.35 * np.isin(stage, FULL_THICKNESS)
        - 0.04 * (plan.day - plan.day[:, :1]) / 7
        + _payer_pull(plan, sores, bars)
    )
    return 1 / (1 + np.exp(-logit))


def _payer_pull(plan: Visits, sores: pd.DataFrame, bars: pd.DataFrame) -> np.ndarray:
    who = bars.iloc[sores["person"]].reset_index(drop=True)
    switched = plan.day >= who["switch"].fillna(np.inf).to_numpy()[:, None]
    first, second = (who[column].map(PAYER_PULL).fillna(0).to_numpy()[:, None] for column in ("first", "second"))
    return np.where(switched, second, first)


def _possible(
    plan: Visits,
    seen: Chart,
    sores: pd.DataFrame,
    stage: np.ndarray,
    bars: pd.DataFrame,
    inside: np.ndarray,
    session_day: np.ndarray,
) -> np.ndarray:
    """Measured open at this visit, past usual care, program running, not barred, in the building for the session."""
    person, place = sores["person"].to_numpy(), sores["place"].to_numpy()
    launch = np.array([facility.launch for facility in FACILITIES])[place]
    comfort = bars["comfort"].fillna(np.inf).to_numpy()[person]
    there = inside[person[:, None], np.minimum(session_day, CUTOFF)] & (session_day <= CUTOFF - 21)
    return (
        seen.open
        & (plan.day - plan.day[:, :1] >= USUAL_CARE)
        & (plan.day >= launch[:, None])
        & (stage != "1")
        & there
        & (session_day < comfort[:, None] - 7)
        & ~bars["barred"].to_numpy()[person][:, None]
        & ~_shut(OUTBREAK, place, session_day)
        & ~_shut(BROKEN_DEVICE, place, session_day)
    )


def _shut(episode: Episode, place: np.ndarray, day: np.ndarray) -> np.ndarray:
    return (place == PLACE[episode.facility])[:, None] & episode.covers(day)


def _regimens(rng: np.random.Generator, sores: pd.DataFrame) -> np.ndarray:
    edges = np.cumsum([facility.leaning for facility in FACILITIES], axis=1)[sores["place"].to_numpy()]
    return np.array(REGIMENS)[(rng.random(len(sores))[:, None] > edges[:, :-1]).sum(axis=1)]


def _at_most(start: np.ndarray, person: np.ndarray) -> np.ndarray:
    order = pd.Series(start).groupby(person).rank(method="first")
    return np.where(order <= AT_ONE_TIME, start, np.nan)
