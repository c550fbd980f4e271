"""Safety of what was given: reactions, sessions cut short, and sessions inside a contraindication or precaution."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
from scipy.stats import chi2

from kit.delivery.published import CONTRAINDICATION, NOT_SAID, PRECAUTION, listed
from kit.vocabulary import CONDITIONS, SESSIONS

HUNDRED = 100
ALL, ANY, NOT_RECORDED = "all", "any", "not recorded"
KINDS = tuple(kind for kind in SESSIONS.column("reaction").allowed if kind != "none")


def poisson_limits(events: int, level: float = 0.95) -> tuple[float, float]:
    """Exact limits of a count by chi-square (Garwood 1936, Biometrika 28:437); 4 events: 1.089865 to 10.241589.

    Of a rate, divide both by what the events were counted in. No event: 0 to 3.688879. Events are taken to come one by
    one and independently: where one person has many of them the range is too narrow.

    Raises ValueError for a count below zero, or a level that is not between 0 and 1.
    """
    if not (events >= 0 and 0 < level < 1):
        raise ValueError("A count is never below 0, and a level lies between 0 and 1.")
    tail = (1 - level) / 2
    low = float(chi2.ppf(tail, 2 * events)) / 2 if events else 0.0
    return low, float(chi2.ppf(1 - tail, 2 * (events + 1))) / 2


def _rate(events: int, of: int) -> dict[str, float]:
    """Per 100 sessions, with its limits; missing where there was none."""
    low, high = poisson_limits(events)
    rates = {"per_100": events, "low": low, "high": high}
    return {name: HUNDRED * value / of if of else np.nan for name, value in rates.items()}


def reactions(told: pd.DataFrame) -> pd.DataFrame:
    """Reactions per 100 sessions, a row a kind of reaction, for all modalities together and for each set-up.

    Columns in: given or shortened sessions as `kit.delivery.context.in_context` returns them, of the days to be judged.
    Columns out: modality (all first), setup (blank where it was none), reaction (any first), sessions, answered (those
    that say something of reactions, if only that there was none), unanswered (the others: counted, and in no rate),
    reactions (sessions with it), wounds, residents (with it), per_100 (answered sessions), low, high (95%, see
    `poisson_limits`). A row of the log that is a session of two wounds counts once. Missing where no session answers.
    """
    return _by_setup(told, _reactions, REACTIONS)


REACTIONS = [
    "modality", "setup", "reaction", "sessions", "answered", "unanswered", "reactions", "wounds", "residents",
    "per_100", "low", "high",
]  # fmt: skip


def _by_setup(told: pd.DataFrame, count: Callable[[pd.DataFrame], list[dict]], columns: list[str]) -> pd.DataFrame:
    """Rows of all sessions together, then of each modality and set-up."""
    rows = told.assign(modality=told["modality"].astype(object), setup=told["setup"].astype(object).fillna(""))
    groups = [((ALL, ""), rows), *rows.groupby(["modality", "setup"], sort=True)]
    counted = [{"modality": names[0], "setup": names[1], **row} for names, group in groups for row in count(group)]
    return pd.DataFrame(counted, columns=columns)


def _reactions(every: pd.DataFrame) -> list[dict[str, object]]:
    rows = every.drop_duplicates("source_row")
    said = rows[rows["reaction"].notna()]
    shown = {ANY: said[said["reaction"] != "none"], **{kind: said[said["reaction"] == kind] for kind in KINDS}}
    asked = {"sessions": len(rows), "answered": len(said), "unanswered": len(rows) - len(said)}
    return [
        {
            "reaction": kind,
            **asked,
            "reactions": len(found),
            **_whose(_all_of(found, every)),
            **_rate(len(found), len(said)),
        }
        for kind, found in shown.items()
    ]


def _all_of(found: pd.DataFrame, every: pd.DataFrame) -> pd.DataFrame:
    """The rows of all wounds that were treated in these sessions."""
    return every[every["source_row"].isin(found["source_row"])]


def _whose(found: pd.DataFrame) -> dict[str, int]:
    return {"wounds": found["wound"].nunique(), "residents": found["resident"].nunique()}


def cut_short(told: pd.DataFrame) -> pd.DataFrame:
    """Sessions cut short per 100 given, by reason, most frequent first, for all modalities and for each set-up.

    Columns in: those of `reactions`. Columns out: modality, setup, reason (any, then each; not recorded where none is),
    sessions (given or shortened), shortened, wounds, residents (with one), per_100, low, high (95%). An export that
    never says what became of a session has none cut short, and says nothing (`Study.status_recorded`).
    """
    return _by_setup(told, _cut_short, CUT_SHORT)


CUT_SHORT = [
    "modality", "setup", "reason", "sessions", "shortened", "wounds", "residents", "per_100", "low", "high",
]  # fmt: skip


def _cut_short(every: pd.DataFrame) -> list[dict[str, object]]:
    rows = every.drop_duplicates("source_row")
    short = rows[rows["status"] == "shortened"]
    reason = short["reason"].astype(object).fillna(NOT_RECORDED)
    shown = {ANY: short, **{name: short[reason == name] for name in _frequent(reason)}}
    return [
        {
            "reason": name,
            "sessions": len(rows),
            "shortened": len(found),
            **_whose(_all_of(found, every)),
            **_rate(len(found), len(rows)),
        }
        for name, found in shown.items()
    ]


def _frequent(words: pd.Series) -> list[str]:
    """Each word once, the most frequent first; of two as frequent, the one that stands first in the alphabet."""
    return list(words.value_counts().sort_index().sort_values(ascending=False, kind="stable").index)


def inside(told: pd.DataFrame, spans: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Sessions given or shortened while a contraindication or precaution was recorded for the wound or its person.

    For review by the treating clinician; local policy and licensed practice decide. Kept apart from everything else.

    Columns in: told as in `reactions`; those of spans; `table` as `kit.delivery.published.contraindications` reads it.
    Columns out, a row a session and span: source_row (of the session), span_row (of the span), wound, resident,
    facility, day, modality, setup, span (contraindication or precaution, as charted), condition (a word of
    `kit.vocabulary.CONDITIONS`; "not said" where the span carries none), listed (what the list says of it for that
    modality; it may differ from the chart, which may mean another modality). First and last day of a span are inside.
    """
    barred = spans[spans["span"].isin([CONTRAINDICATION, PRECAUTION])].rename(columns={"source_row": "span_row"})
    barred = barred[["span_row", "resident", "wound", "span", "value", "from_day", "to_day"]]
    rows = told[["source_row", "wound", "resident", "facility", "day", "modality", "setup"]]
    own, whole = barred[barred["wound"].notna()], barred[barred["wound"].isna() & barred["resident"].notna()]
    parts = [
        rows.merge(own.drop(columns="resident"), on="wound"),
        rows.merge(whole.drop(columns="wound"), on="resident"),
    ]
    pairs = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    over = (pairs["to_day"] < pairs["day"]).fillna(False).astype(bool)
    pairs = pairs[(pairs["from_day"] <= pairs["day"]) & ~over]
    value = pairs["value"].astype(object)
    condition = value.where(value.isin(CONDITIONS), NOT_SAID)
    pairs = pairs.assign(
        span=pairs["span"].astype(object), condition=condition, listed=listed(condition, pairs["modality"], table)
    )
    return pairs[INSIDE].sort_values(["facility", "wound", "day", "source_row", "span_row"], ignore_index=True)


