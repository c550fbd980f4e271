"""A weekly random walk beneath the measurements, taken out row by row, so that what is left is independent."""

from __future__ import annotations

import numpy as np


def whitened(table: np.ndarray, week: np.ndarray, begins: np.ndarray, walk: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows from which the walk has been taken, and what each wound adds to the log determinant by it.

    `table` rows x columns, sorted by wound and week; `begins` where each wound's rows begin; `walk` the variance that a
    week adds, in units of the residual variance. The walk begins at nought at the first row of a wound: what came
    before is the wound's intercept.

    Each column is filtered as if it were a series: what a row says beyond the rows before it, over the root of its
    variance (Kalman 1960, J Basic Eng 82:35; Harvey 1989, Forecasting, Structural Time Series Models, section 3.4).
    """
    counts = np.diff(np.append(begins, len(table)))
    out, taken = table.copy(), np.zeros(len(begins))
    if not walk:
        return out, taken
    level, spread = np.zeros((len(begins), table.shape[1])), np.zeros(len(begins))
    for visit in range(1, counts.max(initial=1)):
        here = np.flatnonzero(counts > visit)
        row = begins[here] + visit
        gain = spread[here] / (spread[here] + 1)  # of the row before
        level[here] += gain[:, None] * (table[row - 1] - level[here])
        spread[here] = spread[here] * (1 - gain) + walk * (week[row] - week[row - 1])
        total = spread[here] + 1
        out[row] = (table[row] - level[here]) / np.sqrt(total)[:, None]
        taken[here] += np.log(total)
    return out, taken
