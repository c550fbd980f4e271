"""The grammar of sizes: what charts write in one cell for the size of a wound, and what it means.

Strict on purpose. What is not fully matched is not read: a slip must never heal a wound, and a size that is
guessed is worse than one that is missing.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

import pandas as pd

from kit.vocabulary import LENGTHS

LONGEST = 60.0  # cm; the vocabulary's limit for a length
DIMENSIONS = ("length", "width", "depth")
NUMBERS = (*DIMENSIONS, "undermining", "tunnelling")


@dataclass(frozen=True)
class Size:
    """One cell: numbers in cm, None where not known, and whether the wound was open, closed or not seen."""

    length: float | None = None
    width: float | None = None
    depth: float | None = None
    undermining: float | None = None
    tunnelling: float | None = None
    state: str = "open"  # open, closed or unseen


# A number is never cut: 12 o'clock is not 1 at 2 o'clock. Without a sign: no wound is -3 cm.
NUMBER = r"(?:[0-9]+(?:\.[0-9]+|,[0-9]{1,2})?|\.[0-9]+)(?![0-9.,])"
UNIT = r"(?:mm|cm|in)(?![0-9])"  # no digit behind: 4.8 cm2 is an area
MARK = r"(?:<|≤|~|≈|less than|approx(?:imately)?|about)"
MEASURE = rf"(?:{MARK} ?)?{NUMBER}(?: ?{UNIT})?"
TISSUE = r"(?:(?:100 ?%|dry|stable|intact|black) )*(?:eschar|scab|slough)"
DUE = r"(?:due to|d/t|secondary to|-)"
UNABLE = r"(?:unable to (?:measure|determine|assess)|ut[dam])"
NOT_KNOWN = rf"(?:{UNABLE}(?: {DUE} {TISSUE})?|unk(?:nown)?|n/?a|\?|-(?! ?[0-9.]))"

# The size itself. Each form names what it finds; numbers without labels stand in the order of the ruler.
BY = r" ?(?:x|by) ?"
NEXT = r" ?(?:x|by)? ?"
LENGTH = rf"(?P<length>{MEASURE})"
WIDTH, DEPTH = (rf"(?P<{name}>{MEASURE}|{NOT_KNOWN})" for name in ("width", "depth"))
LONG, WIDE, DEEP = r"(?:length|long|l)", r"(?:width|wide|w)", r"(?:depth|deep|d)"
FORMS = (
    rf"{LENGTH}(?:{BY}{WIDTH}(?:(?:{BY}(?:{DEEP} ?)?| {DEEP} ?){DEPTH})?)?",  # 3.2 x 1.5 x 0.4; 3.2 x 1.5, depth 0.4
    rf"{LONG} ?{LENGTH}(?:{NEXT}{WIDE} ?{WIDTH})?(?:{NEXT}{DEEP} ?{DEPTH})?",  # L 3.2 W 1.5 D 0.4
    rf"{LENGTH} ?{LONG}(?:{NEXT}{WIDTH} ?{WIDE})?(?:{NEXT}{DEPTH} ?{DEEP})?",  # 3.2L x 1.5W x .4D
)

# What may follow it. The hours say where on the edge, and are not kept.
HOUR = r"(?:1[0-2]|0?[1-9])(?::00)?(?![0-9.])"
HOURS = rf"{HOUR}(?: ?(?:-|to|and) ?{HOUR})?"
OCLOCK = rf"(?:(?:@|at|from|between) ?)?{HOURS} ?o'?clock"
PLACE = rf"(?: ?(?:{OCLOCK}|(?:@|at|from|between) ?{HOURS}))"
UNDERMINED = r"(?:undermining|um)"
TUNNELLED = r"(?:tunnell?ing|tunnel|sinus tract|tn)"
OR = r"(?: or | and | nor |/)"
BEFORE = r" ?(?:(?:and|with|w/|&|-(?= ?[a-z])) ?)?"


def _extent(name: str, word: str) -> tuple[str, ...]:
    found = rf"(?P<{name}>{MEASURE})"
    return (
        rf"{BEFORE}{word} {OCLOCK}(?: of)? {found}",  # tunneling at 6 o'clock 1.5 cm
        rf"{BEFORE}{word}(?: of)? ?{found}{PLACE}?",  # tunneling 1.5 @ 6
        rf"(?=[ ]){BEFORE}{found}(?: of)? {word}{PLACE}?",  # 1.5 cm tunneling from 9 to 12
        rf"{BEFORE}(?P<{name}>no) {word}",
        rf"{BEFORE}{word} (?P<{name}>none)",
    )


EXTENTS = (
    rf"{BEFORE}(?P<undermining>(?P<tunnelling>no)) (?:{UNDERMINED}{OR}{TUNNELLED}|{TUNNELLED}{OR}{UNDERMINED})",
    *_extent("undermining", UNDERMINED),
    *_extent("tunnelling", TUNNELLED),
)

# Words in place of a size. A day may stand behind them: "healed 3/4" tells when, not how much.
TO_31 = r"(?:0?[1-9]|[12][0-9]|3[01])"
DATE = rf"(?:{TO_31}/{TO_31}(?:/(?:20)?[0-9]{{2}})?|20[0-9]{{2}}-[01][0-9]-[0-3][0-9])"
DAY = rf"(?: (?:on )?{DATE}| \({DATE}\))?"
ZERO = r"0+(?:\.0+)?(?: ?(?:cm|mm))?"
ZEROS = rf"{ZERO}(?:{BY}{ZERO}){{1,2}}"
WOUND = r"(?:(?:wound|area|site) )?(?:is |has |now )?"
WHOLLY = r"(?:(?:100 ?%|fully|completely) )?"
HEALED = r"(?:healed|resolved|closed|(?:re-?)?epitheliali[sz]ed(?! \(?[0-9]/[0-9]\)?$))"  # 3/4 of it may be meant
WHO = r"(?:(?:pt|patient|res|resident) )?"
CARE = r"(?:assessment|measurements?|wound care|dressing change)"
DRESSING = r"(?:dressing|dsg|drsg|(?:wound )?vac|cast)"
# (pattern of the whole text in its plain form, state)
WORDS: tuple[tuple[str, str], ...] = (
    (rf"(?:{ZEROS} (?:- )?)?{WOUND}{WHOLLY}{HEALED}(?: (?:- )?{ZEROS})?", "closed"),
    # Whoever writes almost or not healed has seen it open; "healed?" is a question, and nobody's answer.
    (rf"{WOUND}(?:almost|nearly|mostly|partially|not(?: yet)?) {WHOLLY}{HEALED}", "open"),
    (r"(?:unhealed|(?:not |non-?)?healing(?: (?:well|slowly))?)", "open"),
    (rf"{WOUND}(?:still |remains |re-?)?open(?:ed)?|open (?:wound|area)", "open"),
    (rf"{TISSUE}(?: (?:intact|stable|dry|covered))?|scabbed(?: over)?", "open"),
    (rf"{WOUND}(?:{TISSUE}[ -]covered|covered (?:with|by|in) {TISSUE})", "open"),
    (rf"{UNABLE} {DUE} {TISSUE}|unable to measure|utm", "open"),  # who could not measure stood before it
    (r"too small to measure|pin-? ?point(?: (?:open(?:ing)?|open area))?", "open"),
    (r"n/?a|not (?:seen|assessed|measured|done)|unseen|unable to (?:assess|determine)|ut[ad]", "unseen"),
    (rf"{UNABLE} {DUE} (?:refus(?:al|ed)|pain|position(?:ing)?|behaviou?r|{DRESSING})", "unseen"),
    (rf"{WHO}(?:refused|declined)(?: {CARE})?|refusal", "unseen"),
    (rf"(?:{CARE} )?deferred|{CARE} not done", "unseen"),
    (rf"{WHO}(?:(?:in|at|(?:sent )?to) (?:the )?)?hosp(?:ital)?|{WHO}hospitali[sz]ed", "unseen"),
    (rf"{WHO}(?:in|at|(?:sent )?to) (?:er|ed)", "unseen"),
    (rf"{WHO}(?:out(?: of (?:the )?(?:facility|building|room))?|(?:out )?(?:at|to) (?:dialysis|appt))", "unseen"),
    (rf"{WHO}(?:on )?(?:loa|leave)", "unseen"),
    (rf"{DRESSING} (?:not (?:removed|changed)|(?:left )?(?:on|intact|in place)|c/?d/?i)", "unseen"),
)

_FORMS = tuple(re.compile(form) for form in FORMS)
_EXTENTS = tuple(re.compile(extent) for extent in EXTENTS)
_WORDS = tuple((re.compile(rf"(?:{words}){DAY}"), state) for words, state in WORDS)
_MEASURE = re.compile(rf"(?P<mark>{MARK})? ?(?P<number>{NUMBER})(?: ?(?P<unit>{UNIT}))?")
_ALONE = re.compile(rf"{LENGTH}{PLACE}?|none")


def read_size(text: str, unit: str = "cm") -> Size | None:
    """The size that `text` tells, in cm; None where it cannot be read.

    | text | length, width, depth | state |
    | --- | --- | --- |
    | 3.2 x 1.5 x 0.4, 3.2L x 1.5W x .4D, 32 x 15 x 4 mm, 3,2 x 1,5 x 0,4 | 3.2, 1.5, 0.4 | open |
    | 3 x 2 x UTD, 3 x 2, UM 2.5 @ 12 | 3, 2, not known | open |
    | <0.1 | 0.1, not known, not known: never closed | open |
    | 0 x 0 | 0, 0, not known | closed |
    | healed 3/4, 100% epithelialized | not known | closed |
    | scab, pinpoint, unable to measure, healing, almost healed, not healed | not known | open |
    | n/a, refused, in hosp, dressing not removed | not known; the row says nothing of the wound | unseen |
    | healed?, same, 4.8 cm2, 3,2, 3 x 2 and 1 x 1, 3 x 2 x 1 x 1, 0 x 2, -3, 61 | | None |

    `unit` (cm, mm or in) is the column's. One written at the last of the numbers joined holds for all of them;
    where a number without a unit could have one of two, the text is not read. A comma is a point only where it
    would otherwise part more than three numbers. Case, blanks and closing punctuation do not matter. Never raises.
    """
    plain = _plain(str(text))
    state = next((state for words, state in _WORDS if words.fullmatch(plain)), None)
    found = _found(plain)
    return Size(state=state) if state else _size(found, unit) if found else None


def read_sizes(series: pd.Series, unit: str = "cm") -> pd.DataFrame:
    """Every size of a column: the five numbers (cm, float64) and `state` (object); nothing where it is not read.

    The index is kept. Each distinct text is read once.
    """
    texts = series.astype(object)
    sizes = {text: read_size(text, unit) for text in texts.dropna().unique()}
    read = [sizes.get(text) for text in texts]
    columns = {name: [getattr(size, name, None) for size in read] for name in (*NUMBERS, "state")}
    return pd.DataFrame(columns, index=texts.index).astype({**dict.fromkeys(NUMBERS, "float64"), "state": object})


def read_extent(text: str, unit: str = "cm") -> float | None:
    """The depth, undermining or tunnelling that stands alone in a cell, in cm; None where it is not known or read.

    | text | cm |
    | --- | --- |
    | 0.4, 4 mm | 0.4 |
    | <0.1 | 0.1 |
    | 2.5 @ 12 o'clock, 2.5 from 9 to 12 | 2.5 |
    | 0, none | 0 |
    | UTD, n/a, 0,4, 1-2, >2, 2 x 1 | None |
    """
    match = _ALONE.fullmatch(_plain(str(text)))
    if match and match["length"]:
        return (_centimetres({"length": match["length"]}, unit) or {}).get("length")
    return match and 0.0


def _plain(text: str) -> str:
    """Lower case, one space between words, one sign for what has several; a bracketed remark loses its brackets.

    Half signs, raised and ringed digits are not unfolded: NFKC makes 31/2 of three and a half, and 4.82 of a square.
    """
    if any(sign.isnumeric() and not sign.isdecimal() for sign in text):
        return ""
    text = unicodedata.normalize("NFKC", text).casefold().translate(str.maketrans("×*–—−’‘”“=", "xx---''\"\" "))
    text = re.sub(r"′′|''|\"|inch(?:es)?", "in", text)
    text = re.sub(r"\(\s*([a-wyz][^()]*)\)", r" \1 ", text)  # never (3), which is minus 3 to a bookkeeper
    text = re.sub(r"(?<![0-9])[,;:]|[,;:](?![0-9])|\.(?![0-9])", " ", text.rstrip(" \t\r\n.,;:!"))
    return re.sub(r"\s+", " ", text).strip()


def _found(plain: str) -> dict[str, str] | None:
    """What stands for each number, by its name, where a form and its extents use up the whole text."""
    for form in _FORMS:
        if (size := form.match(plain)) and (extents := _extents(plain[size.end() :])) is not None:
            return {name: words for name, words in size.groupdict().items() if words} | extents
    return None


def _extents(rest: str) -> dict[str, str] | None:
    found: dict[str, str] = {}
    while rest:
        match = next((match for extent in _EXTENTS if (match := extent.match(rest))), None)
        if match is None or found.keys() & match.groupdict().keys():  # two tunnels: never guess
            return None
        found, rest = found | match.groupdict(), rest[match.end() :]
    return found


def _size(found: dict[str, str], unit: str) -> Size | None:
    """Open with a length, closed where everything written is zero; anything between contradicts itself."""
    numbers = _centimetres(found, unit)
    if numbers is None:
        return None
    numbers |= {name: 0.0 for name, words in found.items() if words in ("no", "none")}
    if numbers["length"] > 0:
        return Size(**numbers)
    return Size(**numbers, state="closed") if numbers.keys() == found.keys() and not any(numbers.values()) else None


def _centimetres(found: dict[str, str], unit: str) -> dict[str, float] | None:
    """Every number that stands among what was found, in cm; None where one of them cannot be believed."""
    parts = {name: match for name, words in found.items() if (match := _MEASURE.fullmatch(words))}
    own = {name: part["unit"] or _for_all(parts, unit) for name, part in parts.items()}
    if None in own.values() or not _commas_are_points(parts):
        return None
    numbers = {}
    for name, part in parts.items():
        number = round(float(part["number"].replace(",", ".")) * LENGTHS[own[name]], 9)
        not_nothing = part["mark"] or part["number"].strip("0.,")  # about 0 and less than 0 are no zeros
        if number > LONGEST or (number == 0 and not_nothing):
            return None
        numbers[name] = number
    return numbers


def _for_all(parts: dict[str, re.Match[str]], column: str) -> str | None:
    """The unit of the numbers without one: the column's, or the one written last in the size; never one of two."""
    written = {part["unit"] for part in parts.values()} - {None}
    last = [part["unit"] for name, part in parts.items() if name in DIMENSIONS][-1]
    return column if written <= {column} else last if written == {last} else None


def _commas_are_points(parts: dict[str, re.Match[str]]) -> bool:
    """Whether there is no comma, or none can part lengths, for they would be more than three."""
    size = [part["number"] for name, part in parts.items() if name in DIMENSIONS]
    numbers = "".join(part["number"] for part in parts.values())
    return "," not in numbers or ("." not in numbers and len(size) + "".join(size).count(",") > 3)
