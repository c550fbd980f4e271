"""The weekly list: which wounds are open, what there is to look at, in which order, and who is left out and counted."""

import pandas as pd
import pytest

from kit.delivered import worklist_of
from kit.delivery.open_wounds import day_marks, open_wounds
from kit.delivery.worklist import COLUMNS, FIRST, THINGS, evaluations, first_ten, worklist
from kit.study import read_study
from tests.conftest import LIFELIKE
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

EXACT = 1e-9
SESSION = "wound day modality setup status reason\n"
SPAN = "resident wound span value from_day to_day\n"
LEFT = "resident wound day reason returned\n"
MEASURED = "wound day length width exudate\n"
SMALLER = MEASURED + "W1 170 5 5 .\nW1 184 5 4 .\nW1 198 5 3 .\n"  # 25, 20, 15: a fifth and a quarter less; fresh


def opened(study):
    tables = (study.measurements, study.sessions, study.spans, study.departures, study.episodes)
    return open_wounds(study.residents, study.wounds, *tables, study.plan)


def listed(study):
    tables = (study.measurements, study.sessions, study.procedures, study.spans, study.departures)
    return worklist(opened(study), *tables, study.plan)


def things(study):
    """The list as (wound, thing, days, since_day), a missing day as None."""
    rows = listed(study)[["wound", "thing", "days", "since_day"]].astype(object)
    return list(rows.where(rows.notna(), None).itertuples(index=False, name=None))


def given(*days, setup="monopolar"):
    return "".join(f"W1 {day} stimulation {setup} given .\n" for day in days)


# --- which wounds are open, and on which day ---


def test_a_wound_is_open_where_its_last_measurement_says_so():
    seen = "wound day length width state\nW1 150 4 3 open\nW2 150 4 3 open\nW2 190 . . closed\n"
    seen += "W3 100 . . closed\nW3 180 4 3 open\n"
    study = drawn(seen, wounds="wound resident kind\nW1 R1 venous\nW2 R1 venous\nW3 R1 venous\n")
    assert list(opened(study)["wound"]) == ["W1", "W3"]  # opened again after 80 days: nobody would call it closed


def test_the_day_on_which_a_wound_is_known_is_the_cutoff_or_the_persons_last_day():
    residents = "resident facility last_day\nR1 Quellmoor .\nR2 Quellmoor 180\nR3 . 150\n"
    seen = "wound day length width\nW1 150 4 3\nW2 150 4 3\nW3 160 4 3\n"  # of W3 a row stands after the last day
    study = drawn(seen, wounds="wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\n", residents=residents)
    told = opened(study).set_index("wound")
    assert told["known_to"].to_dict() == {"W1": 200, "W2": 180, "W3": 160}
    assert told["facility"].to_dict() == {"W1": "Quellmoor", "W2": "Quellmoor", "W3": "not named"}


def test_without_a_calendar_the_day_is_that_of_the_last_record_of_the_person():
    """Days are recounted from each person's first record: 100 becomes 0, 120 becomes 20, the session of 129 is 29."""
    study = drawn(
        "wound day length width\nW1 100 4 3\nW1 120 4 3\n",
        plan=SAFE_HARBOR,
        sessions=SESSION + given(103, 129),
        residents="resident facility\nR1 Quellmoor\n",
    )
    row = opened(study).iloc[0]
    first = study.measurements["day"].min()
    assert (row["known_to"] - first, row["seen_day"] - first, row["start_day"] - first) == (29, 20, 3)
    assert list(listed(study)["thing"]) == ["not_smaller", "not_measured"]


@pytest.mark.parametrize(
    ("departure", "present", "away"),
    [
        ("R1 . 180 died .", False, False),
        ("R1 . 180 left .", False, False),
        ("R1 . 180 hospital .", True, True),  # 20 days: within the bed hold of 30
        ("R1 . 165 hospital .", False, False),  # 35 days
        ("R1 . 165 hospital 198", True, False),  # back after 33: follow-up ended, the wound is open all the same
        ("R1 W1 180 surgical_closure .", False, False),
    ],
)
def test_a_wound_is_open_only_where_its_person_is_in_the_building_or_may_be_back(departure, present, away):
    told = opened(drawn("wound day length width\nW1 150 4 3\n", departures=LEFT + departure + "\n"))
    assert list(told["away"]) == ([away] if present else [])


