"""What became of wounds that started: who counts, from which day and size, and what is not said."""

import numpy as np
import pandas as pd
import pytest

from kit.context.after_start import (
    ALL_PRESSURE,
    COLUMNS,
    FEW,
    LOST_SIGHT,
    NO_CALENDAR,
    NO_KIND,
    NO_SIZES,
    STAGE_2,
    STAGES_3_4,
    after_start,
)
from kit.plan import Plan

EXACT = 1e-9  # sums of a dozen numbers
START, CUTOFF = 100, 300
FOUR = START + 28


def plan_of(basis="operations", **parts):
    windows = {} if basis == "safe_harbor" else {"quarter_begins": 200, "cutoff": CUTOFF}
    regimens = [{"name": "stimulation", "modality": "stimulation"}]
    return Plan.model_validate(
        {"program": {"name": "Invented", "basis": basis}, "windows": windows, "regimens": regimens, **parts}
    )


PLAN = plan_of()


def wounds(rows, start=START, kind="pressure_injury", stage="3", modality="stimulation"):
    """Episodes, measurements and sessions of wounds drawn as (end day, outcome, {day: size}), one resident each."""
    names = [f"W{number:02}" for number in range(len(rows))]
    episodes = pd.DataFrame(
        {
            "wound": names,
            "resident": [f"R{number:02}" for number in range(len(rows))],
            "facility": "Quellmoor",
            "kind": kind,
            "entry_stage": stage,
            "start_day": pd.array([start] * len(rows), dtype="Int64"),
            "end_day": pd.array([end for end, _, _ in rows], dtype="Int64"),
            "outcome": [outcome for _, outcome, _ in rows],
            "in_cohort": True,
            "running": False,
        }
    )
    sizes = [
        (name, day, size) for name, (_, _, course) in zip(names, rows, strict=True) for day, size in course.items()
    ]
    measurements = pd.DataFrame(sizes, columns=["wound", "day", "size"]).assign(state="open", stage=stage)
    measurements["source_row"] = range(2, len(measurements) + 2)
    sessions = pd.DataFrame({"wound": names, "day": start, "modality": modality, "status": "given"})
    return episodes, measurements, sessions


def row(frames, week=4, group=ALL_PRESSURE, modality="stimulation", plan=PLAN, draws=50):
    told = after_start(*frames, plan, weeks=(week,), draws=draws)
    return told.set_index(["modality", "stage_group"]).loc[(modality, group)]


# Six wounds of 10 cm2 at the start, each twice, so that there are twelve residents. By week 4, day 128: one closed, one
# halved, one grew to 12, one died, one left, and one is in view without a fresh size.
SIX = [
    (121, "closed", {START: 10.0}),
    (250, "open", {START: 10.0, FOUR: 5.0}),
    (250, "open", {START: 10.0, FOUR: 12.0}),
    (110, "died", {START: 10.0}),
    (115, "left", {START: 10.0}),
    (250, "open", {START: 10.0, 114: 8.0, 140: 6.0}),
]
TWELVE = SIX * 2


def test_six_wounds_by_hand_counts():
    told = row(wounds(TWELVE))
    counts = ["wounds", "residents", "closed", "died", "left", "hospital", "lost", "in_view", "sized"]
    assert told[counts].tolist() == [12, 12, 2, 2, 2, 0, 0, 6, 4]
    assert told["size_at_start"] == 10.0


def test_six_wounds_by_hand_shares_and_reductions():
    """One of six closed. Of those in view 50 and -20 are known, 15 on average, so three of them are 15 each."""
    told = row(wounds(TWELVE))
    assert told["closed_share"] == pytest.approx(1 / 6, abs=EXACT)
    assert told["mean_reduction"] == pytest.approx((100 + 3 * 15) / 4, abs=EXACT)
    assert told["mean_reduction_with_deaths"] == pytest.approx((100 + 3 * 15 + 0) / 5, abs=EXACT)
    # Of four, 1 is closed and half of three are at least 50 smaller: 2.5 of 4. With the death 2.5 of 5, just one half.
    assert (told["median_reduction"], told["median_reduction_with_deaths"]) == (50, 50)
    assert told["percent_a_week"] == pytest.approx(36.25 / 4, abs=EXACT)


def test_ranges_hold_the_number_and_end_at_all_of_it():
    told = row(wounds(TWELVE), draws=200)
    assert 0 < told["closed_low"] < told["closed_share"] < told["closed_high"] < 1
    assert told["mean_reduction_low"] < told["mean_reduction"] < told["mean_reduction_high"] <= 100
    assert told["a_week_low"] == pytest.approx(told["mean_reduction_low"] / 4, abs=EXACT)


def test_a_percent_a_week_is_that_of_the_first_size_over_the_weeks():
    """Feedar 1991: to 44% of the first size in four weeks is 14 a week; 1 - exp(slope) would be 18.6."""
    told = row(wounds([(250, "open", {START: 10.0, FOUR: 4.4})] * 10))
    assert told["percent_a_week"] == pytest.approx(14.0, abs=EXACT)


