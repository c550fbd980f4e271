"""The sizes of a study followed over time: which rows models read, with which columns, and what is made once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd
import pytest

from kit.compared import weeks
from kit.followed import courses_of, first_weeks_of, forecasts_of, slopes_of, standing_in, standing_of
from kit.study import Study
from kit.trajectories import courses as module
from kit.trajectories.courses import (
    DEEP,
    OTHERS,
    RANDOM_FROM,
    SHALLOW,
    SLOPE_FROM,
    UNSTAGED,
    Courses,
    courses,
    design,
    design_as_charted,
    split_at_start,
    with_closings,
)
from kit.trajectories.delayed import forecasts
from kit.trajectories.standing import NOT_TOLD, TOO_FEW
from kit.trajectories.summaries import summaries, summary_table
from tests.drawn import PLAN, TWO_HOUSES, drawn

EXACT = 1e-12  # the same arithmetic in another order
FIRST = 101  # of fifteen weekly rounds: the last falls on day 199, the day before the cut-off
HEADER = "wound day length width state\n"
FEW_COURSES = drawn(**TWO_HOUSES)


@dataclass(frozen=True)
class Course:
    """One wound: its sizes by week (cm2; 0 is closed, None is not measured), and the day of its first session."""

    sizes: tuple[float | None, ...]
    given: str = "ultrasound ."  # modality and set-up
    start: int | None = None
    kind: str = "venous"
    stage: str = "."
    facility: str = "Quellmoor"
    resident: str | None = None  # one of its own


def followed(told: list[Course], plan: str = PLAN) -> Study:
    """The study of these wounds, W000 and on, each measured every seven days from FIRST."""
    named = [(f"W{number:03d}", one.resident or f"R{number:03d}", one) for number, one in enumerate(told)]
    people = {person: one.facility for _, person, one in named}
    rows = [
        f"{name} {FIRST + 7 * week} {f'{size:.9f} open' if size else '. closed'} {one.stage if size else '.'}"
        for name, _, one in named
        for week, size in enumerate(one.sizes)
        if size is not None
    ]
    given = [f"{name} {one.start} {one.given} given" for name, _, one in named if one.start is not None]
    return drawn(
        "wound day area state stage\n" + "\n".join(rows),
        wounds="wound resident kind\n" + "\n".join(f"{name} {person} {one.kind}" for name, person, one in named),
        residents="resident facility\n" + "\n".join(f"{person} {home}" for person, home in people.items()),
        sessions="wound day modality setup status\n" + "\n".join(given),
        plan=plan,
    )


def rows_of(study: Study) -> list[tuple]:
    return list(courses_of(study).sizes[["wound", "day", "size"]].itertuples(index=False, name=None))


# --- which rows ---


def test_open_sizes_from_entry_to_the_end_enter_and_nothing_else():
    """Not: closed on day 5 and 31, open without a size on day 17, open again on day 60 long after it closed."""
    rows = "W1 5 . . closed\nW1 10 4 3 open\nW1 17 . . open\nW1 24 2 2 open\nW1 31 . . closed\nW1 60 1 1 open\n"
    assert rows_of(drawn(HEADER + rows)) == [("W1", 10, 12), ("W1", 24, 4)]


def test_the_size_of_the_day_on_which_a_person_dies_still_enters():
    study = drawn(HEADER + "W1 10 4 3 open\nW1 17 2 2 open\n", departures="resident day reason\nR1 17 died\n")
    assert rows_of(study) == [("W1", 10, 12), ("W1", 17, 4)]


def test_wounds_outside_the_cohort_have_no_course():
    """Three months before day 200 is day 109."""
    plan = PLAN.replace("cutoff = 200", "cutoff = 200\ncohort_months = 3")
    both = "wound resident kind\nW1 R1 venous\nW2 R2 venous\n"
    study = drawn(HEADER + "W1 108 4 3 open\nW1 115 3 3 open\nW2 109 2 2 open\n", wounds=both, plan=plan)
    assert rows_of(study) == [("W2", 109, 4)]


def test_wounds_treated_before_they_were_first_measured_have_no_course_and_are_counted():
    study = drawn(
        HEADER + "W1 10 4 3 open\nW1 17 3 3 open\nW2 10 2 2 open\n",
        wounds="wound resident kind\nW1 R1 venous\nW2 R2 venous\n",
        sessions="wound day modality status\nW1 9 ultrasound given\n",
    )
    assert rows_of(study) == [("W2", 10, 4)]
    left_out = courses_of(study).left_out.set_index("reason").loc["already treated when first measured"]
    assert left_out.tolist() == [1, 2]


# --- weeks, stages, regimens ---


def test_weeks_are_counted_from_entry_even_where_entry_has_no_size():
    """Entered on day 10: day 17 is week 1, day 27 is week 17 / 7."""
    sizes = courses_of(drawn(HEADER + "W1 10 . . open\nW1 17 4 3 open\nW1 27 3 3 open\n")).sizes
    assert sizes["week"].tolist() == pytest.approx([1, 17 / 7], abs=EXACT)


def test_the_size_of_the_day_of_the_first_session_is_one_before(monkeypatch):
    """Started on day 17: measurement goes before session, so day 17 is 0 weeks after, day 20 three sevenths."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    rows = "W1 10 4 3 open\nW1 17 3 3 open\nW1 20 3 2 open\nW1 38 2 2 open\n"
    sizes = courses_of(drawn(HEADER + rows, sessions="wound day modality status\nW1 17 ultrasound given\n")).sizes
    assert sizes["since"].tolist() == pytest.approx([0, 0, 3 / 7, 3], abs=EXACT)
    assert set(sizes["regimen"]) == {"ultrasound"}


