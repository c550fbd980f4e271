"""The cells of one column, each distinct word once: a million rows cost a few thousand readings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from kit.intake.mapping import Place
from kit.intake.readers import RawTable
from kit.vocabulary import UNKNOWN, Column

NOT_KNOWN = {"", UNKNOWN, "unk", "n/a", "na", "not known", "not recorded", "-", "--", "?", "null", "nan"}

# What a reader makes of the distinct words: typed values, and for each fault the words that show it.
Typed = tuple[pd.Series, dict[str, pd.Series]]


@dataclass(frozen=True, eq=False)
class Cells:
    """One column of an export. `words` holds every distinct text, `spread` the place in it of each row's text."""

    file: str
    column: Column
    place: Place
    words: pd.Series
    spread: np.ndarray
    source_row: np.ndarray

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
        return self.folded.isin(NOT_KNOWN | told)

    @property
    def where(self) -> str:
        """File and column, for a message."""
        return f"{self.file}, column {self.place.column}"

    def first(self, which: pd.Series) -> str:
        """File, row and column of the first cell that holds one of these words, for a message."""
        row = self.source_row[which.to_numpy()[self.spread].argmax()]
        return f"{self.file} row {row}, column {self.place.column}"


def cells_of(raw: RawTable, column: Column) -> Cells:
    """The cells of a mapped column of a table."""
    spread, words = pd.factorize(raw.rows[column.name])
    source_row = raw.rows["source_row"].to_numpy()
    return Cells(raw.file, column, raw.places[column.name], pd.Series(words, dtype=object), spread, source_row)
