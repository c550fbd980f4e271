"""The weekly list as sheets of the workbook of open wounds: facts and day counts, no advice, and no person named."""

from __future__ import annotations

import pandas as pd

from kit.delivery.open_wounds import BRIEF, GIVEN, HOLD, MISSED, NOT_KNOWN, NOTHING, OUT, SHORTENED, UNLOGGED
from kit.delivery.worklist import first_ten
from kit.plan import WEEK, Plan, date_of
from kit.statements.about import INTERNAL
from kit.statements.care import FOR_REVIEW, THINGS
from kit.words import count, day, spoken, when

LEGEND = (
    f"{GIVEN} given, {BRIEF} given and too short for the protocol, {SHORTENED} shortened, {MISSED} missed, {NOT_KNOWN} "
    f"nobody wrote what became of it, {OUT} out of the building or in hospital, {HOLD} on hold, {UNLOGGED} ordered and "
    f"nothing recorded (not every such day was due), {NOTHING} nothing"
)


def worklist_sheets(
    known: pd.DataFrame, told: pd.DataFrame, marks: pd.DataFrame, standing: pd.DataFrame, plan: Plan
) -> dict[str, pd.DataFrame]:
    """The sheets of the workbook by name, ready to be read: about, first ten, all things, wounds, calendar.

    Takes `open_wounds` and `day_marks` of `kit.delivery.open_wounds`, `kit.delivery.worklist.worklist`, and the list of
    wounds as `kit.pages.size_tables.wounds_list` makes it, which stands as it is. No person is named.
    """
    return {
        "about": about_list(known, told, plan),
        "first ten": first_table(told, plan),
        "all things": things_table(told, plan),
        "wounds": standing,
        "calendar": calendar_table(marks, plan),
    }


