"""How numbers, days and names are said on a page, and the words a page may never use."""

from __future__ import annotations

import math

from kit.faults import FAULTS
from kit.plan import WEEK, Plan, date_of
from kit.vocabulary import TABLES

# Words that claim more than the numbers can carry, or that belong to the statistician's desk.
FORBIDDEN = (
    "prove", "proves", "proven", "proof", "cause", "causes", "caused", "effective", "efficacy", "significant",
    "significantly", "guarantee", "compliant", "covered", "best", "worst", "rank", "violation", "negligent", "safe",
    "standard of care", "estimand", "att", "trial", "exposure", "episode", "visit", "admission",
)  # fmt: skip

FEW_NAMES = 8  # facilities that a page names one by one; of more it says where each stands

LABELS = {
    "group": "Group", "clock": "Day 0", "wounds": "Wounds", "residents": "Residents", "ended_closed": "Seen to close",
    "followed": "Still in view at the horizon", "drawn": "Drawn", "closed": "Closed", "died": "Died",
    "hospital": "In hospital and not back", "left": "Left", "surgical_closure": "Closed by surgery",
    "open": "Still open",
    "rows_in": "Rows in the export", "kept": "Kept", "set_aside": "Set aside", "table": "Table", "fault": "Fault",
    "fate": "What became of it", "rows": "Rows", "says": "What it means", "regimen": "Regimen", "facility": "Facility",
    "given": "Given, not cut short", "shortened": "Shortened", "missed": "Missed", "not_known": "Not known",
    "planned": "Planned", "reason": "Reason", "need": "Needed", "needed": "At least", "found": "Found", "why": "Why",
    "enough": "Enough", "starts": "Starts", "level": "Level", "when": "When",
    "effective_residents": "Residents that those beside are worth", "own": "Of the facility alone",
    "own_error": "Its standard error", "leaning": "Leaning on the group", "measure": "Measure", "known": "Known",
    "missing": "Not known", "quartile_1": "A quarter below", "median": "Half below", "quartile_3": "A quarter above",
    "below": "Short", "above": "Beyond", "unrecorded": "Not recorded",
    "decision": "Mostly a matter of", "matters": "A matter of", "from_day": "From", "to_day": "To",
    "stands": "Stands", "size": "Size, cm2", "weeks_seen": "Weeks in view",
}  # fmt: skip


_VOCABULARY = {word for table in TABLES.values() for column in table.columns for word in column.allowed} | set(FAULTS)


def label(name: str) -> str:
    """A column or value as a person would say it."""
    return LABELS.get(name, name[:1].upper() + name[1:].replace("_", " "))


def sentence(words: str) -> str:
    """Words with a capital letter at their beginning."""
    return words[:1].upper() + words[1:]


def spoken(value: str) -> str:
    """A word of the vocabulary with blanks for its underscores; anything else as it is."""
    return value.replace("_", " ") if value in _VOCABULARY else value


def of_hundred(share: float) -> str:
    """A share as whole wounds of 100; a share that cannot be had is a dash."""
    return "–" if _missing(share) else f"{round(100 * share)}"


def of_hundred_range(share: float, low: float, high: float) -> str:
    """A share with its range: `31 (22 to 40)`."""
    if _missing(share):
        return "–"
    return f"{of_hundred(share)} ({of_hundred(low)} to {of_hundred(high)})"


def more_or_fewer(difference: float, low: float, high: float) -> str:
    """A difference of shares in wounds of 100 with its range: `9 more (range 2 fewer to 22 more)`; else a dash."""
    if _missing(difference):
        return "–"
    return f"{whole_wounds(difference)} (range {whole_wounds(low)} to {whole_wounds(high)})"


def whole_wounds(share: float) -> str:
    """A difference of shares in wounds of 100, without a range: `9 more`, `2 fewer`, `none`."""
    whole = round(100 * share)
    return "none" if not whole else f"{abs(whole)} {'more' if whole > 0 else 'fewer'}"


def points(difference: float, low: float, high: float, more: str = "more", less: str = "less") -> str:
    """A difference in points of percent with its range: `7 points more (range 2 less to 12 more)`; else a dash."""
    if _missing(difference):
        return "–"
    ways = more, less
    if _missing(low) or _missing(high):
        return f"{_pointed(difference, 'point', ways)} (no range can be told)"
    return f"{_pointed(difference, 'point', ways)} (range {_pointed(low, '', ways)} to {_pointed(high, '', ways)})"


def _pointed(difference: float, unit: str, ways: tuple[str, str]) -> str:
    whole = round(difference)
    amount = count(abs(whole), unit) if unit else f"{abs(whole)}"
    return f"{amount} {ways[0] if whole > 0 else ways[1]}" if whole else "none"


def percents(amount: float) -> str:
    """A whole number of percents, which may lie below none: `−3`; a dash where there is none."""
    return "–" if _missing(amount) else f"{round(amount)}".replace("-", "−")


def percents_range(amount: float, low: float, high: float) -> str:
    """Whole percents with their range: `19 (18 to 20)`."""
    return "–" if _missing(amount) else f"{percents(amount)} ({percents(low)} to {percents(high)})"


def count(number: int, noun: str) -> str:
    """A number with its noun: `1 wound`, `12 wounds`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def weeks_range(value: float, low: float, high: float) -> str:
    """Weeks to one decimal with their range: `1.7 (1.4 to 2.0)`."""
    return "–" if _missing(value) else f"{value:.1f} ({low:.1f} to {high:.1f})"


def median_week(median: float, low: float, high: float) -> str:
    """The week by which half had closed, with its range: `week 15 (13 to 18)`; `never` where half were not seen to."""
    if _missing(low):
        return "never"
    half = "never" if _missing(median) else f"week {_week(median)}"
    return f"{half} ({_week(low)} to {_week(high)})"


def _week(moment: float) -> str:
    return "never" if _missing(moment) else str(math.ceil(moment / WEEK))


def share(part: int, whole: int) -> str:
    """A whole percentage: `64%`; "none" of nothing. 100% is all of them, 0% none of them."""
    if not whole:
        return "none"
    rounded = f"{100 * part / whole:.0f}"
    between = {"100": "over 99", "0": "under 1"} if 0 < part < whole else {}
    return f"{between.get(rounded, rounded)}%"


def percent(part: int, whole: int) -> str:
    """A whole percentage with the count it rests on: `64% (118 of 184)`; "none" of nothing."""
    return share(part, whole) + (f" ({int(part)} of {int(whole)})" if whole else "")


def rate(events: int, sessions: int) -> str:
    """Events per 100 sessions to one decimal; "none" of nothing."""
    return "none" if not sessions else f"{100 * events / sessions:.1f}"


def per_hundred(events: int, sessions: int) -> str:
    """Events per 100 sessions with the count beside: `2.8 per 100 sessions (13 in 464)`; "none" of nothing."""
    return rate(events, sessions) + (f" per 100 sessions ({events} in {sessions})" if sessions else "")


def when(ends: int | None) -> str:
    """The window in which things were done: the quarter, or the whole export where there is no cut-off."""
    return "in the whole export" if ends is None else "in the quarter"


def day(number: int | None, plan: Plan) -> str:
    """A day as a date, or as a day number where there is no calendar."""
    if number is None:
        return "not computable under this basis"
    if not plan.calendar:
        return f"day {number}"
    moment = date_of(number)
    return f"{moment.day} {moment:%B %Y}"


def plain(text: str) -> str:
    """A line for a terminal: what it would obey, and what turns the order of letters, stands as a question mark."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _missing(value: float) -> bool:
    return value is None or not math.isfinite(value)
