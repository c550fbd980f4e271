"""What published studies say of each modality, how sure that is, and what it does not say."""

from __future__ import annotations

import math

import pandas as pd

from kit.context.evidence import AS_COUNTED, UNDOUBTED, Body, Published, as_ratios
from kit.context.pooling import FIXED, KNAPP_WIDE, MANTEL_HAENSZEL, PREDICTION, REML
from kit.context.published_trials import CLOSING, SIZE, TREATED
from kit.statements.reviews import reviewed_closing
from kit.words import percents, sentence

NO_ADVICE = (
    "These are averages of published studies. They say nothing of a single resident, and nothing of this facility's "
    "wounds, which may differ in stage, age and dose."
)
GROUPED = "the grouping, by shared authors, is ours"
NONE_LISTED = "no published study that is listed has the numbers for it"
SEEN_OF = {"stage": "stages", "setting": "setting"}
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def in_short(published: Published) -> list[str]:
    """What an administrator needs: a sentence or two a modality, what reviewers asked for, and that it is no advice."""
    return [
        f"Stimulation, size: {_amount(published.stimulation_size)}.",
        f"Stimulation, closing: {reviewed_closing(published.reviews)}.",
        f"Ultrasound, closing: {_ratio(published.ultrasound_closing)}.",
        f"Ultrasound, size: {_amount(published.ultrasound_size)}.",
        NO_ADVICE,
    ]


def said_of(body: Body) -> list[str]:
    """What one body of evidence says, in sentences: the pooled number, how sure, whose studies, what is doubtful."""
    told = [_headline(body), _disagreement(body), _next_study(body), _one_group(body), _without(body)]
    told += [_undoubted(body), *_other_readings(body), _small(body), _whom(body), _not_pooled(body)]
    return [f"{sentence(words)}." for words in told if words]


# --- one body ---


def way(body: Body, name: str) -> dict:
    """One way of pooling, as a reader wants it: a ratio, or points of percent."""
    row = as_ratios(body.pooled, body.measure).set_index("way").loc[name].to_dict()
    return row | {"way": name}


def ranged(row: dict, measure: str) -> str:
    """An estimate with its range: a ratio `2.03 (1.05 to 3.89)`, or whole points `36 (25 to 48)`; a dash for none."""
    if math.isnan(row["estimate"]):
        return "–"
    estimate, low, high = (_one(row[part], measure) for part in ("estimate", "low", "high"))
    return f"{estimate} ({low} to {high})"


def _headline(body: Body) -> str:
    said = _amount(body) if body.measure == SIZE else _ratio(body)
    return f"{body.modality}, {body.measure}: {said}"


def _amount(body: Body) -> str:
    """How many points more of the first area were gone, with the range that suits few studies."""
    if body.effects.empty:
        return NONE_LISTED
    alone = len(body.effects) == 1
    row = way(body, FIXED if alone else KNAPP_WIDE)
    points = f"{percents(row['estimate'])} points more of the first area were gone under {body.modality} than in those "
    points += f"beside (range {percents(row['low'])} to {percents(row['high'])}){_weeks(body)}"
    if alone:
        doubtful = "" if body.doubts.empty else ", and doubtful"
        return f"in one published study alone{doubtful} ({body.effects['trial'].iloc[0]}), {points}"
    return f"in {_studies(len(body.effects))} of pressure injuries {points}"


def _ratio(body: Body) -> str:
    """How many times as many closed; where the range holds one, that it is weak and shows no difference."""
    if body.effects.empty:
        return NONE_LISTED
    row, studies = way(body, FIXED), _studies(len(body.effects))
    if _shows_none(body):
        by_counts = way(body, MANTEL_HAENSZEL)
        ratio = _times(row if by_counts["not_computed"] else by_counts, body)
        weak = "the evidence that it closes pressure injuries is weak and shows no difference"
        return f"{weak}: {ratio}, in {studies} that counted {int(body.arms['closed_of'].sum())}"
    return f"in {studies} of pressure injuries {_times(row, body)}, if all of them measure one and the same ratio"


def _times(row: dict, body: Body) -> str:
    estimate, low, high = (_one(row[part], CLOSING) for part in ("estimate", "low", "high"))
    return f"{estimate} times as many closed under {body.modality} as in those beside (range {low} to {high})"


def _shows_none(body: Body) -> bool:
    row = way(body, FIXED)
    return row["low"] < 1 < row["high"]


def _weeks(body: Body) -> str:
    weeks = body.populations["weeks"].dropna()
    if weeks.empty:
        return ""
    low, high = weeks.min(), weeks.max()
    return f", after {low:.0f} weeks" if low == high else f", after {low:.0f} to {high:.0f} weeks"


def _disagreement(body: Body) -> str:
    """The lesson of few studies: one assumption more or less turns `more`, or `fewer`, into `not known`."""
    if len(body.effects) < 2 or body.measure == SIZE or _shows_none(body):
        return ""
    row, third = way(body, KNAPP_WIDE), ranged(way(body, MANTEL_HAENSZEL), CLOSING)
    told = f"if the studies differ among themselves, as they may, it is {ranged(row, CLOSING)} times as many, and "
    told += f"pooled by their counts (Mantel-Haenszel) {third}"
    points = "more" if way(body, FIXED)["estimate"] > 1 else "fewer"
    if row["low"] < 1 < row["high"]:
        return f"{told}: the same studies say {points}, or not known, and only the assumption has changed"
    return f"{told}: {points}, whatever is assumed"


