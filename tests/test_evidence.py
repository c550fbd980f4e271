"""The four bodies of evidence, and the sentences made of them: whichever way they point, and where there is little."""

import dataclasses
import re
import shutil

import numpy as np
import pandas as pd
import pytest

from kit.context.evidence import AS_COUNTED, PRESSURE, UNDOUBTED, as_ratios, body_of, evidence
from kit.context.pooling import FIXED, HARTUNG, MANTEL_HAENSZEL
from kit.context.published_trials import trials
from kit.delivery.published import PUBLISHED
from kit.faults import ExportError
from kit.statements.evidence import NO_ADVICE, NONE_LISTED, in_short, ranged, said_of
from kit.statements.reviews import reviewed
from kit.words import FORBIDDEN

FOUND = evidence()
LISTED = FOUND.trials
PRINTED = 5.1e-5  # four decimals
CLAIMS = (*FORBIDDEN, "should", "recommend", "works", "because of")


def pooled_under(body, reading, way=FIXED):
    own = as_ratios(body.readings, body.measure)
    return own[(own["reading"] == reading) & (own["way"] == way)].iloc[0]


# --- bodies ---


def test_which_studies_are_pooled():
    names = {(body.modality, body.measure): list(body.effects["trial"]) for body in FOUND.bodies}
    assert names == {
        ("stimulation", "size"): ["Houghton 2010", "Franek 2012", "Polak 2016", "Polak 2017"],
        ("stimulation", "closing"): ["Kloth 1988", "Griffin 1991", "Wood 1993", "Adunsky 2005", "Houghton 2010"],
        ("ultrasound", "closing"): ["ter Riet 1996", "McDiarmid 1985"],
        ("ultrasound", "size"): ["Polak 2014"],
    }


def test_other_wounds_have_numbers_and_stay_outside():
    """Peters (feet), Houghton 2003 (leg ulcers) and Watson (venous) could be pooled, with their own kind alone."""
    fit = LISTED[(LISTED["pools"] != "") & (LISTED["kind"] != PRESSURE)]
    assert set(fit["trial"]) == {"Peters 2001", "Houghton 2003", "Watson 2011"}
    for body in FOUND.bodies:
        assert set(body.arms["kind"]) == {PRESSURE}
        assert not set(fit["trial"]) & set(body.readings["trials"].str.split(", ").explode())


def test_another_kind_of_wound_is_asked_for_by_name():
    body = body_of(LISTED, "ultrasound", "closing", "venous")
    row = as_ratios(body.pooled, "closing").set_index("way").loc[FIXED]
    assert row[["estimate", "low", "high"]].tolist() == pytest.approx([0.9286, 0.7313, 1.1790], abs=PRINTED)


def test_doubtful_rows_are_those_with_a_doubt_of_this_measure():
    """The closings of Houghton 2010 are derived, its sizes are not; the spread of Polak 2017 is computed."""
    closing, size = FOUND.stimulation_closing, FOUND.stimulation_size
    assert pooled_under(closing, UNDOUBTED)["trials"] == "Kloth 1988, Wood 1993"
    assert pooled_under(size, UNDOUBTED)["trials"] == "Houghton 2010, Franek 2012, Polak 2016"
    assert set(closing.doubts["trial"]) == {"Griffin 1991", "Adunsky 2005", "Houghton 2010"}
    assert set(size.doubts["trial"]) == {"Polak 2017"}


def test_without_the_doubtful_nothing_may_be_left():
    row = pooled_under(FOUND.ultrasound_size, UNDOUBTED)
    assert (row["studies"], row["not_computed"]) == (0, "no study")


def test_each_other_reading_is_pooled_in_its_place():
    body = FOUND.stimulation_closing
    assert list(body.readings["reading"].unique()) == [
        AS_COUNTED, UNDOUBTED, "Griffin 1991: other source", "Adunsky 2005: day 147"
    ]  # fmt: skip
    counted = pooled_under(body, AS_COUNTED)
    griffin, adunsky = (pooled_under(body, f"{name}") for name in body.readings["reading"].unique()[2:])
    assert counted["trials"] == griffin["trials"] == adunsky["trials"]
    # 3 of 8 for 2 of 8 raises the ratio, day 147 (9 of 35 beside 10 of 28) for day 57 (5 beside 3) lowers it.
    assert adunsky["estimate"] < counted["estimate"] < griffin["estimate"]
    row = body.pooled.set_index("way").loc[FIXED]
    assert counted["estimate"] == pytest.approx(np.exp(row["estimate"]), abs=PRINTED)


def test_three_of_four_are_of_one_group():
    assert FOUND.stimulation_size.groups.iloc[0].to_dict() == {"group": "Katowice", "studies": 3, "of": 4}
    without = FOUND.stimulation_size.without
    own = without[(without["left_out"] == "Katowice") & (without["way"] == FIXED)].iloc[0]
    assert (own["studies"], own["estimate"]) == (1, pytest.approx(34, abs=PRINTED))  # Houghton 2010: 70 - 36


