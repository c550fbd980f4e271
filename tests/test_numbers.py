"""The five numbers at the head of the page, said of cases made by hand, and what is said where there is none."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from kit.context.costs import ANY, TOTAL
from kit.healing.reach import Reach
from kit.statements.numbers import Quarter, numbers
from tests.test_size_statements import PLAN
from tests.told import answers_of, row_of

DONE = {
    "wounds_treated": 19, "wounds_open": 132, "given": 90, "shortened": 10, "asked": 80, "reactions": 2, "closed": 52,
    "status_recorded": True,
}  # fmt: skip
FATES = (("full", "", 75.0), ("short", "train", 15.0), ("missed", "staff", 6.0), ("not judged", "", 4.0))


def said(fates=FATES, answers=None, sent=True, wounds=1, minutes=130.0, amount=200.0, unsaid=0, invented=False, **done):
    table = pd.DataFrame({"sessions": [7] * wounds, "treated_weeks": [2] * wounds})
    spent = pd.DataFrame(
        [(ANY, "staff", minutes, amount / 2, 0, invented), (ANY, TOTAL, np.nan, amount / 2, unsaid, invented)],
        columns=["regimen", "item", "units", "a_treated_week", "unsaid", "is_invented"],
    )
    found = Quarter(
        reach=Reach(104, 83, 14),
        fates=pd.DataFrame(list(fates), columns=["fate", "decision", "sessions"]),
        done=SimpleNamespace(**DONE | done),
        answers=answers or answers_of(row_of(starters=56)),
        taken=SimpleNamespace(wounds=table),
        spent=spent,
        sent=sent,
    )
    return {row.about: (row.name_, row.value, row.rests) for row in numbers(found, PLAN).rename(
        columns={"name": "name_"}).itertuples()}  # fmt: skip


def test_the_five_stand_in_their_order():
    assert list(said()) == ["reach", "delivered", "closed", "harm", "effort"]


def test_reach_is_those_started_of_those_that_could_have_been():
    assert said()["reach"] == (
        "Started, of those that could be", "13%",  # 14 of 104
        "14 of 104 wounds on 83 residents; the plan asks for 10%; 19 treated in the quarter, of 132 wounds open",
    )  # fmt: skip


def test_delivered_is_of_the_sessions_due_with_the_first_reason_for_the_rest():
    assert said()["delivered"] == (
        "Delivered, of sessions due", "75%",
        "75 of 100 at the protocol's minutes; the plan asks for 80%; of the other 25 most, 15, are a matter of "
        "training or charting (no reason recorded)",
    )  # fmt: skip


def test_where_all_was_delivered_no_reason_is_told():
    assert said(fates=[("full", "", 8.0)])["delivered"][1:] == (
        "100%",
        "8 of 8 at the protocol's minutes; the plan asks for 80%",
    )


def test_an_export_that_does_not_say_what_was_missed_is_told():
    assert said(status_recorded=False)["delivered"][2].endswith("; the export does not say which were missed")


def test_closed_stands_beside_what_was_expected_with_its_range():
    assert said()["closed"] == (
        "Closed by week 12, of 100, beside expected without", "45 beside 33",
        "12 more (range 2 more to 22 more); 56 wounds on 52 residents",
    )  # fmt: skip


def test_a_range_from_fewer_to_more_is_not_to_be_quoted_without_it():
    row = row_of(starters=56, closed_low=-0.03)
    assert said(answers=answers_of(row))["closed"][2].endswith("; not to be quoted without the range")


def test_the_early_response_is_named_where_it_is_what_is_compared():
    early = said(answers=answers_of(row_of(), measure="early", horizon=4))["closed"]
    assert early[0] == "Closed or at least 40% smaller by week 4, of 100, beside expected without"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (row_of(told=False, starters=14), "too few: wounds that started, 14 of the 15 needed"),
        (row_of(told=False, withheld_for="Half of the sessions name no wound."), "a warning stops it"),
    ],
)
def test_what_is_not_compared_holds_no_share_and_says_why(row, why):
    name, value, rests = said(answers=answers_of(row, starters=14))["closed"]
    assert (name, value) == ("Closed, beside expected without", "not compared")
    assert rests == why


def test_harm_is_of_the_sessions_that_say_something_of_it():
    assert said()["harm"] == (
        "Reactions per 100 sessions",
        "2.5",
        "2 in 80 sessions; the plan's limit is 5; 20 say nothing of any",
    )


def test_harm_that_nobody_wrote_down_is_not_nought():
    assert said(asked=0, reactions=0)["harm"][1] == "not recorded"


def test_effort_is_of_the_weeks_in_which_a_wound_was_treated():
    assert said(wounds=2)["effort"] == (
        "Staff minutes a treated week", "32", "3.5 sessions a week of a wound, $100; 4 weeks of 2 wounds",
    )  # fmt: skip
    assert said()["effort"][1] == "65"  # 130 minutes in 2 weeks


def test_money_at_invented_prices_does_not_stand_there():
    assert "$" not in said(invented=True)["effort"][2]


def test_minutes_that_are_not_recorded_are_not_nought_and_money_is_at_least():
    effort = said(minutes=np.nan, unsaid=3)["effort"]
    assert effort[1] == "not recorded"
    assert "at least $100" in effort[2]


@pytest.mark.parametrize(("sent", "value"), [(True, "none"), (False, "not in the export")])
def test_without_sessions_nothing_is_made_up(sent, value):
    told = said(fates=(), sent=sent, wounds=0, given=0, shortened=0, asked=0, reactions=0)
    assert {told[about][1] for about in ("delivered", "harm", "effort")} == {value}
