"""Each session beside what was known when it was given: the wound's size, bed and infection, and what came before."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.covariates import held
from kit.plan import Plan
from kit.wounds.regimens import given

NOT_NAMED = "not named"
FEELS_LESS = ("yes", "reduced_sensation", "cannot_report")


def in_context(
    sessions: pd.DataFrame,
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    spans: pd.DataFrame,
    plan: Plan,
) -> pd.DataFrame:
    """The sessions that were given or shortened, with what was known on their day.

    Columns out, beside those of sessions: resident (the wound's), facility ("not named" where none is), number (of the
    wound's days treated with that modality, from 1), since_start (days since the wound's first session), turning_days
    (since its first with one electrode at the wound), day_minutes (device minutes of the wound's day in that modality;
    missing where any of them is), cut_reason (why a session of that day was cut short or missed; "unsaid" where no
    reason is recorded, blank where none was), size (cm2), depth (cm), tissue (as last measured, if within the plan's
    `fresh_days`; else missing), infected (an infection or antibiotic of the wound was recorded on the day),
    perhaps_infected (of its person), numb (a precaution was, for reduced sensation or without a word for what). Within
    a day a measurement comes before a session. In the order of wound and day.
    """
    rows = given(sessions).sort_values(["wound", "day", "source_row"], ignore_index=True)
    one = (rows["modality"] == "stimulation") & (rows["setup"] == "monopolar")
    first_of_one = rows["wound"].map(rows[one].groupby("wound")["day"].min())
    owner = rows["wound"].map(wounds.set_index("wound")["resident"])
    home = owner.map(residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
    first = rows.groupby("wound")["day"].transform("min")
    apart = rows.groupby(["wound", "modality"], observed=True)["day"]
    rows = rows.assign(
        resident=owner,
        facility=home,
        number=apart.rank(method="dense").astype("int64"),
        since_start=rows["day"] - first,
        day_minutes=_of_the_day(rows),
        turning_days=(rows["day"] - first_of_one).astype(float),
        cut_reason=_cut_reason(rows, sessions),
    )
    asked = rows.assign(begins=rows["day"])
    feels_less = spans[spans["value"].isna() | spans["value"].isin(FEELS_LESS)]
    return _last_measured(rows, measurements, plan).assign(
        infected=held(asked, spans[spans["wound"].notna()], ("infection", "antibiotic"), asked["day"]),
        perhaps_infected=held(asked, spans[spans["wound"].isna()], ("infection", "antibiotic"), asked["day"]),
        numb=held(asked, feels_less, ("precaution",), asked["day"]),
    )


def _cut_reason(rows: pd.DataFrame, sessions: pd.DataFrame) -> pd.Series:
    """Why part of the day was cut short or missed: "unsaid" where no reason is recorded, blank where nothing was."""
    keys = ["wound", "day", "modality"]
    cut = sessions[sessions["status"].isin(["missed", "shortened"])]
    cut = cut.assign(modality=cut["modality"].astype(object), why=cut["reason"].astype(object).fillna("unsaid"))
    first = cut.drop_duplicates(keys)[[*keys, "why"]]
    told = rows[keys].assign(modality=rows["modality"].astype(object)).merge(first, on=keys, how="left")["why"]
    return told.fillna("").astype(object)


def _of_the_day(rows: pd.DataFrame) -> pd.Series:
    """Minutes of all sessions of the wound's day in one modality; a part that is not recorded leaves them unknown."""
    days = rows.groupby(["wound", "day", "modality"], observed=True, dropna=False)["minutes"]
    return days.transform("sum").where(days.transform("count") == days.transform("size")).astype(float)


def _last_measured(rows: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    known = measurements.loc[measurements["state"] == "open", ["wound", "day", "size", "depth", "tissue"]]
    known = known.sort_values("day", kind="stable").rename(columns={"day": "seen"})
    order = rows.assign(place=np.arange(len(rows))).sort_values("day", kind="stable")
    joined = pd.merge_asof(
        order, known, left_on="day", right_on="seen", by="wound", tolerance=plan.sizes.fresh_days
    ).sort_values("place", ignore_index=True)
    return joined.drop(columns=["place", "seen"])


def zones(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Treatment zones of each ultrasound session: `least` counts the part of a zone as a part, `most` as a whole one.

    A zone is `zone_heads` times the head's effective radiating area (common practice, no source); a wound has one at
    least. Missing where the head's area or the wound's size is.
    """
    least = (told["size"] / (plan.protocol.zone_heads * told["radiating_area"])).clip(lower=1).astype(float)
    return pd.DataFrame({"least": least, "most": np.ceil(least)})
