"""The page says what the findings say, fetches nothing, and names nobody."""

import re

import pytest
from bs4 import BeautifulSoup

from kit import words
from kit.healing.answers import EARLY_NEEDS, MEASURES
from kit.pages.comparison_figures import comparison_figure
from kit.pages.figures import closing_figure
from kit.pages.findings import findings
from kit.pages.page import MOST_MISSED, describe_due, frame_html, page_html
from kit.statements.about import INTERNAL
from kit.statements.comparing import UNCHARTED
from tests.conftest import HOME, NASTY
from tests.drawn import PLAN as DRAWN_PLAN
from tests.drawn import TWO_HOUSES, drawn
from tests.told import PARTS

BEFORE = "All wounds before any modality, from the first measurement"
STARTED = "Wounds that started, from the first session"
# The one sentence that may speak of sooner: it says that the question is not answered.
WARNING = (
    "Whether wounds closed sooner than they would have is not answered by so few; a number would say more about chance "
    "than about the program."
)
# What else of the page may hold a word that compares.
HARMLESS = (
    "charts hold less than clinicians see", "ends where fewer than", "chance alone will show a difference",
    "more quarters, or more facilities together",
)  # fmt: skip
BOOKS = [("01-sent.html", "What was sent?"), ("02-care.html", "Which care?")]
SAFE_HARBOR = DRAWN_PLAN.replace("operations", "safe_harbor").replace(
    "[windows]\nquarter_begins = 110\ncutoff = 200\n", ""
)


def page_of(found, description, study, revision="r3"):
    figure = closing_figure(description.curves, description.groups, study.plan.following.horizon_weeks)
    return page_html(found, figure, comparison_figure(found["comparison"]), study.plan, revision, BOOKS)


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
    assert "the export does not say which were missed" in told
    assert "Reactions per 100 sessions not recorded of 1 session none says anything of any" in told


def text_of(html):
    """The text of the page with single blanks, styles left out."""
    page = BeautifulSoup(html, "html.parser")
    for style in page.find_all(["style", "title"]):
        style.extract()
    return " ".join(page.get_text(" ").split())


def rows(page, heading):
    """The cells of the table that stands under a heading or carries it in its caption, by the text of the first."""
    for table in page.find_all("table"):
        above = table.caption or table.find_previous(["h2", "h3"])
        if heading in above.text:
            lines = [[cell.text for cell in line.find_all(["th", "td"])] for line in table.tbody.find_all("tr")]
            return {first: rest for first, *rest in lines}
    raise AssertionError(f"no table under {heading}")


# --- numbers ---


def test_the_shares_of_every_group_are_those_of_the_findings(page, found):
    assert told_as_found(page, found[0]) == 1  # everybody; those that started were not in view for so long


def told_as_found(page, found):
    """How many groups have shares on a page; each must be told in the table of its clock as the findings have it."""
    reached = [group for group in found["healing"] if group["reached"]]
    for clock, heading in (("first measurement", BEFORE), ("first session", STARTED)):
        groups = [words.label(group["group"]) for group in reached if group["clock"] == clock]
        assert groups == [] or list(rows(page, heading)) == groups
    for group in reached:
        ends = ("died", "hospital", "left", "surgery", "open")
        lines = rows(page, BEFORE if group["clock"] == "first measurement" else STARTED)
        assert lines[words.label(group["group"])] == [
            f"{group['wounds']} ({group['residents']})",
            words.of_hundred_range(group["closed_share"], group["closed_low"], group["closed_high"]),
            *(words.of_hundred(group[f"{end}_share"]) for end in ends),
            words.median_week(group["median_day"], group["median_low"], group["median_high"]),
            f"{group['weeks_closed']:.1f} ({group['weeks_low']:.1f} to {group['weeks_high']:.1f})",
        ]
    return len(reached)


