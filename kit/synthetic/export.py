"""Inventing an export: three sets with one truth, and the files they are written to."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pandas as pd

from kit.synthetic import flaws, group, messy, stories
from kit.synthetic.cells import as_text, written
from kit.synthetic.draft import Draft
from kit.synthetic.group import Group, starters
from kit.synthetic.troubles import Story
from kit.synthetic.world import CUTOFF, EFFECTS, FINE, REGIMENS, SEED, at, stream
from kit.vocabulary import TABLES

Kind = Literal["clean", "lifelike", "broken"]
KINDS: tuple[Kind, ...] = ("clean", "lifelike", "broken")
# Columns of charts that tell several things in one cell; the invented ones hold them only where a fault is planted.
NOT_KEPT = {"measurements": ("dimensions",), "sessions": ("side", "also_site", "also_side")}
FLAWS = {"clean": ((), 0), "lifelike": (flaws.COMMON, 8), "broken": (flaws.EVERY, 10)}
# Stories whose wounds carry no fault of a row besides, so that what a check finds there is the story.
APART = (
    "vanished", "coccyx_becomes_sacrum", "debrided_grows", "contraindicated", "wound_not_named", "five_wounds",
)  # fmt: skip
LINE = "\n"


@dataclass(frozen=True, eq=False)
class Invention:
    """An invented export. Cells of `tables` are text, as in the files; `truth` and `starters` are what was planted.

    `starters` has a row a started wound: see kit.synthetic.group.starters; days are dates, blank for never.
    """

    kind: Kind
    seed: int
    tables: dict[str, pd.DataFrame]
    truth: dict
    starters: pd.DataFrame
    plan_text: str


def invent(kind: Kind, seed: int = SEED) -> Invention:
    """The invented group's export: `clean`, `lifelike` (stories and about 1% faulty rows) or `broken` (every fault).

    All three tell of the same people, wounds, starts and true closings. Raises ValueError for another kind.
    """
    if kind not in KINDS:
        raise ValueError(f"kind: expected one of {', '.join(KINDS)}")
    return told_of(kind, seed, group.settle(seed))


def told_of(kind: Kind, seed: int, world: Group) -> Invention:
    """The export of a group that is settled already."""
    told, planted = (group.tables(world, lifelike=False), []) if kind == "clean" else stories.lifelike(world)
    draft = Draft({name: as_text(name, frame) for name, frame in told.items()}, *_spared(kind, world, planted))
    for label in _rows_of(planted, "vanished", "coccyx_becomes_sacrum"):
        draft.mark("measurements", label, "vanished", "")
    names, number = FLAWS[kind]
    for name in names:
        flaws.PLANTERS[name](draft, stream(seed, f"{kind} {name}"), number)
    tables, numbers, faults = draft.finish()
    truth = {
        "set": kind,
        "seed": seed,
        "speed_multiplied_by": EFFECTS,
        "closed_within_twelve_weeks": _shares(starters(world)),
        "stories": [_astold_of(story, numbers) for story in planted],
        "faults": faults.to_dict("records"),
    }
    return Invention(kind, seed, tables, truth, _dated(starters(world)), plan_text(kind))


def _spared(kind: Kind, world: Group, planted: list[Story]) -> tuple[Iterable[str], Iterable[str]]:
    wounds = {wound for story in planted if story.name in APART for wound in story.wounds}
    if kind == "broken":
        return wounds, ()
    fine = world.people.loc[world.people["facility"] == FINE, "resident"]
    return wounds | set(world.sores.loc[world.sores["resident"].isin(fine), "wound"]), fine


def _rows_of(planted: list[Story], *names: str) -> list[int]:
    return [label for story in planted if story.name in names for label in story.rows["measurements"]]


def _astold_of(story: Story, numbers: dict[str, pd.Series]) -> dict:
    told = {"story": story.name, "says": story.says, "facility": story.facility}
    if story.days:
        told |= {"from": written(story.days[0]), "to": written(story.days[1])}
    told |= {"residents": list(story.residents), "wounds": list(story.wounds)}
    rows = {table: sorted(int(numbers[table][label]) for label in labels) for table, labels in story.rows.items()}
    return {key: value for key, value in (told | {"rows": rows}).items() if value}


def _shares(truth: pd.DataFrame) -> list[dict]:
    """Of the wounds started on each regimen, how many closed within twelve weeks, with the start and without."""
    rows = []
    for regimen in REGIMENS:
        arm = truth[truth["regimen"] == regimen]
        shares = {name: round(float(arm[f"closed_{name}"].mean()), 4) for name in ("with", "without")}
        points = round(100 * (arm["closed_with"] - arm["closed_without"]).mean(), 1)
        rows.append({"regimen": regimen, "started": len(arm), **shares, "points": float(points)})
    return rows


def _dated(truth: pd.DataFrame) -> pd.DataFrame:
    days = ["start_day", "closes_with", "closes_without", "left_day"]
    dates = {name: truth[name].map(lambda day: "" if np.isnan(day) else written(day)) for name in days}
    return truth.assign(**dates)


PLAN = """\
# {title}
# Written before the data were looked at; a change gives the plan another fingerprint.

