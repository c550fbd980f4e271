"""Rows that cannot stand as they are: each check says which rows of a frame show it and changes nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.vocabulary import TABLES

Tables = dict[str, pd.DataFrame]
DATED = {"measurements": "day", "sessions": "day", "procedures": "day", "departures": "day", "spans": "from_day"}


def in_order(frame: pd.DataFrame, name: str) -> pd.DataFrame:
    """Rows in the order of their key, ties by content: the order in the file must not matter."""
    key = list(TABLES[name].key)
    if _rising(frame, key) is None:
        frame = frame.sort_values(key, kind="stable")
    frame = frame.reset_index(drop=True)
    tied = _tied(frame, key)
    if tied.any():
        # Few rows share a key, and only they need be compared cell by cell.
        rest = [column for column in TABLES[name].names if column not in key]
        place = frame.index.to_numpy().copy()
        place[tied] = frame[tied].sort_values([*key, *rest, "source_row"], kind="stable").index
        frame = frame.loc[place].reset_index(drop=True)
    return frame


def _tied(frame: pd.DataFrame, key: list[str]) -> np.ndarray:
    """Rows whose key other rows have as well."""
    rising = _rising(frame, key)
    if rising is None:
        return frame.duplicated(key, keep=False).to_numpy()
    beside = np.concatenate([[False], ~rising, [False]])
    return (beside[1:] | beside[:-1])[: len(frame)]


def _rising(frame: pd.DataFrame, key: list[str]) -> np.ndarray | None:
    """For rows that stand in the order of their key: which of them are followed by a greater one. None for others."""
    rises, same = np.zeros(max(len(frame) - 1, 0), dtype=bool), np.ones(max(len(frame) - 1, 0), dtype=bool)
    for name in key:
        column = frame[name]
        if column.isna().any():
            return None
        values = (column.cat.codes if isinstance(column.dtype, pd.CategoricalDtype) else column).to_numpy()
        rises |= same & (values[1:] > values[:-1])
        same &= values[1:] == values[:-1]
    return rises if (rises | same).all() else None


def changed(frame: pd.DataFrame, **columns: pd.Series | np.ndarray) -> pd.DataFrame:
    """The frame with other columns; those that stay are not copied."""
    out = frame.copy(deep=False)
    for name, values in columns.items():
        out[name] = values
    return out


def repeated(frame: pd.DataFrame, name: str) -> pd.Series:
    """All but the first of rows that say the same in every column."""
    tied = frame[_tied(frame, list(TABLES[name].key))]
    again = tied.duplicated(list(TABLES[name].names), keep="first")
    return again.reindex(frame.index, fill_value=False)


def repeated_beside(sessions: pd.DataFrame) -> pd.Series:
    """All but the first of the sessions that one row of the export tells of the same wound."""
    several = sessions[sessions["source_row"].duplicated(keep=False)]
    return several.duplicated(["source_row", "wound"]).reindex(sessions.index, fill_value=False)


def clashing(frame: pd.DataFrame, name: str, rank: pd.Series | None = None) -> pd.Series:
    """All rows of one key but one: that of the highest rank, and among equals the one with the most cells filled."""
    key = list(TABLES[name].key)
    tied = frame[_tied(frame, key)]
    filled = tied[list(TABLES[name].names)].notna().sum(axis=1)
    worth = tied[key].assign(_rank=0.0 if rank is None else rank.reindex(tied.index), _filled=filled)
    best = worth.sort_values(["_rank", "_filled"], ascending=False, kind="stable")
    return best.duplicated(key, keep="first").reindex(frame.index, fill_value=False)


def ownerless(frame: pd.DataFrame, people: pd.Series, wounds: pd.Series | None = None) -> pd.Series:
    """Rows that name a person or a wound which is not in the export."""
    bad = pd.Series(False, index=frame.index)
    for column, known in (("resident", people), ("wound", wounds)):
        if column in frame and known is not None:
            bad |= frame[column].notna() & ~frame[column].isin(known)
    return bad


def person_of(frame: pd.DataFrame, wounds: pd.DataFrame) -> pd.Series:
    """Whom each row speaks of: the resident it names, else the one who has its wound."""
    if "wound" not in frame:
        return frame["resident"]
    owner = frame["wound"].map(wounds.set_index("wound")["resident"]).astype(object)
    return frame["resident"].where(frame["resident"].notna(), owner) if "resident" in frame else owner


def after_death(frame: pd.DataFrame, day: str, people: pd.Series, departures: pd.DataFrame) -> pd.Series:
    """On the day of death itself records stand: within a day measurement comes before departure."""
    died = departures[departures["reason"] == "died"].groupby("resident")["day"].min()
    return frame[day] > people.map(died)


def backwards(frame: pd.DataFrame, begins: str, ends: str) -> pd.Series:
    """It ends before it begins."""
    return (frame[ends] < frame[begins]).fillna(False).astype(bool)


def seen_again(tables: Tables, hold: int) -> pd.Series:
    """For each departure the first day on which a person is measured or treated again within the bed hold.

    Only after a stay in hospital whose return is not recorded; missing for all others.
    """
    departures, sessions = tables["departures"], tables["sessions"]
    stays = departures[(departures["reason"] == "hospital") & departures["returned"].isna()]
    wounds = tables["wounds"][tables["wounds"]["resident"].isin(stays["resident"])]
    treated = sessions.loc[sessions["status"].isin(["given", "shortened"]), ["wound", "resident", "day"]]
    measured = tables["measurements"][["wound", "day"]]
    own = measured["wound"].isin(wounds["wound"]), treated["wound"].isin(wounds["wound"]) | treated["resident"].notna()
    seen = [
        pd.DataFrame({"resident": person_of(frame, wounds), "seen": frame["day"]})
        for frame in (measured[own[0]], treated[own[1]])
    ]
    pairs = stays[["resident", "day"]].rename_axis("stay").reset_index().merge(pd.concat(seen), on="resident")
    pairs = pairs[(pairs["seen"] - pairs["day"]).between(1, hold)]
    return pairs.groupby("stay")["seen"].min().reindex(departures.index).astype("Int64")


def only_wound_of(people: pd.Series, wounds: pd.DataFrame) -> pd.Series:
    """The wound of each person who has exactly one; missing for all others."""
    alone = wounds[~wounds["resident"].duplicated(keep=False)]
    return people.map(alone.set_index("resident")["wound"])


def from_first_record(tables: Tables) -> Tables:
    """Days counted from each person's first record, whatever the export counted from."""
    people = {name: person_of(frame, tables["wounds"]) for name, frame in tables.items()}
    firsts = [tables[name][day].groupby(people[name]).min() for name, day in DATED.items() if len(tables[name])]
    first = pd.concat(firsts).groupby(level=0).min() if firsts else pd.Series(dtype="int64")
    return {name: _shifted(frame, name, people[name].map(first)) for name, frame in tables.items()}


def _shifted(frame: pd.DataFrame, name: str, first: pd.Series) -> pd.DataFrame:
    days = [column.name for column in TABLES[name].columns if column.kind == "day"]
    zero = first.astype("float64").fillna(0).astype("int64")
    return frame.assign(**{day: (frame[day] - zero).astype(frame[day].dtype) for day in days})