def _next_study(body: Body) -> str:
    row = way(body, PREDICTION)
    if row["not_computed"]:
        return ""
    low, high = (_one(row[end], body.measure) for end in ("low", "high"))
    unit = " times as many" if body.measure == CLOSING else " points"
    return f"the next study of the kind may come to anything from {low} to {high}{unit}"


def _one_group(body: Body) -> str:
    if body.groups.empty or body.groups["studies"].iloc[0] < 2:
        return ""
    name, own, of = body.groups.iloc[0]
    told = f"{_number(own)} of the {_number(of)} are of one research group ({name}; {GROUPED})"
    rows = as_ratios(body.without, body.measure)
    rest = rows[(rows["left_out"] == name) & (rows["way"] == FIXED)].to_dict("records")[0]
    return f"{told}; {_left(rest, body, 'without them')}"


def _left(row: dict, body: Body, without: str) -> str:
    """What is left of a pool, and what it comes to: `without them one is left, with 34 (3 to 65)`."""
    if not row["studies"]:
        return f"{without} none is left"
    verb = "is" if row["studies"] == 1 else "are"
    return f"{without} {_number(row['studies'])} {verb} left, with {ranged(row, body.measure)}"


def _without(body: Body) -> str:
    """Between which numbers the estimate lies without any one study."""
    rows = as_ratios(body.without, body.measure)
    rows = rows[(rows["without"] == "study") & (rows["way"] == REML) & (rows["not_computed"] == "")]
    if rows.empty:
        return ""
    ends = [rows.loc[rows["estimate"].idxmin()], rows.loc[rows["estimate"].idxmax()]]
    low, high = (f"{_one(row['estimate'], body.measure)} (without {row['left_out']})" for row in ends)
    return f"without any one study the estimate lies between {low} and {high}"


def _reading(body: Body, reading: str) -> dict:
    rows = body.readings[(body.readings["reading"] == reading) & (body.readings["way"] == FIXED)]
    return as_ratios(rows, body.measure).to_dict("records")[0]


def _undoubted(body: Body) -> str:
    row = _reading(body, UNDOUBTED)
    gone = len(body.effects) - row["studies"]
    if not gone:
        return ""
    if not row["studies"]:
        return f"doubtful: {' '.join(body.doubts['doubt'])}".rstrip(".")
    told = _left(row, body, f"without the {_number(gone)} over which a doubt hangs")
    surer = row["estimate"] > way(body, FIXED)["estimate"]
    return f"{told} ({row['trials']})" + ("; the doubtful ones are the modest ones" if surer else "")


def _other_readings(body: Body) -> list[str]:
    names = [name for name in body.readings["reading"].unique() if name not in (AS_COUNTED, UNDOUBTED)]
    return [
        f"read otherwise ({name}) the pooled number is {ranged(_reading(body, name), body.measure)}" for name in names
    ]


def _small(body: Body) -> str:
    row = body.small.iloc[0]
    if len(body.effects) < 2:
        return ""
    if row["says"]:
        return f"whether small studies found more than large ones cannot be told from {_number(row['studies'])}"
    found = "seem" if row["p"] < 0.05 else "do not seem"
    return f"small studies {found} to have found more than large ones (chance {row['p']:.2f})"


def _whom(body: Body) -> str:
    """For how many of the studies stage and setting were seen, and the range of what was given."""
    rows = body.populations[body.populations["arm"].str.startswith(TREATED)]
    if rows.empty:
        return ""
    seen = [f"the {name} was seen for {_seen(rows[column])}" for name, column in SEEN_OF.items()]
    doses = [("minutes", " minutes a day"), ("per_week", " days a week"), ("for_weeks", " weeks")]
    given = ", ".join(words for column, unit in doses if (words := _span(rows[column], unit)))
    told = f"of {_studies(len(rows))} {' and '.join(seen)}"
    return told + (f"; given, where it was seen: {given}" if given else "")


def _seen(words: pd.Series) -> str:
    told = [word for word in words if word]
    return f"{_number(len(told))} ({'; '.join(told)})" if told else "none"


def _span(numbers: pd.Series, unit: str) -> str:
    low, high = numbers.min(), numbers.max()
    if numbers.isna().all():
        return ""
    return f"{low:.0f}{unit}" if round(low) == round(high) else f"{low:.0f} to {high:.0f}{unit}"


def _not_pooled(body: Body) -> str:
    rest = len(body.not_pooled)
    if not rest:
        return ""
    studies = "study" if rest == 1 else "studies"
    return f"{_number(rest)} further {studies} of {body.modality} could not be pooled for it"


def _one(estimate: float, measure: str) -> str:
    """Whole points, or a ratio as short as its size allows; beyond what anybody could believe it is not spelled out."""
    if measure != CLOSING:
        return percents(estimate)
    if not 0.01 <= estimate < 1000:
        return "over 1,000" if estimate >= 1000 else "under 0.01"
    return f"{estimate:.{2 if estimate < 10 else 1 if estimate < 100 else 0}f}"


def _studies(number: int) -> str:
    return "one published study" if number == 1 else f"{_number(number)} published studies"


def _number(number: int) -> str:
    return NUMBERS[number] if number < len(NUMBERS) else f"{number}"