def test_who_is_measured_after_a_departure_is_back():
    told = opened(drawn("wound day length width\nW1 150 4 3\nW1 190 4 3\n", departures=LEFT + "R1 . 160 left .\n"))
    assert list(told["away"]) == [False]


def test_a_treated_wound_that_was_never_measured_is_open_and_an_untreated_one_is_not_known():
    wounds = "wound resident kind\nW1 R1 venous\nW2 R1 venous\nW3 R1 venous\n"
    told = opened(drawn("wound day length width\nW3 199 4 3\n", wounds=wounds, sessions=SESSION + given(180, 195)))
    assert list(told["wound"]) == ["W1", "W3"]


# --- the things, one by one ---


def test_a_wound_that_shrinks_and_is_measured_in_time_is_not_listed():
    assert things(drawn(SMALLER)) == []


@pytest.mark.parametrize(
    ("last", "expected"),
    [
        (193, []),  # a round a week is not late on its day
        (192, [("W1", "not_measured", 8, 192)]),
        (187, [("W1", "not_measured", 13, 187)]),
        (186, [("W1", "unmeasured", 14, 186)]),
    ],
)
def test_more_than_seven_days_without_a_measurement_are_told_and_fourteen_apart(last, expected):
    told = things(drawn(f"{MEASURED}W1 {last - 14} 5 4 .\nW1 {last} 5 3 .\n"))  # 15 / 20: a quarter less
    assert told == expected


def test_a_treated_wound_that_was_never_measured_counts_from_its_first_session():
    wounds = "wound resident kind\nW1 R1 venous\nW2 R1 venous\n"
    study = drawn("wound day length width\nW2 199 4 3\n", wounds=wounds, sessions=SESSION + given(180, 195))
    assert things(study) == [("W1", "unmeasured", 20, None)]  # 200 - 180


@pytest.mark.parametrize(("returned", "expected"), [(193, []), (192, ["unmeasured"])])
def test_who_came_back_in_the_last_week_could_not_be_measured_in_the_meantime(returned, expected):
    study = drawn(f"{MEASURED}W1 166 5 4 .\nW1 180 5 3 .\n", departures=f"{LEFT}R1 . 181 hospital {returned}\n")
    assert list(listed(study)["thing"]) == expected


@pytest.mark.parametrize(
    ("sizes", "expected", "change"),
    [
        ("W1 170 5 4 .\nW1 184 5 4 .\nW1 198 5 4 .\n", ("not_smaller", 28, 170), 0.0),  # 198 - 170
        ("W1 170 5 6 .\nW1 184 5 4 .\nW1 198 5 4 .\n", ("not_smaller", 14, 184), 0.0),  # a third less over 28
        ("W1 170 5 2 .\nW1 184 5 3 .\nW1 198 5 2.2 .\n", ("larger", 28, 170), 10.0),  # less over 14, more over 28
        ("W1 182 5 4 .\nW1 198 5 4.2 .\n", ("not_smaller", 16, 182), 5.0),  # known for 16 days only
        ("W1 182 5 4 .\nW1 198 5 4.4 .\n", ("larger", 16, 182), 10.0),  # by a tenth
        ("W1 190 5 4 .\nW1 198 5 4 .\n", None, None),  # eight days tell nothing
    ],
)
def test_not_smaller_by_a_tenth_is_told_over_the_longer_time(sizes, expected, change):
    told = listed(drawn(MEASURED + sizes))
    rows = list(told[["thing", "days", "since_day"]].itertuples(index=False, name=None))
    assert rows == ([expected] if expected else [])
    assert expected is None or told["size_change"].iloc[0] == pytest.approx(change, abs=EXACT)


def weekly(first, last):
    return given(*range(first, last, 7), last)


