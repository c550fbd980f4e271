"""Whether settings hang together: polarity with the bed and the schedule, frequency with depth, minutes with area."""

import pandas as pd
import pytest

from kit.delivery.agreement import agreement
from kit.delivery.context import in_context
from kit.delivery.settings import FEWEST_TO_TURN, KEPT_FROM, QUESTIONS, inconsistencies, polarity_by_state, schedules
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

OPEN = "wound day length width depth tissue state\n" + "".join(
    f"W1 {day} 4 3 1 {bed} open\n"
    for day, bed in ((100, "granulation"), (110, "necrotic"), (120, "slough"), (130, "epithelial"))
)
COLUMNS = "wound day modality setup polarity minutes sensation frequency duty intensity radiating_area status"


def logged(*rows: str) -> str:
    return "\n".join([COLUMNS, *rows]) + "\n"


def monopolar(day: int, polarity: str = "negative", minutes: object = 50, sensation: str = "sensory") -> str:
    return f"W1 {day} stimulation monopolar {polarity} {minutes} {sensation} . . . . given"


def sounded(day: int, minutes=6, frequency=3, duty=20, intensity=0.5, area=5) -> str:
    return f"W1 {day} ultrasound . . {minutes} . {frequency} {duty} {intensity} {area} given"


def context(sessions: list[str], measurements: str = OPEN, plan: str = PLAN, **tables: str):
    study = drawn(measurements, plan=plan, sessions=logged(*sessions), **tables)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return told, study.plan


# --- polarity and the wound's state ---


def test_polarity_is_counted_by_the_state_of_the_wound_in_that_week():
    """Granulating on day 101, necrotic 111, slough 121, epithelial 131; nothing charted within a week of day 150."""
    ways = [(101, "negative"), (102, "positive"), (111, "positive"), (112, "."), (121, "negative")]
    ways += [(131, "alternating"), (150, "positive")]
    told, _ = context([monopolar(*way) for way in ways])
    table = polarity_by_state(told).set_index("wound_state")
    counts = table[["sessions", "negative", "positive", "alternating", "unrecorded", "agree"]]
    assert counts.loc["granulation"].tolist() == [2, 1, 1, 0, 0, 1]
    assert counts.loc["necrotic"].tolist() == [2, 0, 1, 0, 1, 1]
    assert counts.loc["slough"].tolist() == [1, 1, 0, 0, 0, 0]
    assert counts.loc["epithelial"].tolist() == [1, 0, 0, 1, 0, 0]
    assert counts.loc["not charted"].tolist() == [1, 0, 1, 0, 0, 0]
    assert table["asked_polarity"].to_dict() == {
        "granulation": "negative",
        "necrotic": "positive",
        "slough": "",
        "epithelial": "positive",
        "not charted": "",
    }
    assert table["sessions"].sum() == len(ways)


def test_an_infection_goes_before_the_bed():
    told, _ = context([monopolar(111)], spans="resident wound span from_day\n. W1 infection 105\n")
    (row,) = polarity_by_state(told).itertuples()
    assert (row.wound_state, row.asked_polarity, row.agree) == ("infection", "negative", 1)


def test_only_one_electrode_at_the_wound_has_a_polarity_there():
    rows = ["W1 101 stimulation bipolar negative 50 sensory . . . . given", sounded(102)]
    assert polarity_by_state(context(rows)[0]).empty


# --- the schedule ---


