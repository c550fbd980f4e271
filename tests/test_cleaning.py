"""Cleaning: each fault is found in its row, a clean export has none, and no row is lost whatever the tables hold."""

from dataclasses import replace
from io import StringIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.faults import FAULTS, SET_ASIDE
from kit.intake import contradictions
from kit.intake.cleaning import clean
from kit.intake.mapping import Place
from kit.intake.numbering import Names
from kit.intake.readers import read_export
from kit.intake.screening import screen
from kit.plan import date_of
from kit.study import study_of
from kit.vocabulary import TABLES
from tests.exports import (
    CALENDAR,
    MEASUREMENTS,
    PLAN,
    RESIDENTS,
    SAFE_HARBOR,
    WOUNDS,
    cleaned,
    csv_text,
    lines,
    plan_of,
    screened,
)
from tests.exports import raw_table as numbered

slow = settings(deadline=None, derandomize=True, max_examples=12)


def faults(**tables):
    """What is found in an export with these tables: (table, row, fault)."""
    return lines(cleaned(**tables).faults)


def more(drawn, *rows):
    """A table of the tiny export with rows added at its end: the first of them is row `len + 1`."""
    return "\n".join([csv_text(drawn).rstrip(), *rows])


def measured(*rows, head="wound,day,state,length,width", **tables):
    """The cleaned measurements of an export with only these, and their faults as (row, fault)."""
    out = cleaned(measurements="\n".join([head, *rows]), **tables)
    return out.tables["measurements"], [
        (row, fault) for table, row, fault in lines(out.faults) if table == "measurements"
    ]


# --- nothing is wrong ---


def test_a_clean_export_has_no_faults_and_loses_no_row():
    out = cleaned()
    assert lines(out.faults) == []
    assert dict(zip(out.account["table"], out.account["rows_in"], strict=True)) == {
        "residents": 2, "wounds": 2, "measurements": 5, "sessions": 0, "procedures": 0, "spans": 0, "departures": 0,
    }  # fmt: skip
    assert (out.account["rows_in"] == out.account["kept"]).all()


def test_rows_in_are_rows_kept_and_rows_set_aside():
    out = cleaned(measurements=more(MEASUREMENTS, "W1,10,open,4,3", "W9,10,open,4,3", ",10,open,4,3"))
    line = out.account.set_index("table").loc["measurements"]
    assert (line["rows_in"], line["kept"], line["set_aside"]) == (8, 5, 3)


def test_tables_come_in_the_order_of_their_key():
    frame, _ = measured("W2,30,open,1,1", "W1,24,open,1,1", "W1,3,open,1,1")
    assert list(zip(frame["wound"], frame["day"], strict=True)) == [("W1", 3), ("W1", 24), ("W2", 30)]


# --- rows that are set aside ---


def test_duplicate_the_same_row_twice():
    assert faults(measurements=more(MEASUREMENTS, "W1,10,open,4,3")) == [("measurements", 7, "duplicate")]
    assert faults(residents=more(RESIDENTS, "R1,Alder,81,female")) == [("residents", 4, "duplicate")]


def test_duplicate_the_same_row_in_another_spelling():
    assert faults(measurements=more(MEASUREMENTS, "W1,10,Open,4.0,3.00")) == [("measurements", 7, "duplicate")]


def test_clash_of_two_sizes_of_one_day_keeps_the_larger():
    frame, found = measured("W1,10,open,2,2", "W1,10,open,4,3", "W1,10,open,3,3")
    assert list(frame["size"]) == [4 * 3]
    assert found == [(2, "clash"), (4, "clash")]


def test_clash_of_open_and_closed_keeps_open_even_without_a_size():
    frame, found = measured("W1,10,closed,,", "W1,10,open,,")
    assert list(frame["state"]) == ["open"]
    assert found == [(2, "clash"), (3, "unsized")]


def test_clash_compares_sizes_as_the_plan_finds_them():
    # By length and width 5 x 3 = 15 is more than 4 x 3 = 12; the recorded area of the second must not be added to it.
    frame, found = measured("W1,10,open,5,3,", "W1,10,open,4,3,12", head="wound,day,state,length,width,area")
    assert list(frame["size"]) == [15]
    assert found == [(3, "clash")]


