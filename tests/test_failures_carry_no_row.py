"""Wherever the kit or a library fails, what is said names no value of the export, and nothing is left."""

import logging
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from kit.__main__ import main

ROOT = Path(__file__).parents[1]
SECRET = "pr-kelp-07"
POINTS = [
    "kit.study.clean",
    "kit.study.episodes",
    "kit.intake.screening.read_days",
    "kit.healing.answers.choose_horizon",
    "kit.pages.report.findings",
    "kit.pages.report.page_html",
    "kit.pages.report.told",
    "kit.pages.report.write_wounds",
    "kit.pages.report.png",
    "pandas.DataFrame.merge",
    "openpyxl.Workbook.save",
]


def fails(*given, **named):
    raise ValueError(f"cannot place {SECRET} of {pd.Series([SECRET]).to_dict()}")


@pytest.fixture
def one_notebook(monkeypatch, tmp_path):
    """Notebooks take a minute; a report without any fails in the same places."""
    from kit.pages import report

    (tmp_path / "notebooks").mkdir()
    monkeypatch.setattr(report.Request, "__init__", _request(report.Request.__init__, tmp_path / "notebooks"))


def _request(make, notebooks):
    return lambda self, *given, **named: make(self, *given, notebooks=notebooks, **named)


@pytest.mark.parametrize("point", POINTS)
def test_a_failure_anywhere_is_told_without_a_value_and_leaves_nothing(
    invented, one_notebook, monkeypatch, tmp_path, capfd, caplog, point
):
    monkeypatch.setattr(point, fails)
    caplog.set_level(logging.DEBUG)
    assert main(["report", str(invented.export), "--reports", str(tmp_path / "reports")]) == 3
    said = capfd.readouterr()
    assert said.err.startswith("Stopped by a fault of the kit itself (ValueError, ")
    assert len(said.err.splitlines()) == 1
    assert SECRET not in said.err + said.out + caplog.text
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize("point", ["kit.intake.screening.read_days", "kit.checking.study_of"])
def test_so_does_a_failure_of_the_check(invented, monkeypatch, capfd, point):
    monkeypatch.setattr(point, fails)
    assert main(["check", str(invented.export)]) == 3
    said = capfd.readouterr()
    assert SECRET not in said.err + said.out
    assert len(said.err.splitlines()) == 1


def test_the_plant_would_be_seen(capfd):
    with pytest.raises(ValueError, match=SECRET):
        fails()
    print(SECRET)
    assert SECRET in capfd.readouterr().out


def test_what_a_library_warns_of_is_not_shown(tmp_path):
    """A module that stands in for a library of that name warns with a value as the command starts."""
    (tmp_path / "sitecustomize.py").write_text(
        f"import atexit, warnings\natexit.register(lambda: warnings.warn('mixed types near {SECRET}', UserWarning))\n",
        encoding="utf-8",
    )
    run = subprocess.run(
        [sys.executable, "-m", "kit", "dictionary"], cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), str(ROOT)])},
    )  # fmt: skip
    assert SECRET not in run.stdout + run.stderr
    loud = subprocess.run(
        [sys.executable, "-c", "pass"], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
    )  # fmt: skip
    assert SECRET in loud.stderr
