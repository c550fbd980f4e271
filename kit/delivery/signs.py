"""Measurable signs of healing between two days of a wound, as US NCD 270.1 names them: yes, no, or not known."""

from __future__ import annotations

import numpy as np
import pandas as pd

from kit.healing.covariates import STALL_PART
from kit.vocabulary import MEASUREMENTS

YES, NO, NOT_KNOWN = "yes", "no", "not known"
# All four are common practice, no source: NCD 270.1 says "measurable" and gives no number.
STALE_DAYS = 14  # a measurement this long before a day no longer tells what the wound was on it
NECROSIS_POINTS = 10  # shares of a bed are estimated by eye, in tenths
DEPTH_CM = 0.2  # a probe is read to a millimetre or two: less is within its error
ROUNDING = 1e-9
LEVELS = {level: place for place, level in enumerate(MEASUREMENTS.column("exudate").allowed)}
SLOUGH = {"necrotic": 1.0, "slough": 1.0, "granulation": 0.0, "epithelial": 0.0, "closed": 0.0}


def signs(asked: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """Whether each wound showed a measurable sign of healing between two days.

    Columns in: `asked` wound, from_day, to_day; measurements as in the study. Columns out, beside those of `asked` and
    in its rows: less_area, less_volume, less_exudate, less_necrosis, sign (each yes, no, or not known), size_change
    (percent; below 0 smaller), from_size_day and to_size_day (of the two sizes compared).

    Each thing is held as last recorded on or before the first day against as last recorded after it, up to the last
    day; neither more than 14 days before its day. Less area: smaller by at least a tenth, found the same way. Less
    volume: size times depth smaller by a tenth, and the depth by 2 mm. Less exudate: a level lower. Less necrosis: a
    share at least 10 points lower; where none is recorded, slough or necrosis that is gone from the bed. A wound
    recorded closed shows a sign. `sign` is yes where any of them is, no where the size is known and nothing that is
    recorded is better, and else not known: exudate and necrosis that nobody recorded do not make a size that stood
    still unknown.

    Source: US NCD 270.1 (area or volume, exudate, necrotic tissue); the amounts are common practice.
    """
    rows = asked.reset_index(drop=True)
    seen = _comparable(measurements)
    size = _pair(rows, seen, ["size", "size_from"])
    volume = _pair(rows, seen, ["size", "size_from", "depth"])
    told = pd.DataFrame(
        {
            "less_area": _area(size),
            "less_volume": _volume(volume),
            "less_exudate": _fell(_pair(rows, seen, ["exudate"]), "exudate", 1),
            "less_necrosis": _necrosis(rows, seen),
        }
    )
    change = 100 * (size["size_to"] / size["size"].where(size["size"] > 0) - 1)
    days = {"from_size_day": size["seen"].astype("Int64"), "to_size_day": size["seen_to"].astype("Int64")}
    known = size["size"].notna() & size["size_to"].notna() & (told["less_area"] != NOT_KNOWN)
    return rows.assign(**told, sign=_any(told), size_change=change.where(known), **days)


def sign_within(asked: pd.DataFrame, measurements: pd.DataFrame) -> pd.Series:
    """Whether any measurement between the two days showed a sign beside the first: yes, no, or not known.

    Columns in as for `signs`. A sign that came and went was there: the last day alone would miss it.
    """
    rows = asked.reset_index(drop=True)
    at_end = signs(rows, measurements)["sign"]
    days = rows.reset_index(names="place").merge(measurements[["wound", "day"]].drop_duplicates(), on="wound")
    days = days[(days["day"] > days["from_day"]) & (days["day"] <= days["to_day"])]
    each = signs(days[["wound", "from_day"]].assign(to_day=days["day"]), measurements)["sign"]
    return at_end.mask(rows.index.isin(days.loc[(each == YES).to_numpy(), "place"]), YES)


def _comparable(measurements: pd.DataFrame) -> pd.DataFrame:
    """What is compared, as numbers; a closed wound has no depth, no exudate and no necrosis."""
    shut = measurements["state"].eq("closed").fillna(False).astype(bool)
    slough = measurements["tissue"].astype(object).map(SLOUGH).astype(float)
    return pd.DataFrame(
        {
            "wound": measurements["wound"].astype(object),
            "seen": measurements["day"].astype("int64"),
            "size": measurements["size"].astype(float).mask(shut, 0.0),
            "size_from": measurements["size_from"].astype(object).mask(shut, "closed"),
            "depth": measurements["depth"].astype(float).mask(shut, 0.0),
            "exudate": measurements["exudate"].astype(object).map(LEVELS).astype(float).mask(shut, 0.0),
            "necrosis": measurements["necrosis_share"].astype(float).mask(shut, 0.0),
            "slough": slough.mask(shut, 0.0),
        }
    ).sort_values("seen", kind="stable")


def _pair(asked: pd.DataFrame, seen: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """What was last recorded by the first day, and (with _to) after it by the last; missing where too long before."""
    held = seen.loc[seen[columns[0]].notna() & seen[columns[-1]].notna(), ["wound", "seen", *columns]]
    first, last = _as_of(asked, held, "from_day"), _as_of(asked, held, "to_day").add_suffix("_to")
    after = (last["seen_to"] > asked["from_day"].to_numpy(float)).to_numpy()
    return pd.concat([first, last.where(pd.Series(after))], axis=1)


def _as_of(asked: pd.DataFrame, held: pd.DataFrame, day: str) -> pd.DataFrame:
    order = asked[["wound"]].assign(at=asked[day].astype("int64"), place=np.arange(len(asked)))
    order = order.astype({"wound": object}).sort_values("at", kind="stable")
    joined = pd.merge_asof(order, held, left_on="at", right_on="seen", by="wound", tolerance=STALE_DAYS)
    return joined.sort_values("place", ignore_index=True).drop(columns=["wound", "at", "place"])


def _told(better: pd.Series, known: pd.Series) -> pd.Series:
    return pd.Series(NO, index=better.index, dtype=object).mask(better, YES).where(known, NOT_KNOWN)


def _area(pair: pd.DataFrame) -> pd.Series:
    return _told(_tenth(pair["size"], pair["size_to"]), (pair["size"] > 0) & pair["size_to"].notna() & _alike(pair))


def _alike(pair: pd.DataFrame) -> pd.Series:
    """A rectangle and a tracing of one wound differ by more than a tenth, so each is compared with its own kind."""
    return (pair["size_from"] == pair["size_from_to"]) | (pair["size_from_to"] == "closed")


def _tenth(before: pd.Series, after: pd.Series) -> pd.Series:
    return after <= before * (1 - STALL_PART) * (1 + ROUNDING)


def _volume(pair: pd.DataFrame) -> pd.Series:
    before, after = pair["size"] * pair["depth"], pair["size_to"] * pair["depth_to"]
    deeper = (pair["depth"] - pair["depth_to"] >= DEPTH_CM - ROUNDING) | (pair["size_to"] == 0)
    return _told(_tenth(before, after) & deeper, (before > 0) & after.notna() & _alike(pair))


def _fell(pair: pd.DataFrame, name: str, least: float) -> pd.Series:
    fall = pair[name] - pair[f"{name}_to"]
    return _told(fall >= least - ROUNDING, fall.notna())


def _necrosis(asked: pd.DataFrame, seen: pd.DataFrame) -> pd.Series:
    share, bed = _fell(_pair(asked, seen, ["necrosis"]), "necrosis", NECROSIS_POINTS), _pair(asked, seen, ["slough"])
    return share.mask(share == NOT_KNOWN, _fell(bed, "slough", 1))


def _any(told: pd.DataFrame) -> pd.Series:
    sized = (told["less_area"] != NOT_KNOWN) | (told["less_volume"] != NOT_KNOWN)
    return pd.Series(NOT_KNOWN, index=told.index, dtype=object).mask(sized, NO).mask(told.eq(YES).any(axis=1), YES)
