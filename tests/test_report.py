"""A report from end to end: its folder, the same numbers twice, and nothing of anybody or of this computer."""

import csv
import getpass
import json
import os
import re
import sys
from collections import Counter
from contextlib import nullcontext
from html import escape, unescape
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from bs4 import BeautifulSoup

from kit import words
from kit.__main__ import main
from kit.faults import ExportError
from kit.pages.folders import folder_name
from kit.pages.ledger import read_ledger
from kit.pages.report import Request, _refuse_another_quarter, report
from kit.pages.workbooks import STATUS, harmless
from kit.statements.about import INTERNAL
from kit.statements.plan_changes import NO_EARLIER, UNCHANGED
from kit.statements.quarter import NOT_COMPARED
from tests.conftest import NASTY
from tests.drawn import PLAN, TWO_HOUSES, as_csv, drawn

ROOT = Path(__file__).parent.parent
NOTEBOOKS = sorted(path.stem for path in (ROOT / "notebooks").glob("[0-9]*.ipynb"))
SHEETS = ["healing", "sessions", "reasons", "account", "faults"]
DELIVERY = ["agreement", "since when", "due", "dose", "settings", "reactions", "inside", "stops", "burden", "pain"]
COMPARED = {"comparison": "told", "needs": "needs", "starts": "outside", "facilities": "homes"}  # sheet: finding


@pytest.fixture(scope="module")
def internal(reported):
    return reported / "internal"


@pytest.fixture(scope="module")
def told(internal):
    return json.loads((internal / "findings.json").read_text(encoding="utf-8"), parse_constant=pytest.fail)


@pytest.fixture(scope="module")
def again(reported, invented):
    """The same report once more: the second revision."""
    return report(Request(invented.export, reported.parents[2]))


@pytest.fixture(scope="module")
def there(invented, tmp_path_factory):
    """The report of one facility, made by the command line; its folder."""
    reports = tmp_path_factory.mktemp("one facility") / "reports"
    assert main(["report", str(invented.export), "--facility", NASTY, "--reports", str(reports)]) == 0
    return reports / folder_name(NASTY) / "2026-Q2" / "r1"


def without_pictures(text):
    return re.sub(r"data:image/png;base64,[\w+/=]+", "", text)


def everything_written(folder):
    """The text of every file of a report, by name; of workbooks the cells, of pictures in PNG nothing."""
    read = {}
    for path in folder.rglob("*"):
        if path.suffix == ".xlsx":
            cells = [str(cell.value) for sheet in openpyxl.load_workbook(path) for row in sheet for cell in row]
            read[path.name] = "\n".join(cells)
        elif path.is_file() and path.suffix != ".png":
            read[path.name] = without_pictures(path.read_text(encoding="utf-8"))
    return read


# --- the folder ---


def test_the_folder_holds_what_was_designed_and_nothing_else(reported):
    names = {path.relative_to(reported).as_posix() for path in reported.rglob("*")}
    pages = {f"internal/{name}.html" for name in ["page", "costs", *NOTEBOOKS]}
    figures = {f"internal/figures/{name}.{kind}" for name in ("closing", "missed", "due") for kind in ("png", "svg")}
    lists = ("tables.xlsx", "wounds.xlsx", "findings.json", "set_aside.csv", "faults.csv", "run.json", "next-plan.toml")
    tables = {f"internal/{name}" for name in lists}
    sheet = {"shareable", "shareable/sheet.html", "shareable/numbers.csv"}
    assert names == {"internal", "internal/figures", *pages, *figures, *tables, *sheet}


def test_the_folder_is_named_by_scope_quarter_and_revision(reported):
    assert reported.parts[-3:] == ("All-facilities", "2026-Q2", "r1")


def test_nothing_lies_beside_the_revisions_but_the_ledger(reported, again):
    assert {path.name for path in reported.parent.iterdir()} == {"r1", "r2", "ledger.csv"}
    assert [path.name for path in reported.parents[2].iterdir()] == ["All-facilities"]


# --- numbers ---


def test_findings_are_the_numbers_of_the_study(told, found):
    assert told == found[0]


def test_findings_hold_no_number_that_json_does_not_know(internal):
    text = (internal / "findings.json").read_text(encoding="utf-8")
    assert not re.search(r"\b(NaN|Infinity)\b", text)
    assert '"closed_share": null' in text  # a group too small to describe


