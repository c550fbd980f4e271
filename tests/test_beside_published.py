"""The program beside published studies: which may stand there, what sets them apart, and what is said of it."""

import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from kit.context.after_start import ALL_PRESSURE, COUNTS, NUMBERS, STAGE_2, STAGES_3_4
from kit.context.beside_published import AGE, COLUMNS, DAYS, MINUTES, REVIEWED, STAGES, beside_published
from kit.context.not_comparable import A_WEEK, CLOSED, REDUCTION
from kit.context.program import Program, program_of
from kit.context.published_trials import TRIALS, reviews, trials
from kit.context.same_horizon import arms, at_week, stages_in
from kit.pages.beside_published_figures import beside_figure
from kit.pages.beside_published_tables import beside_table, case_mix_table, started_table
from kit.statements.beside_published import DESCRIBED, NO_OTHER_KIND, at_like_wounds, headline, where_it_stands
from kit.words import FORBIDDEN
from tests.drawn import TWO_HOUSES, drawn

EXACT = 1e-9
NAN = float("nan")
NO_REVIEWS = reviews().head(0)


# --- a program and studies by hand ---


def started_row(group=ALL_PRESSURE, week=6, modality="stimulation", **numbers):
    """Twenty wounds on eighteen residents, 30 of 100 closed and 45% smaller on average, all of them in view."""
    told = dict.fromkeys(COUNTS, 0) | dict.fromkeys(NUMBERS, NAN)
    told |= {"wounds": 20, "residents": 18, "in_view": 20, "closed_share": 0.3, "closed_low": 0.15, "closed_high": 0.5}
    told |= {"mean_reduction": 45.0, "mean_reduction_low": 30.0, "mean_reduction_high": 60.0, "size_at_start": 6.0}
    told |= {"mean_reduction_with_deaths": 40.0, "median_reduction": 50.0, "percent_a_week": 45 / week}
    told |= {"a_week_low": 30 / week, "a_week_high": 60 / week, "not_computed": "", "sizes_not_computed": ""}
    return {"modality": modality, "stage_group": group, "horizon_weeks": week} | told | numbers


def program(*rows, minutes=250.0, days=5.0, ruler=0.0, age=80.0):
    """The rows, with empty stage groups and the other weeks beside, and a dose that is the studies' own."""
    asked = list(rows) or [started_row()]
    present = {(row["modality"], row["stage_group"], row["horizon_weeks"]) for row in asked}
    asked += [
        started_row(group, week, modality, wounds=0, residents=0, in_view=0)
        for modality in ("stimulation", "ultrasound")
        for group in (ALL_PRESSURE, STAGE_2, STAGES_3_4)
        for week in (4, 6, 8, 12)
        if (modality, group, week) not in present
    ]
    dose = {"wounds": 20, "treated_weeks": 100, "minutes_a_week": minutes, "minutes_low": 200.0, "minutes_high": 260.0}
    dose |= {"days_a_week": days, "days_low": 4.0, "days_high": 5.0}
    people = {"residents": 18, "known": 18 if age == age else 0, "age": age, "age_low": 75.0, "age_high": 88.0}
    both = ("stimulation", "ultrasound")
    return Program(
        pd.DataFrame(asked),
        pd.DataFrame([{"modality": modality} | dose for modality in both]),
        pd.DataFrame([{"modality": modality, "ruler": ruler} | people for modality in both]),
    )


def arm(trial="Alder 2001", arm="treated", **cells):
    """A treated arm of 20 people after six weeks of 50 minutes on five days: 80% smaller on average, 8 of 20 closed."""
    told = dict.fromkeys(TRIALS, "") | {"year": 2001, "modality": "stimulation", "kind": "pressure_injury"}
    told |= {"minutes": 50.0, "per_week": 5.0, "for_weeks": 6.0, "closed": 8, "closed_of": 20, "closed_weeks": 6.0}
    told |= {"reduction": 80.0, "reduction_spread": NAN, "reduction_of": 20, "reduction_weeks": 6.0, "group": trial}
    told |= {"people": 20, "wounds": pd.NA, "percent_a_week": NAN, "stages": "2 to 4", "seen": "verified"}
    return told | {"trial": trial, "arm": arm} | cells


