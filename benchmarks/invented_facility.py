"""Invented facilities whose wounds are known with and without the modality: what comparisons are measured against.

Everything left to chance is drawn before anything is worked out, so a wound has the same walk, slips of the ruler,
missed rounds and blows of fate in the world where its modality is given and in the world where nobody has any. Truth is
the difference between the two worlds; the charts hold one of them, up to the cut-off. It leans on the plan and on the
words of the vocabulary, never on what compares: a fault in both would not show.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd
from scipy.special import logit

from kit.plan import WEEK, Plan
from kit.vocabulary import OUTCOMES
from kit.wounds.episodes import COLUMNS, OPEN, UNTREATED

CUTOFF, HORIZON, MONTHS = 760, 84, 21
# Starts that are counted: their horizon is over at the cut-off.
WINDOW = (CUTOFF - HORIZON - round(MONTHS * 365.25 / 12), CUTOFF - HORIZON)
WEEKS = (CUTOFF + 14 * WEEK) // WEEK + 2  # weekly rounds; the last falls 14 weeks after the cut-off or later
ENTRIES = 103  # weeks in which wounds enter: days 0 to 720
REGIMENS = {
    "monopolar stimulation": ("stimulation", "monopolar"),
    "bipolar stimulation": ("stimulation", "bipolar"),
    "ultrasound": ("ultrasound", None),
}
REASONS = ("died", "hospital", "left")  # of two on one day the first is told
SHARES_OF_WOUNDS = (0.63, 0.29, 0.08)  # residents with one, two, three wounds: 1.45 on average
TYPICAL, SMALLEST, LARGEST, CLOSED_BELOW = (float(np.log(cm2)) for cm2 in (4.0, 0.5, 400.0, 0.15))
SPREAD, SLIP = 0.9, 0.12  # of the first size, of a measurement; both on log cm2
SPEEDS = {"exponential": 0.22, "radius": 0.065}  # median: fall of log cm2, or of cm of radius, a week
SPEED_SPREAD, SHARED, STALLED = 0.5, 0.3, 0.15  # of log speed; the person's part of its variance; share that stall
SIZE_AND_FATE = 0.3  # log odds of death or hospital for one more of log cm2
FIRST_WEEKS = 2  # of usual care before a start is thought of
STALL_WEEKS, STALL_PART = 4, 0.1  # a stall: charted less than so much smaller than so many weeks before
EARLY_WEEKS, EARLY_PERCENT = 4, 40  # the plan's defaults
SLOPE_WEEKS = 8  # after a start in which the true change of slope is read
VANISHED_DAYS, CONFIRM_DAYS, BED_HOLD_DAYS = 28, 14, 30  # the plan's defaults
LEVELS = (-12.0, 12.0)  # between which the log odds of a start are sought
PILOTS, PILOT, PILOT_SEED = 4, 12000, 20260701  # so large that starters come out within one or two percent


@dataclass(frozen=True)
class Scenario:
    """What is invented. `effects`: how many times faster each regimen makes healing from its first session on.

    `starters`: the wished mean number of wounds that start within WINDOW, shared equally by the regimens. `missed`:
    share of the rounds after the first that are not measured. `law`: what falls linearly, log area ("exponential") or
    the radius ("radius"). `leaving`, `dying`, `hospital`: weekly chances for a person with an open wound of 4 cm2;
    `leaving_slope`: log odds of leaving for one less of log cm2, because people whose wounds do well go home.
    `hidden`: log odds of a start for one SD of a frailty that slows healing and stands in no chart. `walk`: SD of what
    chance adds to log cm2 in a week and leaves there. `starts`: which rounds of open wounds lead to a start: "charted"
    (larger and slower ones rather), "random" (each alike) or "stall" (each alike of those whose charted size is not at
    least 10% below that of the last round measured four weeks before or earlier).
    """

    residents: int = 130
    facilities: int = 1
    starters: float = 25
    effects: tuple[tuple[str, float], ...] = (("monopolar stimulation", 1.5),)
    missed: float = 0.0
    law: str = "exponential"
    leaving: float = 0.004
    leaving_slope: float = 0.0
    dying: float = 0.004
    hospital: float = 0.004
    hidden: float = 0.0
    walk: float = 0.12
    starts: str = "charted"

    def __post_init__(self) -> None:
        # A mapping reads better where scenarios are written; pairs can be hashed.
        object.__setattr__(self, "effects", tuple(dict(self.effects).items()))
        if self.starts not in LEANINGS:
            raise ValueError(f"starts: one of {', '.join(LEANINGS)}")


@dataclass(frozen=True, eq=False)
class Invented:
    """The tables of an export as the study holds them, one record a wound, and the truth about every start.

    `truth`: wound, start_day, regimen; closes_with and closes_without, the days of the round that records the closing
    with the modality and where nobody has any, had nobody left, died or gone to hospital; gone_day and gone_without,
    the day of death or hospital in these two worlds, had nobody left; left_day, of leaving, had nobody died or gone to
    hospital. Infinite where it never happens while the invention lasts (14 weeks beyond the cut-off) or only after the
    person's last wound was recorded closed. early_with and early_without: whether it had closed, or was charted at
    least 40% smaller, four weeks after the round that decided the start. reduction_with and reduction_without: by how
    many percent it was charted smaller then, 100 where it had closed and minus infinity where its person had died or
    was in hospital, so that a median counts them among those that did worst. log_slope_change and root_slope_change:
    what the modality added to the weekly change of log cm2, and of the root of the area in cm (least squares through
    nought on what both worlds differ by, at the rounds charted open in the first eight weeks after the start; missing
    where there is none).
    """

    residents: pd.DataFrame
    wounds: pd.DataFrame
    measurements: pd.DataFrame
    sessions: pd.DataFrame
    departures: pd.DataFrame
    episodes: pd.DataFrame
    truth: pd.DataFrame


def plan_of(scenario: Scenario) -> Plan:
    """The plan of an invented program: its regimens are those given; its cohort window holds every day there is."""
    given = {name: REGIMENS[name] for name, _ in scenario.effects}
    rules = [{"name": name, "modality": modality, "setup": setup} for name, (modality, setup) in given.items()]
    return Plan.model_validate({
        "program": {"name": "Invented program", "basis": "operations"},
        "windows": {"quarter_begins": CUTOFF - 90, "cutoff": CUTOFF, "cohort_months": 25},
        "comparison": {"answer_months": MONTHS},
        "regimens": rules,
    })  # fmt: skip


def simulate(scenario: Scenario, generator: np.random.Generator) -> Invented:
    """One replicate: its charts up to the cut-off, and what would have become of every wound that started."""
    drawn = _draw(scenario, generator)
    untouched = _world(scenario, drawn, _never(drawn))
    start = _starts(scenario, drawn, _pull(scenario, drawn, untouched), level_of(scenario))
    treated = _world(scenario, drawn, start)
    charts = _charted(drawn, treated, start)
    return Invented(
        residents=_residents(scenario, drawn),
        wounds=_wounds(drawn, charts),
        measurements=_measurements(drawn, treated, charts),
        sessions=_sessions(scenario, drawn, treated, charts),
        departures=_departures(drawn, charts),
        episodes=_episodes(scenario, drawn, treated, charts),
        truth=_truth(scenario, drawn, untouched, treated, charts),
    )


# --- what is left to chance ---


@dataclass(frozen=True, eq=False)
class _Drawn:
    """All that chance decides. Arrays hold a value a wound, or wounds by weekly rounds, unless said otherwise."""

    resident: np.ndarray  # its number; ascending
    first: np.ndarray  # a value a resident: the row of the first wound
    facility: np.ndarray  # a value a resident
    weekday: np.ndarray  # rounds fall on weekday + 7 * week, for all wounds of a person
    age: np.ndarray  # weeks since entry, by week; negative before
    log_size: np.ndarray  # true, at entry
    speed: np.ndarray
    frailty: np.ndarray  # of the person
    walk: np.ndarray  # what chance has added to log size since entry, by week
    slip: np.ndarray  # error of the measurement, by week
    measured: np.ndarray  # whether there is a round, by week
    reluctance: np.ndarray  # logistic: a start needs log odds above it, by week
    lag: np.ndarray  # days from the round that decides to the first session
    regimen: np.ndarray  # number within the scenario's effects
    fate: np.ndarray  # reasons by residents by weeks, logistic: a departure needs log odds above it
    fate_lag: np.ndarray  # reasons by residents: days from the week's round to the departure


def _draw(scenario: Scenario, generator: np.random.Generator) -> _Drawn:
    people = scenario.residents
    resident = np.repeat(np.arange(people), generator.choice([1, 2, 3], people, p=SHARES_OF_WOUNDS))
    wounds = len(resident)
    age = np.arange(WEEKS) - generator.integers(0, ENTRIES, wounds)[:, None]
    frailty = generator.standard_normal(people)[resident]
    steps = scenario.walk * generator.standard_normal((wounds, WEEKS))
    return _Drawn(
        resident=resident,
        first=np.searchsorted(resident, np.arange(people)),
        facility=np.arange(people) % scenario.facilities,
        weekday=generator.integers(0, WEEK, people)[resident],
        age=age,
        log_size=np.clip(TYPICAL + SPREAD * generator.standard_normal(wounds), SMALLEST, LARGEST),
        speed=SPEEDS[scenario.law] * _pace(frailty, generator),
        frailty=frailty,
        walk=np.cumsum(np.where(age > 0, steps, 0), axis=1),
        slip=SLIP * generator.standard_normal((wounds, WEEKS)),
        measured=(age == 0) | ((age > 0) & (generator.random((wounds, WEEKS)) >= scenario.missed)),
        reluctance=generator.logistic(size=(wounds, WEEKS)),
        lag=generator.integers(1, 4, wounds),
        regimen=generator.integers(0, len(scenario.effects), wounds),
        fate=generator.logistic(size=(len(REASONS), people, WEEKS)),
        fate_lag=generator.integers(0, WEEK, (len(REASONS), people)),
    )


def _pace(frailty: np.ndarray, generator: np.random.Generator) -> np.ndarray:
    """How fast wounds heal beside the median: some stall or grow a little, those of one person are alike."""
    own = generator.standard_normal(len(frailty))
    usual = np.exp(SPEED_SPREAD * (np.sqrt(1 - SHARED) * own - np.sqrt(SHARED) * frailty))
    stalled = generator.random(len(frailty)) < STALLED
    return np.where(stalled, generator.uniform(-0.1, 0.1, len(frailty)), usual)


# --- what follows from it ---


@dataclass(frozen=True, eq=False)
class _World:
    """What becomes of everybody when each wound starts on a given day, or never (infinite)."""

    log_size: np.ndarray  # true, wounds by weeks
    is_open: np.ndarray  # truly, wounds by weeks from entry on
    closing: np.ndarray  # day of the round that records the closing, a value a wound
    leaves: np.ndarray  # reasons by residents: days of departures


def _world(scenario: Scenario, drawn: _Drawn, start: np.ndarray) -> _World:
    since = (start - _entry_day(drawn)) / WEEK
    log_size = _log_size(scenario, drawn, drawn.age, drawn.walk, since[:, None])
    shut = np.logical_or.accumulate((log_size < CLOSED_BELOW) & (drawn.age > 0), axis=1)
    recorded = _first(shut & drawn.measured)
    in_care = (drawn.age >= 0) & (np.arange(WEEKS) < recorded[:, None])
    return _World(
        log_size=log_size,
        is_open=(drawn.age >= 0) & ~shut,
        closing=_as_day(drawn.weekday, recorded),
        leaves=_leaves(scenario, drawn, np.where(in_care, np.maximum(log_size, CLOSED_BELOW), -np.inf)),
    )


def _log_size(
    scenario: Scenario, drawn: _Drawn, age: np.ndarray, walk: np.ndarray, since: np.ndarray | float = np.inf
) -> np.ndarray:
    """True log cm2 at an age in weeks; from `since` on a modality counts every week as several of healing.

    A wound that grows by itself goes on growing: a modality is no harm.
    """
    factors = np.array([factor for _, factor in scenario.effects])[drawn.regimen]
    gain = np.where(drawn.speed > 0, factors - 1, 0)[:, None]
    healed = drawn.speed[:, None] * (age + gain * np.maximum(age - since, 0))
    if scenario.law == "exponential":
        return np.minimum(drawn.log_size[:, None] - healed + walk, LARGEST)
    radius = np.sqrt(np.exp(drawn.log_size) / np.pi)[:, None]
    return np.minimum(np.log(np.pi) + 2 * np.log(np.maximum(radius - healed, 0.01)) + walk, LARGEST)


def _leaves(scenario: Scenario, drawn: _Drawn, size: np.ndarray) -> np.ndarray:
    """The first day of each departure, by the person's largest wound; whoever has none in care stays."""
    largest = np.maximum.reduceat(size, drawn.first, axis=0)
    in_care = np.isfinite(largest)
    beyond = np.where(in_care, largest - TYPICAL, 0)
    chances = (scenario.dying, scenario.hospital, scenario.leaving)
    slopes = (SIZE_AND_FATE, SIZE_AND_FATE, -scenario.leaving_slope)
    weeks = [
        _first(in_care & (fate < logit(chance) + slope * beyond))
        for fate, chance, slope in zip(drawn.fate, chances, slopes, strict=True)
    ]
    return _as_day(drawn.weekday[drawn.first] + drawn.fate_lag, np.array(weeks))


