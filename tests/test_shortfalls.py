"""Sums of what was judged: nothing lost, and what became of every session due."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.delivered import delivered
from kit.delivery.decisions import DECISIONS
from kit.delivery.shortfalls import ALL, FATES, OFF, STATES, UNRECORDED, fate_of_each, fates, shortfalls, together
from kit.plan import Protocol
from kit.study import Study
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

# Shares are quotients of counts in floating point; nothing is estimated.
EXACT = 1e-12
OPEN = "wound day length width state\nW1 90 4 3 open\nW1 120 4 3 open\nW1 150 4 3 open\nW1 195 4 3 open\n"
TABLES = {"wounds": "wound resident\nW1 R1\nW2 R2\n", "residents": "resident facility\nR1 Quellmoor\nR2 Tarnwick\n"}


def rows(*told: tuple, facility: str = "Quellmoor", element: str = "minutes") -> pd.DataFrame:
    """Judgements as (day, state), state "unrecorded" being one that the session does not say."""
    table = pd.DataFrame(told, columns=["day", "state"]).astype({"day": "int64", "state": object})
    recorded = table["state"] != UNRECORDED
    decision = np.select([~recorded, table["state"].isin(OFF)], ["record", "train"], "")
    return table.assign(
        source_row=range(2, len(table) + 2), wound="W1", resident="R1", facility=facility, modality="stimulation",
        element=element, state=table["state"].mask(~recorded, "unknown"), recorded=recorded, decision=decision,
    )  # fmt: skip


def course(states: str, begins: int = 1) -> pd.DataFrame:
    """One session a day: w within, b below, a above, x against, u unknown, - unrecorded."""
    names = {"w": "within", "b": "below", "a": "above", "x": "against", "u": "unknown", "-": UNRECORDED}
    return rows(*((begins + n, names[letter]) for n, letter in enumerate(states)))


# --- sums ---

JUDGEMENTS = st.lists(
    st.tuples(
        st.integers(1, 60),
        st.sampled_from([*OFF, "within", "unknown", UNRECORDED]),
        st.sampled_from(["Quellmoor", "Tarnwick", "minutes"]),
        st.sampled_from(["minutes", "duty"]),
    ),
    min_size=1,
    max_size=40,
)


def judged_of(told: list[tuple]) -> pd.DataFrame:
    parts = [rows((day, state), facility=facility, element=element) for day, state, facility, element in told]
    return pd.concat(parts, ignore_index=True)


@settings(deadline=None, derandomize=True, max_examples=50)
@given(JUDGEMENTS)
def test_nothing_that_was_judged_is_lost(told):
    judged, table = judged_of(told), shortfalls(judged_of(told))
    assert (table["asked"] == table[list(STATES)].sum(axis=1)).all()
    assert table["asked"].sum() == len(judged)
    assert table["unrecorded"].sum() == (~judged["recorded"]).sum()
    assert table[list(OFF)].to_numpy().sum() == judged["state"].isin(OFF).sum()
    assert ((table["decision"] == "") == (table["missing_share"] == 0)).all()


def test_the_element_most_often_missed_stands_first():
    """Minutes 1 of 4 off and 1 not recorded: 0.5; duty 1 of 4 off: 0.25; what is unknown is in nobody's fault."""
    judged = pd.concat(
        [
            course("wwwx").assign(element="duty"),
            course("wub-"),
        ]
    )
    table = shortfalls(judged)
    assert table["element"].tolist() == ["minutes", "duty"]
    assert table["missing_share"].tolist() == [0.5, 0.25]
    assert table.loc[0, list(STATES)].tolist() == [1, 1, 0, 0, 1, 1]


def test_shares_that_are_alike_stand_in_the_order_of_facility_and_element():
    judged = pd.concat([course("wb").assign(facility=name) for name in ("Tarnwick", "Quellmoor")])
    assert shortfalls(judged)["facility"].tolist() == ["Quellmoor", "Tarnwick"]


@pytest.mark.parametrize(
    ("decisions", "decision", "matters"),
    [
        (["staff", "person", "person", "person", "train"], "person", "person 3, train 1, staff 1"),
        (["staff", "person", "person", "supply", "train"], "", "person 2, train 1, staff 1, supply 1"),
        (["record", "person", "person", "staff", "staff"], "", "staff 2, person 2, record 1"),
    ],
)
def test_the_decision_of_more_than_half_is_told_and_all_are_counted(decisions, decision, matters):
    """Of matters that are as frequent the one that stands first in `DECISIONS` comes first."""
    (row,) = shortfalls(course("bbbbb").assign(decision=decisions)).itertuples()
    assert (row.decision, row.matters) == (decision, matters)
    assert DECISIONS.index("staff") < DECISIONS.index("person")


def test_matters_are_those_of_the_most_frequent_way_of_being_off():
    """Three below for staff; two above are training, and another way of being off."""
    (row,) = shortfalls(course("bbbaa").assign(decision=[*["staff"] * 3, *["train"] * 2])).itertuples()
    assert (row.decision, row.matters) == ("staff", "staff 3")


