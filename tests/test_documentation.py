"""The documentation check: five published test rows, each answer's conditions, and where the workbook may lie.

The test rows are those that follow from US NCD 270.1, version 2: Stage 2 on day 45; Stage 3 after 20 days of care;
Stage 3 on day 31 of treatment with nothing better; Stage 3 last evaluated 31 days ago; treated after closing.
"""

import openpyxl
import pandas as pd
import pytest

from kit.delivery.documentation import (
    ANSWERS,
    BECAUSE,
    CHART,
    NOT_SHOWN,
    OTHERWISE,
    REQUIREMENTS,
    SHOWN,
    counted,
    documentation,
    treated_weeks,
)
from kit.faults import ExportError
from kit.pages.documentation import FIRST_LINE, write_documentation
from kit.study import read_study
from tests.conftest import LIFELIKE
from tests.drawn import PLAN, TWO_HOUSES, drawn
from tests.exports import SAFE_HARBOR
from tests.test_import_order import KIT, kit_imports
from tests.test_words import forbidden_in

SESSION = "wound day modality setup status\n"
SEEN = "wound day length width exudate necrosis_share stage state tissue\n"
KIND = "wound resident kind onset\n"


def stimulated(*days):
    return SESSION + "".join(f"W1 {day} stimulation bipolar given\n" for day in days)


def told(seen, sessions, kind="W1 R1 pressure_injury .", plan=PLAN, **tables):
    """The check of one wound."""
    return checked(drawn(SEEN + seen, wounds=f"{KIND}{kind}\n", plan=plan, sessions=sessions, **tables))


def checked(study):
    weeks = treated_weeks(study.sessions, study.wounds, study.residents)
    tables = (study.wounds, study.measurements, study.sessions, study.procedures, study.spans)
    return documentation(weeks, *tables, study.stages, study.episodes)


def answers(table, requirement):
    return list(table[table["requirement"] == requirement]["answer"])


STILL = "W1 50 5 4 heavy 50 3 open slough\nW1 80 5 4 heavy 50 3 open slough\nW1 111 5 4 heavy 50 3 open slough\n"


def dressed(*days):
    return "wound day procedure\n" + "".join(f"W1 {day} dressing\n" for day in days)


# --- the five test rows ---


def test_stage_2_on_day_45_is_not_in_the_wording():
    table = told("W1 55 5 4 . . 2 open .\nW1 98 5 4 . . 2 open .\n", stimulated(100), "W1 R1 pressure_injury 55")
    assert answers(table, "stage") == [OTHERWISE]
    assert answers(table, "chronic") == [SHOWN]  # 100 - 55 = 45 days


def test_stage_3_on_day_20_of_standard_care_is_too_early():
    table = told("W1 80 5 4 . . 3 open .\nW1 98 5 4 . . 3 open .\n", stimulated(100), "W1 R1 pressure_injury 80")
    assert answers(table, "stage") == [SHOWN]
    assert answers(table, "care") == [OTHERWISE]  # 100 - 80 = 20 days
    assert BECAUSE["care", OTHERWISE] in set(table["because"])


def test_stage_3_on_day_31_of_stimulation_with_nothing_better_is_flagged():
    """The first session is day 1, of calendar day 80; day 31 is calendar day 110."""
    table = told(STILL.replace("111", "108"), stimulated(80, 110))
    assert answers(table, "sign") == [OTHERWISE]  # of the second week alone: the first 30 days are not over before
    assert table.loc[table["requirement"] == "sign", "week"].tolist() == [4]  # 30 // 7


def test_stage_3_with_the_last_evaluation_31_days_ago_is_overdue():
    evaluated = "wound day procedure\nW1 69 evaluation\n"
    assert answers(told(STILL, stimulated(100), procedures=evaluated), "evaluation") == [NOT_SHOWN]  # 100 - 69 = 31
    assert answers(told(STILL, stimulated(99), procedures=evaluated), "evaluation") == [SHOWN]


@pytest.mark.parametrize("shut", ["W1 95 . . . . . closed .", "W1 95 5 4 . . 3 open closed"])
def test_a_session_after_full_epithelialization_is_flagged(shut):
    table = told(f"W1 90 5 4 . . 3 open .\n{shut}\n", stimulated(94, 97))
    assert answers(table, "stop") == [OTHERWISE]
    assert answers(told(f"W1 90 5 4 . . 3 open .\n{shut}\n", stimulated(94, 95)), "stop") == [SHOWN]  # of that day


# --- weeks ---


