"""A column a facility that is never written out gives the coefficients of one that is."""

from __future__ import annotations

import numpy as np
import pytest

from kit.healing import designs
from kit.healing.designs import Curvature, Design, plain
from kit.healing.weights import RIDGE, logistic

SAME = 1e-10  # both ways are Newton's; they differ in the order in which sums are taken


@pytest.fixture(scope="module")
def rows():
    """Three facilities in no order, two covariates, and an outcome that differs by facility."""
    generator = np.random.default_rng(7)
    home = generator.integers(0, 3, 400)
    columns = np.column_stack([np.ones(400), generator.standard_normal((400, 2))])
    chance = 1 / (1 + np.exp(-(columns @ [-1.0, 0.5, -0.3] + np.array([0.0, 1.0, -1.0])[home])))
    return Design(columns, home, 3), (generator.random(400) < chance).astype(float)


@pytest.fixture(scope="module")
def counts():
    return np.random.default_rng(8).multinomial(400, np.full(400, 1 / 400), size=5).T.astype(float)


def test_written_out_the_facilities_stand_behind_the_intercept():
    design = Design(np.array([[1.0, 5.0], [1.0, 6.0]]), np.array([1, 0]), 2)
    assert design.written_out().tolist() == [[1, 0, 1, 5], [1, 1, 0, 6]]
    assert design.times(np.array([[1.0], [10.0], [20.0], [2.0]])).tolist() == [[31.0], [23.0]]


def test_coefficients_are_those_of_columns_that_are_written_out(rows, counts):
    design, outcome = rows
    found = logistic(design, outcome, counts, RIDGE)
    assert found == pytest.approx(logistic(design.written_out(), outcome, counts, RIDGE), abs=SAME)
    assert np.ptp(found[1:4], axis=0).min() > 0.5  # the facilities do differ


def test_a_ridge_may_be_one_for_each_column(rows, counts):
    design, outcome = rows
    ridge = np.array([0.0, 1.0, 2.0, 30.0, 0.1, 5.0])
    found = logistic(design, outcome, counts, ridge)
    assert found == pytest.approx(logistic(design.written_out(), outcome, counts, ridge), abs=SAME)
    assert np.abs(found - logistic(design, outcome, counts, RIDGE)).max() > 0.01


def test_the_size_of_the_pieces_changes_nothing(rows, counts, monkeypatch):
    design, outcome = rows
    whole = logistic(design, outcome, counts, RIDGE)
    monkeypatch.setattr(designs, "TOGETHER", 7)
    small = Design(design.columns, design.home, design.homes)
    assert len(small.blocks) > 50
    assert logistic(small, outcome, counts, RIDGE) == pytest.approx(whole, abs=SAME)


def test_counts_of_residents_are_those_of_their_rows(rows, counts):
    design, outcome = rows
    owner = np.arange(400) // 4
    by_rows = logistic(design, outcome, counts[:100][owner], RIDGE)
    assert logistic(design, outcome, counts[:100], RIDGE, owner=owner) == pytest.approx(by_rows, abs=SAME)


def test_what_is_solved_is_the_whole_system(rows):
    """Schur's complement by hand: the matrix of all columns, its ridge added, takes the solution back."""
    design, _ = rows
    weight, ridge = np.linspace(0.1, 1, 400)[:, None], np.array([0.0, 0.1, 0.1, 0.1, 0.1, 0.1])
    found, right = Curvature(design, 1), np.arange(1.0, 7.0)[:, None]
    for home, rows_ in design.blocks:
        found.add(home, design.products[:, rows_] @ weight[design.order][rows_])
    written = design.written_out()
    matrix = written.T @ (weight * written) + np.diag(ridge + designs.LEAST)
    assert matrix @ found.solve(right, ridge) == pytest.approx(right, abs=1e-6)


def test_without_facilities_there_is_one_piece_and_no_other_column():
    design = plain(np.ones((5, 2)))
    assert design.width == 2 and design.blocks == [(0, slice(0, 5))]
