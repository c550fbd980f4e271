"""Names that others gave (headers, sheets, files): told as they stand, or by their place where they tell who it is."""

from __future__ import annotations

import os
import re
from functools import cache
from pathlib import Path

from kit.intake.lexicon import plain, site_words, trade_words

LETTER = r"[^\W\d_]"
MONTH = r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*"
CAPITAL = r"[A-ZÀ-ÖØ-Þ][\w'’-]+"
STREET = (
    r"street|st|avenue|ave|road|rd|lane|ln|drive|dr|boulevard|blvd|court|ct|place|pl|parkway|pkwy|highway|hwy|terrace|"
    r"circle|cir|turnpike|pike"
)
ENDINGS = r"com|org|net|gov|edu|us|info|io|example"

# Patterns that are sought anywhere in a name, and that a whole pseudonym must not match either.
E_MAIL = r"[\w.+-]+@[\w.-]+\w|[\w.+-]+\s*[\[(]\s*at\s*[\])]\s*[\w.-]+|(?<!\w)@\w{3,}"
WEB = rf"https?:\S*|www\.\S*|(?<![\w@])(?:[\w-]+\.)+(?:{ENDINGS})\b(?:[/:]\S*)?"
PHONE = r"(?<![\w-])(?:\+?1[-. ]?)?\(?\d{3}\)?[-./ ]{0,2}\d{3}[-. ]\d{4}(?![\w-])(?:\W*(?:x|ext\.?)\W*\d+)?"
ABROAD = r"\+\d(?:[ ().-]*\d){7,}"
LOCAL = r"(?<![\w-])[2-9]\d{2}[-. ](?!(?:19|20)\d\d)\d{4}(?![\w-])"
SOCIAL = r"(?<!\d)\d{3}[- ]\d{2}[- ]\d{4}(?!\d)(?:-?[a-z]\d?\b)?"
# 11 places; letters without S, L, O, I, B and Z (CMS, Understanding the Medicare Beneficiary Identifier format).
M = "[AC-HJKMNP-RT-Y]"
MEDICARE = rf"(?<![A-Z0-9])[1-9]{M}(?:{M}|\d)\d-?{M}(?:{M}|\d)\d-?{M}{M}\d\d(?![A-Z0-9])"
COMPUTER = (
    r"(?<![\w.])(?=[\d.]*\d\d)(?:(?:25[0-5]|2[0-4]\d|1?\d?\d)\.){3}(?:25[0-5]|2[0-4]\d|1?\d?\d)(?![\d.])(?::\d+)?|"
    r"(?<![0-9a-f:])(?=(?:[0-9a-f]*:){3})[0-9a-f]{0,4}(?::[0-9a-f]{0,4}){3,7}(?![0-9a-f:])|"
    r"(?<![0-9a-f])[0-9a-f]{2}(?:[:-][0-9a-f]{2}){5}(?![0-9a-f])|(?<!\w)[0-9a-f]{4}\.[0-9a-f]{4}\.[0-9a-f]{4}(?!\w)"
)
# 17 signs without I, O and Q, a check digit at the ninth, a running number at the end (49 CFR 565).
VEHICLE = r"(?<![A-Z0-9])(?=\d*[A-Z])[A-HJ-NPR-Z0-9]{8}[\dX][A-HJ-NPR-Z0-9]{4}\d{4}(?![A-Z0-9])"
WHERE = (
    rf"(?<![\w-])\d{{1,6}}[a-z]?\s+(?:[^\W\d_][\w'’.-]*\s+){{1,3}}(?:{STREET})\b\.?|\bp\.?\s?o\.?\s*box\W*\d+|"
    r",\s*[a-z]{2}\.?\s+\d{5}(?:-\d{4})?(?!\d)|(?<![\w-])\d{5}-\d{4}(?![\w-])|\bzip\b\W*(?:code)?\W*\d{3,}|"
    r"-?\d{1,3}\.\d{3,}[°\s,;/]+-?\d{1,3}\.\d{3,}|\d{1,3}°\s*\d{1,2}\W*(?:\d+\W*)?[nsew]"
)
PICTURE = (
    r"\b(?:[\w()-][\w .()-]{0,60})?\.(?:jpe?g|png|heic|gif|tiff?|bmp|dcm)\b|\bdata:image\S*|\b(?:img|dsc|dcim)[-_ ]?\d+"
)
BODY = r"\b(?:finger\s?prints?|palm\s?prints?|voice\s?prints?|retina|iris scan|face\s?id|biometrics?)\W+\w*\W*\d.*"
BORN = (
    rf"\b(?:dob|d\.o\.b|born|birth\w*|geb)\b\W*(?:on|in|date)?\W*(?:{MONTH}\W*)?\d[\d./-]*|"
    r"(?<!\d)\d\d[-/. ]\d\d[-/. ]19\d\d(?!\d)|(?<![\w-])\d{1,2}[-/. ]\d{1,2}[-/. ]19\d\d(?!\d)|"
    r"(?<!\d)19\d\d([-/.])\d{1,2}\1\d{1,2}(?!\d)|(?<![\w./-])\d{1,2}([-/.])\d{1,2}\2(?:3[2-9]|[4-9]\d)(?![\d./-])|"
    rf"(?<!\d)\d{{1,2}}\W{{0,2}}{MONTH}\W{{0,2}}19\d\d(?!\d)|\b{MONTH}\W{{1,2}}\d{{1,2}}\W{{1,2}}19\d\d(?!\d)"
)
OLD = r"(?<!\d)(?:9[1-9]|1[01]\d)\W{0,2}(?:y\W?o|yrs?|years?)\b(?:\W*old)?|\baged?\W*(?:9[1-9]|1[01]\d)(?!\d)"
CALLED = (
    r"mrn|mr\s?#|ssn|acct|account|hicn|mbi|medicare|medicaid|npi|dea\b|vin|imei|udi\b|passport|badge|lic|licen[cs]e|"
    r"plate|serial|s/n|fax|tel|telephone|phone"
)
LOOSELY = r"policy|member|subscriber|insurance|mobile|cell|group|plan|case|chart|bed|tag|sn|id"
DOCKET = r"(?<!\w)(?:case|docket|claim)\W*(?:no|nr|num|number|#)\W*(?=(?:\D*\d){5})[\w-]+"
GOODS = r"\(01\)\s?\d{14}(?:\(\d\d\)\w*)*"  # a device by its unique identifier (21 CFR 801)
# Records that are filed by their last digits, 44-71-03; what could be a day in any order is left alone.
FILED = (
    r"(?<![\w-])(?!(?:0[1-9]|[12]\d|3[01])-(?:0[1-9]|[12]\d|3[01])-|\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01]))"
    r"\d\d-\d\d-\d\d(?![\w-])"
)
BETWEEN = r"(?:\W|no\b|nr\b|num\b|number\b|id\b|ends\b|in\b)*[a-z]{0,5}[-_ ]?"
NUMBERED = (
    rf"(?<!\w)(?:{CALLED})(?![a-z]){BETWEEN}\d[\w-]*|"
    rf"(?<!\w)(?:{LOOSELY})(?![a-z]){BETWEEN}(?:\d[- ]?){{5,}}[\w-]*"
)
# A day, or a moment, that a program wrote into a name is no number of anybody.
STAMP = re.compile(
    r"(?<!\d)(?:20\d\d[01]\d[0-3]\d|20\d\d([-./])\d{1,2}\1\d{1,2}|\d{1,2}([-./])\d{1,2}\2(?:20)?[0-3]\d)"
    r"(?:[-_T ]{0,2}[0-2]\d[:.]?[0-5]\d(?:[:.]?[0-5]\d)?)?(?!\d)"
)
LONG_NUMBER = r"(?<!\d)\d{7,}(?!\d)|(?<!\d)\d(?:[-./ ]?\d){8,}(?!\d)|(?<!\w)[a-z]{1,4}[-_ ]?[1-9]\d{5,}[a-z]?(?!\w)"
# So many of the commonest given names of the United States, from memory, without those that are words or places.
GIVEN = frozenset(
    """aaron adam agnes alan albert alfred alice allen amanda amy andrea andrew angela ann anna anne annie anthony
    arlene arthur ashley barbara benjamin bernice bertha bessie betty beverly brandon brenda brian bruce carl
    carol carolyn catherine charles cheryl christina christine christopher clara clarence cynthia daniel david
    deborah debra dennis diana diane dolores donald donna dorothy douglas edith edna edward elaine eleanor
    elizabeth elsie emily emma eric ernest esther ethel eugene eva evelyn florence frances gary george gerald
    geraldine gertrude gladys gloria gregory harold harry helen henry howard ida irene jack jacob jacqueline
    james janet janice jason jean jeffrey jennifer jerry jessica joan joe johanna john johnny jonathan joseph
    josephine joshua joyce juan juanita judith judy julia julie justin karen katherine kathleen keith kelly
    kenneth kevin kimberly larry laura lauren lawrence leonard lillian linda lisa lois lorraine louis louise
    lucille margaret maria marie marilyn marion marjorie martha martin mary matthew melissa michael michelle
    mildred minnie nancy nathan nicholas nicole norma olivia pamela patricia patrick paul pauline peter philip
    phillip phyllis rachel ralph raymond rebecca richard robert roger ronald roy russell ruth ryan samantha
    samuel sandra sara sarah scott sharon shirley sophia stephanie stephen steven susan teresa thelma theresa
    thomas timothy vincent vivian walter wayne william willie zachary""".split()
)
TITLES = r"(?:Mrs?|MRS?|Ms|Miss|MISS|Dr|DR)\b\.?\s*"
WORD = r"[A-ZÀ-ÖØ-Þ]?[a-zß-öø-ÿ]+|[A-ZÀ-ÖØ-Þ]+(?![a-zß-öø-ÿ])"  # JohnSmith is two
SAINT = {"st", "saint", "san", "santa"}

