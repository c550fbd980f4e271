"""Funnel limits and shares drawn in: by hand, against exact limits, and how often chance is taken for a difference."""

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binom

from kit.context.case_mix import ALONE, CLOSED, EARLY, case_mix
from kit.context.funnel import (
    FEWER,
    MORE,
    WIDTHS,
    angle,
    angle_error,
    between_facilities,
    dispersion,
    drawn_in,
    funnel,
    limits_at,
    worth_wounds,
)
from kit.context.one_sided import ALL_STARTED, NONE_COULD, NONE_STARTED, one_sided
from tests.test_after_start import plan_of
from tests.test_case_mix import NO_SIZES, OPENED, SHUT, cohort

EXACT = 1e-9
SPREAD = 5.0  # the plan's points by which facilities are taken to differ


def mixed(shares, wounds=40, error=None, middle=0.5, residents=None, names=None, measure=CLOSED):
    """Facilities as `case_mix` tells them: each share of so many wounds that are each on one resident."""
    shares = np.asarray(shares, dtype=float)
    wounds = np.broadcast_to(wounds, shares.shape).astype(float)
    plain = np.sqrt(np.maximum(shares * (1 - shares), 1e-30) / wounds)
    return pd.DataFrame(
        {
            "measure": measure,
            "horizon_weeks": 12,
            "facility": names or [f"H{number:03}" for number in range(len(shares))],
            "wounds": wounds.astype(int),
            "residents": wounds.astype(int) if residents is None else residents,
            "standardized": shares,
            "group_share": middle,
            "error": plain if error is None else error,
            "not_computed": "",
        }
    )


# --- by hand ---


def test_the_worth_in_single_wounds_by_hand():
    """A half of 26 residents with a standard error of 0.1: 0.25 / 0.01, less 1 in 26, is 24.038 wounds; one that never
    varies is worth its residents; one that varies less than single wounds do is worth its wounds."""
    share, error = np.array([0.5, 0.2, 1.0, 0.5]), np.array([0.1, 0.0, 0.0, 0.05])
    worth = worth_wounds(share, error, np.array([26.0, 12.0, 14.0, 50.0]), np.array([40.0, 20.0, 20.0, 60.0]))
    assert worth == pytest.approx([25 * 25 / 26, 12, 14, 60], abs=EXACT)


def test_a_range_drawn_in_is_wider_the_fewer_residents_it_rests_on():
    """Student's t with one less than the residents: 2.2010 errors with 12, 1.9600 with very many."""
    few, many = (funnel(mixed([0.5] * 4, 60, residents=of), SPREAD).homes.iloc[0] for of in (12, 10**6))
    far = [np.arcsin(np.sqrt(own["drawn_high"])) - np.arcsin(np.sqrt(own["drawn_share"])) for own in (few, many)]
    assert far[0] / far[1] == pytest.approx(2.2010 / 1.9600, rel=0.08)  # so few residents also change the worth


def test_limits_by_hand():
    """100 wounds around a half, whose angle is 45 degrees; the standard error is 1 / (2 x root of 100.5) = 0.049875.

    3.090232 of them are 0.154126. Sin squared of 45 degrees and that is 1/2 + sin(0.308252) / 2 = 0.651698; times
    100.75, less 3/8, of 100: 0.652836. As a half is the middle, the other end lies as far below.
    """
    low, high = limits_at(np.array([100.0]), 0.5, 0.0, WIDTHS["998"])
    assert high[0] == pytest.approx(0.652835, abs=1e-6)
    assert low[0] == pytest.approx(1 - 0.652835, abs=1e-6)


def exact_limit(number, middle, tail):
    """Spiegelhalter's interpolated binomial limit (2005, his appendix; from memory): (r - a) / n."""
    reached = int(binom.ppf(tail, number, middle))
    step = binom.pmf(reached, number, middle)
    over = (binom.cdf(reached, number, middle) - tail) / step
    return (reached - over) / number


@pytest.mark.parametrize("number", [15, 30, 60, 150])
@pytest.mark.parametrize("middle", [0.25, 0.4, 0.6])
@pytest.mark.parametrize("name", WIDTHS)
def test_limits_lie_by_the_exact_binomial_ones(number, middle, name):
    tail = {"95": 0.025, "998": 0.001}[name]
    low, high = limits_at(np.array([float(number)]), middle, 0.0, WIDTHS[name])
    wound = 1 / number
    assert low[0] == pytest.approx(max(exact_limit(number, middle, tail), 0), abs=wound)
    assert high[0] == pytest.approx(exact_limit(number, middle, 1 - tail), abs=wound)


