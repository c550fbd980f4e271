"""The figures of sizes draw the numbers they are given, tell everything drawn in words, and read without colour."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex

from kit.healing.answers import SMALLER
from kit.healing.comparison import NONE
from kit.healing.reductions import GRID
from kit.pages.display import png, svg
from kit.pages.figures import INK, PAPER
from kit.pages.size_figures import MARKS, pace_figure, smaller_figure, standing_figure
from kit.trajectories.slopes import ALL, BEFORE
from kit.trajectories.standing import EXPECTED, FAST, NOT_TOLD, SLOW, UNCLEAR
from kit.words import FORBIDDEN
from tests.test_comparison_figures import outside, overlapping
from tests.test_size_statements import EVERY_KIND, PACES, UNFRESH, open_wound, pace_of, standing_of
from tests.told import row_of

LONG = "bipolar stimulation, positive at the wound"[:40]  # the plan allows no longer name
OFF = 0.08  # by which the ranges of a share stand off


def key_of(legend):
    return [text.get_text() for text in legend.get_texts()]


def lines_of(axis, **asked):
    """The lines of an axis whose properties are so."""
    return [line for line in axis.lines if all(getattr(line, f"get_{name}")() == it for name, it in asked.items())]


def shown(figure):
    """The figure with what is never drawn taken away: the labels of ticks beyond its limits."""
    png(figure)
    for axis in figure.axes:
        for side, (low, high) in ((axis.xaxis, axis.get_xlim()), (axis.yaxis, axis.get_ylim())):
            for tick in side.get_major_ticks():
                tick.label1.set_visible(low <= tick.get_loc() <= high)
    return figure


def words_of(figure):
    """All that a figure says."""
    told = [text.get_text() for text in figure.texts]
    for axis in figure.axes:
        told += [axis.get_xlabel(), axis.get_ylabel(), *(text.get_text() for text in axis.texts)]
        told += [tick.get_text() for tick in [*axis.get_xticklabels(), *axis.get_yticklabels()]]
    keys = [*figure.legends, *(axis.get_legend() for axis in figure.axes if axis.get_legend())]
    return told + [text for key in keys for text in [*key_of(key), key.get_title().get_text()]]


# --- how many had shrunk by so much ---


def smaller_of(row, treated=(1.0, 0.4), beside=(0.9, 0.2)):
    """The share at least so many percent smaller, in a straight line from twice the size to closed."""
    frames = [
        pd.DataFrame({"percent": GRID, "share": np.linspace(*ends, len(GRID))}).assign(arm=arm)
        for arm, ends in (("treated", treated), ("beside", beside))
    ]
    told = pd.concat(frames, ignore_index=True).assign(treated=row["treated"], beside=row["beside"])
    return told.assign(low=told["share"] - OFF, high=told["share"] + OFF)[list(SMALLER)]


def smaller(row=None, percent=40, weeks=4):
    row = row or row_of()
    return smaller_figure(smaller_of(row), row, percent, weeks)


def test_both_curves_are_the_shares_of_the_frame_from_half_larger_to_closed():
    given = row_of()
    axis = smaller(given).axes[0]
    told = smaller_of(given)
    for line, arm in zip(axis.lines[:2], ("treated", "beside"), strict=True):
        own = told[(told["arm"] == arm) & (told["percent"] >= -50)]
        assert line.get_xdata().tolist() == own["percent"].tolist() == list(range(-50, 101))
        assert line.get_ydata() == pytest.approx(100 * own["share"].to_numpy())
    # of 200 steps the curve falls 150 after -50: from 1 to 0.4 it has fallen by 0.15 there
    assert (axis.lines[0].get_ydata()[0], axis.lines[0].get_ydata()[-1]) == pytest.approx((85, 40))


def test_the_bands_are_the_ranges_of_the_frame():
    for band, last in zip(smaller().axes[0].collections, (40, 20), strict=True):
        at_end = band.get_paths()[0].vertices
        ends = at_end[at_end[:, 0] == 100, 1]
        assert (ends.min(), ends.max()) == pytest.approx((last - 100 * OFF, last + 100 * OFF))


def test_the_curves_are_those_of_their_own_comparison():
    given = row_of("monopolar", "ultrasound")
    others = [row_of(), row_of("monopolar"), row_of("ultrasound", "monopolar")]
    both = pd.concat([*(smaller_of(other, (0.9, 0.9), (0.8, 0.8)) for other in others), smaller_of(given)])
    axis = smaller_figure(both, given, 40, 4).axes[0]
    assert [line.get_ydata()[-1] for line in axis.lines[:2]] == pytest.approx([40, 20])
    assert len(axis.lines[0].get_xdata()) == 151


def test_the_curves_can_be_told_apart_without_colour():
    first, second = smaller().axes[0].lines[:2]
    assert (first.get_linestyle(), second.get_linestyle()) == ("-", "--")


@pytest.mark.parametrize(("percent", "weeks"), [(40, 4), (10, 2), (90, 12)])
def test_the_percentage_and_the_week_of_the_plan_are_drawn_and_said(percent, weeks):
    axis = smaller(percent=percent, weeks=weeks).axes[0]
    upright = [line.get_xdata()[0] for line in axis.lines if len(set(line.get_xdata())) == 1]
    level = [line.get_ydata()[0] for line in axis.lines[2:] if len(set(line.get_ydata())) == 1]
    assert (upright, level) == ([percent], [50])
    assert [text.get_text().strip() for text in axis.texts] == [f"{percent}% smaller", "half of the wounds"]
    assert axis.get_xlabel() == f"Smaller by at least so much, {weeks} weeks after the week of the start"


def test_the_scale_says_what_grew_what_stayed_and_what_closed():
    axis = smaller().axes[0]
    told = {tick.get_position()[0]: tick.get_text() for tick in axis.get_xticklabels()}
    assert told == {
        -50: "50% larger", -25: "25% larger", 0: "as large", 25: "25%", 50: "50%", 75: "75%", 100: "closed",
    }  # fmt: skip
    assert (axis.get_xlim(), axis.get_ylim()) == ((-50, 100), (0, 100))


def test_the_key_names_both_curves_and_what_is_shaded_and_counts_the_treated():
    key = smaller(row_of(starters=31)).axes[0].get_legend()
    assert key_of(key) == ["Treated (31 wounds)", "Expected without"]
    assert key.get_title().get_text() == "Shaded: the range"


@pytest.mark.parametrize("given", [row_of(), row_of(starters=1234)])
@pytest.mark.parametrize("percent", [10, 40, 90])
def test_what_is_written_beside_the_curves_stands_within_the_figure_and_apart(given, percent):
    figure = smaller(given, percent)
    assert outside(figure) == []
    assert overlapping(figure) == []


def test_without_a_row_the_curves_are_empty_and_nothing_fails():
    figure = smaller_figure(pd.DataFrame(columns=list(SMALLER)), row_of(), 40, 4)
    assert [len(line.get_xdata()) for line in figure.axes[0].lines[:2]] == [0, 0]
    assert len(png(figure)) > 1000


# --- paces ---


def test_each_pace_is_a_line_between_its_limits_with_a_mark_at_its_amount_in_order_from_above():
    axis = pace_figure(PACES).axes[0]
    for place, row in zip((2, 1, 0), PACES.itertuples(), strict=True):
        [ends, mark] = [line for line in axis.lines if set(line.get_ydata()) == {place}]
        assert ends.get_xdata().tolist() == [row.low, row.high]
        assert (mark.get_xdata().tolist(), mark.get_marker()) == ([row.amount], "o")


def test_the_lines_are_named_by_regimen_and_stage_and_counted():
    axis = pace_figure(PACES).axes[0]
    names = {tick.get_position()[1]: tick.get_text() for tick in axis.get_yticklabels()}
    assert [names[place] for place in (2, 1, 0)] == [
        "Before any modality: all wounds (60)", "Stage 4 (20)  ", "Monopolar: all wounds (1)",
    ]  # fmt: skip
    assert axis.get_xlabel() == (
        "Percent smaller a week, with ranges (95%); in brackets: wounds.\n"
        "Open circles: wounds of the line above them, by stage or kind"
    )


def test_all_wounds_and_one_stage_can_be_told_apart_without_colour():
    axis = pace_figure(PACES).axes[0]
    filled, hollow, _ = lines_of(axis, marker="o")
    assert (to_hex(filled.get_markerfacecolor()), to_hex(hollow.get_markerfacecolor())) == (INK, PAPER)
    assert to_hex(filled.get_markeredgecolor()) == to_hex(hollow.get_markeredgecolor()) == INK
    widths = {
        line.get_ydata()[0]: line.get_linewidth()
        for line in axis.lines
        if line.get_linestyle() == "-" and len(line.get_xdata()) == 2
    }
    assert widths[2] == widths[0] > widths[1]


def test_a_dashed_line_stands_where_nothing_shrinks():
    [none] = lines_of(pace_figure(PACES).axes[0], linestyle="--")
    assert set(none.get_xdata()) == {0}


@pytest.mark.parametrize("name", ["$x_1$", r"At $\frac$", "<script>", "A^2"])
def test_a_regimen_is_named_as_it_stands_and_never_read_as_mathematics(name):
    figure = pace_figure(pace_of((name, ALL, 12, 11, 5.0, 4.0, 6.0)))
    assert len(png(figure)) > 5_000  # half a formula would fail here
    [tick] = figure.axes[0].get_yticklabels()
    assert tick.get_text() == f"{name.replace('_', ' ')}: all wounds (12)"  # as everywhere, blanks for underscores
    assert not tick.get_parse_math()


def test_a_pace_without_limits_has_its_mark_and_nothing_fails():
    nan = float("nan")
    figure = pace_figure(pace_of((BEFORE, ALL, 12, 11, 5.0, nan, nan)))
    [mark] = lines_of(figure.axes[0], marker="o")
    assert mark.get_xdata().tolist() == [5.0] and png(figure)


@pytest.mark.parametrize("rows", [[BEFORE], [LONG, LONG[::-1]], [BEFORE, LONG, "monopolar", "ultrasound"]])
def test_paces_stand_within_their_figure_and_apart(rows):
    stages = (ALL, "stages 1 and 2", "stages 3 and 4", "not staged")
    made = pace_of(*((name, stage, 1234, 900, 5.0, -4.0, 16.0) for name in rows for stage in stages))
    figure = shown(pace_figure(made))
    assert outside(figure) == [] and overlapping(figure) == []
    left, right = figure.axes[0].get_window_extent().intervalx
    assert right - left > 0.25 * figure.bbox.width  # room is left for what is drawn


# --- where open wounds stand ---


@pytest.fixture
def stood():
    return standing_figure(EVERY_KIND)


SLOWEST_FIRST = [(SLOW, -2.0), (SLOW, 1.0), (UNCLEAR, 4.0), (EXPECTED, 8.0), (FAST, 15.0)]  # W2 is not told


def test_each_wound_that_is_told_has_its_range_slowest_first(stood):
    [ranges] = stood.axes[0].collections
    drawn = [segment.tolist() for segment in ranges.get_segments()]
    # three percents to either side
    assert drawn == [[[n, own - 3], [n, own + 3]] for n, (_, own) in enumerate(SLOWEST_FIRST)]


def test_each_wound_has_one_mark_at_its_own_pace_by_how_it_stands(stood):
    drawn = {(int(x), y): line.get_marker() for line in own_marks(stood) for x, y in line.get_xydata()}
    assert drawn == {(n, own): MARKS[stands][0] for n, (stands, own) in enumerate(SLOWEST_FIRST)}


def own_marks(figure):
    return [line for line in figure.axes[0].lines if line.get_marker() in {mark for mark, *_ in MARKS.values()}]


def test_the_expected_pace_of_each_wound_is_drawn_beside_its_own():
    given = standing_of(open_wound(1, expected=3.0), open_wound(2, own=2.0, expected=9.0))
    [line] = lines_of(standing_figure(given).axes[0], marker="_")
    assert line.get_xydata().tolist() == [[0, 9.0], [1, 3.0]]  # the second is slower and stands first


def test_ways_to_stand_can_be_told_apart_without_colour():
    assert list(MARKS) == [SLOW, EXPECTED, FAST, UNCLEAR]
    assert len({mark for mark, *_ in MARKS.values()} | {"_"}) == 5  # with that of the expected pace


def test_every_mark_that_is_drawn_stands_in_the_key_with_its_count_and_no_other(stood):
    [key] = stood.legends
    assert sorted(key_of(key)) == sorted([
        "Range of its own pace", "Expected of wounds like it", "Slow (2)", "Not clear yet (1)", "As expected (1)",
        "Fast (1)",
    ])  # fmt: skip
    [few] = standing_figure(standing_of(open_wound(1, FAST))).legends
    assert sorted(key_of(few)) == ["Expected of wounds like it", "Fast (1)", "Range of its own pace"]


def test_the_key_shows_the_marks_that_are_drawn(stood):
    [key] = stood.legends
    lines = {name.partition(" (")[0]: line for name, line in zip(key_of(key), key.legend_handles, strict=True)}
    lines.pop("Range of its own pace")
    expected = {said: mark for mark, _, said in MARKS.values()} | {"Expected of wounds like it": "_"}
    assert {name: line.get_marker() for name, line in lines.items()} == expected


def test_the_axes_say_what_they_are_and_name_no_wound(stood):
    axis = stood.axes[0]
    assert (axis.get_xlabel(), axis.get_ylabel()) == ("Open wounds, slowest first", "Percent smaller a week")
    assert not [said for said in words_of(stood) if re.search(r"\b[WR]\d\b|Quellmoor", said)]
    [none] = lines_of(axis, linestyle="--")
    assert set(none.get_ydata()) == {0}


@pytest.mark.parametrize("rows", [[], [open_wound(1, NOT_TOLD, why=UNFRESH), open_wound(2, NOT_TOLD, why=UNFRESH)]])
def test_where_no_open_wound_is_told_the_figure_says_so(rows):
    figure = standing_figure(standing_of(*rows))
    assert [text.get_text() for text in figure.axes[0].texts] == ["No open wound can be told"]
    assert len(figure.axes[0].lines) == 0 and png(figure)


@pytest.mark.parametrize("many", [1, 6, 900])
def test_standings_stand_within_their_figure_and_apart(many):
    ways = [SLOW, EXPECTED, FAST, UNCLEAR]
    told = standing_of(*(open_wound(n, ways[n % 4], own=float(n % 31) - 9) for n in range(many)))
    figure = shown(standing_figure(told))
    assert outside(figure) == [] and overlapping(figure) == []
    low, high = figure.axes[0].get_ylim()
    assert low < told["own_low"].min() and told["own_high"].max() < high
    left, right = figure.axes[0].get_xlim()
    assert left < 0 and many - 1 < right


# --- all of them ---

DRAWN = {"smaller": smaller, "pace": lambda: pace_figure(PACES), "standing": lambda: standing_figure(EVERY_KIND)}


@pytest.mark.parametrize("name", DRAWN)
def test_a_figure_can_be_saved_and_is_the_same_twice(name):
    assert png(DRAWN[name]()) == png(DRAWN[name]()) and len(png(DRAWN[name]())) > 8_000
    assert svg(DRAWN[name]()) == svg(DRAWN[name]())


@pytest.mark.parametrize("name", DRAWN)
def test_no_figure_uses_a_forbidden_word_or_says_nan(name):
    told = " ".join(words_of(DRAWN[name]())).lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", told)] == []
    assert not re.search(r"\b(nan|inf)\b", told)


def test_nothing_given_is_changed():
    row = row_of(beside=NONE)
    frames = smaller_of(row), PACES, EVERY_KIND
    kept = [frame.copy() for frame in frames]
    smaller_figure(frames[0], row, 40, 4), pace_figure(PACES), standing_figure(EVERY_KIND)
    for now, before in zip(frames, kept, strict=True):
        pd.testing.assert_frame_equal(now, before)
