"""Faults of single rows and cells, of every kind the kit looks for, each planted where it stands alone.

A planted row is in the middle of a wound's course unless the fault is about its end, so that setting it aside makes
no other fault of its neighbours. `vanished` is a story, for it is made by rows that are not there.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kit.plan import date_of
from kit.synthetic.draft import Draft, debrided, last, later_sessions, middle, plus, short_trips, size
from kit.synthetic.flaws_of_course import closed_before, copied, jump, late, merged, outlying, renamed, split, unsaid
from kit.synthetic.flaws_of_linking import astray, half, unmatched
from kit.synthetic.world import CUTOFF, FIRST

Rng = np.random.Generator
Planter = Callable[[Draft, Rng, int], None]
END = date_of(FIRST + CUTOFF)
LATER = {"3": "2", "4": "3"}


def duplicate(draft: Draft, rng: Rng, n: int) -> None:
    for table, where in (("measurements", middle(draft)), ("sessions", later_sessions(draft))):
        for label in draft.take(table, where, n, rng):
            draft.slip_in(table, label, "duplicate")


def clash(draft: Draft, rng: Rng, n: int) -> None:
    wide = size(draft.tables["measurements"], "width") >= 0.8
    for label in draft.take("measurements", middle(draft) & wide, n, rng):
        width = float(draft.tables["measurements"].loc[label, "width"])
        draft.slip_in("measurements", label, "clash", width=f"{width - 0.3:.1f}")


def orphan(draft: Draft, rng: Rng, n: int) -> None:
    everywhere = {
        "measurements": middle(draft),
        "sessions": later_sessions(draft),
        "procedures": draft.tables["procedures"]["wound"] != "",
    }
    for table, where in everywhere.items():
        for number, label in enumerate(draft.take(table, where, n // 2, rng)):
            draft.slip_in(table, label, "orphan", wound=f"W90{number:02d}")
    for table, column in (("spans", "resident"), ("departures", "resident"), ("wounds", "resident")):
        filled = draft.tables[table][column] != ""
        for number, label in enumerate(draft.take(table, filled, max(n // 4, 1), rng)):
            own = {"wound": f"W91{number:02d}"} if table == "wounds" else {}
            draft.slip_in(table, label, "orphan", **{column: f"R90{number:02d}"}, **own)


def unseen(draft: Draft, rng: Rng, n: int) -> None:
    nothing = dict.fromkeys(("state", "length", "width", "depth", "undermining"), "")
    for number, label in enumerate(draft.take("measurements", middle(draft), n, rng)):
        words = ("refused", "dressing not removed")[number % 2]
        draft.change("measurements", label, "unseen", "dimensions", dimensions=words, **nothing)


def future(draft: Draft, rng: Rng, n: int) -> None:
    recent = draft.tables["measurements"]["day"] >= plus(END.isoformat(), -10)
    still = last(draft) & recent & (draft.tables["measurements"]["state"] == "open")
    for label in draft.take("measurements", still, n, rng):
        draft.slip_in("measurements", label, "future", day=plus(END.isoformat(), rng.integers(2, 30)))
    for label in draft.take("sessions", later_sessions(draft), n // 2, rng):
        draft.slip_in("sessions", label, "future", day=plus(END.isoformat(), rng.integers(2, 30)))


def after_death(draft: Draft, rng: Rng, n: int) -> None:
    gone = draft.tables["departures"]
    died = gone[(gone["reason"] == "died") & (gone["day"] < plus(END.isoformat(), -15))].set_index("resident")["day"]
    death = draft.tables["wounds"].set_index("wound")["resident"].map(died)
    for table, number in (("measurements", n), ("sessions", n // 4)):
        frame = draft.tables[table]
        ends = frame["wound"].map(death)
        able = ends.notna() & (last(draft) & (frame["state"] == "open") if table == "measurements" else True)
        for label in draft.take(table, able, number, rng, or_fewer=table == "sessions"):
            draft.slip_in(table, label, "after_death", day=plus(ends[label], rng.integers(2, 12)))


def backwards(draft: Draft, rng: Rng, n: int) -> None:
    aids = draft.tables["spans"]["span"].isin(("support_surface", "offloading", "compression", "antibiotic"))
    for label in draft.take("spans", aids, n, rng):
        begins = draft.tables["spans"].loc[label, "from_day"]
        draft.change("spans", label, "backwards", "", to_day=plus(begins, -rng.integers(3, 20)))
    for label in draft.take("departures", short_trips(draft), n // 2, rng):
        day = draft.tables["departures"].loc[label, "day"]
        draft.change("departures", label, "backwards", "", returned=plus(day, -rng.integers(1, 9)))


def swapped(draft: Draft, rng: Rng, n: int) -> None:
    frame = draft.tables["measurements"]
    longer = size(frame, "length") >= size(frame, "width") + 0.3
    for label in draft.take("measurements", middle(draft) & longer, n, rng):
        length, width = frame.loc[label, ["length", "width"]]
        draft.change("measurements", label, "swapped", "width", length=width, width=length)


def _cells(fault: str, *cells: tuple[str, str, str]) -> Planter:
    """A planter that writes a bad value into each of the (table, column, value) in turn."""

    def plant(draft: Draft, rng: Rng, n: int) -> None:
        where = {
            "measurements": middle(draft),
            "sessions": later_sessions(draft),
            "procedures": debrided(draft),
            "spans": draft.tables["spans"]["span"] == "support_surface",
            "departures": short_trips(draft),
        }
        for number in range(n):
            table, column, value = cells[number % len(cells)]
            # A quantity that the row never held is not made up.
            held = draft.tables[table][column] != ""
            able = where.get(table, True) & (held | (column == "to_day"))
            (label,) = draft.take(table, able, 1, rng)
            draft.change(table, label, fault, column, **{column: value})

    return plant


negative = _cells(
    "negative", ("measurements", "depth", "-0.4"), ("sessions", "minutes", "-45"), ("procedures", "pain_before", "-2")
)
impossible = _cells(
    "impossible",
    ("measurements", "depth", "88"), ("sessions", "minutes", "900"), ("residents", "age", "190"),
    ("measurements", "necrosis_share", "400"), ("procedures", "pain_before", "14"),
)  # fmt: skip
garbled = _cells(
    "garbled",
    ("measurements", "depth", "1.2.3"), ("sessions", "minutes", "forty"), ("wounds", "onset", "last spring"),
    ("measurements", "depth", "shallow"), ("spans", "to_day", "soon"),
)  # fmt: skip
unknown = _cells(
    "unknown",
    ("measurements", "tissue", "boggy"), ("sessions", "reaction", "tingling"),
    ("residents", "continence", "dribbles"), ("measurements", "exudate", "weepy"),
)  # fmt: skip
unreadable = _cells(
    "unreadable",
    ("measurements", "day", "2025-02-30"), ("sessions", "day", "2025-13-04"), ("procedures", "day", "undated"),
)  # fmt: skip
blank = _cells(
    "blank",
    ("measurements", "wound", ""), ("sessions", "day", ""), ("measurements", "day", ""), ("sessions", "modality", ""),
    ("procedures", "day", ""), ("spans", "from_day", ""), ("departures", "reason", ""),
)  # fmt: skip


def unsized(draft: Draft, rng: Rng, n: int) -> None:
    for label in draft.take("measurements", middle(draft), n, rng):
        draft.change("measurements", label, "unsized", "", length="", width="")


def mixed(draft: Draft, rng: Rng, n: int) -> None:
    """One row of a wound gives only an ellipse, where all others give length and width."""
    for label in draft.take("measurements", middle(draft), n, rng):
        length, width = draft.tables["measurements"].loc[label, ["length", "width"]].astype(float)
        area = f"{np.pi / 4 * length * width:.1f}"
        draft.change(
            "measurements", label, "mixed", "area",
            length="", width="", area=max(area, "0.1"), area_method="ellipse",
        )  # fmt: skip


def staged(draft: Draft, rng: Rng, n: int) -> None:
    kind = draft.tables["measurements"]["wound"].map(draft.tables["wounds"].set_index("wound")["kind"])
    for label in draft.take("measurements", middle(draft) & (kind != "pressure_injury"), n, rng):
        draft.change("measurements", label, "staged", "stage", stage="3")


def backstaged(draft: Draft, rng: Rng, n: int) -> None:
    frame = draft.tables["measurements"]
    before = frame.groupby("wound")["stage"].shift(1)
    deep = frame["stage"].isin(LATER) & (frame["stage"] == before)
    for label in draft.take("measurements", middle(draft) & deep, n, rng):
        draft.change("measurements", label, "backstaged", "stage", stage=LATER[frame.loc[label, "stage"]])


def contrary(draft: Draft, rng: Rng, n: int) -> None:
    """The first of two closings carries a size; the second still closes the wound."""
    frame = draft.tables["measurements"]
    closed = frame["state"] == "closed"
    first = closed & (frame.groupby("wound")["state"].shift(-1) == "closed")
    for label in draft.take("measurements", first, n, rng):
        draft.change("measurements", label, "contrary", "state", length="0.4", width="0.4")


def reopened(draft: Draft, rng: Rng, n: int) -> None:
    """Open again three weeks after the closing: too late to undo it."""
    frame = draft.tables["measurements"]
    stayed = ~frame["wound"].map(draft.tables["wounds"].set_index("wound")["resident"]).isin(
        draft.tables["departures"]["resident"]
    )
    long_ago = frame["day"] < plus(END.isoformat(), -40)
    # What was treated after the closing must stay closed, or treating it was no fault.
    long_ago &= ~(frame["wound"].map(draft.tables["sessions"].groupby("wound")["day"].max()) > frame["day"])
    for label in draft.take("measurements", last(draft) & (frame["state"] == "closed") & stayed & long_ago, n, rng):
        day = plus(frame.loc[label, "day"], 21)
        draft.slip_in(
            "measurements", label, "reopened",
            day=day, state="open", length="0.6", width="0.4", depth="0.1", tissue="granulation", necrosis_share="0",
        )  # fmt: skip


PLANTERS: dict[str, Planter] = {
    "duplicate": duplicate,
    "clash": clash,
    "swapped": swapped,
    "impossible": impossible,
    "orphan": orphan,
    "unknown": unknown,
    "unsized": unsized,
    "after_death": after_death,
    "backstaged": backstaged,
    "astray": astray,
    "unmatched": unmatched,
    "unseen": unseen,
    "renamed": renamed,
    "closed_before": closed_before,
    "jump": jump,
    "outlying": outlying,
    "merged": merged,
    "split": split,
    "half": half,
    "copied": copied,
    "late": late,
    "future": future,
    "backwards": backwards,
    "negative": negative,
    "garbled": garbled,
    "unreadable": unreadable,
    "blank": blank,
    "mixed": mixed,
    "staged": staged,
    "contrary": contrary,
    "reopened": reopened,
    "unsaid": unsaid,
}
EVERY = tuple(PLANTERS)
COMMON = EVERY[:9]  # what a facility's export holds on any day
