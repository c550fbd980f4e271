"""Trials weighed: what must hold for any data, and what must not be asked of outcomes."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from kit.healing.comparison import (
    FOLLOWED,
    arms,
    choose_horizon,
    draw_all,
    followed,
    questions,
    weigh_all,
    worth_of_others,
)
from kit.healing.contrasts import CAUSES, shares
from kit.healing.covariates import ALWAYS
from kit.healing.emulation import (
    NOBODY_LEFT,
    OR_LATER,
    WAYS,
    WHILE_HERE,
    Arm,
    arm_shares,
    columns_for,
    lay_out,
    passing,
    worth,
)
from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN
from tests.drawn import drawn
from tests.invented_weeks import Facility, invented, of_study

EXACT = 1e-12  # the same numbers in another order
REFITTED = 1e-8  # fits that end at the same peak from another side
HORIZON = 84
MONOPOLAR, BIPOLAR, ULTRASOUND = "monopolar stimulation", "bipolar stimulation", "ultrasound"

THREE = Scenario(
    residents=80,
    facilities=2,
    starters=36,
    effects={MONOPOLAR: 1.6, BIPOLAR: 1.3, ULTRASOUND: 1.0},
    missed=0.2,
    leaving=0.02,
    leaving_slope=0.5,
)
LARGE = Scenario(residents=400, starters=90, effects={MONOPOLAR: 1.5}, leaving=0.01)


def weighed(facility: Facility, horizon: int = HORIZON, draws: int = 3):
    layout = lay_out(facility.weeks, facility.measurements, facility.plan, horizon)
    return draw_all(layout, questions(layout, facility.plan), draws)


def with_weeks(facility: Facility, weeks: pd.DataFrame) -> Facility:
    return facility.with_weeks(weeks)


def assert_alike(one, other, tolerance=EXACT):
    for name, numbers in one.numbers.items():
        assert numbers == pytest.approx(other.numbers[name], abs=tolerance, rel=0, nan_ok=True), name
    assert one.states == pytest.approx(other.states, abs=tolerance, rel=0)
    assert one.course == pytest.approx(other.course, abs=tolerance, rel=0)


@pytest.fixture(scope="module")
def three():
    return invented(THREE, seed=2)


@pytest.fixture(scope="module")
def three_weighed(three):
    return weighed(three)


# --- starts at random ---


def test_where_starts_follow_nothing_weighting_changes_little():
    """Starts dealt out by a coin among the trials: every one of the others is as good as another.

    Twelve coins of the same 400 residents move the others' share closed by half a point on average (one standard error
    0.7), where starts follow size and slope, as invented, weights move it by more than ten.
    """
    facility = invented(LARGE, seed=1)
    moved = [moved_by_weights(dealt_out(facility, seed)) for seed in range(12)]
    assert abs(np.mean(moved)) < 0.02 and np.abs(moved).max() < 0.1
    assert abs(moved_by_weights(facility)) > 0.1


def moved_by_weights(facility: Facility) -> float:
    """By how much the odds weights move the share closed of the others, starts later counted in."""
    layout = lay_out(facility.weeks, facility.measurements, facility.plan, HORIZON)
    asked = questions(layout, facility.plan)[0]
    counts = np.ones((len(layout.weeks), 1))
    begun: dict = {}
    through = passing(layout, counts, asked.names, begun)
    others = arms(layout, asked, counts, begun)[1]
    raw = Arm(others.rows, counts[others.rows.week], True)
    return float((arm_shares(others, through, OR_LATER).closed - arm_shares(raw, through, OR_LATER).closed)[-1, 0])


def dealt_out(facility: Facility, seed: int) -> Facility:
    """The same wounds; who started is forgotten, and a coin says in which trial a wound starts, if at all."""
    weeks = facility.weeks.copy()
    coin = np.random.default_rng(seed).random(len(weeks)) < 0.05
    first = weeks[coin & (weeks["reason"] == "")].groupby("wound")["begins"].min()
    begins = weeks["wound"].map(first)
    here = (weeks["begins"] == begins).to_numpy()
    weeks["before"] = ~(weeks["begins"] > begins).to_numpy()
    weeks["starts"] = np.where(here, MONOPOLAR, "")
    weeks["start_day"] = begins.astype("Int64")
    return with_weeks(facility, weeks)


# --- regimen against regimen ---


def test_naming_two_regimens_the_other_way_round_turns_the_sign(three, three_weighed):
    """The plan's order decides which of two stands first; here it is turned round."""
    turned_plan = three.plan.model_copy(update={"regimens": three.plan.regimens[::-1]})
    turned = weighed(replace(three, plan=turned_plan))
    for first, second in ((MONOPOLAR, BIPOLAR), (MONOPOLAR, ULTRASOUND), (BIPOLAR, ULTRASOUND)):
        one, other = three_weighed[f"{first} / {second}"], turned[f"{second} / {first}"]
        for name in one.numbers:
            assert other.numbers[name] == pytest.approx(one.numbers[name][::-1], abs=REFITTED, nan_ok=True)
        difference = np.diff(one.numbers["closed"], axis=0)
        assert np.diff(other.numbers["closed"], axis=0) == pytest.approx(-difference, abs=REFITTED)
        assert np.abs(difference).min() > 1e-3


