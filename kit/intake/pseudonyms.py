"""What a pseudonym must not look like: whatever could tell somebody who it is stops the run.

The list follows the identifiers of 45 CFR 164.514(b)(2)(i). A check of looks finds slips, not intent: a record number
or postal code of five digits, a surname that stands among other words, and a fingerprint made into a code pass.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from functools import cache, partial

import numpy as np
import pandas as pd

from kit.faults import ExportError
from kit.intake.cells import Cells, Typed
from kit.intake.lexicon import plain
from kit.intake.naming import HINTS, HOLDS, LETTER, MONTH, NUMBER, common_words, people_in
from kit.intake.patterns import Memory, Texts, compiled

EVERY = ("resident", "wound", "facility", "assessor", "therapist")
NO_PLACE = ("resident", "wound", "assessor", "therapist")
PEOPLE = ("resident", "assessor", "therapist")

YEAR = r"(?:19\d{2}|20[0-2]\d)"
NUMERIC_DATE = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2}))"
DATE_IN_FULL = rf"(?:{YEAR}[-/.]\d{{1,2}}[-/.]\d{{1,2}}|\d{{1,2}}[-/.]\d{{1,2}}[-/.]{YEAR})"
# "Resident A" and "Nurse B" are codes, though they have the shape of a name.
ROLE = r"(?:resident|patient|client|person|case|staff|nurse|therapist|assessor|pta?|ota?|rn|lpn|cna)"
CODE = rf"(?!{ROLE}\W*(?:{LETTER}{{1,2}}|\w*\d\w*)\Z)"
WORD = rf"(?:{LETTER}[.'’-]?){{2,}}"
# R000123 is a running number of few digits; six others in a row, or eleven in groups, are none.
IN_A_ROW = r"[\d./() -]*\d{6}[\d./() -]*"
BEHIND_LETTERS = rf"{LETTER}{{1,12}}[-_# ]?0*[1-9]\d{{5,}}{LETTER}?"
IN_GROUPS = r"(?:[a-z]{1,4}[-_# ]?)?\d(?:[-./ ]?\d){10,}"
AGED = r"(?:aged?\W*)?1?\d{2}\W?(?:y\W?o|yrs?|years?)(?:\W*old)?(?:\W*(?:f|m|female|male))?|aged?\W*1?\d{2}"

# (what it resembles, pattern of the whole value, columns it is asked of)
RESEMBLES = (
    (NUMBER, rf"(?:mrn|ssn|acct|chart)\W*\d.*|{IN_A_ROW}|{IN_GROUPS}", EVERY),
    ("a number that a spreadsheet has shortened", r"\d\.\d+e\+?\d+|\de\+\d+", EVERY),
    ("an e-mail address or a web address", r"\S+@\S+|(?:https?:|www\.)\S*", EVERY),
    ("a telephone number", r"(?:\+?1[-. ]?)?\(?\d{3}\)?[-. ]?\d{3}[-. ]\d{4}", EVERY),
    ("a date", rf"{NUMERIC_DATE}(?:[T ].*)?|\d{{1,2}}\W?{MONTH}\W*\d{{2,4}}|{MONTH}\W*\d{{1,2}}\W+\d{{2,4}}", EVERY),
    ("an age", AGED, EVERY),
    ("free text", r".{65,}", EVERY),
    ("free text", r"(?:\S+\s+){5,}\S+", NO_PLACE),
    ("a name", rf"{CODE}(?:{WORD}(?:,\s*|\s+){LETTER}.*|{LETTER}\.?\s+{WORD}.*)", PEOPLE),
    ("a name", r"(?:mrs?|ms|miss|dr)[.\s].*", NO_PLACE),
    ("initials", rf"(?!{ROLE}\Z)(?:{LETTER}\.?){{2,3}}", PEOPLE),
    ("a room or bed", r"(?:room|rm|bed)\W*\d+\W?\w?|\d{1,4}-?[a-d]", ("resident",)),
    ("initials and a date of birth", rf"{LETTER}{{2,3}}\W?(?:\d{{1,2}}\W?\d{{1,2}}\W?{YEAR}|{NUMERIC_DATE})", PEOPLE),
    ("a date", rf".*(?<![\w/-]){DATE_IN_FULL}(?![\w-]).*", EVERY),
    (NUMBER, BEHIND_LETTERS, EVERY),
)  # fmt: skip
INITIALS = rf"{LETTER}{{2,3}}\W?{YEAR}|{YEAR}\W?{LETTER}{{2,3}}"
RUNNING = r"[a-z]*(?:\W?\d+)+"
PLATE = r"[a-z]{3}[- ]?\d{3,4}|\d[a-z]{3}\d{3}|[a-z]{2} [a-z]{3}[- ]?\d{3,4}"
CODED = ("a Medicare number", "a vehicle's number")
# What stands in the place of a pseudonym and is nobody's name.
OF_NOBODY = (
    r"agency|float|contract|student|team|others?|various|several|both|test|none|weekend|nights?|days?|continued|cont|"
    r"ditto|same|sum|subtotal|average|notes?|legend"
)
STRANGER = rf"(?!(?:{ROLE}|{OF_NOBODY})\Z)(?:{LETTER}['’-]?){{3,}}"
MOST, FEW = 0.75, 3  # share of running codes in a column, and how many, that make another look a stranger; no source
CHANCE, EACH_PLACE = 5, 0.1  # signs of a code that a program drew; share of letters, and of digits, at each of them
LOT = 10  # codes from which on their order can be seen


def read_pseudonyms(cells: Cells) -> Typed:
    """Pseudonyms as they stand, empty where none is known.

    Raises ExportError where one looks like an identifier, with its row and what it resembles.
    """
    not_known = cells.not_known.to_numpy(dtype=bool)
    known = cells.words[~not_known]
    for column, texts in [(cells.column.name, known), *(("wound", part) for part in _parts(cells, known))]:
        memory = _LOOKED_AT.setdefault(column, Memory())
        for what, like in _identifiers(column, Texts.of(texts, memory)):
            if len(like):
                raise ExportError(
                    f"{cells.first(cells.words.index.isin(texts.index[like]))}: looks like {what}; replace every "
                    f"{cells.column.name} with a pseudonym that means nothing, and export again"
                )
    return pd.Series(np.where(not_known, None, cells.words), index=cells.words.index, dtype=object), {}


def _parts(cells: Cells, known: pd.Series) -> Iterator[pd.Series]:
    """What was joined to one pseudonym, part by part as it may have stood in its own cell."""
    for place in range(len(cells.place.join)):
        yield known.str.split("/").str.get(place).dropna().str.replace("-", " ").str.title()


def resembles(column: str, texts: pd.Series) -> str:
    """What the first of these texts that looks like an identifier looks like; empty where none does."""
    return next((what for what, like in _identifiers(column, Texts.of(texts)) if len(like)), "")


def _identifiers(column: str, known: Texts) -> Iterator[tuple[str, np.ndarray]]:
    """Kind after kind, the places of the pseudonyms that look like one."""
    drawn = _drawn(known)
    places, odd = np.flatnonzero(~drawn), known[~drawn]
    kinds, alone = _kinds(column), _alone(column, odd)
    for kind in np.unique(alone[alone < len(kinds)]):
        yield kinds[kind][0], places[alone == kind]
    if column in PEOPLE:
        yield "initials and a year", places[_initials_and_years(odd)]
        yield "a name", places[_strangers(odd)]
    if column in NO_PLACE:
        named = odd.holding(HINTS)
        named[named] = [bool(people_in(text)) for text in odd[named]]
        yield "a name", places[named]
        yield "a vehicle's number", places[_plates(odd)]


@cache
def _kinds(column: str) -> list[tuple[str, str]]:
    """What a text of a column can look like by itself, and the pattern that it then holds, in the order of asking."""
    whole = [(what, rf"\A(?:{pattern})\Z") for what, pattern, asked in RESEMBLES if column in asked]
    return whole + [(what, f"(?:{pattern})") for what, pattern in HOLDS]


# A wound stands in five tables and is looked at once. What was looked at is forgotten when the export is read.
_LOOKED_AT: dict[str, Memory] = {}
forget = _LOOKED_AT.clear


def _alone(column: str, texts: Texts) -> np.ndarray:
    """For each text the place of the first kind that it looks like by itself; their number where it looks like none."""
    return texts.asked(("alone", column), partial(_first_kinds, _kinds(column)))


def _first_kinds(kinds: list[tuple[str, str]], texts: Texts) -> np.ndarray:
    first = np.full(len(texts), len(kinds))
    asked = texts.may_hold("|".join(pattern for _, pattern in kinds))
    first[asked] = [_first_kind(text, kinds) for text in texts[asked]]
    return first


def _first_kind(text: str, kinds: list[tuple[str, str]]) -> int:
    return next((place for place, (_, pattern) in enumerate(kinds) if compiled(pattern).search(text)), len(kinds))


def _drawn(known: Texts) -> np.ndarray:
    """Codes that a program drew, or made by hashing: most of a column is of one length, letters and digits in no order.

    What is all digits by chance (one in forty of eight hexadecimal signs) is one of them.
    """
    mixed = known[known.like(rf"[0-9a-z]{{{CHANCE},}}") & known.holding(r"\d[a-z]+\d|[a-z]\d+[a-z]")]
    mixed = mixed[~mixed.holding("|".join(pattern for what, pattern in HOLDS if what in CODED))]
    lengths = np.array([len(code) for code in mixed], dtype=int)
    usual = max(Counter(lengths.tolist()).items(), key=lambda one: one[1], default=(0, 0))[0]
    mixed = mixed[lengths == usual]
    if len(mixed) > len(known) / 2 and _in_no_order(mixed.words):
        signs = "0-9a-f" if mixed.like("[0-9a-f]+").all() else "0-9a-z"
        return known.like(rf"[{signs}]{{{usual}}}")
    lettered = known.like(PLATE)
    letters = {_letters(code) for code in known[lettered]}
    return lettered & (len(letters) > len(known) / 2 and len(known) >= LOT)


def _in_no_order(codes: np.ndarray) -> bool:
    """Whether letters and digits stand at every place, as far as there are enough codes (of one length) to see it."""
    digits = np.char.isdigit(codes.astype(str).view("U1").reshape(len(codes), -1)).mean(axis=0)
    return len(codes) < LOT or bool(((digits > EACH_PLACE) & (digits < 1 - EACH_PLACE)).all())


def _letters(code: str) -> str:
    return re.sub(r"[\W\d_]+", "", code).lower()


def _strangers(known: Texts) -> np.ndarray:
    """A word with a capital that is none of the trade in a column of running codes: Whiteoak among R0001 and R0002."""
    codes = known.like(RUNNING)
    like = known.like(STRANGER) & ~codes & bool(codes.sum() >= max(FEW, MOST * len(known)))
    if not like.any():
        return like
    named = [text[0].isupper() and plain(text) not in common_words() for text in known]
    return like & np.array(named, dtype=bool)


def _plates(known: Texts) -> np.ndarray:
    """KQR-4827 is a plate among R0001, R0002 and R0003; of a column of such codes nobody can tell."""
    like = known.like(PLATE)
    if not like.any():
        return like
    letters = Counter(map(_letters, known))
    alone = np.array([letters[_letters(text)] == 1 for text in known], dtype=bool)
    others = known[~like].like(RUNNING).sum()
    return like & alone & bool(others >= max(FEW, MOST * len(known)))


def _initials_and_years(known: Texts) -> np.ndarray:
    """JS1940 is somebody, AB1901 beside AB1902 is a running code: letters that most share say nothing of a person.

    Neither do letters that also stand before numbers which are no years, as in AB0007 and AB1901, nor any where most
    of a column are such codes without a year.
    """
    like = known.like(INITIALS)
    if not like.any():
        return like
    letters = pd.Series([_letters(text) for text in known], dtype=object)
    borne = letters.map(letters.value_counts())
    shared = (borne > 1) & (borne > len(known) / 2)
    coded = known.like(rf"{LETTER}{{2,3}}\W?\d{{4}}") & ~like
    told = like & ~shared & ~letters.isin(letters[coded])
    return told.to_numpy(dtype=bool) & bool(len(known) and coded.mean() <= 1 / 2)
