"""Where open wounds stand: planted courses, shrinkage, what is not told, and how often what is told is wrong."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from benchmarks import invented_facility
from benchmarks.invented_facility import SPEED_SPREAD, SPEEDS, STALLED, Scenario
from kit.followed import courses_of, standing_of
from kit.trajectories import models
from kit.trajectories import standing as module
from kit.trajectories.courses import courses
from kit.trajectories.standing import (
    APART,
    COLUMNS,
    EXPECTED,
    FAST,
    MOST_WRONG,
    NOT_TOLD,
    SLOW,
    STANDS_FROM,
    TOO_FEW,
    UNCLEAR,
    standing,
)
from tests.invented_weeks import invented
from tests.test_followed import FIRST, Course, followed

EXACT = 1e-9  # the same arithmetic in another order
REFITTED = 1e-6  # percent points: the search stops at another point of the peak where columns stand in another order
# Three slopes lie 0.15 off, the others 0.01, 0.04 in all: over 46 wounds a mean within 0.006, in percent 0.5; thrice.
OF_THE_MEAN = 1.5
STANDARD_ERRORS = 3  # within which a share of invented wounds lies around what is stated
WEEKS = np.arange(15)
STALE = "fewer than two sizes in the last 14 days"
MONOPOLAR, ULTRASOUND = "stimulation monopolar", "ultrasound ."
NUMBERS = ["own", "own_low", "own_high", "expected", "wrong"]
# Wounds beside the forty usual ones.
STALLS, SHORT, TWICE_AS_FAST, ONCE, UNSEEN, VANISHED, CLOSED = (f"W{number:03d}" for number in range(40, 47))


def usual(many: int, **about) -> list[Course]:
    """Wounds of some 20 cm2 whose logarithm falls by 0.15 a week, give or take 0.01, measured to a twentieth."""
    generator = np.random.default_rng(1)
    slopes, slips = -0.15 + 0.01 * generator.standard_normal(many), 0.05 * generator.standard_normal((many, 15))
    entry = 20 * np.exp(0.5 * generator.standard_normal(many))
    return [Course(tuple(entry[n] * np.exp(slopes[n] * WEEKS + slips[n])), **about) for n in range(many)]


@cache
def found() -> pd.DataFrame:
    return standing_of(planted()).set_index("wound")


@cache
def planted():
    """Beside forty usual wounds: seven whose sizes lie on a line."""
    return followed([
        *usual(40),
        Course((20.0,) * 15),
        Course((None,) * 12 + (20.0,) * 3),  # it entered in the last weeks
        Course(tuple(20 * np.exp(-0.30 * WEEKS))),
        Course((None,) * 14 + (8.0,)),
        Course(tuple(20 * np.exp(-0.15 * WEEKS[:13]))),  # last measured 15 days before the cut-off
        Course(tuple(20 * np.exp(-0.15 * WEEKS[:9]))),  # 43 days before
        Course((*(20 * np.exp(-0.15 * WEEKS[:14])), 0)),
    ])  # fmt: skip


def own_slopes(study) -> pd.Series:
    """Percent smaller a week by a straight line through each wound's own logarithms."""
    sizes = courses_of(study).sizes
    several = sizes[sizes["wound"].duplicated(keep=False)].groupby("wound")
    slopes = {name: np.polyfit(own["week"], np.log(own["size"]), 1)[0] for name, own in several}
    return 100 * (1 - np.exp(pd.Series(slopes)))


# --- planted courses ---


@pytest.mark.parametrize(("wound", "stands"), [(STALLS, SLOW), (TWICE_AS_FAST, FAST)])
def test_a_wound_that_stalls_is_slow_and_one_twice_as_fast_is_fast(wound, stands):
    """By 0.15 less or more than the others, three times what it takes."""
    assert found().loc[wound, "stands"] == stands
    assert found().loc[wound, "wrong"] < 0.05


def test_wounds_like_the_others_stand_as_expected():
    """Their slopes lie 0.01 around what is expected, the bounds at 0.05; a stalled and a fast one pull either way."""
    others = found().iloc[:40]
    assert set(others["stands"]) == {EXPECTED}
    assert others["expected"].tolist() == pytest.approx([100 * (1 - np.exp(-0.15))] * 40, abs=OF_THE_MEAN)