def test_the_tables_of_healing_have_the_same_columns_and_name_the_horizon():
    study = ten_that_started()
    found, description = findings(study, "Invented")
    horizon = found["horizon_weeks"]
    heads = [
        [cell.text for cell in table.thead.find_all("th")]
        for table in BeautifulSoup(page_of(found, description, study), "html.parser").find_all("table")
        if table.find_previous(["h2", "h3"]).text in (BEFORE, STARTED)
    ]
    assert heads[-1] == [
        "Group", "Wounds (residents)", f"Of 100, closed by week {horizon}", "Died", "In hospital, not back", "Left",
        "Closed by surgery", "Still open", "Half closed by", f"Weeks spent closed, of {horizon}",
    ]  # fmt: skip
    assert all(head == heads[-1] for head in heads)


def test_the_shares_of_wounds_that_started_are_those_of_the_findings():
    study = ten_that_started()
    found, description = findings(study, "Invented")
    page = BeautifulSoup(page_of(found, description, study), "html.parser")
    assert told_as_found(page, found) == 2  # any modality and ultrasound
    cells = rows(page, STARTED)["Ultrasound"]
    assert cells[0] == "10 (10)"
    assert cells[1].startswith("40 (")  # 4 of 10 closed
    assert cells[2:7] == ["10", "0", "10", "0", "40"]  # R5 died, R6 left, 4 of 10 are still open
    assert cells[7].startswith("never")
    assert cells[8].startswith("3.2 (")  # 4 of 10 closed in week 4, and so for 8 weeks of 12: 4 x 8 / 10


def ten_that_started():
    """Ten wounds on ten residents, treated from day 12; W1 to W4 are closed on day 40, R5 dies and R6 leaves."""
    ends = {5: 60, 6: 70}
    measured = [
        f"W{n} {day} 4 3 open" if n > 4 or day < 40 else f"W{n} {day} . . closed"
        for n in range(1, 11)
        for day in range(10, ends.get(n, 200) + 1, 10)
    ]
    return drawn(
        residents="resident facility\n" + "\n".join(f"R{n} Quellmoor" for n in range(1, 11)),
        wounds="wound resident kind\n" + "\n".join(f"W{n} R{n} venous" for n in range(1, 11)),
        measurements="wound day length width state\n" + "\n".join(measured),
        sessions="wound day modality status\n" + "\n".join(f"W{n} 12 ultrasound given" for n in range(1, 11)),
        departures="resident day reason\nR5 60 died\nR6 70 left\n",
    )


@pytest.mark.parametrize("of", ["invented", "ten"])
def test_the_shares_of_a_group_leave_nobody_out(found, of):
    told = found[0] if of == "invented" else findings(ten_that_started(), "Invented")[0]
    reached = [group for group in told["healing"] if group["reached"]]
    assert reached
    for group in reached:
        ends = [group[f"{end}_share"] for end in ("closed", "died", "hospital", "left", "surgery", "open")]
        assert sum(ends) == pytest.approx(1, abs=1e-6)  # findings keep eight digits


def test_sessions_by_regimen_add_up_to_those_planned(found):
    told = found[0]
    assert sum(row["planned"] for row in told["sessions"]) == told["activity"]["planned"] > 0
    for row in told["sessions"]:
        assert row["planned"] == row["given"] + row["shortened"] + row["missed"] + row["not_known"]


def test_sessions_of_which_it_is_not_known_count_as_planned_alone():
    sessions = "wound day modality status\nW1 120 ultrasound given\nW1 122 ultrasound .\nW2 120 ultrasound missed\n"
    found, _ = small_page(sessions=sessions)
    done = found["activity"]
    assert (done["planned"], done["given"], done["missed"], done["not_known"]) == (3, 1, 1, 1)


def test_the_five_numbers_stand_at_the_top_as_the_findings_have_them(page, found):
    told = [[part.text for part in box.find_all(["dt", "dd", "small"])] for box in page.select(".figures div")]
    assert told == [[one["name"], one["value"] + one["rests"], one["rests"]] for one in found[0]["numbers"]]
    assert [one["about"] for one in found[0]["numbers"]] == ["reach", "delivered", "closed", "harm", "effort"]


def test_the_line_of_trust_tells_what_was_measured_tied_set_aside_and_of_whom(html, found):
    done, tied, told = found[0]["activity"], found[0]["tied"], text_of(html)
    assert f"({done['weeks_measured']} of {done['weeks_in_view']}) of wound weeks" in told
    assert f"sessions tied to a wound {words.percent(tied['sessions'], tied['rows'])}" in told
    assert f"it rests on {found[0]['cohort']['wounds']} wounds of {found[0]['cohort']['residents']} residents" in told


