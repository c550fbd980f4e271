"""Predicted effects and degrees of freedom against the covariance of all rows written out, and closed forms.

R's are in test_mixed_models_reference.
"""

from dataclasses import astuple
from functools import cache

import numpy as np
import pytest

from kit.trajectories.engine import Fit, fit_nested
from kit.trajectories.inference import Predicted, predicted, satterthwaite
from kit.trajectories.sums import Rows, nested
from tests.nested_rows import MODELS, SAME, Model, rows_of, table_of
from tests.slow_mixed_model import (
    Dense,
    Spreads,
    Table,
    dense,
    dense_deviance,
    effects_of,
    spreads_at,
    without_columns,
)

NUMERIC = 2e-3  # relative: second differences of a deviance of a hundred, over steps of a thousandth
CLOSED_FORM = 1e-4  # relative: degrees of freedom hang on the covariances, found to 1e-5 of their errors, and steps
of_every = pytest.mark.parametrize("model", MODELS, ids=str)
of_slopes = pytest.mark.parametrize("model", [model for model in MODELS if model.slopes], ids=str)
by_both = pytest.mark.parametrize("reml", [True, False], ids=["REML", "ML"])


@cache
def fitted(model: Model, reml: bool = True) -> tuple[Table, Rows, Fit, Spreads, Dense]:
    """A fit, and what the covariance written out says at the spreads that it found."""
    table, rows = table_of(model), rows_of(table_of(model), model.walk)
    fit = fit_nested(rows, reml)
    spreads = spreads_at(fit.theta, rows.week_unit, model.walk)
    return table, rows, fit, spreads, dense(table, spreads)


def slow_effects(model: Model, kind: str, names: np.ndarray) -> np.ndarray:
    """G Z' V^-1 (y - X beta), effect by effect."""
    table, _, _, spreads, slow = fitted(model)
    return np.array([effects_of(table, spreads, kind, name) @ slow.inverse @ slow.residuals for name in names])


@cache
def found_for(model: Model) -> Predicted:
    _, rows, fit, _, _ = fitted(model)
    return predicted(rows, fit)


# --- predicted effects ---


@of_every
def test_effects_of_wounds_are_those_of_the_covariance_written_out(model):
    rows = fitted(model)[1]
    slow = slow_effects(model, "wound", rows.wounds)
    assert np.abs(slow[:, 0]).max() > 0.05
    assert found_for(model).wound == pytest.approx(slow, abs=SAME * np.abs(slow).max())
    assert bool(found_for(model).wound[:, 1].any()) == model.slopes


@of_every
def test_effects_of_residents_and_facilities_are_those_of_the_covariance_written_out(model):
    rows, found = fitted(model)[1], found_for(model)
    for kind, names, effects in (
        ("resident", rows.residents, found.resident),
        ("facility", rows.facilities, found.facility),
    ):
        if kind in model.above:
            assert effects == pytest.approx(slow_effects(model, kind, names)[:, 0], rel=SAME, abs=SAME), kind
        else:
            assert not effects.any(), kind


@of_every
def test_variances_of_effects_given_the_estimates(model):
    """G - G Z' V^-1 Z G, wound by wound."""
    table, rows, fit, spreads, slow = fitted(model)
    own = np.array([[spreads.intercept, spreads.both], [spreads.both, spreads.slope]])
    expected = [
        own - together @ slow.inverse @ together.T
        for together in (effects_of(table, spreads, "wound", name) for name in rows.wounds)
    ]
    largest = np.abs(expected).max() * fit.residual_sd**2
    assert found_for(model).wound_variance == pytest.approx(
        np.array(expected) * fit.residual_sd**2, rel=SAME, abs=SAME * largest
    )


@of_slopes
def test_error_of_a_slope_counts_that_the_coefficients_are_estimated(model):
    """G - G Z' P Z G (Henderson 1975), P the inverse covariance less what the coefficients take."""
    table, rows, fit, spreads, slow = fitted(model)
    left = without_columns(table, slow)
    slopes = [effects_of(table, spreads, "wound", name)[1] for name in rows.wounds]
    expected = [fit.residual_sd * np.sqrt(spreads.slope - slope @ left @ slope) for slope in slopes]
    found = found_for(model)
    assert found.slope_error == pytest.approx(expected, rel=SAME)
    assert (found.slope_error > np.sqrt(found.wound_variance[:, 1, 1])).all()


def test_without_weeks_no_slope_has_an_error():
    assert not found_for(MODELS[0]).slope_error.any()


def test_effects_shrink_to_nought_where_wounds_do_not_differ():
    # Three groups of four, all with the mean 10: the spread is nought.
    rows = nested([8, 9, 11, 12, 9, 9, 11, 11, 7, 9, 11, 13], np.ones((12, 1)), None, np.repeat(["a", "b", "c"], 4))
    found = predicted(rows, fit_nested(rows))
    assert not found.wound.any() and not found.wound_variance.any()


# --- degrees of freedom, written out ---


def relative(parts: np.ndarray, walk: float) -> Spreads:
    """`parts`: variances and covariances in the order of Spreads, and last that of residuals."""
    return Spreads(*(parts[:5] / parts[5]), walk=walk)


def variance_at(parts: np.ndarray, model: Model, contrast: np.ndarray) -> float:
    return parts[5] * contrast @ dense(table_of(model), relative(parts, model.walk)).errors @ contrast


