"""How much smaller wounds are at the early response: shares by percent, their median, and its limits."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchmarks.invented_facility import Scenario
from kit.healing.comparison import arms, draw_all, questions
from kit.healing.contrasts import Shares
from kit.healing.emulation import NOBODY_LEFT, arm_shares, early_share, lay_out, passing, weighed
from kit.healing.reductions import (
    GRID,
    MEDIAN,
    Early,
    at,
    by_percent,
    compared_medians,
    early_response,
    limits_by_percent,
    median_limits,
    medians,
    shares_smaller,
)
from kit.healing.resampling import Z, mover
from tests.invented_weeks import invented

EXACT = 1e-12  # the same numbers in another order
DAY, PERCENT = 28, 40
SEVERAL = Scenario(
    residents=80,
    facilities=2,
    starters=36,
    effects={"monopolar stimulation": 1.6, "ultrasound": 1.0},
    missed=0.2,
    leaving=0.02,
    dying=0.01,
)


def early_of(*left, known=None) -> Early:
    """Rows by what is left of each; all are known unless said otherwise."""
    known = np.ones(len(left), dtype=bool) if known is None else np.array(known)
    return Early(DAY, np.arange(len(left)), known, np.array(left, dtype=float), PERCENT)


def stands(closed: float, still: float) -> Shares:
    """So much closed and so much still open at the early response; the rest died or went to hospital for good."""
    return Shares(np.full((DAY + 1, 1), closed), np.full((DAY + 1, 1), still), np.zeros((5, 1)))


def shares_of(early: Early, weights, closed: float, still: float) -> np.ndarray:
    """The shares by percent of one set of weights, those of the rows whose size is known."""
    return shares_smaller(early, np.array(weights, dtype=float)[:, None], stands(closed, still))


def told(shares: np.ndarray, *percents: int) -> list[float]:
    return [float(shares[at(percent), 0]) for percent in percents]


# --- by hand ---


def test_two_open_wounds_and_a_closed_one_that_weighs_as_much_as_both():
    """Weights 1, 2, 3: a tenth smaller, half as large, closed; at least 11% smaller are 5 of 6."""
    shares = shares_of(early_of(0.9, 0.5), (1, 2), closed=3 / 6, still=3 / 6)
    assert told(shares, -100, 10, 11, 50, 51, 100) == pytest.approx([1, 1, 5 / 6, 5 / 6, 3 / 6, 3 / 6], abs=EXACT)
    assert medians(shares).tolist() == [100]  # 3 of 6 are half


def test_the_median_is_that_of_the_open_ones_where_fewer_than_half_closed():
    """Weights 2, 2, 2: at least 50% smaller are 4 of 6, at least 51% the two that closed."""
    shares = shares_of(early_of(0.9, 0.5), (2, 2), closed=2 / 6, still=4 / 6)
    assert told(shares, 10, 11, 50, 51) == pytest.approx([1, 4 / 6, 4 / 6, 2 / 6], abs=EXACT)
    assert medians(shares).tolist() == [50]


def test_who_died_is_smaller_by_no_percent_at_all():
    """Of six two died: at least 10% smaller are 4 of 6, at least 50% 3 of 6; the dead did not even double or less."""
    shares = shares_of(early_of(0.9, 0.5), (1, 1), closed=2 / 6, still=2 / 6)
    assert told(shares, -100, 10, 11, 50, 51) == pytest.approx([4 / 6, 4 / 6, 3 / 6, 3 / 6, 2 / 6], abs=EXACT)
    assert medians(shares).tolist() == [50]


def test_open_ones_without_a_size_are_like_those_with_one():
    """Half of the four open ones are known, one of them half as large: so are two of the four."""
    early = early_of(0.9, np.nan, 0.5, 0.1, known=(True, False, True, False))  # what is not fresh does not count
    shares = shares_of(early, (1, 1), closed=0, still=1)
    assert told(shares, 10, 11, 50, 51) == pytest.approx([1, 0.5, 0.5, 0], abs=EXACT)


def test_wounds_that_grew_stand_below_nought_and_beyond_double_nowhere():
    """Left 1.25, 2 and 2.5 of the size: 25% larger, doubled, more than doubled."""
    shares = shares_of(early_of(1.25, 2, 2.5), (1, 1, 1), closed=0, still=1)
    assert told(shares, -100, -99, -25, -24) == pytest.approx([2 / 3, 1 / 3, 1 / 3, 0], abs=EXACT)
    assert medians(shares).tolist() == [-100]


def test_fewer_than_half_that_reach_the_lowest_percent_have_no_median():
    shares = shares_of(early_of(1.0, 2.5, 2.5), (1, 1, 1), closed=0, still=1)
    assert told(shares, -100) == pytest.approx([1 / 3], abs=EXACT)
    assert np.isnan(medians(shares)).all()


def test_a_size_that_is_exactly_so_much_smaller_reaches_it():
    """1 - 0.4 is not 0.6 to the last digit, and size over size less so: both are held to be. A set a percent."""
    left = 7.3 * (100 - GRID[:-1]) / 100 / np.exp(np.log(7.3))
    shares = shares_smaller(early_of(*left), np.eye(len(left)), stands(closed=0, still=1))
    assert medians(shares).tolist() == GRID[:-1].tolist()


def test_where_no_size_is_known_there_is_a_share_only_if_nobody_is_open():
    early = early_of(0.5, known=(False,))
    assert np.isnan(shares_of(early, np.empty(0), closed=0.6, still=0.4)).all()
    assert shares_of(early, np.empty(0), closed=0.6, still=0).ravel() == pytest.approx(np.full(len(GRID), 0.6))


# --- in the nested trials ---


@pytest.fixture(scope="module")
def several():
    facility = invented(SEVERAL, seed=4)
    return facility, lay_out(facility.weeks, facility.measurements, facility.plan, 84)


@pytest.fixture(scope="module")
def all_questions(several):
    facility, layout = several
    return draw_all(layout, questions(layout, facility.plan), draws=5)


def test_at_the_plans_percentage_it_is_the_share_of_the_early_response(several):
    """Closed, and of the open the weighted share of the small ones, told apart row by row; in each question and set."""
    facility, layout = several
    counts = np.random.default_rng(5).integers(0, 3, (len(layout.people), 4)).astype(float)[layout.owner]
    begun: dict = {}
    asked = questions(layout, facility.plan)
    through = passing(layout, counts, asked[0].names, begun)
    for question in asked:
        for arm in arms(layout, question, counts, begun):
            whole, early = arm_shares(arm, through), arm.rows.early
            assert (early.day, early.percent) == (DAY, PERCENT)
            base, growing = weighed(arm, through, NOBODY_LEFT)
            weight = (base * growing[early.week])[early.known]
            small = (weight * early.small[early.known][:, None]).sum(axis=0) / weight.sum(axis=0)
            expected = whole.closed[DAY] + whole.still[DAY] * small
            assert early_share(arm, through, whole) == pytest.approx(expected, abs=EXACT)
            assert np.isfinite(expected).all() and 0 < small.min() < small.max() < 1


def test_every_question_tells_its_early_response_from_the_same_shares(all_questions):
    for found in all_questions.values():
        assert (found.numbers["early"] == found.smaller[:, at(PERCENT)]).all()


def test_the_more_is_asked_for_the_fewer_reach_it(all_questions):
    for found in all_questions.values():
        assert (np.diff(found.smaller, axis=1) <= EXACT).all()
        assert (found.smaller[:, 0] > found.smaller[:, -1] + 0.5).all()
        assert (found.smaller >= 0).all() and (found.smaller <= 1 + EXACT).all()


def test_nothing_but_a_closed_wound_is_a_hundred_percent_smaller(all_questions):
    for found in all_questions.values():
        assert found.smaller[:, at(100)] == pytest.approx(found.course[:, DAY // 7], abs=EXACT)


def test_rows_that_are_taken_keep_their_size(several):
    early = several[1].others.early
    mask = np.arange(len(early.known)) % 3 == 0
    own = early.take(mask)
    assert (own.week == early.week[mask]).all() and (own.known == early.known[mask]).all()
    assert own.left[own.known] == pytest.approx(early.left[mask & early.known])
    assert (own.day, own.percent) == (DAY, PERCENT)


def test_sizes_that_are_not_fresh_or_lie_beyond_the_end_are_not_known(several):
    facility, layout = several
    row = layout.others.week
    clock = layout.weeks["ends"].to_numpy()[row]
    asked = layout.weeks, row, clock
    seen = early_response(*asked, clock + DAY + 1, facility.measurements, facility.plan)
    gone = early_response(*asked, clock + DAY, facility.measurements, facility.plan)
    assert 0.5 < seen.known.mean() < 1 and not gone.known.any()


# --- deaths ---


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_deaths_of_starters_that_do_well_raise_no_share_and_no_median(several, share):
    """Wounds that would have closed, or were small by then, end in a death two weeks after the start instead."""
    facility, layout = several
    early, started = layout.starters.early, layout.weeks.loc[layout.starters.week, ["wound", "ends", "outcome"]]
    well = started[(early.known & early.small) | started["outcome"].eq("closed").to_numpy(dtype=bool)]
    chosen = well.sample(frac=share, random_state=3).set_index("wound")["ends"] + DAY // 2
    weeks, die = facility.weeks, facility.weeks["wound"].isin(chosen.index)
    dead = weeks.assign(
        outcome=weeks["outcome"].astype(object).mask(die, "died"),
        end_day=weeks["end_day"].mask(die, weeks["wound"].map(chosen)),
    )
    deadly = lay_out(dead, facility.measurements, facility.plan, 84)
    before, after = (
        next(iter(draw_all(own, questions(own, facility.plan)[:1], 4).values())).smaller[0] for own in (layout, deadly)
    )
    assert (after <= before + EXACT).all() and (after[at(PERCENT)] < before[at(PERCENT)] - 0.01).any()
    assert (np.nan_to_num(medians(after), nan=-101) <= medians(before)).all()


@given(
    wounds=st.lists(st.tuples(st.floats(0.01, 3), st.integers(1, 5)), min_size=2, max_size=8),
    closed=st.integers(0, 5),
    other=st.integers(0, 5),
)
def test_the_death_of_an_open_wound_among_measured_ones_raises_no_share(wounds, closed, other):
    """The first of the open ones dies; `closed` and `other` (dead before) weigh the same as before."""
    left, weights = zip(*wounds, strict=True)
    everybody = sum(weights) + closed + other
    before = shares_of(early_of(*left), weights, closed / everybody, sum(weights) / everybody)
    after = shares_of(early_of(*left[1:]), weights[1:], closed / everybody, sum(weights[1:]) / everybody)
    assert (after <= before + EXACT).all()
    assert np.nan_to_num(medians(after)[0], nan=-101) <= np.nan_to_num(medians(before)[0], nan=-101)


# --- limits ---

FIRST, SECOND = np.array([1.0, -1.0, 1.0, -1.0]), np.array([1.0, 1.0, -1.0, -1.0])  # two that do not go together


def twenty(signs: np.ndarray = FIRST, shift: int = 0) -> np.ndarray:
    """Twenty wounds 1, 2, ... 20 percent smaller (and `shift` more), and draws one standard error of 20 apart."""
    share = np.clip((21 + shift - GRID) / 20, 0, 1)[:, None]
    return np.hstack([share, share + np.sqrt(share * (1 - share) / 20) * signs])


def test_limits_of_a_median_are_those_of_the_score_test_turned_round():
    """A share p of 20 is told from one half where |p - 0.5| > 1.96 sqrt(0.25 / 20) = 0.2191.

    At least half: 10 of 20, from 11% on. Certainly half: 0.75 (15 of 20), 6%. Possibly half: 0.3 (6 of 20), 15%.
    """
    assert medians(twenty())[0] == 11
    assert median_limits(*limits_by_percent(twenty(), 20, Z)) == (6, 15)


def test_wider_limits_of_shares_are_wider_limits_of_the_median():
    """3 sqrt(0.25 / 20) = 0.3354: 0.85 is 17 of 20, 4%; 0.2 is 4 of 20, 17%."""
    assert median_limits(*limits_by_percent(twenty(), 20, 3.0)) == (4, 17)


def test_limits_that_cross_more_than_once_are_read_at_the_outermost():
    low, high = np.zeros(len(GRID)), np.zeros(len(GRID))
    low[:50], low[60:70] = 0.6, 0.6
    high[:100], high[110:120] = 0.6, 0.6
    assert median_limits(low, high) == (GRID[49], GRID[119])


def test_a_median_may_have_no_lower_limit():
    """All of three residents double or less, none is smaller: 3 / (3 + 3.84) = 0.44 is less than half."""
    shares = shares_of(early_of(1.0), [1], closed=0, still=1).repeat(5, axis=1)
    assert medians(shares)[0] == 0
    assert median_limits(*limits_by_percent(shares, 3, Z)) == (-np.inf, 100)  # 3.84 / 6.84 is more than half


def test_the_difference_of_two_medians_from_the_limits_of_each():
    """16 (11 to 20) less 11 (6 to 15) is 5: 5 - sqrt(5^2 + 4^2) = -1.40, 5 + sqrt(4^2 + 5^2) = 11.40.

    The first goes up and down with other draws than the second, by its own spread: they do not go together.
    """
    row = compared_medians(np.stack([twenty(FIRST, 5), twenty(SECOND)]), (20, 20), Z)
    assert list(row) == list(MEDIAN)
    assert [row[name] for name in MEDIAN[:3]] == [16, 11, 5]
    assert (row["reduction_low"], row["reduction_high"]) == pytest.approx((5 - np.sqrt(41), 5 + np.sqrt(41)), abs=EXACT)
    first, second = medians(twenty(FIRST, 5))[1:], medians(twenty(SECOND))[1:]
    # Half each way: the variances of both add up.
    assert row["reduction_error"] == pytest.approx(np.sqrt((np.ptp(first) / 2) ** 2 + (np.ptp(second) / 2) ** 2))


def test_medians_that_go_together_differ_by_less():
    """With a correlation of one: 5 - |5 - 4| = 4 and 5 + |4 - 5| = 6."""
    row = compared_medians(np.stack([twenty(FIRST, 5), twenty(FIRST)]), (20, 20), Z)
    assert (row["reduction_low"], row["reduction_high"]) == pytest.approx((4, 6), abs=EXACT)
    assert row["reduction_error"] == 0


def test_an_arm_in_which_fewer_than_half_reach_the_lowest_has_no_median_and_no_difference():
    worse = shares_of(early_of(1.0, 2.5, 2.5), (1, 1, 1), closed=0, still=1).repeat(5, axis=1)
    for shares, expected in (([twenty(), worse], [11, np.nan]), ([worse, twenty()], [np.nan, 11])):
        row = compared_medians(np.stack(shares), (20, 20), Z)
        assert [row[name] for name in MEDIAN] == pytest.approx([*expected, *[np.nan] * 4], nan_ok=True)


def test_what_is_not_compared_has_no_median():
    assert np.isnan(list(compared_medians(None, (20, 20), Z).values())).all()


def test_draws_without_a_known_size_are_left_out():
    """Two more draws in which nobody's size is known change nothing."""
    shares, empty = np.stack([twenty(FIRST, 5), twenty(SECOND)]), np.full((2, len(GRID), 2), np.nan)
    one, other = (compared_medians(own, (20, 20), Z) for own in (shares, np.concatenate([shares, empty], axis=-1)))
    assert one == pytest.approx(other, abs=EXACT)
    pd.testing.assert_frame_equal(
        by_percent(shares[0], 20, Z), by_percent(np.concatenate([shares[0], empty[0]], axis=-1), 20, Z)
    )


