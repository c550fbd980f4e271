"""A report for each facility and one for the group: the numbers of reports made one by one; one failing stops none."""

import json
import shutil

import nbformat
import pytest

from kit.__main__ import main
from kit.delivery.shortfalls import ALL
from kit.faults import ExportError
from kit.pages import many as module
from kit.pages.many import ENDED, Made, _told, kept_kernel, make, many
from kit.pages.report import Request, report
from tests import exports
from tests.test_kernel import a_notebook

HOMES = ("Alder", "Birch", "Cedar")
PEOPLE = 4  # of each facility


@pytest.fixture
def three(tmp_path):
    """A request on an export of three facilities with four residents each, and one tiny notebook."""
    export = tmp_path / "export"
    export.mkdir()
    names = [(f"R{n}", f"W{n}", HOMES[n % 3]) for n in range(3 * PEOPLE)]
    rows = [f"{wound},{130 + 7 * week},open,{5 - week},3" for _, wound, _ in names for week in range(3)]
    exports.write(
        export,
        residents="resident,facility\n" + "\n".join(f"{person},{home}" for person, _, home in names),
        wounds="wound,resident,kind,site\n" + "\n".join(f"{wound},{who},venous,leg" for who, wound, _ in names),
        measurements="wound,day,state,length,width\n" + "\n".join(rows),
    )
    return Request(export, tmp_path / "reports", notebooks=tiny(tmp_path / "books"))


def tiny(folder, source="show('fine')"):
    notebook = a_notebook(folder, f"from kit.pages.display import show\n{source}")
    declared = nbformat.read(notebook, 4)
    declared.cells[1].source = 'export = ""\nplan = ""\ncolumns = ""\nfacility = ""'
    nbformat.write(declared, notebook)
    return folder


def found(reports):
    """The findings of every report below a folder, by facility."""
    files = sorted(reports.glob("*/*/r1/internal/findings.json"))
    return {file.parts[-5]: file.read_bytes() for file in files}


def one_by_one(request, reports):
    for facility in ("", *HOMES):
        report(Request(request.export, reports, facility=facility, notebooks=request.notebooks))
    return found(reports)


def test_reports_side_by_side_have_the_findings_of_reports_made_one_by_one(three, tmp_path):
    said = []
    made = many(three, at_once=2, say=said.append)
    assert [(one.name, one.why) for one in made] == [(name, "") for name in (ALL, *HOMES)]
    together, apart = found(three.reports), one_by_one(three, tmp_path / "apart")
    assert set(together) == {"All-facilities", *HOMES} and together == apart
    assert len(set(together.values())) == 4  # each speaks of its own
    assert said[1] == "4 reports, 2 at a time: the group and Alder, Birch, Cedar"
    assert sorted(line.partition(":")[0] for line in said[2:]) == sorted([ALL, *HOMES])
    assert said[-1].endswith("(4 of 4)")


def test_a_facility_that_cannot_be_reported_is_told_and_the_others_are_made(three, capfd):
    sizes = three.export / "measurements.csv"
    lines = sizes.read_text().splitlines()
    birch = [f"W{n}," for n in range(3 * PEOPLE) if HOMES[n % 3] == "Birch"]
    kept = [line for line in lines if not line.startswith(tuple(birch))]
    sizes.write_text("\n".join(kept) + "\n")
    made = many(three, at_once=2)
    assert {one.name for one in made if one.why} == {"Birch"}
    assert made[2].why.startswith("no wound was ever measured open before the cut-off")
    assert set(found(three.reports)) == {"All-facilities", "Alder", "Cedar"}
    assert "".join(capfd.readouterr()) == ""


def test_the_command_counts_what_was_made_and_fails_where_one_was_not(three, monkeypatch, capsys):
    made = [Made("", "reports/All-facilities/x/r1", seconds=3), Made("Alder", why="nothing open")]
    asked = []
    monkeypatch.setattr(module, "many", lambda *given: asked.append(given) or made)
    assert main(["report", str(three.export), "--each", "--at-once", "2"]) == 1
    told = capsys.readouterr()
    assert told.out.splitlines()[-1] == "1 of 2 reports were made"
    assert told.err == "Stopped: not made: Alder\n"
    assert asked[0][1:3] == ("", 2)
    made.pop()
    assert main(["report", str(three.export), "--each"]) == 0


@pytest.mark.parametrize("given", [["--at-once", "2"], ["--cluster", "tcp://x:1"], ["--each", "--facility", "Alder"]])
def test_what_does_not_go_together_is_said(three, given, capsys):
    assert main(["report", str(three.export), *given]) == 1
    assert "go with --each" in capsys.readouterr().err


def test_an_export_of_one_facility_is_asked_to_leave_each_out(three):
    people = three.export / "residents.csv"
    people.write_text(people.read_text().replace("Birch", "Alder").replace("Cedar", "Alder"))
    with pytest.raises(ExportError, match="fewer than two facilities; leave out --each"):
        many(three)
    assert not three.reports.exists()


def test_a_fault_of_a_notebook_is_one_line_without_what_it_showed(three):
    shutil.rmtree(three.notebooks)
    tiny(three.notebooks, "raise ValueError('pr-kelp-17')")
    told = make(three)
    assert told.folder == "" and told.why.endswith("stopped with ValueError")


def test_a_fault_of_the_kit_names_its_place_and_no_value(three, monkeypatch):
    def broken(*given, **others):
        raise KeyError("pr-kelp-17")

    monkeypatch.setattr(module, "report", broken)
    told = make(three)
    assert told.why.startswith("a fault of the kit itself (KeyError, many.py line ") and "kelp" not in told.why


def test_what_ends_a_whole_pool_is_told_of_all_that_were_not_made(three, monkeypatch):
    class TerminatedWorkerError(RuntimeError):
        pass

    class Pool:
        def __init__(self, **_):
            pass

        def __call__(self, _):
            yield Made("", "reports/All-facilities/x/r1")
            raise TerminatedWorkerError

    monkeypatch.setattr(module, "Parallel", Pool)
    made = many(three, at_once=2)
    assert [one.why for one in made] == ["", ENDED, ENDED, ENDED]


def test_the_line_of_a_report_says_which_facility_and_how_many_are_done():
    assert _told(Made("Alder", "reports/Alder/x/r1", seconds=31.4), 2, 5) == "Alder: reports/Alder/x/r1, 31 s (2 of 5)"
    assert _told(Made("", why="nothing open"), 1, 5) == "All facilities: not made: nothing open (1 of 5)"


def test_a_kept_kernel_is_one_until_something_fails_in_it(monkeypatch):
    begun, ended = [], []

    class Kernel:
        def __enter__(self):
            begun.append(len(begun))
            return begun[-1]

        def __exit__(self, *_):
            ended.append(begun[-1])

    monkeypatch.setattr(module, "one_kernel", Kernel)
    with kept_kernel() as first, kept_kernel() as second:
        assert first == second == 0
    with pytest.raises(ValueError, match="lost"), kept_kernel():
        raise ValueError("lost")
    assert ended == [0]
    with kept_kernel() as third:
        assert third == 1
    module._kept.pop("stack").close()
    module._kept.clear()


def test_the_findings_name_the_facility_they_are_of(three):
    made = make(Request(three.export, three.reports, facility="Alder", notebooks=three.notebooks))
    assert made.why == ""
    [alder] = found(three.reports).values()
    assert json.loads(alder)["scope"] == "Alder"