def test_where_nothing_is_off_nothing_is_to_be_decided():
    (row,) = shortfalls(course("wwu")).itertuples()
    assert (row.missing_share, row.decision, row.unknown) == (0, "", 1)


# --- what became of each session ---

LOG = """
wound day modality    setup     minutes radiating_area status    reason
W1    121 stimulation monopolar 20      .              given     .
W1    122 stimulation monopolar 50      .              given     .
W1    123 stimulation monopolar 5       .              given     .
W1    124 stimulation monopolar .       .              given     .
W1    125 stimulation monopolar 10      .              shortened unwell
W1    126 stimulation monopolar .       .              missed    staff
W1    127 stimulation monopolar .       .              missed    .
W1    128 stimulation monopolar 50      .              .         .
W1    129 stimulation monopolar 90      .              given     .
W1    130 other       .         30      .              given     .
W1    151 ultrasound  .         6       5              given     .
W1    151 ultrasound  .         1       5              missed    payer
W1    152 ultrasound  .         2       5              given     .
W1    153 ultrasound  .         6       .              given     .
W2    155 ultrasound  .         6       5              given     .
"""
SAID = [
    ("full", ""), ("full", ""), ("short", "train"), ("no minutes", "record"), ("shortened", "person"),
    ("missed", "staff"), ("missed", "record"), ("not known", "record"), ("full", ""), ("other", ""),
    ("full", ""), ("missed", "payer"), ("short", "train"), ("no head", "record"), ("not judged", ""),
]  # fmt: skip


def study_of(sessions: str = LOG, plan: str = PLAN, measurements: str = OPEN, **tables: str) -> Study:
    return drawn(measurements, sessions=sessions, plan=plan, **{**TABLES, **tables})


def test_each_session_has_one_fate_and_a_decision_where_it_fell_short():
    """The first of 20 minutes is built up; the ninth of 90 reached them; W2 was never measured, so has no zones."""
    study = study_of()
    told = fate_of_each(study.sessions, delivered(study).judged)
    told = told.set_index(study.sessions["source_row"]).sort_index()
    assert list(told.itertuples(index=False, name=None)) == SAID
    assert set(told["fate"]) <= set(FATES)


def test_a_session_cut_short_that_reached_the_minutes_all_the_same_is_full():
    log = LOG.replace("W1    125 stimulation monopolar 10", "W1    125 stimulation monopolar 50")
    study = study_of(log)
    assert fate_of_each(study.sessions, delivered(study).judged)["fate"].iloc[4] == "full"


def test_fates_of_the_quarter_add_up_to_every_session_of_it():
    """Fourteen of W1 in Quellmoor and one of W2 in Tarnwick; nothing was ordered."""
    told = delivered(study_of()).fates
    assert told.groupby("facility")["sessions"].sum().to_dict() == {"Quellmoor": 14, "Tarnwick": 1}
    counted = pd.Series([fate for fate, _ in SAID]).value_counts().to_dict()
    assert told.groupby("fate")["sessions"].sum().to_dict() == counted
    assert told.groupby("facility")["share"].sum().tolist() == pytest.approx([1, 1], EXACT)


def test_all_facilities_together_have_the_sessions_of_each():
    own = pd.DataFrame(
        [["Alder", "full", "", 6.0, 0.75], ["Alder", "missed", "staff", 2.0, 0.25], ["Birch", "full", "", 2.0, 1.0]],
        columns=["facility", "fate", "decision", "sessions", "share"],
    )
    assert together(own).values.tolist() == [[ALL, "full", "", 8.0, 0.8], [ALL, "missed", "staff", 2.0, 0.2]]


def test_fates_stand_in_their_order_the_more_frequent_decision_first():
    told = delivered(study_of()).fates
    places = [FATES.index(fate) for fate in told.loc[told["facility"] == "Quellmoor", "fate"]]
    assert places == sorted(places)


def test_sessions_outside_the_quarter_are_none_of_its_fates():
    log = LOG + "W1 109 stimulation monopolar 20 . given .\nW1 110 stimulation monopolar 50 . given .\n"
    assert delivered(study_of(log)).fates["sessions"].sum() == 15 + 1


ORDER = "resident wound span value per_week from_day to_day\n"


def test_what_was_ordered_and_never_logged_is_due_as_well():
    """Week 121 to 127 has seven in the log, 128 to 134 three of five; then nothing of five is logged."""
    study = study_of(spans=ORDER + ". W1 ordered_regimen monopolar 5 121 141\n")
    told = delivered(study).fates
    (row,) = told[told["fate"] == "unlogged"].itertuples()
    assert (row.facility, row.decision, row.sessions) == ("Quellmoor", "record", 2 + 5)
    assert told["sessions"].sum() == 15 + 7


@pytest.mark.parametrize(
    ("line", "decision"),
    [
        ("R1 . out_of_building . . 135 141", "away"), (". W1 hold . . 135 141", "away"),
        ("R1 . payer yes . 135 .", "record"),
    ],
)  # fmt: skip
def test_what_was_never_logged_while_away_or_on_hold_was_away(line, decision):
    spans = ORDER + f". W1 ordered_regimen monopolar 5 135 141\n{line}\n"
    told = delivered(study_of(spans=spans)).fates
    assert told.loc[told["fate"] == "unlogged", "decision"].tolist() == [decision]


