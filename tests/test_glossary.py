"""Every column of every returned frame is one of the export's or stands in the glossary."""

import pandas as pd
import pytest

from kit.compared import compared, other_ways, weeks
from kit.faults import counted
from kit.glossary import RESULTS
from kit.healing.curves import greenwood
from kit.healing.description import describe
from kit.quarter import activity, by_regimen, reasons, weeks_by_regimen, wounds_by_regimen
from kit.statements import this_quarter
from kit.vocabulary import TABLES
from kit.wounds.course import course
from kit.wounds.regimens import starts
from kit.wounds.staging import stage_course
from tests.drawn import TWO_HOUSES, drawn

STUDY = drawn(**TWO_HOUSES)
ANSWERS = ("told", "needs", "states", "course", "balance", "homes", "outside", "could")
READ = {name for table in TABLES.values() for name in table.names}


def frames() -> dict[str, pd.DataFrame]:
    described = describe(STUDY.episodes, STUDY.plan, draws=20)
    seen = course(STUDY.episodes, STUDY.measurements, STUDY.sessions, STUDY.plan)
    return {
        **{
            name: getattr(STUDY, name)
            for name in (*TABLES, "episodes", "stages", "faults", "account", "houses", "sources")
        },
        "counted": counted(STUDY.faults),
        "course": seen,
        "starts": starts(STUDY.sessions, STUDY.plan),
        "stage_course": stage_course(STUDY.measurements, STUDY.wounds),
        "curves": described.curves,
        "groups": described.groups,
        "greenwood": greenwood(pd.Series([1, 2]).to_numpy(), pd.Series([True, False]).to_numpy()),
        "wound_weeks": weeks(STUDY).weeks,
        **{f"answers.{name}": getattr(compared(STUDY), name) for name in ANSWERS},
        "other_ways": other_ways(STUDY),
        "by_regimen": by_regimen(STUDY),
        "reasons": reasons(STUDY),
        "weeks_by_regimen": weeks_by_regimen(seen),
        "this_quarter": this_quarter(activity(STUDY), described, compared(STUDY), STUDY.plan),
    }


FRAMES = frames()


@pytest.mark.parametrize("name", FRAMES)
def test_a_returned_frame_has_only_listed_columns(name):
    assert set(FRAMES[name].columns) - READ - set(RESULTS) == set()


def test_wounds_by_regimen_has_a_column_a_facility_and_listed_ones_beside():
    columns = set(wounds_by_regimen(STUDY.episodes).columns)
    assert columns - set(STUDY.facilities) - {"not named", "all"} <= set(RESULTS)


def test_every_entry_of_the_glossary_is_returned_by_some_frame():
    returned = {column for frame in FRAMES.values() for column in frame.columns}
    assert set(RESULTS) - returned == set()


def test_no_entry_means_two_things():
    assert set(RESULTS) & READ == set()
