"""The study plan: misspelt keys are told, nothing changes it unnoticed, and its dates and numbers hang together."""

import re
from datetime import date

import pytest
from pydantic import BaseModel, ValidationError

from kit.plan import Plan, PlanError, date_of, day_of, read_plan
from tests.exports import CALENDAR, PLAN, REGIMENS, SAFE_HARBOR, plan_of


def told(text):
    """What the plan's reader says of a text that is no plan; always one line."""
    with pytest.raises(PlanError) as stopped:
        plan_of(text)
    assert "\n" not in str(stopped.value)
    return str(stopped.value).removeprefix("given.toml: ")


# --- misspelt keys ---


@pytest.mark.parametrize(
    ("wrong", "right", "said"),
    [
        ("cutof = 200", "cutoff = 200", "windows.cutof: there is no such key; did you mean cutoff?"),
        ("[window]", "[windows]", "window: there is no such key; did you mean windows?"),
        ("modalty =", "modality =", "regimens 1.modalty: there is no such key; did you mean modality?"),
    ],
)
def test_a_misspelt_key_gets_the_nearest_known_one(wrong, right, said):
    assert told(PLAN.replace(right, wrong)) == said


def test_a_key_that_resembles_none_gets_the_list():
    assert told(PLAN + "[sizes]\nquorum = 5\n") == "sizes.quorum: there is no such key; known here: area, fresh_days"


def test_a_misspelt_key_is_told_before_what_it_left_missing():
    assert told(PLAN.replace("name =", "nam =")) == "program.nam: there is no such key; did you mean name?"


# --- what a plan must hold ---


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (REGIMENS, "program: Field required"),
        (PLAN.split("[[regimens]]")[0], "regimens: Field required"),
        (PLAN.replace('"operations"', '"because"'), "program.basis: Input should be 'operations', "),
        (PLAN + "[sizes]\nfresh_days = 0\n", "sizes.fresh_days: Input should be greater than or equal to 1"),
        (PLAN + '[cohort]\nkinds = ["venus"]\n', "cohort.kinds 1: Input should be 'pressure_injury', "),
        (PLAN.replace('name = "ultrasound"', 'name = "stimulation"'), "the plan as a whole: two regimens carry the"),
        (PLAN.replace('name = "ultrasound"', 'name = "Any modality"'), "the plan as a whole: a regimen carries a name"),
        (PLAN.replace('name = "ultrasound"', 'name = "電気"'), "the plan as a whole: a regimen's name holds letters"),
    ],
)
def test_a_plan_that_lacks_or_breaks_a_rule_says_which(text, said):
    assert told(text).startswith(said)


@pytest.mark.parametrize(
    ("begins", "cutoff", "said"),
    [
        ("200", "200", "the quarter must begin before the cutoff"),
        ("2026-07-01", "2026-06-30", "the quarter must begin before the cutoff"),
        ("110", "2026-06-30", "quarter_begins and cutoff must both be dates or both be day numbers"),
    ],
)
def test_windows_that_do_not_fit_together_are_refused(begins, cutoff, said):
    text = PLAN.replace("110", begins).replace("cutoff = 200", f"cutoff = {cutoff}")
    assert told(text) == f"the plan as a whole: {said}"


def test_windows_are_needed_where_days_share_a_calendar():
    assert "windows needs quarter_begins and cutoff" in told(SAFE_HARBOR.replace("safe_harbor", "operations"))


@pytest.mark.parametrize(
    "windows",
    [
        "[windows]\ncutoff = 2026-06-30",
        "[windows]\nquarter_begins = 2026-04-01",
        "[windows]\ncutoff = 200",
        "[comparison]\ndecides = 2026-06-30",
        "[comparison]\ndecides = 200",
    ],
)
def test_safe_harbor_has_no_windows_neither_dates_nor_day_numbers(windows):
    assert told(f"{SAFE_HARBOR}\n{windows}\n").endswith("leave quarter_begins, cutoff and decides out")


@pytest.mark.parametrize("slip", ['"30.06.2026"', '"2026-06-30"', "true", "200.0", "2026-06-30T12:00:00"])
def test_a_moment_in_another_spelling_is_refused_and_not_quoted(slip):
    said = told(PLAN.replace("cutoff = 200", f"cutoff = {slip}"))
    assert said == "windows.cutoff: write a date such as 2026-06-30, without quotation marks, or a day number"


def test_the_message_never_quotes_a_value():
    assert "Whiteoak" not in told(PLAN.replace('"operations"', '"Whiteoak"'))


# --- files ---


def test_a_missing_plan_says_where_one_is(tmp_path):
    with pytest.raises(
        PlanError,
        match=rf"^none.toml: there is no such plan in {tmp_path.name}; start from the one in data/synthetic/messy$",
    ):
        read_plan(tmp_path / "none.toml")


def test_a_folder_is_no_plan(tmp_path):
    with pytest.raises(PlanError, match="there is no such plan"):
        read_plan(tmp_path)


def test_a_plan_that_is_not_toml_names_the_line():
    assert re.fullmatch(
        r"this is not TOML that can be read: .*line 2.*; dates stand without quotation marks .*",
        told("\nbasis: operations\n"),
    )


