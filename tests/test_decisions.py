"""What the plan's triggers propose: the number that reached them, in words, and nobody named to do it."""

from types import SimpleNamespace

import pandas as pd
import pytest

from kit.healing.reach import Reach
from kit.plan import PROPOSALS, Triggers
from kit.statements.decisions import COLUMNS, DECIDED_BY, Reached, decisions, each_below, going_on
from kit.statements.delivery import MATTERS
from tests.test_size_statements import PLAN
from tests.told import answers_of, between, row_of

TENTH = Reach(wounds=150, residents=100, started=15)  # 10% of those that could have been started were
WELL = {"planned": 100, "asked": 100, "reactions": 5, "weeks_in_view": 100, "weeks_measured": 70}


def plan(**triggers):
    return PLAN.model_copy(update={"triggers": Triggers(**triggers)})


def fates(*rows):
    rows = rows or (("full", "", 80.0), ("short", "train", 20.0))
    return pd.DataFrame(rows, columns=["fate", "decision", "sessions"]).assign(facility="Quellmoor")


def told(*rows, answers=None, rules=None, reach=TENTH, **done):
    answers = answers or answers_of(between(-0.1, 0.2, starters=30))
    found = Reached(reach, fates(*rows), SimpleNamespace(**WELL | done), answers)
    return decisions(found, rules or plan())


def one_of(*rows):
    (row,) = told(*rows).to_dict("records")
    return row["trigger"], row["because"], row["proposes"]


def one(**given):
    (row,) = told(**given).to_dict("records")
    return row["trigger"], row["because"], row["proposes"]


def test_at_its_thresholds_no_trigger_is_reached_and_that_is_said():
    """80% delivered, 10% reached, 5 reactions per 100, 70% measured in time, a range from fewer to more."""
    assert one() == ("none", "No trigger of the plan is reached.", "keep")


def test_owner_and_date_are_left_blank():
    frame = told()
    assert list(frame) == COLUMNS
    assert (frame[["owner", "date"]] == "").all(axis=None)


@pytest.mark.parametrize(
    ("decision", "proposes"),
    [("train", "train"), ("staff", "change"), ("supply", "change"), ("payer", "change"), ("record", "measure better")],
)
def test_what_keeps_sessions_from_being_delivered_decides_what_is_proposed(decision, proposes):
    frame = told(("full", "", 79.0), ("missed", decision, 14.0), ("short", "person", 7.0))
    assert frame["trigger"].tolist() == ["delivered below"]
    assert frame["proposes"].tolist() == [proposes]
    assert frame["because"].tolist() == [
        "79% of the 100 sessions due in the quarter reached the protocol's minutes; the plan asks for 80%. What lacks "
        f"is first a matter of {MATTERS[decision]}."
        + (" Ask why before anybody is trained." if decision == "train" else "")
    ]


def test_the_facilities_below_are_named_where_there_are_several():
    rows = pd.concat([fates(("full", "", 90.0), ("missed", "staff", 10.0)),
                      fates(("full", "", 30.0), ("short", "train", 70.0)).assign(facility="Tarnwick")])  # fmt: skip
    done = SimpleNamespace(**WELL)
    [told] = decisions(Reached(TENTH, rows, done, answers_of(between(-0.1, 0.2, starters=30))), plan())["because"]
    assert "Below it: Tarnwick 30%; the others reach it." in told
    assert each_below(rows, plan()) == [
        "Of the sessions due the plan asks for 80% at the protocol's minutes. Below it: Tarnwick 30%; the others "
        "reach it."
    ]
    assert each_below(fates(("full", "", 10.0), ("missed", "staff", 90.0)), plan()) == []  # one facility


def test_a_share_that_only_rounds_to_what_is_asked_is_told_closer():
    _, because, _ = one_of(("full", "", 799.0), ("missed", "staff", 201.0))
    assert because.startswith("79.9% of the 1000 sessions due")


def test_whether_to_go_on_is_said_where_nothing_proposes_it():
    assert going_on(told(), "A look on the way.") == (
        "Whether to go on is not proposed: these records do not say whether more closed, or fewer. A look on the way."
    )
    few = told(answers=answers_of(row_of(told=False, starters=30)))
    assert going_on(few, "A look on the way.") == "A look on the way."


def test_fewer_starts_than_the_plan_asks_for():
    because = "15 of 151 wounds that could have been started in the quarter were (10%); the plan asks for 10%."
    assert one(reach=Reach(151, 100, 15)) == ("reach below", because, "change")


def test_more_reactions_than_the_plan_allows():
    said = "6 reactions in 100 sessions in the quarter; the plan's limit is 5 per 100."
    assert one(reactions=6) == ("harm above", said, "pause for review")


def test_fewer_weeks_measured_in_time_than_the_plan_asks_for():
    said = "69% of wound weeks in the quarter were measured in time; the plan asks for 70%."
    assert one(weeks_measured=69) == ("trust line below", said, "measure better")


@pytest.mark.parametrize(
    ("low", "high", "starters", "expected"),
    [
        (0.01, 0.2, 40, ("supports", "more", "keep")),
        (0.01, 0.2, 25, ("supports", "more", "keep")),
        (-0.2, -0.01, 40, ("leans worse", "fewer", "pause for review")),
        (-0.2, -0.01, 25, ("leans worse", "fewer", "pause for review")),
        (-0.2, -0.01, 24, None),  # described, and no more
        (0.01, 0.2, 24, None),
    ],
)
def test_leaning_worse_and_leaning_better_are_asked_by_the_same_rule(low, high, starters, expected):
    answers = answers_of(between(low, high, starters=starters))
    trigger, because, proposes = one(answers=answers)
    if expected is None:
        assert trigger == "none"
    else:
        assert (trigger, proposes) == (expected[0], expected[2])
        assert because == f"The whole range of the comparison says {expected[1]} of 100 closed after starting."


def test_too_few_and_a_warning_that_stops_are_told_apart():
    few = answers_of(row_of(told=False, starters=30))
    assert one(answers=few) == ("too few", "Too few can be compared.", "keep")
    stopped = answers_of(row_of(told=False, starters=30, withheld_for="Half of the sessions name no wound."))
    assert one(answers=stopped)[1] == "Half of the sessions name no wound."


def test_the_plan_says_what_is_proposed():
    worse = answers_of(between(-0.2, -0.01, starters=40))
    assert one(answers=worse, rules=plan(leans_worse="change"))[2] == "change"
    assert one(weeks_measured=69, rules=plan(trust_below=60))[0] == "none"


def test_several_triggers_stand_in_their_order():
    frame = told(("full", "", 1.0), ("missed", "staff", 99.0), reactions=50, weeks_measured=1)
    assert frame["trigger"].tolist() == ["delivered below", "harm above", "trust line below"]
    assert set(frame["proposes"]) <= set(PROPOSALS)


def test_where_nothing_was_due_asked_or_in_view_nothing_is_below():
    nothing = fates().head(0)
    done = SimpleNamespace(**WELL | dict.fromkeys(WELL, 0))
    found = Reached(Reach(0, 0, 0), nothing, done, answers_of(between(-0.1, 0.2)))
    assert decisions(found, plan())["trigger"].tolist() == ["none"]


def test_it_is_said_to_be_no_advice():
    assert "not advice" in DECIDED_BY
