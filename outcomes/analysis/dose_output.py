"""Every table of the training of a study: what `outcomes dose` prints and writes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.analysis.heart_rates import heart_rates
from outcomes.analysis.load import mean_loads
from outcomes.analysis.write import csv_text
from outcomes.files import whole_folder, write_whole

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.study import Study

IDS = ["participant_id", "session_id"]
DECAYS = 2000
"""Sessions with a trace up to which a plateau of power is fitted for all of them: a fit takes some milliseconds."""


def dose_tables(study: Study) -> dict[str, pd.DataFrame]:
    """Return every table of planned and delivered training.

    Parameters
    ----------
    study : Study
        With a sessions table.

    Returns
    -------
    dict of str to DataFrame
        ``by_visit``, ``windows``, ``by_week``, ``by_person``, ``by_mode``, ``programme``, ``fitt``,
        ``guideline_weeks``, ``internal_load``, ``mean_loads``; with traces also ``trace_sessions`` and
        ``trace_queries``; with stimulation rows ``stimulation_channels`` and ``stimulation_sessions``.

    Raises
    ------
    DesignError
        The protocol takes the dose from traces, and there are none.
    """
    from outcomes import dose

    tables, protocol = study.tables, study.protocol
    found = {
        "by_visit": dose.dose_by_visit(tables, protocol),
        "windows": dose.dose_windows(tables, protocol),
        "by_week": dose.dose_by_week(tables, protocol),
        "by_person": dose.adherence_by_person(tables, protocol),
        "by_mode": dose.dose_by_mode(tables),
        "programme": dose.programme_counts(tables, protocol),
        "fitt": dose.fitt(tables, protocol),
        "guideline_weeks": dose.weeks_meeting_guidelines(tables, protocol),
        "internal_load": dose.internal_load(tables, protocol, heart_rates(study)),
    }
    found["mean_loads"] = mean_loads(found["internal_load"], protocol)
    if study.has("stimulation"):
        channels = dose.stimulation_by_channel(tables["stimulation"], tables["sessions"])
        found |= {"stimulation_channels": channels, "stimulation_sessions": dose.stimulation_by_session(channels)}
    if len(study.traces):
        found |= {"trace_sessions": traced_sessions(study), "trace_queries": _queries(study)}
    return found


def traced_sessions(study: Study) -> pd.DataFrame:
    """Return the row of every session with a trace, with its indices of left and right and its decay of power.

    Parameters
    ----------
    study : Study
        With traces. Where it has more than `DECAYS`, the fatigue index is given and no plateau is fitted;
        ``decay_reason`` says so.
    """
    import pandas as pd

    from outcomes.dose import power_decay, side_indices

    rows = study.trace_summary.sessions
    sides = side_indices(rows["left_work_j"], rows["right_work_j"])
    rows = pd.concat([rows, sides], axis=1)
    if not len(rows):
        return rows
    many = f"no plateau is fitted, as there are more than {DECAYS:,} sessions with a trace"
    why = many if len(rows) > DECAYS else ""
    decays = [power_decay(batch, study.traces.rules, no_plateau=why) for batch in study.traces.batches()]
    fits = pd.concat(decays, ignore_index=True).drop_duplicates(IDS)
    return rows.merge(fits, on=IDS, how="left", validate="one_to_one")


def _queries(study: Study) -> pd.DataFrame:
    import dataclasses

    import pandas as pd

    from outcomes.errors import Finding

    findings = study.trace_findings()
    columns = [field.name for field in dataclasses.fields(Finding)]
    return pd.DataFrame([dataclasses.astuple(one) for one in findings], columns=columns)


def write_dose(study: Study, tables: dict[str, pd.DataFrame]) -> Path:
    """Write the tables to ``results/dose`` of the study's folder, whole or not at all; and ``results/check`` anew with
    what is said about traces.

    Parameters
    ----------
    study : Study
        Opened from a folder.
    tables : dict of str to DataFrame
        Of `dose_tables`.

    Raises
    ------
    UsageError
        The study has no folder, or it cannot be written.
    """
    from outcomes.errors import UsageError

    if study.folder is None:
        raise UsageError("a study built in memory has no folder to write to")
    target = study.folder / "results" / "dose"
    with whole_folder(target) as folder:
        for name, frame in tables.items():
            write_whole(folder / f"{name}.csv", csv_text(frame))
    study.write_trace_check()
    return target
