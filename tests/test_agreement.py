"""Each element beside the protocol, in every state it can have. Bounds are the defaults with their tenth of leeway."""

import pandas as pd
import pytest

from kit.delivery.agreement import ELEMENTS, agreement, asked_polarity, least_minutes, reach_cm, state_polarity
from kit.delivery.context import in_context
from kit.delivery.decisions import SAYS, of_reason
from kit.plan import Protocol
from kit.vocabulary import REASONS_MISSED
from tests.drawn import PLAN, drawn
from tests.exports import SAFE_HARBOR

# Ends of ranges are products in floating point; nothing is estimated.
EXACT = 1e-12
OPEN = "wound day length width depth tissue state\nW1 100 4 3 1 granulation open\n"
# What a session is where the test says nothing else: as the protocol asks, long after the build-up.
STIMULATION = {
    "wound": "W1", "day": 105, "modality": "stimulation", "setup": "monopolar", "polarity": "negative",
    "pulse_rate": 125, "minutes": 50, "sensation": "sensory", "status": "given",
}  # fmt: skip
ULTRASOUND = {
    "wound": "W1", "day": 105, "modality": "ultrasound", "minutes": 6, "frequency": 3, "duty": 20, "intensity": 0.5,
    "radiating_area": 5, "status": "given",
}  # fmt: skip
NO_BUILD_UP = "[protocol]\nbuild_up = 0\n"


def table(sessions: list[dict]) -> str:
    columns = list(dict.fromkeys(name for row in sessions for name in row)) or ["wound", "day", "modality"]
    lines = [" ".join(str(row.get(name, ".")) for name in columns) for row in sessions]
    return "\n".join([" ".join(columns), *lines]) + "\n"


def context(sessions: list[dict], protocol: str = NO_BUILD_UP, measurements: str = OPEN, base: str = PLAN, **tables):
    study = drawn(measurements, plan=base + protocol, sessions=table(sessions), **tables)
    told = in_context(study.sessions, study.residents, study.wounds, study.measurements, study.spans, study.plan)
    return told, study.plan


def judged(sessions: list[dict], *args, **given) -> pd.DataFrame:
    return agreement(*context(sessions, *args, **given))


def states(element: str, sessions: list[dict], *args, **given) -> list[str]:
    """State of one element, session by session; "unrecorded" where the session does not say it."""
    rows = judged(sessions, *args, **given)
    rows = rows[rows["element"] == element]
    return rows["state"].where(rows["recorded"], "unrecorded").tolist()


def stimulated(**other) -> dict:
    return STIMULATION | other


def sounded(**other) -> dict:
    return ULTRASOUND | other


def on_days(days: range, values: list, name: str, session: dict = STIMULATION) -> list[dict]:
    return [session | {"day": day, name: value} for day, value in zip(days, values, strict=True)]


# --- which elements are asked of what ---


@pytest.mark.parametrize(
    ("session", "asked"),
    [
        (stimulated(), {"minutes", "pulse_rate", "sensation", "polarity"}),
        (stimulated(setup="bipolar", polarity="."), {"minutes", "pulse_rate", "sensation"}),
        (stimulated(setup="."), {"minutes", "pulse_rate", "sensation"}),
        (sounded(), {"zone_minutes", "duty", "intensity", "frequency"}),
        (sounded(modality="other"), set()),
    ],
    ids=["monopolar", "bipolar", "no set-up", "ultrasound", "other"],
)
def test_each_modality_is_asked_its_own_elements(session, asked):
    assert set(judged([session])["element"]) == asked


def test_a_session_as_the_protocol_asks_is_within_in_every_element():
    rows = judged([stimulated(), sounded()])
    assert set(rows["element"]) == set(ELEMENTS)
    assert set(rows["state"]) == {"within"}
    assert rows["recorded"].all() and set(rows["decision"]) == {""}


def test_missed_sessions_are_not_judged():
    assert judged([stimulated(status="missed", reason="staff")]).empty


# --- ranges, widened by a tenth on both sides ---


