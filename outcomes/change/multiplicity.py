"""p values adjusted for the number of outcomes."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.matrices import Vector, finite_vector


def holm(p: ArrayLike) -> tuple[float, ...]:
    """Return p values adjusted so that the chance of any false finding in the family stays below the level.

    Parameters
    ----------
    p : array of shape (n_outcomes,)
        One p value per outcome; no missing values.

    Returns
    -------
    tuple of float
        In the order given, each at least its p and at most 1.

    Raises
    ------
    DesignError
        No values, or one outside (0, 1].

    Notes
    -----
    Sorted upward, p(i) becomes max over j <= i of min(1, (m - j + 1) p(j)).

    References
    ----------
    Holm (1979) Scand J Stat 6:65-70.

    Examples
    --------
    >>> holm([0.01, 0.04, 0.03])
    (0.03, 0.06, 0.06)
    """
    values = _checked(p)
    order = np.argsort(values, kind="stable")
    m = len(values)
    stepped = np.maximum.accumulate(values[order] * np.arange(m, 0, -1))
    return _in_order(np.minimum(stepped, 1.0), order)


def bonferroni(p: ArrayLike) -> tuple[float, ...]:
    """Return p values times their number: never less strict than `holm`, which holds the same level.

    Parameters
    ----------
    p : array of shape (n_outcomes,)
        One p value per outcome; no missing values.

    Returns
    -------
    tuple of float
        In the order given, each at least its p and at most 1.

    Raises
    ------
    DesignError
        No values, or one outside (0, 1].

    Notes
    -----
    min(1, m p).

    References
    ----------
    Dunn (1961) J Am Stat Assoc 56:52-64.

    Examples
    --------
    >>> bonferroni([0.01, 0.04, 0.5])
    (0.03, 0.12, 1.0)
    """
    values = _checked(p)
    return tuple(float(value) for value in np.minimum(values * len(values), 1.0))


def benjamini_hochberg(p: ArrayLike) -> tuple[float, ...]:
    """Return p values adjusted so that the expected share of false findings among the findings stays below the level.

    Parameters
    ----------
    p : array of shape (n_outcomes,)
        One p value per outcome; no missing values.

    Returns
    -------
    tuple of float
        In the order given, each at least its p and at most 1.

    Raises
    ------
    DesignError
        No values, or one outside (0, 1].

    Notes
    -----
    Sorted upward, p(i) becomes min over j >= i of min(1, m p(j)/j).

    References
    ----------
    Benjamini & Hochberg (1995) J R Stat Soc B 57:289-300.

    Examples
    --------
    >>> benjamini_hochberg([0.01, 0.04, 0.03])
    (0.03, 0.04, 0.04)
    """
    return _stepped_up(_checked(p), 1.0)


def benjamini_yekutieli(p: ArrayLike) -> tuple[float, ...]:
    """Return p values adjusted like `benjamini_hochberg`, whatever the dependence between the outcomes.

    Parameters
    ----------
    p : array of shape (n_outcomes,)
        One p value per outcome; no missing values.

    Returns
    -------
    tuple of float
        In the order given, each at least that of `benjamini_hochberg` and at most 1.

    Raises
    ------
    DesignError
        No values, or one outside (0, 1].

    Notes
    -----
    Sorted upward, p(i) becomes min over j >= i of min(1, c m p(j)/j), c = 1 + 1/2 + ... + 1/m.

    References
    ----------
    Benjamini & Yekutieli (2001) Ann Stat 29:1165-1188.

    Examples
    --------
    >>> [round(one, 4) for one in benjamini_yekutieli([0.01, 0.04, 0.03])]
    [0.055, 0.0733, 0.0733]
    """
    values = _checked(p)
    return _stepped_up(values, float(np.sum(1 / np.arange(1, len(values) + 1))))


def _stepped_up(values: Vector, factor: float) -> tuple[float, ...]:
    """Return min over j >= i of factor m p(j)/j of the sorted values, in the order given."""
    order, m = np.argsort(values, kind="stable"), len(values)
    scaled = values[order] * (factor * m / np.arange(1, m + 1))
    stepped = np.minimum.accumulate(scaled[::-1])[::-1]
    return _in_order(np.minimum(np.maximum(stepped, values[order]), 1.0), order)


def _checked(p: ArrayLike) -> Vector:
    values = finite_vector(p, name="p values")
    if (values <= 0).any() or (values > 1).any():
        raise DesignError("a p value is above 0 and at most 1")
    return values


def _in_order(adjusted: Vector, order: np.ndarray) -> tuple[float, ...]:
    out = np.empty(len(adjusted))
    out[order] = adjusted
    return tuple(float(value) for value in out)