@pytest.mark.parametrize(
    ("kind", "stage", "group"),
    [
        ("pressure_injury", "2", SHALLOW),
        ("pressure_injury", "deep_tissue", SHALLOW),
        ("pressure_injury", "3", DEEP),
        ("pressure_injury", "unstageable", DEEP),
        ("pressure_injury", ".", UNSTAGED),
        ("venous", ".", OTHERS),
    ],
)
def test_a_wound_belongs_to_the_group_of_its_stage_at_entry(kind, stage, group):
    later = "4" if stage != "." else "."
    study = drawn(
        f"wound day length width state stage\nW1 10 4 3 open {stage}\nW1 17 4 3 open {later}\n",
        wounds=f"wound resident kind\nW1 R1 {kind}\n",
    )
    assert courses_of(study).sizes["stage_group"].tolist() == [group, group]


def of_two_regimens() -> Study:
    """Two residents start monopolar in week 1, one has two wounds that start ultrasound; all have three sizes."""
    mono = Course((8, 6, 4), "stimulation monopolar", FIRST + 7)
    sound = Course((8, 6, 4), "ultrasound .", FIRST + 7, resident="R9")
    return followed([mono, mono, sound, sound])


def test_a_regimen_that_too_few_residents_had_keeps_its_sizes_up_to_the_start(monkeypatch):
    """Two wounds of one resident are one resident."""
    monkeypatch.setattr(module, "SLOPE_FROM", 2)
    seen = courses_of(of_two_regimens())
    assert seen.regimens == ("monopolar",)
    rows = seen.sizes.groupby("wound").agg(regimen=("regimen", "first"), sizes=("day", "size"))
    assert rows["regimen"].tolist() == ["monopolar", "monopolar", "no modality", "no modality"]
    assert rows["sizes"].tolist() == [3, 3, 2, 2]


def test_sizes_left_out_after_the_start_of_a_rare_regimen_are_counted(monkeypatch):
    """One size after the start in each of two wounds; how many wounds is not told, for they stay in."""
    monkeypatch.setattr(module, "SLOPE_FROM", 2)
    left_out = courses_of(of_two_regimens()).left_out.set_index("reason")
    few = left_out.loc["after the start of a regimen that too few had"]
    assert (pd.isna(few["wounds"]), few["measurements"]) == (True, 2)


