"""How often each interval that a report prints holds the truth, and how often a test finds what is not there.

Run with ``python tests/studies/interval_coverage.py``: writes ``outcomes/intervals/coverage.csv`` beside what it
describes, with a progress bar, on two processes. ``--only NAME`` writes the rows of one interval anew and leaves the
others.

An interval registers itself with `interval`: a function that draws one set of n people of a shape and returns whether
the interval lies around the truth ("held"), wholly below it ("below") or above it ("above"), or None where it is
refused. Replicates are drawn in blocks of 100, each with a seed of its own, so that one block can be drawn again alone.
"""

from __future__ import annotations

import argparse
import csv
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from multiprocessing import Pool
from pathlib import Path
from typing import Any, Literal

import numpy as np

from outcomes.errors import DesignError
from outcomes.result import Interval

TABLE = Path(__file__).parents[2] / "outcomes" / "intervals" / "coverage.csv"
SIZES = (8, 12, 24, 60)
BLOCK = 100
SEED = 20261125
COLUMNS = ("interval", "kind", "shape", "n", "replicates", "refused", "held", "below", "above", "first_block")

Outcome = Literal["held", "below", "above"] | None
Draw = Callable[[np.random.Generator, int, str], Outcome]


@dataclass(frozen=True)
class Study:
    """One interval or test with the shapes of data that it is studied for."""

    draw: Draw
    shapes: tuple[str, ...]
    replicates: int
    kind: str
    smallest: int = 8


STUDIES: dict[str, Study] = {}


def interval(
    name: str, *, shapes: tuple[str, ...], replicates: int = 10_000, smallest: int = 8
) -> Callable[[Draw], Draw]:
    """Register an interval under the name that the table calls it."""

    def registered(draw: Draw) -> Draw:
        STUDIES[name] = Study(draw, shapes, replicates, "interval", smallest)
        return draw

    return registered


def no_change(name: str, *, shapes: tuple[str, ...], replicates: int = 10_000) -> Callable[[Draw], Draw]:
    """Register a test at 5 %: "above" counts a finding where there is none."""

    def registered(draw: Draw) -> Draw:
        STUDIES[name] = Study(draw, shapes, replicates, "test")
        return draw

    return registered


def around(found: Interval | None, truth: float) -> Outcome:
    """Return where an interval lies."""
    if found is None:
        return None
    return "below" if found.high < truth else "above" if found.low > truth else "held"


# ------------------------------------------------------------------------------------------------------ the data

CHANGES = ("normal", "skewed", "ordinal")
GRADED = (np.array([-2, -1, 0, 1, 2]), np.array([0.05, 0.15, 0.4, 0.3, 0.1]))
PEOPLE, ERROR = 2.0, 1.0
CUTS = np.array([-1.5, -0.5, 0.5, 1.5])


def changes(rng: np.random.Generator, n: int, shape: str) -> tuple[np.ndarray, float]:
    """Return changes of n people and their true mean."""
    if shape == "normal":
        return 0.5 + rng.normal(size=n), 0.5
    if shape == "skewed":
        return rng.exponential(size=n), 1.0
    values, shares = GRADED
    return rng.choice(values, size=n, p=shares).astype(float), float(values @ shares)


@cache
def pseudomedian(shape: str) -> float:
    """Return the median of the mean of two changes."""
    if shape == "normal":
        return 0.5
    if shape == "skewed":
        from scipy.special import gammaincinv

        return float(gammaincinv(2, 0.5)) / 2
    values, shares = GRADED
    means = np.add.outer(values, values).ravel() / 2
    order = np.argsort(means, kind="stable")
    below = np.cumsum(np.outer(shares, shares).ravel()[order])
    return float(means[order][np.searchsorted(below, 0.5)])


