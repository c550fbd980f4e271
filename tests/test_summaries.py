"""What is computed by hand for one wound: percent reduction and Gilman's rate, two and four weeks after entry."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.trajectories.summaries import AFTER, MEASURES, summaries, summary_table
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

EXACT = 1e-9  # rounding of binary fractions only
FOUR_DECIMALS = 5e-5  # the published figure is printed to four decimals
HEADER = "wound day length width area state\n"
ELLIPSE = PLAN + '[sizes]\narea = "ellipse"\n'
TWO = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"


def of(rows: str, **tables) -> pd.DataFrame:
    study = drawn(HEADER + rows, **tables)
    return summaries(study.episodes, study.measurements, study.plan)


def one(rows: str, **tables) -> dict[str, float]:
    """The measures of the only wound, first measured on day 10: two weeks later is day 24, four weeks day 38."""
    found = of(rows, **tables)
    assert found["wound"].tolist() == ["W1"]
    return found.iloc[0].to_dict()


# --- what is computed ---


@pytest.mark.parametrize(
    ("plan", "before", "after", "distance"),
    [
        (PLAN, "4 3", "3 2", 0.5),  # 2 (12 - 6) / (14 + 10)
        (ELLIPSE, "4 4", "3 3", 0.5),  # a circle: 2 (12.5664 - 7.0686) / (12.5664 + 9.4248)
        (ELLIPSE, "4 3", "3 2", 0.4964),  # 2 (9.4248 - 4.7124) / (11.0517 + 7.9327)
    ],
)
def test_gilmans_rate_is_the_distance_over_the_weeks_between_the_measurements(plan, before, after, distance):
    """Gilman TH, Wounds 1990;2:95-101, worked for three shapes: 0.125, 0.125 and 0.124 cm a week over four weeks."""
    found = one(f"W1 10 {before} . open\nW1 38 {after} . open\n", plan=plan)
    assert found["gilman_4"] == pytest.approx(distance / 4, abs=FOUR_DECIMALS)
    assert np.isnan(found["gilman_2"])


@pytest.mark.parametrize("plan", [PLAN, ELLIPSE])
def test_percent_reduction_is_the_same_by_either_rule(plan):
    """4 x 3 to 3 x 2: half of it, since pi/4 cancels."""
    assert one("W1 10 4 3 . open\nW1 38 3 2 . open\n", plan=plan)["reduction_4"] == pytest.approx(50, abs=EXACT)


def test_a_fifth_less_every_week_is_a_reduction_of_59_percent_in_four():
    """12, 9.6, 7.68, 6.144, 4.9152: 100 (1 - 0.8^2) = 36 and 100 (1 - 0.8^4) = 59.04."""
    areas = (12, 9.6, 7.68, 6.144, 4.9152)
    found = one("".join(f"W1 {10 + 7 * week} . . {area} open\n" for week, area in enumerate(areas)))
    assert found["reduction_2"] == pytest.approx(36, abs=EXACT)
    assert found["reduction_4"] == pytest.approx(59.04, abs=EXACT)


def test_a_wound_that_grew_has_both_below_zero():
    """4 x 3 to 5 x 3: -25%; 2 (12 - 15) / (14 + 16) = -0.2 cm in two weeks."""
    found = one("W1 10 4 3 . open\nW1 24 5 3 . open\n")
    assert found["reduction_2"] == pytest.approx(-25, abs=EXACT)
    assert found["gilman_2"] == pytest.approx(-0.1, abs=EXACT)


def test_closed_by_then_is_a_hundred_percent_and_area_and_perimeter_nought_on_that_day():
    """Closed three weeks after entry: 2 x 12 / 14 = 1.7143 cm in 3 weeks. At two weeks it was 3 x 2."""
    found = one("W1 10 4 3 . open\nW1 24 3 2 . open\nW1 31 . . . closed\n")
    assert found["reduction_2"] == pytest.approx(50, abs=EXACT)
    assert found["reduction_4"] == 100
    assert found["gilman_4"] == pytest.approx(24 / 14 / 3, abs=EXACT)


def test_gilmans_rate_is_over_the_days_that_passed_and_not_over_the_weeks_asked():
    """Measured on day 22, 12 days after entry: 0.5 cm in 12/7 weeks."""
    found = one("W1 10 4 3 . open\nW1 22 3 2 . open\n")
    assert found["gilman_2"] == pytest.approx(0.5 / (12 / 7), abs=EXACT)


# --- which size ---


@pytest.mark.parametrize(("day", "reduction"), [(17, np.nan), (18, 50), (24, 50), (25, np.nan)])
def test_the_size_is_fresh_and_not_from_later(day, reduction):
    """Two weeks after entry is day 24; fresh for seven days are those of days 18 to 24."""
    found = one(f"W1 10 4 3 . open\nW1 {day} 3 2 . open\n")
    assert found["reduction_2"] == pytest.approx(reduction, abs=EXACT, nan_ok=True)


def test_of_several_fresh_sizes_the_last_is_taken():
    assert one("W1 10 4 3 . open\nW1 20 3 2 . open\nW1 23 3 3 . open\n")["reduction_2"] == pytest.approx(25, abs=EXACT)


def test_the_entry_size_is_never_the_later_one_however_long_it_is_fresh():
    found = one("W1 10 4 3 . open\nW1 60 3 2 . open\n", plan=PLAN + "[sizes]\nfresh_days = 28\n")
    assert [found[name] for name in MEASURES] == pytest.approx([np.nan] * 4, nan_ok=True)


def test_a_closing_that_did_not_hold_is_no_size():
    """Closed on day 24 and open again on day 30: at two weeks the size of day 20 stands."""
    found = one("W1 10 4 3 . open\nW1 20 3 2 . open\nW1 24 . . . closed\nW1 30 3 3 . open\n")
    assert found["reduction_2"] == pytest.approx(50, abs=EXACT)


def test_a_traced_wound_has_a_reduction_and_no_rate():
    found = one("W1 10 . . 12 open\nW1 38 . . 6 open\n")
    assert found["reduction_4"] == pytest.approx(50, abs=EXACT)
    assert np.isnan(found["gilman_4"])


def test_a_length_beside_a_width_of_nought_makes_no_perimeter():
    """The size is the area recorded; a perimeter of 2 (4 + 0) = 8 cm would be no wound's."""
    found = one("W1 10 4 0 12 open\nW1 38 3 0 6 open\n")
    assert found["reduction_4"] == pytest.approx(50, abs=EXACT)
    assert np.isnan(found["gilman_4"])


