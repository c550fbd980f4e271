"""Bad input, one fault a file: a clear line and no report, a page that says what could not be had, or a count.

Each file of tests/bad_input is called after its fault. It holds what differs from the small valid export beside it:
`files` (in `encoding`), `absent`, or `plan`, `columns`, `facility` and `export` of the command. `make` names a function
of makers.py that turns the tables into what text cannot be, most often a workbook. Then one of these:

| key | says |
| --- | --- |
| stops | the one line that is told; there is no report |
| reports | words that the page must hold |
| faults | every fault that is counted, as table, row and fault; no row is lost |
| same | the way of writing is strange and no fault: the study is that of the valid export, without the columns listed |

`hidden` is a value that neither the line nor the page may quote.
"""

import shutil
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import pytest

from kit.__main__ import main
from kit.healing.description import describe
from kit.pages.comparison_figures import comparison_figure
from kit.pages.figures import closing_figure
from kit.pages.findings import findings
from kit.pages.page import page_html
from kit.study import read_study
from kit.vocabulary import TABLES
from tests.bad_input import makers
from tests.exports import lines

CORPUS = Path(__file__).parent / "bad_input"
FILES = sorted([*CORPUS.glob("*.toml"), *CORPUS.glob("strange/*.toml")])
CASES = {file.stem: tomllib.loads(file.read_text(encoding="utf-8")) for file in FILES}
STOPPED, REPORTED, COUNTED, STRANGE = (
    {name: case for name, case in CASES.items() if key in case} for key in ("stops", "reports", "faults", "same")
)
OUTCOMES = {"stops", "reports", "faults", "same"}
KEYS = OUTCOMES | {"hidden", "files", "absent", "encoding", "make", "plan", "columns", "facility", "export"}
NOT_COMPARED = ["source_row", "tied"]


def lay(case, folder):
    """The export of a case in `folder`, and what the command is asked besides: plan, columns and facility."""
    shutil.copytree(CORPUS / "valid", folder)
    for name in case.get("absent", []):
        (folder / name).unlink()
    for name, text in case.get("files", {}).items():
        (folder / name).write_bytes(text.encode(case.get("encoding", "utf-8")))
    export = getattr(makers, case["make"])(folder) if "make" in case else folder / case.get("export", "")
    asked = {"facility": case.get("facility", "")}
    for name in ("plan", "columns"):
        if name in case:
            asked[name] = folder.parent / f"{name}.toml"
            asked[name].write_text(case[name], encoding="utf-8")
    return export, asked


def page_of(export, facility="", **asked):
    """The page, without the notebooks that a report would run."""
    study = read_study(export, **asked)
    study = study.at(facility) if facility else study
    found, description = findings(study, facility or "All facilities")
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    return page_html(found, figure, comparison_figure(found["comparison"]), study.plan, "r1", [])


class _Words(HTMLParser):
    def __init__(self):
        super().__init__()
        self.words = []

    def handle_data(self, data):
        self.words += data.split()


def words_of(html):
    parser = _Words()
    parser.feed(html)
    return " ".join(parser.words)


@pytest.mark.parametrize("name", STOPPED)
def test_a_fault_that_stops_the_run_is_told_in_one_line_and_leaves_no_report(name, tmp_path, capsys):
    case, reports = STOPPED[name], tmp_path / "reports"
    export, asked = lay(case, tmp_path / "export")
    options = [word for option, value in asked.items() if value for word in (f"--{option}", str(value))]
    assert main(["report", str(export), "--reports", str(reports), *options]) == 1
    said = capsys.readouterr().err
    assert said == f"Stopped: {case['stops']}\n"
    assert case.get("hidden", "\0") not in said
    assert not reports.exists() or not any(reports.iterdir())


@pytest.mark.parametrize("name", REPORTED)
def test_a_fault_that_leaves_something_to_say_is_told_on_the_page(name, tmp_path):
    case = REPORTED[name]
    export, asked = lay(case, tmp_path / "export")
    html = page_of(export, **asked)
    assert case["reports"] in words_of(html)
    assert case.get("hidden", "\0") not in html


@pytest.mark.parametrize("name", COUNTED)
def test_a_fault_of_single_rows_is_counted_and_nothing_is_lost(name, tmp_path):
    case = COUNTED[name]
    export, asked = lay(case, tmp_path / "export")
    study = study_at(export, **asked)
    told = [f"{table} {row} {fault}" for table, row, fault in lines(study.faults)]
    assert list(dict.fromkeys(told)) == case["faults"]  # one fault may be told of a row and of a column of it
    assert (study.account["kept"] + study.account["set_aside"]).tolist() == study.account["rows_in"].tolist()
    assert case.get("hidden", "\0") not in page_of(export, **asked)


@pytest.mark.parametrize("name", STRANGE)
def test_a_strange_way_of_writing_is_no_fault(name, tmp_path):
    case = STRANGE[name]
    export, asked = lay(case, tmp_path / "export")
    study, valid = study_at(export, **asked), read_study(CORPUS / "valid")
    assert study.faults.empty
    for table in TABLES:
        assert rows_of(study, table, case["same"]) == rows_of(valid, table, case["same"])


def study_at(export, facility="", **asked):
    return read_study(export, **asked)


def rows_of(study, table, left_out):
    """The rows of a table in an order of their own, as text, without what this way of writing cannot hold."""
    frame = getattr(study, table)
    return sorted(frame.drop(columns=[*NOT_COMPARED, *left_out], errors="ignore").astype(str).values.tolist())


def test_the_export_beside_the_faults_has_none(tmp_path):
    study = read_study(CORPUS / "valid")
    assert study.faults.empty
    assert describe(study.episodes, study.plan).groups["wounds"].sum() > 0
    assert "Too few to describe" in words_of(page_of(CORPUS / "valid"))


@pytest.mark.parametrize("asked", [["reprot"], ["report", "--facilty", "Alder"], []])
def test_a_command_that_is_misspelt_is_told_with_status_2(asked, capsys):
    assert main(asked) == 2
    said = capsys.readouterr().err
    assert said.startswith("Not understood: " if asked else "usage: python3 start.py")


@pytest.mark.parametrize("name", CASES)
def test_a_case_says_one_thing_in_known_keys(name):
    assert set(CASES[name]) <= KEYS
    assert len(OUTCOMES & set(CASES[name])) == 1


def test_every_maker_makes_a_case():
    ours = {name for name, maker in vars(makers).items() if getattr(maker, "__module__", "") == makers.__name__}
    assert {name for name in ours if name[0] != "_"} == {case["make"] for case in CASES.values() if "make" in case}


def test_no_two_files_of_the_corpus_have_one_name():
    assert len(CASES) == len(FILES)
