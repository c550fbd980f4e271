"""Dressings taken down, minutes and single-use sets by week of a wound, drawn by hand and in the invented group."""

from pathlib import Path

import pandas as pd
import pytest

from kit.delivery.burden import burden, treated_weeks
from kit.delivery.context import in_context
from kit.quarter import within
from kit.study import read_study
from tests.drawn import PLAN, drawn

EXACT = 1e-9

LIFELIKE = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").split("[windows]")[0] + PLAN[PLAN.index("[[regimens]]") :]
HOUSE = {
    "residents": "resident facility\nR1 Alder\nR2 .\n",
    "wounds": "wound resident kind\nW1 R1 venous\nW2 R2 venous\n",
    "measurements": "wound day length width state\nW1 10 4 3 open\nW2 10 4 3 open\n",
}
HEAD = "wound day modality setup status minutes staff_minutes\n"


def weeks_of(sessions, plan=PLAN, **tables):
    study = drawn(**{**HOUSE, "sessions": HEAD + sessions, **tables}, plan=plan)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return treated_weeks(told, study.spans, study.plan)


def ordered(rows):
    return "resident wound span value per_week from_day to_day\n" + rows


def session(*days, what="stimulation monopolar", status="given", minutes="50", staff="."):
    return "".join(f"W1 {day} {what} {status} {minutes} {staff}\n" for day in days)


def test_a_week_is_counted_from_the_wounds_first_session():
    weeks = weeks_of(session(20, 26, 27, 41))
    # Days 20 to 26, 27 to 33, and 41 to 47; from 34 to 40 nothing was given.
    assert weeks[["week_ends", "sessions"]].to_numpy().tolist() == [[26, 2], [33, 1], [47, 1]]


@pytest.mark.parametrize(
    ("what", "disturbed"),
    [("stimulation monopolar", 3), ("stimulation bipolar", 0), ("ultrasound .", 3)],
)
def test_which_set_up_takes_the_dressing_down(what, disturbed):
    assert weeks_of(session(20, 22, 24, what=what))["disturbed"].tolist() == [disturbed]


@pytest.mark.parametrize("what", ["stimulation .", "other ."])
def test_a_session_that_may_or_may_not_disturb_leaves_the_week_unknown(what):
    weeks = weeks_of(session(20, what=what) + session(21))
    assert pd.isna(weeks["disturbed"].iloc[0]) and pd.isna(weeks["beyond"].iloc[0])
    assert pd.isna(weeks["sets_a_week"].iloc[0])


def test_a_day_with_two_sessions_takes_the_dressing_down_once():
    weeks = weeks_of(session(20) + session(20, what="ultrasound .") + session(21, what="stimulation bipolar"))
    assert weeks[["modality", "setup", "sessions", "disturbed"]].to_numpy().tolist() == [["several at once", "", 3, 1]]


def test_a_missed_session_disturbs_nothing_and_a_shortened_one_does():
    weeks = weeks_of(session(20) + session(21, status="missed", minutes=".") + session(22, status="shortened"))
    assert weeks[["sessions", "disturbed", "sets_a_week"]].to_numpy().tolist() == [[2, 2, 2]]


# Ordered 3 a week; taken down on 5 days: 2 beyond. On 2 days: max(0, 2 - 3) = 0.
@pytest.mark.parametrize(("days", "beyond"), [((20, 21, 22, 23, 24), 2), ((20, 21), 0)])
def test_dressings_beyond_the_ordered_changes(days, beyond):
    weeks = weeks_of(session(*days), spans=ordered("R1 W1 ordered_regimen dressing 3 10 .\n"))
    assert weeks[["ordered_changes", "beyond"]].to_numpy().tolist() == [[3, beyond]]


@pytest.mark.parametrize(
    "spans",
    [
        "R1 W1 ordered_regimen dressing 3 10 19\n",  # over before the week
        "R1 W1 ordered_regimen dressing 3 23 .\n",  # begun after its last treated day
        "R1 W1 ordered_regimen dressing . 10 .\n",  # without a frequency
        "R1 W1 ordered_regimen monopolar 5 10 .\n",  # of the modality
        "R2 . ordered_regimen dressing 3 10 .\n",  # of another person
    ],
)
def test_where_no_order_of_dressings_is_recorded_nothing_is_beyond_it(spans):
    weeks = weeks_of(session(20, 21, 22), spans=ordered(spans))
    assert weeks["disturbed"].tolist() == [3]
    assert weeks[["ordered_changes", "beyond"]].isna().all(axis=None)


def test_the_order_begun_last_holds_and_a_wounds_own_before_its_persons():
    two = "R1 W1 ordered_regimen dressing 7 10 .\nR1 W1 ordered_regimen dressing 3 22 .\n"
    assert weeks_of(session(20, 22), spans=ordered(two))["ordered_changes"].tolist() == [3]
    both = "R1 . ordered_regimen dressing 7 10 .\n. W1 ordered_regimen dressing 2 10 .\n"
    assert weeks_of(session(20, 22), spans=ordered(both))["ordered_changes"].tolist() == [2]
    assert weeks_of(session(20), spans=ordered(both.splitlines()[0] + "\n"))["ordered_changes"].tolist() == [7]


