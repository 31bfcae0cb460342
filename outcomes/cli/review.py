"""What a check lists beside its findings: facts for clinical review, and circumstances that changed."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.cli.output import counted
from outcomes.errors import inert

if TYPE_CHECKING:
    from outcomes.study import Study

FILE = "for_clinical_review.csv"
SHOWN = 20


def list_for_review(study: Study | None, folder: Path) -> tuple[list[str], list[dict[str, str]]]:
    """Add what answers and scores hold for a clinician to the list of the check; return its lines and its rows.

    Parameters
    ----------
    study : Study or None
        None where the run stops: without checked answers the list holds sessions, stimulation and events only.
    folder : Path
        ``results/check`` in it was written by the check.

    Returns
    -------
    tuple of list of str and list of dict
    """
    from outcomes.files import inside, write_whole
    from outcomes.measures import for_review

    path = inside(folder, "results/check") / FILE
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows, names = list(reader), list(reader.fieldnames or ())
    if study is not None:
        found = for_review(study.tables, catalogue=study.catalogue).to_dict("records")
        known = {(row["file"], row["row"]) for row in rows}
        own = [_as_observation(study, {str(name): str(value) for name, value in row.items()}) for row in found]
        rows += [row for row in own if (row["file"], row["row"]) not in known or "events" not in row["file"]]
        rows.sort(key=lambda row: row["participant_id"])
        write_whole(path, _csv(names, rows))
    return review_lines(rows, stops=study is None), rows


def _as_observation(study: Study, row: dict[str, str]) -> dict[str, str]:
    """Return an entry in the columns of the check's list, at the file and row of its first answer."""
    place = study.ledger.locate(row["rows"].split()[-1]) if row["rows"] else None
    where = " ".join(row[name] for name in ("measure", "place", "side") if row[name])
    return {
        "participant_id": row["participant_id"],
        "when": row["visit"],
        "what": f"{where}: {row['sentence']}" if where else row["sentence"],
        "value": row["found"],
        "usual": "",
        "source": row["source"],
        "file": place.file if place else "",
        "sheet": place.sheet if place else "",
        "row": str(place.row) if place else "",
        "column": "",
        "wording": "for clinical review",
    }


def _csv(names: Sequence[str], rows: Sequence[dict[str, str]]) -> str:
    out = io.StringIO()
    writer = csv.DictWriter(out, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: inert(row[name]) for name in names} for row in rows)
    return out.getvalue()


def review_lines(rows: Sequence[dict[str, str]], *, stops: bool = False) -> list[str]:
    """Return the list as lines: facts for a clinician, grouped by what they are, apart from every finding."""
    tail = ["  answers and scores are not listed, as the run stops"] if stops else []
    if not rows:
        return ["For clinical review: nothing listed.", *tail]
    head = f"For clinical review: {counted(len(rows), 'entry', 'entries')}; facts, no mistakes of entry and no advice"
    lines, shown = [head], 0
    for what in dict.fromkeys(row["what"] for row in rows):
        same = [row for row in rows if row["what"] == what]
        lines.append(f"  {what} ({same[0]['source']})")
        for row in same[: max(SHOWN - shown, 0)]:
            usual = f" (usual: {row['usual']})" if row["usual"] else ""
            lines.append(
                f"    {row['participant_id']}{', ' if row['when'] else ''}{row['when']}: {row['value']}{usual}"
            )
        shown += len(same)
    return [*lines, *([f"  all in results/check/{FILE}"] if shown > SHOWN else []), *tail]


def list_circumstances(study: Study | None) -> tuple[list[str], list[dict[str, str]]]:
    """Return lines and rows for where a measure was taken under other circumstances than at the visit before.

    Parameters
    ----------
    study : Study or None
        None where the run stops; then there is no list.

    Returns
    -------
    tuple of list of str and list of dict
    """
    from outcomes.measures import circumstances_changed

    if study is None:
        return [], []
    found = circumstances_changed(study.tables, catalogue=study.catalogue)
    rows = [{str(name): str(value) for name, value in row.items()} for row in found.to_dict("records")]
    if not rows:
        return [], []
    lines = [f"Measured under other circumstances than before: {counted(len(rows), 'time')}"]
    for row in rows[:SHOWN]:
        where = " ".join(row[name] for name in ("measure", "place", "side") if row[name])
        change = f"{row['before']} at {row['visit_before']}, {row['after']} at {row['visit']}"
        lines.append(f"  {row['participant_id']}, {where}: {row['item'].replace('_', ' ')} {change}")
    return [*lines, *([f"  and {len(rows) - SHOWN} more (--json lists all)"] if len(rows) > SHOWN else []), ""], rows
