"""The figures draw the numbers they are given, say their counts and clocks, and read in grey."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb

from kit.pages.display import png
from kit.pages.figures import FILLS, INK, PAPER, STACK, closing_figure, missed_figure

WEEKS, DAYS = 4, 28

# Of 100 wounds 25 are closed from day 7 and 50 from day 14 on, 10 have died by day 14; range of the closed 40 to 65.
CURVE = """
day state            share low  high at_risk
0   closed           0.00  0.00 0.00 12
7   closed           0.25  0.10 0.35 9
14  closed           0.50  0.40 0.65 5
0   died             0.00  0.00 0.00 12
7   died             0.00  0.00 0.00 9
14  died             0.10  0.05 0.20 5
0   open             1.00  1.00 1.00 12
7   open             0.75  0.60 0.90 9
14  open             0.40  0.30 0.50 5
"""


def curve_of(group):
    head, *lines = [line.split() for line in CURVE.strip().splitlines()]
    drawn = pd.DataFrame(lines, columns=head).astype({c: float for c in head if c != "state"})
    rest = pd.DataFrame(
        [(day, state, 0.0, 0.0, 0.0, 0) for state in ("hospital", "left", "surgical_closure") for day in (0, 7, 14)],
        columns=head,
    )
    return pd.concat([drawn, rest], ignore_index=True).assign(group=group, clock="first session")


def groups_of(drawn_to=DAYS, **drawn):
    """Groups by name, each drawn or not, to a day; the first is counted from the first measurement."""
    rows = [
        {
            "group": name,
            "clock": "first session",
            "wounds": 12 if yes else 3,
            "residents": 11 if yes else 1,
            "drawn": yes,
            "drawn_to": drawn_to if yes else 0,
            "reached": yes and drawn_to >= DAYS,
        }
        for name, yes in drawn.items()
    ]
    rows[0]["clock"] = "first measurement"
    return pd.DataFrame(rows)


def figure_of(drawn_to=DAYS, **drawn):
    groups = groups_of(drawn_to, **drawn)
    curves = pd.concat([curve_of(name) for name, yes in drawn.items() if yes] or [curve_of("x").iloc[:0]])
    return closing_figure(curves, groups, WEEKS)


def panels(figure):
    return [axis for axis in figure.axes if axis.get_title(loc="left")]


def words_of(figure):
    """Everything a figure says outside its axes' ticks, with single blanks."""
    texts = [*figure.texts, *(text for axis in figure.axes for text in axis.texts)]
    return " ".join(" ".join(text.get_text() for text in texts).split())


def edge(band, day, low_or_high):
    """The lower or upper edge of a filled band at a day, in wounds of 100."""
    corners = band.get_paths()[0].vertices
    there = corners[np.isclose(corners[:, 0], day / 7)][:, 1]
    return {"low": there.min, "high": there.max}[low_or_high]()


# --- where wounds stood ---


def test_every_group_large_enough_has_a_panel_with_its_counts_and_its_clock():
    told = panels(figure_of(everybody=True, ultrasound=False, monopolar=True))
    titles = [" ".join(axis.get_title(loc="left").split()) for axis in told]
    assert titles == ["Everybody 12 wounds, 11 residents", "Monopolar 12 wounds, 11 residents"]
    clocks = [" ".join(axis.get_xlabel().split()) for axis in told]
    assert clocks == ["Weeks from first measurement", "Weeks from first session"]


def test_a_name_with_a_dollar_sign_is_drawn_as_it_stands():
    figure = figure_of(**{r"everybody at $\frac$": True, "ultrasound": False})
    assert png(figure)
    assert r"$\frac$" in panels(figure)[0].get_title(loc="left")


def test_a_group_too_small_is_counted_and_not_drawn():
    figure = figure_of(everybody=True, ultrasound=False)
    assert len(panels(figure)) == 1
    assert "Too few to draw Ultrasound: 3 wounds" in words_of(figure)


def test_where_no_group_is_large_enough_the_figure_says_so():
    figure = figure_of(everybody=False, ultrasound=False)
    assert figure.axes == []
    assert words_of(figure) == "Too few wounds to draw a curve"


@pytest.mark.parametrize(
    ("day", "closed", "died"),
    [
        (0, 0, 0),
        (6, 0, 0),
        (7, 25, 0),
        (13, 25, 0),
        (14, 50, 10),
        (DAYS, 50, 10),
        (DAYS + 3, 50, 10),
    ],  # a step holds until the next
)
def test_bands_stand_on_each_other_and_fill_the_hundred(day, closed, died):
    [panel] = panels(figure_of(everybody=True))
    bands = dict(zip(STACK, panel.collections, strict=True))
    assert edge(bands["closed"], day, "low") == 0
    assert edge(bands["closed"], day, "high") == pytest.approx(closed)
    assert edge(bands["open"], day, "low") == pytest.approx(closed)
    assert edge(bands["open"], day, "high") == pytest.approx(100 - died)
    assert edge(bands["died"], day, "low") == pytest.approx(100 - died)
    assert edge(bands["died"], day, "high") == pytest.approx(100)


