"""Where a run's results lie: numbered revisions that are never overwritten, built unseen."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from kit.alive import LOCK, let_go, sweep, take
from kit.endings import undisturbed
from kit.faults import ExportError
from kit.plan import Plan, date_of

DEVICE = re.compile(r"con|prn|aux|nul|(com|lpt)\d", re.IGNORECASE)  # Windows makes no folder of these
MARKED = re.compile(r"-[0-9a-f]{6}$")  # would pass for the mark of another name
DRAFT = ".draft-"
PAUSES = (0.1, 0.5, 2.0)  # seconds


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

    Yields (draft, final). The number is this run's from the beginning: runs at once get different ones. The draft lies
    beside the final folder, readable by its owner alone, and is gone afterwards whatever happens; the final one appears
    whole.
    """
    home = reports / folder_name(scope) / period
    ours = (home, home.parent) if reports.exists() else (home, home.parent, reports)
    draft = handle = None
    try:
        draft, handle = _reserve(home)
        final = home / draft.name.removeprefix(DRAFT)
        yield draft, final
        _settle(draft)
        with undisturbed():
            draft.chmod(0o777 & ~_umask())
            _take_place(draft, final)
    finally:
        with undisturbed():
            if draft is not None:
                shutil.rmtree(draft, ignore_errors=True)
                let_go(_lock_of(draft), handle)
            _drop_empty(ours)


def sweep_drafts(reports: Path) -> None:
    """Remove the drafts of runs that were killed, of any scope and period; those of runs that are alive stay."""
    for home in reports.glob("*/*"):
        left = {_lock_of(path) for path in home.glob(f"{DRAFT}*")} | set(home.glob(".ledger.lock"))
        swept = [sweep(lock.with_suffix(""), lock) for lock in left]
        if any(swept):
            _drop_empty((home, home.parent))


def _reserve(home: Path) -> tuple[Path, int]:
    """The draft of the next number that no living run has, and a handle on its lock."""
    number = 0
    while True:
        home.mkdir(parents=True, exist_ok=True)
        number = max(number + 1, _next_number(home))
        draft = home / f"{DRAFT}r{number}"
        try:
            handle = take(_lock_of(draft))
        except FileNotFoundError:  # another run has just removed the empty folder
            number -= 1
            continue
        if handle is None:
            continue
        made = False
        try:
            made = _made(draft, home / f"r{number}")
        finally:
            if not made:
                let_go(_lock_of(draft), handle)
        if made:
            return draft, handle


def _made(draft: Path, final: Path) -> bool:
    """Whether the draft could be made; another run may just have ended under its number."""
    try:
        draft.mkdir(mode=0o700)
    except FileExistsError:
        return False
    if final.exists():
        draft.rmdir()
        return False
    return True


def _lock_of(path: Path) -> Path:
    return path if path.suffix == LOCK else path.with_name(path.name + LOCK)


def _settle(draft: Path) -> None:
    """Have every file on the disk before the folder takes its name, should the power fail then."""
    for path in sorted(draft.rglob("*"), reverse=True):
        if path.is_file():
            _flush(path, os.O_RDWR)
        elif os.name != "nt":
            _flush(path, os.O_RDONLY)


def _flush(path: Path, way: int) -> None:
    handle = os.open(path, way)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


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
        raise ExportError(f"{final.name}: somebody made a folder of that name meanwhile; move it, and run again")
    for wait in PAUSES:
        try:
            os.replace(draft, final)
            break
        except PermissionError:  # on Windows a virus scanner may be reading a new file
            if os.name != "nt" or wait == PAUSES[-1]:
                raise
            time.sleep(wait)
    if os.name != "nt":
        _flush(final.parent, os.O_RDONLY)


def _drop_empty(folders: tuple[Path, ...]) -> None:
    """A run that failed leaves no folder behind that it made for itself."""
    for folder in folders:
        with suppress(OSError):
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