def test_limits_never_leave_what_a_share_can_be():
    low, high = limits_at(np.array([1.0, 3.0, 8.0]), 0.1, 0.2, WIDTHS["998"])
    assert (low == 0).all() and (high <= 1).all() and high[0] == 1


def test_the_spread_between_by_hand():
    """Standard errors 0.1 and 0.2: weights 100 and 25, their sum 125, less 10625 / 125 = 85: 40.

    A dispersion of 3 of two facilities: (2 x 3 - 1) / 40 = 0.125, whose root is 0.353553.
    """
    assert between_facilities(3.0, np.array([0.1, 0.2])) == pytest.approx(0.353553, abs=1e-6)
    assert between_facilities(0.5, np.array([0.1, 0.2])) == 0


def test_drawing_in_by_hand():
    """A spread as large as the error: half of the distance is believed, and half of the variance is left."""
    drawn, error = drawn_in(np.array([0.2, -0.1]), np.array([0.1, 0.1]), np.array([0.1]))
    assert drawn == pytest.approx([0.1, -0.05], abs=EXACT)
    assert error == pytest.approx([0.1 / np.sqrt(2)] * 2, abs=EXACT)


def test_not_knowing_the_spread_widens_the_range():
    apart, errors = np.array([0.2, -0.1, 0.05, 0.0]), np.full(4, 0.1)
    known = drawn_in(apart, errors, np.array([0.1]))[1]
    assert (drawn_in(apart, errors, np.array([0.0, 0.1, 0.3]))[1][:1] > known[:1]).all()


def test_dispersion_is_one_where_chance_alone_sets_facilities_apart():
    random = np.random.default_rng(3)
    told = np.array([dispersion(random.normal(size=40)) for _ in range(400)])
    assert told[:, 0].mean() == pytest.approx(1, abs=0.04)  # its standard error is about 0.013
    assert np.mean(told[:, 1] < 0.05) == pytest.approx(0.05, abs=0.03)


def test_two_facilities_far_off_do_not_widen_the_limits_of_forty():
    strays = np.random.default_rng(5).normal(size=40)
    strays[:2] = 9, -9
    assert dispersion(strays)[1] > 0.05
    assert np.mean(strays**2) > 4  # what it would be without drawing in


# --- who differs ---


def test_a_facility_beyond_the_outer_limits_is_named_and_one_just_within_is_not():
    low, high = (ends[0] for ends in limits_at(np.array([40.0]), 0.5, 0.0, WIDTHS["998"]))
    shares = [high + 0.01, high - 0.01, low - 0.01, low + 0.01, 0.5]
    told = funnel(mixed(shares, residents=1_000_000), SPREAD).homes
    assert told["differs"].tolist() == [MORE, "", FEWER, "", ""]


def test_a_share_beyond_its_limit_is_a_stray_beyond_the_width_and_no_other():
    random = np.random.default_rng(7)
    shares = np.concatenate([random.normal(0.5, 0.08, 56), [0.02, 0.1, 0.85, 0.98]])
    told = funnel(mixed(shares, wounds=random.integers(25, 90, 60)), SPREAD).homes
    for name, width in WIDTHS.items():
        beyond = (told["standardized"] > told[f"high_{name}"]) | (told["standardized"] < told[f"low_{name}"])
        assert beyond.any() and not beyond.all()
        assert (beyond == (told["strays"].abs() > width)).all()


def test_facilities_stand_in_alphabetical_order_whatever_came_first():
    told = funnel(mixed([0.9, 0.1, 0.5], names=["Quell", "Alder", "Moor"]), SPREAD).homes
    assert told["facility"].tolist() == ["Alder", "Moor", "Quell"]
    assert told["standardized"].tolist() == [0.1, 0.5, 0.9]


def test_only_facilities_that_are_told_are_held_against_the_group():
    frame = mixed([0.5, 0.4, 0.6])
    frame.loc[1, ["not_computed", "standardized"]] = [ALONE, np.nan]
    told = funnel(frame, SPREAD)
    assert told.homes["facility"].tolist() == ["H000", "H002"]
    assert told.groups["homes"].tolist() == [2]


