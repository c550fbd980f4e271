"""Agreement with the protocol, element by element: each session within, below, above or against what the plan asks."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.delivery.context import zones
from kit.delivery.decisions import PERSON, RECORD, TRAIN, of_reason
from kit.plan import Plan, Protocol, Range
from kit.vocabulary import SESSIONS

WITHIN, BELOW, ABOVE, AGAINST, UNKNOWN = "within", "below", "above", "against", "unknown"
OFF = (BELOW, ABOVE, AGAINST)
RESPONSES = SESSIONS.column("sensation").allowed
POSITIVE_BEDS, NEGATIVE_BEDS = ("necrotic", "epithelial"), ("granulation",)


def agreement(told: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """What each session was beside the plan's protocol: a row a session and element that the protocol asks of it.

    Columns in: sessions as `kit.delivery.context.in_context` returns them. Columns out: source_row, wound, resident,
    facility, day, modality, element, state (within, below, above, against, unknown), recorded (the session says it;
    what it is held against may still be missing, such as the size of a wound not measured in that week), decision (of
    what is off or not recorded: what an administrator can decide, see `kit.delivery.decisions`; else blank).

    | element | asked of | within |
    | --- | --- | --- |
    | minutes | stimulation | device minutes of the day, built up from `first_minutes` over `build_up` sessions |
    | pulse_rate, duty, intensity | stimulation; ultrasound | the plan's range |
    | sensation | stimulation | the plan's response; none is below, motor above sensory |
    | polarity | stimulation with one electrode at the wound | see `asked_polarity` |
    | zone_minutes | ultrasound | the minutes of as many zones as the wound has, a part of one as a part or a whole |
    | frequency | ultrasound | reaches as deep as the wound (3 MHz to `shallow_cm`, 1 MHz twice as deep) |

    Ranges are widened by the plan's `leeway_percent`. All of it is common practice, no source; the plan overrides it.
    """
    protocol = plan.protocol
    stimulated, sounded = told["modality"] == "stimulation", told["modality"] == "ultrasound"
    one_electrode = stimulated & (told["setup"] == "monopolar") & asks_polarity(told, protocol)
    asked = {
        "minutes": (stimulated, *_minutes(told, protocol)),
        "pulse_rate": (stimulated, *_ranged(told, "pulse_rate", protocol)),
        "sensation": (stimulated, *_response(told, protocol)),
        "polarity": (one_electrode, *_polarity(told, protocol)),
        "zone_minutes": (sounded, *_zone_minutes(told, plan)),
        "duty": (sounded, *_ranged(told, "duty", protocol)),
        "intensity": (sounded, *_ranged(told, "intensity", protocol)),
        "frequency": (sounded, *_reach(told, protocol)),
    }
    kept = [*JUDGED, "cut_reason", "numb"]
    parts = [
        told.loc[where, kept].assign(element=name, state=state[where], recorded=recorded[where])
        for name, (where, state, recorded) in asked.items()
    ]
    judged = pd.concat(parts, ignore_index=True)
    return judged.assign(decision=_decided(judged)).drop(columns=["cut_reason", "numb"])


def _decided(judged: pd.DataFrame) -> pd.Series:
    """A day cut short is short for its reason, and who is known to feel less feels less: the rest is training."""
    off, below = judged["state"].isin(OFF), judged["state"] == BELOW
    cut = (judged["cut_reason"] != "") & judged["element"].isin(["minutes", "zone_minutes"])
    numb = judged["numb"] & (judged["element"] == "sensation")
    off = pd.Series("", index=judged.index, dtype=object).mask(off, TRAIN)
    off = off.mask(below & cut, of_reason(judged["cut_reason"])).mask(below & numb, PERSON)
    return off.mask(~judged["recorded"], RECORD)


JUDGED = ("source_row", "wound", "resident", "facility", "day", "modality")
ELEMENTS = ("minutes", "pulse_rate", "sensation", "polarity", "zone_minutes", "duty", "intensity", "frequency")
Judged = tuple[pd.Series, pd.Series]


def _judged(value: pd.Series, low: pd.Series | float, high: pd.Series | float, protocol: Protocol) -> Judged:
    """A number beside a range widened by the leeway; unknown where either is missing."""
    leeway = protocol.leeway_percent / 100
    known = value.notna() & pd.Series(low, index=value.index).notna()
    state = pd.Series(WITHIN, index=value.index, dtype=object)
    state = state.mask(value < low * (1 - leeway) - 1e-9, BELOW).mask(value > high * (1 + leeway) + 1e-9, ABOVE)
    return state.where(known, UNKNOWN), value.notna()


def _ranged(told: pd.DataFrame, name: str, protocol: Protocol) -> Judged:
    asked: Range = getattr(protocol, name)
    return _judged(told[name].astype(float), *asked, protocol)


def least_minutes(number: pd.Series, protocol: Protocol) -> pd.Series:
    """The least device minutes of a wound's treated days by their number: built up evenly, then the plan's range."""
    steps = protocol.build_up
    part = ((number - 1) / steps).clip(upper=1.0) if steps else pd.Series(1.0, index=number.index)
    first = min(protocol.first_minutes, protocol.minutes[0])
    return first + part * (protocol.minutes[0] - first)


def _minutes(told: pd.DataFrame, protocol: Protocol) -> Judged:
    return _judged(told["day_minutes"], least_minutes(told["number"], protocol), protocol.minutes[1], protocol)


def _zone_minutes(told: pd.DataFrame, plan: Plan) -> Judged:
    each, wound = plan.protocol.zone_minutes, zones(told, plan)
    return _judged(told["day_minutes"], each * wound["least"], each * wound["most"], plan.protocol)


def _response(told: pd.DataFrame, protocol: Protocol) -> Judged:
    rank = told["sensation"].astype(object).map({name: place for place, name in enumerate(RESPONSES)}).astype(float)
    meant = RESPONSES.index(protocol.sensation)
    state = np.select([rank.isna(), rank < meant, rank > meant], [UNKNOWN, BELOW, ABOVE], WITHIN)
    return pd.Series(state, index=told.index, dtype=object), rank.notna()


def asks_polarity(told: pd.DataFrame, protocol: Protocol) -> pd.Series:
    """Whether the protocol asks a polarity of each session: not where any will do, nor by state of a sloughy bed."""
    if protocol.polarity not in ("any", "by_state"):
        return pd.Series(True, index=told.index)
    turning = told["facility"].isin(protocol.turning_facilities)
    if protocol.polarity == "any":
        return turning
    bed = told["tissue"].astype(object)
    neither = bed.notna() & ~bed.isin([*POSITIVE_BEDS, *NEGATIVE_BEDS]) & ~told["infected"].astype(bool)
    return turning | ~neither


def turns(told: pd.DataFrame, protocol: Protocol) -> pd.Series:
    """Whether the protocol turns the polarity of each session on a schedule."""
    return told["facility"].isin(protocol.turning_facilities) | (protocol.polarity == "turning")


def asked_polarity(told: pd.DataFrame, protocol: Protocol) -> pd.Series:
    """The polarity at the wound that the protocol asks of each session; missing where it asks none or nobody can tell.

    by_state: negative where an infection is recorded or the bed granulates, positive where it is necrotic or
    epithelial; slough asks none, nor does a bed not charted within the plan's `fresh_days`. turning: negative first,
    the other way every `turn_days` from the wound's first session with one electrode. A schedule named for the
    facility goes first.
    """
    turning = turns(told, protocol)
    scheduled = np.where((told["turning_days"] // protocol.turn_days) % 2 == 0, "negative", "positive")
    if protocol.polarity == "by_state":
        otherwise = state_polarity(told)
    else:
        fixed = protocol.polarity if protocol.polarity in ("negative", "positive") else None
        otherwise = pd.Series(fixed, index=told.index, dtype=object)
    return otherwise.mask(turning, pd.Series(scheduled, index=told.index, dtype=object))


def state_polarity(told: pd.DataFrame) -> pd.Series:
    """The polarity by the wound's state in that week: common practice, no source."""
    bed = told["tissue"].astype(object)
    infected, perhaps = told["infected"].astype(bool), told["perhaps_infected"].astype(bool)
    positive = bed.isin(POSITIVE_BEDS)
    # An antibiotic of the person need not be for this wound: a bed that asks the other way is then not judged.
    state = np.select(
        [infected, positive & perhaps, positive, bed.isin(NEGATIVE_BEDS)], ["negative", "", "positive", "negative"], ""
    )
    return pd.Series(state, index=told.index, dtype=object).replace("", None)


