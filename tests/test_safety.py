"""Reactions, sessions cut short and sessions inside a contraindication, drawn by hand and in the invented group.

Numbers in tests/reference/poisson.csv were made by tests/reference/poisson.R (R survival 3.5.3, cipoisson).
"""

import json
from math import log
from pathlib import Path

import pandas as pd
import pytest

from kit.delivery.context import in_context
from kit.delivery.published import contraindications
from kit.delivery.safety import (
    INSIDE,
    cut_short,
    inside,
    inside_by_condition,
    inside_by_facility,
    poisson_limits,
    reactions,
)
from kit.quarter import within
from kit.study import read_study
from tests.drawn import PLAN, drawn

PRINTED = 1e-10  # relative; R writes twelve digits
EXACT = 1e-9

LIFELIKE = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"
LIMITS = pd.read_csv(Path(__file__).parent / "reference" / "poisson.csv")
LIST = contraindications()
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").split("[windows]")[0] + PLAN[PLAN.index("[[regimens]]") :]

HOUSE = {
    "residents": "resident facility\nR1 Alder\nR2 Birch\nR3 .\n",
    "wounds": "wound resident kind\nW1 R1 venous\nW2 R2 venous\nW3 R3 venous\nW4 R1 venous\n",
    "measurements": "wound day length width state\nW1 10 4 3 open\nW2 10 4 3 open\nW3 10 4 3 open\nW4 10 4 3 open\n",
}
SESSIONS = """
wound day modality    setup     status    reason  reaction
W1    20  stimulation monopolar given     .       none
W1    21  stimulation monopolar given     .       burn
W1    22  stimulation monopolar shortened unwell  pain
W1    23  stimulation monopolar missed    refused burn
W2    20  stimulation bipolar   given     .       .
W2    21  stimulation bipolar   shortened .       none
W3    20  ultrasound  .         given     .       none
W3    21  ultrasound  .         shortened unwell  none
W3    22  ultrasound  .         .         .       burn
"""


def in_study(study):
    return in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)


def told_of(sessions=SESSIONS, **tables):
    return in_study(drawn(**{**HOUSE, "sessions": sessions, **tables}))


def inside_of(spans, sessions=SESSIONS, plan=PLAN):
    study = drawn(**HOUSE, sessions=sessions, spans=spans, plan=plan)
    return inside(in_study(study), study.spans, LIST)


# --- exact limits ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", LIMITS.itertuples(), ids=lambda row: f"{row.events} at {row.level}")
def test_limits_are_those_of_r(row):
    assert poisson_limits(row.events, row.level) == pytest.approx((row.low, row.high), rel=PRINTED)


def test_limits_of_no_event_by_hand():
    # The chance of none is exp(-m); it is 2.5% at m = ln 40 = 3.688879.
    assert poisson_limits(0) == pytest.approx((0, log(40)), rel=PRINTED)


@pytest.mark.parametrize(("events", "level"), [(-1, 0.95), (4, 0), (4, 1), (float("nan"), 0.95)])
def test_a_count_below_zero_or_an_impossible_level_is_refused(events, level):
    with pytest.raises(ValueError, match="never below 0"):
        poisson_limits(events, level)


# --- reactions ------------------------------------------------------------------------------------------------------


def test_a_session_that_says_nothing_of_reactions_is_counted_and_in_no_rate():
    table = reactions(told_of()).set_index(["modality", "setup", "reaction"])
    # Seven sessions given or shortened, one says nothing, two of six reacted: 100 x 2 / 6.
    row = table.loc[("all", "", "any")]
    assert row[["sessions", "answered", "unanswered", "reactions"]].tolist() == [7, 6, 1, 2]
    assert row["per_100"] == pytest.approx(100 * 2 / 6, abs=EXACT)
    # Garwood's limits of two events are 0.242209 and 7.224688, of 6 sessions.
    assert row["low"] == pytest.approx(100 * 0.242209278544 / 6, abs=1e-6)
    assert row["high"] == pytest.approx(100 * 7.22468766772 / 6, abs=1e-6)


def test_what_was_missed_or_has_no_status_reacts_to_nothing():
    # W1's missed session and W3's session without a status carry a burn too.
    burns = reactions(told_of()).query("reaction == 'burn'").set_index(["modality", "setup"])["reactions"]
    assert burns.to_dict() == {
        ("all", ""): 1, ("stimulation", "bipolar"): 0, ("stimulation", "monopolar"): 1, ("ultrasound", ""): 0,
    }  # fmt: skip


def test_reactions_by_set_up_and_kind():
    table = reactions(told_of()).set_index(["modality", "setup", "reaction"])["reactions"]
    assert table["stimulation", "monopolar"].to_dict() == {
        "any": 2, "skin_irritation": 0, "pain": 1, "burn": 1, "bleeding": 0, "other": 0,
    }  # fmt: skip
    assert table["stimulation", "bipolar"].sum() == table["ultrasound", ""].sum() == 0


