"""Warnings about measuring: each seen firing and seen silent on a few wounds counted by hand, and planted."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chisquare

from kit.bias.debridement import debrided
from kit.bias.digits import heaped, last_digits, whipple
from kit.bias.evidence import CARE, DETRACTS, DIRECTIONS, FACT, FLATTERS, KINDS, NOT_KNOWN, NOTE, SERIOUSNESS
from kit.bias.judged import late_closing, treater_judges
from kit.bias.measurement import CHECKS, back_staged, copied, switched, unmeasured
from kit.bias.sides import by_side, crossed
from kit.healing.answers import withheld
from kit.healing.comparison import CLOSED as CLOSED_SHARE
from kit.healing.comparison import EARLY
from kit.words import FORBIDDEN
from tests.drawn import PLAN, drawn
from tests.test_bias_design import SAFE_HARBOR, evidence_of, group

CLOSE = 1e-9  # quotients of small whole numbers
SOON = 0.01  # of published numbers with one decimal
START = 26  # in the week from day 24 to day 30, the first after the run-in
ROUNDS = tuple(range(10, 200, 7))  # 28 of them; every day to the cut-off on day 200 has a fresh size
COLUMNS = ("wound", "day", "length", "width", "state", "stage", "assessor", "area", "area_method")
OPEN = {"length": 4.1, "width": 3.2, "state": "open"}
CLOSED = {"state": "closed"}


def charted(rows, starts=(), kind="venous", plan=PLAN, therapist="T1", **tables):
    """Evidence of measurements, as (wound number, day, cells). Wound n is of resident n; `starts` begin on day 26."""
    cells = [{"wound": f"W{n}", "day": day, **told} for n, day, told in rows]
    lines = [" ".join(str(row.get(name, ".")) for name in COLUMNS) for row in cells]
    numbers = sorted({n for n, *_ in rows})
    return evidence_of(
        drawn(
            "\n".join([" ".join(COLUMNS), *lines]),
            wounds="wound resident kind\n" + "\n".join(f"W{n} R{n} {kind}" for n in numbers),
            residents="resident facility\n" + "\n".join(f"R{n} A" for n in numbers),
            sessions="wound day modality status therapist\n"
            + "\n".join(f"W{n} {START} ultrasound given {therapist}" for n in starts),
            plan=plan,
            **tables,
        )
    )


def weekly(wounds, cells=lambda n, k: OPEN, days=lambda n: ROUNDS):
    """Rows of wounds 1 to `wounds`: what `cells` says of the k-th round of wound n, on each of its days."""
    return [(n, day, cells(n, k)) for n in range(1, wounds + 1) for k, day in enumerate(days(n))]


def closing(n, last, closes, own=None):
    """Rows of a wound measured weekly until `last` and first seen closed on `closes`, by `own` or by nobody named."""
    rows = [(n, day, OPEN) for day in ROUNDS if day <= last]
    return [*rows, (n, closes, CLOSED | ({"assessor": own} if own else {}))]


# --- how often ---


def test_where_every_day_has_a_fresh_size_none_is_unmeasured():
    found = unmeasured(charted(weekly(6), starts=(1, 2)))
    assert (found.number, found.fires, found.direction) == (0, False, NOT_KNOWN)


def test_rounds_every_other_week_leave_half_unmeasured():
    """Days 10 to 200 are 191, of which 14 rounds (day 10 to day 192) make 7 each fresh: 93 of 191 are not."""
    found = unmeasured(charted(weekly(6, days=lambda n: ROUNDS[::2]), starts=(1, 2)))
    assert found.number == pytest.approx(max(93 / 191, 86 / 170), abs=0.03)  # the two sides begin on other days
    assert found.fires and 0.3 <= found.threshold < 0.4


def test_rounds_missed_after_a_start_make_starting_look_worse():
    """Days 31 to 200 are 170; rounds on days 38, 52, ..., 192 make 12 x 7 of them fresh; the others miss none."""
    late = ROUNDS[:3] + ROUNDS[4::2]
    found = unmeasured(charted(weekly(10, days=lambda n: late if n < 6 else ROUNDS), starts=range(1, 6)))
    assert found.number == pytest.approx((170 - 84) / 170, abs=CLOSE)
    assert (found.threshold, found.fires, found.direction) == (0.15, True, DETRACTS)
    assert found.says.endswith("on 51% of those after a start, 0% of the others.")


def test_rounds_missed_of_those_beside_make_starting_look_better():
    found = unmeasured(charted(weekly(10, days=lambda n: ROUNDS if n < 6 else ROUNDS[::2]), starts=range(1, 6)))
    assert (found.fires, found.direction) == (True, FLATTERS)


def test_a_tenth_of_rounds_missed_on_one_side_is_no_warning():
    """Rounds 3, 13 and 23 missed after a start: 3 x 7 of 170 days."""
    some = tuple(day for k, day in enumerate(ROUNDS) if k % 10 != 3)
    found = unmeasured(charted(weekly(10, days=lambda n: some if n < 6 else ROUNDS), starts=range(1, 6)))
    assert (found.number, found.fires) == (pytest.approx(21 / 170, abs=CLOSE), False)


# --- sizes copied forward ---


def turning(copies):
    """Sizes of four wounds that change at every round, but at the first `copies` of wounds given."""
    grown = {n: np.cumsum([0] + [k > copies.get(n, 0) for k in range(1, 28)]) for n in range(1, 5)}
    return lambda n, k: {"length": round(4.1 + 0.1 * (grown[n][k] % 2), 1), "width": 3.2, "state": "open"}


@pytest.mark.parametrize(
    ("copies", "fires", "direction"),
    [({}, False, NOT_KNOWN), ({3: 8}, False, NOT_KNOWN), ({1: 12, 3: 12}, True, NOT_KNOWN)],
)
def test_more_than_a_tenth_of_sizes_repeated_fires(copies, fires, direction):
    """Four wounds have 4 x 27 pairs; chance leaves up to 13 of 108 where 6 in 100 repeat."""
    found = copied(charted(weekly(4, turning(copies)), starts=(1, 2)))
    assert found.number == pytest.approx(sum(copies.values()) / 108, abs=CLOSE)
    assert (found.fires, found.direction) == (fires, direction)


def test_sizes_repeated_of_those_that_started_alone_make_starting_look_worse():
    found = copied(charted(weekly(4, turning({1: 27, 2: 27})), starts=(1, 2)))
    assert (found.fires, found.direction) == (True, DETRACTS)


def test_sizes_repeated_of_those_beside_alone_make_starting_look_better():
    found = copied(charted(weekly(4, turning({3: 27, 4: 27})), starts=(1, 2)))
    assert (found.fires, found.direction) == (True, FLATTERS)
    assert found.says == "Of 108 sizes 54 repeat the one before (50%)."


def test_a_coarse_ruler_is_not_taken_for_copying():
    halves = charted(weekly(4, lambda n, k: {"length": 4.5, "width": 3.0, "state": "open"}), starts=(1, 2))
    assert copied(halves).not_computed == "fewer than 30 sizes could be held against the one before"
    assert heaped(halves).fires


# --- last digits ---

DIGITS = np.array([38, 5, 8, 6, 5, 22, 4, 3, 5, 4])  # a worked example of 100 readings, by digit


def readings(counts):
    """Lengths from 1 to 2 cm that end in each digit so often."""
    return np.repeat(1 + np.arange(10) / 10, counts)


def test_the_worked_example_has_an_index_of_300():
    """(38 + 22) / 100 x 5 x 100; chi-square: (784 + 25 + 4 + 16 + 25 + 144 + 36 + 49 + 25 + 36) / 10.

    In R: chisq.test(c(38, 5, 8, 6, 5, 22, 4, 3, 5, 4)) gives 114.4 on 9 degrees of freedom, p below 2e-16.
    """
    counts = last_digits(readings(DIGITS))
    assert counts.tolist() == DIGITS.tolist()
    assert whipple(counts) == pytest.approx(300, abs=CLOSE)
    assert chisquare(counts).statistic == pytest.approx(114.4, abs=SOON)
    assert chisquare(counts).pvalue < 2e-16


def test_uniform_digits_have_an_index_of_100_and_heaping_by_hand_its_own():
    even = last_digits(readings(np.full(10, 40)))
    assert (whipple(even), chisquare(even).pvalue) == (pytest.approx(100), pytest.approx(1))
    # A third of 300 even readings rounded to halves, six digits each side: 200 stay even (20 a digit), 50 and 50 added.
    by_hand = last_digits(readings(np.array([70, 20, 20, 20, 20, 70, 20, 20, 20, 20])))
    assert whipple(by_hand) == pytest.approx(500 * 140 / 300)
    assert chisquare(by_hand).statistic == pytest.approx(2 * 40**2 / 30 + 8 * 10**2 / 30)


def test_drawn_uniform_digits_are_told_from_drawn_heaping():
    """Of 200 lots of uniform digits about ten have p below 0.05 (2 to 20 by chance); half of the coarse ones heaped."""
    rng, p, index = np.random.default_rng(7), [], []
    for _ in range(200):
        fine = np.round(rng.uniform(1, 9, 500), 1)
        coarse = np.where(rng.random(500) < 0.5, np.round(2 * fine) / 2, fine)
        p.append([chisquare(last_digits(lengths)).pvalue for lengths in (fine, coarse)])
        index.append([whipple(last_digits(lengths)) for lengths in (fine, coarse)])
    assert 2 <= (np.array(p)[:, 0] < 0.05).sum() <= 20 and (np.array(p)[:, 1] < 1e-6).all()
    # Half of 500 stay as they are (100) and half are all on the grid (500): 300.
    assert np.mean(index, axis=0) == pytest.approx([100, 300], abs=3)


def test_what_is_missing_or_below_a_centimetre_has_no_last_digit():
    assert last_digits(np.array([np.nan, 0.5, 0.9, 1.0, 2.54, 12.3])).tolist() == [1, 0, 0, 1, 0, 1, 0, 0, 0, 0]


def tenths(halves):
    """Sizes whose tenths run through 0 to 9, or stand on a half in the first `halves` rounds."""
    return lambda n, k: {"length": 4.5 if k < halves else 4 + k % 10 / 10, "width": 2 + k % 10 / 10, "state": "open"}


@pytest.mark.parametrize(("halves", "fives", "fires"), [(0, 6, False), (8, 12, False), (28, 28, True)])
def test_sizes_in_halves_fire_and_sizes_in_tenths_do_not(halves, fives, fires):
    """Of 28 rounds six end in 0 or 5 by themselves; of the eight first, two do. Lengths and widths count alike."""
    found = heaped(charted(weekly(4, tenths(halves)), starts=(1, 2)))
    assert found.number == pytest.approx(500 * (fives + 6) / 56, abs=CLOSE)
    assert (found.fires, found.direction) == (fires, NOT_KNOWN)


# --- stages, and ways of measuring ---


def staged(lower, plan=PLAN):
    cells = lambda n, k: OPEN | {"stage": "2" if n <= lower and k == 20 else "3"}  # noqa: E731
    return charted(weekly(10, cells), starts=(1, 2), kind="pressure_injury", plan=plan)


@pytest.mark.parametrize(("lower", "fires"), [(0, False), (1, False), (2, True)])
def test_stages_that_go_backwards_fire(lower, fires):
    """One of ten could be chance where 1 in 200 is charted lower."""
    found = back_staged(staged(lower))
    assert (found.number, found.threshold, found.fires) == (lower / 10, 0.1, fires)
    assert f"{lower} were charted at a lower stage" in found.says


def test_what_is_no_pressure_injury_has_no_stage_to_go_back():
    assert back_staged(charted(weekly(3))).not_computed == "no pressure injury was staged twice"


def traced(which):
    traced = {"state": "open", "area": 9.4, "area_method": "tracing"}
    return charted(weekly(10, lambda n, k: traced if n in which and k >= 20 else OPEN), starts=range(1, 6))


def about(evidence, measure):
    """The same evidence of an answer about closing, or about getting smaller."""
    return replace(evidence, answers=replace(evidence.answers, measure=measure))


@pytest.mark.parametrize(("which", "fires"), [((), False), ((1,), False), ((1, 2, 3), True)])
def test_sizes_found_in_two_ways_fire(which, fires):
    found = switched(about(traced(which), CLOSED_SHARE))
    assert (found.number, found.fires, found.direction) == (len(which) / 10, fires, NOT_KNOWN)


@pytest.mark.parametrize(("which", "direction"), [(range(1, 6), FLATTERS), (range(6, 11), DETRACTS)])
def test_leaving_the_rectangle_seems_to_shrink_where_the_answer_is_about_shrinking(which, direction):
    evidence = traced(which)
    told = [switched(about(evidence, measure)).direction for measure in (CLOSED_SHARE, EARLY)]
    assert told == [NOT_KNOWN, direction]


# --- after a debridement ---


def done(numbers, *days):
    return "wound day procedure\n" + "\n".join(f"W{n} {day} debridement" for n in numbers for day in days)


MINE, OTHERS = range(1, 5), range(5, 11)


@pytest.mark.parametrize(
    ("procedures", "number", "fires", "direction"),
    [
        (done(MINE, 20), 1, True, FLATTERS),
        (done(MINE, 24), 1, True, FLATTERS),
        (done(MINE, 17), 1, True, FLATTERS),
        (done(MINE, 16), 0, False, NOT_KNOWN),  # eight days before
        (done(MINE, 28), 1, True, NOT_KNOWN),  # before the next size alone
        (done(OTHERS, *range(18, 200, 7)), 1, True, DETRACTS),
        (done(range(1, 11), *range(18, 200, 7)), 0, False, NOT_KNOWN),
    ],
)
def test_sizes_just_after_a_debridement_on_one_side_fire(procedures, number, fires, direction):
    """Starts are compared from the size of day 24; the next is that of day 31."""
    found = debrided(charted(weekly(10), starts=MINE, procedures=procedures))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number, abs=CLOSE), fires, direction)


def test_without_a_debridement_or_a_start_nothing_is_told_of_them():
    assert debrided(charted(weekly(4), starts=(1,))).not_computed == "no debridement is recorded"
    assert debrided(charted(weekly(4), procedures=done((1,), 20))).not_computed == "nobody is left on one side"


# --- closings ---


def judged(own, large="4.1"):
    """Ten wounds that started and closed; the first `own` called closed by their therapist, from that length."""
    rows = [closing(n, 94, 101, "T1" if n <= own else "N1") for n in range(1, 11)]
    rows = [
        (n, day, OPEN | {"length": large} if n <= own and day == 94 else cells) for r in rows for n, day, cells in r
    ]
    beside = [row for n in range(11, 21) for row in weekly_of(n)]
    return charted(rows + beside, starts=range(1, 11))


def weekly_of(n):
    return [(n, day, OPEN) for day in ROUNDS]


@pytest.mark.parametrize(("own", "fires"), [(0, False), (2, False), (4, True), (10, True)])
def test_more_than_a_fifth_called_closed_by_who_treats_fires(own, fires):
    found = treater_judges(judged(own))
    assert (found.number, found.threshold, found.fires, found.direction) == (own / 10, 0.2, fires, NOT_KNOWN)


@pytest.mark.parametrize(("large", "direction"), [("8.2", FLATTERS), ("3.3", DETRACTS)])
def test_the_direction_is_read_off_the_last_size_before_a_closing(large, direction):
    assert treater_judges(judged(5, large)).direction == direction


def test_without_names_nobody_knows_who_judges():
    why = "of no started wound that closed are assessor and therapist both recorded"
    nameless = [row for n in range(1, 4) for row in closing(n, 94, 101)]
    assert treater_judges(charted(nameless, starts=(1, 2))).not_computed == why
    named = [row for n in range(1, 4) for row in closing(n, 94, 101, "T1")]
    assert treater_judges(charted(named, starts=(1, 2), therapist=".")).not_computed == why
    assert treater_judges(charted(weekly(3), starts=(1, 2))).not_computed == why


@pytest.mark.parametrize(
    ("mine", "others", "number", "fires", "direction"),
    [(0, 0, 0, False, NOT_KNOWN), (8, 0, 8 / 10, True, DETRACTS), (0, 8, 8 / 10, True, FLATTERS),
     (1, 1, 1 / 10, False, NOT_KNOWN), (6, 6, 6 / 10, True, NOT_KNOWN)],
)  # fmt: skip
def test_closings_seen_late_fire_and_count_against_their_side(mine, others, number, fires, direction):
    """A closing on day 115 after an open round on day 94 comes 21 days late, one on day 101 seven."""
    late = {*range(1, mine + 1), *range(11, 11 + others)}
    rows = [row for n in range(1, 21) for row in closing(n, 94, 115 if n in late else 101)]
    found = late_closing(charted(rows, starts=range(1, 11)))
    assert (found.number, found.fires, found.direction) == (pytest.approx(number), fires, direction)


def test_fourteen_days_are_not_late_and_fifteen_are():
    rows = [row for n in range(1, 11) for row in closing(n, 94, 108 if n < 6 else 109)]
    found = late_closing(charted(rows, starts=range(1, 6)))
    assert "10 closings 5 were" in found.says and found.direction == FLATTERS


def test_wounds_that_are_measured_seldom_are_not_seen_to_close_late():
    """Rounds three weeks apart all along: every day lies in so long a gap, and every closing too."""
    days = range(10, 95, 21)
    rows = [(n, day, OPEN) for n in range(1, 21) for day in days] + [(n, 115, CLOSED) for n in range(1, 21)]
    evidence = charted(rows, starts=range(1, 11))
    assert late_closing(evidence).number == 1 and not late_closing(evidence).fires
    assert unmeasured(evidence).fires


# --- sides ---


def test_the_larger_side_is_the_one_that_goes_furthest_beyond_its_threshold():
    """1 of 2 is nothing; 30 of 100 is beyond a tenth."""
    hit = np.r_[[1, 0], np.repeat([1, 0], [30, 70])]
    sides = by_side(hit, np.r_[[True] * 2, [False] * 100], np.arange(102))
    assert sides.numbers == (2, 100) and sides.started == 0.5
    assert sides.larger(0.1, 0.02) == (0.3, 0.1)


def test_a_threshold_is_what_chance_crosses_once_in_a_hundred_where_that_is_more():
    """Of 10 where 1 in 200 is usual, one or more come in 4.9% of records (1 - 0.995^10), two or more in 0.1%."""
    assert crossed(0.05, 0.005, 10) == 0.1
    assert crossed(0.05, 0.005, 1000) == 0.05


def test_rows_of_one_person_do_not_make_the_sides_differ():
    """Ten rows of one person all alike are one case: 1 person beside 10 may differ by chance; 10 persons may not."""
    hit, started = np.repeat([1, 0], [10, 100]), np.repeat([True, False], [10, 100])
    apart = by_side(np.r_[hit, np.zeros(10)], np.r_[started, np.ones(10)], np.r_[np.zeros(10), np.arange(1, 111)])
    alone = by_side(np.r_[hit, np.zeros(10)], np.r_[started, np.ones(10)], np.arange(120))
    assert apart.error > 1.3 * alone.error and apart.apart == alone.apart == 0.5


# --- the catalogue ---


@cache
def found_in_group():
    return {name: check.find(group()) for name, check in CHECKS.items()}


def test_nothing_fires_in_the_clean_group_and_all_is_computed():
    assert {name for name, found in found_in_group().items() if found.fires} == set()
    assert {name for name, found in found_in_group().items() if found.not_computed} == set()


def planted(name):
    """The clean group with a fault at about twice its threshold, seed 3."""
    evidence, rng = group(), np.random.default_rng(3)
    taken = evidence.study.measurements
    hit = pd.Series(rng.random(len(taken)) < {"copied": 0.2, "heaped": 0.35, "switched": 0.1}[name], taken.index)
    sized = hit & (taken["size"] > 0)
    sides = taken[["length", "width"]]
    if name == "copied":
        before = taken.sort_values(["wound", "day"]).groupby("wound")[["length", "width"]].shift(1)
        sides = sides.mask(sized & before.notna().all(axis=1), before)
    if name == "heaped":
        sides = sides.mask(sized, (2 * sides).round() / 2)
    way = taken["size_from"].mask(sized & (name == "switched"), "tracing")
    changed = taken.assign(length=sides["length"], width=sides["width"], size_from=way)
    return replace(evidence, study=replace(evidence.study, measurements=changed))


@pytest.mark.parametrize("name", ["copied", "heaped", "switched"])
def test_what_is_planted_fires_and_sets_off_no_other(name):
    evidence = planted(name)
    assert {other for other, check in CHECKS.items() if check.find(evidence).fires} == {name}


@pytest.mark.parametrize("name", list(CHECKS))
def test_an_export_of_bare_sizes_is_no_ground_for_a_warning(name):
    bare = evidence_of(drawn("wound day length width state\nW1 10 . . open\n"))
    found = CHECKS[name].find(bare)
    assert not found.fires and bool(found.not_computed) is (name != "unmeasured")


@pytest.mark.parametrize("name", list(CHECKS))
def test_days_that_share_no_calendar_are_counted_all_the_same(name):
    one = charted(weekly(6), starts=(1, 2), procedures=done((1, 2), 20))
    other = charted(weekly(6), starts=(1, 2), procedures=done((1, 2), 20), plan=SAFE_HARBOR)
    first, second = (CHECKS[name].find(evidence) for evidence in (one, other))
    assert (first.number, first.fires, first.not_computed) == (
        pytest.approx(second.number, nan_ok=True),
        second.fires,
        second.not_computed,
    )


@pytest.mark.parametrize("name", list(CHECKS))
def test_an_answer_that_is_not_told_takes_nothing_from_what_is_counted(name):
    evidence = group()
    stopped = replace(evidence, answers=withheld(evidence.answers, "another warning"))
    assert CHECKS[name].find(stopped) == found_in_group()[name]


def test_the_catalogue_is_whole():
    for check in CHECKS.values():
        assert check.kind == FACT and check.kind in KINDS and check.seriousness in SERIOUSNESS
        assert check.question.endswith("?") and check.to_do.endswith(".") and check.source
    assert {name for name, check in CHECKS.items() if check.seriousness == NOTE} == {"heaped", "back_staged"}
    assert {check.seriousness for check in CHECKS.values()} == {NOTE, CARE}


def test_nothing_said_claims_more_than_it_can():
    told = [*found_in_group().values(), treater_judges(judged(4)), switched(traced((1,))), back_staged(staged(2))]
    said = [found.says for found in told] + [words for c in CHECKS.values() for words in (c.question, c.to_do)]
    text = " ".join(said).lower()
    assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", text)] == []
    assert not re.search(r"\bnan\b|_", text) and all(found.direction in DIRECTIONS for found in told)
