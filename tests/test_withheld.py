"""A warning that stops the comparison: no number that compares is left anywhere, and the reason stands in its place."""

import re
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

import kit.warned
from kit.compared import compared
from kit.healing.answers import NUMBERS, withheld
from kit.healing.comparison import ANY, NONE
from kit.pages.comparison_figures import comparison_figure
from kit.pages.comparison_tables import comparison_table, measures_table
from kit.pages.figures import closing_figure
from kit.pages.findings import findings
from kit.pages.page import page_html
from kit.plan import Plan
from kit.statements.comparing import comparisons, in_facility, level_of
from kit.statements.sizes import early_responses
from kit.study import read_study
from kit.words import more_or_fewer, of_hundred
from tests.conftest import LIFELIKE
from tests.test_size_statements import PLAN
from tests.test_words import readable
from tests.told import answers_of, between, row_of

WHY = "1,212 of 3,455 sessions name no wound (35%), so that who started is not known."
# Words of which one stands in every sentence that compares.
COMPARES = r"\b(more|fewer|sooner|later|supports?|consistent|expected|range|difference)\b"
CAUSAL = (
    r"\b(because of|due to|thanks to|leads? to|led to|results? in|resulted in|caused?|works?|worked|helps|helped)\b"
)
GRID = list(product((10, 20, 30, 60), (-0.2, -0.005, 0.01), (0.004, 0.02, 0.3), (True, False)))


def rows(starters, low, high, told):
    made = between(low, max(low, high), starters=starters, told=told)
    return made if told else row_of(told=False, starters=starters)


def numbers(answers):
    names = [name for name in answers.told if name.rpartition("_")[0] and name.rpartition("_")[2] in NUMBERS]
    return answers.told[names].to_numpy(dtype=float)


def test_without_a_reason_nothing_is_withheld():
    answers = answers_of()
    assert withheld(answers, "") is answers


def test_where_it_is_stopped_no_number_is_left_and_what_was_counted_is():
    answers = answers_of(homes=[dict.fromkeys(answers_of().homes, 0.1)])
    stopped = withheld(answers, WHY)
    assert np.isfinite(numbers(answers)).all() and np.isnan(numbers(stopped)).all()
    assert not stopped.told["is_told"].any()
    for name in ("states", "course", "homes", "smaller", "drawn"):
        assert list(getattr(stopped, name)) == list(getattr(answers, name)) and getattr(stopped, name).empty
    for name in ("needs", "outside", "could"):
        pd.testing.assert_frame_equal(getattr(stopped, name), getattr(answers, name))
    assert stopped.told["starters"].tolist() == answers.told["starters"].tolist()
    assert stopped.told[["treated", "beside"]].to_numpy().tolist() == [[ANY, NONE]]


@pytest.mark.parametrize(("starters", "low", "high", "told"), GRID)
def test_a_warning_that_stops_means_no_sentence_that_compares(starters, low, high, told):
    stopped = withheld(answers_of(rows(starters, low, high, told)), WHY)
    said = [*comparisons(stopped, PLAN)["sentence"], *early_responses(stopped, PLAN)["sentence"]]
    for sentence in [*said, in_facility(stopped, "Alder", PLAN)]:
        assert WHY in sentence and "is not compared" in sentence
        assert not re.search(COMPARES, sentence)
    assert level_of(stopped.told.iloc[0].to_dict(), "closed") == "cannot say"


@pytest.mark.parametrize(("starters", "low", "high", "told"), GRID)
def test_the_numbers_of_a_sentence_are_those_of_its_row_and_no_sentence_says_why(starters, low, high, told):
    answers = answers_of(rows(starters, low, high, told))
    row = answers.told.iloc[0].to_dict()
    [said] = comparisons(answers, PLAN)["sentence"]
    assert not re.search(CAUSAL, said)
    if told:
        assert more_or_fewer(*(row[f"closed_{part}"] for part in ("difference", "low", "high"))) in said
        for arm in ("treated", "beside"):
            assert re.search(rf"\b{of_hundred(row[f'closed_{arm}'])}\b", said)
    else:
        assert "is not compared" in said and not re.search(r"\b(more|fewer)\b", said)


def test_tables_say_why_in_place_of_a_difference():
    stopped = withheld(answers_of(), WHY)
    table = comparison_table(stopped.told, stopped.needs, "closed")
    assert table[["Difference (range)", "After starting, of 100", "Expected beside"]].to_numpy().tolist() == [
        [WHY, "–", "–"]
    ]
    assert measures_table(stopped).empty


def test_the_answers_of_a_study_can_be_withheld(study):
    stopped = withheld(compared(study), WHY)
    assert isinstance(study.plan, Plan) and np.isnan(numbers(stopped)).all()


@pytest.fixture(scope="module")
def stopped_page():
    """The invented group as if most of its sessions could not be tied to a wound; a study of its own, so that no other
    test reads its answers."""
    patch = pytest.MonkeyPatch()
    patch.setattr(kit.warned, "stopped_by", lambda told: WHY)
    study = replace(read_study(LIFELIKE))
    found, description = findings(study, "All facilities")
    patch.undo()
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    html = page_html(found, figure, comparison_figure(found["comparison"]), study.plan, "r1", [])
    return found, readable(html)


def test_the_page_says_why_and_compares_nothing(stopped_page):
    _, told = stopped_page
    assert "Not compared: these records would mislead" in told and WHY in told
    assert "Of 100 wounds like those treated" not in told and "Expected beside" not in told
    assert not re.search(r"\b(more|fewer) \(range\b", told)


def test_its_findings_hold_no_number_that_compares(stopped_page):
    found, _ = stopped_page
    rows = found["comparison"]["told"]
    assert rows[0]["starters"] == 56 and rows[0]["withheld_for"] == WHY
    parts = [(name.rpartition("_"), value) for row in rows for name, value in row.items()]
    assert {value for (head, _, last), value in parts if head and last in NUMBERS} == {None}
    assert found["comparison"]["homes"] == found["comparison"]["states"] == []
    assert {row["level"] for row in rows} == {"cannot say"}
    assert found["decisions"][-1]["because"] == WHY
