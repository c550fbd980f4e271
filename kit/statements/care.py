"""What may be said of dose and healing, comfort, safety and burden: facts with their ranges, and no advice."""

from __future__ import annotations

from math import inf

import pandas as pd

from kit.delivered import Safety, Worklist
from kit.delivery.comfort import DURING, LONG, OWN, SHORT, Comfort
from kit.delivery.early_dose import AS_SEEN, LESS, LIKE_SIZES, MORE, SIZES_ALONE, EarlyDose
from kit.delivery.published import CONTRAINDICATION, PRECAUTION
from kit.delivery.safety import ANY
from kit.plan import WEEK, Plan, date_of
from kit.words import count, day, label, more_or_fewer, of_hundred, percent, when

FOR_REVIEW = "For review by the treating clinician; local policy and licensed practice decide."
NOT_BY_CHANCE = (
    "Minutes were not left to chance: who is ill, or lives where less is given, may get fewer. The whole of a "
    "treatment's minutes is never set against healing, because minutes add up while a wound stays open."
)
SETUPS = "Monopolar set-ups and ultrasound take the dressing down, bipolar ones leave it (common practice, no source)."
THINGS = {
    "contraindicated": "sessions while a contraindication was recorded", "no_sign": "no measurable sign of healing",
    "larger": "larger", "no_session": "no session though ordered", "evaluation_due": "evaluation due",
    "unmeasured": "not measured for two weeks", "not_smaller": "not smaller", "lost": "lost from sight",
    "not_measured": "not measured for a week",
}  # fmt: skip


def to_look_at(listed: Worklist, plan: Plan) -> str:
    """How many open wounds the weekly list names, and for what; a sentence that names none of them."""
    wounds = listed.things["wound"].nunique()
    counts = listed.things["thing"].value_counts()
    parts = [f"{says} {counts[name]}" for name, says in THINGS.items() if counts.get(name)]
    if not parts:
        return "No open wound has anything on the weekly list."
    ends = "the last day known" if plan.cutoff is None else day(plan.cutoff, plan)
    said = f"Of {count(len(listed.known), 'open wound')} on {ends} the weekly list names {wounds} (wounds.xlsx): "
    several = " (a wound may have several)" if len(listed.things) > wounds else ""
    return f"{said}{', '.join(parts)}{several}."


def dose_and_healing(found: EarlyDose, plan: Plan) -> list[str]:
    """Minutes of the first two weeks and what closed later, and what could make the difference; a sentence each."""
    rows = found.differences.set_index("way")
    seen = rows.loc[AS_SEEN]
    if not seen["is_told"]:
        return [f"Whether wounds closed otherwise with more minutes in the first two weeks is not told: {_why(seen)}."]
    halves = found.halves.set_index("half")
    more, less = (of_hundred(halves.loc[name, "closed_share"]) for name in (MORE, LESS))
    said = f"Of 100 wounds of the cohort still open two weeks after their first stimulation, {more} closed by week "
    said += f"{found.horizon // WEEK} where more than {found.median:.0f} device minutes were given by then, and {less} "
    said += f"where fewer were: a difference of {_amount(seen)}, {count(int(seen['wounds']), 'wound')}."
    if seen["low"] <= 0 <= seen["high"]:
        said = f"{said} The range holds none: these records do not say that minutes matter, nor that they do not."
    like = rows.loc[LIKE_SIZES]
    return [said, *_sizes(rows), *_unseen(like if like["is_told"] else seen), *_between(found)]


def _why(row: pd.Series) -> str:
    return str(row["not_computed"]) or "too few wounds began stimulation"


def _amount(row: pd.Series) -> str:
    return more_or_fewer(*(row[name] / 100 for name in ("amount", "low", "high")))


def _sizes(rows: pd.DataFrame) -> list[str]:
    alone, like = rows.loc[SIZES_ALONE], rows.loc[LIKE_SIZES]
    if not (alone["is_told"] and like["is_told"]):
        return []
    return [
        f"The sizes of the wounds at two weeks would by themselves make {_amount(alone)}; at like sizes it is "
        f"{_amount(like)}."
    ]


def _unseen(row: pd.Series) -> list[str]:
    """How strong something uncharted would have to be; only where the range leaves anything to make."""
    if pd.isna(row["e_value"]) or row["e_value_limit"] == 1:
        return []
    said = f"Something that is not charted would have to go {row['e_value']:.1f} times as often with both minutes and "
    return [f"{said}closing to make all of it, and {row['e_value_limit']:.1f} times to make its range hold none."]


def _between(found: EarlyDose) -> list[str]:
    if pd.isna(found.between_share) or len(found.facilities) < 2:
        return []
    share, chance = (round(100 * part) for part in (found.between_share, found.by_chance))
    return [
        f"{share}% of the variation of those minutes lies between facilities ({chance}% would by chance): what else "
        "differs between them counts as dose here."
    ]


