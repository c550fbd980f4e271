"""The sessions: planned by the week, given, shortened or missed, until closing, a stop, or the end of the stay."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.world import CUTOFF, FACILITIES, FINE, PLACE, stream, weekday

WEEKDAYS = {5: (0, 1, 2, 3, 4), 4: (0, 1, 3, 4), 3: (0, 2, 4)}
BUILD_UP = (20, 30, 45)  # minutes of the first sessions of stimulation; 45 to 60 from then on
AWAY_LOGGED = 5  # days of a hospital stay on which the planned session is still logged as missed
MISSED = {"unwell": 0.015, "staff": 0.012, "supplies": 0.006, "equipment": 0.003}
REFUSED = 0.03
SHORTENED = 0.035
REACTIONS = {"none": 0.975, "skin_irritation": 0.014, "pain": 0.008, "bleeding": 0.002, "burn": 0.001}
HEAD = 5.0  # cm2 that the sound head radiates from; one zone is twice that and takes five minutes
TURN = 3  # days between turns of polarity, where the protocol turns it
STAFF_SETUP = {"monopolar": 22, "bipolar": 16, "ultrasound": 14}


def orders(seed: int, sores: pd.DataFrame) -> pd.DataFrame:
    """One row a wound: per_week ordered, last_ordered (day), hold_from and hold_to (NaN: no hold)."""
    rng, n = stream(seed, "orders"), len(sores)
    per_week = np.array([facility.per_week for facility in FACILITIES])[sores["place"]]
    last = sores["start"] + 7 * rng.integers(14, 30, n) - 1
    hold = sores["start"] + rng.integers(15, 50, n)
    held = rng.random(n) < 0.12
    return pd.DataFrame(
        {
            "per_week": per_week,
            "last_ordered": last,
            "hold_from": hold.where(held),
            "hold_to": (hold + rng.integers(4, 9, n)).where(held),
        }
    )


def sessions(
    seed: int, sores: pd.DataFrame, order: pd.DataFrame, last: np.ndarray, inside: np.ndarray, radius: np.ndarray
) -> pd.DataFrame:
    """The sessions table with the row number of the wound beside (`row`).

    `last` is the last day on which a session was possible; `radius` is the true one, wounds x days.
    """
    planned = _planned(sores, order, last, inside)
    chance = _luck(seed, planned, len(sores))
    told = _status(seed, planned, chance, sores)
    told = told.assign(number=_given_so_far(told))
    return pd.concat([told, _applied(seed, told, chance, sores, radius)], axis=1)


def _planned(sores: pd.DataFrame, order: pd.DataFrame, last: np.ndarray, inside: np.ndarray) -> pd.DataFrame:
    rows = []
    for row in np.flatnonzero(sores["start"].notna()):
        start, person = int(sores["start"][row]), sores["person"][row]
        days = np.arange(start, int(last[row]) + 1)
        kept = np.isin(weekday(days), WEEKDAYS[order["per_week"][row]]) | (days == start)
        away = ~inside[person, days]
        # Counts the days of each absence: it starts again wherever the person is in the building.
        long_away = np.convolve(away, np.ones(AWAY_LOGGED + 1), "full")[: len(days)] > AWAY_LOGGED
        rows += [(row, day, gone) for day, gone in zip(days[kept & ~long_away], away[kept & ~long_away], strict=True)]
    return pd.DataFrame(rows, columns=["row", "day", "away"])


def _luck(seed: int, planned: pd.DataFrame, n: int) -> np.ndarray:
    """Chance by wound and day, whether or not a session is planned: a shorter course leaves the rest as it was."""
    rng = stream(seed, "sessions")
    return np.stack([rng.random((n, CUTOFF + 1))[planned["row"], planned["day"]] for _ in range(8)])


def _status(seed: int, planned: pd.DataFrame, chance: np.ndarray, sores: pd.DataFrame) -> pd.DataFrame:
    """The first session is always given, for it is the start; refusing runs in persons."""
    people = sores["person"].max() + 1
    refuses = REFUSED * stream(seed, "refusing").gamma(0.8, 1 / 0.8, people)[sores["person"]][planned["row"]]
    edges = np.cumsum([*MISSED.values()])
    why = np.array([*MISSED, ""])[np.searchsorted(edges, chance[0])]
    why = np.where(chance[1] < refuses, "refused", why)
    why = np.where(planned["away"], "out_of_building", why)
    first = ~planned.duplicated("row").to_numpy()
    missed = (why != "") & ~first
    short = ~missed & ~first & (chance[2] < SHORTENED)
    return pd.DataFrame(
        {
            "row": planned["row"],
            "wound": sores["wound"].to_numpy()[planned["row"]],
            "day": planned["day"],
            "status": np.select([missed, short], ["missed", "shortened"], "given"),
            "reason": np.select([missed, short], [why, np.where(chance[3] < 0.6, "refused", "unwell")], ""),
        }
    )


def on_hold(told: pd.DataFrame, order: pd.DataFrame) -> pd.DataFrame:
    """Sessions planned while the wound was on hold were missed for that."""
    begins, ends = (order[column].to_numpy()[told["row"]] for column in ("hold_from", "hold_to"))
    held = (told["day"] >= begins) & (told["day"] <= ends) & (told["reason"] != "out_of_building")
    return missed(told, held, "on_hold")


def missed(sessions: pd.DataFrame, where: np.ndarray | pd.Series, reason: str) -> pd.DataFrame:
    """The same sessions, missed for `reason` where told so, with nothing of what would have been applied."""
    out = sessions.copy()
    out.loc[where, "status"], out.loc[where, "reason"] = "missed", reason
    for column in NUMBERS:
        out.loc[where, column] = np.nan
    for column in WORDS:
        out.loc[where, column] = ""
    return out


NUMBERS = (
    "minutes", "staff_minutes", "pulse_rate", "volts", "charge_rate", "frequency", "duty", "intensity",
    "radiating_area",
)  # fmt: skip
WORDS = ("polarity", "sensation", "reaction")


def _given_so_far(told: pd.DataFrame) -> pd.Series:
    return (told["status"] != "missed").groupby(told["row"]).cumsum()


def _applied(
    seed: int, told: pd.DataFrame, chance: np.ndarray, sores: pd.DataFrame, radius: np.ndarray
) -> pd.DataFrame:
    """What was set and how long it ran; empty where the session was missed."""
    row = told["row"].to_numpy()
    regimen = sores["regimen"].to_numpy()[row]
    took_place = (told["status"] != "missed").to_numpy()
    stimulated = took_place & (regimen != "ultrasound")
    sounded = took_place & (regimen == "ultrasound")
    place, person = sores["place"].to_numpy()[row], sores["person"].to_numpy()[row]
    volts = _volts(seed, person, chance)
    deep = np.isin(sores["first_stage"].to_numpy()[row], ("4", "deep_tissue"))
    minutes = _minutes(told, chance, regimen, radius[row, told["day"]])
    staff = np.array([STAFF_SETUP.get(name, 0) for name in regimen]) + np.round(8 * chance[4] - 4)
    return pd.DataFrame(
        {
            "modality": np.where(regimen == "ultrasound", "ultrasound", "stimulation"),
            "setup": np.where(regimen == "ultrasound", "", regimen),
            "polarity": np.where(stimulated & (regimen == "monopolar"), _polarity(told, sores, place), ""),
            "pulse_rate": np.where(stimulated, 125, np.nan),
            "minutes": np.where(took_place, minutes, np.nan),
            "staff_minutes": np.where(took_place, staff, np.nan),
            "sensation": np.where(stimulated, np.where(numb(seed, person), "none", "sensory"), ""),
            "volts": np.where(stimulated, volts, np.nan),
            "charge_rate": np.where(stimulated & (place == PLACE[FINE]), 2.6 * volts, np.nan),
            "frequency": np.where(sounded, np.where(deep, 1, 3), np.nan),
            "duty": np.where(sounded, 20, np.nan),
            "intensity": np.where(sounded, 0.5, np.nan),
            "radiating_area": np.where(sounded, HEAD, np.nan),
            "reaction": np.where(took_place, _reactions(chance[5]), ""),
            "therapist": _therapists(place, chance[6]),
        }
    )


def _minutes(told: pd.DataFrame, chance: np.ndarray, regimen: np.ndarray, radius: np.ndarray) -> np.ndarray:
    number = told["number"].to_numpy()
    full = np.append(BUILD_UP, 0)[np.clip(number - 1, 0, len(BUILD_UP))]
    full = np.where(full == 0, 45 + np.round(15 * chance[7]), full)
    zones = np.maximum(np.ceil((2 * radius) ** 2 / (2 * HEAD)), 1)
    full = np.where(regimen == "ultrasound", 5 * zones, full)
    return np.where(told["status"] == "shortened", np.maximum(np.round(full * (0.3 + 0.4 * chance[4])), 2), full)


def _polarity(told: pd.DataFrame, sores: pd.DataFrame, place: np.ndarray) -> np.ndarray:
    turns = ((told["day"] - sores["start"].to_numpy()[told["row"]]) // TURN) % 2 == 1
    alternates = np.array([facility.alternates for facility in FACILITIES])[place]
    return np.where(turns & alternates, "positive", "negative")


def _volts(seed: int, person: np.ndarray, chance: np.ndarray) -> np.ndarray:
    own = stream(seed, "volts").uniform(80, 140, person.max() + 1)[person]
    return 5 * np.round((own + 12 * (chance[3] - 0.5)) / 5)


def numb(seed: int, person: np.ndarray) -> np.ndarray:
    """Who feels nothing under the electrodes; a precaution on the chart."""
    return stream(seed, "numb").random(1000)[person] < 0.08


def _reactions(chance: np.ndarray) -> np.ndarray:
    return np.array([*REACTIONS])[np.searchsorted(np.cumsum([*REACTIONS.values()])[:-1], chance)]


def _therapists(place: np.ndarray, chance: np.ndarray) -> np.ndarray:
    names = np.array([(facility.therapists * 2)[:2] for facility in FACILITIES])
    return names[place, (chance > 0.5).astype(int)]
