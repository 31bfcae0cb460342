"""Every number of a record, worked out a second time from the csv files alone, by formulas written here.

Nothing of the toolkit takes part in the second computation (plain_reading.py, plain_arithmetic.py): numpy, scipy's
distributions and whole-number arithmetic do. Each function names where its formula stands.
"""

from __future__ import annotations

import itertools
import json
import math
import statistics
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from outcomes.analysis import analyse
from outcomes.study import Study
from synthetic_cohort import write_cohort

sys.path.insert(0, str(Path(__file__).parent))
from plain_arithmetic import (
    agreement,
    bca,
    holm,
    noncentral,
    partial,
    permutation_p,
    regression,
    sign_flip_p,
    signed_rank_p,
    walsh,
)
from plain_reading import AFTER, BEFORE, GIRTHS, Recomputed

CONTRAST = f"{AFTER}_minus_{BEFORE}"
EXPOSURES = {"active_minutes": 600, "active_minutes_per_week": 30, "work_kj": 100, "work_kj_per_week": 10}


# ---------------------------------------------------------------------------------------------------- the comparison

Expected = dict[str, float]
"""Key of the record, a blank, and "value", "low", "high" or "p", to what it should be."""


def numeric_change(
    data: Recomputed, name: str, mdc: float | None, se: float | None, df: float | None, better: int = 1
) -> Expected:
    """Change of an interval or ratio scale; people held against `mdc`."""
    pairs = data.pairs(name).values()
    first, second = (np.array([float(pair[i]) for pair in pairs]) for i in (0, 1))
    exact = [b - a for a, b in pairs]
    change, n, key = np.array([float(c) for c in exact]), len(exact), f"change/{name}/all/{CONTRAST}/-"
    mean, sd = change.mean(), change.std(ddof=1)
    half = stats.t.ppf(0.975, n - 1) * sd / math.sqrt(n)  # Student (1908) Biometrika 6:1
    # Hedges (1981) J Educ Stat 6:107, exact form
    j = math.gamma((n - 1) / 2) / (math.sqrt((n - 1) / 2) * math.gamma((n - 2) / 2))
    limits = [c / math.sqrt(n) for c in noncentral(math.sqrt(n) * mean / sd, n - 1)]
    found = {
        f"{key}/mean value": mean,
        f"{key}/mean low": mean - half,
        f"{key}/mean high": mean + half,
        f"{key}/sd value": sd,
        f"{key}/before_mean value": first.mean(),
        f"{key}/before_sd value": first.std(ddof=1),
        f"{key}/after_mean value": second.mean(),
        f"{key}/after_sd value": second.std(ddof=1),
        f"{key}/correlation value": np.corrcoef(first, second)[0, 1],
        f"{key}/d_z value": mean / sd,  # Lakens (2013) Front Psychol 4:863
        f"{key}/d_z low": limits[0],
        f"{key}/d_z high": limits[1],
        f"{key}/d_av value": mean / ((first.std(ddof=1) + second.std(ddof=1)) / 2),
        f"{key}/hedges_g value": j * mean / sd,
        f"{key}/hedges_g low": j * limits[0],
        f"{key}/hedges_g high": j * limits[1],
        f"flow/{name}/all/{CONTRAST}/-/analysed value": n,
    }
    if name.startswith("limb_girth.girth/mid_thigh"):
        found[f"{key}/mean p"] = sign_flip_p(exact)
    if mdc is not None and se is not None:
        improved = better * change
        counts = [int((improved >= mdc).sum()), int((abs(change) < mdc).sum()), int((improved <= -mdc).sum())]
        found |= {f"{key}/{s} value": c for s, c in zip(("better", "within", "other"), counts, strict=True)}
        found[f"{key}/mdc95_used value"] = mdc
        # two differing measurements of an unchanged person: t with the degrees of freedom of the error
        found[f"{key}/expected_by_error value"] = 2 * stats.t.sf(mdc / (math.sqrt(2) * se), df)
        share, z = counts[0] / n, 1.959963984540054  # Wilson (1927) J Am Stat Assoc 22:209
        root = z * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
        centre = share + z**2 / (2 * n)
        found |= {
            f"{key}/share_better value": share,
            f"{key}/share_better low": (centre - root) / (1 + z**2 / n) if counts[0] else 0.0,
            f"{key}/share_better high": (centre + root) / (1 + z**2 / n),
        }
    return found


