"""The page says what the findings say, fetches nothing, and names nobody."""

import re

import pytest
from bs4 import BeautifulSoup

from kit import words
from kit.pages.figures import closing_figure
from kit.pages.findings import findings
from kit.pages.page import frame_html, page_html
from tests.conftest import HOME, NASTY
from tests.drawn import PLAN as DRAWN_PLAN
from tests.drawn import TWO_HOUSES, drawn

BOOKS = [("01-sent.html", "What was sent?"), ("02-care.html", "Which care?")]
SAFE_HARBOR = DRAWN_PLAN.replace("operations", "safe_harbor").replace(
    "[windows]\nquarter_begins = 110\ncutoff = 200\n", ""
)


def page_of(found, description, study, revision="r3"):
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    return page_html(found, figure, study.plan, revision, BOOKS)


def small_page(scope="Invented", **tables):
    study = drawn(**TWO_HOUSES | tables)
    found, description = findings(study, scope)
    return found, text_of(page_of(found, description, study))


@pytest.fixture(scope="module")
def html(found, study):
    return page_of(*found, study)


@pytest.fixture(scope="module")
def page(html):
    return BeautifulSoup(html, "html.parser")


def test_what_was_not_recorded_is_not_told_as_nought():
    _, told = small_page(sessions="wound day modality\nW1 120 ultrasound\n")
    assert "not recorded 1 session; the export does not say which were missed" in told
    assert "Reactions recorded not recorded" in told


def text_of(html):
    """The text of the page with single blanks, styles left out."""
    page = BeautifulSoup(html, "html.parser")
    for style in page.find_all(["style", "title"]):
        style.extract()
    return " ".join(page.get_text(" ").split())


def rows(page, heading):
    """The cells of the table that stands under a heading or carries it in its caption, by the text of the first."""
    for table in page.find_all("table"):
        above = table.caption or table.find_previous("h2")
        if heading in above.text:
            lines = [[cell.text for cell in line.find_all(["th", "td"])] for line in table.tbody.find_all("tr")]
            return {first: rest for first, *rest in lines}
    raise AssertionError(f"no table under {heading}")


# --- numbers ---


def test_the_shares_of_every_group_are_those_of_the_findings(page, found):
    told = rows(page, "How long healing took")
    assert list(told) == [words.label(group["group"]) for group in found[0]["healing"]]
    for group in found[0]["healing"]:
        if group["drawn"]:
            cells = told[words.label(group["group"])]
            assert f"{group['wounds']} ({group['residents']})" in cells
            assert words.of_hundred_range(group["closed_share"], group["closed_low"], group["closed_high"]) in cells
            lost = [words.of_hundred(group[f"{end}_share"]) for end in ("died", "hospital", "left", "open")]
            assert " ".join(lost) in " ".join(cells)
            assert any(f"day {group['median_day']:.0f})" in cell for cell in cells)
            assert f"{group['weeks_closed']:.1f} ({group['weeks_low']:.1f} to {group['weeks_high']:.1f})" in cells


def test_the_shares_of_a_group_leave_nobody_out(found):
    for group in found[0]["healing"]:
        if group["drawn"]:
            ends = [group[f"{end}_share"] for end in ("closed", "died", "hospital", "left", "open")]
            assert sum(ends) == pytest.approx(1, abs=1e-6)  # findings keep eight digits


def test_sessions_by_regimen_are_those_of_the_findings_and_add_up(page, found):
    told, columns = found[0], ("wounds", "planned", "given", "shortened", "missed")
    assert rows(page, "What was delivered in the quarter") == {
        row["regimen"]: [str(row[column]) for column in columns] for row in told["sessions"]
    }
    assert sum(row["planned"] for row in told["sessions"]) == told["activity"]["planned"] > 0


def test_the_figures_at_the_top_are_those_of_the_activity(html, found):
    done, told = found[0]["activity"], text_of(html)
    taken = done["given"] + done["shortened"]
    assert done["shortened"] > 0 and done["reactions"] > 0 and done["missed"] > 0
    assert f"{100 * taken / done['planned']:.0f}% {taken} of {done['planned']}, {done['shortened']} of them" in told
    assert f"Wounds treated {done['wounds_treated']} on {done['residents_treated']} residents" in told
    assert f"{done['wounds_open']} wounds open in the quarter" in told
    assert f"Seen to close {done['closed']}" in told
    assert f"{100 * done['reactions'] / taken:.1f} per 100 sessions ({done['reactions']} in {taken})" in told
    assert f"({done['weeks_measured']} of {done['weeks_in_view']}) of wound weeks" in told


def test_rows_kept_and_set_aside_add_up_for_every_table_and_for_all(html, page, invented):
    told = {table: [int(cell) for cell in cells] for table, cells in rows(page, "Rows of the whole export").items()}
    assert all(rows_in == kept + aside for rows_in, kept, aside in told.values())
    assert {table: cells[0] for table, cells in told.items() if cells[0]} == invented.rows
    assert told["measurements"][2] == 5 and told["sessions"][2] == 2  # the planted faults
    # 30 residents, 40 wounds, 2 departures, and the measurements and sessions
    rows_in = 72 + invented.rows["measurements"] + invented.rows["sessions"]
    assert f"rows set aside of the whole export 1% (7 of {rows_in})" in text_of(html)


