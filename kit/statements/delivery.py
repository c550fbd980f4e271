"""What may be said of delivery: which element was missed, where, since when and why; facts, and no advice."""

from __future__ import annotations

import pandas as pd

from kit.delivered import Delivered
from kit.delivery.agreement import ABOVE, AGAINST, BELOW, OFF
from kit.delivery.decisions import AWAY, PAYER, PERSON, RECORD, STAFF, SUPPLY, TRAIN
from kit.delivery.shortfalls import UNRECORDED
from kit.delivery.stretches import LASTING, OVER, THROUGHOUT
from kit.plan import Plan
from kit.quarter import within
from kit.words import count, day, when

ELEMENTS = {
    "minutes": "device minutes a day", "pulse_rate": "pulse rate", "sensation": "response felt", "polarity": "polarity",
    "zone_minutes": "ultrasound minutes a zone", "duty": "duty cycle", "intensity": "intensity",
    "frequency": "frequency for the wound's depth", "sessions_a_week": "sessions a week",
    "as_ordered": "modality and set-up as ordered",
}  # fmt: skip
MATTERS = {
    TRAIN: "training or charting (no reason recorded)", STAFF: "staff", SUPPLY: "devices and supplies",
    PAYER: "the payer", PERSON: "people who refused or were unwell", AWAY: "absence, hold or isolation",
    RECORD: "recording",
}  # fmt: skip
HOW = {
    BELOW: "short of the protocol", ABOVE: "beyond the protocol", AGAINST: "against the protocol",
    UNRECORDED: "not recorded",
}  # fmt: skip
BY_ORDER = ("sessions_a_week", "as_ordered")
RESPONSE = {BELOW: "nothing felt", ABOVE: "strong enough to move muscle"}
WORTH, FEWEST, MOST = 0.1, 5, 5  # share and number missed that are told in words, and how many; common practice
NO_STANDARD = (
    "The protocol's figures are the plan's own, of common practice and without a source: what agrees with them is "
    "delivered as planned, which is not to say that it heals."
)
NO_ORDERS = "The export holds no orders by which sessions a week, and modality and set-up, could be judged."
NOT_SEEN = (
    "No export shows whether electrodes lie as they should, the sound head moves one to two centimetres a second, no "
    "air is in the path, or how far apart electrodes are (further apart reach deeper): a session alone shows these."
)


def missed_most(done: Delivered, plan: Plan) -> list[str]:
    """The elements most often missed in the quarter: where, how often, since when, and what it is a matter of."""
    rows = done.shortfalls
    missing = rows[[*OFF, UNRECORDED]].sum(axis=1)
    told = rows[(rows["missing_share"] >= WORTH) & (missing >= FEWEST)].head(MOST)
    if told.empty:
        asked = (
            "No session of the protocol was given"
            if rows.empty
            else "No element of the protocol was off in a tenth of sessions"
        )
        return [f"{asked} {when(plan.cutoff)}.", *_not_judged(done)]
    return [*(_missed(row, done.stretches, done.weeks, plan) for row in told.to_dict("records")), *_not_judged(done)]


def _not_judged(done: Delivered) -> list[str]:
    """What the export does not hold, so that nobody takes it for delivered, or blames those who treat."""
    if done.told.empty:
        return ["The export holds no session that was given; what was delivered cannot be told."]
    said = [f"Not in the export, and not judged: {', '.join(ELEMENTS[name] for name in done.absent)}."]
    return (said if done.absent else []) + ([] if done.ordered else [NO_ORDERS])


def how(element: str, state: str) -> str:
    """What was wrong with an element, in words."""
    if element in BY_ORDER:
        return HOW[state].replace("protocol", "order")
    return RESPONSE[state] if element == "sensation" and state in RESPONSE else HOW[state]


def _missed(row: dict, stretches: pd.DataFrame, weeks: pd.DataFrame, plan: Plan) -> str:
    state = max((*OFF, UNRECORDED), key=lambda name: row[name])
    what = "week" if row["element"] == "sessions_a_week" else "session"
    said = f"{row['facility']}, {ELEMENTS[row['element']]}: {how(row['element'], state)} in {row[state]}"
    said = f"{said} of {count(row['asked'], what)}"
    since = _since(row, state, stretches, plan)
    given = _of_ordered(row, weeks, plan) if row["element"] == "sessions_a_week" else ""
    return f"{said} {when(plan.cutoff)}{given}{since}; {_why(row)}."


def _of_ordered(row: dict, weeks: pd.DataFrame, plan: Plan) -> str:
    """How many sessions those weeks lack: a week that lacks one of five is short as well as one that lacks all."""
    own = within(weeks[weeks["facility"] == row["facility"]], plan)
    given, asked = own[["given", "shortened"]].to_numpy().sum(), round(own["asked"].sum())
    return f" ({given} sessions given of {asked} ordered)"


def _why(row: dict) -> str:
    """What it is a matter of: the one thing that makes most of it, else all of them with their counts."""
    if row["decision"]:
        return f"mostly a matter of {MATTERS[row['decision']]}"
    return f"a matter of {matters(row['matters'])}"


