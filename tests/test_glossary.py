"""Every column of every returned frame is one of the export's or stands in the glossary."""

import pandas as pd
import pytest

from kit.bias.pair import pair
from kit.bias.steps import rounds, steps
from kit.compared import compared, other_ways, reach_in_quarter, weeks
from kit.context.beside_published import beside_published
from kit.context.case_mix import case_mix
from kit.context.costs import costs
from kit.context.could_have_seen import could_have_seen, seen_by_decision, when_seen
from kit.context.evidence import evidence
from kit.context.limits import limits
from kit.context.program import program_of
from kit.context.refining import refined
from kit.context.resources import TREATED, resources
from kit.context.restated import beside as counted_anew
from kit.context.staggered import schedule, staggered
from kit.context.trend import POINTS, quarter_numbers, quarters, trend
from kit.context.worth import worth_of
from kit.delivered import burden_of, comfort_of, delivered, early_dose_of, safety_of, worklist_of
from kit.delivery.burden import treated_weeks
from kit.delivery.documentation import counted as answers_counted
from kit.delivery.documentation import documentation
from kit.delivery.documentation import treated_weeks as stimulated_weeks
from kit.delivery.dose import treated_days
from kit.delivery.orders import orders
from kit.delivery.published import contraindications, doses
from kit.delivery.safety import inside
from kit.delivery.settings import polarity_by_state
from kit.delivery.signs import signs
from kit.delivery.stops import course_ends
from kit.delivery.worklist import first_ten
from kit.faults import counted
from kit.followed import courses_of, first_weeks_of, forecasts_of, standing_of
from kit.glossary import RESULTS
from kit.healing.curves import greenwood
from kit.healing.description import describe
from kit.quarter import activity, by_regimen, reasons, weeks_by_regimen, wounds_by_regimen
from kit.region import region_of
from kit.sensitivity.before_start import before_start
from kit.sensitivity.bounds import bounds, e_values_of
from kit.sensitivity.leave_one_out import ranges, without_each
from kit.sensitivity.specifications import specifications
from kit.sharing.counted import counted as sharing_counted
from kit.sharing.telling import told
from kit.statements.costs import costs_said
from kit.statements.decisions import Reached, decisions
from kit.statements.quarter import this_quarter
from kit.statements.shared import in_words
from kit.trajectories.changes import bends
from kit.trajectories.courses import split_at_start
from kit.trajectories.delayed import fit_delayed
from kit.trajectories.slopes import slopes
from kit.trajectories.summaries import summaries
from kit.vocabulary import TABLES
from kit.warned import answers_of, evidence_of, shown_of, warned
from kit.wounds.course import course
from kit.wounds.regimens import starts
from kit.wounds.staging import stage_course
from tests.drawn import TWO_HOUSES, drawn
from tests.test_followed import FIRST, Course, followed

STUDY = drawn(**TWO_HOUSES)
# Twelve wounds that fall by 11 to 15% a week, give or take 2%, and start something after five weeks.
WOUNDS = [
    Course(
        tuple(8 * (0.85 + 0.01 * (n % 5)) ** week * (1 + 0.02 * (n * week % 3)) for week in range(15)), start=FIRST + 35
    )
    for n in range(12)
]
FOLLOWED = followed(WOUNDS)
ANSWERS = ("told", "needs", "states", "course", "balance", "homes", "outside", "could", "smaller", "drawn")
READ = {name for table in TABLES.values() for name in table.names}


