"""Delivery against the invented exports: every planted story is found, where, since when and why, and nothing else."""

import json
from pathlib import Path

import pandas as pd
import pytest

from kit.delivered import Delivered, delivered
from kit.delivery.agreement import OFF
from kit.delivery.context import in_context
from kit.delivery.settings import schedules
from kit.delivery.shortfalls import fate_of_each
from kit.plan import WEEK, day_of
from kit.study import Study, read_study

INVENTED = Path(__file__).parents[1] / "data" / "synthetic"
# Of the clean set: elements that were set as the protocol asks are off in no session at all. Minutes are short where a
# session was cut short (3.5% of those after the first, kit/synthetic/care.py), zone minutes besides where the charted
# size says another number of zones than the true one (fewer than 1%): 5% leaves room for both.
MOST_OFF, MOST_BY_SIZE = 0.05, 0.01
ALWAYS_AS_ASKED = ("pulse_rate", "polarity", "duty", "intensity", "frequency", "as_ordered")


@pytest.fixture(scope="module")
def study() -> Study:
    return read_study(INVENTED / "lifelike")


@pytest.fixture(scope="module")
def found(study) -> Delivered:
    return delivered(study)


@pytest.fixture(scope="module")
def clean() -> Delivered:
    return delivered(read_study(INVENTED / "clean"))


TRUTH = json.loads((INVENTED / "lifelike" / "truth.json").read_text(encoding="utf-8"))
STORIES = {story["story"]: story for story in TRUTH["stories"]}


def planted(story: str) -> set[int]:
    return set(STORIES[story]["rows"]["sessions"])


def days(story: str) -> list[int]:
    return [day_of(pd.Timestamp(STORIES[story][end]).date()) for end in ("from", "to")]


def unread(column: str) -> set[int]:
    """Rows of the log whose cell was planted to be unreadable or out of range."""
    faults = TRUTH["faults"]
    return {told["source_row"] for told in faults if (told["table"], told["column"]) == ("sessions", column)}


def judged(found: Delivered, facility: str, *elements: str) -> pd.DataFrame:
    rows = found.judged
    return rows[(rows["facility"] == facility) & rows["element"].isin(elements)]


def rows_that_are(found: Delivered, state: str, facility: str, *elements: str) -> set[int]:
    rows = judged(found, facility, *elements)
    told = rows["state"].astype(object).where(rows["recorded"].astype(bool), "unrecorded")
    return set(rows.loc[told == state, "source_row"])


def stretch(found: Delivered, facility: str, element: str, state: str):
    table = found.stretches.set_index(["facility", "element", "state"])
    return table.loc[(facility, element, state)]


def fates_of(study: Study, found: Delivered, story: str) -> set[tuple[str, str]]:
    told = fate_of_each(study.sessions, found.judged)[study.sessions["source_row"].isin(planted(story))]
    assert len(told) == len(planted(story))
    return set(told.itertuples(index=False, name=None))


# --- too short ---


def test_every_session_of_the_facility_that_treats_too_shortly_is_below_and_nobody_is_excused(found):
    """Planted in whole sessions after the build-up; the others that are below were cut short for a reason."""
    below = rows_that_are(found, "below", "Ostervane", "minutes")
    assert planted("underdosed") <= below
    assert len(planted("underdosed")) == 179
    rows = judged(found, "Ostervane", "minutes").set_index("source_row")
    assert set(rows.loc[list(planted("underdosed")), "decision"]) == {"train"}
    assert set(rows.loc[list(below - planted("underdosed")), "decision"]) == {"person"}


def test_it_is_said_to_have_been_so_from_its_first_such_session_and_to_last(study, found):
    told = stretch(found, "Ostervane", "minutes", "below")
    logged = study.sessions.set_index("source_row").loc[list(planted("underdosed")), "day"]
    assert told["course"] == "lasting"
    assert told["from_day"] == logged.min()
    assert told["to_day"] == logged.max()
    assert told["off"] / told["asked"] > 0.9


