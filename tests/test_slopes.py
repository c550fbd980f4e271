"""How fast sizes change: known slopes recovered, what is told of a change and what is not, and what limits rest on."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from kit.compared import weeks
from kit.followed import courses_of
from kit.healing.resampling import resident_draws
from kit.trajectories import models
from kit.trajectories import slopes as slopes_module
from kit.trajectories.changes import LOG, ROOT
from kit.trajectories.courses import DEEP, SHALLOW, courses, design, split_at_start
from kit.trajectories.engine import Fit, fit_nested
from kit.trajectories.models import MODEL_FROM, enough, modelled, walk_of
from kit.trajectories.slopes import (
    ALL,
    ANY,
    BEFORE,
    CHANGE,
    CHANGED,
    PACE,
    Slopes,
    before_and_after,
    slopes,
    smaller,
)
from kit.trajectories.sums import CannotFit, Rows
from tests.test_changes import seen, weekly, wound
from tests.test_followed import FIRST, Course, followed

EXACT = 1e-9  # the same arithmetic in another order
# Errors of a thousandth of log size: over five weeks the slope of one wound is known to 0.001 / sqrt(17.5) = 2.4e-4, of
# twelve to 7e-5, in percent 0.007. Three times that.
NOISELESS = 0.02
# The same where a wound's slope is that of three sizes, 0.001 / sqrt(2), in percent 0.06 at most; thrice.
OF_A_PACE = 0.2
# A size eight weeks ahead, from a slope known to 7e-5 and its change with log size to about as much: 1e-3 of it, twice.
OF_A_SIZE = 2e-3
T_OF_12 = 2.200985  # Student's t at 11 degrees of freedom, 97.5% (any table)
DRAWS, FEW = 25, 3  # few where limits are not asked for
MANY = 400  # of lines, which cost nothing to draw again: a spread is known to 1 / sqrt(800) = 3.5%, of which three
OF_A_SPREAD = 0.11
WEEKS = np.arange(11)
START = 5  # weeks after entry, of those that start: on the day of that round, whose size is one before
STARTED = FIRST + 7 * START
MONOPOLAR = "stimulation monopolar"


def falling(slope, change=0.0, entry=8.0, noise=0.0, **about) -> Course:
    """Log size falls by `slope` a week, and from the start on by `change` more."""
    return Course(tuple(entry * np.exp(slope * WEEKS + change * np.maximum(WEEKS - START, 0) + noise)), **about)


def shrinking(radius, pace, more=0.0, noise=0.0, **about) -> Course:
    """The radius falls by `pace` cm a week, and from the start on by `more` cm more."""
    here = radius - pace * WEEKS - more * np.maximum(WEEKS - START, 0) + noise
    return Course(tuple(np.pi * here**2), **about)


def slopes_in(told: list[Course], seed: int = 1, draws: int = DRAWS) -> Slopes | None:
    study = followed(told)
    return slopes(courses_of(study), study.episodes, draws, seed)


def changes_in(told: list[Course], seed: int = 1, draws: int = MANY) -> pd.DataFrame:
    return before_and_after(courses_of(followed(told)), draws, seed)


def errors(many: int, spread: float = 0.001, seed: int = 7) -> np.ndarray:
    """Slips of the ruler: many wounds by weeks."""
    return spread * np.random.default_rng(seed).standard_normal((many, len(WEEKS)))


def told_of(frame: pd.DataFrame, **where) -> dict:
    """The only row of a frame that is so."""
    rows = frame[np.logical_and.reduce([frame[name] == value for name, value in where.items()])]
    assert len(rows) == 1
    return rows.iloc[0].to_dict()


@cache
def three_paces() -> Slopes:
    """Twelve never start, twelve start monopolar, twelve ultrasound; four of each enter at 4, 8 and 16 cm2."""
    noise, entry = errors(36), [4.0, 8.0, 16.0] * 4
    return slopes_in(
        [falling(-0.05, 0, entry[n], noise[n]) for n in range(12)]
        + [falling(-0.08, -0.12, entry[n], noise[12 + n], given=MONOPOLAR, start=STARTED) for n in range(12)]
        + [falling(-0.10, -0.05, entry[n], noise[24 + n], start=STARTED) for n in range(12)]
    )


@cache
def steady_radius() -> pd.DataFrame:
    """The radius of every wound falls by 0.06 cm a week; for twelve of them something inert is started."""
    noise, radius = errors(24), 2 + 0.1 * np.random.default_rng(3).standard_normal(24)
    return changes_in([shrinking(radius[n], 0.06, 0, noise[n], start=STARTED if n < 12 else None) for n in range(24)])


@cache
def wavering(change: float = -0.03, slip: float = 0.1, seed: int = 5) -> pd.DataFrame:
    """Large wounds that hardly change, with large slips; fifteen fall by `change` more a week once they start."""
    own, noise = -0.02 + 0.01 * np.random.default_rng(seed).standard_normal(30), errors(30, slip, seed)
    started = [falling(own[n], change, 20, noise[n], start=STARTED) for n in range(15)]
    return changes_in([*started, *(falling(own[n], 0, 20, noise[n]) for n in range(15, 30))])


# --- by how many percent ---


def test_12_cm2_to_9_6_in_a_week_is_a_fifth_smaller():
    assert smaller(np.log(9.6) - np.log(12)) == pytest.approx(20, abs=EXACT)


def test_a_root_of_2_cm_that_falls_by_a_tenth_is_9_75_percent_smaller():
    """4 cm2: 1 - (1.9 / 2)^2 = 0.0975."""
    assert smaller(-0.1, ROOT, 4) == pytest.approx(9.75, abs=EXACT)


@pytest.mark.parametrize(("slope", "scale"), [(-2, ROOT), (-3, ROOT), (-50, LOG)])
def test_nothing_is_smaller_by_more_than_all_of_it(slope, scale):
    """Of a root of 2 cm two are left to lose; an edge that would pass the middle has closed the wound."""
    assert smaller(slope, scale, 4) == pytest.approx(100, abs=EXACT)
    assert np.max(smaller(np.array([slope, -1.9]), scale, 4)) <= 100


@pytest.mark.parametrize("scale", [LOG, ROOT])
def test_what_grows_is_smaller_by_less_than_nothing(scale):
    assert smaller(0.1, scale, 4) < smaller(0.0, scale, 4) == 0


# --- known slopes ---


@pytest.mark.parametrize(
    ("regimen", "slope"),
    [(BEFORE, -(0.05 + 0.08 + 0.10) / 3), ("monopolar", -0.08 - 0.12), ("ultrasound", -0.10 - 0.05)],
)
def test_the_pace_under_each_regimen_is_the_one_planted(regimen, slope):
    """Before any modality that of all wounds, a third of each kind; under a regimen that after its start."""
    row = told_of(three_paces().pace, regimen=regimen, stage_group=ALL)
    assert row["amount"] == pytest.approx(100 * (1 - np.exp(slope)), abs=NOISELESS)


def test_the_pace_after_a_start_is_the_mean_of_the_wounds_however_long_they_are_measured():
    """Ten fall by 0.3 a week after it and are measured twice more, ten stand still and are measured five times more:
    by 0.15. One bend for all would be near that of the ten that stay, who have ten times the weight."""
    noise = errors(20)
    short = [Course(falling(0, -0.3, 8, noise[n]).sizes[: START + 3], start=STARTED) for n in range(10)]
    found = slopes_in([*short, *(falling(0, 0, 8, noise[n], start=STARTED) for n in range(10, 20))], draws=FEW)
    row = told_of(found.pace, regimen="ultrasound", stage_group=ALL)
    assert row["amount"] == pytest.approx(100 * (1 - np.exp(-0.15)), abs=OF_A_PACE)


@pytest.mark.parametrize(
    ("regimen", "before", "after"),
    [("monopolar", -0.08, -0.20), ("ultrasound", -0.10, -0.15), (ANY, -0.09, -0.175)],
)
def test_the_slopes_before_and_after_a_start_are_those_planted(regimen, before, after):
    """Of any modality half are of each regimen: -0.09 before, and -0.12 and -0.05 more are -0.085 on average."""
    row = told_of(three_paces().change, regimen=regimen)
    was, then = (100 * (1 - np.exp(slope)) for slope in (before, after))
    assert (row["before"], row["after"]) == (pytest.approx(was, abs=NOISELESS), pytest.approx(then, abs=NOISELESS))
    assert row["amount"] == pytest.approx(row["after"] - row["before"], abs=EXACT)


def test_counts_are_of_wounds_measured_before_a_start_and_after_it():
    found = three_paces()
    assert found.pace[["wounds", "residents"]].values.tolist() == [[36, 36], [12, 12], [12, 12]]
    assert found.change.set_index("regimen")["wounds"].to_dict() == {ANY: 24, "monopolar": 12, "ultrasound": 12}


def test_what_is_expected_of_wounds_of_the_quartiles_at_entry():
    """4, 8 and 16 cm2, whose pace does not hang on size: at 20% a week less four weeks leave (1 - 0.2)^4 of it, eight
    its square."""
    found = three_paces()
    assert sorted(set(found.ahead["size"])) == [4, 8, 16]
    for row in found.ahead.to_dict("records"):
        pace = told_of(found.pace, regimen=row["regimen"], stage_group=ALL)["amount"]
        assert row["amount"] == pytest.approx(row["size"] * (1 - pace / 100) ** row["weeks"], rel=OF_A_SIZE)
        assert row["low"] < row["amount"] < row["high"]


def test_what_is_expected_of_a_size_is_what_wounds_of_that_size_do():
    """Of 4, 8 and 16 cm2, those of 8 fall by 0.1 a week, and for each doubling by 0.04 ln 2 less."""
    noise, entry = errors(24), [4.0, 8.0, 16.0] * 8
    slope = {size: -0.1 + 0.04 * np.log(size / 8) for size in entry}
    found = slopes_in([falling(slope[entry[n]], 0, entry[n], noise[n]) for n in range(24)], draws=FEW).ahead
    assert len(found) == 6
    expected = found["size"] * np.exp(found["size"].map(slope) * found["weeks"])
    assert found["amount"].tolist() == pytest.approx(expected.tolist(), rel=OF_A_SIZE)


def test_quartiles_that_are_alike_are_told_once():
    noise = errors(12)
    assert set(slopes_in([falling(-0.05, 0, 8, noise[n]) for n in range(12)], draws=FEW).ahead["size"]) == {8}


def test_each_stage_has_its_own_pace_where_ten_residents_were_measured_at_it():
    """12 at stage 3, 10 at stage 2, 9 of other kinds: the last are among all and not alone."""
    noise = errors(31)
    deep = [falling(-0.02, 0, 8, noise[n], kind="pressure_injury", stage="3") for n in range(12)]
    shallow = [falling(-0.10, 0, 8, noise[n], kind="pressure_injury", stage="2") for n in range(12, 22)]
    others = [falling(-0.2, 0, 8, noise[n]) for n in range(22, 31)]
    found = slopes_in([*deep, *shallow, *others], draws=FEW).pace
    assert found["stage_group"].tolist() == [ALL, SHALLOW, DEEP]
    mixed = -(12 * 0.02 + 10 * 0.10 + 9 * 0.2) / 31
    true = [100 * (1 - np.exp(slope)) for slope in (mixed, -0.10, -0.02)]
    assert found["amount"].tolist() == pytest.approx(true, abs=NOISELESS)


def test_where_all_wounds_are_of_one_stage_it_is_not_told_beside_all():
    assert three_paces().pace["stage_group"].tolist() == [ALL] * 3


def test_a_regimen_nobody_had_is_not_told():
    """The plan has bipolar too."""
    found = three_paces()
    for frame in (found.pace, found.change, found.ahead):
        assert "bipolar" not in set(frame["regimen"])
        assert "ultrasound" in set(frame["regimen"])


def test_without_a_start_there_is_a_pace_and_no_change():
    noise = errors(12)
    found = slopes_in([falling(-0.05, 0, 8, noise[n]) for n in range(12)], draws=FEW)
    assert found.pace["regimen"].tolist() == [BEFORE]
    assert (len(found.change), list(found.change.columns)) == (0, list(CHANGE))
    assert set(found.ways["asked"]) == {PACE}


# --- a change by hand ---


def alike(sizes: tuple[float, ...], people: int = 10) -> list[pd.DataFrame]:
    """So many wounds with these weekly sizes, started in week 2."""
    return [wound(f"W{n:02d}", weekly(*sizes)) for n in range(people)]


def test_percents_of_the_logarithm_are_those_of_the_mean_slopes():
    """Ten wounds fall by a fifth a week and then by 36%, ten by a tenth and then not: 0.8 and 0.9 are sqrt(0.72) on
    average, 0.64 and 1 are 0.8."""
    faster = [wound(f"F{n}", weekly(12, 9.6, 7.68, 4.9152, 3.145728)) for n in range(10)]
    stopped = [wound(f"S{n}", weekly(10, 9, 8.1, 8.1, 8.1)) for n in range(10)]
    row = told_of(before_and_after(seen(*faster, *stopped), FEW), regimen=ANY)
    was, then = 100 * (1 - np.sqrt(0.72)), 20
    assert [row[name] for name in ("before", "after", "amount")] == pytest.approx([was, then, then - was], abs=EXACT)


def test_percents_of_the_root_are_those_of_the_median_size_last_measured_before_the_start():
    """Roots fall by 0.2 cm a week, then by 0.4: at the start 3.6, 3.6 and, of ten of thirty, 5.6. At 3.6 cm they are
    (1 - 0.2 / 3.6)^2 and (1 - 0.4 / 3.6)^2 of it."""
    small, large = (16, 14.44, 12.96, 10.24, 7.84), (36, 33.64, 31.36, 27.04, 23.04)
    drawn = [*alike(small, 20), *(wound(f"L{n}", weekly(*large)) for n in range(10))]
    row = told_of(before_and_after(seen(*drawn), FEW), regimen=ANY)
    assert row["by_root"] == pytest.approx(100 * ((1 - 0.2 / 3.6) ** 2 - (1 - 0.4 / 3.6) ** 2), abs=EXACT)


def test_each_wound_counts_once_however_many_sizes_it_has():
    """Ten with five sizes bend by -0.2, ten with nine sizes by -0.1: by -0.15 in all, from 0."""
    short = alike((8, 8, 8, *8 * np.exp([-0.2, -0.4])))
    long = [wound(f"L{n}", weekly(8, 8, 8, *8 * np.exp(-0.1 * np.arange(1, 7)))) for n in range(10)]
    row = told_of(before_and_after(seen(*short, *long), FEW), regimen=ANY)
    assert row["amount"] == pytest.approx(100 * (1 - np.exp(-0.15)), abs=EXACT)


def test_a_change_needs_lines_of_ten_residents():
    """Ten residents with eleven lines started monopolar; of ten with ultrasound one was measured once after it."""
    mono = [wound(f"M{n}", weekly(8, 7, 6, 4, 3), regimen="monopolar", resident=f"R{n % 10}") for n in range(11)]
    sound = [wound(f"U{n}", weekly(8, 7, 6, 4, 3)) for n in range(9)]
    once = wound("U9", weekly(8, 7, 6, 4))
    found = before_and_after(seen(*mono, *sound, once), FEW)
    assert found[["regimen", "wounds", "residents"]].values.tolist() == [[ANY, 20, 19], ["monopolar", 11, 10]]


def test_many_lines_of_nine_residents_are_too_few():
    drawn = [wound(f"W{n:02d}", weekly(8, 7, 6, 4, 3), resident=f"R{n // 2}") for n in range(18)]
    assert before_and_after(seen(*drawn), FEW).empty


def test_with_lines_of_nine_residents_no_change_is_told():
    assert before_and_after(seen(*alike((8, 7, 6, 4, 3), 9)), FEW).empty
    assert len(before_and_after(seen(*alike((8, 7, 6, 4, 3), 10)), FEW)) == 2  # any modality, and the only one


# --- when a change is told ---


def half_bend(by: float, other: float) -> dict:
    """Of twelve wounds of 20 cm2 that stand still half fall by `by` once they start, half by `other` (log, a week)."""
    drawn = [
        wound(f"W{n:02d}", weekly(20, 20, 20, *20 * np.exp(-bend * np.arange(1, 5))))
        for n, bend in enumerate([by, other] * 6)
    ]
    return told_of(before_and_after(seen(*drawn), MANY), regimen=ANY)


def test_scales_that_part_by_less_than_a_standard_error_agree():
    """Bends of 0 and -0.04: -0.02 give or take 0.02 / sqrt(12), in percent 1.98 and 0.57. The roots of those that fall,
    4.47 to 4.13 cm in four weeks, fall by ever less, so that by the root it is a little less."""
    row = half_bend(0, 0.04)
    assert row["amount"] == pytest.approx(100 * (1 - np.exp(-0.02)), abs=EXACT)
    assert row["error"] == pytest.approx(98 * 0.02 / np.sqrt(12), rel=OF_A_SPREAD)
    assert 0 < row["amount"] - row["by_root"] < row["error"]
    assert row["agrees"]


def test_the_same_change_without_a_spread_is_not_agreed_upon():
    """All bend by -0.02: nothing differs between draws, and the scales do part."""
    row = half_bend(0.02, 0.02)
    assert row["amount"] == pytest.approx(100 * (1 - np.exp(-0.02)), abs=EXACT)
    assert row["error"] < EXACT < abs(row["by_root"] - row["amount"])
    assert not row["agrees"]


def test_a_radius_that_falls_steadily_makes_a_change_of_the_logarithm_that_is_not_told():
    """Nothing changed. The root of the area says so; log area bends, with limits that reach nowhere near nought."""
    row = told_of(steady_radius(), regimen="ultrasound")
    assert row["low"] > 0.5
    assert row["by_root"] == pytest.approx(0, abs=0.05)  # root of the area at entry 3.5 cm, errors 0.0018 cm
    assert not row["agrees"]


def test_a_change_whose_sign_hangs_on_the_scale_is_not_told():
    """The radius falls by 0.1 cm a week and then by 0.09: slower by the root, faster by the logarithm."""
    noise = errors(24)
    started = [shrinking(2, 0.1, -0.01, noise[n], start=STARTED) for n in range(12)]
    row = told_of(changes_in([*started, *(shrinking(2, 0.06, 0, noise[n]) for n in range(12, 24))]), regimen=ANY)
    assert row["by_root"] < 0 < row["low"]
    assert not row["agrees"]


def test_a_change_whose_sign_hangs_on_the_scale_is_not_told_however_near_both_are():
    """Nothing changed: slips of the ruler alone put the two on either side of nought."""
    row = told_of(wavering(0.0, 0.1, 7), regimen="ultrasound")
    assert row["by_root"] < 0 < row["amount"] < row["by_root"] + row["error"]
    assert not row["agrees"]


def test_a_change_by_the_root_that_is_more_than_a_standard_error_away_is_not_told():
    """Planted on the logarithm, 8% a week more; here by a third more than one."""
    row = told_of(wavering(-0.08, 0.08, 2), regimen="ultrasound")
    assert row["by_root"] > 0
    assert row["error"] < abs(row["by_root"] - row["amount"]) < 2 * row["error"]
    assert not row["agrees"]


def test_a_change_on_which_both_scales_agree_is_told():
    """20 cm2, hardly smaller: log and root are both nearly straight, and slips spread the bends of single wounds."""
    row = told_of(wavering(), regimen="ultrasound")
    assert abs(row["by_root"] - row["amount"]) <= row["error"]
    assert row["by_root"] * row["amount"] > 0
    assert row["agrees"]


# --- other ways ---


def test_the_pace_is_told_five_ways_and_the_change_by_all_but_a_walk():
    """A line through single wounds has no walk to take out."""
    closings = ["closings entered as 0.1 cm2", "closings entered as 0.01 cm2"]
    straight = ["logarithm of the size", "root of the size"]
    assert three_paces().ways[["asked", "way"]].values.tolist() == [
        *([PACE, way] for way in (*straight, "sizes that wander from week to week", *closings)),
        *([CHANGED, way] for way in (*straight, *closings)),
    ]


def test_where_too_few_have_a_line_the_ways_tell_a_pace_and_no_change():
    """Ten start, so that ultrasound has a pace; one of them was measured once after it."""
    noise = errors(12)
    told = [falling(-0.05, -0.1, 8, noise[n], start=STARTED) for n in range(9)]
    once = Course(falling(-0.05, 0, 8, noise[9]).sizes[: START + 2], start=STARTED)
    found = slopes_in([*told, once, *(falling(-0.05, 0, 8, noise[n]) for n in (10, 11))], draws=FEW)
    assert found.pace["regimen"].tolist() == [BEFORE, "ultrasound"]
    assert found.change.empty
    assert set(found.ways["asked"]) == {PACE}


def test_closings_entered_as_small_sizes_make_changes_larger_the_smaller_the_more():
    """Half of those that start close in the week after their last size."""
    noise = errors(12)
    told = [falling(-0.05, -0.1, 8, noise[n], start=STARTED) for n in range(12)]
    told = [Course((*one.sizes, 0), start=STARTED) if n < 6 else one for n, one in enumerate(told)]
    ways = slopes_in(told, draws=FEW).ways.set_index(["asked", "way"])["amount"][CHANGED]
    assert ways["closings entered as 0.01 cm2"] > ways["closings entered as 0.1 cm2"] + 1
    assert ways["closings entered as 0.1 cm2"] > ways["logarithm of the size"] + 1


def test_closings_entered_as_small_sizes_make_wounds_faster_the_smaller_the_more():
    noise, entry = errors(16), np.linspace(2, 6, 16)
    open_ones = [falling(-0.15, 0, entry[n], noise[n]) for n in range(16)]
    told = [Course((*one.sizes, 0)) if n < 8 else one for n, one in enumerate(open_ones)]
    ways = slopes_in(told, draws=FEW).ways.set_index("way")["amount"]
    assert ways["closings entered as 0.01 cm2"] > ways["closings entered as 0.1 cm2"] + 1
    assert ways["closings entered as 0.1 cm2"] > ways["logarithm of the size"] + 1


def test_where_nothing_closed_it_makes_no_difference():
    ways = three_paces().ways.set_index(["asked", "way"])["amount"]
    for asked in (PACE, CHANGED):
        assert ways[asked, "closings entered as 0.01 cm2"] == ways[asked, "logarithm of the size"]


def test_the_main_way_and_the_root_are_those_of_the_change():
    found = three_paces()
    ways, row = found.ways.set_index(["asked", "way"])["amount"], told_of(found.change, regimen=ANY)
    assert ways[CHANGED, "logarithm of the size"] == row["amount"]
    assert ways[CHANGED, "root of the size"] == row["by_root"]


def test_sizes_that_wander_from_week_to_week_are_told_from_slips_of_the_ruler():
    """A walk of 0.15 a week beside slips of 0.05 is 9 times their variance; slips of 0.15 alone are none."""
    generator = np.random.default_rng(11)
    steps, slips = 0.15 * generator.standard_normal((20, 11)), 0.05 * generator.standard_normal((20, 11))
    walks = np.cumsum(steps, axis=1) + slips
    found = {
        name: walk_of(split, design(split))
        for name, noise in (("walk", walks), ("slips", steps))
        for split in [split_at_start(courses_of(followed([falling(-0.05, 0, 8, each) for each in noise])))]
    }
    assert 4 <= found["walk"] <= 32
    assert found["slips"] <= 1 / 32


def test_the_pace_by_the_root_is_that_of_a_wound_of_typical_size():
    """All radii fall by 0.06 cm a week: of the geometric mean of radii at entry, squared."""
    noise, radius = errors(24), 2 + 0.5 * np.random.default_rng(3).standard_normal(24)
    found = slopes_in([shrinking(radius[n], 0.06, 0, noise[n]) for n in range(24)], draws=FEW)
    share = 0.06 / np.exp(np.log(radius).mean())
    assert told_of(found.ways, way="root of the size", asked=PACE)["amount"] == pytest.approx(
        100 * (1 - (1 - share) ** 2), abs=NOISELESS
    )


# --- who has a course before a start ---


def at_once_and_never(at_once: int, never: int, **about) -> Slopes | None:
    """So many start on the day they were first measured, so that one size lies before it; so many never."""
    noise = errors(at_once + never)
    started = [falling(-0.05, 0, 8, noise[n], start=FIRST) for n in range(at_once)]
    return slopes_in([*started, *(falling(-0.05, 0, 8, noise[n]) for n in range(at_once, at_once + never))], **about)


def test_limits_of_the_pace_rest_on_those_measured_twice_before_a_start():
    """Twelve of 24: Student's t at 11 degrees of freedom, in every way of telling it."""
    found = at_once_and_never(12, 12)
    paces = found.ways[found.ways["asked"] == PACE]
    assert len(paces) == 5
    off = (paces["high"] - paces["amount"]) / paces["error"]
    assert off.tolist() == pytest.approx([T_OF_12] * 5, rel=1e-5)  # the table has seven digits
    assert told_of(found.pace, regimen=BEFORE)["residents"] == 12


