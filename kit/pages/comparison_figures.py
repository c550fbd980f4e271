"""The figures of the comparison: where wounds are, treated beside expected without, and by how much they differ."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from kit.pages.figures import FAINT, FILLS, FONT, INK, PAPER, STACK, ranged, reads_on
from kit.words import label, more_or_fewer, sentence

# Closed or smaller by the plan's percentage, where that is what is compared; and whatever else became of a wound.
SMALLER, REST = "smaller", "rest"
WIDEST = 60  # wounds of 100 to either side: no difference of ranges is drawn beyond
_SMALL = {"fontsize": 9, "color": INK, "parse_math": False, **FONT}
_FILLS = {**FILLS, SMALLER: FILLS["closed"], REST: FILLS["open"]}


def comparison_figure(comparison: dict) -> Figure | None:
    """The figure of the first comparison of the findings, where it is told."""
    row = comparison["told"][0]
    if not row["is_told"]:
        return None
    return beside_figure(pd.DataFrame(comparison["states"]), row, comparison["measure"], comparison["came_to"])


def beside_figure(states: pd.DataFrame, row: dict, measure: str, came_to: str) -> Figure:
    """Of 100 wounds like those treated, where are they: treated beside expected without, and the difference.

    `states` and `row`, one comparison of `told`, as `kit.healing.answers` returns them.
    """
    figure = Figure(figsize=(10.2, 3.1), facecolor=PAPER, layout="constrained")
    bars, line = figure.subplots(2, 1, height_ratios=[2.1, 1])
    names = [f"Treated\n({row['starters']} wounds)", "Expected\nwithout"]
    stacks = [_stack(_of(states, row), arm, row, measure) for arm in ("treated", "beside")]
    for place, stack in zip((1, 0), stacks, strict=True):
        _bar(bars, place, stack)
    bars.set(xlim=(0, 100), ylim=(-0.5, 1.5))
    bars.set_yticks([1, 0], names, **_SMALL)
    bars.tick_params(labelsize=9, colors=INK, length=0)
    bars.set_xticks([0, 25, 50, 75, 100])
    _no_frame(bars)
    _difference(line, row, measure, came_to)
    present = [state for state in _FILLS if any(stack.get(state, 0) > 0 for stack in stacks)]
    figure.legend(
        handles=[_patch(state, came_to) for state in present],
        loc="outside upper left", ncols=len(present), fontsize=9, frameon=False,
    )  # fmt: skip
    return figure


def _of(frame: pd.DataFrame, row: dict) -> pd.DataFrame:
    """The rows of one comparison."""
    return frame[(frame["treated"] == row["treated"]) & (frame["beside"] == row["beside"])]


def _stack(states: pd.DataFrame, arm: str, row: dict, measure: str) -> dict[str, float]:
    if measure != "closed":
        return {SMALLER: row[f"early_{arm}"], REST: 1 - row[f"early_{arm}"]}
    own = states[states["arm"] == arm].set_index("state")["share"]
    return {state: float(own[state]) for state in STACK if state in own}


def _bar(axis: Axes, place: int, stack: dict[str, float]) -> None:
    floor = 0.0
    for state, share in stack.items():
        fill, hatch = _FILLS[state]
        axis.barh(
            place,
            100 * share,
            left=floor,
            height=0.72,
            facecolor=fill,
            hatch=hatch,
            edgecolor=reads_on(fill),
            linewidth=0.5,
        )
        if share >= 0.045:
            colour = reads_on(fill)
            box = {"facecolor": fill, "edgecolor": "none", "pad": 1.5} if hatch else None
            axis.text(
                floor + 50 * share, place, f"{100 * share:.0f}", ha="center", va="center", fontsize=11, color=colour,
                fontweight="bold" if state in ("closed", SMALLER) else "normal", bbox=box, **FONT,
            )  # fmt: skip
        floor += 100 * share


def _patch(state: str, came_to: str) -> Patch:
    fill, hatch = _FILLS[state]
    named = {SMALLER: sentence(came_to.removeprefix("had ")), REST: "Neither"}.get(state, label(state))
    return Patch(facecolor=fill, hatch=hatch, edgecolor=reads_on(fill), linewidth=0.5, label=named)


def _difference(axis: Axes, row: dict, measure: str, came_to: str) -> None:
    value, low, high = (100 * row[f"{measure}_{part}"] for part in ("difference", "low", "high"))
    _range_line(axis, 0, value, low, high)
    reach = min(WIDEST, max(20, 5 * np.ceil(max(abs(low), abs(high)) / 5 + 1)))
    axis.set(xlim=(-reach, reach), ylim=(-0.6, 0.9))
    axis.set_yticks([0], ["Difference\n(95% range)"], **_SMALL)
    place = np.clip(value, -0.7 * reach, 0.7 * reach)  # further out the words would run over the name of the line
    axis.text(place, 0.28, more_or_fewer(value / 100, low / 100, high / 100), ha="center", va="bottom", **_SMALL)
    _around_none(axis, reach, f"Fewer  ◂  wounds of 100 that {came_to}, after starting  ▸  More")


def _range_line(axis: Axes, place: float, value: float, low: float, high: float) -> None:
    axis.plot([low, high], [place, place], color=INK, linewidth=2.2, solid_capstyle="butt")
    ends = [place - 0.14, place + 0.14]
    axis.plot([low, low, np.nan, high, high], [*ends, np.nan, *ends], color=INK, linewidth=1.4)
    axis.plot(value, place, "o", color=INK, markersize=7)


def _around_none(axis: Axes, reach: float, says: str) -> None:
    axis.axvline(0, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    ticks = np.arange(-10 * (reach // 10), reach + 1, 10 if reach <= 40 else 20)
    axis.set_xticks(ticks, [f"{abs(tick):.0f}" if tick else "none" for tick in ticks])
    axis.set_xlabel(says, fontsize=9, color=INK, **FONT)
    axis.tick_params(labelsize=9, colors=INK, length=2)
    axis.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axis.spines[side].set_visible(False)


def _no_frame(axis: Axes) -> None:
    for side in axis.spines.values():
        side.set_visible(False)


def differences_figure(told: pd.DataFrame, measure: str, came_to: str) -> Figure:
    """Every comparison that the data carry, by its difference and range; the others are named as not compared."""
    figure = Figure(figsize=(9.2, 0.9 + 0.45 * len(told)), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    places = np.arange(len(told))[::-1]
    limits = told[[f"{measure}_low", f"{measure}_high"]].abs().max(axis=None)
    reach = min(WIDEST, max(20, 5 * np.ceil(100 * limits / 5 + 1))) if np.isfinite(limits) else 20
    for place, row in zip(places, told.to_dict("records"), strict=True):
        if row["is_told"]:
            _range_line(axis, place, *(100 * row[f"{measure}_{part}"] for part in ("difference", "low", "high")))
        else:
            axis.text(0, place, " not compared: too few", va="center", ha="left", fontsize=9, color=FAINT, **FONT)
    names = [f"{label(row.treated)}\nbeside {row.beside}" for row in told.itertuples()]
    axis.set_yticks(places, names, **_SMALL)
    axis.set(xlim=(-reach, reach), ylim=(-0.7, len(told) - 0.3))
    # Two lines: names of regimens may leave little room beside them.
    _around_none(axis, reach, f"Fewer  ◂  wounds of 100, after starting  ▸  More\n({came_to})")
    return figure


def course_figure(course: pd.DataFrame, row: dict, horizon_weeks: int) -> Figure:
    """The share closed week by week, treated beside expected without, of one comparison (`row` of `told`)."""
    figure = Figure(figsize=(7.4, 3.2), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    styles = {"treated": ("Treated", "-", FILLS["closed"][0]), "beside": ("Expected without", "--", INK)}
    for arm, (name, dash, colour) in styles.items():
        own = _of(course, row)
        own = own[own["arm"] == arm]
        axis.fill_between(own["week"], 100 * own["low"], 100 * own["high"], step="post", **ranged(colour, dash))
        axis.step(own["week"], 100 * own["share"], where="post", color=colour, linestyle=dash, linewidth=1.8)
        last = own.iloc[-1]
        axis.text(horizon_weeks + 0.7, 100 * last["share"], name, va="center", **_SMALL)
    axis.set(xlim=(0, horizon_weeks + 0.5), ylim=(0, max(40, 10 * np.ceil(10 * course["high"].max()))))
    axis.set_xlabel("Weeks since the end of the week of the start", fontsize=9, color=INK, **FONT)
    axis.set_ylabel("Closed, of 100 wounds", fontsize=9, color=INK, **FONT)
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    return figure
