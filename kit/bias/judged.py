"""How closings were seen: by whom, and how long after the wound was last seen open."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.bias.beside import towards
from kit.bias.evidence import NOT_KNOWN, Evidence, Warned, not_computed
from kit.bias.sides import NONE_IN_VIEW, by_side, crossed, in_view, sizes_in_view
from kit.healing.resampling import Z
from kit.healing.weeks import sized_open
from kit.words import count, share

JUDGED_ABOVE, JUDGED_USUALLY = 0.2, 0.02  # common practice, no source; none in a clean invented group
LATE_DAYS, LATE_BEYOND = 14, 0.15  # common practice, no source
LATE_ABOVE, LATE_USUALLY = 0.2, 0.06  # common practice, no source; 0.05 in a clean invented group
SEVERAL = 5  # closings on each side of a comparison of sizes; common practice, no source


def treater_judges(evidence: Evidence) -> Warned:
    """Closings recorded by a person who also treated that wound, of started wounds that closed: number is their share.

    Only closings count whose assessor is known, of wounds whose therapist is. The direction is read off how large
    wounds were when last seen open: where those that their own therapist called closed were larger than those that
    others did, started or not, they were called closed earlier.
    """
    closed = _judged(evidence)
    known = closed[closed["assessor"].notna() & closed["treated_by_known"]]
    if known.empty:
        return not_computed("of no started wound that closed are assessor and therapist both recorded")
    own, whole = int(known["own"].sum()), len(known)
    threshold = crossed(JUDGED_ABOVE, JUDGED_USUALLY, whole)
    says = f"Of {count(whole, 'closing')} of started wounds {own} were recorded by a therapist who treated that wound "
    return Warned(own / whole, threshold, own / whole > threshold, _eager(closed), f"{says}({share(own, whole)}).")


def _judged(evidence: Evidence) -> pd.DataFrame:
    """Every closing in view: started, assessor, whether its therapist is known, whether it was the same, last size."""
    seen, study = in_view(evidence), evidence.study
    closed = seen[seen["outcome"] == "closed"]
    taken = study.measurements[["wound", "day", "assessor"]].astype({"assessor": object})
    closed = closed.merge(taken, left_on=["wound", "end_day"], right_on=["wound", "day"], how="left")
    given = study.sessions[study.sessions["status"].astype(object).isin(["given", "shortened"])]
    given = given.loc[given["therapist"].notna(), ["wound", "therapist"]].astype(object).drop_duplicates()
    same = closed[["wound", "assessor"]].merge(given, left_on=["wound", "assessor"], right_on=["wound", "therapist"])
    return closed.assign(
        own=closed["wound"].isin(same["wound"]) & closed["started"],
        treated_by_known=closed["wound"].isin(given["wound"]) & closed["started"],
        last_size=_last_size(closed, study.measurements),
    )


def _last_size(closed: pd.DataFrame, measurements: pd.DataFrame) -> np.ndarray:
    """The log of the size (cm2) when last seen open."""
    sized = sized_open(measurements)[["wound", "day", "size"]]
    told = closed[["wound", "last_open_day"]].merge(
        sized, left_on=["wound", "last_open_day"], right_on=["wound", "day"], how="left"
    )
    return np.log(told["size"].to_numpy(dtype=float))


def _eager(closed: pd.DataFrame) -> str:
    """Which way therapists' own closings push: by the size from which they and others call a wound closed."""
    sized = closed[closed["assessor"].notna() & closed["last_size"].notna()]
    own, others = sized.loc[sized["own"], "last_size"], sized.loc[~sized["own"], "last_size"]
    if min(len(own), len(others)) < SEVERAL:
        return NOT_KNOWN
    larger, error = own.mean() - others.mean(), np.sqrt(own.var() / len(own) + others.var() / len(others))
    return towards(larger) if abs(larger) > Z * error else NOT_KNOWN


def late_closing(evidence: Evidence) -> Warned:
    """Closings first seen more than 14 days after the wound was last seen open: number is the larger side's share.

    A closing falls between two rounds so far apart as often as any day does: the threshold stands above that share of
    days, for wounds measured seldom are a warning of their own (`unmeasured`). A closing seen late counts late, so that
    the side with more of them looks worse.
    """
    seen = in_view(evidence)
    closed = seen[(seen["outcome"] == "closed") & seen["last_open_day"].notna()]
    if closed.empty:
        return not_computed("no wound was seen to close" if len(seen) else NONE_IN_VIEW)
    late = (closed["end_day"] - closed["last_open_day"]).astype(float) > LATE_DAYS
    sides, usual = by_side(late, closed["started"], closed["resident"]), _far_apart(evidence)
    number, threshold = sides.larger(max(LATE_ABOVE, usual + LATE_BEYOND), max(LATE_USUALLY, usual))
    says = f"Of {count(len(closed), 'closing')} {int(late.sum())} were first seen more than {LATE_DAYS} days after the "
    return Warned(
        number, threshold, number > threshold, sides.push(-1), f"{says}wound was last seen open ({sides.says()})."
    )


def _far_apart(evidence: Evidence) -> float:
    """The share of days that lie between open rounds more than 14 days apart."""
    rows = sizes_in_view(evidence)
    opened = rows[rows["state"].astype(object) == "open"]
    gaps = opened["day"].groupby(opened["wound"]).diff().dropna().astype(float)
    return float(gaps[gaps > LATE_DAYS].sum() / gaps.sum()) if gaps.sum() else 0.0
