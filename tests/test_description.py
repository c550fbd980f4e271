"""The description of healing times: who is in which group, from which day, and what is not said."""

import numpy as np
import pandas as pd
import pytest

from kit.healing.description import ANY, BEFORE, DRAWN_FROM, FROM_ENTRY, FROM_START, describe
from kit.plan import Plan
from kit.wounds.episodes import UNTREATED

PLAN = Plan.model_validate(
    {
        "program": {"name": "Invented", "basis": "operations"},
        "windows": {"quarter_begins": 110, "cutoff": 400},
        "following": {"horizon_weeks": 4},
        "regimens": [
            {"name": "monopolar", "modality": "stimulation"},
            {"name": "ultrasound", "modality": "ultrasound"},
        ],
    }
)


def episodes(rows: list[tuple]) -> pd.DataFrame:
    """entry, end, outcome, regimen, start: one wound and one resident a row."""
    frame = pd.DataFrame(rows, columns=["entry_day", "end_day", "outcome", "regimen", "start_day"])
    frame = frame.astype({"entry_day": "Int64", "end_day": "Int64", "start_day": "Int64"})
    names = [f"R{number:03}" for number in range(len(frame))]
    return frame.assign(resident=names, wound=names, in_cohort=True, running=False)


# Ten close untreated on day 7, ten start on day 14 and close on day 28 or stay open to day 50.
TWENTY = episodes(
    [(0, 7, "closed", UNTREATED, None)] * 10
    + [(0, 28, "closed", "monopolar", 14)] * 5
    + [(0, 50, "open", "monopolar", 14)] * 5
)


def group(described, name):
    return described.groups.set_index("group").loc[name]


def test_before_any_modality_everybody_counts_from_entry_and_until_a_start():
    everybody = group(describe(TWENTY, PLAN, draws=50), BEFORE)
    assert (everybody["clock"], everybody["wounds"], everybody["ended_closed"]) == (FROM_ENTRY, 20, 10)
    assert everybody["closed_share"] == pytest.approx(0.5)
    assert everybody["followed"] == 0  # those still open left view when they started


def test_a_regimen_counts_from_its_first_session():
    treated = group(describe(TWENTY, PLAN, draws=50), "monopolar")
    assert (treated["clock"], treated["wounds"], treated["followed"]) == (FROM_START, 10, 5)
    assert treated["closed_share"] == pytest.approx(0.5)  # five of ten, 14 days after the start
    assert treated["median_day"] == 14
    assert treated["weeks_closed"] == pytest.approx(0.5 * 14 / 7)


def test_wounds_that_start_later_stay_at_risk_until_they_do():
    """Leaving out those who later start would sort wounds by their future: 10 of 10 closed instead of 10 of 20."""
    curves = describe(TWENTY, PLAN, draws=50).curves
    rows = curves[(curves["group"] == BEFORE) & (curves["state"] == "closed") & (curves["day"] == 7)]
    assert rows["share"].tolist() == pytest.approx([0.5])
    assert rows["at_risk"].tolist() == [10]


def test_a_regimen_nobody_had_is_a_row_of_zeros_without_shares():
    nobody = group(describe(TWENTY, PLAN, draws=50), "ultrasound")
    assert (nobody["wounds"], nobody["residents"], nobody["drawn"]) == (0, 0, False)
    assert np.isnan(nobody["closed_share"])


def test_a_group_below_ten_wounds_is_counted_and_not_drawn():
    described = describe(TWENTY.iloc[: 10 + DRAWN_FROM - 1], PLAN, draws=50)
    assert group(described, "monopolar")["wounds"] == DRAWN_FROM - 1
    assert not group(described, "monopolar")["drawn"]
    assert "monopolar" not in set(described.curves["group"])


def test_wounds_already_treated_when_first_seen_are_in_no_group():
    running = TWENTY.assign(running=TWENTY["regimen"] == "monopolar")
    described = describe(running, PLAN, draws=50)
    assert group(described, BEFORE)["wounds"] == 10
    assert group(described, ANY)["wounds"] == 0


def test_shares_of_a_group_add_up_to_one():
    treated = group(describe(TWENTY, PLAN, draws=50), ANY)
    shares = ["closed_share", "died_share", "hospital_share", "left_share", "open_share"]
    assert treated[shares].sum() == pytest.approx(1)


def test_the_range_holds_the_share_and_comes_from_whole_residents():
    """Ten wounds of one resident close together, ten of another stay open: the range is everything or nothing."""
    one_person = TWENTY.assign(resident=["R1"] * 10 + ["R2"] * 10)
    everybody = group(describe(one_person, PLAN, draws=400), BEFORE)
    assert (everybody["closed_low"], everybody["closed_high"]) == (0, 1)
    apart = group(describe(TWENTY, PLAN, draws=400), BEFORE)
    assert 0.2 < apart["closed_low"] < 0.5 < apart["closed_high"] < 0.8


def test_the_order_of_rows_changes_nothing():
    shuffled = TWENTY.sample(frac=1, random_state=3)
    pd.testing.assert_frame_equal(describe(TWENTY, PLAN, draws=50).groups, describe(shuffled, PLAN, draws=50).groups)


def test_nothing_that_is_returned_is_a_difference():
    columns = {*describe(TWENTY, PLAN, draws=50).groups, *describe(TWENTY, PLAN, draws=50).curves}
    assert not [name for name in columns if "difference" in name or "ratio" in name or "versus" in name]
