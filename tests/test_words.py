"""How numbers, days and names are said, and that no page uses a word it may never use."""

import re
from datetime import date

import pytest
from bs4 import BeautifulSoup

from kit import words
from kit.plan import Plan, day_of

NAN, NEVER = float("nan"), float("inf")


def plan_of(**windows):
    basis = "limited_data_set" if windows else "safe_harbor"
    regimens = [{"name": "ultrasound", "modality": "ultrasound"}]
    program = {"name": "Invented", "basis": basis}
    return Plan.model_validate({"program": program, "windows": windows, "regimens": regimens})


DATED = plan_of(quarter_begins=date(2026, 4, 1), cutoff=date(2026, 6, 30))
NUMBERED = plan_of(quarter_begins=110, cutoff=200)
UNDATED = plan_of()


# --- numbers ---


@pytest.mark.parametrize(
    ("part", "whole", "said"),
    [
        (118, 184, "64% (118 of 184)"),  # 118 / 184 = 0.641
        (0, 7, "0% (0 of 7)"),
        (7, 7, "100% (7 of 7)"),
        (996, 1000, "over 99% (996 of 1000)"),  # 99.6, and not all
        (4, 1000, "under 1% (4 of 1000)"),
        (0, 0, "none"),
    ],
)
def test_percent_carries_its_count(part, whole, said):
    assert words.percent(part, whole) == said


@pytest.mark.parametrize(("share", "said"), [(0.314, "31"), (0.0, "0"), (1.0, "100"), (NAN, "–"), (None, "–")])
def test_a_share_is_whole_wounds_of_a_hundred(share, said):
    assert words.of_hundred(share) == said


def test_a_share_has_its_range_in_brackets():
    assert words.of_hundred_range(0.314, 0.219, 0.401) == "31 (22 to 40)"


def test_a_share_that_cannot_be_had_has_no_range():
    assert words.of_hundred_range(NAN, 0.2, 0.4) == "–"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((2.345, 2.345, 2.345), "2.3 (2.3 to 2.3)"),
        ((2.0, 1.0, 3.25), "2.0 (1.0 to 3.2)"),
        ((0.0, 0.0, 0.0), "0.0 (0.0 to 0.0)"),
        ((NAN, 1.0, 3.0), "–"),
    ],
)
def test_weeks_have_one_decimal_and_their_range(given, said):
    assert words.weeks_range(*given) == said


@pytest.mark.parametrize(("number", "said"), [(0, "0 wounds"), (1, "1 wound"), (12, "12 wounds")])
def test_a_count_agrees_with_its_noun(number, said):
    assert words.count(number, "wound") == said


def test_events_per_hundred_carry_their_count():
    assert words.per_hundred(3, 120).split() == "2.5 per 100 sessions (3 in 120)".split()  # 100 x 3 / 120
    assert words.per_hundred(0, 0) == "none"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((99.0, 91.0, 120.0), "week 15 (13 to 18)"),  # 99 / 7 = 14.1, 91 / 7 = 13, 120 / 7 = 17.1
        ((98.0, 92.0, NEVER), "week 14 (14 to never)"),  # 98 / 7 = 14, 92 / 7 = 13.1
        ((98.0, 92.0, None), "week 14 (14 to never)"),  # findings hold null for what is never reached
        ((NAN, 92.0, NEVER), "never (14 to never)"),
        ((None, 92.0, None), "never (14 to never)"),
    ],
)
def test_a_median_is_told_in_weeks_with_its_range(given, said):
    assert words.median_week(*given) == said


@pytest.mark.parametrize("given", [(NAN, NEVER, NEVER), (None, None, None)])
def test_a_median_that_no_draw_reached_is_not_a_number(given):
    assert words.median_week(*given) == "never"


def test_the_window_is_the_quarter_only_where_there_is_a_cut_off():
    assert (words.when(DATED.cutoff), words.when(NUMBERED.cutoff)) == ("in the quarter", "in the quarter")
    assert words.when(UNDATED.cutoff) == "in the whole export"


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((0.094, -0.022, 0.221), "9 more (range 2 fewer to 22 more)"),
        ((-0.1, -0.2, -0.014), "10 fewer (range 20 fewer to 1 fewer)"),
        ((0.0, -0.3, 0.3), "none (range 30 fewer to 30 more)"),
        ((0.004, -0.004, 0.006), "none (range none to 1 more)"),  # less than half a wound is none, to either side
        ((1.0, 0.5, 1.0), "100 more (range 50 more to 100 more)"),
        ((NAN, NAN, NAN), "–"),
        ((None, None, None), "–"),
    ],
)
def test_a_difference_is_whole_wounds_more_or_fewer(given, said):
    assert words.more_or_fewer(*given) == said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((7.4, -2.2, 12.1), "7 points more (range 2 less to 12 more)"),
        ((-10.0, -20.0, -1.4), "10 points less (range 20 less to 1 less)"),
        ((1.4, 0.6, 2.0), "1 point more (range 1 more to 2 more)"),
        ((-0.6, -1.0, 0.0), "1 point less (range 1 less to none)"),
        ((0.4, -0.4, 0.6), "none (range none to 1 more)"),  # less than half a point is none, to either side
        ((3.0, -NEVER, 9.0), "3 points more (no range can be told)"),
        ((0.0, -9.0, NEVER), "none (no range can be told)"),
        ((3.0, NAN, 9.0), "3 points more (no range can be told)"),
        ((3.0, None, None), "3 points more (no range can be told)"),  # findings hold null for what is never reached
        ((NAN, 1.0, 2.0), "–"),
        ((None, None, None), "–"),
        ((-NEVER, 1.0, 2.0), "–"),
    ],
)
def test_a_difference_in_points_is_whole_and_says_which_way(given, said):
    assert words.points(*given) == said


