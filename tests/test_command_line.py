"""The command line: what it says, what it answers with, and that asking for help is quick."""

import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kit.__main__ import _parser, main
from kit.command_words import COMMANDS, STATUSES
from kit.pages.kernel import NotebookError
from kit.vocabulary import TABLES
from tests.conftest import LIFELIKE
from tests.exports import CALENDAR

ROOT = Path(__file__).parent.parent
HEAVY = {"pandas", "numpy", "matplotlib", "pydantic", "papermill", "nbconvert", "IPython", "kit.study", "kit.pages"}
QUICK = 3  # seconds; a plain interpreter needs about 0.1, one that imports the kit's libraries about 2


def stopped(capsys, *words):
    """The status of a command that stops, and its message, which must be one line on the error stream."""
    status = main([str(word) for word in words])
    said = capsys.readouterr()
    assert said.err.count("\n") == 1 and said.err.endswith("\n")
    return status, said.err.rstrip("\n")


def helped(capsys, *words):
    """What a command says of itself."""
    with pytest.raises(SystemExit) as left:
        main([*words, "--help"])
    assert left.value.code == 0
    return capsys.readouterr().out


def not_understood(capsys, *words):
    """What is said of words that are not understood: one line on the error stream, and the status 2."""
    try:
        status = main(list(words))
    except SystemExit as left:
        status = left.code
    said = capsys.readouterr()
    assert (status, said.out, said.err.count("\n")) == (2, "", 1)
    return said.err.rstrip("\n")


def timed(lines):
    """What lines of progress say; each must begin with its seconds."""
    met = [re.fullmatch(r" +\d+\.\d s  (.+)", line) for line in lines]
    assert all(met)
    return [one[1] for one in met]


# --- help ---


def test_help_names_the_commands_and_shows_examples(capsys):
    said = helped(capsys)
    assert all(f"    {name}" in said for name in COMMANDS)
    assert STATUSES in said
    assert main([]) == 2
    assert capsys.readouterr().err == said


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_has_a_paragraph_examples_and_statuses(capsys, name):
    said = helped(capsys, name)
    assert " ".join(COMMANDS[name].long.split()) in " ".join(said.split())
    assert said.startswith(f"usage: python3 start.py {name}")
    assert 1 <= said.count(f"\n  python3 start.py {name}") <= 3
    assert STATUSES in said
    assert max(map(len, said.splitlines())) <= 100


@pytest.mark.parametrize("name", COMMANDS)
def test_every_example_is_understood(name):
    for words, _ in COMMANDS[name].examples:
        asked, left = _parser().parse_known_args(shlex.split(words.split(" > ")[0]))
        assert (asked.command, left) == (name, [])


def test_help_of_the_report_names_every_option(capsys):
    said = helped(capsys, "report")
    assert all(option in said for option in ("--plan", "--columns", "--facility", "--reports"))


def test_help_is_quick_and_imports_nothing_heavy():
    code = "import sys\nfrom kit.__main__ import _parser\n_parser().format_help()\nprint(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert HEAVY & set(loaded.stdout.split()) == set()
    began = time.monotonic()
    subprocess.run([sys.executable, "-m", "kit", "report", "--help"], cwd=ROOT, capture_output=True, check=True)
    assert time.monotonic() - began < QUICK


# --- asked wrongly ---


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["reprot"], "there is no command reprot (did you mean report?). What there is: python3 start.py --help"),
        (["chek", "export"], "there is no command chek (did you mean check?)."),
        (["zzz"], "there is no command zzz. "),
        (["Jane Doe"], "there is no command of that name. "),
        (["--facility", "Jane Doe"], "there is no command of that name. "),
        (["--fast"], "there is no option --fast here. "),
        (["--"], "no command is named. "),
        (["report", "--fasility", "Tarnwick"], "there is no option --fasility here (did you mean --facility?). What "
         "there is: python3 start.py report --help"),
        (["report", "--fasility=Tarnwick"], "there is no option --fasility here (did you mean --facility?)."),
        (["report", "--facil", "Tarnwick"], "there is no option --facil here (did you mean --facility?)."),
        (["report", "-R0412"], "there is no option of that name here. "),
        (["report", "one", "two"], "there is a word too many; put a name with spaces in quotes. "),
        (["report", "--facility"], "--facility needs a value after it. What there is: python3 start.py report --help"),
        (["check"], "it needs export. What there is: python3 start.py check --help"),
        (["documentation"], "it needs export and workbook. "),
        (["forget", "something"], "there is a word too many; "),
        (["issue", "--help=R0412"], "the words do not fit together. "),
    ],
)  # fmt: skip
def test_words_that_are_not_understood_get_one_line_and_2(capsys, words, says):
    said = not_understood(capsys, *words)
    assert said.startswith(f"Not understood: {says}")
    assert not [secret for secret in ("Jane", "R0412", "Tarnwick") if secret in said]


