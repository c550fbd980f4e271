"""The tables of sizes: whole numbers, a dash wherever there is none, and nothing of a change that is not told."""

import re
from datetime import date

import pandas as pd
import pytest

from kit.compared import compared
from kit.followed import first_weeks_of, forecasts_of, standing_of
from kit.healing.comparison import EARLY, FOLLOWED
from kit.healing.reductions import MEDIAN
from kit.pages import size_tables as tables
from kit.pages.display import table_html
from kit.plan import Plan, day_of
from kit.statements.comparing import level_of
from kit.trajectories.slopes import ALL, ANY, BEFORE, CHANGED, PACE
from kit.trajectories.standing import EXPECTED, FAST, NOT_TOLD, SLOW, TOO_FEW, UNCLEAR
from kit.trajectories.summaries import MEASURES
from kit.words import FORBIDDEN, label
from tests.drawn import PLAN, TWO_HOUSES, drawn
from tests.test_size_statements import (
    AGREED,
    EVERY_KIND,
    LOUD,
    NAN,
    NEVER,
    PACES,
    UNFRESH,
    change_of,
    open_wound,
    pace_of,
)
from tests.test_size_statements import standing_of as standing_by_hand
from tests.told import between, row_of

NUMBERED = drawn("wound day length width state\nW1 120 4 3 open\n").plan
CUTOFF = {"quarter_begins": date(2026, 4, 1), "cutoff": date(2026, 6, 30)}
DATED = Plan.model_validate(
    {
        "program": {"name": "Invented", "basis": "limited_data_set"},
        "windows": CUTOFF,
        "regimens": [{"name": "ultrasound", "modality": "ultrasound"}],
    }
)


# --- the early response ---

REFUSED = row_of("monopolar", "ultrasound", told=False, starters=18)
FEW = row_of("monopolar", starters=50, early_residents=FOLLOWED - 1, **LOUD)
ROWS = row_of(starters=45), FEW, REFUSED


@pytest.fixture
def early():
    return tables.early_table(pd.DataFrame(ROWS))


def test_an_early_response_is_a_row_of_whole_numbers_and_its_level(early):
    assert early.iloc[0].to_dict() == {
        "Started": "Any modality",
        "Beside": "no modality",
        "Wounds": "45 and 120",
        "After starting, of 100": "45",
        "Expected beside": "33",
        "Difference (range)": "12 more (range 2 more to 22 more)",
        "Median reduction": "42%",
        "Expected": "31%",
        "Difference in points (range)": "11 points more (range 3 more to 19 more)",
        "How far it goes": "supports",
    }
    assert len(early) == len(ROWS)


def test_what_was_measured_in_too_few_has_a_reason_and_no_number(early):
    reason = ["–", "–", "too few had a size by then", "–", "–", "–", "cannot say"]
    assert early.iloc[1].tolist() == ["Monopolar", "no modality", "50 and 120", *reason]
    closed_alone = row_of(early_difference=NAN)  # of those still open nobody had a size
    assert tables.early_table(pd.DataFrame([closed_alone])).iloc[0, 3:].tolist() == reason
    enough = row_of(early_residents=FOLLOWED)
    assert tables.early_table(pd.DataFrame([enough]))["Median reduction"].tolist() == ["42%"]


def test_what_is_refused_is_said_not_to_be_compared_where_the_difference_would_stand(early):
    assert early.iloc[2].tolist() == [
        "Monopolar", "ultrasound", "18 and 120", "–", "–", "not compared", "–", "–", "–", "cannot say",
    ]  # fmt: skip


def test_the_level_is_that_of_the_early_response():
    rows = row_of(starters=50, closed_low=-0.1), between(0.1, 0.3, starters=50, early_low=-0.1)
    told = tables.early_table(pd.DataFrame(rows))["How far it goes"].tolist()
    assert told == [level_of(row, EARLY) for row in rows] == ["supports", "describes"]


@pytest.mark.parametrize(
    ("given", "cells"),
    [
        ({"reduction_treated": NAN, "reduction_difference": NAN}, ["–", "31%", "–"]),
        ({"reduction_beside": None, "reduction_difference": None}, ["42%", "–", "–"]),
        ({"reduction_low": -NEVER}, ["42%", "31%", "11 points more (no range can be told)"]),
        (dict(zip(MEDIAN, (-20.2, 11.0, -31.2, -40.0, 2.0), strict=False)),  # -20.2 - 11 = -31.2
         ["−20%", "11%", "31 points less (range 40 less to 2 more)"]),
    ],
)  # fmt: skip
def test_a_median_that_cannot_be_had_is_a_dash_and_one_below_none_has_its_sign(given, cells):
    row = row_of(**given)
    told = tables.early_table(pd.DataFrame([row])).iloc[0]
    assert told[["Median reduction", "Expected", "Difference in points (range)"]].tolist() == cells
    assert told["After starting, of 100"] == "45"


