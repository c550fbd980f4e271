"""Issuing: a draft is frozen, its pages say so, and what was issued before it says by which it was superseded."""

from __future__ import annotations

import hashlib
import json
import os
from datetime import UTC, datetime
from pathlib import Path

from kit.faults import ExportError
from kit.pages.ledger import add_to_ledger, complete_ledger, read_ledger, what_changed
from kit.pages.printing import PRINTED, pdf_of, print_pages
from kit.pages.sheet import read_numbers
from kit.sharing.telling import worked_out

ISSUED, SUPERSEDED, RUN = "issued.json", "superseded.txt", "internal/run.json"
PRINT = "fingerprint "
STATUS = '<span class="status">{}</span>'


def issue(revision: Path) -> str:
    """Freeze a draft: pages say ISSUED, `issued.json` holds the fingerprint of every file, the ledger has its line.

    The last issued revision of the same quarter is superseded: the ledger and a note beside its editions say by which.
    Nothing in it is changed. Interrupted, the command can be given again. Returns a sentence.

    Raises ExportError where the folder is no revision, is issued already, or where its sheet beside those issued since
    it was drafted would let a small change be worked out.
    """
    revision = revision.resolve()
    run = _run_of(revision)
    complete_ledger(revision.parent)
    before = [folder for folder in issued_in(revision.parent) if folder != revision]
    last = before[-1] if before else None
    if last is not None and _number(last) > _number(revision):
        raise ExportError(f"{last.name} is issued and newer than {revision.name}; make the report again and issue that")
    _refuse_worked_out(revision, run, before)
    printed = ""
    if not (revision / ISSUED).exists():
        printed = _freeze(revision, last)
    elif _stands(revision, "issued"):
        raise ExportError(_as_it_stands(revision))
    if last is not None:
        _supersede(last, revision)
    told = f"{_since(last, run)}; {PRINT}{fingerprint(revision)}"
    add_to_ledger(revision.parent, _line(run, revision, "issued", told))
    return f"{revision.name} is issued" + (f" and supersedes {last.name}" if last is not None else "") + printed


def _freeze(revision: Path, last: Path | None) -> str:
    """The pages say ISSUED; the list of fingerprints comes last, and with it the revision counts as issued.

    Returns what is to be said of the PDFs.
    """
    for left in revision.rglob(".*.part"):
        left.unlink()
    for page in sorted(revision.rglob("*.html")):
        _replace(page, page.read_text(encoding="utf-8").replace(STATUS.format("DRAFT"), STATUS.format("ISSUED")))
    printed = _print_anew(revision)
    told = {"revision": revision.name, "issued": _now(), "supersedes": last.name if last else None}
    _replace(revision / ISSUED, json.dumps(told | {"files": _prints(revision)}, indent=1) + "\n")
    for name in (ISSUED, *_prints(revision)):
        (revision / name).chmod(0o444)
    return printed


def _print_anew(revision: Path) -> str:
    """The PDFs of a draft say DRAFT: they are made again, or go. What came of it, where there was one."""
    there = [pdf for pdf in (pdf_of(revision / page) for page in PRINTED) if pdf.exists()]
    if not there:
        return ""
    try:
        return f". {print_pages(revision)}"
    except OSError:
        raise ExportError(
            f"{there[0].name}: still open somewhere, and it says DRAFT; close it and give the command again"
        ) from None


def verify(revision: Path) -> str:
    """That an issued revision is as it was issued; a sentence.

    Raises ExportError where it was never issued, where a file was changed, is gone or is new, or where the list of
    fingerprints is not the one that the ledger tells of.
    """
    revision = revision.resolve()
    _run_of(revision)
    if not (revision / ISSUED).exists():
        raise ExportError(f"{revision.name} is a draft: it was not issued")
    changed = _changed_since(revision)
    if changed:
        raise ExportError(f"{revision.name} is no longer as it was issued: {', '.join(changed)}")
    return f"{revision.name} is as it was issued; {PRINT}{fingerprint(revision)}. Is it the one that was written down?"


