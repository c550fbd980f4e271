"""Faults that a row shows only beside others: of its own wound, of the wound next to it, of another person.

A check says which rows of a frame show it and changes nothing. Every threshold is common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.intake.contradictions import DATED, Tables, person_of
from kit.intake.sizes import ALIKE

COPIED_ABOVE = 1.0  # cm2; a smaller wound may well look the same on a ruler
TIMES, COARSE_TIMES = 3, 5  # in a row; more where both sides are read to the half centimetre
NEXT_ROUND = 14  # days
JOINED_ABOVE = 1.0  # cm2; less than that comes and goes with the ruler
ABOUT = 0.8  # share of an area that counts as about the area
TREATED_LONG, TYPED_LATE = 14, 14  # days
NEW_NAME = 45  # days between the last record of one name and the first of the next


def copied(measurements: pd.DataFrame) -> pd.Series:
    """The same length, width and depth for the third time in a row or more, in an open wound above 1 cm2.

    Where both sides are whole or half centimetres it takes the fifth time: a coarse ruler shows nothing of a slow
    healing. Of the invented rounds that copy nothing, one size in a thousand is marked.
    """
    rows = in_order_of_days(measurements)
    length, width, depth = (rows[name].to_numpy(dtype=float) for name in ("length", "width", "depth"))
    wound, same = rows["wound"].to_numpy(), np.zeros(len(rows), dtype=bool)
    same[1:] = (wound[1:] == wound[:-1]) & (length[1:] == length[:-1]) & (width[1:] == width[:-1])
    same[1:] &= (depth[1:] == depth[:-1]) | (np.isnan(depth[1:]) & np.isnan(depth[:-1]))
    places = np.arange(len(rows))
    times = places - np.maximum.accumulate(np.where(same, 0, places)) + 1
    enough = np.where((length % 0.5 == 0) & (width % 0.5 == 0), COARSE_TIMES, TIMES)
    large = rows["size"].to_numpy(dtype=float) > COPIED_ABOVE
    return pd.Series((times >= enough) & large, index=rows.index).reindex(measurements.index)


def in_order_of_days(measurements: pd.DataFrame) -> pd.DataFrame:
    """The measurements in the order of wound and day; the frame itself where they stand so."""
    wound, day = measurements["wound"].to_numpy(), measurements["day"].to_numpy()
    rises = (wound[1:] > wound[:-1]) | ((wound[1:] == wound[:-1]) & (day[1:] >= day[:-1]))
    return measurements if rises.all() else measurements.sort_values(["wound", "day"], kind="stable")


def late(measurements: pd.DataFrame) -> pd.Series:
    """Typed in more than two weeks after its day."""
    return (measurements["entered"] - measurements["day"] > TYPED_LATE).fillna(False).astype(bool)


def open_after_surgery(measurements: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    """Measured open after a surgeon closed it; where a closing was measured before, it is reopened and not this."""
    shut = measurements["day"].where(measurements["state"] == "closed").groupby(measurements["wound"]).transform("min")
    after = measurements["day"] > measurements["wound"].map(_surgery(departures))
    return (measurements["state"] == "open") & after & ~(shut < measurements["day"])


def treated_when_closed(sessions: pd.DataFrame, measurements: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    """Sessions that took place more than two weeks after the wound closed, with no open measurement between."""
    surgery, measured = _surgery(departures), measurements[["wound", "day", "state"]].dropna()
    whose = np.concatenate([measured["wound"].to_numpy(), surgery.index.to_numpy()])
    day = np.concatenate([measured["day"].to_numpy(), surgery.to_numpy(dtype=np.int64)])
    shut = np.append((measured["state"] == "closed").to_numpy(), np.ones(len(surgery), dtype=bool))
    asked = sessions.loc[sessions["wound"].notna() & (sessions["status"] != "missed"), ["wound", "day"]]
    known, sought = whose.astype(np.int64), asked["wound"].to_numpy(dtype=np.int64)
    order = np.lexsort((day, known))
    known, day, shut = known[order], day[order], shut[order]
    follows = np.append(False, (known[1:] == known[:-1]) & shut[:-1])
    since = day[np.maximum.accumulate(np.where(shut & ~follows, np.arange(len(day)), 0))] if len(day) else day
    treated = asked["day"].to_numpy()
    last = _last_before(known, day, sought, treated)
    found, long = last >= 0, np.zeros(len(asked), dtype=bool)
    long[found] = shut[last[found]] & (treated[found] - since[last[found]] > TREATED_LONG)
    return pd.Series(long, index=asked.index).reindex(sessions.index, fill_value=False)


def _last_before(wounds: np.ndarray, days: np.ndarray, wound: np.ndarray, day: np.ndarray) -> np.ndarray:
    """The place of the last of these (in order of wound and day) that is of a wound and not after a day; else -1."""
    if not len(wounds):
        return np.full(len(wound), -1)
    first = min(days.min(), day.min(initial=days.min()))
    times = max(days.max(), day.max(initial=days.max())) - first + 1
    place = np.searchsorted(wounds * times + (days - first), wound * times + (day - first), side="right") - 1
    return np.where((place >= 0) & (wounds[place] == wound), place, -1)


def _surgery(departures: pd.DataFrame) -> pd.Series:
    closures = departures[(departures["reason"] == "surgical_closure") & departures["wound"].notna()]
    return closures.groupby("wound")["day"].min()


def merged(wounds: pd.DataFrame, measurements: pd.DataFrame, departures: pd.DataFrame) -> pd.Series:
    """Wounds that end open while another at the same site of the same person grows by about them at its next round.

    The other is measured at least once more after that, so that a missed round is not taken for an end.
    """
    ends, sizes = _edge(measurements, "last"), _sizes(measurements)
    pairs = _same_place(wounds).merge(ends, on="wound")
    pairs = _rounds(pairs, sizes)
    grown = pairs["after"] - pairs["before"] >= ABOUT * pairs["size"]
    still = pairs["other"].map(sizes.groupby("wound")["day"].max()) > pairs["after_day"]
    gone = departures[["resident", "day"]].rename(columns={"day": "gone"})
    around = pairs.reset_index().merge(gone, on="resident")
    around = around.loc[(around["gone"] - around["day"]).between(0, NEXT_ROUND), "index"]
    told = pairs[grown & still & ~pairs.index.isin(around) & ~pairs["wound"].isin(_surgery(departures).index)]
    return wounds["wound"].isin(told["wound"])


def split(wounds: pd.DataFrame, measurements: pd.DataFrame) -> pd.Series:
    """Wounds first seen while another at the same site of the same person shrinks by about them since its last round.

    A wound whose onset is recorded before that last round was there already.
    """
    begins = _edge(measurements, "first")
    pairs = _same_place(wounds).merge(begins.assign(day=begins["day"] - 1), on="wound")
    pairs = _rounds(pairs, _sizes(measurements))
    shrunk = (pairs["before"] - pairs["after"]).between(ABOUT * pairs["size"], pairs["size"] / ABOUT)
    young = ~(pairs["onset"] < pairs["before_day"]).fillna(False).astype(bool)
    return wounds["wound"].isin(pairs.loc[shrunk & young, "wound"])


def _edge(measurements: pd.DataFrame, which: str) -> pd.DataFrame:
    """The first or last measurement of each wound, where it is open and large enough to tell."""
    edge = _of_each_wound(measurements, which, ["wound", "day", "size"])
    return edge[edge["size"] >= JOINED_ABOVE]


def _of_each_wound(measurements: pd.DataFrame, which: str, columns: list[str]) -> pd.DataFrame:
    """The first or last measurement of each wound, in the order of wounds: these columns."""
    ordered = in_order_of_days(measurements)
    other = ordered["wound"].to_numpy()[1:] != ordered["wound"].to_numpy()[:-1]
    ends = np.append(True, other) if which == "first" else np.append(other, True)
    return ordered.loc[ends[: len(ordered)].astype(bool), columns]


def _sizes(measurements: pd.DataFrame) -> pd.DataFrame:
    return measurements.loc[measurements["size"] > 0, ["wound", "day", "size"]]


def _same_place(wounds: pd.DataFrame) -> pd.DataFrame:
    """Every two wounds of one person at one site and side: wound, other, resident, onset."""
    placed = wounds.loc[wounds["site"].notna(), ["wound", "resident", "site", "side", "onset"]]
    placed = placed.assign(site=placed["site"].cat.codes, side=placed["side"].cat.codes)
    others = placed.drop(columns="onset").rename(columns={"wound": "other"})
    pairs = placed.merge(others, on=["resident", "site", "side"])
    return pairs.loc[pairs["wound"] != pairs["other"], ["wound", "other", "resident", "onset"]]


def _rounds(pairs: pd.DataFrame, sizes: pd.DataFrame) -> pd.DataFrame:
    """The pairs with the other wound's size in the two weeks up to `day`, and in the two weeks after it."""
    pairs = pairs.reset_index(drop=True)
    known = pairs[["other", "day"]].reset_index().merge(sizes.rename(columns={"wound": "other"}), on="other")
    since = known["day_y"] - known["day_x"]
    before = known[since.between(-NEXT_ROUND, 0)].sort_values("day_y").drop_duplicates("index", keep="last")
    after = known[since.between(1, NEXT_ROUND)].sort_values("day_y").drop_duplicates("index")
    told = {}
    for name, rows in (("before", before), ("after", after)):
        rows = rows.set_index("index")
        told |= {name: rows["size"], f"{name}_day": rows["day_y"]}
    return pairs.join(pd.DataFrame(told, index=pairs.index))


