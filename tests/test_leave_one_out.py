"""The answer without each resident and facility: counted by hand, and beside an export that never held them."""

from dataclasses import replace

import numpy as np
import pytest

from benchmarks.invented_facility import Scenario
from kit.healing.answers import answer
from kit.healing.comparison import ANY, choose_horizon
from kit.healing.emulation import lay_out
from kit.healing.other_answers import NOT_MADE
from kit.sensitivity import leave_one_out
from kit.sensitivity.leave_one_out import FACILITY, RESIDENT, ranges, without_each
from tests.drawn import drawn
from tests.invented_weeks import invented, of_study
from tests.test_other_answers import HORIZON, PLAIN, laid_out, rounds
from tests.told import answers_of, row_of

CLOSE = 1e-6  # weights are sought until the last step is below 1e-6, and sums are in another order
# Points: a design standardized without a person or facility differs a little, and the ridge with it.
NEARLY = 0.1


def of_layout(layout, difference=3 / 4 - 2 / 6):
    return replace(answers_of(row_of(closed_difference=difference)), layout=layout)


def test_without_each_resident_the_difference_is_that_of_the_others():
    # Of S1 to S4 (R1 to R4) the first 3 close, of O1 to O6 (R5 to R10) the first 2. R10 is the second in the alphabet.
    table = without_each(of_layout(laid_out(PLAIN)))
    amounts = [2 / 3 - 2 / 6] * 3 + [3 / 3 - 2 / 6] + [3 / 4 - 1 / 5] * 2 + [3 / 4 - 2 / 5] * 4
    assert sorted(table["amount"]) == pytest.approx(sorted(100 * np.array(amounts)), abs=CLOSE)
    assert set(table["without"]) == {RESIDENT} and set(table["which"]) == {RESIDENT}


def test_the_range_is_from_the_lowest_to_the_highest():
    answers = of_layout(laid_out(PLAIN))
    people, homes = ranges(answers, without_each(answers)).to_dict("records")
    assert people["lowest"] == pytest.approx(100 * (2 / 3 - 2 / 6), abs=CLOSE)  # without S1, S2 or S3
    assert people["highest"] == pytest.approx(100 * (3 / 3 - 2 / 6), abs=CLOSE)  # without S4
    assert (people["times"], people["amount"]) == (10, pytest.approx(100 * (3 / 4 - 2 / 6)))
    assert homes["not_computed"] == "only one facility is compared" and np.isnan(homes["lowest"])


def two_houses():
    """In Quellmoor 2 of 2 that started close and 1 of 4 beside, in Tarnwick 1 of 2 and 1 of 2."""
    closes = {"S1": 45, "S2": 66, "S3": 80, "O1": 52, "O5": 73}
    names = ["S1", "S2", "O1", "O2", "O3", "O4", "S3", "S4", "O5", "O6"]
    owner = {name: f"R{number}" for number, name in enumerate(names)}
    house = {name: "Quellmoor" if number < 6 else "Tarnwick" for number, name in enumerate(names)}
    return drawn(
        "wound day length width state\n" + "\n".join(line for name in names for line in rounds(name, closes.get(name))),
        residents="resident facility\n" + "\n".join(f"{owner[name]} {house[name]}" for name in names),
        wounds="wound resident kind\n" + "\n".join(f"{name} {owner[name]} venous" for name in names),
        sessions="wound day modality status\n"
        + "\n".join(f"{name} 26 ultrasound given" for name in names if name.startswith("S")),
        spans="resident wound span from_day\n" + "\n".join(f"{owner[name]} . comfort_goal 31" for name in names),
    )


