"""The spellings charts use for a size, and what must not be taken for one."""

import re
import unicodedata

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.intake import size_words
from kit.intake.size_words import NUMBERS, Size, read_extent, read_size, read_sizes

fixed = settings(deadline=None, derandomize=True, max_examples=500)
CM = {"cm": 1.0, "mm": 0.1, "in": 2.54}

# text | length, width, depth, undermining and tunnelling in cm; - is not known, what is left out neither
OPEN_SIZES = """
3.2 x 1.5 x 0.4                                       | 3.2 1.5 0.4
3.2 x 1.5                                             | 3.2 1.5
3.2X1.5                                               | 3.2 1.5
3.2*1.5                                               | 3.2 1.5
3.2 × 1.5                                             | 3.2 1.5
３．２ｘ１．５                                        | 3.2 1.5
3.2 by 1.5 by 0.4                                     | 3.2 1.5 0.4
  3.2  x 1.5 .                                        | 3.2 1.5
3 x 2 ;                                               | 3 2
.5 x .3                                               | 0.5 0.3
1.5 x 3.2                                             | 1.5 3.2
3 x 0                                                 | 3 0
3 x 2 x 0                                             | 3 2 0
60 x 2                                                | 60 2
L 3.2 W 1.5 D 0.4                                     | 3.2 1.5 0.4
L3.2W1.5D0.4                                          | 3.2 1.5 0.4
L=3.2 W=1.5                                           | 3.2 1.5
L: 3.2 cm, W: 1.5 cm, D: UTD                          | 3.2 1.5
Length 3.2 x Width 1.5 x Depth 0.4                    | 3.2 1.5 0.4
L 3.2 D 0.4                                           | 3.2 - 0.4
3.2L x 1.5W x .4D                                     | 3.2 1.5 0.4
3.2 (L) x 1.5 (W)                                     | 3.2 1.5
3.2 cm long x 1.5 cm wide x 0.4 cm deep               | 3.2 1.5 0.4
3.2 x 1.5, depth 0.4                                  | 3.2 1.5 0.4
3 x 2 x D UTD                                         | 3 2
3.2cm x 1.5cm                                         | 3.2 1.5
3.2 x 1.5 cm                                          | 3.2 1.5
3.2 cm x 1.5                                          | 3.2 1.5
3.2㎝ x 1.5㎝                                         | 3.2 1.5
32mm x 15mm                                           | 3.2 1.5
32 x 15 x 4 mm                                        | 3.2 1.5 0.4
32 x 15 mm x UTD                                      | 3.2 1.5
3cm x 2cm x 5mm                                       | 3 2 0.5
3 x 2 in                                              | 7.62 5.08
3 in. x 2 in.                                         | 7.62 5.08
3 x 2 inches                                          | 7.62 5.08
1 inch                                                | 2.54
3" x 2"                                               | 7.62 5.08
3'' x 2”                                              | 7.62 5.08
3″ x 2″                                               | 7.62 5.08
2x1xUTD                                               | 2 1
2 x 1 x utd                                           | 2 1
2 x 1 x ?                                             | 2 1
2 x 1 x n/a                                           | 2 1
2 x 1 x -                                             | 2 1
2 x 1 x –                                             | 2 1
2 x 1 x UTA                                           | 2 1
2 x 1 x unknown                                       | 2 1
2 x 1 x unable to determine due to slough             | 2 1
2 x UTD x 0.4                                         | 2 - 0.4
2 x 1 x <0.1                                          | 2 1 0.1
<0.1                                                  | 0.1
<0.5 x 0.3                                            | 0.5 0.3
less than 0.5 x 0.3                                   | 0.5 0.3
<= 0.2 x <= 0.2                                       | 0.2 0.2
~3 x 2                                                | 3 2
approx 3 x 2                                          | 3 2
Approx. 3 x 2                                         | 3 2
about 3 cm                                            | 3
2.5                                                   | 2.5
2.5 cm                                                | 2.5
3,2 x 1,5                                             | 3.2 1.5
3,2 x 1,5 x 0,4                                       | 3.2 1.5 0.4
3,2 x 1 x 1                                           | 3.2 1 1
3,2 x 1,5, UM 0,5                                     | 3.2 1.5 - 0.5
3 x 2, tunneling 1.5 @ 6 o'clock                      | 3 2 - - 1.5
3 x 2 tunnelling of 1.5cm at 6 o’clock                | 3 2 - - 1.5
3 x 2 x 1 (tunneling 1.5 @ 6)                         | 3 2 1 - 1.5
3 x 2 x 1, tunneling at 6 o'clock 1.5 cm              | 3 2 1 - 1.5
3 x 2 x 1 with 1.5 cm tunnel @ 6 o'clock              | 3 2 1 - 1.5
3x2x1 UM 2.5 @ 12                                     | 3 2 1 2.5
3x2x1,UM 2.5@12                                       | 3 2 1 2.5
3 x 2 undermining 1.0 from 9 to 12 o'clock            | 3 2 - 1
3 x 2 undermining 1.0 9-12 o'clock                    | 3 2 - 1
3 x 2 - undermining 1                                 | 3 2 - 1
3 x 2 x UTD, undermining from 9-12 o'clock of 1.0 cm  | 3 2 - 1
3 x 2 x 1, UM 2.5 @ 12, tunneling 3 @ 6               | 3 2 1 2.5 3
3 x 2 x 1, tunneling 3 @ 6 and UM 2.5 @ 12            | 3 2 1 2.5 3
3 x 2 x 1, no undermining or tunneling                | 3 2 1 0 0
3 x 2 x 1, no tunneling/undermining                   | 3 2 1 0 0
3 x 2 x 1, UM none                                    | 3 2 1 0
32 x 15 mm, UM 5                                      | 3.2 1.5 - 0.5
3.2 x 1.5 cm, UM 1 cm                                 | 3.2 1.5 - 1
"""