def control(trial="Alder 2001", **cells):
    return arm(trial, "control", **({"reduction": 40.0, "closed": 4, "minutes": NAN, "per_week": NAN} | cells))


def listed(*rows):
    whole = dict.fromkeys(("closed", "closed_of", "reduction_of", "people", "wounds"), "Int64")
    parts = dict.fromkeys(("minutes", "per_week", "closed_weeks", "reduction", "reduction_weeks"), "float64")
    return pd.DataFrame(rows, columns=list(TRIALS)).astype(whole | parts)


def found(rows, measure=REDUCTION, week=6, group=ALL_PRESSURE, ours=None, modality="stimulation", **parts):
    told = beside_published(ours or program(**parts), listed(*rows), NO_REVIEWS)
    own = told[(told["modality"] == modality) & (told["stage_group"] == group) & (told["measure"] == measure)]
    return own[(own["horizon_weeks"] == week).fillna(False)].iloc[0]


# --- which studies may stand beside ---


def test_the_lowest_and_the_highest_with_studies_and_counted_and_nothing_pooled():
    rows = [arm(), control(), arm("Birch 2005", reduction=70.0, reduction_of=15), control("Birch 2005", reduction=50.0)]
    told = found(rows)
    assert told[["treated_studies", "treated_counted", "treated_low", "treated_high"]].tolist() == [2, 35, 70, 80]
    assert told[["control_studies", "control_counted", "control_low", "control_high"]].tolist() == [2, 40, 40, 50]
    assert told["studies"] == "Alder 2001, Birch 2005"
    assert not [name for name in COLUMNS if "difference" in name or "pooled" in name or "ratio" in name]


def test_closings_are_percent_of_those_counted():
    told = found([arm(), control()], measure=CLOSED)
    assert (told["treated_low"], told["control_low"]) == (40, 20)  # 8 of 20, 4 of 20
    assert told[["number", "low", "high"]].tolist() == pytest.approx([30, 15, 50])


def test_a_percent_a_week_is_the_reduction_over_the_weeks_on_both_sides():
    told = found([arm(), control()], measure=A_WEEK)
    assert told["treated_low"] == pytest.approx(80 / 6, abs=EXACT)
    assert told["number"] == pytest.approx(45 / 6, abs=EXACT)


@pytest.mark.parametrize(("weeks", "stands"), [(6.0, 1), (5.6, 1), (6.5, 1), (5.4, 0), (7.3, 0), (13.0, 0)])
def test_a_study_stands_only_at_its_own_week_to_the_nearest(weeks, stands):
    assert found([arm(reduction_weeks=weeks)])["treated_studies"] == stands


def test_where_no_study_has_the_week_that_is_said_and_no_neighbour_taken():
    told = found([arm(reduction_weeks=4.0), arm("Birch 2005", reduction_weeks=13.0)])
    assert (told["treated_studies"], told["not_alike"]) == (0, "no study at this week")
    assert told["not_comparable"] == "no study counts at week 6; those there are count at week 4, 13"
    assert np.isnan(told["treated_low"])


def test_where_no_study_is_listed_that_is_said():
    assert "no listed study of stimulation" in found([])["not_comparable"]


@pytest.mark.parametrize("kind", ["diabetic_foot", "venous", "several"])
def test_other_kinds_never_stand_beside_pressure_injuries(kind):
    assert found([arm(kind=kind), control(kind=kind)])["treated_studies"] == 0


def test_diabetic_feet_stand_beside_diabetic_feet():
    ours = program(started_row("diabetic_foot"))
    assert (
        found([arm(kind="diabetic_foot"), arm("Birch 2005")], group="diabetic_foot", ours=ours)["studies"]
        == "Alder 2001"
    )


