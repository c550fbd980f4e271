"""Observed beside expected: hand-solved examples, what planted differences come to, and what is not told."""

import numpy as np
import pandas as pd
import pytest

from kit.context import expected as expecting
from kit.context.after_start import FEW, LOST_SIGHT, NO_CALENDAR
from kit.context.case_mix import ALONE, CLOSED, EARLY, NO_OUTCOME, NONE_KNOWN, case_mix, pseudo_values
from kit.context.expected import design, fitted
from tests.test_after_start import plan_of

EXACT = 1e-9  # sums of at most a few hundred numbers
SOLVED = 1e-6  # as near as Newton's method comes
CUTOFF = 300
PLAN = plan_of()


def cohort(rows, home="A", kind="venous", first=0):
    """Wounds as (days followed, outcome), entered on day 100 at 10 cm2, one resident each."""
    names = [f"{home}{number:03}" for number in range(first, first + len(rows))]
    return pd.DataFrame(
        {
            "wound": names,
            "resident": names,
            "facility": home,
            "kind": kind,
            "entry_stage": None,
            "entry_day": pd.array([100] * len(rows), dtype="Int64"),
            "entry_size": 10.0,
            "end_day": pd.array([100 + days for days, _ in rows], dtype="Int64"),
            "outcome": [outcome for _, outcome in rows],
            "in_cohort": True,
        }
    )


NO_SIZES = pd.DataFrame({"wound": [], "day": [], "state": [], "size": [], "necrosis_share": []}).astype(
    {"wound": object, "day": "int64", "state": object, "size": float, "necrosis_share": float}
)
OPENED = [(150, "open")]
SHUT = [(40, "closed")]


def mixed(episodes, measurements=NO_SIZES, plan=PLAN, covariates=(), measure=CLOSED, draws=30):
    onsets = pd.DataFrame({"wound": episodes["wound"], "onset": pd.array([pd.NA] * len(episodes), dtype="Int64")})
    told = case_mix(episodes, measurements, onsets, plan, covariates, draws=draws)
    return told[told["measure"] == measure].set_index("facility")


# --- by hand ---


def two_houses():
    """A: 20 diabetic feet of which 4 close and 10 venous of which 6 do; B: 10 of which 1 does, 20 of which 13 do."""
    parts = [
        cohort(SHUT * 4 + OPENED * 16, "A", "diabetic_foot"),
        cohort(SHUT * 6 + OPENED * 4, "A", "venous", first=20),
        cohort(SHUT * 1 + OPENED * 9, "B", "diabetic_foot"),
        cohort(SHUT * 13 + OPENED * 7, "B", "venous", first=10),
    ]
    return pd.concat(parts, ignore_index=True)


def test_indirect_standardization_by_hand(monkeypatch):
    """In the group 5 of 30 diabetic feet and 19 of 30 venous wounds close: 24 of 60 in all.

    A is expected to have 20 x 5/30 + 10 x 19/30 = 9.667 and has 10, B 10 x 5/30 + 20 x 19/30 = 14.333 and has 14.
    Their shares as they are, 10/30 and 14/30, come to 0.4 x 10 / 9.667 = 0.4138 and 0.4 x 14 / 14.333 = 0.3907.
    """
    monkeypatch.setattr(expecting, "SPREAD", 1e6)  # the same without the ridge, which a hand cannot follow
    told = mixed(two_houses(), covariates=("kind",))
    assert told["observed"].tolist() == pytest.approx([10, 14], abs=SOLVED)
    assert told["expected"].tolist() == pytest.approx([29 / 3, 43 / 3], abs=SOLVED)
    assert told["raw_share"].tolist() == pytest.approx([1 / 3, 14 / 30], abs=SOLVED)
    assert told["standardized"].tolist() == pytest.approx([0.4 * 30 / 29, 0.4 * 42 / 43], abs=SOLVED)


def test_the_ridge_moves_the_example_by_less_than_half_a_wound():
    told = mixed(two_houses(), covariates=("kind",))
    assert told["expected"].tolist() == pytest.approx([29 / 3, 43 / 3], abs=0.5)
    assert told["covariates"].tolist() == ["kind", "kind"]


def test_pseudo_values_by_hand():
    """Closed, died, closed, seen so far, died, closed on days 1 to 6: by day 6 the share is 0.583333 (six times 3.5).

    Without the last wound it is 0.4, without the fourth 3 of 5, without the first 0.5: 3.5 less five times these.
    """
    outcome = np.array(["closed", "died", "closed", "open", "died", "closed"], dtype=object)
    parts = pseudo_values(np.arange(1, 7), outcome, 6)
    assert parts[[5, 3, 0]] == pytest.approx([3.5 - 2.0, 3.5 - 3.0, 3.5 - 2.5], abs=EXACT)


