"""The hazard ratios against hand-worked rows and R's survival package; the direction in which naive answers err.

Numbers in tests/reference/cox.csv were made by tests/reference/cox.R (R survival 3.5.3), which meets those published.
"""

from math import log
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kit.healing.cox import cox, leans

REFERENCE = Path(__file__).parent / "reference"
NUMBERS = pd.read_csv(REFERENCE / "cox.csv", dtype={"model": str, "term": str})
AS_R = 1e-6  # R and kit stop within 1e-9 of the top; the rest is rounding in sums of some hundred rows
SAME = 1e-8  # one fit in two ways: each stops within 1e-9 of the top
SAME_DRAWN = 1e-6  # drawn tables may be flat on top, so that rounding moves the fit further


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(REFERENCE / f"{name}.csv")


def known(case: str, model: str, quantity: str) -> np.ndarray:
    rows = NUMBERS[(NUMBERS["case"] == case) & (NUMBERS["model"] == model) & (NUMBERS["quantity"] == quantity)]
    assert len(rows), f"no reference number for {case}, {model}, {quantity}"
    return rows["value"].to_numpy()


def fitted(rows: pd.DataFrame, covariates: list[str], **more):
    return cox(rows["start"], rows["stop"], rows["event"], rows[covariates], **more)


def whole(rows: pd.DataFrame, time: str, event: str) -> pd.DataFrame:
    """A row a person, from before day 0: one of the heart patients died on it."""
    return rows.assign(start=-1, stop=rows[time], event=rows[event])


def heart_people() -> pd.DataFrame:
    return whole(data("jasa"), "days", "died")


def alive_at(day: int) -> pd.DataFrame:
    rows = heart_people().query("days > @day")
    return rows.assign(by_then=(rows["wait"] <= day).astype(int))


def marrow_people() -> pd.DataFrame:
    rows = whole(data("bmt"), "days", "event")
    return rows.assign(group2=(rows["group"] == 2).astype(int), group3=(rows["group"] == 3).astype(int))


def marrow_rows() -> pd.DataFrame:
    """A row up to the day the platelets came back and another from then on."""
    people = marrow_people()
    back = people.dropna(subset=["recovery_day"])
    before = back.assign(stop=back["recovery_day"], event=0, back=0)
    after = back.assign(start=back["recovery_day"], back=1)
    return pd.concat([people[people["recovery_day"].isna()].assign(back=0), before, after])


def freireich() -> pd.DataFrame:
    return whole(data("freireich"), "time", "event").assign(treated=lambda rows: (rows["arm"] == "6-MP").astype(int))


# case, model, rows, covariates in R's order, and the columns of cluster, weights and strata
MODELS = [
    ("six_rows", "plain", lambda: whole(data("six_rows"), "time", "event"), ["x"], {}),
    ("freireich", "plain", freireich, ["treated"], {}),
    ("heart", "aligned", lambda: data("heart"), ["transplant"], {}),
    ("heart", "aligned_adjusted", lambda: data("heart"), ["age", "year", "surgery", "transplant"], {}),
    ("heart", "aligned_clustered", lambda: data("heart"), ["age", "year", "surgery", "transplant"], {"cluster": "id"}),
    ("heart", "naive", heart_people, ["transplant"], {}),
    ("heart", "naive_adjusted", heart_people, ["age", "year", "surgery", "transplant"], {}),
    ("heart", "landmark", lambda: alive_at(30), ["by_then"], {}),
    ("bmt", "naive", marrow_people, ["group2", "group3", "recovered"], {}),
    ("bmt", "aligned", marrow_rows, ["group2", "group3", "back"], {}),
    ("kidney", "clustered", lambda: whole(data("kidney"), "time", "status"), ["age", "sex"], {"cluster": "id"}),
    ("diabetic", "clustered", lambda: whole(data("diabetic"), "time", "status"), ["trt"], {"cluster": "id"}),
    ("diabetic", "stratified", lambda: whole(data("diabetic"), "time", "status"), ["trt"], {"strata": "id"}),
    ("tied_rows", "plain", lambda: data("tied_rows"), ["treated", "size"], {}),
    ("tied_rows", "clustered", lambda: data("tied_rows"), ["treated", "size"], {"cluster": "cluster"}),
    (
        "tied_rows",
        "weighted",
        lambda: data("tied_rows"),
        ["treated", "size"],
        {"cluster": "cluster", "weights": "weight"},
    ),
    (
        "tied_rows",
        "stratified",
        lambda: data("tied_rows"),
        ["treated", "size"],
        {"cluster": "cluster", "weights": "weight", "strata": "stratum"},
    ),
]
IDS = [f"{case}_{model}" for case, model, *_ in MODELS]


