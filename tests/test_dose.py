"""Device minutes, charge and zone minutes by day, and what a facility's days came to; expected values by hand."""

import numpy as np
import pandas as pd
import pytest

from kit.delivery.context import in_context
from kit.delivery.dose import DOSES, average_intensity, charge, doses, treated_days
from tests.drawn import drawn
from tests.exports import SAFE_HARBOR

# The charge is a product of four numbers in floating point; nothing is estimated.
EXACT = 1e-12
OPEN = "wound day length width state\nW1 100 4 3 open\n"
COLUMNS = "wound day modality setup minutes staff_minutes charge_rate intensity duty radiating_area status"


def days(*rows: str, columns: str = COLUMNS, **tables: str) -> pd.DataFrame:
    study = drawn(tables.pop("measurements", OPEN), sessions="\n".join([columns, *rows]) + "\n", **tables)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return treated_days(told, study.plan)


def told(*rows: str, **tables: str) -> pd.DataFrame:
    return doses(days(*rows, **tables), drawn(OPEN).plan)


def monopolar(day: int, minutes: object, staff: object = 20, rate: object = ".", wound: str = "W1") -> str:
    return f"{wound} {day} stimulation monopolar {minutes} {staff} {rate} . . . given"


def ultrasound(day: int, minutes: object, area: object = 5, intensity: object = 0.5, duty: object = 20) -> str:
    return f"W1 {day} ultrasound . {minutes} 15 . {intensity} {duty} {area} given"


# --- arithmetic ---


def test_charge_is_what_flowed_in_a_second_times_the_seconds():
    """360 uC/s for 50 min: 360e-6 C/s x 3,000 s = 1.08 C (Polak et al. 2018, Ostomy Wound Manage 64(2):10)."""
    assert charge(360, 50) == pytest.approx(1.08, rel=EXACT)


def test_two_hundred_and_fifty_microcoulombs_a_second_for_fifty_minutes():
    """250e-6 C/s x 3,000 s = 0.75 C."""
    assert charge(250, 50) == pytest.approx(0.75, rel=EXACT)


def test_charge_of_what_is_not_recorded_is_not_known():
    assert np.isnan(charge(np.array([np.nan, 360]), np.array([50, np.nan]))).all()


def test_intensity_over_the_pulses_is_the_duty_cycles_share():
    """0.5 W/cm2 a fifth of the time."""
    assert average_intensity(0.5, 20) == pytest.approx(0.1, rel=EXACT)


# --- days ---


def test_a_day_of_two_sessions_is_one_row_with_their_sums():
    """20 + 30 min; 360 uC/s x (20 + 30) x 60 s = 1.08 C; staff 18 + 22 min, apart."""
    (row,) = days(monopolar(101, 20, 18, 360), monopolar(101, 30, 22, 360)).itertuples()
    assert (row.day_minutes, row.staff_minutes, row.setup) == (50, 40, "monopolar")
    assert row.day_charge == pytest.approx(1.08, rel=EXACT)


def test_two_modalities_of_a_day_are_two_rows():
    found = days(monopolar(101, 45), ultrasound(101, 6))
    assert found["modality"].tolist() == ["stimulation", "ultrasound"]
    assert found["day_minutes"].tolist() == [45, 6]


def test_a_part_that_is_not_recorded_leaves_the_day_unknown_and_not_zero():
    """The second session has neither minutes, nor staff minutes, nor a rate."""
    (row,) = days(monopolar(101, 20, 18, 360), monopolar(101, ".", ".", ".")).itertuples()
    assert np.isnan([row.day_minutes, row.staff_minutes, row.day_charge]).all()


def test_a_rate_without_minutes_is_no_charge():
    (row,) = days(monopolar(101, ".", 18, 360)).itertuples()
    assert np.isnan(row.day_charge)


def test_staff_minutes_are_never_dose():
    """Where the device's minutes are not recorded, an hour of staff time does not stand in for them."""
    found = days(monopolar(101, ".", 60), monopolar(102, 45, 5))
    assert found["day_minutes"].isna().tolist() == [True, False]
    other = days(monopolar(101, ".", 5), monopolar(102, 45, 90))
    pd.testing.assert_frame_equal(found.drop(columns="staff_minutes"), other.drop(columns="staff_minutes"))


def test_minutes_a_zone_count_a_part_of_a_zone_as_a_part():
    """12 cm2 under zones of 10 cm2 are 1.2 zones: 6 min are 5 a zone."""
    (row,) = days(ultrasound(101, 6)).itertuples()
    assert row.zone_minutes == pytest.approx(6 / 1.2, rel=EXACT)
    assert row.average_intensity == pytest.approx(0.1, rel=EXACT)


def test_stimulation_has_no_zones_even_where_a_head_is_written_down():
    (row,) = days("W1 101 stimulation monopolar 45 20 . . . 5 given").itertuples()
    assert np.isnan(row.zone_minutes)


@pytest.mark.parametrize(
    ("set_ups", "said"), [(("monopolar", "bipolar"), False), ((".", "."), False), (("bipolar", "bipolar"), True)]
)
def test_the_set_up_of_a_day_is_told_where_there_was_one(set_ups, said):
    (row,) = days(*(f"W1 101 stimulation {name} 20 . . . . . given" for name in set_ups)).itertuples()
    assert pd.notna(row.setup) == said


