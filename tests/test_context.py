"""What was known when a session was given: order within a day, minutes of the day, the last measurement, spans."""

import numpy as np
import pytest

from kit.delivery.context import NOT_NAMED, in_context, zones
from kit.glossary import RESULTS
from kit.vocabulary import TABLES
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

MEASURED = """
wound day length width depth tissue      state
W1    100 4      3     0.5   slough      open
W1    110 3      2     0.3   granulation open
"""
HOUSE = "resident facility\nR1 Quellmoor\n"
ADDED = [
    "resident", "facility", "number", "since_start", "day_minutes", "size", "depth", "tissue", "infected", "numb",
]  # fmt: skip


def context(sessions: str, measurements: str = MEASURED, **tables: str):
    return of(drawn(measurements, sessions=sessions, **tables))


def of(study):
    return in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)


def logged(*rows: str, columns: str = "wound day modality minutes status") -> str:
    return "\n".join([columns, *rows]) + "\n"


def stimulated(*days: int, status: str = "given") -> str:
    return logged(*(f"W1 {day} stimulation 45 {status}" for day in days))


# --- which sessions, in which order ---


def test_missed_sessions_and_those_of_unknown_status_are_no_sessions_given():
    told = context(
        logged(
            "W1 101 stimulation 45 given",
            "W1 102 stimulation . missed",
            "W1 103 stimulation 45 .",
            "W1 104 stimulation 10 shortened",
        )
    )
    assert told["day"].tolist() == [101, 104]
    assert told["source_row"].tolist() == [2, 5]


def test_an_export_that_never_says_what_became_of_a_session_lists_those_that_were_given():
    told = context(logged("W1 101 stimulation 45", "W1 103 stimulation 45", columns="wound day modality minutes"))
    assert told["day"].tolist() == [101, 103]


def test_days_are_numbered_from_the_first_and_two_sessions_of_a_day_share_a_number():
    told = context(
        logged(
            "W1 104 stimulation 30 given",
            "W1 101 stimulation 20 given",
            "W1 101 stimulation 25 given",
            "W1 108 stimulation 45 given",
        )
    )
    assert told["day"].tolist() == [101, 101, 104, 108]
    assert told["number"].tolist() == [1, 1, 2, 3]
    assert told["since_start"].tolist() == [0, 0, 3, 7]


def test_the_days_of_another_modality_are_numbered_apart():
    """Minutes of stimulation are built up from its own first session, whatever was given before."""
    told = context(
        logged(
            "W1 101 ultrasound 5 given",
            "W1 102 ultrasound 5 given",
            "W1 103 stimulation 20 given",
            "W1 103 ultrasound 5 given",
            "W1 104 stimulation 30 given",
        )
    )
    assert told.groupby("modality", observed=True)["number"].agg(list).to_dict() == {
        "stimulation": [1, 2],
        "ultrasound": [1, 2, 3],
    }
    assert told["since_start"].tolist() == [0, 1, 2, 2, 3]


def test_each_wound_is_counted_by_itself():
    wounds = "wound resident\nW1 R1\nW2 R1\n"
    told = context(
        logged("W2 105 stimulation 45 given", "W1 101 stimulation 45 given", "W2 103 stimulation 45 given"),
        wounds=wounds,
    )
    assert list(zip(told["wound"], told["number"], told["since_start"], strict=True)) == [
        ("W1", 1, 0),
        ("W2", 1, 0),
        ("W2", 2, 2),
    ]


# --- minutes of the day ---


def test_two_sessions_of_one_modality_on_a_day_add_up_and_the_other_modality_stays_apart():
    told = context(logged("W1 101 stimulation 20 given", "W1 101 stimulation 25 given", "W1 101 ultrasound 5 given"))
    assert told["day_minutes"].tolist() == [20 + 25, 20 + 25, 5]


def test_minutes_of_a_day_of_which_a_part_is_not_recorded_are_not_known():
    told = context(logged("W1 101 stimulation 20 given", "W1 101 stimulation . given", "W1 102 stimulation 45 given"))
    assert told["day_minutes"].isna().tolist() == [True, True, False]


def test_a_missed_part_of_the_day_takes_nothing_from_its_minutes():
    told = context(logged("W1 101 stimulation 45 given", "W1 101 stimulation . missed"))
    assert told["day_minutes"].tolist() == [45]


# --- whose, and where ---


def test_the_facility_is_that_of_the_wounds_person():
    told = context(stimulated(101), residents=HOUSE)
    assert (told["resident"][0], told["facility"][0]) == ("R1", "Quellmoor")


@pytest.mark.parametrize("residents", ["resident facility\nR1 .\n", "resident age\nR1 80\n", None])
def test_a_person_whose_house_is_not_told_lives_in_one_that_is_not_named(residents):
    tables = {} if residents is None else {"residents": residents}
    assert context(stimulated(101), **tables)["facility"].tolist() == [NOT_NAMED]


# --- the last measurement ---


def test_the_measurement_of_the_day_itself_comes_before_the_session():
    told = context(stimulated(110))
    assert (told["size"][0], told["depth"][0], told["tissue"][0]) == (3 * 2, 0.3, "granulation")


@pytest.mark.parametrize(("day", "size"), [(99, None), (100, 12), (107, 12), (108, None), (109, None), (117, 6)])
def test_a_measurement_is_known_for_seven_days(day, size):
    """4 x 3 cm on day 100, 3 x 2 on day 110: on day 108 the one is eight days old and the other not yet made."""
    found = context(stimulated(day))["size"].iloc[0]
    assert np.isnan(found) if size is None else found == size


