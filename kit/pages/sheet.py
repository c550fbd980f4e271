"""The sheet that may be handed on: one page of named numbers, and the same numbers as a list for the next search."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
from markupsafe import Markup

from kit.faults import ExportError
from kit.pages.display import table_html
from kit.pages.page import in_frame
from kit.plan import BASES
from kit.quarter import activity
from kit.sharing.counted import first_reason
from kit.statements.about import PREPARED, window
from kit.statements.comparing import UNCHARTED
from kit.statements.misleading import QUIET_MEANS
from kit.statements.shared import HANDED_ON, difference, held_back, in_words, recognised
from kit.study import Study
from kit.warned import answers_of
from kit.words import sentence

SHEET, NUMBERS = "sheet.html", "numbers.csv"
LISTED = ("shared", "things", "some", "all_of", "per_hundred", "about_all", "weighed")


def sheet_html(rows: pd.DataFrame, found: dict, study: Study, revision: str, made: str) -> str:
    """The sheet as HTML. `rows` are of `kit.sharing.telling.told`."""
    plan, answers = study.plan, answers_of(study)
    said, level = difference(rows, answers, plan)
    numbers = in_words(rows, first_reason(study), answers, plan).rename(columns=HEADINGS)
    return in_frame(
        "sheet.html.j2",
        title=f"{found['scope']}, {plan.program.name}: quarterly outcome sheet",
        internal=HANDED_ON,
        f=found,
        window=sentence(window(plan)),
        basis=BASES[plan.program.basis],
        revision=revision,
        made=made,
        numbers=Markup(table_html(numbers)),
        said=said,
        level=level,
        why_level=found["comparison"]["why_level"],
        look=found["comparison"]["look"],
        prepared=PREPARED,
        held_back=held_back(rows, plan),
        recognised=recognised(activity(study)),
        uncharted=UNCHARTED,
        asked=found["warnings"]["asked"],
        quiet_means=QUIET_MEANS,
    )


HEADINGS = {"says": "What was counted", "per_hundred": "Of 100", "about_all": "Of about"}


def write_numbers(shareable: Path, rows: pd.DataFrame) -> None:
    """numbers.csv: the numbers that are told, as they are printed and no closer."""
    listed = rows.loc[rows["is_shared"], list(LISTED)].astype({"per_hundred": "int64", "about_all": "int64"})
    listed.to_csv(shareable / NUMBERS, index=False, lineterminator="\n")


def read_numbers(revision: Path) -> pd.DataFrame:
    """The numbers of a revision's sheet, as `kit.sharing.telling` takes those issued before.

    Raises ExportError where the list is not there or is not as it was written.
    """
    file = revision / "shareable" / NUMBERS
    try:
        rows = pd.read_csv(file)
        if tuple(rows) != LISTED:
            raise ValueError
        return rows.astype({"per_hundred": float, "about_all": float, "weighed": bool})
    except (OSError, ValueError):
        raise ExportError(f"{revision.name}: {NUMBERS} of its sheet cannot be read as it was written") from None
