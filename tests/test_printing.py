"""Pages as PDF: printed where there is a browser, without a path or a moment in them; where there is none, said."""

import os
import re
import stat
import sys
import tempfile
import time
from pathlib import Path

import pytest

from kit.__main__ import _parser
from kit.alive import HOME
from kit.pages import printing
from kit.pages.printing import NO_BROWSER, NOT_PRINTED, PRINTED, browse, chromium, pdf_of, print_pages, print_pdf
from kit.pages.report import Request, report
from tests import exports

REAL = chromium  # the suite has none: tests/conftest.py
needs_browser = pytest.mark.skipif(REAL() is None, reason="there is no Chromium here")
by_shell = pytest.mark.skipif(os.name == "nt", reason="browsers are played by shell scripts")
PAGE = (
    '<!doctype html><html lang="en"><head><title>A page</title></head><body><h1>One</h1>'
    '<p><a href="costs.html" class="x">the costs</a> and <abbr>NCD</abbr></p></body></html>'
)
PDF = b"%PDF-1.4\n/CreationDate (D:20260727021353+00'00')/ModDate (D:20260727021353+00'00')\n%%EOF\n"


@pytest.fixture
def page(tmp_path):
    (tmp_path / "some one's folder").mkdir()
    page = tmp_path / "some one's folder" / "page.html"
    page.write_text(PAGE, encoding="utf-8")
    return page


@pytest.fixture(autouse=True)
def temporary(tmp_path, monkeypatch):  # pytest finds its own place first
    """A place for temporary files that no other run shares; its name is short, as sockets need it."""
    with tempfile.TemporaryDirectory(prefix="t-") as place:
        monkeypatch.setattr(tempfile, "tempdir", place)
        yield Path(place)


@pytest.fixture
def real(monkeypatch):
    monkeypatch.setattr(printing, "chromium", REAL)


@pytest.fixture
def played(monkeypatch, tmp_path):
    """Makes a shell script the browser; returns how, and where the script notes what it was given."""

    def play(body):
        script = tmp_path / "browser"
        script.write_text(f'#!/bin/sh\necho "$@" > "{tmp_path}/given"\nenv > "{tmp_path}/env"\n{body}\n')
        script.chmod(script.stat().st_mode | stat.S_IXUSR)
        monkeypatch.setattr(printing, "chromium", lambda: script)
        return tmp_path / "given"

    return play


PRINTS = f"""for word in "$@"; do case "$word" in --print-to-pdf=*) to="${{word#--print-to-pdf=}}";; esac; done
printf "%s" "{PDF.decode()}" > "$to" """


# --- with the browser that is there ---


@needs_browser
def test_a_page_is_printed_the_same_twice_and_nothing_is_left(page, real, temporary):
    pdf = page.with_suffix(".pdf")
    assert print_pdf(page, pdf)
    first = pdf.read_bytes()
    assert print_pdf(page, pdf)
    assert pdf.read_bytes() == first and first.startswith(b"%PDF-")
    assert {path.name for path in page.parent.iterdir()} == {"page.html", "page.pdf"}
    assert list(temporary.iterdir()) == []


@by_shell
def test_what_a_browser_s_child_is_still_writing_goes_too(page, played, temporary):
    played(f'{PRINTS}\n(while :; do mkdir -p "$HOME/late"; echo x > "$HOME/late/$$"; done) &\nexit 0')
    assert print_pdf(page, page.with_suffix(".pdf"))
    assert list(temporary.iterdir()) == []


@needs_browser
def test_no_path_no_link_and_no_moment_stands_in_a_pdf(page, real):
    print_pdf(page, page.with_suffix(".pdf"))
    text = page.with_suffix(".pdf").read_bytes().decode("latin-1")
    words = [word for word in (*page.parts[1:-1], HOME, "file:", "/URI") if len(word) > 3]
    assert not [word for word in words if word in text]
    moments = re.findall(r"\(D:\d{8}(\d{6})", text)
    assert moments and set(moments) == {"000000"}


@needs_browser
def test_a_printed_page_is_tagged_for_those_who_listen(page, real):
    print_pdf(page, page.with_suffix(".pdf"))
    text = page.with_suffix(".pdf").read_bytes()
    assert b"/StructTreeRoot" in text and b"/Lang (en)" in text and b"/Title (A page)" in text


@needs_browser
def test_a_link_that_is_not_taken_out_would_bring_the_folder_into_the_pdf(page, real, monkeypatch):
    monkeypatch.setattr(printing, "_without_links", lambda text: text)
    print_pdf(page, page.with_suffix(".pdf"))
    assert b"/URI (file:" in page.with_suffix(".pdf").read_bytes()


# --- with browsers that do otherwise ---


@by_shell
def test_a_browser_is_asked_to_stay_alone_and_to_leave_nothing(page, played):
    given = played(PRINTS)
    assert print_pdf(page, page.with_suffix(".pdf"))
    words = given.read_text().split()
    assert "--no-pdf-header-footer" in words and "--print-to-pdf-no-header" in words
    assert "--proxy-server=127.0.0.1:9" in words and "--disable-background-networking" in words
    assert ("--no-sandbox" in words) == (os.geteuid() == 0)
    [profile] = [word.partition("=")[2] for word in words if word.startswith("--user-data-dir=")]
    assert HOME in profile and not Path(profile).parents[1].exists()
    assert page.name in words[-1] and str(page.parent) not in words[-1]
    if sys.platform == "linux":
        told = (given.parent / "env").read_text()
        assert f"HOME={Path(profile).parent}\n" in told and f"TMPDIR={Path(profile).parent}\n" in told


