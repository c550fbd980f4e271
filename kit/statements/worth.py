"""What may be said of gain beside money, and of what it would take for treatment to pay for itself."""

from __future__ import annotations

import math

from kit.context.gain import Worth
from kit.context.plane import LESS_MORE, MORE_FEWER, MORE_MORE
from kit.context.resources import Resources
from kit.healing.answers import Answers
from kit.plan import Plan
from kit.statements.comparing import CONSISTENT_FROM, missing
from kit.statements.money import money, money_range
from kit.words import count, more_or_fewer, of_hundred


def had_nobody_left(worth: Worth, taken: Resources, plan: Plan) -> str:
    """The same as it would be had nobody left, with its range: what stands beside the gain."""
    row = _part(worth, "treatment")
    gone = int(taken.wounds["gone_early"].sum())
    if taken.wounds.empty or not math.isfinite(row["amount"]):
        return ""
    before = f"{count(gone, 'wound')} left, or their records ended, before that. " if gone else ""
    if gone == 1:
        before = "1 wound left, or its record ended, before that. "
    return f"{before}Had nobody left, treatment of a started wound would cost {_least(worth)}{_told(row, plan)}."


def _least(worth: Worth) -> str:
    return "at least " if worth.at_least else ""


def _part(worth: Worth, name: str) -> dict:
    rows = worth.parts[worth.parts["part"] == name]
    return rows.iloc[0].to_dict() if len(rows) else dict.fromkeys(("amount", "low", "high"), math.nan)


def _told(row: dict, plan: Plan) -> str:
    return money_range(row["amount"], row["low"], row["high"], plan)


def gained(worth: Worth, answers: Answers, plan: Plan) -> list[str]:
    """Gain, extra money and what is left of one for the other; or why nothing is set beside the money."""
    if worth.why:
        row = answers.told.iloc[0].to_dict()
        why = worth.why if row["is_told"] else missing(answers.needs, row)
        return [f"What treatment gained is not set beside its money: {why.rstrip('.')}."]
    return [_gain(worth, answers), _extra(worth, plan), _net(worth, answers, plan), _ratio(worth, plan)]


def _gain(worth: Worth, answers: Answers) -> str:
    closed, weeks = _part(worth, "closed"), _part(worth, "weeks")
    more = more_or_fewer(closed["amount"], closed["low"], closed["high"])
    said = f"Beside wounds like them without any modality, {more} of 100 had closed by week {answers.horizon_weeks}; "
    sooner = f"{_sooner(weeks['amount'])} (range {_sooner(weeks['low'])} to {_sooner(weeks['high'])})"
    rests = answers.told.iloc[0]
    return f"{said}on average they were closed {sooner}. It rests on {rests['starters']} wounds that started."


def _sooner(weeks: float) -> str:
    size = f"{abs(weeks):.1f}"
    return "0.0 weeks apart" if size == "0.0" else f"{size} weeks {'sooner' if weeks > 0 else 'later'}"


def _extra(worth: Worth, plan: Plan) -> str:
    row, saved, treatment = (_part(worth, name) for name in ("money", "saved", "treatment"))
    more = "more" if row["amount"] >= 0 else "less"
    size = {name: row[name] if row["amount"] >= 0 else -row[name] for name in ("amount", "low", "high")}
    ends = sorted((size["low"], size["high"]))
    said = f"A started wound cost {money_range(size['amount'], *ends, plan)} {more} than one without any modality"
    if not math.isfinite(saved["amount"]):
        return f"{said}."
    kept = "saved" if saved["amount"] >= 0 else "added"
    link = "less" if saved["amount"] >= 0 else "and"
    parts = f"{money(treatment['amount'], plan)} of treatment {link} {money(abs(saved['amount']), plan)} of dressing"
    return f"{said}: {parts} changes {kept}."