def fit_of(rows: pd.DataFrame, covariates: list[str], columns: dict[str, str]):
    return fitted(rows, covariates, **{role: rows[column] for role, column in columns.items()})


# --- against R ---


@pytest.mark.parametrize(("case", "model", "rows", "covariates", "columns"), MODELS, ids=IDS)
def test_ratios_errors_and_likelihoods_are_those_of_r(case, model, rows, covariates, columns):
    found = fit_of(rows(), covariates, columns)
    assert found.coefficients == pytest.approx(known(case, model, "coefficient"), abs=AS_R)
    assert found.errors == pytest.approx(known(case, model, "error"), abs=AS_R)
    ends = [known(case, model, f"loglik_{end}")[0] for end in ("null", "fitted")]
    assert found.loglik == pytest.approx(ends, abs=AS_R)


@pytest.mark.parametrize(
    ("case", "model", "rows", "covariates", "columns"),
    [one for one in MODELS if "cluster" in one[-1]],
    ids=[name for name, one in zip(IDS, MODELS, strict=True) if "cluster" in one[-1]],
)
def test_errors_by_cluster_are_those_of_r(case, model, rows, covariates, columns):
    found = fit_of(rows(), covariates, columns)
    assert found.robust == pytest.approx(known(case, model, "robust_error"), abs=AS_R)


def test_every_model_of_the_recipe_is_fitted_here():
    made = NUMBERS.loc[NUMBERS["quantity"] == "coefficient", ["case", "model"]].drop_duplicates()
    assert sorted(made.itertuples(index=False, name=None)) == sorted((case, model) for case, model, *_ in MODELS)


# --- by hand ---


def test_six_rows_by_hand_give_the_textbook_ratio():
    """Therneau & Grambsch 2000, Modeling Survival Data, appendix: log r with r^3 - 23 r - 30 = 0, that is 1.676857.

    With r the hazard ratio, day 1 gives r/(3r + 3), day 6 by Efron r/((r + 3)(r + 5)/2), day 9 gives 1.
    The log likelihood is 2 log r - log(3r + 3) - log(r + 3) - log((r + 5)/2), its slope in log r
    2 - r/(r + 1) - r/(r + 3) - r/(r + 5).
    """
    rows = data("six_rows")
    found = cox(np.zeros(6), rows["time"], rows["event"], rows["x"])
    ratio = np.roots([1, 0, -23, -30]).max()
    top = 2 * log(ratio) - log(3 * ratio + 3) - log(ratio + 3) - log((ratio + 5) / 2)
    assert found.coefficients[0] == pytest.approx(log(ratio), abs=SAME)
    assert found.coefficients[0] == pytest.approx(1.676857, abs=5e-7)
    # at zero six, four and, by Efron, three rows are at risk
    assert found.loglik == pytest.approx((-log(6 * 4 * 3), top), abs=SAME)


def test_two_pairs_by_hand_give_the_matched_ratio():
    """In strata of one treated and one untreated the ratio is that of the pairs in which each was first: 3 to 1."""
    stop = np.array([1, 2, 1, 2, 1, 2, 2, 1])
    treated, pair = np.tile([1, 0], 4), np.repeat(range(4), 2)
    found = cox(np.zeros(8), stop, np.ones(8), treated, strata=pair)
    assert found.coefficients[0] == pytest.approx(log(3), abs=SAME)
    assert found.errors[0] == pytest.approx(np.sqrt(1 / 3 + 1), abs=SAME)  # McNemar's: 1 over each count, summed


