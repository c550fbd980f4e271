"""The comparison of starters with those who could have started, written as slowly as it can be said.

Nothing here is fast, or shared with kit.healing.{weights,contrasts,emulation,comparison}: loops, lists and dicts tell
the method as a statistician would, and a test holds the fast way to it.

In: weeks, one dict a wound week in the order of wound and begins, as kit.healing.trials returns them, missing as None;
sizes, for each wound its (day, cm2) measured open; the plan; a horizon in days; and how often each resident counts.

1. A trial is an untreated week in which a start was possible, and that ends a whole horizon before the cut-off. Whoever
   starts in it is a starter; everybody else of that week is one of the others. Both are followed from the week's end.
2. Starters count once. Others count by the odds e / (1 - e) of having been a starter, given what was charted (effect
   among those who started). Where regimen stands beside regimen each side counts by its chance of the other regimen.
3. Others who start later are lost on that day, and those still followed stand for them: one over the chance of having
   stayed untreated since the week's end. Likewise for whoever leaves the building. Chances are products over weeks.
4. Day by day, of the weight still followed the part that closes, dies and so on is taken off (Aalen & Johansen 1978).
"""

from __future__ import annotations

from math import exp, floor, isnan, log

CAUSES = ("closed", "died", "hospital", "surgical_closure", "left")
NEVER = 10**9
START_RIDGE, LEAVING_RIDGE = 0.1, 1.0
CERTAIN = 0.999  # no week's chance of starting or leaving is taken to be higher
FURTHEST_ODDS = 30.0  # no log odds are taken to be further from zero
PERCENTS = range(-100, 101)
ALWAYS = ("log_size", "log_size_3", "slope", "stalled", "week")


# --- logistic regression -------------------------------------------------------------------------------------------


def chance_of(columns: list[float], coefficients: list[float]) -> float:
    log_odds = sum(value * coefficient for value, coefficient in zip(columns, coefficients, strict=True))
    return 1 / (1 + exp(-max(-FURTHEST_ODDS, min(FURTHEST_ODDS, log_odds))))


def solve(matrix: list[list[float]], right: list[float]) -> list[float]:
    """Gauss elimination with the largest pivot."""
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    for column in range(size):
        pivot = max(range(column, size), key=lambda row: abs(rows[row][column]))
        rows[column], rows[pivot] = rows[pivot], rows[column]
        for row in range(column + 1, size):
            factor = rows[row][column] / rows[column][column]
            rows[row] = [own - factor * above for own, above in zip(rows[row], rows[column], strict=True)]
    found = [0.0] * size
    for row in reversed(range(size)):
        known = sum(rows[row][column] * found[column] for column in range(row + 1, size))
        found[row] = (rows[row][size] - known) / rows[row][row]
    return found


def log_likelihood(design, outcome, counts, ridge, coefficients) -> float:
    """Half of `ridge` is taken off for each squared coefficient but the intercept's."""
    told = -ridge / 2 * sum(coefficient**2 for coefficient in coefficients[1:])
    for columns, happened, count in zip(design, outcome, counts, strict=True):
        if count:
            chance = chance_of(columns, coefficients)
            told += count * log(chance if happened else 1 - chance)
    return told


def logistic(design, outcome, counts, ridge) -> list[float] | None:
    """Newton's method, steps halved until they climb, to the last digit; None without rows of both outcomes."""
    happened = sum(count for count, one in zip(counts, outcome, strict=True) if one)
    if not happened or happened == sum(counts):
        return None
    width = len(design[0])
    coefficients = [0.0] * width
    for _ in range(100):
        gradient = [0.0] + [-ridge * coefficient for coefficient in coefficients[1:]]
        curvature = [[ridge if a == b and a > 0 else 0.0 for b in range(width)] for a in range(width)]
        for columns, one, count in zip(design, outcome, counts, strict=True):
            if count == 0:
                continue
            chance = chance_of(columns, coefficients)
            for a in range(width):
                gradient[a] += count * columns[a] * (one - chance)
                for b in range(width):
                    curvature[a][b] += count * columns[a] * columns[b] * chance * (1 - chance)
        step = solve(curvature, gradient)
        if max(map(abs, step)) < 1e-3:  # so near that whole steps climb
            coefficients = [old + new for old, new in zip(coefficients, step, strict=True)]
            if max(map(abs, step)) < 1e-13:
                break
            continue
        here = log_likelihood(design, outcome, counts, ridge, coefficients)
        while True:
            there = [old + new for old, new in zip(coefficients, step, strict=True)]
            if log_likelihood(design, outcome, counts, ridge, there) > here or max(map(abs, step)) < 1e-12:
                break
            step = [new / 2 for new in step]
        coefficients = there
    return coefficients


