"""The weekly list as sheets: sentences of facts, no advice, dates a person can read, and no person named."""

import pandas as pd
import pytest

from kit.delivery.open_wounds import day_marks
from kit.pages.worklist import calendar_table, first_table, things_table, worklist_sheets
from kit.statements.care import FOR_REVIEW
from kit.study import read_study
from tests.conftest import LIFELIKE
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR
from tests.test_words import DATED, NUMBERED, UNDATED, forbidden_in
from tests.test_worklist import EVERYTHING, listed, opened

STANDING = pd.DataFrame({"Wound": ["W1"], "Stands": ["slow"]})
THING = {
    "place": 1, "wound": "W1", "resident": "R1", "facility": "Quellmoor", "thing": "lost", "days": 7, "since_day": 9670,
    "sessions": None, "missed": None, "reasons": "", "size_change": float("nan"),
}  # fmt: skip  # day 9670 is 23 June 2026


def sheets_of(study):
    marks = day_marks(opened(study), study.sessions, study.spans, study.departures, study.plan)
    return worklist_sheets(opened(study), listed(study), marks, STANDING, study.plan)


def said(plan=DATED, **thing):
    whole = ["days", "since_day", "sessions", "missed"]
    told = pd.DataFrame([THING | thing]).astype(dict.fromkeys(whole, "Int64"))
    return things_table(told, plan)["What to look at"].iloc[0]


def everything_in(sheets):
    return " ".join(str(cell) for frame in sheets.values() for cell in [*frame.columns, *frame.to_numpy().ravel()])


@pytest.mark.parametrize(
    ("thing", "sentence"),
    [
        (
            {"thing": "contraindicated", "sessions": 2},
            "2 sessions given in the quarter while a contraindication was recorded, first on 23 June 2026, last 7 days "
            "ago.",
        ),
        (
            {"thing": "no_sign", "days": 36, "size_change": -4.9},
            "Treated for 36 days, since 23 June 2026, and no measurable sign of healing in the last 30; size 4% "
            "smaller in these.",
        ),
        (
            {"thing": "no_session", "missed": 4, "reasons": "out_of_building 3, no reason recorded 1"},
            "Ordered, and no session given for 7 days on which one could have been, since 23 June 2026; logged since: "
            "out of building (3), no reason recorded (1).",
        ),
        (
            {"thing": "no_session"},
            "Ordered, and no session given for 7 days on which one could have been, since 23 June 2026; nothing is "
            "logged since.",
        ),
        (
            {"thing": "evaluation_due", "days": 31},
            "Last evaluation recorded 31 days ago, on 23 June 2026; the plan asks for one every 30 days.",
        ),
        (
            {"thing": "evaluation_due", "days": 50, "since_day": None},
            "No evaluation recorded in 50 days of treatment; the plan asks for one every 30 days.",
        ),
        ({"thing": "not_measured", "days": 1}, "Not measured for 1 day, since 23 June 2026."),
        (
            {"thing": "unmeasured", "days": 20, "since_day": None},
            "Never measured, 20 days after its first session or order.",
        ),
        (
            {"thing": "not_smaller", "days": 28, "size_change": 3.2},
            "Not smaller by a tenth: 3% larger over 28 days, since 23 June 2026.",
        ),
        (
            {"thing": "larger", "days": 28, "size_change": 12.9},
            "Larger by a tenth or more: 12% larger over 28 days, since 23 June 2026.",
        ),
        (
            {"thing": "lost", "days": 40},
            "Last seen open 40 days ago, on 23 June 2026; neither its closing nor the person's leaving is recorded.",
        ),
    ],
)
def test_each_thing_is_a_sentence_of_facts(thing, sentence):
    assert said(**thing) == sentence


@pytest.mark.parametrize(
    ("change", "words"),
    [(-9.6, "9% smaller"), (0.0, "the same"), (-0.4, "less than 1% smaller"), (210.0, "210% larger")],
)
def test_a_change_is_cut_off_so_that_what_is_no_tenth_never_reads_as_one(change, words):
    assert said(thing="not_smaller", size_change=change).startswith(f"Not smaller by a tenth: {words} over")


