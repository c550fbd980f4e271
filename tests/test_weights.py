"""Logistic regression and the weights made of it, against R, published analyses and hand-worked cases.

Numbers in tests/reference/weighting.csv were made by tests/reference/weighting.R.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.healing import weights
from kit.healing.designs import Design, plain
from kit.healing.weights import RIDGE, expit, leaving_design, logistic, start_design

REFERENCE = Path(__file__).parent / "reference"
NUMBERS = pd.read_csv(REFERENCE / "weighting.csv")
AS_R = 1e-6  # on columns of very different size (age squared beside sex); both fits settle far below it
EXACT = 1e-9  # two ways to the same peak
SHORT = 1e-6  # the last step of a way that goes on to it


def known(case: str, quantity: str) -> pd.Series:
    rows = NUMBERS[(NUMBERS.case == case) & (NUMBERS.quantity == quantity)]
    assert len(rows), f"no reference number for {case}, {quantity}"
    return rows.set_index("term")["value"]


def columns_of(named: dict[str, object]) -> tuple[list[str], np.ndarray]:
    return list(named), np.column_stack([np.broadcast_to(column, len(named["age"])) for column in named.values()])


def smoking() -> tuple[pd.DataFrame, list[str], np.ndarray]:
    """The model of Hernan & Robins 2020, What If, chapter 12, with R's names of its terms."""
    people = pd.read_csv(REFERENCE / "nhefs.csv").astype(float)
    named = {"(Intercept)": 1.0, "sex": people.sex, "race": people.race}
    named |= {"age": people.age, "I(age^2)": people.age**2}
    named |= {f"education{level}": people.education == level for level in (2, 3, 4, 5)}
    for name in ("smokeintensity", "smokeyrs"):
        named |= {name: people[name], f"I({name}^2)": people[name] ** 2}
    named |= {f"{name}{level}": people[name] == level for name in ("exercise", "active") for level in (1, 2)}
    named |= {"wt71": people.wt71, "I(wt71^2)": people.wt71**2}
    return people, *columns_of(named)


def training() -> tuple[pd.DataFrame, list[str], np.ndarray]:
    men = pd.read_csv(REFERENCE / "lalonde.csv")
    named = {"(Intercept)": 1.0, "age": men.age, "educ": men.educ}
    named |= {"racehispan": men.race == "hispan", "racewhite": men.race == "white"}
    named |= {name: men[name] for name in ("married", "nodegree", "re74", "re75")}
    return men, *columns_of(named)


def fitted(design: np.ndarray, outcome: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and chances; columns are standardized for the fit, as the kit's are, and then turned back."""
    middle, unit = design.mean(axis=0), design.std(axis=0)
    middle[0], unit[0] = 0, 1
    scaled = (design - middle) / unit
    found = logistic(scaled, outcome)[:, 0]
    coefficients = found / unit
    coefficients[0] -= (coefficients * middle).sum()
    return coefficients, expit(scaled @ found)


# --- against R and published analyses ---


@pytest.mark.parametrize(("case", "data", "outcome"), [("nhefs", smoking, "qsmk"), ("lalonde", training, "treat")])
def test_coefficients_are_those_of_r(case, data, outcome):
    rows, names, design = data()
    coefficients, _ = fitted(design, rows[outcome].to_numpy(dtype=float))
    theirs = known(case, "logistic_coefficient")
    assert names == list(theirs.index)
    assert coefficients == pytest.approx(theirs.to_numpy(), abs=AS_R)


def test_stopping_smoking_adds_the_published_weight():
    """Hernan & Robins 2020, What If, chapter 12: 3.4 kg with inverse weights of mean 2.0; stabilised ones of mean 1.0.

    Digits beyond the book's are R's (weighting.R).
    """
    people, _, design = smoking()
    stopped = people.qsmk.to_numpy()
    _, chance = fitted(design, stopped)
    weight = np.where(stopped == 1, 1 / chance, 1 / (1 - chance))
    gained = people.wt82_71.to_numpy()
    means = [np.average(gained[stopped == arm], weights=weight[stopped == arm]) for arm in (1, 0)]
    assert means[0] - means[1] == pytest.approx(3.4405, abs=5e-5)
    assert weight.mean() == pytest.approx(1.996, abs=5e-4)
    stabilised = weight * np.where(stopped == 1, stopped.mean(), 1 - stopped.mean())
    assert stabilised.mean() == pytest.approx(0.9988, abs=5e-5)


def test_job_training_among_the_trained_is_what_weighting_gives_and_not_what_the_experiment_gave():
    """LaLonde 1986, Am Econ Rev 76:604; Dehejia & Wahba 1999, J Am Stat Assoc 94:1053.

    Weighting gives 1,214. The experiment's own answer, about 1,794, is not reached: what the columns do not hold no
    weight can balance.
    """
    men, _, design = training()
    treat, earned = men.treat.to_numpy(dtype=float), men.re78.to_numpy()
    _, chance = fitted(design, treat)
    odds = (chance / (1 - chance))[treat == 0]
    found = earned[treat == 1].mean() - np.average(earned[treat == 0], weights=odds)
    assert found == pytest.approx(1214, abs=0.5)
    assert odds.sum() == pytest.approx(known("lalonde", "sum_of_odds_of_untreated").iloc[0], abs=1e-4)


# --- counts, begin, ridge ---

cells = st.tuples(st.floats(-3, 3, width=16), st.booleans(), st.integers(0, 3))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(cells, min_size=6, max_size=30))
def test_counts_are_rows_that_stand_there_so_often(rows):
    value, happened, times = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    design = np.column_stack([np.ones(len(value)), value])
    counted = logistic(design, happened, np.column_stack([times, np.ones(len(value))]), RIDGE)
    again = np.repeat(np.arange(len(value)), times.astype(int))
    repeated = logistic(design[again], happened[again], ridge=RIDGE)
    assert counted[:, 0] == pytest.approx(repeated[:, 0], abs=1e-7)
    assert counted[:, 1] == pytest.approx(logistic(design, happened, ridge=RIDGE)[:, 0], abs=1e-7)


