"""The figures of facilities side by side: the funnels of both measures, and what was given beside what came of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from kit.context.case_mix import CLOSED
from kit.context.funnel import WIDTHS, limits_at, steepness
from kit.pages.figures import FAINT, FONT, INK, PAPER
from kit.region import Region

FEW = 12  # facilities up to which every dot has its name
_SMALL = {"fontsize": 9, "color": INK, **FONT}
_NAME = {"fontsize": 8.5, "color": INK, "parse_math": False, **FONT}
DASHES = {"95": (0, (2, 2)), "998": "-"}
LIMITS = {"95": "95 of 100 within, by chance", "998": "998 of 1,000 within, by chance"}


def drawn_funnels(region: Region, only: str = "") -> list[tuple[Figure, str]]:
    """The funnels with their description, where there is one to draw: a list of one, or of none.

    `only`: the one facility that is named, in a report that is its own.
    """
    figure = funnel_figure(region, only)
    return [(figure, describe_funnels(region, only))] if figure else []


def funnel_figure(region: Region, only: str = "") -> Figure | None:
    """A panel a measure: each facility's share at the group's mix of wounds, by how many wounds it is worth.

    Named are those beyond the outer limits, with a full dot; the others are open dots. None where nothing is told.
    """
    groups = region.funnel.groups.to_dict("records")
    if not groups:
        return None
    figure = Figure(figsize=(5.1 * len(groups), 4.2), facecolor=PAPER, layout="constrained")
    panels = figure.subplots(1, len(groups), squeeze=False)[0]
    for axis, group in zip(panels, groups, strict=True):
        _funnel(axis, region.funnel.homes[region.funnel.homes["measure"] == group["measure"]], group, only)
    panels[0].set_ylabel("Of 100 wounds, at the group's mix of wounds", **_SMALL)
    figure.legend(handles=_key(), loc="outside lower center", ncols=4, fontsize=9, frameon=False)
    return figure


def _funnel(axis: Axes, own: pd.DataFrame, group: dict, only: str) -> None:
    widest = 1.12 * own["worth_wounds"].max()
    worth = np.linspace(min(5.0, own["worth_wounds"].min()), widest, 200)
    middle, between = group["group_share"], _angle_between(group)
    axis.axhline(100 * middle, color=FAINT, linewidth=1.0)
    for name, width in WIDTHS.items():
        for limit in limits_at(worth, middle, between, width):
            axis.plot(worth, 100 * limit, color=INK, linewidth=1.0, linestyle=DASHES[name])
    _dots(axis, own["worth_wounds"], 100 * own["standardized"], own, only)
    axis.set(xlim=(worth[0], widest), ylim=(0, 100))
    title = "Closed" if group["measure"] == CLOSED else "Closed or clearly smaller"
    axis.set_title(f"{title} by week {group['horizon_weeks']}", fontsize=9.5, color=INK, loc="left", **FONT)
    axis.set_xlabel("Single wounds that its wounds are worth", **_SMALL)
    _plain(axis)


def _angle_between(group: dict) -> float:
    """The spread of facilities as an angle, from points of 100."""
    spread = group["between"]
    return 0.0 if np.isnan(spread) else spread / 100 / steepness(group["group_share"])


def _dots(axis: Axes, across: pd.Series, up: pd.Series, own: pd.DataFrame, only: str, everyone: bool = False) -> None:
    for x, y, row in zip(across, up, own.itertuples(), strict=True):
        beyond = row.differs != ""
        told = row.facility == only if only else beyond or everyone
        axis.plot(x, y, "o", markersize=6, markeredgecolor=INK, markerfacecolor=INK if beyond else PAPER)
        if told:
            right = x > np.mean(axis.get_xlim()) if len(own) > 1 else False
            axis.annotate(
                row.facility, (x, y), xytext=(-7 if right else 7, 3), textcoords="offset points",
                ha="right" if right else "left", **_NAME,
            )  # fmt: skip


def _key() -> list[Line2D]:
    dots = [
        Line2D([], [], marker="o", linestyle="", markeredgecolor=INK, markerfacecolor=fill, label=said)
        for fill, said in ((INK, "Beyond the outer limits"), (PAPER, "Within them"))
    ]
    lines = [Line2D([], [], color=INK, linewidth=1.0, linestyle=DASHES[name], label=LIMITS[name]) for name in WIDTHS]
    return [*dots, *lines]


def _plain(axis: Axes) -> None:
    axis.tick_params(labelsize=8.5, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def describe_funnels(region: Region, only: str = "") -> str:
    """The funnels in words, for those who cannot see them."""
    told = []
    for group in region.funnel.groups.to_dict("records"):
        own = region.funnel.homes[region.funnel.homes["measure"] == group["measure"]]
        own = own[own["facility"] == only] if only else own
        beyond = own.loc[own["differs"] != "", "facility"]
        told.append(f"{group['measure']}: {', '.join(beyond) or 'none'} beyond the outer limits, of {group['homes']}")
    return f"A dot a facility within curved limits that narrow the more wounds it has. {'; '.join(told)}."


def drawn_given(region: Region, only: str = "") -> list[tuple[Figure, str]]:
    """What was given beside what came of it, with its description: a list of one, or of none."""
    figure = given_figure(region, only)
    says = "A dot a facility: of 100 sessions due how many were given in full, and of 100 wounds how many closed."
    return [(figure, says)] if figure else []


def given_figure(region: Region, only: str = "") -> Figure | None:
    """Each facility's closed share at the group's mix of wounds over its share of sessions given in full.

    None where fewer than three facilities are told, and where a warning stops comparisons.
    """
    own = region.funnel.homes[region.funnel.homes["measure"] == CLOSED].merge(region.given, on="facility")
    if region.withheld_for or len(own) < 3:
        return None
    figure = Figure(figsize=(5.6, 4.0), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    axis.set(xlim=(0, 100), ylim=(0, 100))
    axis.axhline(100 * own["group_share"].iloc[0], color=FAINT, linewidth=1.0)
    _dots(axis, 100 * own["full_share"], 100 * own["standardized"], own, only, everyone=len(own) <= FEW)
    axis.set_xlabel("Of 100 sessions due, given in full", **_SMALL)
    axis.set_ylabel(f"Of 100 wounds, closed by week {own['horizon_weeks'].iloc[0]}\nat the group's mix", **_SMALL)
    _plain(axis)
    return figure