# --- a facility's days ---


def test_the_first_session_stands_apart_and_missing_minutes_are_left_out():
    """Day 101 is the first: 20 min. Later 45, 50, 60 and one not recorded: quartiles 47.5, 50, 55."""
    later = zip((102, 103, 104, 105), (45, ".", 50, 60), strict=True)
    (row,) = told(monopolar(101, 20), *(monopolar(*pair) for pair in later)).itertuples()
    assert (row.facility, row.modality, row.setup) == ("not named", "stimulation", "monopolar")
    assert (row.wounds, row.treated_days, row.minutes_known, row.first_minutes) == (1, 5, 4, 20)
    assert (row.quartile_1, row.median, row.quartile_3) == (47.5, 50, 55)


def test_five_days_of_fifty_minutes_are_four_hours_and_ten_minutes_a_week():
    """50 min x 5 = 250 min = 4.17 h (Polak et al. 2018: 50 minutes, five days a week)."""
    (row,) = told(*(monopolar(day, 50) for day in (101, 102, 103, 104, 105, 108, 109, 110, 111, 112))).itertuples()
    assert (row.treated_weeks, row.days_a_week, row.minutes_a_week) == (2, 5, 250)
    assert row.minutes_a_week / 60 == pytest.approx(4.17, abs=0.005)  # told to two places


def test_weeks_count_from_the_wounds_first_session_and_those_without_one_are_no_treated_weeks():
    """Days 101 to 107 are the first week; 108 begins the second; 122 the fourth: three weeks, of 2, 1 and 1 days."""
    (row,) = told(*(monopolar(day, 50) for day in (101, 107, 108, 122))).itertuples()
    assert (row.treated_weeks, row.days_a_week) == (3, pytest.approx(4 / 3))


def test_a_week_with_a_day_that_is_not_recorded_has_no_minutes_of_its_own():
    """First week 50 + unknown, second week 40 + 45."""
    (row,) = told(*(monopolar(*pair) for pair in ((101, 50), (102, "."), (108, 40), (109, 45)))).itertuples()
    assert row.minutes_a_week == 85


def test_charge_and_zone_minutes_carry_how_many_days_know_them():
    """50 min at 360 uC/s are 1.08 C; another day has no rate. Of the ultrasound days one has no head."""
    found = told(monopolar(101, 50, 20, 360), monopolar(102, 50), ultrasound(103, 6), ultrasound(104, 6, "."))
    stimulated, sounded = found.itertuples()
    assert (stimulated.charge_known, stimulated.median_charge) == (1, pytest.approx(1.08, rel=EXACT))
    assert (sounded.zone_known, sounded.median_zone) == (1, pytest.approx(5, rel=EXACT))
    assert (stimulated.zone_known, sounded.charge_known) == (0, 0)


def test_each_facility_modality_and_set_up_has_its_row():
    rows = [
        monopolar(101, 45),
        monopolar(101, 50, wound="W2"),
        "W2 102 stimulation bipolar 50 . . . . . given",
        ultrasound(102, 6),
    ]
    study = {
        "wounds": "wound resident\nW1 R1\nW2 R2\n",
        "residents": "resident facility\nR1 Quellmoor\nR2 Tarnwick\n",
    }
    found = told(*rows, **study)
    assert list(found[["facility", "modality", "setup"]].itertuples(index=False, name=None)) == [
        ("Quellmoor", "stimulation", "monopolar"),
        ("Quellmoor", "ultrasound", ""),
        ("Tarnwick", "stimulation", "bipolar"),
        ("Tarnwick", "stimulation", "monopolar"),
    ]
    assert found["treated_days"].sum() == len(rows)


def test_other_modalities_are_counted_and_have_no_zones():
    (row,) = told("W1 101 other . 30 . . . . . given").itertuples()
    assert (row.modality, row.treated_days, row.first_minutes, row.zone_known) == ("other", 1, 30, 0)


# --- what an export may lack ---


def test_a_single_first_session_has_no_later_days():
    (row,) = told(monopolar(101, 20)).itertuples()
    assert (row.treated_days, row.first_minutes) == (1, 20)
    assert np.isnan([row.quartile_1, row.median, row.quartile_3]).all()


def test_a_log_of_nothing_but_days_counts_days_and_knows_no_minutes():
    (row,) = told("W1 101 ultrasound", "W1 103 ultrasound", columns="wound day modality").itertuples()
    assert (row.treated_days, row.minutes_known, row.days_a_week) == (2, 0, 2)
    assert np.isnan([row.first_minutes, row.median, row.minutes_a_week, row.median_zone, row.average_intensity]).all()


def test_without_a_session_there_is_an_empty_frame_with_every_column():
    found = told()
    assert found.empty and list(found) == DOSES


def test_without_a_calendar_nothing_changes():
    rows = (monopolar(1, 20), monopolar(2, 45))
    one, other = (told(*rows, **plan) for plan in ({}, {"plan": SAFE_HARBOR}))
    pd.testing.assert_frame_equal(one, other)


def test_nothing_is_changed_in_what_is_given():
    found = days(monopolar(101, 20), ultrasound(102, 6))
    before = found.copy(deep=True)
    doses(found, drawn(OPEN).plan)
    pd.testing.assert_frame_equal(found, before)
