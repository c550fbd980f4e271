"""What was charted when a week began: sizes and their course, stage, bed, infection, person; nothing later."""

from math import log
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.healing.covariates import ALWAYS, charted
from kit.healing.weeks import wound_weeks
from kit.plan import COVARIATES
from kit.study import read_study
from kit.wounds.episodes import episodes
from tests.drawn import drawn

ROUNDS = """
wound day length width state
W1    10  4      3     open
W1    17  3      3     open
W1    24  3      2     open
W1    31  2      2     open
W1    35  .      .     closed
"""
TWO_WOUNDS = "wound resident kind\nW1 R1 pressure_injury\nW2 R1 pressure_injury\n"
BOTH = ROUNDS + "W2 10 2 2 open\nW2 17 2 2 open\nW2 21 . . closed\n"
KNOWN = [name for name in (*ALWAYS, "stage_of_record", *COVARIATES) if name != "week"]
LIFELIKE = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"


def chart(measurements=ROUNDS, wound="W1", **tables):
    """What was charted at the weeks of one wound, by the day on which each begins."""
    study = drawn(measurements, **tables)
    told = of_study(study, study.episodes)
    return told[told["wound"] == wound].set_index("begins")


def of_study(study, seen):
    weeks = wound_weeks(seen, study.measurements, study.plan).merge(seen[["wound", "resident"]], on="wound")
    return charted(weeks, study.residents, study.wounds, study.measurements, study.stages, study.spans)


def test_the_size_is_the_last_measured_as_its_logarithm():
    """12, 9, 6 and 4 cm2."""
    assert chart()["log_size"].to_dict() == pytest.approx({10: log(12), 17: log(9), 24: log(6), 31: log(4)})


def test_the_mean_of_the_last_three_sizes_takes_as_many_as_there_are():
    """Of logarithms: the third root of 12 x 9 x 6 on day 24, and of 9 x 6 x 4 on day 31, where 12 has left it."""
    mean = {10: log(12), 17: log(12 * 9) / 2, 24: log(12 * 9 * 6) / 3, 31: log(9 * 6 * 4) / 3}
    assert chart()["log_size_3"].to_dict() == pytest.approx(mean)


def test_the_slope_is_the_change_since_the_first_size_a_week():
    """From 12 to 9 in one week, to 6 in two, to 4 in three; nothing is known of a slope on the first day."""
    slope = {10: 0, 17: log(9 / 12), 24: log(6 / 12) / 2, 31: log(4 / 12) / 3}
    assert chart()["slope"].to_dict() == pytest.approx(slope)


def test_the_slope_counts_days_and_not_measurements():
    """From 12 to 6 in 21 days is log(1/2) over three weeks."""
    told = chart("wound day length width state\nW1 10 4 3 open\nW1 31 3 2 open\nW1 36 . . closed\n")
    assert told.loc[31, "slope"] == pytest.approx(log(1 / 2) / 3)


STALL = """
wound day length width state
W1    10  4      3     open
W1    17  4      2     open
W1    37  3.9    2.8   open
W1    38  3.6    3     open
W1    45  3.6    2     open
W1    52  3.6    2     open
"""


def test_a_wound_stalls_that_is_less_than_a_tenth_smaller_than_four_weeks_before():
    """10.92 cm2 are 91% of 12 but lie 27 days after; 10.8, on day 38, are 90%, and so are 7.2 of 8 on day 45."""
    told = chart(STALL)["stalled"]
    assert told.loc[[10, 17]].tolist() == [0, 0]  # nothing was measured so long before
    assert told.loc[37] == 0
    assert told.loc[45] == 0  # a tenth smaller is no stall
    assert told.loc[52] == 0  # of 8, the last that lies 28 days before, not of 12


def test_a_wound_that_grows_stalls_and_one_of_another_wound_says_nothing():
    grown = "wound day length width state\nW1 10 2 2 open\nW1 38 2 2.1 open\nW2 10 9 9 open\nW2 17 9 9 open\n"
    assert chart(grown, wounds=TWO_WOUNDS)["stalled"].loc[[10, 38]].tolist() == [0, 1]
    assert chart(grown, "W2", wounds=TWO_WOUNDS)["stalled"].loc[17] == 0


def test_an_unmeasured_week_carries_the_last_size_and_its_course():
    told = chart("wound day length width state\nW1 10 4 3 open\nW1 17 3 3 open\nW1 36 . . closed\n")
    assert told.index.tolist() == [10, 17, 24, 31, 36]
    assert told.loc[[24, 31, 36], ["log_size", "log_size_3", "slope"]].to_numpy() == pytest.approx(
        np.array([[log(9), log(12 * 9) / 2, log(9 / 12)]] * 3)
    )


