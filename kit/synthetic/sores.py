"""The wounds: what kind, where, how deep, how large, and how fast each would close if left to standard care."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.people import FIVE_WOUNDS, pseudonyms
from kit.synthetic.world import CUTOFF, FACILITIES, stream, weekday

KINDS = {
    "pressure_injury": 0.65, "venous": 0.11, "arterial": 0.06, "diabetic_foot": 0.07, "surgical": 0.06, "other": 0.05,
}  # fmt: skip
SITES = {
    "pressure_injury": {
        "sacrum": 0.28, "coccyx": 0.15, "heel": 0.22, "buttock": 0.10, "ischium": 0.08, "trochanter": 0.07,
        "hip": 0.03, "ankle": 0.03, "back": 0.02, "elbow": 0.02,
    },
    "venous": {"leg": 0.85, "ankle": 0.15},
    "arterial": {"toe": 0.40, "foot": 0.35, "leg": 0.25},
    "diabetic_foot": {"foot": 0.55, "toe": 0.35, "heel": 0.10},
    "surgical": {"abdomen": 0.35, "hip": 0.35, "leg": 0.20, "back": 0.10},
    "other": {"leg": 0.45, "elbow": 0.20, "shoulder": 0.15, "other": 0.20},
}  # fmt: skip
MIDDLE = ("sacrum", "coccyx", "abdomen", "back", "head", "other")
STAGES = {"1": 0.02, "2": 0.43, "3": 0.25, "4": 0.13, "unstageable": 0.11, "deep_tissue": 0.06}
FULL_THICKNESS = ("3", "4", "unstageable")
MEDIAN_AREA = {"1": 4.0, "2": 2.6, "3": 5.0, "4": 9.0, "unstageable": 7.0, "deep_tissue": 6.0, "": 4.0}
NUMBER_OF_WOUNDS = {1: 198, 2: 76, 3: 20, 4: 5, 5: 1}


def wounds(seed: int, people: pd.DataFrame, inside: np.ndarray) -> pd.DataFrame:
    """One row a wound: the columns of the vocabulary, and what the simulator keeps to itself.

    Kept to itself: person (row number), place, entry (day first measured), first_stage, radius (cm, of a circle
    whose square is length times width), aspect (length over width), speed (cm a week by which the radius falls).
    """
    rng = stream(seed, "wounds")
    sores = pd.DataFrame({"person": np.repeat(np.arange(len(people)), _how_many(rng, len(people)))})
    sores["place"] = people["place"].to_numpy()[sores["person"]]
    sores["entry"] = _entries(rng, sores, people, inside)
    sores = sores[sores["entry"] <= CUTOFF - 7].sort_values(["person", "entry"], ignore_index=True)
    sores = _where_and_what(rng, sores)
    sores["first_stage"] = np.where(sores["kind"] == "pressure_injury", _draw(rng, STAGES, len(sores)), "")
    sores = _size_and_speed(rng, sores, people)
    sores["onset"] = sores["entry"] - _age_at_entry(rng, sores)
    arrives_with = sores["entry"] - people["arrival"].to_numpy()[sores["person"]] < 10
    sores["present_on_admission"] = np.where(arrives_with & (rng.random(len(sores)) < 0.55), "yes", "no")
    sores["resident"] = people["resident"].to_numpy()[sores["person"]]
    sores["wound"] = pseudonyms(rng, "W", len(sores))
    return sores


def _how_many(rng: np.random.Generator, people: int) -> np.ndarray:
    counts = np.repeat(list(NUMBER_OF_WOUNDS), list(NUMBER_OF_WOUNDS.values()))[:people]
    shuffled = rng.permutation(counts[counts < 5])
    return np.insert(shuffled, FIVE_WOUNDS, 5)


def _entries(rng: np.random.Generator, sores: pd.DataFrame, people: pd.DataFrame, inside: np.ndarray) -> np.ndarray:
    """First measured on the first round after it was found; where rounds slip, one in eight on the day itself.

    A person's second wound is there from the beginning half of the time, and otherwise comes within half a year.
    """
    person = sores["person"].to_numpy()
    found = people["arrival"].to_numpy()[person] + np.where(
        ~sores.duplicated("person") | (rng.random(len(sores)) < 0.5), 0, rng.integers(1, 180, len(sores))
    )
    found = np.where(person == FIVE_WOUNDS, people["arrival"].to_numpy()[person], found)
    steady = np.array([facility.steady_rounds for facility in FACILITIES])[sores["place"]]
    at_once = (rng.random(len(sores)) < 0.12) & ~steady
    return np.array([_entry(*row, inside) for row in zip(person, sores["place"], found, at_once, strict=True)])


def _entry(person: int, place: int, found: int, at_once: bool, inside: np.ndarray) -> int:
    for day in range(found, CUTOFF + 1):
        on_round = weekday(day) == FACILITIES[place].round_weekday
        if inside[person, day] and (on_round or (at_once and weekday(day) < 5)):
            return day
    return CUTOFF + 1


def _draw(rng: np.random.Generator, shares: dict[str, float], n: int | None = None) -> np.ndarray | str:
    return rng.choice(list(shares), n, p=np.array(list(shares.values())) / sum(shares.values()))


def _where_and_what(rng: np.random.Generator, sores: pd.DataFrame) -> pd.DataFrame:
    """Kind, site and side; no person has two wounds in one place, so that a place names a wound."""
    taken, rows = set(), []
    for person in sores["person"]:
        while True:
            kind = str(_draw(rng, KINDS))
            site = str(_draw(rng, SITES[kind]))
            side = "middle" if site in MIDDLE else str(rng.choice(["left", "right"]))
            if (person, site, side) not in taken and not _same_spot(person, site, taken):
                break
        taken.add((person, site, side))
        rows.append((kind, site, side))
    return sores.assign(**dict(zip(("kind", "site", "side"), zip(*rows, strict=True), strict=True)))


def _same_spot(person: int, site: str, taken: set) -> bool:
    # A coccyx and a sacrum are a thumb's breadth apart: that mix-up is a story of its own.
    other = {"coccyx": "sacrum", "sacrum": "coccyx"}.get(site)
    return (person, other, "middle") in taken


def _size_and_speed(rng: np.random.Generator, sores: pd.DataFrame, people: pd.DataFrame) -> pd.DataFrame:
    """Log-normal areas, larger when deeper. Speed follows what is charted, and a share that nobody sees.

    Deep, poorly perfused and bed-bound wounds are slower; larger ones move their edge faster and still take
    longer. One in eight stalls.
    """
    n, who = len(sores), people.iloc[sores["person"]].reset_index(drop=True)
    area = sores["first_stage"].map(MEDIAN_AREA) * np.exp(rng.normal(0, 0.85, n))
    area = np.where(sores["person"] == FIVE_WOUNDS, rng.uniform(7, 16, n), np.clip(area, 0.4, 70))
    radius = np.sqrt(area) / 2
    slowed = (
        0.35 * sores["first_stage"].isin(FULL_THICKNESS)
        + 0.40 * (who["perfusion"] == "reduced")
        + 0.15 * (who["diabetes"] == "yes")
        + 0.20 * (who["mobility"] == "bed")
    )
    speed = 0.098 * radius**0.45 * np.exp(-slowed + rng.normal(0, 0.45, n))
    speed = speed * np.where(rng.random(n) < 0.125, 0.2, 1.0)
    speed = np.where(sores["person"] == FIVE_WOUNDS, 0.3 * speed, speed)
    return sores.assign(radius=radius, aspect=rng.uniform(1.1, 2.0, n), speed=speed)


def _age_at_entry(rng: np.random.Generator, sores: pd.DataFrame) -> np.ndarray:
    fresh = rng.integers(0, 8, len(sores))
    old = 10 + rng.exponential(45, len(sores)).round().astype(int)
    return np.where(sores["entry"] < 21, old, np.where(rng.random(len(sores)) < 0.25, old, fresh))


def surgeries(seed: int, sores: pd.DataFrame, inside: np.ndarray) -> np.ndarray:
    """Day on which a surgeon closes the wound (infinity: never): a few large and deep ones, from the sixth week."""
    rng = stream(seed, "surgeries")
    day = sores["entry"].to_numpy() + rng.integers(40, 120, len(sores))
    known = np.minimum(day, CUTOFF)
    large = ((sores["first_stage"] == "4") & (sores["radius"] > 1.5)).to_numpy()
    able = large & (day <= CUTOFF) & inside[sores["person"], known] & (rng.random(len(sores)) < 0.3)
    return np.where(able & (sores["person"] != FIVE_WOUNDS), day, np.inf)
