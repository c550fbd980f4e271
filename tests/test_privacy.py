"""Identifiers planted by mistake: every kind once, and a search that would see them (more: benchmarks/privacy.py)."""

import base64
import csv
import io
import string
import tomllib
import zipfile
from pathlib import Path

import pytest
from privacy import CODES, KINDS, NAMES, PLACES, Kind, Out, fits, once, reached, small, told_by

from kit.__main__ import main
from kit.checking import check
from kit.intake.naming import file_said, looks_like, said, starred
from tests.test_screening import refused

PUBLISHED = Path(__file__).parents[1] / "data" / "published"
PLACE = {place.name: place for place in PLACES}
QUIET = [place for place in PLACES if place.group == "workbook" and place.name not in NAMES]
FIRST = {
    letter: next(kind for kind in KINDS if kind.letter == letter and not kind.untold) for letter in "BCDEFGHIJKLMNOQR"
}


def rows_of(name):
    lines = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def test_all_eighteen_kinds_of_the_rule_are_listed_and_planted():
    listed = [row["letter"] for row in rows_of("identifiers.csv")]
    assert listed == list(string.ascii_uppercase[:18])
    assert {kind.letter for kind in KINDS} == set(listed)
    assert len(KINDS) >= 42


def test_the_example_of_every_kind_is_refused():
    for row in rows_of("identifiers.csv"):
        assert "looks like" in refused("residents", "resident", "R0001", row["example"]), row["letter"]


def test_the_restricted_areas_are_seventeen_with_their_source():
    assert len({row["zip3"] for row in rows_of("zip3.csv")}) == 17
    assert "Source" in (PUBLISHED / "zip3.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("place", QUIET, ids=lambda place: place.name)
def test_no_kind_reaches_anything_from_a_place_that_is_not_read_or_reads_closed_lists(place):
    assert once([(kind, place) for kind in KINDS if fits(kind, place)]) == {}


@pytest.mark.parametrize("letter", FIRST)
def test_a_pseudonym_that_is_an_identifier_is_refused_and_not_repeated(letter):
    assert once([(FIRST[letter], PLACE[CODES[0]])]) == {}


@pytest.mark.parametrize("place", ["name of a sheet", "name of a file", "name of the export"])
@pytest.mark.parametrize("letter", "DGH")
def test_a_name_that_holds_an_identifier_is_told_by_its_place(letter, place):
    assert once([(FIRST[letter], PLACE[place])]) == {}


# --- the search itself ---


def test_what_nobody_can_tell_from_an_honest_code_is_found_where_it_goes():
    plain = Kind("A", "Whiteoak")
    assert any(where.startswith("study") for where in once([(plain, PLACE["pseudonym of a facility"])])["Whiteoak"])


def test_a_pseudonym_that_is_let_in_is_found(monkeypatch):
    monkeypatch.setattr("kit.intake.pseudonyms._identifiers", lambda column, known: iter(()))
    kind = FIRST["H"]
    found = once([(kind, PLACE[CODES[0]])])[kind.text]
    assert {"study.residents.resident", "study, pickled"} <= set(found)


@pytest.mark.parametrize("place", NAMES)
def test_a_name_that_is_told_as_it_stands_is_found(monkeypatch, place):
    monkeypatch.setattr("kit.intake.naming._found", lambda name: [])
    kind = next(kind for kind in KINDS if kind.text == "Whiteoak, Johanna")
    assert "kit check" in once([(kind, PLACE[place])])[kind.text]


def hidden(text):
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.txt", text)
    return {
        "as it stands": f"seen by {text} today",
        "in small letters": f"seen by {text.lower()} today",
        "in UTF-16": text.encode("utf-16-le"),
        "in base64": base64.b64encode(text.encode()),
        "packed": packed.getvalue(),
    }


@pytest.mark.parametrize("how", hidden(""))
def test_the_search_finds_a_text_however_it_lies(how):
    kind = Kind("A", "Whiteoak, Johanna")
    out = Out()
    out.add("somewhere", hidden(kind.text)[how])
    assert reached(told_by(kind, []), out) == ["somewhere"]


def test_the_search_does_not_find_what_is_not_there():
    out = Out()
    out.add("somewhere", "a wound on the left heel, 4 by 3 cm")
    assert reached(told_by(Kind("A", "Whiteoak, Johanna"), []), out) == []


# --- names ---


@pytest.mark.parametrize(
    "name",
    ["Wk of 3-12", "2026-03-12", "week-12", "3/12/2026", "Skin rounds", "R-014", "Length (cm)", "export_2026-06-30",
     "L. Heel", "Site, Side", "Wound care log", "Unit 3", "20260312_120455"],
)  # fmt: skip
def test_an_honest_name_stands_as_it_is(name):
    assert looks_like(name) == ""
    assert said(name, "column D") == name


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("Smith, John", "a name"), ("MRN 4471038", "a record"), ("DOB 12 Mar 1941", "a date of birth"),
        ("(614) 555-0173", "a telephone number"), ("j.whiteoak@quarrendon.example", "an e-mail address"),
        ("219-09-9999", "a record"),
    ],
)  # fmt: skip
def test_a_name_that_tells_who_it_is_stands_as_its_place(name, what):
    assert looks_like(name).startswith(what)
    assert said(name, "column D") == "column D"