def test_kinds_add_up_to_any_and_set_ups_to_all():
    table = reactions(told_of())
    any_kind = table[table["reaction"] == "any"].set_index(["modality", "setup"])
    sums = table[table["reaction"] != "any"].groupby(["modality", "setup"])["reactions"].sum()
    assert any_kind["reactions"].to_dict() == sums.to_dict()
    parts = any_kind.drop(("all", ""))[["sessions", "answered", "unanswered", "reactions"]].sum()
    assert parts.to_dict() == any_kind.loc[("all", ""), list(parts.index)].to_dict()


def test_no_reaction_in_n_sessions_still_has_an_upper_limit():
    row = reactions(told_of()).query("modality == 'ultrasound' and reaction == 'any'").iloc[0]
    assert (row["per_100"], row["low"]) == (0, 0)
    assert row["high"] == pytest.approx(100 * log(40) / 2, abs=EXACT)


def test_reactions_nobody_recorded_give_no_rate():
    table = reactions(told_of("wound day modality status\nW1 20 ultrasound given\nW2 20 stimulation given\n"))
    assert (table["answered"] == 0).all() and (table["unanswered"] == table["sessions"]).all()
    assert table[["per_100", "low", "high"]].isna().all(axis=None)


def test_no_session_gives_rows_of_nothing():
    table = reactions(told_of("wound day modality status\nW1 20 ultrasound missed\n"))
    assert set(table["modality"]) == {"all"}
    assert (table[["sessions", "reactions", "wounds"]] == 0).all(axis=None)


# --- cut short ------------------------------------------------------------------------------------------------------


def test_sessions_cut_short_by_reason():
    table = cut_short(told_of()).set_index(["modality", "setup", "reason"])["shortened"]
    assert table["all", ""].to_dict() == {"any": 3, "unwell": 2, "not recorded": 1}
    assert table["stimulation", "bipolar"].to_dict() == {"any": 1, "not recorded": 1}
    assert list(table["all", ""].index) == ["any", "unwell", "not recorded"]


def test_sessions_cut_short_per_hundred_given():
    row = cut_short(told_of()).iloc[0]
    assert row["per_100"] == pytest.approx(100 * 3 / 7, abs=EXACT)
    assert row["low"] < row["per_100"] < row["high"]


# --- inside a contraindication or precaution ------------------------------------------------------------------------


def test_both_ends_of_a_span_are_inside_and_the_days_beside_it_are_not():
    found = inside_of("resident span value from_day to_day\nR1 contraindication thrombosis 21 22\n")
    assert found[["wound", "day"]].to_numpy().tolist() == [["W1", 21], ["W1", 22]]
    assert set(found["condition"]) == {"thrombosis"} and set(found["listed"]) == {"contraindication"}


def test_a_span_without_an_end_still_holds():
    found = inside_of("resident span value from_day to_day\nR3 precaution metal 21 .\n")
    assert found[["wound", "day", "span", "listed"]].to_numpy().tolist() == [["W3", 21, "precaution", "precaution"]]


def test_a_span_of_one_wound_is_not_of_the_persons_other_wounds():
    sessions = SESSIONS + "W4 21 ultrasound . given . none\n"
    both = inside_of("resident wound span from_day to_day\nR1 . contraindication 21 21\n", sessions)
    assert list(both["wound"]) == ["W1", "W4"]
    one = inside_of("resident wound span from_day to_day\nR1 W4 contraindication 21 21\n", sessions)
    assert list(one["wound"]) == ["W4"]
    alone = inside_of("resident wound span from_day to_day\n. W4 contraindication 21 21\n", sessions)
    assert list(alone["wound"]) == ["W4"]


@pytest.mark.parametrize("value", ["yes", "."])
def test_a_condition_that_is_not_said_is_for_the_chart(value):
    found = inside_of(f"resident span value from_day to_day\nR1 contraindication {value} 21 21\n")
    assert found[["condition", "listed"]].to_numpy().tolist() == [["not said", "the chart decides"]]


def test_what_the_list_says_is_of_the_modality_given():
    spans = "resident span value from_day\n" + "".join(
        f"{person} contraindication electronic_implant 1\n" for person in ("R1", "R3")
    )
    found = inside_of(spans).drop_duplicates("modality").set_index("modality")["listed"]
    assert found.to_dict() == {"stimulation": "contraindication", "ultrasound": "local"}


def test_missed_sessions_and_other_spans_are_not_inside_anything():
    found = inside_of("resident span value from_day to_day\nR1 contraindication yes 23 23\nR1 infection yes 1 99\n")
    assert found.empty and "listed" in found


def test_a_session_in_two_spans_is_told_twice_and_counted_once():
    spans = "resident span value from_day\nR3 contraindication malignancy 1\nR3 contraindication pregnancy 1\n"
    study = drawn(**HOUSE, sessions=SESSIONS, spans=spans)
    told = in_study(study)
    found = inside(told, study.spans, LIST)
    assert len(found) == 4 and found["span_row"].nunique() == 2
    table = inside_by_facility(found, told, study.spans).set_index(["facility", "span"])
    row = table.loc[("not named", "contraindication")]
    assert row[["sessions", "inside", "wounds", "residents", "from_day", "to_day", "charted"]].tolist() == [
        2, 2, 1, 1, 20, 21, 2,
    ]  # fmt: skip
    assert row["per_100"] == 100


