"""The sizes of wounds over time as rows of a model: one row a measurement, with what was known of its wound."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.plan import WEEK, Plan
from kit.wounds.episodes import UNTREATED
from kit.wounds.staging import FULL_THICKNESS

SHALLOW, DEEP = "stage 1, 2 or deep tissue injury", "stage 3, 4 or unstageable"
UNSTAGED, OTHERS = "pressure injury without a stage", "other kinds of wound"
GROUPS = (SHALLOW, DEEP, UNSTAGED, OTHERS)
SLOPE_FROM = 10  # residents measured after the start that a regimen's own slope needs; common practice, no source
PER_COLUMN = 10  # residents for each column of the model beyond stage, facility and regimen; common practice, no source
RANDOM_FROM = 8  # facilities from which they are taken as drawn from many; common practice, no source


@dataclass(frozen=True, eq=False)
class Courses:
    """What models of size read.

    `sizes`: a row a measurement, with wound, resident, facility, day, week (since entry), size (cm2), stage_group,
    regimen (begun at some time; "no modality"), since (weeks since its start, 0 before), and the covariates at entry,
    standardized. `regimens` are those with enough residents for a slope of their own. `left_out`: reason, wounds,
    measurements.
    """

    sizes: pd.DataFrame
    regimens: tuple[str, ...]
    covariates: tuple[str, ...]
    left_out: pd.DataFrame

    @property
    def typical(self) -> float:
        """The typical size at which courses begin: their geometric mean, cm2."""
        first = self.sizes.sort_values(["wound", "week"]).drop_duplicates("wound")["size"]
        return float(np.exp(np.log(first).mean()))


def courses(episodes: pd.DataFrame, weeks: pd.DataFrame, measurements: pd.DataFrame, plan: Plan) -> Courses:
    """The open, measured sizes of the cohort's wounds from entry to their end.

    Closed measurements have no logarithm and stay out. Wounds treated before they were first measured have no course
    before it and stay out; of a regimen that too few had, the sizes after the start stay out.

    Columns in: episodes as `kit.wounds.episodes` returns them; weeks as in `kit.healing.trials.Weeks`, of which each
    wound's first says what was charted at entry; measurements wound, day, state, size.
    """
    cohort = episodes[episodes["in_cohort"]]
    seen = cohort[~cohort["running"]]
    sizes = sized_open(measurements)[["wound", "day", "size"]].merge(_of_the_wound(seen), on="wound")
    sizes = sizes[(sizes["day"] >= sizes["entry_day"]) & (sizes["day"] <= sizes["end_day"])]
    weeks_in, since = sizes["day"] - sizes["entry_day"], (sizes["day"] - sizes["start_day"]).fillna(0).clip(lower=0)
    sizes = sizes.assign(week=weeks_in.astype(float) / WEEK, since=since.astype(float) / WEEK)
    kept = _enough(sizes, plan)
    few = (sizes["since"] > 0) & ~sizes["regimen"].isin(kept)
    named = sizes["regimen"].where(sizes["regimen"].isin(kept), UNTREATED)
    sizes = sizes.assign(regimen=named)[~few].sort_values(["wound", "day"], ignore_index=True)
    entry = weeks[weeks["wound"].isin(sizes["wound"])].drop_duplicates("wound").set_index("wound")
    names = _told(entry, sizes, plan)
    entry = entry[list(names)].astype(float)
    own = ((entry - entry.mean()) / entry.std()).fillna(0.0).reindex(sizes["wound"]).fillna(0.0)
    sizes = sizes.drop(columns=["entry_day", "end_day", "start_day"]).assign(**{n: own[n].to_numpy() for n in names})
    return Courses(sizes, kept, names, _left_out(cohort, few, measurements))


def without_starts(episodes: pd.DataFrame) -> pd.DataFrame:
    """The same records with nothing started, for what regimens have no part in."""
    never = pd.array([pd.NA] * len(episodes), dtype="Int64")
    return episodes.assign(regimen=UNTREATED, start_day=never, running=False)


def _of_the_wound(seen: pd.DataFrame) -> pd.DataFrame:
    own = seen[["wound", "resident", "facility", "regimen", "entry_day", "end_day", "start_day"]]
    injury = seen["kind"] == "pressure_injury"
    group = np.select(
        [~injury, seen["entry_stage"].isin(FULL_THICKNESS), seen["entry_stage"].isin(("1", "2", "deep_tissue"))],
        [OTHERS, DEEP, SHALLOW],
        UNSTAGED,
    )
    return own.assign(stage_group=group)


def _enough(sizes: pd.DataFrame, plan: Plan) -> tuple[str, ...]:
    """The plan's regimens after whose start enough residents were measured."""
    people = sizes[sizes["since"] > 0].groupby("regimen")["resident"].nunique()
    return tuple(rule.name for rule in plan.regimens if people.get(rule.name, 0) >= SLOPE_FROM)


