"""Screening: each kind of cell is read as meant or not at all; a pseudonym that looks like somebody stops the run."""

from datetime import date

import pandas as pd
import pytest

from kit.faults import ExportError
from kit.intake.mapping import DAY_FORMATS, DAY_NUMBER, SERIAL, Place
from kit.intake.screening import screen
from kit.plan import day_of
from kit.vocabulary import TABLES
from tests.exports import CALENDAR, PLAN, SAFE_HARBOR, lines, plan_of, raw_table, screened
from tests.test_mapping import SHARED

FILLED = {"pseudonym": "X-1", "day": "10", "choice": "", "number": "", "stage": "", "flag": ""}
NOTHING = ["", "unknown", "N/A", "-", "not recorded", "NULL"]


def screen_column(table, column, *cells, plan=PLAN, **place):
    """The screened table in which one column holds these cells, a row each, and its faults as (row, fault)."""
    needed = {c.name: c.allowed[0] if c.allowed else FILLED[c.kind] for c in TABLES[table].columns if c.required}
    rows = pd.DataFrame({**needed, column: list(cells)}, index=range(len(cells)), dtype=object)
    places = {name: Place(column=f"their {name}") for name in rows} | {column: Place(column=f"their {column}", **place)}
    if plan == CALENDAR:
        rows = rows.replace({"10": "2026-01-10"})
    raw = raw_table(table, places, rows)
    out = screen({table: raw}, plan_of(plan))
    return out.tables[table], [(row, fault) for _, row, fault in lines(out.faults)]


def typed(table, column, *cells, **how):
    """What the cells became, None for nothing; none of them may have cost its row."""
    frame, faults = screen_column(table, column, *cells, **how)
    assert len(frame) == len(cells)
    return [None if pd.isna(value) else value for value in frame[column]], [fault for _, fault in faults]


def refused(table, column, *cells, **how):
    with pytest.raises(ExportError) as stopped:
        screen_column(table, column, *cells, **how)
    said = str(stopped.value)
    assert "\n" not in said
    assert not any(cell in said for cell in cells if len(cell) > 2)
    return said


# --- tables ---


@pytest.mark.parametrize("table", TABLES)
def test_a_column_without_a_text_is_the_same_as_one_that_is_not_there(table):
    for column in (column for column in TABLES[table].columns if not column.required):
        empty, faults = screen_column(table, column.name, "", "")
        other = next(c.name for c in reversed(TABLES[table].columns) if not c.required and c.name != column.name)
        absent, _ = screen_column(table, other, "", "")
        assert empty[column.name].isna().all() and faults == []
        assert str(empty[column.name].dtype) == str(absent[column.name].dtype)


def test_every_table_always_has_all_its_columns_with_their_types():
    tables = screened().tables
    absent, present = tables["sessions"], tables["measurements"]
    assert list(absent) == ["source_row", *TABLES["sessions"].names]
    assert list(present) == ["source_row", *TABLES["measurements"].names]
    kinds = {"day": "int64", "length": "float64", "entered": "Int64", "state": "category", "wound": "object"}
    assert {name: str(present[name].dtype) for name in kinds} == kinds
    assert (str(absent["day"].dtype), str(tables["residents"]["diabetes"].dtype)) == ("int64", "boolean")


def test_a_column_that_the_export_lacks_is_empty_and_no_fault():
    out = screened()
    assert out.tables["measurements"]["depth"].isna().all()
    assert out.faults.empty


# --- numbers ---


def test_a_plain_number_is_read():
    assert typed("measurements", "length", "3", "2.5", ".5", "1e1", "+4", "0") == ([3, 2.5, 0.5, 10, 4, 0], [])


@pytest.mark.parametrize("cell", ["1,234", "3,5", "<0.1", "inf", "-Infinity", "3 ft", "3x2", "1_000", "0x1A", "true"])
def test_a_number_that_says_different_things_to_different_people_is_not_guessed(cell):
    assert typed("measurements", "length", cell, "2") == ([None, 2], ["garbled"])