def test_what_is_expected_is_that_of_wounds_of_the_same_stage():
    """Shallow ones fall by 0.15 more a week than deep ones; beside their like none is slow."""
    told = usual(20, kind="pressure_injury", stage="3") + [
        Course(tuple(np.array(one.sizes) * np.exp(-0.15 * WEEKS)), kind="pressure_injury", stage="2")
        for one in usual(20)
    ]
    seen = standing_of(followed(told))
    assert set(seen["stands"]) == {EXPECTED}
    deep, shallow = seen["expected"].iloc[0], seen["expected"].iloc[20]  # of one size
    assert np.log(1 - deep / 100) - np.log(1 - shallow / 100) == pytest.approx(0.15, abs=0.001)


def test_a_pace_is_drawn_towards_the_expected_one_the_more_the_fewer_its_sizes():
    """Both stalled: their own line is 0. Fifteen sizes are drawn by less than a twentieth of the way, three by more."""
    rows, lines = found(), own_slopes(planted())
    assert lines[[STALLS, SHORT]].tolist() == pytest.approx([0, 0], abs=EXACT)
    twentieth = rows.loc[STALLS, "expected"] / 20
    assert abs(rows.loc[STALLS, "own"]) < twentieth < rows.loc[SHORT, "own"] < rows.loc[SHORT, "expected"]


def test_limits_hold_the_own_pace_and_are_wider_the_fewer_its_sizes():
    rows = found().dropna(subset=["own"])
    assert ((rows["own_low"] < rows["own"]) & (rows["own"] < rows["own_high"])).all()
    width = rows["own_high"] - rows["own_low"]
    assert width[SHORT] == width.max() > 2 * width[STALLS]


def test_size_its_day_and_the_weeks_seen_are_those_of_the_course():
    """Measured on days 185, 192 and 199: two weeks."""
    row = found().loc[SHORT, ["size", "size_day", "weeks_seen"]]
    assert row.tolist() == [20, 199, 2]


def test_the_columns_are_the_same_whether_or_not_anything_is_told():
    assert list(standing_of(planted()).columns) == list(COLUMNS)
    assert list(standing_of(followed(usual(3))).columns) == list(COLUMNS)


# --- what is not told, and what is not listed ---


@pytest.mark.parametrize("wound", [ONCE, UNSEEN])
def test_a_wound_without_two_fresh_sizes_is_not_told_and_says_why(wound):
    """Measured on day 199 alone; or up to day 185, when the last 14 days before day 200 begin with day 187."""
    row = found().loc[wound]
    assert (row["stands"], row["why"]) == (NOT_TOLD, STALE)
    assert row[NUMBERS].isna().all()
    assert row["size"] > 0


@pytest.mark.parametrize(("day", "told"), [(187, True), (186, False)])
def test_the_last_fourteen_days_are_those_from_day_187_on(day, told):
    study = planted()
    shifted = (study.measurements["wound"] == STALLS) & (study.measurements["day"] == 192)
    measured = study.measurements.assign(day=study.measurements["day"].mask(shifted, day))
    rows = standing(courses_of(study), study.episodes, measured, study.plan).set_index("wound")
    assert shifted.sum() == 1
    assert (rows.loc[STALLS, "stands"] != NOT_TOLD) == told


def test_wounds_that_closed_or_vanished_are_not_listed():
    assert {VANISHED, CLOSED} <= set(courses_of(planted()).sizes["wound"])
    assert not {VANISHED, CLOSED} & set(found().index)


@pytest.mark.parametrize("people", [9, 20, STANDS_FROM - 1])
def test_of_fewer_than_forty_residents_no_wound_is_told(people):
    """Of the last one it is said first that it has a single size."""
    rows = standing_of(followed([*usual(people - 1), Course((None,) * 14 + (8.0,))]))
    assert rows["stands"].tolist() == [NOT_TOLD] * people
    assert rows["why"].tolist() == [TOO_FEW] * (people - 1) + [STALE]
    assert rows[NUMBERS].isna().all(axis=None)
    assert STANDS_FROM == 40


def test_forty_residents_are_told_and_fifty_wounds_of_thirty_nine_are_not():
    """Eleven of the thirty-nine have two wounds each."""
    assert (standing_of(followed(usual(40)))["why"] == "").all()
    shared = [Course(one.sizes, resident=f"R{n % 39:03d}") for n, one in enumerate(usual(50))]
    assert set(standing_of(followed(shared))["why"]) == {TOO_FEW}


def test_forty_five_wounds_with_two_sizes_each_are_too_few_to_tell():
    """Two sizes lie on any line: nothing says how far measurements stray."""
    rows = standing_of(followed([Course((*(None,) * 13, *one.sizes[:2])) for one in usual(45)]))
    assert rows["why"].tolist() == [TOO_FEW] * 45


