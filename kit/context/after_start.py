"""What became of wounds that started, counted from the first session and in the terms published studies use.

A description of wounds as they were started: nothing here is a difference, and nobody untreated stands beside.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from kit.healing.curves import incidence
from kit.healing.description import DRAWN_FROM, IN_VIEW
from kit.healing.reductions import GRID, Early, limits_by_percent, median_limits, medians
from kit.healing.resampling import DRAWS, SEED, Z, resident_draws, share_limits, widened
from kit.healing.weeks import sized_open
from kit.plan import WEEK, Plan
from kit.vocabulary import OUTCOMES
from kit.wounds.episodes import OPEN
from kit.wounds.regimens import SEVERAL, given
from kit.wounds.staging import stage_course

HORIZONS = (4, 6, 8, 12)
STIMULATION, ULTRASOUND = MODALITIES = ("stimulation", "ultrasound")
PRESSURE = "pressure_injury"
ALL_PRESSURE, STAGE_2, STAGES_3_4 = STAGED = ("all pressure injuries", "stage 2", "stages 3 and 4")
STAGES_OF = {STAGE_2: ("2",), STAGES_3_4: ("3", "4")}
NO_KIND = "kind not recorded"
FEW = f"fewer than {DRAWN_FROM} residents"
# A share needs the fate of so many residents and of this part of the wounds; common practice, no source.
KNOWN_FROM, KNOWN_PART = IN_VIEW, 0.5
LOST_SIGHT = "too few were followed to the horizon or to their end"
NO_SIZES = "no size is known at the start and at the horizon"
NO_CALENDAR = "not computable under this basis"
COUNTS = (
    "wounds", "residents", "too_recent", "already_treated", *OUTCOMES, "lost", "in_view", "sized", "unsized_at_start",
)  # fmt: skip
READINGS = ("", "_with_deaths")
NUMBERS = (
    "closed_share", "closed_low", "closed_high",
    *(f"{what}_reduction{reading}{end}" for reading in READINGS for what in ("mean", "median")
      for end in ("", "_low", "_high")),
    "percent_a_week", "a_week_low", "a_week_high", "size_at_start",
)  # fmt: skip
WHY = ("not_computed", "sizes_not_computed")
COLUMNS = ["modality", "stage_group", "horizon_weeks", *COUNTS, *NUMBERS, *WHY]


def after_start(
    episodes: pd.DataFrame,
    measurements: pd.DataFrame,
    sessions: pd.DataFrame,
    plan: Plan,
    weeks: tuple[int, ...] = HORIZONS,
    draws: int = DRAWS,
    seed: int = SEED,
) -> pd.DataFrame:
    """What became of wounds that started, by modality of the first session, group and weeks since: no comparison.

    Columns in: episodes as `kit.wounds.episodes` returns them; measurements wound, day, state, size, stage, source_row;
    sessions wound, day, modality, status.
    Columns out: modality, stage_group (all pressure injuries, stage 2, stages 3 and 4 by the stage of record at the
    start; other kinds apart), horizon_weeks; wounds and residents of the row; too_recent and already_treated (before
    they were measured), which are left out; how many ended so by the horizon (closed, died, ...), were lost (from
    sight) or are in_view, and sized (of these, both sizes known); unsized_at_start; closed_share (Aalen-Johansen, of
    all) with range; mean and median percent reduction with ranges, of those closed (100) or in view, and the same
    `_with_deaths` as not smaller; percent_a_week; size_at_start (median, cm2); why a number is missing: not_computed,
    sizes_not_computed.

    Only wounds whose whole horizon lies before the cut-off count, whatever became of them: to take in a later one
    because it has ended would count closings and not what is still open. A size counts that was measured on the day or
    less than `fresh_days` before. Wounds in view without one are taken to be like those in view that have one.
    Ranges (95%) are from whole residents drawn again; below ten residents there are counts alone. Without a calendar
    nobody knows whose horizon is over: all wounds are followed as far as they can be, and no reduction is told.
    Percent a week is the mean reduction over the weeks, as Feedar 1991 prints 56% in four weeks as 14, and as Gardner
    et al. 1999, Wound Repair Regen 7:495, pool it. The longer it is counted the lower it is: what is closed gains no
    more.
    """
    started = _started(episodes, measurements, sessions, plan)
    how = draws, seed
    rows = [
        {"modality": modality, "stage_group": name, "horizon_weeks": week} | _row(own, week, measurements, plan, how)
        for modality, name, own in _groups(started)
        for week in weeks
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _started(episodes: pd.DataFrame, measurements: pd.DataFrame, sessions: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Wounds of the cohort that started: with modality, stage of record and size at the start, and days in view."""
    own = episodes[episodes["in_cohort"] & episodes["start_day"].notna()].sort_values("wound", ignore_index=True)
    own = own.astype({"start_day": "int64", "end_day": "int64", "outcome": object})
    staged = stage_course(measurements, own[["wound", "kind"]])[["wound", "day", "stage_of_record"]]
    stage = latest(own["wound"], own["start_day"], staged)["stage_of_record"].to_numpy()
    return own.assign(
        modality=_modality(own, sessions),
        stage=np.where(pd.notna(stage), stage, own["entry_stage"].astype(object)),
        first=fresh_size(own["wound"], own["start_day"], measurements, plan),
        days=(own["end_day"] - own["start_day"]).clip(lower=0),
    )


