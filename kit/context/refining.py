"""Elements of the protocol asked by the same comparison: wounds that started one way beside those started another."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd
from scipy.stats import norm

from kit.delivery.orders import orders
from kit.healing.answers import in_brief, named
from kit.healing.comparison import Question, measure, questions
from kit.healing.emulation import Layout
from kit.healing.resampling import SEED
from kit.plan import ELEMENTS, WEEK, Plan, Regimen
from kit.study import Study
from kit.warned import answers_of
from kit.wounds.regimens import given

DRAWS = 200  # of residents, for each element: the range of a question, and no headline
WIDE = 1.959963984540054
STIMULATION, ULTRASOUND = "stimulation", "ultrasound"
NOT_RECORDED = "it is not recorded at the start of enough wounds, or is the same for all"
OF_THE_FACILITY = "it goes with the facility wholly, so that nobody can tell the two apart"
COLUMNS = [
    "element", "asked_beforehand", "one", "other", "one_starters", "other_starters", "measure", "horizon_weeks",
    "difference", "low", "high", "error", "shrunk", "shrunk_low", "shrunk_high", "not_computed",
]  # fmt: skip


@dataclass(frozen=True)
class Split:
    """Two ways of one element: their names, and which wounds had which (a label a wound; others are left out)."""

    one: str
    other: str
    labels: pd.Series


@lru_cache(maxsize=4)
def refined(study: Study) -> pd.DataFrame:
    """Each element of `kit.plan.ELEMENTS`: wounds that started one way beside those that started the other.

    Starts are told apart by what held then and by nothing later; the weights, the horizon and the limits are those of
    the comparison of two regimens (overlap weights). Columns out: element, asked_beforehand (the plan's `[refining]`
    names it), one, other (the two ways), one_starters, other_starters, measure, horizon_weeks; difference (one less
    other, points of 100), low, high, error; shrunk with its limits: drawn towards no difference as far as the plan's
    `spread` says that two ways differ at all (a normal prior with mean 0: Gelman et al. 2013, Bayesian Data Analysis,
    section 2.5); not_computed (why not; else blank). Limits of the elements asked beforehand are Bonferroni's among
    them; of the others only the shrunk numbers are to be told.
    """
    answers = answers_of(study)
    stopped, layout = answers.told["withheld_for"].iloc[0], answers.layout
    splits = {name: split_by(name, study) for name in ELEMENTS}
    asked = {} if stopped else {name: _pair(split, layout) for name, split in splits.items() if split is not None}
    found = dict(zip(asked, in_brief(layout, list(asked.values()), DRAWS, SEED), strict=True))
    rows = []
    for name, split in splits.items():
        row = dict.fromkeys(COLUMNS, np.nan) | {
            "element": name, "asked_beforehand": name in study.plan.refining.questions, "one": "", "other": "",
            "one_starters": 0, "other_starters": 0, "measure": "", "not_computed": stopped or NOT_RECORDED,
        }  # fmt: skip
        rows.append(row | _told(split, asked[name], layout, *found[name]) if name in asked else row)
    return _shrunk(pd.DataFrame(rows, columns=COLUMNS), study.plan)


def _told(split: Split, asked: Question, layout: Layout, pair: pd.Series, needs: pd.DataFrame) -> dict[str, object]:
    """What a row says of two ways that were compared."""
    what = measure(layout)
    row = {"one": split.one, "other": split.other, "one_starters": pair["starters"], "other_starters": pair["others"]}
    row |= {"measure": what, "horizon_weeks": layout.horizon // WEEK}
    if _is_the_facility(asked, layout):
        return row | {"not_computed": OF_THE_FACILITY}
    if not pair["is_told"]:
        return row | {"not_computed": _lacks(needs)}
    numbers = {name: 100 * pair[f"{what}_{name}"] for name in ("difference", "low", "high", "error")}
    return row | numbers | {"not_computed": "" if np.isfinite(numbers["difference"]) else NOT_RECORDED}


def _lacks(needs: pd.DataFrame) -> str:
    """The first thing that the comparison of two ways needs and does not have."""
    own = needs[~needs["met"]].iloc[0]
    return f"{named(needs)[own['need']]}: {own['found']:.0f} of the {own['needed']:.0f} needed"


def _shrunk(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """The numbers drawn towards none by a fixed prior; the error is had from the limits, never smaller than the draws'.

    Limits of elements asked beforehand are widened for their number, those of others need none: they are not told.
    """
    number = max(int((told["asked_beforehand"] & (told["not_computed"] == "")).sum()), 1)
    error = np.maximum(told["error"].astype(float), (told["high"] - told["low"]).astype(float) / (2 * WIDE))
    trust = plan.refining.spread**2 / (plan.refining.spread**2 + error**2)
    middle, off = trust * told["difference"], WIDE * np.sqrt(trust) * error
    times = float(norm.isf(0.025 / number)) / WIDE
    wide = {
        "low": told["difference"] - times * (told["difference"] - told["low"]),
        "high": told["difference"] + times * (told["high"] - told["difference"]),
    }
    return told.assign(**wide, shrunk=middle, shrunk_low=middle - off, shrunk_high=middle + off)[COLUMNS]


# --- how starts are told apart ---


def split_by(name: str, study: Study) -> Split | None:
    """The two ways of an element among wounds that started; None where fewer than two are seen."""
    values = SPLITS[name](_opening(study), study).dropna()
    # Sessions of the first day that say both ways show neither.
    values = values[values.groupby(level=0).transform("nunique") == 1]
    values = values[~values.index.duplicated()]
    ways = list(values.value_counts().index[:2])
    if len(ways) < 2:
        return None
    one, other = sorted(ways, key=str)
    return Split(one, other, values[values.isin(ways)])


def _opening(study: Study) -> pd.DataFrame:
    """The sessions given on the first day of each wound, by wound."""
    taken = given(study.sessions).sort_values(["day", "source_row"])
    return taken[taken["day"] == taken.groupby("wound")["day"].transform("min")].set_index("wound")


def _setup(opening: pd.DataFrame, study: Study) -> pd.Series:
    own = opening[opening["modality"] == STIMULATION]
    return own["setup"].astype(object).map({"monopolar": "monopolar set-up", "bipolar": "bipolar set-up"})


def _polarity(opening: pd.DataFrame, study: Study) -> pd.Series:
    own = opening[(opening["modality"] == STIMULATION) & (opening["setup"] != "bipolar")]
    words = {"negative": "negative at the wound first", "positive": "positive at the wound first"}
    return own["polarity"].astype(object).map(words)


def _turning(opening: pd.DataFrame, study: Study) -> pd.Series:
    """Whether the facility's protocol turns the polarity; with both electrodes at the wound there is none to turn."""
    own = opening[(opening["modality"] == STIMULATION) & (opening["setup"] != "bipolar")]
    home = study.episodes.set_index("wound")["facility"].reindex(own.index)
    turns = home.isin(study.plan.protocol.turning_facilities)
    if study.plan.protocol.polarity == "turning":
        turns = pd.Series(True, index=own.index)
    return turns.map({True: "polarity that turns", False: "one polarity throughout"}).astype(object)


