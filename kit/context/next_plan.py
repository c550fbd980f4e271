"""The plan of the next quarter, drafted: the same rules, the windows moved on, and the quarter that decides."""

from __future__ import annotations

import json
from datetime import date

from kit.context.could_have_seen import later_cutoff, when_seen
from kit.healing.answers import Answers
from kit.healing.comparison import CLOSED
from kit.plan import Plan, date_of

SIGHT = 10  # points of 100 that the deciding quarter is to see
OLDEST = 120  # months that a plan may look back for wounds
HEAD = "# Study plan of the next quarter, drafted from the last. Read it and change it before you look at the data.\n"
KEPT = "# The quarter that decides stays what it was: moving it after looking finds a difference by chance."
PASSED = "# The quarter that decided is over. A new one is a new question: write down why before you name it."
NOT_TOLD = (
    f"# No quarter that decides is named: when {SIGHT} points of 100 could be seen cannot be told from these records."
)


def next_plan(plan: Plan, answers: Answers) -> str:
    """The text of the next quarter's plan, as TOML that `kit.plan.read_plan` reads.

    What the plan does not name is left out, so that defaults stay defaults. Where no quarter decides yet, the one in
    which ten points of 100 can be seen at this pace is written in; where one is named it is kept.
    """
    given = plan.model_dump(exclude_unset=True)
    comparison, notes = _comparison(plan, answers, given.get("comparison", {}))
    parts = [HEAD + _table("program", given["program"]), *_windows(plan, given, comparison)]
    rest = {name: content for name, content in given.items() if name not in ("program", "windows", "comparison")}
    parts.append("\n".join([*notes, _table("comparison", comparison)]))
    parts += [_table(name, content) for name, content in rest.items() if name != "regimens" and content]
    parts += [_table("regimens", regimen, several=True) for regimen in given["regimens"]]
    return "\n".join(parts)


def _windows(plan: Plan, given: dict, comparison: dict) -> list[str]:
    """The windows moved on. Where the answer looks further back, the cohort must too, or those wounds are not read."""
    content, notes = dict(given.get("windows", {})), []
    further = comparison.get("answer_months", 0) - plan.comparison.answer_months
    if plan.cutoff is not None and further > 0:
        content["cohort_months"] = min(plan.windows.cohort_months + further, OLDEST)
        notes = [f"# cohort_months is longer by the {further} months that the answer looks further back."]
    content |= _moved(plan) if plan.cutoff is not None else {}
    return ["\n".join([*notes, _table("windows", content)])] if content else []


def _moved(plan: Plan) -> dict[str, object]:
    """The windows of the next quarter: it begins the day after the cut-off."""
    begins, cutoff = plan.cutoff + 1, later_cutoff(plan, 1)
    days = {"quarter_begins": begins, "cutoff": cutoff}
    return {name: date_of(day) for name, day in days.items()} if plan.calendar else days


def _comparison(plan: Plan, answers: Answers, given: dict) -> tuple[dict, list[str]]:
    """What the next plan says of comparing, and comments on the quarter that decides."""
    if plan.cutoff is None:
        return given, []
    if plan.decides is not None:
        return given, [KEPT if plan.decides > plan.cutoff else PASSED]
    told = when_seen(answers, (SIGHT,))
    row = told.iloc[0]
    if row["not_computed"]:
        return given, [NOT_TOLD]
    quarters = max(int(row["quarters"]), 1)  # this one has been looked at
    decides, months = later_cutoff(plan, quarters), int(row["answer_months"])
    what = "closed" if row["measure"] == CLOSED else "early response"
    why = f"# At this pace {SIGHT} points of 100 ({what}) can be seen by then, if answer_months is {months}: about "
    why += f"{row['starters_needed']:.0f} starts are needed. What was observed so far is not in this reckoning."
    named = date_of(decides) if plan.calendar else decides
    return {**given, "answer_months": months, "decides": named}, [why]


def _table(name: str, content: dict, several: bool = False) -> str:
    head = f"[[{name}]]" if several else f"[{name}]"
    return (
        "\n".join([head, *(f"{key} = {_value(value)}" for key, value in content.items() if value is not None)]) + "\n"
    )


def _value(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(inner) for inner in value)}]"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