def test_clash_after_exchanging_width_and_length():
    frame, found = measured("W1,10,open,1,5", "W1,10,open,2,2")
    assert list(frame["size"]) == [5]
    assert found == [(2, "swapped"), (3, "clash")]


def test_clash_of_two_persons_of_one_name_keeps_the_fuller_row():
    out = cleaned(residents="resident,facility,age\nR1,Alder,\nR1,Birch,81\nR2,Birch,77\n")
    assert lines(out.faults) == [("residents", 2, "clash")]
    assert list(out.tables["residents"]["age"]) == [81, 77]


def test_clash_of_two_wounds_of_one_name():
    out = cleaned(wounds=more(WOUNDS, "W1,R2,venous,"), departures="resident,day,reason\nR2,150,died\n")
    assert lines(out.faults) == [("wounds", 4, "clash")]
    assert list(out.tables["wounds"]["resident"]) == ["R1", "R2"]


def test_clash_does_not_keep_a_wound_of_nobody():
    out = cleaned(wounds="wound,resident,kind,site\nW1,R9,venous,leg\nW1,R1,,\nW2,R2,,\n")
    assert lines(out.faults) == [("wounds", 2, "orphan")]
    assert list(out.tables["wounds"]["resident"]) == ["R1", "R2"]


def test_orphan_a_row_of_a_wound_or_person_that_is_not_there():
    sessions = "wound,resident,day,modality\nW1,R1,12,ultrasound\nW9,R1,12,ultrasound\nW1,R9,13,ultrasound\n"
    spans = "resident,wound,span,from_day\nR1,,hold,12\n,W1,hold,13\nR9,,hold,12\n,W9,hold,12\n"
    assert faults(
        measurements=more(MEASUREMENTS, "W9,10,open,4,3"), sessions=sessions, spans=spans,
        procedures="wound,day,procedure\nW9,12,dressing\n", departures="resident,day,reason\nR9,12,left\n",
    ) == [
        ("departures", 2, "orphan"), ("measurements", 7, "orphan"), ("procedures", 2, "orphan"),
        ("sessions", 3, "orphan"), ("sessions", 4, "orphan"), ("spans", 4, "orphan"), ("spans", 5, "orphan"),
    ]  # fmt: skip


def test_orphan_a_wound_of_nobody_takes_its_rows_along():
    found = faults(wounds=more(WOUNDS, "W3,R9,venous,leg"), measurements=more(MEASUREMENTS, "W3,10,open,4,3"))
    assert found == [("measurements", 7, "orphan"), ("wounds", 4, "orphan")]


def test_without_a_residents_table_nobody_is_an_orphan_for_lack_of_it():
    assert faults(residents=None) == []
    assert faults(residents="resident,facility\n") == []
    assert faults(residents=None, departures="resident,day,reason\nR9,12,left\n") == [("departures", 2, "orphan")]


SESSIONS = "wound,resident,site,day,modality\n"
TWO_ON_R1 = more(WOUNDS, "W3,R1,venous,leg")
OF_TWO = more(MEASUREMENTS, "W3,10,open,2,1")


def test_astray_a_session_that_two_wounds_of_its_person_fit():
    sessions = SESSIONS + ",R1,,12,ultrasound\n,R1,leg,12,ultrasound\n"
    found = faults(wounds=TWO_ON_R1, measurements=OF_TWO, sessions=sessions)
    assert found == [("sessions", 2, "astray")]


def test_unmatched_a_session_of_nobody_or_of_a_site_without_a_wound():
    sessions = SESSIONS + ",,sacrum,12,ultrasound\n,R1,head,12,ultrasound\n,R1,sacrum,12,ultrasound\n"
    assert faults(sessions=sessions) == [("sessions", 2, "unmatched"), ("sessions", 3, "unmatched")]


def test_unmatched_a_session_after_the_wound_that_it_would_fit_had_closed():
    # W1 is measured closed on day 24, and on day 31 the size says open: a slip must never heal a wound.
    sessions = SESSIONS + ",R1,sacrum,30,ultrasound\n"
    assert faults(sessions=sessions) == [("sessions", 2, "unmatched")]
    contrary = more(MEASUREMENTS, "W1,31,closed,1,1")
    assert faults(sessions=sessions, measurements=contrary) == [("measurements", 7, "contrary")]


