"""How fast sizes change under each regimen, described; and the slope before and after a start in the same wounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit.healing.resampling import DRAWS, SEED, Z, widened
from kit.trajectories.courses import GROUPS, Courses, design, with_closings
from kit.trajectories.models import LOG, MODEL_FROM, ROOT, Model, enough, modelled, walk_of
from kit.wounds.episodes import UNTREATED

BEFORE, ANY, ALL = "before any modality", "any modality", "all"
PACE, CHANGED = "pace", "change"
FEW_DRAWS = 200  # for the standard errors of the other models
CLOSED_AS = (0.1, 0.01)  # cm2, at which closings are entered to see what that does
TYPICAL = (0.25, 0.5, 0.75)  # the sizes at entry from which courses are told
AHEAD = (4, 8)  # weeks for which they are told


@dataclass(frozen=True, eq=False)
class Slopes:
    """How sizes change, as models of log size (and of its root) have it.

    `pace`: percent a week by regimen and stage. `change`: the slope before and after a start in the same wounds, from
    both models, and whether they agree so far that it may be told. `ahead`: what becomes of wounds of typical sizes.
    `ways`: the slope change under other choices. `courses` is what was read, `log` the main model.
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
    few = min(draws, FEW_DRAWS)
    log, root = modelled(seen, LOG, draws, seed), modelled(seen, ROOT, few, seed)
    others = {
        "logarithm of the size": log,
        "root of the size": root,
        "sizes that wander from week to week": modelled(seen, LOG, few, seed, walk_of(seen, design(seen))),
        **{f"closings entered as {cm2:g} cm2": modelled(with_closings(seen, episodes, cm2), LOG, few, seed)
           for cm2 in CLOSED_AS},
    }  # fmt: skip
    return Slopes(
        pace=_pace(seen, log),
        change=_change(seen, log, root),
        ahead=_ahead(seen, log),
        ways=_ways(seen, others),
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
    """The weekly slope at a stage, or at the mix of stages of all wounds, covariates being average."""
    wounds = seen.sizes.drop_duplicates("wound")
    mix = {group: float((wounds["stage_group"] == group).mean()) for group in GROUPS}
    at = mix if stage == ALL else {stage: 1.0}
    return {"week": 1.0, **{f"{group}, a week": share for group, share in at.items()}}


def _before(seen: Courses, regimen: str) -> dict[str, float]:
    """What those that would start a regimen differ by before it; of all wounds, by their mix."""
    mix = seen.sizes.drop_duplicates("wound")["regimen"].value_counts(normalize=True)
    if regimen == ANY:
        mix = mix[list(seen.regimens)] / mix[list(seen.regimens)].sum()
    at = {name: float(mix.get(name, 0.0)) for name in seen.regimens} if regimen in (BEFORE, ANY) else {regimen: 1.0}
    return {f"would start {name}, a week": share for name, share in at.items()}


def _after(seen: Courses, regimen: str) -> dict[str, float]:
    """The slope change after the start of a regimen; after any, by their mix."""
    mix = seen.sizes.drop_duplicates("wound")["regimen"].value_counts()[list(seen.regimens)]
    at = (mix / mix.sum()).to_dict() if regimen == ANY else {regimen: 1.0}
    return {f"after {name}": float(share) for name, share in at.items()}


def _under(seen: Courses, regimen: str) -> dict[str, float]:
    """Before any modality, or after the start of a regimen."""
    return _before(seen, regimen) | ({} if regimen == BEFORE else _after(seen, regimen))


def smaller(slope: np.ndarray | float, scale: str = LOG, size: float = 1.0) -> np.ndarray | float:
    """By how many percent a wound of `size` is smaller after a week: 100 (1 - exp(slope)), or by its root."""
    if scale == LOG:
        return 100 * (1 - np.exp(slope))
    return 100 * (1 - (1 + slope / np.sqrt(size)) ** 2)


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
            told = (
                _of_stage(seen, group) | _before(seen, regimen) | ({} if regimen == BEFORE else _after(seen, regimen))
            )
            weights = _weights(log, told)
            people = own["resident"].nunique()
            rows.append(
                {"regimen": regimen, "stage_group": group, "wounds": own["wound"].nunique(), "residents": people}
                | _limits(smaller(weights @ log.fit.beta), smaller(_in_draws(log, weights)), people)
            )
    return pd.DataFrame(rows, columns=["regimen", "stage_group", "wounds", "residents", *LIMITS])


LIMITS = ("amount", "low", "high", "error")


def _seen_in(sizes: pd.DataFrame, regimen: str, group: str) -> pd.DataFrame:
    own = (
        sizes[sizes["since"] == 0] if regimen == BEFORE else sizes[(sizes["regimen"] == regimen) & (sizes["since"] > 0)]
    )
    return own if group == ALL else own[own["stage_group"] == group]


def _change(seen: Courses, log: Model, root: Model) -> pd.DataFrame:
    """The slope before and after a start in the same wounds, in percent a week, and whether both models agree.

    Columns: regimen, wounds, residents, before, after, amount (after less before), low, high, error, by_root, agrees.
    """
    asked = (ANY, *seen.regimens) if seen.regimens else ()
    return pd.DataFrame([_one_change(seen, log, root, regimen) for regimen in asked], columns=list(CHANGE))


CHANGE = ("regimen", "wounds", "residents", "before", "after", *LIMITS, "by_root", "agrees")


def _one_change(seen: Courses, log: Model, root: Model, regimen: str) -> dict:
    own = seen.sizes[seen.sizes["since"] > 0]
    own = own if regimen == ANY else own[own["regimen"] == regimen]
    people, size = own["resident"].nunique(), _size_at_start(seen, regimen)
    before, after, drawn = _both(seen, log, regimen, size)
    limits = _limits(after - before, drawn, people)
    root_before, root_after, _ = _both(seen, root, regimen, size)
    by_root = float(root_after - root_before)
    agrees = bool(by_root * limits["amount"] > 0 and abs(by_root - limits["amount"]) <= limits["error"])
    return {
        "regimen": regimen, "wounds": own["wound"].nunique(), "residents": people, "before": before, "after": after,
        **limits, "by_root": by_root, "agrees": agrees,
    }  # fmt: skip


def _size_at_start(seen: Courses, regimen: str) -> float:
    """The median size last measured before the start."""
    own = seen.sizes[(seen.sizes["since"] == 0) & (seen.sizes["regimen"] != UNTREATED)]
    own = own if regimen == ANY else own[own["regimen"] == regimen]
    own = own if len(own) else seen.sizes  # nobody started: of all wounds, as last measured
    return float(own.drop_duplicates("wound", keep="last")["size"].median())


def _both(seen: Courses, model: Model, regimen: str, size: float) -> tuple[float, float, np.ndarray]:
    """Percent a week before and after a start, and the difference in each draw."""
    before = _weights(model, _of_stage(seen, ALL) | _before(seen, regimen))
    after = before + _weights(model, _after(seen, regimen))
    one, other = (smaller(weights @ model.fit.beta, model.scale, size) for weights in (before, after))
    drawn = [smaller(_in_draws(model, weights), model.scale, size) for weights in (before, after)]
    return float(one), float(other), drawn[1] - drawn[0]


def _ahead(seen: Courses, log: Model) -> pd.DataFrame:
    """What is expected of wounds of typical sizes: regimen, size, weeks, amount, low, high (cm2)."""
    entry = seen.sizes.drop_duplicates("wound")["size"].quantile(TYPICAL)
    typical = np.unique(np.maximum(np.round(entry, 1), 0.1))  # to a tenth: two alike are told once
    rows = []
    for regimen in (BEFORE, *seen.regimens):
        weights = _weights(log, _of_stage(seen, ALL) | _under(seen, regimen))
        people = _seen_in(seen.sizes, regimen, ALL)["resident"].nunique()
        for size in typical:
            for weeks in AHEAD:
                then = _limits(weeks * weights @ log.fit.beta, weeks * _in_draws(log, weights), people)
                cm2 = {name: size * float(np.exp(then[name])) for name in ("amount", "low", "high")}
                rows.append({"regimen": regimen, "size": float(size), "weeks": weeks, **cm2})
    return pd.DataFrame(rows, columns=["regimen", "size", "weeks", "amount", "low", "high"])


def _ways(seen: Courses, models: dict[str, Model]) -> pd.DataFrame:
    """The same under each choice: way, asked (pace of all wounds before any modality, or change), amount and limits."""
    size, sizes = _size_at_start(seen, ANY), seen.sizes
    before, after = (sizes.loc[where, "resident"].nunique() for where in (sizes["since"] == 0, sizes["since"] > 0))
    rows = []
    for way, model in models.items():
        at = _weights(model, _of_stage(seen, ALL) | _before(seen, BEFORE))
        paces = [smaller(each, model.scale, size) for each in (at @ model.fit.beta, _in_draws(model, at))]
        rows.append({"way": way, "asked": PACE, **_limits(*paces, before)})
        if seen.regimens:
            one, other, drawn = _both(seen, model, ANY, size)
            rows.append({"way": way, "asked": CHANGED, **_limits(other - one, drawn, after)})
    return pd.DataFrame(rows, columns=["way", "asked", *LIMITS])