def renamed(tables: Tables) -> pd.Series:
    """Wounds of a person who seems to have had another pseudonym before.

    All wounds of the one end open, with no death and no departure, and within 45 days of that person's last record of
    any kind the other's records begin, in the same facility, with the same wounds: as many, of the same kind, site and
    side, each at most half as large again or as small. Sex must agree and age within a year, where known. Either fits
    nobody else. Days must be of one calendar, and departures told at all: without them every end looks like this.
    Nobody is made one: the mark only says where to look.
    """
    wounds = tables["wounds"]
    if tables["departures"].empty:
        return pd.Series(False, index=wounds.index)
    people = _spans_of_people(tables).join(_traits(tables["residents"]), how="left")
    edges = {name: _seen(tables, name) for name in ("last", "first")}
    ended = edges["last"][edges["last"]["resident"].isin(_lost(tables))]
    began = edges["first"][edges["first"]["day"] - edges["first"]["resident"].map(people["first"]) <= NEXT_ROUND]
    pairs = _near_in_time(ended, began, people)
    pairs = pairs[pairs["resident"] != pairs["resident_new"]]
    pairs = pairs[(pairs["size"] / pairs["size_new"]).between(1 / ALIKE, ALIKE)]
    old, new = (people.reindex(pairs[name]).reset_index(drop=True) for name in ("resident", "resident_new"))
    pairs = pairs[_one_person(old, new).to_numpy()]
    couples = pairs.groupby(["resident", "resident_new"])[["wound", "wound_new"]].nunique().reset_index()
    for name, edge in (("", ended), ("_new", began)):
        all_of = edge.groupby("resident")["wound"].nunique()
        couples = couples[couples[f"wound{name}"] == couples[f"resident{name}"].map(all_of)]
    alone = ~couples["resident"].duplicated(keep=False) & ~couples["resident_new"].duplicated(keep=False)
    told = pairs.merge(couples.loc[alone, ["resident", "resident_new"]])
    return wounds["wound"].isin(told["wound_new"])


