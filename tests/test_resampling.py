"""Draws of whole residents."""

import numpy as np
import pytest
from scipy.stats import norm
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from kit.healing.resampling import (
    Z,
    correlation,
    day_limits,
    difference_limits,
    resident_draws,
    share_limits,
    simultaneous,
    widened,
)

RESIDENTS = np.array(["R1", "R1", "R2", "R3", "R3", "R3"])


def test_all_wounds_of_a_resident_are_drawn_alike():
    counts = resident_draws(RESIDENTS, draws=200)
    assert (counts[0] == counts[1]).all()
    assert (counts[3] == counts[4]).all() and (counts[4] == counts[5]).all()


def test_every_draw_takes_as_many_residents_as_there_are():
    counts = resident_draws(RESIDENTS, draws=200)
    assert (counts[[0, 2, 3]].sum(axis=0) == 3).all()


def test_the_same_seed_draws_the_same():
    assert (resident_draws(RESIDENTS, 50, seed=1) == resident_draws(RESIDENTS, 50, seed=1)).all()
    assert (resident_draws(RESIDENTS, 50, seed=1) != resident_draws(RESIDENTS, 50, seed=2)).any()


def test_the_order_of_rows_does_not_change_who_is_drawn():
    order = np.array([5, 2, 0, 4, 1, 3])
    assert (resident_draws(RESIDENTS[order], 50) == resident_draws(RESIDENTS, 50)[order]).all()


def test_the_spread_of_a_resampled_mean_is_that_of_the_residents():
    """A mean over 100 residents of values with standard deviation 1 has error 0.1; 4,000 draws know it to 0.003."""
    values = np.random.default_rng(7).normal(size=100)
    values = (values - values.mean()) / values.std()
    means = values @ resident_draws(np.arange(100).astype(str), draws=4000) / 100
    assert means.std() == pytest.approx(0.1, abs=0.004)


def test_limits_of_independent_wounds_are_those_of_wilson():
    """81 of 263 are 0.2553 to 0.3662 (Newcombe 1998, Stat Med 17:857, table I, from memory; the formula agrees)."""
    closed = np.repeat([1.0, 0.0], [81, 182])
    draws = resident_draws(np.arange(263).astype(str), draws=4000)
    shares = closed @ draws / draws.sum(axis=0)
    low, high = share_limits(np.array(81 / 263), shares, 263)
    assert (low, high) == pytest.approx((0.2553, 0.3662), abs=0.003)


def test_limits_without_any_spread_rest_on_the_number_of_residents():
    """0 of 20 are 0 to 0.1611 in the same table: z^2 / (20 + z^2) = 3.8415 / 23.8415."""
    low, high = share_limits(np.array(0.0), np.zeros(100), 20)
    assert (low, high) == pytest.approx((0, 0.1611), abs=5e-5)


def test_days_that_many_draws_never_reach_have_no_upper_limit():
    draws = np.array([10.0] * 90 + [np.nan] * 10)
    assert day_limits(draws) == (10.0, np.inf)
    assert day_limits(np.arange(1.0, 1001.0)) == (26.0, 975.0)  # the 26th of a thousand is the first beyond 2.5%


# --- limits of shares and of differences ---

PRINTED = 6e-5  # four digits in the paper


def draws_of(*moments: tuple[float, int], together: float = 0.0) -> list[np.ndarray]:
    """Draws of shares whose variance is p (1 - p) / n to the last digit, and that go together as asked.

    Four draws a pair of signs: plus and minus one standard error, alike in a share (1 + together) / 2 of them.
    """
    alike = round(100 * (1 + together))
    first = np.repeat([1.0, -1.0, 1.0, -1.0], [alike, alike, 200 - alike, 200 - alike])
    second = np.repeat([1.0, -1.0, -1.0, 1.0], [alike, alike, 200 - alike, 200 - alike])
    signs = first, second
    return [p + np.sqrt(p * (1 - p) / n) * sign for (p, n), sign in zip(moments, signs, strict=False)]


def limits_of(closed: int, people: int, z: float = Z) -> tuple[float, float]:
    (draws,) = draws_of((closed / people, people))
    low, high = share_limits(np.array(closed / people), draws, people, z)
    return float(low), float(high)