@pytest.mark.parametrize("cell", [*NOTHING, "nan"])
def test_a_cell_that_says_nothing_is_no_fault(cell):
    assert typed("measurements", "length", cell) == ([None], [])


def test_a_number_below_zero_is_emptied():
    assert typed("measurements", "length", "-2", "-0.0") == ([None, 0], ["negative"])


def test_a_number_that_no_ruler_shows_is_emptied():
    assert typed("measurements", "length", "60", "60.1", "1e3", unit="cm") == ([60, None, None], ["impossible"] * 2)


def test_limits_hold_in_the_unit_of_the_vocabulary():
    assert typed("measurements", "length", "600", "601", unit="mm") == ([60, None], ["impossible"])


def test_lengths_in_an_unnamed_unit_stop_the_run_where_half_of_them_are_above_15_cm():
    # Of 12, 30 and 41 two are above 15; closed wounds (0 or nothing) do not count.
    assert refused("measurements", "length", "0", "", "12", "0", "30", "41") == (
        "measurements.csv, column their length: half of the lengths are above 15 cm; name their unit in the map "
        '(unit = "mm"; unit = "cm" says they are right)'
    )


@pytest.mark.parametrize(
    ("cells", "how"), [(["15", "2", "30"], {}), (["5", "1e1", "55", "60"], {}), (["30", "41"], {"unit": "cm"})]
)
def test_lengths_pass_where_half_are_up_to_15_cm_or_their_unit_is_named(cells, how):
    assert typed("measurements", "length", *cells, **how) == ([float(cell) for cell in cells], [])


def test_widths_alone_are_not_asked():
    assert typed("measurements", "width", "30", "41") == ([30, 41], [])


@pytest.mark.parametrize(
    ("table", "column", "unit", "cell", "value"),
    [
        ("measurements", "length", "mm", "25.4", 25.4 / 10),
        ("measurements", "length", "in", "1", 2.54),
        ("measurements", "length", "CM", "2.54", 2.54),
        ("measurements", "area", "mm2", "250", 2.5),
        ("measurements", "area", "in2", "1", 2.54 * 2.54),
        ("measurements", "necrosis_share", "share", "0.35", 35),
        ("sessions", "minutes", "h", "0.75", 45),
        ("sessions", "minutes", "s", "2700", 45),
        ("sessions", "frequency", "kHz", "1000", 1),
        ("sessions", "volts", "mV", "150000", 150),
        ("residents", "age", "months", "960", 80),
        ("spans", "per_week", "per day", "1", 7),
    ],
)
def test_a_declared_unit_is_converted_exactly(table, column, unit, cell, value):
    values, faults = typed(table, column, cell, unit=unit)
    assert values == [pytest.approx(value, abs=1e-12)]
    assert faults == []


# --- ages ---


def test_ages_above_89_are_pooled():
    assert typed("residents", "age", "89", "89.9", "90", "101", "120") == ([89, 89.9, 90, 90, 90], [])


@pytest.mark.parametrize(
    "cell", ["90+", "90 +", ">89", "> 89", "90 and older", "90 or over", "≥90", ">= 90", "Over 89"]
)
def test_a_pooled_age_is_read_in_every_spelling_and_unit(cell):
    assert typed("residents", "age", cell) == ([90], [])
    assert typed("residents", "age", cell, unit="months") == ([90], [])


def test_ages_that_nobody_has_are_emptied():
    assert typed("residents", "age", "-3", "12", "121") == ([None] * 3, ["negative", "impossible", "impossible"])


# --- words ---


def test_a_word_of_the_closed_list_is_read_in_any_spelling_of_case_and_gaps():
    words = ["pressure_injury", "Pressure Injury", "PRESSURE-INJURY"]
    assert typed("wounds", "kind", *words) == (["pressure_injury"] * 3, [])


def test_a_word_outside_the_list_is_unknown_and_its_text_is_forgotten():
    frame, faults = screen_column("wounds", "kind", "Lower leg of Mr Whiteoak", "venous")
    assert faults == [(2, "unknown")]
    assert "Whiteoak" not in frame.to_string()