def frames() -> dict[str, pd.DataFrame]:
    described = describe(STUDY.episodes, STUDY.plan, draws=20)
    seen = course(STUDY.episodes, STUDY.measurements, STUDY.sessions, STUDY.plan)
    found = slopes(courses_of(FOLLOWED), FOLLOWED.episodes, draws=5)
    return {
        **{
            name: getattr(STUDY, name)
            for name in (*TABLES, "episodes", "stages", "faults", "account", "houses", "sources")
        },
        "counted": counted(STUDY.faults),
        "course": seen,
        "starts": starts(STUDY.sessions, STUDY.plan),
        "stage_course": stage_course(STUDY.measurements, STUDY.wounds),
        "curves": described.curves,
        "groups": described.groups,
        "greenwood": greenwood(pd.Series([1, 2]).to_numpy(), pd.Series([True, False]).to_numpy()),
        "wound_weeks": weeks(STUDY).weeks,
        **{f"answers.{name}": getattr(compared(STUDY), name) for name in ANSWERS},
        "other_ways": other_ways(STUDY),
        **{f"slopes.{name}": getattr(found, name) for name in ("pace", "change", "ahead", "ways")},
        **{f"courses.{name}": getattr(courses_of(FOLLOWED), name) for name in ("sizes", "left_out")},
        "bends": bends(courses_of(FOLLOWED)),
        "split": split_at_start(courses_of(FOLLOWED)).sizes,
        "standing": standing_of(FOLLOWED),
        "summaries": summaries(STUDY.episodes, STUDY.measurements, STUDY.plan),
        "first_weeks": first_weeks_of(STUDY),
        "fit_delayed": fit_delayed(*FOLLOWED.measurements[["wound", "day", "size"]].to_numpy().T),
        "forecasts": forecasts_of(STUDY),
        **delivery(),
        "by_regimen": by_regimen(STUDY),
        "reasons": reasons(STUDY),
        **misleading(),
        **context(),
        "weeks_by_regimen": weeks_by_regimen(seen),
        "this_quarter": this_quarter(activity(STUDY), described, compared(STUDY), standing_of(STUDY), STUDY.plan),
    }


def misleading() -> dict[str, pd.DataFrame]:
    answers = answers_of(STUDY)
    found = Reached(reach_in_quarter(STUDY), delivered(STUDY).fates, activity(STUDY), answers)
    return {
        "warnings": warned(STUDY),
        "shown": shown_of(STUDY),
        "decisions": decisions(found, STUDY.plan),
        "pair": pair(evidence_of(STUDY)),
        "steps": steps(pair(evidence_of(STUDY)), STUDY.measurements),
        "rounds": rounds(pair(evidence_of(STUDY)), STUDY.measurements),
        "bounds": bounds(answers, STUDY.measurements),
        "e_values": e_values_of(answers),
        "specifications": specifications(STUDY, answers),
        "without_each": without_each(answers),
        "ranges": ranges(answers, without_each(answers)),
        "before_start": before_start(answers, STUDY.measurements),
    }


def context() -> dict[str, pd.DataFrame]:
    plan, published = STUDY.plan, evidence()
    taken, gain = resources(STUDY, answers_of(STUDY), TREATED), worth_of(STUDY)
    body = published.stimulation_closing
    return {
        "trials": published.trials,
        "reviews": published.reviews,
        **{f"body.{name}": frame for name, frame in vars(body).items() if isinstance(frame, pd.DataFrame)},
        "resources.wounds": taken.wounds,
        "resources.weeks": taken.weeks,
        "costs": costs(taken, plan),
        "costs_said": costs_said(costs(taken, plan), taken, gain, answers_of(STUDY), plan),
        **{f"worth.{name}": getattr(gain, name) for name in ("parts", "draws", "region", "quadrants", "curve")},
        "worth.break_even": gain.break_even,
        **{f"program.{name}": frame for name, frame in vars(program_of(STUDY)).items()},
        "beside_published": beside_published(program_of(STUDY), published.trials, published.reviews),
        "case_mix": case_mix(STUDY.episodes, STUDY.measurements, STUDY.wounds, plan, draws=5),
        **region(),
        **next_quarter(),
        **in_a_row(),
        "sharing.counted": sharing_counted(STUDY),
        "sharing.told": told(sharing_counted(STUDY), plan),
        "in_words": in_words(told(sharing_counted(STUDY), plan), "", answers_of(STUDY), plan),
    }


