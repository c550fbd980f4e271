"""Which comparisons the data carry: refused by name where something is missing, told with limits where nothing is."""

import csv
import random
import warnings
from functools import cache

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from kit.compared import compared, other_ways, weeks
from kit.healing import homes as leaning
from kit.healing.answers import MEASURES, NEEDS, answer
from kit.healing.comparison import ANY, NONE, Weighed, measure
from kit.healing.homes import OWN_FROM
from kit.healing.reductions import GRID, MEDIAN, median_limits
from kit.healing.resampling import Z, widened
from kit.healing.trials import ELIGIBLE, RUNNING, TOO_LATE, UNSEEN, Weeks
from kit.pages.findings import findings
from kit.plan import Comparing, Plan
from kit.statements.comparing import comparisons, in_facility, level_of
from kit.study import read_study
from tests.conftest import LIFELIKE
from tests.drawn import PLAN, TWO_HOUSES, drawn
from tests.invented_weeks import invented

DRAWS = 60
ONE = Scenario(residents=90, starters=30)
THREE = Scenario(residents=150, facilities=3, starters=60, effects={"monopolar stimulation": 1.6, "ultrasound": 1.0})
MONOPOLAR, ULTRASOUND = "monopolar stimulation", "ultrasound"
PARTS = ("treated", "beside", "difference", "low", "high", "error")
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")


def asking(plan: Plan, **changed) -> Plan:
    """The same plan, asking something else of a comparison."""
    return plan.model_copy(update={"comparison": plan.comparison.model_copy(update=changed)})


def answers_of(scenario, draws=DRAWS, seed=7, known=None, **changed):
    """What an invented facility answers; `known` are its weeks, where they were changed, else the plan alone."""
    made = invented(scenario)
    known = made.weeks if known is None else known
    return answer(Weeks(known, 0, 0), made.measurements, asking(made.plan, **changed), draws, seed)


@cache
def one():
    return answers_of(ONE)


@cache
def three():
    return answers_of(THREE)


def row_of(answers, treated=ANY, beside=NONE):
    told = answers.told
    [row] = told[(told["treated"] == treated) & (told["beside"] == beside)].to_dict("records")
    return row


def found_of(answers, treated=ANY, beside=NONE):
    needs = answers.needs
    own = needs[(needs["treated"] == treated) & (needs["beside"] == beside)]
    return own.set_index("need")["found"]


def numbers_of(row):
    """Everything of a row of `told` that is an estimate."""
    return np.array([row[f"{name}_{part}"] for name in MEASURES for part in PARTS])


# --- what a comparison needs ---


def test_each_comparison_asks_for_the_same_in_the_same_order():
    needs = three().needs
    asked = needs.drop_duplicates(["treated", "beside"])[["treated", "beside"]].values.tolist()
    assert asked == [[ANY, NONE], [MONOPOLAR, NONE], [ULTRASOUND, NONE], [MONOPOLAR, ULTRASOUND]]
    assert needs.groupby(["treated", "beside"], sort=False)["need"].agg(list).tolist() == [list(NEEDS)] * 4
    assert needs["met"].tolist() == (needs["found"] >= needs["needed"]).tolist()


def test_what_is_needed_unless_the_plan_asks_for_more():
    needed = three().needs.groupby(["treated", "beside"], sort=False)["needed"].agg(list).tolist()
    assert needed[:3] == [[15, 12, 40, 15, 10, 5]] * 3
    assert needed[3] == [15, 12, 40, 12, 10, 5]  # of two regimens each has as many residents as it needs


def test_what_is_found_are_the_counts_of_the_rows_that_are_compared():
    row, found, layout = row_of(one()), found_of(one()), one().layout
    weeks = layout.weeks
    began, others = weeks.iloc[layout.starters.week], weeks.iloc[layout.others.week]
    assert found["starters"] == row["starters"] == began["wound"].nunique() == len(began)
    assert found["starters_residents"] == row["starters_residents"] == began["resident"].nunique()
    assert found["eligible_residents"] == pd.concat([began, others])["resident"].nunique()
    assert found["effective_residents"] == row["effective_residents"] < row["others_residents"]
    assert 10 < found["closings"] <= began["wound"].nunique() + others["wound"].nunique()


