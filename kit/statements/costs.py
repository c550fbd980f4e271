"""What may be said of costs to those who pay: money, gain and doubt, in this order, each with counts and a range."""

from __future__ import annotations

import math

import pandas as pd

from kit.context.costs import ANY, TOTAL
from kit.context.gain import Worth
from kit.context.resources import BEGUN, ORDERED, TREATED, Resources
from kit.healing.answers import Answers
from kit.plan import Plan
from kit.statements.comparing import UNCHARTED
from kit.statements.money import money
from kit.statements.worth import break_even, gained, had_nobody_left, invented_prices
from kit.words import count, sentence

MONEY, GAIN, DOUBT = "money", "gain", "doubt"
PAYMENT = "Who pays, and what payment rules say of it, is not decided by these numbers."
OF_RESIDENTS = (
    "Ranges are those of drawing other residents; prices and dressing changes a week are taken as they stand."
)
NOTHING = "No wound that started can be looked at, so nothing is said of what treatment takes."
PRICES = {
    "staff_minute": "a staff minute", "monopolar_set": "a monopolar set", "bipolar_set": "a bipolar set",
    "ultrasound_set": "an ultrasound set", "dressing": "a dressing change", "device_month": "a device month",
    "devices": "devices a facility", "willingness_to_pay": "the worth of one more wound closed",
}  # fmt: skip


def costs_said(table: pd.DataFrame, taken: Resources, worth: Worth, answers: Answers, plan: Plan) -> pd.DataFrame:
    """Money, gain and doubt of the wounds compared, a sentence a row.

    Columns in: `table` as `kit.context.costs.costs` returns it. Columns out: about (money, gain, doubt), sentence.
    """
    parts = {
        MONEY: [spent(table, taken, plan), had_nobody_left(worth, taken, plan)],
        GAIN: gained(worth, answers, plan),
        DOUBT: doubts(taken, worth, plan),
    }
    rows = [(about, said) for about, told in parts.items() for said in told if said]
    return pd.DataFrame(rows, columns=["about", "sentence"])


def spent(table: pd.DataFrame, taken: Resources, plan: Plan) -> str:
    """What a wound took and cost, as recorded; of the quarter what was spent in all."""
    lines = table[table["regimen"] == ANY].set_index("item")
    wounds, total = taken.wounds, lines.loc[TOTAL]
    if wounds.empty or not wounds["sessions"].sum():
        return NOTHING
    number, people = len(wounds), wounds["resident"].nunique()
    rests = f"{count(number, 'wound')} on {count(people, 'resident')}"
    least = "at least " if total["unsaid"] else ""
    if taken.group == TREATED:
        took = f"{count(int(wounds['sessions'].sum()), 'session')}{_minutes(lines, 1)}"
        when = "In the quarter" if plan.cutoff is not None else "In the whole export"
        return f"{when} {rests} had {took}: {least}{money(total['amount'], plan)}{_fixed(lines, 'amount', plan)}."
    took = f"{count(round(wounds['sessions'].mean()), 'session')}{_minutes(lines, number)}"
    first = f"in its first {taken.horizon_weeks} weeks, or until it ended"
    if taken.group == BEGUN:
        first = f"so far, in its first {taken.horizon_weeks} weeks at most"
    begun = "A wound that started in the quarter" if plan.cutoff is not None else "A wound that started, whenever,"
    who = begun if taken.group == BEGUN else "A started wound"
    said = f"{who} took {took} {first}: {least}{money(total['a_wound'], plan)}{_fixed(lines, 'a_wound', plan)}. "
    weeks = count(int(total["treated_weeks"]), "week")
    week = f"{least}{money(total['a_treated_week'], plan)}"
    return f"{said}It rests on {rests}, treated in {weeks}; such a week cost {week}."


