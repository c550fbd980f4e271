"""The study plan: what is asked, and by which rules, fixed before the data are looked at."""

from __future__ import annotations

import difflib
import hashlib
import re
import tomllib
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, field_validator, model_validator
from pydantic.fields import FieldInfo

from kit.intake.naming import file_said, said
from kit.vocabulary import KINDS, SESSIONS, STAGES

EPOCH = date(2000, 1, 1)
YEARS = 1990, 2100  # in which a plan may lie
FARTHEST = 100_000  # a day number beyond 270 years is something else, most often 20260105
WEEK = 7
BASES = {
    "operations": "health care operations",
    "limited_data_set": "limited data set with a data use agreement (45 CFR 164.514(e))",
    "expert_determination": "expert determination (45 CFR 164.514(b)(1))",
    "safe_harbor": "safe harbor (45 CFR 164.514(b)(2))",
}
# Names of the kit's own groups: two groups of one name could not be told apart.
TAKEN = ("any modality", "before any modality", "no modality", "several at once", "outside the plan", "all")
# Stages at which there is a bed to treat; common practice, no source.
STARTED_STAGES = ("2", "3", "4", "unstageable", "deep_tissue")
# What a start may have followed besides size, its course and time; each is a column of the trials.
COVARIATES = (
    "full_thickness", "necrosis", "infection", "present_on_admission", "age", "diabetes", "perfusion", "mobility",
    "risk_total", "continence", "weight_loss",
)  # fmt: skip
Kind = Literal[KINDS]
Stage = Annotated[Literal[STAGES], BeforeValidator(lambda stage: str(stage) if type(stage) is int else stage)]
LONGEST = 1 << 20  # bytes of a plan or a map; those of a person have a few thousand
TOML_CURE = "dates stand without quotation marks (2026-03-31), words between straight ones"


class PlanError(Exception):
    """The plan cannot be followed as written; the message names the key and the cure."""


def day_of(calendar: date) -> int:
    """Whole days since 1 January 2000, the kit's day number for a calendar date."""
    return (calendar - EPOCH).days


def date_of(day: int) -> date:
    """The calendar date of a day number."""
    return EPOCH + timedelta(days=int(day))


def _moment(given: object) -> object:
    """A date or a day number as it stands in TOML; true, 1.0 and a date in another spelling are slips."""
    if given is not None and type(given) not in (date, int):
        raise ValueError("write a date such as 2026-06-30, without quotation marks, or a day number")
    if type(given) is date and not YEARS[0] <= given.year <= YEARS[1]:
        raise ValueError(f"the year lies between {YEARS[0]} and {YEARS[1]}")
    if type(given) is int and abs(given) >= FARTHEST:
        raise ValueError("a day number has five digits at most; a date stands with its lines, like 2026-06-30")
    return given


Moment = Annotated[date | int | None, BeforeValidator(_moment)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True, allow_inf_nan=False)


class Program(_Part):
    """Whose program it is, and under what the export was made."""

    name: str = Field(min_length=1, max_length=80, description="what the page calls the program")
    basis: Literal[tuple(BASES)] = Field(
        description=f"under what the export was made: {', '.join(BASES)}; ask your privacy officer"
    )


class Windows(_Part):
    """The quarter that is described, the cut-off, and how far back wounds are followed.

    Dates, or day numbers where the export counts days; none under safe_harbor.
    """

    quarter_begins: Moment = Field(default=None, description="first day of the quarter")
    cutoff: Moment = Field(default=None, description="last day of it; nothing later is read")
    cohort_months: int = Field(default=24, ge=1, le=120, description="how far back wounds are followed")


class Sizes(_Part):
    """How size is found from length and width, and for how long a measurement is fresh."""

    area: Literal["rectangle", "ellipse"] = Field(
        default="rectangle", description="how size is had from length and width"
    )
    fresh_days: int = Field(default=7, ge=1, le=28, description="for how long a size counts as measured in time")


