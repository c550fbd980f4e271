"""Facilities side by side: what is said, drawn and set in tables, of a region made by hand; and the invented group."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.text import Text

from kit.context.case_mix import ALONE, CLOSED, EARLY
from kit.context.funnel import funnel
from kit.context.one_sided import ALL_STARTED, NONE_COULD, NONE_STARTED
from kit.delivery.shortfalls import given
from kit.pages.funnel_figures import describe_funnels, drawn_funnels, drawn_given, funnel_figure
from kit.pages.funnel_tables import funnel_table, given_table
from kit.region import Region, region_of
from kit.statements.region import (
    DESCRIBES,
    HOW_DECIDED,
    NOTHING_TOLD,
    ONE,
    given_said,
    in_line,
    one_sided_said,
    side_by_side,
    spread_said,
    untold,
)
from kit.synthetic.world import UNDERDOSED
from tests.test_funnel import mixed
from tests.test_words import forbidden_in

NOTEBOOK = Path(__file__).parent.parent / "notebooks" / "12-how-do-the-facilities-compare.ipynb"
HOMES = ("Alder", "Birch", "Cedar", "Dune", "Elm")


def region(closed=(0.5, 0.95, 0.5, 0.05, 0.5), early=(0.5,) * 5, wounds=40):
    frame = pd.concat(
        [mixed(closed, wounds, names=list(HOMES)), mixed(early, wounds, names=list(HOMES), measure=EARLY)]
    )
    told = pd.DataFrame(
        {"facility": HOMES, "sessions_due": [100.0] * 5, "sessions_full": [90.0] * 5, "full_share": [0.9] * 5}
    )
    aside = pd.DataFrame([["Dune", NONE_STARTED], ["Elm", ALL_STARTED]], columns=["facility", "why"])
    return Region(HOMES, frame, funnel(frame, 5.0), aside, told, "")


def test_who_differs_is_named_by_measure_and_way_and_nobody_else():
    closed, early, how = side_by_side(region())
    assert closed == (
        "Of 100 wounds 50 were closed by week 12 in the group. At the same mix of wounds these differ by more than "
        "chance, of 5: more: Birch (95); fewer: Dune (5)."
    )
    assert early.endswith("None of the 5 facilities told differs by more than chance.") and how == HOW_DECIDED
    assert not any(name in closed + early for name in ("Alder", "Cedar", "Elm"))


def test_in_a_facilitys_own_report_no_other_is_named():
    made = region()
    said = [*side_by_side(made, "Birch"), *untold(made, "Birch"), *one_sided_said(made.one_sided, "Birch")]
    tables = [funnel_table(made, CLOSED, "Birch"), given_table(made, "Birch")]
    told = " ".join([*said, *(table.to_string() for table in tables), describe_funnels(made, "Birch")])
    assert "Birch" in told and not any(name in told for name in HOMES if name != "Birch")
    assert said[0].startswith("Birch: at the group's mix of wounds 95 of 100 were closed by week 12, beside 50 in the")
    assert "more than chance gives" in said[0] and "within what chance gives" in said[1]
    written = [text.get_text() for axis in funnel_figure(made, "Birch").axes for text in axis.texts]
    assert written == ["Birch", "Birch"]


def test_the_figure_names_those_beyond_the_limits_and_fills_their_dots():
    closed, early = funnel_figure(region()).axes
    assert [text.get_text() for text in closed.texts] == ["Birch", "Dune"]
    assert [text.get_text() for text in early.texts] == []
    dots = [line for line in closed.lines if line.get_marker() == "o"]
    filled = [line.get_ydata()[0] for line in dots if line.get_markerfacecolor() == line.get_markeredgecolor()]
    assert len(dots) == 5 and filled == pytest.approx([95, 5])


def test_dots_beyond_the_drawn_limits_are_those_that_are_named():
    closed, _ = funnel_figure(region(closed=(0.5, 0.74, 0.5, 0.27, 0.5))).axes
    assert [text.get_text() for text in closed.texts] == []
    low, high = (line.get_ydata() for line in closed.lines[3:5])
    assert (low <= 100 * 0.27).any() and (high >= 100 * 0.74).any()


def test_a_figure_says_in_words_what_it_shows():
    [(_, says)] = drawn_funnels(region())
    assert "closed: Birch, Dune beyond the outer limits, of 5" in says


def test_tables_stand_in_alphabetical_order_and_say_the_verdict():
    table = funnel_table(region(), CLOSED)
    assert table["Facility"].tolist() == list(HOMES)
    words = ["within chance", "more than chance gives", "within chance", "fewer than chance gives", "within chance"]
    assert table["Beside chance"].tolist() == words
    assert given_table(region())["Facility"].tolist() == list(HOMES)


def test_what_was_given_stands_beside_what_wounds_came_to():
    [row] = given_table(region(), "Birch").to_dict("records")
    assert list(row.values()) == ["Birch", "100", "90", "95", "50"]
    assert given_said(region()) == [DESCRIBES] and len(drawn_given(region())) == 1


def test_where_a_warning_stops_comparisons_nothing_given_stands_beside_what_wounds_came_to():
    stopped = replace(region(), withheld_for="400 of 900 sessions name no wound (44%).")
    assert given_table(stopped).empty and drawn_given(stopped) == []
    assert given_said(stopped)[0].endswith("400 of 900 sessions name no wound (44%).")


def test_sessions_given_by_hand():
    rows = [("Alder", "full", 6.0), ("Alder", "missed", 2.0), ("Birch", "missed", 3.0)]
    told = given(pd.DataFrame(rows, columns=["facility", "fate", "sessions"]))
    assert told.values.tolist() == [["Alder", 8.0, 6.0, 0.75], ["Birch", 3.0, 0.0, 0.0]]


def test_facilities_set_aside_are_named_with_the_reason():
    aside = pd.DataFrame(
        [["Ash", NONE_STARTED], ["Bay", NONE_STARTED], ["Elm", ALL_STARTED], ["Fir", NONE_COULD]],
        columns=["facility", "why"],
    )
    said = one_sided_said(aside)
    assert [line.rpartition(": ")[2] for line in said] == ["Elm.", "Ash, Bay.", "Fir."]
    assert "all wounds that could be started were" in said[0] and "no wound was started" in said[1]


def test_the_line_for_the_page_names_who_is_set_aside_and_who_differs():
    told = " ".join(in_line(region()))
    assert told.startswith(
        "At like wounds these differ from the group of 5 by more than chance: Birch, more closed; Dune, fewer closed. "
    )
    assert "all wounds that could be started were: Elm." in told and "no wound was started: Dune." in told
    both = in_line(region(early=(0.5, 0.95, 0.5, 0.5, 0.5)))[0]
    assert "Birch, more closed and more closed or clearly smaller early; Dune, fewer closed." in both
    nobody = in_line(region(closed=(0.5,) * 5))[0]
    assert nobody == "At like wounds none of 5 facilities differs from the group by more than chance."


def test_one_facility_is_said_to_be_one():
    frame = mixed([0.5], names=["Alder"]).assign(not_computed=ALONE, standardized=np.nan)
    alone = replace(region(), facilities=("Alder",), mixed=frame, funnel=funnel(frame, 5.0))
    assert side_by_side(alone) == [ONE]
    assert in_line(alone) == [] and drawn_funnels(alone) == [] and drawn_given(alone) == []
    assert funnel_table(alone, CLOSED).empty


def test_where_none_is_told_the_reasons_stand():
    frame = mixed([0.5, 0.5], names=["Alder", "Birch"]).assign(not_computed="too few", standardized=np.nan)
    few = replace(region(), facilities=("Alder", "Birch"), mixed=frame, funnel=funnel(frame, 5.0))
    assert side_by_side(few) == [NOTHING_TOLD, "Not held against the group (closed; too few): Alder, Birch."]
    assert in_line(few) == one_sided_said(few.one_sided)


def test_how_much_facilities_differ_is_said_with_what_was_done():
    few = spread_said(region())[0]
    assert few.startswith("Closed by week 12: fewer than 10 facilities are told")
    random = np.random.default_rng(4)
    wide = mixed(random.uniform(0.2, 0.8, 40), 60)
    assert "differ by more than chance (" in spread_said(replace(region(), funnel=funnel(wide, 5.0)))[0]
    even = mixed(random.binomial(60, 0.5, 40) / 60, 60)
    assert "no more than chance lets them" in spread_said(replace(region(), funnel=funnel(even, 5.0)))[0]


def test_nothing_that_is_said_uses_a_forbidden_word():
    made = region()
    said = [*side_by_side(made), *side_by_side(made, "Birch"), *spread_said(made), *given_said(made), *in_line(made)]
    tables = [funnel_table(made, CLOSED), given_table(made)]
    drawn = [text.get_text() for text in funnel_figure(made).findobj(Text)]
    assert forbidden_in(" ".join([*said, *(table.to_csv() for table in tables), describe_funnels(made), *drawn])) == []
    assert forbidden_in(NOTEBOOK.read_text(encoding="utf-8")) == []


def test_the_invented_group_of_four_stands_side_by_side(lifelike):
    told = region_of(lifelike)
    assert told.funnel.groups["homes"].tolist() == [4, 4]
    assert sorted(told.given["facility"]) == list(told.facilities)
    assert (told.given["sessions_full"] <= told.given["sessions_due"]).all()
    share = told.given.set_index("facility")["full_share"]
    assert share.idxmin() == UNDERDOSED and share.drop(UNDERDOSED).min() > 0.5  # its sessions are planted too short
    assert region_of(lifelike) is told