def test_rows_kept_and_set_aside_add_up(html, found, invented):
    # 30 residents, 40 wounds, 2 departures, and the measurements and sessions; 5 measurements and 2 sessions planted
    rows_in = 72 + invented.rows["measurements"] + invented.rows["sessions"]
    told = text_of(html)
    assert f"{rows_in:,} rows in 5 tables: {rows_in - 7:,} kept, 7 set aside." in told
    assert f"rows set aside 1% (7 of {rows_in})" in told
    assert sum(row["rows_in"] for row in found[0]["account"]) == rows_in


def test_reactions_are_counted_over_the_sessions_that_say_something_of_them():
    head, given = "wound day modality status reaction", "ultrasound given"
    _, told = small_page(sessions=f"{head}\nW1 120 {given} pain\nW1 122 {given} none\nW2 120 {given} .\n")
    assert (
        "Reactions per 100 sessions 50.0 1 in 2 sessions; the plan's limit is 5; 1 say nothing of any" in told
    )  # 100 x 1 / 2


def test_faults_are_counted_by_row_and_said_by_what_became_of_them(html, found):
    said = found[0]["sent"]
    assert [line.split(":")[0] for line in said] == ["Set aside", "Repaired", "Kept with a mark"]
    names = {name for line in said for name in re.findall(r"([a-z ]+) 1(?=[,.])", line.split(":")[1])}
    assert {name.strip() for name in names} == {
        "after death", "blank", "clash", "duplicate", "future", "negative", "orphan", "swapped", "unknown", "astray"
    }  # fmt: skip
    assert all(line in text_of(html) for line in said)


# --- what is not said ---


def test_groups_of_which_nothing_can_be_told_stand_in_a_line_with_their_size_and_why(page, found):
    """Three with ultrasound are too few, eleven with monopolar are not in view so long, and nobody had =1+1."""
    lines = [line.text for line in page.find_all("p", class_="small") if "wounds (residents):" in line.text]
    [told] = lines
    assert "Too few to describe, wounds (residents): " in told and "Ultrasound 3 (3)" in told
    assert "Not in view for so long: " in told and "Monopolar 11 (11)" in told
    assert told.endswith("Nobody had this: =1+1.")
    [group] = [group for group in found[0]["healing"] if group["group"] == "monopolar"]
    assert group["drawn"] and not group["reached"]
    assert STARTED not in [table.find_previous(["h2", "h3"]).text for table in page.find_all("table")]


def test_the_picture_says_in_words_what_it_shows_and_leaves_small_groups_out(page, found):
    said = page.find("img")["alt"]
    for group in found[0]["healing"]:
        sentence = f"{words.label(group['group'])}: of 100 wounds, {words.of_hundred(group['closed_share'])} closed"
        assert (sentence in said) == group["reached"]
        assert (f"{words.label(group['group'])}:" in said) == group["reached"]


def test_the_page_is_a_draft_of_its_revision_and_compares_nothing(html):
    told = text_of(html)
    assert "DRAFT revision r3" in told
    assert "Not compared." in told
    assert told.count(WARNING) == 1
    rest = told.replace(WARNING, "")
    for words_of in HARMLESS:
        rest = rest.replace(words_of, "")
    comparing = r"\b(hazard|p-value|difference|times as|faster|sooner|later|better|fewer|more|than)\b"
    assert re.findall(rf".{{30}}{comparing}.{{30}}", rest, re.IGNORECASE) == []


def test_that_nothing_is_compared_stands_above_the_figure(page):
    notice, figure = page.find(class_="notice"), page.find("figure")
    assert notice.strong.text == "Not compared."
    assert figure in notice.find_all_next("figure")


# --- too few to compare: a full page ---


