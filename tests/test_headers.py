"""What a header may mean: whole phrases, idle words, abbreviations, units, questions; and what it must not mean."""

import pytest

from kit.intake.headers import GENERAL, OWN, answers, claims, short_for
from kit.intake.lexicon import header_words
from kit.vocabulary import TABLES, UNITS

PLACED = [
    ("Wound ID", "wounds", "wound", None),
    ("woundId", "measurements", "wound", None),
    ("WND_STAT", "measurements", "state", None),
    ("Len (cm)", "measurements", "length", "cm"),
    ("wnd_len_mm", "measurements", "length", "mm"),
    ("Length of wound, in", "measurements", "length", "in"),
    ("Size (cm) L", "measurements", "length", "cm"),
    ("Wundlänge (cm)", "measurements", "length", "cm"),
    ("Área (cm²)", "measurements", "area", "cm2"),
    ("NECR_PCT", "measurements", "necrosis_share", "%"),
    ("Fecha de la medición", "measurements", "day", None),
    ("Date assessed", "measurements", "day", None),
    ("US MHz", "sessions", "frequency", "mhz"),
    ("Intensité (W/cm²)", "sessions", "intensity", "w/cm2"),
    ("Time On (min)", "sessions", "minutes", "min"),
    ("Completed Y/N", "sessions", "status", None),
    ("THER_ID", "sessions", "therapist", None),
    ("Treatment minute(s)", "sessions", "minutes", "min"),
    ("POA (1/0)", "wounds", "present_on_admission", None),
    ("Size (LxWxD)", "measurements", "dimensions", None),
    ("uC/sec", "sessions", "charge_rate", None),
    ("D/C Date", "departures", "day", None),
    ("Pain before (0-10)", "procedures", "pain_before", "points"),
]
NOT_PLACED = [
    "Length of stay", "Width of room", "Depth of sleep", "Stage of change", "Side of building", "Type of bed",
    "Age of mattress", "Date of birth", "Reason for visit", "Room", "Last name", "SSN last 4", "Notes", "ID", "No", "",
    "4.2 x 1.3 x 0.1", "W0104", "2.1 cm last wk per dtr, no odor",
]  # fmt: skip


@pytest.mark.parametrize(("header", "table", "column", "unit"), PLACED)
def test_a_header_claims_the_column_that_its_words_name(header, table, column, unit):
    assert (table, column, unit) in {(claim.table, claim.column, claim.unit) for claim in claims(header)}


@pytest.mark.parametrize("header", NOT_PLACED)
def test_a_header_with_a_word_that_means_something_else_claims_nothing(header):
    assert claims(header) == ()


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_our_own_names_claim_their_own_columns_above_all(table):
    for column in table.columns:
        best = max(claims(column.name), key=lambda claim: (claim.table == table.name) * claim.worth)
        assert (best.column, best.worth, best.unit) == (column.name, OWN[0], None)


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_every_column_has_words_of_its_own_beside_its_name(table):
    for column in table.columns:
        told = header_words(table.name, column.name) | header_words("*", column.name)
        assert len(told) > 1 or column.name in ("also_site", "also_side"), column.name


def test_what_serves_one_table_alone_outranks_what_serves_all_and_the_whole_phrase_the_short_one():
    worth = {header: max(c.worth for c in claims(header) if (c.table, c.column) == ("measurements", "day"))
             for header in ("Date measured", "Date", "visit_dt")}  # fmt: skip
    assert worth["Date measured"] == OWN[0] > worth["Date"] == GENERAL[0]


def test_a_unit_in_a_header_is_one_that_the_column_takes():
    for header, table, column, unit in PLACED:
        assert unit is None or unit in UNITS[TABLES[table].column(column).unit], header


@pytest.mark.parametrize(
    ("word", "full", "is_short"),
    [("necr", "necrosis", True), ("clsd", "closed", True), ("assr", "assessor", True), ("opn", "open", True),
     ("rsn", "reason", True), ("rsn", "resident", False), ("site", "seite", False), ("oh", "other", False),
     ("op", "open", False), ("age", "aperture", False), ("closed", "clsd", False)],
)  # fmt: skip
def test_an_abbreviation_is_the_beginning_of_its_word_or_its_consonants(word, full, is_short):
    assert short_for(word, full) == is_short


@pytest.mark.parametrize(
    ("table", "column", "header", "said"),
    [
        ("sessions", "status", "Done?", {"yes": "given", "no": "missed"}),
        ("sessions", "status", "Missed", {"yes": "missed", "no": "given"}),
        ("sessions", "status", "Status", {}),
        ("measurements", "state", "Healed (1/0)", {"yes": "closed", "no": "open"}),
        ("measurements", "state", "Open?", {"yes": "open", "no": "closed"}),
        ("measurements", "exudate", "Drainage", {}),
        ("measurements", "state", "Healed (1=yes, 0=no)", {"yes": "closed", "no": "open"}),
        ("measurements", "state", "Healed (1=No 0=Yes)", {}),  # a key that turns it round
        ("measurements", "state", "Closed (1 = no, 2 = yes)", {}),
        ("measurements", "state", "Open (1=closed 0=open)", {}),
        ("sessions", "status", "Done (0=yes 1=no)", {}),
        ("measurements", "state", "Guérie (O/N)", {"yes": "closed", "no": "open"}),
    ],
)
def test_yes_below_a_header_that_asks_means_what_it_asks(table, column, header, said):
    assert answers(table, column, header) == said
