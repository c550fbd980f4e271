"""The tables and the figure of comfort, safety and burden: the numbers of the frames, nobody named."""

import re

import pandas as pd

from kit.delivered import burden_of, comfort_of, early_dose_of, safety_of
from kit.delivery.comfort import BEFORE, BETWEEN, DURING, LONG, OWN, SHORT, Comfort
from kit.pages import care_tables as tables
from kit.pages.care_figures import pain_figure
from kit.pages.display import as_html, png
from kit.study import read_study
from tests.drawn import TWO_HOUSES, drawn
from tests.test_care_statements import comfort as told_comfort
from tests.test_care_statements import early
from tests.test_comparison_figures import outside, overlapping
from tests.test_planted import INVENTED

NAN = float("nan")


def reaction(kind, many, modality="all", answered=200):
    return {"modality": modality, "setup": "", "reaction": kind, "answered": answered, "unanswered": 3,
            "reactions": many, "residents": 2, "per_100": many / 2, "low": 0.5, "high": 4.25}  # fmt: skip


def test_reactions_show_every_set_up_and_every_kind_that_was_seen():
    seen = [reaction("any", 4), reaction("pain", 4), reaction("burn", 0)]
    frame = pd.DataFrame([*seen, reaction("any", 0, "ultrasound"), reaction("pain", 0, "ultrasound")])
    told = tables.reactions_table(frame)
    assert told[["Modality", "Reaction"]].to_numpy().tolist() == [
        ["All sessions", "Any"], ["All sessions", "Pain"], ["Ultrasound", "Any"],
    ]  # fmt: skip
    assert told["Per 100 sessions (range)"].tolist()[0] == "2.0 (0.5 to 4.2)"
    assert told["Seen in"].tolist()[0] == "4 of 200"


def test_sessions_inside_are_told_with_the_condition_and_what_the_list_says_of_it():
    frame = pd.DataFrame(
        [("Alder", "contraindication", "electronic_implant", "ultrasound", "local", 10, 1, 1)],
        columns=["facility", "span", "condition", "modality", "listed", "inside", "wounds", "residents"],
    )
    assert tables.inside_table(frame).iloc[0].to_dict() == {
        "Facility": "Alder", "Recorded": "Contraindication", "For": "Electronic implant", "Modality": "Ultrasound",
        "The list says": "local", "Sessions inside": 10, "Wounds": 1, "Residents": 1,
    }  # fmt: skip


def effects(*rows):
    names = ["pain", "way", "relief_group", "amount", "low", "high", "residents", "is_told", "not_computed"]
    return Comfort(told_comfort().counts, pd.DataFrame(), pd.DataFrame(rows, columns=names))


def test_pain_during_comes_first_and_differences_between_people_are_told_of_it_alone():
    told = tables.effects_table(effects(
        (BEFORE, OWN, LONG, 0.04, -0.2, 0.2, 40, True, ""), (BEFORE, BETWEEN, LONG, 0.5, 0.1, 0.9, 40, True, ""),
        (DURING, OWN, LONG, -1.72, -1.9, -1.54, 42, True, ""), (DURING, BETWEEN, LONG, -2.1, -2.6, -1.7, 42, True, ""),
        (DURING, OWN, SHORT, NAN, NAN, NAN, 3, False, "too few"),
    ))  # fmt: skip
    assert told["Pain"].tolist() == ["During", "During", "Before"]
    assert told["Points (range)"].tolist() == ["−1.7 (−1.9 to −1.5)", "−2.1 (−2.6 to −1.7)", "0.0 (−0.2 to +0.2)"]


def test_what_is_not_told_of_early_dose_has_no_table():
    assert tables.early_tables(early(told=False)) == {}


def test_the_difference_of_early_dose_is_told_in_wounds_of_a_hundred():
    told = tables.differences_table(early())
    assert told["Of 100 closed"].tolist()[0] == "21 fewer (range 47 fewer to 11 more)"
    assert told["E-value"].tolist() == ["3.0", "–", "2.4"]


def test_every_table_of_the_invented_export_names_nobody_and_has_rows():
    study = read_study(INVENTED / "lifelike")
    shown = {**tables.early_tables(early_dose_of(study)), **tables.comfort_tables(comfort_of(study)),
             **tables.safety_tables(safety_of(study), burden_of(study))}  # fmt: skip
    assert len(shown) == 8 and all(len(table) for table in shown.values())
    for table in shown.values():
        assert not re.search(r"\b[WRS]\d{2,4}\b", as_html(table))


def test_where_nothing_was_delivered_no_table_is_empty_and_none_fails():
    study = drawn(TWO_HOUSES["measurements"], TWO_HOUSES["wounds"])
    shown = {**tables.comfort_tables(comfort_of(study)), **tables.safety_tables(safety_of(study), burden_of(study))}
    assert all(len(table) for table in shown.values())


def test_the_figure_draws_a_line_a_resident_and_their_mean():
    people = pd.DataFrame({
        "relief_group": [LONG, LONG, SHORT], "uneased_mean": [6.0, 4.0, 9.0], "eased_mean": [3.0, 5.0, 9.0],
    })  # fmt: skip
    figure = pain_figure(people, 15)
    png(figure)
    lines = [line.get_ydata() for line in figure.axes[0].lines]
    assert [list(line) for line in lines] == [[6, 3], [4, 5], [5, 4]]
    assert figure.axes[0].lines[0].get_linestyle() == "-" != figure.axes[0].lines[1].get_linestyle()
    assert "less in 1 of 2 (solid)" in figure.axes[0].get_xlabel()
    assert outside(figure) == [] and overlapping(figure) == []
