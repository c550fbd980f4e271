"""The slope of single wounds before and after their start: by hand, by plain least squares, and who has none."""

from functools import cache
from unittest.mock import patch

import numpy as np
import pandas as pd
import pytest

from benchmarks import invented_facility
from benchmarks.invented_facility import Scenario, plan_of, simulate
from kit.plan import WEEK
from kit.trajectories.changes import AFTER, LOG, ROOT, SIZES, bends, drawn_means
from kit.trajectories.courses import Courses, courses
from kit.trajectories.slopes import before_and_after
from kit.wounds.episodes import UNTREATED

EXACT = 1e-9  # the same arithmetic in another order
SOLVED = 1e-7  # normal equations beside an orthogonal reduction, of wounds of up to a year: squares of 50 weeks
STANDARD_ERRORS = 3  # within which a mean of wounds lies around what was planted
FACILITIES = 10  # invented, of some 105 wounds with a line: their mean is known to a tenth of one of a hundred
COLUMNS = ["wound", "resident", "regimen", "before", "bend"]
START = 14  # the day of the third size in what is drawn by hand
STEADY = (12, 9.6, 7.68)  # a fifth smaller a week, so that the logarithm falls by -ln 0.8


def wound(
    name: str,
    sizes: dict[int, float],
    start: int | None = START,
    regimen: str = "ultrasound",
    resident: str | None = None,
) -> pd.DataFrame:
    """The rows of one wound that entered on day 0: size by day."""
    days = np.array(list(sizes), dtype=int)
    since = np.zeros(len(days)) if start is None else np.maximum(days - start, 0) / WEEK
    return pd.DataFrame({
        "wound": name, "day": days, "size": np.array(list(sizes.values()), dtype=float),
        "resident": resident or f"R-{name}", "facility": "Quellmoor", "week": days / WEEK, "since": since,
        "regimen": UNTREATED if start is None else regimen, "stage_group": "other kinds of wound",
    })  # fmt: skip


def seen(*wounds: pd.DataFrame) -> Courses:
    regimens = tuple(sorted({name for one in wounds for name in one["regimen"]} - {UNTREATED}))
    return Courses(pd.concat(wounds, ignore_index=True), regimens, (), pd.DataFrame())


def weekly(*sizes: float) -> dict[int, float]:
    return {WEEK * week: size for week, size in enumerate(sizes)}


def noisy(many: int, seed: int = 3) -> Courses:
    """Wounds with 2 to 9 sizes before a start within the first year and 2 to 8 in the eight weeks after it."""
    generator = np.random.default_rng(seed)
    made = []
    for number in range(many):
        start = int(generator.integers(20, 360))
        before = generator.choice(start + 1, generator.integers(2, 10), replace=False)
        after = start + 1 + generator.choice(WEEK * AFTER, generator.integers(2, 9), replace=False)
        days = np.sort([*before, *after])
        size = np.exp(2 - 0.02 * days / WEEK - 0.1 * np.maximum(days - start, 0) / WEEK)
        slips = np.exp(0.1 * generator.standard_normal(len(days)))
        made.append(wound(f"W{number:02d}", dict(zip(days, size * slips, strict=True)), start))
    return seen(*made)


# --- by hand ---


def test_a_wound_that_falls_twice_as_fast_after_its_start_bends_by_the_slope_it_had():
    """12, 9.6, 7.68 is a fifth less a week; then 0.64 = 0.8^2 of it a week: 4.9152, 3.145728."""
    told = bends(seen(wound("W1", weekly(*STEADY, 4.9152, 3.145728))))
    assert told[["wound", "resident", "regimen"]].values.tolist() == [["W1", "R-W1", "ultrasound"]]
    assert told[["before", "bend"]].values.tolist() == [[pytest.approx(np.log(0.8), abs=EXACT)] * 2]


def test_a_root_that_falls_twice_as_fast_after_its_start_bends_by_the_slope_it_had():
    """Roots of 4, 3.8, 3.6 cm, then 3.2 and 2.8: by 0.2 cm a week, then by 0.4."""
    told = bends(seen(wound("W1", weekly(16, 14.44, 12.96, 10.24, 7.84))), ROOT)
    assert told[["before", "bend"]].values.tolist() == [[pytest.approx(-0.2, abs=EXACT)] * 2]


