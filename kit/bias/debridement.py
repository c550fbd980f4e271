"""Sizes taken just after a debridement: a wound just debrided seems larger than it was, and then seems to heal."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.beside import NO_PAIR
from kit.bias.evidence import Evidence, Warned, not_computed
from kit.bias.sides import by_side
from kit.healing.comparison import any_modality, arms
from kit.healing.emulation import Layout, Rows
from kit.healing.weeks import sized_open
from kit.plan import WEEK

APART = 0.15  # between the sides; common practice, no source


def debrided(evidence: Evidence) -> Warned:
    """Sizes from which starts are compared, or the next, measured within seven days after a debridement, by side.

    Number is how far the shares of the two sides are apart, those beside weighted as the answer weighs them; the
    threshold 0.15, or what chance would cross once in 100. A wound that seems larger than it was closes sooner than
    others of that size, so that the side with more of it at the size from which the comparison begins looks better.
    """
    layout, done = evidence.answers.layout, evidence.study.procedures
    done = done.loc[done["procedure"].astype(object) == "debridement", ["wound", "day"]]
    if done.empty:
        return not_computed("no debridement is recorded")
    if not (len(layout.starters.week) and len(layout.others.week)):
        return not_computed(NO_PAIR)
    rows = _rows(layout)
    first = _just_debrided(rows, done, "begins")
    later = _just_debrided(rows.assign(next=_next_size(rows, evidence.study.measurements)), done, "next")
    either, zero = (by_side(hit, rows["started"], rows["resident"], rows["weight"]) for hit in (first | later, first))
    apart, threshold = abs(either.apart), max(APART, either.chance())
    says = f"Of the sizes from which the comparison begins, or the next, {either.says()} came within a week after "
    return Warned(apart, threshold, apart > threshold, zero.push(1), f"{says}a debridement.")


def _rows(layout: Layout) -> pd.DataFrame:
    """The rows of both sides: wound, resident, begins (day of the size), started, weight."""
    weight = arms(layout, any_modality(layout), np.ones((len(layout.weeks), 1)), {})[1].base[:, 0]
    both = [_side(layout, layout.starters, True), _side(layout, layout.others, False)]
    return pd.concat([both[0].assign(weight=1.0), both[1].assign(weight=weight)], ignore_index=True)


def _side(layout: Layout, rows: Rows, started: bool) -> pd.DataFrame:
    return layout.weeks.iloc[rows.week][["wound", "resident", "begins"]].assign(started=started)


def _next_size(rows: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    """The day of the first size after the one from which a row begins; missing where there is none."""
    return _nearest(rows, sized_open(measurements), "begins", "forward")


def _just_debrided(rows: pd.DataFrame, done: pd.DataFrame, column: str) -> np.ndarray:
    """Whether a debridement lies on the day named by `column`, or up to seven days before."""
    known = rows[rows[column].notna()]
    near = np.zeros(len(rows), dtype=bool)
    # What was never debrided is missing, and no comparison with it holds.
    near[known.index] = known[column].to_numpy(dtype=float) - _nearest(known, done, column, "backward") <= WEEK
    return near


def _nearest(rows: pd.DataFrame, dated: pd.DataFrame, by: str, way: str) -> np.ndarray:
    """The nearest day of the same wound in a dated table: the last up to that of a row, or the first beyond it."""
    asked = rows[["wound"]].astype(object).assign(then=rows[by].to_numpy(dtype=np.int64), row=np.arange(len(rows)))
    dated = dated[["wound"]].astype(object).assign(day=dated["day"].to_numpy(dtype=np.int64))
    dated = dated.assign(found=dated["day"].astype(float)).sort_values("day")
    joined = pd.merge_asof(
        asked.sort_values("then"), dated, left_on="then", right_on="day", by="wound", direction=way,
        allow_exact_matches=way == "backward",
    )  # fmt: skip
    return joined.sort_values("row")["found"].to_numpy()
