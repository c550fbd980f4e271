"""Dose, stages and age of the program beside those of published studies, and the percent a week a review pooled."""

from __future__ import annotations

import pandas as pd

from kit.context.after_start import ALL_PRESSURE, PRESSURE, STAGE_2, STAGES_3_4
from kit.context.not_comparable import LEEWAY
from kit.context.program import Program
from kit.context.published_trials import TREATED
from kit.words import percents_range, share

MINUTES, DAYS, STAGES, AGE = "minutes a week", "days a week", "stages", "age"
REVIEWED = "smaller a week, as a review pooled it"
# Mean age of treated and control people where it was seen (Polak et al. 2016, Adv Skin Wound Care 29:447; verified).
AGES = {"Polak 2016": (79.92, 76.33)}
PRESCRIBED = "theirs are as prescribed, ours as given in weeks with a session"


def other_rows(
    modality: str, own: pd.DataFrame, program: Program, listed: pd.DataFrame, reviewed: pd.DataFrame
) -> list[dict]:
    """A row each for minutes, days, stages and age of pressure injuries that started, and one a review of the modality.

    `own` are the modality's rows of `kit.context.after_start`. Columns out as in `kit.context.beside_published`.
    """
    base = {"modality": modality, "stage_group": ALL_PRESSURE}
    theirs = listed[listed["arm"].str.startswith(TREATED) & (listed["modality"] == modality)]
    theirs = theirs[(theirs["kind"] == PRESSURE) & (theirs["reading"] == "")]
    dose = program.dose.set_index("modality").loc[modality].to_dict()
    people = program.people.set_index("modality").loc[modality].to_dict()
    minutes = theirs["minutes"] * theirs["per_week"]
    rows = [
        _dose(MINUTES, "minutes", dose, theirs.assign(value=minutes.astype("float64"))),
        _dose(DAYS, "days", dose, theirs.assign(value=theirs["per_week"].astype("float64"))),
        _stages(own, theirs),
        _age(people, theirs),
        *_reviews(modality, own, reviewed),
    ]
    return [base | row for row in rows]


def _dose(measure: str, name: str, dose: dict, theirs: pd.DataFrame) -> dict[str, object]:
    """What was given in a treated week beside what studies prescribed; a dose outside theirs is named."""
    known = theirs[theirs["value"].notna()]
    number = dose[f"{name}_a_week"]
    low, high = known["value"].min(), known["value"].max()
    alike = (1 - LEEWAY) * low <= number <= (1 + LEEWAY) * high
    away = "" if alike or not number == number or known.empty else "lower" if number < low else "higher"
    unseen = theirs["trial"].nunique() - known["trial"].nunique()
    said = [PRESCRIBED] if len(known) else []
    said += [f"of {unseen} further studies it was not seen"] if unseen else []
    return {
        "measure": measure,
        "number": number,
        "low": dose[f"{name}_low"],
        "high": dose[f"{name}_high"],
        "wounds": int(dose["wounds"]),
        "treated_studies": int(known["trial"].nunique()),
        "treated_low": low,
        "treated_high": high,
        "studies": ", ".join(known["trial"].unique()),
        "not_alike": f"dose {away} than any of theirs" if away else "",
        "not_comparable": "; ".join(said),
        "not_computed": "" if number == number else f"the {name} of treated weeks are not recorded",
    }


def _stages(own: pd.DataFrame, theirs: pd.DataFrame) -> dict[str, object]:
    """Of all that started, as early as they can be looked at."""
    first = own[own["horizon_weeks"] == own["horizon_weeks"].min()].set_index("stage_group")
    counts = first["wounds"].reindex([ALL_PRESSURE, STAGE_2, STAGES_3_4]).fillna(0).astype(int)
    whole, two, deep = counts
    rest = whole - two - deep
    named = theirs[theirs["stages"] != ""].drop_duplicates("trial")
    told = ", ".join(f"{row.trial}: {row.stages}" for row in named.itertuples())
    unseen = theirs["trial"].nunique() - len(named)
    words = f"stage 2 {share(two, whole)}, 3 or 4 {share(deep, whole)}, others or not charted {share(rest, whole)}"
    return {
        "measure": STAGES,
        "wounds": whole,
        "residents": int(first["residents"].get(ALL_PRESSURE, 0)),
        "treated_studies": len(named),
        "studies": ", ".join(named["trial"]),
        "program_words": words if two + deep else "",
        "published_words": told,
        "not_alike": "stages",
        "not_comparable": f"of {unseen} studies the stages were not seen" if unseen else "",
        "not_computed": "" if two + deep else "no stage is charted" if whole else "no wound started",
    }


def _age(people: dict, theirs: pd.DataFrame) -> dict[str, object]:
    seen = {trial: AGES[trial][0] for trial in theirs["trial"].unique() if trial in AGES}
    return {
        "measure": AGE,
        "number": people["age"],
        "low": people["age_low"],
        "high": people["age_high"],
        "residents": people["known"],
        "treated_studies": len(seen),
        "treated_low": min(seen.values(), default=float("nan")),
        "treated_high": max(seen.values(), default=float("nan")),
        "studies": ", ".join(seen),
        "not_alike": "" if seen else "age not seen",
        "not_comparable": "theirs is a mean, ours the middle one" if seen else "no listed study tells it",
        "not_computed": "" if people["known"] else "no age is recorded",
    }


def _reviews(modality: str, own: pd.DataFrame, reviewed: pd.DataFrame) -> list[dict]:
    """A row a review that pooled percent a week, of studies of many lengths; the program's is told at each horizon."""
    asked = reviewed[(reviewed["modality"] == modality) & (reviewed["measure"] == "smaller a week, treated")]
    return [_review(row, own, reviewed) for row in asked.to_dict("records")]


def _review(row: dict, own: pd.DataFrame, reviewed: pd.DataFrame) -> dict[str, object]:
    same = (reviewed["review"] == row["review"]) & (reviewed["measure"] == "smaller a week, control")
    told = f"{percents_range(row['estimate'], row['low'], row['high'])} treated"
    told += "".join(f", {percents_range(c.estimate, c.low, c.high)} control" for c in reviewed[same].itertuples())
    ours = own[(own["stage_group"] == ALL_PRESSURE) & own["percent_a_week"].notna()]
    words = ", ".join(f"{r.percent_a_week:.1f} by week {r.horizon_weeks}" for r in ours.itertuples())
    lasts = 100 / row["estimate"]
    kinds = ["several kinds of wound", "it is of wounds of several kinds; "] if row["kind"] == "several" else ["", ""]
    said = f"{kinds[1]}it is pooled over studies of different lengths, and a percent a week falls the longer it is "
    said += f"counted (at {row['estimate']:.0f} a week nothing would be left after {lasts:.1f} weeks)"
    return {
        "measure": REVIEWED,
        "treated_studies": row["studies"],
        "studies": row["review"],
        "program_words": words,
        "published_words": f"{told}; {row['review']}",
        "not_alike": ", ".join(part for part in (kinds[0], "different lengths") if part),
        "not_comparable": said,
        "not_computed": "" if words else "no mean reduction can be told",
    }
