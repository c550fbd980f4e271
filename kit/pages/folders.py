"""Where a run's results lie: numbered revisions that are never overwritten, built unseen."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from kit.faults import ExportError
from kit.plan import Plan, date_of

DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)\d", re.IGNORECASE)  # Windows makes no folder of these
MARKED = re.compile(r"-[0-9a-f]{6}$")  # would pass for the mark of another name


def period_of(plan: Plan) -> str:
    """The name of the quarter's folder: 2026-Q2, or the two ends where it is no calendar quarter."""
    if not plan.calendar:
        return "whole-export" if plan.cutoff is None else f"days-{plan.quarter_begins}-{plan.cutoff}"
    first, last = date_of(plan.quarter_begins), date_of(plan.cutoff)
    quarter = (first.month - 1) // 3 + 1
    ends_next = date_of(plan.cutoff + 1)
    whole = first.day == 1 and first.month % 3 == 1 and ends_next.day == 1
    if whole and (ends_next.year * 12 + ends_next.month) - (first.year * 12 + first.month) == 3:
        return f"{first.year}-Q{quarter}"
    return f"{first}_{last}"


def folder_name(name: str) -> str:
    """A name that is safe as a folder on every system; different names never share one (letter case apart)."""
    safe = re.fullmatch(r"[A-Za-z0-9]+(-[A-Za-z0-9]+)*", name) and len(name) <= 40
    if safe and not DEVICE.fullmatch(name) and not MARKED.search(name):
        return name
    plain = re.sub(r"[^A-Za-z0-9]+", "-", name)[:40].strip("-")
    return f"{plain or 'x'}-{hashlib.sha256(name.encode()).hexdigest()[:6]}"


@contextmanager
def revision(reports: Path, scope: str, period: str) -> Iterator[tuple[Path, Path]]:
    """A hidden folder to draft in, and the folder it becomes when nothing went wrong.

    Yields (draft, final). The draft lies beside the final one, readable by its owner alone, and is gone afterwards
    whatever happens; the final one appears whole, under the next free number.
    """
    home = reports / folder_name(scope) / period
    ours = (home, home.parent) if reports.exists() else (home, home.parent, reports)
    home.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=".draft-", dir=home))
    final = home / f"r{_next_number(home)}"
    try:
        yield draft, final
        draft.chmod(0o777 & ~_umask())
        _take_place(draft, final)
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        _drop_empty(ours)


def _umask() -> int:
    """What the person's system keeps from others in a new folder; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _next_number(home: Path) -> int:
    taken = [int(path.name[1:]) for path in home.glob("r*") if path.name[1:].isdigit()]
    return max(taken, default=0) + 1


def _take_place(draft: Path, final: Path) -> None:
    if final.exists():
        raise ExportError(f"{final.name} was made meanwhile by another run; run again")
    os.replace(draft, final)


def _drop_empty(folders: tuple[Path, ...]) -> None:
    """A run that failed leaves no folder behind that it made for itself."""
    for folder in folders:
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()


def earlier_quarters(reports: Path, scope: str, plan: Plan) -> tuple[tuple[int, str], ...]:
    """Last day and rules of the plan of each earlier quarter's latest report of this scope, oldest first.

    Read from run.json beside each page; a report that has none, or whose days share no calendar, is not known.
    """
    if plan.cutoff is None:
        return ()
    told = {}
    for period in sorted((reports / folder_name(scope)).glob("*")):
        runs = sorted(period.glob("r*/internal/run.json"), key=_number)
        made = json.loads(runs[-1].read_text(encoding="utf-8")) if runs else {}
        if made.get("cutoff") is not None and made["cutoff"] < plan.cutoff and "rules" in made:
            told[made["cutoff"]] = made["rules"]
    return tuple(sorted(told.items()))


def _number(run: Path) -> int:
    name = run.parent.parent.name
    return int(name[1:]) if name[1:].isdigit() else 0