def _first_minutes(opening: pd.DataFrame, study: Study) -> pd.Series:
    """Minutes of the first session, cut at the plan's, or at their median where that leaves too few on a side."""
    own = opening.loc[opening["modality"] == STIMULATION, "minutes"].astype(float).dropna()
    at, fewest = study.plan.protocol.first_minutes, study.plan.comparison.starters
    if min((own >= at).sum(), (own < at).sum()) < fewest:
        at = _middle(own)
    return _cut(own, at, f"{at:g} minutes or more at first", f"under {at:g} minutes at first")


def _frequency(opening: pd.DataFrame, study: Study) -> pd.Series:
    own = opening.loc[opening["modality"] == ULTRASOUND, "frequency"].astype(float).dropna()
    return own.map(lambda mhz: f"{mhz:g} MHz").astype(object)


def _per_week(opening: pd.DataFrame, study: Study) -> pd.Series:
    """Sessions of stimulation a week, by the order that held on the day of the start.

    Of stimulation alone: ultrasound is ordered less often, and the number would stand for the modality.
    """
    asked = study.sessions, study.measurements, study.episodes, study.wounds, study.residents, study.plan
    ordered = orders(study.spans, *asked)
    ordered = ordered[ordered["ordered"].isin(["monopolar", "bipolar"]) & ordered["per_week"].notna()]
    first = opening.loc[opening["modality"] == STIMULATION, "day"].rename("start").reset_index().drop_duplicates()
    rows = ordered.merge(first, on="wound")
    own = rows[rows["start"].between(rows["from_day"], rows["until"])].groupby("wound")["per_week"].max().astype(float)
    at = _middle(own)
    return _cut(own, at, f"{at:g} or more a week ordered", f"fewer than {at:g} a week ordered")


def _middle(values: pd.Series) -> float:
    """Where numbers are cut: at their median, or above it where nothing lies below."""
    middle = float(values.median())
    above = values[values > middle]
    return middle if (values < middle).any() or above.empty else float(above.min())


def _cut(values: pd.Series, at: float, above: str, below: str) -> pd.Series:
    return pd.Series(np.where(values >= at, above, below), index=values.index, dtype=object)


SPLITS = {
    "setup": _setup, "polarity": _polarity, "turning": _turning, "per_week": _per_week,
    "first_minutes": _first_minutes, "frequency": _frequency,
}  # fmt: skip


# --- the same comparison, under other names ---


def _pair(split: Split, layout: Layout) -> Question:
    """Wounds that started one way beside wounds that started the other; starts of neither way are left out."""
    label = layout.weeks["wound"].map(split.labels).fillna("another way").astype(object)
    weeks = layout.weeks.assign(starts=label.where(layout.weeks["starts"] != "", ""))
    rules = tuple(Regimen(name=name[:40], modality="other") for name in (split.one, split.other))
    *_, pair = questions(replace(layout, weeks=weeks), layout.plan.model_copy(update={"regimens": rules}))
    return pair


def _is_the_facility(asked: Question, layout: Layout) -> bool:
    """Whether both ways were started among the wounds compared, and in no facility both."""
    home = layout.weeks["facility"].to_numpy()
    one, other = (set(home[rows.week]) for rows in asked.rows)
    return bool(one and other) and not one & other
