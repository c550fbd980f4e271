"""Sentences, tables and figures of costs say and draw the numbers they are given: money, gain and doubt in order."""

import re
from dataclasses import replace

import matplotlib.colors
import numpy as np
import pandas as pd
import pytest

from kit.context.costs import ANY, TOTAL, costs, costs_by_regimen
from kit.context.gain import settle
from kit.context.plane import LESS_FEWER, LESS_MORE, MORE_FEWER, MORE_MORE
from kit.context.resources import BEGUN, COMPARED, TREATED, Resources
from kit.context.worth import NO_SAVINGS, UNPRICED
from kit.pages.cost_figures import FILLS, curve_figure, plane_figure, stack_figure
from kit.pages.cost_tables import break_even_table, gain_table, money_table, plane_table, units_table
from kit.pages.display import png, table_html
from kit.statements import costs as said
from kit.statements.money import money, money_range
from kit.statements.worth import break_even, gained, had_nobody_left
from kit.words import FORBIDDEN
from tests.exports import PLAN, SAFE_HARBOR, plan_of
from tests.test_comparison_figures import outside, overlapping
from tests.test_worth import drawn
from tests.told import answers_of, row_of

NAMED = (
    "staff_minute = 1\nmonopolar_set = 6\nbipolar_set = 12\nultrasound_set = 3\ndressing = 10\ndevice_month = 100\n"
    "devices = 1\nwillingness_to_pay = 2000\n"
)
OWN = plan_of(f"{PLAN}\n[costs]\n{NAMED}")
INVENTED = plan_of(PLAN)


def plan(**costs):
    return OWN.model_copy(update={"costs": OWN.costs.model_copy(update=costs)})


def taken(group=COMPARED, **changed):
    """Four wounds, two under stimulation, two under ultrasound: 11 sessions and 240 minutes each, 10 weeks treated."""
    columns = {
        "resident": ["R1", "R1", "R2", "R3"], "regimen": ["stimulation"] * 2 + ["ultrasound"] * 2, "sessions": 11,
        "staff_minutes": 240.0, "staff_filled": 0, "staff_unsaid": 0, "monopolar_sets": [11.0, 0, 0, 0],
        "bipolar_sets": [0, 11.0, 0, 0], "ultrasound_sets": [0, 0, 11.0, 11.0], "sets_filled": 0, "sets_unsaid": 0,
        "unpriced": 0, "dressings_beyond": [4.0, 0, 0, 0], "dressings_filled": 0, "dressings_unsaid": 0,
        "device_months": 0.5, "treated_weeks": 10, "gone_early": [True, False, False, False],
    }  # fmt: skip
    own = {name: value for name, value in changed.items() if name in columns}
    wounds = pd.DataFrame({"wound": ["W1", "W2", "W3", "W4"], **columns} | own)
    other = {"changes_a_week": 3.0, "changes_from": "ordered"}
    other |= {name: value for name, value in changed.items() if name not in columns}
    return Resources(group, wounds, wounds[["wound"]].assign(week=0), horizon_weeks=12, **other)


def nobody():
    full = taken()
    return replace(full, wounds=full.wounds.head(0))


NOISE = np.random.default_rng(7).normal(size=(2, 300))


def around(closed=0.12, dollars=300.0, spread=(0.02, 20.0), limits=(0.08, 0.16), weeks=0.5, plan=OWN, own=None, **more):
    """Gain beside money about a point, with this spread."""
    given = drawn(closed + spread[0] * NOISE[0], dollars + spread[1] * NOISE[1], (closed, dollars), 40, weeks, limits)
    return settle(given, own or taken(), plan, **more)


UNSURE = around(0.02, 300.0, (0.06, 20.0), (-0.10, 0.14))
SURE = around()
UNTOLD = around(why="a warning stops it")
ANSWERS, FEW = answers_of(row_of(starters=56)), answers_of(row_of(starters=20))


def everything(worth=SURE, own=None, plan=OWN, answers=ANSWERS):
    own = own or taken()
    return said.costs_said(costs_by_regimen(own, plan), own, worth, answers, plan)


# --- amounts ---


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        (0, "$0"), (0.9, "$0.90"), (3, "$3"), (9.996, "$10"), (12.4, "$12"), (1234.5, "$1,234"), (-180.4, "−$180"),
        (-0.001, "$0"), (float("nan"), "–"),
    ],
)  # fmt: skip
def test_an_amount_is_whole_from_ten_on_and_has_a_true_minus(amount, words):
    assert money(amount, OWN) == words