@pytest.mark.parametrize(
    ("words", "held"),
    [("4", {"4"}), ("1 to 3", {"1", "2", "3"}), ("2 and others", set()), ("", set()), ("3 to 4", {"3", "4"})],
)
def test_the_stages_that_a_study_names(words, held):
    assert stages_in(words) == held


@pytest.mark.parametrize(("stages", "stands"), [("4", 1), ("3 to 4", 1), ("2 to 4", 0), ("", 0), ("2 and others", 0)])
def test_stages_3_and_4_stand_only_beside_studies_of_no_others(stages, stands):
    ours = program(started_row(STAGES_3_4))
    told = found([arm(stages=stages)], group=STAGES_3_4, ours=ours)
    assert told["treated_studies"] == stands
    assert (told["not_alike"] == "no study of these stages") == (not stands)


def test_a_control_beside_both_modalities_counts_for_each():
    rows = [arm(), arm("Alder 2001", "treated, ultrasound", modality="ultrasound"), control(modality="both")]
    assert [found(rows, modality=name)["control_studies"] for name in ("stimulation", "ultrasound")] == [1, 1]
    assert found(rows, modality="ultrasound")["treated_studies"] == 1


def test_what_another_source_reads_is_left_out_and_another_day_is_not():
    rows = [
        arm(),
        arm(reading="other source", reduction=10.0),
        arm(reading="week 4", reduction=35.0, reduction_weeks=4.0),
    ]
    assert found(rows)["treated_low"] == 80
    assert found(rows, week=4)["treated_low"] == 35


def test_the_published_table_by_hand():
    """Ultrasound at week 12: ter Riet 1996 alone, 18 of 45 beside 19 of 43; Franek 2012 and others at week 6."""
    told = beside_published(program(), trials(), reviews())
    own = told[(told["stage_group"] == ALL_PRESSURE) & (told["measure"] == CLOSED)].set_index(
        ["modality", "horizon_weeks"]
    )
    row = own.loc[("ultrasound", 12)]
    assert row[["treated_low", "control_high"]].tolist() == pytest.approx([100 * 18 / 45, 100 * 19 / 43])
    assert row["studies"] == "ter Riet 1996"
    eight = own.loc[("stimulation", 8)]  # Wood 1993, 25 of 43 and 1 of 31; Adunsky 2005, 5 of 35 and 3 of 28 on day 57
    assert eight[["treated_low", "treated_high"]].tolist() == pytest.approx([100 * 5 / 35, 100 * 25 / 43])
    assert eight[["control_low", "control_high"]].tolist() == pytest.approx([100 * 1 / 31, 100 * 3 / 28])
    assert own.loc[("stimulation", 12), "treated_studies"] == 0  # Houghton 2010 is of week 13


def test_the_published_arms_at_six_weeks_are_all_seen():
    at = at_week(arms(trials(), "stimulation", "pressure_injury", "treated", REDUCTION), 6)
    assert sorted(at["value"]) == [70.77, 76.19, 80.31, 82.34, 85.38, 88.9]


# --- what sets them apart, each seen and seen silent ---


def is_named(word, rows, **asked):
    return word in found(rows, **asked)["not_alike"].split(", ")


def test_stages_are_named_where_they_differ_or_are_not_known():
    mixed = program(started_row(), started_row(STAGE_2, wounds=5), started_row(STAGES_3_4, wounds=12))
    said = found([arm(stages="4"), arm("Birch 2005", stages="")], ours=mixed)["not_comparable"]
    assert "their stages were seen in 1 of 2 studies (Alder 2001 4)" in said
    assert "of ours 25% were stage 2 and 60% stage 3 or 4" in said  # 5 and 12 of 20
    assert "ours are not charted" in found([arm(stages="4")])["not_comparable"]
    ours = program(started_row(STAGES_3_4))
    assert not is_named("stages", [arm(stages="4")], group=STAGES_3_4, ours=ours)


