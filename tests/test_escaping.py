"""Whatever an export or a plan calls things, it stays text: on pages, in figures, in workbooks, in a terminal."""

import csv
import json
import re
import shutil
import unicodedata
from xml.etree import ElementTree

import openpyxl
import pytest
from bs4 import BeautifulSoup

from kit.__main__ import main
from kit.pages.ledger import LEDGER
from kit.words import FORBIDDEN
from tests.conftest import HOME, NASTY

FORMULA, MATHS = "=cmd|' /C calc'!A0", r"$\frac{a}{b"
TAG, BRACES = '"><img src=x onerror=alert(1)>', "{{7*7}}{% for x in y %}"
REGIMEN = r"+$\alpha<b onclick=1>"
LEADING = "=+-@\t\r"


@pytest.fixture(scope="module")
def export(invented, tmp_path_factory):
    """The invented export with two facilities called a formula and unfinished mathematics, and a plan of tags."""
    folder = tmp_path_factory.mktemp("nasty") / "export"
    shutil.copytree(invented.export, folder)
    called = {HOME: FORMULA, NASTY: MATHS}
    with (folder / "residents.csv").open(newline="", encoding="utf-8") as lines:
        header, *rows = csv.reader(lines)
    place = header.index("facility")
    with (folder / "residents.csv").open("w", newline="", encoding="utf-8") as out:
        csv.writer(out).writerows([header, *(row[:place] + [called[row[place]]] + row[place + 1 :] for row in rows)])
    plan = (folder / "study-plan.toml").read_text(encoding="utf-8")
    plan = plan.replace('"Invented program"', f"'{TAG}{BRACES}'").replace('name = "monopolar"', f"name = '{REGIMEN}'")
    (folder / "study-plan.toml").write_text(plan, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def run(export, tmp_path_factory):
    """The report by the command line: its folder, and what the terminal showed."""
    import contextlib
    import io

    reports, shown = tmp_path_factory.mktemp("reports"), io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
        assert main(["report", str(export), "--reports", str(reports)]) == 0
    return next(reports.glob("*/*/r1")), shown.getvalue()


@pytest.fixture(scope="module")
def pages(run):
    return {
        file.name: BeautifulSoup(file.read_text(encoding="utf-8"), "html.parser") for file in run[0].rglob("*.html")
    }


def test_every_page_is_there_and_shows_the_names_as_they_are(pages):
    assert len(pages) >= 14
    assert TAG in pages["page.html"].get_text() and BRACES in pages["page.html"].get_text()
    assert FORMULA in pages["page.html"].get_text() and MATHS in pages["page.html"].get_text()
    assert REGIMEN in pages["page.html"].get_text()
    assert TAG in pages["sheet.html"].get_text()


def test_no_page_has_a_script_a_foreign_element_or_a_handler(pages):
    for name, page in pages.items():
        assert not page.select("script, iframe, object, embed, link, form, base, video, audio"), name
        handlers = [key for element in page.find_all() for key in element.attrs if key.lower().startswith("on")]
        assert handlers == [], name


def test_pages_refer_to_pictures_in_themselves_and_to_pages_of_the_report_alone(pages, run):
    for name, page in pages.items():
        assert all(image["src"].startswith("data:image/png;base64,") for image in page.select("img")), name
        for link in page.select("a[href]"):
            target = link["href"].split("#")[0]
            assert re.fullmatch(r"(\.\./shareable/)?[\w.-]+\.html|", target), (name, target)
    styles = " ".join(style.get_text() for page in pages.values() for style in page.select("style"))
    assert "url(" not in styles and "@import" not in styles


def test_every_page_forbids_whatever_it_does_not_bring(pages):
    for name, page in pages.items():
        policy = page.select_one('meta[http-equiv="Content-Security-Policy"]')["content"]
        assert policy == "default-src 'none'; img-src data:; style-src 'unsafe-inline'", name
        assert page.select_one('meta[name="referrer"]')["content"] == "no-referrer", name


def test_figures_are_drawings_and_nothing_that_runs_or_is_fetched(run):
    drawn = {file.name: ElementTree.parse(file) for file in run[0].rglob("*.svg")}
    assert drawn
    for name, picture in drawn.items():
        elements = list(picture.iter())
        kinds = {element.tag.rpartition("}")[2] for element in elements}
        assert "path" in kinds and not kinds & {"script", "foreignObject", "image", "a", "animate", "set"}, name
        attributes = [(key.rpartition("}")[2], told) for element in elements for key, told in element.attrib.items()]
        assert not [key for key, _ in attributes if key.lower().startswith("on")], name
        assert all(told.startswith("#") for key, told in attributes if key == "href"), name


def test_no_cell_of_a_workbook_or_list_begins_as_a_formula_does(run):
    read = 0
    for file in run[0].rglob("*.xlsx"):
        for sheet in openpyxl.load_workbook(file):
            for cell in (cell for row in sheet for cell in row if isinstance(cell.value, str)):
                read += 1
                assert cell.data_type != "f" and cell.value[:1] not in LEADING, (file.name, cell.coordinate)
    assert read > 100
    lists = [*run[0].rglob("*.csv"), run[0].parent / LEDGER]
    assert len(lists) >= 4
    for file in lists:
        with file.open(newline="", encoding="utf-8") as lines:
            assert not [cell for row in csv.reader(lines) for cell in row if cell[:1] in LEADING and cell], file.name


def test_the_findings_hold_the_names_word_for_word(run):
    told = json.loads((run[0] / "internal" / "findings.json").read_text(encoding="utf-8"))
    assert told["facilities"] == sorted([FORMULA, MATHS])
    assert told["program"] == f"{TAG}{BRACES}"


def test_the_folder_s_name_is_plain(run):
    assert re.fullmatch(r"[\w-]+", run[0].parents[1].name)


# --- the terminal ---

ESCAPES = "north\x1b[31m\x07\u202ewing"


def control(text):
    """Characters that a terminal would obey, or that turn the order of what is read."""
    return [sign for sign in text if unicodedata.category(sign) in ("Cc", "Cf") and sign != "\n"]


@pytest.mark.parametrize(
    "words",
    [
        ["report", "{folder}", "--facility", ESCAPES],
        ["report", f"{{folder}}/{ESCAPES}"],
        ["check", "{folder}", "--columns", f"{{folder}}/{ESCAPES}.toml"],
        ["issue", f"{{folder}}/{ESCAPES}"],
    ],
)
def test_no_name_reaches_the_terminal_as_a_command(export, tmp_path, capsys, words):
    given = [word.replace("{folder}", str(export)) for word in words]
    assert main([*given, "--reports", str(tmp_path)] if words[0] == "report" else given) == 1
    shown = "".join(capsys.readouterr())
    assert shown.strip() and control(shown) == []


def test_a_facility_of_the_export_reaches_no_terminal_as_a_command(export, tmp_path, capsys):
    again = tmp_path / "export"
    shutil.copytree(export, again)
    text = (again / "residents.csv").read_text(encoding="utf-8").replace(MATHS, ESCAPES)
    (again / "residents.csv").write_text(text, encoding="utf-8")
    assert main(["report", str(again), "--facility", "Nowhere", "--reports", str(tmp_path / "reports")]) == 1
    shown = "".join(capsys.readouterr())
    assert "no resident belongs to that facility" in shown and control(shown) == []


def test_the_names_hold_no_word_that_a_page_may_not_use():
    assert not [word for word in FORBIDDEN if word in f"{FORMULA} {MATHS} {TAG} {BRACES}".split()]