def test_exchanging_the_labels_of_two_regimens_turns_the_sign(three, three_weighed):
    """What was monopolar is called ultrasound and the other way round; nothing else changes."""
    called = {MONOPOLAR: ULTRASOUND, ULTRASOUND: MONOPOLAR}
    weeks = three.weeks.assign(starts=three.weeks["starts"].replace(called))
    told = weighed(with_weeks(three, weeks))
    key = f"{MONOPOLAR} / {ULTRASOUND}"
    for name, numbers in three_weighed[key].numbers.items():
        assert told[key].numbers[name] == pytest.approx(numbers[::-1], abs=REFITTED, nan_ok=True)
    assert_alike(told[f"{ULTRASOUND} / no modality"], three_weighed[f"{MONOPOLAR} / no modality"], REFITTED)


def test_every_regimen_is_weighed_in_the_same_draws(three):
    """Where all start one regimen, that regimen's numbers are those of any modality in every draw."""
    weeks = three.weeks.assign(starts=three.weeks["starts"].where(three.weeks["starts"] == "", ULTRASOUND))
    told = weighed(with_weeks(three, weeks), draws=6)
    assert_alike(told[f"{ULTRASOUND} / no modality"], told["any modality / no modality"], EXACT)
    assert np.ptp(told["any modality / no modality"].numbers["closed"][0]) > 0.02


def test_a_regimen_that_nobody_started_closes_nothing(three):
    weeks = three.weeks.assign(starts=three.weeks["starts"].replace({BIPOLAR: ULTRASOUND}))
    told = weighed(with_weeks(three, weeks))[f"{BIPOLAR} / no modality"]
    assert (told.numbers["closed"][0] == 0).all() and np.isnan(told.numbers["early"][0]).all()


def test_draws_do_not_depend_on_the_lots_they_are_taken_in(three, three_weighed, monkeypatch):
    monkeypatch.setattr("kit.healing.comparison.ROOM", 1)
    for key, told in weighed(three).items():
        assert_alike(told, three_weighed[key], EXACT)


# --- the horizon ---


def with_other_fates(facility: Facility) -> Facility:
    """What wounds came to, changed: everything that closed died, and the other way round; all on the same day."""
    exchanged = {"closed": "died", "died": "closed"}
    outcome = facility.weeks["outcome"].astype(object).replace(exchanged)
    assert (outcome != facility.weeks["outcome"].astype(object)).mean() > 0.2
    return with_weeks(facility, facility.weeks.assign(outcome=outcome))


