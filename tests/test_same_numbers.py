"""The same export gives the same numbers: in another process, with rows in another order, in another kind of file."""

import csv
import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from kit.pages.findings import findings
from kit.pages.ledger import what_changed
from kit.study import read_study

ROOT = Path(__file__).parents[1]
TOLD = """
import sys
from kit.pages.findings import findings
from kit.study import read_study
import json
print(json.dumps(findings(read_study(sys.argv[1]), "All facilities")[0]))
"""


def without_prints(found):
    """The findings without the fingerprint of the export, which is of its files and not of what they say."""
    return {**found, "fingerprints": {name: told for name, told in found["fingerprints"].items() if name != "export"}}


def copied(export, folder):
    shutil.copytree(export, folder)
    return folder


def tables_of(folder):
    return sorted(folder.glob("*.csv"))


def read(file):
    with file.open(newline="", encoding="utf-8") as lines:
        return list(csv.reader(lines))


def write(file, rows):
    with file.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out, lineterminator="\n").writerows(rows)


@pytest.fixture(scope="module")
def expected(invented):
    return without_prints(findings(read_study(invented.export), "All facilities")[0])


@pytest.fixture
def again(invented, tmp_path):
    return copied(invented.export, tmp_path / "export")


def found(export):
    return without_prints(findings(read_study(export), "All facilities")[0])


def in_another_process(export, **surroundings):
    run = subprocess.run(
        [sys.executable, "-c", TOLD, str(export)], cwd=ROOT, env={**os.environ, **surroundings}, capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    return run.stdout


def test_two_processes_with_other_hashes_print_the_same_bytes(invented):
    first, second = (in_another_process(invented.export, PYTHONHASHSEED=seed) for seed in ("1", "2"))
    assert first == second


def test_one_thread_or_two_give_the_same_to_eight_digits(invented, expected):
    told = in_another_process(invented.export, OPENBLAS_NUM_THREADS="2", OMP_NUM_THREADS="2")
    assert without_prints(json.loads(told)) == json.loads(json.dumps(expected))


@pytest.mark.parametrize("seed", [1, 2])
def test_the_order_of_rows_does_not_matter(again, expected, seed):
    drawn = random.Random(seed)
    for file in tables_of(again):
        header, *rows = read(file)
        drawn.shuffle(rows)
        write(file, [header, *rows])
    assert found(again) == expected


def test_the_order_of_columns_does_not_matter(again, expected):
    for file in tables_of(again):
        write(file, [row[::-1] for row in read(file)])
    assert found(again) == expected


def test_a_workbook_tells_the_same_as_text_files(again, expected):
    book = openpyxl.Workbook()
    for file in tables_of(again):
        sheet = book.create_sheet(file.stem)
        for row in read(file):
            sheet.append(row)
    del book["Sheet"]
    book.save(again / "export.xlsx")
    for file in tables_of(again):
        file.unlink()
    assert found(again / "export.xlsx") == expected


def test_parquet_tells_the_same_as_text_files(again, expected):
    for file in tables_of(again):
        pd.read_csv(file, dtype=str, keep_default_na=False).to_parquet(file.with_suffix(".parquet"))
        file.unlink()
    assert found(again) == expected


def test_the_comparison_would_see_one_size_that_differs(again, expected):
    header, *rows = read(again / "measurements.csv")
    place = header.index("length")
    rows[0][place] = str(float(rows[0][place]) + 1)
    write(again / "measurements.csv", [header, *rows])
    assert found(again) != expected


# --- what changed ---

LINE = {"revision": "r1", "status": "draft", "export": "e1", "plan": "p1", "map": "own names", "kit": "0.1.0"}


@pytest.mark.parametrize("name", ["export", "plan", "map", "kit"])
def test_whatever_changed_since_the_last_revision_is_named(name):
    assert what_changed([LINE], {**LINE, name: "another"}) == f"changed since r1: {name}"


def test_any_edit_of_export_or_plan_changes_its_fingerprint(again):
    before = read_study(again)
    header, *rows = read(again / "wounds.csv")
    write(again / "wounds.csv", [header, *rows[::-1]])
    plan = again / "study-plan.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "\n[sharing]\nfewest = 12\n", encoding="utf-8")
    after = read_study(again)
    assert after.fingerprint != before.fingerprint
    assert after.plan.fingerprint != before.plan.fingerprint
