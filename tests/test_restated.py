"""The last issued quarter counted anew: unchanged where nothing changed, and what else changed is said."""

import json
from dataclasses import replace
from functools import lru_cache

import pandas as pd
import pytest
from bs4 import BeautifulSoup

from kit import __version__
from kit.context.restated import beside
from kit.context.trend import CLOSED, DELIVERED, IN_TIME, REACH, REACTIONS, quarter_numbers
from kit.faults import ExportError
from kit.pages.figures import closing_figure
from kit.pages.findings import _restated, _trend, findings
from kit.pages.issued_quarters import NOTHING, Issued, IssuedQuarter, issued_quarters
from kit.pages.issuing import issue
from kit.pages.page import page_html
from kit.pages.report import Request, _run_of, _study_then
from kit.pages.restated import first_record, restated
from kit.pages.trend_figures import trend_figure
from kit.pages.trend_tables import restated_table
from kit.plan import day_of
from kit.study import study_then
from tests.drawn import PLAN, as_csv, drawn
from tests.test_issuing import draft

WINDOW = 20, 109  # the quarter before that of the plan, 110 to 200
TABLES = {
    "measurements": "wound day length width state\n"
    + "".join(f"{wound} {day} 4 3 open\n" for wound in ("W1", "W2") for day in range(10, 200, 7))
    + "W3 10 4 3 open\nW3 38 . . closed\n",
    "wounds": "wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\n",
    "sessions": "wound day modality status reaction\nW1 40 ultrasound given none\nW1 47 ultrasound given pain\n"
    "W1 54 ultrasound missed .\nW1 120 ultrasound given none\n",
}
LATE = {"sessions": TABLES["sessions"] + "W1 61 ultrasound given none\n"}


def written(folder, **tables):
    """An export as files, with the plan of the quarter from day 110 to 200."""
    folder.mkdir(exist_ok=True)
    for name, text in (TABLES | tables).items():
        (folder / f"{name}.csv").write_text(as_csv(text), encoding="utf-8")
    (folder / "study-plan.toml").write_text(PLAN, encoding="utf-8")
    return folder


@lru_cache  # the files of a folder stay as they were written
def then(folder, begins=WINDOW[0], ends=WINDOW[1]):
    return study_then(folder, begins, ends)


def issued_from(folder, first_record=10, **made_by):
    study = then(folder, *WINDOW)
    prints = {"export": "e1", "map": "own names", "kit": __version__, "rules": study.plan.rules}
    numbers = quarter_numbers(study)
    return Issued((IssuedQuarter("days-20-109", "r2", *WINDOW, numbers, prints | made_by, first_record),))


def anew(study, issued, folder):
    return restated(study, issued, lambda begins, ends: then(folder, begins, ends), "own names")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return written(tmp_path_factory.mktemp("as issued") / "export")


@pytest.fixture(scope="module")
def study():
    return drawn(**TABLES)


@pytest.fixture(scope="module")
def alone(study):
    """The findings where no quarter was issued, and their description."""
    return findings(study, "Invented")


# --- the study of an earlier quarter ---


def test_a_study_then_has_the_same_rules_and_another_quarter(folder, study):
    before = then(folder)
    assert (before.plan.quarter_begins, before.plan.cutoff) == WINDOW
    assert before.plan.rules == study.plan.rules
    assert before.plan.fingerprint != study.plan.fingerprint


def test_nothing_after_the_last_day_of_the_earlier_quarter_is_read(folder, study):
    before = then(folder)
    assert before.measurements["day"].max() <= 109 < study.measurements["day"].max()
    assert before.sessions["day"].tolist() == [40, 47, 54]
    assert set(before.episodes["end_day"].dropna()) <= set(range(110))