def test_sizes_copied_forward_are_too_few_to_tell_though_wounds_differ():
    """Every wound keeps the size it came with: nothing says how sure a slope is."""
    rows = standing_of(followed([Course((2.0 + n,) * 15) for n in range(45)]))
    assert rows["why"].tolist() == [TOO_FEW] * 45
    assert rows["stands"].tolist() == [NOT_TOLD] * 45
    assert rows[NUMBERS].isna().all(axis=None)


# --- wounds that do not differ, and wounds that differ by their size alone ---


@pytest.mark.parametrize("slip", [0.02, 0.1])
def test_wounds_with_one_slope_are_told_as_expected_with_hardly_a_chance_of_being_wrong(slip):
    """All fall by 0.1 a week and were measured fifteen times: what paces differ by at least, 0.03, is soon ruled out as
    a reason to stand 0.05 apart."""
    generator = np.random.default_rng(1)
    entry, slips = generator.uniform(5, 30, 45), slip * generator.standard_normal((45, 15))
    rows = standing_of(followed([Course(tuple(entry[n] * np.exp(-0.1 * WEEKS + slips[n]))) for n in range(45)]))
    assert set(rows["stands"]) == {EXPECTED}
    assert rows["wrong"].max() < 0.01


def steady_radius(seed: int) -> pd.DataFrame:
    """Radii of 1.5 to 6 cm that all fall by 0.09 cm a week, areas measured to a twentieth."""
    generator = np.random.default_rng(seed)
    radius, slips = np.exp(generator.uniform(np.log(1.5), np.log(6), 45)), 0.05 * generator.standard_normal((45, 15))
    return standing_of(followed([
        Course(tuple(np.pi * (radius[n] - 0.09 * WEEKS) ** 2 * np.exp(slips[n]))) for n in range(45)
    ]))  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2])
def test_wounds_whose_edges_advance_alike_are_hardly_ever_slow_or_fast_whatever_their_size(seed):
    """The smallest lose 18% a week, the largest 3%, and only their size sets them apart. One in twenty may be told."""
    rows = steady_radius(seed)
    assert (rows["own"].max() - rows["own"].min()) / 100 > 2 * APART
    assert rows["stands"].isin([SLOW, FAST]).mean() < 0.05
    assert (rows["stands"] == NOT_TOLD).sum() == 0


def test_of_a_larger_wound_a_smaller_share_is_expected_to_go_where_edges_advance_alike():
    rows = steady_radius(1)
    assert rows["size"].corr(rows["expected"], "spearman") < -0.9


def test_without_what_size_does_many_of_them_would_be_slow_or_fast(monkeypatch):
    monkeypatch.setattr(module, "with_size", lambda fit: 0.0)
    assert steady_radius(1)["stands"].isin([SLOW, FAST]).mean() > 0.2


def test_every_row_is_told_or_says_why_it_is_not():
    rows = found()
    assert ((rows["stands"] == NOT_TOLD) == (rows["why"] != "")).all()
    assert ((rows["stands"] == NOT_TOLD) == rows["wrong"].isna()).all()


# --- regimens and order play no part ---


def treated(first: str, second: str):
    """Twenty wounds start one regimen, twenty the other, both after five weeks."""
    start = FIRST + 7 * 5
    return followed([
        Course(one.sizes, first if n < 20 else second, start) for n, one in enumerate(usual(40))
    ])  # fmt: skip


def test_which_regimen_a_wound_is_under_plays_no_part():
    one, other = standing_of(treated(MONOPOLAR, ULTRASOUND)), standing_of(treated(ULTRASOUND, MONOPOLAR))
    assert set(one["stands"]) == {EXPECTED}
    pd.testing.assert_frame_equal(one, other)


def test_nor_does_whether_it_is_under_any():
    one, other = standing_of(treated(MONOPOLAR, ULTRASOUND)), standing_of(followed(usual(40)))
    pd.testing.assert_frame_equal(one, other)


def test_a_wound_under_a_regimen_that_too_few_had_is_judged_by_all_its_sizes():
    """Three started on day 136 and are measured up to day 199."""
    three = [Course(one.sizes, ULTRASOUND, FIRST + 7 * 5) for one in usual(3)]
    assert standing_of(followed([*usual(40), *three]))["size_day"].tolist() == [199] * 43


