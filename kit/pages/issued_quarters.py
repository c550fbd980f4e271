"""The quarters that were issued before this one, read from the folders of their reports."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from kit.context.trend import POINTS, of_quarter
from kit.pages.folders import folder_name, period_of
from kit.pages.issuing import altered, issued_in
from kit.plan import Plan
from kit.statements.trend import unread

FINDINGS, RUN = "internal/findings.json", "internal/run.json"
# Whatever a file may hold in place of what was written.
BROKEN = (OSError, ValueError, LookupError, TypeError, AttributeError)


@dataclass(frozen=True, eq=False)
class IssuedQuarter:
    """The last issued revision of one quarter: its days, its numbers (`of_quarter`), and how it was made.

    `made_by` holds the fingerprints of export, map and kit, and of the plan's rules; `first_record` is the day of the
    export's first record, None where that report did not keep it.
    """

    quarter: str
    revision: str
    begins: int
    ends: int
    numbers: pd.DataFrame
    made_by: dict[str, str]
    first_record: int | None


@dataclass(frozen=True, eq=False)
class Issued:
    """`quarters`: each quarter issued before this one, oldest first; `unread`: a sentence for each that is left out."""

    quarters: tuple[IssuedQuarter, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def last(self) -> IssuedQuarter | None:
        """The last quarter before this one."""
        return self.quarters[-1] if self.quarters else None

    def by_other_rules(self, plan: Plan) -> list[str]:
        """The names of quarters whose plan had other rules than this one, oldest first."""
        return [one.quarter for one in self.quarters if one.made_by["rules"] != plan.rules]

    @property
    def numbers(self) -> pd.DataFrame:
        """All numbers of all quarters, with the columns `kit.context.trend.POINTS`."""
        frames = [
            one.numbers.assign(
                quarter=one.quarter, quarter_begins=one.begins, quarter_ends=one.ends, revision=one.revision
            )
            for one in self.quarters
        ]
        return pd.concat(frames, ignore_index=True)[list(POINTS)] if frames else pd.DataFrame(columns=POINTS)


NOTHING = Issued()


def issued_quarters(reports: Path, scope: str, plan: Plan) -> Issued:
    """The quarters of a scope that ended before the plan's quarter begins, each by its last issued revision.

    A quarter whose last issued revision cannot be read, or is no longer as it was issued, is left out and told; what it
    had superseded does not take its place. Without a calendar there are no quarters.
    """
    if plan.cutoff is None:
        return NOTHING
    told, lost = [], []
    for home in sorted((reports / folder_name(scope)).glob("*")):
        revisions = issued_in(home) if home.name != period_of(plan) else []
        if revisions:
            try:
                told.append(_read(revisions[-1]))
            except BROKEN:
                lost.append(unread(home.name, revisions[-1].name))
    before = sorted((one for one in told if one.ends < plan.quarter_begins), key=lambda one: one.ends)
    return Issued(tuple(before), tuple(lost))


def _read(revision: Path) -> IssuedQuarter:
    """Raises one of BROKEN where anything is not as a report writes it."""
    if {FINDINGS, RUN} & set(altered(revision)):
        raise ValueError
    found, run = (json.loads((revision / name).read_text(encoding="utf-8")) for name in (FINDINGS, RUN))
    due = pd.DataFrame(found["delivery"]["due"], columns=["fate", "sessions"])
    trend = found.get("trend", {})  # reports of older kits have none
    first = trend.get("first_record")
    return IssuedQuarter(
        quarter=revision.parent.name,
        revision=revision.name,
        begins=int(found["quarter_begins"]),
        ends=int(found["cutoff"]),
        numbers=_sound(of_quarter(due, found["activity"], found.get("reach"))),
        made_by={name: run["fingerprints"][name] for name in ("export", "map", "kit")} | {"rules": run["rules"]},
        first_record=None if first is None else int(first),
    )


def _sound(numbers: pd.DataFrame) -> pd.DataFrame:
    """Shares of what they are shares of; raises ValueError otherwise."""
    some, of = (numbers[name].to_numpy() for name in ("numerator", "denominator"))
    told = ~np.isnan(some) | ~np.isnan(of)
    if not ((some >= 0) & (some <= of + 1e-6) & np.isfinite(of))[told].all():
        raise ValueError
    return numbers