@pytest.mark.parametrize(
    ("element", "session", "low", "high", "step"),
    [
        ("minutes", STIMULATION, 40.5, 66, 0.1),  # 45 x 0.9 and 60 x 1.1
        ("pulse_rate", STIMULATION, 112.5, 137.5, 0.1),  # 125 x 0.9 and 125 x 1.1
        ("duty", ULTRASOUND, 18, 22, 0.1),  # 20 x 0.9 and 20 x 1.1
        ("intensity", ULTRASOUND, 0.45, 0.55, 0.01),  # 0.5 x 0.9 and 0.5 x 1.1
        ("zone_minutes", ULTRASOUND, 5.4, 11, 0.1),  # 1.2 zones x 5 min x 0.9; two zones x 5 min x 1.1
    ],
)
def test_both_ends_of_a_range_with_its_leeway_are_within(element, session, low, high, step):
    name = "minutes" if element == "zone_minutes" else element
    values = [f"{value:.2f}" for value in (low - step, low, high, high + step)]
    sessions = on_days(range(101, 106), [*values, "."], name, session)
    assert states(element, sessions) == ["below", "within", "within", "above", "unrecorded"]


def test_without_leeway_the_range_is_the_plans():
    sessions = on_days(range(101, 105), [44, 45, 60, 61], "minutes")
    plan = NO_BUILD_UP + "leeway_percent = 0\n"
    assert states("minutes", sessions, plan) == ["below", "within", "within", "above"]


def test_the_plans_own_range_is_held_against():
    sessions = on_days(range(101, 104), [26, 27, 50], "minutes")
    plan = NO_BUILD_UP + "minutes = [30, 40]\nfirst_minutes = 20\n"  # 30 x 0.9 = 27; 40 x 1.1 = 44
    assert states("minutes", sessions, plan) == ["below", "within", "above"]


# --- minutes: the build-up ---


def test_minutes_are_built_up_evenly_over_three_sessions():
    """20, then thirds of the 25 up to 45: 20, 28.33, 36.67, 45 and on."""
    number = pd.Series([1, 2, 3, 4, 5])
    assert least_minutes(number, Protocol()).tolist() == pytest.approx([20, 20 + 25 / 3, 20 + 50 / 3, 45, 45], EXACT)


def test_without_build_up_every_session_is_a_whole_one():
    assert least_minutes(pd.Series([1, 2]), Protocol(build_up=0)).tolist() == [45, 45]


def test_first_minutes_within_the_range_ask_no_more_than_the_range():
    assert least_minutes(pd.Series([1, 4]), Protocol(first_minutes=50)).tolist() == [45, 45]


def test_twenty_minutes_are_enough_for_the_first_session_and_too_few_for_the_fourth():
    """A tenth of leeway: at least 18, 25.5, 33 and 40.5 minutes."""
    sessions = on_days(range(101, 105), [20, 26, 33, 20], "minutes")
    assert states("minutes", sessions, "") == ["within", "within", "within", "below"]


def test_stimulation_after_weeks_of_ultrasound_is_built_up_anew():
    sessions = [sounded(day=101), sounded(day=102), sounded(day=103), sounded(day=104), stimulated(minutes=20)]
    assert states("minutes", sessions, "") == ["within"]


@pytest.mark.parametrize(("minutes", "state"), [(17, "below"), (18, "within"), (66, "within"), (67, "above")])
def test_a_first_session_may_be_short_or_already_whole(minutes, state):
    assert states("minutes", [stimulated(minutes=minutes)], "") == [state]


def test_two_sessions_of_a_day_are_judged_by_their_sum():
    """25 + 20 = 45 min; each alone would be below."""
    assert states("minutes", [stimulated(minutes=25), stimulated(minutes=20)]) == ["within", "within"]


def test_a_day_with_a_part_that_is_not_recorded_is_not_judged():
    assert states("minutes", [stimulated(minutes=50), stimulated(minutes=".")]) == ["unrecorded", "unrecorded"]


def test_staff_minutes_change_no_judgement():
    """Whatever staff time is written beside them, and where the device's minutes are missing too."""
    minutes = [(50, 5), (20, 90), (".", 50)]
    some = [stimulated(day=101 + n, minutes=own, staff_minutes=staff) for n, (own, staff) in enumerate(minutes)]
    others = [row | {"staff_minutes": 240} for row in some]
    pd.testing.assert_frame_equal(judged(some), judged(others))
    assert states("minutes", some) == ["within", "below", "unrecorded"]


# --- response ---


def test_the_response_is_ranked_none_sensory_motor():
    sessions = on_days(range(101, 105), ["none", "sensory", "motor", "."], "sensation")
    assert states("sensation", sessions) == ["below", "within", "above", "unrecorded"]


