"""Write an invented study in which the same people are measured twice within a week, and the truth beside it."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from outcomes.errors import UsageError
from outcomes.files import write_whole
from outcomes.toml_source import read_toml
from synthetic_cohort.assessing import OCCASIONS, measure_twice
from synthetic_cohort.cohort import MOST_PEOPLE, PROTOCOL, TRUTH, Cohort, participant_row, refuse_other_files
from synthetic_cohort.courses import Course
from synthetic_cohort.parameters import parameters
from synthetic_cohort.people import Options, draw_person
from synthetic_cohort.plan import make_plan, scenario, toml_text
from synthetic_cohort.sheets import Sheet
from synthetic_cohort.tables import COLUMNS, Row
from synthetic_cohort.training import train
from synthetic_cohort.visits import rater_biases

PLAN = "test_retest"
WEEKS = 16
LOST_OF = 12
"""Of so many people one does not come back for the second sitting."""

HEAD = f"""# Invented: a gym, a town and people that do not exist. Adapted from the ready-made protocol '{PLAN}',
# where every number stands with its source.
"""


def write_retest(
    folder: str | Path, *, people: int = 48, seed: int = 7, progress: Callable[[str], None] | None = None
) -> Cohort:
    """Write a study folder of people measured twice within a week, before any training, and the truth behind it.

    Parameters
    ----------
    folder : path
        Made if need be. One that holds other files is refused; an earlier cohort in it is replaced.
    people : int
        From 1 to 9999; every twelfth does not come back for the second sitting.
    seed : int
        At least 0. The same arguments give the same bytes.
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
    if not 1 <= people <= MOST_PEOPLE:
        raise UsageError(f"people: found {people}, expected 1 to {MOST_PEOPLE}")
    if seed < 0:
        raise UsageError(f"seed: found {seed}, expected 0 or more")
    refuse_other_files(folder)
    options = Options(seed, WEEKS, "none", confounding=False, entry_cutoff=False)
    biases = rater_biases(seed)
    tables: dict[str, list[Row]] = {"participants": [], "repeats": []}
    measured = {entry["measure"] for entry in read_toml(_packaged()).data["measures"]}
    for number in range(1, people + 1):
        participant, rows = _person(number, options, biases)
        tables["participants"].append(participant)
        tables["repeats"] += [row for row in rows if row["measure"] in measured]
    sheets = {name: Sheet(f"{name}.csv", COLUMNS[name], rows) for name, rows in tables.items()}
    truth = {
        "synthetic": True,
        "options": {"seed": seed, "people": people, "design": "test-retest"},
        "raters": {"bias": biases},
        "parameters": parameters(),
    }
    texts = {TRUTH: json.dumps(truth, indent=1, ensure_ascii=False, default=str) + "\n", PROTOCOL: _protocol()}
    texts |= {sheet.file: sheet.text() for sheet in sheets.values()}
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
        faults=0,
    )


def _packaged() -> Path:
    from protocols import packaged_path

    return packaged_path(PLAN)


def _person(number: int, options: Options, biases: dict[str, tuple[float, ...]]) -> tuple[Row, list[Row]]:
    """Return a person's row and the answers of one or two sittings, without any session in between."""
    person = draw_person(number, options)
    training = replace(train(person, make_plan(WEEKS), options), sessions=(), left_day=None, left_reason="")
    rows = measure_twice(Course(person, training, options, None), biases)
    if number % LOST_OF == 0:
        rows = [row for row in rows if row["occasion"] == OCCASIONS[0]]
    return participant_row(person, training), rows


def _protocol() -> str:
    """Return the ready-made protocol in the words of the invented gym."""
    data = copy.deepcopy(read_toml(_packaged()).data)
    words = scenario()["retest"]
    data["study"] |= words["study"]
    data["statements"] = words["statements"]
    data["report"]["conference"]["blind_words"] = scenario()["blind_words"]
    return HEAD + toml_text(data)
