"""Stories of the chart: what the rounds wrote down that was not so, or stopped writing down.

None of them changes the true course, and none touches a wound before its start.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic import rounds
from kit.synthetic.group import Group
from kit.synthetic.people import FIVE_WOUNDS
from kit.synthetic.troubles import Story, Tables, place_of
from kit.synthetic.world import CUTOFF, FACILITIES, FINE, HALF_CENTIMETRES, OUTBREAK

VANISHED = 5
GROWN = 1.25  # both sides of a wound look longer once its dead rim is cut away


def debrided_grows(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """After a debridement the next two sizes of a treated wound are larger, and nothing was lost."""
    done, sizes = tables["procedures"], tables["measurements"].copy()
    finely_read = ~np.isin(place_of(group, done), (FINE, HALF_CENTIMETRES))
    done = done[(done["procedure"] == "debridement") & finely_read]
    done = done[done["day"] > group.sores["start"].to_numpy()[done["row"]]].drop_duplicates("row")
    followed = [len(_next_two(sizes, row, day)) == 2 for row, day in zip(done["row"], done["day"], strict=True)]
    done = done[np.array(followed, dtype=bool)]
    chosen = done.loc[np.sort(rng.choice(done.index, min(2, len(done)), replace=False))]
    rows = [
        label for row, day in zip(chosen["row"], chosen["day"], strict=True) for label in _next_two(sizes, row, day)
    ]
    sizes.loc[rows, ["length", "width"]] = (GROWN * sizes.loc[rows, ["length", "width"]]).round(1) + 0.1
    story = Story(
        "debrided_grows", "Treated wounds look larger for two weeks after a debridement.",
        wounds=tuple(chosen["wound"]), rows={"measurements": rows, "procedures": chosen.index.tolist()},
    )  # fmt: skip
    return {**tables, "measurements": sizes}, story


def _next_two(sizes: pd.DataFrame, row: int, day: int) -> list[int]:
    after = sizes[(sizes["row"] == row) & (sizes["day"] > day) & (sizes["state"] == "open")]
    return after.index[:2].tolist()


def vanished(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """The rows of a few wounds stop: last seen open, then nothing, and nobody left."""
    sizes = tables["measurements"]
    able = _long_untreated(group, sizes)
    able = able[np.isin(place_of(group, able), ("Quellmoor", "Brindlemere")) & (able["site"] != "coccyx")]
    chosen = able.loc[np.sort(rng.choice(able.index, VANISHED, replace=False))]
    cut = dict(zip(chosen["row"], chosen["fifth"], strict=True))
    told = {name: _until(tables[name], cut) for name in ("measurements", "procedures")}
    last = told["measurements"][told["measurements"]["row"].isin(cut)].drop_duplicates("row", keep="last")
    story = Story(
        "vanished", "Rows stop while the wound is open and the person in the building.",
        wounds=tuple(chosen["wound"]), rows={"measurements": last.index.tolist()},
    )  # fmt: skip
    return {**tables, **told}, story


def _until(rows: pd.DataFrame, cut: dict[int, int]) -> pd.DataFrame:
    return rows[~(rows["day"] > rows["row"].map(cut))]


def _long_untreated(group: Group, sizes: pd.DataFrame) -> pd.DataFrame:
    """Wounds never started, measured open at least nine times, of people who never left, not even for a day.

    Columns out: row, wound, site, fifth (day of the fifth measurement, two months or more before the cut-off).
    """
    stayed = group.people["gone"].isna() & ~group.people.index.isin(group.away["person"])
    seen = sizes[sizes["state"] == "open"].assign(nth=sizes.groupby("row").cumcount())
    fifth = seen[seen["nth"] == 4].set_index("row")["day"]
    long = seen["row"].value_counts() >= 9
    out = group.sores[["wound", "site"]].assign(row=group.sores.index, fifth=group.sores.index.map(fifth))
    able = stayed.to_numpy()[group.sores["person"]] & group.sores["start"].isna() & np.isinf(group.surgery)
    able &= out["row"].map(long).eq(True) & (out["fifth"] <= CUTOFF - 60) & (group.sores["person"] != FIVE_WOUNDS)
    return out[able].astype({"fifth": int})


def coccyx_becomes_sacrum(group: Group, tables: Tables, rng: np.random.Generator) -> tuple[Tables, Story]:
    """From the sixth measurement on the same sore stands under a new number, and a hand's breadth higher."""
    able = _long_untreated(group, tables["measurements"])
    able = able[(able["site"] == "coccyx") & (place_of(group, able) != FINE)]
    if able.empty:
        raise ValueError("this seed invents no long-open coccyx for the story of the sacrum; take another seed")
    old = able.loc[rng.choice(able.index)]
    new = _unused(tables["wounds"])
    again = tables["wounds"][tables["wounds"]["wound"] == old["wound"]].assign(wound=new, site="sacrum")
    again.index = [tables["wounds"].index.max() + 1]
    moved = {}
    for name in ("measurements", "procedures"):
        rows = tables[name]
        later = (rows["row"] == old["row"]) & (rows["day"] > old["fifth"])
        moved[name] = rows.assign(wound=rows["wound"].mask(later, new))
    again["onset"] = moved["measurements"].loc[moved["measurements"]["wound"] == new, "day"].min()
    sizes = moved["measurements"]
    last = sizes[sizes["wound"] == old["wound"]].index[-1:].tolist()
    story = Story(
        "coccyx_becomes_sacrum", "One sore under two numbers: the first stops open, the second begins half healed.",
        place_of(group, able.loc[[old["row"]]])[0], residents=(again["resident"].iloc[0],), wounds=(old["wound"], new),
        rows={"wounds": again.index.tolist(), "measurements": last},
    )  # fmt: skip
    return {**tables, **moved, "wounds": pd.concat([tables["wounds"], again])}, story


