"""Published studies pooled: ratios of closing and differences in size, in every way that a reader may ask for.

This is the one module of kit that leans on statsmodels; what it lacks is written out here and held against R's metafor.
"""

from __future__ import annotations

from math import nan

import numpy as np
import pandas as pd
from scipy.optimize import minimize_scalar
from scipy.stats import chi2, linregress, norm
from scipy.stats import t as student
from statsmodels.stats.meta_analysis import CombineResults, combine_effects, effectsize_2proportions

from kit.context.published_trials import CONTROL, ERROR, TREATED

FIXED, DERSIMONIAN, REML, HARTUNG = "fixed", "DerSimonian-Laird", "REML", "Hartung-Knapp"
KNAPP_WIDE = "Hartung-Knapp, no narrower"
PREDICTION, PREDICTION_KNAPP = "prediction", "prediction as Hartung-Knapp"
WAYS = (FIXED, DERSIMONIAN, REML, HARTUNG, KNAPP_WIDE, PREDICTION, PREDICTION_KNAPP)
MANTEL_HAENSZEL = "Mantel-Haenszel"
COLUMNS = (
    "way", "studies", "estimate", "low", "high", "error", "tau2", "q", "p", "i2", "not_computed",
)  # fmt: skip
_CLOSED, _OF = ("closed_treated", "closed_control"), ("closed_of_treated", "closed_of_control")
LEVEL, ADDED = 0.95, 0.5  # of every range; added to each cell of a study with an empty one
ALONE, NO_PREDICTION = "one study alone", "fewer than three studies"
HARDLY, TEN = "with fewer than ten studies this check can hardly tell", 10


def log_risk_ratios(arms: pd.DataFrame) -> pd.DataFrame:
    """The logarithm of the ratio of shares closed, treated over control, of each study.

    Columns in: trial, arm, closed, closed_of; one treated arm and one control a study. Columns out: trial, effect,
    variance. A study with an empty cell has 0.5 added to all four of its own; one in which nobody closed in either arm,
    or everybody in both, says nothing of a ratio and is left out.
    Raises ValueError where a study has not exactly one arm of each.
    """
    both = _side_by_side(arms, ["closed", "closed_of"])
    closed = both["closed_treated"] + both["closed_control"]
    both = both[(closed > 0) & (closed < both["closed_of_treated"] + both["closed_of_control"])]
    counts, whole = both[list(_CLOSED)].to_numpy(float), both[list(_OF)].to_numpy(float)
    # Added by hand: statsmodels' zero_correction adds to the closed of all studies, with an empty cell or without.
    added = ADDED * ((counts == 0) | (counts == whole)).any(axis=1, keepdims=True)
    (a, c), (n, m) = (counts + added).T, (whole + 2 * added).T
    return _effects(both, *effectsize_2proportions(a, n, c, m, statistic="risk-ratio"))


def mean_differences(arms: pd.DataFrame) -> pd.DataFrame:
    """The difference of mean percent reductions, treated less control, of each study.

    Columns in: trial, arm, reduction, reduction_spread, spread_is, reduction_of. Columns out: trial, effect, variance,
    in points of percent. A spread that is a standard error printed as a deviation enters as what it is.
    Raises ValueError where a study has not exactly one arm of each.
    """
    error = arms["reduction_spread"] / np.sqrt(arms["reduction_of"].astype(float))
    squared = error.where(arms["spread_is"] != ERROR, arms["reduction_spread"]) ** 2
    both = _side_by_side(arms.assign(squared=squared), ["reduction", "squared"])
    return _effects(
        both,
        both["reduction_treated"] - both["reduction_control"],
        both["squared_treated"] + both["squared_control"],
    )


