"""An invented group of many facilities, with what truly sets some of them apart; made when asked for, never kept."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit.plan import WEEK
from kit.synthetic import export, group
from kit.synthetic.starts import USUAL_CARE
from kit.synthetic.world import FACILITIES, SEED
from kit.vocabulary import TABLES

FIRST = ("Quell", "Tarn", "Oster", "Brindle", "Wend", "Harl", "Mosk", "Penn", "Rill", "Sall")
LAST = ("moor", "wick", "vane", "mere")
FASTER, SLOWER = 2.2, 0.4  # how many times as fast wounds close in the two facilities that differ
PEOPLE = ("resident", "wound", "therapist", "assessor")


@dataclass(frozen=True, eq=False)
class Many:
    """`tables`: cells as text, as in the files. Planted: wounds close faster in `faster` and slower in `slower`; in
    `all_start` every wound that could be started was, in `none_starts` none."""

    tables: dict[str, pd.DataFrame]
    plan_text: str
    facilities: tuple[str, ...]
    faster: str
    slower: str
    all_start: str
    none_starts: str


def many(facilities: int = 40, seed: int = SEED) -> Many:
    """Groups like the invented one, put together under names of their own. Raises ValueError beyond forty."""
    if not 4 <= facilities <= len(FIRST) * len(LAST) or facilities % len(FACILITIES):
        raise ValueError("facilities: a multiple of four, 4 to 40")
    groups = [_group(number, seed) for number in range(facilities // len(FACILITIES))]
    tables = {name: pd.concat([one[name] for one in groups], ignore_index=True) for name in TABLES}
    planted = [name_of(0, place) for place in range(len(FACILITIES))]
    return Many(
        tables=_all_started(tables, planted[2]),
        plan_text=export.plan_text("clean").replace("four facilities", f"{facilities} facilities"),
        facilities=tuple(sorted(tables["residents"]["facility"].unique())),
        faster=planted[0],
        slower=planted[1],
        all_start=planted[2],
        none_starts=planted[3],
    )


def name_of(number: int, place: int) -> str:
    """The name of the facility at a place of a group; the first group has the names of the invented one."""
    return FIRST[(number + place) % len(FIRST)] + LAST[place]


def _group(number: int, seed: int) -> dict[str, pd.DataFrame]:
    """One group's tables; the first holds what is planted."""
    paces = {FACILITIES[0].name: FASTER, FACILITIES[1].name: SLOWER} if number == 0 else {}
    never = (FACILITIES[3].name,) if number == 0 else ()
    told = export.told_of("clean", seed + number, group.settle(seed + number, paces, never)).tables
    homes = {facility.name: name_of(number, place) for place, facility in enumerate(FACILITIES)}
    return {name: _renamed(frame, number, homes) for name, frame in told.items()}


def _renamed(frame: pd.DataFrame, number: int, homes: dict[str, str]) -> pd.DataFrame:
    """Pseudonyms with a letter of their own group after their first: R0101 becomes RA0101."""
    letter = chr(ord("A") + number)
    own = {name: frame[name].str.replace(r"^(.)", rf"\1{letter}", regex=True) for name in PEOPLE if name in frame}
    return frame.assign(**own, **({"facility": frame["facility"].map(homes)} if "facility" in frame else {}))


def _all_started(tables: dict[str, pd.DataFrame], facility: str) -> dict[str, pd.DataFrame]:
    """In one facility only wounds stay that started, first seen so late that they do so in the first week they can."""
    people = tables["residents"].loc[tables["residents"]["facility"] == facility, "resident"]
    theirs = set(tables["wounds"].loc[tables["wounds"]["resident"].isin(people), "wound"])
    sizes = tables["measurements"]
    begins = tables["sessions"].groupby("wound")["day"].min()
    before = (pd.to_datetime(sizes["wound"].map(begins)) - pd.to_datetime(sizes["day"])).dt.days  # the start
    last = before.where(before >= 0).groupby(sizes["wound"]).transform("min")
    entry = before.where(before >= last + USUAL_CARE).groupby(sizes["wound"]).transform("min")
    kept = theirs & set(sizes.loc[(last < WEEK) & entry.notna(), "wound"])
    early = (before > entry) | ((before > last) & (before <= entry - USUAL_CARE))
    gone = theirs - kept
    cut = {name: frame[~frame["wound"].isin(gone)] if "wound" in frame else frame for name, frame in tables.items()}
    return {**cut, "measurements": sizes[~sizes["wound"].isin(gone) & ~(sizes["wound"].isin(kept) & early)]}


def write(made: Many, folder: str | Path) -> None:
    """The tables and study-plan.toml, in a folder; the same invention gives the same bytes."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    for name, frame in made.tables.items():
        (folder / f"{name}.csv").write_text(frame.to_csv(index=False, lineterminator="\n"), "utf-8", newline="\n")
    (folder / "study-plan.toml").write_text(made.plan_text, "utf-8", newline="\n")
