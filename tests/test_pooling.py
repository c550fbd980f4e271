"""Published studies pooled: against R's metafor, against published values, and by hand where both hands suffice."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.context.evidence import body_of
from kit.context.pooling import (
    COLUMNS,
    DERSIMONIAN,
    FIXED,
    HARDLY,
    HARTUNG,
    KNAPP_WIDE,
    MANTEL_HAENSZEL,
    PREDICTION,
    PREDICTION_KNAPP,
    REML,
    WAYS,
    left_out,
    log_risk_ratios,
    mantel_haenszel,
    mean_differences,
    of_groups,
    pooled,
    small_studies,
)  # fmt: skip
from kit.context.published_trials import trials

EXACT = 1e-9  # sums of a few numbers
CLOSE = 1e-7  # metafor iterates its variance between studies to 1e-14, here it is searched to 1e-10 of the span
LOOSE = 5e-4  # of the size studies: deviations of one are entered with four decimals, R has them unrounded
REFERENCE = pd.read_csv(
    Path(__file__).parent / "reference" / "meta_analysis.csv", dtype={"term": str}, keep_default_na=False
)
LISTED = trials()
OF = {
    "closing": ("stimulation", "closing"),
    "ultrasound": ("ultrasound", "closing"),
    "high_volt": ("stimulation", "size"),
}


def known(case, quantity):
    own = REFERENCE[(REFERENCE["case"] == case) & (REFERENCE["quantity"] == quantity)]
    assert len(own)
    return dict(zip(own["term"].str.replace(";", ","), own["value"].astype(float), strict=True))


def arms_of(case):
    """The arms of a case of the reference as the list has them: a row an arm, from the counts that R read."""
    parts = []
    for arm in ("treated", "control"):
        closed, of = known(case, f"closed_{arm}"), known(case, f"of_{arm}")
        rows = [(trial, arm, closed[trial], of[trial]) for trial in closed]
        parts.append(pd.DataFrame(rows, columns=["trial", "arm", "closed", "closed_of"]))
    return pd.concat(parts, ignore_index=True)


def effects_of(case):
    if case == "bcg":
        return log_risk_ratios(arms_of("bcg"))
    return body_of(LISTED, *OF[case]).effects


def by_way(effects, column):
    return pooled(effects).set_index("way")[column]


def closed(*rows):
    """A frame of arms from (trial, closed, of, closed beside, of)."""
    told = [(t, "treated", a, n) for t, a, n, _, _ in rows] + [(t, "control", c, m) for t, _, _, c, m in rows]
    return pd.DataFrame(told, columns=["trial", "arm", "closed", "closed_of"])


def effects(*pairs):
    frame = pd.DataFrame(pairs, columns=["effect", "variance"])
    return frame.assign(trial=[f"study {number}" for number in range(len(frame))])[["trial", "effect", "variance"]]


# --- against metafor (tests/reference/meta_analysis.R) ---

CASES = ["closing", "ultrasound", "bcg", "high_volt"]


@pytest.mark.parametrize("case", CASES)
def test_each_studys_effect_and_variance(case):
    own = effects_of(case).set_index("trial")
    for column in ("effect", "variance"):
        expected = known(case, column)
        assert set(own.index) == set(expected)
        assert own[column].to_dict() == pytest.approx(expected, abs=LOOSE if case == "high_volt" else EXACT)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("column", ["estimate", "low", "high", "error", "tau2", "q", "p", "i2"])
def test_every_way_of_pooling(case, column):
    expected = known(case, column)
    expected.pop(MANTEL_HAENSZEL, None)
    own = by_way(effects_of(case), column).to_dict()
    assert len(expected) == (7 if column in ("low", "high") and case != "ultrasound" else 5)  # with both predictions
    tolerance = LOOSE if case == "high_volt" else CLOSE
    assert {way: own[way] for way in expected} == pytest.approx(
        expected, abs=tolerance * (100 if column == "i2" else 1)
    )


@pytest.mark.parametrize("case", ["closing", "ultrasound", "bcg"])
def test_mantel_and_haenszel(case):
    row = mantel_haenszel(arms_of(case)).iloc[0]
    for column in ("estimate", "low", "high", "error", "q"):
        assert row[column] == pytest.approx(known(case, column)[MANTEL_HAENSZEL], abs=EXACT), column


@pytest.mark.parametrize("case", ["closing", "bcg", "high_volt"])
def test_eggers_intercept(case):
    row = small_studies(effects_of(case)).iloc[0]
    for column, quantity in (("intercept", "egger"), ("error", "egger_error"), ("p", "egger_p")):
        assert row[column] == pytest.approx(known(case, quantity)[""], abs=LOOSE if case == "high_volt" else CLOSE)


@pytest.mark.parametrize("case", ["closing", "bcg", "high_volt"])
def test_without_each_study(case):
    own = effects_of(case)
    rows = left_out(own, pd.Series(own["trial"].to_numpy(), index=own["trial"]))
    rows = rows[rows["way"] == HARTUNG].set_index("left_out")
    for column in ("estimate", "low", "high"):
        expected = known(case, f"without_{column}")
        assert rows[column].to_dict() == pytest.approx(expected, abs=LOOSE if case == "high_volt" else CLOSE)


# --- against published values ---


def test_four_studies_of_high_volt_current():
    """176 people; a published review of the same four prints the range 24.59 to 47.76."""
    body = body_of(LISTED, "stimulation", "size")
    row = body.pooled.set_index("way").loc[FIXED]
    assert int(body.arms["people"].sum()) == 176
    assert [round(row[name], 4) for name in ("estimate", "low", "high")] == [36.1461, 24.6203, 47.6719]
    assert (round(row["error"], 5), round(row["q"], 5)) == (5.88063, 1.74464)
    assert row["low"] == pytest.approx(24.59, abs=0.1) and row["high"] == pytest.approx(47.76, abs=0.1)


def test_ultrasound_as_the_cochrane_review_has_it():
    """0.97 (0.65 to 1.45), Akbari Sari 2006, from memory."""
    row = mantel_haenszel(body_of(LISTED, "ultrasound", "closing").arms).iloc[0]
    ratio = np.exp(row[["estimate", "low", "high"]].to_numpy(float))
    assert list(np.round(ratio, 4)) == [0.9734, 0.6525, 1.4520]


# Computed in R before this module was written; REML's tau2 was then 0.792836 (metafor's usual 1e-5), settled 0.7928325.
FIVE = {
    FIXED: (2.0253, 1.0542, 3.8909),
    DERSIMONIAN: (2.6024, 0.9205, 7.3570),
    REML: (2.6419, 0.9028, 7.7312),
    HARTUNG: (2.6419, 0.5271, 13.2409),
    KNAPP_WIDE: (2.6419, 0.5271, 13.2409),
}


@pytest.mark.parametrize("way", FIVE)
def test_five_studies_of_closing(way):
    row = pooled(effects_of("closing")).set_index("way").loc[way]
    ratio = np.exp(row[["estimate", "low", "high"]].to_numpy(float))
    assert list(ratio) == pytest.approx(FIVE[way], abs=1.5e-4)  # printed to four decimals, of a looser tau2


def test_how_far_the_five_disagree():
    rows = pooled(effects_of("closing")).set_index("way")
    assert rows.loc[DERSIMONIAN, "tau2"] == pytest.approx(0.706057, abs=5e-7)
    assert rows.loc[REML, "tau2"] == pytest.approx(0.792836, abs=5e-6)
    assert rows.loc[FIXED, ["q", "p", "i2"]].tolist() == pytest.approx([8.50113, 0.0749, 52.9], abs=0.05)
    assert rows.loc[FIXED, "q"] == pytest.approx(8.50113, abs=5e-6)
    prediction = np.exp(rows.loc[PREDICTION_KNAPP, ["low", "high"]].to_numpy(float))
    assert list(prediction) == pytest.approx([0.1381, 50.5369], abs=5e-4)


def test_one_assumption_more_and_the_same_studies_say_not_known():
    rows = pooled(effects_of("closing")).set_index("way")
    assert rows.loc[FIXED, "low"] > 0 > rows.loc[HARTUNG, "low"]


# metafor's documentation of dat.bcg, from memory.
def test_bcg():
    rows = pooled(effects_of("bcg")).set_index("way")
    estimates = [round(rows.loc[way, "estimate"], 6) for way in (FIXED, DERSIMONIAN, REML)]
    assert estimates == [-0.430285, -0.714117, -0.714532]
    assert list(np.round(rows.loc[HARTUNG, ["low", "high"]].astype(float), 3)) == [-1.108, -0.321]


# Ratio with its range, each study alone; Houghton 2010, Wood 1993 and the others as R has them.
@pytest.mark.parametrize(
    ("trial", "reading", "numbers"),
    [
        ("Wood 1993", "", (18.0233, 2.5779, 126.01)),
        ("Adunsky 2005", "", (1.3333, 0.3483, 5.1039)),
        ("Adunsky 2005", "day 147", (0.7200, 0.3398, 1.5258)),
        ("Houghton 2010", "", (1.3500, 0.5081, 3.5872)),
        ("Peters 2001", "", (1.8571, 0.9424, 3.6597)),
        ("ter Riet 1996", "", (0.9053, 0.5541, 1.4789)),
        ("Watson 2011", "", (0.9286, 0.7313, 1.1790)),
    ],
)
def test_one_study_alone(trial, reading, numbers):
    own = LISTED[(LISTED["trial"] == trial) & (LISTED["reading"] == reading)]
    row = pooled(log_risk_ratios(own)).set_index("way").loc[FIXED]
    assert list(np.exp(row[["estimate", "low", "high"]].to_numpy(float))) == pytest.approx(
        numbers, abs=5.1e-5, rel=3e-5
    )


# --- by hand ---


def test_only_the_study_with_an_empty_cell_has_a_half_added():
    """9 of 9 beside 0 of 7: (9.5/10) / (0.5/8) = 15.2; 5 of 10 beside 2 of 10: 2.5, as they are."""
    own = log_risk_ratios(closed(("empty", 9, 9, 0, 7), ("full", 5, 10, 2, 10)))
    assert list(np.exp(own["effect"])) == pytest.approx([15.2, 2.5], abs=EXACT)
    variance = [1 / 9.5 - 1 / 10 + 1 / 0.5 - 1 / 8, 1 / 5 - 1 / 10 + 1 / 2 - 1 / 10]
    assert list(own["variance"]) == pytest.approx(variance, abs=EXACT)


def test_a_study_in_which_nobody_closed_or_everybody_did_says_nothing():
    own = log_risk_ratios(closed(("none", 0, 5, 0, 6), ("all", 5, 5, 6, 6), ("some", 1, 5, 1, 6)))
    assert list(own["trial"]) == ["some"]


def sized(*spreads):
    told = [("a", "treated", 60.0, *spreads[0]), ("a", "control", 20.0, *spreads[1])]
    return pd.DataFrame(told, columns=["trial", "arm", "reduction", "reduction_spread", "spread_is", "reduction_of"])


def test_a_standard_error_printed_as_a_deviation_enters_as_an_error():
    """Spread 20 of 16: a deviation is 20/4 = 5, squared 25; as an error 400. Beside: 30/5 = 6, squared 36; 900."""
    as_sd = mean_differences(sized((20.0, "sd", 16), (30.0, "sd", 25)))
    as_error = mean_differences(sized((20.0, "se printed as sd", 16), (30.0, "se printed as sd", 25)))
    assert as_sd.to_dict("records") == [{"trial": "a", "effect": 40.0, "variance": pytest.approx(61, abs=EXACT)}]
    assert as_error["variance"].iloc[0] == pytest.approx(1300, abs=EXACT)


def test_houghton_2003_by_its_errors():
    """8.8 and 8.9 as errors: 44.3 - 16.0 = 28.3, variance 8.8^2 + 8.9^2 = 156.65."""
    own = mean_differences(LISTED[LISTED["trial"] == "Houghton 2003"]).iloc[0]
    assert (own["effect"], own["variance"]) == (pytest.approx(28.3, abs=EXACT), pytest.approx(156.65, abs=EXACT))


def test_mantel_and_haenszel_by_hand():
    """4 of 10 and 2 of 10: 4 x 10/20 = 2 over 2 x 10/20 = 1; then 6 of 20 and 6 of 20, 3 over 3: (2 + 3)/(1 + 3)."""
    row = mantel_haenszel(closed(("a", 4, 10, 2, 10), ("b", 6, 20, 6, 20))).iloc[0]
    assert np.exp(row["estimate"]) == pytest.approx(5 / 4, abs=EXACT)


def test_mantel_and_haenszel_where_nobody_closed_on_one_side():
    row = mantel_haenszel(closed(("a", 4, 10, 0, 10))).iloc[0]
    assert row["not_computed"] == "nobody closed on one side" and np.isnan(row["estimate"])


def test_two_studies_by_hand():
    """Effects 0 and 2, variances 1: mean 1, error sqrt(1/2), q = 2, tau2 = (2 - 1)/(2 - 2/2) = 1, error with it 1."""
    rows = pooled(effects((0, 1), (2, 1))).set_index("way")
    assert rows.loc[FIXED, ["estimate", "error", "q", "tau2"]].tolist() == pytest.approx([1, 0.5**0.5, 2, 0], abs=EXACT)
    assert rows.loc[DERSIMONIAN, ["error", "tau2", "i2"]].tolist() == pytest.approx([1, 1, 50], abs=EXACT)
    # With equal variances REML's is that of the effects (2) less their own (1).
    assert rows.loc[REML, "tau2"] == pytest.approx(1, abs=CLOSE)
    # t of one degree: 12.7062 x the error 1.
    assert rows.loc[HARTUNG, "high"] == pytest.approx(1 + 12.7062, abs=1e-4)


def test_two_studies_give_no_prediction():
    rows = pooled(effects((0, 1), (2, 1))).set_index("way")
    assert (rows.loc[[PREDICTION, PREDICTION_KNAPP], "not_computed"] == "fewer than three studies").all()


def test_one_study_is_not_pooled():
    rows = pooled(effects((1, 4))).set_index("way")
    assert list(rows.index) == list(WAYS)
    assert rows.loc[FIXED, ["estimate", "low", "high"]].tolist() == pytest.approx(
        [1, 1 - 3.919928, 1 + 3.919928], abs=1e-6
    )
    assert (rows.drop(FIXED)["not_computed"] == "one study alone").all()


def test_no_study_at_all():
    nothing = effects()
    assert (pooled(nothing)["not_computed"] == "no study").all()
    assert left_out(nothing, pd.Series(dtype=object)).empty
    assert small_studies(nothing)["not_computed"].iloc[0] == "fewer than three studies"
    assert of_groups(nothing, pd.Series(dtype=object)).empty


def test_studies_that_agree_wholly_have_no_variance_between_them():
    rows = pooled(effects((1, 1), (1, 2), (1, 3))).set_index("way")
    assert rows.loc[[DERSIMONIAN, REML], "tau2"].tolist() == [0, 0]
    assert rows.loc[FIXED, "i2"] == 0
    assert rows.loc[HARTUNG, "error"] == pytest.approx(0, abs=EXACT)
    assert rows.loc[KNAPP_WIDE, "error"] == pytest.approx(rows.loc[REML, "error"], abs=EXACT)


def test_two_treated_arms_of_one_control_are_refused():
    own = LISTED[(LISTED["trial"] == "Polak 2017")]
    with pytest.raises(ValueError, match="Polak 2017: pooling needs one treated arm and one control"):
        mean_differences(own)


def test_a_missing_control_is_refused():
    with pytest.raises(ValueError, match="one treated arm and one control"):
        log_risk_ratios(closed(("a", 1, 5, 1, 6)).head(1))


def test_nothing_changes_what_it_is_given():
    arms, own = arms_of("closing"), effects_of("closing")
    before = arms.copy(), own.copy()
    log_risk_ratios(arms), mantel_haenszel(arms), pooled(own), small_studies(own)
    pd.testing.assert_frame_equal(arms, before[0])
    pd.testing.assert_frame_equal(own, before[1])


# --- small studies, groups ---


def test_below_ten_studies_the_check_says_that_it_can_hardly_tell():
    assert small_studies(effects_of("closing"))["says"].iloc[0] == HARDLY
    assert small_studies(effects_of("bcg"))["says"].iloc[0] == ""  # thirteen


def test_studies_of_one_size_do_not_tell_small_from_large():
    row = small_studies(effects((0, 1), (1, 1), (2, 1))).iloc[0]
    assert row["not_computed"] == "all studies are of one size" and np.isnan(row["p"])


def test_a_group_of_several_studies_is_left_out_as_one():
    own = effects((0, 1), (1, 1), (2, 1))
    groups = pd.Series({"study 0": "north", "study 1": "north", "study 2": "south"})
    rows = left_out(own, groups)
    fixed = rows[rows["way"] == FIXED].set_index(["without", "left_out"])["estimate"]
    assert fixed.to_dict() == {
        ("study", "study 0"): 1.5, ("study", "study 1"): 1.0, ("study", "study 2"): 0.5,
        ("research group", "north"): 2.0,
    }  # fmt: skip
    assert of_groups(own, groups).to_dict("records") == [
        {"group": "north", "studies": 2, "of": 3}, {"group": "south", "studies": 1, "of": 3}
    ]  # fmt: skip


# --- properties ---

STUDIES = st.lists(st.tuples(st.floats(-3, 3), st.floats(0.01, 5)), min_size=2, max_size=8)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(STUDIES)
def test_turning_the_arms_round_turns_the_sign_of_every_way(pairs):
    one, other = pooled(effects(*pairs)), pooled(effects(*[(-effect, variance) for effect, variance in pairs]))
    np.testing.assert_allclose(one["estimate"], -other["estimate"], atol=1e-5)
    np.testing.assert_allclose(one["low"], -other["high"], atol=1e-4)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(STUDIES)
def test_no_range_that_lets_studies_differ_is_narrower_than_the_fixed_one(pairs):
    rows = pooled(effects(*pairs)).set_index("way")
    width = rows["high"] - rows["low"]
    assert list(rows.columns) == [name for name in COLUMNS if name != "way"]
    assert (width[[DERSIMONIAN, REML, KNAPP_WIDE]] >= width[FIXED] - 1e-9).all()
    assert (rows[["tau2", "q"]].min() >= 0).all()
