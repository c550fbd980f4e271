"""The invented exports: shaped as the vocabulary says, made the same again, and every planted thing really in them."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.faults import FAULTS
from kit.plan import read_plan
from kit.synthetic import group
from kit.synthetic.export import KINDS, invent, write, write_all
from kit.synthetic.messy import WORKBOOK
from kit.synthetic.world import CUTOFF, SEED, at
from kit.vocabulary import TABLES

COMMITTED = Path(__file__).parent.parent / "data" / "synthetic"
# Points per 100 wounds; twenty starters a regimen leave the planted effect this uncertain in one invented group.
PLANTED_POINTS = {"monopolar": (15, 20), "bipolar": (6, 10), "ultrasound": (0, 0)}
CUTOFF_DATE, FIRST_DATE = "2026-06-30", "2025-01-01"
UNLISTED = {"unknown", "impossible"}  # faults of the lifelike set that leave a value outside the vocabulary


@pytest.fixture(scope="module")
def inventions():
    return {kind: invent(kind) for kind in KINDS}


@pytest.fixture(scope="module")
def clean(inventions):
    return inventions["clean"].tables


@pytest.fixture(scope="module")
def lifelike(inventions):
    return Told(inventions["lifelike"])


@pytest.fixture(scope="module")
def world():
    return group.settle(SEED)


class Told:
    """An invention whose stories can be asked for their rows."""

    def __init__(self, invention):
        self.tables, self.truth, self.starters = invention.tables, invention.truth, invention.starters
        self.facility = self.tables["residents"].set_index("resident")["facility"]
        self.owner = self.tables["wounds"].set_index("wound")["resident"]

    def story(self, name):
        return next(story for story in self.truth["stories"] if story["story"] == name)

    def rows(self, name, table):
        """The rows of a story, by the row numbers of the file, whose header is row 1."""
        return self.tables[table].iloc[np.array(self.story(name)["rows"][table]) - 2]

    def untouched(self, table):
        """The rows of a table that carry no planted fault, with their facility beside."""
        frame = self.tables[table].reset_index(drop=True)
        spoilt = {line["source_row"] - 2 for line in self.truth["faults"] if line["table"] == table}
        frame = frame[~frame.index.isin(spoilt)]
        person = frame["wound"].map(self.owner).fillna(frame.get("resident", np.nan))
        return frame.assign(facility=person.map(self.facility))

    def measured(self, wound):
        frame = self.untouched("measurements")
        return frame[frame["wound"] == wound]


def given(sessions):
    return sessions[sessions["status"] != "missed"]


# ---------------------------------------------------------------------------------------------------------- shape


def test_the_group_has_the_size_of_a_program_of_four_facilities(clean):
    residents, wounds = clean["residents"], clean["wounds"]
    assert len(residents) == 300 and residents["facility"].nunique() == 4
    assert 410 <= len(wounds) <= 430
    firsts = clean["measurements"].groupby("wound")["day"].min()
    assert 85 <= (firsts < "2025-01-22").sum() <= 115
    assert (residents["age"] == "90").mean() > 0.15
    assert (wounds["kind"] == "pressure_injury").mean() == pytest.approx(0.65, abs=0.05)


def test_few_wounds_are_ever_treated_and_most_have_twelve_weeks_left(inventions):
    starters = inventions["clean"].starters
    assert 55 <= len(starters) <= 75
    assert (starters["start_day"] <= "2026-04-07").sum() >= 55
    assert starters["facility"].value_counts().iloc[:3].sum() >= 0.85 * len(starters)
    assert starters["regimen"].value_counts().min() >= 15


@pytest.mark.parametrize("kind", KINDS)
def test_an_export_has_the_columns_of_the_vocabulary_in_its_order(inventions, kind):
    for name, frame in inventions[kind].tables.items():
        assert list(frame.columns) == list(TABLES[name].names)


@pytest.mark.parametrize("kind", ["clean", "lifelike"])
def test_values_outside_the_vocabulary_are_the_planted_ones(inventions, kind):
    invention = inventions[kind]
    found = {
        (name, int(row) + 2, column.name)
        for name, frame in invention.tables.items()
        for column in TABLES[name].columns
        for row in np.flatnonzero(outside(frame[column.name], column))
    }
    planted = {
        (line["table"], line["source_row"], line["column"])
        for line in invention.truth["faults"]
        if line["fault"] in UNLISTED
    }
    assert found == planted


def outside(cells, column):
    """Which cells are not what the vocabulary allows."""
    filled = cells != ""
    if column.required and not filled.all():
        return ~filled
    if column.kind == "number":
        numbers = pd.to_numeric(cells.where(filled))
        return (numbers < column.low) | (numbers > column.high)
    if column.kind == "day":
        return filled & ~cells.str.fullmatch(r"20\d\d-\d\d-\d\d")
    if column.allowed:
        return filled & ~cells.isin(column.allowed)
    return filled & ~cells.str.fullmatch(r"[RW]\d{4}|S\d\d|[A-Z][a-z]+")


def test_keys_are_unique_in_the_clean_set(clean):
    for name, frame in clean.items():
        assert not frame.duplicated(list(TABLES[name].key)).any(), name


def test_everything_in_the_clean_set_belongs_to_somebody(clean):
    for name, frame in clean.items():
        if "resident" in frame:
            assert frame["resident"].isin([*clean["residents"]["resident"], ""]).all(), name
        if "wound" in frame:
            assert frame["wound"].isin([*clean["wounds"]["wound"], ""]).all(), name


def test_the_clean_set_ends_at_the_cutoff_and_nothing_happens_after_death(clean):
    dead = clean["departures"].query("reason == 'died'").set_index("resident")["day"]
    death = clean["wounds"].set_index("wound")["resident"].map(dead)
    for name in ("measurements", "sessions", "procedures"):
        assert clean[name]["day"].between(FIRST_DATE, CUTOFF_DATE).all()
        assert not (clean[name]["day"] > clean[name]["wound"].map(death)).any()


def test_no_stage_is_charted_lower_later(clean):
    staged = clean["measurements"].query("stage in ('1', '2', '3', '4')")
    assert (staged["stage"].astype(int).groupby(staged["wound"]).diff().fillna(0) >= 0).all()


# ------------------------------------------------------------------------------------------------------- the same


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not(tmp_path):
    for name, seed in (("first", SEED), ("again", SEED), ("other", SEED + 1)):
        write(invent("lifelike", seed), tmp_path / name)
    files = {
        name: {file.name: file.read_bytes() for file in (tmp_path / name).iterdir()} for name in ("first", "again")
    }
    assert files["first"] == files["again"]
    assert (tmp_path / "other" / "wounds.csv").read_bytes() != files["first"]["wounds.csv"]


def test_the_committed_sets_are_what_the_code_makes_now(tmp_path):
    write_all(tmp_path)
    for kind in KINDS:
        names = sorted(file.name for file in (tmp_path / kind).iterdir())
        assert names == sorted(file.name for file in (COMMITTED / kind).iterdir())
        for name in names:
            made, kept = ((folder / kind / name).read_bytes() for folder in (tmp_path, COMMITTED))
            assert made == kept.replace(b"\r\n", b"\n"), f"{kind}/{name}: run `python -m kit invent`"
    assert sorted(file.name for file in (tmp_path / "messy").iterdir()) == [WORKBOOK, "study-plan.toml"]
    for name in (WORKBOOK, "study-plan.toml"):
        made, kept = ((folder / "messy" / name).read_bytes() for folder in (tmp_path, COMMITTED))
        assert made == (kept if name == WORKBOOK else kept.replace(b"\r\n", b"\n")), f"messy/{name}: invent again"


def test_another_kind_is_refused():
    with pytest.raises(ValueError, match="clean, lifelike, broken"):
        invent("tidy")


def test_the_plan_beside_each_set_can_be_read():
    for kind in KINDS:
        plan = read_plan(COMMITTED / kind / "study-plan.toml")
        assert [regimen.name for regimen in plan.regimens] == [
            "monopolar stimulation", "bipolar stimulation", "ultrasound",
        ]  # fmt: skip
        assert (plan.cutoff - plan.quarter_begins, plan.program.basis) == (90, "operations")
    plan = read_plan(COMMITTED / "messy" / "study-plan.toml")
    assert [regimen.modality for regimen in plan.regimens] == ["stimulation", "ultrasound"]


# ------------------------------------------------------------------------------------------------------ the truth


def test_a_start_never_makes_a_closing_later_and_ultrasound_changes_nothing(world):
    sores = world.sores
    with_start, without = (sores[f"closes_{arm}"].fillna(np.inf) for arm in ("with", "without"))
    assert (with_start <= without).all()
    inert = sores["regimen"].isin(["", "ultrasound"])
    assert (with_start[inert] == without[inert]).all()


def test_the_planted_effects_are_as_large_as_promised(world, inventions):
    truth = group.starters(world)
    gained = 100 * (truth["closed_with"] - truth["closed_without"]).groupby(truth["regimen"]).mean()
    for regimen, (low, high) in PLANTED_POINTS.items():
        assert low <= gained[regimen] <= high
    told = {row["regimen"]: row["points"] for row in inventions["broken"].truth["closed_within_twelve_weeks"]}
    assert told == {regimen: pytest.approx(gained[regimen], abs=0.05) for regimen in PLANTED_POINTS}


def test_under_standard_care_well_over_a_third_close_within_twelve_weeks(world):
    sores = world.sores[world.sores["entry"] <= CUTOFF - 84]
    closed = (sores["closes_without"] <= sores["entry"] + 84) & ~(sores["left_day"] < sores["closes_without"])
    assert closed.mean() == pytest.approx(0.38, abs=0.04)


def test_two_to_two_and_a_half_in_a_hundred_die_in_a_month(world):
    people = world.people
    months = (people["gone"].fillna(CUTOFF) - people["arrival"]).sum() / 30.44
    died = (people["gone"].notna() & (people["gone_by"] == "died")).sum()
    assert 1.6 <= 100 * died / months <= 2.9


def test_a_closing_is_charted_at_the_first_measurement_after_it_is_true(world, clean):
    measured = clean["measurements"].assign(day=pd.to_datetime(clean["measurements"]["day"]))
    first = pd.Timestamp(FIRST_DATE)
    closes = first + pd.to_timedelta(world.sores.set_index("wound")["closes_with"], unit="D")
    due = measured["day"] >= measured["wound"].map(closes)
    assert (due == (measured["state"] == "closed")).all()
    assert measured[due].groupby("wound").size().isin([1, 2]).all()


@pytest.mark.parametrize("kind", KINDS)
def test_the_first_session_is_the_start_and_tells_the_regimen(inventions, kind):
    told = Told(inventions[kind])
    truth = told.starters.set_index("wound")
    taken = given(told.untouched("sessions")).sort_values("day")
    first = taken[taken["wound"].isin(truth.index)].groupby("wound").first()
    assert (first["day"] == truth["start_day"]).all()
    assert (first["setup"].where(first["setup"] != "", first["modality"]) == truth["regimen"]).all()


def test_all_three_sets_tell_of_the_same_truth(inventions):
    for kind in ("lifelike", "broken"):
        pd.testing.assert_frame_equal(inventions[kind].starters, inventions["clean"].starters)


# ---------------------------------------------------------------------------------------------------- the stories


def test_no_session_is_given_before_a_program_begins(lifelike):
    sessions = lifelike.untouched("sessions")
    launches = {s["facility"]: s["from"] for s in lifelike.truth["stories"] if s["story"] == "launch"}
    assert len(set(launches.values())) == 4
    assert (sessions["day"] > sessions["facility"].map(launches)).all()


def test_rounds_of_one_building_fall_on_wednesdays(lifelike):
    measured = lifelike.untouched("measurements")
    weekday = pd.to_datetime(measured["day"]).dt.dayofweek.groupby(measured["facility"])
    assert weekday.nunique()[lifelike.story("wednesdays")["facility"]] == 1
    assert weekday.get_group("Quellmoor").eq(2).all()


def test_one_building_reads_half_centimetres(lifelike):
    measured = lifelike.untouched("measurements").query("state == 'open'")
    sizes = measured[["length", "width"]].astype(float)
    halves = (sizes % 0.5 == 0).all(axis=1).groupby(measured["facility"]).mean()
    assert halves["Ostervane"] == 1
    assert halves.drop("Ostervane").max() < 0.2


def test_one_assessor_copies_the_last_size_forward(lifelike):
    measured = lifelike.tables["measurements"]
    before = measured.groupby("wound")[["length", "width"]].shift()
    same = (measured[["length", "width"]] == before).all(axis=1) & (measured["state"] == "open")
    rows = lifelike.rows("copied", "measurements")
    assert len(rows) > 100 and set(rows["assessor"]) == {"S12"}
    # The rest are next to a planted fault.
    assert same[rows.index].mean() > 0.95
    assert same[measured["assessor"] == "S12"].mean() > 2 * same[measured["assessor"] == "S11"].mean()


def test_an_outbreak_stops_sessions_and_most_rounds_for_six_weeks(lifelike, clean):
    story = lifelike.story("outbreak")
    rows = lifelike.rows("outbreak", "sessions")
    assert len(rows) >= 20
    assert set(zip(rows["status"], rows["reason"], strict=True)) == {("missed", "isolation")}
    sessions = lifelike.untouched("sessions").query("facility == @story['facility']")
    assert given(sessions)["day"].between(story["from"], story["to"]).sum() == 0
    still = clean["measurements"]["day"].between(story["from"], story["to"])
    place = clean["measurements"]["wound"].map(lifelike.owner).map(lifelike.facility)
    assert len(lifelike.rows("few_measured", "measurements")) < 0.35 * (still & (place == story["facility"])).sum()


def test_a_device_is_broken_for_ten_days(lifelike):
    story, rows = lifelike.story("broken_device"), lifelike.rows("broken_device", "sessions")
    assert pd.Timestamp(story["to"]) - pd.Timestamp(story["from"]) == pd.Timedelta(days=9)
    assert len(rows) >= 10 and rows["reason"].eq("equipment").all()
    sessions = lifelike.untouched("sessions").query("facility == @story['facility']")
    assert given(sessions)["day"].between(story["from"], story["to"]).sum() == 0


def test_a_therapist_leaves_and_nothing_is_recorded_for_weeks(lifelike):
    story, rows = lifelike.story("therapist_leaves"), lifelike.rows("therapist_leaves", "sessions")
    sessions = lifelike.untouched("sessions").query("therapist == 'S02'")
    assert (sessions["day"] < story["from"]).all() and len(sessions) > 50
    assert len(rows) > 50 and rows[["minutes", "volts"]].eq("").all(axis=None)


def test_refusals_come_from_a_few_people(lifelike):
    sessions = lifelike.untouched("sessions")
    person = sessions["wound"].map(lifelike.owner).fillna(sessions["resident"])
    refused = (sessions["reason"] == "refused") & (sessions["status"] == "missed")
    few = person.isin(lifelike.story("refusals")["residents"])
    assert refused[few].mean() > 5 * refused[~few].mean()


def test_a_payer_ends_the_treatment_of_several(lifelike):
    story, rows = lifelike.story("payer_ends"), lifelike.rows("payer_ends", "sessions")
    last = lifelike.untouched("sessions").groupby("wound").last()
    spans = lifelike.tables["spans"]
    assert len(story["residents"]) == len(story["wounds"]) == 5
    assert set(rows["reason"]) == {"payer"}
    assert (last.loc[story["wounds"], "reason"] == "payer").all()
    for person in story["residents"]:
        payers = spans[(spans["resident"] == person) & (spans["span"] == "payer")].sort_values("from_day")
        assert payers["value"].iloc[-1] == "private"


def test_hospice_is_on_the_chart_and_ends_treatment(lifelike):
    rows = lifelike.rows("hospice", "spans")
    assert len(rows) >= 10 and set(rows["span"]) == {"comfort_goal"}
    begins = rows.set_index("resident")["from_day"]
    sessions = lifelike.untouched("sessions")
    assert not (sessions["day"] >= sessions["wound"].map(lifelike.owner).map(begins)).any()


def test_one_person_has_five_wounds_of_which_two_are_treated(lifelike):
    (person,) = lifelike.story("five_wounds")["residents"]
    wounds = lifelike.tables["wounds"].query("resident == @person")["wound"]
    assert len(wounds) == 5 and wounds.isin(lifelike.tables["sessions"]["wound"]).sum() == 2


def test_a_debrided_wound_seems_to_grow(lifelike):
    for wound in lifelike.story("debrided_grows")["wounds"]:
        measured = lifelike.measured(wound)
        sizes = pd.to_numeric(measured["length"]) * pd.to_numeric(measured["width"])
        grown = lifelike.rows("debrided_grows", "measurements").query("wound == @wound")["day"]
        before = sizes[measured["day"] < grown.min()].iloc[-1]
        assert (sizes[measured["day"].isin(grown)] > before).all()


def test_some_wounds_vanish(lifelike):
    departed = lifelike.tables["departures"]["resident"]
    rows = lifelike.rows("vanished", "measurements")
    assert len(rows) == 5
    for wound in rows["wound"]:
        last = lifelike.measured(wound).iloc[-1]
        assert last["state"] == "open" and last["day"] < "2026-05-02"
        assert not departed.isin([lifelike.owner[wound]]).any()


def test_a_coccyx_becomes_a_sacrum(lifelike):
    old, new = lifelike.story("coccyx_becomes_sacrum")["wounds"]
    wounds = lifelike.tables["wounds"].set_index("wound")
    assert (wounds.loc[old, "site"], wounds.loc[new, "site"]) == ("coccyx", "sacrum")
    assert wounds.loc[old, "resident"] == wounds.loc[new, "resident"]
    first, last = lifelike.measured(new).iloc[0], lifelike.measured(old).iloc[-1]
    assert last["state"] == "open"
    assert pd.Timedelta(0) < pd.Timestamp(first["day"]) - pd.Timestamp(last["day"]) <= pd.Timedelta(days=21)


def test_one_facility_underdoses(lifelike):
    sessions = lifelike.untouched("sessions").query("status == 'given' and modality == 'stimulation' and minutes != ''")
    minutes = sessions["minutes"].astype(float).groupby(sessions["facility"])
    assert minutes.max()["Ostervane"] <= 25
    assert minutes.median().drop("Ostervane").min() >= 45


def test_the_first_session_is_a_short_one(clean):
    first = clean["sessions"].drop_duplicates("wound").query("modality == 'stimulation'")
    assert first["minutes"].eq("20").all()


def test_the_polarity_schedule_is_kept_in_one_building_and_not_in_another(lifelike):
    sessions = given(lifelike.untouched("sessions")).query("setup == 'monopolar' and wound != ''")
    since = pd.to_datetime(sessions["day"]) - pd.to_datetime(sessions.groupby("wound")["day"].transform("min"))
    planned = np.where(since.dt.days // 3 % 2, "positive", "negative")
    kept = (sessions["polarity"] == planned).groupby(sessions["facility"]).mean()
    assert kept["Tarnwick"] == 1
    assert 0.4 < kept["Ostervane"] < 0.8


def test_a_few_sessions_reach_motor_level(lifelike):
    assert len(lifelike.rows("motor_level", "sessions")) == 9
    assert (lifelike.tables["sessions"]["sensation"] == "motor").sum() >= 9


def test_sessions_are_given_inside_a_contraindication(lifelike):
    (span,) = lifelike.rows("contraindicated", "spans").to_dict("records")
    rows = lifelike.rows("contraindicated", "sessions")
    assert span["span"] == "contraindication" and len(rows) >= 5
    assert rows["day"].between(span["from_day"], span["to_day"]).all() and len(given(rows)) == len(rows)


def test_sessions_that_name_no_wound_point_to_one(lifelike):
    rows = lifelike.rows("wound_not_named", "sessions")
    wounds = lifelike.tables["wounds"].groupby(["resident", "site"])["wound"].agg(list)
    assert len(rows) >= 5 and rows["wound"].eq("").all()
    pointed = {tuple(wounds[person, site]) for person, site in zip(rows["resident"], rows["site"], strict=True)}
    assert sorted(pointed) == [(wound,) for wound in lifelike.story("wound_not_named")["wounds"]]


def test_where_everything_is_fine_the_lifelike_set_is_the_clean_one(lifelike, clean):
    fine = set(lifelike.facility[lifelike.facility == lifelike.story("all_fine")["facility"]].index)
    wounds = set(lifelike.owner[lifelike.owner.isin(fine)].index)
    for name, frame in clean.items():
        told, plain = (
            rows[rows.get("resident", pd.Series("")).isin(fine) | rows.get("wound", pd.Series("")).isin(wounds)]
            for rows in (lifelike.tables[name], frame)
        )
        pd.testing.assert_frame_equal(told.reset_index(drop=True), plain.reset_index(drop=True))


def test_relief_before_debridement_takes_its_planted_share_of_the_pain(clean):
    done = clean["procedures"].query("procedure == 'debridement' and pain_during != ''")
    pain = (done["pain_during"].astype(float) - done["pain_before"].astype(float)).groupby(done["relief"]).mean()
    assert 0.7 < pain["no"] - pain["yes"] < 2.2


# ----------------------------------------------------------------------------------------------------- the faults


def test_about_one_row_in_a_hundred_of_the_lifelike_set_is_faulty(lifelike):
    rows = sum(len(frame) for frame in lifelike.tables.values())
    assert 0.005 < len(lifelike.truth["faults"]) / rows < 0.015


def test_the_broken_set_holds_at_least_five_of_every_fault(inventions):
    counts = pd.DataFrame(inventions["broken"].truth["faults"])["fault"].value_counts()
    assert set(counts.index) == set(FAULTS)
    assert counts.min() >= 5


@pytest.mark.parametrize("kind", ["lifelike", "broken"])
def test_every_planted_fault_names_a_row_and_a_column_that_are_there(inventions, kind):
    told = inventions[kind]
    for line in told.truth["faults"]:
        frame = told.tables[line["table"]]
        assert 2 <= line["source_row"] <= len(frame) + 1
        assert line["column"] in ("", *frame.columns)


def test_a_wound_carries_one_planted_fault_of_its_measurements(inventions):
    told = inventions["broken"]
    lines = pd.DataFrame(told.truth["faults"]).query("table == 'measurements'")
    wounds = told.tables["measurements"]["wound"].iloc[lines["source_row"] - 2]
    named = wounds[(wounds != "") & ~wounds.str.startswith("W90")]
    assert not named.duplicated().any()


def test_a_started_wound_was_measured_open_after_two_weeks_of_usual_care(world):
    started = world.sores[world.sores["start"].notna()]
    assert (started["start"] - started["entry"] > 14).all()
    assert (started["start"] >= at(2025, 4, 7)).all()
