"""Which of three curves describes dose and change: a line, a logarithm, or a rise that levels off."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from outcomes.dose_response.between import FEWEST
from outcomes.dose_response.linear import covariate_basis, rest
from outcomes.errors import DesignError
from outcomes.intervals import check_level, f_quantile, t_quantile
from outcomes.matrices import Vector, all_equal, finite_vector
from outcomes.models import information_criteria, least_squares_log_likelihood
from outcomes.result import Estimate, Interval, Result

CURVES = ("linear", "log", "saturating")
"""The shortlist, in the order in which it is printed."""

_LOWEST, _HIGHEST = 0.001, 1.5
"""Half-maximal doses that are looked at, as shares of the largest dose (Bretz, Pinheiro & Branson 2005)."""

_SOURCE = "Bretz, Pinheiro & Branson (2005) Biometrics 61:738"


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve(Result):
    """One curve of the shortlist.

    Parameters
    ----------
    name : {"linear", "log", "saturating"}
    start : Estimate
        Change at dose 0, the first value at its mean; in the outcome's unit.
    size : Estimate
        Change per unit of dose (linear), per unit of the logarithm (log), or at an unlimited dose (saturating).
    half_dose : Estimate, optional
        Dose of half the largest change, of the saturating curve, wherever it lies; read `CurveShortlist.ed50` first.
    errors : tuple of float
        Standard errors of start, size (and half_dose), in that order.
    squares : float
        Residual sum of squares.
    aic, aicc, weight : Estimate
        Information criteria, and the share of the weights of the three curves.
    """

    name: str
    start: Estimate
    size: Estimate
    half_dose: Estimate | None
    errors: tuple[float, ...]
    squares: float
    aic: Estimate
    aicc: Estimate
    weight: Estimate

    def at(self, dose: ArrayLike, *, offset: float) -> NDArray[np.float64]:
        """Return the change that the curve gives at doses, the first value at its mean.

        Parameters
        ----------
        dose : array of shape (n,)
        offset : float
            Of the shortlist, for the logarithm.
        """
        d = np.asarray(dose, dtype=float)
        half = float(self.half_dose.value) if self.half_dose is not None else 0.0  # type: ignore[arg-type]
        out: NDArray[np.float64] = float(self.start.value) + float(self.size.value) * _shape(  # type: ignore[arg-type]
            self.name, d, offset, half
        )
        return out

    def summary(self) -> str:
        """Return the curve with AICc and weight, rounded."""
        return f"{self.name}: AICc {self.aicc.value:.1f}, weight {self.weight.value:.2f}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveShortlist(Result):
    """Result of `curve_shortlist`.

    Parameters
    ----------
    curves : tuple of Curve
        Linear, log, saturating.
    flat_aicc : Estimate
        AICc without any dose, for comparison.
    ed50 : Estimate, optional
        Dose of half the largest change, with profile interval; None with its reason where the data do not bound it.
    offset : float
        Added to doses before the logarithm, in `dose_unit`.
    dose_unit : str
        UCUM code of doses.
    n_people : int
    reasons : dict of str to str
        Why a field is None.
    """

    curves: tuple[Curve, ...]
    flat_aicc: Estimate
    ed50: Estimate | None
    offset: float
    dose_unit: str
    n_people: int
    reasons: Mapping[str, str] = field(default_factory=dict)

    @property
    def linear(self) -> Curve:
        """The line."""
        return self.curves[0]

    @property
    def log(self) -> Curve:
        """The logarithm."""
        return self.curves[1]

    @property
    def saturating(self) -> Curve:
        """The rise that levels off."""
        return self.curves[2]

    @property
    def best(self) -> Curve:
        """The curve with the lowest AICc."""
        return min(self.curves, key=lambda curve: -float(curve.weight.value))  # type: ignore[arg-type]

    @property
    def flat(self) -> bool:
        """Whether no dose at all has the lowest AICc."""
        return bool(self.flat_aicc.value <= self.best.aicc.value)  # type: ignore[operator]

    def summary(self) -> str:
        """Return the weights and what is said of the half-maximal dose, rounded."""
        weights = ", ".join(f"{curve.name} {curve.weight.value:.2f}" for curve in self.curves)
        none = "; no dose at all has a lower AICc than any of them" if self.flat else ""
        if self.ed50 is None or self.ed50.interval is None:
            half = f"half-maximal dose not given: {self.reasons['ed50']}"
        else:
            ends = self.ed50.interval
            half = f"half-maximal dose {self.ed50.value:.3g} ({ends.low:.3g} to {ends.high:.3g}) {self.dose_unit}"
        return f"AICc weights: {weights}{none}; {half} (n = {self.n_people})"


def curve_shortlist(
    dose: ArrayLike,
    change: ArrayLike,
    *,
    baseline: ArrayLike | None = None,
    dose_unit: str,
    outcome_unit: str,
    offset: float | None = None,
    level: float = 0.95,
    min_people: int = FEWEST,
) -> CurveShortlist:
    """Compare a line, a logarithm and a saturating curve of change on dose by AICc.

    Parameters
    ----------
    dose : array of shape (n_participants,)
        In `dose_unit`; 0 or more, no missing values.
    change : array of shape (n_participants,)
        In `outcome_unit`; no missing values.
    baseline : array of shape (n_participants,) or (n_participants, k), optional
        Held constant, such as the first value.
    dose_unit, outcome_unit : str
        UCUM codes.
    offset : float, optional
        Added before the logarithm, in `dose_unit`; a hundredth of the largest dose by default. 0 needs doses above 0.
    level : float
        Nominal coverage of the intervals.
    min_people : int
        Fewer people than this are described only.

    Returns
    -------
    CurveShortlist
        Associations, no effects.

    Raises
    ------
    DesignError
        Too few people, fewer than four different doses, a negative dose, a dose of 0 without an offset, changes that
        are all the same, or a first value that explains dose or change without rest.

    Notes
    -----
    change = e0 + δ·d, e0 + δ·log(d + offset), e0 + E·d/(ED50 + d), by least squares; AICc = n log(RSS/n) + n log 2π + n
    + 2k + 2k(k + 1)/(n - k - 1), k counts the residual variance. ED50 is searched from a thousandth to one and a half
    times the largest dose; its interval holds all values with RSS ≤ RSS_min (1 + F(1, n - p)/(n - p)), and it is
    refused where that interval reaches the end of the search, or where no dose at all fits as well.

    References
    ----------
    Bretz, Pinheiro & Branson (2005) Biometrics 61:738-748; Hurvich & Tsai (1989) Biometrika 76:297-307; Bates & Watts
    (1988) Nonlinear Regression Analysis, chapter 6.

    Examples
    --------
    >>> dose = np.array([0, 0, 0, 1, 1, 2, 2, 4, 4, 8, 8, 16.0])
    >>> change = 3 * dose / (1 + dose) + np.array([0.1, -0.1] * 6)
    >>> found = curve_shortlist(dose, change, dose_unit="h", outcome_unit="cm")
    >>> found.best.name, round(found.ed50.value, 1)
    ('saturating', 1.0)
    """
    check_level(level)
    d, c, held = _checked(dose, change, baseline, min_people)
    shift = _offset(d, offset)
    basis = covariate_basis(len(d), held)
    left = rest(c, basis)
    if not left.any():
        raise DesignError("the first value explains the change without rest, so no curve of dose is left to see")
    half, at_edge = _half_dose(d, left, basis)
    parts = [_fit(name, d, c, basis, shift, half) for name in CURVES]
    flat = _aicc(float(left @ left), len(d), basis.shape[1] + 1)[1]
    criteria = [_aicc(part.squares, len(d), basis.shape[1] + 2 + (part.name == "saturating")) for part in parts]
    lowest = min(aicc for _, aicc in criteria)
    shares = np.exp([-(aicc - lowest) / 2 for _, aicc in criteria])
    caveats = ("association",)

    def number(value: float, unit: str, method: str, interval: Interval | None = None) -> Estimate:
        return Estimate(
            value=value, unit=unit, method=method, n_people=len(d), n_values=len(d), interval=interval,
            source=_SOURCE, caveats=caveats,
        )  # fmt: skip

    def curve(part: _Part, ic: tuple[float, float], share: float) -> Curve:
        quantile = t_quantile((1 + level) / 2, len(d) - len(part.values) - basis.shape[1] + 1)
        units = (outcome_unit, f"{outcome_unit}/{dose_unit}" if part.name == "linear" else outcome_unit, dose_unit)
        numbers = []
        for i, (value, error, unit) in enumerate(zip(part.values, part.errors, units, strict=False)):
            interval = Interval(value - quantile * error, value + quantile * error, level, "Student t")
            numbers.append(number(value, unit, f"dose_curve_{part.name}", None if i == 2 else interval))
        return Curve(
            name=part.name, start=numbers[0], size=numbers[1], half_dose=numbers[2] if len(numbers) == 3 else None,
            errors=part.errors, squares=part.squares, aic=number(ic[0], "1", "dose_curve_aicc"),
            aicc=number(ic[1], "1", "dose_curve_aicc"), weight=number(share, "1", "dose_curve_weight"),
        )  # fmt: skip

    curves = tuple(
        curve(part, ic, float(share)) for part, ic, share in zip(parts, criteria, shares / shares.sum(), strict=True)
    )
    reasons: dict[str, str] = {}
    ed50 = None
    try:
        ends = _half_dose_interval(d, left, basis, half, at_edge, level, criteria[2][1], flat)
        ed50 = number(half, dose_unit, "dose_ed50", ends)
    except DesignError as refusal:
        reasons["ed50"] = refusal.reason
    return CurveShortlist(
        curves=curves,
        flat_aicc=number(flat, "1", "dose_curve_aicc"),
        ed50=ed50,
        offset=shift,
        dose_unit=dose_unit,
        n_people=len(d),
        reasons=reasons,
    )


@dataclass(frozen=True, slots=True)
class _Part:
    name: str
    values: tuple[float, ...]
    errors: tuple[float, ...]
    squares: float


def _checked(
    dose: ArrayLike, change: ArrayLike, baseline: ArrayLike | None, min_people: int
) -> tuple[Vector, Vector, NDArray[np.float64] | None]:
    d, c = finite_vector(dose, name="dose", at_least=0), finite_vector(change, name="change", at_least=0)
    held = None if baseline is None else np.asarray(baseline, dtype=float)
    if len(d) != len(c) or (held is not None and len(held) != len(d)):
        raise DesignError(f"{len(d)} doses and {len(c)} changes; one of each, and of what is held, is needed a person")
    if held is not None and not np.isfinite(held).all():
        raise DesignError("a value to be held constant is missing; leave those people out and count them")
    if len(d) < min_people:
        raise DesignError(f"{len(d)} people with dose and change; fewer than {min_people} are described only")
    if (d < 0).any():
        raise DesignError(
            f"{int((d < 0).sum())} doses are below 0; a dose is 0 or more, so correct them or choose another quantity"
        )
    if all_equal(d):
        raise DesignError("everybody had the same dose; a curve needs people with different doses")
    if all_equal(c, scale=float(np.abs(c).max())):
        raise DesignError("everybody changed by the same amount, so there is nothing for a curve to follow")
    different = len(np.unique(d))
    if different < 4:
        raise DesignError(f"{different} different doses; telling three curves apart needs four or more")
    return d, c, held


def _offset(d: Vector, offset: float | None) -> float:
    shift = 0.01 * float(d.max()) if offset is None else float(offset)
    if shift < 0 or not math.isfinite(shift):
        raise DesignError("the offset of the logarithm must be 0 or more")
    if shift == 0 and (d == 0).any():
        raise DesignError(
            f"{int((d == 0).sum())} people have a dose of 0, which has no logarithm; give an offset above 0, such as a "
            "hundredth of the largest dose"
        )
    return shift


def _shape(name: str, d: Vector, offset: float, half: float) -> Vector:
    if name == "linear":
        return d
    return np.log(d + offset) if name == "log" else d / (half + d)


def _fit(name: str, d: Vector, c: Vector, basis: NDArray[np.float64], offset: float, half: float) -> _Part:
    """Return least squares of one curve with its standard errors."""
    n, f = len(d), _shape(name, d, offset, half)
    along, left = rest(f, basis), rest(c, basis)
    spread = float(along @ along)
    if spread == 0:
        raise DesignError("dose and first value rise together without rest, so they cannot be told apart")
    size = float(along @ left) / spread
    start = float(c.mean() - size * f.mean())
    squares = float(np.sum((left - size * along) ** 2))
    columns = [np.ones(n), f, *basis[:, 1:].T]
    values: tuple[float, ...] = (start, size)
    if name == "saturating":
        columns.insert(2, -size * d / (half + d) ** 2)
        values = (start, size, half)
    p = len(columns)
    if n - p < 1:
        raise DesignError(f"{n} people are too few for {p} parameters of a curve")
    scaled = np.column_stack(columns)
    lengths = np.linalg.norm(scaled, axis=0)
    safe = np.where(lengths > 0, lengths, 1.0)
    inverse = np.linalg.pinv((scaled / safe).T @ (scaled / safe))
    errors = np.sqrt(np.maximum(np.diagonal(inverse), 0.0) * squares / (n - p)) / safe
    return _Part(name, values, tuple(float(e) for e in errors[: len(values)]), squares)


def _aicc(squares: float, n: int, k: int) -> tuple[float, float]:
    """Return AIC and AICc of a least-squares fit with k parameters, the residual variance among them."""
    if n - k - 1 < 1:
        raise DesignError(f"{n} people are too few for AICc with {k} parameters")
    fit = least_squares_log_likelihood(max(squares, 1e-300), n)
    found = information_criteria(fit, n_parameters=k, n_values=n, n_people=n, method="dose_curve_aicc")
    return float(found.aic.value), float(found.aicc.value)  # type: ignore[arg-type, union-attr]


def _explained(d: Vector, left: Vector, basis: NDArray[np.float64], halves: Vector) -> Vector:
    """Return the sum of squares that the saturating curve explains at each half-maximal dose."""
    f = d[None, :] / (halves[:, None] + d[None, :])
    f = f - (f @ basis) @ basis.T
    spread = np.sum(f * f, axis=1)
    out: Vector = np.where(spread > 0, (f @ left) ** 2 / np.where(spread > 0, spread, 1.0), 0.0)
    return out


def _half_dose(d: Vector, left: Vector, basis: NDArray[np.float64]) -> tuple[float, bool]:
    """Return the half-maximal dose of least squares, and whether it lies at an end of the search."""
    from scipy.optimize import minimize_scalar

    low, high = _LOWEST * float(d.max()), _HIGHEST * float(d.max())
    grid = np.geomspace(low, high, 201)
    best = int(np.argmax(_explained(d, left, basis, grid)))
    if best in (0, len(grid) - 1):
        return float(grid[best]), True
    found = minimize_scalar(
        lambda x: -float(_explained(d, left, basis, np.array([math.exp(x)]))[0]),
        bounds=(math.log(grid[best - 1]), math.log(grid[best + 1])),
        method="bounded",
        options={"xatol": 1e-12},
    )
    return math.exp(float(found.x)), False


def _half_dose_interval(
    d: Vector,
    left: Vector,
    basis: NDArray[np.float64],
    half: float,
    at_edge: bool,
    level: float,
    aicc: float,
    flat: float,
) -> Interval:
    """Return the profile interval of the half-maximal dose, or refuse."""
    from scipy.optimize import brentq

    if flat <= aicc:
        raise DesignError("a curve that levels off fits no better than no dose at all, so it has no half-way dose")
    if at_edge:
        raise DesignError(
            "the best half-maximal dose lies at the end of what these doses can show; doses beyond the bend are needed"
        )
    whole, df = float(left @ left), len(d) - basis.shape[1] - 2
    lowest = whole - float(_explained(d, left, basis, np.array([half]))[0])
    allowed = lowest * (1 + f_quantile(level, 1, df) / df)

    def above(x: float) -> float:
        explained = _explained(d, left, basis, np.array([math.exp(x)]))
        return float(whole - explained[0] - allowed)

    ends = []
    for end in (_LOWEST, _HIGHEST):
        far = math.log(end * float(d.max()))
        if above(far) < 0:
            side = "below" if end == _LOWEST else "above"
            raise DesignError(
                f"the data do not bound the half-maximal dose from {side}: values at the end of the search "
                f"({math.exp(far):.3g}) fit nearly as well; people with more different doses are needed"
            )
        near = math.log(half)
        ends.append(math.exp(float(brentq(above, min(far, near), max(far, near), xtol=1e-10))))
    return Interval(ends[0], ends[1], level, "profile of the residual squares")
