"""The last issued quarter counted anew from today's export, beside what was issued."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from kit import __version__
from kit.context.restated import beside
from kit.context.trend import quarter_numbers
from kit.faults import ExportError
from kit.pages.issued_quarters import Issued, IssuedQuarter
from kit.statements.trend import anew, begins_later, not_anew
from kit.study import Study

# What else may have changed since a report was issued, in words.
OTHERS = {"rules": "the plan's rules", "map": "the column map", "kit": "the kit"}


@dataclass(frozen=True, eq=False)
class Restated:
    """The quarter and the revision that was issued, `lines` as `beside` returns them (none where nothing can be counted
    anew), and what is said of them."""

    quarter: str
    revision: str
    lines: pd.DataFrame
    said: list[str]


def restated(study: Study, issued: Issued, again: Callable[[int, int], Study], map_print: str) -> Restated | None:
    """The last quarter issued before the study's own, counted anew; None where none was issued.

    `again` gives the study of today's export as of an earlier quarter, from its first and last day; `map_print` is the
    fingerprint of today's column map.
    """
    last = issued.last
    if last is None:
        return None
    first = first_record(study)
    if first > last.begins and (last.first_record is None or first > last.first_record):
        return _not(last, first, study)
    try:
        today = quarter_numbers(again(last.begins, last.ends))
    except ExportError:  # it reads nothing up to that day, or the facility has nobody yet
        return _not(last, None, study)
    lines = beside(last.numbers, today)
    said = anew(lines, last.quarter, last.revision, _others(last, study, map_print))
    if last.first_record is not None and first > last.first_record:
        said.append(begins_later(first, study.plan))
    return Restated(last.quarter, last.revision, lines, said)


def first_record(study: Study) -> int:
    """The first day on which the export shows a measurement or a session."""
    return int(pd.concat([study.measurements["day"], study.sessions["day"]]).min())


def _not(last: IssuedQuarter, first: int | None, study: Study) -> Restated:
    none = beside(last.numbers, last.numbers).head(0)
    return Restated(last.quarter, last.revision, none, [not_anew(last.quarter, last.revision, first, study.plan)])


def _others(last: IssuedQuarter, study: Study, map_print: str) -> list[str]:
    now = {"rules": study.plan.rules, "map": map_print, "kit": __version__}
    return [words for name, words in OTHERS.items() if last.made_by[name] != now[name]]