@pytest.mark.parametrize(("never", "told"), [(9, ["ultrasound"]), (10, [BEFORE, "ultrasound"])])
def test_before_any_modality_nothing_is_told_unless_ten_were_measured_twice(never, told):
    found = at_once_and_never(12, never, draws=FEW)
    assert found.pace["regimen"].tolist() == told
    assert found.ahead["regimen"].unique().tolist() == told
    assert (PACE in set(found.ways["asked"])) == (BEFORE in told)


def test_two_sizes_of_one_day_are_no_course():
    """Ten never start, one of them measured on a single day, twice."""
    read = seen(*(wound(f"W{n}", weekly(8, 7, 6), None) for n in range(9)), *[wound("W9", weekly(8), None)] * 2)
    own = slopes_module._seen_in(read.sizes, BEFORE, ALL)
    assert "W9" not in set(own["wound"]) and own["resident"].nunique() == 9


# --- too few ---


def are_enough(*measured: int) -> bool:
    """Whether it is enough that residents were measured so many times each."""
    noise = errors(len(measured), 0.1)
    return enough(courses_of(followed([
        Course(falling(-0.1, 0, 8, noise[n]).sizes[:times]) for n, times in enumerate(measured)
    ])))  # fmt: skip


def test_ten_residents_and_ten_measurements_beyond_the_first_are_enough_and_one_fewer_of_either_is_not():
    """4, seven times 2, and twice 1 are 20 measurements of 10 wounds, so 10 beyond the first of each."""
    assert are_enough(4, *[2] * 7, 1, 1)
    assert not are_enough(4, *[2] * 6, 1, 1, 1)
    assert not are_enough(4, *[2] * 8)
    assert MODEL_FROM == 10