def eased(comfort: Comfort, plan: Plan) -> list[str]:
    """Pain during procedures with and without stimulation before, in the same people; a sentence each."""
    own = comfort.effects[(comfort.effects["pain"] == DURING) & (comfort.effects["way"] == OWN)]
    rows = own.set_index("relief_group")
    long, short = rows.loc[LONG], rows.loc[SHORT]
    minutes = f"{plan.protocol.relief_minutes:.0f} minutes or more"
    if not long["is_told"]:
        return [f"Whether pain was less with stimulation before a procedure is not told: {long['not_computed']}."]
    said = [
        f"With {minutes} of stimulation before it, pain during a procedure was {_points(long)} than without, in the "
        f"same {count(int(long['residents']), 'resident')} over the whole export, of 10 points{_kinds(comfort)}."
    ]
    if short["is_told"]:
        said.append(f"With fewer minutes it was {_points(short)} than without.")
    return [*said, *_silent(comfort)]


def _kinds(comfort: Comfort) -> str:
    """Which procedures tell, with how many residents each."""
    if "procedure" not in comfort.people:
        return ""
    counts = comfort.people.loc[comfort.people["relief_group"] == LONG, "procedure"].value_counts()
    return f" ({', '.join(f'{label(name).lower()} {number}' for name, number in counts.items())})"


def _points(row: pd.Series) -> str:
    """Points of pain less or more with their range: `1.7 points less (range 1.9 less to 1.5 less)`."""
    amount, low, high = (_signed(row[name]) for name in ("amount", "low", "high"))
    number, way = amount.split()
    return f"{number} points {way} (range {low} to {high})"


def _signed(points: float) -> str:
    return f"{abs(points):.1f} {'less' if points <= 0 else 'more'}"


def _silent(comfort: Comfort) -> list[str]:
    asked = comfort.counts[comfort.counts["scored"] > 0]
    unscored, every = int(asked["not_scored"].sum()), int(asked["procedures"].sum())
    return [f"In {percent(unscored, every)} of those procedures no score is recorded; that is no score of nought."]


def safety(found: Safety, plan: Plan, most: float = inf) -> list[str]:
    """Reactions, and sessions inside a recorded contraindication or precaution; a sentence each.

    Where more than `most` facilities gave sessions inside a precaution they are counted, and not named.
    """
    return [_reacted(found.reactions, plan), *_inside(found, plan, most), FOR_REVIEW]


def _reacted(reactions: pd.DataFrame, plan: Plan) -> str:
    row = reactions[reactions["reaction"] == ANY].iloc[0]
    if not row["answered"]:
        return f"Reactions were not recorded {when(plan.cutoff)}."
    silent = (
        f"; {count(row['unanswered'], 'further session')} hold nothing that can be read" if row["unanswered"] else ""
    )
    return (
        f"Reactions recorded {when(plan.cutoff)}: {row['per_100']:.1f} per 100 sessions (range {row['low']:.1f} to "
        f"{row['high']:.1f}; {row['reactions']} in {row['answered']}){silent}."
    )


def _inside(found: Safety, plan: Plan, most: float) -> list[str]:
    named = {CONTRAINDICATION: inf, PRECAUTION: most}
    return [line for kind in named for line in _inside_a(kind, found, plan, named[kind])]


def _inside_a(kind: str, found: Safety, plan: Plan, most: float) -> list[str]:
    now, ever = (frame[frame["span"] == kind] for frame in (found.inside_now, found.inside_ever))
    if not found.charted[kind]:
        return [f"The export records no {kind}, so no session can be found inside one."]
    here = f"Sessions given while a {kind} was recorded, {when(plan.cutoff)}: {int(now['inside'].sum())}"
    there = ever[ever["inside"] > 0]
    if len(there) > most:
        houses = f"{len(there)} facilities ({count(int(there['wounds'].sum()), 'wound')})"
        return [
            f"{here}; in the whole export {int(there['inside'].sum())} in {houses}, named in the notebook on delivery."
        ]
    rows = [_house(row, plan) for row in there.to_dict("records")]
    return [f"{here}; in the whole export {', '.join(rows) or 'none'}."]


def _house(row: dict, plan: Plan) -> str:
    # Months, not days: with one wound a day would point to a person.
    first, last = (f"{date_of(row[name]):%B %Y}" if plan.calendar else "" for name in ("from_day", "to_day"))
    days = f", {first}" + (f" to {last}" if last != first else "") if plan.calendar else ""
    return f"{row['inside']} in {row['facility']} ({count(row['wounds'], 'wound')}{days})"


def stopped(found: Safety) -> str:
    """How many courses stopped while their wound was open, and why; a sentence."""
    row = found.stops.iloc[0]
    if not row["starters"]:
        return "No wound was started."
    reasons = found.stop_reasons[found.stop_reasons["regimen"] == row["regimen"]]
    why = ", ".join(f"{label(name).lower()} {wounds}" for name, wounds in
                    zip(reasons["stop_reason"], reasons["wounds"], strict=True))  # fmt: skip
    stopped = percent(row["stopped"], row["starters"])
    said = f"Over the whole export treatment stopped before the wound closed in {stopped} of started wounds"
    return said + (f" ({why})." if why else ".")
