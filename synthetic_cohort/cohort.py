"""Write the whole cohort: an ordinary study folder, and the truth beside it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from typing import Literal

from outcomes.errors import UsageError
from outcomes.files import write_whole
from synthetic_cohort.assessing import Biases, assess, let_in, repeat
from synthetic_cohort.courses import Course
from synthetic_cohort.damage import plant
from synthetic_cohort.happenings import happen
from synthetic_cohort.people import Options, Person, draw_person
from synthetic_cohort.plan import PROTOCOLS, WAIT_LIST, Plan, make_plan
from synthetic_cohort.sheets import Sheet
from synthetic_cohort.stimulating import recordings, stimulation_rows, true_charge_c
from synthetic_cohort.tables import COLUMNS, Row, day_text, decimal, participant_columns
from synthetic_cohort.training import Training, prescriptions, train
from synthetic_cohort.truth import Member, cohort_truth
from synthetic_cohort.visits import hold_visits, rater_biases, visit_rows

DoseEffect = Literal["none", "active_minutes", "work_kj", "saturating"]
Damage = Literal["cells", "all"]
Tables = dict[str, list[Row]]

DOSE_EFFECTS = ("none", "active_minutes", "work_kj", "saturating")
DAMAGES = (None, "cells", "all")
MOST_PEOPLE = 9999
WEEKS = (4, 52)
TRUTH = "truth.json"
PROTOCOL = "protocol.toml"
TRACES = "traces"


@dataclass(frozen=True)
class Cohort:
    """Where an invented cohort was written.

    Parameters
    ----------
    folder : Path
    protocol : Path
    truth : Path
        Parameters, true effects of every person, planted faults; no table of the study.
    tables : mapping of str to Path
        Table name to its csv file.
    rows : mapping of str to int
        Table name to its number of rows.
    faults : int
        Number of planted faults.
    """

    folder: Path
    protocol: Path
    truth: Path
    tables: Mapping[str, Path]
    rows: Mapping[str, int]
    faults: int


def write_cohort(
    folder: str | Path,
    *,
    people: int = 48,
    seed: int = 7,
    damage: Damage | None = None,
    weeks: int = 16,
    dose_effect: DoseEffect = "active_minutes",
    confounding: bool = False,
    entry_cutoff: bool = False,
    protocol: str = "leg_cycling_16_weeks",
    progress: Callable[[str], None] | None = None,
) -> Cohort:
    """Write an invented community gym's study folder and the truth behind it.

    Parameters
    ----------
    folder : path
        Made if need be. One that holds other files is refused; an earlier cohort in it is replaced.
    people : int
        From 1 to 9999. More people leave the earlier ones as they are.
    seed : int
        At least 0. The same arguments give the same bytes.
    damage : {"cells", "all"}, optional
        "cells" plants faults that leave the tables readable: values set aside, asked about, duplicates. "all" also
        plants such as stop the run. Every fault stands in truth.json.
    weeks : int
        Length of the programme, from 4 to 52.
    dose_effect : {"active_minutes", "work_kj", "saturating", "none"}
        What girth and tone answer to: cumulative minutes, cumulative work, minutes with a ceiling, or time alone.
    confounding : bool
        Whether people who gain more for other reasons also attend more.
    entry_cutoff : bool
        Whether only people with a first tone of grade 2 or more are let in (regression to the mean).
    protocol : {"leg_cycling_16_weeks", "wait_list"}
        Ready-made protocol of the study; with "wait_list" one person of every two waits and does not train.
    progress : callable, optional
        Called with the name of each file before it is written.

    Returns
    -------
    Cohort

    Raises
    ------
    UsageError
        An argument out of range, or a folder that holds something else.
    """
    folder = Path(folder)
    _check(folder, people, seed, damage, weeks, dose_effect)
    if protocol not in PROTOCOLS:
        raise UsageError(f"protocol: found '{protocol}', expected one of {', '.join(PROTOCOLS)}")
    options = Options(seed, weeks, dose_effect, confounding, entry_cutoff, wait_list=protocol == WAIT_LIST)
    plan = make_plan(weeks, protocol)
    members, tables = draw_cohort(people, plan, options)
    columns = COLUMNS | {"participants": participant_columns(groups=options.wait_list)}
    sheets = {name: Sheet(f"{name}.csv", columns[name], rows) for name, rows in tables.items()}
    faults = plant(sheets, damage, seed) if damage else []
    texts = {TRUTH: cohort_truth(members, plan, options, faults), PROTOCOL: plan.text}
    texts |= {sheet.file: sheet.text() for sheet in sheets.values()}
    texts |= {recording.file: recording.text for member in members for recording in member.recordings}
    shutil.rmtree(folder / TRACES, ignore_errors=True)
    for name, text in texts.items():
        if progress is not None:
            progress(name)
        write_whole(folder / name, text)
    return Cohort(
        folder=folder,
        protocol=folder / PROTOCOL,
        truth=folder / TRUTH,
        tables={name: folder / sheet.file for name, sheet in sheets.items()},
        rows={name: len(sheet.rows) for name, sheet in sheets.items()},
        faults=len(faults),
    )


def draw_cohort(people: int, plan: Plan, options: Options) -> tuple[list[Member], Tables]:
    """Return everybody, and the rows of every table, without writing anything.

    Parameters
    ----------
    people : int
    plan : Plan
        As `make_plan` returns for the options' weeks.
    options : Options
    """
    biases = rater_biases(options.seed)
    tables: Tables = {name: [] for name in COLUMNS}
    members = []
    for number in range(1, people + 1):
        member, rows = _enrol(number, plan, options, biases)
        members.append(member)
        for name, found in rows.items():
            tables[name] += found
    return members, tables


def _check(folder: Path, people: int, seed: int, damage: object, weeks: int, dose_effect: object) -> None:
    if not 1 <= people <= MOST_PEOPLE:
        raise UsageError(f"people: found {people}, expected 1 to {MOST_PEOPLE}")
    if seed < 0:
        raise UsageError(f"seed: found {seed}, expected 0 or more")
    if not WEEKS[0] <= weeks <= WEEKS[1]:
        raise UsageError(f"weeks: found {weeks}, expected {WEEKS[0]} to {WEEKS[1]}")
    if damage not in DAMAGES:
        raise UsageError(f"damage: found '{damage}', expected 'cells' or 'all'")
    if dose_effect not in DOSE_EFFECTS:
        raise UsageError(f"dose_effect: found '{dose_effect}', expected one of {', '.join(DOSE_EFFECTS)}")
    refuse_other_files(folder)


def refuse_other_files(folder: Path) -> None:
    """Raise unless a folder is absent, empty, or holds an earlier cohort.

    Raises
    ------
    UsageError
        It holds something else.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file, not a folder")
    if folder.is_dir() and any(folder.iterdir()) and not _holds_cohort(folder / TRUTH):
        raise UsageError(f"{folder} holds other files; name a new or empty folder for the invented cohort")


