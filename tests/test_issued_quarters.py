"""Issued quarters are read from their folders as they were issued; what cannot be read is told and never guessed."""

import json
import shutil

import pytest

from kit.context.trend import CLOSED, DELIVERED, IN_TIME, REACH, REACTIONS
from kit.pages.issued_quarters import NOTHING, issued_quarters
from kit.pages.issuing import issue
from kit.statements.trend import unread
from tests.test_folders import plan_of
from tests.test_issuing import draft

PLAN = plan_of(quarter_begins=381, cutoff=470)
HOME = "Quellmoor"
PRINTS = {"map": "own names", "kit": "0.1.0"}


def findings_of(begins, full=60.0, **others):
    """The findings of a quarter of 90 days, as far as they are read: 80 sessions due."""
    due = [
        {"facility": HOME, "fate": "full", "sessions": full},
        {"facility": HOME, "fate": "missed", "sessions": 80 - full},
    ]
    done = {"weeks_measured": 7, "weeks_in_view": 10, "closed": 4, "wounds_open": 12, "reactions": 1, "asked": 80}
    found = {"quarter_begins": begins, "cutoff": begins + 89, "delivery": {"due": due}, "activity": done}
    return found | {"reach": {"started": 3, "wounds": 15}, "trend": {"first_record": 5}} | others


def drafted(reports, begins, name="r1", scope=HOME, **others):
    """A draft revision of a quarter that begins on a day; its folder."""
    revision = draft(reports / scope / f"days-{begins}-{begins + 89}", name)
    run = json.loads((revision / "internal" / "run.json").read_text(encoding="utf-8")) | {"rules": "rules-1"}
    (revision / "internal" / "run.json").write_text(json.dumps(run), encoding="utf-8")
    found = findings_of(begins, **others)
    (revision / "internal" / "findings.json").write_text(json.dumps(found), encoding="utf-8")
    return revision


def issued(reports, begins, name="r1", scope=HOME, **others):
    revision = drafted(reports, begins, name, scope, **others)
    issue(revision)
    return revision


def rewrite(file, text):
    """Change an issued file, which can only be read."""
    file.unlink()
    file.write_text(text, encoding="utf-8")


def numbers(told):
    rows = told.numbers[["quarter", "measure", "numerator", "denominator"]].itertuples(index=False, name=None)
    return {(quarter, measure): (some, of) for quarter, measure, some, of in rows}


# --- what is read ---


def test_a_folder_without_reports_has_no_quarter(tmp_path):
    told = issued_quarters(tmp_path / "reports", HOME, PLAN)
    assert told.quarters == told.unread == ()
    assert told.last is None and told.numbers.empty


def test_the_numbers_of_an_issued_quarter_are_those_of_its_findings(tmp_path):
    issued(tmp_path, 201)
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert numbers(told) == {
        ("days-201-290", DELIVERED): (60, 80),
        ("days-201-290", REACH): (3, 15),
        ("days-201-290", IN_TIME): (7, 10),
        ("days-201-290", CLOSED): (4, 12),
        ("days-201-290", REACTIONS): (1, 80),
    }
    last = told.last
    assert (last.quarter, last.revision, last.begins, last.ends, last.first_record) == (
        "days-201-290",
        "r1",
        201,
        290,
        5,
    )
    assert last.made_by == PRINTS | {"export": "e1", "rules": "rules-1"}


def test_drafts_are_no_issued_quarters(tmp_path):
    drafted(tmp_path, 201)
    assert issued_quarters(tmp_path, HOME, PLAN).quarters == ()
    issue(tmp_path / HOME / "days-201-290" / "r1")
    assert len(issued_quarters(tmp_path, HOME, PLAN).quarters) == 1


def test_of_several_issued_revisions_the_last_counts_and_of_r2_and_r10_that_is_the_tenth(tmp_path):
    issued(tmp_path, 201, "r2", full=10.0)
    issued(tmp_path, 201, "r10", full=70.0)
    drafted(tmp_path, 201, "r11", full=20.0)
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert [one.revision for one in told.quarters] == ["r10"]
    assert numbers(told)["days-201-290", DELIVERED] == (70, 80)


def test_quarters_stand_oldest_first_and_neither_this_one_nor_later_ones_are_among_them(tmp_path):
    for begins in (291, 21, 111, 381, 471):
        issued(tmp_path, begins)
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert [one.begins for one in told.quarters] == [21, 111, 291]
    assert told.last.begins == 291
    assert told.unread == ()


