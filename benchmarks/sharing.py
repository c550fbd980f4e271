"""What sheets that are handed on give away: invented quarters, corrected twice and issued each time, then attacked.

    .venv/bin/python benchmarks/sharing.py [quarters]

Every sheet is searched alone and beside each one issued before it, by the kit's exact search over all its numbers
together, and number by number by a slow search that tries every pair of whole numbers. Beside it stands what the same
sheets would give away if the rule of the fewest were all there is.
"""

from __future__ import annotations

import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1]))
from kit.plan import Plan
from kit.sharing.counted import COLUMNS
from kit.sharing.telling import told, worked_out
from tests.sheets import changes, is_small, pairs

SEED = 20261126
PLAN = Plan.model_validate(
    {
        "program": {"name": "Invented", "basis": "safe_harbor"},
        "regimens": [{"name": "ultrasound", "modality": "ultrasound"}],
    }
)
SIZES = {"20 to 40 residents": (20, 41), "41 to 120": (41, 121), "121 to 400": (121, 401)}
STATUSES, CHANCES = ("given", "missed", "unknown"), (0.82, 0.15, 0.03)


def main(quarters: int) -> int:
    draw = np.random.default_rng(SEED)
    print("| facility | sheets | numbers told, of 100 | small found by the search | by trying every pair |"
          " quarters in which the rule alone gives something away, of 100 |")  # fmt: skip
    print("| --- | ---: | ---: | ---: | ---: | ---: |")
    recovered = sheets = 0
    for name, ends in SIZES.items():
        found = [attacked(draw, draw.integers(*ends)) for _ in range(quarters)]
        shared, searched, tried, bare = (np.mean([one[part] for one in found]) for part in range(4))
        sheets, recovered = sheets + 3 * quarters, recovered + round(quarters * (searched + tried))
        print(f"| {name} | {3 * quarters} | {100 * shared:.0f} | {quarters * searched:.0f} | {quarters * tried:.0f} | "
              f"{100 * bare:.0f} |", flush=True)  # fmt: skip
    print(f"sharing: sheets={sheets} recovered={recovered}")
    return 1 if recovered else 0


def attacked(draw: np.random.Generator, people: int) -> tuple[float, int, int, bool]:
    """One quarter issued three times: the share told, what each search finds, and whether the rule alone would leak."""
    wounds, sessions = quarter(draw, people)
    issued, bare = [], []
    for _ in range(3):
        counts = counted(wounds, sessions)
        issued.append(told(counts, PLAN, issued))
        bare.append(told(counts, PLAN))
        wounds, sessions = corrected(draw, wounds, sessions)
    share = float(np.mean([sheet["is_shared"].mean() for sheet in issued]))
    return share, len(found(issued)), tried(issued), bool(found(bare))


def found(sheets: list[pd.DataFrame]) -> list[str]:
    """What the kit's search works out of sheets, each alone and beside every earlier one."""
    least = PLAN.sharing.fewest
    return [name for place, sheet in enumerate(sheets) for name in worked_out(sheet, sheets[:place], least)]


def tried(sheets: list[pd.DataFrame]) -> int:
    """How many small changes of single numbers are certain, trying every pair of whole numbers."""
    least, small = PLAN.sharing.fewest, 0
    for before, now in combinations([sheet[sheet["is_shared"] & ~sheet["weighed"]] for sheet in sheets], 2):
        both = before.merge(now, on="shared", suffixes=("_before", "_now"))
        for row in both.to_dict("records"):
            possible = [pairs(int(row[f"per_hundred_{one}"]), int(row[f"about_all_{one}"]), least)
                        for one in ("before", "now")]  # fmt: skip
            small += any(is_small(*ends, least) for ends in changes(*possible).values())
    return small


def quarter(draw: np.random.Generator, people: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The wounds of a quarter and their sessions, of invented residents."""
    owner = np.repeat(np.arange(people), 1 + (draw.random(people) < 0.3))
    wounds = pd.DataFrame({
        "resident": owner, "treated": draw.random(len(owner)) < 0.35, "closed": draw.random(len(owner)) < 0.35,
        "weeks": draw.integers(1, 14, len(owner)), "could": draw.random(len(owner)) < 0.7,
    })  # fmt: skip
    wounds = wounds.assign(measured=draw.binomial(wounds["weeks"], 0.8))
    return wounds, planned(draw, wounds)


def planned(draw: np.random.Generator, wounds: pd.DataFrame) -> pd.DataFrame:
    often = np.where(wounds["treated"], draw.poisson(14, len(wounds)), 0)
    owner = np.repeat(wounds["resident"].to_numpy(), often)
    status = draw.choice(STATUSES, len(owner), p=CHANCES)
    full, reacted = draw.random(len(owner)) < 0.85, draw.random(len(owner)) < 0.05
    return pd.DataFrame({
        "resident": owner, "status": status, "full": full & (status == "given"),
        "reacted": reacted & (status == "given"), "staff": draw.random(len(owner)) < 0.5,
    })  # fmt: skip


def corrected(draw: np.random.Generator, wounds: pd.DataFrame, sessions: pd.DataFrame) -> tuple[pd.DataFrame, ...]:
    """The same quarter after a correction: a few people more or fewer, a few closings and statuses mended."""
    gone = draw.choice(wounds["resident"].unique(), draw.integers(0, 4), replace=False)
    kept, left = wounds[~wounds["resident"].isin(gone)], sessions[~sessions["resident"].isin(gone)]
    new, theirs = quarter(draw, int(draw.integers(1, 5)))
    last = int(wounds["resident"].max()) + 1
    new, theirs = (table.assign(resident=table["resident"] + last) for table in (new, theirs))
    wounds = pd.concat([kept, new], ignore_index=True)
    sessions = pd.concat([left, theirs], ignore_index=True)
    wounds.loc[draw.integers(0, len(wounds), draw.integers(0, 4)), "closed"] = True
    return wounds, sessions


def counted(wounds: pd.DataFrame, sessions: pd.DataFrame) -> pd.DataFrame:
    """Counts in the form of `kit.sharing.counted`, made without it."""
    given, missed = sessions[sessions["status"] == "given"], sessions[sessions["status"] == "missed"]
    could = wounds[wounds["could"]]
    weeks = wounds.loc[wounds.index.repeat(wounds["weeks"])]
    fresh = weeks.groupby(level=0).cumcount() < weeks["measured"]
    started, others = could[could["treated"]], could[~could["treated"]]
    rows = [
        row("treated", "wounds", "treated wounds", "open wounds", wounds, wounds["treated"]),
        row("closed", "wounds", "closed wounds", "open wounds", wounds, wounds["closed"]),
        row("given", "sessions", "given", "planned", sessions, sessions["status"] == "given"),
        row("full", "sessions", "full", "planned", sessions, sessions["full"]),
        row("reason", "sessions", "for the first reason", "missed", missed, missed["staff"]),
        row("reacted", "sessions", "reacted", "asked", given, given["reacted"]),
        row("measured", "wound weeks", "measured", "weeks in view", weeks, fresh),
        row("started", "wounds", "started", "could be started", could, could["treated"]),
        row("came after", "wounds", "started, came to it", "started", started, started["closed"], 0.4),
        row("came without", "wounds", "others, came to it", "others", others, others["closed"], 0.3),
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def row(shared, things, some, all_of, of: pd.DataFrame, chosen: pd.Series, weighed: float = np.nan) -> tuple:
    people = of["resident"]
    behind = people[chosen].nunique(), people[~chosen].nunique()
    return shared, things, some, all_of, int(chosen.sum()), len(of), *behind, weighed


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 30))
