"""The page of money, gain and doubt: one printed sheet for those who pay, made from the findings alone."""

from __future__ import annotations

import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure

from kit.pages.cost_tables import money_table
from kit.pages.display import figure_html, table_html
from kit.pages.page import in_frame
from kit.plan import BASES, Plan
from kit.statements.costs import DOUBT, GAIN, MONEY

HEADINGS = {
    MONEY: "What it costs",
    GAIN: "What was gained for it",
    DOUBT: "What would pay for it, and what is doubtful",
}


def costs_html(found: dict, figure: Figure | None, plan: Plan, revision: str, made: str) -> str:
    """The sheet as HTML: sentences on money, gain and doubt, the table of prices, and `figure` (the plane of gain and
    money, or what a started wound cost where no gain is told)."""
    said = found["costs"]["said"]
    told = {title: [row["sentence"] for row in said if row["about"] == about] for about, title in HEADINGS.items()}
    return in_frame(
        "costs.html.j2",
        title=f"{found['scope']}, {plan.program.name}: money, gain and doubt",
        f=found,
        told=told,
        weeks=found["comparison"]["horizon_weeks"],
        money_table=Markup(table_html(money_table(pd.DataFrame(found["costs"]["lines"]), plan))),
        figure=Markup(figure_html(figure, described(found))) if figure is not None else "",
        basis=BASES[plan.program.basis],
        revision=revision,
        made=made,
    )


def described(found: dict) -> str:
    """The figure in words, for those who cannot see it."""
    places = [f"{row['quadrant']} in {round(100 * row['of_draws'])}" for row in found["costs"]["quadrants"]]
    if places and not found["costs"]["not_beside_gain"]:
        return f"Of 100 draws of residents, gain beside money: {'; '.join(places)}."
    return "What a started wound cost, by what it was spent on, as in the table."