def test_a_session_that_names_person_and_site_is_tied_to_its_wound_and_kept():
    out = cleaned(sessions=SESSIONS + ",R1,sacrum,12,ultrasound\nW1,,,13,ultrasound\n")
    assert out.tables["sessions"][["wound", "tied"]].to_numpy().tolist() == [["W1", "linked"], ["W1", "named"]]
    assert lines(out.faults) == []


def test_a_session_of_two_sites_is_two_sessions_of_one_row():
    sessions = SESSIONS + ",R1,sacrum and leg,12,ultrasound\n"
    out = cleaned(wounds=TWO_ON_R1, measurements=OF_TWO, sessions=sessions)
    assert out.tables["sessions"][["source_row", "wound"]].to_numpy().tolist() == [[2, "W1"], [2, "W3"]]
    account = out.account.set_index("table").loc["sessions"]
    assert (account["rows_in"], account["kept"], account["set_aside"]) == (1, 1, 0)


@pytest.mark.parametrize("sites", ["sacrum and elbow", "elbow and sacrum"])
def test_half_a_session_of_two_sites_of_which_one_is_no_wound_is_of_the_other(sites):
    out = cleaned(wounds=TWO_ON_R1, measurements=OF_TWO, sessions=SESSIONS + f",R1,{sites},12,ultrasound\n")
    assert out.tables["sessions"][["wound", "site"]].to_numpy().tolist() == [["W1", "sacrum"]]
    assert lines(out.faults) == [("sessions", 2, "half")]


def test_unmatched_a_session_of_a_site_that_was_told_and_not_understood():
    sessions = SESSIONS + ",R1,RLE,12,ultrasound\n,R1,LLE,12,ultrasound\n"
    assert faults(sessions=sessions) == [("sessions", 2, "unmatched"), ("sessions", 3, "unmatched")]


def test_unmatched_a_session_of_the_other_side_or_of_a_site_that_is_no_site():
    wounds = "wound,resident,kind,site,side\nW1,R1,pressure_injury,heel,right\nW2,R2,venous,other,\n"
    sessions = "wound,resident,site,side,day,modality\n,R1,,left,12,ultrasound\n,R1,L heel,,12,ultrasound\n"
    found = faults(wounds=wounds, sessions=sessions + ",R2,other,,32,ultrasound\n,R1,,right,12,stimulation\n")
    assert found == [("sessions", row, "unmatched") for row in (2, 3, 4)]


def test_a_session_of_two_sites_that_fit_one_wound_is_one_session():
    # Sacrum and coccyx are one region, and R1 has one wound there.
    out = cleaned(sessions=SESSIONS + ",R1,coccyx and sacrum,12,ultrasound\n")
    assert out.tables["sessions"]["wound"].tolist() == ["W1"]
    assert lines(out.faults) == []


def test_duplicate_a_session_told_with_and_without_its_wound():
    sessions = SESSIONS + "W1,R1,sacrum,12,ultrasound\n,R1,sacrum,12,ultrasound\n"
    out = cleaned(sessions=sessions)
    assert lines(out.faults) == [("sessions", 3, "duplicate")]
    assert out.account.set_index("table").loc["sessions", "kept"] == 1


def test_unseen_a_cell_that_says_the_wound_was_not_looked_at():
    frame, found = measured("W1,10,3 x 2", "W1,17,refused", "W1,24,2 x 1", head="wound,day,dimensions")
    assert found == [(3, "unseen")]
    assert frame["size"].tolist() == [3 * 2, 2 * 1]


def test_astray_a_surgical_closure_of_one_of_several_wounds():
    out = cleaned(
        wounds=more(WOUNDS, "W3,R2,venous,foot"),
        departures="resident,wound,day,reason\nR1,,60,surgical_closure\nR2,,61,surgical_closure\nR2,W3,62,surgical_closure\n",
    )
    assert lines(out.faults) == [("departures", 3, "astray")]
    assert list(out.tables["departures"]["wound"]) == ["W1", "W3"]


def test_duplicate_a_surgical_closure_told_with_and_without_its_wound():
    departures = "resident,wound,day,reason\nR1,,60,surgical_closure\nR1,W1,60,surgical_closure\n"
    out = cleaned(departures=departures)
    assert out.faults["fault"].tolist() == ["duplicate"]
    assert list(out.tables["departures"]["wound"]) == ["W1"]


def test_blank_a_span_of_nobody():
    assert faults(spans="resident,span,from_day\n,hold,12\nR1,hold,13\n") == [("spans", 2, "blank")]


