"""Gain beside money: a plane of six draws by hand, when a ratio means something, and what it takes to pay."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2, t

from kit.context import worth as made_of
from kit.context.costs import FIXED, VARIABLE
from kit.context.gain import Drawn, settle
from kit.context.plane import (
    LESS_FEWER,
    LESS_MORE,
    MORE_FEWER,
    MORE_MORE,
    QUADRANTS,
    curve,
    fieller,
    quadrants,
    reach,
    region,
    within,
)
from kit.context.resources import COMPARED, ORDERED, RECORDED, Resources, resources
from kit.context.worth import (
    NO_DRESSINGS,
    NO_FIXED,
    NO_SAVINGS,
    NOBODY,
    NOT_MADE,
    ONLY_EARLY,
    UNPRICED,
    worth,
    worth_of,
)
from kit.healing.answers import withheld
from kit.healing.resampling import Z, difference_limits, widened
from kit.warned import answers_of
from tests.exports import PLAN, plan_of

CLOSE = 1e-9  # the same arithmetic in another order
LIMITS = 1e-6  # limits found on a fine grid

# Six draws: extra share closed, extra money a wound.
SIX = np.array([[0.10, 0.20, 0.05, -0.05, 0.15, -0.10], [100.0, 300, -50, 200, 250, -20]])
MIDDLE = (0.08, 150.0)


def plan(**costs):
    lines = "\n".join(f"{name} = {value}" for name, value in costs.items())
    return plan_of(f"{PLAN}\n[costs]\n{lines}\n")


def taken(wounds=40, **changed):
    """Resources of so many wounds, each on a resident, of which everything is recorded."""
    columns = {
        "sessions": 10, "staff_minutes": 200.0, "staff_filled": 0, "staff_unsaid": 0, "sets_filled": 0,
        "sets_unsaid": 0, "unpriced": 0, "dressings_beyond": 2.0, "dressings_filled": 0, "dressings_unsaid": 0,
        "device_months": 0.5,
    }  # fmt: skip
    names = [f"W{number}" for number in range(wounds)]
    own = {name: value for name, value in changed.items() if name in columns}
    frame = pd.DataFrame({"wound": names, "resident": [f"R{name}" for name in names], **columns, **own})
    other = {"changes_a_week": 3.0, "changes_from": ORDERED} | {k: v for k, v in changed.items() if k not in columns}
    return Resources(COMPARED, frame, pd.DataFrame(), horizon_weeks=12, **other)


def drawn(closed=SIX[0], money=SIX[1], middle=MIDDLE, people=40, weeks=0.0, closed_range=(-0.02, 0.18)):
    """Draws in which all money is variable; without weeks closed sooner nothing is saved."""
    whole = np.array([middle[1], *money])
    nothing = np.zeros(len(whole))
    sooner = np.full(len(whole), float(weeks))
    spent = {VARIABLE: whole, "dressings": nothing, FIXED: nothing}
    return Drawn(spent, people, np.array([middle[0], *closed]), sooner, closed_range, (weeks, weeks), people)


def part(found, name):
    return found.parts.set_index("part").loc[name]


# --- six draws by hand ---


def test_the_quarters_of_six_draws_by_hand():
    # (10, 100), (20, 300), (15, 250): more close, at more cost; (5, -50): at less; (-5, 200), (-10, -20): fewer close.
    assert quadrants(*SIX).tolist() == [MORE_MORE, MORE_MORE, LESS_MORE, MORE_FEWER, MORE_MORE, LESS_FEWER]
    found = settle(drawn(), taken(), plan(willingness_to_pay=1000))
    shares = dict(zip(found.quadrants["quadrant"], found.quadrants["of_draws"], strict=True))
    assert shares == pytest.approx(
        {LESS_MORE: 1 / 6, MORE_MORE: 3 / 6, LESS_FEWER: 1 / 6, MORE_FEWER: 1 / 6}, abs=CLOSE
    )


def test_net_benefit_of_six_draws_by_hand():
    found = settle(drawn(), taken(), plan(willingness_to_pay=1000))
    # 1000 x 0.08 - 150 = -70 in the whole sample.
    assert part(found, "net_benefit")["amount"] == pytest.approx(-70, abs=CLOSE)
    # Of the draws 100 - 100 = 0, 200 - 300, 50 + 50, -50 - 200, 150 - 250, -100 + 20: one is above nought, not two.
    assert found.pays_share == pytest.approx(1 / 6, abs=CLOSE)
    benefits = np.array([0, -100, 100, -250, -100, -80])
    assert part(found, "net_benefit")["error"] == pytest.approx(benefits.std(), abs=CLOSE)


def test_the_curve_of_six_draws_by_hand():
    told = curve(*SIX, np.array([0.0, 1000, 1600, 2001]))
    # At no worth what costs less counts: two. At 1000 one, as above. At 1600: 60, 20, 130, -280, -10, -140: three. At
    # 2001 all four in which more close: 100.1, 100.2, 150.05, 50.15.
    assert told["pays_share"].tolist() == pytest.approx([2 / 6, 1 / 6, 3 / 6, 4 / 6], abs=CLOSE)


def test_six_draws_in_four_quarters_tell_no_ratio():
    found = settle(drawn(), taken(), plan())
    assert np.isnan(found.ratio).all() and not found.quadrants["whole_region"].any()


def test_six_draws_that_all_say_more_and_dearer_tell_a_ratio():
    closed, money = np.array([0.19, 0.20, 0.21, 0.20, 0.195, 0.205]), np.array([390.0, 400, 410, 405, 400, 395])
    found = settle(drawn(closed, money, (0.20, 400.0), closed_range=(0.17, 0.23)), taken(), plan())
    assert found.quadrants.loc[found.quadrants["whole_region"], "quadrant"].tolist() == [MORE_MORE]
    ratio, low, high = found.ratio
    assert ratio == pytest.approx(400 / 0.20, abs=CLOSE) and low < 2000 < high


@pytest.mark.parametrize(
    ("middle", "where", "told"),
    [
        ((0.20, 400.0), MORE_MORE, True),
        ((-0.20, -400.0), LESS_FEWER, True),
        ((0.20, -400.0), LESS_MORE, False),
        ((-0.20, 400.0), MORE_FEWER, False),
    ],
)
def test_a_ratio_is_told_only_where_both_are_more_or_both_less(middle, where, told):
    noise = np.random.default_rng(1).normal(size=(2, 200)) * [[0.01], [10]]
    closed, money = middle[0] + noise[0], middle[1] + noise[1]
    # Whether money below nought is saved or never spent is all the same to the plane.
    given = drawn(closed, money, middle, closed_range=(middle[0] - 0.03, middle[0] + 0.03))
    found = settle(given, taken(), plan())
    assert found.quadrants.loc[found.quadrants["whole_region"], "quadrant"].tolist() == [where]
    assert np.isfinite(found.ratio).all() == told


@pytest.mark.parametrize("each", [500, 1999, 2001, 8000])
@pytest.mark.parametrize("sign", [1, -1])
def test_where_a_ratio_is_told_it_says_what_net_benefit_says(each, sign):
    noise = np.random.default_rng(2).normal(size=(2, 200)) * [[0.005], [5]]
    closed, money = sign * 0.20 + noise[0], sign * 400 + noise[1]
    limits = tuple(sorted((sign * 0.19, sign * 0.21)))
    given = drawn(closed, money, (sign * 0.20, sign * 400.0), closed_range=limits)
    found = settle(given, taken(), plan(willingness_to_pay=each))
    # More closings pay where each costs less than it is worth; fewer where each one lost saves more than that.
    pays = found.ratio[0] < each if sign > 0 else found.ratio[0] > each
    assert (part(found, "net_benefit")["amount"] > 0) == pays


def test_a_region_that_touches_nought_tells_no_ratio_though_the_range_of_closings_does_not():
    noise = np.random.default_rng(3).normal(size=(2, 400))
    closed, money = 0.20 + 0.09 * noise[0], 400 + 10 * noise[1]
    # 0.20 is 2.2 standard errors from nought: outside of 95% for one number, inside for both together.
    found = settle(drawn(closed, money, (0.20, 400.0), closed_range=(0.02, 0.38)), taken(), plan())
    assert np.isnan(found.ratio).all()


# --- parts of the plane ---


def test_a_point_on_a_line_belongs_to_the_worse_side():
    assert quadrants(np.array([0.0, 0.0, 0.1]), np.array([-1.0, 1.0, 0.0])).tolist() == [
        LESS_FEWER,
        MORE_FEWER,
        MORE_MORE,
    ]


@pytest.mark.parametrize(
    ("closed", "money", "where"),
    [
        ((0.01, 0.2), (1, 9), MORE_MORE), ((-0.2, -0.01), (1, 9), MORE_FEWER), ((0.01, 0.2), (-9, -1), LESS_MORE),
        ((-0.2, -0.01), (-9, -1), LESS_FEWER), ((-0.01, 0.2), (1, 9), ""), ((0.01, 0.2), (-1, 9), ""),
        ((0.0, 0.2), (1, 9), ""),
    ],
)  # fmt: skip
def test_a_region_lies_in_a_quarter_only_as_a_whole(closed, money, where):
    assert within(closed, money) == where


def test_the_region_of_very_many_people_is_that_of_the_normal_distribution():
    assert reach(10**7) == pytest.approx(np.sqrt(chi2.ppf(0.95, 2)), abs=1e-5)
    assert reach(16) > reach(60) > reach(10**7)


def test_every_point_of_the_edge_stands_equally_far_off_in_errors():
    draws = np.random.default_rng(4).multivariate_normal([0.1, 300], [[0.004, -2.0], [-2.0, 4000]], 500).T
    edge = region((0.1, 300.0), draws, 30)
    away = edge.to_numpy() - [0.1, 300.0]
    squared = np.einsum("ni,ij,nj->n", away, np.linalg.inv(np.cov(draws)), away)
    assert squared == pytest.approx(np.full(len(edge), reach(30) ** 2), rel=1e-6)


def test_money_that_never_varies_leaves_a_region_without_breadth():
    draws = np.stack([np.random.default_rng(5).normal(0.1, 0.05, 300), np.full(300, 50.0)])
    edge = region((0.1, 50.0), draws, 30)
    assert edge["extra_money"].tolist() == pytest.approx([50.0] * len(edge), abs=LIMITS)
    assert edge["extra_closed"].max() == pytest.approx(0.1 + reach(30) * draws[0].std(ddof=1), abs=1e-4)


# --- Fieller's limits ---


def test_fiellers_limits_of_a_ratio_by_hand():
    # 6 over 3 with variances 1 and 1/4, apart, at two errors: a = 9 - 4/4 = 8, b = 18, c = 36 - 4 = 32;
    # (18 -+ sqrt(324 - 256)) / 8 = (18 -+ 8.24621) / 8.
    low, high = fieller(6, 3, np.diag([1, 0.25]), 2)
    assert (low, high) == (pytest.approx(1.219224, abs=LIMITS), pytest.approx(3.280776, abs=LIMITS))


def test_fiellers_limits_are_the_ratios_so_many_errors_from_nought():
    spread = np.array([[900.0, -0.2], [-0.2, 0.0004]])
    low, high = fieller(400, 0.2, spread, 2.03)
    for ratio in (low, high):
        error = np.sqrt(spread[0, 0] - 2 * ratio * spread[0, 1] + ratio**2 * spread[1, 1])
        assert abs(400 - ratio * 0.2) == pytest.approx(2.03 * error, rel=1e-9)


def test_a_ratio_of_two_numbers_that_always_go_together_is_certain():
    assert fieller(6, 3, np.array([[4.0, 2], [2, 1]]), 2) == pytest.approx((2, 2), abs=CLOSE)


def test_where_the_number_below_may_be_nought_the_limits_have_no_end():
    assert np.isnan(fieller(6, 1.9, np.diag([1.0, 1.0]), 2)).all()


# --- ranges ---


def test_with_money_that_never_varies_net_benefit_has_the_limits_of_the_difference():
    given = drawn(money=np.full(6, 150.0), closed_range=(-0.03, 0.21))
    found = settle(given, taken(), plan(willingness_to_pay=1000))
    ends = part(found, "net_benefit")[["low", "high"]].tolist()
    assert ends == pytest.approx([1000 * -0.03 - 150, 1000 * 0.21 - 150], abs=LIMITS)


def test_with_closings_worth_nothing_net_benefit_is_the_money_below_nought():
    found = settle(drawn(), taken(), plan(willingness_to_pay=0))
    money, benefit = part(found, "money"), part(found, "net_benefit")
    assert benefit[["amount", "low", "high"]].tolist() == pytest.approx(
        (-money[["amount", "high", "low"]]).tolist(), abs=CLOSE
    )


def test_money_has_limits_of_its_logarithm_at_so_many_errors():
    found = settle(drawn(people=15), taken(), plan())
    error = SIX[1].std()
    away = np.exp(t.ppf(0.975, 14) * error * np.sqrt(15 / 14) / 150)
    assert part(found, "treatment")[["low", "high"]].tolist() == pytest.approx([150 / away, 150 * away], rel=1e-9)


def test_the_limits_of_net_benefit_hold_it_in_19_of_20_small_studies():
    """15 residents a side; skewed cost, less where the wound closed. The share is known to within 1.5 points (two
    standard errors at 800 studies); percentile limits of the same draws hold it in 92 of 100."""
    rng, held, told = np.random.default_rng(6), 0, 800
    truth = 2000 * (0.45 - 0.33) - np.exp(6.8 + 0.45**2 / 2) * (0.45 * 0.7 + 0.55 * 1.2)
    for _ in range(told):
        closed, beside = rng.random(15) < 0.45, rng.random(15) < 0.33
        cost = np.exp(rng.normal(6.8, 0.45, 15)) * np.where(closed, 0.7, 1.2)
        one, none = (np.column_stack([np.ones(15), rng.multinomial(15, [1 / 15] * 15, 150).T]) / 15 for _ in range(2))
        shares = closed @ one, beside @ none
        limits = difference_limits(
            (shares[0][0], shares[1][0]), (shares[0][1:], shares[1][1:]), (15, 15), widened(Z, 15)
        )
        money = cost @ one
        given = drawn((shares[0] - shares[1])[1:], money[1:], (shares[0][0] - shares[1][0], money[0]), 15)
        row = part(settle(replace(given, closed_range=limits), taken(), plan_of(PLAN)), "net_benefit")
        held += row["low"] <= truth <= row["high"]
    assert 0.94 <= held / told <= 0.985


# --- savings, and what it takes to pay ---


def test_dressing_changes_saved_are_weeks_closed_sooner_times_changes_times_their_price():
    found = settle(drawn(weeks=0.5), taken(), plan(dressing=10))
    # Half a week sooner, three changes a week at 10.
    assert part(found, "saved")["amount"] == pytest.approx(15, abs=CLOSE)
    assert part(found, "money")["amount"] == pytest.approx(150 - 15, abs=CLOSE)


def test_where_changes_are_not_known_nothing_is_saved_and_that_is_said():
    own = taken(changes_from="", changes_a_week=np.nan)
    found = settle(drawn(weeks=0.5), own, plan())
    assert np.isnan(part(found, "saved")["amount"]) and part(found, "money")["amount"] == 150
    assert made_of._left_out(own) == (NO_SAVINGS,)


def test_break_even_by_hand():
    rows = settle(drawn(), taken(), plan(willingness_to_pay=1000, dressing=10)).break_even.set_index("pays_by")
    # 150 a wound: 100 x 150 / 1000 more closings of 100; 150 / (3 x 10) weeks of dressing changes.
    assert rows["amount"].to_dict() == pytest.approx({"closings": 15, "weeks": 5}, abs=CLOSE)
    assert rows["most"].to_dict() == {"closings": 100, "weeks": 12}
    assert (rows["low"] < rows["amount"]).all() and (rows["amount"] < rows["high"]).all()


def test_break_even_needs_no_effect_and_no_price_of_nought():
    alone = Drawn({name: values for name, values in drawn().spent.items()}, 40)
    told = settle(alone, taken(), plan(), NOT_MADE)
    assert told.break_even.equals(settle(drawn(), taken(), plan()).break_even)
    free = settle(alone, taken(), plan(willingness_to_pay=0, dressing=0), NOT_MADE)
    assert free.break_even["amount"].isna().all()


def test_recorded_changes_may_be_too_few_to_say_how_many_weeks_would_pay():
    rows = settle(drawn(), taken(changes_from=RECORDED), plan()).break_even.set_index("pays_by")
    assert np.isnan(rows.loc["weeks", "amount"]) and rows.loc["closings", "amount"] > 0


def test_what_has_no_amount_makes_the_money_at_least_so_much():
    assert not settle(drawn(), taken(), plan()).at_least
    for lacking in ("staff_unsaid", "sets_unsaid", "unpriced", "dressings_unsaid"):
        assert settle(drawn(), taken(**{lacking: 1}), plan()).at_least
    found = settle(drawn(), taken(device_months=np.nan), plan())
    assert found.at_least and np.isnan(part(found, "fixed")["amount"])
    assert made_of._left_out(taken(device_months=np.nan)) == (NO_FIXED,)
    assert made_of._left_out(taken(dressings_unsaid=1)) == (NO_DRESSINGS,)


# --- the invented group ---


@pytest.fixture(scope="module")
def group(lifelike):
    answers = answers_of(lifelike)
    return SimpleNamespace(
        answers=answers, taken=resources(lifelike, answers), plan=lifelike.plan, worth=worth_of(lifelike)
    )


def test_gain_is_the_comparisons_own_with_its_own_limits(group):
    row = group.answers.told.iloc[0]
    closed, weeks = part(group.worth, "closed"), part(group.worth, "weeks")
    ends = ("difference", "low", "high", "error")
    assert closed[["amount", "low", "high", "error"]].tolist() == pytest.approx(
        [row[f"closed_{end}"] for end in ends], abs=CLOSE
    )
    assert weeks[["amount", "low", "high", "error"]].tolist() == pytest.approx(
        [12 * row[f"spent_{end}"] for end in ends], abs=CLOSE
    )


def test_the_parts_of_the_money_add_up(group):
    amounts = group.worth.parts.set_index("part")["amount"]
    assert amounts[[VARIABLE, "dressings", FIXED]].sum() == pytest.approx(amounts["treatment"], abs=CLOSE)
    assert amounts["treatment"] - amounts["saved"] == pytest.approx(amounts["money"], abs=CLOSE)
    worth_each = group.plan.costs.willingness_to_pay
    assert worth_each * amounts["closed"] - amounts["money"] == pytest.approx(amounts["net_benefit"], abs=CLOSE)


def test_every_draw_has_its_gain_and_its_money(group):
    assert len(group.worth.draws) == group.answers.draws
    together = np.corrcoef(group.worth.draws.T)[0, 1]
    # A wound that closes is treated no longer: draws that close more cost less.
    assert together < -0.2


def test_what_may_not_be_compared_comes_to_no_money(group):
    found = worth(withheld(group.answers, "a warning stops it"), group.taken, group.plan)
    assert found.why == "a warning stops it"
    assert found.parts["part"].tolist() == [VARIABLE, "dressings", FIXED, "treatment"]
    assert found.draws.empty and found.region.empty and found.quadrants.empty and found.curve.empty
    assert np.isnan(found.pays_share) and np.isnan(found.ratio).all()
    # The treatment and what it takes to pay stand, as they do beside a comparison.
    assert part(found, "treatment").equals(part(group.worth, "treatment"))
    assert found.break_even.equals(group.worth.break_even)


def test_an_early_response_has_no_worth(group):
    found = worth(replace(group.answers, measure="early"), group.taken, group.plan)
    assert found.why == ONLY_EARLY and "closed" not in set(found.parts["part"])


def test_too_much_that_has_no_amount_sets_no_gain_beside_the_money(group):
    wounds = group.taken.wounds.assign(staff_unsaid=0)
    wounds.loc[0, "staff_unsaid"] = int(0.06 * wounds["sessions"].sum()) + 1
    assert worth(group.answers, replace(group.taken, wounds=wounds), group.plan).why == UNPRICED
    wounds.loc[0, "staff_unsaid"] = int(0.04 * wounds["sessions"].sum())
    found = worth(group.answers, replace(group.taken, wounds=wounds), group.plan)
    assert found.why == "" and found.at_least


def test_a_week_that_is_known_of_nobody_sets_no_gain_beside_the_money(group):
    wounds = group.taken.wounds.assign(gone_early=True)
    found = worth(group.answers, replace(group.taken, wounds=wounds.assign(spent_to=wounds["spent_from"])), group.plan)
    assert found.why == NOBODY and np.isnan(part(found, "treatment")["amount"])


def test_a_facility_too_small_to_compare_has_costs_alone(lifelike):
    found = worth_of(lifelike.at(lifelike.facilities[0]))
    assert found.why == NOT_MADE and part(found, "treatment")["amount"] > 0
    assert set(QUADRANTS) == set(worth_of(lifelike).quadrants["quadrant"]) and found.quadrants.empty