def test_faults_are_counted_by_row(page):
    told = rows(page, "Faults")
    assert {fault: cells[-1] for fault, cells in told.items()} == dict.fromkeys(
        ["After death", "Blank", "Clash", "Duplicate", "Future", "Negative", "Orphan", "Swapped", "Unknown", "Astray"],
        "1",
    )


# --- what is not said ---


def test_a_group_too_small_says_so_and_shows_no_share(page):
    cells = rows(page, "How long healing took")["Ultrasound"]
    assert "too few to describe" in cells
    assert [cell for cell in cells if re.search(r"\d", cell)] == ["3 (3)"]


def test_a_regimen_nobody_had_says_so(page):
    cells = rows(page, "How long healing took")["=1+1"]
    assert "nobody had this" in cells
    assert [cell for cell in cells if re.search(r"\d", cell)] == ["0 (0)"]


def test_the_picture_says_in_words_what_it_shows_and_leaves_small_groups_out(page, found):
    said = page.find("img")["alt"]
    for group in found[0]["healing"]:
        sentence = f"{words.label(group['group'])}: of 100 wounds, {words.of_hundred(group['closed_share'])} closed"
        assert (sentence in said) == group["drawn"]


def test_the_page_is_a_draft_of_its_revision_and_compares_nothing(html):
    told = text_of(html)
    assert "DRAFT revision r3" in told
    assert "Not yet compared." in told
    assert not re.search(r"\b(hazard|p-value|difference of|times as|faster|better)\b", told, re.IGNORECASE)


def test_where_all_is_well_every_count_of_faults_is_nought():
    found, told = small_page(departures="resident day reason\nR1 150 left\nR2 160 left\nR3 170 left\n")
    assert found["faults"] == []
    assert (
        "rows set aside of the whole export 0% (0 of 16)" in told
    )  # residents, wounds, measurements, departures 3 each, 2 sessions, 2 spans


def test_without_sessions_the_page_says_none_and_not_zero():
    found, told = small_page(sessions="wound day modality status\nW1 12 ultrasound given\n")  # before the quarter
    assert found["activity"]["planned"] == 0
    assert "Sessions given, of planned none" in told
    assert "Reactions recorded none" in told


def test_a_table_that_is_not_in_the_export_is_named():
    assert "Not in the export: procedures" in small_page()[1]


def test_without_a_calendar_the_whole_export_is_described_and_no_date_is_said():
    _, told = small_page(plan=SAFE_HARBOR)
    assert "Invented: the whole export" in told
    assert "not computable under this basis" in told
    assert "made under safe harbor" in told
    assert not re.search(r"\b(19|20)\d\d\b", told.replace("1000 draws", ""))


def test_a_cohort_without_wounds_is_still_a_page():
    plan = DRAWN_PLAN + '[cohort]\nkinds = ["surgical"]\n'  # all wounds are venous
    found, told = small_page(plan=plan)
    assert found["cohort"]["wounds"] == 0
    assert "Wounds outside the cohort: 3 of a kind the plan leaves out" in told
    assert told.count("nobody had this") == len(found["healing"])


# --- how it is made ---


def test_the_page_fetches_nothing(page, html):
    assert [tag["src"][:22] for tag in page.find_all(src=True)] == ["data:image/png;base64,"]
    assert {tag["href"] for tag in page.find_all(href=True)} == {file for file, _ in BOOKS}
    assert page.find_all(["script", "link", "iframe", "object", "form"]) == []
    without_picture = re.sub(r"data:image/png;base64,[\w+/=]+", "", html)
    assert not re.search(r"https?:|//|@import|url\(", without_picture.replace("<!doctype html>", ""))


def test_a_browser_is_told_to_fetch_nothing_either(page):
    policy = page.find("meta", attrs={"http-equiv": "Content-Security-Policy"})["content"]
    assert policy == "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def test_the_page_has_a_language_a_title_and_one_heading(page):
    assert page.html["lang"] == "en"
    assert page.title.text == "All facilities, Invented program: quarterly outcome report"
    assert [heading.text for heading in page.find_all("h1")] == ["All facilities: 1 April 2026 to 30 June 2026"]


def test_every_notebook_is_linked_by_its_question(page):
    assert [(link["href"], link.text) for link in page.nav.find_all("a")] == BOOKS


def test_a_facility_cannot_put_markup_on_the_page(study):
    there = study.at(NASTY)
    html = page_of(*findings(there, NASTY), there)
    assert "<script" not in html
    page = BeautifulSoup(html, "html.parser")
    assert page.h1.text == f"{NASTY}: 1 April 2026 to 30 June 2026"
    assert page.title.text.startswith(f"{NASTY}, ")


def test_the_frame_escapes_its_title_and_keeps_its_content():
    page = BeautifulSoup(frame_html(NASTY, "<h1>Who?</h1>"), "html.parser")
    assert (page.title.text, page.h1.text) == (NASTY, "Who?")
    assert page.find("script") is None


def test_the_page_of_one_facility_counts_its_own_wounds_alone(study):
    there = study.at(HOME)
    found, description = findings(there, HOME)
    # residents 1 to 18, of whom 1 to 10 have two wounds: 18 + 10
    assert (found["cohort"]["residents"], found["cohort"]["wounds"]) == (18, 28)
    assert "cohort 28 wounds on 18 residents" in text_of(page_of(found, description, there))
