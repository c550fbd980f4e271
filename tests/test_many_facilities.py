"""The invented group of many facilities: what is planted in it is in its tables, and nothing is planted elsewhere."""

import pytest

from kit.compared import weeks
from kit.context.one_sided import ALL_STARTED, NONE_STARTED, one_sided
from kit.study import read_study
from kit.synthetic.export import invent
from kit.synthetic.many import many, name_of, write

EIGHT = many(8)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("eight")
    write(EIGHT, folder)
    return read_study(folder)


def test_every_row_is_read_and_every_facility_has_a_name_of_its_own(study):
    assert study.facilities == EIGHT.facilities and len(EIGHT.facilities) == 8
    assert study.account["set_aside"].sum() == 0
    assert len({name_of(number, place) for number in range(10) for place in range(4)}) == 40


def test_pseudonyms_of_different_groups_never_meet():
    for table, column in (("residents", "resident"), ("wounds", "wound")):
        assert not EIGHT.tables[table][column].duplicated().any()
    assert set(EIGHT.tables["measurements"]["wound"]) <= set(EIGHT.tables["wounds"]["wound"])


def test_where_all_start_all_did_and_where_none_start_none_did(study):
    told = one_sided(weeks(study).weeks, study.facilities, study.plan, 84)
    reasons = dict(told.values.tolist())
    assert reasons[EIGHT.all_start] == ALL_STARTED and reasons[EIGHT.none_starts] == NONE_STARTED
    assert ALL_STARTED not in {why for home, why in reasons.items() if home != EIGHT.all_start}


def test_wounds_close_as_planted(study):
    cohort = study.episodes[study.episodes["in_cohort"]]
    closed = (cohort["outcome"] == "closed").groupby(cohort["facility"]).mean()
    others = closed.drop([EIGHT.faster, EIGHT.slower, EIGHT.all_start])
    assert closed[EIGHT.faster] > others.max() and closed[EIGHT.slower] < others.min()


def test_the_other_group_is_as_it_is_invented_alone():
    """The second group of the eight is the invented group of the next seed, under other names."""
    alone = invent("clean", 561).tables["measurements"]
    second = EIGHT.tables["measurements"]
    second = second[second["wound"].str[1] == "B"]
    assert second["length"].tolist() == alone["length"].tolist()


def test_another_number_of_facilities_is_refused():
    for number in (3, 10, 44):
        with pytest.raises(ValueError, match="a multiple of four"):
            many(number)