def test_pseudo_values_are_one_and_nought_where_nobody_leaves_view():
    outcome = np.array(["closed", "died", "closed", "open", "surgical_closure"], dtype=object)
    assert pseudo_values(np.array([5, 6, 90, 90, 7]), outcome, 84) == pytest.approx([1, 0, 0, 0, 0], abs=EXACT)


def test_without_covariates_the_share_is_that_of_aalen_and_johansen():
    """Of twenty, five leave on day 10 and six of the fifteen left close: 6/15, what was seen of all having stayed."""
    rows = [(10, "left")] * 5 + SHUT * 6 + OPENED * 9
    told = mixed(pd.concat([cohort(rows, "A"), cohort(rows, "B")], ignore_index=True))
    assert told["raw_share"].tolist() == pytest.approx([0.4, 0.4], abs=EXACT)
    assert told["standardized"].tolist() == pytest.approx([0.4, 0.4], abs=EXACT)


def test_without_covariates_nothing_is_changed():
    told = mixed(two_houses())
    assert told["standardized"].tolist() == pytest.approx(told["raw_share"].tolist(), abs=SOLVED)


# --- what must hold of any data ---


def drawn(seed=4):
    """Two facilities in which closing follows size in the same way; those of A are much smaller."""
    random = np.random.default_rng(seed)
    size = np.exp(np.concatenate([random.normal(0.3, 0.7, 150), random.normal(1.9, 0.7, 150)]))
    shut = random.random(300) < 1 / (1 + np.exp(-(1.0 - 1.3 * np.log(size))))
    lost = random.random(300) < 0.15
    rows = [
        (40, "closed") if one else (30, "open") if gone else (150, "open") for one, gone in zip(shut, lost, strict=True)
    ]
    both = pd.concat([cohort(rows[:150], "A"), cohort(rows[150:], "B")], ignore_index=True)
    return both.assign(entry_size=size)


def test_facilities_that_differ_by_size_alone_come_together():
    told = mixed(drawn(), covariates=("size",), draws=200)
    raw, standardized = told["raw_share"], told["standardized"]
    assert raw["A"] - raw["B"] > 0.3
    assert abs(standardized["A"] - standardized["B"]) < 0.12  # chance: each has a standard error of about 0.04
    assert ((told["low"] < told["group_share"]) & (told["group_share"] < told["high"])).all()


def test_over_the_group_expected_is_observed():
    told = mixed(drawn(), covariates=("size", "kind"))
    assert told["expected"].sum() == pytest.approx(told["observed"].sum(), abs=SOLVED)


def test_expected_chances_add_up_in_every_draw():
    random = np.random.default_rng(1)
    columns = np.column_stack([np.ones(80), random.normal(size=(80, 2))])
    parts, counts = random.normal(0.4, 0.6, 80), random.integers(0, 3, (80, 7)).astype(float)
    chances = fitted(columns, parts, counts)
    assert (counts * chances).sum(axis=0) == pytest.approx(parts @ counts, abs=SOLVED)
    assert ((chances > 0) & (chances < 1)).all()


def test_a_column_that_tells_all_does_not_run_away():
    columns = np.column_stack([np.ones(20), np.repeat([-1.0, 1.0], 10)])
    chances = fitted(columns, np.repeat([0.0, 1.0], 10), np.ones((20, 1)))[:, 0]
    assert 0.001 < chances[0] < 0.1 and chances[0] == pytest.approx(1 - chances[-1], abs=SOLVED)


def test_the_range_holds_the_share():
    told = mixed(two_houses(), covariates=("kind",), draws=200)
    assert ((told["low"] < told["standardized"]) & (told["standardized"] < told["high"])).all()


def test_the_same_draws_give_the_same_range():
    pd.testing.assert_frame_equal(mixed(two_houses()), mixed(two_houses().sample(frac=1, random_state=2)))


# --- what was charted ---


def test_a_covariate_that_nobody_charted_is_not_named():
    told = mixed(two_houses(), covariates=("size", "stage", "age of the wound", "kind", "necrosis"))
    assert set(told["covariates"]) == {"kind"}  # all are 10 cm2, without stage, onset or necrosis


def test_what_is_not_charted_of_some_is_the_mean_and_marked():
    own = two_houses().assign(entry_size=[5.0, 20.0, np.nan] * 20)
    columns, names = design(own, NO_SIZES, pd.DataFrame({"wound": [], "onset": []}), ("size",))
    assert (names, columns.shape) == (("size",), (60, 3))
    assert columns[2, 1] == pytest.approx(0, abs=EXACT)  # a standardized mean


def test_a_kind_of_fewer_than_ten_wounds_has_no_column():
    few = pd.concat([cohort(SHUT * 9, kind="arterial"), cohort(SHUT * 20, kind="venous", first=9)], ignore_index=True)
    columns, _ = design(few, NO_SIZES, pd.DataFrame({"wound": [], "onset": []}), ("kind",))
    assert columns.shape[1] == 2  # the intercept and venous


