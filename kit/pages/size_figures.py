"""The figures of sizes. Each reads in grey, says its counts, and shows its uncertainty."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.pages.figures import FAINT, FILLS, FONT, INK, PAPER, ranged
from kit.trajectories.slopes import ALL
from kit.trajectories.standing import EXPECTED, FAST, NOT_TOLD, SLOW, UNCLEAR
from kit.words import label, sentence

GROWN = -50  # percent: where the scale begins; the few that grew by more than half lie beyond it
MARKS = {SLOW: ("s", INK, "Slow"), EXPECTED: ("o", PAPER, "As expected"), FAST: ("^", FILLS["closed"][0], "Fast"),
         UNCLEAR: ("x", FAINT, "Not clear yet")}  # fmt: skip
_SMALL = {"fontsize": 9, "color": INK, **FONT}


def smaller_figure(smaller: pd.DataFrame, row: dict, percent: int, weeks: int) -> Figure:
    """Of 100 wounds, how many had shrunk by so much or closed: treated beside expected without, with ranges.

    `smaller` and `row`, one comparison of `told`, as `kit.healing.answers` returns them; `percent` and `weeks` are the
    plan's for the early response.
    """
    figure = Figure(figsize=(8.6, 3.5), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    own = smaller[(smaller["treated"] == row["treated"]) & (smaller["beside"] == row["beside"])]
    own = own[own["percent"] >= GROWN].astype(dict.fromkeys(("percent", "share", "low", "high"), float))
    for arm, name, dash, colour in (
        ("treated", f"Treated ({row['starters']} wounds)", "-", FILLS["closed"][0]),
        ("beside", "Expected without", "--", INK),
    ):
        curve = own[own["arm"] == arm]
        axis.fill_between(curve["percent"], 100 * curve["low"], 100 * curve["high"], **ranged(colour, dash))
        axis.plot(curve["percent"], 100 * curve["share"], dash, color=colour, linewidth=1.9, label=name)
    axis.axvline(percent, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)))
    axis.axhline(50, color=FAINT, linewidth=0.8, linestyle=(0, (1, 2)))
    axis.text(percent - 1, 3, f"{percent}% smaller ", ha="right", **_SMALL)
    axis.text(GROWN + 1, 51.5, "half of the wounds", va="bottom", **_SMALL)
    axis.set(xlim=(GROWN, 100), ylim=(0, 100))
    axis.set_xticks(range(GROWN, 101, 25), [_named(tick) for tick in range(GROWN, 101, 25)])
    axis.set_xlabel(f"Smaller by at least so much, {weeks} weeks after the week of the start", **_SMALL)
    axis.set_ylabel("Of 100 wounds", **_SMALL)
    axis.legend(fontsize=9, title_fontsize=9, frameon=False, loc="upper right", title="Shaded: the range")
    _plain(axis)
    axis.tick_params(axis="x", pad=6)  # or the first tick would touch the other axis
    return figure


def _named(percent: int) -> str:
    if percent == 100:
        return "closed"
    if percent < 0:
        return f"{-percent}% larger"
    return f"{percent}%" if percent else "as large"


def pace_figure(pace: pd.DataFrame) -> Figure:
    """Percent smaller a week under each regimen, by stage, with ranges; nothing here is a comparison."""
    figure = Figure(figsize=(8.6, 0.9 + 0.34 * max(len(pace), 2)), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    places = np.arange(len(pace))[::-1]
    for place, row in zip(places, pace.to_dict("records"), strict=True):
        heavy = row["stage_group"] == ALL
        axis.plot([row["low"], row["high"]], [place, place], color=INK, linewidth=2.2 if heavy else 1.2)
        axis.plot(row["amount"], place, "o", markersize=7 if heavy else 5, markeredgecolor=INK,
                  color=INK if heavy else PAPER)  # fmt: skip
    names = [
        f"{label(row.regimen)}: all wounds ({row.wounds})"
        if row.stage_group == ALL
        else f"{sentence(row.stage_group)} ({row.wounds})  "
        for row in pace.itertuples()
    ]
    axis.set_yticks(places, names, parse_math=False, **_SMALL)
    axis.axvline(0, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    says = "Percent smaller a week, with ranges (95%); in brackets: wounds.\n"
    says += "Open circles: wounds of the line above them, by stage or kind"
    axis.set_xlabel(says, **_SMALL)
    axis.set_ylim(-0.6, len(pace) - 0.4)
    _plain(axis)
    return figure


def standing_figure(standing: pd.DataFrame) -> Figure:
    """Each open wound that is told, slowest first: its own pace with its range, and the pace expected of it."""
    told = standing[standing["stands"] != NOT_TOLD].sort_values("own", ignore_index=True)
    figure = Figure(figsize=(8.6, 3.4), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    if told.empty:
        axis.set_axis_off()
        axis.text(0.5, 0.5, "No open wound can be told", ha="center", transform=axis.transAxes, **_SMALL)
        return figure
    axis.vlines(
        told.index, told["own_low"], told["own_high"], color=FAINT, linewidth=1.0, label="Range of its own pace"
    )
    axis.plot(told.index, told["expected"], "_", color=INK, markersize=9, label="Expected of wounds like it")
    for name, (mark, fill, said) in MARKS.items():
        own = told[told["stands"] == name]
        if len(own):
            axis.plot(own.index, own["own"], mark, color=fill, markeredgecolor=INK if mark != "x" else fill,
                      markersize=6, label=f"{said} ({len(own)})")  # fmt: skip
    axis.axhline(0, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    axis.set_xticks([])
    axis.set_xlim(-1, len(told))
    axis.set_xlabel("Open wounds, slowest first", **_SMALL)
    axis.set_ylabel("Percent smaller a week", **_SMALL)
    figure.legend(loc="outside upper left", ncols=3, fontsize=9, frameon=False)
    _plain(axis)
    return figure


def _plain(axis: Axes) -> None:
    axis.tick_params(labelsize=9, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