def test_an_amount_without_a_range_says_none():
    assert money_range(310, 270, 350.4, OWN) == "$310 (range $270 to $350)"
    assert money_range(310, float("nan"), float("nan"), OWN) == "$310"
    assert money(310, plan(currency="EUR ")) == "EUR 310"


# --- sentences ---


def test_money_comes_first_then_gain_then_doubt():
    told = everything()
    assert told["about"].drop_duplicates().tolist() == [said.MONEY, said.GAIN, said.DOUBT]
    assert (told["about"] == said.GAIN).sum() == 4


def test_what_a_started_wound_took_by_hand():
    table = costs(taken(), OWN)
    # Each: 240 minutes at 1; sets (11 x 6 + 11 x 12 + 22 x 3) / 4 = 66; dressings 4 x 10 / 4; half a month at 100.
    assert said.spent(table, taken(), OWN) == (
        "A started wound took 11 sessions and 240 minutes of staff in its first 12 weeks, or until it ended: $366, of "
        "which $50 are fixed (devices). It rests on 4 wounds on 3 residents, treated in 40 weeks; such a week cost $37."
    )


def test_of_the_quarter_everything_that_was_spent_is_said():
    table = costs(taken(TREATED), OWN)
    assert said.spent(table, taken(TREATED), OWN) == (
        "In the quarter 4 wounds on 3 residents had 44 sessions and 960 minutes of staff: $1,464, of which $200 are "
        "fixed (devices)."
    )
    begun = said.spent(costs(taken(BEGUN), OWN), taken(BEGUN), OWN)
    assert begun.startswith("A wound that started in the quarter took 11 sessions and 240 minutes of staff so far")


def test_without_a_calendar_there_is_no_quarter_and_no_part_of_a_device():
    rules, own = plan_of(SAFE_HARBOR), taken(TREATED, device_months=np.nan)
    words = said.spent(costs(own, rules), own, rules)
    assert words.startswith("In the whole export 4 wounds") and "fixed" not in words and "at least" in words
    table = money_table(costs(own, rules), rules)
    assert table.loc[table["Kind"] == "Fixed", "Amount"].tolist() == ["not computable under this basis"]


def test_minutes_that_nobody_recorded_are_said_and_not_nought():
    own = taken(staff_minutes=0.0, staff_unsaid=11)
    table = costs(own, OWN)
    words = said.spent(table, own, OWN)
    assert "took 11 sessions (staff minutes are not recorded) in its first" in words and "at least $126" in words
    assert money_table(table, OWN).loc[0, "Amount"] == "not recorded"
    assert units_table(own)["Staff minutes"].tolist() == ["–"] * 3
    assert "44 sessions have no staff minutes, and neither has any session like them: not counted." in said.doubts(
        own, UNTOLD, OWN
    )


def test_no_wound_is_said_as_none_and_nothing_else_of_it():
    told = everything(UNTOLD, nobody(), INVENTED)
    assert told.loc[told["about"] == said.MONEY, "sentence"].tolist() == [said.NOTHING]
    assert told.loc[told["about"] == said.DOUBT, "sentence"].tolist() == [said.PAYMENT]


def test_those_who_left_are_counted_before_the_range_had_nobody_left():
    assert had_nobody_left(SURE, taken(), OWN).startswith(
        "1 wound left, or its record ended, before that. Had nobody left, treatment of a started wound would cost $300"
    )
    assert had_nobody_left(SURE, taken(gone_early=[True, True, False, False]), OWN).startswith(
        "2 wounds left, or their"
    )
    assert had_nobody_left(SURE, taken(gone_early=False), OWN).startswith("Had nobody left")


def test_gain_is_said_with_its_range_and_its_counts():
    words = gained(SURE, ANSWERS, OWN)
    assert words[0].startswith(
        "Beside wounds like them without any modality, 12 more (range 8 more to 16 more) of 100 had closed by week 12; "
        "on average they were closed 0.5 weeks sooner"
    )
    assert words[0].endswith("It rests on 56 wounds that started.")
    # Half a week at three changes of $10.
    assert (
        words[1].startswith("A started wound cost $285 (range ")
        and "$300 of treatment less $15 of dressing" in words[1]
    )