INSIDE = [
    "source_row", "span_row", "wound", "resident", "facility", "day", "modality", "setup", "span", "condition",
    "listed",
]  # fmt: skip


def inside_by_condition(found: pd.DataFrame) -> pd.DataFrame:
    """The same sessions by what was recorded and what the facility's list says of it, most sessions first.

    Columns in: those of `inside`. Columns out: facility, span, condition, modality, listed, inside (sessions), wounds,
    residents. A session inside two spans counts in the rows of both.
    """
    keys = ["facility", "span", "condition", "modality", "listed"]
    rows = found.assign(modality=found["modality"].astype(object)).drop_duplicates([*keys, "source_row", "wound"])
    by = rows.groupby(keys, sort=True)
    table = pd.DataFrame({"inside": by.size(), "wounds": by["wound"].nunique(), "residents": by["resident"].nunique()})
    return table.reset_index().sort_values(
        ["span", "inside"], ascending=[True, False], kind="stable", ignore_index=True
    )


def inside_by_facility(found: pd.DataFrame, told: pd.DataFrame, spans: pd.DataFrame) -> pd.DataFrame:
    """How many sessions each facility gave inside a recorded contraindication, and inside a precaution.

    Columns in: found as `inside` returns it for the sessions told, and the spans it was found with. Columns out:
    facility, span, sessions (given or shortened), inside (those in such a span, each once), wounds, residents,
    from_day, to_day (first and last such session), per_100, charted (spans of that kind in the export; where it is 0
    nothing can be found, and none inside says nothing). No range: the sessions of one span come together.
    """
    kinds = (CONTRAINDICATION, PRECAUTION)
    charted = {kind: int((spans["span"] == kind).sum()) for kind in kinds}
    rows = [
        {
            "facility": facility,
            "span": kind,
            "sessions": given["source_row"].nunique(),
            **_inside(found, facility, kind),
            "charted": many,
        }
        for facility, given in told.groupby("facility", sort=True)
        for kind, many in charted.items()
    ]
    table = pd.DataFrame(rows, columns=BY_FACILITY[:-2] + ["charted"])
    table = table.assign(per_100=HUNDRED * table["inside"].astype(float) / table["sessions"].astype(float))
    return table[BY_FACILITY].astype({"from_day": "Int64", "to_day": "Int64"})


BY_FACILITY = [
    "facility", "span", "sessions", "inside", "wounds", "residents", "from_day", "to_day", "per_100", "charted",
]  # fmt: skip


def _inside(found: pd.DataFrame, facility: str, kind: str) -> dict[str, object]:
    here = found[(found["facility"] == facility) & (found["span"] == kind)]
    days = (here["day"].min(), here["day"].max()) if len(here) else (pd.NA, pd.NA)
    return {"inside": here["source_row"].nunique(), **_whose(here), "from_day": days[0], "to_day": days[1]}
