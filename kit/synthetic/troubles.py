"""Stories of delivery: what kept the program from being given as it was ordered, and what was given regardless.

Each takes the group and its tables and gives back the tables and what it did, by wound, person and row label. The
first session of a wound is never touched: it decides the regimen, and the planted truth hangs on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from kit.synthetic import care
from kit.synthetic.group import Group
from kit.synthetic.world import BROKEN_DEVICE, CUTOFF, FINE, OUTBREAK, UNDERDOSED, UNRECORDED, Episode

OTHERWISE = ("out_of_building", "payer")  # missed for a reason that would have held anyway
Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True)
class Story:
    """What was planted. `rows` holds, by table, the labels of the rows concerned; `days` its first and last day."""

    name: str
    says: str
    facility: str = ""
    days: tuple[int, int] | None = None
    residents: tuple[str, ...] = ()
    wounds: tuple[str, ...] = ()
    rows: Mapping[str, list[int]] = field(default_factory=dict)


def of_sessions(story: Story, tables: Tables, where: pd.Series | np.ndarray) -> Story:
    """The same story with the sessions it concerns, and their wounds."""
    rows = tables["sessions"][where]
    return replace(story, wounds=tuple(sorted(rows["wound"].unique())), rows={"sessions": rows.index.tolist()})


def place_of(group: Group, rows: pd.DataFrame) -> np.ndarray:
    """The building of each row of a table that holds `row`, the number of the wound."""
    return group.people["facility"].to_numpy()[group.sores["person"].to_numpy()[rows["row"]]]


def _during(group: Group, rows: pd.DataFrame, episode: Episode) -> np.ndarray:
    return (place_of(group, rows) == episode.facility) & episode.covers(rows["day"].to_numpy())


def _later(sessions: pd.DataFrame) -> pd.Series:
    """Sessions that took place and are not a wound's first."""
    return (sessions["status"] != "missed") & sessions.duplicated("row")


