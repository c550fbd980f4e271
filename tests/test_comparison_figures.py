"""The figures of the comparison draw the numbers they are given, and all that they say stands within their bounds."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb

from kit.pages.comparison_figures import REST, SMALLER, WIDEST, beside_figure, course_figure, differences_figure
from kit.pages.display import png, svg
from kit.pages.figures import FILLS
from tests.told import STATES, between, course_of, row_of, states_of

CLOSED = "had closed by week 12"
EARLY = "had closed or were at least 40% smaller by week 4"
LONG = "bipolar stimulation, positive at the wound"[:40]  # the plan allows no longer name
EDGE = 1.0  # pixels by which lettering may stand over, since its box is wider than its ink


def beside(given=None, measure="closed", **states):
    given = given or row_of()
    return beside_figure(states_of(given, **states), given, measure, CLOSED if measure == "closed" else EARLY)


def lettering(figure):
    """Every piece of text that is drawn, with its box in pixels."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    texts = [
        text
        for axis in figure.axes
        for text in [*axis.texts, *axis.get_xticklabels(), *axis.get_yticklabels(), axis.xaxis.label, axis.yaxis.label]
    ]
    texts += [text for key in figure.legends for text in key.get_texts()] + figure.texts
    return [(text, text.get_window_extent(renderer)) for text in texts if text.get_text() and text.get_visible()]


def outside(figure):
    """What is written outside the picture."""
    told = lettering(figure)
    wide, high = figure.bbox.width, figure.bbox.height
    assert len(told) > 3
    return [
        text.get_text()
        for text, box in told
        if box.x0 < -EDGE or box.y0 < -EDGE or box.x1 > wide + EDGE or box.y1 > high + EDGE
    ]


def overlapping(figure):
    """What is written over something else that is written."""
    told = lettering(figure)
    return [
        (one.get_text(), other.get_text())
        for number, (one, box) in enumerate(told)
        for other, there in told[number + 1 :]
        if box.overlaps(there)
    ]


def bars(figure):
    """The bars from above: the lengths of their parts, in wounds of 100, and where each begins."""
    parts = {1: [], 0: []}
    for part in figure.axes[0].patches:
        parts[round(part.get_y() + part.get_height() / 2)].append((part.get_x(), part.get_width()))
    return [np.array(parts[place]) for place in (1, 0)]


def range_of(axis, place=0):
    """The two ends of a range line and its dot, at a height."""
    lines = [line for line in axis.lines if np.allclose(line.get_ydata(), place)]
    ends = [tuple(line.get_xdata()) for line in lines if line.get_linestyle() == "-" and len(line.get_xdata()) == 2]
    dots = [line.get_xdata()[0] for line in lines if line.get_marker() == "o"]
    return ends, dots


# --- treated beside expected without ---


def test_the_parts_of_both_bars_are_as_long_as_their_shares_and_fill_the_hundred():
    treated, without = (0.45, 0.02, 0.05, 0.08, 0.40), (0.33, 0.0, 0.07, 0.10, 0.50)
    for bar, shares in zip(bars(beside(treated=treated, beside=without)), (treated, without), strict=True):
        lengths = dict(zip(STATES, shares, strict=True))
        stack = [100 * lengths[state] for state in FILLS if state in lengths]
        assert bar[:, 1] == pytest.approx(stack)
        assert bar[:, 0] == pytest.approx(np.cumsum([0, *stack[:-1]]))
        assert bar[-1].sum() == pytest.approx(100)


def test_the_numbers_in_the_bars_are_their_lengths_and_slivers_have_none():
    figure = beside(treated=(0.456, 0.02, 0.045, 0.079, 0.40), beside=(0.33, 0.0, 0.07, 0.10, 0.50))
    told = [text.get_text() for text in figure.axes[0].texts]
    assert told == ["46", "40", "8", "4", "33", "50", "10", "7"]  # 0.02 and 0.0 are too narrow to be written in


def test_the_bars_are_named_and_the_treated_one_is_counted():
    [first, second] = beside(row_of(starters=31)).axes[0].get_yticklabels()
    assert (first.get_text(), second.get_text()) == ("Treated\n(31 wounds)", "Expected\nwithout")
    assert (first.get_position()[1], second.get_position()[1]) == (1, 0)


