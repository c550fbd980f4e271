"""Size arithmetic against published numbers; each check names its source."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.measures import (
    ellipse_area,
    ellipse_perimeter,
    linear_healing,
    percent_reduction,
    push_conflict,
    push_score,
    push_size_score,
    rectangle_area,
    rectangle_perimeter,
    smallest_detectable_change,
)

FOUR_DECIMALS = 5e-5  # the published figure is printed to four decimals
EXACT = 1e-12  # rounding of binary fractions only

areas = st.floats(0.01, 500)
lengths = st.floats(0.1, 60)


def test_rectangle_overstates_an_ellipse_by_four_over_pi():
    # Geometry: rectangle over ellipse = 4/pi = 1.273240; 4 x 3 cm is 12 against 9.424778 cm2.
    assert rectangle_area(4, 3) == 12
    assert ellipse_area(4, 3) == pytest.approx(9.424778, abs=5e-7)
    assert rectangle_area(4, 3) / ellipse_area(4, 3) == pytest.approx(1.273240, abs=5e-7)


def test_perimeters():
    # Ramanujan's second approximation: 4 x 3 gives 11.0517, 3 x 2 gives 7.9327; a circle is exact.
    assert ellipse_perimeter(4, 3) == pytest.approx(11.0517, abs=FOUR_DECIMALS)
    assert ellipse_perimeter(3, 2) == pytest.approx(7.9327, abs=FOUR_DECIMALS)
    assert ellipse_perimeter(4, 4) == pytest.approx(4 * np.pi, rel=EXACT)
    assert rectangle_perimeter(4, 3) == 14


def test_perimeter_of_a_closed_wound_is_zero():
    assert ellipse_perimeter(0, 0) == 0
    assert rectangle_perimeter(0, 0) == 0


@given(lengths, lengths)
def test_ellipse_perimeter_lies_between_two_diagonals_and_the_rectangle(length, width):
    across = 2 * (length**2 + width**2) ** 0.5
    # The approximation is 0.04% short for a line, where the true perimeter is the two diagonals.
    assert across * 0.9995 <= ellipse_perimeter(length, width) <= rectangle_perimeter(length, width)


def test_percent_reduction_of_known_areas():
    # Edsberg LE et al., Ostomy Wound Manage 2011;57(10):50-62, report growth as a negative reduction.
    assert percent_reduction(12, 6) == 50
    assert percent_reduction(12, 0) == 100
    assert percent_reduction(12, 15) == -25
    # Log-slope example: 12 to 4.9152 in four weeks is 59.04%.
    assert percent_reduction(12, 4.9152) == pytest.approx(59.04, rel=EXACT)


def test_percent_reduction_is_missing_when_there_was_nothing_to_lose():
    assert np.isnan(percent_reduction(0, 5))
    assert np.isnan(percent_reduction(np.nan, 5))


@given(areas, areas, st.floats(0.1, 10))
def test_a_constant_shape_factor_cancels(first, later, factor):
    plain = percent_reduction(first, later)
    assert percent_reduction(factor * first, factor * later) == pytest.approx(plain, rel=1e-9, abs=1e-9)


@given(lengths, lengths, lengths, lengths)
def test_rectangle_and_ellipse_agree_on_the_reduction(length1, width1, length2, width2):
    by_rectangle = percent_reduction(rectangle_area(length1, width1), rectangle_area(length2, width2))
    by_ellipse = percent_reduction(ellipse_area(length1, width1), ellipse_area(length2, width2))
    assert by_ellipse == pytest.approx(by_rectangle, rel=1e-9, abs=1e-9)


def test_mixing_methods_invents_a_reduction():
    # An unchanged 4 x 3 cm wound, first as a rectangle, then as an ellipse: 1 - pi/4 = 21.5%.
    assert percent_reduction(rectangle_area(4, 3), ellipse_area(4, 3)) == pytest.approx(21.46, abs=0.005)


def test_gilman_is_exact_for_a_circle_and_a_rectangle():
    # Gilman TH, Wounds 1990;2:95-101: both edges moved in by half a centimetre.
    circle = linear_healing(np.pi * 2.0**2, 2 * np.pi * 2.0, np.pi * 1.5**2, 2 * np.pi * 1.5)
    assert circle == pytest.approx(0.5, rel=EXACT)
    assert linear_healing(12, 14, 6, 10) == 0.5


def test_gilman_for_an_ellipse():
    # Gilman 1990 on axes 4 x 3, then 3 x 2: 2 (9.4248 - 4.7124) / (11.0517 + 7.9327) = 0.4964.
    sizes = ellipse_area(4, 3), ellipse_perimeter(4, 3), ellipse_area(3, 2), ellipse_perimeter(3, 2)
    assert linear_healing(*sizes) == pytest.approx(0.4964, abs=FOUR_DECIMALS)


def test_gilman_when_closed_growing_or_never_open():
    assert linear_healing(12, 14, 0, 0) == pytest.approx(2 * 12 / 14)
    assert linear_healing(6, 10, 12, 14) == -0.5
    assert np.isnan(linear_healing(0, 0, 0, 0))


def test_smallest_detectable_change():
    # Landa DL et al., Int Wound J 2016;13(5):619-624: SEM 0.10 (published 0.27, recomputed 0.277186).
    assert smallest_detectable_change(0.10) == pytest.approx(0.277186, abs=5e-7)


# PUSH 3.0, 1998, National Pressure Injury Advisory Panel: the edges of its size bins, as length x 1 cm.
EDGES = """
0     0
0.1   1
0.2   1
0.3   2
0.6   2
0.7   3
1.0   3
1.1   4
2.0   4
2.1   5
3.0   5
3.1   6
4.0   6
4.1   7
8.0   7
8.1   8
12.0  8
12.1  9
24.0  9
24.1  10
60    10
"""


@pytest.mark.parametrize("row", EDGES.strip().splitlines())
def test_push_size_bins(row):
    area, score = map(float, row.split())
    assert push_size_score(area, 1.0) == score


@pytest.mark.parametrize(
    ("length", "width", "score"),
    [
        (2.5, 1.6, 6),  # 4.00
        (2.6, 1.6, 7),  # 4.16
        (2.7, 1.5, 7),  # 4.05 rounds up to 4.1, though round(2.7 * 1.5, 1) may not
        (4.05, 1.0, 7),  # round(4.05, 1) is 4.0 in binary
        (4.04, 1.0, 6),
        (0.5, 0.5, 1),  # 0.25 is below 0.3 as it is, though it would round to 0.3
        (0.29, 1.0, 1),
        (0.65, 1.0, 3),  # the gaps between the published bins close half up
        (2.05, 1.0, 5),
        (12.05, 1.0, 9),
        (3 * 0.1, 1.0, 2),  # 3 mm read as cm is 0.30000000000000004
        (3.0, 0.0, 0),
    ],
)
def test_push_size_between_the_bins(length, width, score):
    assert push_size_score(length, width) == score


@given(lengths, lengths, st.floats(0, 5))
def test_push_size_never_falls_as_a_wound_grows(length, width, more):
    assert push_size_score(length + more, width) >= push_size_score(length, width)


def test_push_totals():
    # PUSH 3.0, sums worked from its table: 25 cm2, light, granulation are 10 + 1 + 2;
    # 12 cm2, moderate, slough are 8 + 2 + 3.
    assert push_score(5, 5, "light", "granulation") == 13
    assert push_score(4, 3, "moderate", "slough") == 13
    # Its range is 0 (closed) to 17.
    assert push_score(0, 0, "none", "closed") == 0
    assert push_score(10, 10, "heavy", "necrotic") == 17


@pytest.mark.parametrize(
    ("length", "width", "exudate", "tissue"),
    [
        (0.0, 0.0, "light", "closed"),
        (0.0, 0.0, "none", "epithelial"),
        (7.77, 1.0, "none", "closed"),
        (np.nan, 1.0, "heavy", "closed"),
    ],
)
def test_a_closed_wound_must_be_all_zero(length, width, exudate, tissue):
    assert push_conflict(length, width, exudate, tissue)
    with pytest.raises(ValueError, match="^closed: ") as caught:
        push_score(length, width, exudate, tissue)
    assert "7.77" not in str(caught.value)


def test_what_is_missing_gives_no_score_and_no_conflict():
    for parts in [(np.nan, 1, "light", "slough"), (2, 1, None, "slough"), (2, 1, "light", "unknown")]:
        assert np.isnan(push_score(*parts))
        assert not push_conflict(*parts)
    assert np.isnan(push_score(0, 0, None, "closed"))


def test_faults_are_named_and_values_are_not():
    with pytest.raises(ValueError, match="^negative: ") as caught:
        push_size_score(-7.77, 1)
    assert "7.77" not in str(caught.value)
    with pytest.raises(ValueError, match="^unlisted: exudate must be one of none, light") as caught:
        push_score(2, 1, "a secret", "slough")
    assert "secret" not in str(caught.value)


def test_series_stay_series_and_arrays_stay_arrays():
    length = pd.Series([5.0, 4.0, np.nan], index=[7, 8, 9])
    width = pd.Series([5.0, 3.0, 1.0], index=[7, 8, 9])
    exudate = pd.Series(["light", "moderate", "none"], index=[7, 8, 9])
    tissue = pd.Series(["granulation", "slough", "slough"], index=[7, 8, 9])
    expected = pd.Series([13.0, 13.0, np.nan], index=[7, 8, 9])
    pd.testing.assert_series_equal(push_score(length, width, exudate, tissue), expected)
    pd.testing.assert_series_equal(percent_reduction(length, length / 2), length * 0 + 50)
    pd.testing.assert_series_equal(ellipse_perimeter(length * 0, width * 0), length * 0)
    assert push_size_score(np.array([5.0, 4.0]), np.array([5.0, 3.0])).tolist() == [10, 8]
    assert isinstance(push_size_score(5, 5), float)


def test_push_refuses_series_of_different_frames():
    with pytest.raises(ValueError, match="^index: "):
        push_size_score(pd.Series([1.0, 2.0]), pd.Series([1.0, 2.0], index=[1, 2]))


def test_nothing_is_changed_in_place():
    first = pd.Series([12.0, 0.0])
    percent_reduction(first, pd.Series([6.0, 1.0]))
    linear_healing(first, first, first, first)
    assert first.tolist() == [12.0, 0.0]
