"""What a person trains: planned sessions, attendance in runs, power within and over sessions, and leaving."""

from __future__ import annotations

import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from synthetic_cohort.draws import ATTENDANCE, SESSIONS, drawn, happens, one_of, word
from synthetic_cohort.parameters import number, section
from synthetic_cohort.tables import DAY, Row, day_text, decimal, moment_text

if TYPE_CHECKING:
    from numpy.random import Generator

    from synthetic_cohort.people import Options, Person
    from synthetic_cohort.plan import Plan

WEEKDAYS = {2: (1, 4), 3: (1, 3, 5), 5: (1, 2, 3, 4, 5)}
"""Days after Monday on which people with so many sessions a week train."""

NEVER = 10**6
"""A week that does not come."""

BLOCK_WEEKS = 4
"""Weeks for which a prescription holds."""


def work_j(first_w: float, steady_w: float, tau_s: float, seconds: float) -> float:
    """Return the work done while power falls from its first to its steady value.

    Parameters
    ----------
    first_w, steady_w : float
        Power at the start and after a long time, in W.
    tau_s : float
        Time constant of the fall, in s.
    seconds : float
        Active time, in s.

    Returns
    -------
    float
        Work in J.

    Notes
    -----
    P(t) = P_inf + (P_0 - P_inf) exp(-t / tau), so the work is P_inf T + (P_0 - P_inf) tau (1 - exp(-T / tau)).

    Examples
    --------
    >>> round(work_j(15, 6, 180, 1800), 3)
    12419.926
    """
    return steady_w * seconds + (first_w - steady_w) * tau_s * (1 - math.exp(-seconds / tau_s))


@dataclass(frozen=True)
class Session:
    """One planned session: what was planned, what happened, and what the gym wrote down.

    Parameters
    ----------
    start : int
        Minutes from the midnight of enrolment.
    recorded : bool
        Whether the gym made a row for it.
    active_minutes, work_kj : float
        Delivered, as printed; 0 where the session did not take place.
    row : dict
        The row of the sessions table.
    """

    week: int
    start: int
    planned_minutes: float
    status: str
    recorded: bool
    active_minutes: float
    work_kj: float
    row: Row

    @property
    def delivered(self) -> bool:
        """Whether training took place."""
        return self.status in ("done", "shortened")

    @property
    def end(self) -> int:
        """Minute in which it ended."""
        return self.start + math.ceil(float(self.row.get("total_minutes") or 0))


@dataclass(frozen=True)
class Training:
    """Everything that a person trained.

    Parameters
    ----------
    left_day : int or None
        Day of leaving, counted from enrolment.
    """

    person: Person
    sessions: tuple[Session, ...]
    left_day: int | None
    left_reason: str

    @cached_property
    def delivered(self) -> tuple[Session, ...]:
        """Sessions that took place, in order."""
        return tuple(s for s in self.sessions if s.delivered)

    @cached_property
    def _starts(self) -> list[int]:
        return [s.start for s in self.delivered]

    def until(self, minute: int) -> tuple[Session, ...]:
        """Return the sessions that took place and began before a moment."""
        return self.delivered[: bisect_left(self._starts, minute)]

    def hours_since_start(self, minute: int) -> float:
        """Return hours since the last session began, infinite where there was none."""
        before = self.until(minute)
        return (minute - before[-1].start) / 60 if before else math.inf

    def hours_since_end(self, minute: int) -> float:
        """Return hours since the last session ended: 0 during one, infinite where there was none."""
        before = self.until(minute)
        return max(minute - before[-1].end, 0) / 60 if before else math.inf

    def rested(self, minute: int, hours: float) -> bool:
        """Return whether no session began in the hours before a moment, nor begins in the two hours after it."""
        return self.hours_since_start(minute + 2 * 60) >= hours + 2


def planned_minutes(person: Person, plan: Plan, week: int) -> float:
    """Return the planned active minutes of a session; some people never go beyond a cap."""
    minutes = plan.minutes_of_week(week)
    return min(minutes, number("capped_minutes.cap")) if person.capped else minutes


def risen(time: float, half_time: float) -> float:
    """Return how much of a plateau is reached, half of the rest in each half-time.

    Examples
    --------
    >>> round(risen(6, 6), 9), round(risen(12, 6), 9)
    (0.5, 0.75)
    """
    return 1 - math.exp(-math.log(2) * time / half_time)


