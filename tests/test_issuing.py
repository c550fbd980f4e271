"""Issuing: a draft is frozen, nothing that was issued is ever changed, and what is superseded says by which."""

import json
import os

import pytest

from kit.__main__ import main
from kit.faults import ExportError
from kit.pages import issuing
from kit.pages.issuing import altered, fingerprint, issue, issued_in, no_longer_whole, verify
from kit.pages.ledger import add_to_ledger, drafts, read_ledger
from kit.pages.sheet import read_numbers, write_numbers
from kit.plan import Plan
from kit.sharing.telling import told
from tests.sheets import counts

PAGE = '<p>{}</p><p><span class="status">DRAFT</span> revision {}; a DRAFT is not issued</p>'
PLAN = Plan.model_validate(
    {
        "program": {"name": "Invented", "basis": "safe_harbor"},
        "regimens": [{"name": "ultrasound", "modality": "ultrasound"}],
    }
)
PRINTS = {"export": "e1", "plan": "p1", "map": "own names", "kit": "0.1.0"}


def draft(home, name, given=(40, 100), **prints):
    """A revision as a report leaves it, with its line in the ledger; `given` sessions, of planned."""
    revision = home / name
    for page in ("internal/page.html", "internal/costs.html", "shareable/sheet.html"):
        (revision / page).parent.mkdir(parents=True, exist_ok=True)
        (revision / page).write_text(PAGE.format(page, name), encoding="utf-8")
    (revision / "internal" / "wounds.xlsx").write_bytes(b"a list")
    run = {"revision": name, "fingerprints": PRINTS | prints, "fewest": 11}
    (revision / "internal" / "run.json").write_text(json.dumps(run), encoding="utf-8")
    write_numbers(revision / "shareable", told(counts({"given": given}), PLAN))
    line = {"revision": name, "made": "2026-07-01 09:00 UTC", "status": "draft", **run["fingerprints"]}
    add_to_ledger(home, line | {"changed": ""})
    return revision