def ranked_change(data: Recomputed, name: str, *, tested: bool) -> Expected:
    """Change of an ordinal scale."""
    first, second = zip(*data.pairs(name).values(), strict=True)
    change, key = [b - a for a, b in zip(first, second, strict=True)], f"change/{name}/all/{CONTRAST}/-"
    middle, low, high = walsh(change)
    moved = [c for c in change if c]
    ranks = stats.rankdata(np.round(np.abs(moved), 9))  # means of three answers differ by dust
    found = {
        f"{key}/median_before value": statistics.median(first),
        f"{key}/median_after value": statistics.median(second),
        f"{key}/hodges_lehmann value": middle,
        f"{key}/hodges_lehmann low": low,
        f"{key}/hodges_lehmann high": high,
        f"{key}/lower value": sum(c < 0 for c in change),
        f"{key}/same value": sum(c == 0 for c in change),
        f"{key}/higher value": sum(c > 0 for c in change),
        # Kerby (2014) Compr Psychol 3:11.IT.3.1
        f"{key}/rank_biserial value": (ranks * np.sign(moved)).sum() / ranks.sum(),
        f"flow/{name}/all/{CONTRAST}/-/analysed value": len(change),
    }
    return found | ({f"{key}/hodges_lehmann p": signed_rank_p(change)} if tested else {})


def flow(data: Recomputed, name: str) -> Expected:
    values, key = data.outcomes[name], f"flow/{name}/all/{CONTRAST}/-"
    first = {n for n in data.people if (n, BEFORE) in values}
    return {
        f"{key}/missing_before value": len(data.people) - len(first),
        f"{key}/missing_after value": sum((n, AFTER) not in values for n in data.people),
    }


def dose_numbers(data: Recomputed, visit: str) -> Expected:
    """Sums, means, ratios and rates over the people seen at a visit."""
    people = list(data.dose(visit).values())
    found: Expected = {}
    for name in ("sessions", "active_minutes", "work_kj"):
        key = f"dose/-/-/all/{visit}/{name}"
        planned, delivered = ([p[f"{what}_{name}"] for p in people] for what in ("planned", "delivered"))
        both = [(d, p) for d, p in zip(delivered, planned, strict=True) if not math.isnan(d + p) and p > 0]
        known = [d for d in delivered if not math.isnan(d)]
        found |= {
            f"{key}/delivered_sum value": math.fsum(known),
            f"{key}/delivered_mean value": statistics.fmean(known),
            f"{key}/delivered_sd value": statistics.stdev(known),
            f"{key}/planned_sum value": math.fsum(planned),
            f"{key}/planned_mean value": statistics.fmean(planned),
            # Nilsen et al. (2018) Med Sci Sports Exerc 50:1134, relative dose intensity, both ways of pooling
            f"{key}/mean_of_ratios value": statistics.fmean(d / p for d, p in both),
            f"{key}/ratio_of_sums value": math.fsum(d for d, _ in both) / math.fsum(p for _, p in both),
        }
        if name != "sessions":
            rates = [p[f"{name}_per_week"] for p in people if not math.isnan(p[f"{name}_per_week"])]
            found[f"{key}/per_week_mean value"] = statistics.fmean(rates)
            found[f"{key}/sessions_without value"] = sum(p[f"without_{name}"] for p in people)
    return found