CLOSED_SIZES = """
0                                                     | 0
0.0                                                   | 0
0 cm                                                  | 0
0x0                                                   | 0 0
0.0 x 0.0 cm                                          | 0 0
0 x 0 x 0                                             | 0 0 0
0 x 0 x 0, no undermining                             | 0 0 0 0
"""

CLOSED = """
healed
Healed.
HEALED
wound healed
fully healed
100% healed
healed 3/4
healed (3/4)
healed on 03/04/2026
epithelialized 3/14
resolved 2026-03-04
resolved
closed
wound is closed
epithelialized
epithelialised
re-epithelialized
100% epithelialized
100 % Epithelialized
0x0 healed
0 x 0 x 0 - closed
healed 0x0x0
"""

OPEN = """
open
still open
re-opened
open area
scab
scabbed over
dry scab
eschar
eschar intact
intact eschar
stable eschar
eschar covered
covered with eschar
100% slough
unable to measure
unable to measure due to eschar
UTD d/t slough
too small to measure
pinpoint
pin point opening
healing
healing well
non-healing
not healing
not healed
not yet closed
wound not fully healed
unhealed
almost healed
nearly closed
almost 100% epithelialized
"""

UNSEEN = """
N/A
n/a.
NA
in hosp
in hospital
hospital
Pt in the hospital
sent to ER
hospitalized
refused
pt refused
resident refused measurement
refused 3/4
declined
out
out of facility
out to dialysis
on LOA
LOA
dressing not removed
dsg intact
Dressing left in place
dsg CDI
wound vac in place
deferred
assessment deferred
not measured
not assessed
UTA
unable to assess
unable to measure due to pain
unable to measure - refused
"""

