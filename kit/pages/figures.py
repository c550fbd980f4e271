"""The figures. Every one reads in grey, says its clock and its counts, and shows its uncertainty."""

from __future__ import annotations

import textwrap

import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from kit.plan import WEEK
from kit.words import count, label

INK, PAPER, FAINT = "#1d2b2a", "#ffffff", "#6b7774"
# Lightness and hatching tell them apart: closed is darkest at the foot, open is paper, losses hang from the top.
FILLS = {
    "closed": ("#23605a", ""),
    "surgical_closure": ("#5f9d8f", "...."),
    "open": ("#f3efe4", ""),
    "left": ("#d9c7a3", "\\\\\\"),
    "hospital": ("#b08d57", "////"),
    "died": ("#5b4a3a", "xxxx"),
}
STACK = tuple(FILLS)
MARGIN = 4  # days drawn beyond the horizon, or what happened on its last day would not show
FONT = {"family": "DejaVu Sans"}


def reads_on(fill: str) -> str:
    """Ink or paper, whichever stands out more from a fill: for its lettering, its hatching and its outline."""
    ink, paper, own = (_luminance(colour) + 0.05 for colour in (INK, PAPER, fill))
    return INK if own / ink > paper / own else PAPER


def ranged(colour: str, dash: str) -> dict[str, object]:
    """How the range of a line is shaded: pale, with a fine edge, because not everybody sees so pale a shade."""
    return {"facecolor": (colour, 0.13), "edgecolor": colour, "linewidth": 0.5, "linestyle": dash}


