"""Bad input, one fault a file: a clear line and no report, or a page that says what could not be had.

Each file of tests/bad_input is called after its fault. It holds what differs from the small valid export beside it:
`files`, `absent`, or `plan`, `columns`, `facility` and `export` of the command. Then either `stops`, the one line
that is told, or `reports`, words that the page must hold. `hidden` is a value that neither may quote.
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

CORPUS = Path(__file__).parent / "bad_input"
CASES = {file.stem: tomllib.loads(file.read_text(encoding="utf-8")) for file in sorted(CORPUS.glob("*.toml"))}
STOPPED = {name: case for name, case in CASES.items() if "stops" in case}
REPORTED = {name: case for name, case in CASES.items() if "reports" in case}
KEYS = {"stops", "reports", "hidden", "files", "absent", "encoding", "plan", "columns", "facility", "export"}


def lay(case, folder):
    """The export of a case in `folder`, and what the command is asked besides: plan, columns and facility."""
    shutil.copytree(CORPUS / "valid", folder)
    for name in case.get("absent", []):
        (folder / name).unlink()
    for name, text in case.get("files", {}).items():
        (folder / name).write_bytes(text.encode(case.get("encoding", "utf-8")))
    asked = {"facility": case.get("facility", "")}
    for name in ("plan", "columns"):
        if name in case:
            asked[name] = folder.parent / f"{name}.toml"
            asked[name].write_text(case[name], encoding="utf-8")
    return asked


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
    asked = lay(case, tmp_path / "export")
    options = [word for option, value in asked.items() if value for word in (f"--{option}", str(value))]
    export = tmp_path / "export" / case.get("export", "")
    assert main(["report", str(export), "--reports", str(reports), *options]) == 1
    said = capsys.readouterr().err
    assert said == f"Stopped: {case['stops']}\n"
    assert case.get("hidden", "\0") not in said
    assert not reports.exists() or not any(reports.iterdir())


@pytest.mark.parametrize("name", REPORTED)
def test_a_fault_that_leaves_something_to_say_is_told_on_the_page(name, tmp_path):
    case = REPORTED[name]
    asked = lay(case, tmp_path / "export")
    html = page_of(tmp_path / "export", **asked)
    assert case["reports"] in words_of(html)
    assert case.get("hidden", "\0") not in html


def test_the_export_beside_the_faults_has_none(tmp_path):
    study = read_study(CORPUS / "valid")
    assert study.faults.empty
    assert describe(study.episodes, study.plan).groups["wounds"].sum() > 0
    assert "too few to describe" in words_of(page_of(CORPUS / "valid"))


@pytest.mark.parametrize("asked", [["reprot"], ["report", "--facilty", "Alder"], []])
def test_a_command_that_is_misspelt_is_told_with_status_2(asked, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(asked)
    assert stopped.value.code == 2
    assert "error: " in capsys.readouterr().err.splitlines()[-1]


@pytest.mark.parametrize("name", CASES)
def test_a_case_says_one_thing_in_known_keys(name):
    assert set(CASES[name]) <= KEYS
    assert ("stops" in CASES[name]) is not ("reports" in CASES[name])