TELLING = ["measurements.state", "sessions.status", "sessions.modality", "departures.reason", "wounds.kind",
           "procedures.procedure", "spans.span", "sessions.reaction"]  # fmt: skip


def test_the_telling_columns_are_those_of_which_the_report_speaks():
    telling = {f"{table.name}.{column.name}" for table in TABLES.values() for column in table.columns if column.telling}
    assert telling == set(TELLING)


@pytest.mark.parametrize("where", TELLING)
def test_a_telling_column_of_unread_words_stops_the_run_at_the_first(where):
    table, column = where.split(".")
    listed = TABLES[table].column(column).allowed
    with pytest.raises(ExportError) as stopped:
        screen_column(table, column, *[listed[0]] * 140, "", "Zestful", "Zestful", "zestily")
    assert str(stopped.value) == (
        f"{table}.csv row 143, column their {column}: 3 of 143 cells hold a word that is not in the list "
        f'({", ".join(listed)}) or the map; list each under values, "unknown" among the meanings'
    )


def test_two_unread_words_of_a_telling_column_or_two_in_a_hundred_are_counted():
    assert typed("measurements", "state", "open", "oozing", "wet")[1] == ["unknown"] * 2
    assert typed("measurements", "state", *["open"] * 147, *["oozing"] * 3)[1] == ["unknown"] * 3  # 3 of 150 are 2%


def test_unread_words_of_another_column_are_counted_however_many():
    assert typed("measurements", "tissue", *["boggy"] * 5) == ([None] * 5, ["unknown"] * 5)


def test_a_word_that_the_map_sends_to_unknown_is_read():
    assert typed("measurements", "state", *["n/m"] * 5, values={"n/m": "unknown"}) == ([None] * 5, [])


def shared(*cells):
    """Wounds whose kind and site stand under one header; the site knows the heel alone."""
    text = "\n".join(["wound,resident,Type", *(f"W{row},R1,{cell}" for row, cell in enumerate(cells))])
    return screened(columns=SHARED, wounds=text)


def test_a_word_that_only_the_other_column_of_a_header_knows_is_not_recorded():
    out = shared("heel sore", "leg ulcer", "venous")
    assert out.tables["wounds"]["kind"].tolist() == ["pressure_injury", "venous", "venous"]
    assert out.tables["wounds"]["site"].astype(object).where(lambda site: site.notna(), None).tolist() == [
        "heel", None, None,
    ]  # fmt: skip
    assert out.faults.empty


def test_a_telling_column_must_know_every_word_of_its_header_itself():
    found = shared("heel sore", "heel").faults
    assert found[["column", "fault"]].to_numpy().tolist() == [["kind", "unknown"]]
    with pytest.raises(ExportError, match="row 3, column Type: 3 of 4 cells hold a word"):
        shared("heel sore", "heel", "heel", "heel")


@pytest.mark.parametrize("cell", NOTHING)
def test_a_word_for_nothing_is_no_fault(cell):
    assert typed("wounds", "kind", cell) == ([None], [])


def test_the_words_of_the_map_are_read_whatever_their_case():
    words = {"Bed sore": "pressure_injury", "n/m": "unknown", "-": "other"}
    assert typed("wounds", "kind", "BED SORE", "N/M", "-", "venous", values=words) == (
        ["pressure_injury", None, "other", "venous"], [],
    )  # fmt: skip


def test_a_word_that_the_map_sends_to_unknown_is_no_fault_in_any_kind_of_column():
    nothing = {"refused": "unknown"}
    for table, column in (("measurements", "length"), ("measurements", "stage"), ("measurements", "entered"),
                          ("measurements", "assessor"), ("residents", "diabetes")):  # fmt: skip
        assert typed(table, column, "Refused", values=nothing) == ([None], []), column


def test_stages_are_read_as_charts_write_them():
    cells = ["3", "Stage III", "3.0", "UTD", "DTI", "L89.153", "unspecified", ""]
    values, faults = typed("measurements", "stage", *cells)
    assert values == ["3", "3", "3", "unstageable", "deep_tissue", "3", None, None]
    assert faults == []