def test_a_plan_in_another_encoding_says_so(tmp_path):
    (tmp_path / "plan.toml").write_bytes(PLAN.replace("Invented", "Höhe").encode("latin-1"))
    with pytest.raises(PlanError, match="not UTF-8"):
        read_plan(tmp_path / "plan.toml")


def test_a_byte_order_mark_before_the_plan_does_no_harm(tmp_path):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8-sig")
    assert read_plan(tmp_path / "plan.toml") == plan_of(PLAN)


# --- the comparison ---


def test_what_a_comparison_needs_unless_the_plan_asks_for_more():
    asked = plan_of(PLAN).comparison
    assert (asked.starters, asked.starters_residents) == (15, 12)
    assert (asked.effective_residents, asked.eligible_residents, asked.closings) == (15, 40, 10)
    assert (asked.horizons, asked.early_weeks, asked.early_percent) == ((12, 8, 4), 4, 40)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("horizons = [4, 8, 12]", "comparison: horizons stand from the longest to the shortest, each once"),
        ("horizons = [12, 8, 8]", "comparison: horizons stand from the longest to the shortest, each once"),
        ("horizons = [60, 8]", "comparison: horizons lie between 2 and 52 weeks"),
        ("horizons = [12, 1]", "comparison: horizons lie between 2 and 52 weeks"),
        ("early_weeks = 6", "comparison: early_weeks is longer than the shortest of horizons"),
        ('covariates = ["age", "age"]', "comparison: a covariate stands twice; name each once, the most telling first"),
        ("decides = 2026-12-31", "the plan as a whole: decides and cutoff must both be dates or both be day numbers"),
    ],
)
def test_a_comparison_that_does_not_hang_together_says_why(line, said):
    assert told(f"{PLAN}\n[comparison]\n{line}\n") == said


@pytest.mark.parametrize(
    "line",
    ["starters = 9", "starters_residents = 7", "effective_residents = 9", "eligible_residents = 19", "closings = 4",
     "horizons = []", 'covariates = ["shoe size"]'],
)  # fmt: skip
def test_a_comparison_cannot_ask_for_less_than_can_be_told(line):
    assert told(f"{PLAN}\n[comparison]\n{line}\n").startswith(f"comparison.{line.partition(' ')[0]}")


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("minutes = [60, 45]", "protocol: minutes is a range within 1 to 480, the smaller number first"),
        ("duty = [0, 20]", "protocol: duty is a range within 1 to 100, the smaller number first"),
        ("intensity = [0.8, 0.5]", "protocol: intensity is a range within 0.01 to 3, the smaller number first"),
        ("duty = [0.2, 0.2]", "protocol: duty is a range within 1 to 100, the smaller number first"),
        ("minutes = 45", "protocol.minutes: write two numbers in brackets, the smaller first, like [45, 60]"),
        ("minutes = [45, 50, 60]", "protocol.minutes: write two numbers in brackets, the smaller first, like [45, 60]"),
        ("relief_minutes = true", "protocol.relief_minutes: write a number, without quotation marks"),
        ("first_minutes = 70", "protocol: first_minutes lies above the range of minutes"),
    ],
)
def test_a_protocol_that_does_not_hang_together_says_why(line, said):
    assert told(f"{PLAN}\n[protocol]\n{line}\n") == said


@pytest.mark.parametrize("line", ['polarity = "up"', "leeway_percent = 60", "zone_minutes = 0", "shallow_cm = 2500"])
def test_a_target_outside_its_limits_names_its_key(line):
    assert told(f"{PLAN}\n[protocol]\n{line}\n").startswith(f"protocol.{line.partition(' ')[0]}")


def test_a_plan_without_a_protocol_has_that_of_common_practice():
    protocol = plan_of(PLAN).protocol
    assert (protocol.minutes, protocol.first_minutes, protocol.pulse_rate) == ((45, 60), 20, (125, 125))
    assert (protocol.intensity, protocol.duty, protocol.zone_minutes) == ((0.5, 0.5), (20, 20), 5)
    assert (protocol.sensation, protocol.polarity, protocol.relief_minutes) == ("sensory", "by_state", 15)


def test_the_quarter_that_decides_is_told_as_a_day_number():
    assert plan_of(CALENDAR + "\n[comparison]\ndecides = 2026-06-30\n").decides == 9677
    assert plan_of(PLAN + "\n[comparison]\ndecides = 300\n").decides == 300
    assert plan_of(PLAN).decides is None


# --- frozen and fingerprinted ---


def test_a_plan_cannot_be_changed():
    plan = plan_of(PLAN)
    with pytest.raises(ValidationError):
        plan.windows.cutoff = 300
    with pytest.raises(ValidationError):
        plan.regimens = ()


def test_layout_comments_and_spelt_out_defaults_leave_the_fingerprint_alone():
    program, rest = PLAN.split("[windows]")
    other = f"# a comment\n[windows]{rest}\n[sizes]\narea = 'rectangle'\n\n{program}"
    assert plan_of(other).fingerprint == plan_of(PLAN).fingerprint