def test_every_state_that_is_drawn_stands_in_the_key_and_no_other():
    key = {text.get_text() for text in beside().legends[0].get_texts()}
    assert key == {"Closed", "Closed by surgery", "Still open", "In hospital and not back", "Died"}
    plain = beside(treated=(0.5, 0, 0, 0, 0.5), beside=(0.4, 0, 0.1, 0, 0.5))  # surgery and hospital: nobody
    assert {text.get_text() for text in plain.legends[0].get_texts()} == {"Closed", "Still open", "Died"}


def test_the_key_has_the_fill_of_its_bar():
    figure = beside()
    fills = {patch.get_label(): (patch.get_facecolor()[:3], patch.get_hatch() or "") for patch in key_of(figure)}
    assert fills["Closed"] == (to_rgb(FILLS["closed"][0]), "")
    assert fills["Died"] == (to_rgb(FILLS["died"][0]), FILLS["died"][1])
    drawn = {(part.get_facecolor()[:3], part.get_hatch() or "") for part in figure.axes[0].patches}
    assert drawn == set(fills.values())


def key_of(figure):
    [key] = figure.legends
    for patch, text in zip(key.get_patches(), key.get_texts(), strict=True):
        patch.set_label(text.get_text())
    return key.get_patches()


def test_the_early_response_is_drawn_in_two_parts():
    given = row_of(early_treated=0.62, early_beside=0.41, early_difference=0.21)
    figure = beside_figure(states_of(given), given, "early", EARLY)
    first, second = bars(figure)
    assert (first[:, 1], second[:, 1]) == (pytest.approx([62, 38]), pytest.approx([41, 59]))
    key = [text.get_text() for text in figure.legends[0].get_texts()]
    assert key == ["Closed or were at least 40% smaller by week 4", "Neither"]  # who died is in the rest: not all open
    assert {SMALLER, REST}.isdisjoint(STATES)


@pytest.mark.parametrize("limits", [(0.02, 0.22), (-0.31, -0.05), (-0.1, 0.14), (0.3, 0.58), (0.0, 0.0)])
def test_the_range_is_drawn_at_its_limits_and_the_dot_at_the_difference(limits):
    axis = beside(between(*limits)).axes[1]
    [ends], [dot] = range_of(axis)
    assert ends == pytest.approx([100 * limit for limit in limits])
    assert dot == pytest.approx(50 * sum(limits))
    low, high = axis.get_xlim()
    assert low == -high and low <= ends[0] and ends[1] <= high  # none stands in the middle, nothing is cut off


def test_the_range_of_the_early_response_is_that_of_the_early_response():
    given = row_of(early_difference=0.3, early_low=0.1, early_high=0.5)
    [ends], [dot] = range_of(beside_figure(states_of(given), given, "early", EARLY).axes[1])
    assert (ends, dot) == (pytest.approx((10, 50)), pytest.approx(30))


def test_the_difference_is_written_as_the_sentence_says_it():
    [text] = beside(between(-0.04, 0.2)).axes[1].texts
    assert text.get_text() == "8 more (range 4 fewer to 20 more)"


def test_the_scale_is_told_in_wounds_fewer_none_and_more():
    axis = beside().axes[1]
    assert [tick.get_text() for tick in axis.get_xticklabels()] == ["30", "20", "10", "none", "10", "20", "30"]
    assert axis.get_xlabel().startswith("Fewer") and axis.get_xlabel().endswith("More") and CLOSED in axis.get_xlabel()


@pytest.mark.parametrize(
    "given",
    [
        row_of(), between(-0.59, -0.3), between(0.3, 0.59), between(0.2, 0.9), between(-0.95, -0.4),
        row_of(starters=1234),
    ],
)  # fmt: skip
@pytest.mark.parametrize("measure", ["closed", "early"])
def test_all_that_the_figure_says_stands_within_it_and_apart(given, measure):
    shown = given | {f"early_{part}": given[f"closed_{part}"] for part in ("difference", "low", "high")}
    figure = beside(shown, measure)
    assert outside(figure) == []
    assert overlapping(figure) == []


def test_the_search_for_text_outside_would_find_it():
    figure = beside()
    figure.text(0.99, 0.5, "far too long to stand here")
    assert outside(figure) == ["far too long to stand here"]


def test_the_figure_can_be_saved_and_is_the_same_twice():
    assert png(beside()) == png(beside()) and len(png(beside())) > 10_000
    assert svg(beside()) == svg(beside())