@pytest.mark.parametrize("least", [10, 20, 24, 29, 34, 40, 10_000])
def test_the_horizon_is_chosen_without_what_wounds_came_to(three, least):
    plan = three.plan.model_copy(
        update={"comparison": three.plan.comparison.model_copy(update={"effective_residents": least})}
    )
    told = [choose_horizon(own.weeks, own.measurements, plan) for own in (three, with_other_fates(three))]
    assert told[0].horizon == told[1].horizon
    for horizon in plan.comparison.horizons:
        layouts = [
            lay_out(own.weeks, own.measurements, plan, horizon * WEEK) for own in (three, with_other_fates(three))
        ]
        worths = [worth_of_others(layout, questions(layout, plan)[0]) for layout in layouts]
        assert worths[0] == pytest.approx(worths[1], abs=1e-9) and worths[0] > 1


def test_the_longest_horizon_that_carries_enough_residents_is_chosen(three):
    """The others are worth fewer residents the longer they are followed: what is asked decides how long."""
    layouts = [lay_out(three.weeks, three.measurements, three.plan, weeks * WEEK) for weeks in (12, 8, 4)]
    worths = [worth_of_others(layout, questions(layout, three.plan)[0]) for layout in layouts]
    assert worths[0] < worths[1] < worths[2]
    for least, chosen in ((worths[0], 12), (worths[1], 8), (worths[2], 4), (worths[2] + 1, 4)):
        comparison = three.plan.comparison.model_copy(update={"effective_residents": least - 1e-6})
        plan = three.plan.model_copy(update={"comparison": comparison})
        layout = choose_horizon(three.weeks, three.measurements, plan)
        assert layout.horizon == chosen * WEEK


def test_the_others_are_worth_no_more_than_there_are(three):
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    asked = questions(layout, three.plan)[0]
    people = len(np.unique(layout.owner[layout.others.week]))
    assert 1 < worth_of_others(layout, asked) < people


def test_starters_of_equal_weight_are_worth_as_many_residents_as_they_are(three):
    """A resident with one row each weighs alike: the number of residents, where all have one starter."""
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    counts = np.ones((len(layout.weeks), 1))
    begun: dict = {}
    asked = questions(layout, three.plan)[0]
    through = passing(layout, counts, asked.names, begun)
    arm = arms(layout, asked, counts, begun)[0]
    rows = np.bincount(layout.owner[arm.rows.week])
    assert worth(layout, arm, through) == pytest.approx(rows.sum() ** 2 / (rows**2).sum())


# --- counts ---


def test_rows_that_all_weigh_more_have_the_same_shares(three):
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    generator = np.random.default_rng(1)
    times = np.array([[1.0, 2.0, 50.0]])
    base = generator.uniform(0.1, 2, (len(layout.others.week), 1)) * times
    passed = generator.uniform(1, 2, (len(layout.weeks), 1)) * np.ones((1, 3))
    for way in WAYS:
        told = shares(layout.others.ways[way], base, passed)
        for column in (1, 2):
            assert told.closed[:, column] == pytest.approx(told.closed[:, 0], abs=EXACT)
            assert told.still[:, column] == pytest.approx(told.still[:, 0], abs=EXACT)


def test_counting_everybody_three_times_changes_nothing_but_what_the_ridge_holds(three, monkeypatch):
    """The ridge weighs a third as much beside three times the rows; without it nothing changes.

    One facility: without a ridge the columns of several would say the same as the intercept.
    """
    monkeypatch.setattr("kit.healing.emulation.RIDGE", 0.0)
    monkeypatch.setattr("kit.healing.emulation.LEAVING_RIDGE", 0.0)
    layout = lay_out(three.weeks[three.weeks["facility"] == "F00001"], three.measurements, three.plan, HORIZON)
    counts = np.ones((len(layout.people), 1)) * np.array([[1.0, 3.0]])
    asked = questions(layout, three.plan)[0]
    told = weigh_all(layout, [asked], counts)[asked.key]
    for name, numbers in told.numbers.items():
        assert numbers[:, 1] == pytest.approx(numbers[:, 0], abs=REFITTED), name
        assert 0 < numbers[1, 0] < 1  # of the others, whom all weights move


