"""The figure and the tables of what could move the answer draw and say the numbers they are given."""

import re

import numpy as np
import pandas as pd
import pytest

from kit.healing.other_answers import NOT_MADE
from kit.pages import sensitivity_tables as tables
from kit.pages.display import png, svg, table_html
from kit.pages.sensitivity_figures import HEADS, specification_figure
from kit.sensitivity.before_start import COLUMNS, SAYS
from kit.sensitivity.bounds import CASES, RATIOS
from kit.sensitivity.bounds import SAYS as OF_BOUNDS
from kit.sensitivity.leave_one_out import RANGES
from kit.sensitivity.specifications import ALL, EVERYBODY, IN_COMMON, PLANNED, SIZES
from kit.words import FORBIDDEN, label
from tests.test_comparison_figures import outside, overlapping

NAN, FEW = float("nan"), "too few under these rules: 9 wounds that started, 15 are needed"
NAMES = (
    "edit", "changes", "run_in_days", "fresh_days", "confirm_days", "horizon_weeks", "levelled", "compared",
    "covariates", "amount", "low", "high", "starters", "is_plan", "not_computed",
)  # fmt: skip
RULES = (
    ("as the plan has it", 0, 14, 7, 14, 12, PLANNED, EVERYBODY, "", 8.9, -3.2, 21.6, 56, True, ""),
    ("0 days of usual care first", 1, 0, 7, 14, 12, PLANNED, EVERYBODY, "", 3.2, -8.8, 16.7, 57, False, ""),
    ("closed by week 4", 1, 14, 7, 14, 4, PLANNED, EVERYBODY, "", -2.3, -6.4, 8.4, 58, False, ""),
    ("28 days of usual care first", 1, 28, 7, 14, 12, PLANNED, EVERYBODY, "", NAN, NAN, NAN, 9, False, FEW),
    ("all that is charted levelled", 1, 14, 7, 14, 12, ALL, EVERYBODY, "", 8.2, -4.8, 21.7, 56, False, ""),
    ("two at once", 2, 0, 7, 14, 12, SIZES, EVERYBODY, "", 3.3, -8.5, 16.6, 57, False, ""),
    ("wounds left out", 1, 14, 7, 14, 12, PLANNED, IN_COMMON, "", 11.6, -0.6, 24.3, pd.NA, False, ""),
)
CURVE = pd.DataFrame(RULES, columns=list(NAMES)).astype({"starters": "Int64"})
UNMADE = CURVE.assign(amount=NAN, low=NAN, high=NAN, not_computed=NOT_MADE)
SORTED = [-2.3, 3.2, 3.3, 8.2, 8.9, 11.6]


def bounds_of(why=""):
    amounts = [NAN] * 5 if why else [8.9, 8.7, 9.1, 14.5, -3.3]
    rows = zip(CASES, amounts, strict=True)
    return pd.DataFrame(
        [{"case": case, "amount": amount, "starters_lost": 3, "others_lost": 15, "not_computed": why,
          "says": OF_BOUNDS[case]} for case, amount in rows]
    )  # fmt: skip


RANGE = pd.DataFrame(
    [
        ("a resident", 154, 6.98, 11.22, "a resident", "a resident", 8.94, ""),
        ("a facility", 2, -6.24, 9.88, "Quellmoor", "Ostervane", 8.94, ""),
        ("a facility", 0, NAN, NAN, "", "", 8.94, "only one facility is compared"),
        ("a resident", 0, NAN, NAN, "", "", NAN, NOT_MADE),
    ],
    columns=list(RANGES),
)
BEFORE = pd.DataFrame([(0.31, -0.63, 1.26, -5.67, 6.86, 6.55, 49, 149, "", SAYS)], columns=list(COLUMNS))
NO_BEFORE = pd.DataFrame([(NAN,) * 6 + (9, 30, "9 residents, ten are needed", SAYS)], columns=list(COLUMNS))
E_VALUES = pd.DataFrame(
    [
        ("any modality", "no modality", 3.9, 1.8, 8.7, 7.263034, 3.0, ""),
        ("ultrasound", "no modality", 1.2, 0.5, np.inf, 1.69, 1.0, ""),
        ("bipolar", "no modality", NAN, NAN, NAN, NAN, NAN, "nobody closed on one side"),
    ],
    columns=list(RATIOS),
)