@pytest.mark.parametrize(("minutes", "differs"), [(150.0, True), (250.0, False), (230.0, False), (400.0, True)])
def test_a_dose_beyond_a_tenth_of_theirs_is_named(minutes, differs):
    """50 minutes on five days are 250; 230 is within a tenth of it."""
    assert is_named("dose", [arm()], minutes=minutes) == differs


def test_a_dose_between_those_of_two_studies_is_theirs():
    rows = [arm(), arm("Birch 2005", minutes=20.0)]  # 250 and 100
    assert not is_named("dose", rows, minutes=150.0)


def test_days_stand_in_for_minutes_and_a_dose_that_is_not_known_is_said():
    assert is_named("dose", [arm(minutes=NAN)], days=3.0)
    assert not is_named("dose", [arm(minutes=NAN)], days=5.0)
    assert is_named("dose not known", [arm(minutes=NAN, per_week=NAN)])
    assert is_named("dose not known", [arm()], minutes=NAN, days=NAN)


def test_who_is_counted_is_named():
    assert is_named("ulcers counted", [arm(counted="wounds")]) and is_named("people counted", [arm(counted="people")])
    silent = found([arm()])["not_alike"]
    assert "counted" not in silent and "per protocol" not in silent


def test_a_review_of_those_who_kept_to_the_protocol_is_named():
    assert is_named("per protocol", [arm(doubt="a review analysed 19 (those who kept to the protocol)")])


def test_deaths_are_named_with_their_number_where_there_are_any():
    gone = program(started_row(died=2, hospital=1))
    told = found([arm()], ours=gone)
    assert "2 died, 1 in hospital and not back (with deaths as not smaller the mean is 40%)" in told["not_comparable"]
    assert "ours stay in: 2 died, 1 in hospital" in found([arm()], measure=CLOSED, ours=gone)["not_comparable"]
    assert not is_named("deaths", [arm()])


def test_a_ruler_is_named_for_sizes_and_not_for_closings():
    assert is_named("ruler", [arm()], ruler=0.8) and not is_named("ruler", [arm()], ruler=0.0)
    assert not is_named("ruler", [arm()], measure=CLOSED, ruler=0.8)
    assert "80% of our sizes" in found([arm()], ruler=0.8)["not_comparable"]


def test_people_with_spinal_cord_injury_are_named():
    assert is_named("spinal cord injury", [arm(setting="people with spinal cord injury")])
    assert not is_named("spinal cord injury", [arm(setting="nursing home")])


def test_the_size_at_the_start_is_told_where_it_was_seen():
    assert (
        "15.4 cm2 on average in Polak 2014; half of ours were below 6.0" in found([arm("Polak 2014")])["not_comparable"]
    )
    assert "their sizes at the start were not seen" in found([arm()])["not_comparable"]


def test_a_sham_is_named():
    assert is_named("sham", [arm(), control(agent="sham")]) and not is_named("sham", [arm(), control()])


def test_studies_of_one_group_are_named():
    rows = [arm(group="Hill"), arm("Birch 2005", group="Hill"), arm("Cedar 2007", group="Dale")]
    assert "2 of 3 studies are of one research group (Hill)" in found(rows)["not_comparable"]
    assert not is_named("one group", [arm(), arm("Birch 2005")])


def test_doubts_and_medians_are_named():
    rows = [arm(doubt="The reductions are medians."), arm("Birch 2005")]
    assert is_named("doubt", rows) and is_named("medians", rows)
    silent = found([arm()])["not_alike"].split(", ")
    assert "doubt" not in silent and "medians" not in silent


# --- dose, stages, age, and what a review pooled ---


def other(measure, rows=(), reviewed=NO_REVIEWS, ours=None, **parts):
    told = beside_published(ours or program(**parts), listed(*rows), reviewed)
    return told[(told["modality"] == "stimulation") & (told["measure"] == measure)]


