"""Several tests together: by hand, against statsmodels, and with what is missing."""

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from kit.bias.holm import holm

EXACT = 1e-12  # the same few products in another order


def test_the_smallest_counts_as_often_as_there_are_tests():
    """0.01 x 3, 0.03 x 2; 0.04 x 1 would fall below the one before it, and is raised to it."""
    assert holm(np.array([0.01, 0.04, 0.03])) == pytest.approx([0.03, 0.06, 0.06], abs=EXACT)


def test_none_goes_beyond_certainty():
    assert holm(np.array([0.6, 0.5, 0.9])) == pytest.approx([1, 1, 1], abs=EXACT)


def test_what_is_missing_is_no_test_and_stays_missing():
    """Two tests remain: 0.01 x 2 and 0.04."""
    found = holm(np.array([np.nan, 0.04, np.nan, 0.01]))
    assert found == pytest.approx([np.nan, 0.04, np.nan, 0.02], abs=EXACT, nan_ok=True)


@pytest.mark.parametrize("p", [[], [np.nan, np.nan]], ids=["none", "all missing"])
def test_without_any_test_there_is_nothing_to_adjust(p):
    found = holm(np.array(p))
    assert len(found) == len(p) and np.isnan(found).all()


@pytest.mark.parametrize("number", range(1, 13))
def test_it_is_what_statsmodels_makes_of_those_that_are_known(number):
    """Small and large chances, some of them alike, and about a fifth missing."""
    rng = np.random.default_rng(number)
    p = np.where(rng.random(number) < 0.2, np.nan, np.round(rng.random(number) ** 4, 2))
    given_as, known = p.copy(), ~np.isnan(p)
    found = holm(p)
    if known.any():
        assert found[known] == pytest.approx(multipletests(p[known], method="holm")[1], abs=EXACT)
    assert np.isnan(found[~known]).all()
    assert np.array_equal(p, given_as, equal_nan=True)