# --- the figure ---


def dots(axis, marker):
    return {
        (round(x), float(y))
        for line in axis.lines
        if line.get_marker() == marker
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }


def test_the_differences_stand_from_the_lowest_to_the_highest_and_the_plans_is_a_diamond():
    above, _ = specification_figure(CURVE).axes
    assert dots(above, "o") == {(place, value) for place, value in enumerate(SORTED) if value != 8.9}
    assert dots(above, "D") == {(4, 8.9)}


def test_every_range_is_drawn_at_its_limits():
    above, _ = specification_figure(CURVE).axes
    ranges = {tuple(np.round(part[:, 1], 6)) for lines in above.collections for part in lines.get_segments()}
    assert ranges == {(row[10], row[11]) for row in RULES if np.isfinite(row[9])}
    low, high = above.get_ylim()
    assert low <= -8.8 and high >= 24.3


def test_each_set_of_rules_has_its_marks_below():
    _, below = specification_figure(CURVE).axes
    heights = {tick.get_text(): tick.get_position()[1] for tick in below.get_yticklabels()}
    marks = dots(below, "s")
    assert {place for place, height in marks if height == heights["4"]} == {0}  # closed by week 4 is the lowest
    assert {place for place, height in marks if height == heights["0"]} == {1, 2}
    assert {place for place, height in marks if height == heights[IN_COMMON[0].upper() + IN_COMMON[1:]]} == {5}
    varied = 4  # run-in, horizon, what is levelled, and who is compared
    assert len(marks) == varied * len(SORTED)
    assert {place for place, _ in dots(below, "D")} == {4} and len(dots(below, "D")) == varied


def test_choices_stand_in_their_order_and_those_that_do_not_vary_are_left_out():
    _, below = specification_figure(CURVE).axes
    told = [tick.get_text() for tick in below.get_yticklabels()]
    levelled = [f"{name[0].upper()}{name[1:]}" for name in (SIZES, PLANNED, ALL)]
    assert told == ["0", "14", "4", "12", *levelled, "All", f"{IN_COMMON[0].upper()}{IN_COMMON[1:]}"]
    heads = [text.get_text() for text in below.texts]
    assert heads == [HEADS[name] for name in ("run_in_days", "horizon_weeks", "levelled", "compared")]


def test_rows_without_a_number_are_counted_in_words():
    assert "; 1 other set of rules: too few to compare" in specification_figure(CURVE).axes[0].get_title(loc="left")
    made = specification_figure(CURVE[CURVE["amount"].notna()])
    assert "too few" not in made.axes[0].get_title(loc="left")


def test_the_horizon_in_the_words_is_that_of_all_rows_or_of_each():
    assert "closed by the week chosen" in specification_figure(CURVE).axes[0].get_title(loc="left")
    same = CURVE[CURVE["horizon_weeks"] == 12]
    title = specification_figure(same, "had closed by week 12").axes[0].get_title(loc="left")
    assert "had closed by week 12" in title and "chosen" not in title


@pytest.mark.parametrize("curve", [CURVE, CURVE.iloc[:1], CURVE.iloc[[0, 2]], pd.concat([CURVE] * 6)])
def test_all_that_the_figure_says_stands_within_it_and_apart(curve):
    figure = specification_figure(curve)
    assert outside(figure) == []
    assert overlapping(figure) == []


def test_where_nothing_is_compared_the_figure_says_so():
    figure = specification_figure(UNMADE)
    assert figure.axes == [] and figure.texts[0].get_text().startswith("No comparison is made")


def test_no_colour_tells_anything_apart():
    figure = specification_figure(CURVE)
    greys = {line.get_color() for axis in figure.axes for line in axis.lines}
    assert all(max(channels) - min(channels) < 0.1 for channels in map(rgb, greys))


