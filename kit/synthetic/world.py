"""The invented group: its calendar, its four buildings, and what each regimen truly does.

Nothing here describes a real place or person. The sizes of the effects are planted, so that whatever the kit
reports about an invented export can be held against what was true in it.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import date

import numpy as np

from kit.plan import day_of

FIRST = day_of(date(2025, 1, 1))
CUTOFF = day_of(date(2026, 6, 30)) - FIRST
DAYS = CUTOFF + 1
# The true course runs on past the cut-off: a wound started in its last week still has its twelve weeks.
TRUE_DAYS = DAYS + 26 * 7
HORIZON = 12 * 7
EARLY = 4 * 7
SEED = 560

# How many times faster the wound's edge moves from the day of the first session. The effect does not depend on
# minutes, volts or polarity: a trend with dose found in these data was made by something else.
EFFECTS = {"monopolar": 1.6, "bipolar": 1.25, "ultrasound": 1.0}
REGIMENS = tuple(EFFECTS)


def at(year: int, month: int, day: int) -> int:
    """The day of the export on which a calendar date falls; 1 January 2025 is day 0."""
    return day_of(date(year, month, day)) - FIRST


def weekday(day: np.ndarray | int) -> np.ndarray | int:
    """Monday is 0; 1 January 2025 was a Wednesday."""
    return (day + 2) % 7


def stream(seed: int, name: str) -> np.random.Generator:
    """A stream of chance of its own for each part and each story, so that adding one changes no other."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


@dataclass(frozen=True)
class Facility:
    """One building: when its program began, how it measures, what it tends to give."""

    name: str
    residents: int
    launch: int
    round_weekday: int
    steady_rounds: bool  # never a day early or late
    start_level: float  # log odds a week that a stalled wound of middling size is started
    leaning: tuple[float, float, float]  # towards monopolar, bipolar, ultrasound
    per_week: int
    alternates: bool  # its protocol turns the polarity every three days, negative first
    therapists: tuple[str, ...]
    assessors: tuple[tuple[str, str], ...]


FACILITIES = (
    Facility(
        "Quellmoor", 92, at(2025, 4, 7), 2, True, -2.40, (0.40, 0.31, 0.29), 5, False,
        ("S01", "S02"), (("S11", "wound_nurse"), ("S12", "nurse"), ("S13", "practitioner")),
    ),
    Facility(
        "Tarnwick", 80, at(2025, 6, 2), 1, False, -2.20, (0.40, 0.31, 0.29), 5, True,
        ("S03", "S04"), (("S14", "wound_nurse"), ("S15", "wound_nurse"), ("S16", "practitioner")),
    ),
    Facility(
        "Ostervane", 76, at(2025, 8, 4), 3, False, -2.00, (0.40, 0.31, 0.29), 3, True,
        ("S05", "S06"), (("S17", "wound_nurse"), ("S18", "nurse")),
    ),
    Facility(
        "Brindlemere", 52, at(2026, 1, 12), 0, False, -2.70, (0.40, 0.31, 0.29), 4, False,
        ("S07",), (("S19", "wound_nurse"), ("S20", "nurse")),
    ),
)  # fmt: skip
PLACE = {facility.name: number for number, facility in enumerate(FACILITIES)}


@dataclass(frozen=True)
class Episode:
    """Something that went wrong in one building for a while."""

    facility: str
    begins: int
    ends: int

    def covers(self, day: np.ndarray) -> np.ndarray:
        return (day >= self.begins) & (day <= self.ends)


OUTBREAK = Episode("Ostervane", at(2026, 1, 5), at(2026, 2, 15))
BROKEN_DEVICE = Episode("Quellmoor", at(2025, 9, 8), at(2025, 9, 17))
UNRECORDED = Episode("Quellmoor", at(2025, 11, 17), at(2026, 1, 11))
HALF_CENTIMETRES = "Ostervane"
UNDERDOSED = "Ostervane"
COPIER = "S12"
FINE = "Tarnwick"
