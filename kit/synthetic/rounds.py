"""What the chart holds of a wound: weekly rounds, a ruler, the people who hold it, and rounds that fall out.

All chance in measuring is drawn once for each wound and visit, so that the chart of a wound with its start and the
chart of the same wound without differ by the start alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.synthetic.world import (
    COPIER,
    CUTOFF,
    DAYS,
    FACILITIES,
    HALF_CENTIMETRES,
    OUTBREAK,
    PLACE,
    TRUE_DAYS,
    stream,
)

MISSED = 0.12
MEASURED_IN_OUTBREAK = 0.15
RULER = 0.05  # share of a length by which two readings differ
COPIED = 0.6


@dataclass(frozen=True)
class Visits:
    """The visits planned for each wound (wounds x visits) and the errors made at each."""

    day: np.ndarray
    due: np.ndarray  # planned, in the building, not fallen out
    outbreak: np.ndarray  # fell out because of the outbreak
    assessor: np.ndarray  # number of the assessor within the building
    errors: np.ndarray  # 3 x wounds x visits: length, width, depth
    luck: np.ndarray  # 4 x wounds x visits: copied, tissue, exudate, confirmed


@dataclass(frozen=True)
class Chart:
    """What was written at each visit: `seen` says whether anything was, `closed` whether it was a closing."""

    seen: np.ndarray
    closed: np.ndarray
    length: np.ndarray
    width: np.ndarray
    shrunk: np.ndarray  # radius as a share of the first one

    @property
    def open(self) -> np.ndarray:
        return self.seen & ~self.closed


def visits(seed: int, sores: pd.DataFrame, inside: np.ndarray, surgery: np.ndarray) -> Visits:
    """Visit 0 is the first measurement; the others are the building's rounds after it."""
    rng = stream(seed, "visits")
    by_place = np.array([_round_days(rng, place) for place in range(len(FACILITIES))])
    day = np.array([_own_rounds(by_place[row.place], row.entry) for row in sores.itertuples()])
    shape = day.shape
    known = np.minimum(day, CUTOFF)
    due = (day <= CUTOFF) & inside[sores["person"].to_numpy()[:, None], known] & (day < surgery[:, None])
    due &= _kept(rng.random(shape) < MISSED)
    hit = (sores["place"].to_numpy() == PLACE[OUTBREAK.facility])[:, None] & OUTBREAK.covers(day)
    outbreak = hit & (rng.random(shape) > MEASURED_IN_OUTBREAK)
    outbreak[:, 0] = False
    return Visits(
        day, due, outbreak, _assessors(rng, sores, day), rng.normal(0, 1, (3, *shape)), rng.random((4, *shape))
    )


def _round_days(rng: np.random.Generator, place: int) -> np.ndarray:
    """One round a week; in most buildings now and then a day early or late."""
    facility, weeks = FACILITIES[place], np.arange(DAYS // 7 + 1)
    first = (facility.round_weekday - 2) % 7
    slip = rng.choice([-1, 0, 1], len(weeks), p=[0.04, 0.92, 0.04])
    return first + 7 * weeks + (0 if facility.steady_rounds else slip)


def _own_rounds(rounds: np.ndarray, entry: int) -> np.ndarray:
    later = rounds[rounds > entry + 2]
    padding = np.full(len(rounds) - len(later), TRUE_DAYS)
    return np.concatenate([[entry], later, padding])


def _kept(missed: np.ndarray) -> np.ndarray:
    """Nobody is passed over three times running, and nobody at the first visit."""
    missed = missed.copy()
    missed[:, 0] = False
    for visit in range(2, missed.shape[1]):
        missed[:, visit] &= ~(missed[:, visit - 1] & missed[:, visit - 2])
    return ~missed


def _assessors(rng: np.random.Generator, sores: pd.DataFrame, day: np.ndarray) -> np.ndarray:
    """Who does the round: mostly the first of the building, the same for all wounds of one week."""
    place = sores["place"].to_numpy()
    weekly = np.zeros((len(FACILITIES), TRUE_DAYS // 7 + 1), dtype=int)
    for number, facility in enumerate(FACILITIES):
        shares = np.array([0.6, 0.3, 0.1])[: len(facility.assessors)]
        weekly[number] = rng.choice(len(shares), weekly.shape[1], p=shares / shares.sum())
    return weekly[place[:, None], day // 7]


def chart(plan: Visits, sores: pd.DataFrame, radius: np.ndarray, closing: np.ndarray, lifelike: bool) -> Chart:
    """Reads the wounds at their visits; `lifelike` adds the outbreak, the half centimetres and the copied sizes."""
    due = plan.due & ~plan.outbreak if lifelike else plan.due
    closed = plan.day >= np.nan_to_num(closing, nan=np.inf)[:, None]
    seen = due & _until_confirmed(due & closed, plan)
    at_visit = np.take_along_axis(radius, np.minimum(plan.day, TRUE_DAYS - 1), axis=1)
    length, width = _ruler(plan, sores, at_visit, lifelike)
    if lifelike:
        length, width = _copied(plan, sores, seen & ~closed, length, width)
    return Chart(seen, seen & closed, length, width, at_visit / sores["radius"].to_numpy()[:, None])


def _until_confirmed(closed_visit: np.ndarray, plan: Visits) -> np.ndarray:
    """Charts stop at closing: it is written once, and in half of the wounds a second time."""
    closings = np.cumsum(closed_visit, axis=1)
    told_twice = (plan.luck[3, :, :1] < 0.5) & (closings == 2)
    return (closings == 0) | (closed_visit & ((closings == 1) | told_twice))


def _ruler(plan: Visits, sores: pd.DataFrame, radius: np.ndarray, lifelike: bool) -> tuple[np.ndarray, np.ndarray]:
    stretch = np.sqrt(sores["aspect"].to_numpy())[:, None]
    sides = np.stack([2 * radius * stretch, 2 * radius / stretch]) * np.exp(RULER * plan.errors[:2])
    coarse = lifelike & (sores["place"].to_numpy() == PLACE[HALF_CENTIMETRES])
    grain = np.where(coarse, 0.5, 0.1)[:, None]
    sides = np.maximum(np.round(sides / grain), 1) * grain
    return sides.max(axis=0), sides.min(axis=0)


def copies(plan: Visits, sores: pd.DataFrame) -> np.ndarray:
    """Visits at which the assessor who copies does so, if the wound is still open then."""
    names = np.array([[name for name, _ in (f.assessors + f.assessors)[:3]] for f in FACILITIES])
    by_whom = names[sores["place"].to_numpy()[:, None], plan.assessor]
    copied = (by_whom == COPIER) & (plan.luck[0] < COPIED)
    copied[:, 0] = False
    return copied


def _copied(
    plan: Visits, sores: pd.DataFrame, open_: np.ndarray, length: np.ndarray, width: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The size of the last measurement written again."""
    copied, rows = copies(plan, sores), np.arange(len(sores))
    length, width, last = length.copy(), width.copy(), np.zeros(len(sores), dtype=int)
    for visit in range(1, plan.day.shape[1]):
        again = copied[:, visit] & open_[:, visit]
        length[again, visit] = length[rows, last][again]
        width[again, visit] = width[rows, last][again]
        last = np.where(open_[:, visit], visit, last)
    return length, width
