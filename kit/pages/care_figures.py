"""The figure of comfort: each resident's own pain with and without stimulation before a procedure."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure

from kit.delivery.comfort import LONG
from kit.pages.figures import FAINT, FILLS, FONT, INK, PAPER

_SMALL = {"fontsize": 9, "color": INK, **FONT}


def pain_figure(people: pd.DataFrame, minutes: float) -> Figure:
    """A line a resident and kind of procedure, from the mean pain without to the mean with long enough stimulation.

    Takes `people` of `kit.delivery.comfort.pain`; `minutes` is the plan's `relief_minutes`. Heavy: the mean of all.
    """
    told = people[people["relief_group"] == LONG]
    figure = Figure(figsize=(5.4, 3.6), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    for row in told.itertuples():
        less = row.eased_mean <= row.uneased_mean
        axis.plot([0, 1], [row.uneased_mean, row.eased_mean], color=FAINT, linewidth=0.9, alpha=0.85,
                  linestyle="-" if less else (0, (3, 2)))  # fmt: skip
    if len(told):
        ends = [told["uneased_mean"].mean(), told["eased_mean"].mean()]
        axis.plot([0, 1], ends, "o-", color=FILLS["closed"][0], linewidth=3, markersize=7)
    fewer = int((told["eased_mean"] < told["uneased_mean"]).sum())
    axis.set_xticks([0, 1], ["Without", f"With {minutes:.0f} minutes or more before"], **_SMALL)
    axis.set(xlim=(-0.25, 1.25), ylim=(0, 10))
    axis.set_ylabel("Pain during, 0 to 10", **_SMALL)
    axis.set_xlabel(
        f"A line a resident and kind of procedure: less in {fewer} of {len(told)} (solid). Heavy: the mean", **_SMALL
    )
    axis.tick_params(labelsize=9, colors=INK, length=2)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    return figure
