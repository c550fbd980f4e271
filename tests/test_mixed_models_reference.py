"""Nested mixed models against R's lme4 and lmerTest, statsmodels, equations written out, and cases worked by hand.

Numbers in tests/reference/mixed_models.csv were made by tests/reference/mixed_models.R (lme4 1.1.31, lmerTest 3.1.3),
which meets those published for sleepstudy, pastes and orthodont.
"""

import warnings
from dataclasses import dataclass
from functools import cache
from math import log, pi, sqrt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.linalg import block_diag
from statsmodels.regression.mixed_linear_model import MixedLM

from kit.trajectories.engine import Fit, fit_nested
from kit.trajectories.inference import predicted, satterthwaite
from kit.trajectories.sums import Rows, nested

REFERENCE = Path(__file__).parent / "reference"
NUMBERS = pd.read_csv(REFERENCE / "mixed_models.csv", keep_default_na=False)
# The engine stops within 1e-5 standard errors of the peak in the covariances; a spread that is small beside its own
# error (residents in courses) is then right to about 2e-5 of itself, and its square to twice that.
OF_SPREADS = 1e-4  # relative, and of what hangs on them: degrees of freedom, variances of predicted effects
OF_ERRORS = 2e-5  # coefficients in standard errors, standard errors relative: they hang less on the covariances
OF_CRITERION = 1e-5  # absolute: the peak is flat, and nine digits are kept
WORKED = 1e-5  # relative: cases of twelve rows
OTHER_PROGRAM = 1e-3  # statsmodels' optimiser stops early, and where differs by its version (6e-5 with 0.15)


@dataclass(frozen=True)
class Model:
    """A model as R wrote it: `levels` name the engine's wound, resident and facility in R's terms, `week` its slope."""

    case: str
    model: str
    columns: tuple[str, ...]
    levels: tuple[str, ...]
    response: str
    week: str = ""

    def __str__(self) -> str:
        return f"{self.case}_{self.model}"


IN_BUILDINGS = ("facilityOstervane", "facilityQuellmoor", "facilityTarnwick")
COURSE = ("(Intercept)", "week", "deep", *IN_BUILDINGS, "week:deep")
SLEEP = ("(Intercept)", "Days")
WOUNDS = Model("courses", "wounds", COURSE, ("wound",), "log_area", "week")
MODELS = [
    Model("sleepstudy", "slopes", SLEEP, ("Subject",), "Reaction", "Days"),
    Model("sleepstudy", "intercepts", SLEEP, ("Subject",), "Reaction"),
    Model("pastes", "nested", ("(Intercept)",), ("sample", "batch"), "strength"),
    Model("orthodont", "slopes", ("(Intercept)", "age", "SexFemale", "age:SexFemale"), ("Subject",), "distance", "age"),
    WOUNDS,
    Model("courses", "residents", COURSE, ("wound", "resident"), "log_area", "week"),
    Model(
        "courses",
        "facilities",
        ("(Intercept)", "week", "deep", "week:deep"),
        ("wound", "resident", "facility"),
        "log_area",
        "week",
    ),
]
WITH_SLOPES = [model for model in MODELS if model.week]
WITH_EFFECTS = [model for model in MODELS if model.case in ("sleepstudy", "courses")]
of_every = pytest.mark.parametrize("model", MODELS, ids=str)
of_slopes = pytest.mark.parametrize("model", WITH_SLOPES, ids=str)
of_effects = pytest.mark.parametrize("model", WITH_EFFECTS, ids=str)
by_both = pytest.mark.parametrize("method", ["REML", "ML"])


def known(model: Model, method: str, quantity: str) -> pd.Series:
    """R's numbers of one quantity, by term."""
    of = NUMBERS["case"].eq(model.case) & NUMBERS["model"].eq(model.model) & NUMBERS["method"].eq(method)
    rows = NUMBERS[of & NUMBERS["quantity"].eq(quantity)]
    assert len(rows), f"no reference number for {model}, {method}, {quantity}"
    return rows.set_index("term")["value"]


def of_level(model: Model, method: str, quantity: str, level: int, column: str = "(Intercept)") -> float:
    return known(model, method, quantity)[f"{model.levels[level]}:{column}"]


