"""The ledger beside the revisions of a quarter: one line for whatever happened to one of them, never changed."""

from __future__ import annotations

import csv
from pathlib import Path

LEDGER = "ledger.csv"
LEDGER_COLUMNS = ("revision", "made", "status", "export", "plan", "map", "kit", "changed")


def read_ledger(home: Path) -> list[dict[str, str]]:
    """The lines of a ledger, oldest first; none where there is no ledger yet."""
    ledger = home / LEDGER
    if not ledger.exists():
        return []
    with ledger.open(newline="", encoding="utf-8") as lines:
        return list(csv.DictReader(lines))


def add_to_ledger(home: Path, line: dict[str, str]) -> None:
    """Append one line; what stands there is never changed."""
    new = not (home / LEDGER).exists()
    with (home / LEDGER).open("a", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, LEDGER_COLUMNS, lineterminator="\n")
        if new:
            writer.writeheader()
        writer.writerow(line)


def drafts(lines: list[dict[str, str]]) -> list[dict[str, str]]:
    """The lines that tell of a revision being made, oldest first; others tell what became of one."""
    return [line for line in lines if line["status"] == "draft"]


def what_changed(before: list[dict[str, str]], now: dict[str, str]) -> str:
    """In words, what differs from the last revision: export, plan, map, kit; or that nothing does."""
    if not before:
        return "first revision"
    changed = [name for name in ("export", "plan", "map", "kit") if before[-1][name] != now[name]]
    return f"changed since {before[-1]['revision']}: {', '.join(changed)}" if changed else "nothing changed"
