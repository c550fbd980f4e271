"""The slope of single wounds before and after their start: a broken line for each of them, and its bend."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.trajectories.courses import Courses
from kit.wounds.episodes import UNTREATED

LOG, ROOT = "log", "root"
AFTER = 8  # weeks after the start that are read; common practice, no source
SIZES = 2  # on each side of the start that a wound needs, or its line has no bend to tell


def bends(seen: Courses, scale: str = LOG) -> pd.DataFrame:
    """The slope of each wound before its start, and by how much it changed: a broken line by least squares.

    Read are its sizes from entry to eight weeks after the start; two on each side are needed. `scale` is that of the
    size: its logarithm or its root (cm).
    Columns out: wound, resident, regimen, before (a week), bend (after less before).

    Each wound's line is a summary of its own (Matthews, Altman, Campbell & Royston 1990, BMJ 300:230), so that each
    counts once. A common bend in a model of all sizes weighs wounds by the square of the time they stay open, and
    those that stay are the ones that hardly heal.
    """
    sizes = seen.sizes[(seen.sizes["regimen"] != UNTREATED) & (seen.sizes["since"] <= AFTER)]
    sizes = sizes.drop_duplicates(["wound", "day"])
    late = sizes["since"] > 0
    sides = late.groupby(sizes["wound"]).agg(after="sum", all="size")
    enough = sides[(sides["after"] >= SIZES) & (sides["all"] - sides["after"] >= SIZES)].index
    sizes = sizes[sizes["wound"].isin(enough)].sort_values(["wound", "day"])
    told = sizes.drop_duplicates("wound")[["wound", "resident", "regimen"]].reset_index(drop=True)
    if told.empty:
        return told.assign(before=pd.Series(dtype=float), bend=pd.Series(dtype=float))
    line = _lines(sizes, np.log(sizes["size"]) if scale == LOG else np.sqrt(sizes["size"]))
    return told.assign(before=line[:, 1], bend=line[:, 2])


def _lines(sizes: pd.DataFrame, response: pd.Series) -> np.ndarray:
    """Intercept, slope and bend of each wound; rows are sorted by wound."""
    begins = np.flatnonzero(sizes["wound"].ne(sizes["wound"].shift()))
    x = np.column_stack([np.ones(len(sizes)), sizes["week"], sizes["since"]])
    squares = np.add.reduceat(x[:, :, None] * x[:, None, :], begins, axis=0)
    products = np.add.reduceat(x * response.to_numpy()[:, None], begins, axis=0)
    return np.linalg.solve(squares, products[:, :, None])[:, :, 0]


def drawn_means(told: pd.DataFrame, people: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """The mean slope before and the mean bend in each draw of residents: draws x 2; missing where nobody was drawn.

    `people` names the residents of `counts` (residents x draws).
    """
    weigh = counts[pd.Index(people).get_indexer(told["resident"])]
    total = weigh.sum(axis=0)
    sums = weigh.T @ told[["before", "bend"]].to_numpy()
    return np.divide(sums, total[:, None], out=np.full(sums.shape, np.nan), where=total[:, None] > 0)
