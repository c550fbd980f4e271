"""Every fault the kit looks for in an export: a one-word name, what it means, what becomes of the row."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

SET_ASIDE = "set aside"
REPAIRED = "repaired"
MARKED = "kept with a mark"


class ExportError(Exception):
    """A fault that stops the run: where it is, what was expected, how to cure it; never the value itself."""


@dataclass(frozen=True)
class Fault:
    """One kind of fault. `fate` says what becomes of the row or of the value."""

    name: str
    fate: str
    says: str


FAULTS: dict[str, Fault] = {
    fault.name: fault
    for fault in (
        Fault("blank", SET_ASIDE, "A cell without which the row means nothing is empty, or its word is not known."),
        Fault("unreadable", SET_ASIDE, "A day or word without which the row means nothing cannot be read."),
        Fault("duplicate", SET_ASIDE, "The same row stands twice."),
        Fault("clash", SET_ASIDE, "Two rows contradict each other; the larger, or else the fuller, stays."),
        Fault("orphan", SET_ASIDE, "It points to a person or wound that the export does not hold."),
        Fault("astray", SET_ASIDE, "A session or surgical closure that several wounds fit; none is guessed."),
        Fault("unmatched", SET_ASIDE, "A session that fits no wound of its person, or names no person."),
        Fault("half", MARKED, "The row names two sites, and only one of them was an open wound that day."),
        Fault("unseen", SET_ASIDE, "The cell says that the wound was not looked at that day."),
        Fault("future", SET_ASIDE, "It is dated after the cut-off, so it was not known then."),
        Fault("after_death", SET_ASIDE, "It is dated after the recorded day of death."),
        Fault("backwards", SET_ASIDE, "It ends before it begins."),
        Fault("swapped", REPAIRED, "Width stands above length; the two were exchanged."),
        Fault("jump", REPAIRED, "A size is off its wound's course by a slip of unit (10 or 2.54); it was divided."),
        Fault("negative", MARKED, "A quantity is below zero; the value was emptied."),
        Fault("impossible", MARKED, "A quantity is outside what can be measured; the value was emptied."),
        Fault("garbled", MARKED, "A number or day that is not needed cannot be read; the value was emptied."),
        Fault("unknown", MARKED, "A word is not in the closed list of this column; it counts as unknown."),
        Fault("unsized", MARKED, "An open wound was seen but no size can be had from the row."),
        Fault("contrary", MARKED, "Recorded closed, yet with a size, or words, of an open wound; it counts as open."),
        Fault("mixed", MARKED, "Sizes of one wound were found in more than one way; they do not compare."),
        Fault("outlying", MARKED, "A size stands far off those before and after it, which agree."),
        Fault("copied", MARKED, "The same size again and again, as if it had been carried forward."),
        Fault("late", MARKED, "It was typed in weeks after its day (over 14 days)."),
        Fault("staged", MARKED, "A wound that is not a pressure injury carries a stage; the stage is not read."),
        Fault("backstaged", MARKED, "A pressure injury is charted at a lower stage than before; the deepest stands."),
        Fault(
            "unsaid", MARKED,
            "Seen again within the bed hold after a stay in hospital whose return is not recorded; the return is taken "
            "from that.",
        ),
        Fault("reopened", MARKED, "Recorded closed, then open again."),
        Fault("closed_before", MARKED, "Open after a closing by surgery, or treated two weeks after the wound closed."),
        Fault("merged", MARKED, "It ends open while the wound beside it grows by about as much; two may be one now."),
        Fault("split", MARKED, "It begins while the wound beside it shrinks by about as much; one may be two now."),
        Fault("renamed", MARKED, "Its person seems to have had another pseudonym before; nobody is made one."),
        Fault("vanished", MARKED, "Last seen open, then lost from sight: no closing, no departure until long after."),
    )
}  # fmt: skip

COLUMNS = ["table", "source_row", "column", "fault", "fate"]


def found(table: str, rows: pd.Series, fault: str, column: str = "") -> pd.DataFrame:
    """One line for each source row in which `fault` was found.

    Columns out: table, source_row, column, fault, fate. `rows` holds row numbers of the original file.
    """
    lines = pd.DataFrame({"source_row": rows.astype("int64").to_numpy()})
    return lines.assign(table=table, column=column, fault=fault, fate=FAULTS[fault].fate)[COLUMNS]


def together(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """All lines of several fault frames, in the order of table, row, column and fault."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return pd.DataFrame(
            {"table": [], "source_row": pd.Series([], dtype="int64"), "column": [], "fault": [], "fate": []}
        )
    return pd.concat(parts, ignore_index=True).sort_values(COLUMNS[:4], ignore_index=True)


def counted(faults: pd.DataFrame) -> pd.DataFrame:
    """How often each fault was found: table, fault, fate, rows, says."""
    counts = faults.groupby(["table", "fault", "fate"], as_index=False).agg(rows=("source_row", "nunique"))
    return counts.assign(says=counts["fault"].map(lambda name: FAULTS[name].says))