[program]
name = "Invented group of four facilities"
basis = "operations"

[windows]
quarter_begins = {quarter}
cutoff = {cutoff}
cohort_months = 24

# What is treated here is an open wound: a stage 1 injury is intact skin.
[cohort]
stages = ["2", "3", "4", "unstageable", "deep_tissue"]

# Looking every quarter until a difference shows would find one by chance: which quarter decides is said beforehand.
[comparison]
decides = {decides}

# What a session should be; the rest stands as in the README. Two of the houses turn the polarity every three days.
[protocol]
polarity = "negative"
turning_facilities = ["Tarnwick", "Ostervane"]

[[regimens]]
name = "monopolar stimulation"
modality = "stimulation"
setup = "monopolar"

[[regimens]]
name = "bipolar stimulation"
modality = "stimulation"
setup = "bipolar"

[[regimens]]
name = "ultrasound"
modality = "ultrasound"
"""


def plan_text(kind: Kind) -> str:
    """The study plan that goes with a set."""
    title = f"Study plan of the invented export ({kind})"
    days = {"quarter": at(2026, 4, 1), "cutoff": CUTOFF, "decides": at(2026, 12, 31)}
    return PLAN.format(title=title, **{name: written(day) for name, day in days.items()})


def write(invention: Invention, folder: str | Path) -> None:
    """Writes the seven tables, study-plan.toml, truth.json and truth.csv; the same invention gives the same bytes."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name in TABLES:
        frame = invention.tables[name]
        idle = [column for column in NOT_KEPT.get(name, ()) if (frame[column] == "").all()]
        _put(folder / f"{name}.csv", frame.drop(columns=idle).to_csv(index=False, lineterminator=LINE))
    _put(folder / "study-plan.toml", invention.plan_text)
    _put(folder / "truth.json", _json(invention.truth))
    _put(folder / "truth.csv", invention.starters.to_csv(index=False, lineterminator=LINE))


def write_all(folder: str | Path, seed: int = SEED) -> None:
    """Writes the three sets into `folder`/clean, `folder`/lifelike and `folder`/broken, the workbook into messy."""
    world = group.settle(seed)
    for kind in KINDS:
        write(told_of(kind, seed, world), Path(folder) / kind)
    messy.write(Path(folder) / "messy")


def _put(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline=LINE)


def _json(truth: dict) -> str:
    """JSON with a line for each story and each fault: short to read, and short to compare."""
    parts = []
    for key, value in truth.items():
        if isinstance(value, list):
            lines = f",{LINE}".join(f"  {json.dumps(item)}" for item in value)
            parts.append(f' "{key}": [{LINE}{lines}{LINE} ]' if value else f' "{key}": []')
        else:
            parts.append(f' "{key}": {json.dumps(value)}')
    return "{" + LINE + f",{LINE}".join(parts) + LINE + "}" + LINE
