"""Who stands on which side: starts left out, who started later, and what else came with a start."""

from __future__ import annotations

from math import log

import numpy as np
import pandas as pd
from scipy.stats import binom

from kit.bias.beside import CHANCE, NO_PAIR, co_treatment, measured_more, towards
from kit.bias.evidence import (
    CARE,
    FACT,
    NOT_KNOWN,
    NOTE,
    PRACTICE,
    SHOWN,
    Check,
    Evidence,
    Warned,
    not_computed,
)  # fmt: skip
from kit.healing.emulation import Layout
from kit.healing.other_arms import closed_by
from kit.healing.trials import ELIGIBLE, REASONS, window
from kit.plan import WEEK
from kit.words import count, share, spoken

OUTSIDE_ABOVE = 0.2  # of the starts that were seen; common practice, no source
LATER_ABOVE = 0.5  # of those beside; common practice, no source (clean invented facilities: 0.15 to 0.34)
BARRED_ABOVE = 0.1  # at least so far above their share of weeks; common practice, no source
BARRING = ("contraindication", "comfort_goal")


# --- starts that are not compared, and those that came later ---


def outside(evidence: Evidence) -> Warned:
    """Starts that the chart keeps out of the comparison, of all that were seen: number is their share (0 to 1).

    Starts outside the months that are compared are told and not counted: they are compared in other quarters. Wounds
    already treated when first measured are a warning of their own (`running`), as are facilities where all started.
    """
    starts = evidence.answers.outside.set_index("reason")["starters"]
    kept_out = starts[starts.index.isin(REASONS)]
    weeks = evidence.weeks.weeks
    seen = weeks.loc[weeks["starts"] != "", "wound"].nunique()
    if not seen:
        return not_computed("no start was seen")
    out = int(kept_out.sum())
    why = "".join(f"; {number} {reason}" for reason, number in kept_out.items())
    says = f"Of {count(seen, 'start')} {out} cannot be compared for what the chart holds ({share(out, seen)}{why})."
    return Warned(out / seen, OUTSIDE_ABOVE, out / seen > OUTSIDE_ABOVE, says=says)


def started_later(evidence: Evidence) -> Warned:
    """Wounds beside that started within the horizon, and are left from then on: number is their share (0 to 1).

    The direction is that of leaving them: where those who start later are the larger wounds, those who stay beside
    close sooner than all of them would. Weights are made to undo it, as far as charts hold why.
    """
    layout = evidence.answers.layout
    rows = layout.weeks.iloc[layout.others.week]
    if rows.empty:
        return not_computed("nobody stands beside")
    days = (rows["start_day"] - rows["ends"]).to_numpy(dtype=float, na_value=np.inf)
    later = days <= layout.horizon
    number, beside = rows.loc[later, "wound"].nunique(), rows["wound"].nunique()
    larger = rows.loc[later, "log_size"].mean() - rows.loc[~later, "log_size"].mean()
    says = f"Of {count(beside, 'wound')} beside {number} started within the {layout.horizon // WEEK} weeks after "
    fires = number / beside > LATER_ABOVE
    return Warned(number / beside, LATER_ABOVE, fires, towards(-larger), f"{says}({share(number, beside)}).")


def reach(evidence: Evidence) -> Warned:
    """Of the wounds that could have been started, how many were: number is their share (0 to 1); it never fires."""
    could, starts = evidence.answers.could, evidence.answers.outside
    wounds = int(could.loc[could["reason"] == ELIGIBLE, "wounds"].sum())
    began = int(starts.loc[starts["reason"] == ELIGIBLE, "starters"].sum())
    if not wounds:
        return not_computed("no wound could have been started")
    says = f"Of {count(wounds, 'wound')} that could have been started {began} were ({share(began, wounds)})."
    return Warned(began / wounds, says=says)


# --- facilities and stages in which all or none started ---


