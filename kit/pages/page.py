"""The page: one printed sheet, made from the findings alone, with nothing to fetch from anywhere."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import pandas as pd
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from matplotlib.figure import Figure

from kit import words
from kit.healing.comparison import ANY
from kit.healing.description import DRAWN_FROM, FROM_ENTRY, FROM_START, IN_VIEW
from kit.pages.comparison_tables import comparison_table, needs_table, outside_table
from kit.pages.display import figure_html, table_html
from kit.pages.trend_figures import describe_trend
from kit.pages.trend_tables import restated_table
from kit.pages.warning_tables import decisions_table
from kit.plan import BASES, Plan
from kit.statements.about import CAUTIONS, INTERNAL, METHOD, PREPARED, windows
from kit.statements.comparing import UNCHARTED
from kit.statements.decisions import DECIDED_BY, going_on
from kit.statements.misleading import QUIET_MEANS

MOST_MISSED, MOST_WARNED = 2, 5  # told on the page; the others stand in the notebooks
_TEMPLATES = Environment(
    loader=PackageLoader("kit.pages", "."), autoescape=True, undefined=StrictUndefined, trim_blocks=True
)


def page_html(
    found: dict,
    figure: Figure,
    beside: Figure | None,
    plan: Plan,
    revision: str,
    notebooks: list[tuple[str, str]],
    made: str = "",
    due: Figure | None = None,
    changes: Sequence[str] = (),
    trend: Figure | None = None,
) -> str:
    """The whole page as HTML. `notebooks` names file and title of each notebook of the same report; `made` is a day.

    `beside` is the figure of the comparison; there is none where too few started, and `figure`, the description, then
    stands in its place. `due` is the figure of the sessions that were due, `changes` what was edited in the plan,
    `trend` the figure of the quarters in a row.
    """
    return in_frame(
        "page.html.j2",
        title=f"{found['scope']}, {plan.program.name}: quarterly outcome report",
        f=found,
        a=found["activity"],
        c=found["comparison"],
        uncharted=UNCHARTED,
        quiet_means=QUIET_MEANS,
        decided_by=DECIDED_BY,
        going_on=going_on(pd.DataFrame(found["decisions"]), found["comparison"]["look"]),
        MOST_WARNED=MOST_WARNED,
        MOST_MISSED=MOST_MISSED,
        method=METHOD,
        prepared=PREPARED,
        cautions=CAUTIONS,
        windows=windows(plan),
        plan_changes=changes,
        tables_sent=words.count(sum(row["rows_in"] > 0 for row in found["account"]), "table"),
        homes=_homes(found) if found["comparison"]["homes"] else "",
        facilities=_facilities(found["facilities"]),
        few_names=words.FEW_NAMES,
        revision=revision,
        made=made,
        notebooks=notebooks,
        basis=BASES[plan.program.basis],
        rows_in=sum(row["rows_in"] for row in found["account"]),
        set_aside=sum(row["set_aside"] for row in found["account"]),
        drawn_from=DRAWN_FROM,
        in_view=IN_VIEW,
        figure=Markup(figure_html(figure, describe_figure(found))),
        due=Markup(figure_html(due, describe_due(found))) if due is not None else "",
        beside=Markup(figure_html(beside, describe_comparison(found))) if beside is not None else "",
        trend=Markup(figure_html(trend, describe_trend(pd.DataFrame(found["trend"]["points"])))) if trend else "",
        restated_table=_restated(found["restated"]),
        **_words(plan),
        **_tables(found),
    )


def _words(plan: Plan) -> dict[str, object]:
    return {
        "day": partial(words.day, plan=plan),
        "count": words.count,
        "percent": words.percent,
        "when": words.when(plan.cutoff),
    }


def _tables(found: dict) -> dict[str, Markup]:
    compared = found["comparison"]
    told, needs = (pd.DataFrame(compared[name]) for name in ("told", "needs"))
    outside = pd.DataFrame(compared["outside"], columns=["reason", "starters", "residents"])
    tables = {
        "regimens_table": table_html(comparison_table(told[told["treated"] != ANY], needs, compared["measure"])),
        "needs_table": table_html(needs_table(needs, ANY), "What any modality beside none needs to be compared"),
        "outside_table": table_html(outside_table(outside), "Starts, by whether they can be compared"),
        "before_table": _healing_html(found, FROM_ENTRY),
        "started_table": _healing_html(found, FROM_START),
        "decisions_table": table_html(decisions_table(pd.DataFrame(found["decisions"]))),
    }
    return {name: Markup(table) for name, table in tables.items()}


def _restated(told: dict | None) -> Markup | str:
    """The table of an issued quarter counted anew; blank where there is none, or nothing to count."""
    if not told or not told["lines"]:
        return ""
    return Markup(table_html(restated_table(pd.DataFrame(told["lines"]), told["quarter"])))


def frame_html(title: str, content: str) -> str:
    """Any other content in the same frame: same look, same policy, nothing to fetch."""
    return in_frame("frame.html.j2", title=title, content=Markup(content))


def in_frame(template: str, **content: object) -> str:
    """A template that stands in the common frame, with what it shows; a page is internal unless it says otherwise."""
    return _TEMPLATES.get_template(template).render(**{"css": _css(), "internal": INTERNAL} | content)


def _css() -> Markup:
    source, _, _ = _TEMPLATES.loader.get_source(_TEMPLATES, "report.css")
    return Markup(source)


def _healing_html(found: dict, clock: str) -> str:
    table, rest = healing_table(found, clock), Markup.escape(untold(found, clock))
    return (table_html(table) if len(table) else "") + (f'<p class="small">{rest}</p>' if rest else "")


def healing_table(found: dict, clock: str) -> pd.DataFrame:
    """The groups of one clock of which something can be told: shares as wounds of 100, times in weeks, dashes else."""
    groups = [group for group in found["healing"] if group["clock"] == clock and group["reached"]]
    return pd.DataFrame([_healing_row(group, found["horizon_weeks"]) for group in groups])


def _healing_row(group: dict, horizon: int) -> dict[str, object]:
    row = {"group": words.label(group["group"]), "Wounds (residents)": f"{group['wounds']} ({group['residents']})"}
    closed = words.of_hundred_range(group["closed_share"], group["closed_low"], group["closed_high"])
    row[f"Of 100, closed by week {horizon}"] = closed
    for name in ("died", "hospital", "left", "surgery", "open"):
        row[SHARES[name]] = words.of_hundred(group[f"{name}_share"])
    median = words.median_week(group["median_day"], group["median_low"], group["median_high"])
    row["Half closed by"] = median
    spent = words.weeks_range(group["weeks_closed"], group["weeks_low"], group["weeks_high"])
    row[f"Weeks spent closed, of {horizon}"] = spent
    return row


def _homes(found: dict) -> str:
    """Each facility's difference, leaning on the group's, in a line; of many only between what they lie."""
    homes = found["comparison"]["homes"]
    said = f"Each facility, leaning on the group the more the smaller it is: {_between(homes)}. "
    return f"{said}Of few starts this is almost wholly the group's number, and no result of that facility."


def _between(homes: list[dict]) -> str:
    if len(homes) <= words.FEW_NAMES:
        return "; ".join(map(_home, homes))
    low, high = (words.whole_wounds(end(home["leaning"] for home in homes)) for end in (min, max))
    return f"between {low} and {high} of 100 in {len(homes)} facilities; each with its range stands in tables.xlsx"


def _facilities(names: list[str]) -> str:
    if len(names) <= words.FEW_NAMES:
        return ", ".join(names)
    return f"{len(names)} facilities, from {names[0]} to {names[-1]}"


SHARES = {
    "died": "Died", "hospital": "In hospital, not back", "left": "Left", "surgery": "Closed by surgery",
    "open": "Still open",
}  # fmt: skip


def untold(found: dict, clock: str) -> str:
    """The groups of one clock of which nothing is told, with their wounds and residents, and why."""
    groups = [group for group in found["healing"] if group["clock"] == clock and not group["reached"]]
    named = {}
    for group in groups:
        size = f" {group['wounds']} ({group['residents']})" if group["wounds"] else ""
        named.setdefault(_few(group), []).append(f"{words.label(group['group'])}{size}")
    return "".join(f"{words.sentence(why)}: {', '.join(names)}. " for why, names in named.items()).strip()


def _few(group: dict) -> str:
    if not group["wounds"]:
        return "nobody had this"
    return "not in view for so long" if group["drawn"] else "too few to describe, wounds (residents)"


def _home(home: dict) -> str:
    difference = words.more_or_fewer(home["leaning"], home["low"], home["high"])
    return f"{home['facility']} {difference}, of {words.count(home['starters'], 'start')}"


def describe_comparison(found: dict) -> str:
    """The comparison's figure in words, for those who cannot see it."""
    said = found["comparison"]["told"][0]["sentence"]
    return f"Two bars of 100 wounds, treated and expected without, and their difference. {said}"


def describe_due(found: dict) -> str:
    """The figure of the sessions due in words, for those who cannot see it."""
    if len(found["facilities"]) > words.FEW_NAMES:
        return f"Of 100 sessions due, how many reached the protocol's minutes: {found['numbers'][1]['value']}"
    full = [f"{row['facility']} {words.of_hundred(row['share'])}" for row in found["delivery"]["due"]
            if row["fate"] == "full"]  # fmt: skip
    return f"Of 100 sessions due, how many reached the protocol's minutes: {'; '.join(full) or 'none'}"


def describe_figure(found: dict) -> str:
    """The figure in words, for those who cannot see it."""
    drawn = [group for group in found["healing"] if group["reached"]]
    told = [
        f"{words.label(group['group'])}: of 100 wounds, {words.of_hundred(group['closed_share'])} closed, "
        f"{words.of_hundred(group['open_share'])} still open"
        for group in drawn
    ]
    return f"Where wounds stood at week {found['horizon_weeks']}. " + "; ".join(told or ["no group is large enough"])
