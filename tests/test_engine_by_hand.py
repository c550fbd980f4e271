"""Nested mixed models of balanced rows, where the analysis of variance has the answer, and against statsmodels.

Where no estimate of the analysis of variance is below nought, restricted maximum likelihood has the same; where one is,
that part is nought and its squares are pooled (Patterson & Thompson 1971, Biometrika 58:545; Thompson 1962, Ann Math
Stat 33:273).
"""

import warnings
from math import log, pi, sqrt

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from kit.trajectories.engine import Fit, fit_nested
from kit.trajectories.inference import predicted, satterthwaite
from kit.trajectories.sums import Rows, nested
from tests.nested_rows import invented

WORKED = 2e-5  # relative: the covariances are found to 1e-5 of their errors
OTHER_PROGRAM = 1e-3  # relative, or in standard errors: statsmodels' optimiser stops early


def means(y: np.ndarray, labels: np.ndarray) -> np.ndarray:
    """Of each row, the mean of its group."""
    return pd.Series(y).groupby(labels).transform("mean").to_numpy()


def mean_squares(y: np.ndarray, *levels: np.ndarray) -> list[float]:
    """Between the groups of each level within those of the level above, from the highest down; last that within."""
    fitted = [np.full(len(y), y.mean()), *(means(y, labels) for labels in levels), y]
    groups = [1, *(len(np.unique(labels)) for labels in levels), len(y)]
    squares = [((inner - outer) ** 2).sum() for outer, inner in zip(fitted, fitted[1:], strict=False)]
    return [each / (inner - outer) for each, outer, inner in zip(squares, groups, groups[1:], strict=False)]


def one_mean(y: np.ndarray, *labels: np.ndarray) -> Rows:
    return nested(y, np.ones((len(y), 1)), None, *labels)


def spreads(fit: Fit) -> list[float]:
    """Variances from facilities down to what is left over."""
    return [fit.facility_sd**2, fit.resident_sd**2, fit.wound_covariance[0, 0], fit.residual_sd**2]


# --- one level ---


def drawn(groups: int, each: int, spread: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    chance = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), each)
    return 4 + spread * chance.normal(size=groups)[group] + chance.normal(size=len(group)), group


@pytest.mark.parametrize(("groups", "each"), [(2, 3), (5, 2), (8, 6), (30, 4)])
def test_balanced_groups_have_the_estimates_of_the_analysis_of_variance(groups, each):
    y, group = drawn(groups, each, 4.0, seed=groups)
    between, within = mean_squares(y, group)
    assert between > within
    fit = fit_nested(one_mean(y, group))
    assert fit.converged and not fit.singular
    assert spreads(fit) == pytest.approx([0, 0, (between - within) / each, within], rel=WORKED)
    assert fit.beta == pytest.approx([y.mean()], rel=1e-9)
    assert fit.errors == pytest.approx([sqrt(between / len(y))], rel=WORKED)


def test_an_estimate_below_nought_is_nought_and_its_squares_are_pooled():
    y, group = drawn(6, 4, 0.0, seed=3)
    between, within = mean_squares(y, group)
    assert between < within
    fit = fit_nested(one_mean(y, group))
    assert fit.converged and fit.singular
    assert spreads(fit) == pytest.approx([0, 0, 0, (5 * between + 18 * within) / 23], rel=WORKED)
    assert fit.errors == pytest.approx([y.std(ddof=1) / sqrt(24)], rel=WORKED)


# --- wounds in residents ---

# Three residents with two wounds of two rows; wounds at 9 and 11, 13 and 17, 18 and 22, rows one above and one below.
# Within wounds 12 squares of 1 over 6 degrees: 2. Between wounds 2 x (1 + 1 + 4 + 4 + 4 + 4) = 36 over 3: 12.
# Between residents at 10, 15 and 20: 4 x (25 + 0 + 25) = 200 over 2: 100.
AT, RESIDENT, WOUND = np.array([9, 11, 13, 17, 18, 22]), np.repeat(["r", "s", "t"], 4), np.repeat(list("abcdef"), 2)
NESTED = np.repeat(AT, 2) + np.tile([-1.0, 1.0], 6)


def test_wounds_in_residents_by_hand():
    assert mean_squares(NESTED, RESIDENT, WOUND) == pytest.approx([100, 12, 2])
    rows = one_mean(NESTED, WOUND, RESIDENT)
    fit = fit_nested(rows)
    assert spreads(fit) == pytest.approx([0, (100 - 12) / 4, (12 - 2) / 2, 2], rel=WORKED)
    assert fit.beta == pytest.approx([15], rel=1e-9)
    assert fit.errors == pytest.approx([sqrt(100 / 12)], rel=WORKED)
    assert satterthwaite(rows, fit) == pytest.approx([3 - 1], rel=1e-4)


def test_criterion_of_wounds_in_residents_by_hand():
    # The covariance has 2 six times, 12 and 100 three times; squares 12/2 + 36/12 + 200/100; for the mean 12/100.
    expected = 11 * log(2 * pi) + 6 * log(2) + 3 * log(12) + 3 * log(100) + 6 + 3 + 2 + log(12 / 100)
    assert fit_nested(one_mean(NESTED, WOUND, RESIDENT)).deviance == pytest.approx(expected, rel=1e-9)


