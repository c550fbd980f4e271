"""What was edited in the plan since the last report, key by key."""

import json

import pytest

from kit.pages.plan_before import changed_in_plan
from kit.plan import Comparing, Windows
from kit.statements.plan_changes import NO_EARLIER, NOT_KEPT, UNCHANGED, as_kept, plan_changes
from tests.test_size_statements import PLAN

EDITED = PLAN.model_copy(update={"comparison": Comparing(starters=20, covariates=("necrosis",))})


def test_each_key_is_told_with_what_it_was():
    assert plan_changes(as_kept(PLAN), True, "2026-Q1 r2, issued", EDITED) == [
        "Changed since 2026-Q1 r2, issued: what else starts may have followed, most telling first (comparison "
        "covariates): necrosis, before full thickness / necrosis / infection.",
        "Changed since 2026-Q1 r2, issued: wounds that started, at least (comparison starters): 20, before 15.",
    ]


def test_the_quarter_moves_on_and_is_no_edit():
    moved = PLAN.model_copy(update={"windows": Windows(quarter_begins=1, cutoff=100)})
    assert moved.rules == PLAN.rules
    assert as_kept(moved) == as_kept(PLAN)


@pytest.mark.parametrize(
    ("before", "edited", "since", "told"),
    [
        (None, False, "", NO_EARLIER),
        (as_kept(PLAN), False, "r1", UNCHANGED.format(since="r1")),
        (None, True, "r1", NOT_KEPT.format(since="r1")),
    ],
)
def test_no_edit_and_an_edit_that_was_not_kept_are_told_apart(before, edited, since, told):
    assert plan_changes(before, edited, since, PLAN) == [told]


def lay(scope, place, made, plan, issued=False, **more):
    internal = scope / place / "internal"
    internal.mkdir(parents=True)
    run = {"made": made, "rules": plan.rules, "plan": as_kept(plan)} | more
    (internal / "run.json").write_text(json.dumps(run), encoding="utf-8")
    if issued:
        (scope / place / "issued.json").write_text("{}", encoding="utf-8")


def test_the_last_issued_report_goes_before_a_later_draft(tmp_path):
    lay(tmp_path, "2026-Q1/r1", "2026-04-02 10:00 UTC", EDITED, issued=True)
    lay(tmp_path, "2026-Q2/r1", "2026-07-02 10:00 UTC", PLAN)
    told = changed_in_plan(tmp_path, PLAN)
    assert [line.split(":")[0] for line in told] == ["Changed since 2026-Q1 r1, issued"] * 2
    assert "15, before 20" in told[1]


def test_where_none_is_issued_the_last_draft_counts_and_what_cannot_be_read_is_passed_over(tmp_path):
    lay(tmp_path, "2026-Q2/r1", "2026-07-02 10:00 UTC", EDITED)
    lay(tmp_path, "2026-Q2/r2", "2026-07-03 10:00 UTC", PLAN)
    (tmp_path / "2026-Q2" / "r3" / "internal").mkdir(parents=True)
    (tmp_path / "2026-Q2" / "r3" / "internal" / "run.json").write_text("{half", encoding="utf-8")
    assert changed_in_plan(tmp_path, PLAN) == [UNCHANGED.format(since="2026-Q2 r2, a draft")]


def test_a_first_report_has_no_plan_before_it(tmp_path):
    assert changed_in_plan(tmp_path, PLAN) == [NO_EARLIER]
