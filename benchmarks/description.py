"""Two choices of the description, measured: how open wounds are followed, and how ranges are had.

    .venv/bin/python benchmarks/description.py [--replicates N]

First: wounds that enter in the sixteen weeks before the cut-off are measured weekly, some rounds fall out, and a
closing is recorded at the next round; nobody leaves. Following open wounds to the cut-off is set beside ending them
where they were last measured. Second: residents with one or two wounds that close or not by the horizon; how often the
95% range holds the true share, beside limits between which the draws lie.
"""

from __future__ import annotations

import argparse

import numpy as np
import pandas as pd

from kit.healing.curves import incidence
from kit.healing.resampling import resident_draws, share_limits

CAUSES, HORIZON, WINDOW, WOUNDS = ("closed",), 84, 112, 4000


def recorded(generator: np.random.Generator, missed: float, wounds: int, watched: np.ndarray) -> tuple[np.ndarray, ...]:
    """Days to the recorded closing and to the last open measurement before `watched`, for wounds measured weekly."""
    true = generator.weibull(1.4, wounds) * 85
    rounds = np.arange(0, 7 * 60, 7)
    seen = generator.random((wounds, len(rounds))) >= missed
    seen[:, 0] = True
    closed = np.where(seen & (rounds >= true[:, None]), rounds, np.inf).min(axis=1)
    open_then = seen & (rounds < true[:, None]) & (rounds <= watched[:, None])
    return closed, np.where(open_then, rounds, 0).max(axis=1)


def share_at_horizon(closed: np.ndarray, end: np.ndarray) -> float:
    days = np.minimum(closed, end).astype("int64")
    curve = incidence(days, np.where(closed <= end, "closed", "open"), CAUSES)
    return 100 * float(curve.at(HORIZON)[0, 0])


def follow_up(generator: np.random.Generator, missed: float, replicates: int) -> list[float]:
    """Recorded closings of 100 by the horizon: as they would be with nobody lost, and by the two rules."""
    told = []
    for _ in range(replicates):
        watched = generator.integers(1, WINDOW + 1, WOUNDS)
        closed, last_open = recorded(generator, missed, WOUNDS, watched)
        told.append((100 * (closed <= HORIZON).mean(), share_at_horizon(closed, watched),
                     share_at_horizon(closed, np.where(closed <= watched, watched, last_open))))  # fmt: skip
    return np.mean(told, axis=0).tolist()


def coverage(generator: np.random.Generator, residents: int, share: float, replicates: int) -> tuple[float, float]:
    """How often the kit's range, and that between which the draws lie, hold the true share; in percent."""
    held = np.zeros((replicates, 2))
    for number in range(replicates):
        names = np.repeat(np.arange(residents), generator.integers(1, 3, residents)).astype(str)
        frail = pd.Series(generator.beta(4 * share, 4 * (1 - share), residents), index=np.unique(names))
        closed = generator.random(len(names)) < frail[names].to_numpy()
        draws = resident_draws(names, draws=400, seed=number)
        shares = closed @ draws / draws.sum(axis=0)
        low, high = share_limits(np.array(closed.mean()), shares, residents)
        between = np.quantile(shares, [0.025, 0.975])
        held[number] = low <= share <= high, between[0] <= share <= between[1]
    return tuple(100 * held.mean(axis=0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--replicates", type=int, default=1000, help="simulated groups a row of the second table")
    replicates = parser.parse_args().replicates
    generator = np.random.default_rng(20260701)
    print("| rounds missed | closed of 100, nobody lost | followed to the cut-off | to the last measurement |")
    print("| ---: | ---: | ---: | ---: |")
    worst = 0.0
    for missed in (0.0, 0.12, 0.4):
        known, ours, other = follow_up(generator, missed, max(replicates // 50, 5))
        worst = max(worst, abs(ours - known))
        print(f"| {100 * missed:.0f}% | {known:.1f} | {ours:.1f} | {other:.1f} |")
    print("\n| residents | true share | range holds it | between the draws |\n| ---: | ---: | ---: | ---: |")
    lowest = 100.0
    for residents in (10, 20, 40):
        for share in (0.1, 0.3, 0.5):
            ours, other = coverage(generator, residents, share, replicates)
            lowest = min(lowest, ours)
            print(f"| {residents} | {100 * share:.0f}% | {ours:.1f}% | {other:.1f}% |")
    print(f"description: worst_bias={worst:.1f} lowest_coverage={lowest / 100:.3f} replicates={replicates}")


if __name__ == "__main__":
    main()
