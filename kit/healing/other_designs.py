"""Wounds compared by other designs: by regression, from week 4 on, between rounds, in one person, and the wrong way."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.contrasts import CAUSES
from kit.healing.cox import cox
from kit.healing.curves import incidence
from kit.healing.description import DRAWN_FROM
from kit.healing.emulation import Layout, Rows
from kit.healing.intervals import share_closed_between
from kit.healing.other_arms import EMPTY, Other, Sample, closed_by, in_points, last_weights
from kit.healing.resampling import Z
from kit.plan import WEEK
from kit.words import count

LANDMARK = 4 * WEEK
WITHIN_FROM = 10  # residents that a comparison within persons needs; common practice, no source
# Leaving ends what is seen and is none of them, as in the answer: as if nobody left the building.
COMPETING = tuple(name for name in CAUSES if name != "left")


def since_entry(episodes: pd.DataFrame, wounds: np.ndarray) -> pd.DataFrame:
    """The named wounds in days since entry.

    Columns out: wound, resident, facility, last (end of follow-up), start (of the first session; infinite for none),
    outcome, log_size (at entry; missing where none was measured).
    """
    own = episodes[episodes["wound"].isin(wounds)].reset_index(drop=True)
    size = own["entry_size"].to_numpy(dtype=float)
    return own[["wound", "resident", "facility"]].assign(
        last=(own["end_day"] - own["entry_day"]).to_numpy(dtype=np.int64),
        start=(own["start_day"] - own["entry_day"]).astype("Float64").to_numpy(dtype=float, na_value=np.inf),
        outcome=own["outcome"].astype(object),
        log_size=np.log(size, out=np.full(len(own), np.nan), where=size > 0),
    )


def by_regression(wounds: pd.DataFrame) -> Other:
    """The rate of closing after the first session over that before any, as a hazard ratio (`kit.healing.cox`).

    Time since entry, each facility with a rate of its own, levelled for log entry size, errors by resident (Andersen &
    Gill 1982, Ann Stat 10:1100). Death and departure end what is seen: the rate is that of closing alone.
    """
    known = wounds[wounds["log_size"].notna() & (wounds["last"] > 0)]
    rows = before_and_after(known)
    found = f"{count(len(known), 'wound')}, of which {int(rows['treated'].sum())} started"
    try:
        fit = cox(rows["from"], rows["to"], rows["closed"], rows[["treated", "log_size"]], rows["resident"],
                  strata=rows["facility"])  # fmt: skip
    except ValueError:
        return Other(rests_on=found, not_computed="too few closings or starts for a ratio")
    ratio, error = fit.coefficients[0], fit.robust[0]
    low, value, high = np.exp([ratio - Z * error, ratio, ratio + Z * error])
    return Other(float(value), float(low), float(high), found)


def before_and_after(wounds: pd.DataFrame) -> pd.DataFrame:
    """Each wound cut at its first session: the columns of `since_entry`, from, to, treated (0 or 1), closed."""
    cut = np.minimum(wounds["start"], wounds["last"])
    before = wounds.assign(**{"from": 0.0, "to": cut, "treated": 0.0})
    after = wounds.assign(**{"from": cut, "to": wounds["last"].astype(float), "treated": 1.0})
    rows = pd.concat([before, after], ignore_index=True)
    rows = rows[rows["to"] > rows["from"]]
    return rows.assign(closed=(rows["outcome"] == "closed") & (rows["to"] == rows["last"]))


def open_at_landmark(wounds: pd.DataFrame, layout: Layout, drawn: np.ndarray) -> Other:
    """Those still open and in view four weeks after entry, by whether they had started; shares by the horizon after.

    Anderson, Cain & Gelber 1983, J Clin Oncol 1:710, from memory.
    """
    here = wounds[wounds["last"] > LANDMARK]
    started = here["start"] <= LANDMARK
    rest = here.assign(days=here["last"] - LANDMARK)
    return _apart(rest[started], rest[~started], layout, drawn, "had started by then", "had not")


def ever_and_never(wounds: pd.DataFrame, layout: Layout, drawn: np.ndarray) -> Other:
    """The wrong way: whoever ever started, from the first session, beside whoever never did, from entry."""
    ever = wounds[wounds["start"] < wounds["last"]]
    ever = ever.assign(days=ever["last"] - ever["start"].astype(np.int64))
    never = wounds[np.isinf(wounds["start"])]
    return _apart(ever, never.assign(days=never["last"]), layout, drawn, "ever started", "never did")


def _apart(first: pd.DataFrame, second: pd.DataFrame, layout: Layout, drawn: np.ndarray, one: str, other: str) -> Other:
    """The difference of two groups' shares closed by the horizon (columns resident, days, outcome)."""
    people = first["resident"].nunique(), second["resident"].nunique()
    found = f"{count(len(first), 'wound')} that {one} and {len(second)} that {other}"
    if min(people) < DRAWN_FROM:
        fewest = count(min(people), "resident")
        return Other(rests_on=found, not_computed=f"{fewest} on one side, ten are needed")
    return in_points(np.stack([closed_shares(group, layout, drawn) for group in (first, second)]), people, found)