def test_minutes_a_week_beside_what_studies_prescribed():
    rows = [arm(), arm("Birch 2005", minutes=60.0, per_week=7.0), arm("Cedar 2007", minutes=NAN), control()]
    row = other(MINUTES, rows, minutes=150.0).iloc[0]
    assert row[["treated_studies", "treated_low", "treated_high"]].tolist() == [2, 250, 420]
    assert row["not_alike"] == "dose lower than any of theirs"
    assert "of 1 further studies it was not seen" in row["not_comparable"]
    assert other(MINUTES, rows, minutes=300.0).iloc[0]["not_alike"] == ""
    assert other(DAYS, rows, days=8.0).iloc[0]["not_alike"] == "dose higher than any of theirs"


def test_minutes_that_nobody_recorded_are_said():
    row = other(MINUTES, [arm()], minutes=NAN).iloc[0]
    assert (row["not_computed"], row["not_alike"]) == ("the minutes of treated weeks are not recorded", "")


def test_stages_are_shares_of_what_started():
    ours = program(started_row(week=4), started_row(STAGE_2, 4, wounds=5), started_row(STAGES_3_4, 4, wounds=12))
    row = other(STAGES, [arm(stages="4"), arm("Birch 2005", stages="")], ours=ours).iloc[0]
    assert row["program_words"] == "stage 2 25%, 3 or 4 60%, others or not charted 15%"
    assert row["published_words"] == "Alder 2001: 4"
    assert other(STAGES).iloc[0]["not_computed"] == "no wound started"  # twenty at week 6, none at week 4


def test_age_stands_beside_the_one_study_that_tells_it():
    row = other(AGE, [arm("Polak 2016")]).iloc[0]
    assert (row["number"], row["treated_low"]) == (80, 79.92)
    assert other(AGE, [arm()]).iloc[0]["not_alike"] == "age not seen"
    assert other(AGE, [arm()], age=NAN).iloc[0]["not_computed"] == "no age is recorded"


def test_a_percent_a_week_of_a_review_is_something_else():
    """At 22% of the first size a week nothing would be left after 100 / 22 = 4.5 weeks."""
    rows = other(REVIEWED, reviewed=reviews(), ours=program(started_row(week=6), started_row(week=12))).to_dict(
        "records"
    )
    gardner = next(row for row in rows if row["studies"] == "Gardner 1999")
    assert gardner["published_words"] == "22 (18 to 26) treated, 9 (4 to 14) control; Gardner 1999"
    assert gardner["not_alike"] == "several kinds of wound, different lengths"
    assert "after 4.5 weeks" in gardner["not_comparable"]
    assert "7.5 by week 6" in gardner["program_words"] and "3.8 by week 12" in gardner["program_words"]


def test_the_53_percent_of_diabetic_feet_is_labelled_and_stands_nowhere_else():
    ours = program(started_row("diabetic_foot", 4), started_row(week=4))
    told = beside_published(ours, trials(), reviews())
    rows = told[told["published_words"].str.contains("53")]
    assert set(rows["stage_group"]) == {"diabetic_foot"}
    assert rows["published_words"].tolist() == ["diabetic foot: half were 53% smaller (Sheehan 2003)"]
    assert "53%" in NO_OTHER_KIND and "diabetic feet" in NO_OTHER_KIND


# --- what is said and shown ---


def test_the_sentence_for_the_meeting():
    told = beside_published(program(), listed(arm(), control()), NO_REVIEWS)
    assert where_it_stands(told, "stimulation")[0] == (
        "Of 100 pressure injuries that started stimulation here 30 (range 15 to 50) were closed by week 6 (20 wounds "
        "on 18 residents); in one published study 40 of 100 had closed by then under stimulation and 20 in the "
        "controls (20 and 20 counted); not alike, or not known to be: stages, size at the start."
    )