def test_where_no_draw_differs_from_another_a_mean_has_no_range():
    told = row(wounds([(250, "open", {START: 10.0, FOUR: 5.0})] * 10))
    assert told["mean_reduction"] == pytest.approx(50)
    assert np.isnan(told["mean_reduction_low"]) and np.isnan(told["mean_reduction_high"])


def test_a_wound_that_started_too_late_is_left_out_even_if_it_has_closed():
    """It started on day 280: 28 days later is day 308, beyond the cut-off on day 300. Closings alone would be seen."""
    late = wounds([(290, "closed", {280: 10.0})] * 5 + [(300, "open", {280: 10.0})] * 7, start=280)
    told = row(late)
    assert (told["wounds"], told["too_recent"], told["closed"]) == (0, 12, 0)
    assert told["not_computed"] == FEW


def test_a_horizon_that_ends_on_the_cutoff_is_whole():
    assert row(wounds(TWELVE, start=CUTOFF - 28))["too_recent"] == 0


@pytest.mark.parametrize(("before", "unsized"), [(6, 0), (7, 10)])
def test_the_first_size_is_at_most_six_days_old_where_sizes_are_fresh_for_seven(before, unsized):
    told = row(wounds([(250, "open", {START - before: 10.0, FOUR: 5.0})] * 10))
    assert told["unsized_at_start"] == unsized
    assert (told["sizes_not_computed"] == "") == (unsized == 0)


def test_a_wound_without_a_first_size_still_counts_among_the_closed():
    told = row(wounds([(121, "closed", {50: 10.0})] * 5 + [(250, "open", {START: 10.0, FOUR: 5.0})] * 10))
    assert told["closed_share"] == pytest.approx(5 / 15)
    assert told["mean_reduction"] == pytest.approx(50)  # of the ten whose first size is known


def test_a_size_from_before_the_start_is_no_size_at_the_horizon():
    """With sizes fresh for 14 days the one at the start would still be fresh a week later."""
    slow = plan_of(sizes={"fresh_days": 14})
    told = row(wounds([(250, "open", {START: 10.0})] * 10), week=1, plan=slow)
    assert (told["sized"], told["sizes_not_computed"]) == (0, NO_SIZES)


def test_closings_alone_tell_no_reduction_where_nobody_in_view_was_measured():
    """Five closed and five in view: that all ten are 100 smaller would be what was seen."""
    told = row(wounds([(121, "closed", {START: 10.0})] * 5 + [(250, "open", {START: 10.0})] * 5))
    assert (told["sizes_not_computed"], told["not_computed"]) == (NO_SIZES, "")


def test_wounds_lost_from_sight_count_as_long_as_they_were_seen():
    """Two lost on day 10, five of the ten left close on day 20: five of ten, not five of twelve."""
    rows = [(START + 10, "open", {START: 10.0})] * 2 + [(START + 20, "closed", {START: 10.0})] * 5
    told = row(wounds(rows + [(250, "open", {START: 10.0, FOUR: 5.0})] * 5))
    assert told["lost"] == 2
    assert told["closed_share"] == pytest.approx(0.5)


def test_where_nearly_everybody_was_lost_no_share_is_told():
    rows = [(START + 10, "open", {START: 10.0})] * 8 + [(250, "open", {START: 10.0, FOUR: 5.0})] * 4
    assert row(wounds(rows))["not_computed"] == LOST_SIGHT


def test_where_nearly_all_closed_the_share_is_told_though_one_was_lost():
    rows = [(START + 10, "open", {START: 10.0})] + [(START + 5, "closed", {START: 10.0})] * 11
    assert row(wounds(rows))["closed_share"] == pytest.approx(11 / 12)


def test_an_open_wound_last_followed_on_the_day_of_the_horizon_is_in_view():
    told = row(wounds([(FOUR, "open", {START: 10.0, FOUR: 5.0})] * 10))
    assert (told["in_view"], told["lost"]) == (10, 0)


def test_below_ten_residents_there_are_counts_alone():
    told = row(wounds(TWELVE[:9]))
    assert (told["wounds"], told["not_computed"], told["sizes_not_computed"]) == (9, FEW, FEW)
    assert np.isnan(told["closed_share"]) and np.isnan(told["mean_reduction"])


def test_twelve_wounds_of_nine_residents_are_nine():
    episodes, *rest = wounds(TWELVE)
    shared = episodes.assign(resident=[f"R{number % 9}" for number in range(12)])
    assert row((shared, *rest))["not_computed"] == FEW


def test_wounds_of_one_resident_are_drawn_together():
    """Five that halve and five that do not, on ten residents; three of each on the same resident tell no more."""
    apart = wounds([(250, "open", {START: 10.0, FOUR: size}) for size in (5.0, 10.0)] * 15)
    episodes, *rest = apart
    order = episodes["wound"].str[1:].astype(int)
    together = episodes.assign(resident=[f"R{n % 2}{n // 6}" for n in order])  # three alike on each of ten
    widths = [
        told["mean_reduction_high"] - told["mean_reduction_low"]
        for told in (row(apart, draws=600), row((together, *rest), draws=600))
    ]
    # The t of 9 for that of 29 makes it wider than the root of three: 1.732 x 2.262 / 2.045 = 1.92.
    assert widths[1] / widths[0] == pytest.approx(1.92, rel=0.12)