LONGEST = 500  # letters; what is longer is no name but a text, and would be sought through for seconds
NUMBER = "a record, account or social security number"
HOLDS = (
    ("an e-mail address or a web address", rf"{E_MAIL}|{WEB}"),
    ("a Medicare number", MEDICARE),
    ("a vehicle's number", VEHICLE),
    ("an address of a computer or device", COMPUTER),
    ("an address or a place", WHERE),
    ("a date of birth", BORN),
    ("an age over 89", OLD),
    ("a telephone number", rf"{PHONE}|{ABROAD}|{LOCAL}"),
    (NUMBER, rf"{SOCIAL}|{GOODS}|{DOCKET}|{NUMBERED}"),
    ("a record number", FILED),
    ("a photograph", PICTURE),
    ("a fingerprint or the like", BODY),
)


def said(name: str, place: str) -> str:
    """The name as it stands, or the place where the name holds what looks like an identifier."""
    return place if looks_like(name) else name


def looks_like(name: str) -> str:
    """What a header, or the name of a sheet or file, holds that looks like an identifier; empty where it holds none."""
    return next((what for what, _ in _found(name)), "")


def starred(name: str) -> str:
    """The name with * in the place of every identifier, as a map may write it."""
    for _, (begin, end) in sorted(_found(name), key=lambda found: -found[1][0]):
        name = f"{name[:begin]}*{name[end:]}"
    return re.sub(r"\*+", "*", name)