def test_where_the_plan_means_motor_responses_a_felt_one_is_too_weak():
    sessions = on_days(range(101, 104), ["none", "sensory", "motor"], "sensation")
    assert states("sensation", sessions, '[protocol]\nsensation = "motor"\n') == ["below", "below", "within"]


# --- polarity ---

BEDS = ["necrotic", "epithelial", "granulation", "slough", "."]


def by_bed(polarity: str, protocol: str = "", **tables) -> list[str]:
    """Sessions on days 105, 115, ... each five days after its bed was charted, in the order of BEDS."""
    rows = [f"W1 {100 + 10 * n} 4 3 {bed} open" for n, bed in enumerate(BEDS)]
    measured = "\n".join(["wound day length width tissue state", *rows])
    sessions = on_days(range(105, 155, 10), [polarity] * 5, "polarity")
    return states("polarity", sessions, protocol, measured, **tables)


def test_by_state_asks_positive_of_necrotic_and_epithelial_beds_and_negative_of_granulating_ones():
    """A sloughy bed asks none, so that session has no row; the bed not charted leaves it unknown."""
    assert by_bed("negative") == ["against", "against", "within", "unknown"]
    assert by_bed("positive") == ["within", "within", "against", "unknown"]


def test_an_infection_asks_for_negative_whatever_the_bed():
    spans = "resident wound span from_day\n. W1 infection 100\n"
    assert by_bed("negative", spans=spans) == ["within"] * 5


def test_by_state_asks_nothing_where_no_bed_was_charted_within_the_week():
    """Charted on day 100: day 107 is the last that knows it."""
    sessions = on_days(range(107, 109), ["positive"] * 2, "polarity")
    assert states("polarity", sessions) == ["against", "unknown"]


def test_a_sloughy_bed_asks_no_polarity_and_misses_none():
    assert by_bed(".")[:3] == ["unrecorded"] * 3 and len(by_bed(".")) == 4


def test_a_fixed_polarity_is_asked_whatever_the_bed():
    assert by_bed("negative", '[protocol]\npolarity = "negative"\n') == ["within"] * 5
    assert by_bed("negative", '[protocol]\npolarity = "positive"\n') == ["against"] * 5


def test_alternating_current_is_against_a_fixed_polarity():
    assert states("polarity", [stimulated(polarity="alternating")]) == ["against"]


TURNS = NO_BUILD_UP + 'polarity = "turning"\n'


def test_alternating_current_does_not_say_whether_a_schedule_was_kept():
    assert states("polarity", [stimulated(polarity="alternating")], TURNS) == ["unknown"]


def test_a_schedule_turns_from_the_first_session_with_one_electrode():
    """Ultrasound and bipolar on days 100 and 101 turn nothing: day 105 is the first of the schedule, negative."""
    sessions = [sounded(day=100), stimulated(day=101, setup="bipolar", polarity="."), stimulated(day=105)]
    assert states("polarity", sessions, TURNS) == ["within"]


def test_an_antibiotic_of_the_person_says_nothing_against_a_bed_that_asks_the_other_way():
    """Of the wound itself it asks for negative; of the person, a necrotic bed can no longer be judged."""
    rules = NO_BUILD_UP + 'polarity = "by_state"\n'
    necrotic = OPEN.replace("granulation", "necrotic")
    head = "resident wound span from_day\n"
    for line, state in ((". W1 antibiotic 100", "within"), ("R1 . antibiotic 100", "unknown")):
        assert states("polarity", [stimulated()], rules, necrotic, spans=f"{head}{line}\n") == [state]


def test_a_day_whose_second_session_was_missed_for_a_reason_is_short_for_it():
    sessions = [stimulated(minutes=20), stimulated(minutes=".", status="missed", reason="staff")]
    minutes = judged(sessions).query("element == 'minutes'")
    assert list(zip(minutes["state"], minutes["decision"], strict=True)) == [("below", "staff")]
    unsaid = judged([stimulated(minutes=20), stimulated(minutes=".", status="missed", reason=".")])
    assert unsaid.query("element == 'minutes'")["decision"].tolist() == ["record"]


def test_a_polarity_that_is_not_recorded_is_no_breach():
    rows = judged([stimulated(polarity=".")])
    (row,) = rows[rows["element"] == "polarity"].itertuples()
    assert (row.state, row.recorded, row.decision) == ("unknown", False, "record")


