"""The fast comparison against one in plain loops that shares no line with it."""

import numpy as np
import pandas as pd
import pytest

from benchmarks.invented_facility import Scenario
from kit.healing import weights
from kit.healing.comparison import draw_all, questions
from kit.healing.emulation import lay_out
from kit.healing.reductions import medians
from kit.healing.resampling import resident_draws
from kit.healing.weights import CLOSE, NEAR
from tests import slow_reference as slow
from tests.drawn import drawn
from tests.invented_weeks import Facility, invented, of_study

# Both find the peak of the same likelihood (here the fast one too goes on until a step of 1e-6, whose square is what
# remains) and add the same numbers in another order.
SAME = 1e-10
AS_THE_KIT_STOPS = 1e-6
DRAWS = 3

TWO_HOUSES = Scenario(
    residents=50,
    facilities=2,
    starters=34,
    effects={"monopolar stimulation": 1.6, "ultrasound": 1.0},
    missed=0.2,
    leaving=0.02,
    leaving_slope=0.5,
)
ONE_HOUSE = Scenario(
    residents=40,
    starters=16,
    effects={"monopolar stimulation": 2.0, "bipolar stimulation": 1.3, "ultrasound": 1.0},
    missed=0.2,
    leaving=0.02,
    dying=0.02,
    hospital=0.02,
)


@pytest.fixture(autouse=True)
def to_the_peak(monkeypatch):
    """The fits of the kit go on as those in loops do, and none is remembered that did not."""
    for name in ("CLOSE", "NEAR"):
        monkeypatch.setattr(weights, name, 1e-6)
    monkeypatch.setattr(weights, "_remembered", {})


def fast_and_slow(facility: Facility, horizon: int, keys: tuple[str, ...]):
    """For each question and set of counts: key, set, what the fast way says and what the slow one does."""
    layout = lay_out(facility.weeks, facility.measurements, facility.plan, horizon)
    asked = [question for question in questions(layout, facility.plan) if question.key in keys]
    assert len(asked) == len(keys)
    fast = draw_all(layout, asked, DRAWS)
    counts = np.hstack([np.ones((len(layout.people), 1)), resident_draws(layout.people, DRAWS)])
    weeks, sizes = slow.as_dicts(facility.weeks), slow.sizes_of(facility.measurements)
    for question in asked:
        for number in range(DRAWS + 1):
            people = dict(zip(layout.people, counts[:, number], strict=True))
            told = slow.compare(weeks, sizes, facility.plan, horizon, question.treated, question.beside, people)
            yield f"{question.key}, set {number}", said(fast[question.key], number), told


def said(weighed, number: int) -> dict:
    """What the fast way says for one set of counts, in the words of the slow one."""
    own = {name: both[:, number] for name, both in weighed.numbers.items()}
    beside = {name: getattr(weighed, name)[:, :, number] for name in ("states", "course", "houses", "smaller")}
    return {**own, **beside, "median": medians(weighed.smaller)[:, number]}


def assert_same(facility: Facility, horizon: int, keys: tuple[str, ...], same: float = SAME) -> None:
    seen = 0
    for case, fast, told in fast_and_slow(facility, horizon, keys):
        assert fast.keys() == told.keys()
        for name, numbers in fast.items():
            assert numbers == pytest.approx(np.array(told[name]), abs=same, rel=0, nan_ok=True), (case, name)
            seen += np.isfinite(numbers).all()
    assert seen > 0


def with_charts(facility: Facility) -> Facility:
    """The same weeks with covariates that vary, partly missing: what the invention does not chart."""
    generator = np.random.default_rng(11)
    weeks = facility.weeks
    thick = np.where(weeks["log_size"] + generator.normal(size=len(weeks)) > 1.5, 1.0, 0.0)
    necrosis = np.where(generator.random(len(weeks)) < 0.3, np.nan, generator.integers(0, 5, len(weeks)) / 4)
    return facility.with_weeks(weeks.assign(full_thickness=thick, necrosis=necrosis))


@pytest.mark.parametrize("horizon", [84, 28])
def test_two_facilities_with_missed_rounds_and_departures_are_weighed_alike(horizon):
    facility = with_charts(invented(TWO_HOUSES, seed=3))
    assert_same(facility, horizon, ("any modality / no modality", "ultrasound / no modality"))


def test_two_regimens_are_weighed_alike_by_their_overlap():
    assert_same(with_charts(invented(TWO_HOUSES, seed=3)), 84, ("monopolar stimulation / ultrasound",))


@pytest.mark.parametrize(("seed", "horizon"), [(1, 84), (2, 56), (5, 28)])
def test_single_facilities_are_weighed_alike_at_every_horizon(seed, horizon):
    keys = "any modality / no modality", "monopolar stimulation / no modality", "bipolar stimulation / ultrasound"
    assert_same(invented(ONE_HOUSE, seed), horizon, keys)


def test_where_the_kit_stops_no_share_is_a_millionth_from_the_peak(monkeypatch):
    monkeypatch.setattr(weights, "CLOSE", CLOSE)
    monkeypatch.setattr(weights, "NEAR", NEAR)
    facility = with_charts(invented(TWO_HOUSES, seed=3))
    assert_same(facility, 84, ("any modality / no modality", "ultrasound / no modality"), AS_THE_KIT_STOPS)