def deviance_at(parts: np.ndarray, model: Model, reml: bool) -> float:
    return dense_deviance(table_of(model), relative(parts, model.walk), reml, parts[5])


def written_out(model: Model, reml: bool, contrast: np.ndarray) -> float:
    """Satterthwaite's degrees of freedom, by differences of the slow deviance in variances, not in their roots.

    At the peak they do not hang on how the covariance is told.
    """
    _, _, fit, spreads, _ = fitted(model, reml)
    parts = fit.residual_sd**2 * np.array([*astuple(spreads)[:5], 1.0])
    sizes = np.where(np.arange(6) == 1, np.sqrt(parts[0] * parts[2]), parts)
    steps = 1e-3 * np.diag(sizes)[sizes > 0]
    corners = [[[parts + one * i + other * j for one, other in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
                for j in steps] for i in steps]  # fmt: skip
    told = np.array([[[deviance_at(corner, model, reml) for corner in four] for four in line] for line in corners])
    bends = told @ [1, -1, -1, 1] / 4
    turned = [variance_at(parts + i, model, contrast) - variance_at(parts - i, model, contrast) for i in steps]
    spread = np.array(turned) / 2 @ (2 * np.linalg.inv(bends)) @ np.array(turned) / 2
    return 2 * variance_at(parts, model, contrast) ** 2 / spread


# Of mean, week and what differs between residents; of the predicted value at week 4 beside that at week 0.
CONTRASTS = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1], [1, 4, 0.5, 0], [0, 4, 0, 0]])


@by_both
@of_every
def test_degrees_of_freedom_are_those_of_the_slow_deviance(model, reml):
    _, rows, fit, _, _ = fitted(model, reml)
    expected = [written_out(model, reml, contrast) for contrast in CONTRASTS]
    assert satterthwaite(rows, fit, CONTRASTS) == pytest.approx(expected, rel=NUMERIC)


@of_every
def test_without_contrasts_each_coefficient_is_one(model):
    _, rows, fit, _, _ = fitted(model)
    assert satterthwaite(rows, fit) == pytest.approx(satterthwaite(rows, fit, np.eye(4)), rel=1e-12)


@of_every
def test_a_contrast_has_the_degrees_of_freedom_of_its_multiples(model):
    _, rows, fit, _, _ = fitted(model)
    sizes = np.array([[2.0], [-1.0], [0.01], [100.0], [-7.0]])
    assert satterthwaite(rows, fit, CONTRASTS * sizes) == pytest.approx(satterthwaite(rows, fit, CONTRASTS), rel=SAME)


# --- degrees of freedom, closed forms of balanced rows ---


def balanced(groups: int, each: int, seed: int = 2) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A response that varies between groups, in its slope too, the week, and the group of each row."""
    chance = np.random.default_rng(seed)
    group, week = np.repeat(np.arange(groups), each), np.tile(np.arange(each, dtype=float), groups)
    slopes = 0.5 * chance.normal(size=groups)[group] * week
    return 3 + 2 * chance.normal(size=groups)[group] + slopes + 0.5 * chance.normal(size=len(week)), week, group


def degrees(y: np.ndarray, columns: list[np.ndarray], week: np.ndarray | None, *labels: np.ndarray) -> np.ndarray:
    rows = nested(y, np.column_stack([np.ones(len(y)), *columns]), week, *labels)
    fit = fit_nested(rows)
    assert fit.converged and not fit.singular
    return satterthwaite(rows, fit)


@pytest.mark.parametrize("groups", [2, 5, 9])
def test_the_mean_of_balanced_groups_has_one_fewer_than_the_groups(groups):
    y, _, group = balanced(groups, 4)
    assert degrees(y, [], None, group) == pytest.approx([groups - 1], rel=CLOSED_FORM)


def test_two_kinds_of_groups_have_two_fewer_than_the_groups():
    y, _, group = balanced(9, 4)
    kind = (group >= 4).astype(float)
    # The mean of the first kind is of four groups, but its variance is told by all nine.
    assert degrees(y, [kind], None, group) == pytest.approx([7, 7], rel=CLOSED_FORM)


def test_one_slope_of_all_groups_is_told_by_the_rows_within_them():
    y, week, group = balanced(6, 5)
    # 30 rows less 6 groups less the slope; the mean at week 2, in the middle, is that of balanced groups.
    assert degrees(y, [week - 2], None, group) == pytest.approx([6 - 1, 30 - 6 - 1], rel=CLOSED_FORM)


def test_slopes_of_their_own_leave_one_fewer_than_the_groups():
    # Each group's line is one draw of two numbers; their covariance is that of six pairs.
    y, week, group = balanced(6, 5)
    assert degrees(y, [week], week, group) == pytest.approx([5, 5], rel=CLOSED_FORM)


def test_the_mean_of_balanced_residents_with_balanced_wounds_has_one_fewer_than_the_residents():
    chance = np.random.default_rng(5)
    resident, wound = np.repeat(np.arange(7), 6), np.repeat(np.arange(21), 2)
    y = 2 * chance.normal(size=7)[resident] + chance.normal(size=21)[wound] + 0.3 * chance.normal(size=42)
    assert degrees(y, [], None, wound, resident) == pytest.approx([7 - 1], rel=CLOSED_FORM)