def _net(worth: Worth, answers: Answers, plan: Plan) -> str:
    row = _part(worth, "net_benefit")
    price = money(plan.costs.willingness_to_pay, plan)
    said = f"Were one more wound closed worth {price}, gain less money would be {_told(row, plan)} a started wound. "
    above = f"It was above nought in {of_hundred(worth.pays_share)} of 100 draws of residents, which describes the "
    return f"{said}{above}draws and is not the chance that treatment pays. {_goes(row, answers, plan)}"


def _goes(row: dict, answers: Answers, plan: Plan) -> str:
    if row["low"] <= 0 <= row["high"]:
        return "The range reaches to both sides of nought, so these records do not say which outweighs the other."
    if answers.told.iloc[0]["starters"] < CONSISTENT_FROM:
        return f"Fewer than {CONSISTENT_FROM} wounds started: it is described, and no more."
    first, second = ("gain", "money") if row["low"] > 0 else ("money", "gain")
    prices = "these prices, invented where marked *," if invented_prices(plan) else "these prices"
    return f"At {prices} the whole range says that {first} outweighs {second}."


def invented_prices(plan: Plan) -> list[str]:
    """The prices that are the kit's own, by their names in the plan."""
    return [name for name in type(plan.costs).model_fields if name != "currency" and plan.costs.is_invented(name)]


def _ratio(worth: Worth, plan: Plan) -> str:
    places = worth.quadrants
    if math.isfinite(worth.ratio[0]):
        where = places.loc[places["whole_region"], "quadrant"].iloc[0]
        each = "One more wound closed cost" if where == MORE_MORE else "One wound fewer closed saved"
        return f"{each} {money_range(*worth.ratio, plan)}; all of the 95% region says that {where}."
    whole = places.loc[places["whole_region"], "quadrant"]
    if len(whole):
        side = {LESS_MORE: "less money and more closings", MORE_FEWER: "more money and fewer closings"}[whole.iloc[0]]
        return f"All of the 95% region says {side}, so no price for one more wound closed is needed, and none is told."
    told = [f"{of_hundred(row.of_draws)} lie where {row.quadrant}" for row in places.itertuples() if row.of_draws > 0]
    said = "No price for one more wound closed is told, since the 95% region does not lie in one quarter of the plane"
    return f"{said}: of 100 draws of residents {', '.join(told)}."


def break_even(worth: Worth, plan: Plan) -> list[str]:
    """What would have to be for treatment to pay for itself: closings, or dressing changes saved; needs no effect."""
    rows = {row["pays_by"]: row for row in worth.break_even.to_dict("records")}
    said = [_by_closings(rows["closings"], _least(worth), plan), _by_weeks(rows["weeks"])]
    return [words for words in said if words]


def _by_closings(row: dict, at_least: str, plan: Plan) -> str:
    if not math.isfinite(row["amount"]):
        free = plan.costs.willingness_to_pay == 0
        return "The plan sets no worth on one more wound closed, so none can pay for treatment." if free else ""
    if row["amount"] <= 0:
        return "Treatment cost nothing at these prices, so there is nothing to pay for."
    price = money(plan.costs.willingness_to_pay, plan)
    least, low, high = (math.ceil(row[name]) for name in ("amount", "low", "high"))
    said = (
        f"At {price} for one more wound closed, it pays for itself only if {at_least}{least} more wounds in 100 close"
    )
    ranged = f"{said} (range {low} to {high})"
    if row["amount"] > row["most"]:
        return f"{ranged}, which is more than there are: at that worth it cannot."
    return f"{ranged}, savings on dressings not counted."


def _by_weeks(row: dict) -> str:
    if not math.isfinite(row["amount"]) or row["amount"] <= 0:
        return ""
    said = (
        f"Dressing changes saved would pay for it alone only if a started wound closed {row['amount']:.1f} weeks sooner"
    )
    can = " on average." if row["amount"] <= row["most"] else f"; within {row['most']:.0f} weeks they cannot."
    return f"{said} (range {row['low']:.1f} to {row['high']:.1f}){can}"