def chances(design, outcome, counts, ridge) -> list[float]:
    """The fitted chance of every row. A draw that holds one outcome alone borrows the fit of the whole sample."""
    coefficients = logistic(design, outcome, counts, ridge) or logistic(design, outcome, [1] * len(counts), ridge)
    return [chance_of(columns, coefficients or [0.0] * len(columns)) for columns in design]


# --- the columns of the models -------------------------------------------------------------------------------------


def mean(values: list[float]) -> float:
    return sum(values) / len(values)


def spread(values: list[float], less: int) -> float:
    """The standard deviation; `less` is 1 where the sample's own mean costs a degree of freedom."""
    if len(values) <= less:
        return 0.0
    middle = mean(values)
    return (sum((value - middle) ** 2 for value in values) / (len(values) - less)) ** 0.5


def start_columns(weeks: list[dict], names: list[str]) -> list[list[float]]:
    """Intercept, the facility where there are several, and each covariate in standard deviations from its mean.

    Whatever is not known counts as average. A covariate that is the same everywhere tells nothing.
    """
    houses = sorted({week["facility"] for week in weeks})
    columns = [[1.0] + [float(week["facility"] == house) for house in houses if len(houses) > 1] for week in weeks]
    for name in names:
        known = [week[name] for week in weeks if week[name] is not None]
        unit = spread(known, 1)
        if unit <= 1e-9:
            continue
        middle = mean(known)
        for row, week in zip(columns, weeks, strict=True):
            row.append(0.0 if week[name] is None else (week[name] - middle) / unit)
    return columns


def leaving_columns(weeks: list[dict]) -> list[list[float]]:
    """Intercept, whether started, size as a restricted cubic spline with three knots, and started times size."""
    known = [week["log_size"] for week in weeks if week["log_size"] is not None]
    usual = mean(known) if known else 0.0
    sizes = [usual if week["log_size"] is None else week["log_size"] for week in weeks]
    middle, unit = mean(sizes), max(spread(sizes, 0), 1e-9)
    sizes = [(size - middle) / unit for size in sizes]
    knots = [quantile(sizes, part) for part in (0.1, 0.5, 0.9)]
    out = []
    for week, size in zip(weeks, sizes, strict=True):
        started = float(not week["before"] or week["starts"] != "")
        out.append([1.0, started, size, bend(size, *knots), started * size])
    return out


def quantile(values: list[float], part: float) -> float:
    """Between the two values nearest to the place, in proportion."""
    ordered, place = sorted(values), part * (len(values) - 1)
    below = floor(place)
    above = min(below + 1, len(ordered) - 1)
    return ordered[below] + (place - below) * (ordered[above] - ordered[below])


def bend(size: float, low: float, middle: float, high: float) -> float:
    """The curved column of a restricted cubic spline: nothing below the first knot, straight above the last."""
    if not low < middle < high:
        return 0.0

    def cube(knot: float) -> float:
        return max(size - knot, 0.0) ** 3

    curved = cube(low) - cube(middle) * (high - low) / (high - middle) + cube(high) * (middle - low) / (high - middle)
    return curved / (high - low) ** 2


def covariates(starters: int, plan, weeks: list[dict]) -> list[str]:
    """Size, its last three, its slope, a stall, the week; then one more of the plan for every five beyond 25."""
    names = list(ALWAYS)
    for name in plan.comparison.covariates:
        if any(week[name] is not None for week in weeks) and 5 * (len(names) + 1) <= starters:
            names.append(name)
    return names


# --- the trials ----------------------------------------------------------------------------------------------------


def is_trial(week: dict, plan, horizon: int) -> bool:
    if not week["before"] or week["reason"] != "":
        return False
    if plan.cutoff is None:
        return True
    last = plan.cutoff - horizon
    return last - round(plan.comparison.answer_months * 365.25 / 12) < week["ends"] <= last


def way_out(week: dict, way: str) -> tuple[int, str | None]:
    """The day on which the wound of a trial is no longer followed, and by what it ended; None where only seen so far.

    Within a day the closing comes before the first session: who closes first has not started.
    """
    day, cause = week["end_day"], week["outcome"] if week["outcome"] in CAUSES else None
    if cause == "left" and way != "while here":
        cause = None  # as if they had stayed: only lost from view
    later = week["start_day"] is not None and week["start_day"] > week["ends"]
    if later and way != "or later" and week["start_day"] <= day:
        return week["start_day"], None
    return day, cause


# --- the chances of having come so far -----------------------------------------------------------------------------


