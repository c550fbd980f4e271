"""What reviews of published studies say: what pooling here cannot, estimates that shrank, and whose limit is quoted."""

from __future__ import annotations

import pandas as pd

from kit.words import sentence


def reviewed(rows: pd.DataFrame) -> list[str]:
    """The reviews in sentences; takes the frame of `published_trials.reviews`, and says less of a shorter one."""
    told = [reviewed_closing(rows), _shrunk_with_the_years(rows), _shrunk_with_update(rows), _of_feet(rows)]
    return [f"{sentence(words)}." for words in told if words]


def reviewed_closing(rows: pd.DataFrame) -> str:
    """What the Cochrane review of stimulation finds of closing, and what its authors make of it; no full stop."""
    row = _result(rows, "Arora 2020", "closed")
    if not row:
        return "no review is listed"
    bounds = f"range {row['low']:.2f} to {row['high']:.2f}, {row['studies']} studies, {row['wounds']} wounds"
    return (
        f"the Cochrane review of {row['year']} finds with moderate certainty that {row['estimate']:.2f} times as many "
        f"pressure injuries closed ({bounds}); its authors ask for better studies before wide use outside research"
    )


def _shrunk_with_the_years(rows: pd.DataFrame) -> str:
    measure = "smaller a week, difference"
    old, *new = (_result(rows, name, measure) for name in ("Gardner 1999", "Girgis 2018", "Arora 2020"))
    if not old or not all(new):
        return ""
    times = sorted(old["estimate"] / row["estimate"] for row in new)
    return (
        f"the review of {old['year']} found {old['estimate']:.0f} points a week more under stimulation, those of "
        f"{new[0]['year']} and {new[1]['year']} {new[0]['estimate']:.1f} and {new[1]['estimate']:.1f}: the older is "
        f"{times[0]:.1f} to {times[1]:.1f} times the newer ones, and no yardstick for a facility"
    )


def _shrunk_with_update(rows: pd.DataFrame) -> str:
    old, new = (_result(rows, name, "closed at 7 to 8 weeks") for name in ("Cullum 2010", "Cullum 2017"))
    if not old or not new:
        return ""
    return (
        f"of venous ulcers, which are another wound, the review of ultrasound had a ratio of {old['estimate']:.2f} in "
        f"{old['year']} and {new['estimate']:.2f} ({new['low']:.2f} to {new['high']:.2f}) in {new['year']}: it shrank "
        "as studies were added"
    )


def _of_feet(rows: pd.DataFrame) -> str:
    row = _result(rows, "Sheehan 2003", "median reduction at four weeks")
    if not row:
        return ""
    return (
        f"the {row['estimate']:.0f}% smaller at four weeks that is often quoted is of diabetic feet (Sheehan "
        f"{row['year']}); no such limit was found for pressure injuries"
    )


def _result(rows: pd.DataFrame, review: str, measure: str) -> dict | None:
    """One result of one review; None where the list does not hold it (it is there to be corrected)."""
    found = rows[(rows["review"] == review) & (rows["measure"] == measure) & rows["estimate"].notna()]
    return None if found.empty else found.to_dict("records")[0]
