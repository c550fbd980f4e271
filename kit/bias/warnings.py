"""Every warning beside its question: facts are counted, tests held against chance together, numbers shown."""

from __future__ import annotations

from dataclasses import asdict

import numpy as np
import pandas as pd

from kit.bias import arms, design, following, measurement, selection, shown
from kit.bias.evidence import CARE, NOTE, STOPS, TEST, Check, Evidence
from kit.bias.holm import holm

FAMILIES = {
    "measuring": measurement.CHECKS, "following": following.CHECKS, "design": design.CHECKS,
    "selection": selection.CHECKS, "between arms": arms.CHECKS,
}  # fmt: skip
ALPHA = 0.05  # of all tests together
MOST_SERIOUS_FIRST = (STOPS, CARE, NOTE)
COLUMNS = [
    "warning", "family", "kind", "question", "number", "threshold", "p", "p_holm", "fires", "direction", "seriousness",
    "says", "not_computed", "unseen", "source", "to_do",
]  # fmt: skip


def warnings(evidence: Evidence) -> pd.DataFrame:
    """Every warning of the catalogue, a row each, whether it fires or not, in the order of the catalogue.

    Columns out: warning (identifier), family, kind (fact, test, shown), question, number and threshold (in the
    warning's own unit), p and p_holm (of tests: before and after Holm 1979, Scand J Stat 6:65), fires, direction (which
    way it would push the headline), seriousness, says (the number in words), not_computed (why not, else blank), unseen
    (of tests: what they could not have seen), source, to_do.

    A test fires where chance alone would hardly make its number, all tests taken together, and the number is also
    beyond its threshold. What is shown never fires.
    """
    told = _asked(FAMILIES, evidence)
    tests = told["kind"] == TEST
    told.loc[tests, "p_holm"] = holm(told.loc[tests, "p"].to_numpy(dtype=float))
    large = ~(told["number"].abs() < told["threshold"])  # a test without a threshold asks chance alone
    beyond = (told["p_holm"] < ALPHA) & large
    return told.assign(fires=told["fires"].astype(bool).mask(tests, beyond))[COLUMNS]


def always_shown(evidence: Evidence) -> pd.DataFrame:
    """Numbers that are shown whatever they come to and never fire, in the columns of `warnings`."""
    return _asked({"how far it moves": shown.CHECKS}, evidence)[COLUMNS]


def _asked(families: dict[str, dict[str, Check]], evidence: Evidence) -> pd.DataFrame:
    rows = [
        {
            "warning": name, "family": family, "kind": check.kind, "question": check.question,
            "seriousness": check.seriousness, "source": check.source, "to_do": check.to_do, "p_holm": np.nan,
            **asdict(check.find(evidence)),
        }
        for family, checks in families.items()
        for name, check in checks.items()
    ]  # fmt: skip
    return pd.DataFrame(rows)


def firing(told: pd.DataFrame) -> pd.DataFrame:
    """The warnings that fire, the most serious first."""
    fired = told[told["fires"]]
    order = fired["seriousness"].map(MOST_SERIOUS_FIRST.index)
    return fired.assign(order=order).sort_values("order", kind="stable", ignore_index=True).drop(columns="order")


def stopped_by(told: pd.DataFrame) -> str:
    """Why the comparison may not be told, in sentences; blank where nothing stops it."""
    return " ".join(told.loc[told["fires"] & (told["seriousness"] == STOPS), "says"])
