"""Minutes in the first two weeks: halves, shares and levelled shares by hand; who is left out; what chance makes."""

import numpy as np
import pandas as pd
import pytest

from kit.delivery.early_dose import AS_SEEN, LESS, LIKE_SIZES, MORE, SIZES_ALONE, early_dose
from kit.delivery.early_wounds import USED
from kit.healing.e_values import e_value
from kit.healing.resampling import resident_draws, share_limits
from tests.drawn import PLAN, drawn

EXACT = 1e-9  # the same sums in another order
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
START = 20
# An open wound is measured every week to well past the horizon, day 20 + 84.
ROUNDS = range(START, 126, 7)


def study(wounds: list[tuple], plan: str = PLAN, **more: str):
    """Wounds W1, W2, ... of a resident each: (minutes of one session, side of the square in cm, day it closed or 0)."""
    names, sizes, sessions = "wound resident kind\n", "wound day length width state\n", SESSIONS
    for n, (minutes, side, closed) in enumerate(wounds, 1):
        names += f"W{n:02d} R{n:02d} venous\n"
        sizes += "".join(f"W{n:02d} {day} {side} {side} open\n" for day in ROUNDS if day < (closed or 200))
        sizes += f"W{n:02d} {closed} . . closed\n" if closed else ""
        sessions += f"W{n:02d} {START} stimulation monopolar given {minutes} 90\n"
    sessions += more.pop("sessions", "")
    return drawn(sizes, names, plan, sessions=sessions, **more)


SESSIONS = "wound day modality setup status minutes staff_minutes\n"


def dose(made, **more):
    return early_dose(made.episodes, made.sessions, made.measurements, made.plan, **more)


def row(told, way=AS_SEEN):
    return told.differences.set_index("way").loc[way]


def reasons(told):
    return {reason: wounds for reason, wounds in told.account[["reason", "wounds"]].to_numpy() if wounds}


# Closing rests on size alone: half of the small, a quarter of the middle, none of the large. Small, middle and large
# are 2, 4 and 6 of those with fewer minutes, 6, 4 and 2 of those with more.
FEWER = [(20, 1, 60), (20, 1, 0), (20, 2, 62), *[(20, 2, 0)] * 3, *[(20, 4, 0)] * 6]
MUCH = [*[(60, 1, 64)] * 3, *[(60, 1, 0)] * 3, (60, 2, 66), *[(60, 2, 0)] * 3, *[(60, 4, 0)] * 2]


def test_shares_differences_and_the_e_value_by_hand():
    told = dose(study(FEWER + MUCH))
    halves = told.halves.set_index("half")
    assert halves["closed_share"].to_dict() == pytest.approx({LESS: 2 / 12, MORE: 4 / 12}, abs=EXACT)
    assert halves["wounds"].to_dict() == {LESS: 12, MORE: 12}
    assert halves["landmark_size"].to_dict() == {LESS: (4 + 16) / 2, MORE: (1 + 4) / 2}
    seen = row(told)
    assert seen["amount"] == pytest.approx(100 * (4 - 2) / 12, abs=EXACT)
    # 4/12 over 2/12 is 2; its E-value 2 + sqrt(2 x 1).
    assert seen["risk_ratio"] == pytest.approx(2, abs=EXACT)
    assert seen["e_value"] == pytest.approx(2 + 2**0.5, abs=EXACT)


def test_what_size_makes_of_the_difference_by_hand():
    told = dose(study(FEWER + MUCH))
    # Thirds close 1/2, 1/4 and 0: (2/2 + 4/4) / 12 and (6/2 + 4/4) / 12.
    assert row(told, SIZES_ALONE)["amount"] == pytest.approx(100 * (4 - 2) / 12, abs=EXACT)
    # At the sizes of all, a third each: (1/2 + 1/4 + 0) / 3 on both sides.
    levelled = row(told, LIKE_SIZES)
    assert levelled["amount"] == pytest.approx(0, abs=EXACT)
    assert (levelled["risk_ratio"], levelled["e_value"]) == pytest.approx((1, 1), abs=1e-6)


