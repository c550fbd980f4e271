"""Whether settings hang together: polarity with the wound's state and with the schedule, frequency with depth."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.agreement import least_minutes, reach_cm, state_polarity, turns
from kit.delivery.context import zones
from kit.plan import Plan, Protocol, Range

KEPT_FROM = 0.9  # of a wound's sessions at their turn; common practice, no source
KEPT, NOT_KEPT, NEVER_TURNED = "kept", "not kept", "never turned"
FEWEST_TO_TURN = 4  # sessions in which a turn was due, before a wound is said to keep a schedule or not


def polarity_by_state(told: pd.DataFrame) -> pd.DataFrame:
    """Polarity at the wound against its state in that week, a row a facility and state.

    Columns in: sessions in context, of which those with one electrode at the wound are used. Columns out: facility,
    wound_state (infection before the bed's worst tissue; not charted where neither is known within the plan's days),
    sessions, negative, positive, alternating, unrecorded, asked_polarity (blank where the rule asks none), agree
    (sessions that carry it).
    """
    rows = told[(told["modality"] == "stimulation") & (told["setup"] == "monopolar")]
    bed = rows["tissue"].astype(object)
    state = bed.mask(rows["infected"].astype(bool), "infection").fillna("not charted")
    found = rows["polarity"].astype(object).fillna("unrecorded")
    asked = state_polarity(rows).fillna("")
    rows = rows.assign(wound_state=state, found=found, asked_polarity=asked, agree=(found == asked) & (asked != ""))
    by = rows.groupby(["facility", "wound_state", "asked_polarity"])
    counts = pd.crosstab([rows[key] for key in ("facility", "wound_state", "asked_polarity")], rows["found"])
    counts = counts.reindex(columns=["negative", "positive", "alternating", "unrecorded"], fill_value=0)
    table = counts.assign(sessions=by.size(), agree=by["agree"].sum()).rename_axis(columns=None).reset_index()
    return table[
        ["facility", "wound_state", "sessions", "negative", "positive", "alternating", "unrecorded", "asked_polarity",
         "agree"]
    ]  # fmt: skip


def schedules(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Whether the polarity of each wound turned as a schedule of `turn_days`, negative first, would have it.

    Columns out: wound, facility, judged (sessions with one electrode whose polarity is recorded, from the wound's
    first), due (of them those in which it should have been positive), as_scheduled, schedule (kept: nine in ten at
    their turn; never turned: one polarity throughout; else not kept; blank where too few were due). A wound that was
    never turned may have a protocol that does not turn; whose does, the plan says.
    """
    rows = told[(told["modality"] == "stimulation") & (told["setup"] == "monopolar")]
    rows = rows[rows["polarity"].isin(["negative", "positive"])]
    positive = (rows["turning_days"] // plan.protocol.turn_days) % 2 == 1
    rows = rows.assign(
        due=positive, turned=(rows["polarity"] == "positive") == positive, own=rows["polarity"].astype(str)
    )
    table = rows.groupby(["wound", "facility"], as_index=False).agg(
        judged=("day", "size"), due=("due", "sum"), as_scheduled=("turned", "sum"), kinds=("own", "nunique")
    )
    share = table["as_scheduled"] / table["judged"]
    said = np.select(
        [table["due"] < FEWEST_TO_TURN, table["kinds"] == 1, share >= KEPT_FROM], ["", NEVER_TURNED, KEPT], NOT_KEPT
    )
    return table.assign(schedule=said.astype(object)).drop(columns="kinds")


def turning(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The sessions whose protocol turns the polarity on a schedule."""
    return told[turns(told, plan.protocol)]


def inconsistencies(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Settings that do not go together, a row a facility and question, whatever the protocol says of each alone.

    Columns out: facility, setting (see `QUESTIONS`), asked (sessions in which it can be judged), found (sessions that
    show it), wounds (in which they were). A question nobody can be asked has no row.
    """
    protocol, wound = plan.protocol, zones(told, plan)
    stimulated, sounded = told["modality"] == "stimulation", told["modality"] == "ultrasound"
    reach, depth = reach_cm(told["frequency"], protocol), told["depth"].astype(float)
    short = protocol.zone_minutes * wound["least"] * (1 - protocol.leeway_percent / 100)
    # Polarity against the wound's state is a fault only where the plan goes by state.
    by_the_state = (protocol.polarity == "by_state") & ~told["facility"].isin(protocol.turning_facilities)
    one = stimulated & (told["setup"] == "monopolar") & told["polarity"].notna() & by_the_state
    by_state = state_polarity(told)
    deep = (told["frequency"] < 3) & (depth <= protocol.shallow_cm)
    least = least_minutes(told["number"], protocol) * (1 - protocol.leeway_percent / 100)
    asked = {
        "motor": (stimulated & told["sensation"].notna(), told["sensation"] == "motor"),
        "against_state": (one & by_state.notna(), told["polarity"].astype(object) != by_state),
        "too_short": (stimulated & told["day_minutes"].notna(), told["day_minutes"] < least - 1e-9),
        "too_short_for_area": (sounded & (told["day_minutes"] + short).notna(), told["day_minutes"] < short - 1e-9),
        "too_shallow": (sounded & (reach + depth).notna(), reach < depth),
        "deeper_than_charted": (sounded & (reach + depth).notna(), deep),
        "intensity_off": (
            sounded & told["intensity"].notna(),
            _outside(told["intensity"], protocol.intensity, protocol),
        ),
        "duty_off": (sounded & told["duty"].notna(), _outside(told["duty"], protocol.duty, protocol)),
    }
    rows = [row for name, (where, shown) in asked.items() for row in _rows(told, name, where, where & shown)]
    return pd.DataFrame(rows, columns=["facility", "setting", "asked", "found", "wounds"])


QUESTIONS = {
    "motor": "Motor response",
    "against_state": "Polarity against the wound's state",
    "too_short": "Minutes short of the protocol's",
    "too_short_for_area": "Ultrasound minutes too few for the wound's area",
    "too_shallow": "Ultrasound that does not reach the wound's depth",
    "deeper_than_charted": "Ultrasound set deeper than the charted depth asks",
    "intensity_off": "Intensity outside the plan",
    "duty_off": "Duty cycle outside the plan",
}


def _outside(value: pd.Series, asked: Range, protocol: Protocol) -> pd.Series:
    leeway = protocol.leeway_percent / 100
    return (value < asked[0] * (1 - leeway) - 1e-9) | (value > asked[1] * (1 + leeway) + 1e-9)


def _rows(told: pd.DataFrame, name: str, where: pd.Series, shown: pd.Series) -> list[dict[str, object]]:
    return [
        {
            "facility": facility,
            "setting": name,
            "asked": len(rows),
            "found": int(shown[rows.index].sum()),
            "wounds": told.loc[rows.index[shown[rows.index].to_numpy()], "wound"].nunique(),
        }
        for facility, rows in told[where].groupby("facility", sort=True)
    ]