def test_effects_of_wounds_in_residents_by_hand():
    # A resident's distance is shrunk by 22 x 4/100. Of what a wound is from its resident 5 x 2/12 stays, and of what
    # its resident is from all 5 x 2/100.
    found = predicted(one_mean(NESTED, WOUND, RESIDENT), fit_nested(one_mean(NESTED, WOUND, RESIDENT)))
    assert found.resident == pytest.approx([-5 * 0.88, 0, 5 * 0.88], rel=1e-4, abs=1e-9)
    own, theirs = np.array([-1, 1, -2, 2, -2, 2]) * 10 / 12, np.array([-5, -5, 0, 0, 5, 5]) * 10 / 100
    assert found.wound[:, 0] == pytest.approx(own + theirs, rel=1e-4)


def test_wounds_of_a_resident_that_are_all_alike_have_no_spread():
    # Wounds at 10, 15 and 20, two each: 12 squares within over 6 + 3 degrees.
    y = np.repeat([10.0, 15, 20], 4) + np.tile([-1.0, 1.0], 6)
    fit = fit_nested(one_mean(y, WOUND, RESIDENT))
    assert fit.converged and fit.singular
    assert spreads(fit) == pytest.approx([0, (100 - 12 / 9) / 4, 0, 12 / 9], rel=WORKED)


def test_residents_who_differ_less_than_their_wounds_have_no_spread():
    # Wounds at 9 and 21 of every resident: 2 x 6 x 36 = 432 over 3 + 2 degrees between wounds, residents at 15.
    y = np.repeat([9.0, 21, 9, 21, 9, 21], 2) + np.tile([-1.0, 1.0], 6)
    fit = fit_nested(one_mean(y, WOUND, RESIDENT))
    assert fit.converged and fit.singular
    assert spreads(fit) == pytest.approx([0, 0, (432 / 5 - 2) / 2, 2], rel=WORKED)


def test_balanced_rows_on_three_levels_have_the_estimates_of_the_analysis_of_variance():
    chance = np.random.default_rng(11)
    facility, resident, wound = np.repeat(np.arange(6), 24), np.repeat(np.arange(24), 6), np.repeat(np.arange(72), 2)
    y = 3 * chance.normal(size=6)[facility] + 2 * chance.normal(size=24)[resident] + chance.normal(size=72)[wound]
    y = y + 0.5 * chance.normal(size=144)
    of_facility, of_resident, of_wound, within = mean_squares(y, facility, resident, wound)
    expected = [(of_facility - of_resident) / 24, (of_resident - of_wound) / 6, (of_wound - within) / 2, within]
    assert min(expected) > 0
    fit = fit_nested(one_mean(y, wound, resident, facility))
    assert spreads(fit) == pytest.approx(expected, rel=WORKED)
    assert fit.errors == pytest.approx([sqrt(of_facility / 144)], rel=WORKED)


# --- a line for each wound ---


def test_balanced_lines_have_the_spread_of_lines_drawn_one_by_one():
    """The covariance of the wounds' own lines is that of the wounds and of least squares together.

    Laird, Lange & Stram 1987, J Am Stat Assoc 82:97, for balanced rows.
    """
    chance, wounds = np.random.default_rng(4), 12
    week, wound = np.tile(np.arange(6.0), wounds), np.repeat(np.arange(wounds), 6)
    y = 1 + 2 * chance.normal(size=wounds)[wound] + (0.5 + 0.4 * chance.normal(size=wounds)[wound]) * week
    y = y + 0.6 * chance.normal(size=len(y))
    design = np.column_stack([np.ones(6), np.arange(6.0)])
    lines = np.linalg.lstsq(design, y.reshape(wounds, 6).T, rcond=None)[0]
    within = ((y.reshape(wounds, 6).T - design @ lines) ** 2).sum() / (wounds * (6 - 2))
    between = np.cov(lines)
    fit = fit_nested(nested(y, np.column_stack([np.ones(len(y)), week]), week, wound))
    assert fit.beta == pytest.approx(lines.mean(axis=1), rel=1e-6)
    assert fit.covariance == pytest.approx(between / wounds, rel=WORKED)
    assert fit.residual_sd**2 == pytest.approx(within, rel=WORKED)
    assert fit.wound_covariance == pytest.approx(between - within * np.linalg.inv(design.T @ design), rel=WORKED)


# --- statsmodels ---


@pytest.mark.parametrize("reml", [True, False], ids=["REML", "ML"])
def test_statsmodels_finds_the_same_spreads_of_facilities_residents_and_wounds(reml):
    table = invented(seed=1, facilities=8, slopes=False)
    data = pd.DataFrame({"wound": table.wound, "resident": table.resident})
    formula = {"resident": "0 + C(resident)", "wound": "0 + C(wound)"}
    columns = dict(zip(("one", "week", "deep", "old"), table.x.T, strict=True))
    model = MixedLM.from_formula(
        "y ~ week + deep + old",
        data.assign(y=table.y, **columns),
        groups=table.facility,
        re_formula="1",
        vc_formula=formula,
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = model.fit(reml=reml, method="lbfgs")
    fit = fit_nested(nested(table.y, table.x, None, table.wound, table.resident, table.facility), reml)
    assert not fit.singular
    assert (fit.beta - other.fe_params.to_numpy()) / fit.errors == pytest.approx(np.zeros(4), abs=OTHER_PROGRAM)
    of_resident, of_wound = other.vcomp
    assert spreads(fit) == pytest.approx(
        [other.cov_re.iloc[0, 0], of_resident, of_wound, other.scale], rel=OTHER_PROGRAM
    )
    assert fit.log_likelihood == pytest.approx(other.llf, abs=OTHER_PROGRAM)
