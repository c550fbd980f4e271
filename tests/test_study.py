"""The study: real data read through a column map, nothing lost, and one facility taken out of several."""

from pathlib import Path

import pandas as pd
import pytest
from lifelines.datasets import load_stanford_heart_transplants

from kit.faults import ExportError
from kit.intake.cleaning import clean
from kit.plan import read_plan
from kit.study import read_study
from kit.wounds.episodes import UNTREATED
from tests.drawn import TWO_HOUSES, drawn

HEART = Path(__file__).parent / "reference" / "heart.csv"
HEART_PLAN = """
[program]
name = "Stanford heart transplants"
basis = "safe_harbor"
[[regimens]]
name = "transplant"
modality = "other"
"""
HEART_MAP = """
[residents]
file = "patients.csv"
[residents.columns]
resident = "Patient"
[wounds]
file = "hearts.csv"
[wounds.columns]
wound = "Heart"
resident = "Patient"
kind = { column = "What", values = { heart = "other" } }
[measurements]
file = "seen.csv"
[measurements.columns]
wound = "Heart"
day = { column = "Day", format = "day number" }
area = { column = "Size in mm2", unit = "mm2" }
[sessions]
file = "operations.csv"
[sessions.columns]
wound = "Heart"
day = { column = "Day", format = "day number" }
modality = { column = "Operation", values = { transplant = "other" } }
[departures]
file = "deaths.csv"
[departures.columns]
resident = "Patient"
day = { column = "Day", format = "day number" }
reason = { column = "How", values = { dead = "died" } }
"""


def stanford(folder: Path, parts_of_a_day: int):
    """The Stanford data (Crowley & Hu 1977, J Am Stat Assoc 72:27; R survival::heart) as a strange export.

    The data hold half days, so that a transplant on the day of death comes before it; counting in parts of a day keeps
    them whole numbers.
    """
    rows = pd.read_csv(HEART)
    people = rows.groupby("id").agg(stop=("stop", "max"), died=("event", "max"))
    last = (people["stop"] * parts_of_a_day).astype("int64")
    operated = rows[rows["transplant"] == 1].set_index("id")["start"]
    operated = -(-operated * parts_of_a_day // 1)  # whole days: a half day is the next one
    first = pd.DataFrame({"Heart": people.index, "Day": 0, "Size in mm2": 100})
    seen = pd.concat([first, first.assign(Day=last.to_numpy())]).drop_duplicates()
    dead = people.index[people["died"] == 1]
    tables = {
        "patients": pd.DataFrame({"Patient": people.index}),
        "hearts": pd.DataFrame({"Heart": people.index, "Patient": people.index, "What": "heart"}),
        "seen": seen,
        "operations": pd.DataFrame(
            {"Heart": operated.index, "Day": operated.astype("int64").to_numpy(), "Operation": "transplant"}
        ),
        "deaths": pd.DataFrame({"Patient": dead, "Day": last[dead].to_numpy(), "How": "dead"}),
    }
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)
    (folder / "plan.toml").write_text(HEART_PLAN)
    (folder / "map.toml").write_text(HEART_MAP)
    return read_study(folder, folder / "plan.toml", folder / "map.toml")


def test_the_stanford_data_are_those_that_lifelines_carries():
    ours, theirs = pd.read_csv(HEART), load_stanford_heart_transplants()
    columns = ["id", "start", "stop", "event", "transplant"]
    assert ours[columns].astype(float).to_numpy().tolist() == theirs[columns].astype(float).to_numpy().tolist()


def person_days(episodes: pd.DataFrame) -> tuple[int, int]:
    before = episodes["start_day"].fillna(episodes["end_day"]) - episodes["entry_day"]
    return int(before.sum()), int((episodes["end_day"] - episodes["start_day"]).sum())


def test_stanford_half_days_give_the_published_person_days_before_and_after_transplant(tmp_path):
    """5955.5 days before and 25998.5 after: R survival::heart, sums of stop - start by transplant."""
    study = stanford(tmp_path, parts_of_a_day=2)
    assert person_days(study.episodes) == (2 * 5955.5, 2 * 25998.5)
    assert (study.episodes["regimen"] == "transplant").sum() == 69


