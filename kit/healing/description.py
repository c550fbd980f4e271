"""How long healing took, described and not compared: each regimen from its first session, everybody else from entry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.healing.curves import Incidence, days_closed, incidence, median_days
from kit.healing.resampling import DRAWS, SEED, day_limits, resident_draws, share_limits
from kit.plan import WEEK, Plan
from kit.vocabulary import OUTCOMES
from kit.wounds.episodes import OPEN

BEFORE, ANY = "before any modality", "any modality"
FROM_ENTRY, FROM_START = "first measurement", "first session"
DRAWN_FROM = 10  # residents a curve needs; common practice, no source
IN_VIEW = 5  # residents who must be in view where a curve is still drawn; common practice, no source


@dataclass(frozen=True)
class Description:
    """`curves`: a row a group, day and state. `groups`: a row a group. Nothing here is a difference."""

    curves: pd.DataFrame
    groups: pd.DataFrame
    draws: int
    seed: int


def describe(episodes: pd.DataFrame, plan: Plan, draws: int = DRAWS, seed: int = SEED) -> Description:
    """What became of wounds, for everybody before any modality and for each regimen of the plan.

    Columns of `curves`: group, clock (what day 0 is), day, state (closed, died, ..., open), share, low, high (95%,
    from draws of whole residents), at_risk (wounds still followed at the end of that day).
    Columns of `groups`: group, clock, wounds, residents, ended_closed, followed (in view beyond the horizon), drawn,
    drawn_to (day), reached (the curve is drawn as far as the horizon), closed_share, closed_low, closed_high (by the
    horizon), died_share, hospital_share, left_share, surgery_share, open_share, median_day (NaN: half never closed),
    median_low, median_high (infinite: never), weeks_closed, weeks_low, weeks_high. Shares are missing where the horizon
    was not reached.

    Everybody's clock starts at the first open measurement and stops when a modality starts, so no wound is sorted by
    what came later. A wound already treated when first measured is in neither. Groups below ten residents are counted,
    not drawn, and a curve ends where fewer than five residents are in view, unless nothing was lost from view before.
    """
    cohort = episodes[episodes["in_cohort"] & ~episodes["running"]]
    curves, groups = [], []
    for name, clock, wounds in _groups(cohort, plan):
        curve, row = _one_group(name, clock, wounds, plan, draws, seed)
        curves.append(curve)
        groups.append(row)
    drawn = [curve for curve in curves if len(curve)]
    return Description(pd.concat(drawn or curves[:1], ignore_index=True), pd.DataFrame(groups), draws, seed)


def _groups(cohort: pd.DataFrame, plan: Plan) -> Iterator[tuple[str, str, pd.DataFrame]]:
    started = cohort[(cohort["start_day"] <= cohort["end_day"]).fillna(False)]
    yield BEFORE, FROM_ENTRY, _followed(cohort, "entry_day", stop_at_start=True)
    yield ANY, FROM_START, _followed(started, "start_day")
    planned = [regimen.name for regimen in plan.regimens]
    others = sorted(set(started["regimen"]) - set(planned))
    for name in [*planned, *others]:
        yield name, FROM_START, _followed(started[started["regimen"] == name], "start_day")


def _followed(wounds: pd.DataFrame, zero: str, stop_at_start: bool = False) -> pd.DataFrame:
    end, outcome = wounds["end_day"], wounds["outcome"].astype(object)
    if stop_at_start:
        started = (wounds["start_day"] < end).fillna(False)
        end, outcome = end.where(~started, wounds["start_day"]), outcome.where(~started, OPEN)
    days = (end - wounds[zero]).astype("int64")
    return pd.DataFrame({"resident": wounds["resident"], "days": days, "outcome": outcome})


def _one_group(
    name: str, clock: str, wounds: pd.DataFrame, plan: Plan, draws: int, seed: int
) -> tuple[pd.DataFrame, dict]:
    residents = wounds["resident"].nunique()
    row = {
        "group": name,
        "clock": clock,
        "wounds": len(wounds),
        "residents": residents,
        "ended_closed": int((wounds["outcome"] == "closed").sum()),
        "followed": int((wounds["days"] > plan.horizon).sum()),
        "drawn": residents >= DRAWN_FROM,
        "drawn_to": 0,
        "reached": False,
    }
    if not row["drawn"]:
        return _no_curve(), row | dict.fromkeys(_SHARES, np.nan)
    last = _last_day(wounds, plan.horizon)
    row |= {"drawn_to": last, "reached": last >= plan.horizon}
    days, outcome = wounds["days"].to_numpy(), wounds["outcome"].to_numpy()
    whole = incidence(days, outcome, OUTCOMES)
    drawn = incidence(days, outcome, OUTCOMES, resident_draws(wounds["resident"].to_numpy(), draws, seed))
    numbers = _at_horizon(whole, drawn, plan.horizon, residents) if row["reached"] else dict.fromkeys(_SHARES, np.nan)
    return _tidy(name, clock, whole, drawn, last, residents), row | numbers


def _last_day(wounds: pd.DataFrame, horizon: int) -> int:
    """The last day, up to the horizon, on which enough residents are in view or before which none was lost from it."""
    stays = wounds.groupby("resident")["days"].max().sort_values(ascending=False)
    lost = wounds.loc[wounds["outcome"] == OPEN, "days"].min()
    enough = max(stays.iloc[IN_VIEW - 1], horizon if np.isnan(lost) else lost)
    return int(min(enough, horizon))


_SHARES = (
    "closed_share", "closed_low", "closed_high", "died_share", "hospital_share", "left_share", "surgery_share",
    "open_share", "median_day", "median_low", "median_high", "weeks_closed", "weeks_low", "weeks_high",
)  # fmt: skip
_CURVES = ["group", "clock", "day", "state", "share", "low", "high", "at_risk"]


def _no_curve() -> pd.DataFrame:
    return pd.DataFrame({column: pd.Series([], dtype=object) for column in _CURVES})


def _at_horizon(whole: Incidence, drawn: Incidence, horizon: int, residents: int) -> dict:
    shares = dict(zip(OUTCOMES, whole.at(horizon)[:, 0], strict=True))
    low, high = share_limits(shares["closed"], drawn.at(horizon)[OUTCOMES.index("closed")], residents)
    median_low, median_high = day_limits(median_days(drawn))
    # Time spent closed is a share of the horizon, so its limits are had like those of a share.
    spent, spents = days_closed(whole, horizon)[0] / horizon, days_closed(drawn, horizon) / horizon
    least, most = share_limits(spent, spents, residents)
    return {
        "closed_share": shares["closed"],
        "closed_low": float(low),
        "closed_high": float(high),
        "died_share": shares["died"],
        "hospital_share": shares["hospital"],
        "left_share": shares["left"],
        "surgery_share": shares["surgical_closure"],
        "open_share": 1 - sum(shares.values()),
        "median_day": float(median_days(whole)[0]),
        "median_low": median_low,
        "median_high": median_high,
        "weeks_closed": float(spent) * horizon / WEEK,
        "weeks_low": float(least) * horizon / WEEK,
        "weeks_high": float(most) * horizon / WEEK,
    }


def _tidy(name: str, clock: str, whole: Incidence, drawn: Incidence, last: int, residents: int) -> pd.DataFrame:
    """One row a day and state, from day 0 to the last day that is drawn."""
    within = whole.days <= last
    share = np.concatenate([whole.shares[..., 0], whole.open_share[None, :, 0]])[:, within]
    spread = np.concatenate([drawn.shares, drawn.open_share[None]])[:, within]
    low, high = share_limits(share, spread, residents)
    after = np.append(whole.at_risk[1:, 0], 0)[within]
    return pd.DataFrame(
        {
            "group": name,
            "clock": clock,
            "day": np.tile(whole.days[within], len(share)),
            "state": np.repeat([*OUTCOMES, OPEN], within.sum()),
            "share": share.ravel(),
            "low": low.ravel(),
            "high": high.ravel(),
            "at_risk": np.tile(after, len(share)).astype("int64"),
        }
    )