@pytest.mark.parametrize(("people", "kept"), [(SLOPE_FROM - 1, ()), (SLOPE_FROM, ("ultrasound",))])
def test_a_regimen_needs_residents_who_were_measured_after_its_start(people, kept):
    """One more started and was not measured again."""
    study = followed([Course((8, 6, 4), start=FIRST + 7)] * people + [Course((8, 6), start=FIRST + 7)])
    assert courses_of(study).regimens == kept


# --- covariates ---

NECROTIC = """
wound day length width state necrosis_share
W1 10 4 3 open 20
W2 10 4 3 open 40
W3 10 4 3 open 60
W4 10 4 3 open .
W1 17 4 3 open 90
"""
FOUR = "wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\nW4 R4 venous\n"


def test_covariates_are_those_of_entry_standardized_and_what_is_missing_is_average(monkeypatch):
    """20, 40, 60: mean 40, standard deviation 20. Of the plan's other covariates none varies."""
    monkeypatch.setattr(module, "PER_COLUMN", 1)
    seen = courses_of(drawn(NECROTIC, wounds=FOUR))
    assert seen.covariates == ("necrosis",)
    assert seen.sizes.drop_duplicates("wound")["necrosis"].tolist() == pytest.approx([-1, 0, 1, 0], abs=EXACT)
    assert seen.sizes.loc[seen.sizes["wound"] == "W1", "necrosis"].tolist() == pytest.approx([-1, -1], abs=EXACT)


def test_wounds_without_a_size_have_no_part_in_the_average(monkeypatch):
    """W4 was never sized: of 20, 40 and 60 the middle one stays the average."""
    monkeypatch.setattr(module, "PER_COLUMN", 1)
    seen = courses_of(drawn(NECROTIC.replace("W4 10 4 3 open .", "W4 10 . . open 100"), wounds=FOUR))
    assert seen.sizes.drop_duplicates("wound")["necrosis"].tolist() == pytest.approx([-1, 0, 1], abs=EXACT)


def test_stage_is_no_covariate_for_it_has_columns_of_its_own(monkeypatch):
    """The plan names full_thickness first, and it varies: stage 2 beside stage 3."""
    monkeypatch.setattr(module, "PER_COLUMN", 1)
    seen = courses_of(followed([Course((8, 6), kind="pressure_injury", stage=stage) for stage in "2323"]))
    assert set(seen.sizes["stage_group"]) == {SHALLOW, DEEP}
    assert seen.covariates == ()


def test_each_covariate_takes_two_columns_and_so_many_residents(monkeypatch):
    """Four residents carry one covariate at two a column, none at three: 4 // 6 = 0."""
    for per_column, told in ((2, ("necrosis",)), (3, ())):
        monkeypatch.setattr(module, "PER_COLUMN", per_column)
        assert courses_of.__wrapped__(drawn(NECROTIC, wounds=FOUR)).covariates == told


# --- closings ---


