"""What is said of the warnings: counts that add up, the most serious first, and which way each would push."""

import pandas as pd
import pytest

from kit.bias.evidence import BLURS, CARE, DETRACTS, DIRECTIONS, FACT, FLATTERS, NOT_KNOWN, NOTE, SHOWN, STOPS, TEST
from kit.bias.warnings import firing, stopped_by
from kit.pages.warning_tables import decisions_table, shown_table, thresholds_table, warnings_table
from kit.statements.misleading import PUSHES, asked, warned_of


def row(warning, fires=True, seriousness=CARE, direction=NOT_KNOWN, kind=FACT, not_computed=""):
    return {
        "warning": warning, "family": "measuring", "kind": kind, "question": f"Was {warning}?", "number": 0.4,
        "threshold": 0.2, "p": float("nan"), "p_holm": float("nan"), "fires": fires, "direction": direction,
        "seriousness": seriousness, "says": f"Found {warning}.", "not_computed": not_computed, "unseen": "",
        "source": "common practice, no source", "to_do": f"Mend {warning}.",
    }  # fmt: skip


def frame(*rows):
    return pd.DataFrame(rows)


MIXED = frame(
    row("one", seriousness=NOTE), row("two"), row("three", fires=False), row("four", seriousness=STOPS),
    row("five", fires=False, not_computed="nobody is named"), row("six", fires=False, kind=SHOWN),
    row("seven", fires=False, kind=TEST),
)  # fmt: skip


def test_every_question_is_counted_once():
    """Six are asked, one is shown: three fire, two are quiet, one cannot be answered."""
    assert asked(MIXED) == (
        "Of 6 questions asked of the numbers 3 found something (stops the comparison 1, read with care 1, note 1), 2 "
        "are quiet, and 1 cannot be answered from this export."
    )


def test_the_most_serious_is_told_first():
    assert firing(MIXED)["warning"].tolist() == ["four", "two", "one"]
    assert warned_of(MIXED) == [
        "Stops the comparison: Found four. Mend four.",
        "Read with care: Found two. Mend two.",
        "Note: Found one. Mend one.",
    ]


@pytest.mark.parametrize(
    ("direction", "said"),
    [
        (FLATTERS, "It makes starting look better than it was."),
        (DETRACTS, "It makes starting look worse than it was."),
        (BLURS, "It pulls the comparison towards no difference."),
    ],
)
def test_which_way_it_would_push_is_said_where_it_is_known(direction, said):
    assert warned_of(frame(row("one", direction=direction))) == [f"Read with care: Found one. {said} Mend one."]
    assert {*PUSHES, NOT_KNOWN} == set(DIRECTIONS)


def test_where_nothing_fires_that_is_said():
    quiet = frame(row("one", fires=False))
    assert warned_of(quiet) == ["No warning fires."]
    assert stopped_by(quiet) == ""


def test_only_what_stops_stops():
    assert stopped_by(MIXED) == "Found four."


def test_the_table_has_every_question_and_what_fires_first():
    table = warnings_table(MIXED)
    assert table["How far it goes"].tolist() == [
        "Stops the comparison", "Read with care", "Note", "Quiet", "Quiet", "–",
    ]  # fmt: skip
    assert table["Found"].tolist()[-1] == "Not answered: nobody is named."


def test_what_is_only_shown_stands_apart():
    assert shown_table(MIXED)["Found"].tolist() == ["Found six."]
    assert len(thresholds_table(MIXED)) == 6


def test_who_and_by_when_have_room_to_be_written():
    decided = pd.DataFrame([{"trigger": "x", "because": "Y.", "proposes": "train", "owner": "", "date": ""}])
    (told,) = decisions_table(decided).to_dict("records")
    assert told["Proposed"] == "Train" and set(told["Who"]) == set(told["By when"]) == {"_"}
