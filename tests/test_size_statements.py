"""What is said of sizes: every branch, the numbers of its frame and no other, and no more than the frame can carry."""

import re
from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from kit.followed import standing_of as standing_in_study
from kit.healing.answers import NEEDS
from kit.healing.comparison import EARLY, FOLLOWED
from kit.healing.comparison import NONE as NOTHING
from kit.plan import Plan
from kit.statements import sizes
from kit.statements.comparing import compared, level_of
from kit.trajectories.slopes import ALL, ANY, BEFORE, CHANGE, Slopes
from kit.trajectories.standing import COLUMNS, EXPECTED, FAST, NOT_TOLD, SLOW, TOO_FEW, UNCLEAR
from kit.words import FORBIDDEN
from tests.drawn import PLAN as TEXT
from tests.drawn import drawn
from tests.told import answers_of, between, row_of

NAN, NEVER = float("nan"), float("inf")
ONE_SIZE = "wound day length width state\nW1 120 4 3 open\n"
PLAN = drawn(ONE_SIZE).plan
UNFRESH = "fewer than two sizes in the last 14 days"
WHY = r"\b(because|due to|thanks|owing|as a result|leads? to|led to|helps?|works?|improves?|heals)\b"
BESIDE_EACH_OTHER = r"\b(than|faster|sooner|slower|quicker|better|worse|more|fewer|less|versus|difference)\b"
# Numbers that no count of a row resembles: were one of them said, it would be seen.
LOUD = {
    "early_treated": 0.77, "early_beside": 0.66, "early_difference": 0.91, "early_low": 0.88, "early_high": 0.99,
    "reduction_treated": 74.0, "reduction_beside": 63.0, "reduction_difference": 92.0, "reduction_low": 87.0,
    "reduction_high": 98.0,
}  # fmt: skip


def plan_of(**tables):
    """The plan with some numbers of its tables changed."""
    given = PLAN.model_dump()
    for name, changed in tables.items():
        given[name] |= changed
    return Plan.model_validate(given)


DATED = plan_of(windows={"quarter_begins": date(2026, 4, 1), "cutoff": date(2026, 6, 30)})
SAFE_HARBOR = TEXT.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")
UNDATED = drawn(ONE_SIZE, plan=SAFE_HARBOR).plan


def numbers(said):
    """Every whole number of a sentence in its order, with its sign."""
    return [int(number.replace("−", "-")) for number in re.findall(r"−?\d+", said)]


# --- frames by hand ---


def pace_of(*rows):
    """Paces of (regimen, stage_group, wounds, residents, amount, low, high)."""
    columns = ["regimen", "stage_group", "wounds", "residents", "amount", "low", "high"]
    return pd.DataFrame(rows, columns=columns).assign(error=1.0)


def change_of(*rows):
    """Changes of (regimen, wounds, residents, before, after, low, high, agrees): after less before."""
    made = [
        (name, wounds, residents, before, after, after - before, low, high, 1.0, after - before, agrees)
        for name, wounds, residents, before, after, low, high, agrees in rows
    ]
    return pd.DataFrame(made, columns=list(CHANGE))


def slopes_of(pace=None, change=None, left=(), lost=0, singular=False, converged=True):
    """Slopes of which two frames are given, and what `left_out` reads: (reason, measurements), and draws not fitted."""
    empty, drawn_again = pd.DataFrame(), np.ones((1000, 2))
    drawn_again[:lost] = NAN
    return Slopes(
        pace=pace_of() if pace is None else pace, change=change_of() if change is None else change,
        ahead=empty, ways=empty, draws=1000, seed=1,
        courses=SimpleNamespace(left_out=pd.DataFrame(list(left), columns=["reason", "measurements"])),
        log=SimpleNamespace(drawn=drawn_again, fit=SimpleNamespace(singular=singular, converged=converged)),
    )  # fmt: skip


def open_wound(number, stands=EXPECTED, own=8.0, why="", **given):
    """A row of `standing`: 8 percent smaller a week (5 to 11) where 7 were expected, unless it is not told."""
    told = {"own": own, "own_low": own - 3, "own_high": own + 3, "expected": 7.0, "wrong": 0.2}
    row = {
        "wound": f"W{number}", "resident": f"R{number}", "facility": "Quellmoor", "size": 4.0, "size_day": 190,
        "weeks_seen": 6.0, "stands": stands, "why": why,
    }  # fmt: skip
    return row | (told if stands != NOT_TOLD else dict.fromkeys(told, NAN)) | given


