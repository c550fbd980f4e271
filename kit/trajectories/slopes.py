"""How fast sizes change under each regimen, described; and the slope before and after a start in the same wounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.healing.resampling import DRAWS, SEED, Z, resident_draws, widened
from kit.trajectories.changes import LOG, ROOT, bends, drawn_means
from kit.trajectories.courses import GROUPS, Courses, design, split_at_start, with_closings
from kit.trajectories.inference import with_size
from kit.trajectories.models import MODEL_FROM, Model, enough, modelled, walk_of
from kit.trajectories.sums import CannotFit

BEFORE, ANY, ALL = "before any modality", "any modality", "all"
PACE, CHANGED = "pace", "change"
FEW_DRAWS = 200  # for the standard errors of the other models
CLOSED_AS = (0.1, 0.01)  # cm2, at which closings are entered to see what that does
TYPICAL = (0.25, 0.5, 0.75)  # the sizes at entry from which courses are told
AHEAD = (4, 8)  # weeks for which they are told
LIMITS = ("amount", "low", "high", "error")


@dataclass(frozen=True, eq=False)
class Slopes:
    """How sizes change, as models of log size (and of its root) have it.

    `pace`: percent a week by regimen and stage. `change`: the slope before and after a start in the same wounds, on
    both scales, and whether they agree so far that it may be told. `ahead`: what becomes of wounds of typical sizes.
    `ways`: the pace before any modality, and the change, under other choices. `courses` is what was read, `log` the
    main model.
    """

    pace: pd.DataFrame
    change: pd.DataFrame
    ahead: pd.DataFrame
    ways: pd.DataFrame
    courses: Courses
    log: Model
    draws: int
    seed: int


def slopes(seen: Courses, episodes: pd.DataFrame, draws: int = DRAWS, seed: int = SEED) -> Slopes | None:
    """The models of courses of sizes; None where there are too few for any.

    `episodes` tells when wounds closed. All limits are from whole residents drawn again and every model refitted (the
    main model `draws` times, the others at most 200): a model's own errors are far too small where sizes wander from
    week to week.
    """
    if not enough(seen):
        return None
    try:
        return _modelled(seen, episodes, draws, seed)
    except CannotFit:
        return None


def _modelled(seen: Courses, episodes: pd.DataFrame, draws: int, seed: int) -> Slopes:
    few, log = min(draws, FEW_DRAWS), modelled(seen, LOG, draws, seed)
    shut = {f"closings entered as {cm2:g} cm2": with_closings(seen, episodes, cm2) for cm2 in CLOSED_AS}
    split = split_at_start(seen)
    models = {
        "logarithm of the size": log,
        "root of the size": modelled(seen, ROOT, few, seed),
        "sizes that wander from week to week": modelled(seen, LOG, few, seed, walk_of(split, design(split))),
        **{way: modelled(closed, LOG, few, seed) for way, closed in shut.items()},
    }
    lines = {"logarithm of the size": (seen, LOG), "root of the size": (seen, ROOT)}
    lines |= {way: (closed, LOG) for way, closed in shut.items()}
    return Slopes(
        pace=_pace(seen, log),
        change=before_and_after(seen, draws, seed),
        ahead=_ahead(seen, log),
        ways=pd.DataFrame(_paces_by(seen, models) + _changes_by(lines, draws, seed), columns=["way", "asked", *LIMITS]),
        courses=seen,
        log=log,
        draws=draws,
        seed=seed,
    )


# --- what is read off the coefficients: rows of weights on columns ---


def _weights(model: Model, told: dict[str, float]) -> np.ndarray:
    """Weights on the coefficients; those of columns that were dropped fall away."""
    return np.array([told.get(name, 0.0) for name in model.rows.names])


def _in_draws(model: Model, weights: np.ndarray) -> np.ndarray:
    """The same in each draw; that a draw holds nobody of a column without weight does not make it missing."""
    asked = weights != 0
    return model.drawn[:, asked] @ weights[asked]


def _of_stage(seen: Courses, stage: str) -> dict[str, float]:
    """The weekly slope at a stage, or at the mix of stages of all wounds, size being typical, covariates average."""
    wounds = seen.sizes.drop_duplicates("wound")
    mix = {group: float((wounds["stage_group"] == group).mean()) for group in GROUPS}
    at = mix if stage == ALL else {stage: 1.0}
    return {"week": 1.0, **{f"{group}, a week": share for group, share in at.items()}}


def _before(seen: Courses, regimen: str) -> dict[str, float]:
    """What those that would start a regimen differ by before it; of all wounds, by their mix."""
    mix = seen.sizes.drop_duplicates("wound")["regimen"].value_counts(normalize=True)
    at = {name: float(mix.get(name, 0.0)) for name in seen.regimens} if regimen == BEFORE else {regimen: 1.0}
    return {f"would start {name}, a week": share for name, share in at.items()}


def _under(seen: Courses, regimen: str) -> dict[str, float]:
    """Before any modality, or after the start of a regimen."""
    return _before(seen, regimen) | ({} if regimen == BEFORE else {f"after {regimen}, a week": 1.0})


def smaller(slope: np.ndarray | float, scale: str = LOG, size: float = 1.0) -> np.ndarray | float:
    """By how many percent a wound of `size` is smaller after a week: 100 (1 - exp(slope)), or by its root."""
    if scale == LOG:
        return 100 * (1 - np.exp(slope))
    left = np.maximum(1 + slope / np.sqrt(size), 0.0)  # an edge that would pass the middle has closed the wound
    return 100 * (1 - left**2)


def _limits(value: float, drawn: np.ndarray, people: int) -> dict[str, float]:
    """Value, limits and standard error, from draws of residents, of whom `people` tell it (Student's t)."""
    error = float(np.nanstd(drawn))
    off = widened(Z, people) * error
    return {"amount": float(value), "low": float(value - off), "high": float(value + off), "error": error}


def _pace(seen: Courses, log: Model) -> pd.DataFrame:
    """Percent smaller a week: regimen, stage_group, wounds, residents, amount, low, high, error."""
    present = [group for group in GROUPS if (seen.sizes["stage_group"] == group).any()]
    groups = [ALL, *(present if len(present) > 1 else [])]
    rows = []
    for regimen in (BEFORE, *seen.regimens):
        for group in groups:
            own = _seen_in(seen.sizes, regimen, group)
            if own["resident"].nunique() < MODEL_FROM:
                continue
            weights = _weights(log, _of_stage(seen, group) | _under(seen, regimen))
            people = own["resident"].nunique()
            rows.append(
                {"regimen": regimen, "stage_group": group, "wounds": own["wound"].nunique(), "residents": people}
                | _limits(smaller(weights @ log.fit.beta), smaller(_in_draws(log, weights)), people)
            )
    return pd.DataFrame(rows, columns=["regimen", "stage_group", "wounds", "residents", *LIMITS])


def _seen_in(sizes: pd.DataFrame, regimen: str, group: str) -> pd.DataFrame:
    """The sizes of wounds with a course there: two before any start, or one after it beside the one it began with."""
    before = regimen == BEFORE
    own = sizes[sizes["since"] == 0 if before else (sizes["regimen"] == regimen) & (sizes["since"] > 0)]
    own = own[own["wound"].map(own.groupby("wound")["day"].nunique()) >= (2 if before else 1)]
    return own if group == ALL else own[own["stage_group"] == group]


CHANGE = ("regimen", "wounds", "residents", "before", "after", *LIMITS, "by_root", "agrees")


def before_and_after(seen: Courses, draws: int = DRAWS, seed: int = SEED) -> pd.DataFrame:
    """The slope before and after a start in the same wounds, in percent a week, and whether both scales agree.

    Columns: regimen, wounds, residents, before, after, amount (after less before), low, high, error, by_root, agrees.
    """
    by_log, by_root = bends(seen, LOG), bends(seen, ROOT)
    rows = []
    for regimen in (ANY, *seen.regimens):
        log, root = (told if regimen == ANY else told[told["regimen"] == regimen] for told in (by_log, by_root))
        if log["resident"].nunique() >= MODEL_FROM:
            size = _size_at_start(seen, log["wound"])
            rows.append({"regimen": regimen, **_one_change(log, root, size, draws, seed)})
    return pd.DataFrame(rows, columns=list(CHANGE))


def _one_change(log: pd.DataFrame, root: pd.DataFrame, size: float, draws: int, seed: int) -> dict:
    told, other = _changed(log, LOG, size, draws, seed), _changed(root, ROOT, size, draws, seed)
    by_root = other["after"] - other["before"]
    agrees = bool(by_root * told["amount"] > 0 and abs(by_root - told["amount"]) <= told["error"])
    return {**told, "wounds": len(log), "by_root": by_root, "agrees": agrees}


def _changed(told: pd.DataFrame, scale: str, size: float, draws: int, seed: int) -> dict[str, float]:
    """Percent smaller a week before and after the start, of wounds of `size`, and their difference with limits."""
    people = np.unique(told["resident"])
    counts = resident_draws(people, draws, seed)
    means = np.vstack([told[["before", "bend"]].mean(), drawn_means(told, people, counts)])
    before, after = (smaller(slope, scale, size) for slope in (means[:, 0], means.sum(axis=1)))
    limits = _limits(after[0] - before[0], after[1:] - before[1:], len(people))
    return {"residents": len(people), "before": float(before[0]), "after": float(after[0]), **limits}


def _size_at_start(seen: Courses, wounds: pd.Series) -> float:
    """The median size that these wounds last had before their start."""
    own = seen.sizes[(seen.sizes["since"] == 0) & seen.sizes["wound"].isin(wounds)]
    return float(own.drop_duplicates("wound", keep="last")["size"].median())


def _ahead(seen: Courses, log: Model) -> pd.DataFrame:
    """What is expected of wounds of typical sizes: regimen, size, weeks, amount, low, high (cm2)."""
    entry = seen.sizes.drop_duplicates("wound")["size"].quantile(TYPICAL)
    typical = np.unique(np.maximum(np.round(entry, 1), 0.1))  # to a tenth: two alike are told once
    split, rows = split_at_start(seen), []
    for regimen in (BEFORE, *seen.regimens):
        people = _seen_in(seen.sizes, regimen, ALL)["resident"].nunique()
        if people < MODEL_FROM:
            continue
        weights = _weights(log, _of_stage(seen, ALL) | _under(seen, regimen))
        for size in typical:
            of_size = with_size(log.fit, whole=True) * (np.log(size) - np.log(split.typical))
            for weeks in AHEAD:
                paces = (each + of_size for each in (weights @ log.fit.beta, _in_draws(log, weights)))
                then = _limits(*(weeks * pace for pace in paces), people)
                cm2 = {name: size * float(np.exp(then[name])) for name in ("amount", "low", "high")}
                rows.append({"regimen": regimen, "size": float(size), "weeks": weeks, **cm2})
    return pd.DataFrame(rows, columns=["regimen", "size", "weeks", "amount", "low", "high"])


def _paces_by(seen: Courses, models: dict[str, Model]) -> list[dict]:
    """The pace of all wounds before any modality under each choice: way, asked, amount and limits."""
    size, people = split_at_start(seen).typical, _seen_in(seen.sizes, BEFORE, ALL)["resident"].nunique()
    if people < MODEL_FROM:
        return []
    rows = []
    for way, model in models.items():
        at = _weights(model, _of_stage(seen, ALL) | _before(seen, BEFORE))
        paces = [smaller(each, model.scale, size) for each in (at @ model.fit.beta, _in_draws(model, at))]
        rows.append({"way": way, "asked": PACE, **_limits(*paces, people)})
    return rows


def _changes_by(lines: dict[str, tuple[Courses, str]], draws: int, seed: int) -> list[dict]:
    """The change after any start under each choice, where wounds enough tell it: the same columns."""
    rows = []
    for way, (seen, scale) in lines.items():
        told = bends(seen, scale)
        if told["resident"].nunique() >= MODEL_FROM:
            changed = _changed(told, scale, _size_at_start(seen, told["wound"]), draws, seed)
            rows.append({"way": way, "asked": CHANGED, **{name: changed[name] for name in LIMITS}})
    return rows