def matters(told: str) -> str:
    """`staff 3, person 2` in words."""
    parts = [part.rsplit(" ", 1) for part in told.split(", ")]
    return ", ".join(f"{MATTERS[name]} {number}" for name, number in parts)


def _since(row: dict, state: str, stretches: pd.DataFrame, plan: Plan) -> str:
    own = stretches["facility"].eq(row["facility"]) & stretches["element"].eq(row["element"])
    if plan.cutoff is None:
        return ""
    # One that was over before the quarter says nothing of it.
    found = stretches[own & stretches["state"].eq(state) & (stretches["to_day"] >= plan.quarter_begins)]
    return f", {stretch_days(found.iloc[0].to_dict(), plan)}" if len(found) else ""


def stretch_days(stretch: dict, plan: Plan) -> str:
    """Since when, or from when to when, in words."""
    if plan.cutoff is None:
        return "not computable under this basis"
    begins, ends = (day(stretch[name], plan) for name in ("from_day", "to_day"))
    if stretch["course"] == LASTING:
        return f"since {begins}"
    word = "" if stretch["course"] == OVER else f"{stretch['course']} "
    if stretch["course"] == THROUGHOUT and stretch["to_day"] >= plan.quarter_begins:
        return f"throughout since {begins}"
    return f"{word}from {begins} to {ends}"


def past_stretches(done: Delivered, plan: Plan) -> list[str]:
    """What was missed for a while and is over, from before the quarter; a sentence each."""
    if plan.cutoff is None:
        return []
    rows = done.stretches[(done.stretches["course"] == OVER) & (done.stretches["to_day"] < plan.quarter_begins)]
    return [_past(row, plan) for row in rows.head(MOST).to_dict("records")]


def _past(row: dict, plan: Plan) -> str:
    what = "week" if row["element"] == "sessions_a_week" else "session"
    said = f"In the past: {row['facility']}, {ELEMENTS[row['element']]}, {how(row['element'], row['state'])}"
    said = f"{said} in {row['off']} of {count(row['asked'], what)} {stretch_days(row, plan)}"
    return f"{said}; a matter of {matters(row['matters'])}."


def too_strong(done: Delivered, plan: Plan) -> list[str]:
    """Sessions strong enough to move muscle, in the whole export; a sentence a facility, none where there were none."""
    rows = done.stretches[(done.stretches["element"] == "sensation") & (done.stretches["state"] == ABOVE)]
    now = done.shortfalls[done.shortfalls["element"] == "sensation"].set_index("facility")["above"]
    return [
        f"{row['facility']}: {count(row['off_all'], 'session')} in the whole export strong enough to move muscle "
        f"({stretch_days(row, plan)}), {int(now.get(row['facility'], 0))} of them {when(plan.cutoff)}."
        for row in rows.to_dict("records")
    ]


def came_of_due(done: Delivered, plan: Plan) -> list[str]:
    """What became of the sessions that were due in the quarter, a sentence a facility; then orders left out."""
    ordered = set(done.weeks["facility"])
    said = [_due(str(name), rows, plan, name in ordered) for name, rows in done.fates.groupby("facility", sort=True)]
    left_out = done.left_out[done.left_out["rows"] > 0]
    return said + [f"Not in these: {count(row.rows, 'order')} {row.reason}." for row in left_out.itertuples()]


def _due(facility: str, rows: pd.DataFrame, plan: Plan, ordered: bool) -> str:
    """Without an order only what was logged is known, and what was due is not."""
    due = f"{count(round(rows['sessions'].sum()), 'session')} {'due' if ordered else 'logged, without any order,'}"
    parts = [_fate(said, rows[rows["fate"] == name]) for name, said in FATES.items() if (rows["fate"] == name).any()]
    return f"{facility}: of {due} {when(plan.cutoff)}, {', '.join(parts)}."


def _fate(said: str, rows: pd.DataFrame) -> str:
    """How many had one fate, and what it was a matter of; that short ones are training needs no saying."""
    number = round(rows["sessions"].sum())
    said = said.replace("were ", "was ").replace("have ", "has ").replace("lack ", "lacks ") if number == 1 else said
    told = rows[~rows["decision"].isin(["", TRAIN])]
    if len(told) == 1:
        return f"{number} {said} ({MATTERS[told['decision'].iloc[0]]})"
    matters = [f"{MATTERS[row.decision]} {round(row.sessions)}" for row in told.itertuples()]
    return f"{number} {said}" + (f" ({', '.join(matters)})" if matters else "")


FATES = {
    "full": "reached the protocol's minutes", "short": "were too short", "shortened": "were cut short",
    "missed": "were missed", "no minutes": "have no minutes recorded",
    "no head": "lack the sound head's radiating area",
    "not known": "have no status", "unlogged": "were ordered and not logged",
    "not judged": "cannot be judged (the wound was not measured in time)", "other": "were of another modality",
}  # fmt: skip