def standing_of(*rows):
    return pd.DataFrame(rows, columns=list(COLUMNS))


EVERY_KIND = standing_of(
    open_wound(1, SLOW, own=1.0),
    open_wound(2, NOT_TOLD, why=UNFRESH),
    open_wound(3),
    open_wound(4, FAST, own=15.0),
    open_wound(5, UNCLEAR, own=4.0),
    open_wound(6, SLOW, own=-2.0),
)


def forecasts_of(closing=(7, 9), staying=(30, 40), week=(6, 8), areas=5, ahead=4):
    """Forecasts: so many right, of so many foretold; a second row that no sentence is about."""
    columns = [
        "areas", "weeks_ahead", "closed_as_predicted", "predicted_closed", "open_as_predicted", "predicted_open",
        "within_two_weeks", "closed_later",
    ]  # fmt: skip
    rows = [(areas, ahead, *closing, *staying, *week), (areas, 8, 91, 92, 93, 94, 95, 96)]
    return pd.DataFrame(rows, columns=columns)


# --- the early response ---


def said_of(given, plan=PLAN, **found):
    [(said, level)] = sizes.early_responses(answers_of(given, **found), plan).itertuples(index=False, name=None)
    return said, level


def test_an_early_response_is_said_like_this():
    assert said_of(row_of(starters=30)) == (
        "Of 100 wounds like the 30 that started any modality, 45 had closed or were at least 40% smaller by week 4; of "
        "100 like them without any modality 33 would be expected to: 12 more (range 2 more to 22 more). It rests on 30 "
        "wounds on 26 residents beside 120 wounds on 83 residents. This is consistent with sooner closing or shrinking "
        "after any modality. The median reduction by then was 42%, beside 31%: 11 points more (range 3 more to 19 "
        "more); closed counts as 100%.",
        "consistent with",
    )


def test_an_early_response_of_two_regimens_is_said_like_this():
    said, level = said_of(row_of("monopolar", "ultrasound", starters=50))
    assert said.startswith(
        "Of 100 wounds that could have had either, 45 had closed or were at least 40% smaller by week 4 after "
        "monopolar and 33 after ultrasound: 12 more (range 2 more to 22 more)."
    )
    assert said.endswith(
        " These records support sooner closing or shrinking after monopolar than after ultrasound. The median "
        "reduction by then was 42%, beside 31%: 11 points more (range 3 more to 19 more); closed counts as 100%."
    )
    assert level == "supports"


def test_the_numbers_of_the_median_are_the_rounded_numbers_of_its_row():
    given = row_of(
        reduction_treated=52.6, reduction_beside=-12.4, reduction_difference=65.0, reduction_low=-4.51,
        reduction_high=99.7,
    )  # fmt: skip
    said = said_of(given)[0].partition("The median reduction")[2]
    assert numbers(said) == [53, -12, 65, 5, 100, 100]  # the last 100 is what closed counts as
    assert "65 points more (range 5 less to 100 more)" in said


def test_an_early_response_goes_as_far_as_its_own_limits_and_not_as_those_of_closing():
    given = row_of(starters=50, closed_low=0.1, early_low=-0.1)
    assert said_of(given)[1] == level_of(given, EARLY) == "describes"
    assert level_of(given, "closed") == "supports"


def test_week_and_percent_are_those_of_the_plan():
    plan = plan_of(comparison={"early_weeks": 3, "early_percent": 30})
    assert "at least 30% smaller by week 3;" in said_of(row_of(), plan)[0]
    assert said_of(row_of(early_residents=0), plan)[0].endswith(" at week 3.")


@pytest.mark.parametrize("lacking", list(NEEDS))
def test_an_early_response_that_is_refused_names_what_is_missing_and_no_estimate(lacking):
    given = row_of("monopolar", told=False, **LOUD)
    said, level = said_of(given, **{lacking: 2.5})
    assert level == "cannot say"
    assert re.fullmatch(
        rf"Monopolar beside no modality is not compared. What is missing: {NEEDS[lacking]}, 2 of the \d+ needed\.", said
    )
    assert len(numbers(said)) == 2
    assert said == compared(given, answers_of(given, **{lacking: 2.5}), PLAN, EARLY)


