"""What the chart held when a week began: size and its course, and what the plan names beside."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.plan import WEEK
from kit.wounds.staging import FULL_THICKNESS

# Always in the start model: size, its mean over the last three, its slope so far, whether it stalls, and the week.
ALWAYS = ("log_size", "log_size_3", "slope", "stalled", "week")
# A stall: less than a tenth smaller than four weeks before. Programs start on it: US NCD 270.1 asks for 30 days of
# usual care without measurable signs of healing. The tenth is common practice, no source.
STALL_DAYS, STALL_PART = 28, 0.1
YES = {
    "present_on_admission": True,
    "diabetes": True,
    "perfusion": "reduced",
    "mobility": "bed",
    "weight_loss": True,
}


def charted(
    weeks: pd.DataFrame,
    residents: pd.DataFrame,
    wounds: pd.DataFrame,
    measurements: pd.DataFrame,
    stages: pd.DataFrame,
    spans: pd.DataFrame,
) -> pd.DataFrame:
    """The weeks with what was known on the day each began, and nothing later.

    Columns in: those of `wound_weeks` and resident; the tables as in the study. Columns out, beside those:
    log_size (last measured, log cm2), log_size_3 (mean of the last three), slope (change of log size a week since the
    first), stalled (1: less than a tenth smaller than when last measured four weeks before it or earlier; 0 also where
    nothing was measured so long before), stage_of_record, and each covariate that a plan may name
    (`kit.plan.COVARIATES`) as a number: missing where the export does not hold it, but infection, which is 0 where none
    is recorded.
    """
    known = _latest(weeks, _size_course(measurements), ["log_size", "log_size_3", "slope", "stalled"])
    known = _latest(known, stages, ["stage_of_record"])
    known = _latest(known, measurements[measurements["necrosis_share"].notna()], ["necrosis_share"])
    person = residents.set_index("resident").reindex(known["resident"]).reset_index(drop=True)
    wound = wounds.set_index("wound").reindex(known["wound"]).reset_index(drop=True)
    told = pd.concat([person, wound[["present_on_admission"]]], axis=1)
    known = known.assign(
        full_thickness=_is(known["stage_of_record"], known["stage_of_record"].isin(FULL_THICKNESS)),
        necrosis=known["necrosis_share"].astype(float),
        infection=held(known, spans, ("infection", "antibiotic"), known["begins"]).astype(float),
        age=told["age"].astype(float),
        risk_total=told["risk_total"].astype(float),
        continence=_is(told["continence"], told["continence"] != "continent"),
        **{name: _is(told[name], told[name] == value) for name, value in YES.items()},
    )
    return known.drop(columns="necrosis_share")


def _size_course(measurements: pd.DataFrame) -> pd.DataFrame:
    """At each measurement: log size, the mean of the last three, the slope since the first, a week, and a stall."""
    sized = sized_open(measurements).sort_values(["wound", "day"])
    log_size = np.log(sized["size"])
    by = sized["wound"].to_numpy()
    groups = log_size.groupby(by)
    last3 = (log_size + groups.shift(1).fillna(0) + groups.shift(2).fillna(0)) / np.minimum(groups.cumcount() + 1, 3)
    weeks = (sized["day"] - sized["day"].groupby(by).transform("first")) / WEEK
    change = log_size - groups.transform("first")
    slope = np.divide(change, weeks, out=np.zeros(len(sized)), where=weeks.to_numpy() > 0)
    told = sized[["wound", "day"]].assign(log_size=log_size, log_size_3=last3, slope=slope)
    return told.assign(stalled=_stalled(told))


def _stalled(told: pd.DataFrame) -> np.ndarray:
    """Whether each measurement is hardly below the last one that lies so far before it."""
    asked = told[["wound", "log_size"]].assign(then=told["day"] - STALL_DAYS, row=np.arange(len(told)))
    before = told[["wound", "day", "log_size"]].rename(columns={"log_size": "earlier"})
    pairs = pd.merge_asof(
        asked.sort_values("then"), before.sort_values("day"), left_on="then", right_on="day", by="wound"
    ).sort_values("row")
    return (pairs["log_size"] - pairs["earlier"] > np.log(1 - STALL_PART) + 1e-9).to_numpy(dtype=float)


def _latest(weeks: pd.DataFrame, dated: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """The last entry of a dated table up to the day on which each week begins."""
    order = weeks[["wound", "begins"]].assign(row=np.arange(len(weeks))).sort_values("begins", kind="stable")
    dated = dated[["wound", "day", *columns]].sort_values("day", kind="stable")
    joined = pd.merge_asof(order, dated, left_on="begins", right_on="day", by="wound")
    joined = joined.sort_values("row", ignore_index=True)
    return weeks.reset_index(drop=True).assign(**{name: joined[name] for name in columns})


def held(weeks: pd.DataFrame, spans: pd.DataFrame, kinds: tuple[str, ...], until: pd.Series) -> np.ndarray:
    """Whether a span of these kinds, of the person or of the wound, held on some day from `begins` to `until`."""
    asked = spans[spans["span"].isin(kinds)][["resident", "wound", "from_day", "to_day"]]
    held_here = np.zeros(len(weeks), dtype=bool)
    rows = pd.DataFrame({"row": np.arange(len(weeks)), "begins": weeks["begins"].to_numpy(), "until": until.to_numpy()})
    for key in ("resident", "wound"):
        own = asked[asked[key].notna() & (asked["wound"].isna() | (key == "wound"))]
        pairs = rows.assign(**{key: weeks[key].to_numpy()}).merge(own[[key, "from_day", "to_day"]], on=key)
        meets = (pairs["from_day"] <= pairs["until"]) & ~(pairs["to_day"] < pairs["begins"]).fillna(False)
        held_here[pairs.loc[meets.fillna(False).astype(bool), "row"]] = True
    return held_here


def _is(told: pd.Series, holds: pd.Series) -> pd.Series:
    return holds.astype(float).where(told.notna())
