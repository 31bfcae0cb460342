"""`outcomes score`: a table as csv or JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.cli.output import Output

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Study


def print_scores(folder: Path, output: Output) -> None:
    """Print the score of every measure, participant and visit of a study."""
    from outcomes.analysis.values import scores_of

    study = open_study(folder, output)
    print_frame(scores_of(study, "assessments"), output)


def print_frame(frame: pd.DataFrame, output: Output) -> None:
    """Print a frame as csv, or as a JSON list of rows."""
    from outcomes.analysis.write import csv_text

    rows: list[dict[str, Any]] = []
    if output.as_json:
        rows = json.loads(frame.to_json(orient="records", date_format="iso", double_precision=15))
    output.data("" if output.as_json else csv_text(frame), rows)


def open_study(folder: Path, output: Output) -> Study:
    """Open a study, show the files as they are read, and say how many queries it has."""
    from outcomes.study import Study

    with output.progress() as show:
        study = Study.open(folder, progress=show)
    asked = len(study.queries())
    if asked:
        output.say(f"{asked} asked; outcomes check {folder} lists them")
    return study