# --- who starts ---


def _pull(scenario: Scenario, drawn: _Drawn, untouched: _World) -> np.ndarray:
    """How far a round's log odds of a start lie above chance's reluctance; minus infinity where none is thought of.

    Asked of the chart up to that round alone, and of the hidden frailty.
    """
    odds = LEANINGS[scenario.starts](drawn, untouched.log_size + drawn.slip)
    asked = drawn.measured & untouched.is_open & (drawn.age >= FIRST_WEEKS)
    ways = np.linspace(-0.4, 0.4, scenario.facilities) if scenario.facilities > 1 else np.zeros(1)
    person = scenario.hidden * drawn.frailty + ways[drawn.facility[drawn.resident]]
    return np.where(asked, odds + person[:, None] - drawn.reluctance, -np.inf)


def _by_chart(drawn: _Drawn, charted: np.ndarray) -> np.ndarray:
    """Large wounds, slow ones and young ones rather."""
    entry = charted[drawn.age == 0][:, None]
    slope = np.divide(charted - entry, drawn.age, out=np.zeros_like(charted), where=drawn.age > 0)
    return 0.35 * (charted - TYPICAL) + 2.5 * np.clip(slope, -0.4, 0.2) - 0.04 * drawn.age


def _alike(drawn: _Drawn, charted: np.ndarray) -> np.ndarray:
    return np.zeros_like(charted)


