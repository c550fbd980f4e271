"""The figure of other rules: how the answer moves when the plan's choices are changed, sorted, with what was chosen."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.sensitivity.specifications import EVERYBODY, OFFERED
from kit.words import count, sentence

HEADS = {
    "run_in_days": "Days of usual care first",
    "fresh_days": "Size fresh for, days",
    "confirm_days": "Closing undone within, days",
    "horizon_weeks": "Closed by week",
    "levelled": "Levelled",
    "compared": "Compared",
}
_SMALL = {"fontsize": 8.5, "color": INK, "parse_math": False, **FONT}
GAP = 0.5  # between two choices, in rows


def specification_figure(specifications: pd.DataFrame, came_to: str = "had closed") -> Figure:
    """Every set of rules by its difference, from the lowest to the highest, and below what each of them chose.

    Takes the frame of `kit.sensitivity.specifications`. The plan's own row is a large diamond with a line through all
    that stands below it; rows without a number are counted and not drawn. Choices that no row varies are left out.
    `came_to`: what is compared, in words; where the horizon varies it is that of the row.
    """
    told = specifications[specifications["amount"].notna()].sort_values("amount", kind="stable", ignore_index=True)
    if told.empty:
        return _said("No comparison is made, so none is made under other rules")
    names = [name for name in HEADS if told[name].nunique() > 1]
    lines = sum(told[name].nunique() for name in names) + GAP * len(names)
    figure = Figure(figsize=(10.2, 3.0 + 0.21 * lines), facecolor=PAPER, layout="constrained")
    figure.get_layout_engine().set(hspace=0.06)
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=[2.4, max(0.21 * lines, 0.2)])
    _numbers(above, told, came_to, len(specifications) - len(told))
    _marks(below, told, names)
    place = int(told["is_plan"].to_numpy().argmax())
    for axis in (above, below):
        axis.axvline(place, color=FAINT, linewidth=0.8, zorder=0)
        axis.set_xlim(-1, len(told))
    return figure


def _said(words: str) -> Figure:
    figure = Figure(figsize=(10.2, 1.0), facecolor=PAPER)
    figure.text(0.5, 0.5, words, ha="center", va="center", fontsize=10, color=INK, **FONT)
    return figure


def _numbers(axis: Axes, told: pd.DataFrame, came_to: str, refused: int) -> None:
    place, own = np.arange(len(told)), told["is_plan"].to_numpy(dtype=bool)
    amount, low, high = (told[name].to_numpy(dtype=float) for name in ("amount", "low", "high"))
    axis.vlines(place[~own], low[~own], high[~own], color=FAINT, linewidth=1.0)
    axis.vlines(place[own], low[own], high[own], color=INK, linewidth=2.6)
    axis.plot(place[~own], amount[~own], "o", color=PAPER, markeredgecolor=INK, markersize=4.5)
    axis.plot(place[own], amount[own], "D", color=INK, markersize=8)
    axis.axhline(0, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    _scale(axis, np.nanmin([*low, *amount, 0]), np.nanmax([*high, *amount, 0]))
    axis.set_ylabel("Fewer  ◂  of 100  ▸  More", fontsize=9, color=INK, **FONT)
    _plain(axis)
    few = f"; {count(refused, 'other set')} of rules: too few to compare" if refused else ""
    came_to = "had closed by the week chosen" if told["horizon_weeks"].nunique() > 1 else came_to
    says = f"Wounds of 100 that {came_to}, after starting; lines are 95% ranges. Diamond: the plan's own rules{few}"
    axis.set_title(says, loc="left", fontsize=9, color=INK, parse_math=False, **FONT)


def _scale(axis: Axes, low: float, high: float) -> None:
    """Ticks in wounds, fewer and more; some room beyond, or the lowest would stand among the choices below."""
    step = 5 if high - low <= 40 else 10
    axis.set_ylim(low - 0.06 * (high - low) - 1, high + 0.03 * (high - low) + 1)
    ticks = np.arange(step * np.ceil(low / step), high + 1, step)
    axis.set_yticks(ticks, [f"{abs(tick):.0f}" if tick else "none" for tick in ticks])


def _marks(axis: Axes, told: pd.DataFrame, names: list[str]) -> None:
    own, height, heads, values = told["is_plan"].to_numpy(dtype=bool), 0.0, [], []
    for name in names:
        heads.append((height, HEADS[name]))
        for value in _values(told, name):
            chosen = np.flatnonzero((told[name] == value).to_numpy())
            axis.plot(chosen, np.full(len(chosen), height), "s", color=INK, markersize=3.2)
            axis.plot(chosen[own[chosen]], np.full(own[chosen].sum(), height), "D", color=INK, markersize=6)
            values.append((height, sentence(str(value))))
            height += 1
        height += GAP
    axis.set_yticks([at for at, _ in values], [words for _, words in values], **_SMALL)
    axis.set_ylim(max(height - GAP, 1) - 0.4, -0.6)
    axis.set_xticks([])
    for at, words in heads:
        axis.text(1.01, at, words, transform=axis.get_yaxis_transform(), va="center", ha="left", **_SMALL)
    _plain(axis)
    axis.spines["bottom"].set_visible(False)
    axis.tick_params(length=0)


def _values(told: pd.DataFrame, name: str) -> list:
    """The values that were tried of one choice, in the order in which they are offered."""
    order = {value: number for number, value in enumerate(OFFERED.get(name, (EVERYBODY,)))} if name in TEXTS else {}
    return sorted(told[name].unique(), key=lambda value: order.get(value, value if name not in TEXTS else len(order)))


TEXTS = ("levelled", "compared")


def _plain(axis: Axes) -> None:
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    axis.tick_params(axis="x", length=0, labelbottom=False)
    for side in ("top", "right", "left", "bottom"):
        axis.spines[side].set_visible(side == "left")