def test_a_stage_that_cannot_be_read_is_unknown():
    assert typed("measurements", "stage", "2-3", "stage 5", "4") == ([None, None, "4"], ["unknown"] * 2)


def test_the_maps_word_for_a_stage_goes_first():
    assert typed("measurements", "stage", "Z", "4", values={"z": "2", "4": "3"}) == (["2", "3"], [])


@pytest.mark.parametrize("cell", ["yes", "Y", "TRUE", "t", "1", "x"])
def test_flags_that_say_yes(cell):
    assert typed("residents", "diabetes", cell) == ([True], [])


@pytest.mark.parametrize("cell", ["no", "N", "False", "f", "0"])
def test_flags_that_say_no(cell):
    assert typed("residents", "diabetes", cell) == ([False], [])


def test_a_flag_in_another_word_is_unknown_unless_the_map_knows_it():
    assert typed("residents", "diabetes", "type 2", "") == ([None, None], ["unknown"])
    assert typed("residents", "diabetes", "Type 2", "no", values={"type 2": "yes"}) == ([True, False], [])


def test_a_unit_behind_the_number_in_the_cell_goes_before_that_of_the_map():
    assert typed("measurements", "length", "3 cm", "25 mm", "1in", "4", unit="mm") == ([3, 2.5, 2.54, 0.4], [])
    assert typed("sessions", "minutes", "45 min", "1 h", "30") == ([45, 60, 30], [])
    assert typed("measurements", "necrosis_share", "20%", "5") == ([20, 5], [])
    assert typed("measurements", "area", "4.5 cm2", "4 min") == ([4.5, None], ["garbled"])


# --- days ---


@pytest.mark.parametrize("written", [written for written, pattern in DAY_FORMATS.items() if pattern])
def test_a_day_in_every_declared_format_is_a_whole_day_number(written):
    moment = pd.Timestamp("2026-03-09")
    values, faults = typed("measurements", "day", moment.strftime(DAY_FORMATS[written]), plan=CALENDAR, format=written)
    assert values == [day_of(moment.date())]
    assert faults == []


def test_a_spreadsheet_counts_days_from_the_end_of_1899():
    """A spreadsheet that shows 9 March 2026 holds 46090 (ECMA-376, 18.17.4.1: day 1 is 1 January 1900)."""
    values, faults = typed("measurements", "day", "46090", "46091", plan=CALENDAR, format=SERIAL)
    assert values == [day_of(date(2026, 3, 9)), day_of(date(2026, 3, 10))]
    assert faults == []


def test_a_number_that_no_spreadsheet_counts_to_is_no_day():
    values, faults = typed("measurements", "entered", "46090", "45", plan=CALENDAR, format=SERIAL)
    assert (values[1], faults) == (None, ["garbled"])


def test_days_may_lack_their_leading_zeros_and_carry_a_time():
    cells = ["3/9/2026", "03/09/2026 14:30", "3/9/2026 2:30:00 PM"]
    values, _ = typed("measurements", "day", *cells, plan=CALENDAR, format="MM/DD/YYYY")
    assert values == [day_of(pd.Timestamp("2026-03-09").date())] * 3


def test_a_date_cell_of_a_workbook_is_read_beside_any_declared_format():
    values, _ = typed("measurements", "day", "3/9/2026", "2026-03-09", plan=CALENDAR, format="MM/DD/YYYY")
    assert values[0] == values[1]


def test_day_numbers_are_whole():
    frame, faults = screen_column("measurements", "day", "-3", "0", "12", "12.0", "12.5", "twelve")
    assert list(frame["day"]) == [-3, 0, 12, 12]
    assert faults == [(6, "unreadable"), (7, "unreadable")]


def test_a_day_that_is_needed_costs_the_row_and_another_only_a_mark():
    frame, faults = screen_column("measurements", "day", "2026-02-30", "", "2026-02-28", plan=CALENDAR)
    assert list(frame["source_row"]) == [4]
    assert faults == [(2, "unreadable"), (3, "blank")]
    assert typed("measurements", "entered", "2026-02-30", "", "0026-02-28", plan=CALENDAR) == (
        [None] * 3, ["garbled", "garbled"],
    )  # fmt: skip