def _spans_of_people(tables: Tables) -> pd.DataFrame:
    """The day of each person's first and last record of any kind."""
    days = [(name, day) for name, day in DATED.items()] + [("spans", "to_day"), ("departures", "returned")]
    people = np.concatenate([person_of(tables[name], tables["wounds"]).to_numpy() for name, _ in days])
    told = np.concatenate([tables[name][day].to_numpy(dtype=float, na_value=np.nan) for name, day in days])
    known = ~(np.isnan(people) | np.isnan(told))
    people, told = people[known].astype(np.int64), told[known]
    first, last = (np.full(people.max(initial=-1) + 1, nothing) for nothing in (np.inf, -np.inf))
    np.minimum.at(first, people, told)
    np.maximum.at(last, people, told)
    seen = np.flatnonzero(np.isfinite(first))
    return pd.DataFrame({"first": first[seen], "last": last[seen]}, index=pd.Index(seen.astype(float), name="resident"))


def _traits(residents: pd.DataFrame) -> pd.DataFrame:
    traits = residents.drop_duplicates("resident").set_index("resident")[["facility", "sex", "age"]]
    return traits.assign(sex=traits["sex"].astype(object))


def _near_in_time(ended: pd.DataFrame, began: pd.DataFrame, people: pd.DataFrame) -> pd.DataFrame:
    """Every two wounds of one kind, site and side in one facility, of which one may begin soon after the other ended.

    Days are cut into spans as long as may lie between, so that only those of one span or the next are paired: all pairs
    of a large group would not fit into memory.
    """
    home = people["facility"].fillna("")
    ended = ended.assign(home=ended["resident"].map(home), span=ended["resident"].map(people["last"]) // NEW_NAME)
    began = began.assign(home=began["resident"].map(home), span=began["resident"].map(people["first"]) // NEW_NAME)
    twice = pd.concat([ended, ended.assign(span=ended["span"] + 1)])
    return twice.merge(began, on=["kind", "site", "side", "home", "span"], suffixes=("", "_new")).drop(columns="span")


def _seen(tables: Tables, which: str) -> pd.DataFrame:
    """The first or last measurement of each wound of known kind and site, with whose and what it is."""
    edge = _of_each_wound(tables["measurements"], which, ["wound", "day", "size"])
    what = tables["wounds"][["wound", "resident", "kind", "site", "side"]]
    what = what[what.drop(columns="side").notna().all(axis=1)]
    return what.assign(**{name: what[name].cat.codes for name in ("kind", "site", "side")}).merge(edge, on="wound")


def _lost(tables: Tables) -> pd.Series:
    """People of whom every wound ends open, and who never left but for a stay from which they came back."""
    wounds, departures = tables["wounds"], tables["departures"]
    last = _of_each_wound(tables["measurements"], "last", ["wound", "state"])
    ends = wounds["wound"].map(last.set_index("wound")["state"].astype(object))
    lost = (ends == "open").groupby(wounds["resident"]).all()
    left = departures.loc[departures["returned"].isna(), "resident"]
    return lost.index[lost & ~lost.index.isin(left)]


def _one_person(old: pd.DataFrame, new: pd.DataFrame) -> pd.Series:
    """Whether the second may be the first, by where they live, when they were seen, sex and age."""
    begins = (new["first"] - old["last"]).between(1, NEW_NAME)
    here = old["facility"].fillna("") == new["facility"].fillna("")
    sex = old["sex"].isna() | new["sex"].isna() | (old["sex"] == new["sex"])
    return begins & here & sex & ~((old["age"] - new["age"]).abs() > 1)
