"""What a page is of, and whom it is for."""

from __future__ import annotations

from kit import __version__
from kit.plan import BASES, Plan
from kit.study import Study
from kit.words import day

INTERNAL = (
    "Internal: small counts, in which the facility's own people can be recognised. It stays in the facility and with "
    "the program's consultant."
)


def window(plan: Plan) -> str:
    """The window in which things were done, in words."""
    if plan.cutoff is None:
        return "no shared calendar, the whole export"
    return f"quarter {day(plan.quarter_begins, plan)} to {day(plan.cutoff, plan)}"


def provenance(study: Study) -> str:
    """Where the numbers come from, in one line: fingerprints, basis, windows."""
    plan = study.plan
    return (
        f"Export {study.fingerprint}, plan {plan.fingerprint}, kit {__version__}; {window(plan)}; basis stated in "
        f"the plan: {BASES[plan.program.basis]}; facilities: {', '.join(study.facilities) or 'not named'}."
    )