class Following(_Part):
    """When a wound counts as closed, gone or lost from sight."""

    confirm_days: int = Field(default=14, ge=1, le=60, description="open again within them undoes a closing")
    bed_hold_days: int = Field(default=30, ge=1, le=120, description="a longer stay in hospital ends follow-up")
    vanished_days: int = Field(default=28, ge=7, le=180, description="unseen for longer, a wound is lost from sight")
    horizon_weeks: int = Field(default=12, ge=2, le=52, description="weeks at which shares are told")


class Cohort(_Part):
    """Which wounds the report speaks of."""

    kinds: tuple[Kind, ...] = Field(default=KINDS, description="kinds of wound the times to closing speak of")
    stages: tuple[Stage, ...] = Field(default=STAGES, description="stages of pressure injury they speak of")


class Comparing(_Part):
    """Who may be compared, over which time, given what was charted, and from how many on."""

    run_in_days: int = Field(default=14, ge=0, le=90, description="days of usual care before a start is compared")
    horizons: tuple[int, ...] = Field(
        default=(12, 8, 4), min_length=1, description="weeks; the longest that the data carry is used"
    )
    answer_months: int = Field(default=12, ge=3, le=60, description="over how many months of starts the answer goes")
    early_weeks: int = Field(default=4, ge=2, le=12, description="weeks after which the early response is read")
    early_percent: int = Field(default=40, ge=10, le=90, description="percent smaller that counts as early response")
    stages: tuple[Stage, ...] = Field(
        default=STARTED_STAGES, description="stages of pressure injury at which a modality could be started"
    )
    covariates: tuple[Literal[COVARIATES], ...] = Field(
        default=("full_thickness", "necrosis", "infection"),
        description="what else starts may have followed, most telling first; one for every five starters beyond 25",
    )
    starters: int = Field(default=15, ge=10, description="wounds that started, at least")
    starters_residents: int = Field(default=12, ge=8, description="on so many residents, at least")
    effective_residents: int = Field(default=15, ge=10, description="residents the others are worth, at least")
    eligible_residents: int = Field(default=40, ge=20, description="residents who could have been started, at least")
    closings: int = Field(default=10, ge=5, description="wounds closed in both groups together, at least")
    facility_spread: float = Field(
        default=5, ge=1, le=20, description="points of 100 by which facilities are taken to differ (standard deviation)"
    )
    decides: Moment = Field(default=None, description="cut-off of the quarter that decides; the others are looks")

    @model_validator(mode="after")
    def _longest_first(self) -> Comparing:
        if list(self.horizons) != sorted(set(self.horizons), reverse=True):
            raise ValueError("horizons stand from the longest to the shortest, each once")
        if not 2 <= self.horizons[-1] <= self.horizons[0] <= 52:
            raise ValueError("horizons lie between 2 and 52 weeks")
        if self.early_weeks > self.horizons[-1]:
            raise ValueError("early_weeks is longer than the shortest of horizons")
        if len(set(self.covariates)) < len(self.covariates):
            raise ValueError("a covariate stands twice; name each once, the most telling first")
        return self


class Regimen(_Part):
    """A regimen is a rule over what the first session shows."""

    name: str = Field(min_length=1, max_length=40, description="what the page calls the regimen")
    modality: Literal[SESSIONS.column("modality").allowed] = Field(description="modality of the first session")
    setup: Literal[SESSIONS.column("setup").allowed] | None = Field(
        default=None, description="its set-up; left out: any"
    )
    polarity: Literal[SESSIONS.column("polarity").allowed] | None = Field(
        default=None, description="its polarity at the wound; left out: any"
    )

    @field_validator("name")
    @classmethod
    def _parts_no_pair(cls, given: str) -> str:
        if " / " in given:
            raise ValueError("a stroke with blanks stands between two regimens; write the name without it")
        return given


