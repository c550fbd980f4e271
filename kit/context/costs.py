"""What treatment cost: each thing it took at the plan's price, what is fixed apart from what sessions add."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.context.resources import Resources
from kit.plan import WEEK, Plan

VARIABLE, FIXED, BOTH = "variable", "fixed", "both"
TOTAL, ANY = "total", "any modality"
COLUMNS = [
    "regimen", "item", "spending", "units", "filled", "unsaid", "unit_cost", "amount", "of_total", "a_wound",
    "a_treated_week", "wounds", "treated_weeks", "is_invented",
]  # fmt: skip


@dataclass(frozen=True)
class Item:
    """A thing that treatment takes: its columns in the resources, and the name of its price in the plan."""

    units: str
    price: str
    spending: str = VARIABLE
    filled: str = ""
    unsaid: str = ""


ITEMS = {
    "staff": Item("staff_minutes", "staff_minute", filled="staff_filled", unsaid="staff_unsaid"),
    "monopolar sets": Item("monopolar_sets", "monopolar_set", filled="sets_filled", unsaid="sets_unsaid"),
    "bipolar sets": Item("bipolar_sets", "bipolar_set", filled="sets_filled", unsaid="sets_unsaid"),
    "ultrasound sets": Item("ultrasound_sets", "ultrasound_set"),
    "dressings": Item("dressings_beyond", "dressing", filled="dressings_filled", unsaid="dressings_unsaid"),
    "devices": Item("device_months", "device_month", FIXED),
}


def costs(taken: Resources, plan: Plan) -> pd.DataFrame:
    """What treatment of these wounds cost: a row an item of ITEMS, and the total.

    Columns out: regimen ("any modality"), item, spending (variable: comes with every session; fixed: spent whether or
    not anybody is treated; both in the total), units (minutes, sets, dressings taken down beyond those ordered, device
    months), filled and unsaid (sessions, of dressings weeks, that were filled with a mean, and of which nothing can be
    had), unit_cost, amount (in the plan's currency), of_total (share), a_wound and a_treated_week (amount for each
    wound, and for each of its weeks with a session), wounds, treated_weeks, is_invented (the price is the kit's own).

    Of no wound at all every amount is missing. An amount of which nothing is recorded is missing, never nought, and the
    total is then at least what it says.
    """
    return _table(taken.wounds, plan, ANY)


def costs_by_regimen(taken: Resources, plan: Plan) -> pd.DataFrame:
    """The same for all of them, and for those that started each regimen, in the order of the plan; columns as `costs`.

    It describes: what one regimen costs beside another says nothing of what either came to.
    """
    order = [regimen.name for regimen in plan.regimens]
    begun = set(taken.wounds["regimen"])
    names = [name for name in order if name in begun] + sorted(begun - set(order))
    frames = [_table(taken.under(name).wounds, plan, name) for name in names]
    return pd.concat([costs(taken, plan), *frames], ignore_index=True)


def _table(wounds: pd.DataFrame, plan: Plan, regimen: str) -> pd.DataFrame:
    table = pd.DataFrame([_line(name, item, wounds, plan) for name, item in ITEMS.items()])
    table = pd.concat([table, pd.DataFrame([_total(table, wounds)])], ignore_index=True)
    number, weeks = len(wounds), int(wounds["treated_weeks"].sum())
    whole = table["amount"].iloc[-1]
    return table.assign(
        regimen=regimen,
        of_total=table["amount"] / whole if whole > 0 else np.nan,
        a_wound=table["amount"] / number if number else np.nan,
        a_treated_week=table["amount"] / weeks if weeks else np.nan,
        wounds=number,
        treated_weeks=weeks,
    )[COLUMNS]


def _line(name: str, item: Item, wounds: pd.DataFrame, plan: Plan) -> dict:
    filled, unsaid = (int(wounds[column].sum()) if column else 0 for column in (item.filled, item.unsaid))
    units = float(wounds[item.units].sum(min_count=1))
    units = np.nan if unsaid and not units else units
    unit_cost = float(getattr(plan.costs, item.price))
    return {
        "item": name, "spending": item.spending, "units": units, "filled": filled, "unsaid": unsaid,
        "unit_cost": unit_cost, "amount": units * unit_cost, "is_invented": plan.costs.is_invented(item.price),
    }  # fmt: skip


LACKING = ("staff_unsaid", "sets_unsaid", "unpriced", "dressings_unsaid")


def _total(lines: pd.DataFrame, wounds: pd.DataFrame) -> dict:
    """All lines that are known, and how much is not: sessions without minutes, set-up or price, weeks without order,
    and items of which nothing can be told."""
    unsaid = wounds[list(LACKING)].sum().sum() + lines["amount"].isna().sum()
    return {
        "item": TOTAL, "spending": BOTH, "units": np.nan, "filled": 0, "unsaid": int(unsaid), "unit_cost": np.nan,
        "amount": lines["amount"].sum(min_count=1), "is_invented": bool(lines["is_invented"].any()),
    }  # fmt: skip


def money_by_week(taken: Resources, plan: Plan) -> dict[str, np.ndarray]:
    """What each wound cost week by week, wounds x weeks from its first session: variable (staff and sets), dressings,
    fixed. Weeks without a session cost nothing; what cannot be had counts as nothing here and is counted elsewhere."""
    wounds = taken.wounds["wound"]
    row = pd.Series(np.arange(len(wounds)), index=wounds)
    place = row.loc[taken.weeks["wound"]].to_numpy(), taken.weeks["week"].to_numpy(dtype=int)
    shape = len(wounds), 1 + max(taken.horizon_weeks, int(taken.weeks["week"].max()) if len(taken.weeks) else 0)
    groups = {VARIABLE: [], "dressings": [], FIXED: []}
    for name, item in ITEMS.items():
        groups[name if name == "dressings" else item.spending].append(item)
    return {name: _laid_out(taken.weeks, items, plan, place, shape) for name, items in groups.items()}


def _laid_out(weeks: pd.DataFrame, items: list[Item], plan: Plan, place: tuple, shape: tuple[int, int]) -> np.ndarray:
    out = np.zeros(shape)
    amounts = sum(weeks[item.units].fillna(0.0) * getattr(plan.costs, item.price) for item in items)
    np.add.at(out, place, amounts.to_numpy(dtype=float))
    return out


def known_weeks(taken: Resources, weeks: int) -> np.ndarray:
    """Whether it is known what each wound took in a week (wounds x weeks): until it left, or its record ended early.

    Of a wound that closed, or whose person died, it is known: nothing more.
    """
    days = (taken.wounds["spent_to"] - taken.wounds["spent_from"]).to_numpy(dtype=float)
    last = np.where(taken.wounds["gone_early"].to_numpy(dtype=bool), days, np.inf)
    return np.arange(weeks)[None, :] * WEEK <= last[:, None]


def mean_cost(amounts: np.ndarray, known: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """The mean cost of a wound had nobody left, for sets of counts (wounds x sets): the sum of weekly means.

    Each week's mean is over the wounds of which it is known, so that those who left are taken to go on like those who
    stayed (Lin, Feuer, Etzioni & Wax 1997, Biometrics 53:419; Bang & Tsiatis 2000, Biometrika 87:329; from memory).
    Missing where a week is known of nobody.
    """
    spent, over = amounts.T @ counts, known.astype(float).T @ counts
    weekly = np.divide(spent, over, out=np.full(spent.shape, np.nan), where=over > 0)
    return weekly.sum(axis=0)