def test_where_none_is_told_there_are_no_rows():
    told = funnel(mixed([0.5]).assign(not_computed=ALONE), SPREAD)
    assert told.homes.empty and told.groups.empty
    assert "differs" in told.homes and "dispersion" in told.groups


def test_each_measure_has_its_own_funnel():
    told = funnel(pd.concat([mixed([0.5, 0.6]), mixed([0.2, 0.3], measure=EARLY, middle=0.25)]), SPREAD)
    assert told.groups["group_share"].tolist() == [0.5, 0.25]
    assert told.homes["measure"].tolist() == [CLOSED, CLOSED, EARLY, EARLY]


def test_of_few_facilities_the_spread_is_the_plans():
    """Spread and error are both 5 points: half of the distance is believed."""
    frame = mixed([0.6, 0.5], wounds=100, error=0.05, middle=0.5, residents=10_000)
    told = funnel(frame, 5.0)
    assert np.isnan(told.groups["dispersion"][0]) and np.isnan(told.groups["between"][0])
    assert told.homes["drawn_share"][0] == pytest.approx(0.55, abs=0.002)
    assert funnel(frame, 20.0).homes["drawn_share"][0] > 0.59


def test_a_spread_beyond_chance_widens_the_limits_and_one_within_does_not():
    random = np.random.default_rng(11)
    wide = funnel(mixed(random.normal(0.5, 0.16, 40).clip(0.05, 0.95), wounds=60), SPREAD)
    narrow = [funnel(mixed(random.binomial(60, 0.5, 40) / 60, wounds=60), SPREAD) for _ in range(40)]
    assert wide.groups["between"][0] == pytest.approx(100 * np.sqrt(0.16**2 - 0.25 / 60), abs=5)
    assert np.mean([one.groups["between"][0] == 0 for one in narrow]) >= 0.85  # 95 of 100 should be
    straight = next(one for one in narrow if one.groups["between"][0] == 0)
    assert wide.homes["high_998"].min() > straight.homes["high_998"].max() + 0.1


# --- how often chance is taken for a difference, and what lies in the ranges ---


def invented(random, facilities, people, middle, between=0.0, alike=0.5, far=()):
    """Facilities whose residents have one or two wounds, of which the second mostly does as the first; true shares."""
    truth = np.sin(np.clip(np.arcsin(np.sqrt(middle)) + random.normal(0, between, facilities), 0, np.pi / 2)) ** 2
    truth[: len(far)] = far
    rows = []
    for share in truth:
        first = random.random(people) < share
        second = np.where(random.random(people) < alike, first, random.random(people) < share)
        two = random.random(people) < 0.4
        closed, wounds = first + np.where(two, second, 0), 1 + two
        observed = closed.sum() / wounds.sum()
        error = np.sqrt(((closed - observed * wounds) ** 2).sum()) / wounds.sum()  # of a ratio, over whole residents
        rows.append((observed, error, wounds.sum()))
    observed, error, wounds = map(np.array, zip(*rows, strict=True))
    frame = mixed(observed, wounds=wounds, error=error, middle=middle, residents=people)
    return frame, truth


def test_chance_alone_is_hardly_ever_taken_for_a_difference():
    """120 groups of 40 facilities that do not differ: 4,800 of which 2 in 1,000 should be named."""
    random = np.random.default_rng(2005)
    named = [
        (funnel(invented(random, 40, people, 0.45)[0], SPREAD).homes["differs"] != "").mean()
        for people in (20, 35, 60) for _ in range(40)
    ]  # fmt: skip
    assert 0.0005 < np.mean(named) < 0.01


def test_wounds_of_one_resident_taken_as_independent_would_name_more():
    random = np.random.default_rng(2006)
    plain, drawn = [], []
    for _ in range(150):
        frame, _ = invented(random, 9, 30, 0.45, alike=1.0)  # of nine the limits are those of chance alone
        independent = np.sqrt(frame["standardized"] * (1 - frame["standardized"]) / frame["wounds"])
        drawn.append((funnel(frame, SPREAD).homes["strays"].abs() > WIDTHS["95"]).mean())
        plain.append((funnel(frame.assign(error=independent), SPREAD).homes["strays"].abs() > WIDTHS["95"]).mean())
    assert np.mean(drawn) == pytest.approx(0.05, abs=0.02)
    assert np.mean(plain) > np.mean(drawn) + 0.03


