"""What is said, tabled and drawn of the next quarter: numbers of the frames, no claim, no advice for a person."""

import math
import re
from pathlib import Path

import pandas as pd
import pytest

from kit.context.could_have_seen import could_have_seen, pace_of, when_seen
from kit.context.limits import limits
from kit.context.refining import refined
from kit.context.staggered import schedule, staggered
from kit.pages import next_quarter_tables as tables
from kit.pages.display import png, table_html
from kit.pages.next_quarter_figures import could_figure, staggered_figure
from kit.statements import next_quarter as said
from kit.statements.refining import elements_said
from kit.study import read_study
from kit.warned import answers_of
from kit.words import FORBIDDEN

INVENTED = Path(__file__).parents[1] / "data" / "synthetic" / "lifelike"


@pytest.fixture(scope="module")
def whole():
    return read_study(INVENTED)


@pytest.fixture(scope="module")
def home(whole):
    return whole.at("Brindlemere")  # five started: too few for a spread


def sentences(study) -> list[str]:
    answers, plan = answers_of(study), study.plan
    told = [*said.seen(could_have_seen(answers)), *said.when(when_seen(answers), pace_of(answers), plan)]
    told += [said.second_opinion(answers), *said.staggered_said(staggered(answers, plan)), said.lot()]
    told += [*said.limited(limits(study)), *elements_said(refined(study), plan), said.NOT_OBSERVED]
    return [words for words in told if words]


@pytest.mark.parametrize("name", ["whole", "home"])
def test_no_sentence_claims_and_none_is_broken(name, request):
    for words in sentences(request.getfixturevalue(name)):
        found = [word for word in FORBIDDEN if re.search(rf"\b{word}\b", words.lower())]
        assert not found, words
        assert words.endswith(".") and not re.search(r"\bnan\b|<NA>|\binf\b|  |\.\.", words), words


def test_the_smallest_difference_is_rounded_up_and_never_down(whole):
    row = could_have_seen(answers_of(whole)).iloc[0]
    assert said.seen(could_have_seen(answers_of(whole)))[0].startswith(
        f"A difference of {math.ceil(row['smallest'])} of 100 wounds closed by week {row['horizon_weeks']}"
    )


def test_too_few_starts_say_so_and_name_no_difference(home):
    assert all(
        "cannot be told: fewer than 10 wounds started" in words
        for words in said.seen(could_have_seen(answers_of(home)))
    )


def test_the_date_at_this_pace_stands_with_its_range(whole):
    told = when_seen(answers_of(whole))
    row = told[(told["points"] == 10) & (told["measure"] == "closed")].iloc[0]
    words = said.when(told, pace_of(answers_of(whole)), whole.plan)[1]
    assert f"about {row['starters_needed']:.0f} starts" in words
    assert f"range {row['quarters_low']:.0f} to {row['quarters_high']:.0f}" in words


def test_a_staggered_start_of_one_unit_is_refused(home):
    [words] = said.staggered_said(staggered(answers_of(home), home.plan))
    assert (
        words
        == "A staggered start cannot be reckoned: one unit alone cannot start before another: name wings or halls."
    )


def test_few_units_are_said_to_be_too_hopeful(whole):
    answers = answers_of(whole)
    hopeful = "So few units differ by chance more than this reckoning says."
    assert hopeful in said.staggered_said(staggered(answers, whole.plan))[0]
    assert hopeful not in said.staggered_said(staggered(answers, whole.plan, units=9))[0]


def frames(study) -> dict[str, pd.DataFrame]:
    answers, plan = answers_of(study), study.plan
    return {
        "could": tables.could_table(could_have_seen(answers)),
        "when": tables.when_table(when_seen(answers), plan),
        "staggered": tables.staggered_table(staggered(answers, plan)),
        "schedule": tables.schedule_table(schedule(study.facilities, plan.cutoff), plan),
        "limits": tables.limits_table(limits(study)),
        "elements": tables.elements_table(refined(study)),
    }


@pytest.mark.parametrize("name", ["whole", "home"])
def test_tables_hold_words_and_no_hole(name, request):
    for title, table in frames(request.getfixturevalue(name)).items():
        told = " ".join(table.astype(str).to_numpy().ravel())
        assert len(table) and not re.search(r"\bnan\b|<NA>|\binf\b", told), title
        assert "<table" in table_html(table)


def test_figures_are_drawn_where_there_is_something_to_draw(whole, home):
    answers = answers_of(whole)
    assert len(png(could_figure(could_have_seen(answers), pace_of(answers)))) > 10_000
    assert could_figure(could_have_seen(answers_of(home)), pace_of(answers_of(home))) is None
    assert len(png(staggered_figure(schedule(whole.facilities, whole.plan.cutoff), whole.plan))) > 5_000


def test_a_unit_named_with_dollars_is_drawn_as_it_is_named():
    order = schedule(("Hall $x_1$", "Hall {b}"), None)
    plan = read_study(INVENTED).plan
    figure = staggered_figure(order, plan)
    assert sorted(tick.get_text().replace("\\$", "$") for tick in figure.axes[0].get_yticklabels()) == sorted(
        order["unit"]
    )
    assert len(png(figure)) > 5_000
