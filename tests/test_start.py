"""start.py's own decisions; no environment is made here and nothing is installed."""

import ast
import importlib.util
import shutil
import sys
from pathlib import Path

import pytest

from kit.command_words import COMMANDS
from kit.kept import AT_THE_DESK

ROOT = Path(__file__).parent.parent


@pytest.fixture
def start():
    spec = importlib.util.spec_from_file_location("start_script", ROOT / "start.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def installed(start, tmp_path, monkeypatch):
    """A root whose .venv seems to work, with pip's calls and the environments made recorded in order."""
    for name in ("pyproject.toml", "constraints.txt"):
        shutil.copyfile(ROOT / name, tmp_path / name)
    venv, calls = tmp_path / ".venv", []
    venv.mkdir()
    monkeypatch.setattr(start, "ROOT", tmp_path)
    monkeypatch.setattr(start, "STAMP", venv / "installed.txt")
    monkeypatch.setattr(start, "works", lambda python: True)
    monkeypatch.setattr(start, "make_venv", lambda: calls.append("venv"))
    monkeypatch.setattr(start, "pip", lambda command: calls.append(command[-1]))
    return calls


# --- words ---


@pytest.mark.parametrize(("words", "status"), [([], 2), (["help"], 0), (["--help"], 0), (["-h"], 0)])
def test_no_word_or_a_call_for_help_shows_every_command(start, words, status, capsys):
    assert start.main(words) == status
    said = capsys.readouterr()
    shown = said.out if words else said.err
    assert all(f"start.py {job} " in shown for job in (*start.KITS, "test", "lab"))


def test_every_command_of_the_kit_can_be_called_from_here(start):
    assert set(start.KITS) == set(COMMANDS)


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("reprot", "Not understood: there is no command reprot (did you mean report?). "),
        ("labb", "Not understood: there is no command labb (did you mean lab?). "),
        ("zzz", "Not understood: there is no command zzz. "),
        ("Jane Doe.xlsx", "Not understood: there is no command of that name. "),
    ],
)
def test_a_word_that_is_no_command_gets_one_line_with_the_nearest(start, capsys, word, said):
    assert start.main([word]) == 2
    shown = capsys.readouterr()
    assert shown.err == said + "What there is: python3 start.py --help\n"
    assert shown.out == ""


def test_options_travel_on_and_the_status_comes_back(start, monkeypatch):
    monkeypatch.setattr(start, "install", lambda extra: None)
    ran = []
    monkeypatch.setattr(start, "run", lambda command, cwd=None: ran.append(command) or 3)
    assert start.main(["report", "--export", "my folder"]) == 3
    assert ran[0][1:] == ["-m", "kit", "report", "--export", "my folder"]


def test_every_check_runs_and_the_first_failure_decides(start, monkeypatch, capsys):
    monkeypatch.setattr(start, "install", lambda extra: None)
    statuses = iter([0, 1, 4, 0])
    monkeypatch.setattr(start, "run", lambda command, cwd=None: next(statuses))
    assert start.main(["test"]) == 1
    assert next(statuses, "all four ran") == "all four ran"
    assert "Failed: ruff format, pytest" in capsys.readouterr().out


# --- the environment ---


@pytest.mark.parametrize("changed", ["constraints.txt", "pyproject.toml"])
def test_the_stamp_changes_with_what_is_to_be_installed(start, installed, tmp_path, changed):
    before = start.stamp(tmp_path, "")
    assert start.stamp(tmp_path, "") == before
    with (tmp_path / changed).open("a") as file:
        file.write("# one more line\n")
    assert start.stamp(tmp_path, "") != before


def test_the_stamp_changes_with_the_extras_and_the_folder(start, installed, tmp_path):
    assert len({start.stamp(tmp_path, ""), start.stamp(tmp_path, "test"), start.stamp(ROOT, "")}) == 3


def test_the_second_run_installs_nothing(start, installed):
    start.install("")
    start.install("")
    assert installed == ["."]


def test_what_was_installed_for_the_tests_serves_a_report(start, installed):
    start.install("")
    start.install("test")
    start.install("")
    assert installed == [".", ".[test]"]


def test_changed_constraints_install_again(start, installed, tmp_path):
    start.install("")
    (tmp_path / "constraints.txt").write_text("numpy==2.4.6\n")
    start.install("")
    assert installed == [".", "."]


def test_a_failed_install_is_tried_again(start, installed, tmp_path, monkeypatch):
    start.install("")
    before = (tmp_path / "constraints.txt").read_text()
    (tmp_path / "constraints.txt").write_text("numpy==2.4.6\n")
    with monkeypatch.context() as patch, pytest.raises(start.Stop):
        patch.setattr(start, "pip", lambda command: fail(start))
        start.install("")
    # Back to what was once installed, but the failed attempt may have changed some of it.
    (tmp_path / "constraints.txt").write_text(before)
    start.install("")
    assert installed == [".", "."]


def fail(start):
    raise start.Stop("no network")


def test_an_environment_that_does_not_work_is_made_anew(start, installed, monkeypatch):
    start.install("")
    monkeypatch.setattr(start, "works", lambda python: False)
    start.install("")
    assert installed == [".", "venv", "."]


def test_an_interpreter_that_is_not_there_does_not_work(start, tmp_path):
    assert not start.works(tmp_path / "python")


# --- messages ---


