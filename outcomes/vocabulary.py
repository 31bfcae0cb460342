"""The tables of a study folder: their columns, keys and closed words. The only spelling of them in the package."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from outcomes.units import column_unit

Kind = Literal["id", "text", "number", "integer", "word", "date", "moment", "key"]
"""What a column holds: an identifier, free text, a number, a whole number, one of a closed list of words, a day
(``..._on`` with its twin ``..._day``), a moment (``..._at`` with its twins ``..._day`` and ``..._clock``), or a neutral
key ``[a-z][a-z0-9_]*``."""

SIDES = ("left", "right", "both")
ABSENT_WORDS = ("unable", "refused", "not_tested", "not_applicable", "equipment", "death")
"""Why an answer is not there; `absent_because` of assessments and repeats."""
PLACE_PATTERN = r"[a-z][a-z0-9_]*"


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    name: str
    kind: Kind = "text"
    words: tuple[str, ...] = ()
    identifying: bool = False

    @property
    def unit(self) -> str:
        """UCUM code, from the suffix of the name; empty for what has no unit."""
        return column_unit(self.name) if self.kind in ("number", "integer") else ""

    @property
    def stem(self) -> str:
        """Name of a day or moment without ``_on`` or ``_at``."""
        return self.name[:-3] if self.kind in ("date", "moment") else self.name

    @property
    def headings(self) -> tuple[str, ...]:
        """Headings under which the column may stand: a day or moment may be typed in either of two forms."""
        if self.kind == "date":
            return (self.name, f"{self.stem}_day")
        if self.kind == "moment":
            return (self.name, f"{self.stem}_day", f"{self.stem}_clock")
        return (self.name,)


@dataclass(frozen=True)
class Table:
    """One table: its key, its columns, and whether a study cannot do without it."""

    name: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    required: bool = False
    required_columns: tuple[str, ...] = ()

    @cached_property
    def read(self) -> tuple[Column, ...]:
        """Columns that are read: the table's own, and the centre, with which the id of a participant is joined."""
        names = [column.name for column in self.columns]
        joins = "participant_id" in names and "centre_id" not in names
        return (*self.columns, Column("centre_id", "id")) if joins else self.columns

    @cached_property
    def by_name(self) -> dict[str, Column]:
        """Columns that are read, by name."""
        return {column.name: column for column in self.read}

    @cached_property
    def by_heading(self) -> dict[str, Column]:
        """Columns that are read, by every heading that they accept."""
        return {heading: column for column in self.read for heading in column.headings}


def _words(name: str, *words: str) -> Column:
    return Column(name, "word", words)


def _numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "number") for name in names)


_PARTICIPANT = Column("participant_id", "id")
_ANSWER_KEY = (
    Column("measure", "key"),
    Column("version", "text"),
    Column("place", "key"),
    _words("side", *SIDES),
    Column("item", "key"),
    Column("trial", "integer"),
)
_ANSWER = (Column("response", "text"), _words("absent_because", *ABSENT_WORDS))