def test_limits_of_halves_are_those_of_shares_from_draws_of_residents():
    told = dose(study(FEWER + MUCH))
    closed = np.array([side[2] > 0 for side in FEWER + MUCH])
    counts = resident_draws(np.array([f"R{n:02d}" for n in range(1, 25)]))[:12]
    draws = (counts * closed[:12, None]).sum(axis=0) / counts.sum(axis=0)
    low, high = share_limits(np.array(2 / 12), draws, 12)
    assert told.halves.loc[0, ["low", "high"]].tolist() == pytest.approx([float(low), float(high)], abs=EXACT)


def test_a_range_that_holds_one_needs_no_confounding():
    seen = row(dose(study(FEWER + MUCH)))
    assert seen["ratio_low"] < 1 < seen["ratio_high"]
    assert seen["e_value_limit"] == 1
    assert seen["low"] < 0 < seen["high"]


def test_a_range_beyond_one_carries_the_e_value_of_its_nearer_limit():
    seen = row(dose(study([*[(20, 2, 0)] * 14, (20, 2, 60), *[(60, 2, 62)] * 14, (60, 2, 0)])))
    # 14/15 against 1/15.
    assert seen["risk_ratio"] == pytest.approx(14, abs=EXACT)
    assert 1 < seen["ratio_low"] < 14 < seen["ratio_high"]
    assert seen["e_value_limit"] == pytest.approx(e_value(seen["ratio_low"]), abs=EXACT)
    assert seen["low"] > 0


def test_no_closing_on_one_side_leaves_a_difference_and_no_ratio():
    seen = row(dose(study([*[(20, 2, 0)] * 12, *[(60, 2, 62)] * 6, *[(60, 2, 0)] * 6])))
    assert seen["amount"] == pytest.approx(50, abs=EXACT)
    assert seen["is_told"]
    assert seen[["risk_ratio", "e_value", "e_value_limit"]].isna().all()


def test_death_before_the_horizon_is_not_closing_and_not_censoring():
    dead = "resident day reason\n" + "".join(f"R{n:02d} 70 died\n" for n in (7, 8, 9))
    told = dose(study(FEWER + MUCH, departures=dead))
    # Were the dead censored, the share would be above 2/12.
    assert told.halves.loc[0, "closed_share"] == pytest.approx(2 / 12, abs=EXACT)


# --- what is a dose ---


def minutes_of(made, wound="W01"):
    return dose(made).wounds.set_index("wound").loc[wound, "early_minutes"]


@pytest.mark.parametrize(
    ("session", "minutes"),
    [
        ("W01 33 stimulation monopolar given 30 90", 50),
        ("W01 33 stimulation bipolar shortened 10 90", 30),
        ("W01 34 stimulation monopolar given 30 90", 20),
        ("W01 25 stimulation monopolar missed . 90", 20),
        ("W01 25 ultrasound . given 30 90", 20),
        ("W01 100 stimulation monopolar given 400 90", 20),
    ],
    ids=["day 13", "shortened", "day 14", "missed", "another modality", "much later"],
)
def test_device_minutes_of_days_0_to_13_are_the_dose(session, minutes):
    assert minutes_of(study(FEWER + MUCH, sessions=f"{session}\n")) == minutes


def test_wounds_at_the_median_are_in_the_lower_half():
    told = dose(study([(10, 2, 0), (30, 2, 0), (30, 2, 0), (50, 2, 0), (60, 2, 0)]))
    assert told.median == 30
    assert told.wounds["half"].tolist() == [LESS, LESS, LESS, MORE, MORE]


# --- who is left out ---


