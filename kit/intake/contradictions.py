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
    places = _places(frame, key)
    order = np.argsort(places, kind="stable")
    if (order[1:] < order[:-1]).any():
        frame, places = frame.iloc[order], places[order]
    frame, same = anew(frame), _twins(places)
    if same.any():
        # Few rows share a key, and only they need be compared cell by cell.
        rest = [column for column in TABLES[name].names if column not in key]
        place = np.arange(len(frame))
        place[same] = frame[same].sort_values([*key, *rest, "source_row"], kind="stable").index
        frame = anew(frame.loc[place])
    return frame


def anew(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with its rows counted anew, from 0; no cell is copied."""
    out = frame.copy(deep=False)
    out.index = pd.RangeIndex(len(out))
    return out


def tied(frame: pd.DataFrame, key: list[str]) -> np.ndarray:
    """Rows whose key other rows have as well."""
    places = _places(frame, key)
    if (places[1:] >= places[:-1]).all():
        return _twins(places)
    return pd.Series(places).duplicated(keep=False).to_numpy(copy=True)


def _twins(places: np.ndarray) -> np.ndarray:
    """Which of these are the same as the one before or after."""
    beside = np.concatenate([[False], places[1:] == places[:-1], [False]])
    return (beside[1:] | beside[:-1])[: len(places)]


def _places(frame: pd.DataFrame, key: list[str]) -> np.ndarray:
    """A whole number for each row, in the order of the keys and the same for the same key; what is missing is last."""
    places, several = np.zeros(len(frame), dtype=np.int64), 1
    for name in key if len(frame) else []:
        ranks, count = _ranks(frame[name])
        if several * count >= 1 << 62:  # too many to be told apart by one number: only those that there are
            there, places = np.unique(places, return_inverse=True)
            several = len(there)
        places, several = places * count + ranks, several * count
    return places


def _ranks(column: pd.Series) -> tuple[np.ndarray, int]:
    """Whole numbers from 0 in the order of a column's values, and how many there may be."""
    if column.dtype == object:
        column = column.astype("category")
    if isinstance(column.dtype, pd.CategoricalDtype):
        ranks = column.cat.codes.to_numpy().astype(np.int64)
        missing = ranks < 0
    else:
        values = column.to_numpy()
        missing = np.isnan(values) if values.dtype.kind == "f" else np.zeros(len(values), dtype=bool)
        ranks = np.where(missing, 0, values).astype(np.int64)
    told = ranks[~missing] if missing.any() else ranks
    low, high = (int(told.min()), int(told.max())) if len(told) else (0, 0)
    return np.where(missing, high + 1, ranks) - low, high - low + 2


def changed(frame: pd.DataFrame, **columns: pd.Series | np.ndarray) -> pd.DataFrame:
    """The frame with other columns; those that stay are not copied."""
    out = frame.copy(deep=False)
    for name, values in columns.items():
        out[name] = values
    return out


def repeated(frame: pd.DataFrame, name: str) -> pd.Series:
    """All but the first of rows that say the same in every column."""
    again = tied(frame, list(TABLES[name].key))
    if again.any():
        again[again] = frame[again].duplicated(list(TABLES[name].names), keep="first")
    return pd.Series(again, index=frame.index)


def repeated_beside(sessions: pd.DataFrame) -> pd.Series:
    """All but the first of the sessions that one row of the export tells of the same wound."""
    rows = sessions["source_row"].to_numpy()
    again = np.bincount(rows)[rows] > 1 if len(rows) else np.zeros(0, dtype=bool)
    if again.any():
        again[again] = sessions[again].duplicated(["source_row", "wound"])
    return pd.Series(again, index=sessions.index)


def clashing(frame: pd.DataFrame, name: str, rank: pd.Series | None = None) -> pd.Series:
    """All rows of one key but one: that of the highest rank, and among equals the one with the most cells filled."""
    key = list(TABLES[name].key)
    among = tied(frame, key)
    if not among.any():
        return pd.Series(among, index=frame.index)
    rows = frame[among]
    filled = rows[list(TABLES[name].names)].notna().sum(axis=1)
    worth = rows[key].assign(_rank=0.0 if rank is None else rank.reindex(rows.index), _filled=filled)
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
    owner = frame["wound"].map(wounds.set_index("wound")["resident"]).astype(wounds["resident"].dtype)
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