def test_days_are_numbers_where_there_is_no_calendar():
    assert said(NUMBERED, thing="not_measured", since_day=190) == "Not measured for 7 days, since day 190."
    assert "given in the whole export while" in said(UNDATED, thing="contraindicated", sessions=1, since_day=3)


def test_the_sheets_stand_in_their_order_and_the_wounds_as_they_are_given():
    sheets = sheets_of(drawn(**EVERYTHING))
    assert list(sheets) == ["about", "first ten", "all things", "wounds", "calendar"]
    pd.testing.assert_frame_equal(sheets["wounds"], STANDING)


def test_the_first_sheet_counts_every_open_wound_and_says_whose_judgement_it_is():
    told = sheets_of(drawn(**EVERYTHING))["about"].set_index("what")["is"]
    assert told["Open wounds"].startswith(  # all but W3, who is in hospital
        "7, of which 6 are listed, 0 have nothing to list, and 1 are left out because the person is in hospital. Of 1 "
        "wound where only comfort is sought"
    )
    assert told["Not"] == f"Advice for a person. {FOR_REVIEW}"
    assert told["As of"] == "day 200, or the day up to which the export covers the person"


def test_the_first_ten_name_what_else_there_is_about_a_wound():
    study = drawn(**EVERYTHING)
    first = first_table(listed(study), study.plan)
    assert list(first) == ["No.", "Wound", "Facility", "What to look at", "And"]
    assert first["And"].tolist() == ["no measurable sign of healing, evaluation due, not smaller", "", "", "", "", ""]


def test_all_things_hold_a_row_for_each():
    study = drawn(**EVERYTHING)
    table = things_table(listed(study), study.plan)
    assert table["No."].tolist() == list(range(1, 10))
    assert table["Since"].tolist()[:2] == ["day 199", "day 150"]


def test_the_calendar_has_a_column_a_week_and_a_letter_a_day():
    """The quarter is of days 110 to 200: thirteen weeks; W1 was treated on days 150 and 199, W5 has an order."""
    study = drawn(**EVERYTHING)
    table = sheets_of(study)["calendar"]
    assert list(table)[:3] == ["Facility", "Wound", "day 110"] and list(table)[-1] == "day 194"
    rows = table.set_index("Wound")
    assert rows.index.tolist() == ["W1", "W5"]
    assert rows.loc["W1", "day 145"] == ".....G."  # 145 + 5 = 150
    assert rows.loc["W1", "day 194"] == ".....G."  # 194 + 5 = 199
    assert rows.loc["W5", "day 145"] == ".....G:"


def test_a_calendar_without_a_treated_wound_has_its_first_columns():
    study = drawn("wound day length width\nW1 199 5 4\n")
    marks = day_marks(opened(study), study.sessions, study.spans, study.departures, study.plan)
    assert len(calendar_table(marks, study.plan)) == 0
    assert list(calendar_table(marks, study.plan)) == ["Facility", "Wound"]


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR])
def test_without_an_open_wound_the_sheets_have_their_headers(plan):
    sheets = sheets_of(drawn("wound day state\nW1 10 closed\n", plan=plan))
    assert [len(sheets[name]) for name in ("first ten", "all things", "calendar")] == [0, 0, 0]
    assert list(sheets["all things"]) == ["No.", "Wound", "Facility", "What to look at", "Days", "Since"]


def test_without_a_calendar_weeks_are_numbered():
    study = drawn(**EVERYTHING, plan=SAFE_HARBOR)
    assert list(sheets_of(study)["calendar"])[2:] == [f"Week {week}" for week in range(1, 14)]


@pytest.fixture(scope="module")
def of_group():
    study = read_study(LIFELIKE)
    return study, sheets_of(study)


def test_the_sheets_of_the_invented_group_name_no_person_and_use_no_forbidden_word(of_group):
    study, sheets = of_group
    text = everything_in(sheets)
    assert forbidden_in(text) == []
    assert not [name for name in study.residents["resident"] if name in text]
    assert len(sheets["first ten"]) == 10


def test_weeks_of_the_invented_group_begin_with_the_quarter(of_group):
    assert list(of_group[1]["calendar"])[:4] == ["Facility", "Wound", "1 Apr", "8 Apr"]
