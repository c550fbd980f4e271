"""What several tests share: figures without a screen, small exports, and one invented study with a report of it."""

import csv
import signal
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import matplotlib
import pytest

from kit.pages.findings import findings
from kit.pages.report import Request, report
from kit.study import read_study

matplotlib.use("Agg")
# Whoever runs the tests in the background may have told their processes to ignore these.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)

LIFELIKE = Path(__file__).parent.parent / "data" / "synthetic" / "lifelike"
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
RESIDENTS, WOUNDS, LAST = 30, 40, 350  # day 350 is the cut-off
MONOPOLAR, ULTRASOUND = range(1, 12), range(12, 15)  # wounds 1 to 11 and 12 to 14; nobody has "=1+1"
GONE = {20: (200, "died"), 21: (240, "left")}  # resident: day, reason
HOME, NASTY = "Tarnwick", "<script>alert(1)</script>"


@pytest.fixture(scope="session", autouse=True)
def no_browser():
    """Reports are not printed as PDF, as where there is no Chromium; tests/test_printing.py prints one all the same."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("kit.pages.printing.chromium", lambda: None)
        yield


@pytest.fixture(scope="session")
def invented(tmp_path_factory):
    """40 wounds on 30 residents in two facilities, 11 under one regimen and 3 under another; the same every time.

    `export` is its folder, `rows` how many rows each table has, `set_aside` the lines that its planted faults must
    leave in set_aside.csv, `wounds` their pseudonyms, `secrets` every pseudonym of a person or a wound, and values of
    rows with a fault.
    """
    folder = tmp_path_factory.mktemp("invented") / "export"
    folder.mkdir()
    (folder / "study-plan.toml").write_text(PLAN, encoding="utf-8")
    tables = {
        "residents": _residents(), "wounds": _wounds(), "measurements": _measurements(), "sessions": _sessions(),
        "departures": _departures(),
    }  # fmt: skip
    set_aside = _plant_faults(tables)
    for name, rows in tables.items():
        _write(folder / f"{name}.csv", rows)
    people = [resident(n) for n in range(1, RESIDENTS + 1)] + [wound(n) for n in range(1, WOUNDS + 1)]
    return SimpleNamespace(
        export=folder,
        rows={name: len(rows) - 1 for name, rows in tables.items()},
        set_aside=set_aside,
        wounds=[wound(n) for n in range(1, WOUNDS + 1)],
        secrets=[*people, "pa-fern-1", "pa-fern-2", "pt-reed-1", "pw-orphan-99", "7.7717", "purplish"],
    )


@pytest.fixture(scope="session")
def study(invented):
    return read_study(invented.export)


@pytest.fixture(scope="session")
def found(study):
    """The findings of the invented study, and the description its figure is drawn from."""
    return findings(study, "All facilities")


@pytest.fixture(scope="session")
def reported(invented, tmp_path_factory):
    """The folder of one report on the invented study: reports/All-facilities/2026-Q2/r1."""
    return report(Request(invented.export, tmp_path_factory.mktemp("reported") / "reports"))


@pytest.fixture(scope="session")
def lifelike():
    """The invented group of four facilities with a known truth; its comparison takes a few seconds, once."""
    return read_study(LIFELIKE)


# --- the invented export ---


# Hyphens keep a pseudonym from turning up by chance in the letters that hold a picture.
def resident(number):
    return f"pr-kelp-{number:02d}"


def wound(number):
    return f"pw-moss-{number:02d}"


def text(day):
    return (CUTOFF + timedelta(days=day - LAST)).isoformat()


def entry(number):
    """Days 8 to 320, in an order that spreads each regimen over the year."""
    return 8 * (number * 7 % WOUNDS + 1)


def weeks(number):
    """In how many weeks the wound closes: 5 to 17."""
    return 5 + number * 5 % 13


def owner(number):
    """Residents 1 to 10 have two wounds, the others one."""
    return (number - 1) % RESIDENTS + 1


def last_day(number):
    return min(LAST, GONE.get(owner(number), (LAST, ""))[0])


def _residents():
    rows = [[resident(n), HOME if n <= 18 else NASTY, 60 + n] for n in range(1, RESIDENTS + 1)]
    return [["resident", "facility", "age"], *rows]


def _wounds():
    rows = [[wound(n), resident(owner(n)), "pressure_injury", "sacrum"] for n in range(1, WOUNDS + 1)]
    return [["wound", "resident", "kind", "site"], *rows]


def _measurements():
    """Every seven days, 2 cm wide and from 6 to 2 cm long, then closed."""
    rows = [["wound", "day", "state", "length", "width", "depth", "tissue", "assessor"]]
    for n in range(1, WOUNDS + 1):
        for week in range(weeks(n) + 1):
            day, length = entry(n) + 7 * week, round(6 - 4 * week / weeks(n), 1)
            if day <= last_day(n):
                size = ["closed", "", ""] if week == weeks(n) else ["open", length, 2]
                rows.append([wound(n), text(day), *size, "", "granulation", f"pa-fern-{1 + n % 2}"])
    return rows


def _sessions():
    """Three a week from the eighth day on; of five the fourth is missed, of seven the sixth is cut short."""
    rows = [
        [
            "wound",
            "day",
            "modality",
            "setup",
            "minutes",
            "status",
            "reason",
            "reaction",
            "therapist",
            "resident",
            "site",
        ]
    ]
    for n in [*MONOPOLAR, *ULTRASOUND]:
        what = ["stimulation", "monopolar"] if n in MONOPOLAR else ["ultrasound", ""]
        ends = min(last_day(n) + 1, entry(n) + 7 * weeks(n))
        days = [day for day in range(entry(n) + 8, ends) if (day - entry(n)) % 7 in (1, 3, 5)]
        for turn, day in enumerate(days):
            became = ["shortened", "unwell", "pain"] if turn % 7 == 5 else ["given", "", "none"]
            became = ["missed", "refused", ""] if turn % 5 == 3 else became
            rows.append([wound(n), text(day), *what, 45, *became, "pt-reed-1", "", ""])
    return rows


def _departures():
    return [["resident", "day", "reason"], *([resident(n), text(day), why] for n, (day, why) in GONE.items())]


def _plant_faults(tables):
    """Adds rows with a fault, and returns [file, row, fault] of those that must be set aside."""
    measured, sessions = tables["measurements"], tables["sessions"]
    bad = {
        "duplicate": [*measured[1]],
        "clash": [wound(1), text(entry(1)), "open", 0.77, 0.77, "", "slough", "pa-fern-1"],
        "orphan": ["pw-orphan-99", text(50), "open", 7.7717, 7.7717, "", "", "pa-fern-1"],
        "future": [wound(2), text(LAST + 5), "open", 7.7717, 7.7717, "", "", "pa-fern-1"],
        "after_death": [wound(20), text(220), "open", 7.7717, 7.7717, "", "", "pa-fern-1"],
    }
    rows = [["measurements.csv", len(measured) + 1 + n, fault] for n, fault in enumerate(bad)]
    rows += [["sessions.csv", len(sessions) + 1, "astray"], ["sessions.csv", len(sessions) + 2, "blank"]]
    measured += bad.values()
    measured.append([wound(3), text(entry(3) + 3), "open", 1, 3.33, -7.7717, "purplish", "pa-fern-1"])  # kept, marked
    # Of the two wounds of resident 1 the first closes on day 134, and the second is measured from day 144 on.
    sessions.append(["", text(132), "ultrasound", "", 45, "given", "", "none", "pt-reed-1", resident(1), "sacrum"])
    sessions.append([wound(2), "", "ultrasound", "", 45, "given", "", "none", "pt-reed-1", "", ""])
    return rows


def _write(file, rows):
    with file.open("w", newline="", encoding="utf-8") as out:
        csv.writer(out, lineterminator="\n").writerows(rows)