def turning(days: list[int], wrong: int = 0) -> list[str]:
    """Sessions at their turn (negative on the first three days of six, counted from day 101) but for the first few."""
    ways = ["positive" if (day - 101) // 3 % 2 else "negative" for day in days]
    turned = {"positive": "negative", "negative": "positive"}
    return [
        monopolar(day, turned[way] if n < wrong else way) for n, (day, way) in enumerate(zip(days, ways, strict=True))
    ]


def schedule(rows: list[str], **tables: str) -> pd.Series:
    (row,) = schedules(*context(rows, **tables)).itertuples(index=False)
    return row


DAYS = [*range(101, 121)]


def test_a_schedule_kept_is_told_with_its_counts():
    """Days 101 to 120: days 4 to 6, 10 to 12 and 16 to 18 of it are positive, nine of twenty."""
    row = schedule(turning(DAYS))
    assert (row.judged, row.due, row.as_scheduled, row.schedule) == (20, 9, 20, "kept")


@pytest.mark.parametrize(("wrong", "said"), [(2, "kept"), (3, "not kept")])
def test_nine_in_ten_at_their_turn_is_kept(wrong, said):
    """18 of 20 are nine in ten, 17 are not."""
    row = schedule(turning(DAYS, wrong))
    assert KEPT_FROM == 0.9
    assert (row.as_scheduled, row.schedule) == (20 - wrong, said)


@pytest.mark.parametrize("way", ["negative", "positive"])
def test_one_polarity_throughout_was_never_turned(way):
    assert schedule([monopolar(day, way) for day in DAYS]).schedule == "never turned"


@pytest.mark.parametrize(("days", "due", "said"), [(7, 3, ""), (10, 4, "kept")])
def test_too_few_turns_due_say_nothing(days, due, said):
    """Days 4 to 6 are three turns; the fourth is day 10."""
    row = schedule(turning(DAYS[:days]))
    assert FEWEST_TO_TURN == 4
    assert (row.due, row.schedule) == (due, said)


def test_sessions_whose_polarity_is_not_recorded_or_alternates_are_not_judged():
    rows = [*turning(DAYS), monopolar(121, "."), monopolar(122, "alternating")]
    assert schedule(rows).judged == 20


def test_the_clock_of_the_schedule_starts_with_the_first_session_with_one_electrode():
    """Bipolar on day 98 turns nothing: the schedule begins on day 101."""
    rows = ["W1 98 stimulation bipolar . 50 sensory . . . . given", *turning(DAYS)]
    row = schedule(rows)
    assert (row.judged, row.as_scheduled, row.schedule) == (20, 20, "kept")


def test_the_plan_says_how_many_days_a_turn_has():
    assert schedule(turning(DAYS), plan=PLAN + "[protocol]\nturn_days = 6\n").schedule == "not kept"


# --- settings beside each other ---


def questions(*rows: str, **tables: str) -> dict[str, tuple[int, int, int]]:
    table = inconsistencies(*context(list(rows), **tables)).set_index("setting")
    return {name: tuple(row) for name, row in table[["asked", "found", "wounds"]].iterrows()}


def test_motor_responses_are_found_among_those_recorded():
    rows = [monopolar(101 + n, sensation=name) for n, name in enumerate(("motor", "sensory", "none", "."))]
    assert questions(*rows)["motor"] == (3, 1, 1)


def test_polarity_against_the_bed_is_asked_where_the_bed_says_one():
    """Granulating on 101 and 102, slough on 121, nothing charted on 150."""
    rows = [monopolar(101), monopolar(102, "positive"), monopolar(103, "."), monopolar(121), monopolar(150)]
    assert questions(*rows)["against_state"] == (2, 1, 1)


@pytest.mark.parametrize(("minutes", "found"), [(5.3, 1), (5.4, 0), (60, 0)])
def test_ultrasound_too_short_for_the_area_is_less_than_five_minutes_a_zone(minutes, found):
    """12 cm2 under zones of 10: 1.2 x 5 min, less a tenth of leeway, are 5.4."""
    assert questions(sounded(101, minutes))["too_short_for_area"] == (1, found, found)


@pytest.mark.parametrize(
    ("frequency", "depth", "shallow", "deep"),
    [(3, 2.6, 1, 0), (3, 2.5, 0, 0), (1, 5.1, 1, 0), (1, 2.5, 0, 1), (1, 2.6, 0, 0), (3, 0.2, 0, 0)],
)
def test_frequency_is_held_against_the_charted_depth(frequency, depth, shallow, deep):
    """3 MHz reach 2.5 cm, 1 MHz 5 cm; below 3 MHz for a wound that 3 MHz would reach is deeper than charted."""
    found = questions(sounded(101, frequency=frequency), measurements=OPEN.replace(" 3 1 ", f" 3 {depth} "))
    assert (found["too_shallow"][1], found["deeper_than_charted"][1]) == (shallow, deep)


@pytest.mark.parametrize("asked", ["too_shallow", "deeper_than_charted"])
def test_depth_is_not_asked_where_none_is_charted(asked):
    rows = sounded(101), sounded(111)
    assert questions(*rows, measurements=OPEN.replace("100 4 3 1", "100 4 3 ."))[asked][0] == 1


def test_a_wound_counts_once_however_many_of_its_sessions_show_it():
    rows = [sounded(101 + n, duty=50) for n in range(3)]
    assert questions(*rows)["duty_off"] == (3, 3, 1)


def test_each_house_has_its_row():
    rows = [sounded(101, intensity=1), sounded(102), sounded(101, intensity=0.2).replace("W1", "W2")]
    told, plan = context(
        rows,
        wounds="wound resident\nW1 R1\nW2 R2\n",
        residents="resident facility\nR1 Quellmoor\nR2 Tarnwick\n",
    )
    table = inconsistencies(told, plan)
    off = table[table["setting"] == "intensity_off"].set_index("facility")
    assert off[["asked", "found"]].to_numpy().tolist() == [[2, 1], [1, 1]]


def test_a_question_that_nobody_can_be_asked_has_no_row():
    assert set(questions(monopolar(101, ".", ".", "."))) == set()
    assert set(questions(sounded(150, ".", ".", ".", ".", "."))) == set()


def test_every_question_has_its_words():
    rows = [monopolar(101), sounded(102)]
    assert set(questions(*rows)) == set(QUESTIONS)


MIXED = [
    *(monopolar(101 + n, "positive" if n % 3 else "negative", 15 * n, name)
      for n, name in enumerate(("motor", "sensory", "none", "motor", "."))),
    *(sounded(101 + n, 2 * n + 1, 1 + n % 3, 10 * n, 0.2 * n) for n in range(5)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("setting", "element", "states"),
    [
        ("motor", "sensation", ["above"]),
        ("against_state", "polarity", ["against"]),
        ("too_short", "minutes", ["below"]),
        ("too_short_for_area", "zone_minutes", ["below"]),
        ("too_shallow", "frequency", ["below"]),
        ("intensity_off", "intensity", ["below", "above"]),
        ("duty_off", "duty", ["below", "above"]),
    ],
)
def test_what_is_asked_of_both_comes_out_the_same_beside_the_protocol(setting, element, states):
    told, plan = context(MIXED, OPEN.replace(" 3 1 ", " 3 4 "))
    judged = agreement(told, plan)
    judged = judged[judged["element"] == element]
    row = inconsistencies(told, plan).set_index("setting").loc[setting]
    assert row["found"] == judged["state"].isin(states).sum() > 0
    assert row["asked"] == (judged["state"] != "unknown").sum()


# --- what an export may lack ---


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR], ids=["day numbers", "no calendar"])
def test_without_a_session_the_frames_are_empty_and_have_every_column(plan):
    (none, rules), (some, others) = context([], plan=plan), context(turning(DAYS))
    for made in (lambda told, _: polarity_by_state(told), schedules, inconsistencies):
        assert made(none, rules).empty
        assert list(made(none, rules)) == list(made(some, others))


def test_where_nothing_of_a_session_is_recorded_no_setting_is_asked():
    study = drawn(
        "wound day state\nW1 100 open\n", sessions="wound day modality\nW1 101 stimulation\nW1 102 ultrasound\n"
    )
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    assert inconsistencies(told, study.plan).empty
    assert schedules(told, study.plan).empty and polarity_by_state(told).empty


def test_nothing_is_changed_in_what_is_given():
    told, plan = context(MIXED)
    before = told.copy(deep=True)
    polarity_by_state(told), schedules(told, plan), inconsistencies(told, plan)
    pd.testing.assert_frame_equal(told, before)
