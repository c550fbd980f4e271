"""How fast sizes change: known slopes recovered, what is told of a change and what is not, and what limits rest on."""

from functools import cache

import numpy as np
import pandas as pd
import pytest

from kit.compared import weeks
from kit.followed import courses_of
from kit.trajectories.courses import DEEP, SHALLOW, courses, design
from kit.trajectories.models import LOG, MODEL_FROM, ROOT, enough, walk_of
from kit.trajectories.slopes import ALL, ANY, BEFORE, CHANGE, CHANGED, PACE, Slopes, slopes, smaller
from tests.test_followed import FIRST, Course, followed

EXACT = 1e-9  # the same arithmetic in another order
# Errors of a thousandth of log size: over five weeks the slope of one wound is known to 0.001 / sqrt(17.5) = 2.4e-4, of
# twelve to 7e-5, in percent 0.007. Three times that.
NOISELESS = 0.02
T_OF_12 = 2.200985  # Student's t at 11 degrees of freedom, 97.5% (any table)
DRAWS = 25
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


def slopes_in(told: list[Course], seed: int = 1) -> Slopes | None:
    study = followed(told)
    return slopes(courses_of(study), study.episodes, DRAWS, seed)


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
def steady_radius() -> Slopes:
    """The radius of every wound falls by 0.06 cm a week; for twelve of them something inert is started."""
    noise, radius = errors(24), 2 + 0.1 * np.random.default_rng(3).standard_normal(24)
    return slopes_in([shrinking(radius[n], 0.06, 0, noise[n], start=STARTED if n < 12 else None) for n in range(24)])


@cache
def wavering(change: float = -0.03, slip: float = 0.1, seed: int = 5) -> Slopes:
    """Large wounds that hardly change, with large slips; fifteen fall by `change` more a week once they start."""
    own, noise = -0.02 + 0.01 * np.random.default_rng(seed).standard_normal(30), errors(30, slip, seed)
    started = [falling(own[n], change, 20, noise[n], start=STARTED) for n in range(15)]
    return slopes_in([*started, *(falling(own[n], 0, 20, noise[n]) for n in range(15, 30))])


# --- by how many percent ---


def test_12_cm2_to_9_6_in_a_week_is_a_fifth_smaller():
    assert smaller(np.log(9.6) - np.log(12)) == pytest.approx(20, abs=EXACT)


def test_a_root_of_2_cm_that_falls_by_a_tenth_is_9_75_percent_smaller():
    """4 cm2: 1 - (1.9 / 2)^2 = 0.0975."""
    assert smaller(-0.1, ROOT, 4) == pytest.approx(9.75, abs=EXACT)


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
    """4, 8 and 16 cm2; at 20% a week less four weeks leave (1 - 0.2)^4 of it, eight its square."""
    found = three_paces()
    assert sorted(set(found.ahead["size"])) == [4, 8, 16]
    for row in found.ahead.to_dict("records"):
        pace = told_of(found.pace, regimen=row["regimen"], stage_group=ALL)["amount"]
        assert row["amount"] == pytest.approx(row["size"] * (1 - pace / 100) ** row["weeks"], rel=EXACT)
        assert row["low"] < row["amount"] < row["high"]


def test_quartiles_that_are_alike_are_told_once():
    noise = errors(12)
    assert set(slopes_in([falling(-0.05, 0, 8, noise[n]) for n in range(12)]).ahead["size"]) == {8}


def test_each_stage_has_its_own_pace_where_ten_residents_were_measured_at_it():
    """12 at stage 3, 10 at stage 2, 9 of other kinds: the last are among all and not alone."""
    noise = errors(31)
    deep = [falling(-0.02, 0, 8, noise[n], kind="pressure_injury", stage="3") for n in range(12)]
    shallow = [falling(-0.10, 0, 8, noise[n], kind="pressure_injury", stage="2") for n in range(12, 22)]
    found = slopes_in([*deep, *shallow, *(falling(-0.2, 0, 8, noise[n]) for n in range(22, 31))]).pace
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
    found = slopes_in([falling(-0.05, 0, 8, noise[n]) for n in range(12)])
    assert found.pace["regimen"].tolist() == [BEFORE]
    assert (len(found.change), list(found.change.columns)) == (0, list(CHANGE))
    assert set(found.ways["asked"]) == {PACE}


# --- when a change is told ---


def test_a_radius_that_falls_steadily_makes_a_change_of_the_logarithm_that_is_not_told():
    """Nothing changed. The root of the area says so; log area bends, with limits that reach nowhere near nought."""
    row = told_of(steady_radius().change, regimen="ultrasound")
    assert row["low"] > 0.5
    assert row["by_root"] == pytest.approx(0, abs=0.05)  # root of the area at entry 3.5 cm, errors 0.0018 cm
    assert not row["agrees"]


def test_a_change_whose_sign_hangs_on_the_scale_is_not_told():
    """The radius falls by 0.1 cm a week and then by 0.09: slower by the root, faster by the logarithm."""
    noise = errors(24)
    started = [shrinking(2, 0.1, -0.01, noise[n], start=STARTED) for n in range(12)]
    row = told_of(slopes_in([*started, *(shrinking(2, 0.06, 0, noise[n]) for n in range(12, 24))]).change, regimen=ANY)
    assert row["by_root"] < 0 < row["low"]
    assert not row["agrees"]


def test_a_change_whose_sign_hangs_on_the_scale_is_not_told_however_near_both_are():
    """Nothing changed: slips of the ruler alone put the two on either side of nought."""
    row = told_of(wavering(0.0, 0.1, 7).change, regimen="ultrasound")
    assert row["by_root"] < 0 < row["amount"] < row["by_root"] + row["error"]
    assert not row["agrees"]


