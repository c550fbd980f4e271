"""Warnings about how the comparison is made: each seen firing and seen silent, on a few wounds or published counts."""

import re
from dataclasses import replace
from functools import cache
from math import log
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.bias.design import (
    CHECKS,
    POINTS_APART,
    UNDER_BASIS,
    _error_apart,
    clustered,
    design_effect,
    immortal,
    likeness,
    looks,
    low_worth,
    no_calendar,
    one_facility,
    plan_edited,
    pushes,
    running,
)
from kit.bias.evidence import DETRACTS, DIRECTIONS, FACT, FLATTERS, KINDS, NOT_KNOWN, SERIOUSNESS, Evidence
from kit.compared import compared, other_ways, weeks
from kit.healing.cox import cox
from kit.healing.other_answers import ANSWER, NOT_MADE, WRONG
from kit.healing.resampling import Z
from kit.study import read_study
from kit.words import FORBIDDEN
from tests.drawn import PLAN, drawn

CLOSE = 1e-9  # sums of a few whole numbers in another order
PRINTED = 5e-7  # published to six decimals
DATA = Path(__file__).parent.parent / "data" / "synthetic"
REFERENCE = Path(__file__).parent / "reference"
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
NEVER = {"quarter_ends": pd.Series(dtype="int64"), "plan": pd.Series(dtype=object)}


# --- a few wounds ---


def few(starts, wounds=6, homes=None, sizes=None, stages=None, closes=None, more=(), plan=PLAN, **tables):
    """Wounds W1, W2, ... of residents R1, R2, ..., measured every seventh day from day 10 to day 199.

    `starts`: wound -> day of its first session; `homes` ("A" unless said), `sizes` (4x3), `stages` and `closes` (days)
    by wound; `more`: further days measured, as (wound, day). Day 200 is the cut-off; day 24 ends the run-in.
    """
    homes, sizes, stages, closes = homes or {}, sizes or {}, stages or {}, closes or {}
    numbers = range(1, wounds + 1)
    rows = ["wound day length width state stage"]
    for n in numbers:
        ends = closes.get(n, 201)
        days = sorted({*range(10, 200, 7), *(day for wound, day in more if wound == n)})
        size, stage = sizes.get(n, "4 3"), stages.get(n, ".")
        rows += [f"W{n} {day} {size} open {stage}" for day in days if day < ends]
        rows += [f"W{n} {ends} . . closed ."] if n in closes else []
    people = "\n".join(f"R{n} {homes.get(n, 'A')}" for n in numbers)
    kind = "pressure_injury" if stages else "venous"
    return drawn(
        "\n".join(rows),
        wounds="wound resident kind\n" + "\n".join(f"W{n} R{n} {kind}" for n in numbers),
        residents="resident facility\n" + people,
        sessions="wound day modality status\n" + "\n".join(f"W{n} {day} ultrasound given" for n, day in starts.items()),
        plan=plan,
        **tables,
    )


def evidence_of(study, **earlier):
    told = pd.DataFrame({**NEVER, **earlier})
    return Evidence(study, weeks(study), compared(study), other_ways(study), told)


def with_plan(evidence, decides):
    comparison = evidence.study.plan.comparison.model_copy(update={"decides": decides})
    plan = evidence.study.plan.model_copy(update={"comparison": comparison})
    return replace(evidence, study=replace(evidence.study, plan=plan))


@cache
def plain():
    return evidence_of(few({1: 26}))


@cache
def group():
    return evidence_of(read_study(DATA / "clean"))


def with_ways(evidence, naive, aligned):
    ways = evidence.others.set_index("way")
    ways.loc[[WRONG, ANSWER], "amount"] = naive, aligned
    return replace(evidence, others=ways.reset_index())


# --- what cannot be seen ---