def expected_power_w(person: Person, week: float) -> float:
    """Return the person's mean power of a session in a week, without the noise of one session.

    Notes
    -----
    It rises towards a plateau; the gain is stated for 13 weeks.
    """
    half = number("power_gain.half_time_weeks")
    return person.power_w * (1 + person.power_gain * risen(week, half) / risen(13, half))


def train(person: Person, plan: Plan, options: Options) -> Training:
    """Return what a person trained from the first session to the last or to leaving; who waits has no session."""
    if person.waits:
        return _waited(person, plan, options)
    states = options.stream(person.number, ATTENDANCE)
    details = options.stream(person.number, SESSIONS)
    sessions: list[Session] = []
    attended, reason, leaves = True, "", NEVER
    for week in range(plan.weeks):
        if week == leaves:
            return Training(person, tuple(sessions), 7 * week, word(states, "left_reasons"))
        for offset in WEEKDAYS[person.sessions_per_week]:
            missed = happens(states, _miss_chance(person, attended, leaves < NEVER))
            fresh = word(states, "missed_reasons")
            reason = (fresh if attended else reason) if missed else ""
            attended = not missed
            start = (7 * week + offset) * DAY + _clock(person, details)
            before = next((s for s in reversed(sessions) if s.delivered), None)
            sessions.append(_session(person, plan, details, week, start, reason, len(sessions) + 1, before))
        if _gives_up(person, states, sessions, week):
            leaves = min(leaves, week + 1 + int(number("dropout.fading_weeks")))
    for week in range(plan.weeks, plan.weeks + 4):
        if week == leaves or happens(states, number("dropout.weekly_hazard")):
            return Training(person, tuple(sessions), 7 * (week + 1) - 3, word(states, "left_reasons"))
    return Training(person, tuple(sessions), None, "")


def _waited(person: Person, plan: Plan, options: Options) -> Training:
    """Return the time of a person who waits: no session, and leaving only for what lies outside the programme."""
    states = options.stream(person.number, ATTENDANCE)
    for week in range(plan.weeks):
        if happens(states, number("dropout.weekly_hazard")):
            return Training(person, (), 7 * (week + 1) - 3, word(states, "left_reasons"))
    return Training(person, (), None, "")


def _miss_chance(person: Person, attended: bool, fading: bool) -> float:
    """Return the chance that the next session is missed, by the last one, the person's pull, and soon leaving."""
    base = number(f"attendance_logits.after_{'attended' if attended else 'missed'}")
    base += number("dropout.fading_logit") if fading else 0.0
    return 1 / (1 + math.exp(-(base - number("attendance.person_sd_logit") * person.pull)))


def _gives_up(person: Person, rng: Generator, sessions: list[Session], week: int) -> bool:
    """Return whether a person makes up their mind to leave: sooner with low attendance of late, or with pain."""
    table = section("dropout")
    recent = [s.delivered for s in sessions if s.week > week - table["recent_weeks"]]
    low = number("attendance.mean") - sum(recent) / len(recent)
    hazard = float(table["weekly_hazard"]) * math.exp(math.log(table["low_attendance_ratio"]) * low / 0.25)
    return happens(rng, hazard * (table["pain_ratio"] if person.pain else 1.0))


def _clock(person: Person, rng: Generator) -> int:
    return person.usual_clock + 5 * int(rng.integers(-3, 4))


def _session(
    person: Person, plan: Plan, rng: Generator, week: int, start: int, reason: str, index: int, before: Session | None
) -> Session:
    """Return one planned session with its row."""
    planned = planned_minutes(person, plan, week)
    row: Row = {
        "participant_id": person.participant_id,
        "session_id": f"S{index:03d}",
        "started_at": moment_text(person.enrolled, start),
        "mode": "legs",
        "setting": "clinic",
        "reason": reason,
        "planned_minutes": decimal(planned),
    }
    active, status, stop = _active(rng, planned)
    measured = _measured(person, rng, week, start, active, before)
    kept, power_lost = not happens(rng, number("not_recorded.share")), happens(rng, number("missing.session_power"))
    if reason:
        status = "cancelled" if reason == "staff or device" else "missed"
        return Session(week, start, planned, status, kept, 0.0, 0.0, row | {"status": status})
    work = float(measured["work_kj"])
    if power_lost:
        measured |= dict.fromkeys(("work_kj", "mean_power_w", "peak_power_w", "left_power_w", "right_power_w"), "")
    row |= {"status": status, "reason": stop, "active_minutes": decimal(active)} | measured
    return Session(week, start, planned, status, True, active, work, row)


