"""What `show` emits: escaped HTML, marked, and nothing beside it."""

import IPython.display
import pandas as pd
import pytest
from bs4 import BeautifulSoup
from matplotlib.figure import Figure

from kit.pages.display import MARK, as_html, png, show, svg

NASTY = "<script>alert(1)</script>"
ESCAPED = "&lt;script&gt;alert(1)&lt;/script&gt;"


@pytest.fixture
def emitted(monkeypatch):
    """What reaches the notebook: a pair of positional and named arguments for each call."""
    calls = []
    monkeypatch.setattr(IPython.display, "display", lambda *given, **named: calls.append((given, named)))
    return calls


def a_figure():
    figure = Figure(figsize=(2, 1))
    figure.subplots().plot([0, 1], [1, 0])
    return figure


def cells(frame):
    """Heading and body cells of a frame's table, as text."""
    table = BeautifulSoup(as_html(frame), "html.parser")
    return [[cell.text for cell in row.find_all(["th", "td"])] for row in table.find_all("tr")]


# --- what is emitted ---


@pytest.mark.parametrize(
    ("thing", "says"), [("5 wounds closed.", ""), (pd.DataFrame({"wounds": [5]}), "All"), (a_figure(), "A line")]
)
def test_only_marked_html_is_emitted_and_nothing_comes_back(emitted, thing, says):
    assert show(thing, says) is None
    expected = ({"text/html": as_html(thing, says)},), {"raw": True, "metadata": {"text/html": MARK}}
    assert emitted == [expected]


@pytest.mark.parametrize("thing", [5, None, ["5 wounds"], {"wounds": 5}, pd.Series([5]), b"5 wounds"])
def test_anything_but_a_sentence_a_table_or_a_figure_is_refused(emitted, thing):
    with pytest.raises(TypeError, match="a sentence, a table or a figure"):
        show(thing)
    assert emitted == []


def test_a_figure_without_a_description_is_refused(emitted):
    with pytest.raises(ValueError, match="needs a description"):
        show(a_figure())
    assert emitted == []


# --- escaping ---


def test_words_of_several_lines_stand_as_written_and_are_escaped():
    told = as_html(f"a = 1\n{NASTY}")
    assert told == f'<pre class="kit-text" tabindex="0" role="region" aria-label="a = 1">a = 1\n{ESCAPED}</pre>'
    assert as_html(f"{NASTY}\nb").count(ESCAPED) == 2 and NASTY not in as_html(f"{NASTY}\nb")


def test_a_sentence_is_escaped():
    assert as_html(NASTY) == f'<p class="kit-says">{ESCAPED}</p>'


@pytest.mark.parametrize(
    ("frame", "caption"),
    [
        (pd.DataFrame({"facility": [NASTY]}), ""),
        (pd.DataFrame({"regimen": ["none"], "facility": [NASTY]}), ""),
        (pd.DataFrame({NASTY: [1]}), ""),
        (pd.DataFrame({"wounds": [1]}), NASTY),
        (pd.DataFrame({"facility": pd.Categorical([NASTY])}), ""),
    ],
    ids=["first cell", "later cell", "heading", "caption", "category"],
)
def test_no_part_of_a_table_can_carry_markup(frame, caption):
    told = as_html(frame, caption)
    assert ESCAPED in told
    assert "<script" not in told


def test_a_description_cannot_break_out_of_its_attribute():
    picture = BeautifulSoup(as_html(a_figure(), '" onerror="alert(1)'), "html.parser").img
    assert picture["alt"] == '" onerror="alert(1)'
    assert "onerror" not in picture.attrs


# --- tables ---


def test_numbers_blanks_and_yes_or_no_are_written_for_readers():
    frame = pd.DataFrame(
        {
            "name": ["a", "b", None],
            "count": pd.array([3, None, 1200], dtype="Int64"),
            "share": [0.125, float("nan"), 2.0],  # 0.125 to two decimals, half to even: 0.12
            "sure": [True, False, True],
            "told": pd.array([True, None, False], dtype="boolean"),
            "when": [pd.NaT, pd.NaT, pd.NaT],
        }
    )
    assert cells(frame)[1:] == [
        ["a", "3", "0.12", "yes", "yes", "–"],
        ["b", "–", "–", "no", "–", "–"],
        ["–", "1200", "2", "yes", "no", "–"],
    ]


def test_headings_are_labelled():
    assert cells(pd.DataFrame({"rows_in": [1], "median_size": [2]}))[0] == ["Rows in the export", "Median size"]


def test_every_heading_says_what_it_heads():
    table = BeautifulSoup(as_html(pd.DataFrame({"regimen": ["a", "b"], "wounds": [1, 2]})), "html.parser")
    assert [th["scope"] for th in table.thead.find_all("th")] == ["col", "col"]
    assert [[cell.name for cell in row.find_all(True)] for row in table.tbody.find_all("tr")] == [["th", "td"]] * 2
    assert [th["scope"] for th in table.tbody.find_all("th")] == ["row", "row"]


def box_of(frame, caption=""):
    return BeautifulSoup(as_html(frame, caption), "html.parser").div


def test_a_table_stands_in_a_box_that_scrolls_by_keyboard_and_is_named():
    frame = pd.DataFrame({"regimen": ["ultrasound", "none"], "wounds": [3, 4]})
    box = box_of(frame, "All wounds")
    assert (box["tabindex"], box["role"], box["aria-label"]) == ("0", "region", "All wounds")
    assert [child.name for child in box.children] == ["table"]
    assert box_of(frame)["aria-label"] == "Regimen: ultrasound, none"
    assert box_of(frame.iloc[:0])["aria-label"] == "Regimen: no row"


def test_a_table_without_columns_says_so_and_is_a_table_all_the_same():
    box = box_of(pd.DataFrame(), "What the data carry")
    assert [head.text for head in box.find_all("th")] == [
        "Nothing to show"
    ] and box.caption.text == "What the data carry"


def test_the_name_of_a_box_cannot_break_out_of_its_attribute():
    box = box_of(pd.DataFrame({"facility": ['" onfocus="alert(1)']}))
    assert box["aria-label"] == 'Facility: " onfocus="alert(1)'
    assert "onfocus" not in box.attrs


def test_numbers_stand_right_under_headings_that_do_too_and_yes_or_no_does_not():
    frame = pd.DataFrame({"regimen": ["a"], "wounds": [1], "size": [0.5], "drawn": [True]})
    for row in BeautifulSoup(as_html(frame), "html.parser").find_all("tr"):
        assert [cell.get("class") for cell in row.find_all(["th", "td"])] == [None, ["number"], ["number"], None]


def test_a_caption_is_there_only_when_given():
    frame = pd.DataFrame({"wounds": [1]})
    assert "<caption>All wounds</caption>" in as_html(frame, "All wounds")
    assert "caption" not in as_html(frame)


def test_an_empty_table_keeps_its_headings():
    assert cells(pd.DataFrame({"table": [], "rows": []})) == [["Table", "Rows"]]


# --- figures ---


def test_a_figure_is_a_picture_inside_the_page():
    picture = BeautifulSoup(as_html(a_figure(), "A line that falls"), "html.parser").img
    assert picture["alt"] == "A line that falls"
    assert picture["src"].startswith("data:image/png;base64,iVBOR")  # every PNG begins so


def test_the_same_figure_is_the_same_file_twice():
    assert png(a_figure()) == png(a_figure())


def test_a_figure_does_not_say_when_or_by_what_it_was_made():
    assert b"Software" not in png(a_figure())
    assert b"<dc:date>" not in svg(a_figure())