def _unused(wounds: pd.DataFrame) -> str:
    taken = set(wounds["wound"])
    return next(name for name in (f"W{number:04d}" for number in range(1000, 9000)) if name not in taken)


SLIPS = (debrided_grows, vanished, coccyx_becomes_sacrum)


def habits(group: Group, tables: Tables) -> list[Story]:
    """What the lifelike chart already holds when the stories begin: how the buildings measure, and who lives there."""
    sizes = tables["measurements"]
    copied = rounds.copies(group.visits, group.sores)[sizes["row"], sizes["visit"]] & (sizes["state"] == "open")
    gap = OUTBREAK.covers(sizes["day"].to_numpy()) & (place_of(group, sizes) == OUTBREAK.facility)
    comfort = tables["spans"][tables["spans"]["span"] == "comfort_goal"]
    five = group.sores[group.sores["person"] == FIVE_WOUNDS]
    treated = tuple(five.loc[five["start"].notna(), "wound"])
    return [
        *(
            Story("launch", "The program begins.", facility.name, (facility.launch, CUTOFF))
            for facility in FACILITIES
        ),
        Story("wednesdays", "Every round falls on a Wednesday.", FACILITIES[0].name),
        Story("half_centimetres", "Sizes are read to the half centimetre.", HALF_CENTIMETRES),
        Story(
            "copied", "S12 writes the last size again.", FACILITIES[0].name,
            rows={"measurements": sizes.index[copied].tolist()},
        ),
        Story(
            "few_measured", "What was still measured during the outbreak.", OUTBREAK.facility,
            (OUTBREAK.begins, OUTBREAK.ends), rows={"measurements": sizes.index[gap].tolist()},
        ),
        Story(
            "hospice", "Only comfort is sought.", residents=tuple(comfort["resident"]),
            rows={"spans": comfort.index.tolist()},
        ),
        Story(
            "five_wounds", f"One person with five wounds; treated are {' and '.join(treated)}.",
            FACILITIES[0].name, residents=(five["resident"].iloc[0],), wounds=tuple(five["wound"]),
        ),
        Story("all_fine", "Nothing is planted here.", FINE),
    ]  # fmt: skip