def test_the_order_of_rows_and_the_unit_of_size_make_no_difference_to_how_wounds_stand():
    """In mm2 every logarithm is ln(100) higher."""
    study, seen = planted(), courses_of(planted())
    frames = [frame.sample(frac=1, random_state=2) for frame in (study.episodes, study.measurements)]
    pd.testing.assert_frame_equal(standing(seen, *frames, study.plan), standing_of(study))
    bigger = study.measurements.assign(size=study.measurements["size"] * 100)
    weeks = pd.DataFrame({"wound": study.episodes["wound"], **dict.fromkeys(study.plan.comparison.covariates, 0.0)})
    rows = standing(courses(study.episodes, weeks, bigger, study.plan), study.episodes, bigger, study.plan)
    assert rows["stands"].tolist() == found()["stands"].tolist()
    assert rows[NUMBERS].to_numpy(float) == pytest.approx(found()[NUMBERS].to_numpy(float), abs=REFITTED, nan_ok=True)


# --- how often it is wrong, where speeds are known ---


@cache
def judged(number: int) -> pd.DataFrame:
    """Where the wounds of an invented facility stand, beside the slope that each was given (`true`, of log size).

    What is started does nothing, so that a wound has one speed. The speeds are the first thing drawn.
    """
    scenario = Scenario(residents=300, starters=40, effects={"monopolar stimulation": 1.0})
    facility = invented(scenario, number)
    drawn = invented_facility._draw(scenario, np.random.default_rng(number))
    speed = pd.Series(drawn.speed, index=[f"W{wound:05d}" for wound in range(1, len(drawn.speed) + 1)])
    seen = courses(facility.episodes, facility.weeks, facility.measurements, facility.plan)
    rows = standing(seen, facility.episodes, facility.measurements, facility.plan)
    return rows.assign(true=-rows["wound"].map(speed))


def all_judged() -> pd.DataFrame:
    return pd.concat([judged(number) for number in range(1, 5)], ignore_index=True)


def truly(rows: pd.DataFrame) -> np.ndarray:
    """How each stands beside the mean speed of all wounds, open or closed: 0.22 exp(0.5^2 / 2) of 85%, and 0 of 15%."""
    mean = (1 - STALLED) * SPEEDS["exponential"] * np.exp(SPEED_SPREAD**2 / 2)
    apart = rows["true"] + mean
    return np.select([apart >= APART, apart <= -APART], [SLOW, FAST], EXPECTED)


def test_the_chance_of_being_wrong_is_at_most_two_thirds_and_what_is_told_is_wrong_in_at_most_a_third():
    rows = all_judged()
    rows = rows[rows["stands"] != NOT_TOLD]
    assert rows["wrong"].between(0, 2 / 3).all()
    assert ((rows["wrong"] > MOST_WRONG) == (rows["stands"] == UNCLEAR)).all()
    assert set(rows["stands"]) == {SLOW, EXPECTED, FAST, UNCLEAR}


@pytest.mark.parametrize(("stands", "least"), [(SLOW, 100), (EXPECTED, 15), (FAST, 10)])
def test_what_is_told_is_no_more_often_wrong_than_stated(stands, least):
    """A mean of independent chances; `least` so many are told at all, or it would be nothing to be right."""
    rows = all_judged()
    told, wrong = rows["stands"] == stands, truly(rows) != stands
    stated = rows.loc[told, "wrong"]
    chance = STANDARD_ERRORS * np.sqrt((stated * (1 - stated)).sum()) / told.sum()
    assert told.sum() >= least
    assert wrong[told].mean() <= stated.mean() + chance


def held(rows: pd.DataFrame) -> tuple[float, int]:
    """The share of wounds whose true pace lies within its limits, and how many have any."""
    rows = rows[rows["own"].notna()]
    true = 100 * (1 - np.exp(rows["true"]))
    return true.between(rows["own_low"], rows["own_high"]).mean(), len(rows)


def test_limits_hold_the_true_pace_of_95_wounds_in_100():
    """Of more than 200: three standard errors of that share are 4.6%."""
    share, wounds = held(all_judged())
    assert wounds > 200
    assert abs(share - 0.95) <= STANDARD_ERRORS * np.sqrt(0.95 * 0.05 / wounds)


def test_without_the_walk_limits_would_be_far_too_narrow(monkeypatch):
    """Why sizes are let wander: with errors taken as independent they hold the true pace of two in three."""
    monkeypatch.setattr(models, "WALKS", (0.0,))
    assert held(judged.__wrapped__(1))[0] < 0.8
