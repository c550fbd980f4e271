"""Parts of a comparison add up to the whole, and are what they would be alone."""

from __future__ import annotations

import numpy as np
import pytest

from kit.healing import parts
from kit.healing.comparison import alike, arms, chances, columns_for, questions, weigh_all
from kit.healing.emulation import came, lay_out, passing
from kit.healing.parts import cut
from tests.invented_weeks import invented
from tests.test_emulation import HORIZON, THREE

SAME = 1e-10


@pytest.fixture(scope="module")
def layout():
    made = invented(THREE, seed=2)
    return lay_out(made.weeks, made.measurements, made.plan, HORIZON)


def pieces(layout, asked) -> list[parts.Part]:
    begun: dict = {}
    counts = np.ones((len(layout.people), 1))
    chances(layout, counts, layout.owner, columns_for(len(layout.starters.week), layout.plan, layout.weeks), begun)
    for question in asked:
        begun[question.key, "design"] = begun.get((question.key, "design")) or _design(layout, question)
    return cut(layout, asked, begun)


def _design(layout, question):
    return alike(layout, question, np.ones((len(layout.people), 1)), layout.owner, {})[0]


def test_every_week_and_row_is_in_one_part(layout, monkeypatch):
    monkeypatch.setattr(parts, "AT_ONCE", 50)
    told = pieces(layout, questions(layout, layout.plan))
    assert len(told) > 10
    assert sum(len(one.layout.weeks) for one in told) == len(layout.weeks)
    for name in ("starters", "others"):
        assert sum(len(getattr(one.layout, name).week) for one in told) == len(getattr(layout, name).week)
    assert all(one.layout.weeks["facility"].nunique() == 1 for one in told)
    whole = layout.weeks.groupby("wound").size()
    assert all(
        (one.layout.weeks.groupby("wound").size() == whole[one.layout.weeks["wound"].unique()]).all() for one in told
    )


def test_rows_of_a_part_name_the_weeks_they_named(layout, monkeypatch):
    monkeypatch.setattr(parts, "AT_ONCE", 50)
    seen = []
    for one in pieces(layout, questions(layout, layout.plan)[:1]):
        own = one.layout.weeks.iloc[one.layout.others.week]
        seen += list(zip(own["wound"], own["begins"], strict=True))
        assert (one.layout.weeks["starts"].iloc[one.layout.starters.week] != "").all()
    whole = layout.weeks.iloc[layout.others.week]
    assert sorted(seen) == sorted(zip(whole["wound"], whole["begins"], strict=True))


def test_the_size_of_the_parts_changes_no_number(layout, monkeypatch):
    asked = questions(layout, layout.plan)
    counts = np.random.default_rng(3).integers(0, 3, (len(layout.people), 4)).astype(float)
    whole = weigh_all(layout, asked, counts)
    monkeypatch.setattr(parts, "AT_ONCE", 50)
    for key, told in weigh_all(layout, asked, counts).items():
        for name, numbers in told.numbers.items():
            assert numbers == pytest.approx(whole[key].numbers[name], abs=SAME, nan_ok=True), (key, name)
        assert told.houses == pytest.approx(whole[key].houses, abs=SAME, nan_ok=True)


def test_sums_of_two_halves_are_those_of_all(layout):
    question, begun = questions(layout, layout.plan)[0], {}
    counts = np.ones((len(layout.weeks), 1))
    through = passing(layout, counts, question.names, begun)
    first, _ = arms(layout, question, counts, begun)
    told = came(first, through)
    assert (told + told).weight == pytest.approx(2 * told.weight)
    assert (told + told).ways["nobody left"].shares().closed == pytest.approx(told.ways["nobody left"].shares().closed)
    assert told.weight.sum() > 0
