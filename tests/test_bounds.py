"""Bounds counted by hand on ten wounds, and E-values for the ratio of shares beside their sources."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from kit.healing.answers import answer, withheld
from kit.healing.emulation import lay_out
from kit.healing.other_answers import NOT_MADE, ONLY_CLOSING
from kit.sensitivity import bounds as module
from kit.sensitivity.bounds import ALL_CLOSED, ALL_OPEN, ANSWER, CASES, LEAST, MOST, bounds, e_values_of, lost_wounds
from kit.words import FORBIDDEN
from tests.drawn import drawn
from tests.invented_weeks import invented, of_study
from tests.test_other_answers import HORIZON, rounds
from tests.told import answers_of, row_of

CLOSE = 1e-6  # sums of the same fractions in another order
PRINTED = 5e-6  # the reference values carry six digits
DELTA = 0.1  # of the log's width: limits by Wilson are not those of a normal approximation

# Clock: day 30; horizon: day 114. Of 4 that started S1 closed in it and S2 left on day 60; S3 left on day 120, after
# it. Of 6 beside O1 closed, O2 left on day 80, O3 was last seen on day 66; O6 started on day 50 and left on day 70.
COURSES = {
    "S1": rounds("S1", 45), "S2": rounds("S2", last=59), "S3": rounds("S3", last=119), "S4": rounds("S4"),
    "O1": rounds("O1", 52), "O2": rounds("O2", last=79), "O3": rounds("O3", last=66), "O4": rounds("O4"),
    "O5": rounds("O5"), "O6": rounds("O6", last=69),
}  # fmt: skip
OWNER = {name: f"R{number}" for number, name in enumerate(COURSES)}
STARTS = [("S1", 26), ("S2", 26), ("S3", 26), ("S4", 26), ("O6", 50)]
LEFT = [("S2", 60), ("S3", 120), ("O2", 80), ("O6", 70)]


def studied():
    return drawn(
        "wound day length width state\n" + "\n".join(line for lines in COURSES.values() for line in lines),
        wounds="wound resident kind\n" + "\n".join(f"{name} {owner} venous" for name, owner in OWNER.items()),
        sessions="wound day modality status\n" + "\n".join(f"{name} {day} ultrasound given" for name, day in STARTS),
        spans="resident wound span from_day\n" + "\n".join(f"{owner} . comfort_goal 31" for owner in OWNER.values()),
        departures="resident day reason\n" + "\n".join(f"{OWNER[name]} {day} left" for name, day in LEFT),
    )


@pytest.fixture(scope="module")
def study():
    return studied()


@pytest.fixture(scope="module")
def by_hand(study):
    """Answers whose layout is that of the ten wounds; the difference told is one that no case gives."""
    weeks = of_study(study).weeks
    layout = lay_out(weeks, study.measurements, study.plan, HORIZON)
    return replace(answers_of(row_of(closed_difference=0.111)), layout=layout)


def test_the_wounds_lost_within_the_horizon_are_counted_by_side(by_hand):
    layout = by_hand.layout
    assert (len(layout.starters.week), len(layout.others.week)) == (4, 6)
    assert lost_wounds(layout, layout.starters) == 1  # S2; S3 left after the horizon
    assert lost_wounds(layout, layout.others) == 2  # O2 and O3; O6 had started by then and is no longer beside


def test_the_bounds_are_those_counted_by_hand(by_hand, study):
    table = bounds(by_hand, study.measurements).set_index("case")
    # Closing: S1 or S1 and S2, of 4. Beside O1 on day 52 (day 22), O6 is followed to day 50, when all 6 are open:
    # after it 5 are followed. O1 closed 2 days after O6 started: 1/5; O2, O3 too: 3/5.
    assert table.loc[ANSWER, "amount"] == pytest.approx(11.1)
    assert table.loc[ALL_CLOSED, "amount"] == pytest.approx(100 * (2 / 4 - 3 / 5), abs=CLOSE)
    assert table.loc[ALL_OPEN, "amount"] == pytest.approx(100 * (1 / 4 - 1 / 5), abs=CLOSE)
    assert table.loc[MOST, "amount"] == pytest.approx(100 * (2 / 4 - 1 / 5), abs=CLOSE)
    assert table.loc[LEAST, "amount"] == pytest.approx(100 * (1 / 4 - 3 / 5), abs=CLOSE)
    assert table["starters_lost"].eq(1).all() and table["others_lost"].eq(2).all()


def test_a_wound_lost_on_the_last_day_of_the_horizon_was_open_on_it(by_hand, study):
    weeks = by_hand.layout.weeks
    last = weeks["end_day"].mask(weeks["wound"] == "S2", 30 + HORIZON)
    layout = lay_out(weeks.assign(end_day=last), study.measurements, study.plan, HORIZON)
    table = bounds(replace(by_hand, layout=layout), study.measurements).set_index("case")
    assert table.loc[MOST, "amount"] == pytest.approx(table.loc[ALL_OPEN, "amount"])  # S2 cannot have closed in it
    assert table.loc[MOST, "starters_lost"] == 0


def test_the_answer_lies_between_the_extremes_of_an_invented_facility():
    made = invented(Scenario(residents=200, starters=60, leaving=0.02))
    told = answer(made.judged, made.measurements, made.plan, draws=20)
    amounts = bounds(told, made.measurements).set_index("case")["amount"]
    assert amounts[LEAST] < amounts[[ANSWER, ALL_CLOSED, ALL_OPEN]].min()
    assert amounts[MOST] > amounts[[ANSWER, ALL_CLOSED, ALL_OPEN]].max()
    assert amounts[MOST] - amounts[LEAST] > 5  # at 2% a week many leave within the horizon


def test_with_nobody_lost_every_case_is_the_answer():
    made = invented(Scenario(residents=200, starters=60, leaving=0.0))
    told = answer(made.judged, made.measurements, made.plan, draws=20)
    table = bounds(told, made.measurements)
    assert table["starters_lost"].eq(0).all() and table["others_lost"].eq(0).all()
    assert table["amount"].to_numpy() == pytest.approx(np.full(len(CASES), table["amount"][0]), abs=CLOSE)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        (answers_of(row_of(told=False)), NOT_MADE),
        (answers_of(row_of(), measure="early"), ONLY_CLOSING),
        (withheld(answers_of(row_of()), "a warning"), NOT_MADE),
    ],
)
def test_where_no_closing_is_told_there_is_a_reason_and_the_lost_are_counted(by_hand, study, given, why):
    table = bounds(replace(given, layout=by_hand.layout), study.measurements)
    assert table["amount"].isna().all() and table["not_computed"].eq(why).all()
    assert table["starters_lost"].eq(1).all()
    assert e_values_of(replace(given, layout=by_hand.layout))["not_computed"].tolist() == [why]


# --- E-values ---


def test_the_e_value_of_a_ratio_is_the_published_one():
    # VanderWeele & Ding 2017, Ann Intern Med 167:268: a ratio of 3.9 needs 7.263034.
    shares = np.array([[0.39, 0.385, 0.395], [0.10, 0.098, 0.102]])
    row = module._ratio(pd.Series(row_of()), shares)
    assert row["risk_ratio"] == pytest.approx(3.9)
    assert row["e_value"] == pytest.approx(7.263034, abs=PRINTED)
    assert 1 < row["ratio_low"] < 3.9 < row["ratio_high"]
    low = row["ratio_low"]
    assert row["e_value_limit"] == pytest.approx(low + np.sqrt(low * (low - 1)))


def test_a_ratio_below_one_is_turned_over():
    row = module._ratio(pd.Series(row_of()), np.array([[0.40, 0.39, 0.41], [0.50, 0.49, 0.51]]))
    assert row["e_value"] == pytest.approx(1.809017, abs=PRINTED)  # of 0.8
    high = row["ratio_high"]
    assert high < 1 and row["e_value_limit"] == pytest.approx(1 / high + np.sqrt(1 / high * (1 / high - 1)))


def test_a_range_that_holds_one_needs_nothing():
    generator = np.random.default_rng(1)
    drawn_shares = np.clip(np.array([[0.35], [0.30]]) + 0.08 * generator.standard_normal((2, 400)), 0.01, 0.99)
    row = module._ratio(pd.Series(row_of()), np.hstack([[[0.35], [0.30]], drawn_shares]))
    assert row["ratio_low"] < 1 < row["ratio_high"] and row["e_value_limit"] == 1


def test_the_limits_of_the_ratio_are_near_those_of_its_logarithm():
    # Delta method: the variance of log(p1 / p0) is var1 / p1^2 + var0 / p0^2 where draws do not go together.
    generator = np.random.default_rng(2)
    shares = np.array([[0.4], [0.3]]) + 0.02 * generator.standard_normal((2, 4000))
    row = module._ratio(pd.Series(row_of(limits_at=1.96)), np.hstack([[[0.4], [0.3]], shares]))
    half = 1.96 * np.sqrt((0.02 / 0.4) ** 2 + (0.02 / 0.3) ** 2)
    assert np.log(row["ratio_high"] / row["ratio_low"]) / 2 == pytest.approx(half, rel=DELTA)


def test_shares_that_go_together_leave_the_ratio_more_certain():
    generator = np.random.default_rng(3)
    common, own = generator.standard_normal(400), generator.standard_normal((2, 400))
    rows = []
    for part in (0.0, 0.9):
        moved = 0.05 * (np.sqrt(part) * common + np.sqrt(1 - part) * own)
        rows.append(module._ratio(pd.Series(row_of()), np.hstack([[[0.4], [0.3]], [[0.4], [0.3]] + moved])))
    widths = [np.log(row["ratio_high"] / row["ratio_low"]) for row in rows]
    assert widths[1] < 0.6 * widths[0]


def test_where_nobody_closed_on_one_side_there_is_no_ratio():
    row = module._ratio(pd.Series(row_of()), np.array([[0.4, 0.4, 0.4], [0.0, 0.0, 0.0]]))
    assert row["not_computed"] == "nobody closed on one side" and "e_value" not in row


def test_the_ratio_of_a_study_is_that_of_the_shares_told():
    made = invented(Scenario(residents=200, starters=60))
    told = answer(made.judged, made.measurements, made.plan, draws=20)
    table = e_values_of(told, draws=50)
    carried = told.told[told.told["is_told"] & (told.told["beside"] == "no modality")]
    assert table["treated"].tolist() == carried["treated"].tolist()
    assert table["risk_ratio"].to_numpy() == pytest.approx(
        (carried["closed_treated"] / carried["closed_beside"]).to_numpy()
    )
    assert (table["ratio_low"] <= table["risk_ratio"]).all() and (table["risk_ratio"] <= table["ratio_high"]).all()


def test_words_claim_nothing(by_hand, study):
    text = " ".join(bounds(by_hand, study.measurements)[["case", "says"]].to_numpy().ravel()).lower()
    assert [word for word in FORBIDDEN if f" {word} " in f" {text} "] == []