def test_populations_say_how_many_were_counted_and_when():
    rows = FOUND.stimulation_closing.populations.set_index(["trial", "arm"])
    assert rows.loc[("Kloth 1988", "treated"), ["stages", "number", "weeks", "minutes"]].tolist() == ["4", 9, 7.3, 45]
    assert rows.loc[("Wood 1993", "control"), "number"] == 31


def test_what_the_others_lack():
    lacks = FOUND.stimulation_size.not_pooled.set_index("trial")["lacks"]
    assert lacks["Franek 2011"] == "no spread was seen"
    assert lacks["Wood 1993"] == "a mean reduction was not seen"
    assert lacks["Bora Karsli 2017"] == "there is no control"
    closing = FOUND.stimulation_closing.not_pooled.set_index("trial")["lacks"]
    assert closing["Polak 2016, J Wound Care"] == "no count of closings was seen"
    assert closing["Gentzkow 1993"] == "there is no control"


def test_a_control_that_two_modalities_have_in_common_is_seen_by_both():
    for body in (FOUND.stimulation_size, FOUND.ultrasound_size):
        assert "Polak 2016, J Wound Care" in set(body.not_pooled["trial"])


def test_no_study_makes_an_empty_body():
    body = body_of(LISTED.head(0), "stimulation", "closing")
    assert body.effects.empty and body.without.empty and body.not_pooled.empty
    assert (body.pooled["not_computed"] != "").all()


def test_evidence_is_read_from_the_folder_that_is_named(tmp_path):
    with pytest.raises(ExportError, match="trials.csv: there is no such list"):
        evidence(tmp_path)
    for name in ("trials.csv", "reviews.csv"):
        shutil.copy(PUBLISHED / name, tmp_path)
    assert len(evidence(tmp_path).stimulation_size.effects) == 4


# --- sentences ---

SAID = [sentence for body in FOUND.bodies for sentence in said_of(body)]
ALL = [*in_short(FOUND), *SAID, *reviewed(FOUND.reviews)]


@pytest.mark.parametrize("sentence", ALL)
def test_no_sentence_claims_or_advises(sentence):
    assert not re.search(rf"\b({'|'.join(CLAIMS)})\b", sentence, re.IGNORECASE)
    assert sentence[0].isupper() or sentence[0].isdigit()
    assert sentence.endswith(".") and ".." not in sentence
    assert "nan" not in sentence and "None" not in sentence


def test_in_short():
    size, closing, ultrasound, ultrasound_size, advice = in_short(FOUND)
    assert "in four published studies of pressure injuries 36 points more" in size and "after 6 to 13 weeks" in size
    assert "moderate certainty that 1.99 times as many pressure injuries closed (range 1.39 to 2.85" in closing
    assert "11 studies, 512 wounds" in closing and "ask for better studies" in closing
    assert "weak and shows no difference: 0.97 times" in ultrasound and "(range 0.65 to 1.45)" in ultrasound
    assert "one published study alone, and doubtful (Polak 2014)" in ultrasound_size
    assert advice == NO_ADVICE and "single resident" in advice


def test_the_same_studies_say_more_or_not_known():
    """Fixed 2.03 (1.05 to 3.89), Hartung-Knapp 2.64 (0.53 to 13.2), Mantel-Haenszel 3.77 (1.97 to 7.18)."""
    head, lesson, *rest = said_of(FOUND.stimulation_closing)
    assert "2.03 times as many closed" in head and "(range 1.05 to 3.89), if all of them measure one" in head
    assert "2.64 (0.53 to 13.2)" in lesson and "3.77 (1.97 to 7.18)" in lesson
    assert "the same studies say more, or not known" in lesson
    assert any("two are left, with 17.0" in sentence and "the modest ones" in sentence for sentence in rest)


def agreeing(body, low):
    """A body whose Hartung-Knapp range begins elsewhere (a logarithm)."""
    rows = body.pooled.copy()
    rows.loc[rows["way"].str.startswith(HARTUNG), "low"] = low
    return dataclasses.replace(body, pooled=rows)


def test_where_every_assumption_says_more_it_is_said():
    lesson = said_of(agreeing(FOUND.stimulation_closing, 0.1))[1]
    assert "more, whatever is assumed" in lesson and "not known" not in lesson


def test_fewer_is_said_as_plainly_as_more():
    """Arms exchanged: 1 / 2.03 = 0.49 times as many, 1 / 3.89 = 0.26 to 1 / 1.05 = 0.95."""
    turned = {"treated": "control", "control": "treated"}
    body = body_of(LISTED.assign(arm=LISTED["arm"].replace(turned)), "stimulation", "closing")
    head, lesson, *_ = said_of(body)
    assert "0.49 times as many closed" in head and "(range 0.26 to 0.95)" in head
    assert "the same studies say fewer, or not known" in lesson


