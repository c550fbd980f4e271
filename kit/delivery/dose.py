"""Dose: what the device gave, by day and week. Staff minutes and billed units are kept apart and are never dose."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.context import zones
from kit.plan import WEEK, Plan

SECONDS = 60
MICRO = 1e-6
QUARTILES = (0.25, 0.5, 0.75)


def charge(rate: np.ndarray | float, minutes: np.ndarray | float) -> np.ndarray | float:
    """Charge in coulombs: microcoulombs a second, for so many minutes (360 for 50 minutes are 1.08 C).

    The arithmetic of Polak et al. 2018, Ostomy Wound Manage 64(2):10.
    """
    return rate * minutes * SECONDS * MICRO


def average_intensity(intensity: np.ndarray | float, duty: np.ndarray | float) -> np.ndarray | float:
    """Intensity averaged over the pulses, W/cm2: the intensity while on times the duty cycle (percent)."""
    return intensity * duty / 100


def treated_days(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """One row a wound, day and modality, from sessions in context.

    Columns out: wound, resident, facility, day, number, modality, setup (missing where none is named, or several are),
    day_minutes, staff_minutes (of the day; missing where any is), day_charge (C, where every session's rate is
    recorded), zone_minutes (ultrasound minutes for each zone, a part of a zone counted as a part), average_intensity
    (W/cm2, ultrasound), frequency (MHz, ultrasound). Missing is never zero.
    """
    rows = told.assign(
        setup=told["setup"].astype(object),
        day_charge=charge(told["charge_rate"], told["minutes"]).astype(float),
        zones=zones(told, plan)["least"],
        average_intensity=average_intensity(told["intensity"], told["duty"]).astype(float),
    )
    keys = ["wound", "day", "modality"]
    by = rows.groupby(keys, observed=True, sort=True)
    first = by[["resident", "facility", "number", "day_minutes", "zones", "average_intensity", "frequency"]].first()
    sums = pd.DataFrame({name: by[name].sum().where(by[name].count() == by.size()) for name in SUMMED})
    setup = by["setup"].first().where(by["setup"].nunique() == 1)
    days = first.join(sums).assign(setup=setup).reset_index()
    days = days.assign(zone_minutes=(days["day_minutes"] / days["zones"]).where(days["modality"] == "ultrasound"))
    return days[
        ["wound", "resident", "facility", "day", "number", "modality", "setup", "day_minutes", "staff_minutes",
         "day_charge", "zone_minutes", "average_intensity", "frequency"]
    ]  # fmt: skip


SUMMED = ("staff_minutes", "day_charge")


def doses(days: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Dose by facility, modality and set-up, the first session apart: a shorter first session is normal.

    Columns in: those of `treated_days`. Columns out: facility, modality, setup, wounds, treated_days, treated_weeks
    (wound-weeks with a session, weeks counted from the wound's first), days_a_week (treated days in such a week),
    minutes_known (days whose minutes are recorded), first_minutes (median of first days), quartile_1, median,
    quartile_3 (minutes a day later on), minutes_a_week (median over weeks in which every day is recorded),
    charge_known, median_charge (C a day), zone_known, median_zone (minutes a zone), average_intensity and
    median_frequency (medians, W/cm2 and MHz).
    """
    rows = days.assign(setup=days["setup"].fillna(""), modality=days["modality"].astype(object))
    keys = ["facility", "modality", "setup"]
    told = [dict(zip(keys, names, strict=True)) | _dose(group) for names, group in rows.groupby(keys, sort=True)]
    return pd.DataFrame(told, columns=DOSES)


DOSES = [
    "facility", "modality", "setup", "wounds", "treated_days", "treated_weeks", "days_a_week", "minutes_known",
    "first_minutes", "quartile_1", "median", "quartile_3", "minutes_a_week", "charge_known", "median_charge",
    "zone_known", "median_zone", "average_intensity", "median_frequency",
]  # fmt: skip


def _dose(days: pd.DataFrame) -> dict[str, float]:
    later, weeks = days[days["number"] > 1], _weeks(days)
    low, middle, high = later["day_minutes"].dropna().quantile(QUARTILES)
    return {
        "wounds": days["wound"].nunique(),
        "treated_days": len(days),
        "treated_weeks": len(weeks),
        "days_a_week": weeks["days"].mean(),
        "minutes_known": int(days["day_minutes"].notna().sum()),
        "first_minutes": _middle(days.loc[days["number"] == 1, "day_minutes"]),
        "quartile_1": low,
        "median": middle,
        "quartile_3": high,
        "minutes_a_week": _middle(weeks["minutes"]),
        "charge_known": int(days["day_charge"].notna().sum()),
        "median_charge": _middle(days["day_charge"]),
        "zone_known": int(days["zone_minutes"].notna().sum()),
        "median_zone": _middle(days["zone_minutes"]),
        "average_intensity": _middle(days["average_intensity"]),
        "median_frequency": _middle(days["frequency"]),
    }


def _middle(values: pd.Series) -> float:
    return values.dropna().median()


def _weeks(days: pd.DataFrame) -> pd.DataFrame:
    """Treated weeks of each wound, counted from its first day here: days treated, and their minutes where all are."""
    first = days.groupby("wound")["day"].transform("min")
    by = days.assign(week=(days["day"] - first) // WEEK).groupby(["wound", "week"])["day_minutes"]
    return pd.DataFrame({"days": by.size(), "minutes": by.sum().where(by.count() == by.size())})