def test_a_size_found_another_way_than_the_entry_size_is_passed_over():
    """A tracing of 9.4248 cm2 beside a rectangle of 12 would be a false 21.5%; the rectangle of day 22 stands."""
    found = one("W1 10 4 3 . open\nW1 22 4 3 . open\nW1 24 . . 9.4248 open\nW1 38 . . 9.4248 open\n")
    assert found["reduction_2"] == 0
    assert np.isnan(found["reduction_4"])


def test_without_an_entry_size_nothing_is_known_not_even_of_a_wound_that_closed():
    """Closings alone would be known: wounds never sized would all count as closed."""
    found = one("W1 10 . . . open\nW1 24 3 2 . open\nW1 38 . . . closed\n")
    assert [found[name] for name in ("reduction_2", "reduction_4", "gilman_4")] == pytest.approx(
        [np.nan] * 3, nan_ok=True
    )


# --- who is read ---


@pytest.mark.parametrize("reason", ["died", "left", "hospital"])
@pytest.mark.parametrize(("day", "reduction"), [(36, np.nan), (38, np.nan), (39, 50)])
def test_a_wound_that_ended_otherwise_by_then_is_missing(reason, day, reduction):
    """Measured on day 35; four weeks after entry is day 38."""
    departures = f"resident day reason\nR1 {day} {reason}\n"
    found = one("W1 10 4 3 . open\nW1 35 3 2 . open\n", departures=departures)
    assert found["reduction_4"] == pytest.approx(reduction, abs=EXACT, nan_ok=True)


def test_beyond_the_cut_off_nothing_is_read_not_even_a_closing():
    """Entry on day 180 and 24 days to the cut-off: two weeks can be read of both wounds, four of neither."""
    found = of("W1 180 4 3 . open\nW1 190 . . . closed\nW2 176 4 3 . open\nW2 199 3 2 . open\n", wounds=TWO)
    assert found["reduction_2"].tolist() == pytest.approx([100, np.nan], nan_ok=True)
    assert found["reduction_4"].isna().tolist() == [True, True]


def test_on_the_day_of_the_cut_off_it_is_read():
    """Entry on day 172: four weeks later is day 200, the cut-off."""
    found = of("W1 172 4 3 . open\nW1 199 3 2 . open\nW2 172 4 3 . open\nW2 190 . . . closed\n", wounds=TWO)
    assert found["reduction_4"].tolist() == pytest.approx([50, 100])


def test_without_a_calendar_a_closing_always_counts():
    found = one("W1 0 4 3 . open\nW1 10 . . . closed\n", plan=SAFE_HARBOR)
    assert (found["reduction_2"], found["reduction_4"]) == (100, 100)