def test_what_is_missing_is_told_with_what_was_found_and_how_much_is_needed(page, found):
    told = rows(page, "What any modality beside none needs")
    needs = [
        need
        for need in found[0]["comparison"]["needs"]
        if (need["treated"], need["beside"]) == ("any modality", "no modality")
    ]
    assert told == {
        words.sentence(EARLY_NEEDS[need["need"]]): [
            f"{need['needed']:.0f}", f"{int(need['found'])}", "yes" if need["met"] else "no",
        ]
        for need in needs
    }  # fmt: skip
    assert [cells[0] for cells in told.values()] == ["15", "12", "40", "15", "10", "5", "5"]  # the plan's defaults
    assert "no" in [cells[2] for cells in told.values()]


def test_a_page_that_compares_nothing_is_a_full_page(page, html, found):
    heads = [heading.text for heading in page.find_all(["h2", "h3"])]
    assert heads == [
        "Too few to compare: what is missing, and what can be said", "Where wounds stood, week by week", BEFORE,
        STARTED, "What could mislead us", "What was delivered in the quarter", "To discuss", "What the export held",
        "How this page was made",
    ]  # fmt: skip
    told = text_of(html)
    assert found[0]["comparison"]["reach"] in told
    assert found[0]["comparison"]["look"] in told
    assert len(page.find_all("img")) == 1
    assert page.find("img")["alt"].startswith("Where wounds stood at week 12.")
    outside = {words.sentence(line["reason"]): [str(line["starters"])] for line in found[0]["comparison"]["outside"]}
    assert outside and rows(page, "Starts, by whether they can be compared") == outside
    assert "Of 100 wounds like those treated" not in told and "Expected beside" not in told


def test_a_page_that_compares_nothing_holds_no_difference_not_even_in_its_findings(found, html):
    compared = found[0]["comparison"]
    assert [row["is_told"] for row in compared["told"]] == [False] * 7
    for row in compared["told"]:
        measured = [f"{name}_{part}" for name in MEASURES for part in PARTS]
        assert [row[key] for key in measured] == [None] * 30
        assert row["level"] == "cannot say"
    assert (compared["states"], compared["homes"], compared["balance"]) == ([], [], [])
    assert "(range " not in text_of(html).replace(found[0]["delivery"]["safety"][0], "")  # of reactions


def test_without_any_start_the_page_counts_none_and_has_no_table_of_starts():
    tables = {name: text for name, text in TWO_HOUSES.items() if name != "sessions"}
    study = drawn(**tables)
    found, description = findings(study, "Invented")
    html = page_of(found, description, study)
    assert found["comparison"]["outside"] == []
    assert "could have been started, and 0 were." in text_of(html)
    assert "Starts, by whether they can be compared" not in html


# --- compared ---


@pytest.fixture(scope="module")
def told_found(lifelike):
    return findings(lifelike, "All facilities")


@pytest.fixture(scope="module")
def told_page(told_found, lifelike):
    return BeautifulSoup(page_of(*told_found, lifelike), "html.parser")


def test_the_comparison_is_said_with_its_level_above_its_figure(told_page, told_found):
    first = told_found[0]["comparison"]["told"][0]
    said = told_page.find("p", class_="kit-says")
    assert said.small.text == first["level"] == "describes"
    assert said.text == first["sentence"] + first["level"]
    assert told_page.find("figure") in said.find_all_next("figure")
    horizon = told_found[0]["comparison"]["horizon_weeks"]
    assert said.find_previous("h2").text == f"Of 100 wounds like those treated, where are they at week {horizon}?"


def test_the_figure_of_the_comparison_is_said_in_words_and_stands_alone(told_page, told_found):
    [picture] = told_page.find_all("img")
    first = told_found[0]["comparison"]["told"][0]
    assert picture["alt"] == (
        "Two bars of 100 wounds, treated and expected without, and their difference. " + first["sentence"]
    )
    text = text_of(str(told_page))
    for descriptive in (BEFORE, STARTED, "Where wounds stood, week by week", "Not compared.", "Too few to compare"):
        assert descriptive not in text