def test_it_stands_first_among_what_the_quarter_falls_short_of(found):
    first = found.shortfalls.iloc[0]
    assert (first["facility"], first["element"], first["decision"]) == ("Ostervane", "minutes", "train")


def test_its_median_is_the_planted_twenty_to_twenty_five_minutes(found):
    told = found.doses[found.doses["modality"] == "stimulation"].set_index("facility")["median"]
    assert told.loc["Ostervane"].between(20, 25).all()
    assert told.drop("Ostervane").between(45, 60).all()


# --- the schedule of polarity ---


def test_sessions_not_at_their_turn_are_exactly_the_planted_ones(found):
    assert rows_that_are(found, "against", "Ostervane", "polarity") == planted("polarity_not_kept")
    assert rows_that_are(found, "unrecorded", "Ostervane", "polarity") == set()


def test_the_schedule_is_kept_in_one_facility_and_in_the_other_not(study, found):
    table = schedules(found.told, study.plan)
    said = table[table["schedule"] != ""].groupby("facility")["schedule"].agg(set).to_dict()
    assert said["Tarnwick"] == {"kept"}
    assert said["Ostervane"] == {"not kept"}
    assert said["Quellmoor"] == said["Brindlemere"] == {"never turned"}


@pytest.mark.parametrize("facility", ["Tarnwick", "Quellmoor", "Brindlemere"])
def test_no_polarity_is_against_the_protocol_elsewhere(found, facility):
    assert set(judged(found, facility, "polarity")["state"]) == {"within"}


# --- motor responses ---


def test_motor_responses_are_exactly_the_nine_planted_ones(found):
    above = rows_that_are(found, "above", "Quellmoor", "sensation")
    assert above == planted("motor_level") and len(above) == 9
    rows = found.judged[found.judged["element"] == "sensation"]
    assert set(rows.loc[rows["state"] == "above", "facility"]) == {"Quellmoor"}
    assert stretch(found, "Quellmoor", "sensation", "above")["course"] == "now and then"


def test_who_feels_nothing_has_a_precaution_on_the_chart(found):
    rows = found.judged[(found.judged["element"] == "sensation") & (found.judged["state"] == "below")]
    assert set(rows["decision"]) == {"person"}


# --- not recorded ---


def test_minutes_that_are_not_recorded_are_exactly_the_planted_ones(found):
    """And, on other days, the cells that were planted to be unreadable."""
    unrecorded = rows_that_are(found, "unrecorded", "Quellmoor", "minutes", "zone_minutes")
    assert len(planted("therapist_leaves")) == 276
    assert planted("therapist_leaves") <= unrecorded
    assert unrecorded - planted("therapist_leaves") <= unread("minutes")
    rows = judged(found, "Quellmoor", "minutes", "zone_minutes").set_index("source_row")
    assert set(rows.loc[list(unrecorded), "decision"]) == {"record"}


def test_nobody_recorded_them_in_the_planted_eight_weeks_and_it_is_over(study, found):
    told = stretch(found, "Quellmoor", "minutes", "unrecorded")
    begins, ends = days("therapist_leaves")
    rows = judged(found, "Quellmoor", "minutes")
    inside = rows.loc[rows["source_row"].isin(planted("therapist_leaves")), "day"]
    assert told["course"] == "over"
    assert [told["from_day"], told["to_day"]] == [inside.min(), inside.max()]
    assert begins <= told["from_day"] and told["to_day"] <= ends
    assert told["off"] == told["asked"] == len(inside)


# --- missed ---


@pytest.mark.parametrize(
    ("story", "fates"),
    [
        ("outbreak", {("missed", "away")}),
        ("broken_device", {("missed", "supply")}),
        ("payer_ends", {("missed", "payer")}),
        ("refusals", {("missed", "person")}),
        ("underdosed", {("short", "train")}),
        ("therapist_leaves", {("no minutes", "record"), ("shortened", "person")}),
    ],
)
def test_every_planted_session_has_the_fate_and_the_decision_of_its_story(study, found, story, fates):
    assert fates_of(study, found, story) == fates