def test_weeks_count_from_the_first_stimulation_and_those_without_one_are_none():
    sessions = SESSION + "W1 60 ultrasound . given\nW1 80 stimulation bipolar given\nW1 86 stimulation bipolar missed\n"
    sessions += "W1 86 ultrasound . given\nW1 94 stimulation bipolar shortened\nW1 95 stimulation bipolar given\n"
    study = drawn(SEEN + STILL, sessions=sessions)
    weeks = treated_weeks(study.sessions, study.wounds, study.residents)
    columns = ["week", "first_given", "last_given", "sessions", "start_day", "facility"]
    assert list(weeks[columns].itertuples(index=False, name=None)) == [
        (0, 80, 80, 1, 80, "not named"),
        (2, 94, 95, 2, 80, "not named"),
    ]


# --- the requirements ---


@pytest.mark.parametrize(
    ("kind", "answer"),
    [
        ("pressure_injury", SHOWN),
        ("arterial", SHOWN),
        ("diabetic_foot", SHOWN),
        ("venous", SHOWN),
        ("surgical", OTHERWISE),
        ("other", OTHERWISE),
        (".", CHART),
    ],
)
def test_the_kind_of_wound(kind, answer):
    assert answers(told(STILL, stimulated(100), f"W1 R1 {kind} ."), "kind") == [answer]


@pytest.mark.parametrize(
    ("stage", "answer"),
    [("1", OTHERWISE), ("4", SHOWN), ("unstageable", OTHERWISE), ("deep_tissue", OTHERWISE), (".", CHART)],
)
def test_the_stage_of_a_pressure_injury(stage, answer):
    assert answers(told(f"W1 90 5 4 . . {stage} open .\n", stimulated(100)), "stage") == [answer]


def test_a_stage_is_asked_of_pressure_injuries_and_where_no_kind_is_recorded():
    assert answers(told(STILL, stimulated(100), "W1 R1 venous ."), "stage") == []
    assert answers(told(STILL, stimulated(100), "W1 R1 . ."), "stage") == [CHART]


def test_a_stage_charted_later_does_not_tell_of_the_week():
    assert answers(told("W1 90 5 4 . . . open .\nW1 101 5 4 . . 3 open .\n", stimulated(100)), "stage") == [CHART]


@pytest.mark.parametrize(
    ("seen", "onset", "answer"),
    [
        (90, "70", SHOWN),
        (90, "71", OTHERWISE),  # 29 days
        (70, ".", SHOWN),  # measured open for 30 days
        (71, ".", CHART),
    ],
)
def test_chronic_is_thirty_days_since_it_began_or_was_first_measured(seen, onset, answer):
    table = told(f"W1 {seen} 5 4 . . 3 open .\n", stimulated(100), f"W1 R1 pressure_injury {onset}")
    assert answers(table, "chronic") == [answer]


@pytest.mark.parametrize(
    ("seen", "tables", "answer"),
    [
        (70, {"procedures": dressed(70, 99)}, SHOWN),
        (70, {"procedures": dressed(79, 90)}, SHOWN),  # within ten days of either end
        (70, {"procedures": dressed(80, 90)}, CHART),
        (70, {"procedures": dressed(79, 89)}, CHART),
        (70, {"procedures": dressed(70)}, CHART),  # one dressing tells nothing of thirty days
        (70, {"procedures": dressed(69, 99)}, CHART),  # 31 days before
        (70, {"procedures": dressed(70, 100)}, CHART),  # of the day itself
        (70, {"spans": "resident wound span from_day to_day\nR1 . support_surface 20 98\n"}, CHART),  # to day 99
        (70, {"spans": "resident wound span from_day\nR1 . support_surface 20\n"}, SHOWN),
        (70, {"spans": "resident wound span value from_day\nR1 W1 ordered_regimen dressing 20\n"}, SHOWN),
        (70, {"spans": "resident wound span value from_day\nR1 W1 ordered_regimen bipolar 20\n"}, CHART),
        (71, {"procedures": dressed(71, 99)}, CHART),  # 29 days in the export; it may be older
        (70, {}, CHART),  # nothing says what was done
    ],
)
def test_care_is_thirty_days_in_the_export_with_care_recorded(seen, tables, answer):
    table = told(f"W1 {seen} 5 4 . . 3 open .\n", stimulated(100), **tables)
    assert answers(table, "care") == [answer]