def _number(given: object) -> object:
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise ValueError("write a number, without quotation marks")
    return given


def _pair(given: object) -> object:
    if not isinstance(given, list | tuple) or len(given) != 2 or not all(type(end) in (int, float) for end in given):
        raise ValueError("write two numbers in brackets, the smaller first, like [45, 60]")
    return given


Number = Annotated[float, BeforeValidator(_number)]
Range = Annotated[tuple[float, float], BeforeValidator(_pair)]


# What a device and a day can give: minutes, pulses a second, percent (a share is a slip), W/cm2.
LIMITS = {"minutes": (1, 480), "pulse_rate": (0.1, 1000), "duty": (1, 100), "intensity": (0.01, 3)}


class Protocol(_Part):
    """What a session should be, element by element. Every default is common practice, no source; the plan overrides it.

    A pair is a range, both ends included; `leeway_percent` widens it on both sides.
    """

    minutes: Range = Field(default=(45, 60), description="stimulation: device minutes a day, from and to")
    first_minutes: Number = Field(
        default=20, gt=0, le=480, description="stimulation: minutes of the first session, at least"
    )
    build_up: int = Field(default=3, ge=0, le=20, description="stimulation: sessions in which minutes are built up")
    pulse_rate: Range = Field(default=(125, 125), description="stimulation: pulses a second")
    sensation: Literal[SESSIONS.column("sensation").allowed] = Field(
        default="sensory", description="stimulation: strongest response that is meant"
    )
    polarity: Literal["by_state", "negative", "positive", "turning", "any"] = Field(
        default="by_state",
        description="stimulation, one electrode at the wound: by_state is negative for infection and tissue growth, "
        "positive for necrotic and epithelial tissue; turning changes it on a schedule, negative first",
    )
    turn_days: int = Field(default=3, ge=1, le=14, description="days between turns of the schedule")
    turning_facilities: tuple[str, ...] = Field(
        default=(), description="facilities whose protocol turns the polarity, whatever `polarity` says for the others"
    )
    duty: Range = Field(default=(20, 20), description="ultrasound: duty cycle, percent")
    intensity: Range = Field(default=(0.5, 0.5), description="ultrasound: W/cm2 while on")
    zone_minutes: Number = Field(default=5, gt=0, le=60, description="ultrasound: minutes a zone")
    zone_heads: Number = Field(
        default=2, gt=0, le=10, description="ultrasound: a zone is so many times the head's effective radiating area"
    )
    shallow_cm: Number = Field(
        default=2.5, gt=0, le=10, description="ultrasound: depth to which 3 MHz reaches, cm; 1 MHz twice"
    )
    leeway_percent: Number = Field(
        default=10, ge=0, le=50, description="how far outside a range still counts as within"
    )
    relief_minutes: Number = Field(
        default=15, gt=0, le=240, description="stimulation for pain relief before a procedure, at least"
    )
    evaluation_days: int = Field(default=30, ge=7, le=90, description="days after which an evaluation is due")
    monopolar_sets: Number = Field(default=1, ge=0, description="single-use sets a session, monopolar")
    bipolar_sets: Number = Field(default=1, ge=0, description="single-use sets a session, bipolar")
    ultrasound_sets: Number = Field(default=1, ge=0, description="single-use sets a session, ultrasound")

    @model_validator(mode="after")
    def _in_order(self) -> Protocol:
        for name, (least, most) in LIMITS.items():
            low, high = getattr(self, name)
            if not least <= low <= high <= most:
                raise ValueError(f"{name} is a range within {least} to {most}, the smaller number first")
        if self.first_minutes > self.minutes[1]:
            raise ValueError("first_minutes lies above the range of minutes")
        return self


# What a page may propose to discuss; whether and by whom is decided in the meeting.
PROPOSALS = ("keep", "change", "train", "measure better", "pause for review")
Proposal = Literal[PROPOSALS]