def test_without_ensurepip_the_message_names_the_package(start, monkeypatch, capsys):
    found = importlib.util.find_spec
    monkeypatch.setattr(start.importlib.util, "find_spec", lambda name: name != "ensurepip" and found(name))
    monkeypatch.setattr(start, "works", lambda python: False)
    monkeypatch.setattr(start, "STAMP", Path("no such folder") / "installed.txt")
    assert start.main(["report"]) == 1
    message = capsys.readouterr().err
    assert "sudo apt install python3-venv" in message
    assert message.count("\n") == 1


def test_a_failing_pip_leaves_its_last_words_and_the_cure(start, capsys):
    with pytest.raises(start.Stop, match="the network"):
        start.pip([sys.executable, "-c", "print('no route'); raise SystemExit(1)"])
    assert capsys.readouterr().err == "no route\n"


@pytest.mark.parametrize("version", [(3, 10, 13), (3, 15, 0)])
def test_a_python_too_old_or_too_new_is_named(start, version):
    with pytest.raises(start.Stop, match=rf"This is Python 3\.{version[1]}, and the kit needs 3\.11 to 3\.14"):
        start.demand_python(version)


def test_an_old_python_can_still_read_the_file():
    ast.parse((ROOT / "start.py").read_text(), feature_version=(3, 7))


# --- the desk ---


def test_the_desk_keeps_what_a_person_changed(start, tmp_path):
    notebooks, desk = tmp_path / "notebooks", tmp_path / "desk"
    notebooks.mkdir()
    for name in ("1_care.ipynb", "2_healing.ipynb"):
        (notebooks / name).write_text("ours")
    assert start.lay_desk(notebooks, desk) == []
    (desk / "1_care.ipynb").write_text("mine")
    (notebooks / "3_new.ipynb").write_text("ours")
    assert start.lay_desk(notebooks, desk) == ["1_care.ipynb"]
    assert [file.read_text() for file in sorted(desk.iterdir())] == ["mine", "ours", "ours"]


def test_the_desk_holds_the_tutorials_too(start, tmp_path):
    notebooks, desk = tmp_path / "notebooks", tmp_path / "desk"
    (notebooks / "tutorial").mkdir(parents=True)
    (notebooks / "tutorial" / "first.ipynb").write_text("ours")
    assert start.lay_desk(notebooks, desk) == []
    assert (desk / "tutorial" / "first.ipynb").read_text() == "ours"
    (desk / "tutorial" / "first.ipynb").write_text("mine")
    assert start.lay_desk(notebooks, desk) == ["tutorial/first.ipynb"]
    assert (desk / "tutorial" / "first.ipynb").read_text() == "mine"


@pytest.fixture
def lab(start, tmp_path, monkeypatch):
    """A lab that does not start: what would have been run, as (command, more surroundings)."""
    ran = []
    monkeypatch.setattr(start, "install", lambda extra: None)
    monkeypatch.setattr(start, "run", lambda command, cwd=None, more=None: ran.append((command, more)) or 0)
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "notebooks" / "1_care.ipynb").write_text("ours")
    monkeypatch.setattr(start, "ROOT", tmp_path)
    monkeypatch.setattr(start, "DESK", tmp_path / "desk")
    return ran


def test_the_lab_passes_options_on_and_alone_keeps_answers(start, lab, capsys):
    assert start.main(["lab", "--no-browser"]) == 0
    assert start.main(["report"]) == 0
    (opened, kept), (_, of_report) = lab
    assert opened[-1] == "--no-browser"
    assert kept == {AT_THE_DESK: "1"}
    assert not of_report
    said = capsys.readouterr().out
    assert "python3 start.py forget" in said
    assert "Press Ctrl-C here to end it." in said
    assert "other computers" not in said


def test_the_lab_tells_of_a_copy_that_differs_and_of_a_synced_desk(start, lab, tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(start, "DESK", tmp_path / "Dropbox" / "desk")
    start.main(["lab"])
    (tmp_path / "Dropbox" / "desk" / "1_care.ipynb").write_text("mine")
    capsys.readouterr()
    start.main(["lab"])
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("desk/1_care.ipynb differs from the kit's own and was left alone")
    assert said[1].startswith("desk/ lies in a folder that Dropbox copies to other computers")


def test_help_of_the_lab_is_that_of_jupyterlab_and_lays_no_desk(start, lab, tmp_path):
    assert start.main(["lab", "--help"]) == 0
    assert lab[0][0][-2:] == ["jupyterlab", "--help"]
    assert not (tmp_path / "desk").exists()


def test_what_a_command_needs_more_reaches_it(start):
    code = "import os, sys; sys.exit(int(os.environ.get('WOUND_OUTCOMES_DESK') or 7))"
    assert start.run([sys.executable, "-c", code], more={AT_THE_DESK: "5"}) == 5


def test_the_lab_is_told_to_leave_the_network_alone(start):
    settings = start.lab_settings(Path("desk"))
    assert "--LabApp.news_url=None" in settings
    assert "--LabApp.extension_manager=readonly" in settings
    assert any(setting.endswith("NeverCheckForUpdate") for setting in settings)


def test_what_is_started_from_inside_the_lab_is_no_part_of_the_desk(monkeypatch):
    monkeypatch.setenv("WOUND_OUTCOMES_DESK", "1")
    spec = importlib.util.spec_from_file_location("start_script", ROOT / "start.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    code = "import os, sys; sys.exit('WOUND_OUTCOMES_DESK' in os.environ)"
    assert module.run([sys.executable, "-c", code]) == 0
    assert module.run([sys.executable, "-c", code], more=module.AT_THE_DESK) == 1
