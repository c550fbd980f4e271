"""The delayed exponential: worked curves, plain loops, and forecasts held against what came of invented wounds."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from kit.trajectories.delayed import STILL, USED, fit_delayed, forecasts
from tests.drawn import drawn

EXACT = 1e-9  # rounding of binary fractions only
FOUR_DECIMALS = 5e-5  # the published figure is printed to four decimals
FROM_FOUR_DECIMALS = 1e-4  # the curve is given with areas printed to four decimals
SEARCHED = 1e-6  # where a numerical search stops, and what a change of unit leaves of a difference of logarithms
WEEKLY = (0, 7, 14, 21, 28, 35, 42)


def fit(areas, days=WEEKLY, **thresholds) -> dict[str, float]:
    """The fit of one wound."""
    days = days[: len(areas)]
    return fit_delayed(["W1"] * len(areas), days, areas, **thresholds).iloc[0].to_dict()


# --- worked curves ---


def test_the_worked_curve_is_found():
    """A0 = 12, T0 = 2, k = 0.25: 12 exp(-0.25) = 9.3456 in week 3; 5% is reached at 2 + ln(20) / 0.25 = 13.9829."""
    found = fit([12, 12, 12, 9.3456, 7.2784, 5.6684, 4.4146])
    assert found["areas"] == 7
    assert found["first_size"] == pytest.approx(12, abs=FROM_FOUR_DECIMALS)
    assert found["delay"] == 2
    assert found["rate"] == pytest.approx(0.25, abs=FROM_FOUR_DECIMALS)
    assert found["closes"] == pytest.approx(13.9829, abs=10 * FROM_FOUR_DECIMALS)


def test_the_curve_without_rounding_is_found_to_the_last_digit():
    found = fit([12, 12, 12, *(12 * np.exp(-0.25 * np.arange(1, 5)))])
    assert found["rate"] == pytest.approx(0.25, abs=EXACT)
    assert found["closes"] == pytest.approx(2 + np.log(20) / 0.25, abs=EXACT)


def test_without_a_delay_it_is_the_slope_of_the_logarithm():
    """12, 9.6, 7.68, 6.144, 4.9152, a fifth less every week: ln(0.8) = -0.2231436."""
    found = fit([12, 9.6, 7.68, 6.144, 4.9152])
    assert found["rate"] == pytest.approx(0.2231436, abs=5e-8)
    assert (found["delay"], found["first_size"]) == (0, pytest.approx(12, abs=EXACT))


def test_a_threshold_in_cm2_alone():
    """12 to 6 cm2 in 4 weeks is ln(2) / 4 = 0.1732868; 12 to 0.1 cm2 takes ln(120) / 0.1732868 = 27.6276 weeks."""
    found = fit([12 * 2 ** (-week / 4) for week in range(5)], share_left=1, size_left=0.1)
    assert found["rate"] == pytest.approx(0.1732868, abs=5e-8)
    assert found["closes"] == pytest.approx(27.6276, abs=FOUR_DECIMALS)


@pytest.mark.parametrize(("first", "fall"), [(12, 20), (20, 20), (30, 30), (2, 20)])
def test_closing_is_below_a_twentieth_and_below_one_cm2(first, fall):
    """From 30 cm2 a twentieth is 1.5, and 1 cm2 comes later, after a fall to a 30th; from 12 the twentieth is later."""
    found = fit([first * np.exp(-0.5 * week) for week in range(5)])
    assert found["closes"] == pytest.approx(np.log(fall) / 0.5, abs=EXACT)


def test_a_delay_between_two_rounds_is_found_to_the_day():
    """Nine days still, then 0.35 a week: weeks 2 to 6 lie 5, 12, 19, 26 and 33 days beyond."""
    areas = [8, 8, *(8 * np.exp(-0.05 * (np.array(WEEKLY[2:]) - 9)))]
    found = fit(areas)
    assert found["delay"] == pytest.approx(9 / 7, abs=EXACT)
    assert found["rate"] == pytest.approx(0.35, abs=EXACT)


# --- what is no decline, and what is too little ---


@pytest.mark.parametrize("areas", [[2, 3, 4, 5, 6], [3, 3, 3, 3, 3], [7.7] * 7, [1, 1, 1, 1, 9]])
def test_a_wound_that_does_not_shrink_never_closes(areas):
    """Of seven times 7.7 rounding leaves a fall of 1e-32 a week."""
    found = fit(areas)
    assert (found["rate"], found["closes"]) == (0, np.inf)
    assert np.isnan(found["delay"])
    assert found["first_size"] == pytest.approx(np.prod(areas) ** (1 / len(areas)), abs=EXACT)


@pytest.mark.parametrize(
    "days",
    [
        (0,),
        (0, 1, 2, 3, 4),  # five areas in two weeks
        (0, 7, 14, 21),
        (0, 7, 14, 21, 24),  # day 24 lies next to week 3, which has one
        (0, 3, 14, 21, 28),  # day 3 lies next to week 0
    ],
)
def test_too_few_weeks_are_counted_and_not_fitted(days):
    found = fit([5, 4, 3, 2, 1][: len(days)], days)
    assert found["areas"] == len(days)
    assert np.isnan([found[name] for name in ("first_size", "delay", "rate", "closes")]).all()


@pytest.mark.parametrize("days", [(0, 6, 13, 20, 27), (0, 8, 15, 22, 29), (3, 7, 14, 21, 28), (0, 14, 21, 63, 70)])
def test_rounds_a_day_early_or_late_and_rounds_left_out_are_five_weeks_all_the_same(days):
    assert fit([5, 4, 3, 2, 1], days)["rate"] > 0


def test_no_single_area_sets_the_rate():
    """Four times 12 and then 6: a delay of up to day 27 would let the last area fall as fast as one likes."""
    found = fit([12, 12, 12, 12, 6])
    assert found["delay"] == 20 / 7
    assert found["rate"] < np.log(2)


def test_every_wound_has_its_row_and_none_leans_on_another():
    areas = {"B": [12, 9, 9, 5, 4], "A": [3, 3, 3, 3, 3], "C": [1]}
    wound = [name for name, sizes in areas.items() for _ in sizes]
    days = [day for sizes in areas.values() for day in WEEKLY[: len(sizes)]]
    together = fit_delayed(wound, days, [size for sizes in areas.values() for size in sizes])
    assert together["wound"].tolist() == ["A", "B", "C"]
    alone = [fit_delayed([name] * len(areas[name]), WEEKLY[: len(areas[name])], areas[name]) for name in "ABC"]
    pd.testing.assert_frame_equal(together, pd.concat(alone, ignore_index=True))


def test_no_areas_give_no_rows_and_the_same_columns():
    none = fit_delayed([], [], [])
    assert len(none) == 0
    assert none.dtypes.to_dict() == fit_delayed(["W1"], [0], [3.0]).dtypes.to_dict()


@pytest.mark.parametrize("size", [0.0, -1.0, np.nan])
def test_a_size_that_is_none_is_refused_and_not_quoted(size):
    with pytest.raises(ValueError, match="^size: a size is missing or not above 0"):
        fit([5, 4, 3, 2, size])


@pytest.mark.parametrize("left", [{"share_left": 0}, {"size_left": -1}, {"size_left": np.nan}])
def test_a_threshold_that_is_never_reached_is_refused(left):
    with pytest.raises(ValueError, match="^threshold: "):
        fit([5, 4, 3, 2, 1], **left)


# --- against loops ---


def brute(days, areas):
    """Every delay in turn, each by an ordinary least squares of two columns: sum of squares, A0, delay (days), rate."""
    days, log = np.array(days, dtype=float) - min(days), np.log(areas)
    flat = (np.sum((log - log.mean()) ** 2), np.exp(log.mean()), np.nan, 0.0)
    tries = [flat]
    for delay in range(int(days[-2])):
        columns = np.column_stack([np.ones_like(days), -np.maximum(days - delay, 0) / 7])
        start, rate = np.linalg.lstsq(columns, log, rcond=None)[0]
        if rate > 0:
            tries.append((np.sum((log - columns @ [start, rate]) ** 2), np.exp(start), delay, rate))
    return min(tries, key=lambda fitted: fitted[0])


def noisy(seed):
    """A wound of 5 to 14 areas about a week apart, with errors of a fifth."""
    draw = np.random.default_rng(seed)
    days = np.cumsum([0, *draw.integers(6, 9, size=draw.integers(5, 14))])
    fall = np.maximum(days - draw.integers(0, 40), 0) * draw.uniform(-0.02, 0.08)
    return days, draw.uniform(1, 30) * np.exp(-fall + draw.normal(0, 0.2, len(days)))


def test_noisy_wounds_come_out_as_by_loops():
    wounds = {f"W{seed:03}": noisy(seed) for seed in range(60)}
    wound = np.repeat(list(wounds), [len(days) for days, _ in wounds.values()])
    found = fit_delayed(wound, *(np.concatenate(part) for part in zip(*wounds.values(), strict=True)))
    plain = np.array([brute(*areas)[1:] for areas in wounds.values()])
    assert 5 < (plain[:, 2] == 0).sum() < 30  # both kinds are among them
    np.testing.assert_allclose(found["first_size"], plain[:, 0], rtol=EXACT)
    np.testing.assert_allclose(found["delay"] * 7, plain[:, 1], rtol=EXACT)
    np.testing.assert_allclose(found["rate"], plain[:, 2], rtol=EXACT, atol=EXACT)


@pytest.mark.parametrize("seed", [1, 4, 9])
def test_no_other_rate_at_that_delay_fits_better(seed):
    """By a numerical search that knows nothing of the closed form."""
    days, areas = noisy(seed)
    found, log = fit(areas, days), np.log(areas)
    assert found["rate"] > 0
    beyond = np.maximum(days / 7 - found["delay"], 0)
    squares = minimize_scalar(lambda rate: np.var(log + rate * beyond), bounds=(0, 5), options={"xatol": 1e-10})
    assert squares.x == pytest.approx(found["rate"], abs=SEARCHED)


# --- properties ---

# Rounds at least seven days apart lie in weeks of their own, so that every course is fitted.
courses = st.lists(st.tuples(st.integers(7, 9), st.floats(0.1, 80)), min_size=5, max_size=12)


@settings(deadline=None, derandomize=True, max_examples=50)
@given(courses, st.sampled_from([100.0, 0.155, 1 / 3]))
def test_the_unit_of_size_moves_the_first_size_and_nothing_else(course, unit):
    days, areas = np.cumsum([step for step, _ in course]), np.array([area for _, area in course])
    one, other = fit(areas, days), fit(areas * unit, days)
    assert other["first_size"] == pytest.approx(one["first_size"] * unit, rel=EXACT)
    assert other["delay"] == pytest.approx(one["delay"], nan_ok=True)
    assert other["rate"] == pytest.approx(one["rate"], rel=SEARCHED, abs=2 * STILL)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(courses, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(course, shuffler):
    rows = list(zip(np.cumsum([step for step, _ in course]).tolist(), [area for _, area in course], strict=True))
    mixed = shuffler.sample(rows, len(rows))
    one, other = (fit_delayed(["W1"] * len(rows), *zip(*order, strict=True)) for order in (rows, mixed))
    pd.testing.assert_frame_equal(one, other)


# --- forecasts ---

FALLING = [12 * np.exp(-0.25 * week) for week in range(12)]  # to close 11.9829 weeks after its first day
STEADY = [12.0] * 12


def rows_of(wound, first, areas, closes=None):
    """Traced once a week from its first day on, and closed in a week."""
    lines = [f"{wound} {first + 7 * week} {area:.12f} open\n" for week, area in enumerate(areas)]
    return "".join(lines) + (f"{wound} {first + 7 * closes} . closed\n" if closes else "")


SEVEN = {
    "W1": (10, FALLING, 12),  # was to close in week 12, and did
    "W2": (10, FALLING, None),  # was to close in week 12 and is open to the cut-off on day 200
    "W3": (10, STEADY[:6], 6),  # was never to close, and did in week 6
    "W4": (10, STEADY[:6], None),  # its person died in week 6
    "W5": (130, FALLING[:6], 6),  # closed in week 6; eight weeks after week 4 lie beyond the cut-off
    "W6": (10, STEADY[:4], 4),  # has four areas
    "W7": (10, STEADY, None),  # was never to close, and did not
}


@pytest.fixture(scope="module")
def seven():
    wounds = "wound resident kind\n" + "".join(f"W{n} R{n} venous\n" for n in range(1, 8))
    measured = "wound day area state\n" + "".join(rows_of(name, *course) for name, course in SEVEN.items())
    # W2 and W7 are seen again every week, so that they are followed to the cut-off.
    again = "".join(f"{name} {day} 2 open\n" for name in ("W2", "W7") for day in range(94, 200, 7))
    return drawn(measured + again, wounds=wounds, departures="resident day reason\nR4 52 died\n")


def forecast(study, used, ahead):
    table = forecasts(study.episodes, study.measurements, study.plan)
    return table[(table["areas"] == used) & (table["weeks_ahead"] == ahead)].iloc[0].to_dict()


def test_four_weeks_after_five_areas(seven):
    """Week 8. All are to be open. W1, W2 and W7 are; W3 and W5 have closed; W4 was not seen to then; W6 is not told."""
    found = forecast(seven, 5, 4)
    assert (found["wounds"], found["not_followed"]) == (6, 1)
    assert (found["predicted_closed"], found["closed_as_predicted"]) == (0, 0)
    assert (found["predicted_open"], found["open_as_predicted"]) == (5, 3)


def test_eight_weeks_after_five_areas(seven):
    """Week 12. W1 and W2 were to be closed and W1 is; W3 and W7 were to be open and W7 is; of W5 nothing is said."""
    found = forecast(seven, 5, 8)
    assert (found["wounds"], found["not_followed"]) == (6, 2)
    assert (found["predicted_closed"], found["closed_as_predicted"]) == (2, 1)
    assert (found["predicted_open"], found["open_as_predicted"]) == (2, 1)


def test_those_that_closed_are_held_against_their_week(seven):
    """W1 by 11.9829 - 12, W5 by 11.9829 - 6 weeks, W3 never: the median is W5's, and W1 lies within two weeks."""
    found = forecast(seven, 5, 4)
    assert (found["closed_later"], found["within_two_weeks"]) == (3, 1)
    assert found["weeks_off"] == pytest.approx(5.9829, abs=FOUR_DECIMALS)


