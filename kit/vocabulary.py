"""Every column the kit reads or returns: its type, unit, allowed values and one sentence.

The data dictionary of the README, the checks of intake and the invented exports all come from here.
"""

from __future__ import annotations

from dataclasses import dataclass

STAGES = ("1", "2", "3", "4", "unstageable", "deep_tissue", "mucosal")
KINDS = ("pressure_injury", "venous", "arterial", "diabetic_foot", "surgical", "other")
SITES = (
    "sacrum", "coccyx", "ischium", "trochanter", "buttock", "hip", "back", "heel", "ankle", "foot", "toe",
    "leg", "elbow", "shoulder", "head", "abdomen", "other",
)  # fmt: skip
SIDES = ("left", "right", "middle")
REASONS_MISSED = (
    "refused", "unwell", "out_of_building", "on_hold", "staff", "equipment", "supplies", "payer", "isolation",
)  # fmt: skip
SPANS = (
    "payer", "comfort_goal", "out_of_building", "ordered_regimen", "hold", "infection", "antibiotic",
    "support_surface", "offloading", "compression", "negative_pressure", "contraindication", "precaution",
)  # fmt: skip
# Conditions for which modalities are withheld or used with care; the list with sources is data/published.
CONDITIONS = (
    "electronic_implant", "malignancy", "thrombosis", "pregnancy", "osteomyelitis", "untreated_infection",
    "active_bleeding", "reduced_sensation", "cannot_report", "recent_radiation", "metal", "near_heart_or_neck",
    "near_eye_or_reproductive_organs", "laminectomy", "ionic_residue",
)  # fmt: skip
SPAN_VALUES = (
    "medicare_a", "medicare_b", "managed_care", "medicaid", "private", "other",
    "monopolar", "bipolar", "ultrasound", "dressing", "yes",
    *CONDITIONS,
)  # fmt: skip
DEPARTURES = ("left", "hospital", "died", "surgical_closure")
OUTCOMES = ("closed", "died", "hospital", "left", "surgical_closure")
YES_NO = ("yes", "no")
UNKNOWN = "unknown"

LENGTHS = {"cm": 1.0, "mm": 0.1, "in": 2.54}
AREAS = {"cm2": 1.0, "mm2": 0.01, "in2": 6.4516}
DURATIONS = {"min": 1.0, "h": 60.0, "s": 1 / 60}
AGES = {"years": 1.0, "months": 1 / 12}
UNITS: dict[str, dict[str, float]] = {
    "cm": LENGTHS,
    "cm2": AREAS,
    "min": DURATIONS,
    "years": AGES,
    "%": {"%": 1.0, "share": 100.0},
    "per second": {"per second": 1.0, "hz": 1.0, "khz": 1000.0},
    "V": {"v": 1.0, "mv": 0.001},
    "uC/s": {"uc/s": 1.0, "mc/s": 1000.0},
    "MHz": {"mhz": 1.0, "khz": 0.001},
    "W/cm2": {"w/cm2": 1.0, "mw/cm2": 0.001},
    "points": {"points": 1.0},
    "per week": {"per week": 1.0, "per day": 7.0},
}


@dataclass(frozen=True)
class Column:
    """One column: what it is called, what it may hold, and a sentence that a clinician can check."""

    name: str
    kind: str  # pseudonym, day, number, choice, site, stage, size or flag
    says: str
    unit: str = ""
    allowed: tuple[str, ...] = ()
    low: float = float("-inf")
    high: float = float("inf")
    required: bool = False
    telling: bool = False  # a word that is not read here changes what the report says


@dataclass(frozen=True)
class Table:
    """One table of the export: what a row is, the columns that name it, and its columns."""

    name: str
    row: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    required: bool = False

    def column(self, name: str) -> Column:
        return next(column for column in self.columns if column.name == name)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(column.name for column in self.columns)


def _pseudonym(name: str, says: str, required: bool = False) -> Column:
    return Column(name, "pseudonym", says, required=required)


def _day(name: str, says: str, required: bool = False) -> Column:
    return Column(name, "day", says, unit="day", required=required)


def _number(name: str, unit: str, low: float, high: float, says: str) -> Column:
    return Column(name, "number", says, unit=unit, low=low, high=high)


def _choice(name: str, allowed: tuple[str, ...], says: str, required: bool = False, telling: bool = False) -> Column:
    return Column(name, "choice", says, allowed=allowed, required=required, telling=telling)


