"""The figures of delivery. Each reads in grey, says its counts, and names no wound."""

from __future__ import annotations

import textwrap
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from kit.delivery.calendar import CLOSED, length, most_missed
from kit.delivery.decisions import AWAY, PAYER, PERSON, RECORD, STAFF, SUPPLY, TRAIN
from kit.pages.figures import FAINT, FILLS, FONT, INK, PAPER, reads_on
from kit.plan import Plan
from kit.statements.delivery import ELEMENTS
from kit.words import FEW_NAMES, day, sentence

_SMALL = {"fontsize": 9, "color": INK, **FONT}
# At its darkest ink still reads on it.
_SHADE = LinearSegmentedColormap.from_list("missed", [PAPER, FILLS["hospital"][0]])
LINES = 40  # wounds in a calendar that can still be read
FULL = "full"
# Lightness and hatching tell them apart: full is darkest at the left, what was not recorded is bare.
PARTS = {
    FULL: (FILLS["closed"][0], "", "Reached the protocol's minutes"),
    TRAIN: ("#d9c7a3", "", "Given and too short"),
    PERSON: ("#b9c4c0", "////", "Refused or unwell"),
    STAFF: ("#b0926c", "++", "No staff"),
    SUPPLY: ("#b0926c", "xxxx", "No device or supplies"),
    PAYER: ("#efe6d2", "....", "Payer"),
    AWAY: ("#c9d3cf", "\\\\\\\\", "Away, on hold or isolated"),
    RECORD: (PAPER, "", "Not recorded"),
    "": (PAPER, "----", "Cannot be judged"),
}
DAYS = {
    "full": ("s", FILLS["closed"][0], "In full"), "short": ("s", "#d9c7a3", "Too short"),
    "shortened": ("^", "#d9c7a3", "Cut short for a reason"), "missed": ("x", "#8a2f16", "Missed"),
    "no minutes": ("o", PAPER, "No minutes recorded"), "no head": ("v", PAPER, "Sound head's area not recorded"),
    "not judged": ("<", "#c9d3cf", "Wound not measured in time"), "other": ("P", "#c9d3cf", "No minutes are asked"),
    "not known": (".", FAINT, "Status not known"), CLOSED: ("D", INK, "Wound closed"),
}  # fmt: skip


