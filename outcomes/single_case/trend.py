"""Two phases of one person with the trend within them: the variants of Tau-U by divisor and correction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.matrices import Vector
from outcomes.result import Estimate, Result
from outcomes.single_case.phases import Better, turned_phases


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseTrend(Result):
    """Result of `phase_trend`; without unit, second phase against first.

    Parameters
    ----------
    tau : Estimate
        A against B: between_phases/(m n); trend is left alone.
    minus_first_over_between : Estimate
        (between_phases - within_first)/(m n): Parker's Tau-U, which can pass 1 and -1.
    minus_first_over_counted : Estimate
        (between_phases - within_first)/(m n + m (m - 1)/2): the same over the pairs that are counted.
    plus_second_over_all : Estimate
        (between_phases + within_second - within_first)/(all pairs of the series).
    between_phases, within_first, within_second : int
        Pairs whose later value is better less those whose later value is worse.
    n_first, n_second : int
        Values of each phase.
    """

    tau: Estimate
    minus_first_over_between: Estimate
    minus_first_over_counted: Estimate
    plus_second_over_all: Estimate
    between_phases: int
    within_first: int
    within_second: int
    n_first: int
    n_second: int

    def summary(self) -> str:
        """Return every variant with its divisor, rounded."""
        parts = {
            "A against B": self.tau,
            "less the trend of A, over the pairs between phases": self.minus_first_over_between,
            "the same over the pairs counted": self.minus_first_over_counted,
            "with the trend of B, over all pairs": self.plus_second_over_all,
        }
        said = "; ".join(f"{name} {one.value:.2f}" for name, one in parts.items())
        return f"Tau {said} ({self.n_first} and {self.n_second} values of one person)"


def phase_trend(baseline: ArrayLike, treatment: ArrayLike, *, better: Better) -> PhaseTrend:
    """Compare two phases of one person with the trend of the first, or of both, taken into account.

    Parameters
    ----------
    baseline, treatment : array of shape (m,), (n,)
        Values of the first and of the second phase in the order of time, in one unit; no missing values.
    better : {"higher", "lower"}
        Which values are the better ones.

    Returns
    -------
    PhaseTrend

    Raises
    ------
    DesignError
        Fewer than two values in a phase, a value that is missing or infinite, or another word for `better`.

    Notes
    -----
    Each S counts pairs (earlier, later): +1 if the later value is better, -1 if worse, 0 if the same. "Tau-U" is
    printed of at least three divisors, which give different numbers of the same data, so each has a name here: say
    which. No interval: the standard errors in use take the values as independent and the trend as known.

    References
    ----------
    Parker, Vannest, Davis & Sauber (2011) Behav Ther 42:284-299. The divisor of counted pairs: common practice, no
    source.

    Examples
    --------
    >>> found = phase_trend([2, 3, 5, 3], [4, 5, 5, 7, 6], better="higher")
    >>> found.between_phases, found.within_first, found.within_second
    (16, 3, 7)
    >>> found.minus_first_over_between.value, found.minus_first_over_counted.value
    (0.65, 0.5)
    """
    a, b = turned_phases(baseline, treatment, better)
    m, n = len(a), len(b)
    between = int(np.sign(b[None, :] - a[:, None]).sum())
    first, second = _trend(a), _trend(b)

    def estimate(count: int, pairs: int, method: str) -> Estimate:
        return Estimate(
            value=count / pairs, unit="1", method=method, n_people=1, n_values=m + n,
            source="Parker et al. (2011) Behav Ther 42:284",
        )  # fmt: skip

    return PhaseTrend(
        tau=estimate(between, m * n, "phase_tau"),
        minus_first_over_between=estimate(between - first, m * n, "tau_u_parker"),
        minus_first_over_counted=estimate(between - first, m * n + m * (m - 1) // 2, "tau_u_pairs"),
        plus_second_over_all=estimate(between + second - first, (m + n) * (m + n - 1) // 2, "tau_u_whole"),
        between_phases=between, within_first=first, within_second=second, n_first=m, n_second=n,
    )  # fmt: skip


def _trend(values: Vector) -> int:
    """Return the pairs that rise less those that fall."""
    return int(np.triu(np.sign(values[None, :] - values[:, None]), 1).sum())
