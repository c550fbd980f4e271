"""A check tells in one round what stands in the way, and ends with what to do next."""

from textwrap import dedent

import pytest

from kit.checking import check
from tests.exports import CALENDAR, MEASUREMENTS, WOUNDS

PLAN = CALENDAR
DAYS = {"10": "2026-05-10", "17": "2026-05-17", "24": "2026-05-24", "30": "2026-05-30", "37": "2026-06-06"}
ROUNDS = "\n".join(
    ",".join([row.split(",")[0], DAYS.get(row.split(",")[1], "day"), *row.split(",")[2:]])
    for row in dedent(MEASUREMENTS).strip().replace("W2,37,open,4,2", "W2,37,closed,,").splitlines()
)


def export(folder, plan=PLAN, **tables):
    tables = {"wounds": dedent(WOUNDS).strip(), "measurements": ROUNDS} | tables
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text + "\n", encoding="utf-8")
    if plan:
        (folder / "study-plan.toml").write_text(plan, encoding="utf-8")
    return folder


def test_where_nothing_stops_the_report_it_says_so_and_what_is_read(tmp_path):
    found = check(export(tmp_path))
    assert found.stops == []
    assert found.read[0].startswith("wounds: 2 rows of wounds.csv; 4 columns; not there: side, onset")
    assert found.next == "Nothing stops the report."


def test_everything_that_stops_is_told_in_one_round(tmp_path):
    wounds = (
        dedent(WOUNDS).strip().replace("venous", "mystery").replace("pressure_injury", "mystery")
        + "\nW3,R2,mystery,leg"
    )
    found = check(export(tmp_path, wounds=wounds, measurements=ROUNDS.replace("2026-05-17", "5/17/2026"), plan=""))
    assert len(found.stops) == 1  # without a plan no word and no day can be judged
    assert found.next.startswith("Fix next: study-plan.toml")
    (tmp_path / "study-plan.toml").write_text(PLAN, encoding="utf-8")
    stops = check(tmp_path).stops
    assert [stop.split(":")[0] for stop in stops] == [
        "wounds.csv row 2, column kind", "measurements.csv row 3, column day",
    ]  # fmt: skip


def test_a_map_that_cannot_be_followed_is_the_first_thing_to_fix(tmp_path):
    export(tmp_path)
    (tmp_path / "columns.toml").write_text("[wounds]\n", encoding="utf-8")
    assert check(tmp_path).next.startswith("Fix next: columns.toml: ")


def test_a_table_that_cannot_be_read_hides_none_of_the_others(tmp_path):
    found = check(export(tmp_path, sessions="wound,day\nW1,2026-05-12"))
    assert found.stops == ["sessions.csv: column modality is needed and not there; add it or map it"]
    assert [line.split(":")[0] for line in found.read] == ["wounds", "measurements"]


def test_what_touches_many_rows_is_worth_mending_the_most_frequent_first(tmp_path):
    rounds = ROUNDS.replace("state,length,width", "state,length,width,exudate").replace("open,4,3", "open,4,3,drippy")
    rows = [line if line.count(",") == 5 else line + "," for line in rounds.splitlines()]
    found = check(export(tmp_path, measurements="\n".join(rows)))
    assert found.mends[0].startswith("measurements.exudate: 1 row (unknown, kept with a mark)")
    assert found.next.startswith("Nothing stops the report. Worth mending first: measurements.exudate")


@pytest.mark.parametrize("name", ["nowhere", "nowhere.xlsx"])
def test_an_export_that_is_not_there_is_told(name, tmp_path):
    found = check(tmp_path / name, plan=export(tmp_path) / "study-plan.toml")
    assert found.next == f"Fix next: {name}: there is no such export; give a folder of CSV files or a workbook"


def test_days_after_the_cut_off_make_the_year_doubted(tmp_path):
    later = ROUNDS.replace("2026-05-24", "2027-05-24").replace("2026-05-30", "2027-05-30")
    assert check(export(tmp_path, measurements=later)).mends[0] == (
        "measurements: 40% (2 of 5) of the rows lie after the plan's cut-off and are not used; is the cut-off "
        "right, and the year and format of the days in the map?"
    )


def test_a_cut_off_long_after_the_last_record_is_doubted_and_every_table_tells_its_days(tmp_path):
    found = check(export(tmp_path, plan=PLAN.replace("2026-06-30", "2026-09-30")))
    assert "measurements: from 10 May 2026 to 6 June 2026" in found.read
    assert found.mends[0].startswith("the plan's cut-off lies 116 days after the last record")


def test_a_fault_is_told_with_the_first_rows_that_show_it(tmp_path):
    rounds = "\n".join(
        ["wound,day,state,length,width,exudate", *(f"W1,2026-05-0{n},open,{9 - n},2,drippy" for n in range(1, 6))]
    )
    told = next(line for line in check(export(tmp_path, measurements=rounds)).mends if "exudate" in line)
    assert told.endswith("See measurements.csv row 2; measurements.csv row 3; measurements.csv row 4 and others.")


def test_a_facility_that_only_the_protocol_knows_is_worth_mending(tmp_path):
    people = "resident,facility\nR1,Alder\nR2,Birch"
    plan = PLAN + '[protocol]\nturning_facilities = ["Alder", "Brich"]\n'
    mends = check(export(tmp_path, plan=plan, residents=people)).mends
    assert mends == ["protocol.turning_facilities: no resident of the export is of Brich"]


def test_the_plan_of_a_group_may_name_the_others_beside_an_export_of_one(tmp_path):
    plan = PLAN + '[protocol]\nturning_facilities = ["Birch"]\n'
    assert check(export(tmp_path, plan=plan, residents="resident,facility\nR1,Alder\nR2,Alder")).mends == []
