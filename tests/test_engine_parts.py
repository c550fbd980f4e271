"""Fits of rows in which residents count differently, of some of the rows, and searches that begin elsewhere."""

from dataclasses import replace

import numpy as np
import pytest

from kit.healing.resampling import resident_draws
from kit.trajectories import engine
from kit.trajectories.engine import Fit, among, fit_nested, with_slope_spread
from kit.trajectories.likelihood import gradient, levels, solved
from kit.trajectories.models import FIRST, WALKS, walked
from kit.trajectories.models import drawn as drawn_of
from kit.trajectories.sums import Rows, counted, crosses, nested, some
from tests.nested_rows import (
    MODELS,
    OF_DEVIANCE,
    OF_SPREADS,
    SAME,
    SLOPE,
    THETAS,
    Model,
    copied,
    differences,
    fast_deviance,
    fits_are_one,
    invented,
    rows_of,
    table_of,
    theta_of,
)
from tests.slow_mixed_model import Table

OF_WALKS = 1e-3  # standard errors: where facilities differ by next to nothing, their part is flat about its peak
OF_DRAWS = 0.1  # standard errors: of thirty residents, where a part near nought is flat about its peak

by_both = pytest.mark.parametrize("reml", [True, False], ids=["REML", "ML"])

# --- how often residents count ---


COUNTS = {
    "each once": [1] * 12,
    "some twice, some thrice": [1, 2, 3] * 4,
    "some never": [2, 0, 1, 1, 1, 0, 3, 1, 0, 2, 1, 1],
    "a facility never": [1, 2, 1, 0, 0, 0, 2, 2, 1, 1, 1, 3],
}
of_counts = pytest.mark.parametrize("case", COUNTS)
NESTED = [Model(above, True, walk) for above in (("resident",), ("resident", "facility")) for walk in (0, 0.3)]


def drawn(model: Model, case: str) -> tuple[Rows, np.ndarray, Table, Rows]:
    """The rows and their counts, and the same with residents copied under new names."""
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    again = copied(table, dict(zip(rows.residents, COUNTS[case], strict=True)))
    return rows, np.array(COUNTS[case], dtype=float), again, rows_of(again, model.walk)


@by_both
@of_counts
@pytest.mark.parametrize("model", NESTED, ids=str)
def test_likelihood_with_counts_is_that_of_residents_copied_under_new_names(model, case, reml):
    rows, counts, _, again = drawn(model, case)
    theta = theta_of(model, "middle")
    unit = again.week_unit / rows.week_unit  # the copies' weeks have another root mean square
    same = theta * [1, unit, unit, 1, 1]
    assert fast_deviance(rows, theta, reml, counts) == pytest.approx(fast_deviance(again, same, reml), rel=SAME)


@by_both
@of_counts
def test_gradient_with_counts_is_the_slope_of_the_slow_deviance_of_the_copies(case, reml):
    model = Model(("resident", "facility"), True)
    rows, counts, table, _ = drawn(model, case)
    theta = theta_of(model, "contrary slopes")
    at = levels(rows, theta, counts)
    found = solved(rows, at)
    per_square = (len(table.y) - rows.columns * reml) / found.left_over
    expected = differences(table, rows, theta, reml, model.walk)
    assert gradient(rows, at, found, reml, per_square) == pytest.approx(expected, abs=SLOPE * np.abs(expected).max())


@of_counts
@pytest.mark.parametrize("model", NESTED, ids=str)
def test_fit_with_counts_is_the_fit_of_residents_copied_under_new_names(model, case):
    rows, counts, _, again = drawn(model, case)
    fits_are_one(fit_nested(rows, counts=counts), fit_nested(again))


def test_products_of_residents_are_of_their_own_rows_and_add_up_to_those_of_all():
    rows = rows_of(table_of(MODELS[-1]))
    own = rows.table[np.repeat(rows.owner, np.diff(np.append(rows.row_from, len(rows.table)))) == 3]
    assert rows.own_cross[3] == pytest.approx((own.T @ own).ravel(), rel=SAME, abs=SAME)
    assert rows.own_cross.sum(axis=0) == pytest.approx(rows.cross.ravel(), rel=SAME, abs=SAME)