def test_blank_a_measurement_that_says_nothing():
    _, found = measured("W1,10,,,", "W1,17,open,3,2")
    assert found == [(2, "blank")]


def test_future_a_row_after_the_cut_off_and_none_on_it():
    assert faults(
        measurements=more(MEASUREMENTS, "W2,200,open,1,1", "W2,201,open,1,1"),
        sessions="wound,day,modality\nW2,200,ultrasound\nW2,201,ultrasound\n",
        procedures="wound,day,procedure\nW2,201,dressing\n",
        spans="resident,span,from_day\nR2,hold,201\n",
        departures="resident,day,reason\nR2,201,left\n",
    ) == [
        ("departures", 2, "future"), ("measurements", 8, "future"), ("procedures", 2, "future"),
        ("sessions", 3, "future"), ("spans", 2, "future"),
    ]  # fmt: skip


def test_what_ends_after_the_cut_off_had_not_ended_then():
    out = cleaned(
        residents="resident,last_day\nR1,250\nR2,190\n",
        spans="resident,span,from_day,to_day\nR1,hold,150,201\nR1,hold,160,200\n",
        departures="resident,day,reason,returned\nR1,190,hospital,201\nR2,190,hospital,200\n",
    )
    assert lines(out.faults) == []
    ends = {"residents": "last_day", "spans": "to_day", "departures": "returned"}
    assert {name: out.tables[name][end].fillna(-1).tolist() for name, end in ends.items()} == {
        "residents": [-1, 190], "spans": [-1, 200], "departures": [-1, 200],
    }  # fmt: skip


def test_backwards_what_ends_before_it_begins():
    assert faults(
        spans="resident,span,from_day,to_day\nR1,hold,50,49\nR1,hold,60,60\nR1,hold,70,\n",
        departures="resident,day,reason,returned\nR1,50,hospital,49\nR2,50,hospital,50\n",
    ) == [("departures", 2, "backwards"), ("spans", 2, "backwards")]


def test_after_death_nothing_and_on_the_day_of_death_everything():
    assert faults(
        measurements=more(MEASUREMENTS, "W2,40,open,1,1", "W2,41,open,1,1"),
        sessions="wound,day,modality\nW2,40,ultrasound\nW2,41,ultrasound\nW1,41,ultrasound\n",
        procedures="wound,day,procedure\nW2,41,dressing\n",
        spans="resident,wound,span,from_day\nR2,,hold,41\n,W2,hold,41\nR2,,hold,40\n",
        departures="resident,day,reason\nR2,40,died\nR2,41,died\nR2,45,left\n",
    ) == [
        ("departures", 3, "after_death"), ("departures", 4, "after_death"), ("measurements", 8, "after_death"),
        ("procedures", 2, "after_death"), ("sessions", 3, "after_death"),
        ("sessions", 4, "closed_before"),  # of the living, but W1 closed on day 24
        ("spans", 2, "after_death"), ("spans", 3, "after_death"),
    ]  # fmt: skip


def test_a_row_that_is_set_aside_is_told_by_that_alone():
    # Without the duplicate the row would be marked twice, as swapped and for its depth below zero.
    frame, found = measured("W1,10,open,3,4,-1", "W1,10,open,3,4,-1", head="wound,day,state,length,width,depth")
    assert len(frame) == 1
    assert found == [(2, "negative"), (2, "swapped"), (3, "duplicate")]


# --- values that are repaired or marked ---


def test_swapped_width_and_length_are_exchanged():
    frame, found = measured("W1,10,open,2,5", "W1,17,open,3,3", "W1,24,open,,3")
    assert frame[["length", "width"]].iloc[:2].to_numpy().tolist() == [[5, 2], [3, 3]]
    assert found == [(2, "swapped"), (4, "unsized")]


@pytest.mark.parametrize("sizes", [",", "3,", "0,0", "3,0"])
def test_unsized_an_open_wound_without_a_size(sizes):
    frame, found = measured(f"W1,10,open,{sizes}")
    assert frame["size"].isna().all()
    assert frame["size_from"].isna().all()
    assert found == [(2, "unsized")]


@pytest.mark.parametrize("sizes", ["3,2,", ",,5", "3,,"])
def test_contrary_recorded_closed_yet_with_a_size(sizes):
    frame, found = measured(f"W1,10,closed,{sizes}", head="wound,day,state,length,width,area")
    assert list(frame["state"]) == ["open"]
    assert (2, "contrary") in found