# --- paces and changes ---


def test_a_pace_is_a_row_a_regimen_and_stage():
    assert tables.pace_table(PACES).to_dict("records") == [
        {"Under": "Before any modality", "Stage or kind": "All", "Wounds (residents)": "60 (41)",
         "Percent smaller a week (range)": "7 (6 to 9)"},
        {"Under": "Before any modality", "Stage or kind": "Stage 4", "Wounds (residents)": "20 (15)",
         "Percent smaller a week (range)": "2 (1 to 3)"},
        {"Under": "Monopolar", "Stage or kind": "All", "Wounds (residents)": "1 (1)",
         "Percent smaller a week (range)": "−3 (−4 to 0)"},
    ]  # fmt: skip  # 7.4 (5.5 to 9.49), and -2.6 (-4.4 to -0.4)


def test_a_change_that_agrees_is_told_in_points():
    assert tables.change_table(AGREED).iloc[0].to_dict() == {
        "Started": "Any modality", "Wounds (residents)": "33 (28)", "Before, % a week": "4", "After, % a week": "8",
        "Change in points (range)": "3 points faster (range 1 slower to 6 faster)",
    }  # fmt: skip  # 4.4, 7.6, and 3.2 (-1 to 5.6)


def test_of_a_change_that_does_not_agree_no_number_stands_anywhere():
    loud = change_of((ANY, 33, 28, 91.4, 94.6, -87.0, 99.0, False), ("monopolar", 11, 10, 4.4, 7.6, 1.0, 5.4, True))
    told = tables.change_table(loud.assign(by_root=96.0, error=95.0))
    assert told.iloc[0].tolist() == ["Any modality", "33 (28)", "–", "–", tables.NOT_AGREED]
    assert told.iloc[1]["Change in points (range)"] == "3 points faster (range 1 faster to 5 faster)"
    assert not re.search(r"9[1-9]|87", table_html(told))
    assert not re.search(r"\d", tables.NOT_AGREED)


WAYS = pd.DataFrame(
    [
        ("logarithm of the size", PACE, 7.4, 5.5, 9.4),
        ("logarithm of the size", CHANGED, 81.2, 77.7, 88.8),
        ("root of the size", PACE, -3.2, -6.0, 0.2),
        ("root of the size", CHANGED, -1.0, -3.6, 1.0),
        ("sizes that wander", PACE, 6.0, 5.0, 7.0),
    ],
    columns=["way", "asked", "amount", "low", "high"],
)


def test_each_way_of_reckoning_is_a_row_with_its_pace_and_its_change():
    told = tables.ways_table(WAYS, agrees=True)
    assert told.values.tolist() == [
        ["Logarithm of the size", "7 (6 to 9)", "81 points faster (range 78 faster to 89 faster)"],
        ["Root of the size", "−3 (−6 to 0)", "1 point slower (range 4 slower to 1 faster)"],
        ["Sizes that wander", "6 (5 to 7)", "–"],  # no change was asked of it
    ]


def test_where_the_answers_two_ways_do_not_agree_no_way_tells_a_change():
    told = tables.ways_table(WAYS, agrees=False)
    assert list(told.columns) == ["Way of reckoning", "Percent smaller a week before any modality (range)"]
    assert len(told) == 3 and not re.search("81|78|89|faster|slower", table_html(told))


AHEAD = pd.DataFrame(
    [
        (regimen, size, weeks, size * left, size * left - 0.25, size * left + 0.25)
        for regimen, part in ((BEFORE, 1.0), ("a_b", 0.5))
        for size in (2.0, 10.0)
        for weeks, left in ((4, 0.75 * part), (8, 0.5 * part))
    ],
    columns=["regimen", "size", "weeks", "amount", "low", "high"],
)