def _holds_cohort(truth: Path) -> bool:
    """Return whether the folder's truth file is one of ours."""
    try:
        content = json.loads(truth.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(content, dict) and content.get("synthetic") is True


def _enrol(number: int, plan: Plan, options: Options, biases: Biases) -> tuple[Member, Tables]:
    """Return the person who takes a place: the first candidate, or with a rule of entry the first who meets it."""
    candidates = (_take_part(number, plan, replace(options, candidate=n), biases) for n in count())
    first = plan.visits[0].key
    return next(one for one in candidates if not options.entry_cutoff or let_in(one[1]["assessments"], first))


def _take_part(number: int, plan: Plan, options: Options, biases: Biases) -> tuple[Member, Tables]:
    """Return one person with everything that the gym wrote down."""
    person = draw_person(number, options)
    training = train(person, plan, options)
    happened = happen(person, training, options)
    course = Course(person, training, options, happened.medicine_day)
    held = hold_visits(person, plan, training, options)
    stimulation = stimulation_rows(person, training, options)
    rows: Tables = {
        "participants": [participant_row(person, training)],
        "visits": visit_rows(person, held),
        "prescriptions": prescriptions(person, plan, training),
        "sessions": [s.row for s in training.sessions if s.recorded],
        "stimulation": stimulation,
        "assessments": assess(course, held, plan, biases),
        "repeats": [row for row in repeat(course, biases) if row["measure"] in plan.measured],
        "events": list(happened.events),
        "changes": list(happened.changes),
    }
    recorded = tuple(recordings(person, training, options))
    return Member(course, tuple(held), true_charge_c(stimulation), recorded), rows


def participant_row(person: Person, training: Training) -> Row:
    """Return a person's row of the participants table."""
    return {
        "participant_id": person.participant_id,
        "group": person.group,
        "sex": person.sex,
        "age_years": str(person.age_years),
        "condition": person.condition,
        "neurological_level": person.level,
        "ais_grade": person.ais_grade,
        "months_since_onset": decimal(person.months_since_onset, 0),
        "height_cm": decimal(person.height_cm, 0),
        "body_mass_kg": decimal(person.body_mass_kg),
        "trained_side": "both",
        "enrolled_on": person.enrolled.isoformat(),
        "left_on": "" if training.left_day is None else day_text(person.enrolled, training.left_day),
        "left_reason": training.left_reason,
        "antispastic_medicine": "yes" if person.antispastic_medicine else "no",
    }