def test_a_whole_range_on_one_side_is_said_as_far_as_the_number_of_starts_allows():
    # 2000 x 0.12 less 285.
    assert "gain less money would be −$45 (range" in gained(SURE, ANSWERS, OWN)[2]
    dear = around(dollars=900.0)
    assert gained(dear, ANSWERS, OWN)[2].endswith("At these prices the whole range says that money outweighs gain.")
    cheap = around(dollars=30.0, spread=(0.02, 2.0))
    assert gained(cheap, ANSWERS, OWN)[2].endswith("At these prices the whole range says that gain outweighs money.")
    assert gained(dear, FEW, OWN)[2].endswith("Fewer than 25 wounds started: it is described, and no more.")
    both = around(0.15, 285.0, (0.06, 20.0), (0.02, 0.28))
    assert gained(both, ANSWERS, OWN)[2].endswith("these records do not say which outweighs the other.")


def test_a_ratio_is_told_where_the_region_lies_in_one_quarter_and_else_how_draws_lie():
    # 285 over 0.12.
    assert gained(SURE, ANSWERS, OWN)[3].startswith("One more wound closed cost $2,375 (range $")
    unsure = gained(UNSURE, ANSWERS, OWN)[3]
    assert unsure.startswith("No price for one more wound closed is told") and "$" not in unsure
    shares = UNSURE.quadrants.set_index("quadrant")["of_draws"]
    assert f"{100 * shares[MORE_MORE]:.0f} lie where more close at more cost" in unsure
    assert f"{100 * shares[MORE_FEWER]:.0f} lie where fewer close at more cost" in unsure


@pytest.mark.parametrize(
    ("closed", "dollars", "where", "words"),
    [
        (-0.12, -300.0, LESS_FEWER, "One wound fewer closed saved $"),
        (0.12, -300.0, LESS_MORE, "less money and more closings, so no price"),
        (-0.12, 300.0, MORE_FEWER, "more money and fewer closings, so no price"),
    ],
)
def test_the_other_quarters_are_said_in_words(closed, dollars, where, words):
    found = around(closed, dollars, limits=(closed - 0.04, closed + 0.04), weeks=0.0)
    assert found.quadrants.loc[found.quadrants["whole_region"], "quadrant"].tolist() == [where]
    assert words in gained(found, ANSWERS, OWN)[3]


def test_where_nothing_may_be_compared_no_gain_is_said_and_the_reason_is():
    held = answers_of(row_of(told=False, withheld_for="a warning stops it."))
    assert gained(UNTOLD, held, OWN) == ["What treatment gained is not set beside its money: a warning stops it."]
    few = answers_of(row_of(told=False, starters=9), starters=9)
    assert gained(UNTOLD, few, OWN) == [
        "What treatment gained is not set beside its money: wounds that started, 9 of the 15 needed."
    ]
    assert gained(around(why=UNPRICED), ANSWERS, OWN)[0].endswith("so too much money is missing.")


def test_what_it_takes_to_pay_is_rounded_up():
    # 100 x 300 / 2000 = 15 of 100; 300 / (3 x 10) = 10 weeks.
    first, second = break_even(SURE, OWN)
    assert first.startswith(
        "At $2,000 for one more wound closed, it pays for itself only if 15 more wounds in 100 close ("
    )
    assert "closed 10.0 weeks sooner (range" in second and second.endswith("on average.")
    assert "only if 16 more wounds" in break_even(around(dollars=302.0), OWN)[0]
    assert "only if at least 15 more" in break_even(around(own=taken(unpriced=1)), OWN)[0]


def test_what_cannot_pay_is_said_so():
    dear = plan(willingness_to_pay=200)
    assert "which is more than there are: at that worth it cannot." in break_even(around(plan=dear), dear)[0]
    light = plan(dressing=5)
    assert break_even(around(plan=light), light)[1].endswith("; within 12 weeks they cannot.")
    free = plan(willingness_to_pay=0, dressing=0)
    assert break_even(around(plan=free), free) == [
        "The plan sets no worth on one more wound closed, so none can pay for treatment."
    ]
    gratis = around(dollars=0.0, spread=(0.02, 0.0), weeks=0.0)
    assert break_even(gratis, OWN) == ["Treatment cost nothing at these prices, so there is nothing to pay for."]


def test_invented_prices_are_named_and_the_plans_own_are_not():
    assert said.invented(OWN) == ""
    words = said.invented(INVENTED)
    assert words.startswith("A staff minute, a monopolar set,") and words.endswith(
        "put your own in the plan's [costs]."
    )
    one = plan_of(f"{PLAN}\n[costs]\n{NAMED.replace('devices = 1', '')}")
    assert said.invented(one).startswith("Devices a facility is invented")


