"""Warnings about what became of wounds and rows: each seen firing and seen silent, counted by hand, and planted."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest

from kit.bias.evidence import BLURS, CARE, DETRACTS, FACT, FLATTERS, NOT_KNOWN, STOPS
from kit.bias.following import CHECKS, reopened, stopped_early, unconfirmed, vanished
from kit.bias.rows import set_aside, unlinked
from kit.faults import found as lines
from kit.faults import together
from kit.healing.answers import withheld
from kit.words import FORBIDDEN
from tests.drawn import drawn
from tests.test_bias_design import SAFE_HARBOR, evidence_of, group
from tests.test_bias_measurement import OPEN, ROUNDS, charted, closing, weekly

CLOSE = 1e-9  # quotients of small whole numbers
SMALL, LARGE = {"length": 2.0, "width": 2.0, "state": "open"}, {"length": 6.0, "width": 4.0, "state": "open"}


def until(n, last, then=OPEN):
    """Wound n measured weekly up to day `last`, its size then being `then`."""
    return [(n, day, then if day == last else OPEN) for day in ROUNDS if day <= last]


# --- lost from sight ---


def lost(which, then=OPEN):
    rows = [until(n, 94, then) if n in which else until(n, 199) for n in range(1, 21)]
    return charted([row for wound in rows for row in wound], starts=range(1, 11))


@pytest.mark.parametrize(
    ("which", "then", "number", "fires", "direction"),
    [
        ((), OPEN, 0, False, NOT_KNOWN),
        ((1, 11), SMALL, 0.1, False, NOT_KNOWN),
        (range(1, 9), SMALL, 0.8, True, DETRACTS),  # 4 of 13 cm2: closings unseen on the side of those that started
        (range(11, 19), SMALL, 0.8, True, FLATTERS),
        (range(1, 9), LARGE, 0.8, True, FLATTERS),  # 24 of 13 cm2: wounds that would have stayed open, out of sight
        (range(1, 9), OPEN, 0.8, True, NOT_KNOWN),  # as large as at first: it tells nothing
        (range(1, 21), SMALL, 1, True, NOT_KNOWN),
    ],
)
def test_wounds_lost_from_sight_fire_and_lean_by_how_they_stood(which, then, number, fires, direction):
    """Last seen on day 94 and not until day 200: longer than four weeks."""
    found = vanished(lost(which, then))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number, abs=CLOSE), fires, direction)


def test_whoever_left_is_not_lost_from_sight():
    rows = [row for n in range(1, 21) for row in until(n, 94)]
    gone = "resident day reason\n" + "\n".join(f"R{n} 100 left" for n in range(1, 21))
    assert vanished(charted(rows, starts=range(1, 11), departures=gone)).number == 0


# --- closings that did not hold, or could not be seen to ---


def again(which, opens):
    """Twenty wounds closed on day 101; those named are open again on day `opens`."""
    rows = [row for n in range(1, 21) for row in closing(n, 94, 101)]
    return charted(rows + [(n, opens, SMALL) for n in which], starts=range(1, 11))


@pytest.mark.parametrize(
    ("which", "opens", "fires", "direction"),
    [
        ((), 130, False, NOT_KNOWN),
        ((1, 11), 130, False, NOT_KNOWN),
        ((1, 2, 3, 11, 12, 13), 130, True, NOT_KNOWN),
        (range(1, 9), 130, True, FLATTERS),
        (range(11, 19), 130, True, DETRACTS),
        (range(1, 9), 108, True, NOT_KNOWN),  # within two weeks it never counted as closed
    ],
)
def test_closings_that_did_not_hold_fire(which, opens, fires, direction):
    found = reopened(again(which, opens))
    assert (found.number, found.fires, found.direction) == (len(which) / 20, fires, direction)
    assert found.says.startswith(f"Of 20 wounds seen closed {len(which)} were open again later")


@pytest.mark.parametrize(
    ("gone", "number", "fires", "direction"),
    [((), 0, False, NOT_KNOWN), ((1, 11), 0.1, False, NOT_KNOWN), (range(1, 9), 0.8, True, FLATTERS),
     (range(11, 19), 0.8, True, DETRACTS), (range(1, 21), 1, True, NOT_KNOWN)],
)  # fmt: skip
def test_people_who_leave_with_a_wound_just_closed_fire(gone, number, fires, direction):
    """Closed on day 101 and gone on day 105."""
    rows = [row for n in range(1, 21) for row in closing(n, 94, 101)]
    left = "resident day reason\n" + "\n".join(f"R{n} 105 left" for n in gone)
    found = unconfirmed(charted(rows, starts=range(1, 11), departures=left))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number, abs=CLOSE), fires, direction)


def test_a_closing_in_the_last_two_weeks_could_not_be_seen_to_hold():
    rows = [row for n in range(1, 11) for row in closing(n, 178, 185 if n < 6 else 190)]
    assert "Of 10 closings 5 were not in view for 14 days after" in unconfirmed(charted(rows)).says


@pytest.mark.parametrize("find", [reopened, unconfirmed])
def test_where_nothing_closed_nothing_is_told_of_closings(find):
    assert find(charted(weekly(2))).not_computed == "no wound was seen to close"


# --- stopped ---


def stopping(which, reason):
    """Ten wounds started on day 26 and treated weekly; of those named every session from day 40 on is missed."""
    rows = ["wound day modality status reason"]
    for n in range(1, 11):
        for day in range(26, 200, 7):
            missed = n in which and day >= 40
            rows.append(f"W{n} {day} ultrasound {'missed' if missed else 'given'} {reason if missed else '.'}")
    rows.append("W1 27 ultrasound missed staff")  # so that reasons are recorded at all
    wounds = "wound resident kind\n" + "\n".join(f"W{n} R{n} venous" for n in range(1, 13))
    measured = "\n".join(f"W{n} {day} 4.1 3.2 open" for n in range(1, 13) for day in ROUNDS)
    return evidence_of(drawn("wound day length width state\n" + measured, wounds=wounds, sessions="\n".join(rows)))


@pytest.mark.parametrize(
    ("which", "reason", "number", "fires", "direction"),
    [((), ".", 0, False, NOT_KNOWN), ((1,), "refused", 0.1, False, BLURS), ((1, 2, 3), "refused", 0.3, True, BLURS),
     ((1, 2, 3), "payer", 0.3, True, BLURS), ((1, 2, 3), "staff", 0, False, NOT_KNOWN)],
)  # fmt: skip
def test_treatment_that_stopped_for_the_person_or_who_pays_fires(which, reason, number, fires, direction):
    found = stopped_early(stopping(which, reason))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number, abs=CLOSE), fires, direction)


def test_reasons_are_told_with_their_counts():
    assert stopped_early(stopping((1, 2, 3), "on_hold")).says == (
        "Of 10 wounds that started 3 stopped before they closed, for the person or who pays (30%; 3 on hold)."
    )


def test_without_reasons_or_starts_nothing_is_told_of_stops():
    bare = "no reason of a missed or shortened session is recorded"
    assert stopped_early(charted(weekly(3), starts=(1,))).not_computed == bare
    assert stopped_early(charted(weekly(3))).not_computed == "no wound started"


# --- rows ---


def loose(orphans, astray=0, measured=0):
    """Twenty sessions, of which some are of a wound nobody knows, or of a site where two wounds are."""
    named = [f"W1 . . {day} ultrasound given" for day in range(20, 40 - orphans - astray)]
    named += [f"W99 . . {day} ultrasound given" for day in range(100, 100 + orphans)]
    named += [f". R1 sacrum {day} ultrasound given" for day in range(50, 50 + astray)]
    rows = [f"W{n} {day} 4.1 3.2 open" for n in (1, 2) for day in range(10, 110)]
    rows += [f"W99 {day} 4.1 3.2 open" for day in range(10, 10 + measured)]
    study = drawn(
        "wound day length width state\n" + "\n".join(rows),
        wounds="wound resident kind site\nW1 R1 venous sacrum\nW2 R1 venous sacrum",
        residents="resident facility\nR1 Alder",
        sessions="wound resident site day modality status\n" + "\n".join(named),
    )
    return evidence_of(study)


@pytest.mark.parametrize(
    ("orphans", "astray", "number", "fires"),
    [(0, 0, 0, False), (3, 3, 0.3, False), (4, 3, 0.35, True), (12, 0, 0.6, True)],
)
def test_sessions_that_fit_no_wound_or_several_fire(orphans, astray, number, fires):
    found = unlinked(loose(orphans, astray))
    assert (found.number, found.fires) == (pytest.approx(number, abs=CLOSE), fires)
    assert found.direction == (BLURS if number else NOT_KNOWN)
    assert f"{orphans + astray} cannot be told to belong to one wound" in found.says


def test_sessions_that_fit_no_wound_are_not_told_again_as_rows_set_aside():
    assert set_aside(loose(12)).number == 0


@pytest.mark.parametrize(("measured", "fires"), [(0, False), (10, False), (30, True)])
def test_measurements_set_aside_fire(measured, fires):
    """Beside 200 measurements and 20 sessions that are kept; nobody knows in whose house those of W99 were taken."""
    found = set_aside(loose(0, measured=measured))
    assert found.number == pytest.approx(measured / (220 + measured), abs=CLOSE)
    assert (found.fires, found.direction) == (fires, NOT_KNOWN)


def marked(evidence, rows, fault):
    """The same evidence with a fault found in these measurements."""
    faults = together([evidence.study.faults, lines("measurements", rows, fault)])
    return replace(evidence, study=replace(evidence.study, faults=faults))


def of_house(evidence, share):
    """The first so many of the measurements of one facility."""
    houses = evidence.study.houses
    own = houses.loc[(houses["table"] == "measurements") & (houses["facility"] == "Tarnwick"), "source_row"]
    return own.iloc[: round(share * len(own))]


def test_rows_set_aside_in_one_facility_are_told_of_it():
    few, many = (set_aside(marked(group(), of_house(group(), share), "clash")) for share in (0.02, 0.2))
    assert (few.fires, many.fires) == (False, True)
    assert re.search(r"; in Tarnwick \d+ of \d+\.$", many.says) and many.number > 0.1


@pytest.mark.parametrize("fault", ["duplicate", "future", "copied"])
def test_rows_that_stand_twice_come_later_or_are_kept_lose_nothing(fault):
    assert set_aside(marked(group(), of_house(group(), 0.5), fault)).number == 0


def test_without_rows_nothing_is_told_of_them():
    bare = evidence_of(drawn("wound day length width state\nW1 10 4 3 open\n"))
    assert unlinked(bare).not_computed == "the export holds no sessions"
    emptied = replace(bare, study=replace(bare.study, houses=bare.study.houses.head(0)))
    assert set_aside(emptied).not_computed == "the export holds no rows of measurements or sessions"


# --- the catalogue ---


@cache
def found_in_group():
    return {name: check.find(group()) for name, check in CHECKS.items()}


def test_nothing_fires_in_the_clean_group_and_all_is_computed():
    assert {name for name, found in found_in_group().items() if found.fires} == set()
    assert {name for name, found in found_in_group().items() if found.not_computed} == set()


TWICE = {"vanished": 0.2, "reopened": 0.2, "unconfirmed": 0.4}


@pytest.mark.parametrize("name", list(TWICE))
def test_what_is_planted_at_twice_the_threshold_fires_and_sets_off_no_other(name):
    """Marks drawn at random over the wounds, or the closings, of the clean group, seed 5."""
    evidence, rng = group(), np.random.default_rng(5)
    seen = evidence.study.episodes
    hit = pd.Series(rng.random(len(seen)) < TWICE[name], seen.index)
    column, value = ("confirmed", False) if name == "unconfirmed" else (name, True)
    made = replace(evidence.study, episodes=seen.assign(**{column: seen[column].mask(hit, value)}))
    fires = {other for other, check in CHECKS.items() if check.find(replace(evidence, study=made)).fires}
    assert fires == {name}


@pytest.mark.parametrize("name", list(CHECKS))
def test_one_wound_alone_is_no_ground_for_a_warning(name):
    bare = evidence_of(drawn("wound day length width state\nW1 10 . . open\nW1 17 . . closed\nW1 40 2 2 open\n"))
    assert not CHECKS[name].find(bare).fires


@pytest.mark.parametrize("name", list(CHECKS))
def test_days_that_share_no_calendar_are_counted_all_the_same(name):
    rows = [row for n in range(1, 11) for row in until(n, 199)]
    one = charted(rows + closing(11, 94, 101), starts=(1, 2))
    other = charted(rows + closing(11, 94, 101), starts=(1, 2), plan=SAFE_HARBOR)
    first, second = (CHECKS[name].find(evidence) for evidence in (one, other))
    assert (first.fires, first.not_computed) == (second.fires, second.not_computed)


@pytest.mark.parametrize("name", list(CHECKS))
def test_an_answer_that_is_not_told_takes_nothing_from_what_is_counted(name):
    evidence = group()
    stopped = replace(evidence, answers=withheld(evidence.answers, "another warning"))
    assert CHECKS[name].find(stopped) == found_in_group()[name]


def test_the_catalogue_is_whole():
    for check in CHECKS.values():
        assert check.kind == FACT and check.question.endswith("?") and check.to_do.endswith(".") and check.source
    assert {name: check.seriousness for name, check in CHECKS.items() if check.seriousness != CARE} == {
        "unlinked": STOPS
    }


def test_nothing_said_claims_more_than_it_can():
    told = [
        *found_in_group().values(),
        vanished(lost((1, 2))),
        unlinked(loose(4, 3)),
        stopped_early(stopping((1,), "payer")),
    ]
    said = [found.says for found in told] + [words for c in CHECKS.values() for words in (c.question, c.to_do)]
    text = " ".join(said).lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
    assert not re.search(r"\bnan\b", text)
