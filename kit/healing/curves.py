"""What became of wounds over time: the share closed, died, in hospital, left; never one minus Kaplan-Meier.

Aalen & Johansen 1978, Scand J Stat 5:141. Days are whole, and wounds that end on the same day are counted together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.sparse import csr_matrix

HALF = 0.5 - 1e-9  # shares are sums of fractions: 0.49999999999 is one half


@dataclass(frozen=True)
class Incidence:
    """Shares by day. `shares` has a layer a cause, a row a day and a column a set of weights."""

    days: np.ndarray
    causes: tuple[str, ...]
    shares: np.ndarray
    open_share: np.ndarray
    at_risk: np.ndarray
    events: np.ndarray

    def at(self, day: int) -> np.ndarray:
        """Shares at the end of `day`: a row a cause, a column a set of weights."""
        return self.shares[:, self._row(day), :]

    def _row(self, day: int) -> int:
        return int(np.searchsorted(self.days, day, side="right")) - 1


def incidence(
    followed: np.ndarray, outcome: np.ndarray, causes: tuple[str, ...], weights: np.ndarray | None = None
) -> Incidence:
    """The Aalen-Johansen shares of each cause by day.

    `followed` holds whole days from time zero to the end of follow-up, `outcome` one of `causes` or anything else for a
    wound that was still open; `weights` (wounds x sets) counts each wound as often as it says, one set a column. On a
    day on which some wounds end and some are last seen open, those seen open are still at risk.
    """
    weights = np.ones((len(followed), 1)) if weights is None else weights
    days, row = np.unique(np.concatenate([[0], followed]), return_inverse=True)
    row = row[1:]
    leaving = _sums(row, weights, len(days))
    at_risk = np.cumsum(leaving[::-1], axis=0)[::-1]
    events = np.stack([_sums(row[outcome == cause], weights[outcome == cause], len(days)) for cause in causes])
    hazards = np.divide(events, at_risk, out=np.zeros_like(events), where=at_risk > 0)
    open_share = np.cumprod(1 - hazards.sum(axis=0), axis=0)
    hazards[:, 1:] *= open_share[:-1]  # from here on what is added on each day
    return Incidence(days, causes, np.cumsum(hazards, axis=1, out=hazards), open_share, at_risk, events)


def _sums(row: np.ndarray, weights: np.ndarray, rows: int) -> np.ndarray:
    """Sums of weights by row, a column a set."""
    belongs = csr_matrix((np.ones(len(row)), (row, np.arange(len(row)))), shape=(rows, len(row)))
    return belongs @ weights


def area_under(days: np.ndarray, shares: np.ndarray, horizon: int) -> np.ndarray:
    """The area under step curves from day 0 to the horizon, in days; the last axis but one runs over days."""
    widths = np.diff(np.minimum(np.append(days, horizon), horizon))
    return np.tensordot(np.moveaxis(shares, -2, -1), widths, axes=([-1], [0]))


def days_closed(curve: Incidence, horizon: int) -> np.ndarray:
    """Mean days spent closed up to the horizon: the area under the share closed, one a set of weights.

    Death and departure add nothing to it, so it cannot be raised by losing people (as time spent open can be lowered).
    """
    return area_under(curve.days, curve.shares[curve.causes.index("closed")], horizon)


def median_days(curve: Incidence, cause: str = "closed") -> np.ndarray:
    """The first day at whose end at least half of all wounds have come to `cause`, one a set; NaN for never.

    Where the curve is flat at exactly one half this is the first day of the flat stretch; R's survfit gives its middle.
    """
    reached = curve.shares[curve.causes.index(cause)] >= HALF
    return np.where(reached.any(axis=0), curve.days[reached.argmax(axis=0)].astype(float), np.nan)


@dataclass(frozen=True)
class Estimate:
    """A number and its standard error."""

    value: float
    error: float


def greenwood(followed: np.ndarray, ended: np.ndarray) -> pd.DataFrame:
    """The share still free of a single kind of event by day (Kaplan-Meier), with Greenwood's standard error.

    Columns out: day, share, error, at_risk, events. For data in which nothing competes; wounds need `incidence`.
    """
    curve = incidence(followed, np.where(ended, "event", ""), ("event",))
    events, at_risk, share = curve.events[0, :, 0], curve.at_risk[:, 0], curve.open_share[:, 0]
    left = at_risk - events
    terms = np.divide(events, at_risk * left, out=np.zeros_like(events), where=left > 0)
    error = share * np.sqrt(np.cumsum(terms))
    frame = pd.DataFrame({"day": curve.days, "share": share, "error": error, "at_risk": at_risk, "events": events})
    return frame.astype({"at_risk": "int64", "events": "int64"})


def restricted_mean(followed: np.ndarray, ended: np.ndarray, horizon: float) -> Estimate:
    """Mean time free of the event up to the horizon, with Greenwood's standard error.

    Royston & Parmar 2013, BMC Med Res Methodol 13:152 (from memory). The error is that of the estimate, not of a single
    time.
    """
    curve = greenwood(followed, ended)
    days, share = curve["day"].to_numpy(), curve["share"].to_numpy()
    value = float(area_under(days, share[:, None], horizon)[0])
    ahead = np.array([value - area_under(days, share[:, None], min(day, horizon))[0] for day in days])
    left = (curve["at_risk"] - curve["events"]).to_numpy(dtype=float)
    terms = np.divide(curve["events"], curve["at_risk"] * left, out=np.zeros(len(days)), where=left > 0)
    within = days <= horizon
    return Estimate(value, float(np.sqrt(np.sum((ahead**2 * terms)[within]))))