@pytest.mark.parametrize("need", [need for need in NEEDS if need in Comparing.model_fields])
def test_a_comparison_that_lacks_one_is_refused_and_names_it(need):
    have = int(found_of(one())[need])
    kept = {"horizons": (12,)}  # another number of effective residents would be met by a shorter horizon
    enough, lacking = (answers_of(ONE, **kept, **{need: needed}) for needed in (have, have + 1))
    assert row_of(enough)["is_told"] and enough.needs["met"].all()
    assert not row_of(lacking)["is_told"]
    missing = lacking.needs[~lacking.needs["met"] & (lacking.needs["treated"] == ANY)]
    assert missing["need"].tolist() == [need]
    [sentence] = comparisons(lacking, invented(ONE).plan)["sentence"].head(1)
    assert sentence == (
        f"Any modality beside no modality is not compared. What is missing: {NEEDS[need]}, {have} of the {have + 1} "
        "needed."
    )


def test_what_is_refused_has_no_number_anywhere():
    smaller = row_of(three(), MONOPOLAR)["starters"]
    assert smaller < row_of(three(), ULTRASOUND)["starters"]
    answers = answers_of(THREE, starters=smaller + 1)
    assert answers.told["is_told"].tolist() == [True, False, True, False]
    for row in answers.told.to_dict("records"):
        estimates = np.concatenate([numbers_of(row), [row[name] for name in MEDIAN]])
        assert np.isfinite(estimates).all() if row["is_told"] else np.isnan(estimates).all()
    told = {(ANY, NONE), (ULTRASOUND, NONE)}
    for frame in (answers.states, answers.course, answers.smaller, answers.balance):
        assert set(zip(frame["treated"], frame["beside"], strict=True)) == told


def test_where_any_modality_is_refused_no_facility_has_a_number():
    answers = answers_of(THREE, eligible_residents=1000)
    assert not answers.told["is_told"].any()
    frames = answers.states, answers.course, answers.smaller, answers.balance, answers.homes
    assert [len(frame) for frame in frames] == [0, 0, 0, 0, 0]
    assert list(answers.homes.columns) == list(three().homes.columns)
    assert list(answers.states.columns) == list(three().states.columns)
    assert list(answers.smaller.columns) == list(three().smaller.columns)
    assert np.isnan([numbers_of(row) for row in answers.told.to_dict("records")]).all()


def test_what_is_refused_has_no_number_in_the_findings(study):
    found = findings(study, "Invented")[0]["comparison"]
    assert {row["is_told"] for row in found["told"]} == {False}
    assert {row[f"{name}_{part}"] for row in found["told"] for name in MEASURES for part in PARTS} == {None}
    assert found["states"] == found["homes"] == found["balance"] == []


# --- what is told ---


def test_any_modality_comes_first_then_regimens_then_pairs(lifelike):
    names = [regimen.name for regimen in lifelike.plan.regimens]
    told = compared(lifelike).told
    assert told["treated"].tolist() == [ANY, *names, names[0], names[0], names[1]]
    assert told["beside"].tolist() == [NONE] * 4 + [names[1], names[2], names[2]]


@pytest.mark.parametrize("name", MEASURES)
def test_a_difference_is_that_of_its_shares_and_lies_within_its_limits(name):
    for row in [*one().told.to_dict("records"), *three().told.to_dict("records")]:
        first, second, difference, low, high, error = (row[f"{name}_{part}"] for part in PARTS)
        assert 0 <= first <= 1 and 0 <= second <= 1
        assert difference == pytest.approx(first - second)
        assert -1 <= low < difference < high <= 1
        assert error > 0


def test_leaving_counted_as_not_closed_lowers_both_shares():
    for row in three().told.to_dict("records"):
        assert row["here_treated"] <= row["closed_treated"] and row["here_beside"] <= row["closed_beside"]


