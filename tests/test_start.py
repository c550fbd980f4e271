"""start.py's own decisions; no environment is made here and nothing is installed."""

import ast
import importlib.util
import shutil
import sys
from pathlib import Path

import pytest

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


@pytest.mark.parametrize("words", [[], ["help"], ["reprot"], ["--help"]])
def test_no_word_or_a_wrong_one_shows_the_three_commands(start, words, capsys):
    assert start.main(words) == 2
    shown = capsys.readouterr().err
    assert all(f"start.py {job} " in shown for job in ("report", "test", "lab"))


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


def test_the_lab_is_told_to_leave_the_network_alone(start):
    settings = start.lab_settings(Path("desk"))
    assert "--LabApp.news_url=None" in settings
    assert "--LabApp.extension_manager=readonly" in settings
    assert any(setting.endswith("NeverCheckForUpdate") for setting in settings)