def test_a_row_is_not_at_risk_on_the_day_it_starts():
    """Two rows start on day 5, on which the first closes: it does so out of two, not of four.

    Days 5 to 7 give r/(r + 1), 1/(r + 2) and 1/(r + 1); the slope 1 - 2r/(r + 1) - r/(r + 2) is 0 where r^2 + r = 1.
    """
    start, stop = np.array([0, 0, 5, 5]), np.array([5, 6, 7, 8])
    treated = np.array([1, 0, 0, 1])
    found = cox(start, stop, np.ones(4), treated)
    assert found.coefficients[0] == pytest.approx(log((np.sqrt(5) - 1) / 2), abs=SAME)


# --- what must not matter ---


spans = st.tuples(
    st.integers(0, 8),  # start
    st.integers(1, 8),  # length
    st.booleans(),  # event
    st.integers(0, 1),  # treated
    st.sampled_from([0.5, 1.0, 2.5]),  # weight
    st.integers(0, 4),  # cluster
)
tables = st.lists(spans, min_size=8, max_size=40)


def drawn(rows: list[tuple]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["start", "length", "event", "treated", "weight", "cluster"])
    return frame.assign(stop=frame["start"] + frame["length"])


def fit_drawn(frame: pd.DataFrame):
    return fitted(frame, ["treated"], weights=frame["weight"], cluster=frame["cluster"])


def fit_or_skip(frame: pd.DataFrame):
    """A table without an answer is no counterexample; what is refused has tests of its own."""
    try:
        return fit_drawn(frame)
    except ValueError:
        assume(False)


def assert_same(one, other):
    for name in ("coefficients", "errors", "robust", "loglik"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=SAME_DRAWN), name


@settings(deadline=None, derandomize=True)
@given(tables, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(rows, shuffler):
    shuffled = list(rows)
    shuffler.shuffle(shuffled)
    assert_same(fit_or_skip(drawn(rows)), fit_drawn(drawn(shuffled)))


@settings(deadline=None, derandomize=True)
@given(tables)
def test_splitting_a_row_in_two_changes_nothing(rows):
    frame = drawn(rows)
    long = frame["length"] > 1
    cut = frame["start"] + frame["length"] // 2
    before = frame[long].assign(stop=cut[long], event=False)
    after = frame[long].assign(start=cut[long])
    assert_same(fit_or_skip(frame), fit_drawn(pd.concat([frame[~long], before, after])))


@settings(deadline=None, derandomize=True)
@given(tables, st.sampled_from([0.25, 3.0, 40.0]))
def test_the_scale_of_weights_changes_neither_ratio_nor_robust_error(rows, times):
    frame = drawn(rows)
    one, other = fit_or_skip(frame), fit_drawn(frame.assign(weight=times * frame["weight"]))
    assert other.coefficients == pytest.approx(one.coefficients, abs=SAME_DRAWN)
    assert other.robust == pytest.approx(one.robust, abs=SAME_DRAWN)
    assert other.errors == pytest.approx(one.errors / np.sqrt(times), rel=SAME_DRAWN)


def test_a_row_of_weight_zero_might_as_well_be_absent():
    rows = data("tied_rows")
    without = rows[rows["cluster"] > 5]
    weights = np.where(rows["cluster"] > 5, rows["weight"], 0)
    left = fitted(rows, ["treated", "size"], weights=weights, cluster=rows["cluster"])
    assert_same(
        left, fitted(without, ["treated", "size"], weights=without["weight"], cluster=without["cluster"].astype(str))
    )


@pytest.mark.parametrize("scale", [1e-7, 1000])
def test_the_units_of_time_and_covariates_do_not_matter(scale):
    rows = data("heart")
    days = fitted(rows, ["age", "transplant"], cluster=rows["id"])
    other = rows.assign(start=rows["start"] / 7, stop=rows["stop"] / 7, age=100 * scale + scale * rows["age"])
    weeks = fitted(other, ["age", "transplant"], cluster=rows["id"])
    for name in ("coefficients", "errors", "robust"):
        assert getattr(weeks, name) * [scale, 1] == pytest.approx(getattr(days, name), abs=AS_R)


def test_without_clusters_there_are_no_errors_by_cluster():
    assert np.isnan(fitted(data("heart"), ["age", "transplant"]).robust).tolist() == [True, True]


# --- what is refused ---

ROWS = {"start": [0, 0, 0, 0], "stop": [1, 2, 3, 4], "event": [1, 0, 1, 1], "covariates": [1, 0, 0, 1]}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"event": [0, 0, 0, 0]}, "No row ends in the event."),
        ({"covariates": [1, 1, 1, 1]}, "Covariate 1 is the same in every row."),
        ({"stop": [0, 2, 3, 4]}, "Rows must stop after they start; 1 do not."),
        ({"start": [0, 5, 4, 0]}, "Rows must stop after they start; 2 do not."),
        ({"covariates": [1, np.nan, 0, 1]}, "is missing."),
        ({"event": [1, np.nan, 1, 1]}, "is missing."),
        ({"weights": [1, 1, 1, -1]}, "A weight is negative."),
        ({"strata": [1, 2, 2, 1]}, "does not vary among those at risk together"),
        ({"covariates": [[1, 2], [0, 0], [0, 0], [1, 2]]}, "follows from the others"),
        ({"covariates": [4, 3, 2, 1]}, "no finite estimate"),
    ],
)
def test_rows_that_have_no_answer_are_refused_in_one_line(change, words):
    with pytest.raises(ValueError, match=words) as refusal:
        cox(**{**ROWS, **change})
    assert "\n" not in str(refusal.value)


