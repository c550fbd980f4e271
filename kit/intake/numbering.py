"""Wounds and people by number while an export is cleaned: a number is compared and joined far faster than a text."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import count

import numpy as np
import pandas as pd

NUMBERED = ("wound", "resident")
Tables = dict[str, pd.DataFrame]


@dataclass(frozen=True, eq=False)
class Names:
    """The pseudonyms of wounds and of residents, each with its number, in the order of both.

    `missing`: what stands in a table for a name that is not told, by table and column.
    """

    texts: dict[str, dict[str, float]]
    missing: dict[tuple[str, str], object]

    @classmethod
    def among(cls, words: dict[tuple[str, str], Iterable[str | None]]) -> Names:
        """The names among the words of columns, by table and column. None says that one is not told."""
        known: dict[str, dict] = {column: {None: None} for column in NUMBERED}
        for (_, column), texts in words.items():
            known[column] |= dict.fromkeys(texts)
        inorder = {column: sorted(list(texts)[1:]) for column, texts in known.items()}
        numbers = {column: dict(zip(texts, map(float, count()), strict=False)) for column, texts in inorder.items()}
        return cls(numbers, dict.fromkeys(words))

    def numbers(self, column: str, words: Iterable[str | None]) -> pd.Series:
        """The number of each word, held so that it can be missing."""
        number = self.texts[column].get
        return pd.Series([number(text, np.nan) for text in words], dtype="float64")

    def told(self, tables: Tables) -> Tables:
        """The tables with names in the place of numbers."""
        return {name: self._told(frame, name) for name, frame in tables.items()}

    def _told(self, frame: pd.DataFrame, table: str) -> pd.DataFrame:
        out = frame.copy(deep=False)
        for column in (column for column in NUMBERED if column in frame):
            texts, missing = self.texts[column], self.missing.get((table, column), np.nan)
            numbers = frame[column].fillna(len(texts)).to_numpy(dtype=np.int64)
            out[column] = np.array([*texts, missing], dtype=object)[numbers]
        return out