def test_stanford_whole_days_let_the_patient_who_died_on_the_day_of_transplant_die_before_it(tmp_path):
    """Patient 38 alone has half a day; departure comes before session, so its half day falls before."""
    study = stanford(tmp_path, parts_of_a_day=1)
    assert person_days(study.episodes) == (5955.5 + 0.5, 25998.5 - 0.5)
    patient = study.episodes.set_index("resident").loc["38"]
    assert (patient["regimen"], patient["outcome"]) == (UNTREATED, "died")


def test_stanford_states_are_those_of_the_data(tmp_path):
    study = stanford(tmp_path, parts_of_a_day=2)
    assert study.episodes["outcome"].value_counts()[["died", "open"]].tolist() == [75, 28]
    assert study.episodes["entry_size"].unique().tolist() == [1.0]  # 100 mm2 are 1 cm2
    assert study.faults.empty
    assert study.absent == ("procedures", "spans")


def test_one_facility_holds_its_own_residents_and_nobody_else():
    study = drawn(**TWO_HOUSES)
    assert study.facilities == ("Quellmoor", "Tarnwick")
    house = study.at("Tarnwick")
    assert house.residents["resident"].tolist() == ["R2"]
    for table in ("wounds", "measurements", "sessions", "spans", "episodes"):
        assert set(getattr(house, table)["wound"]) == {"W2"}, table
    assert house.departures["resident"].tolist() == ["R2"]


def test_one_facility_answers_for_its_own_rows_and_faults_alone():
    """R2 of Tarnwick sends a session of a wound that is not there and one that is repeated; Quellmoor sends none."""
    sessions = TWO_HOUSES["sessions"] + "W2 12 ultrasound given\nW9 12 ultrasound given\n"
    study = drawn(**{**TWO_HOUSES, "sessions": sessions})
    faults = {
        name: house.faults.query("table == 'sessions'")["fault"].tolist()
        for name, house in (("all", study), ("Tarnwick", study.at("Tarnwick")), ("Quellmoor", study.at("Quellmoor")))
    }
    assert faults == {"all": ["duplicate", "orphan"], "Tarnwick": ["duplicate"], "Quellmoor": []}
    account = study.at("Tarnwick").account.set_index("table").loc["sessions"]
    assert account.to_dict() == {"rows_in": 2, "kept": 1, "set_aside": 1}


def test_a_facility_that_is_not_there_is_refused_with_those_that_are():
    with pytest.raises(ExportError, match="the export names Quellmoor, Tarnwick"):
        drawn(**TWO_HOUSES).at("Brindlemere")


def test_the_fingerprint_changes_with_any_file_and_with_nothing_else():
    one, other = drawn(**TWO_HOUSES), drawn(**TWO_HOUSES)
    assert one.fingerprint == other.fingerprint
    changed = {**TWO_HOUSES, "sessions": TWO_HOUSES["sessions"].replace("W2 12", "W2 13")}
    assert drawn(**changed).fingerprint != one.fingerprint


def test_a_row_that_goes_missing_stops_the_run(monkeypatch):
    def forgetful(screened, plan):
        cleaned = clean(screened, plan)
        return type(cleaned)(cleaned.tables, cleaned.faults, cleaned.account.assign(rows_in=0))

    monkeypatch.setattr("kit.study.clean", forgetful)
    with pytest.raises(AssertionError, match="do not add up"):
        drawn(**TWO_HOUSES)


def test_back_staged_reopened_and_vanished_are_told_by_their_row():
    measurements = (
        "wound day length width state stage\n"
        "W1 10 4 3 open 4\nW1 17 4 3 open 3\nW1 24 . . closed .\nW1 31 2 2 open 4\nW1 190 2 2 open 4\n"
    )
    study = drawn(measurements)
    assert study.faults[["source_row", "fault"]].values.tolist() == [[3, "backstaged"], [6, "reopened"]]


def test_the_same_files_are_read_once_and_a_changed_plan_again(tmp_path):
    stanford(tmp_path, parts_of_a_day=2)
    read = [read_study(tmp_path, tmp_path / "plan.toml", tmp_path / "map.toml") for _ in range(2)]
    assert read[0] is read[1]
    (tmp_path / "plan.toml").write_text(HEART_PLAN + "[following]\nhorizon_weeks = 8\n")
    assert read_study(tmp_path, tmp_path / "plan.toml", tmp_path / "map.toml").plan.horizon == 56
    assert read_plan(tmp_path / "plan.toml").program.basis == "safe_harbor"
