"""What is said of delivery: where, how often, since when and what it is a matter of, with the numbers of its frames."""

import re
from types import SimpleNamespace

import pandas as pd
import pytest

from kit.delivered import delivered
from kit.delivery.decisions import DECISIONS
from kit.delivery.shortfalls import FATES as EVERY_FATE
from kit.delivery.shortfalls import STATES, UNRECORDED
from kit.delivery.stretches import LASTING, OVER, SCATTERED, THROUGHOUT
from kit.statements import delivery
from kit.words import FORBIDDEN
from tests.drawn import drawn
from tests.test_size_statements import DATED, PLAN, UNDATED

ADVICE = r"\b(should|must|recommend|advise|consider|increase|reduce|stop)\b"
NOTHING = {"within": 0, "below": 0, "above": 0, "against": 0, "unknown": 0, UNRECORDED: 0}


def shortfall(element="minutes", facility="Alder", decision="train", matters="", **counts):
    states = NOTHING | counts
    asked = sum(states.values())
    missing = sum(states[name] for name in ("below", "above", "against", UNRECORDED))
    return {"facility": facility, "element": element, "asked": asked, **states,
            "missing_share": missing / asked,
            "decision": decision, "matters": matters or f"{decision} {missing}"}  # fmt: skip


def stretch(
    element="minutes",
    facility="Alder",
    state="below",
    course=LASTING,
    days=(9500, 9677),
    counts=(20, 18, 30, 19),
    matters="train 18",
):
    return dict(zip(
        ("facility", "element", "state", "from_day", "to_day", "asked", "off", "asked_all", "off_all", "course",
         "matters"),
        (facility, element, state, *days, *counts, course, matters), strict=True,
    ))  # fmt: skip


WEEKS = pd.DataFrame({"facility": ["Alder"], "day": [9600], "asked": [5.0], "given": [2], "shortened": [1]})


def done(shortfalls=(), stretches=(), fates=(), left_out=(), weeks=WEEKS, told=(1,), **held):
    return SimpleNamespace(
        **{"absent": (), "ordered": True} | held,
        told=pd.DataFrame({"day": told}),
        weeks=weeks,
        fates=fates_of(*fates),
        left_out=pd.DataFrame(left_out, columns=["reason", "rows"]),
        shortfalls=pd.DataFrame(shortfalls, columns=list(shortfall(within=1))),
        stretches=pd.DataFrame(stretches, columns=list(stretch())),
    )


# --- most often missed ---


def test_an_element_is_told_with_place_count_time_and_matter():
    told = delivery.missed_most(done([shortfall(within=4, below=53)], [stretch()]), DATED)
    assert told == [
        "Alder, device minutes a day: short of the protocol in 53 of 57 sessions in the quarter, since 4 January 2026; "
        "mostly a matter of training or charting (no reason recorded)."
    ]  # day 9500 is 4 January 2026: 9497 days to the new year of 2026 and three more


@pytest.mark.parametrize(
    ("course", "said"),
    [
        (LASTING, "since 4 January 2026"),
        (OVER, "from 4 January 2026 to 30 June 2026"),
        (THROUGHOUT, "throughout since 4 January 2026"),
        (SCATTERED, "now and then from 4 January 2026 to 30 June 2026"),
    ],
)
def test_since_when_is_told_by_the_course(course, said):
    assert delivery.stretch_days(stretch(course=course), DATED) == said


def test_a_time_of_another_element_facility_or_state_is_not_told():
    others = [stretch(element="polarity"), stretch(facility="Birch"), stretch(state="above")]
    told = delivery.missed_most(done([shortfall(within=4, below=53)], others), DATED)
    assert told[0].endswith(
        "in 53 of 57 sessions in the quarter; mostly a matter of training or charting (no reason recorded)."
    )


def test_without_a_calendar_no_time_is_told():
    told = delivery.missed_most(done([shortfall(within=4, below=53)], [stretch()]), UNDATED)
    assert told[0].endswith(
        "in 53 of 57 sessions in the whole export; mostly a matter of training or charting (no reason recorded)."
    )
    assert delivery.stretch_days(stretch(), UNDATED) == "not computable under this basis"
    assert delivery.past_stretches(done([], [stretch(course=OVER, days=(1, 2))]), UNDATED) == []


def test_weeks_of_an_order_are_called_weeks():
    told = delivery.missed_most(done([shortfall("sessions_a_week", within=10, below=7, decision="staff")]), PLAN)
    assert "sessions a week: short of the order in 7 of 17 weeks in the quarter" in told[0]
    assert told[0].endswith(" (0 sessions given of 0 ordered); mostly a matter of staff.")


def test_a_week_that_lacks_one_session_and_one_that_lacks_all_are_told_apart_by_their_sessions():
    row = shortfall("sessions_a_week", within=10, below=7, decision="staff")
    told = delivery.missed_most(done([row]), DATED)
    assert "(3 sessions given of 5 ordered)" in told[0]


def test_where_no_matter_makes_most_of_it_all_are_told_with_their_counts():
    row = shortfall(within=4, below=7, decision="", matters="staff 3, person 2, record 2")
    said = delivery.missed_most(done([row]), DATED)[0]
    assert said.endswith("; a matter of staff 3, people who refused or were unwell 2, recording 2.")


def test_a_stretch_that_was_over_before_the_quarter_says_nothing_of_it():
    row = shortfall(within=4, below=53)
    assert "since" not in delivery.missed_most(done([row], [stretch(days=(9500, 9550))]), DATED)[0]