def took(table: pd.DataFrame, taken: Resources, plan: Plan) -> str:
    """What a started wound took, for the page: without money while any price is the kit's own invention."""
    lines, wounds = table[table["regimen"] == ANY].set_index("item"), taken.wounds
    if wounds.empty or not lines.loc[TOTAL, "is_invented"]:
        return spent(table, taken, plan)
    per = f"{count(round(wounds['sessions'].mean()), 'session')}{_minutes(lines, len(wounds))}"
    rests = f"{count(len(wounds), 'wound')} on {count(wounds['resident'].nunique(), 'resident')}"
    said = f"A started wound took {per} in its first {taken.horizon_weeks} weeks, or until it ended ({rests}). "
    return f"{said}Some prices of the plan are the kit's own invention, so no money stands here."


def _minutes(lines: pd.DataFrame, wounds: int) -> str:
    minutes = lines.loc["staff", "units"] / wounds
    return (
        f" and {round(minutes):,} minutes of staff" if math.isfinite(minutes) else " (staff minutes are not recorded)"
    )


def _fixed(lines: pd.DataFrame, column: str, plan: Plan) -> str:
    amount = lines.loc["devices", column]
    return f", of which {money(amount, plan)} are fixed (devices)" if math.isfinite(amount) else ""


def doubts(taken: Resources, worth: Worth, plan: Plan) -> list[str]:
    """What it would take to pay, and what these amounts rest on: prices, what was filled, left out, or unseen."""
    if taken.wounds.empty:
        return [PAYMENT]
    said = [*break_even(worth, plan), invented(plan), *_filled(taken), *_unsaid(taken)]
    said += [f"The money does not hold {words}." for words in worth.left_out]
    if taken.changes_from:
        source = "as ordered" if taken.changes_from == ORDERED else "as recorded, so perhaps too few"
        said.append(f"Dressing changes are taken as {taken.changes_a_week:.1f} a week, {source}.")
    said += [OF_RESIDENTS, "" if worth.why else UNCHARTED, PAYMENT]
    return [words for words in said if words]


def invented(plan: Plan) -> str:
    """Which prices are the kit's own; blank where the plan names all."""
    names = [PRICES[name] for name in invented_prices(plan)]
    if not names:
        return ""
    listed = ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]
    verb = "are" if len(names) > 1 else "is"
    return f"{sentence(listed)} {verb} invented (marked *): put your own in the plan's [costs]."


def _filled(taken: Resources) -> list[str]:
    wounds = taken.wounds
    sessions = int(wounds["sessions"].sum())
    kinds = {
        "staff_filled": ("staff minutes of {} are not recorded and taken as the mean of those like them", "session"),
        "sets_filled": ("the set-up of {} is not recorded; their sets are taken as those of the others", "session"),
        "dressings_filled": ("{} had no order of dressing changes and are taken as the mean of the others", "week"),
    }
    counts = {name: int(wounds[name].sum()) for name in kinds}
    return [_of(words, counts[name], noun, sessions) for name, (words, noun) in kinds.items() if counts[name]]


def _of(words: str, number: int, noun: str, sessions: int) -> str:
    amount = f"{number} of {count(sessions, 'session')}" if noun == "session" else count(number, noun)
    return sentence(f"{words.format(amount)}.")


def _unsaid(taken: Resources) -> list[str]:
    wounds = taken.wounds
    kinds = {
        "staff_unsaid": "no staff minutes, and neither has any session like them",
        "sets_unsaid": "no set-up, and neither has any other",
        "unpriced": "another modality, whose supplies have no price",
    }
    counts = {name: int(wounds[name].sum()) for name in kinds}
    told = [(count(counts[name], "session"), words) for name, words in kinds.items() if counts[name]]
    return [f"{number} {'has' if number.startswith('1 ') else 'have'} {words}: not counted." for number, words in told]


ITEMS_SAID = {
    "staff": "Staff time, minutes", "dressings": "Dressings taken down beyond the order",
    "devices": "Devices, their part, months", TOTAL: "Together",
}  # fmt: skip


def item_said(item: str) -> str:
    """An item of the table of costs, as a person would say it."""
    return ITEMS_SAID.get(item, sentence(item))
