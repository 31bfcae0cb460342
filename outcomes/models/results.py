"""Results of a mixed model: terms and contrasts, tests of several terms, variance parts, people left out, residuals."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from outcomes.models.likelihood import Array
from outcomes.result import Estimate, HypothesisTest, Result

if TYPE_CHECKING:
    import pandas as pd

DegreesOfFreedom = Literal["kenward_roger", "satterthwaite"]
"""How the degrees of freedom, and under Kenward-Roger the standard errors, are found."""

DF_WORDS: dict[str, str] = {"kenward_roger": "Kenward-Roger", "satterthwaite": "Satterthwaite"}


def with_unit(value: float | int | str | None, unit: str) -> str:
    """Return a rounded number with its unit.

    Examples
    --------
    >>> with_unit(10.4673, "ms/d"), with_unit(0.0656, "1")
    ('10.5 ms/d', '0.0656')
    """
    return f"{value:.3g}" + ("" if unit == "1" else f" {unit}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contrast(Result):
    """One fixed term, or a weighted sum of fixed terms.

    Parameters
    ----------
    name : str
    estimate : Estimate
        With its t interval, and the t test against `null`.
    standard_error : float
        In the unit of the estimate; adjusted under Kenward-Roger.
    df : float
        Degrees of freedom of t.
    df_method : {"kenward_roger", "satterthwaite"}
    null : float
        Value tested against.
    """

    name: str
    estimate: Estimate
    standard_error: float
    df: float
    df_method: DegreesOfFreedom
    null: float = 0.0

    @property
    def t(self) -> float:
        """(estimate - null)/standard error."""
        assert self.estimate.test is not None
        assert self.estimate.test.statistic is not None
        return self.estimate.test.statistic

    @property
    def p(self) -> float:
        """Two-sided p of t."""
        assert self.estimate.test is not None
        return self.estimate.test.p

    def summary(self) -> str:
        """Return the value with unit, interval, t, df, p and n, rounded."""
        interval = self.estimate.interval
        limits = f" ({interval.low:.3g} to {interval.high:.3g})" if interval else ""
        return (
            f"{self.name}: {with_unit(self.estimate.value, self.estimate.unit)}{limits}, t({self.df:.1f}) = "
            f"{self.t:.2f}, p = {self.p:.2g} ({DF_WORDS[self.df_method]}, n = {self.estimate.n_people})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FTest(Result):
    """Test that several weighted sums of fixed terms are all 0.

    Parameters
    ----------
    test : HypothesisTest
        F, scaled under Kenward-Roger; df of numerator and denominator.
    df_method : {"kenward_roger", "satterthwaite"}
    method : str
        Id of the method note.
    n_people, n_values : int
    """

    test: HypothesisTest
    df_method: DegreesOfFreedom
    method: str
    n_people: int
    n_values: int

    @property
    def statistic(self) -> float:
        """F."""
        assert self.test.statistic is not None
        return self.test.statistic

    @property
    def p(self) -> float:
        """Probability of an F at least as large."""
        return self.test.p

    @property
    def df_numerator(self) -> float:
        """Independent rows of the hypothesis."""
        return self.test.df[0]

    @property
    def df_denominator(self) -> float:
        """Degrees of freedom behind the variance."""
        return self.test.df[1]

    def summary(self) -> str:
        """Return F, df, p and n, rounded."""
        return (
            f"F({self.df_numerator:.0f}, {self.df_denominator:.1f}) = {self.statistic:.2f}, p = {self.p:.2g} "
            f"({DF_WORDS[self.df_method]}, n = {self.n_people})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceIntervals(Result):
    """Profile-likelihood intervals of the random parts.

    Parameters
    ----------
    intercept_sd, residual_sd : Estimate
        Between people where the slope's column is 0, and within people; in the outcome's unit.
    slope_sd : Estimate, optional
        Of the people's slopes; None without a slope.
    correlation : Estimate, optional
        Of intercepts and slopes; None without a slope, or where one of them has no variance.
    """

    intercept_sd: Estimate
    slope_sd: Estimate | None
    correlation: Estimate | None
    residual_sd: Estimate

    def summary(self) -> str:
        """Return every part with its interval, rounded."""
        parts = {
            "SD of intercepts": self.intercept_sd,
            "SD of slopes": self.slope_sd,
            "correlation": self.correlation,
            "residual SD": self.residual_sd,
        }
        said = [
            f"{name} {one.value:.3g} ({one.interval.low:.3g} to {with_unit(one.interval.high, one.unit)})"
            for name, one in parts.items()
            if one is not None and one.interval is not None
        ]
        return f"{'; '.join(said)} (n = {self.residual_sd.n_people})"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveOneOut(Result):
    """The model without each participant in turn, variances fitted anew.

    Parameters
    ----------
    people : tuple
        Labels of those without whom the model was fitted.
    names : tuple of str
        Fixed terms.
    coefficients : tuple of tuples of float
        A row for each of `people`, in the terms' units.
    cooks_distance : tuple of float
        Shift of all terms together, by their covariance in the whole fit and divided by their number.
    intercept_sd, residual_sd : tuple of float
        In the outcome's unit.
    lowest, highest : dict of str to Estimate
        Extreme of each term.
    reasons : dict
        Label of a participant without whom the model cannot be estimated, to the reason.
    """

    people: tuple[Hashable, ...]
    names: tuple[str, ...]
    coefficients: tuple[tuple[float, ...], ...]
    cooks_distance: tuple[float, ...]
    intercept_sd: tuple[float, ...]
    residual_sd: tuple[float, ...]
    lowest: Mapping[str, Estimate]
    highest: Mapping[str, Estimate]
    reasons: Mapping[Hashable, str]

    @property
    def most_influential(self) -> Hashable:
        """Label of the participant with the largest Cook's distance."""
        return self.people[self.cooks_distance.index(max(self.cooks_distance))]

    def table(self) -> pd.DataFrame:
        """Return one row for each participant left out."""
        import pandas as pd

        out = pd.DataFrame(list(self.coefficients), columns=list(self.names))
        out.insert(0, "participant", list(self.people))
        return out.assign(
            cooks_distance=self.cooks_distance, intercept_sd=self.intercept_sd, residual_sd=self.residual_sd
        )

    def summary(self) -> str:
        """Return the range of each term and who matters most, rounded."""
        ranges = [
            f"{name} {self.lowest[name].value:.3g} to {with_unit(self.highest[name].value, self.highest[name].unit)}"
            for name in self.names
        ]
        failed = f"; not estimable without {', '.join(map(str, self.reasons))}" if self.reasons else ""
        return (
            f"without each participant in turn: {'; '.join(ranges)}; largest Cook's distance "
            f"{max(self.cooks_distance):.2g} ({self.most_influential}){failed}"
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ModelResiduals(Result):
    """What the model leaves, in the order of the rows given.

    Parameters
    ----------
    fitted : array of shape (n,)
        Fixed terms plus each person's own intercept (and slope).
    residual : array of shape (n,)
        Outcome less fitted.
    standardised : array of shape (n,)
        Outcome less fixed terms, made independent with variance 1 within each person by the Cholesky factor of the
        fitted covariance; the first row of a person carries that person's deviation.
    people : tuple
    intercepts, slopes : tuple of float
        Each person's predicted deviation from the fixed terms, shrunken; slopes are empty without a slope.
    unit : str
        UCUM code of outcome, fitted and residual.
    """

    fitted: Array
    residual: Array
    standardised: Array
    people: tuple[Hashable, ...]
    intercepts: tuple[float, ...]
    slopes: tuple[float, ...]
    unit: str

    def summary(self) -> str:
        """Return the largest residual and how many standardised ones lie beyond 3."""
        far = int((abs(self.standardised) > 3).sum())
        return (
            f"largest residual {with_unit(float(abs(self.residual).max()), self.unit)}; {far} of "
            f"{len(self.standardised)} standardised residuals beyond 3"
        )