def test_only_the_cohort_is_told():
    plan = PLAN + '[cohort]\nkinds = ["pressure_injury"]\n'
    wounds = "wound resident kind\nW1 R1 venous\nW2 R2 pressure_injury\n"
    found = of("W1 10 4 3 . open\nW2 10 4 3 . open\n", wounds=wounds, plan=plan)
    assert found[["wound", "resident"]].values.tolist() == [["W2", "R2"]]


def test_no_wounds_give_no_rows_and_the_same_columns():
    study = drawn(HEADER + "W1 10 4 3 . open\n")
    some = summaries(study.episodes, study.measurements, study.plan)
    none = summaries(study.episodes.iloc[:0], study.measurements.iloc[:0], study.plan)
    assert len(none) == 0
    assert none.dtypes.to_dict() == some.dtypes.to_dict()
    assert summary_table(none)[["known", "missing"]].to_numpy().sum() == 0
    assert summary_table(none).dtypes.to_dict() == summary_table(some).dtypes.to_dict()


# --- the table ---


def test_the_table_gives_median_and_quartiles_of_those_known_and_counts_the_others():
    """Of 0, 10, 20, 40 the quartiles lie a quarter of three steps in: 7.5, 15 and 25 (type 7)."""
    frame = pd.DataFrame(dict.fromkeys(MEASURES, [np.nan] * 5), dtype=float)
    table = summary_table(frame.assign(reduction_2=[40.0, 0.0, np.nan, 20.0, 10.0])).set_index("measure")
    assert table.index.tolist() == ["reduction_2", "reduction_4", "gilman_2", "gilman_4"]
    assert table.loc["reduction_2"].tolist() == [4, 1, 7.5, 15, 25]
    assert table.loc["gilman_4"].tolist() == pytest.approx([0, 5, np.nan, np.nan, np.nan], nan_ok=True)


# --- against loops, and whatever the order ---


def by_hand(wound, rows, plan, weeks):
    """Percent reduction and rate of one wound, from its measurements in the order of day."""
    due = wound["entry_day"] + 7 * weeks
    ended, nothing = wound["end_day"] <= due, (np.nan, np.nan)
    if due > plan.cutoff or (ended and wound["outcome"] not in ("closed", "open")):
        return nothing
    opened = [row for row in rows if row["state"] == "open" and row["size"] > 0]
    entry = next(row for row in opened if row["day"] == wound["entry_day"])
    around = 2 * (entry["length"] + entry["width"])
    if ended and wound["outcome"] == "closed":
        return 100.0, 2 * entry["size"] / around / ((wound["end_day"] - wound["entry_day"]) / 7)
    fresh = [row for row in opened if max(wound["entry_day"], due - plan.sizes.fresh_days) < row["day"] <= due]
    if not fresh:
        return nothing
    then = fresh[-1]
    lost, both = entry["size"] - then["size"], around + 2 * (then["length"] + then["width"])
    return 100 * lost / entry["size"], 2 * lost / both / ((then["day"] - wound["entry_day"]) / 7)


def test_the_invented_group_comes_out_as_by_loops(lifelike):
    """Its sizes are all rectangles."""
    found = summaries(lifelike.episodes, lifelike.measurements, lifelike.plan).set_index("wound")
    rows = {wound: of_wound.to_dict("records") for wound, of_wound in lifelike.measurements.groupby("wound")}
    cohort = lifelike.episodes[lifelike.episodes["in_cohort"]]
    assert found.index.tolist() == sorted(cohort["wound"])
    for weeks in AFTER:
        plain = {row["wound"]: by_hand(row, rows[row["wound"]], lifelike.plan, weeks) for _, row in cohort.iterrows()}
        for name, place in (("reduction", 0), ("gilman", 1)):
            expected = [plain[wound][place] for wound in found.index]
            np.testing.assert_allclose(found[f"{name}_{weeks}"], expected, rtol=EXACT, atol=EXACT)


@settings(deadline=None, derandomize=True, max_examples=5)
@given(st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter_and_nothing_given_is_changed(lifelike, shuffler):
    episodes, measurements = lifelike.episodes, lifelike.measurements
    mixed = [frame.sample(frac=1, random_state=shuffler.randrange(2**31)) for frame in (episodes, measurements)]
    before = [frame.copy() for frame in mixed]
    found = summaries(*mixed, lifelike.plan)
    pd.testing.assert_frame_equal(found, summaries(episodes, measurements, lifelike.plan))
    for frame, copy in zip(mixed, before, strict=True):
        pd.testing.assert_frame_equal(frame, copy)