def test_digits_in_a_row_are_a_day_only_where_all_eight_are_there():
    frame, faults = screen_column("measurements", "day", "20260111", "2026111", plan=CALENDAR, format="YYYYMMDD")
    assert list(frame["source_row"]) == [2]
    assert faults == [(3, "unreadable")]


def test_a_row_with_two_faults_that_cost_it_is_set_aside_once():
    out = screened(measurements="wound,day\nW1,10\n,soon\n")
    assert lines(out.faults) == [("measurements", 3, "blank")]


@pytest.mark.parametrize("odd", ["03/09/2026", "20260309", "09.03.2026", "9-Mar-2026"])
def test_days_written_in_more_than_one_way_stop_the_run(odd):
    said = refused("measurements", "day", "2026-03-08", odd, plan=CALENDAR)
    assert said.startswith("measurements.csv row 3, column their day: expected a day written YYYY-MM-DD, found one")


def test_a_day_that_only_fits_with_day_and_month_exchanged_stops_the_run():
    said = refused("measurements", "day", "01/05/2026", "13/05/2026", plan=CALENDAR, format="MM/DD/YYYY")
    assert said.startswith("measurements.csv row 3, column their day: expected a day written MM/DD/YYYY")


def test_a_needed_column_of_which_no_day_can_be_read_stops_the_run():
    said = refused("measurements", "day", "Tuesday", "Friday")
    assert said.startswith("measurements.csv, column their day: no day can be read; expected day number, or name the")


@pytest.mark.parametrize(("cells", "where"), [(["2026-03-09"], " row 2"), (["5", "03/09/2026"], " row 3")])
def test_dates_under_safe_harbor_stop_the_run_and_cite_the_rule(cells, where):
    said = refused("measurements", "day", *cells, plan=SAFE_HARBOR)
    assert said.startswith(
        f"measurements.csv{where}, column their day: holds dates, but the plan has no calendar; under"
    )
    assert "45 CFR 164.514(b)(2)" in said


def test_a_date_format_in_the_map_under_safe_harbor_stops_the_run_before_any_cell_is_read():
    said = refused("measurements", "day", "12", plan=SAFE_HARBOR, format="MM/DD/YYYY")
    assert said.startswith("measurements.csv, column their day: holds dates")


def test_dates_under_a_plan_of_day_numbers_ask_for_a_plan_with_dates():
    said = refused("measurements", "day", "2026-03-09")
    assert said.endswith("give quarter_begins and cutoff as dates, or export day numbers")


@pytest.mark.parametrize("how", [{}, {"format": DAY_NUMBER}])
def test_day_numbers_under_a_plan_of_dates_ask_for_a_plan_with_day_numbers(how):
    said = refused("measurements", "day", "12", "19", plan=CALENDAR, **how)
    assert said.startswith(
        "measurements.csv, column their day: holds day numbers, but the plan's windows are dates; give"
    )


# --- pseudonyms ---


def test_a_pseudonym_stays_text_and_what_says_nothing_is_none():
    values, faults = typed("sessions", "wound", "007", "7", "w-a", *NOTHING)
    assert values == ["007", "7", "w-a", *[None] * len(NOTHING)]
    assert faults == []


