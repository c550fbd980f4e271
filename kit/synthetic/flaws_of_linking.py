"""Faults of sessions that name no wound, planted: several wounds fit, none does, or only one of two sites."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.draft import Draft, later_sessions

Rng = np.random.Generator


def astray(draft: Draft, rng: Rng, n: int) -> None:
    """A session that names a person with several wounds, and neither wound nor site."""
    owner = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"]
    for label in draft.take("sessions", later_sessions(draft) & (_wounds_that_day(draft) > 1), n, rng):
        person = owner[draft.tables["sessions"].loc[label, "wound"]]
        draft.change("sessions", label, "astray", "", wound="", resident=person, site="")


def _wounds_that_day(draft: Draft) -> pd.Series:
    """How many wounds of the person treated are measured both before and after the day of each session."""
    frame, measured = draft.tables["sessions"], draft.tables["measurements"]
    owner = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"]
    seen = measured[measured["day"].str.match("20")].groupby("wound")["day"].agg(["min", "max"]).reset_index()
    asked = frame[["day"]].assign(resident=frame["wound"].map(owner), label=frame.index)
    pairs = asked.merge(seen.assign(resident=seen["wound"].map(owner)), on="resident")
    pairs = pairs[(pairs["min"] < pairs["day"]) & (pairs["day"] < pairs["max"])]
    return pairs.groupby("label").size().reindex(frame.index, fill_value=0)


def unmatched(draft: Draft, rng: Rng, n: int) -> None:
    """A session with neither a wound nor a person, or of a person who has no wound at that site."""
    owner = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"]
    for number, label in enumerate(draft.take("sessions", later_sessions(draft), n, rng)):
        person = owner[draft.tables["sessions"].loc[label, "wound"]]
        told = {"resident": person, "site": "head"} if number % 2 else {}
        draft.change("sessions", label, "unmatched", "", wound="", **told)


def half(draft: Draft, rng: Rng, n: int) -> None:
    """A session that names the site of the person's only wound and another, at which there is none."""
    wounds = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")
    able = later_sessions(draft) & (_wounds_that_day(draft) == 1)
    able &= draft.tables["sessions"]["wound"].map(wounds["site"]).ne("abdomen")
    for label in draft.take("sessions", able, n, rng):
        wound = wounds.loc[draft.tables["sessions"].loc[label, "wound"]]
        cells = {"wound": "", "resident": wound["resident"], "site": f"{wound['site']} and abdomen"}
        draft.change("sessions", label, "half", "site", **cells)