# --- the early response ---


def sizes(pairs):
    told = pd.DataFrame(pairs, columns=["wound", "day", "size"]).assign(state="open", necrosis_share=np.nan)
    return told.astype({"wound": object})


def early_house(home, smaller=6):
    """Twelve open for long: the first `smaller` of them halve by day 128, the others are as they were."""
    own = cohort(OPENED * 12, home)
    return own, [(wound, 128, 5.0 if n < smaller else 10.0) for n, wound in enumerate(own["wound"])]


def test_the_early_response_by_hand():
    """A: 6 of 12 halve; B: 3 of 12: 9 of 24 in the group."""
    (one, first), (other, second) = early_house("A"), early_house("B", smaller=3)
    told = mixed(pd.concat([one, other], ignore_index=True), sizes(first + second), measure=EARLY)
    assert told["observed"].tolist() == [6, 3]
    assert told["standardized"].tolist() == pytest.approx([0.5, 0.25], abs=SOLVED)


def test_early_who_died_was_not_smaller_and_who_left_has_no_outcome():
    (one, first), (other, second) = early_house("A"), early_house("B")
    more = cohort([(10, "died"), (12, "hospital"), (20, "closed"), (9, "left"), (8, "open")], "A", first=12)
    told = mixed(pd.concat([one, more, other], ignore_index=True), sizes(first + second), measure=EARLY)
    assert (told.loc["A", "wounds"], told.loc["A", "without_outcome"]) == (15, 2)
    assert told.loc["A", "observed"] == pytest.approx(7)  # six halved, one closed


def test_early_wounds_that_were_not_measured_are_like_those_that_were():
    (one, first), (other, second) = early_house("A"), early_house("B")
    more = cohort(OPENED * 4, "A", first=12)
    told = mixed(pd.concat([one, more, other], ignore_index=True), sizes(first + second), measure=EARLY)
    assert told.loc["A", "observed"] == pytest.approx(6 + 4 * 0.5)


def test_early_wounds_that_entered_too_late_are_left_out_even_if_they_closed():
    (one, first), (other, second) = early_house("A"), early_house("B")
    late = cohort(SHUT * 3, "A", first=12).assign(
        entry_day=pd.array([CUTOFF - 27] * 3, dtype="Int64"), end_day=pd.array([CUTOFF - 20] * 3, dtype="Int64")
    )
    told = mixed(pd.concat([one, late, other], ignore_index=True), sizes(first + second), measure=EARLY)
    assert told.loc["A", "wounds"] == 12


# --- what is not told ---


def test_a_facility_below_ten_residents_is_counted_and_takes_part_but_is_not_told():
    three = pd.concat([two_houses(), cohort(SHUT * 9, "C")], ignore_index=True)
    told = mixed(three)
    assert (told.loc["C", "wounds"], told.loc["C", "not_computed"]) == (9, FEW)
    assert np.isnan(told.loc["C", "standardized"])
    assert told.loc["A", "group_share"] == pytest.approx((24 + 9) / 69)


def test_one_facility_alone_has_nothing_to_stand_beside():
    told = mixed(cohort(SHUT * 6 + OPENED * 9))
    assert told.loc["A", "not_computed"] == ALONE
    assert told["standardized"].isna().all()


def test_a_facility_where_nearly_all_closed_is_told_though_one_left():
    quick = cohort([(20, "left")] + SHUT * 12, "C")
    told = mixed(pd.concat([two_houses(), quick], ignore_index=True))
    assert (told["not_computed"] == "").all()
    assert told.loc["C", "raw_share"] == pytest.approx(1.0)


def test_a_facility_that_lost_nearly_everybody_is_not_told():
    lost = cohort([(20, "left")] * 12 + OPENED * 4, "C")
    told = mixed(pd.concat([two_houses(), lost], ignore_index=True))
    assert told.loc["C", "not_computed"] == LOST_SIGHT
    assert (told.loc[["A", "B"], "not_computed"] == "").all()


@pytest.mark.parametrize("rows", [SHUT * 12, OPENED * 12])
def test_where_all_or_none_close_there_is_nothing_to_expect(rows):
    told = mixed(pd.concat([cohort(rows, "A"), cohort(rows, "B")], ignore_index=True))
    assert set(told["not_computed"]) == {NONE_KNOWN}


def test_without_a_calendar_closings_are_standardized_and_early_responses_are_not():
    undated = plan_of("safe_harbor")
    assert (mixed(two_houses(), plan=undated)["not_computed"] == "").all()
    assert set(mixed(two_houses(), plan=undated, measure=EARLY)["not_computed"]) == {NO_CALENDAR}


def test_where_no_size_is_known_early_there_is_no_outcome():
    """All 24 that close do so on day 40, after the four weeks, and nobody was measured on day 28."""
    assert set(mixed(two_houses(), measure=EARLY)["not_computed"]) == {NO_OUTCOME}