def test_a_closing_becomes_a_size_on_its_day(monkeypatch):
    """Entered on day 101, started on 108, closed on 129: week 4, three weeks after the start."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    study = followed([Course((8, 6, 4, 2, 0), start=FIRST + 7), Course((8, 6, 4, 2, 1))])
    seen = courses_of(study)
    more = with_closings(seen, study.episodes, 0.1).sizes
    assert len(more) == len(seen.sizes) + 1
    assert len(seen.sizes) == 9
    last = more[more["wound"] == "W000"].iloc[-1]
    assert last[["day", "week", "since", "size", "regimen"]].tolist() == [129, 4, 3, 0.1, "ultrasound"]


def test_a_closing_of_an_untreated_wound_is_none_after_a_start():
    study = followed([Course((8, 6, 0))])
    assert with_closings(courses_of(study), study.episodes, 0.1).sizes["since"].tolist() == [0, 0, 0]


def test_a_closing_under_a_regimen_that_too_few_had_is_left_out_as_its_sizes_are():
    study = followed([Course((8, 6, 4, 0), start=FIRST + 7), Course((8, 6, 0))])
    more = with_closings(courses_of(study), study.episodes, 0.1).sizes
    assert more.groupby("wound")["size"].apply(list).tolist() == [[8, 6], [8, 6, 0.1]]


def test_a_closing_stands_on_the_day_the_wound_ended_whatever_the_numbers_of_its_last_size_round_to():
    """Entered on day 101, last sized on 115, closed on 129, 4 weeks after entry: whole days, no fraction lost."""
    study = followed([Course((8, 6, 4, None, 0)), Course((8, 6, 4, 2, 1))])
    more = with_closings(courses_of(study), study.episodes, 0.1).sizes
    last = more[more["wound"] == "W000"].iloc[-1]
    assert last[["day", "week", "since"]].tolist() == [129, 4, 0]
    assert more["day"].dtype == courses_of(study).sizes["day"].dtype


# --- split at the start ---


def split_rows(study: Study, name: str = "W000") -> list[tuple]:
    rows = split_at_start(courses_of.__wrapped__(study)).sizes
    rows = rows[rows["wound"].str.startswith(name)]
    return [tuple(row) for row in rows[["wound", "day", "week", "size", "after"]].values.tolist()]


def test_a_wound_that_starts_has_two_courses_and_the_second_begins_with_the_last_size_before(monkeypatch):
    """Measured on days 101, 108, 115, 122, started on 111: the week counts from entry, then from the start. The size of
    108 stands in both, at week 0 of the second."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    rows = split_rows(followed([Course((8, 6, 5, 4), start=111), Course((8, 6, 5, 4))]))
    assert rows == [
        ("W000", 101, 0, 8, False),
        ("W000", 108, 1, 6, False),
        ("W000 after", 108, 0, 6, True),
        ("W000 after", 115, pytest.approx(4 / 7, abs=EXACT), 5, True),
        ("W000 after", 122, pytest.approx(11 / 7, abs=EXACT), 4, True),
    ]


def test_the_size_of_the_day_of_the_start_ends_one_course_and_begins_the_other(monkeypatch):
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    rows = split_rows(followed([Course((8, 6, 5), start=FIRST + 7)]))
    assert [(row[0], row[1], row[2]) for row in rows] == [
        ("W000", 101, 0), ("W000", 108, 1), ("W000 after", 108, 0), ("W000 after", 115, 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(Course((8, 6, 5)), id="untreated"),
        pytest.param(Course((8, 6), start=FIRST + 7), id="not measured after its start"),
        pytest.param(Course((8, 6, 5), "stimulation monopolar", FIRST + 7), id="of a regimen that too few had"),
    ],
)
def test_a_wound_without_sizes_after_a_start_keeps_its_one_course(monkeypatch, other):
    """Beside two residents with a size after the start of ultrasound."""
    monkeypatch.setattr(module, "SLOPE_FROM", 2)
    seen = courses_of.__wrapped__(followed([other, *[Course((8, 6, 5), start=FIRST + 7)] * 2]))
    rows = split_at_start(seen).sizes
    own = rows[~rows["wound"].str.contains("W001|W002")].drop(columns="after")
    pd.testing.assert_frame_equal(own, seen.sizes[seen.sizes["wound"] == "W000"])
    assert rows["after"].sum() == 4  # two sizes each, of which the first stands before too


