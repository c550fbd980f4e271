"""What came with a start: other treatments, and rounds, beside those of wounds like them that were not started."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.bias.evidence import DETRACTS, FLATTERS, NOT_KNOWN, Evidence, Warned, not_computed
from kit.healing.comparison import any_modality, arms
from kit.healing.emulation import Layout
from kit.plan import WEEK
from kit.words import count, spoken

CHANCE = 0.01  # how often chance alone may cross a threshold
PACKAGE_ABOVE = 0.15  # at least so far apart, as shares; common practice, no source
ROUNDS_ABOVE = 0.25  # rounds a week; common practice, no source
BEFORE = 4 * WEEK
TOGETHER = ("negative_pressure", "support_surface", "offloading", "compression", "antibiotic")
NO_PAIR = "nobody is left on one side"


def co_treatment(evidence: Evidence) -> Warned:
    """Another treatment begun within a week of the start: number is how much more often than beside, as a share.

    Beside, the same week is asked of those beside, weighted as the answer weighs them, so many days after its
    measurement as half of the starts come. Of negative pressure, a surface, offloading, compression, an antibiotic and
    debridement the one is told that goes furthest beyond its threshold, what chance would cross once in 100. An
    antibiotic tells of an infection, so that it pushes nobody knows which way.
    """
    layout, begun = evidence.answers.layout, _begun(evidence)
    if begun.empty:
        return not_computed("no other treatment is recorded")
    if not _has_both(layout):
        return not_computed(NO_PAIR)
    kinds = {kind: rows for kind, rows in begun.groupby("kind")}
    found = {kind: _sides(layout, *_near(layout, rows), PACKAGE_ABOVE, len(kinds)) for kind, rows in kinds.items()}
    kind = max(found, key=lambda name: abs(found[name][0] - found[name][1]) / found[name][2])
    one, none, threshold = found[kind]
    says = f"Within a week of {count(len(layout.starters.week), 'start')}: {spoken(kind)} begun for "
    says = says if kind != "debridement" else says.replace("begun", "done")
    direction = NOT_KNOWN if kind == "antibiotic" else towards(one - none)
    return Warned(abs(one - none), threshold, abs(one - none) > threshold, direction,
                  f"{says}{100 * one:.0f}%, beside {100 * none:.0f}% of those like them.")  # fmt: skip


def towards(gain: float) -> str:
    """Which way something pushes that favours starting by `gain`; nobody knows where it is nothing, or missing."""
    if not gain or np.isnan(gain):
        return NOT_KNOWN
    return FLATTERS if gain > 0 else DETRACTS


def _begun(evidence: Evidence) -> pd.DataFrame:
    """Every beginning of another treatment: kind, resident (of the person alone), wound, day."""
    spans, done = evidence.study.spans, evidence.study.procedures
    spans = spans[spans["span"].isin(TOGETHER)].rename(columns={"span": "kind", "from_day": "day"})
    done = done[done["procedure"] == "debridement"].rename(columns={"procedure": "kind"}).assign(resident=None)
    told = [rows[["kind", "resident", "wound", "day"]].astype(object) for rows in (spans, done) if len(rows)]
    return pd.concat(told, ignore_index=True) if told else pd.DataFrame(columns=["kind", "resident", "wound", "day"])


def _near(layout: Layout, begun: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Whether one began within seven days, for each start and for each row beside."""
    weeks = layout.weeks[["wound", "resident", "begins", "start_day"]]
    own, beside = weeks.iloc[layout.starters.week], weeks.iloc[layout.others.week]
    typical = int((own["start_day"] - own["begins"]).median())
    return _within(own.assign(then=own["start_day"]), begun), _within(
        beside.assign(then=beside["begins"] + typical), begun
    )


def _within(rows: pd.DataFrame, begun: pd.DataFrame) -> np.ndarray:
    asked, near = rows.assign(row=np.arange(len(rows))), np.zeros(len(rows))
    for key, of in (("wound", begun["wound"].notna()), ("resident", begun["wound"].isna())):
        pairs = asked[["row", key, "then"]].astype({key: object}).merge(begun.loc[of, [key, "day"]], on=key)
        near[pairs.loc[(pairs["then"] - pairs["day"]).astype(float).abs() <= WEEK, "row"]] = 1.0
    return near


def measured_more(evidence: Evidence) -> Warned:
    """Rounds a week in the four weeks before, of those who started and of those beside: number is how far apart.

    A start needs a fresh size, so that wounds may be measured more because they are about to start. Only weeks since
    the first measurement count. It adds no closing to a side by itself: which way it pushes is not known.
    """
    layout = evidence.answers.layout
    if not _has_both(layout):
        return not_computed(NO_PAIR)
    rounds = _rounds(layout.weeks, evidence.study.measurements)
    own, beside = rounds[layout.starters.week], rounds[layout.others.week]
    if np.isnan(own).all() or np.isnan(beside).all():
        return not_computed("on one side nobody was seen before")
    one, none, threshold = _sides(layout, own, beside, ROUNDS_ABOVE)
    says = (
        f"In the four weeks before, wounds that started were measured {one:.2f} times a week, those like them beside "
    )
    return Warned(abs(one - none), threshold, abs(one - none) > threshold, says=f"{says}{none:.2f} times.")


def _rounds(weeks: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    """Of each week: days measured in the four weeks before it, since entry, a week; missing in the first week."""
    asked = weeks[["wound", "begins", "entry_day"]].assign(row=np.arange(len(weeks)))
    asked = asked.assign(since=np.maximum(asked["begins"] - BEFORE, asked["entry_day"]).astype("int64"))
    pairs = asked.merge(measurements[["wound", "day"]].drop_duplicates(), on="wound")
    inside = pairs[(pairs["day"] >= pairs["since"]) & (pairs["day"] < pairs["begins"])]
    rounds = np.bincount(inside["row"], minlength=len(weeks)).astype(float)
    span = (asked["begins"] - asked["since"]).to_numpy(dtype=float) / WEEK
    return np.divide(rounds, span, out=np.full(len(weeks), np.nan), where=span > 0)


def _has_both(layout: Layout) -> bool:
    return bool(len(layout.starters.week) and len(layout.others.week))


def _sides(layout: Layout, own: np.ndarray, beside: np.ndarray, least: float, kinds: int = 1) -> tuple:
    """The mean of starts, that of those beside as weighted, and how far apart chance would put them once in 100.

    Whole residents vary: those beside by their weighted sums, starts as both sides together do. `least` is the smallest
    threshold; `kinds` are looked at side by side. What is missing is left out.
    """
    counts = np.ones((len(layout.weeks), 1))
    weight = arms(layout, any_modality(layout), counts, {})[1].base[:, 0]
    started, kept = layout.owner[layout.starters.week][~np.isnan(own)], ~np.isnan(beside)
    own, beside, weight, person = (
        own[~np.isnan(own)],
        beside[kept],
        weight[kept],
        layout.owner[layout.others.week][kept],
    )
    one, none = own.mean(), np.average(beside, weights=weight)
    middle = (one + none) / 2
    spread = (np.mean((own - middle) ** 2) + np.average((beside - middle) ** 2, weights=weight)) / 2
    drift = np.sum(np.bincount(person, weight * (beside - none)) ** 2) / weight.sum() ** 2
    error = np.sqrt(spread / len(np.unique(started)) + drift)
    return float(one), float(none), max(least, float(norm.isf(CHANCE / 2 / kinds) * error))