def test_sizes_that_lie_on_no_broken_line_have_the_nearest_one():
    """Logarithms 0, 0 up to the start in week 1, then -1, -1. What no broken line says is (0, 1, -2, 1): its product
    with them is 1, over its square 1/6. Less a sixth of it: 0, -1/6, -2/3, -7/6. So -1/6 a week, then -1/2."""
    told = bends(seen(wound("W1", weekly(1, 1, np.exp(-1), np.exp(-1)), start=WEEK)))
    assert told[["before", "bend"]].values.tolist() == [[pytest.approx(-1 / 6), pytest.approx(-1 / 3)]]


def test_weeks_after_the_start_are_counted_from_its_day():
    """Started on day 10: 0.1 a week up to there and 0.3 from there on, at days 0, 7, 14, 21."""
    logs = [0, -0.1, -0.1 * 2 - 0.2 * 4 / 7, -0.1 * 3 - 0.2 * 11 / 7]
    told = bends(seen(wound("W1", weekly(*np.exp(logs)), start=10)))
    assert told[["before", "bend"]].values.tolist() == [
        [pytest.approx(-0.1, abs=EXACT), pytest.approx(-0.2, abs=EXACT)]
    ]


# --- by plain least squares ---


@pytest.mark.parametrize(("scale", "response"), [(LOG, np.log), (ROOT, np.sqrt)])
def test_every_line_is_that_of_least_squares_wound_by_wound(scale, response):
    read = noisy(40)
    told = bends(read, scale)
    slow = []
    for _, own in read.sizes.groupby("wound"):
        line = np.column_stack([np.ones(len(own)), own["week"], own["since"]])
        slow.append(np.linalg.lstsq(line, response(own["size"]), rcond=None)[0][1:])
    assert told["wound"].tolist() == sorted(set(read.sizes["wound"]))
    np.testing.assert_allclose(told[["before", "bend"]].to_numpy(), slow, atol=SOLVED)


def test_the_order_of_rows_makes_no_difference():
    read = noisy(8)
    mixed = Courses(read.sizes.sample(frac=1, random_state=1), read.regimens, (), read.left_out)
    assert mixed.sizes["wound"].tolist() != read.sizes["wound"].tolist()
    pd.testing.assert_frame_equal(bends(mixed), bends(read))


def test_the_unit_of_size_shifts_no_logarithm_and_multiplies_roots():
    """In mm2 every size is 100 times what it is in cm2, every root 10 times."""
    read = noisy(8)
    finer = Courses(read.sizes.assign(size=100 * read.sizes["size"]), read.regimens, (), read.left_out)
    for scale, times in ((LOG, 1), (ROOT, 10)):
        one, other = (bends(each, scale)[["before", "bend"]].to_numpy() for each in (read, finer))
        np.testing.assert_allclose(other, times * one, atol=SOLVED)


def test_what_is_read_is_not_changed():
    read = noisy(4)
    before = read.sizes.copy()
    bends(read)
    pd.testing.assert_frame_equal(read.sizes, before)


# --- which wounds and which sizes ---


@pytest.mark.parametrize(
    ("sizes", "start"),
    [
        pytest.param(weekly(*STEADY, 6), START, id="one size after"),
        pytest.param(weekly(*STEADY), START, id="none after"),
        pytest.param(weekly(8, 6, 5, 4), 0, id="one size before"),
        pytest.param(weekly(*STEADY, 6, 5), None, id="never started"),
        pytest.param({0: 12, 7: 10, 71: 6, 72: 5}, START, id="one of two sizes after is later than eight weeks"),
        pytest.param({0: 12, 7: 10, 14: 6}, 6, id="one size before and two after"),
    ],
)
def test_a_wound_without_two_sizes_on_each_side_has_no_line(sizes, start):
    """Eight weeks after day 14 is day 70. It stands beside a wound that has a line."""
    told = bends(seen(wound("W1", sizes, start), wound("W2", weekly(*STEADY, 6, 5))))
    assert told["wound"].tolist() == ["W2"]
    assert SIZES == 2


