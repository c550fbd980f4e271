"""Which wound a session was of, where the log names person and site: one wound fits, or the session stays unlinked."""

from __future__ import annotations

import numpy as np
import pandas as pd

# Charts use these words for one and the same wound; common practice, no source.
REGIONS = (("sacrum", "coccyx"), ("trochanter", "hip"))
BEFORE = 14  # days; treatment may begin before a wound is first measured in the export; common practice, no source
NAMED, LINKED, HALF, SEVERAL, NONE = "named", "linked", "half", "several", "none"
ALSO = {"site": "also_site", "side": "also_side"}


def link(
    sessions: pd.DataFrame, wounds: pd.DataFrame, measurements: pd.DataFrame, unread: pd.Series
) -> tuple[pd.DataFrame, pd.Series]:
    """Sessions with their wound, and how each was tied to it: named, linked, half, several or none, by the index.

    A session that names no wound is linked where exactly one wound of its person fits: one that the export shows on
    that day (from two weeks before its first measurement to its closing), at the site that the log names, or in the
    same region where no wound is at that very site; side against side where both are told. Without a site the person's
    only wound of that day fits. None fits a session of which a site was told and not understood (`unread`), nor one at
    an `other` site, which may be a hand or a breast.

    A row that names two sites becomes a row for each, if each fits one wound. Where only one of them does and none fits
    the other, as when that has closed, it is a session of the one (half).

    Columns in: sessions wound, resident, site, side, also_site, also_side, day; wounds wound, resident, site, side;
    measurements wound, day, state. What several wounds fit is never guessed.
    """
    unnamed = sessions["wound"].isna() & sessions["resident"].notna()
    named = np.array([NONE, NAMED], dtype=object)[sessions["wound"].notna().to_numpy(dtype=np.int64)]
    how = pd.Series(named, index=sessions.index)
    if not unnamed.any():
        return sessions, how
    lives = _lives(wounds, measurements)
    asked = sessions[unnamed].assign(unread=unread[unnamed])
    first, told = _fitting(asked, lives)
    double = asked["also_site"].notna()
    again = asked[double].drop(columns=list(ALSO)).rename(columns={column: name for name, column in ALSO.items()})
    second, also = _fitting(again, lives)
    told[double] = [_both(one, other) for one, other in zip(told[double], also, strict=True)]
    swaps = double & first.isna() & (told == HALF)
    done = sessions.assign(wound=sessions["wound"].where(~unnamed, first.where(told.isin([LINKED, HALF]))))
    done.loc[swaps[swaps].index, ["wound", "site", "side"]] = again.assign(wound=second)[["wound", "site", "side"]]
    how[unnamed] = told
    more = again.drop(columns="unread").assign(wound=second, also_site=None, also_side=None)[(told == LINKED)[double]]
    if more.empty:
        return done, how
    rows = pd.concat([done, more.astype(done.dtypes.to_dict())])
    return rows.reset_index(drop=True), pd.concat([how, how[more.index]]).reset_index(drop=True)


def _both(one: str, other: str) -> str:
    """What becomes of a row with two sites, each of which was tied in its own way."""
    if SEVERAL in (one, other):
        return SEVERAL
    return one if one == other else HALF


def _lives(wounds: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """Each wound with the days on which a session may have been of it."""
    days = measurements.sort_values("day").groupby("wound").agg(
        first=("day", "min"), last=("day", "max"), state=("state", "last")
    )  # fmt: skip
    known = wounds[["wound", "resident", "site", "side"]].join(days, on="wound")
    closed = known["state"].astype(object) == "closed"
    return known.assign(
        begins=known["first"].fillna(-np.inf) - BEFORE, ends=known["last"].where(closed).fillna(np.inf)
    ).drop(columns=["first", "last", "state"])


def _fitting(asked: pd.DataFrame, lives: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """The wound that fits each session, and whether one, several or none does."""
    rows = asked.loc[~asked["unread"], ["resident", "site", "side", "day"]].reset_index(names="row")
    pairs = rows.merge(lives, on="resident", suffixes=("", "_of"))
    pairs = pairs[pairs["day"].between(pairs["begins"], pairs["ends"])]
    site, of = pairs["site"].astype(object), pairs["site_of"].astype(object)
    sides = pairs["side"].astype(object), pairs["side_of"].astype(object)
    beside = sides[0].isna() | sides[1].isna() | (sides[0] == sides[1])
    alone = pairs.groupby("row")["wound"].transform("size") == 1
    # The closest way in which anything fits decides; a wound at the very site goes before one in its region.
    level = np.select(
        [
            beside & (site == of) & (site != "other"),
            beside & (_region(site) == _region(of)) & (site != "other"),
            beside & (site.isna() | (of.isna() & alone)),
        ],
        [0, 1, 2],
        3,
    )
    pairs = pairs.assign(level=level)[level < 3]
    best = pairs[pairs["level"] == pairs.groupby("row")["level"].transform("min")]
    fits = best.groupby("row")["wound"].agg(["first", "size"]).reindex(asked.index)
    told = np.select([fits["size"] == 1, fits["size"] > 1], [LINKED, SEVERAL], NONE)
    return fits["first"], pd.Series(told, index=asked.index, dtype=object)


def _region(site: pd.Series) -> pd.Series:
    region = {name: names[0] for names in REGIONS for name in names}
    return site.map(lambda name: region.get(name, name)).astype(object)
