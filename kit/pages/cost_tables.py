"""The tables of costs as a reader sees them: what treatment took, what that cost, and gain beside money."""

from __future__ import annotations

import math

import pandas as pd

from kit.context.costs import ANY, FIXED, TOTAL
from kit.context.gain import Worth
from kit.context.resources import Resources
from kit.plan import Plan
from kit.statements.costs import item_said
from kit.statements.money import money, money_range
from kit.words import label, more_or_fewer, of_hundred, sentence

UNTOLD = {FIXED: "not computable under this basis"}
SPENDING = {FIXED: "Fixed", "variable": "With every session"}
PARTS = {
    "variable": "Staff and sets", "dressings": "Dressings taken down beyond the order", "fixed": "Devices, their part",
    "treatment": "Treatment, had nobody left", "saved": "Dressing changes saved", "money": "Extra money",
    "net_benefit": "Gain less money, at the plan's worth of a closing",
}  # fmt: skip


def units_table(taken: Resources) -> pd.DataFrame:
    """What a wound took, by what it was started on: mean units a wound, with counts; takes `kit.context.resources`."""
    begun = sorted(set(taken.wounds["regimen"]))
    groups = [(ANY, taken)] + [(name, taken.under(name)) for name in begun if len(begun) > 1]
    return pd.DataFrame([_units(name, own.wounds) for name, own in groups if len(own.wounds)])


def _units(name: str, wounds: pd.DataFrame) -> dict[str, object]:
    return {
        "Started": label(name),
        "Wounds": len(wounds),
        "Weeks treated": int(wounds["treated_weeks"].sum()),
        "Sessions a wound": f"{wounds['sessions'].mean():.0f}",
        "Staff minutes": _mean(wounds, "staff_minutes", "staff_unsaid"),
        "Monopolar sets": _mean(wounds, "monopolar_sets", "sets_unsaid"),
        "Bipolar sets": _mean(wounds, "bipolar_sets", "sets_unsaid"),
        "Ultrasound sets": _mean(wounds, "ultrasound_sets"),
        "Dressings beyond the order": _mean(wounds, "dressings_beyond", "dressings_unsaid"),
    }


def _mean(wounds: pd.DataFrame, units: str, unsaid: str = "") -> str:
    """The mean of what is recorded or filled; a dash where nothing is, never nought."""
    nothing = unsaid and wounds[unsaid].sum() and not wounds[units].sum()
    amount = wounds[units].mean()
    return "–" if nothing else f"{amount:.0f}" if amount >= 10 or float(amount).is_integer() else f"{amount:.1f}"


def money_table(table: pd.DataFrame, plan: Plan, a_wound: bool = True) -> pd.DataFrame:
    """What things cost, a row an item; an invented price is marked *. Takes the frame of `kit.context.costs.costs`.

    `a_wound`: each started wound's part is shown beside the sum.
    """
    own = table[(table["regimen"] == ANY) & ((table["amount"] != 0) | (table["item"] == TOTAL)) & (table["wounds"] > 0)]
    return pd.DataFrame([_money(row, plan, a_wound) for row in own.to_dict("records")])


def _money(row: dict, plan: Plan, a_wound: bool) -> dict[str, str]:
    last, whole = row["item"] == TOTAL, row["of_total"]
    least = "at least " if row["unsaid"] and math.isfinite(row["amount"]) else ""
    told = {
        "Item": item_said(row["item"]),
        "Kind": "–" if last else SPENDING[row["spending"]],
        "Units": "–" if last else _number(row["units"]),
        "Each": "–" if last else f"{money(row['unit_cost'], plan)}{'*' if row['is_invented'] else ''}",
        "Amount": f"{least}{money(row['amount'], plan)}"
        if math.isfinite(row["amount"])
        else UNTOLD.get(row["spending"], "not recorded"),
        "Of all": f"{100 * whole:.0f}%" if math.isfinite(whole) else "–",
    }
    each = {"A started wound": money(row["a_wound"], plan)} if a_wound else {}
    return told | each | {"A week treated": money(row["a_treated_week"], plan)}


def _number(units: float) -> str:
    if not math.isfinite(units):
        return "–"
    return f"{units:,.0f}" if units >= 10 or float(units).is_integer() else f"{units:.1f}"


def gain_table(worth: Worth, plan: Plan) -> pd.DataFrame:
    """Gain and money of a started wound, with ranges; the treatment alone where no comparison is told."""
    rows = worth.parts.set_index("part")
    told = []
    if "closed" in rows.index:
        closed, weeks = rows.loc["closed"], rows.loc["weeks"]
        told = [
            ("Closed by the horizon, of 100", more_or_fewer(closed["amount"], closed["low"], closed["high"])),
            ("Weeks closed sooner", _signed(weeks)),
        ]
    told += [
        (words, _amount(rows.loc[name], worth.at_least and name in AT_LEAST, plan))
        for name, words in PARTS.items()
        if name in rows.index
    ]
    return pd.DataFrame(told, columns=["A started wound", "Amount (range)"])


AT_LEAST = ("variable", "dressings", "treatment", "money")


def _amount(row: pd.Series, least: bool, plan: Plan) -> str:
    said = money_range(*(float(row[end]) for end in ("amount", "low", "high")), plan)
    return f"at least {said}" if least and said != "–" else said


def _signed(row: pd.Series) -> str:
    ends = [f"{row[name]:.1f}".replace("-", "−") for name in ("amount", "low", "high")]
    return f"{ends[0]} (range {ends[1]} to {ends[2]})"


def plane_table(worth: Worth) -> pd.DataFrame:
    """Of 100 draws of residents, how many lie in each quarter of the plane."""
    rows = [
        {
            "A started wound": sentence(row.quadrant),
            "Of 100 draws": of_hundred(row.of_draws),
            "The whole 95% region": "lies here" if row.whole_region else "–",
        }
        for row in worth.quadrants.itertuples()
    ]
    return pd.DataFrame(rows, columns=["A started wound", "Of 100 draws", "The whole 95% region"])


def break_even_table(worth: Worth) -> pd.DataFrame:
    """What would pay for treatment alone, beside the most that there can be."""
    words = {
        "closings": ("More wounds closed, of 100", math.ceil),
        "weeks": ("Weeks closed sooner, by dressing changes saved", lambda weeks: f"{weeks:.1f}"),
    }
    rows = []
    for row in worth.break_even.to_dict("records"):
        name, said = words[row["pays_by"]]
        known = math.isfinite(row["amount"])
        needed = f"{said(row['amount'])} ({said(row['low'])} to {said(row['high'])})" if known else "–"
        rows.append({"It pays by": name, "Needed (range)": needed, "At most": f"{row['most']:.0f}"})
    return pd.DataFrame(rows)
