"""Treatments in one cell."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.intake.treatments import TOLD, read_treatment
from kit.vocabulary import TABLES

READ = [
    ("E-stim mono", "stimulation", "monopolar", None),
    ("E-Stim (bipolar)", "stimulation", "bipolar", None),
    ("HVPC bipolar neg", "stimulation", "bipolar", "negative"),
    ("mono ES", "stimulation", "monopolar", None),
    ("Electrical stimulation to wound", "stimulation", None, None),
    ("US", "ultrasound", None, None),
    ("Ultraschall", "ultrasound", None, None),
    ("estimulación eléctrica monopolar", "stimulation", "monopolar", None),
    ("laser", "other", None, None),
]


@pytest.mark.parametrize(("text", *TOLD), READ)
def test_a_cell_tells_modality_set_up_and_polarity(text, modality, setup, polarity):
    told = {"modality": modality, "setup": setup, "polarity": polarity}
    assert read_treatment(text) == {name: value for name, value in told.items() if value}


@pytest.mark.parametrize(
    "text", ["", "mono", "ES/US", "ES mono bipolar", "US 3 MHz", "see note", "ES by pump", "wound", "ES?"]
)
def test_what_is_not_known_wholly_or_contradicts_itself_is_not_read(text):
    assert read_treatment(text) == {}


@given(st.text())
def test_it_never_raises_and_never_invents(text):
    told = read_treatment(text)
    assert all(value in TABLES["sessions"].column(name).allowed for name, value in told.items())
    assert not told or "modality" in told