@pytest.mark.parametrize(
    ("lacks", "words"),
    [
        (
            "staff_filled",
            "Staff minutes of 8 of 44 sessions are not recorded and taken as the mean of those like them.",
        ),
        ("sets_filled", "The set-up of 8 of 44 sessions is not recorded; their sets are taken as those of the others."),
        ("dressings_filled", "8 weeks had no order of dressing changes and are taken as the mean of the others."),
        ("sets_unsaid", "8 sessions have no set-up, and neither has any other: not counted."),
        ("unpriced", "8 sessions have another modality, whose supplies have no price: not counted."),
    ],
)
def test_what_was_filled_and_what_is_not_counted_is_said_with_its_number(lacks, words):
    assert words in said.doubts(taken(**{lacks: 2}), SURE, OWN)
    assert words not in said.doubts(taken(), SURE, OWN)


def test_what_the_money_does_not_hold_and_payment_are_said():
    words = said.doubts(taken(changes_from=""), around(left_out=(NO_SAVINGS,)), OWN)
    assert f"The money does not hold {NO_SAVINGS}." in words and words[-1] == said.PAYMENT
    assert "Dressing changes are taken as 3.0 a week, as ordered." in said.doubts(taken(), SURE, OWN)
    assert said.doubts(taken(changes_from="recorded"), SURE, OWN)[-4].endswith("as recorded, so perhaps too few.")


# --- tables ---


def test_the_table_of_units_has_a_row_for_all_and_for_each_regimen():
    table = units_table(taken())
    assert table[["Started", "Wounds", "Weeks treated"]].to_numpy().tolist() == [
        ["Any modality", 4, 40], ["Stimulation", 2, 20], ["Ultrasound", 2, 20],
    ]  # fmt: skip
    assert table["Monopolar sets"].tolist() == ["2.8", "5.5", "0"]


def test_the_table_of_money_marks_invented_prices_and_adds_up():
    table = money_table(costs(taken(), OWN), OWN).set_index("Item")
    assert table["Amount"].tolist() == ["$960", "$66", "$132", "$66", "$40", "$200", "$1,464"]
    assert table["Each"].tolist() == ["$1", "$6", "$12", "$3", "$10", "$100", "–"]
    assert table.loc["Together", "A started wound"] == "$366" and table.loc["Together", "A week treated"] == "$37"
    marked = money_table(costs(taken(), INVENTED), INVENTED, a_wound=False)
    assert marked["Each"].tolist()[0] == "$0.90*" and "A started wound" not in marked
    assert money_table(costs(nobody(), OWN), OWN).empty and units_table(nobody()).empty


def test_the_table_of_gain_has_the_treatment_alone_where_nothing_is_compared():
    told, alone = gain_table(SURE, OWN), gain_table(UNTOLD, OWN)
    assert told["A started wound"].tolist()[:2] == ["Closed by the horizon, of 100", "Weeks closed sooner"]
    assert told["Amount (range)"].iloc[0] == "12 more (range 8 more to 16 more)"
    assert alone["A started wound"].tolist() == told["A started wound"].tolist()[2:6]
    assert gain_table(around(own=taken(unpriced=1)), OWN)["Amount (range)"].str.startswith("at least").sum() == 4


def test_the_tables_of_draws_and_of_what_pays():
    table = plane_table(SURE)
    assert table.loc[table["The whole 95% region"] == "lies here", "A started wound"].tolist() == [
        "More close at more cost"
    ]
    assert plane_table(UNTOLD).empty
    pays = break_even_table(SURE)
    assert pays["Needed (range)"].str.split(" ").str[0].tolist() == ["15", "10.0"] and pays["At most"].tolist() == [
        "100",
        "12",
    ]
    assert break_even_table(around(own=taken(changes_from="recorded")))["Needed (range)"].iloc[1] == "–"


# --- figures ---


