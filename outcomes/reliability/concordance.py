"""Lin's concordance correlation of two occasions, raters or devices."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, fisher_interval, normal_quantile, t_quantile
from outcomes.matrices import all_equal, complete_matrix
from outcomes.result import Estimate, Result

FEW = 12
"""Below this many people the interval carries a caveat (coverage table of tests/studies)."""

_SOURCE = "Lin (1989) Biometrics 45:255"


@dataclass(frozen=True, slots=True, kw_only=True)
class ConcordanceCorrelation(Result):
    """Result of `concordance_correlation`; all without unit.

    Parameters
    ----------
    concordance : Estimate
        At most 1, which only identical scores reach.
    pearson : float
        How near the people lie to some straight line.
    bias_correction : float
        How near that line lies to the line of equal scores; above 0, at most 1. The concordance is the product of both.
    n_people : int
        Rows.
    """

    concordance: Estimate
    pearson: float
    bias_correction: float
    n_people: int

    def summary(self) -> str:
        """Return the concordance, rounded, with interval and n."""
        found = self.concordance
        limits = "no interval" if found.interval is None else f"{found.interval.low:.2f} to {found.interval.high:.2f}"
        return f"concordance correlation {found.value:.2f} ({limits}; {self.n_people} people)"


def concordance_correlation(
    scores: ArrayLike,
    *,
    divisor: Literal["n", "n-1"] = "n",
    level: float = 0.95,
    interval: Literal["t", "normal"] = "t",
) -> ConcordanceCorrelation:
    """Lin's concordance correlation: agreement of two columns of scores with each other, not with some line.

    Parameters
    ----------
    scores : array of shape (n_participants, 2)
        In the measure's unit; columns are two occasions, raters or devices; no missing values; at least three rows.
    divisor : {"n", "n-1"}
        Of variances and covariance: as Lin has it, or that of unbiased ones, which some programs take.
    level : float
        Nominal coverage of the interval.
    interval : {"t", "normal"}
        Quantile: of t with n - 1 degrees of freedom, or of the normal distribution as published, a little too narrow
        for fewer than 12 people.

    Returns
    -------
    ConcordanceCorrelation
        Negative values are kept; perfect agreement is 1 and has no interval.

    Raises
    ------
    DesignError
        Fewer than three participants, not two columns, a missing score, a column whose scores are all equal, another
        divisor, or an interval that is none of those.

    Notes
    -----
    With means m, standard deviations s, Pearson correlation r and covariance c of the two columns:
    concordance p = 2c/(s1² + s2² + (m1 - m2)²) = r·b with b = 2·s1·s2/(s1² + s2² + (m1 - m2)²). Interval by Fisher's
    transformation, tanh(atanh(p) ± q·e/(1 - p²)), q the quantile, where e² = (b²(1 - r²)(1 - p²) + 2·b·p²(1 - p)u² -
    b²p²u⁴/2)/(n - 2) and u² = (m1 - m2)²/(s1·s2). Not for ordinal grades.

    References
    ----------
    Lin (1989) Biometrics 45:255-268; variance as corrected in Lin (2000) Biometrics 56:324-325.

    Examples
    --------
    A constant difference of 1 leaves Pearson's correlation at 1:

    >>> found = concordance_correlation([[1.0, 2.0], [2.0, 3.0], [3.0, 4.0]])
    >>> round(found.concordance.value, 3), round(found.pearson, 3)
    (0.571, 1.0)
    """
    check_level(level)
    if divisor not in ("n", "n-1"):
        raise DesignError(f"divisor '{divisor}' is neither 'n' nor 'n-1'")
    if interval not in ("t", "normal"):
        raise DesignError(f"interval '{interval}' is none of t, normal")
    matrix = complete_matrix(scores, at_least=(3, 2))
    n, columns = matrix.shape
    if columns != 2:
        raise DesignError(f"{columns} occasions; a concordance correlation compares two")
    if any(all_equal(column, scale=float(np.abs(matrix).max())) for column in matrix.T):
        raise DesignError("the scores of one occasion are all equal, so no concordance is defined")
    s1, s2 = (float(s) for s in matrix.std(axis=0, ddof=0 if divisor == "n" else 1))
    shift = float(matrix[:, 0].mean() - matrix[:, 1].mean())
    first, second = (matrix - matrix.mean(axis=0)).T
    r = float(first @ second) / (n if divisor == "n" else n - 1) / (s1 * s2)
    bias = 2 * s1 * s2 / (s1**2 + s2**2 + shift**2)
    same = all_equal(matrix[:, 0] - matrix[:, 1], scale=float(np.abs(matrix).max())) and bias > 1 - 1e-12
    p = 1.0 if same else r * bias
    quantile = t_quantile(0.5 + level / 2, n - 1) if interval == "t" else normal_quantile(0.5 + level / 2)
    error = math.sqrt(max(_variance(p, r, bias, shift**2 / (s1 * s2)), 0.0) / (n - 2))
    ends = None if same else fisher_interval(p, error, quantile, level=level)
    caveat = "perfect_agreement" if same else "no_interval_variance"
    estimate = Estimate(
        value=p,
        unit="1",
        method="concordance",
        n_people=n,
        n_values=2 * n,
        interval=ends,
        source=_SOURCE,
        caveats=(("few_concordance",) if n < FEW else ()) if ends else (caveat,),
    )
    return ConcordanceCorrelation(concordance=estimate, pearson=r, bias_correction=bias, n_people=n)


def _variance(p: float, r: float, bias: float, u2: float) -> float:
    """Return n - 2 times the variance of the concordance by Lin (2000)."""
    return bias**2 * (1 - r**2) * (1 - p**2) + 2 * bias * p**2 * (1 - p) * u2 - (bias * p * u2) ** 2 / 2