def test_without_a_facility_the_difference_is_that_of_the_other():
    study = two_houses()
    answers = of_layout(lay_out(of_study(study).weeks, study.measurements, study.plan, HORIZON))
    table = without_each(answers)
    homes = table[table["without"] == FACILITY].set_index("which")["amount"]
    assert homes["Quellmoor"] == pytest.approx(100 * (1 / 2 - 1 / 2), abs=CLOSE)
    assert homes["Tarnwick"] == pytest.approx(100 * (2 / 2 - 1 / 4), abs=CLOSE)
    own = ranges(answers, table).set_index("without").loc[FACILITY]
    assert (own["lowest_without"], own["highest_without"], own["times"]) == ("Quellmoor", "Tarnwick", 2)


@pytest.fixture(scope="module")
def two():
    made = invented(Scenario(residents=200, starters=60, facilities=2))
    return made, answer(made.judged, made.measurements, made.plan, draws=20)


def test_without_a_facility_it_is_what_an_export_without_it_gives(two):
    made, told = two
    table = without_each(told)
    homes = table[table["without"] == FACILITY].set_index("which")["amount"]
    assert len(homes) == 2
    for left in homes.index:
        rest = made.weeks[made.weeks["facility"] != left]
        plan = made.plan.model_copy(
            update={"comparison": made.plan.comparison.model_copy(update={"horizons": (told.horizon_weeks,)})}
        )
        layout = choose_horizon(rest, made.measurements, plan)
        plain = leave_one_out._weighed(
            layout, leave_one_out.any_modality(layout), np.ones((len(layout.people), 1)), told.measure
        )
        assert homes[left] == pytest.approx(plain[0], abs=NEARLY)


def test_with_nobody_left_out_it_is_the_answer(two):
    _, told = two
    layout = told.layout
    amounts = leave_one_out._weighed(
        layout, leave_one_out.any_modality(layout), np.ones((len(layout.people), 1)), told.measure
    )
    assert amounts[0] == pytest.approx(100 * told.told["closed_difference"].iloc[0], abs=CLOSE)


def test_lots_give_what_all_at_once_give(two, monkeypatch):
    _, told = two
    whole = without_each(told)["amount"].to_numpy()
    monkeypatch.setattr("kit.healing.comparison.ROOM", 1)
    assert without_each(told)["amount"].to_numpy() == pytest.approx(whole, abs=CLOSE)


def test_the_numbers_stand_around_the_answer(two):
    _, told = two
    people = ranges(told, without_each(told)).set_index("without").loc[RESIDENT]
    assert people["lowest"] < people["amount"] < people["highest"]
    assert people["highest"] - people["lowest"] < 20  # one of some 40 residents moves a share by a few points


def test_no_resident_is_named(two):
    _, told = two
    table = without_each(told)
    named = set(table["which"]) | set(ranges(told, table)[["lowest_without", "highest_without"]].to_numpy().ravel())
    assert not named & set(told.layout.people)


def test_where_the_last_of_one_side_is_left_out_there_is_no_number():
    wounds = {"S1": ("R1", rounds("S1", 45)), "O1": ("R2", rounds("O1", 52)), "O2": ("R3", rounds("O2"))}
    from_text = drawn(
        "wound day length width state\n" + "\n".join(line for _, lines in wounds.values() for line in lines),
        wounds="wound resident kind\n" + "\n".join(f"{name} {owner} venous" for name, (owner, _) in wounds.items()),
        sessions="wound day modality status\nS1 26 ultrasound given",
        spans="resident wound span from_day\n" + "\n".join(f"R{number} . comfort_goal 31" for number in (1, 2, 3)),
    )
    answers = of_layout(laid_out(from_text), 1 - 1 / 2)
    table = without_each(answers)
    assert table["amount"].isna().sum() == 1
    assert ranges(answers, table).loc[0, "times"] == 2


def test_where_nothing_is_told_nothing_is_left_out():
    answers = answers_of(row_of(ANY, told=False))
    table = without_each(answers)
    assert table.empty and list(table) == ["without", "which", "amount"]
    told = ranges(answers, table)
    assert told["not_computed"].tolist() == [NOT_MADE, NOT_MADE] and told["amount"].isna().all()
