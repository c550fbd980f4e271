"""What is written at a visit besides length and width: stage, depth, what covers the bed, and who wrote it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.synthetic.rounds import Chart, Visits
from kit.synthetic.sores import FULL_THICKNESS
from kit.synthetic.world import CUTOFF, FACILITIES, FINE, PLACE, stream

DEPTH_RULER = 0.15  # depth is read less surely than length


def stages(seed: int, plan: Visits, sores: pd.DataFrame, jumps: np.ndarray) -> np.ndarray:
    """Stage at each visit: never back; what was hidden is revealed; a setback can deepen a stage 2."""
    rng, first = stream(seed, "stages"), sores["first_stage"].to_numpy()
    since = plan.day - sores["entry"].to_numpy()[:, None]
    stage = np.repeat(first[:, None], plan.day.shape[1], axis=1).astype(object)
    depth = np.where(rng.random(len(sores)) < 0.6, "3", "4")[:, None]
    opens = rng.integers(14, 50, len(sores))[:, None]
    stage = np.where((stage == "unstageable") & (since >= opens), depth, stage)
    stays = (rng.random(len(sores)) < 0.3)[:, None]
    stage = np.where((stage == "deep_tissue") & ~stays & (since >= opens / 2), depth, stage)
    worse = np.take_along_axis(np.cumsum(jumps > 0.22, axis=1) > 0, np.maximum(since // 7 - 1, 0), axis=1)
    return np.where((stage == "2") & worse & (since >= 7), "3", stage)


def measurements(plan: Visits, seen: Chart, sores: pd.DataFrame, stage: np.ndarray) -> pd.DataFrame:
    """The measurements table, with the row number of the wound and of the visit beside (`row`, `visit`)."""
    row, visit = np.nonzero(seen.seen)
    here = (row, visit)
    closed = seen.closed[here]
    deep = np.isin(stage[here], FULL_THICKNESS)
    facility = sores["place"].to_numpy()[row]
    who = [FACILITIES[f].assessors[a] for f, a in zip(facility, plan.assessor[here], strict=True)]
    frame = pd.DataFrame(
        {
            "row": row,
            "visit": visit,
            "wound": sores["wound"].to_numpy()[row],
            "day": plan.day[here],
            "state": np.where(closed, "closed", "open"),
            "length": np.where(closed, np.nan, seen.length[here]),
            "width": np.where(closed, np.nan, seen.width[here]),
            "depth": np.where(closed, np.nan, _depth(plan, seen, here, deep)),
            "undermining": np.where(closed | ~deep, np.nan, _undermining(plan, seen, here)),
            "stage": np.where(closed, "", stage[here]),
            "assessor": [name for name, _ in who],
            "assessor_role": [role for _, role in who],
        }
    )
    frame["entered"] = np.where(facility == PLACE[FINE], frame["day"] + (plan.luck[2][here] < 0.3), np.nan)
    frame["entered"] = frame["entered"].clip(upper=CUTOFF)
    return frame.assign(**_bed(plan, seen, here, stage[here], closed))


def _depth(plan: Visits, seen: Chart, here: tuple, deep: np.ndarray) -> np.ndarray:
    first = 0.6 + 1.4 * plan.luck[0, :, 0][here[0]]
    ruled = first * np.clip(seen.shrunk[here], 0, 1.5) * np.exp(DEPTH_RULER * plan.errors[2][here])
    return np.where(deep, np.maximum(ruled, 0.1), 0.1)


def _undermining(plan: Visits, seen: Chart, here: tuple) -> np.ndarray:
    pocket = 3 * (plan.luck[1, :, 0][here[0]] - 0.75) * seen.shrunk[here]
    return np.where(pocket > 0.05, pocket, np.nan)


def _bed(plan: Visits, seen: Chart, here: tuple, stage: np.ndarray, closed: np.ndarray) -> dict[str, np.ndarray]:
    """What covers the bed: the worst that is seen. Dead tissue only where skin is lost in full, less each week.

    An unstageable injury is one whose bed cannot be seen, and a stage 2 one that has no slough (NPIAP 2016).
    """
    deep, shallow = np.isin(stage, FULL_THICKNESS), np.isin(stage, ("1", "2", "deep_tissue", "mucosal"))
    first = np.where(deep, 70, 25) * plan.luck[2, :, 0][here[0]]
    share = first - 6.0 * here[1] + 25 * (plan.luck[1][here] - 0.5)
    share = np.where(stage == "unstageable", np.maximum(share, 40 + 50 * plan.luck[1][here]), share)
    share = np.where(shallow, 0, np.clip(5 * np.round(share / 5), 0, 100))
    tissue = np.select(
        [closed, share >= 40, share > 0, deep, seen.shrunk[here] < 0.5],
        ["closed", "necrotic", "slough", "granulation", "epithelial"],
        "granulation",
    )
    wet = plan.luck[2][here] + 0.25 * (share > 0) + 0.15 * deep - 0.3 * (seen.shrunk[here] < 0.5)
    exudate = np.select([closed | (wet < 0.2), wet < 0.75, wet < 1.1], ["none", "light", "moderate"], "heavy")
    return {"tissue": tissue, "necrosis_share": np.where(closed, np.nan, share), "exudate": exudate}