def test_the_stage_is_the_one_of_record_at_the_start():
    """Charted 3 and later 2: a stage is never staged back."""
    episodes, measurements, sessions = wounds([(250, "open", {90: 10.0, START: 9.0, FOUR: 5.0})] * 10)
    back = measurements.assign(stage=measurements["day"].map({90: "3", START: "2", FOUR: "2"}))
    frames = episodes, back, sessions
    assert (row(frames, group=STAGES_3_4)["wounds"], row(frames, group=STAGE_2)["wounds"]) == (10, 0)


def test_a_stage_charted_after_the_start_is_not_used():
    episodes, measurements, sessions = wounds([(250, "open", {START: 10.0, FOUR: 5.0})] * 10, stage="unstageable")
    later = measurements.assign(stage=measurements["day"].map({START: "unstageable", FOUR: "4"}))
    assert row((episodes, later, sessions), group=STAGES_3_4)["wounds"] == 0
    assert row((episodes, later, sessions))["wounds"] == 10


def test_without_any_stage_the_stage_groups_are_empty_and_all_are_there():
    frames = wounds(TWELVE, stage=None)
    assert [row(frames, group=group)["wounds"] for group in (ALL_PRESSURE, STAGE_2, STAGES_3_4)] == [12, 0, 0]


def test_other_kinds_stand_apart_and_never_among_pressure_injuries():
    frames = wounds(TWELVE, kind="diabetic_foot", stage=None)
    told = after_start(*frames, PLAN, weeks=(4,), draws=20).set_index(["modality", "stage_group"])
    assert told.loc[("stimulation", "diabetic_foot"), "wounds"] == 12
    assert told.loc[("stimulation", ALL_PRESSURE), "wounds"] == 0


def test_a_wound_of_unknown_kind_is_in_a_group_of_its_own():
    assert row(wounds(TWELVE, kind=None), group=NO_KIND)["wounds"] == 12


def test_the_first_day_alone_decides_the_modality():
    episodes, measurements, sessions = wounds(TWELVE)
    later = sessions.assign(day=START + 7, modality="ultrasound")
    told = row((episodes, measurements, pd.concat([sessions, later])), modality="ultrasound")
    assert told["wounds"] == 0
    both = sessions.assign(modality="ultrasound")
    assert row((episodes, measurements, pd.concat([sessions, both])), modality="several at once")["wounds"] == 12


def test_wounds_already_treated_when_first_measured_are_counted_and_left_out():
    episodes, *rest = wounds(TWELVE)
    told = row((episodes.assign(running=[True] * 2 + [False] * 10), *rest))
    assert (told["wounds"], told["already_treated"]) == (10, 2)


def test_wounds_outside_the_cohort_and_without_a_start_are_nowhere():
    episodes, *rest = wounds(TWELVE)
    outside = episodes.assign(in_cohort=[False] * 2 + [True] * 10)
    assert row((outside, *rest))["wounds"] == 10
    never = episodes.assign(start_day=pd.array([None] * 12, dtype="Int64"))
    assert row((never, *rest))["wounds"] == 0


def test_without_a_calendar_closings_are_told_and_reductions_are_not():
    told = row(wounds(TWELVE), plan=plan_of("safe_harbor"))
    assert told["closed_share"] == pytest.approx(1 / 6)
    assert (told["not_computed"], told["sizes_not_computed"]) == ("", NO_CALENDAR)
    assert np.isnan(told["mean_reduction"])


def test_an_export_without_sessions_has_both_modalities_with_nothing_in_them():
    episodes, measurements, sessions = wounds(TWELVE)
    never = episodes.assign(start_day=pd.array([None] * 12, dtype="Int64"))
    told = after_start(never, measurements, sessions.head(0), PLAN, draws=20)
    assert set(told["modality"]) == {"stimulation", "ultrasound"}
    assert told["wounds"].sum() == 0 and (told["not_computed"] == FEW).all()


def test_every_wound_is_told_once():
    told = row(wounds(TWELVE))
    fates = ["closed", "died", "hospital", "left", "surgical_closure", "lost", "in_view"]
    assert told[fates].sum() == told["wounds"]


def test_the_order_of_rows_changes_nothing():
    episodes, measurements, sessions = wounds(TWELVE)
    mixed = [frame.sample(frac=1, random_state=3) for frame in (episodes, measurements, sessions)]
    expected = after_start(episodes, measurements, sessions, PLAN, draws=20)
    pd.testing.assert_frame_equal(after_start(*mixed, PLAN, draws=20), expected)


def test_nothing_that_is_returned_is_a_difference():
    assert not [name for name in COLUMNS if "difference" in name or "ratio" in name or "beside" in name]


def test_the_frames_that_are_read_stay_as_they_were():
    frames = wounds(TWELVE)
    before = [frame.copy(deep=True) for frame in frames]
    after_start(*frames, PLAN, draws=20)
    for frame, copy in zip(frames, before, strict=True):
        pd.testing.assert_frame_equal(frame, copy)
