"""The figure of where the program stands: its numbers by week, and each published arm at its own."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from kit.context.after_start import ALL_PRESSURE, PRESSURE
from kit.context.beside_published import CLOSED, REDUCTION
from kit.context.published_trials import CONTROL, TREATED
from kit.context.same_horizon import arms
from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.words import percents, sentence

LAST = 14  # weeks drawn; what was counted later is named in words
APART, TALL = 0.76, 7.5  # within so many weeks and percent two dots would overlap
HEADS = {CLOSED: "Closed, of 100", REDUCTION: "Smaller, mean percent of the first size"}
OURS = {CLOSED: ("closed_share", "closed_low", "closed_high", 100), REDUCTION: (
    "mean_reduction", "mean_reduction_low", "mean_reduction_high", 1)}  # fmt: skip
_SMALL = {"fontsize": 8.5, "color": INK, "parse_math": False, **FONT}


def beside_figure(started: pd.DataFrame, listed: pd.DataFrame, modality: str) -> Figure:
    """Pressure injuries that started here by week, with ranges, and every published arm as a numbered dot at its week.

    Takes the frames of `kit.context.after_start` and `kit.context.published_trials.trials`. Filled dots were treated,
    open ones are controls; a number is a study. Nothing is pooled. Dots that would overlap stand a little aside.
    """
    own = started[(started["modality"] == modality) & (started["stage_group"] == ALL_PRESSURE)]
    found = {measure: _arms(listed, modality, measure) for measure in HEADS}
    numbers = _numbers(found)
    height = max(4.4, 1.6 + 0.2 * sum(len(words) for words in _key_lines(found, numbers)))
    figure = Figure(figsize=(10.2, height), facecolor=PAPER, layout="constrained")
    first, second, key = figure.subplots(1, 3, width_ratios=[3.0, 3.0, 2.4])
    for axis, measure in ((first, CLOSED), (second, REDUCTION)):
        _panel(axis, own, found[measure], numbers, measure)
    key.set_axis_off()
    words = "\n".join(line for lines in _key_lines(found, numbers) for line in lines)
    key.text(0, 1, words or "No published study has the numbers", va="top", transform=key.transAxes, **_SMALL)
    _legend(figure, modality)
    return figure


def _arms(listed: pd.DataFrame, modality: str, measure: str) -> pd.DataFrame:
    both = [arms(listed, modality, PRESSURE, arm, measure).assign(side=arm) for arm in (TREATED, CONTROL)]
    return pd.concat(both).sort_values(["weeks", "value"], kind="stable")


def _numbers(found: dict[str, pd.DataFrame]) -> dict[str, int]:
    """A number for each study, in order of years."""
    every = pd.concat(found.values()).sort_values(["year", "trial"], kind="stable")
    return {trial: number for number, trial in enumerate(every["trial"].unique(), start=1)}


def _key_lines(found: dict[str, pd.DataFrame], numbers: dict[str, int]) -> list[list[str]]:
    """What each number stands for: the study, its weeks, and its stages where seen."""
    return [
        textwrap.wrap(f"{number}  {_study(found, trial)}", 42, subsequent_indent="    ")
        for trial, number in numbers.items()
    ]


def _study(found: dict[str, pd.DataFrame], trial: str) -> str:
    rows = pd.concat([every[every["trial"] == trial] for every in found.values()])
    weeks = sorted(rows["weeks"].unique())
    at = ", ".join(f"{week:.2g}" + (" (not drawn)" if week > LAST else "") for week in weeks)
    stages = rows["stages"].iloc[0]
    medians = ", medians" if rows["doubt"].str.contains("medians").any() else ""
    return f"{trial}: week {at}, {f'stage {stages}' if stages else 'stage not seen'}{medians}"


def _panel(axis: Axes, own: pd.DataFrame, found: pd.DataFrame, numbers: dict[str, int], measure: str) -> None:
    name, low, high, times = OURS[measure]
    told = own[own[name].notna()]
    lines = [(row.horizon_weeks, *(times * getattr(row, part) for part in (name, low, high))) for row in
             told.itertuples()]  # fmt: skip
    for week, number, least, most in lines:
        axis.plot([week, week], [least, most], color=INK, linewidth=2.2, zorder=2)
        axis.plot(week, number, "D", color=PAPER, markeredgecolor=INK, markeredgewidth=1.8, markersize=8, zorder=3)
    _dots(axis, found[found["weeks"] <= LAST], numbers, lines)
    _frame(axis, found, lines)
    axis.set_title(f"{HEADS[measure]}\n{_said(own, lines, measure)}", loc="left", **_SMALL)


def _said(own: pd.DataFrame, lines: list[tuple], measure: str) -> str:
    """On how many wounds the program's numbers rest, or why there are none."""
    if not len(own):
        return "This program: no wound started"
    if not lines:
        return f"This program: not told, {own['not_computed' if measure == CLOSED else 'sizes_not_computed'].iloc[0]}"
    least, most = own["wounds"].min(), own["wounds"].max()
    return f"This program: {least} wounds" if least == most else f"This program: {least} to {most} wounds"