@pytest.mark.parametrize(("residents", "told"), [(0, False), (FOLLOWED - 1, False), (FOLLOWED, True), (60, True)])
def test_an_early_response_that_few_were_measured_for_is_not_told(residents, told):
    given = row_of("monopolar", starters=50, early_residents=residents, **LOUD)
    said, level = said_of(given)
    if told:
        assert (said.count(" 77 "), level) == (1, level_of(given, EARLY))
    else:
        assert (said, level) == (
            "Monopolar beside no modality: the early response is not told; fewer than 5 residents on a side had a "
            "size, or a closed wound, at week 4.",
            "cannot say",
        )


def test_where_only_the_closed_ones_of_a_side_are_known_no_early_response_is_told():
    """Closed wounds are people enough, and say nothing of how much smaller the open ones were."""
    unknown = {f"early_{part}": NAN for part in ("treated", "difference", "low", "high", "error")}
    assert said_of(row_of(early_residents=FOLLOWED, **unknown)) == (
        "Any modality beside no modality: the early response is not told; of those still open on a side nobody had a "
        "size at week 4.",
        "cannot say",
    )


@pytest.mark.parametrize("missing", [{"reduction_treated": NAN}, {"reduction_beside": NAN}, {"reduction_beside": None}])
def test_where_a_median_is_missing_the_share_is_told_and_no_median(missing):
    said, level = said_of(row_of(reduction_difference=NAN, reduction_low=NAN, reduction_high=NAN, **missing))
    assert said.startswith("Of 100 wounds like the 30 that started any modality, 45 had closed")
    assert said.endswith(
        " The median reduction cannot be told: half of a side were gone, or had more than doubled in size."
    )
    assert "42" not in said and "31" not in said
    assert level == "consistent with"


@pytest.mark.parametrize("limits", [{"low": -NEVER}, {"high": NEVER}, {"low": -NEVER, "high": NEVER}, {"low": NAN}])
def test_a_range_that_never_ends_is_not_said(limits):
    said, _ = said_of(row_of(**{f"reduction_{name}": limit for name, limit in limits.items()}))
    assert said.endswith(" was 42%, beside 31%: 11 points more (no range can be told); closed counts as 100%.")
    assert "inf" not in said and "nan" not in said


def test_a_side_that_grew_has_a_median_below_none():
    given = row_of(
        reduction_treated=-20.0, reduction_beside=11.0, reduction_difference=-31.0, reduction_low=-40.0,
        reduction_high=2.0,
    )  # fmt: skip  # -20 - 11 = -31
    assert " was −20%, beside 11%: 31 points less (range 40 less to 2 more);" in said_of(given)[0]


@pytest.mark.parametrize("difference", [0.0, 0.4, -0.4])
def test_medians_that_do_not_differ_after_rounding_differ_by_none(difference):
    given = row_of(reduction_difference=difference, reduction_low=-0.4, reduction_high=5.0)
    assert ": none (range none to 5 more); closed" in said_of(given)[0]


def test_early_responses_are_said_in_the_order_of_their_rows_each_at_its_level():
    few = row_of("monopolar", early_residents=2)
    rows = row_of(starters=45), few, row_of("ultrasound", told=False), row_of("monopolar", "ultrasound", starters=15)
    told = sizes.early_responses(answers_of(*rows, starters=4.0), PLAN)
    assert list(told.columns) == ["sentence", "level"]
    assert told["level"].tolist() == ["supports", "cannot say", "cannot say", "describes"]
    begins = ["Of 100 wounds like the 45", "Monopolar beside no modality: ", "Ultrasound beside no modality is not",
              "Of 100 wounds that could have had either"]  # fmt: skip
    assert [said.startswith(begin) for said, begin in zip(told["sentence"], begins, strict=True)] == [True] * 4


# --- paces ---

PACES = pace_of(
    (BEFORE, ALL, 60, 41, 7.4, 5.5, 9.49),
    (BEFORE, "stage 4", 20, 15, 2.0, 1.0, 3.0),
    ("monopolar", ALL, 1, 1, -2.6, -4.4, -0.4),
)