@pytest.mark.parametrize("reml", [True, False], ids=["REML", "ML"])
def test_a_column_of_residents_who_are_not_drawn_leaves_the_others_as_if_it_were_not_there(reml):
    table, counts = invented(), np.array([0, 1, 2, 1, 1, 2, 1, 1, 1, 3, 1, 1])
    theirs = (table.resident == "f0r0").astype(float)
    labels = (table.week, table.wound, table.resident, table.facility)
    fit = fit_nested(nested(table.y, np.column_stack([table.x, theirs]), *labels), reml, counts)
    without = fit_nested(rows_of(table), reml, counts)
    assert fit.residual_sd == pytest.approx(without.residual_sd, rel=OF_SPREADS)
    assert fit.errors[:4] == pytest.approx(without.errors, rel=OF_SPREADS)
    assert (fit.beta[:4] - without.beta) / without.errors == pytest.approx(np.zeros(4), abs=OF_SPREADS)


def test_a_column_of_residents_who_are_not_drawn_is_not_counted():
    table, counts = invented(), np.array([0, *[1] * 11], dtype=float)
    theirs = (table.resident == "f0r0").astype(float)
    rows = nested(table.y, np.column_stack([table.x, theirs]), table.week, table.wound, table.resident, table.facility)
    theta = np.array(THETAS["middle"])
    assert (levels(rows, theta).columns, levels(rows, theta, counts).columns) == (5, 4)
    assert levels(rows, theta, np.ones(12)).columns == 5


# --- a given spread of slopes ---


def given_level(fit: Fit) -> float:
    """The standard deviation of slopes among wounds of one level, as a fit has it."""
    (level, both), (_, slope) = fit.wound_covariance
    return np.sqrt(slope - both**2 / level)


def test_at_the_spread_of_slopes_that_was_fitted_the_model_is_the_one_fitted():
    rows = rows_of(invented(facilities=10))
    fit = fit_nested(rows)
    fits_are_one(with_slope_spread(rows, fit, given_level(fit)), fit)


@pytest.mark.parametrize("times", [0.0, 0.5, 2.0])
def test_another_spread_of_slopes_costs_deviance_and_changes_no_other_part(times):
    rows = rows_of(invented(facilities=10))
    fit = fit_nested(rows)
    other = with_slope_spread(rows, fit, times * given_level(fit))
    assert other.deviance > fit.deviance + 0.1
    assert other.theta[[0, 1, 3, 4]].tolist() == fit.theta[[0, 1, 3, 4]].tolist()
    assert other.theta[2] == pytest.approx(times * fit.theta[2], rel=OF_SPREADS)


# --- some of the residents, and where a search begins ---


@pytest.mark.parametrize("residents", [2, 5, 12])
@pytest.mark.parametrize("walk", [0.0, 0.3])
def test_some_are_the_rows_of_those_residents(residents, walk):
    table, rows = table_of(MODELS[-1]), rows_of(table_of(MODELS[-1]), walk)
    part = some(rows, residents)
    assert len(part.residents) == residents and set(part.residents) <= set(rows.residents)
    own = rows_of(table.at(np.isin(table.resident, part.residents)), walk)
    for name in ("wounds", "residents", "facilities", "wound_from", "resident_from", "row_from", "owner", "home"):
        assert list(getattr(part, name)) == list(getattr(own, name)), name
    assert part.whitening == pytest.approx(own.whitening, rel=1e-12)
    assert part.table[:, :4] == pytest.approx(own.table[:, :4], rel=1e-12)
    theta, unit = np.array(THETAS["middle"]), own.week_unit / rows.week_unit
    same = theta * [1, unit, unit, 1, 1]
    assert fast_deviance(part, theta, False) == pytest.approx(fast_deviance(own, same, False), rel=SAME)


@by_both
def test_a_large_fit_begins_from_a_sample_and_ends_where_it_would_have(monkeypatch, reml):
    table = invented(seed=5, facilities=10)
    at_once, asked = fit_nested(rows_of(table), reml), []
    monkeypatch.setattr(engine, "SAMPLE", 9)
    monkeypatch.setattr(engine, "some", lambda rows, residents: asked.append(residents) or some(rows, residents))
    fits_are_one(fit_nested(rows_of(table), reml), at_once)
    assert asked == [9]  # of 30 residents: nine are sampled once, and not sampled again


def test_a_fit_that_begins_at_another_ends_where_it_would_have():
    rows, other = rows_of(invented(seed=5, facilities=10)), rows_of(invented(seed=6, facilities=10))
    fits_are_one(fit_nested(rows, like=fit_nested(other)), fit_nested(rows))


