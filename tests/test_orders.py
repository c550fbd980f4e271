"""What was ordered: which wounds an order is of, when it ends, its whole weeks, and what became of them."""

import pandas as pd
import pytest

from kit.delivery.context import in_context
from kit.delivery.orders import COLUMNS, as_ordered, ordered_weeks, orders, sessions_a_week
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

OPEN = "wound day length width state\nW1 90 4 3 open\nW1 195 4 3 open\n"
TWO = {"wounds": "wound resident\nW1 R1\nW2 R1\n", "measurements": OPEN + "W2 90 4 3 open\nW2 195 4 3 open\n"}
WEEKDAYS = (0, 1, 2, 3, 4)


def spans(*rows: str) -> str:
    return "\n".join(["resident wound span value per_week from_day to_day", *rows]) + "\n"


def sessions(*rows: str) -> str:
    return "\n".join(["wound day modality setup status reason", *rows]) + "\n"


def given(*days: int, wound: str = "W1", what: str = "stimulation monopolar") -> list[str]:
    return [f"{wound} {day} {what} given ." for day in days]


def of_wound(begins: int = 100, ends: object = ".", per_week: object = 5, what: str = "monopolar") -> str:
    return f". W1 ordered_regimen {what} {per_week} {begins} {ends}"


def study_of(ordered: list[str], logged: list[str], measurements: str = OPEN, **tables: str):
    return drawn(measurements, sessions=sessions(*logged), spans=spans(*ordered), **tables)


def ordered_of(study) -> pd.DataFrame:
    asked = (study.episodes, study.wounds, study.residents, study.plan)
    return orders(study.spans, study.sessions, study.measurements, *asked)


def weeks_of(study) -> pd.DataFrame:
    return ordered_weeks(ordered_of(study), study.sessions, study.spans, study.departures)


def weeks(ordered: list[str], logged: list[str], **tables: str) -> pd.DataFrame:
    return weeks_of(study_of(ordered, logged, **tables))


def met_of(study) -> pd.DataFrame:
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return as_ordered(told, ordered_of(study))


def met(ordered: list[str], logged: list[str], **tables: str) -> list[str]:
    found = met_of(study_of(ordered, logged, **tables))
    return found["state"].where(found["recorded"], "unrecorded").tolist()


# --- which orders ---


def test_orders_of_modalities_are_taken_and_dressings_are_not():
    found = ordered_of(study_of([of_wound(), of_wound(what="dressing", per_week=3)], []))
    assert list(found) == COLUMNS
    assert found["ordered"].tolist() == ["monopolar"]


@pytest.mark.parametrize("what", ["monopolar", "bipolar", "ultrasound"])
def test_every_modality_can_be_ordered(what):
    assert ordered_of(study_of([of_wound(what=what)], []))["ordered"].tolist() == [what]


def test_an_order_names_its_wounds_person_and_house():
    residents = "resident facility\nR1 Quellmoor\n"
    (row,) = ordered_of(study_of([of_wound()], [], residents=residents)).itertuples()
    assert (row.wound, row.resident, row.facility, row.per_week) == ("W1", "R1", "Quellmoor", 5)
    (row,) = ordered_of(study_of([of_wound()], [])).itertuples()
    assert row.facility == "not named"


def test_an_order_of_a_person_is_of_the_wounds_that_have_a_session_while_it_held():
    """W2 is in the log on day 99 only, the day before the order; a session that was missed counts."""
    logged = ["W1 104 stimulation monopolar missed staff", *given(99, wound="W2")]
    found = ordered_of(study_of(["R1 . ordered_regimen monopolar 5 100 120"], logged, **TWO))
    assert found["wound"].tolist() == ["W1"]


def test_an_order_of_a_person_with_sessions_of_two_wounds_is_of_both():
    found = ordered_of(
        study_of(["R1 . ordered_regimen monopolar 5 100 ."], [*given(101), *given(102, wound="W2")], **TWO)
    )
    assert found["wound"].tolist() == ["W1", "W2"]


def test_an_order_of_a_person_without_a_session_is_of_their_only_wound():
    assert ordered_of(study_of(["R1 . ordered_regimen monopolar 5 100 ."], []))["wound"].tolist() == ["W1"]


def test_an_order_that_names_person_and_wound_is_of_that_wound():
    found = ordered_of(study_of(["R1 W2 ordered_regimen monopolar 5 100 ."], given(101), **TWO))
    assert found["wound"].tolist() == ["W2"]