def test_the_pace_of_each_regimen_is_said_over_all_stages():
    assert sizes.paces(slopes_of(PACES)) == [
        "Before any modality, open wounds became 7% smaller a week (range 6 to 9% smaller; 60 wounds on 41 residents).",
        # what is smaller by less than nought has grown: by 3, 4 and less than a half
        "After starting monopolar, open wounds grew by 3% a week (range −4 to 0% smaller; 1 wound on 1 resident).",
    ]


@pytest.mark.parametrize(
    ("amount", "said"), [(0.4, "became 0% smaller"), (-0.4, "became 0% smaller"), (-0.6, "grew by 1%")]
)
def test_what_is_none_after_rounding_has_not_grown(amount, said):
    [told] = sizes.paces(slopes_of(pace_of((BEFORE, ALL, 60, 41, amount, -2.0, 2.0))))
    assert told.startswith(f"Before any modality, open wounds {said} a week (range −2 to 2% smaller;")


def test_the_numbers_of_a_pace_are_the_rounded_numbers_of_its_row():
    for said, row in zip(sizes.paces(slopes_of(PACES)), PACES.iloc[[0, 2]].itertuples(), strict=True):
        expected = [abs(round(row.amount)), round(row.low), round(row.high), row.wounds, row.residents]
        assert numbers(said) == expected  # of what grew the verb has the sign


def test_without_slopes_or_without_a_group_large_enough_no_pace_is_said():
    assert sizes.paces(None) == [sizes.TOO_FEW]
    assert sizes.paces(slopes_of()) == [sizes.TOO_FEW]
    assert sizes.paces(slopes_of(PACES.iloc[[1]])) == [sizes.TOO_FEW]


# --- the slope before and after ---

AGREED = change_of((ANY, 33, 28, 4.4, 7.6, -1.0, 5.6, True), ("monopolar", 11, 10, 91.0, 93.0, 87.0, 99.0, True))


def test_a_change_that_both_ways_of_reckoning_tell_is_said_like_this():
    assert sizes.slope_change(slopes_of(change=AGREED)) == (
        "The same 33 wounds became 4% smaller a week before the start and became 8% smaller after it: 3 points faster "
        "(range 1 slower to 6 faster)."
    )  # 7.6 - 4.4 = 3.2


def test_wounds_that_grew_before_the_start_are_said_to_have_grown():
    grown = change_of((ANY, 20, 18, -3.4, 4.8, 5.0, 11.4, True))  # 4.8 + 3.4 = 8.2
    assert "grew by 3% a week before the start and became 5% smaller after it: 8 points faster" in sizes.slope_change(
        slopes_of(change=grown)
    )


def test_what_before_and_after_cannot_carry_is_said_with_no_number():
    assert "no comparison" in sizes.BEFORE_AND_AFTER and numbers(sizes.BEFORE_AND_AFTER) == []


def test_a_change_to_slower_and_one_that_is_none_are_said_so():
    slower = change_of((ANY, 20, 18, 6.0, 3.6, -4.0, -1.0, True))  # 3.6 - 6 = -2.4
    assert "and became 4% smaller after it: 2 points slower (range 4 slower to 1 slower)." in sizes.slope_change(
        slopes_of(change=slower)
    )
    still = change_of((ANY, 20, 18, 6.0, 6.3, -1.0, 2.0, True))
    assert "and became 6% smaller after it: none (range 1 slower to 2 faster)." in sizes.slope_change(
        slopes_of(change=still)
    )


def test_a_change_that_the_ways_of_reckoning_do_not_share_is_not_told_with_any_number():
    apart = AGREED.assign(agrees=[False, True])
    said = sizes.slope_change(slopes_of(change=apart))
    assert said.startswith("Whether the pace of the same wounds changed after the start is not told: ")
    assert numbers(said) == []
    assert not re.search(BESIDE_EACH_OTHER, said)


@pytest.mark.parametrize("slopes", [None, slopes_of(), slopes_of(PACES, AGREED.iloc[[1]])])
def test_without_slopes_or_without_a_regimen_no_change_is_said(slopes):
    assert sizes.slope_change(slopes) == (
        "Too few wounds were measured after a start to say whether their pace changed."
    )


# --- what the models do not hold ---