def test_a_quarter_of_dates_keeps_them(lifelike):
    first, last = lifelike.plan.quarter_begins - 90, lifelike.plan.quarter_begins - 1
    plan = lifelike.plan.of_quarter(first, last)
    assert plan.calendar and day_of(plan.windows.quarter_begins) == first and plan.cutoff == last
    assert plan.costs.is_invented("dressing") is lifelike.plan.costs.is_invented("dressing")


# --- beside what was issued ---


def test_the_numbers_of_the_earlier_quarter_are_counted_by_hand(folder):
    """Of W1: two given of three planned, one with pain. In view: W1 and W2 to the end, W3 until it closed on day 38."""
    told = quarter_numbers(then(folder)).set_index("measure")
    assert told.loc[REACTIONS].tolist() == [1, 2]
    assert told.loc[CLOSED].tolist() == [1, 3]
    assert told.loc[DELIVERED, "denominator"] == 3
    assert told.loc[IN_TIME, "denominator"] == 13 + 13 + 3


def test_the_same_export_gives_the_same_numbers(folder, study):
    told = anew(study, issued_from(folder), folder)
    assert told.lines["is_unchanged"].all()
    assert told.said == [
        "days-20-109 (issued as r2) counted anew from today's export: all 5 numbers are unchanged.",
    ]


def test_a_session_that_was_logged_late_moves_the_number_and_is_told(folder, study, tmp_path):
    issued = issued_from(folder)
    told = anew(study, issued, written(tmp_path / "today", **LATE))
    moved = told.lines.set_index("measure")
    assert moved.loc[REACTIONS, ["numerator", "denominator"]].tolist() == [1, 2]
    assert moved.loc[REACTIONS, ["today_numerator", "today_denominator"]].tolist() == [1, 3]
    assert moved["is_unchanged"].to_dict() == {
        DELIVERED: False, REACH: True, IN_TIME: True, CLOSED: True, REACTIONS: False,
    }  # fmt: skip
    assert "2 of 5 numbers changed" in told.said[0]


def test_a_session_of_this_quarter_moves_nothing_in_the_earlier_one(folder, study, tmp_path):
    later = {"sessions": TABLES["sessions"] + "W1 130 ultrasound given pain\nW2 110 ultrasound missed .\n"}
    told = anew(study, issued_from(folder), written(tmp_path / "today", **later))
    assert told.lines["is_unchanged"].all()


def test_without_an_issued_quarter_nothing_is_counted_anew(folder, study):
    assert anew(study, NOTHING, folder) is None


def test_the_last_issued_quarter_is_the_one_counted_anew(folder, study):
    last = issued_from(folder).quarters[0]
    older = replace(last, quarter="days-1-19", begins=1, ends=19)
    told = anew(study, Issued((older, last)), folder)
    assert told.quarter == "days-20-109"


def test_a_number_that_was_not_counted_then_is_not_told(folder, study):
    issued = issued_from(folder)
    numbers = issued.last.numbers
    silent = numbers.mask(numbers["measure"] == REACH).assign(measure=numbers["measure"])
    told = anew(study, Issued((replace(issued.last, numbers=silent),)), folder)
    assert REACH not in set(told.lines["measure"]) and len(told.lines) == 4


# --- what else may have changed ---


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"rules": "other"}, "the plan's rules changed"),
        ({"map": "other"}, "the column map changed"),
        ({"kit": "0.0.1"}, "the kit changed"),
        ({"rules": "other", "kit": "0.0.1"}, "the plan's rules and the kit changed"),
    ],
)
def test_what_changed_besides_the_export_is_said(folder, study, changed, words):
    told = anew(study, issued_from(folder, **changed), folder)
    assert told.said[1] == f"Since it was issued {words}, and a difference may come of that."


def test_a_changed_export_alone_is_not_told_as_a_change_of_rules(folder, study):
    assert len(anew(study, issued_from(folder, export="e0"), folder).said) == 1


