"""A map drafted from small exports drawn as text: what is placed, what is asked, what is left."""

import tomllib

import openpyxl
import pytest

from kit.faults import ExportError
from kit.intake.drafted import as_toml
from kit.intake.drafting import draft
from kit.intake.mapping import ASK, read_map
from kit.intake.readers import read_export

WOUNDS = """
Wound ref | Person | Type     | Where
W1        | P1     | Pressure | L heel
W2        | P2     | Venous   | leg
W3        | P3     | Pressure | sacrum
"""
ROUNDS = """
Wound ref | Seen       | Len (cm) | Wid (cm)
W1        | 2026-04-06 | 4.1      | 3
W2        | 2026-04-06 | 2        | 2
W3        | 2026-04-20 | 3        | 2.5
"""


def export(folder, **tables):
    """A folder of CSV files drawn as text, a column between two bars."""
    for name, drawn in tables.items():
        rows = [[cell.strip() for cell in line.split("|")] for line in drawn.strip().splitlines()]
        (folder / f"{name}.csv").write_text("\n".join(",".join(row) for row in rows), encoding="utf-8")
    return folder


def drafted(folder, **tables):
    return draft(export(folder, **({"list": WOUNDS, "rounds": ROUNDS} | tables)))


def places(found, table):
    return {name: place.says for name, place in found.mapping[table].columns.items()}


def doubts(found, table, column):
    return [doubt.says for doubt in found.doubts if (doubt.table, doubt.column) == (table, column)]


def test_sheets_and_columns_are_found_by_headers_and_cells_whatever_they_are_called(tmp_path):
    found = drafted(tmp_path)
    assert places(found, "wounds") == {"wound": "Wound ref", "resident": "Person", "kind": "Type", "site": "Where"}
    assert places(found, "measurements") == {
        "wound": "Wound ref", "day": "Seen", "length": "Len (cm)", "width": "Wid (cm)",
    }  # fmt: skip
    assert {name: mapped.file for name, mapped in found.mapping.items()} == {
        "wounds": "list.csv", "measurements": "rounds.csv",
    }  # fmt: skip
    assert not found.doubts and not found.missing and not found.unplaced


def test_a_header_whose_cells_are_something_else_is_not_believed(tmp_path):
    found = drafted(
        tmp_path, list=WOUNDS.replace("L heel", "East wing").replace("leg", "North").replace("sacrum", "Attic")
    )
    assert "site" not in places(found, "wounds")
    assert found.unplaced == {"list.csv": "D"}


def test_two_headers_that_say_the_same_are_both_left_and_a_doubt_is_told(tmp_path):
    rounds = ROUNDS.replace("Wid (cm)", "Length (cm)")
    found = drafted(tmp_path, rounds=rounds)
    assert "length" not in places(found, "measurements")
    assert doubts(found, "measurements", "length") == [
        "columns C, D of rounds.csv could both be it; name the right one"
    ]


def test_of_two_headers_that_say_the_same_the_only_one_that_is_filled_is_meant(tmp_path):
    rounds = (
        ROUNDS.replace("Wid (cm)", "Length (cm)").replace("| 3\n", "|\n").replace("| 2\n", "|\n").replace("2.5", "")
    )
    assert places(drafted(tmp_path, rounds=rounds), "measurements")["length"] == "Len (cm)"


@pytest.mark.parametrize(
    ("days", "format"),
    [
        (("04/06/2026", "04/06/2026", "04/20/2026"), "MM/DD/YYYY"),
        (("06/04/2026", "06/04/2026", "20/04/2026"), "DD/MM/YYYY"),
        (("04/06/2026", "04/06/2026", "04/07/2026"), ASK),
        (("6-Apr-26", "6-Apr-26", "20-Apr-26"), "DD-MON-YY"),
        (("46118", "46118", "46132"), "Excel serial"),
        (("10", "10", "24"), "day number"),
        (("2026-04-06 08:30", "2026-04-06", "2026-04-20"), None),
    ],
)
def test_days_are_read_as_all_of_them_are_written_and_asked_about_where_two_ways_fit(days, format, tmp_path):
    rounds = ROUNDS
    for before, day in zip(("2026-04-06", "2026-04-06", "2026-04-20"), days, strict=True):
        rounds = rounds.replace(f"| {before}", f"| {day}_", 1)
    found = drafted(tmp_path, rounds=rounds.replace("_", ""))
    assert found.mapping["measurements"].columns["day"].format == format
    assert bool(doubts(found, "measurements", "day")) == (format == ASK)


