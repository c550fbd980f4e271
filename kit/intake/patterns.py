"""Which of many texts hold a pattern: plain ones are asked all at once, and only what may hold it one by one."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

LONG = 1000  # signs
LETTER = r"[^\W\d_]"
CLASS = r"\[\^?\]?(?:\\.|[^\]\\])*\]"
PIECE = re.compile(rf"(?s)\\.|{CLASS}|\(\?<?[=!]|.")  # an escaped sign, a class, what opens a look around, any sign


class Memory:
    """What was found in texts: one that stands in several tables is looked at once."""

    def __init__(self) -> None:
        self.places: dict[str, int] = {}
        self.found: dict[object, np.ndarray] = {}

    def of(self, words: Iterable[str]) -> np.ndarray:
        """The place of each text here; one that is new gets the next."""
        places = self.places
        return np.array([places.setdefault(text, len(places)) for text in words], dtype=np.int64)

    def answers(self, question: object) -> np.ndarray:
        """The answers to a question, by place; -1 where it was not asked yet."""
        known = self.found.get(question, np.empty(0, dtype=np.int8))
        more = np.full(len(self.places) - len(known), -1, dtype=np.int8)
        self.found[question] = known = np.append(known, more) if len(more) else known
        return known


@dataclass(frozen=True, eq=False)
class Texts:
    """Texts of which patterns are asked, in letters of any case. `places`: where each stands in a memory, if in one."""

    words: np.ndarray
    memory: Memory | None = None
    places: np.ndarray | None = None

    @classmethod
    def of(cls, words: Iterable[str], memory: Memory | None = None) -> Texts:
        words = np.array([*words, None], dtype=object)[:-1]
        return cls(words, memory, None if memory is None else memory.of(words))

    @cached_property
    def plain(self) -> pa.Array:
        """The texts as the quick way reads them, or missing.

        Of signs from the blank to the tilde both ways of matching say the same; what holds others, or is long, is plain
        to the slow way only.
        """
        plain = [text if text.isascii() and text.isprintable() and len(text) <= LONG else None for text in self.words]
        return pa.array(plain, pa.string())

    def __len__(self) -> int:
        return len(self.words)

    def __iter__(self) -> Iterator[str]:
        return iter(self.words)

    def __getitem__(self, which: np.ndarray) -> Texts:
        if which.all():
            return self
        return Texts(self.words[which], self.memory, None if self.places is None else self.places[which])

    def asked(self, question: object, look: Callable[[Texts], np.ndarray]) -> np.ndarray:
        """The answer of each text to a question that is asked of it alone: a small number, that `look` finds."""
        if self.memory is None:
            return look(self)
        known = self.memory.answers(question)
        new = known[self.places] < 0
        if new.any():
            known[self.places[new]] = look(self[new])
        return known[self.places]

    def like(self, pattern: str) -> np.ndarray:
        """Which are wholly like the pattern."""
        return self.holding(rf"\A(?:{pattern})\Z")

    def holding(self, pattern: str) -> np.ndarray:
        """Which hold the pattern."""
        return self.asked(pattern, lambda texts: texts._holding(pattern)) > 0

    def _holding(self, pattern: str) -> np.ndarray:
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