def weekly_chances(weeks: list[dict], names: list[str], count: list[float]) -> tuple[list[float], list[float]]:
    """For every wound week the chance of starting in it and of leaving in it."""
    start, leave = [0.0] * len(weeks), [0.0] * len(weeks)
    possible = [at for at, week in enumerate(weeks) if week["before"] and week["reason"] == ""]
    began = [float(weeks[at]["starts"] != "") for at in possible]
    design = start_columns([weeks[at] for at in possible], names)
    for at, chance in zip(possible, chances(design, began, [count[at] for at in possible], START_RIDGE), strict=True):
        start[at] = chance
    # Where no trial stands (not measured, say) wounds start all the same: one chance for all such weeks.
    elsewhere = [at for at, week in enumerate(weeks) if week["before"] and week["reason"] != ""]
    total = sum(count[at] for at in elsewhere)
    for at in elsewhere:
        started = sum(count[other] for other in elsewhere if weeks[other]["starts"] != "")
        start[at] = started / total if total else 0.0
    lost = [float(week["lost"]) for week in weeks]
    if any(lost):
        leave = chances(leaving_columns(weeks), lost, count, LEAVING_RIDGE)
    return [min(chance, CERTAIN) for chance in start], [min(chance, CERTAIN) for chance in leave]


# --- the comparison ------------------------------------------------------------------------------------------------


def compare(weeks, sizes, plan, horizon, treated, beside, people) -> dict[str, list]:
    """The numbers of both arms: closed, spent, early, here, later; and states by cause, course by week, houses, and
    the share smaller by each percent with the median of it.

    `treated` and `beside` name regimens; "any modality" is every starter, "no modality" the others. `people` says how
    often each resident counts.
    """
    count = [float(people[week["resident"]]) for week in weeks]
    place = {
        (week["wound"], day): at for at, week in enumerate(weeks) for day in range(week["begins"], week["ends"] + 1)
    }
    in_trials = [at for at, week in enumerate(weeks) if is_trial(week, plan, horizon)]
    starters = [at for at in in_trials if weeks[at]["starts"] != ""]
    others = [at for at in in_trials if weeks[at]["starts"] == ""]
    first = [at for at in starters if treated in ("any modality", weeks[at]["starts"])]
    second = others if beside == "no modality" else [at for at in starters if weeks[at]["starts"] == beside]
    start, leave = weekly_chances(weeks, covariates(len(starters), plan, weeks), count)

    # How much each row counts at the end of its week.
    carried = len(first) if beside == "no modality" else min(len(first), len(second))
    both = first + second
    design = start_columns([weeks[at] for at in both], covariates(carried, plan, weeks))
    belongs = [1.0] * len(first) + [0.0] * len(second)
    like = chances(design, belongs, [count[at] for at in both], START_RIDGE)
    if beside == "no modality":
        base = [1.0] * len(first) + [chance / (1 - chance) for chance in like[len(first) :]]
    else:
        base = [1 - chance for chance in like[: len(first)]] + like[len(first) :]
    base = [own * count[at] for own, at in zip(base, both, strict=True)]

    def arm(rows: list[int], weights: list[float], untreated: bool, way: str) -> dict:
        return followed(weeks, place, rows, weights, start if untreated else None, leave, way, horizon)

    def left(rows: list[int], weights: list[float], untreated: bool) -> list[tuple[float, float, float]]:
        return sizes_then(weeks, place, sizes, plan, rows, weights, start if untreated else None, leave)

    houses = sorted({week["facility"] for week in weeks})
    asked_for_houses = treated == "any modality" and len(houses) > 1
    names = "closed", "spent", "early", "here", "later", "states", "course", "houses", "smaller", "median"
    then, percent = plan.comparison.early_weeks * 7, plan.comparison.early_percent
    told: dict[str, list] = {name: [] for name in names}
    sides = (first, base[: len(first)], False), (second, base[len(first) :], beside == "no modality")
    for rows, weights, untreated in sides:
        whole = arm(rows, weights, untreated, "nobody left")
        told["closed"].append(whole["closed"][horizon])
        told["spent"].append(sum(whole["closed"][:horizon]) / horizon)
        known = left(rows, weights, untreated)
        told["early"].append(share_smaller(known, percent, whole, then))
        told["smaller"].append([share_smaller(known, one, whole, then) for one in PERCENTS])
        told["median"].append(median_percent(told["smaller"][-1]))
        told["here"].append(arm(rows, weights, untreated, "while here")["closed"][horizon])
        told["later"].append(arm(rows, weights, untreated, "or later")["closed"][horizon])
        told["states"].append([whole[cause][horizon] for cause in CAUSES])
        told["course"].append(whole["closed"][::7])
        told["houses"].append([])
        for house in houses if asked_for_houses else []:
            pairs = [(at, one) for at, one in zip(rows, weights, strict=True) if weeks[at]["facility"] == house]
            here, own = [at for at, _ in pairs], [one for _, one in pairs]
            alone = arm(here, own, untreated, "nobody left")
            short = horizon <= plan.comparison.early_weeks * 7  # too short for closing: the early response is compared
            early = share_smaller(left(here, own, untreated), percent, alone, then)
            told["houses"][-1].append(early if short else alone["closed"][horizon])
    return told