UNREADABLE = [
    "", " ", ".", "-", "?", "x", "none", "nan", "<NA>", "same", "unchanged", "no change", "ditto", "cm", "UM",
    # in doubt, or another wound's, or in part
    "healed?", "healed ?", "?healed", "probably healed", "healed?? 3/4", "healed, reopened", "never healed",
    "3/4 healed", "50% healed", "99% epithelialized", "healed x 2", "healed 2", "healed 3 x 2", "healed 13/45",
    "healed stage 4", "epithelialized 3/4", "epithelialised (1/2)", "epithelializing", "0x0 open",
    "0 x 0 not healed", "open/closed", "no scab", "scab off", "dressing changed", "n/a - healed", "not open",
    "skin intact",
    # zeros that are not all
    "0 x 0 x 0.4", "0 x 2", "0 x 0 x UTD", "0 x UTD", "<0", "~0 x 0", "0 x <0", "0 x 0, UM 1", "0.0000000001",
    # more or less than a size
    "3 x 2 x 1 x 1", "0 x 0 x 0 x 0", "3x2 and 1x1", "3x2; 1x1", "3x2, 1x1", "3x2 / 1x1", "3x2\n1x1", "3 2", "3 x",
    "x 3", "3 x 2 x", "W 3", "D 0.4", "UTD x UTD x 0.4", "W 3 L 2", "L 3 W", "3-4 x 2", "3.5-4", "3 (x2)", "(3)",
    "3+ x 2", ">3 x 2", "3 x 2?", "3 x 2 today", "3 x 2 scab", "3.2.1", "3..2", "3.2 .1", "3:2", "3/4", "3 ½ x 2",
    "3½ x 2", "3² x 2", "① x 2", "٣ x ٢",
    # areas, limits and signs
    "4.8 cm2", "4.8 cm²", "4.8 sq cm", "4.8cm2 x 1", "-3 x 2", "3 x -2", "−3", "3 x 2 x -1", "3 x 2 x - 1 UM",
    "61 x 2", "61", "3 x 601 mm", "24 in", "3 x 2 x 1, UM 61", "1e1 x 1", "9" * 400,
    # commas that may part two numbers
    "3,2", "3,2 cm", "3,2,1", "3,2 x 1", "3, 2", "3,2 x 1.5", "1,234 x 5,678", "3 x 2, UM 1,5", "3 x 2,1.5 UM",
    # units that may be meant for one or for all
    "32mm x 15", "3cm x 2 x 5mm", "3 x 2, UM 5 mm", "3 m x 2 m", "3 ft", "3' x 2'", "3 in hosp",
    # where the undermining or the tunnel is not clear
    "2.5 @ 12 o'clock", "UM 2.5", "tunneling 1.5 @ 6", "2.5 UM", "3 x 2 2.5 @ 12", "3 x 2, 2.5", "3 x 25 UM",
    "3 x 2 UM", "3 x 2, UM 1 @ 3, UM 2 @ 6", "3 x 2, tunneling 1 @ 3 and 2 @ 6", "3 x 2, UM 2.5 @ 13",
    "3 x 2, UM 2.5 12", "3 x 2 x 1 UM-1",
]  # fmt: skip

EXTENTS = """
0.4                    | 0.4
.4                     | 0.4
0.4 cm                 | 0.4
4 mm                   | 0.4
1 inch                 | 2.54
<0.1                   | 0.1
< 0.1 cm               | 0.1
~2                     | 2
2.5 @ 12 o'clock       | 2.5
2.5cm @12              | 2.5
2.5 at 12              | 2.5
2.5 from 9 to 12       | 2.5
2.5 9-12 o'clock       | 2.5
none                   | 0
None.                  | 0
0                      | 0
0.0 cm                 | 0
"""

NO_EXTENT = [
    "", "UTD", "unable", "unable to determine", "n/a", "-", "?", "no", "yes", "healed", "-1", "<0", ">2", "1-2",
    "2 x 1", "0,4", "3,2", "1.5 @ 13", "1 @ 3, 2 @ 6", "12 o'clock", "61", "2 cm2", "½", "0.2.1",
]  # fmt: skip


def lines(table):
    return [tuple(cell.strip() for cell in line.rsplit("|", 1)) for line in table.strip("\n").splitlines()]


def size(numbers, state):
    return Size(*(None if number == "-" else float(number) for number in numbers.split()), state=state)


EXAMPLES = [
    *((text, size(numbers, "open")) for text, numbers in lines(OPEN_SIZES)),
    *((text, size(numbers, "closed")) for text, numbers in lines(CLOSED_SIZES)),
    *((text, Size(state="closed")) for text in CLOSED.strip().splitlines()),
    *((text, Size(state="open")) for text in OPEN.strip().splitlines()),
    *((text, Size(state="unseen")) for text in UNSEEN.strip().splitlines()),
]


@pytest.mark.parametrize(("text", "expected"), EXAMPLES)
def test_spelling(text, expected):
    assert read_size(text) == expected


@pytest.mark.parametrize("text", UNREADABLE)
def test_not_a_size(text):
    assert read_size(text) is None


@pytest.mark.parametrize(("text", "centimetres"), lines(EXTENTS))
def test_extent(text, centimetres):
    assert read_extent(text) == float(centimetres)


@pytest.mark.parametrize("text", NO_EXTENT)
def test_not_an_extent(text):
    assert read_extent(text) is None


@pytest.mark.parametrize("text", ["3.2 x 1.5", "3.2 x 1.5 cm", "32mm x 15mm", "32 x 15 mm", "3.2cm x 15mm"])
def test_units_in_the_text_say_the_same_size(text):
    assert read_size(text) == Size(3.2, 1.5)


