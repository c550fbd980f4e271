"""What may be said of the warnings: what was asked, what was found, which way it would push, and what helps."""

from __future__ import annotations

import pandas as pd

from kit.bias.evidence import BLURS, CARE, DETRACTS, FLATTERS, NOTE, SHOWN, STOPS
from kit.bias.warnings import firing
from kit.words import count

PUSHES = {
    FLATTERS: "It makes starting look better than it was.",
    DETRACTS: "It makes starting look worse than it was.",
    BLURS: "It pulls the comparison towards no difference.",
}
SAID = {STOPS: "Stops the comparison", CARE: "Read with care", NOTE: "Note"}
QUIET_MEANS = (
    "Quiet means that the records show nothing: what no chart holds sets off nothing, and small numbers hide much."
)


def warned_of(told: pd.DataFrame) -> list[str]:
    """Every warning that fires in a few sentences, the most serious first; one sentence where none does."""
    fired = firing(told)
    return [_warning(row) for row in fired.to_dict("records")] or ["No warning fires."]


def _warning(row: dict) -> str:
    pushes = PUSHES.get(row["direction"], "")
    return " ".join(part for part in (f"{SAID[row['seriousness']]}: {row['says']}", pushes, row["to_do"]) if part)


def asked(told: pd.DataFrame) -> str:
    """How many questions were asked of the numbers, how many fire, and how many cannot be answered; a sentence."""
    questions = told[told["kind"] != SHOWN]
    silent = questions["not_computed"] != ""
    fired = int(questions["fires"].sum())
    serious = [f"{SAID[name].lower()} {number}" for name in SAID
               if (number := int((questions["fires"] & (questions["seriousness"] == name)).sum()))]  # fmt: skip
    quiet = len(questions) - fired - int(silent.sum())
    said = f"Of {count(len(questions), 'question')} asked of the numbers {fired} found something"
    said += f" ({', '.join(serious)})" if serious else ""
    return f"{said}, {quiet} are quiet, and {int(silent.sum())} cannot be answered from this export."
