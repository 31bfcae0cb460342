"""`outcomes check`: every finding, grouped; both balances; the next command."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from outcomes.cli.output import Output, columns_text, counted
from outcomes.cli.review import list_circumstances, list_for_review
from outcomes.errors import GRADES, PRINTED_FINDINGS, DataError, Finding, Grade, printable
from outcomes.files import inside, write_whole

GRADE_WORDS: dict[Grade, str] = {
    "block": "Stops the run",
    "set_aside": "Set aside (the value becomes missing)",
    "ask": "Asked (the value is kept; decisions.csv answers)",
}


def check_study(folder: Path, output: Output, *, mark: bool = False) -> bool:
    """Read a study, print findings and balances; return whether a finding stops the run.

    Parameters
    ----------
    folder : Path
    output : Output
    mark : bool
        Also write copies of the workbooks with the findings marked.

    Raises
    ------
    UsageError, DefinitionError
        The folder, the protocol or a definition is refused.
    """
    from outcomes.intake import write_trace_check
    from outcomes.study import Study

    study: Study | None = None
    with output.progress() as show:
        try:
            study = Study.open(folder, progress=show)
            if len(study.traces):
                show(f"reading {counted(len(study.traces), 'file')} of traces")
            findings, remedy = (*study.findings, *study.trace_findings()), ""
            study.write_trace_check()
        except DataError as error:
            findings, remedy = error.findings, error.remedy
            if study is not None:  # the tables are sound, the traces are not
                findings = (*study.findings, *findings)
                write_trace_check(folder, findings, study.ledger)
    stops = bool(remedy)
    balance = read_balance(folder)
    review, listed = list_for_review(study, folder)
    other, changed = list_circumstances(study)
    lines = [*balance_lines(balance), "", *finding_lines(findings), "", *other, *review]
    document = {"stops": stops, "findings": [dataclasses.asdict(finding) for finding in findings], "balance": balance}
    output.data("\n".join(lines), document | {"other_circumstances": changed, "for_clinical_review": listed})
    if mark:
        mark_workbooks(folder, findings, output)
    output.say(f"All findings, the ledger and the balances: {folder / 'results' / 'check'}")
    output.say(remedy if stops else f"Next: outcomes analyse {folder}")
    return stops


def mark_workbooks(folder: Path, findings: Sequence[Finding], output: Output) -> None:
    """Write a copy of every workbook with its findings marked, and the queries about other files; say where."""
    from outcomes.intake import mark_findings
    from protocols import read_protocol

    files = mark_findings(folder, findings, read_protocol(folder / "protocol.toml").intake.header_row)
    marked = [path for path in files if path.name.endswith(".marked.xlsx")]
    for path in marked:
        output.say(f"Marked copy: {path}")
    if marked:
        output.say("Mend the copy, answer its sheet 'queries', and save it in the place of your workbook.")
    else:
        output.say("No workbook has a finding, so there is no copy to mark; findings.csv names file, row and column.")
    for path in files:
        if path not in marked:
            output.say(f"Queries about other files: {path}; answer them and save it in the study folder.")


def suggest_mapping(folder: Path, output: Output) -> None:
    """Print a columns.csv that may be right for the headings that are not understood yet, and say what it would do.

    Without ``-o`` the proposals are written beside the tables as ``columns.suggested.csv`` and ``words.suggested.csv``;
    a person accepts one by renaming it.

    Raises
    ------
    UsageError, DefinitionError
        The folder, the protocol or a definition is refused.
    """
    from outcomes.intake import suggest_columns
    from outcomes.study import read_plan

    protocol, catalogue = read_plan(folder)
    suggestion = suggest_columns(folder, protocol, catalogue)
    document = {
        "columns.csv": suggestion.text,
        "words.csv": suggestion.words.text,
        "proposed": suggestion.proposed,
        "unknown": suggestion.unknown,
        "effects": suggestion.effects,
    }
    output.data(suggestion.text, document)
    if output.file is None:
        for name, text, count in (
            ("columns", suggestion.text, suggestion.proposed),
            ("words", suggestion.words.text, len(suggestion.words.proposed)),
        ):
            path = inside(folder, f"{name}.suggested.csv")
            if count:
                write_whole(path, text)
                output.say(f"{path}: {counted(count, 'row')} proposed; read it, then rename it to {name}.csv.")
            else:
                path.unlink(missing_ok=True)
    output.say(f"{counted(suggestion.proposed, 'row')} proposed for columns.csv.")
    for (column, word), means in suggestion.words.proposed.items():
        output.say(f"Proposed for words.csv: {column} '{printable(word)}' means {means}")
    for column, word in suggestion.words.unknown:
        output.say(f"No meaning found: {column} '{printable(word)}'")
    for line in suggestion.effects:
        output.say(f"Would do: {line}")
    for where, heading in suggestion.unknown:
        output.say(f"Nothing fits: {where}, '{heading}' (kept as an extra column unless you map it)")


def read_balance(folder: Path) -> list[dict[str, str]]:
    """Return the rows of ``results/check/balance.csv``, which every check writes."""
    return read_table(folder, "balance.csv")


def read_table(folder: Path, name: str) -> list[dict[str, str]]:
    """Return the rows of a file of ``results/check``."""
    path = folder / "results" / "check" / name
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def balance_lines(balance: Sequence[Mapping[str, str]]) -> list[str]:
    """Return the balances as aligned lines, a table each."""
    if not balance:
        return ["No rows were read."]
    headings = list(balance[0])
    rows: list[list[str]] = [[heading.replace("_", " ") for heading in headings]]
    rows += [[row[heading] for heading in headings] for row in balance]
    return columns_text(rows, right=range(1, len(headings)))


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """Return findings by grade and rule; of each grade the first are printed and the rest counted."""
    if not findings:
        return ["No findings."]
    lines = []
    for grade in GRADES:
        of_grade = [finding for finding in findings if finding.grade == grade]
        if of_grade:
            lines += [f"{GRADE_WORDS[grade]}: {counted(len(of_grade), 'finding')}", *_by_rule(of_grade)]
    return lines


def _by_rule(findings: Sequence[Finding]) -> list[str]:
    rules: dict[str, list[Finding]] = {}
    for finding in findings:
        rules.setdefault(finding.rule, []).append(finding)
    lines = []
    for (rule, of_rule), number in zip(rules.items(), _shares([len(f) for f in rules.values()]), strict=True):
        shown = of_rule[:number]
        lines.append(f"  {rule.replace('_', ' ')} ({len(of_rule)})")
        lines += [f"    {finding}" for finding in shown]
        if number < len(of_rule):
            lines.append(f"    {'and ' if shown else ''}{len(of_rule) - number} more in results/check/findings.csv")
        lines += [f"    {remedy}" for remedy in dict.fromkeys(f.remedy for f in of_rule if f.remedy)]
    return lines


def _shares(counts: Sequence[int]) -> list[int]:
    """Return how many findings of each rule are printed: in turn one of each, so that no rule hides another."""
    shares = [0] * len(counts)
    for _ in range(PRINTED_FINDINGS):
        open_rules = [i for i, count in enumerate(counts) if shares[i] < count]
        if open_rules:
            shares[min(open_rules, key=lambda i: shares[i])] += 1
    return shares


def finding_counts(findings: Sequence[Finding]) -> dict[str, Any]:
    """Return the number of findings of every grade."""
    return {grade: sum(finding.grade == grade for finding in findings) for grade in GRADES}