def test_a_two_by_two_table_gives_its_log_odds():
    """Of 10 without the column 2 started, of 10 with it 5: log(2/8), and log(5/5) - log(2/8) beside it."""
    column = np.repeat([0.0, 1.0], 10)
    started = np.array([1.0] * 2 + [0.0] * 8 + [1.0] * 5 + [0.0] * 5)
    found = logistic(np.column_stack([np.ones(20), column]), started)[:, 0]
    assert found == pytest.approx([np.log(2 / 8), -np.log(2 / 8)], abs=EXACT)


def test_a_set_without_both_outcomes_comes_back_as_it_began():
    design = np.column_stack([np.ones(6), np.arange(6) - 2.5])
    outcome = np.array([1.0, 0, 0, 1, 1, 0])
    both, only_ones, only_zeros, nobody = np.ones(6), outcome, 1 - outcome, np.zeros(6)
    begin = np.array([[0.3], [-0.2]])
    found = logistic(design, outcome, np.column_stack([only_ones, both, only_zeros, nobody]), RIDGE, begin, close=SHORT)
    for place in (0, 2, 3):
        assert found[:, place].tolist() == [0.3, -0.2]
    assert found[:, 1] == pytest.approx(logistic(design, outcome, ridge=RIDGE, close=SHORT)[:, 0], abs=EXACT)
    assert abs(found[:, 1] - begin[:, 0]).min() > 0.05


def test_where_it_begins_does_not_change_where_it_ends():
    generator = np.random.default_rng(4)
    design = np.column_stack([np.ones(80), generator.normal(size=(80, 3))])
    outcome = (generator.random(80) < expit(design @ [-1, 1, 0, -1])).astype(float)
    far = np.full((4, 1), 3.0)
    assert logistic(design, outcome, ridge=RIDGE, begin=far, close=SHORT) == pytest.approx(
        logistic(design, outcome, ridge=RIDGE, close=SHORT), abs=EXACT
    )


def test_no_ridge_holds_the_intercept():
    """However strong it is, the mean chance stays the share that started: 3 of 12."""
    outcome = np.array([0.0, 1.0, 0.0, 0.0] * 3)
    design = np.column_stack([np.ones(12), np.linspace(-1, 1, 12)])
    for ridge in (0.0, RIDGE, 1e6):
        found = logistic(design, outcome, ridge=ridge)
        assert expit(design @ found).mean() == pytest.approx(3 / 12, abs=EXACT)
    assert found[:, 0] == pytest.approx([np.log(3 / 9), 0], abs=1e-5)


def test_a_column_that_tells_all_stays_finite_under_the_ridge():
    """Without a ridge there is no answer; with it the slope settles where the ridge holds what is still to be won."""
    column = np.repeat([-1.0, 1.0], 10)
    design = np.column_stack([np.ones(20), column])
    found = logistic(design, (column > 0).astype(float), ridge=RIDGE)[:, 0]
    # By symmetry the intercept is 0, and the slope b solves 20 (1 - expit(b)) = ridge b.
    assert found[0] == pytest.approx(0, abs=EXACT)
    assert 20 * (1 - expit(found[1:])) == pytest.approx(RIDGE * found[1:], abs=1e-6)
    assert 3 < found[1] < 5