def test_a_map_may_write_a_star_in_its_place():
    assert starred("Rounds MRN 4471038") == "Rounds *"


def test_a_file_is_told_by_its_number_among_the_others(tmp_path):
    for name in ("a.csv", "MRN 4471038.csv"):
        (tmp_path / name).write_text("", encoding="utf-8")
    assert file_said(tmp_path / "MRN 4471038.csv") == "the 1st file"
    assert file_said(tmp_path / "a.csv") == "a.csv"


@pytest.mark.parametrize("form", ["workbook", "folder"])
def test_a_map_drafted_from_sheets_that_are_called_after_somebody_can_be_followed(form, tmp_path, capsys):
    parcel = small()
    parcel.names = {"measurements": "sizes Whiteoak, Johanna", "wounds": "wounds MRN 4471038"}
    export, drafted = getattr(parcel, form)(tmp_path), tmp_path / "drafted.toml"
    assert main(["draft", str(export), "--columns", str(drafted)]) == 0
    mapped = tomllib.loads(drafted.read_text(encoding="utf-8"))
    key, ending = ("sheet", "") if form == "workbook" else ("file", ".csv")
    assert (mapped["measurements"][key], mapped["wounds"][key]) == (f"sizes *{ending}", f"wounds *{ending}")
    assert check(export, columns=drafted).stops == []
    assert "Whiteoak" not in capsys.readouterr().out


def test_a_file_that_only_a_star_could_name_is_left_alone_with_a_line(tmp_path, capsys):
    parcel = small()
    parcel.names = {"residents": "Whiteoak, Johanna"}
    drafted = tmp_path / "drafted.toml"
    main(["draft", str(parcel.folder(tmp_path)), "--columns", str(drafted)])
    told = capsys.readouterr().out
    assert "the 1st file: its name holds what looks like a name; give it another name and draft again" in told
    assert "Whiteoak" not in told + drafted.read_text(encoding="utf-8")


def test_a_mapped_header_that_holds_an_identifier_is_told_by_its_letter(tmp_path):
    parcel = small()
    parcel.headers = {("wounds", "resident"): "Resident Mrs. Whiteoak"}
    parcel.tables["wounds"].loc[0, "resident"] = "MRN 1"
    assert check(parcel.folder(tmp_path)).stops == [
        "wounds.csv row 2, column B: looks like a record, account or social security number; replace every resident "
        "with a pseudonym that means nothing, and export again"
    ]


def test_a_key_of_map_or_plan_that_holds_an_identifier_is_not_repeated(tmp_path):
    export = small().folder(tmp_path)
    for name in ("columns.toml", "study-plan.toml"):
        text = (export / name).read_text(encoding="utf-8")
        (export / name).write_text(f'{text}\n["Whiteoak, Johanna"]\na = 1\n', encoding="utf-8")
    stops = [stop.split(": there is no such key")[0] for stop in check(export).stops]
    assert sorted(stops) == ["columns.toml: a key", "study-plan.toml: a key"]