@pytest.mark.parametrize(
    ("ran", "fires", "says"),
    [
        (0, False, "Of 10 wounds that started 0 (0%) were already treated when first measured."),
        (1, False, "Of 10 wounds that started 1 (10%) were already treated when first measured."),
        (2, True, "Of 10 wounds that started 2 (20%) were already treated when first measured."),
    ],
)
def test_more_than_a_tenth_already_treated_when_first_measured_fires(ran, fires, says):
    """Day 5 is before the first measurement on day 10."""
    found = running(evidence_of(few({n: 5 if n <= ran else 26 for n in range(1, 11)}, wounds=12)))
    assert (found.number, found.fires, found.says) == (ran / 10, fires, says)


def test_where_no_wound_started_nothing_is_said_of_those_already_treated():
    assert running(evidence_of(few({}))).not_computed == "no wound started"


@pytest.mark.parametrize(("homes", "number", "fires"), [({}, 1, True), ({4: "B", 5: "B", 6: "B"}, 2, False)])
def test_one_facility_alone_fires(homes, number, fires):
    found = one_facility(evidence_of(few({1: 26, 4: 26}, homes=homes)))
    assert (found.number, found.fires) == (number, fires)


def test_a_facility_in_which_none_started_does_not_count_as_compared():
    assert one_facility(evidence_of(few({1: 26}, homes={4: "B", 5: "B", 6: "B"}))).fires


@pytest.mark.parametrize(("plan", "fires"), [(PLAN, False), (SAFE_HARBOR, True)])
def test_an_export_without_a_calendar_fires(plan, fires):
    assert no_calendar(evidence_of(few({1: 26}, plan=plan))).fires == fires


# --- looks, and the plan ---


@pytest.mark.parametrize(
    ("earlier", "decides", "number", "threshold", "fires"),
    [
        ([], None, 1, 0, True),
        ([20, 110], None, 3, 0, True),
        ([20, 110], 290, 3, 3, False),
        ([20, 110], 200, 3, 3, False),
        ([20, 110], 110, 3, 2, True),
        ([110, 110, 200], 200, 2, 2, False),
        ([110, 290], 200, 2, 2, False),
    ],
)
def test_looks_fire_where_no_quarter_decides_or_it_is_past(earlier, decides, number, threshold, fires):
    """The cut-off is day 200: a second report of a quarter is no further look, nor is one of a later quarter."""
    told = pd.DataFrame({"quarter_ends": earlier, "plan": "a"})
    found = looks(replace(with_plan(plain(), decides), earlier=told))
    assert (found.number, found.threshold, found.fires) == (number, threshold, fires)


def test_looks_say_which_quarter_decides():
    says = [looks(with_plan(plain(), decides)).says for decides in (None, 110, 290)]
    assert says == [
        "This is look 1 at the question; the plan names no quarter that decides.",
        "This is look 1 at the question; the plan decided with the quarter that ended on day 110.",
        "This is look 1 at the question; the plan decides with the quarter that ends on day 290.",
    ]


def test_a_plan_edited_since_the_last_quarter_fires():
    rules, edited = plain().study.plan.rules, with_plan(plain(), 290)
    before = {"quarter_ends": [20, 110], "plan": ["other", rules]}
    same, changed = (plan_edited(replace(one, earlier=pd.DataFrame(before))) for one in (plain(), edited))
    assert (same.number, same.fires, changed.number, changed.fires) == (0, False, 1, True)
    assert changed.says == "The plan's rules are no longer those of the report on the quarter that ended on day 110."


def test_windows_that_moved_on_are_no_edit():
    plan = plain().study.plan
    windows = plan.windows.model_copy(update={"quarter_begins": 20, "cutoff": 109})
    moved = plan.model_copy(update={"windows": windows})
    assert moved.fingerprint != plan.fingerprint
    earlier = pd.DataFrame({"quarter_ends": [109], "plan": [moved.rules]})
    assert not plan_edited(replace(plain(), earlier=earlier)).fires