def test_each_column_may_have_a_ridge_of_its_own():
    generator = np.random.default_rng(9)
    design = np.column_stack([np.ones(60), generator.normal(size=(60, 2))])
    outcome = (generator.random(60) < expit(design @ [0, 1, 1])).astype(float)
    free, held = logistic(design, outcome)[:, 0], logistic(design, outcome, ridge=np.array([0, 0, 1e7]))[:, 0]
    assert abs(free[2]) > 0.3 and abs(held[2]) < 1e-4
    assert held[:2] == pytest.approx(logistic(design[:, :2], outcome)[:, 0], abs=1e-4)


# --- weights ---


def test_odds_as_weights_make_the_others_look_like_the_starters():
    """A property of logistic fits without a ridge: the weighted others have the starters' number and means, exactly.

    The score equations say so where every row is either a starter or not: it holds for the sum over all of
    (outcome - chance) x column; with weights 1 and e / (1 - e) it holds in a table whose chances are met exactly.
    """
    # Three sizes; of 8, 6 and 4 wounds 2, 3 and 3 started: chances a saturated model meets exactly.
    size = np.repeat([1.0, 2.0, 5.0], [8, 6, 4])
    started = np.concatenate([np.arange(number) < began for number, began in ((8, 2), (6, 3), (4, 3))]).astype(float)
    design = np.column_stack([np.ones(18), size, size**2])
    chance = expit(design @ logistic(design, started)[:, 0])
    assert chance == pytest.approx(np.repeat([2 / 8, 3 / 6, 3 / 4], [8, 6, 4]), abs=EXACT)
    odds = (chance / (1 - chance))[started == 0]
    for column in design.T:
        assert odds @ column[started == 0] == pytest.approx(column[started == 1].sum(), abs=1e-8)


def test_odds_as_weights_balance_charts_that_follow_the_model():
    generator = np.random.default_rng(2)
    design = np.column_stack([np.ones(20000), generator.normal(size=(20000, 2))])
    started = generator.random(20000) < expit(design @ [-1.5, 0.8, -0.5])
    odds = np.exp(design @ logistic(design, started.astype(float))[:, 0])[~started]
    for column in design.T[1:]:
        before = column[~started].mean() - column[started].mean()
        after = np.average(column[~started], weights=odds) - column[started].mean()
        assert abs(before) > 0.3 and abs(after) < 0.04  # three standard errors


# --- the columns of the models ---


def weeks(**columns) -> pd.DataFrame:
    return pd.DataFrame({"facility": "A", **columns})


def test_covariates_are_told_in_standard_deviations_from_the_average():
    """1, 2, 3: average 2, standard deviation 1."""
    own = weeks(log_size=[1.0, 2.0, 3.0])
    assert start_design(own, ("log_size",), own).tolist() == [[1, -1], [1, 0], [1, 1]]


def test_what_is_not_known_counts_as_average():
    own = weeks(log_size=[1.0, np.nan, 3.0, 2.0])
    assert start_design(own, ("log_size",), own)[:, 1] == pytest.approx([-1, 0, 1, 0])


def test_average_is_that_of_the_rows_asked_for():
    like = weeks(log_size=[10.0, 12.0, 14.0])
    assert start_design(weeks(log_size=[14.0, 8.0]), ("log_size",), like)[:, 1] == pytest.approx([1, -2])


@pytest.mark.parametrize("same", [[2.0, 2.0, 2.0], [np.nan, np.nan, np.nan], [np.nan, 5.0, np.nan]])
def test_a_covariate_that_does_not_vary_is_left_out(same):
    own = weeks(log_size=[1.0, 2.0, 3.0], age=same)
    assert start_design(own, ("age", "log_size"), own).tolist() == [[1, -1], [1, 0], [1, 1]]


def test_facilities_have_columns_only_where_there_are_several():
    own = weeks(log_size=[1.0, 2.0, 3.0])
    assert start_design(own, ("log_size",), own).shape == (3, 2)
    several = own.assign(facility=["B", "A", "B"])
    assert start_design(several, ("log_size",), several).tolist() == [[1, 0, 1, -1], [1, 1, 0, 0], [1, 0, 1, 1]]
    assert start_design(several.iloc[[0, 2]], (), several).tolist() == [[1, 0, 1], [1, 0, 1]]