def test_points_may_be_faster_or_slower():
    assert words.points(2.0, -1.0, 5.0, "faster", "slower") == "2 points faster (range 1 slower to 5 faster)"
    assert words.points(-2.0, -3.0, NAN, "faster", "slower") == "2 points slower (no range can be told)"


@pytest.mark.parametrize(
    ("amount", "said"),
    [(19.4, "19"), (-2.6, "−3"), (-0.4, "0"), (0.0, "0"), (100.0, "100"), (NAN, "–"), (None, "–"), (NEVER, "–")],
)
def test_percents_are_whole_and_may_lie_below_none(amount, said):
    assert words.percents(amount) == said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ((19.0, 18.4, 20.0), "19 (18 to 20)"),
        ((-2.6, -4.4, 0.4), "−3 (−4 to 0)"),
        ((19.0, -NEVER, 20.0), "19 (– to 20)"),
        ((NAN, 18.0, 20.0), "–"),
    ],
)
def test_percents_have_their_range_in_brackets(given, said):
    assert words.percents_range(*given) == said


# --- days and names ---


def test_a_day_is_a_date_where_there_is_a_calendar():
    assert words.day(day_of(date(2026, 6, 30)), DATED) == "30 June 2026"
    assert words.day(0, DATED) == "1 January 2000"


def test_a_day_is_a_number_where_days_are_counted():
    assert words.day(200, NUMBERED) == "day 200"


def test_a_day_that_the_basis_forbids_is_said_to_be_so():
    assert words.day(UNDATED.cutoff, UNDATED) == "not computable under this basis"


@pytest.mark.parametrize(
    ("name", "said"),
    [("rows_in", "Rows in the export"), ("median_size", "Median size"), ("Tarnwick", "Tarnwick"), ("", "")],
)
def test_a_name_is_said_as_a_person_would(name, said):
    assert words.label(name) == said


# --- words that may never appear ---


def forbidden_in(text):
    """The forbidden words in a text, whole words alone, whatever their case."""
    return [word for word in words.FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text, re.IGNORECASE)]


def readable(html):
    """All that a person can read or hear of a page: text, notebooks' code, descriptions of pictures."""
    page = BeautifulSoup(html, "html.parser")
    for style in page.find_all("style"):
        style.extract()
    return " ".join([page.get_text(" "), *(picture["alt"] for picture in page.find_all("img"))])


def test_the_search_finds_whole_words_in_any_case_and_in_descriptions():
    assert forbidden_in("This Proves it.") == ["proves"]
    assert forbidden_in("below the standard of care") == ["standard of care"]
    assert forbidden_in("because the probability of ranking improves") == []
    assert forbidden_in(readable('<style>rank</style><p>fine</p><img alt="the best">')) == ["best"]


def test_the_page_uses_no_forbidden_word(reported):
    text = readable((reported / "internal" / "page.html").read_text(encoding="utf-8"))
    assert "Not compared" in text
    assert forbidden_in(text) == []


def test_no_notebook_uses_a_forbidden_word(reported):
    pages = sorted((reported / "internal").glob("0*.html"))
    assert len(pages) >= 5
    told = {page.name: forbidden_in(readable(page.read_text(encoding="utf-8"))) for page in pages}
    assert told == {page.name: [] for page in pages}


def test_a_share_and_a_rate_stand_alone_as_they_stand_before_their_counts():
    assert (words.share(118, 184), words.percent(118, 184)) == ("64%", "64% (118 of 184)")
    assert (words.rate(3, 120), words.per_hundred(3, 120)) == ("2.5", "2.5 per 100 sessions (3 in 120)")
    assert {words.share(0, 0), words.percent(0, 0), words.rate(0, 0), words.per_hundred(0, 0)} == {"none"}


@pytest.mark.parametrize(
    ("given", "shown"),
    [("North house – 2", "North house – 2"), ("a\x1b[31mb", "a?[31mb"), ("a\nb\tc", "a?b?c"), ("\u202eab", "?ab")],
)
def test_what_a_terminal_would_obey_stands_as_a_question_mark(given, shown):
    assert words.plain(given) == shown
