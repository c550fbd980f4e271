"""The program's numbers beside those of published studies at the same horizon, kind and stage; never pooled here."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from kit.context.after_start import MODALITIES, PRESSURE, STAGED, STAGES_OF
from kit.context.not_comparable import A_WEEK, CLOSED, REDUCTION, Case, notes
from kit.context.other_rows import AGE, DAYS, MINUTES, REVIEWED, STAGES, other_rows
from kit.context.program import Program
from kit.context.published_trials import CONTROL, TREATED
from kit.context.same_horizon import arms, at_week, of_stages
from kit.words import percents, spoken

AT = {CLOSED: (6, 8, 12), REDUCTION: (4, 6, 8), A_WEEK: (4, 6, 8)}
PARTS = ("studies", "counted", "low", "high")
MEASURES = (*AT, MINUTES, DAYS, STAGES, AGE, REVIEWED)
COLUMNS = [
    "modality", "stage_group", "measure", "horizon_weeks", "number", "low", "high", "wounds", "residents",
    *(f"{arm}_{part}" for arm in (TREATED, CONTROL) for part in PARTS), "studies",
    "program_words", "published_words", "not_alike", "not_comparable", "not_computed",
]  # fmt: skip
WHOLE = ("horizon_weeks", "wounds", "residents", *(f"{arm}_{part}" for arm in (TREATED, CONTROL) for part in PARTS[:2]))
WORDS = ("studies", "program_words", "published_words", "not_alike", "not_comparable", "not_computed")


def beside_published(program: Program, listed: pd.DataFrame, reviewed: pd.DataFrame) -> pd.DataFrame:
    """Each number of the program beside the lowest and highest that published studies have, and what sets them apart.

    Columns in: `listed` and `reviewed` as `trials` and `reviews` of `kit.context.published_trials` return them.
    Columns out: modality, stage_group, measure (closed, smaller, smaller a week; of all pressure injuries also minutes
    and days a week, stages, age, and what a review pooled), horizon_weeks (missing where there is none); number, low,
    high of the program (percent with its 95% range; of doses and age the quartiles), wounds, residents; of treated and
    control arms each: studies, counted (people or wounds), low and high (lowest and highest of the arms); studies
    (names); program_words and published_words (where a number does not do); not_alike (words) and not_comparable
    (sentences); not_computed (why the program has none).

    A study stands beside only where its own horizon is the same to the nearest week, and its kind of wound the same;
    of stage 2, and of stages 3 and 4, only where it is known to hold no others. Where there is none, that is said, and
    no neighbour is taken. Nothing is pooled and no difference is made: these wounds were started by choice, and nobody
    untreated stands beside them. Smaller a week is the mean reduction over the weeks, on both sides.
    """
    rows = []
    for modality in MODALITIES:
        own = program.started[program.started["modality"] == modality]
        asked = _Asked(modality, own, program, listed, reviewed)
        rows += _healing_rows(asked)
        rows += other_rows(modality, own, program, listed, reviewed)
    told = pd.DataFrame(rows, columns=COLUMNS).astype(dict.fromkeys(WHOLE, "Int64"))
    return told.fillna(dict.fromkeys(WORDS, ""))


@dataclass(frozen=True, eq=False)
class _Asked:
    modality: str
    own: pd.DataFrame  # the modality's rows of what became of wounds after their start
    program: Program
    listed: pd.DataFrame
    reviewed: pd.DataFrame


def _healing_rows(asked: _Asked) -> list[dict]:
    """The rows of every group and measure at the weeks for which the program was looked at."""
    rows = []
    for group in asked.own["stage_group"].drop_duplicates():
        present = set(asked.own.loc[asked.own["stage_group"] == group, "horizon_weeks"])
        kind = PRESSURE if group in STAGED else group
        for measure, weeks in AT.items():
            both = tuple(arms(asked.listed, asked.modality, kind, arm, measure) for arm in (TREATED, CONTROL))
            rows += [_healing_row(_case(asked, group, measure, week, both), asked) for week in weeks if week in present]
    return rows


def _healing_row(case: Case, asked: _Asked) -> dict[str, object]:
    found = notes(case)
    number, low, high = _ours(case.ours, case.measure)
    return {
        "modality": case.modality,
        "stage_group": case.group,
        "measure": case.measure,
        "horizon_weeks": case.week,
        "number": number,
        "low": low,
        "high": high,
        "wounds": case.ours["wounds"],
        "residents": case.ours["residents"],
        **_theirs(case.treated, TREATED),
        **_theirs(case.control, CONTROL),
        "studies": ", ".join(case.treated["trial"].unique()),
        "published_words": _of_its_kind(case, asked.reviewed),
        "not_alike": ", ".join(word for word, _ in found),
        "not_comparable": "; ".join(said for _, said in found),
        "not_computed": case.ours["not_computed" if case.measure == CLOSED else "sizes_not_computed"],
    }


def _case(asked: _Asked, group: str, measure: str, week: int, both: tuple[pd.DataFrame, pd.DataFrame]) -> Case:
    here = asked.own[asked.own["horizon_weeks"] == week].set_index("stage_group")
    treated, control = both
    near = at_week(treated, week)
    return Case(
        modality=asked.modality,
        group=group,
        measure=measure,
        week=week,
        ours=here.loc[group].to_dict(),
        mix={name: int(here["wounds"].get(name, 0)) for name in STAGES_OF},
        dose=asked.program.dose.set_index("modality").loc[asked.modality].to_dict(),
        ruler=asked.program.people.set_index("modality").loc[asked.modality, "ruler"],
        treated=of_stages(near, group),
        control=of_stages(at_week(control, week), group),
        near=near,
        weeks=tuple(sorted({round(week, 1) for week in treated["weeks"]})),
    )


def _ours(ours: dict, measure: str) -> tuple[float, ...]:
    if measure == CLOSED:
        return tuple(100 * ours[f"closed_{end}"] for end in ("share", "low", "high"))
    if measure == REDUCTION:
        return tuple(ours[f"mean_reduction{end}"] for end in ("", "_low", "_high"))
    return tuple(ours[name] for name in ("percent_a_week", "a_week_low", "a_week_high"))


def _theirs(found: pd.DataFrame, arm: str) -> dict[str, object]:
    return {
        f"{arm}_studies": int(found["trial"].nunique()),
        f"{arm}_counted": int(found["number"].fillna(0).sum()),
        f"{arm}_low": found["value"].min(),
        f"{arm}_high": found["value"].max(),
    }


def _of_its_kind(case: Case, reviewed: pd.DataFrame) -> str:
    """What half of diabetic feet came to at four weeks (Sheehan 2003): beside diabetic feet alone, and so named."""
    if case.measure != REDUCTION or case.week != 4:
        return ""
    own = reviewed[(reviewed["kind"] == case.group) & (reviewed["measure"] == "median reduction at four weeks")]
    told = (f"half were {percents(row.estimate)}% smaller ({row.review})" for row in own.itertuples())
    return "; ".join(f"{spoken(case.group)}: {words}" for words in told)
