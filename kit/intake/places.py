"""Sites of the body as logs write them: `L heel`, `Coccyx (mid)`, `R. gr. troch`, `sacrum & left heel`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from kit.intake.lexicon import DOUBTED, plain, site_words, words_for

BOTH = {"b", "bil", "bilat", "bilateral", "both", "bds", "beidseits", "bilaterales", "bilateral s"}
# Letters that are a side only in a column of sides: G toe is the great one, M ankle the inner, re and der are words.
NOT_BESIDE = {"g", "d", "m", "c", "re", "der", "dx", "sx", "mi", "ml", "med"}
PAIRS = {"heels", "toes"}  # more than one, and not said which
PART = re.compile(r"[;&+,/]|\band\b|\bund\b|\by\b|\bet\b", re.IGNORECASE)


@dataclass(frozen=True)
class Site:
    """A site of the body and its side, each None where it is not told."""

    site: str | None
    side: str | None = None


def read_sites(text: str) -> tuple[Site, ...]:
    """The one or two sites that a cell names, in its order; none where a part of it cannot be read.

    | text | sites |
    | --- | --- |
    | L heel, Left calcaneus, heel (L) | heel left |
    | sacrum/coccyx, sacrococcygeal | sacrum |
    | bilat heels | heel left, heel right |
    | coccyx and R heel | coccyx, heel right |
    | heels, R heel + L heel + sacrum, see note | |

    Never raises.
    """
    if DOUBTED.search(text):
        return ()
    whole = _one(plain(text))
    if whole is not None:
        return whole
    parts = [_one(plain(part)) for part in PART.split(text)]
    if len(parts) == 2 and all(part is not None and len(part) == 1 for part in parts):
        return (*parts[0], *parts[1])
    return ()


def _one(text: str) -> tuple[Site, ...] | None:
    sides, sites = words_for("side"), site_words()
    if text in sites:
        return () if text in PAIRS else (Site(sites[text]),)
    words = text.split()
    for first, last in ((1, len(words)), (0, len(words) - 1)):
        beside = [word for place, word in enumerate(words) if not first <= place < last]
        inner = " ".join(words[first:last])
        if len(beside) != 1 or inner not in sites:
            continue
        if beside[0] in BOTH:
            return Site(sites[inner], "left"), Site(sites[inner], "right")
        if beside[0] in sides and beside[0] not in NOT_BESIDE:
            return (Site(sites[inner], sides[beside[0]]),)
    return None