def _side_by_side(arms: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """A row a study in the order of the table, its two arms beside each other."""
    side = arms["arm"].str.split(",").str[0]
    for trial, own in side.groupby(arms["trial"], sort=False):
        if sorted(own) != [CONTROL, TREATED]:
            raise ValueError(f"{trial}: pooling needs one treated arm and one control; choose one row of each")
    parts = [arms.loc[side == name, ["trial", *columns]] for name in (TREATED, CONTROL)]
    return parts[0].merge(parts[1], on="trial", suffixes=(f"_{TREATED}", f"_{CONTROL}"), validate="1:1")


def _effects(both: pd.DataFrame, effect: pd.Series | np.ndarray, variance: pd.Series | np.ndarray) -> pd.DataFrame:
    columns = {"trial": both["trial"], "effect": np.asarray(effect, float), "variance": np.asarray(variance, float)}
    return pd.DataFrame(columns).reset_index(drop=True)


def pooled(effects: pd.DataFrame) -> pd.DataFrame:
    """The studies pooled, a row a way, on the scale on which they come (logarithms for ratios).

    Columns in: trial, effect, variance. Columns out: way, studies, estimate, low, high (95%), error, tau2 (variance
    between studies), q (Cochran) with its chance p, i2 (percent of the spread that is between studies), not_computed.
    Where studies agree closer than chance has it Hartung-Knapp's range is too narrow, narrower even than that of the
    fixed way; the row "no narrower" then has REML's error, and is the one to show. Predictions are where the next study
    may lie: the first takes REML's error and Student's t of two degrees fewer than studies (Higgins et al. 2009), the
    other, as metafor prints it, Hartung-Knapp's error and one degree fewer. One study is not pooled, two give no
    prediction.

    Sources: DerSimonian R, Laird N, Controlled Clinical Trials 1986;7:177-188; Viechtbauer W, Journal of Educational
    and Behavioral Statistics 2005;30:261-293 (REML); Hartung J, Knapp G, Statistics in Medicine 2001;20:3875-3889;
    Roever C, Knapp G, Friede T, BMC Medical Research Methodology 2015;15:99 (no narrower; citation from memory);
    Higgins JPT, Thompson SG, Spiegelhalter DJ, J R Stat Soc A 2009;172:137-159 (prediction).
    """
    effect, variance = (effects[name].to_numpy(float) for name in ("effect", "variance"))
    studies = len(effect)
    if not studies:
        return _frame([_untold(way, 0, "no study") for way in WAYS])
    if studies == 1:
        own = _row(FIXED, 1, effect[0], variance[0] ** 0.5, norm.isf((1 - LEVEL) / 2))
        return _frame([own, *(_untold(way, 1, ALONE) for way in WAYS[1:])])
    return _frame(_ways(effect, variance))


def _ways(effect: np.ndarray, variance: np.ndarray) -> list[dict]:
    one = _combined(effect, variance)
    # statsmodels lets this variance fall below zero where studies agree closer than chance has it.
    tau2 = {FIXED: 0.0, DERSIMONIAN: max(one.tau2, 0.0), REML: _restricted_tau2(effect, variance)}
    normal = norm.isf((1 - LEVEL) / 2)
    rows = [
        _row(way, len(effect), fit.mean_effect_fe, fit.sd_eff_w_fe, normal, between)
        for way, between in tau2.items()
        # Weights of a random effects model are those of a fixed one with the variance between studies added.
        for fit in [_combined(effect, variance + between)]
    ]
    rows += _with_scale(effect, variance, tau2[REML], rows[-1])
    return [row | _heterogeneity(variance, max(one.q, 0.0), row) for row in rows]


def _combined(effect: np.ndarray, variance: np.ndarray) -> CombineResults:
    # A variance below zero has no root, and studies that agree wholly divide by nothing: neither number is used.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        return combine_effects(effect, variance, method_re="dl")


def _with_scale(effect: np.ndarray, variance: np.ndarray, tau2: float, reml: dict) -> list[dict]:
    """Hartung-Knapp's range and both predictions, all around REML's estimate."""
    studies, estimate = len(effect), reml["estimate"]
    error = _combined(effect, variance + tau2).sd_eff_w_fe_hksj
    tail = (1 - LEVEL) / 2
    rows = [
        _row(way, studies, estimate, own, student.isf(tail, studies - 1), tau2)
        for way, own in ((HARTUNG, error), (KNAPP_WIDE, max(error, reml["error"])))
    ]
    if studies < 3:
        return rows + [_untold(way, studies, NO_PREDICTION) for way in (PREDICTION, PREDICTION_KNAPP)]
    for way, own, degrees in ((PREDICTION, reml["error"], studies - 2), (PREDICTION_KNAPP, error, studies - 1)):
        rows.append(_row(way, studies, estimate, (tau2 + own**2) ** 0.5, student.isf(tail, degrees), tau2))
    return rows


def _restricted_tau2(effect: np.ndarray, variance: np.ndarray) -> float:
    """The variance between studies at which the restricted likelihood is highest; zero where none is higher."""
    wide = 10 * (np.var(effect) + variance.max())
    found = minimize_scalar(
        _restricted_criterion, bounds=(0, wide), args=(effect, variance), method="bounded",
        options={"xatol": 1e-10 * wide},
    )  # fmt: skip
    return float(found.x) if found.fun < _restricted_criterion(0.0, effect, variance) else 0.0


def _restricted_criterion(tau2: float, effect: np.ndarray, variance: np.ndarray) -> float:
    weight = 1 / (variance + tau2)
    off = effect - np.sum(weight * effect) / np.sum(weight)
    return float(np.sum(weight * off**2) - np.sum(np.log(weight)) + np.log(np.sum(weight)))


def _row(way: str, studies: int, estimate: float, error: float, width: float, tau2: float = nan) -> dict:
    low, high = estimate - width * error, estimate + width * error
    told = {"estimate": estimate, "low": low, "high": high, "error": error, "tau2": tau2}
    return _untold(way, studies, "") | told


def _untold(way: str, studies: int, why: str) -> dict:
    return dict.fromkeys(COLUMNS, nan) | {"way": way, "studies": studies, "not_computed": why}


def _heterogeneity(variance: np.ndarray, q: float, row: dict) -> dict:
    """How far studies disagree. Of the fixed way, which has no variance between them, i2 is that of their q."""
    degrees, weight = len(variance) - 1, 1 / variance
    typical = degrees * weight.sum() / (weight.sum() ** 2 - (weight**2).sum())
    by_q = max(0.0, 1 - degrees / q) if q > 0 else 0.0
    i2 = by_q if row["way"] == FIXED else row["tau2"] / (row["tau2"] + typical)
    return {"q": q, "p": chi2.sf(q, degrees), "i2": 100 * i2}


def _frame(rows: list[dict]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(COLUMNS))


def mantel_haenszel(arms: pd.DataFrame) -> pd.DataFrame:
    """The ratio of shares closed after Mantel and Haenszel, a row as of `pooled` and on its scale (the logarithm).

    Columns in: trial, arm, closed, closed_of. Nothing is added to empty cells; q is of the studies' own ratios, to
    which something is. Missing where nobody closed in one of the arms of all studies together.
    Source: error of Greenland S, Robins JM, Biometrics 1985;41:55-68.
    """
    both, effects = _side_by_side(arms, ["closed", "closed_of"]), log_risk_ratios(arms)
    if both.empty or not (both["closed_treated"].sum() and both["closed_control"].sum()):
        return _frame([_untold(MANTEL_HAENSZEL, len(effects), "nobody closed on one side")])
    (a, c), (n, m) = both[list(_CLOSED)].to_numpy(float).T, both[list(_OF)].to_numpy(float).T
    upper, lower = np.sum(a * m / (n + m)), np.sum(c * n / (n + m))
    error = (np.sum((n * m * (a + c) - a * c * (n + m)) / (n + m) ** 2) / (upper * lower)) ** 0.5
    row = _row(MANTEL_HAENSZEL, len(both), np.log(upper / lower), error, norm.isf((1 - LEVEL) / 2), 0.0)
    if len(effects) > 1:
        q = float((((effects["effect"] - row["estimate"]) ** 2) / effects["variance"]).sum())
        row |= _heterogeneity(effects["variance"].to_numpy(), q, row | {"way": FIXED})
    return _frame([row])


def small_studies(effects: pd.DataFrame) -> pd.DataFrame:
    """Whether small studies found more than large ones: the intercept of Egger's regression, one row.

    Columns in: trial, effect, variance. Columns out: studies, intercept, error, p (two-sided), says, not_computed. With
    fewer than ten studies a quiet check says next to nothing, and `says` says so (Sterne et al., BMJ 2011;343:d4002).
    Source: Egger M, Davey Smith G, Schneider M, Minder C, BMJ 1997;315:629-634.
    """
    studies, error = len(effects), np.sqrt(effects["variance"].to_numpy(float))
    told = {"studies": studies, "intercept": nan, "error": nan, "p": nan, "says": HARDLY if studies < TEN else ""}
    if studies < 3 or np.ptp(1 / error) == 0:
        why = NO_PREDICTION if studies < 3 else "all studies are of one size"
        return pd.DataFrame([told | {"not_computed": why}])
    line = linregress(1 / error, effects["effect"].to_numpy(float) / error)
    chance = 2 * student.sf(abs(line.intercept / line.intercept_stderr), studies - 2)
    told |= {"intercept": line.intercept, "error": line.intercept_stderr, "p": chance, "not_computed": ""}
    return pd.DataFrame([told])


def left_out(effects: pd.DataFrame, groups: pd.Series) -> pd.DataFrame:
    """The studies pooled without each of them in turn, and without each research group that has several of them.

    Columns in: those of `pooled`; `groups` names the research group by trial. Columns out: without ("study", or
    "research group"), left_out (its name), and those of `pooled`, a row a way.
    """
    own = effects["trial"].map(groups)
    cases = [("study", trial, effects["trial"] == trial) for trial in effects["trial"]]
    several = own.value_counts().loc[lambda counts: counts > 1].index
    cases += [("research group", group, own == group) for group in own.unique() if group in several]
    parts = [pooled(effects[~gone]).assign(without=what, left_out=name) for what, name, gone in cases]
    columns = ["without", "left_out", *COLUMNS]
    return pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame(columns=columns)


def of_groups(effects: pd.DataFrame, groups: pd.Series) -> pd.DataFrame:
    """How many of the studies are of one research group, the largest first: group, studies, of."""
    counts = effects["trial"].map(groups).value_counts()
    return pd.DataFrame({"group": counts.index, "studies": counts.to_numpy(), "of": len(effects)})