def test_mixed_a_size_found_another_way_than_the_wounds_others():
    head = "wound,day,state,length,width,area,area_method"
    frame, found = measured(
        "W1,10,open,4,3,,", "W1,17,open,,,9,ellipse", "W1,24,open,3,3,,", "W2,30,open,,,7,", head=head
    )
    assert list(frame["size_from"]) == ["rectangle", "ellipse", "rectangle", "tracing"]
    assert found == [(3, "mixed")]


def test_staged_a_wound_that_is_no_pressure_injury():
    frame, found = measured("W1,10,3", "W2,30,3", head="wound,day,stage")
    assert found == [(2, "blank"), (3, "blank")]  # nothing else was seen, and a stage alone is no measurement
    frame, found = measured("W1,10,3,open", "W2,30,3,open", head="wound,day,stage,state")
    assert frame["stage"].tolist()[0] == "3"
    assert frame["stage"].isna().tolist() == [False, True]
    assert found == [(2, "unsized"), (3, "unsized"), (3, "staged")]


def test_staged_asks_only_where_the_kind_is_known():
    _, found = measured("W1,10,open,4,3,2", head="wound,day,state,length,width,stage", wounds="wound,resident\nW1,R1\n")
    assert found == []


def stay(*rows, sessions="wound,day,modality,status\n", returned="", **tables):
    """The return from a stay in hospital that began on day 40, and the faults; R1 is measured on these days."""
    measurements = "\n".join(["wound,day,state,length,width", *(f"W1,{day},open,4,3" for day in rows)])
    departures = f"resident,day,reason,returned\nR1,40,hospital,{returned}\n"
    out = cleaned(measurements=measurements, sessions=sessions, departures=departures, **tables)
    back = out.tables["departures"]["returned"].iloc[0]
    return None if pd.isna(back) else back, [tuple(row) for row in out.faults[["table", "column", "fault"]].to_numpy()]


UNSAID = [("departures", "returned", "unsaid")]


def test_unsaid_a_return_is_taken_from_the_first_measurement_within_the_bed_hold():
    assert stay(33, 40, 70, 77) == (70, UNSAID)  # 40 + 30; day 40 itself was still before the stay
    assert stay(33, 71) == (None, [])
    assert stay(33, 52, plan=PLAN + "[following]\nbed_hold_days = 11\n") == (None, [])


def test_unsaid_a_return_is_taken_from_a_session_that_took_place():
    head = "wound,day,modality,status\n"
    assert stay(33, 60, sessions=head + "W1,44,ultrasound,missed\nW1,50,ultrasound,shortened\n") == (50, UNSAID)
    assert stay(33, sessions=head + "W1,44,ultrasound,missed\nW1,45,ultrasound,\nW2,46,ultrasound,given\n") == (
        None,
        [],
    )


def test_a_return_that_is_recorded_stands():
    assert stay(33, 52, returned="50") == (50, [])


FOUND_ELSEWHERE = {
    "unreadable", "negative", "impossible", "garbled", "unknown",  # one cell shows them: screening
    "backstaged", "reopened", "vanished",  # the wound's course shows them: study
    "jump", "outlying", "copied", "late", "closed_before", "merged", "split", "renamed",  # other rows: test_courses
}  # fmt: skip


def test_every_fault_has_a_test_of_its_name_here_or_is_found_elsewhere():
    tested = {name.split("_of_")[0].removeprefix("test_") for name in globals() if name.startswith("test_")}
    assert all(any(name.startswith(fault) for name in tested) for fault in set(FAULTS) - FOUND_ELSEWHERE)


# --- size and state ---


