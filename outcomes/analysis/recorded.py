"""What the recorded sessions hold, from their traces; and the weeks that met the published exercise guidelines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from outcomes.errors import GRADES, Grade
from outcomes.result import Estimate

if TYPE_CHECKING:
    import pandas as pd

    from outcomes.analysis.plan import Work

SUMS = {
    "recorded_work_kj": ("recorded_work_j", 1e-3, "kJ", "recorded work", "trace_recorded_work"),
    "trapezoid_work_kj": ("trapezoid_work_j", 1e-3, "kJ", "trapezoid work", "trace_trapezoid_work"),
    "motor_work_kj": ("motor_work_j", -1e-3, "kJ", "work of the motor, apart", "trace_motor_work"),
    "active_minutes": ("active_s", 1 / 60, "min", "active minutes", "trace_sum"),
    "unrecorded_minutes": ("unrecorded_s", 1 / 60, "min", "unrecorded minutes", "trace_sum"),
}
"""Statistic to column of `summarise`, factor, unit, words and method."""

MEDIANS = {
    "mean_power_w": ("mean_power_w", "W", "mean power over active time", "trace_median"),
    "peak_power_w": ("peak_power_w", "W", "peak power over active time", "trace_median"),
    "mean_cadence_rpm": ("mean_cadence_rpm", "rpm", "mean cadence over active time", "trace_median"),
    "fatigue_index": ("fatigue_index_last_over_first_minute", "1", "fatigue index", "trace_fatigue_index"),
}
NO_PARETIC = (
    "no column of the tables names the paretic side: trained_side is the side that was trained, which need not be it"
)
COLUMNS = {
    "quantity": "", "label": "", "formula": "", "unit": "", "kind": "", "sessions": "1", "people": "1", "value": "",
    "low": "", "high": "", "reason": "",
}  # fmt: skip
INPUTS = ("people/recorded_sessions",)
FINDINGS: tuple[tuple[str, Grade, str], ...] = (
    ("findings_set_aside", "set_aside", "findings about traces that set a file, samples or values aside"),
    ("findings_asked", "ask", "findings about traces that are asked about"),
)
"""Statistic, grade of the findings that are counted, and words."""

GUIDELINE_COLUMNS = {
    "guideline": "", "words": "", "group": "", "people": "1", "weeks": "1", "weeks_met": "1", "percent": "%",
    "sessions_unknown": "1",
}  # fmt: skip


def sum_recorded(work: Work) -> None:
    """Write what the traces of sessions hold, where there are any, and the weeks that met published guidelines."""
    _guidelines(work)
    study = work.study
    if study.traced:
        _findings(work)
    if not len(study.traces):
        return
    from outcomes.analysis.dose_output import traced_sessions

    rows = traced_sessions(study)
    work.people["recorded_sessions"] = rows
    n = int(rows["participant_id"].nunique())
    work.count(work.key("traces", "sessions"), len(rows), "sessions with a trace", people=n, inputs=INPUTS)
    asked = len(study.trace_queries())
    label = "differences between session rows and traces that are asked about"
    work.count(work.key("traces", "differences"), asked, label, people=n, inputs=(*INPUTS, "ledger/sessions"))
    table = [_summed(work, rows, name) for name in SUMS]
    table += [_middle(work, rows, name, *MEDIANS[name], "") for name in MEDIANS if MEDIANS[name][0] in rows]
    table += _sides(work, rows)
    work.record.add_table("recorded_sessions", COLUMNS, ([row.get(c) for c in COLUMNS] for row in table))


def _findings(work: Work) -> None:
    """Write how often each rule found something about the traces; each finding stands in the ledger."""
    from collections import Counter

    told = work.study.trace_findings()
    people = len({finding.participant for finding in told if finding.participant})
    for statistic, grade, words in FINDINGS:
        n = sum(finding.grade == grade for finding in told)
        work.count(work.key("traces", statistic), n, words, people=people, inputs=("ledger/trace_findings",))
    counts = Counter((finding.grade, finding.rule) for finding in told)
    rows = [(*key, counts[key]) for key in sorted(counts, key=lambda key: (GRADES.index(key[0]), key[1]))]
    work.record.add_table("trace_findings", {"grade": "", "rule": "", "findings": "1"}, rows)


def _summed(work: Work, rows: pd.DataFrame, name: str) -> dict[str, Any]:
    column, factor, unit, words, method = SUMS[name]
    known = rows[rows[column].notna()]
    row = _row(name, words, unit, "sum", known)
    if len(known):
        row["value"] = float((known[column] * factor).sum())
        _add(work, name, row, method)
    else:
        _refuse(work, name, row, "no recorded session holds it")
    return row


def _middle(
    work: Work, rows: pd.DataFrame, name: str, column: str, unit: str, words: str, method: str, formula: str
) -> dict[str, Any]:
    known = rows[rows[column].notna()]
    row = _row(name, words, unit, "median", known) | {"formula": formula}
    if len(known):
        low, value, high = known[column].quantile([0.25, 0.5, 0.75]).tolist()
        row |= {"value": value, "low": low, "high": high}
        _add(work, name, row, method)
    else:
        _refuse(work, name, row, "no recorded session holds it")
    return row


def _sides(work: Work, rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the indices of left against right; one row with the reason where no session recorded both sides."""
    from outcomes.dose import FORMULAS

    if rows[["left_work_j", "right_work_j"]].isna().any(axis=1).all():
        row = _row("asymmetry", "left against right", "%", "median", rows.iloc[:0])
        _refuse(work, "asymmetry", row, "no recorded session holds the power of both sides")
        return [row]
    found = []
    for name, (_, formula) in FORMULAS.items():
        words = name.removesuffix("_percent").replace("_", " ")
        if name == "paretic_share_percent":
            row = _row(name, words, "%", "median", rows.iloc[:0]) | {"formula": formula}
            _refuse(work, name, row, NO_PARETIC)
            found.append(row)
        else:
            found.append(_middle(work, rows, name, name, "%", words, "trace_asymmetry", formula))
    return found