@cache
def data(case: str) -> pd.DataFrame:
    """The rows, with every column that R makes of them."""
    rows = pd.read_csv(REFERENCE / f"{case}.csv").assign(**{"(Intercept)": 1.0})
    if case == "orthodont":
        female = rows["Sex"].eq("Female").astype(float)
        return rows.assign(**{"SexFemale": female, "age:SexFemale": rows["age"] * female})
    if case == "courses":
        homes = {name: rows["facility"].eq(name.removeprefix("facility")).astype(float) for name in IN_BUILDINGS}
        return rows.assign(**homes, **{"week:deep": rows["week"] * rows["deep"]})
    return rows


@cache
def rows_of(model: Model) -> Rows:
    rows = data(model.case)
    week = rows[model.week] if model.week else None
    labels = [rows[level].astype(str) for level in model.levels] + [None] * (3 - len(model.levels))
    return nested(rows[model.response], rows[list(model.columns)], week, *labels, names=model.columns)


@cache
def fit_of(model: Model, method: str) -> Fit:
    return fit_nested(rows_of(model), reml=method == "REML")


# --- against R ---


@by_both
@of_every
def test_coefficients_and_their_errors_are_those_of_r(model, method):
    fit = fit_of(model, method)
    assert fit.converged and not fit.singular and not fit.dropped
    coefficients, errors = (known(model, method, name)[list(fit.names)].to_numpy() for name in ("coefficient", "error"))
    assert (fit.beta - coefficients) / errors == pytest.approx(np.zeros(len(errors)), abs=OF_ERRORS)
    assert fit.errors == pytest.approx(errors, rel=OF_ERRORS)


@by_both
@of_every
def test_the_spread_of_each_level_is_that_of_r(model, method):
    fit = fit_of(model, method)
    found = [np.sqrt(fit.wound_covariance[0, 0]), fit.resident_sd, fit.facility_sd]
    expected = [of_level(model, method, "sd", level) for level in range(len(model.levels))]
    assert found == pytest.approx(expected + [0.0] * (3 - len(expected)), rel=OF_SPREADS)
    assert fit.residual_sd == pytest.approx(known(model, method, "residual_sd")[""], rel=OF_SPREADS)


@by_both
@of_slopes
def test_slopes_vary_and_go_with_intercepts_as_in_r(model, method):
    covariance = fit_of(model, method).wound_covariance
    assert covariance[1, 1] == pytest.approx(of_level(model, method, "variance", 0, model.week), rel=OF_SPREADS)
    assert covariance[0, 1] == pytest.approx(known(model, method, "covariance")[model.levels[0]], rel=OF_SPREADS)
    assert covariance[1, 0] == pytest.approx(covariance[0, 1], rel=1e-12)


@by_both
@of_every
def test_criterion_is_the_one_that_lme4_prints(model, method):
    fit = fit_of(model, method)
    assert fit.deviance == pytest.approx(known(model, method, "criterion")[""], abs=OF_CRITERION)
    assert fit.log_likelihood == -fit.deviance / 2


@by_both
@of_every
def test_degrees_of_freedom_are_those_of_lmertest(model, method):
    found = satterthwaite(rows_of(model), fit_of(model, method))
    assert found == pytest.approx(known(model, method, "df")[list(model.columns)].to_numpy(), rel=OF_SPREADS)


CONTRASTS = {"day 1": ("(Intercept)", "Days"), "slope of deep": ("week", "week:deep")}


@by_both
@pytest.mark.parametrize("model", [model for model in WITH_EFFECTS if model.week], ids=str)
def test_a_sum_of_coefficients_has_the_error_and_degrees_of_freedom_of_lmertest(model, method):
    value, error, df = (known(model, method, f"contrast{what}") for what in ("", "_error", "_df"))
    contrast = np.array([float(name in CONTRASTS[value.index[0]]) for name in model.columns])
    fit = fit_of(model, method)
    assert contrast @ fit.beta == pytest.approx(value.iloc[0], abs=OF_ERRORS * error.iloc[0])
    assert sqrt(contrast @ fit.covariance @ contrast) == pytest.approx(error.iloc[0], rel=OF_ERRORS)
    assert satterthwaite(rows_of(model), fit, contrast[None]) == pytest.approx([df.iloc[0]], rel=OF_SPREADS)


