"""Counted for the shareable sheet: of which wounds, sessions or weeks how many, and how many people stand behind."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from kit.delivered import delivered
from kit.delivery.shortfalls import fate_of_each
from kit.healing.answers import Answers, reached_by_the_horizon
from kit.healing.emulation import Rows
from kit.quarter import closed_in_quarter, open_in_quarter, reasons, weeks_in_quarter, within
from kit.study import Study
from kit.warned import answers_of
from kit.wounds.regimens import given

COLUMNS = ("shared", "things", "some", "all_of", "in_some", "in_all", "people_in", "people_out", "weighed")
WOUNDS, SESSIONS, WEEKS = "wounds", "sessions", "wound weeks"
REASON = "missed for the most frequent reason"


def counted(study: Study) -> pd.DataFrame:
    """Every number that the sheet may tell, before it is asked whether it may. Columns out: shared (its name), things
    (wounds, sessions, wound weeks), some and all_of (what is counted, and of what), in_some and in_all (how many),
    people_in (residents behind the first) and people_out (behind the rest), weighed (the share, where it is not the
    counts' own but one of the comparison).
    """
    rows = [*_of_wounds(study), *_of_sessions(study), *_of_weeks(study), *_of_starts(answers_of(study))]
    return pd.DataFrame(rows, columns=COLUMNS)


def first_reason(study: Study) -> str:
    """The most frequent reason of the quarter's missed sessions; blank where none was missed."""
    told = reasons(study)
    return str(told["reason"].iloc[0]) if len(told) and told["missed"].iloc[0] else ""


def _row(shared: str, things: str, some: str, all_of: str, chosen: np.ndarray, people: pd.Series) -> dict:
    """One number: `chosen` says of each of the things whether it is counted, `people` whose it is."""
    return {
        "shared": shared, "things": things, "some": some, "all_of": all_of,
        "in_some": int(chosen.sum()), "in_all": len(chosen), "people_in": people[chosen].nunique(),
        "people_out": people[~chosen].nunique(), "weighed": np.nan,
    }  # fmt: skip


def _of_wounds(study: Study) -> Iterator[dict]:
    standing = open_in_quarter(study.episodes, study.plan)
    had, ended = given(within(study.sessions, study.plan)), closed_in_quarter(study.episodes, study.plan)
    for shared, some in (("treated", had), ("closed", ended)):
        chosen = standing["wound"].isin(some["wound"]).to_numpy()
        yield _row(shared, WOUNDS, f"{shared} wounds", "open wounds", chosen, standing["resident"])


def _of_sessions(study: Study) -> Iterator[dict]:
    planned = within(study.sessions, study.plan)
    people = planned["wound"].map(study.wounds.set_index("wound")["resident"])
    if study.status_recorded:
        had = planned["status"].isin(["given", "shortened"]).to_numpy()
        missed = (planned["status"] == "missed").to_numpy()
        full = (fate_of_each(planned, delivered(study).judged)["fate"] == "full").to_numpy()
        yield _row("given", SESSIONS, "given", "planned", had, people)
        yield _row("full", SESSIONS, "full", "planned", full, people)
        named = planned["reason"].astype(object).fillna("not recorded") == first_reason(study)
        yield _row("reason", SESSIONS, REASON, "missed", named.to_numpy()[missed], people[missed])
    had = planned["status"].isin(["given", "shortened"]).to_numpy()
    asked = planned["reaction"].notna().to_numpy() & had
    reacted = (planned["reaction"] != "none").to_numpy()
    yield _row("reacted", SESSIONS, "reacted", "asked", reacted[asked], people[asked])


def _of_weeks(study: Study) -> Iterator[dict]:
    weeks = weeks_in_quarter(study)
    people = weeks["wound"].map(study.wounds.set_index("wound")["resident"])
    yield _row("measured", WEEKS, "measured", "weeks in view", weeks["fresh"].to_numpy(dtype=bool), people)


def _of_starts(answers: Answers) -> Iterator[dict]:
    """Of the comparison: how many were started, and what each side came to, where it may be told."""
    layout = answers.layout
    own, other = (layout.weeks.iloc[rows.week] for rows in (layout.starters, layout.others))
    could = pd.concat([own, other]).drop_duplicates("wound")
    yield _row("started", WOUNDS, "started", "could be started", could["wound"].isin(own["wound"]).to_numpy(),
               could["resident"])  # fmt: skip
    told = answers.told.iloc[0]
    if told["is_told"]:
        for arm, some, rows in (("treated", "started", layout.starters), ("beside", "others", layout.others)):
            yield _arm(answers, arm, some, rows) | {"weighed": float(told[f"{answers.measure}_{arm}"])}


def _arm(answers: Answers, arm: str, some: str, rows: Rows) -> dict:
    """One side of the comparison, each wound once: whether it came to what is compared by the horizon."""
    own = answers.layout.weeks.iloc[rows.week].assign(came=reached_by_the_horizon(answers.layout, rows))
    wounds = own.groupby("wound", sort=True).agg(came=("came", "any"), resident=("resident", "first"))
    shared = {"treated": "came after", "beside": "came without"}[arm]
    return _row(shared, WOUNDS, f"{some}, came to it", some, wounds["came"].to_numpy(dtype=bool), wounds["resident"])