def region() -> dict[str, pd.DataFrame]:
    told = region_of(STUDY)
    return {
        "mixed": told.mixed,
        "funnel.homes": told.funnel.homes,
        "funnel.groups": told.funnel.groups,
        "one_sided": told.one_sided,
        "given": told.given,
    }


def in_a_row() -> dict[str, pd.DataFrame]:
    now = quarter_numbers(STUDY)
    points = quarters(pd.DataFrame(columns=POINTS), now, "days-110-200", STUDY.plan)
    return {"quarter_numbers": now, "quarters": points, "trend": trend(points), "counted_anew": counted_anew(now, now)}


def next_quarter() -> dict[str, pd.DataFrame]:
    answers = answers_of(STUDY)
    return {
        "could_have_seen": could_have_seen(answers),
        "when_seen": when_seen(answers),
        "seen_by_decision": seen_by_decision(answers),
        "staggered": staggered(answers, STUDY.plan),
        "schedule": schedule(STUDY.facilities, STUDY.plan.cutoff),
        "limits": limits(STUDY),
        "refined": refined(STUDY),
    }


def documented() -> dict[str, pd.DataFrame]:
    asked = stimulated_weeks(STUDY.sessions, STUDY.wounds, STUDY.residents)
    tables = (STUDY.wounds, STUDY.measurements, STUDY.sessions, STUDY.procedures, STUDY.spans, STUDY.stages)
    told = documentation(asked, *tables, STUDY.episodes)
    return {"stimulated_weeks": asked, "documentation": told, "documentation.counted": answers_counted(told)}


def delivery() -> dict[str, pd.DataFrame]:
    done, tables = delivered(STUDY), (STUDY.spans, STUDY.sessions, STUDY.measurements, STUDY.episodes)
    found = inside(done.told, STUDY.spans, contraindications())
    return {
        **{f"delivered.{name}": frame for name, frame in vars(done).items() if isinstance(frame, pd.DataFrame)},
        **{f"safety.{name}": frame for name, frame in vars(safety_of(STUDY)).items() if name != "charted"},
        **{f"comfort.{name}": getattr(comfort_of(STUDY), name) for name in ("counts", "people", "effects")},
        **{f"early.{name}": getattr(early_dose_of(STUDY), name)
           for name in ("wounds", "halves", "differences", "facilities", "account")},
        "orders": orders(*tables, STUDY.wounds, STUDY.residents, STUDY.plan),
        "treated_days": treated_days(done.told, STUDY.plan),
        "polarity_by_state": polarity_by_state(done.told),
        "inside": found,
        "course_ends": course_ends(done.told, STUDY.sessions, STUDY.spans, STUDY.episodes),
        "treated_weeks": treated_weeks(done.told, STUDY.spans, STUDY.plan),
        "burden": burden_of(STUDY),
        **documented(),
        **{f"worklist.{name}": getattr(worklist_of(STUDY), name) for name in ("known", "things", "marks")},
        "first_ten": first_ten(worklist_of(STUDY).things),
        "signs": signs(pd.DataFrame({"wound": ["W1"], "from_day": [10], "to_day": [20]}), STUDY.measurements),
        "contraindications": contraindications(),
        "doses": doses(),
    }  # fmt: skip


FRAMES = frames()


@pytest.mark.parametrize("name", FRAMES)
def test_a_returned_frame_has_only_listed_columns(name):
    assert set(FRAMES[name].columns) - READ - set(RESULTS) == set()


def test_wounds_by_regimen_has_a_column_a_facility_and_listed_ones_beside():
    columns = set(wounds_by_regimen(STUDY.episodes).columns)
    assert columns - set(STUDY.facilities) - {"not named", "all"} <= set(RESULTS)


def test_every_entry_of_the_glossary_is_returned_by_some_frame():
    returned = {column for frame in FRAMES.values() for column in frame.columns}
    assert set(RESULTS) - returned == set()


def test_no_entry_means_two_things():
    assert set(RESULTS) & READ == set()