def _site(name: str, says: str) -> Column:
    return Column(name, "site", says, allowed=SITES)


def _flag(name: str, says: str) -> Column:
    return Column(name, "flag", says, allowed=YES_NO)


# Limits are what a ruler, a device or a person can show; a value outside is a slip, not a finding.
RESIDENTS = Table(
    "residents",
    "a person",
    ("resident",),
    (
        _pseudonym("resident", "Pseudonym of the person; the same in every table.", required=True),
        _pseudonym("facility", "Pseudonym of the facility the person lives in."),
        _number("age", "years", 18, 120, "Age at the first record; 90 stands for 90 and older."),
        _choice("sex", ("female", "male"), "Sex as recorded."),
        _flag("diabetes", "Diabetes is recorded."),
        _choice("perfusion", ("adequate", "reduced"), "Blood supply to the limb as recorded."),
        _choice("mobility", ("walks", "chair", "bed"), "How the person gets about."),
        _number("risk_total", "points", 6, 23, "Pressure injury risk total (6 to 23, lower is higher risk)."),
        _choice("continence", ("continent", "urine", "stool", "both"), "What the person is incontinent of."),
        _flag("weight_loss", "Unplanned weight loss is recorded."),
        _day("last_day", "Day up to which the export covers this person; blank means up to the cut-off."),
    ),
)

WOUNDS = Table(
    "wounds",
    "a wound",
    ("wound",),
    (
        _pseudonym("wound", "Pseudonym of the wound; one wound keeps it for life.", required=True),
        _pseudonym("resident", "Pseudonym of the person who has the wound.", required=True),
        _choice("kind", KINDS, "What kind of wound it is.", telling=True),
        _site("site", "Where on the body it is; a side may stand with it (L heel)."),
        _choice("side", SIDES, "Which side of the body."),
        _day("onset", "Day the wound began, where known."),
        _flag("present_on_admission", "Recorded as present when the person first came in."),
    ),
    required=True,
)

MEASUREMENTS = Table(
    "measurements",
    "a measured wound on a day",
    ("wound", "day"),
    (
        _pseudonym("wound", "Pseudonym of the wound measured.", required=True),
        _day("day", "Day of the measurement.", required=True),
        _choice("state", ("open", "closed"), "Open, or closed (fully covered with new skin).", telling=True),
        Column("dimensions", "size", "Size in one cell, as charts write it (3.2 x 1.5 x 0.4, healed).", unit="cm"),
        _number("length", "cm", 0, 60, "Greatest length."),
        _number("width", "cm", 0, 60, "Greatest width square to the length."),
        _number("depth", "cm", 0, 20, "Greatest depth."),
        _number("undermining", "cm", 0, 20, "Deepest undermining."),
        _number("tunnelling", "cm", 0, 30, "Deepest tunnel."),
        _number("area", "cm2", 0, 1500, "Area as the facility recorded it, where it did."),
        _choice("area_method", ("rectangle", "ellipse", "tracing"), "How the recorded area was found."),
        Column("stage", "stage", "Stage as charted (pressure injuries only).", allowed=STAGES),
        _choice(
            "tissue",
            ("closed", "epithelial", "granulation", "slough", "necrotic"),
            "Worst tissue seen in the wound bed.",
        ),
        _number("necrosis_share", "%", 0, 100, "Share of the bed that is slough or necrotic."),
        _choice("exudate", ("none", "light", "moderate", "heavy"), "Amount of exudate."),
        _pseudonym("assessor", "Pseudonym of the person who measured."),
        _choice(
            "assessor_role",
            ("nurse", "wound_nurse", "therapist", "practitioner"),
            "Role of the person who measured.",
        ),
        _day("entered", "Day the measurement was typed in, where recorded."),
    ),
    required=True,
)

