"""Whether dose predicts the change of a person who was left out, beside what the mean alone predicts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.dose_response.between import FEWEST, checked_columns
from outcomes.dose_response.linear import covariate_basis, rest
from outcomes.errors import DesignError
from outcomes.result import Estimate, Result

_SOURCE = "Stone (1974) J R Stat Soc B 36:111"


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction(Result):
    """Result of `left_out_prediction`; errors in the outcome's unit.

    Parameters
    ----------
    mean_error : Estimate
        Root mean square error when each person is predicted by the mean of the others.
    baseline_error : Estimate
        By the first value, learned from the others.
    dose_error : Estimate
        By first value and dose, learned from the others.
    gain : Estimate
        1 - squared error by first value and dose / squared error by the mean; 0 or less: dose predicts no better.
    gain_of_dose : Estimate
        The same against the first value alone.
    n_people : int
    reasons : dict of str to str
    """

    mean_error: Estimate
    baseline_error: Estimate
    dose_error: Estimate
    gain: Estimate
    gain_of_dose: Estimate
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the errors and what follows, rounded."""
        better = "better" if self.gain.value > 0 else "no better"  # type: ignore[operator]
        return (
            f"a person left out is predicted to within {self.dose_error.value:.3g} {self.dose_error.unit} (root mean "
            f"square) by first value and dose, {self.baseline_error.value:.3g} by the first value, "
            f"{self.mean_error.value:.3g} by the mean of the others: {better} than the mean (n = {self.n_people})"
        )


def left_out_prediction(
    dose: ArrayLike,
    change: ArrayLike,
    baseline: ArrayLike,
    *,
    outcome_unit: str,
    covariates: ArrayLike | None = None,
    min_people: int = FEWEST,
) -> Prediction:
    """Predict each participant's change from the others: by their mean, by the first value, and by dose besides.

    Parameters
    ----------
    dose, change, baseline : array of shape (n_participants,)
        As for `between_person_association`.
    outcome_unit : str
        UCUM code of change.
    covariates : array of shape (n_participants, k), optional
        Besides the first value, such as the group.
    min_people : int
        Fewer people than this are described only.

    Returns
    -------
    Prediction

    Raises
    ------
    DesignError
        As `between_person_association`.

    Notes
    -----
    Least squares without one participant, then the prediction of that participant; errors are pooled over all.

    References
    ----------
    Stone (1974) J R Stat Soc B 36:111-147; Allen (1974) Technometrics 16:125-127.

    Examples
    --------
    >>> dose, first = np.arange(12.0), np.array([5, 3, 6, 4, 5, 7, 4, 6, 5, 3, 4, 6.0])
    >>> found = left_out_prediction(dose, 0.5 * dose + np.array([0.1, -0.1] * 6), first, outcome_unit="cm")
    >>> round(found.gain.value, 3)
    0.995
    """
    d, c, held = checked_columns(dose, change, baseline, covariates, min_people)
    n = len(d)
    first = held[:, :1]
    errors = {
        "mean": _error(np.zeros((n, 0)), c),
        "baseline": _error(first, c),
        "dose": _error(np.column_stack([held, d]), c),
    }

    def number(value: float, unit: str, method: str) -> Estimate:
        return Estimate(
            value=value, unit=unit, method=method, n_people=n, n_values=n, source=_SOURCE, caveats=("association",)
        )

    def gain(worse: str) -> Estimate:
        return number(1 - errors["dose"] / errors[worse], "1", "dose_prediction_gain")

    roots = {name: number(math.sqrt(e / n), outcome_unit, "dose_prediction_error") for name, e in errors.items()}
    return Prediction(
        mean_error=roots["mean"],
        baseline_error=roots["baseline"],
        dose_error=roots["dose"],
        gain=gain("mean"),
        gain_of_dose=gain("baseline"),
        n_people=n,
    )


def _error(columns: NDArray[np.float64], change: NDArray[np.float64]) -> float:
    """Return the sum of squared errors when each person is predicted by least squares of the others.

    The error of a person left out is the residual over 1 - leverage (Allen 1974, Technometrics 16:125).
    """
    basis = covariate_basis(len(change), columns)
    left = rest(change, basis)
    room = 1 - np.sum(basis**2, axis=1)
    if float(room.min()) <= 1e-9:
        raise DesignError("without one of the people the prediction cannot be learned from the others")
    return float(np.sum((left / room) ** 2))