def _modality(own: pd.DataFrame, sessions: pd.DataFrame) -> np.ndarray:
    """What the first day's sessions were of; several where they differ."""
    opening = given(sessions)[["wound", "day", "modality"]].merge(own[["wound", "start_day"]], on="wound")
    opening = opening[(opening["day"] == opening["start_day"]).fillna(False)]
    by = opening.astype({"modality": object}).groupby("wound")["modality"]
    named = by.first().where(by.nunique() == 1, SEVERAL)
    return own["wound"].map(named).to_numpy(dtype=object)


def latest(wounds: pd.Series, days: pd.Series, dated: pd.DataFrame) -> pd.DataFrame:
    """The last row of a dated table up to a day, for each wound and day asked, in their order."""
    asked = pd.DataFrame({"wound": wounds.to_numpy(), "asked": days.to_numpy(dtype="int64"), "row": range(len(wounds))})
    dated = dated[dated["wound"].isin(wounds)]
    found = pd.merge_asof(
        asked.astype({"wound": object}).sort_values("asked", kind="stable"),
        dated.astype({"wound": object, "day": "int64"}).sort_values("day", kind="stable"),
        left_on="asked", right_on="day", by="wound",
    )  # fmt: skip
    return found.sort_values("row", ignore_index=True)


def fresh_size(wounds: pd.Series, days: pd.Series, measurements: pd.DataFrame, plan: Plan) -> np.ndarray:
    """The last open size of each wound up to a day, cm2; missing where it was no longer fresh on the day."""
    return _still_fresh(latest(wounds, days, sized_open(measurements)[["wound", "day", "size"]]), plan)


def _still_fresh(found: pd.DataFrame, plan: Plan) -> np.ndarray:
    return found["size"].where(found["asked"] - found["day"] < plan.sizes.fresh_days).to_numpy(dtype=float)


def _groups(started: pd.DataFrame) -> Iterator[tuple[str, str, pd.DataFrame]]:
    """The groups of wounds: stages of pressure injuries always, other kinds and modalities where there are any."""
    injury = started["kind"] == PRESSURE
    kind = started["kind"].astype(object).where(started["kind"].notna(), NO_KIND)
    others = sorted(set(started["modality"].dropna()) - set(MODALITIES))
    for modality in (*MODALITIES, *others):
        own = started["modality"] == modality
        yield modality, ALL_PRESSURE, started[own & injury]
        for name, stages in STAGES_OF.items():
            yield modality, name, started[own & injury & started["stage"].isin(stages)]
        for name in sorted(set(kind[own & ~injury])):
            yield modality, name, started[own & (kind == name)]


def _row(group: pd.DataFrame, week: int, measurements: pd.DataFrame, plan: Plan, how: tuple[int, int]) -> dict:
    horizon, running = week * WEEK, group["running"].to_numpy(dtype=bool)
    late = np.zeros(len(group), dtype=bool)
    if plan.cutoff is not None:
        late = (group["start_day"] + horizon > plan.cutoff).to_numpy() & ~running
    own = _at(group[~running & ~late], horizon, measurements, plan)
    counts = own["fate"].value_counts()
    row = {
        "wounds": len(own),
        "residents": own["resident"].nunique(),
        "too_recent": int(late.sum()),
        "already_treated": int(running.sum()),
        **{name: int(counts.get(name, 0)) for name in (*OUTCOMES, "lost", "in_view")},
        "sized": int(((own["fate"] == "in_view") & own["reduction"].notna()).sum()),
        "unsized_at_start": int(own["first"].isna().sum()),
        "size_at_start": own["first"].dropna().median(),
    }
    if row["residents"] < DRAWN_FROM:
        return row | dict.fromkeys(WHY, FEW)
    drawn = np.column_stack([np.ones(len(own)), resident_draws(own["resident"].to_numpy(), *how)])
    return row | _closed(own, drawn, horizon) | _sizes(own, drawn, week, plan)


