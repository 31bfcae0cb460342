"""Who takes part: one person's traits, drawn from that person's own stream."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from synthetic_cohort.draws import GROUPS, PERSON, between, drawn, happens, one_of, stream, word
from synthetic_cohort.parameters import number, section

if TYPE_CHECKING:
    from numpy.random import Generator

TRAINED, WAITING = "trained", "waiting"
"""Groups of the wait-list protocol."""

SIDES = ("left", "right")
GIRTH_PLACES = ("mid_thigh", "calf_max")
MUSCLES = ("knee_extensors", "knee_flexors")
LIMBS = tuple((muscle, side) for muscle in MUSCLES for side in SIDES)
ABOVE_T6 = tuple(f"C{n}" for n in range(1, 9)) + tuple(f"T{n}" for n in range(1, 7))


@dataclass(frozen=True)
class Options:
    """What a caller may choose about the truth.

    Parameters
    ----------
    seed : int
    weeks : int
        Length of the programme.
    dose_effect : {"none", "active_minutes", "work_kj", "saturating"}
        What moves girth and tone: time alone, minutes, work, or minutes with a ceiling.
    confounding : bool
        Whether people who gain more for other reasons also attend more.
    entry_cutoff : bool
        Whether only people whose first graded tone is high enough are let in.
    candidate : int
        How many people before this one were not let in to the same place.
    wait_list : bool
        Whether one person of every two waits instead of training.
    """

    seed: int
    weeks: int
    dose_effect: str
    confounding: bool
    entry_cutoff: bool
    candidate: int = 0
    wait_list: bool = False

    def stream(self, person: int, purpose: int) -> Generator:
        """Return the random numbers of one person (counted from 1) and purpose."""
        later = (self.candidate,) if self.candidate else ()
        return stream(self.seed, person, purpose, *later)

    def group(self, person: int) -> str:
        """Return the group of a person, drawn in blocks of two; empty where nobody waits."""
        if not self.wait_list:
            return ""
        pair, second = divmod(person - 1, 2)
        first_waits = happens(stream(self.seed, pair + 1, GROUPS), 0.5)
        return WAITING if first_waits == (second == 0) else TRAINED


@dataclass(frozen=True)
class Person:
    """One invented person: what the gym knows, and what only the truth knows.

    Parameters
    ----------
    girth_percent : float
        True girth change in percent per 1000 active minutes (or what stands for them).
    tone : mapping of (muscle, side) to float
        Latent tone in grades, with mean 0 over the cohort before training.
    tone_per_20 : float
        Change of latent tone per 20 sessions.
    pull : float
        Standard normal; what makes a person attend more, on the logit scale in units of its spread.
    """

    number: int
    group: str
    condition: str
    sex: str
    age_years: int
    level: str
    region: str
    ais_grade: str
    months_since_onset: float
    height_cm: float
    body_mass_kg: float
    antispastic_medicine: bool
    enrolled: date
    pull: float
    pain: bool
    sessions_per_week: int
    capped: bool
    usual_clock: int
    home_rater: int
    girth_cm: dict[tuple[str, str], float]
    girth_percent: float
    tone: dict[tuple[str, str], float]
    tone_per_20: float
    spasm: float
    walks: bool
    gait_m_s: float
    gait_gain: float
    device: str
    scim3: float
    scim3_gain: float
    life: float
    life_gain: float
    power_w: float
    power_gain: float
    decay_floor: float
    decay_tau_s: float
    left_share: float
    cadence_rpm: float
    current_ma: float
    pulse_width_us: int
    frequency_hz: int
    heart_rate_bpm: float

    @property
    def participant_id(self) -> str:
        """Identifier in every table."""
        return f"P{self.number:03d}"

    @property
    def waits(self) -> bool:
        """Whether the person waits instead of training."""
        return self.group == WAITING

    @property
    def has_feeling(self) -> bool:
        """Whether stimulation is felt, which caps the current lower."""
        return self.ais_grade not in ("A", "B") if self.condition == "spinal_cord_injury" else True

    @property
    def cervical(self) -> bool:
        """Whether the lesion lies in the neck."""
        return self.region == "cervical"

    @property
    def at_risk_of_dysreflexia(self) -> bool:
        """Whether the lesion lies at T6 or above."""
        return self.level in ABOVE_T6


def draw_person(which: int, options: Options) -> Person:
    """Return the person in a place of the cohort, counted from 1."""
    rng = options.stream(which, PERSON)
    condition = word(rng, "condition")
    sex = "male" if happens(rng, number(f"male_share.{condition}")) else "female"
    age = round(drawn(rng, f"age_years.{condition}"))
    region, grade, level = word(rng, "level"), word(rng, "ais_grade"), ""
    names = tuple(section("segments")[region])
    level = one_of(rng, names, [1.0] * len(names))
    injured = condition == "spinal_cord_injury"
    if not injured:
        region = grade = level = ""
    height, mass = drawn(rng, f"height_cm.{sex}"), drawn(rng, f"body_mass_kg.{sex}")
    strength = _strength_group(condition, grade)
    power = drawn(rng, f"power_start_w.{strength}")
    vigour, apart = float(rng.normal()), float(rng.normal())
    pull = _pull(vigour, apart, options)
    enrolment = section("programme")
    joined = enrolment["first_enrolment"] + timedelta(weeks=int(rng.integers(enrolment["enrolment_weeks"])))
    return Person(
        number=which,
        group=options.group(which),
        condition=condition,
        sex=sex,
        age_years=age,
        level=level,
        region=region,
        ais_grade=grade,
        months_since_onset=_months_since_onset(rng, condition, age),
        height_cm=height,
        body_mass_kg=mass * (height / number(f"height_cm.{sex}.mean")) ** 2,
        antispastic_medicine=happens(rng, number(f"antispastic_medicine.{condition}")),
        enrolled=joined,
        pull=pull,
        pain=happens(rng, number("dropout.pain_share")),
        sessions_per_week=int(one_of(rng, *_listed("sessions_per_week"))),
        capped=happens(rng, number("capped_minutes.share")),
        usual_clock=60 * int(rng.integers(9, 17)) + 15 * int(rng.integers(4)),
        home_rater=int(rng.integers(len(section("raters")["names"]))),
        girth_cm=_girths(rng, sex, mass),
        girth_percent=_girth_percent(rng, vigour, options),
        tone=_tone(rng),
        tone_per_20=float(rng.normal(number("mas_effect.per_20_sessions"), number("mas_effect.person_sd"))),
        spasm=float(rng.normal()),
        walks=happens(rng, number(f"gait.walkers.{grade if injured else condition}")),
        gait_m_s=drawn(rng, "gait.speed_m_s"),
        gait_gain=float(rng.normal(number("gait_effect_m_s.mean"), number("gait_effect_m_s.person_sd"))),
        device=word(rng, "gait.devices"),
        scim3=_scim3(rng, region, grade),
        scim3_gain=float(rng.normal(number("scim3_effect.mean"), number("scim3_effect.person_sd"))),
        life=drawn(rng, "life"),
        life_gain=float(rng.normal(number("life_effect.mean"), number("life_effect.person_sd"))),
        power_w=power,
        power_gain=_power_gain(rng, power, number(f"power_start_w.{strength}.ceiling")),
        decay_floor=between(rng, *(number(f"decay.floor_{k}") for k in ("mean", "sd", "low", "high"))),
        decay_tau_s=math.exp(float(rng.normal(math.log(number("decay.tau_median_s")), number("decay.tau_sigma")))),
        left_share=_left_share(rng, condition),
        cadence_rpm=drawn(rng, "cadence_rpm"),
        current_ma=drawn(rng, "current_ma"),
        pulse_width_us=int(one_of(rng, *_listed("pulse_width_us"))),
        frequency_hz=int(one_of(rng, *_listed("frequency_hz"))),
        heart_rate_bpm=_heart_rate(rng, region),
    )


def _listed(path: str) -> tuple[list[float], list[float]]:
    table = section(path)
    return table["values"], table["shares"]


def _pull(vigour: float, apart: float, options: Options) -> float:
    """Return what makes a person attend; with confounding it shares a part with what makes a person gain."""
    r = number("confounding.healthier_attend_more_r") if options.confounding else 0.0
    return r * vigour + math.sqrt(1 - r * r) * apart


def _girth_percent(rng: Generator, vigour: float, options: Options) -> float:
    """Return the person's effect on girth; with confounding it is the person's vigour that decides it."""
    alone = float(rng.normal())
    spread = vigour if options.confounding else alone
    return number("girth_effect.percent_per_1000_minutes") + number("girth_effect.person_sd") * spread


def _strength_group(condition: str, grade: str) -> str:
    if condition != "spinal_cord_injury":
        return condition
    return "complete" if grade in ("A", "B") else "incomplete"


def _power_gain(rng: Generator, start: float, ceiling: float) -> float:
    """Return the gain of power by 13 weeks, as a share of the first power; none leads far beyond the ceiling."""
    return between(rng, number("power_gain.by_13_weeks"), number("power_gain.sd"), 0.0, ceiling / start - 1)


def _months_since_onset(rng: Generator, condition: str, age: int) -> float:
    """Return months since injury, stroke or diagnosis; never before the age of 16, unless recent."""
    table = section(f"since_onset.{condition}")
    if happens(rng, table["recent_share"]):
        return float(rng.uniform(*table["recent_months"]))
    low = math.log(table["recent_months"][1] / 12)
    high = math.log(max(age - 16, 2))
    return 12 * math.exp(between(rng, math.log(table["median_years"]), table["sigma"], low, max(high, low + 0.1)))


def _girths(rng: Generator, sex: str, mass: float) -> dict[tuple[str, str], float]:
    """Return the true girth of both limbs at both places before training, in cm."""
    weight = section(f"body_mass_kg.{sex}")
    heavy = (mass - weight["mean"]) / weight["sd"]
    girths: dict[tuple[str, str], float] = {}
    for place in GIRTH_PLACES:
        table = section(f"{place}_cm")
        r = float(table["body_mass_r"])
        own = math.sqrt(1 - r * r) * table["sd"]
        middle = between(rng, table["mean"] + r * table["sd"] * heavy, own, table["low"], table["high"])
        half = float(rng.normal(0, table["side_difference_sd"])) / 2
        girths[place, "left"], girths[place, "right"] = middle + half, middle - half
    return girths


def _tone(rng: Generator) -> dict[tuple[str, str], float]:
    """Return the stable latent tone of each muscle and side."""
    spread = section("mas_spread")
    stable = spread["latent_sd"] ** 2 * spread["stable_share"]
    person = float(rng.normal(0, math.sqrt(stable * spread["person_share"])))
    apart = math.sqrt(stable * (1 - spread["person_share"]))
    return {limb: person + float(rng.normal(0, apart)) for limb in LIMBS}


def _scim3(rng: Generator, region: str, grade: str) -> float:
    if not region:
        return math.nan
    kind = "tetraplegia" if region == "cervical" else "paraplegia"
    return drawn(rng, f"scim3_total.{kind}_{'complete' if grade == 'A' else 'incomplete'}")


def _left_share(rng: Generator, condition: str) -> float:
    table = section("left_share")
    spread = table["sd_stroke"] if condition == "stroke" else table["sd"]
    return between(rng, table["mean"], spread, table["low"], table["high"])


def _heart_rate(rng: Generator, region: str) -> float:
    table = section("heart_rate_bpm")
    middle = table["cervical"] if region == "cervical" else table["other"]
    return between(rng, middle, table["sd"], table["low"], table["high"])
