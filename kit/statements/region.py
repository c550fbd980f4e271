"""What may be said of facilities side by side: who differs by more than chance, in the order of the alphabet."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.context.case_mix import CLOSED, EARLY
from kit.context.funnel import CHANCE, FEWER, MANY, MORE
from kit.context.one_sided import ALL_STARTED, NONE_COULD, NONE_STARTED
from kit.region import Region
from kit.words import of_hundred, of_hundred_range, sentence

ONE = "The export names one facility: none stands beside it."
NO_NAMES = "The export names no facility: nothing stands side by side."
NOTHING_TOLD = "No facility can be held against the group."
HOW_DECIDED = (
    "A facility is named where its share lies beyond limits within which chance alone would hold 998 of 1,000 "
    "facilities of its size. It says where to look first, and not why: what is not charted is not levelled."
)
DESCRIBES = (
    "This describes. What keeps sessions from being given (illness, few hands, stays in hospital) also keeps wounds "
    "from closing, so the one does not say what the other would become."
)
LOOK_FIRST = "It says where to look first, and not why; all stand in the notebook on how facilities compare."
CAME = {CLOSED: "closed", EARLY: "closed or clearly smaller early"}
SET_ASIDE = (
    (ALL_STARTED, "all wounds that could be started were"),
    (NONE_STARTED, "no wound was started"),
    (NONE_COULD, "no wound could have been started in the months that are compared"),
)


def side_by_side(region: Region, only: str = "") -> list[str]:
    """The answer: a sentence a measure on who differs, or why none is told. `only`: the facility whose report it is."""
    if len(region.facilities) < 2:
        return [ONE if region.facilities else NO_NAMES]
    groups = region.funnel.groups.to_dict("records")
    if not groups:
        return [NOTHING_TOLD, *untold(region, only)]
    homes = region.funnel.homes
    said = [
        _alone(group, homes[homes["measure"] == group["measure"]], only)
        if only
        else _who(group, homes[homes["measure"] == group["measure"]])
        for group in groups
    ]
    return [*said, HOW_DECIDED]


def came_to(group: dict) -> str:
    """What is counted: `closed by week 12`, or the early response."""
    week = group["horizon_weeks"]
    return f"closed by week {week}" if group["measure"] == CLOSED else f"closed or clearly smaller at week {week}"


def _who(group: dict, own: pd.DataFrame) -> str:
    """Which facilities lie beyond the limits by one measure."""
    opening = f"Of 100 wounds {of_hundred(group['group_share'])} were {came_to(group)} in the group"
    more, fewer = (own[own["differs"] == way] for way in (MORE, FEWER))
    if more.empty and fewer.empty:
        return f"{opening}. None of the {len(own)} facilities told differs by more than chance."
    ways = [f"{word}: {_named(rows)}" for word, rows in (("more", more), ("fewer", fewer)) if len(rows)]
    return f"{opening}. At the same mix of wounds these differ by more than chance, of {len(own)}: {'; '.join(ways)}."


def _named(rows: pd.DataFrame) -> str:
    return ", ".join(f"{row.facility} ({of_hundred(row.standardized)})" for row in rows.itertuples())


def _alone(group: dict, own: pd.DataFrame, only: str) -> str:
    """One facility beside the group by one measure."""
    here = own[own["facility"] == only]
    if here.empty:
        return f"{only} is not held against the group by wounds {came_to(group)}."
    row = here.iloc[0]
    verdict = {MORE: "more than chance gives", FEWER: "fewer than chance gives", "": "within what chance gives"}
    drawn = of_hundred_range(row["drawn_share"], row["drawn_low"], row["drawn_high"]).replace("(", "(range ")
    said = (
        f"{only}: at the group's mix of wounds {of_hundred(row['standardized'])} of 100 were {came_to(group)}, beside "
    )
    said += f"{of_hundred(group['group_share'])} in the group of {group['homes']}: {verdict[row['differs']]}. "
    return f"{said}Drawn towards the group, because so few wounds tell little: {drawn}."


def spread_said(region: Region) -> list[str]:
    """By how much facilities differ altogether, a sentence a measure."""
    return [_spread(group) for group in region.funnel.groups.to_dict("records")]


def _spread(group: dict) -> str:
    what = sentence(came_to(group))
    if np.isnan(group["dispersion"]):
        return (
            f"{what}: fewer than {MANY} facilities are told, so how much they differ cannot be read off them. The "
            "limits are those of chance alone; shares are drawn in by the spread that the plan names."
        )
    if group["by_chance"] >= CHANCE:
        return (
            f"{what}: facilities differ no more than chance lets them ({group['dispersion']:.1f} times what it gives). "
            "The limits are those of chance alone."
        )
    return (
        f"{what}: facilities differ by more than chance ({group['dispersion']:.1f} times what it gives), by "
        f"{group['between']:.0f} points of 100 (one standard deviation) besides. The limits are wider by that, so that "
        "named is who differs more than facilities here commonly do."
    )


def one_sided_said(frame: pd.DataFrame, only: str = "") -> list[str]:
    """Facilities set aside from the comparison of starting with not starting, a sentence a reason."""
    frame = frame[frame["facility"] == only] if only else frame
    said = []
    for why, words in SET_ASIDE:
        homes = frame.loc[frame["why"] == why, "facility"]
        if len(homes):
            said.append(f"Set aside from the comparison with no modality, because there {words}: {', '.join(homes)}.")
    return said


def untold(region: Region, only: str = "") -> list[str]:
    """Why facilities are not held against the group, a sentence a measure and reason."""
    rest = region.mixed[region.mixed["not_computed"] != ""]
    rest = rest[rest["facility"] == only] if only else rest
    said = []
    for (measure, why), rows in rest.groupby(["measure", "not_computed"], sort=False):
        said.append(f"Not held against the group ({measure}; {why}): {', '.join(rows['facility'])}.")
    return said


def given_said(region: Region) -> list[str]:
    """What stands before the table of sessions given beside what wounds came to."""
    if region.withheld_for:
        return [f"What was given does not stand beside what wounds came to. {region.withheld_for}"]
    return [DESCRIBES]


def in_line(region: Region) -> list[str]:
    """For the group's page, in short: who is set aside, and who differs by more than chance; empty of one facility."""
    if len(region.facilities) < 2:
        return []
    differ = region.funnel.homes[region.funnel.homes["differs"] != ""]
    ways = (differ["differs"] + " " + differ["measure"].map(CAME)).groupby(differ["facility"]).agg(" and ".join)
    many = region.funnel.homes["facility"].nunique()
    told = []
    if len(ways):
        named = "; ".join(f"{home}, {way}" for home, way in ways.items())
        told = [f"At like wounds these differ from the group of {many} by more than chance: {named}. {LOOK_FIRST}"]
    elif many:
        told = [f"At like wounds none of {many} facilities differs from the group by more than chance."]
    return [*told, *one_sided_said(region.one_sided)]
