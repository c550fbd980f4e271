"""Numbers that are always shown: each says what was computed, none fires, and each says why where there is none."""

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.bias import shown
from kit.bias.evidence import NOT_KNOWN, NOTE, SHOWN, Evidence
from kit.bias.shown import CHECKS
from kit.compared import compared, other_ways, weeks
from kit.healing.answers import answer, withheld
from kit.healing.other_answers import NOT_MADE
from kit.sensitivity import specifications as rules
from kit.study import read_study
from kit.words import FORBIDDEN
from tests.drawn import TWO_HOUSES, drawn
from tests.told import answers_of, row_of

# Those that read no arm's outcome are told of a comparison that a warning stopped.
ALL_THE_SAME = {"effective_numbers", "before_start"}


def evidence_of(study, answers):
    return Evidence(study, weeks(study), answers, other_ways(study), pd.DataFrame())


@pytest.fixture(scope="module")
def lifelike():
    study = read_study("data/synthetic/lifelike")
    return evidence_of(study, compared(study))


@pytest.fixture(scope="module")
def found(lifelike):
    with pytest.MonkeyPatch.context() as patched:  # two other sets of rules are enough to be read aloud
        one = {"fresh_days": (7,), "confirm_days": (14,), "horizon_weeks": (12,), "levelled": (rules.PLANNED,)}
        patched.setattr(rules, "OFFERED", {"run_in_days": (0, 14, 200), **one})
        return {name: check.find(lifelike) for name, check in CHECKS.items()}


def test_none_ever_fires_and_each_has_its_number(found):
    assert all(not warned.fires and np.isnan(warned.threshold) and np.isnan(warned.p) for warned in found.values())
    assert all(np.isfinite(warned.number) and warned.not_computed == "" for warned in found.values())
    assert {warned.direction for warned in found.values()} == {NOT_KNOWN}


def test_the_catalogue_asks_plain_questions():
    for check in CHECKS.values():
        assert check.kind == SHOWN and check.seriousness == NOTE and check.source
        assert check.question.endswith("?") and check.to_do.endswith(".")
    assert len({check.question for check in CHECKS.values()}) == len(CHECKS)


def test_the_numbers_are_those_of_the_answer(found, lifelike):
    told = lifelike.answers.told.iloc[0]
    ratio = told["closed_treated"] / told["closed_beside"]
    assert found["e_value"].number == pytest.approx(ratio + np.sqrt(ratio * (ratio - 1)))
    assert found["effective_numbers"].number == told["effective_residents"]
    shares = (told["closed_treated"], told["starters"]), (told["closed_beside"], told["others"])
    plain = sum(share * (1 - share) / number for share, number in shares)
    assert found["design_effect"].number == pytest.approx(told["closed_error"] ** 2 / plain)
    course = lifelike.answers.course
    half = course[(course["week"] == 6) & (course["treated"] == "any modality")].set_index("arm")["share"]
    assert found["over_time"].number == pytest.approx(100 * (half["treated"] - half["beside"]))


def test_what_is_said_holds_the_numbers(found, lifelike):
    told = lifelike.answers.told.iloc[0]
    assert f"{told['starters']} wounds that started" in found["effective_numbers"].says
    assert f"worth {told['effective_residents']:.0f}" in found["effective_numbers"].says
    assert f"{found['e_value'].number:.1f} each" in found["e_value"].says
    assert re.search(r"Of 56 wounds that started 3, and of 199 beside 15, left open", found["departure_bounds"].says)
    assert f"{100 * told['closed_treated']:.0f} by week 12" in found["over_time"].says
    whole = round(100 * told["closed_difference"])
    for name in ("without_one_resident", "without_one_facility", "specification_range"):
        assert f"{whole} more of 100" in found[name].says


def test_of_other_rules_those_with_too_few_are_counted(found):
    # One other set of rules (no run-in) has a number and one (200 days of it) has too few; trimming is a third.
    assert "under 2 other sets of rules" in found["specification_range"].says
    assert found["specification_range"].says.endswith("1 more leave too few to compare.")


def test_no_resident_is_named(found, lifelike):
    words = {word for warned in found.values() for word in re.findall(r"\w+", warned.says)}
    assert not words & set(lifelike.study.residents["resident"])


def test_nothing_said_claims_more_than_it_can(found):
    said = [warned.says for warned in found.values()]
    said += [words for check in CHECKS.values() for words in (check.question, check.to_do)]
    text = " ".join(said).lower()
    assert [word for word in (*FORBIDDEN, "safe", "covered") if re.search(rf"\b{re.escape(word)}\b", text)] == []
    assert not re.search(r"\bnan\b|_", text)


def test_an_answer_that_a_warning_stopped_keeps_what_reads_no_outcome(lifelike):
    stopped = replace(lifelike, answers=withheld(lifelike.answers, "a warning"))
    for name, check in CHECKS.items():
        warned = check.find(stopped)
        assert (warned.not_computed == "") is (name in ALL_THE_SAME), name
        assert (warned.not_computed == NOT_MADE) is (name not in ALL_THE_SAME), name


@pytest.mark.parametrize("name", list(CHECKS))
def test_a_study_that_carries_no_comparison_has_a_reason(name):
    study = drawn(**TWO_HOUSES)
    warned = CHECKS[name].find(evidence_of(study, compared(study)))
    assert not warned.fires
    assert warned.not_computed == (NOT_MADE if name != "effective_numbers" else "")


def test_an_export_without_a_calendar_has_them_too(lifelike):
    plan = lifelike.study.plan
    bare = plan.model_copy(
        update={
            "program": plan.program.model_copy(update={"basis": "safe_harbor"}),
            "windows": plan.windows.model_copy(update={"quarter_begins": None, "cutoff": None}),
        }
    )
    study = replace(lifelike.study, plan=bare)
    told = answer(weeks(study), study.measurements, bare, draws=20)
    assert told.told["is_told"].iloc[0]
    for name in ("departure_bounds", "e_value", "without_one_resident", "before_start"):
        assert np.isfinite(CHECKS[name].find(replace(lifelike, study=study, answers=told)).number)


def test_where_all_or_none_closed_there_is_no_design_effect(lifelike):
    even = row_of(closed_treated=1.0, closed_beside=0.0, closed_error=0.0)
    assert (
        "all or none closed" in CHECKS["design_effect"].find(replace(lifelike, answers=answers_of(even))).not_computed
    )


def test_a_limit_beyond_one_has_its_own_e_value(lifelike, monkeypatch):
    row = {"not_computed": "", "risk_ratio": 3.9, "e_value": 7.263034, "e_value_limit": 3.0}
    monkeypatch.setattr(shown, "e_values_of", lambda _: pd.DataFrame([row]))
    says = CHECKS["e_value"].find(lifelike).says
    assert "by a ratio of 7.3 each; to move the limit of its range there, by 3.0." in says
