"""A staggered start: the order by lot, its variance against least squares written out, and against a simulation."""

import re
from dataclasses import replace
from datetime import date
from math import ceil

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from benchmarks.invented_facility import Scenario
from benchmarks.planted_bias import evidence_of, invented_study
from kit.context.could_have_seen import could_have_seen
from kit.context.staggered import MOST_STEPS, ONE_UNIT, design, detectable, schedule, staggered, variance
from kit.pages.next_quarter_figures import staggered_figure
from kit.plan import Plan
from kit.statements.next_quarter import staggered_said
from kit.words import FORBIDDEN

EXACT = 1e-9  # two ways of solving the same equations
UNITS = ("Alder", "Birch", "Cedar", "Doum")


def test_every_unit_starts_once_and_the_lot_can_be_drawn_again():
    told = schedule(UNITS, 100, 13, seed=7)
    assert sorted(told["unit"]) == sorted(UNITS)
    assert list(told["step"]) == [1, 2, 3, 4]
    assert list(told["starts_on"]) == [100 + 91 * step for step in (1, 2, 3, 4)]
    pd.testing.assert_frame_equal(told, schedule(UNITS[::-1], 100, 13, seed=7))


def test_another_number_draws_another_order():
    orders = {tuple(schedule(UNITS, 0, 13, seed=seed)["unit"]) for seed in range(20)}
    assert len(orders) > 10


def test_of_many_units_several_start_together_so_that_the_last_does_not_wait_for_ever():
    told = schedule(tuple(f"Wing {number:02}" for number in range(20)), 0)
    assert list(told["step"].value_counts().sort_index()) == [3, 2, 3, 2, 3, 2, 3, 2]
    assert told["starts_on"].max() == 91 * MOST_STEPS
    assert (design(20).argmax(axis=1) == told["step"]).all()


def test_many_units_are_said_to_start_in_turns(answers):
    rows = staggered(answers, answers.layout.plan, units=20)
    assert set(rows["steps"]) == {MOST_STEPS} and rows["lasts_weeks"].iloc[0] == 13 * (MOST_STEPS + 1)
    assert "20 units started in 8 turns, several at a time, this" in staggered_said(rows)[0]
    assert "9 units" in staggered_said(staggered(answers, answers.layout.plan, units=9))[0]


def test_without_a_calendar_the_order_has_no_days():
    assert schedule(UNITS, None)["starts_on"].isna().all()


def test_nobody_has_started_before_and_everybody_has_in_the_end():
    told = design(6, 3)
    assert told.shape == (6, 4)
    assert told[:, 0].sum() == 0 and told[:, -1].all()
    assert list(told.sum(axis=0)) == [0, 2, 4, 6]
    assert (np.diff(told, axis=1) >= 0).all()


@pytest.mark.parametrize(("units", "steps"), [(4, 4), (6, 3), (12, 4), (5, 5)])
@pytest.mark.parametrize("together", [0.0, 0.05, 0.4])
def test_the_closed_form_is_generalized_least_squares(units, steps, together):
    # Hussey & Hughes 2007: mean of a unit in a period = time + started + unit; by hand with the whole covariance
    started, wounds, share = design(units, steps), 12.0, 0.3
    periods = steps + 1
    time = np.tile(np.eye(periods), (units, 1))
    columns = np.column_stack([time, started.ravel()])
    within, between = (1 - together) * share * 0.7 / wounds, together * share * 0.7
    covariance = np.kron(np.eye(units), within * np.eye(periods) + between)
    inverse = np.linalg.inv(columns.T @ np.linalg.solve(covariance, columns))
    assert variance(started, wounds, share, together) == pytest.approx(inverse[-1, -1], rel=EXACT)