def agreement_figure(shortfalls: pd.DataFrame) -> Figure:
    """How often each element was missed, by facility, in percent: the darker, the more often.

    Takes `shortfalls` of `kit.delivered`. Elements that nobody was asked are left out; a dash stands where a facility
    was not asked. Many facilities stand below each other, few beside each other.
    """
    elements = [name for name in ELEMENTS if name in set(shortfalls["element"])]
    table, asked = (
        shortfalls.pivot(index="element", columns="facility", values=name).reindex(elements)
        for name in ("missing_share", "asked")
    )
    many = len(table.columns) > FEW_NAMES
    table = table.rename(index={name: sentence(ELEMENTS[name]) for name in elements})
    if many:
        table, asked = table.T.rename(columns=partial(textwrap.fill, width=12)), asked.T
    figure = Figure(figsize=(8.6, 0.9 + 0.34 * max(len(table), 2) + 0.5 * many), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    axis.imshow(table.fillna(0).to_numpy(), cmap=_SHADE, vmin=0, vmax=1, aspect="auto")
    for (row, column), value in np.ndenumerate(table.to_numpy()):
        said = "–" if np.isnan(value) else f"{100 * value:.0f}% of {asked.iat[row, column]:.0f}"
        axis.text(column, row, said, ha="center", va="center", **_SMALL)
    axis.set_xticks(range(len(table.columns)), table.columns, parse_math=False, **_SMALL)
    axis.set_yticks(range(len(table)), table.index, parse_math=False, **_SMALL)
    axis.xaxis.tick_top()
    axis.set_xticks(np.arange(len(table.columns) + 1) - 0.5, minor=True)
    axis.set_yticks(np.arange(len(table) + 1) - 0.5, minor=True)
    axis.grid(which="minor", color=FAINT, linewidth=0.5)
    axis.tick_params(which="both", length=0)
    axis.set_xlabel("Off the protocol or not recorded, of the sessions (or ordered weeks) asked", **_SMALL)
    return figure


def fates_figure(fates: pd.DataFrame, wide: float = 8.6) -> Figure:
    """Of 100 sessions due in each facility, how many reached the protocol's minutes, and what the others lacked.

    Takes `fates` of `kit.delivered`; `wide` is its width in inches.
    """
    rows = fates.assign(part=fates["decision"].mask(fates["fate"] == FULL, FULL))
    table = rows.pivot_table(index="facility", columns="part", values="share", aggfunc="sum", fill_value=0.0)
    table = table.reindex(columns=[name for name in PARTS if name in table.columns])
    due = fates.groupby("facility")["sessions"].sum()
    figure = Figure(figsize=(wide, 1.5 + 0.4 * len(table)), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    places, left = np.arange(len(table))[::-1], np.zeros(len(table))
    for name in table.columns:
        fill, hatch, _ = PARTS[name]
        width = 100 * table[name].to_numpy()
        axis.barh(
            places, width, left=left, height=0.62, color=fill, hatch=hatch, edgecolor=reads_on(fill), linewidth=0.6
        )
        _numbered(axis, places, left, width, hatch, fill)
        left = left + width
    axis.set_yticks(places, [f"{name} ({due[name]:.0f})" for name in table.index], parse_math=False, **_SMALL)
    axis.set(xlim=(0, 100))
    axis.set_xlabel("Of 100 sessions due, logged or ordered; in brackets: how many", **_SMALL)
    keys = [Patch(facecolor=PARTS[name][0], hatch=PARTS[name][1], edgecolor=reads_on(PARTS[name][0]),
                  linewidth=0.6, label=PARTS[name][2])
            for name in table.columns]  # fmt: skip
    figure.legend(handles=keys, loc="outside upper left", ncols=int(wide / 2.1), fontsize=9, frameon=False)
    _plain(axis)
    return figure


def _numbered(axis: Axes, places: np.ndarray, left: np.ndarray, width: np.ndarray, hatch: str, fill: str) -> None:
    for place, start, wide in zip(places, left, width, strict=True):
        if wide >= 4:
            box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.2} if hatch else None
            colour = INK if hatch else reads_on(fill)
            axis.text(start + wide / 2, place, f"{wide:.0f}", ha="center", va="center", fontsize=9, color=colour,
                      bbox=box, **FONT)  # fmt: skip


def calendar_figure(every: pd.DataFrame, plan: Plan) -> Figure:
    """Each treated wound's sessions by day: one line a wound, facilities apart, nobody named.

    Takes `kit.delivery.calendar.calendar`. Of more than 40 wounds those with most sessions not in full are shown.
    """
    told, days = most_missed(every, LINES), length(plan)
    shown_of = every["wound"].nunique()
    since = "the first session" if plan.cutoff is None else day(plan.quarter_begins, plan)
    wounds = told.drop_duplicates("wound")[["wound", "facility"]].reset_index(drop=True)
    gaps = (wounds["facility"] != wounds["facility"].shift()).cumsum()
    height = wounds.assign(place=-(wounds.index + 0.8 * gaps))
    figure = Figure(figsize=(8.6, 1.5 + 0.21 * (len(wounds) + gaps.max())), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    place = told["wound"].map(height.set_index("wound")["place"])
    axis.hlines(height["place"], 0, days, color=FAINT, linewidth=0.4, zorder=0)
    for name, (mark, fill, _) in DAYS.items():
        own = told["fate"] == name
        edge = fill if mark in ("x", ".") else INK
        axis.plot(told.loc[own, "at"], place[own], mark, color=fill, markeredgecolor=edge, markersize=4.6,
                  markeredgewidth=1.3 if mark == "x" else 0.5)  # fmt: skip
    middle = height.groupby("facility", sort=False)["place"].mean()
    axis.set_yticks(middle, middle.index, parse_math=False, **_SMALL)
    axis.set_xticks(range(0, days + 1, 14), [f"{tick // 7}" for tick in range(0, days + 1, 14)])
    few = "" if len(wounds) == shown_of else f"; the {len(wounds)} of {shown_of} with most sessions not in full"
    axis.set_xlabel(f"Weeks since {since}; a line is a wound{few}", **_SMALL)
    axis.set(xlim=(-1, days + 1), ylim=(height["place"].min() - 1, height["place"].max() + 1))
    keys = [Line2D([], [], marker=mark, color=fill, markeredgecolor=fill if mark in ("x", ".") else INK, linestyle="",
                   markersize=5, label=said)
            for name, (mark, fill, said) in DAYS.items() if (told["fate"] == name).any()]  # fmt: skip
    figure.legend(handles=keys, loc="outside upper left", ncols=4, fontsize=9, frameon=False)
    _plain(axis)
    axis.tick_params(axis="y", length=0)
    return figure


def _plain(axis: Axes) -> None:
    axis.tick_params(labelsize=9, colors=INK, length=2)
    for side in ("top", "right", "left"):
        axis.spines[side].set_visible(False)