def test_regimens_are_told_as_the_findings_have_them(told_page, told_found):
    [table] = [
        table
        for table in told_page.find_all("table")
        if table.find_previous(["h2", "h3"]).text.startswith("Each regimen beside no modality")
    ]
    lines = [[cell.text for cell in line.find_all(["th", "td"])] for line in table.tbody.find_all("tr")]
    regimens = [row for row in told_found[0]["comparison"]["told"] if row["treated"] != "any modality"]
    assert len(lines) == len(regimens) == 6
    for line, row in zip(lines, regimens, strict=True):
        assert line[:3] == [words.label(row["treated"]), row["beside"], f"{row['starters']} and {row['others']}"]
        assert line[6] == row["level"]
        if row["is_told"]:
            shares = [words.of_hundred(row[f"closed_{arm}"]) for arm in ("treated", "beside")]
            difference = words.more_or_fewer(*(row[f"closed_{part}"] for part in ("difference", "low", "high")))
            assert line[3:6] == [*shares, difference]
        else:
            assert line[3:5] == ["–", "–"] and "needed" in line[5] and "range" not in line[5]
    assert {row["is_told"] for row in regimens} == {True, False}


def test_what_no_chart_holds_reach_look_and_facilities_stand_on_the_page(told_page, told_found):
    text, found = text_of(str(told_page)), told_found[0]["comparison"]
    notice = told_page.find(class_="notice").text
    assert UNCHARTED in notice and found["look"] in notice
    assert found["reach"] in text
    assert f"from {found['draws']} draws of whole residents" in text
    assert len(found["homes"]) == 4
    for home in found["homes"]:
        difference = words.more_or_fewer(home["leaning"], home["low"], home["high"])
        assert f"{home['facility']} {difference}, of {words.count(home['starters'], 'start')}" in text