def test_an_arm_without_a_known_size_has_no_share_at_any_percent():
    frame = by_percent(np.full((len(GRID), 4), np.nan), 20, Z)
    assert frame["percent"].tolist() == list(range(-100, 101))
    assert frame[["share", "low", "high"]].isna().all(axis=None)


def test_limits_hold_the_share_at_every_percent_and_the_median(all_questions):
    for found in all_questions.values():
        for arm in found.smaller:
            frame = by_percent(arm, 12, Z)
            assert ((frame["low"] <= frame["share"]) & (frame["share"] <= frame["high"])).all()
            low, high = median_limits(frame["low"].to_numpy(), frame["high"].to_numpy())
            assert low <= medians(arm)[0] <= high


def test_a_limit_that_is_infinite_makes_that_of_the_difference_so():
    """3 less 1: above 3 + 4 and below 1 - 2 are known, 3's lower limit is not; 2 + sqrt(4^2 + 2^2) = 6.47."""
    low, high = mover((3.0, 1.0), (-np.inf, 7.0), (-1.0, 2.0), together=0.0)
    assert low == -np.inf and high == pytest.approx(2 + np.sqrt(20), abs=EXACT)
    assert mover((1.0, 3.0), (-1.0, 2.0), (-np.inf, 7.0), together=0.5)[1] == np.inf