def test_the_parts_of_a_bar_are_as_long_as_their_amounts():
    table = costs_by_regimen(taken(), OWN)
    axis = stack_figure(table, OWN).axes[0]
    bars = {}
    for patch in axis.patches:
        bars.setdefault(round(patch.get_y() + patch.get_height() / 2), []).append((patch.get_x(), patch.get_width()))
    amounts = table[table["regimen"] == ANY].set_index("item")["a_wound"]
    lengths = [amounts[item] for item in FILLS if amounts[item] > 0]
    # Three bars, all wounds on top.
    assert [width for _, width in bars[2]] == pytest.approx(lengths)
    assert [left for left, _ in bars[2]] == pytest.approx(np.cumsum([0, *lengths[:-1]]))
    assert sum(width for _, width in bars[2]) == pytest.approx(amounts[TOTAL])
    assert [text.get_text().strip() for text in axis.texts][-1] == "$366"


def test_neighbours_in_a_bar_differ_in_grey_or_in_hatching():
    kinds = list(FILLS.values())
    for (one, first, _), (other, second, _) in zip(kinds, kinds[1:], strict=False):
        greys = [np.dot(matplotlib.colors.to_rgb(fill), (0.299, 0.587, 0.114)) for fill in (one, other)]
        assert first != second or abs(greys[0] - greys[1]) > 0.15


def test_the_plane_draws_every_draw_the_region_and_the_worth_of_a_closing():
    axis = plane_figure(SURE, OWN, 12).axes[0]
    points, edge, middle = axis.lines[:3]
    assert np.column_stack(points.get_data()) == pytest.approx(SURE.draws.to_numpy() * [100, 1])
    assert np.column_stack(edge.get_data()) == pytest.approx(SURE.region.to_numpy() * [100, 1])
    assert np.ravel(middle.get_data()).tolist() == pytest.approx([12, 285])
    worth_line = axis.lines[-1]
    slope = np.diff(worth_line.get_ydata()) / np.diff(worth_line.get_xdata())
    assert slope == pytest.approx([2000 / 100])
    left, right = axis.get_xlim()
    low, high = axis.get_ylim()
    assert left < 0 < right and low < 0 < high


@pytest.mark.parametrize(
    "worth", [SURE, UNSURE, around(-0.12, -300.0, limits=(-0.16, -0.08), weeks=0.0), around(dollars=9000.0)]
)
def test_everything_written_in_the_plane_stands_inside_and_apart(worth):
    figure = plane_figure(worth, OWN, 12)
    assert outside(figure) == [] and overlapping(figure) == []


def test_everything_written_at_the_other_figures_stands_inside_and_apart():
    for table in (costs_by_regimen(taken(), OWN), costs_by_regimen(taken(unpriced=1), INVENTED), costs(taken(), OWN)):
        figure = stack_figure(table, OWN)
        assert outside(figure) == [] and overlapping(figure) == []
    figure = curve_figure(SURE, OWN)
    assert outside(figure) == [] and overlapping(figure) == []
    assert figure.axes[0].lines[0].get_ydata() == pytest.approx(100 * SURE.curve["pays_share"].to_numpy())


def test_the_worth_of_a_closing_is_marked_where_it_is_invented():
    titles = [plane_figure(SURE, rules, 12).axes[0].get_title(loc="left") for rules in (OWN, INVENTED)]
    assert ["*" in title for title in titles] == [False, True]


def test_where_nothing_is_compared_or_spent_there_is_no_figure():
    assert plane_figure(UNTOLD, OWN, 12) is None and curve_figure(UNTOLD, OWN) is None
    assert stack_figure(costs_by_regimen(nobody(), OWN), OWN) is None


def test_the_same_figure_twice_is_the_same_picture():
    assert png(plane_figure(SURE, OWN, 12)) == png(plane_figure(SURE, OWN, 12))


# --- words ---


def test_no_word_claims_more_than_the_numbers_carry():
    shown = []
    for worth in (SURE, UNSURE, UNTOLD, around(-0.12, -300.0, limits=(-0.16, -0.08), weeks=0.0)):
        own = taken(staff_filled=1, sets_unsaid=1, unpriced=1, dressings_filled=1)
        shown += everything(worth, own, INVENTED)["sentence"].tolist()
        tables = (gain_table(worth, OWN), plane_table(worth), break_even_table(worth), units_table(own))
        shown += [table_html(table) for table in (*tables, money_table(costs(own, INVENTED), INVENTED))]
    for group in (BEGUN, TREATED):
        shown.append(said.spent(costs(taken(group), OWN), taken(group), OWN))
    figure = plane_figure(SURE, INVENTED, 12)
    shown += [text.get_text() for text in figure.axes[0].texts] + [figure.axes[0].get_title(loc="left")]
    text = " ".join(shown).lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