def test_the_unit_of_the_column_holds_where_the_text_has_none():
    assert read_size("32 x 15 x 4, UM 5", unit="mm") == Size(3.2, 1.5, 0.4, 0.5)
    assert read_size("1 x 2", unit="in") == Size(2.54, 5.08)
    assert read_size("3.2 x 1.5 cm", unit="mm") == Size(3.2, 1.5)
    assert read_size("601", unit="mm") is None
    assert (read_extent("4", unit="mm"), read_extent("0.4 cm", unit="mm")) == (0.4, 0.4)


@pytest.mark.parametrize(
    "doubt", ["not", "almost", "nearly", "mostly", "not yet", "never", "50%", "?", "un", "non-", "half"]
)
@pytest.mark.parametrize("word", ["healed", "resolved", "closed", "epithelialized", "100% epithelialized", "0x0"])
@pytest.mark.parametrize("blank", ["", " "])
def test_a_closing_word_in_doubt_closes_nothing(doubt, word, blank):
    assert getattr(read_size(f"{doubt}{blank}{word}"), "state", None) != "closed"
    assert read_size(f"{word}{blank}?") is None


# --- properties ---

pieces = st.sampled_from(
    [" ", "x", " x ", "by", ",", ", ", ".", "-", "/", "?", "<", "~", "@", "0", "0.0", "1", "2.5", ".4", "12",
     "3,2", "61", "cm", "mm", " in", '"', "L", "W", "D", "UTD", "n/a", " UM ", " tunneling ", " no ", "none",
     " o'clock", " and ", "to", "healed", "not ", "almost ", "closed", "100% ", "epithelialized", "open", "scab",
     "refused", "²", "½", "(", ")"]
)  # fmt: skip
anything = st.one_of(
    st.text(),
    st.text(alphabet="0123456789.,-x<~ cmn@LWD"),
    st.lists(pieces).map("".join),
    st.tuples(st.sampled_from([text for text, _ in EXAMPLES]), st.lists(pieces, max_size=3).map("".join)).map("".join),
    st.tuples(st.lists(pieces, max_size=3).map("".join), st.sampled_from([text for text, _ in EXAMPLES])).map("".join),
)


def numbers_in(text):
    plain = unicodedata.normalize("NFKC", text)
    return {float(number.replace(",", ".")) for number in re.findall(r"[0-9]+(?:[.,][0-9]+)?|\.[0-9]+", plain)}


