"""The published lists: contraindications as the facility may change them, and doses with their arithmetic."""

import pandas as pd
import pytest

from kit.delivery.published import LISTED, NOT_SAID, PUBLISHED, SEEN, contraindications, doses, listed
from kit.faults import ExportError
from kit.vocabulary import CONDITIONS, SPAN_VALUES

EXACT = 1e-12  # sums of a few numbers

LIST = (PUBLISHED / "contraindications.csv").read_text(encoding="utf-8")


def changed(tmp_path, old, new):
    """The list with one thing changed in it, as a clinician would with a spreadsheet."""
    assert old in LIST
    file = tmp_path / "contraindications.csv"
    file.write_text(LIST.replace(old, new, 1), encoding="utf-8")
    return file


def test_every_condition_a_span_may_carry_stands_once():
    table = contraindications()
    assert sorted(table["condition"]) == sorted(CONDITIONS)
    assert set(table["condition"]) <= set(SPAN_VALUES)
    assert set(table["stimulation"]) | set(table["ultrasound"]) <= set(LISTED)
    assert set(table["seen"]) <= set(SEEN)
    assert (table["source"] != "").all() and (table["says"] != "").all()


# The rows of the general lists; of `metal` and `ionic_residue` see the file.
@pytest.mark.parametrize(
    ("condition", "stimulation", "ultrasound"),
    [
        ("electronic_implant", "contraindication", "local"),
        ("malignancy", "contraindication", "contraindication"),
        ("thrombosis", "contraindication", "contraindication"),
        ("reduced_sensation", "precaution", "precaution"),
        ("cannot_report", "contraindication", "precaution"),
        ("laminectomy", "not listed", "contraindication"),
        ("near_heart_or_neck", "contraindication", "not listed"),
    ],
)
def test_what_the_list_says(condition, stimulation, ultrasound):
    row = contraindications().set_index("condition").loc[condition]
    assert (row["stimulation"], row["ultrasound"]) == (stimulation, ultrasound)


def test_what_was_not_seen_in_any_page_says_so():
    seen = contraindications().set_index("condition")["seen"]
    memory = {"active_bleeding", "recent_radiation", "near_heart_or_neck", "ionic_residue"}
    assert set(seen[seen == "memory"].index) == memory


def test_the_list_is_asked_by_modality():
    condition = pd.Series(
        ["electronic_implant", "electronic_implant", "electronic_implant", NOT_SAID], index=[7, 5, 3, 1]
    )
    modality = pd.Series(["stimulation", "ultrasound", "other", "stimulation"], index=[7, 5, 3, 1], dtype="category")
    told = listed(condition, modality, contraindications())
    assert told.to_dict() == {7: "contraindication", 5: "local", 3: "not listed", 1: "the chart decides"}


def test_nothing_asked_is_nothing_told():
    assert listed(pd.Series([], dtype=object), pd.Series([], dtype="category"), contraindications()).empty


def test_a_change_of_the_clinicians_is_followed(tmp_path):
    file = changed(tmp_path, "metal,Metal in the field,precaution", "metal,Metal in the field,contraindication")
    assert contraindications(file).set_index("condition").loc["metal", "stimulation"] == "contraindication"


def test_a_spreadsheets_mark_and_blanks_do_no_harm(tmp_path):
    file = tmp_path / "contraindications.csv"
    file.write_text("\ufeff" + LIST.replace("thrombosis,", " thrombosis ,", 1), encoding="utf-8")
    assert sorted(contraindications(file)["condition"]) == sorted(CONDITIONS)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("thrombosis,", "thrombos,", "row 4, condition: write one of electronic_implant"),
        (
            'implant",contraindication,local',
            'implant",never,local',
            "row 2, stimulation: write one of contraindication",
        ),
        (",from memory,memory", ",from memory,sure", "row 16, seen: write one of verified"),
        ("thrombosis,", "malignancy,", "malignancy must stand in exactly one row"),
        ("condition,says", "condition,meaning", "the columns are not condition, says"),
        (LIST, "", "the columns are not condition, says"),
    ],
)
def test_a_slip_in_the_list_is_told_by_its_row(tmp_path, old, new, told):
    with pytest.raises(ExportError, match=told) as raised:
        contraindications(changed(tmp_path, old, new))
    assert "thrombos," not in str(raised.value) and "never" not in str(raised.value) and "sure" not in str(raised.value)


def test_a_list_that_is_gone_or_in_another_encoding_is_told(tmp_path):
    with pytest.raises(ExportError, match="there is no such list"):
        contraindications(tmp_path / "contraindications.csv")
    (tmp_path / "contraindications.csv").write_bytes("condition,müde".encode("latin-1"))
    with pytest.raises(ExportError, match="save it as CSV in UTF-8"):
        contraindications(tmp_path / "contraindications.csv")


# 250 uC/s x 3,000 s = 0.75 C; 360 uC/s x 3,000 s = 1.08 C, as Polak et al. 2018 (Ostomy Wound Manage 64(2):10) print.
@pytest.mark.parametrize(("trial", "coulombs"), [("Polak 2016", 0.75), ("Polak 2017", 0.75), ("Polak 2018", 1.08)])
def test_the_charge_of_a_day(trial, coulombs):
    row = doses().set_index("trial").loc[trial]
    assert row["day_charge"] == pytest.approx(coulombs, abs=EXACT)
    assert row["weekly_minutes"] == 50 * 5


def test_minutes_a_week_by_hand():
    weekly = doses().set_index("trial")["weekly_minutes"]
    assert weekly["Houghton 2003"] == 45 * 3
    assert weekly["Ahmad 2008, 120 minutes"] == 120 * 7
    assert weekly["Gentzkow 1993"] == 2 * 30 * 7


def test_what_was_not_seen_is_missing_and_never_zero():
    table = doses().set_index("trial")
    assert table.loc[["Franek 2011", "Wood 1993"], ["minutes", "day_charge", "weekly_minutes"]].isna().all(axis=None)
    assert pd.isna(table.loc["Houghton 2010", "weekly_minutes"])
    assert table["day_charge"].notna().sum() == 3
    assert (table[["minutes", "per_week", "for_weeks"]].min() > 0).all()
