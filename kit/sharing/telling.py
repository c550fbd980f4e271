"""Which numbers the shareable sheet tells: enough people behind each and behind its rest, and nothing to work out."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from kit.plan import Plan
from kit.sharing.searching import about, known_small, touches, whole_percent

SIDES = ("came after", "came without")  # the two sides of the comparison: both are told, or neither


def told(counts: pd.DataFrame, plan: Plan, issued: Iterable[pd.DataFrame] = ()) -> pd.DataFrame:
    """The numbers that may be told, as they are printed. Columns out: shared, things, some, all_of, per_hundred (whole
    percent), about_all (to the nearest ten), is_shared, weighed (the share is one of the comparison).

    `counts` are of `kit.sharing.counted`; `issued` are the rows of every sheet of the same quarter that was issued
    before. A number is held back (`is_shared` is False and its numbers are empty) where fewer than the plan's `fewest`
    things or residents stand behind it or behind its rest, and where the exact search would find a small group or a
    small change because of it.
    """
    fewest = plan.sharing.fewest
    rows = _printed(counts)
    enough = (counts[["in_some", "people_in", "people_out"]] >= fewest).all(axis=1)
    shared = (enough & (counts["in_all"] - counts["in_some"] >= fewest)).to_numpy(dtype=bool)
    _both_sides(rows, shared)
    for before in [rows.head(0), *issued]:
        while small := known_small(_asked(rows[shared]), _asked(before), fewest):
            shared[_last_of(rows, shared, small[0])] = False
            _both_sides(rows, shared)
    hidden = {name: rows[name].where(shared) for name in ("per_hundred", "about_all")}
    return rows.assign(is_shared=shared, **hidden)


def worked_out(rows: pd.DataFrame, issued: Iterable[pd.DataFrame], fewest: int) -> list[str]:
    """What a reader of a sheet and of those issued before could work out; empty where nothing is small for certain."""
    now = _asked(rows[rows["is_shared"]])
    return [name for before in (now.head(0), *issued) for name in known_small(now, _asked(before), fewest)]


def _printed(counts: pd.DataFrame) -> pd.DataFrame:
    pairs = zip(counts["in_some"], counts["in_all"], strict=True)
    own = np.array([whole_percent(some, of) if of else np.nan for some, of in pairs], dtype=float)
    weighed = np.floor(100 * counts["weighed"].to_numpy(dtype=float) + 0.5)
    rows = counts[["shared", "things", "some", "all_of"]].reset_index(drop=True)
    percent = np.where(np.isnan(weighed), own, weighed)
    return rows.assign(
        per_hundred=percent, about_all=counts["in_all"].map(about).to_numpy(dtype=float), weighed=~np.isnan(weighed)
    )


def _asked(rows: pd.DataFrame) -> pd.DataFrame:
    """What the search may read of printed rows: a weighed share says nothing certain of counts."""
    rows = rows[rows["about_all"].notna()]
    return rows.assign(per_hundred=rows["per_hundred"].mask(rows["weighed"].astype(bool)))


def _both_sides(rows: pd.DataFrame, shared: np.ndarray) -> None:
    sides = rows["shared"].isin(SIDES).to_numpy()
    shared[sides] = shared[sides].all()


def _last_of(rows: pd.DataFrame, shared: np.ndarray, small: str) -> int:
    """The last number told that touches a count in danger: those that stand first matter most."""
    touched = [small in touches(row["some"], row["all_of"]) for row in rows.to_dict("records")]
    return int(np.flatnonzero(shared & touched).max())
