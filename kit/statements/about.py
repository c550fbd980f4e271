"""What a page is of, and whom it is for."""

from __future__ import annotations

from kit import __version__
from kit.plan import BASES, Plan
from kit.study import Study
from kit.words import day

INTERNAL = (
    "Internal: small counts, in which people can be recognised. It stays with those who run the program and its "
    "consultant. For a board, a payer or a family there is shareable/sheet.html, once it is issued."
)

METHOD = (
    "We read the records that are kept for care. In each week we look at the wounds that were started, and at wounds "
    "that could have been and were not. Of these, the ones most like the started in size and in how they change count "
    "most. Then we count how many of each closed. To see what chance alone can do, we draw the same people again and "
    "again: that is the range. Rows that cannot be used are set aside and counted. Where too few were started, nothing "
    "is compared. Records are no fair test: the wounds that were picked may differ in ways that no chart shows."
)
PREPARED = (
    "Prepared by the program's own consultant, who has a stake in it. Anyone with the same export and plan gets the "
    "same numbers."
)
CAUTIONS = (
    "This page informs a clinician and an administrator. It advises treatment for nobody, is not a medical device and "
    "decides no payment. Contraindications, precautions, local policy and local codes stand before anything here; "
    "licensed practice decides."
)


def windows(plan: Plan) -> str:
    """The three windows in words: what was done, whose healing is told, and as known when."""
    if plan.cutoff is None:
        return (
            "Days are counted from each person's first record; a quarter is not computable under this basis, so the "
            "whole export is described."
        )
    return (
        f"What was done is counted from {day(plan.quarter_begins, plan)} to {day(plan.cutoff, plan)}; how long healing "
        f"took, over all wounds first measured from {day(plan.cohort_begins, plan)} on; starts are compared over "
        f"{plan.comparison.answer_months} months that end one horizon before {day(plan.cutoff, plan)}. All as known on "
        "that day."
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