def test_days_that_could_be_two_ways_follow_a_clear_column_of_the_same_sheet(tmp_path):
    rounds = """
    Wound ref | Seen       | Entered    | Len (cm)
    W1        | 04/06/2026 | 04/16/2026 | 4
    W2        | 04/06/2026 | 04/17/2026 | 2
    """
    found = drafted(tmp_path, rounds=rounds)
    assert found.mapping["measurements"].columns["day"].format == "MM/DD/YYYY"
    assert doubts(found, "measurements", "day") == [
        "days fit MM/DD/YYYY and DD/MM/YYYY; taken as the other days of this sheet are written"
    ]


def test_units_are_those_of_the_header_and_without_one_those_that_the_numbers_allow(tmp_path):
    rounds = ROUNDS.replace("Len (cm)", "Length").replace("Wid (cm)", "Width in")
    for small, large in (("4.1", "41"), ("| 2 ", "| 20"), ("| 3 ", "| 30")):
        rounds = rounds.replace(small, large, 1)
    found = drafted(tmp_path, rounds=rounds)
    units = {name: place.unit for name, place in found.mapping["measurements"].columns.items()}
    assert (units["length"], units["width"]) == ("mm", "in")
    assert doubts(found, "measurements", "length") == ["no unit in the header; read as mm"]


def test_what_looks_like_a_name_is_not_placed_and_not_repeated(tmp_path):
    found = drafted(tmp_path, list=WOUNDS.replace("| P1    ", "| Ada Quill"))
    assert found.missing[0].column == "resident"
    assert doubts(found, "wounds", "resident")[0].endswith(
        "looks like a name; put a pseudonym that means nothing there"
    )
    assert "Quill" not in as_toml(found)


def test_pseudonyms_must_be_those_of_the_list_so_that_pt_is_the_therapist(tmp_path):
    log = """
    Wound ref | Date       | Tx    | PT
    W1        | 2026-04-07 | ES    | S1
    W2        | 2026-04-08 | US    | S2
    """
    assert places(drafted(tmp_path, log=log), "sessions") == {
        "wound": "Wound ref", "day": "Date", "modality": "Tx", "therapist": "PT",
    }  # fmt: skip


def test_wounds_counted_from_one_in_each_person_are_named_by_person_and_number(tmp_path):
    counted = {
        "list": "Person | Wound # | Type\nP1 | 1 | Pressure\nP1 | 2 | Venous\nP2 | 1 | Pressure",
        "rounds": "Person | Wound # | Date | Length cm\nP1 | 1 | 2026-04-06 | 4\n"
        "P1 | 2 | 2026-04-06 | 3\nP2 | 1 | 2026-04-07 | 2",
    }
    found = draft(export(tmp_path, **counted))
    assert found.mapping["wounds"].columns["wound"].join == ("Person", "Wound #")
    assert found.mapping["measurements"].columns["wound"].join == ("Person", "Wound #")
    assert places(found, "wounds")["resident"] == "Person"


def test_wounds_that_have_no_name_are_named_by_person_and_site(tmp_path):
    flat = """
    Person | Site   | Side | Date       | Length cm
    P1     | heel   | L    | 2026-04-06 | 4
    P1     | sacrum |      | 2026-04-06 | 3
    P2     | heel   | R    | 2026-04-07 | 2
    """
    found = draft(export(tmp_path, flat=flat))
    for table in ("wounds", "measurements"):
        assert found.mapping[table].columns["wound"].join == ("Person", "Site", "Side")
    assert doubts(found, "wounds", "wound") == [
        "no column numbers the wounds; two wounds of one person at one site are taken for one"
    ]


def test_days_above_the_columns_of_a_wide_sheet(tmp_path):
    wide = """
    Wound ref | Person | Type     | 4/6     | 4/13    | 4/20
    W1        | P1     | Pressure | 3 x 2   | 2 x 2   | healed
    W2        | P2     | Venous   |         | 4 x 1.5 | 4x1
    """
    found = draft(export(tmp_path, tracker=wide))
    across = found.mapping["measurements"].across
    assert (across.headers, across.format, across.holds) == ("*", "M/D", "dimensions")
    assert doubts(found, "measurements", "day")[0].startswith("days stand there without a year; write year = ")
    assert found.mapping["wounds"].file == found.mapping["measurements"].file == "tracker.csv"


