"""The tables of the comparison: whole numbers, words for names, and a reason wherever there is no number."""

import re

import pandas as pd
import pytest

from kit.healing.answers import NEEDS
from kit.healing.comparison import FOLLOWED
from kit.healing.covariates import ALWAYS
from kit.pages import comparison_tables as tables
from kit.pages.display import table_html
from kit.plan import COVARIATES
from kit.statements.comparing import LEVELS, level_of
from kit.words import FORBIDDEN, label
from tests.told import answers_of, between, needs_of, outside_of, row_of

NAN = float("nan")
REFUSED = row_of("monopolar", "ultrasound", told=False, starters=18)
ROWS = row_of(starters=45), between(-0.2, 0.06, treated="monopolar", starters=22), REFUSED
BALANCE = pd.DataFrame(
    {
        "treated": ["any modality", "any modality"], "beside": "no modality", "covariate": ["log_size", "risk_total"],
        "starters_mean": [1.5, 14.0], "others_mean": [1.25, 16.0], "weighted_mean": [1.5, 14.5],
        "apart": [0.25, -0.5], "apart_weighted": [0.0, -0.125],
    }
)  # fmt: skip
WAYS = pd.DataFrame(
    [
        ("as in the answer", "points of 100 wounds", 9.4, -2.2, 22.1, "56 wounds", "", "Says."),
        ("closing anywhere", "points of 100 wounds", -3.6, NAN, NAN, "50 wounds", "", "Says."),
        ("nothing at all", "points of 100 wounds", 0.3, NAN, NAN, "50 wounds", "", "Says."),
        ("time-dependent regression", "hazard ratio", 1.234, 0.9, 1.678, "60 wounds", "", "Says."),
        ("regression alone", "hazard ratio", 0.5, NAN, NAN, "60 wounds", "", "Says."),
        ("within the same person", "points of 100 wounds", NAN, NAN, NAN, "", "3 residents, ten are needed", "Says."),
    ],
    columns=["way", "unit", "amount", "low", "high", "rests_on", "not_computed", "says"],
)


@pytest.fixture
def compared():
    return tables.comparison_table(pd.DataFrame(ROWS), needs_of(ROWS, closings=4.0), "closed")


def test_a_comparison_is_a_row_of_whole_wounds_and_its_level(compared):
    assert compared.iloc[0].to_dict() == {
        "Started": "Any modality",
        "Beside": "no modality",
        "Wounds": "45 and 120",
        "After starting, of 100": "45",
        "Expected beside": "33",
        "Difference (range)": "12 more (range 2 more to 22 more)",
        "How far it goes": "supports",
    }
    assert compared["Difference (range)"][1] == "7 fewer (range 20 fewer to 6 more)"
    assert compared["How far it goes"].tolist() == [level_of(row, "closed") for row in ROWS]


def test_what_is_refused_has_its_reason_where_the_difference_would_stand(compared):
    assert compared.iloc[2].tolist() == [
        "Monopolar", "ultrasound", "18 and 120", "–", "–",
        "wounds that closed, in both groups together, 4 of the 10 needed", "cannot say",
    ]  # fmt: skip


def test_the_measure_that_is_compared_is_the_one_told():
    row = row_of(early_treated=0.6, early_beside=0.2, early_difference=0.4, early_low=0.3, early_high=0.5)
    [cells] = tables.comparison_table(pd.DataFrame([row]), needs_of([row]), "early").values.tolist()
    assert cells[3:6] == ["60", "20", "40 more (range 30 more to 50 more)"]


def test_findings_that_hold_null_for_a_number_give_the_same_table(compared):
    """The page reads its rows from the findings, in which what cannot be had is null."""
    plain = pd.DataFrame([{key: None if value != value else value for key, value in row.items()} for row in ROWS])
    again = tables.comparison_table(plain, needs_of(ROWS, closings=4.0), "closed")
    pd.testing.assert_frame_equal(again, compared)


def test_every_measure_is_told_only_for_what_the_data_carry():
    row = row_of(spent_difference=0.1, spent_low=-0.05, spent_high=0.25, early_difference=NAN, later_difference=-0.02,
                 later_low=-0.1, later_high=0.06)  # fmt: skip
    told = tables.measures_table(answers_of(row, REFUSED))
    assert told.to_dict("records") == [
        {
            "Started": "Any modality",
            "Beside": "no modality",
            "Closed by week 12": "12 more (range 2 more to 22 more)",
            "Weeks spent closed": "+1.2 (-0.6 to +3.0)",  # 12 x 0.1, 12 x -0.05, 12 x 0.25
            "Early response": "–",
            "Leaving counted as not closed": "12 more (range 2 more to 22 more)",
            "Beside later or never": "2 fewer (range 10 fewer to 6 more)",
        }
    ]
    assert tables.measures_table(answers_of(REFUSED)).empty


@pytest.mark.parametrize(
    ("residents", "told"),
    [
        (FOLLOWED - 1, "too few had a size"),
        (FOLLOWED, "12 more (range 2 more to 22 more)"),
    ],
)
def test_an_early_response_that_few_had_a_size_for_has_that_as_its_reason(residents, told):
    answers = answers_of(row_of(early_residents=residents))
    assert tables.measures_table(answers)["Early response"].tolist() == [told]


