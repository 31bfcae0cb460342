"""What a clinician should look at: no errors of typing, never a decision, and kept apart from both."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass, fields
from typing import TYPE_CHECKING

from outcomes.errors import inert
from outcomes.intake.drafts import Draft
from outcomes.intake.limits import limits
from outcomes.intake.raw import number_text
from outcomes.vocabulary import DELIVERED

if TYPE_CHECKING:
    from outcomes.intake.raw import Flags, Floats

WORDING = "for clinical review"

HIGH_LESION = tuple(f"C{i}" for i in range(1, 9)) + tuple(f"T{i}" for i in range(1, 7))
"""Neurological levels from T6 upwards, from which a reaction of the autonomic nerves is possible."""


@dataclass(frozen=True, slots=True)
class ForReview:
    """One observation for a clinician, with the cell that it stands in."""

    participant_id: str
    when: str
    what: str
    value: str
    usual: str
    source: str
    file: str
    sheet: str
    row: int
    column: str
    wording: str = WORDING


def for_review(drafts: Mapping[str, Draft]) -> tuple[ForReview, ...]:
    """Return what sessions, stimulation and events hold for a clinician.

    Parameters
    ----------
    drafts : mapping of str to Draft
        All tables, checked.

    Returns
    -------
    tuple of ForReview
        By participant. None of them is an error, and none changes a number.
    """
    found = [*_heart_rates(drafts), *_stimulation(drafts), *_events(drafts)]
    return tuple(sorted(found, key=lambda one: (one.participant_id, one.file, one.row, one.what)))


def review_csv(found: Iterable[ForReview]) -> str:
    """Return observations as csv text, with text that a spreadsheet would run made inert."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([field.name for field in fields(ForReview)])
    writer.writerows([inert(str(value)) for value in astuple(one)] for one in found)
    return out.getvalue()


def _rows(
    draft: Draft, rows: Flags, column: str, what: str, values: Floats | None, usual: str, source: str
) -> Iterable[ForReview]:
    import numpy as np

    for row in np.flatnonzero(rows).tolist():
        place = draft.place(row, column)
        value = draft.typed_text(row, column) if values is None else number_text(float(f"{values[row]:.4g}"))
        yield ForReview(
            str(draft.text["participant_id"][row]), _when(draft, row), what, value, usual, source,
            place.file, place.sheet, place.row, place.heading,
        )  # fmt: skip


def _when(draft: Draft, row: int) -> str:
    """Return the day of a row as typed: its first day or moment, empty where it has none."""
    forms = [form for column in draft.table.columns if column.kind in ("date", "moment") for form in column.headings]
    return next((draft.typed_text(row, form) for form in forms if draft.typed_text(row, form)), "")


def _heart_rates(drafts: Mapping[str, Draft]) -> Iterable[ForReview]:
    """Mean heart rates of sessions outside the usual range, which is wider below for lesions from T6 upwards."""
    import numpy as np

    draft, people = drafts.get("sessions"), drafts.get("participants")
    if draft is None or "mean_heart_rate_bpm" not in draft.number:
        return
    high: set[str] = set()
    if people is not None and "neurological_level" in people.text:
        levels = zip(people.text["participant_id"].tolist(), people.text["neurological_level"].tolist(), strict=True)
        high = {person for person, level in levels if level in HIGH_LESION}
    values = draft.number["mean_heart_rate_bpm"]
    is_high = np.isin(draft.text["participant_id"], list(high)) if high else np.zeros(len(draft), dtype=bool)
    took_place = draft.used & (np.isin(draft.text["status"], DELIVERED) if "status" in draft.text else True)
    for group, name in ((~is_high, "heart_rate_exercise_bpm"), (is_high, "heart_rate_exercise_high_lesion_bpm")):
        limit = limits().review[name]
        assert limit.soft is not None
        rows = took_place & group & ((values < limit.soft[0]) | (values > limit.soft[1]))
        usual = f"{limit.soft[0]:g} to {limit.soft[1]:g} bpm"
        yield from _rows(draft, rows, "mean_heart_rate_bpm", "mean heart rate of a session", values, usual, limit.basis)


def _stimulation(drafts: Mapping[str, Draft]) -> Iterable[ForReview]:
    """Current density under an electrode, r.m.s. over the pulse period; a check of the data, no safety clearance."""
    import numpy as np

    draft = drafts.get("stimulation")
    if draft is None:
        return
    nothing = np.full(len(draft), np.nan)
    current, width, rate, area, phases = (
        draft.number.get(name, nothing)
        for name in ("current_ma", "pulse_width_us", "frequency_hz", "electrode_area_cm2", "phases")
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        density = current * np.sqrt(np.where(np.isnan(phases), 1.0, phases) * width * 1e-6 * rate) / area
    limit = limits().review["rms_density_ma_cm2"]
    assert limit.soft is not None
    rows = draft.used & (density > limit.soft[1])
    what = "current density under an electrode, r.m.s., in mA/cm2"
    yield from _rows(draft, rows, "current_ma", what, density, f"at most {limit.soft[1]:g} mA/cm2", limit.basis)


def _events(drafts: Mapping[str, Draft]) -> Iterable[ForReview]:
    """Severe events, and events that the training probably or certainly caused."""
    import numpy as np

    draft = drafts.get("events")
    if draft is None:
        return
    source = "common practice, no source"
    severe = draft.used & (draft.text["severity"] == "severe" if "severity" in draft.text else False)
    yield from _rows(draft, severe, "severity", "a severe event", None, "none", source)
    if "relatedness" in draft.text:
        related = draft.used & ~severe & np.isin(draft.text["relatedness"], ("probable", "definite"))
        yield from _rows(
            draft, related, "relatedness", "an event that the training may have caused", None, "none", source
        )