def _after_stall(drawn: _Drawn, charted: np.ndarray) -> np.ndarray:
    """Each alike where measured sizes say that the wound stalls, none elsewhere.

    Every wound is measured at entry, so that only the first four weeks have no earlier round to look back to.
    """
    latest = np.maximum.accumulate(np.where(drawn.measured, np.arange(WEEKS), -1), axis=1)[:, :-STALL_WEEKS]
    before = np.take_along_axis(charted, np.maximum(latest, 0), axis=1)
    stalls = (latest >= 0) & (charted[:, STALL_WEEKS:] - before > np.log(1 - STALL_PART))
    return np.pad(np.where(stalls, 0.0, -np.inf), ((0, 0), (STALL_WEEKS, 0)), constant_values=-np.inf)


LEANINGS = {"charted": _by_chart, "random": _alike, "stall": _after_stall}


def _starts(scenario: Scenario, drawn: _Drawn, pull: np.ndarray, level: float) -> np.ndarray:
    """The day of each wound's first session, infinite for none: what closes before it is not treated."""
    week = _first(pull > -level)
    here = np.minimum(week, WEEKS - 2)
    rows, part = np.arange(len(week)), drawn.lag / WEEK
    walk = (1 - part) * drawn.walk[rows, here] + part * drawn.walk[rows, here + 1]
    age = drawn.age[rows, here] + part
    open_then = _log_size(scenario, drawn, age[:, None], walk[:, None])[:, 0] >= CLOSED_BELOW
    day = _as_day(drawn.weekday + drawn.lag, week)
    return np.where(open_then & (day <= CUTOFF), day, np.inf)