def test_weeks_of_the_outbreak_are_below_and_away(found):
    begins, ends = days("outbreak")
    weeks = judged(found, "Ostervane", "sessions_a_week")
    inside = weeks[(weeks["day"] - WEEK + 1 >= begins) & (weeks["day"] <= ends)]
    assert len(inside) >= 10
    assert set(inside["state"]) == {"below"}
    assert set(inside["decision"]) == {"away"}


def test_the_outbreak_is_dated_to_the_week(found):
    """A week is told from its first day, which may lie before the outbreak.

    After it one wound alone was treated, short of a session for three weeks more.
    """
    told = stretch(found, "Ostervane", "sessions_a_week", "below")
    begins, ends = days("outbreak")
    assert told["course"] == "over"
    assert begins - WEEK < told["from_day"] < begins + WEEK
    assert ends - WEEK < told["to_day"] <= ends + 3 * WEEK


def test_weeks_of_the_broken_device_are_below_and_a_matter_of_supply(found):
    """Ten days hold few whole weeks of any order; those within them were not given."""
    begins, ends = days("broken_device")
    weeks = judged(found, "Quellmoor", "sessions_a_week")
    inside = weeks[(weeks["day"] - WEEK + 1 >= begins) & (weeks["day"] <= ends)]
    assert len(inside) >= 3
    assert set(inside["state"]) == {"below"}
    assert set(inside["decision"]) == {"supply"}


def test_the_people_who_refuse_most_are_the_planted_ones(study):
    owner = study.wounds.set_index("wound")["resident"]
    refused = study.sessions[(study.sessions["reason"] == "refused") & (study.sessions["status"] == "missed")]
    most = refused["wound"].map(owner).value_counts()
    assert set(STORIES["refusals"]["residents"]) <= set(most.index[:6])


def test_fates_of_the_quarter_add_up_to_its_sessions(study, found):
    told = found.fates
    logged = told.loc[told["fate"] != "unlogged", "sessions"].sum()
    assert logged == study.sessions["day"].between(study.plan.quarter_begins, study.plan.cutoff).sum()


def test_every_session_given_is_judged_once_in_each_element_asked_of_it(study, found):
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    rows = found.judged[found.judged["source_row"].notna()]
    assert not rows.duplicated(["source_row", "wound", "element"]).any()
    assert set(rows["source_row"]) == set(told["source_row"])


# --- nothing planted ---


@pytest.mark.parametrize("element", ALWAYS_AS_ASKED)
def test_in_the_clean_set_nothing_that_was_set_is_off(clean, element):
    rows = clean.judged[clean.judged["element"] == element]
    assert len(rows) > 300
    assert not rows["state"].isin(OFF).any()
    assert rows["recorded"].all()


@pytest.mark.parametrize("element", ["minutes", "zone_minutes"])
def test_in_the_clean_set_minutes_are_short_where_a_session_was_cut_short_and_hardly_elsewhere(clean, element):
    rows = clean.judged[clean.judged["element"] == element]
    off = rows["state"].isin(OFF)
    assert 0 < off.mean() < MOST_OFF
    assert (off & (rows["decision"] == "train")).mean() < MOST_BY_SIZE


def test_in_the_clean_set_nobody_is_below_in_response_but_who_has_a_precaution(clean):
    rows = clean.judged[clean.judged["element"] == "sensation"]
    assert set(rows["state"]) == {"within", "below"}
    assert set(rows.loc[rows["state"] == "below", "decision"]) == {"person"}


def test_in_the_clean_set_no_element_of_a_session_has_a_stretch(clean):
    told = clean.stretches[clean.stretches["element"] != "sessions_a_week"]
    assert set(told["course"]) == {"now and then"}


def test_in_the_clean_set_no_decision_to_train_or_to_record_is_called_for(clean):
    """Zone minutes apart, whose zones are of the charted size."""
    told = clean.shortfalls[clean.shortfalls["element"] != "zone_minutes"]
    assert set(told["decision"]) <= {"", "person", "staff", "away"}
