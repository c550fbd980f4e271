"""The tables of delivery as a reader sees them: counts and whole percents, words for names, nobody named."""

from __future__ import annotations

import pandas as pd

from kit.delivered import Delivered
from kit.delivery.agreement import OFF
from kit.delivery.published import doses
from kit.delivery.settings import QUESTIONS
from kit.delivery.shortfalls import UNRECORDED
from kit.plan import Plan, date_of
from kit.statements.delivery import ELEMENTS, FATES, HOW, MATTERS, how, matters, stretch_days
from kit.words import label, sentence, share

TOLD_FROM = 0.02  # a share missed below it is in the workbook only


def shortfalls_table(shortfalls: pd.DataFrame) -> pd.DataFrame:
    """Facility and element, most often missed first; those hardly ever missed are left to tables.xlsx."""
    told = shortfalls[shortfalls["missing_share"] >= TOLD_FROM]
    return pd.DataFrame([_shortfall(row) for row in told.to_dict("records")])


def _shortfall(row: dict) -> dict[str, object]:
    missing = row[UNRECORDED] + sum(row[name] for name in OFF)
    return {
        "Facility": row["facility"],
        "Element": sentence(ELEMENTS[row["element"]]),
        "Off the protocol": share(missing, row["asked"]),
        "Of": row["asked"],
        "Short": row["below"],
        "Beyond": row["above"],
        "Against": row["against"],
        "Not recorded": row[UNRECORDED],
        "Cannot be judged": row["unknown"],
        "A matter of": matters(row["matters"]) if row["matters"] else "–",
    }