@pytest.mark.parametrize(("day", "told"), [(70, ["W1"]), (71, [])])
def test_eight_weeks_after_the_start_are_read_and_not_a_day_more(day, told):
    assert bends(seen(wound("W1", {0: 12, 7: 10, 21: 6, day: 5})))["wound"].tolist() == told


def test_sizes_later_than_eight_weeks_bend_nothing():
    """It stands still and grows again after eight weeks."""
    early = dict.fromkeys((0, 7, 14), 8.0) | {21: 7.0, 28: 6.0, 35: 5.5, 70: 3.0}
    later = early | {77: 3.0, 140: 20.0}
    pd.testing.assert_frame_equal(bends(seen(wound("W1", later))), bends(seen(wound("W1", early))))


@pytest.mark.parametrize(("start", "told"), [(7, ["W1"]), (6, [])])
def test_the_size_of_the_day_of_the_start_is_one_before(start, told):
    """Of sizes on days 0, 7, 14, 21 two lie before a start on day 7, one before a start on day 6."""
    assert bends(seen(wound("W1", weekly(8, 7, 6, 5), start)))["wound"].tolist() == told


def test_two_rows_of_one_day_are_one_size():
    once = wound("W1", weekly(1, 1, np.exp(-1), np.exp(-1)), start=WEEK)
    twice = wound("W2", {0: 8, 14: 6, 21: 5}, start=WEEK)
    told = bends(seen(once, once.tail(1), twice, twice.head(1)))
    pd.testing.assert_frame_equal(told, bends(seen(once)))


def test_each_wound_counts_once_however_often_it_was_measured():
    """One falls by 0.1 a week more and was measured on 4 days, the other by 0.3 more and on 71: in all by 0.2."""
    falls = {"W1": (-0.1, (0, 14, 21, 28)), "W2": (-0.3, range(71))}
    drawn = [
        wound(name, {day: 8 * np.exp(bend * max(day - START, 0) / WEEK) for day in days})
        for name, (bend, days) in falls.items()
    ]
    told = bends(seen(*drawn))
    assert told["bend"].tolist() == pytest.approx([-0.1, -0.3], abs=EXACT)
    mean = drawn_means(told, told["resident"].to_numpy(), np.ones((2, 1)))
    assert mean.tolist() == [[pytest.approx(0, abs=EXACT), pytest.approx(-0.2, abs=EXACT)]]


@pytest.mark.parametrize(
    "read",
    [
        pytest.param(seen(wound("W1", weekly(*STEADY, 6, 5), start=None)), id="nobody started"),
        pytest.param(seen(wound("W1", weekly(*STEADY, 6))), id="nobody has two sizes after"),
        pytest.param(seen(wound("W1", weekly(8)).head(0)), id="no sizes at all"),
    ],
)
@pytest.mark.parametrize("scale", [LOG, ROOT])
def test_without_lines_there_are_no_rows_and_the_same_columns(read, scale):
    told = bends(read, scale)
    assert told.empty
    assert told.dtypes.to_dict() == bends(noisy(2), scale).dtypes.to_dict()
    assert list(told.columns) == COLUMNS


# --- residents drawn again ---


def lines() -> pd.DataFrame:
    """Six wounds of four residents."""
    values = np.random.default_rng(2).standard_normal((6, 2))
    return pd.DataFrame({"wound": list("abcdef"), "resident": ["R1", "R1", "R2", "R3", "R4", "R4"]}).assign(
        before=values[:, 0], bend=values[:, 1]
    )


def test_means_of_draws_are_those_of_plain_loops():
    """Residents are named in another order than wounds; R5 has no line, and the first draw holds nobody else."""
    told, people = lines(), np.array(["R4", "R5", "R1", "R3", "R2"])
    counts = np.random.default_rng(4).integers(0, 3, (5, 20))
    counts[:, 0] = [0, 5, 0, 0, 0]
    slow = np.full((20, 2), np.nan)
    for draw in range(20):
        own = [dict(zip(people, counts[:, draw], strict=True))[person] for person in told["resident"]]
        if sum(own):
            for place, name in enumerate(("before", "bend")):
                slow[draw, place] = sum(many * value for many, value in zip(own, told[name], strict=True)) / sum(own)
    assert np.isnan(slow).any(axis=1).tolist() == [True] + [False] * 19
    np.testing.assert_allclose(drawn_means(told, people, counts), slow, atol=EXACT)


