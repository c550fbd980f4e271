"""The documentation check as a workbook of its own: what an export shows of what US NCD 270.1 asks, week by week.

It is made by a command alone, never by a report: it is for the compliance officer, who decides where it goes.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from kit import __version__
from kit.alive import own_temporary, temporary_files_in
from kit.delivery.documentation import ANSWERS, CHART, NOT_SHOWN, OTHERWISE, REQUIREMENTS, SHOWN, counted, documentation
from kit.delivery.documentation import treated_weeks as weeks_of
from kit.faults import ExportError
from kit.pages.ledger import LEDGER
from kit.pages.workbooks import harmless, laid_out
from kit.plan import Plan, date_of
from kit.study import Study
from kit.words import label

REPORTS = "reports"
FIRST_LINE = "Send this to the compliance officer first."
LINES = (
    FIRST_LINE,
    "Not a coverage decision; contractors differ.",
    f"Each answer is one of: {SHOWN}; {OTHERWISE}; {NOT_SHOWN}; {CHART}. What is not shown may be in the chart; where "
    "the export shows otherwise, the column that says why tells what it shows. Ask counsel before passing this on.",
    "A row is a week of a wound in which electrical stimulation was given, counted from its first session. Ultrasound "
    "is outside NCD 270.1, and weeks of ultrasound alone are not listed.",
    "Not asked in any week: whether another modality was given at the same time, who was present, where it was given, "
    "what standard care consisted of, and who evaluated: these need the chart.",
    "Measurable sign: area or volume smaller by a tenth, exudate a level lower, or necrosis 10 points lower, over 30 "
    "days. NCD 270.1 gives no amounts; these are common practice, no source.",
    "Source: Centers for Medicare & Medicaid Services, National Coverage Determination 270.1, Electrical Stimulation "
    "and Electromagnetic Therapy for the Treatment of Wounds, version 2 (2004). The text of version 3 was not seen.",
)


def write_documentation(study: Study, workbook: Path, facility: str = "") -> Path:
    """The workbook: sheets read first, counts, weeks and wording.

    Raises ExportError where the workbook is there already, is no .xlsx, or would lie in a folder of reports; where the
    export holds several facilities and none is named; and where that one is not in it.
    """
    workbook = Path(workbook)
    refuse_place(workbook)
    told = _told(_one_facility(study, facility))
    if told.empty:
        raise ExportError("the export holds no week of stimulation for the check; see that the sessions are in it")
    sheets = {
        "counts": counts_table(told),
        "weeks": weeks_table(told, study.plan),
        "wording": wording_table(),
    }
    workbook.parent.mkdir(parents=True, exist_ok=True)
    with own_temporary() as home, temporary_files_in(home), pd.ExcelWriter(workbook, engine="openpyxl") as book:
        lines = pd.DataFrame({"": [*LINES, _made_from(study, facility)]})
        harmless(lines).to_excel(book, sheet_name="read first", index=False, header=False)
        laid_out(book.sheets["read first"], lines)
        for name, frame in sheets.items():
            harmless(frame).to_excel(book, sheet_name=name, index=False)
            laid_out(book.sheets[name], frame)
    return workbook


def refuse_place(workbook: Path) -> None:
    """A check lies nowhere near a report: a folder of reports is passed on as a whole."""
    if workbook.suffix.lower() != ".xlsx":
        raise ExportError(f"{workbook.name}: the check is a workbook; give it a name that ends in .xlsx")
    if workbook.exists():
        raise ExportError(f"{workbook.name}: there is such a file already; move it away or choose another name")
    for folder in workbook.resolve().parents:
        if folder.name.lower() == REPORTS or (folder / LEDGER).exists():
            raise ExportError(f"{workbook.name}: the check may not lie in a folder of reports; name another place")


def _one_facility(study: Study, facility: str) -> Study:
    if facility:
        return study.at(facility)
    if len(study.facilities) > 1:
        raise ExportError(f"the check is of one facility; name one with --facility: {', '.join(study.facilities)}")
    return study


def _told(study: Study) -> pd.DataFrame:
    weeks = weeks_of(study.sessions, study.wounds, study.residents)
    tables = (study.wounds, study.measurements, study.sessions, study.procedures, study.spans)
    return documentation(weeks, *tables, study.stages, study.episodes)


def _made_from(study: Study, facility: str) -> str:
    of = facility or ", ".join(study.facilities) or "facility not named"
    return f"Of {of}; export {study.fingerprint}, plan {study.plan.fingerprint}, kit {__version__}."


def counts_table(told: pd.DataFrame) -> pd.DataFrame:
    """A row a requirement, a column an answer: how many treated weeks have it."""
    table = counted(told).pivot(index="requirement", columns="answer", values="weeks")
    table = table.reindex(index=list(REQUIREMENTS), columns=list(ANSWERS)).fillna(0).astype("int64")
    asked = pd.Series(REQUIREMENTS).reindex(table.index).to_numpy()
    return table.rename(columns=label).reset_index(drop=True).assign(Asked=asked)[["Asked", *map(label, ANSWERS)]]


def weeks_table(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """A row a treated week, a column a requirement, and why what is not shown is not; blank where it is not asked."""
    keys = ["wound", "facility", "week", "first_given", "last_given", "sessions"]
    table = told.set_index([*keys, "requirement"])["answer"].unstack("requirement")
    why = told[told["because"] != ""].groupby(keys)["because"].agg("; ".join)
    table = table.reindex(columns=list(REQUIREMENTS)).fillna("").assign(because=why).fillna({"because": ""})
    table = table.rename_axis(columns=None).reset_index().sort_values(["wound", "week"], ignore_index=True)
    for name in ("first_given", "last_given"):
        table[name] = [date_of(day).isoformat() if plan.calendar else day for day in table[name]]
    return table.assign(week=table["week"] + 1).rename(columns=NAMES).rename(columns=label)


def wording_table() -> pd.DataFrame:
    """What each column of the weeks asks."""
    names = [label(NAMES.get(name, name)) for name in REQUIREMENTS]
    return pd.DataFrame({"Column of weeks": names, "Asked": list(REQUIREMENTS.values())})


NAMES = {
    "first_given": "First session", "last_given": "Last session", "chronic": "Not healed in 30 days",
    "care": "Standard care",
    "no_sign_before": "No sign before", "evaluation": "Evaluation", "sign": "Sign in 30 days", "stop": "Stopped",
    "week": "Week of treatment", "because": "Why not shown",
}  # fmt: skip
