"""The sheet that may be handed on: at most twenty named numbers, whole percentages, nobody in it."""

import re

import pytest
from bs4 import BeautifulSoup

from kit.pages.findings import findings
from kit.pages.sheet import sheet_html, write_numbers
from kit.sharing.counted import counted
from kit.sharing.telling import told
from kit.statements.shared import HANDED_ON, RECOGNISED_BELOW, difference, held_back, in_words, recognised
from kit.warned import answers_of
from kit.words import FORBIDDEN

NUMBER = re.compile(r"\d[\d.,]*")


@pytest.fixture(scope="module")
def rows(lifelike):
    return told(counted(lifelike), lifelike.plan)


@pytest.fixture(scope="module")
def sheet(lifelike, rows):
    return sheet_html(rows, findings(lifelike, "All <b> facilities")[0], lifelike, "r1", "26 November 2026")


@pytest.fixture
def read(sheet):
    return BeautifulSoup(sheet, "html.parser")


def cells(read):
    return [[cell.get_text() for cell in row.find_all(["th", "td"])] for row in read.select("tbody tr")]


def test_every_number_has_its_row_and_those_told_their_whole_percent(read, rows, lifelike):
    table = cells(read)
    assert len(table) == len(rows) <= 17  # the difference and the two ends of its range make twenty at most
    for line, row in zip(table, rows.to_dict("records"), strict=True):
        if row["is_shared"]:
            assert line[1:] == [f"{row['per_hundred']:.0f}", f"{row['about_all']:.0f} {row['things']}"]
        else:
            assert line[1:] == ["held back", "–"]
    assert {line[1] for line in table} >= {"held back", "92"}


def test_the_sheet_holds_no_number_but_those_told(read, rows, lifelike):
    """In the sentences stand whole points, the week, and how many questions were asked; small print holds the rule."""
    for gone in read.select("style, header, tbody, .small, .internal"):
        gone.extract()
    answers = answers_of(lifelike)
    row = answers.told.iloc[0]
    points = {f"{abs(round(100 * row[f'closed_{end}'])):.0f}" for end in ("difference", "low", "high")}
    allowed = points | {"100", str(answers.horizon_weeks), str(RECOGNISED_BELOW)}
    body = re.sub(r"Of \d+ questions.*?export\.", "", read.get_text())
    assert {found.rstrip(".,") for found in NUMBER.findall(body)} <= allowed


def test_no_figure_no_script_and_nothing_fetched(read, sheet):
    assert not read.select("img, svg, script, link, iframe")
    assert not re.findall(r'(?:src|href)="', sheet)
    assert "default-src 'none'" in sheet


def test_the_scope_is_escaped(sheet):
    assert "All &lt;b&gt; facilities" in sheet


def test_it_says_that_it_is_for_handing_on_and_a_draft(read):
    assert read.select_one(".internal").get_text() == HANDED_ON
    assert read.select_one(".status").get_text() == "DRAFT"


def test_no_forbidden_word(read):
    words = read.body.get_text().lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{word}\b", words)] == []


def test_nobody_is_in_it(sheet, lifelike):
    people = [*lifelike.residents["resident"], *lifelike.wounds["wound"]]
    people += [*lifelike.measurements["assessor"].dropna(), *lifelike.sessions["therapist"].dropna()]
    assert len(people) > 100
    assert not {name for name in people if re.search(rf"(?<!\w){re.escape(name)}(?!\w)", sheet)}


def test_a_program_with_few_treated_is_told_that_they_can_be_recognised(lifelike):
    class Done:
        residents_treated = RECOGNISED_BELOW

    assert recognised(Done) == ""
    Done.residents_treated -= 1
    assert recognised(Done).startswith("Fewer than 20 residents were treated")


def test_the_reason_is_named_only_where_its_number_is_told(rows, lifelike):
    answers, plan = answers_of(lifelike), lifelike.plan
    assert not rows.set_index("shared").loc["reason", "is_shared"]
    assert not in_words(rows, "out_of_building", answers, plan)["says"].str.contains("out of building").any()
    shown = rows.assign(is_shared=True, per_hundred=50.0, about_all=40.0)
    assert in_words(shown, "out_of_building", answers, plan)["says"].str.contains("out of building").sum() == 1


@pytest.mark.parametrize(("percent", "said"), [(0.0, "under 1"), (100.0, "over 99"), (1.0, "1"), (99.0, "99")])
def test_a_rounded_none_or_all_is_neither(rows, lifelike, percent, said):
    shown = rows.assign(is_shared=True, per_hundred=percent, about_all=4000.0)
    assert set(in_words(shown, "staff", answers_of(lifelike), lifelike.plan)["per_hundred"]) == {said}


def test_the_difference_is_told_in_whole_points_without_a_count(rows, lifelike):
    said, level = difference(rows, answers_of(lifelike), lifelike.plan)
    assert re.search(
        r": \d+ (more|fewer) \(range \d+ (more|fewer) to \d+ (more|fewer)\) of 100 had closed by week 12", said
    )
    assert level == "describes"


def test_the_difference_is_held_back_with_its_sides(rows, lifelike):
    without = rows.assign(is_shared=False)
    said, level = difference(without, answers_of(lifelike), lifelike.plan)
    assert said == "Whether wounds closed sooner after a modality is held back."
    assert (level, NUMBER.findall(said)) == ("cannot say", [])


def test_what_cannot_be_compared_says_why_without_a_number(rows, lifelike):
    few = lifelike.at("Brindlemere")
    said, level = difference(told(counted(few), few.plan), answers_of(few), few.plan)
    assert said == "Whether wounds closed sooner after a modality is not told: too few can be compared."
    assert level == "cannot say"


def test_what_is_held_back_is_counted_with_the_rule_and_not_the_cause(rows, lifelike):
    assert held_back(rows, lifelike.plan).startswith("Held back: 2 of 10 numbers. A number is told where at least 11 ")


def test_the_list_holds_what_the_sheet_prints_and_nothing_that_is_held_back(tmp_path, rows):
    write_numbers(tmp_path, rows)
    lines = (tmp_path / "numbers.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + rows["is_shared"].sum()
    assert all(int(line.split(",")[-3]) <= 100 and int(line.split(",")[-2]) % 10 == 0 for line in lines[1:])