def level_of(scenario: Scenario) -> float:
    """The log odds of a start at which as many wounds start within WINDOW as the scenario wishes, on average.

    What a modality does cannot change who starts but through a person's other wounds; it is left out, so that scenarios
    that differ in their effects alone treat the same wounds.
    """
    return _level(replace(scenario, effects={"none": 1.0}))


@cache
def _level(scenario: Scenario) -> float:
    return float(np.mean([_pilot(scenario, np.random.default_rng([PILOT_SEED, number])) for number in range(PILOTS)]))


def _pilot(scenario: Scenario, generator: np.random.Generator) -> float:
    """The level by bisection in one large facility."""
    pilot = replace(scenario, residents=PILOT)
    drawn = _draw(pilot, generator)
    untouched = _world(pilot, drawn, _never(drawn))
    pull, gone = _pull(pilot, drawn, untouched), untouched.leaves.min(axis=0)[drawn.resident]
    wished, low, high = scenario.starters * PILOT / scenario.residents, *LEVELS
    for _ in range(16):
        level = (low + high) / 2
        start = _starts(pilot, drawn, pull, level)
        enough = in_window(start[start < gone]).sum() >= wished
        low, high = (low, level) if enough else (level, high)
    if high == LEVELS[1]:
        raise ValueError(f"so few residents never have {scenario.starters:g} starters: wish for fewer")
    return high


