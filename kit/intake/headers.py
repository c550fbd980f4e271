"""What a header of an export may mean: our columns whose words it holds, and the unit that stands beside them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from itertools import permutations

from kit.intake.lexicon import header_words, idle_words, plain
from kit.vocabulary import TABLES, Column

# The unit of the vocabulary, ours by name, and how headers spell it (plain: lower case, no marks).
SPELLED = {
    "cm": {"cm": "cm|centimeter|centimeters|centimetre|centimetres|zentimeter|centimetros|centimetres",
           "mm": "mm|millimeter|millimeters|millimetre|millimetres|milimetros",
           "in": "in|inch|inches|zoll|pulgadas|pouces"},
    "cm2": {"cm2": "cm2|sq cm|sqcm|cm sq|cm 2|qcm|square cm", "mm2": "mm2|sq mm|sqmm|mm 2",
            "in2": "in2|sq in|sqin|in 2|square inches"},
    "min": {"min": "min|mins|minutes|minuten|minutos", "h": "h|hr|hrs|hours|std|stunden|horas|heures",
            "s": "s|sec|secs|seconds|sek|segundos|secondes"},
    "years": {"years": "years|yrs|yr|y|jahre|anos|ans", "months": "months|mos|monate|meses|mois"},
    "%": {"%": "%|pct|percent|prozent|porcentaje|pourcent", "share": "share|fraction|proportion"},
    "per second": {"per second": "pps|per second|per sec|s", "hz": "hz", "khz": "khz"},
    "V": {"v": "v|volts|volt", "mv": "mv"},
    "uC/s": {"uc/s": "uc s|uc sec|microcoulomb s", "mc/s": "mc s"},
    "MHz": {"mhz": "mhz", "khz": "khz"},
    "W/cm2": {"w/cm2": "w cm2|w cm 2|w sq cm|watts cm2", "mw/cm2": "mw cm2|mw cm 2"},
    "points": {"points": "0 10|points|pts|of 10|out of 10|10"},
    "per week": {"per week": "per week|wk|week|x wk|times week|woche", "per day": "per day|day|x day|daily"},
}  # fmt: skip
# Kept with the headers: words that say nothing of what stands below; words that say more closely what the rest of a
# header says; what pseudonyms and days are called besides.
FILLERS, AROUND, NUMBERED, DATED = (idle_words(kind) for kind in ("filler", "around", "number", "date"))
# Abbreviations that no rule finds: most others are the beginning or the consonants of their word.
SHORT = {
    "tx": "treatment", "wt": "weight", "pt": "patient", "rxn": "reaction", "dc": "discharge", "pk": "peak", "us":
    "ultrasound", "dsg": "dressing", "drsg": "dressing", "asmt": "assessment", "mins": "minutes", "min": "minutes",
    "freq": "frequency", "amt": "amount", "adm": "admission", "admit": "admission", "resp": "response",
    "pct": "percent", "cfg": "configuration", "elec": "electrode",
}  # fmt: skip
# Columns that are often a question: what yes means, and what no means then.
ASKED = {
    ("measurements", "state"): {"closed": "open", "open": "closed"},
    ("sessions", "status"): {"given": "missed", "missed": "given"},
}
# What stands behind a header that asks; a key of codes only where it says that 1 is yes, or 0 no.
SAID = r"y/n|n/y|yes/no|1/0|0/1|j/n|ja/nein|s/n|s[ií]/no|o/n|oui/non"
KEY = r"1 ?= ?(?:yes|y|ja|s[ií]|oui)\b[^()]*|0 ?= ?(?:no|n|nein|non)\b(?![^()]*1 ?= ?n)[^()]*"
YES_OR_NO = re.compile(rf"(?i)[(\[]?(?<!\w)(?:{SAID}|{KEY})[)\]]?\s*$")
LONGEST = 12  # words; what is longer is no header
SHORTEST = 3  # letters of an abbreviation that is found by rule
OWN, GENERAL = (6, 5, 4), (3, 2, 1)  # worth of a phrase as it stands, without idle words, abbreviated


@dataclass(frozen=True)
class Claim:
    """One of our columns that a header may hold. `worth` (1 to 6): how wholly, and how particularly, it says so."""

    table: str
    column: str
    worth: int
    unit: str | None = None


@cache
def claims(header: str) -> tuple[Claim, ...]:
    """Every column of ours whose words the header is: the best claim of each.

    A unit that ends the header or stands in brackets is taken away first. A phrase that only one table uses outranks
    one that serves all; a phrase as it stands outranks one without idle words, and that one an abbreviation.
    """
    best: dict[tuple[str, str], Claim] = {}
    words = _words(header)
    if not words or len(words) > LONGEST or not all_known(header):
        return ()
    for table in TABLES.values():
        for column in table.columns:
            named = "_".join(words) == column.name  # necrosis_share is a name, not a share
            for rest, unit in [(words, None)] if named else _without_units(header, column.unit):
                claim = Claim(table.name, column.name, _worth(rest, table.name, column), unit)
                if claim.worth > best.get((table.name, column.name), Claim("", "", 0)).worth:
                    best[table.name, column.name] = claim
    return tuple(best.values())


def all_known(text: str) -> bool:
    """Whether every word of a text is one of headers."""
    return all(map(_is_known, _words(text)))


@cache
def _is_known(word: str) -> bool:
    """Whether a word is one of any header that we know, or shortens one: most cells are told from headers by that."""
    known = _all_words()
    return word in known or any(short_for(word, full) for full in known)


@cache
def _all_words() -> frozenset[str]:
    phrases = {
        phrase for table in ("*", *TABLES) for column in _every_column() for phrase in header_words(table, column)
    }
    spelt = {word for units in SPELLED.values() for words in units.values() for word in re.split("[ |]", words)}
    told = {word for phrase in phrases for word in (*phrase, "".join(phrase))}
    return frozenset(told | spelt | FILLERS | NUMBERED | DATED | AROUND | SHORT.keys() | set(SHORT.values()))


def _every_column() -> set[str]:
    return {name for table in TABLES.values() for name in table.names}


def _worth(words: tuple[str, ...], table: str, column: Column) -> int:
    if not words:
        return 0
    for asked, worth in ((table, OWN), ("*", GENERAL)):
        whole, bags = _phrases(asked, column.name, _idle(column))
        if "".join(words) in whole:
            return worth[0]
        bag = _bag(words, _idle(column))
        if bag and bag in bags:
            return worth[1]
        if bag and any(_abbreviates(bag, phrase) or _within(phrase, bag) for phrase in bags):
            return worth[2]
    return 0


@cache
def _phrases(table: str, column: str, idle: frozenset[str]) -> tuple[frozenset[str], frozenset[tuple[str, ...]]]:
    phrases = header_words(table, column)
    whole = frozenset("".join(phrase) for phrase in phrases)
    return whole, frozenset(bag for phrase in phrases if (bag := _bag(phrase, idle)))


@cache
def _idle(column: Column) -> frozenset[str]:
    more = {"pseudonym": NUMBERED, "day": NUMBERED | DATED}.get(column.kind, frozenset())
    alone = {phrase[0] for table in ("*", *TABLES) for phrase in header_words(table, column.name) if len(phrase) == 1}
    return frozenset(FILLERS - alone | more) - _named(column)


def _named(column: Column) -> set[str]:
    """A pseudonym of wounds or people must say whose it is."""
    own = {"wound": {"wound", "wnd"}, "resident": {"resident", "patient", "person", "client"}}
    return own.get(column.name, set()) if column.kind == "pseudonym" else set()


@cache
def _bag(words: tuple[str, ...], idle: frozenset[str]) -> tuple[str, ...]:
    """Words in full and in order of the alphabet, without those that say nothing."""
    full = [SHORT.get(word, word) for word in words]
    return tuple(sorted(word for word in full if word not in idle))


def _within(phrase: tuple[str, ...], bag: tuple[str, ...]) -> bool:
    """Whether the phrase stands in the header and all other words only say it more closely."""
    there = set(bag)
    return AROUND.issuperset(there.difference(phrase)) and there.issuperset(phrase) and not AROUND.issuperset(phrase)


def _abbreviates(bag: tuple[str, ...], phrase: tuple[str, ...]) -> bool:
    """Whether each word stands for one of the phrase's: `undrm`, `tiss typ`."""
    if len(bag) != len(phrase):
        return False
    return any(all(map(short_for, bag, order)) for order in permutations(phrase))