def rgb(colour):
    return [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]


def test_the_figure_can_be_saved_and_is_the_same_twice():
    assert png(specification_figure(CURVE)) == png(specification_figure(CURVE))
    assert svg(specification_figure(CURVE)) == svg(specification_figure(CURVE))


# --- the tables ---


def test_other_rules_are_told_one_at_a_time():
    told = tables.specifications_table(CURVE)
    assert "Two at once" not in set(told["Rules"]) and len(told) == 6
    assert told.iloc[0].tolist() == ["As the plan has it", "56", "9 more (range 3 fewer to 22 more)"]
    assert told["Difference (range)"][3] == f"not computed: {FEW}"
    assert told["Wounds that started"].tolist() == ["56", "57", "58", "9", "56", "–"]


def test_bounds_are_whole_wounds_of_a_hundred():
    told = tables.bounds_table(bounds_of())
    assert told["Difference, of 100"].tolist() == ["9 more", "9 more", "9 more", "14 more", "3 fewer"]
    assert told["If"][3].startswith("Of those that started everyone had closed")
    assert set(tables.bounds_table(bounds_of(NOT_MADE))["Difference, of 100"]) == {f"not computed: {NOT_MADE}"}


def test_ranges_name_facilities_and_no_resident():
    told = tables.without_table(RANGE)
    assert told.iloc[0].tolist() == ["A resident", "154", "7 more", "11 more", "9 more"]
    assert told.iloc[1].tolist()[2:4] == ["6 fewer (without Quellmoor)", "10 more (without Ostervane)"]
    assert told.iloc[2].tolist()[1:] == ["–", "not computed: only one facility is compared", "–", "9 more"]
    assert told.iloc[3].tolist()[1:] == ["–", f"not computed: {NOT_MADE}", "–", "–"]


def test_rates_before_the_start_are_percents_with_their_range():
    row = tables.before_table(BEFORE).iloc[0]
    assert (row["Residents"], row["Difference"], row["Before weighting"]) == (
        "49 and 149", "0.3 (range −0.6 to 1.3)", "−5.7",
    )  # fmt: skip
    assert tables.before_table(NO_BEFORE)["Difference"][0] == "not computed: 9 residents, ten are needed"


def test_e_values_are_told_for_the_ratio_of_shares_and_its_limit():
    told = tables.e_values_table(E_VALUES)
    assert told.iloc[0].tolist() == ["Any modality", "no modality", "3.90 (1.80 to 8.70)", "7.26", "3.00"]
    assert told.iloc[1].tolist()[2:] == ["1.20 (0.50 to without end)", "1.69", "1.00"]
    assert told.iloc[2].tolist()[2:] == ["not computed: nobody closed on one side", "–", "–"]


def every_table():
    return [
        tables.specifications_table(CURVE), tables.specifications_table(UNMADE), tables.bounds_table(bounds_of()),
        tables.without_table(RANGE), tables.before_table(BEFORE), tables.before_table(NO_BEFORE),
        tables.e_values_table(E_VALUES),
    ]  # fmt: skip


def test_headings_are_words_and_no_cell_is_a_bare_blank():
    for table in every_table():
        heads = [label(str(name)) for name in table.columns]
        assert [head for head in heads if not re.fullmatch(r"[A-Z][A-Za-z0-9 ,()%-]+", head)] == []
        assert not table.map(lambda cell: cell == "" or cell is None).any(axis=None)


def test_no_table_uses_a_forbidden_word_or_says_nan():
    for table in every_table():
        text = table_html(table).lower()
        assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
        assert not re.search(r"\bnan\b|\binf\b|&lt;na", text)


def test_nothing_given_is_changed():
    kept = CURVE.copy(), RANGE.copy()
    specification_figure(CURVE)
    tables.specifications_table(CURVE)
    tables.without_table(RANGE)
    pd.testing.assert_frame_equal(CURVE, kept[0])
    pd.testing.assert_frame_equal(RANGE, kept[1])