def in_window(start: np.ndarray | pd.Series) -> np.ndarray | pd.Series:
    """Which starts are counted."""
    return (start >= WINDOW[0]) & (start <= WINDOW[1])


# --- what stands in the charts ---


@dataclass(frozen=True, eq=False)
class _Charts:
    """What the export can hold of a world: nothing after the cut-off, nothing of those who are gone."""

    gone: np.ndarray  # a value a resident: the day of departure, infinite for none by the cut-off
    reason: np.ndarray  # a value a resident
    shown: np.ndarray  # whether the wound was ever measured
    rounds: np.ndarray  # wounds by weeks: whether there is a measurement
    rounds_open: np.ndarray  # the same, but for the one that records the closing
    start: np.ndarray  # first session, infinite for none


def _charted(drawn: _Drawn, treated: _World, start: np.ndarray) -> _Charts:
    gone = treated.leaves.min(axis=0)
    gone = np.where(gone <= CUTOFF, gone, np.inf)
    last = np.minimum(gone, CUTOFF)[drawn.resident]
    until = np.minimum(last, treated.closing)[:, None]
    shown = _entry_day(drawn) <= last
    rounds = drawn.measured & (_days(drawn) <= until)
    return _Charts(
        gone=gone,
        reason=np.array(REASONS)[treated.leaves.argmin(axis=0)],
        shown=shown,
        rounds=rounds,
        rounds_open=rounds & treated.is_open,
        start=np.where(start < gone[drawn.resident], start, np.inf),
    )


def _residents(scenario: Scenario, drawn: _Drawn) -> pd.DataFrame:
    last_day = _whole(np.full(scenario.residents, np.inf))
    return pd.DataFrame({
        "resident": _names("R", scenario.residents), "facility": _names("F", scenario.facilities)[drawn.facility],
        "last_day": last_day,
    })  # fmt: skip


def _wounds(drawn: _Drawn, charts: _Charts) -> pd.DataFrame:
    residents = _names("R", len(charts.gone))[drawn.resident[charts.shown]]
    names = _names("W", len(charts.shown))[charts.shown]
    return pd.DataFrame({"wound": names, "resident": residents, "kind": "pressure_injury", "site": "sacrum"})


