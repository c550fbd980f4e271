"""What a pressure injury's stages mean over time: none goes backwards, and what is revealed is not worse.

Rules: Edsberg LE et al., J Wound Ostomy Continence Nurs 2016;43(6):585-597 (NPIAP 2016); present on admission
after CMS, MDS 3.0, Section M.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pandas as pd

from kit.vocabulary import STAGES, UNKNOWN

DEPTH = {"1": 1.0, "2": 2.0, "3": 3.0, "4": 4.0}
FULL_THICKNESS = ("3", "4", "unstageable")
NUMERAL = {depth: stage for stage, depth in DEPTH.items()}


def stage_course(measurements: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    """One row for each staged measurement of a pressure injury: the stage of record and how it came about.

    Columns in: `measurements` wound, day, stage, source_row; `wounds` wound, kind. Rows without a stage, or
    with an unknown one, and wounds of other kinds are left out.
    Columns out: wound, day, source_row, stage (as charted), stage_of_record, stage_change; in the order of
    wound, day and source_row.

    The stage of record is the deepest of Stages 1 to 4 charted so far, or unstageable or deep_tissue while
    that is what is charted. A mucosal injury has no depth: it is the record only until another is charted.

    | stage_change | the charted stage |
    | --- | --- |
    | first | is the wound's first |
    | same | is the stage of record already |
    | worse | is deeper than the deepest so far, which could be seen |
    | revealed | is a number where depth could not be told before: no worsening |
    | backstaged | is a lower number than the deepest so far: a fault of the chart, not healing |
    | obscured | is unstageable or deep_tissue, and was not before: its depth can no longer be told |

    A number below the deepest so far is backstaged even when it follows unstageable: tissue once lost is not
    revealed to be whole. Raises ValueError where a stage is not in the vocabulary.
    """
    staged = _staged(measurements, wounds)
    wound = staged["wound"]
    depth = staged["stage"].map(DEPTH).astype(float)
    deepest = depth.groupby(wound, observed=True).cummax()
    reached = deepest.groupby(wound, observed=True).ffill().groupby(wound, observed=True).shift()
    record = staged["stage"].where(depth.isna(), deepest.map(NUMERAL))
    record = record.mask(record == "mucosal").groupby(wound, observed=True).ffill().fillna("mucosal")
    before = record.groupby(wound, observed=True).shift()
    change = _change(staged["stage"], depth, before, reached)
    return staged.assign(stage_of_record=record, stage_change=change)


def present_on_admission(
    stages: pd.DataFrame | Iterable[tuple[int, str]],
    stays: Iterable[tuple[int, int | None]],
    admitted_with: bool,
) -> pd.DataFrame:
    """Whether one pressure injury counts as present on admission, at each day on which it was staged.

    `stages` holds day and stage, `stays` the first and last day of each hospital stay (last day missing: not
    back yet), `admitted_with` whether the wound was recorded present when the person first came in.
    Columns out: day, present_on_admission (bool).

    | what happened since the last stage | in house | across a hospital stay |
    | --- | --- | --- |
    | deeper number | no longer | present on reentry |
    | number, then unstageable or deep_tissue | no longer | present on reentry |
    | deep_tissue, then unstageable | as before | present on reentry |
    | first number after unstageable or deep_tissue | as before | as before |
    | same, or charted lower | as before | as before |

    A change counts to a stay only when the wound was staged on or before the day it began and next on or
    after the day it ended, with nothing between; in doubt it happened in house.
    Raises ValueError as stage_course does.
    Source: CMS, MDS 3.0, Section M, item M0300. The manual names slough and eschar; that a number becoming
    deep_tissue is treated alike is our reading.
    """
    rows = pd.DataFrame(stages, columns=["day", "stage"]).reset_index(drop=True)
    rows = rows.assign(wound=0, source_row=rows.index)
    course = stage_course(rows, pd.DataFrame({"wound": [0], "kind": ["pressure_injury"]}))
    numbered = course["stage_of_record"].shift().isin(DEPTH)
    obscured = course["stage_change"] == "obscured"
    worse = (course["stage_change"] == "worse") | (obscured & numbered)
    returned = _across(course["day"], stays) & (worse | (obscured & (course["stage"] == "unstageable")))
    verdict = np.select([course.index == 0, returned, worse], [float(admitted_with), 1.0, 0.0], np.nan)
    present = pd.Series(verdict, index=course.index).ffill().astype(bool)
    return course[["day"]].assign(present_on_admission=present)


def _staged(measurements: pd.DataFrame, wounds: pd.DataFrame) -> pd.DataFrame:
    rows = measurements[["wound", "day", "source_row", "stage"]]
    rows = rows[rows["stage"].notna() & (rows["stage"] != UNKNOWN)]
    unlisted = ~rows["stage"].isin(STAGES)
    if unlisted.any():
        raise ValueError(f"stage: {unlisted.sum()} row(s) hold none of {', '.join(STAGES)}; read them with read_stages")
    injuries = wounds.loc[wounds["kind"] == "pressure_injury", "wound"]
    rows = rows[rows["wound"].isin(injuries)].sort_values(["wound", "day", "source_row"], ignore_index=True)
    # Plain objects: a nullable string answers a comparison with NA, which no condition below could use.
    return rows.assign(stage=rows["stage"].astype(object))


def _change(stage: pd.Series, depth: pd.Series, before: pd.Series, reached: pd.Series) -> np.ndarray:
    """The first line that holds decides; comparisons with what is missing do not hold."""
    return np.select(
        [
            before.isna(),
            stage == "mucosal",  # says nothing of depth, so it cannot change the record
            depth < reached,
            depth.isna() & (stage != before),
            depth.notna() & ~before.isin(DEPTH),
            depth > reached,
        ],
        ["first", "same", "backstaged", "obscured", "revealed", "worse"],
        "same",
    )


def _across(day: pd.Series, stays: Iterable[tuple[int, int | None]]) -> np.ndarray:
    """True where a whole stay lies between the row before and this one."""
    spans = np.array([(start, np.nan if pd.isna(end) else end) for start, end in stays], dtype=float)
    starts, ends = spans.reshape(-1, 2).T
    last, now = day.shift().to_numpy(float)[:, None], day.to_numpy(float)[:, None]
    return ((last <= starts) & (ends <= now)).any(axis=1)
