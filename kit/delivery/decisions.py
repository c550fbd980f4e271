"""Why care fell short, as decisions that an administrator can take: train, staff, supply, and the rest."""

from __future__ import annotations

import pandas as pd

TRAIN, STAFF, SUPPLY, PAYER, PERSON, AWAY, RECORD = "train", "staff", "supply", "payer", "person", "away", "record"
SAYS = {
    TRAIN: "given otherwise than the protocol asks, for no reason that is recorded",
    STAFF: "nobody to give it",
    SUPPLY: "no device, or nothing to give it with",
    PAYER: "the payer",
    PERSON: "refused, or unwell",
    AWAY: "out of the building, on hold, or isolated",
    RECORD: "not recorded",
}
DECISIONS = tuple(SAYS)
_OF_REASON = {
    "staff": STAFF, "equipment": SUPPLY, "supplies": SUPPLY, "payer": PAYER, "refused": PERSON, "unwell": PERSON,
    "out_of_building": AWAY, "on_hold": AWAY, "isolation": AWAY,
}  # fmt: skip


def of_reason(reason: pd.Series) -> pd.Series:
    """The decision that each recorded reason belongs to; a reason that is not recorded asks for recording."""
    return reason.astype(object).map(_OF_REASON).fillna(RECORD)