def test_a_wound_with_six_areas_is_not_among_those_with_seven(seven):
    """W3, W4 and W5 have six."""
    assert [forecast(seven, used, 4)["wounds"] for used in USED] == [6, 6, 3]


def test_a_wound_that_was_never_to_close_and_did_is_infinitely_far_off():
    study = drawn("wound day area state\n" + rows_of("W1", 10, STEADY[:6], 6))
    found = forecast(study, 5, 4)
    assert (found["closed_later"], found["weeks_off"], found["within_two_weeks"]) == (1, np.inf, 0)


@pytest.mark.parametrize(("day", "followed"), [(65, 0), (66, 1), (67, 1)])
def test_a_wound_that_leaves_on_the_day_of_the_horizon_was_open_on_it(day, followed):
    """Five areas end on day 38; four weeks later is day 66."""
    departures = f"resident day reason\nR1 {day} left\n"
    study = drawn("wound day area state\n" + rows_of("W1", 10, STEADY[:8]), departures=departures)
    found = forecast(study, 5, 4)
    assert (found["predicted_open"], found["open_as_predicted"], found["not_followed"]) == (
        followed, followed, 1 - followed,
    )  # fmt: skip


def test_of_several_areas_in_a_week_the_first_is_used():
    """Every third day falls next to weeks 0, 0, 1, 1, 2, 2, 2, 3, 3, 4: ten areas are five weekly ones."""
    rows = [f"W1 {day} 12 open\n" for day in range(10, 38, 3)]
    nine, ten = (drawn("wound day area state\n" + "".join(rows[:count])) for count in (9, 10))
    assert [forecast(study, 5, 4)["wounds"] for study in (nine, ten)] == [0, 1]


