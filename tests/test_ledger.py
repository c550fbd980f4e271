"""The ledger of a quarter: what is written stands, and what changed is said."""

import errno
import json
from concurrent.futures import ThreadPoolExecutor

import pytest

from kit import alive
from kit.pages.ledger import BUSY, LEDGER_COLUMNS, add_to_ledger, complete_ledger, read_ledger, what_changed


def line(revision_name, **changed):
    made = {"revision": revision_name, "made": "2026-07-01 09:00 UTC", "status": "draft"}
    prints = {"export": "e1", "plan": "p1", "map": "own names", "kit": "0.1.0"}
    return {**made, **prints, "changed": "", **changed}


def test_a_ledger_that_is_not_there_is_empty(tmp_path):
    assert read_ledger(tmp_path) == []


def test_lines_are_added_and_none_is_ever_changed(tmp_path):
    add_to_ledger(tmp_path, line("r1", changed="first revision"))
    before = (tmp_path / "ledger.csv").read_bytes()
    add_to_ledger(tmp_path, line("r2", changed="changed since r1: export, plan"))
    after = (tmp_path / "ledger.csv").read_bytes()
    assert after.startswith(before)
    assert after.decode().splitlines()[0] == ",".join(LEDGER_COLUMNS)
    assert len(after.decode().splitlines()) == 3  # one heading, two lines


def made(home, name, **changed):
    """A finished revision with its run.json; the line it ought to have, but for what changed."""
    run = {"revision": "r1", "made": "2026-07-01 09:00 UTC", "fingerprints": {**PRINTS, **changed}}
    (home / name / "internal").mkdir(parents=True)
    (home / name / "internal" / "run.json").write_text(json.dumps(run), encoding="utf-8")


PRINTS = {"export": "e1", "plan": "p1", "map": "own names", "kit": "0.1.0"}


def test_a_finished_revision_without_a_line_gets_it_from_its_run(tmp_path):
    add_to_ledger(tmp_path, line("r1", changed="first revision"))
    for name, export in (("r10", "e2"), ("r2", "e1"), ("r1", "e1")):
        made(tmp_path, name, export=export)
    (tmp_path / "r3").mkdir()  # no run.json: nothing is known of it
    made(tmp_path, ".draft-r11")
    complete_ledger(tmp_path)
    wanted = [line("r1", changed="first revision"), line("r2", changed="nothing changed")]
    assert read_ledger(tmp_path) == [*wanted, line("r10", export="e2", changed="changed since r2: export")]
    before = (tmp_path / "ledger.csv").read_bytes()
    complete_ledger(tmp_path)
    assert (tmp_path / "ledger.csv").read_bytes() == before


def test_a_line_cut_off_anywhere_is_written_anew(tmp_path):
    made(tmp_path, "r1")
    made(tmp_path, "r2")
    complete_ledger(tmp_path)
    ledger = tmp_path / "ledger.csv"
    whole = ledger.read_bytes()
    for length in range(len(whole)):
        ledger.write_bytes(whole[:length])
        complete_ledger(tmp_path)
        assert ledger.read_bytes() == whole, length


def test_a_whole_line_that_lacks_its_end_alone_stays(tmp_path):
    """An editor may take the last end of line away; what was issued stands in no run.json."""
    add_to_ledger(tmp_path, line("r1", status="issued", changed="first revision"))
    ledger = tmp_path / "ledger.csv"
    whole = ledger.read_bytes()
    ledger.write_bytes(whole.rstrip(b"\n"))
    made(tmp_path, "r1")
    complete_ledger(tmp_path)
    assert ledger.read_bytes() == whole


def test_a_ledger_that_a_spreadsheet_kept_with_semicolons_gets_no_line_twice(tmp_path):
    made(tmp_path, "r1")
    (tmp_path / "ledger.csv").write_bytes(b"\xef\xbb\xbfrevision;made;status\r\nr1;1.7.2026;draft\r\n")
    complete_ledger(tmp_path)
    assert (tmp_path / "ledger.csv").read_bytes().count(b"r1") == 1


def test_a_line_that_fits_on_the_disk_by_half_is_not_written_at_all(tmp_path, monkeypatch):
    add_to_ledger(tmp_path, line("r1"))
    before = (tmp_path / "ledger.csv").read_bytes()

    def half(out, text):
        out.write(text[:9])
        raise OSError(errno.ENOSPC, "No space left")

    monkeypatch.setattr("kit.pages.ledger._write", half)
    with pytest.raises(OSError, match="No space left"):
        add_to_ledger(tmp_path, line("r2"))
    assert (tmp_path / "ledger.csv").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["ledger.csv"]


def test_a_ledger_that_another_run_keeps_is_waited_for_and_no_longer_than_patience_lasts(tmp_path, monkeypatch):
    monkeypatch.setattr(alive, "PATIENCE", 0.1)
    handle = alive.take(tmp_path / BUSY)
    with pytest.raises(TimeoutError, match="another run keeps it"):
        add_to_ledger(tmp_path, line("r1"))
    alive.let_go(tmp_path / BUSY, handle)
    add_to_ledger(tmp_path, line("r1"))
    assert len(read_ledger(tmp_path)) == 1


def test_lines_of_several_runs_at_once_all_stand_under_one_heading(tmp_path):
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda number: add_to_ledger(tmp_path, line(f"r{number}")), range(20)))
    assert {one["revision"] for one in read_ledger(tmp_path)} == {f"r{number}" for number in range(20)}
    assert (tmp_path / "ledger.csv").read_text().count("\n") == 21


def test_a_ledger_gives_back_what_was_written(tmp_path):
    written = [line("r1", changed="first revision"), line("r2", changed="changed since r1: export, plan")]
    for one in written:
        add_to_ledger(tmp_path, one)
    assert read_ledger(tmp_path) == written


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ({}, "nothing changed"),
        ({"export": "e2"}, "changed since r2: export"),
        ({"kit": "0.2.0", "plan": "p2"}, "changed since r2: plan, kit"),
        ({"export": "e2", "plan": "p2", "map": "m2", "kit": "2"}, "changed since r2: export, plan, map, kit"),
        ({"made": "2026-07-02 09:00 UTC", "status": "issued"}, "nothing changed"),
    ],
)
def test_what_changed_is_said_against_the_last_revision(now, said):
    before = [line("r1", export="e0", plan="p0"), line("r2")]
    assert what_changed(before, line("r3", **now)) == said


def test_the_first_revision_changed_nothing():
    assert what_changed([], line("r1")) == "first revision"
