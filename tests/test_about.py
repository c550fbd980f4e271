"""The method in plain words: no longer than it may be, and as easy to read as it says.

Reading grade: Kincaid, Fishburne, Rogers & Chissom 1975, Naval Technical Training Command Research Branch Report 8-75:
0.39 words a sentence + 11.8 syllables a word - 15.59.
"""

import re

import pytest

from kit.statements.about import CAUTIONS, METHOD, PREPARED

MOST_WORDS, GRADE = 120, 8.5


def syllables(word):
    """Groups of vowels, a silent e at the end left out."""
    word = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = word.endswith("e") and not word.endswith("le") or re.search(r"[^aeioutd]ed$", word)
    return max(1, groups - bool(silent))


def grade(text):
    words = text.split()
    sentences = len(re.findall(r"[.!?:](?=\s|$)", text))
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


@pytest.mark.parametrize(
    ("word", "number"),
    [("care", 1), ("wounds", 1), ("started", 2), ("closed", 1), ("people", 2), ("compared", 2), ("residents", 3)],
)
def test_syllables_are_counted_as_they_are_spoken(word, number):
    assert syllables(word) == number


def test_the_grade_of_a_text_worked_by_hand():
    # 6 words, 1 sentence, 6 syllables: 0.39 x 6 + 11.8 - 15.59 = -1.45
    assert grade("The cat sat on the mat.") == pytest.approx(-1.45)


def test_a_learned_text_is_above_the_grade():
    learned = (
        "Inverse probability weighting estimates counterfactual cumulative incidence functions semiparametrically."
    )
    assert grade(learned) > 20


def test_the_method_is_short_and_plain():
    assert len(METHOD.split()) <= MOST_WORDS
    assert grade(METHOD) <= GRADE


def test_who_prepared_it_and_the_cautions_stand_in_words():
    assert "own consultant" in PREPARED and "same numbers" in PREPARED
    for word in (
        "Contraindications",
        "local policy",
        "local codes",
        "licensed practice",
        "advises treatment for nobody",
    ):
        assert word in CAUTIONS