@cache
def short_for(word: str, full: str) -> bool:
    """Whether a word is the other one, its beginning, or its consonants: `necr`, `clsd`, `assr`."""
    if word == full:
        return True
    if len(word) < SHORTEST or len(word) >= len(full) or word[0] != full[0]:
        return False
    short, whole = _consonants(word), _consonants(full)
    letters = iter(full)
    in_order = all(letter in letters for letter in word) and not set(word[1:]) & set("aeiou")
    return full.startswith(word) or (in_order and (whole.startswith(short) or word[-1] == full[-1]))


@cache
def _consonants(word: str) -> str:
    """The first letter and all consonants, doubled ones once."""
    bare = word[0] + re.sub("[aeiou]", "", word[1:])
    return re.sub(r"(.)\1+", r"\1", bare)


@cache
def unit_of(text: str, kind: str) -> str | None:
    """The unit of a kind (that of the vocabulary) which a text spells, by our name for it."""
    spelt = " ".join(_words(text)) or text.strip()
    return next((name for name, words in SPELLED.get(kind, {}).items() if spelt in words.split("|")), None)


def asked_for(table: str, column: str, header: str) -> str | None:
    """What yes means below a header that asks: given below `Done?`, closed below `Healed`."""
    for value in ASKED.get((table, column), {}):
        bags = {_bag(phrase, frozenset(FILLERS)) for phrase in header_words(table, f"{column}={value}")}
        if _bag(_words(header), frozenset(FILLERS)) in bags:
            return value
    return None


