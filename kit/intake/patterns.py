"""Which of many texts hold a pattern: plain ones are asked all at once, and only what may hold it one by one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

LONG = 1000  # signs
LETTER = r"[^\W\d_]"
CLASS = r"\[\^?\]?(?:\\.|[^\]\\])*\]"
PIECE = re.compile(rf"(?s)\\.|{CLASS}|\(\?<?[=!]|.")  # an escaped sign, a class, what opens a look around, any sign


@dataclass(frozen=True, eq=False)
class Texts:
    """Texts of which patterns are asked, in letters of any case. `plain`: as the quick way reads them, or missing.

    Of signs from the blank to the tilde both ways of matching say the same; what holds others, or is long, is plain to
    the slow way only.
    """

    words: np.ndarray
    plain: pa.Array

    @classmethod
    def of(cls, words: Iterable[str]) -> Texts:
        words = np.array([*words, None], dtype=object)[:-1]
        plain = [text if text.isascii() and text.isprintable() and len(text) <= LONG else None for text in words]
        return cls(words, pa.array(plain, pa.string()))

    def __len__(self) -> int:
        return len(self.words)

    def __iter__(self) -> Iterator[str]:
        return iter(self.words)

    def __getitem__(self, which: np.ndarray) -> Texts:
        return self if which.all() else Texts(self.words[which], self.plain.filter(pa.array(which)))

    def like(self, pattern: str) -> np.ndarray:
        """Which are wholly like the pattern."""
        return self.holding(rf"\A(?:{pattern})\Z")

    def holding(self, pattern: str) -> np.ndarray:
        """Which hold the pattern."""
        found = self.may_hold(pattern)
        sought = compiled(pattern).search
        if loosened(pattern) == exactly(pattern):  # of plain texts the quick way has the last word
            asked = found & ~self.is_plain
            found[asked] = [sought(text) is not None for text in self.words[asked]]
        else:
            found[found] = [sought(text) is not None for text in self.words[found]]
        return found

    def may_hold(self, pattern: str) -> np.ndarray:
        """Which may hold the pattern: all that do, few of the others, and all that are not plain."""
        loose = pc.match_substring_regex(self.plain, loosened(pattern), ignore_case=True)
        return loose.fill_null(True).to_numpy(zero_copy_only=False).copy()

    @cached_property
    def is_plain(self) -> np.ndarray:
        return self.plain.is_valid().to_numpy(zero_copy_only=False)


@cache
def compiled(pattern: str) -> re.Pattern:
    """A pattern in letters of any case, in which a point is any sign."""
    return re.compile(f"(?is){pattern}")


@cache
def loosened(pattern: str) -> str:
    """The pattern without all that looks around or back: whatever plain text holds the one holds the other."""
    kept, depth = [], 0  # depth: how many brackets are open since a look around began
    for piece in PIECE.findall(exactly(pattern)):
        if depth or (piece[0] == "(" and len(piece) > 1):
            depth += (piece[0] == "(") - (piece == ")")
        else:
            kept.append(".*" if piece[0] == "\\" and piece[1] in "123456789" else piece)
    return "".join(kept)


def exactly(pattern: str) -> str:
    """The pattern as the quick way spells it."""
    return "(?s)" + pattern.replace(LETTER, "[a-z]").replace(r"\Z", r"\z")
