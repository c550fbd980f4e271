"""The people: who lives in the building, for how long, who pays, and when care turns to comfort.

Coming and going is decided before any wound and does not look at healing, so it is the same with and without a
start; it follows frailty, which the chart holds.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.world import CUTOFF, DAYS, FACILITIES, stream

MONTH = 365.25 / 12
AT_THE_START = 74  # people whose wound was open when the export begins
FIVE_WOUNDS = 0  # the first person of the first building carries five wounds
SHORT_TRIP, LONG_TRIP = 0.77, 0.08  # shares of hospital trips that end within, and after, thirty days


def residents(seed: int) -> pd.DataFrame:
    """One row a person: the columns of the vocabulary, and what the simulator keeps to itself.

    Kept to itself: arrival, place, frailty, short_stay, gone (day of dying or leaving, NaN for neither), gone_by.
    """
    rng = stream(seed, "residents")
    place = np.repeat(np.arange(len(FACILITIES)), [facility.residents for facility in FACILITIES])
    n = len(place)
    people = pd.DataFrame(
        {
            "resident": pseudonyms(rng, "R", n),
            "facility": np.array([facility.name for facility in FACILITIES])[place],
            "age": np.minimum(np.clip(rng.normal(83, 9, n).round(), 52, 104), 90).astype(int),
            "sex": rng.choice(["female", "male"], n, p=[0.66, 0.34]),
            "diabetes": _yes(rng, n, 0.34),
            "perfusion": np.where(rng.random(n) < 0.22, "reduced", "adequate"),
            "mobility": rng.choice(["walks", "chair", "bed"], n, p=[0.22, 0.48, 0.30]),
            "weight_loss": _yes(rng, n, 0.18),
            "place": place,
            "arrival": _arrivals(rng, n),
            "short_stay": rng.random(n) < 0.28,
        }
    )
    people["risk_total"] = _risk_totals(rng, people)
    people["continence"] = rng.choice(["continent", "urine", "stool", "both"], n, p=[0.24, 0.28, 0.08, 0.40])
    people["frailty"] = _frailty(people)
    return _with_ends(seed, people)


def pseudonyms(rng: np.random.Generator, letter: str, n: int) -> np.ndarray:
    """Numbers in no order: a pseudonym that tells who came first would tell too much."""
    return np.array([f"{letter}{number:04d}" for number in rng.choice(np.arange(101, 1000), n, replace=False)])


def _yes(rng: np.random.Generator, n: int, share: float) -> np.ndarray:
    return np.where(rng.random(n) < share, "yes", "no")


def _arrivals(rng: np.random.Generator, n: int) -> np.ndarray:
    arrival = rng.integers(0, DAYS - 14, n)
    early = rng.choice(np.arange(1, n), AT_THE_START, replace=False)
    arrival[early] = rng.integers(0, 14, AT_THE_START)
    arrival[FIVE_WOUNDS] = 80
    return arrival


def _risk_totals(rng: np.random.Generator, people: pd.DataFrame) -> np.ndarray:
    middle = people["mobility"].map({"walks": 18.0, "chair": 15.0, "bed": 12.5})
    return np.clip((middle + rng.normal(0, 1.6, len(people))).round(), 6, 23).astype(int)


def _frailty(people: pd.DataFrame) -> pd.Series:
    score = 0.04 * (people["age"] - 80) - 0.12 * (people["risk_total"] - 15) + 0.4 * (people["weight_loss"] == "yes")
    return score - score.mean()


def _with_ends(seed: int, people: pd.DataFrame) -> pd.DataFrame:
    """The earlier of dying (2 to 2.5% a month) and going home (mostly the short stays) ends the stay."""
    rng, n = stream(seed, "ends"), len(people)
    died = people["arrival"] + 5 + rng.exponential(MONTH / 0.020, n) / np.exp(people["frailty"])
    homeward = np.where(people["short_stay"], 0.11, 0.005)
    left = people["arrival"] + 14 + rng.exponential(1, n) * MONTH / homeward
    gone = np.minimum(died, left).to_numpy().round()
    gone[FIVE_WOUNDS] = np.nan
    return people.assign(
        gone=np.where(gone <= CUTOFF, gone, np.nan),
        gone_by=np.where(died <= left, "died", "left"),
        dies=died.round(),
    )


def trips(seed: int, people: pd.DataFrame) -> pd.DataFrame:
    """Trips to hospital (3.5% a month): person (row number), day, returned (NaN: not back by the cut-off)."""
    rng, rows = stream(seed, "trips"), []
    for person, (arrival, gone) in enumerate(zip(people["arrival"], people["gone"].fillna(DAYS), strict=True)):
        day = arrival + 7 + rng.exponential(MONTH / 0.035)
        while day < min(gone, DAYS) and person != FIVE_WOUNDS:
            back = _back(rng, int(day))
            known = back <= CUTOFF and back < gone
            rows.append((person, int(day), back if known else np.nan))
            if not known:
                break
            day = back + 7 + rng.exponential(MONTH / 0.035)
    return pd.DataFrame(rows, columns=["person", "day", "returned"])


def _back(rng: np.random.Generator, day: int) -> float:
    fate = rng.random()
    if fate < SHORT_TRIP:
        return day + rng.integers(3, 22)
    if fate < SHORT_TRIP + LONG_TRIP:
        return day + rng.integers(32, 60)
    return np.inf


def presence(people: pd.DataFrame, away: pd.DataFrame) -> np.ndarray:
    """Whether each person is in the building on each day; not on the day of leaving, again on that of return."""
    days = np.arange(DAYS)
    inside = days[None, :] < people["gone"].fillna(DAYS).to_numpy()[:, None]
    for trip in away.itertuples(index=False):
        inside[trip.person, trip.day : DAYS if np.isnan(trip.returned) else int(trip.returned)] = False
    return inside


def comfort_from(seed: int, people: pd.DataFrame) -> np.ndarray:
    """Day from which only comfort is sought (NaN: never): some weeks before about a third of the deaths."""
    rng, n = stream(seed, "comfort"), len(people)
    day = np.maximum(people["dies"] - rng.exponential(45, n).round() - 5, people["arrival"] + 1)
    chosen = (rng.random(n) < 0.35) & (day <= np.minimum(people["gone"].fillna(CUTOFF), CUTOFF))
    chosen[FIVE_WOUNDS] = False
    return np.where(chosen, day, np.nan)


def payers(seed: int, people: pd.DataFrame) -> pd.DataFrame:
    """Who pays: first, switch (day from which the second pays, NaN for never), second."""
    rng, n = stream(seed, "payers"), len(people)
    short = people["short_stay"].to_numpy()
    first = np.where(
        short,
        rng.choice(["medicare_a", "managed_care"], n, p=[0.7, 0.3]),
        rng.choice(["medicaid", "medicare_b", "private", "other"], n, p=[0.55, 0.25, 0.15, 0.05]),
    )
    switch = np.where(short, people["arrival"] + rng.integers(20, 101, n), np.nan)
    second = rng.choice(["medicaid", "private", "medicare_b"], n, p=[0.5, 0.2, 0.3])
    known = switch < people["gone"].fillna(CUTOFF)
    return pd.DataFrame({"first": first, "switch": np.where(known, switch, np.nan), "second": second})


def barred(seed: int, people: pd.DataFrame) -> np.ndarray:
    """Who must not be treated at all (an implanted device, say): a contraindication on the chart from day one."""
    chosen = stream(seed, "barred").random(len(people)) < 0.07
    chosen[FIVE_WOUNDS] = False
    return chosen
