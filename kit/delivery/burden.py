"""Burden of treatment by week of a wound: dressings taken down, minutes of staff, single-use sets."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import WEEK, Plan
from kit.wounds.episodes import LATE
from kit.wounds.regimens import SEVERAL

# Whether a session takes the dressing down; common practice, no source.
DISTURBS = {"monopolar": True, "bipolar": False, "ultrasound": True}


def treated_weeks(told: pd.DataFrame, spans: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The weeks of treated wounds, counted from the first session of each, in which it had one; a row a week.

    Columns in: every session given or shortened, as `kit.delivery.context.in_context` returns them; those of spans.
    Columns out: wound, resident, facility, week_ends, modality ("several at once" where the week had more than one
    set-up), setup (blank where it was none, or not one), sessions, disturbed (days on which a session took the dressing
    down: monopolar and ultrasound do, bipolar leaves it; common practice, no source), ordered_changes (dressing changes
    a week, of the order that held on the week's last treated day, the latest begun), beyond (days disturbed beyond
    those, never below 0), device_known, staff_known (sessions whose minutes are recorded), device_a_week, staff_a_week
    (minutes, where every session's are), sets_a_week (single-use, by the plan).

    Missing is never zero: a session of no recorded set-up may have disturbed a dressing or not, and `beyond` is known
    only where both are. Staff minutes of a session of several wounds are shared between them. A week is judged whole:
    for a quarter, take the weeks that end in it.
    """
    weeks = _weeks(_prepared(told, plan))
    weeks = weeks.assign(ordered_changes=_ordered_changes(weeks, spans))
    weeks = weeks.assign(beyond=(weeks["disturbed"] - weeks["ordered_changes"]).clip(lower=0))
    return weeks[COLUMNS].sort_values(["wound", "week_ends"], ignore_index=True)


COLUMNS = [
    "wound", "resident", "facility", "week_ends", "modality", "setup", "sessions", "disturbed", "ordered_changes",
    "beyond", "device_known", "staff_known", "device_a_week", "staff_a_week", "sets_a_week",
]  # fmt: skip


def _prepared(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Each session with its week, what it was given with, and what it took."""
    modality, setup = told["modality"].astype(object), told["setup"].astype(object)
    what = setup.where(modality == "stimulation", modality)
    sets = {name: getattr(plan.protocol, f"{name}_sets") for name in DISTURBS}
    first = told["day"] - told["since_start"]
    return told.assign(
        modality=modality,
        setup=setup.where(modality == "stimulation", "").fillna(""),
        week_ends=first + told["since_start"] // WEEK * WEEK + WEEK - 1,
        disturbs=what.map(DISTURBS).astype(float),
        sets=what.map(sets).astype(float),
        staff=told["staff_minutes"] / told.groupby("source_row")["wound"].transform("size"),
    )


def _weeks(rows: pd.DataFrame) -> pd.DataFrame:
    keys = ["wound", "week_ends"]
    by = rows.groupby(keys, sort=True)
    kinds = rows.drop_duplicates([*keys, "modality", "setup"]).groupby(keys).size()
    weeks = by[["resident", "facility", "modality", "setup"]].first().assign(
        sessions=by.size(), last_treated=by["day"].max(), disturbed=_disturbed(rows, keys),
        device_known=by["minutes"].count(), staff_known=by["staff"].count(), device_a_week=_whole(by["minutes"]),
        staff_a_week=_whole(by["staff"]), sets_a_week=_whole(by["sets"]),
    )  # fmt: skip
    several = kinds > 1
    return weeks.assign(
        modality=weeks["modality"].mask(several, SEVERAL), setup=weeks["setup"].mask(several, "")
    ).reset_index()


def _whole(by: pd.core.groupby.SeriesGroupBy) -> pd.Series:
    """Sums in which nothing is missing."""
    return by.sum().where(by.count() == by.size()).astype(float)


def _disturbed(rows: pd.DataFrame, keys: list[str]) -> pd.Series:
    """Days on which the dressing was taken down; a day is not known where no session did and one is not known to."""
    days = rows.groupby([*keys, "day"])["disturbs"]
    taken = days.max().where((days.max() == 1) | (days.count() == days.size()))
    return _whole(taken.groupby(level=keys))


def _ordered_changes(weeks: pd.DataFrame, spans: pd.DataFrame) -> np.ndarray:
    """Of orders of one day a wound's own goes before its person's."""
    asked = spans[(spans["span"] == "ordered_regimen") & (spans["value"] == "dressing")]
    asked = asked[["resident", "wound", "per_week", "from_day", "to_day"]].assign(over=asked["to_day"].fillna(LATE))
    rows = weeks[["wound", "resident", "last_treated"]].assign(row=np.arange(len(weeks)))
    own = asked[asked["wound"].notna()].drop(columns="resident").assign(own=True)
    whole = asked[asked["wound"].isna() & asked["resident"].notna()].drop(columns="wound").assign(own=False)
    pairs = [rows.merge(own, on="wound"), rows.merge(whole, on="resident")]
    pairs = pd.concat([part for part in pairs if len(part)] or pairs[:1])
    holds = (pairs["from_day"] <= pairs["last_treated"]) & (pairs["over"] >= pairs["last_treated"])
    pairs = pairs[holds].sort_values(["row", "from_day", "own"]).drop_duplicates("row", keep="last")
    return rows["row"].map(pairs.set_index("row")["per_week"]).to_numpy(dtype=float)


def burden(weeks: pd.DataFrame) -> pd.DataFrame:
    """Burden by set-up, a week of a wound: what treatment asks of dressings, staff and supplies.

    Columns in: those of `treated_weeks`, of the weeks to be judged. Columns out: modality, setup, wounds, weeks,
    sessions, disturbed_known (weeks in which it is known), disturbed_a_week, changes_known (weeks with a recorded order
    of dressing changes), changes_a_week (as ordered), beyond_known, beyond_a_week (days disturbed beyond the order),
    device_known, staff_known (sessions), device_weeks, staff_weeks (weeks in which every session's minutes
    are), device_a_week, staff_a_week, sets_a_week. What is "a week" is a mean over the weeks in which it is known;
    missing where there are none.
    """
    by = weeks.groupby(["modality", "setup"], sort=True)
    means = by[[*MEANS.values(), "device_a_week", "staff_a_week", "sets_a_week"]].mean().astype(float)
    means = means.rename(columns={column: f"{name}_a_week" for name, column in MEANS.items()})
    known = {f"{name}_known": by[column].count() for name, column in MEANS.items()}
    table = means.assign(
        wounds=by["wound"].nunique(), weeks=by.size(), sessions=by["sessions"].sum(), **known,
        device_known=by["device_known"].sum(), staff_known=by["staff_known"].sum(),
        device_weeks=by["device_a_week"].count(), staff_weeks=by["staff_a_week"].count(),
    )  # fmt: skip
    return table.reset_index()[BURDEN]


MEANS = {"disturbed": "disturbed", "changes": "ordered_changes", "beyond": "beyond"}
BURDEN = [
    "modality", "setup", "wounds", "weeks", "sessions", "disturbed_known", "disturbed_a_week", "changes_known",
    "changes_a_week", "beyond_known", "beyond_a_week", "device_known", "staff_known", "device_weeks", "staff_weeks",
    "device_a_week", "staff_a_week", "sets_a_week",
]  # fmt: skip
