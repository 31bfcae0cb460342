"""Two limbs of one person: a model that knows whose they are, beside what counting limbs as people would claim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.errors import DesignError
from outcomes.intervals import t_interval
from outcomes.matrices import Vector, finite_vector
from outcomes.models.mixed import mixed_model
from outcomes.result import Estimate, Result


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbChange(Result):
    """Result of `limb_change`; changes in the outcome's unit.

    Parameters
    ----------
    modelled : Estimate, optional
        Mean change of both limbs by the mixed model; people with one limb count, too.
    person_means : Estimate, optional
        Mean over people of the mean of their two limbs; people with one limb are left out.
    limbs_as_people : Estimate, optional
        Mean over limbs as if each were a person of its own: a wrong claim, shown for comparison only.
    limb_difference : Estimate, optional
        Change of the second limb less that of the first, by the mixed model.
    likeness : Estimate, optional
        Correlation of the two limbs' changes within people, by the mixed model; without unit.
    limbs : tuple of str
        First and second limb.
    n_people, n_both, n_limbs : int
        People, people with both limbs, and limbs.
    reasons : dict of str to str
        Why a field is None.
    """

    modelled: Estimate | None
    person_means: Estimate | None
    limbs_as_people: Estimate | None
    limb_difference: Estimate | None
    likeness: Estimate | None
    limbs: tuple[str, str]
    n_people: int
    n_both: int
    n_limbs: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the three side by side, rounded, with their counts."""

        def said(words: str, estimate: Estimate | None, why: str) -> str:
            if estimate is None or estimate.interval is None:
                return f"{words}: not estimable ({self.reasons.get(why, 'no interval')})"
            ends = estimate.interval
            return f"{words}: {estimate.value:.3g} ({ends.low:.3g} to {ends.high:.3g})"

        return (
            f"{said('limbs modelled', self.modelled, 'modelled')} ({self.n_people} people, {self.n_limbs} limbs); "
            f"{said('person means', self.person_means, 'person_means')} ({self.n_both} people); "
            f"{said('limbs counted as people would claim', self.limbs_as_people, 'limbs_as_people')}"
        )


def limb_change(
    change: ArrayLike, person: Any, limb: ArrayLike, *, unit: str, level: float = 0.95, min_people: int = 3
) -> LimbChange:
    """Mean change of two limbs of each person, by a mixed model, by person means, and by counting limbs as people.

    Parameters
    ----------
    change : array of shape (n_limbs,)
        later - earlier of each limb, in `unit`; no missing values.
    person : sequence of n_limbs labels
        Whose limb it is.
    limb : array of shape (n_limbs,)
        Which limb, two different words such as left and right.
    unit : str
        UCUM code of the change.
    level : float
        Nominal coverage of the intervals.
    min_people : int
        Fewest people.

    Returns
    -------
    LimbChange

    Raises
    ------
    DesignError
        Fewer than `min_people` people, other than two limbs, a limb that stands twice for one person, or a missing
        value.

    Notes
    -----
    change = b0 + b1·(+½ for the second limb, -½ for the first) + person + e; REML, Kenward-Roger: b0 is the mean of
    both limbs. With both limbs of everybody it equals the person means, with n - 1 degrees of freedom. What the two
    limbs of a person share does not count twice.

    References
    ----------
    Kenward & Roger (1997) Biometrics 53:983-997; Laird & Ware (1982) Biometrics 38:963-974.

    Examples
    --------
    >>> people, limbs = np.repeat(list("abcdef"), 2), np.tile(["left", "right"], 6)
    >>> change = [1.0, 1.2, 0.1, -0.1, 2.0, 1.7, 0.8, 0.9, -0.4, -0.1, 1.1, 1.5]
    >>> found = limb_change(change, people, limbs, unit="cm")
    >>> found.modelled.interval.low < found.limbs_as_people.interval.low
    True
    """
    c, labels, second, words = _checked(change, person, limb, min_people)
    _, place, counts = np.unique(labels, return_inverse=True, return_counts=True)
    n, both = len(counts), int((counts == 2).sum())
    reasons: dict[str, str] = {}
    found: dict[str, Estimate | None] = dict.fromkeys(
        ("modelled", "limb_difference", "likeness", "person_means", "limbs_as_people")
    )
    try:
        found |= _modelled(c, labels, second, unit, level)
    except DesignError as refusal:
        reasons |= dict.fromkeys(("modelled", "limb_difference", "likeness"), refusal.reason)
    means = (np.bincount(place, c) / counts)[counts == 2]
    for name, values, method, caveats in (
        ("person_means", means, "limb_person_means", ()),
        ("limbs_as_people", c, "limbs_as_people", ("limbs_are_not_people",)),
    ):
        try:
            found[name] = Estimate(
                value=float(values.mean()) if len(values) else 0.0, unit=unit, method=method, n_people=len(values),
                n_values=len(values) if name == "limbs_as_people" else 2 * len(values),
                interval=t_interval(values, level=level), caveats=caveats,
            )  # fmt: skip
        except DesignError as refusal:
            reasons[name] = refusal.reason
    return LimbChange(**found, limbs=words, n_people=n, n_both=both, n_limbs=len(c), reasons=reasons)


def _checked(
    change: ArrayLike, person: Any, limb: ArrayLike, min_people: int
) -> tuple[Vector, NDArray[np.str_], NDArray[np.bool_], tuple[str, str]]:
    c = finite_vector(change, name="change", at_least=0)
    labels, sides = np.asarray(person).astype(str), np.asarray(limb).astype(str)
    if not c.shape == labels.shape == sides.shape:
        raise DesignError(f"{len(c)} changes, {labels.size} people and {sides.size} limbs; one row each is needed")
    words = sorted(set(sides.tolist()))
    if len(set(labels.tolist())) < min_people:
        raise DesignError(f"{len(set(labels.tolist()))} people have a limb with both values; at least {min_people}")
    if len(words) != 2:
        raise DesignError(
            f"{len(words)} different limbs ({', '.join(words)}); a limb term needs values of two, or choose one side"
        )
    if len(set(zip(labels.tolist(), sides.tolist(), strict=True))) < len(c):
        raise DesignError("a limb stands twice for one person; one change of each limb is needed")
    return c, labels, sides == words[1], (words[0], words[1])


def _modelled(
    c: Vector, labels: NDArray[np.str_], second: NDArray[np.bool_], unit: str, level: float
) -> dict[str, Estimate | None]:
    """Return mean, difference and likeness of limbs by the mixed model."""
    fixed = np.column_stack([np.ones(len(c)), np.where(second, 0.5, -0.5)])
    model = mixed_model(c, fixed, labels, names=["mean", "limb"], unit=unit, level=level, df="kenward_roger")
    between, within = float(model.intercept_sd.value), float(model.residual_sd.value)  # type: ignore[arg-type]
    mean, difference = model.fixed_effects
    return {
        "modelled": replace(mean.estimate, method="limb_modelled"),
        "limb_difference": replace(difference.estimate, method="limb_difference"),
        "likeness": replace(
            model.intercept_sd, value=between**2 / (between**2 + within**2), unit="1", method="limb_likeness"
        ),
    }
