"""Stages over time, drawn by hand; each case names the rule it shows."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.vocabulary import STAGES
from kit.wounds.staging import DEPTH, present_on_admission, stage_course


def measured(*stages, wound="w1"):
    """One wound, staged every seven days; "-" is a measurement without a stage."""
    charted = [None if stage == "-" else stage for stage in stages]
    days = range(0, 7 * len(charted), 7)
    return pd.DataFrame({"wound": wound, "day": days, "stage": charted, "source_row": range(2, 2 + len(charted))})


def injuries(*wounds, kind="pressure_injury"):
    return pd.DataFrame({"wound": list(wounds), "kind": kind})


# charted stages | stages of record | changes. Edsberg LE et al., J Wound Ostomy Continence Nurs
# 2016;43(6):585-597: no staging backwards; a bed that comes into view is staged, not worse.
COURSES = """
3                       | 3                       | first
3 3 3                   | 3 3 3                   | first same same
2 3                     | 2 3                     | first worse
1 2 4                   | 1 2 4                   | first worse worse
4 3 2                   | 4 4 4                   | first backstaged backstaged
4 3 4                   | 4 4 4                   | first backstaged same
3 2 4                   | 3 3 4                   | first backstaged worse
2 1                     | 2 2                     | first backstaged
unstageable 4           | unstageable 4           | first revealed
deep_tissue 3           | deep_tissue 3           | first revealed
deep_tissue 3 4         | deep_tissue 3 4         | first revealed worse
unstageable unstageable | unstageable unstageable | first same
2 unstageable 4         | 2 unstageable 4         | first obscured revealed
3 unstageable 3         | 3 unstageable 3         | first obscured revealed
4 unstageable 3         | 4 unstageable 4         | first obscured backstaged
2 deep_tissue 3         | 2 deep_tissue 3         | first obscured revealed
deep_tissue unstageable | deep_tissue unstageable | first obscured
mucosal mucosal         | mucosal mucosal         | first same
mucosal 2               | mucosal 2               | first revealed
3 mucosal 2             | 3 3 3                   | first same backstaged
"""


@pytest.mark.parametrize("line", COURSES.strip().splitlines())
def test_course(line):
    charted, record, change = (part.split() for part in line.split("|"))
    course = stage_course(measured(*charted), injuries("w1"))
    assert course["stage"].tolist() == charted
    assert course["stage_of_record"].tolist() == record
    assert course["stage_change"].tolist() == change


def test_measurements_without_a_stage_are_passed_over():
    course = stage_course(measured("3", "-", "unknown", "4"), injuries("w1"))
    assert course["day"].tolist() == [0, 21]
    assert course["source_row"].tolist() == [2, 5]
    assert course["stage_change"].tolist() == ["first", "worse"]


def test_only_pressure_injuries_are_staged():
    both = pd.concat([measured("3", wound="w1"), measured("2", wound="v1"), measured("2", wound="orphan")])
    wounds = pd.concat([injuries("w1"), injuries("v1", kind="venous")])
    assert stage_course(both, wounds)["wound"].tolist() == ["w1"]


def test_wounds_do_not_lean_on_each_other():
    two = pd.concat([measured("4", "4", wound="w1"), measured("2", "3", wound="w2")])
    course = stage_course(two, injuries("w1", "w2"))
    assert course["stage_change"].tolist() == ["first", "same", "first", "worse"]


def test_columns_out_and_nothing_changed_in_place():
    rows = measured("4", "3")
    before = rows.copy()
    course = stage_course(rows, injuries("w1"))
    assert list(course) == ["wound", "day", "source_row", "stage", "stage_of_record", "stage_change"]
    pd.testing.assert_frame_equal(rows, before)
    assert list(stage_course(rows.iloc[:0], injuries("w1"))) == list(course)


@pytest.mark.parametrize("dtype", ["string", "category"])
def test_column_types_do_not_matter(dtype):
    rows = measured("mucosal", "3", "unstageable", "2")
    typed = stage_course(rows.astype({"stage": dtype, "wound": dtype}), injuries("w1"))
    plain = stage_course(rows, injuries("w1"))
    pd.testing.assert_frame_equal(typed.astype({"wound": object}), plain)


def test_the_last_stage_of_record_of_each_wound():
    rows = pd.concat([measured("4", "3", wound="w1"), measured("3", "unstageable", wound="w2")])
    last = stage_course(rows, injuries("w1", "w2", "never_staged")).drop_duplicates("wound", keep="last")
    assert last[["wound", "stage_of_record"]].values.tolist() == [["w1", "4"], ["w2", "unstageable"]]


def test_a_stage_in_the_words_of_the_chart_is_refused_without_repeating_it():
    with pytest.raises(ValueError, match="^stage: 1 row") as caught:
        stage_course(measured("3", "Stage III secret"), injuries("w1"))
    assert "secret" not in str(caught.value)


histories = st.lists(st.sampled_from([*STAGES, "-", "unknown"]), min_size=1, max_size=12)


@given(histories)
def test_the_numbers_of_record_never_fall(history):
    record = stage_course(measured(*history), injuries("w1"))["stage_of_record"]
    depths = record.map(DEPTH).dropna()
    assert depths.is_monotonic_increasing


@given(histories)
def test_every_course_has_one_first_and_only_listed_words(history):
    course = stage_course(measured(*history), injuries("w1"))
    assert (course["stage_change"] == "first").sum() == min(1, len(course))
    assert set(course["stage_change"]) <= {"first", "same", "worse", "revealed", "backstaged", "obscured"}
    assert set(course["stage_of_record"]) <= set(STAGES)


@given(histories)
def test_a_record_changes_only_with_a_change_that_says_so(history):
    course = stage_course(measured(*history), injuries("w1"))
    moved = course["stage_of_record"].ne(course["stage_of_record"].shift())
    assert set(course.loc[moved, "stage_change"]) <= {"first", "worse", "revealed", "obscured", "backstaged"}
    assert not moved[course["stage_change"] == "same"].any()
    assert moved[course["stage_change"].isin(["worse", "revealed", "obscured"])].all()


@given(histories, histories, st.randoms(use_true_random=False))
def test_row_order_does_not_matter(one, two, chance):
    rows = pd.concat([measured(*one, wound="w1"), measured(*two, wound="w2")], ignore_index=True)
    order = list(rows.index)
    chance.shuffle(order)
    wounds = injuries("w1", "w2")
    pd.testing.assert_frame_equal(stage_course(rows.loc[order], wounds), stage_course(rows, wounds))


# Rules of CMS, MDS 3.0, Section M, item M0300. day:stage, with (from-to) a hospital stay | admitted with it |
# present on admission at each stage.
ADMISSIONS = """
0:2 (3-6) 7:2                      | no  | no no        | acquired at Stage 2, back at Stage 2
0:2 (3-6) 7:2                      | yes | yes yes      | admitted at Stage 2, back at Stage 2
0:2 (3-6) 7:3                      | no  | no yes       | deeper during the stay, though acquired in house
0:2 (3-6) 7:unstageable            | no  | no yes       | became unstageable during the stay
0:deep_tissue (3-6) 7:unstageable  | no  | no yes       | became unstageable during the stay
0:2 7:3                            | yes | yes no       | deeper in house
0:2 7:3 14:3                       | yes | yes no no    | and stays so
0:2 7:unstageable                  | yes | yes no       | a number that becomes unstageable in house is worse
0:deep_tissue 4:3 11:3             | yes | yes yes yes  | deep tissue injury opens: kept at the first number
0:unstageable 7:4                  | yes | yes yes      | stage first revealed: kept
0:unstageable 7:3 14:4             | yes | yes yes no   | then rises above it
0:unstageable 7:3                  | no  | no no        | revealing does not make it present on admission
0:deep_tissue 7:unstageable        | yes | yes yes      | its depth was never told: kept
0:2 (3-6) 7:3 14:4                 | no  | no yes no    | deeper during the stay, then deeper in house
0:4 7:3 14:4                       | yes | yes yes yes  | charted backwards and back again: no rise
0:2 (3-20) 10:2 21:3               | no  | no no no     | staged within the stay: in doubt, in house
0:2 7:3 (8-9) 14:3                 | no  | no no no     | the rise came before the stay
0:2 (0-7) 7:3                      | no  | no yes       | staged on the day of leaving and of return
0:2 (3-) 7:3                       | yes | yes no       | not back from the stay
0:2 (1-2) (3-6) 7:3                | no  | no yes       | two stays in between
0:1 (3-6) 7:deep_tissue            | no  | no yes       | our reading: as if it became unstageable
0:unstageable (3-6) 7:deep_tissue  | no  | no no        | hidden before, hidden after
0:3 7:unstageable 14:3             | yes | yes no no    | hidden in house; revealing restores nothing
"""


def drawn(line):
    words = line.split()
    stages = [tuple(word.split(":")) for word in words if ":" in word]
    stays = [word.strip("()").split("-") for word in words if "(" in word]
    return (
        [(int(day), stage) for day, stage in stages],
        [(int(start), int(end) if end else None) for start, end in stays],
    )


@pytest.mark.parametrize("line", ADMISSIONS.strip().splitlines())
def test_present_on_admission(line):
    history, admitted, expected, _ = (part.strip() for part in line.split("|"))
    stages, stays = drawn(history)
    result = present_on_admission(stages, stays, admitted == "yes")
    assert result["day"].tolist() == [day for day, _ in stages]
    assert result["present_on_admission"].tolist() == [word == "yes" for word in expected.split()]
    assert result["present_on_admission"].dtype == bool


def test_present_on_admission_takes_a_frame_in_any_order():
    frame = pd.DataFrame({"day": [7, 0], "stage": ["3", "2"], "length": [1.0, 2.0]}, index=[5, 9])
    result = present_on_admission(frame, [(3, 6)], admitted_with=False)
    assert result.to_dict("list") == {"day": [0, 7], "present_on_admission": [False, True]}


def test_a_wound_never_staged_has_no_row():
    assert present_on_admission([], [(3, 6)], admitted_with=True).empty
    assert present_on_admission([(0, None), (7, "unknown")], [], admitted_with=True).empty


days = st.lists(st.integers(0, 60), min_size=1, max_size=8, unique=True).map(sorted)


@given(days, st.data(), st.booleans())
def test_without_a_stay_nothing_becomes_present_on_admission(days, data, admitted):
    stages = [(day, data.draw(st.sampled_from(STAGES))) for day in days]
    present = present_on_admission(stages, [], admitted)["present_on_admission"].astype(int)
    assert present.is_monotonic_decreasing
    assert bool(present.iloc[0]) == admitted
