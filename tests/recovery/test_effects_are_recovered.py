"""The arithmetic finds what was put into the invented cohort, at the rate that it states: many small cohorts, girth."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from functools import cache
from statistics import mean, stdev

import numpy as np
import pytest

from outcomes.change import paired_change
from outcomes.dose_response import between_person_association
from outcomes.reliability import measurement_error
from synthetic_cohort.cohort import draw_cohort
from synthetic_cohort.people import Options
from synthetic_cohort.plan import make_plan

PEOPLE = 24
COHORTS = 30
Read = dict[tuple[str, str], dict[str, list[float]]]


@dataclass(frozen=True)
class Observed:
    """One cohort: girth (cm) of those with both visits, their truth and dose, and the repeats."""

    before: list[float]
    after: list[float]
    true_change: list[float]
    true_before: list[float]
    minutes: list[float]
    repeats: list[tuple[float, float]]

    @property
    def change(self) -> list[float]:
        return [b - a for a, b in zip(self.before, self.after, strict=True)]


def thighs(rows: list[dict[str, str]], time: str) -> dict[tuple[str, str], float]:
    """Mean of both thighs by person and time, where both were read."""
    read: Read = defaultdict(lambda: defaultdict(list))
    for row in rows:
        if row["measure"] == "limb_girth" and row["place"] == "mid_thigh" and row["response"]:
            read[row["participant_id"], row[time]][row["side"]].append(float(row["response"]))
    return {key: mean(map(mean, sides.values())) for key, sides in read.items() if len(sides) == 2}


@cache
def cohorts(dose_effect: str, confounding: bool = False) -> tuple[Observed, ...]:
    return tuple(observe(Options(seed, 16, dose_effect, confounding, False)) for seed in range(COHORTS))


def observe(options: Options) -> Observed:
    members, tables = draw_cohort(PEOPLE, make_plan(16), options)
    girth, again = thighs(tables["assessments"], "visit"), thighs(tables["repeats"], "occasion")
    seen = Observed([], [], [], [], [], [])
    for member in members:
        course, name = member.course, member.course.person.participant_id
        start = {visit.key: visit.start for visit in member.held}
        if (name, "week0") in girth and (name, "week16") in girth:
            first, last = (
                mean(course.girth_cm("mid_thigh", side, start[key]) for side in ("left", "right"))
                for key in ("week0", "week16")
            )
            seen.before.append(girth[name, "week0"])
            seen.after.append(girth[name, "week16"])
            seen.true_before.append(first)
            seen.true_change.append(last - first)
            seen.minutes.append(sum(s.active_minutes for s in course.training.until(start["week16"])))
        if (name, "test_1") in again and (name, "test_2") in again:
            seen.repeats.append((again[name, "test_1"], again[name, "test_2"]))
    return seen


def least(nominal: float, n: int) -> float:
    """The lowest share out of n that chance leaves likely: two standard errors below."""
    return nominal - 2 * math.sqrt(nominal * (1 - nominal) / n)


def test_intervals_of_the_mean_change_cover_the_true_mean_at_the_stated_rate() -> None:
    drawn = cohorts("active_minutes")
    population = mean(change for one in drawn for change in one.true_change)
    own = people = 0
    for seed, one in enumerate(drawn):
        found = paired_change(one.before, one.after, unit="cm", rng=np.random.default_rng(seed), resamples=200).mean
        assert found.interval is not None
        own += found.interval.low <= mean(one.true_change) <= found.interval.high
        people += found.interval.low <= population <= found.interval.high
    assert own / COHORTS >= least(0.95, COHORTS)
    assert people / COHORTS >= least(0.95, COHORTS)


def test_the_mean_change_is_not_biased() -> None:
    errors = [mean(one.change) - mean(one.true_change) for one in cohorts("active_minutes")]
    assert abs(mean(errors)) < 2 * stdev(errors) / math.sqrt(COHORTS)


def test_repeats_give_the_error_that_was_put_in() -> None:
    # variance of the mean of two thighs, two readings each: oedema of the day, placing of the tape, reading, and in 3
    # of 10 second tests another rater (the cohort's own parameters)
    expected = 0.3**2 + 0.35**2 / 2 + 0.2**2 / 4 + 0.3 * 0.6**2
    found = [measurement_error(one.repeats, unit="cm") for one in cohorts("active_minutes")]
    variances = [float(error.standard_error_agreement.value) ** 2 for error in found]
    assert mean(variances) == pytest.approx(expected, abs=2 * stdev(variances) / math.sqrt(COHORTS))


def slopes(drawn: tuple[Observed, ...]) -> list[tuple[float, float]]:
    """Slope (cm per 1000 min) and permutation p of each cohort."""
    out = []
    for seed, one in enumerate(drawn):
        found = between_person_association(
            one.minutes,
            one.change,
            one.before,
            dose_unit="min",
            per=1000.0,
            outcome_unit="cm",
            rng=np.random.default_rng(seed),
            resamples=499,
        ).slope
        assert found.test is not None
        out.append((float(found.value), float(found.test.p)))
    return out


def test_a_dose_that_does_nothing_is_found_to_do_something_no_more_often_than_stated() -> None:
    found = slopes(cohorts("none"))
    share = sum(p <= 0.05 for _, p in found) / COHORTS
    assert share <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / COHORTS)
    assert abs(mean(slope for slope, _ in found)) < 2 * stdev(slope for slope, _ in found) / math.sqrt(COHORTS)


def test_a_dose_that_works_is_found_with_its_slope() -> None:
    drawn = cohorts("active_minutes")
    found = [slope for slope, _ in slopes(drawn)]
    # 3 % of the first girth per 1000 minutes (the cohort's own parameter)
    expected = 0.03 * mean(girth for one in drawn for girth in one.true_before)
    assert mean(found) == pytest.approx(expected, abs=2 * stdev(found) / math.sqrt(COHORTS))


def test_confounding_looks_like_a_dose_effect_where_there_is_none() -> None:
    found = [slope for slope, _ in slopes(cohorts("none", confounding=True))]
    assert mean(found) > 2 * stdev(found) / math.sqrt(COHORTS)
