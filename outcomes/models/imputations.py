"""One number from several imputed tables: Rubin's rules with the degrees of freedom of Barnard and Rubin."""

from __future__ import annotations

import math
from dataclasses import dataclass

from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, possible_p, t_quantile, t_two_sided
from outcomes.matrices import all_equal, finite_vector
from outcomes.models.results import with_unit
from outcomes.result import Estimate, HypothesisTest, Interval, Result

_SOURCE = "Rubin (1987) Multiple Imputation for Nonresponse in Surveys; Barnard & Rubin (1999) Biometrika 86:948-955"


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledImputations(Result):
    """Result of `pool_imputations`; variances in the square of the unit.

    Parameters
    ----------
    estimate : Estimate
        Mean over the imputed tables, with its t interval and the t test against 0.
    standard_error : float
        Root of the total variance, in the unit of the estimate.
    within_variance, between_variance, total_variance : float
        Mean of the variances of the tables; variance of their estimates; both together.
    relative_increase : float
        Of the variance by what is missing: (1 + 1/m) between/within.
    missing_share : float
        Share of the total variance that is due to what is missing (lambda).
    fraction_missing : float
        The same with the degrees of freedom taken into account: fraction of missing information.
    degrees_of_freedom : float
        Of Barnard and Rubin; infinite where nothing limits them.
    rubin_degrees_of_freedom : float
        Of Rubin (1987), which can exceed those of the complete data; infinite where the tables agree.
    n_imputations : int
    """

    estimate: Estimate
    standard_error: float
    within_variance: float
    between_variance: float
    total_variance: float
    relative_increase: float
    missing_share: float
    fraction_missing: float
    degrees_of_freedom: float
    rubin_degrees_of_freedom: float
    n_imputations: int

    def summary(self) -> str:
        """Return the pooled value with interval, p and what is missing, rounded."""
        one = self.estimate
        assert one.interval is not None
        assert one.test is not None
        return (
            f"{with_unit(one.value, one.unit)} ({one.interval.low:.3g} to {one.interval.high:.3g}), p = "
            f"{one.test.p:.2g}; {self.n_imputations} imputed tables, fraction of missing information "
            f"{self.fraction_missing:.2f} (n = {one.n_people})"
        )


def pool_imputations(
    estimates: ArrayLike,
    variances: ArrayLike,
    *,
    unit: str,
    n_people: int,
    complete_df: float = math.inf,
    level: float = 0.95,
) -> PooledImputations:
    """One estimate from those of several imputed tables of the same people.

    Parameters
    ----------
    estimates : array of shape (n_imputations,)
        The same statistic of each table, in `unit`, about normal in large samples; no missing values.
    variances : array of shape (n_imputations,)
        Square of its standard error in each table.
    unit : str
        UCUM code.
    n_people : int
        People in each table.
    complete_df : float
        Degrees of freedom of the statistic if nothing were missing, such as people less coefficients.
    level : float
        Nominal coverage.

    Returns
    -------
    PooledImputations

    Raises
    ------
    DesignError
        Fewer than two tables, numbers that are missing or of different length, a negative variance, variances that are
        all 0 or nothing beside that between tables, degrees of freedom or people that are not above 0.

    Notes
    -----
    Of m tables with mean estimate Q, mean variance U and variance B of the estimates (m - 1): T = U + (1 + 1/m) B,
    lambda = (1 + 1/m) B/T, r = (1 + 1/m) B/U. Rubin's degrees of freedom (m - 1)/lambda² and those of what was
    observed, v (v + 1)/(v + 3) (1 - lambda) of v complete ones, are joined as 1/(1/a + 1/b). Fraction of missing
    information (r + 2/(df + 3))/(r + 1). Where all tables agree (B = 0) lambda is 0 and v (v + 1)/(v + 3) remain,
    infinite for an infinite v. Tables must be imputed properly: with the uncertainty of the model that fills them, and
    with the outcome and the group among its columns.

    References
    ----------
    Rubin (1987) Multiple Imputation for Nonresponse in Surveys, chapter 3; Barnard & Rubin (1999) Biometrika
    86:948-955.

    Examples
    --------
    >>> found = pool_imputations([2.1, 2.5, 1.9, 2.3, 2.0], [0.20, 0.22, 0.19, 0.21, 0.20], unit="cm", n_people=50,
    ...                          complete_df=48)
    >>> round(found.estimate.value, 2), round(found.degrees_of_freedom, 2), round(found.fraction_missing, 3)
    (2.16, 22.09, 0.314)
    """
    check_level(level)
    q = finite_vector(estimates, name="estimates", at_least=2)
    u = finite_vector(variances, name="variances", at_least=2)
    if len(q) != len(u):
        raise DesignError(f"{len(q)} estimates and {len(u)} variances; one of each is needed for a table")
    if (u < 0).any():
        raise DesignError(f"{int((u < 0).sum())} variances are below 0; give squares of standard errors")
    if not complete_df > 0 or n_people < 1:
        raise DesignError(f"{complete_df:g} degrees of freedom of {n_people} people; both must be above 0")
    m, within = len(q), float(u.mean())
    if not within > 0:
        raise DesignError("all variances are 0: the statistic has no spread in any table, so nothing can be pooled")
    between = 0.0 if all_equal(q) else float(q.var(ddof=1))
    value, extra = float(q.mean()), (1 + 1 / m) * between
    total = within + extra
    share, increase = extra / total, extra / within
    rubin = (m - 1) / share**2 if share**2 > 0 else math.inf
    observed = (
        math.inf if math.isinf(complete_df) else complete_df * (complete_df + 1) / (complete_df + 3) * (1 - share)
    )
    if not observed > 0:
        raise DesignError(
            "beside the variance between the tables that within them is nothing: no degree of freedom left"
        )
    df = 1 / (1 / rubin + 1 / observed) if min(rubin, observed) < math.inf else math.inf
    error = math.sqrt(total)
    half, t = t_quantile((1 + level) / 2, df) * error, value / error
    p = possible_p(t_two_sided(t, df))
    return PooledImputations(
        estimate=Estimate(
            value=value, unit=unit, method="pooled_imputations", n_people=n_people, n_values=n_people,
            interval=Interval(value - half, value + half, level, "Student t, Barnard-Rubin"),
            test=HypothesisTest(name="t", p=p, statistic=t, df=(df,) if df < math.inf else ()), source=_SOURCE,
        ),
        standard_error=error, within_variance=within, between_variance=between, total_variance=total,
        relative_increase=increase, missing_share=share, fraction_missing=(increase + 2 / (df + 3)) / (increase + 1),
        degrees_of_freedom=df, rubin_degrees_of_freedom=rubin, n_imputations=m,
    )  # fmt: skip