def _polarity(told: pd.DataFrame, protocol: Protocol) -> Judged:
    asked, found = asked_polarity(told, protocol), told["polarity"].astype(object)
    turning = turns(told, protocol)
    # A log that says alternating does not say which way it was that day.
    asked = asked.mask(turning & (found == "alternating"), None)
    state = pd.Series(AGAINST, index=told.index, dtype=object).mask(found == asked, WITHIN)
    return state.where(asked.notna() & found.notna(), UNKNOWN), found.notna()


def reach_cm(frequency: pd.Series, protocol: Protocol) -> pd.Series:
    """How deep ultrasound reaches, cm: `shallow_cm` at 3 MHz and above, twice as deep at 1 MHz and below.

    3 MHz for about an inch, 1 MHz for about two: common practice, no source. Between them it goes by a straight line.
    """
    share = ((3 - frequency) / 2).clip(0, 1)
    return protocol.shallow_cm * (1 + share)


def _reach(told: pd.DataFrame, protocol: Protocol) -> Judged:
    reach, depth = reach_cm(told["frequency"], protocol), told["depth"].astype(float)
    state = pd.Series(WITHIN, index=told.index, dtype=object).mask(reach < depth, BELOW)
    return state.where(reach.notna() & depth.notna(), UNKNOWN), told["frequency"].notna()