PEOPLES = {
    "a record, account or social security number": ["MRN 4471", "mrn-4471", "acct#12", "123-45-6789", "004471",
               "123 45 6789", "MR# 00447103", "M00447103", "XQK882913746", "4111 1111 1111 1111", "RN-283746",
               "D123-4567-8901", "AB1234563", "(01)00844588003288", "Medicaid 10293", "badge 40417", "member 40417"],
    "a Medicare number": ["1EG4-TE5-MK73", "1eg4te5mk73"],
    "a vehicle's number": ["1HGCM82633A004352"],
    "an address of a computer or device": ["192.168.14.27", "2001:db8:85a3::8a2e:370:7334", "00:1B:44:11:3A:B7",
               "001b.4411.3ab7"],
    "an address or a place": ["4127 Quarrendon Street", "45299-8837", "41.40338, -82.17403", "ZIP 03604"],
    "an age": ["97 y/o", "age 83"],
    "a photograph": ["IMG_4471.jpg", "wound-3.png"],
    "a fingerprint or the like": ["fingerprint-44", "voiceprint 12"],
    "a date of birth": ["born 1931", "DOB 12"],
    "a number that a spreadsheet has shortened": ["1.23E+11", "4e+12"],
    "an e-mail address or a web address": ["who@where.org", "www.where.org", "https://where.org/1",
               "where.org/ann", "@whoever", "who (at) where.org"],
    "a telephone number": ["555-123-4567", "(555) 123-4567", "555.123.4567", "+1 555 123 4567", "555-0173",
               "555-123-4567 x22", "+44 20 7946 0018"],
    "a date": ["1940-05-01", "5/1/1940", "05/01/40", "1.5.1940", "1940-05-01 00:00", "1 May 1940", "May 1, 1940",
               "01-MAY-40"],
    "free text": ["seen by the nurse on duty today", "x" * 65],
    "a name": ["Whiteoak, Ann", "Ann Whiteoak", "Whiteoak,A", "O'Brae, Ann", "Reed-Whiteoak Ann",
               "Mrs. W", "Mr W.", "miss 12", "Dr. Whiteoak",
               "A. Whiteoak", "A Whiteoak", "Ann Whiteoak 1940", "Nurse Whiteoak", "Åse Østby"],
    "initials": ["AW", "amw", "A.W.", "Øs"],
    "initials and a date of birth": ["AW05011940", "AW-5/1/40", "aw 05-01-1940"],
    "initials and a year": ["AW1940", "aw-1940", "AMW 1940", "1940AW", "1940-aw"],
}  # fmt: skip


@pytest.mark.parametrize(("what", "cell"), [(what, cell) for what, cells in PEOPLES.items() for cell in cells])
@pytest.mark.parametrize("column", ["resident", "assessor", "therapist"])
def test_a_pseudonym_of_a_person_that_looks_like_somebody_stops_the_run(column, what, cell):
    table = {"resident": "residents", "assessor": "measurements", "therapist": "sessions"}[column]
    assert refused(table, column, "R0001", cell, "R0003") == (
        f"{table}.csv row 3, column their {column}: looks like {what}; replace every {column} with a pseudonym that "
        "means nothing, and export again"
    )


@pytest.mark.parametrize("cell", ["Room 12", "rm 12-B", "Bed 3", "12A", "112-b", "1204C"])
def test_a_resident_who_is_a_room_or_bed_stops_the_run(cell):
    assert "looks like a room or bed" in refused("residents", "resident", "R0001", cell)


@pytest.mark.parametrize("cell", ["Mr. W left heel", "mrs W", "Dr W 1"])
def test_a_wound_that_begins_with_a_title_stops_the_run(cell):
    assert "looks like a name" in refused("wounds", "wound", "W1", cell)


@pytest.mark.parametrize(
    ("table", "column"), [("wounds", "wound"), ("residents", "facility"), ("measurements", "wound"), ("spans", "wound")]
)
@pytest.mark.parametrize(
    "cell",
    ["MRN 4471", "who@where.org", "555-123-4567", "1940-05-01", "x" * 65, "555-0173", "1EG4-TE5-MK73",
     "192.168.14.27", "4127 Quarrendon Street", "P.O. Box 12", "1HGCM82633A004352", "IMG_4471.jpg", "RN-283746",
     "97 y/o", "DOB 12 Mar 1941", "DOB 3/12/41", "@whoever", "seen 3/14/2026", "Lic. PT 9921",
     "case no 2026-CV-00418", "face ID 12"],
)  # fmt: skip
def test_no_pseudonym_of_any_kind_may_look_like_a_number_or_address_of_somebody(table, column, cell):
    assert "looks like" in refused(table, column, "K7", cell)