class Triggers(_Part):
    """What makes the page propose something to discuss; its thresholds are common practice, without a source."""

    delivered_below: Number = Field(
        default=80, ge=0, le=100, description="percent of sessions due that reached the protocol's minutes"
    )
    reach_below: Number = Field(
        default=10, ge=0, le=100, description="percent of wounds that could have been started in the quarter and were"
    )
    harm_above: Number = Field(default=5, ge=0, le=100, description="reactions per 100 sessions")
    trust_below: Number = Field(default=70, ge=0, le=100, description="percent of wound weeks measured in time")
    leans_worse: Proposal = Field(
        default="pause for review", description="what is proposed where the whole range says fewer closed"
    )
    too_few: Proposal = Field(default="keep", description="what is proposed where too few can be compared")
    supports: Proposal = Field(default="keep", description="what is proposed where the whole range says more closed")


class Costs(_Part):
    """What things cost, in one currency. Every default is invented; a page marks each that the plan does not name.

    A staff minute, a set and a dressing are spent with every session (variable); a device month is spent whether or not
    anybody is treated (fixed).
    """

    currency: str = Field(default="$", min_length=1, max_length=5, description="how amounts are written")
    staff_minute: Number = Field(default=0.9, ge=0, description="a minute of the person who treats; invented")
    monopolar_set: Number = Field(default=6, ge=0, description="a single-use set, monopolar; invented")
    bipolar_set: Number = Field(default=12, ge=0, description="a single-use set, bipolar; invented")
    ultrasound_set: Number = Field(default=3, ge=0, description="a single-use set, ultrasound; invented")
    dressing: Number = Field(default=14, ge=0, description="a dressing change, with the time it takes; invented")
    device_month: Number = Field(default=250, ge=0, description="a device for a month, used or not; invented")
    devices: Number = Field(default=1, ge=0, description="devices kept in each facility; invented")
    willingness_to_pay: Number = Field(
        default=2000, ge=0, description="what one more wound closed by the horizon is worth to those who pay; invented"
    )

    def is_invented(self, name: str) -> bool:
        """Whether an amount is the kit's own, because the plan does not name it."""
        return name not in self.model_fields_set


# What a start can be told apart by; whether it was asked about before looking is the plan's to say.
ELEMENTS = ("setup", "polarity", "turning", "per_week", "first_minutes", "frequency")


class Refining(_Part):
    """Which elements of the protocol are asked about beforehand, and how far they are thought to differ at all."""

    questions: tuple[Literal[ELEMENTS], ...] = Field(
        default=(), description=f"elements asked about before looking, of {', '.join(ELEMENTS)}; others are exploratory"
    )
    spread: Number = Field(
        default=5, ge=1, le=20, description="points of 100 by which two ways are taken to differ (standard deviation)"
    )


class Sharing(_Part):
    """What the sheet that may be handed on needs behind every number.

    Default: the cell size suppression policy of the US Centers for Medicare & Medicaid Services, under which no cell of
    1 to 10 is shown or can be derived (ResDAC, version of 26 January 2024).
    """

    fewest: int = Field(
        default=11, ge=11, le=1000, description="wounds, sessions and residents behind a number and its rest, at least"
    )


