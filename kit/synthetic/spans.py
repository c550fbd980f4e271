"""Periods during which something held, of persons and of wounds, and the ends of stays."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.care import numb
from kit.synthetic.sores import FULL_THICKNESS
from kit.synthetic.world import CUTOFF, stream


def spans(
    seed: int,
    people: pd.DataFrame,
    sores: pd.DataFrame,
    bars: pd.DataFrame,
    order: pd.DataFrame,
    last: np.ndarray,
    jumps: np.ndarray,
) -> pd.DataFrame:
    """Everything that held for a while, of persons and of wounds."""
    parts = [
        _payer_spans(people, bars),
        _person_spans(seed, people, sores, bars),
        _wound_spans(seed, people, sores),
        _order_spans(sores, order, last),
        _infections(seed, people, sores, jumps),
    ]
    return pd.concat(parts, ignore_index=True)


def _payer_spans(people: pd.DataFrame, bars: pd.DataFrame) -> pd.DataFrame:
    first = pd.DataFrame(
        {
            "resident": people["resident"],
            "value": bars["first"],
            "from_day": people["arrival"],
            "to_day": bars["switch"].sub(1).fillna(people["gone"]),
        }
    )
    second = first.assign(value=bars["second"], from_day=bars["switch"], to_day=people["gone"])
    return pd.concat([first, second[bars["switch"].notna()]]).assign(span="payer")


def _person_spans(seed: int, people: pd.DataFrame, sores: pd.DataFrame, bars: pd.DataFrame) -> pd.DataFrame:
    rng, n = stream(seed, "person_spans"), len(people)
    surface = people.index.isin(sores.loc[sores["kind"] == "pressure_injury", "person"]) & (rng.random(n) < 0.45)
    chosen = {
        "comfort_goal": bars["comfort"],
        "contraindication": people["arrival"].where(bars["barred"]),
        "precaution": people["arrival"].where(numb(seed, people.index.to_numpy())),
        "support_surface": (people["arrival"] + rng.integers(0, 15, n)).where(surface),
    }
    parts = [_person_span(people, span, day.rename("from_day")) for span, day in chosen.items()]
    return pd.concat(parts)


def _person_span(people: pd.DataFrame, span: str, day: pd.Series) -> pd.DataFrame:
    frame = pd.DataFrame({"resident": people["resident"], "from_day": day, "to_day": people["gone"]})
    frame = frame[frame["from_day"].notna() & ~(frame["to_day"] < frame["from_day"])]
    return frame.assign(span=span, value="yes")


def _wound_spans(seed: int, people: pd.DataFrame, sores: pd.DataFrame) -> pd.DataFrame:
    """Offloading of feet, compression of venous legs, negative pressure on a few deep wounds."""
    rng = stream(seed, "wound_spans")
    coin, wait = rng.random(len(sores)), rng.integers(0, 21, len(sores))
    deep = sores["first_stage"] == "4"
    chosen = {
        "offloading": (sores["kind"] == "diabetic_foot") & (coin < 0.7),
        "compression": (sores["kind"] == "venous") & (coin < 0.75),
        "negative_pressure": deep & (coin < 0.2),
    }
    parts = []
    for span, where in chosen.items():
        begins = sores["entry"] + wait
        ends = begins + 60 if span == "negative_pressure" else np.inf
        parts.append(_wound_span(people, sores, where.to_numpy(), span, begins, ends))
    return pd.concat(parts)


def _wound_span(
    people: pd.DataFrame, sores: pd.DataFrame, where: np.ndarray, span: str, begins: pd.Series, ends: pd.Series | float
) -> pd.DataFrame:
    gone = people["gone"].to_numpy()[sores["person"]]
    ends = np.fmin(np.broadcast_to(ends, len(sores)), gone)
    ends = np.where(ends > CUTOFF, np.nan, ends)
    frame = pd.DataFrame({"wound": sores["wound"], "from_day": begins, "to_day": ends, "span": span, "value": "yes"})
    known = where & (frame["from_day"] <= CUTOFF) & ~(frame["to_day"] < frame["from_day"])
    return frame[known]


def _order_spans(sores: pd.DataFrame, order: pd.DataFrame, last: np.ndarray) -> pd.DataFrame:
    """What was ordered, from the first session to the last; and how often the dressing was to be changed."""
    started = sores["start"].notna().to_numpy()
    ends = np.where(last >= CUTOFF, np.nan, last)
    regimen = pd.DataFrame(
        {
            "wound": sores["wound"],
            "span": "ordered_regimen",
            "value": sores["regimen"],
            "per_week": order["per_week"],
            "from_day": sores["start"],
            "to_day": ends,
        }
    )
    deep = sores["first_stage"].isin(FULL_THICKNESS)
    dressing = regimen.assign(value="dressing", per_week=np.where(deep, 7, 3), from_day=sores["entry"])
    hold = regimen.assign(
        span="hold", value="yes", per_week=np.nan, from_day=order["hold_from"],
        to_day=order["hold_to"].clip(upper=pd.Series(last)).where(order["hold_to"] <= CUTOFF),
    )  # fmt: skip
    return pd.concat([regimen[started], dressing[started], hold[started & (order["hold_from"] <= last)]])


def _infections(seed: int, people: pd.DataFrame, sores: pd.DataFrame, jumps: np.ndarray) -> pd.DataFrame:
    """Most of the larger setbacks of the first half year are called an infection, and are given an antibiotic."""
    called = (jumps[:, :26] > 0.17) & (stream(seed, "infections").random((len(sores), 26)) < 0.7)
    row = np.flatnonzero(called.any(axis=1))
    begins = pd.Series(np.nan, index=sores.index)
    begins[row] = sores["entry"].to_numpy()[row] + 7 * called[row].argmax(axis=1) + 3
    where = begins.notna() & (begins < people["gone"].fillna(CUTOFF).to_numpy()[sores["person"]])
    parts = [
        _wound_span(people, sores, where.to_numpy(), span, begins, begins.fillna(0) + length)
        for span, length in (("infection", 14), ("antibiotic", 10))
    ]
    return pd.concat(parts)


def departures(
    people: pd.DataFrame, away: pd.DataFrame, sores: pd.DataFrame, surgery: np.ndarray, closed: np.ndarray
) -> pd.DataFrame:
    """Trips to hospital, ends of stays, and wounds closed by a surgeon that had not closed before.

    `closed` says which wounds the chart holds closed.
    """
    trip = away.assign(resident=people["resident"].to_numpy()[away["person"]], reason="hospital")
    not_back = set(away.loc[away["returned"].isna(), "person"])
    gone = people[people["gone"].notna()]
    gone = gone[(gone["gone_by"] == "died") | ~gone.index.isin(not_back)]
    end = pd.DataFrame({"resident": gone["resident"], "day": gone["gone"], "reason": gone["gone_by"]})
    by_surgeon = sores[np.isfinite(surgery) & ~closed]
    surgical = pd.DataFrame(
        {
            "resident": by_surgeon["resident"],
            "wound": by_surgeon["wound"],
            "day": surgery[by_surgeon.index],
            "reason": "surgical_closure",
        }
    )
    return pd.concat([trip[["resident", "day", "reason", "returned"]], end, surgical], ignore_index=True)
