"""The draft of the next plan: read back by the plan's own reader, windows moved on, the deciding quarter kept."""

import tomllib
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from benchmarks.invented_facility import Scenario
from benchmarks.planted_bias import evidence_of, invented_study
from kit.context.next_plan import KEPT, NOT_TOLD, PASSED, next_plan
from kit.plan import Plan, read_plan

NASTY = 'Straße "Nord" \\ 7 [x] # é'


@pytest.fixture(scope="module")
def answers():
    scenario = Scenario(residents=200, starters=60)
    return evidence_of(invented_study(scenario, np.random.default_rng(8)), 50, 1).answers


def plan_of(**parts) -> Plan:
    whole = {
        "program": {"name": NASTY, "basis": "operations"},
        "windows": {"quarter_begins": date(2026, 4, 1), "cutoff": date(2026, 6, 30)},
        "regimens": [{"name": 'mono "A"', "modality": "stimulation", "setup": "monopolar"}],
    }
    return Plan.model_validate(whole | parts)


def drafted(plan, answers, tmp_path) -> Plan:
    asked = replace(answers, layout=replace(answers.layout, plan=plan))
    path = tmp_path / "study-plan.toml"
    path.write_text(next_plan(plan, asked), encoding="utf-8")
    return read_plan(path)


BASES = {
    "calendar": {},
    "day numbers": {"windows": {"quarter_begins": 586, "cutoff": 760}},
    "safe harbor": {"program": {"name": NASTY, "basis": "safe_harbor"}, "windows": {}},
}


@pytest.mark.parametrize("basis", BASES)
def test_the_draft_is_read_back_with_the_same_rules(basis, answers, tmp_path):
    plan = plan_of(
        **BASES[basis], costs={"staff_minute": 1.25, "currency": "€"}, protocol={"minutes": (40, 50)},
        comparison={"horizons": (12, 8), "covariates": ("age",)}, refining={"questions": ("setup",)},
    )  # fmt: skip
    told = drafted(plan, answers, tmp_path)
    assert told.program == plan.program and told.regimens == plan.regimens
    assert told.costs == plan.costs and told.protocol == plan.protocol and told.refining == plan.refining
    assert told.comparison.horizons == (12, 8) and told.comparison.covariates == ("age",)


def test_the_windows_move_on_by_a_quarter(answers, tmp_path):
    told = drafted(plan_of(), answers, tmp_path)
    assert (told.windows.quarter_begins, told.windows.cutoff) == (date(2026, 7, 1), date(2026, 9, 30))


def test_day_numbers_move_by_their_length(answers, tmp_path):
    told = drafted(plan_of(**BASES["day numbers"]), answers, tmp_path)
    assert (told.windows.quarter_begins, told.windows.cutoff) == (761, 760 + 175)


def test_safe_harbor_has_no_windows_and_no_quarter_that_decides(answers, tmp_path):
    told = drafted(plan_of(**BASES["safe harbor"]), answers, tmp_path)
    assert told.cutoff is None and told.decides is None


def test_a_quarter_that_decides_is_never_moved(answers, tmp_path):
    plan = plan_of(comparison={"decides": date(2027, 3, 31)})
    assert KEPT in next_plan(plan, answers)
    assert drafted(plan, answers, tmp_path).comparison.decides == date(2027, 3, 31)


def test_one_that_is_over_says_so(answers):
    assert PASSED in next_plan(plan_of(comparison={"decides": date(2026, 6, 30)}), answers)


def test_where_none_is_named_the_one_at_this_pace_is_written_with_its_reason(answers, tmp_path):
    plan = plan_of()
    told = drafted(plan, answers, tmp_path)
    assert told.decides > told.cutoff - 1
    assert told.comparison.answer_months >= plan.comparison.answer_months
    text = next_plan(plan, replace(answers, layout=replace(answers.layout, plan=plan)))
    assert "starts are needed. What was observed so far is not in this reckoning." in text


def test_where_it_cannot_be_told_that_is_said(answers):
    few = replace(answers.layout.starters, week=answers.layout.starters.week[:3])
    plan = plan_of()
    told = next_plan(plan, replace(answers, layout=replace(answers.layout, plan=plan, starters=few)))
    assert NOT_TOLD in told and "decides" not in tomllib.loads(told).get("comparison", {})


def test_what_the_plan_does_not_name_stays_a_default(answers, tmp_path):
    told = tomllib.loads(next_plan(plan_of(), answers))
    assert "costs" not in told and "protocol" not in told and "triggers" not in told
    assert drafted(plan_of(), answers, tmp_path).costs.is_invented("staff_minute")


def test_where_the_answer_looks_further_back_so_does_the_cohort(answers, tmp_path):
    plan = plan_of()
    told = drafted(plan, answers, tmp_path)
    further = told.comparison.answer_months - plan.comparison.answer_months
    assert further > 0
    # 24 months by default: else wounds that started early would not be read any more
    assert told.windows.cohort_months == 24 + further


def test_a_plan_that_names_its_quarter_keeps_its_cohort(answers, tmp_path):
    plan = plan_of(comparison={"decides": date(2027, 3, 31)})
    assert drafted(plan, answers, tmp_path).windows.cohort_months == plan.windows.cohort_months
    assert "cohort_months" not in tomllib.loads(next_plan(plan, answers))["windows"]


def test_a_draft_can_be_drafted_from_again_and_decides_the_same(answers, tmp_path):
    once = drafted(plan_of(), answers, tmp_path)
    again = drafted(once, answers, tmp_path)
    assert again.decides == once.decides and again.comparison == once.comparison
    assert again.windows.quarter_begins == date(2026, 10, 1)