def test_the_wounds_of_each_arm_are_all_somewhere_at_the_horizon():
    states = three().states
    assert (states["share"] >= -1e-9).all()
    sums = states.groupby(["treated", "beside", "arm"])["share"].sum()
    assert len(sums) == 8 and sums.to_numpy() == pytest.approx(np.ones(8))
    closed = states[states["state"] == "closed"].set_index(["treated", "beside", "arm"])["share"]
    for row in three().told.to_dict("records"):
        for arm in ("treated", "beside"):
            assert closed[row["treated"], row["beside"], arm] == pytest.approx(row[f"closed_{arm}"])


def test_the_course_rises_from_nothing_to_the_share_at_the_horizon():
    for (treated, beside, arm), course in three().course.groupby(["treated", "beside", "arm"]):
        assert course["week"].tolist() == list(range(13))
        assert course["share"].iloc[0] == 0 and (np.diff(course["share"]) >= -1e-12).all()
        assert course["share"].iloc[-1] == pytest.approx(row_of(three(), treated, beside)[f"closed_{arm}"])
        assert ((course["low"] <= course["share"]) & (course["share"] <= course["high"])).all()
        assert (course.loc[course["week"] == 0, ["low", "share", "high"]] == 0).all(axis=None)


# --- the early response ---


def test_the_share_smaller_by_the_plans_percentage_is_the_early_response():
    for (treated, beside, arm), smaller in three().smaller.groupby(["treated", "beside", "arm"]):
        shares = smaller.set_index("percent")["share"]
        assert shares.index.tolist() == GRID.tolist()
        assert shares[40] == row_of(three(), treated, beside)[f"early_{arm}"]
        assert ((smaller["low"] <= smaller["share"]) & (smaller["share"] <= smaller["high"])).all()


def test_the_medians_are_where_half_are_so_much_smaller():
    groups = three().smaller.groupby(["treated", "beside", "arm"])
    assert len(groups) == 8
    for (treated, beside, arm), smaller in groups:
        median = row_of(three(), treated, beside)[f"reduction_{arm}"]
        assert smaller.loc[smaller["share"] >= 0.5, "percent"].max() == median


def test_the_difference_of_medians_is_told_in_points_and_lies_within_its_limits():
    for row in [*one().told.to_dict("records"), *three().told.to_dict("records")]:
        first, second, difference, low, high, error = (row[name] for name in MEDIAN)
        assert difference == first - second
        assert -200 <= low <= difference <= high <= 200
        assert error > 1  # percent points, not shares


def test_limits_of_medians_are_as_wide_as_those_of_the_comparison():
    """The ends of both arms' limits, read off the frame with ranges; a correlation lies between -1 and 1."""
    for row in three().told.to_dict("records"):
        ends = {}
        for arm in ("treated", "beside"):
            own = three().smaller.query("treated == @row['treated'] and beside == @row['beside'] and arm == @arm")
            ends[arm] = median_limits(own["low"].to_numpy(), own["high"].to_numpy())
        down, up = row["reduction_treated"] - ends["treated"][0], ends["beside"][1] - row["reduction_beside"]
        assert abs(down - up) - 1e-9 <= row["reduction_difference"] - row["reduction_low"] <= down + up + 1e-9


def test_residents_with_a_size_at_the_early_response_are_counted_whatever_is_compared():
    for answers in (three(), answers_of(THREE, horizons=(4,)), answers_of(ONE, effective_residents=1000)):
        layout = answers.layout
        row, rows = row_of(answers), layout.starters
        own = layout.weeks.iloc[rows.week]
        closed = (own["outcome"] == "closed") & (own["end_day"] - own["ends"] <= 28)
        expected = own.loc[closed.to_numpy(dtype=bool) | rows.early.known, "resident"].nunique()
        assert row["early_residents"] == expected <= row["starters_residents"]
    needs = found_of(answers_of(THREE, horizons=(4,)))
    assert needs["measured_residents"] == row_of(answers_of(THREE, horizons=(4,)))["early_residents"]