# --- when it ends ---


@pytest.mark.parametrize(
    ("written", "measurements", "departures", "ends"),
    [
        ("150", OPEN, "", 150),
        (".", OPEN, "", 200),
        ("150", OPEN.replace("W1 195 4 3 open", "W1 112 . . closed"), "", 111),
        ("105", OPEN.replace("W1 195 4 3 open", "W1 112 . . closed"), "", 105),
        (".", OPEN, "R1 197 died", 196),
        (".", OPEN, "R1 197 left", 196),
        (".", OPEN, "R1 150 hospital", 200),
        (".", OPEN.replace("W1 195 4 3 open", "W1 130 4 3 open"), "", 158),
    ],
    ids=["as written", "cut-off", "closed", "before it closed", "died", "left", "hospital", "lost from sight"],
)
def test_an_order_ends_with_its_last_day_the_wound_or_the_cutoff(written, measurements, departures, ends):
    """The last day is the one before a closing, a death or a leaving; who is in hospital may come back.

    Nobody can call a wound lost before `vanished_days`, 28, have gone by: 130 + 28 = 158.
    """
    tables = {"departures": f"resident day reason\n{departures}\n"} if departures else {}
    (row,) = ordered_of(study_of([of_wound(100, written)], [], measurements, **tables)).itertuples()
    assert row.to_day == ends


CLOSED = OPEN.replace("W1 195 4 3 open", "W1 100 . . closed")


def test_an_order_that_begins_when_the_wound_has_closed_is_none():
    assert ordered_of(study_of([of_wound(101)], [], CLOSED)).empty


def test_an_order_of_a_wound_that_closed_and_is_treated_again_ends_with_its_last_session():
    (row,) = ordered_of(study_of([of_wound(120)], given(121, 128), CLOSED)).itertuples()
    assert (row.from_day, row.to_day) == (120, 128)


def test_a_session_on_the_day_of_closing_is_under_the_order_and_one_after_its_last_day_is_not():
    (row,) = ordered_of(study_of([of_wound(95)], given(96), CLOSED)).itertuples()
    assert (row.to_day, row.until) == (99, 100)
    assert met([of_wound(95)], given(100), measurements=CLOSED) == ["within"]


def test_a_person_is_asked_nothing_after_their_last_day():
    (row,) = ordered_of(study_of([of_wound(100)], [], residents="resident last_day\nR1 131\n")).itertuples()
    assert (row.to_day, row.until) == (131, 131)


# --- orders that overlap ---


def spells(ordered: list[str], logged: list[str], **tables: str) -> list[tuple]:
    found = ordered_of(study_of(ordered, logged, **tables))
    return list(zip(found["ordered"], found["per_week"], found["from_day"], found["to_day"], strict=True))


def test_a_later_order_of_the_modality_ends_the_one_before():
    ordered = [of_wound(100), of_wound(120, per_week=3, what="bipolar"), of_wound(110, what="ultrasound")]
    told = [("monopolar", 5, 100, 119), ("ultrasound", 5, 110, 200), ("bipolar", 3, 120, 200)]
    assert spells(ordered, []) == told


def test_an_order_of_the_wound_goes_before_its_persons():
    """The person's holds to the day before the wound's own begins, and where it began within it from the day after."""
    own, persons = of_wound(110, 130, 3), "R1 . ordered_regimen monopolar 5 {} ."
    assert spells([own, persons.format(100)], given(105)) == [("monopolar", 5, 100, 109), ("monopolar", 3, 110, 130)]
    assert spells([own, persons.format(120)], given(125)) == [("monopolar", 3, 110, 130), ("monopolar", 5, 131, 200)]


def test_of_a_person_with_several_wounds_each_is_asked_in_the_weeks_in_which_it_has_a_session():
    """W1 in the first week to the third of the order (100-120), W2 in the fourth alone (121-127)."""
    logged = [*given(103, 115), *given(121, wound="W2")]
    found = ordered_of(study_of(["R1 . ordered_regimen monopolar 5 100 ."], logged, **TWO))
    assert found[["from_day", "to_day"]].to_numpy().tolist() == [[100, 120], [121, 127]]


def test_without_a_calendar_an_open_order_ends_with_the_last_session_of_the_wound():
    (row,) = ordered_of(study_of([of_wound(100)], given(101, 130), plan=SAFE_HARBOR)).itertuples()
    (first, last) = (study_of([of_wound(100)], given(101, 130), plan=SAFE_HARBOR).sessions["day"]).tolist()
    assert (row.to_day, last - first) == (last, 29)


