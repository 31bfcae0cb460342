"""Open the record that a report is about."""

from __future__ import annotations

from pathlib import Path

from outcomes.errors import UsageError
from outcomes.reports.facts import Facts
from outcomes.result import Record


def open_facts(
    folder: Path, record: str, *, measure: str = "", contrast: str = "", dose_metric: str = "", public: bool = False
) -> tuple[Facts, Path]:
    """Return the facts of one record of a study, and the folder of its results.

    Raises
    ------
    UsageError
        There is no such record, or it does not hold what the report should be about.
    """
    from outcomes.analysis import latest_results

    results = folder / "results" / record if record else latest_results(folder)
    if not (results / "record.json").is_file():
        raise UsageError(f"there is no record '{record}' under results; outcomes analyse writes one")
    facts = Facts(Record.read(results / "record.json"), measure, contrast, dose_metric, public)
    facts.rows  # noqa: B018  a wrong measure or contrast is refused now, not in a later cell
    return facts, results