def test_the_rows_that_are_refused_when_spoiled_are_taken_as_they_are():
    assert np.isfinite(cox(**ROWS).coefficients).all()


# --- the direction in which a naive answer errs ---


def test_ever_transplanted_against_never_is_too_favourable():
    """Crowley & Hu 1977: those transplanted had to live until then; -1.3234 naive, +0.1271 aligned, death being bad."""
    naive = fitted(heart_people(), ["transplant"]).coefficients[0]
    aligned = fitted(data("heart"), ["transplant"]).coefficients[0]
    assert (naive, aligned) == pytest.approx((-1.3234, 0.1271), abs=5e-5)
    assert leans(float(naive), float(aligned), good=False) == "too favourable"


def test_ever_recovered_against_never_is_too_favourable():
    naive = fitted(marrow_people(), ["group2", "group3", "recovered"]).coefficients[2]
    aligned = fitted(marrow_rows(), ["group2", "group3", "back"]).coefficients[2]
    assert leans(float(naive), float(aligned), good=False) == "too favourable"


def test_weeks_before_the_start_given_to_the_treated_make_healing_look_slower():
    """Treated: 50 healed in 1,000 wound-weeks after the start, and 300 weeks before it. Untreated: 40 healed in 800."""
    naive = (50 / (1000 + 300)) / (40 / 800)
    aligned = (50 / 1000) / (40 / (800 + 300))
    assert (naive, aligned) == pytest.approx((10 / 13, 11 / 8))
    assert leans(log(naive), log(aligned), good=True) == "too unfavourable"


@pytest.mark.parametrize(
    ("naive", "aligned", "good", "words"),
    [
        (0.5, 0.1, True, "too favourable"),
        (0.1, 0.5, True, "too unfavourable"),
        (0.5, 0.1, False, "too unfavourable"),
        (0.1, 0.5, False, "too favourable"),
        (0.3, 0.1 + 0.2, True, "the same"),
        (0.1 + 0.2, 0.3, False, "the same"),
    ],
)
def test_more_of_a_good_event_looks_favourable_and_more_of_a_bad_one_unfavourable(naive, aligned, good, words):
    assert leans(naive, aligned, good) == words


def test_no_direction_is_told_of_what_is_not_a_number():
    with pytest.raises(ValueError, match="not a number"):
        leans(float("nan"), 0.1, good=True)
