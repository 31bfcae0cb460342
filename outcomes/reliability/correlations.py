"""The six intraclass correlations, with their intervals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, f_quantile
from outcomes.matrices import complete_matrix
from outcomes.reliability.variance import MeanSquares, mean_squares
from outcomes.result import Estimate, Interval, Result

_SOURCE = "McGraw & Wong (1996) Psychol Methods 1:30"

Limits = tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class IntraclassCorrelations(Result):
    """Result of `intraclass_correlations`; an estimate that is not defined is None and has its reason in `reasons`.

    Parameters
    ----------
    icc_1_1, icc_a_1, icc_c_1 : Estimate, optional
        Of one score: one-way, absolute agreement, consistency. Without unit, at most 1.
    icc_1_k, icc_a_k, icc_c_k : Estimate, optional
        Of the mean of k scores.
    forms : dict of str to str
        Field name to the names of McGraw & Wong and of Shrout & Fleiss.
    ms_people, ms_occasions, ms_error, ms_within : float
        Mean squares, in the squared unit of the scores.
    f_one_way, f_two_way : float, optional
        F of people against within, and against error; None where that mean square is 0.
    df_people, df_occasions, df_error, df_within : int
        Degrees of freedom.
    n_people, n_occasions : int
        Rows and columns.
    reasons : dict of str to str
        Why a field is None.
    """

    icc_1_1: Estimate | None
    icc_a_1: Estimate | None
    icc_c_1: Estimate | None
    icc_1_k: Estimate | None
    icc_a_k: Estimate | None
    icc_c_k: Estimate | None
    forms: dict[str, str]
    ms_people: float
    ms_occasions: float
    ms_error: float
    ms_within: float
    f_one_way: float | None
    f_two_way: float | None
    df_people: int
    df_occasions: int
    df_error: int
    df_within: int
    n_people: int
    n_occasions: int
    reasons: dict[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return absolute agreement of one score, rounded, with interval and n."""
        icc = self.icc_a_1
        if icc is None:
            return f"ICC(A,1) not estimable: {self.reasons['icc_a_1']}"
        limits = "no interval" if icc.interval is None else f"{icc.interval.low:.2f} to {icc.interval.high:.2f}"
        return f"ICC(A,1) = {icc.value:.2f} ({limits}; {self.n_people} people, {self.n_occasions} occasions)"


FORMS: dict[str, str] = {
    "icc_1_1": "ICC(1,1)",
    "icc_a_1": "ICC(A,1), Shrout-Fleiss ICC(2,1)",
    "icc_c_1": "ICC(C,1), Shrout-Fleiss ICC(3,1)",
    "icc_1_k": "ICC(1,k)",
    "icc_a_k": "ICC(A,k), Shrout-Fleiss ICC(2,k)",
    "icc_c_k": "ICC(C,k), Shrout-Fleiss ICC(3,k)",
}
"""Field of `IntraclassCorrelations` to the names of its form."""


def intraclass_correlations(scores: ArrayLike, *, level: float = 0.95) -> IntraclassCorrelations:
    """Six intraclass correlations of repeated scores: one-way, absolute agreement, consistency; single and mean.

    Parameters
    ----------
    scores : array of shape (n_participants, n_occasions)
        In the measure's unit; columns are occasions or raters; no missing values; at least 2 x 2.
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    IntraclassCorrelations
        Without unit. Negative estimates and limits are kept; without error the value is 1 and has no interval.

    Raises
    ------
    DesignError
        Fewer than two participants or occasions, a missing score, or all scores equal.

    Notes
    -----
    With mean squares of people (P), occasions (O), error (E) and within people (W):
    ICC(1,1) = (P - W)/(P + (k-1)W); ICC(A,1) = (P - E)/(P + (k-1)E + k(O - E)/n); ICC(C,1) = (P - E)/(P + (k-1)E);
    ICC(1,k) = (P - W)/P; ICC(A,k) = (P - E)/(P + (O - E)/n); ICC(C,k) = (P - E)/P. Not for ordinal grades.

    References
    ----------
    McGraw & Wong (1996) Psychol Methods 1:30-46, tables 4 and 7; Shrout & Fleiss (1979) Psychol Bull 86:420-428.

    Examples
    --------
    The scores of table 2 of Shrout & Fleiss (1979), which print .17, .29 and .71:

    >>> scores = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
    >>> found = intraclass_correlations(scores)
    >>> [round(icc.value, 2) for icc in (found.icc_1_1, found.icc_a_1, found.icc_c_1)]
    [0.17, 0.29, 0.71]
    """
    check_level(level)
    squares = mean_squares(complete_matrix(scores))
    p, e, w = float(squares.people), float(squares.error), float(squares.within)
    if p == 0 and w == 0:
        raise DesignError("all scores are equal, so people cannot be told apart")
    estimates: dict[str, Estimate | None] = {}
    reasons: dict[str, str] = {}
    for name, (value, limits) in _values(squares, 1 - level).items():
        if value is None:
            reasons[name] = "the estimated variance of the scores is not above 0"
            estimates[name] = None
        else:
            estimates[name] = _estimate(name, value, limits, squares, level)
    return IntraclassCorrelations(
        **estimates,
        forms=dict(FORMS),
        ms_people=p,
        ms_occasions=float(squares.occasions),
        ms_error=e,
        ms_within=w,
        f_one_way=p / w if w > 0 else None,
        f_two_way=p / e if e > 0 else None,
        df_people=squares.df_people,
        df_occasions=squares.df_occasions,
        df_error=squares.df_error,
        df_within=squares.df_within,
        n_people=squares.n,
        n_occasions=squares.k,
        reasons=reasons,
    )