TABLES: dict[str, Table] = {
    table.name: table
    for table in (
        Table("centres", ("centre_id",), (Column("centre_id", "id"), Column("name_in_reports"))),
        Table(
            "participants",
            ("participant_id",),
            (
                _PARTICIPANT,
                Column("centre_id", "id"),
                Column("group", "key"),
                _words("sex", "female", "male", "other", "not_said"),
                Column("age_years", "number"),
                Column("condition", "key"),
                Column("neurological_level"),
                _words("ais_grade", "A", "B", "C", "D", "E"),
                Column("months_since_onset", "number"),
                Column("height_cm", "number"),
                Column("body_mass_kg", "number"),
                _words("trained_side", "left", "right", "both", "none"),
                Column("enrolled_on", "date"),
                Column("left_on", "date"),
                Column("left_reason", "text"),
            ),
            required=True,
            required_columns=("participant_id",),
        ),
        Table(
            "visits",
            ("participant_id", "visit"),
            (
                _PARTICIPANT,
                Column("visit", "key"),
                Column("visited_at", "moment"),
                _words("status", "held", "missed", "outside_window"),
                Column("reason"),
            ),
            required_columns=("participant_id", "visit"),
        ),
        Table(
            "prescriptions",
            ("participant_id", "from_on"),
            (
                _PARTICIPANT,
                Column("from_on", "date"),
                Column("to_on", "date"),
                *_numbers(
                    "sessions_per_week",
                    "active_minutes",
                    "work_kj",
                    "cadence_rpm",
                    "current_ma",
                    "pulse_width_us",
                    "frequency_hz",
                ),
            ),
            required_columns=("participant_id", "from_on"),
        ),
        Table(
            "sessions",
            ("participant_id", "session_id"),
            (
                _PARTICIPANT,
                Column("session_id", "id"),
                Column("started_at", "moment"),
                _words("mode", "legs", "arms", "both"),
                _words("setting", "clinic", "home"),
                _words("status", "done", "shortened", "missed", "cancelled"),
                Column("reason"),
                *_numbers(
                    "planned_minutes",
                    "total_minutes",
                    "passive_minutes",
                    "ramp_minutes",
                    "active_minutes",
                    "voluntary_minutes",
                    "cooldown_minutes",
                    "work_kj",
                    "mean_power_w",
                    "peak_power_w",
                    "mean_cadence_rpm",
                    "left_power_w",
                    "right_power_w",
                    "distance_km",
                    "energy_kcal",
                ),
                _words("energy_kind", "mechanical", "metabolic", "unknown"),
                Column("rpe", "number"),
                _words("rpe_scale", "0-10", "6-20"),
                *_numbers("mean_heart_rate_bpm", "oxygen_uptake_ml_kg_min"),
                Column("equipment"),
            ),
            required_columns=("participant_id", "session_id", "started_at", "status"),
        ),
        Table(
            "stimulation",
            ("participant_id", "session_id", "channel", "segment"),
            (
                _PARTICIPANT,
                Column("session_id", "id"),
                Column("channel", "integer"),
                Column("segment", "integer"),
                *_numbers("from_s", "to_s"),
                Column("muscle", "key"),
                _words("side", *SIDES),
                *_numbers("current_ma", "pulse_width_us", "frequency_hz"),
                Column("phases", "integer"),
                *_numbers("electrode_area_cm2", "duty_fraction"),
            ),
            required_columns=("participant_id", "session_id", "channel"),
        ),
        Table(
            "traces",
            ("participant_id", "session_id", "t_s"),
            (
                _PARTICIPANT,
                Column("session_id", "id"),
                *_numbers(
                    "t_s",
                    "power_w",
                    "cadence_rpm",
                    "left_power_w",
                    "right_power_w",
                    "current_ma",
                    "heart_rate_bpm",
                ),
                _words("phase", "passive", "ramp", "active", "fatigue", "cooldown", "voluntary"),
            ),
            required_columns=("participant_id", "session_id", "t_s"),
        ),
        Table(
            "assessments",
            ("participant_id", "visit", "measure", "version", "place", "side", "item", "trial"),
            (
                _PARTICIPANT,
                Column("visit", "key"),
                *_ANSWER_KEY,
                *_ANSWER,
                Column("assessed_at", "moment"),
                Column("rater", "id"),
                Column("note"),
            ),
            required=True,
            required_columns=("participant_id", "visit", "measure", "item", "response"),
        ),
        Table(
            "repeats",
            ("participant_id", "occasion", "measure", "version", "place", "side", "item", "trial"),
            (
                _PARTICIPANT,
                Column("occasion", "key"),
                *_ANSWER_KEY,
                *_ANSWER,
                Column("visit", "key"),
                Column("assessed_at", "moment"),
                Column("rater", "id"),
            ),
            required_columns=("participant_id", "occasion", "measure", "item", "response"),
        ),
        Table(
            "events",
            ("participant_id", "event_id"),
            (
                _PARTICIPANT,
                Column("event_id", "id"),
                Column("occurred_on", "date"),
                Column("kind", "key"),
                _words("severity", "mild", "moderate", "severe"),
                _words("relatedness", "none", "possible", "probable", "definite", "unknown"),
                Column("outcome"),
                Column("description"),
            ),
            required_columns=("participant_id", "event_id", "kind"),
        ),
        Table(
            "changes",
            ("participant_id", "changed_on", "kind"),
            (
                _PARTICIPANT,
                Column("changed_on", "date"),
                _words("kind", "medicine", "therapy", "chair", "walking_aid", "illness"),
                Column("what"),
                Column("note"),
            ),
            required_columns=("participant_id", "changed_on", "kind"),
        ),
    )
}
"""Every table by name."""

ANSWER_TABLES = ("assessments", "repeats")
"""Tables whose `response` cells are read by the measure's own definition."""

DELIVERED = ("done", "shortened")
"""Session states in which training took place; the other states are planned but not delivered."""

COLUMNS_CSV = (
    "sheet",
    "heading",
    "table",
    "column",
    "unit",
    "format",
    "visit",
    "occasion",
    "measure",
    "version",
    "item",
    "place",
    "side",
    "trial",
    "rater",
)
"""Headings of columns.csv; the last nine fix the part of an answer's key that a wide heading stands for."""

WORDS_CSV = ("column", "word", "means")
"""Headings of words.csv: the column, the word as the clinic types it, the word it means."""

DECISIONS_CSV = ("query", "decision", "role", "date", "reason")
"""Headings of decisions.csv."""

DECISIONS = ("keep", "set_aside")
"""Answers to a query: the value stands, or becomes missing."""

CAUTION = (
    "For research, evaluation and teaching. No medical device; gives no individual advice and sets no training or "
    "stimulation parameter. Safety questions belong to local protocol and licensed clinicians."
)
"""The line that every report, the help and the demo carry."""
