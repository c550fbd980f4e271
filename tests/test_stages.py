"""The spellings charts use for a stage, and what must not be taken for one."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.intake.stages import GRAMMAR, read_stage, read_stages
from kit.vocabulary import STAGES, UNKNOWN

# Stages, unstageable, deep tissue and mucosal: Edsberg LE et al., J Wound Ostomy Continence Nurs
# 2016;43(6):585-597. L89: ICD-10-CM, chapter 12. M0300: CMS, MDS 3.0, Section M.
SPELLINGS = """
1                                       | 1
I                                       | 1
one                                     | 1
Stage 1                                 | 1
2                                       | 2
2.0                                     | 2
ii                                      | 2
Ⅱ                                       | 2
Gr 2                                    | 2
grade II                                | 2
Stage two                               | 2
STAGE2                                  | 2
PU stage 2                              | 2
3                                       | 3
III                                     | 3
stage three                             | 3
St 3                                    | 3
st. 3                                   | 3
St.III                                  | 3
Stg III                                 | 3
stg: 3                                  | 3
Stage-3                                 | 3
Stage 3.                                | 3
(3)                                     | 3
  stage   iii ;                         | 3
Cat. III                                | 3
Category/Stage III                      | 3
stage 3 pressure injury                 | 3
Pressure ulcer, stage 3                 | 3
device-related pressure injury stage 3  | 3
4                                       | 4
IV                                      | 4
category 4                              | 4
healing stage 4                         | 4
Stage IV (healing)                      | 4
decubitus stage 4                       | 4
unstageable                             | unstageable
Unstagable                              | unstageable
un-stageable                            | unstageable
Stage unstageable                       | unstageable
unst.                                   | unstageable
UTS                                     | unstageable
UTD stage                               | unstageable
Stage: UTD                              | unstageable
unable to stage                         | unstageable
Unstageable due to slough and/or eschar | unstageable
Unstageable - eschar                    | unstageable
Unstageable - non-removable dressing    | unstageable
DTI                                     | deep_tissue
dti.                                    | deep_tissue
DTPI                                    | deep_tissue
sDTI                                    | deep_tissue
SDTPI                                   | deep_tissue
DTI evolving                            | deep_tissue
evolving DTI                            | deep_tissue
suspected DTI                           | deep_tissue
deep tissue injury                      | deep_tissue
Deep Tissue Pressure Injury             | deep_tissue
deep tissue (pressure) injury           | deep_tissue
Deep-tissue injury (DTI)                | deep_tissue
suspected deep tissue injury            | deep_tissue
Unstageable - deep tissue injury        | deep_tissue
pressure-induced deep tissue damage     | deep_tissue
mucosal                                 | mucosal
mucosal membrane                        | mucosal
Mucous membrane pressure injury         | mucosal
L89.151                                 | 1
L89152                                  | 2
l89.153                                 | 3
L89.624                                 | 4
L89.150                                 | unstageable
L89.810                                 | unstageable
L89.156                                 | deep_tissue
L89.159                                 | unknown
L89.43                                  | 3
L8943                                   | 3
L89.45                                  | unstageable
L89.95                                  | unstageable
L89.46                                  | deep_tissue
L89.40                                  | unknown
L89.90                                  | unknown
M0300A                                  | 1
M0300B                                  | 2
M0300B1                                 | 2
M0300 C2                                | 3
m0300d1                                 | 4
M0300E                                  | unstageable
M0300F1                                 | unstageable
M0300G                                  | deep_tissue
M0300G1                                 | deep_tissue
unspecified stage                       | unknown
Stage unknown                           | unknown
not staged                              | unknown
"""

UNREADABLE = [
    "", " ", ".", "2 cm", "stage", "stage 5", "0", "5", "V", "IIII", "11", "22", "3/4", "2-3", "stage 2-3",
    "II-III", "stage 2 or 3", "1,2", "2.5", "3+", "3?", "?3", "-3", "3-", "+3", "2a", "2nd degree", "S3",
    "US", "eschar", "healed", "healed stage 4", "possible DTI", "DTI vs stage 2", "DTI/unstageable", "n/a",
    "None", "nan", "<NA>", "mucus", "stage 3 sacrum",
    "L89", "L89.", "L89.15", "L89.155", "L89.157", "L89.158", "L89.196", "L89.099", "L89.47", "L89.4",
    "L89.1533", "L89 153 x", "L97.411", "M0300", "M0300H", "M0300A1", "M0300B3", "M0210",
]  # fmt: skip

rows = [line.rsplit("|", 1) for line in SPELLINGS.strip("\n").splitlines()]


@pytest.mark.parametrize(("text", "stage"), [(text, stage.strip()) for text, stage in rows])
def test_spelling(text, stage):
    assert read_stage(text) == stage


@pytest.mark.parametrize("text", UNREADABLE)
def test_not_a_stage(text):
    assert read_stage(text) is None


def test_the_words_of_the_vocabulary_read_as_themselves_once_spaced():
    assert [read_stage(stage) for stage in (*STAGES, UNKNOWN)] == [*STAGES, UNKNOWN]


def test_the_grammar_returns_the_vocabulary_and_nothing_else():
    assert {meaning for _, meaning in GRAMMAR} == {*STAGES, UNKNOWN}


@pytest.mark.parametrize("site", ["00", "01", "12", "15", "22", "31", "52", "61", "81", "89"])
def test_six_character_codes_have_no_5_7_or_8(site):
    # ICD-10-CM L89: sites with a side end in 0 unstageable, 9 unspecified, 1 to 4, 6 deep tissue damage.
    read = {last: read_stage(f"L89.{site}{last}") for last in "0123456789"}
    assert [last for last, stage in read.items() if stage is None] == ["5", "7", "8"]
    assert (read["0"], read["6"], read["9"]) == ("unstageable", "deep_tissue", "unknown")


@pytest.mark.parametrize("site", ["4", "9"])
def test_five_character_codes_use_5_for_unstageable_and_0_for_unspecified(site):
    # ICD-10-CM L89: contiguous sites and unspecified site have one character less, and other endings.
    read = {last: read_stage(f"L89.{site}{last}") for last in "0123456789"}
    assert [last for last, stage in read.items() if stage is None] == ["7", "8", "9"]
    assert (read["0"], read["5"], read["6"]) == ("unknown", "unstageable", "deep_tissue")


@given(st.text())
def test_any_text_gives_a_listed_stage_or_none(text):
    assert read_stage(text) in {*STAGES, UNKNOWN, None}


pieces = st.sampled_from(
    ["stage", "grade", "III", "2", "4", "5", "-", "/", ".", " ", "DTI", "deep tissue", "un", "stageable",
     "L89.", "15", "M0300", "B", "healing", "cm", "injury", "?"]
)  # fmt: skip


@given(st.lists(pieces).map("".join))
def test_pieces_of_stage_words_give_a_listed_stage_or_none(text):
    assert read_stage(text) in {*STAGES, UNKNOWN, None}


@given(st.sampled_from([text for text, _ in rows]), st.sampled_from(["", " ", "  ", ".", ";", ","]))
def test_case_spaces_and_closing_punctuation_do_not_matter(text, after):
    expected = read_stage(text)
    assert read_stage(f"  {text.upper()}{after} ") == expected
    assert read_stage(text.lower().replace(" ", "  ") + after) == expected


def test_a_column_keeps_its_index_and_what_is_missing():
    column = pd.Series(["Stage III", None, "2 cm", "DTI"], index=[4, 5, 6, 7], name="stage")
    expected = pd.Series(["3", pd.NA, pd.NA, "deep_tissue"], index=[4, 5, 6, 7], name="stage", dtype="string")
    pd.testing.assert_series_equal(read_stages(column), expected)
    pd.testing.assert_series_equal(read_stages(column.astype("category")), expected)
    assert column.tolist() == ["Stage III", None, "2 cm", "DTI"]


def test_a_column_of_numbers_with_a_gap_is_read():
    assert read_stages(pd.Series([3, np.nan, 2])).tolist() == ["3", pd.NA, "2"]


def test_an_empty_column_stays_empty():
    assert read_stages(pd.Series([], dtype=object)).empty
    assert read_stages(pd.Series([np.nan, np.nan])).isna().all()