def test_a_second_area_of_a_week_does_not_change_the_forecast():
    """Steady on its round and falling two days after it: of the round it is never to close."""
    rows = (f"W1 {10 + 7 * week} 12 open\nW1 {12 + 7 * week} {area:.12f} open\n" for week, area in enumerate(FALLING))
    found = forecast(drawn("wound day area state\n" + "".join(rows) + "W1 94 . closed\n"), 5, 8)
    assert (found["predicted_closed"], found["predicted_open"], found["open_as_predicted"]) == (0, 1, 0)


def test_no_wounds_give_the_same_rows_with_nothing_in_them(seven):
    some = forecasts(seven.episodes, seven.measurements, seven.plan)
    none = forecasts(seven.episodes.iloc[:0], seven.measurements.iloc[:0], seven.plan)
    assert none.dtypes.to_dict() == some.dtypes.to_dict()
    assert none[["areas", "weeks_ahead"]].equals(some[["areas", "weeks_ahead"]])
    assert none[["wounds", "predicted_closed", "predicted_open", "not_followed"]].to_numpy().sum() == 0


def by_loops(study, used, ahead):
    """predicted closed and right, predicted open and right, not followed."""
    counts = dict.fromkeys(["closed", "closed right", "open", "open right", "not followed"], 0)
    rows = study.measurements[(study.measurements["state"] == "open") & (study.measurements["size"] > 0)]
    rows = {wound: of_wound.sort_values("day") for wound, of_wound in rows.groupby("wound")}
    for _, wound in study.episodes[study.episodes["in_cohort"]].iterrows():
        weekly = {}
        for day, size in rows[wound["wound"]][["day", "size"]].itertuples(index=False):
            if wound["entry_day"] <= day <= wound["end_day"]:
                first = next(iter(weekly.values()))[0] if weekly else day
                weekly.setdefault((day - first + 3) // 7, (day, size))
        days, areas = zip(*list(weekly.values())[:used], strict=True)
        if len(days) == used:
            _, start, delay, rate = brute(days, areas)
            due = days[-1] + 7 * ahead
            to_close = rate > 0 and days[0] + delay + 7 * np.log(start / min(0.05 * start, 1)) / rate <= due
            closed = wound["outcome"] == "closed" and wound["end_day"] <= due
            if due > study.plan.cutoff or (not closed and wound["end_day"] < due):
                counts["not followed"] += 1
            else:
                said, right = ("closed", closed) if to_close else ("open", not closed)
                counts[said] += 1
                counts[f"{said} right"] += right
    return list(counts.values())


@pytest.mark.parametrize(("used", "ahead"), [(5, 8), (7, 4)])
def test_the_invented_group_comes_out_as_by_loops(lifelike, used, ahead):
    found = forecast(lifelike, used, ahead)
    names = ("predicted_closed", "closed_as_predicted", "predicted_open", "open_as_predicted", "not_followed")
    assert [found[name] for name in names] == by_loops(lifelike, used, ahead)


def test_every_wound_is_followed_and_foretold_or_not_followed(lifelike):
    table = forecasts(lifelike.episodes, lifelike.measurements, lifelike.plan, weeks=(1, 4, 8, 26))
    told = table["predicted_closed"] + table["predicted_open"] + table["not_followed"]
    assert told.equals(table["wounds"])
    assert table[["areas", "weeks_ahead"]].values.tolist() == [
        [used, ahead] for used in USED for ahead in (1, 4, 8, 26)
    ]