def test_needs_of_one_comparison_are_whole_numbers_with_what_is_enough():
    rows = [row_of(told=False), row_of("monopolar", told=False)]
    needs = needs_of(rows, effective_residents=14.97)
    told = tables.needs_table(needs, "any modality")
    assert told["need"].tolist() == [need[0].upper() + need[1:] for need in NEEDS.values()]
    assert told["needed"].tolist() == [15, 12, 40, 15, 10, 5]
    assert told["found"].tolist() == [20, 17, 45, 14, 15, 10]  # 20.25, 17.25, 45.25, 14.97, ... rounded down
    assert told["enough"].tolist() == [True, True, True, False, True, True]
    assert {str(kind) for kind in told[["needed", "found"]].dtypes} == {"int64"}


def test_needs_of_one_comparison_are_those_beside_no_modality():
    rows = [row_of("monopolar"), row_of("monopolar", "ultrasound")]
    assert len(tables.needs_table(needs_of(rows), "monopolar")) == len(NEEDS)


def test_all_needs_stand_in_one_row_a_comparison_with_what_is_needed_in_brackets():
    rows = [row_of(), row_of("ultrasound"), row_of("monopolar", "bipolar", told=False)]
    told = tables.all_needs_table(needs_of(rows, starters=11.0))
    assert list(told.columns) == ["treated", "beside", *(need[0].upper() + need[1:] for need in NEEDS.values())]
    assert told[["treated", "beside"]].values.tolist() == [
        ["Any modality", "no modality"], ["Ultrasound", "no modality"], ["Monopolar", "bipolar"],
    ]  # fmt: skip
    assert told.iloc[2, 2:].tolist() == ["11 (15)", "17 (12)", "45 (40)", "20 (15)", "15 (10)", "10 (5)"]


def test_starts_are_counted_by_why_they_are_not_compared():
    told = tables.outside_table(outside_of(30, late=4))
    assert told.to_dict("records") == [
        {"why": "Could have been started", "starts": 30},
        {"why": "Too late for a whole horizon before the cut-off", "starts": 4},
    ]


def test_what_the_chart_held_is_named_in_words():
    told = tables.balance_table(BALANCE)
    assert told["What the chart held"].tolist() == ["Size (logarithm of cm2)", "Risk score"]
    assert told.iloc[0, 3:].tolist() == [1.5, 1.25, 1.5, 0.25, 0.0]
    assert "_" not in table_html(told)


def test_every_covariate_of_a_plan_has_words():
    for name in (*ALWAYS, *COVARIATES):
        said = tables.balance_table(BALANCE.assign(covariate=name))["What the chart held"][0]
        assert re.fullmatch(r"[A-Z][a-z0-9 ,%()]+", said), name
        assert not re.search(r"\b(" + "|".join(FORBIDDEN) + r")\b", said), name


def test_the_levels_are_those_of_the_statements():
    assert tables.levels_table().values.tolist() == [list(level) for level in LEVELS]


def test_other_ways_have_a_number_in_their_own_unit_or_a_reason():
    told = tables.ways_table(WAYS)
    assert told["Value (range)"].tolist() == [
        "9 more (range 2 fewer to 22 more)",
        "4 fewer",
        "none",
        "ratio 1.23 (0.90 to 1.68)",
        "ratio 0.50",
        "not computed: 3 residents, ten are needed",
    ]
    assert told["Way"][0] == "As in the answer"


def every_table(compared):
    answers = answers_of(*ROWS, closings=4.0)
    return [
        compared, tables.measures_table(answers), tables.needs_table(answers.needs, "any modality"),
        tables.all_needs_table(answers.needs), tables.outside_table(answers.outside), tables.balance_table(BALANCE),
        tables.levels_table(), tables.ways_table(WAYS),
    ]  # fmt: skip


def test_headings_are_words_with_a_capital_and_no_cell_is_a_bare_blank(compared):
    for table in every_table(compared):
        heads = [label(str(name)) for name in table.columns]
        assert [head for head in heads if not re.fullmatch(r"[A-Z][A-Za-z0-9 ,()%]+", head)] == []
        assert len(set(heads)) == len(heads)
        assert not table.map(lambda cell: cell == "" or cell is None).any(axis=None) or "Rests on" in heads


def test_no_table_uses_a_forbidden_word_or_says_nan(compared):
    for table in every_table(compared):
        text = table_html(table).lower()
        assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
        assert not re.search(r">nan<|\bnan\b", text)


def test_nothing_given_is_changed(compared):
    rows, needs = pd.DataFrame(ROWS), needs_of(ROWS)
    kept = rows.copy(), needs.copy()
    tables.comparison_table(rows, needs, "closed")
    tables.all_needs_table(needs)
    pd.testing.assert_frame_equal(rows, kept[0])
    pd.testing.assert_frame_equal(needs, kept[1])


@pytest.mark.parametrize("empty", ["measures", "balance", "outside"])
def test_frames_without_a_row_are_tables_without_a_row(empty):
    answers = answers_of(REFUSED, closings=4.0)
    told = {
        "measures": lambda: tables.measures_table(answers),
        "balance": lambda: tables.balance_table(BALANCE.iloc[:0]),
        "outside": lambda: tables.outside_table(answers.outside.iloc[:0]),
    }[empty]()
    assert len(told) == 0 and "<table" in table_html(told)
