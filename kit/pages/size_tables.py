"""The tables of sizes as a reader sees them: percents and points in whole numbers, words for names, nobody named."""

from __future__ import annotations

import pandas as pd

from kit.healing.comparison import EARLY
from kit.plan import Plan, date_of
from kit.statements.comparing import early_measured, level_of
from kit.trajectories.slopes import ALL, CHANGED, PACE
from kit.trajectories.standing import EXPECTED, FAST, NOT_TOLD, SLOW, UNCLEAR
from kit.words import label, more_or_fewer, of_hundred, percents, percents_range, points, sentence, share

MEASURES = {
    "reduction_2": "Percent smaller after 2 weeks", "reduction_4": "Percent smaller after 4 weeks",
    "gilman_2": "Advance of the edge over 2 weeks, cm a week",
    "gilman_4": "Advance of the edge over 4 weeks, cm a week",
}  # fmt: skip
NOT_AGREED = "not told: the ways of reckoning size do not agree"


def early_table(told: pd.DataFrame) -> pd.DataFrame:
    """The early response of every comparison: shares of 100 and median reductions, with differences and ranges.

    Takes `told` as `kit.healing.answers` returns it.
    """
    return pd.DataFrame([_early_row(row) for row in told.to_dict("records")])


def _early_row(row: dict) -> dict[str, str]:
    measured = early_measured(row) and pd.notna(row["early_difference"])
    lacks = "too few had a size by then" if row["is_told"] else "not compared"
    share = more_or_fewer(*(row[f"early_{part}"] for part in PARTS)) if measured else lacks
    half = points(*(row[f"reduction_{part}"] for part in PARTS)) if measured else "–"
    first, second = (_median(row[f"reduction_{arm}"] if measured else None) for arm in ("treated", "beside"))
    return {
        "Started": label(row["treated"]),
        "Beside": row["beside"],
        "Wounds": f"{row['starters']} and {row['others']}",
        "After starting, of 100": of_hundred(row["early_treated"]) if measured else "–",
        "Expected beside": of_hundred(row["early_beside"]) if measured else "–",
        "Difference (range)": share,
        "Median reduction": first,
        "Expected": second,
        "Difference in points (range)": half,
        "How far it goes": level_of(row, EARLY) if measured else "cannot say",
    }


PARTS = ("difference", "low", "high")


def _median(reduction: float | None) -> str:
    return "–" if pd.isna(reduction) else f"{percents(reduction)}%"


def pace_table(pace: pd.DataFrame) -> pd.DataFrame:
    """Percent smaller a week by regimen and stage, with ranges."""
    rows = [
        {
            "Under": label(row.regimen),
            "Stage or kind": "All" if row.stage_group == ALL else sentence(row.stage_group),
            "Wounds (residents)": f"{row.wounds} ({row.residents})",
            "Percent smaller a week (range)": percents_range(row.amount, row.low, row.high),
        }
        for row in pace.itertuples()
    ]
    return pd.DataFrame(rows)


def change_table(change: pd.DataFrame) -> pd.DataFrame:
    """The pace of the same wounds before and after a start; no number where the ways of reckoning do not agree."""
    rows = [
        {
            "Started": label(row.regimen),
            "Wounds (residents)": f"{row.wounds} ({row.residents})",
            "Before, % a week": percents(row.before) if row.agrees else "–",
            "After, % a week": percents(row.after) if row.agrees else "–",
            "Change in points (range)": points(row.amount, row.low, row.high, "faster", "slower")
            if row.agrees
            else NOT_AGREED,
        }
        for row in change.itertuples()
    ]
    return pd.DataFrame(rows)


def ahead_table(ahead: pd.DataFrame) -> pd.DataFrame:
    """What is expected of wounds of typical sizes: a row a regimen and size, a column a week; cm2 with ranges."""
    told = ahead.assign(told=[f"{row.amount:.1f} ({row.low:.1f} to {row.high:.1f})" for row in ahead.itertuples()])
    wide = told.pivot(index=["regimen", "size"], columns="weeks", values="told")
    wide = wide.loc[told["regimen"].drop_duplicates()].reset_index()
    return pd.DataFrame(
        {
            "Under": wide["regimen"].map(label),
            "Size, cm2": [f"{size:.1f}" for size in wide["size"]],
            **{f"After {weeks} weeks": wide[weeks] for weeks in told["weeks"].drop_duplicates()},
        }
    )


