"""The weeks of a wound: they begin with a measurement, last as long as its size is fresh, and leave no day out."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.healing.weeks import wound_weeks
from tests.drawn import PLAN, drawn
from tests.exports import plan_of

OPEN = "wound day length width state\n"
FRESH = {days: plan_of(PLAN + f"[sizes]\nfresh_days = {days}\n") for days in (3, 7, 14)}


def weeks_of(days, unsized=(), end=200, plan=PLAN):
    """The weeks of W1, measured with a size on some days and open without one on others; on `end` it is closed."""
    rows = [f"W1 {day} 4 3 open\n" for day in days] + [f"W1 {day} . . open\n" for day in unsized]
    study = drawn(OPEN + "".join(rows) + f"W1 {end} . . closed\n", plan=plan)
    return wound_weeks(study.episodes, study.measurements, study.plan)


def spans_of(weeks):
    return list(weeks[["begins", "ends", "measured"]].itertuples(index=False, name=None))


def test_a_week_begins_with_a_measurement_and_ends_before_the_next():
    """Rounds after 7, 6 and 5 days; what closes on day 32 ends in a week that began on day 28."""
    weeks = weeks_of([10, 17, 23, 28], end=32)
    assert spans_of(weeks) == [(10, 16, True), (17, 22, True), (23, 27, True), (28, 32, True)]


@pytest.mark.parametrize("rounds", [5, 6, 7])
def test_a_closing_ends_the_week_before_it_as_an_open_measurement_does(rounds):
    """Up to the day before a round nobody knows what it will find, so the week ends alike."""
    found_open, found_closed = weeks_of([10, 10 + rounds]), weeks_of([10], end=10 + rounds)
    assert spans_of(found_open)[0] == spans_of(found_closed)[0] == (10, 9 + rounds, True)
    assert spans_of(found_closed)[1] == (10 + rounds, 10 + rounds, False)


def test_a_week_is_numbered_by_whole_weeks_since_entry():
    """Day 22 is 12 days after entry, day 31 is 21."""
    assert weeks_of([10, 17, 22, 31], end=33)["week"].tolist() == [0, 1, 1, 2, 3]


@pytest.mark.parametrize(("second", "begins"), [(14, [10, 17, 23]), (15, [10, 15, 22, 23])])
def test_a_measurement_fewer_than_five_days_after_the_last_that_began_a_week_begins_none(second, begins):
    """Day 14 is four days after day 10, day 15 is five; day 23 closes it."""
    assert weeks_of([10, second], end=23)["begins"].tolist() == begins


def test_daily_measuring_makes_a_week_begin_every_fifth_day_and_not_never():
    """Counted from the last that began a week: 10, 15, 20, 25; counted from the last measurement only day 10 would."""
    weeks = weeks_of(range(10, 28), end=28)
    assert spans_of(weeks) == [(10, 14, True), (15, 19, True), (20, 24, True), (25, 28, True)]


@pytest.mark.parametrize(
    ("fresh", "spans"),
    [
        (7, [(10, 16, True), (17, 23, False), (24, 29, False), (30, 36, True), (37, 39, False), (40, 40, False)]),
        (14, [(10, 23, True), (24, 29, False), (30, 39, True), (40, 40, False)]),
    ],
)
def test_a_size_is_fresh_for_the_days_of_the_plan_and_time_beyond_is_cut_into_unmeasured_weeks(fresh, spans):
    """Measured on days 10 and 30, closed on day 40."""
    assert spans_of(weeks_of([10, 30], end=40, plan=PLAN + f"[sizes]\nfresh_days = {fresh}\n")) == spans


def test_a_measurement_ends_a_fresh_week_early_and_an_unmeasured_one_too():
    """Fresh for 14 days: the second measurement comes after 9, the third 16 later, two days into an unmeasured week."""
    plan = PLAN + "[sizes]\nfresh_days = 14\n"
    assert spans_of(weeks_of([10, 19, 35], end=36, plan=plan)) == [
        (10, 18, True), (19, 32, True), (33, 34, False), (35, 36, True),
    ]  # fmt: skip


def test_an_open_measurement_without_a_size_begins_no_week():
    assert spans_of(weeks_of([10, 24], unsized=[19], end=28)) == [(10, 16, True), (17, 23, False), (24, 28, True)]


def test_a_wound_first_seen_without_a_size_begins_with_an_unmeasured_week():
    assert spans_of(weeks_of([17], unsized=[10], end=20)) == [(10, 16, False), (17, 20, True)]


def test_a_size_of_zero_is_no_size_and_a_closed_measurement_begins_no_week():
    """Closed on day 17 and open again on day 22, so that the closing does not count."""
    table = OPEN + "W1 10 4 3 open\nW1 17 . . closed\nW1 22 4 3 open\nW1 25 . . closed\n"
    study = drawn(table)
    weeks = wound_weeks(study.episodes, study.measurements, study.plan)
    assert spans_of(weeks) == [(10, 16, True), (17, 21, False), (22, 25, True)]
    measured = study.measurements
    sized = measured.assign(size=measured["size"].mask(measured["state"] == "closed", 5.0))
    assert spans_of(wound_weeks(study.episodes, sized, study.plan)) == spans_of(weeks)
    nothing = measured.assign(size=measured["size"].mask(measured["day"] == 22, 0.0))
    assert spans_of(wound_weeks(study.episodes, nothing, study.plan)) == [
        (10, 16, True), (17, 23, False), (24, 24, False), (25, 25, False),
    ]  # fmt: skip


def test_what_is_measured_after_the_end_begins_no_week():
    """Closed on day 24 and open again more than 14 days later: the closing stands."""
    study = drawn(OPEN + "W1 10 4 3 open\nW1 17 4 3 open\nW1 24 . . closed\nW1 60 4 3 open\n")
    assert spans_of(wound_weeks(study.episodes, study.measurements, study.plan)) == [
        (10, 16, True), (17, 23, True), (24, 24, False),
    ]  # fmt: skip


def test_a_wound_that_ends_on_the_day_it_is_measured_has_a_week_of_one_day():
    study = drawn(OPEN + "W1 10 4 3 open\n", departures="resident day reason\nR1 10 died\n")
    assert spans_of(wound_weeks(study.episodes, study.measurements, study.plan)) == [(10, 10, True)]


def test_the_weeks_of_one_wound_do_not_depend_on_another():
    """W2 is measured in the days in which W1 may not begin a week."""
    wounds = "wound resident kind\nW1 R1 venous\nW2 R1 venous\n"
    table = (
        OPEN + "W1 10 4 3 open\nW1 17 4 3 open\nW2 12 4 3 open\nW2 19 4 3 open\nW1 20 . . closed\nW2 20 . . closed\n"
    )
    study = drawn(table, wounds=wounds)
    weeks = wound_weeks(study.episodes, study.measurements, study.plan)
    assert weeks["wound"].tolist() == ["W1", "W1", "W2", "W2"]
    assert spans_of(weeks) == [(10, 16, True), (17, 20, True), (12, 18, True), (19, 20, True)]


# --- properties: wounds with any measurement days, beside a walk through their days ---

Courses = st.lists(
    st.tuples(
        st.integers(0, 40),  # entry
        st.integers(0, 90),  # days from entry to end
        st.sets(st.integers(-5, 100), max_size=25),  # measured, in days from entry; some before it and after the end
        st.sets(st.integers(0, 100), max_size=5),  # open without a size
    ),
    min_size=1,
    max_size=4,
)
OUTCOMES = ("closed", "died")
Plans = st.sampled_from(sorted(FRESH)).map(FRESH.get)


def tables_of(courses):
    episodes = pd.DataFrame(
        [(f"W{n}", entry, entry + length, OUTCOMES[n % 2]) for n, (entry, length, _, _) in enumerate(courses)],
        columns=["wound", "entry_day", "end_day", "outcome"],
    ).astype({"entry_day": "Int64", "end_day": "Int64"})
    rows = [
        (f"W{n}", entry + day, "open", 2.0 if day in sized else np.nan)
        for n, (entry, _, sized, bare) in enumerate(courses)
        for day in sorted(sized | bare)
    ]
    measurements = pd.DataFrame(rows, columns=["wound", "day", "state", "size"])
    return episodes, measurements.astype({"wound": object, "day": "int64", "state": object, "size": float})


def walked(entry, end, sized, fresh, closes):
    """Day by day: for each day the first day of its week, and whether that week began with a size."""
    began, measured, anchor, told = entry, entry in sized, entry, []
    for day in range(entry, end + 1):
        if day in sized and day - anchor >= 5:
            began, measured, anchor = day, True, day
        elif closes and day == end and day - anchor >= 5:
            began, measured = day, False
        elif day - began == (fresh if measured else 7):
            began, measured = day, False
        told.append((day, began, measured))
    return told


@settings(deadline=None)
@given(Courses, Plans)
def test_every_day_from_entry_to_end_lies_in_exactly_one_week(courses, plan):
    episodes, measurements = tables_of(courses)
    weeks = wound_weeks(episodes, measurements, plan)
    for wound, entry, end, _ in episodes.itertuples(index=False, name=None):
        own = weeks[weeks["wound"] == wound]
        days = [day for begins, ends in zip(own["begins"], own["ends"], strict=True) for day in range(begins, ends + 1)]
        assert days == list(range(entry, end + 1))


@settings(deadline=None)
@given(Courses, Plans)
def test_the_weeks_are_those_of_a_walk_through_the_days(courses, plan):
    episodes, measurements = tables_of(courses)
    weeks = wound_weeks(episodes, measurements, plan)
    for n, (entry, length, sized, _) in enumerate(courses):
        own = weeks[weeks["wound"] == f"W{n}"]
        told = [(day, begins, measured) for begins, ends, measured in spans_of(own) for day in range(begins, ends + 1)]
        assert told == walked(entry, entry + length, {entry + day for day in sized}, plan.sizes.fresh_days, n % 2 == 0)
        assert own["week"].tolist() == [(begins - entry) // 7 for begins in own["begins"]]


@settings(deadline=None)
@given(Courses, Plans, st.randoms(use_true_random=False))
def test_the_order_of_rows_changes_nothing(courses, plan, chance):
    episodes, measurements = tables_of(courses)
    shuffled = [
        frame.iloc[chance.sample(range(len(frame)), len(frame))].reset_index(drop=True)
        for frame in (episodes, measurements)
    ]
    pd.testing.assert_frame_equal(wound_weeks(*shuffled, plan), wound_weeks(episodes, measurements, plan))
