"""The values of two phases of one person, checked and turned so that higher is better."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from outcomes.errors import DesignError
from outcomes.matrices import Vector, finite_vector, snapped

Better = Literal["higher", "lower"]


def sign_of(better: Better) -> int:
    """Return 1 if higher values are better, -1 if lower ones are.

    Raises
    ------
    DesignError
        Any other word.
    """
    if better not in ("higher", "lower"):
        raise DesignError(f"better '{better}' is neither 'higher' nor 'lower'")
    return 1 if better == "higher" else -1


def turned_phases(baseline: ArrayLike, treatment: ArrayLike, better: Better) -> tuple[Vector, Vector]:
    """Return both phases without floating-point dust, higher values being the better ones.

    Parameters
    ----------
    baseline, treatment : array of shape (m,), (n,)
        In the order of time; no missing values.
    better : {"higher", "lower"}

    Returns
    -------
    tuple of two arrays

    Raises
    ------
    DesignError
        Fewer than two values in a phase, or a value is missing or infinite.

    Examples
    --------
    >>> turned_phases([3, 4], [1, 2], "lower")
    (array([-3., -4.]), array([-1., -2.]))
    """
    sign = sign_of(better)
    a = finite_vector(baseline, name="first phase", at_least=2)
    b = finite_vector(treatment, name="second phase", at_least=2)
    both: Vector = sign * snapped(np.concatenate([a, b]))
    return both[: len(a)], both[len(a) :]
