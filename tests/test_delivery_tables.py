"""The tables of delivery: the counts of their frames, words for names, and a dash for what is not recorded."""

import numpy as np
import pandas as pd

from kit.delivered import delivered
from kit.delivery.stretches import LASTING
from kit.pages import delivery_tables as tables
from kit.pages.display import as_html
from tests.drawn import TWO_HOUSES, drawn
from tests.test_delivery_figures import MEASURED, SESSIONS
from tests.test_delivery_statements import fates_of, shortfall, stretch
from tests.test_size_statements import DATED

NAN = float("nan")


def test_a_shortfall_is_told_by_its_counts():
    told = tables.shortfalls_table(pd.DataFrame([shortfall(within=4, below=53, unknown=3)]))
    assert told.iloc[0].to_dict() == {
        "Facility": "Alder", "Element": "Device minutes a day", "Off the protocol": "88%", "Of": 60, "Short": 53,
        "Beyond": 0, "Against": 0, "Not recorded": 0, "Cannot be judged": 3,
        "A matter of": "training or charting (no reason recorded) 53",
    }  # fmt: skip


def test_what_is_hardly_ever_missed_is_left_to_the_workbook():
    rows = pd.DataFrame([shortfall(within=99, below=1), shortfall("duty", within=98, below=2)])
    assert tables.shortfalls_table(rows)["Element"].tolist() == ["Duty cycle"]


def test_a_stretch_is_told_with_its_days_and_the_rest_of_the_export():
    told = tables.stretches_table(pd.DataFrame([stretch(course=LASTING)]), DATED).iloc[0].to_dict()
    assert told == {
        "Facility": "Alder", "Element": "Device minutes a day", "How": "Short of the protocol",
        "When": "Since 4 January 2026", "Sessions or weeks": "18 of 20", "In the whole export": "19 of 30",
    }  # fmt: skip


def test_what_was_seen_fewer_than_five_times_has_no_stretch_in_the_table():
    assert tables.stretches_table(pd.DataFrame([stretch(counts=(4, 4, 30, 4))]), DATED).empty


def test_the_sessions_due_are_told_as_shares_of_the_facility():
    told = tables.fates_table(fates_of(("Alder", "full", "", 32.0, 0.4), ("Alder", "missed", "staff", 48.0, 0.6)))
    assert told["Of those due"].tolist() == ["40%", "60%"]
    assert told["A matter of"].tolist() == ["–", "staff"]


def dose(**known):
    row = dict.fromkeys(
        ("days_a_week", "first_minutes", "quartile_1", "median", "quartile_3", "minutes_a_week", "median_charge",
         "median_zone", "average_intensity", "median_frequency"), NAN,
    ) | {"facility": "Alder", "modality": "stimulation", "setup": "bipolar", "wounds": 2, "treated_days": 9,
         "treated_weeks": 3, "minutes_known": 0, "charge_known": 0, "zone_known": 0}  # fmt: skip
    return pd.DataFrame([row | known])


def test_minutes_that_nobody_recorded_are_told_to_be_so():
    told = tables.stimulation_table(dose()).iloc[0]
    assert told["Minutes, later days (half of them)"] == "not recorded"
    assert (told["Set-up"], told["Charge, C a day"]) == ("Bipolar", "–")


def test_a_dose_is_told_with_the_spread_of_its_days():
    known = {"minutes_known": 9, "quartile_1": 48.0, "median": 52.4, "quartile_3": 56.0, "median_charge": 1.08}
    told = tables.stimulation_table(dose(**known)).iloc[0]
    assert told["Minutes, later days (half of them)"] == "52 (48 to 56)"
    assert told["Charge, C a day"] == "1.08"


def test_ultrasound_is_told_by_the_zone_with_its_intensity_averaged_and_its_frequency():
    known = {"modality": "ultrasound", "setup": "", "minutes_known": 9, "quartile_1": 5.0, "median": 5.0,
             "quartile_3": 10.0, "median_zone": 5.04, "average_intensity": 0.1, "median_frequency": 3.0}  # fmt: skip
    told = tables.ultrasound_table(dose(**known)).iloc[0]
    assert (told["Minutes a day (half of them)"], told["Minutes a zone"]) == ("5 (5 to 10)", "5.0")
    assert (told["W/cm2, averaged over pulses"], told["MHz"]) == ("0.10", "3.0")
    assert tables.stimulation_table(dose(**known)).empty


def test_settings_that_nobody_found_are_left_out_and_the_others_come_most_frequent_first():
    found = pd.DataFrame(
        [("Alder", "motor", 100, 9, 3), ("Birch", "too_short", 10, 5, 1), ("Birch", "motor", 10, 0, 0)],
        columns=["facility", "setting", "asked", "found", "wounds"],
    )
    told = tables.settings_table(found)
    assert told["Sessions"].tolist() == ["5 of 10", "9 of 100"]
    assert told["Found"].tolist() == ["Minutes short of the protocol's", "Motor response"]


def test_where_nothing_was_found_there_is_no_row():
    found = pd.DataFrame([("Alder", "motor", 9, 0, 0)], columns=["facility", "setting", "asked", "found", "wounds"])
    assert tables.settings_table(found).empty


def test_schedules_are_counted_by_what_they_came_to():
    rows = [("W1", "Alder", 20, 8, 20, "kept"), ("W2", "Alder", 10, 4, 9, "kept"), ("W3", "Alder", 2, 1, 2, "")]
    frame = pd.DataFrame(rows, columns=["wound", "facility", "judged", "due", "as_scheduled", "schedule"])
    told = tables.schedules_table(frame)
    assert told["Schedule"].tolist() == ["kept", "too few sessions to tell"]
    assert told["Sessions at their turn"].tolist() == ["29 of 30", "2 of 2"]


def test_tables_and_sheets_name_no_wound_and_hold_where_nothing_was_delivered():
    for study in (drawn(**TWO_HOUSES), drawn(TWO_HOUSES["measurements"], TWO_HOUSES["wounds"])):
        done = delivered(study)
        shown = [
            tables.shortfalls_table(done.shortfalls), tables.stretches_table(done.stretches, study.plan),
            tables.fates_table(done.fates), tables.stimulation_table(done.doses),
            tables.ultrasound_table(done.doses), tables.settings_table(done.settings),
            tables.schedules_table(done.schedules), *tables.delivery_sheets(done, study.plan).values(),
        ]  # fmt: skip
        for frame in shown:
            assert "W1" not in as_html(frame)
            assert "wound" not in frame.columns


def test_the_sheets_hold_every_row_in_words():
    lines = [f"{line} 125" for line in SESSIONS.strip().splitlines()[1:]]
    headers = "wound day modality setup status minutes reason pulse_rate"
    study = drawn(MEASURED, sessions="\n".join([headers, *lines]) + "\n")
    done = delivered(study)
    sheet = tables.delivery_sheets(done, study.plan)["agreement"]
    assert len(sheet) == len(done.shortfalls) == 2  # the export holds neither responses nor polarity
    assert {"device minutes a day", "pulse rate"} == set(sheet["element"])
    assert np.isfinite(sheet["missing_share"]).all()