STILL = MEASURED + "W1 150 5 4 heavy\nW1 170 5 4 heavy\nW1 184 5 3.8 heavy\nW1 198 5 3.8 heavy\n"


@pytest.mark.parametrize(
    ("first", "last", "seen"),
    [
        (170, 199, True),  # 200 - 170 = 30 days
        (171, 199, False),
        (170, 186, True),  # the last one 14 days ago
        (170, 185, False),  # no longer under treatment
    ],
)
def test_thirty_days_of_treatment_without_a_sign(first, last, seen):
    told = listed(drawn(STILL, sessions=SESSION + weekly(first, last)))
    row = told[told["thing"] == "no_sign"]
    assert list(row["days"]) == ([200 - first] if seen else [])
    assert not seen or row["size_change"].iloc[0] == pytest.approx(-5, abs=EXACT)  # 3.8 / 4


def test_a_level_less_exudate_is_a_sign():
    told = listed(drawn(STILL.replace("198 5 3.8 heavy", "198 5 3.8 moderate"), sessions=SESSION + weekly(160, 199)))
    assert list(told["thing"]) == ["not_smaller"]


def test_a_sign_that_came_and_went_within_the_thirty_days_was_one():
    """A level less on day 184, heavy again on day 198: the two ends alone would not tell."""
    told = listed(drawn(STILL.replace("184 5 3.8 heavy", "184 5 3.8 moderate"), sessions=SESSION + weekly(160, 199)))
    assert list(told["thing"]) == ["not_smaller"]


def test_after_a_pause_of_more_than_two_weeks_the_thirty_days_begin_anew():
    """From 120 to 150, then a pause of 35 days: under treatment for 15 days, since day 185."""
    told = listed(drawn(STILL, sessions=SESSION + weekly(120, 150) + weekly(185, 199)))
    assert "no_sign" not in set(told["thing"])


ORDER = SPAN + "R1 W1 ordered_regimen monopolar 150 .\n"


@pytest.mark.parametrize(
    ("logged", "spans", "expected"),
    [
        (given(150, 193), "", None),  # a session a week is not late on its day
        (given(150, 192), "", (8, 192, None, "")),
        (given(150), "R1 W1 hold . 190 .\n", None),  # it holds still
        (given(150), "R1 . out_of_building . 190 .\n", None),
        (given(150), "R1 W1 hold . 160 196\n", None),  # four days in which one could have been given
        (given(150), "R1 W1 hold . 160 190\n", (10, 190, None, "")),
        (given(140), "", (50, 150, None, "")),  # since the order
        ("", "", None),  # an export without sessions says of no order that it was not carried out
        (
            given(150, 180) + "W1 182 stimulation monopolar missed staff\nW1 184 stimulation monopolar missed staff\n"
            "W1 186 stimulation monopolar missed refused\nW1 188 stimulation monopolar missed .\n"
            "W1 190 stimulation monopolar . .\n",
            "",
            (20, 180, 5, "staff 2, no reason recorded 1, refused 1, status not known 1"),
        ),
    ],
)
def test_ordered_and_no_session_for_more_than_seven_days_on_which_one_could_have_been(logged, spans, expected):
    told = listed(drawn(SMALLER, sessions=SESSION + logged, spans=ORDER + spans))
    rows = told[told["thing"] == "no_session"][["days", "since_day", "missed", "reasons"]].astype(object)
    rows = rows.where(rows.notna(), None)
    assert list(rows.itertuples(index=False, name=None)) == ([expected] if expected else [])


def test_an_order_that_ended_asks_for_no_session():
    assert things(drawn(SMALLER, spans=SPAN + "R1 W1 ordered_regimen monopolar 150 190\n")) == []


def test_an_order_of_a_dressing_asks_for_no_session():
    assert things(drawn(SMALLER, spans=SPAN + "R1 W1 ordered_regimen dressing 150 .\n")) == []