def all_or_none(evidence: Evidence) -> Warned:
    """A facility, or a stage of pressure injuries, in which all or none started: number is its residents.

    The threshold is the number of residents from which chance would leave none (or all) less than once in 100, were
    starts as frequent there as elsewhere. Told is the one that goes furthest beyond its threshold. Those of such a
    facility are not compared; of a stage, those who stand alone count, and the direction is read off what they came to.
    """
    cells = [rows for rows in (_by_facility(evidence), _by_stage(evidence.answers.layout)) if _tells(rows)]
    if not cells:
        return not_computed("neither several facilities nor several stages with starts are recorded")
    cells = pd.concat(cells, ignore_index=True)
    alone = cells[(cells["started"] == 0) | (cells["started"] == cells["people"])]
    if alone.empty:
        needed = _fewest(cells.assign(started=0), len(cells)).min()
        return Warned(0.0, float(needed), says="In every facility, and at every stage, some started and some did not.")
    needed = _fewest(alone, len(cells))
    row = (alone["people"] / needed).idxmax()
    told = alone.loc[row]
    none = told["started"] == 0
    says = f"{told['what']}: {'none' if none else 'all'} of {count(int(told['people']), 'resident')} started a modality"
    fires = bool(told["people"] > needed[row])
    direction = _of_stage(evidence.answers.layout, told["cell"], none) if told["is_stage"] else NOT_KNOWN
    return Warned(float(told["people"]), float(needed[row]), fires, direction, f"{says}.")


def _by_facility(evidence: Evidence) -> pd.DataFrame:
    """Of each facility: residents who could have been started, or could have had there been a program, and were."""
    weeks, layout = evidence.weeks.weeks, evidence.answers.layout
    rows = weeks[weeks["before"] & weeks["reason"].isin(["", REASONS[-1]])]
    limits = window(evidence.study.plan, layout.horizon)
    rows = rows if limits is None else rows[rows["ends"].between(*limits)]
    return _cells(rows, "facility", "Facility ").assign(is_stage=False)


def _by_stage(layout: Layout) -> pd.DataFrame:
    rows = layout.weeks.iloc[np.concatenate([layout.starters.week, layout.others.week])]
    rows = rows[(rows["kind"] == "pressure_injury") & rows["stage_of_record"].notna()]
    return _cells(rows, "stage_of_record", "Stage ").assign(is_stage=True)


def _cells(rows: pd.DataFrame, by: str, word: str) -> pd.DataFrame:
    """Residents and those who started, a row a value of `by`; elsewhere: the share who started in all others."""
    people = rows.groupby(by, observed=True)["resident"].nunique()
    began = rows[rows["starts"] != ""].groupby(by, observed=True)["resident"].nunique().reindex(people.index).fillna(0)
    told = pd.DataFrame({"people": people, "started": began}).rename_axis("cell").reset_index()
    elsewhere = (began.sum() - began) / (people.sum() - people).clip(lower=1)
    what = [f"{word}{spoken(str(name))}" for name in told["cell"]]
    return told.assign(elsewhere=elsewhere.to_numpy(), what=what).astype({"cell": object})


def _tells(cells: pd.DataFrame) -> bool:
    """Whether there are several, and some started in them and some did not."""
    return len(cells) > 1 and 0 < cells["started"].sum() < cells["people"].sum()


def _fewest(alone: pd.DataFrame, looked_at: int) -> pd.Series:
    """From how many residents on chance would hardly let none, or all, of them start."""
    likely = alone["elsewhere"].mask(alone["started"] == 0, 1 - alone["elsewhere"])
    return log(CHANCE / looked_at) / np.log(likely.clip(1e-6, 1 - 1e-6))


def _of_stage(layout: Layout, stage: str, none: bool) -> str:
    """Which way a stage that stands on one side alone pushes: by whether more of it closed than of that side's rest."""
    rows = layout.others if none else layout.starters
    own = (layout.weeks["stage_of_record"].iloc[rows.week] == stage).to_numpy(dtype=bool)
    if own.all():
        return NOT_KNOWN
    gain = closed_by(rows)[own].mean() - closed_by(rows)[~own].mean()
    return towards(-gain if none else gain)


# --- bars that were looked for on one side alone ---