def test_a_wound_first_sized_after_its_start_has_only_the_second_course(monkeypatch):
    """Seen open without a size on day 10, started on 12, sized on 17 and 24: five and twelve days after."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    rows = "W1 10 . . open\nW1 17 4 3 open\nW1 24 3 3 open\n"
    study = drawn(HEADER + rows, sessions="wound day modality status\nW1 12 ultrasound given\n")
    weeks_after = [pytest.approx(days / 7, abs=EXACT) for days in (5, 12)]
    assert split_rows(study, "W1") == [
        ("W1 after", day, week, size, True) for day, week, size in zip((17, 24), weeks_after, (12, 9), strict=True)
    ]


def test_what_is_split_is_not_changed_and_the_rest_of_it_stays(monkeypatch):
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    seen = courses_of.__wrapped__(followed([Course((8, 6, 5), start=FIRST + 7)]))
    sizes = seen.sizes.copy()
    split = split_at_start(seen)
    pd.testing.assert_frame_equal(seen.sizes, sizes)
    assert (split.regimens, split.covariates, split.left_out) == (seen.regimens, seen.covariates, seen.left_out)


def test_a_closing_after_the_start_belongs_to_the_second_course(monkeypatch):
    """Started on day 108, closed on 122: two weeks after the start, and three after entry where nothing was started."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    study = followed([Course((8, 6, 4, 0), start=FIRST + 7), Course((8, 6, 4, 0))])
    rows = split_at_start(with_closings(courses_of.__wrapped__(study), study.episodes, 0.1)).sizes
    last = rows.drop_duplicates("wound", keep="last")[["wound", "day", "week", "size", "after"]]
    assert last.values.tolist() == [
        ["W000", 108, 1, 6, False], ["W000 after", 122, 2, 0.1, True], ["W001", 122, 3, 0.1, False],
    ]  # fmt: skip


def test_split_courses_without_a_single_size_are_empty():
    rows = split_at_start(courses_of(drawn(HEADER + "W1 10 . . open\n"))).sizes
    assert rows.empty
    assert "after" in rows


def test_the_typical_size_is_the_geometric_mean_of_first_sizes_and_a_second_course_has_one_too(monkeypatch):
    """8 and 2 begin, whatever came later, in rows of any order: 4. Split, a course of 4 is added: (8 2 4)^(1/3) = 4,
    and with one of 1 in its place (8 2 1)^(1/3)."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    for before, typical in ((4.0, 4.0), (1.0, 16 ** (1 / 3))):
        seen = courses_of.__wrapped__(followed([Course((8, before, 5), start=FIRST + 7), Course((2, 9, 9))]))
        assert seen.typical == pytest.approx(4, abs=EXACT)
        assert replace(seen, sizes=seen.sizes.iloc[::-1]).typical == pytest.approx(4, abs=EXACT)
        assert split_at_start(seen).typical == pytest.approx(typical, abs=EXACT)


# --- columns ---


def invented_courses(homes: int = 1) -> Courses:
    """Wounds of two stages in so many facilities, one of which starts ultrasound after a week; split at the start."""
    shallow = Course((8, 6, 4), kind="pressure_injury", stage="2")
    told = [replace(shallow, facility=f"F{home}") for home in range(homes)]
    started = replace(shallow, facility="F0", stage="3", start=FIRST + 7)
    study = followed([*told, started])
    return split_at_start(courses(study.episodes, weeks(study).weeks, study.measurements, study.plan))


def test_the_columns_are_course_stage_facility_and_regimen_and_the_first_of_each_is_the_reference(monkeypatch):
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    assert list(design(invented_courses(homes=2)).columns) == [
        "level", "week", DEEP, f"{DEEP}, a week", "in F1", "would start ultrasound", "would start ultrasound, a week",
        "after ultrasound", "after ultrasound, a week",
    ]  # fmt: skip


def test_the_columns_of_a_wound_that_starts_after_a_week(monkeypatch):
    """It is at stage 3 and would start from the first; its weeks are 0 and 1, then 0 and 1 after the start."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    table = design(invented_courses()).tail(4)
    assert table["level"].tolist() == table[DEEP].tolist() == table["would start ultrasound"].tolist() == [1] * 4
    assert table["week"].tolist() == table[f"{DEEP}, a week"].tolist() == [0, 1, 0, 1]
    assert table["would start ultrasound, a week"].tolist() == [0, 1, 0, 1]
    assert table["after ultrasound"].tolist() == [0, 0, 1, 1]
    assert table["after ultrasound, a week"].tolist() == [0, 0, 0, 1]


def test_each_regimen_has_columns_of_its_own(monkeypatch):
    """Each wound has three sizes and starts after a week, so two rows before and two after."""
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    table = design(split_at_start(courses_of.__wrapped__(of_two_regimens())))
    mono = [1] * 8 + [0] * 8
    assert table["would start monopolar"].tolist() == mono
    assert table["would start ultrasound"].tolist() == [1 - one for one in mono]
    assert table["after monopolar"].tolist() == [0, 0, 1, 1] * 2 + [0] * 8
    assert table["after ultrasound, a week"].tolist() == [0] * 8 + [0, 0, 0, 1] * 2