def test_everybody_who_started_is_used_or_left_out_for_one_reason():
    sessions = """
W25 20 stimulation monopolar given 30 90
W26 20 stimulation monopolar given 30 90
W27 20 stimulation monopolar given 30 90
W28 20 ultrasound . given 5 90
W29 20 stimulation monopolar given 30 90
W29 20 ultrasound . given 5 90
W30 20 stimulation monopolar given 30 90
W30 22 stimulation monopolar given . 90
W31 20 stimulation monopolar given 30 90
W31 22 stimulation monopolar . 30 90
W32 20 stimulation monopolar given 30 90
W33 10 stimulation monopolar given 30 90
W34 20 stimulation monopolar given 30 90
"""
    names = "wound resident kind\n" + "".join(
        f"W{n} R{n} {'arterial' if n == 34 else 'venous'}\n" for n in range(25, 35)
    )
    closed = {25: 34, 26: 35}
    sizes = "wound day length width state\n"
    for n in range(25, 35):
        days = [day for day in ROUNDS if day < closed.get(n, 200) and (n != 32 or day < 28)]
        sizes += "".join(f"W{n} {day} 2 2 open\n" for day in days)
        sizes += f"W{n} {closed[n]} . . closed\n" if n in closed else ""
    gone = "resident day reason\nR27 30 died\n"
    plan = PLAN + '\n[cohort]\nkinds = ["venous"]\n'
    made = drawn(sizes, names, plan, sessions=SESSIONS + sessions, departures=gone)
    assert reasons(dose(made)) == {
        USED: 1,  # W26 closed on day 15
        "outside the cohort": 1,  # W34
        "treated before it was first measured": 1,  # W33
        "began with another modality, or several": 2,  # W28, W29
        "closed within 14 days": 1,  # W25, on day 14
        "not followed for 14 days": 1,  # W32, last seen on day 7
        "died or departed within 14 days": 1,  # W27
        "a session without minutes or status": 2,  # W30, W31
    }


def test_a_start_too_near_the_cut_off_is_not_followed():
    made = drawn("wound day length width state\nW1 180 2 2 open\nW1 187 2 2 open\nW1 194 2 2 open\n",
                 sessions=SESSIONS + "W1 186 stimulation monopolar given 30 90\n")  # fmt: skip
    assert reasons(dose(made)) == {"not followed for 14 days": 1}


def test_nine_residents_in_a_half_are_too_few():
    told = dose(study([*[(20, 2, 0)] * 12, *[(60, 2, 60)] * 9]))
    assert not told.differences["is_told"].any()
    assert set(told.differences["not_computed"]) == {f"residents with {MORE}: 9, needed: 10"}


def test_where_most_had_the_most_minutes_nobody_had_more():
    told = dose(study([*[(20, 2, 0)] * 9, *[(60, 2, 60)] * 12]))
    assert set(told.differences["not_computed"]) == {f"residents with {MORE}: 0, needed: 10"}


def test_ten_wounds_of_one_resident_are_one_resident():
    made = study(FEWER + MUCH)
    one = made.episodes.assign(resident=np.where(made.episodes["wound"] <= "W12", "R01", made.episodes["resident"]))
    told = early_dose(one, made.sessions, made.measurements, made.plan)
    assert row(told)["not_computed"] == f"residents with {LESS}: 1, needed: 10"
    assert np.isnan(told.halves.loc[0, "closed_share"]) and told.halves.loc[1, "closed_share"] == pytest.approx(4 / 12)


def test_a_half_that_is_hardly_in_view_at_the_horizon_is_not_told():
    # Eight of twelve leave the log on day 41: four are in view at the horizon, five are needed.
    made = study(FEWER + MUCH)
    gone = made.episodes["wound"].isin([f"W{n:02d}" for n in range(5, 13)])
    ended = made.episodes.assign(end_day=made.episodes["end_day"].mask(gone, 41))
    told = early_dose(ended, made.sessions, made.measurements, made.plan)
    assert row(told)["not_computed"] == f"too few with {LESS} are in view at the horizon"


def test_sizes_not_measured_in_time_leave_only_the_levelled_rows():
    made = study(FEWER + MUCH)
    stale = made.measurements[~made.measurements["day"].between(27, 34) | (made.measurements["wound"] > "W03")]
    told = early_dose(made.episodes, made.sessions, stale, made.plan)
    assert row(told)["wounds"] == 24
    assert row(told, LIKE_SIZES)["wounds"] == row(told, SIZES_ALONE)["wounds"] == 21
    assert told.wounds["landmark_size"].isna().sum() == 3