ALIKE = {
    "resident": [["R0412", "R0413"], ["101", "102"], ["12345"], ["AB1901", "AB1902", "AB1999"], ["otter", "maple"],
                 ["Resident A", "Resident B"], ["patient 12"], ["pr-kelp-01"], ["K7-1940"], ["A1940", "B1950"],
                 ["3f2b8c1e-5d6a-4b7c-8d9e-0a1b2c3d4e5f"], ["AB0007", "AB1940", "CD0012", "CD1950"], ["12E", "101X"],
                 ["A", "B"], ["Msaka"], ["W012"], ["S03"]],
    "wound": [["W012"], ["101A", "12b"], ["R1 left heel"], ["AW1940"], ["AW"], ["MS1"], ["W-1-a"], ["2026-01"]],
    "facility": [["Quellmoor"], ["The house by the old mill pond"], ["Alder Park"], ["F1"], ["AW"], ["Dr Alder House"]],
    "assessor": [["N12"], ["RN 3"], ["RN"], ["pta"], ["Nurse C"], ["wn-07"]],
}  # fmt: skip


@pytest.mark.parametrize(("column", "cells"), [(column, cells) for column, sets in ALIKE.items() for cells in sets])
def test_a_pseudonym_that_only_resembles_one_of_these_passes(column, cells):
    table = {"resident": "residents", "wound": "wounds", "facility": "residents", "assessor": "measurements"}[column]
    assert typed(table, column, *cells) == (cells, [])


STRANGERS = [
    ("Whiteoak", "a name"),
    ("O'Brae", "a name"),
    ("KQR-4827", "a vehicle's number"),
    ("7KQR482", "a vehicle's number"),
]


@pytest.mark.parametrize(("cell", "what"), STRANGERS)
def test_a_surname_or_plate_among_running_codes_stops_the_run(cell, what):
    assert f"row 4, column their resident: looks like {what}" in refused(
        "residents", "resident", "R0001", "R0002", cell, "R0003"
    )


@pytest.mark.parametrize("cell", ["continued", "Agency", "Total", "Nurse", "otter", "RES-1001"])
def test_a_word_among_running_codes_that_nobody_is_called_passes(cell):
    codes = ["R0001", "R0002", cell, "R0003", "RES-1002"]
    assert typed("measurements", "assessor", *codes) == (codes, [])


DRAWN = {
    "hashes, some of them all digits": ["3f2b8c1e", "0a9d77b2", "12345678", "9e107d9d", "e4d909c2", "a7712345"],
    "a Medicare number by chance": ["1EG4TE5MK73", "X7Q2A9P4Z1M", "Q3Z8K1X5T0B", "9A4F7J2R6DN"],
    "letters and numbers by chance": ["KQR-4800", "VIN-4801", "XPL-4802", "UZJ-1940", "ABT-4804", "MRN-4805",
                                      "PQS-4806", "TEL-4807", "WVY-4808", "ZZA-4809"],
    "a telephone number by chance": ["3f123456-7890-4b7c-a301-4827b8c1e5d6", "0dea1234-5d6a-4b7c-8d9e-0a1b2c3d4e5f"],
}  # fmt: skip


@pytest.mark.parametrize("codes", DRAWN.values(), ids=DRAWN)
@pytest.mark.parametrize("column", ["resident", "facility"])
def test_codes_that_a_program_drew_pass_whatever_they_come_to_look_like(column, codes):
    assert typed("residents", column, *codes) == (codes, [])


JOINS = """
    [wounds]
    columns = { wound = { join = ["person", "number"] }, resident = "resident", kind = "kind" }
    [measurements]
    columns = { wound = "wound", day = "day", state = "state", length = "length", width = "width" }
"""


@pytest.mark.parametrize(
    "person",
    ["Mrs. Whiteoak", "Ann Whiteoak", "03/12/1941", "(555) 123-4567", "4127 Quarrendon Street", "MRN 4471"],
)
def test_parts_that_are_joined_to_a_pseudonym_are_looked_at_one_by_one(person):
    text = f"person,number,resident,kind\n{person},1,R1,venous"
    with pytest.raises(ExportError, match=r"row 2, column person \+ number: looks like") as stopped:
        screened(columns=JOINS, wounds=text)
    assert person not in str(stopped.value)


