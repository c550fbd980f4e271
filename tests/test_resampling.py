"""Draws of whole residents."""

import numpy as np
import pytest

from kit.healing.resampling import day_limits, resident_draws, share_limits

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