def paired(model: Model, method: str, quantity: str, level: int, found: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What was found and what R has, for the names that R's numbers hold."""
    labels = (rows_of(model).wounds, rows_of(model).residents, rows_of(model).facilities)[level]
    expected = known(model, method, quantity)
    expected = expected[expected.index.str.startswith(f"{model.levels[level]}:")]
    return pd.Series(found, [f"{model.levels[level]}:{label}" for label in labels])[expected.index].to_numpy(), expected


def assert_effects_are_those_of_r(model: Model, method: str, quantity: str, level: int, found: np.ndarray) -> None:
    of_names, expected = paired(model, method, quantity, level, found)
    assert of_names == pytest.approx(expected.to_numpy(), abs=OF_SPREADS * expected.std())


@by_both
@of_effects
def test_predicted_effects_are_those_of_r_name_by_name(model, method):
    found = predicted(rows_of(model), fit_of(model, method))
    levels = [found.wound[:, 0], found.resident, found.facility]
    for level in range(len(model.levels)):
        assert_effects_are_those_of_r(model, method, "effect_intercept", level, levels[level])
    if model.week:
        assert_effects_are_those_of_r(model, method, "effect_slope", 0, found.wound[:, 1])


@by_both
@of_effects
def test_variances_of_predicted_effects_are_those_given_the_estimates(model, method):
    given = predicted(rows_of(model), fit_of(model, method)).wound_variance
    entries = {"variance_intercept": (0, 0), "variance_slope": (1, 1), "covariance": (0, 1)}
    for name, (i, j) in entries.items() if model.week else [("variance_intercept", (0, 0))]:
        found, expected = paired(model, method, f"effect_{name}", 0, given[:, i, j])
        assert found == pytest.approx(expected.to_numpy(), rel=OF_SPREADS)


# --- against Henderson's equations, written out whole ---


def one_hot(labels: pd.Series, names: np.ndarray) -> np.ndarray:
    return (labels.astype(str).to_numpy()[:, None] == names).astype(float)


def henderson(model: Model, fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Every coefficient and effect, and the variance of its error: coefficients, wounds' intercepts, slopes, residents.

    Henderson CR, Biometrics 1975;31:423-447: the equations of least squares, the effects held back by their covariance.
    """
    rows, sums, wounds = data(model.case), rows_of(model), len(rows_of(model).wounds)
    of_wound = one_hot(rows[model.levels[0]], sums.wounds)
    blocks = [rows[list(model.columns)], of_wound, of_wound * rows[[model.week]].to_numpy()]
    held = [np.zeros((len(model.columns),) * 2), np.kron(np.linalg.inv(fit.wound_covariance), np.eye(wounds))]
    if len(model.levels) > 1:
        blocks.append(one_hot(rows[model.levels[1]], sums.residents))
        held.append(np.eye(len(sums.residents)) / fit.resident_sd**2)
    table = np.column_stack(blocks)
    errors = np.linalg.inv(table.T @ table / fit.residual_sd**2 + block_diag(*held))
    return errors @ (table.T @ rows[model.response]) / fit.residual_sd**2, np.diag(errors)


@pytest.mark.parametrize("model", [MODELS[0], MODELS[5]], ids=str)
def test_effects_and_the_errors_of_slopes_solve_hendersons_equations(model):
    fit, rows = fit_of(model, "REML"), rows_of(model)
    found = predicted(rows, fit)
    effects, variances = henderson(model, fit)
    p, wounds = len(model.columns), len(rows.wounds)
    assert fit.beta == pytest.approx(effects[:p], rel=OF_ERRORS)
    assert fit.errors == pytest.approx(np.sqrt(variances[:p]), rel=OF_ERRORS)
    everyone = [*found.wound[:, 0], *found.wound[:, 1], *(found.resident if len(model.levels) > 1 else [])]
    assert everyone == pytest.approx(effects[p:], abs=OF_ERRORS * found.wound.std())
    assert found.slope_error == pytest.approx(np.sqrt(variances[p + wounds : p + 2 * wounds]), rel=OF_ERRORS)


# --- against statsmodels ---


@by_both
def test_statsmodels_finds_the_same_intercepts_and_slopes_of_wounds(method):
    rows, fit = data("courses"), fit_of(WOUNDS, method)
    model = MixedLM(rows["log_area"], rows[list(COURSE)], groups=rows["wound"], exog_re=rows[["(Intercept)", "week"]])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = model.fit(reml=method == "REML", method="lbfgs")
    assert (fit.beta - other.fe_params.to_numpy()) / fit.errors == pytest.approx(np.zeros(7), abs=OTHER_PROGRAM)
    # The errors it prints come from the curvature in coefficients and covariances together (week: 0.8% above R's); R
    # and the engine take the block of the coefficients alone.
    curvature = -model.hessian(other.params_object)[0][:7, :7]
    assert fit.errors == pytest.approx(np.sqrt(np.diag(np.linalg.inv(curvature))), rel=OTHER_PROGRAM)
    assert fit.wound_covariance == pytest.approx(other.cov_re.to_numpy(), rel=OTHER_PROGRAM)
    assert fit.residual_sd == pytest.approx(sqrt(other.scale), rel=OTHER_PROGRAM)
    assert fit.log_likelihood == pytest.approx(other.llf, abs=OTHER_PROGRAM)


# --- by hand ---

# Three groups of four with means 10, 14 and 18. Within: 10 + 10 + 16 = 36 over 9 degrees, so 4. Between:
# 4 x (16 + 0 + 16) = 128 over 2, so 64.
BALANCED = np.array([8, 9, 11, 12, 12, 13, 15, 16, 16, 16, 20, 20])
# Three groups of four that all have the mean 10: less varies between them than chance alone would do.
EVEN = np.array([8, 9, 11, 12, 9, 9, 11, 11, 7, 9, 11, 13])


def of_groups(y: np.ndarray) -> Rows:
    return nested(y, np.ones((12, 1)), None, np.repeat(["a", "b", "c"], 4))


def test_balanced_groups_by_restricted_likelihood():
    fit = fit_nested(of_groups(BALANCED))
    assert fit.beta == pytest.approx([14], rel=WORKED)
    assert fit.errors == pytest.approx([sqrt(64 / 12)], rel=WORKED)
    assert fit.residual_sd**2 == pytest.approx(4, rel=WORKED)
    assert fit.wound_covariance == pytest.approx(np.array([[(64 - 4) / 4]]), rel=WORKED)
    assert satterthwaite(of_groups(BALANCED), fit) == pytest.approx([3 - 1], rel=WORKED)


def test_balanced_groups_by_full_likelihood():
    between = 128 / 3  # over the groups, not over one fewer
    fit = fit_nested(of_groups(BALANCED), reml=False)
    assert fit.beta == pytest.approx([14], rel=WORKED)
    assert fit.errors == pytest.approx([sqrt(between / 12)], rel=WORKED)
    assert fit.residual_sd**2 == pytest.approx(4, rel=WORKED)
    assert fit.wound_covariance == pytest.approx(np.array([[(between - 4) / 4]]), rel=WORKED)
    assert satterthwaite(of_groups(BALANCED), fit) == pytest.approx([3], rel=WORKED)


def test_criterion_of_balanced_groups():
    # Of the covariance: 3 x 3 values of 4 and 3 of 64; squares 36 / 4 + 128 / 64 = 11; for the mean 12 / 64.
    restricted = 11 * log(2 * pi) + 9 * log(4) + 3 * log(64) + 36 / 4 + 128 / 64 + log(12 / 64)
    assert fit_nested(of_groups(BALANCED)).deviance == pytest.approx(restricted, rel=WORKED)
    between = 128 / 3
    full = 12 * log(2 * pi) + 9 * log(4) + 3 * log(between) + 36 / 4 + 128 / between
    assert fit_nested(of_groups(BALANCED), reml=False).deviance == pytest.approx(full, rel=WORKED)


def test_balanced_groups_are_shrunk_by_their_reliability():
    # 4 x 15 / (4 + 4 x 15) = 60 / 64 of the distances -4, 0 and 4 stay; left open is 15 x 4 / 64 of variance.
    rows = of_groups(BALANCED)
    found = predicted(rows, fit_nested(rows))
    assert found.wound[:, 0] == pytest.approx([-3.75, 0, 3.75], rel=WORKED, abs=WORKED)
    assert found.wound_variance[:, 0, 0] == pytest.approx([0.9375] * 3, rel=WORKED)


def test_groups_with_equal_means_have_no_spread_and_the_fit_says_so():
    # 10 + 4 + 20 = 34 squares, over 11 degrees: everything is residual.
    rows = of_groups(EVEN)
    fit = fit_nested(rows)
    assert fit.singular and fit.wound_covariance == 0
    assert fit.residual_sd**2 == pytest.approx(34 / 11, rel=WORKED)
    assert fit.errors == pytest.approx([sqrt(34 / 11 / 12)], rel=WORKED)
    assert satterthwaite(rows, fit) == pytest.approx([11], rel=WORKED)
    assert predicted(rows, fit).wound[:, 0] == pytest.approx([0, 0, 0], abs=0)
