"""What may be said of delivery: which element was missed, where, since when and why; facts, and no advice."""

from __future__ import annotations

import pandas as pd

from kit.delivered import Delivered
from kit.delivery.agreement import ABOVE, AGAINST, BELOW, OFF
from kit.delivery.decisions import AWAY, PAYER, PERSON, RECORD, STAFF, SUPPLY, TRAIN
from kit.delivery.shortfalls import UNRECORDED
from kit.delivery.stretches import LASTING, OVER, THROUGHOUT
from kit.plan import Plan
from kit.words import count, day, when

ELEMENTS = {
    "minutes": "device minutes a day", "pulse_rate": "pulse rate", "sensation": "response felt", "polarity": "polarity",
    "zone_minutes": "ultrasound minutes a zone", "duty": "duty cycle", "intensity": "intensity",
    "frequency": "frequency for the wound's depth", "sessions_a_week": "sessions a week",
    "as_ordered": "modality and set-up as ordered",
}  # fmt: skip
MATTERS = {
    TRAIN: "training", STAFF: "staff", SUPPLY: "devices and supplies", PAYER: "the payer",
    PERSON: "people who refused or were unwell", AWAY: "absence, hold or isolation", RECORD: "recording",
}  # fmt: skip
HOW = {
    BELOW: "short of the protocol", ABOVE: "beyond the protocol", AGAINST: "against the protocol",
    UNRECORDED: "not recorded",
}  # fmt: skip
RESPONSE = {BELOW: "nothing felt", ABOVE: "strong enough to move muscle"}
WORTH, FEWEST, MOST = 0.1, 5, 5  # share and number missed that are told in words, and how many; common practice
NO_STANDARD = (
    "The protocol's figures are the plan's own, of common practice and without a source: what agrees with them is "
    "delivered as planned, which is not to say that it heals."
)
NOT_SEEN = (
    "No export shows whether electrodes lie as they should, the sound head moves one to two centimetres a second, no "
    "air is in the path, or how far apart electrodes are (further apart reach deeper): watch a session for these."
)


def missed_most(done: Delivered, plan: Plan) -> list[str]:
    """The elements most often missed in the quarter: where, how often, since when, and what it is a matter of."""
    rows = done.shortfalls
    missing = rows[[*OFF, UNRECORDED]].sum(axis=1)
    told = rows[(rows["missing_share"] >= WORTH) & (missing >= FEWEST)].head(MOST)
    if told.empty:
        asked = "No session was given" if rows.empty else "No element of the protocol was missed in a tenth of sessions"
        return [f"{asked} {when(plan.cutoff)}."]
    return [_missed(row, done.stretches, plan) for row in told.to_dict("records")]


def how(element: str, state: str) -> str:
    """What was wrong with an element, in words."""
    return RESPONSE[state] if element == "sensation" and state in RESPONSE else HOW[state]


def _missed(row: dict, stretches: pd.DataFrame, plan: Plan) -> str:
    state = max((*OFF, UNRECORDED), key=lambda name: row[name])
    what = "week" if row["element"] == "sessions_a_week" else "session"
    said = f"{row['facility']}, {ELEMENTS[row['element']]}: {how(row['element'], state)} in {row[state]}"
    said = f"{said} of {count(row['asked'], what)}"
    since = _since(row, state, stretches, plan)
    return f"{said} {when(plan.cutoff)}{since}; mostly a matter of {MATTERS[row['decision']]}."


def _since(row: dict, state: str, stretches: pd.DataFrame, plan: Plan) -> str:
    own = stretches["facility"].eq(row["facility"]) & stretches["element"].eq(row["element"])
    found = stretches[own & stretches["state"].eq(state)].to_dict("records")
    return f", {stretch_days(found[0], plan)}" if found and plan.cutoff is not None else ""


def stretch_days(stretch: dict, plan: Plan) -> str:
    """Since when, or from when to when, in words."""
    if plan.cutoff is None:
        return "not computable under this basis"
    begins, ends = (day(stretch[name], plan) for name in ("from_day", "to_day"))
    if stretch["course"] == LASTING:
        return f"since {begins}"
    if stretch["course"] == OVER:
        return f"from {begins} to {ends}"
    return f"{stretch['course']} {'since' if stretch['course'] == THROUGHOUT else 'from'} {begins}"


def past_stretches(done: Delivered, plan: Plan) -> list[str]:
    """What was missed for a while and is over, from before the quarter; a sentence each."""
    if plan.cutoff is None:
        return []
    rows = done.stretches[(done.stretches["course"] == OVER) & (done.stretches["to_day"] < plan.quarter_begins)]
    return [_past(row, plan) for row in rows.head(MOST).to_dict("records")]


def _past(row: dict, plan: Plan) -> str:
    what = "week" if row["element"] == "sessions_a_week" else "session"
    return (
        f"Over: {row['facility']}, {ELEMENTS[row['element']]}, {how(row['element'], row['state'])} in {row['off']} of "
        f"{count(row['asked'], what)} {stretch_days(row, plan)}."
    )


def came_of_due(done: Delivered, plan: Plan) -> list[str]:
    """What became of the sessions that were due in the quarter, a sentence a facility; then orders left out."""
    said = [_due(str(name), rows, plan) for name, rows in done.fates.groupby("facility", sort=True)]
    left_out = done.left_out[done.left_out["rows"] > 0]
    return said + [f"Not in these: {count(row.rows, 'order')} {row.reason}." for row in left_out.itertuples()]


def _due(facility: str, rows: pd.DataFrame, plan: Plan) -> str:
    due = count(round(rows["sessions"].sum()), "session")
    parts = [_fate(said, rows[rows["fate"] == name]) for name, said in FATES.items() if (rows["fate"] == name).any()]
    return f"{facility}: of {due} due {when(plan.cutoff)}, {', '.join(parts)}."


def _fate(said: str, rows: pd.DataFrame) -> str:
    """How many had one fate, and what it was a matter of; that short ones are training needs no saying."""
    number = round(rows["sessions"].sum())
    told = rows[~rows["decision"].isin(["", TRAIN])]
    if len(told) == 1:
        return f"{number} {said} ({MATTERS[told['decision'].iloc[0]]})"
    matters = [f"{MATTERS[row.decision]} {round(row.sessions)}" for row in told.itertuples()]
    return f"{number} {said}" + (f" ({', '.join(matters)})" if matters else "")


FATES = {
    "full": "reached the protocol's minutes", "short": "were given and too short", "shortened": "were cut short",
    "missed": "were missed", "no minutes": "have no minutes recorded", "not known": "have no status",
    "unlogged": "were ordered and not logged", "not judged": "cannot be judged (the wound was not measured in time)",
}  # fmt: skip
