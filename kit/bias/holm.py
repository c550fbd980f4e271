"""Several tests together: the chance of any false alarm is held, not that of each."""

from __future__ import annotations

import numpy as np


def holm(p: np.ndarray) -> np.ndarray:
    """The chances of several tests as they stand together: in their order, each at most 1.

    The smallest counts as often as there are tests, the next once less, and none is below one before it. Missing ones
    (NaN) are no tests and stay missing. Source: Holm 1979, Scand J Stat 6:65.
    """
    p = np.asarray(p, dtype=float)
    told = np.flatnonzero(~np.isnan(p))
    order = told[np.argsort(p[told], kind="stable")]
    times = len(order) - np.arange(len(order))
    adjusted = np.full(p.shape, np.nan)
    adjusted[order] = np.minimum(np.maximum.accumulate(p[order] * times), 1.0) if len(order) else []
    return adjusted
