"""The tables of the comparison as a reader sees them: wounds of 100, whole numbers, words for names."""

from __future__ import annotations

import math

import pandas as pd

from kit.healing.answers import Answers, named
from kit.healing.comparison import NONE
from kit.statements.comparing import LEVELS, early_measured, level_of, missing
from kit.words import FEW_NAMES, label, more_or_fewer, of_hundred, sentence, whole_wounds

COVARIATES = {
    "log_size": "size (logarithm of cm2)", "log_size_3": "its mean over three measurements",
    "slope": "its change a week since the first", "stalled": "stalled over four weeks",
    "week": "weeks since first measured",
    "necrosis": "dead tissue, % of the bed", "infection": "infection or antibiotic",
    "full_thickness": "full thickness", "present_on_admission": "there when the person came", "age": "age, years",
    "risk_total": "risk score", "weight_loss": "weight loss",
}  # fmt: skip


def homes_table(homes: pd.DataFrame, facilities: tuple[str, ...]) -> pd.DataFrame:
    """Of many facilities each one's difference, leaning on the group's, in alphabetical order; of few nothing.

    Takes `homes` as `kit.healing.answers` returns it: few are told in sentences.
    """
    rows = homes.sort_values("facility").to_dict("records") if len(facilities) > FEW_NAMES else []
    return pd.DataFrame(
        [
            {"Facility": row["facility"], "Starts": f"{row['starters']:.0f}",
             "Difference, leaning on the group (range)": more_or_fewer(row["leaning"], row["low"], row["high"])}
            for row in rows
        ]
    )  # fmt: skip


def comparison_table(told: pd.DataFrame, needs: pd.DataFrame, measure: str) -> pd.DataFrame:
    """Every comparison with its shares, difference and level; what is not compared says what is missing.

    Takes `told` and `needs` as `kit.healing.answers` returns them.
    """
    return pd.DataFrame([_comparison_row(row, needs, measure) for row in told.to_dict("records")])


def _comparison_row(row: dict, needs: pd.DataFrame, measure: str) -> dict[str, str]:
    names = {"Started": label(row["treated"]), "Beside": row["beside"], "Wounds": _wounds(row)}
    difference = _difference(row, measure) if row["is_told"] else missing(needs, row)
    return names | {
        "After starting, of 100": of_hundred(row[f"{measure}_treated"]),
        "Expected beside": of_hundred(row[f"{measure}_beside"]),
        "Difference (range)": difference,
        "How far it goes": level_of(row, measure),
    }


def _wounds(row: dict) -> str:
    return f"{row['starters']} and {row['others']}"


def _difference(row: dict, measure: str) -> str:
    return more_or_fewer(*(row[f"{measure}_{part}"] for part in ("difference", "low", "high")))


def measures_table(answers: Answers) -> pd.DataFrame:
    """The comparisons that the data carry in every measure: differences in wounds of 100, and in weeks."""
    rows = answers.told[answers.told["is_told"]].to_dict("records")
    return pd.DataFrame([_measures_row(row, answers.horizon_weeks) for row in rows])


def _measures_row(row: dict, weeks: int) -> dict[str, str]:
    spent = " to ".join(f"{weeks * row[f'spent_{part}']:+.1f}" for part in ("low", "high"))
    return {
        "Started": label(row["treated"]),
        "Beside": row["beside"],
        f"Closed by week {weeks}": _difference(row, "closed"),
        "Weeks spent closed": f"{weeks * row['spent_difference']:+.1f} ({spent})",
        "Early response": _difference(row, "early") if early_measured(row) else "too few had a size",
        "Leaving counted as not closed": _difference(row, "here"),
        "Beside later or never": _difference(row, "later"),
    }


def needs_table(needs: pd.DataFrame, treated: str) -> pd.DataFrame:
    """What one comparison with no modality needs, and what was found: need, needed, found, enough."""
    own = needs[(needs["treated"] == treated) & (needs["beside"] == NONE)]
    return pd.DataFrame(
        {
            "need": own["need"].map(named(own)).map(sentence),
            "needed": own["needed"].astype("int64"),
            "found": own["found"].map(math.floor).astype("int64"),
            "enough": own["met"].astype(bool),
        }
    )


def all_needs_table(needs: pd.DataFrame) -> pd.DataFrame:
    """What every comparison needs, a row a comparison: what was found, and in brackets how much is needed."""
    found = needs["found"].map(math.floor).astype(str) + " (" + needs["needed"].astype("int64").astype(str) + ")"
    wide = needs.assign(found=found).pivot(index=["treated", "beside"], columns="need", values="found")
    wide = wide.reindex(needs[["treated", "beside"]].drop_duplicates().itertuples(index=False, name=None))
    names = named(needs)
    wide = wide[list(names)].rename(columns=lambda need: sentence(names[need])).rename_axis(columns=None)
    return wide.reset_index().assign(treated=lambda table: table["treated"].map(label))


def outside_table(outside: pd.DataFrame) -> pd.DataFrame:
    """The starts by whether they can be compared and, if not, why."""
    return pd.DataFrame({"why": outside["reason"].map(sentence), "starts": outside["starters"].astype("int64")})


def balance_table(balance: pd.DataFrame) -> pd.DataFrame:
    """What the chart held of both sides: means before and after weighting, and how far apart they stand."""
    return pd.DataFrame(
        {
            "Started": balance["treated"].map(label),
            "Beside": balance["beside"],
            "What the chart held": balance["covariate"].map(lambda name: sentence(COVARIATES.get(name, name))),
            "Mean of those that started": balance["starters_mean"].astype(float),
            "Of those beside": balance["others_mean"].astype(float),
            "Beside, as weighted": balance["weighted_mean"].astype(float),
            "Apart, in standard deviations": balance["apart"].astype(float),
            "Apart, as weighted": balance["apart_weighted"].astype(float),
        }
    )


def levels_table() -> pd.DataFrame:
    """How far a comparison may go, and when."""
    return pd.DataFrame(LEVELS, columns=["level", "when"])


def ways_table(ways: pd.DataFrame) -> pd.DataFrame:
    """The same question in other ways: value and range in their own unit, or why it was not computed."""
    rows = [
        {"Way": sentence(row.way), "Value (range)": _value(row), "Rests on": row.rests_on, "What it says": row.says}
        for row in ways.itertuples()
    ]
    return pd.DataFrame(rows)


def _value(row) -> str:
    if row.not_computed:
        return f"not computed: {row.not_computed}"
    ranged = pd.notna(row.low)
    if row.unit != "hazard ratio":
        return (
            more_or_fewer(row.amount / 100, row.low / 100, row.high / 100) if ranged else whole_wounds(row.amount / 100)
        )
    return f"ratio {row.amount:.2f}" + (f" ({row.low:.2f} to {row.high:.2f})" if ranged else "")