@pytest.mark.parametrize(
    ("evaluated", "expected"),
    [
        ("W1 170 evaluation", None),  # 30 days ago
        ("W1 169 evaluation", ("W1", "evaluation_due", 31, 169)),
        ("W1 169 evaluation\nW1 190 evaluation", None),
        ("W9 169 evaluation", ("W1", "evaluation_due", 50, None)),  # never, treated for 50 days; others are evaluated
        ("W1 169 dressing", None),  # the export holds no evaluations at all
    ],
)
def test_an_evaluation_is_due_after_the_plans_thirty_days(evaluated, expected):
    wounds = "wound resident kind\nW1 R1 venous\nW9 R9 venous\n"
    study = drawn(
        SMALLER, wounds=wounds, sessions=SESSION + given(150, 199), procedures=f"wound day procedure\n{evaluated}\n"
    )
    assert things(study) == ([expected] if expected else [])


def test_an_untreated_wound_is_not_due_for_an_evaluation():
    assert things(drawn(SMALLER, procedures="wound day procedure\nW1 100 evaluation\n")) == []


def test_a_measurement_by_a_practitioner_is_an_evaluation():
    seen = "wound day length width assessor_role\nW1 150 5 4 nurse\nW1 160 5 4 practitioner\n"
    study = drawn(seen, procedures="wound day procedure\nW1 160 evaluation\nW1 165 dressing\n")
    told = evaluations(study.procedures, study.measurements)
    assert list(told.itertuples(index=False, name=None)) == [("W1", 160)]  # told twice, once a day


@pytest.mark.parametrize(
    ("span", "expected"),
    [
        ("R1 . contraindication malignancy 120 190", ("W1", "contraindicated", 12, 130)),  # 130 and 188, not 195
        ("R1 W1 contraindication malignancy 120 190", ("W1", "contraindicated", 12, 130)),
        ("R1 . contraindication malignancy 20 105", None),  # of the quarter before: it begins on day 110
        ("R1 . precaution metal 120 190", None),
    ],
)
def test_sessions_of_the_quarter_inside_a_contraindication_come_first(span, expected):
    study = drawn(SMALLER, sessions=SESSION + given(100, 130, 188, 195), spans=f"{SPAN}{span}\n")
    assert things(study) == ([expected] if expected else [])
    if expected:
        assert list(listed(study)["sessions"]) == [2]


def test_a_missed_session_inside_a_contraindication_harmed_nobody():
    missed = SESSION + "W1 130 stimulation monopolar missed on_hold\n"
    assert things(drawn(SMALLER, sessions=missed, spans=SPAN + "R1 . contraindication malignancy 120 190\n")) == []


@pytest.mark.parametrize(
    ("last", "sessions", "expected"),
    [
        (171, "", "lost"),  # 29 days, the plan's vanished_days are 28
        (172, "", "unmeasured"),
        (171, given(190), "unmeasured"),  # somebody saw it on day 190
    ],
)
def test_lost_from_sight_is_what_nobody_measured_or_treated_for_longer_than_the_plan_says(last, sessions, expected):
    study = drawn(f"{MEASURED}W1 150 5 4 .\nW1 {last} 5 4 .\n", sessions=SESSION + sessions)
    assert things(study) == [("W1", expected, 200 - last, last)]


# --- the whole list ---

EVERYTHING = {
    "wounds": "wound resident kind\n" + "".join(f"W{n} R{n} venous\n" for n in range(1, 8)),
    "measurements": STILL
    + "W2 160 5 4 .\nW3 192 5 4 .\nW4 190 5 4 .\nW5 160 5 4 .\nW5 170 5 4 .\nW5 198 5 4 .\n"
    + "W6 180 5 4 .\nW7 180 5 4 .\nW7 198 5 5 .\n",
    "sessions": SESSION + weekly(150, 199) + "W5 150 stimulation bipolar given .\n",
    "spans": SPAN
    + "R1 . contraindication metal 199 199\nR5 W5 ordered_regimen bipolar 150 .\nR5 . comfort_goal . 100 .\n",
    "departures": LEFT + "R3 . 195 hospital .\n",
    "procedures": "wound day procedure\nW1 150 evaluation\nW5 150 evaluation\n",
}


