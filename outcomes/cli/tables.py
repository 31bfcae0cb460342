"""`outcomes score` and `outcomes dose`: tables as csv or JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.cli.output import Output
from outcomes.errors import UsageError

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Study


def print_scores(folder: Path, output: Output) -> None:
    """Print the score of every measure, participant and visit of a study."""
    from outcomes.analysis.values import scores_of

    study = _opened(folder, output)
    print_frame(scores_of(study, "assessments"), output)


def print_dose(folder: Path, session: str | None, output: Output) -> None:
    """Print the dose up to each visit, or the rows of one session.

    Raises
    ------
    UsageError
        The study has no sessions, or none of that id.
    """
    from outcomes.dose import dose_by_visit

    study = _opened(folder, output)
    if not study.has("sessions"):
        raise UsageError(f"{folder} has no table 'sessions', so there is no dose to sum")
    if session is None:
        print_frame(dose_by_visit(study.tables, study.protocol), output)
        return
    sessions = study.table("sessions")
    participant, _, name = session.rpartition("/")
    rows = sessions[sessions["session_id"] == name]
    if participant:
        rows = rows[rows["participant_id"] == participant]
    if not len(rows):
        raise UsageError(f"{folder} has no session '{session}'")
    print_frame(rows, output)


def print_frame(frame: pd.DataFrame, output: Output) -> None:
    """Print a frame as csv, or as a JSON list of rows."""
    from outcomes.analysis.write import csv_text

    rows: list[dict[str, Any]] = []
    if output.as_json:
        rows = json.loads(frame.to_json(orient="records", date_format="iso", double_precision=15))
    output.data("" if output.as_json else csv_text(frame), rows)


def _opened(folder: Path, output: Output) -> Study:
    from outcomes.study import Study

    with output.progress() as show:
        study = Study.open(folder, progress=show)
    asked = len(study.queries())
    if asked:
        output.say(f"{asked} asked; outcomes check {folder} lists them")
    return study
