"""The ledger of a quarter: what is written stands, and what changed is said."""

import pytest

from kit.pages.ledger import LEDGER_COLUMNS, add_to_ledger, read_ledger, what_changed


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