def test_one_session_missed_for_isolation_says_nothing_of_four_that_nobody_logged():
    log = LOG + "W1 136 stimulation monopolar . . missed isolation\n"
    study = study_of(log, spans=ORDER + ". W1 ordered_regimen monopolar 5 135 141\n")
    told = delivered(study).fates
    (row,) = told[told["fate"] == "unlogged"].itertuples()
    assert (row.decision, row.sessions) == ("record", 4)


def test_days_away_explain_as_many_of_the_sessions_that_are_not_logged():
    """Five a week and none logged; two days away explain two, and nobody recorded why the other three lack."""
    spans = ORDER + ". W1 ordered_regimen monopolar 5 135 141\nR1 . out_of_building . . 135 136\n"
    told = delivered(study_of(spans=spans)).fates
    never = told[told["fate"] == "unlogged"]
    assert dict(zip(never["decision"], never["sessions"], strict=True)) == {"record": 3, "away": 2}


LINES = st.lists(
    st.tuples(
        st.sampled_from(["W1", "W2"]),
        st.integers(91, 200),
        st.sampled_from(["stimulation monopolar", "stimulation bipolar", "ultrasound .", "other ."]),
        st.sampled_from([".", "5", "20", "50", "90"]),
        st.sampled_from(["5", "."]),
        st.sampled_from(["given .", "shortened refused", "missed staff", "missed .", ". ."]),
    ),
    max_size=12,
)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(LINES, st.sampled_from([PLAN, SAFE_HARBOR]))
def test_every_session_of_the_quarter_is_in_exactly_one_fate(lines, plan):
    """Whatever is logged, ordered, or not told, and whether or not the export shares a calendar."""
    log = "wound day modality setup minutes radiating_area status reason\n"
    log += "".join(" ".join(map(str, line)) + "\n" for line in lines)
    study = study_of(log, plan, spans=ORDER + "R1 . ordered_regimen monopolar 3 100 .\n")
    found = delivered(study)
    planned = len(study.sessions) if plan == SAFE_HARBOR else study.sessions["day"].between(110, 200).sum()
    logged = found.fates[found.fates["fate"] != "unlogged"]
    assert logged["sessions"].sum() == planned
    assert found.fates.groupby("facility")["share"].sum().sub(1).abs().max() < EXACT or found.fates.empty
    assert not found.fates.duplicated(["facility", "fate", "decision"]).any()
    assert (found.shortfalls["asked"] == found.shortfalls[list(STATES)].sum(axis=1)).all()


# --- what an export may lack ---

BARE = "wound day modality\nW1 121 stimulation\nW2 122 ultrasound\n"
ABSENT = {
    "no sessions": {"sessions": "wound day modality\n"},
    "one session": {"sessions": "wound day modality\nW1 121 stimulation\n"},
    "nothing but days": {"sessions": BARE, "measurements": "wound day state\nW1 100 open\n"},
    "no facility": {"residents": "resident age\nR1 80\nR2 70\n"},
    "no open measurement": {"measurements": "wound day state\nW1 100 closed\n"},
    "missed only": {"sessions": "wound day modality status\nW1 121 stimulation missed\n"},
}


@pytest.fixture(scope="module")
def whole():
    return delivered(study_of(spans=ORDER + ". W1 ordered_regimen monopolar 5 121 141\n"))


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR], ids=["day numbers", "no calendar"])
@pytest.mark.parametrize("name", ABSENT)
def test_whatever_is_absent_every_frame_has_the_columns_of_any_other(name, plan, whole):
    found = delivered(study_of(plan=plan, **ABSENT[name]))
    for frame in ("told", "judged", "weeks", "doses", "shortfalls", "stretches", "fates", "settings"):
        assert list(getattr(found, frame)) == list(getattr(whole, frame)), frame


def test_where_minutes_are_never_recorded_nothing_is_short_and_everything_is_to_be_recorded():
    told = delivered(study_of("wound day modality\nW1 121 stimulation\nW1 122 stimulation\n")).fates
    assert list(told[["fate", "decision", "sessions"]].itertuples(index=False, name=None)) == [
        ("no minutes", "record", 2)
    ]


def test_fates_of_nothing_are_empty():
    study = study_of()
    none = study.sessions.head(0)
    judged, weeks = delivered(study).judged, delivered(study).weeks
    told = fates(none, pd.Series([], dtype=object), judged, weeks)
    assert told.empty and list(told) == ["facility", "fate", "decision", "sessions", "share"]


def test_protocols_that_ask_no_build_up_are_followed_in_fates():
    study = study_of(plan=PLAN + "[protocol]\nbuild_up = 0\n")
    assert study.plan.protocol == Protocol(build_up=0)
    assert fate_of_each(study.sessions, delivered(study).judged)["fate"].iloc[0] == "short"
