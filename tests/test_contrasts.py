"""Weighted rows followed from week to week, against the plain curves and by hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.healing.contrasts import CAUSES, follow, shares, take
from kit.healing.curves import days_closed, incidence

REFERENCE = Path(__file__).parent / "reference"
EXACT = 1e-12  # the same sums in another order
CLOSED, DIED, NOWHERE = CAUSES.index("closed"), CAUSES.index("died"), -1
CODES = {name: number for number, name in enumerate(CAUSES)}


def followed(rows: list[tuple[int, int, int]], horizon: int, lengths: tuple[int, ...] = (7,)):
    """Rows as (clock, until, cause), each of a wound of its own, whose weeks from day 0 on take turns in length."""
    clock, until, cause = (np.array(column, dtype=np.int64) for column in zip(*rows, strict=True))
    turns = np.cumsum([0, *np.tile(lengths, 1 + until.max() // sum(lengths))])[:-1]
    begins = np.concatenate([turns[turns <= day] for day in until])
    wound = np.repeat(np.arange(len(rows)), [(turns <= day).sum() for day in until])
    return follow(np.arange(len(rows)), clock, until, cause, wound, begins, horizon), wound, begins


def plain_shares(rows, horizon, base=None, lengths=(7,)):
    """Shares with weights that never change."""
    pieces, wound, _ = followed(rows, horizon, lengths)
    base = np.ones((len(rows), 1)) if base is None else base
    return shares(pieces, base, np.ones((len(wound), base.shape[1])))


# Clock, days followed after it (none at all, too), and how it ended.
a_row = st.tuples(st.integers(0, 20), st.integers(0, 30), st.sampled_from([*range(len(CAUSES)), NOWHERE]))
some_rows = st.lists(a_row.map(lambda row: (row[0], row[0] + row[1], row[2])), min_size=1, max_size=30)
lengths = st.sampled_from([(7,), (5, 9), (1,), (40,)])


def plain_curve(rows, horizon, weights=None):
    """The plain curve of the same rows: what lies beyond the horizon is still open there."""
    days = np.array([min(until - clock, horizon) for clock, until, _ in rows])
    names = [CAUSES[cause] if cause != NOWHERE and until - clock <= horizon else "open" for clock, until, cause in rows]
    return incidence(days, np.array(names), CAUSES, weights)


def on_every_day(curve, horizon):
    """Shares of each cause by day from 0 to the horizon: causes x days x sets."""
    return np.stack([curve.at(day) for day in range(horizon + 1)], axis=1)


@settings(deadline=None, derandomize=True)
@given(some_rows, st.integers(1, 25), lengths)
def test_rows_of_equal_weight_give_the_plain_curve(rows, horizon, length):
    """A row with no day beyond its clock is in no risk set here, and on day 0 of the plain curve: left out there."""
    rows = [row for row in rows if row[1] > row[0]] or [(0, 1, CLOSED)]
    found = plain_shares(rows, horizon, lengths=length)
    plain = on_every_day(plain_curve(rows, horizon), horizon)
    assert found.closed == pytest.approx(plain[CLOSED], abs=EXACT)
    assert found.states == pytest.approx(plain[:, -1], abs=EXACT)
    assert found.still == pytest.approx(1 - plain.sum(axis=0), abs=EXACT)
    assert found.spent * horizon == pytest.approx(days_closed(plain_curve(rows, horizon), horizon), abs=1e-11)


@settings(deadline=None, derandomize=True)
@given(some_rows, st.integers(1, 25), st.lists(st.integers(0, 3), min_size=30, max_size=30), lengths)
def test_a_weight_counts_as_so_many_rows(rows, horizon, times, length):
    times = np.array(times[: len(rows)])
    repeated = [row for row, number in zip(rows, times, strict=True) for _ in range(number)]
    if not repeated:
        return
    found = plain_shares(rows, horizon, np.column_stack([times, 2.0 * times]), length)
    again = plain_shares(repeated, horizon, lengths=length)
    for column in (0, 1):  # and only their proportions matter
        assert found.closed[:, column] == pytest.approx(again.closed[:, 0], abs=EXACT)
        assert found.still[:, column] == pytest.approx(again.still[:, 0], abs=EXACT)
        assert found.states[:, column] == pytest.approx(again.states[:, 0], abs=EXACT)


@settings(deadline=None, derandomize=True)
@given(some_rows, st.integers(1, 25), lengths, st.integers(0, 10**6))
def test_every_day_of_a_row_lies_in_the_week_that_holds_it(rows, horizon, length, seed):
    """A random weight for each week against a loop over days."""
    pieces, wound, begins = followed(rows, horizon, length)
    generator = np.random.default_rng(seed)
    passing = generator.uniform(0.5, 2, (len(wound), 1))
    base = generator.uniform(0.5, 2, (len(rows), 1))
    at_risk, closed, died = np.zeros(horizon + 1), np.zeros(horizon + 1), np.zeros(horizon + 1)
    for number, (clock, until, cause) in enumerate(rows):
        for day in range(1, min(until - clock, horizon) + 1):
            week = max(np.flatnonzero((wound == number) & (begins <= clock + day)))
            weight = base[number, 0] * passing[week, 0]
            at_risk[day] += weight
            closed[day] += weight * (cause == CLOSED and clock + day == until)
            died[day] += weight * (cause != CLOSED and cause != NOWHERE and clock + day == until)
    still, share = 1.0, [0.0]
    for day in range(1, horizon + 1):
        share.append(share[-1] + (still * closed[day] / at_risk[day] if at_risk[day] else 0))
        still *= 1 - ((closed[day] + died[day]) / at_risk[day] if at_risk[day] else 0)
    found = shares(pieces, base, passing)
    assert found.closed[:, 0] == pytest.approx(share, abs=EXACT)
    assert found.still[-1, 0] == pytest.approx(still, abs=EXACT)


@pytest.mark.parametrize(("closes", "share"), [(13, 1 / 4), (14, 3 / 6)])
def test_a_weight_changes_on_the_day_a_week_begins_and_not_before(closes, share):
    """Weeks begin on days 7 and 14; the first of four rows weighs three times as much from day 14 on.

    Closing on day 13 it is one of four; on day 14 it is three of six.
    """
    rows = [(6, closes, CLOSED)] + [(6, 20, NOWHERE)] * 3
    pieces, wound, begins = followed(rows, 14)
    passing = np.where((wound == 0) & (begins >= 14), 3.0, 1.0)[:, None]
    found = shares(pieces, np.ones((4, 1)), passing)
    assert found.closed[closes - 6, 0] == pytest.approx(share, abs=EXACT)
    assert found.closed[closes - 7, 0] == 0


def test_a_wound_that_is_lost_is_stood_for_by_the_one_like_it():
    """Of two pairs one wound each is lost on day 10; those who stay weigh two from the next week on: 2 of 4 close."""
    rows = [(6, 10, NOWHERE), (6, 20, CLOSED), (6, 10, NOWHERE), (6, 27, NOWHERE)]
    pieces, wound, begins = followed(rows, 21)
    found = shares(pieces, np.ones((4, 1)), np.where(begins >= 14, 2.0, 1.0)[:, None])
    assert found.closed[[13, 14, 21], 0].tolist() == [0, 0.5, 0.5]


def test_what_ends_on_the_last_day_counts_and_what_ends_after_it_does_not():
    found = plain_shares([(6, 20, CLOSED), (6, 21, CLOSED), (6, 22, CLOSED)], 14)
    assert found.closed[:, 0].tolist() == [0] * 14 + [pytest.approx(1 / 3)]
    assert len(found.closed) == 15


def test_whoever_was_last_seen_on_the_day_of_a_closing_is_still_at_risk():
    assert plain_shares([(0, 5, CLOSED), (0, 5, NOWHERE)], 7).closed[5, 0] == 0.5


def test_a_row_followed_for_no_day_adds_nothing():
    rows = [(6, 10, CLOSED), (6, 20, NOWHERE)]
    alone, beside = plain_shares(rows, 14), plain_shares([*rows, (6, 6, CLOSED), (9, 8, DIED)], 14)
    assert (beside.closed == alone.closed).all() and (beside.still == alone.still).all()
    pieces, _, _ = followed([*rows, (6, 6, CLOSED), (9, 8, DIED)], 14)
    assert set(pieces.row) == {0, 1}


def test_arms_without_anybody_stay_open():
    found = plain_shares([(0, 5, CLOSED)], 7, np.zeros((1, 1)))
    assert (found.closed == 0).all() and (found.still == 1).all() and (found.states == 0).all()


def test_the_part_of_time_spent_closed_is_the_area_under_the_share_closed():
    """One of two closes at the end of day 4: of the ten days six are spent closed, by one half."""
    found = plain_shares([(0, 4, CLOSED), (0, 20, NOWHERE)], 10)
    assert found.spent == pytest.approx(0.5 * 6 / 10)
    assert found.spent * 10 == pytest.approx(sum(found.closed[day, 0] for day in range(10)))


def test_the_shares_of_all_causes_and_of_the_open_are_one():
    rows = [(0, 3, cause) for cause in range(len(CAUSES))] + [(0, 9, NOWHERE), (0, 9, CLOSED)]
    found = plain_shares(rows, 10)
    assert found.states[:, 0] == pytest.approx([1 / 7 + 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7])
    assert found.states.sum() + found.still[-1, 0] == pytest.approx(1, abs=EXACT)


@settings(deadline=None, derandomize=True)
@given(some_rows, st.integers(1, 25), st.lists(st.booleans(), min_size=30, max_size=30))
def test_deaths_among_the_treated_raise_neither_figure(rows, horizon, dying):
    """Closings become deaths, and open rows die on the day they were last seen or on the last of the horizon.

    On an earlier day a death may raise both a little where others were lost from view between: what was lost is then
    shared among fewer (of one lost on day 1, one open and one closed on day 2 the closed share is 1/2; with a death of
    the open one on day 1 it is 2/3). Where nobody is lost nothing rises: see the test below.
    """
    turned = []
    for (clock, until, cause), dies in zip(rows, dying, strict=False):
        if dies and cause in (CLOSED, NOWHERE):
            until, cause = (until if cause == CLOSED else min(until, clock + horizon)), DIED
        turned.append((clock, until, cause))
    before, after = plain_shares(rows, horizon), plain_shares(turned, horizon)
    assert (after.closed <= before.closed + EXACT).all()
    assert after.spent[0] <= before.spent[0] + EXACT
    assert after.states[DIED, 0] >= before.states[DIED, 0] - EXACT


def test_deaths_instead_of_staying_open_leave_the_share_closed_as_it_was():
    """Five of ten close on day 10; the others stay open, or die on day 3: five of ten closed all the same."""
    rows = [(0, 10, CLOSED)] * 5 + [(0, 30, NOWHERE)] * 5
    dead = [(0, 10, CLOSED)] * 5 + [(0, 3, DIED)] * 5
    for case in (rows, dead):
        assert plain_shares(case, 28).closed[-1, 0] == pytest.approx(0.5, abs=EXACT)
        assert plain_shares(case, 28).spent[0] == pytest.approx(0.5 * 18 / 28, abs=EXACT)


def test_mgus2_is_aalen_johansen_and_not_one_minus_kaplan_meier():
    """Kyle et al. 2002, N Engl J Med 346:564, in months; 1 - KM gives 0.042154, 0.095222 and 0.209562 (curves.R)."""
    people = pd.read_csv(REFERENCE / "mgus2.csv")
    codes = people["event"].map({"progression": CLOSED, "death": DIED}).fillna(NOWHERE).astype(int)
    rows = [(0, months, cause) for months, cause in zip(people["months"], codes, strict=True)]
    found = plain_shares(rows, 240, lengths=(60,)).closed[[60, 120, 240], 0]
    assert found == pytest.approx([0.034104, 0.063722, 0.099814], abs=5e-7)


@pytest.mark.parametrize("cause", ["closed", "died", "hospital", "left"])
def test_ties_within_days_give_the_shares_of_r(cause):
    """200 invented wounds with heavy ties (tied_competing.csv, curves.R)."""
    wounds = pd.read_csv(REFERENCE / "tied_competing.csv")
    numbers = pd.read_csv(REFERENCE / "curves.csv", dtype={"group": str})
    known = numbers[(numbers.case == "tied_competing") & (numbers.quantity == f"aj_share_{cause}")]
    assert list(known["at"]) == [28, 56, 84]
    codes = wounds["event"].map(CODES).fillna(NOWHERE).astype(int)
    rows = [(0, day, code) for day, code in zip(wounds["day"], codes, strict=True)]
    for at, value in zip(known["at"].astype(int), known["value"], strict=True):
        assert plain_shares(rows, at).states[CODES[cause], 0] == pytest.approx(value, abs=1e-9)


@settings(deadline=None, derandomize=True)
@given(some_rows, st.integers(1, 25), st.lists(st.booleans(), min_size=30, max_size=30))
def test_the_rows_of_a_mask_are_followed_as_if_they_stood_alone(rows, horizon, chosen):
    mask = np.array(chosen[: len(rows)])
    pieces, wound, _ = followed(rows, horizon)
    generator = np.random.default_rng(1)
    base, passing = generator.uniform(0.5, 2, (len(rows), 2)), generator.uniform(0.5, 2, (len(wound), 2))
    own = take(pieces, mask)
    assert own.horizon == horizon and set(own.row) <= set(range(mask.sum()))
    assert [(row, week) for row, week in zip(np.flatnonzero(mask)[own.row], own.week, strict=True)] == [
        (row, week) for row, week in zip(pieces.row, pieces.week, strict=True) if mask[row]
    ]
    alone, silent = shares(own, base[mask], passing), shares(pieces, base * mask[:, None], passing)
    assert alone.closed == pytest.approx(silent.closed, abs=EXACT)
    assert alone.states == pytest.approx(silent.states, abs=EXACT)


def test_days_before_the_day_of_number_nought_are_days_like_any_other():
    wound, clock, until, cause = np.array([0, 0, 1]), np.array([3, 10, 5]), np.array([30, 30, 25]), np.array([0, 0, 1])
    weeks_wound, weeks_begin = np.array([0, 0, 0, 1, 1]), np.array([0, 7, 14, 2, 9])
    one, other = (
        follow(wound, clock - back, until - back, cause, weeks_wound, weeks_begin - back, 21) for back in (0, 500)
    )
    assert one.row.tolist() == other.row.tolist() and one.week.tolist() == other.week.tolist()
    assert (one.enters != other.enters).nnz == 0