@pytest.mark.parametrize(
    ("closed", "people", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_limits_are_those_published(closed, people, low, high):
    """Newcombe 1998, Stat Med 17:857, table I, method 3, from memory; statsmodels computes the same."""
    assert limits_of(closed, people) == pytest.approx((low, high), abs=PRINTED)
    theirs = proportion_confint(closed, people, method="wilson")
    assert limits_of(closed, people) == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("level", [0.9, 0.99])
def test_other_levels_than_95_percent_have_their_own_z(level):
    z = norm.ppf((1 + level) / 2)
    theirs = proportion_confint(15, 148, alpha=1 - level, method="wilson")
    assert limits_of(15, 148, z) == pytest.approx(theirs, abs=1e-12)


def test_draws_that_vary_twice_as_much_are_worth_half_the_residents():
    (draws,) = draws_of((0.3, 50))
    assert share_limits(np.array(0.3), draws, 100) == pytest.approx(limits_of(15, 50), abs=1e-12)


def test_no_share_is_worth_less_than_one_resident():
    (draws,) = draws_of((0.5, 1))
    wild = 0.5 + 3 * (draws - 0.5)
    assert share_limits(np.array(0.5), wild, 20) == pytest.approx(share_limits(np.array(0.5), draws, 20), abs=1e-12)


def difference_of(first: tuple[int, int], second: tuple[int, int], together: float = 0.0) -> tuple[float, float]:
    shares = first[0] / first[1], second[0] / second[1]
    draws = draws_of((shares[0], first[1]), (shares[1], second[1]), together=together)
    return difference_limits(shares, tuple(draws), (first[1], second[1]))


@pytest.mark.parametrize(
    ("first", "second", "low", "high"),
    [
        ((56, 70), (48, 80), 0.0524, 0.3339),
        ((9, 10), (3, 10), 0.1705, 0.8090),
        ((10, 10), (0, 20), 0.6791, 1.0),
        ((10, 10), (0, 10), 0.6075, 1.0),
    ],
)
def test_limits_of_differences_are_those_published(first, second, low, high):
    """Newcombe 1998, Stat Med 17:873, table II, method 10, from memory; statsmodels computes the same."""
    assert difference_of(first, second) == pytest.approx((low, high), abs=PRINTED)
    theirs = confint_proportions_2indep(*first, *second, method="newcomb", compare="diff")
    assert difference_of(first, second) == pytest.approx(theirs, abs=1e-9)


def test_arms_that_always_move_together_and_alike_differ_for_certain():
    """Two equal arms whose draws are the same: what raises one raises the other as much.

    Exactly at one half, where Wilson's limits lie evenly; elsewhere what they lie unevenly by is left of the width.
    """
    assert difference_of((20, 40), (20, 40), together=1.0) == pytest.approx((0, 0), abs=1e-7)
    low, high = limits_of(12, 40)
    uneven = abs((high - 0.3) - (0.3 - low))
    assert difference_of((12, 40), (12, 40), together=1.0) == pytest.approx((-uneven, uneven), abs=1e-7)
    assert 0.01 < uneven < np.ptp(difference_of((12, 40), (12, 40))) / 5


def test_the_more_arms_go_together_the_narrower_is_the_difference():
    widths = [np.ptp(difference_of((20, 40), (12, 40), together)) for together in (-1.0, -0.5, 0.0, 0.5, 1.0)]
    assert (np.diff(widths) < -0.01).all()


def test_going_together_enters_with_the_limits_that_face_each_other():
    """56/70 and 48/80 with a correlation of 0.5, from Wilson's limits .6916 to .8762 and .4904 to .7004 by hand."""
    down1, up1 = 0.8 - limits_of(56, 70)[0], limits_of(56, 70)[1] - 0.8
    down0, up0 = 0.6 - limits_of(48, 80)[0], limits_of(48, 80)[1] - 0.6
    low = 0.2 - np.sqrt(down1**2 + up0**2 - 2 * 0.5 * down1 * up0)
    high = 0.2 + np.sqrt(up1**2 + down0**2 - 2 * 0.5 * up1 * down0)
    assert difference_of((56, 70), (48, 80), together=0.5) == pytest.approx((low, high), abs=1e-12)
    assert (0.8 - down1, 0.8 + up1, 0.6 - down0, 0.6 + up0) == pytest.approx((0.6916, 0.8762, 0.4904, 0.7004), abs=2e-3)


@pytest.mark.parametrize("together", [-0.5, 0.0, 0.8])
def test_swapping_the_arms_turns_the_limits_round(together):
    low, high = difference_of((20, 40), (9, 50), together)
    assert difference_of((9, 50), (20, 40), together) == pytest.approx((-high, -low), abs=1e-12)


def test_draws_in_which_an_arm_is_empty_are_left_out():
    shares = 0.5, 0.3
    first, second = draws_of((0.5, 40), (0.3, 40), together=0.4)
    whole = difference_limits(shares, (first, second), (40, 40))
    holes = np.append(first, [np.nan, 0.9]), np.append(second, [0.1, np.nan])
    assert difference_limits(shares, holes, (40, 40)) == pytest.approx(whole, abs=1e-12)


def test_correlation_is_that_of_numpy_and_nothing_where_one_never_varies():
    generator = np.random.default_rng(5)
    first = generator.normal(size=500)
    second = 0.6 * first + generator.normal(size=500)
    assert correlation(first, second) == pytest.approx(np.corrcoef(first, second)[0, 1], abs=1e-12)
    assert correlation(first, np.full(500, 0.2)) == 0
    assert correlation(first, 3 - 2 * first) == pytest.approx(-1)


# --- several differences side by side ---

MANY = 200_000  # draws: the 95% point is known to about 0.01


def test_one_difference_alone_has_the_usual_limits():
    assert simultaneous(np.random.default_rng(1).normal(size=(1, 500))) == Z
    assert simultaneous(np.empty((0, 500))) == Z


def test_differences_that_always_move_together_have_the_usual_limits():
    one = np.random.default_rng(2).normal(size=MANY)
    assert simultaneous(np.stack([one, 0.1 + 5 * one, -one])) == pytest.approx(Z, abs=0.02)


@pytest.mark.parametrize(("number", "z"), [(2, 2.2365), (3, 2.3877), (6, 2.6310)])
def test_independent_differences_have_the_limits_of_sidak(number, z):
    """Sidak 1967, J Am Stat Assoc 62:626: each at the level 0.95 to the power of one in `number`."""
    assert norm.ppf((1 + 0.95 ** (1 / number)) / 2) == pytest.approx(z, abs=1e-4)
    found = simultaneous(np.random.default_rng(3).normal(size=(number, MANY)))
    assert found == pytest.approx(z, abs=0.02)


def test_where_and_how_widely_differences_lie_does_not_matter():
    draws = np.random.default_rng(4).normal(size=(3, 2000))
    scaled = np.array([[0.1], [7.0], [1.0]]) * draws + np.array([[5.0], [0.0], [-3.0]])
    assert simultaneous(scaled) == pytest.approx(simultaneous(draws), abs=1e-9)


def test_several_differences_never_have_narrower_limits_than_one():
    """Draws that never stray far: plus and minus one standard error."""
    signs = np.tile([1.0, -1.0], 200)
    assert simultaneous(np.stack([signs, signs])) == Z


def test_a_difference_that_never_varies_and_draws_with_an_empty_arm_are_passed_over():
    draws = np.random.default_rng(6).normal(size=(2, 4000))
    still = np.vstack([draws, np.full((1, 4000), 0.3)])
    assert simultaneous(still) == pytest.approx(simultaneous(draws), abs=1e-12)
    holes = np.hstack([draws, [[np.nan, 50.0], [50.0, np.inf]]])
    assert simultaneous(holes) == pytest.approx(simultaneous(draws), abs=1e-12)


def test_few_people_widen_limits_by_the_t_distribution():
    """Student's t at 97.5% is 2.093 on 19 degrees of freedom (tables), and 12.706 on one."""
    assert widened(Z, 20) == pytest.approx(2.093, abs=5e-4)
    assert widened(2 * Z, 20) == pytest.approx(2 * 2.093, abs=1e-3)
    assert widened(Z, 2) == widened(Z, 1) == pytest.approx(12.706, abs=5e-4)
    assert widened(Z, 10**6) == pytest.approx(Z, abs=1e-5)


def test_where_no_draw_knows_every_difference_the_width_is_that_of_one():
    assert simultaneous(np.array([[0.1, np.nan], [np.nan, 0.2]])) == Z