def test_the_most_pressing_comes_first_and_the_longest_first_within_it():
    assert things(drawn(**EVERYTHING)) == [
        ("W1", "contraindicated", 1, 199),
        ("W1", "no_sign", 50, 150),
        ("W7", "larger", 18, 180),
        ("W5", "no_session", 50, 150),
        ("W1", "evaluation_due", 50, 150),
        ("W6", "unmeasured", 20, 180),
        ("W1", "not_smaller", 28, 170),
        ("W2", "lost", 40, 160),
        ("W4", "not_measured", 10, 190),
    ]


def test_of_two_wounds_treated_against_a_contraindication_the_latest_comes_first():
    wounds = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"
    sessions = SESSION + given(130) + "W2 150 stimulation bipolar given .\n"
    spans = SPAN + "R1 . contraindication metal 120 .\nR2 . contraindication metal 120 .\n"
    study = drawn(
        SMALLER + SMALLER.split("\n", 1)[1].replace("W1", "W2"), wounds=wounds, sessions=sessions, spans=spans
    )
    assert [row[:3] for row in things(study)] == [("W2", "contraindicated", 50), ("W1", "contraindicated", 70)]


def test_whose_person_is_in_hospital_is_left_out_and_stays_countable():
    study = drawn(**EVERYTHING)
    assert "W3" not in set(listed(study)["wound"])
    assert list(opened(study).query("away")["wound"]) == ["W3"]


def test_where_only_comfort_is_sought_nothing_is_said_of_healing():
    """W5 has not been smaller for 28 days and was evaluated 50 days ago; what was ordered still counts."""
    study = drawn(**EVERYTHING)
    assert list(listed(study).query("wound == 'W5'")["thing"]) == ["no_session"]
    assert list(opened(study).query("comfort")["wound"]) == ["W5"]


def test_each_wound_stands_once_among_the_first_with_what_else_there_is():
    first = first_ten(listed(drawn(**EVERYTHING)))
    assert list(first[["place", "wound", "thing", "also"]].itertuples(index=False, name=None)) == [
        (1, "W1", "contraindicated", "no_sign, evaluation_due, not_smaller"),
        (2, "W7", "larger", ""),
        (3, "W5", "no_session", ""),
        (4, "W6", "unmeasured", ""),
        (5, "W2", "lost", ""),
        (6, "W4", "not_measured", ""),
    ]


def test_more_than_ten_wounds_are_cut_to_ten():
    wounds = "wound resident kind\n" + "".join(f"W{n:02d} R{n:02d} venous\n" for n in range(1, 13))
    seen = MEASURED + "".join(f"W{n:02d} {180 + n} 5 4 .\n" for n in range(1, 13))
    told = listed(drawn(seen, wounds=wounds))
    assert (len(told), len(first_ten(told))) == (12, FIRST)
    assert list(first_ten(told)["wound"])[:2] == ["W01", "W02"]  # 19 and 18 days


def test_places_count_from_one_and_the_columns_are_those_told():
    told = listed(drawn(**EVERYTHING))
    assert list(told["place"]) == list(range(1, 10))
    assert list(told) == COLUMNS
    assert set(told["thing"]) == set(THINGS)


def test_nothing_given_is_changed():
    study = drawn(**EVERYTHING)
    known = opened(study)
    kept = {name: getattr(study, name).copy() for name in ("measurements", "sessions", "spans", "departures")}
    before = known.copy()
    worklist(known, study.measurements, study.sessions, study.procedures, study.spans, study.departures, study.plan)
    pd.testing.assert_frame_equal(known, before)
    for name, frame in kept.items():
        pd.testing.assert_frame_equal(getattr(study, name), frame)


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR])
def test_one_row_alone_gives_a_list_of_the_same_columns(plan):
    study = drawn("wound day length width\nW1 10 4 3\n", plan=plan)
    assert list(listed(study)) == COLUMNS
    assert len(first_ten(listed(study))) == len(listed(study)) == (1 if plan == PLAN else 0)  # lost; seen the same day