@pytest.mark.parametrize(
    "earlier", [{}, {"quarter_ends": [200], "plan": ["other"]}, {"quarter_ends": [110], "plan": [None]}]
)
def test_without_a_report_of_an_earlier_quarter_no_edit_is_told(earlier):
    found = plan_edited(replace(plain(), earlier=pd.DataFrame({**NEVER, **earlier})))
    assert (found.not_computed, found.fires) == ("there is no report of an earlier quarter", False)


@pytest.mark.parametrize("check", [looks, plan_edited])
def test_without_a_calendar_neither_looks_nor_edits_are_told(check):
    assert check(evidence_of(few({1: 26}, plan=SAFE_HARBOR))).not_computed == UNDER_BASIS


# --- ever treated against never treated ---


def test_the_same_counts_say_slower_the_wrong_way_and_sooner_the_right_way():
    """50 closed in 1,000 wound-weeks after the start and 300 before it; beside, 40 in 800.

    (50 / 1300) / (40 / 800) = 0.769231; (50 / 1000) / (40 / 1100) = 1.375.
    """
    naive, aligned = (50 / 1300) / (40 / 800), (50 / 1000) / (40 / 1100)
    assert (naive, aligned) == pytest.approx((0.769231, 1.375), abs=PRINTED)
    assert pushes(log(naive), log(aligned)) == DETRACTS


def test_of_a_bad_event_the_same_error_points_the_other_way():
    """Crowley & Hu 1977, Stanford heart transplants: -1.3234 naive, +0.1271 aligned, death being bad."""
    people = pd.read_csv(REFERENCE / "jasa.csv")
    rows = pd.read_csv(REFERENCE / "heart.csv")
    naive = cox(np.full(len(people), -1), people["days"], people["died"], people["transplant"]).coefficients[0]
    aligned = cox(rows["start"], rows["stop"], rows["event"], rows["transplant"]).coefficients[0]
    assert (naive, aligned) == pytest.approx((-1.3234, 0.1271), abs=5e-5)
    assert pushes(float(naive), float(aligned), good=False) == FLATTERS
    assert pushes(float(naive), float(aligned), good=True) == DETRACTS


def test_two_ways_that_say_the_same_push_nowhere():
    assert pushes(0.3, 0.1 + 0.2) == NOT_KNOWN


def test_in_the_invented_group_the_wrong_way_would_have_turned_the_answer_round():
    ways = group().others.set_index("way")["amount"]
    found = immortal(group())
    assert found.number == pytest.approx(ways[WRONG] - ways[ANSWER], abs=CLOSE)
    assert ways[WRONG] < 0 < ways[ANSWER]
    assert (found.fires, found.direction) == (True, DETRACTS)
    assert found.says == (
        "The answer says 6 more of 100 wounds closed; ever treated against never treated would say 12 fewer."
    )


def test_the_wrong_way_fires_only_beyond_its_threshold_and_to_the_side_on_which_it_lies():
    threshold = immortal(group()).threshold
    inside, below, above = (immortal(with_ways(group(), 6 + gap, 6)) for gap in (threshold - 0.1, -2 * threshold, 15))
    assert (inside.fires, inside.direction) == (False, FLATTERS)
    assert (below.fires, below.direction) == (True, DETRACTS)
    assert (above.fires, above.direction) == (True, FLATTERS)


def test_the_threshold_is_what_the_pair_strays_by_and_no_less_than_five_points():
    """Both ways share their starters, so that the difference strays by less than the two would apart."""
    told = group().others.set_index("way")
    apart = np.hypot(*((told.loc[way, "high"] - told.loc[way, "low"]) / (2 * Z) for way in (WRONG, ANSWER)))
    error = 100 * _error_apart(group().answers.layout, group().study.episodes)
    assert immortal(group()).threshold == max(POINTS_APART, Z * error)
    assert 2 < error < apart


def test_where_the_comparison_is_not_made_the_wrong_way_is_not_set_beside_it():
    assert immortal(plain()).not_computed == NOT_MADE


# --- weights and persons ---


