"""The kit against the invented exports: every planted fault and start is found, and nothing else."""

import json
from pathlib import Path

import pandas as pd
import pytest

from kit.healing.description import describe
from kit.study import read_study

INVENTED = Path(__file__).parents[1] / "data" / "synthetic"
SETS = ("clean", "lifelike", "broken")


@pytest.fixture(scope="module")
def studies():
    return {name: read_study(INVENTED / name) for name in SETS}


def truth(name: str) -> dict:
    return json.loads((INVENTED / name / "truth.json").read_text(encoding="utf-8"))


def lines(faults: pd.DataFrame) -> list[tuple]:
    return sorted(faults[["table", "source_row", "column", "fault"]].itertuples(index=False, name=None))


def unnamed(told: dict) -> list[tuple]:
    """Sessions of the story whose log names person and site, not the wound: the kit sets them aside."""
    rows = [story["rows"]["sessions"] for story in told["stories"] if story["story"] == "wound_not_named"]
    return [("sessions", row, "", "astray") for row in sum(rows, [])]


def test_nothing_is_found_in_the_clean_set(studies):
    assert studies["clean"].faults.empty
    assert studies["clean"].account["set_aside"].sum() == 0


@pytest.mark.parametrize("name", ["lifelike", "broken"])
def test_every_planted_fault_is_found_in_its_row_and_column_and_nothing_else(studies, name):
    told = truth(name)
    planted = [tuple(fault[key] for key in ("table", "source_row", "column", "fault")) for fault in told["faults"]]
    assert len(planted) >= 90
    assert lines(studies[name].faults) == sorted({*planted, *unnamed(told)})


@pytest.mark.parametrize("name", SETS)
def test_rows_in_are_rows_kept_and_rows_set_aside(studies, name):
    account = studies[name].account.set_index("table")
    for table in account.index:
        in_file = len(pd.read_csv(INVENTED / name / f"{table}.csv", dtype=str))
        assert (
            account.loc[table, "rows_in"]
            == in_file
            == len(getattr(studies[name], table)) + account.loc[table, "set_aside"]
        )


@pytest.mark.parametrize("name", SETS)
def test_every_start_is_the_one_that_was_planted(studies, name):
    known = pd.read_csv(INVENTED / name / "truth.csv", parse_dates=["start_day"]).set_index("wound").sort_index()
    seen = studies[name].episodes.set_index("wound")
    seen = seen[seen["start_day"].notna()].sort_index()
    assert seen.index.tolist() == known.index.tolist()
    assert seen["regimen"].str.split().str[0].tolist() == known["regimen"].tolist()
    days = (known["start_day"] - pd.Timestamp("2000-01-01")).dt.days
    assert seen["start_day"].tolist() == days.tolist()


@pytest.mark.parametrize("regimen", ["monopolar", "bipolar", "ultrasound"])
def test_the_range_of_the_described_share_holds_the_true_share_seen_to_close(studies, regimen):
    """Described, not compared: what happened to those who started, against what the inventor knows happened."""
    study = studies["lifelike"]
    known = pd.read_csv(INVENTED / "lifelike" / "truth.csv")
    true = known.loc[known["regimen"] == regimen, "seen_closed_with"].mean()
    groups = describe(study.episodes, study.plan).groups
    group = groups[groups["group"].str.startswith(regimen)].iloc[0]
    assert group["closed_low"] <= true <= group["closed_high"]