def test_a_second_run_gives_the_same_numbers_to_the_byte(internal, again):
    for name in ("findings.json", "set_aside.csv", "faults.csv", "figures/closing.png", "figures/missed.png"):
        assert (internal / name).read_bytes() == (again / "internal" / name).read_bytes(), name


def test_a_second_run_gives_the_same_pages_but_for_their_revision(internal, again):
    first, second = ((folder / "page.html").read_text(encoding="utf-8") for folder in (internal, again / "internal"))
    made = r"revision (r\d), made (\d{1,2} [A-Z][a-z]+ \d{4}) "
    plan = r"<strong>The plan\.</strong> (.*?) Export "
    told = [re.findall(plan, unescape(page)) for page in (first, second)]
    since = f"{internal.parents[1].name} r1, a draft"
    assert told == [[NO_EARLIER], [UNCHANGED.format(since=since)]]
    assert [re.findall(made, page)[0][0] for page in (first, second)] == ["r1", "r2"]
    assert len(re.findall(made, first)) == 1
    assert re.sub(f"{made}|{plan}", "", first) == re.sub(f"{made}|{plan}", "", second)
    for name in NOTEBOOKS:
        assert (internal / f"{name}.html").read_bytes() == (again / "internal" / f"{name}.html").read_bytes(), name


def test_the_tables_hold_the_findings(internal, told):
    book = openpyxl.load_workbook(internal / "tables.xlsx")
    assert book.sheetnames == ["about", *COMPARED, *SHEETS[:3], *DELIVERY, "costs", *SHEETS[3:]]
    sheets = {name: told["comparison"][finding] for name, finding in COMPARED.items()}
    assert sheets.pop("facilities") == [] and book["facilities"].max_row == 1  # nothing is compared
    sheets["costs"] = told["costs"]["lines"]
    for name, told_rows in (sheets | {name: told[name] for name in SHEETS}).items():
        head, *rows = book[name].iter_rows(values_only=True)
        assert list(head) == [words.label(column) for column in told_rows[0]], name
        head = list(told_rows[0])
        read = [dict(zip(head, row, strict=True)) for row in rows]
        assert read == [{key: plain(value) for key, value in row.items()} for row in told_rows], name


def plain(value):
    """A value of the findings as the workbook holds it: numbers to four decimals, a formula held down."""
    if isinstance(value, float):
        return pytest.approx(value, abs=0.00005 + 1e-9)  # half of the fourth decimal
    if value == "":
        return None  # an empty cell
    return f"'{value}" if isinstance(value, str) and value.startswith("=1+1") else value


def test_numbers_of_the_tables_have_four_decimals(internal):
    book = openpyxl.load_workbook(internal / "tables.xlsx")
    numbers = [cell.value for sheet in book for row in sheet for cell in row if isinstance(cell.value, float)]
    assert numbers and all(number == round(number, 4) for number in numbers)


def test_the_first_sheet_says_what_the_tables_are_of_and_how_they_may_be_used(internal, told):
    book = openpyxl.load_workbook(internal / "tables.xlsx")
    lines = dict(book["about"].iter_rows(min_row=2, values_only=True))
    assert lines["Report"] == f"{told['scope']}, {told['program']}"
    assert lines["Quarter"] == "quarter 1 April 2026 to 30 June 2026"
    assert (lines["Status"], lines["For"], lines["Not compared"]) == (STATUS, INTERNAL, NOT_COMPARED)
    assert all(value in lines["Fingerprints"] for value in told["fingerprints"].values())


# --- what was set aside ---


def test_rows_set_aside_are_named_by_file_row_and_fault_alone(internal, invented):
    with (internal / "set_aside.csv").open(newline="", encoding="utf-8") as lines:
        head, *rows = csv.reader(lines)
    assert head == ["file", "row", "fault"]
    assert rows == [[file, str(row), fault] for file, row, fault in invented.set_aside]


