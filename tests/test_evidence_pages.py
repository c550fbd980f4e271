"""The forest figures and the tables of published studies draw and say the numbers they are given."""

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import Polygon

from kit.context.evidence import as_ratios, body_of, evidence
from kit.context.pooling import FIXED, HARTUNG, KNAPP_WIDE, PREDICTION, REML, WAYS
from kit.pages import evidence_tables as tables
from kit.pages.display import png, svg, table_html
from kit.pages.evidence_figures import DRAWN, REACH, forest_figure
from kit.words import FORBIDDEN
from tests.test_comparison_figures import outside, overlapping

FOUND = evidence()
BODIES = {f"{body.modality} {body.measure}": body for body in FOUND.bodies}
DRAWN_AT = 1e-9  # a number drawn is the number


def lines(figure):
    """The range drawn at each height, and the words beside it."""
    axis = figure.axes[0]
    names = dict(zip(axis.get_yticks(), (label.get_text() for label in axis.get_yticklabels()), strict=True))
    drawn = {}
    for line in axis.lines:
        if len(line.get_xdata()) == 2 and line.get_linestyle() == "-" and line.get_ydata()[0] == line.get_ydata()[1]:
            drawn[names[line.get_ydata()[0]]] = tuple(line.get_xdata())
    return drawn


def squares(figure):
    return {
        int(np.ravel(line.get_ydata())[0]): line.get_markersize()
        for line in figure.axes[0].lines
        if line.get_marker() == "s"
    }


# --- figures ---


@pytest.mark.parametrize("name", BODIES)
def test_nothing_is_written_over_or_outside(name):
    figure = forest_figure(BODIES[name])
    assert outside(figure) == []
    assert overlapping(figure) == []


@pytest.mark.parametrize("name", BODIES)
def test_figures_go_into_a_page(name):
    figure = forest_figure(BODIES[name])
    assert png(figure) and svg(figure)


@pytest.mark.parametrize("name", BODIES)
def test_no_figure_uses_a_word_that_claims(name):
    told = " ".join(
        text.get_text() for text in forest_figure(BODIES[name]).findobj(match=lambda o: hasattr(o, "get_text"))
    )
    assert not re.search(rf"\b({'|'.join(FORBIDDEN)})\b", told, re.IGNORECASE)


def test_every_study_has_its_range():
    """Wood: 18.0 (2.58 to 126); Adunsky day 57: 1.33 (0.35 to 5.10)."""
    drawn = lines(forest_figure(BODIES["stimulation closing"]))
    assert drawn["Wood 1993"] == pytest.approx((2.5779, 126.01), rel=5e-5)
    assert drawn["Adunsky 2005"] == pytest.approx((0.3483, 5.1039), abs=5.1e-5)


def test_every_way_of_pooling_is_drawn_where_it_lies():
    body = BODIES["stimulation size"]
    figure = forest_figure(body)
    corners = [patch.get_xy() for patch in figure.axes[0].patches if isinstance(patch, Polygon)]
    rows = as_ratios(body.pooled, "size").set_index("way")
    expected = [rows.loc[way, ["low", "estimate", "high"]].tolist() for way in (FIXED, REML, KNAPP_WIDE)]
    told = [[xy[0][0], xy[1][0], xy[2][0]] for xy in corners]
    np.testing.assert_allclose(told, expected, atol=DRAWN_AT)
    assert lines(figure)[DRAWN[PREDICTION]] == pytest.approx(tuple(rows.loc[PREDICTION, ["low", "high"]]), abs=DRAWN_AT)


def test_the_range_that_lets_few_studies_differ_is_told_apart_without_colour():
    figure = forest_figure(BODIES["stimulation closing"])
    fills = [patch.get_facecolor() for patch in figure.axes[0].patches if isinstance(patch, Polygon)]
    assert len(fills) == 4 and fills.count((1.0, 1.0, 1.0, 1.0)) == 1


def test_squares_are_as_large_as_weights():
    """Of the four size studies Polak 2017 has the smallest variance, Houghton 2010 the largest."""
    sizes = squares(forest_figure(BODIES["stimulation size"]))
    from_above = [sizes[place] for place in sorted(sizes, reverse=True)]  # 2010, 2012, 2016, 2017
    assert from_above == sorted(from_above) and from_above[0] < from_above[-1]


def test_ratios_stand_on_a_logarithmic_scale():
    assert forest_figure(BODIES["stimulation closing"]).axes[0].get_xscale() == "log"
    assert forest_figure(BODIES["stimulation size"]).axes[0].get_xscale() == "linear"


def test_the_axis_says_whom_each_side_favours():
    for body in FOUND.bodies:
        told = forest_figure(body).axes[0].get_xlabel()
        assert told.startswith("Favours usual care") and told.endswith(f"Favours {body.modality}")


def test_a_range_beyond_the_edge_ends_in_an_arrow():
    body = BODIES["stimulation closing"]
    wide = body.effects.assign(variance=body.effects["variance"] * 9)
    figure = forest_figure(dataclasses.replace(body, effects=wide))
    marks = {line.get_marker() for line in figure.axes[0].lines}
    assert {"<", ">"} <= marks
    assert lines(figure)["Kloth 1988"] == pytest.approx(REACH["closing"], abs=DRAWN_AT)
    # None of the studies as they are goes on beyond the edge.
    assert not {"<", ">"} & {line.get_marker() for line in forest_figure(body).axes[0].lines}