def _row(name: str, words: str, unit: str, kind: str, known: pd.DataFrame) -> dict[str, Any]:
    people = int(known["participant_id"].nunique())
    return {
        "quantity": name, "label": words, "formula": "", "unit": unit, "kind": kind, "sessions": len(known),
        "people": people, "reason": "",
    }  # fmt: skip


def _add(work: Work, name: str, row: dict[str, Any], method: str) -> None:
    estimate = Estimate(
        value=row["value"], unit=row["unit"], method=method, n_people=row["people"], n_values=row["sessions"]
    )
    formula = f": {row['formula']}" if row["formula"] else ""
    label = f"{row['label']}{formula}, {row['kind']} of the recorded sessions"
    work.add(work.key("traces", name), estimate, label, inputs=INPUTS)


def _refuse(work: Work, name: str, row: dict[str, Any], reason: str) -> None:
    row["reason"] = reason
    work.record.refuse(work.key("traces", name), reason, label=f"{row['label']} of the recorded sessions",
                       unit=row["unit"])  # fmt: skip


def _guidelines(work: Work) -> None:
    """Write the percent of programme weeks that met each guideline, for everybody and for each group."""
    from outcomes.dose import GUIDELINES, weeks_meeting_guidelines

    study = work.study
    if "dose" not in work.people or study.protocol.training is None:
        return
    weeks = weeks_meeting_guidelines(study.tables, study.protocol)
    weeks = weeks[~weeks["participant_id"].isin(work.untrained)]
    work.people["guideline_weeks"] = weeks
    group_of = weeks["participant_id"].map(work.participants["group"])
    groups = [g.key for g in study.protocol.groups if g.trained]
    rows = []
    for name, (_, _, words) in GUIDELINES.items():
        for group in ("all", *groups):
            mine = weeks[(weeks["guideline"] == name) & ((group_of == group) | (group == "all"))]
            rows.append(_met(work, name, words, group, mine))
    work.record.add_table("guideline_weeks", GUIDELINE_COLUMNS, rows)


def _met(work: Work, name: str, words: str, group: str, mine: pd.DataFrame) -> tuple[Any, ...]:
    total, met, unknown = (float(mine[column].sum()) for column in ("weeks", "weeks_met", "sessions_unknown"))
    people = int((mine["weeks"] > 0).sum())
    key = work.key("dose", "guideline_weeks", group=group, exposure=name)
    label = f"weeks that met the {name} guideline: {words}"
    percent = None
    if total > 0:
        percent = 100 * met / total
        caveats = ("dose_lower_bound",) if unknown else ()
        estimate = Estimate(
            value=percent, unit="%", method="guideline_weeks", n_people=people, n_values=int(total), caveats=caveats
        )
        work.add(key, estimate, label, inputs=("people/guideline_weeks",))
    else:
        work.record.refuse(key, "nobody was in the programme for a whole week", label=label, unit="%")
    return name, words, group, people, total, met, percent, unknown
