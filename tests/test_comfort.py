"""Procedure pain with and without stimulation before: by hand, as the paired t test, and against statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from kit.delivery.comfort import BEFORE, BETWEEN, DURING, LONG, OWN, OWN_AND_TIME, RISE, SHORT, UNTIMED, clustered, pain
from kit.synthetic.procedures import RELIEF, procedures
from tests.drawn import PLAN, drawn

EXACT = 1e-9  # the same sums in another order
AS_STATSMODELS = 1e-8  # least squares by another decomposition
NEAR_MIXED = 0.1  # points; a level drawn from a distribution moves the amount a little: half the standard error here
SAFE_HARBOR = PLAN.replace("operations", "safe_harbor").replace("[windows]\nquarter_begins = 110\ncutoff = 200\n", "")


def read(rows: str, plan: str = PLAN, people: int = 12):
    """Comfort of procedures drawn as lines; wound W<n> is that of resident R<n>."""
    wounds = "wound resident kind\n" + "".join(f"W{n} R{n} venous\n" for n in range(1, people + 1))
    sizes = "wound day length width state\n" + "".join(f"W{n} 1 4 3 open\n" for n in range(1, people + 1))
    tables = {"procedures": rows} if rows else {}
    study = drawn(sizes, wounds, plan, **tables)
    return pain(study.procedures, study.wounds, study.plan)


HEADER = "wound day procedure relief relief_minutes pain_before pain_during pain_after\n"


def pairs(differences: list[int], eased_day: int = 20, minutes: str = "20") -> str:
    """Each resident debrided without relief (pain 6) and with it (6 and the difference)."""
    lines = [
        f"W{n} 10 debridement no . 2 6 3\nW{n} {eased_day + n % 3} debridement yes {minutes} 2 {6 + change} 3\n"
        for n, change in enumerate(differences, 1)
    ]
    return HEADER + "".join(lines)


def answer(comfort, pain_asked=DURING, way=OWN, group=LONG):
    rows = comfort.effects.set_index(["pain", "way", "relief_group"])
    return rows.loc[(pain_asked, way, group)]


# Ten residents: mean -20/10 = -2; squares about it 1 + 1 + 1 + 1 = 4; error sqrt(4/9/10) = 0.210819.
TEN = [-1, -2, -3, -2, -2, -1, -3, -2, -2, -2]


def test_two_procedures_a_resident_make_the_paired_t_test():
    told = answer(read(pairs(TEN)))
    assert told["amount"] == pytest.approx(-2, abs=EXACT)
    assert told["error"] == pytest.approx((4 / 9 / 10) ** 0.5, abs=EXACT)
    limits = stats.ttest_1samp(TEN, 0).confidence_interval()
    assert (told["low"], told["high"]) == pytest.approx(tuple(limits), abs=EXACT)
    assert (told["procedures"], told["residents"], told["is_told"], told["not_computed"]) == (20, 10, True, "")


def test_too_short_is_told_apart_from_long_enough():
    comfort = read(pairs(TEN, minutes="14"))
    assert answer(comfort, group=SHORT)["amount"] == pytest.approx(-2, abs=EXACT)
    assert answer(comfort, group=LONG)["not_computed"] == "residents who tell: 0, needed: 10"


def test_minutes_not_recorded_are_an_answer_of_their_own():
    assert answer(read(pairs(TEN, minutes=".")), group=UNTIMED)["amount"] == pytest.approx(-2, abs=EXACT)


def test_nine_residents_are_too_few():
    told = answer(read(pairs(TEN[:9])))
    assert np.isnan(told["amount"]) and not told["is_told"]
    assert told["not_computed"] == "residents who tell: 9, needed: 10"


def test_one_and_the_same_difference_in_everybody_gives_no_range():
    told = answer(read(pairs([-2] * 10)))
    assert told["not_computed"] == "all residents differ by the same, which gives no range"


def test_time_that_goes_with_relief_cannot_be_told_from_it():
    rows = HEADER + "".join(
        f"W{n} 10 debridement no . 2 6 3\nW{n} 17 debridement yes 20 2 {6 + change} 3\n"
        for n, change in enumerate(TEN, 1)
    )
    comfort = read(rows)
    assert answer(comfort, way=OWN_AND_TIME)["not_computed"].startswith("the groups cannot be told apart")
    assert answer(comfort)["is_told"]


def test_the_rise_is_that_of_each_procedure():
    # Before 2 in all, so that the rise differs by what pain during does; pain before differs in nobody.
    comfort = read(pairs(TEN))
    assert answer(comfort, RISE)["amount"] == pytest.approx(-2, abs=EXACT)
    assert answer(comfort, BEFORE)["not_computed"] == "all residents differ by the same, which gives no range"


# --- groups and counts ---


GROUPED = (
    HEADER
    + """