def about_list(known: pd.DataFrame, told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """What the sheets are, for whom, and which open wounds they say nothing of."""
    lines = {
        "What": "Open wounds and what to look at about them: facts and day counts, most pressing first",
        "For": f"Those who treat these wounds. {INTERNAL}",
        "Not": f"Advice for a person. {FOR_REVIEW}",
        "As of": _as_of(plan),
        "Open wounds": _counted(known, told),
        "Sheet first ten": "The ten wounds with the most pressing things, each once",
        "Sheet all things": "A row a wound and thing; a wound may have several",
        "Sheet wounds": "Where each open wound stands beside the course expected of wounds like it, slowest first",
        "Sheet calendar": f"Weeks of open wounds that were treated or have an order, a letter a day: {LEGEND}",
        "Order": f"{', '.join(THINGS.values())}. Order and day counts are common practice, no source; the days of an "
        "evaluation are the plan's",
    }
    return pd.DataFrame(lines.items(), columns=["what", "is"])


def _as_of(plan: Plan) -> str:
    if plan.cutoff is None:
        return "Each person's last record: the export shares no calendar, and days are those of the person's record"
    return f"{day(plan.cutoff, plan)}, or the day up to which the export covers the person"


def _counted(known: pd.DataFrame, told: pd.DataFrame) -> str:
    away, quiet = int(known["away"].sum()), (~known["away"] & ~known["wound"].isin(told["wound"])).sum()
    listed, comfort = told["wound"].nunique(), int((known["comfort"] & ~known["away"]).sum())
    return (
        f"{len(known)}, of which {listed} are listed, {int(quiet)} have nothing to list, and {away} are left out "
        f"because the person is in hospital. Of {count(comfort, 'wound')} where only comfort is sought nothing is said "
        "of healing or evaluation. Wounds that were never measured, treated or ordered a modality are not listed"
    )


def first_table(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The first ten wounds: the most pressing thing in a sentence, and the names of the others."""
    first = first_ten(told)
    also = [", ".join(THINGS[name] for name in names.split(", ") if name) for names in first["also"]]
    return _rows(first, plan).drop(columns=["Days", "Since"]).assign(**{"And": also})


def things_table(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Every thing of the list in a sentence."""
    return _rows(told, plan)


def _rows(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    rows = told.to_dict("records")
    since = ["–" if pd.isna(row["since_day"]) else short_day(row["since_day"], plan) for row in rows]
    return pd.DataFrame(
        {
            "No.": told["place"].to_numpy(),
            "Wound": told["wound"].to_numpy(),
            "Facility": told["facility"].to_numpy(),
            "What to look at": [says(row, plan) for row in rows],
            "Days": told["days"].to_numpy(),
            "Since": since,
        }
    )


def short_day(number: int, plan: Plan) -> str:
    """A day as it sorts: 2026-06-30, or its number where there is no calendar."""
    return date_of(number).isoformat() if plan.calendar else f"day {number}"


def says(row: dict, plan: Plan) -> str:
    """One thing of the list as a sentence of facts."""
    days = "" if pd.isna(row["days"]) else count(int(row["days"]), "day")
    since = None if pd.isna(row["since_day"]) else day(int(row["since_day"]), plan)
    return SENTENCES[row["thing"]](row, days, since, plan)


def _contraindicated(row: dict, days: str, since: str, plan: Plan) -> str:
    given = count(int(row["sessions"]), "session")
    return (
        f"{given} given {when(plan.cutoff)} while a contraindication was recorded, first on {since}, last {days} ago."
    )


def _no_sign(row: dict, days: str, since: str, plan: Plan) -> str:
    return (
        f"Treated for {days}, since {since}, and no measurable sign of healing in the last 30; size {_change(row)} "
        "in these."
    )


def _change(row: dict) -> str:
    change = row["size_change"]
    if pd.isna(change):
        return "not comparable"
    # Cut off and not rounded: 9.6% smaller is not a tenth.
    amount = int(abs(change))
    way = "larger" if change > 0 else "smaller"
    return (f"{amount}% {way}" if amount else f"less than 1% {way}") if change else "the same"


def _no_session(row: dict, days: str, since: str, plan: Plan) -> str:
    why = "nothing is logged since"
    if pd.notna(row["missed"]):
        why = f"logged since: {_reasons(row['reasons'])}"
    return f"Ordered, and no session given for {days} on which one could have been, since {since}; {why}."


def _reasons(told: str) -> str:
    """`out_of_building 3, staff 1` with the words as a person says them."""
    parts = [part.rsplit(" ", 1) for part in told.split(", ")]
    return ", ".join(f"{spoken(name)} ({number})" for name, number in parts)


def _evaluation_due(row: dict, days: str, since: str | None, plan: Plan) -> str:
    last = f"No evaluation recorded in {days} of treatment"
    if since is not None:
        last = f"Last evaluation recorded {days} ago, on {since}"
    return f"{last}; the plan asks for one every {plan.protocol.evaluation_days} days."


def _not_measured(row: dict, days: str, since: str | None, plan: Plan) -> str:
    if since is None:
        return f"Never measured, {days} after its first session or order."
    return f"Not measured for {days}, since {since}."


def _not_smaller(row: dict, days: str, since: str, plan: Plan) -> str:
    return f"Not smaller by a tenth: {_change(row)} over {days}, since {since}."


def _larger(row: dict, days: str, since: str, plan: Plan) -> str:
    return f"Larger by a tenth or more: {_change(row)} over {days}, since {since}."


def _lost(row: dict, days: str, since: str, plan: Plan) -> str:
    return f"Last seen open {days} ago, on {since}; neither its closing nor the person's leaving is recorded."


SENTENCES = {
    "contraindicated": _contraindicated, "no_sign": _no_sign, "no_session": _no_session,
    "evaluation_due": _evaluation_due, "unmeasured": _not_measured, "not_measured": _not_measured, "larger": _larger,
    "not_smaller": _not_smaller, "lost": _lost,
}  # fmt: skip


def calendar_table(marks: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """A row a wound, a column a week: seven letters, a day each. A quarter fits a page that way."""
    weeks = marks.assign(week=marks["at"] // WEEK).groupby(["facility", "wound", "week"])["mark"].agg("".join)
    table = weeks.unstack("week", fill_value="").rename_axis(columns=None).reset_index()
    names = {week: _week_name(week, plan) for week in table.columns if not isinstance(week, str)}
    return table.rename(columns={"facility": "Facility", "wound": "Wound", **names})


def _week_name(week: int, plan: Plan) -> str:
    if plan.cutoff is None:
        return f"Week {week + 1}"
    begins = plan.quarter_begins + WEEK * week
    return f"{date_of(begins).day} {date_of(begins):%b}" if plan.calendar else f"day {begins}"