@pytest.mark.parametrize(
    ("row", "state", "size", "size_from"),
    [
        ("open,4,3,20,", "open", 4 * 3, "rectangle"),  # the plan's rule goes before the recorded area
        ("open,4,,20,", "open", 20, "tracing"),
        ("open,4,0,20,", "open", 20, "tracing"),  # a width of 0 is no width
        (",4,3,,", "open", 12, "rectangle"),
        (",,,20,", "open", 20, "tracing"),
        (",4,,,", "open", None, None),
        (",0,0,,", "closed", 0, None),
        (",,,0,", "closed", 0, None),
        (",4,0,,", "open", None, None),  # half a slip must not heal a wound
        (",0,0,,1.5", "open", None, None),  # a narrow mouth over a deep wound
        ("closed,,,,", "closed", 0, None),
        ("closed,0,0,0,", "closed", 0, None),
    ],
)
def test_size_and_state_are_had_from_what_was_recorded(row, state, size, size_from):
    frame, _ = measured(f"W1,10,{row}", head="wound,day,state,length,width,area,depth")
    assert frame.loc[0, "state"] == state
    assert (None if pd.isna(frame.loc[0, "size"]) else frame.loc[0, "size"]) == size
    assert (None if pd.isna(frame.loc[0, "size_from"]) else frame.loc[0, "size_from"]) == size_from


def test_new_skin_closes_a_wound_whose_state_was_not_recorded():
    frame, _ = measured("W1,10,closed,", "W1,17,closed,2", head="wound,day,tissue,area")
    assert list(frame["state"]) == ["closed", "open"]


def test_the_ellipse_of_the_plan_is_the_size():
    frame, _ = measured("W1,10,open,4,3", plan=PLAN + '\n[sizes]\narea = "ellipse"\n')
    assert frame.loc[0, "size"] == pytest.approx(3.14159265 / 4 * 12)
    assert frame.loc[0, "size_from"] == "ellipse"


# --- no calendar ---


def test_without_a_calendar_days_count_from_each_persons_first_record():
    out = cleaned(
        plan=SAFE_HARBOR,
        residents="resident,last_day\nR1,100\nR2,100\n",
        wounds="wound,resident,onset\nW1,R1,4\nW2,R2,\n",
        measurements="wound,day,state\nW1,10,open\nW1,17,open\nW2,30,open\n",
        sessions="wound,day,modality\nW1,8,ultrasound\n",  # the first record of R1
        spans="resident,span,from_day,to_day\nR2,hold,25,40\n",  # the first record of R2
    )
    days = {
        name: out.tables[name][day].tolist()
        for name, day in {"residents": "last_day", "measurements": "day", "sessions": "day", "spans": "to_day"}.items()
    }
    assert days == {
        "residents": [100 - 8, 100 - 25], "measurements": [10 - 8, 17 - 8, 30 - 25], "sessions": [0],
        "spans": [40 - 25],
    }  # fmt: skip
    assert out.tables["wounds"].loc[0, "onset"] == 4 - 8


# --- whatever the tables hold ---

WORDS = {
    "pseudonym": st.sampled_from(["R1", "R2", "W1", "W2", "W3", "", "-", "x y9"]),
    "day": st.sampled_from(["1", "8", "15", "150", "200", "201", "", "soon", "1.5"]),
    # A column in which most numbers have a decimal comma stops the run.
    "number": st.sampled_from(["0", "1", "2.5", "7", "-1", "999", "", "1,234", "<1", "nan", "inf"]),
    "stage": st.sampled_from(["2", "3", "UTD", "", "2-3"]),
    "flag": st.sampled_from(["yes", "no", "", "maybe"]),
    "site": st.sampled_from(["sacrum", "coccyx", "L heel", "sacrum and left heel", "", "the moon"]),
    # Sizes of which many cannot be read stop the run.
    "size": st.sampled_from(["3 x 2", "2 x 1 x 0.5", "healed", "refused", ""]),
}
OFTEN = {"resident": ["R1", "R2"], "wound": ["W1", "W2", "W3"]}


def cells(column):
    """Cells of a column: what it may hold, what it may not, and nothing."""
    if column.kind == "choice":
        # A telling column of unread words stops the run.
        return st.sampled_from([*column.allowed, "", *([] if column.telling else ["outside the list"])])
    likely = st.sampled_from(OFTEN.get(column.name, ["1"]))
    return st.one_of(likely, WORDS[column.kind]) if column.name in OFTEN else WORDS[column.kind]


@st.composite
def exports(draw):
    """Raw tables of up to nine rows in which everything may be wrong; some tables and columns are absent."""
    raw = {}
    for name, table in TABLES.items():
        if table.required or draw(st.booleans()):
            columns = [c for c in table.columns if c.required or draw(st.booleans())]
            rows = draw(st.lists(st.tuples(*map(cells, columns)), max_size=9, min_size=int(table.required)))
            texts = pd.DataFrame(rows, columns=[c.name for c in columns], dtype=object)
            # Lengths of which half are above 15 cm stop the run where their unit is not named.
            unit = {"length": Place(column="length", unit="cm")} if "length" in texts else {}
            raw[name] = raw_table(name, texts, **unit)
    return raw


