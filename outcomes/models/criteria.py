"""Information criteria: one definition for mixed models, models of groups and curves."""

from __future__ import annotations

import math
from dataclasses import dataclass

from outcomes.errors import DesignError
from outcomes.result import Estimate, Result

_SOURCES = {
    "aic": "Akaike (1974) IEEE Trans Autom Control 19:716-723",
    "aicc": "Hurvich & Tsai (1989) Biometrika 76:297-307",
    "bic": "Schwarz (1978) Ann Stat 6:461-464",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class InformationCriteria(Result):
    """Information criteria of a maximum-likelihood fit.

    Parameters
    ----------
    aic, bic : Estimate
    aicc : Estimate, optional
        None where there are too few values for it.
    log_likelihood : float
        Its maximum.
    n_parameters : int
        Coefficients, parts of the variance between people and the residual variance.
    """

    aic: Estimate
    bic: Estimate
    aicc: Estimate | None
    log_likelihood: float
    n_parameters: int

    def summary(self) -> str:
        """Return the criteria, rounded, with what they count."""
        corrected = f", AICc {self.aicc.value:.1f}" if self.aicc else ""
        return (
            f"AIC {self.aic.value:.1f}{corrected}, BIC {self.bic.value:.1f} (maximum likelihood, {self.n_parameters} "
            f"parameters, {self.aic.n_values} values of {self.aic.n_people} people)"
        )


def information_criteria(
    log_likelihood: float,
    *,
    n_parameters: int,
    n_values: int,
    n_people: int,
    method: str,
    caveats: tuple[str, ...] = (),
) -> InformationCriteria:
    """AIC, its small-sample correction AICc, and BIC of a maximum-likelihood fit.

    Parameters
    ----------
    log_likelihood : float
        Its maximum, with every constant of the density.
    n_parameters : int
        All that was estimated, variances included: of a regression also the residual variance.
    n_values, n_people : int
        Values behind the fit, and people they are of.
    method : str
        Id of the method note.
    caveats : tuple of str

    Returns
    -------
    InformationCriteria
        Without unit; compare fits of the same values only.

    Raises
    ------
    DesignError
        A likelihood that is not finite, no parameter, or no value.

    Notes
    -----
    With D = -2 log likelihood, k parameters and n values: AIC = D + 2k; AICc = AIC + 2k(k + 1)/(n - k - 1), defined
    from n = k + 2 on; BIC = D + k log n. Programs that do not count the residual variance print an AIC of a regression
    that is lower by 2.

    References
    ----------
    Akaike (1974) IEEE Trans Autom Control 19:716-723; Hurvich & Tsai (1989) Biometrika 76:297-307; Schwarz (1978) Ann
    Stat 6:461-464.

    Examples
    --------
    >>> found = information_criteria(-20.0, n_parameters=3, n_values=10, n_people=10, method="ancova_information")
    >>> found.aic.value, found.aicc.value, round(found.bic.value, 4)
    (46.0, 50.0, 46.9078)
    """
    if not math.isfinite(log_likelihood):
        raise DesignError("the likelihood is not finite, so no criterion can be formed of it")
    if n_parameters < 1 or n_values < 1:
        raise DesignError(f"{n_parameters} parameters and {n_values} values: a criterion needs one of each")
    k, n = n_parameters, n_values
    aic = 2 * k - 2 * log_likelihood

    def criterion(value: float, name: str) -> Estimate:
        return Estimate(
            value=value, unit="1", method=method, n_people=n_people, n_values=n, source=_SOURCES[name], caveats=caveats
        )

    return InformationCriteria(
        aic=criterion(aic, "aic"),
        bic=criterion(aic + k * (math.log(n) - 2), "bic"),
        aicc=criterion(aic + 2 * k * (k + 1) / (n - k - 1), "aicc") if n > k + 1 else None,
        log_likelihood=log_likelihood,
        n_parameters=k,
    )


def least_squares_log_likelihood(squares: float, n_values: int) -> float:
    """Return the largest log likelihood of independent normal values with one variance.

    Parameters
    ----------
    squares : float
        Sum of squares about the model, in the square of the values' unit; above 0.
    n_values : int

    Returns
    -------
    float
        -n/2 (log(2π squares/n) + 1).

    Raises
    ------
    DesignError
        No values, or no spread about the model: its likelihood has no bound.

    Examples
    --------
    >>> round(least_squares_log_likelihood(10.0, 10), 4)
    -14.1894
    """
    if n_values < 1 or not squares > 0:
        raise DesignError("without spread about the model its likelihood has no bound")
    return -n_values / 2 * (math.log(2 * math.pi * squares / n_values) + 1)
