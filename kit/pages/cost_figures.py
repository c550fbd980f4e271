"""The figures of costs: what a started wound costs, and gain beside money for draws of residents."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from kit.context.costs import TOTAL
from kit.context.gain import Worth
from kit.context.plane import LESS_FEWER, LESS_MORE, MORE_FEWER, MORE_MORE
from kit.pages.figures import FAINT, FONT, INK, PAPER, reads_on
from kit.plan import Plan
from kit.statements.money import money
from kit.words import count, label, sentence

_SMALL = {"fontsize": 9, "color": INK, "parse_math": False, **FONT}
# Lightness and hatching tell items apart; what is fixed is paper.
FILLS = {
    "staff": ("#23605a", "", "Staff time"),
    "monopolar sets": ("#5f9d8f", "", "Monopolar sets"),
    "bipolar sets": ("#b08d57", "////", "Bipolar sets"),
    "ultrasound sets": ("#d9c7a3", "....", "Ultrasound sets"),
    "dressings": ("#f3efe4", "xxxx", "Dressings beyond the order"),
    "devices": ("#ffffff", "", "Devices, fixed"),
}


def stack_figure(table: pd.DataFrame, plan: Plan) -> Figure | None:
    """What a started wound costs, a bar for all of them and for each regimen; None where nothing was spent.

    Takes the frame of `kit.context.costs.costs_by_regimen`. It describes; wounds of two regimens are not alike.
    """
    told = table[table["a_wound"].notna()]
    names = [name for name in told["regimen"].unique() if told.loc[told["regimen"] == name, "a_wound"].sum() > 0]
    if not names:
        return None
    figure = Figure(figsize=(10.2, 1.5 + 0.55 * len(names)), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    for place, name in enumerate(reversed(names)):
        _bar(axis, place, told[told["regimen"] == name].set_index("item"), plan)
    heads = [f"{label(name)}\n({count(int(_wounds(told, name)), 'wound')})" for name in reversed(names)]
    axis.set_yticks(range(len(names)), heads, **_SMALL)
    widest = told.loc[told["item"] == TOTAL, "a_wound"].max()
    axis.set(xlim=(0, 1.2 * widest), ylim=(-0.6, len(names) - 0.4))
    axis.set_xlabel("Cost of a started wound, as recorded", fontsize=9, color=INK, **FONT)
    ticks = _ticks(axis.get_xlim())
    axis.set_xticks(ticks, [money(tick, plan) for tick in ticks])
    _frame(axis, ("bottom",))
    axis.tick_params(axis="y", length=0)
    _key(figure, told)
    return figure


def _key(figure: Figure, told: pd.DataFrame) -> None:
    present = [fill for item, fill in FILLS.items() if told.loc[told["item"] == item, "amount"].sum() > 0]
    figure.legend(
        handles=[
            Patch(facecolor=colour, hatch=hatch, edgecolor=reads_on(colour), linewidth=0.6, label=name)
            for colour, hatch, name in present
        ],
        loc="outside upper left", ncols=len(present), fontsize=9, frameon=False, columnspacing=1.2, handlelength=1.6,
    )  # fmt: skip


def _wounds(told: pd.DataFrame, name: str) -> int:
    return told.loc[told["regimen"] == name, "wounds"].iloc[0]


def _bar(axis: Axes, place: int, lines: pd.DataFrame, plan: Plan) -> None:
    floor = 0.0
    for item, (fill, hatch, _) in FILLS.items():
        amount = lines["a_wound"].get(item, np.nan)
        if not amount > 0:
            continue
        axis.barh(
            place, amount, left=floor, height=0.62, facecolor=fill, hatch=hatch, edgecolor=reads_on(fill), linewidth=0.6
        )
        floor += amount
    least = "at least " if lines.loc[TOTAL, "unsaid"] else ""
    axis.text(floor, place, f" {least}{money(lines.loc[TOTAL, 'a_wound'], plan)}", va="center", ha="left", **_SMALL)


def plane_figure(worth: Worth, plan: Plan, horizon_weeks: int) -> Figure | None:
    """Gain beside money: a point a draw, the region of 95%, the whole sample, and the plan's worth of a closing.

    None where no comparison is told. Below the broken line gain outweighs money.
    """
    if worth.why or worth.draws.empty:
        return None
    figure = Figure(figsize=(7.6, 5.4), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    x, y = 100 * worth.draws["extra_closed"].to_numpy(), worth.draws["extra_money"].to_numpy()
    axis.plot(x, y, ".", color=FAINT, markersize=2.2, alpha=0.8, zorder=2)
    axis.plot(100 * worth.region["extra_closed"], worth.region["extra_money"], color=INK, linewidth=1.4, zorder=3)
    middle = worth.parts.set_index("part")["amount"]
    axis.plot(100 * middle["closed"], middle["money"], "D", color=INK, markeredgecolor=PAPER, markersize=9, zorder=4)
    wide, high = _bounds(worth)
    axis.set(xlim=wide, ylim=high)
    _cross(axis, wide, plan)
    _corners(axis, worth)
    axis.set_xlabel(f"Fewer  ◂  wounds of 100 closed by week {horizon_weeks}  ▸  More", fontsize=9, color=INK, **FONT)
    axis.set_ylabel("Less  ◂  money for a started wound  ▸  More", fontsize=9, color=INK, **FONT)
    across, up = _ticks(wide), _ticks(high)
    axis.set_xticks(across, [f"{abs(tick):g}" if tick else "none" for tick in across])
    axis.set_yticks(up, [money(tick, plan) for tick in up])
    _frame(axis, ("bottom", "left"))
    _title(axis, plan)
    return figure


def _title(axis: Axes, plan: Plan) -> None:
    says = "Diamond: all wounds. Points: draws of residents. Line round them: 95% of both together.\n"
    price = f"{money(plan.costs.willingness_to_pay, plan)}{_star(plan)}"
    says += f"Below the broken line gain outweighs money, were one more closing worth {price}."
    axis.set_title(says, loc="left", fontsize=9, color=INK, parse_math=False, **FONT)


def _bounds(worth: Worth) -> tuple[tuple[float, float], tuple[float, float]]:
    """Both noughts and everything drawn, with room for the names of the quarters in the corners."""
    x = [0, *(100 * worth.draws["extra_closed"]), *(100 * worth.region["extra_closed"])]
    y = [0, *worth.draws["extra_money"], *worth.region["extra_money"]]
    across, up = max(np.ptp(x), 20.0), max(np.ptp(y), 1.0)
    low, high = min(x), max(x)
    return (
        (min(low - 0.06 * across, -0.22 * across), max(high + 0.06 * across, 0.22 * across)),
        (min(min(y) - 0.06 * up, -0.16 * up), max(y) + 0.20 * up),
    )


def _cross(axis: Axes, wide: tuple[float, float], plan: Plan) -> None:
    axis.axhline(0, color=INK, linewidth=0.8, zorder=1)
    axis.axvline(0, color=INK, linewidth=0.8, zorder=1)
    ends = np.array(wide)
    axis.plot(
        ends, plan.costs.willingness_to_pay / 100 * ends, color=INK, linewidth=1.2, linestyle=(0, (5, 3)), zorder=1
    )


def _corners(axis: Axes, worth: Worth) -> None:
    """The name of each quarter in its outer corner, with how many draws of 100 lie there."""
    shares = worth.quadrants.set_index("quadrant")["of_draws"]
    places = {MORE_FEWER: (0.01, 0.99), MORE_MORE: (0.99, 0.99), LESS_FEWER: (0.01, 0.01), LESS_MORE: (0.99, 0.01)}
    for name, (x, y) in places.items():
        words = sentence(name).replace(" at ", "\nat ")
        said = f"{words}\n{100 * shares[name]:.0f} of 100 draws"
        axis.text(
            x, y, said, transform=axis.transAxes, ha="left" if x < 0.5 else "right", va="bottom" if y < 0.5 else "top",
            zorder=5, bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}, **_SMALL,
        )  # fmt: skip


def curve_figure(worth: Worth, plan: Plan) -> Figure | None:
    """In how many of 100 draws gain outweighs money, over what one more closing is worth; None where none is told."""
    if worth.why or worth.curve.empty:
        return None
    figure = Figure(figsize=(7.4, 3.0), facecolor=PAPER, layout="constrained")
    axis = figure.subplots()
    axis.plot(worth.curve["closing_worth"], 100 * worth.curve["pays_share"], color=INK, linewidth=1.8)
    own = plan.costs.willingness_to_pay
    axis.axvline(own, color=FAINT, linewidth=1.0, linestyle=(0, (5, 3)))
    axis.text(own, 104, f"the plan's{_star(plan)}", va="bottom", ha="center", **_SMALL)
    axis.set(xlim=(0, worth.curve["closing_worth"].max()), ylim=(0, 103))
    axis.set_yticks(range(0, 101, 20))
    axis.set_xlabel("What one more wound closed is worth", fontsize=9, color=INK, **FONT)
    axis.set_ylabel("Of 100 draws, gain\noutweighs money in", fontsize=9, color=INK, **FONT)
    ticks = _ticks(axis.get_xlim())
    axis.set_xticks(ticks, [money(tick, plan) for tick in ticks])
    _frame(axis, ("bottom", "left"))
    axis.tick_params(axis="x", pad=7)  # both noughts stand at one corner
    return figure


def _star(plan: Plan) -> str:
    return "*" if plan.costs.is_invented("willingness_to_pay") else ""


def _ticks(ends: tuple[float, float]) -> list[float]:
    """Round numbers between two ends, few enough that amounts stand apart."""
    rounded = MaxNLocator(6, steps=[1, 2, 5, 10]).tick_values(*ends)
    return [float(tick) for tick in rounded if ends[0] <= tick <= ends[1]]


def _frame(axis: Axes, kept: tuple[str, ...]) -> None:
    axis.tick_params(labelsize=9, colors=INK, length=2)
    for side in ("top", "right", "left", "bottom"):
        axis.spines[side].set_visible(side in kept)