# --- stopped by the input ---


def test_an_export_that_is_not_there_ends_with_1_and_is_named(capsys, tmp_path):
    status, said = stopped(capsys, "report", tmp_path / "no-export", "--reports", tmp_path / "reports")
    assert status == 1
    assert said.startswith("Stopped: no-export: there is no such export")
    assert list(tmp_path.iterdir()) == []


def test_a_plan_that_is_not_there_ends_with_1_and_is_named(capsys, tmp_path, invented):
    words = ["report", invented.export, "--plan", tmp_path / "no-plan.toml", "--reports", tmp_path / "reports"]
    status, said = stopped(capsys, *words)
    assert status == 1
    assert said.startswith("Stopped: no-plan.toml: there is no such plan")
    assert list(tmp_path.iterdir()) == []


def test_a_column_map_that_is_not_there_ends_with_1_and_is_named(capsys, tmp_path, invented):
    words = ["report", invented.export, "--columns", tmp_path / "no-map.toml", "--reports", tmp_path / "reports"]
    status, said = stopped(capsys, *words)
    assert status == 1
    assert said.startswith("Stopped: no-map.toml: there is no such column map")
    assert list(tmp_path.iterdir()) == []


def test_a_facility_that_is_not_there_ends_with_1(capsys, tmp_path, invented):
    words = ["report", invented.export, "--facility", "Nowhere", "--reports", tmp_path / "reports"]
    status, said = stopped(capsys, *words)
    assert status == 1
    assert said.startswith("Stopped: no resident belongs to that facility")
    assert list(tmp_path.iterdir()) == []


def test_a_notebook_that_may_not_be_kept_ends_with_1(capsys, tmp_path, invented, monkeypatch):
    def refuse(request, say):
        raise NotebookError("01-question.ipynb: cell 4 stopped with ValueError")

    monkeypatch.setattr("kit.pages.report.report", refuse)
    words = ["report", invented.export, "--reports", tmp_path / "reports"]
    assert stopped(capsys, *words) == (1, "Stopped: 01-question.ipynb: cell 4 stopped with ValueError")


def test_a_message_names_no_folder_of_this_computer(capsys, tmp_path):
    _, said = stopped(capsys, "report", tmp_path / "no-export", "--reports", tmp_path / "reports")
    assert str(tmp_path) not in said


# --- the dictionary ---


def test_the_dictionary_names_every_table_and_every_column(capsys):
    assert main(["dictionary"]) == 0
    said = capsys.readouterr().out
    sections = {section.split(":")[0]: section for section in said.split("### ")[1:]}
    assert set(sections) == set(TABLES)
    for name, table in TABLES.items():
        lines = [line.split(" | ")[0].removeprefix("| ").strip("*") for line in sections[name].splitlines()]
        assert [line for line in lines if line in table.names] == list(table.names)


def test_a_fault_of_the_kit_itself_is_told_by_its_kind_and_place_and_quotes_nothing(capsys, monkeypatch, tmp_path):
    def breaks(*given, **named):
        raise ValueError("R0412 has a wound on the left heel")

    monkeypatch.setattr("kit.pages.report.report", breaks)
    assert main(["report", "--reports", str(tmp_path / "reports")]) == 3
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "ValueError" in said and "__main__.py line" in said
    assert "R0412" not in said and "heel" not in said


def test_a_reports_folder_that_is_a_file_is_told_in_one_line(capsys, tmp_path):
    (tmp_path / "reports").write_text("not a folder")
    assert main(["report", "--reports", str(tmp_path / "reports")]) == 1
    said = capsys.readouterr().err
    assert said.startswith("Stopped: ") and said.count("\n") == 1


# --- draft, check, template ---

LISTED = "Wound ref,Person,Type\nW1,P1,Pressure\nW2,P2,Venous\n"
SEEN = "Wound ref,Seen,Len (cm),Wid (cm)\nW1,2026-04-06,4,3\nW2,2026-04-07,2,2\n"


@pytest.fixture
def strange(tmp_path):
    """A folder in headers of its own."""
    (tmp_path / "list.csv").write_text(LISTED, encoding="utf-8")
    (tmp_path / "rounds.csv").write_text(SEEN, encoding="utf-8")
    (tmp_path / "study-plan.toml").write_text(CALENDAR, encoding="utf-8")
    return tmp_path


def test_from_a_strange_folder_draft_and_check_lead_to_a_report(strange, capsys):
    assert main(["draft", str(strange)]) == 0
    said = capsys.readouterr().out
    assert "wounds: 3 columns placed, from list.csv" in said
    assert timed(said.splitlines()[:2]) == ["Starting", "Looking for what each sheet and column holds"]
    assert said.splitlines()[-1].endswith(f'start.py check "{strange}"')
    assert main(["check", str(strange)]) == 0
    assert capsys.readouterr().out.splitlines()[-1].startswith("Nothing stops the report.")