def fingerprint(revision: Path) -> str:
    """Sixteen hexadecimal digits of the list of fingerprints of an issued revision, and so of every file in it."""
    return hashlib.sha256((revision / ISSUED).read_bytes()).hexdigest()[:16]


def _changed_since(revision: Path) -> list[str]:
    """What is not as it was issued: files, and the list itself where the ledger tells of another."""
    lines = [line["changed"] for line in read_ledger(revision.parent)
             if (line["revision"], line["status"]) == (revision.name, "issued")]  # fmt: skip
    told = [line.rpartition(PRINT)[2] for line in lines if PRINT in line]
    listed = [f"{ISSUED} (the ledger tells of another)"] if told and fingerprint(revision) not in told else []
    return altered(revision) + listed


def _as_it_stands(revision: Path) -> str:
    changed = _changed_since(revision)
    if changed:
        return f"{revision.name} was issued and has been changed since: {', '.join(changed)}"
    return f"{revision.name} is issued already; what was issued stays as it is"


def _since(last: Path | None, run: dict) -> str:
    """What changed since the last issued revision."""
    return (
        what_changed([_run_of(last)["fingerprints"] | {"revision": last.name}], run["fingerprints"])
        if last
        else "first issued"
    )


def issued_in(home: Path) -> list[Path]:
    """The issued revisions of a quarter, the oldest first, those superseded among them."""
    return sorted((manifest.parent for manifest in home.glob(f"r*/{ISSUED}")), key=_number)


def altered(revision: Path) -> list[str]:
    """The files of an issued revision that are no longer as they were issued, or are gone, or are new."""
    files = json.loads((revision / ISSUED).read_text(encoding="utf-8"))["files"]
    now = _prints(revision)
    return sorted(name for name in files.keys() | now.keys() if files.get(name) != now.get(name))


def no_longer_whole(home: Path) -> list[str]:
    """A sentence for each issued revision of a quarter whose files are not those that were issued."""
    return [f"{folder.name} is no longer as it was issued: {', '.join(changed)}"
            for folder in issued_in(home) if (changed := _changed_since(folder))]  # fmt: skip


def _run_of(revision: Path) -> dict:
    try:
        return json.loads((revision / RUN).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise ExportError(
            f"{revision.name}: no revision of a report; name its folder, like reports/<facility>/<quarter>/r1"
        ) from None


def _refuse_worked_out(revision: Path, run: dict, before: list[Path]) -> None:
    """Others may have been issued since the draft was made, beside which its sheet was not searched."""
    rows = read_numbers(revision).assign(is_shared=True)
    if worked_out(rows, [read_numbers(folder) for folder in before], run["fewest"]):
        raise ExportError(
            f"{revision.name}: beside a sheet issued since it was drafted, its own would let a small change be worked "
            "out; make the report again and issue that"
        )


def _stands(revision: Path, status: str) -> bool:
    """Whether the ledger tells of a revision that it was issued, or superseded."""
    return any((line["revision"], line["status"]) == (revision.name, status) for line in read_ledger(revision.parent))


def _supersede(older: Path, by: Path) -> None:
    if not (older / SUPERSEDED).exists():
        _replace(older / SUPERSEDED, f"{older.name} was superseded by {by.name}, issued {_now()}.\n")
    if not _stands(older, "superseded"):
        add_to_ledger(older.parent, _line(_run_of(older), older, "superseded", f"by {by.name}"))


def _line(run: dict, revision: Path, status: str, changed: str) -> dict[str, str]:
    return {"revision": revision.name, "made": _now(), "status": status, **run["fingerprints"], "changed": changed}


def _prints(revision: Path) -> dict[str, str]:
    """SHA-256 of every file of a revision but what issuing itself lays beside the editions."""
    files = sorted(file for file in revision.rglob("*") if file.is_file() and file.parent != revision)
    return {file.relative_to(revision).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


def _replace(file: Path, text: str) -> None:
    """Write a whole file, or leave what is there."""
    part = file.with_name(f".{file.name}.part")
    part.write_text(text, encoding="utf-8", newline="\n")
    os.replace(part, file)


def _number(revision: Path) -> int:
    name = revision.name.removeprefix("r")
    return int(name) if name.isdigit() else 0


def _now() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M UTC}"
