"""Where reports lie: names, and numbered revisions that appear whole or not at all."""

import errno
import json
import os
import sys
from datetime import date

import pytest

from kit.faults import ExportError
from kit.pages.folders import earlier_quarters, folder_name, period_of, revision
from kit.plan import Plan


def plan_of(basis="limited_data_set", **windows):
    regimens = [{"name": "ultrasound", "modality": "ultrasound"}]
    program = {"name": "Invented", "basis": basis}
    return Plan.model_validate({"program": program, "windows": windows, "regimens": regimens})


def lying_in(folder):
    """All that lies below a folder, hidden things too, by path."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def make(reports, content="whole", scope="Tarnwick", period="2026-Q2"):
    """One revision with one file in it."""
    with revision(reports, scope, period) as (draft, final):
        (draft / "page.html").write_text(content)
    return final


# --- names of periods ---


@pytest.mark.parametrize(
    ("begins", "cutoff", "name"),
    [
        (date(2026, 1, 1), date(2026, 3, 31), "2026-Q1"),
        (date(2024, 4, 1), date(2024, 6, 30), "2024-Q2"),
        (date(2026, 7, 1), date(2026, 9, 30), "2026-Q3"),
        (date(2026, 10, 1), date(2026, 12, 31), "2026-Q4"),
        (date(2026, 4, 2), date(2026, 6, 30), "2026-04-02_2026-06-30"),
        (date(2026, 4, 1), date(2026, 6, 29), "2026-04-01_2026-06-29"),
        (date(2026, 2, 1), date(2026, 4, 30), "2026-02-01_2026-04-30"),  # three months, but no calendar quarter
        (date(2026, 1, 1), date(2026, 6, 30), "2026-01-01_2026-06-30"),
        (date(2026, 4, 1), date(2027, 6, 30), "2026-04-01_2027-06-30"),
        (110, 200, "days-110-200"),
    ],
)
def test_a_period_is_named_by_its_quarter_or_by_its_ends(begins, cutoff, name):
    assert period_of(plan_of(quarter_begins=begins, cutoff=cutoff)) == name


def test_without_a_calendar_the_period_is_the_whole_export():
    assert period_of(plan_of(basis="safe_harbor")) == "whole-export"


# --- names of folders ---

AWKWARD = [
    "../../x", "..", ".", "", " ", "/etc/passwd", "C:\\x", "a/b", "a\\b", "<script>", "a:b", "a*?", "Tarn wick",
    "Tarn_wick", "-rf", "x" * 41, "x" * 300, "Haus Grün", "日本", "a\nb", "trailing.", "trailing ",
    "CON", "con", "PRN", "aux", "NUL", "COM1", "lpt9",
]  # fmt: skip


@pytest.mark.parametrize("name", AWKWARD)
def test_an_awkward_name_becomes_a_plain_folder(name, tmp_path):
    plain = folder_name(name)
    assert plain.replace("-", "").isalnum() and plain.isascii()
    assert len(plain) <= 50
    assert plain.upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT9"}
    assert (tmp_path / plain).resolve().parent == tmp_path.resolve()


@pytest.mark.parametrize("name", ["Tarnwick", "Quellmoor-2", "All-facilities", "x" * 40, "conservatory", "com10"])
def test_a_plain_name_stays_as_it_is(name):
    assert folder_name(name) == name


def test_different_names_never_share_a_folder():
    plain = ["Tarn-wick", "x", "x-x", "a-b", "script", "x" * 40, "Haus-Gr-n"]
    names = [*AWKWARD, *plain]
    # what the folder of another name is called must not be had by asking for it
    names += [folder_name(name) for name in AWKWARD]
    assert len({folder_name(name) for name in names}) == len(set(names))


# --- revisions ---


def test_numbers_go_up(tmp_path):
    assert [make(tmp_path).name for _ in range(11)] == [f"r{number}" for number in range(1, 12)]


def test_a_number_that_was_used_is_not_used_again(tmp_path):
    home = make(tmp_path).parent
    (home / "r1").rename(home / "r7")
    (home / "rough notes").mkdir()
    assert make(tmp_path).name == "r8"


def test_what_lies_there_is_never_overwritten(tmp_path):
    first = make(tmp_path, "first")
    make(tmp_path, "second")
    assert (first / "page.html").read_text() == "first"
    assert lying_in(first.parent) == ["r1", "r1/page.html", "r2", "r2/page.html"]


def test_each_scope_and_period_counts_by_itself(tmp_path):
    make(tmp_path)
    assert make(tmp_path, scope="Quellmoor").name == "r1"
    assert make(tmp_path, period="2026-Q3").name == "r1"


def test_nothing_lies_under_the_final_name_before_the_end(tmp_path):
    with revision(tmp_path, "Tarnwick", "2026-Q2") as (draft, final):
        (draft / "page.html").write_text("half")
        assert not final.exists()
        assert draft.parent == final.parent and draft.name.startswith(".")
    assert not draft.exists() and final.exists()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such modes")
def test_a_draft_can_be_read_by_its_owner_alone_and_a_report_by_whom_the_system_lets(tmp_path):
    before = os.umask(0o027)
    try:
        with revision(tmp_path, "Tarnwick", "2026-Q2") as (draft, final):
            assert os.stat(draft).st_mode & 0o777 == 0o700
    finally:
        os.umask(before)
    assert os.stat(final).st_mode & 0o777 == 0o750  # what the person's system lets others see, and no more


@pytest.mark.parametrize("failure", [ValueError, KeyboardInterrupt, SystemExit])
def test_a_first_run_that_fails_leaves_nothing(tmp_path, failure):
    reports = tmp_path / "reports"
    with pytest.raises(failure), revision(reports, "Tarnwick", "2026-Q2") as (draft, _):
        (draft / "internal").mkdir()
        (draft / "internal" / "page.html").write_text("half")
        raise failure
    assert lying_in(tmp_path) == []


def test_a_later_run_that_fails_leaves_all_as_it_was(tmp_path):
    home = make(tmp_path).parent
    (home / "ledger.csv").write_text("what stood there\n")
    before = lying_in(tmp_path), (home / "ledger.csv").read_bytes()
    with pytest.raises(ValueError), revision(tmp_path, "Tarnwick", "2026-Q2") as (draft, _):
        (draft / "page.html").write_text("half")
        raise ValueError
    assert (lying_in(tmp_path), (home / "ledger.csv").read_bytes()) == before


def test_a_folder_for_reports_that_was_there_stays_when_a_run_fails(tmp_path):
    with pytest.raises(ValueError), revision(tmp_path, "Tarnwick", "2026-Q2"):
        raise ValueError
    assert tmp_path.is_dir()


def test_of_two_runs_at_once_each_has_the_number_it_began_with(tmp_path):
    with revision(tmp_path, "Tarnwick", "2026-Q2") as (slow, final):
        (slow / "page.html").write_text("slow")
        assert make(tmp_path, "quick").name == "r2"
    assert lying_in(final.parent) == ["r1", "r1/page.html", "r2", "r2/page.html"]
    assert [(final.parent / name / "page.html").read_text() for name in ("r1", "r2")] == ["slow", "quick"]
    assert make(tmp_path).name == "r3"


def test_a_number_is_free_again_when_its_run_fails(tmp_path):
    with pytest.raises(ValueError), revision(tmp_path, "Tarnwick", "2026-Q2"):
        assert make(tmp_path).name == "r2"
        raise ValueError
    assert lying_in(tmp_path / "Tarnwick" / "2026-Q2") == ["r2", "r2/page.html"]
    assert make(tmp_path).name == "r3"


def test_a_folder_that_somebody_put_in_its_place_is_not_replaced(tmp_path):
    with pytest.raises(ExportError, match="r1: somebody made a folder of that name meanwhile"):
        with revision(tmp_path, "Tarnwick", "2026-Q2") as (_, final):
            final.mkdir()
    assert lying_in(final.parent) == ["r1"]


def test_a_draft_that_cannot_be_made_leaves_no_lock(tmp_path, monkeypatch):
    def full(draft, final):
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr("kit.pages.folders._made", full)
    with pytest.raises(OSError, match="No space left"), revision(tmp_path / "reports", "Tarnwick", "2026-Q2"):
        pass
    assert lying_in(tmp_path) == []


def test_every_file_is_on_the_disk_before_the_folder_takes_its_name(tmp_path, monkeypatch):
    settled, true = [], os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (settled.append(os.fstat(handle).st_ino), true(handle)))
    with revision(tmp_path, "Tarnwick", "2026-Q2") as (draft, final):
        (draft / "internal").mkdir()
        (draft / "internal" / "page.html").write_text("whole")
        assert settled == []
    assert (final / "internal" / "page.html").stat().st_ino in settled


def test_a_run_that_fails_beside_another_leaves_the_other_alone(tmp_path):
    with revision(tmp_path, "Tarnwick", "2026-Q2") as (draft, final):
        with pytest.raises(ValueError), revision(tmp_path, "Tarnwick", "2026-Q2"):
            raise ValueError
        (draft / "page.html").write_text("whole")
    assert lying_in(final.parent) == ["r1", "r1/page.html"]


# --- earlier quarters ---


def ran(place, cutoff, rules):
    place.mkdir(parents=True)
    made = {"cutoff": cutoff} | ({"rules": rules} if rules else {})
    (place / "run.json").write_text(json.dumps(made), encoding="utf-8")


def test_earlier_quarters_are_told_by_their_latest_report(tmp_path):
    """Of r2 and r10 the tenth is the latest; this quarter and later ones, and reports without rules, do not count."""
    plan = plan_of(quarter_begins=110, cutoff=200)
    home = tmp_path / "Quellmoor"
    ran(home / "days-1-90" / "r2" / "internal", 90, "old")
    ran(home / "days-1-90" / "r10" / "internal", 90, "new")
    ran(home / "days-91-180" / "r1" / "internal", 180, "newer")
    ran(home / "days-110-200" / "r1" / "internal", 200, "now")
    ran(home / "days-20-60" / "r1" / "internal", 60, "")
    ran(tmp_path / "Tarnwick" / "days-1-90" / "r1" / "internal", 90, "of another")
    assert earlier_quarters(tmp_path, "Quellmoor", plan) == ((90, "new"), (180, "newer"))
    assert earlier_quarters(tmp_path, "Nowhere", plan) == ()


def test_without_a_calendar_no_quarter_is_earlier(tmp_path):
    assert earlier_quarters(tmp_path, "Quellmoor", plan_of("safe_harbor")) == ()
