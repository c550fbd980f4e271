"""The grammar of stage words: what charts write for the stage of a pressure injury, and what it means.

Strict on purpose. A stage that is guessed moves a wound into another row of the report without anybody
noticing; one that is not readable is counted and can be corrected at the source.
"""

from __future__ import annotations

import re
import unicodedata

import pandas as pd

from kit.vocabulary import UNKNOWN

# What may stand around a stage and changes nothing. "Healing Stage 4" is Stage 4 until it closes (Edsberg LE
# et al., J Wound Ostomy Continence Nurs 2016;43(6):585-597). Grade and category are the older and the
# European words for stage. A lone "s" is not among them: S2 and S3 are also levels of the sacrum.
# Device-related injuries are staged like any other.
INJURY = r"(?:(?:(?:medical )?device related )?pressure (?:injury|ulcer|sore)|mdrp[iu]|decubitus(?: ulcer)?|p[iu])"
ABROAD = r"(?:stadium|stadio|estadio|stade|kategorie|categor[ií]a|cat[eé]gorie|grado?)"
STAGE = rf"(?:stage|stg|st|category|cat|grade|gr|{ABROAD})(?:/(?:stage|category|grade))?"
BEFORE = rf"(?:{INJURY} )?(?:healing )?(?:{STAGE} ?)?"
AFTER = rf"(?: {INJURY})?(?: healing)?"
WHOLE = r"(?:\.0+)?"  # a spreadsheet column with an empty cell turns 3 into 3.0

# "Suspected" was part of the name until 2016; "possible" or "rule out" is a question.
COURSE = r"(?:evolving|resolving|healing|suspected)"
DTI = r"s?dtp?i"
DEEP = rf"(?:{DTI}|(?:pressure induced )?deep tissue(?: pressure)?(?: injury| ulcer| damage)?(?: {DTI})?)"
# Section M of the MDS lists deep tissue injury under an unstageable heading, so both words stand together.
DEEP_BEFORE = rf"(?:{STAGE} )?(?:unstageable )?(?:{COURSE} ){{0,2}}"

CAUSE = r"(?:slough|eschar|non ?removable (?:dressing|device))"
UNSEEN = rf"(?: (?:due to |with )?{CAUSE}(?:(?:/| and | or | and/or )(?:slough|eschar|dressing|device))?)?"

# ICD-10-CM L89 holds site and stage in one code. What its last character means depends on its length: six
# characters end in 0 unstageable and 9 unspecified; five (L89.4x contiguous sites, L89.9x no site) end in
# 0 unspecified and 5 unstageable. Unspecified is not unstageable: nobody wrote a stage down.
SIX = r"l89\.?(?:0[0-2]|1[0-5]|[2356][0-2]|8[19])"
FIVE = r"l89\.?[49]"

# (pattern of the whole text in its plain form, meaning)
GRAMMAR: tuple[tuple[str, str], ...] = (
    (rf"{BEFORE}(?:1{WHOLE}|i|one){AFTER}", "1"),
    (rf"{BEFORE}(?:2{WHOLE}|ii|two){AFTER}", "2"),
    (rf"{BEFORE}(?:3{WHOLE}|iii|three){AFTER}", "3"),
    (rf"{BEFORE}(?:4{WHOLE}|iv|four){AFTER}", "4"),
    (rf"{BEFORE}(?:un|non|not) ?stage?able{AFTER}{UNSEEN}", "unstageable"),
    (r"(?:unst|unstg|unstage)", "unstageable"),
    (rf"(?:{STAGE} )?(?:nicht klassifizierbar|(?:no |in)clasificable|(?:non |in)classable)", "unstageable"),
    (r"(?:tiefe gewebesch[aä]digung|lesi[oó]n de tejidos? profundos?|l[eé]sion des tissus profonds)", "deep_tissue"),
    # UTS and UTD: unable to stage, to determine. "US" is left out, for here it is ultrasound.
    (rf"(?:{STAGE} )?(?:uts|utd)(?: stage)?", "unstageable"),
    (rf"unable to (?:stage|determine)(?: stage)?{UNSEEN}", "unstageable"),
    (rf"{DEEP_BEFORE}{DEEP}(?: {COURSE})?", "deep_tissue"),
    # On mucosa the four stages do not apply (Edsberg 2016): a word of its own, not an unknown stage.
    (r"(?:mmpi|(?:mucosal?(?: membrane)?|mucous membrane)(?: pressure)?(?: injury| ulcer)?)", "mucosal"),
    (rf"{SIX}0|{FIVE}5", "unstageable"),
    (rf"{SIX}1|{FIVE}1", "1"),
    (rf"{SIX}2|{FIVE}2", "2"),
    (rf"{SIX}3|{FIVE}3", "3"),
    (rf"{SIX}4|{FIVE}4", "4"),
    (rf"{SIX}6|{FIVE}6", "deep_tissue"),
    (rf"{SIX}9|{FIVE}0", UNKNOWN),
    # MDS 3.0 Section M: the letter is the stage; 1 counts the injuries, 2 those present on admission (not A).
    (r"m0300 ?a", "1"),
    (r"m0300 ?b[12]?", "2"),
    (r"m0300 ?c[12]?", "3"),
    (r"m0300 ?d[12]?", "4"),
    (r"m0300 ?[ef][12]?", "unstageable"),  # E under a dressing or device, F under slough or eschar
    (r"m0300 ?g[12]?", "deep_tissue"),
    (rf"(?:{STAGE} )?(?:unknown|unspecified|not specified)(?: stage)?", UNKNOWN),
    (r"(?:unstaged|not staged)", UNKNOWN),  # nobody looked, which is not "could not be seen"
)
_ROWS = tuple((re.compile(pattern), meaning) for pattern, meaning in GRAMMAR)


def read_stage(text: str) -> str | None:
    """The stage that `text` names; None where it cannot be read, "unknown" where it says that none was given.

    | text | stage |
    | --- | --- |
    | 3, III, Stg. iii, category three, L89.153, M0300C1 | 3 |
    | UTS, unstageable due to eschar, L89.150, L89.45, M0300F | unstageable |
    | DTI, sDTPI, L89.156, M0300G1 | deep_tissue |
    | L89.159, L89.90 | unknown |
    | 2-3, 3/4, 3?, stage 5, 2 cm, L89.155 | None |

    Case, spaces and closing punctuation do not matter. Never raises.
    Sources: Edsberg LE et al., J Wound Ostomy Continence Nurs 2016;43(6):585-597; ICD-10-CM, chapter 12, L89;
    CMS, MDS 3.0, Section M, item M0300.
    """
    plain = _plain(str(text))
    return next((meaning for pattern, meaning in _ROWS if pattern.fullmatch(plain)), None)


def read_stages(series: pd.Series) -> pd.Series:
    """Every stage of a column, missing where it is missing or cannot be read; index and name are kept.

    Dtype out: string. Each distinct text is read once, so that a million rows cost a few dozen readings.
    """
    texts = series.astype(object)
    meanings = {text: read_stage(text) for text in texts.dropna().unique()}
    return texts.map(meanings).astype("string")


def _plain(text: str) -> str:
    """Lower case, one space between words; NFKC makes the one-character numeral III and the hard space plain.

    Hyphens join words but are not cut from the ends: "3-" may be half a range and "-3" is no stage. A dot
    between digits stays, so that 2.5 is not read as two numbers.
    """
    text = unicodedata.normalize("NFKC", text).casefold().strip(" \t\r\n.,:;()[]'\"")
    return re.sub(r"(?:[\s,:;_()\[\]–—-]|(?<!\d)\.|\.(?!\d))+", " ", text)