def _estimate(name: str, value: float, limits: Limits, squares: MeanSquares, level: float) -> Estimate:
    caveats: tuple[str, ...] = ()
    interval = None
    if limits is not None and limits[0] <= value <= limits[1]:
        method = "F, Satterthwaite" if "_a_" in name else "exact F"
        interval = Interval(*limits, level, method)
    else:
        caveats = ("perfect_agreement",) if value == 1 else ("no_interval_variance",)
    return Estimate(
        value=value,
        unit="1",
        method=name,
        n_people=squares.n,
        n_values=squares.n * squares.k,
        interval=interval,
        source=_SOURCE,
        caveats=caveats,
    )


def _values(squares: MeanSquares, alpha: float) -> dict[str, tuple[float | None, Limits]]:
    """Return value and limits of each form; a value is None where its denominator is not above 0."""
    p, o = float(squares.people), float(squares.occasions)
    e, w, n, k = float(squares.error), float(squares.within), squares.n, squares.k
    one = _by_f(p, w, squares.df_people, squares.df_within, alpha)
    two = _by_f(p, e, squares.df_people, squares.df_error, alpha)
    single = _ratio(p - e, p + (k - 1) * e + k * (o - e) / n)
    agreement = None if single is None else _agreement_limits(squares, single, alpha)
    mean = _ratio(p - e, p + (o - e) / n)
    return {
        "icc_1_1": (_ratio(p - w, p + (k - 1) * w), _each(one, lambda f: (f - 1) / (f + k - 1))),
        "icc_a_1": (single, agreement),
        "icc_c_1": (_ratio(p - e, p + (k - 1) * e), _each(two, lambda f: (f - 1) / (f + k - 1))),
        "icc_1_k": (_ratio(p - w, p), _each(one, lambda f: 1 - 1 / f)),
        "icc_a_k": (mean, _each(agreement, lambda r: mean_of_k(r, k))),
        "icc_c_k": (_ratio(p - e, p), _each(two, lambda f: 1 - 1 / f)),
    }


def _ratio(above: float, below: float) -> float | None:
    return above / below if below > 1e-12 * abs(above) and below > 0 else None


def _by_f(people: float, error: float, df1: int, df2: int, alpha: float) -> tuple[float, float] | None:
    """Return the ratio F divided by its upper quantile, and times that of the reversed F; None if either is 0."""
    if people == 0 or error == 0:
        return None
    f = people / error
    return f / f_quantile(1 - alpha / 2, df1, df2), f * f_quantile(1 - alpha / 2, df2, df1)


def _each(limits: Limits, turn: Callable[[float], float]) -> Limits:
    """Return both limits turned into another quantity; what divides by 0 lies at minus infinity."""
    if limits is None:
        return None

    def turned(limit: float) -> float:
        try:
            return turn(limit)
        except ZeroDivisionError:
            return -math.inf

    return turned(limits[0]), turned(limits[1])


def mean_of_k(r: float, k: int) -> float:
    """Return the Spearman-Brown value of the mean of k scores; minus infinity at and below its pole.

    Examples
    --------
    >>> mean_of_k(0.5, 3), mean_of_k(-0.5, 3)
    (0.75, -inf)
    """
    below = 1 + r * (k - 1)
    return k * r / below if below > 0 else -math.inf


def _agreement_limits(squares: MeanSquares, icc: float, alpha: float) -> Limits:
    """Return the limits of ICC(A,1): McGraw & Wong (1996), table 7."""
    p, o, e = float(squares.people), float(squares.occasions), float(squares.error)
    n, k = squares.n, squares.k
    from_occasions = k * icc * o
    from_error = (n * (1 - icc) + k * icc * (n - 1)) * e
    spread = from_occasions**2 / squares.df_occasions + from_error**2 / squares.df_error
    if p == 0 or spread == 0 or (from_occasions + from_error) ** 2 == 0:
        return None
    v = (from_occasions + from_error) ** 2 / spread
    rest = k * o + (k * n - k - n) * e
    high, low = f_quantile(1 - alpha / 2, n - 1, v), f_quantile(1 - alpha / 2, v, n - 1)
    lower = _limit(n * (p / high - e), rest + n * p / high)
    return lower, 1.0 if math.isinf(low) else _limit(n * (low * p - e), rest + n * low * p)


def _limit(above: float, below: float) -> float:
    """Return above / below, where below is not negative; at its pole, where above is negative, minus infinity."""
    return above / below if below > 0 else -math.inf