def test_simulated_units_vary_as_the_closed_form_says():
    started, wounds, share, together = design(4), 20, 0.4, 0.05
    generator, spread = np.random.default_rng(3), 0.4 * 0.6
    units = np.sqrt(together * spread) * generator.standard_normal((20_000, 4, 1))
    noise = np.sqrt((1 - together) * spread / wounds) * generator.standard_normal((20_000, 4, 5))
    seen = (units + noise).reshape(20_000, -1)
    columns = np.column_stack([np.tile(np.eye(5), (4, 1)), started.ravel()])
    covariance = np.kron(np.eye(4), (1 - together) * spread / wounds * np.eye(5) + together * spread)
    weights = np.linalg.solve(covariance, columns)
    estimates = (seen @ weights @ np.linalg.inv(columns.T @ weights))[:, -1]
    # a standard deviation from 20,000 draws strays by half a percent; six times that
    assert estimates.std() == pytest.approx(np.sqrt(variance(started, wounds, share, together)), rel=0.03)


def test_more_wounds_and_more_units_see_less():
    few = detectable(design(4), 10, 0.4)
    assert detectable(design(4), 40, 0.4) < few
    assert detectable(design(8), 10, 0.4) < few


@pytest.fixture(scope="module")
def answers():
    scenario = Scenario(residents=200, starters=60, facilities=4)
    return evidence_of(invented_study(scenario, np.random.default_rng(8)), 2, 1).answers


def test_units_are_the_facilities_unless_the_consultant_names_wings(answers):
    plan = answers.layout.plan
    assert set(staggered(answers, plan)["units"]) == {answers.layout.weeks["facility"].nunique()}
    wings = staggered(answers, plan, units=9)
    assert set(wings["units"]) == {9}
    assert wings["smallest"].is_monotonic_decreasing  # steps further apart see more


def test_one_unit_cannot_start_before_another(answers):
    told = staggered(answers, answers.layout.plan, units=1)
    assert set(told["not_computed"]) == {ONE_UNIT} and told["smallest"].isna().all()


def test_wounds_are_counted_over_the_months_that_were_compared(answers):
    plan = answers.layout.plan
    could = answers.could.set_index("reason")["wounds"]["could have been started"]
    row = staggered(answers, plan, units=4).iloc[0]
    weeks = plan.comparison.answer_months * 365.25 / 12 / 7
    assert row["wounds"] == pytest.approx(could / weeks * 13 / 4, rel=EXACT)


def test_where_no_wound_could_be_started_nothing_is_told(answers):
    nobody = replace(answers, could=answers.could.head(0))
    assert (staggered(nobody, answers.layout.plan, units=4)["not_computed"] != "").all()


def test_dates_of_many_steps_do_not_run_together():
    plan = Plan.model_validate({
        "program": {"name": "A", "basis": "operations"}, "regimens": [{"name": "x", "modality": "stimulation"}],
        "windows": {"quarter_begins": date(2026, 4, 1), "cutoff": date(2026, 6, 30)},
    })  # fmt: skip
    for units in (2, 4, 8, 12, 20):
        figure = staggered_figure(schedule(tuple(f"Wing {n} of a long name" for n in range(units)), plan.cutoff), plan)
        FigureCanvasAgg(figure).draw()
        boxes = [words.get_window_extent() for words in figure.axes[0].get_xticklabels()]
        assert all(one.x1 < other.x0 for one, other in zip(boxes, boxes[1:], strict=False)), units


def test_what_these_records_see_stands_beside_what_a_lot_would(answers):
    could = could_have_seen(answers)
    said = staggered_said(staggered(answers, answers.layout.plan), could)
    assert f"these records could have seen {ceil(could['smallest'].iloc[0])} of 100" in said[1]
    assert len(staggered_said(staggered(answers, answers.layout.plan))) == len(said) - 1
    early = could[could["measure"] != "closed"]
    assert len(staggered_said(staggered(answers, answers.layout.plan), early)) == len(said) - 1
    assert not [word for word in FORBIDDEN if re.search(rf"\b{word}\b", " ".join(said).lower())]