def stretches_table(stretches: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Since when each element was missed, over the whole export; what was seen fewer than five times is left out."""
    told = stretches[stretches["off_all"] >= 5]
    rows = [
        {
            "Facility": row["facility"],
            "Element": sentence(ELEMENTS[row["element"]]),
            "How": sentence(how(row["element"], row["state"])),
            "When": sentence(stretch_days(row, plan)),
            "Sessions or weeks": f"{row['off']} of {row['asked']}",
            "In the whole export": f"{row['off_all']} of {row['asked_all']}",
        }
        for row in told.to_dict("records")
    ]
    return pd.DataFrame(rows)


def fates_table(fates: pd.DataFrame) -> pd.DataFrame:
    """What became of the sessions that were due: a row a facility and fate."""
    rows = [
        {
            "Facility": row["facility"],
            "Sessions that": FATES[row["fate"]],
            "Sessions": round(row["sessions"]),
            "Of those due": share(row["sessions"], row["sessions"] / row["share"]),
            "A matter of": MATTERS.get(row["decision"], "–"),
        }
        for row in fates.to_dict("records")
    ]
    return pd.DataFrame(rows)


def stimulation_table(doses: pd.DataFrame) -> pd.DataFrame:
    """Dose of stimulation by facility and set-up: device minutes, days a week, charge; a dash where not recorded."""
    told = doses[doses["modality"] == "stimulation"]
    return pd.DataFrame([_stimulated(row) for row in told.to_dict("records")])


def _stimulated(row: dict) -> dict[str, object]:
    return _given(row) | {
        "Minutes, first day": _number(row["first_minutes"]),
        "Minutes, later days (half of them)": _spread(row),
        "Minutes a week": _number(row["minutes_a_week"]),
        "Charge, C a day": _number(row["median_charge"], 2),
    }


def ultrasound_table(doses: pd.DataFrame) -> pd.DataFrame:
    """Dose of ultrasound by facility: minutes a zone, intensity averaged over its pulses, frequency."""
    told = doses[doses["modality"] == "ultrasound"]
    return pd.DataFrame([_sounded(row) for row in told.to_dict("records")])


def _sounded(row: dict) -> dict[str, object]:
    return _given(row) | {
        "Minutes a day (half of them)": _spread(row),
        "Minutes a zone": _number(row["median_zone"], 1),
        "W/cm2, averaged over pulses": _number(row["average_intensity"], 2),
        "MHz": _number(row["median_frequency"], 1),
    }


def _given(row: dict) -> dict[str, object]:
    told = {"Facility": row["facility"]}
    if row["modality"] == "stimulation":
        told["Set-up"] = sentence(row["setup"] or "not recorded")
    return told | {"Wounds": row["wounds"], "Days": row["treated_days"], "Days a week": _number(row["days_a_week"], 1)}


def _spread(row: dict) -> str:
    if not row["minutes_known"]:
        return "not recorded"
    return f"{_number(row['median'])} ({_number(row['quartile_1'])} to {_number(row['quartile_3'])})"


def _number(value: float, places: int = 0) -> str:
    return "–" if pd.isna(value) else f"{value:.{places}f}"


def published_table(doses: pd.DataFrame) -> pd.DataFrame:
    """Doses of published studies, to stand beside what was delivered."""
    rows = [
        {
            "Study": row["trial"],
            "Minutes a day": _number(row["minutes"]),
            "Days a week": _number(row["per_week"]),
            "Minutes a week": _number(row["weekly_minutes"]),
            "Weeks": _number(row["for_weeks"], 1),
            "Charge, C a day": _number(row["day_charge"], 2),
        }
        for row in doses.to_dict("records")
    ]
    return pd.DataFrame(rows)


def settings_table(settings: pd.DataFrame) -> pd.DataFrame:
    """Settings that do not go together, most frequent first; questions that found nothing are left to tables.xlsx."""
    told = settings[settings["found"] > 0]
    told = told.assign(part=told["found"] / told["asked"])
    told = told.sort_values(["part", "facility"], ascending=[False, True])
    rows = [
        {"Facility": row["facility"], "Found": QUESTIONS[row["setting"]],
         "Sessions": f"{row['found']} of {row['asked']}", "Wounds": row["wounds"]}
        for row in told.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def polarity_table(by_state: pd.DataFrame) -> pd.DataFrame:
    """Polarity at the wound by its state in that week; what a plan that goes by state would ask stands beside."""
    rows = [
        {"Facility": row["facility"], "State of the wound": label(row["wound_state"]), "Sessions": row["sessions"],
         "Negative": row["negative"], "Positive": row["positive"], "Not recorded": row["unrecorded"],
         "By state it would be": row["asked_polarity"] or "either"}
        for row in by_state.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def schedules_table(schedules: pd.DataFrame) -> pd.DataFrame:
    """Whether polarity turned as scheduled: a row a facility and what its wounds' schedules came to."""
    told = schedules.assign(schedule=schedules["schedule"].replace("", "too few sessions to tell"))
    by = told.groupby(["facility", "schedule"], as_index=False)
    table = by.agg(wounds=("wound", "size"), judged=("judged", "sum"), turned=("as_scheduled", "sum"))
    rows = [
        {"Facility": row["facility"], "Schedule": row["schedule"], "Wounds": row["wounds"],
         "Sessions at their turn": f"{row['turned']} of {row['judged']}"}
        for row in table.to_dict("records")
    ]  # fmt: skip
    return pd.DataFrame(rows)


def agreement_tables(done: Delivered, plan: Plan) -> dict[str, pd.DataFrame]:
    """The tables of agreement by caption; those with nothing to tell are left out."""
    return filled({
        "The protocol in the quarter, most often missed first": shortfalls_table(done.shortfalls),
        "Since when, over the whole export": stretches_table(done.stretches, plan),
    })  # fmt: skip


def dose_tables(done: Delivered) -> dict[str, pd.DataFrame]:
    """The tables of dose and settings by caption; those with nothing to tell are left out."""
    return filled({
        "Stimulation in the quarter: device minutes, never minutes of staff": stimulation_table(done.doses),
        "Ultrasound in the quarter": ultrasound_table(done.doses),
        "Doses of published studies of stimulation; none is thereby the right one": _beside(done.doses),
        "Settings of the quarter that do not go together": settings_table(done.settings),
        "Polarity by the wound's state in that week, whole export": polarity_table(done.by_state),
        "Polarity where the plan has a schedule that turns it, whole export": schedules_table(done.schedules),
    })  # fmt: skip


def filled(tables: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Those of the tables that have a row."""
    return {caption: table for caption, table in tables.items() if len(table)}


def delivery_sheets(done: Delivered, plan: Plan) -> dict[str, pd.DataFrame]:
    """The same in full, for tables.xlsx: words for names, dates for days."""
    named = {"element": ELEMENTS, "decision": MATTERS, "setting": QUESTIONS, "state": HOW, "fate": FATES}
    sheets = {
        "agreement": done.shortfalls, "since when": _dated(done.stretches, plan), "due": done.fates, "dose": done.doses,
        "settings": done.settings,
    }  # fmt: skip
    return {name: _in_words(frame, named) for name, frame in sheets.items()}


def _in_words(frame: pd.DataFrame, named: dict[str, dict[str, str]]) -> pd.DataFrame:
    told = frame.assign(**{column: frame[column].replace(words) for column, words in named.items() if column in frame})
    if "matters" in told:
        told = told.assign(matters=[matters(counts) if counts else "" for counts in frame["matters"]])
    return told.rename(columns={"unknown": "cannot be judged"})


def _dated(stretches: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    if not plan.calendar:
        return stretches
    days = {name: [date_of(day).isoformat() for day in stretches[name]] for name in ("from_day", "to_day")}
    return stretches.assign(**days)


def _beside(given: pd.DataFrame) -> pd.DataFrame:
    """Published doses, where stimulation was given; without those of which neither minutes nor charge were seen."""
    published = doses()
    known = published[published["minutes"].notna()] if (given["modality"] == "stimulation").any() else published.head(0)
    return published_table(known)