def test_what_the_models_do_not_hold_is_counted_by_reason():
    left = ("already treated when first measured", 12), ("after something else", 0), ("after another", 1)
    assert sizes.left_out(slopes_of(left=left)) == [
        "Not in the models: 12 sizes, already treated when first measured.",
        "Not in the models: 1 size, after another.",
    ]


def test_where_nothing_was_left_out_and_all_could_be_fitted_nothing_is_said():
    assert sizes.left_out(slopes_of()) == sizes.left_out(None) == []


def test_differences_that_came_out_as_none_are_said_so():
    assert sizes.left_out(slopes_of(singular=True)) == [
        "Some of the differences between wounds, or between people, came out as none: too few tell them."
    ]


@pytest.mark.parametrize(("lost", "converged", "told"), [(3, True, 3), (0, False, 1), (3, False, 4)])
def test_tries_that_could_not_be_fitted_are_counted_among_the_draws_and_the_model_itself(lost, converged, told):
    assert sizes.left_out(slopes_of(lost=lost, converged=converged)) == [
        f"The model could not be fitted in {told} of 1001 tries; its ranges are of the others."  # 1000 draws and 1
    ]


# --- where open wounds stand ---


def test_where_no_open_wound_can_be_followed_it_is_said_so():
    assert sizes.standings(standing_of(), PLAN) == "No open wound of the cohort has a size."


def test_a_wound_that_stands_open_and_was_never_sized_is_not_said_to_be_closed():
    unsized = drawn("wound day state\nW1 190 open\nW1 195 open\n")
    assert unsized.episodes["outcome"].tolist() == ["open"]
    assert sizes.standings(standing_in_study(unsized), unsized.plan) == "No open wound of the cohort has a size."


def test_open_wounds_are_counted_by_how_they_stand():
    assert sizes.standings(EVERY_KIND, DATED) == (
        "Of 6 open wounds with a size, beside the course expected of wounds like them in the whole export: 2 slow, 1 "
        "as expected, 1 fast, 1 not clear yet, 1 not told. Two sizes in the last 14 days are needed: 1 had none or "
        "one. Wounds that are still open are mostly the slow ones: those that were fast have closed."
    )  # 2 + 1 + 1 + 1 + 1 = 6


def test_without_a_calendar_wounds_are_those_that_were_open_when_last_seen():
    one, several = (sizes.standings(rows, UNDATED) for rows in (standing_of(open_wound(1, FAST)), EVERY_KIND))
    assert re.match(r"Of 1 wound open when last seen with a size\b", one)
    assert re.match(r"Of 6 wounds open when last seen with a size\b", several)


def test_of_what_nobody_stands_at_nothing_is_said():
    assert sizes.standings(standing_of(open_wound(1, FAST)), DATED) == (
        "Of 1 open wound with a size, beside the course expected of wounds like them in the whole export: 1 fast. "
        "Wounds that are still open are mostly the slow ones: those that were fast have closed."
    )


def test_where_none_has_fresh_sizes_the_days_that_count_are_twice_those_of_the_plan():
    none_told = standing_of(*(open_wound(number, NOT_TOLD, why=UNFRESH) for number in range(3)))
    said = sizes.standings(none_told, plan_of(sizes={"fresh_days": 10}))
    assert " like them in the whole export: 3 not told. " in said
    assert "Two sizes in the last 20 days are needed: 3 had none or one." in said  # 2 x 10


def test_where_there_are_too_few_courses_that_is_the_reason():
    rows = open_wound(1, NOT_TOLD, why=TOO_FEW), open_wound(2, NOT_TOLD, why=UNFRESH)
    assert sizes.standings(standing_of(*rows), DATED) == (
        "Of 2 open wounds with a size, beside the course expected of wounds like them in the whole export: 2 not told. "
        "Too few people's wounds were measured often enough to say what is expected of them."
    )


# --- forecasts ---


def test_forecasts_are_told_by_how_many_came_out():
    assert sizes.foretold(forecasts_of()) == (
        "From the first 5 weekly sizes of a wound, of 9 foretold to close within 4 weeks 7 did, and of 40 foretold to "
        "stay open 30 did. Of those that closed later the week was foretold to within two in 75% (6 of 8)."
    )  # 6 / 8 = 0.75
    said = sizes.foretold(forecasts_of(areas=6, ahead=8))
    assert said.startswith("From the first 6 weekly sizes of a wound, of 9 foretold to close within 8 weeks 7 did,")