def test_without_a_calendar_an_order_that_has_an_end_keeps_it():
    (row,) = ordered_of(study_of([of_wound(100, 140)], given(101, 130), plan=SAFE_HARBOR)).itertuples()
    assert row.to_day - row.from_day == 40


# --- whole weeks ---


@pytest.mark.parametrize(("ends", "whole"), [(105, 0), (106, 1), (112, 1), (113, 2), (120, 3)])
def test_only_whole_weeks_ask_for_a_round_number(ends, whole):
    """Day 100 to 106 is one week, 100 to 112 is a day short of two."""
    found = weeks([of_wound(100, ends)], [])
    assert found["day"].tolist() == [106, 113, 120][:whole]
    assert found["asked"].tolist() == [5] * whole


def test_a_week_that_the_cutoff_cuts_is_not_judged():
    """Days 190 to 196 are whole; 197 to 200 are not."""
    assert weeks([of_wound(190)], [])["day"].tolist() == [196]


def test_sessions_fall_into_the_week_of_the_order_that_holds_their_day():
    """Day 99 is before it; 100 and 106 are its first week, 107 and 113 the second."""
    found = weeks([of_wound(100, 113, 2)], given(99, 100, 106, 107, 113, 114))
    assert found["given"].tolist() == [2, 2]


def test_each_session_of_a_week_is_counted_as_what_became_of_it():
    logged = [
        *given(100, 101),
        "W1 102 stimulation monopolar shortened refused",
        "W1 103 stimulation monopolar missed staff",
        "W1 104 stimulation monopolar . .",
    ]
    (row,) = weeks([of_wound(100, 106, 6)], logged).itertuples()
    assert (row.asked, row.given, row.shortened, row.missed, row.not_known, row.unlogged) == (6, 2, 1, 1, 1, 1)


def test_more_sessions_than_ordered_leave_nothing_unlogged():
    (row,) = weeks([of_wound(100, 106, 2)], given(100, 101, 102)).itertuples()
    assert (row.given, row.unlogged) == (3, 0)


def test_a_week_without_any_line_in_the_log_is_wholly_unlogged():
    found = weeks([of_wound(100, 113, 3)], given(100, 101, 102))
    assert found["unlogged"].tolist() == [0, 3]


def test_an_order_without_a_frequency_has_no_weeks_and_still_names_what_was_ordered():
    assert weeks([of_wound(per_week=".")], given(100)).empty
    assert met([of_wound(per_week=".")], given(100)) == ["within"]


def test_each_order_has_its_own_weeks():
    """Five a week to day 106, then three a week from day 107 on."""
    found = weeks([of_wound(100, 106, 5), of_wound(107, 113, 3)], given(*range(100, 105), 107, 108))
    assert found["asked"].tolist() == [5, 3]
    assert found["given"].tolist() == [5, 2]


def test_the_wounds_of_one_person_are_counted_apart():
    found = weeks(["R1 . ordered_regimen monopolar 2 100 106"], [*given(100, 101), *given(102, wound="W2")], **TWO)
    assert list(zip(found["wound"], found["given"], found["unlogged"], strict=True)) == [("W1", 2, 0), ("W2", 1, 1)]


# --- why a week fell short ---


def missed(*reasons: str) -> list[str]:
    return [f"W1 {100 + n} stimulation monopolar missed {reason}" for n, reason in enumerate(reasons)]


def test_the_most_frequent_reason_of_the_missed_sessions_stands_for_the_week():
    (row,) = weeks([of_wound(100, 106)], missed("refused", "staff", "staff", ".")).itertuples()
    assert row.reason == "staff"


def test_of_reasons_that_are_as_frequent_the_first_by_name_is_told():
    (row,) = weeks([of_wound(100, 106)], missed("staff", "refused")).itertuples()
    assert row.reason == "refused"


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (". W1 hold . . 101 104", "on_hold"),
        ("R1 . out_of_building . . 90 103", "out_of_building"),
        (". W1 hold . . 104 106", ""),
        (". W1 hold . . 107 110", ""),
        (". W1 hold . . 90 99", ""),
    ],
    ids=["hold", "out of the building", "fewer days than sessions that lack", "after the week", "before it"],
)
def test_a_span_of_the_week_gives_the_reason_where_none_was_missed(line, reason):
    """Five ordered and one given: four lack, so four days away explain them and three do not."""
    (row,) = weeks([of_wound(100, 106), line], given(100)).itertuples()
    assert row.reason == reason