def weight_on(weeks, place, at: int, day: int, base: float, start: list[float] | None, leave, way: str) -> float:
    """What a row of week `at` weighs on a later day: over the chance of having come through the weeks between.

    Only weeks that are over count: nobody knows within a week who will start or leave in it.
    """
    weight = base
    for between in range(at + 1, place[weeks[at]["wound"], day]):
        if start is not None and way != "or later":
            weight /= 1 - start[between]
        if way != "while here":
            weight /= 1 - leave[between]
    return weight


def followed(weeks, place, rows, weights, start, leave, way, horizon) -> dict[str, list[float]]:
    """The shares of each cause, and of the open, at the end of each day from 0 to the horizon."""
    still = 1.0
    shares = {cause: [0.0] for cause in CAUSES} | {"open": [1.0]}
    ends = [way_out(weeks[at], way) for at in rows]
    for day in range(1, horizon + 1):
        at_risk, ended = 0.0, dict.fromkeys(CAUSES, 0.0)
        for at, base, (until, cause) in zip(rows, weights, ends, strict=True):
            today = weeks[at]["ends"] + day
            if today > until or base == 0:
                continue
            weight = weight_on(weeks, place, at, today, base, start, leave, way)
            at_risk += weight
            if today == until and cause is not None:
                ended[cause] += weight
        for cause in CAUSES:
            shares[cause].append(shares[cause][-1] + (still * ended[cause] / at_risk if at_risk else 0.0))
        still *= 1 - (sum(ended.values()) / at_risk if at_risk else 0.0)
        shares["open"].append(still)
    return shares


def sizes_then(weeks, place, sizes, plan, rows, weights, start, leave) -> list[tuple[float, float, float]]:
    """Weight, size and size at the trial of each row whose size is known at the early response.

    Known is who is followed beyond that day and has a size that is still fresh; they stand for those without.
    """
    day = plan.comparison.early_weeks * 7
    known = []
    for at, base in zip(rows, weights, strict=True):
        week, then = weeks[at], weeks[at]["ends"] + day
        before = [(when, size) for when, size in sizes.get(week["wound"], []) if when <= then]
        if not before or way_out(week, "nobody left")[0] <= then:
            continue
        when, size = max(before)
        if then - when < plan.sizes.fresh_days:
            weight = weight_on(weeks, place, at, then, base, start, leave, "nobody left")
            known.append((weight, size, exp(week["log_size"])))
    return known


def share_smaller(known, percent: int, whole, day: int) -> float:
    """The share closed at the early response, and of the rest, as if nobody left, what part is that much smaller."""
    if whole["open"][day] <= 1e-12:
        return whole["closed"][day]
    small = sum(weight for weight, size, first in known if size <= (1 - percent / 100 + 1e-9) * first)
    total = sum(weight for weight, _, _ in known)
    return whole["closed"][day] + whole["open"][day] * small / total if total else float("nan")


def median_percent(shares: list[float]) -> float:
    """The largest percent that at least half reach."""
    reached = [percent for percent, share in zip(PERCENTS, shares, strict=True) if share >= 0.5 - 1e-9]
    return reached[-1] if reached else float("nan")


# --- from frames to dicts ------------------------------------------------------------------------------------------


def as_dicts(frame) -> list[dict]:
    """The rows of a frame; whatever is missing is None."""
    return [{name: plain(value) for name, value in row.items()} for row in frame.astype(object).to_dict("records")]


def plain(value):
    """A cell as Python says it."""
    if value is None or type(value).__name__ == "NAType" or (isinstance(value, float) and isnan(value)):
        return None
    return value.item() if hasattr(value, "item") else value


def sizes_of(measurements) -> dict[str, list[tuple[int, float]]]:
    """For each wound the days on which it was measured open, and its cm2."""
    out: dict[str, list[tuple[int, float]]] = {}
    for row in as_dicts(measurements[["wound", "day", "state", "size"]]):
        if row["state"] == "open" and row["size"] is not None and row["size"] > 0:
            out.setdefault(row["wound"], []).append((row["day"], row["size"]))
    return out