def leaving(log_size, before=True, starts="") -> pd.DataFrame:
    return pd.DataFrame({"log_size": log_size, "before": before, "starts": starts})


def test_whoever_started_or_starts_in_the_week_counts_as_started_when_leaving():
    rows = leaving([0.0, 1.0, 2.0, 3.0], [True, True, False, False], ["", "ultrasound", "", ""])
    design = leaving_design(rows)
    assert design[:, 0].tolist() == [1, 1, 1, 1]
    assert design[:, 1].tolist() == [0, 1, 1, 1]
    assert design[:, 4] == pytest.approx(design[:, 1] * design[:, 2])
    assert design[:, 2].mean() == pytest.approx(0) and design[:, 2].std() == pytest.approx(1)


def test_sizes_not_known_when_leaving_count_as_average():
    assert leaving_design(leaving([1.0, np.nan, 3.0]))[1, 2] == pytest.approx(0)
    assert (leaving_design(leaving([np.nan, np.nan]))[:, 2:] == 0).all()


def test_the_spline_of_size_is_that_of_harrell():
    """Eleven sizes -5 to 5: standardized knots at -4, 0 and 4 of them; restricted cubic of Harrell 2015, section 2.4.5.

    With t = -4, 0, 4 the column is [(x + 4)+^3 - 2 x+^3 + (x - 4)+^3] / 64; it has no unit, so standardizing sizes
    and knots alike multiplies it by one over the standard deviation, root of 10.
    """
    size = np.arange(-5.0, 6.0)
    by_hand = np.array([0, 0, 1, 8, 27, 64, 125 - 2, 216 - 16, 343 - 54, 512 - 128, 729 - 250 + 1]) / 64
    assert leaving_design(leaving(size))[:, 3] == pytest.approx(by_hand / np.sqrt(10))


def test_the_spline_is_straight_beyond_the_outer_knots():
    size = np.sort(np.random.default_rng(3).normal(size=200))
    size = np.concatenate([np.linspace(-9, -6, 4), size, np.linspace(6, 9, 4)])
    bend = leaving_design(leaving(size))[:, 3]
    assert (bend[:4] == 0).all()
    assert np.diff(bend[-4:], n=2) == pytest.approx(0, abs=1e-9) and np.diff(bend[-4:]).min() > 0.1
    inside = leaving_design(leaving(np.linspace(-1, 1, 101)))[:, 3]
    assert np.abs(np.diff(inside[30:50], n=2)).min() > 1e-5


def test_sizes_without_three_knots_have_no_bend():
    """Nearly all of one size: two knots fall together."""
    assert (leaving_design(leaving([1.0] * 18 + [2.0, 3.0]))[:, 3] == 0).all()


def test_a_model_asked_for_again_is_remembered_and_another_is_not():
    generator = np.random.default_rng(6)
    design = plain(np.column_stack([np.ones(60), generator.normal(size=(60, 2))]))
    outcome = (generator.random(60) < 0.4).astype(float)
    counts = generator.poisson(1.0, size=(60, 5)).astype(float)
    first = weights.fitted(design, outcome, counts, RIDGE)
    assert first.tolist() == logistic(design, outcome, counts, RIDGE).tolist()
    assert weights.fitted(plain(design.columns.copy()), outcome.copy(), counts.copy(), RIDGE) is first
    with pytest.raises(ValueError, match="read-only"):
        first[0] = 0.0
    others = [
        (design, 1 - outcome, counts, RIDGE), (design, outcome, counts[:, :4], RIDGE), (design, outcome, counts, 2.0),
        (plain(design.columns + 1.0), outcome, counts, RIDGE),
        (Design(design.columns, np.arange(60) % 2, 2), outcome, counts, RIDGE),
        (design, outcome, counts[:30], RIDGE, None, np.arange(60) // 2),
    ]  # fmt: skip
    for other in others:
        assert weights.fitted(*other).tolist() == logistic(*other).tolist() != first.tolist()


def test_no_more_models_are_remembered_than_have_their_place(monkeypatch):
    monkeypatch.setattr(weights, "REMEMBERED", 3)
    monkeypatch.setattr(weights, "_remembered", {})
    design, outcome = plain(np.column_stack([np.ones(8), np.arange(8.0)])), np.array([0.0, 1, 0, 0, 1, 1, 0, 1])
    for ridge in (1.0, 2.0, 3.0, 4.0, 5.0):
        weights.fitted(design, outcome, ridge=ridge)
    assert len(weights._remembered) == 3
    last = weights.fitted(design, outcome, ridge=5.0)
    assert any(kept is last for kept in weights._remembered.values())
