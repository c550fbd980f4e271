"""The sheet for those who pay: money, gain and doubt in this order, and no gain where none may be told."""

import re
from pathlib import Path

import pandas as pd
import pytest

from kit.context.costs import costs_by_regimen
from kit.context.resources import resources
from kit.context.worth import worth_of
from kit.pages.cost_figures import plane_figure, stack_figure
from kit.pages.costs_page import HEADINGS, costs_html, described
from kit.pages.findings import findings
from kit.statements.costs import DOUBT, GAIN, MONEY
from kit.study import read_study
from kit.warned import answers_of
from kit.words import FORBIDDEN

INVENTED = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"


@pytest.fixture(scope="module")
def study():
    return read_study(INVENTED).at("Brindlemere")  # five started


@pytest.fixture(scope="module")
def found(study) -> dict:
    return findings(study, "Alder <House>")[0]


@pytest.fixture(scope="module")
def sheet(study, found) -> str:
    figure = stack_figure(costs_by_regimen(resources(study, answers_of(study)), study.plan), study.plan)
    return costs_html(found, figure, study.plan, "r1", "26 November 2026")


def test_money_gain_and_doubt_stand_in_this_order(sheet):
    assert re.findall(r"<h2>([^<]*)</h2>", sheet) == [HEADINGS[about] for about in (MONEY, GAIN, DOUBT)]


def test_every_sentence_of_the_findings_stands_on_the_sheet_once(sheet, found):
    told = [row["sentence"] for row in found["costs"]["said"]]
    said = re.sub(r"&#39;", "'", sheet)
    assert told
    assert [said.count(f"<li>{sentence}</li>") for sentence in told] == [1] * len(told)


def test_the_facility_s_name_is_escaped_and_nothing_is_fetched(sheet):
    assert "Alder &lt;House&gt;" in sheet
    assert "<House>" not in sheet
    assert not re.findall(r'(?:src|href)="(?!data:|page\.html|#)', sheet)


def test_no_word_that_claims_too_much(sheet):
    words = re.sub(r"<style>.*?</style>|<[^>]+>", " ", sheet, flags=re.DOTALL).lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{word}\b", words)] == []


def test_invented_prices_are_marked_and_named(sheet, study):
    assert study.plan.costs.is_invented("device_month")
    assert "$250*" in sheet
    assert "are invented (marked *)" in sheet


def test_too_few_to_compare_leave_money_and_what_would_pay(study, found):
    assert not found["comparison"]["told"][0]["is_told"]
    assert found["costs"]["not_beside_gain"]
    assert plane_figure(worth_of(study), study.plan, 12) is None
    gain = pd.DataFrame(found["costs"]["gain"])["part"]
    assert not {"closed", "weeks", "saved", "money", "net_benefit"} & set(gain)
    assert described(found).startswith("What a started wound cost")