def test_a_stage_may_stand_with_or_without_quotation_marks():
    plans = [plan_of(CALENDAR + f"[cohort]\nstages = {stages}\n") for stages in ('["2", "3"]', "[2, 3]")]
    assert plans[0].cohort.stages == plans[1].cohort.stages == ("2", "3")
    assert plans[0].fingerprint == plans[1].fingerprint


# One other value for every key of the plan.
OTHERS = {
    "program.name": "Another", "program.basis": "limited_data_set", "windows.quarter_begins": date(2026, 4, 2),
    "windows.cutoff": date(2026, 7, 1), "windows.cohort_months": 23, "sizes.area": "ellipse", "sizes.fresh_days": 6,
    "following.confirm_days": 13, "following.bed_hold_days": 29, "following.vanished_days": 27,
    "following.horizon_weeks": 8, "cohort.kinds": ("venous",), "cohort.stages": ("3",), "comparison.run_in_days": 13,
    "comparison.horizons": (12, 8), "comparison.answer_months": 11, "comparison.early_weeks": 3,
    "comparison.early_percent": 41, "comparison.stages": ("3",), "comparison.covariates": ("age",),
    "comparison.starters": 16, "comparison.starters_residents": 13, "comparison.effective_residents": 16,
    "comparison.eligible_residents": 41, "comparison.closings": 11, "comparison.facility_spread": 6,
    "comparison.decides": date(2026, 12, 31), "protocol.minutes": (40, 60), "protocol.first_minutes": 15,
    "protocol.build_up": 5, "protocol.pulse_rate": (100, 125), "protocol.sensation": "motor",
    "protocol.polarity": "negative", "protocol.turn_days": 4, "protocol.turning_facilities": ("Alder",),
    "protocol.duty": (20, 50), "protocol.intensity": (0.5, 1.0), "protocol.zone_minutes": 4, "protocol.zone_heads": 1,
    "protocol.shallow_cm": 2, "protocol.leeway_percent": 5, "protocol.relief_minutes": 20,
    "protocol.evaluation_days": 28, "protocol.monopolar_sets": 2, "protocol.bipolar_sets": 2,
    "protocol.ultrasound_sets": 2, "triggers.delivered_below": 90, "triggers.reach_below": 30, "triggers.harm_above": 2,
    "triggers.trust_below": 80, "triggers.leans_worse": "change", "triggers.too_few": "measure better",
    "triggers.supports": "change", "costs.currency": "EUR", "costs.staff_minute": 1, "costs.monopolar_set": 5,
    "costs.bipolar_set": 5, "costs.ultrasound_set": 5, "costs.dressing": 5, "costs.device_month": 5, "costs.devices": 2,
    "costs.willingness_to_pay": 5, "refining.questions": ("setup",), "refining.spread": 6, "sharing.fewest": 20,
    "regimens.name": "other", "regimens.modality": "other",
    "regimens.setup": "bipolar", "regimens.polarity": "positive",
}  # fmt: skip


@pytest.mark.parametrize("key", OTHERS)
def test_any_other_value_changes_the_fingerprint(key):
    plan = plan_of(CALENDAR)
    part, name = key.split(".")
    given = plan.model_dump()
    inner = given[part][0] if part == "regimens" else given[part]
    inner[name] = OTHERS[key]
    assert Plan.model_validate(given).fingerprint != plan.fingerprint


def test_the_table_of_other_values_leaves_no_key_out():
    assert set(keys_of(Plan)) == set(OTHERS)


def keys_of(model):
    for part, field in model.model_fields.items():
        inner = getattr(field.annotation, "__args__", [field.annotation])[0]
        assert issubclass(inner, BaseModel)
        yield from (f"{part}.{name}" for name in inner.model_fields)


# --- days ---


def test_days_count_from_the_first_of_january_2000():
    # 26 years of 365 days, 7 leap days (2000 to 2024), and 31 + 28 + 31 + 30 + 31 + 29 days of 2026
    assert day_of(date(2026, 6, 30)) == 26 * 365 + 7 + 180 == 9677
    assert date_of(9677) == date(2026, 6, 30)


def test_windows_are_told_as_day_numbers():
    plan = plan_of(CALENDAR)
    assert plan.calendar
    assert (plan.quarter_begins, plan.cutoff) == (9677 - 90, 9677)
    assert plan.cohort_begins == 9677 - 730  # 24 months of 365.25 / 12 days are 730.5, rounded to even


def test_day_numbers_stay_what_they_are():
    plan = plan_of(PLAN)
    assert not plan.calendar
    assert (plan.quarter_begins, plan.cutoff, plan.horizon) == (110, 200, 12 * 7)


def test_safe_harbor_has_no_windows_at_all():
    plan = plan_of(SAFE_HARBOR)
    assert not plan.calendar
    assert (plan.quarter_begins, plan.cutoff, plan.cohort_begins) == (None, None, None)


def test_a_regimen_is_not_called_like_a_pair_of_them():
    with pytest.raises(PlanError, match="a stroke with blanks stands between two regimens"):
        plan_of(PLAN.replace('name = "ultrasound"', 'name = "mono / bi"'))