def test_what_was_foretold_of_nobody_came_out_for_nobody():
    assert numbers(sizes.foretold(forecasts_of(closing=(0, 0)))) == [5, 0, 4, 0, 40, 30, 75, 6, 8]
    assert numbers(sizes.foretold(forecasts_of(staying=(0, 0)))) == [5, 9, 4, 7, 0, 0, 75, 6, 8]
    assert "of 9 foretold to close within 4 weeks 0 did," in sizes.foretold(forecasts_of(closing=(0, 9)))


def test_where_nobody_closed_later_nothing_is_said_of_the_week():
    assert sizes.foretold(forecasts_of(week=(0, 0))).endswith(" and of 40 foretold to stay open 30 did.")
    assert sizes.foretold(forecasts_of(week=(0, 8))).endswith(" was foretold to within two in 0% (0 of 8).")


def test_where_nothing_could_be_foretold_it_is_said_so():
    assert sizes.foretold(forecasts_of((0, 0), (0, 0))) == (
        "No wound was measured in five weeks and followed for long enough to try a forecast."
    )


# --- what is never said ---


def described():
    """A sentence of every branch that describes."""
    short = standing_of(open_wound(1, NOT_TOLD, why=TOO_FEW))
    told = [*sizes.paces(None), *sizes.paces(slopes_of(PACES)), sizes.STILL_OPEN, sizes.slope_change(None)]
    told += [sizes.slope_change(slopes_of(change=AGREED.assign(agrees=False)))]
    told += [sizes.standings(one, plan) for one in (standing_of(), EVERY_KIND, short) for plan in (DATED, UNDATED)]
    told += [sizes.BEFORE_AND_AFTER, *sizes.left_out(slopes_of(left=[("already treated", 3)], lost=2, singular=True))]
    return told + [sizes.foretold(forecasts_of(*each)) for each in (((0, 0), (0, 0)), ((0, 0), (3, 4)), ((1, 2),))]


def comparing():
    """A sentence of every branch that sets one thing beside another."""
    rows = [
        between(-0.2, 0.2, starters=starters, treated=ANY, beside=beside, **given)
        for starters in (15, 30, 50)
        for beside in (NOTHING, "ultrasound")
        for given in (
            {},
            {"early_residents": 1},
            {"early_difference": NAN},
            {"reduction_treated": NAN},
            {"reduction_low": -NEVER},
            {"early_low": -0.3, "early_high": -0.1, "early_difference": -0.2},
            {"told": False},
        )
    ]
    lacking = dict.fromkeys(NEEDS, 1.0)
    told = sizes.early_responses(answers_of(*rows, **lacking), PLAN)["sentence"].tolist()
    return [*told, sizes.slope_change(slopes_of(change=AGREED)), sizes.OTHER_WOUNDS]


@pytest.mark.parametrize("said", [*described(), *comparing()])
def test_no_sentence_uses_a_forbidden_word_or_says_why_and_each_ends_as_one(said):
    assert [word for word in FORBIDDEN if re.search(rf"\b{re.escape(word)}\b", said.lower())] == []
    assert not re.search(WHY, said.lower())
    assert re.fullmatch(r"[A-Z].*\.", said) and not re.search(r"\b(nan|inf|none type)\b|–", said.lower())


def test_what_describes_never_compares():
    assert [said for said in described() if re.search(BESIDE_EACH_OTHER, said.lower())] == []


def test_whichever_way_an_early_response_points_it_goes_as_far():
    for starters in (15, 30, 50):
        levels = {
            said_of(row_of(starters=starters, early_difference=way * 0.2, early_low=low, early_high=high))[1]
            for way, low, high in ((1, 0.1, 0.3), (-1, -0.3, -0.1))
        }
        assert len(levels) == 1, starters


def test_nothing_given_is_changed():
    kept = EVERY_KIND.copy(), AGREED.copy(), PACES.copy()
    sizes.standings(EVERY_KIND, PLAN)
    sizes.paces(slopes_of(PACES, AGREED))
    sizes.slope_change(slopes_of(PACES, AGREED))
    for now, before in zip((EVERY_KIND, AGREED, PACES), kept, strict=True):
        pd.testing.assert_frame_equal(now, before)