def _measurements(drawn: _Drawn, treated: _World, charts: _Charts) -> pd.DataFrame:
    wound, week = np.nonzero(charts.rounds)
    day = drawn.weekday[wound] + WEEK * week
    closed = day == treated.closing[wound]
    size = np.exp(treated.log_size[wound, week] + drawn.slip[wound, week])
    return pd.DataFrame({
        "wound": _names("W", len(charts.shown))[wound], "day": day,
        "state": np.where(closed, "closed", "open").astype(object), "size": np.where(closed, 0.0, size),
        "stage": np.where(closed, None, "3"),
    })  # fmt: skip


def _sessions(scenario: Scenario, drawn: _Drawn, treated: _World, charts: _Charts) -> pd.DataFrame:
    """The first session and two more a week apart, as far as there is a wound to treat."""
    wound = np.repeat(np.flatnonzero(np.isfinite(charts.start)), 3)
    day = charts.start[wound] + WEEK * (np.arange(len(wound)) % 3)
    given = (day <= CUTOFF) & (day < np.minimum(treated.closing, charts.gone[drawn.resident])[wound])
    wound, day = wound[given], day[given]
    modality, setup = np.array([REGIMENS[name] for name, _ in scenario.effects], dtype=object)[drawn.regimen[wound]].T
    return pd.DataFrame({
        "wound": _names("W", len(charts.shown))[wound], "day": day.astype("int64"), "modality": modality,
        "setup": setup, "polarity": None, "status": "given", "minutes": 45.0,
    })  # fmt: skip


def _departures(drawn: _Drawn, charts: _Charts) -> pd.DataFrame:
    gone = np.flatnonzero(np.isfinite(charts.gone))
    return pd.DataFrame({
        "resident": _names("R", len(charts.gone))[gone], "wound": None, "day": charts.gone[gone].astype("int64"),
        "reason": charts.reason[gone].astype(object), "returned": _whole(np.full(len(gone), np.inf)),
    })  # fmt: skip


def _episodes(scenario: Scenario, drawn: _Drawn, treated: _World, charts: _Charts) -> pd.DataFrame:
    """What `kit.wounds.episodes` makes of these tables, at a hundredth of its cost; a test holds the two together."""
    shown = charts.shown
    resident, rounds, closing = drawn.resident[shown], charts.rounds[shown], treated.closing[shown]
    gone, reason, start = charts.gone[resident], charts.reason[resident], charts.start[shown]
    days = _days(drawn)[shown]
    end = np.minimum(np.minimum(closing, gone), CUTOFF)
    closed = closing <= end
    # A stay in hospital that is not over may still be short: the wound is followed to its beginning and stays open.
    told = np.where(
        gone <= CUTOFF, np.where((reason == "hospital") & (CUTOFF - gone <= BED_HOLD_DAYS), OPEN, reason), OPEN
    )
    last_open = np.where(rounds & (days < closing[:, None]), days, -1).max(axis=1)
    vanished = ~closed & (end - last_open > VANISHED_DAYS)
    outcome = np.where(closed, "closed", np.where(vanished, OPEN, told))
    names = np.array([name for name, _ in scenario.effects], dtype=object)
    frame = pd.DataFrame({
        "wound": _names("W", len(shown))[shown],
        "resident": _names("R", len(charts.gone))[resident],
        "facility": _names("F", scenario.facilities)[drawn.facility[resident]],
        "kind": "pressure_injury", "site": "sacrum",
        "entry_day": _whole(_entry_day(drawn)[shown]),
        "entry_size": np.exp(drawn.log_size + drawn.slip[drawn.age == 0])[shown], "entry_stage": "3",
        "last_open_day": _whole(last_open), "end_day": _whole(np.where(vanished, last_open, end)),
        "outcome": pd.Categorical(outcome, categories=[*OUTCOMES, OPEN]),
        "confirmed": closed & (CUTOFF - end >= CONFIRM_DAYS) & ~(gone - end <= CONFIRM_DAYS),
        "reopened": False, "vanished": vanished,
        "regimen": np.where(np.isfinite(start), names[drawn.regimen[shown]], UNTREATED),
        "start_day": _whole(start), "running": False, "in_cohort": True, "left_out": "",
    })  # fmt: skip
    return frame[COLUMNS]


