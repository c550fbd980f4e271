"""The faults that benchmarks plant are what they say: each sets off its own warning, and a clean draw is quiet."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from planted_bias import STRENGTHS, drawn_study, evidence_of

from kit.bias.evidence import FACT, Evidence
from kit.bias.warnings import FAMILIES, warnings

DRAWN = 3  # how often each fires is benchmarks/bias_warnings.py's to measure: one of so many draws says that it can
# Facts that are planted nowhere: true of any group of one house, of any first report, of any plan without a calendar,
# or of what the wrong analysis would have claimed, which is there in clean records too.
NOT_PLANTED = {"one_facility", "no_calendar", "looks", "immortal"}


@cache
def drawn(number: int) -> Evidence:
    return evidence_of(drawn_study(np.random.default_rng([number])), 2, number)


def told(evidence: Evidence) -> pd.DataFrame:
    return warnings(evidence).set_index("warning")


@pytest.mark.parametrize("name", STRENGTHS)
def test_a_planted_fault_sets_off_its_warning(name):
    plant = STRENGTHS[name][1]
    found = (told(plant(drawn(number), np.random.default_rng(number))).loc[name] for number in range(DRAWN))
    assert any(row["fires"] for row in found)


def test_a_clean_draw_sets_off_nothing_that_is_planted():
    fired = pd.concat([told(drawn(number))["fires"].astype(bool) for number in range(DRAWN)], axis=1)
    assert set(fired.index[fired.any(axis=1)]) <= NOT_PLANTED | {"all_or_none"}  # hardly a stage 2 starts


def test_planting_leaves_the_draw_as_it_was():
    before = told(drawn(0))
    for _, plant in STRENGTHS.values():
        plant(drawn(0), np.random.default_rng(0))
    pd.testing.assert_frame_equal(told(drawn(0)), before)


def test_every_fact_is_planted_or_named_as_not():
    facts = {name for checks in FAMILIES.values() for name, check in checks.items() if check.kind == FACT}
    assert set(STRENGTHS) == facts - NOT_PLANTED