def test_rows_set_aside_are_as_many_as_the_account_says(internal, told):
    lines = (internal / "set_aside.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert len(lines) == sum(table["set_aside"] for table in told["account"]) == 7


def test_every_row_with_a_fault_is_named_with_what_became_of_it(internal, told, invented):
    with (internal / "faults.csv").open(newline="", encoding="utf-8") as lines:
        head, *rows = csv.reader(lines)
    assert head == ["file", "row", "column", "fault", "fate", "says"]
    aside = [[file, row, fault] for file, row, _, fault, fate, _ in rows if fate == "set aside"]
    assert aside == [[file, str(row), fault] for file, row, fault in invented.set_aside]
    found = Counter((file.removesuffix(".csv"), fault, fate, says) for file, _, _, fault, fate, says in rows)
    assert found == {(row["table"], row["fault"], row["fate"], row["says"]): row["rows"] for row in told["faults"]}


# --- formulas ---


def test_no_cell_of_the_tables_is_a_formula(internal):
    book = openpyxl.load_workbook(internal / "tables.xlsx")
    kinds = {cell.data_type for sheet in book for row in sheet for cell in row}
    assert "f" not in kinds and "s" in kinds
    assert [row[0].value for row in book["sessions"]] == ["Regimen", "monopolar", "ultrasound", "'=1+1"]


def test_text_that_a_spreadsheet_would_run_is_held_down_and_numbers_are_not():
    cells = ["=1", "+1", "-1", "@x", "\tx", "\rx", "x=1", "", -1, None]
    held = harmless(pd.DataFrame({"cell": pd.Series(cells, dtype=object)}))["cell"].tolist()
    assert held == ["'=1", "'+1", "'-1", "'@x", "'\tx", "'\rx", "x=1", "", -1, None]


# --- the run and the ledger ---


def test_the_run_tells_versions_and_fingerprints(internal, told):
    run = json.loads((internal / "run.json").read_text(encoding="utf-8"))
    assert run["revision"] == "r1" and run["facility"] == ""
    assert run["fingerprints"] == {**told["fingerprints"], "map": "own names"}
    assert run["python"] == ".".join(map(str, sys.version_info[:3]))
    assert all(re.match(r"\d+\.\d+", version) for version in run["libraries"].values())
    assert {"numpy", "pandas"} <= set(run["libraries"])


def test_the_ledger_has_a_line_for_each_revision(reported, again, told):
    first, second = read_ledger(reported.parent)
    prints = {**told["fingerprints"], "map": "own names"}
    for line, revision, changed in ((first, "r1", "first revision"), (second, "r2", "nothing changed")):
        assert (line["revision"], line["status"], line["changed"]) == (revision, "draft", changed)
        assert {name: line[name] for name in prints} == prints
        assert re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d UTC", line["made"])


# --- nobody, and nothing of this computer ---


def test_no_pseudonym_but_of_open_wounds_in_their_list_and_no_value_of_a_faulty_row_is_in_any_file(reported, invented):
    written = everything_written(reported.parent)
    assert set(written) > {
        "page.html",
        "findings.json",
        "tables.xlsx",
        "closing.svg",
        "ledger.csv",
        f"{NOTEBOOKS[0]}.html",
    }
    named = {(name, secret) for name, text in written.items() for secret in invented.secrets if secret in text}
    assert {name for name, _ in named} == {"wounds.xlsx"}
    assert {secret for _, secret in named} <= set(invented.wounds)


def test_the_search_for_pseudonyms_would_find_one(invented):
    written = everything_written(invented.export)
    missing = [secret for secret in invented.secrets if not any(secret in text for text in written.values())]
    assert missing == []


def test_no_file_names_a_path_or_the_user_of_this_computer(reported, invented):
    paths = [invented.export, invented.export.parent, ROOT, Path.home(), Path(sys.prefix), reported, Path(os.getcwd())]
    named = [str(path) for path in paths if len(path.parts) > 1]
    written = everything_written(reported.parent)
    assert [(name, path) for name, text in written.items() for path in named if path in text] == []
    user = rf"\b{re.escape(getpass.getuser())}\b"
    assert [name for name, text in written.items() if re.search(f"(home|Users)[/\\\\]|{user}[/\\\\]", text)] == []


def test_every_page_of_a_notebook_has_its_question_one_heading_and_the_policy(internal):
    for name in NOTEBOOKS:
        page = BeautifulSoup((internal / f"{name}.html").read_text(encoding="utf-8"), "html.parser")
        assert page.title.text.endswith("?")
        assert [heading.text.rstrip("¶") for heading in page.find_all("h1")] == [page.title.text]
        assert page.html["lang"] == "en"
        policy = page.find("meta", attrs={"http-equiv": "Content-Security-Policy"})["content"]
        assert policy.startswith("default-src 'none'")
        assert page.find_all(["script", "link", "iframe"]) == []
        assert all(picture["src"].startswith("data:") and picture["alt"] for picture in page.find_all("img"))
        assert all(
            link["href"].startswith("#") or link["href"] == "page.html" for link in page.find_all("a", href=True)
        )
        assert not re.search(r"https?:", without_pictures(str(page)))


def test_every_notebook_ends_with_the_fingerprints_of_this_run(internal, told):
    for name in NOTEBOOKS:
        page = BeautifulSoup((internal / f"{name}.html").read_text(encoding="utf-8"), "html.parser")
        last = page.find_all("p", class_="kit-says")[-1].text
        assert f"Export {told['fingerprints']['export']}, plan {told['fingerprints']['plan']}" in last


def test_pages_of_notebooks_leave_the_code_out_and_say_what_they_were_run_with(internal, invented):
    for name in NOTEBOOKS:
        page = BeautifulSoup((internal / f"{name}.html").read_text(encoding="utf-8"), "html.parser")
        assert not re.search(r"\bimport\b|read_study\(|show\(", page.body.text), name
        assert page.find_all("p")[-1].text.startswith(f"Run with: export {invented.export.name}. ")


def test_every_page_says_on_top_that_it_is_internal(internal):
    pages = sorted(internal.glob("*.html"))
    assert len(pages) == len(NOTEBOOKS) + 2
    for page in pages:
        assert BeautifulSoup(page.read_text(encoding="utf-8"), "html.parser").body.p.text == INTERNAL, page.name


# --- one facility ---


def test_the_report_of_one_facility_counts_its_residents_alone(there):
    told = json.loads((there / "internal" / "findings.json").read_text(encoding="utf-8"))
    assert told["scope"] == NASTY and told["facilities"] == [NASTY]
    # residents 19 to 30, each with one wound
    assert (told["cohort"]["wounds"], told["cohort"]["residents"]) == (12, 12)


def test_a_facility_cannot_put_markup_on_any_page(there):
    pages = sorted((there / "internal").glob("*.html"))
    assert [page.stem for page in pages] == sorted([*NOTEBOOKS, "costs", "page"])
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert "<script" not in text, page.name
        assert escape(NASTY, quote=False) in text, page.name


def test_the_notebooks_of_one_facility_speak_of_it_alone(there):
    for page in (there / "internal").glob("0*.html"):
        said = BeautifulSoup(page.read_text(encoding="utf-8"), "html.parser").find_all("p", class_="kit-says")
        assert said[-1].text.endswith(f"facilities: {NASTY}.")


def test_the_notebooks_of_one_facility_name_it_as_what_they_were_run_with(there):
    for page in (there / "internal").glob("0*.html"):
        ran = BeautifulSoup(page.read_text(encoding="utf-8"), "html.parser").find_all("p")[-1].text
        assert f"facility {NASTY}." in ran


# --- what stops a report ---


def test_a_facility_that_is_not_there_leaves_no_folder(invented, tmp_path):
    with pytest.raises(ExportError, match="no resident belongs to that facility"):
        report(Request(invented.export, tmp_path / "reports", facility="Nowhere"))
    assert list(tmp_path.iterdir()) == []


def test_an_export_in_which_no_wound_was_open_leaves_no_folder(tmp_path):
    export = tmp_path / "export"
    export.mkdir()
    tables = {"wounds": TWO_HOUSES["wounds"], "measurements": "wound day state\nW1 10 closed\n"}
    for name, text in tables.items():
        (export / f"{name}.csv").write_text(as_csv(text))
    (export / "study-plan.toml").write_text(PLAN)
    with pytest.raises(ExportError, match="no wound was ever measured open before the cut-off"):
        report(Request(export, tmp_path / "reports"))
    assert [path.name for path in tmp_path.iterdir()] == ["export"]


@pytest.mark.parametrize(("last", "stops"), [(109, True), (110, False)])  # the quarter begins on day 110
def test_a_quarter_that_begins_after_the_last_record_stops_the_run(last, stops):
    study = drawn(f"wound day length width state\nW1 10 4 3 open\nW1 {last} 4 3 open\n")
    with pytest.raises(ExportError, match=f"last record of the export is of day {last}") if stops else nullcontext():
        _refuse_another_quarter(study)


def test_an_export_that_ends_before_the_quarter_leaves_no_folder(tmp_path):
    export = tmp_path / "export"
    export.mkdir()
    for name, text in TWO_HOUSES.items():  # measured on day 10, treated on day 12
        (export / f"{name}.csv").write_text(as_csv(text))
    (export / "study-plan.toml").write_text(PLAN)
    with pytest.raises(ExportError, match="last record of the export is of day 12, before the plan's quarter begins"):
        report(Request(export, tmp_path / "reports"))
    assert [path.name for path in tmp_path.iterdir()] == ["export"]
