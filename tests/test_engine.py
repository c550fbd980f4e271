"""The fast likelihood of nested rows against the covariance of all rows written out.

The covariance written out is tests/slow_mixed_model.py; R and statsmodels are in test_mixed_models_reference.
"""

import numpy as np
import pytest

from kit.trajectories.engine import fit_nested
from kit.trajectories.likelihood import gradient, levels, solved
from tests.nested_rows import (
    MODELS,
    OF_DEVIANCE,
    SAME,
    SLOPE,
    THETAS,
    differences,
    fast_deviance,
    rows_of,
    table_of,
    theta_of,
)
from tests.slow_mixed_model import dense, dense_deviance, spreads_at

of_every = pytest.mark.parametrize("model", MODELS, ids=str)
at_each = pytest.mark.parametrize("where", THETAS)
by_both = pytest.mark.parametrize("reml", [True, False], ids=["REML", "ML"])


# --- the likelihood at given covariances ---


@of_every
def test_rows_tell_the_parts_that_the_model_has(model):
    assert list(rows_of(table_of(model), model.walk).free) == model.free


@at_each
@of_every
def test_coefficients_and_what_is_left_over_are_those_of_the_covariance_written_out(model, where):
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    theta = theta_of(model, where)
    found, slow = solved(rows, levels(rows, theta)), dense(table, spreads_at(theta, rows.week_unit, model.walk))
    assert rows.ordinary + found.beta == pytest.approx(slow.beta, rel=SAME)
    assert found.inverse == pytest.approx(slow.errors, rel=SAME, abs=SAME * np.abs(slow.errors).max())
    assert found.left_over == pytest.approx(slow.left_over, rel=SAME)
    assert levels(rows, theta).log_det == pytest.approx(slow.log_det, rel=SAME)


@by_both
@at_each
@of_every
def test_deviance_is_that_of_the_covariance_written_out(model, where, reml):
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    theta = theta_of(model, where)
    slow = dense_deviance(table, spreads_at(theta, rows.week_unit, model.walk), reml)
    assert fast_deviance(rows, theta, reml) == pytest.approx(slow, rel=SAME)


@by_both
@pytest.mark.parametrize("where", ["middle", "contrary slopes"])
@pytest.mark.parametrize("model", [model for model in MODELS if model.above], ids=str)
def test_gradient_is_the_slope_of_the_slow_deviance(model, where, reml):
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    theta = theta_of(model, where)
    at = levels(rows, theta)
    found = solved(rows, at)
    per_square = (len(table.y) - rows.columns * reml) / found.left_over
    free = np.array(model.free)  # no slope by a part the rows do not know is asked for
    expected = differences(table, rows, theta, reml, model.walk)[free]
    assert np.abs(expected).max() > 1
    assert gradient(rows, at, found, reml, per_square)[free] == pytest.approx(
        expected, abs=SLOPE * np.abs(expected).max()
    )


@by_both
def test_gradient_at_a_given_residual_variance_is_the_slope_there(reml):
    model = MODELS[-1]
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    theta, variance = theta_of(model, "middle"), 0.37
    at = levels(rows, theta)
    expected = differences(table, rows, theta, reml, model.walk, variance)
    found = gradient(rows, at, solved(rows, at), reml, 1 / variance)
    assert found == pytest.approx(expected, abs=SLOPE * np.abs(expected).max())


@of_every
def test_no_covariances_near_those_of_a_fit_are_better(model):
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    fit = fit_nested(rows)
    steps = 0.02 * np.eye(5)[model.free]
    there = dense_deviance(table, spreads_at(fit.theta, rows.week_unit, model.walk), True)
    assert fit.deviance == pytest.approx(there, rel=SAME)
    for step in [*steps, *-steps]:
        near = dense_deviance(table, spreads_at(fit.theta + step, rows.week_unit, model.walk), True)
        assert near > there - OF_DEVIANCE