def ways_table(ways: pd.DataFrame, agrees: bool) -> pd.DataFrame:
    """The pace before any modality, and the change after a start, under each way of reckoning.

    The change stands only where the answer's two ways agree (`agrees`).
    """
    told = {asked: ways[ways["asked"] == asked].set_index("way") for asked in (PACE, CHANGED)}
    names = ways["way"].drop_duplicates()
    paces = [percents_range(*told[PACE].loc[way, ["amount", "low", "high"]]) for way in names]
    table = pd.DataFrame(
        {
            "Way of reckoning": names.map(sentence).to_numpy(),
            "Percent smaller a week before any modality (range)": paces,
        }
    )
    change = [_change_of(told[CHANGED], way) for way in names]
    return table.assign(**{"Change after the start, points (range)": change}) if agrees else table


def _change_of(told: pd.DataFrame, way: str) -> str:
    return points(*told.loc[way, ["amount", "low", "high"]], "faster", "slower") if way in told.index else "–"


def standing_table(standing: pd.DataFrame) -> pd.DataFrame:
    """How many open wounds stand how, with the middle of their sizes and paces, and the mean chance of being wrong."""
    order = [name for name in (SLOW, EXPECTED, FAST, UNCLEAR, NOT_TOLD) if (standing["stands"] == name).any()]
    groups = standing.groupby("stands")
    middle = groups[["size", "weeks_seen", "own", "expected"]].median().loc[order]
    wrong = groups["wrong"].mean()
    return pd.DataFrame(
        {
            "Stands": [sentence(name) for name in order],
            "Open wounds": groups.size().loc[order].to_numpy(),
            "Size, cm2": [f"{size:.1f}" for size in middle["size"]],
            "Weeks in view": [f"{weeks:.0f}" for weeks in middle["weeks_seen"]],
            "Own pace, % a week": [percents(pace) for pace in middle["own"]],
            "Expected pace": [percents(pace) for pace in middle["expected"]],
            "Chance that this is wrong": [_chance(wrong[name], name) for name in order],
        }
    )


def wounds_list(standing: pd.DataFrame, plan: Plan) -> pd.DataFrame:
    """Every open wound by name, slowest first, for those who treat it: where it stands, and how sure that is."""
    listed = standing.assign(place=standing["own"].fillna(1e9)).sort_values(["place", "wound"], ignore_index=True)
    days = [date_of(day).isoformat() if plan.calendar else day for day in listed["size_day"]]
    return pd.DataFrame(
        {
            "Wound": listed["wound"],
            "Facility": listed["facility"],
            "Stands": listed["stands"],
            "Chance that this is wrong": [_chance(row.wrong, row.stands) for row in listed.itertuples()],
            "Own pace, % smaller a week": _whole(listed["own"]),
            "From": _whole(listed["own_low"]),
            "To": _whole(listed["own_high"]),
            "Expected pace": _whole(listed["expected"]),
            "Size, cm2": listed["size"].astype(float).round(2),
            "Last measured" if plan.cutoff is not None else "Last measured, day of the person's record": days,
            "Weeks in view": _whole(listed["weeks_seen"]),
            "Why it is not told": listed["why"],
        }
    )


def _chance(wrong: float, stands: str) -> str:
    """The chance of being wrong of what is told; nothing is certain."""
    if pd.isna(wrong) or stands == UNCLEAR:
        return "–"
    return "under 1%" if wrong < 0.01 else f"{100 * wrong:.0f}%"


def _whole(numbers: pd.Series) -> pd.Series:
    return numbers.astype(float).round() + 0.0  # a pace of −0.3 is 0, and not −0


def summaries_table(table: pd.DataFrame) -> pd.DataFrame:
    """What a wound's first weeks come to by hand: quartiles of each measure, and for how many it is known."""
    digits = {"reduction_2": 0, "reduction_4": 0, "gilman_2": 2, "gilman_4": 2}
    quartiles = ["quartile_1", "median", "quartile_3"]
    told = {
        label(name): [_told(row[name], digits[row["measure"]]) for row in table.to_dict("records")]
        for name in quartiles
    }
    return pd.DataFrame({"Measure": table["measure"].map(MEASURES), "Known": table["known"],
                         "Not known": table["missing"], **told})  # fmt: skip


def _told(value: float, digits: int) -> str:
    return "–" if pd.isna(value) else f"{value:z.{digits}f}".replace("-", "−")  # z: −0.3 is 0, and not −0


def forecasts_table(forecasts: pd.DataFrame) -> pd.DataFrame:
    """Closings foretold from a wound's first sizes, and what became of them on later weeks of the same data."""
    rows = [
        {
            "First sizes used": row.areas,
            "Weeks ahead": row.weeks_ahead,
            "Foretold to close": row.predicted_closed,
            "Of them closed": row.closed_as_predicted,
            "Foretold to stay open": row.predicted_open,
            "Of them stayed": row.open_as_predicted,
            "Not followed so long": row.not_followed,
            "Week of closing foretold to within two": share(row.within_two_weeks, row.closed_later)
            if row.closed_later
            else "–",
        }
        for row in forecasts.itertuples()
    ]
    return pd.DataFrame(rows)