@pytest.mark.parametrize(("state", "said"), [("below", "nothing felt"), ("above", "strong enough to move muscle")])
def test_a_response_is_told_as_what_was_felt(state, said):
    told = delivery.missed_most(done([shortfall("sensation", within=5, **{state: 5})]), PLAN)
    assert told[0].startswith(f"Alder, response felt: {said} in 5 of 10 sessions")


def test_the_state_most_often_seen_is_the_one_that_is_told():
    told = delivery.missed_most(done([shortfall(within=5, below=2, unrecorded=9, decision="record")]), PLAN)
    assert "not recorded in 9 of 16 sessions" in told[0]


@pytest.mark.parametrize("counts", [{"within": 91, "below": 9}, {"within": 1, "below": 4}])
def test_what_is_missed_in_less_than_a_tenth_or_fewer_than_five_times_is_no_sentence(counts):
    assert delivery.missed_most(done([shortfall(**counts)]), PLAN) == [
        "No element of the protocol was off in a tenth of sessions in the quarter."
    ]


def test_without_a_session_that_is_said():
    assert delivery.missed_most(done(), PLAN) == ["No session of the protocol was given in the quarter."]
    assert delivery.missed_most(done(told=()), PLAN)[1:] == [
        "The export holds no session that was given; what was delivered cannot be told."
    ]


def test_what_the_export_does_not_hold_is_named_and_not_judged():
    told = delivery.missed_most(done([shortfall(within=9)], absent=("duty", "polarity"), ordered=False), PLAN)
    assert told[1:] == ["Not in the export, and not judged: duty cycle, polarity.", delivery.NO_ORDERS]


def test_no_more_than_five_are_told_in_the_order_of_the_frame():
    rows = [shortfall(facility=f"House {n}", within=1, below=20 - n) for n in range(9)]
    told = delivery.missed_most(done(rows), PLAN)
    assert [line.split(",")[0] for line in told] == [f"House {n}" for n in range(5)]


# --- over, and due ---


def test_what_is_over_before_the_quarter_is_told_and_what_is_not_is_not():
    over = stretch(state=UNRECORDED, course=OVER, days=(9500, 9550), matters="record 18")
    others = [stretch(days=(9500, 9550)), stretch(course=OVER, days=(9500, 9600))]  # lasting; over within the quarter
    told = delivery.past_stretches(done([], [over, *others]), DATED)
    assert told == [
        "In the past: Alder, device minutes a day, not recorded in 18 of 20 sessions from 4 January 2026 to 23 "
        "February 2026; a matter of recording 18."
    ]


def fates_of(*rows):
    return pd.DataFrame(rows, columns=["facility", "fate", "decision", "sessions", "share"])


def test_the_sessions_due_add_up_in_the_sentence():
    fates = (
        ("Alder", "full", "", 32.0, 0.4), ("Alder", "short", "train", 8.0, 0.1),
        ("Alder", "missed", "person", 30.0, 0.375), ("Alder", "missed", "staff", 10.0, 0.125),
        ("Birch", "full", "", 1.0, 1.0),
    )  # fmt: skip
    assert delivery.came_of_due(done(fates=fates), PLAN) == [
        "Alder: of 80 sessions due in the quarter, 32 reached the protocol's minutes, 8 were too short, 40 were missed "
        "(people who refused or were unwell 30, staff 10).",
        "Birch: of 1 session logged, without any order, in the quarter, 1 reached the protocol's minutes.",
    ]


def test_orders_that_cannot_be_counted_are_told():
    left_out = [("without a frequency", 2), ("of nobody", 0)]
    assert delivery.came_of_due(done(left_out=left_out), PLAN) == ["Not in these: 2 orders without a frequency."]


# --- the whole ---


def test_every_element_state_fate_and_decision_has_its_words():
    study = drawn(
        "wound day length width state\nW1 120 4 3 open\n",
        sessions="wound day modality setup status\nW1 121 stimulation monopolar given\nW1 122 ultrasound . given\n",
        spans="wound span value per_week from_day\nW1 ordered_regimen monopolar 5 121\n",
    )
    found = delivered(study)
    assert {*found.judged["element"], *found.absent} == set(delivery.ELEMENTS)
    assert set(delivery.HOW) == set(STATES) - {"within", "unknown"}
    assert set(delivery.FATES) == set(EVERY_FATE)
    assert set(delivery.MATTERS) == set(DECISIONS)


def test_no_sentence_advises_or_uses_a_word_that_may_not_be_used():
    rows = [shortfall(element, within=1, below=9, decision=matter)
            for element, matter in zip(delivery.ELEMENTS, [*DECISIONS, *DECISIONS], strict=False)]  # fmt: skip
    said = [delivery.NO_STANDARD, delivery.NOT_SEEN]
    for row in rows:
        said += delivery.missed_most(done([row], [stretch(row["element"])]), DATED)
    for fate in EVERY_FATE:
        said += delivery.came_of_due(done(fates=[("Alder", fate, "train", 2.0, 1.0)]), DATED)
    words = set(re.findall(r"[a-z]+", " ".join(said).lower()))
    assert not words & {word for word in FORBIDDEN if " " not in word}
    assert not re.search(
        ADVICE, " ".join(line for line in said if line not in (delivery.NOT_SEEN,)).replace("as they should", "")
    )