def test_what_is_expected_has_a_row_a_regimen_and_size_and_a_column_a_week_in_their_order():
    told = tables.ahead_table(AHEAD)
    assert list(told.columns) == ["Under", "Size, cm2", "After 4 weeks", "After 8 weeks"]
    assert told.values.tolist() == [
        # 2 x 0.75, 2 x 0.5, 10 x 0.75, 10 x 0.5; a quarter to either side, to one decimal (halves to even)
        ["Before any modality", "2.0", "1.5 (1.2 to 1.8)", "1.0 (0.8 to 1.2)"],
        ["Before any modality", "10.0", "7.5 (7.2 to 7.8)", "5.0 (4.8 to 5.2)"],
        ["A b", "2.0", "0.8 (0.5 to 1.0)", "0.5 (0.2 to 0.8)"],
        ["A b", "10.0", "3.8 (3.5 to 4.0)", "2.5 (2.2 to 2.8)"],
    ]


def test_two_regimens_whose_names_are_said_alike_keep_a_row_each():
    one, other = (AHEAD[AHEAD["regimen"] == BEFORE].assign(regimen=name) for name in ("light", "Light"))
    assert tables.ahead_table(pd.concat([one, other]))["Under"].tolist() == ["Light"] * 4  # two sizes of each


# --- where open wounds stand ---


def test_open_wounds_are_a_row_a_way_to_stand_with_the_middle_of_each():
    rows = [
        open_wound(1, SLOW, own=1.0, size=2.0, weeks_seen=4.0, expected=5.0, wrong=0.1),
        open_wound(2, SLOW, own=-4.0, size=9.0, weeks_seen=7.0, expected=8.0, wrong=0.3),
        open_wound(3, NOT_TOLD, why=UNFRESH, size=3.25, weeks_seen=0.0),
        open_wound(4, FAST, own=15.0, wrong=0.004),
    ]
    told = tables.standing_table(standing_by_hand(*rows))
    assert told.values.tolist() == [
        # middles of 2 and 9, 4 and 7 (5.5 to even), 1 and -4, 5 and 8; mean of 0.1 and 0.3
        ["Slow", 2, "5.5", "6", "−2", "6", "20%"],
        ["Fast", 1, "4.0", "6", "15", "7", "under 1%"],
        ["Not told", 1, "3.2", "0", "–", "–", "–"],
    ]
    assert list(told.columns) == [
        "Stands", "Open wounds", "Size, cm2", "Weeks in view", "Own pace, % a week", "Expected pace",
        "Chance that this is wrong",
    ]  # fmt: skip


def test_every_way_to_stand_has_its_row_in_the_order_from_slow_to_not_told():
    told = tables.standing_table(EVERY_KIND)
    assert told["Stands"].tolist() == ["Slow", "As expected", "Fast", "Not clear yet", "Not told"]
    assert told["Open wounds"].sum() == len(EVERY_KIND)
    assert told["Chance that this is wrong"].tolist() == ["20%", "20%", "20%", "–", "–"]


def test_what_is_not_clear_yet_has_no_chance_of_being_wrong():
    rows = open_wound(1, UNCLEAR, own=4.0, wrong=0.5), open_wound(2, wrong=0.25)
    told = tables.standing_table(standing_by_hand(*rows))
    assert told[["Stands", "Chance that this is wrong"]].values.tolist() == [
        ["As expected", "25%"], ["Not clear yet", "–"],
    ]  # fmt: skip
    listed = tables.wounds_list(standing_by_hand(*rows), DATED).set_index("Wound")
    chance = listed["Chance that this is wrong"]
    assert (chance["W2"], chance["W1"]) == ("25%", "–")
    assert listed.loc["W1", "Own pace, % smaller a week"] == 4.0  # its pace is told


def test_the_list_of_wounds_is_slowest_first_and_what_is_not_told_stands_last():
    told = tables.wounds_list(EVERY_KIND, NUMBERED)
    # own paces: W6 -2, W1 1, W5 4, W3 8, W4 15; W2 is not told
    assert told["Wound"].tolist() == ["W6", "W1", "W5", "W3", "W4", "W2"]
    assert told["Stands"].tolist() == [SLOW, SLOW, UNCLEAR, EXPECTED, FAST, NOT_TOLD]
    assert told["Own pace, % smaller a week"].tolist()[:5] == [-2.0, 1.0, 4.0, 8.0, 15.0]


def test_wounds_of_one_pace_are_listed_by_name():
    same = standing_by_hand(*(open_wound(number) for number in (3, 1, 2)))
    assert tables.wounds_list(same, NUMBERED)["Wound"].tolist() == ["W1", "W2", "W3"]