# --- deaths ---


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_more_deaths_among_starters_raise_no_figure(three, share):
    """Closings of starters after their start become deaths on the same day; open ones die where they were last seen.

    Weights are the same: nobody leaves or starts otherwise. The early response is told of those still open, so deaths
    of those whose wounds do badly could raise it; here whoever would have closed dies, and it falls.
    """
    weeks = three.weeks
    started = weeks.groupby("wound")["starts"].transform(lambda own: (own != "").any())
    die = weeks["wound"].map(dict(zip(weeks["wound"].unique(), coin(weeks, share), strict=True))) & started
    outcome = weeks["outcome"].astype(object)
    dead = outcome.mask(die & outcome.eq("closed"), "died").mask(die & outcome.eq("open") & ~weeks["vanished"], "died")
    layouts = [lay_out(own, three.measurements, three.plan, HORIZON) for own in (weeks, weeks.assign(outcome=dead))]
    before, after = (
        draw_all(layout, questions(layout, three.plan)[:1], 3)["any modality / no modality"] for layout in layouts
    )
    for name in ("closed", "spent", "here", "later"):
        assert (after.numbers[name][0] <= before.numbers[name][0] + EXACT).all(), name
        assert (after.numbers[name][0] < before.numbers[name][0] - 0.01).any(), name
    assert (after.states[0, CAUSES.index("died")] > before.states[0, CAUSES.index("died")]).all()


def coin(weeks: pd.DataFrame, share: float) -> np.ndarray:
    return np.random.default_rng(3).random(weeks["wound"].nunique()) < share


# --- who stands beside whom ---


@pytest.mark.parametrize("everybody", [False, True])
def test_a_facility_in_which_nobody_or_everybody_started_stands_beside_nobody(three, everybody):
    weeks = three.weeks
    there = weeks["facility"] == "F00002"
    if everybody:  # every trial of the house is one in which a modality began
        weeks = weeks.assign(starts=weeks["starts"].mask(there & weeks["before"] & (weeks["reason"] == ""), MONOPOLAR))
    else:
        weeks = weeks.assign(starts=weeks["starts"].mask(there, ""))
    both = choose_horizon(weeks, three.measurements, three.plan)
    alone = choose_horizon(weeks[~there], three.measurements, three.plan)
    assert set(both.weeks["facility"]) == {"F00001"}
    keys = questions(both, three.plan)[:1], questions(alone, three.plan)[:1]
    told, known = (draw_all(layout, asked, 2) for layout, asked in zip((both, alone), keys, strict=True))
    assert_alike(told["any modality / no modality"], known["any modality / no modality"])
    untouched = choose_horizon(three.weeks, three.measurements, three.plan)
    assert set(untouched.weeks["facility"]) == {"F00001", "F00002"}


def test_where_nobody_started_anywhere_nothing_is_compared(three):
    layout = choose_horizon(three.weeks.assign(starts=""), three.measurements, three.plan)
    assert len(layout.starters.week) == 0


# --- the three ways ---


def test_where_nobody_starts_later_or_later_is_as_if_nobody_left(three):
    """Of the wounds that start, only the trial in which they do is left: no other of them could start later.

    Then nothing is left to weight but having stayed in view, if every week without a trial is free of starts too.
    """
    weeks = three.weeks
    starts_there = weeks["starts"] != ""
    begins = weeks["wound"].map(weeks[starts_there].groupby("wound")["begins"].min())
    weeks = weeks[begins.isna() | (weeks["begins"] >= begins)]
    layout = lay_out(weeks, three.measurements, three.plan, HORIZON)
    others = weeks.reset_index(drop=True).loc[layout.others.week]
    assert others["start_day"].isna().all()
    counts = np.ones((len(layout.weeks), 1))
    through = passing(layout, counts, ALWAYS, {})
    still = replace(through, untreated=np.ones_like(through.untreated), untreated_by=np.ones_like(through.untreated))
    arm = Arm(layout.others, counts[layout.others.week], True)
    whole, later = arm_shares(arm, still, NOBODY_LEFT), arm_shares(arm, still, OR_LATER)
    assert (whole.closed == later.closed).all() and (whole.states == later.states).all()
    assert (arm_shares(arm, through, NOBODY_LEFT).closed != later.closed).any()


