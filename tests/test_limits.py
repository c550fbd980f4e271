"""What limited the quarter: most first, each with its number, and nothing that limited nothing."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.context.limits import HELPS, _needs, limits
from kit.pages.next_quarter_tables import limits_table
from kit.statements.next_quarter import limited
from kit.study import Study, read_study
from kit.warned import answers_of, warned
from kit.words import FORBIDDEN

INVENTED = Path(__file__).parents[1] / "data" / "synthetic"


@pytest.fixture(scope="module")
def whole() -> Study:
    return read_study(INVENTED / "lifelike")


@pytest.fixture(scope="module")
def home(whole) -> Study:
    return whole.at("Brindlemere")


def test_the_most_stands_first_and_warnings_last(whole):
    told = limits(whole)
    shares = told["lost"].dropna()
    assert shares.is_monotonic_decreasing and (shares > 0).all()
    assert told["lost"].isna().to_numpy().tolist() == sorted(told["lost"].isna())


def test_those_beside_are_worth_less_than_they_are(whole):
    row, told = answers_of(whole).told.iloc[0], limits(whole).set_index("unknown")
    lost = 1 - row["effective_residents"] / row["others_residents"]
    assert told.loc["unlike", "lost"] == pytest.approx(lost, rel=1e-9)
    assert (
        f"{row['others_residents']} residents, and worth {row['effective_residents']:.0f}" in told.loc["unlike", "says"]
    )


def test_a_need_that_is_not_met_says_how_much_is_lacking(home):
    told = limits(home).set_index("unknown")
    assert told.loc["starters", "says"] == "Wounds that started: 5 of the 15 needed."
    assert told.loc["starters", "lost"] == pytest.approx(2 / 3)


def test_too_few_to_compare_make_no_claim_of_departures(home):
    assert not answers_of(home).told["is_told"].iloc[0]
    assert "departures" not in set(limits(home)["unknown"])


def test_elements_that_no_session_says_are_named(whole):
    bare = replace(whole, sessions=whole.sessions.assign(pulse_rate=np.nan, duty=np.nan))
    told = limits(bare).set_index("unknown")
    assert "pulse rate" in told.loc["unrecorded", "says"] and 0 < told.loc["unrecorded", "lost"] < 1
    assert "unrecorded" not in set(limits(whole)["unknown"])


def test_the_first_three_are_said_with_what_helps(whole):
    told = limits(whole)
    said = limited(told)
    assert len(said) == 3
    assert all(words.endswith(helps) for words, helps in zip(said, told["helps"], strict=False))


def test_where_nothing_limited_that_is_said():
    nothing = pd.DataFrame(columns=["unknown", "says", "lost", "helps"])
    assert limited(nothing) == ["Nothing that is asked here limited this quarter."]


def test_no_word_claims_and_none_advises_for_a_person(whole, home):
    words = " ".join([*HELPS.values(), *limits(whole)["says"], *limits(home)["says"]]).lower().split()
    assert not set(FORBIDDEN) & set(words)


def test_the_table_has_a_row_for_each(whole):
    told = limits(whole)
    assert len(limits_table(told)) == len(told)
    assert set(limits_table(told).loc[told["lost"].isna(), "Took away"]) == {"warning"}


def test_a_need_that_is_nearly_met_is_not_said_to_be_met(home):
    answers = answers_of(home)
    nearly = answers.needs.assign(found=14.7, needed=15.0, met=False)
    said = [row[1] for row in _needs(replace(answers, needs=nearly))]
    assert said and all("14 of the 15 needed" in words for words in said)


def test_what_is_measured_and_fires_too_stands_once(whole):
    quiet = whole.measurements["source_row"] % 2 == 0
    gaps = replace(whole, measurements=whole.measurements[quiet].reset_index(drop=True))
    told = limits(gaps)
    fired = warned(gaps).set_index("warning").loc["unmeasured"]
    assert fired["fires"]
    assert told["says"].tolist().count(fired["says"]) == 1 and told["says"].is_unique