@pytest.mark.parametrize(("worth", "fires"), [(4.9, True), (20.0, False)])
def test_few_like_those_who_started_fires_below_a_tenth(worth, fires):
    told = group().answers.told.assign(others_residents=100, effective_residents=worth)
    found = low_worth(replace(group(), answers=replace(group().answers, told=told)))
    assert (found.number, found.fires) == (worth / 100, fires)


def test_what_those_beside_are_worth_is_told_where_the_comparison_is_not():
    assert not plain().answers.told["is_told"].any()
    assert 0 < low_worth(plain()).number <= 1
    assert low_worth(evidence_of(few({1: 26}, wounds=1))).not_computed == "nobody stands beside"


@pytest.mark.parametrize(
    ("mean", "icc", "cv", "effect"), [(1.5, 0.3, 0, 1.15), (3, 0.2, 0, 1.4), (3, 0.2, 0.6, 1.616), (1, 0.5, 0, 1)]
)
def test_design_effects_are_those_published(mean, icc, cv, effect):
    """1 + (1.5 - 1) 0.3; 1 + (3 - 1) 0.2; 1 + ((0.36 + 1) 3 - 1) 0.2 = 1.616."""
    assert design_effect(mean, icc, cv) == pytest.approx(effect, abs=CLOSE)


def test_how_alike_the_wounds_of_one_person_are_by_hand():
    """Pairs 1 1, 1 0, 0 0: between (2 (1/2)^2 x 2) / 2 = 1/2, within (0 + 1/2 + 0) / 3 = 1/6.

    (1/2 - 1/6) / (1/2 + 1/6) = 1/2.
    """
    values, owner = np.array([1.0, 1, 1, 0, 0, 0]), np.array([1, 1, 2, 2, 3, 3])
    assert likeness(values, owner) == pytest.approx(0.5, abs=CLOSE)
    assert likeness(np.array([1.0, 0, 1, 0, 1, 0]), owner) == 0
    assert likeness(np.array([1.0, 1, 0, 0, 1, 1]), owner) == 1
    assert likeness(np.ones(6), owner) == 0


def test_several_wounds_of_one_person_are_shown_and_never_fire():
    found = clustered(group())
    layout = group().answers.layout
    own = layout.weeks.iloc[[*layout.starters.week, *layout.others.week]].drop_duplicates("wound")
    over = (own["outcome"] != "open").sum()
    assert found.says.startswith(f"{over} wounds that are over") and over < len(own)
    assert 1 < found.number < 2 and not found.fires
    assert CHECKS["clustered"].kind != FACT
    assert clustered(plain()).not_computed == "0 residents with several wounds, ten are needed"


# --- the catalogue ---


def words_of(check, found):
    return " ".join([check.question, check.to_do, found.says, found.not_computed])


def assert_said_well(checks, evidence):
    for name, check in checks.items():
        found = check.find(evidence)
        said = words_of(check, found)
        assert bool(found.says) != bool(found.not_computed), name
        assert not [word for word in FORBIDDEN if re.search(rf"\b{word}\b", said, re.IGNORECASE)], said
        assert found.direction in DIRECTIONS and check.kind in KINDS and check.seriousness in SERIOUSNESS
        assert not np.isinf([found.number, found.threshold]).any(), name
        assert check.kind == FACT or not found.fires


@pytest.mark.parametrize("evidence", [plain, group], ids=["not told", "told"])
def test_every_warning_says_something_or_why_it_does_not(evidence):
    assert_said_well(CHECKS, evidence())


@pytest.mark.parametrize("starts", [{}, {1: 26}, {1: 5}], ids=["none", "all", "running"])
@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR], ids=["calendar", "no calendar"])
def test_every_warning_can_be_asked_of_a_single_wound(starts, plan):
    assert_said_well(CHECKS, evidence_of(few(starts, wounds=1, plan=plan)))


def test_the_invented_group_sets_off_none_but_the_wrong_way():
    assert [name for name, check in CHECKS.items() if check.find(group()).fires] == ["immortal"]
