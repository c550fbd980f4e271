"""The numbers of an issued quarter beside the same counted anew from today's export."""

from __future__ import annotations

import numpy as np
import pandas as pd


def beside(issued: pd.DataFrame, today: pd.DataFrame) -> pd.DataFrame:
    """Each number as it was issued and as it is counted today. Takes two frames of `kit.context.trend.of_quarter`.

    Columns out: measure, numerator, denominator (as issued), today_numerator, today_denominator, is_unchanged. A number
    that the issued report did not count is left out.
    """
    told = issued[issued["denominator"].notna()]
    anew = today.rename(columns={"numerator": "today_numerator", "denominator": "today_denominator"})
    rows = told.merge(anew, on="measure")
    same = [
        np.isclose(rows[name], rows[f"today_{name}"], rtol=1e-6, atol=1e-6) for name in ("numerator", "denominator")
    ]
    return rows.assign(is_unchanged=same[0] & same[1])
