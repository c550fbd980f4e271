"""Invented exports of any number of wounds: the invented group again and again, every time with other people in it."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pandas as pd

from kit.synthetic import group, starts
from kit.synthetic.cells import as_text
from kit.synthetic.export import plan_text
from kit.synthetic.world import FACILITIES
from kit.vocabulary import TABLES

# The four buildings of the invented group make two facilities of 130 to 170 residents.
TOGETHER = {"Tarnwick": 1, "Brindlemere": 1, "Quellmoor": 2, "Ostervane": 2}
EAGER = 2.0  # log odds by which its programs start more than the invented group's: about 20 sessions a wound
NAMED = {"resident": "R", "wound": "W"}


def write_export(folder: Path, wounds: int) -> Path:
    """Writes the seven tables and the plan of at least so many wounds; of one facility of 130 residents for nought.

    Charts are clean of the faults that are planted elsewhere: they cost no time that grows with an export. A started
    wound has as many sessions as the invented group gives it, and more wounds are started.
    """
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "study-plan.toml").write_text(_plan(), encoding="utf-8")
    made, number = 0, 0
    with _eager():
        while number == 0 or made < wounds:
            number += 1
            tables = _group(number)
            tables = _first_facility(tables) if not wounds else tables
            made += len(tables["wounds"])
            for name, frame in tables.items():
                new = number == 1
                frame.to_csv(folder / f"{name}.csv", mode="w" if new else "a", header=new, index=False)
    return folder


@contextmanager
def _eager():
    own = starts.FACILITIES
    starts.FACILITIES = tuple(replace(house, start_level=house.start_level + EAGER) for house in FACILITIES)
    try:
        yield
    finally:
        starts.FACILITIES = own


def _plan() -> str:
    return "\n".join(line for line in plan_text("clean").splitlines() if not line.startswith("turning_facilities"))


def _group(number: int) -> dict[str, pd.DataFrame]:
    told = group.tables(group.settle(number), lifelike=True)
    tables = {name: as_text(name, told[name]) for name in TABLES}
    for frame in tables.values():
        for column, letter in NAMED.items():
            if column in frame:
                frame[column] = [f"{letter}{cell[1:]}x{number:03d}" if cell else "" for cell in frame[column]]
    homes = tables["residents"]["facility"].map(TOGETHER)
    tables["residents"]["facility"] = [f"House {2 * number - 2 + home:04d}" for home in homes]
    return tables


def _first_facility(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    people = tables["residents"]
    people = people[people["facility"] == people["facility"].min()]
    wounds = tables["wounds"][tables["wounds"]["resident"].isin(people["resident"])]
    return {name: _of(frame, people["resident"], wounds["wound"]) for name, frame in tables.items()}


def _of(frame: pd.DataFrame, people: pd.Series, wounds: pd.Series) -> pd.DataFrame:
    theirs = pd.Series(False, index=frame.index)
    for column, own in (("resident", people), ("wound", wounds)):
        theirs |= frame[column].isin(own) if column in frame else False
    return frame[theirs]