def test_the_headline_is_where_most_studies_stand():
    rows = [arm(), control(), arm("Birch 2005", closed=pd.NA, reduction=70.0)]
    told = beside_published(program(), listed(*rows), NO_REVIEWS)
    row = headline(told[(told["modality"] == "stimulation") & (told["stage_group"] == ALL_PRESSURE)])
    assert (row["measure"], row["horizon_weeks"], row["treated_studies"]) == (REDUCTION, 6, 2)
    said = where_it_stands(told, "stimulation")[0]
    assert "were 45% (range 30 to 60%) smaller on average by week 6" in said
    assert "in 2 published studies 70 to 80 percent of the area were gone on average" in said


def test_where_nothing_is_published_the_sentence_says_so():
    said = where_it_stands(beside_published(program(), listed(), NO_REVIEWS), "stimulation")
    assert "so nothing published stands beside it" in said[0]
    assert "They are not comparable as they stand:" not in said


def test_where_the_program_has_no_number_none_is_made():
    few = "fewer than 10 residents"
    none = {name: NAN for name in NUMBERS} | {"not_computed": few, "sizes_not_computed": few}
    rows = [started_row(week=week, **none) for week in (4, 6, 8, 12)]
    said = where_it_stands(beside_published(program(*rows), listed(arm(), control()), NO_REVIEWS), "stimulation")
    assert said[0] == (
        "Of pressure injuries that started stimulation nothing is told at week 6 (20 wounds on 18 residents): fewer "
        "than 10 residents."
    )
    assert not [words for words in said if "not comparable as they stand" in words]


def test_a_number_without_a_range_is_told_without_one():
    alone = started_row(closed_share=NAN, mean_reduction_low=NAN, mean_reduction_high=NAN)
    told = beside_published(program(alone), listed(arm(), control()), NO_REVIEWS)
    said = where_it_stands(told, "stimulation")[0]
    assert "were 45% smaller on average by week 6 (20 wounds" in said


def test_every_sentence_says_that_it_describes():
    told = beside_published(program(), listed(arm(), control()), NO_REVIEWS)
    assert all(where_it_stands(told, name)[-1] == DESCRIBED for name in ("stimulation", "ultrasound"))


def test_the_table_has_whole_numbers_with_counts():
    told = beside_published(program(), listed(arm(), control()), NO_REVIEWS)
    table = beside_table(told, "stimulation").set_index("Measure")
    row = table.loc["Smaller, mean percent, week 6"]
    assert row[["Here", "On", "Studies, treated", "Studies, control"]].tolist() == [
        "45 (30 to 60)", "20 wounds", "80 (1 study, 20 counted)", "40 (1 study, 20 counted)",
    ]  # fmt: skip
    assert table.loc["Percent of the first size a week, week 6", "Studies, treated"] == "13.3 (1 study, 20 counted)"
    assert table.loc["Closed, of 100, week 12", "Studies, treated"] == "none"
    assert "Not alike" not in beside_table(told, "stimulation", why=False)


def test_standardized_shares_are_said_with_their_range_and_the_group():
    mixed = pd.DataFrame(
        [
            {"measure": "closed", "horizon_weeks": 12, "facility": "Alder", "wounds": 40, "residents": 30,
             "observed": 12.4, "expected": 15.5, "raw_share": 0.31, "group_share": 0.4, "standardized": 0.32,
             "low": 0.2, "high": 0.45, "covariates": "size", "not_computed": ""},
            {"measure": "closed", "horizon_weeks": 12, "facility": "Birch", "wounds": 9, "residents": 8,
             "covariates": "", "not_computed": "fewer than 10 residents"},
        ]
    )  # fmt: skip
    said = at_like_wounds(mixed)
    assert said[0] == (
        "Alder: of 40 wounds 12 were closed by week 12, had nobody left, where 16 would be expected of such wounds in "
        "the group; at the group's mix of wounds that is 32 (range 20 to 45) of 100, beside 40 in the group."
    )
    assert said[1] == "Not standardized (fewer than 10 residents): Birch (8 residents)."
    table = case_mix_table(mixed).set_index("Facility")
    assert table.loc["Alder", "At the group's mix (range)"] == "32 (20 to 45)"
    assert table.loc["Birch", ["Observed", "At the group's mix (range)"]].tolist() == [
        "–", "not told: fewer than 10 residents",
    ]  # fmt: skip