class Plan(_Part):
    """The whole plan, frozen. `fingerprint` changes whenever anything in it does."""

    program: Program
    windows: Windows = Windows()
    sizes: Sizes = Sizes()
    following: Following = Following()
    cohort: Cohort = Cohort()
    comparison: Comparing = Comparing()
    protocol: Protocol = Protocol()
    triggers: Triggers = Triggers()
    costs: Costs = Costs()
    refining: Refining = Refining()
    sharing: Sharing = Sharing()
    regimens: tuple[Regimen, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _hangs_together(self) -> Plan:
        names = [regimen.name for regimen in self.regimens]
        if len(set(names)) < len(names):
            raise ValueError("two regimens carry the same name; give each its own")
        if not all(re.fullmatch(r"[ -~\u00a0-\u024f]+", name) for name in names):
            raise ValueError("a regimen's name holds letters that the figures lack; write it in Latin letters")
        if any(name.lower() in TAKEN for name in names):
            raise ValueError(f"a regimen carries a name that the pages use themselves ({', '.join(TAKEN)}); rename it")
        self._windows_fit()
        return self

    def _windows_fit(self) -> None:
        begins, cutoff = self.windows.quarter_begins, self.windows.cutoff
        if self.program.basis == "safe_harbor":
            if any(moment is not None for moment in (begins, cutoff, self.comparison.decides)):
                raise ValueError(
                    "under safe_harbor the export shares no calendar; leave quarter_begins, cutoff and decides out"
                )
            return
        if begins is None or cutoff is None:
            raise ValueError("windows needs quarter_begins and cutoff under this basis")
        if isinstance(begins, date) is not isinstance(cutoff, date):
            raise ValueError("quarter_begins and cutoff must both be dates or both be day numbers")
        if begins >= cutoff:
            raise ValueError("the quarter must begin before the cutoff")
        decides = self.comparison.decides
        if decides is not None and isinstance(decides, date) is not isinstance(cutoff, date):
            raise ValueError("decides and cutoff must both be dates or both be day numbers")

    @property
    def calendar(self) -> bool:
        """Whether days can be told as calendar dates."""
        return isinstance(self.windows.cutoff, date)

    @property
    def cutoff(self) -> int | None:
        """The cut-off as a day number; None where the export shares no calendar."""
        return _as_day(self.windows.cutoff)

    @property
    def quarter_begins(self) -> int | None:
        """The first day of the quarter described, as a day number."""
        return _as_day(self.windows.quarter_begins)

    @property
    def decides(self) -> int | None:
        """The cut-off of the quarter that decides, as a day number."""
        return _as_day(self.comparison.decides)

    def of_quarter(self, begins: int, ends: int) -> Plan:
        """The same plan for another quarter, whose first and last day are day numbers; every rule stays."""
        moments = [date_of(day) if self.calendar else day for day in (begins, ends)]
        windows = self.windows.model_copy(update=dict(zip(("quarter_begins", "cutoff"), moments, strict=True)))
        return self.model_copy(update={"windows": windows})

    @property
    def cohort_begins(self) -> int | None:
        """The first day of the cohort window, as a day number (a month is 365.25 / 12 days)."""
        if self.cutoff is None:
            return None
        return self.cutoff - round(self.windows.cohort_months * 365.25 / 12)

    @property
    def horizon(self) -> int:
        """The horizon in days."""
        return self.following.horizon_weeks * WEEK

    @property
    def fingerprint(self) -> str:
        """Twelve hexadecimal digits of the SHA-256 of the plan's content; layout and comments do not count."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()[:12]

    @property
    def rules(self) -> str:
        """Twelve hexadecimal digits of everything in the plan but its windows, which move from quarter to quarter."""
        return hashlib.sha256(self.model_dump_json(exclude={"windows"}).encode()).hexdigest()[:12]


def _as_day(moment: date | int | None) -> int | None:
    return day_of(moment) if isinstance(moment, date) else moment


def read_plan(path: str | Path) -> Plan:
    """The plan in a TOML file.

    Raises PlanError, in one line, for a missing file, broken TOML, a misspelt key (with the nearest known one) or
    a value outside its limits.
    """
    path = Path(path)
    given = read_toml(path, "plan", "start from the one in data/synthetic/messy", PlanError)
    try:
        return Plan.model_validate(given)
    except ValidationError as errors:
        raise PlanError(f"{file_said(path)}: {explain(errors, Plan)}") from None


def read_toml(path: Path, what: str, cure: str, raises: type[Exception]) -> dict:
    """The content of a TOML file in UTF-8, or `raises` in one line; `what` it should have been, `cure` if it is not."""
    text = _text_of(path, what, cure, raises)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise raises(f"{file_said(path)}: brackets stand in brackets without end; {cure}") from None
    except ValueError as broken:  # also a number of thousands of digits
        where = said(str(broken), "look at what stands around its names")
        raise raises(f"{file_said(path)}: this is not TOML that can be read: {where}; {TOML_CURE}") from None


def _text_of(path: Path, what: str, cure: str, raises: type[Exception]) -> str:
    try:
        if not path.is_file():  # a folder, or a pipe, which need not end
            raise FileNotFoundError
        if path.stat().st_size > LONGEST:
            raise raises(f"{file_said(path)}: too long for a {what}; {cure}")
        return path.read_text(encoding="utf-8-sig")  # some editors put a mark before the text, which TOML does not know
    except UnicodeDecodeError:
        raise raises(f"{file_said(path)}: not UTF-8; save it as UTF-8 and try again") from None
    except (OSError, ValueError):  # a name may be longer than any file's
        raise raises(
            f"{file_said(path)}: there is no such {what} in {file_said(path.absolute().parent)}; {cure}"
        ) from None


def explain(errors: ValidationError, model: type[BaseModel]) -> str:
    """The first of pydantic's errors in one line that names the key and never quotes a value."""
    found = errors.errors(include_url=False, include_input=False, include_context=False)
    first = next((error for error in found if error["type"] == "extra_forbidden"), found[0])
    key = _said(first["loc"]) or "the plan as a whole"
    if first["type"] == "extra_forbidden":
        return f"{key}: there is no such key{_nearest(first['loc'], model)}"
    return f"{key}: {first['msg'].removeprefix('Value error, ')}"


def _said(steps: tuple[int | str, ...]) -> str:
    """A key as a person counts: regimens 1.name is the name of the first regimen."""
    told = (f" {step + 1}" if isinstance(step, int) else f".{said(step, 'a key')}" for step in steps)
    return "".join(told).removeprefix(".")


def _nearest(steps: tuple[int | str, ...], model: type[BaseModel]) -> str:
    for step in steps[:-1]:
        # A place in a list, or a name that the writer gave, leads no deeper into the model.
        if step in model.model_fields:
            model = _model_in(model.model_fields[step].annotation)
    close = difflib.get_close_matches(str(steps[-1]), model.model_fields, n=1)
    return f"; did you mean {close[0]}?" if close else f"; known here: {', '.join(model.model_fields)}"


def _model_in(annotation: object) -> type[BaseModel] | None:
    """The model that an annotation is, or holds in a tuple, a dict or an option."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for inner in get_args(annotation) if (model := _model_in(inner))), None)


def plan_keys() -> str:
    """Every key of the plan as a Markdown table: key, default, meaning."""
    lines = ["| key | if left out | meaning |", "| --- | --- | --- |"]
    for part, model in _parts().items():
        head = f"[[{part}]]" if part == "regimens" else f"[{part}]"
        lines += [_key_line(f"{head} {name}", field) for name, field in model.model_fields.items()]
    return "\n".join(lines) + "\n"


def keys_of() -> list[tuple[tuple[str, str], str]]:
    """Every key of the plan, as part and name, with its meaning."""
    return [((part, name), field.description) for part, model in _parts().items()
            for name, field in model.model_fields.items()]  # fmt: skip


def _parts() -> dict[str, type[BaseModel]]:
    return {name: _model_in(field.annotation) for name, field in Plan.model_fields.items()}


def _key_line(key: str, field: FieldInfo) -> str:
    left_out = "needed" if field.is_required() else field.default
    if isinstance(left_out, tuple):
        left_out = "all" if left_out in (STAGES, KINDS) else ", ".join(map(str, left_out))
    return f"| `{key}` | {'–' if left_out in (None, '') else left_out} | {field.description} |"
