"""What may be said: every sentence from the result, no comparison, no cause."""

import re

import pandas as pd
import pytest

from kit import __version__
from kit.healing.description import Description, describe
from kit.quarter import activity
from kit.statements import NOT_COMPARED, cared_for, healing_took, provenance, received, this_quarter
from kit.words import FORBIDDEN
from tests.drawn import PLAN, TWO_HOUSES, drawn

SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
COMPARING = (
    r"\b(than|faster|sooner|slower|quicker|better|worse|more|fewer|less|versus|difference|because|due to|thanks)\b"
)


def group(**changed):
    """A row of the frame of groups."""
    numbers = {"wounds": 40, "residents": 30, "closed_share": 0.524, "closed_low": 0.331, "closed_high": 0.747}
    return {"group": "ultrasound", "clock": "first session", "drawn": True, "reached": True, **numbers, **changed}


def said_of(plan, *groups):
    return healing_took(Description(pd.DataFrame(), pd.DataFrame(groups), 1000, 1), plan)


def everything_said(study):
    done, described = activity(study), describe(study.episodes, study.plan)
    quarter = this_quarter(done, described, study.plan)["sentence"].tolist()
    return [received(study), cared_for(study.episodes, done), *healing_took(described, study.plan), *quarter]


# --- what was sent ---


def test_rows_kept_and_rows_with_a_fault_are_counted(study, invented):
    rows = sum(invented.rows.values())
    # 7 set aside; one row had its length and width exchanged; the same row lost a depth and a word
    share = f"{100 * (rows - 7) / rows:.0f}% ({rows - 7} of {rows})"
    expected = f"Rows read: {rows} in 5 tables; {share} were kept. "
    faults = "Rows with a fault: 7 set aside, 1 repaired, 1 kept with a mark; each is named in faults.csv."
    assert received(study) == expected + faults


def test_an_export_without_a_fault_says_so():
    study = drawn("wound day length width state\nW1 10 4 3 open\nW1 190 2 2 open\n")
    # 1 wound and 2 measurements
    assert received(study) == "Rows read: 3 in 2 tables; 100% (3 of 3) were kept. No fault was found."


# --- who had which care ---


def test_wounds_that_started_are_counted_by_what_they_started(study):
    done = activity(study)
    taken = done.given + done.shortened
    share = f"{100 * taken / done.planned:.0f}% ({taken} of {done.planned})"
    assert cared_for(study.episodes, done) == (
        "Of 40 wounds in the cohort, 14 started a modality (11 monopolar, 3 ultrasound). "
        f"Of sessions planned in the quarter {share} were given, {done.shortened} shortened."
    )


def test_where_no_session_was_planned_none_is_said_to_be_missed():
    study = drawn(**TWO_HOUSES | {"sessions": "wound day modality\nW1 12 ultrasound\n"})
    assert cared_for(study.episodes, activity(study)) == (
        "Of 3 wounds in the cohort, 1 started a modality (1 ultrasound). No session was planned in the quarter."
    )


def test_where_nothing_was_started_no_regimen_is_named():
    study = drawn("wound day length width state\nW1 120 4 3 open\n")
    assert cared_for(study.episodes, activity(study)) == (
        "Of 1 wound in the cohort, 0 started a modality. No session was planned in the quarter."
    )


# --- how long healing took ---


def test_a_group_is_told_by_its_share_its_range_and_its_size(study):
    [said] = said_of(study.plan, group())
    assert said == (
        "Of 100 wounds after starting ultrasound, 52 closed within 12 weeks of the first session "
        "(range 33 to 75; 40 wounds on 30 residents)."
    )


def test_numbers_in_the_sentences_are_those_of_the_frame(found, study):
    description = found[1]
    sentences = healing_took(description, study.plan)
    for sentence, row in zip(sentences, description.groups.itertuples(), strict=True):
        if row.reached:
            shares = [round(100 * share) for share in (row.closed_share, row.closed_low, row.closed_high)]
            expected = [100, shares[0], 12, *shares[1:], row.wounds, row.residents]
        else:
            expected = [12] * row.drawn + ([row.wounds, row.residents] if row.wounds else [])
        assert [int(number) for number in re.findall(r"\d+", sentence.replace("=1+1", ""))] == expected


def test_a_group_not_in_view_for_long_enough_says_so(study):
    short = group(reached=False, closed_share=float("nan"))
    assert said_of(study.plan, short) == [
        "Too few were in view for 12 weeks after starting ultrasound to say how many closed: 40 wounds on 30 residents."
    ]


def test_a_group_too_small_is_counted_and_not_described(study):
    few = group(wounds=3, residents=1, drawn=False, closed_share=float("nan"))
    assert said_of(study.plan, few) == [
        "Too few were seen after starting ultrasound to describe: 3 wounds on 1 resident."
    ]


def test_a_group_of_nobody_says_so(study):
    nobody = group(wounds=0, residents=0, drawn=False, closed_share=float("nan"))
    assert said_of(study.plan, nobody) == ["Nobody was seen after starting ultrasound."]


def test_the_first_two_groups_are_said_in_words_that_fit_them(found, study):
    first, second, *_ = healing_took(found[1], study.plan)
    assert first.startswith("Of 100 wounds before any modality, ")
    assert "of the first measurement" in first
    # 14 wounds started, of which fewer than five residents are in view twelve weeks later
    assert second.startswith("Too few were in view for 12 weeks after starting any modality to say how many closed")


