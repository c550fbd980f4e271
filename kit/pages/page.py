"""The page: one printed sheet, made from the findings alone, with nothing to fetch from anywhere."""

from __future__ import annotations

from functools import partial

import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.figure import Figure

from kit import words
from kit.pages.display import figure_html, table_html
from kit.plan import BASES, Plan

_TEMPLATES = Environment(
    loader=PackageLoader("kit.pages", "."), autoescape=True, undefined=StrictUndefined, trim_blocks=True
)


def page_html(found: dict, figure: Figure, plan: Plan, revision: str, notebooks: list[tuple[str, str]]) -> str:
    """The whole page as HTML. `notebooks` names file and title of each notebook of the same report."""
    return _TEMPLATES.get_template("page.html.j2").render(
        title=f"{found['scope']}, {plan.program.name}: quarterly outcome report",
        css=_css(),
        f=found,
        a=found["activity"],
        revision=revision,
        notebooks=notebooks,
        basis=BASES[plan.program.basis],
        rows_in=sum(row["rows_in"] for row in found["account"]),
        set_aside=sum(row["set_aside"] for row in found["account"]),
        day=partial(words.day, plan=plan),
        label=words.label,
        count=words.count,
        when=words.when(plan),
        no_session="not in the export" if "sessions" in found["absent"] else "none",
        percent=words.percent,
        percent_only=lambda part, whole: f"{100 * part / whole:.0f}%",
        figure=Markup(figure_html(figure, describe_figure(found))),
        healing_table=Markup(table_html(healing_table(found))),
        sessions_table=Markup(table_html(pd.DataFrame(found["sessions"]))),
        account_table=Markup(
            table_html(pd.DataFrame(found["account"]), "Rows of the whole export: each is kept or set aside")
        ),
        faults_table=Markup(table_html(faults_table(found), "Faults in the whole export, counted by row")),
    )


def frame_html(title: str, content: str) -> str:
    """Any other content in the same frame: same look, same policy, nothing to fetch."""
    return _TEMPLATES.get_template("frame.html.j2").render(title=title, css=_css(), content=Markup(content))


def _css() -> Markup:
    source, _, _ = _TEMPLATES.loader.get_source(_TEMPLATES, "report.css")
    return Markup(source)


def healing_table(found: dict) -> pd.DataFrame:
    """The groups as a reader sees them: shares as wounds of 100, times in weeks and days, nothing for the undrawn."""
    horizon = found["horizon_weeks"]
    return pd.DataFrame([_healing_row(group, horizon) for group in found["healing"]])


def _healing_row(group: dict, horizon: int) -> dict[str, object]:
    few = not group["drawn"]
    return {
        "group": words.label(group["group"]),
        "Counted from": group["clock"],
        "Wounds (residents)": f"{group['wounds']} ({group['residents']})",
        f"Of 100, closed by week {horizon}": _few(group)
        if few
        else words.of_hundred_range(group["closed_share"], group["closed_low"], group["closed_high"]),
        "Died": words.of_hundred(group["died_share"]),
        "In hospital, not back": words.of_hundred(group["hospital_share"]),
        "Left": words.of_hundred(group["left_share"]),
        "Still open": words.of_hundred(group["open_share"]),
        "Half closed by": words.median_day(group["median_day"], group["drawn"]),
        "Weeks closed": "–" if few else words.weeks(group["weeks_closed"], group["weeks_low"], group["weeks_high"]),
    }


def _few(group: dict) -> str:
    return "nobody had this" if not group["wounds"] else "too few to describe"


def faults_table(found: dict) -> pd.DataFrame:
    """The faults of all tables together, most frequent first: fault, what became of it, rows."""
    faults = pd.DataFrame(found["faults"], columns=["table", "fault", "fate", "rows", "says"])
    rows = faults.groupby(["fault", "fate"], as_index=False)["rows"].sum()
    rows = rows.sort_values(["rows", "fault"], ascending=[False, True])
    return rows.assign(fault=rows["fault"].map(words.label))


def describe_figure(found: dict) -> str:
    """The figure in words, for those who cannot see it."""
    drawn = [group for group in found["healing"] if group["drawn"]]
    told = [
        f"{words.label(group['group'])}: of 100 wounds, {words.of_hundred(group['closed_share'])} closed, "
        f"{words.of_hundred(group['open_share'])} still open"
        for group in drawn
    ]
    return f"Where wounds stood at week {found['horizon_weeks']}. " + "; ".join(told or ["no group is large enough"])