def test_a_measurement_that_began_no_week_is_known_when_the_next_begins():
    """1 cm2 on day 13, three days after the last: on day 17 it is not measured anew."""
    told = chart("wound day length width state\nW1 10 4 3 open\nW1 13 1 1 open\nW1 20 . . closed\n")
    assert told["log_size"].to_dict() == pytest.approx({10: log(12), 17: log(1), 20: log(1)})


def test_a_measurement_without_a_size_leaves_the_course_as_it_was():
    told = chart(ROUNDS + "W1 20 . . open\n")
    assert told.loc[24, ["log_size_3", "slope"]].tolist() == pytest.approx([log(12 * 9 * 6) / 3, log(1 / 2) / 2])


def test_the_size_of_a_wound_never_sized_is_missing_and_not_zero():
    told = chart("wound day length width state\nW1 10 . . open\nW1 15 . . closed\n")
    assert told[["log_size", "log_size_3", "slope"]].isna().all(axis=None)


def test_sizes_are_those_of_the_wound_and_not_of_another():
    assert chart(BOTH, "W2", wounds=TWO_WOUNDS)["log_size_3"].tolist() == pytest.approx([log(4), log(4)])


def test_the_stage_of_record_is_the_last_charted_up_to_the_day_a_week_begins():
    """Stage 2 becomes 3 on day 24; what is charted on day 27 is known on day 31."""
    table = """
    wound day length width state stage
    W1    10  4      3     open  2
    W1    17  3      3     open  .
    W1    24  3      2     open  3
    W1    27  .      .     open  4
    W1    31  2      2     open  .
    W1    35  .      .     closed .
    """
    told = chart(table)
    assert told["stage_of_record"].to_dict() == {10: "2", 17: "2", 24: "3", 31: "4"}
    assert told["full_thickness"].to_dict() == {10: 0, 17: 0, 24: 1, 31: 1}


@pytest.mark.parametrize(("stage", "full"), [("2", 0), ("3", 1), ("4", 1), ("unstageable", 1), ("deep_tissue", 0)])
def test_full_thickness_is_stage_3_4_or_unstageable(stage, full):
    table = f"wound day length width state stage\nW1 10 4 3 open {stage}\nW1 14 . . closed .\n"
    assert chart(table)["full_thickness"].tolist() == [full]


def test_necrosis_is_the_last_known_share_of_the_bed():
    """30% on day 10, not charted on day 17, 60% on day 24; before the first it is missing."""
    table = """
    wound day length width state  necrosis_share
    W1    3   4      3     open   .
    W1    10  4      3     open   30
    W1    17  3      3     open   .
    W1    24  3      2     open   60
    W1    31  .      .     closed .
    """
    assert chart(table)["necrosis"].to_dict() == pytest.approx({3: np.nan, 10: 30, 17: 30, 24: 60, 31: 60}, nan_ok=True)


@pytest.mark.parametrize(
    ("span", "infected"),
    [
        ("R1 . infection 18 25", [24]),
        ("R1 . antibiotic 18 25", [24]),
        ("R1 . infection 17 24", [17, 24]),  # first and last day included
        ("R1 . infection 25 30", []),  # over before the next week begins, not begun when this one did
        ("R1 . infection 18 .", [24, 31]),  # a blank end still holds
        ("R1 . infection 5 .", [10, 17, 24, 31]),
        (". W1 infection 18 25", [24]),
        (". W2 infection 18 25", []),  # of the other wound
        ("R1 W2 infection 18 25", []),
        ("R2 . infection 18 25", []),
        ("R1 . contraindication 18 25", []),
    ],
)
def test_infection_is_a_span_of_the_person_or_of_the_wound_on_the_day_a_week_begins(span, infected):
    wounds = TWO_WOUNDS + "W3 R2 venous\n"
    told = chart(BOTH, wounds=wounds, spans=f"resident wound span from_day to_day\n{span}\n")
    assert told.index[told["infection"] == 1].tolist() == infected
    assert set(told["infection"]) <= {0, 1}


def test_a_span_of_the_person_holds_for_every_wound():
    told = chart(BOTH, "W2", wounds=TWO_WOUNDS, spans="resident span from_day to_day\nR1 infection 12 18\n")
    assert told["infection"].tolist() == [0, 1]


RESIDENT = {
    "age": ("81", 81),
    "risk_total": ("14", 14),
    "diabetes": ("yes", 1),
    "perfusion": ("reduced", 1),
    "mobility": ("bed", 1),
    "continence": ("both", 1),
    "weight_loss": ("yes", 1),
}
OTHERWISE = {
    "diabetes": "no",
    "perfusion": "adequate",
    "mobility": "chair",
    "continence": "continent",
    "weight_loss": "no",
}


# Flags are read as true and false, and covariates.py compares them with "yes". The mark goes with the fault.