def test_dashed_lines_are_the_range_of_the_share_closed():
    [panel] = panels(figure_of(everybody=True))
    dashed = [line for line in panel.lines if line.is_dashed()]
    assert [line.get_ydata()[-1] for line in dashed] == [40, 65]
    assert [line.get_ydata()[10] for line in dashed] == [10, 35]  # day 10 is still that of day 7


def test_the_lower_dashed_line_is_white_on_the_dark_and_the_upper_is_ink():
    [panel] = panels(figure_of(everybody=True))
    assert [line.get_color() for line in panel.lines if line.is_dashed()] == [PAPER, INK]


def test_dashed_lines_begin_where_a_wound_has_closed():
    [panel] = panels(figure_of(everybody=True))
    for line in panel.lines:
        assert np.isnan(line.get_ydata()[:7]).all() and np.isfinite(line.get_ydata()[7:]).all()  # first closed: day 7


def test_a_curve_ends_on_the_day_to_which_it_is_drawn():
    [panel] = panels(figure_of(drawn_to=16, everybody=True))
    bands = dict(zip(STACK, panel.collections, strict=True))
    assert {band.get_paths()[0].vertices[:, 0].max() for band in bands.values()} == {16 / 7}
    assert {line.get_xdata()[-1] for line in panel.lines} == {16 / 7}
    assert edge(bands["closed"], 16, "high") == pytest.approx(50)
    assert panel.get_xticklabels()[-1].get_text().split() == ["4", "(–)"]  # nobody is counted beyond its end


def test_a_curve_that_reaches_the_horizon_is_drawn_four_days_on():
    [panel] = panels(figure_of(everybody=True))
    assert {line.get_xdata()[-1] for line in panel.lines} == {(DAYS + 3) / 7}  # days 28, 29, 30 and 31


def test_wounds_still_in_view_stand_under_the_weeks():
    [panel] = panels(figure_of(everybody=True))
    ticks = [label.get_text().split() for label in panel.get_xticklabels()]
    assert ticks[0] == ["0", "(12)"] and ticks[-1] == ["4", "(5)"]


def test_every_panel_has_the_same_scale():
    told = panels(figure_of(everybody=True, monopolar=True))
    assert {panel.get_ylim() for panel in told} == {(0, 100)}
    [(first, last)] = {panel.get_xlim() for panel in told}
    assert first == 0 and last >= WEEKS


def test_the_key_names_what_happened_and_nothing_else():
    [key] = figure_of(everybody=True).legends
    assert [text.get_text() for text in key.get_texts()] == ["Closed", "Still open", "Died"]
    assert "the range of the share closed" in key.get_title().get_text()


def test_no_two_neighbours_look_alike_in_grey():
    def lightness(colour):
        return np.dot(to_rgb(colour), (0.2126, 0.7152, 0.0722))  # Rec. 709 luma

    for (fill, hatch), (next_fill, next_hatch) in zip(list(FILLS.values()), list(FILLS.values())[1:], strict=False):
        assert abs(lightness(fill) - lightness(next_fill)) > 0.08 or hatch != next_hatch


def test_the_figure_of_the_invented_study_draws_the_shares_of_its_groups(found, study):
    _, description = found
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    drawn = description.groups[description.groups["drawn"]]
    assert set(drawn["reached"]) == {True, False}
    for panel, row in zip(panels(figure), drawn.itertuples(), strict=True):
        bands = dict(zip(STACK, panel.collections, strict=True))
        curve = description.curves[
            (description.curves["group"] == row.group) & (description.curves["day"] <= row.drawn_to)
        ]
        last = curve[curve["state"] == "closed"]["share"].iloc[-1]
        share = row.closed_share if row.reached else last
        assert edge(bands["closed"], row.drawn_to, "high") == pytest.approx(100 * share)
        assert edge(bands["died"], row.drawn_to, "high") == pytest.approx(100)
    assert len(png(figure)) > 10_000


# --- why sessions were missed ---


def reasons_of(**counts):
    return pd.DataFrame([(name, *pair) for name, pair in counts.items()], columns=["reason", "missed", "shortened"])


def test_bars_are_as_long_as_what_was_missed_and_what_was_not_full():
    [axis] = missed_figure(reasons_of(refused=(20, 3), on_hold=(4, 0), staff=(0, 2))).axes
    lengths = [bar.get_width() for bar in axis.patches]
    assert lengths == [23, 4, 2, 20, 4, 0]  # missed and shortened together, then missed alone over it
    assert [label.get_text() for label in axis.get_yticklabels()] == ["Refused", "On hold", "Staff"]


def test_the_two_kinds_of_bar_can_be_told_apart_and_are_explained():
    [axis] = missed_figure(reasons_of(refused=(20, 3))).axes
    both, missed = (bar.get_facecolor() for bar in axis.patches)
    assert sum(both[:3]) - sum(missed[:3]) > 0.8
    assert re.search(r"missed \(dark\).*shortened \(light\)", axis.get_xlabel())


def test_sessions_are_counted_in_whole_numbers():
    figure = missed_figure(reasons_of(refused=(1, 1)))
    png(figure)
    assert all(float(tick).is_integer() for tick in figure.axes[0].get_xticks())


def test_where_nothing_was_missed_the_figure_says_so():
    figure = missed_figure(reasons_of())
    assert figure.axes == []
    assert words_of(figure) == "No session was missed or shortened"
