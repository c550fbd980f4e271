"""Published lists that delivery stands beside: conditions for which modalities are withheld, and doses of trials."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from kit.delivery.dose import charge
from kit.faults import ExportError
from kit.vocabulary import CONDITIONS

PUBLISHED = Path(__file__).resolve().parents[2] / "data" / "published"
CONTRAINDICATION, PRECAUTION, LOCAL, NOT_LISTED = "contraindication", "precaution", "local", "not listed"
LISTED = (CONTRAINDICATION, PRECAUTION, LOCAL, NOT_LISTED)
SEEN = ("verified", "partly", "memory")
MODALITIES = ("stimulation", "ultrasound")
NOT_SAID, CHART_DECIDES = "not said", "the chart decides"
LIST = ["condition", "says", *MODALITIES, "source", "seen"]


def contraindications(path: Path = PUBLISHED / "contraindications.csv") -> pd.DataFrame:
    """The list of conditions for which a modality is withheld, or used with care; the facility's clinicians own it.

    Columns out: condition (each of `kit.vocabulary.CONDITIONS` once), says, stimulation, ultrasound (contraindication,
    precaution, local: not over the device, or not listed), source, seen (verified, partly, memory). The file is read
    anew each time, because it is there to be changed. Sources are named in data/published/README.md.

    Raises ExportError, in one line, where the file is missing or no list of that kind: the row and column that is not,
    never what stands there.
    """
    rows = _rows(path)
    if not rows or list(rows[0]) != LIST:
        raise ExportError(f"{path.name}: the columns are not {', '.join(LIST)}, or no row follows; see its README")
    for number, row in enumerate(rows, start=2):
        _refuse_unknown(path.name, number, row)
    _refuse_uneven(path.name, [row["condition"] for row in rows])
    return pd.DataFrame(rows, columns=LIST)


def lines_of(path: Path) -> list[str]:
    """The lines of a published list; raises ExportError, in one line, where it is missing or not UTF-8."""
    try:
        # Spreadsheets put a byte order mark before the text.
        return path.read_text(encoding="utf-8-sig").splitlines()
    except OSError:
        raise ExportError(f"{path.name}: there is no such list in {path.parent.name}; put it back") from None
    except UnicodeDecodeError:
        raise ExportError(f"{path.name}: not UTF-8; save it as CSV in UTF-8 and try again") from None


def _rows(path: Path) -> list[dict[str, str]]:
    rows = csv.DictReader(lines_of(path), restval="")
    return [{(name or "").strip(): str(cell).strip() for name, cell in row.items()} for row in rows]


def _refuse_unknown(name: str, number: int, row: dict[str, str]) -> None:
    known = {"condition": CONDITIONS, "seen": SEEN, **dict.fromkeys(MODALITIES, LISTED)}
    for column, allowed in known.items():
        if row[column] not in allowed:
            raise ExportError(f"{name}: row {number}, {column}: write one of {', '.join(allowed)}")


def _refuse_uneven(name: str, conditions: list[str]) -> None:
    off = [condition for condition in CONDITIONS if conditions.count(condition) != 1]
    if off:
        raise ExportError(f"{name}: {off[0]} must stand in exactly one row; write 'not listed' where nothing is said")


def listed(condition: pd.Series, modality: pd.Series, table: pd.DataFrame) -> pd.Series:
    """What the list says of each condition for the modality beside it.

    A condition that is `not said` is for the chart to decide. The list says nothing of an `other` modality: not listed.
    """
    said = table.melt("condition", list(MODALITIES), var_name="modality", value_name="listed")
    known = said.set_index(["condition", "modality"])["listed"]
    asked = pd.MultiIndex.from_arrays([condition.astype(object), modality.astype(object)])
    told = pd.Series(known.reindex(asked).to_numpy(dtype=object), index=condition.index, dtype=object)
    return told.fillna(NOT_LISTED).mask(condition == NOT_SAID, CHART_DECIDES)


def doses(path: Path = PUBLISHED / "doses.csv") -> pd.DataFrame:
    """Stimulation as published trials gave it, to stand beside what was delivered; sources are in the file's README.

    Columns out: trial, year, journal, current (in words), charge_rate (uC/s), minutes (a day), per_week (days), weekly
    minutes as weekly_minutes, for_weeks, day_charge (C), says, seen (verified, secondary, partly). What was not seen is
    missing, and so is what would be computed from it. A published dose is not thereby the right one.
    """
    table = pd.read_csv(path)
    table = table.assign(
        journal=table["journal"].fillna(""),
        says=table["says"].fillna(""),
        day_charge=charge(table["charge_rate"], table["minutes"]),
        weekly_minutes=table["minutes"] * table["per_week"],
    )
    return table[
        ["trial", "year", "journal", "current", "charge_rate", "minutes", "per_week", "for_weeks", "day_charge",
         "weekly_minutes", "says", "seen"]
    ]  # fmt: skip