def test_an_export_that_no_longer_reaches_back_is_said_and_nothing_is_counted(folder, tmp_path):
    rows = [
        line for line in TABLES["measurements"].splitlines() if not line.startswith("W") or int(line.split()[1]) > 50
    ]
    short = {
        "measurements": "\n".join(rows),
        "sessions": TABLES["sessions"].splitlines()[0] + "\nW1 120 ultrasound given none\n",
    }
    told = anew(drawn(**TABLES | short), issued_from(folder), written(tmp_path / "today", **short))
    assert told.lines.empty
    assert told.said == [
        "days-20-109 (issued as r2) cannot be counted anew: today's export no longer reaches back so far (its first "
        "record is of day 52)."
    ]


def test_an_export_that_began_within_the_quarter_then_as_now_is_counted_anew(folder, study):
    began_late = Issued((replace(issued_from(folder).last, begins=5, first_record=10),))
    told = anew(study, began_late, folder)
    assert len(told.lines) == 5
    never_told = Issued((replace(began_late.last, first_record=None),))
    assert anew(study, never_told, folder).lines.empty


def test_an_export_that_begins_later_but_before_the_quarter_is_counted_and_said(folder, study):
    told = anew(study, issued_from(folder, first_record=3), folder)
    assert told.said[-1] == (
        "Today's export begins later than that one did (its first record is of day 10), and a difference may "
        "come of that."
    )
    assert len(told.lines) == 5


def test_an_export_that_holds_nothing_of_the_quarter_is_said(folder, study):
    def refused(begins, ends):
        raise ExportError("no resident belongs to that facility")

    told = restated(study, issued_from(folder), refused, "own names")
    assert told.lines.empty
    assert told.said == ["days-20-109 (issued as r2) cannot be counted anew: today's export holds nothing of it."]


def test_the_first_record_is_that_of_measurements_and_sessions():
    assert first_record(drawn(**TABLES)) == 10
    early = TABLES["sessions"] + "W1 7 ultrasound given none\n"
    assert first_record(drawn(**TABLES | {"sessions": early})) == 7


# --- the table ---


def test_the_table_tells_what_was_issued_and_what_it_is_now_where_that_is_another():
    then_, now = (
        pd.DataFrame(
            [(DELIVERED, full, 80.4), (CLOSED, 4, 12), (REACTIONS, full - 59, 80), (REACH, 0, 0)],
            columns=["measure", "numerator", "denominator"],
        )
        for full in (60, 61)
    )
    table = restated_table(beside(then_, now), "2026-Q1")
    assert list(table) == ["2026-Q1", "As issued", "Today's export"]
    assert table.to_numpy().tolist() == [
        ["Delivered, of sessions due", "75% (60 of 80)", "76% (61 of 80)"],
        ["Seen to close, of open", "4 of 12", "unchanged"],
        ["Reactions per 100 sessions", "1.2 (1 of 80)", "2.5 (2 of 80)"],
        ["Started, of wounds that could be", "none", "unchanged"],
    ]


# --- on the page ---


def page_with(study, alone, issued, told):
    """What `findings` gives for these quarters, without working out all the rest again, and its page."""
    found, description = alone
    found = found | {"trend": _trend(study, issued), "restated": _restated(told)}
    trend = trend_figure(pd.DataFrame(found["trend"]["points"])) if found["trend"]["points"] else None
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    html = page_html(found, figure, None, study.plan, "r1", [], trend=trend)
    return found, BeautifulSoup(html, "html.parser")


def heads(page):
    return [head.text for head in page.find_all("h2")]


def pictures(page):
    return [picture["alt"] for picture in page.find_all("img") if picture["alt"].startswith("Quarters in a row")]


def test_a_page_without_an_issued_quarter_says_nothing_of_quarters(study, alone):
    found, page = page_with(study, alone, NOTHING, None)
    assert found == alone[0]
    assert "Quarter by quarter" not in heads(page)
    assert found["restated"] is None
    assert (found["trend"]["points"], found["trend"]["said"]) == ([], [])
    assert set(found["reach"]) == {"wounds", "residents", "started"}  # kept for later reports


