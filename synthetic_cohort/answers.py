"""What tape, watch, rater and person answer at one moment: item keys and codes, typed here on purpose once more."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist
from typing import TYPE_CHECKING

from synthetic_cohort.draws import happens
from synthetic_cohort.parameters import number, section
from synthetic_cohort.people import GIRTH_PLACES, LIMBS, SIDES
from synthetic_cohort.tables import DAY, Row, decimal

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.courses import Course

Steps = list[tuple[str, int, int]]

SCIM3_CODES: dict[str, tuple[int, ...]] = {
    "feeding": (0, 1, 2, 3),
    "bathing_upper": (0, 1, 2, 3),
    "bathing_lower": (0, 1, 2, 3),
    "dressing_upper": (0, 1, 2, 3, 4),
    "dressing_lower": (0, 1, 2, 3, 4),
    "grooming": (0, 1, 2, 3),
    "respiration": (0, 2, 4, 6, 8, 10),
    "bladder": (0, 3, 6, 9, 11, 13, 15),
    "bowel": (0, 5, 8, 10),
    "toilet_use": (0, 1, 2, 4, 5),
    "bed_mobility": (0, 2, 4, 6),
    "transfer_bed_wheelchair": (0, 1, 2),
    "transfer_wheelchair_toilet": (0, 1, 2),
    "mobility_indoors": (0, 1, 2, 3, 4, 5, 6, 7, 8),
    "mobility_moderate_distance": (0, 1, 2, 3, 4, 5, 6, 7, 8),
    "mobility_outdoors": (0, 1, 2, 3, 4, 5, 6, 7, 8),
    "stairs": (0, 1, 2, 3),
    "transfer_wheelchair_car": (0, 1, 2),
    "transfer_ground_wheelchair": (0, 1),
}
"""Grades of every item, as published (Itzkovich 2007; grades checked against public transcriptions)."""

SCIM3_EASE = {
    "feeding": -0.15,
    "grooming": -0.1,
    "respiration": -0.45,
    "bowel": -0.05,
    "bladder": 0.0,
    "stairs": 0.3,
    "transfer_ground_wheelchair": 0.2,
    "mobility_moderate_distance": 0.1,
    "mobility_outdoors": 0.12,
    "dressing_lower": 0.05,
    "bathing_lower": 0.05,
}
"""How much later (positive) or earlier an item's grades come than those of the others; assumed."""

SWLS_ITEMS = ("swls_1", "swls_2", "swls_3", "swls_4", "swls_5")
TIMED_M = 10
STANDARD = NormalDist()


@dataclass(frozen=True)
class Moment:
    """When and by whom one set of answers is taken.

    Parameters
    ----------
    minute : int
        From the midnight of enrolment.
    girth_bias_cm, tone_bias : float
        Of the rater.
    rng : Generator
    """

    minute: int
    girth_bias_cm: float
    tone_bias: float
    rng: Generator


def answer(item: str, response: str, *, place: str = "", side: str = "", trial: int = 0, absent: str = "") -> Row:
    """Return the columns of one answer that belong to the measure."""
    return {
        "place": place,
        "side": side,
        "item": item,
        "trial": str(trial) if trial else "",
        "response": response,
        "absent_because": absent,
    }


def _lost(rng: Generator, chance: float, limbs: Sequence[tuple[str, str]]) -> frozenset[tuple[str, str]]:
    """Return the limbs that could not be measured: mostly none, else one of them or all."""
    point, which = float(rng.random()), int(rng.integers(len(limbs)))
    if point >= chance:
        return frozenset()
    return frozenset(limbs if point < chance / 2 else [limbs[which]])


