"""The weeks of a wound: what was known at the end of each, and what was done in it."""

import numpy as np
import pytest

from kit.quarter import weeks_by_regimen
from kit.wounds.course import course
from tests.drawn import drawn

MEASURED = """
wound day length width state
W1    10  4      3     open
W1    17  3      3     open
W1    31  2      2     open
W1    38  .      .     closed
"""
SESSIONS = """
wound day modality    setup     status minutes
W1    18  stimulation monopolar given  20
W1    20  stimulation monopolar given  45
W1    24  stimulation monopolar given  45
W1    25  stimulation monopolar missed .
"""


def weeks_of(measurements=MEASURED, **tables):
    study = drawn(measurements, **tables)
    return course(study.episodes, study.measurements, study.sessions, study.plan)


def test_a_week_ends_seven_days_after_it_begins_and_the_last_one_holds_the_end():
    weeks = weeks_of()
    assert weeks["week_ends"].tolist() == [17, 24, 31, 38]
    assert weeks["state"].tolist() == ["open", "open", "open", "closed"]


def test_a_size_is_what_was_last_measured_and_is_fresh_only_in_its_own_week():
    weeks = weeks_of()
    assert weeks["size"].tolist() == [9, 9, 4, 0]
    assert weeks["size_day"].tolist() == [17, 17, 31, 38]
    assert weeks["fresh"].tolist() == [True, False, True, True]


def test_a_week_is_under_a_regimen_from_the_week_of_its_first_session():
    assert weeks_of(sessions=SESSIONS)["regimen"].tolist() == ["no modality", "monopolar", "monopolar", "monopolar"]


def test_sessions_given_and_device_minutes_are_counted_in_their_week_and_missed_ones_are_not():
    weeks = weeks_of(sessions=SESSIONS)
    assert weeks["sessions"].tolist() == [0, 3, 0, 0]
    assert weeks["minutes"].tolist() == [0, 110, 0, 0]


def test_a_wound_that_dies_in_mid_week_ends_in_that_week():
    weeks = weeks_of(
        "wound day length width state\nW1 10 4 3 open\nW1 17 3 3 open\n", departures="resident day reason\nR1 20 died\n"
    )
    assert weeks["state"].tolist() == ["open", "died"]


def test_an_open_wound_has_its_whole_weeks_up_to_the_cutoff():
    """From day 180 to the cut-off on day 200 are two whole weeks and six days of a third."""
    weeks = weeks_of("wound day length width state\nW1 180 4 3 open\n")
    assert weeks[["week", "week_ends", "state"]].values.tolist() == [[0, 187, "open"], [1, 194, "open"]]
    assert weeks["fresh"].tolist() == [False, False]


def test_a_wound_that_ends_on_its_first_day_has_one_week():
    weeks = weeks_of("wound day length width state\nW1 10 4 3 open\n", departures="resident day reason\nR1 10 died\n")
    assert weeks[["week", "week_ends", "state"]].values.tolist() == [[0, 17, "died"]]


def test_a_size_from_before_the_wound_was_seen_open_is_not_carried_in():
    weeks = weeks_of("wound day length width state\nW1 171 . . closed\nW1 186 . . open\nW1 193 2 2 open\n")
    assert weeks["size"].tolist() == [4, 4]
    assert weeks["size_day"].tolist() == [193, 193]


def test_an_open_measurement_without_a_size_leaves_the_older_size_and_its_day():
    weeks = weeks_of("wound day length width state\nW1 10 4 3 open\nW1 17 . . open\nW1 24 2 2 open\n")
    assert weeks["size"].tolist() == [12, 4]
    assert weeks["fresh"].tolist() == [False, True]


def test_a_wound_never_seen_open_has_no_weeks():
    assert weeks_of("wound day length width state\nW1 10 . . closed\n").empty


def test_weeks_are_summed_by_regimen():
    table = weeks_by_regimen(weeks_of(sessions=SESSIONS)).set_index("regimen")
    assert table.loc["monopolar"].to_dict() == {"weeks": 3, "fresh": 2, "sessions": 3, "minutes": 110}


def test_sizes_that_do_not_exist_are_missing_not_zero():
    weeks = weeks_of("wound day length width state\nW1 10 . . open\nW1 17 2 2 open\n")
    assert weeks["size"].tolist() == pytest.approx([4])
    assert not np.isnan(weeks["size"]).any()
