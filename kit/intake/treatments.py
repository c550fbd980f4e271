"""Treatments as logs write them in one cell: `E-stim mono`, `HVPC bipolar (neg)`, `US`."""

from __future__ import annotations

from kit.intake.lexicon import DOUBTED, plain, words_for

TOLD = ("modality", "setup", "polarity")
IDLE = {"tx", "treatment", "therapy", "to", "wound", "with", "w", "the", "electrodes", "electrode"}


def read_treatment(text: str) -> dict[str, str]:
    """Modality, set-up and polarity that a cell names; nothing where a word is not known or two contradict each other.

    | text | modality | setup | polarity |
    | --- | --- | --- | --- |
    | E-stim mono | stimulation | monopolar | |
    | HVPC bipolar (neg) | stimulation | bipolar | negative |
    | US | ultrasound | | |
    | mono, US 3 MHz, ES/US | | | |

    A set-up alone is no treatment. Never raises.
    """
    words = [] if DOUBTED.search(text) else plain(text).split()
    told: dict[str, str] = {}
    while words:
        for length in range(len(words), 0, -1):
            found = _meanings(" ".join(words[:length]))
            if found:
                break
        if not found and words[0] not in IDLE:
            return {}
        for column, value in found.items():
            if told.setdefault(column, value) != value:
                return {}
        words = words[length if found else 1 :]
    return told if "modality" in told else {}


def _meanings(phrase: str) -> dict[str, str]:
    """What a phrase says, by the first column that knows it."""
    for column in TOLD:
        value = words_for(column).get(phrase)
        if value:
            return {column: value}
    return {}
