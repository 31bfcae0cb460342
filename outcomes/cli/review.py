"""The list for clinical review beside the findings of a check."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from outcomes.cli.output import counted

if TYPE_CHECKING:
    from outcomes.study import Study

FILE = "facts_for_review.csv"
SHOWN = 20


def list_for_review(study: Study | None, folder: Path) -> tuple[list[str], list[dict[str, str]]]:
    """Write the list of a checked study and return its lines for the terminal and its rows.

    Parameters
    ----------
    study : Study or None
        None where the run stops: without checked tables there is no list, and an older one is removed.
    folder : Path

    Returns
    -------
    tuple of list of str and list of dict
    """
    from outcomes.analysis.write import csv_text
    from outcomes.files import inside, write_whole
    from outcomes.measures import for_review

    path = inside(folder, "results/check") / FILE
    if study is None:
        path.unlink(missing_ok=True)
        return ["For clinical review: not listed, as the run stops; mend the findings first."], []
    found = for_review(study.tables, catalogue=study.catalogue)
    write_whole(path, csv_text(found))
    rows = [{str(name): str(value) for name, value in row.items()} for row in found.to_dict("records")]
    return review_lines(rows), rows


def review_lines(rows: Sequence[dict[str, str]]) -> list[str]:
    """Return the list as lines: facts for a clinician, grouped by sentence, apart from every finding."""
    if not rows:
        return ["For clinical review: nothing listed."]
    head = f"For clinical review: {counted(len(rows), 'entry', 'entries')}; facts, no mistakes of entry and no advice"
    lines, shown = [head], 0
    for sentence in dict.fromkeys(row["sentence"] for row in rows):
        same = [row for row in rows if row["sentence"] == sentence]
        lines.append(f"  {sentence} ({same[0]['source']})")
        for row in same[: max(SHOWN - shown, 0)]:
            where = " ".join(row[name] for name in ("visit", "measure", "place", "side") if row[name])
            lines.append(f"    {row['participant_id']}{', ' if where else ''}{where}: {row['found']}")
        shown += len(same)
    return [*lines, *([f"  all in results/check/{FILE}"] if shown > SHOWN else [])]