@pytest.mark.parametrize(
    ("before", "answer"),
    [("5 4 heavy", SHOWN), ("5 5 heavy", OTHERWISE), (". . .", CHART)],  # 20 of 25: a fifth less is a sign
)
def test_no_sign_before_the_start(before, answer):
    seen = f"W1 65 {before} . 3 open .\nW1 99 5 4 heavy . 3 open .\n"
    assert answers(told(seen, stimulated(100)), "no_sign_before") == [answer]


def test_an_evaluation_by_whom_is_not_asked_and_none_at_all_needs_the_chart():
    assert answers(told(STILL, stimulated(100)), "evaluation") == [CHART]
    later = "wound day procedure\nW1 101 evaluation\n"
    assert answers(told(STILL, stimulated(100), procedures=later), "evaluation") == [NOT_SHOWN]


@pytest.mark.parametrize(
    ("last", "answer"),
    [("5 4 moderate 50", SHOWN), ("5 4 heavy 40", SHOWN), ("5 3.6 heavy 50", SHOWN), ("5 3.7 heavy 45", OTHERWISE)],
)
def test_any_measurable_sign_in_the_thirty_days_is_shown(last, answer):
    seen = f"W1 80 5 4 heavy 50 3 open slough\nW1 110 {last} 3 open slough\n"
    assert answers(told(seen, stimulated(80, 110)), "sign") == [answer]


def test_a_sign_without_sizes_at_both_ends_needs_the_chart():
    assert answers(told("W1 50 5 4 heavy 50 3 open slough\n", stimulated(80, 110)), "sign") == [CHART]


@pytest.mark.parametrize(
    ("seen", "answer"),
    [
        ("W1 86 5 4 . . 3 open granulation", SHOWN),  # 14 days before the session
        ("W1 85 5 4 . . 3 open granulation", CHART),
        ("W1 100 5 4 . . 3 open granulation", CHART),  # of the day itself
        ("W1 95 1 1 . . 3 open epithelial", CHART),  # new skin may be in islands
    ],
)
def test_stopping_is_judged_by_the_last_measurement_before_each_session(seen, answer):
    assert answers(told(f"{seen}\n", stimulated(100)), "stop") == [answer]


def test_a_wound_opened_again_may_be_treated_again():
    seen = "W1 80 5 4 . . 3 open .\nW1 90 . . . . . closed .\nW1 95 2 2 . . 3 open .\n"
    assert answers(told(seen, stimulated(97)), "stop") == [SHOWN]


def test_a_treated_wound_that_was_never_measured_needs_the_chart():
    wounds = f"{KIND}W1 R1 pressure_injury .\nW2 R1 venous .\n"
    study = drawn("wound day length width\nW2 90 5 4\n", wounds=wounds, sessions=stimulated(100, 140))
    table = checked(study)
    kinds = {"kind"}
    assert set(table[~table["requirement"].isin(kinds)]["answer"]) == {CHART}


# --- the whole of it ---


def test_every_answer_is_one_of_three_and_each_that_is_not_shown_has_its_reason():
    table = told(STILL, stimulated(80, 110))
    assert set(table["answer"]) <= set(ANSWERS)
    assert ((table["because"] == "") == (table["answer"] == SHOWN)).all()
    assert list(table["requirement"])[:7] == [name for name in REQUIREMENTS if name != "sign"]


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR])
def test_an_export_without_stimulation_has_no_weeks(plan):
    study = drawn("wound day length width\nW1 10 4 3\n", plan=plan)
    table = checked(study)
    assert len(table) == 0 and len(counted(table)) == 0


def test_where_the_export_shares_no_calendar_the_answers_are_the_same():
    assert list(told(STILL, stimulated(80, 110), plan=SAFE_HARBOR)["answer"]) == list(
        told(STILL, stimulated(80, 110))["answer"]
    )


def test_nothing_given_is_changed():
    study = drawn(SEEN + STILL, sessions=stimulated(80, 110))
    kept = {name: getattr(study, name).copy() for name in ("measurements", "sessions", "stages", "episodes")}
    checked(study)
    for name, frame in kept.items():
        pd.testing.assert_frame_equal(getattr(study, name), frame)


def test_each_week_is_counted_once_for_each_requirement():
    table = counted(told(STILL, stimulated(80, 110)))
    weeks = table.groupby("requirement")["weeks"].sum()
    assert weeks["kind"] == weeks["stop"] == 2 and weeks["sign"] == 1
    assert set(table["wounds"]) == {1}


# --- the workbook ---


def written(folder, study, facility=""):
    return openpyxl.load_workbook(write_documentation(study, folder / "check.xlsx", facility))


