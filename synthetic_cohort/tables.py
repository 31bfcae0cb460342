"""Rows of the study folder and the csv text made from them: ``\\n`` line ends, shortest decimals, no locale."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

_TO_QUOTE = re.compile('[,"\n\r]')

DAY = 1440
"""Minutes of a day; a moment is counted in minutes from midnight of the day of enrolment."""

Row = dict[str, str]

COLUMNS: dict[str, tuple[str, ...]] = {
    "participants": (
        "participant_id",
        "sex",
        "age_years",
        "condition",
        "neurological_level",
        "ais_grade",
        "months_since_onset",
        "height_cm",
        "body_mass_kg",
        "trained_side",
        "enrolled_on",
        "left_on",
        "left_reason",
        "antispastic_medicine",
    ),
    "visits": ("participant_id", "visit", "visited_at", "status", "reason"),
    "prescriptions": (
        "participant_id",
        "from_on",
        "to_on",
        "sessions_per_week",
        "active_minutes",
        "work_kj",
        "cadence_rpm",
        "current_ma",
        "pulse_width_us",
        "frequency_hz",
    ),
    "sessions": (
        "participant_id",
        "session_id",
        "started_at",
        "mode",
        "setting",
        "status",
        "reason",
        "planned_minutes",
        "total_minutes",
        "passive_minutes",
        "ramp_minutes",
        "active_minutes",
        "cooldown_minutes",
        "work_kj",
        "mean_power_w",
        "peak_power_w",
        "mean_cadence_rpm",
        "left_power_w",
        "right_power_w",
        "rpe",
        "rpe_scale",
        "mean_heart_rate_bpm",
        "equipment",
    ),
    "stimulation": (
        "participant_id",
        "session_id",
        "channel",
        "segment",
        "from_s",
        "to_s",
        "muscle",
        "side",
        "current_ma",
        "pulse_width_us",
        "frequency_hz",
        "phases",
        "electrode_area_cm2",
        "duty_fraction",
    ),
    "assessments": (
        "participant_id",
        "visit",
        "measure",
        "place",
        "side",
        "item",
        "trial",
        "response",
        "absent_because",
        "assessed_at",
        "rater",
        "note",
    ),
    "repeats": (
        "participant_id",
        "occasion",
        "measure",
        "place",
        "side",
        "item",
        "trial",
        "response",
        "absent_because",
        "assessed_at",
        "rater",
    ),
    "events": (
        "participant_id",
        "event_id",
        "occurred_on",
        "kind",
        "severity",
        "relatedness",
        "outcome",
        "description",
    ),
    "changes": ("participant_id", "changed_on", "kind", "what", "note"),
}
"""Tables and the columns that the gym fills; the last of participants is the gym's own."""


def participant_columns(*, groups: bool) -> tuple[str, ...]:
    """Return the columns of participants; the group stands second where there are groups."""
    first, *others = COLUMNS["participants"]
    return (first, "group", *others) if groups else COLUMNS["participants"]


def decimal(value: float, digits: int = 1) -> str:
    """Return a number rounded to `digits` decimals, written with no zero too many.

    Examples
    --------
    >>> decimal(41.04), decimal(0.25, 2), decimal(-0.04)
    ('41', '0.25', '0')
    """
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def day_text(enrolled: date, day: int) -> str:
    """Return the day that lies `day` days after enrolment.

    Examples
    --------
    >>> day_text(date(2025, 1, 6), 7)
    '2025-01-13'
    """
    return (enrolled + timedelta(days=day)).isoformat()


def moment_text(enrolled: date, minute: int) -> str:
    """Return the local wall time that lies `minute` minutes after the midnight of enrolment.

    Examples
    --------
    >>> moment_text(date(2025, 1, 6), 1440 + 615)
    '2025-01-07 10:15'
    """
    day, clock = divmod(minute, DAY)
    return f"{day_text(enrolled, day)} {clock // 60:02d}:{clock % 60:02d}"


def csv_text(headings: Sequence[str], rows: Iterable[Mapping[str, str]], order: Sequence[str]) -> str:
    """Return a table as csv.

    Parameters
    ----------
    headings : sequence of str
        What stands in the first line.
    rows : iterable of mapping
        An absent column is an empty cell.
    order : sequence of str
        Column under each heading.
    """
    lines = [",".join(_quoted(heading) for heading in headings)]
    lines += [",".join(_quoted(row.get(column, "")) for column in order) for row in rows]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    if _TO_QUOTE.search(text):
        return '"' + text.replace('"', '""') + '"'
    return text
