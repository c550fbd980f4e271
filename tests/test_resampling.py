"""Draws of whole residents."""

import numpy as np
import pytest

from kit.healing.resampling import percentile_limits, resident_draws

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


def test_percentile_limits_hold_ninety_five_of_a_hundred():
    low, high = percentile_limits(np.arange(1001.0))
    assert (low, high) == pytest.approx((25, 975))