def _told(entry: pd.DataFrame, sizes: pd.DataFrame, plan: Plan) -> tuple[str, ...]:
    """The plan's covariates that vary at entry and that so many residents can carry; stage has columns of its own."""
    varied = [n for n in plan.comparison.covariates if n != "full_thickness" and entry[n].astype(float).std() > 0]
    return tuple(varied[: sizes["resident"].nunique() // (2 * PER_COLUMN)])


def _left_out(cohort: pd.DataFrame, few: pd.Series, measurements: pd.DataFrame) -> pd.DataFrame:
    running = cohort.loc[cohort["running"], "wound"]
    rows = (
        ("already treated when first measured", len(running), int(measurements["wound"].isin(running).sum())),
        ("after the start of a regimen that too few had", pd.NA, int(few.sum())),
    )
    return pd.DataFrame(rows, columns=["reason", "wounds", "measurements"])


def with_closings(seen: Courses, episodes: pd.DataFrame, cm2: float) -> Courses:
    """The same courses with each closing entered as a size of `cm2`, at the day of the closing.

    Closings after the start of a regimen that too few had stay out, as the sizes do.
    """
    last = seen.sizes.drop_duplicates("wound", keep="last")
    ends = episodes.set_index("wound").reindex(last["wound"])
    few = ends["start_day"].notna().to_numpy() & (last["regimen"] == UNTREATED).to_numpy()
    shut = (ends["outcome"] == "closed").to_numpy() & ~few
    ended, end = last[shut], ends["end_day"].astype("int64").to_numpy()[shut]
    started = (ended["regimen"] != UNTREATED).to_numpy()
    start = ends["start_day"].astype(float).to_numpy()[shut]
    since = np.where(started, np.maximum(end - start, 0) / WEEK, 0.0)
    week = ended["week"] + (end - ended["day"].astype("int64")) / WEEK
    ended = ended.assign(day=end, week=week, since=since, size=cm2)
    both = pd.concat([seen.sizes, ended.astype({"day": seen.sizes["day"].dtype})])
    return replace(seen, sizes=both.sort_values(["wound", "day"], ignore_index=True))


def split_at_start(seen: Courses) -> Courses:
    """The same with two courses for each wound that starts: one up to its start, one from there on.

    A course after a start is called "<wound> after", counts its weeks from the start and begins with the size last
    measured before it; so each has a level and a slope of its own, and the ones after a start differ as much as the
    ones before. One common bend for all would be that of the wounds that stay open for long.
    """
    sizes = seen.sizes
    late = sizes["since"] > 0
    last = sizes[~late & sizes["wound"].isin(sizes.loc[late, "wound"])].drop_duplicates("wound", keep="last")
    both = pd.concat([sizes.assign(after=late), last.assign(after=True)]).sort_values(["wound", "after", "day"])
    after = both["after"].to_numpy(dtype=bool)
    both["week"] = both["week"].where(~after, both["since"])
    both["wound"] = both["wound"].where(~after, both["wound"].astype(str) + " after")
    return replace(seen, sizes=both.reset_index(drop=True))


def design(split: Courses) -> pd.DataFrame:
    """The columns of the model of courses split at the start: course, stage, facility, covariates, regimens.

    For each regimen: that a wound would start it (its level and its slope before), and how its course after the start
    differs from that. Columns that others already say are left to the engine to drop.
    """
    columns, sizes = _charted(split), split.sizes
    for name in split.regimens:
        columns |= _with_slope(f"would start {name}", sizes["regimen"] == name, sizes["week"])
        columns |= _with_slope(f"after {name}", (sizes["regimen"] == name) & sizes["after"], sizes["week"])
    return pd.DataFrame(columns)


def design_as_charted(seen: Courses) -> pd.DataFrame:
    """The same without regimens: what is expected of a wound by stage, facility and covariates alone.

    Who would start is known only later, and slow wounds are the ones that start: beside other slow ones none is slow.
    """
    return pd.DataFrame(_charted(seen))


def _charted(seen: Courses) -> dict[str, pd.Series]:
    sizes, week = seen.sizes, seen.sizes["week"]
    columns = {"level": pd.Series(1.0, index=sizes.index), "week": week}
    present = [group for group in GROUPS if (sizes["stage_group"] == group).any()]
    for group in present[1:]:
        columns |= _with_slope(group, sizes["stage_group"] == group, week)
    homes = sorted(sizes["facility"].unique())
    if len(homes) < RANDOM_FROM:
        columns |= {f"in {home}": (sizes["facility"] == home).astype(float) for home in homes[1:]}
    for name in seen.covariates:
        columns |= _with_slope(name, sizes[name], week)
    return columns


def _with_slope(name: str, values: pd.Series, week: pd.Series) -> dict[str, pd.Series]:
    return {name: values.astype(float), f"{name}, a week": values.astype(float) * week}