def test_a_resident_drawn_twice_counts_twice_with_all_wounds_and_one_not_drawn_with_none():
    """R1 twice and R2 once: two wounds of R1 twice each and one of R2, over five."""
    told = lines()
    mean = drawn_means(told, np.array(["R1", "R2", "R3", "R4"]), np.array([[2], [1], [0], [0]]))
    expected = (2 * told.loc[0, "bend"] + 2 * told.loc[1, "bend"] + told.loc[2, "bend"]) / 5
    assert mean[0, 1] == pytest.approx(expected, abs=EXACT)


# --- planted in invented facilities ---


@cache
def facilities(law: str, effect: float) -> tuple[tuple[Courses, pd.DataFrame], ...]:
    """What facilities chart, and the truth: starts are at random, log area wanders by 0.12 a week.

    How many start is met roughly, by a small pilot.
    """
    scenario = Scenario(
        residents=300, starters=120, effects={"monopolar stimulation": effect}, law=law, starts="random", walk=0.12
    )
    plan, made = plan_of(scenario), []
    with patch.multiple(invented_facility, PILOTS=1, PILOT=1000):
        invented_facility._level.cache_clear()
        for number in range(FACILITIES):
            one = simulate(scenario, np.random.default_rng(number))
            average = {name: 0.0 for name in plan.comparison.covariates}
            weeks = pd.DataFrame({"wound": one.episodes["wound"], **average})
            made.append((courses(one.episodes, weeks, one.measurements, plan), one.truth))
        invented_facility._level.cache_clear()
    return tuple(made)


def pooled(law: str, effect: float, scale: str) -> pd.DataFrame:
    """Each wound's bend beside what the start added to its slope."""
    told = [
        bends(read, scale).merge(truth[["wound", f"{scale}_slope_change"]], on="wound")
        for read, truth in facilities(law, effect)
    ]
    return pd.concat(told, ignore_index=True).rename(columns={f"{scale}_slope_change": "true"})


RIGHT = [("exponential", LOG), ("radius", ROOT)]
WRONG = [("exponential", ROOT), ("radius", LOG)]


@pytest.mark.parametrize("effect", [1.0, 1.5])
@pytest.mark.parametrize(("law", "scale"), RIGHT)
def test_on_the_scale_on_which_sizes_fall_steadily_the_mean_bend_is_the_change_planted(law, scale, effect):
    """Healing one and a half times as fast, or as fast as before. No more than 0.01 a week off, where the truth is
    -0.07 of the logarithm and -0.04 cm: a common bend of a mixed model, at a fraction of that, would lie outside."""
    told = pooled(law, effect, scale)
    off = told["bend"] - told["true"]
    within = STANDARD_ERRORS * off.std() / np.sqrt(len(off))
    assert within < 0.01
    assert abs(off.mean()) < within
    assert told["true"].mean() < -0.035 if effect > 1 else (told["true"] == 0).all()


@pytest.mark.parametrize(("law", "scale"), WRONG)
def test_on_the_other_scale_lines_bend_where_nothing_was_changed(law, scale):
    """Why both are asked: log area of a radius that falls steadily falls ever faster, the root of what halves again
    and again ever slower."""
    told = pooled(law, 1.0, scale)
    error = told["bend"].std() / np.sqrt(len(told))
    assert (told["true"] == 0).all()
    assert abs(told["bend"].mean()) > 0.05 > 5 * error
    assert (told["bend"].mean() < 0) == (scale == LOG)


@pytest.mark.parametrize("law", ["exponential", "radius"])
def test_what_bends_on_one_scale_alone_is_told_of_no_facility(law):
    """Nothing was changed; of a hundred wounds a facility knows either scale well enough to see them part."""
    told = pd.concat([before_and_after(read, draws=100).head(1) for read, _ in facilities(law, 1.0)])
    assert len(told) == FACILITIES
    assert (told["by_root"] - told["amount"]).abs().gt(2 * told["error"]).all()
    assert not told["agrees"].any()
