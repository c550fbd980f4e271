"""Since when was an element not delivered: how often is chance called a stretch, and is a true one found with its days?

    .venv/bin/python benchmarks/delivery.py [--replicates N]

Courses of one element in one facility are invented again and again, a session a day on five days a week, and given to
`kit.delivery.stretches.stretches`. First table: every session is off with the same probability, so that whatever is
called a stretch (lasting or over) is a false alarm. Second table: of 200 sessions 20 in a row are off with 90%, the
others with 2, 5 or 10%; found: called a stretch that holds at least half of the planted one; by how many days its
first and last day are then off, mean and the worst in twenty.

The last line is passed when no more than 5 in 100 courses of chance are called a stretch and 95 in 100 of the planted
ones are found.
"""

from __future__ import annotations

import argparse
from collections import Counter

import numpy as np
import pandas as pd

from kit.delivery.stretches import LASTING, OVER, stretches

SEED = 20261127
WORKDAYS, WEEK = 5, 7
LENGTHS, CHANCES, BESIDE = (50, 500), (0.02, 0.10, 0.30), (0.02, 0.05, 0.10)
PLANTED = {"in the middle": (90, 110), "at the end": (180, 200)}
SESSIONS, INSIDE = 200, 0.9
MOST_FALSE, LEAST_FOUND = 0.05, 0.95


def days(sessions: int) -> np.ndarray:
    """The day of each session: one a day, five days a week."""
    turn = np.arange(sessions)
    return WEEK * (turn // WORKDAYS) + turn % WORKDAYS


def told(off: np.ndarray) -> pd.Series | None:
    """What the kit says of a course: its one row, or None where nothing was off."""
    judged = pd.DataFrame(
        {
            "facility": "Invented", "element": "minutes", "recorded": True, "day": days(len(off)),
            "state": np.where(off, "below", "within"),
        }
    )  # fmt: skip
    rows = stretches(judged)
    return None if rows.empty else rows.iloc[0]


def by_chance(rng: np.random.Generator, sessions: int, chance: float, replicates: int) -> Counter:
    """How often each course is told of where nothing but chance is at work."""
    rows = (told(rng.random(sessions) < chance) for _ in range(replicates))
    return Counter("nothing off" if row is None else row["course"] for row in rows)


def planted(rng: np.random.Generator, place: tuple[int, int], chance: float, replicates: int) -> pd.DataFrame:
    """Of each replicate: whether the planted stretch was found, and by how many days its ends are off."""
    first, last = days(SESSIONS)[place[0]], days(SESSIONS)[place[1] - 1]
    inside = (np.arange(SESSIONS) >= place[0]) & (np.arange(SESSIONS) < place[1])
    rows = []
    for _ in range(replicates):
        row = told(rng.random(SESSIONS) < np.where(inside, INSIDE, chance))
        held = min(row["to_day"], last) - max(row["from_day"], first) + 1
        found = row["course"] in (LASTING, OVER) and held >= (last - first + 1) / 2
        rows.append((found, row["course"], row["from_day"] - first, row["to_day"] - last))
    return pd.DataFrame(rows, columns=["found", "course", "begins", "ends"])


def of_chance(rng: np.random.Generator, replicates: int) -> float:
    """Prints the first table; returns the largest share of false alarms."""
    names = (LASTING, OVER, "throughout", "now and then", "nothing off")
    print("| sessions | off by chance | " + " | ".join(names) + " |\n| --- | --- |" + " --- |" * len(names))
    worst = 0.0
    for sessions in LENGTHS:
        for chance in CHANCES:
            counts = by_chance(rng, sessions, chance, replicates)
            shares = " | ".join(f"{counts[name] / replicates:.1%}" for name in names)
            print(f"| {sessions} | {chance:.0%} | {shares} |")
            worst = max(worst, (counts[LASTING] + counts[OVER]) / replicates)
    return worst


def of_planted(rng: np.random.Generator, replicates: int) -> float:
    """Prints the second table; returns the smallest share found of those that are passed."""
    print("\n| planted | off elsewhere | found | lasting | begins off by (days) | ends off by | worst in twenty |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    least = 1.0
    for name, place in PLANTED.items():
        for chance in BESIDE:
            rows = planted(rng, place, chance, replicates)
            own = rows[rows["found"]]
            off = own[["begins", "ends"]].abs()
            mean, worst = off.mean(), off.max(axis=1).quantile(0.95)
            lasting = (own["course"] == LASTING).mean()
            print(
                f"| {name} | {chance:.0%} | {rows['found'].mean():.1%} | {lasting:.1%} | {mean['begins']:.1f} | "
                f"{mean['ends']:.1f} | {worst:.0f} |"
            )
            least = min(least, rows["found"].mean())
    return least


def main() -> None:
    """Both tables, and the line that says whether they pass."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--replicates", type=int, default=500)
    replicates, rng = asked.parse_args().replicates, np.random.default_rng(SEED)
    false, found = of_chance(rng, replicates), of_planted(rng, replicates)
    passed = "passed" if false <= MOST_FALSE and found >= LEAST_FOUND else "NOT passed"
    print(f"\ndelivery: {passed}: false alarms at most {false:.1%}, planted stretches found at least {found:.1%}")


if __name__ == "__main__":
    main()