def answers(table: str, column: str, header: str) -> dict[str, str]:
    """What yes and no mean below a header that asks."""
    value = asked_for(table, column, header)
    return {"yes": value, "no": ASKED[table, column][value]} if value else {}


@cache
def _words(header: str) -> tuple[str, ...]:
    """`woundLen_cm` and `Wound len. (cm)` are the same three words."""
    parted = re.sub(r"(?<=[a-zà-ÿ]{2})(?=[A-ZÀ-Þ])", " ", YES_OR_NO.sub("", _plural(header)))
    return tuple(plain(re.sub("[µμ]", "u", re.sub(r"(?i)\bd/c\b", "dc", parted))).split())


def _plural(header: str) -> str:
    """`minute(s)` holds no seconds."""
    return re.sub(r"(?i)\(s\)", "s", header)


@cache
def _without_units(header: str, unit: str) -> list[tuple[tuple[str, ...], str | None]]:
    """The words of a header without each unit of this kind that ends it or stands in brackets, and as they stand."""
    header = _plural(header)
    words = _words(header)
    found: list[tuple[tuple[str, ...], str | None]] = []
    for name, spellings in SPELLED.get(unit, {}).items():
        if name == "%" and "%" in header:
            found.append((words, name))
        for spelling in spellings.split("|"):
            spelt = tuple(spelling.split())
            if spelt and len(words) > len(spelt) and words[-len(spelt) :] == spelt:
                found.append((words[: -len(spelt)], name))
            for inner in re.findall(r"[(\[]([^)\]]*)[)\]]", header):
                if _words(inner) == spelt:
                    found.append((_words(header.replace(inner, " ")), name))
    told = {name for _, name in found}
    return [*found, (words, told.pop() if len(told) == 1 else None)]