def holding(folder):
    """Every file of a folder with its bytes."""
    return {file.relative_to(folder).as_posix(): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def statuses(home):
    """What the ledger tells, without the fingerprint of what was issued."""
    return [(line["revision"], line["status"], line["changed"].split("; fingerprint")[0]) for line in read_ledger(home)]


def printing_as(monkeypatch, prints):
    """Makes a page be printed as its own text, or not at all."""

    def print_pdf(page, pdf):
        if prints:
            pdf.write_bytes(b"%PDF " + page.read_bytes())
        return prints

    monkeypatch.setattr("kit.pages.printing.print_pdf", print_pdf)


# --- PDFs ---


def test_the_pdfs_of_a_draft_are_made_anew_and_are_among_the_fingerprints(tmp_path, monkeypatch):
    revision = draft(tmp_path, "r1")
    (revision / "internal" / "page.pdf").write_bytes(b"%PDF DRAFT")
    printing_as(monkeypatch, True)
    assert issue(revision) == "r1 is issued. Page and sheet are printed as PDF"
    for pdf in ("internal/page.pdf", "shareable/sheet.pdf"):
        assert b'class="status">ISSUED<' in (revision / pdf).read_bytes()
        assert pdf in json.loads((revision / "issued.json").read_text(encoding="utf-8"))["files"]
    assert altered(revision) == []


def test_a_pdf_that_says_draft_goes_where_nothing_prints(tmp_path):
    revision = draft(tmp_path, "r1")
    (revision / "shareable" / "sheet.pdf").write_bytes(b"%PDF DRAFT")
    assert issue(revision).startswith("r1 is issued. No PDF was made, because there is no Chromium")
    assert list(revision.rglob("*.pdf")) == [] and altered(revision) == []


def test_a_draft_without_pdf_is_issued_without_one(tmp_path, monkeypatch):
    printing_as(monkeypatch, True)
    revision = draft(tmp_path, "r1")
    assert issue(revision) == "r1 is issued"
    assert list(revision.rglob("*.pdf")) == []


def test_a_pdf_that_says_draft_and_cannot_be_removed_stops_the_issue(tmp_path, monkeypatch):
    revision = draft(tmp_path, "r1")
    (revision / "internal" / "page.pdf").mkdir()  # removed as little as one that a reader keeps open
    with pytest.raises(ExportError, match="page.pdf: still open somewhere, and it says DRAFT"):
        issue(revision)
    assert issued_in(tmp_path) == []
    (revision / "internal" / "page.pdf").rmdir()
    assert issue(revision) == "r1 is issued"


# --- one revision ---


def test_an_issued_revision_says_so_on_every_page_and_nothing_else_of_it_changes(tmp_path):
    revision = draft(tmp_path, "r1")
    before = holding(revision)
    assert issue(revision) == "r1 is issued"
    after = holding(revision)
    assert set(after) == {*before, "issued.json"}
    for name in before:
        expected = before[name].replace(b">DRAFT<", b">ISSUED<") if name.endswith(".html") else before[name]
        assert after[name] == expected, name
    assert b"a DRAFT is not issued" in after["internal/page.html"]


def test_the_ledger_tells_of_it_in_a_line_of_its_own(tmp_path):
    revision = draft(tmp_path, "r1")
    before = (tmp_path / "ledger.csv").read_bytes()
    issue(revision)
    assert (tmp_path / "ledger.csv").read_bytes().startswith(before)
    assert statuses(tmp_path) == [("r1", "draft", ""), ("r1", "issued", "first issued")]


def test_every_file_of_both_editions_has_its_fingerprint(tmp_path):
    revision = draft(tmp_path, "r1")
    issue(revision)
    files = json.loads((revision / "issued.json").read_text(encoding="utf-8"))["files"]
    assert set(files) == set(holding(revision)) - {"issued.json"}
    assert altered(revision) == []


@pytest.mark.parametrize("how", ["changed", "gone", "added"])
def test_a_file_that_was_touched_afterwards_is_named(tmp_path, how):
    revision = draft(tmp_path, "r1")
    issue(revision)
    file = revision / "internal" / ("new.html" if how == "added" else "page.html")
    if how == "gone":
        file.unlink()
    else:
        file.unlink(missing_ok=True)
        file.write_text("other", encoding="utf-8")
    assert altered(revision) == [f"internal/{file.name}"]
    assert no_longer_whole(tmp_path) == [f"r1 is no longer as it was issued: internal/{file.name}"]


def test_what_is_whole_is_not_complained_of(tmp_path):
    issue(draft(tmp_path, "r1"))
    draft(tmp_path, "r2")
    assert no_longer_whole(tmp_path) == []


def test_files_of_an_issued_revision_can_only_be_read(tmp_path):
    revision = draft(tmp_path, "r1")
    issue(revision)
    assert {file.stat().st_mode & 0o222 for file in revision.rglob("*") if file.is_file() and
            file.parent != revision} == {0}  # fmt: skip


def test_what_is_issued_is_not_issued_again(tmp_path):
    revision = draft(tmp_path, "r1")
    issue(revision)
    before = holding(tmp_path)
    with pytest.raises(ExportError, match="r1 is issued already"):
        issue(revision)
    assert holding(tmp_path) == before


def test_what_was_changed_after_it_was_issued_is_not_called_whole(tmp_path):
    revision = draft(tmp_path, "r1")
    issue(revision)
    page = revision / "internal" / "page.html"
    page.chmod(0o644)
    page.write_text("45 beside 26", encoding="utf-8")
    for ask in (verify, issue):
        with pytest.raises(ExportError, match=r"r1 .*: internal/page\.html$"):
            ask(revision)


def test_a_list_of_fingerprints_that_was_made_to_fit_is_found_by_the_ledger(tmp_path):
    revision = draft(tmp_path, "r1")
    issue(revision)
    listed = revision / "issued.json"
    listed.chmod(0o644)
    listed.write_text(listed.read_text(encoding="utf-8").replace("issued", "issued ", 1), encoding="utf-8")
    with pytest.raises(ExportError, match=r"issued\.json \(the ledger tells of another\)"):
        verify(revision)


def test_a_draft_is_not_called_issued(tmp_path):
    with pytest.raises(ExportError, match="r1 is a draft"):
        verify(draft(tmp_path, "r1"))


@pytest.mark.parametrize("what", ["nothing there", "no revision", "a revision's own edition"])
def test_what_is_no_revision_is_refused(tmp_path, what):
    revision = draft(tmp_path, "r1")
    places = {
        "nothing there": tmp_path / "r9",
        "no revision": tmp_path,
        "a revision's own edition": revision / "internal",
    }
    with pytest.raises(ExportError, match="no revision of a report"):
        issue(places[what])


# --- one after another ---


def test_the_older_one_is_superseded_by_name_and_not_changed(tmp_path):
    older, newer = draft(tmp_path, "r1"), draft(tmp_path, "r2", export="e2")
    issue(older)
    before = holding(older)
    assert issue(newer) == "r2 is issued and supersedes r1"
    after = holding(older)
    assert {name: after[name] for name in before} == before
    assert after.keys() - before.keys() == {"superseded.txt"}
    assert after["superseded.txt"].startswith(b"r1 was superseded by r2, issued ")
    assert altered(older) == []
    assert statuses(tmp_path)[3:] == [("r1", "superseded", "by r2"), ("r2", "issued", "changed since r1: export")]
    assert [folder.name for folder in issued_in(tmp_path)] == ["r1", "r2"]


def test_an_older_draft_is_not_issued_after_a_newer_one(tmp_path):
    older, newer = draft(tmp_path, "r2"), draft(tmp_path, "r10")
    issue(newer)
    with pytest.raises(ExportError, match="r10 is issued and newer than r2"):
        issue(older)


def test_what_was_drafted_is_compared_with_drafts_alone(tmp_path):
    issue(draft(tmp_path, "r1"))
    draft(tmp_path, "r2")
    assert [line["revision"] for line in drafts(read_ledger(tmp_path))] == ["r1", "r2"]


def test_a_sheet_beside_one_issued_since_it_was_drafted_is_searched_again(tmp_path):
    """12 of 100 and 15 of 100: the change could only be one to five."""
    older, newer = draft(tmp_path, "r1", (12, 100)), draft(tmp_path, "r2", (15, 100))
    issue(older)
    before = holding(newer)
    with pytest.raises(ExportError, match="r2: beside a sheet issued since it was drafted"):
        issue(newer)
    assert holding(newer) == before
    assert [line[1] for line in statuses(tmp_path)] == ["draft", "draft", "issued"]


def test_a_list_of_numbers_that_was_changed_is_refused(tmp_path):
    revision = draft(tmp_path, "r1")
    (revision / "shareable" / "numbers.csv").write_text("shared,other\nx,1\n", encoding="utf-8")
    with pytest.raises(ExportError, match=r"r1: numbers\.csv of its sheet cannot be read as it was written"):
        issue(revision)


def test_numbers_are_read_back_as_they_were_told(tmp_path):
    rows = told(counts({"given": (40, 100), "full": (5, 100)}), PLAN)
    (tmp_path / "shareable").mkdir()
    write_numbers(tmp_path / "shareable", rows)
    read = read_numbers(tmp_path)
    assert read["shared"].tolist() == ["given"]
    assert read.iloc[0][["per_hundred", "about_all", "weighed"]].tolist() == [40, 100, False]


# --- interrupted ---


@pytest.mark.parametrize("turn", range(1, 9))
def test_interrupted_anywhere_it_can_be_given_again_and_comes_to_the_same(tmp_path, monkeypatch, turn):
    """Three pages, the list, the note beside r1, and two lines of the ledger: seven steps, of which one fails."""
    older, newer = draft(tmp_path, "r1"), draft(tmp_path, "r2")
    issue(older)
    steps, failed = iter(range(1, 100)), []

    def stumbling(step):
        def run(*given):
            if next(steps) == turn and not failed:
                failed.append(turn)
                raise KeyboardInterrupt
            return step(*given)

        return run

    monkeypatch.setattr(issuing, "_replace", stumbling(issuing._replace))
    monkeypatch.setattr(issuing, "add_to_ledger", stumbling(issuing.add_to_ledger))
    if turn <= 7:
        with pytest.raises(KeyboardInterrupt):
            issue(newer)
        assert altered(older) == []
    if turn != 8 or not failed:
        issue(newer)
    assert bool(failed) is (turn <= 7)
    assert altered(newer) == [] and altered(older) == []
    assert [line[:2] for line in statuses(tmp_path)[3:]] == [("r1", "superseded"), ("r2", "issued")]
    assert not list(tmp_path.rglob(".*.part"))


def test_what_an_interruption_left_half_written_is_swept(tmp_path):
    revision = draft(tmp_path, "r1")
    (revision / "internal" / ".page.html.part").write_text("half", encoding="utf-8")
    issue(revision)
    assert not (revision / "internal" / ".page.html.part").exists()
    assert altered(revision) == []


# --- the command ---


def test_the_command_issues_and_says_so(tmp_path, capsys):
    revision = draft(tmp_path, "r1")
    assert main(["issue", str(revision)]) == 0
    sheet = revision / "shareable" / "sheet.html"
    mark = fingerprint(revision)
    assert capsys.readouterr().out == (
        f"r1 is issued\nIts fingerprint, to be written down elsewhere: {mark}\nFor handing on: {sheet}\n"
    )
    assert main(["verify", str(revision)]) == 0
    assert (
        capsys.readouterr().out == f"r1 is as it was issued; fingerprint {mark}. Is it the one that was written down?\n"
    )
    assert main(["issue", str(revision)]) == 1
    assert capsys.readouterr().err.startswith("Stopped: r1 is issued already")


def test_the_command_takes_a_folder_from_where_one_stands(tmp_path, monkeypatch):
    draft(tmp_path, "r1")
    monkeypatch.chdir(tmp_path)
    assert main(["issue", "r1"]) == 0
    assert os.path.exists("r1/issued.json")