def test_without_an_open_wound_the_list_is_empty():
    study = drawn("wound day state\nW1 10 closed\n")
    assert len(opened(study)) == 0
    assert list(listed(study)) == COLUMNS and len(listed(study)) == 0
    assert len(first_ten(listed(study))) == 0


# --- the days ---


def marks(study):
    told = day_marks(opened(study), study.sessions, study.spans, study.departures, study.plan)
    return told.groupby("wound")["mark"].agg("".join).to_dict()


SHORT = PLAN.replace("quarter_begins = 110", "quarter_begins = 191")  # ten days


def test_each_day_of_a_treated_wound_has_a_mark():
    sessions = SESSION + "W1 191 stimulation monopolar given .\nW1 192 stimulation monopolar shortened unwell\n"
    sessions += "W1 193 stimulation monopolar missed staff\nW1 194 stimulation monopolar . .\n"
    spans = ORDER + "R1 W1 hold . 195 196\nR1 . out_of_building . 196 197\n"
    assert marks(drawn(SMALLER, plan=SHORT, sessions=sessions, spans=spans)) == {"W1": "GSM?HOO:::"}


def test_days_in_hospital_are_out_of_the_building():
    study = drawn(SMALLER, plan=SHORT, sessions=SESSION + given(191), departures=LEFT + "R1 . 193 hospital 195\n")
    assert marks(study) == {"W1": "G.OOO....."}


def test_a_session_too_short_for_the_protocol_has_its_own_mark():
    """Ten minutes on the first day, where twenty are asked; what is listed as given elsewhere stays given."""
    study = drawn(SMALLER, plan=SHORT, sessions=f"{SESSION.strip()} minutes\nW1 195 stimulation monopolar given . 10\n")
    assert "".join(worklist_of(study).marks["mark"]) == "....B....."


def test_of_two_sessions_of_a_day_the_one_given_is_told():
    sessions = SESSION + "W1 195 ultrasound . missed equipment\n" + given(195)
    assert marks(drawn(SMALLER, plan=SHORT, sessions=sessions)) == {"W1": "....G....."}


def test_a_wound_without_a_session_in_the_quarter_and_without_an_order_has_no_days():
    assert marks(drawn(SMALLER, plan=SHORT, sessions=SESSION + given(150))) == {}
    assert marks(drawn(SMALLER, plan=SHORT, spans=ORDER)) == {"W1": ":" * 10}


def test_without_a_calendar_the_last_thirteen_weeks_of_the_person_are_shown():
    told = marks(drawn(SMALLER, plan=SAFE_HARBOR, sessions=SESSION + given(170, 190)))
    assert len(told["W1"]) == 91
    assert told["W1"].endswith("G" + "." * 19 + "G" + "." * 8)  # 170, 190; the last record is of day 198


# --- the invented group ---


@pytest.fixture(scope="module")
def group():
    return read_study(LIFELIKE)


def test_the_planted_wounds_that_nobody_sees_any_more_are_lost_from_sight(group):
    planted = {"W0424", "W0428", "W0129", "W0742", "W0819"}
    lost = set(listed(group).query("thing == 'lost'")["wound"])
    assert planted <= lost
    assert lost == set(group.episodes.loc[group.episodes["vanished"] & (group.episodes["outcome"] == "open"), "wound"])


def test_every_wound_followed_to_the_cutoff_is_known_as_open(group):
    still = group.episodes[group.episodes["outcome"] == "open"]
    assert set(still["wound"]) <= set(opened(group)["wound"])


def test_the_planted_sessions_against_a_contraindication_head_the_list_of_their_week(tmp_path):
    """W0195 was treated from 21 October to 3 November 2025 while R0485 had one; its list of 5 November."""
    text = (LIFELIKE / "study-plan.toml").read_text(encoding="utf-8")
    text = text.replace("2026-04-01", "2025-10-01").replace("2026-06-30", "2025-11-05")
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    first = first_ten(listed(read_study(LIFELIKE, tmp_path / "plan.toml"))).iloc[0]
    assert (first["wound"], first["thing"], first["sessions"]) == ("W0195", "contraindicated", 10)
