"""The weeks of each wound as a therapist meets them: a week begins with a measurement and ends before the next."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import WEEK, Plan

EARLY_ROUND = 2  # a round may come two days early and still begin a week; common practice, no source


def wound_weeks(episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Every day from a wound's entry to its end, each in exactly one week.

    A week begins with a measurement and lasts as long as its size is fresh (the plan's `fresh_days`), or until the next
    measurement or the closing. Time beyond that is cut into weeks that were not measured. A measurement fewer than five
    days after the last that began a week begins none, so that frequent measuring does not make a wound count more
    often.

    Columns in: episodes as `kit.wounds.episodes` returns them, of wounds seen open; measurements wound, day, state and
    size.
    Columns out: wound, week (since entry), begins and ends (days, both included), measured (begins with a size).
    In the order of wound and begins.
    """
    anchors = _anchors(episodes, measurements, plan)
    following = anchors.groupby("code")["begins"].shift(-1)
    until = following.fillna(anchors["last"] + 1).to_numpy(dtype=np.int64)
    begins, measured = anchors["begins"].to_numpy(), anchors["measured"].to_numpy()
    first = np.minimum(np.where(measured, plan.sizes.fresh_days, WEEK), until - begins)
    pieces = 1 + -(-(until - begins - first) // WEEK)
    row = np.repeat(np.arange(len(anchors)), pieces)
    number = np.arange(len(row)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    start = begins[row] + np.where(number > 0, first[row] + WEEK * (number - 1), 0)
    length = np.where(number > 0, WEEK, first[row])
    return pd.DataFrame(
        {
            "wound": anchors["wound"].to_numpy()[row],
            "week": (start - anchors["entry"].to_numpy()[row]) // WEEK,
            "begins": start,
            "ends": np.minimum(start + length, until[row]) - 1,
            "measured": measured[row] & (number == 0),
        }
    )


def _anchors(episodes: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The days on which a week begins by itself: entry, measurements far enough apart, and a closing."""
    known = episodes.sort_values("wound", ignore_index=True)
    code = pd.Series(np.arange(len(known)), index=known["wound"])
    entry, last = known["entry_day"].to_numpy(dtype=np.int64), known["end_day"].to_numpy(dtype=np.int64)
    sized = sized_open(measurements)
    row = sized["wound"].map(code)
    visits = pd.DataFrame({"code": row, "begins": sized["day"]})[row.notna()].astype("int64")
    visits = visits[visits["begins"].between(entry[visits["code"]], last[visits["code"]])].assign(measured=True)
    # A closing ends the week before it, as an open measurement does: what the next round finds decides no week.
    closes = pd.DataFrame({"code": np.arange(len(known)), "begins": last})[(known["outcome"] == "closed").to_numpy()]
    visits = pd.concat([visits, closes.assign(measured=False)])
    entries = pd.DataFrame({"code": np.arange(len(known)), "begins": entry, "measured": False})
    both = pd.concat([visits, entries]).sort_values(["code", "begins", "measured"], ascending=[True, True, False])
    both = both.drop_duplicates(["code", "begins"])
    both = both[_spaced(both["code"].to_numpy(), both["begins"].to_numpy())].reset_index(drop=True)
    return both.assign(
        wound=known["wound"].to_numpy()[both["code"]], entry=entry[both["code"]], last=last[both["code"]]
    )


def sized_open(measurements: pd.DataFrame) -> pd.DataFrame:
    """Measurements from which a size is known: open, and above zero."""
    return measurements[(measurements["state"] == "open") & (measurements["size"] > 0)]


def _spaced(code: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Which days stand at least five days after the last kept one of the same wound."""
    least = WEEK - EARLY_ROUND
    new = np.diff(code, prepend=-1) != 0
    keep = new | (np.diff(day, prepend=day[:1]) >= least)
    # Only wounds with two days close together need the slow way: what is kept depends on what was kept before.
    for wound in np.unique(code[~keep]):
        last = -least
        for row in range(*np.searchsorted(code, [wound, wound + 1])):
            keep[row] = day[row] - last >= least or new[row]
            last = day[row] if keep[row] else last
    return keep