# --- this quarter ---


def test_what_is_said_of_the_quarter_comes_from_its_activity(study, found):
    done = activity(study)
    taken = done.given + done.shortened
    said = this_quarter(done, found[1], study.plan)["sentence"].tolist()
    assert said[:5] == [
        f"In the quarter {done.wounds_open} wounds stood open and {done.wounds_treated} wounds "
        "had at least one session.",
        f"Of sessions planned in the quarter {100 * taken / done.planned:.0f}% ({taken} of {done.planned}) were given, "
        f"{done.shortened} shortened.",
        f"Reactions recorded: {100 * done.reactions / taken:.1f} per 100 sessions ({done.reactions} in {taken}).",
        f"Seen to close in the quarter, treated or not: {done.closed} wounds.",
        f"A fresh size was known in {100 * done.weeks_measured / done.weeks_in_view:.0f}% "
        f"({done.weeks_measured} of {done.weeks_in_view}) of wound weeks.",
    ]
    assert said[5] == NOT_COMPARED  # before what it speaks of
    assert said[6:] == healing_took(found[1], study.plan)


def test_what_is_too_small_to_describe_and_what_is_not_compared_cannot_be_said(study, found):
    said = this_quarter(activity(study), found[1], study.plan).set_index("sentence")["level"]
    cannot = said[said == "cannot say"].index.tolist()
    assert set(said) == {"describes", "cannot say"}
    assert cannot == [
        NOT_COMPARED,
        "Too few were in view for 12 weeks after starting any modality to say how many closed: "
        "14 wounds on 14 residents.",
        "Too few were in view for 12 weeks after starting monopolar to say how many closed: 11 wounds on 11 residents.",
        "Too few were seen after starting ultrasound to describe: 3 wounds on 3 residents.",
        "Nobody was seen after starting =1+1.",
    ]


def test_with_no_session_planned_nothing_is_said_of_sessions_or_reactions():
    study = drawn(**TWO_HOUSES | {"sessions": "wound day modality\nW1 12 ultrasound\n"})
    said = " ".join(everything_said(study))
    assert "No session was planned in the quarter." in said
    assert "eaction" not in said and "shortened" not in said


def test_where_every_session_was_missed_nothing_is_said_of_reactions():
    study = drawn(**TWO_HOUSES | {"sessions": "wound day modality status\nW1 120 ultrasound missed\n"})
    said = " ".join(everything_said(study))
    assert "Of sessions planned in the quarter 0% (0 of 1) were given, 0 shortened." in said
    assert "eaction" not in said


def test_what_the_sessions_do_not_record_is_said_to_be_missing_and_never_nought():
    study = drawn(**TWO_HOUSES | {"sessions": "wound day modality\nW1 120 ultrasound\n"})
    done = activity(study)
    assert (done.status_recorded, done.asked) == (False, 0)
    said = " ".join(everything_said(study))
    assert "The export holds 1 session in the quarter and does not say which were missed." in said
    assert "Reactions were not recorded." in said


def test_without_a_calendar_no_quarter_is_spoken_of():
    study = drawn(**TWO_HOUSES | {"plan": SAFE_HARBOR})
    said = everything_said(study)
    assert not [sentence for sentence in said if "quarter" in sentence]
    assert "Of sessions planned in the whole export 100% (2 of 2) were given, 0 shortened." in " ".join(said)


# --- the provenance line ---


def test_the_provenance_line_names_fingerprints_window_basis_and_facilities(study):
    assert provenance(study) == (
        f"Export {study.fingerprint}, plan {study.plan.fingerprint}, kit {__version__}; "
        "quarter 1 April 2026 to 30 June 2026; basis stated in the plan: limited data set with a data use agreement "
        "(45 CFR 164.514(e)); facilities: <script>alert(1)</script>, Tarnwick."
    )


def test_facilities_are_named_as_the_export_names_them():
    named = {"residents": "resident facility\nR1 open\nR2 west_wing\nR3 .\n"}
    assert provenance(drawn(**TWO_HOUSES | named)).endswith("facilities: open, west_wing.")


def test_without_calendar_and_facilities_the_provenance_line_says_so():
    line = provenance(drawn("wound day length width state\nW1 10 4 3 open\n", plan=SAFE_HARBOR))
    assert "; no shared calendar, the whole export; basis stated in the plan: safe harbor" in line
    assert line.endswith("facilities: not named.")


# --- what is never said ---


@pytest.fixture(scope="module")
def all_said(study):
    others = [
        drawn(**TWO_HOUSES),
        drawn(**TWO_HOUSES | {"plan": SAFE_HARBOR}),
        drawn("wound day length width state\nW1 10 4 3 open\n"),
    ]
    return [sentence for one in [study, *others] for sentence in everything_said(one)]


def test_no_sentence_uses_a_forbidden_word(all_said):
    used = [
        (word, said) for said in all_said for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", said.lower())
    ]
    assert used == []


def test_no_sentence_compares_or_says_why(all_said):
    speaking = [said for said in all_said if said != NOT_COMPARED]
    assert len(speaking) > 20
    assert [said for said in speaking if re.search(COMPARING, said.lower())] == []


def test_every_sentence_is_one_and_ends_as_one(all_said):
    assert [said for said in all_said if not re.fullmatch(r"[A-Z].*\.", said)] == []
    assert [said for said in all_said if "nan" in said.lower() or "None" in said] == []
