"""What became of the rows of the export: those set aside, and sessions that fit no wound."""

from __future__ import annotations

import pandas as pd

from kit.bias.evidence import BLURS, NOT_KNOWN, Evidence, Warned, not_computed
from kit.bias.sides import crossed
from kit.faults import SET_ASIDE
from kit.words import count, share

UNLINKED_ABOVE = 0.3  # of sessions; common practice, no source
ASIDE_ABOVE, ASIDE_USUALLY = 0.05, 0.01  # common practice, no source; 0.004 in a lifelike invented group
ROWS = 100  # of a facility, at least, to be told alone; common practice, no source
NO_WOUND = ("orphan", "astray", "unmatched")
# Nothing is lost with a row that stands twice, or that a plan that looks back was not to know yet.
NO_LOSS = ("duplicate", "future")
READ = ("measurements", "sessions")
EXPORT = ""  # of the whole export, not of a facility


def unlinked(evidence: Evidence) -> Warned:
    """Sessions of the export that fit no wound, or several: number is their share (0 to 1) of all sessions.

    Beyond the threshold it is not known who started. Wounds whose sessions are lost stand beside, as if nobody had
    treated them, which makes the two sides alike.
    """
    account = evidence.study.account.set_index("table")["rows_in"]
    whole = int(account.get("sessions", 0))
    if not whole:
        return not_computed("the export holds no sessions")
    number = _without_wound(_set_aside(evidence))["source_row"].nunique()
    fires, direction = number / whole > UNLINKED_ABOVE, BLURS if number else NOT_KNOWN
    says = f"Of {count(whole, 'session')} in the export {number} cannot be told to belong to one wound "
    return Warned(number / whole, UNLINKED_ABOVE, fires, direction, f"{says}({share(number, whole)}).")


def set_aside(evidence: Evidence) -> Warned:
    """Measurements and sessions set aside: number is a share (0 to 1), of the export or of the facility with most.

    Told is whichever goes furthest beyond its threshold. Rows that stand twice, or lie after the cut-off, lose nothing
    and are not counted; sessions that fit no wound are a warning of their own (`unlinked`). A facility is told alone
    from 100 rows on. What the rows held is not known.
    """
    told = _by_place(evidence)
    if not told.loc[EXPORT, "rows"]:
        return not_computed("the export holds no rows of measurements or sessions")
    place = (told["share"] / told["threshold"]).idxmax()
    most, (aside, whole) = told.loc[place], told.loc[EXPORT, ["aside", "rows"]].astype(int)
    says = f"Of {whole} measurements and sessions {aside} were set aside ({share(aside, whole)})"
    says += f"; in {place} {int(most['aside'])} of {int(most['rows'])}." if place != EXPORT else "."
    return Warned(float(most["share"]), float(most["threshold"]), bool(most["share"] > most["threshold"]), says=says)


def _by_place(evidence: Evidence) -> pd.DataFrame:
    """Of the export, and of each facility with rows enough: aside, rows, share, threshold."""
    houses = evidence.study.houses
    houses, lost = houses[houses["table"].isin(READ)], _lost(evidence)
    keys = pd.MultiIndex.from_frame(houses[["table", "source_row"]])
    aside = keys.isin(pd.MultiIndex.from_frame(lost[["table", "source_row"]]))
    rows = pd.DataFrame({"facility": houses["facility"].to_numpy(dtype=object), "aside": aside})
    told = rows.groupby("facility")["aside"].agg(aside="sum", rows="size")
    whole = pd.DataFrame({"aside": [int(aside.sum())], "rows": [len(rows)]}, index=[EXPORT])
    told = pd.concat([whole, told[told["rows"] >= ROWS]])
    limits = [crossed(ASIDE_ABOVE, ASIDE_USUALLY, max(int(number), 1), len(told)) for number in told["rows"]]
    return told.assign(share=told["aside"] / told["rows"], threshold=limits)


def _lost(evidence: Evidence) -> pd.DataFrame:
    lines = _set_aside(evidence)
    lines = lines[~lines["fault"].isin(NO_LOSS)]
    return lines.drop(_without_wound(lines).index)


def _without_wound(lines: pd.DataFrame) -> pd.DataFrame:
    return lines[(lines["table"] == "sessions") & lines["fault"].isin(NO_WOUND)]


def _set_aside(evidence: Evidence) -> pd.DataFrame:
    faults = evidence.study.faults
    return faults[(faults["fate"] == SET_ASIDE) & faults["table"].isin(READ)]
