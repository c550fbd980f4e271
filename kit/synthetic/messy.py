"""One invented facility's workbook as a person would send it: foreign headers and words, titles, totals and slips.

It is made from the tidy invention of another seed, so that nobody in it stands in the other sets.
The tutorial reads it.
"""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd

from kit.synthetic import group
from kit.synthetic.cells import as_text

SEED, SOURCE, HOUSE, PEOPLE = 1, "Tarnwick", "Sedgehollow", 45
WORKBOOK = "Sedgehollow wounds.xlsx"
MADE = (2026, 7, 6, 9, 0, 0)  # the one moment at which every part of the file was made
STAMP = rb"\g<1>2026-07-06T09:00:00Z<"

TYPES = {
    "pressure_injury": "Bed sore", "venous": "Venous stasis", "arterial": "Arterial", "diabetic_foot": "DFU",
    "surgical": "Surgical", "other": "Rubbing",
}  # fmt: skip
SIDES = {"left": "L ", "right": "R ", "middle": "", "": ""}
STAGES = {"3": "III", "2": "II", "4": "IV", "unstageable": "UTS", "deep_tissue": "DTI"}
CURRENTS = {"monopolar": "HV mono", "bipolar": "HV bipolar", "": "US"}
DONE = {"given": "Y", "shortened": "Part", "missed": "N"}
WHY = {"unwell": "sick", "refused": "declined", "staff": "no staff", "supplies": "no electrodes", "equipment": "broken"}
LEFT = {"died": "Expired", "left": "DC home", "hospital": "Hosp"}
REMARKS = ("", "", "likes the radio", "", "daughter visits Sundays", "", "")
BRIDGED = 3  # every so many closings are written in the house's own word
UNSEEN = 40  # every so many sizes were not measured
NAMED_WHOLLY = 4  # so many wounds have their kind before their site
SLIP, AGAIN = 509, 120  # the size with a nought for its point, and the session that stands there twice
PLAN = """\
# Study plan of the tutorial. Written before the numbers were looked at; its fingerprint stands on the page.

[program]
name = "Sedgehollow wound program"
basis = "limited_data_set"  # your privacy officer says which

[windows]
quarter_begins = 2026-04-01
cutoff = 2026-06-30  # nothing later is read

[[regimens]]
name = "electrical stimulation"
modality = "stimulation"

[[regimens]]
name = "ultrasound"
modality = "ultrasound"
"""


@dataclass(frozen=True)
class Sheet:
    """One sheet: its name, the lines above its headers, its rows, and what stands below them."""

    name: str
    above: tuple[str, ...]
    rows: pd.DataFrame
    below: tuple[object, ...] = ()


def workbook(seed: int = SEED) -> bytes:
    """The workbook's bytes; the same at every making, whatever the day."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for sheet in sheets(seed):
        page = book.create_sheet(sheet.name)
        for line in sheet.above:
            page.append([line] if line else [])
        for row in (list(sheet.rows), *sheet.rows.itertuples(index=False), sheet.below):
            page.append([None if cell == "" else cell for cell in row])
    return _undated(book)


def write(folder: str | Path) -> None:
    """Writes the workbook as it was sent, and a plan to begin with; the column map is the reader's to make."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / WORKBOOK).write_bytes(workbook())
    (folder / "study-plan.toml").write_text(PLAN, encoding="utf-8", newline="\n")


def sheets(seed: int = SEED) -> list[Sheet]:
    """The five sheets, with every slip that a person would make."""
    told = group.tables(group.settle(seed), lifelike=False)
    tables = _of_one_house({name: as_text(name, frame) for name, frame in told.items()})
    title = (f"{HOUSE} Care Center (invented)", "printed for the wound meeting", "")
    rounds, log = _rounds(tables), _log(tables)
    return [
        Sheet("Census", title, _census(tables)),
        Sheet("Wound list", title, _wounds(tables)),
        Sheet("Rounds", title, rounds, ("Total", "", f"{len(rounds)} sizes")),
        Sheet("Tx log", title, log, ("Total", "", "", "", sum(minutes or 0 for minutes in log["Min"]))),
        Sheet("Out of house", title, _out(tables)),
    ]