@pytest.mark.parametrize(("left", "returned", "reason"), [(90, 104, "out_of_building"), (90, 103, ""), (107, ".", "")])
def test_a_stay_in_hospital_gives_the_reason_where_none_was_missed(left, returned, reason):
    """Who comes back on day 104 was away for four days of the week, 100 to 103."""
    departures = f"resident day reason returned\nR1 {left} hospital {returned}\n"
    (row,) = weeks([of_wound(100, 106)], given(100), departures=departures).itertuples()
    assert row.reason == reason


def test_what_the_log_says_of_a_missed_session_goes_before_a_span():
    (row,) = weeks([of_wound(100, 106), ". W1 hold . . 103 104"], missed("staff")).itertuples()
    assert row.reason == "staff"


# --- the week beside the order ---


def week(logged: list[str], *lines: str, per_week: float = 3) -> tuple[str, bool, str]:
    found = sessions_a_week(weeks([of_wound(100, 106, per_week), *lines], logged))
    (row,) = found.itertuples()
    assert (row.element, row.modality, row.day) == ("sessions_a_week", "stimulation", 106)
    return row.state, row.recorded, row.decision


def test_a_week_with_as_many_sessions_as_ordered_is_within_shortened_ones_too():
    assert week([*given(100, 101), "W1 102 stimulation monopolar shortened refused"]) == ("within", True, "")


def test_a_week_with_more_sessions_than_ordered_is_above():
    assert week(given(100, 101, 102, 103)) == ("above", True, "train")


@pytest.mark.parametrize(
    ("reason", "decision"),
    [
        ("staff", "staff"), ("equipment", "supply"), ("supplies", "supply"), ("payer", "payer"), ("refused", "person"),
        ("unwell", "person"), ("out_of_building", "away"), ("on_hold", "away"), ("isolation", "away"), (".", "record"),
    ],
)  # fmt: skip
def test_a_week_below_is_decided_by_the_reason_of_what_was_missed(reason, decision):
    logged = [*given(100, 101), f"W1 102 stimulation monopolar missed {reason}"]
    assert week(logged) == ("below", True, decision)


def test_a_week_below_in_which_nothing_was_missed_asks_for_recording():
    assert week(given(100)) == ("below", True, "record")


def test_a_week_below_on_hold_was_away():
    assert week(given(100), ". W1 hold . . 102 110") == ("below", True, "away")


def test_a_week_that_is_short_only_if_a_session_of_unknown_status_was_not_given_is_not_recorded():
    assert week([*given(100, 101), "W1 102 stimulation monopolar . ."]) == ("unknown", False, "record")


def test_a_session_of_unknown_status_takes_nothing_from_a_full_week():
    assert week([*given(100, 101, 102), "W1 103 stimulation monopolar . ."]) == ("within", True, "")


def test_ultrasound_ordered_is_an_element_of_ultrasound():
    study = study_of([of_wound(100, 106, 1, "ultrasound")], given(100, what="ultrasound ."))
    assert sessions_a_week(weeks_of(study))["modality"].tolist() == ["ultrasound"]


# --- each session beside its order ---


def test_a_session_of_what_was_ordered_is_within_and_of_anything_else_against():
    logged = [
        *given(101),
        *given(102, what="stimulation bipolar"),
        *given(103, what="ultrasound ."),
        *given(104, what="other ."),
    ]
    assert met([of_wound(100)], logged) == ["within", "against", "against", "against"]


def test_stimulation_without_a_set_up_meets_no_order_and_breaks_none():
    assert met([of_wound(100)], given(101, what="stimulation .")) == ["unrecorded"]


@pytest.mark.parametrize(("day", "state"), [(99, "unrecorded"), (100, "within"), (120, "within"), (121, "unrecorded")])
def test_an_order_holds_from_its_first_to_its_last_day(day, state):
    assert met([of_wound(100, 120)], given(day)) == [state]


def test_of_two_orders_that_hold_either_may_be_met():
    ordered = [of_wound(100), of_wound(100, what="ultrasound")]
    logged = [*given(101), *given(102, what="ultrasound ."), *given(103, what="stimulation bipolar")]
    assert met(ordered, logged) == ["within", "within", "against"]


