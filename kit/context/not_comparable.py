"""What keeps a program's number and published ones apart, in words, each found in the data and none assumed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from kit.context.after_start import ALL_PRESSURE, STAGE_2, STAGES_3_4
from kit.words import percents, share

CLOSED, REDUCTION, A_WEEK = "closed", "smaller", "smaller a week"
# Rogers et al. 2010, J Diabetes Sci Technol 4:799: 4.3 cm2 by ruler where a tracing has 3.0 (3.0 / 4.3 = 0.70).
TRACED = "a tracing reads about 30% less (Rogers 2010), which cancels only where the way never changes"
LEEWAY = 0.1  # how far a dose may lie outside the studies' and still count as theirs; common practice, no source
# Mean size at the start, cm2, treated and control, where a study's was seen: Polak et al. 2014, Ostomy Wound Manage
# 60(8):16 (verified).
SIZES_AT_START = {"Polak 2014": (15.38, 11.08)}
Note = tuple[str, str]


@dataclass(frozen=True, eq=False)
class Case:
    """A program's number and the published arms of the same horizon, kind and stage.

    `ours` is the row of `kit.context.after_start` at that horizon, `mix` how many of its wounds are of which stages;
    `treated` and `control` are rows of `kit.context.published_trials`; `near` are treated arms of that horizon and kind
    whatever their stage, `weeks` the horizons at which there are any.
    """

    modality: str
    group: str
    measure: str
    week: int
    ours: dict
    mix: dict[str, int]
    dose: dict
    ruler: float
    treated: pd.DataFrame
    control: pd.DataFrame
    near: pd.DataFrame
    weeks: tuple[float, ...]

    @property
    def studies(self) -> int:
        """How many studies have a treated arm here."""
        return int(self.treated["trial"].nunique())


def notes(case: Case) -> list[Note]:
    """A word and a sentence for each thing that is not alike, or not known to be; where there is no study, that."""
    if case.treated.empty:
        return [_no_study(case)]
    return [note for find in FINDS for note in find(case)]


def _no_study(case: Case) -> Note:
    if len(case.near):
        near = _of(int(case.near["trial"].nunique()))
        return (
            "no study of these stages",
            f"of the {near} with week {case.week} none is known to hold {case.group} alone",
        )
    if not case.weeks:
        return "no study", f"no listed study of {case.modality} and this kind of wound has the number"
    told = ", ".join(f"{week:g}" for week in case.weeks)
    return "no study at this week", f"no study counts at week {case.week}; those there are count at week {told}"


def _stages(case: Case) -> list[Note]:
    named = case.treated[case.treated["stages"] != ""]
    seen = named["trial"].nunique()
    theirs = "; ".join(f"{row.trial} {row.stages}" for row in named.drop_duplicates("trial").itertuples())
    told = f"their stages were seen {_in(seen, case.studies)} ({theirs})" if seen else "their stages were not seen"
    whole = case.ours["wounds"]
    if case.group != ALL_PRESSURE or not whole:
        return [("stages", told)] if seen < case.studies else []
    two, deep = case.mix[STAGE_2], case.mix[STAGES_3_4]
    if not two + deep:
        return [("stages", f"{told}; ours are not charted")]
    return [("stages", f"{told}; of ours {share(two, whole)} were stage 2 and {share(deep, whole)} stage 3 or 4")]


def _dose(case: Case) -> list[Note]:
    """Minutes a week where both are known, else days a week."""
    theirs = (case.treated["minutes"] * case.treated["per_week"]).astype(float).dropna()
    ours = case.dose.get("minutes_a_week", float("nan"))
    if len(theirs) and ours == ours:
        return _differs(ours, theirs, "minutes a week")
    theirs, ours = case.treated["per_week"].astype(float).dropna(), case.dose.get("days_a_week", float("nan"))
    if len(theirs) and ours == ours:
        return _differs(ours, theirs, "days a week")
    return [("dose not known", "the dose is not known on one side, or on both")]


def _differs(ours: float, theirs: pd.Series, unit: str) -> list[Note]:
    low, high = theirs.min(), theirs.max()
    if (1 - LEEWAY) * low <= ours <= (1 + LEEWAY) * high:
        return []
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    mine = f"{ours:.0f}" if ours >= 10 else f"{ours:.1f}"
    return [("dose", f"wounds here had {mine} {unit} as given, theirs {span} as prescribed")]


def _counted(case: Case) -> list[Note]:
    by = case.treated.drop_duplicates("trial")["counted"].value_counts()
    ulcers, people = int(by.get("wounds", 0)), int(by.get("people", 0))
    told = []
    if ulcers:
        said = f"ulcers are counted as if each were somebody's only one {_in(ulcers, case.studies)}"
        told.append(("ulcers counted", said))
    if people:
        told.append(("people counted", f"people are counted {_in(people, case.studies)}, wounds here"))
    kept = case.treated.loc[case.treated["doubt"].str.contains("kept to the protocol"), "trial"].nunique()
    if kept:
        told.append(("per protocol", f"a review used only those who kept to the protocol {_in(kept, case.studies)}"))
    return told


def _deaths(case: Case) -> list[Note]:
    gone = {name: case.ours[name] for name in GONE}
    if not sum(gone.values()):
        return []
    said = ", ".join(f"{number} {GONE[name]}" for name, number in gone.items() if number)
    told = "studies mostly leave out who died or withdrew (of these it was not seen)"
    if case.measure == CLOSED:
        return [("deaths", f"{told}; ours stay in: {said}")]
    inside = case.ours["mean_reduction_with_deaths"]
    told = f"{told}; of ours are left out: {said}"
    if case.measure == REDUCTION and gone["died"] and inside == inside:
        told = f"{told} (with deaths as not smaller the mean is {percents(inside)}%)"
    return [("deaths", told)]


GONE = {
    "died": "died", "hospital": "in hospital and not back", "left": "left", "surgical_closure": "closed by surgery",
    "lost": "not followed so far",
}  # fmt: skip


def _ruler(case: Case) -> list[Note]:
    if case.measure == CLOSED or not case.ruler > 0:
        return []
    part = "all" if case.ruler == 1 else share(round(1000 * case.ruler), 1000)
    said = f"{part} of our sizes are length times width by ruler; how theirs were found was not seen"
    return [("ruler", f"{said} ({TRACED})")]


def _people(case: Case) -> list[Note]:
    injured = case.treated.loc[case.treated["setting"].str.contains("spinal cord"), "trial"].nunique()
    if not injured:
        return []
    return [("spinal cord injury", f"people with spinal cord injury {_in(injured, case.studies)}")]


def _first_size(case: Case) -> list[Note]:
    ours = case.ours["size_at_start"]
    seen = {trial: SIZES_AT_START[trial][0] for trial in case.treated["trial"].unique() if trial in SIZES_AT_START}
    mine = f"half of ours were below {ours:.1f} cm2 at the start" if ours == ours else "those of ours are not known"
    if not seen:
        return [("size at the start", f"their sizes at the start were not seen; {mine}")]
    told = ", ".join(f"{size:.1f} cm2 on average in {trial}" for trial, size in seen.items())
    return [("size at the start", f"size at the start: {told}; {mine}")]


def _sham(case: Case) -> list[Note]:
    sham = case.control.loc[case.control["agent"] == "sham", "trial"].nunique()
    return [("sham", f"the control had a device that was off {_in(sham, case.studies)}")] if sham else []


def _group(case: Case) -> list[Note]:
    names = case.treated.drop_duplicates("trial")["group"].value_counts()
    if names.iloc[0] < 2:
        return []
    return [("one group", f"{names.iloc[0]} of {case.studies} studies are of one research group ({names.index[0]})")]


def _doubts(case: Case) -> list[Note]:
    both = pd.concat([case.treated, case.control])
    doubted = both.loc[both["doubt"] != "", "trial"].nunique()
    medians = both.loc[both["doubt"].str.contains("medians"), "trial"].nunique()
    told = [("doubt", f"a doubt hangs over the numbers {_in(doubted, case.studies)}")] if doubted else []
    return told + ([("medians", f"medians are printed, not means, {_in(medians, case.studies)}")] if medians else [])


def _of(number: int) -> str:
    return "1 study" if number == 1 else f"{number} studies"


def _in(some: int, of: int) -> str:
    """In how many of the studies: `in 1 of 5 studies`, `in the one study`."""
    return "in the one study" if of == 1 else f"in {some} of {of} studies"


FINDS: tuple[Callable[[Case], list[Note]], ...] = (
    _stages, _dose, _deaths, _first_size, _counted, _ruler, _people, _sham, _group, _doubts,
)  # fmt: skip