def test_halves_without_a_size_in_common_cannot_be_levelled():
    told = dose(study([*[(20, 4, 0)] * 11, (20, 4, 60), *[(60, 1, 62)] * 6, *[(60, 1, 0)] * 6]))
    assert row(told, LIKE_SIZES)["not_computed"] == "a third of the sizes is missing in one half"
    assert row(told, SIZES_ALONE)["is_told"]


def test_a_horizon_of_two_weeks_lies_not_beyond_the_landmark():
    told = dose(study(FEWER + MUCH, PLAN + "\n[following]\nhorizon_weeks = 2\n"))
    assert set(told.differences["not_computed"]) == {"the horizon is not beyond day 14"}


# --- what is missing ---


def test_an_export_without_sessions():
    told = dose(drawn("wound day length width state\nW1 10 4 3 open\n"))
    assert reasons(told) == {}
    assert (len(told.wounds), len(told.facilities), len(told.halves), len(told.differences)) == (0, 0, 2, 3)
    assert not told.differences["is_told"].any()
    assert np.isnan([told.median, told.between_share, told.by_chance]).all()


def test_minutes_that_the_export_lacks_leave_everybody_out():
    made = study(FEWER + MUCH)
    told = early_dose(made.episodes, made.sessions.assign(minutes=np.nan), made.measurements, made.plan)
    assert reasons(told) == {"a session without minutes or status": 24}


def test_one_wound():
    told = dose(study([(20, 2, 60)]))
    assert told.wounds["half"].tolist() == [LESS]
    assert told.facilities.to_numpy().tolist() == [["not named", 1, 1, 20.0, 0]]
    assert row(told)["not_computed"] == f"residents with {LESS}: 1, needed: 10"


def test_an_export_that_shares_no_calendar_says_the_same():
    first, second = dose(study(FEWER + MUCH)), dose(study(FEWER + MUCH, SAFE_HARBOR))
    pd.testing.assert_frame_equal(first.differences, second.differences)


def test_the_order_of_rows_does_not_matter():
    made = study(FEWER + MUCH)
    shuffled = [frame.sample(frac=1, random_state=4) for frame in (made.episodes, made.sessions, made.measurements)]
    first, second = dose(made), early_dose(*shuffled, made.plan)
    pd.testing.assert_frame_equal(first.differences, second.differences)
    pd.testing.assert_frame_equal(first.wounds, second.wounds)


# --- by building ---


def test_how_much_of_the_minutes_lies_between_facilities_by_hand():
    homes = "resident facility\nR01 A\nR02 A\nR03 B\nR04 B\n"
    told = dose(study([(90, 2, 0), (110, 2, 0), (190, 2, 0), (210, 2, 0)], residents=homes))
    # About 150: 60, 40, 40, 60 squared are 10,400; facility means 100 and 200 make 4 x 50 squared = 10,000.
    assert told.between_share == pytest.approx(10000 / 10400, abs=EXACT)
    assert told.by_chance == pytest.approx(1 / 3, abs=EXACT)
    assert told.facilities.to_numpy().tolist() == [["A", 2, 2, 100.0, 0], ["B", 2, 2, 200.0, 2]]


# --- the invented group ---


def test_the_invented_groups_dose_has_no_effect_and_none_is_found(lifelike):
    told = dose(lifelike)
    assert told.account["wounds"].sum() == lifelike.episodes["start_day"].notna().sum()
    assert told.differences["is_told"].all()
    assert (told.differences["low"] < 0).all() and (told.differences["high"] > 0).all()
    assert (told.differences["e_value_limit"].dropna() == 1).all()


def test_the_invented_under_dosing_is_that_of_a_building(lifelike):
    told = dose(lifelike)
    assert told.facilities.set_index("facility")["more_minutes"]["Ostervane"] == 0
    assert told.between_share > 5 * told.by_chance
