"""What limited this quarter most: every unknown with how much it took away, and what would mend it."""

from __future__ import annotations

from math import floor

import numpy as np
import pandas as pd

from kit.bias.warnings import firing
from kit.context.could_have_seen import DRAWN_FROM
from kit.delivered import delivered
from kit.healing.answers import Answers, named
from kit.healing.comparison import ANY, NONE
from kit.healing.trials import ALONE, ELIGIBLE, TOO_EARLY, TOO_LATE
from kit.sensitivity.bounds import LEAST, MOST, bounds
from kit.study import Study
from kit.warned import answers_of, warned
from kit.words import count, sentence, share

COLUMNS = ["unknown", "says", "lost", "helps"]
HELPS = {
    "needs": "More quarters, or more facilities together.",
    "unmeasured": "Measure every open wound every week, those that were not started too.",
    "untied": "Write the wound into the therapy log, or person, site and side.",
    "outside": "Measure a wound in the week in which it is started, and keep two weeks of usual care before.",
    "unlike": "Start some wounds of every kind later, by lot rather than by choice: see the staggered start.",
    "departures": "Record where residents go, and ask the next place for the wound's state.",
    "unrecorded": "Record these settings in the therapy log.",
}


def limits(study: Study) -> pd.DataFrame:
    """What limited the answer, most first: unknown, says (with its number), lost, helps.

    `lost` is the share (0 to 1) of what would be needed, or was there to be known, that is missing: of a need what
    lacks of it; of days, sessions and starts those that cannot be used; of those beside how much less they are worth
    than they are; of departures the points of 100 between their bounds. Warnings that fired are told with what they
    say and without a share, and stand last. Shares of different things are put in one order to say where to look first,
    and for nothing else.
    """
    answers = answers_of(study)
    rows = [*_needs(answers), _of_warning(study, "unmeasured", "unmeasured"), _of_warning(study, "unlinked", "untied")]
    rows += [_outside(answers), _unlike(answers), _departures(study, answers), _unrecorded(study)]
    told = pd.DataFrame([row for row in rows if row], columns=COLUMNS)
    told = told[told["lost"] > 0].sort_values("lost", ascending=False, kind="stable")
    said = set(told["says"])  # what is measured above and fires too stands once
    fired = [(row["warning"], row["says"], np.nan, row["to_do"]) for row in _fired(study) if row["says"] not in said]
    return pd.concat([told, pd.DataFrame(fired, columns=COLUMNS)] if fired else [told], ignore_index=True)


def _fired(study: Study) -> list[dict]:
    return firing(warned(study)).to_dict("records")


def _needs(answers: Answers) -> list[tuple]:
    """What the comparison of any modality beside none lacks; of several needs of one thing each stands for itself."""
    needs = answers.needs
    own = needs[(needs["treated"] == ANY) & (needs["beside"] == NONE) & ~needs["met"]]
    words = named(needs)
    return [
        (row["need"], f"{sentence(words[row['need']])}: {floor(row['found'])} of the {row['needed']:.0f} needed.",
         1 - row["found"] / row["needed"], HELPS["needs"])
        for row in own.to_dict("records")
    ]  # fmt: skip


def _of_warning(study: Study, warning: str, unknown: str) -> tuple:
    """The share that a warning computes, whether or not it fires."""
    asked = warned(study).set_index("warning").loc[warning]
    if asked["not_computed"]:
        return ()
    return unknown, asked["says"], min(float(asked["number"]), 1.0), HELPS[unknown]


def _outside(answers: Answers) -> tuple:
    """Starts that no quarter will ever compare; those of other months are compared elsewhere and do not count."""
    starts = answers.outside.set_index("reason")["starters"]
    never = starts.drop(labels=[ELIGIBLE, TOO_EARLY, TOO_LATE, ALONE], errors="ignore")
    seen, lost = int(starts.get(ELIGIBLE, 0) + never.sum()), int(never.sum())
    if not lost:
        return ()
    most = never.idxmax()
    says = f"Of {count(seen, 'start')} {lost} cannot be compared ({share(lost, seen)}); most of them: {most}."
    return "outside", says, lost / seen, HELPS["outside"]


def _unlike(answers: Answers) -> tuple:
    row = answers.told.iloc[0]
    people, worth = int(row["others_residents"]), float(row["effective_residents"])
    if not people or not np.isfinite(worth) or row["starters"] < DRAWN_FROM:
        return ()
    says = f"Those beside are {count(people, 'resident')}, and worth {worth:.0f}: most are unlike those that started."
    return "unlike", says, max(1 - worth / people, 0.0), HELPS["unlike"]


def _departures(study: Study, answers: Answers) -> tuple:
    table = bounds(answers, study.measurements).set_index("case")
    wide = float(table.loc[MOST, "amount"] - table.loc[LEAST, "amount"]) / 100
    if not np.isfinite(wide):
        return ()
    lost = int(table.loc[MOST, "starters_lost"]), int(table.loc[MOST, "others_lost"])
    says = f"Wounds that left open, or were lost from sight ({lost[0]} that started, {lost[1]} beside), could move the "
    return "departures", f"{says}answer within {round(100 * wide)} points of 100.", wide, HELPS["departures"]


def _unrecorded(study: Study) -> tuple:
    done = delivered(study)
    absent, every = len(done.absent), len(done.absent) + done.judged["element"].nunique()
    if not absent:
        return ()
    listed = ", ".join(name.replace("_", " ") for name in done.absent)
    return "unrecorded", f"Never recorded: {listed}.", absent / every, HELPS["unrecorded"]
