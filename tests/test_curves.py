"""The curves against hand-worked rows, R's survival package and statsmodels.

Numbers in tests/reference/curves.csv were made by tests/reference/curves.R (R survival 3.5.3, cmprsk 2.2.11).
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from statsmodels.duration.survfunc import CumIncidenceRight

from kit.healing.curves import days_closed, greenwood, incidence, median_days, restricted_mean
from kit.vocabulary import OUTCOMES

REFERENCE = Path(__file__).parent / "reference"
NUMBERS = pd.read_csv(REFERENCE / "curves.csv", dtype={"group": str})
EXACT = 1e-9  # both sides carry twelve digits


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / f"{name}.csv")


def published(case: str, quantity: str, group: str = "all") -> pd.DataFrame:
    rows = NUMBERS[(NUMBERS.case == case) & (NUMBERS.quantity == quantity) & (NUMBERS.group == group)]
    assert len(rows), f"no reference number for {case}, {quantity}, {group}"
    return rows


def share_at(curve: pd.DataFrame, column: str, days: pd.Series) -> np.ndarray:
    return curve[column].to_numpy()[np.searchsorted(curve["day"], days, side="right") - 1]


# Six rows worked by hand: Therneau & Grambsch 2000, Modeling Survival Data, appendix.
SIX_DAYS = np.array([1, 1, 6, 6, 8, 9])
SIX_ENDED = np.array([1, 0, 1, 1, 0, 1]) == 1


def test_six_rows_by_hand_give_the_textbook_curve():
    curve = greenwood(SIX_DAYS, SIX_ENDED).set_index("day")["share"]
    assert curve.loc[[1, 6, 9]].tolist() == pytest.approx([5 / 6, 5 / 6 * 2 / 4, 0], abs=EXACT)


def test_six_rows_by_hand_give_the_textbook_median_and_restricted_mean():
    curve = incidence(SIX_DAYS, np.where(SIX_ENDED, "closed", "open"), ("closed",))
    assert median_days(curve) == 6
    # 1 day at 1, 5 days at 5/6, 3 days at 5/12
    assert restricted_mean(SIX_DAYS, SIX_ENDED, 9).value == pytest.approx(1 + 5 * 5 / 6 + 3 * 5 / 12, abs=EXACT)
    assert restricted_mean(SIX_DAYS, SIX_ENDED, 9).value == pytest.approx(77 / 12, abs=EXACT)


@pytest.mark.parametrize("arm", ["6-MP", "control"])
def test_freireich_curve_and_greenwood_errors_are_those_of_r(arm):
    rows = data("freireich").query("arm == @arm")
    curve = greenwood(rows["time"].to_numpy(), rows["event"].to_numpy() == 1)
    for quantity, column in (("survival", "share"), ("survival_se", "error")):
        known = published("freireich", quantity, arm)
        assert share_at(curve, column, known["at"]) == pytest.approx(known["value"].to_numpy(), abs=EXACT)


@pytest.mark.parametrize("arm", ["6-MP", "control"])
def test_freireich_curve_is_that_of_lifelines(arm):
    rows = data("freireich").query("arm == @arm")
    curve = greenwood(rows["time"].to_numpy(), rows["event"].to_numpy() == 1)
    theirs = KaplanMeierFitter().fit(rows["time"], rows["event"]).survival_function_.iloc[:, 0]
    assert share_at(curve, "share", theirs.index) == pytest.approx(theirs.to_numpy(), abs=1e-9)


@pytest.mark.parametrize(("arm", "median"), [("6-MP", 23), ("control", 8)])
def test_freireich_medians_are_those_published(arm, median):
    """Freireich et al. 1963, Blood 21:699; data in MASS::gehan."""
    rows = data("freireich").query("arm == @arm")
    ended = np.where(rows["event"] == 1, "closed", "open")
    assert median_days(incidence(rows["time"].to_numpy(), ended, ("closed",))) == median


@pytest.mark.parametrize(
    ("arm", "horizon", "mean", "error"),
    [
        ("6-MP", 20, 16.116527, 1.251560),
        ("control", 20, 8.428571, 1.268083),
        ("6-MP", 23, 17.909244, 1.553190),
        ("control", 23, 8.666667, 1.377390),
    ],
)
def test_freireich_restricted_means_carry_the_error_of_the_mean_not_of_one_person(arm, horizon, mean, error):
    """R survival 3.5.3, print(survfit, rmean=). The spread of single times would be about five times as large."""
    rows = data("freireich").query("arm == @arm")
    found = restricted_mean(rows["time"].to_numpy(), rows["event"].to_numpy() == 1, horizon)
    assert (found.value, found.error) == pytest.approx((mean, error), abs=1e-6)


@pytest.mark.parametrize(("case", "event"), [("veteran", "status"), ("tiny_km", "event")])
def test_restricted_means_are_those_of_r(case, event):
    rows = data(case)
    for known in NUMBERS[(NUMBERS.case == case) & (NUMBERS.quantity == "restricted_mean")].itertuples():
        group = rows if known.group == "all" else rows[rows["trt"] == int(known.group)]
        found = restricted_mean(group["time"].to_numpy(), group[event].to_numpy() == 1, known.at)
        error = published(case, "restricted_mean_se", known.group).set_index("at")["value"][known.at]
        assert (found.value, found.error) == pytest.approx((known.value, error), abs=1e-6)


def test_veteran_restricted_means_at_a_year_are_those_published():
    """Kalbfleisch & Prentice 1980 data; values by R survival 3.5.3: 118.97 (13.02) and 112.40 (14.87)."""
    rows = data("veteran")
    for arm, mean, error in ((1, 118.97, 13.02), (2, 112.40, 14.87)):
        group = rows[rows["trt"] == arm]
        found = restricted_mean(group["time"].to_numpy(), group["status"].to_numpy() == 1, 365)
        assert (found.value, found.error) == pytest.approx((mean, error), abs=0.005)


def test_six_wounds_with_a_competing_death_by_hand():
    """heal, death, heal, censored, death, heal on days 1 to 6: 1/6; 1/6 + 4/6 x 1/4 = 1/3; 1/3 + 1/4 = 7/12."""
    rows = data("tiny_competing")
    curve = incidence(rows["time"].to_numpy(), rows["event"].to_numpy(), ("heal", "death"))
    heal = [curve.at(day)[0, 0] for day in range(1, 7)]
    assert heal == pytest.approx([1 / 6, 1 / 6, 1 / 3, 1 / 3, 1 / 3, 7 / 12], abs=EXACT)
    assert curve.at(6)[1, 0] == pytest.approx(5 / 12, abs=EXACT)


def test_mgus2_share_is_aalen_johansen_and_not_one_minus_kaplan_meier():
    """Kyle et al. 2002, N Engl J Med 346:564, data in R survival; 1-KM doubles the share at 240 months."""
    rows = data("mgus2")
    months, event = rows["months"].to_numpy(), rows["event"].to_numpy()
    curve = incidence(months, event, ("progression", "death"))
    found = [curve.at(month)[0, 0] for month in (60, 120, 240)]
    assert found == pytest.approx([0.034104, 0.063722, 0.099814], abs=5e-7)
    wrong = 1 - share_at(greenwood(months, event == "progression"), "share", pd.Series([60, 120, 240]))
    assert wrong == pytest.approx([0.042154, 0.095222, 0.209562], abs=5e-7)


@pytest.mark.parametrize("cause", ["closed", "died", "hospital", "left"])
def test_day_grained_ties_give_the_shares_of_r(cause):
    rows = data("tied_competing")
    curve = incidence(rows["day"].to_numpy(), rows["event"].to_numpy(), OUTCOMES)
    known = published("tied_competing", f"aj_share_{cause}")
    found = [curve.at(day)[OUTCOMES.index(cause), 0] for day in known["at"]]
    assert found == pytest.approx(known["value"].to_numpy(), abs=EXACT)


def test_days_closed_are_those_of_r():
    rows = data("tied_competing")
    curve = incidence(rows["day"].to_numpy(), rows["event"].to_numpy(), OUTCOMES)
    known = published("tied_competing", "days_in_state_closed").iloc[0]
    assert days_closed(curve, int(known["at"]))[0] == pytest.approx(known["value"], abs=1e-8)


def test_day_grained_ties_give_the_shares_of_statsmodels():
    rows = data("tied_competing")
    curve = incidence(rows["day"].to_numpy(), rows["event"].to_numpy(), OUTCOMES)
    codes = rows["event"].map({cause: number for number, cause in enumerate(OUTCOMES, 1)}).fillna(0).astype(int)
    other = CumIncidenceRight(rows["day"].to_numpy(), codes.to_numpy())
    for number, times in enumerate(other.cinc):
        at = [curve.at(day)[number, 0] for day in other.times]
        assert at == pytest.approx(times, abs=1e-12)


outcomes = st.sampled_from([*OUTCOMES, "open"])
wounds = st.lists(st.tuples(st.integers(0, 30), outcomes), min_size=1, max_size=40)


@settings(deadline=None, derandomize=True)
@given(wounds)
def test_shares_of_all_causes_and_of_the_open_add_up_to_one(rows):
    days, outcome = (np.array(column) for column in zip(*rows, strict=True))
    curve = incidence(days, outcome, OUTCOMES)
    assert (curve.shares.sum(axis=0) + curve.open_share) == pytest.approx(1, abs=1e-12)


@settings(deadline=None, derandomize=True)
@given(wounds, st.integers(1, 4))
def test_a_weight_counts_as_so_many_wounds(rows, times):
    days, outcome = (np.array(column) for column in zip(*rows, strict=True))
    weights = np.ones((len(rows), 1))
    weights[0] = times
    weighted = incidence(days, outcome, OUTCOMES, weights)
    repeated = incidence(
        np.append(days, [days[0]] * (times - 1)), np.append(outcome, [outcome[0]] * (times - 1)), OUTCOMES
    )
    assert weighted.shares == pytest.approx(repeated.shares, abs=1e-12)


@settings(deadline=None, derandomize=True)
@given(wounds, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(rows, shuffler):
    shuffled = list(rows)
    shuffler.shuffle(shuffled)
    one, other = (incidence(*map(np.array, zip(*order, strict=True)), OUTCOMES) for order in (rows, shuffled))
    assert one.shares == pytest.approx(other.shares, abs=1e-12)


def test_deaths_never_raise_the_days_closed():
    """Ten wounds close on day 10; let five of ten others die on day 5 instead of staying open."""
    days = np.array([10] * 10 + [30] * 10)
    outcome = np.array(["closed"] * 10 + ["open"] * 10)
    before = days_closed(incidence(days, outcome, OUTCOMES), 28)[0]
    dead_days, dead = days.copy(), outcome.copy()
    dead_days[10:15], dead[10:15] = 5, "died"
    assert days_closed(incidence(dead_days, dead, OUTCOMES), 28)[0] == pytest.approx(before, abs=1e-12)
    assert before == pytest.approx(0.5 * 18)


def test_the_median_of_a_curve_flat_at_one_half_is_the_first_day_at_half():
    """R's survfit gives the middle of the flat stretch, 15; the convention here is the first day."""
    curve = incidence(np.array([10, 10, 20, 20]), np.array(["closed"] * 4), ("closed",))
    assert median_days(curve) == 10


def test_a_median_that_is_never_reached_is_not_a_number():
    assert np.isnan(median_days(incidence(np.array([5, 9, 9]), np.array(["closed", "open", "died"]), OUTCOMES))[0])


def test_a_median_at_half_up_to_rounding_is_found():
    """Six of twelve closed one by one: the product of eleven fractions misses one half by rounding."""
    days = np.arange(1, 13)
    outcome = np.array(["closed"] * 6 + ["open"] * 6)
    assert median_days(incidence(days, outcome, ("closed",))) == 6
