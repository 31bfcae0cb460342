"""What the stimulator and the ergometer wrote down: settings of every channel, and power second by second of a few."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from synthetic_cohort.draws import STIMULATION, TRACES, happens
from synthetic_cohort.parameters import number, section
from synthetic_cohort.tables import Row, csv_text, decimal
from synthetic_cohort.training import work_j

if TYPE_CHECKING:
    from synthetic_cohort.people import Options, Person
    from synthetic_cohort.training import Session, Training

MUSCLES = ("quadriceps", "hamstrings", "gluteals")
CHANNELS = tuple(
    (channel, MUSCLES[(channel - 1) // 2], ("left", "right")[(channel - 1) % 2]) for channel in range(1, 7)
)
"""Channel, muscle and side, as the protocol of the cohort numbers them."""

COLUMNS = ("t_s", "power_w", "cadence_rpm", "current_ma")


@dataclass(frozen=True)
class Segment:
    """A stretch of a session in which the current stays the same; seconds from the start of the session."""

    start: float
    end: float
    current_ma: float


@dataclass(frozen=True)
class Recording:
    """One session as the ergometer recorded it.

    Parameters
    ----------
    work_kj, active_minutes : float
        What was put into it, without the noise of its samples.
    text : str
        The csv file.
    """

    participant_id: str
    session_id: str
    work_kj: float
    active_minutes: float
    pause_s: float
    text: str

    @property
    def file(self) -> str:
        """Where it lies in the study folder."""
        return f"traces/{self.participant_id}/{self.session_id}.csv"

    def truth(self) -> dict[str, Any]:
        """Return it for the truth file."""
        names = ("session_id", "work_kj", "active_minutes", "pause_s")
        return {"file": self.file, **{name: getattr(self, name) for name in names}}


def current_of(person: Person, week: int) -> float:
    """Return the current that a person trains with in a week: it rises to the cap."""
    cap = number("current_ma.cap_with_feeling" if person.has_feeling else "current_ma.cap")
    return min(person.current_ma + number("current_ma.weekly") * week, cap)


def segments(person: Person, session: Session, raised: bool) -> list[Segment]:
    """Return the segments of a session: stimulation runs in the ramp and in the active time; some raise it halfway."""
    start = 60 * float(session.row["passive_minutes"])
    end = start + 60 * (float(session.row["ramp_minutes"]) + session.active_minutes)
    current = round(current_of(person, session.week))
    if not raised:
        return [Segment(start, end, current)]
    half = round((start + end) / 2)
    return [Segment(start, half, current - number("stimulation.step_ma")), Segment(half, end, current)]


def stimulation_rows(person: Person, training: Training, options: Options) -> list[Row]:
    """Return a row for every delivered session, channel and segment."""
    rng = options.stream(person.number, STIMULATION)
    duty = section("stimulation.duty_fraction")
    rows: list[Row] = []
    for session in training.delivered:
        parts = segments(person, session, happens(rng, number("stimulation.raised_share")))
        for channel, muscle, side in CHANNELS:
            for index, part in enumerate(parts, start=1):
                rows.append(
                    {
                        "participant_id": person.participant_id,
                        "session_id": session.row["session_id"],
                        "channel": str(channel),
                        "segment": str(index),
                        "from_s": decimal(part.start),
                        "to_s": decimal(part.end),
                        "muscle": muscle,
                        "side": side,
                        "current_ma": decimal(part.current_ma, 0),
                        "pulse_width_us": str(person.pulse_width_us),
                        "frequency_hz": str(person.frequency_hz),
                        "phases": "2",
                        "electrode_area_cm2": decimal(number("stimulation.electrode_area_cm2"), 0),
                        "duty_fraction": decimal(duty[muscle], 2),
                    }
                )
    return rows


def true_charge_c(rows: list[Row]) -> float:
    """Return the charge that the stimulating phases of some rows carried together, in C."""
    names = ("current_ma", "pulse_width_us", "frequency_hz", "duty_fraction")
    return math.fsum(
        1e-9 * math.prod(float(row[name]) for name in names) * (float(row["to_s"]) - float(row["from_s"]))
        for row in rows
    )


def recordings(person: Person, training: Training, options: Options) -> list[Recording]:
    """Return the recorded sessions of a person: of one person in a few, a session in every few weeks."""
    table = section("traces")
    if (person.number - 1) % int(table["one_person_in"]):
        return []
    rng = options.stream(person.number, TRACES)
    found, week = [], -1
    for session in training.delivered:
        if session.week >= week and session.row.get("work_kj"):
            found.append(_record(person, session, rng, happens(rng, table["pause_share"])))
            week = session.week + int(table["every_weeks"])
    return found


def _record(person: Person, session: Session, rng: Any, pauses: bool) -> Recording:
    """Return one session second by second, or nearly: warm-up, ramp, an exponential fall of power, cool-down."""
    import numpy as np

    table = section("traces")
    step, row = float(table["step_s"]), session.row
    passive, ramp, cooldown = (60 * float(row[f"{part}_minutes"]) for part in ("passive", "ramp", "cooldown"))
    active, pause = 60 * session.active_minutes, float(table["pause_s"]) if pauses else 0.0
    begin = passive + ramp
    halt = begin + round(active / 2)
    total = begin + active + pause + cooldown
    t = np.arange(0, total + step / 2, step)
    stopped = (t >= halt) & (t < halt + pause)
    ridden = np.where(t < halt, t - begin, t - begin - pause)
    on = (t >= begin) & (ridden < active) & ~stopped
    tau, floor = person.decay_tau_s, person.decay_floor
    first = 1000 * session.work_kj / work_j(1.0, floor, tau, active)
    shape = floor + (1 - floor) * np.exp(-np.maximum(ridden, 0) / tau)
    noise = rng.normal(0, float(table["noise"]), (3, len(t)))
    power = np.where(on, np.maximum(first * shape * (1 + noise[0]), 0.3), -float(table["motor_w"]) * (1 + noise[0]))
    cadence = np.where(on, person.cadence_rpm, person.cadence_rpm - float(table["motor_slower_rpm"])) + 10 * noise[1]
    stimulated = (t >= passive) & (t < begin + active + pause)
    current = np.where(stimulated, current_of(person, session.week), 0.0) * np.clip(
        (t - passive) / max(ramp, step), 0, 1
    )
    samples = zip(t.tolist(), power.tolist(), cadence.tolist(), current.tolist(), strict=True)
    digits = (0, 1, 0, 0)
    rows = [dict(zip(COLUMNS, map(decimal, one, digits), strict=True)) for one in samples]
    return Recording(
        person.participant_id,
        row["session_id"],
        session.work_kj,
        session.active_minutes,
        pause,
        csv_text(COLUMNS, rows, COLUMNS),
    )