def test_a_change_by_the_root_that_is_more_than_a_standard_error_away_is_not_told():
    """Planted on the logarithm, 8% a week more; here one and a half standard errors."""
    row = told_of(wavering(-0.08, 0.08, 2).change, regimen="ultrasound")
    assert row["by_root"] > 0
    assert row["error"] < abs(row["by_root"] - row["amount"]) < 2 * row["error"]
    assert not row["agrees"]


def test_a_change_on_which_both_scales_agree_is_told():
    """20 cm2, hardly smaller: log and root are both nearly straight, and the slips make standard errors wide."""
    row = told_of(wavering().change, regimen="ultrasound")
    assert abs(row["by_root"] - row["amount"]) <= row["error"]
    assert row["by_root"] * row["amount"] > 0
    assert row["agrees"]


# --- other ways ---


def test_closings_entered_as_small_sizes_make_wounds_faster_the_smaller_the_more():
    noise, entry = errors(16), np.linspace(2, 6, 16)
    open_ones = [falling(-0.15, 0, entry[n], noise[n]) for n in range(16)]
    told = [Course((*one.sizes, 0)) if n < 8 else one for n, one in enumerate(open_ones)]
    ways = slopes_in(told).ways.set_index("way")["amount"]
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
        name: walk_of(seen, design(seen))
        for name, noise in (("walk", walks), ("slips", steps))
        for seen in [courses_of(followed([falling(-0.05, 0, 8, each) for each in noise]))]
    }
    assert 4 <= found["walk"] <= 32
    assert found["slips"] <= 1 / 32


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
    """Two sizes lie on any line: nothing says how far measurements stray."""
    assert not are_enough(*[2] * 15)


def test_many_wounds_of_nine_residents_are_too_few():
    noise = errors(18)
    assert slopes_in([falling(-0.05, 0, 8, noise[n], resident=f"R{n // 2}") for n in range(18)]) is None


def test_sizes_that_never_change_have_no_slopes():
    assert slopes_in([Course((8.0,) * 5)] * 12) is None


# --- limits ---


@pytest.mark.parametrize("made", [three_paces, steady_radius, wavering], ids=lambda made: made.__name__)
def test_every_amount_lies_between_its_limits(made):
    found = made()
    for frame in (found.pace, found.change, found.ways):
        assert ((frame["low"] < frame["amount"]) & (frame["amount"] < frame["high"])).all()


def test_limits_are_as_wide_as_students_t_at_the_residents_who_tell_them():
    row = told_of(three_paces().pace, regimen="monopolar", stage_group=ALL)
    for off in (row["high"] - row["amount"], row["amount"] - row["low"]):
        assert off / row["error"] == pytest.approx(T_OF_12, rel=1e-5)  # the table has seven digits


def test_the_error_of_a_pace_is_about_the_spread_of_the_slopes_over_the_root_of_the_residents():
    """Slopes 0.05 apart, 30 residents: 0.05 / sqrt(30) = 0.0091, in percent at -0.1 a week 0.83. 25 draws know it to
    1 / sqrt(50) = 14%, of which three."""
    own, noise = -0.1 + 0.05 * np.random.default_rng(2).standard_normal(30), errors(30)
    row = told_of(slopes_in([falling(own[n], 0, 8, noise[n]) for n in range(30)]).pace, regimen=BEFORE)
    assert row["error"] == pytest.approx(100 * np.exp(own.mean()) * own.std() / np.sqrt(30), rel=0.42)


def test_the_same_seed_gives_the_same_draws_and_another_one_other_limits_about_the_same_amounts():
    noise = errors(12)
    told = [falling(-0.05, 0, 8, noise[n]) for n in range(12)]
    one, again, other = (slopes_in(told, seed).ways for seed in (1, 1, 2))
    pd.testing.assert_frame_equal(one, again)
    assert one["amount"].tolist() == other["amount"].tolist()
    assert (one["error"] != other["error"]).all()


def test_a_draw_without_the_only_resident_of_a_facility_still_tells_the_pace():
    """In such draws the facility's level is missing. A pace has no part in it: its error is that of all draws."""
    noise = errors(14)
    homes = ["Quellmoor"] * 12 + ["Tarnwick", "Vellbrook"]
    found = slopes_in([falling(-0.05, 0, 8, noise[n], facility=home) for n, home in enumerate(homes)])
    drawn = pd.DataFrame(found.log.drawn, columns=list(found.log.rows.names))
    assert drawn["Tarnwick"].isna().any()
    every = 100 * (1 - np.exp(drawn["week"]))
    assert found.pace["error"].tolist() == pytest.approx([every.std(ddof=0)], rel=EXACT)


def test_the_order_of_rows_makes_no_difference():
    told = [falling(-0.05 - 0.01 * (n % 3), -0.1, 8, noise, start=STARTED) for n, noise in enumerate(errors(12))]
    study = followed(told)
    whole = courses_of(study)
    episodes, measured, seen = (
        frame.sample(frac=1, random_state=4) for frame in (study.episodes, study.measurements, weeks(study).weeks)
    )
    mixed = courses(episodes, seen.sort_values(["begins"]), measured, study.plan)
    pd.testing.assert_frame_equal(mixed.sizes, whole.sizes)
    one, other = slopes(whole, study.episodes, DRAWS), slopes(mixed, episodes, DRAWS)
    for name in ("pace", "change", "ahead", "ways"):
        pd.testing.assert_frame_equal(getattr(one, name), getattr(other, name))
