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
# The same beside ten that stay open and untreated to day 60: enough in view at four weeks.
THIRTY = episodes(
    [(0, 7, "closed", UNTREATED, None)] * 10
    + [(0, 28, "closed", "monopolar", 14)] * 5
    + [(0, 50, "open", "monopolar", 14)] * 5
    + [(0, 60, "open", UNTREATED, None)] * 10
)


def group(described, name):
    return described.groups.set_index("group").loc[name]


def test_before_any_modality_everybody_counts_from_entry_and_until_a_start():
    everybody = group(describe(THIRTY, PLAN, draws=50), BEFORE)
    assert (everybody["clock"], everybody["wounds"], everybody["ended_closed"]) == (FROM_ENTRY, 30, 10)
    assert everybody["closed_share"] == pytest.approx(10 / 30)
    assert everybody["followed"] == 10  # those who started left view on day 14


def test_where_too_few_are_in_view_at_the_horizon_nothing_is_told_of_it():
    """Of twenty, ten closed on day 7 and ten started on day 14: nobody is in view at four weeks."""
    described = describe(TWENTY, PLAN, draws=50)
    everybody = group(described, BEFORE)
    assert (everybody["drawn"], everybody["drawn_to"], everybody["reached"]) == (True, 14, False)
    assert np.isnan(everybody["closed_share"])
    assert described.curves.query("group == @BEFORE")["day"].max() == 14


def test_where_nothing_is_lost_from_view_the_horizon_is_reached_by_everybody():
    ended = episodes([(0, 7, "closed", UNTREATED, None)] * 10)
    assert group(describe(ended, PLAN, draws=50), BEFORE)["reached"]


def test_a_group_of_one_resident_with_many_wounds_is_not_drawn():
    alone = THIRTY.assign(resident="R1")
    assert not group(describe(alone, PLAN, draws=50), BEFORE)["drawn"]


def test_a_wound_that_starts_after_it_was_last_seen_tells_nothing_of_its_regimen():
    lost = pd.concat([THIRTY, episodes([(0, 10, "open", "ultrasound", 20)])], ignore_index=True)
    described = describe(lost, PLAN, draws=50)
    assert group(described, "ultrasound")["wounds"] == 0
    assert group(described, BEFORE)["wounds"] == 31


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
    """Three wounds of one resident that close or not together know as much as one."""
    alone = pd.concat([THIRTY] * 3, ignore_index=True).sort_values(["end_day", "outcome"], ignore_index=True)
    apart = group(describe(alone.assign(resident=[f"R{n}" for n in range(90)]), PLAN, draws=400), BEFORE)
    triples = group(describe(alone.assign(resident=[f"R{n // 3}" for n in range(90)]), PLAN, draws=400), BEFORE)
    assert apart["closed_low"] < apart["closed_share"] < apart["closed_high"]
    assert triples["closed_share"] == apart["closed_share"]
    widths = [row["closed_high"] - row["closed_low"] for row in (apart, triples)]
    assert widths[1] / widths[0] == pytest.approx(np.sqrt(3), rel=0.15)


def test_nothing_is_ever_certain():
    """None of ten closed: Wilson's upper limit is z^2 / (n + z^2) = 3.84 / 13.84 = 0.278, not nought."""
    none = group(describe(episodes([(0, 60, "open", UNTREATED, None)] * 10), PLAN, draws=50), BEFORE)
    assert (none["closed_low"], none["closed_high"]) == pytest.approx((0, 0.2775), abs=1e-4)


def test_the_order_of_rows_changes_nothing():
    shuffled = TWENTY.sample(frac=1, random_state=3)
    pd.testing.assert_frame_equal(describe(TWENTY, PLAN, draws=50).groups, describe(shuffled, PLAN, draws=50).groups)


def test_nothing_that_is_returned_is_a_difference():
    columns = {*describe(TWENTY, PLAN, draws=50).groups, *describe(TWENTY, PLAN, draws=50).curves}
    assert not [name for name in columns if "difference" in name or "ratio" in name or "versus" in name]