def test_one_study_has_no_diamond():
    figure = forest_figure(BODIES["ultrasound size"])
    assert not [patch for patch in figure.axes[0].patches if isinstance(patch, Polygon)]
    assert "one published study" in figure.get_suptitle()


def test_no_study_is_said_in_the_place_of_a_figure():
    body = body_of(FOUND.trials.head(0), "ultrasound", "size")
    assert "No published study of ultrasound" in forest_figure(body).texts[0].get_text()


# --- tables ---

TABLES = {
    "studies": tables.studies_table(FOUND.trials),
    "reviews": tables.reviews_table(FOUND.reviews),
    **{f"{name} {make.__name__}": make(body) for name, body in BODIES.items() for make in (
        tables.pooled_table, tables.readings_table, tables.without_table, tables.doubts_table)},
}  # fmt: skip


@pytest.mark.parametrize("name", TABLES)
def test_tables_hold_words_and_none_that_claims(name):
    table = TABLES[name]
    told = " ".join([*table.columns, *table.astype(str).to_numpy().ravel()])
    assert not re.search(rf"\b({'|'.join(FORBIDDEN)}|nan|<NA>|pressure_injury)\b", told, re.IGNORECASE)
    assert not (table == "").any(axis=None)
    assert "<table" in table_html(table) if len(table) else True


def test_a_study_has_its_dose_stage_population_count_doubt_and_source():
    table = TABLES["studies"]
    row = table[(table["Study"] == "Kloth 1988") & (table["Arm"] == "treated")].iloc[0]
    given = "high-volt, 45 min a day, 5 days a week, 7.3 weeks"
    assert row["Whom, and what was given"] == f"pressure injury, stage 4; {given}"
    assert row["Closed"] == "9 of 9, week 7.3"
    assert row["Doubt, and source"] == "Phys Ther 68:503-508, 1988, doi 10.1093/ptj/68.4.503; seen in a public page."
    other = table[table["Arm"] == "control (other source)"].iloc[0]
    assert other["Smaller, percent"] == "−9 (7), week 7.4" and "8.9%" in other["Doubt, and source"]


def test_what_was_not_seen_says_so():
    table = TABLES["studies"].set_index(["Study", "Arm"])
    assert table.loc[("Karba 1997", "treated"), "Doubt, and source"].endswith(" 1997; not found.")
    assert table.loc[("Griffin 1991", "treated"), "Whom, and what was given"].startswith("pressure injury, stage not")
    assert "counts" not in table.loc[("Griffin 1991", "treated"), "Whom, and what was given"]
    assert "; counts wounds; " in table.loc[("Polak 2014", "treated"), "Whom, and what was given"]
    assert len(table) == len(FOUND.trials)


def test_every_way_stands_in_the_table_of_pools():
    table = tables.pooled_table(BODIES["stimulation closing"])
    assert len(table) == len(WAYS) + 1  # Mantel-Haenszel
    told = dict(zip(table["Assumed"], table["Times as many closed (range)"], strict=True))
    assert told[tables.WAYS[FIXED]] == "2.03 (1.05 to 3.89)"
    assert told[tables.WAYS[HARTUNG]] == "2.64 (0.53 to 13.2)"
    assert table["Spread between studies"].iloc[0] == "53%"


def test_what_is_not_computed_says_why():
    table = tables.pooled_table(BODIES["ultrasound size"])
    assert table["Points more smaller (range)"].iloc[0] == "32 (3 to 60)"
    assert (table["Points more smaller (range)"].iloc[1:] == "not computed: one study alone").all()


def test_other_readings_stand_beside():
    table = tables.readings_table(BODIES["stimulation closing"]).set_index("Reading")
    assert table.loc["Without doubtful studies", "Studies"] == "Kloth 1988, Wood 1993"
    assert table.loc["Adunsky 2005: day 147", "One and the same (fixed)"] == "1.29 (0.76 to 2.19)"
    empty = tables.readings_table(BODIES["ultrasound size"]).set_index("Reading")
    assert empty.loc["Without doubtful studies", "Studies"] == "none"


def test_the_research_group_is_left_out_as_one():
    table = tables.without_table(BODIES["stimulation size"]).set_index("Without")
    assert table.loc["Katowice, research group", "Studies left"] == "1"
    assert table.loc["Katowice, research group", "One and the same (fixed)"] == "34 (3 to 65)"


def test_doubts_name_what_others_lack():
    table = tables.doubts_table(BODIES["stimulation size"]).set_index("Study")
    assert table.loc["Polak 2017", "Pooled"] == "yes"
    assert table.loc["Franek 2011"].tolist() == ["no", "No spread was seen"]


def test_reviews_print_their_numbers_as_printed():
    table = TABLES["reviews"]
    row = table[(table["Review"] == "Arora 2020") & (table["Measure"] == "Closed")].iloc[0]
    assert row["Number (range)"] == "1.99 (1.39 to 2.85) ratio"
    feet = table[table["Review"] == "Sheehan 2003"].iloc[0]
    assert feet["Of"] == "diabetic foot" and feet["Number (range)"] == "53 percent"
    only_range = table[table["Review"].str.startswith("High-volt")].iloc[0]
    assert only_range["Number (range)"] == "(24.59 to 47.76) percent"
    assert table.loc[table["Measure"] == "Unwanted events", "Number (range)"].tolist() == ["–"]


def test_tables_of_nothing_are_empty():
    body = body_of(FOUND.trials.head(0), "stimulation", "closing")
    assert tables.doubts_table(body).empty and tables.without_table(body).empty
    assert isinstance(tables.studies_table(FOUND.trials.head(0)), pd.DataFrame)
