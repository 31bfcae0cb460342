"""`outcomes analyse` and `outcomes report`: the record, and the finished forms."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.cli.output import Output, counted

if TYPE_CHECKING:
    from outcomes.result import Entry, Record


def analyse_study(folder: Path, settings: Mapping[str, str], output: Output) -> None:
    """Carry out the plan of a study's protocol, write its results, print the primary outcome and where they are."""
    from outcomes.analysis import analyse, write_results
    from outcomes.study import Study

    with output.progress() as show:
        study = Study.open(folder, settings=settings or None, progress=show)
        analysis = analyse(study, progress=show)
        target = write_results(study, analysis)
    record = analysis.record
    lines = [*primary_lines(record), f"{counted(len(record.entries), 'number')} in {target / 'record.json'}"]
    changed = [f"{choice['key']} = {choice['used']}" for choice in record.meta["changed_choices"]]
    if changed:
        lines.append(f"Differs from protocol: {', '.join(changed)}; results/latest still names the protocol's own run.")
    primary = [entry for entry in record.entries.values() if entry.role == "primary"]
    output.data(
        "\n".join(lines),
        {
            "results": str(target),
            "differs_from_protocol": record.meta["changed_choices"],
            "primary": [
                {
                    "key": e.key,
                    "status": e.status,
                    "value": e.value,
                    "unit": e.unit,
                    "n_people": e.n_people,
                    "reason": e.reason,
                }
                for e in primary
            ],
        },
    )
    if record.meta["frozen"]["changed"]:
        output.say("The protocol was changed after freezing; every report says so.")
    asked = len(study.queries())
    if asked:
        output.say(f"{asked} asked; outcomes check {folder} lists them")
    told = study.trace_findings()
    if told:
        output.say(f"{counted(len(told), 'finding')} about traces; outcomes check {folder} lists them")
    output.say(f"Next: outcomes report {folder} --for conference")


def primary_lines(record: Record) -> list[str]:
    """Return one line for the primary outcome of every group: its change, or its measurement error without visits."""
    groups = {group["key"]: group["label"] for group in record.meta.get("groups") or ()}
    visits = record.meta.get("compare")
    wanted = {("reliability", "mdc95")}
    if visits:
        wanted = {("change", "mean"), ("change", "hodges_lehmann")}
        wanted |= {("groups", "ancova_difference"), ("groups", "cliff_dominance")}
    lines = []
    for entry in record.entries.values():
        analysis, _, _, group, _, _, statistic = entry.key.split("/")
        if entry.role == "primary" and (analysis, statistic) in wanted:
            who = f"{groups[group]}, " if group in groups else ""
            lines.append(f"Primary outcome: {who}{_sentence(entry)}")
    return lines


def _sentence(entry: Entry) -> str:
    from outcomes.units import printed_unit

    if entry.status != "estimated" or not isinstance(entry.value, int | float):
        return f"{entry.label}: {entry.status}: {entry.reason}"
    text = f"{entry.label}: {entry.value:.3g}"
    if entry.interval is not None:
        text += f" ({entry.interval.low:.3g} to {entry.interval.high:.3g})"
    text += f" {printed_unit(entry.unit)}".rstrip()
    if entry.test is not None:
        text += f", {_p(entry.test.p)}"
    return f"{text}, n = {entry.n_people}"


def _p(p: float) -> str:
    return "P < 0.001" if p < 0.001 else f"P = {p:.2g}"


def report_study(
    folder: Path, reader: str, settings: Mapping[str, str], public: bool, who: str | None, output: Output
) -> None:
    """Write the finished forms for one reader and print where they are."""
    from outcomes.reports import write_report

    with output.progress() as show:
        show(f"writing the {reader} report")
        files = write_report(folder, reader, settings=settings or None, public=public, who=who)
    output.data("\n".join(str(path) for path in files), {"reader": reader, "files": [str(path) for path in files]})