def test_a_map_that_is_there_is_never_overwritten(strange, capsys):
    (strange / "columns.toml").write_text("# mine\n", encoding="utf-8")
    status, said = stopped(capsys, "draft", strange)
    assert status == 1
    assert said.startswith("Stopped: columns.toml: there is one already")
    assert (strange / "columns.toml").read_text(encoding="utf-8") == "# mine\n"


def test_a_check_that_finds_something_ends_with_1_and_what_to_fix_next(strange, capsys):
    (strange / "study-plan.toml").unlink()
    main(["draft", str(strange)])
    assert main(["check", str(strange)]) == 1
    assert capsys.readouterr().out.splitlines()[-1].startswith("Fix next: study-plan.toml")


def test_a_template_is_written_once(tmp_path, capsys):
    assert main(["template", str(tmp_path / "ours.xlsx")]) == 0
    assert capsys.readouterr().out.splitlines()[-1].endswith(f'start.py check "{tmp_path / "ours.xlsx"}"')
    status, said = stopped(capsys, "template", tmp_path / "ours.xlsx")
    assert (status, said.startswith("Stopped: ours.xlsx: ")) == (1, True)


# --- the documentation check ---


def test_a_documentation_check_is_written_and_says_who_reads_it_first(tmp_path, capsys):
    words = ["documentation", str(LIFELIKE), str(tmp_path / "check.xlsx"), "--facility", "Tarnwick"]
    assert main(words) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[-2:] == ["Send this to the compliance officer first.", f"The check is {tmp_path / 'check.xlsx'}"]
    assert timed(said[:-2]) == ["Starting", "Reading and cleaning the export", "Writing the workbook"]
    assert (tmp_path / "check.xlsx").exists()


@pytest.mark.parametrize(
    ("workbook", "facility", "message"),
    [
        ("check.xlsx", "", "Stopped: the check is of one facility; name one with --facility: Brindlemere"),
        ("check.xlsx", "Nowhere", "Stopped: no resident belongs to that facility"),
        ("reports/check.xlsx", "Tarnwick", "Stopped: check.xlsx: the check may not lie in a folder of reports"),
        ("check.csv", "Tarnwick", "Stopped: check.csv: the check is a workbook"),
    ],
)
def test_a_documentation_check_that_is_asked_of_the_wrong_thing_stops(capsys, tmp_path, workbook, facility, message):
    status, said = stopped(capsys, "documentation", LIFELIKE, tmp_path / workbook, "--facility", facility)
    assert (status, said.startswith(message)) == (1, True)
    assert list(tmp_path.iterdir()) == []


def test_a_documentation_check_is_never_written_over(capsys, tmp_path):
    (tmp_path / "check.xlsx").write_text("mine")
    status, said = stopped(capsys, "documentation", LIFELIKE, tmp_path / "check.xlsx", "--facility", "Tarnwick")
    assert (status, said.startswith("Stopped: check.xlsx: there is such a file already")) == (1, True)
    assert (tmp_path / "check.xlsx").read_text() == "mine"


# --- statuses ---


@pytest.mark.parametrize("words", [["draft"], ["check"], ["documentation", "check.xlsx"], ["report"]])
def test_an_export_that_is_not_there_stops_every_command_that_reads_one(capsys, tmp_path, words):
    name, *more = words
    status = main([name, str(tmp_path / "no-export"), *(str(tmp_path / word) for word in more)])
    said = capsys.readouterr()
    assert status == 1
    assert "no-export: there is no such export" in said.err + said.out
    assert str(tmp_path) not in said.err


def test_inventing_ends_with_where_it_lies(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("kit.synthetic.export.write_all", lambda folder: None)
    assert main(["invent", str(tmp_path)]) == 0
    *progress, last = capsys.readouterr().out.splitlines()
    assert timed(progress)[0] == "Starting"
    assert last == f"The invented exports are in {tmp_path}"


@pytest.mark.parametrize("name", ["draft", "check", "invent"])
def test_an_interrupt_ends_every_command_with_130(capsys, tmp_path, monkeypatch, name):
    def interrupted(*given):
        signal.raise_signal(signal.SIGINT)

    place = {"draft": "kit.intake.drafting.draft", "check": "kit.checking.check"}
    monkeypatch.setattr(place.get(name, "kit.synthetic.export.write_all"), interrupted)
    assert main([name, str(tmp_path)]) == 130
    assert capsys.readouterr().err == "Stopped: interrupted; nothing unfinished was kept\n"
    assert list(tmp_path.iterdir()) == []


def test_what_goes_into_a_pipe_is_plain():
    said = subprocess.run([sys.executable, "-m", "kit", "check", "--help"], cwd=ROOT, capture_output=True, check=True)
    assert said.stdout.isascii() and b"\x1b" not in said.stdout
