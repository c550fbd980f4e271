"""The forest figure: every published study with its range, and what they come to together under each assumption."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon

from kit.context.evidence import Body, as_ratios
from kit.context.pooling import FIXED, KNAPP_WIDE, MANTEL_HAENSZEL, PREDICTION, REML
from kit.context.published_trials import CLOSING, CONTROL, SIZE, TREATED
from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.statements.evidence import ranged
from kit.words import percents, sentence

DRAWN = {
    FIXED: "If one and the same in all (fixed)",
    MANTEL_HAENSZEL: "By counts (Mantel-Haenszel)",
    REML: "If studies differ (REML)",
    KNAPP_WIDE: "If they differ and are few (Hartung-Knapp)",
    PREDICTION: "Where the next study may lie",
}
REACH = {CLOSING: (0.05, 250.0), SIZE: (-40.0, 100.0)}  # drawn; ranges that go on end in an arrow
TICKS = {CLOSING: (0.1, 0.3, 1, 3, 10, 30, 100), SIZE: (-40, -20, 0, 20, 40, 60, 80, 100)}
NONE = {CLOSING: 1.0, SIZE: 0.0}
HALF, LARGEST = 0.3, 13.0  # of a diamond, in rows; of a square, in points
COLUMNS = (0.0, 0.45, 0.88)  # where the words at the right stand, in widths of their own axis
_SMALL = {"fontsize": 8.5, "color": INK, "parse_math": False, **FONT}


def forest_figure(body: Body) -> Figure:
    """Each study's number with its range and what it rests on, and below a line every way of pooling them.

    Squares are as large as the weight of a study where studies may differ (REML). Ratios stand on a logarithmic scale.
    """
    if body.effects.empty:
        return _said(f"No published study of {body.modality} has the numbers for {body.measure}")
    studies, ways = _studies(body), _ways(body)
    lines = len(studies) + len(ways) + 1
    figure = Figure(figsize=(10.2, 1.5 + 0.34 * lines), facecolor=PAPER, layout="constrained")
    axis, beside = figure.subplots(1, 2, width_ratios=[1.7, 1.5], sharey=True)
    _frame(axis, body, lines)
    beside.set_xticks([])
    beside.axis("off")
    for place, row in zip(range(lines - 1, 0, -1), studies, strict=False):
        _square(axis, place, row, body.measure)
    for place, row in zip(range(len(ways) - 1, -1, -1), ways, strict=True):
        _line(axis, place, row, body.measure) if row["way"] == PREDICTION else _diamond(axis, place, row, body.measure)
    _words(axis, beside, studies, ways, body)
    figure.suptitle(sentence(_title(body)), x=0.01, ha="left", fontsize=9, color=INK, parse_math=False, **FONT)
    return figure


def _said(words: str) -> Figure:
    figure = Figure(figsize=(10.2, 1.0), facecolor=PAPER)
    figure.text(0.5, 0.5, words, ha="center", va="center", fontsize=10, color=INK, **FONT)
    return figure


def _studies(body: Body) -> list[dict]:
    """A row a study in order of years: its number with a 95% range, its weight in percent, its two arms in words."""
    effects = body.effects
    half = 1.959964 * np.sqrt(effects["variance"])
    rows = effects.assign(estimate=effects["effect"], low=effects["effect"] - half, high=effects["effect"] + half)
    weight = 1 / (effects["variance"] + _between(body))
    rows = as_ratios(rows, body.measure).assign(weight=100 * weight / weight.sum())
    arms = {trial: own for trial, own in body.arms.groupby("trial")}
    rows = rows.assign(
        year=[int(arms[trial]["year"].fillna(0).iloc[0]) for trial in rows["trial"]],
        rests=[_rests(arms[trial], body.measure) for trial in rows["trial"]],
    )
    return rows.sort_values("year", kind="stable").to_dict("records")


def _between(body: Body) -> float:
    tau2 = body.pooled.set_index("way").loc[REML, "tau2"]
    return 0.0 if np.isnan(tau2) else float(tau2)


def _rests(arms: pd.DataFrame, measure: str) -> str:
    """What the two arms came to: `25 of 43, 1 of 31` closed, or `89%, 44%` smaller."""
    rows = [arms[arms["arm"].str.startswith(side)].iloc[0] for side in (TREATED, CONTROL)]
    if measure == CLOSING:
        return ", ".join(f"{row['closed']} of {row['closed_of']}" for row in rows)
    return ", ".join(f"{percents(row['reduction'])}% ({row['reduction_of']})" for row in rows)


def _ways(body: Body) -> list[dict]:
    rows = as_ratios(body.pooled, body.measure).set_index("way", drop=False)
    told = [rows.loc[name].to_dict() for name in DRAWN if name in rows.index]
    return [row for row in told if not row["not_computed"]] if len(body.effects) > 1 else []


def _frame(axis: Axes, body: Body, lines: int) -> None:
    measure = body.measure
    if measure == CLOSING:
        axis.set_xscale("log")
    axis.set(xlim=REACH[measure], ylim=(-0.7, lines - 0.1))
    axis.axvline(NONE[measure], color=FAINT, linewidth=1.0, linestyle=(0, (3, 2)), zorder=0)
    axis.set_xticks(TICKS[measure], [f"{tick:g}".replace("-", "−") for tick in TICKS[measure]])
    axis.set_xticks([], minor=True)
    unit = "times as many closed" if measure == CLOSING else "points of percent smaller"
    axis.set_xlabel(f"Favours usual care  ◂  {unit}  ▸  Favours {body.modality}", fontsize=9, color=INK, **FONT)
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    axis.tick_params(axis="y", length=0)
    for side in ("top", "right", "left"):
        axis.spines[side].set_visible(False)


def _square(axis: Axes, place: float, row: dict, measure: str) -> None:
    _line(axis, place, row, measure, width=1.3)
    size = max(3.0, LARGEST * (row["weight"] / 100) ** 0.5)
    axis.plot(row["estimate"], place, "s", color=INK, markersize=size, markeredgecolor=PAPER, markeredgewidth=0.6)


def _line(axis: Axes, place: float, row: dict, measure: str, width: float = 2.2) -> None:
    """A range; where it goes on beyond what is drawn, an arrow stands at the edge."""
    low, high = REACH[measure]
    ends = [max(row["low"], low), min(row["high"], high)]
    axis.plot(ends, [place, place], color=INK, linewidth=width, solid_capstyle="butt")
    for beyond, edge, mark in ((row["low"] < low, low, "<"), (row["high"] > high, high, ">")):
        if beyond:
            axis.plot(edge, place, mark, color=INK, markersize=5, clip_on=False)


def _diamond(axis: Axes, place: float, row: dict, measure: str) -> None:
    low, high = REACH[measure]
    corners = [(max(row["low"], low), place), (row["estimate"], place + HALF), (min(row["high"], high), place),
               (row["estimate"], place - HALF)]  # fmt: skip
    fill = PAPER if row["way"] == KNAPP_WIDE else FAINT
    axis.add_patch(Polygon(corners, closed=True, facecolor=fill, edgecolor=INK, linewidth=1.1))


def _words(axis: Axes, beside: Axes, studies: list[dict], ways: list[dict], body: Body) -> None:
    """Names at the left; what each rests on, its number and its weight at the right."""
    lines = len(studies) + len(ways) + 1
    places = [*range(lines - 1, len(ways), -1), *range(len(ways) - 1, -1, -1)]
    axis.set_yticks(places, [row["trial"] for row in studies] + [DRAWN[row["way"]] for row in ways], **_SMALL)
    _columns(beside, lines - 0.3, ("Treated, beside", "Number (range)", "Weight"), "bottom")
    for place, row in zip(places, [*studies, *ways], strict=True):
        number = ranged(row, body.measure)
        if row.get("way") == PREDICTION:  # a place for one study, not a number
            number = number.partition(" ")[2].strip("()")
        weight = f"{row['weight']:.0f}%" if "weight" in row else ""
        _columns(beside, place, (row.get("rests", ""), number, weight), "center")


def _title(body: Body) -> str:
    studies = len(body.effects)
    told = "one published study" if studies == 1 else f"{studies} published studies, and what they come to together"
    return f"{body.modality} and {body.measure} of pressure injuries: {told}"


def _columns(beside: Axes, place: float, words: tuple[str, ...], at: str) -> None:
    for across, word in zip(COLUMNS, words, strict=True):
        beside.text(across, place, word, va=at, ha="left", **_SMALL)