W1 10 debridement no  .  2 6  3
W1 17 debridement no  .  . .  .
W1 24 debridement yes 15 2 0  3
W1 31 debridement yes 14 2 10 3
W2 10 debridement yes .  4 4  .
W2 17 debridement no  20 4 4  3
W2 24 debridement .   20 4 10 3
W2 31 debridement .   0  4 4  3
W2 38 debridement .   .  4 4  3
W2 38 dressing    .   .  . .  .
"""
)


def test_procedures_are_grouped_and_counted_by_kind():
    counts = read(GROUPED).counts.set_index(["procedure", "relief_group"])
    # Relief "no" beside 20 minutes, a blank beside 0 and a blank beside nothing are not said; 20 minutes say yes.
    assert counts["procedures"].to_dict() == {
        ("debridement", "none"): 2,
        ("debridement", "long enough"): 2,
        ("debridement", "too short"): 1,
        ("debridement", "minutes not recorded"): 1,
        ("debridement", "not said"): 3,
        ("dressing", "not said"): 1,
    }
    assert counts["residents"].tolist() == [1, 2, 1, 1, 1, 1]
    assert counts["at_floor"].tolist() == [0, 1, 0, 0, 0, 0]
    assert counts["at_ceiling"].tolist() == [0, 1, 1, 0, 0, 0]


def test_a_missing_score_is_no_zero():
    none = read(GROUPED).counts.iloc[0]
    assert (none["procedures"], none["scored"], none["not_scored"]) == (2, 1, 1)
    assert (none["before_mean"], none["during_mean"], none["after_mean"]) == (2, 6, 3)


def test_every_procedure_is_counted_once():
    assert read(GROUPED).counts["procedures"].sum() == 10


def test_what_is_not_said_is_not_compared():
    unsaid = "".join(f"W{n} 40 debridement . . 9 9 9\n" for n in range(1, 11))
    assert answer(read(pairs(TEN) + unsaid)).equals(answer(read(pairs(TEN))))


def test_the_people_who_tell_are_named_with_their_means():
    people = read(HEADER + "W1 1 debridement no . 1 5 1\nW1 2 debridement no . 1 6 1\nW1 3 debridement yes 20 1 3 1\n"
                  "W2 1 debridement no . 1 5 1\nW2 3 dressing yes 20 1 3 1\n").people  # fmt: skip
    # R1: 3 against (5 + 6) / 2; R2 had relief before another kind of procedure.
    expected = ["R1", "debridement", LONG, 1, 2, 3.0, 5.5, -2.5]
    assert people.to_numpy().tolist() == [expected]


def test_the_plan_says_how_long_is_long_enough():
    plan = PLAN + "\n[protocol]\nrelief_minutes = 30\n"
    assert answer(read(pairs(TEN), plan), group=SHORT)["is_told"]


# --- what is missing ---


@pytest.mark.parametrize("plan", [PLAN, SAFE_HARBOR])
def test_an_export_without_procedures_answers_nothing_and_says_so(plan):
    comfort = read("", plan)
    assert (len(comfort.counts), len(comfort.people)) == (0, 0)
    assert set(comfort.effects["not_computed"]) == {"residents who tell: 0, needed: 10"}


@pytest.mark.parametrize("left_out", [["relief"], ["relief_minutes"], ["pain_before"], ["pain_during", "pain_after"]])
def test_columns_that_the_export_lacks(left_out):
    rows = [line.split() for line in pairs(TEN).splitlines()]
    kept = [place for place, name in enumerate(rows[0]) if name not in left_out]
    comfort = read("\n".join(" ".join(row[place] for place in kept) for row in rows))
    assert comfort.counts["procedures"].sum() == 20
    assert len(comfort.effects) == 27
    assert comfort.effects["is_told"].any() == (left_out in (["relief_minutes"], ["pain_before"]))


def test_a_single_procedure():
    comfort = read(HEADER + "W1 10 debridement yes 20 2 6 3\n")
    assert comfort.counts["procedures"].tolist() == [1]
    assert not comfort.effects["is_told"].any()


def test_days_counted_from_each_first_record_change_nothing():
    assert read(pairs(TEN), SAFE_HARBOR).effects.equals(read(pairs(TEN)).effects)


# --- against another program ---


def uneven(seed: int = 5, people: int = 30) -> pd.DataFrame:
    """Residents with one to eight procedures of two kinds, pain falling with time, relief coming later."""
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(people), rng.integers(1, 9, people))
    day = rng.integers(1, 120, len(who))
    eased, minutes = rng.random(len(who)) < day / 150, rng.choice([10.0, 20.0, np.nan], len(who), p=[0.3, 0.5, 0.2])
    during = 5 + rng.normal(0, 1.5, people)[who] - 1.5 * eased - day / 60 + rng.normal(0, 1, len(who))
    return pd.DataFrame(
        {
            "wound": [f"W{n:02d}" for n in who],
            "day": day,
            "procedure": rng.choice(["debridement", "dressing"], len(who)),
            "relief": pd.array(eased, dtype="boolean"),
            "relief_minutes": np.where(eased, minutes, np.nan),
            "pain_before": 2.0,
            "pain_during": np.where(rng.random(len(who)) < 0.1, np.nan, during),
            "pain_after": 3.0,
        }
    )


def owners(frame: pd.DataFrame) -> pd.DataFrame:
    wounds = pd.DataFrame({"wound": sorted(set(frame["wound"]))})
    return wounds.assign(resident=wounds["wound"].str.replace("W", "R"))


PLANNED = drawn("wound day length width state\nW1 1 4 3 open\n").plan


def scored(frame: pd.DataFrame, only_mixed: bool) -> pd.DataFrame:
    """The scored rows with a column a group; of residents and kinds with more than one group only, where asked."""
    minutes = frame["relief_minutes"]
    rows = frame.assign(
        long=(minutes >= 15) * 1.0,
        short=(minutes < 15) * 1.0,
        untimed=(frame["relief"] & minutes.isna()).astype(float),
        level=frame["wound"] + frame["procedure"],
        week=frame["day"] / 7,
    )
    rows = rows[rows["pain_during"].notna()]
    groups = (rows["long"] + 2 * rows["short"] + 3 * rows["untimed"]).groupby(rows["level"]).transform("nunique")
    return rows[groups > 1] if only_mixed else rows


@pytest.mark.parametrize(("way", "time"), [(OWN, ""), (OWN_AND_TIME, " + week")])
def test_people_as_their_own_control_against_least_squares_with_a_level_each(way, time):
    frame = uneven()
    rows, told = scored(frame, only_mixed=True), pain(frame, owners(frame), PLANNED)
    formula = f"pain_during ~ long + short + untimed{time} + C(level)"
    codes = pd.factorize(rows["wound"])[0]
    fit = smf.ols(formula, rows).fit(cov_type="cluster", cov_kwds={"groups": codes, "use_correction": True})
    # statsmodels counts the levels among the columns; they lie within residents and cost nothing (see `pain`).
    columns = 3 + bool(time)
    fewer = ((len(rows) - len(fit.params)) / (len(rows) - columns)) ** 0.5
    mine = answer(told, way=way)
    assert mine["amount"] == pytest.approx(fit.params["long"], abs=AS_STATSMODELS)
    assert mine["error"] == pytest.approx(fit.bse["long"] * fewer, abs=AS_STATSMODELS)
    half = stats.t.ppf(0.975, mine["residents"] - 1) * mine["error"]
    assert (mine["low"], mine["high"]) == pytest.approx((mine["amount"] - half, mine["amount"] + half), abs=EXACT)


def test_the_difference_between_people_against_plain_least_squares():
    frame = uneven()
    rows, told = scored(frame, only_mixed=False), answer(pain(frame, owners(frame), PLANNED), way=BETWEEN)
    codes = pd.factorize(rows["wound"])[0]
    fit = smf.ols("pain_during ~ long + short + untimed", rows).fit(
        cov_type="cluster", cov_kwds={"groups": codes, "use_correction": True}
    )
    assert told["amount"] == pytest.approx(fit.params["long"], abs=AS_STATSMODELS)
    assert told["error"] == pytest.approx(fit.bse["long"], abs=AS_STATSMODELS)


def test_a_mixed_model_of_the_same_rows_says_nearly_the_same():
    frame = uneven(people=120)
    rows = scored(frame, only_mixed=False)
    fit = smf.mixedlm("pain_during ~ long + short + untimed + week", rows, groups=rows["wound"]).fit()
    told = answer(pain(frame, owners(frame), PLANNED), way=OWN_AND_TIME)
    assert told["amount"] == pytest.approx(fit.params["long"], abs=NEAR_MIXED)


def test_errors_where_a_column_repeats_another_are_missing():
    x = np.array([[1.0, 1.0], [0, 0], [1, 1], [0, 0]])
    fit = clustered(np.array([1.0, 0, 2, 0]), x, np.array(["a", "a", "b", "b"]))
    assert np.isnan(fit.coefficients).all() and np.isnan(fit.errors).all()


# --- what goes wrong otherwise ---


def test_people_who_hurt_less_and_have_relief_deceive_between_people_alone():
    # Relief takes nothing off. Residents 1 to 10 hurt 3 and mostly have it, 11 to 20 hurt 7 and mostly have not.
    blur = [0, 1, 0, -1, 0, 0, 1, -1, 0, 0]
    lines = []
    for n in range(1, 21):
        level, eased = (3, 3) if n <= 10 else (7, 1)
        changes = [blur[n % 10], *[0] * 3]
        lines += [
            f"W{n} {10 + 7 * k} debridement {'yes 20' if k < eased else 'no .'} 2 {level + changes[k]} 3\n"
            for k in range(4)
        ]
    comfort = read(HEADER + "".join(lines), people=20)
    # With relief (30 x 3 + 10 x 7) / 40 = 4, without (10 x 3 + 30 x 7) / 40 = 6.
    assert answer(comfort, way=BETWEEN)["amount"] == pytest.approx(4 - 6, abs=EXACT)
    assert answer(comfort)["amount"] == pytest.approx(0, abs=EXACT)


def test_pain_that_falls_with_time_deceives_own_control_and_not_that_levelled_for_time():
    # A point less every three weeks; relief, which takes nothing off, in the later weeks of some.
    blur = np.random.default_rng(3).normal(0, 0.3, (12, 8))
    rows = [
        (f"W{n:02d}", 7 * k, "debridement", k >= 2 + n % 5, 20.0, 2.0, 8 - k / 3 + blur[n, k], 3.0)
        for n in range(12)
        for k in range(8)
    ]
    frame = pd.DataFrame(rows, columns=HEADER.split()).astype({"relief": "boolean"})
    frame["relief_minutes"] = frame["relief_minutes"].where(frame["relief"].astype(bool))
    comfort = pain(frame, owners(frame), PLANNED)
    assert answer(comfort)["high"] < -0.9
    assert answer(comfort, way=OWN_AND_TIME)["low"] < 0 < answer(comfort, way=OWN_AND_TIME)["high"]


@settings(max_examples=10, deadline=None)
@given(st.lists(st.floats(-5, 5), min_size=30, max_size=30), st.randoms(use_true_random=False))
def test_neither_a_residents_own_level_nor_the_order_of_rows_matters(levels, chance):
    frame = uneven()
    order = list(range(len(frame)))
    chance.shuffle(order)
    levelled = frame.assign(
        pain_during=frame["pain_during"] + frame["wound"].str[1:].astype(int).map(dict(enumerate(levels)))
    )
    first, second = (answer(pain(rows, owners(frame), PLANNED)) for rows in (frame, levelled.iloc[order]))
    assert second[["amount", "error"]].tolist() == pytest.approx(first[["amount", "error"]].tolist(), abs=1e-7)


def test_nothing_is_changed_in_the_tables_handed_in():
    frame = uneven()
    before = frame.copy()
    pain(frame, owners(frame), PLANNED)
    pd.testing.assert_frame_equal(frame, before)


# --- the invented group ---


def many_debrided(seed: int, people: int = 150, rounds: int = 20, start: int = 70) -> pd.DataFrame:
    """Debridements made as the invented group's are, of wounds that all keep dead tissue and are all treated."""
    sores = pd.DataFrame(
        {"person": range(people), "entry": 3, "start": float(start), "regimen": "monopolar"},
    ).assign(wound=[f"W{n:03d}" for n in range(people)])
    row, day = np.repeat(np.arange(people), rounds), np.tile(3 + 7 * np.arange(rounds), people)
    measured = pd.DataFrame({"row": row, "day": day, "state": "open", "necrosis_share": 60.0})
    measured = measured.assign(wound=sores["wound"].to_numpy()[row])
    made = procedures(seed, sores, measured, np.full(people, 300), np.ones((people, 700), dtype=bool))
    return made.assign(relief=made["relief"].map({"yes": True, "no": False}).astype("boolean"))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_stimulation_takes_off_is_found_as_planted(seed):
    frame = many_debrided(seed)
    comfort = pain(frame, owners(frame), PLANNED)
    # Shorter than 15 minutes takes off half. Scores cut at 0 and 10 are few: they move 1.6 by less than 0.05.
    for group, planted in ((LONG, -RELIEF), (SHORT, -RELIEF / 2)):
        told = answer(comfort, group=group)
        assert told["low"] < planted < told["high"]
        assert told["high"] - told["low"] < 0.6
    assert answer(comfort, BEFORE)["low"] < 0 < answer(comfort, BEFORE)["high"]


def test_the_invented_group_has_too_few_with_relief_and_says_how_many(lifelike):
    comfort = pain(lifelike.procedures, lifelike.wounds, lifelike.plan)
    assert comfort.counts["procedures"].sum() == len(lifelike.procedures)
    told = answer(comfort)
    telling = comfort.people.loc[comfort.people["relief_group"] == LONG, "resident"].nunique()
    assert told["residents"] == telling
    assert told["is_told"] == (telling >= 10)