def _dots(axis: Axes, found: pd.DataFrame, numbers: dict[str, int], lines: list[tuple]) -> None:
    taken: list[tuple[float, float]] = []
    for row in found.itertuples():
        place = _free(row.weeks, row.value, taken, lines)
        taken.append((place, row.value))
        fill, ink = (INK, PAPER) if row.side == TREATED else (PAPER, INK)
        axis.plot(place, row.value, "o", color=fill, markeredgecolor=INK, markersize=13, zorder=4)
        axis.text(place, row.value, f"{numbers[row.trial]}", ha="center", va="center", zorder=5,
                  **(_SMALL | {"color": ink, "fontsize": 7.5}))  # fmt: skip


def _free(week: float, value: float, taken: list[tuple[float, float]], lines: list[tuple]) -> float:
    """The place nearest to its week at which a dot hides no other and no line of the program."""
    steps = [0.0] + [side * step * APART / 2 for step in range(1, 12) for side in (1, -1)]
    for step in steps:
        place = week + step
        clear = all(abs(place - x) >= APART or abs(value - y) >= TALL for x, y in taken)
        beside = all(abs(place - x) >= APART * 0.8 or not _meets(value, low, high) for x, _, low, high in lines)
        if clear and beside and place > APART / 2:
            return place
    return week


def _meets(value: float, low: float, high: float) -> bool:
    return not (value < low - TALL or value > high + TALL)


def _frame(axis: Axes, found: pd.DataFrame, lines: list[tuple]) -> None:
    values = [*found["value"], *(end for line in lines for end in line[1:] if np.isfinite(end))]
    lowest = min([0.0, *values])
    axis.set(xlim=(0, LAST + 0.6), ylim=(lowest - 8, 108))
    axis.set_xticks([0, 2, 4, 6, 8, 10, 12, 14])
    ticks = range(20 * math.ceil(lowest / 20), 101, 20)
    axis.set_yticks(ticks, [percents(tick) for tick in ticks])
    if lowest < 0:
        axis.axhline(0, color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    axis.set_xlabel("Weeks from the first session (studies: from their start)", fontsize=8.5, color=INK, **FONT)
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def _legend(figure: Figure, modality: str) -> None:
    dot = {"marker": "o", "linestyle": "", "markeredgecolor": INK, "markersize": 10}
    handles = [
        Line2D([], [], marker="D", color=INK, markerfacecolor=PAPER, markeredgewidth=1.8, markersize=8, linewidth=2.2,
               label="This program, with its 95% range"),
        Line2D([], [], color=INK, label=sentence(f"{modality} in a published study"), **dot),
        Line2D([], [], color=PAPER, label="Control in it", **dot),
    ]  # fmt: skip
    figure.legend(
        handles=handles, loc="outside lower center", ncols=3, fontsize=9, frameon=False, title_fontsize=9,
        title="Pressure injuries alone; nothing is pooled, and no difference may be read off. Dots that would overlap "
        "stand aside: the list has their weeks.",
    )  # fmt: skip