def _of_one_house(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The rows of the first so many people of one house."""
    people = tables["residents"]
    people = people.loc[people["facility"] == SOURCE, "resident"].head(PEOPLE)
    wounds = tables["wounds"].loc[tables["wounds"]["resident"].isin(people), "wound"]
    kept = {}
    for name, frame in tables.items():
        key, known = ("resident", people) if "age" in frame or "returned" in frame else ("wound", wounds)
        kept[name] = frame[frame[key].isin(known)].reset_index(drop=True)
    return kept


def _census(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    people = tables["residents"]
    return pd.DataFrame(
        {
            "Res #": people["resident"],
            "Building": HOUSE,
            "Age": people["age"].astype(int),
            "M/F": people["sex"].str[0].str.upper(),
            "DM": people["diabetes"].str[0].str.upper(),
            "Skin risk pts": people["risk_total"].astype(int),
            "Gets about": people["mobility"].map({"walks": "amb", "chair": "wheelchair", "bed": "bed bound"}),
            "Remarks": [REMARKS[row % len(REMARKS)] for row in range(len(people))],
        }
    )


def _wounds(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    wounds = tables["wounds"]
    kinds, places = wounds["kind"].map(TYPES), wounds["side"].map(SIDES) + wounds["site"]
    heels = wounds.index[(wounds["kind"] == "pressure_injury") & (wounds["site"] == "heel")][:NAMED_WHOLLY]
    places.loc[heels] = kinds[heels] + " " + places[heels]
    return pd.DataFrame(
        {
            "Wound ref": wounds["wound"],
            "Res #": wounds["resident"],
            "Type": kinds,
            "Loc.": places,
            "Began": wounds["onset"].map(_american),
            "POA?": wounds["present_on_admission"].str[0].str.upper(),
        }
    )


def _rounds(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    seen = tables["measurements"]
    closed = seen["state"] == "closed"
    words = closed.map({True: "Healed", False: "Open"})
    words[seen.index[closed][::BRIDGED]] = "Bridged"
    sizes = (seen["length"] + " x " + seen["width"] + " x " + seen["depth"]).mask(closed, "")
    sizes = sizes.mask((seen["stage"] == "unstageable") & ~closed, seen["length"] + " x " + seen["width"] + " x UTD")
    sizes.iloc[UNSEEN::UNSEEN] = sizes.iloc[UNSEEN::UNSEEN].where(closed, "n/m")
    sizes[SLIP] = sizes[SLIP].replace(".", "0", 1)
    return pd.DataFrame(
        {
            "Wound ref": seen["wound"],
            "Date seen": seen["day"].map(_american),
            "Size LxWxD (cm)": sizes,
            "Stg": seen["stage"].map(STAGES).fillna(""),
            "Status": words,
            "Bed": seen["tissue"].where(~closed, "").replace({"granulation": "gran", "epithelial": "epith"}),
            "Drainage": seen["exudate"].replace({"light": "scant", "moderate": "mod", "heavy": "large"}),
            "By": seen["assessor"],
        }
    )


def _log(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """The therapy log, which names a person and a place and not the wound, in the order of its days."""
    log = tables["sessions"].merge(
        tables["wounds"][["wound", "resident", "site", "side"]], on="wound", suffixes=("_", "")
    )
    log = log.sort_values(["day", "resident"], kind="stable", ignore_index=True)
    rows = pd.DataFrame(
        {
            "Res #": log["resident"],
            "Area": log["side"].map(SIDES) + log["site"],
            "Date": log["day"].map(_american),
            "Tx": log["setup"].map(CURRENTS),
            "Min": [int(minutes) if minutes else "" for minutes in log["minutes"]],
            "Done?": log["status"].map(DONE),
            "Why not": log["reason"].map(WHY).fillna(""),
            "Skin after": log["reaction"].str.replace("_", " "),
            "PT": log["therapist"],
        }
    )
    return pd.concat([rows[: AGAIN + 1], rows[AGAIN:]], ignore_index=True)


def _out(tables: dict[str, pd.DataFrame]) -> pd.DataFrame:
    away = tables["departures"]
    return pd.DataFrame(
        {
            "Res #": away["resident"],
            "Out on": away["day"].map(_american),
            "Why": away["reason"].map(LEFT),
            "Back on": away["returned"].map(_american),
        }
    )


def _american(day: str) -> str:
    """3/12/2026, as it is written by hand; blank stays blank."""
    if not day:
        return ""
    written = date.fromisoformat(day)
    return f"{written.month}/{written.day}/{written.year}"


def _undated(book: openpyxl.Workbook) -> bytes:
    """The workbook as a file in which no clock has left a trace.

    Nothing is compressed: how tightly a file is packed differs from system to system.
    """
    dated, plain = io.BytesIO(), io.BytesIO()
    book.save(dated)
    with zipfile.ZipFile(dated) as parts, zipfile.ZipFile(plain, "w", zipfile.ZIP_STORED) as out:
        for part in parts.namelist():
            moments = re.sub(rb"(<dcterms:\w+ [^>]*>)[^<]*<", STAMP, parts.read(part))
            entry = zipfile.ZipInfo(part, MADE)
            entry.create_system, entry.external_attr = 3, 0o600 << 16
            out.writestr(entry, moments)
    return plain.getvalue()
