"""`outcomes demo`: write the invented cohort and go the whole way, a line a stage."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from outcomes.cli.analyse import primary_lines
from outcomes.cli.check import finding_counts
from outcomes.cli.output import Output, counted
from outcomes.errors import UsageError
from outcomes.vocabulary import CAUTION, TABLES

if TYPE_CHECKING:
    from outcomes.analysis import Analysis
    from outcomes.result import Record
    from outcomes.study import Study

Damage = Literal["cells", "all"]

READER = "conference"
"""The report that the demo ends with."""

TEST_RETEST = "test_retest"
"""Ready-made protocol whose invented study has repeat tests alone."""

WIDTH = 18
"""Characters for the name of a stage."""


@dataclass
class Stages:
    """The lines of a demo: printed as they come, kept for ``--json``.

    Parameters
    ----------
    output : Output
    """

    output: Output
    counts: dict[str, Mapping[str, Any]] = field(default_factory=dict)

    def done(self, stage: str, text: str, **counts: Any) -> None:
        """Print what a stage did."""
        self.counts[stage] = counts
        if not self.output.quiet:
            stream = sys.stderr if self.output.as_json else sys.stdout
            print(f"{stage:<{WIDTH}} {text}", file=stream, flush=True)


def run_demo(
    folder: Path, people: int, seed: int, damage: Damage | None, output: Output, protocol: str = "leg_cycling_16_weeks"
) -> None:
    """Write the invented cohort as a study folder and go the whole way to the conference report.

    Parameters
    ----------
    folder : Path
        Empty, absent, or an earlier demo, which is replaced whole.
    people, seed : int
    damage : {"cells", "all"}, optional
    output : Output
    protocol : str
        Ready-made protocol that the cohort is made for.

    Raises
    ------
    UsageError
        The folder holds something else, or there is no invented cohort for the protocol.
    DataError
        With ``damage="all"``: the planted faults stop the run.
    """
    from outcomes.analysis import analyse, write_results
    from outcomes.reports import write_report
    from outcomes.study import Study

    refuse_other_folder(folder)
    stages = Stages(output)
    write_folder(folder, people, seed, damage, stages, protocol)
    with output.progress() as show:
        study = Study.open(folder, progress=show)
    note_reading(study, stages)
    with output.progress() as show:
        analysis = analyse(study, progress=show)
        results = write_results(study, analysis)
    note_analysis(analysis, results, stages)
    with output.progress() as show:
        show(f"writing the {READER} report")
        files = write_report(folder, READER)
    stages.done("report", f"{counted(len(files), 'file')} for a {READER}", files=len(files))
    lines = [*file_lines(files, folder), f"Next: outcomes check {folder}", CAUTION]
    output.data("\n".join(lines), {"stages": stages.counts, "files": [str(path) for path in files], "caution": CAUTION})


def file_lines(files: Sequence[Path], folder: Path) -> list[str]:
    """Return where the files are: each form of the report, folders of figures with a count, record and findings."""
    top = folder / "reports" / READER
    beside = Counter(path.parent for path in files if path.parent != top)
    lines = [f"  {path}" for path in files if path.parent == top]
    lines += [f"  {place} ({counted(number, 'file')})" for place, number in beside.items()]
    results = folder / "results" / (folder / "results" / "latest").read_text(encoding="utf-8").strip()
    lines.append(f"  {results / 'record.json'} (every number)")
    lines.append(f"  {folder / 'results' / 'check' / 'findings.csv'} (every finding)")
    return lines


def refuse_other_folder(folder: Path) -> None:
    """Raise unless `folder` is absent, empty, or an earlier demo.

    Raises
    ------
    UsageError
        It holds something that the demo did not write.
    """
    if not folder.exists():
        return
    if not folder.is_dir():
        raise UsageError(f"{folder} is a file; name a folder that is empty or not there yet")
    names = {path.name for path in folder.iterdir()}
    written = {"protocol.toml", "truth.json", "results", "reports", "traces", *(f"{table}.csv" for table in TABLES)}
    others = sorted(names - written)
    if others or (names and not {"protocol.toml", "truth.json"} <= names):
        example = f" (it holds {others[0]})" if others else ""
        raise UsageError(f"{folder} is not empty and not an earlier demo{example}; name another folder")


def write_folder(folder: Path, people: int, seed: int, damage: Damage | None, stages: Stages, protocol: str) -> None:
    """Write the cohort, whole or not at all; an earlier demo is replaced."""
    from outcomes.files import whole_folder
    from synthetic_cohort import write_cohort, write_retest

    with stages.output.progress() as show, whole_folder(folder) as place:
        if protocol == TEST_RETEST:
            if damage is not None:
                raise UsageError(
                    "--damage plants faults in the cohorts that train; leave it out with --from test_retest"
                )
            cohort = write_retest(place, people=people, seed=seed, progress=show)
        else:
            cohort = write_cohort(place, people=people, seed=seed, damage=damage, protocol=protocol, progress=show)
    rows = sum(cohort.rows.values())
    text = f"{counted(people, 'invented person', 'invented people')}, {counted(rows, 'row')} in "
    text += f"{counted(len(cohort.tables), 'csv table')}, seed {seed}: {folder}"
    if cohort.faults:
        text += f"; {counted(cohort.faults, 'fault')} planted"
    stages.done("written", text, people=people, rows=rows, tables=len(cohort.tables), faults=cohort.faults)


def note_reading(study: Study, stages: Stages) -> None:
    """Print what was read: rows used, duplicates, rows and cells set aside, queries."""
    balance = study.ledger.balance()
    rows = {name: int(balance[name].sum()) for name in ("rows_read", "used", "duplicates", "set_aside", "emptied")}
    asked = finding_counts(study.findings)["ask"]
    text = (
        f"{counted(rows['rows_read'], 'row')}: {rows['used']:,} used, {counted(rows['duplicates'], 'duplicate')}, "
        f"{rows['set_aside']:,} set aside; {counted(rows['emptied'], 'cell')} set aside, {asked:,} asked"
    )
    stages.done("read", text, **rows, asked=asked)


def note_analysis(analysis: Analysis, results: Path, stages: Stages) -> None:
    """Print what was scored, delivered, estimated and compared."""
    record, people = analysis.record, analysis.people
    scores = people["scores"]
    valued = int(scores["value"].notna().sum())
    reasons = len(scores) - valued
    measures = int(scores["measure"].nunique())
    text = f"{counted(valued, 'score')} of {counted(measures, 'measure')}; {reasons:,} without a value, with the reason"
    stages.done("scored", text, scores=valued, without_value=reasons, measures=measures)
    note_dose(analysis, stages)
    errors = [entry for key, entry in record.entries.items() if key.endswith("/mdc95")]
    known = sum(entry.status == "estimated" for entry in errors)
    text = f"from the study's own repeats for {known} of {counted(len(errors), 'outcome')}; the others say why not"
    stages.done("measurement error", text, estimated=known, asked_for=len(errors))
    refused = sum(entry.status != "estimated" for entry in record.entries.values())
    text = f"{counted(len(record.entries), 'number')}, {refused:,} of them refused with a reason: {results}"
    stages.done("analysed", text, numbers=len(record.entries), refused=refused, results=str(results))
    if not stages.output.quiet:
        _show_primary(record, stages)


def note_dose(analysis: Analysis, stages: Stages) -> None:
    """Print planned and delivered training."""
    weeks = analysis.people.get("dose_by_week")
    if weeks is None:
        stages.done("dose", "no sessions table")
        return
    names = ("planned_sessions", "delivered_sessions", "planned_active_minutes", "delivered_active_minutes")
    sums = {name: round(float(weeks[name].sum())) for name in names}
    text = (
        f"{sums['delivered_sessions']:,} of {sums['planned_sessions']:,} planned sessions delivered, "
        f"{sums['delivered_active_minutes']:,} of {sums['planned_active_minutes']:,} active minutes"
    )
    stages.done("dose", text, **sums)


def _show_primary(record: Record, stages: Stages) -> None:
    stream = sys.stderr if stages.output.as_json else sys.stdout
    for line in primary_lines(record):
        print(" " * WIDTH, line, file=stream, flush=True)
