"""Repeated-measures correlation: whether two quantities move together within people; the one caller of pingouin."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import correlation_interval
from outcomes.matrices import all_equal, finite_vector
from outcomes.result import Estimate, HypothesisTest, Result

if TYPE_CHECKING:
    import pandas as pd

_SOURCE = "Bland & Altman (1995) BMJ 310:446; Bakdash & Marusich (2017) Front Psychol 8:456"


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatedMeasuresCorrelation(Result):
    """Result of `repeated_measures_correlation`; the correlation is without unit.

    Parameters
    ----------
    correlation : Estimate
        Common correlation within people, with interval and test.
    slope : float
        Common slope of y on x within people, in units of y per unit of x.
    df : int
        Error degrees of freedom: values less people less 1.
    n_people, n_values : int
        People with at least two values, and their values.
    """

    correlation: Estimate
    slope: float
    df: int
    n_people: int
    n_values: int

    def summary(self) -> str:
        """Return the correlation with interval, p and n, rounded."""
        interval, test = self.correlation.interval, self.correlation.test
        limits = f" ({interval.low:.2f} to {interval.high:.2f})" if interval else ""
        p = f", p = {test.p:.2g}" if test else ""
        return (
            f"within people r = {self.correlation.value:.2f}{limits}{p} ({self.n_people} people, {self.n_values} "
            "values); an association"
        )


def repeated_measures_correlation(
    person: ArrayLike, x: ArrayLike, y: ArrayLike, *, level: float = 0.95
) -> RepeatedMeasuresCorrelation:
    """Correlation of two quantities within people, differences between people removed.

    Parameters
    ----------
    person : array of shape (n_values,)
        Participant of each row.
    x, y : array of shape (n_values,)
        In any unit; no missing values.
    level : float
        Nominal coverage of the interval.

    Returns
    -------
    RepeatedMeasuresCorrelation
        Between -1 and 1. People with one value are left out: nothing moves within them.

    Raises
    ------
    DesignError
        Fewer than 3 people with two values or more, different lengths, or a quantity that changes within nobody.

    Notes
    -----
    sign(b)·√(SS_x / (SS_x + SS_error)) of the analysis of covariance of y on x with a level for each person. Time is
    not held: of two quantities that both rise, such as a cumulative dose and an outcome, it says no more than that.

    References
    ----------
    Bland & Altman (1995) BMJ 310:446; Bakdash & Marusich (2017) Front Psychol 8:456.

    Examples
    --------
    >>> found = repeated_measures_correlation(list("aaabbbccc"), [1, 2, 3] * 3, [1, 2, 4, 2, 3, 3, 0, 2, 3])
    >>> round(found.correlation.value, 3), found.df
    (0.904, 5)
    """
    people = np.asarray(person)
    a, b = finite_vector(x, name="first quantity"), finite_vector(y, name="second quantity")
    if not people.shape == a.shape == b.shape:
        raise DesignError(f"{people.size} people, {len(a)} and {len(b)} values; one row each is needed")
    labels, place, counts = np.unique(people.astype(str), return_inverse=True, return_counts=True)
    kept = counts[place] > 1
    n = int((counts > 1).sum())
    if n < 3:
        raise DesignError(f"{n} people with two values or more; a correlation within people needs 3")
    within = []
    for name, values in (("first", a[kept]), ("second", b[kept])):
        means = np.bincount(place[kept], values, minlength=len(labels)) / np.maximum(counts, 1)
        within.append(values - means[place[kept]])
        if all_equal(within[-1], scale=float(np.abs(values).max())):
            raise DesignError(f"the {name} quantity changes within nobody, so nothing can go along with it")
    row = _adapted(labels[place[kept]], a[kept], b[kept])
    r, df, rows = float(row["r"]), int(row["dof"]), int(kept.sum())
    try:
        interval = correlation_interval(r, df + 2, level=level)
    except DesignError:
        interval = None
    return RepeatedMeasuresCorrelation(
        correlation=Estimate(
            value=max(-1.0, min(1.0, r)),
            unit="1",
            method="dose_repeated_measures",
            n_people=n,
            n_values=rows,
            interval=interval,
            test=HypothesisTest(
                name="F of the analysis of covariance", p=max(float(row["pval"]), 1e-300), df=(1.0, df)
            ),
            source=_SOURCE,
            caveats=("association",),
        ),
        slope=float(within[0] @ within[1]) / float(within[0] @ within[0]),
        df=df,
        n_people=n,
        n_values=rows,
    )


def _adapted(person: np.ndarray, x: np.ndarray, y: np.ndarray) -> pd.Series[float]:
    """Return pingouin's row at full precision; its interval is rounded and not taken."""
    import pandas as pd

    # its power (few people) and its interval (a correlation of 1) warn, and neither is taken
    with warnings.catch_warnings(), np.errstate(divide="ignore"):
        warnings.simplefilter("ignore", pd.errors.Pandas4Warning)  # its own use of pandas; no number depends on it
        warnings.filterwarnings("ignore", message="Sample size is too small to estimate power")
        import pingouin

        frame = pd.DataFrame({"person": person, "x": x, "y": y})
        row: pd.Series[float] = pingouin.rm_corr(frame, "x", "y", "person").iloc[0]
    return row
