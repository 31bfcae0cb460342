"""Write one analysis under ``results/<id>/``, whole or not at all, and find the latest one again."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.errors import UsageError, findings_csv, inert
from outcomes.files import inside, whole_folder, write_whole

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.run import Analysis
    from outcomes.study import Study


def write_results(study: Study, analysis: Analysis) -> Path:
    """Write record, tables, person-level tables, ledger and run record of one analysis; and ``results/check`` anew with
    what is said about traces.

    Parameters
    ----------
    study : Study
        Opened from a folder.
    analysis : Analysis

    Returns
    -------
    Path
        ``results/<id>``. ``results/latest`` then names it, unless a choice of the protocol was changed for this run.

    Raises
    ------
    UsageError
        The study has no folder, or it cannot be written; an earlier result is left as it was.
    """
    from outcomes.intake import ledger_files

    if study.folder is None:
        raise UsageError("a study built in memory has no folder to write results to")
    target = inside(study.folder, f"results/{study.id}")
    with whole_folder(target) as folder:
        write_whole(folder / "record.json", analysis.record.to_json())
        write_whole(folder / "run.json", json.dumps(analysis.run, indent=1, ensure_ascii=False) + "\n")
        for name, table in analysis.record.tables.items():
            write_whole(folder / "tables" / f"{name}.csv", csv_text(table.to_frame()))
        for name, frame in analysis.people.items():
            write_whole(folder / "people" / f"{name}.csv", csv_text(frame))
        for name, text in ledger_files(study.full_ledger).items():
            write_whole(folder / "ledger" / name, text)
        if study.traced:
            write_whole(folder / "ledger" / "trace_findings.csv", findings_csv(study.trace_findings()))
    study.write_trace_check()
    if not study.choices:
        write_whole(study.folder / "results" / "latest", f"{study.id}\n")
    return target


def latest_results(folder: Path) -> Path:
    """Return the results folder that ``results/latest`` names.

    Raises
    ------
    UsageError
        There is none yet.
    """
    pointer = folder / "results" / "latest"
    if not pointer.is_file():
        raise UsageError(f"{folder} has no results yet; run outcomes analyse {folder}")
    target = folder / "results" / pointer.read_text(encoding="utf-8").strip()
    if not (target / "record.json").is_file():
        raise UsageError(f"{target} is gone; run outcomes analyse {folder}")
    return target


def csv_text(frame: pd.DataFrame) -> str:
    """Return a frame as csv text: numbers at full precision, text that a spreadsheet would run made inert."""
    safe = frame.copy()
    for column in safe.columns:
        if safe[column].dtype.kind not in "fiub":
            safe[column] = [inert(v) if isinstance(v, str) else v for v in safe[column]]
    return safe.to_csv(index=False, lineterminator="\n")
