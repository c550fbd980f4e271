"""The column map: it may name any header, unit, format and word, and says in one line where it cannot be followed."""

import pytest

from kit.intake.mapping import DAY_FORMATS, MapError, own_names, read_map
from kit.vocabulary import TABLES, UNITS
from tests.exports import map_of

MAP = """
[wounds]
file = "Wunden.csv"
[wounds.columns]
wound = "Wound ID"
resident = " Person "
kind = { column = "Type", values = { "Bed sore" = "pressure_injury", "n/m" = "unknown" } }
[measurements.columns]
wound = "Wound ID"
day = { column = "Seen on", format = "MM/DD/YYYY" }
length = { column = "L", unit = "mm" }
"""


def told(old, new):
    """What is said of the map with one thing changed; always one line."""
    assert old in MAP
    with pytest.raises(MapError) as stopped:
        map_of(MAP.replace(old, new))
    assert "\n" not in str(stopped.value)
    return str(stopped.value).removeprefix("given.toml: ")


# --- what a map may say ---


def test_a_place_is_a_header_alone_or_a_header_with_what_must_be_known_of_it():
    columns = map_of(MAP)["measurements"].columns
    assert (columns["wound"].column, columns["wound"].unit) == ("Wound ID", None)
    assert (columns["day"].format, columns["length"].unit) == ("MM/DD/YYYY", "mm")


def test_blanks_around_a_header_do_not_count():
    assert map_of(MAP)["wounds"].columns["resident"].column == "Person"


def test_tables_that_are_not_mapped_are_not_there():
    assert list(map_of(MAP)) == ["wounds", "measurements"]


@pytest.mark.parametrize(("own", "declared"), [(own, unit) for own, units in UNITS.items() for unit in units])
def test_every_unit_of_the_vocabulary_may_be_declared(own, declared):
    table, column = next((t.name, c.name) for t in TABLES.values() for c in t.columns if c.unit == own)
    place = f'{{ column = "theirs", unit = "{declared}" }}'
    assert map_of(needed_columns(table, **{column: place}))[table].columns[column].unit == declared


def needed_columns(*tables, **places):
    """A map of the needed columns of wounds, measurements and one more table, which gets these places besides."""
    text = ""
    for name in dict.fromkeys(["wounds", "measurements", *tables]):
        needed = {column.name: f'"{column.name}"' for column in TABLES[name].columns if column.required}
        columns = needed | (places if name in tables else {})
        text += f"[{name}.columns]\n" + "".join(f"{column} = {place}\n" for column, place in columns.items())
    return text


@pytest.mark.parametrize("written", DAY_FORMATS)
def test_every_day_format_may_be_declared(written):
    assert map_of(MAP.replace("MM/DD/YYYY", written))["measurements"].columns["day"].format == written


@pytest.mark.parametrize(
    ("written", "known"),
    [
        ("M/D/YYYY", "MM/DD/YYYY"), ("mm/dd/yyyy", "MM/DD/YYYY"), ("d.m.yyyy", "DD.MM.YYYY"), ("m/d/yy", "MM/DD/YY"),
        ("dd-Mon-yyyy", "DD-MON-YYYY"), ("yyyy-mm-dd", "YYYY-MM-DD"), ("Day number", "day number"),
    ],
)  # fmt: skip
def test_a_day_format_may_be_written_as_spreadsheets_do(written, known):
    assert map_of(MAP.replace("MM/DD/YYYY", written))["measurements"].columns["day"].format == known


SHARED = """
[wounds.columns]
wound = "wound"
resident = "resident"
kind = { column = "Type", values = { "heel sore" = "pressure_injury", "leg ulcer" = "venous" } }
site = { column = "Type", values = { "heel sore" = "heel" } }
[measurements.columns]
wound = "wound"
day = "day"
"""


def test_one_header_may_serve_two_columns_of_words_that_each_say_what_the_words_mean():
    columns = map_of(SHARED)["wounds"].columns
    assert columns["kind"].column == columns["site"].column == "Type"


def test_a_header_that_serves_two_needs_the_words_of_both():
    with pytest.raises(MapError) as stopped:
        map_of(SHARED.replace(', values = { "heel sore" = "heel" }', ""))
    assert str(stopped.value) == (
        "given.toml: wounds: kind and site name the same column; keep one of them, or give each its own values"
    )


# --- what it may not ---


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("kind =", "kinds =", "wounds.kinds: there is no such column; did you mean kind?"),
        ("kind =", "zebra =", "wounds.zebra: there is no such column; known are wound, resident, kind, site, side, "),
        ("[wounds]", "[wound]", "wound: there is no such key; did you mean wounds?"),
        ('file = "W', 'fil = "W', "wounds.fil: there is no such key; did you mean file?"),
        ("format =", "fromat =", "measurements.columns.day.fromat: there is no such key; did you mean format?"),
        ('unit = "mm"', 'unit = "feet"', "measurements.length: unit: not one that is known; known are cm, mm, in"),
        ('format = "MM/DD/YYYY"', 'unit = "h"', "measurements.day: unit: this column takes none; take it out"),
        ('unit = "mm"', 'format = "MM"', "measurements.length: format: this column takes none; take it out"),
        ("MM/DD/YYYY", "%m/%d/%Y", "measurements.day: format: not one that is known; known are YYYY-MM-DD, "),
        ('"pressure_injury"', '"bedsore"', "wounds.kind: values: not one that is known; known are pressure_injury, "),
        ('column = "L"', 'column = "Seen on"', "measurements: day and length name the same column; keep one of them"),
        ('resident = " Person "\n', "", "wounds: resident is needed and not mapped; name the column that holds it"),
        ('"Wunden.csv"', '"../Wunden.csv"', "wounds: file must be the bare name of a file that lies in the export's"),
        ('" Person "', '"  "', "wounds.columns.resident: name one column, or several under join, or sheet_name = true"),
    ],
)
def test_a_map_that_cannot_be_followed_says_where_and_what_is_known(old, new, said):
    assert told(old, new).startswith(said)


def test_wounds_and_measurements_must_be_mapped():
    with pytest.raises(MapError, match="wounds: Field required"):
        map_of(MAP[MAP.index("[measurements") :])


def test_a_missing_map_is_told(tmp_path):
    with pytest.raises(MapError, match=rf"^none.toml: there is no such column map in {tmp_path.name}; check its path$"):
        read_map(tmp_path / "none.toml")


def test_a_map_that_is_not_toml_names_the_line():
    with pytest.raises(MapError, match="this is not TOML that can be read: .*line 1"):
        map_of("wounds: yes")


# --- our own names ---


def test_our_own_names_are_found_in_capitals_too_and_nothing_else_is():
    places = own_names(TABLES["wounds"], ["WOUND", "Resident", "Notes", ""])
    assert {name: place.column for name, place in places.items()} == {"wound": "WOUND", "resident": "Resident"}


def test_a_name_in_our_own_spelling_goes_before_one_in_capitals():
    assert own_names(TABLES["wounds"], ["WOUND", "wound"])["wound"].column == "wound"