def test_where_nobody_leaves_while_here_is_as_if_nobody_left():
    facility = invented(replace(THREE, leaving=0.0), seed=4)
    weeks = facility.weeks[~facility.weeks["wound"].isin(facility.weeks.loc[facility.weeks["lost"], "wound"])]
    for told in weighed(with_weeks(facility, weeks)).values():
        assert told.numbers["here"] == pytest.approx(told.numbers["closed"], abs=EXACT)


def test_while_here_counts_whoever_left_as_not_closed(three, three_weighed):
    """Shares of starters and others by hand from the ends of starters: nothing weighs them but who they are."""
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    rows = layout.weeks.loc[layout.starters.week]
    followed = (rows["end_day"] - rows["ends"]).astype(int)
    seen = ~rows["vanished"].to_numpy() | (followed > HORIZON).to_numpy()
    closed = ((rows["outcome"] == "closed") & (followed <= HORIZON)).to_numpy()
    own = three_weighed["any modality / no modality"].numbers
    # Whoever was lost from sight lies between: none of them closed, or all.
    assert closed.mean() - EXACT <= own["here"][0, 0] <= (closed | ~seen).mean() + EXACT
    assert own["here"][0, 0] < own["closed"][0, 0]


def test_starters_are_the_same_whether_or_not_others_start_later(three_weighed):
    for key, told in three_weighed.items():
        assert told.numbers["later"][0] == pytest.approx(told.numbers["closed"][0], abs=EXACT)
        if not key.endswith("no modality"):
            assert told.numbers["later"][1] == pytest.approx(told.numbers["closed"][1], abs=EXACT)
    told = three_weighed["any modality / no modality"].numbers
    assert (told["later"][1] != told["closed"][1]).any()


def test_nobody_closes_after_starting_but_in_or_later(three):
    """Others who start are lost on that day; only `or later` follows them on."""
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    rows = layout.weeks.loc[layout.others.week]
    begins = (rows["start_day"] - rows["ends"]).fillna(HORIZON + 1).to_numpy(dtype=int)
    assert (begins <= HORIZON).sum() > 20
    days = {way: np.bincount(layout.others.ways[way].row[piece], minlength=len(rows)) for way, piece in last(layout)}
    for way in (NOBODY_LEFT, WHILE_HERE):
        assert (days[way] <= begins).all()
    assert (days[OR_LATER] > begins).any()


def last(layout):
    """For each way, the pieces repeated by the days that each holds."""
    for way, pieces in layout.others.ways.items():
        enters = pieces.enters.tocsc()
        held = np.asarray(np.cumsum(enters.toarray(), axis=0).sum(axis=0)).astype(int)
        yield way, np.repeat(np.arange(len(held)), held)


# --- the early response ---


@pytest.mark.parametrize(
    ("seen", "length", "known", "small"), [(50, 1, True, True), (50, 3, True, False), (49, 1, False, True)]
)
def test_the_early_response_is_read_from_a_size_that_is_still_fresh(seen, length, known, small):
    """The week of day 24 ends on day 28, before the round of day 29; four weeks later, on day 56, a size of day 50 is
    fresh and one of day 49 is seven days old. From 4 by 2 cm to 1 by 2 is 75% smaller, to 3 by 2 is 25%."""
    rounds = "\n".join(f"W1 {day} 4 2 open" for day in (10, 17, 24, 29))
    table = f"wound day length width state\n{rounds}\nW1 {seen} {length} 2 open\nW1 90 1 1 open\nW2 10 4 2 open\n"
    wounds = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"
    program = "wound day modality status\nW2 12 ultrasound given\n"  # from its first start on there are trials
    facility = of_study(drawn(table, wounds, sessions=program))
    layout = lay_out(facility.weeks, facility.measurements, facility.plan, HORIZON)
    row = np.flatnonzero(layout.weeks.loc[layout.others.week, "ends"] == 28)
    early = layout.others.early
    assert len(row) == 1 and early.day == 28
    assert early.known[row[0]] == known and early.small[row[0]] == small


# --- covariates ---