def stands_in(centimetres, text, column):
    """Whether a number of the text is that many cm in some unit that the text names, or in the column's."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    inches = re.search("(?<![a-z])in|[\"”]|''|′′", plain)
    units = {column} | {unit for unit in ("cm", "mm") if unit in plain} | ({"in"} if inches else set())
    if centimetres == 0 and re.search(r"\bno(?:ne)?\b", plain):
        return True
    return any(round(number * CM[unit], 9) == centimetres for number in numbers_in(text) for unit in units)


@fixed
@given(anything, st.sampled_from(list(CM)))
def test_no_number_is_invented(text, unit):
    read = read_size(text, unit)
    told = [getattr(read, name, None) for name in NUMBERS] + [read_extent(text, unit)]
    assert all(stands_in(number, text, unit) and 0 <= number <= 60 for number in told if number is not None)


@fixed
@given(anything, st.sampled_from(list(CM)))
def test_nothing_closes_without_a_closing_word_or_zeros_alone(text, unit):
    read = read_size(text, unit)
    assert getattr(read, "state", None) in {"open", "closed", "unseen", None}
    if read and read.state == "closed":
        word = re.search("healed|resolved|closed|epithelial", text.casefold())
        assert word or numbers_in(text) == {0.0}
        assert not re.search(r"\b(?:not|almost|open|scab|utd)\b|[?<~]", text.casefold())
        assert not any(getattr(read, name) for name in NUMBERS)
    if read and read.state == "unseen":
        assert all(getattr(read, name) is None for name in NUMBERS)
    if read and read.length:
        assert read.state == "open"


FORMS = [
    "{}{u} x {}{u} x {}{u}", "{}{u}x{}{u}x{}{u}", "{}{u} × {}{u} × {}{u}", "{}{u}*{}{u}*{}{u}", "{} x {} x {}{u}",
    "{}{u} by {}{u} by {}{u}", "~{}{u} x {}{u} x {}{u}", "<{}{u} x <{}{u} x <{}{u}", "L {}{u} W {}{u} D {}{u}",
    "{}L x {}W x {}{u}D", "{}{u}L x {}{u}W x {}{u}D", "Length: {}{u}, width: {}{u}, depth: {}{u}",
    "{}{u} long by {}{u} wide by {}{u} deep", "{} x {}{u}, depth {}{u}",
]  # fmt: skip
TAILS = [
    ("", None), (", UM {}{u} @ 12", "undermining"), (" undermining {}{u} from 9 to 12 o'clock", "undermining"),
    (" with {}{u} tunneling at 6 o'clock", "tunnelling"), (" (tunneling at 6 o'clock of {}{u})", "tunnelling"),
]  # fmt: skip
UNITS = {"": None, "cm": "cm", " cm": "cm", "mm": "mm", " mm": "mm", " in": "in", " inches": "in", '"': "in"}
tenths = st.integers(1, 236).map(lambda number: f"{number / 10:.1f}")  # 23.6 in are 59.9 cm


@fixed
@given(
    st.tuples(tenths, tenths, st.one_of(tenths, st.just("0.0")), tenths),
    st.sampled_from(FORMS),
    st.sampled_from(TAILS),
    st.sampled_from(list(UNITS)),
    st.sampled_from(list(CM)),
    st.booleans(),
)
def test_a_size_written_in_any_spelling_is_read_back(numbers, form, tail, unit, column, comma):
    if "<" in form and numbers[2] == "0.0":
        return
    text = (form + tail[0]).format(*numbers, u=unit)
    expected = [round(float(number) * CM[UNITS[unit] or column], 9) for number in numbers]
    extent = {tail[1]: expected[3]} if tail[1] else {}
    assert read_size(text.replace(".", ",") if comma else text, column) == Size(*expected[:3], **extent)


@fixed
@given(
    tenths, st.sampled_from(list(UNITS)), st.sampled_from(list(CM)), st.sampled_from(["", " @ 6", " at 9-12 o'clock"])
)
def test_an_extent_written_in_any_unit_is_read_back(number, unit, column, place):
    assert read_extent(f"{number}{unit}{place}", column) == round(float(number) * CM[UNITS[unit] or column], 9)


@fixed
@given(st.sampled_from([text for text, _ in EXAMPLES]), st.sampled_from(["", " ", "  ", ".", ";", ",", "!"]))
def test_case_blanks_and_closing_punctuation_do_not_matter(text, after):
    expected = read_size(text)
    assert read_size(f"  {text.upper()}{after} ") == expected
    assert read_size(text.lower().replace(" ", " \u00a0 ") + after) == expected


# --- columns ---


def test_a_column_keeps_its_index_and_what_is_missing():
    column = pd.Series(["32 x 15 x 4 mm", None, "same", "healed", "n/a"], index=[4, 5, 5, 7, 8], name="size")
    expected = pd.DataFrame(
        {
            "length": [3.2, np.nan, np.nan, np.nan, np.nan],
            "width": [1.5, np.nan, np.nan, np.nan, np.nan],
            "depth": [0.4, np.nan, np.nan, np.nan, np.nan],
            "undermining": np.nan,
            "tunnelling": np.nan,
            "state": pd.Series(["open", None, None, "closed", "unseen"], index=column.index, dtype=object).array,
        },
        index=column.index,
    )
    pd.testing.assert_frame_equal(read_sizes(column), expected)
    pd.testing.assert_frame_equal(read_sizes(column.astype("category")), expected)
    pd.testing.assert_frame_equal(read_sizes(column.astype("string")), expected)
    assert column.tolist() == ["32 x 15 x 4 mm", None, "same", "healed", "n/a"]


def test_a_column_of_numbers_with_a_gap_is_read_in_its_unit():
    read = read_sizes(pd.Series([32, np.nan, 0]), unit="mm")
    assert read["length"].tolist()[::2] == [3.2, 0.0]
    assert read["state"].tolist() == ["open", None, "closed"]


def test_each_distinct_text_is_read_once(monkeypatch):
    asked = []
    monkeypatch.setattr(size_words, "read_size", lambda text, unit: asked.append(text))
    read_sizes(pd.Series(["3 x 2", "same", "3 x 2", None, "same"]))
    assert asked == ["3 x 2", "same"]


@pytest.mark.parametrize("column", [pd.Series([], dtype=object), pd.Series([np.nan, np.nan]), pd.Series(["same"])])
def test_a_column_of_which_nothing_is_read_has_the_same_types(column):
    read = read_sizes(column)
    assert read.dtypes.tolist() == [np.dtype("float64")] * 5 + [np.dtype(object)]
    assert len(read) == len(column) and read.isna().all(axis=None)
    assert all(state is None for state in read["state"])