def weekly(file, hidden=False):
    book = openpyxl.Workbook()
    listed = book.active
    listed.title = "Roster"
    for row in (("Wound", "Res", "Type"), ("W1", "P1", "Pressure"), ("W2", "P2", "Venous")):
        listed.append(row)
    for week in ("Wk of 3-12", "Wk of 3-19", "Wk of 3-26"):
        sheet = book.create_sheet(week)
        for row in (("Skin rounds",), ("Wound", "Size"), ("W1", "3 x 2"), ("W2", "resolved")):
            sheet.append(row)
    if hidden:
        book["Wk of 3-26"].sheet_state = "hidden"
    book.save(file)
    return file


def test_sheets_that_differ_in_a_day_are_one_and_the_day_is_in_their_name(tmp_path):
    found = draft(weekly(tmp_path / "rounds.xlsx"))
    mapped = found.mapping["measurements"]
    assert (mapped.sheet, mapped.columns["day"].sheet_name, mapped.columns["day"].format) == ("Wk of *", True, "M-D")
    assert places(found, "measurements")["dimensions"] == "Size"


def test_a_hidden_sheet_is_left_alone_and_told(tmp_path):
    found = draft(weekly(tmp_path / "rounds.xlsx", hidden=True))
    assert found.told == [
        "rounds.xlsx, sheet Wk of 3-26: is hidden and was left alone; show it if it belongs to the export"
    ]


def test_codes_are_placed_by_their_header_and_have_to_be_explained(tmp_path):
    found = drafted(tmp_path, rounds=ROUNDS.replace("Wid (cm)", "State").replace("| 2.5", "| 2"))
    assert places(found, "measurements")["state"] == "State"
    assert doubts(found, "measurements", "state") == ["its words are not known; list each under values"]
    assert "ours are open, closed, unknown" in as_toml(found)


LOG = """
Person | Date       | Tx      | Min | Done? | Why not  | Therapist
P1     | 2026-04-06 | HV-M    | 45  | Y     |          | S1
P2     | 2026-04-06 | HV-B    | 45  | Y     |          | S1
P3     | 2026-04-20 | Soundly |     | N     | declined | S2
"""


def test_a_log_whose_treatments_are_all_in_its_own_words_is_drafted_and_asks_what_they_mean(tmp_path):
    found = drafted(tmp_path, log=LOG)
    assert places(found, "sessions") == {
        "resident": "Person", "day": "Date", "modality": "Tx", "minutes": "Min", "status": "Done?",
        "reason": "Why not", "therapist": "Therapist",
    }  # fmt: skip
    assert doubts(found, "sessions", "modality") == ["its words are not known; list each under values"]
    assert "HV-M" not in as_toml(found) and not found.told and not found.unplaced


@pytest.mark.parametrize(
    "spoilt",
    [
        LOG.replace("Why not", "Remark ").replace("Done?", "Note "),  # too little besides says that it is a log
        LOG.replace("Therapist", "Modality "),  # two headers say what was done
        LOG + "".join(f"P1 | 2026-04-{day} | words {day} | 45 | Y | | S1\n" for day in range(10, 26)),  # free text
    ],
)
def test_words_of_treatments_are_not_asked_about_where_it_may_be_another_sheet(spoilt, tmp_path):
    found = drafted(tmp_path, log=spoilt)
    assert "sessions" not in found.mapping
    assert found.unplaced["log.csv"].startswith("A, B, C, D")


def test_the_words_of_sizes_are_asked_about_with_what_they_may_mean(tmp_path):
    sizes = "Wound ref | Seen | Size\n" + "\n".join(f"W{n % 3 + 1} | 2026-04-{n + 10} | 3 x {n}" for n in range(1, 20))
    found = drafted(tmp_path, rounds=sizes + "\nW1 | 2026-05-30 | n/m\nW2 | 2026-05-30 | n/m")
    assert doubts(found, "measurements", "dimensions") == ["some of its words are not known; list them under values"]
    assert 'values = { "theirs" = "open" }; ours are open, closed, unseen, unknown' in as_toml(found)


def test_a_table_that_is_needed_and_not_found_is_told(tmp_path):
    found = draft(export(tmp_path, list=WOUNDS))
    assert [(doubt.table, doubt.says) for doubt in found.missing] == [
        ("measurements", "no sheet was found that holds it")
    ]
    assert "# ? measurements: no sheet was found that holds it" in as_toml(found)


def test_the_text_is_a_map_and_tells_letters_alone_of_what_it_leaves(tmp_path):
    found = drafted(tmp_path, list=WOUNDS.replace("Where", "Mrs Quill is in bed"))
    text = as_toml(found)
    assert "#   list.csv: D" in text
    assert "Quill" not in text
    assert set(tomllib.loads(text)) == {"wounds", "measurements"}