def test_initials_and_a_year_of_one_person_in_many_rows_are_no_running_code():
    assert "initials and a year" in refused("wounds", "resident", "AW1940", "AW1940", "AW1940")


def test_one_somebody_among_a_running_code_stops_the_run():
    assert "row 4" in refused("residents", "resident", "AB1901", "AB1902", "CW1940", "AB1903")


def test_the_dash_of_a_needed_pseudonym_costs_the_row():
    frame, faults = screen_column("wounds", "resident", "R1", "-")
    assert len(frame) == 1
    assert faults == [(3, "blank")]


def test_a_needed_word_outside_the_list_costs_the_row():
    frame, faults = screen_column("sessions", "modality", "leeches", "ultrasound", "")
    assert list(frame["modality"]) == ["ultrasound"]
    assert faults == [(2, "unreadable"), (4, "blank")]


# --- words that are doubted, or told by several cells ---


@pytest.mark.parametrize("cell", ["healed?", "~closed", "<100% epithelialized", "closed ?", "≈ healed"])
def test_a_doubted_word_closes_no_wound(cell):
    assert typed("measurements", "state", "open", "closed", cell) == (["open", "closed", None], ["unknown"])


def test_yes_and_no_answer_the_header_and_nothing_else_does():
    def read(header, *cells):
        places = {"day": Place(column="Day"), "wound": Place(column="Wound"), "state": Place(column=header)}
        rows = pd.DataFrame({"wound": "W1", "day": [str(n) for n in range(10, 10 + len(cells))], "state": list(cells)})
        state = screen({"measurements": raw_table("measurements", places, rows)}, plan_of(PLAN)).tables["measurements"]
        return [None if pd.isna(value) else value for value in state["state"]]

    assert read("Healed", "Y", "N", "0") == ["closed", "open", "open"]
    assert read("Open?", "x", "no", "none") == ["open", "closed", None]
    assert read("Guérie", "Oui", "Non") == ["closed", "open"]


def test_the_letters_of_hombre_and_mujer_are_not_those_of_male_and_female():
    assert typed("residents", "sex", "F", "M") == (["female", "male"], [])
    assert typed("residents", "sex", "H", "M")[0] == [None, None]


def test_a_size_that_was_seen_open_outweighs_a_closed_state():
    places = {name: Place(column=name) for name in ("wound", "day", "state", "dimensions")}
    cells = {"dimensions": ["almost healed", "scab", "3 x 2", "healed", ""]}
    rows = pd.DataFrame({"wound": "W1", "day": ["10", "11", "12", "13", "14"], "state": "closed", **cells})
    out = screen({"measurements": raw_table("measurements", places, rows)}, plan_of(PLAN))
    assert out.tables["measurements"]["state"].tolist() == ["open"] * 3 + ["closed"] * 2
    assert lines(out.faults) == [("measurements", row, "contrary") for row in (2, 3, 4)]


def test_percent_that_are_shares_stop_the_run_unless_the_map_says_what_they_are():
    assert "no number is above 1" in refused("measurements", "necrosis_share", "0.5", "0.25", "0.1", "0")
    values, _ = typed("measurements", "necrosis_share", "0.5", "0.25", "0.1", unit="share")
    assert values == [50, 25, 10]


def test_a_serial_may_carry_a_time():
    values, faults = typed("measurements", "day", "46090.5", "46091.25", plan=CALENDAR, format=SERIAL)
    assert (values, faults) == ([day_of(date(2026, 3, 9)), day_of(date(2026, 3, 10))], [])


def test_dates_that_a_spreadsheet_half_converted_stop_the_run():
    cells = ["2026-06-04", "2026-07-04", "13/04/2026", "20/04/2026"]
    assert "taken days for months" in refused("measurements", "day", *cells, plan=CALENDAR, format="DD/MM/YYYY")