def outbreak(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"]
    where = _during(group, rows, OUTBREAK) & ~rows["reason"].isin(OTHERWISE)
    tables = {**tables, "sessions": care.missed(rows, where, "isolation")}
    says = "Six weeks of isolation: every session missed, most rounds fallen out."
    story = Story("outbreak", says, OUTBREAK.facility, (OUTBREAK.begins, OUTBREAK.ends))
    return tables, of_sessions(story, tables, where)


def broken_device(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"]
    where = _during(group, rows, BROKEN_DEVICE) & ~rows["reason"].isin(OTHERWISE)
    tables = {**tables, "sessions": care.missed(rows, where, "equipment")}
    says = "The only device was broken for ten days."
    story = Story("broken_device", says, BROKEN_DEVICE.facility, (BROKEN_DEVICE.begins, BROKEN_DEVICE.ends))
    return tables, of_sessions(story, tables, where)


def therapist_leaves(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"].copy()
    after = (place_of(group, rows) == UNRECORDED.facility) & (rows["day"] >= UNRECORDED.begins)
    rows.loc[after, "therapist"] = "S01"
    where = _during(group, rows, UNRECORDED) & (rows["status"] != "missed")
    rows.loc[where, ["minutes", "volts"]] = np.nan
    tables = {**tables, "sessions": rows}
    says = "S02 leaves; for eight weeks nobody records minutes or volts."
    story = Story("therapist_leaves", says, UNRECORDED.facility, (UNRECORDED.begins, UNRECORDED.ends))
    return tables, of_sessions(story, tables, where)


def underdosed(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"].copy()
    where = (place_of(group, rows) == UNDERDOSED) & (rows["modality"] == "stimulation") & (rows["status"] == "given")
    where &= rows["minutes"] > 25
    rows.loc[where, "minutes"] = rng.integers(20, 26, where.sum())
    tables = {**tables, "sessions": rows}
    says = "Stimulation runs 20 to 25 minutes instead of 45 to 60. It changes nothing in the true healing."
    return tables, of_sessions(Story("underdosed", says, UNDERDOSED), tables, where)


def polarity_not_kept(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"].copy()
    monopolar = (place_of(group, rows) == UNDERDOSED) & (rows["setup"] == "monopolar")
    flipped = monopolar & _later(rows) & (rng.random(len(rows)) < 0.4)
    turned = {"negative": "positive", "positive": "negative"}
    rows.loc[flipped, "polarity"] = rows.loc[flipped, "polarity"].map(turned)
    tables = {**tables, "sessions": rows}
    says = f"Polarity should turn every three days from the start, negative first: kept in {FINE}, not here."
    return tables, of_sessions(Story("polarity_not_kept", says, UNDERDOSED), tables, flipped)


def motor_level(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"].copy()
    able = (place_of(group, rows) == "Quellmoor") & (rows["sensation"] == "sensory") & _later(rows)
    chosen = rng.choice(rows.index[able], 9, replace=False)
    rows.loc[chosen, "sensation"] = "motor"
    rows.loc[chosen, "volts"] = rows.loc[chosen, "volts"] + 60
    tables = {**tables, "sessions": rows}
    says = "A few sessions were strong enough to move muscle."
    return tables, of_sessions(Story("motor_level", says, "Quellmoor"), tables, rows.index.isin(chosen))


def refusals(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    rows = tables["sessions"]
    able = _treated_people(group, rows, at_least=25)
    chosen = rng.choice(able, 4, replace=False)
    person = group.sores["person"].to_numpy()[rows["row"]]
    where = np.isin(person, chosen) & _later(rows) & (rng.random(len(rows)) < 0.45)
    tables = {**tables, "sessions": care.missed(rows, where, "refused")}
    says = "Most refusals come from a few people."
    story = Story("refusals", says, residents=_names(group, chosen))
    return tables, of_sessions(story, tables, where)


def _treated_people(group: Group, rows: pd.DataFrame, at_least: int) -> np.ndarray:
    """People with enough sessions, outside the building in which everything is fine."""
    person = pd.Series(group.sores["person"].to_numpy()[rows["row"]])
    counts = person[place_of(group, rows) != FINE].value_counts()
    return np.sort(counts[counts >= at_least].index.to_numpy())


def _names(group: Group, persons: np.ndarray) -> tuple[str, ...]:
    return tuple(sorted(group.people["resident"].to_numpy()[np.asarray(persons)]))


def payer_ends(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """The payer stops paying; four more sessions are planned and missed for that, and then there are none."""
    rows, spans = tables["sessions"], tables["spans"]
    started = group.sores.groupby("person")["start"].count()
    able = [who for who in _treated_people(group, rows, at_least=24) if started[who] == 1]
    chosen = rng.choice(able, 5, replace=False)
    person = group.sores["person"].to_numpy()[rows["row"]]
    unpaid, dropped = np.zeros(len(rows), bool), np.zeros(len(rows), bool)
    for who in chosen:
        theirs = person == who
        stop = int(rows.loc[theirs, "day"].sort_values().iloc[rng.integers(12, theirs.sum() - 6)])
        after = theirs & (rows["day"] >= stop).to_numpy()
        nth = np.cumsum(after)
        unpaid |= after & (nth <= 4)
        dropped |= after & (nth > 4)
        spans = _payer_stops(group, spans, who, stop)
    unpaid &= rows.duplicated("row").to_numpy()
    told = care.missed(rows, unpaid, "payer")
    tables = {**tables, "sessions": told[~dropped], "spans": spans}
    says = "The payer ends the treatment of several people before their wounds have closed."
    story = Story("payer_ends", says, residents=_names(group, chosen))
    return tables, of_sessions(story, tables, tables["sessions"].index.isin(rows.index[unpaid]))


def _payer_stops(group: Group, spans: pd.DataFrame, who: int, day: int) -> pd.DataFrame:
    """The payer of that day pays to the day before; from that day on the person pays, and nothing is ordered."""
    name, wounds = group.people["resident"][who], group.sores.loc[group.sores["person"] == who, "wound"]
    spans = spans.copy()
    running = (spans["from_day"] < day) & ~(spans["to_day"] < day)
    paying = running & (spans["resident"] == name) & (spans["span"] == "payer")
    ordered = running & spans["wound"].isin(wounds) & spans["value"].isin([*care.STAFF_SETUP])
    private = spans[paying].assign(value="private", from_day=day)
    private.index = range(spans.index.max() + 1, spans.index.max() + 1 + len(private))
    spans.loc[paying | ordered, "to_day"] = day - 1
    # A payer who would have come later does not come: the person pays to the end.
    later = (spans["resident"] == name) & (spans["span"] == "payer") & (spans["from_day"] >= day)
    private["to_day"] = group.people["gone"][who]
    return pd.concat([spans[~later], private])


def contraindicated(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """Two weeks with a contraindication on the chart, and sessions given inside them."""
    rows, spans = tables["sessions"], tables["spans"]
    here = rows[(place_of(group, rows) == "Quellmoor") & (rows["status"] == "given")]
    starts = group.sores["start"].to_numpy()[here["row"]]
    counts = here.loc[here["day"].between(starts + 12, starts + 25), "row"].value_counts()
    row = int(rng.choice(np.sort(counts[counts >= 8].index.to_numpy())))
    begins = int(group.sores["start"][row]) + 12
    name = group.sores["resident"][row]
    line = {"resident": name, "span": "contraindication", "value": "yes", "from_day": begins, "to_day": begins + 13}
    added = pd.DataFrame([line], index=[spans.index.max() + 1])
    tables = {**tables, "spans": pd.concat([spans, added])}
    inside = rows["day"].between(begins, begins + 13) & (rows["status"] != "missed")
    where = (group.sores["resident"].to_numpy()[rows["row"]] == name) & inside
    says = "Sessions were given while a contraindication stood on the chart."
    story = of_sessions(Story("contraindicated", says, "Quellmoor", (begins, begins + 13), (name,)), tables, where)
    return tables, replace(story, rows={**story.rows, "spans": added.index.tolist()})


def wound_not_named(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """A month of the therapy log that names the person and the site; each points to one wound only."""
    rows = tables["sessions"].copy()
    alone = ~group.sores.duplicated(["person", "site"], keep=False).to_numpy()
    able = (place_of(group, rows) == "Brindlemere") & alone[rows["row"]] & rows.duplicated("row").to_numpy()
    where = able & rows["day"].between(CUTOFF - 40, CUTOFF - 15).to_numpy()
    story = of_sessions(
        Story("wound_not_named", "The therapy log names the person and the site, not the wound.", "Brindlemere"),
        {"sessions": rows},
        where,
    )
    rows.loc[where, "resident"] = group.sores["resident"].to_numpy()[rows.loc[where, "row"]]
    rows.loc[where, "site"] = group.sores["site"].to_numpy()[rows.loc[where, "row"]]
    rows.loc[where, "wound"] = ""
    return {**tables, "sessions": rows}, story


# Sessions that fall away come first and changes to those that took place last, so that no story undoes another.
TROUBLES = (
    payer_ends,
    outbreak,
    broken_device,
    refusals,
    therapist_leaves,
    underdosed,
    polarity_not_kept,
    motor_level,
    contraindicated,
    wound_not_named,
)