def test_a_column_that_is_nought_in_the_sample_does_not_stop_a_large_fit(monkeypatch):
    table = invented(seed=5, facilities=10)
    rare = (table.resident == np.unique(table.resident)[1]).astype(float)
    rows = nested(table.y, np.column_stack([table.x, rare]), table.week, table.wound, table.resident)
    assert "f0r1" not in some(rows, 9).residents
    at_once = fit_nested(rows)
    monkeypatch.setattr(engine, "SAMPLE", 9)
    fits_are_one(fit_nested(rows), at_once)


# --- walks ---


def test_each_walk_tried_has_the_rows_and_the_fit_it_would_have_alone():
    table, tried = invented(seed=5, facilities=10), []
    for walk, rows, fit in walked(rows_of(table)):
        alone = rows_of(table, walk)
        np.testing.assert_array_equal(rows.table, alone.table)
        np.testing.assert_array_equal(rows.whitening, alone.whitening)
        found = fit_nested(alone)
        assert fit.deviance == pytest.approx(found.deviance, abs=OF_DEVIANCE)
        assert (fit.beta - found.beta) / found.errors == pytest.approx(np.zeros(4), abs=OF_WALKS)
        tried.append(walk)
    assert tuple(tried) == WALKS


# --- draws ---


def test_products_made_for_all_draws_at_once_are_those_of_each():
    rows, counts = rows_of(invented()), np.array(list(COUNTS.values()), dtype=float).T
    at_once = crosses(rows, counts)
    assert at_once == pytest.approx(np.array([counted(rows, each).cross for each in counts.T]), rel=SAME)
    known = fit_nested(rows, counts=counts[:, 1], cross=at_once[1])
    fits_are_one(known, fit_nested(rows, counts=counts[:, 1]))
    assert fit_nested(rows, counts=counts[:, 1], cross=2 * at_once[1]).residual_sd > 1.1 * known.residual_sd


def test_each_draw_has_the_coefficients_of_its_own_peak():
    rows = rows_of(invented(facilities=10))
    fit, counts = fit_nested(rows), resident_draws(rows.residents, 20, 1)
    found = drawn_of(rows, fit, counts)
    alone = [fit_nested(rows, counts=each) for each in counts.T]
    apart = (found - [each.beta for each in alone]) / fit.errors
    assert np.abs(apart).max() < OF_DRAWS
    assert np.abs((found - fit.beta) / fit.errors).max() > 10 * OF_DRAWS  # they differ from the whole by far more


def test_draws_are_the_same_where_fewer_or_more_than_the_first_are_asked_for():
    rows = rows_of(invented(facilities=10))
    fit, counts = fit_nested(rows), resident_draws(rows.residents, FIRST + 1, 1)
    few, all_of_them = (drawn_of(rows, fit, counts[:, :many]) for many in (FIRST - 1, FIRST + 1))
    np.testing.assert_array_equal(few, all_of_them[: FIRST - 1])
    assert drawn_of(rows, fit, counts[:, :0]).shape == (0, rows.columns)


def test_a_fit_among_others_has_their_middle_and_the_curvature_of_the_rows_there():
    rows = rows_of(invented(seed=5, facilities=10))
    fit = fit_nested(rows)
    between = among(rows, [replace(fit, theta=fit.theta + apart) for apart in (-0.01, 0.01)], [counted(rows)])
    assert between.theta == pytest.approx(fit.theta, rel=SAME)

    def share(step: np.ndarray) -> float:
        return fast_deviance(rows, fit.theta + step, True) / len(rows.wounds)

    steps = 1e-3 * np.eye(5)
    bends = [(share(step) + share(-step) - 2 * share(0)) / 1e-6 for step in steps]
    assert np.diag(np.linalg.inv(between.bent)) == pytest.approx(bends, rel=1e-2)  # a step to one side is too steep
    twice = counted(rows, np.full(len(rows.residents), 2.0))
    steeper = among(rows, [fit], [counted(rows), twice])
    assert np.linalg.inv(steeper.bent)[0, 0] > 1.2 * np.linalg.inv(between.bent)[0, 0]


def test_where_rows_do_not_bend_upwards_on_all_sides_the_curvature_of_the_first_fit_stays():
    rows = rows_of(invented(seed=5, facilities=10))
    fit = fit_nested(rows)
    far = replace(fit, theta=fit.theta * 8)
    np.testing.assert_array_equal(among(rows, [far], [counted(rows)]).bent, fit.bent)