def test_one_regimen_alone_is_compared_as_any_modality_is():
    any_modality, alone = one().told.to_dict("records")
    assert numbers_of(any_modality) == pytest.approx(numbers_of(alone))


def test_limits_of_regimens_stand_further_off_so_that_they_hold_side_by_side():
    told = {(row["treated"], row["beside"]): row for row in three().told.to_dict("records")}
    few = {key: int(min(row["starters_residents"], row["effective_residents"])) for key, row in told.items()}
    alone = {key: widened(Z, people) for key, people in few.items()}
    assert told[ANY, NONE]["limits_at"] == pytest.approx(alone[ANY, NONE])
    assert told[MONOPOLAR, ULTRASOUND]["limits_at"] == pytest.approx(alone[MONOPOLAR, ULTRASOUND])  # the only pair
    wider = [told[name, NONE]["limits_at"] / alone[name, NONE] for name in (MONOPOLAR, ULTRASOUND)]
    assert wider[0] == pytest.approx(wider[1]) and wider[0] > 1.02


def test_a_regimen_read_alone_has_narrower_limits_than_beside_another():
    made = invented(THREE)
    both = row_of(three(), MONOPOLAR)
    plan = made.plan.model_copy(update={"regimens": made.plan.regimens[:1]})
    alone = row_of(answer(Weeks(made.weeks, 0, 0), made.measurements, plan, DRAWS, 7), MONOPOLAR)
    assert alone["closed_difference"] == pytest.approx(both["closed_difference"])
    assert both["closed_low"] < alone["closed_low"] and alone["closed_high"] < both["closed_high"]


# --- the same again ---


def test_the_same_seed_gives_the_same_numbers_and_another_moves_the_limits_alone():
    again, other = answers_of(ONE), answers_of(ONE, seed=8)
    pd.testing.assert_frame_equal(again.told, one().told)
    pd.testing.assert_frame_equal(again.course, one().course)
    pd.testing.assert_frame_equal(again.smaller, one().smaller)
    first, second = row_of(one()), row_of(other)
    assert first["closed_difference"] == pytest.approx(second["closed_difference"])
    assert first["closed_low"] != second["closed_low"]
    assert (one().draws, one().seed, other.seed) == (DRAWS, 7, 8)


def test_the_order_of_rows_of_the_export_does_not_matter(lifelike, tmp_path):
    chance = random.Random(3)
    for file in LIFELIKE.iterdir():
        if file.suffix == ".csv" and file.stem != "truth":
            with file.open(newline="", encoding="utf-8") as lines:
                head, *rows = csv.reader(lines)
            chance.shuffle(rows)
            with (tmp_path / file.name).open("w", newline="", encoding="utf-8") as out:
                csv.writer(out).writerows([head, *rows])
    (tmp_path / "study-plan.toml").write_bytes((LIFELIKE / "study-plan.toml").read_bytes())
    first, second = (
        answer(weeks(study), study.measurements, study.plan, draws=10) for study in (lifelike, read_study(tmp_path))
    )
    for name in ("told", "needs", "states", "course", "smaller", "balance", "homes", "outside", "could"):
        pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name), rtol=1e-7, obj=name)


# --- over which time ---


def test_the_horizon_is_shorter_where_the_others_are_not_worth_enough():
    worth = {span: found_of(answers_of(ONE, horizons=(span,)))["effective_residents"] for span in (12, 8, 4)}
    assert worth[12] < worth[8] < worth[4]  # wounds beside start themselves, the more the longer they are followed
    for shorter, longer in ((8, 12), (4, 8)):
        answers = answers_of(ONE, effective_residents=int(worth[longer]) + 1)
        assert answers.horizon_weeks == shorter
        assert row_of(answers)["is_told"]
    assert one().horizon_weeks == 12
    none = answers_of(ONE, effective_residents=int(worth[4]) + 1)
    assert none.horizon_weeks == 4 and not none.told["is_told"].any()


