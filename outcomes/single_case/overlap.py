"""How far the values of two phases of one person overlap: all pairs, and the values beyond the best of the first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from outcomes.intervals import check_level, pairs_interval
from outcomes.result import Estimate, Interval, Result
from outcomes.single_case.phases import Better, turned_phases


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseOverlap(Result):
    """Result of `phase_overlap`; without unit, second phase against first.

    Parameters
    ----------
    nap : Estimate
        Non-overlap of all pairs, from 0 to 1; a half where the phases are alike.
    tau : Estimate
        2 nap - 1.
    pnd : Estimate
        Share of the values of the second phase that are better than the best of the first.
    n_first, n_second : int
        Values of each phase.
    """

    nap: Estimate
    tau: Estimate
    pnd: Estimate
    n_first: int
    n_second: int

    def summary(self) -> str:
        """Return the non-overlap of all pairs with its interval and the share beyond the best, rounded."""
        ends = self.nap.interval
        assert ends is not None
        return (
            f"non-overlap of all pairs {self.nap.value:.2f} ({ends.low:.2f} to {ends.high:.2f}), beyond the best of "
            f"the first phase {self.pnd.value:.2f} ({self.n_first} and {self.n_second} values of one person)"
        )


def phase_overlap(baseline: ArrayLike, treatment: ArrayLike, *, better: Better, level: float = 0.95) -> PhaseOverlap:
    """Compare the values of two phases of one person by their overlap.

    Parameters
    ----------
    baseline, treatment : array of shape (m,), (n,)
        Values of the first and of the second phase, in one unit; no missing values. Their order does not matter.
    better : {"higher", "lower"}
        Which values are the better ones.
    level : float
        Nominal coverage.

    Returns
    -------
    PhaseOverlap

    Raises
    ------
    DesignError
        Fewer than two values in a phase, a value that is missing or infinite, or another word for `better`.

    Notes
    -----
    NAP = (pairs in which the second phase is better + half of the ties)/(m n); Tau = 2 NAP - 1; PND = values of the
    second phase better than every value of the first, over n. The interval of NAP is method 5 of Newcombe (2006), that
    of Tau follows from it; both take the values as independent. Neither says that the phase caused the difference, nor
    allows for a trend that began before it (see `phase_trend`).

    References
    ----------
    Parker & Vannest (2009) Behav Ther 40:357-367; Scruggs, Mastropieri & Casto (1987) Remedial Spec Educ 8(2):24-33;
    Newcombe (2006) Stat Med 25:559-573.

    Examples
    --------
    >>> found = phase_overlap([20, 20, 26, 25, 22, 23], [28, 25, 24, 27, 30, 30, 29], better="higher")
    >>> round(found.nap.value, 4), round(found.tau.value, 4), round(found.pnd.value, 4)
    (0.9167, 0.8333, 0.7143)
    """
    check_level(level)
    a, b = turned_phases(baseline, treatment, better)
    share = float((np.sign(b[:, None] - a[None, :]) + 1).sum()) / (2 * len(a) * len(b))
    ends = pairs_interval(share, len(a), len(b), level=level)
    tau = Interval(2 * ends.low - 1, 2 * ends.high - 1, level, ends.method)

    def estimate(value: float, method: str, source: str, interval: Interval | None = None) -> Estimate:
        return Estimate(
            value=value, unit="1", method=method, n_people=1, n_values=len(a) + len(b), interval=interval,
            source=source, caveats=("values_follow",) if interval is not None else (),
        )  # fmt: skip

    return PhaseOverlap(
        nap=estimate(share, "nap", "Parker & Vannest (2009) Behav Ther 40:357", ends),
        tau=estimate(2 * share - 1, "phase_tau", "Parker et al. (2011) Behav Ther 42:284", tau),
        pnd=estimate(float((b > a.max()).mean()), "pnd", "Scruggs et al. (1987) Remedial Spec Educ 8(2):24"),
        n_first=len(a),
        n_second=len(b),
    )