def test_a_page_after_one_issued_quarter_holds_it_counted_anew_and_no_figure(folder, study, alone, tmp_path):
    issued = issued_from(folder)
    told = anew(study, issued, written(tmp_path / "today", **LATE))
    found, page = page_with(study, alone, issued, told)
    assert heads(page).index("Quarter by quarter") == heads(page).index("To discuss") - 1
    assert pictures(page) == []
    cells = [[cell.text for cell in row.find_all(["th", "td"])] for row in page.find_all("tr")]
    assert ["Days-20-109", "As issued", "Today's export"] in cells
    assert ["Reactions per 100 sessions", "50.0 (1 of 2)", "33.3 (1 of 3)"] in cells
    assert "1 quarter was issued before this one" in page.text
    json.dumps(found, allow_nan=False)


def test_a_page_after_three_issued_quarters_draws_them(folder, study, alone):
    last = issued_from(folder).last
    older = [replace(last, quarter=f"days-{day}-{day + 6}", begins=day, ends=day + 6) for day in (1, 8)]
    issued = Issued((*older, last))
    found, page = page_with(study, alone, issued, anew(study, issued, folder))
    assert len(pictures(page)) == 1 and "days-8-14" in pictures(page)[0]
    assert len({row["quarter"] for row in found["trend"]["points"]}) == 4
    assert {row["signal"] for row in found["trend"]["verdicts"]} == {None}


def test_quarters_that_went_by_other_rules_are_told_on_the_page(folder, study, alone):
    last = issued_from(folder).last
    assert "other rules of the plan" not in page_with(study, alone, Issued((last,)), None)[1].text
    other = replace(last, quarter="days-1-19", begins=1, ends=19, made_by=last.made_by | {"rules": "other"})
    _, page = page_with(study, alone, Issued((other, last)), None)
    said = "1 quarter went by other rules of the plan, the last of them days-1-19; what moved may come of that."
    assert said in page.text


def test_a_quarter_that_cannot_be_read_is_told_on_the_page(study, alone):
    _, page = page_with(study, alone, Issued(unread=("2025-Q4 is left out.",)), None)
    assert "2025-Q4 is left out." in page.text and "Quarter by quarter" in heads(page)


def test_what_one_report_writes_is_what_the_next_one_reads(folder, study, tmp_path):
    """The findings of the earlier quarter as its report writes them, issued, and read by the next."""
    before = then(folder, *WINDOW)
    revision = draft(tmp_path / "reports" / "Invented" / "days-20-109", "r1")
    found = findings(before, "Invented")[0]
    run = _run_of(found, Request(folder, tmp_path / "reports"), "r1", before.plan)
    for name, told in (("findings", found), ("run", run)):
        (revision / "internal" / f"{name}.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    issue(revision)
    issued = issued_quarters(tmp_path / "reports", "Invented", study.plan)
    assert issued.unread == ()
    pd.testing.assert_frame_equal(issued.last.numbers, quarter_numbers(before))
    assert issued.last.first_record == 10
    told = anew(study, issued, folder)
    assert told.lines["is_unchanged"].all() and len(told.said) == 1


def test_a_facility_is_counted_anew_alone(tmp_path):
    homes = {"residents": "resident facility\nR1 Quellmoor\nR2 Tarnwick\nR3 Quellmoor\n"}
    export = written(tmp_path / "export", **homes)
    whole = _study_then(Request(export, tmp_path), *WINDOW)
    alone = _study_then(Request(export, tmp_path, facility="Tarnwick"), *WINDOW)
    assert sorted(whole.wounds["wound"]) == ["W1", "W2", "W3"] and list(alone.wounds["wound"]) == ["W2"]
    assert quarter_numbers(alone).set_index("measure").loc[IN_TIME, "denominator"] == 13