def test_at_four_weeks_the_early_response_is_what_is_compared():
    early, late = answers_of(THREE, horizons=(4,)), answers_of(THREE, horizons=(8,))
    assert (early.measure, early.horizon_weeks, late.measure) == ("early", 4, "closed")
    assert early.told["is_told"].all()
    row, plan = row_of(early), asking(invented(THREE).plan, horizons=(4,))
    assert row["early_treated"] > row["closed_treated"]  # smaller by so much comes before closed
    assert found_of(early)["closings"] > found_of(late)["closings"] / 2
    said = comparisons(early, plan)["sentence"].iloc[0]
    assert f"{round(100 * row['early_treated'])} had closed or were at least 40% smaller by week 4" in said
    middle = row["early_difference"]
    for home in early.homes.itertuples():
        assert min(middle, home.own) <= home.leaning <= max(middle, home.own)


def test_what_wounds_came_to_does_not_choose_the_horizon():
    made = invented(ONE)
    nobody = made.weeks.assign(outcome=made.weeks["outcome"].where(made.weeks["outcome"] != "closed", "died"))
    answers = answers_of(ONE, known=nobody)
    assert answers.horizon_weeks == one().horizon_weeks
    kept = ["starters", "starters_residents", "eligible_residents", "effective_residents"]
    assert found_of(answers)[kept].tolist() == found_of(one())[kept].tolist()
    assert found_of(answers)["closings"] == 0 and not row_of(answers)["is_told"]


# --- facilities ---


def test_a_facility_leans_on_the_group_the_more_the_less_is_known_of_it():
    middle = row_of(three())["closed_difference"]
    spread = 0.05  # the plan's five points
    homes = three().homes
    assert homes["facility"].tolist() == ["F00001", "F00002", "F00003"]
    assert homes["starters"].sum() == row_of(three())["starters"]
    for home in homes.itertuples():
        trust = spread**2 / (spread**2 + home.own_error**2)
        assert home.leaning == pytest.approx(trust * home.own + (1 - trust) * middle)
        assert home.low < home.leaning < home.high
    loose, firm = (answers_of(THREE, facility_spread=points).homes for points in (20, 1))
    assert (abs(firm["leaning"] - middle) < abs(homes["leaning"] - middle)).all()
    assert (abs(homes["leaning"] - middle) < abs(loose["leaning"] - middle)).all()


def test_the_smaller_of_two_facilities_leans_more(lifelike):
    homes = compared(lifelike).homes.sort_values("starters")
    middle = row_of(compared(lifelike))["closed_difference"]
    trust = (homes["leaning"] - middle) / (homes["own"] - middle)
    assert homes["starters"].iloc[0] < homes["starters"].iloc[-1] / 3
    assert 0 < trust.iloc[0] < trust.iloc[-1] < 1


def test_a_facility_with_few_starts_has_no_difference_of_its_own(monkeypatch):
    assert OWN_FROM == 5
    few = int(three().homes["starters"].min())
    monkeypatch.setattr(leaning, "OWN_FROM", few + 1)
    homes = answers_of(THREE).homes.set_index("starters")
    assert np.isnan(homes.loc[few, ["own", "own_error"]].astype(float)).all()
    assert homes.loc[few, "leaning"] == pytest.approx(row_of(three())["closed_difference"])
    assert homes.drop(index=few)["own"].notna().all()
    monkeypatch.setattr(leaning, "OWN_FROM", few)
    assert answers_of(THREE).homes["own"].notna().all()


def test_the_limits_of_a_facility_with_few_starts_include_the_error_of_the_group(monkeypatch):
    """Drawn differences of 0.3 and 0.1 have a standard deviation of 0.1 about the group's 0.2; the spread is 0.05."""
    layout = three().layout
    shares = np.array([[0.5, 0.6, 0.4], [0.3, 0.3, 0.3]])  # arms x (as seen, two draws)
    nothing = np.empty((2, 0, 3))
    houses = np.broadcast_to(shares[:, None, :], (2, len(three().homes), 3))
    found = Weighed({measure(layout): shares}, nothing, nothing, nothing, houses)
    monkeypatch.setattr(leaning, "OWN_FROM", int(three().homes["starters"].max()) + 1)
    homes = leaning.homes_of(layout, found, invented(THREE).plan)
    off = Z * np.sqrt(0.05**2 + 0.1**2)
    assert len(homes) == 3 and homes["own"].isna().all()
    assert homes[["leaning", "low", "high"]].to_numpy() == pytest.approx(np.array([[0.2, 0.2 - off, 0.2 + off]] * 3))