TURNING = '[protocol]\npolarity = "turning"\n'
DAYS = [101, 102, 103, 104, 106, 107, 109, 110]  # since the start 0, 1, 2 | 3, 5 | 6, 8 | 9


def test_a_schedule_turns_every_three_days_from_the_first_session_negative_first():
    as_planned = ["negative"] * 3 + ["positive"] * 2 + ["negative"] * 2 + ["positive"]
    sessions = [stimulated(day=day, polarity=way) for day, way in zip(DAYS, as_planned, strict=True)]
    assert states("polarity", sessions, TURNING) == ["within"] * 8
    never = [stimulated(day=day) for day in DAYS]
    assert states("polarity", never, TURNING) == ["within"] * 3 + ["against"] * 2 + ["within"] * 2 + ["against"]


def test_the_plan_says_how_often_it_turns():
    """Every five days: 0 to 4 negative, 5 to 9 positive."""
    sessions = [stimulated(day=day) for day in DAYS]
    assert states("polarity", sessions, TURNING + "turn_days = 5\n") == ["within"] * 4 + ["against"] * 4


def two_houses(protocol: str) -> list[str]:
    """A wound in each of two houses, with sessions on the first day and three days later, all negative."""
    sessions = [stimulated(wound=wound, day=day) for wound in ("W1", "W2") for day in (101, 104)]
    return states(
        "polarity",
        sessions,
        protocol,
        OPEN.replace("granulation", "epithelial") + "W2 100 4 3 1 epithelial open\n",
        wounds="wound resident\nW1 R1\nW2 R2\n",
        residents="resident facility\nR1 Quellmoor\nR2 Tarnwick\n",
    )


@pytest.mark.parametrize(
    ("polarity", "other_house"),
    [("by_state", ["against"] * 2), ("negative", ["within"] * 2), ("positive", ["against"] * 2), ("any", [])],
)
def test_a_schedule_named_for_a_facility_goes_before_what_the_others_do(polarity, other_house):
    found = two_houses(f'[protocol]\npolarity = "{polarity}"\nturning_facilities = ["Tarnwick"]\n')
    assert found == [*other_house, "within", "against"]


def test_where_any_polarity_will_do_nobody_is_asked():
    assert two_houses('[protocol]\npolarity = "any"\n') == []


def test_what_is_asked_is_missing_where_nothing_is():
    told, plan = context([stimulated(day=105), stimulated(day=120)])
    assert asked_polarity(told, plan.protocol).fillna("").tolist() == ["negative", ""]
    assert state_polarity(told).fillna("").tolist() == ["negative", ""]
    assert asked_polarity(told, Protocol(polarity="any")).isna().all()


# --- ultrasound: zones and depth ---


def test_one_wound_in_two_zones_may_be_treated_as_one_and_a_fifth():
    """12 cm2, head 5 cm2, zone 10 cm2: 1.2 zones x 5 = 6 min at least; 2 zones x 5 = 10 at most, before leeway."""
    sessions = on_days(range(101, 105), [5, 6, 10, 12], "minutes", ULTRASOUND)
    plan = "[protocol]\nleeway_percent = 0\n"
    assert states("zone_minutes", sessions, plan) == ["below", "within", "within", "above"]


def test_ultrasound_is_not_built_up():
    assert states("zone_minutes", [sounded(minutes=3)], "") == ["below"]


@pytest.mark.parametrize("left_out", ["radiating_area", "measurement"])
def test_minutes_that_are_recorded_beside_zones_that_are_not_known_are_unknown(left_out):
    session = sounded(radiating_area=".") if left_out == "radiating_area" else sounded(day=120)
    assert states("zone_minutes", [session]) == ["unknown"]


def test_three_megahertz_reach_an_inch_and_one_megahertz_twice_as_deep():
    """2.5 cm at 3 MHz, 5 at 1; half way at 2; no more below 1 and no less above 3."""
    reach = reach_cm(pd.Series([0.5, 1, 2, 3, 4]), Protocol())
    assert reach.tolist() == pytest.approx([5, 5, 3.75, 2.5, 2.5], EXACT)