def test_two_planted_facilities_are_found_among_forty():
    random = np.random.default_rng(8)
    found = [funnel(invented(random, 40, 60, 0.45, far=(0.85, 0.1))[0], SPREAD).homes for _ in range(20)]
    hit = np.array([own["differs"].iloc[:2].tolist() == [MORE, FEWER] for own in found])
    others = np.concatenate([own["differs"].iloc[2:] != "" for own in found])
    assert hit.mean() >= 0.9
    assert others.mean() < 0.01


@pytest.mark.parametrize("between", [0.0, 0.06, 0.12])
def test_ranges_of_shares_drawn_in_hold_the_truth(between):
    """60 groups of 40; the truth lies in 95% of them where facilities spread, in more where they do not."""
    random = np.random.default_rng(1995)
    held = []
    for _ in range(60):
        frame, truth = invented(random, 40, 40, 0.45, between=between)
        own = funnel(frame, SPREAD).homes
        held.append(((own["drawn_low"] <= truth) & (truth <= own["drawn_high"])).mean())
    assert 0.93 < np.mean(held) <= 1


def test_shares_drawn_in_lie_nearer_the_truth_than_those_that_are_not():
    random = np.random.default_rng(13)
    off, drawn = [], []
    for _ in range(30):
        frame, truth = invented(random, 40, 25, 0.45, between=0.06)
        own = funnel(frame, SPREAD).homes
        off.append(np.mean((own["standardized"] - truth) ** 2))
        drawn.append(np.mean((own["drawn_share"] - truth) ** 2))
    assert np.mean(drawn) < 0.6 * np.mean(off)


def test_the_error_of_case_mix_is_what_the_limits_need():
    """Twelve facilities alike: the error is that of a share of 30 less that of all 360, by the draws of residents."""
    parts = [cohort(SHUT * 12 + OPENED * 18, f"H{number:02}") for number in range(12)]
    episodes = pd.concat(parts, ignore_index=True)
    onsets = pd.DataFrame({"wound": episodes["wound"], "onset": pd.array([pd.NA] * len(episodes), dtype="Int64")})
    told = case_mix(episodes, NO_SIZES, onsets, plan_of(), (), draws=400)
    told = told[told["measure"] == CLOSED]
    independent = np.sqrt(0.4 * 0.6 / 30 * 11 / 12)
    assert told["error"].mean() == pytest.approx(independent, rel=0.05)
    assert (funnel(told, SPREAD).homes["differs"] == "").all()


# --- facilities set aside from the comparison ---


def test_facilities_where_all_or_none_started_are_told_with_why():
    rows = [("Alder", "laser"), ("Alder", ""), ("Birch", ""), ("Birch", ""), ("Cedar", "laser"), ("Cedar", "laser")]
    rows = [*((*row, "") for row in rows), ("Dune", "laser", "not measured in that week")]
    weeks = pd.DataFrame(rows, columns=["facility", "starts", "reason"]).assign(before=True, ends=100)
    told = one_sided(weeks, ("Elm", "Dune", "Cedar", "Birch", "Alder"), plan_of("safe_harbor"), 84)
    assert told.values.tolist() == [
        ["Birch", NONE_STARTED], ["Cedar", ALL_STARTED], ["Dune", NONE_COULD], ["Elm", NONE_STARTED],
    ]  # fmt: skip


def test_weeks_that_are_no_trials_do_not_count():
    rows = [("Alder", "laser", ""), ("Alder", "", "not measured in that week")]
    weeks = pd.DataFrame(rows, columns=["facility", "starts", "reason"]).assign(before=True, ends=100)
    told = one_sided(weeks, ("Alder",), plan_of("safe_harbor"), 84)
    assert told.values.tolist() == [["Alder", ALL_STARTED]]


def test_the_angle_of_a_half_is_45_degrees_and_its_error_falls_with_the_root_of_wounds():
    assert angle(np.array([0.5]), np.array([7.0]))[0] == pytest.approx(np.pi / 4, abs=EXACT)
    assert angle_error(np.array([24.5]))[0] == pytest.approx(0.1, abs=EXACT)