@pytest.mark.parametrize("name", ["nothing", "empty"])
def test_where_there_is_nothing_to_read_one_line_says_so(name, tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(ExportError) as stop:
        draft(tmp_path / name)
    assert str(stop.value).startswith(f"{name}: ")


def test_a_list_of_wounds_without_a_number_is_not_passed_over_in_silence(tmp_path):
    found = drafted(
        tmp_path, register="# | Person | Kind of wound | Site\n1 | P1 | Pressure | heel\n2 | P2 | Venous | leg"
    )
    assert found.told == [
        "register.csv: looks like a list of wounds, and none of its columns numbers them; name one in the map"
    ]


def test_one_slip_does_not_decide_between_two_ways_of_writing_days(tmp_path):
    days = [*(f"0{n}/0{n + 1}/2026" for n in range(1, 8)), *(f"1{n}/0{n + 1}/2026" for n in range(0, 3))]
    days += [f"0{n}/1{n % 3}/2026" for n in range(1, 8)] + ["13/05/2026"]
    rounds = "Wound ref | Seen | Len (cm)\n" + "\n".join(f"W1 | {day} | 4" for day in days)
    assert drafted(tmp_path, rounds=rounds).mapping["measurements"].columns["day"].format == ASK


def test_lengths_without_a_unit_are_all_in_one(tmp_path):
    rounds = "Wound ref | Seen | L | W\nW1 | 2026-04-06 | 28 | 12\nW2 | 2026-04-06 | 30 | 14\nW3 | 2026-04-07 | 18 | 8"
    columns = drafted(tmp_path, rounds=rounds).mapping["measurements"].columns
    assert (columns["length"].unit, columns["width"].unit) == ("mm", "mm")


def test_percent_that_are_shares_are_drafted_so(tmp_path):
    rounds = "Wound ref | Seen | L (cm) | % necrotic\nW1 | 2026-04-06 | 4 | 0.5\nW2 | 2026-04-06 | 3 | 0.25"
    found = drafted(tmp_path, rounds=rounds)
    assert found.mapping["measurements"].columns["necrosis_share"].unit == "share"
    assert doubts(found, "measurements", "necrosis_share")


def test_a_name_above_the_days_of_a_wide_sheet_does_not_enter_the_map(tmp_path):
    days = " | ".join(f"Quill 4/{day}/26" for day in (6, 13, 20))
    rows = "\n".join(f"W{n} | P{n} | Venous | 3 x 2 | 2 x 2 | 2x1" for n in (1, 2))
    wide = f"Wound ref | Person | Type | {days}\n{rows}"
    found = draft(export(tmp_path, tracker=wide))
    assert found.mapping["measurements"].across.headers == "*"
    assert "Quill" not in as_toml(found)


def test_a_file_that_cannot_be_read_or_is_called_oddly_stops_no_draft(tmp_path):
    (tmp_path / "odd\nname.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    (tmp_path / "broken.parquet").write_bytes(b"PAR1")
    found = drafted(tmp_path)
    assert set(found.mapping) == {"wounds", "measurements"}
    assert set(tomllib.loads(as_toml(found))) == {"wounds", "measurements"}


def test_the_unit_above_the_days_of_a_wide_sheet_is_that_of_the_sizes(tmp_path):
    days = " | ".join(f"Size (mm) 4/{day}/26" for day in (6, 13, 20))
    rows = "\n".join(f"W{n} | P{n} | Venous | 30 x 20 | 20 x 20 | 20x10" for n in (1, 2))
    found = draft(export(tmp_path, tracker=f"Wound ref | Person | Type | {days}\n{rows}"))
    across = found.mapping["measurements"].across
    assert (across.headers, across.unit) == ("Size (mm)*", "mm")
    (tmp_path / "columns.toml").write_text(as_toml(found), encoding="utf-8")
    raw = read_export(tmp_path, read_map(tmp_path / "columns.toml"))["measurements"]
    assert raw.places["dimensions"].unit == "mm"


def test_a_column_of_noughts_is_percent_and_not_a_share(tmp_path):
    rounds = "Wound ref | Seen | L (cm) | necrosis\nW1 | 2026-04-06 | 4 | 0\nW2 | 2026-04-06 | 3 | 0"
    assert drafted(tmp_path, rounds=rounds).mapping["measurements"].columns["necrosis_share"].unit is None
