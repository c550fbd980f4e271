"""The numbers of a report, once, as plain values: the page, the tables and findings.json all read them here."""

from __future__ import annotations

from dataclasses import asdict

from kit import __version__
from kit.faults import counted
from kit.healing.description import Description, describe
from kit.quarter import activity, by_regimen, reasons
from kit.study import Study


def findings(study: Study, scope: str) -> tuple[dict, Description]:
    """Everything a page says, as values that JSON can hold, and the description its figure is drawn from."""
    description = describe(study.episodes, study.plan)
    episodes = study.episodes
    told = {
        "program": study.plan.program.name,
        "scope": scope,
        "facilities": list(study.facilities),
        "basis": study.plan.program.basis,
        "cutoff": study.plan.cutoff,
        "quarter_begins": study.plan.quarter_begins,
        "cohort_begins": study.plan.cohort_begins,
        "horizon_weeks": study.plan.following.horizon_weeks,
        "fingerprints": {"export": study.fingerprint, "plan": study.plan.fingerprint, "kit": __version__},
        "absent": list(study.absent),
        "account": _records(study.account),
        "faults": _records(counted(study.faults)),
        "activity": asdict(activity(study)),
        "sessions": _records(by_regimen(study)),
        "reasons": _records(reasons(study)),
        "cohort": {
            "wounds": int(episodes["in_cohort"].sum()),
            "residents": int(episodes.loc[episodes["in_cohort"], "resident"].nunique()),
            "running": int((episodes["in_cohort"] & episodes["running"]).sum()),
            "unconfirmed": int(
                (episodes["in_cohort"] & (episodes["outcome"] == "closed") & ~episodes["confirmed"]).sum()
            ),
            "vanished": int((episodes["in_cohort"] & episodes["vanished"]).sum()),
            "left_out": {reason: int(n) for reason, n in _left_out(episodes).items()},
        },
        "healing": _records(description.groups),
        "resampling": {"draws": description.draws, "seed": description.seed},
    }
    return told, description


def _left_out(episodes) -> dict[str, int]:
    return episodes.loc[~episodes["in_cohort"], "left_out"].value_counts().sort_index().to_dict()


def _records(frame) -> list[dict]:
    """Rows as plain values; a number that cannot be had is null, never NaN, which JSON does not know."""
    rows = frame.astype(object).where(frame.notna(), None).to_dict("records")
    return [{key: _plain(value) for key, value in row.items()} for row in rows]


def _plain(value: object) -> object:
    value = value.item() if hasattr(value, "item") else value
    return float(f"{value:.8g}") if isinstance(value, float) else value
