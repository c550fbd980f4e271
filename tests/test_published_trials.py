"""The list of published studies and of reviews: what it holds, what its traps say, and what a slip in it is told by."""

import re

import pandas as pd
import pytest

from kit.context.published_trials import CLOSING, REVIEWS, SIZE, TRIALS, reviews, trials
from kit.delivery.published import PUBLISHED, doses
from kit.faults import ExportError
from kit.words import FORBIDDEN

LIST, REVIEWED = ((PUBLISHED / name).read_text(encoding="utf-8") for name in ("trials.csv", "reviews.csv"))
LISTED = trials()
PRINTED = 1e-9  # numbers are entered as printed


def changed(tmp_path, old, new, name="trials.csv", text=LIST):
    """The list with one thing changed in it, as somebody would with a spreadsheet."""
    assert old in text
    file = tmp_path / name
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    return file


def row(trial, arm="treated", reading=""):
    found = LISTED[(LISTED["trial"] == trial) & (LISTED["arm"] == arm) & (LISTED["reading"] == reading)]
    assert len(found) == 1
    return found.iloc[0]


# --- what it holds ---


def test_the_columns_are_typed_and_in_order():
    assert list(LISTED.columns) == list(TRIALS)
    assert str(LISTED["closed"].dtype) == "Int64" and str(LISTED["reduction"].dtype) == "float64"
    assert LISTED["stages"].map(type).eq(str).all()


def test_every_row_says_where_it_is_from():
    assert (LISTED["source"] != "").all()
    assert (LISTED.loc[LISTED["seen"] != "verified", "doubt"] != "").sum() >= 20


# The counts of published-trial tables, as entered: closed of counted.
@pytest.mark.parametrize(
    ("trial", "treated", "control"),
    [
        ("Kloth 1988", (9, 9), (0, 7)),
        ("Griffin 1991", (2, 8), (2, 9)),
        ("Wood 1993", (25, 43), (1, 31)),
        ("Adunsky 2005", (5, 35), (3, 28)),
        ("Houghton 2010", (6, 16), (5, 18)),
        ("Peters 2001", (13, 20), (7, 20)),
        ("ter Riet 1996", (18, 45), (19, 43)),
        ("McDiarmid 1985", (10, 21), (8, 19)),
        ("Watson 2011", (72, 168), (78, 169)),
    ],
)
def test_the_closed_of_each_trial(trial, treated, control):
    assert tuple(row(trial)[["closed", "closed_of"]]) == treated
    assert tuple(row(trial, "control")[["closed", "closed_of"]]) == control


def test_both_sources_are_kept_where_they_conflict():
    assert row("Griffin 1991", reading="other source")["closed"] == 3
    assert row("Kloth 1988", "control")["reduction"] == pytest.approx(-28.9, abs=PRINTED)
    assert row("Kloth 1988", "control", "other source")["reduction"] == pytest.approx(-8.9, abs=PRINTED)
    assert tuple(row("Adunsky 2005", reading="day 147")[["closed", "closed_of"]]) == (9, 35)


def test_errors_printed_as_deviations_are_marked():
    own = LISTED[LISTED["spread_is"] == "se printed as sd"]
    assert set(own["trial"]) == {"Houghton 2003"} and (own["doubt"] != "").all()


def test_a_share_that_is_no_count_does_not_become_one():
    """52% of 24 is 12.48 wounds."""
    own = LISTED[LISTED["trial"] == "Polak 2016, J Wound Care"]
    assert own["closed"].isna().all() and (own["pools"] == "").all()


def test_what_was_not_found_has_no_number():
    own = LISTED[LISTED["seen"] == "not found"]
    assert set(own["trial"]) == {"Karba 1997"}
    assert own[["closed", "reduction", "people", "minutes"]].isna().all(axis=None)


def test_a_second_arm_does_not_count_its_control_twice():
    assert row("Polak 2017", "treated, negative then positive")["pools"] == ""
    for pool in (CLOSING, SIZE):
        own = LISTED[LISTED["pools"].str.contains(pool) & (LISTED["reading"] == "")]
        assert own.groupby("trial").size().eq(2).all()


def test_the_authors_of_katowice_are_one_group():
    groups = LISTED.drop_duplicates("trial").set_index("trial")["group"]
    own = groups[groups.index.str.startswith(("Franek", "Polak"))]
    assert set(own) == {"Katowice"} and len(own) == 8


# The same doses stand in doses.csv; one list must not drift from the other.
def test_doses_agree_with_the_list_of_doses():
    both = LISTED[LISTED["reading"] == ""].merge(doses().rename(columns={"current": "agent_there"}), on="trial")
    both = both[both["arm"].str.startswith("treated")]
    assert both["trial"].nunique() >= 9
    for column in ("minutes", "per_week", "for_weeks"):
        here, there = both[f"{column}_x"], both[f"{column}_y"]
        assert (here.eq(there) | (here.isna() & there.isna())).all(), column


@pytest.mark.parametrize("table", [LISTED, reviews()], ids=["trials", "reviews"])
def test_nothing_that_is_shown_uses_a_word_that_claims(table):
    shown = " ".join(table.select_dtypes("object").astype(str).to_numpy().ravel())
    assert not re.search(rf"\b({'|'.join(FORBIDDEN)})\b", shown, re.IGNORECASE)


# --- reviews ---


def result(review, measure, kind=None):
    table = reviews()
    own = table[(table["review"] == review) & (table["measure"] == measure)]
    return (own if kind is None else own[own["kind"] == kind]).iloc[0]


def test_the_columns_of_reviews():
    assert list(reviews().columns) == list(REVIEWS)


