"""The whole invented group, settled once, and the tables that its charts would export."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd

from kit.synthetic import care, charting, healing_course, people, procedures, rounds, sores, spans, starts
from kit.synthetic.world import CUTOFF, EARLY, EFFECTS, HORIZON

NO_PACES: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Group:
    """What is true of the group, whatever its charts say. Days count from 1 January 2025.

    `sores` has a row a wound with start, regimen, closes_with and closes_without (NaN: not within the invented time)
    and left_day (death, leaving, hospital without return); `radius` is the true one, with the starts.
    """

    seed: int
    people: pd.DataFrame
    away: pd.DataFrame
    bars: pd.DataFrame
    inside: np.ndarray
    sores: pd.DataFrame
    surgery: np.ndarray
    course: healing_course.Course
    radius: np.ndarray
    visits: rounds.Visits
    stage: np.ndarray


def settle(seed: int, paces: Mapping[str, float] = NO_PACES, never: tuple[str, ...] = ()) -> Group:
    """Invents the group. Starts are decided on the lifelike chart, which also holds all that the clean one does not.

    `paces`: by how much wounds of a facility close faster than they would; `never`: facilities in which none starts.
    """
    folk = people.residents(seed)
    away = people.trips(seed, folk)
    inside = people.presence(folk, away)
    bars = people.payers(seed, folk).assign(barred=people.barred(seed, folk), comfort=people.comfort_from(seed, folk))
    wounds = sores.wounds(seed, folk, inside)
    home = folk["facility"][wounds["person"]].reset_index(drop=True)
    wounds["speed"] *= home.map(paces).fillna(1.0)
    surgery = sores.surgeries(seed, wounds, inside)
    course = healing_course.course(seed, wounds)
    without = healing_course.radius_by_day(course)
    visits = rounds.visits(seed, wounds, inside, surgery)
    stage = charting.stages(seed, visits, wounds, course.jumps)
    chart = rounds.chart(visits, wounds, without, healing_course.closing_day(without), lifelike=True)
    begun = starts.starts(seed, visits, chart, wounds, stage, inside, bars)
    in_time = ~home.isin(never) & (begun["start"] < np.minimum(surgery, _closing(without)))
    begun = begun.assign(start=begun["start"].where(in_time), regimen=begun["regimen"].where(in_time, ""))
    effect = begun["regimen"].map(EFFECTS).fillna(1.0).to_numpy()
    radius = healing_course.radius_by_day(course, begun["start"].to_numpy(), effect)
    wounds = wounds.join(begun).assign(
        closes_with=healing_course.closing_day(radius),
        closes_without=healing_course.closing_day(without),
        left_day=_left(folk, away)[wounds["person"]],
    )
    return Group(seed, folk, away, bars, inside, wounds, surgery, course, radius, visits, stage)


def _closing(radius: np.ndarray) -> np.ndarray:
    return np.nan_to_num(healing_course.closing_day(radius), nan=np.inf)


def _left(folk: pd.DataFrame, away: pd.DataFrame) -> np.ndarray:
    """Day from which nobody of the building saw the wound again."""
    never_back = away[away["returned"].isna()].set_index("person")["day"]
    return np.fmin(folk["gone"].to_numpy(), folk.index.map(never_back).to_numpy(dtype=float))


def tables(group: Group, lifelike: bool) -> dict[str, pd.DataFrame]:
    """The seven tables with days as numbers; `lifelike` adds the building's habits, not yet the stories."""
    wounds, order = group.sores, care.orders(group.seed, group.sores)
    closing = wounds["closes_with"].to_numpy()
    chart = rounds.chart(group.visits, wounds, group.radius, closing, lifelike)
    measured = charting.measurements(group.visits, chart, wounds, group.stage)
    last = _last_session(group, order, measured)
    treated = care.sessions(group.seed, wounds, order, last, group.inside, group.radius)
    treated = care.on_hold(treated, order)
    closed = chart.closed.any(axis=1)
    made = {
        "residents": group.people,
        "wounds": wounds,
        "measurements": measured,
        "sessions": treated,
        "procedures": procedures.procedures(group.seed, wounds, measured, last, group.inside),
        "spans": spans.spans(group.seed, group.people, wounds, group.bars, order, last, group.course.jumps),
        "departures": spans.departures(group.people, group.away, wounds, group.surgery, closed),
    }
    return {name: _in_order(name, frame) for name, frame in made.items()}


def _last_session(group: Group, order: pd.DataFrame, measured: pd.DataFrame) -> np.ndarray:
    """The day before the chart says closed, before the stay or the aim of healing ends, or the last one ordered."""
    person = group.sores["person"].to_numpy()
    closed = measured[measured["state"] == "closed"].groupby("row")["day"].min()
    stops = [
        group.sores.index.map(closed).to_numpy(dtype=float) - 1,
        group.bars["comfort"].to_numpy()[person] - 1,
        group.people["gone"].to_numpy()[person] - 1,
        group.sores["left_day"].to_numpy() + care.AWAY_LOGGED,
        order["last_ordered"].to_numpy(),
        np.where(np.isinf(group.surgery), np.nan, group.surgery - 1),
        np.full(len(person), float(CUTOFF)),
    ]
    return np.where(group.sores["start"].notna(), np.fmin.reduce(stops), np.nan)


ORDER = {
    "residents": ["resident"],
    "wounds": ["wound"],
    "measurements": ["wound", "day"],
    "sessions": ["wound", "day"],
    "procedures": ["wound", "day", "procedure"],
    "spans": ["resident", "wound", "span", "from_day", "value"],
    "departures": ["resident", "day"],
}


def _in_order(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    return frame.sort_values(ORDER[name], ignore_index=True)


def starters(group: Group) -> pd.DataFrame:
    """What is true of every wound that was started: a row a wound, days as numbers.

    Columns out: wound, resident, facility, regimen, start_day, closes_with, closes_without, left_day, closed_with
    and closed_without (closed within twelve weeks of the start, leaving aside that the person may leave first),
    seen_closed_with and seen_closed_without (the same, and before the person left), reduction_with and
    reduction_without (percent by which its area is smaller four weeks after the start; closed counts as 100).
    """
    out = group.sores[group.sores["start"].notna()].copy()
    out["facility"] = group.people["facility"].to_numpy()[out["person"]]
    for arm in ("with", "without"):
        closes = out[f"closes_{arm}"]
        out[f"closed_{arm}"] = (closes - out["start"] <= HORIZON).astype(int)
        out[f"seen_closed_{arm}"] = (out[f"closed_{arm}"] == 1) & ~(out["left_day"] < closes)
    radii = {"with": group.radius, "without": healing_course.radius_by_day(group.course)}
    for arm, radius in radii.items():
        out[f"reduction_{arm}"] = _smaller(radius[out.index], out["start"].astype(int).to_numpy(), out[f"closes_{arm}"])
    out = out.rename(columns={"start": "start_day"}).astype({"seen_closed_with": int, "seen_closed_without": int})
    return out[STARTER_COLUMNS].sort_values("wound", ignore_index=True)


def _smaller(radius: np.ndarray, start: np.ndarray, closes: pd.Series) -> np.ndarray:
    row, then = np.arange(len(start)), start + EARLY
    gone = 1 - (radius[row, then] / radius[row, start]) ** 2
    return np.where(closes <= then, 100.0, np.round(100 * gone, 1))


STARTER_COLUMNS = [
    "wound", "resident", "facility", "regimen", "start_day", "closes_with", "closes_without", "left_day",
    "closed_with", "closed_without", "seen_closed_with", "seen_closed_without", "reduction_with", "reduction_without",
]  # fmt: skip
