"""The figures of delivery draw the numbers they are given, tell everything in words, and read without colour."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_hex, to_rgb

from kit.delivered import delivered
from kit.delivery.calendar import calendar, length, most_missed
from kit.delivery.decisions import DECISIONS
from kit.delivery.shortfalls import FATES
from kit.pages.delivery_figures import _SHADE, DAYS, LINES, PARTS, agreement_figure, calendar_figure, fates_figure
from kit.pages.display import png
from kit.pages.figures import INK, PAPER
from kit.statements.delivery import ELEMENTS
from tests import accessible
from tests.drawn import PLAN as TEXT
from tests.drawn import drawn
from tests.test_comparison_figures import outside, overlapping
from tests.test_delivery_statements import fates_of, shortfall
from tests.test_size_figures import words_of
from tests.test_size_statements import DATED, PLAN, UNDATED


def lightness(colour):
    return float(np.dot(to_rgb(colour), (0.2126, 0.7152, 0.0722)))


# --- agreement ---

ROWS = pd.DataFrame([
    shortfall(facility="Alder", within=4, below=53), shortfall("duty", facility="Alder", within=10),
    shortfall(facility="Birch", within=60, below=4),
])  # fmt: skip


def test_each_cell_says_its_share_and_of_how_many_and_a_dash_where_nobody_was_asked():
    axis = agreement_figure(ROWS).axes[0]
    assert [text.get_text() for text in axis.texts] == ["93% of 57", "6% of 64", "0% of 10", "–"]
    assert [tick.get_text() for tick in axis.get_xticklabels()][:2] == ["Alder", "Birch"]


def test_many_facilities_stand_below_each_other_so_that_no_word_runs_into_another():
    rows = pd.DataFrame(
        [
            shortfall(element, facility=f"Facility {number:02}", within=400, below=53)
            for number in range(40)
            for element in ELEMENTS
        ]
    )
    figure = agreement_figure(rows)
    FigureCanvasAgg(figure).draw()
    axis = figure.axes[0]
    assert [tick.get_text() for tick in axis.get_yticklabels()][0] == "Facility 00"
    drawn = axis.texts[: len(ELEMENTS)]
    for words in (drawn, axis.get_xticklabels()):
        boxes = [one.get_window_extent() for one in words]
        assert all(one.x1 < other.x0 for one, other in zip(boxes, boxes[1:], strict=False))


def test_the_more_is_missed_the_darker_is_the_cell():
    image = agreement_figure(ROWS).axes[0].images[0]
    shades = [lightness(image.cmap(image.norm(value))[:3]) for value in (0.0, 0.06, 0.5, 0.93, 1.0)]
    assert shades == sorted(shades, reverse=True)


def test_lettering_reads_on_every_shade():
    axis = agreement_figure(ROWS).axes[0]
    shades = [to_hex(_SHADE(share)) for share in np.linspace(0, 1, 101)]
    assert {to_hex(text.get_color()) for text in axis.texts} == {INK}
    assert min(accessible.contrast(INK, shade) for shade in shades) >= accessible.TEXT
    assert accessible.contrast(shades[-1], PAPER) >= accessible.GRAPHIC


# --- due ---


def test_the_bars_of_a_facility_add_up_to_a_hundred_and_say_their_numbers():
    fates = fates_of(("Alder", "full", "", 30.0, 0.3), ("Alder", "short", "train", 50.0, 0.5),
                     ("Alder", "missed", "person", 17.0, 0.17), ("Alder", "missed", "staff", 3.0, 0.03))  # fmt: skip
    axis = fates_figure(fates).axes[0]
    assert [round(bar.get_width()) for bar in axis.patches] == [30, 50, 17, 3]
    assert sum(bar.get_width() for bar in axis.patches) == pytest.approx(100)
    assert [text.get_text() for text in axis.texts] == ["30", "50", "17"]  # 3 is too narrow to be lettered
    assert axis.get_yticklabels()[0].get_text() == "Alder (100)"


def test_every_part_has_its_fill_and_no_two_look_alike_without_colour():
    assert set(PARTS) == {"full", "", *DECISIONS}
    looks = [(round(lightness(fill) * 8), hatch) for fill, hatch, _ in PARTS.values()]
    assert len(set(looks)) == len(looks)


def test_every_fate_has_a_mark_or_is_never_on_a_day():
    assert set(FATES) - {"unlogged"} <= set(DAYS)
    shapes = [(mark, round(lightness(fill) * 5)) for mark, fill, _ in DAYS.values()]
    assert len(set(shapes)) == len(shapes)


# --- the calendar ---

MEASURED = "wound day length width state\nW1 112 4 3 open\nW1 119 4 3 open\nW1 140 . . closed\n"
SESSIONS = """
wound day modality setup status minutes reason
W1 112 stimulation monopolar given 20 .
W1 113 stimulation monopolar missed . staff
W1 114 stimulation monopolar shortened 9 refused
W1 115 stimulation monopolar given 10 .
W1 116 stimulation monopolar given . .
"""


def drawn_calendar(**more):
    return delivered(drawn(MEASURED, sessions=SESSIONS, **more)).calendar


def test_a_line_shows_what_became_of_every_session_and_the_closing():
    told = drawn_calendar()
    assert list(zip(told["at"], told["fate"], strict=True)) == [
        (2, "full"), (3, "missed"), (4, "shortened"), (5, "short"), (6, "no minutes"), (30, "closed"),
    ]  # fmt: skip


def test_of_two_sessions_on_a_day_the_one_that_went_wrong_is_shown():
    study = drawn(MEASURED)
    sessions = pd.DataFrame({
        "source_row": [2, 3], "wound": "W1", "day": 112, "status": ["given", "missed"], "reason": [None, "staff"],
        "modality": "stimulation", "radiating_area": float("nan"),
    })  # fmt: skip
    judged = pd.DataFrame(
        {
            "source_row": [2],
            "wound": ["W1"],
            "element": ["minutes"],
            "state": ["within"],
            "recorded": [True],
            "decision": "",
        }
    )
    told = calendar(sessions, judged, study.episodes, pd.Series(["Alder", "Alder"]), study.plan)
    assert told["fate"].tolist() == ["missed", "closed"]


def test_a_wound_closed_in_the_quarter_without_a_session_in_it_has_no_line():
    assert drawn_calendar(plan=drawn_plan(130)).empty


def drawn_plan(begins):
    return TEXT.replace("quarter_begins = 110", f"quarter_begins = {begins}")


def test_where_there_is_no_calendar_days_count_from_the_first_session():
    assert (length(UNDATED), length(PLAN)) == (91, 91)  # day 110 to 200, both included


def many(wounds):
    rows = [(f"W{n:03d}", "Alder" if n % 2 else "Birch", 120, 10 + k, "missed" if k < n % 4 else "full")
            for n in range(wounds) for k in range(4)]  # fmt: skip
    return pd.DataFrame(rows, columns=["wound", "facility", "day", "at", "fate"]).sort_values(
        ["facility", "wound", "at"], ignore_index=True
    )


def test_of_too_many_wounds_those_with_most_missed_are_shown_and_it_is_said():
    every = many(LINES + 20)
    kept = most_missed(every, LINES)
    off = (every["fate"] == "missed").groupby(every["wound"]).sum()
    assert kept["wound"].nunique() == LINES
    assert off[kept["wound"].unique()].min() >= off[~off.index.isin(kept["wound"])].max()
    said = calendar_figure(every, DATED).axes[0].get_xlabel()
    assert said == "Weeks since 1 April 2026; a line is a wound; the 40 of 60 with most sessions not in full"


def test_the_calendar_names_no_wound():
    assert not [word for word in words_of(calendar_figure(many(9), DATED)) if word.startswith("W0")]


@pytest.mark.parametrize(
    "figure",
    [agreement_figure(ROWS), calendar_figure(many(7), DATED), fates_figure(fates_of(
        *(("Alder", "missed", matter, 1.0, 1 / 7) for matter in DECISIONS)))],
)  # fmt: skip
def test_nothing_overlaps_or_lies_outside(figure):
    png(figure)
    assert outside(figure) == [] and overlapping(figure) == []