@pytest.fixture(scope="module")
def group():
    return read_study(LIFELIKE)


def test_the_first_line_says_who_reads_it_first(tmp_path, group):
    book = written(tmp_path, group, "Tarnwick")
    assert book.sheetnames == ["read first", "counts", "weeks", "wording"]
    lines = [row[0].value for row in book["read first"]]
    assert lines[:2] == [FIRST_LINE, "Not a coverage decision; contractors differ."]
    assert lines[0] == "Send this to the compliance officer first."
    assert any("version 3 was not seen" in line for line in lines)


def test_the_weeks_are_those_of_one_facility_and_nobody_is_named(tmp_path, group):
    book = written(tmp_path, group, "Tarnwick")
    head, *rows = book["weeks"].iter_rows(values_only=True)
    assert head[:2] == ("Wound", "Facility")
    assert {row[1] for row in rows} == {"Tarnwick"}
    cells = {str(cell.value) for sheet in book for row in sheet for cell in row}
    assert not cells & set(group.residents["resident"])
    treated = group.at("Tarnwick")
    assert len(rows) == len(treated_weeks(treated.sessions, treated.wounds, treated.residents)) > 100


def test_counts_and_weeks_agree(tmp_path, group):
    book = written(tmp_path, group, "Quellmoor")
    weeks = book["weeks"].max_row - 1
    counts = {row[0]: row[1:] for row in book["counts"].iter_rows(values_only=True, min_row=2)}
    assert list(counts) == list(REQUIREMENTS.values())
    assert sum(counts[REQUIREMENTS["kind"]]) == sum(counts[REQUIREMENTS["stop"]]) == weeks


def test_no_cell_says_more_than_an_export_can(tmp_path, group):
    book = written(tmp_path, group, "Ostervane")
    said = " ".join(str(cell.value) for sheet in book for row in sheet for cell in row)
    assert "needs the chart" in said and forbidden_in(said) == []


def test_nothing_but_its_own_command_makes_a_check():
    tree = kit_imports(KIT)
    assert {name for name, used in tree.items() if "pages.documentation" in used} == {"__main__"}
    assert {name for name, used in tree.items() if "delivery.documentation" in used} == {"pages.documentation"}


def test_a_check_of_several_facilities_is_refused(tmp_path):
    with pytest.raises(ExportError, match="name one with --facility: Quellmoor, Tarnwick"):
        write_documentation(drawn(**TWO_HOUSES), tmp_path / "check.xlsx")
    assert list(tmp_path.iterdir()) == []


def test_a_workbook_is_never_written_over(tmp_path):
    (tmp_path / "check.xlsx").write_text("mine")
    with pytest.raises(ExportError, match="there is such a file already"):
        write_documentation(drawn(SEEN + STILL), tmp_path / "check.xlsx")
    assert (tmp_path / "check.xlsx").read_text() == "mine"


@pytest.mark.parametrize("place", ["reports/check.xlsx", "Reports/Quellmoor/2026-Q2/check.xlsx", "ours/r1/check.xlsx"])
def test_a_check_never_lies_among_reports(tmp_path, place):
    (tmp_path / "ours" / "r1").mkdir(parents=True)
    (tmp_path / "ours" / "ledger.csv").write_text("revision\n")
    with pytest.raises(ExportError, match="may not lie in a folder of reports"):
        write_documentation(drawn(SEEN + STILL), tmp_path / place)
    assert not (tmp_path / place).exists()


def test_a_check_that_is_no_workbook_is_refused(tmp_path):
    with pytest.raises(ExportError, match="ends in .xlsx"):
        write_documentation(drawn(SEEN + STILL), tmp_path / "check.csv")


def test_a_check_without_a_week_of_stimulation_is_refused(tmp_path):
    with pytest.raises(ExportError, match="no week of stimulation"):
        written(tmp_path, drawn(SEEN + STILL))
    assert not list(tmp_path.glob("*.xlsx"))


def test_names_that_a_spreadsheet_would_run_are_held_down(tmp_path):
    study = drawn(
        SEEN + STILL.replace("W1", "=W1"),
        wounds=f"{KIND}=W1 R1 venous .\n",
        sessions=stimulated(100).replace("W1", "=W1"),
        residents="resident facility\nR1 @A1\n",
    )
    book = written(tmp_path, study)
    assert "f" not in {cell.data_type for sheet in book for row in sheet for cell in row}
    assert (book["weeks"]["A2"].value, book["weeks"]["B2"].value) == ("'=W1", "'@A1")