def test_every_facility_has_its_row_also_with_none_inside():
    study = drawn(**HOUSE, sessions=SESSIONS, spans="resident span from_day to_day\nR1 precaution 21 21\n")
    told = in_study(study)
    table = inside_by_facility(inside(told, study.spans, LIST), told, study.spans).set_index(["facility", "span"])
    assert table["inside"].to_dict() == {
        ("Alder", "contraindication"): 0, ("Alder", "precaution"): 1, ("Birch", "contraindication"): 0,
        ("Birch", "precaution"): 0, ("not named", "contraindication"): 0, ("not named", "precaution"): 0,
    }  # fmt: skip
    assert table.loc[("Alder", "precaution"), "per_100"] == pytest.approx(100 / 3, abs=EXACT)
    assert pd.isna(table.loc[("Birch", "precaution"), "from_day"])


def test_an_export_without_spans_can_show_none_and_says_so():
    study = drawn(**HOUSE, sessions=SESSIONS)
    told = in_study(study)
    found = inside(told, study.spans, LIST)
    assert found.empty
    table = inside_by_facility(found, told, study.spans)
    assert (table["charted"] == 0).all() and (table["inside"] == 0).all() and len(table) == 6


def test_no_session_at_all_gives_an_empty_table():
    study = drawn(**HOUSE, spans="resident span from_day\nR1 precaution 21\n")
    told = in_study(study)
    assert inside_by_facility(inside(told, study.spans, LIST), told, study.spans).empty


def test_an_export_without_a_calendar_is_judged_the_same():
    spans = "resident span value from_day to_day\nR1 contraindication thrombosis 21 22\n"
    assert inside_of(spans, plan=SAFE_HARBOR)["day"].tolist() == [11, 12]  # counted from the first record, day 10


# --- the invented group ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def lifelike():
    study = read_study(LIFELIKE)
    return study, in_study(study)


def story(name):
    stories = json.loads((LIFELIKE / "truth.json").read_text(encoding="utf-8"))["stories"]
    return next(told for told in stories if told["story"] == name)


def test_the_planted_contraindicated_sessions_are_found_and_no_others(lifelike):
    study, told = lifelike
    found = inside(told, study.spans, LIST)
    barred, planted = found[found["span"] == "contraindication"], story("contraindicated")
    assert barred["source_row"].tolist() == planted["rows"]["sessions"]
    assert set(barred["span_row"]) == set(planted["rows"]["spans"])
    assert set(barred["wound"]) == set(planted["wounds"]) and set(barred["facility"]) == {planted["facility"]}
    table = inside_by_facility(found, told, study.spans).set_index(["facility", "span"])["inside"]
    assert table.xs("contraindication", level="span").to_dict() == {
        "Brindlemere": 0, "Ostervane": 0, "Quellmoor": 10, "Tarnwick": 0,
    }  # fmt: skip


def test_the_planted_sessions_lie_before_the_quarter(lifelike):
    study, told = lifelike
    found = inside(within(told, study.plan), study.spans, LIST)
    assert not (found["span"] == "contraindication").any()


def test_reactions_of_the_invented_group_are_those_of_its_file(lifelike):
    _, told = lifelike
    rows = pd.read_csv(LIFELIKE / "sessions.csv", dtype=str)
    table = reactions(told)
    of_all = table[(table["modality"] == "all") & (table["reaction"] != "any")].set_index("reaction")["reactions"]
    # The header is row 1. What is set aside (a session that fits no wound) has no reaction here either.
    written = rows.loc[told["source_row"] - 2, "reaction"].value_counts()
    assert of_all.drop("other").to_dict() == written.reindex(of_all.index.drop("other")).to_dict()


def test_sessions_inside_are_counted_by_condition_and_by_what_the_list_says():
    """Two sessions inside one span of the person, one of them also inside a span of the wound."""
    named, unnamed = ("thrombosis", "contraindication"), ("not said", "the chart decides")
    session = ("W1", "R1", "Alder", 10, "stimulation", "bipolar", "contraindication")
    rows = [(2, 9, *session, *named), (3, 9, *session, *named), (3, 8, *session, *unnamed)]
    found = pd.DataFrame(rows, columns=INSIDE)
    told = inside_by_condition(found)
    assert told[["condition", "inside", "wounds"]].to_numpy().tolist() == [["thrombosis", 2, 1], ["not said", 1, 1]]
    assert inside_by_condition(found.head(0)).empty


def test_a_row_of_the_log_that_is_a_session_of_two_wounds_counts_once():
    """W1 and W4 of one person were treated in row 2; both are among its wounds."""
    rows = told_of().query("source_row == 3")
    both = pd.concat([rows, rows.assign(wound="W4")], ignore_index=True)
    (burn,) = reactions(both).query("reaction == 'burn' and modality == 'all'").itertuples()
    assert (burn.sessions, burn.reactions, burn.wounds, burn.residents) == (1, 1, 2, 1)
    short = pd.concat([rows.assign(status="shortened"), rows.assign(status="shortened", wound="W4")])
    assert cut_short(short).iloc[0]["sessions"] == 1