def file_said(file: Path) -> str:
    """What a message calls a file: its name, or its number among the files of its folder."""
    name = file.name
    if not looks_like(name.removesuffix(file.suffix)) and not looks_like(name):
        return name
    if os.path.isdir(file):  # also where a name is longer than any file's
        return "the folder"
    if file.suffix.lower() in (".xlsx", ".xlsm"):
        return "the workbook"
    beside = sorted(other.name for other in file.parent.glob("*") if other.is_file())
    return f"the {ordinal(beside.index(name) + 1)} file" if name in beside else "the file"


def ordinal(number: int) -> str:
    """1st, 2nd, 3rd, 4th, 11th."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _found(name: str) -> list[tuple[str, tuple[int, int]]]:
    """What was found, and where it begins and ends; what overlaps is one."""
    if len(name) > LONGEST:
        return [("free text", (0, len(name)))]
    text = name.replace("_", " ")
    undated = STAMP.sub(lambda day: " " * len(day[0]), text)
    sought = [(what, pattern, undated if what == NUMBER else text) for what, pattern in (*HOLDS, (NUMBER, LONG_NUMBER))]
    met = [(what, one.span()) for what, pattern, within in sought for one in _all(pattern, within)]
    met += [("a name", span) for span in people_in(text)]
    together: list[tuple[str, tuple[int, int]]] = []
    for what, (begin, end) in sorted(met, key=lambda one: one[1]):
        if together and begin < together[-1][1][1]:
            what, (begin, before) = together.pop()
            end = max(end, before)
        together.append((what, (begin, end)))
    return together


def _all(pattern: str, text: str) -> list[re.Match]:
    return list(re.compile(f"(?i){pattern}").finditer(text))


HINTS = rf"[.,]|{LETTER}{LETTER}"  # without one of them no text holds a name: R0123
_hints = re.compile(HINTS).search


def people_in(text: str) -> list[tuple[int, int]]:
    """Where a text holds a name of a person: a title, a comma or initial before capitals, or a common given name.

    Words of the trade are no names: `Site, Side` and `L. Heel` stay. A surname alone is like any other word.
    """
    if not _hints(text):
        return []
    cues = [
        *re.finditer(rf"(?<!\w){TITLES}({CAPITAL})", text),
        *re.finditer(rf"(?<!\w)({CAPITAL}),\s*(?:({CAPITAL})|[A-Z]\b\.?)", text),
        *re.finditer(rf"(?<!\w)[A-Z]\.\s*(?:[A-Z]\.\s*)?({CAPITAL})", text),
    ]
    found = [one.span() for one in cues if not {plain(part) for part in one.groups() if part} & common_words()]
    return found + _given_names(text)


def _given_names(text: str) -> list[tuple[int, int]]:
    """Where a common given name stands beside a word that is none of the trade: John Smith, smith-john, JohnSmith."""
    words = [one for one in re.finditer(WORD, text) if len(one[0]) > 1]
    found = []
    for before, one, after in zip([None, *words], words, [*words[1:], None], strict=False):
        word = plain(one[0])
        if word in GIVEN and word not in common_words() and not (before and plain(before[0]) in SAINT):
            first, last = (
                (before if _surname(text, before, one) else one),
                (after if _surname(text, one, after) else one),
            )
            if first is not last:
                found.append((first.start(), last.end()))
    return found


def _surname(text: str, left: re.Match | None, right: re.Match | None) -> bool:
    """Whether two neighbours stand close together and neither is a word of the trade."""
    if left is None or right is None or not re.fullmatch(r"[\s,.-]{0,2}", text[left.end() : right.start()]):
        return False
    return not {plain(left[0]), plain(right[0])} & common_words()


@cache
def common_words() -> frozenset[str]:
    """Words that are no names: those of the trade, of sites of the body, and of files and weeks."""
    return trade_words() | {word for words in site_words() for word in words.split()} | frozenset(COMMON)


COMMON = (
    "all and at before by copy csv data day days draft end export exports facility file final for from greatest house "
    "in list log month monthly new of old ods on other out over page parquet quarter record records report room see "
    "sheet since start table the to total tsv txt under unit updated version vs ward week weekly weeks wk with wing "
    "xls xlsb xlsm xlsx year north south east west"
).split()
