"""Each facility's closings and early responses beside what the whole group would have had with the same wounds.

Indirect standardization: the group's share times observed over expected. Wounds of all kinds count, treated or not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.context.after_start import FEW, LOST_SIGHT, NO_CALENDAR, fresh_size, out_of_sight
from kit.context.expected import CASE_MIX, design, fitted
from kit.healing.contrasts import CAUSES
from kit.healing.curves import incidence
from kit.healing.description import DRAWN_FROM
from kit.healing.resampling import DRAWS, SEED, resident_draws, share_limits
from kit.plan import WEEK, Plan
from kit.wounds.episodes import OPEN

CLOSED, EARLY = "closed", "early response"
ALONE = "one facility alone: there is nothing to standardize to"
NO_OUTCOME = "no wound has an outcome"
NONE_KNOWN = "no wound came to it, or every one"
COLUMNS = [
    "measure", "horizon_weeks", "facility", "wounds", "residents", "without_outcome", "observed", "expected",
    "raw_share", "group_share", "standardized", "low", "high", "error", "covariates", "not_computed",
]  # fmt: skip


def case_mix(
    episodes: pd.DataFrame,
    measurements: pd.DataFrame,
    wounds: pd.DataFrame,
    plan: Plan,
    covariates: tuple[str, ...] = CASE_MIX,
    draws: int = DRAWS,
    seed: int = SEED,
) -> pd.DataFrame:
    """Observed beside expected by facility: closed by the plan's horizon, and the early response, since entry.

    Columns in: episodes as `kit.wounds.episodes` returns them; measurements wound, day, state, size, necrosis_share;
    wounds wound and onset. `covariates`: which of `CASE_MIX` the expectation is made from.
    Columns out: measure, horizon_weeks, facility, wounds, residents (with an outcome), without_outcome (wounds),
    observed, expected (wounds), raw_share, group_share, standardized with low and high (95%, whole residents drawn
    again and the model refitted), error (standard error of standardized less group_share, over the same draws),
    covariates (those that varied), not_computed (why not; blank where it is told).

    Closed: each wound's part in the Aalen-Johansen share of its facility (jackknife pseudo-values: Andersen & Perme
    2010, Stat Methods Med Res 19:71), so that wounds not followed to the horizon stay in; who left is taken to have
    gone on as those who stayed. Early: closed or smaller by the plan's percentage at the plan's early weeks, of wounds
    whose early weeks lie before the cut-off; who died, went to hospital for good or was closed by surgery was not
    smaller, wounds not measured then are taken to be like those of the facility that were, and wounds that left or
    were lost have no outcome.

    The expectation is a logistic model of the whole group: over the group expected equals observed. A facility is
    therefore held against a group that it is a part of, and what is not charted is not levelled. Facilities below ten
    residents are counted, and take part in the model, but are not told.
    """
    cohort = episodes[episodes["in_cohort"]].sort_values("wound", ignore_index=True)
    how = _How(measurements, wounds, covariates, draws, seed, NO_OUTCOME if plan.cutoff is not None else NO_CALENDAR)
    parts = [
        _beside(own, measure, week, how)
        for measure, week, own in (
            (CLOSED, plan.horizon // WEEK, _closings(cohort, plan)),
            (EARLY, plan.comparison.early_weeks, _early(cohort, measurements, plan)),
        )
    ]
    return pd.concat(parts, ignore_index=True)


@dataclass(frozen=True, eq=False)
class _How:
    measurements: pd.DataFrame
    wounds: pd.DataFrame
    covariates: tuple[str, ...]
    draws: int
    seed: int
    untold: str  # why nothing is known of any wound, where nothing is


# --- what was observed ---


def _closings(cohort: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    days = np.minimum((cohort["end_day"] - cohort["entry_day"]).to_numpy(dtype="int64"), plan.horizon + 1)
    outcome = cohort["outcome"].astype(object).where(cohort["outcome"] != "left", OPEN).to_numpy()
    parts = np.full(len(cohort), np.nan)
    stratum = strata(cohort)
    for name in np.unique(stratum):
        own = stratum == name
        parts[own] = pseudo_values(days[own], outcome[own], plan.horizon)
    gone = (outcome == OPEN) & (days < plan.horizon)
    return cohort.assign(observed=parts, gone=gone)


def strata(cohort: pd.DataFrame) -> np.ndarray:
    """The facility of each wound; facilities below ten residents are one, for alone they would tell nothing."""
    people = cohort.groupby("facility")["resident"].nunique()
    return cohort["facility"].where(cohort["facility"].map(people) >= DRAWN_FROM, "").to_numpy(dtype=object).astype(str)


def pseudo_values(days: np.ndarray, outcome: np.ndarray, horizon: int) -> np.ndarray:
    """Each wound's part in the share closed by the horizon: n times the share less n - 1 times the share without it.

    1 or 0 where nobody left view; a wound lost from view has what those still followed make likely. Parts may lie a
    little below 0 or above 1.
    """
    number = len(days)
    if number < 2:
        return np.where(outcome == CLOSED, 1.0, np.where((outcome == OPEN) & (days < horizon), np.nan, 0.0))
    without = np.column_stack([np.ones(number), 1 - np.eye(number)])
    share = incidence(days, outcome, CAUSES, without).at(horizon)[CAUSES.index(CLOSED)]
    return number * share[0] - (number - 1) * share[1:]


def _early(cohort: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    horizon = plan.comparison.early_weeks * WEEK
    if plan.cutoff is None:
        return cohort.assign(observed=np.nan, gone=False)
    own = cohort[(cohort["entry_day"] + horizon <= plan.cutoff).fillna(False)].reset_index(drop=True)
    days, outcome = (own["end_day"] - own["entry_day"]).to_numpy(dtype="int64"), own["outcome"].astype(object)
    then = fresh_size(own["wound"], own["entry_day"].astype("int64") + horizon, measurements, plan)
    left = then / own["entry_size"].to_numpy(dtype=float)
    over = (days <= horizon) & (outcome != OPEN).to_numpy()
    gone = ((outcome == OPEN).to_numpy() & (days < horizon)) | (over & (outcome == "left").to_numpy())
    small = np.where(np.isnan(left), np.nan, left <= 1 - plan.comparison.early_percent / 100 + 1e-9)
    told = pd.Series(np.select([gone, over], [np.nan, outcome == CLOSED], small).astype(float), index=own.index)
    open_then = pd.Series(~over & ~gone, index=own.index)
    like = told.where(open_then).groupby(strata(own)).transform("mean")
    return own.assign(observed=told.mask(open_then & told.isna(), like), gone=gone)


# --- one beside the other ---


def _beside(own: pd.DataFrame, measure: str, week: int, how: _How) -> pd.DataFrame:
    known = own[own["observed"].notna()].reset_index(drop=True)
    rows = [_counts(own, known, measure, week, home) for home in sorted(own["facility"].unique())]
    why = _why(own, known, how)
    if why:
        return pd.DataFrame([row | {"not_computed": row["not_computed"] or why} for row in rows], columns=COLUMNS)
    columns, names = design(known, how.measurements, how.wounds, how.covariates)
    observed, home = known["observed"].to_numpy(dtype=float), known["facility"].to_numpy()
    often = np.column_stack([np.ones(len(known)), resident_draws(known["resident"].to_numpy(), how.draws, how.seed)])
    expected = fitted(columns, observed, often) * often
    group = (observed @ often) / often.sum(axis=0)
    told = []
    for row in rows:
        here = home == row["facility"]
        sums = observed[here] @ often[here], expected[here].sum(axis=0)
        told.append(row | {"covariates": ", ".join(names)} | _standardized(row, sums, group))
    return pd.DataFrame(told, columns=COLUMNS)


def _why(own: pd.DataFrame, known: pd.DataFrame, how: _How) -> str:
    if known.empty:
        return how.untold
    if own["facility"].nunique() < 2:
        return ALONE
    return "" if 1e-6 < known["observed"].mean() < 1 - 1e-6 else NONE_KNOWN


def _counts(own: pd.DataFrame, known: pd.DataFrame, measure: str, week: int, home: str) -> dict[str, object]:
    here, told = own[own["facility"] == home], known[known["facility"] == home]
    people = told["resident"].nunique()
    lost_sight = out_of_sight(here["gone"].astype(bool), here["resident"])
    return {
        "measure": measure,
        "horizon_weeks": week,
        "facility": home,
        "wounds": len(told),
        "residents": people,
        "without_outcome": len(here) - len(told),
        "covariates": "",
        "not_computed": FEW if 0 < people < DRAWN_FROM else LOST_SIGHT if people and lost_sight else "",
    }


def _standardized(row: dict, sums: tuple[np.ndarray, np.ndarray], group: np.ndarray) -> dict[str, object]:
    """Observed over expected times the group's share, with its range; a share, so it ends at all of them."""
    if row["not_computed"] or not row["wounds"]:
        return {"group_share": group[0], "not_computed": row["not_computed"] or FEW}
    observed, expected = sums
    with np.errstate(invalid="ignore", divide="ignore"):
        drawn = np.clip(group * observed / expected, 0, 1)
    known = np.isfinite(drawn[1:])
    low, high = share_limits(drawn[0], drawn[1:][known], row["residents"])
    return {
        "observed": observed[0],
        "expected": expected[0],
        "raw_share": observed[0] / row["wounds"],
        "group_share": group[0],
        "standardized": drawn[0],
        "low": float(low),
        "high": float(high),
        "error": float(np.std((drawn - group)[1:][known])),
    }