@pytest.mark.parametrize(
    ("frequency", "depth", "state"),
    [
        (3, 2.5, "within"), (3, 2.6, "below"), (1, 2.6, "within"), (1, 5, "within"), (1, 5.1, "below"),
        (1, 0.2, "within"), (3, ".", "unknown"), (".", 1, "unrecorded"),
    ],
)  # fmt: skip
def test_ultrasound_must_reach_as_deep_as_the_wound(frequency, depth, state):
    measured = f"wound day length width depth state\nW1 100 4 3 {depth} open\n"
    assert states("frequency", [sounded(frequency=frequency)], NO_BUILD_UP, measured) == [state]


# --- what can be decided ---


def decision(element: str, session: dict, **tables: str) -> str:
    rows = judged([session], **tables)
    return rows.loc[rows["element"] == element, "decision"].item()


NUMB = {"spans": "resident span value from_day\nR1 precaution reduced_sensation 100\n"}


@pytest.mark.parametrize(
    ("element", "session", "tables", "what"),
    [
        ("minutes", stimulated(minutes=20), {}, "train"),
        ("minutes", stimulated(minutes=90), {}, "train"),
        ("minutes", stimulated(minutes=20, status="shortened", reason="refused"), {}, "person"),
        ("minutes", stimulated(minutes=20, status="shortened", reason="equipment"), {}, "supply"),
        ("minutes", stimulated(minutes=20, status="shortened", reason="."), {}, "record"),
        ("minutes", stimulated(minutes=50, status="shortened", reason="refused"), {}, ""),
        ("minutes", stimulated(minutes=90, status="shortened", reason="refused"), {}, "train"),
        ("minutes", stimulated(minutes="."), {}, "record"),
        ("zone_minutes", sounded(minutes=2, status="shortened", reason="unwell"), {}, "person"),
        ("zone_minutes", sounded(radiating_area="."), {}, ""),
        ("pulse_rate", stimulated(pulse_rate=80, status="shortened", reason="refused"), {}, "train"),
        ("sensation", stimulated(sensation="none"), {}, "train"),
        ("sensation", stimulated(sensation="none"), NUMB, "person"),
        ("sensation", stimulated(sensation="motor"), NUMB, "train"),
        ("polarity", stimulated(polarity="positive"), {}, "train"),
    ],
)  # fmt: skip
def test_what_is_off_has_a_decision_and_nothing_else_does(element, session, tables, what):
    assert decision(element, session, **tables) == what


@pytest.mark.parametrize("word", REASONS_MISSED)
def test_every_reason_that_a_log_may_give_has_a_decision_other_than_to_record(word):
    assert of_reason(pd.Series([word])).item() in set(SAYS) - {"record", "train"}


def test_a_reason_that_is_not_told_asks_for_recording():
    assert of_reason(pd.Series([None, float("nan"), ""], dtype=object)).tolist() == ["record"] * 3


# --- what an export may lack ---


def test_a_log_of_nothing_but_days_records_nothing_and_is_all_there():
    """Three elements of stimulation without a set-up and four of ultrasound, all of them to be recorded."""
    bare = [{"wound": "W1", "day": 101, "modality": name} for name in ("stimulation", "ultrasound")]
    rows = judged(bare, measurements="wound day state\nW1 100 open\n")
    assert len(rows) == 3 + 4
    assert set(rows["state"]) == {"unknown"} and not rows["recorded"].any()
    assert set(rows["decision"]) == {"record"}


def test_every_element_and_state_of_a_log_has_one_row_a_session():
    sessions = [stimulated(day=day, minutes=".") for day in (101, 102)] + [sounded(day=103, duty=5)]
    rows = judged(sessions)
    assert not rows.duplicated(["source_row", "wound", "element"]).any()
    assert rows.groupby("source_row").size().tolist() == [4, 4, 4]


def test_without_a_session_there_is_an_empty_frame_with_every_column():
    rows, some = judged([]), judged([stimulated()])
    assert rows.empty and list(rows) == list(some)


def test_a_facility_may_be_called_what_an_element_is_called():
    rows = judged([stimulated()], residents="resident facility\nR1 minutes\n")
    assert set(rows["facility"]) == {"minutes"}


def test_without_a_calendar_sessions_are_judged_alike():
    one, other = (judged([stimulated()], base=base) for base in (PLAN, SAFE_HARBOR))
    pd.testing.assert_frame_equal(one, other.assign(day=one["day"]))


def test_nothing_is_changed_in_what_is_given():
    told, plan = context([stimulated(), sounded()])
    before = told.copy(deep=True)
    agreement(told, plan)
    pd.testing.assert_frame_equal(told, before)
