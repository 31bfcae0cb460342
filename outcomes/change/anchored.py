"""Important change by an anchor: the ROC cut-point, the predicted change, and the mean change of a category.

What people call important, never what a test can detect: no minimal detectable change enters here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.change.roc import Rule, area, area_interval, best_cuts, best_rows, checked_flags
from outcomes.errors import DesignError
from outcomes.intervals import check_level, t_interval, wilson_interval
from outcomes.matrices import Vector, all_equal, finite_vector, snapped
from outcomes.result import Estimate, Interval, Result

FEWEST = 5
"""People of each kind (important change, none) below which nothing is estimated."""

MOST_UNDEFINED = 0.05
"""Share of resamples without a value above which there is no bootstrap interval."""

_BLOCK = 50_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportantChange(Result):
    """Result of `important_change`; in the unit of the changes unless said otherwise.

    Parameters
    ----------
    roc : Estimate
        Cut-point with the largest sensitivity + specificity; a change of at least it counts as important.
    predicted : Estimate, optional
        Change at which the model's odds of an important change equal those of the group.
    adjusted : Estimate, optional
        The same, adjusted for a share of important changes that is not a half.
    mean_change : Estimate, optional
        Mean change of people in the category just above "no change"; None where nobody was named.
    area : Estimate
        Area under the ROC curve; without unit, with the interval of `outcomes.change.roc.area_interval`.
    sensitivity, specificity : Estimate
        At the ROC cut-point, with Wilson intervals that take the cut-point as given.
    share_important : Estimate
        Share of people whom the anchor calls importantly changed.
    correlation : float
        Point-biserial, of change and anchor.
    equally_good : tuple of float
        Every cut-point with that sensitivity + specificity; `roc` is the one nearest to their middle.
    n_people : int
    reasons : dict of str to str
        Why a field is None or has no interval.
    """

    roc: Estimate
    predicted: Estimate | None
    adjusted: Estimate | None
    mean_change: Estimate | None
    area: Estimate
    sensitivity: Estimate
    specificity: Estimate
    share_important: Estimate
    correlation: float
    equally_good: tuple[float, ...]
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    def summary(self) -> str:
        """Return the values of every method, rounded."""
        said = [f"ROC {self.roc.value:.3g}"]
        for name in ("predicted", "adjusted", "mean_change"):
            one = getattr(self, name)
            said += [f"{name.replace('_', ' ')} {one.value:.3g}"] if one is not None else []
        return f"important change by the anchor: {', '.join(said)} (n = {self.n_people})"


def important_change(
    changes: ArrayLike,
    important: ArrayLike,
    *,
    unit: str,
    slightly: ArrayLike | None = None,
    level: float = 0.95,
    cut: Rule = "youden",
    interval: Literal["logit", "delong"] = "logit",
    resamples: int = 1000,
    rng: np.random.Generator,
) -> ImportantChange:
    """Smallest change that people call important, by their own rating (the anchor), three ways side by side.

    Parameters
    ----------
    changes : array of shape (n_participants,)
        Change in the direction of the anchor (for a scale on which a fall is better, earlier - later), in `unit`; no
        missing values.
    important : array of bool of shape (n_participants,)
        Whether the person's own rating calls the change important.
    unit : str
        UCUM code.
    slightly : array of bool of shape (n_participants,), optional
        Whether the rating lies in the category just above "no change", for the mean-change method.
    level : float
        Nominal coverage.
    cut : {"youden", "corner"}
        Cut-point of the ROC curve: largest sensitivity + specificity, or nearest to the corner where both are 1.
    interval : {"logit", "delong"}
        Of the area: DeLong's variance on the logit scale, or the plain interval of 1988, too narrow for few people.
    resamples : int
        Bootstrap resamples of participants, at least 1000.
    rng : numpy.random.Generator

    Returns
    -------
    ImportantChange

    Raises
    ------
    DesignError
        Fewer than five people with, or without, an important change, equal changes, a missing value, or an interval
        or cut that is none of those.

    Notes
    -----
    ROC: cut-points are midpoints between adjacent observed changes; "important" is change >= cut-point; the largest
    sensitivity + specificity (or the smallest (1 - sensitivity)² + (1 - specificity)²) wins, of several the one nearest
    to their middle. Predicted: in the logistic regression
    logit P = b0 + b1 change, the change at which P is the share p of important changes. Adjusted: predicted - (0.090 +
    0.103 r) SD log(p/(1 - p)), r the point-biserial correlation and SD that of the changes. Intervals are percentile
    bootstraps over participants; resamples without a value are left out and counted, and above 5 % of them there is no
    interval. A change can be important and below the detectable one, and the reverse.

    References
    ----------
    Youden (1950) Cancer 3:32-35; Perkins & Schisterman (2006) Am J Epidemiol 163:670-675 (both cut-points); DeLong et
    al. (1988) Biometrics 44:837-845; Terluin et al. (2015) J Clin Epidemiol 68:1388-1396 (predicted); Terluin et al.
    (2017) J Clin Epidemiol 83:90-100 (adjusted; formula from memory).

    Examples
    --------
    >>> changes = [0, 1, 1, 2, 3, 2, 4, 4, 5, 6, 3, 1]
    >>> rated = [False, False, False, False, False, True, True, True, True, True, True, False]
    >>> found = important_change(changes, rated, unit="{score}", rng=np.random.default_rng(1))
    >>> found.roc.value, found.equally_good, round(found.sensitivity.value, 4)
    (2.5, (1.5, 2.5, 3.5), 0.8333)
    """
    check_level(level)
    if resamples < 1000:
        raise DesignError(f"{resamples} resamples are too few; at least 1000 are needed")
    x, flag = _checked(changes, important)
    if cut not in ("youden", "corner"):
        raise DesignError(f"cut '{cut}' is neither 'youden' nor 'corner'")
    _, sensitivity, specificity, equal = best_cuts(x, flag, cut)
    reasons: dict[str, str] = {}
    values = _all_ways(x[None, :], flag[None, :], cut)
    drawn = _resampled(x, flag, resamples, rng, cut)
    made = {
        name: _estimate(
            name,
            "corner" if (name, cut) == ("roc", "corner") else name,
            float(values[name][0]),
            drawn[name],
            unit,
            len(x),
            level,
            reasons,
        )
        for name in ("roc", "predicted", "adjusted")
    }
    roc = made["roc"]
    assert roc is not None
    yes, no = int(flag.sum()), int((~flag).sum())
    return ImportantChange(
        roc=roc, predicted=made["predicted"], adjusted=made["adjusted"],
        mean_change=_mean_change(x, slightly, unit, level, reasons),
        area=Estimate(
            value=area(x, flag), unit="1", method="roc_area", n_people=len(x), n_values=len(x),
            interval=area_interval(x, flag, level=level, interval=interval),
            source="DeLong et al. (1988) Biometrics 44:837",
        ),
        sensitivity=_share("roc_sensitivity", round(sensitivity * yes), yes, level),
        specificity=_share("roc_specificity", round(specificity * no), no, level),
        share_important=_share("share_important", yes, len(x), level),
        correlation=float(_point_biserial(x[None, :], flag[None, :])[0]),
        equally_good=equal, n_people=len(x), reasons=reasons,
    )  # fmt: skip


def _checked(changes: ArrayLike, important: ArrayLike) -> tuple[Vector, NDArray[np.bool_]]:
    x = snapped(finite_vector(changes, name="changes"))
    flag = checked_flags(important, len(x), "ratings of importance")
    for kind, count in (("an important", int(flag.sum())), ("no important", int((~flag).sum()))):
        if count < FEWEST:
            have = "1 person has" if count == 1 else f"{count} people have"
            raise DesignError(f"{have} {kind} change by the anchor; at least {FEWEST} are needed")
    if all_equal(x):
        raise DesignError("everybody changed by the same amount")
    return x, flag


_SOURCES: dict[str, str] = {
    "roc": "Youden (1950) Cancer 3:32",
    "corner": "Perkins & Schisterman (2006) Am J Epidemiol 163:670",
    "predicted": "Terluin et al. (2015) J Clin Epidemiol 68:1388",
    "adjusted": "Terluin et al. (2017) J Clin Epidemiol 83:90, formula from memory",
}


def _estimate(
    name: str, way: str, value: float, drawn: Vector, unit: str, n: int, level: float, reasons: dict[str, str]
) -> Estimate | None:
    """Return the value of one method with its percentile interval; None where it is not defined."""
    if not math.isfinite(value):
        reasons[name] = "the changes of both kinds of people do not overlap, or tell nothing apart"
        return None
    known = drawn[np.isfinite(drawn)]
    lost = 1 - len(known) / len(drawn)
    interval = None
    caveats: tuple[str, ...] = ()
    if lost > MOST_UNDEFINED:
        reasons[f"{name}.interval"] = f"{lost:.0%} of the resamples have no value"
        caveats = ("no_bootstrap",)
    else:
        ends = np.quantile(known, [(1 - level) / 2, (1 + level) / 2])
        interval = Interval(float(ends[0]), float(ends[1]), level, "percentile bootstrap")
        caveats = ("resamples_lost",) if lost else ()
    return Estimate(
        value=value, unit=unit, method=f"important_{way}", n_people=n, n_values=n, interval=interval,
        source=_SOURCES[way], caveats=caveats,
    )  # fmt: skip


def _share(method: str, count: int, n: int, level: float) -> Estimate:
    return Estimate(
        value=count / n, unit="1", method=method, n_people=n, n_values=n,
        interval=wilson_interval(count, n, level=level), source="Wilson (1927) J Am Stat Assoc 22:209",
    )  # fmt: skip


def _mean_change(
    x: Vector, slightly: ArrayLike | None, unit: str, level: float, reasons: dict[str, str]
) -> Estimate | None:
    """Return the mean change of the people whose rating lies just above "no change"."""
    if slightly is None:
        reasons["mean_change"] = "no category just above 'no change' was named"
        return None
    few = x[checked_flags(slightly, len(x), "ratings just above 'no change'")]
    if len(few) < FEWEST:
        have = "1 person is" if len(few) == 1 else f"{len(few)} people are"
        reasons["mean_change"] = f"{have} in the category just above 'no change'; at least {FEWEST} are needed"
        return None
    return Estimate(
        value=float(few.mean()), unit=unit, method="important_mean_change", n_people=len(few), n_values=len(few),
        interval=None if all_equal(few) else t_interval(few, level=level),
        source="Jaeschke et al. (1989) Control Clin Trials 10:407",
    )  # fmt: skip


# -------------------------------------------------------------------------------------- many resamples at once


def _resampled(
    x: Vector, flag: NDArray[np.bool_], resamples: int, rng: np.random.Generator, cut: Rule
) -> dict[str, Vector]:
    """Return the value of every method in every resample; nan where it has none."""
    rows = max(1, _BLOCK // len(x))
    parts: list[dict[str, Vector]] = []
    for start in range(0, resamples, rows):
        index = rng.integers(0, len(x), (min(rows, resamples - start), len(x)))
        parts.append(_all_ways(x[index], flag[index], cut))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def _all_ways(x: NDArray[np.float64], flag: NDArray[np.bool_], cut: Rule) -> dict[str, Vector]:
    """Return the three values of every row."""
    roc, predicted = best_rows(x, flag, cut), _predicted_rows(x, flag)
    p = flag.mean(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        odds = np.log(p / (1 - p))
        off = (0.090 + 0.103 * _point_biserial(x, flag)) * x.std(axis=1, ddof=1) * odds
    return {"roc": roc, "predicted": predicted, "adjusted": predicted - off}


def _point_biserial(x: NDArray[np.float64], flag: NDArray[np.bool_]) -> Vector:
    a = x - x.mean(axis=1, keepdims=True)
    b = flag - flag.mean(axis=1, keepdims=True)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray((a * b).sum(axis=1) / np.sqrt((a * a).sum(axis=1) * (b * b).sum(axis=1)))


def _predicted_rows(x: NDArray[np.float64], flag: NDArray[np.bool_]) -> Vector:
    """Return the predicted important change of every row: Newton steps of all logistic regressions together."""
    p = flag.mean(axis=1)
    out = np.full(len(x), np.nan)
    able = _overlap(x, flag)
    if not able.any():
        return out
    rows, kinds = x[able], flag[able].astype(np.float64)
    middle, spread = rows.mean(axis=1, keepdims=True), rows.std(axis=1, keepdims=True)
    z = (rows - middle) / spread
    b0, b1 = np.log(p[able] / (1 - p[able])), np.zeros(len(rows))
    # a row whose steps run away ends without a value
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for _ in range(50):
            chance = 1 / (1 + np.exp(-np.clip(b0[:, None] + b1[:, None] * z, -500, 500)))
            weight, rest = chance * (1 - chance), kinds - chance
            g0, g1 = rest.sum(axis=1), (rest * z).sum(axis=1)
            a, b, c = weight.sum(axis=1), (weight * z).sum(axis=1), (weight * z * z).sum(axis=1)
            det = a * c - b * b
            s0, s1 = (c * g0 - b * g1) / det, (a * g1 - b * g0) / det
            b0, b1 = b0 + s0, b1 + s1
            moved = np.maximum(np.abs(s0), np.abs(s1))
            if not np.any(moved > 1e-11):
                break
        at = (np.log(p[able] / (1 - p[able])) - b0) / b1 * spread[:, 0] + middle[:, 0]
    at[~((moved <= 1e-8) & (np.abs(b1) > 1e-9))] = np.nan
    out[able] = at
    return out


def _overlap(x: NDArray[np.float64], flag: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the rows in which the changes of both kinds of people overlap: only there a logistic model has an end."""
    lowest_yes, highest_yes = np.where(flag, x, np.inf).min(axis=1), np.where(flag, x, -np.inf).max(axis=1)
    lowest_no, highest_no = np.where(flag, np.inf, x).min(axis=1), np.where(flag, -np.inf, x).max(axis=1)
    overlap: NDArray[np.bool_] = (lowest_yes < highest_no) & (lowest_no < highest_yes)
    return overlap