def _at(own: pd.DataFrame, horizon: int, measurements: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Each wound's fate by the horizon, and how many percent smaller it was then (closed is 100)."""
    ended = (own["outcome"] != OPEN) & (own["days"] <= horizon)
    lost = (own["outcome"] == OPEN) & (own["days"] < horizon)
    fate = np.select([ended, lost], [own["outcome"], "lost"], "in_view")
    sizes = latest(own["wound"], own["start_day"] + horizon, sized_open(measurements)[["wound", "day", "size"]])
    then = pd.Series(_still_fresh(sizes, plan), index=own.index)
    since = (sizes["day"] > sizes["asked"] - horizon).to_numpy()  # the size from before the start tells nothing
    gone = 100 * (1 - then.where(since) / own["first"])
    return own.assign(fate=fate, reduction=gone.where(fate == "in_view").mask(fate == "closed", 100.0))


def _closed(own: pd.DataFrame, drawn: np.ndarray, horizon: int) -> dict[str, object]:
    """The share closed by the horizon with its range; none where sight was lost of nearly everybody."""
    if out_of_sight(own["fate"] == "lost", own["resident"]):
        return {"not_computed": LOST_SIGHT}
    # Nothing after the horizon matters, and long curves cost time.
    days = np.minimum(own["days"].to_numpy(), horizon + 1)
    curve = incidence(days, own["outcome"].to_numpy(), OUTCOMES, drawn).at(horizon)[OUTCOMES.index("closed")]
    low, high = share_limits(curve[0], curve[1:], own["resident"].nunique())
    return {"closed_share": curve[0], "closed_low": float(low), "closed_high": float(high), "not_computed": ""}


def out_of_sight(lost: pd.Series, residents: pd.Series) -> bool:
    """Whether so many wounds were lost from sight before the horizon that no share by then can be told."""
    if not lost.any():
        return False
    return residents[~lost].nunique() < KNOWN_FROM or (~lost).mean() < KNOWN_PART


def _sizes(own: pd.DataFrame, drawn: np.ndarray, week: int, plan: Plan) -> dict[str, object]:
    """Reductions under both readings: who died stands outside, or inside as not smaller."""
    known = own["first"].notna().to_numpy()
    kept, drawn = own[known], drawn[known]
    if plan.cutoff is None:
        return {"sizes_not_computed": NO_CALENDAR}
    still = kept["fate"] == "in_view"
    sized, shut = kept.loc[still, "reduction"].notna().any(), (kept["fate"] == "closed").any()
    if not sized and (still.any() or not shut):
        return {"sizes_not_computed": NO_SIZES}
    if kept["resident"].nunique() < DRAWN_FROM:
        return {"sizes_not_computed": FEW}
    told: dict[str, object] = {"sizes_not_computed": ""}
    for reading in READINGS:
        told |= _reading(kept, drawn, reading)
    a_week = [told[f"mean_reduction{end}"] / week for end in ("", "_low", "_high")]
    return told | dict(zip(("percent_a_week", "a_week_low", "a_week_high"), a_week, strict=True))


def _reading(kept: pd.DataFrame, drawn: np.ndarray, reading: str) -> dict[str, float]:
    """Mean and median percent reduction with their ranges; the first column of `drawn` is the whole sample."""
    fate, gone = kept["fate"].to_numpy(), kept["reduction"].to_numpy(dtype=float)
    sized = (fate == "in_view") & np.isfinite(gone)
    closed, still, died = (drawn[fate == name].sum(axis=0) for name in ("closed", "in_view", "died"))
    died = died if reading else np.zeros_like(died)
    all_of_them, measured = closed + still + died, drawn[sized].sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        open_mean = np.where(still > 0, gone[sized] @ drawn[sized] / measured, 0.0)
        mean = (100 * closed + still * open_mean) / all_of_them
        left = Early(0, np.zeros(len(gone)), sized, 1 - gone / 100, 0).steps @ drawn[sized]
        part = np.where(still > 0, np.cumsum(left[::-1], axis=0)[::-1][1:] / measured, 0.0)
        shares = (closed + still * part + died * (GRID <= 0)[:, None]) / all_of_them
    people = kept["resident"].nunique()
    half = _half(mean, people)
    middle = median_limits(*limits_by_percent(shares, people, Z))
    return {
        f"mean_reduction{reading}": float(mean[0]),
        f"mean_reduction{reading}_low": float(mean[0] - half),
        f"mean_reduction{reading}_high": float(min(mean[0] + half, 100.0)),
        f"median_reduction{reading}": float(medians(shares)[0]),
        f"median_reduction{reading}_low": middle[0],
        f"median_reduction{reading}_high": middle[1],
    }


def _half(mean: np.ndarray, people: int) -> float:
    """Half the range of a mean, from its spread over draws; none where no draw differs from another."""
    spread = float(np.nanstd(mean[1:]))
    return widened(Z, people) * spread if spread > 1e-9 else np.nan