@pytest.mark.parametrize("name", RESIDENT)
def test_what_is_charted_of_the_person_is_a_number(name):
    word, number = RESIDENT[name]
    assert set(chart(residents=f"resident {name}\nR2 .\nR1 {word}\n")[name]) == {number}


@pytest.mark.parametrize("word", ["urine", "stool", "both"])
def test_any_incontinence_counts(word):
    assert set(chart(residents=f"resident continence\nR1 {word}\n")["continence"]) == {1}


@pytest.mark.parametrize("name", OTHERWISE)
def test_what_is_charted_as_absent_is_zero(name):
    assert set(chart(residents=f"resident {name}\nR1 {OTHERWISE[name]}\n")[name]) == {0}


@pytest.mark.parametrize("name", RESIDENT)
def test_what_is_not_charted_of_the_person_stays_missing(name):
    """R2, whose row is filled, lends R1 nothing."""
    assert chart(residents=f"resident {name}\nR1 .\nR2 {RESIDENT[name][0]}\n")[name].isna().all()


def test_without_a_residents_table_everything_of_the_person_is_missing():
    assert chart()[list(RESIDENT)].isna().all(axis=None)


@pytest.mark.parametrize(("word", "number"), [("yes", 1), ("no", 0), (".", np.nan)])
def test_presence_on_admission_is_of_the_wound_and_stays_missing_where_it_is_not_charted(word, number):
    told = chart(wounds=f"wound resident kind present_on_admission\nW1 R1 venous {word}\nW9 R9 venous yes\n")
    assert told["present_on_admission"].tolist() == pytest.approx([number] * len(told), nan_ok=True)


def test_the_weeks_come_back_in_the_order_in_which_they_were_given():
    """By wound: days 10 to 31 of W1 stand before days 10 and 17 of W2."""
    study = drawn(BOTH, wounds=TWO_WOUNDS)
    told = of_study(study, study.episodes)
    order = [("W1", 10), ("W1", 17), ("W1", 24), ("W1", 31), ("W2", 10), ("W2", 17)]
    assert list(told[["wound", "begins"]].itertuples(index=False, name=None)) == order


def test_every_covariate_that_a_plan_may_name_is_a_column_of_numbers():
    told = chart()
    assert {str(told[name].dtype) for name in COVARIATES} == {"float64"}


def test_later_measurements_stages_and_spans_change_nothing():
    """Day 24 and what lies before it, with and without what was charted from day 25 on."""
    head = "wound day length width state stage necrosis_share\n"
    until = head + "W1 10 4 3 open 2 20\nW1 17 3 3 open 2 20\nW1 24 3 2 open 2 10\n"
    later = until + "W1 25 9 9 open 4 90\nW1 31 9 9 open 4 90\n"
    spans = "resident span from_day to_day\nR1 antibiotic 12 18\n"
    before = chart(until, spans=spans)
    after = chart(later, spans=spans + "R1 infection 25 .\n")
    pd.testing.assert_frame_equal(after.loc[:24, KNOWN], before.loc[:24, KNOWN])
    assert after.loc[31, "infection"] == 1 and after.loc[31, "stage_of_record"] == "4"


def known_by(study, day):
    """The study as it stood on a day: rows of later days are not there, nor ends that were not known then."""
    measurements, spans, gone = (
        frame[frame[column] <= day].copy()
        for frame, column in (
            (study.measurements, "day"), (study.spans, "from_day"), (study.departures, "day"),
        )
    )  # fmt: skip
    spans["to_day"] = spans["to_day"].mask(spans["to_day"] > day)
    gone["returned"] = gone["returned"].mask(gone["returned"] > day)
    sessions = study.sessions[study.sessions["day"] <= day]
    seen = episodes(study.residents, study.wounds, measurements, sessions, gone, study.plan)
    stages = study.stages[study.stages["day"] <= day]
    weeks = wound_weeks(seen[seen["entry_day"].notna()], measurements, study.plan)
    weeks = weeks.merge(seen[["wound", "resident"]], on="wound")
    return charted(weeks, study.residents, study.wounds, measurements, stages, spans)


@settings(deadline=None, max_examples=12)
@given(st.integers(0, 2 * 365))
def test_deleting_all_that_came_after_a_day_changes_nothing_charted_up_to_it(back):
    """Four invented facilities; every week that begins on or before the day, in each of the two views."""
    study = read_study(LIFELIKE)
    day = study.plan.cutoff - back
    whole, then = of_study(study, study.episodes[study.episodes["entry_day"].notna()]), known_by(study, day)
    key = ["wound", "begins"]
    both = whole[whole["begins"] <= day][key].merge(then[key], on=key)
    assert len(both) >= 0.9 * (then["begins"] <= day).sum()
    columns = [*key, "week", "measured", *KNOWN]
    pd.testing.assert_frame_equal(both.merge(whole[columns], on=key), both.merge(then[columns], on=key))