def test_staff_minutes_stand_beside_device_minutes_and_are_known_or_missing():
    weeks = weeks_of(session(20, staff="25") + session(22, staff="20") + session(27, staff="25") + session(28))
    assert weeks[["device_known", "staff_known", "device_a_week"]].to_numpy().tolist() == [[2, 2, 100], [2, 1, 100]]
    assert weeks["staff_a_week"].tolist()[0] == 45 and pd.isna(weeks["staff_a_week"].iloc[1])


def test_staff_minutes_of_one_session_of_two_wounds_are_shared():
    tables = {
        "residents": "resident facility\nR1 Alder\n",
        "wounds": "wound resident kind site\nW1 R1 venous sacrum\nW2 R1 venous heel\n",
        "sessions": "resident site also_site day modality status staff_minutes\n"
        "R1 sacrum heel 20 ultrasound given 30\n",
    }
    study = drawn(HOUSE["measurements"], **tables)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    weeks = treated_weeks(told, study.spans, study.plan)
    assert weeks[["wound", "staff_a_week"]].to_numpy().tolist() == [["W1", 15], ["W2", 15]]


def test_single_use_sets_are_the_plans():
    plan = PLAN + "[protocol]\nmonopolar_sets = 2\nbipolar_sets = 0.5\n"
    weeks = weeks_of(session(20, 21) + session(22, what="stimulation bipolar"), plan)
    assert weeks["sets_a_week"].tolist() == [2 * 2 + 0.5]


def test_the_table_is_means_over_weeks_in_which_it_is_known():
    spans = ordered("R1 W1 ordered_regimen dressing 2 10 30\n")
    weeks = weeks_of(session(20, 21, 22, staff="20") + session(34, staff="30") + session(35), spans=spans)
    row = burden(weeks).iloc[0]
    # Week 1: 3 days taken down, 2 ordered, 1 beyond, 60 staff minutes; week 3: 2 days, no order, one session unsaid.
    assert row[["modality", "setup", "wounds", "weeks", "sessions"]].tolist() == ["stimulation", "monopolar", 1, 2, 5]
    assert row[["disturbed_known", "changes_known", "beyond_known"]].tolist() == [2, 1, 1]
    assert row[["disturbed_a_week", "changes_a_week", "beyond_a_week"]].tolist() == [2.5, 2, 1]
    assert row[["device_known", "staff_known", "device_weeks", "staff_weeks"]].tolist() == [5, 4, 2, 1]
    assert row[["device_a_week", "staff_a_week", "sets_a_week"]].tolist() == [(150 + 100) / 2, 60, 2.5]


def test_what_nobody_recorded_is_missing_and_not_zero():
    row = burden(weeks_of(session(20, minutes="."))).iloc[0]
    assert row[["device_known", "staff_known", "staff_weeks", "changes_known"]].tolist() == [0, 0, 0, 0]
    assert row[["device_a_week", "staff_a_week", "changes_a_week", "beyond_a_week"]].isna().all()


def test_no_session_gives_empty_tables_with_their_columns():
    weeks = weeks_of(session(20, status="missed"))
    assert weeks.empty and "beyond" in weeks
    assert burden(weeks).empty and "sets_a_week" in burden(weeks)


def test_an_export_without_a_calendar_has_the_same_weeks():
    dated, plain = weeks_of(session(20, 27)), weeks_of(session(20, 27), SAFE_HARBOR)
    assert (dated["week_ends"] - plain["week_ends"]).tolist() == [10, 10]  # counted from the first record, day 10
    pd.testing.assert_frame_equal(dated.drop(columns="week_ends"), plain.drop(columns="week_ends"))


@pytest.fixture(scope="module")
def lifelike():
    study = read_study(LIFELIKE)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return study, told, treated_weeks(told, study.spans, study.plan)


def test_every_session_of_the_invented_group_lies_in_one_week(lifelike):
    _, told, weeks = lifelike
    assert weeks["sessions"].sum() == len(told)
    assert not weeks.duplicated(["wound", "week_ends"]).any()
    assert weeks["sessions"].max() <= 7


def test_in_the_invented_group_only_what_leaves_the_dressing_adds_no_changes(lifelike):
    study, _, weeks = lifelike
    table = burden(within(weeks, study.plan, "week_ends")).set_index(["modality", "setup"])
    assert table.loc[("stimulation", "bipolar"), ["disturbed_a_week", "beyond_a_week"]].tolist() == [0, 0]
    assert table.loc[("stimulation", "monopolar"), "beyond_a_week"] > 0
    monopolar = weeks[weeks["setup"] == "monopolar"]
    slow = sum(
        max(0, row.disturbed - row.ordered_changes) for row in monopolar.itertuples() if row.ordered_changes > 0
    ) / len(monopolar)
    whole = burden(weeks).set_index(["modality", "setup"])
    assert whole.loc[("stimulation", "monopolar"), "beyond_a_week"] == pytest.approx(slow, abs=EXACT)