def test_a_wound_of_the_list_has_what_is_known_of_it_and_never_its_resident():
    given = standing_by_hand(
        open_wound(
            1, own=8.4, own_low=-0.4, own_high=11.6, wrong=0.256, size=4.126, weeks_seen=5.57, resident="R-secret"
        ),
        open_wound(2, NOT_TOLD, why=TOO_FEW),
    )
    told = tables.wounds_list(given.assign(size_day=day_of(date(2026, 6, 9))), DATED)
    assert told.iloc[0].to_dict() == {
        "Wound": "W1", "Facility": "Quellmoor", "Stands": EXPECTED, "Chance that this is wrong": "26%",
        "Own pace, % smaller a week": 8.0, "From": 0.0, "To": 12.0, "Expected pace": 7.0, "Size, cm2": 4.13,
        "Last measured": "2026-06-09", "Weeks in view": 6.0, "Why it is not told": "",
    }  # fmt: skip
    assert str(told["From"][0]) == "0.0"  # and not -0.0
    assert told.iloc[1][["Own pace, % smaller a week", "From", "To", "Expected pace"]].isna().all()
    assert told["Why it is not told"][1] == TOO_FEW
    assert "R-secret" not in table_html(told)


def test_last_days_are_dates_where_there_is_a_calendar_and_day_numbers_where_there_is_none():
    given = standing_by_hand(open_wound(1, size_day=day_of(date(2026, 6, 9))))
    assert tables.wounds_list(given, DATED)["Last measured"].tolist() == ["2026-06-09"]
    [numbered] = tables.wounds_list(given, NUMBERED).filter(like="Last measured").T.values.tolist()
    assert numbered == [day_of(date(2026, 6, 9))]


# --- by hand ---


def summary_of(*quartiles, known=9):
    rows = [(name, known, 3, *quartiles) for name in MEASURES]
    return pd.DataFrame(rows, columns=["measure", "known", "missing", "quartile_1", "median", "quartile_3"])


def test_percents_have_no_decimal_and_centimetres_have_two():
    told = tables.summaries_table(summary_of(-2.345, 0.4, 61.5))
    assert told.values.tolist() == [
        ["Percent smaller after 2 weeks", 9, 3, "−2", "0", "62"],
        ["Percent smaller after 4 weeks", 9, 3, "−2", "0", "62"],
        ["Advance of the edge over 2 weeks, cm a week", 9, 3, "−2.35", "0.40", "61.50"],
        ["Advance of the edge over 4 weeks, cm a week", 9, 3, "−2.35", "0.40", "61.50"],
    ]
    assert list(told.columns)[3:] == ["A quarter below", "Half below", "A quarter above"]


def test_a_measure_known_of_nobody_has_dashes_and_what_is_almost_none_has_no_sign():
    assert set(tables.summaries_table(summary_of(NAN, NAN, NAN, known=0)).iloc[:, 3:].stack()) == {"–"}
    assert tables.summaries_table(summary_of(-0.4, -0.004, 0.0)).iloc[[0, 2], 3:].values.tolist() == [
        ["0", "0", "0"], ["−0.40", "0.00", "0.00"],
    ]  # fmt: skip


def test_every_measure_of_the_first_weeks_has_words():
    assert list(tables.MEASURES) == list(MEASURES)


def test_forecasts_are_counts_in_the_order_of_their_rows():
    columns = ["areas", "weeks_ahead", "predicted_closed", "closed_as_predicted", "predicted_open",
               "open_as_predicted", "not_followed", "within_two_weeks", "closed_later"]  # fmt: skip
    rows = [(5, 4, 9, 7, 40, 30, 2, 6, 8), (6, 8, 0, 0, 3, 1, 11, 0, 8), (7, 8, 0, 0, 2, 2, 12, 0, 0)]
    told = tables.forecasts_table(pd.DataFrame(rows, columns=columns))
    assert told.values.tolist() == [
        # 6 of 8, and 0 of 8; where nobody closed later there is no share
        [*rows[0][:7], "75%"], [*rows[1][:7], "0%"], [*rows[2][:7], "–"],
    ]  # fmt: skip
    assert list(told.columns) == [
        "First sizes used", "Weeks ahead", "Foretold to close", "Of them closed", "Foretold to stay open",
        "Of them stayed", "Not followed so long", "Week of closing foretold to within two",
    ]  # fmt: skip