def none_started(known, home):
    """The weeks without the wounds of a facility that started."""
    began = known.loc[(known["starts"] != "") & (known["facility"] == home), "wound"]
    return known[~known["wound"].isin(began)]


def all_started(known, home):
    """The weeks of a facility in which whoever could be started was."""
    waits = (known["facility"] == home) & (known["starts"] == "")
    return known.assign(reason=known["reason"].where(~waits | (known["reason"] != ""), "not measured in that week"))


@pytest.mark.parametrize("changed", [none_started, all_started])
def test_a_facility_with_nobody_on_one_side_is_set_aside_and_named_as_such(changed):
    made = invented(THREE)
    answers = answers_of(THREE, known=changed(made.weeks, "F00002").reset_index(drop=True))
    assert answers.homes["facility"].tolist() == ["F00001", "F00003"]
    assert set(answers.layout.weeks["facility"]) == {"F00001", "F00003"}
    home = three().homes.set_index("facility")["starters"]
    assert row_of(answers)["starters"] == home["F00001"] + home["F00003"]
    said = in_facility(answers, "F00002", made.plan)
    assert said.endswith("In F00002 none started, or all did, so nothing of its own can be said.")
    assert "F00001, with" in in_facility(answers, "F00001", made.plan)


def test_the_only_facility_left_is_not_said_to_have_nobody():
    made = invented(THREE)
    answers = answers_of(THREE, known=none_started(none_started(made.weeks, "F00001"), "F00002"))
    assert set(answers.layout.weeks["facility"]) == {"F00003"}
    assert row_of(answers)["is_told"] and answers.homes.empty
    assert "none started" not in in_facility(answers, "F00003", made.plan)
    assert "none started" in in_facility(answers, "F00001", made.plan)


def test_a_single_facility_has_no_facilities_beside_each_other():
    assert one().homes.empty and row_of(one())["is_told"]


# --- what is left out ---


def test_starts_are_compared_or_say_why_not():
    made = invented(ONE)
    outside = answer(Weeks(made.weeks, 4, 2), made.measurements, made.plan, 10).outside.set_index("reason")["starters"]
    assert outside[ELIGIBLE] == row_of(one())["starters"]
    assert (outside[RUNNING], outside[UNSEEN]) == (4, 2)
    assert outside[TOO_LATE] > 0
    assert outside.drop([RUNNING, UNSEEN]).sum() == (made.weeks["starts"] != "").sum()  # a wound starts once


def test_untreated_weeks_could_have_been_started_or_say_why_not():
    could = one().could.set_index("reason")
    assert could["weeks"].sum() == invented(ONE).weeks["before"].sum()
    assert could.loc[ELIGIBLE, "weeks"] == len(one().layout.starters.week) + len(one().layout.others.week)
    assert could.loc[ELIGIBLE, "residents"] == found_of(one())["eligible_residents"]


# --- other exports ---


def test_without_a_calendar_all_starts_are_compared():
    made = invented(ONE)
    plan = Plan.model_validate(
        made.plan.model_dump() | {"program": {"name": "Invented", "basis": "safe_harbor"}, "windows": {}}
    )
    answers = answer(Weeks(made.weeks, 0, 0), made.measurements, plan, DRAWS)
    assert row_of(answers)["is_told"]
    assert row_of(answers)["starters"] > row_of(one())["starters"]
    assert TOO_LATE not in set(answers.outside["reason"])