def test_wounds_none_of_which_was_measured_three_times_are_too_few_however_many():
    """Two sizes lie on any line: nothing says how far measurements stray. So the model says, not the count."""
    noise = errors(15, 0.1)
    assert are_enough(*[2] * 15)
    assert slopes_in([Course(falling(-0.1, 0, 8, noise[n]).sizes[:2]) for n in range(15)]) is None


def test_many_wounds_of_nine_residents_are_too_few():
    noise = errors(18)
    assert slopes_in([falling(-0.05, 0, 8, noise[n], resident=f"R{n // 2}") for n in range(18)]) is None


def test_sizes_that_never_change_have_no_slopes():
    assert slopes_in([Course((8.0,) * 5)] * 12) is None


@pytest.mark.parametrize("start", [None, STARTED])
def test_sizes_copied_forward_have_no_slopes_though_wounds_differ(start):
    """Every wound keeps the size it came with."""
    assert slopes_in([Course((2.0 + n,) * 11, start=start) for n in range(12)]) is None


# --- limits ---


def frames_with_limits() -> dict[str, pd.DataFrame]:
    found = three_paces()
    told = {name: getattr(found, name) for name in ("pace", "change", "ways", "ahead")}
    return told | {"steady": steady_radius(), "wavering": wavering()}


