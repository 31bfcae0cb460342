"""The linear mixed model with one grouping factor, the participant."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level
from outcomes.models.criteria import InformationCriteria, information_criteria
from outcomes.models.design import checked_columns, prepare
from outcomes.models.fit import Fit, fit, line_parts
from outcomes.models.inference import Inference, infer
from outcomes.models.influence import cooks_distance, left_out, residuals
from outcomes.models.likelihood import Array
from outcomes.models.profiles import Part, profile_limits
from outcomes.models.results import (
    Contrast,
    DegreesOfFreedom,
    FTest,
    LeaveOneOut,
    ModelResiduals,
    VarianceIntervals,
    with_unit,
)
from outcomes.result import Estimate, Interval, Result

_LIKELIHOOD = "Bates et al (2015) J Stat Softw 67(1)"


@dataclass(frozen=True, slots=True, kw_only=True)
class MixedModel(Result):
    """Result of `mixed_model`.

    Parameters
    ----------
    fixed_effects : tuple of Contrast
        The fixed terms, in the order given.
    intercept_sd, residual_sd : Estimate
        Standard deviation between people (where the slope's column is 0) and within people, in the outcome's unit.
    slope_sd : Estimate, optional
        Of the people's slopes; None without a slope.
    correlation : Estimate, optional
        Of intercepts and slopes; None without a slope, or where one of them has no variance.
    deviance : float
        -2 log likelihood; of the restricted likelihood under REML.
    method : {"REML", "ML"}
    boundary : str
        What it means that a variance was estimated to be 0, in words; empty where none was.
    n_people, n_values : int
    unit : str
        Of the outcome.
    units : tuple of str
        Of the fixed terms' coefficients.
    df : {"kenward_roger", "satterthwaite"}
        How the degrees of freedom of the terms were found.
    level : float
        Nominal coverage of intervals.
    """

    fixed_effects: tuple[Contrast, ...]
    intercept_sd: Estimate
    slope_sd: Estimate | None
    correlation: Estimate | None
    residual_sd: Estimate
    deviance: float
    method: str
    boundary: str
    n_people: int
    n_values: int
    unit: str
    units: tuple[str, ...]
    df: DegreesOfFreedom
    level: float
    _inference: Inference = field(repr=False, compare=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Fixed terms, in the order given."""
        return self._inference.fit.design.columns.names

    def fixed_effect(self, name: str) -> Contrast:
        """Return one fixed term.

        Parameters
        ----------
        name : str

        Returns
        -------
        Contrast

        Raises
        ------
        DesignError
            There is no such term.
        """
        return self.fixed_effects[_place(self.names, name)]

    def contrast(
        self,
        weights: Mapping[str, float] | ArrayLike,
        *,
        name: str = "contrast",
        unit: str | None = None,
        null: float = 0.0,
        df: DegreesOfFreedom | None = None,
    ) -> Contrast:
        """Weighted sum of fixed terms, with interval and test.

        Parameters
        ----------
        weights : mapping of term to weight, or array of shape (p,)
            Terms that are not named have weight 0.
        name : str
            What the sum is, for its sentence.
        unit : str, optional
            UCUM code of the sum; needed where the weighted terms have different units.
        null : float
            Value to test against.
        df : {"kenward_roger", "satterthwaite"}, optional
            That of the model by default.

        Returns
        -------
        Contrast

        Raises
        ------
        DesignError
            All weights are 0, a term does not exist, or the unit is not told.
        """
        row = _weights(weights, self.names)
        units = {unit for unit, weight in zip(self.units, row, strict=True) if weight}
        if unit is None and len(units) > 1:
            raise DesignError(
                f"the weighted terms have different units ({', '.join(sorted(units))}); say that of the sum"
            )
        return self._inference.contrast(row, name, unit or units.pop(), null, df or self.df, self.level)

    def f_test(self, rows: Sequence[str] | ArrayLike, *, df: DegreesOfFreedom | None = None) -> FTest:
        """Test that several fixed terms, or weighted sums of them, are all 0.

        Parameters
        ----------
        rows : sequence of terms, or array of shape (q, p)
            Each row of the array holds the weights of one sum.
        df : {"kenward_roger", "satterthwaite"}, optional
            That of the model by default.

        Returns
        -------
        FTest

        Raises
        ------
        DesignError
            A row follows from the others, a term does not exist, or the approximation has no degrees of freedom.
        """
        words = [rows] if isinstance(rows, str) else list(np.asarray(rows, dtype=object))
        if words and all(isinstance(word, str) for word in words):
            matrix = np.eye(len(self.names))[[_place(self.names, str(word)) for word in words]]
        else:
            matrix = np.array([_weights(row, self.names) for row in np.atleast_2d(np.asarray(rows, dtype=float))])
        if not len(matrix) or np.linalg.matrix_rank(matrix) < len(matrix):
            raise DesignError("a row of the hypothesis follows from the others; leave it out")
        return self._inference.f_test(matrix, df or self.df)

    def variance_intervals(self, *, level: float | None = None) -> VarianceIntervals:
        """Profile-likelihood intervals of the random parts.

        Parameters
        ----------
        level : float, optional
            Nominal coverage; that of the model by default.

        Returns
        -------
        VarianceIntervals
            From the likelihood that the model was fitted by: restricted under REML.

        Notes
        -----
        All values whose profiled deviance exceeds the smallest by at most the chi-square quantile with 1 degree of
        freedom.
        """
        from outcomes.intervals.quantiles import chi_square_quantile

        wanted = check_level(self.level if level is None else level)
        rise = chi_square_quantile(wanted, 1)
        kind = self.method.lower()

        def bounded(estimate: Estimate | None, part: Part) -> Estimate | None:
            if estimate is None:
                return None
            found = profile_limits(self._inference.fit, part, rise)
            return replace(
                estimate,
                interval=Interval(found.low, found.high, wanted, "profile likelihood"),
                method=f"mixed_sd_profile_{kind}",
                caveats=estimate.caveats + (("profile_open",) if found.open_end else ()),
            )

        intercept, residual = bounded(self.intercept_sd, "intercept_sd"), bounded(self.residual_sd, "residual_sd")
        assert intercept is not None
        assert residual is not None
        return VarianceIntervals(
            intercept_sd=intercept,
            slope_sd=bounded(self.slope_sd, "slope_sd"),
            correlation=bounded(self.correlation, "correlation"),
            residual_sd=residual,
        )

    def information_criteria(self) -> InformationCriteria:
        """AIC, BIC and AICc of the maximum-likelihood fit; a REML model is fitted anew by ML for them.

        Returns
        -------
        InformationCriteria

        Notes
        -----
        See `outcomes.models.information_criteria`; k counts the fixed terms, the elements of the covariance between
        people and the residual variance, n the values.
        """
        deviance = self.deviance
        if self.method == "REML":
            found = self._inference.fit
            deviance = fit(found.design, restricted=False, start=found.optimum.covariance).deviance
        n, q = self.n_values, 1 if self.slope_sd is None else 2
        k = len(self.names) + q * (q + 1) // 2 + 1
        return information_criteria(
            -deviance / 2,
            n_parameters=k,
            n_values=n,
            n_people=self.n_people,
            method="mixed_information",
            caveats=self._inference.caveats,
        )

    def leave_one_out(self) -> LeaveOneOut:
        """The model without each participant in turn, variances fitted anew.

        Returns
        -------
        LeaveOneOut

        Raises
        ------
        DesignError
            The model cannot be estimated without any of them.
        """
        whole = self._inference.fit
        fits, reasons = left_out(whole)
        if not fits:
            raise DesignError(f"without one participant the model is not estimable: {next(iter(reasons.values()))}")
        rows = np.array([one.coefficients for one in fits.values()])

        def extremes(values: Array) -> dict[str, Estimate]:
            return {
                name: self._inference.estimate(float(value), unit, "mixed_leave_one_out", _LIKELIHOOD)
                for name, unit, value in zip(self.names, self.units, values, strict=True)
            }

        return LeaveOneOut(
            people=tuple(fits),
            names=self.names,
            coefficients=tuple(tuple(row) for row in rows.tolist()),
            cooks_distance=tuple(cooks_distance(whole, one) for one in fits.values()),
            intercept_sd=tuple(line_parts(one.line_covariance)[0] for one in fits.values()),
            residual_sd=tuple(one.residual_sd for one in fits.values()),
            lowest=extremes(rows.min(axis=0)),
            highest=extremes(rows.max(axis=0)),
            reasons=reasons,
        )

    def residuals(self) -> ModelResiduals:
        """Fitted values, residuals and each person's predicted deviation.

        Returns
        -------
        ModelResiduals
        """
        return residuals(self._inference.fit, self.unit)

    def summary(self) -> str:
        """Return the random parts and every term, rounded, with n and method."""
        slope = f", of slopes {with_unit(self.slope_sd.value, self.slope_sd.unit)}" if self.slope_sd else ""
        terms = "; ".join(term.summary() for term in self.fixed_effects)
        said = f" {self.boundary}" if self.boundary else ""
        return (
            f"Mixed model ({self.method}, {self.n_people} people, {self.n_values} values): SD between people "
            f"{with_unit(self.intercept_sd.value, self.unit)}{slope}, within "
            f"{with_unit(self.residual_sd.value, self.unit)}.{said} {terms}."
        )


def mixed_model(
    outcome: ArrayLike,
    fixed: ArrayLike,
    group: Any,
    *,
    slope: ArrayLike | str | None = None,
    names: Sequence[str],
    unit: str,
    term_units: Sequence[str] | None = None,
    slope_unit: str = "1",
    method: Literal["REML", "ML"] = "REML",
    df: DegreesOfFreedom | None = None,
    level: float = 0.95,
) -> MixedModel:
    """Linear mixed model with a random intercept, or intercept and slope, of each participant.

    Parameters
    ----------
    outcome : array of shape (n_values,)
        In `unit`; no missing values.
    fixed : array of shape (n_values, n_terms)
        The fixed terms, a column each; an intercept is a column of ones and is not added. No missing values.
    group : sequence of n_values labels
        The participant of each value.
    slope : array of shape (n_values,), or the name of a fixed column, optional
        The column whose slope differs between people (it should stand among the fixed terms, too).
    names : sequence of n_terms words
        Names of the fixed terms.
    unit : str
        UCUM code of the outcome.
    term_units : sequence of n_terms words, optional
        UCUM codes of the fixed columns; without unit by default.
    slope_unit : str
        UCUM code of `slope` where it is an array.
    method : {"REML", "ML"}
        Restricted or plain maximum likelihood.
    df : {"kenward_roger", "satterthwaite"}, optional
        Degrees of freedom (and standard errors) of the terms; by default Kenward-Roger under REML, Satterthwaite under
        ML.
    level : float
        Nominal coverage of the intervals.

    Returns
    -------
    MixedModel
        A variance of 0 is a result: `boundary` says what it means.

    Raises
    ------
    DesignError
        Terms that follow from each other, too few people or values per person, a slope's column that does not change
        within people, an outcome without variation, or a missing value; the reason says what would make it estimable.

    Notes
    -----
    y = Xβ + Zu + e, u ~ N(0, σ²G) for each participant, e ~ N(0, σ²). The deviance, β and σ² profiled out, is minimised
    over all positive semidefinite G by Newton steps with the exact Hessian from the low points of a grid, so that the
    optimum is exact; optimisers that stop at a tolerance print slightly other variances. Limbs of one person are not
    people: give the limb a fixed term. Not for ordinal grades. In 2,000 invented trials each of 8, 12, 24 and 60 people
    neither way found more than 5.5 in 100 false; with 8 people whose slopes do not differ it was 1 to 3 in 100, as a
    variance that is 0 is known only to be small.

    References
    ----------
    Laird & Ware (1982) Biometrics 38:963-974; Bates et al (2015) J Stat Softw 67(1); Kenward & Roger (1997) Biometrics
    53:983-997.

    Examples
    --------
    Yield of dyestuff from six batches, five samples each (Davies & Goldsmith 1972):

    >>> y = [1545, 1440, 1440, 1520, 1580, 1540, 1555, 1490, 1560, 1495, 1595, 1550, 1605, 1510, 1560, 1445, 1440, 1595,
    ...      1465, 1545, 1595, 1630, 1515, 1635, 1625, 1520, 1455, 1450, 1480, 1445]
    >>> batch = [b for b in "ABCDEF" for _ in range(5)]
    >>> found = mixed_model(y, [1.0] * 30, batch, names=["mean"], unit="g")
    >>> round(found.intercept_sd.value, 4), round(found.residual_sd.value, 4), round(found.deviance, 4)
    (42.0006, 49.5101, 319.6543)
    >>> found.fixed_effects[0].summary()
    'mean: 1.53e+03 g (1.48e+03 to 1.58e+03), t(5.0) = 78.80, p = 6.2e-09 (Kenward-Roger, n = 6)'
    """
    if method not in ("REML", "ML"):
        raise DesignError(f"method '{method}' is neither 'REML' nor 'ML'")
    check_level(level)
    columns = checked_columns(outcome, fixed, group, slope, names)
    inputs = tuple(term_units) if term_units is not None else ("1",) * len(columns.names)
    if len(inputs) != len(columns.names):
        raise DesignError(f"{len(inputs)} units for {len(columns.names)} fixed terms; one each is needed")
    inference = infer(fit(prepare(columns), restricted=method == "REML"))
    per = inputs[columns.names.index(slope)] if isinstance(slope, str) else slope_unit
    chosen: DegreesOfFreedom = df or ("kenward_roger" if method == "REML" else "satterthwaite")
    units = tuple(_per(unit, one) for one in inputs)
    return _model(inference, chosen, level, unit, units, _per(unit, per))


def _model(
    inference: Inference, df: DegreesOfFreedom, level: float, unit: str, units: tuple[str, ...], slope_unit: str
) -> MixedModel:
    """Return the result of a fit: every term, the random parts, and what they are in words."""
    found = inference.fit
    names, method = found.design.columns.names, "REML" if found.likelihood.restricted else "ML"
    sd, slope_sd, r = line_parts(found.line_covariance)

    def part(value: float, of: str) -> Estimate:
        return inference.estimate(float(value), of, f"mixed_sd_{method.lower()}", _LIKELIHOOD)

    return MixedModel(
        fixed_effects=tuple(
            inference.contrast(row, name, of, 0.0, df, level)
            for row, name, of in zip(np.eye(len(units)), names, units, strict=True)
        ),
        intercept_sd=part(sd, unit),
        slope_sd=None if slope_sd is None else part(slope_sd, slope_unit),
        correlation=None if r is None else part(r, "1"),
        residual_sd=part(found.residual_sd, unit),
        deviance=float(found.deviance),
        method=method,
        boundary=_boundary(found),
        n_people=len(found.design.columns.people),
        n_values=len(found.design.columns.outcome),
        unit=unit,
        units=units,
        df=df,
        level=level,
        _inference=inference,
    )


def _boundary(found: Fit) -> str:
    """Return what a variance of 0 means, in words."""
    if found.optimum.rank == 0:
        return (
            "The variance between people is estimated as 0: people differ by no more than the variation within them "
            "explains."
        )
    if found.optimum.rank < found.design.blocks.size:
        return (
            "Intercepts and slopes of people are estimated to lie on one line, so two separate differences between "
            "people are not seen in these data."
        )
    return ""


def _per(unit: str, of: str) -> str:
    """Return the unit of a coefficient: that of the outcome per that of the column."""
    if of == "1":
        return unit
    return f"{unit}/({of})" if "/" in of or "." in of else f"{unit}/{of}"


def _place(names: tuple[str, ...], name: str) -> int:
    if name not in names:
        raise DesignError(f"there is no fixed term '{name}'; there are {', '.join(names)}")
    return names.index(name)


def _weights(weights: Mapping[str, float] | ArrayLike, names: tuple[str, ...]) -> Array:
    if isinstance(weights, Mapping):
        row = np.zeros(len(names))
        for name, weight in weights.items():
            row[_place(names, name)] = weight
    else:
        row = np.asarray(weights, dtype=float)
    if row.shape != (len(names),):
        raise DesignError(f"{row.size} weights for {len(names)} fixed terms; one each is needed")
    if not np.isfinite(row).all() or not row.any():
        raise DesignError("the weights of a contrast must be numbers, not all 0")
    return row
