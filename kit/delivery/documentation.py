"""What an export shows of what US NCD 270.1 asks of electrical stimulation, week by week: no coverage decision."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.context import NOT_NAMED
from kit.delivery.signs import NO, NOT_KNOWN, STALE_DAYS, sign_within
from kit.delivery.worklist import evaluations
from kit.healing.covariates import held
from kit.plan import WEEK
from kit.wounds.regimens import given

SHOWN, OTHERWISE = "shown in this export", "the export shows otherwise"
NOT_SHOWN, CHART = "not shown in this export", "needs the chart"
ANSWERS = (SHOWN, OTHERWISE, NOT_SHOWN, CHART)
ABSENCE = (
    "evaluation",
)  # what is not recorded of these may still have been done; of the others the records say the contrary
DAYS = 30  # of NCD 270.1
CLOSE = 10  # days of each end of them within which care must be recorded; common practice, no source
KINDS = ("pressure_injury", "arterial", "diabetic_foot", "venous")
STAGES = ("3", "4")
CARE_SPANS = ("support_surface", "offloading", "compression", "negative_pressure", "antibiotic")
REQUIREMENTS = {
    "kind": "A pressure, arterial, diabetic or venous wound",
    "stage": "Stage 3 or 4, of a pressure injury",
    "chronic": "Not healed within 30 days of its beginning",
    "care": "Open for 30 days before the first session, with some care recorded near both ends (what care: chart)",
    "no_sign_before": "No measurable sign of healing in those 30 days",
    "evaluation": "Evaluated at least every 30 days (by whom: chart)",
    "sign": "A measurable sign of healing within each 30 days of treatment",
    "stop": "Not treated once fully epithelialized",
}
# Why an answer is what it is, by requirement and answer.
BECAUSE = {
    ("kind", OTHERWISE): "the kind of wound is not in the wording",
    ("kind", CHART): "no kind is recorded",
    ("stage", OTHERWISE): "the stage is not in the wording",
    ("stage", CHART): "no stage is recorded up to then",
    ("chronic", OTHERWISE): "30 days have not passed since it began",
    ("chronic", CHART): "when it began is not recorded, and it was first measured less than 30 days before",
    ("care", OTHERWISE): "it began less than 30 days before the first session",
    ("care", CHART): "30 days of care before the first session are not in the export",
    ("no_sign_before", OTHERWISE): "a measurable sign is recorded in those 30 days",
    ("no_sign_before", CHART): "not measured at both ends of those 30 days",
    ("evaluation", NOT_SHOWN): "no evaluation in the 30 days up to the last session of the week",
    ("evaluation", CHART): "the export holds no evaluations",
    ("sign", OTHERWISE): "no measurable sign in the 30 days up to the last session of the week",
    ("sign", CHART): "not measured at both ends of the 30 days",
    ("stop", OTHERWISE): "a session was given after the wound was recorded fully epithelialized",
    (
        "stop",
        CHART,
    ): "not measured in the 14 days before a session, or the bed recorded epithelial while the wound was open",
}


def treated_weeks(sessions: pd.DataFrame, wounds: pd.DataFrame, residents: pd.DataFrame) -> pd.DataFrame:
    """Each week of a wound in which electrical stimulation was given, counted from its first such session.

    Columns out: wound, resident, facility, week (from 0), first_given and last_given (days of the week's sessions),
    sessions, start_day. Ultrasound is outside NCD 270.1, so a week of ultrasound alone is none of these.
    """
    taken = given(sessions)
    taken = taken[taken["modality"] == "stimulation"][["wound", "day"]]
    taken = taken.assign(start_day=taken.groupby("wound")["day"].transform("min"))
    taken = taken.assign(week=(taken["day"] - taken["start_day"]) // WEEK)
    weeks = taken.groupby(["wound", "start_day", "week"], as_index=False)["day"].agg(
        first_given="min", last_given="max", sessions="size"
    )
    owner = weeks["wound"].map(wounds.set_index("wound")["resident"])
    home = owner.map(residents.set_index("resident")["facility"]).fillna(NOT_NAMED)
    weeks = weeks.assign(resident=owner, facility=home)
    columns = ["wound", "resident", "facility", "week", "first_given", "last_given", "sessions", "start_day"]
    return weeks[columns].sort_values(["wound", "week"], ignore_index=True)


def documentation(
    weeks: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    sessions: pd.DataFrame,
    procedures: pd.DataFrame,
    spans: pd.DataFrame,
    stages: pd.DataFrame,
    episodes: pd.DataFrame,
) -> pd.DataFrame:
    """What the export shows of each requirement in each treated week: a row a week and requirement.

    Columns in: `weeks` as `treated_weeks` returns it; the rest as in the study. Columns out: those of weeks,
    requirement, answer (shown in this export, the export shows otherwise, not shown in this export, needs the chart),
    because (why it is not shown; else blank). Only an evaluation is not shown where none is recorded; of all else the
    records then show the contrary.

    | requirement | shown | needs the chart |
    | --- | --- | --- |
    | kind | pressure injury, arterial, diabetic foot, venous | no kind recorded |
    | stage (pressure injuries, or no kind recorded) | stage of record 3 or 4 | no stage recorded up to the week |
    | chronic | began, or was first measured open, 30 days before the week | no beginning recorded, seen for less |
    | care | measured open for 30 days before the start, with care recorded in them | it began earlier, or may have |
    | no_sign_before | size known, no sign, see `kit.delivery.signs` | not measured at both ends |
    | evaluation | an evaluation, or a measurement by a practitioner, in the 30 days up to the week's last session | \
the export holds none at all |
    | sign (from day 30 of treatment) | any sign between 30 days before the last session and that day | not measured |
    | stop | before each session last measured open, within 14 days | not measured in them, or the bed epithelial |

    Care is a dressing, a debridement, or a span of a dressing, support surface, offloading, compression, negative
    pressure or antibiotic. An evaluation does not say by whom: that the treating physician made it needs the chart.
    Stage 2, unstageable and deep tissue injuries are outside the wording. A bed whose worst tissue is epithelial may
    still be open between islands of it, so only a closed wound is fully epithelialized.

    Source: CMS, NCD 270.1, version 2 (2004); the text of version 3 was not seen. Contractors differ.
    """
    known = _known(weeks, wounds, stages, episodes)
    answers = {
        "kind": _told(known["kind"].isin(KINDS), known["kind"].notna()),
        "stage": _stage(known),
        "chronic": _chronic(known),
        "care": _care(known, procedures, spans),
        "no_sign_before": _no_sign_before(known, measurements),
        "evaluation": _evaluation(known, evaluations(procedures, measurements)),
        "sign": _sign(known, measurements),
        "stop": _stop(known, measurements, sessions),
    }
    parts = [weeks.assign(requirement=name, answer=_otherwise(name, answer)) for name, answer in answers.items()]
    told = pd.concat(parts, ignore_index=True)
    told = told[told["answer"] != ""]
    why = [BECAUSE.get((name, answer), "") for name, answer in zip(told["requirement"], told["answer"], strict=True)]
    order = told["requirement"].map(list(REQUIREMENTS).index)
    told = told.assign(because=pd.Series(why, index=told.index, dtype=object), order=order)
    return told.sort_values(["wound", "week", "order"], ignore_index=True).drop(columns="order")


def _otherwise(requirement: str, answer: np.ndarray) -> np.ndarray:
    return answer if requirement in ABSENCE else np.where(answer == NOT_SHOWN, OTHERWISE, answer)


def _known(weeks: pd.DataFrame, wounds: pd.DataFrame, stages: pd.DataFrame, episodes: pd.DataFrame) -> pd.DataFrame:
    """The weeks with the wound's kind, beginning, first open measurement, and stage of record on the first session."""
    own, entry = wounds.set_index("wound"), episodes.set_index("wound")["entry_day"]
    rows = weeks.assign(
        kind=weeks["wound"].map(own["kind"].astype(object)),
        onset=weeks["wound"].map(own["onset"]).astype("Int64"),
        entry_day=weeks["wound"].map(entry).astype("Int64"),
        row=np.arange(len(weeks)),
    ).astype({"wound": object, "first_given": "int64"})
    dated = stages[["wound", "day", "stage_of_record"]].astype({"wound": object, "day": "int64"})
    joined = pd.merge_asof(
        rows.sort_values("first_given"), dated.sort_values("day"), left_on="first_given", right_on="day", by="wound"
    )
    return joined.sort_values("row", ignore_index=True).drop(columns=["row", "day"])


def _told(shown: pd.Series, known: pd.Series) -> np.ndarray:
    shown, known = (part.fillna(False).to_numpy(dtype=bool) for part in (shown, known))
    return np.select([shown, known], [SHOWN, NOT_SHOWN], CHART).astype(object)


def _stage(known: pd.DataFrame) -> np.ndarray:
    answer = _told(known["stage_of_record"].isin(STAGES), known["stage_of_record"].notna())
    asked = (known["kind"] == "pressure_injury") | known["kind"].isna()
    return np.where(asked, answer, "")


def _chronic(known: pd.DataFrame) -> np.ndarray:
    began = known["onset"].fillna(known["entry_day"])
    return _told(known["first_given"] - began >= DAYS, known["onset"].notna())


def _care(known: pd.DataFrame, procedures: pd.DataFrame, spans: pd.DataFrame) -> np.ndarray:
    """Shown where care is recorded at both ends of the 30 days; too early only where the wound itself is younger."""
    own = spans[(spans["span"] != "ordered_regimen") | (spans["value"] == "dressing")]
    ends = [known["start_day"] - DAYS, known["start_day"] - 1]
    kinds = (*CARE_SPANS, "ordered_regimen")
    cared = np.logical_and.reduce([held(known.assign(begins=day), own, kinds, day) for day in ends])
    done = procedures.loc[procedures["procedure"].isin(["dressing", "debridement"]), ["wound", "day"]]
    pairs = known[["wound", "start_day"]].drop_duplicates().merge(done, on="wound")
    before = pairs["start_day"] - pairs["day"]
    first, last = (pairs.loc[before.between(*days), "wound"] for days in ((DAYS - CLOSE + 1, DAYS), (1, CLOSE)))
    cared |= (known["wound"].isin(first) & known["wound"].isin(last)).to_numpy()
    seen = known["start_day"] - known["entry_day"] >= DAYS
    return _told(seen.fillna(False) & cared, known["start_day"] - known["onset"] < DAYS)


def _signs(known: pd.DataFrame, to_day: pd.Series, measurements: pd.DataFrame) -> pd.Series:
    asked = known[["wound"]].assign(from_day=to_day - DAYS, to_day=to_day)
    return sign_within(asked, measurements)


def _no_sign_before(known: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    sign = _signs(known, known["start_day"], measurements)
    return _told(sign == NO, sign != NOT_KNOWN)


def _evaluation(known: pd.DataFrame, evaluated: pd.DataFrame) -> np.ndarray:
    pairs = known[["wound", "week", "last_given"]].merge(evaluated, on="wound")
    near = pairs[(pairs["last_given"] - pairs["day"]).between(0, DAYS)]
    weeks = pd.MultiIndex.from_frame(near[["wound", "week"]])
    shown = pd.MultiIndex.from_frame(known[["wound", "week"]]).isin(weeks)
    return _told(pd.Series(shown), pd.Series(len(evaluated) > 0, index=known.index))


def _sign(known: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    sign = _signs(known, known["last_given"], measurements)
    answer = _told(sign == "yes", sign != NOT_KNOWN)
    return np.where(known["last_given"] - known["start_day"] >= DAYS, answer, "")


def _stop(known: pd.DataFrame, measurements: pd.DataFrame, sessions: pd.DataFrame) -> np.ndarray:
    taken = given(sessions)
    taken = taken[(taken["modality"] == "stimulation") & taken["wound"].isin(known["wound"])][["wound", "day"]]
    pairs = _last_before(taken, measurements)
    starts = pairs["wound"].map(known.drop_duplicates("wound").set_index("wound")["start_day"])
    doubtful = (pairs["tissue"] == "epithelial") | ~(pairs["day"] - pairs["seen"] <= STALE_DAYS)
    shut = (pairs["state"] == "closed") | (pairs["tissue"] == "closed")
    pairs = pairs.assign(week=(pairs["day"] - starts) // WEEK, shut=shut, doubtful=doubtful)
    by = pairs.groupby(["wound", "week"])[["shut", "doubtful"]].any()
    by = by.reindex(pd.MultiIndex.from_frame(known[["wound", "week"]]))
    return np.select([by["shut"].eq(True), by["doubtful"].eq(True)], [NOT_SHOWN, CHART], SHOWN).astype(object)


def _last_before(taken: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """The last measurement before each session's day: one of the day itself may have been made after it."""
    seen = measurements[["wound", "day", "state", "tissue"]].rename(columns={"day": "seen"}).sort_values("seen")
    seen = seen.astype({"wound": object, "seen": "int64", "state": object, "tissue": object})
    order = taken.sort_values("day").astype({"wound": object, "day": "int64"})
    return pd.merge_asof(order, seen, left_on="day", right_on="seen", by="wound", allow_exact_matches=False)


def counted(told: pd.DataFrame) -> pd.DataFrame:
    """How many weeks have each answer: requirement, answer, weeks, wounds. In the order of requirements and answers."""
    groups = told.groupby(["requirement", "answer"])["wound"].agg(weeks="size", wounds="nunique").reset_index()
    order = [list(REQUIREMENTS).index(name) for name in groups["requirement"]]
    places = [ANSWERS.index(name) for name in groups["answer"]]
    groups = groups.assign(order=order, answer_place=places).sort_values(["order", "answer_place"], ignore_index=True)
    return groups[["requirement", "answer", "weeks", "wounds"]]
