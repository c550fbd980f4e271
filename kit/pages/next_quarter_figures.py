"""The figures of the next quarter: the smallest difference to be seen by number of starts, and who starts when."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from kit.context.could_have_seen import CLOSED, reach_of
from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.plan import Plan
from kit.words import day

_SMALL = {"fontsize": 9, "color": INK, "parse_math": False, **FONT}
LINES = {CLOSED: "-", "early": (0, (5, 2))}
NAMES = {CLOSED: "closed", "early": "closed or clearly smaller"}
SIGHT = 10
FEW = 4  # steps whose dates fit in one line


def could_figure(could: pd.DataFrame, pace: dict[str, float]) -> Figure | None:
    """The smallest difference by number of starts, today's as a diamond; a tick below for each four quarters more.

    Takes `could_have_seen` and `pace_of`. None where nothing can be told.
    """
    told = could[could["not_computed"] == ""].to_dict("records")
    if not told:
        return None
    figure = Figure(figsize=(8.6, 3.9), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    most = 4 * max(row["starters"] for row in told)
    for row in told:
        _curve(axis, row, most)
    axis.axhline(SIGHT, color=FAINT, linewidth=1.0, linestyle=(0, (1, 2)))
    axis.text(most, SIGHT, f" {SIGHT} of 100", va="center", ha="left", **_SMALL)
    _years(axis, pace, most)
    _plain(axis, "Starts that can be compared", "Seen four times in five, of 100")
    axis.set_ylim(bottom=0)
    axis.set_xlim(0, most)
    axis.set_title("Diamonds: these records. What was observed is not in it.", loc="left", **_SMALL)
    axis.legend(frameon=False, prop={"size": 9, **FONT}, loc="upper right")
    return figure


def _curve(axis: Axes, row: dict, most: int) -> None:
    starts = np.arange(10, most + 1)
    reach = reach_of(row["residents"] * starts / row["starters"] - 1)
    smallest = reach * row["error"] * np.sqrt(row["starters"] / starts)
    shown = smallest <= 2.5 * row["smallest"]
    label = f"{NAMES[row['measure']]} by week {row['horizon_weeks']}"
    axis.plot(starts[shown], smallest[shown], color=INK, linewidth=2.0, linestyle=LINES[row["measure"]], label=label)
    axis.plot(row["starters"], row["smallest"], "D", color=INK, markersize=8)


def _years(axis: Axes, pace: dict[str, float], most: int) -> None:
    """Where the number of starts will be after so many years, at this pace."""
    if not np.isfinite(pace["a_quarter"]) or not pace["a_quarter"]:
        return
    years = 1
    while (at := pace["starts"] + 4 * years * pace["a_quarter"]) <= most:
        axis.axvline(at, ymax=0.05, color=INK, linewidth=1.2)
        axis.text(at, 0.07, f"+{years} y", transform=axis.get_xaxis_transform(), ha="center", **_SMALL)
        years += 1


def staggered_figure(schedule: pd.DataFrame, plan: Plan) -> Figure:
    """Units by steps: a full square has started, an empty one waits; takes `kit.context.staggered.schedule`."""
    units, steps = len(schedule), int(schedule["step"].max())
    many = steps > FEW
    figure = Figure(figsize=(10.2 if many else 8.6, 0.9 + 0.42 * units), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    for place, row in enumerate(schedule.itertuples()):
        for step in range(steps + 1):
            face = INK if step >= row.step else PAPER
            axis.add_patch(_square(step, units - 1 - place, face))
    axis.set_yticks(np.arange(units)[::-1], [name.replace("$", r"\$") for name in schedule["unit"]], **FONT)
    axis.set_xticks(
        np.arange(steps + 1),
        ["before", *[_from(row, plan, many) for row in schedule.drop_duplicates("step").itertuples()]],
        **FONT,
    )
    axis.set_xlim(-0.5, steps + 0.5)
    axis.set_ylim(-0.5, units - 0.5)
    axis.tick_params(length=0, labelsize=8 if many else 9, colors=INK)
    axis.set_title("Dark: started. Light: waits, and is what the dark is set beside.", loc="left", **_SMALL)
    for side in axis.spines.values():
        side.set_visible(False)
    return figure


def _square(step: int, place: int, face: str) -> Rectangle:
    return Rectangle((step - 0.46, place - 0.4), 0.92, 0.8, facecolor=face, edgecolor=INK, linewidth=0.8)


def _from(row, plan: Plan, many: bool) -> str:
    """Since when a step holds; where columns are narrow the date stands in lines, or its words would run together."""
    if pd.isna(row.starts_on):
        return f"step {row.step}"
    since = day(int(row.starts_on), plan)
    return "from\n" + (since.replace(" ", "\n") if many else since)


def _plain(axis: Axes, across: str, up: str) -> None:
    axis.set_xlabel(across, fontsize=9, color=INK, **FONT)
    axis.set_ylabel(up, fontsize=9, color=INK, **FONT)
    axis.tick_params(labelsize=9, colors=INK)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
