"""What a pseudonym must not look like: whatever could tell somebody who it is stops the run.

The list follows the identifiers of 45 CFR 164.514(b)(2)(i). A check of looks finds slips, not intent: a record number
of five digits, or a surname alone, passes.
"""

from __future__ import annotations

import pandas as pd

from kit.faults import ExportError
from kit.intake.cells import Cells, Typed

EVERY = ("resident", "wound", "facility", "assessor", "therapist")
PEOPLE = ("resident", "assessor", "therapist")

LETTER = r"[^\W\d_]"
YEAR = r"(?:19\d{2}|20[0-2]\d)"
MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
NUMERIC_DATE = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2}))"
# "Resident A" and "Nurse B" are codes, though they have the shape of a name.
ROLE = r"(?:resident|patient|client|person|case|staff|nurse|therapist|assessor|pta?|ota?|rn|lpn|cna)"
CODE = rf"(?!{ROLE}\W*(?:{LETTER}{{1,2}}|\w*\d\w*)\Z)"
WORD = rf"(?:{LETTER}[.'’-]?){{2,}}"

# (what it resembles, pattern of the whole value, columns it is asked of)
RESEMBLES = (
    ("a record, account or social security number", r"(?:mrn|ssn|acct|chart)\W*\d.*|\d{3}-\d{2}-\d{4}|\d{6,}", EVERY),
    ("a number that a spreadsheet has shortened", r"\d\.\d+e\+?\d+|\de\+\d+", EVERY),
    ("an e-mail address or a web address", r"\S+@\S+|(?:https?:|www\.)\S*", EVERY),
    ("a telephone number", r"(?:\+?1[-. ]?)?\(?\d{3}\)?[-. ]?\d{3}[-. ]\d{4}", EVERY),
    ("a date", rf"{NUMERIC_DATE}(?:[T ].*)?|\d{{1,2}}\W?{MONTH}\W*\d{{2,4}}|{MONTH}\W*\d{{1,2}}\W+\d{{2,4}}", EVERY),
    ("free text", r".{65,}", EVERY),
    ("free text", r"(?:\S+\s+){5,}\S+", ("resident", "wound", "assessor", "therapist")),
    ("a name", rf"{CODE}(?:{WORD}(?:,\s*|\s+){LETTER}.*|{LETTER}\.?\s+{WORD}.*)", PEOPLE),
    ("a name", r"(?:mrs?|ms|miss|dr)[.\s].*", ("resident", "wound", "assessor", "therapist")),
    ("initials", rf"(?!{ROLE}\Z)(?:{LETTER}\.?){{2,3}}", PEOPLE),
    ("a room or bed", r"(?:room|rm|bed)\W*\d+\W?\w?|\d{1,4}-?[a-d]", ("resident",)),
    ("initials and a date of birth", rf"{LETTER}{{2,3}}\W?(?:\d{{1,2}}\W?\d{{1,2}}\W?{YEAR}|{NUMERIC_DATE})", PEOPLE),
)  # fmt: skip
INITIALS = rf"{LETTER}{{2,3}}\W?{YEAR}|{YEAR}\W?{LETTER}{{2,3}}"


def read_pseudonyms(cells: Cells) -> Typed:
    """Pseudonyms as they stand, empty where none is known.

    Raises ExportError where one looks like an identifier, with its row and what it resembles.
    """
    known = cells.words[~cells.not_known]
    for what, pattern, asked in RESEMBLES:
        if cells.column.name in asked:
            _refuse(cells, known[_like(known, pattern)], what)
    if cells.column.name in PEOPLE:
        _refuse(cells, _initials_and_years(known), "initials and a year")
    return cells.words.mask(cells.not_known, None), {}


def resembles(column: str, texts: pd.Series) -> str:
    """What the first of these texts that looks like an identifier looks like; empty where none does."""
    for what, pattern, asked in RESEMBLES:
        if column in asked and _like(texts, pattern).any():
            return what
    return "initials and a year" if column in PEOPLE and len(_initials_and_years(texts)) else ""


def _like(known: pd.Series, pattern: str) -> pd.Series:
    return known.str.fullmatch(f"(?is){pattern}").astype(bool)


def _refuse(cells: Cells, like: pd.Series, what: str) -> None:
    if len(like):
        raise ExportError(
            f"{cells.first(cells.words.isin(like))}: looks like {what}; replace every {cells.column.name} with a "
            "pseudonym that means nothing, and export again"
        )


def _initials_and_years(known: pd.Series) -> pd.Series:
    """JS1940 is somebody, AB1901 beside AB1902 is a running code: letters that most share say nothing of a person.

    Neither do letters that also stand before numbers which are no years, as in AB0007 and AB1901.
    """
    like = _like(known, INITIALS)
    letters = known.str.extract(rf"({LETTER}+)", expand=False).fillna("").str.lower()
    borne = letters.map(letters.value_counts())
    shared = (borne > 1) & (borne > len(known) / 2)
    counted = letters.isin(letters[_like(known, rf"{LETTER}{{2,3}}\W?\d{{4}}") & ~like])
    return known[like & ~shared & ~counted]