@by_shell
def test_the_day_stays_in_a_pdf_and_the_moment_goes(page, played):
    played(PRINTS)
    print_pdf(page, page.with_suffix(".pdf"))
    printed = page.with_suffix(".pdf").read_bytes()
    assert printed == PDF.replace(b"021353", b"000000").rstrip(b"\n") or printed == PDF.replace(b"021353", b"000000")


@by_shell
@pytest.mark.parametrize("body", ["exit 1", "exit 0", PRINTS.replace("%%EOF", ""), f"{PRINTS}\nexit 3"])
def test_a_browser_that_prints_nothing_whole_fails_nobody(page, played, temporary, body):
    played(body)
    assert not print_pdf(page, page.with_suffix(".pdf"))
    assert [path.name for path in page.parent.iterdir()] == ["page.html"] and list(temporary.iterdir()) == []


@by_shell
def test_a_browser_that_hangs_is_ended_with_all_that_it_started(page, played, monkeypatch):
    import psutil

    monkeypatch.setattr(printing, "PATIENCE", 1)
    given = played(f'sleep 97 &\necho $! > "{page.parent.parent}/child"\nsleep 98')
    assert not print_pdf(page, page.with_suffix(".pdf"))
    child = int((given.parent / "child").read_text())
    for _ in range(100):  # it was told to end, which takes a busy computer a moment
        if not psutil.pid_exists(child) or psutil.Process(child).status() == psutil.STATUS_ZOMBIE:
            return
        time.sleep(0.1)
    pytest.fail("still there")


def test_a_browser_that_cannot_be_started_fails_nobody(page, monkeypatch, tmp_path):
    monkeypatch.setattr(printing, "chromium", lambda: tmp_path / "gone")
    assert not print_pdf(page, page.with_suffix(".pdf"))


def test_without_a_browser_nothing_is_printed_and_browsing_says_why(page):
    assert not print_pdf(page, page.with_suffix(".pdf"))
    with pytest.raises(OSError, match="there is no Chromium"):
        browse(page, page.parent)


# --- which browser ---


def test_a_browser_on_the_path_comes_first_and_the_usual_places_after(monkeypatch, tmp_path):
    monkeypatch.setattr(printing.shutil, "which", lambda name: None)
    monkeypatch.setattr(printing, "PLACES", {sys.platform: ()})
    assert REAL() is None
    usual = tmp_path / "Chromium"
    usual.write_text("")
    monkeypatch.setattr(printing, "_usual_places", lambda: [str(tmp_path / "none"), str(usual)])
    assert REAL() == usual
    monkeypatch.setattr(printing.shutil, "which", lambda name: f"/bin/{name}" if name == "google-chrome" else None)
    assert REAL() == Path("/bin/google-chrome")


def test_on_windows_every_root_of_programs_is_looked_through(monkeypatch):
    monkeypatch.setattr(printing.sys, "platform", "win32")
    monkeypatch.setenv("PROGRAMFILES", r"C:\Programs")
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    places = printing._usual_places()
    assert any(place.startswith(r"C:\Programs") and place.endswith("msedge.exe") for place in places)


# --- the pages of a revision ---


@pytest.fixture
def revision(tmp_path):
    for page in PRINTED:
        (tmp_path / "r1" / page).parent.mkdir(parents=True)
        (tmp_path / "r1" / page).write_text(PAGE, encoding="utf-8")
    return tmp_path / "r1"


def test_without_a_browser_that_is_said_and_no_older_pdf_stays(revision):
    (revision / "internal" / "page.pdf").write_bytes(PDF)
    assert print_pages(revision) == NO_BROWSER
    assert list(revision.rglob("*.pdf")) == []


@by_shell
def test_a_browser_that_prints_makes_both_and_one_that_does_not_is_said(revision, played):
    played(PRINTS)
    assert print_pages(revision) == "Page and sheet are printed as PDF"
    assert all(pdf_of(revision / page).is_file() for page in PRINTED)
    played("exit 1")
    assert print_pages(revision) == NOT_PRINTED
    assert list(revision.rglob("*.pdf")) == []


@by_shell
def test_a_report_has_page_and_sheet_as_pdf_and_says_so_unless_it_is_asked_not_to(tmp_path, played):
    played(PRINTS)
    export, books = tmp_path / "export", tmp_path / "books"
    export.mkdir()
    books.mkdir()
    exports.write(export, measurements="wound,day,state,length,width\nW1,110,open,4,3\nW2,130,open,5,2\n")
    for pdf, expected in ((True, list(PRINTED)), (False, [])):
        said = []
        made = report(Request(export, tmp_path / "reports", notebooks=books, pdf=pdf), said.append)
        assert [pdf_of(made / page).is_file() for page in expected] == [True] * len(expected)
        assert len(list(made.rglob("*.pdf"))) == len(expected)
        assert ("Page and sheet are printed as PDF" in said) == pdf


def test_a_report_is_printed_unless_it_is_asked_not_to_be():
    parser = _parser()
    assert not parser.parse_args(["report"]).no_pdf
    assert parser.parse_args(["report", "--no-pdf"]).no_pdf