def plan_with(covariates: tuple[str, ...]) -> Plan:
    return Plan.model_validate({
        "program": {"name": "Invented", "basis": "operations"},
        "windows": {"quarter_begins": 110, "cutoff": 200},
        "comparison": {"covariates": covariates},
        "regimens": [{"name": "ultrasound", "modality": "ultrasound"}],
    })  # fmt: skip


@pytest.mark.parametrize(
    ("starters", "number"), [(0, 0), (15, 0), (25, 0), (29, 0), (30, 1), (34, 1), (35, 2), (40, 3), (200, 3)]
)
def test_one_covariate_for_every_five_starters_in_the_order_of_the_plan(starters, number):
    """The first five stand always; from 30 starters on the plan's follow, one for every five."""
    order = ("necrosis", "full_thickness", "infection")
    weeks = pd.DataFrame({name: [1.0, 0.0, np.nan] for name in order})
    assert columns_for(starters, plan_with(order), weeks) == (*ALWAYS, *order[:number])


def test_a_covariate_that_the_export_does_not_hold_gives_its_place_to_the_next():
    order = ("necrosis", "full_thickness", "infection")
    weeks = pd.DataFrame({"necrosis": [np.nan, np.nan], "full_thickness": [1.0, 0.0], "infection": [0.0, 1.0]})
    assert columns_for(30, plan_with(order), weeks) == (*ALWAYS, "full_thickness")


def test_regimen_against_regimen_carries_what_the_one_with_fewer_starters_does():
    """Two of three regimens called one: it could carry a sixth covariate, the pair cannot."""
    facility = invented(replace(THREE, residents=120, starters=70), seed=2)
    renamed = facility.weeks["starts"].replace({BIPOLAR: MONOPOLAR})
    charted = facility.weeks.assign(starts=renamed, infection=np.arange(len(renamed)) % 2)
    layout = lay_out(charted, facility.measurements, facility.plan, HORIZON)
    starters = pd.Series(layout.started).value_counts()
    assert starters[MONOPOLAR] >= 30 > starters[ULTRASOUND]
    names = {asked.key: asked.names for asked in questions(layout, facility.plan)}
    assert len(names[f"{MONOPOLAR} / no modality"]) > len(ALWAYS)
    assert names[f"{MONOPOLAR} / {ULTRASOUND}"] == names[f"{ULTRASOUND} / no modality"] == ALWAYS


# --- followed to the horizon ---


def cut_short(facility, days):
    """The same facility with every wound's record ending so many days after its entry."""
    weeks = facility.weeks
    last = weeks.groupby("wound")["begins"].transform("min") + days
    over = weeks["end_day"] > last
    short = weeks.assign(
        end_day=weeks["end_day"].mask(over, last), outcome=weeks["outcome"].astype(object).mask(over, OPEN)
    )
    return short[short["begins"] <= short["end_day"]].reset_index(drop=True)


def test_a_horizon_that_nobody_is_followed_to_is_not_chosen(three):
    """Records of 70 days after entry, of which 14 are usual care: nobody is followed for 84 days after a start."""
    weeks = cut_short(three, 70)
    layout = lay_out(weeks, three.measurements, three.plan, HORIZON)
    asked = questions(layout, three.plan)[0]
    assert followed(layout, asked) == 0
    chosen = choose_horizon(weeks, three.measurements, three.plan)
    assert chosen.horizon < HORIZON


def test_where_the_record_cuts_nothing_off_everybody_is_followed(three):
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    asked = questions(layout, three.plan)[0]
    people = [layout.weeks["resident"].iloc[rows.week].nunique() for rows in asked.rows]
    assert FOLLOWED < followed(layout, asked) <= min(people)


def test_of_two_regimens_the_smaller_arm_decides_what_they_are_worth(three):
    layout = lay_out(three.weeks, three.measurements, three.plan, HORIZON)
    for pair in (asked for asked in questions(layout, three.plan) if asked.second is not None):
        turned = replace(
            pair, treated=pair.beside, beside=pair.treated, first=pair.second, second=pair.first, rows=pair.rows[::-1]
        )
        assert worth_of_others(layout, pair) == pytest.approx(worth_of_others(layout, turned), rel=1e-6)