def test_each_scope_has_its_own(tmp_path):
    issued(tmp_path, 201)
    issued(tmp_path, 111, scope="Tarnwick")
    assert [one.begins for one in issued_quarters(tmp_path, HOME, PLAN).quarters] == [201]
    assert [one.begins for one in issued_quarters(tmp_path, "Tarnwick", PLAN).quarters] == [111]


def test_without_a_calendar_no_quarter_is_read(tmp_path):
    issued(tmp_path, 201)
    assert issued_quarters(tmp_path, HOME, plan_of("safe_harbor")) is NOTHING


def test_a_report_of_an_older_kit_has_every_number_but_the_reach(tmp_path):
    revision = drafted(tmp_path, 201)
    found = findings_of(201)
    del found["trend"], found["reach"]
    (revision / "internal" / "findings.json").write_text(json.dumps(found), encoding="utf-8")
    issue(revision)
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert told.unread == () and told.last.first_record is None
    reach = told.numbers[told.numbers["measure"] == REACH]
    assert reach[["numerator", "denominator"]].isna().all(axis=None)
    assert numbers(told)["days-201-290", DELIVERED] == (60, 80)


def test_a_quarter_with_no_session_due_is_read(tmp_path):
    issued(tmp_path, 201, delivery={"due": []})
    assert numbers(issued_quarters(tmp_path, HOME, PLAN))["days-201-290", DELIVERED] == (0, 0)


# --- what cannot be read ---

DUE_IN_WORDS = {"fate": "full", "sessions": "many"}
NO_FINDINGS = (
    "", "no json", "[]", "{}", "null", json.dumps(findings_of(201, cutoff=None)),
    json.dumps(findings_of(201, activity={})), json.dumps(findings_of(201, delivery=None)),
    json.dumps(findings_of(201, full=90.0)), json.dumps(findings_of(201, reach={"started": 9, "wounds": 3})),
    json.dumps(findings_of(201, trend=[])), json.dumps(findings_of(201, delivery={"due": [DUE_IN_WORDS]})),
    json.dumps(findings_of(201, trend={"first_record": "long ago"})),
)  # fmt: skip


@pytest.mark.parametrize("text", NO_FINDINGS)
def test_findings_that_are_none_are_told_and_the_other_quarters_stand(tmp_path, text):
    revision = drafted(tmp_path, 201)
    (revision / "internal" / "findings.json").write_text(text, encoding="utf-8")
    issue(revision)
    issued(tmp_path, 291)
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert [one.quarter for one in told.quarters] == ["days-291-380"]
    assert told.unread == (unread("days-201-290", "r1"),)


@pytest.mark.parametrize("name", ["findings.json", "run.json"])
@pytest.mark.parametrize("how", ["changed", "gone"])
def test_what_is_no_longer_as_it_was_issued_is_left_out_and_told(tmp_path, name, how):
    revision = issued(tmp_path, 201)
    file = revision / "internal" / name
    if how == "gone":
        file.unlink()
    else:
        rewrite(file, file.read_text(encoding="utf-8").replace("60.0", "79.0").replace("rules-1", "rules-2"))
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert told.quarters == ()
    assert told.unread == (unread("days-201-290", "r1"),)


def test_another_file_that_was_touched_does_not_hide_the_numbers(tmp_path):
    revision = issued(tmp_path, 201)
    rewrite(revision / "internal" / "page.html", "other")
    assert [one.begins for one in issued_quarters(tmp_path, HOME, PLAN).quarters] == [201]


def test_a_list_of_fingerprints_that_cannot_be_read_is_told(tmp_path):
    revision = issued(tmp_path, 201)
    rewrite(revision / "issued.json", "{")
    assert issued_quarters(tmp_path, HOME, PLAN).unread == (unread("days-201-290", "r1"),)


def test_what_was_superseded_does_not_take_the_place_of_what_cannot_be_read(tmp_path):
    issued(tmp_path, 201, "r1")
    last = issued(tmp_path, 201, "r2")
    rewrite(last / "internal" / "findings.json", "{}")
    told = issued_quarters(tmp_path, HOME, PLAN)
    assert told.quarters == ()
    assert told.unread == (unread("days-201-290", "r2"),)
    shutil.rmtree(last)
    assert [one.revision for one in issued_quarters(tmp_path, HOME, PLAN).quarters] == ["r1"]


def test_what_is_told_quotes_nothing_of_the_file(tmp_path):
    revision = drafted(tmp_path, 201)
    (revision / "internal" / "findings.json").write_text("secret-value", encoding="utf-8")
    issue(revision)
    told = issued_quarters(tmp_path, HOME, PLAN).unread[0]
    assert told.startswith("days-201-290 is left out") and "secret-value" not in told and "\n" not in told