SESSIONS = Table(
    "sessions",
    "a treatment, given or not",
    ("wound", "day", "modality"),
    (
        _pseudonym("wound", "Pseudonym of the wound treated."),
        _pseudonym("resident", "Pseudonym of the person treated, where no wound is named."),
        _site("site", "Site treated, where no wound is named; one cell may hold two (sacrum and L heel)."),
        _choice("side", SIDES, "Side treated, where no wound is named."),
        _site("also_site", "A second site treated in the same session."),
        _choice("also_side", SIDES, "Side of the second site."),
        _day("day", "Day of the session.", required=True),
        _choice("modality", ("stimulation", "ultrasound", "other"), "What was applied.", required=True, telling=True),
        _choice("setup", ("monopolar", "bipolar"), "Electrode set-up (stimulation only)."),
        _choice("polarity", ("negative", "positive", "alternating"), "Polarity at the wound."),
        _number("pulse_rate", "per second", 0.1, 1000, "Pulses per second."),
        _number("minutes", "min", 0, 480, "Minutes the device was on."),
        _number("staff_minutes", "min", 0, 480, "Minutes of staff time; never counted as dose."),
        _choice("sensation", ("none", "sensory", "motor"), "Strongest response felt or seen."),
        _number("volts", "V", 0, 500, "Peak voltage."),
        _number("charge_rate", "uC/s", 0, 5000, "Charge delivered a second, where recorded."),
        _number("frequency", "MHz", 0.02, 5, "Ultrasound frequency."),
        _number("duty", "%", 0, 100, "Ultrasound duty cycle."),
        _number("intensity", "W/cm2", 0, 3, "Ultrasound intensity (spatial average)."),
        _number("radiating_area", "cm2", 0.1, 20, "Effective radiating area of the sound head."),
        _choice("status", ("given", "shortened", "missed"), "What became of the planned session.", telling=True),
        _choice("reason", REASONS_MISSED, "Why it was shortened or missed."),
        _choice(
            "reaction",
            ("none", "skin_irritation", "pain", "burn", "bleeding", "other"),
            "Reaction recorded.",
            telling=True,
        ),
        _pseudonym("therapist", "Pseudonym of the therapist."),
    ),
)

PROCEDURES = Table(
    "procedures",
    "a dressing change, debridement or evaluation",
    ("wound", "day", "procedure"),
    (
        _pseudonym("wound", "Pseudonym of the wound.", required=True),
        _day("day", "Day of the procedure.", required=True),
        _choice("procedure", ("dressing", "debridement", "evaluation"), "What was done.", required=True, telling=True),
        _flag("relief", "Stimulation for pain relief was given before it."),
        _number("relief_minutes", "min", 0, 240, "Minutes of stimulation for pain relief before it."),
        _number("pain_before", "points", 0, 10, "Pain before (0 to 10)."),
        _number("pain_during", "points", 0, 10, "Pain during (0 to 10)."),
        _number("pain_after", "points", 0, 10, "Pain after (0 to 10)."),
    ),
)

PERIODS = Table(
    "spans",
    "a period during which something held",
    ("resident", "wound", "span", "from_day"),
    (
        _pseudonym("resident", "Pseudonym of the person, where it concerns the person."),
        _pseudonym("wound", "Pseudonym of the wound, where it concerns one wound."),
        _choice("span", SPANS, "What held.", required=True, telling=True),
        _choice("value", SPAN_VALUES, "Which one, where there are several."),
        _number("per_week", "per week", 0, 21, "How often it was ordered, for an ordered regimen."),
        _day("from_day", "First day on which it held.", required=True),
        _day("to_day", "Last day on which it held; blank means it still does."),
    ),
)

LEAVINGS = Table(
    "departures",
    "an end, or a break, of follow-up",
    ("resident", "wound", "day"),
    (
        _pseudonym("resident", "Pseudonym of the person.", required=True),
        _pseudonym("wound", "Pseudonym of the wound, for a surgical closure of one wound."),
        _day("day", "Day of the departure.", required=True),
        _choice("reason", DEPARTURES, "Why follow-up ended or broke off.", required=True, telling=True),
        _day("returned", "Day of return, where the person came back."),
    ),
)

TABLES: dict[str, Table] = {
    table.name: table for table in (RESIDENTS, WOUNDS, MEASUREMENTS, SESSIONS, PROCEDURES, PERIODS, LEAVINGS)
}


def dictionary() -> str:
    """The data dictionary as Markdown: a section a table, a line a column."""
    return "\n".join(line for table in TABLES.values() for line in _section(table))


def _section(table: Table) -> list[str]:
    needed = "needed" if table.required else "may be absent"
    lines = [
        f"### {table.name}: {table.row} ({needed})",
        "",
        "| column | holds | unit | |",
        "| --- | --- | --- | --- |",
    ]
    return [*lines, *(_line(column) for column in table.columns), ""]


def _line(column: Column) -> str:
    held = ", ".join(column.allowed) if column.allowed else column.kind
    name = f"**{column.name}**" if column.required else column.name
    return f"| {name} | {held} | {column.unit} | {column.says} |"
