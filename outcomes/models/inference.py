"""Tests and intervals of the fixed terms of a fitted mixed model."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from outcomes.errors import DesignError
from outcomes.intervals import possible_p, t_quantile, t_two_sided
from outcomes.models.fit import Fit
from outcomes.models.likelihood import Array
from outcomes.models.results import Contrast, DegreesOfFreedom, FTest
from outcomes.models.small_sample import (
    Adjustment,
    Gradients,
    kenward_roger,
    kenward_roger_df,
    satterthwaite,
    satterthwaite_df,
    satterthwaite_f,
)
from outcomes.result import Estimate, HypothesisTest, Interval

_FEW_PEOPLE = 6
_SOURCES = {
    "kenward_roger": "Kenward & Roger (1997) Biometrics 53:983-997",
    "satterthwaite": "Kuznetsova, Brockhoff & Christensen (2017) J Stat Softw 82(13)",
}


@dataclass(frozen=True, slots=True, eq=False)
class Inference:
    """The fit with what tests of its terms need.

    Parameters
    ----------
    fit : Fit
    adjustment : Adjustment, optional
        For Kenward-Roger; None under ML.
    gradients : Gradients
        For Satterthwaite.
    caveats : tuple of str
        Ids of the caveats of every number of the model.
    """

    fit: Fit
    adjustment: Adjustment | None
    gradients: Gradients
    caveats: tuple[str, ...]

    def estimate(self, value: float, unit: str, method: str, source: str) -> Estimate:
        """Return a number of the model with its counts and caveats."""
        columns = self.fit.design.columns
        return Estimate(
            value=value,
            unit=unit,
            method=method,
            n_people=len(columns.people),
            n_values=len(columns.outcome),
            source=source,
            caveats=self.caveats,
        )

    def _adjusted(self, df: DegreesOfFreedom) -> Adjustment | None:
        """Return what Kenward-Roger needs, None for Satterthwaite."""
        if df not in _SOURCES:
            raise DesignError(f"degrees of freedom '{df}' are neither 'kenward_roger' nor 'satterthwaite'")
        if df == "satterthwaite":
            return None
        if self.adjustment is None:
            raise DesignError("Kenward-Roger is defined for REML only; fit by REML or take Satterthwaite")
        return self.adjustment

    def contrast(
        self, weights: Array, name: str, unit: str, null: float, df: DegreesOfFreedom, level: float
    ) -> Contrast:
        """Return a weighted sum of the fixed terms, with interval and test."""
        row = weights @ self.fit.design.to_terms
        adjusted = self._adjusted(df)
        if adjusted is None:
            spread, freedom = row @ self.gradients.covariance @ row, satterthwaite_df(self.gradients, row)
        else:
            spread, freedom = row @ adjusted.adjusted @ row, kenward_roger_df(adjusted, row[None])[0]
        error = float(np.sqrt(spread * self.fit.variance))
        value = float(weights @ self.fit.coefficients)
        t, half = (value - null) / error, t_quantile((1 + level) / 2, freedom) * error
        estimate = replace(
            self.estimate(value, unit, f"mixed_term_{df}", _SOURCES[df]),
            interval=Interval(value - half, value + half, level, f"Student t, {df.replace('_', '-')}"),
            test=HypothesisTest(name="t", p=possible_p(t_two_sided(t, freedom)), statistic=t, df=(freedom,)),
        )
        return Contrast(name=name, estimate=estimate, standard_error=error, df=freedom, df_method=df, null=null)

    def f_test(self, matrix: Array, df: DegreesOfFreedom) -> FTest:
        """Return the test that all rows of weights give 0."""
        from scipy.special import fdtrc

        rows = matrix @ self.fit.design.to_terms
        values = matrix @ self.fit.coefficients / np.sqrt(self.fit.variance)
        adjusted = self._adjusted(df)
        if adjusted is None:
            statistic, freedom = satterthwaite_f(self.gradients, rows, values)
        else:
            freedom, scaling = kenward_roger_df(adjusted, rows)
            wald = values @ np.linalg.solve(rows @ adjusted.adjusted @ rows.T, values)
            statistic = scaling * float(wald) / len(rows)
        columns = self.fit.design.columns
        p = possible_p(float(fdtrc(len(rows), freedom, statistic)))
        return FTest(
            test=HypothesisTest(name="F", p=p, statistic=statistic, df=(float(len(rows)), freedom)),
            df_method=df,
            method=f"mixed_f_{df}",
            n_people=len(columns.people),
            n_values=len(columns.outcome),
        )


def infer(found: Fit) -> Inference:
    """Return a fit with what tests of its terms need.

    Parameters
    ----------
    found : Fit

    Returns
    -------
    Inference
    """
    caveats: tuple[str, ...] = ("few_people",) if len(found.design.columns.people) < _FEW_PEOPLE else ()
    if found.optimum.rank == 0:
        caveats += ("no_difference_between_people",)
    elif found.optimum.rank < found.design.blocks.size:
        caveats += ("one_line_between_people",)
    adjustment = None
    if found.likelihood.restricted:
        adjustment = kenward_roger(found.design.blocks, found.optimum.covariance)
    return Inference(found, adjustment, satterthwaite(found.likelihood, found.optimum), caveats)
