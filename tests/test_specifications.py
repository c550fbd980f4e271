"""The same question under other rules: which are tried, and that each row is what its plan would have answered."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kit.compared import compared, other_ways, weeks
from kit.healing.answers import answer, withheld
from kit.healing.other_answers import ALIKE, NOT_MADE
from kit.plan import COVARIATES, Plan
from kit.sensitivity import specifications as module
from kit.sensitivity.specifications import (
    ALL,
    AS_PLANNED,
    PLANNED,
    SIZES,
    Choice,
    edited,
    in_words,
    own_choice,
    pairs,
    singles,
    specifications,
)
from kit.study import read_study
from kit.words import FORBIDDEN
from tests.told import answers_of, row_of

CLOSE = 1e-6  # points; weights are sought until the last step is below 1e-6
FOLDER = Path("data/synthetic/lifelike")
FEW = 20  # draws, where limits are not what is tested
OWN = Choice(14, 7, 14, 12)
SHORT = {
    "run_in_days": (14,),
    "fresh_days": (7,),
    "confirm_days": (14,),
    "horizon_weeks": (12,),
    "levelled": (PLANNED,),
}


def offering(monkeypatch, **values):
    monkeypatch.setattr(module, "OFFERED", SHORT | values)


@pytest.fixture(autouse=True)
def anew():
    """What one test offered to choose from is no answer to the next."""
    module._edited.cache_clear()


@pytest.fixture(scope="module")
def lifelike():
    study = read_study(FOLDER)
    return study, compared(study)


# --- which rules are tried ---


def test_each_choice_alone_and_every_two_together():
    alone = singles(OWN, "closed")
    # 3 run-ins, 2 of each other choice; pairs: 2 far run-ins with 8 others, and 6 pairs of the other four with 4 each.
    assert len(alone) == 3 + 4 * 2
    both = pairs(alone, OWN)
    assert len(both) == 2 * 8 + 6 * 4
    assert all(len(module.changed(choice, OWN)) == 2 for choice in both)
    assert len({*alone, *both, OWN}) == len(alone) + len(both) + 1


def test_run_ins_between_the_farthest_are_tried_alone():
    both = pairs(singles(OWN, "closed"), OWN)
    assert {choice.run_in_days for choice in both} == {0, 14, 28}


def test_the_plans_own_values_are_no_edit_and_are_kept_beside_others():
    own = Choice(21, 3, 10, 16)
    alone = singles(own, "closed")
    assert len(alone) == 4 + 3 + 3 + 3 + 2 and own not in alone


def test_of_the_early_response_the_horizon_stays():
    assert {choice.horizon_weeks for choice in singles(replace(OWN, horizon_weeks=4), "early")} == {4}


def test_a_choice_is_said_in_words():
    assert in_words(OWN, OWN) == AS_PLANNED
    assert in_words(replace(OWN, run_in_days=0), OWN) == "0 days of usual care first"
    other = replace(OWN, horizon_weeks=8, levelled=SIZES)
    assert in_words(other, OWN) == "closed by week 8, size and its course alone levelled"


# --- what the plan becomes ---


def test_an_edited_plan_is_one_that_could_have_been_written(lifelike):
    plan = lifelike[0].plan
    for choice in (own_choice(lifelike[1]), *singles(OWN, "closed"), *pairs(singles(OWN, "closed"), OWN)):
        made = edited(plan, choice, "closed")
        assert made.regimens == ()
        whole = made.model_copy(update={"regimens": plan.regimens})
        assert Plan.model_validate(whole.model_dump()) == whole
        assert made.comparison.run_in_days == choice.run_in_days and made.sizes.fresh_days == choice.fresh_days
        assert made.following.confirm_days == choice.confirm_days
        assert made.comparison.horizons == (choice.horizon_weeks,)
        assert made.comparison.early_weeks < choice.horizon_weeks  # or closing by week 4 would be the early response


def test_covariates_are_none_the_plans_or_all_of_them_the_plans_first(lifelike):
    plan = lifelike[0].plan
    named = plan.comparison.covariates
    found = {name: edited(plan, replace(OWN, levelled=name), "closed").comparison for name in (SIZES, PLANNED, ALL)}
    assert found[SIZES].covariates == () and found[PLANNED].covariates == named
    assert found[ALL].covariates[: len(named)] == named and set(found[ALL].covariates) == set(COVARIATES)


def test_the_early_response_is_read_when_the_plan_says(lifelike):
    plan = lifelike[0].plan
    assert edited(plan, replace(OWN, horizon_weeks=4), "early").comparison.early_weeks == plan.comparison.early_weeks


# --- what a row is ---


def test_the_plans_own_row_is_the_answer(lifelike, monkeypatch):
    offering(monkeypatch)
    [row] = specifications(*lifelike).to_dict("records")
    told = lifelike[1].told.iloc[0]
    assert (row["edit"], row["changes"], row["is_plan"], row["not_computed"]) == (AS_PLANNED, 0, True, "")
    for name, part in (("amount", "difference"), ("low", "low"), ("high", "high")):
        assert row[name] == pytest.approx(100 * told[f"closed_{part}"])
    assert row["starters"] == told["starters"] and row["covariates"] == told["covariates"]


def test_a_row_is_what_a_plan_with_these_rules_answers(lifelike, monkeypatch, tmp_path):
    offering(monkeypatch, run_in_days=(0,), fresh_days=(5,), horizon_weeks=(8,))
    study, told = lifelike
    table = specifications(study, told, draws=FEW)
    text = (FOLDER / "study-plan.toml").read_text(encoding="utf-8")
    plan = tmp_path / "study-plan.toml"
    plan.write_text(text.replace("[comparison]", "[comparison]\nrun_in_days = 0\nhorizons = [8, 4]"), encoding="utf-8")
    other = read_study(FOLDER, plan)
    again = answer(weeks(other), other.measurements, other.plan, FEW)
    [row] = table[(table["run_in_days"] == 0) & (table["horizon_weeks"] == 8) & (table["fresh_days"] == 7)].to_dict(
        "records"
    )
    assert again.horizon_weeks == 8 and row["changes"] == 2
    assert row["amount"] == pytest.approx(100 * again.told["closed_difference"].iloc[0], abs=CLOSE)
    assert row["starters"] == again.told["starters"].iloc[0]


def test_a_fresh_size_and_a_closing_rule_reach_the_weeks_and_the_wounds(lifelike):
    study, _ = lifelike
    plain = module._weeks(study, 14, 7, 14).weeks
    np.testing.assert_array_equal(plain["reason"], weeks(study).weeks["reason"])
    assert (module._weeks(study, 14, 5, 14).weeks["reason"] == "").sum() != (plain["reason"] == "").sum()
    assert (module._weeks(study, 28, 7, 14).weeks["reason"] == "").sum() < (plain["reason"] == "").sum()
    seven, sixty = module._episodes(study, 7), module._episodes(study, 60)
    assert (sixty["outcome"] == "closed").sum() <= (seven["outcome"] == "closed").sum()
    assert sixty["confirmed"].sum() < seven["confirmed"].sum()


def test_a_choice_that_changes_nothing_is_not_tried_with_another(lifelike, monkeypatch):
    offering(monkeypatch, run_in_days=(0,), confirm_days=(13,))  # no closing here was undone on just the 14th day
    table = specifications(*lifelike, draws=FEW)
    assert table["changes"].tolist() == [0, 1, 1]
    assert table["amount"][2] == pytest.approx(table["amount"][0])
    assert table["amount"][1] != pytest.approx(table["amount"][0], abs=0.5)


def test_rows_that_level_the_same_stand_once(lifelike, monkeypatch):
    offering(monkeypatch, levelled=(SIZES, PLANNED, ALL))
    study, told = lifelike
    bare = study.plan.comparison.model_copy(update={"covariates": ()})
    plain = replace(study, plan=study.plan.model_copy(update={"comparison": bare}))
    own = answer(weeks(plain), plain.measurements, plain.plan, FEW)
    assert specifications(study, told, draws=FEW)["levelled"].tolist() == [PLANNED, SIZES, ALL]
    assert specifications(plain, own, draws=FEW)["levelled"].tolist() == [PLANNED, ALL]


def test_too_few_under_other_rules_are_said_and_have_no_number(lifelike, monkeypatch):
    offering(monkeypatch, run_in_days=(200,))
    table = specifications(*lifelike, draws=FEW)
    row = table.iloc[1]
    assert np.isnan(row["amount"]) and np.isnan(row["low"])
    assert row["not_computed"].startswith("too few under these rules: ") and "are needed" in row["not_computed"]
    assert row["starters"] < lifelike[1].told["starters"].iloc[0]


def test_the_row_of_wounds_that_somebody_resembled_is_taken_over(lifelike, monkeypatch):
    offering(monkeypatch)
    others = other_ways(lifelike[0])
    table = specifications(*lifelike, others)
    found = others[others["way"] == ALIKE].iloc[0]
    assert table["edit"].tolist() == [AS_PLANNED, ALIKE]
    assert table.loc[1, ["amount", "low", "high"]].tolist() == found[["amount", "low", "high"]].tolist()
    assert not table["is_plan"][1] and table["is_plan"][0]


@pytest.mark.parametrize("why", ["not carried", "stopped"])
def test_where_the_answer_is_not_told_nothing_is_worked_out(lifelike, monkeypatch, why):
    study, told = lifelike
    monkeypatch.setattr(module, "in_brief", None)  # asking would fail
    few = replace(answers_of(row_of(told=False)), layout=told.layout)
    table = specifications(study, few if why == "not carried" else withheld(told, "a warning"))
    assert len(table) == 12 and table["amount"].isna().all() and table["not_computed"].eq(NOT_MADE).all()


def test_nothing_given_is_changed(lifelike, monkeypatch):
    offering(monkeypatch, run_in_days=(0,), fresh_days=(5,))
    study, told = lifelike
    before = study.plan.fingerprint, study.episodes.copy(), told.told.copy()
    specifications(study, told, draws=FEW)
    assert study.plan.fingerprint == before[0]
    assert study.episodes.equals(before[1]) and told.told.equals(before[2])


def test_words_claim_nothing():
    said = [in_words(choice, OWN) for choice in (OWN, *singles(OWN, "closed"), *pairs(singles(OWN, "closed"), OWN))]
    text = f" {' '.join(said).lower()} "
    assert [word for word in FORBIDDEN if f" {word} " in text] == []