# --- every comparison ---


def told_of(*rows):
    return pd.DataFrame(rows)


SEVERAL = (
    row_of(),
    row_of("monopolar", closed_difference=-0.05, closed_low=-0.3, closed_high=0.21),
    row_of(LONG, told=False),
    row_of("monopolar", LONG, told=False),
)


def test_every_comparison_has_its_line_in_order_from_above():
    axis = differences_figure(told_of(*SEVERAL), "closed", CLOSED).axes[0]
    names = {tick.get_position()[1]: tick.get_text() for tick in axis.get_yticklabels()}
    assert [names[place] for place in (3, 2, 1, 0)] == [
        "Any modality\nbeside no modality", "Monopolar\nbeside no modality",
        f"{LONG[0].upper()}{LONG[1:]}\nbeside no modality", f"Monopolar\nbeside {LONG}",
    ]  # fmt: skip
    for place, row in zip((3, 2), SEVERAL, strict=False):
        [ends], [dot] = range_of(axis, place)
        assert ends == pytest.approx((100 * row["closed_low"], 100 * row["closed_high"]))
        assert dot == pytest.approx(100 * row["closed_difference"])


def test_what_is_refused_has_a_reason_and_neither_dot_nor_line():
    loud = row_of("ultrasound", told=False, closed_difference=0.1, closed_low=0.0, closed_high=0.2)
    axis = differences_figure(told_of(row_of(), loud), "closed", CLOSED).axes[0]
    assert range_of(axis, 0) == ([], [])
    [text] = axis.texts
    assert (text.get_text().strip(), text.get_position()[1]) == ("not compared: too few", 0)


def test_where_nothing_is_compared_no_dot_is_drawn_and_nothing_fails():
    rows = [row_of(told=False), row_of("monopolar", told=False)]
    axis = differences_figure(told_of(*rows), "closed", CLOSED).axes[0]
    assert [line for line in axis.lines if line.get_marker() == "o"] == []
    assert len(axis.texts) == 2


@pytest.mark.parametrize("came_to", [CLOSED, EARLY])
@pytest.mark.parametrize("rows", [SEVERAL, SEVERAL[2:], (row_of(LONG, LONG[::-1]), between(0.3, 0.97))])
def test_long_names_of_regimens_stand_within_the_figure(rows, came_to):
    figure = differences_figure(told_of(*rows), "closed", came_to)
    assert outside(figure) == []
    assert overlapping(figure) == []
    left, right = figure.axes[0].get_window_extent().intervalx
    assert right - left > 0.25 * figure.bbox.width  # room is left for what is drawn


def test_a_name_with_a_dollar_sign_is_drawn_as_it_stands():
    assert png(differences_figure(told_of(row_of(r"at $\frac$")), "closed", CLOSED))


def test_no_range_is_drawn_beyond_what_the_figure_shows():
    axis = differences_figure(told_of(between(-0.9, 0.2)), "closed", CLOSED).axes[0]
    assert axis.get_xlim() == (-WIDEST, WIDEST)


# --- week by week ---


def test_the_course_draws_both_arms_by_week_with_their_ranges():
    given = row_of()
    axis = course_figure(course_of(given), given, 12).axes[0]
    assert [text.get_text() for text in axis.texts] == ["Treated", "Expected without"]
    for line, last in zip(axis.lines, (45, 33), strict=True):
        assert line.get_xdata().tolist() == list(range(13))
        assert line.get_ydata()[-1] == pytest.approx(last) and line.get_ydata()[0] == 0
    for band, last in zip(axis.collections, (45, 33), strict=True):
        heights = band.get_paths()[0].vertices[:, 1]
        assert heights.max() == pytest.approx(last + 8)
    assert axis.lines[0].get_linestyle() != axis.lines[1].get_linestyle()  # they can be told apart in grey


def test_the_course_is_that_of_its_own_comparison():
    given, other = row_of("monopolar"), row_of()
    both = pd.concat([course_of(other).assign(share=0.99), course_of(given)])
    axis = course_figure(both, given, 12).axes[0]
    assert [line.get_ydata()[-1] for line in axis.lines] == pytest.approx([45, 33])


@pytest.mark.parametrize("weeks", [4, 8, 12, 52])
def test_the_course_stands_within_its_figure(weeks):
    given = row_of()
    assert outside(course_figure(course_of(given, weeks), given, weeks)) == []