def closed_shares(group: pd.DataFrame, layout: Layout, drawn: np.ndarray) -> np.ndarray:
    """The Aalen-Johansen share closed by the horizon, for each set of counts of residents (people x sets)."""
    counts = drawn[np.searchsorted(layout.people, group["resident"].to_numpy(dtype=str))]
    curve = incidence(group["days"].to_numpy(), group["outcome"].to_numpy(), COMPETING, counts)
    closed = curve.at(layout.horizon)[COMPETING.index("closed")]
    return np.where(counts.sum(axis=0) > 0, closed, np.nan)


def between_rounds(sample: Sample, episodes: pd.DataFrame) -> Other:
    """The difference when a closing lies anywhere after the last round that saw the wound open; it has no limits.

    Rows lost before the horizon are left out, and the weights of the others grow for them (see `last_weights`).
    """
    shares, rows = [], []
    for arm in sample.both:
        after, upto = bounds(sample.layout, arm.rows, episodes)
        weight = np.where(arm.rows.whole, last_weights(arm, sample.through)[:, 0], 0.0)
        if not weight.any():
            return Other(not_computed=EMPTY)
        try:
            shares.append(share_closed_between(after, upto, sample.layout.horizon, weight))
        except ValueError:
            return Other(not_computed="the shares do not settle")
        rows.append(sample.layout.weeks["wound"].to_numpy()[arm.rows.week[arm.rows.whole]])
    first, second = (count(len(np.unique(wounds)), "wound") for wounds in rows)
    told = f"{first} that started and {second} beside, followed to the horizon or to their end; no range is worked out"
    return Other(100 * (shares[0] - shares[1]), rests_on=told)


def bounds(layout: Layout, rows: Rows, episodes: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Days from the clock after which, and up to which, each row closed; infinite where it was not seen to.

    A session shows a wound open as a round does. Who died or went to hospital within the horizon never closed in it.
    """
    own = layout.weeks.iloc[rows.week]
    last_open = own["wound"].map(episodes.set_index("wound")["last_open_day"])
    seen_open = np.maximum(last_open.to_numpy(dtype=float), own["start_day"].fillna(0).to_numpy(dtype=float))
    clock, end = own["ends"].to_numpy(), own["end_day"].to_numpy(dtype=float)
    closed, over = (own["outcome"] == "closed").to_numpy(), end - clock <= layout.horizon
    gone = over & own["outcome"].isin(["died", "hospital", "surgical_closure"]).to_numpy()
    after = np.where(gone, layout.horizon, np.clip(seen_open - clock, 0, layout.horizon))
    return after, np.where(closed, end - clock, np.inf)


def within_person(layout: Layout, drawn: np.ndarray) -> Other:
    """The difference between wounds of one person, one started while another could have been, averaged over persons.

    Two wounds stand together where the day on which the one is judged lies in a week in which the other could have
    been started and was not; both must be followed to the horizon or to their end.
    """
    pairs = side_by_side(layout)
    people = pairs.index.to_numpy()
    found = count(len(people), "resident")
    if len(people) < WITHIN_FROM:
        return Other(rests_on=found, not_computed=f"{found}, ten are needed")
    counts = drawn[np.searchsorted(layout.people, people.astype(str))]
    total = counts.sum(axis=0)
    shares = np.divide(pairs.to_numpy().T @ counts, total, out=np.full((2, len(total)), np.nan), where=total > 0)
    return in_points(shares, (len(people), len(people)), f"{found} with a wound of each kind at one time")


def side_by_side(layout: Layout) -> pd.DataFrame:
    """By resident: the share closed by the horizon of the wounds that started, and of those beside (first, second)."""
    sides = []
    for rows in (layout.starters, layout.others):
        own = layout.weeks.iloc[rows.week].assign(closed=closed_by(rows).astype(float))
        sides.append(own[rows.whole][["resident", "wound", "begins", "ends", "closed"]])
    pairs = sides[0].merge(sides[1], on="resident", suffixes=("", "_beside"))
    pairs = pairs[(pairs["wound"] != pairs["wound_beside"])
                  & pairs["ends"].between(pairs["begins_beside"], pairs["ends_beside"])]  # fmt: skip
    first = pairs.drop_duplicates("wound").groupby("resident")["closed"].mean()
    return pd.DataFrame({"first": first, "second": pairs.groupby("resident")["closed_beside"].mean()})
