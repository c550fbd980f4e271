"""Tables of facilities side by side, always in alphabetical order: wounds of 100, whole numbers, words for names."""

from __future__ import annotations

import pandas as pd

from kit.context.case_mix import CLOSED, EARLY
from kit.context.funnel import FEWER, MORE
from kit.region import Region
from kit.words import of_hundred, of_hundred_range, percents

DASH = "–"
VERDICTS = {MORE: "more than chance gives", FEWER: "fewer than chance gives", "": "within chance"}


def funnel_table(region: Region, measure: str, only: str = "") -> pd.DataFrame:
    """Each facility beside its limits, and drawn towards the group; one alone where `only` names it."""
    rows = region.funnel.homes[region.funnel.homes["measure"] == measure]
    rows = rows[rows["facility"] == only] if only else rows
    return pd.DataFrame([_row(row) for row in rows.to_dict("records")])


def _row(row: dict) -> dict[str, str]:
    return {
        "Facility": row["facility"],
        "Wounds on residents": f"{row['wounds']} on {row['residents']}",
        "Worth single wounds": f"{row['worth_wounds']:.0f}",
        "At the group's mix, of 100": of_hundred(row["standardized"]),
        "Chance alone, 95 of 100": _span(row, "95"),
        "Chance alone, 998 of 1,000": _span(row, "998"),
        "Beside chance": VERDICTS[row["differs"]],
        "Drawn towards the group (range)": of_hundred_range(*(row[f"drawn_{end}"] for end in ("share", "low", "high"))),
    }


def _span(row: dict, name: str) -> str:
    return f"{of_hundred(row[f'low_{name}'])} to {of_hundred(row[f'high_{name}'])}"


def given_table(region: Region, only: str = "") -> pd.DataFrame:
    """What was given of sessions due beside what wounds came to, a facility a row; empty where a warning stops it."""
    if region.withheld_for:
        return pd.DataFrame()
    shares = region.funnel.homes.pivot(index="facility", columns="measure", values="standardized")
    told = region.given.set_index("facility")
    homes = [home for home in region.facilities if home in told.index or home in shares.index]
    rows = [_given_row(home, told, shares) for home in homes if not only or home == only]
    return pd.DataFrame(rows)


def _given_row(home: str, told: pd.DataFrame, shares: pd.DataFrame) -> dict[str, str]:
    due, full = (told.loc[home, name] if home in told.index else 0 for name in ("sessions_due", "full_share"))
    return {
        "Facility": home,
        "Sessions due": f"{due:.0f}",
        "Given in full, %": percents(100 * full) if due else DASH,
        "Closed, of 100": _share(shares, home, CLOSED),
        "Closed or clearly smaller, of 100": _share(shares, home, EARLY),
    }


def _share(shares: pd.DataFrame, home: str, measure: str) -> str:
    known = home in shares.index and measure in shares
    return of_hundred(shares.loc[home, measure]) if known else DASH
