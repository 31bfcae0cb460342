"""`outcomes dose`: everything about planned and delivered training, or the picture of one session."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from outcomes.cli.check import finding_lines
from outcomes.cli.output import Output, columns_text, counted
from outcomes.cli.tables import open_study, print_frame
from outcomes.errors import DesignError, UsageError
from outcomes.units import printed_unit

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Study

CELLS = "cells"
"""Column of the ids of every cell behind a row: in the files that are written, too long to be printed."""


def print_dose(folder: Path, session: str | None, output: Output) -> None:
    """Print the dose up to each visit and the summary of the programme, and write every table; or show one session.

    Raises
    ------
    UsageError
        The study has no session of that id.
    DesignError
        The study has no sessions, or the protocol takes the dose from traces, and there are none.
    """
    from outcomes.analysis import dose_tables, write_dose

    study = open_study(folder, output)
    if not study.has("sessions"):
        raise DesignError(
            f"{folder} has no table 'sessions', so there is no dose to sum; it needs a row a session, also of those "
            "that were missed: participant_id, session_id, started_at, status"
        )
    if session is not None:
        show_session(study, folder, session, output)
        return
    with output.progress() as show:
        if len(study.traces):
            show(f"summing {counted(len(study.traces), 'file')} of traces")
        tables = dose_tables(study)
        target = write_dose(study, tables)
    printed = {name: frame.drop(columns=CELLS, errors="ignore") for name, frame in tables.items()}
    if output.as_json:
        output.data("", {name: _records(frame) for name, frame in printed.items()})
    else:
        print_frame(printed["by_visit"], output)
    for line in summary_lines(tables):
        output.say(line)
    told = study.trace_findings()
    for line in finding_lines(told) if told else ():
        output.say(line)
    output.say(f"All {len(tables)} tables: {target}")


def summary_lines(tables: dict[str, pd.DataFrame]) -> list[str]:
    """Return programme counts, FITT, exposure against the published limits, and what the traces hold, as lines."""
    from outcomes.dose import limit_lines

    counts = [
        (row["metric"], f"{row['number']:g} of {row['of']:g}", _percent(row["percent"]), row["denominator"])
        for row in tables["programme"].to_dict("records")
    ]
    fitt = tables["fitt"][["quantity", "unit", "planned", "delivered"]].to_numpy().tolist()
    sides = [(name, printed_unit(unit), *values) for name, unit, *values in fitt]
    lines = [*columns_text(counts), "", *columns_text([("", "unit", "planned", "delivered"), *sides])]
    weeks = tables["guideline_weeks"].groupby("guideline", sort=False)[["weeks", "weeks_met"]].sum()
    for name, row in weeks.iterrows():
        lines.append(f"weeks that met the {name} guideline (minutes alone): {row['weeks_met']:g} of {row['weeks']:g}")
    for load in tables["mean_loads"].to_dict("records"):
        mean = f"{load['mean']:.4g} {printed_unit(load['unit'])}".rstrip()
        value = f"{mean} a session, in {load['sessions']} of {load['delivered']}"
        found = f"not reported: {load['reason']}" if load["reason"] else value
        lines.append(f"{load['label']}: {found}")
    if "stimulation_channels" in tables:
        known = tables["stimulation_sessions"]["charge_stimulating_phase_c"].dropna()
        lines.append(f"charge of the stimulating phase: {known.sum():.4g} C in {counted(len(known), 'session')}")
        lines += limit_lines(tables["stimulation_channels"])
    if "trace_sessions" in tables:
        traced, asked = tables["trace_sessions"], tables["trace_queries"]
        recorded, motor = (abs(traced[f"{name}_work_j"].sum()) / 1000 for name in ("recorded", "motor"))
        work = f"{recorded:.4g} kJ recorded, {motor:.4g} kJ by the motor"
        lines.append(f"{counted(len(traced), 'session')} with a trace: {work}; {counted(len(asked), 'finding')}")
    return lines


def _percent(value: float) -> str:
    return "" if value != value else f"{value:.0f} %"


def show_session(study: Study, folder: Path, session: str, output: Output) -> None:
    """Print the row of one session; where it has a trace, draw it and say what the picture shows, where it is, and what
    is said about the trace. Where several people have a session of that id, each is shown.

    Raises
    ------
    UsageError
        There is no such session.
    """
    from outcomes.reports import write_session

    sessions = study.table("sessions")
    participant, _, name = session.rpartition("/")
    rows = sessions[sessions["session_id"] == name]
    if participant:
        rows = rows[rows["participant_id"] == participant]
    if not len(rows):
        raise UsageError(f"{folder} has no session '{session}'")
    print_frame(rows, output)
    if not len(study.traces):
        output.say("The study has no traces, so there is no picture.")
        return
    traced = study.trace_summary.sessions
    drawn = []
    for person in rows["participant_id"].tolist():
        if not len(traced[(traced["participant_id"] == person) & (traced["session_id"] == name)]):
            output.say(f"{person}/{name} has no trace, so there is no picture.")
            continue
        picture, files = write_session(study, person, name, folder / "results" / "sessions")
        output.say(f"{person}/{name}: {picture.words}")
        for path in files:
            output.say(f"  {path}")
        drawn.append(person)
    study.write_trace_check()
    told = [
        f for f in study.trace_findings() if f.participant in drawn and f.found.split(" at ")[0] == f"session {name}"
    ]
    for line in finding_lines(told) if told else ():
        output.say(line)


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(frame.to_json(orient="records", date_format="iso", double_precision=15))
    return found