def test_a_null_result_has_no_lesson_about_assumptions():
    told = " ".join(said_of(FOUND.ultrasound_closing))
    assert "weak and shows no difference" in told and "assumption" not in told


def test_a_null_result_of_stimulation_would_be_called_so_too():
    """Which modality it is decides nothing: without Wood and Kloth no difference is shown."""
    own = LISTED[~LISTED["trial"].isin(["Wood 1993", "Kloth 1988"])]
    head = said_of(body_of(own, "stimulation", "closing"))[0]
    assert head.startswith("Stimulation, closing: the evidence that it closes pressure injuries is weak and shows no")


def test_a_clear_result_of_ultrasound_would_be_said_as_one():
    own = LISTED[LISTED["trial"] == "Wood 1993"].assign(modality="ultrasound")
    head = said_of(body_of(own, "ultrasound", "closing"))[0]
    assert "weak" not in head and "18.0 times as many closed under ultrasound" in head


def test_one_group_is_named_and_the_grouping_called_ours():
    told = [sentence for sentence in said_of(FOUND.stimulation_size) if "research group" in sentence]
    assert len(told) == 1 and told[0].startswith("Three of the four") and "is ours" in told[0]
    assert "without them one is left, with 34 (3 to 65)" in told[0]
    assert not [sentence for sentence in said_of(FOUND.stimulation_closing) if "research group" in sentence]


def test_few_studies_cannot_tell_small_from_large():
    assert any("cannot be told from five" in sentence for sentence in said_of(FOUND.stimulation_closing))


@pytest.mark.parametrize(("chance", "told"), [(0.01, "small studies seem to"), (0.4, "small studies do not seem to")])
def test_many_studies_can(chance, told):
    body = FOUND.stimulation_closing
    small = body.small.assign(studies=12, says="", p=chance)
    assert any(told in sentence.lower() for sentence in said_of(dataclasses.replace(body, small=small)))


def test_nothing_listed_is_said_and_nothing_else():
    for measure in ("closing", "size"):
        body = body_of(LISTED.head(0), "stimulation", measure)
        assert said_of(body) == [f"Stimulation, {measure}: {NONE_LISTED}."]


def test_nobody_closed_beside_leaves_no_number_out_of_the_sentence():
    own = LISTED[LISTED["trial"] == "Kloth 1988"]
    body = body_of(own, "stimulation", "closing")
    assert body.pooled.set_index("way").loc[MANTEL_HAENSZEL, "not_computed"] == "nobody closed on one side"
    assert "15.2 times as many closed" in said_of(body)[0]


@pytest.mark.parametrize(
    ("numbers", "measure", "told"),
    [
        ((2.0253, 1.0542, 3.8909), "closing", "2.03 (1.05 to 3.89)"),
        ((17.04, 0.0006, 432000.0), "closing", "17.0 (under 0.01 to over 1,000)"),
        ((15.2, 1.03, 223.4), "closing", "15.2 (1.03 to 223)"),
        ((36.146, -0.4, 47.67), "size", "36 (−0 to 48)"),
        ((np.nan, np.nan, np.nan), "size", "–"),
    ],
)
def test_numbers_are_as_short_as_they_may_be(numbers, measure, told):
    row = dict(zip(("estimate", "low", "high"), numbers, strict=True))
    assert ranged(row, measure).replace("−0 ", "0 ") == told.replace("−0 ", "0 ")


# --- reviews ---


def test_older_reviews_are_two_to_three_times_the_newer():
    """13 / 5.4 = 2.4 and 13 / 4.59 = 2.8."""
    told = reviewed(FOUND.reviews)[1]
    assert "2.4 to 2.8 times the newer ones" in told


def test_the_review_of_venous_ulcers_shrank_and_is_called_another_wound():
    told = reviewed(FOUND.reviews)[2]
    assert "1.40 in 2010" in told and "1.21" in told and "another wound" in told


def test_fifty_three_percent_is_of_diabetic_feet_wherever_it_is_said():
    told = [sentence for sentence in ALL if "53%" in sentence]
    assert len(told) == 1 and "diabetic feet" in told[0]


def test_a_shorter_list_of_reviews_says_less():
    assert reviewed(FOUND.reviews.head(0)) == ["No review is listed."]
    only = reviewed(FOUND.reviews[FOUND.reviews["review"] == "Sheehan 2003"])
    assert len(only) == 2 and "diabetic feet" in only[1]


def test_reading_again_gives_the_same(tmp_path):
    pd.testing.assert_frame_equal(trials(), LISTED)
    pd.testing.assert_frame_equal(evidence().stimulation_closing.readings, FOUND.stimulation_closing.readings)