def _truth(scenario: Scenario, drawn: _Drawn, untouched: _World, treated: _World, charts: _Charts) -> pd.DataFrame:
    started = np.isfinite(charts.start)
    names = np.array([name for name, _ in scenario.effects], dtype=object)
    own = drawn.resident[started]
    reductions = [_reduction(drawn, world, charts, started) for world in (treated, untouched)]
    return pd.DataFrame({
        "wound": _names("W", len(started))[started], "start_day": charts.start[started].astype("int64"),
        "regimen": names[drawn.regimen[started]],
        "closes_with": treated.closing[started], "closes_without": untouched.closing[started],
        "gone_day": treated.leaves[:2].min(axis=0)[own], "gone_without": untouched.leaves[:2].min(axis=0)[own],
        "left_day": treated.leaves[2][own],
        "early_with": reductions[0] >= EARLY_PERCENT, "early_without": reductions[1] >= EARLY_PERCENT,
        "reduction_with": reductions[0], "reduction_without": reductions[1],
        "log_slope_change": _slope_change(drawn, charts, treated.log_size - untouched.log_size)[started],
        "root_slope_change": _slope_change(
            drawn, charts, np.exp(treated.log_size / 2) - np.exp(untouched.log_size / 2)
        )[started],
    })  # fmt: skip


def _reduction(drawn: _Drawn, world: _World, charts: _Charts, started: np.ndarray) -> np.ndarray:
    """By how many percent a start was charted smaller at the round four weeks after the one that decided it.

    As if every round were measured; 100 where it had closed, minus infinity where its person had died or was in
    hospital before that.
    """
    rows = np.flatnonzero(started)
    week = ((charts.start - drawn.weekday - drawn.lag)[rows] / WEEK).astype("int64")
    then = np.minimum(week + EARLY_WEEKS, WEEKS - 1)
    charted = world.log_size + drawn.slip
    smaller = 100 * (1 - np.exp(charted[rows, then] - charted[rows, week]))
    closed = world.closing[rows] <= drawn.weekday[rows] + WEEK * then
    gone = world.leaves[:2].min(axis=0)[drawn.resident[rows]] <= drawn.weekday[rows] + WEEK * (then + 1) - 1
    return np.where(closed, 100.0, np.where(gone, -np.inf, smaller))


def _slope_change(drawn: _Drawn, charts: _Charts, apart: np.ndarray) -> np.ndarray:
    """The slope by which two worlds part (`apart`: wounds by weeks) at a wound's open rounds after its start."""
    since = (_days(drawn) - charts.start[:, None]) / WEEK
    read = charts.rounds_open & (since > 0) & (since <= SLOPE_WEEKS)
    weight = np.where(read, since, 0.0)
    size = (weight**2).sum(axis=1)
    return np.divide((weight * apart).sum(axis=1), size, out=np.full(len(size), np.nan), where=size > 0)


# --- days and names ---


def _first(holds: np.ndarray) -> np.ndarray:
    """The first week in which it holds; WEEKS where it never does."""
    return np.where(holds.any(axis=1), holds.argmax(axis=1), WEEKS)


def _as_day(weekday: np.ndarray, week: np.ndarray) -> np.ndarray:
    return np.where(week < WEEKS, weekday + WEEK * week, np.inf)


def _days(drawn: _Drawn) -> np.ndarray:
    return drawn.weekday[:, None] + WEEK * np.arange(WEEKS)


def _entry_day(drawn: _Drawn) -> np.ndarray:
    return drawn.weekday - WEEK * drawn.age[:, 0]


def _never(drawn: _Drawn) -> np.ndarray:
    return np.full(len(drawn.resident), np.inf)


def _whole(days: np.ndarray) -> pd.arrays.IntegerArray:
    """Whole days, missing where infinite."""
    known = np.isfinite(days)
    return pd.arrays.IntegerArray(np.where(known, days, 0).astype("int64"), ~known)


@cache
def _names(letter: str, count: int) -> np.ndarray:
    """Pseudonyms in the order of their numbers."""
    return np.array([f"{letter}{number:05d}" for number in range(1, count + 1)], dtype=object)