def raw_table(name, texts, **places):
    """A table as the readers hand it on, numbered from row 2; needs at least one readable day."""
    places = {column: Place(column=column) for column in texts} | places
    rows = texts.reset_index(drop=True)
    days = [c.name for c in TABLES[name].columns if c.kind == "day" and c.required]
    if len(rows) and days:
        rows.loc[0, days] = "1"  # a column of which no day can be read stops the run
    return numbered(name, places, rows)


@slow
@given(exports())
def test_no_row_is_lost_and_none_is_both_kept_and_set_aside(raw):
    out = clean(screen(raw, plan_of(PLAN)), plan_of(PLAN))
    aside = out.faults[out.faults["fate"] == SET_ASIDE]
    for name in TABLES:
        came = set(raw[name].rows["source_row"]) if name in raw else set()
        kept = list(out.tables[name]["source_row"])
        gone = set(aside.loc[aside["table"] == name, "source_row"])
        assert len(kept) == len(set(kept)) or name == "sessions"  # one row may tell of two wounds
        assert (set(kept) | gone, set(kept) & gone) == (came, set())
        assert set(out.faults.loc[out.faults["table"] == name, "source_row"]) <= came


@slow
@given(exports())
def test_whatever_the_tables_hold_a_study_comes_out(raw):
    for plan in (PLAN, SAFE_HARBOR):
        study = study_of(raw, plan_of(plan))
        assert set(study.faults["fault"]) <= set(FAULTS)


