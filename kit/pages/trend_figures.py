"""The quarters in a row: a small line for each measure, this quarter's point hollow and numbered, the median dashed."""

from __future__ import annotations

import re

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from kit.context.trend import DELIVERED, DRAWN, IN_TIME, REACH
from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.statements.trend import DRAWN_FROM, NAMES
from kit.words import of_hundred

TITLES = {
    DELIVERED: "Delivered, % of sessions due",
    REACH: "Started, % of wounds that could be",
    IN_TIME: "Measured in time, % of weeks",
}
FEW = 6  # quarters whose names all fit below a panel
_SMALL = {"fontsize": 8, "color": INK, "parse_math": False, **FONT}


def trend_figure(points: pd.DataFrame) -> Figure | None:
    """Three panels side by side. Takes `kit.context.trend.quarters`; None where fewer than 3 quarters were issued."""
    if points.loc[points["is_issued"].astype(bool), "quarter"].nunique() < DRAWN_FROM:
        return None
    figure = Figure(figsize=(7.4, 1.5), facecolor=PAPER, layout="constrained")
    every = points.drop_duplicates("quarter")
    for axis, measure in zip(figure.subplots(1, len(DRAWN), sharex=True, sharey=True), DRAWN, strict=True):
        _panel(axis, points[points["measure"] == measure])
        axis.set_title(TITLES[measure], loc="left", **_SMALL)
        _quarters(axis, every)
    return figure


def _panel(axis: Axes, own: pd.DataFrame) -> None:
    issued = own["is_issued"].astype(bool)
    days, percent = own["quarter_ends"], 100 * own["share"]
    axis.plot(days, percent, color=INK, linewidth=1.2)
    axis.plot(days[issued], percent[issued], "o", color=INK, markersize=4)
    axis.plot(
        days[~issued], percent[~issued], "o", color=INK, markerfacecolor=PAPER, markersize=5.5, markeredgewidth=1.3
    )
    for day, share in zip(days[~issued], percent[~issued], strict=True):
        axis.annotate(
            of_hundred(share / 100), (day, share), xytext=(6, 0), textcoords="offset points", va="center", **_SMALL
        )
    if len(own):
        ends = [days.min(), days.max()]
        axis.plot(ends, [percent.median()] * 2, color=FAINT, linewidth=1.0, linestyle=(0, (4, 2)), zorder=0)
    axis.set(ylim=(-4, 104), yticks=(0, 50, 100))
    axis.tick_params(labelsize=8, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def _quarters(axis: Axes, every: pd.DataFrame) -> None:
    """Every quarter's name where there are few; of many the years, at the first quarter that each has."""
    names = every["quarter"].tolist()
    years = [year_of(name) for name in names]
    firsts = [year != before for year, before in zip(years, ["", *years], strict=False)]
    if len(names) <= FEW:
        said = [short(name, first) for name, first in zip(names, firsts, strict=True)]
    else:
        said = [year if first else "" for year, first in zip(years, firsts, strict=True)]
    axis.set_xticks(every["quarter_ends"], said, **_SMALL)
    reach = every["quarter_ends"].max() - every["quarter_ends"].min()
    axis.set_xlim(every["quarter_ends"].min() - 0.07 * reach, every["quarter_ends"].max() + 0.16 * reach)


def year_of(quarter: str) -> str:
    """The year in which a quarter ends; its last day where days have no year."""
    return quarter.split("_")[-1][:4] if re.match(r"\d{4}-", quarter) else f"day {quarter.rpartition('-')[2]}"


def short(quarter: str, first: bool) -> str:
    """A quarter as it stands below a panel: `Q2`, with its year below where it is the first of it."""
    if re.fullmatch(r"\d{4}-Q\d", quarter):
        return f"{quarter[5:]}\n{quarter[:4]}" if first else quarter[5:]
    return quarter.split("_")[-1][2:] if "_" in quarter else quarter.rpartition("-")[2]


def describe_trend(points: pd.DataFrame) -> str:
    """The figure in words, for those who cannot see it."""
    told = [_described(measure, points[points["measure"] == measure]) for measure in DRAWN]
    return f"Quarters in a row, in percent; the last is this quarter's, not issued. {' '.join(told)}"


def _described(measure: str, own: pd.DataFrame) -> str:
    shares = ", ".join(f"{row.quarter} {of_hundred(row.share)}" for row in own.itertuples())
    return f"Of {NAMES[measure]}: {shares or 'none'}."