def test_where_the_export_holds_no_orders_no_session_is_asked():
    assert met([], given(101)) == []


def test_where_it_holds_some_a_wound_without_one_is_not_recorded():
    found = met_of(study_of([of_wound(100)], [*given(101), *given(101, wound="W2")], **TWO))
    assert list(zip(found["wound"], found["recorded"], found["decision"], strict=True)) == [
        ("W1", True, ""),
        ("W2", False, "record"),
    ]


def test_every_session_given_has_one_line():
    logged = [*given(99, 101), "W1 102 stimulation monopolar missed staff", "W1 103 stimulation monopolar . ."]
    found = met_of(study_of([of_wound(100), of_wound(100, 120), of_wound(100, what="bipolar")], logged))
    assert found["source_row"].tolist() == [2, 3]


# --- what an export may lack ---

EMPTY = {
    "no spans": ([], given(100)),
    "no sessions": ([of_wound(100, 120)], []),
    "neither": ([], []),
    "an order shorter than a week": ([of_wound(100, 103)], given(100)),
}


@pytest.mark.parametrize("name", EMPTY)
@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR], ids=["day numbers", "no calendar"])
def test_whatever_is_absent_the_columns_are_those_of_any_other_export(name, plan):
    whole, study = study_of([of_wound(100, 120)], given(100)), study_of(*EMPTY[name], plan=plan)
    assert list(ordered_of(study)) == COLUMNS
    for made in (weeks_of, lambda study: sessions_a_week(weeks_of(study)), met_of):
        assert list(made(study)) == list(made(whole))


def test_an_export_without_departures_residents_or_reasons_is_judged():
    log = "wound day modality\nW1 100 ultrasound\nW1 101 ultrasound\n"
    study = drawn(OPEN, sessions=log, spans=spans(of_wound(100, 106, 2, "ultrasound")))
    (row,) = sessions_a_week(weeks_of(study)).itertuples()
    assert (row.state, row.decision) == ("within", "")


def test_an_order_without_end_cutoff_and_log_has_no_days():
    assert ordered_of(study_of([of_wound(100)], [], plan=SAFE_HARBOR)).empty


# --- orders that hold together, and people who are gone ---


def test_of_two_orders_that_hold_together_each_is_judged_by_its_own_sessions():
    """Three of stimulation and two of ultrasound ordered; three and one given; the missed one has no set-up."""
    ordered = [of_wound(100, 106, 3), of_wound(100, 106, 2, "ultrasound")]
    logged = [
        *given(100, 101),
        "W1 102 stimulation . missed staff",
        *given(103, 104, what="ultrasound ."),
    ]
    found = weeks(ordered, logged).set_index("ordered")
    assert found[["given", "missed", "unlogged"]].loc["monopolar"].tolist() == [2, 1, 0]
    assert found[["given", "missed", "unlogged"]].loc["ultrasound"].tolist() == [2, 0, 0]


def test_what_fits_no_order_counts_as_a_session_of_the_week():
    """Bipolar in the place of monopolar is a session given; that it was another one is as_ordered's to say."""
    (row,) = weeks([of_wound(100, 106, 2)], given(100, 101, what="stimulation bipolar")).itertuples()
    assert (row.given, row.unlogged) == (2, 0)


@pytest.mark.parametrize(("reason", "last"), [("died", 120), ("left", 120), ("hospital", 127)])
def test_a_wound_lost_from_sight_is_asked_nothing_after_its_person_died_or_left(reason, last):
    """Measured on day 90 and treated on day 100, to be called lost after day 128; its person was there to day 125."""
    seen = "wound day length width state\nW1 90 4 3 open\n"
    departures = f"resident day reason\nR1 126 {reason}\n"
    found = weeks([of_wound(100)], given(100), measurements=seen, departures=departures)
    assert found["day"].max() == last


def test_who_left_and_came_back_is_asked_on():
    seen = "wound day length width state\nW1 90 4 3 open\n"
    departures = "resident day reason returned\nR1 130 left 140\n"
    assert weeks([of_wound(141)], given(190), measurements=seen, departures=departures)["day"].max() == 196


def test_the_surgical_closure_of_another_wound_is_no_absence():
    departures = "resident wound day reason\nR1 W2 95 surgical_closure\n"
    (row,) = weeks([of_wound(100, 106)], given(100), departures=departures, **TWO).itertuples()
    assert row.reason == ""