def repeats(rng: np.random.Generator, n: int, shape: str, k: int = 2) -> np.ndarray:
    """Return scores of n people on k occasions: variance of people 4, of error 1; "shifted": of occasions 0.25."""
    size = (n, k)
    if shape == "skewed":
        return PEOPLE * (rng.exponential(size=(n, 1)) - 1) + ERROR * (rng.exponential(size=size) - 1)
    shift = 0.5 * rng.normal(size=(1, k)) if shape == "shifted" else 0.0
    return PEOPLE * rng.normal(size=(n, 1)) + shift + ERROR * rng.normal(size=size)


def grades(rng: np.random.Generator, n: int, k: int = 2) -> np.ndarray:
    """Return grades 0 to 4 of n people on k occasions: a latent value of variance 1 and an error of variance 0.36."""
    latent = rng.normal(size=(n, 1)) + 0.6 * rng.normal(size=(n, k))
    return np.searchsorted(CUTS, latent)


@cache
def grade_table() -> np.ndarray:
    """Return the true shares of first (rows) and second grade, by Gauss-Hermite integration over people."""
    from scipy.special import ndtr

    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    ends = np.concatenate([[-np.inf], CUTS, [np.inf]])
    given = np.diff(ndtr((ends[None, :] - nodes[:, None]) / 0.6), axis=1)
    return np.einsum("u,ui,uj->ij", weights / weights.sum(), given, given)


# ------------------------------------------------------------------------------------- intervals of changes