def test_the_plan_says_for_how_long_a_measurement_is_known():
    plan = PLAN.replace("[windows]", "[sizes]\nfresh_days = 9\n[windows]")
    assert context(stimulated(109), plan=plan)["size"].tolist() == [12]


def test_a_closed_measurement_tells_nothing_of_a_bed():
    """Closed on day 105 and open again on day 110: on day 106 what was last seen open counts."""
    again = MEASURED + "W1 105 . . . . closed\n"
    assert context(stimulated(106), measurements=again)["size"].tolist() == [12]


def test_rows_keep_the_order_of_wound_and_day_whatever_the_order_of_measurements():
    wounds = "wound resident\nW1 R1\nW2 R1\n"
    measured = "wound day length width state\nW2 100 2 1 open\nW1 103 4 3 open\n"
    told = context(
        logged("W2 101 stimulation 45 given", "W1 104 stimulation 45 given"), measurements=measured, wounds=wounds
    )
    assert list(zip(told["wound"], told["day"], told["size"], strict=True)) == [("W1", 104, 12), ("W2", 101, 2)]


# --- infection and sensation ---


@pytest.mark.parametrize(
    ("day", "infected"),
    [(100, False), (101, True), (105, True), (106, False)],
    ids=["before", "first", "last", "after"],
)
@pytest.mark.parametrize("span", ["infection", "antibiotic"])
def test_an_infection_holds_from_its_first_to_its_last_day(span, day, infected):
    told = context(stimulated(day), spans=f"resident wound span from_day to_day\n. W1 {span} 101 105\n")
    assert told["infected"].tolist() == [infected]


@pytest.mark.parametrize(
    ("line", "infected", "perhaps"),
    [
        (". W1 infection 101 .", True, False),
        ("R1 . infection 101 .", False, True),
        ("R1 W2 infection 101 .", False, False),
        ("R2 . infection 101 .", False, False),
    ],
    ids=["of the wound", "of the person", "of the person's other wound", "of somebody else"],
)
def test_an_infection_of_the_person_is_perhaps_one_of_the_wound(line, infected, perhaps):
    told = context(
        stimulated(110),
        wounds="wound resident\nW1 R1\nW2 R1\nW3 R2\n",
        residents="resident\nR1\nR2\n",
        spans=f"resident wound span from_day to_day\n{line}\n",
    )
    assert (told["infected"].tolist(), told["perhaps_infected"].tolist()) == ([infected], [perhaps])


@pytest.mark.parametrize(
    ("value", "numb"),
    [("reduced_sensation", True), ("cannot_report", True), ("yes", True), (".", True), ("metal", False)],
)
def test_a_precaution_for_what_is_felt_or_without_a_word_for_what_counts_as_feeling_less(value, numb):
    told = context(stimulated(110), spans=f"resident span value from_day\nR1 precaution {value} 100\n")
    assert told["numb"].tolist() == [numb]


def test_a_contraindication_says_nothing_of_what_is_felt():
    told = context(stimulated(110), spans="resident span value from_day\nR1 contraindication reduced_sensation 100\n")
    assert told["numb"].tolist() == [False]


# --- what an export may lack ---


def test_where_nothing_beside_wound_day_and_modality_is_told_everything_else_is_missing():
    told = context("wound day modality\nW1 101 stimulation\n", measurements="wound day state\nW1 100 open\n")
    assert told["number"].tolist() == [1]
    assert told[["day_minutes", "size", "depth", "tissue"]].isna().all(axis=None)
    assert not told[["infected", "numb"]].any(axis=None)


def test_without_a_session_there_is_an_empty_frame_with_every_column():
    told = context(logged())
    assert told.empty and set(ADDED) < set(told)
    assert told.equals(of(drawn(MEASURED)))


def test_without_a_calendar_the_days_of_each_person_are_their_own():
    told = context(stimulated(1, 4), measurements=MEASURED.replace("100", "1"), plan=SAFE_HARBOR)
    assert told["since_start"].tolist() == [0, 3]
    assert told["size"].tolist() == [12, 12]


def test_every_column_is_in_the_vocabulary_or_the_glossary():
    known = {column.name for table in TABLES.values() for column in table.columns}
    assert set(ADDED) <= known | set(RESULTS)


# --- zones ---


def zoned(length: float, width: float, area: str = "5", plan: str = PLAN):
    measured = f"wound day length width state\nW1 100 {length} {width} open\n"
    sessions = logged(f"W1 101 ultrasound 5 given {area}", columns="wound day modality minutes status radiating_area")
    study = drawn(measured, sessions=sessions, plan=plan)
    return zones(of(study), study.plan).iloc[0].tolist()


def test_a_zone_is_twice_the_heads_radiating_area():
    """12 cm2 under a head of 5 cm2: 12 / (2 x 5) = 1.2 zones, or two where a part is treated as a whole one."""
    assert zoned(4, 3) == [pytest.approx(1.2), 2]


def test_a_wound_smaller_than_a_zone_has_one():
    assert zoned(2, 1) == [1, 1]


def test_a_wound_of_exactly_two_zones_has_two():
    assert zoned(5, 4) == [2, 2]


def test_the_plan_says_how_large_a_zone_is():
    """One head a zone: 12 / 5 = 2.4 zones."""
    assert zoned(4, 3, plan=PLAN + "[protocol]\nzone_heads = 1\n") == [pytest.approx(2.4), 3]


@pytest.mark.parametrize(("length", "area"), [(".", "5"), (4, ".")], ids=["size", "head"])
def test_zones_are_not_known_without_the_wounds_size_or_the_heads_area(length, area):
    assert np.isnan(zoned(length, 3, area)).all()