# --- figure ---


def figure_texts(figure):
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    return [
        (text.get_text(), text.get_window_extent(renderer))
        for axis in figure.axes
        for text in axis.texts
        if text.get_text().strip()
    ]


@pytest.mark.parametrize("modality", ["stimulation", "ultrasound"])
def test_no_two_words_of_the_figure_overlap(modality):
    texts = figure_texts(beside_figure(program(started_row(modality=modality)).started, trials(), modality))
    overlapping = [
        (one, other) for n, (one, box) in enumerate(texts) for other, second in texts[n + 1 :] if box.overlaps(second)
    ]
    assert len(texts) > 3 and not overlapping


def test_no_two_dots_of_the_figure_overlap():
    figure = beside_figure(program().started, trials(), "stimulation")
    FigureCanvasAgg(figure).draw()
    for axis in figure.axes[:2]:
        dots = [line for line in axis.lines if line.get_marker() == "o"]
        places = np.array([axis.transData.transform(np.ravel(dot.get_data())) for dot in dots])
        gaps = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) + 1e6 * np.eye(len(places))
        assert len(dots) > 5 and gaps.min() > 13 * figure.dpi / 72  # a dot is 13 points wide


def test_treated_dots_are_filled_and_controls_open():
    figure = beside_figure(program().started, listed(arm(), control()), "stimulation")
    dots = [line for line in figure.axes[1].lines if line.get_marker() == "o"]
    assert [dot.get_markerfacecolor() for dot in sorted(dots, key=lambda dot: dot.get_ydata()[0])] == [
        "#ffffff",
        "#1d2b2a",
    ]


def test_a_figure_of_nothing_says_so():
    none = program(started_row(closed_share=NAN, mean_reduction=NAN, not_computed="few", sizes_not_computed="none"))
    figure = beside_figure(none.started[none.started["horizon_weeks"] == 6], listed(), "stimulation")
    assert "not told, few" in figure.axes[0].get_title(loc="left")
    assert "not told, none" in figure.axes[1].get_title(loc="left")
    assert figure_texts(figure)[0][0] == "No published study has the numbers"


# --- whole studies ---


@pytest.fixture(scope="module")
def ours(lifelike):
    return program_of(lifelike, draws=100)


def test_the_invented_group_stands_beside_studies(ours):
    told = beside_published(ours, trials(), reviews())
    assert told.columns.tolist() == COLUMNS
    row = headline(told[(told["modality"] == "stimulation") & (told["stage_group"] == ALL_PRESSURE)])
    assert (row["measure"], row["horizon_weeks"]) == (REDUCTION, 6)
    assert row["low"] < row["number"] < row["high"]


def test_no_word_that_may_not_be_used_is_shown(ours):
    told = beside_published(ours, trials(), reviews())
    shown = [words for name in ("stimulation", "ultrasound") for words in where_it_stands(told, name)]
    frames = [beside_table(told, name) for name in ("stimulation", "ultrasound")]
    frames += [beside_table(told, "stimulation", group) for group in (STAGE_2, "diabetic_foot", "venous")]
    frames += [started_table(ours.started, name) for name in ("stimulation", "ultrasound")]
    shown += [NO_OTHER_KIND, *(f"{cell}" for frame in frames for cell in [*frame, *frame.to_numpy().ravel()])]
    for words in shown:
        assert not re.search(rf"\b(?:{'|'.join(FORBIDDEN)})\b", words.lower()), words


def test_an_export_without_sessions_says_that_nothing_started():
    never = drawn(**TWO_HOUSES | {"sessions": "wound day modality status\n"})
    told = beside_published(program_of(never, draws=10), trials(), reviews())
    assert "nothing is told" in where_it_stands(told, "stimulation")[0]
    assert (told.loc[told["measure"] == STAGES, "not_computed"] == "no wound started").all()
    assert started_table(program_of(never, draws=10).started, "stimulation").empty
