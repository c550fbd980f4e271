"""Sites of the body as logs write them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.intake.places import read_sites
from kit.vocabulary import SIDES, SITES

ONE = """
sacrum                 | sacrum      |
Sacral area            | sacrum      |
sacrococcygeal         | sacrum      |
sacrum/coccyx          | sacrum      |
tailbone               | coccyx      |
L heel                 | heel        | left
heel (L)               | heel        | left
Lt. heel               | heel        | left
R calcaneus            | heel        | right
troch R                | trochanter  | right
R. gr. troch           | trochanter  | right
Coccyx (mid)           | coccyx      | middle
L ischial tuberosity   | ischium     | left
Ferse links            | heel        | left
talón derecho          | heel        | right
talon gauche           | heel        | left
R great toe            | toe         | right
lateral malleolus L    | ankle       | left
""".strip().splitlines()
TWO = """
bilat heels            | heel left   | heel right
both heels             | heel left   | heel right
coccyx and R heel      | coccyx      | heel right
sacrum & L heel        | sacrum      | heel left
L heel + R heel        | heel left   | heel right
""".strip().splitlines()
NOT_READ = [
    "", "heels", "see note", "R heel + L heel + sacrum", "RLE", "R/L heel", "sacrum?", "near sacrum", "G toe", "D foot",
    "M ankle", "re heel", "der Fuss", "Dx foot", "room 4",
]  # fmt: skip


def cells(line):
    return [cell.strip() for cell in line.split("|")]


@pytest.mark.parametrize("line", ONE)
def test_a_site_and_its_side(line):
    text, site, side = cells(line)
    assert [(one.site, one.side or "") for one in read_sites(text)] == [(site, side)]


@pytest.mark.parametrize("line", TWO)
def test_two_sites_in_one_cell_in_its_order(line):
    text, *both = cells(line)
    assert [" ".join(filter(None, (one.site, one.side))) for one in read_sites(text)] == both


@pytest.mark.parametrize("text", NOT_READ)
def test_what_is_not_understood_wholly_is_not_read(text):
    assert read_sites(text) == ()


@given(st.text())
def test_it_never_raises_and_never_invents(text):
    for one in read_sites(text):
        assert one.site in SITES
        assert one.side in (None, *SIDES)