@pytest.mark.parametrize("name", ["pace", "change", "ways", "ahead", "steady", "wavering"])
def test_every_amount_lies_between_its_limits(name):
    frame = frames_with_limits()[name]
    assert len(frame) > 0
    assert ((frame["low"] < frame["amount"]) & (frame["amount"] < frame["high"])).all()


def test_limits_are_as_wide_as_students_t_at_the_residents_who_tell_them():
    for row in (
        told_of(three_paces().pace, regimen="monopolar", stage_group=ALL),
        told_of(three_paces().change, regimen="monopolar"),
    ):
        for off in (row["high"] - row["amount"], row["amount"] - row["low"]):
            assert off / row["error"] == pytest.approx(T_OF_12, rel=1e-5)  # the table has seven digits


def test_the_error_of_a_change_is_about_the_spread_of_the_bends_over_the_root_of_the_residents():
    """Nothing before, and after it 30 residents 0.05 apart around -0.1 a week: in percent 90 times as much."""
    own, noise = -0.1 + 0.05 * np.random.default_rng(2).standard_normal(30), errors(30)
    row = told_of(changes_in([falling(0, own[n], 8, noise[n], start=STARTED) for n in range(30)]), regimen=ANY)
    assert row["error"] == pytest.approx(100 * np.exp(own.mean()) * own.std() / np.sqrt(30), rel=OF_A_SPREAD)


