"""What the chart held when a week began: size and its course, and what the plan names beside."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.weeks import sized_open
from kit.plan import WEEK
from kit.wounds.staging import FULL_THICKNESS

# Always in the start model: size, its mean over the last three, its slope so far, and the week.
ALWAYS = ("log_size", "log_size_3", "slope", "week")
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
    first), stage_of_record, and each covariate that a plan may name (`kit.plan.COVARIATES`) as a number: missing where
    the export does not hold it, but infection, which is 0 where none is recorded.
    """
    known = _latest(weeks, _size_course(measurements), ["log_size", "log_size_3", "slope"])
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
    """At each measurement: log size, the mean of the last three, and the slope since the first, a week."""
    sized = sized_open(measurements).sort_values(["wound", "day"])
    log_size = np.log(sized["size"])
    by = sized["wound"].to_numpy()
    groups = log_size.groupby(by)
    last3 = (log_size + groups.shift(1).fillna(0) + groups.shift(2).fillna(0)) / np.minimum(groups.cumcount() + 1, 3)
    weeks = (sized["day"] - sized["day"].groupby(by).transform("first")) / WEEK
    change = log_size - groups.transform("first")
    slope = np.divide(change, weeks, out=np.zeros(len(sized)), where=weeks.to_numpy() > 0)
    return sized[["wound", "day"]].assign(log_size=log_size, log_size_3=last3, slope=slope)


def _latest(weeks: pd.DataFrame, dated: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """The last entry of a dated table up to the day on which each week begins."""
    order = weeks.assign(row=np.arange(len(weeks))).sort_values("begins", kind="stable")
    dated = dated[["wound", "day", *columns]].sort_values("day", kind="stable")
    joined = pd.merge_asof(order, dated, left_on="begins", right_on="day", by="wound")
    return joined.sort_values("row", ignore_index=True).drop(columns=["row", "day"])


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