NO_SESSION = {name: text for name, text in TWO_HOUSES.items() if name != "sessions"}
ONE_WOUND = {"measurements": "wound day length width state\nW1 120 4 3 open\nW1 127 4 2 open\n"}
SESSION = {"sessions": "wound day modality status\nW1 130 ultrasound given\n"}
DEGENERATE = {
    "no session": NO_SESSION,
    "two sessions": TWO_HOUSES,
    "no wound open": {"measurements": "wound day state\nW1 10 closed\n"},
    "one wound": ONE_WOUND,
    "one wound that started": ONE_WOUND | SESSION,
    "no calendar": TWO_HOUSES | {"plan": SAFE_HARBOR},
    "no calendar and one wound that started": ONE_WOUND | SESSION | {"plan": SAFE_HARBOR},
}


@pytest.mark.parametrize("name", DEGENERATE)
def test_studies_of_next_to_nothing_are_refused_whole_and_without_a_warning(name):
    study = drawn(**DEGENERATE[name])
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        answers = compared(study)
        ways = other_ways(study)
    assert len(answers.told) == 7 and not answers.told["is_told"].any()
    assert len(answers.needs) == 49
    assert not answers.needs.groupby(["treated", "beside"])["met"].all().any()
    assert np.isnan([numbers_of(row) for row in answers.told.to_dict("records")]).all()
    assert (answers.horizon_weeks, answers.measure) == (4, "early")
    assert set(comparisons(answers, study.plan)["level"]) == {"cannot say"}
    assert ways["amount"].isna().all() and (ways["not_computed"] != "").all()


# --- the planted truth ---


@pytest.fixture(scope="module")
def planted(lifelike):
    """The told rows against no modality, each with what its regimen did to the starters that are compared."""
    answers = compared(lifelike)
    truth = pd.read_csv(LIFELIKE / "truth.csv").set_index("wound")
    wounds = answers.layout.weeks["wound"].to_numpy()[answers.layout.starters.week]
    rows = answers.told[answers.told["beside"] == NONE].to_dict("records")
    did = {}
    for row in rows:
        own = truth.loc[wounds[(answers.layout.started == row["treated"]) | (row["treated"] == ANY)]]
        assert len(own) == row["starters"]
        did[row["treated"]] = own["closed_with"].mean() - own["closed_without"].mean()
    return rows, did


def test_the_ranges_of_the_early_response_hold_what_was_planted(lifelike):
    answers, truth = compared(lifelike), pd.read_csv(LIFELIKE / "truth.csv").set_index("wound")
    wounds = answers.layout.weeks["wound"].to_numpy()[answers.layout.starters.week]
    told = answers.told[answers.told["beside"] == NONE].to_dict("records")
    assert len(told) == 4
    for row in told:
        own = truth.loc[wounds[(answers.layout.started == row["treated"]) | (row["treated"] == ANY)]]
        small = own[["reduction_with", "reduction_without"]] >= 40
        share = small["reduction_with"].mean() - small["reduction_without"].mean()
        half = own["reduction_with"].median() - own["reduction_without"].median()
        assert row["early_low"] <= share <= row["early_high"], row["treated"]
        assert row["reduction_low"] <= half <= row["reduction_high"], row["treated"]


def test_the_range_of_every_comparison_holds_the_planted_difference(planted):
    rows, did = planted
    assert [row["is_told"] for row in rows] == [True] * 4
    assert did[ULTRASOUND] == 0 < did[MONOPOLAR]
    for row in rows:
        assert row["closed_low"] < did[row["treated"]] < row["closed_high"], row["treated"]


def test_the_inert_regimen_is_described_and_no_more(lifelike):
    assert level_of(row_of(compared(lifelike), ULTRASOUND), "closed") == "describes"


def test_the_starts_that_are_compared_are_counted_against_the_planted_ones(lifelike):
    """Whoever started, by the truth, is compared or left out for a reason."""
    outside = compared(lifelike).outside.set_index("reason")["starters"]
    assert outside[ELIGIBLE] == row_of(compared(lifelike))["starters"]
    planted = pd.read_csv(LIFELIKE / "truth.csv")["wound"]
    assert set(lifelike.episodes.loc[lifelike.episodes["start_day"].notna(), "wound"]) <= set(planted)
