"""Studies of the intervals of associations of dose with change, and of those of mixed models of visits and limbs."""

from __future__ import annotations

from functools import cache, partial
from typing import Any

import coverage_data as data
import numpy as np
from coverage_data import NEAR_AND_FAR, Data
from coverage_registry import MODELLED, interval, no_change

SLOPE = 0.01


def doses(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return doses, changes and first values: 0.01 for each minute, a spread of 100 minutes; first values apart."""
    dose, first = rng.normal(600, 100, size=(size, n)), rng.normal(50, 4, size=(size, n))
    return dose, SLOPE * dose + data.noise(rng, (size, n), shape), first


def _slope(held: bool) -> Any:
    def one(dose: np.ndarray, change: np.ndarray, first: np.ndarray, rng: Any) -> Any:
        from outcomes.dose_response.between import _slope as slope
        from outcomes.dose_response.linear import fit

        return slope(fit(dose, change, first if held else None), "dose_slope", 1.0, "cm", 0.95, ()).interval

    return one


def _rests(held: bool, dose: np.ndarray, change: np.ndarray, first: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    d, c = (x - x.mean(axis=-1, keepdims=True) for x in (dose, change))
    if held:
        b = first - first.mean(axis=-1, keepdims=True)
        square = (b * b).sum(axis=-1, keepdims=True)
        d, c = (x - b * (b * x).sum(axis=-1, keepdims=True) / square for x in (d, c))
    return d, c


def _slope_ends(held: bool, dose: np.ndarray, change: np.ndarray, first: np.ndarray) -> Any:
    d, c = _rests(held, dose, change, first)
    df, square = dose.shape[-1] - 2 - held, (d * d).sum(axis=-1)
    slope = (d * c).sum(axis=-1) / square
    half = data.t_half(df, np.sqrt(((c - slope[:, None] * d) ** 2).sum(axis=-1) / df / square))
    return slope - half, slope + half


for _held, _label, _ids in (
    (True, "t, slope of change on dose given the first value", ("dose_slope", "dose_curve_linear", "dose_curve_log")),
    (False, "t, slope of change on dose", ("dose_slope_raw",)),
):
    interval(
        _label, *_ids, shapes=NEAR_AND_FAR, draw=doses, truth=lambda shape: SLOPE, one=_slope(_held),
        many=partial(_slope_ends, _held), smallest=12,
    )  # fmt: skip


def _partial(ranked: bool) -> Any:
    def one(dose: np.ndarray, change: np.ndarray, first: np.ndarray, rng: Any) -> Any:
        from outcomes.dose_response.between import _correlation
        from outcomes.dose_response.linear import fit
        from outcomes.intervals import midranks

        columns = [midranks(x) for x in (dose, change, first)] if ranked else [dose, change, first]
        return _correlation(fit(*columns), "dose_rank", 0.95, (), ranks=ranked).interval

    return one


def _partial_ends(ranked: bool, *columns: np.ndarray) -> Any:
    d, c = _rests(True, *(data.ranks(x) for x in columns) if ranked else columns)
    r = (d * c).sum(axis=-1) / np.sqrt((d * d).sum(axis=-1) * (c * c).sum(axis=-1))
    return data.fisher_ends(r, (1 + r * r / 2 if ranked else 1.0) / (d.shape[-1] - 4))


@cache
def true_rank(shape: str) -> float:
    """Return Spearman's correlation of very many people's dose and change, by 1,000,000 of them."""
    dose, change, _ = doses(np.random.default_rng(20261125), 1_000_000, shape, 1)
    a, b = (np.argsort(np.argsort(x[0])) for x in (dose, change))
    return float(np.corrcoef(a, b)[0, 1])


interval(
    "Fisher z, partial correlation", "dose_partial_correlation", shapes=NEAR_AND_FAR, draw=doses,
    truth=lambda shape: float(np.sqrt(0.5)), one=_partial(False), many=partial(_partial_ends, False), smallest=12,
)  # fmt: skip
interval(
    "Fisher z with Bonett-Wright variance, partial rank correlation", "dose_rank", "dose_origin_rank",
    shapes=NEAR_AND_FAR, draw=doses, truth=true_rank, one=_partial(True), many=partial(_partial_ends, True),
    smallest=12,
)  # fmt: skip


def along(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return five values of two quantities of each person, whose own level differs; correlated by 0.6 within people."""
    x = rng.normal(size=(size, n, 5))
    y = 0.6 * x + 0.8 * data.noise(rng, (size, n, 5), shape)
    return x + 2 * rng.normal(size=(size, n, 1)), y + 2 * rng.normal(size=(size, n, 1))


def _repeated(x: np.ndarray, y: np.ndarray, rng: Any) -> Any:
    from outcomes.dose_response import repeated_measures_correlation

    person = np.repeat(np.arange(len(x)), x.shape[1])
    return repeated_measures_correlation(person, x.ravel(), y.ravel()).correlation.interval


def _repeated_ends(x: np.ndarray, y: np.ndarray) -> Any:
    a, b = ((v - v.mean(axis=-1, keepdims=True)).reshape(len(v), -1) for v in (x, y))
    r = (a * b).sum(axis=-1) / np.sqrt((a * a).sum(axis=-1) * (b * b).sum(axis=-1))
    n, k = x.shape[1:]
    return data.fisher_ends(r, 1 / (n * k - n - 1 - 1))


interval(
    "Fisher z, repeated-measures correlation", "dose_repeated_measures", shapes=NEAR_AND_FAR, draw=along,
    truth=lambda shape: 0.6, one=_repeated, many=_repeated_ends,
)  # fmt: skip

HALF, TOP = 400.0, 8.0


def saturating(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return doses from 0 to 2,000 and changes that reach half of 8 at 400."""
    dose = rng.uniform(0, 2_000, size=(size, n))
    return dose, TOP * dose / (HALF + dose) + data.noise(rng, (size, n), shape)


def _half_dose(dose: np.ndarray, change: np.ndarray, rng: Any) -> Any:
    from outcomes.dose_response import curve_shortlist

    found = curve_shortlist(dose, change, dose_unit="min", outcome_unit="cm").ed50
    return None if found is None else found.interval


interval(
    "profile, half-maximal dose", "dose_ed50", shapes=NEAR_AND_FAR, draw=saturating,
    truth=lambda shape: HALF, one=_half_dose, smallest=12,
)  # fmt: skip


def _most(dose: np.ndarray, change: np.ndarray, rng: Any) -> Any:
    from outcomes.dose_response import curve_shortlist

    found = curve_shortlist(dose, change, dose_unit="min", outcome_unit="cm")
    return next(curve for curve in found.curves if curve.name == "saturating").size.interval


interval(
    "linearised t, largest change of the saturating curve", "dose_curve_saturating", shapes=NEAR_AND_FAR,
    draw=saturating, truth=lambda shape: TOP, one=_most, smallest=12,
)  # fmt: skip


# ------------------------------------------------------------------------------------------------- tests without effect


def no_dose(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return doses and first values that go together, and changes that neither goes along with."""
    first = rng.normal(50, 4, size=(size, n))
    return 600 + 10 * (first - 50) + rng.normal(0, 100, size=(size, n)), data.noise(rng, (size, n), shape), first


def _permuted(ranked: bool) -> Any:
    def one(dose: np.ndarray, change: np.ndarray, first: np.ndarray, rng: np.random.Generator) -> float:
        from outcomes.dose_response.linear import fit, permutation_test
        from outcomes.intervals import midranks

        columns = [midranks(x) for x in (dose, change, first)] if ranked else [dose, change, first]
        return permutation_test(fit(*columns), resamples=199, rng=rng).p

    return one


no_change("permutation of the slope on dose", shapes=NEAR_AND_FAR, draw=no_dose, one=_permuted(False))
no_change("permutation of the rank correlation with dose", shapes=NEAR_AND_FAR, draw=no_dose, one=_permuted(True))


# --------------------------------------------------------------------------------------------------------- mixed models

VISITS = ("week0", "week8", "week16")


def missed(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return values at three visits, of people who differ in level; one in seven of the later ones is missing."""
    rise = np.array([0.0, 0.5, 1.0])
    values = data.noise(rng, (size, n, 1), shape) * 2 + rise + data.noise(rng, (size, n, 3), shape)
    values[..., 1:][rng.uniform(size=(size, n, 2)) < 1 / 7] = np.nan
    return (values,)


def _visit(values: np.ndarray, rng: Any) -> Any:
    from outcomes.models import visit_model

    n = len(values)
    there = ~np.isnan(values.ravel())
    person, visit = np.repeat(np.arange(n), 3)[there], np.tile(VISITS, n)[there]
    found = visit_model(
        values.ravel()[there], person, visit, visits=VISITS, compare=("week0", "week16"), unit="cm"
    ).change  # fmt: skip
    return found.interval


interval(
    "Kenward-Roger, change between visits", "visit_change", "visit_mean", shapes=NEAR_AND_FAR, draw=missed,
    truth=lambda shape: 1.0, one=_visit, replicates=1_000, why=MODELLED,
)  # fmt: skip


def _spread(values: np.ndarray, rng: Any) -> Any:
    from outcomes.models import mixed_model

    n = len(values)
    there = ~np.isnan(values.ravel())
    person, visit = np.repeat(np.arange(n), 3)[there], np.tile(np.arange(3), n)[there]
    model = mixed_model(values.ravel()[there], np.eye(3)[visit], person, unit="cm", names=list(VISITS))
    return model.variance_intervals().intercept_sd.interval


interval(
    "profile likelihood, standard deviation between people", "mixed_sd_profile_reml", "mixed_sd_profile_ml",
    shapes=NEAR_AND_FAR, draw=missed, truth=lambda shape: 2.0, one=_spread, replicates=500, why=MODELLED,
)  # fmt: skip


def limbs(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return changes of two limbs whose people explain a half of the variance; one person in six has one limb."""
    values = (data.noise(rng, (size, n, 1), shape) + data.noise(rng, (size, n, 2), shape)) / np.sqrt(2) + 0.5
    values[:, : n // 6, 1] = np.nan
    return (values,)


def _limbs(values: np.ndarray, rng: Any) -> Any:
    from outcomes.models import limb_change

    there = ~np.isnan(values.ravel())
    n = len(values)
    person, limb = np.repeat(np.arange(n), 2)[there], np.tile(["left", "right"], n)[there]
    found = limb_change(values.ravel()[there], person, limb, unit="cm").modelled
    return None if found is None else found.interval


interval(
    "Kenward-Roger, change of two limbs", "limb_modelled", "limb_difference", shapes=NEAR_AND_FAR, draw=limbs,
    truth=lambda shape: 0.5, one=_limbs, replicates=1_000, why=MODELLED,
)  # fmt: skip


def within(rng: np.random.Generator, n: int, shape: str, size: int) -> Data:
    """Return dose up to each of five visits, with pauses, and values that follow it and time."""
    dose = np.cumsum(rng.choice([0.0, 1.0, 2.0], size=(size, n, 5)), axis=-1)
    own = 2 * rng.normal(size=(size, n, 1)) + 0.3 * rng.normal(size=(size, n, 1)) * np.arange(5.0)
    return dose, own + 0.5 * dose + 0.2 * np.arange(5.0) + data.noise(rng, (size, n, 5), shape)


def _within(dose: np.ndarray, values: np.ndarray, rng: Any) -> Any:
    from outcomes.dose_response import within_person_association

    n = len(dose)
    found = within_person_association(
        np.repeat(np.arange(n), 5), np.tile(np.arange(5.0), n), dose.ravel(), values.ravel(), dose_unit="h", per=1.0,
        outcome_unit="cm",
    ).within  # fmt: skip
    return None if found is None else found.interval


interval(
    "Kenward-Roger, dose within people", "dose_within", "dose_between", "dose_time", "dose_time_alone",
    shapes=NEAR_AND_FAR, draw=within, truth=lambda shape: 0.5, one=_within, replicates=500, why=MODELLED, smallest=24,
    largest=24,
)  # fmt: skip