def _active(rng: Generator, planned: float) -> tuple[float, str, str]:
    """Return active minutes (to 0.1), status and reason of a session that takes place."""
    point, early, less = float(rng.random()), section("stopped_early"), section("reduced")
    short, shorter = float(rng.uniform(*early["fraction"])), float(rng.uniform(*less["fraction"]))
    why = one_of(rng, early["reasons"], [1.0] * len(early["reasons"]))
    if point < early["share"]:
        return round(planned * short, 1), "shortened", why
    if point < early["share"] + less["share"]:
        return round(planned * shorter, 1), "done", ""
    return planned, "done", ""


def _measured(
    person: Person, rng: Generator, week: int, start: int, active: float, before: Session | None
) -> dict[str, str]:
    """Return the cells that ergometer and specialist fill in, at the resolution of the gym."""
    power = section("power_session")
    mean = expected_power_w(person, week) * math.exp(float(rng.normal(0, power["cv"])))
    if before is not None and start - before.end <= 60 * power["carry_over_hours"]:
        mean *= 1 - power["carry_over"]
    seconds, tau, floor = 60 * active, person.decay_tau_s, person.decay_floor
    first = mean * seconds / work_j(1.0, floor, tau, seconds)
    work = work_j(first, floor * first, tau, seconds) / 1000
    peak = first * (1 + abs(float(rng.normal(0, power["peak_sd"]))))
    share = min(max(person.left_share + float(rng.normal(0, 0.01)), 0.3), 0.7)
    parts = {name: round(drawn(rng, name), 1) for name in ("passive_minutes", "ramp_minutes", "cooldown_minutes")}
    total = math.fsum((active, *parts.values()))
    rate = person.heart_rate_bpm + float(rng.normal(0, 4))
    cells = {name: decimal(value) for name, value in parts.items()}
    return cells | {
        "total_minutes": decimal(total),
        "work_kj": decimal(work),
        "mean_power_w": decimal(mean),
        "peak_power_w": decimal(peak),
        "mean_cadence_rpm": decimal(person.cadence_rpm + float(rng.normal(0, number("cadence_rpm.session_sd"))), 0),
        "left_power_w": decimal(share * mean),
        "right_power_w": decimal((1 - share) * mean),
        "rpe": decimal(drawn(rng, "effort"), 0),
        "rpe_scale": "0-10",
        "mean_heart_rate_bpm": decimal(rate, 0),
        "equipment": one_of(rng, ("ergometer 1", "ergometer 2"), (0.6, 0.4)),
    }


def prescriptions(person: Person, plan: Plan, training: Training) -> list[Row]:
    """Return the person's prescriptions: one for every four weeks, with the work that the gym aims at."""
    rows: list[Row] = []
    if person.waits:
        return rows
    end = 7 * plan.weeks if training.left_day is None else min(training.left_day, 7 * plan.weeks)
    for week in range(0, plan.weeks, BLOCK_WEEKS):
        last = min(7 * (week + BLOCK_WEEKS), end) - 1
        if last < 7 * week:
            break
        minutes = [planned_minutes(person, plan, w) for w in range(week, min(week + BLOCK_WEEKS, plan.weeks))]
        capped = person.capped and plan.minutes_of_week(week) >= number("capped_minutes.cap")
        aim = expected_power_w(person, week + 1) * sum(minutes) / len(minutes) * 0.06
        cap = number("current_ma.cap_with_feeling" if person.has_feeling else "current_ma.cap")
        rows.append(
            {
                "participant_id": person.participant_id,
                "from_on": day_text(person.enrolled, 7 * week),
                "to_on": day_text(person.enrolled, last),
                "sessions_per_week": str(person.sessions_per_week),
                "active_minutes": decimal(number("capped_minutes.cap")) if capped else "",
                "work_kj": decimal(aim, 0),
                "cadence_rpm": decimal(person.cadence_rpm, 0),
                "current_ma": decimal(min(person.current_ma + number("current_ma.weekly") * week, cap), 0),
                "pulse_width_us": str(person.pulse_width_us),
                "frequency_hz": str(person.frequency_hz),
            }
        )
    return rows