def limb_girth(course: Course, at: Moment) -> list[Row]:
    """Return two readings of every limb, a third where they differ; in cm, to 0.1."""
    error, rng = section("girth_error_cm"), at.rng
    day = float(rng.normal(0, error["oedema_sd"]))
    day += error["evening_minus_morning"] * (at.minute % DAY - 9 * 60) / (9 * 60)
    rows, lost = [], _lost(rng, number("missing.girth"), [(place, side) for place in GIRTH_PLACES for side in SIDES])
    for place in GIRTH_PLACES:
        for side in SIDES:
            placed = course.girth_cm(place, side, at.minute) + day + at.girth_bias_cm
            placed += float(rng.normal(0, error["placement_sd"]))
            readings = [decimal(placed + float(e)) for e in rng.normal(0, error["reading_sd"], size=3)]
            if (place, side) in lost:
                rows.append(answer("reading", "", place=place, side=side, trial=1, absent="not_tested"))
                continue
            if abs(float(readings[0]) - float(readings[1])) <= error["repeat_above_cm"]:
                readings.pop()
            rows += [answer("reading", r, place=place, side=side, trial=i + 1) for i, r in enumerate(readings)]
    return rows


@cache
def tone_thresholds() -> tuple[float, ...]:
    """Return the latent tone at which each grade begins, so that grades before training have the stated shares."""
    shares, total = section("mas")["shares"], 0.0
    cuts = []
    for share in shares[:-1]:
        total += share
        cuts.append(STANDARD.inv_cdf(total) * number("mas_spread.latent_sd"))
    return tuple(cuts)


def grade(tone: float) -> str:
    """Return the grade of a latent tone.

    Examples
    --------
    >>> grade(-4.0), grade(4.0)
    ('0', '4')
    """
    return str(section("mas")["grades"][sum(tone > cut for cut in tone_thresholds())])


def _tone_noise(rng: Generator) -> dict[tuple[str, str], float]:
    """Return what one occasion adds to the tone of each muscle and side: half of its variance is shared."""
    spread = section("mas_spread")
    noise = spread["latent_sd"] ** 2 * (1 - spread["stable_share"]) - spread["rater_sd"] ** 2
    shared = float(rng.normal(0, math.sqrt(noise / 2)))
    return {limb: shared + float(rng.normal(0, math.sqrt(noise / 2))) for limb in LIMBS}


def mas(course: Course, at: Moment) -> list[Row]:
    """Return one grade for each muscle and side."""
    noise, lost = _tone_noise(at.rng), _lost(at.rng, number("missing.mas"), LIMBS)
    rows = []
    for muscle, side in LIMBS:
        found = grade(course.tone(muscle, side, at.minute) + at.tone_bias + noise[muscle, side])
        absent = "not_tested" if (muscle, side) in lost else ""
        rows.append(answer("grade", "" if absent else found, place=muscle, side=side, absent=absent))
    return rows


def graded(value: float, shares: list[float], first: int) -> str:
    """Return the code whose share of a standard normal holds `value`."""
    total, code = 0.0, first
    for share in shares[:-1]:
        total += share
        code += value > STANDARD.inv_cdf(total)
    return str(code)


def psfs(course: Course, at: Moment) -> list[Row]:
    """Return how often spasms come, and how severe they are where they come at all."""
    table, spread = section("spasm"), section("mas_spread")
    r, stable = table["tone_r"], table["stable_share"]
    tone = course.tone("knee_extensors", "left", at.minute) / (spread["latent_sd"] * math.sqrt(spread["stable_share"]))
    lasting = r * tone + math.sqrt(1 - r * r) * course.person.spasm
    often, hard = (math.sqrt(stable) * lasting + math.sqrt(1 - stable) * float(e) for e in at.rng.normal(size=2))
    frequency = graded(often, table["frequency_shares"], 0)
    severity = graded(hard, table["severity_shares"], 1)
    if happens(at.rng, number("missing.psfs")):
        return [answer("frequency", "", absent="refused")]
    rows = [answer("frequency", frequency)]
    return rows if frequency == "0" else [*rows, answer("severity", severity)]