def test_a_page_that_compares_uses_no_word_that_may_never_be_used(told_page):
    spoken = text_of(str(told_page)) + told_page.find("img")["alt"]
    assert [word for word in words.FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", spoken, re.IGNORECASE)] == []


def test_what_was_delivered_and_what_the_export_held_stand_on_both_kinds_of_page(told_page):
    heads = [heading.text for heading in told_page.find_all("h2")][1:]
    assert heads == [
        "What could mislead us", "What was delivered in the quarter", "To discuss", "What the export held",
        "How this page was made",
    ]  # fmt: skip


def test_the_page_of_a_facility_tells_the_groups_answer_and_its_own_leaning(lifelike, told_found):
    home = "Brindlemere"  # the smallest
    there = lifelike.at(home)
    found, description = findings(there, home, lifelike)
    told = text_of(page_of(found, description, there))
    assert not found["comparison"]["told"][0]["is_told"] and found["comparison"]["homes"] == []
    [own] = [line for line in told_found[0]["comparison"]["homes"] if line["facility"] == home]
    first = told_found[0]["comparison"]["told"][0]
    assert found["group"]["home"] == own
    assert found["group"]["told"] == {key: first[key] for key in found["group"]["told"]}
    group = words.more_or_fewer(*(first[f"closed_{part}"] for part in ("difference", "low", "high")))
    leaning = words.more_or_fewer(*(own[part] for part in ("leaning", "low", "high")))
    assert f"All facilities together, after starting any modality: {group} of 100 wounds had closed by week 12." in told
    assert f"In {home}, with {words.count(own['starters'], 'start')} of its own" in told
    assert f"leaning on the group for the rest: {leaning}." in told
    assert "Not compared." in told and "Where wounds stood, week by week" in told


def test_only_the_page_of_one_of_several_facilities_has_a_group(found, told_found):
    assert found[0]["group"] is None and told_found[0]["group"] is None


def test_that_the_page_is_internal_is_its_first_line(page):
    assert page.body.find(True).text == INTERNAL


def test_the_page_says_when_it_was_made_and_of_when_its_last_record_is(found, study):
    figure = closing_figure(found[1].curves, found[1].groups, study.plan.following.horizon_weeks)
    told = text_of(page_html(found[0], figure, None, study.plan, "r3", BOOKS, "5 July 2026"))
    assert "DRAFT revision r3, made 5 July 2026 · last record in the export: 30 June 2026" in told


def test_where_all_is_well_no_fault_was_found_and_no_row_set_aside():
    seen = [f"W{n} {day} {4 - day / 100:.1f} 2 open" for n in (1, 2, 3) for day in range(10, 150, 10)]
    found, told = small_page(
        measurements="wound day length width state\n" + "\n".join(seen),
        departures="resident day reason\nR1 150 left\nR2 150 left\nR3 150 left\n",
    )
    assert found["faults"] == []
    assert "No fault was found." in told
    # residents, wounds, departures 3 each, 3 x 14 measurements, 2 sessions, 2 spans: 9 + 42 + 4
    assert "rows set aside 0% (0 of 55)" in told


def test_without_sessions_the_page_says_none_and_not_zero():
    found, told = small_page(sessions="wound day modality status\nW1 12 ultrasound given\n")  # before the quarter
    assert found["activity"]["planned"] == 0
    assert "Delivered, of sessions due none" in told
    assert "Reactions per 100 sessions none" in told


def test_a_table_that_is_not_in_the_export_is_named():
    assert "Not in the export: procedures" in small_page()[1]


def test_without_a_calendar_the_whole_export_is_described_and_no_date_is_said():
    _, told = small_page(plan=SAFE_HARBOR)
    assert "Invented: the whole export" in told
    assert "not computable under this basis" in told
    assert "basis stated in the plan: safe harbor" in told
    assert not re.search(r"\b(19|20)\d\d\b", told.replace("1000 draws", ""))


def test_a_cohort_without_wounds_is_still_a_page():
    plan = DRAWN_PLAN + '[cohort]\nkinds = ["surgical"]\n'  # all wounds are venous
    found, told = small_page(plan=plan)
    assert found["cohort"]["wounds"] == 0
    assert "Wounds outside the cohort: 3 of a kind the plan leaves out" in told
    nobody = " ".join(line.split(". ")[0] for line in told.split("Nobody had this: ")[1:])
    assert told.count("Nobody had this") == 2  # once a clock
    assert all(words.label(group["group"]) in nobody for group in found["healing"])


# --- how it is made ---


def test_the_page_fetches_nothing(page, html):
    assert [tag["src"][:22] for tag in page.find_all(src=True)] == ["data:image/png;base64,"]
    assert {tag["href"] for tag in page.find_all(href=True)} == {"costs.html", *(file for file, _ in BOOKS)}
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
    assert "it rests on 28 wounds of 18 residents" in text_of(page_of(found, description, there))


# --- delivery ---


def test_what_was_delivered_is_told_in_sentences_a_figure_and_the_weekly_list(lifelike):
    found, description = findings(lifelike, "All facilities")
    done = found["delivery"]
    text = text_of(page_of(found, description, lifelike))
    assert len(done["missed"]) == 5 > MOST_MISSED
    assert all(sentence in text for sentence in [*done["missed"][:MOST_MISSED], done["to_look_at"]])
    assert f"{5 - MOST_MISSED} others stand in the notebook on delivery." in text
    assert done["missed"][0].startswith("Ostervane, device minutes a day: short of the protocol in ")
    assert all(sentence in text for sentence in done["safety"])


def test_a_page_of_many_facilities_tells_how_many_and_where_each_stands(told_found, lifelike):
    found, description = told_found
    [one, *_] = found["comparison"]["homes"]
    names = [f"Elm {number}" for number in range(10, 20)]
    homes = [one | {"facility": name, "leaning": 0.01 * place} for place, name in enumerate(names)]
    many = found | {"facilities": names, "comparison": found["comparison"] | {"homes": homes}}
    text = text_of(page_of(many, description, lifelike))
    assert "10 facilities, from Elm 10 to Elm 19" in text and "Elm 15" not in text
    assert "between none and 9 more of 100 in 10 facilities; each with its range stands in tables.xlsx" in text
    assert describe_due(many).endswith(found["numbers"][1]["value"])
    assert "Facility beside facility." in text  # of few it stands in the line of each facility
    assert "Facility beside facility." not in text_of(page_of(found, description, lifelike))


def test_the_figure_of_what_was_due_is_told_in_words(lifelike):
    found, _ = findings(lifelike, "All facilities")
    said = describe_due(found)
    full = {row["facility"]: round(100 * row["share"]) for row in found["delivery"]["due"] if row["fate"] == "full"}
    assert len(full) == 4
    assert all(f"{name} {share}" in said for name, share in full.items())