@slow
@given(exports(), st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(raw, random):
    def shuffled(table):
        rows = list(range(len(table.rows)))
        random.shuffle(rows)
        return replace(table, rows=table.rows.iloc[rows].reset_index(drop=True))

    plan = plan_of(PLAN)
    one = clean(screen(raw, plan), plan)
    other = clean(screen({name: shuffled(table) for name, table in raw.items()}, plan), plan)
    for name in TABLES:
        pd.testing.assert_frame_equal(unnumbered(one.tables[name]), unnumbered(other.tables[name]))
    pd.testing.assert_frame_equal(one.account, other.account)
    assert counted(one.faults) == counted(other.faults)


def unnumbered(frame):
    """Without what tells where and how a row was written down."""
    return frame.drop(columns=["source_row", "tied"], errors="ignore")


def counted(found):
    return found.groupby(["table", "fault", "column"]).size().to_dict()


TENTHS = st.integers(1, 400).map(lambda tenths: tenths / 10)


@slow
@given(st.lists(st.tuples(TENTHS, TENTHS, TENTHS), min_size=1, max_size=20))
def test_centimetres_millimetres_and_inches_give_the_same_sizes(sizes):
    one, *others = (in_unit(sizes, unit, per_cm) for unit, per_cm in (("cm", 1), ("mm", 10), ("in", 1 / 2.54)))
    for other in others:
        pd.testing.assert_frame_equal(one, other, check_exact=True)


def in_unit(sizes, unit, per_cm):
    texts = pd.DataFrame([[repr(cm * per_cm) for cm in row] for row in sizes], columns=["length", "width", "depth"])
    texts = texts.assign(wound="W1", day=[str(day) for day in range(1, len(texts) + 1)], state="open")
    places = {column: Place(column=column, unit=unit) for column in ("length", "width", "depth")}
    raw = {
        "wounds": raw_table("wounds", pd.DataFrame({"wound": ["W1"], "resident": ["R1"]})),
        "measurements": raw_table("measurements", texts, **places),
    }
    return clean(screen(raw, plan_of(PLAN)), plan_of(PLAN)).tables["measurements"]


# --- reading what we wrote ---


def written_and_read(tables, plan):
    """The tables written as CSV under our own names, and read again."""
    with TemporaryDirectory() as folder:
        for name, frame in tables.items():
            as_text(frame, name, plan).to_csv(Path(folder) / f"{name}.csv", index=False)
        return clean(screen(read_export(folder), plan), plan).tables


def as_text(frame, name, plan):
    """Days as the plan tells them, flags as yes and no; a column that intake added stays behind."""
    texts = frame[list(TABLES[name].names)].astype(object)
    for column in TABLES[name].columns:
        if column.kind == "flag":
            texts[column.name] = texts[column.name].map({True: "yes", False: "no"})
        if column.kind == "day" and plan.calendar:
            texts[column.name] = [None if pd.isna(day) else date_of(day) for day in texts[column.name]]
    return texts


def assert_same_again(tables, plan):
    again = written_and_read(tables, plan)
    for name in TABLES:
        pd.testing.assert_frame_equal(unnumbered(tables[name]), unnumbered(again[name]), check_exact=True)


@slow
@given(exports())
def test_reading_what_we_wrote_gives_what_we_wrote(raw):
    plan = plan_of(PLAN)
    tables = clean(screen(raw, plan), plan).tables
    if all(len(tables[name]) for name, table in TABLES.items() if table.required):
        assert_same_again(tables, plan)


def test_reading_what_we_wrote_with_dates_gives_what_we_wrote():
    dated = pd.read_csv(StringIO(csv_text(MEASUREMENTS)), dtype=str)
    dated["day"] = [date_of(9300 + int(day)).isoformat() for day in dated["day"]]
    tables = cleaned(plan=CALENDAR, measurements=dated.to_csv(index=False)).tables
    assert list(tables["measurements"]["day"]) == [9310, 9317, 9324, 9330, 9337]
    assert_same_again(tables, plan_of(CALENDAR))


# --- numbers in the place of names ---


def test_a_number_stands_for_each_name_in_their_order_and_the_name_comes_back():
    wounds = """
        wound,resident,kind,site
        W9,R2,venous,leg
        W10,R1,pressure_injury,sacrum
    """
    sessions = """
        wound,resident,day,modality,status
        W9,,40,ultrasound,given
        ,R1,41,ultrasound,given
    """
    out = screened(residents=RESIDENTS, wounds=wounds, measurements=MEASUREMENTS, sessions=sessions)
    assert list(out.names.texts["wound"]) == ["W1", "W10", "W2", "W9"]
    assert out.numbered["wounds"]["wound"].tolist() == [3, 1]
    assert out.numbered["sessions"]["wound"].isna().tolist() == [False, True]
    assert out.tables["wounds"]["wound"].tolist() == ["W9", "W10"]
    assert out.tables["sessions"]["wound"].tolist() == ["W9", None]
    assert out.tables["sessions"]["resident"].tolist() == [None, "R1"]


def test_a_column_that_the_export_lacks_stays_another_nothing_than_an_empty_cell():
    names = Names.among({("wounds", "wound"): ["W2", None, "W1"]})
    told = names.told({"wounds": pd.DataFrame({"wound": [1.0, None], "resident": [float("nan")] * 2})})["wounds"]
    assert told["wound"].tolist() == ["W2", None]
    assert told["resident"].isna().all() and told["resident"][0] is not None


@pytest.mark.parametrize("far", [9, 1 << 40])  # too far apart for one number to tell both keys of a row
def test_rows_come_in_the_order_of_their_keys_and_what_is_missing_comes_last(far):
    frame = pd.DataFrame({"one": [far, 0, far, 3, 0], "other": [5, far, 5, 1, 2], "word": ["b", None, "b", "a", "a"]})
    frame["word"] = frame["word"].astype(pd.CategoricalDtype(["b", "a"]))
    for key in (["one", "other"], ["word", "one", "other"], ["other", "word", "one"]):
        places = contradictions._places(frame, key)
        expected = frame.sort_values(key, kind="stable").index.tolist()
        assert pd.Series(places).sort_values(kind="stable").index.tolist() == expected
        assert contradictions.tied(frame, key).tolist() == [True, False, True, False, False]


@pytest.mark.parametrize(
    ("ways", "marked"), [("LAA", [2]), ("LLA", [4]), ("LA", [3]), ("AL", [2]), ("AAA", []), ("L", [])]
)
def test_mixed_is_what_differs_from_the_most_frequent_way_or_from_the_first_by_name(ways, marked):
    cells = {"L": "4,3,", "A": ",,12"}
    rows = [f"W1,{10 + day},open,{cells[way]}" for day, way in enumerate(ways)]
    found = faults(measurements="\n".join(["wound,day,state,length,width,area", *rows, "W2,30,open,,,9"]))
    assert [row for _, row, fault in found if fault == "mixed"] == marked
