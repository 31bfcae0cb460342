"""The marginal model: mean of repeated values over people (GEE), with standard errors that hold for few of them."""

from __future__ import annotations

import math
import warnings
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.intervals import check_level, possible_p, t_quantile, t_two_sided
from outcomes.matrices import finite_vector
from outcomes.models.likelihood import Array
from outcomes.models.results import with_unit
from outcomes.result import Estimate, HypothesisTest, Interval, Result

Family = Literal["normal", "binary"]
Likeness = Literal["exchangeable", "independence"]
Sandwich = Literal["cr0", "cr1", "cr2", "cr3"]
_SOURCES = {
    "cr0": "Liang & Zeger (1986) Biometrika 73:13-22",
    "cr1": "Liang & Zeger (1986) Biometrika 73:13-22; Pustejovsky & Tipton (2018) J Bus Econ Stat 36:672-683",
    "cr2": "Bell & McCaffrey (2002) Surv Methodol 28:169-181; Pustejovsky & Tipton (2018) J Bus Econ Stat 36:672-683",
    "cr3": "Mancl & DeRouen (2001) Biometrics 57:126-134; Pustejovsky & Tipton (2018) J Bus Econ Stat 36:672-683",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginalTerm(Result):
    """One coefficient of a marginal model.

    Parameters
    ----------
    name : str
    estimate : Estimate
        With its interval, and the test against 0; of a binary outcome a log odds ratio.
    standard_error : float
        By the sandwich, in the unit of the estimate.
    df : float
        Degrees of freedom of t; infinite for cr0.
    """

    name: str
    estimate: Estimate
    standard_error: float
    df: float

    def summary(self) -> str:
        """Return the value with interval, df, p and n, rounded."""
        one = self.estimate
        assert one.interval is not None
        assert one.test is not None
        tested = "z" if math.isinf(self.df) else f"t({self.df:.1f})"
        return (
            f"{self.name}: {with_unit(one.value, one.unit)} ({one.interval.low:.3g} to {one.interval.high:.3g}), "
            f"{tested} = {one.test.statistic:.2f}, p = {one.test.p:.2g} (n = {one.n_people})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginalModel(Result):
    """Result of `marginal_model`.

    Parameters
    ----------
    terms : tuple of MarginalTerm
        In the order given.
    correlation : float
        Working correlation of two values of one person; 0 under independence.
    family, likeness, sandwich : str
        As asked for.
    n_people, n_values : int
    """

    terms: tuple[MarginalTerm, ...]
    correlation: float
    family: Family
    likeness: Likeness
    sandwich: Sandwich
    n_people: int
    n_values: int

    def term(self, name: str) -> MarginalTerm:
        """Return the coefficient of one column.

        Raises
        ------
        DesignError
            No such column.
        """
        for one in self.terms:
            if one.name == name:
                return one
        raise DesignError(f"no column '{name}'; there are {', '.join(one.name for one in self.terms)}")

    def summary(self) -> str:
        """Return every coefficient, rounded."""
        said = "; ".join(one.summary().rpartition(" (n =")[0] for one in self.terms)
        return f"{said} (marginal model, {self.sandwich.upper()}, {self.n_values} values of {self.n_people} people)"


def marginal_model(
    outcome: ArrayLike,
    fixed: ArrayLike,
    people: Any,
    visits: Sequence[Hashable],
    *,
    names: Sequence[str],
    family: Family,
    unit: str = "1",
    likeness: Likeness = "exchangeable",
    sandwich: Sandwich = "cr2",
    constant: Sequence[str] = (),
    level: float = 0.95,
) -> MarginalModel:
    """Fit the mean of repeated values over people, with standard errors from the spread between people.

    Parameters
    ----------
    outcome : array of shape (n_values,)
        In `unit`, or 0 and 1; no missing values.
    fixed : array of shape (n_values, n_terms)
        Columns of the model, the intercept (a column of ones) among them; no missing values.
    people : array of shape (n_values,) or (n_values, n_columns)
        Whose each value is; of several columns all together name a person, such as centre and id.
    visits : sequence of shape (n_values,)
        When it was; a person has one value at a visit.
    names : sequence of str
        Names of the columns.
    family : {"normal", "binary"}
        Mean by the identity, or the log odds of 1.
    unit : str
        UCUM code of a normal outcome.
    likeness : {"exchangeable", "independence"}
        Working correlation of the values of one person.
    sandwich : {"cr0", "cr1", "cr2", "cr3"}
        As it is, with normal quantiles (cr0); times people/(people - 1) (cr1); corrected so that it is unbiased if the
        working model holds (cr2); as if each person were left out (cr3); cr1 to cr3 with Student t.
    constant : sequence of str
        Columns that cannot change within a person, such as the group: if one does, the ids are wrong.
    level : float
        Nominal coverage.

    Returns
    -------
    MarginalModel
        Coefficients are of the mean over people, not of a person: log odds ratios lie nearer to 0 than those of a
        mixed model.

    Raises
    ------
    DesignError
        Missing values or ids, two values of a person at one visit, a column of `constant` that changes within a person,
        columns that depend on each other, no more people than columns, a person without whom a coefficient is not
        known, a binary outcome that is not 0 and 1 or that the columns predict without error, no spread about a
        coefficient, or a working correlation that cannot be seen or is impossible.

    Notes
    -----
    With D_i the derivatives of person i's means, V_i the working covariance and M the inverse of Σ D_i' V_i⁻¹ D_i, the
    covariance is M (Σ D_i' V_i⁻¹ A_i e_i e_i' A_i' V_i⁻¹ D_i) M. cr0: A = 1; cr3: A_i = (1 - D_i M D_i' V_i⁻¹)⁻¹; cr2:
    A_i = C_i' B_i^(-1/2) C_i with V_i = C_i' C_i, B_i = C_i (V_i - D_i M D_i') C_i'. Degrees of freedom by
    Satterthwaite under the working model. The fit is that of statsmodels, the sandwich is worked here. Values that are
    missing must be so by chance alone, or by what is in the columns.

    References
    ----------
    Liang & Zeger (1986) Biometrika 73:13-22; Mancl & DeRouen (2001) Biometrics 57:126-134; Bell & McCaffrey (2002)
    Surv Methodol 28:169-181; Pustejovsky & Tipton (2018) J Bus Econ Stat 36:672-683.

    Examples
    --------
    >>> trained = np.repeat([1.0, 0.0], 12)
    >>> change = np.array([3, 4, 2, 3, 5, 5, 4, 2, 1, 2, 3, 3, 1, 2, 0, 1, 2, 2, 0, 1, -1, 0, 1, 1.0])
    >>> columns, who = np.column_stack([np.ones(24), trained]), np.repeat(np.arange(12), 2)
    >>> found = marginal_model(change, columns, who, [1, 2] * 12, names=["start", "trained"], family="normal")
    >>> round(found.term("trained").estimate.value, 3), round(found.term("trained").df, 1)
    (2.25, 10.0)
    """
    check_level(level)
    for word, known in ((family, ("normal", "binary")), (likeness, ("exchangeable", "independence")),
                        (sandwich, tuple(_SOURCES))):  # fmt: skip
        if word not in known:
            raise DesignError(f"'{word}' is none of {', '.join(known)}")
    if family == "binary" and unit != "1":
        raise DesignError("a log odds ratio has no unit; leave unit out")
    y, x, codes = _checked(outcome, fixed, people, visits, names, constant, family)
    coefficients, correlation = _fitted(y, x, codes, family, likeness)
    spread, df = _spread(y, x, codes, coefficients, correlation, family, sandwich, names)
    count = int(codes.max()) + 1

    def term(place: int) -> MarginalTerm:
        value, error, freedom = float(coefficients[place]), math.sqrt(float(spread[place, place])), float(df[place])
        half, t = t_quantile((1 + level) / 2, freedom) * error, value / error
        name, tested = ("normal", "z") if math.isinf(freedom) else ("Student t, Satterthwaite", "t")
        estimate = Estimate(
            value=value, unit=unit, method=f"marginal_term_{sandwich}", n_people=count, n_values=len(y),
            interval=Interval(value - half, value + half, level, f"{name}, {sandwich.upper()}"),
            test=HypothesisTest(
                name=tested, p=possible_p(t_two_sided(t, freedom)), statistic=t,
                df=() if math.isinf(freedom) else (freedom,),
            ),
            source=_SOURCES[sandwich],
        )  # fmt: skip
        return MarginalTerm(name=names[place], estimate=estimate, standard_error=error, df=freedom)

    return MarginalModel(
        terms=tuple(term(place) for place in range(len(names))),
        correlation=correlation, family=family, likeness=likeness, sandwich=sandwich, n_people=count, n_values=len(y),
    )  # fmt: skip


def _checked(
    outcome: ArrayLike,
    fixed: ArrayLike,
    people: Any,
    visits: Sequence[Hashable],
    names: Sequence[str],
    constant: Sequence[str],
    family: Family,
) -> tuple[Array, Array, np.ndarray]:
    """Return outcome, columns and the number of each row's person."""
    y = finite_vector(outcome, name="outcome")
    try:
        x = np.asarray(fixed, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise DesignError("columns of the model are not all numbers") from error
    if x.ndim != 2 or x.shape != (len(y), len(names)):
        raise DesignError(f"columns of the model need {len(y)} rows and a column for each of {len(names)} names")
    if not np.isfinite(x).all():
        raise DesignError("a column of the model has a missing or an infinite value; leave that row out and count it")
    if family == "binary" and not np.isin(y, (0, 1)).all():
        raise DesignError("a binary outcome is 0 or 1")
    if np.ptp(y) == 0:
        raise DesignError("all values of the outcome are equal, so there is nothing to model")
    ids, when = _ids(people, len(y)), list(visits)
    if len(when) != len(y):
        raise DesignError(f"{len(y)} values and {len(when)} visits: one of each is needed in a row")
    known = {one: code for code, one in enumerate(dict.fromkeys(ids))}
    codes = np.array([known[one] for one in ids])
    seen: set[tuple[Hashable, Hashable]] = set()
    for who, visit in zip(ids, when, strict=True):
        if (who, visit) in seen:
            raise DesignError(
                f"two values of person {', '.join(map(str, who))} at visit {visit}: the ids name {len(known)} people "
                f"for {len(y)} rows; where an id repeats in another centre, centre and id together name a person"
            )
        seen.add((who, visit))
    for name in constant:
        if name not in names:
            raise DesignError(f"no column '{name}'; there are {', '.join(names)}")
        column = x[:, list(names).index(name)]
        if any(np.ptp(column[codes == code]) > 0 for code in range(len(known))):
            raise DesignError(f"'{name}' changes within a person, which it cannot: the {len(known)} ids are not people")
    if len(known) <= x.shape[1]:
        raise DesignError(f"{len(known)} people are too few for {x.shape[1]} coefficients")
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise DesignError("columns of the model depend on each other, so their coefficients cannot be told apart")
    left = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    if family == "normal" and float(left @ left) <= 1e-24 * float(y @ y):
        raise DesignError("there is no spread about the model, so no standard error")
    return y, x, codes


def _ids(people: Any, n: int) -> list[tuple[Hashable, ...]]:
    """Return the id of each row, of one or of several columns."""
    table = np.asarray(people, dtype=object)
    if table.ndim not in (1, 2) or len(table) != n:
        raise DesignError(f"{n} values need one id each; of several columns, a row for each value")
    ids = [tuple(row) for row in table.reshape(n, -1)]
    if any(one is None or one != one or one == "" for row in ids for one in row):
        raise DesignError("a row has no id; leave it out and count it")
    return ids


def _fitted(y: Array, x: Array, codes: np.ndarray, family: Family, likeness: Likeness) -> tuple[Array, float]:
    """Return coefficients and working correlation by statsmodels, or refuse a fit that has no end."""
    from statsmodels.genmod import cov_struct, families
    from statsmodels.genmod.generalized_estimating_equations import GEE

    sizes = np.bincount(codes)
    if likeness == "exchangeable" and (sizes * (sizes - 1) / 2).sum() <= x.shape[1]:
        raise DesignError("too few people have two values to see how alike those are; take likeness 'independence'")
    kind = families.Binomial() if family == "binary" else families.Gaussian()
    working = cov_struct.Exchangeable() if likeness == "exchangeable" else cov_struct.Independence()
    order = np.argsort(codes, kind="stable")
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            model = GEE(y[order], x[order], groups=codes[order], family=kind, cov_struct=working)
            found = model.fit(maxiter=200, ctol=1e-10)
    except (np.linalg.LinAlgError, ValueError, FloatingPointError) as error:
        raise DesignError("the marginal model has no fit to these data") from error
    coefficients = np.asarray(found.params, dtype=np.float64)
    mean = _mean(x, coefficients, family)
    if family == "binary" and (not np.isfinite(mean).all() or np.min(np.minimum(mean, 1 - mean)) < 1e-8):
        raise DesignError("the columns predict some values without error, so a log odds ratio has no bound")
    if not found.converged or not np.isfinite(coefficients).all():
        raise DesignError("the marginal model came to no end of its search")
    return coefficients, float(working.dep_params) if likeness == "exchangeable" else 0.0


def _mean(x: Array, coefficients: Array, family: Family) -> Array:
    from scipy.special import expit

    return np.asarray(expit(x @ coefficients) if family == "binary" else x @ coefficients)


def _spread(
    y: Array,
    x: Array,
    codes: np.ndarray,
    coefficients: Array,
    correlation: float,
    family: Family,
    sandwich: Sandwich,
    names: Sequence[str],
) -> tuple[Array, Array]:
    """Return the covariance of the coefficients by the sandwich, and the degrees of freedom of each."""
    mean = _mean(x, coefficients, family)
    variance = mean * (1 - mean) if family == "binary" else np.ones(len(y))
    slopes = x * variance[:, None]
    left = y - mean
    rows = [np.flatnonzero(codes == code) for code in range(int(codes.max()) + 1)]
    blocks = []
    bread = np.zeros((x.shape[1],) * 2)
    for own in rows:
        root = np.sqrt(variance[own])
        v = np.outer(root, root) * (correlation + (1 - correlation) * np.eye(len(own)))
        try:
            upper = np.linalg.cholesky(v).T
        except np.linalg.LinAlgError as error:
            raise DesignError(f"a working correlation of {correlation:.2g} is impossible for so many values") from error
        weighted = np.linalg.solve(v, slopes[own])
        blocks.append((slopes[own], v, upper, weighted, left[own]))
        bread += slopes[own].T @ weighted
    m = np.linalg.inv(bread)
    # of each person the weights of the corrected residuals, a row for each value and a column for each coefficient
    us = [_corrected(d, v, upper, weighted, m, sandwich, len(rows)) @ m for d, v, upper, weighted, _ in blocks]
    scores = np.array([u.T @ e for u, (*_, e) in zip(us, blocks, strict=True)])
    covariance = scores.T @ scores
    model = np.diagonal(m) * float(np.mean(left * left / variance))
    still = np.flatnonzero(np.diagonal(covariance) <= 1e-16 * model)
    if len(still):
        raise DesignError(f"people do not spread about '{names[still[0]]}' at all, so it has no standard error")
    if sandwich == "cr0":
        return covariance, np.full(len(m), np.inf)
    df = np.empty(len(m))
    for place in range(len(m)):
        own = np.array([u[:, place] @ v @ u[:, place] for u, (_, v, *_) in zip(us, blocks, strict=True)])
        across = np.array([d.T @ u[:, place] for u, (d, *_) in zip(us, blocks, strict=True)])
        omega = np.diag(own) - across @ m @ across.T
        df[place] = np.trace(omega) ** 2 / np.sum(omega * omega)
    return covariance, df


def _corrected(d: Array, v: Array, upper: Array, weighted: Array, m: Array, sandwich: Sandwich, count: int) -> Array:
    """Return A' V⁻¹ D of one person."""
    rest = np.eye(len(d)) - d @ m @ weighted.T
    if np.linalg.cond(rest) > 1e10:
        raise DesignError(
            "without one of the people a coefficient is not known, so its spread over people is not either"
        )
    if sandwich == "cr0":
        return weighted
    if sandwich == "cr1":
        return np.asarray(weighted * math.sqrt(count / (count - 1)))
    if sandwich == "cr3":
        return np.asarray(np.linalg.solve(rest.T, weighted))
    values, vectors = np.linalg.eigh(upper @ (v - d @ m @ d.T) @ upper.T)
    roots = np.where(values > 1e-12, 1 / np.sqrt(np.where(values > 1e-12, values, 1.0)), 0.0)
    return np.asarray(upper.T @ (vectors * roots) @ vectors.T @ upper @ weighted)