def _luminance(colour: str) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.2)."""
    parts = np.array(to_rgb(colour))
    light = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(light @ (0.2126, 0.7152, 0.0722))


def closing_figure(curves: pd.DataFrame, groups: pd.DataFrame, horizon_weeks: int) -> Figure:
    """Where the wounds of each group stood week by week: one panel a group, all of 100 wounds.

    Takes the frames of `kit.healing.description`. The dashed lines are the range of the share closed. A panel whose
    clock starts at another moment stands apart from the others: they must not be read against each other.
    """
    drawn = groups[groups["drawn"]]
    figure = Figure(figsize=(10.2, 3.7), facecolor=PAPER, layout="constrained")
    if drawn.empty:
        return _said(figure, "Too few wounds to draw a curve")
    places, spare = _places(figure, drawn)
    for axis, group in zip(places, drawn.itertuples(), strict=True):
        _panel(axis, curves[curves["group"] == group.group], group.drawn_to, horizon_weeks)
        axis.set_title(
            f"{_wrapped(label(group.group))}\n{count(group.wounds, 'wound')},\n{count(group.residents, 'resident')}",
            **_TITLE,
        )
        axis.set_xlabel(f"Weeks from\n{group.clock}", fontsize=9, color=INK, **FONT)
    for axis in places[1:]:
        axis.tick_params(labelleft=False)
    _say_undrawn(spare, groups[~groups["drawn"]])
    places[0].set_ylabel("Of 100 wounds", fontsize=9, color=INK, **FONT)
    _key(figure, set(curves.loc[curves["share"] > 0, "state"]))
    return figure


def _places(figure: Figure, drawn: pd.DataFrame) -> tuple[list[Axes], Axes | None]:
    """One place a group, with a gap wherever the clock changes, and what is spare to the right of few groups."""
    widths, columns, last = [], [], None
    for clock in drawn["clock"]:
        if last is not None and clock != last:
            widths.append(0.25)
        columns.append(len(widths))
        widths.append(max(1.0, 1.7 - 0.2 * len(drawn)))
        last = clock
    spare = 5.25 - sum(widths)
    widths += [spare] if spare > 1 else []
    figure.get_layout_engine().set(wspace=0.07)
    grid = figure.add_gridspec(1, len(widths), width_ratios=widths)
    places = [figure.add_subplot(grid[0, column]) for column in columns]
    return places, figure.add_subplot(grid[0, -1]) if spare > 1 else None


def _say_undrawn(spare: Axes | None, undrawn: pd.DataFrame) -> None:
    if spare is None:
        return
    spare.set_axis_off()
    lines = [f"{label(group.group)}: {count(group.wounds, 'wound')}" for group in undrawn.itertuples()]
    if lines:
        said = "Too few to draw\n\n" + "\n".join(lines)
        spare.text(
            0.08, 0.95, said, va="top", fontsize=9, color=INK, transform=spare.transAxes, parse_math=False, **FONT
        )


def _wrapped(name: str) -> str:
    return "\n".join(textwrap.wrap(name, 18)) if len(name) > 18 else f"{name}\n"


_TITLE = {"fontsize": 9, "color": INK, "loc": "left", "parse_math": False, **FONT}


def _panel(axis: Axes, curve: pd.DataFrame, drawn_to: int, horizon_weeks: int) -> None:
    horizon = horizon_weeks * WEEK
    days = np.arange(horizon + MARGIN if drawn_to >= horizon else drawn_to + 1)
    shares = {state: _step(curve, state, "share", days) for state in STACK}
    floor = np.zeros(len(days))
    for state in STACK:
        fill, hatch = FILLS[state]
        top = floor + 100 * shares[state]
        axis.fill_between(days / WEEK, floor, top, facecolor=fill, hatch=hatch, edgecolor=reads_on(fill), linewidth=0.5)
        floor = top
    any_closed = shares["closed"] > 0
    for limit, colour in (("low", PAPER), ("high", INK)):
        edge = np.where(any_closed, 100 * _step(curve, "closed", limit, days), np.nan)
        axis.plot(days / WEEK, edge, color=colour, linewidth=1.0, linestyle=(0, (3, 2)))
    ticks = np.arange(0, horizon_weeks + 1, 4)
    left = np.where(
        ticks * WEEK <= drawn_to, _step(curve, "open", "at_risk", ticks * WEEK).astype(int).astype(str), "–"
    )
    axis.set_xticks(ticks, [f"{week}\n({count})" for week, count in zip(ticks, left, strict=True)])
    _plain(axis, horizon_weeks)


def _step(curve: pd.DataFrame, state: str, column: str, days: np.ndarray) -> np.ndarray:
    """The value of a step curve at each day: that of the last day on which anything happened."""
    one = curve[curve["state"] == state]
    row = np.searchsorted(one["day"].to_numpy(dtype=float), days, side="right") - 1
    return one[column].to_numpy(dtype=float)[row]


def _plain(axis: Axes, horizon_weeks: int) -> None:
    axis.set(xlim=(0, (horizon_weeks * WEEK + MARGIN - 1) / WEEK), ylim=(0, 100))
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def _key(figure: Figure, present: set[str]) -> None:
    patches = [
        Patch(facecolor=fill, hatch=hatch, edgecolor=reads_on(fill), linewidth=0.5, label=label(state))
        for state, (fill, hatch) in FILLS.items()
        if state in present
    ]
    figure.legend(
        handles=patches, loc="outside lower center", ncols=min(len(patches), 6), fontsize=9, frameon=False,
        title_fontsize=9,
        title="In brackets: wounds still open and in view. Dashed: the range of the share closed, 95%.",
    )  # fmt: skip


def _said(figure: Figure, sentence: str) -> Figure:
    figure.text(0.5, 0.5, sentence, ha="center", va="center", color=INK, fontsize=10, **FONT)
    return figure


def missed_figure(reasons: pd.DataFrame) -> Figure:
    """Why planned sessions were not given in full: bars by reason. Columns in: reason, missed, shortened."""
    figure = Figure(figsize=(6.2, 0.7 + 0.3 * max(len(reasons), 2)), facecolor=PAPER, layout="constrained")
    if reasons.empty:
        return _said(figure, "No session was missed or shortened")
    axis = figure.subplots()
    named = reasons.assign(reason=reasons["reason"].map(label), both=reasons["missed"] + reasons["shortened"])
    sns.barplot(named, x="both", y="reason", color=FILLS["left"][0], edgecolor=INK, linewidth=0.6, ax=axis)
    sns.barplot(named, x="missed", y="reason", color=FILLS["died"][0], edgecolor=INK, linewidth=0.6, ax=axis)
    axis.xaxis.set_major_locator(MaxNLocator(integer=True))
    axis.set_xlabel("Sessions: missed (dark), shortened (light)", fontsize=8, color=INK, **FONT)
    axis.set_ylabel("")
    axis.tick_params(labelsize=8, colors=INK, length=2)
    sns.despine(ax=axis)
    return figure
