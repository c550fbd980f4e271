"""Faults that a wound's course shows, planted: slips of unit, sizes copied forward, merged wounds, people renamed."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.plan import date_of
from kit.synthetic.draft import Draft, last, middle, plus, short_trips, size
from kit.synthetic.world import CUTOFF, FIRST

Rng = np.random.Generator
END = date_of(FIRST + CUTOFF)


def _beside(draft: Draft, column: str, days: int = 35) -> pd.DataFrame:
    """A size with those of the rounds before and after it, and how far these stand apart; missing where long ago."""
    frame = draft.tables["measurements"]
    day, value = pd.to_datetime(frame["day"], errors="coerce"), size(frame, column)
    before, after = (
        value.groupby(frame["wound"]).shift(step).where(day.groupby(frame["wound"]).diff(step).abs().dt.days <= days)
        for step in (1, -1)
    )
    both = pd.DataFrame({"low": np.minimum(before, after), "high": np.maximum(before, after)})
    return both.assign(
        before=before, value=value, off=value / np.sqrt(before * after), apart=both["high"] / both["low"]
    )


def _even(draft: Draft, off: float, apart: float) -> pd.Series:
    """Middle rows of which both sides are close to those of rounds that are close to one another."""
    able = middle(draft)
    for side in ("length", "width"):
        beside = _beside(draft, side)
        able &= beside["off"].between(1 / off, off) & (beside["apart"] <= apart) & (beside["value"] >= 0.8)
    return able


def jump(draft: Draft, rng: Rng, n: int) -> None:
    """A lost decimal point in both sides or in one, a point too many, inches as centimetres and the reverse."""
    frame = draft.tables["measurements"]
    slips = (
        ("", 10, 10),
        ("length", 10, 1),
        ("width", 1, 10),
        ("", 0.1, 0.1),
        ("", 2.54, 2.54),
        ("", 1 / 2.54, 1 / 2.54),
    )
    # Once put right it must not be the same size again: that would be seen as copied.
    sides, of_wound = frame[["length", "width"]], frame.groupby("wound")[["length", "width"]]
    anew = (sides != of_wound.shift(1)).any(axis=1) & (sides != of_wound.shift(-1)).any(axis=1)
    able = _even(draft, 1.04, 1.25) & size(frame, "length").between(2.6, 5.4) & anew
    for number, label in enumerate(draft.take("measurements", able, n, rng)):
        column, *factors = slips[number % len(slips)]
        length, width = frame.loc[label, ["length", "width"]].astype(float) * factors
        draft.change("measurements", label, "jump", column, length=f"{length:.2f}", width=f"{width:.2f}")


def outlying(draft: Draft, rng: Rng, n: int) -> None:
    """Four and a half times as long and as wide as the week before: no slip of unit makes that."""
    frame = draft.tables["measurements"]
    for label in draft.take("measurements", _even(draft, 1.1, 1.3) & (size(frame, "length") < 6), n, rng):
        length, width = 4.5 * frame.loc[label, ["length", "width"]].astype(float)
        draft.change("measurements", label, "outlying", "", length=f"{length:.1f}", width=f"{width:.1f}")


def copied(draft: Draft, rng: Rng, n: int) -> None:
    """Two rounds running repeat a size that was read to the millimetre; the second of them is the third time."""
    frame, sides = draft.tables["measurements"], ["length", "width"]
    first, earlier, next_ = (frame.groupby("wound")[sides].shift(step) for step in (2, 3, -1))
    numbers = first.apply(pd.to_numeric, errors="coerce")
    able = middle(draft) & (frame.groupby("wound")["state"].shift(2) == "open")
    able &= (first != earlier).any(axis=1) & (first != next_).any(axis=1)
    able &= (numbers.prod(axis=1) > 1.2) & (numbers % 0.5 != 0).any(axis=1)
    for label in draft.take("measurements", able, n, rng):
        place = frame.index.get_loc(label)
        again = frame.iloc[place - 2][["length", "width", "depth"]].to_dict()
        frame.loc[frame.index[place - 1], list(again)] = list(again.values())
        draft.change("measurements", label, "copied", "", **again)


def late(draft: Draft, rng: Rng, n: int) -> None:
    frame = draft.tables["measurements"]
    for label in draft.take("measurements", middle(draft) & (frame["day"] < plus(END.isoformat(), -60)), n, rng):
        entered = plus(frame.loc[label, "day"], rng.integers(15, 50))
        draft.change("measurements", label, "late", "entered", entered=entered)


def closed_before(draft: Draft, rng: Rng, n: int) -> None:
    """Measured open a week after a surgeon closed it, as often as there are such; treated weeks after it closed."""
    frame, gone, sessions = (draft.tables[name] for name in ("measurements", "departures", "sessions"))
    owner = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"]
    ends = last(draft)
    surgery = gone[gone["reason"] == "surgical_closure"].set_index("wound")["day"]
    able = ends & (frame["state"] == "open") & (frame["wound"].map(surgery) < plus(END.isoformat(), -10))
    for label in draft.take("measurements", able, n, rng, or_fewer=True):
        draft.slip_in("measurements", label, "closed_before", day=plus(surgery[frame.loc[label, "wound"]], 7))
    closing = frame[ends & (frame["state"] == "closed") & (frame["day"] < plus(END.isoformat(), -40))]
    closes = sessions["wound"].map(closing.set_index("wound")["day"])
    stayed = ~sessions["wound"].map(owner).isin(gone["resident"])
    able = last(draft, "sessions") & (sessions["status"] == "given") & closes.notna() & stayed
    for label in draft.take("sessions", able, n // 2, rng):
        draft.slip_in("sessions", label, "closed_before", day=plus(closes[label], rng.integers(15, 40)))


def _new(draft: Draft, table: str, letter: str) -> str:
    """A pseudonym that nobody has yet."""
    taken = set(draft.tables[table][table.removesuffix("s")])
    return next(name for name in (f"{letter}{number:04d}" for number in range(8000, 9000)) if name not in taken)


def _stayed(draft: Draft) -> pd.Series:
    """Measurements of people who never left, more than four months before the cut-off."""
    frame = draft.tables["measurements"]
    owner = draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"]
    return ~frame["wound"].map(owner).isin(draft.tables["departures"]["resident"]) & (
        frame["day"] < plus(END.isoformat(), -120)
    )


def _wound_row(draft: Draft, wound: str) -> int:
    wounds = draft.tables["wounds"]
    return int(wounds.index[wounds["wound"] == wound][0])


BESIDE = ("2.0", "1.2")  # cm; the wound that joins its neighbour, or is left beside it
AREA_BESIDE = 2.4  # cm2


def merged(draft: Draft, rng: Rng, n: int) -> None:
    """A wound measured once, and at the next round its neighbour is larger by its area for good."""
    _beside_another(draft, rng, n, "merged", AREA_BESIDE)


def split(draft: Draft, rng: Rng, n: int) -> None:
    """A wound measured once, at the round from which its neighbour is smaller by its area for good."""
    _beside_another(draft, rng, n, "split", -AREA_BESIDE)


def _beside_another(draft: Draft, rng: Rng, n: int, fault: str, gain: float) -> None:
    area = size(draft.tables["measurements"], "length") * size(draft.tables["measurements"], "width")
    # It must not have changed so much by itself, or the other fault would be seen at the same round.
    steady = area.groupby(draft.tables["measurements"]["wound"]).diff().abs() < AREA_BESIDE / 3
    able = _stayed(draft) & _even(draft, 1.15, 1.4) & _at_a_site(draft) & area.between(4, 20) & steady
    for label in draft.take("measurements", able, n // 2, rng):
        frame = draft.tables["measurements"]
        place = frame.index.get_loc(label)
        # The last round before and the first one after the two became one, or the one became two.
        before, after = frame.index[place - 1 : place + 1] if gain < 0 else frame.index[place : place + 2]
        ratio = np.sqrt((area[before] + gain) / area[after])
        later = (frame["wound"] == frame.loc[label, "wound"]) & (frame["day"] >= frame.loc[after, "day"])
        for side in ("length", "width"):
            told = later & (frame[side] != "")
            frame.loc[told, side] = np.maximum(ratio * size(frame, side)[told], 0.1).map("{:.1f}".format)
        _lost_neighbour(draft, label, fault)


def _at_a_site(draft: Draft) -> pd.Series:
    """Measurements whose rounds are a fortnight apart at most, of wounds whose site and onset are known."""
    frame, wounds = draft.tables["measurements"], draft.tables["wounds"]
    placed = wounds.loc[(wounds["site"] != "") & wounds["onset"].str.match("20"), "wound"]
    return frame["wound"].isin(placed) & _beside(draft, "length", days=14).notna().all(axis=1)


def _lost_neighbour(draft: Draft, label: int, fault: str) -> None:
    """Another wound at the same site, measured on that day and never again."""
    old, new = draft.tables["measurements"].loc[label, "wound"], _new(draft, "wounds", "W")
    draft.slip_in("wounds", _wound_row(draft, old), fault, wound=new, onset="")
    length, width = BESIDE
    draft.slip_in("measurements", label, "vanished", wound=new, length=length, width=width)


def renamed(draft: Draft, rng: Rng, n: int) -> None:
    """From a day on all of a person stands under a new pseudonym; the old one is lost from sight."""
    able = _stayed(draft) & _even(draft, 1.1, 1.3) & _at_a_site(draft) & _untreated_and_alone(draft)
    for label in draft.take("measurements", able, n // 2, rng):
        wound, day = draft.tables["measurements"].loc[label, ["wound", "day"]]
        row, person, name = _wound_row(draft, wound), _new(draft, "residents", "R"), _new(draft, "wounds", "W")
        old = draft.tables["wounds"].loc[row, "resident"]
        people = draft.tables["residents"]
        draft.slip_in("residents", int(people.index[people["resident"] == old][0]), "", resident=person)
        draft.mark("wounds", draft.slip_in("wounds", row, "", wound=name, resident=person), "renamed", "resident")
        for table in ("measurements", "procedures", "spans"):
            _from_then_on(draft, table, day, {"wound": {wound: name}, "resident": {old: person}})
        draft.mark("measurements", label, "vanished", "")


def _untreated_and_alone(draft: Draft) -> pd.Series:
    """Measurements of people with one wound, which was never treated, and with no slip in the row of the person."""
    frame, wounds, people = (draft.tables[name] for name in ("measurements", "wounds", "residents"))
    sound = people.loc[(size(people, "age") <= 120) & (people["continence"] != "dribbles"), "resident"]
    treated = wounds["wound"].isin(draft.tables["sessions"]["wound"])
    alone = ~wounds["resident"].duplicated(keep=False) & ~treated & wounds["resident"].isin(sound)
    return frame["wound"].isin(wounds.loc[alone, "wound"])


def _from_then_on(draft: Draft, table: str, day: str, names: dict[str, dict[str, str]]) -> None:
    """Rows after that day under the new names; what still ran on it ends with it."""
    frame = draft.tables[table]
    begins = frame["from_day" if table == "spans" else "day"]
    for column, of in names.items():
        if column not in frame:
            continue
        theirs = frame[column].isin(of)
        frame.loc[theirs & (begins > day), column] = frame[column].map(of)
        if table == "spans":
            frame.loc[theirs & (begins <= day) & (frame["to_day"] > day), "to_day"] = day


def unsaid(draft: Draft, rng: Rng, n: int) -> None:
    """Nobody wrote the return down, and the wounds were measured on two days or more after it."""
    back = short_trips(draft) & (_rounds_within_hold(draft) >= 2)
    for label in draft.take("departures", back, n, rng):
        draft.change("departures", label, "unsaid", "returned", returned="")


def _rounds_within_hold(draft: Draft) -> pd.Series:
    """On how many days each person was measured within thirty days of each departure."""
    gone, frame = draft.tables["departures"], draft.tables["measurements"]
    owner = frame["wound"].map(draft.tables["wounds"].drop_duplicates("wound").set_index("wound")["resident"])
    seen = pd.DataFrame({"resident": owner, "seen": pd.to_datetime(frame["day"], errors="coerce")}).drop_duplicates()
    pairs = gone[["resident"]].assign(gone=pd.to_datetime(gone["day"]), label=gone.index).merge(seen, on="resident")
    days = (pairs["seen"] - pairs["gone"]).dt.days
    return pairs[days.between(1, 30)].groupby("label").size().reindex(gone.index, fill_value=0)