def test_a_covariate_has_a_level_and_a_slope(monkeypatch):
    monkeypatch.setattr(module, "PER_COLUMN", 1)
    table = design(split_at_start(courses_of.__wrapped__(drawn(NECROTIC, wounds=FOUR)))).head(2)
    assert table["necrosis"].tolist() == pytest.approx([-1, -1], abs=EXACT)
    assert table["necrosis, a week"].tolist() == pytest.approx([0, -1], abs=EXACT)


@pytest.mark.parametrize("homes", [1, RANDOM_FROM - 1, RANDOM_FROM])
def test_facilities_have_columns_until_there_are_so_many_that_they_are_drawn_from_many(homes):
    columns = set(design(invented_courses(homes)).columns)
    named = {f"in F{home}" for home in range(1, homes)} if homes < RANDOM_FROM else set()
    assert {name for name in columns if name.startswith("in ")} == named


@pytest.mark.parametrize("name", ["week", "level", "age"])
def test_a_facility_called_like_a_column_changes_no_number(name):
    """Under another name that comes after Quellmoor it has the same columns in the same places."""
    tables = [
        design(split_at_start(courses_of.__wrapped__(followed([
            Course((8, 6, 4)), Course((9, 7, 6), facility=home), Course((5, 4, 4), facility=home)
        ]))))
        for home in (name, "Tarnwick")
    ]  # fmt: skip
    assert f"in {name}" in tables[0]
    assert tables[0]["week"].tolist() == [0, 1, 2] * 3
    pd.testing.assert_frame_equal(tables[0].rename(columns={f"in {name}": "in Tarnwick"}), tables[1])


def test_as_charted_nothing_is_said_of_regimens(monkeypatch):
    monkeypatch.setattr(module, "SLOPE_FROM", 1)
    seen = invented_courses(homes=2)
    told = [name for name in design(seen).columns if "ultrasound" not in name]
    assert list(design_as_charted(seen).columns) == told


# --- made once of a study ---


def test_asked_twice_the_courses_and_where_wounds_stand_are_made_once():
    assert courses_of(FEW_COURSES) is courses_of(FEW_COURSES)
    assert standing_of(FEW_COURSES) is standing_of(FEW_COURSES)


def test_three_wounds_have_no_slopes_and_stand_nowhere():
    """Each was last measured on day 10 and is open on day 200 or gone: only W3 is in view, and it has vanished."""
    assert slopes_of(FEW_COURSES) is None
    assert standing_of(FEW_COURSES).empty


def test_too_few_courses_are_named_as_the_reason():
    found = standing_of(followed([Course((8.0,) * 15)] * 2))
    assert found[["stands", "why"]].values.tolist() == [[NOT_TOLD, TOO_FEW]] * 2


def test_first_weeks_and_forecasts_are_those_of_the_studys_wounds():
    study = followed([Course((8, 6, 4, 3, 2, 1, 0)), Course((8.0, 7.0) * 7)])
    tables = (study.episodes, study.measurements, study.plan)
    pd.testing.assert_frame_equal(first_weeks_of(study), summary_table(summaries(*tables)))
    pd.testing.assert_frame_equal(forecasts_of(study), forecasts(*tables))


def test_the_wounds_of_one_facility_are_those_of_the_whole_that_lie_there():
    study = followed([Course((8.0,) * 15, facility=home) for home in ("Quellmoor", "Tarnwick", "Tarnwick")])
    assert standing_in(study, "Tarnwick")["wound"].tolist() == ["W001", "W002"]
    assert standing_in(study, "")["wound"].tolist() == ["W000", "W001", "W002"]


def test_a_study_without_any_size_has_no_courses_and_stands_nowhere():
    study = drawn(HEADER + "W1 10 . . open\n")
    assert courses_of(study).sizes.empty
    assert slopes_of(study) is None
    assert standing_of(study).empty
