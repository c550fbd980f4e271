"""What several tests share: figures without a screen, small exports, and one invented study with a report of it."""

import csv
from datetime import date, timedelta
from types import SimpleNamespace

import matplotlib
import pytest

from kit.pages.findings import findings
from kit.pages.report import Request, report
from kit.study import read_study

matplotlib.use("Agg")

CUTOFF = date(2026, 6, 30)
PLAN = """
[program]
name = "Invented program"
basis = "limited_data_set"

[windows]
quarter_begins = 2026-04-01
cutoff = 2026-06-30

[[regimens]]
name = "monopolar"
modality = "stimulation"
setup = "monopolar"

[[regimens]]
name = "ultrasound"
modality = "ultrasound"

[[regimens]]
name = "=1+1"
modality = "stimulation"
setup = "bipolar"
"""
# Hyphens keep a pseudonym from turning up by chance in the letters of a picture.
RESIDENTS, WOUNDS = 30, 40
MONOPOLAR, ULTRASOUND = range(1, 12), range(12, 15)  # wounds 1 to 11 and 12 to 14; nobody has "=1+1"
HOME, NASTY = "Tarnwick", "<script>alert(1)</script>"


@pytest.fixture(scope="session")
def lay():
    """Writes an export: a folder, its plan, and tables drawn as text, a blank between columns and a dash for nothing."""

    def lay(folder, plan=PLAN, **tables):
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "study-plan.toml").write_text(plan, encoding="utf-8")
        for name, drawn in tables.items():
            rows = [["" if cell == "-" else cell for cell in line.split()] for line in drawn.strip().splitlines()]
            write_rows(folder / f"{name}.csv", rows)
        return folder

    return lay


def write_rows(file, rows):
    with file.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out, lineterminator="\n").writerows(rows)


@pytest.fixture(scope="session")
def invented(tmp_path_factory):
    """40 wounds on 30 residents in two facilities, 11 under one regimen and 3 under another; the same every time.

    `export` is its folder, `set_aside` the lines of set_aside.csv that its planted faults must leave, `rows` how many
    rows each table has, `pseudonyms` every pseudonym of a person or wound.
    """
    folder = tmp_path_factory.mktemp("invented") / "export"
    folder.mkdir()
    (folder / "study-plan.toml").write_text(PLAN, encoding="utf-8")
    tables = {"residents": _residents(), "wounds": _wounds(), "measurements": _measurements(), "sessions": _sessions()}
    tables["departures"] = [["resident", "day", "reason"], [resident(20), _text(260), "died"], [resident(21), _text(270), "left"]]
    aside = _plant(tables)
    for name, rows in tables.items():
        write_rows(folder / f"{name}.csv", rows)
    people = [resident(n) for n in range(1, RESIDENTS + 1)] + [wound(n) for n in range(1, WOUNDS + 1)]
    return SimpleNamespace(
        export=folder,
        set_aside=aside,
        rows={name: len(rows) - 1 for name, rows in tables.items()},
        pseudonyms=[*people, "pa-fern-1", "pa-fern-2", "pt-reed-1", "pw-orphan-99"],
    )


def resident(number):
    return f"pr-kelp-{number:02d}"


def wound(number):
    return f"pw-moss-{number:02d}"


def _text(day):
    """The date of a day counted from 350 days before the cut-off."""
    return (CUTOFF + timedelta(days=day - 350)).isoformat()


def _residents():
    rows = [[resident(n), HOME if n <= 18 else NASTY, 60 + n] for n in range(1, RESIDENTS + 1)]
    return [["resident", "facility", "age"], *rows]


def _wounds():
    rows = [[wound(n), resident((n - 1) % RESIDENTS + 1), "pressure_injury", "sacrum"] for n in range(1, WOUNDS + 1)]
    return [["wound", "resident", "kind", "site"], *rows]


def _entry(number):
    return 8 * number


def _weeks(number):
    """In how many weeks the wound closes: 5 to 17."""
    return 5 + number * 5 % 13


def _measurements():
    """Weekly: a length that shrinks evenly to nothing, a width of 2 cm, an assessor."""
    rows = [["wound", "day", "state", "length", "width", "depth", "tissue", "assessor"]]
    for n in range(1, WOUNDS + 1):
        for week in range(_weeks(n) + 1):
            day, length = _entry(n) + 7 * week, round(2 + 4 * (1 - week / _weeks(n)), 1)
            if day > 350:
                break
            closed = week == _weeks(n)
            size = ["closed", "", ""] if closed else ["open", length, 2]
            rows.append([wound(n), _text(day), *size, "", "granulation", f"pa-fern-{1 + n % 2}"])
    return rows


def _sessions():
    """Three days a week from the second week on, every fifth missed, until the wound closes."""
    rows = [["wound", "day", "modality", "setup", "minutes", "status", "reason", "reaction", "therapist"]]
    for n in [*MONOPOLAR, *ULTRASOUND]:
        first = _entry(n) + 8 + 200  # so that some of them fall into the quarter
        what = ["stimulation", "monopolar"] if n in MONOPOLAR else ["ultrasound", ""]
        days = [d for d in range(_entry(n) + 8, _entry(n) + 7 * _weeks(n)) if (d - first) % 7 in (0, 2, 4)]
        for turn, day in enumerate(days):
            became = ["missed", "refused", ""] if turn % 5 == 3 else ["given", "", "none"]
            rows.append([wound(n), _text(day), *what, 45, *became, "pt-reed-1"])
    return rows


def _plant(tables):
    """One fault of each kind, and the lines that the rows set aside must leave."""
    raise NotImplementedError