def comfort(evidence: Evidence) -> Warned:
    """Contraindications and comfort goals recorded of those started alone: number is their share of all such residents.

    Who has one is not started, so that those started should have fewer. More than their share of the weeks seen means
    that it was asked of them alone, and that those beside hold wounds that should not have been compared. The threshold
    is the share that chance would cross once in 100, at least 0.1 above that of the weeks. The direction is read off
    whether wounds with one closed less often than the others.
    """
    seen = evidence.study.episodes
    seen = seen[seen["in_cohort"] & ~seen["running"] & seen["entry_day"].notna()]
    seen = seen.assign(barred=_barred(seen, evidence.study.spans), began=seen["start_day"].notna())
    people = seen.assign(days=seen["end_day"] - seen["entry_day"] + 1).groupby("resident")
    people = people.agg(barred=("barred", "max"), began=("began", "max"), days=("days", "sum")).astype(int)
    number, own = int(people["barred"].sum()), people[people["began"] == 1]
    if not number:
        return not_computed("no contraindication or comfort goal is recorded")
    if not 0 < len(own) < len(people):
        return not_computed(NO_PAIR)
    mine, weeks = int(own["barred"].sum()), own["days"].sum() / people["days"].sum()
    threshold = max(float(binom.isf(CHANCE, number, weeks)) / number, float(weeks) + BARRED_ABOVE)
    says = f"A contraindication or comfort goal is recorded of {count(number, 'resident')}; {mine} of them "
    says += (
        f"({share(mine, number)}) had a wound that started, and who had one makes up {100 * weeks:.0f}% of the weeks."
    )
    return Warned(mine / number, threshold, mine / number > threshold, _of_barred(seen), says)


def _of_barred(seen: pd.DataFrame) -> str:
    """Wounds that should not stand beside push as they close: less often than the others makes starting look better."""
    closed, barred = seen["outcome"] == "closed", seen["barred"]
    return towards(closed[~barred].mean() - closed[barred].mean())


def _barred(seen: pd.DataFrame, spans: pd.DataFrame) -> np.ndarray:
    """Of each wound: whether a contraindication or a comfort goal was recorded of it, or its person, before its end."""
    bars, held = spans[spans["span"].isin(BARRING)], np.zeros(len(seen), dtype=bool)
    asked = seen[["wound", "resident", "end_day"]].assign(row=np.arange(len(seen)))
    for key, of in (("wound", bars["wound"].notna()), ("resident", bars["wound"].isna())):
        pairs = asked[["row", key, "end_day"]].astype({key: object}).merge(bars.loc[of, [key, "from_day"]], on=key)
        held[pairs.loc[(pairs["from_day"] <= pairs["end_day"]).fillna(False).astype(bool), "row"]] = True
    return held


CHECKS: dict[str, Check] = {
    "outside": Check(
        outside, FACT, "Are many starts outside the comparison?", CARE, PRACTICE,
        "See that a wound is measured in the week in which it starts, and that the plan names what the program starts.",
    ),
    "started_later": Check(
        started_later, FACT, "Did many of those beside start later?", CARE, PRACTICE,
        "Read the row of those who started later or never beside the answer, and expect a shorter horizon.",
    ),
    "all_or_none": Check(
        all_or_none, FACT, "Did all or none start in a facility or at a stage?", CARE, PRACTICE,
        "Name in the plan the stages that the program starts, and see whether the facility's sessions were exported.",
    ),
    "co_treatment": Check(
        co_treatment, FACT, "Did another treatment begin together with the start?", CARE, PRACTICE,
        "Say that the answer is about both together, and record when other treatments begin and end.",
    ),
    "measured_more": Check(
        measured_more, FACT, "Were wounds that started measured more often before?", NOTE, PRACTICE,
        "Measure every open wound every week, whether or not a modality is thought of.",
    ),
    "comfort": Check(
        comfort, FACT, "Were contraindications recorded of those started alone?", NOTE, PRACTICE,
        "Record contraindications and comfort goals of every resident with a wound, not of those referred alone.",
    ),
    "reach": Check(
        reach, SHOWN, "Of the wounds that could have been started, how many were?", NOTE, PRACTICE,
        "Nothing: it tells of whom the answer speaks.",
    ),
}  # fmt: skip
