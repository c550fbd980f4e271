"""The negative control: sizes before the start by hand, and weighted as in the answer where starts follow them."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from kit.healing.answers import answer, withheld
from kit.healing.comparison import any_modality, arms
from kit.healing.emulation import lay_out
from kit.healing.other_answers import NOT_MADE
from kit.sensitivity.before_start import SAYS, before_start, slopes_before
from kit.words import FORBIDDEN
from tests.drawn import drawn
from tests.invented_weeks import invented, of_study
from tests.test_other_answers import HORIZON
from tests.told import answers_of, row_of

CLOSE = 1e-9  # logarithms and their exponentials
FEW = 50  # draws, where limits are not what is tested


def courses(fall, name, first=10, last=130):
    """Weekly rounds of 12 cm wide wounds whose length falls by a share a week."""
    return [f"{name} {day} {12 * (1 - fall) ** ((day - first) / 7):.9f} 12 open" for day in range(first, last, 7)]


def falling(people=12, starts=0.05, others=0.10, late=59):
    """Wounds that start lose so much a week, those beside so much; one week of each, the 8th (day 59), is judged."""
    names = [f"S{number}" for number in range(people)] + [f"O{number}" for number in range(people)]
    lines = [line for name in names for line in courses(starts if name[0] == "S" else others, name)]
    return drawn(
        "wound day length width state\n" + "\n".join(lines),
        wounds="wound resident kind\n" + "\n".join(f"{name} R{name} venous" for name in names),
        sessions="wound day modality status\n"
        + "\n".join(f"{name} {late + 2} ultrasound given" for name in names if name[0] == "S"),
        spans="resident wound span from_day to_day\n"
        + "\n".join(f"R{name} . comfort_goal 10 {late - 1}\nR{name} . comfort_goal {late + 7} ." for name in names),
    )


def laid(study, **told):
    layout = lay_out(of_study(study).weeks, study.measurements, study.plan, HORIZON)
    return replace(answers_of(row_of(**told)), layout=layout)


def test_rates_before_the_start_are_those_that_were_drawn():
    study = falling()
    row = before_start(laid(study), study.measurements, draws=FEW).iloc[0]
    # Alike within each side, so that no weight can change its rate: 5% and 10% a week.
    assert (row["starters_rate"], row["others_rate"]) == (pytest.approx(5.0), pytest.approx(10.0))
    assert (row["amount"], row["unweighted"]) == (pytest.approx(-5.0), pytest.approx(-5.0))
    assert (row["low"], row["high"]) == (
        pytest.approx(-5.0),
        pytest.approx(-5.0),
    )  # every draw of residents is the same
    assert (row["residents"], row["others_residents"], row["not_computed"]) == (12, 12, "")


def with_days(days, sizes):
    """The slopes of one wound measured on these days before the one judged (59), on which it is 10 cm2."""
    study = falling(people=1)
    layout = laid(study).layout
    own = pd.DataFrame({"wound": "S0", "day": [*days, 59], "size": [*sizes, 10.0], "state": "open"})
    weeks = layout.weeks.assign(log_size=np.log(10.0))
    return slopes_before(replace(layout, weeks=weeks), layout.starters.week, own)


def test_size_is_followed_from_the_earliest_measurement_of_the_last_four_weeks():
    assert with_days([30, 31, 45], [90, 20, 70]) == pytest.approx([np.log(10 / 20) / 4], abs=CLOSE)  # day 31: 28 before
    assert with_days([30, 38, 45], [90, 20, 70]) == pytest.approx([np.log(10 / 20) / 3], abs=CLOSE)
    assert with_days([45], [20]) == pytest.approx([np.log(10 / 20) / 2], abs=CLOSE)  # two weeks are just enough


@pytest.mark.parametrize("days", [[30], [46], [46, 52], []])
def test_less_than_two_weeks_of_sizes_tell_no_rate(days):
    assert np.isnan(with_days(days, [20] * len(days))).all()


def test_what_happens_after_the_start_changes_nothing():
    study = falling()
    told = laid(study)
    later = study.measurements.assign(size=study.measurements["size"].where(study.measurements["day"] <= 59, 0.5))
    first, second = (before_start(told, sizes, draws=FEW) for sizes in (study.measurements, later))
    pd.testing.assert_frame_equal(first, second)


@pytest.fixture(scope="module")
def facility():
    made = invented(Scenario(residents=260, starters=60))
    return made, answer(made.judged, made.measurements, made.plan, draws=20)


def test_the_weights_level_what_starts_followed(facility):
    made, told = facility
    row = before_start(told, made.measurements).iloc[0]
    assert row["unweighted"] < -2  # slow wounds start rather
    assert abs(row["amount"]) < abs(row["unweighted"]) / 2
    assert row["low"] < 0 < row["high"]


def test_the_weighted_rate_is_the_mean_with_the_answers_weights(facility):
    made, told = facility
    layout = told.layout
    both = arms(layout, any_modality(layout), np.ones((len(layout.weeks), 1)), {})
    row = before_start(told, made.measurements, draws=FEW).iloc[0]
    for arm, name in zip(both, ("starters_rate", "others_rate"), strict=True):
        pace = slopes_before(layout, arm.rows.week, made.measurements)
        known = np.isfinite(pace)
        mean = np.average(pace[known], weights=arm.base[known, 0])
        assert row[name] == pytest.approx(100 * (1 - np.exp(mean)))
        assert row["residents" if name[0] == "s" else "others_residents"] == len(
            set(layout.weeks["resident"].to_numpy()[arm.rows.week[known]])
        )


def test_fewer_than_ten_residents_on_a_side_are_not_told():
    study = falling(people=9)
    row = before_start(laid(study), study.measurements).iloc[0]
    assert np.isnan(row["amount"])
    assert row["not_computed"] == "9 residents on one side with sizes two weeks apart, ten are needed"


def test_a_comparison_that_a_warning_stopped_has_it_all_the_same(facility):
    made, told = facility
    whole, stopped = (before_start(one, made.measurements, draws=FEW) for one in (told, withheld(told, "a warning")))
    pd.testing.assert_frame_equal(whole, stopped)


def test_a_comparison_that_the_data_do_not_carry_has_none():
    study = falling()
    few = replace(laid(study), needs=answers_of(row_of(told=False), closings=4.0).needs)
    row = before_start(few, study.measurements).iloc[0]
    assert (row["not_computed"], row["says"], row["residents"]) == (NOT_MADE, SAYS, 12)
    assert np.isnan(row["amount"])


def test_words_claim_nothing():
    assert [word for word in FORBIDDEN if f" {word} " in f" {SAYS.lower()} "] == []