# As printed by each review: number, lower and upper limit.
@pytest.mark.parametrize(
    ("review", "measure", "numbers"),
    [
        ("Gardner 1999", "smaller a week, treated", (22, 18, 26)),
        ("Lala 2016", "closed", (1.55, 1.12, 2.15)),
        ("Arora 2020", "closed", (1.99, 1.39, 2.85)),
        ("Cullum 2010", "closed at 7 to 8 weeks", (1.40, 1.00, 1.96)),
        ("Cullum 2017", "closed at 7 to 8 weeks", (1.21, 0.86, 1.71)),
    ],
)
def test_what_reviews_found(review, measure, numbers):
    assert tuple(result(review, measure)[["estimate", "low", "high"]]) == numbers


def test_the_summary_that_calls_the_share_closed_more_says_so():
    """Of 1,000: 297 with, 149 without; 297 - 149 = 148 more, not 297 more."""
    with_it, without = (result("Arora 2020", f"closed of 1,000, {arm}")["estimate"] for arm in ("treated", "control"))
    assert f"{with_it - without:.0f} more" in result("Arora 2020", "closed of 1,000, treated")["says"]


def test_the_chance_that_does_not_fit_its_range_says_so():
    assert "does not fit the range" in result("Lala 2016", "closed")["says"]


def test_sheehan_is_of_diabetic_feet():
    own = result("Sheehan 2003", "median reduction at four weeks")
    assert own["kind"] == "diabetic_foot" and own["estimate"] == 53
    assert "diabetic feet, not of pressure injuries" in own["says"]


# --- slips ---


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("trial,arm,reading", "trial,limb,reading", "the columns are not those of its README"),
        (LIST, "", "the columns are not those of its README"),
        (LIST, LIST.splitlines()[0], "the columns are not those of its README, or no row follows"),
        (",stimulation,high-volt,", ",electric,high-volt,", "row 2, modality: write one of stimulation, ultrasound"),
        (",pressure_injury,4,", ",bedsore,4,", "row 2, kind: write one of pressure_injury"),
        (",9,9,7.3,", ",10,9,7.3,", r"row 2, closed: more closed than were counted \(closed_of\)"),
        (",9,9,7.3,", ",9,,7.3,", "row 2, closed: more closed than were counted"),
        (",9,9,7.3,", ",-9,9,7.3,", "row 2, closed: write a whole number, or nothing"),
        (",9,9,7.3,", ",8.5,9,7.3,", "row 2, closed: write a whole number"),
        (",45,5,7.3,", ",nan,5,7.3,", "row 2, minutes: write a number, or nothing"),
        (",45,5,7.3,", ",45 min,5,7.3,", "row 2, minutes: write a number"),
        ("Kloth 1988,treated,", "Kloth 1988,active,", "row 2, arm: begin with treated or control"),
        ("Kloth 1988,treated,", "Kloth 1887,treated,", "row 3: a control without its treated arm"),
        ("Kloth 1988,control,other source,", "Kloth 1988,control,,", "row 4: the same trial, arm and reading"),
        ("Kloth 1988,treated,,", "Kloth 1988,treated,x,", "row 2: another reading of an arm that has no row"),
        (",5,18,13,36,61,sd,", ",5,18,13,36,61,sd,,", "row 17: expected 31 cells"),
        (",26,6,,people,size,", ",,6,,people,size,", "row 18, reduction_of: must not be empty where pools says size"),
        (",14,sd,26,6,", ",0,sd,26,6,", "row 18, pools: size needs a spread above 0"),
        (",9,9,7.3,", ",,9,7.3,", "row 2, closed: must not be empty where pools says closing"),
        (",44.8,,closing,", ",44.8,,,", "row 3, pools: closing needs one treated arm and one control"),
        (",44.8,,closing,", ",44.8,,healing,", "row 2, pools: write one of closing, size"),
        ("quotes it,verified", "quotes it,certain", "row 2, seen: write one of verified"),
    ],
)
def test_a_slip_in_the_list_is_told_by_its_row(tmp_path, old, new, told):
    with pytest.raises(ExportError, match=told) as raised:
        trials(changed(tmp_path, old, new))
    message = str(raised.value)
    assert "\n" not in message
    for value in ("electric", "bedsore", "45 min", "active", "certain", "healing", "1887"):
        assert value not in message


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("Gardner 1999,", ",", "row 2, review: must not be empty"),
        (",22,18,26,", ",many,18,26,", "row 2, estimate: write a number"),
        (",15,,,", ",15.5,,,", "row 2, studies: write a whole number"),
        ("review,year", "name,year", "the columns are not those of its README"),
    ],
)
def test_a_slip_in_the_reviews_is_told_by_its_row(tmp_path, old, new, told):
    with pytest.raises(ExportError, match=told):
        reviews(changed(tmp_path, old, new, "reviews.csv", REVIEWED))


@pytest.mark.parametrize("read", [trials, reviews])
def test_a_list_that_is_gone_or_in_another_encoding_is_told(tmp_path, read):
    file = tmp_path / "list.csv"
    with pytest.raises(ExportError, match="list.csv: there is no such list"):
        read(file)
    file.write_bytes("trial,müde".encode("latin-1"))
    with pytest.raises(ExportError, match="save it as CSV in UTF-8"):
        read(file)


def test_a_spreadsheets_mark_and_blanks_do_no_harm(tmp_path):
    file = tmp_path / "trials.csv"
    file.write_text("\ufeff" + LIST.replace("Kloth 1988,treated,", " Kloth 1988 , treated ,", 1) + "\n\n", "utf-8")
    pd.testing.assert_frame_equal(trials(file), LISTED)
