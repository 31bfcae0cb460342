"""What one column says about another, and one row about its neighbours: contradictions are asked about, and a session
with more active than total minutes loses the minutes that cannot be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.intake.days import FAR, Enrolment
from outcomes.intake.drafts import Draft
from outcomes.intake.limits import limits, spell
from outcomes.intake.raw import FIXED, number_text, unique
from outcomes.intake.settling import Reader, reject
from outcomes.intake.slips import PERCENT, fits_percent
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Floats

SESSION = "session_id"
"""What the decision "set_aside" concerns where a session as a whole is in doubt: the row."""

SAME_NUMBERS = 3
"""Numbers that two sessions of a day must share, all they have, to be taken for one (common practice, no source)."""

DRAWN_ON = {
    "sessions": ("active_minutes", "work_kj"),
    "assessments": ("response",),
    "repeats": ("response",),
}
"""Columns without which a dose or a score is missing altogether; an empty one is asked about."""


def check_rows(drafts: Mapping[str, Draft], reader: Reader, enrolment: Enrolment) -> None:
    """Check sessions, stimulation and participants row by row, and sessions against enrolment and leaving."""
    if "participants" in drafts:
        _people(drafts["participants"], reader)
    if "sessions" in drafts:
        sessions = _Sessions(drafts["sessions"], reader)
        sessions.minutes()
        sessions.work()
        sessions.cadence()
        sessions.speed()
        sessions.status()
        sessions.repeated()
        sessions.exported_twice()
        sessions.counts()
        _in_study(drafts["sessions"], drafts.get("participants"), reader, enrolment)
    if "stimulation" in drafts:
        _stimulation(drafts["stimulation"], reader)
    for draft in drafts.values():
        _empty_columns(draft, reader)
        _required_blanks(draft, reader)


def numbers(draft: Draft, name: str) -> Floats:
    """Return a column of numbers, nan where the clinic has none."""
    import numpy as np

    values: Floats = draft.number.get(name, np.full(len(draft), np.nan))
    return values


def _work_unit(work: float, should: float) -> str:
    """Return in words the unit in which typed work would be what power and minutes give."""
    for unit, factor in (("kcal", 4.184), ("J", 0.001)):
        if should and abs(work * factor - should) <= max(1.0, 0.1 * abs(should)):
            return f"; {unit} would fit"
    return ""


def _say(value: float) -> str:
    return number_text(float(f"{value:.4g}"))


@dataclass(slots=True)
class _Sessions:
    """Rules of the table sessions."""

    draft: Draft
    reader: Reader

    def _took_place(self) -> Flags:
        import numpy as np

        status = self.draft.text.get("status")
        if status is None:
            return self.draft.used
        took_place: Flags = self.draft.used & (np.isin(status, DELIVERED) | (status == ""))
        return took_place

    def _ask(self, rows: Flags, column: str, rule: str, expected: list[str] | str, *, aside: str | None = None) -> None:
        import numpy as np

        self.reader.found.at(self.draft, np.flatnonzero(rows), column, "ask", rule, expected, aside=aside)

    def minutes(self) -> None:
        """More active than total minutes cannot be; active and passive together should not exceed the total by more
        than a minute."""
        import numpy as np

        draft = self.draft
        active, passive, total = (numbers(draft, f"{part}_minutes") for part in ("active", "passive", "total"))
        over = np.flatnonzero(draft.used & (active > total))
        expected = [f"at most the total of {number_text(value)} min" for value in total[over].tolist()]
        reject(draft, self.reader, "active_minutes", over, "active_over_total", expected)
        active = numbers(draft, "active_minutes")
        rows = draft.used & (active + passive > total + 1)
        said = zip(active[rows].tolist(), passive[rows].tolist(), total[rows].tolist(), strict=True)
        texts = [
            f"active {number_text(a)} and passive {number_text(p)} min within the total of {number_text(t)} min"
            for a, p, t in said
        ]
        self._ask(rows, "total_minutes", "minutes_disagree", texts)

    def work(self) -> None:
        """Work should be mean power times active minutes, within 1 kJ or a tenth."""
        import numpy as np

        work, power, minutes = (numbers(self.draft, c) for c in ("work_kj", "mean_power_w", "active_minutes"))
        should = power * minutes * 0.06
        rows = self.draft.used & (np.abs(work - should) > np.maximum(1.0, 0.1 * np.abs(should)))
        texts = [
            f"about {_say(value)} kJ, which is {number_text(p)} W for {number_text(m)} min" + _work_unit(w, value)
            for value, p, m, w in zip(
                should[rows].tolist(), power[rows].tolist(), minutes[rows].tolist(), work[rows].tolist(), strict=True
            )
        ]
        self._ask(rows, "work_kj", "work_disagrees", texts)

    def cadence(self) -> None:
        """Power without cadence is impossible."""
        power, cadence = numbers(self.draft, "mean_power_w"), numbers(self.draft, "mean_cadence_rpm")
        rows = self.draft.used & (power > 0) & (cadence == 0)
        texts = [f"more than 0 rpm, as the mean power is {number_text(value)} W" for value in power[rows].tolist()]
        self._ask(rows, "mean_cadence_rpm", "power_without_cadence", texts)

    def speed(self) -> None:
        """Distance in the total time should give a speed that a cycle has."""
        import numpy as np

        distance, total = numbers(self.draft, "distance_km"), numbers(self.draft, "total_minutes")
        limit = limits().derived["speed_km_h"].hard
        assert limit is not None
        with np.errstate(divide="ignore", invalid="ignore"):
            speed = distance / total * 60
        rows = self.draft.used & (speed > limit[1])
        texts = [f"a distance that gives at most {limit[1]:g} km/h; it gives {_say(v)}" for v in speed[rows].tolist()]
        self._ask(rows, "distance_km", "speed", texts)

    def status(self) -> None:
        """A session that did not take place has no active minutes and no work."""
        import numpy as np

        status = self.draft.text.get("status")
        if status is None:
            return
        for column in ("active_minutes", "work_kj"):
            rows = self.draft.used & np.isin(status, ("missed", "cancelled")) & (numbers(self.draft, column) > 0)
            texts = [f"none, as the session was {word}" for word in status[rows].tolist()]
            self._ask(rows, column, "not_delivered", texts)

    def repeated(self) -> None:
        """Two sessions of one person at the same moment may be one exported twice."""
        import numpy as np

        day, clock = numbers(self.draft, "started_day"), numbers(self.draft, "started_clock")
        rows = np.flatnonzero(self._took_place() & ~np.isnan(day) & ~np.isnan(clock))
        person, _ = unique(self.draft.text["participant_id"])
        keys = np.stack([person[rows].astype(np.float64), day[rows], clock[rows]], axis=1)
        _, first, inverse = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        earlier = rows[first[inverse.reshape(-1)]] if len(rows) else rows
        for row, other in zip(rows[earlier != rows].tolist(), earlier[earlier != rows].tolist(), strict=True):
            mask = np.zeros(len(self.draft), dtype=bool)
            mask[row] = True
            expected = f"one session at a time; {self._row_as_seen_from(row, other)} has the same start"
            self._ask(mask, self._started(), "same_start", expected, aside=SESSION)

    def exported_twice(self) -> None:
        """Two sessions of one person on one day with all the same numbers may be one that was exported twice."""
        import numpy as np

        day, clock = numbers(self.draft, "started_day"), numbers(self.draft, "started_clock")
        told = [numbers(self.draft, name) for name in self.draft.number if name not in ("started_day", "started_clock")]
        content = np.stack(told, axis=1) if told else np.zeros((len(self.draft), 0))
        enough = (~np.isnan(content)).sum(axis=1) >= SAME_NUMBERS
        person, _ = unique(self.draft.text["participant_id"])
        rows = np.flatnonzero(self._took_place() & ~np.isnan(day) & enough)
        keys = np.column_stack([person[rows], day[rows], np.where(np.isnan(content[rows]), -1e99, content[rows])])
        _, first, inverse = np.unique(keys, axis=0, return_index=True, return_inverse=True)
        firsts = rows[first[inverse.reshape(-1)]] if len(rows) else rows
        again = (firsts != rows) & (clock[firsts] != clock[rows])  # the same moment is asked about by itself
        for row, earlier in zip(rows[again].tolist(), firsts[again].tolist(), strict=True):
            mask = np.zeros(len(self.draft), dtype=bool)
            mask[row] = True
            other = self._row_as_seen_from(row, earlier)
            expected = f"sessions that differ; all numbers are those of {other} on the same day: exported twice?"
            self._ask(mask, self._started(), "same_numbers", expected, aside=SESSION)

    def _row_as_seen_from(self, row: int, other: int) -> str:
        """Return where another row stands, with its file and sheet where they are not the same."""
        here, there = self.draft.place(row), self.draft.place(other)
        parts = [there.file] if there.file != here.file else []
        parts += [there.sheet] if there.sheet and (there.file, there.sheet) != (here.file, here.sheet) else []
        return ", ".join([*parts, f"row {there.row}"])

    def _started(self) -> str:
        return "started_at" if "started_at" in self.draft.typed else "started_day"

    def counts(self) -> None:
        """Sessions a day and a week should not exceed what people do."""
        import numpy as np

        day = numbers(self.draft, "started_day")
        rows = np.flatnonzero(self._took_place() & ~np.isnan(day))
        person, _ = unique(self.draft.text["participant_id"])
        for name, length, what in (("sessions_per_day", 1, "a day"), ("sessions_per_week", 7, "a week")):
            limit = limits().derived[name]
            assert limit.soft is not None
            period = np.floor(day[rows] / length)
            keys = np.stack([person[rows].astype(np.float64), period], axis=1)
            _, first, counts = np.unique(keys, axis=0, return_index=True, return_counts=True)
            many = counts > limit.soft[1]
            for row, count in zip(rows[first[many]].tolist(), counts[many].tolist(), strict=True):
                mask = np.zeros(len(self.draft), dtype=bool)
                mask[row] = True
                expected = f"usually at most {limit.soft[1]:g} {what}; there are {count}"
                self._ask(mask, self._started(), name, expected, aside="")


def _in_study(draft: Draft, people: Draft | None, reader: Reader, enrolment: Enrolment) -> None:
    """Ask about sessions that took place before enrolment or after leaving."""
    import numpy as np

    if people is None:
        return
    day, person = numbers(draft, "started_day"), enrolment.of(draft)
    left = np.full(len(enrolment.people), np.nan)
    rows = np.flatnonzero(people.used)
    left[enrolment.of(people)[rows]] = numbers(people, "left_day")[rows]
    took_place = draft.used
    if "status" in draft.text:
        took_place = took_place & np.isin(draft.text["status"], DELIVERED)
    column = next((form for form in ("started_at", "started_day") if form in draft.typed), "participant_id")
    zero, left_on = enrolment.zero[person], left[person]
    before = np.flatnonzero(took_place & (day < 0) & enrolment.known[person])
    expected = [f"a day on or after enrolled_on{_date(end)}" for end in zero[before].tolist()]
    reader.found.at(draft, before, column, "ask", "before_enrolment", expected, aside=SESSION)
    after = np.flatnonzero(took_place & (day > left_on))
    ends = np.where(zero[after] == FAR, FAR, zero[after] + left_on[after])
    expected = [f"a day on or before left_on{_date(end)}" for end in ends.tolist()]
    reader.found.at(draft, after, column, "ask", "after_leaving", expected, aside=SESSION)


def _date(days: float) -> str:
    import numpy as np

    return "" if days >= FAR else f", {np.datetime64(int(days), 'D')}"


def _people(draft: Draft, reader: Reader) -> None:
    """Check age against onset, height against mass, and leaving against enrolment."""
    import numpy as np

    def ask(rows: Flags, column: str, rule: str, expected: list[str]) -> None:
        reader.found.at(draft, np.flatnonzero(rows), column, "ask", rule, expected)

    age, onset = numbers(draft, "age_years"), numbers(draft, "months_since_onset")
    rows = draft.used & (onset / 12 > age)
    ask(rows, "months_since_onset", "onset_before_birth", [f"at most the age of {_say(v)} years" for v in age[rows]])
    height, mass = numbers(draft, "height_cm"), numbers(draft, "body_mass_kg")
    with np.errstate(divide="ignore", invalid="ignore"):
        index = mass / (height / 100) ** 2
    soft = limits().derived["body_mass_index"].soft
    assert soft is not None
    rows = draft.used & ((index < soft[0]) | (index > soft[1]))
    texts = [f"a mass that fits the height; their index of {_say(v)} is outside {spell(soft, '')}" for v in index[rows]]
    ask(rows, "body_mass_kg", "mass_and_height", texts)
    enrolled, left = numbers(draft, "enrolled_day"), numbers(draft, "left_day")
    rows = draft.used & (left < enrolled)
    column = "left_on" if "left_on" in draft.typed else "left_day"
    ask(rows, column, "left_before_enrolment", ["a day on or after enrolment"] * int(rows.sum()))


def _stimulation(draft: Draft, reader: Reader) -> None:
    """Current without pulse width or frequency is none; charge should be what pads and muscles bear."""
    import numpy as np

    current, width, frequency = (numbers(draft, c) for c in ("current_ma", "pulse_width_us", "frequency_hz"))
    for column, values in (("pulse_width_us", width), ("frequency_hz", frequency)):
        rows = np.flatnonzero(draft.used & (current > 0) & (values == 0))
        reader.found.at(draft, rows, column, "ask", "no_stimulation", "more than 0, as current flows")
    person, _ = unique(draft.text["participant_id"])
    for code in np.unique(person).tolist():
        mine = draft.used & (person == code)
        if fits_percent(current[mine]):
            rows = np.flatnonzero(mine & (current > 0))
            said = f"{PERCENT} ({len(rows)} rows of this person)"
            reader.found.over(draft, rows, "current_ma", "ask", "percent_of_maximum", said)
    charge = current * width / 1000
    with np.errstate(divide="ignore", invalid="ignore"):
        density = charge / numbers(draft, "electrode_area_cm2")
    for values, name, unit in ((charge, "charge_per_phase_uc", "uC"), (density, "charge_density_uc_cm2", "uC/cm2")):
        limit = limits().derived[name]
        assert limit.soft is not None
        rows = np.flatnonzero(draft.used & (values > limit.soft[1]))
        expected = [
            f"usually at most {limit.soft[1]:g} {unit} a phase; it gives {_say(v)}" for v in values[rows].tolist()
        ]
        reader.found.at(draft, rows, "current_ma", "ask", name, expected)
    start, end = numbers(draft, "from_s"), numbers(draft, "to_s")
    rows = np.flatnonzero(draft.used & (end < start))
    reader.found.at(draft, rows, "to_s", "ask", "ends_before_start", "a time at or after from_s")


def _empty_columns(draft: Draft, reader: Reader) -> None:
    """Ask about a heading that the analysis draws on, and under which nothing stands; others may stay empty."""
    import numpy as np

    if not len(draft):
        return
    for column in draft.table.columns:
        if column.name not in DRAWN_ON.get(draft.name, ()):
            continue
        for index, feed in enumerate(draft.feeds):
            mine = np.flatnonzero(draft.feed == index)
            is_wide = column.name == "response" and bool(feed.only)
            if is_wide or column.name not in feed.headings or not len(mine):
                continue
            if (draft.state[column.name][mine] == 0).all():
                expected = "values; the column is empty, and what needs it is left out"
                reader.found.over(draft, mine[:1], column.name, "ask", "empty_column", expected, found="")


def _required_blanks(draft: Draft, reader: Reader) -> None:
    """Ask about blank cells of a required column that is no part of the key; answers may be blank."""
    import numpy as np

    for name in draft.table.required_columns:
        forms = [form for form in draft.table.by_name[name].headings if form in draft.state]
        if name in draft.table.key or name == "response" or not forms:
            continue
        blank = np.logical_and.reduce([draft.state[form] == 0 for form in forms])
        rows = np.flatnonzero(draft.used & blank & (draft.types[forms[0]] != FIXED))
        expected = f"a value; without '{name}' the row counts for little"
        reader.found.at(draft, rows, forms[0], "ask", "required_blank", expected)
