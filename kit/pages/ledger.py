"""The ledger beside the revisions of a quarter: one line for whatever happened to one of them, never changed."""

from __future__ import annotations

import csv
import errno
import json
import os
import re
from io import FileIO, StringIO
from pathlib import Path

from kit.alive import alone

LEDGER = "ledger.csv"
BUSY = ".ledger.lock"
LEDGER_COLUMNS = ("revision", "made", "status", "export", "plan", "map", "kit", "changed")
HEADING = {name: name for name in LEDGER_COLUMNS}


def read_ledger(home: Path) -> list[dict[str, str]]:
    """The lines of a ledger, oldest first; none where there is no ledger yet."""
    ledger = home / LEDGER
    if not ledger.exists():
        return []
    with ledger.open(newline="", encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


def add_to_ledger(home: Path, line: dict[str, str]) -> None:
    """Append one line, whole or not at all; what stands there is never changed.

    Raises OSError where it cannot be written, or where another run keeps the ledger to itself too long.
    """
    with alone(home / BUSY):
        _append(home, line)


def complete_ledger(home: Path) -> None:
    """Give each finished revision that has no line its line, from its run.json; a line cut off half-way goes first.

    Every run does this for itself at its end, and for whatever was stopped between its folder and its line. Raises
    OSError as `add_to_ledger` does.
    """
    if not _half(home) and not _missing(home):
        return
    with alone(home / BUSY):
        _mend_end(home)
        for run in _missing(home):
            _append(home, ledger_line(run, read_ledger(home)))


def ledger_line(run: dict, before: list[dict[str, str]]) -> dict[str, str]:
    """The line of a new revision, from what its run.json says and the lines before it."""
    line = {"revision": run["revision"], "made": run["made"], "status": "draft", **run["fingerprints"]}
    return line | {"changed": what_changed(drafts(before), line)}


def _append(home: Path, line: dict[str, str]) -> None:
    ledger = home / LEDGER
    with ledger.open("ab", buffering=0) as out:
        before = out.seek(0, os.SEEK_END)
        try:
            _write(out, (b"" if before else _as_csv(HEADING)) + _as_csv(line))
        except OSError:
            out.truncate(before)
            raise


def _write(out: FileIO, text: bytes) -> None:
    """In one piece, and onto the disk."""
    if out.write(text) != len(text):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), LEDGER)
    os.fsync(out.fileno())


def _as_csv(line: dict[str, str]) -> bytes:
    text = StringIO(newline="")
    csv.DictWriter(text, LEDGER_COLUMNS, lineterminator="\n").writerow(line)
    return text.getvalue().encode()


def _half(home: Path) -> bytes:
    """What stands after the last end of a line: nothing, unless somebody was stopped there."""
    ledger = home / LEDGER
    return ledger.read_bytes().rpartition(b"\n")[2] if ledger.exists() else b""


def _mend_end(home: Path) -> None:
    """Take away a line that was cut off; one that a person left whole but for its end only gets this end."""
    half = _half(home)
    if not half:
        return
    whole = len(next(csv.reader([half.decode(errors="replace")]))) == len(LEDGER_COLUMNS)
    with (home / LEDGER).open("r+b") as ledger:
        end = ledger.seek(-len(half), os.SEEK_END)
        if whole and not _cut_off(home, half):
            ledger.seek(0, os.SEEK_END)
            ledger.write(b"\n")
        else:
            ledger.truncate(end)
        ledger.flush()
        os.fsync(ledger.fileno())


def _cut_off(home: Path, half: bytes) -> bool:
    """Whether the full line of the same revision goes on where this one ends."""
    before = [line for line in read_ledger(home)[:-1] if None not in line.values()]
    lines = [HEADING, *(ledger_line(run, before) for run in _runs(home))]
    full = [_as_csv(line).rstrip(b"\n") for line in lines]
    return any(line.startswith(half) and line != half for line in full)


def _missing(home: Path) -> list[dict]:
    """What run.json says of each finished revision that has no line, in their order."""
    ledger = home / LEDGER
    lines = ledger.read_text(encoding="utf-8-sig", errors="replace").splitlines() if ledger.exists() else []
    told = {re.split(r"[,;\t]", line)[0].strip('"') for line in lines}  # spreadsheets keep it with other separators
    return [run for run in _runs(home) if run["revision"] not in told]


def _runs(home: Path) -> list[dict]:
    """What run.json says of each finished revision, under the name it has; one that does not say it is left out."""
    runs = []
    for folder in sorted(home.glob("r*"), key=lambda folder: (len(folder.name), folder.name)):
        try:
            run = json.loads((folder / "internal" / "run.json").read_text(encoding="utf-8"))
            runs.append({"made": run["made"], "fingerprints": run["fingerprints"], "revision": folder.name})
        except (OSError, ValueError, LookupError, TypeError):
            continue
    return runs


def drafts(lines: list[dict[str, str]]) -> list[dict[str, str]]:
    """The lines that tell of a revision being made, oldest first; others tell what became of one."""
    return [line for line in lines if line["status"] == "draft"]


def what_changed(before: list[dict[str, str]], now: dict[str, str]) -> str:
    """In words, what differs from the last revision: export, plan, map, kit; or that nothing does."""
    if not before:
        return "first revision"
    changed = [name for name in ("export", "plan", "map", "kit") if before[-1][name] != now[name]]
    return f"changed since {before[-1]['revision']}: {', '.join(changed)}" if changed else "nothing changed"