# --- all of them ---


def every_table(early):
    forecasts = forecasts_of(drawn(**TWO_HOUSES))
    apart = AGREED.assign(agrees=False)
    return [
        early, tables.pace_table(PACES), tables.change_table(AGREED), tables.change_table(apart),
        tables.ahead_table(AHEAD), tables.ways_table(WAYS, True), tables.standing_table(EVERY_KIND),
        tables.wounds_list(EVERY_KIND, DATED), tables.summaries_table(summary_of(NAN, 1.0, 2.0)),
        tables.forecasts_table(forecasts),
    ]  # fmt: skip


def test_headings_are_words_with_a_capital_and_each_stands_once(early):
    for table in every_table(early):
        heads = [label(str(name)) for name in table.columns]
        assert [head for head in heads if not re.fullmatch(r"[A-Z0-9][A-Za-z0-9 ,.()%']+", head)] == []
        assert len(set(heads)) == len(heads)


def test_no_table_uses_a_forbidden_word_or_says_nan(early):
    for table in every_table(early):
        text = table_html(table).lower()
        assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
        assert not re.search(r"\b(nan|inf|none)\b", text)


def test_a_regimen_cannot_put_markup_in_a_table():
    nasty = pace_of(("<script>", ALL, 12, 11, 5.0, 4.0, 6.0))
    assert "&lt;script&gt;" in table_html(tables.pace_table(nasty))
    assert "<script" not in table_html(tables.pace_table(nasty))


@pytest.mark.parametrize(
    "table",
    [
        tables.pace_table(PACES.iloc[:0]), tables.change_table(AGREED.iloc[:0]), tables.ahead_table(AHEAD.iloc[:0]),
        tables.standing_table(EVERY_KIND.iloc[:0]), tables.wounds_list(EVERY_KIND.iloc[:0], DATED),
        tables.wounds_list(EVERY_KIND.iloc[:0], NUMBERED),
        tables.early_table(pd.DataFrame(ROWS).iloc[:0]), tables.ways_table(WAYS.iloc[:0], False),
    ],
)  # fmt: skip
def test_frames_without_a_row_are_tables_without_a_row(table):
    assert len(table) == 0 and "<table" in table_html(table)


def test_nothing_given_is_changed():
    frames = PACES, AGREED, AHEAD, WAYS, EVERY_KIND
    kept = [frame.copy() for frame in frames]
    tables.pace_table(PACES), tables.change_table(AGREED), tables.ahead_table(AHEAD), tables.ways_table(WAYS, True)
    tables.standing_table(EVERY_KIND), tables.wounds_list(EVERY_KIND, DATED)
    for now, before in zip(frames, kept, strict=True):
        pd.testing.assert_frame_equal(now, before)


def test_the_frames_of_a_small_study_fit_their_tables():
    small = drawn(**TWO_HOUSES)
    answers = compared(small)
    assert len(tables.early_table(answers.told)) == 7  # any modality, three regimens, three pairs
    assert len(tables.summaries_table(first_weeks_of(small))) == len(MEASURES)
    assert len(tables.forecasts_table(forecasts_of(small))) == 6  # 5, 6 and 7 sizes, 4 and 8 weeks ahead
    assert tables.wounds_list(standing_of(small), small.plan).empty


def test_without_a_shared_calendar_the_list_tells_days_since_a_persons_first_record():
    undated = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
    alone = drawn("wound day length width state\nW1 110 4 3 open\nW1 117 4 2 open\n", plan=undated)
    told = tables.wounds_list(standing_of(alone), alone.plan)
    asked = ["Wound", "Stands", "Last measured, day of the person's record", "Weeks in view"]
    assert told[asked].values.tolist() == [["W1", NOT_TOLD, 7, 1.0]]
    assert "Last measured" not in told


def test_the_list_of_a_study_names_each_of_its_open_wounds_once_and_none_of_its_residents(study, invented):
    told = tables.wounds_list(standing_of(study), study.plan)
    still = study.episodes.query("outcome == 'open' and not vanished")
    assert sorted(told["Wound"]) == sorted(still["wound"]) and len(told) == 8
    assert set(told["Wound"]) < set(invented.wounds)
    named = set(told.astype(str).stack()) & (set(invented.secrets) - set(invented.wounds))
    assert named == set()
    assert told["Last measured"].str.fullmatch(r"2026-\d\d-\d\d").all()