@interval("Student t, mean", shapes=CHANGES)
def student(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import t_interval

    x, truth = changes(rng, n, shape)
    return around(t_interval(x), truth)


@interval("BCa bootstrap, mean", shapes=CHANGES, replicates=500, smallest=24)
def bca(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import bca_interval

    x, truth = changes(rng, n, shape)
    return around(bca_interval([x], lambda v: v.mean(axis=-1), resamples=1_000, rng=rng).interval, truth)


@interval("Hodges-Lehmann", shapes=CHANGES, replicates=1_000)
def walsh(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import hodges_lehmann

    return around(hodges_lehmann(changes(rng, n, shape)[0]).interval, pseudomedian(shape))


@interval("noncentral t, d_z", shapes=("normal", "skewed"), replicates=500)
def noncentral(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import noncentral_t_interval

    x, truth = changes(rng, n, shape)
    root = np.sqrt(n)
    found = noncentral_t_interval(float(root * x.mean() / x.std(ddof=1)), n - 1)
    return around(found, truth * root)


@interval("Wilson, share", shapes=("share 0.5", "share 0.2", "share 0.05"))
def wilson(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import wilson_interval

    share = float(shape.split()[1])
    return around(wilson_interval(int(rng.binomial(n, share)), n), share)


@interval("Newcombe, difference of shares", shapes=("shares 0.5, 0.3", "shares 0.2, 0.05"))
def newcombe(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.intervals import newcombe_interval

    first, second = (float(part) for part in shape.removeprefix("shares ").split(", "))
    counts = [int(rng.binomial(n, share)) for share in (first, second)]
    return around(newcombe_interval(counts[0], n, counts[1], n), first - second)


@interval("Welch t, difference of mean changes", shapes=("normal", "skewed"), replicates=1_000)
def welch(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.change import difference_of_changes

    a, b = (changes(rng, n, shape)[0] for _ in range(2))
    return around(difference_of_changes(a + 0.5, 2 * b, unit="cm").difference.interval, 0.5 - changes(rng, 1, shape)[1])


@interval("t, slope of change on dose", shapes=("normal", "skewed"), replicates=100, smallest=12)
def slope(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.dose_response import between_person_association

    dose, baseline = rng.normal(600, 100, size=n), rng.normal(50, 4, size=n)
    noise = rng.normal(size=n) if shape == "normal" else rng.exponential(size=n) - 1
    found = between_person_association(
        dose, 0.01 * dose + noise, baseline, dose_unit="min", per=100.0, outcome_unit="cm", resamples=99, rng=rng
    )
    return around(found.slope.interval, 1.0)


# ------------------------------------------------------------------------------- reliability and measurement error

REPEATS = ("normal", "shifted", "skewed")
SHIFT = {"shifted": 0.25}


def correlation(name: str) -> Draw:
    """Return the study of one intraclass correlation."""

    def draw(rng: np.random.Generator, n: int, shape: str) -> Outcome:
        from outcomes.reliability import intraclass_correlations

        found = getattr(intraclass_correlations(repeats(rng, n, shape)), name)
        error = ERROR**2 + (0.0 if name == "icc_c_1" else SHIFT.get(shape, 0.0))
        return None if found is None else around(found.interval, PEOPLE**2 / (PEOPLE**2 + error))

    return draw


for _name, _label in (("icc_1_1", "F, ICC(1,1)"), ("icc_a_1", "F, ICC(A,1)"), ("icc_c_1", "F, ICC(C,1)")):
    interval(_label, shapes=("normal", "skewed") if _name == "icc_1_1" else REPEATS, replicates=1_000)(
        correlation(_name)
    )


def error(name: str) -> Draw:
    """Return the study of one standard error of measurement; a detectable change is a multiple of it."""

    def draw(rng: np.random.Generator, n: int, shape: str) -> Outcome:
        from outcomes.reliability import measurement_error

        found = getattr(measurement_error(repeats(rng, n, shape), unit="cm"), name)
        shift = 0.0 if name == "standard_error_consistency" else SHIFT.get(shape, 0.0)
        return around(found.interval, float(np.sqrt(ERROR**2 + shift)))

    return draw


interval("chi-square, standard error of consistency", shapes=REPEATS, replicates=1_000)(
    error("standard_error_consistency")
)
interval("chi-square, standard error of agreement and MDC", shapes=REPEATS, replicates=500)(
    error("standard_error_agreement")
)


@interval("chi-square, precision error", shapes=("normal", "skewed"), replicates=500)
def precision(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import precision_error

    return around(precision_error(repeats(rng, n, shape), unit="cm").precision_error.interval, ERROR)


@interval("bootstrap over people, ICC(C,1)", shapes=("normal", "skewed"), replicates=200)
def resampled(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import participant_bootstrap

    found = participant_bootstrap(repeats(rng, n, shape), "icc_c_1", resamples=1_000, rng=rng)
    return around(found.interval, PEOPLE**2 / (PEOPLE**2 + ERROR**2))


@interval("Fisher z, concordance", shapes=("normal", "skewed"), replicates=500)
def concordance(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import concordance_correlation

    found = concordance_correlation(repeats(rng, n, shape)).concordance
    return around(found.interval, PEOPLE**2 / (PEOPLE**2 + ERROR**2))


@interval("Feldt F, Cronbach's alpha", shapes=("normal", "skewed"), replicates=1_000)
def feldt(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import cronbach_alpha

    truth = 4 * PEOPLE**2 / (4 * PEOPLE**2 + ERROR**2)
    return around(cronbach_alpha(repeats(rng, n, shape, k=4)).alpha.interval, truth)


# ---------------------------------------------------------------------------------------------------- agreement


def limit(how: str) -> Draw:
    """Return the study of the upper limit of agreement."""

    def draw(rng: np.random.Generator, n: int, shape: str) -> Outcome:
        from outcomes.reliability import limits_of_agreement

        first, second = repeats(rng, n, shape).T
        found = limits_of_agreement(first, second, unit="cm", interval=how)  # type: ignore[arg-type]
        return around(found.upper.interval, 1.96 * float(np.sqrt(2)) * ERROR)

    return draw


interval("1999 formula, limit of agreement", shapes=("normal", "skewed"), replicates=500)(limit("approximate"))
interval("exact, limit of agreement", shapes=("normal", "skewed"), replicates=200)(limit("exact"))


@interval("recovered variances, limit from replicates", shapes=("normal",), replicates=500)
def replicated(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import replicate_limits_of_agreement

    own = 0.5 * rng.normal(size=(n, 1))
    true = PEOPLE * rng.normal(size=(n, 1))
    first, second = true + ERROR * rng.normal(size=(n, 2)), true + own + ERROR * rng.normal(size=(n, 3))
    found = replicate_limits_of_agreement(first, second, unit="cm")
    return around(found.upper.interval, 1.96 * float(np.sqrt(0.25 + 2 * ERROR**2)))


@interval("recovered variances, limit from varying pairs", shapes=("normal",), replicates=500)
def varying(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import varying_limits_of_agreement

    first = PEOPLE * rng.normal(size=(n, 3))
    second = first + 0.5 * rng.normal(size=(n, 1)) + rng.normal(size=(n, 3))
    first[: n // 3, 2] = second[: n // 3, 2] = np.nan
    found = varying_limits_of_agreement(first, second, unit="cm")
    return around(found.upper.interval, 1.96 * float(np.sqrt(1.25)))


@interval("percentile bootstrap, limit by size", shapes=("normal",), replicates=300, smallest=12)
def by_size(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import limits_of_agreement_by_size

    true = rng.uniform(10, 50, size=n)
    noise = rng.normal(size=(2, n)) * 0.05 * true / np.sqrt(2)
    first, second = true + noise[0], true + noise[1]
    found = limits_of_agreement_by_size(first, second, unit="cm", at=[float(np.median(true))], resamples=1_000, rng=rng)
    return around(found.upper[0].interval, 1.96 * 0.05 * found.sizes[0])


# -------------------------------------------------------------------------------------------------------- grades


def weighted(weights: str) -> Draw:
    """Return the study of one kappa."""

    def draw(rng: np.random.Generator, n: int, shape: str) -> Outcome:
        from outcomes.reliability import cohen_kappa, kappa_of_table

        first, second = grades(rng, n).T
        truth = kappa_of_table(1e6 * grade_table(), weights=weights).kappa.value  # type: ignore[arg-type]
        found = cohen_kappa(first, second, grades=range(5), weights=weights)  # type: ignore[arg-type]
        return around(found.kappa.interval, float(truth))  # type: ignore[arg-type]

    return draw


for _name in ("plain", "linear", "quadratic"):
    interval(f"normal, kappa, {_name}", shapes=("ordinal",), replicates=500)(weighted(_name))


@interval("Student t linearised, AC1", shapes=("ordinal",), replicates=500)
def ac1(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import gwet_agreement

    table = grade_table()
    p = table.sum(axis=0)
    chance = float((p * (1 - p)).sum()) / 4
    truth = (float(np.trace(table)) - chance) / (1 - chance)
    return around(gwet_agreement(grades(rng, n), grades=range(5)).coefficient.interval, truth)


@interval("bootstrap over people, ordinal alpha", shapes=("ordinal",), replicates=500)
def alpha(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.reliability import krippendorff_alpha

    table = grade_table()
    p = table.sum(axis=0)
    up = np.cumsum(p) - p / 2
    squared = np.subtract.outer(up, up) ** 2
    truth = 1 - float((table * squared).sum() / (np.outer(p, p) * squared).sum())
    found = krippendorff_alpha(grades(rng, n), grades=range(5), resamples=1_000, rng=rng)
    return around(found.coefficient.interval, truth)


# ------------------------------------------------------------------------------------------- tests of no change


def null(rng: np.random.Generator, n: int, shape: str) -> np.ndarray:
    """Return changes that are symmetric about 0."""
    if shape == "ordinal":
        return rng.choice([-2.0, -1.0, 0.0, 1.0, 2.0], size=n, p=[0.1, 0.2, 0.4, 0.2, 0.1])
    x = rng.normal(size=n) if shape == "normal" else rng.laplace(size=n)
    return np.round(x, 1)


@no_change("sign flip", shapes=("normal", "long tails", "ordinal"), replicates=2_000)
def sign_flip(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.change import sign_flip_test

    return "above" if sign_flip_test(null(rng, n, shape), rng=rng).test.p <= 0.05 else "held"


@no_change("Wilcoxon signed rank", shapes=("normal", "long tails", "ordinal"), replicates=500)
def signed_rank(rng: np.random.Generator, n: int, shape: str) -> Outcome:
    from outcomes.change import wilcoxon_signed_rank

    return "above" if wilcoxon_signed_rank(null(rng, n, shape)).test.p <= 0.05 else "held"


# ------------------------------------------------------------------------------------------------------ the run


def block(name: str, shape: str, n: int, number: int, size: int = BLOCK) -> dict[str, int]:
    """Return the counts of one block of replicates; the same counts whenever it is drawn."""
    words = [int.from_bytes(word.encode(), "little") for word in (name, shape)]
    rng = np.random.default_rng(np.random.SeedSequence([SEED, *words, n, number]))
    counts = {"held": 0, "below": 0, "above": 0, "refused": 0}
    for _ in range(size):
        try:
            found = STUDIES[name].draw(rng, n, shape)
        except DesignError:
            found = None
        counts[found or "refused"] += 1
    return counts


def cells(only: str = "") -> Iterator[tuple[str, str, int]]:
    """Yield every interval, shape and number of people."""
    for name, study in STUDIES.items():
        if not only or name == only:
            yield from ((name, shape, n) for shape in study.shapes for n in SIZES if n >= study.smallest)


def _job(job: tuple[str, str, int, int]) -> tuple[tuple[str, str, int, int], dict[str, int]]:
    return job, block(*job)


def study_rows(only: str, processes: int) -> list[dict[str, Any]]:
    """Return the rows of the table, in the order of the registry."""
    jobs = [(*cell, number) for cell in cells(only) for number in range(STUDIES[cell[0]].replicates // BLOCK)]
    found: dict[tuple[str, str, int], dict[int, dict[str, int]]] = {}
    with Pool(processes) as pool:
        for done, (job, counts) in enumerate(pool.imap_unordered(_job, jobs, chunksize=1), start=1):
            found.setdefault(job[:3], {})[job[3]] = counts
            if done % 20 == 0 or done == len(jobs):
                bar = "#" * (40 * done // len(jobs))
                print(f"\r[{bar:<40}] {done} of {len(jobs)} blocks", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    rows = []
    for cell in cells(only):
        blocks = found[cell]
        total = {key: sum(one[key] for one in blocks.values()) for key in ("held", "below", "above", "refused")}
        name, shape, n = cell
        rows.append(
            {"interval": name, "kind": STUDIES[name].kind, "shape": shape, "n": n,
             "replicates": sum(total.values()), **total, "first_block": blocks[0]["held"]}
        )  # fmt: skip
    return rows


def read_table() -> list[dict[str, Any]]:
    """Return the committed table, numbers as numbers."""
    with TABLE.open(encoding="utf-8") as stream:
        return [{k: int(v) if v.isdecimal() else v for k, v in row.items()} for row in csv.DictReader(stream)]


def main() -> None:
    """Run the study and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="write the rows of one interval anew")
    parser.add_argument("--processes", type=int, default=2)
    chosen = parser.parse_args()
    if chosen.only and chosen.only not in STUDIES:
        parser.error(f"no interval '{chosen.only}'; there are {', '.join(STUDIES)}")
    rows = study_rows(chosen.only, chosen.processes)
    if chosen.only and TABLE.exists():
        old = {(r["interval"], r["shape"], r["n"]): r for r in read_table()}
        old |= {(r["interval"], r["shape"], r["n"]): r for r in rows}
        rows = [old[cell] for cell in cells() if cell in old]
    with TABLE.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


if __name__ == "__main__":
    main()