def association_arrays(data: Recomputed, name: str, exposure: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    dose, pairs = data.dose(AFTER), data.pairs(name)
    column = exposure if exposure.endswith("per_week") else f"delivered_{exposure}"
    people = [n for n in pairs if not math.isnan(dose[n][column])]
    first, second = (np.array([float(pairs[n][i]) for n in people]) for i in (0, 1))
    return np.array([dose[n][column] for n in people]), second - first, first


def associations(data: Recomputed, name: str, exposure: str) -> Expected:
    """Slope, interval and range with one person left out; correlation by ranks."""
    dose, change, first = association_arrays(data, name, exposure)
    key, n = f"dose_response/{name}/all/{CONTRAST}/{exposure}", len(dose)
    ranks = [stats.rankdata(np.round(v, 9)) for v in (dose, change, first)]
    rank = partial(*ranks)
    # Bonett & Wright (2000) Psychometrika 65:23, with one covariate
    half = 1.959963984540054 * math.sqrt((1 + rank**2 / 2) / (n - 1 - 3))
    found = {f"{key}/rank value": rank}
    found |= {f"{key}/rank {end}": math.tanh(math.atanh(rank) + s * half) for end, s in (("low", -1), ("high", 1))}
    if not name.startswith("limb_girth"):
        return found
    per = EXPOSURES[exposure]
    slope, error, _ = regression(dose, change, first)
    t = stats.t.ppf(0.975, n - 3)
    left_out = [regression(*(np.delete(v, i) for v in (dose, change, first)))[0] for i in range(n)]
    return found | {
        f"{key}/slope value": per * slope,
        f"{key}/slope low": per * (slope - t * error),
        f"{key}/slope high": per * (slope + t * error),
        f"{key}/raw_slope value": per * np.polyfit(dose, change, 1)[0],
        f"{key}/partial_correlation value": partial(dose, change, first),
        f"{key}/leave_one_out_low value": per * min(left_out),
        f"{key}/leave_one_out_high value": per * max(left_out),
    }


def dose_and_time(data: Recomputed, column: str) -> Expected:
    """Correlation of cumulative dose and week within persons: Bland & Altman (1995) BMJ 310:446; 1/(1 - r^2)."""
    weeks, doses = [], []
    for person, sessions in data.sessions.items():
        end = min(data.left(person), data.visits.get((person, AFTER), (math.inf,))[0])
        mine = [float(r[column]) if r["status"] in ("done", "shortened") and r[column] else 0.0 for _, r in sessions]
        last = max([data.protocol["training"]["weeks"] - 1, *(at[0] // 7 for at, _ in sessions)])
        rows = [w for w in range(last + 1) if 7 * w < end]
        sums = [math.fsum(m for m, (at, _) in zip(mine, sessions, strict=True) if at[0] // 7 <= w) for w in rows]
        if len(rows) > 1:
            weeks += [w - statistics.fmean(rows) for w in rows]
            doses += [s - statistics.fmean(sums) for s in sums]
    r = float(np.dot(weeks, doses) / math.sqrt(np.dot(weeks, weeks) * np.dot(doses, doses)))
    key = f"dose_response/-/-/all/{CONTRAST}/{column}"
    return {f"{key}/within_person_r value": r, f"{key}/vif value": 1 / (1 - r * r)}


def error_of(again: dict[tuple[str, str], Any]) -> dict[str, Any]:
    """Agreement of the two occasions of everybody who has both."""
    people = sorted(n for n, occasion in again if occasion == "test_1" and (n, "test_2") in again)
    return agreement(np.array([[float(again[n, o]) for o in ("test_1", "test_2")] for n in people]))


def expected_numbers(data: Recomputed) -> Expected:
    """Return every number that is the same at every seed."""
    found: Expected = {
        "flow/-/-/all/-/-/enrolled value": len(data.people),
        "flow/-/-/all/-/-/left value": sum(bool(row["left_on"]) for row in data.people.values()),
        "harms/-/-/all/-/-/events value": len(data.rows("events")),
        "harms/-/-/all/-/-/people_with_events value": len({r["participant_id"] for r in data.rows("events")}),
    }
    for visit in data.protocol["visits"]:
        held = sum(key == visit["key"] for _, key in data.visits)
        found[f"flow/-/-/all/{visit['key']}/-/held value"] = held
        if visit["key"] != BEFORE:
            found |= dose_numbers(data, visit["key"])
    for name in data.outcomes:
        found |= flow(data, name)
    repeated = {f"limb_girth.girth/{place}.mean": data.girth(place, "repeats") for place in GIRTHS}
    for name, again in (repeated | {"fss.mean/-": data.average("fss", 9, "repeats")}).items():
        error = error_of(again)
        for statistic, value in error.items():
            for label, number in zip(
                ("low", "high") if "limits" in statistic else ("value",), np.atleast_1d(value), strict=True
            ):
                if statistic != "df":
                    found[f"reliability/{name}/all/-/-/{statistic.partition(' ')[0]} {label}"] = float(number)
        # fatigue is better when lower: counts of better and other change places
        better = -1 if name.startswith("fss") else 1
        found |= numeric_change(data, name, error["mdc95"], error["standard_error_agreement"], error["df"], better)
    for name in ("tenmwt.speed/-", "bladder.leaks_per_day/-"):
        found |= numeric_change(data, name, None, None, None)
    secondary = ("mas.rank/knee_extensors.worse", "psfs.frequency/-", "scim3.total/-", "swls.total/-")
    described = ("pain_nrs.pain_average_7d/-", "nbd.satisfaction/-", "barthel.total_100/-", "qol_bds.total3/-")
    for name in (*secondary, "mas.rank/knee_flexors.worse", *described):
        found |= ranked_change(data, name, tested=name in secondary)
    heads = [f"change/{name}/all/{CONTRAST}/-" for name in secondary]
    adjusted = holm([found[f"{head}/hodges_lehmann p"] for head in heads])
    found |= {f"{head}/p_holm value": p for head, p in zip(heads, adjusted, strict=True)}
    for name, exposure in itertools.product(("limb_girth.girth/mid_thigh.mean", *secondary), EXPOSURES):
        found |= associations(data, name, exposure)
    for column in ("active_minutes", "work_kj"):
        found |= dose_and_time(data, column)
    return found


def in_record(entries: dict[str, dict[str, Any]], name: str) -> float:
    key, _, part = name.rpartition(" ")
    entry = entries[key]
    if part == "value":
        return float(entry["value"])
    return float(entry["test"]["p"] if part == "p" else entry["interval"][part])


def differences(data: Recomputed, record: dict[str, Any]) -> list[str]:
    """Return what differs by more than 1e-9 of its size (1e-6 for the noncentral t of another library)."""
    entries = {entry["key"]: entry for entry in record["estimates"] if entry["status"] == "estimated"}
    found = []
    for name, value in expected_numbers(data).items():
        loose = name.endswith((" low", " high")) and name.rpartition(" ")[0].endswith(("/d_z", "/hedges_g"))
        try:
            ours = in_record(entries, name)
        except (KeyError, TypeError):
            found.append(f"{name}: {value!r}, not in the record")
            continue
        if not math.isclose(ours, value, rel_tol=1e-6 if loose else 1e-9, abs_tol=1e-9):
            found.append(f"{name}: {value!r}, in the record {ours!r}")
    return found


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> tuple[Recomputed, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("cohort")
    write_cohort(folder, people=26, seed=11)
    return Recomputed(folder), json.loads(analyse(Study.open(folder)).record.to_json())


def test_every_number_is_the_same_when_worked_out_a_second_time(study: tuple[Recomputed, dict[str, Any]]) -> None:
    data, record = study
    assert len(expected_numbers(data)) > 300
    assert differences(data, record) == []


@pytest.mark.parametrize(
    "name", ["limb_girth.girth/mid_thigh.mean", "limb_girth.girth/calf_max.mean", "tenmwt.speed/-"]
)
def test_the_bootstrap_interval_is_that_of_other_random_numbers(
    study: tuple[Recomputed, dict[str, Any]], name: str
) -> None:
    data, record = study
    entry = next(e for e in record["estimates"] if e["key"] == f"change/{name}/all/{CONTRAST}/-/mean_bca")
    change = np.array([float(b - a) for a, b in data.pairs(name).values()])
    assert len(change) >= 20  # with fewer there is no such interval
    # the 2.5 % point of 10,000 resamples scatters by sqrt(.025 * .975 / 10,000) / .0584 = .027 standard errors; five
    # times that of both sides together is .15
    error = change.std(ddof=1) / math.sqrt(len(change))
    low, high = bca(change)
    assert entry["interval"]["low"] == pytest.approx(low, abs=0.15 * error)
    assert entry["interval"]["high"] == pytest.approx(high, abs=0.15 * error)


@pytest.mark.parametrize("exposure", EXPOSURES)
@pytest.mark.parametrize("name", ["limb_girth.girth/mid_thigh.mean", "mas.rank/knee_extensors.worse"])
def test_permutations_give_the_same_p(study: tuple[Recomputed, dict[str, Any]], name: str, exposure: str) -> None:
    data, record = study
    arrays = association_arrays(data, name, exposure)
    statistic = "slope" if name.startswith("limb_girth") else "rank"
    if statistic == "rank":
        arrays = tuple(stats.rankdata(np.round(v, 9)) for v in arrays)  # type: ignore[assignment]
    key = f"dose_response/{name}/all/{CONTRAST}/{exposure}/{statistic}"
    ours = next(e["test"]["p"] for e in record["estimates"] if e["key"] == key)
    p = permutation_p(*arrays, n=4_000)
    # five standard errors of a share counted in 4,000 and in 9,999 orders
    assert ours == pytest.approx(p, abs=5 * math.sqrt(p * (1 - p) * (1 / 4_000 + 1 / 9_999)) + 1 / 4_000)


def test_an_exploratory_outcome_has_no_p(study: tuple[Recomputed, dict[str, Any]]) -> None:
    explored = [e for e in study[1]["estimates"] if e["role"] == "exploratory"]
    assert explored
    assert all(e["test"] is None for e in explored)