def test_wounds_of_one_resident_are_drawn_together():
    """Twelve residents with four wounds each that bend alike know as much as twelve wounds do, not as 48."""
    bend = 0.05 * np.random.default_rng(6).standard_normal(12)
    drawn = [
        wound(f"W{n:02d}", weekly(8, 8, 8, *8 * np.exp(bend[n // 4] * np.arange(1, 4))), resident=f"R{n // 4:02d}")
        for n in range(48)
    ]
    row = told_of(before_and_after(seen(*drawn), MANY), regimen=ANY)
    assert (row["wounds"], row["residents"]) == (48, 12)
    assert (row["high"] - row["amount"]) / row["error"] == pytest.approx(T_OF_12, rel=1e-5)  # not the 2.01 of 48
    assert row["error"] == pytest.approx(100 * np.exp(bend.mean()) * bend.std() / np.sqrt(12), rel=OF_A_SPREAD)


def test_the_error_of_a_pace_is_about_the_spread_of_the_slopes_over_the_root_of_the_residents():
    """Slopes 0.05 apart, 30 residents: 0.05 / sqrt(30) = 0.0091, in percent at -0.1 a week 0.83. 25 draws know it to
    1 / sqrt(50) = 14%, of which three."""
    own, noise = -0.1 + 0.05 * np.random.default_rng(2).standard_normal(30), errors(30)
    row = told_of(slopes_in([falling(own[n], 0, 8, noise[n]) for n in range(30)]).pace, regimen=BEFORE)
    assert row["error"] == pytest.approx(100 * np.exp(own.mean()) * own.std() / np.sqrt(30), rel=0.42)


def test_the_same_seed_gives_the_same_draws_and_another_one_other_limits_about_the_same_amounts():
    noise = errors(12)
    told = [falling(-0.05, -0.05, 8, noise[n], start=STARTED) for n in range(12)]
    one, again, other = (slopes_in(told, seed, FEW).ways for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(one, again)
    assert set(one["asked"]) == {PACE, CHANGED}
    assert one["amount"].tolist() == other["amount"].tolist()
    assert (one["error"] != other["error"]).all()


def test_a_draw_without_the_only_resident_of_a_facility_still_tells_the_pace():
    """In such draws the facility's level is missing. A pace has no part in it: its error is that of all draws."""
    noise = errors(14)
    homes = ["Quellmoor"] * 12 + ["Tarnwick", "Vellbrook"]
    found = slopes_in([falling(-0.05, 0, 8, noise[n], facility=home) for n, home in enumerate(homes)])
    drawn = pd.DataFrame(found.log.drawn, columns=list(found.log.rows.names))
    assert drawn["in Tarnwick"].isna().any()
    every = 100 * (1 - np.exp(drawn["week"]))
    assert found.pace["error"].tolist() == pytest.approx([every.std(ddof=0)], rel=EXACT)


@pytest.mark.parametrize("name", ["week", "age", "level"])
def test_a_facility_called_like_a_column_changes_nothing(name):
    """Six wounds lie in it, eight in a facility that stands before it in the order of names."""
    noise = errors(14)
    one, other = (
        slopes_in([falling(-0.05, 0, 8, noise[n], facility=home if n < 6 else "Aldmoor") for n in range(14)], draws=FEW)
        for home in (name, "Tarnwick")
    )
    for frame in ("pace", "ahead", "ways"):
        pd.testing.assert_frame_equal(getattr(one, frame), getattr(other, frame))


def without_the_first(rows: Rows, counts: np.ndarray | None = None, **how) -> Fit:
    """A fit that draws without the first resident cannot tell."""
    if counts is not None and counts[0] == 0:
        raise CannotFit("rows: invented")
    return fit_nested(rows, counts=counts, **how)


def test_draws_that_cannot_be_fitted_are_missing_and_the_others_are_as_they_were(monkeypatch):
    noise = errors(12)
    read = courses_of(followed([falling(-0.05, 0, 8, noise[n]) for n in range(12)]))
    whole = modelled(read, LOG, DRAWS, 1)
    monkeypatch.setattr(models, "fit_nested", without_the_first)
    part = modelled(read, LOG, DRAWS, 1)
    lost = resident_draws(whole.rows.residents, DRAWS, 1)[0] == 0
    assert 0 < lost.sum() < DRAWS
    assert np.isnan(part.drawn[lost]).all()
    assert not np.isnan(whole.drawn).any()
    # The search begins in the middle of the first draws that were fitted, which are others: so nearly, not exactly.
    np.testing.assert_allclose(part.drawn[~lost], whole.drawn[~lost], rtol=EXACT)


def test_the_order_of_rows_makes_no_difference():
    told = [falling(-0.05 - 0.01 * (n % 3), -0.1, 8, noise, start=STARTED) for n, noise in enumerate(errors(12))]
    study = followed(told)
    whole = courses_of(study)
    episodes, measured, seen = (
        frame.sample(frac=1, random_state=4) for frame in (study.episodes, study.measurements, weeks(study).weeks)
    )
    mixed = courses(episodes, seen.sort_values(["begins"]), measured, study.plan)
    pd.testing.assert_frame_equal(mixed.sizes, whole.sizes)
    one, other = slopes(whole, study.episodes, FEW), slopes(mixed, episodes, FEW)
    for name in ("pace", "change", "ahead", "ways"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))