def steps_up(rng: Generator, codes: Mapping[str, Sequence[int]], ease: Mapping[str, float]) -> Steps:
    """Return one person's way up a scale: (item, code, points gained), from the first step to the last."""
    steps = []
    for item, grades in codes.items():
        hard = ease.get(item, 0.0) + float(rng.normal(0, 0.12))
        for i in range(1, len(grades)):
            steps.append(((i - 0.5) / (len(grades) - 1) + hard, item, grades[i], grades[i] - grades[i - 1]))
    return [(item, code, gain) for _, item, code, gain in sorted(steps)]


def reached(total: float, steps: Steps, codes: Mapping[str, Sequence[int]]) -> dict[str, int]:
    """Return the code of every item whose sum lies nearest to `total` on the way up."""
    found, points = dict.fromkeys(codes, 0), 0
    for item, code, gain in steps:
        if points + gain / 2 > total:
            break
        found[item] = code
        points += gain
    return found


def scim3_steps(rng: Generator) -> Steps:
    """Return one person's way up this scale."""
    return steps_up(rng, SCIM3_CODES, SCIM3_EASE)


def scim3_items(total: float, steps: Steps) -> dict[str, int]:
    """Return the code of every item whose sum lies nearest to `total`."""
    return reached(total, steps, SCIM3_CODES)


def scim3(course: Course, at: Moment, steps: Steps) -> list[Row]:
    """Return all 19 items, or none of them; only for people with a spinal cord injury."""
    error, missing = float(at.rng.normal(0, number("scim3_error.sd"))), happens(at.rng, number("missing.scim3"))
    if not course.person.region or missing:
        return []
    codes = scim3_items(course.scim3(at.minute) + error, steps)
    return [answer(item, str(code)) for item, code in codes.items()]


def tenmwt(course: Course, at: Moment) -> list[Row]:
    """Return two timed walks with pace, start and device; people who do not walk are unable, not missing."""
    error = section("gait.error_m_s")
    occasion = float(at.rng.normal(0, error["occasion_sd"]))
    trials = [float(e) for e in at.rng.normal(0, error["trial_sd"], size=2)]
    if happens(at.rng, number("missing.tenmwt")):
        return []
    rows = [answer("pace", "comfortable"), answer("start", "dynamic")]
    if not course.person.walks:
        return rows + [answer("time", "", trial=i, absent="unable") for i in (1, 2)]
    speed = course.gait_m_s(at.minute)
    slowest = number("gait.speed_m_s.low") / 2
    times = [decimal(TIMED_M / max(speed + occasion + trial, slowest), 2) for trial in trials]
    rows += [answer("device", course.person.device), answer("distance_timed", str(TIMED_M))]
    return rows + [answer("time", text, trial=i + 1) for i, text in enumerate(times)]


def swls(course: Course, at: Moment) -> list[Row]:
    """Return five answers from 1 to 7; sometimes all are refused, sometimes one is left blank."""
    table, rng = section("life"), at.rng
    level = course.life(at.minute) + float(rng.normal(0, table["occasion_sd"]))
    points = [level + float(e) for e in rng.normal(0, table["item_sd"], size=len(SWLS_ITEMS))]
    codes = [min(max(round(1 + 6 * p / 100), 1), 7) for p in points]
    lost, blank = float(rng.random()), int(rng.integers(len(SWLS_ITEMS)))
    share = number("missing.swls")
    if lost < share / 2:
        return [answer(item, "", absent="refused") for item in SWLS_ITEMS]
    rows = [answer(item, str(code)) for item, code in zip(SWLS_ITEMS, codes, strict=True)]
    if lost < share:
        rows[blank] = answer(SWLS_ITEMS[blank], "", absent="refused")
    return rows


MEASURES: dict[str, Callable[[Course, Moment], list[Row]]] = {
    "limb_girth": limb_girth,
    "mas": mas,
    "psfs": psfs,
    "tenmwt": tenmwt,
    "swls": swls,
}
"""Measures that need nothing but the person's course; scim3 also needs the person's own order of steps."""

OFFSETS = {"limb_girth": 5, "mas": 20, "psfs": 30, "scim3": 35, "tenmwt": 55, "swls": 70}
"""Minutes after the beginning of a visit at which each measure is taken."""
