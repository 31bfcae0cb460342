"""The seven indices of left against right for many sessions at once, named by formula and reference side."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from outcomes.dose import asymmetry
from outcomes.errors import DesignError

if TYPE_CHECKING:
    import pandas as pd

FORMULAS: dict[str, tuple[Callable[[float, float], float], str]] = {
    "left_share_percent": (asymmetry.left_share, "100 L / (L + R); reference left"),
    "paretic_share_percent": (asymmetry.paretic_share, "100 P / (P + N); reference the paretic side"),
    "left_minus_right_over_sum_percent": (asymmetry.difference_over_sum, "100 (L - R) / (L + R); reference left"),
    "symmetry_index_left_percent": (asymmetry.symmetry_index, "100 (L - R) / (0.5 (L + R)); reference left"),
    "percent_asymmetry_of_stronger": (
        asymmetry.percent_asymmetry,
        "100 (strong - weak) / strong; reference the stronger side",
    ),
    "weak_over_strong_percent": (asymmetry.weak_over_strong, "100 weak / strong; reference the stronger side"),
    "symmetry_angle_percent": (asymmetry.symmetry_angle, "100 (45 deg - atan(L / R)) / 90 deg; no reference side"),
}
"""Column to its function and to the formula that is printed beside it."""

FEWEST_SESSIONS = 3
"""Sessions that should be averaged before an asymmetry is read: a day's value says little (1970s ergometer study)."""


def side_indices(
    left: pd.Series[float], right: pd.Series[float], paretic_side: pd.Series[str] | None = None
) -> pd.DataFrame:
    """Return the seven indices of each session.

    Parameters
    ----------
    left, right : Series of float
        Work or mean power of the two sides of each session, in one unit; nan where a side is not known.
    paretic_side : Series of str, optional
        "left" or "right"; anything else is no known side, and there is no paretic share.

    Returns
    -------
    DataFrame
        Columns of `FORMULAS`; nan where both sides are 0, one is negative (the motor drove it) or not known.

    Examples
    --------
    >>> import pandas as pd
    >>> round(side_indices(pd.Series([12.0, 0.0]), pd.Series([8.0, 0.0])), 1)["left_share_percent"].tolist()
    [60.0, nan]
    """
    import pandas as pd

    sides = ["" for _ in left] if paretic_side is None else paretic_side.fillna("").tolist()
    columns: dict[str, list[float]] = {name: [] for name in FORMULAS}
    for a, b, paretic in zip(left.tolist(), right.tolist(), sides, strict=True):
        for name, (formula, _) in FORMULAS.items():
            if name == "paretic_share_percent":
                pair = {"left": (a, b), "right": (b, a)}.get(paretic, (math.nan, math.nan))
            else:
                pair = (a, b)
            columns[name].append(_or_missing(formula, *pair))
    return pd.DataFrame(columns, index=left.index, dtype="float64")


def _or_missing(formula: Callable[[float, float], float], a: float, b: float) -> float:
    try:
        return formula(a, b)
    except DesignError:
        return math.nan
