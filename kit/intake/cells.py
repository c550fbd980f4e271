"""The cells of one column, each distinct word once: a million rows cost a few thousand readings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from kit.intake.mapping import Place
from kit.intake.readers import RawTable
from kit.vocabulary import TABLES, UNKNOWN, Column

NOT_KNOWN = {"", UNKNOWN, "unk", "n/a", "na", "not known", "not recorded", "-", "--", "?", "null", "nan"}

# What a reader makes of the distinct words: typed values, and for each fault the words that show it.
Typed = tuple[pd.Series, dict[str, pd.Series | np.ndarray]]


@dataclass(frozen=True, eq=False)
class Cells:
    """One column of an export. `words` holds every distinct text, `spread` the place in it of each row's text."""

    raw: RawTable
    column: Column
    place: Place
    words: pd.Series
    spread: np.ndarray
    elsewhere: frozenset[str]  # words that say something to another of our columns under the same header

    @property
    def blank(self) -> bool:
        """Whether nothing stands in any cell."""
        return not any(self.words)

    @cached_property
    def folded(self) -> pd.Series:
        """The words in lower case."""
        return self.words.str.lower()

    @cached_property
    def meant(self) -> dict[str, str]:
        """The map's own words for this column, in lower case, and what each of them means."""
        return {word.lower(): meaning for word, meaning in self.place.values.items()}

    @cached_property
    def not_known(self) -> pd.Series:
        """Which words only say that nothing is known."""
        told = {word for word, meaning in self.meant.items() if meaning == UNKNOWN}
        return self.folded.isin(NOT_KNOWN | told | self.elsewhere)

    @property
    def where(self) -> str:
        """File and column, for a message."""
        return f"{self.raw.file}, {self.raw.called(self.column.name)}"

    def rows(self, which: pd.Series) -> int:
        """How many cells hold one of these words."""
        return int(which.to_numpy(dtype=bool)[self.spread].sum())

    def first(self, which: pd.Series | np.ndarray) -> str:
        """File, row and column of the first cell that holds one of these words, for a message."""
        first = int(np.asarray(which, dtype=bool)[self.spread].argmax())
        return f"{self.raw.where(first)}, {self.raw.called(self.column.name)}"


def cells_of(raw: RawTable, column: Column) -> Cells:
    """The cells of a mapped column of a table."""
    spread, words = _distinct(raw.rows[column.name])
    return Cells(raw, column, raw.places[column.name], pd.Series(words), spread, _elsewhere(raw, column))


def _distinct(texts: pd.Series) -> tuple[np.ndarray, np.ndarray]:
    """The place of every row's text among the distinct ones, and these; of categories those that a row has."""
    if not isinstance(texts.dtype, pd.CategoricalDtype):
        return pd.factorize(texts.to_numpy(dtype=object))
    spread, words = texts.cat.codes.to_numpy(), texts.cat.categories.to_numpy(dtype=object)
    used = np.bincount(spread, minlength=len(words)) > 0
    if used.all():
        return spread, words
    return (np.cumsum(used) - 1)[spread], words[used]


def _elsewhere(raw: RawTable, column: Column) -> frozenset[str]:
    """The words that others of our columns read under this header; a telling column must know every word itself."""
    header = raw.places[column.name].column
    others = [name for name, place in raw.places.items() if header and place.column == header and name != column.name]
    if column.telling:
        return frozenset()
    listed = TABLES[raw.table].column
    return frozenset(word.lower() for name in others for word in (*raw.places[name].values, *listed(name).allowed))