def test_the_invented_weeks_hold_everything_that_is_weighed():
    """Several houses, more than four covariates, missing ones, others who start later, departures, and unseen weeks."""
    facility = with_charts(invented(TWO_HOUSES, seed=3))
    layout = lay_out(facility.weeks, facility.measurements, facility.plan, 84)
    weeks = layout.weeks
    assert weeks["facility"].nunique() == 2 and weeks["necrosis"].isna().any()
    assert {"full_thickness", "necrosis"} < set(questions(layout, facility.plan)[0].names)
    others = weeks.loc[layout.others.week]
    assert (others["start_day"] <= others["ends"] + 84).sum() > 20
    assert weeks["lost"].sum() > 5
    assert (weeks["starts"].to_numpy()[layout.elsewhere] != "").any()
    assert 0 < layout.others.early.known.mean() < 1


# --- drawn: everything on one day ---

# Weeks begin on days 10, 17, 24, ... and end on 16, 23, 30, ...; 58 ends a week, 59 begins one.
ROUNDS = range(10, 200, 7)
LAST_OF_A_WEEK, FIRST_OF_THE_NEXT = 58, 59
# What each wound comes to: (resident, how, day, first session, its regimen).
FATES = [
    ("R01", "closed", LAST_OF_A_WEEK, None, None),
    ("R02", "died", LAST_OF_A_WEEK, None, None),
    ("R03", "left", LAST_OF_A_WEEK, None, None),
    ("R04", "hospital", LAST_OF_A_WEEK, None, None),
    ("R05", "open", None, LAST_OF_A_WEEK, "monopolar"),
    ("R06", "closed", LAST_OF_A_WEEK, 30, "monopolar"),  # began on the last day of a week
    ("R07", "died", LAST_OF_A_WEEK, 31, "ultrasound"),  # and on the first
    ("R08", "left", LAST_OF_A_WEEK, 33, "monopolar"),
    ("R09", "closed", FIRST_OF_THE_NEXT, None, None),
    ("R10", "died", FIRST_OF_THE_NEXT, None, None),
    ("R11", "left", FIRST_OF_THE_NEXT, FIRST_OF_THE_NEXT, "ultrasound"),  # left before that session
    ("R12", "closed", FIRST_OF_THE_NEXT, FIRST_OF_THE_NEXT, "ultrasound"),  # closed before that session
    ("R01", "closed", LAST_OF_A_WEEK, 40, "ultrasound"),  # a second wound
    ("R02", "died", LAST_OF_A_WEEK, 37, "monopolar"),
    ("R13", "open", None, 38, "ultrasound"),
    ("R14", "open", None, None, None),
    ("R15", "closed", 86, None, None),  # 56 days after the week that ended on day 30
    ("R16", "closed", 86, 30, "ultrasound"),
    ("R17", "closed", LAST_OF_A_WEEK, None, None),
    ("R17", "open", None, 30, "monopolar"),
    ("R18", "left", 86, 51, "ultrasound"),
    ("R18", "left", 86, None, None),
]


def tied() -> Facility:
    """Wounds close, people die and leave, and modalities start on one day, at the seam of two weeks."""
    tables = {
        "wounds": ["wound resident kind"],
        "measurements": ["wound day length width state"],
        "sessions": ["wound day modality setup status"],
        "departures": ["resident day reason"],
    }
    for number, (resident, how, day, start, regimen) in enumerate(FATES, 1):
        wound = f"W{number:02d}"
        tables["wounds"].append(f"{wound} {resident} pressure_injury")
        for week, visit in enumerate(ROUNDS):
            if day is None or visit < day:
                # Every third wound shrinks by 12% a week, others by 3% or not at all; rounds are missed here and there.
                length = round((2 + number % 5) * (0.88, 0.97, 1.0)[number % 3] ** week, 2)
                if (number + week) % 6:
                    tables["measurements"].append(f"{wound} {visit} {length} 2 open")
        if how == "closed":
            tables["measurements"].append(f"{wound} {day} . . closed")
        elif day is not None and f"{resident} {day} {how}" not in tables["departures"]:
            tables["departures"].append(f"{resident} {day} {how}")
        if start is not None:
            modality = "ultrasound ." if regimen == "ultrasound" else "stimulation monopolar"
            tables["sessions"].append(f"{wound} {start} {modality} given")
    return of_study(drawn(**{name: "\n".join(lines) + "\n" for name, lines in tables.items()}))


@pytest.fixture(scope="module")
def tied_facility():
    return tied()


def test_the_drawn_ties_are_what_they_were_drawn_for(tied_facility):
    ends = tied_facility.weeks.groupby("wound")[["end_day", "outcome", "start_day"]].first()
    on_the_day = ends[ends["end_day"] == LAST_OF_A_WEEK]["outcome"]
    assert set(on_the_day) == {"closed", "died", "left", "hospital"}
    assert pd.isna(ends.loc["W11", "start_day"]) and pd.isna(ends.loc["W12", "start_day"])
    assert LAST_OF_A_WEEK in set(tied_facility.weeks["ends"]) and FIRST_OF_THE_NEXT in set(
        tied_facility.weeks["begins"]
    )


@pytest.mark.parametrize("horizon", [28, 56, 84])
@pytest.mark.parametrize(
    "key", ["any modality / no modality", "ultrasound / no modality", "monopolar / ultrasound", "bipolar / ultrasound"]
)
def test_ends_and_starts_on_one_day_are_weighed_alike(tied_facility, horizon, key):
    assert_same(tied_facility, horizon, (key,))
